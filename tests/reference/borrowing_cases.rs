//! The worked cases of period share and borrowed spread.

use calibriar::stats::{
    Predictive, Prior, Rated, SetVariance, ShareEvidence, borrowed_from_readings, borrowed_spread,
    holm, misfit, period_share, screen, shrunk_correlation, size_and_shape,
};
use serde_json::Value;

use super::methods_cases::{case, numbers};
use crate::common::assert_rel;

/// Closed forms.
const CLOSED: f64 = 1e-9;
/// Where a root is iterated.
const ITERATED: f64 = 1e-7;

fn rated(set: &Value) -> Vec<Rated> {
    let periods = set["period"].as_array().unwrap();
    let label = |p: &Value| p.as_str().map(|t| u32::from(t.as_bytes()[0]));
    let readings = numbers(&set["x"]).into_iter().zip(periods);
    readings
        .map(|(x, p)| Rated {
            x,
            u: 0.0,
            period: label(p),
        })
        .collect()
}

#[test]
fn case15_and_16_period_share() {
    for name in ["case15-period-share", "case16-period-share-none"] {
        let case = case(name);
        let sets: Vec<Vec<Rated>> = case["input"]["sets"]
            .as_array()
            .unwrap()
            .iter()
            .map(rated)
            .collect();
        let share = period_share(sets.iter().map(Vec::as_slice));
        assert_rel(share.rho, case["expected"]["rho"].as_f64().unwrap(), CLOSED);
        assert_rel(
            share.lambda(),
            case["expected"]["lambda_"].as_f64().unwrap(),
            CLOSED,
        );
        if let Some(grid) = case["expected"].get("loglik_grid") {
            let mut evidence = ShareEvidence::default();
            for set in &sets {
                evidence.add(&ShareEvidence::of(set));
            }
            for (got, want) in evidence.log_likelihood().iter().zip(numbers(grid)) {
                assert_rel(*got, want, CLOSED);
            }
        }
    }
}

#[test]
fn case17_and_18_borrowed_spread() {
    for name in [
        "case17-borrowed-spread",
        "case18-borrowed-spread-one-pattern",
    ] {
        let case = case(name);
        let dimensions: Vec<Vec<SetVariance>> = case["input"]["dims"]
            .as_array()
            .unwrap()
            .iter()
            .map(|d| {
                let (s2, df) = (numbers(&d["s2"]), numbers(&d["df"]));
                s2.into_iter()
                    .zip(df)
                    .map(|(s2, df)| SetVariance { s2, df })
                    .collect()
            })
            .collect();
        let want = &case["expected"];
        let got = borrowed_spread(&dimensions);
        for (got, want) in got.log_likelihood.iter().zip(numbers(&want["loglik_grid"])) {
            assert_rel(*got, want, ITERATED);
        }
        assert_rel(got.phi, want["phi"].as_f64().unwrap(), ITERATED);
        for (i, spread) in got.dimensions.iter().enumerate() {
            let spread = spread.unwrap();
            assert_rel(spread.s2, numbers(&want["s02"])[i], ITERATED);
            assert_rel(spread.information, numbers(&want["D"])[i], ITERATED);
            assert_rel(spread.df, numbers(&want["d0"])[i], ITERATED);
        }
    }
}

/// `"inf"` is infinity.
fn number(value: &Value) -> f64 {
    match value.as_str() {
        Some("inf") => f64::INFINITY,
        _ => value.as_f64().unwrap(),
    }
}

/// A period's letter as a label.
fn label(period: &Value) -> Option<u32> {
    period.as_str().map(|t| u32::from(t.as_bytes()[0]))
}

