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

use super::lending::{Family, Freedoms, Scaled, phi_at};
use super::period_share::{GRID, posterior_mean};
use super::two_level::Rated;

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
    /// `1 / d0` of the family; 0.25, the middle of its range, where nothing tells.
    pub phi: f64,
    /// For each dimension; `None` where no other pattern has two readings of it, or where they do
    /// not differ at all.
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
    /// Patterns that lend: those with two readings or more of the dimension.
    pub lenders: usize,
}

impl BorrowedSpread {
    pub(super) fn new(s2: f64, phi: f64, information: f64, lenders: usize) -> Self {
        BorrowedSpread {
            s2,
            information,
            df: 1.0 / (phi + 1.0 / information),
            lenders,
        }
    }
}

/// Fits the family of dimensions, each given by the variances of the lending patterns' sets.
/// Variances that are not finite count for nothing.
pub fn borrowed_spread(dimensions: &[Vec<SetVariance>]) -> Borrowed {
    let usable = |s: &SetVariance| s.df > 0.0 && s.df.is_finite() && s.s2.is_finite();
    let fitted: Vec<(Freedoms, Option<Scaled>)> = dimensions
        .iter()
        .map(|sets| {
            let sets: Vec<&SetVariance> = sets.iter().filter(|s| usable(s)).collect();
            let freedoms = Freedoms::new(sets.iter().map(|s| s.df).collect());
            let s2: Vec<f64> = sets.iter().map(|s| s.s2).collect();
            let scaled = Scaled::new(&freedoms, s2);
            (freedoms, scaled)
        })
        .collect();
    let mut log_likelihood = vec![0.0; GRID];
    for (freedoms, scaled) in &fitted {
        let Some(scaled) = scaled else { continue };
        let grid = scaled.over_grid(freedoms, &mut [f64::NAN; GRID], &[true; GRID]);
        for (sum, l) in log_likelihood.iter_mut().zip(grid) {
            *sum += l + scaled.offset(freedoms);
        }
    }
    let phi = posterior_mean(&log_likelihood, phi_at);
    let dimensions = fitted
        .iter()
        .map(|(freedoms, scaled)| scaled.as_ref()?.spread(freedoms, phi, 0.0).1)
        .collect();
    Borrowed {
        phi,
        dimensions,
        log_likelihood,
    }
}

/// The family of dimensions of some lending patterns, from their readings: `sets[d]` has, for
/// dimension d, one set a pattern. In the first round readings count as free of error, then with
/// the spread of the round before; ten rounds, or fewer where they have met.
///
/// A set whose squares pass the largest number lends nothing.
pub fn borrowed_from_readings(sets: &[Vec<&[Rated]>], lambda: f64) -> Borrowed {
    let family = Family::new(sets);
    let fit = family.fit(lambda, None, false);
    Borrowed {
        phi: fit.last().phi,
        dimensions: fit.last().spreads.clone(),
        log_likelihood: fit.last().log_likelihood.to_vec(),
    }
}
