//! Quantiles at awkward arguments against 60-digit values.

use crate::common::{assert_rel_at, number, rows};
use calibriar::stats::{chi_square_quantile, f_quantile, noncentral_t_quantile, t_quantile};

/// Source: mpmath, 60 digits (34 for the noncentral t), at the `f64` nearest to each p; 15 digits
/// are stored, hence the tolerance (see data/SOURCES.md).
const TABLE: &str = include_str!("../data/prediction_t.csv");

#[test]
fn quantiles_at_the_f64_probability_against_mpmath() {
    let mut count = 0;
    for row in rows(TABLE) {
        let p = number(row[4]);
        let got = match row[0] {
            "t" => t_quantile(p, number(row[1])),
            "chi2" => chi_square_quantile(p, number(row[1])),
            "F" => f_quantile(p, number(row[1]), number(row[2])),
            "nct" => noncentral_t_quantile(p, number(row[1]), number(row[3])),
            other => panic!("no distribution {other}"),
        };
        assert_rel_at(&row.join(","), got, number(row[6]), 1e-14);
        count += 1;
    }
    assert_eq!(count, 737);
}