#[track_caller]
fn predictive_case(name: &str) {
    let case = case(name);
    let (input, want) = (&case["input"], &case["expected"]);
    let readings: Vec<Rated> = numbers(&input["x"])
        .into_iter()
        .zip(numbers(&input["u"]))
        .zip(input["period"].as_array().unwrap())
        .map(|((x, u), p)| Rated {
            x,
            u,
            period: label(p),
        })
        .collect();
    let prior = Prior {
        df: number(&input["d0"]),
        variance: number(&input["s02"]),
        lambda: number(&input["lambda_"]),
    };
    let undated = Predictive::new(&readings, &prior).unwrap();
    assert_eq!(undated.n() as f64, number(&want["norm"]["n"]));
    assert_rel(undated.centre(), number(&want["norm"]["mu"]), CLOSED);
    let n_effective = (1.0 + prior.lambda) / number(&want["norm"]["V"]);
    assert_rel(undated.n_effective(), n_effective, CLOSED);
    let nu = number(&want["norm"]["nu"]);
    assert!(undated.df() == nu || (undated.df() - nu).abs() <= CLOSED * nu);
    assert_rel(
        undated.spread().powi(2),
        number(&want["norm"]["s2"]),
        CLOSED,
    );
    let norm = match label(&input["y_period"]) {
        period @ Some(_) => undated.dated(period),
        None => undated,
    };
    let (y, u_new) = (number(&input["y"]), number(&input["u_new"]));
    let at = norm.judge(y, u_new);
    assert_rel(norm.centre(), number(&want["m"]), CLOSED);
    assert_rel(at.variance, number(&want["W"]), CLOSED);
    assert_rel(
        at.variance / norm.spread().powi(2),
        number(&want["h"]),
        CLOSED,
    );
    assert_rel(at.t, number(&want["T"]), CLOSED);
    assert_rel(at.p, number(&want["p"]), CLOSED);
    assert_rel(at.z, number(&want["z"]), CLOSED);
    let half_width = norm.half_width(at.variance, 0.95);
    assert_rel(norm.centre() - half_width, number(&want["band_lo"]), CLOSED);
    assert_rel(norm.centre() + half_width, number(&want["band_hi"]), CLOSED);
    assert_rel(
        norm.least_noticeable(at.variance),
        number(&want["mdd80"]),
        CLOSED,
    );
    assert_rel(norm.sharpness(u_new), number(&want["sharpness"]), CLOSED);
    assert_rel(norm.spread(), number(&want["within_sd"]), CLOSED);
    assert_rel(
        norm.spread_between_periods(),
        number(&want["between_sd"]),
        CLOSED,
    );
    assert_rel(norm.total_spread(), number(&want["total_sd"]), CLOSED);
    let needed = norm.references_needed(u_new).unwrap();
    assert_eq!(needed as f64, number(&want["refs_needed"]));
}

#[test]
fn case03_to_11_norms_with_a_borrowed_spread() {
    for name in [
        "case03-n1-borrowed",
        "case05-n3-u0",
        "case06-periods-undated",
        "case07-periods-dated",
        "case08-mixed-uncertainty",
        "case10-all-equal-borrowed",
        "case11-d0-inf",
    ] {
        predictive_case(name);
    }
}

#[test]
fn case12_to_14_screening() {
    for name in [
        "case12-screen-one-bad",
        "case13-screen-n2-disagree",
        "case14-screen-clean",
    ] {
        let case = case(name);
        let (input, want) = (&case["input"], &case["expected"]);
        let readings: Vec<Rated> = numbers(&input["x"])
            .into_iter()
            .zip(numbers(&input["u"]))
            .zip(input["period"].as_array().unwrap())
            .map(|((x, u), p)| Rated {
                x,
                u,
                period: label(p),
            })
            .collect();
        let prior = Prior {
            df: number(&input["d0"]),
            variance: number(&input["s02"]),
            lambda: number(&input["lambda_"]),
        };
        let got = screen(&readings, &prior);
        let kept: Vec<f64> = got.kept.iter().map(|&i| i as f64).collect();
        assert_eq!(kept, numbers(&want["kept_indices"]));
        assert_eq!(got.disagree, want["disagree"].as_bool().unwrap());
        let aside = want["set_aside"].as_array().unwrap();
        assert_eq!(got.set_aside.len(), aside.len());
        for (got, want) in got.set_aside.iter().zip(aside) {
            assert_eq!(got.index as f64, number(&want["index"]));
            assert_rel(got.p, number(&want["p"]), CLOSED);
        }
    }
}

#[test]
fn case19_a_whole_collection() {
    let case = case("case19-collection");
    let (input, want) = (&case["input"], &case["expected"]);
    let patterns = input["patterns"].as_array().unwrap();
    // sets[pattern][dimension], sizes on the logarithm.
    let sets: Vec<Vec<Vec<Rated>>> = patterns
        .iter()
        .map(|pattern| {
            let dimensions = pattern.as_array().unwrap().iter();
            dimensions
                .map(|d| {
                    numbers(&d["y"])
                        .into_iter()
                        .zip(numbers(&d["u"]))
                        .zip(d["period"].as_array().unwrap())
                        .map(|((y, u), p)| Rated {
                            x: y.ln(),
                            u: u / y,
                            period: label(p),
                        })
                        .collect()
                })
                .collect()
        })
        .collect();
    let share = period_share(sets.iter().flatten().map(Vec::as_slice));
    assert_rel(share.rho, number(&want["rho"]), CLOSED);
    let target = input["target_pattern"].as_u64().unwrap() as usize;
    let lending: Vec<Vec<&[Rated]>> = (0..3)
        .map(|d| {
            let others = sets.iter().enumerate().filter(|(g, _)| *g != target);
            others.map(|(_, pattern)| pattern[d].as_slice()).collect()
        })
        .collect();
    let borrowed = borrowed_from_readings(&lending, share.lambda());
    assert_rel(borrowed.phi, number(&want["phi"]), ITERATED);
    let mut p = Vec::new();
    for d in 0..3 {
        let spread = borrowed.dimensions[d].unwrap();
        assert_rel(spread.s2, numbers(&want["s02"])[d], ITERATED);
        assert_rel(spread.information, numbers(&want["D"])[d], ITERATED);
        let prior = Prior {
            df: spread.df,
            variance: spread.s2,
            lambda: share.lambda(),
        };
        let want = &want["dims"][d];
        assert_rel(spread.df, number(&want["d0"]), ITERATED);
        assert!(screen(&sets[target][d], &prior).set_aside.is_empty());
        let norm = Predictive::new(&sets[target][d], &prior).unwrap();
        let (y, u) = (
            numbers(&input["specimen"]["y"])[d],
            numbers(&input["specimen"]["u"])[d],
        );
        let at = norm.judge(y.ln(), u / y);
        assert_rel(norm.centre().exp(), number(&want["norm_mm"]), ITERATED);
        assert_rel(at.t, number(&want["T"]), ITERATED);
        assert_rel(at.p, number(&want["p"]), ITERATED);
        let half_width = norm.half_width(at.variance, 0.95);
        let band = numbers(&want["band_mm"]);
        assert_rel((norm.centre() - half_width).exp(), band[0], ITERATED);
        assert_rel((norm.centre() + half_width).exp(), band[1], ITERATED);
        p.push(at.p);
    }
    for (d, adjusted) in holm(&p).into_iter().enumerate() {
        assert_rel(adjusted, number(&want["dims"][d]["p_holm"]), ITERATED);
    }
}

