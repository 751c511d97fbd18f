//! The spread that other patterns lend: what a dimension's relative spread usually is, and how
//! much that is worth.
//!
//! # Method
//! The variances of a dimension over patterns follow `s^2 ~ s0^2 d0 / chi^2(d0)`; `phi = 1 / d0` is
//! common to the dimensions of a family and is averaged over a grid, `s0^2` of each dimension is
//! profiled, with Cox and Reid's adjustment. What is borrowed counts
//! `1 / (phi + 1 / D)` degrees of freedom: the spread differs between patterns, and it is itself
//! an estimate. `docs/methods.md` has the formulas.
//!
//! # Source
//! G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 3 (2004) article 3; D. R. Cox and N. Reid, J. R. Stat.
//! Soc. B 49 (1987) 1-39. The grid and the rule for the degrees of freedom are this project's.

use libm::lgamma;

use super::period_share::{GRID, posterior_mean};
use super::two_level::{Rated, two_level};

/// The largest `phi`: spreads that differ so much that they lend two degrees of freedom at most.
const PHI_MAX: f64 = 0.5;

/// The variance of one pattern's set of one dimension.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SetVariance {
    /// `s^2`.
    pub s2: f64,
    /// Its degrees of freedom.
    pub df: f64,
}

/// What other patterns say of the spread of some dimensions.
#[derive(Clone, Debug, PartialEq)]
pub struct Borrowed {
    /// `1 / d0` of the family.
    pub phi: f64,
    /// For each dimension; `None` where no other pattern has two readings of it.
    pub dimensions: Vec<Option<BorrowedSpread>>,
    /// Log likelihood at the grid points `0.5 (j - 1/2) / 20`.
    pub log_likelihood: Vec<f64>,
}

/// What other patterns say of the spread of one dimension.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BorrowedSpread {
    /// `s0^2`.
    pub s2: f64,
    /// Information in the estimate of `s0^2` (D).
    pub information: f64,
    /// Degrees of freedom that the loan is worth: `1 / (phi + 1 / D)`.
    pub df: f64,
    /// How many patterns lend.
    pub lenders: usize,
}

fn phi_at(j: usize) -> f64 {
    PHI_MAX * (j as f64 + 0.5) / GRID as f64
}

/// Fits the family of dimensions, each given by the variances of the lending patterns' sets.
pub fn borrowed_spread(dimensions: &[Vec<SetVariance>]) -> Borrowed {
    let usable: Vec<Vec<SetVariance>> = dimensions
        .iter()
        .map(|sets| sets.iter().copied().filter(|s| s.df > 0.0).collect())
        .collect();
    let log_likelihood: Vec<f64> = (0..GRID)
        .map(|j| {
            let d0 = 1.0 / phi_at(j);
            usable
                .iter()
                .filter_map(|sets| profile(sets, d0))
                .map(|fit| fit.log_likelihood - 0.5 * fit.information.ln())
                .sum()
        })
        .collect();
    let phi = posterior_mean(&log_likelihood, phi_at);
    let dimensions = usable
        .iter()
        .map(|sets| {
            let fit = profile(sets, 1.0 / phi)?;
            Some(BorrowedSpread {
                s2: fit.log_s2.exp(),
                information: fit.information,
                df: 1.0 / (phi + 1.0 / fit.information),
                lenders: sets.len(),
            })
        })
        .collect();
    Borrowed {
        phi,
        dimensions,
        log_likelihood,
    }
}

/// The best `s0^2` of one dimension at a given `d0`.
struct Profile {
    log_s2: f64,
    information: f64,
    log_likelihood: f64,
}

