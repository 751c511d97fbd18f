//! What many patterns lend one another, at once and one by one.

use calibriar::stats::{
    Borrowed, Lending, Loan, Rated, SetVariance, borrowed_from_readings, borrowed_spread, two_level,
};

use crate::common::draw::Draw;
use crate::common::relative_error;

/// Reading errors.
#[derive(Clone, Copy, Debug)]
enum Errors {
    /// None at all.
    None,
    /// Of this size over the spread, the same for all.
    Alike(f64),
    /// About this size over the spread, up to threefold more or less.
    Unlike(f64),
    /// Readings rounded to steps of this size over the spread.
    Rounded(f64),
}

#[derive(Clone, Copy, Debug)]
struct Shape {
    patterns: usize,
    dimensions: usize,
    /// Readings a set, at most; the least is none.
    readings: usize,
    errors: Errors,
    /// One pattern unlike all others.
    outlier: bool,
}

/// Sets of a dimension, then of a pattern.
type Sets = Vec<Vec<Vec<Rated>>>;

/// An invented collection, drawn with a spread that differs between patterns with 8 degrees of freedom.
fn invented(shape: &Shape, seed: u64) -> Sets {
    let mut draw = Draw::seeded(seed);
    let dimension = |d: usize, draw: &mut Draw| {
        let usual = 0.03 * (1.0 + d as f64);
        let pattern = |g: usize, draw: &mut Draw| {
            let chi2: f64 = (0..8).map(|_| draw.normal().powi(2)).sum();
            let mut sigma = usual * (8.0 / chi2).sqrt();
            if shape.outlier && g == 1 {
                sigma *= 30.0;
            }
            let n = (draw.uniform() * (shape.readings + 1) as f64) as usize;
            let centre = 3.0 + draw.normal();
            let effects = [(); 4].map(|()| 0.5 * sigma * draw.normal());
            let reading = |_| {
                let period = (draw.uniform() * 4.0) as u32;
                let true_x = centre + effects[period as usize] + sigma * draw.normal();
                let (x, u) = match shape.errors {
                    Errors::None => (true_x, 0.0),
                    Errors::Alike(size) => {
                        let u = size * usual;
                        (true_x + u * draw.normal(), u)
                    }
                    Errors::Unlike(size) => {
                        let u = size * usual * (2.2 * (draw.uniform() - 0.5)).exp();
                        (true_x + u * draw.normal(), u)
                    }
                    Errors::Rounded(size) => {
                        let step = size * usual;
                        ((true_x / step).round() * step, step / 12.0_f64.sqrt())
                    }
                };
                let period = (draw.uniform() < 0.9).then_some(period);
                Rated { x, u, period }
            };
            (0..n).map(reading).collect()
        };
        (0..shape.patterns).map(|g| pattern(g, draw)).collect()
    };
    (0..shape.dimensions)
        .map(|d| dimension(d, &mut draw))
        .collect()
}

fn borrow(sets: &Sets) -> Vec<Vec<&[Rated]>> {
    sets.iter()
        .map(|d| d.iter().map(Vec::as_slice).collect())
        .collect()
}

/// The method as it is written, round by round, set by set.
fn slowly(sets: &[Vec<&[Rated]>], lambda: f64) -> Borrowed {
    let mut variances = vec![f64::INFINITY; sets.len()];
    let mut fit = None;
    for _ in 0..10 {
        let of_set = |readings: &&[Rated], variance: f64| {
            let sums = two_level(readings, lambda, variance).filter(|s| s.n >= 2)?;
            let df = (sums.n - 1) as f64;
            let s2 = (sums.q / df).max(sums.mean_u2 / (1.0 + sums.mean_r));
            Some(SetVariance { s2, df })
        };
        let dimensions: Vec<Vec<SetVariance>> = sets
            .iter()
            .zip(&variances)
            .map(|(d, &variance)| d.iter().filter_map(|s| of_set(s, variance)).collect())
            .collect();
        let round = borrowed_spread(&dimensions);
        for (variance, spread) in variances.iter_mut().zip(&round.dimensions) {
            *variance = spread.map_or(f64::INFINITY, |s| s.s2);
        }
        fit = Some(round);
    }
    fit.unwrap()
}

