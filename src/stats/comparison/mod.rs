//! Groups of numbers compared: centres, spreads, ranks, whole distributions.
//!
//! | file | holds |
//! |---|---|
//! | `means` | Welch's t and analysis of variance, Brown and Forsythe's F* |
//! | `spreads` | Brown and Forsythe's test of spreads, the ratio of two variances |
//! | `ranks` | Mann and Whitney, Kruskal and Wallis |
//! | `shift` | Hodges and Lehmann's shift and its interval |
//! | `whole` | Anderson and Darling's test of several samples |
//! | `moderated` | the same questions with a spread that is partly borrowed |
//! | `pooled` | one answer from several sets |
//! | `gamma` | derivatives of the logarithm of the gamma function |

mod gamma;
mod means;
mod moderated;
mod pooled;
mod ranks;
mod shift;
mod spreads;
mod whole;

pub use gamma::{digamma, trigamma};
pub use means::{WelchT, brown_forsythe_means, welch_anova, welch_t};
pub use moderated::{
    Agreement, Departure, SpreadRatio, agreement, departure, log_spread_ratio, spread_ratio,
};
pub use pooled::{Effect, Law, Pooled, combined_p, pooled};
pub use ranks::{KruskalWallis, MannWhitney, kruskal_wallis, mann_whitney};
pub use shift::{Shift, hodges_lehmann};
pub use spreads::{VarianceRatio, brown_forsythe_spread, variance_ratio};
pub use whole::{AndersonDarling, Ties, anderson_darling, anderson_darling_p};

use super::StatsError;
use super::error::all_finite;

/// An F test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FTest {
    /// The statistic.
    pub f: f64,
    /// Degrees of freedom above the bar.
    pub df1: f64,
    /// Degrees of freedom below the bar.
    pub df2: f64,
    /// Probability of a statistic at least as large where nothing differs.
    pub p: f64,
}

impl FTest {
    fn new(f: f64, df1: f64, df2: f64) -> Result<FTest, StatsError> {
        if !f.is_finite() {
            return Err(StatsError::Overflow);
        }
        let p = super::f_sf(f, df1, df2).max(f64::MIN_POSITIVE);
        Ok(FTest { f, df1, df2, p })
    }
}

/// Two or more groups of finite values, each of at least `least`, or what is wrong with them.
fn groups_of(least: usize, groups: &[&[f64]]) -> Result<(), StatsError> {
    if groups.len() < 2 {
        return Err(StatsError::TooFew {
            needed: 2,
            got: groups.len(),
        });
    }
    for group in groups {
        if group.len() < least {
            return Err(StatsError::TooFew {
                needed: least,
                got: group.len(),
            });
        }
        all_finite(group)?;
    }
    Ok(())
}

/// The mean of some values and the sum of their squared deviations from it; not finite where that
/// leaves the range of an `f64`.
fn squares(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    // About the first value: large offsets then cost no digits.
    let origin = values[0];
    let mean = origin + values.iter().map(|x| x - origin).sum::<f64>() / n;
    // The mean's own rounding error comes out again (Chan, Golub and LeVeque 1983).
    let (sum, square) = values.iter().fold((0.0, 0.0), |(sum, square), x| {
        let d = x - mean;
        (sum + d, square + d * d)
    });
    (mean, (square - sum * sum / n).max(0.0))
}
