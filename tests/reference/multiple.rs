//! Adjusted p-values against R.

use crate::common::{assert_rel_at, number, rows};
use calibriar::stats::{benjamini_hochberg, holm};
use std::collections::BTreeMap;

/// Source: R 4.2.2, p.adjust (see data/SOURCES.md).
const TABLE: &str = include_str!("../data/multiple_testing.csv");

#[test]
fn adjusted_p_values_against_r_4_2_2() {
    let mut families: BTreeMap<&str, Vec<Vec<&str>>> = BTreeMap::new();
    for row in rows(TABLE) {
        families.entry(row[0]).or_default().push(row);
    }
    assert_eq!(families.len(), 9);
    for (family, rows) in families {
        let p: Vec<f64> = rows.iter().map(|row| number(row[2])).collect();
        let (step_down, step_up) = (holm(&p), benjamini_hochberg(&p));
        for (i, row) in rows.iter().enumerate() {
            // One multiplication and one division; R prints 15 digits.
            assert_rel_at(family, step_down[i], number(row[3]), 1e-14);
            assert_rel_at(family, step_up[i], number(row[4]), 1e-14);
        }
    }
}

/// Source: an independent program, 12 decimals.
#[test]
fn eight_dimensions_of_one_piece() {
    let p = [
        0.00022, 0.55918, 0.20303, 0.0001, 0.83435, 0.42928, 0.0, 0.06861,
    ];
    let step_down = [0.00132, 1.0, 0.81212, 0.0007, 1.0, 1.0, 0.0, 0.34305];
    let step_up = [
        0.000586666666667,
        0.639062857143,
        0.324848,
        0.0004,
        0.83435,
        0.572373333333,
        0.0,
        0.13722,
    ];
    for (got, want) in holm(&p).into_iter().zip(step_down) {
        assert_rel_at("Holm", got, want, 1e-12);
    }
    for (got, want) in benjamini_hochberg(&p).into_iter().zip(step_up) {
        assert_rel_at("Benjamini and Hochberg", got, want, 1e-12);
    }
}
