//! Rules of the method at their limits, worked by hand.

use std::collections::BTreeMap;

use calibriar::catalogue::Catalogue;
use calibriar::cohort::{Choice, Cohort};
use calibriar::norm::{Borrowing, Evidence, Settings};
use calibriar::stats::{
    Predictive, Prior, Rated, SetVariance, benjamini_hochberg, benjamini_hochberg_among,
    borrowed_spread, misfit, normal_upper_quantile, references_needed, screen, shrunk_correlation,
    size_and_shape, t_upper_quantile,
};
use calibriar::verdict::{Caution, DimensionCheck, Verdict, check, check_against, working};

use crate::common::assert_rel;
use crate::common::tables::table;

fn rated(x: f64, u: f64, period: Option<u32>) -> Rated {
    Rated { x, u, period }
}

/// (1.96 + 0.84) s √h_ideal over MDD.
fn sharpness(nu: f64, h: f64, ideal: f64) -> f64 {
    let known = normal_upper_quantile(0.025) + normal_upper_quantile(0.2);
    let t = t_upper_quantile(0.025, nu) + t_upper_quantile(0.2, nu);
    known * ideal.sqrt() / (t * h.sqrt())
}

/// More than this is not looked for.
const MOST: usize = 500;

/// The least number with which `enough` holds, one after the other.
fn least(enough: impl Fn(f64) -> bool) -> Option<usize> {
    (1..=MOST).find(|&m| enough(m as f64))
}

/// As [`least`].
fn few(needed: Option<usize>) -> Option<usize> {
    needed.filter(|&m| m <= MOST)
}

/// Source: docs/methods.md, "The verdict": with m more, nu grows by m, V is V n / (n + m), always
/// of the undated form; with no reference at all nu = d0 + m - 1, V = (1 + lambda) / m.
#[test]
fn references_needed_one_by_one() {
    let mut needed = Vec::new();
    for (df, lambda) in [(0.0, 0.0), (0.0, 0.9), (1.2, 0.4), (2.6, 3.0), (0.4, 8.0)] {
        let prior = Prior {
            df,
            variance: if df > 0.0 { 0.5 } else { f64::INFINITY },
            lambda,
        };
        let ideal = 1.0 + lambda;
        for r in [0.0, 1.0, 2.5, 40.0] {
            for n in [0, 1] {
                let want = least(|m| {
                    let all = n as f64 + m;
                    let nu = df + all - 1.0;
                    nu > 0.0 && sharpness(nu, ideal + ideal / all + r, ideal) >= 0.5
                });
                assert_eq!(
                    few(references_needed(n, &prior, r)),
                    want,
                    "{prior:?}, {n}, {r}"
                );
            }
            let u_new = f64::sqrt(r * 0.5);
            for n in [2, 3, 4] {
                let reading = |i: usize| rated([0.3, -0.4, 0.9, 1.1][i], 0.0, Some(i as u32 / 2));
                let set: Vec<Rated> = (0..n).map(reading).collect();
                let undated = Predictive::new(&set, &prior).unwrap();
                for norm in [undated.clone(), undated.dated(Some(0))] {
                    let r = norm.r_new(u_new);
                    let v = ideal / norm.n_effective();
                    let want = match norm.sharpness(u_new) >= 0.5 {
                        true => Some(0),
                        false => least(|m| {
                            let v = v * n as f64 / (n as f64 + m);
                            sharpness(norm.df() + m, ideal + v + r, ideal) >= 0.5
                        }),
                    };
                    assert_eq!(
                        few(norm.references_needed(u_new)),
                        want,
                        "{prior:?}, {n}, {r}"
                    );
                    needed.push(want);
                }
            }
        }
    }
    assert!(needed.contains(&Some(0)) && needed.contains(&Some(1)) && needed.contains(&None));
    assert!(needed.iter().flatten().any(|&m| m > 3));
}

