//! Posterior variances against limma, consensus means against metafor: two models that ours is one
//! with where periods and reading errors, or the own spread, are left out.

use std::collections::HashMap;

use calibriar::stats::{Predictive, Prior, Rated, median, median_absolute_deviation, two_level};

use crate::common::{assert_rel, rows};

const GROUPS: &str = include_str!("../data/moderated_variance/groups.csv");
const SUMMARY: &str = include_str!("../data/moderated_variance/summary.csv");
const MEASURED: &str = include_str!("../data/heterogeneous_uncertainty/data.csv");
const CONSENSUS: &str = include_str!("../data/heterogeneous_uncertainty/results.csv");
const STRAYS: &str = include_str!("../data/robust_data.csv");
const ROBUST: &str = include_str!("../data/robust_univariate.csv");

fn number(text: &str) -> f64 {
    match text.trim() {
        "Inf" => f64::INFINITY,
        text => text.parse().unwrap(),
    }
}

/// `df + 1` readings without error whose sum of squares about their mean is `df * s2`.
fn set_of(s2: f64, df: usize) -> Vec<Rated> {
    let half = (df as f64 * s2 / 2.0).sqrt();
    let mut x = vec![0.0; df + 1];
    (x[0], x[1]) = (half, -half);
    let period = Some(0);
    x.into_iter().map(|x| Rated { x, u: 0.0, period }).collect()
}

/// Source: limma 3.54.1, squeezeVar; 15 digits stored, some fewer.
#[test]
fn posterior_variances_are_those_of_limma() {
    let priors: HashMap<String, (f64, f64)> = rows(SUMMARY)
        .map(|row| (row[0].to_owned(), (number(row[4]), number(row[5]))))
        .collect();
    let mut compared = 0;
    for row in rows(GROUPS) {
        let (d0, s02) = priors[row[0]];
        let (s2, df) = (number(row[2]), number(row[3]) as usize);
        let prior = Prior {
            df: d0,
            variance: s02,
            lambda: 0.0,
        };
        let norm = Predictive::new(&set_of(s2, df), &prior).unwrap();
        assert_rel(norm.spread().powi(2), number(row[4]), 1e-12);
        assert_eq!(norm.df(), d0 + df as f64);
        compared += 1;
    }
    assert_eq!(compared, 309);
}

/// Source: metafor 3.8-1. At a given variance between results (tau2) the centre and its standard error
/// are the same in both models: readings of one period, tau2 for the variance of pieces. Paule and
/// Mandel's tau2 is the one at which the weighted sum of squares is its expectation, k - 1.
///
/// The models part where that variance comes from: consensus means estimate it from the set itself,
/// whatever its size; here it is lent by other patterns, and without a loan the readings' own scatter
/// stands, errors and all, so that the centre is their plain mean.
#[test]
fn consensus_means_are_those_of_metafor_at_the_same_variance_between() {
    let mut sets: HashMap<String, Vec<Rated>> = HashMap::new();
    for row in rows(MEASURED) {
        sets.entry(row[0].to_owned()).or_default().push(Rated {
            x: number(row[2]),
            u: number(row[3]),
            period: Some(0),
        });
    }
    let (mut compared, mut balanced) = (0, 0);
    for row in rows(CONSENSUS) {
        let (method, tau2) = (row[1], number(row[5]));
        // Without variance between results only their errors weigh: no spread of pieces, no model.
        // The Hunter-Schmidt and HKSJ lines have other standard errors by design.
        if tau2 <= 0.0 || method.ends_with("HKSJ") {
            continue;
        }
        let set = &sets[row[0]];
        let sums = two_level(set, 0.0, tau2).unwrap();
        assert_rel(sums.mu, number(row[3]), 1e-8);
        assert_rel((tau2 * sums.v).sqrt(), number(row[4]), 1e-8);
        compared += 1;
        if method == "PM" {
            assert_rel(sums.q / tau2, (set.len() - 1) as f64, 1e-8);
            balanced += 1;
        }
    }
    assert!(compared >= 40 && balanced >= 6, "{compared}, {balanced}");
    // Cadmium, Paule and Mandel 1982: 26.7121 by theirs; the plain mean is 0.1143 lower, 0.67 of their
    // standard error of 0.171.
    let alone = Predictive::new(&sets["paule_mandel_1982_cd"], &Prior::none(0.0)).unwrap();
    let plain = sets["paule_mandel_1982_cd"]
        .iter()
        .map(|r| r.x)
        .sum::<f64>()
        / 5.0;
    assert_rel(alone.centre(), plain, 1e-14);
    assert!((26.7121287483 - alone.centre() - 0.1143).abs() < 0.00005);
}

/// Source: R, robustbase 0.95-0 (medians and raw median absolute deviations, 15 digits).
#[test]
fn medians_of_data_with_strays_are_those_of_r() {
    let mut columns: HashMap<(String, String), Vec<f64>> = HashMap::new();
    for row in rows(STRAYS) {
        let key = (row[0].to_owned(), row[2].to_owned());
        columns.entry(key).or_default().push(number(row[3]));
    }
    let mut compared = 0;
    for row in rows(ROBUST) {
        let values = &columns[&(row[0].to_owned(), row[1].to_owned())];
        assert_eq!(values.len() as f64, number(row[2]));
        assert_rel(median(values).unwrap(), number(row[5]), 1e-14);
        let mad = median_absolute_deviation(values).unwrap();
        assert_rel(mad, number(row[6]), 1e-13);
        compared += 1;
    }
    assert_eq!(compared, 8);
}
