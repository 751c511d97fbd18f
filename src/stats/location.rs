//! Where a sample lies and how far it spreads, in the unit of its values.
//!
//! Sums are carried in two words (a sum and its rounding error), so that a dimension of 50 mm
//! read to 0.001 mm keeps its digits however many readings there are.
//!
//! Sources: Dekker (1971), Numerische Mathematik 18, 224-242 (numbers in two words); Hyndman and Fan
//! (1996), The American Statistician 50, 361-365 (sample quantiles by type).

use super::StatsError;
use super::error::sample_of;

/// Mean and standard deviation of one sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moments {
    /// Number of values.
    pub n: usize,
    /// Arithmetic mean, in the unit of the values.
    pub mean: f64,
    /// Standard deviation with divisor n - 1, in the unit of the values; none of a single value.
    pub sd: Option<f64>,
}

/// The everyday summary of one sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Description {
    /// Number of values.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation with divisor n - 1; none of a single value.
    pub sd: Option<f64>,
    /// Median.
    pub median: f64,
    /// Median absolute deviation from the median, not scaled.
    pub mad: f64,
    /// Smallest value.
    pub min: f64,
    /// Largest value.
    pub max: f64,
}

/// Arithmetic mean, in the unit of the values.
///
/// # Errors
/// [`StatsError::TooFew`] without values; [`StatsError::NotFinite`] at the first NaN or infinity.
/// # Accuracy
/// As that of [`moments`].
/// # Example
/// ```
/// use calibriar::stats::mean;
///
/// let bowl_heights = [40.25, 39.75, 40.5]; // mm
/// assert_eq!(mean(&bowl_heights)?, 40.166_666_666_666_664);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn mean(values: &[f64]) -> Result<f64, StatsError> {
    sample_of(1, values)?;
    Ok(Scaled::of(values).mean())
}

/// Mean and standard deviation (divisor n - 1) of one sample.
///
/// # Method
/// Two passes: the mean from a sum that keeps its rounding error, then the squared deviations
/// from that mean in two words.
/// # Input
/// `values`: n >= 1 finite values in one unit, in any order.
/// # Output
/// In the unit of the values.  Equal values give that value and exactly 0.
/// # Errors
/// [`StatsError::TooFew`] without values; [`StatsError::NotFinite`] at the first NaN or infinity;
/// [`StatsError::Overflow`] if the spread itself is beyond the range of `f64`.
/// # Accuracy
/// All nine NIST univariate reference data sets: within 4.5e-16 of the exact mean and standard
/// deviation of the `f64` inputs.  Reading the decimals into `f64` moves the standard deviation by
/// 3.5e-10 for NumAcc3 and 5.6e-9 for NumAcc4 by itself.
/// # Example
/// ```
/// use calibriar::stats::moments;
///
/// let bowl_heights = [40.25, 39.75, 40.0]; // mm
/// let moments = moments(&bowl_heights)?;
/// assert_eq!((moments.mean, moments.sd), (40.0, Some(0.25)));
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn moments(values: &[f64]) -> Result<Moments, StatsError> {
    sample_of(1, values)?;
    let scaled = Scaled::of(values);
    let sd = scaled.sd();
    if sd.is_some_and(f64::is_infinite) {
        return Err(StatsError::Overflow);
    }
    Ok(Moments {
        n: values.len(),
        mean: scaled.mean(),
        sd,
    })
}

/// Median, in the unit of the values; for an even number of values the midpoint of the middle two.
///
/// # Errors
/// As [`mean`].
/// # Example
/// ```
/// use calibriar::stats::median;
///
/// assert_eq!(median(&[4.0, 40.0, 3.0, 3.5])?, 3.75);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn median(values: &[f64]) -> Result<f64, StatsError> {
    sample_of(1, values)?;
    Ok(median_in_place(&mut values.to_vec()))
}

/// Median absolute deviation from the median, in the unit of the values.  It is not scaled: for
/// a normal sample the standard deviation is about 1.4826 times as large.
///
/// # Errors
/// As [`mean`].
/// # Example
/// ```
/// use calibriar::stats::median_absolute_deviation;
///
/// assert_eq!(median_absolute_deviation(&[4.0, 40.0, 3.0, 3.5])?, 0.5);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn median_absolute_deviation(values: &[f64]) -> Result<f64, StatsError> {
    sample_of(1, values)?;
    let mut work = values.to_vec();
    let centre = median_in_place(&mut work);
    Ok(mad_in_place(&mut work, centre))
}