/// Source: docs/methods.md: a piece of a period without references is judged as an undated one.
#[test]
fn a_period_without_references_leaves_the_norm_as_it_is() {
    let set = [0.1, 0.5, -0.2].map(|x| rated(x, 0.0, Some(1)));
    let prior = Prior {
        df: 4.0,
        variance: 0.1,
        lambda: 0.7,
    };
    let undated = Predictive::new(&set, &prior).unwrap();
    assert_eq!(undated.clone().dated(Some(2)), undated);
    assert_eq!(undated.clone().dated(None), undated);
    assert_ne!(undated.clone().dated(Some(1)), undated);
}

/// Source: docs/methods.md: at most `floor((n - 1) / 2)` are set aside; of two that are left p is
/// not multiplied; of two impossible ones the one further off goes first.
#[test]
fn screening_at_its_limits() {
    let prior = Prior {
        df: 50.0,
        variance: 0.01,
        lambda: 0.0,
    };
    let screened = |x: &[f64], prior: &Prior| {
        let set: Vec<Rated> = x.iter().map(|&x| rated(x, 0.0, None)).collect();
        let got = screen(&set, prior);
        let gone: Vec<usize> = got.set_aside.iter().map(|a| a.index).collect();
        (gone, got.disagree)
    };
    assert_eq!(screened(&[0.0, 0.1, 30.0, -40.0], &prior), (vec![3], true));
    assert_eq!(
        screened(&[0.0, 0.1, 0.05, 30.0, -40.0], &prior),
        (vec![4, 3], false)
    );
    let stated = Prior {
        df: f64::INFINITY,
        ..prior
    };
    // Both are 300 spreads away: p is 0 twice.
    let far = [0.0, 0.1, 0.05, 0.07, 0.02, 30.0, -40.0];
    assert_eq!(screened(&far, &stated), (vec![6, 5], false));
    // Two that are d apart have T = d / (0.1 √2), so p = 0.02 at T = 2.3263.
    let apart = |t: f64| [0.0, t * 0.1 * 2.0_f64.sqrt()];
    assert_eq!(screened(&apart(2.32), &stated), (vec![], false));
    assert_eq!(screened(&apart(2.33), &stated), (vec![], true));
}

/// Source: docs/methods.md, "Size, shape, misfit": `a = min(1, ...)`, and what no residual tells.
#[test]
fn correlations_of_little_or_nothing() {
    // c = 0.1, N = 2: (1 - 0.01)^2 / (2 * 0.01) = 49, so a = 1.
    let residuals = vec![vec![1.0, 0.1], vec![0.0, 0.99_f64.sqrt()]];
    let correlation = shrunk_correlation(&residuals, 2.0);
    assert_eq!(correlation.shrinkage, 1.0);
    assert_eq!(correlation.matrix, [[1.0, 0.0], [0.0, 1.0]]);
    // Then q is a plain chi-square of two: P(q > x) = e^(-x/2).
    let whole = misfit(&[1.0, 2.0], &correlation).unwrap();
    assert_rel(whole.p, (-2.5_f64).exp(), 1e-14);
    assert_rel(whole.rms, 2.5_f64.sqrt(), 1e-15);
    for silent in [vec![], vec![vec![0.0, 0.0]; 3]] {
        assert_eq!(shrunk_correlation(&silent, 0.0).shrinkage, 1.0);
    }
    // A dimension that never varies is unrelated to the others, whose correlation stands.
    let residuals = vec![vec![1.0, 0.0, 0.9], vec![-0.5, 0.0, -0.6]];
    let matrix = shrunk_correlation(&residuals, 50.0).matrix;
    assert_eq!((matrix[0][1], matrix[1][2], matrix[1][1]), (0.0, 0.0, 1.0));
    assert!(matrix[0][2] > 0.9);
}

#[test]
fn one_size_has_no_shape() {
    assert_eq!(size_and_shape(&[(3.0, 0.1)]), None);
}

