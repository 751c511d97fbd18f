//! From whom a spread is borrowed, and which spreads the user states.

use std::collections::BTreeMap;

/// How spreads are found that a pattern's own few references cannot tell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Borrowing {
    /// Each pattern by itself, as if the source had no other.
    pub nothing: bool,
    /// Dimensions (keys) whose spreads differ between patterns in their own way, family by family;
    /// all dimensions that are not named form one more family.
    pub families: Vec<Vec<String>>,
    /// Spreads that are known for certain, by the dimension's key: relative for a ratio.
    pub stated: BTreeMap<String, f64>,
}

impl Borrowing {
    /// The number of a dimension's family; 0 for those that no family names.
    pub(super) fn family_of(&self, key: &str) -> usize {
        let named = self
            .families
            .iter()
            .position(|f| f.iter().any(|k| k == key));
        named.map_or(0, |at| at + 1)
    }
}
