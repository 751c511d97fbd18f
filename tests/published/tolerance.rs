//! Printed normal tolerance factors.

use crate::common::{assert_printed, number, rows};
use calibriar::stats::{Coverage, howe_factor, normal_tolerance_factor, one_sided_factor};

const PRINTED: &str = include_str!("../data/tolerance_factors_published_check.csv");

/// Checks all rows of that kind against `factor` and returns their number.
fn check(sides: &str, factor: impl Fn(usize, Coverage) -> f64) -> usize {
    let kind: Vec<_> = rows(PRINTED).filter(|row| row[3] == sides).collect();
    for row in &kind {
        let coverage = Coverage::new(number(row[1]), number(row[2])).expect("probabilities");
        let got = factor(number(row[0]) as usize, coverage);
        assert_printed(&row.join(","), got, row[4]);
    }
    kind.len()
}

/// Source: Montgomery and Runger, Applied Statistics and Probability for Engineers, 7th ed., Table
/// XII (three decimals; tolerance: half a unit of the last).
#[test]
fn one_sided_factors_against_montgomery_and_runger_table_xii() {
    let n = check("one", |n, coverage| {
        one_sided_factor(coverage, n).expect("n >= 2")
    });
    assert_eq!(n, 153);
}

/// Source: Berthouex and Brown, Statistics for Environmental Engineers, Table 21.1 (two decimals;
/// tolerance: half a unit of the last).
#[test]
fn two_sided_factors_against_berthouex_and_brown_table_21_1() {
    let n = check("two", |n, coverage| {
        normal_tolerance_factor(n, coverage).expect("n >= 2")
    });
    assert_eq!(n, 39);
}

/// Source: NIST/SEMATECH e-Handbook 7.2.6.3: 43 readings, 90 % content, 99 % confidence, Howe's
/// approximation, 2.2173159 (seven decimals; tolerance: half a unit of the last).
#[test]
fn howe_factor_against_nist_7_2_6_3() {
    let n = check("two_howe", |n, coverage| {
        howe_factor(coverage, n as f64 - 1.0, n as f64).expect("n >= 2")
    });
    assert_eq!(n, 1);
}