/// The others have p = 1.
#[test]
fn benjamini_hochberg_of_the_smallest_is_that_of_all() {
    let small = [0.004, 0.0003, 0.03, 0.011];
    let mut all = small.to_vec();
    all.resize(40, 1.0);
    assert_eq!(
        benjamini_hochberg_among(&small, 40),
        benjamini_hochberg(&all)[..4]
    );
}

/// A variance that is no number lends nothing.
#[test]
fn an_infinite_variance_counts_for_nothing() {
    let sets = |s2: &[f64]| -> Vec<SetVariance> {
        s2.iter().map(|&s2| SetVariance { s2, df: 3.0 }).collect()
    };
    let finite = borrowed_spread(&[sets(&[0.2, 0.5, 0.1])]);
    let with = borrowed_spread(&[sets(&[0.2, f64::INFINITY, 0.5, f64::NAN, 0.1])]);
    assert_eq!(finite, with);
    assert_eq!(finite.dimensions[0].unwrap().lenders, 3);
}

/// Source: docs/methods.md, s² of a lender: not less than `mean u^2 / (1 + mean r)`, for readings
/// rounded alike may agree by chance. The working tells it.
#[test]
fn a_lender_whose_readings_agree_has_the_variance_of_their_errors() {
    let mut csv = String::from("specimen,pattern,a_mm\n");
    for (pattern, values) in [
        ("p", ["40.10", "40.90", "39.80", "40.40"]),
        ("q", ["20.00", "20.00", "20.00", "20.00"]),
        ("r", ["30.00", "30.70", "29.50", "30.20"]),
        ("s", ["25.00", "25.30", "24.40", "25.20"]),
    ] {
        for (i, value) in values.into_iter().enumerate() {
            csv.push_str(&format!("{pattern}{i},{pattern},{value}\n"));
        }
    }
    let source = table(&csv);
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    let working = working(&evidence, 0, &settings).dimensions.remove(0);
    let lender = working
        .lenders
        .iter()
        .find(|l| cohort.groups()[l.group].pattern == "q");
    let u2 = (0.01 / 20.0_f64).powi(2) / 12.0;
    let floor = u2 / (1.0 + u2 / working.loan.unwrap().spread.s2);
    assert_rel(lender.unwrap().s2, floor, 1e-12);
}

/// Readings to 1/64 inch, u = 0.1146 mm, teach the spread of pieces; coarser than 0.12 mm do not.
/// Source: docs/methods.md, "Readings".
#[test]
fn a_sixty_fourth_of_an_inch_is_fine() {
    let lent = |step: &dyn Fn(usize) -> String| {
        let mut csv = String::from("specimen,pattern,a_in\n");
        for i in 0..8 {
            csv.push_str(&format!("s{i},{},{}\n", ["p", "q"][i % 2], step(i)));
        }
        let source = table(&csv);
        let cohort = Cohort::new(&source, &Choice::default()).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
        check(&evidence, 0, &settings).dimensions[0].loan.is_some()
    };
    // Half-widths of 0.208 mm and 0.216 mm: u = 0.1200 at 0.2078 mm.
    let cell = |half: &str, i: usize| format!("1.{}±{half}", 50 + 3 * (i * i % 5));
    assert!(lent(&|i| format!("1 {}/64", 32 + i * i % 5)));
    assert!(lent(&|i| cell("0.0081", i)));
    assert!(!lent(&|i| cell("0.0083", i)));
}

/// Bit widths of one pattern and a piece to be judged; answers the piece's check.
fn width(references: &[&str], piece: &str, borrowing: &Borrowing) -> DimensionCheck {
    let mut csv = String::from("specimen,pattern,bit width\n");
    for (i, value) in references.iter().enumerate() {
        csv.push_str(&format!("s{i},p,{value}\n"));
    }
    let source = table(&csv);
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, borrowing);
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    let piece = table(&format!("specimen,pattern,bit width\nX,p,{piece}\n"));
    check_against(&evidence, &piece, 0, &settings)
        .dimensions
        .remove(0)
}

