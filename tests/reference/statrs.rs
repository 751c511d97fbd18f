//! Everyday points against the crate statrs 0.19, within what that crate reaches itself.
//!
//! Measured against 50-digit values, statrs is good at everyday points to 1.3e-11 (t quantile), 7e-11
//! (chi-square) and 4e-11 (F), hence the tolerances; its far tails are not used.

use crate::common::assert_rel_at;
use calibriar::stats::{
    chi_square_quantile, chi_square_sf, f_quantile, f_sf, normal_quantile, t_cdf, t_quantile, t_sf,
};
use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

const PROBABILITIES: [f64; 8] = [0.005, 0.025, 0.1, 0.3, 0.7, 0.9, 0.975, 0.995];
const DF: [f64; 6] = [1.0, 2.0, 4.5, 9.0, 29.0, 120.0];

#[test]
fn t_against_statrs() {
    for df in DF {
        let theirs = StudentsT::new(0.0, 1.0, df).expect("a t distribution");
        for p in PROBABILITIES {
            let t = t_quantile(p, df);
            let case = format!("t, df {df}, p {p}");
            assert_rel_at(&case, t, theirs.inverse_cdf(p), 1e-10);
            assert_rel_at(&case, t_cdf(t, df), theirs.cdf(t), 1e-10);
            assert_rel_at(&case, t_sf(t, df), theirs.sf(t), 1e-10);
        }
    }
}

#[test]
fn chi_square_against_statrs() {
    for df in DF {
        let theirs = ChiSquared::new(df).expect("a chi-square distribution");
        for p in PROBABILITIES {
            let x = chi_square_quantile(p, df);
            let case = format!("chi-square, df {df}, p {p}");
            // statrs bisects to about 1e-9 of absolute width.
            let tolerance = 1e-10 + 1e-9 / x;
            assert_rel_at(&case, x, theirs.inverse_cdf(p), tolerance);
            assert_rel_at(&case, chi_square_sf(x, df), theirs.sf(x), 1e-10);
        }
    }
}

#[test]
fn f_against_statrs() {
    for df1 in DF {
        for df2 in DF {
            let theirs = FisherSnedecor::new(df1, df2).expect("an F distribution");
            for p in PROBABILITIES {
                let x = f_quantile(p, df1, df2);
                let case = format!("F, df {df1} and {df2}, p {p}");
                assert_rel_at(&case, x, theirs.inverse_cdf(p), 1e-9);
                assert_rel_at(&case, f_sf(x, df1, df2), theirs.sf(x), 1e-9);
            }
        }
    }
}

#[test]
fn normal_against_statrs() {
    let theirs = Normal::standard();
    for p in PROBABILITIES {
        assert_rel_at(
            &format!("normal, p {p}"),
            normal_quantile(p),
            theirs.inverse_cdf(p),
            1e-14,
        );
    }
}
