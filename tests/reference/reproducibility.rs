//! Repeatability, reproducibility and bias of measurers (see `tests/data/SOURCES.md`, "iso5725").

use std::collections::BTreeMap;

use calibriar::stats::{
    Crossed, Likelihood, Pieces, consistency, crossed_variances, measurer_effects, one_way,
    one_way_fit, reading_interval, reference_bias, reproducibility_interval,
};

use crate::common::{assert_rel_at, number, rows};

/// Readings by lab, labs in the order of the file.
fn groups(dataset: &str, level: &str) -> Vec<(String, Vec<f64>)> {
    let mut groups: Vec<(String, Vec<f64>)> = Vec::new();
    let data = include_str!("../data/iso5725/data.csv");
    for row in rows(data).filter(|r| r[0] == dataset && r[1] == level) {
        match groups.iter_mut().find(|(lab, _)| lab == row[2]) {
            Some((_, values)) => values.push(number(row[3])),
            None => groups.push((row[2].to_owned(), vec![number(row[3])])),
        }
    }
    groups
}

fn slices(groups: &[(String, Vec<f64>)]) -> Vec<&[f64]> {
    groups.iter().map(|(_, values)| values.as_slice()).collect()
}

/// The columns of a table by name.
fn cells(table: &'static str) -> Vec<BTreeMap<&'static str, &'static str>> {
    let header: Vec<&str> = table.lines().next().unwrap().split(',').collect();
    rows(table)
        .map(|row| header.iter().copied().zip(row).collect())
        .collect()
}

/// Exact rationals, printed to 15 digits; the untruncated between component loses a digit or two
/// to the difference that it is.
#[test]
fn analysis_of_variance_by_exact_rationals() {
    let results = cells(include_str!("../data/iso5725/results.csv"));
    assert_eq!(results.len(), 16);
    for row in results {
        let case = format!("{} {}", row["dataset"], row["level"]);
        let of = groups(row["dataset"], row["level"]);
        let got = one_way(&slices(&of)).unwrap();
        let want = |column: &str| number(row[column]);
        let check = |what: &str, got: f64, tolerance: f64| {
            assert_rel_at(&format!("{case} {what}"), got, want(what), tolerance);
        };
        assert_eq!(got.groups as f64, want("p_labs"));
        assert_eq!(got.n as f64, want("N"));
        check("m", got.mean, 1e-13);
        check("mean_of_lab_means", got.mean_of_means, 1e-13);
        check("n_bar", got.n_bar.unwrap(), 1e-13);
        check("ms_between_sd2", got.mean_square_between.unwrap(), 1e-12);
        check("sr2", got.within.unwrap(), 1e-12);
        check(
            "sL2_anova_untruncated",
            got.between_untruncated.unwrap(),
            1e-11,
        );
        check("sL2", got.between().unwrap(), 1e-11);
        check("sR2", got.reproducibility().unwrap(), 1e-12);
        let (f, p) = got.f_test().unwrap();
        check("F", f, 1e-12);
        // Printed to 12 digits.
        check("p_F", p, 5e-12);
        let (low, high) = got.within_interval(0.95).unwrap();
        check("sr_ci95_low", low, 1e-12);
        check("sr_ci95_high", high, 1e-12);
    }
}

/// Variances and mean by bisection at 40 digits, printed to 15.
#[test]
fn likelihood_of_the_one_way_model_at_40_digits() {
    for row in cells(include_str!("../data/iso5725/results.csv")) {
        let case = format!("{} {}", row["dataset"], row["level"]);
        let of = groups(row["dataset"], row["level"]);
        let fit = |likelihood| one_way_fit(&slices(&of), likelihood).unwrap();
        let (reml, ml) = (fit(Likelihood::Restricted), fit(Likelihood::Full));
        for (what, got) in [
            ("reml_mean", reml.mean),
            ("reml_se_mean", reml.mean_se),
            ("reml_sL2", reml.between),
            ("reml_sr2", reml.within),
            ("reml_sR", (reml.between + reml.within).sqrt()),
            ("ml_sL2", ml.between),
            ("ml_sr2", ml.within),
        ] {
            assert_rel_at(&format!("{case} {what}"), got, number(row[what]), 1e-10);
        }
    }
}

#[test]
fn mandel_h_and_k() {
    let table = cells(include_str!("../data/iso5725/cells.csv"));
    assert_eq!(table.len(), 187);
    for row in table {
        let of = groups(row["dataset"], row["level"]);
        let at = of.iter().position(|(lab, _)| lab == row["lab"]).unwrap();
        let got = consistency(&slices(&of)).unwrap()[at];
        let case = format!("{} {} {}", row["dataset"], row["level"], row["lab"]);
        // A mean close to that of all keeps fewer digits.
        let h = number(row["mandel_h"]);
        assert!(
            (got.h.unwrap() - h).abs() < 1e-11 * h.abs().max(1.0),
            "{case}"
        );
        match row["mandel_k_balanced"] {
            "" => assert_eq!(got.k, None, "{case}"),
            k => assert_rel_at(&case, got.k.unwrap(), number(k), 1e-11),
        }
    }
}

