//! Tests of groups against R and SciPy (`tests/data/SOURCES.md`, `two_period_tests`).

use std::collections::HashMap;

use calibriar::stats::{
    Effect, FTest, Law, StatsError, Ties, VarianceRatio, anderson_darling, anderson_darling_p,
    brown_forsythe_means, brown_forsythe_spread, combined_p, digamma, hodges_lehmann,
    kruskal_wallis, mann_whitney, median, pooled, trigamma, variance_ratio, welch_anova, welch_t,
};

use crate::common::draw::Draw;
use crate::common::{assert_rel_at, number, rows};

const DATA: &str = include_str!("../data/two_period_tests/data.csv");
const RESULTS: &str = include_str!("../data/two_period_tests/results.csv");
const SMALL: &str = include_str!("../data/two_period_tests/small_samples.csv");
const TAILS: &str = include_str!("../data/two_period_tests/anderson_darling_tails.csv");
const MEASURED: &str = include_str!("../data/heterogeneous_uncertainty/data.csv");
const CONSENSUS: &str = include_str!("../data/heterogeneous_uncertainty/results.csv");

/// Groups of each data set, in order of appearance.
fn data_sets() -> HashMap<String, Vec<Vec<f64>>> {
    let mut names: HashMap<String, Vec<String>> = HashMap::new();
    let mut sets: HashMap<String, Vec<Vec<f64>>> = HashMap::new();
    for row in rows(DATA) {
        let (names, set) = (
            names.entry(row[0].to_owned()).or_default(),
            sets.entry(row[0].to_owned()).or_default(),
        );
        let at = names.iter().position(|n| n == row[2]).unwrap_or_else(|| {
            names.push(row[2].to_owned());
            set.push(Vec::new());
            names.len() - 1
        });
        set[at].push(number(row[3]));
    }
    sets
}

fn of_f(test: FTest, quantity: &str) -> Option<f64> {
    match quantity {
        "F" => Some(test.f),
        "df_num" => Some(test.df1),
        "df_denom" => Some(test.df2),
        "p" => Some(test.p),
        _ => None,
    }
}

/// What we have for a stored quantity, and the relative error allowed.
fn ours(groups: &[&[f64]], test: &str, quantity: &str) -> Option<(f64, f64)> {
    let close = 1e-11;
    let first_two = || (groups[0], groups[1]);
    let value = match test {
        "welch_anova" => of_f(welch_anova(groups).unwrap(), quantity)?,
        "brown_forsythe_spread_levene_median" => {
            of_f(brown_forsythe_spread(groups).unwrap(), quantity)?
        }
        "brown_forsythe_means_Fstar" => of_f(brown_forsythe_means(groups).unwrap(), quantity)?,
        "kruskal_wallis_tie_corrected" => {
            let test = kruskal_wallis(groups).unwrap();
            match quantity {
                "H" => test.h,
                "df" => test.df,
                _ => {
                    assert!(!test.exact);
                    test.p
                }
            }
        }
        "welch_t" => {
            let (a, b) = first_two();
            let test = welch_t(a, b).unwrap();
            match quantity {
                "t" => test.t,
                "df" => test.df,
                "p_two_sided" => test.p,
                "ci95_low" => test.interval(0.95).0,
                "ci95_high" => test.interval(0.95).1,
                _ => test.difference,
            }
        }
        "hodges_lehmann" => {
            let (a, b) = first_two();
            hodges_lehmann(a, b, 0.95).unwrap().shift
        }
        "mann_whitney" => mann_whitney(groups[0], groups[1]).unwrap().u,
        "mann_whitney_normal_approx_continuity_tie_corrected" => {
            let test = mann_whitney(groups[0], groups[1]).unwrap();
            assert!(!test.exact);
            test.p
        }
        "variance_ratio_F" => {
            let (a, b) = first_two();
            let test = variance_ratio(a, b).unwrap();
            if quantity == "F" { test.ratio } else { test.p }
        }
        "anderson_darling_ksample" => anderson_darling(groups, Ties::Step).unwrap().sigma,
        "anderson_darling_ksample_version1" | "anderson_darling_ksample_version2" => {
            let ties = match test.ends_with('1') {
                true => Ties::Step,
                false => Ties::Middle,
            };
            let test = anderson_darling(groups, ties).unwrap();
            match quantity {
                "AD_criterion" => test.criterion,
                "T_standardised" => test.t,
                // R interpolates in a table of quantiles: 3 % of p, and 0.0006, was found.
                _ => return Some((test.p, 0.05)),
            }
        }
        _ => return None,
    };
    Some((value, close))
}

