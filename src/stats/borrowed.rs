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
