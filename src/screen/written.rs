//! The digits of a text, and what exchanging two of them makes.

/// The number that a text begins with: its digits, and how many stand after the decimal mark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Decimal<'a> {
    /// The number as written, its mark included.
    pub(super) text: &'a str,
    pub(super) decimals: usize,
    /// What follows it.
    pub(super) rest: &'a str,
}

/// The plain decimal that a text begins with; none where it holds a fraction, a drill, a pair of
/// gauges or a sign.
pub(super) fn decimal(text: &str) -> Option<Decimal<'_>> {
    let text = text.trim();
    if text.contains('/') || text.contains("..") || text.contains('#') {
        return None;
    }
    let mark = |c: char| c == '.' || c == ',';
    let end = text
        .find(|c: char| !c.is_ascii_digit() && !mark(c))
        .unwrap_or(text.len());
    let (number, rest) = text.split_at(end);
    let number = number.trim_end_matches(mark);
    let mut parts = number.split(mark);
    let (whole, after) = (parts.next()?, parts.next().unwrap_or(""));
    if whole.is_empty() || parts.next().is_some() || number.len() > 12 {
        return None;
    }
    // An exponent makes another number of it.
    if rest.trim_start().starts_with(['e', 'E']) {
        return None;
    }
    Some(Decimal {
        text: number,
        decimals: after.len(),
        rest,
    })
}

impl Decimal<'_> {
    /// The number.
    pub(super) fn value(&self) -> Option<f64> {
        self.text.replace(',', ".").parse().ok()
    }

    /// The number in steps of its last digit.
    pub(super) fn steps(&self) -> Option<u64> {
        self.text.replace(['.', ','], "").parse().ok()
    }

    /// Every number that differs from it by two neighbouring digits exchanged, as written.
    pub(super) fn exchanged(&self) -> Vec<String> {
        let bytes = self.text.as_bytes();
        let digits: Vec<usize> = (0..bytes.len())
            .filter(|&i| bytes[i].is_ascii_digit())
            .collect();
        digits
            .windows(2)
            .filter(|w| bytes[w[0]] != bytes[w[1]])
            .map(|w| {
                let mut new: Vec<char> = self.text.chars().collect();
                new.swap(w[0], w[1]);
                new.into_iter().collect()
            })
            .collect()
    }
}

/// The fraction of an inch that a text ends its number with: whole number of parts, and parts.
pub(super) fn fraction(text: &str) -> Option<(u64, u64)> {
    let (before, after) = text.trim().split_once('/')?;
    if after.contains('/') || text.contains("..") {
        return None;
    }
    let digits = after
        .find(|c: char| !c.is_ascii_digit())
        .unwrap_or(after.len());
    let parts: u64 = after[..digits].parse().ok()?;
    let before = before.trim_end();
    let cut = before.rfind(|c: char| !c.is_ascii_digit()).map_or(0, |i| {
        i + before[i..].chars().next().map_or(1, char::len_utf8)
    });
    let above: u64 = before[cut..].parse().ok()?;
    (parts > 0 && parts.is_power_of_two() && parts <= 128 && above < parts)
        .then_some((above, parts))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_plain_decimals_are_taken_apart() {
        let of = |text| decimal(text).map(|d| (d.text.to_owned(), d.decimals));
        assert_eq!(of("41.29 mm"), Some(("41.29".to_owned(), 2)));
        assert_eq!(of("139,4 ± 0,1"), Some(("139,4".to_owned(), 1)));
        assert_eq!(of("41"), Some(("41".to_owned(), 0)));
        for text in [
            "",
            "-4.2",
            "11/64",
            "5/32..11/64",
            "#22",
            "1.2.3",
            "1e5",
            "no. 34",
            ".5",
        ] {
            assert_eq!(of(text), None, "{text}");
        }
    }

    #[test]
    fn neighbours_are_exchanged_across_the_mark_too() {
        let of = |text: &str| decimal(text).unwrap().exchanged();
        assert_eq!(of("41.29"), ["14.29", "42.19", "41.92"]);
        assert!(of("44.4").is_empty());
    }

    #[test]
    fn fractions_of_an_inch() {
        assert_eq!(fraction("5 39/64"), Some((39, 64)));
        assert_eq!(fraction("1-11/16 in"), Some((11, 16)));
        assert_eq!(fraction("25/32\""), Some((25, 32)));
        for text in ["5/32..11/64", "1 2/0", "4.2", "7/3", "/64", "—/64"] {
            assert_eq!(fraction(text), None, "{text}");
        }
    }
}
