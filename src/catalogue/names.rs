//! One spelling for many.

/// A name without its spelling: lower case, without blanks, dashes, dots and underscores.
pub fn fold(name: &str) -> String {
    name.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '-' | '_' | '.' | '–'))
        .flat_map(char::to_lowercase)
        .collect()
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
    let folded = fold(name);
    let mut scored: Vec<(f64, &str)> = known
        .into_iter()
        .map(|candidate| (strsim::jaro_winkler(&folded, &fold(candidate)), candidate))
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
