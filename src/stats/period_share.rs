//! How much of the spread lies between periods: one number for a whole collection.
//!
//! # Method
//! Posterior mean of `rho` on a grid under a uniform prior, from the exact likelihood of the
//! location-scale invariant of each set, so that neither centre nor spread of a set enters:
//! `l(rho) = -1/2 sum [ln|A| - ln V + (n - 1) ln Q]`. Never stuck at 0.
//!
//! # Source
//! H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545-554; D. A. Harville, Biometrika 61
//! (1974) 383-385.

use super::two_level::{Rated, two_level};

/// Grid points of `rho`, and of `phi` in the borrowed spread.
pub(super) const GRID: usize = 20;
/// A set that is constant says nothing of shares.
const LEAST_Q: f64 = 1e-20;

/// The share of the variance that lies between periods.
#[derive(Clone, Debug, PartialEq)]
pub struct PeriodShare {
    /// `rho`, between 0 and 1.
    pub rho: f64,
    /// Log likelihood at the grid points `(j - 1/2) / 20`; empty where no set can tell.
    pub log_likelihood: Vec<f64>,
}

impl PeriodShare {
    /// `lambda = rho / (1 - rho)`: variance between periods over variance within.
    pub fn lambda(&self) -> f64 {
        self.rho / (1.0 - self.rho)
    }
}

/// Fits the share to sets of readings (a pattern's references of one dimension each); reading
/// errors are left out. `rho = 0` where no set has both a period with two readings and a second
/// period.
pub fn period_share<'a>(sets: impl IntoIterator<Item = &'a [Rated]>) -> PeriodShare {
    let sets: Vec<&[Rated]> = sets.into_iter().filter(|set| set.len() >= 2).collect();
    let telling = |set: &[Rated]| {
        let sums = two_level(set, 0.0, f64::INFINITY);
        sums.is_some_and(|s| s.periods.len() >= 2 && s.periods.len() < set.len())
    };
    if !sets.iter().any(|set| telling(set)) {
        return PeriodShare {
            rho: 0.0,
            log_likelihood: Vec::new(),
        };
    }
    let log_likelihood: Vec<f64> = (0..GRID)
        .map(|j| {
            let rho = (j as f64 + 0.5) / GRID as f64;
            let lambda = rho / (1.0 - rho);
            let term = |set: &&[Rated]| {
                let sums = two_level(set, lambda, f64::INFINITY).filter(|s| s.q > LEAST_Q)?;
                let freedom = (sums.n - 1) as f64;
                Some(sums.ln_determinant - sums.v.ln() + freedom * sums.q.ln())
            };
            -0.5 * sets.iter().filter_map(term).sum::<f64>()
        })
        .collect();
    let rho = posterior_mean(&log_likelihood, |j| (j as f64 + 0.5) / GRID as f64);
    PeriodShare {
        rho,
        log_likelihood,
    }
}

/// The mean of `value` over grid points whose log weights are given.
pub(super) fn posterior_mean(log_weights: &[f64], value: impl Fn(usize) -> f64) -> f64 {
    let most = log_weights
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let (mut sum, mut weights) = (0.0, 0.0);
    for (j, log_weight) in log_weights.iter().enumerate() {
        let weight = (log_weight - most).exp();
        sum += weight * value(j);
        weights += weight;
    }
    sum / weights
}