#[test]
fn case20_readings_rounded_to_a_sixty_fourth() {
    let case = case("case20-spread-fit-rounded");
    let (input, want) = (&case["input"], &case["expected"]);
    let u = number(&input["u"]);
    let sets: Vec<Vec<Rated>> = input["sets"]
        .as_array()
        .unwrap()
        .iter()
        .map(|set| {
            numbers(set)
                .into_iter()
                .map(|x| Rated { x, u, period: None })
                .collect()
        })
        .collect();
    let rho = number(&input["rho"]);
    let lending = vec![sets.iter().map(Vec::as_slice).collect()];
    let borrowed = borrowed_from_readings(&lending, rho / (1.0 - rho));
    let spread = borrowed.dimensions[0].unwrap();
    assert_rel(
        spread.s2,
        *numbers(&want["s02_by_round"]).last().unwrap(),
        ITERATED,
    );
    assert_rel(
        borrowed.phi,
        *numbers(&want["phi_by_round"]).last().unwrap(),
        ITERATED,
    );
    assert_rel(spread.information, numbers(&want["D"])[0], ITERATED);
}

#[test]
fn case22_misfit() {
    let case = case("case22-misfit");
    let (input, want) = (&case["input"], &case["expected"]);
    let residuals: Vec<Vec<f64>> = input["residuals"]
        .as_array()
        .unwrap()
        .iter()
        .map(numbers)
        .collect();
    let correlation = shrunk_correlation(&residuals, number(&input["N"]));
    assert_rel(correlation.shrinkage, number(&want["shrink"]), CLOSED);
    for (row, want) in correlation.matrix.iter().zip(want["R"].as_array().unwrap()) {
        for (got, want) in row.iter().zip(numbers(want)) {
            assert_rel(*got, want, CLOSED);
        }
    }
    let got = misfit(&numbers(&input["z"]), &correlation).unwrap();
    assert_rel(got.q, number(&want["q"]), CLOSED);
    assert_rel(got.scale, number(&want["c"]), CLOSED);
    assert_rel(got.df, number(&want["f"]), CLOSED);
    assert_rel(got.p, number(&want["p"]), CLOSED);
}

#[test]
fn case23_size_and_shape() {
    let case = case("case23-size-shape");
    let (input, want) = (&case["input"], &case["expected"]);
    let references = input["refs_log"].as_array().unwrap();
    for (reference, size) in references.iter().zip(numbers(&want["size_refs"])) {
        let logs: Vec<(f64, f64)> = numbers(reference).into_iter().map(|x| (x, 0.0)).collect();
        assert_rel(size_and_shape(&logs).unwrap().size, size, CLOSED);
    }
    let logs: Vec<(f64, f64)> = numbers(&input["specimen_log"])
        .into_iter()
        .zip(numbers(&input["u_log_specimen"]))
        .collect();
    let got = size_and_shape(&logs).unwrap();
    assert_rel(got.size, number(&want["size_specimen"]), CLOSED);
    assert_rel(got.size_uncertainty, number(&want["u_size"]), CLOSED);
    for (got, want) in got.shape.iter().zip(numbers(&want["shape_specimen"])) {
        assert_rel(*got, want, CLOSED);
    }
    for (got, want) in got.shape_uncertainty.iter().zip(numbers(&want["u_shape"])) {
        assert_rel(*got, want, CLOSED);
    }
}
