//! One spelling for many.

/// A name without its spelling: lower case, without blanks, dashes, dots and underscores.
pub fn fold(name: &str) -> String {
    name.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '-' | '_' | '.' | '–'))
        .flat_map(char::to_lowercase)
        .collect()
}

/// The words of a name in alphabetical order, little ones left out; nothing of a single word.
fn words_in_order(name: &str) -> Option<Vec<String>> {
    let breaks = |c: char| c.is_whitespace() || matches!(c, '-' | '_' | '.' | '–' | ',');
    let mut words: Vec<String> = name.split(breaks).map(fold).collect();
    words.retain(|word| !matches!(word.as_str(), "" | "of" | "the" | "at" | "in"));
    words.sort_unstable();
    (words.len() > 1).then_some(words)
}

/// Names that may be one name spelt in several ways: a plural `s`, or a letter or two, apart. Names
/// whose digits differ are different.
pub fn look_like_one(a: &str, b: &str) -> bool {
    let digits = |name: &str| -> String { name.chars().filter(char::is_ascii_digit).collect() };
    let (a, b) = (fold(a), fold(b));
    if digits(&a) != digits(&b) || a.is_empty() || b.is_empty() {
        return false;
    }
    let singular = |name: &str| name.strip_suffix('s').unwrap_or(name).to_owned();
    let (a, b) = (singular(&a), singular(&b));
    // In short names a letter makes another word.
    let apart = match a.chars().count().max(b.chars().count()) {
        0..4 => 0,
        4 => 1,
        _ => 2,
    };
    strsim::osa_distance(&a, &b) <= apart
}

/// Up to three of `known` that look most like `name`, the nearest first; none where none is near.
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
    /// Below this likeness (Jaro and Winkler's, 1 = the same) a suggestion would only confuse.
    const LIKE: f64 = 0.75;
    /// Longer texts are no misspelt names.
    const LONGEST: usize = 80;
    if name.len() > LONGEST {
        return Vec::new();
    }
    let (folded, in_order) = (fold(name), words_in_order(name));
    let like = |candidate: &str| {
        let as_written = strsim::jaro_winkler(&folded, &fold(candidate));
        // `width of bit` is `bit width`.
        match in_order.is_some() && in_order == words_in_order(candidate) {
            true => 1.0,
            false => as_written,
        }
    };
    let mut scored: Vec<(f64, &str)> = known
        .into_iter()
        .map(|candidate| (like(candidate), candidate))
        .filter(|&(likeness, _)| likeness >= LIKE)
        .collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut seen: Vec<String> = Vec::new();
    scored.retain(|(_, candidate)| {
        let folded = fold(candidate);
        let new = !seen.contains(&folded);
        if new {
            seen.push(folded);
        }
        new
    });
    scored.truncate(3);
    scored.into_iter().map(|(_, candidate)| candidate).collect()
}
