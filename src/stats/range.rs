//! Distribution-free statements about the range of a sample, and the sample sizes they need.
//!
//! They hold for any continuous distribution, and pay for that with many readings.
//!
//! Source: Wilks (1941), Annals of Mathematical Statistics 12, 91-96.

use super::error::inner_probability;
use super::tails::Beta;
use super::{Coverage, StatsError};

/// Whether a limit is wanted on one side or on both.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Sides {
    /// One limit, above or below.
    One,
    /// A limit above and one below.
    Two,
}

/// The confidence that the range of `n` readings, smallest to largest, holds the share `content`
/// of the population.
///
/// # Method
/// `1 - n P^(n-1) + (n-1) P^n` for P = `content`, as an incomplete beta function.
/// # Errors
/// [`StatsError::TooFew`] without readings; [`StatsError::NotAProbability`] unless `content` lies
/// strictly between 0 and 1.
/// # Source
/// Wilks (1941).
/// # Example
/// ```
/// use calibriar::stats::range_confidence;
///
/// assert!((range_confidence(4, 0.5)? - 0.6875).abs() < 1e-15);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn range_confidence(n: usize, content: f64) -> Result<f64, StatsError> {
    let content = inner_probability(content)?;
    match n {
        0 => Err(StatsError::TooFew { needed: 1, got: 0 }),
        1 => Ok(0.0),
        _ => Ok(Beta::new((n - 1) as f64, 2.0)
            .tails(content, 1.0 - content)
            .1),
    }
}

/// The share of the population that the range of `n` readings holds on average: (n - 1) / (n + 1).
///
/// # Errors
/// [`StatsError::TooFew`] without readings.
/// # Source
/// Wilks (1941).
/// # Example
/// ```
/// use calibriar::stats::expected_range_content;
///
/// assert_eq!(expected_range_content(3)?, 0.5);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn expected_range_content(n: usize) -> Result<f64, StatsError> {
    if n == 0 {
        return Err(StatsError::TooFew { needed: 1, got: 0 });
    }
    Ok((n as f64 - 1.0) / (n as f64 + 1.0))
}

/// The smallest sample whose order statistics hold the content with the confidence.
///
/// # Method
/// The smallest n with `P(Y >= r) >= confidence`, Y the number of n readings that fall outside the
/// content, r = `order` for one limit and 2 `order` for two.
/// # Input
/// `order`: 1 for limits at the extreme readings, 2 for the next ones in, and so on.
/// # Errors
/// [`StatsError::TooFew`] for `order` 0: there is no such reading.
/// # Accuracy
/// A confidence met up to rounding, four units of `f64`, counts as met: with a content of 0.9, three
/// readings reach the confidence 0.271 = 1 - 0.9^3.
/// # Source
/// Wilks (1941).
/// # Example
/// ```
/// use calibriar::stats::{Coverage, Sides, wilks_sample_size};
///
/// let coverage = Coverage::new(0.95, 0.95)?;
/// assert_eq!(wilks_sample_size(Sides::One, 1, coverage)?, 59);
/// assert_eq!(wilks_sample_size(Sides::Two, 1, coverage)?, 93);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn wilks_sample_size(
    sides: Sides,
    order: usize,
    coverage: Coverage,
) -> Result<usize, StatsError> {
    if order == 0 {
        return Err(StatsError::TooFew { needed: 1, got: 0 });
    }
    let outside = match sides {
        Sides::One => order,
        Sides::Two => 2 * order,
    };
    let miss = 1.0 - coverage.confidence() + 4.0 * f64::EPSILON;
    let content = coverage.content();
    // P(Y < r) = P(Beta(n - r + 1, r) <= content): falls with n.
    let enough = |n: usize| {
        let beta = Beta::new((n - outside + 1) as f64, outside as f64);
        beta.tails(content, 1.0 - content).0 <= miss
    };
    if enough(outside) {
        return Ok(outside);
    }
    let (mut short, mut long) = (outside, 2 * outside);
    while !enough(long) {
        (short, long) = (long, 2 * long);
    }
    while long - short > 1 {
        let middle = short + (long - short) / 2;
        if enough(middle) {
            long = middle;
        } else {
            short = middle;
        }
    }
    Ok(long)
}

#[cfg(test)]
mod tests {
    use super::{Sides, expected_range_content, range_confidence, wilks_sample_size};
    use crate::stats::{Coverage, StatsError};

    #[test]
    fn no_readings_have_no_range() {
        let none = StatsError::TooFew { needed: 1, got: 0 };
        assert_eq!(range_confidence(0, 0.9), Err(none));
        assert_eq!(expected_range_content(0), Err(none));
    }

    #[test]
    fn one_reading_is_a_range_that_holds_nothing() {
        assert_eq!(range_confidence(1, 0.9), Ok(0.0));
        assert_eq!(expected_range_content(1), Ok(0.0));
    }

    #[test]
    fn all_or_nothing_is_no_content() {
        for content in [0.0, 1.0, -0.1, f64::NAN] {
            assert!(matches!(
                range_confidence(5, content),
                Err(StatsError::NotAProbability { .. })
            ));
        }
    }

    #[test]
    fn small_confidences_keep_their_digits() {
        // n = 2: (1 - P)^2, here 1e-16.
        let got = range_confidence(2, 1.0 - 1e-8).expect("a content");
        assert!(
            (got / (1.0 - (1.0 - 1e-8_f64)).powi(2) - 1.0).abs() < 1e-14,
            "{got}"
        );
    }

    #[test]
    fn a_confidence_met_exactly_is_met() {
        // One limit: 1 - P^n.
        for (content, confidence, n) in [
            (0.5, 0.75, 2),
            (0.9, 0.271, 3),
            (0.8, 0.7902848, 7),
            (0.1, 0.99999, 5),
        ] {
            let coverage = Coverage::new(content, confidence).expect("probabilities");
            assert_eq!(wilks_sample_size(Sides::One, 1, coverage), Ok(n));
        }
    }

    #[test]
    fn little_asked_is_met_by_the_readings_themselves() {
        let coverage = Coverage::new(0.01, 0.01).expect("probabilities");
        assert_eq!(wilks_sample_size(Sides::Two, 3, coverage), Ok(6));
    }

    #[test]
    fn there_is_no_reading_of_order_zero() {
        let coverage = Coverage::new(0.5, 0.5).expect("probabilities");
        let fault = StatsError::TooFew { needed: 1, got: 0 };
        assert_eq!(wilks_sample_size(Sides::One, 0, coverage), Err(fault));
    }
}