/// Source: R 4.2.2, car 3.1-1, kSamples 1.2-9 on eleven open data sets.
#[test]
fn groups_are_compared_as_r_compares_them() {
    let sets = data_sets();
    let mut compared = 0;
    for row in rows(RESULTS) {
        let groups: Vec<&[f64]> = sets[row[0]].iter().map(Vec::as_slice).collect();
        let Some((got, tolerance)) = ours(&groups, row[1], row[2]) else {
            // One-sample medians and Kolmogorov-Smirnov are not ours.
            continue;
        };
        let case = format!("{} {} {}", row[0], row[1], row[2]);
        let want = number(row[3]);
        if row[2] == "p_asymptotic" {
            let within = tolerance * want + 1e-3;
            assert!((got - want).abs() <= within, "{case}: {got}, want {want}");
        } else {
            assert_rel_at(&case, got, want, tolerance);
        }
        compared += 1;
    }
    assert_eq!(compared, 308);
}

/// Source: SciPy 1.17.1, exact p by counting; digamma and trigamma.
#[test]
fn small_samples_are_counted_as_scipy_counts_them() {
    let mut compared = 0;
    for row in rows(SMALL) {
        let (quantity, want) = (row[1], number(row[2]));
        let groups: Vec<Vec<f64>> = row[3]
            .split('|')
            .map(|g| g.split_whitespace().map(number).collect())
            .collect();
        let views: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
        let ranks = || mann_whitney(views[0], views[1]).unwrap();
        let ratio = || variance_ratio(views[0], views[1]).unwrap();
        let shift = || hodges_lehmann(views[0], views[1], 0.95).unwrap();
        let got = match quantity {
            "mann_whitney_exact_u" => ranks().u,
            "mann_whitney_exact_p" => {
                assert!(ranks().exact);
                ranks().p
            }
            "mann_whitney_normal_p" => ranks().p,
            "kruskal_wallis_h" => kruskal_wallis(&views).unwrap().h,
            "kruskal_wallis_exact_p" => {
                let test = kruskal_wallis(&views).unwrap();
                assert!(test.exact);
                test.p
            }
            "digamma" => digamma(views[0][0]),
            "trigamma" => trigamma(views[0][0]),
            "variance_ratio_f" => ratio().ratio,
            "variance_ratio_low" => ratio().interval(0.95).0,
            "variance_ratio_high" => ratio().interval(0.95).1,
            "fisher_combined_p" => combined_p(views[0]).unwrap(),
            "hodges_lehmann" => shift().shift,
            "hodges_lehmann_low" => shift().interval.unwrap().0,
            "hodges_lehmann_high" => shift().interval.unwrap().1,
            other => panic!("{other} is not compared"),
        };
        assert_rel_at(&format!("{} {quantity}", row[0]), got, want, 1e-12);
        compared += 1;
    }
    assert_eq!(compared, 82);
}

/// Source: Imhof's integral (Biometrika 48, 1961) over the law's product form in numpy, another road than
/// ours; and the 5 % and 1 % points 2.492 and 3.857 of Anderson and Darling 1954 (from memory).
#[test]
fn tails_of_anderson_and_darlings_law() {
    for row in rows(TAILS) {
        let (m, x, want) = (number(row[0]) as usize, number(row[1]), number(row[2]));
        let got = anderson_darling_p(x, m);
        assert!((got - want).abs() < 2e-11, "{m} {x}: {got}, want {want}");
    }
    for (x, printed) in [(2.492, 0.05), (3.857, 0.01), (1.933, 0.10)] {
        assert!((anderson_darling_p(x, 1) - printed).abs() < 3e-4);
    }
    // Far out the first term of the sum rules: P ~ C exp(-x) / sqrt(x), so that the ratio of
    // neighbours tells whether digits are lost.
    for x in [50.0, 200.0, 600.0] {
        let step = anderson_darling_p(x + 1.0, 1) / anderson_darling_p(x, 1);
        let law = (-1.0_f64).exp() * (x / (x + 1.0)).sqrt();
        assert!((step / law - 1.0).abs() < 1e-3, "{x}: {step} {law}");
    }
}

