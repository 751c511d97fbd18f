//! NIST Statistical Reference Datasets, univariate summary statistics.

use crate::common::{assert_printed, assert_rel_at, number, relative_error, rows};
use calibriar::stats::{Moments, moments};

const CERTIFIED: &str = include_str!("../data/nist_strd_univariate.csv");
const OBSERVATIONS: &str = include_str!("../data/nist_strd_univariate_data.csv");

fn observations(dataset: &str) -> Vec<f64> {
    rows(OBSERVATIONS)
        .filter(|row| row[0] == dataset)
        .map(|row| number(row[2]))
        .collect()
}

/// Mean and standard deviation of these very `f64` numbers, in whole-number arithmetic: every value
/// is an integer times a power of two, and so is every deviation from the first one.
fn exact_moments(values: &[f64]) -> (f64, f64) {
    let exponent = |x: f64| (x.to_bits() >> 52 & 0x7ff) as i32 - 1075;
    let lowest = values
        .iter()
        .filter(|x| **x != 0.0)
        .map(|x| exponent(*x))
        .min()
        .unwrap_or(0);
    // Whole numbers need no bits behind the point.
    let lowest = if values.iter().all(|x| x.fract() == 0.0) {
        0
    } else {
        lowest
    };
    let unit = 2.0_f64.powi(lowest);
    let whole: Vec<i128> = values.iter().map(|x| (x / unit) as i128).collect();
    assert!(
        whole
            .iter()
            .zip(values)
            .all(|(i, x)| *i as f64 * unit == *x),
        "not exact"
    );
    let n = whole.len() as i128;
    let sum: i128 = whole.iter().sum();
    let deviations = whole.iter().map(|x| x - whole[0]);
    let (s1, s2) = deviations.fold((0, 0), |(s1, s2), d| (s1 + d, s2 + d * d));
    let variance = (n * s2 - s1 * s1) as f64 / (n * (n - 1)) as f64;
    (sum as f64 / n as f64 * unit, variance.sqrt() * unit)
}

fn check(dataset: &str, sd_of_the_decimals: f64) {
    let row = rows(CERTIFIED)
        .find(|row| row[0] == dataset)
        .expect("a certified row");
    let values = observations(dataset);
    let Moments { n, mean, sd } = moments(&values).expect("finite values");
    let sd = sd.expect("more than one value");
    assert_eq!(n, number(row[1]) as usize);

    // Against the exact answer for the f64 inputs: a few roundings.
    let (exact_mean, exact_sd) = exact_moments(&values);
    assert_rel_at(dataset, mean, exact_mean, 2.0 * f64::EPSILON);
    assert_rel_at(dataset, sd, exact_sd, 2.0 * f64::EPSILON);

    // Against the certified values, which are those of the decimal text.
    let error = relative_error(sd, number(row[3]));
    assert!(
        error <= sd_of_the_decimals,
        "{dataset}: sd {sd}, certified {}, {error:e}",
        row[3]
    );
    if row[5] == "yes" {
        assert_rel_at(dataset, mean, number(row[2]), 1e-15);
    } else {
        assert_printed(dataset, mean, row[2]);
    }
}

/// Source: NIST StRD, univariate, Lew (certified to 15 digits; tolerance: half a unit of the last).
#[test]
fn lew() {
    check("Lew", 5e-15);
}

/// Source: NIST StRD, univariate, Lottery (as above).
#[test]
fn lottery() {
    check("Lottery", 5e-15);
}

/// Source: NIST StRD, univariate, Mavro (certified to 15 digits; reading 2.0018 and its like into
/// `f64` moves the standard deviation by 7.5e-14).
#[test]
fn mavro() {
    check("Mavro", 1e-13);
}

/// Source: NIST StRD, univariate, Michelso (as Mavro, with 299.85 by 1.5e-14).
#[test]
fn michelso() {
    check("Michelso", 2e-14);
}

/// Source: NIST StRD, univariate, NumAcc1 (whole numbers: exact).
#[test]
fn num_acc_1() {
    check("NumAcc1", 0.0);
}

/// Source: NIST StRD, univariate, NumAcc2 (1.1, 1.2, 1.3 in `f64`: 15 digits).
#[test]
fn num_acc_2() {
    check("NumAcc2", 1e-14);
}

/// Source: NIST StRD, univariate, NumAcc3: reading 1000000.1 into `f64` alone moves the standard
/// deviation by 3.5e-10, so no program that takes `f64` can come closer to 0.1.
#[test]
fn num_acc_3() {
    check("NumAcc3", 1e-9);
}

/// Source: NIST StRD, univariate, NumAcc4: as NumAcc3, here by 5.6e-9.
#[test]
fn num_acc_4() {
    check("NumAcc4", 1e-8);
}

/// Source: NIST StRD, univariate, PiDigits (5000 digits of pi; 15 digits).
#[test]
fn pi_digits() {
    check("PiDigits", 5e-15);
}