/// Sample quantile of type 7: linear between the order statistics, the smallest value at `p` = 0
/// and the largest at `p` = 1.
///
/// # Method
/// With h = (n - 1) p and `x_(0) <= x_(1) <= ...`:
/// `x_(floor h) + (h - floor h) (x_(floor h + 1) - x_(floor h))`.
/// # Errors
/// As [`mean`]; [`StatsError::NotAProbability`] if `p` is not from 0 to 1.
/// # Source
/// Hyndman and Fan (1996), definition 7.
/// # Example
/// ```
/// use calibriar::stats::quantile_type7;
///
/// assert_eq!(quantile_type7(&[5.0, 1.0, 3.0, 2.0], 0.25)?, 1.75);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn quantile_type7(values: &[f64], p: f64) -> Result<f64, StatsError> {
    sample_of(1, values)?;
    if !(0.0..=1.0).contains(&p) {
        return Err(StatsError::NotAProbability { value: p });
    }
    let mut work = values.to_vec();
    let place = (work.len() - 1) as f64 * p;
    let below = place.floor() as usize;
    let (_, &mut low, rest) = work.select_nth_unstable_by(below, f64::total_cmp);
    let share = place - below as f64;
    // At the last order statistic nothing is left above, and the share is 0.
    let high = rest.iter().copied().reduce(f64::min).unwrap_or(low);
    let step = high - low;
    Ok(if step.is_finite() {
        low + share * step
    } else {
        low * (1.0 - share) + high * share
    })
}

/// The everyday summary: n, mean, standard deviation, median, median absolute deviation, range.
///
/// # Errors
/// As [`moments`].
/// # Example
/// ```
/// use calibriar::stats::describe;
///
/// let stem_lengths = [81.5, 80.0, 83.0]; // mm
/// let d = describe(&stem_lengths)?;
/// assert_eq!((d.n, d.median, d.mad, d.min, d.max), (3, 81.5, 1.5, 80.0, 83.0));
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn describe(values: &[f64]) -> Result<Description, StatsError> {
    let Moments { n, mean, sd } = moments(values)?;
    let mut work = values.to_vec();
    let median = median_in_place(&mut work);
    let (min, max) = ends(values);
    Ok(Description {
        n,
        mean,
        sd,
        median,
        mad: mad_in_place(&mut work, median),
        min,
        max,
    })
}

/// Reorders `values` (not empty).
pub(super) fn median_in_place(values: &mut [f64]) -> f64 {
    let (half, odd) = (values.len() / 2, values.len() % 2 == 1);
    let (below, &mut upper, _) = values.select_nth_unstable_by(half, f64::total_cmp);
    if odd {
        return upper;
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    lower.midpoint(upper)
}

/// Overwrites `values` (not empty) with their distances from `centre`.
fn mad_in_place(values: &mut [f64], centre: f64) -> f64 {
    for value in values.iter_mut() {
        *value = (*value - centre).abs();
    }
    median_in_place(values)
}

/// Smallest and largest of finite values.
fn ends(values: &[f64]) -> (f64, f64) {
    values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &x| {
            (low.min(x), high.max(x))
        })
}

/// A number as an unevaluated sum: `high` rounded, `low` what the rounding left over.
#[derive(Clone, Copy, Default)]
struct TwoWord {
    high: f64,
    low: f64,
}

impl TwoWord {
    fn add(&mut self, x: f64) {
        // Knuth's exact addition, then renormalised so that `low` never grows.
        let sum = self.high + x;
        let back = sum - self.high;
        let rest = (self.high - (sum - back)) + (x - back) + self.low;
        self.high = sum + rest;
        self.low = rest - (self.high - sum);
    }

    fn divided_by(self, n: f64) -> Self {
        let high = self.high / n;
        let low = ((-high).mul_add(n, self.high) + self.low) / n;
        Self {
            high: high + low,
            low: low - ((high + low) - high),
        }
    }
}

/// A sample with a power of two taken out, so that no square over- or underflows.
struct Scaled<'a> {
    values: &'a [f64],
    scale: f64,
    mean: TwoWord,
}

impl<'a> Scaled<'a> {
    /// `values` is not empty and finite.
    fn of(values: &'a [f64]) -> Self {
        let (min, max) = ends(values);
        let size = min.abs().max(max.abs());
        // Powers of two, so that scaling loses nothing.
        let scale = match size {
            1e100.. => 2.0_f64.powi(-600),
            0.0 => 1.0,
            ..1e-100 => 2.0_f64.powi(600),
            _ => 1.0,
        };
        let mut sum = TwoWord::default();
        for &x in values {
            sum.add(x * scale);
        }
        Self {
            values,
            scale,
            mean: sum.divided_by(values.len() as f64),
        }
    }

    fn mean(&self) -> f64 {
        self.mean.high / self.scale
    }

    fn sd(&self) -> Option<f64> {
        let n = self.values.len() as f64;
        if n < 2.0 {
            return None;
        }
        let mut squares = TwoWord::default();
        for &x in self.values {
            let deviation = (x * self.scale - self.mean.high) - self.mean.low;
            squares.add(deviation * deviation);
        }
        Some((squares.high / (n - 1.0)).sqrt() / self.scale)
    }
}