/// The largest relative difference; `case` names it where it is too large.
#[track_caller]
fn difference(case: &str, got: &Loan, want: &Borrowed, tolerance: f64) -> f64 {
    let mut worst = relative_error(got.phi, want.phi);
    assert_eq!(got.dimensions.len(), want.dimensions.len(), "{case}");
    for (d, (got, want)) in got.dimensions.iter().zip(&want.dimensions).enumerate() {
        assert_eq!(got.is_some(), want.is_some(), "{case}, dimension {d}");
        let (Some(got), Some(want)) = (got, want) else {
            continue;
        };
        assert_eq!(got.lenders, want.lenders, "{case}, dimension {d}");
        worst = worst
            .max(relative_error(got.s2, want.s2))
            .max(relative_error(got.information, want.information))
            .max(relative_error(got.df, want.df));
    }
    assert!(
        worst <= tolerance,
        "{case}: difference {worst:e}; {got:?} instead of {want:?}"
    );
    worst
}

fn without<'a>(sets: &[Vec<&'a [Rated]>], pattern: usize) -> Vec<Vec<&'a [Rated]>> {
    let mut sets = sets.to_vec();
    for d in &mut sets {
        d.remove(pattern);
    }
    sets
}

const ERRORS: [Errors; 6] = [
    Errors::None,
    Errors::Alike(0.12),
    Errors::Alike(0.55),
    Errors::Unlike(0.15),
    Errors::Unlike(0.5),
    Errors::Rounded(4.9),
];

/// Small and outlying, and larger sets.
const READINGS: [(usize, bool); 3] = [(4, false), (12, true), (30, false)];

/// Collections of so many patterns with all kinds of errors; a few patterns of each left out.
fn agreement(patterns: usize, dimensions: usize, sizes: &[(usize, bool)], looked_at: usize) -> f64 {
    let mut worst: f64 = 0.0;
    for &(readings, outlier) in sizes {
        for (number, errors) in ERRORS.into_iter().enumerate() {
            let shape = Shape {
                patterns,
                dimensions,
                readings,
                errors,
                outlier,
            };
            let sets = invented(&shape, (1000 * patterns + 10 * readings + number) as u64);
            let sets = borrow(&sets);
            let lending = Lending::new(&sets);
            for lambda in [0.0, 0.4, 3.0] {
                let loans = lending.without_each(lambda);
                assert_eq!(loans.len(), patterns);
                for (pattern, loan) in loans.iter().enumerate().take(looked_at) {
                    let want = borrowed_from_readings(&without(&sets, pattern), lambda);
                    let case = format!("{shape:?}, lambda {lambda}, pattern {pattern}");
                    let one = difference(&case, loan, &want, 1e-10);
                    worst = worst.max(one);
                    if pattern == 1 {
                        let alone = lending.without(pattern, lambda);
                        difference(&format!("{case}, alone"), &alone, &want, 1e-12);
                    }
                }
            }
        }
    }
    worst
}

/// The largest difference seen was 1.4e-12.
#[test]
fn few_patterns_without_each_against_one_by_one() {
    for patterns in [2, 3, 5, 12, 16] {
        let one = agreement(patterns, 1, &READINGS, 3);
        let worst = one.max(agreement(patterns, 12, &READINGS[1..2], 2));
        assert!(worst <= 2e-11, "{patterns} patterns: {worst:e}");
    }
}

/// The largest difference seen was 7.1e-12.
#[test]
fn many_patterns_without_each_against_one_by_one() {
    let worst = agreement(60, 1, &READINGS, 2)
        .max(agreement(60, 12, &READINGS[1..2], 2))
        .max(agreement(300, 1, &READINGS[1..2], 2));
    assert!(worst <= 5e-11, "{worst:e}");
}

/// The rounds as written, from the public parts. The largest difference seen was 6.2e-14.
#[test]
fn fit_against_the_method_as_written() {
    let mut worst: f64 = 0.0;
    for (patterns, readings) in [(2, 12), (3, 40), (12, 4), (12, 40), (60, 12)] {
        for (number, errors) in ERRORS.into_iter().enumerate() {
            let shape = Shape {
                patterns,
                dimensions: 3,
                readings,
                errors,
                outlier: patterns == 12,
            };
            let sets = invented(&shape, 77 + number as u64);
            let sets = borrow(&sets);
            for lambda in [0.0, 0.4, 3.0, 39.0] {
                let want = slowly(&sets, lambda);
                let case = format!("{shape:?}, lambda {lambda}");
                let loan = Lending::new(&sets).all(lambda);
                worst = worst.max(difference(&case, &loan, &want, 1e-10));
                let fit = borrowed_from_readings(&sets, lambda);
                assert_eq!(loan.dimensions, fit.dimensions);
                for (got, want) in fit.log_likelihood.iter().zip(&want.log_likelihood) {
                    assert!((got - want).abs() <= 1e-9 * want.abs().max(1.0), "{case}");
                }
            }
        }
    }
    assert!(worst <= 1e-12, "{worst:e}");
}