/// Source: SciPy 1.17.1, stats.combine_pvalues(method="stouffer") of the one-sided p of stats.t.sf and
/// stats.f.sf; weights of the ratios by special.polygamma.
#[test]
fn scores_are_combined_as_scipy_combines_them() {
    let effect = |(value, variance, df)| Effect {
        law: Law::Student(df),
        ..Effect::normal(value, variance)
    };
    let sets = [(1.2, 0.5, 2.0), (0.8, 0.9, 7.5), (2.1, 0.4, 31.0)].map(effect);
    let found = pooled(&sets).unwrap();
    assert_rel_at("t", found.p, 0.0019170065177064478, 1e-10);
    // Sets that agree: the interval ends at no effect where its confidence is all but that p.
    assert_eq!((found.between, found.df), (0.0, f64::INFINITY));
    assert!(found.interval(1.0 - found.p).0.abs() < 1e-9);
    assert!(found.interval(0.95).0 > 0.0 && found.interval(0.999).0 < 0.0);
    let sets = [(3.0, 2.0, 5.5), (0.7, 4.0, 9.0), (2.6, 11.0, 14.0)].map(|(ratio, df1, df2)| {
        let p = 0.5;
        Effect::of_ratio(&VarianceRatio { ratio, df1, df2, p })
    });
    let found = pooled(&sets).unwrap();
    assert_rel_at("F", found.p, 0.11883052497201033, 1e-9);
    let (low, high) = found.interval(0.95);
    assert!(low < 0.0 && 0.0 < found.mean && found.mean < high);
}

/// Source: metafor 3.8-1: Paule and Mandel, the mean and the variance between
/// sets.
#[test]
fn effects_are_pooled_as_metafor_pools_them() {
    let mut sets: HashMap<String, Vec<Effect>> = HashMap::new();
    for row in rows(MEASURED) {
        sets.entry(row[0].to_owned())
            .or_default()
            .push(Effect::normal(number(row[2]), number(row[3]).powi(2)));
    }
    let mut compared = 0;
    for row in rows(CONSENSUS).filter(|row| row[1] == "PM_HKSJ") {
        let got = pooled(&sets[row[0]]).unwrap();
        assert_rel_at(row[0], got.mean, number(row[3]), 1e-8);
        let between = number(row[5]);
        assert!(
            (got.between - between).abs() <= 1e-7 * between.max(1e-9),
            "{}",
            row[0]
        );
        compared += 1;
    }
    assert!(compared >= 8, "{compared}");
}

/// The plain form: all differences, sorted.
#[test]
fn the_quick_shift_is_the_median_of_all_differences() {
    let mut draw = Draw::seeded(8);
    for round in 0..200 {
        let mut sample = |most: f64| -> Vec<f64> {
            let n = 1 + (draw.uniform() * most) as usize;
            // Rounded, so that many differences are equal, every other time.
            let step = if round % 2 == 0 { 1e-12 } else { 0.5 };
            (0..n)
                .map(|_| (draw.normal() / step).round() * step)
                .collect()
        };
        let (a, b) = (sample(40.0), sample(60.0));
        let mut all: Vec<f64> = a
            .iter()
            .flat_map(|x| b.iter().map(move |y| x - y))
            .collect();
        all.sort_by(f64::total_cmp);
        let got = hodges_lehmann(&a, &b, 0.9).unwrap();
        let want = median(&all).unwrap();
        assert!(
            (got.shift - want).abs() <= 1e-15 * want.abs().max(1e-3),
            "{got:?} {want}"
        );
        if let Some((low, high)) = got.interval {
            let k = all.iter().filter(|d| **d < low).count();
            assert!(
                all.contains(&low) && all.contains(&high) && low <= got.shift && got.shift <= high
            );
            // Alike from both ends, ties apart.
            let l = all.iter().filter(|d| **d > high).count();
            assert!(round % 2 == 1 || k == l, "{k} {l}");
        }
    }
}