fn crossed(case: &str) -> (Vec<Crossed>, Vec<&'static str>) {
    let (mut pieces, mut measurers): (Vec<&str>, Vec<&str>) = (Vec::new(), Vec::new());
    let number_of = |names: &mut Vec<&'static str>, name: &'static str| {
        names.iter().position(|n| *n == name).unwrap_or_else(|| {
            names.push(name);
            names.len() - 1
        })
    };
    let data = rows(include_str!("../data/iso5725/measurer_bias_data.csv"));
    let readings = data.filter(|row| row[0] == case).map(|row| Crossed {
        piece: number_of(&mut pieces, row[1]),
        measurer: number_of(&mut measurers, row[2]),
        value: number(row[3]),
    });
    (readings.collect(), measurers)
}

/// Exact normal equations, printed to 15 digits; lme4 stops at about 4e-7 of its variances.
#[test]
fn measurers_by_exact_normal_equations_and_lme4() {
    let results = cells(include_str!("../data/iso5725/measurer_bias.csv"));
    assert_eq!(results.len(), 13);
    for row in results {
        let (readings, measurers) = crossed(row["case"]);
        let at = measurers
            .iter()
            .position(|m| *m == row["measurer"])
            .unwrap();
        let got = measurer_effects(&readings).unwrap();
        let bias = got.biases[at];
        let (low, high) = got.interval(&bias, 0.95).unwrap();
        let (f, p) = got.f_test.unwrap();
        assert_eq!(bias.n as f64, number(row["n"]));
        assert_eq!(got.df as f64, number(row["df"]));
        for (what, got) in [
            ("bias", bias.bias),
            ("se", bias.se),
            ("ci95_low", low),
            ("ci95_high", high),
            ("residual_sd", got.residual.sqrt()),
        ] {
            let case = format!("{} {} {what}", row["case"], row["measurer"]);
            assert_rel_at(&case, got, number(row[what]), 1e-11);
        }
        // Printed to 12 and 10 digits.
        assert_rel_at(row["case"], f, number(row["F_measurer"]), 5e-12);
        assert_rel_at(row["case"], p, number(row["p_measurer"]), 5e-10);
        let variances = crossed_variances(&readings, Pieces::Random).unwrap();
        for (what, got) in [
            ("reml_var_piece", variances.piece.unwrap()),
            ("reml_var_measurer", variances.measurer),
            ("reml_var_residual", variances.residual),
        ] {
            assert_rel_at(row["case"], got, number(row[what]), 2e-6);
        }
    }
}

/// Balanced and the pieces' variance well above 0: fixed and random pieces tell the same of the
/// measurers (24 plates by 6 samples), and both are those of the analysis of variance.
#[test]
fn balanced_readings_tell_the_same_with_fixed_pieces() {
    let (readings, _) = crossed("penicillin");
    let random = crossed_variances(&readings, Pieces::Random).unwrap();
    let fixed = crossed_variances(&readings, Pieces::Fixed).unwrap();
    assert_rel_at("measurer", random.measurer, fixed.measurer, 1e-7);
    assert_rel_at("residual", random.residual, fixed.residual, 1e-7);
    let effects = measurer_effects(&readings).unwrap();
    assert_rel_at("residual", fixed.residual, effects.residual, 1e-11);
    let squares: f64 = effects.biases.iter().map(|b| b.bias * b.bias).sum();
    let between = squares / 5.0 - effects.residual / 24.0;
    assert_rel_at("between", fixed.measurer, between, 1e-11);
}

/// Dense matrices in numpy (`reproducibility_numpy.py`), good to about 1e-6.
#[test]
fn intervals_of_the_reproducibility_by_dense_matrices() {
    let table = cells(include_str!("../data/iso5725/profile_intervals.csv"));
    assert_eq!(table.len(), 9);
    for row in table {
        let (low, high) = match row["model"] {
            "one_way" => {
                let of = groups(row["case"], row["level"]);
                reproducibility_interval(&slices(&of), 0.95)
            }
            _ => reading_interval(&crossed(row["case"]).0, 0.95),
        }
        .unwrap()
        .unwrap();
        let case = format!("{} {}", row["case"], row["level"]);
        assert_rel_at(&case, low, number(row["low"]), 2e-6);
        assert_rel_at(&case, high, number(row["high"]), 2e-6);
    }
}

#[test]
fn bias_against_a_known_length() {
    let table = cells(include_str!("../data/iso5725/reference_bias.csv"));
    assert_eq!(table.len(), 4);
    for row in table {
        let readings: Vec<f64> = row["readings"].split(' ').map(number).collect();
        let got = reference_bias(&readings, number(row["reference"]), 0.95).unwrap();
        for (what, got) in [
            ("bias", got.bias),
            ("sd", got.sd),
            ("ci95_low", got.low),
            ("ci95_high", got.high),
        ] {
            // Differences of numbers like 25.4, which are not exact in binary.
            let want = number(row[what]);
            assert!((got - want).abs() < 1e-13, "{} {what}: {got}", row["case"]);
        }
        let significant = got.p.is_none_or(|p| p < 0.05);
        assert_eq!(significant, row["significant_at_5pct"] == "yes");
    }
}
