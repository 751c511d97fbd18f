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

use super::two_level::{Rated, TwoLevel, two_level};

/// Grid points of `rho`, and of `phi` in the borrowed spread.
pub(super) const GRID: usize = 20;
/// A set that is constant says nothing of shares.
const LEAST_Q: f64 = 1e-20;

/// The share of the variance that lies between periods.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PeriodShare {
    /// `rho`, between 0 and 1.
    pub rho: f64,
}

impl PeriodShare {
    /// `lambda = rho / (1 - rho)`: variance between periods over variance within.
    pub fn lambda(&self) -> f64 {
        self.rho / (1.0 - self.rho)
    }
}

fn rho_at(j: usize) -> f64 {
    (j as f64 + 0.5) / GRID as f64
}

/// What sets of readings (a pattern's references of one dimension each) say of the period share: log
/// likelihoods, which add up. Reading errors are left out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ShareEvidence {
    /// At the grid points `(j - 1/2) / 20`.
    log_likelihood: [f64; GRID],
    /// Sets with a period of two readings or more and a second period: only these can tell.
    telling: usize,
}

impl ShareEvidence {
    /// What one set says.
    pub fn of<R: Copy + Into<Rated>>(set: &[R]) -> ShareEvidence {
        let sums = two_level(set, 0.0, f64::INFINITY);
        let telling = |s: &TwoLevel| s.periods.len() >= 2 && s.periods.len() < s.n;
        let Some(sums) = sums.filter(telling) else {
            return ShareEvidence::default();
        };
        let between_periods = |lambda: f64| -> (f64, f64, f64) {
            let variances = sums.periods.iter().map(|p| lambda + 1.0 / p.weight);
            let precision: f64 = variances.clone().map(|v| 1.0 / v).sum();
            let shifts = sums.periods.iter().zip(variances.clone());
            let shift: f64 = shifts.map(|(p, v)| (p.mean - sums.mu) / v).sum::<f64>() / precision;
            let (mut q, mut ln_determinant) = (0.0, 0.0);
            for (period, v) in sums.periods.iter().zip(variances) {
                q += (period.mean - sums.mu - shift).powi(2) / v;
                ln_determinant += (period.weight * v).ln();
            }
            (q, ln_determinant, precision)
        };
        let mut evidence = ShareEvidence {
            telling: 1,
            ..ShareEvidence::default()
        };
        for (j, term) in evidence.log_likelihood.iter_mut().enumerate() {
            let rho = rho_at(j);
            let (between, ln_determinant, precision) = between_periods(rho / (1.0 - rho));
            let q = sums.within + between;
            if q > LEAST_Q {
                let freedom = (sums.n - 1) as f64;
                *term = -0.5 * (ln_determinant + precision.ln() + freedom * q.ln());
            }
        }
        evidence
    }

    /// Log likelihood at the grid points `(j - 1/2) / 20`, but for a constant.
    pub fn log_likelihood(&self) -> &[f64] {
        &self.log_likelihood
    }

    /// How many sets can tell.
    pub fn telling(&self) -> usize {
        self.telling
    }

    /// Takes in what others say.
    pub fn add(&mut self, others: &ShareEvidence) {
        self.telling += others.telling;
        for (term, other) in self.log_likelihood.iter_mut().zip(others.log_likelihood) {
            *term += other;
        }
    }

    /// Takes out what some of those taken in say.
    pub fn remove(&mut self, some: &ShareEvidence) {
        self.telling -= some.telling;
        for (term, some) in self.log_likelihood.iter_mut().zip(some.log_likelihood) {
            *term -= some;
        }
    }

    /// The share; `rho = 0` where no set can tell.
    pub fn share(&self) -> PeriodShare {
        let rho = match self.telling {
            0 => 0.0,
            _ => posterior_mean(&self.log_likelihood, rho_at),
        };
        PeriodShare { rho }
    }
}

/// Fits the share to sets of readings.
pub fn period_share<'a>(sets: impl IntoIterator<Item = &'a [Rated]>) -> PeriodShare {
    let mut evidence = ShareEvidence::default();
    for set in sets {
        evidence.add(&ShareEvidence::of(set));
    }
    evidence.share()
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
