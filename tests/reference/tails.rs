//! Tails and quantiles against 50-digit values.

use crate::common::{assert_rel_at, number, rows};
use calibriar::stats::{
    chi_square_cdf, chi_square_quantile, chi_square_sf, chi_square_upper_quantile, f_cdf,
    f_quantile, f_sf, f_upper_quantile, normal_cdf, normal_quantile, normal_sf,
    normal_upper_quantile, t_cdf, t_quantile, t_sf, t_two_sided, t_upper_quantile,
};

/// Source: mpmath 1.4.1, 50 digits (see data/SOURCES.md).
const TABLE: &str = include_str!("../data/tails.csv");

/// The stated target, met with a margin of 7 or more on every row.
const TOLERANCE: f64 = 1e-12;

/// Every row of the function `name` against `f(a, b, x)`; the number of rows keeps a misspelt name
/// from passing.
#[track_caller]
fn check(name: &str, count: usize, f: impl Fn(f64, f64, f64) -> f64) {
    let named: Vec<_> = rows(TABLE).filter(|row| row[0] == name).collect();
    assert_eq!(named.len(), count);
    for row in named {
        let got = f(number(row[1]), number(row[2]), number(row[3]));
        assert_rel_at(&row.join(","), got, number(row[4]), TOLERANCE);
    }
}

#[test]
fn normal_against_mpmath() {
    check("n_cdf", 21, |_, _, x| normal_cdf(x));
    check("n_sf", 21, |_, _, x| normal_sf(x));
    check("n_inv", 20, |_, _, p| normal_quantile(p));
    check("n_inv", 20, |_, _, p| -normal_upper_quantile(p));
}

#[test]
fn t_against_mpmath() {
    check("t_cdf", 188, |df, _, x| t_cdf(x, df));
    check("t_sf", 188, |df, _, x| t_sf(x, df));
    check("t_sf", 188, |df, _, x| {
        let half = 0.5 * t_two_sided(x, df);
        if x < 0.0 { 1.0 - half } else { half }
    });
    check("t_inv", 160, |df, _, p| t_quantile(p, df));
    check("t_inv", 160, |df, _, p| -t_upper_quantile(p, df));
}

#[test]
fn chi_square_against_mpmath() {
    check("c_cdf", 158, |df, _, x| chi_square_cdf(x, df));
    check("c_sf", 176, |df, _, x| chi_square_sf(x, df));
    check("c_inv", 158, |df, _, p| chi_square_quantile(p, df));
}

#[test]
fn f_against_mpmath() {
    check("f_cdf", 136, |df1, df2, x| f_cdf(x, df1, df2));
    check("f_sf", 136, |df1, df2, x| f_sf(x, df1, df2));
    check("f_inv", 136, |df1, df2, p| f_quantile(p, df1, df2));
    check("f_inv", 136, |df1, df2, p| {
        1.0 / f_upper_quantile(p, df2, df1)
    });
}

/// The table has no upper quantiles: the tail at the quantile must be the one asked for.
#[test]
fn upper_quantiles_undo_the_upper_tails_of_mpmath() {
    for row in rows(TABLE).filter(|row| row[0] == "c_sf") {
        let (df, x, q) = (number(row[1]), number(row[3]), number(row[4]));
        // Near 1 the upper tail no longer tells x from 0.
        if q < 0.9 {
            assert_rel_at(
                &row.join(","),
                chi_square_upper_quantile(q, df),
                x,
                TOLERANCE,
            );
        }
    }
}
