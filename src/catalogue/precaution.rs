//! What to mind at the bench.

use std::sync::LazyLock;

/// A caution that stands where a work is advised.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Precaution {
    /// Short name.
    pub key: String,
    /// A word or two, to stand beside a work.
    pub label: String,
    /// The whole of it.
    pub text: String,
    /// Who says so, with the year of the document.
    pub source: String,
}

static PRECAUTIONS: LazyLock<Vec<Precaution>> = LazyLock::new(|| {
    let mut reader = csv::Reader::from_reader(include_bytes!("precautions.csv").as_slice());
    // A faulty row of the built-in table would be a slip of ours: a test reads every row.
    let rows = reader.records().flatten();
    rows.map(|row| {
        let cell = |at: usize| row.get(at).unwrap_or_default().to_owned();
        Precaution {
            key: cell(0),
            label: cell(1),
            text: cell(2),
            source: cell(3),
        }
    })
    .collect()
});

/// All of them (`precautions.csv` beside this file); the first goes before any work.
pub fn precautions() -> &'static [Precaution] {
    &PRECAUTIONS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_whole_and_has_a_source() {
        let lines = include_str!("precautions.csv").lines().count();
        assert_eq!(precautions().len(), lines - 1);
        for p in precautions() {
            for text in [&p.key, &p.label, &p.text, &p.source] {
                assert!(!text.is_empty(), "{p:?}");
            }
        }
        assert!(
            precautions()[0]
                .text
                .contains("licensed or experienced hand")
        );
    }
}
