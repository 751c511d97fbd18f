//! Some cells of the study, with few worlds: enough to catch a wrong formula, though not a small
//! one such as the floor of rounded readings. Those the worked cases of `reference` hold.

use calibriar::stats::normal_upper_quantile;

use super::rates::{Measure, Rate, rates};
use super::stated::{
    ALONE, ALONE_DATED, BASE_PHI, BASE_RHO, BASE_ROWS, COLUMNS, DATED, FAMILIES, G_3, HEAVY,
    HEAVY_DATED, LAMBDA_1, MIXED_OWN, MIXED_U, ONE_BAD, OWN_DATA, ROUNDED, ROWS, UNDATED, families,
    standard_error,
};
use super::world::{BASE, DIMENSIONS, Scenario};

const SEED: u64 = 20_011_125;

/// Half of the last digit that the study prints.
fn rounding(measure: Measure) -> f64 {
    match measure {
        Measure::Ff05 => 0.00005,
        Measure::Ff5 | Measure::Ff5First | Measure::Ff5Second | Measure::Any => 0.0005,
        _ => 0.005,
    }
}

/// A rate is where the study's puts it, at a false-alarm rate of 1e-6; the world is the unit
/// ([`standard_error`]).
#[track_caller]
fn within_limits(
    what: &str,
    scenario: &Scenario,
    worlds: usize,
    measure: Measure,
    compared: (Rate, f64),
) {
    let (rate, stated) = compared;
    let error = standard_error(scenario, worlds, measure, compared);
    let half = normal_upper_quantile(0.5e-6) * error + rounding(measure);
    let of = measure.units(worlds);
    assert!(
        (rate.mean - stated).abs() <= half,
        "{what}, {measure:?}: {:.1} of {of} ({:.4}), want {stated} +- {half:.4}",
        rate.mean * of as f64,
        rate.mean,
    );
}

/// A row of the other worlds with one number of references.
#[track_caller]
fn check_row(name: &str, n: usize, worlds: usize) {
    let row = ROWS.iter().find(|row| row.name == name).unwrap();
    let found = rates(&row.scenario, n, worlds, SEED);
    let what = format!("{name}, n = {n}");
    for (measure, stated) in COLUMNS.into_iter().zip(row.cells(n).unwrap()) {
        let both = (found.undated(measure), stated);
        within_limits(&what, &row.scenario, worlds, measure, both);
    }
}

/// Undated and dated, every column; period share and phi.
#[test]
fn base_world() {
    for (n, undated, dated) in BASE_ROWS
        .into_iter()
        .filter(|(n, ..)| [1, 3, 4].contains(n))
    {
        let worlds = 200;
        let found = rates(&BASE, n, worlds, SEED);
        for (measure, stated) in UNDATED.into_iter().zip(undated) {
            let both = (found.undated(measure), stated);
            within_limits(&format!("n = {n}"), &BASE, worlds, measure, both);
        }
        for (measure, stated) in DATED.into_iter().zip(dated) {
            let both = (found.dated(measure), stated);
            within_limits(&format!("n = {n}, dated"), &BASE, worlds, measure, both);
        }
        for (what, fitted, stated) in [
            ("rho", found.rho, BASE_RHO),
            ("phi", found.phi.unwrap(), BASE_PHI),
        ] {
            let half = normal_upper_quantile(0.5e-6) * fitted.se + 0.0005;
            assert!(
                (fitted.mean - stated).abs() <= half,
                "{what}: {fitted:?}, want {stated}"
            );
        }
    }
}

#[test]
fn own_data_only() {
    for n in [1, 6, 30] {
        check_row(OWN_DATA, n, 200);
    }
    for (n, ff5, nee) in ALONE_DATED.into_iter().filter(|(n, ..)| [4, 6].contains(n)) {
        let worlds = 200;
        let found = rates(&ALONE, n, worlds, SEED);
        for (measure, stated) in [(Measure::Ff5, ff5), (Measure::Nee, nee)] {
            let both = (found.dated(measure), stated);
            within_limits(
                &format!("G = 0, n = {n}, dated"),
                &ALONE,
                worlds,
                measure,
                both,
            );
        }
    }
}

/// With one reference a period, own data only, an undated piece and its references are exchangeable:
/// the p is exact, whatever lambda*, and the dimensions are independent. Truth: the level itself,
/// and Holm's first step, 1 - (1 - 0.05 / 12)^12; limits of the binomial law.
#[test]
fn own_data_only_is_exact() {
    let any = 1.0 - (1.0 - 0.05 / DIMENSIONS as f64).powi(DIMENSIONS as i32);
    for n in [2, 3] {
        let worlds = 600;
        let found = rates(&ALONE, n, worlds, SEED);
        for (measure, exact) in [
            (Measure::Ff5, 0.05),
            (Measure::Ff05, 0.005),
            (Measure::Any, any),
        ] {
            let of = measure.units(worlds);
            let count = found.undated(measure).mean * of as f64;
            let half = normal_upper_quantile(0.5e-6) * (exact * (1.0 - exact) * of as f64).sqrt();
            assert!(
                (count - exact * of as f64).abs() <= half,
                "n = {n}, {measure:?}: {count:.0} of {of}, want {:.0} +- {half:.0}",
                exact * of as f64
            );
        }
    }
}

/// The study took a share of 1/2 where no set tells it, one world in seven here; the difference is
/// less than these limits.
#[test]
fn three_other_patterns() {
    for n in [1, 3] {
        check_row(G_3, n, 200);
    }
}

#[test]
fn periods_that_differ_much() {
    check_row(LAMBDA_1, 6, 200);
}

#[test]
fn rounded_readings() {
    check_row(ROUNDED, 2, 100);
}

#[test]
fn mixed_uncertainties() {
    check_row(MIXED_U, 3, 200);
    check_row(MIXED_OWN, 6, 200);
}

#[test]
fn families_that_differ() {
    for (others, first, second) in FAMILIES.into_iter().filter(|(others, ..)| *others == 8) {
        let (scenario, worlds) = (families(others), 150);
        let found = rates(&scenario, 1, worlds, SEED);
        for (measure, stated) in [(Measure::Ff5First, first), (Measure::Ff5Second, second)] {
            let both = (found.undated(measure), stated);
            within_limits("families, n = 1", &scenario, worlds, measure, both);
        }
    }
}

#[test]
fn heavy_tails_dated() {
    let worlds = 100;
    let found = rates(&HEAVY, 30, worlds, SEED);
    let (ff5, any) = HEAVY_DATED;
    for (measure, stated) in [(Measure::Ff5, ff5), (Measure::Any, any)] {
        let both = (found.dated(measure), stated);
        within_limits("t5, n = 30, dated", &HEAVY, worlds, measure, both);
    }
}

#[test]
fn one_bad_reference() {
    check_row(ONE_BAD, 3, 200);
}

#[test]
fn the_same_seed_gives_the_same_rates() {
    assert_eq!(rates(&ALONE, 3, 7, SEED), rates(&ALONE, 3, 7, SEED));
    assert_ne!(rates(&ALONE, 3, 7, SEED), rates(&ALONE, 3, 7, SEED + 1));
}
