//! Exact tolerance factors and sample sizes against independent computations.

use crate::common::{assert_rel_at, number, rows};
use calibriar::stats::{
    Coverage, Sides, howe_factor, normal_tolerance_factor, one_sided_factor, range_confidence,
    two_sided_factor, wilks_sample_size,
};

/// Source: 30-digit Gauss-Legendre quadrature, 15 digits stored (see data/SOURCES.md).
const PLAIN: &str = include_str!("../data/tolerance_factors_normal.csv");
/// Source: tests/reference/tolerance_effective.py, mpmath, 25 digits, 15 stored.
const EFFECTIVE: &str = include_str!("../data/tolerance_effective.csv");
/// Source: exact rational arithmetic (see data/SOURCES.md).
const SIZES: &str = include_str!("../data/wilks_sample_sizes.csv");

fn coverage(content: &str, confidence: &str) -> Coverage {
    Coverage::new(number(content), number(confidence)).expect("probabilities")
}

#[test]
fn factors_of_plain_samples_against_quadrature() {
    let mut count = 0;
    for row in rows(PLAIN) {
        let (case, coverage) = (row.join(","), coverage(row[1], row[2]));
        let n = number(row[0]) as usize;
        let one = one_sided_factor(coverage, n).expect("n >= 2");
        assert_rel_at(&case, one, number(row[3]), 1e-13);
        let two = normal_tolerance_factor(n, coverage).expect("n >= 2");
        assert_rel_at(&case, two, number(row[4]), 1e-13);
        // That column is printed to 8 decimals.
        let df = n as f64 - 1.0;
        let howe = howe_factor(coverage, df, n as f64).expect("n >= 2");
        assert_rel_at(&case, howe, number(row[5]), 3e-9);
        count += 1;
    }
    assert_eq!(count, 172);
}

#[test]
fn factors_of_borrowed_spreads_against_quadrature() {
    let mut count = 0;
    for row in rows(EFFECTIVE) {
        let (df, n) = (number(row[2]), number(row[3]));
        let k = two_sided_factor(coverage(row[0], row[1]), df, n).expect("positive numbers");
        assert_rel_at(&row.join(","), k, number(row[4]), 1e-12);
        count += 1;
    }
    assert_eq!(count, 15);
}

/// Source: an independent program, 12 digits.
#[test]
fn howe_factor_of_borrowed_spreads() {
    for (content, df, n, k) in [
        (0.95, 8.3, 3.0, 3.823_645_716_35),
        (0.90, 3.0, 4.0, 5.369_902_316_1),
        (0.95, 29.0, 30.0, 2.549_635_295_17),
    ] {
        let coverage = Coverage::new(content, 0.95).expect("probabilities");
        let got = howe_factor(coverage, df, n).expect("positive numbers");
        assert_rel_at(&format!("{content} {df} {n}"), got, k, 3e-12);
    }
}

#[test]
fn sample_sizes_against_exact_arithmetic() {
    let mut count = 0;
    for row in rows(SIZES) {
        let (case, coverage) = (row.join(","), coverage(row[4], row[5]));
        let (sides, order) = match row[0] {
            "1" => (Sides::One, number(row[1]) as usize),
            _ => (Sides::Two, number(row[1]) as usize),
        };
        let n = number(row[6]) as usize;
        assert_eq!(wilks_sample_size(sides, order, coverage), Ok(n), "{case}");
        if (sides, order) == (Sides::Two, 1) {
            for (n, want) in [(n, row[7]), (n - 1, row[8])] {
                let got = range_confidence(n, coverage.content()).expect("a content");
                assert_rel_at(&case, got, number(want), 2e-13);
            }
        }
        count += 1;
    }
    assert_eq!(count, 60);
}