fn profile(sets: &[SetVariance], d0: f64) -> Option<Profile> {
    let freedom: f64 = sets.iter().map(|s| s.df).sum();
    let pooled = sets.iter().map(|s| s.df * s.s2).sum::<f64>() / freedom;
    if !(freedom > 0.0 && pooled > 0.0) {
        return None;
    }
    let log_s2 = root(sets, d0, pooled.ln());
    let information = sets.iter().map(|s| s.df * d0 / (s.df + d0 + 2.0)).sum();
    let log_likelihood = sets
        .iter()
        .map(|s| {
            let (df, q) = (s.df, s.df * s.s2 / log_s2.exp());
            lgamma((df + d0) / 2.0)
                - lgamma(d0 / 2.0)
                - df / 2.0 * (d0 / 2.0).ln()
                - df / 2.0 * log_s2
                - (df + d0) / 2.0 * (q / d0).ln_1p()
        })
        .sum();
    Some(Profile {
        log_s2,
        information,
        log_likelihood,
    })
}

/// Solves `sum [-df + (df + d0) q / (d0 + q)] = 0`, `q = df s^2 / e^l`, for `l`. The sum falls as
/// `l` grows, from the sum of `d0` (over sets with a spread) to minus that of `df`, so the root
/// exists and is one; Newton's steps are kept within a bracket.
fn root(sets: &[SetVariance], d0: f64, start: f64) -> f64 {
    let slope_and_value = |l: f64| {
        let scale = (-l).exp();
        sets.iter().fold((0.0, 0.0), |(slope, value), s| {
            let q = s.df * s.s2 * scale;
            let whole = (s.df + d0) / (d0 + q);
            (slope - whole * q * d0 / (d0 + q), value + whole * q - s.df)
        })
    };
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    let mut l = start;
    for _ in 0..200 {
        let (slope, value) = slope_and_value(l);
        if value > 0.0 {
            low = l;
        } else {
            high = l;
        }
        let step = -value / slope;
        let mut next = l + step;
        if !(next > low && next < high) {
            next = match (low.is_finite(), high.is_finite()) {
                (true, true) => f64::midpoint(low, high),
                (true, false) => low + 1.0,
                _ => high - 1.0,
            };
        }
        if (next - l).abs() <= 1e-15 * l.abs().max(1.0) {
            return next;
        }
        l = next;
    }
    l
}

/// Rounds in which reading errors and borrowed spread are made to agree.
const ROUNDS: usize = 10;

/// The family of dimensions of some lending patterns, from their readings: `sets[d]` has, for
/// dimension d, one set a pattern. In the first round readings count as free of error, then with
/// the spread of the round before.
pub fn borrowed_from_readings(sets: &[Vec<&[Rated]>], lambda: f64) -> Borrowed {
    let mut variances = vec![f64::INFINITY; sets.len()];
    let mut fit = fit_round(sets, lambda, &variances);
    for _ in 1..ROUNDS {
        let before = variances.clone();
        for (variance, dimension) in variances.iter_mut().zip(&fit.dimensions) {
            *variance = dimension.map_or(f64::INFINITY, |d| d.s2);
        }
        // Readings without error, or rounds that have met: another would change nothing.
        let errorless = sets
            .iter()
            .flatten()
            .flat_map(|s| s.iter())
            .all(|r| r.u == 0.0);
        if errorless || variances == before {
            break;
        }
        fit = fit_round(sets, lambda, &variances);
    }
    fit
}

fn fit_round(sets: &[Vec<&[Rated]>], lambda: f64, variances: &[f64]) -> Borrowed {
    let of_set = |readings: &[Rated], variance: f64| {
        let sums = two_level(readings, lambda, variance).filter(|s| s.n >= 2)?;
        let df = (sums.n - 1) as f64;
        let mean_u2 = readings.iter().map(|r| r.u * r.u).sum::<f64>() / sums.n as f64;
        // Readings rounded alike may agree by chance: not less than their error allows.
        let floor = mean_u2 / (1.0 + sums.mean_r);
        Some(SetVariance {
            s2: (sums.q / df).max(floor),
            df,
        })
    };
    let dimensions: Vec<Vec<SetVariance>> = sets
        .iter()
        .zip(variances)
        .map(|(of_dimension, &variance)| {
            of_dimension
                .iter()
                .filter_map(|readings| of_set(readings, variance))
                .collect()
        })
        .collect();
    borrowed_spread(&dimensions)
}
