//! The band of a whole outline against the worked case of the method.

use calibriar::stats::{band_p, band_threshold, roughness};

use super::methods_cases::{case, numbers};
use crate::common::assert_rel;

#[test]
fn case26_threshold_and_roughness() {
    let case = case("case26-outline-band");
    let outlines = case["input"]["outlines"].as_array().unwrap();
    let set: Vec<Vec<f64>> = outlines.iter().map(numbers).collect();
    let want = &case["expected"];
    assert_rel(
        roughness(&[set]).unwrap(),
        want["L"].as_f64().unwrap(),
        1e-9,
    );
    let thresholds = want["u"].as_array().unwrap();
    assert_eq!(thresholds.len(), 4);
    for row in thresholds {
        let of = |key: &str| row[key].as_f64().unwrap();
        let u = band_threshold(of("nu"), of("L"), 0.05).unwrap();
        assert_rel(u, of("u"), 1e-9);
        assert_rel(band_p(u, of("nu"), of("L")).unwrap(), 0.05, 1e-12);
    }
}
