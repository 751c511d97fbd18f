//! Sorting by small whole numbers.

/// Items in the order of their keys, which are less than `keys`; items of one key stay as they stood.
/// A step for each item and each key.
pub(crate) fn by_key(items: &[u32], keys: usize, key: impl Fn(u32) -> usize) -> Vec<u32> {
    // Where the next item of each key goes.
    let mut next = vec![0u32; keys + 1];
    for &item in items {
        next[key(item) + 1] += 1;
    }
    for k in 0..keys {
        next[k + 1] += next[k];
    }
    let mut sorted = vec![0; items.len()];
    for &item in items {
        let at = &mut next[key(item)];
        sorted[*at as usize] = item;
        *at += 1;
    }
    sorted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_keys_stay_in_order() {
        let items: Vec<u32> = (0..1000).map(|i| i * 7919 % 1000).collect();
        let mut sorted = items.clone();
        sorted.sort_by_key(|i| i % 10);
        assert_eq!(by_key(&items, 10, |i| i as usize % 10), sorted);
        assert!(by_key(&[], 0, |_| 0).is_empty());
    }
}