/// A reading is called coarse where its W is more than twice that of the usual reference's reading.
/// Without a loan W = s^2 (1 + 1/n) + u^2 - mean u^2.
#[test]
fn a_reading_of_more_than_twice_the_variance_is_coarse() {
    let references = ["16.00", "16.20", "15.90", "16.10", "15.80"];
    let x: Vec<f64> = references
        .iter()
        .map(|r| r.parse::<f64>().unwrap().ln())
        .collect();
    let mean = x.iter().sum::<f64>() / 5.0;
    let s2 = x.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 4.0;
    for (times, coarse) in [(1.9, false), (2.1, true)] {
        let u = ((times - 1.0) * s2 * 1.2_f64).sqrt();
        let half_width = 16.0 * u * 3.0_f64.sqrt();
        let piece = format!("16.00 ± {half_width:.6}");
        let check = width(&references, &piece, &Borrowing::default());
        assert_eq!(
            check.cautions.contains(&Caution::CoarseReading),
            coarse,
            "{times}"
        );
    }
}

/// Two references ten stated spreads apart disagree: then silence means nothing, however sharp the
/// norm is.
#[test]
fn references_that_disagree_decide_nothing_by_silence() {
    let borrowing = Borrowing {
        stated: BTreeMap::from([("bit_width".to_owned(), 0.01)]),
        ..Borrowing::default()
    };
    let verdict = |second: &str| {
        let check = width(&["16.00", second], "16.10", &borrowing);
        assert_eq!((check.more_references, check.set_aside.len()), (Some(0), 0));
        (check.disagree, check.verdict)
    };
    assert_eq!(verdict("16.20"), (false, Verdict::Typical));
    assert_eq!(verdict("17.70"), (true, Verdict::OutOfNorm));
    // In the middle of them: nothing speaks against it, and nothing for it.
    let check = width(&["15.20", "17.00"], "16.08", &borrowing);
    assert_eq!((check.disagree, check.verdict), (true, Verdict::Undecided));
}

/// Source: the catalogue's credible range of the bit width, both ends.
#[test]
fn readings_beyond_the_credible_range_are_told_and_do_not_speak() {
    let catalogue = Catalogue::standard();
    let (low, high) = catalogue
        .at(catalogue.find("bit width").unwrap())
        .credible
        .unwrap();
    let values = [16.0, low - 0.5, 16.2, high + 0.5, low, high];
    let mut csv = String::from("specimen,pattern,bit width\n");
    for (i, value) in values.into_iter().enumerate() {
        csv.push_str(&format!("s{i},p,{value:.2}\n"));
    }
    let source = table(&csv);
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    assert_eq!(cohort.not_credible(&source.columns[0], 0), [1, 3]);
    let rows: Vec<usize> = evidence
        .references(0, 0, &[])
        .iter()
        .map(|r| r.row())
        .collect();
    assert_eq!(rows, [0, 2, 4, 5]);
}

/// Source: docs/methods.md, "The verdict": a stated deviation M that matters replaces sharpness by
/// MDD <= M.
#[test]
fn silence_counts_once_what_matters_would_be_noticed() {
    let csv = "specimen,pattern,bit width\ns0,p,16.0\ns1,p,16.3\ns2,p,15.9\ns3,p,16.1\ns4,p,16.1\n";
    let source = table(csv);
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let plain = Settings::new(0.95, 0.95, 0.05).unwrap();
    let least = check(&evidence, 3, &plain).dimensions[0]
        .judged
        .unwrap()
        .least_noticeable;
    for (share, verdict) in [(0.99, Verdict::Undecided), (1.01, Verdict::Typical)] {
        let matters = BTreeMap::from([("bit_width".to_owned(), share * least)]);
        let settings = plain.clone().with_matters(matters);
        assert_eq!(
            check(&evidence, 3, &settings).dimensions[0].verdict,
            verdict
        );
    }
}