/// Nothing that is no number comes out, whatever goes in.
#[test]
fn edges_are_named_errors() {
    let (few, equal, large) = ([1.0], [2.0, 2.0, 2.0], [1e300, -1e300, 1e300]);
    let tilted = [1.0, 2.0, 4.0];
    let too_few = |e: StatsError| matches!(e, StatsError::TooFew { .. });
    assert!(too_few(welch_t(&few, &tilted).unwrap_err()));
    assert!(too_few(welch_anova(&[&tilted]).unwrap_err()));
    assert!(too_few(brown_forsythe_spread(&[&few, &few]).unwrap_err()));
    assert!(too_few(mann_whitney(&[], &few).unwrap_err()));
    assert!(too_few(
        anderson_darling(&[&few, &few], Ties::Step).unwrap_err()
    ));
    assert!(too_few(pooled(&[Effect::normal(1.0, 1.0)]).unwrap_err()));
    assert_eq!(welch_t(&equal, &equal), Err(StatsError::ZeroSpread));
    assert_eq!(welch_anova(&[&equal, &tilted]), Err(StatsError::ZeroSpread));
    assert_eq!(
        brown_forsythe_means(&[&equal, &equal]),
        Err(StatsError::ZeroSpread)
    );
    assert_eq!(
        brown_forsythe_spread(&[&equal, &equal]),
        Err(StatsError::ZeroSpread)
    );
    assert_eq!(variance_ratio(&equal, &tilted), Err(StatsError::ZeroSpread));
    assert_eq!(mann_whitney(&equal, &equal), Err(StatsError::ZeroSpread));
    assert_eq!(
        kruskal_wallis(&[&equal, &equal]),
        Err(StatsError::ZeroSpread)
    );
    assert_eq!(
        anderson_darling(&[&equal, &equal], Ties::Middle),
        Err(StatsError::ZeroSpread)
    );
    assert_eq!(hodges_lehmann(&equal, &equal, 0.95).unwrap().shift, 0.0);
    assert_eq!(welch_t(&large, &tilted), Err(StatsError::Overflow));
    assert_eq!(welch_anova(&[&large, &tilted]), Err(StatsError::Overflow));
    assert_eq!(
        brown_forsythe_means(&[&large, &tilted]),
        Err(StatsError::Overflow)
    );
    assert_eq!(variance_ratio(&large, &tilted), Err(StatsError::Overflow));
    assert_eq!(
        hodges_lehmann(&[1.5e308], &[-1.5e308], 0.5),
        Err(StatsError::Overflow)
    );
    assert!(mann_whitney(&large, &tilted).is_ok() && kruskal_wallis(&[&large, &tilted]).is_ok());
    for bad in [f64::NAN, f64::INFINITY] {
        let not_finite = |e: StatsError| matches!(e, StatsError::NotFinite { .. });
        let bad = [1.0, bad, 3.0];
        assert!(not_finite(welch_t(&bad, &tilted).unwrap_err()));
        assert!(not_finite(kruskal_wallis(&[&tilted, &bad]).unwrap_err()));
        assert!(not_finite(hodges_lehmann(&tilted, &bad, 0.95).unwrap_err()));
        assert!(not_finite(
            anderson_darling(&[&tilted, &bad], Ties::Step).unwrap_err()
        ));
    }
    assert!(hodges_lehmann(&tilted, &tilted, 1.0).is_err());
    assert_eq!(
        (combined_p(&[]), combined_p(&[0.0]), combined_p(&[1.5])),
        (None, None, None)
    );
    assert!(digamma(0.0).is_nan() && trigamma(-1.0).is_nan());
    // One far from another: an interval, no infinity.
    let apart = pooled(&[1.0, -1e150].map(|value| Effect::normal(value, 1.0)));
    assert!(apart.map_or(true, |p| p.p > 0.0
        && p.mean.is_finite()
        && p.interval(0.95).0 < p.mean));
}
