//! The worked cases of the method that need no borrowing.
//!
//! Truth: `tests/data/methods_cases/*.json`, worked to 12 digits by another program (see
//! `tests/data/SOURCES.md`). Closed forms agree to 1e-9; what goes through a t quantile to 1e-9
//! as well.

use calibriar::catalogue::Kind;
use calibriar::cohort::on_scale;
use calibriar::notation::{Context, DecimalMark, Quantity, Unit, read_cell};
use calibriar::stats::{
    Coverage, Predictive, Prior, Rated, benjamini_hochberg, holm, howe_factor, range_confidence,
    two_sided_factor,
};
use serde_json::Value;

use crate::common::assert_rel;

const TOLERANCE: f64 = 1e-9;

pub(super) fn case(name: &str) -> Value {
    let path = format!(
        "{}/tests/data/methods_cases/{name}.json",
        env!("CARGO_MANIFEST_DIR")
    );
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

pub(super) fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

#[test]
fn case01_readings_and_their_uncertainties() {
    let case = case("case01-readings");
    let millimetres = Context {
        quantity: Quantity::Length,
        unit: Unit::Millimetre,
        mark: DecimalMark::Point,
    };
    // The first four readings of the case as they would be written in a cell; the fifth combines
    // a step with an instrument's half-width, which no one cell can say.
    let written = ["3.5..3.6", "3.9..4.0", "41.16 ± 0.02", "136.6 ± 0.5"];
    let expected = case["expected"]["values"].as_array().unwrap();
    for (text, want) in written.iter().zip(expected) {
        let cell = read_cell(text, &millimetres).unwrap().unwrap();
        let u = cell.standard_uncertainty.unwrap();
        assert_rel(cell.value, want["y"].as_f64().unwrap(), TOLERANCE);
        assert_rel(u, want["u"].as_f64().unwrap(), TOLERANCE);
        let (x, u) = on_scale(Kind::Ratio, cell.value, u);
        assert_rel(x, want["x_ratio"].as_f64().unwrap(), TOLERANCE);
        assert_rel(u, want["u_ratio"].as_f64().unwrap(), TOLERANCE);
    }
}

/// The readings of a case without periods.
fn undated(input: &Value) -> Vec<Rated> {
    let readings = numbers(&input["x"]).into_iter().zip(numbers(&input["u"]));
    let period = None;
    readings.map(|(x, u)| Rated { x, u, period }).collect()
}

#[track_caller]
fn predictive_case(name: &str) {
    let case = case(name);
    let (input, want) = (&case["input"], &case["expected"]);
    let number = |value: &Value| value.as_f64().unwrap();
    let norm = Predictive::new(&undated(input), &Prior::none(0.0)).unwrap();
    assert_eq!(norm.n() as f64, number(&want["norm"]["n"]));
    assert_rel(norm.centre(), number(&want["norm"]["mu"]), TOLERANCE);
    assert_rel(
        1.0 / norm.n_effective(),
        number(&want["norm"]["V"]),
        TOLERANCE,
    );
    assert_rel(norm.df(), number(&want["norm"]["nu"]), TOLERANCE);
    assert_rel(
        norm.spread().powi(2),
        number(&want["norm"]["s2"]),
        TOLERANCE,
    );
    assert_rel(norm.spread(), number(&want["within_sd"]), TOLERANCE);
    let (y, u_new) = (number(&input["y"]), number(&input["u_new"]));
    let at = norm.judge(y, u_new);
    assert_rel(at.variance, number(&want["W"]), TOLERANCE);
    assert_rel(at.t, number(&want["T"]), TOLERANCE);
    assert_rel(at.p, number(&want["p"]), TOLERANCE);
    assert_rel(at.z, number(&want["z"]), TOLERANCE);
    let half_width = norm.half_width(at.variance, 0.95);
    assert_rel(
        norm.centre() - half_width,
        number(&want["band_lo"]),
        TOLERANCE,
    );
    assert_rel(
        norm.centre() + half_width,
        number(&want["band_hi"]),
        TOLERANCE,
    );
    assert_rel(
        norm.least_noticeable(at.variance),
        number(&want["mdd80"]),
        TOLERANCE,
    );
    assert_rel(norm.sharpness(u_new), number(&want["sharpness"]), TOLERANCE);
    let needed = norm.references_needed(u_new).unwrap();
    assert_eq!(needed as f64, number(&want["refs_needed"]));
}

#[test]
fn case02_plain_prediction_from_four_references() {
    predictive_case("case02-no-borrowing-n4");
}

#[test]
fn case04_one_reference_is_no_evidence() {
    let case = case("case04-n1-no-borrow");
    let alone = undated(&case["input"]);
    assert_eq!(Predictive::new(&alone, &Prior::none(0.0)), None);
    assert_eq!(case["expected"]["label"], "not enough evidence");
}

#[test]
fn case09_equal_references_have_the_spread_of_their_reading() {
    predictive_case("case09-all-equal-fallback");
}

#[test]
fn case21_adjusted_p_values() {
    let case = case("case21-holm-bh");
    let p = numbers(&case["input"]["p"]);
    for (got, want) in holm(&p).iter().zip(numbers(&case["expected"]["holm"])) {
        assert_rel(*got, want, TOLERANCE);
    }
    for (got, want) in benjamini_hochberg(&p)
        .iter()
        .zip(numbers(&case["expected"]["bh"]))
    {
        assert_rel(*got, want, TOLERANCE);
    }
}

#[test]
fn case24_tolerance_factors_and_the_range_seen() {
    let case = case("case24-tolerance");
    let number = |value: &Value| value.as_f64().unwrap();
    for normal in case["expected"]["normal"].as_array().unwrap() {
        let coverage = Coverage::new(number(&normal["P"]), number(&normal["gamma"])).unwrap();
        let (nu, n_eff) = (number(&normal["nu"]), number(&normal["n_eff"]));
        let howe = howe_factor(coverage, nu, n_eff).unwrap();
        assert_rel(howe, number(&normal["k"]), TOLERANCE);
        // The exact factor, which the program uses, is near it: Howe's is an approximation.
        assert_rel(two_sided_factor(coverage, nu, n_eff).unwrap(), howe, 0.03);
    }
    for wilks in case["expected"]["wilks"].as_array().unwrap() {
        let n = wilks["n"].as_u64().unwrap() as usize;
        let got = range_confidence(n, number(&wilks["P"])).unwrap();
        assert_rel(got, number(&wilks["conf"]), TOLERANCE);
    }
}