#[cfg(test)]
mod tests {
    use super::{
        Moments, describe, mean, median, median_absolute_deviation, moments, quantile_type7,
    };
    use crate::stats::StatsError;

    #[test]
    fn no_values_are_too_few() {
        let none = StatsError::TooFew { needed: 1, got: 0 };
        assert_eq!(mean(&[]), Err(none));
        assert_eq!(moments(&[]), Err(none));
        assert_eq!(median(&[]), Err(none));
        assert_eq!(median_absolute_deviation(&[]), Err(none));
        assert_eq!(quantile_type7(&[], 0.5), Err(none));
        assert_eq!(describe(&[]), Err(none));
    }

    #[test]
    fn the_first_value_that_is_not_finite_is_named() {
        let values = [1.0, f64::INFINITY, f64::NEG_INFINITY];
        let fault = StatsError::NotFinite {
            index: 1,
            value: f64::INFINITY,
        };
        assert_eq!(moments(&values), Err(fault));
        assert_eq!(median(&values), Err(fault));
        assert!(matches!(
            mean(&[f64::NAN]),
            Err(StatsError::NotFinite { index: 0, .. })
        ));
    }

    #[test]
    fn one_value_has_a_mean_and_no_spread() {
        assert_eq!(
            moments(&[4.6]),
            Ok(Moments {
                n: 1,
                mean: 4.6,
                sd: None
            })
        );
        assert_eq!(median_absolute_deviation(&[4.6]), Ok(0.0));
        assert_eq!(quantile_type7(&[4.6], 0.3), Ok(4.6));
    }

    #[test]
    fn equal_values_have_exactly_no_spread() {
        for value in [0.1, -4.7, 1e300, 5e-324, f64::MAX, 0.0] {
            for n in [2, 3, 7, 49, 1000, 12_345] {
                let moments = moments(&vec![value; n]).expect("finite values");
                assert_eq!(
                    (moments.mean, moments.sd),
                    (value, Some(0.0)),
                    "{n} times {value}"
                );
            }
        }
    }

    #[test]
    fn huge_and_tiny_values_neither_overflow_nor_vanish() {
        for unit in [1e300, 1.0, 1e-300] {
            let m = moments(&[unit, 2.0 * unit, 3.0 * unit]).expect("finite values");
            assert!((m.mean / unit - 2.0).abs() < 1e-15, "{m:?}");
            assert!(
                (m.sd.expect("three values") / unit - 1.0).abs() < 1e-15,
                "{m:?}"
            );
        }
        assert_eq!(
            mean(&[f64::MAX, f64::MAX, -f64::MAX]).map(|m| m < f64::MAX),
            Ok(true)
        );
        assert_eq!(moments(&[f64::MAX, -f64::MAX]), Err(StatsError::Overflow));
        assert_eq!(median(&[f64::MAX, f64::MAX]), Ok(f64::MAX));
        assert_eq!(quantile_type7(&[-f64::MAX, f64::MAX], 0.5), Ok(0.0));
    }

    #[test]
    fn a_small_spread_on_a_large_offset_is_exact() {
        // Powers of two: 2^40 + {0, 1, 2} has mean 2^40 + 1 and standard deviation 1.
        let offset = 2.0_f64.powi(40);
        let m = moments(&[offset, offset + 1.0, offset + 2.0]);
        assert_eq!(
            m,
            Ok(Moments {
                n: 3,
                mean: offset + 1.0,
                sd: Some(1.0)
            })
        );
    }

    #[test]
    fn a_mean_between_two_numbers_does_not_spoil_the_spread() {
        // 2^52 + 2/3 has no f64; the deviations must be taken from it all the same.
        let offset = 2.0_f64.powi(52);
        let m = moments(&[offset, offset + 1.0, offset + 1.0]).expect("finite values");
        assert!(
            (m.sd.expect("three values") - (1.0_f64 / 3.0).sqrt()).abs() < 1e-15,
            "{m:?}"
        );
    }

    #[test]
    fn quantiles_end_at_the_smallest_and_the_largest_value() {
        let values = [3.0, 9.0, -1.0, 4.0];
        assert_eq!(quantile_type7(&values, 0.0), Ok(-1.0));
        assert_eq!(quantile_type7(&values, 1.0), Ok(9.0));
        assert_eq!(quantile_type7(&values, 0.5), median(&values));
        let fault = StatsError::NotAProbability { value: 1.5 };
        assert_eq!(quantile_type7(&values, 1.5), Err(fault));
        assert!(quantile_type7(&values, f64::NAN).is_err());
    }

    #[test]
    fn half_the_values_stray_and_the_mad_follows_the_rest() {
        assert_eq!(
            median_absolute_deviation(&[1.0, 1.0, 1.0, 90.0, 80.0]),
            Ok(0.0)
        );
        assert_eq!(median(&[1.0, 1.0, 1.0, 90.0, 80.0]), Ok(1.0));
    }
}
