//! What can be wrong with the numbers handed to this room.

/// Why a statistic could not be computed.  The variants carry the numbers, so a caller can say
/// what would have been enough.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StatsError {
    /// The sample is too small for the statistic.
    #[error("needs at least {needed} values, got {got}")]
    TooFew {
        /// The smallest sample that would do.
        needed: usize,
        /// The size of the sample given.
        got: usize,
    },
    /// More than the method is meant for.
    #[error("is meant for at most {most}, got {got}")]
    TooMany {
        /// The most that it takes.
        most: usize,
        /// How many there were.
        got: usize,
    },
    /// Some of those to be compared have nothing in common with the others.
    #[error("falls apart into {parts} parts that have nothing in common")]
    Disconnected {
        /// How many parts.
        parts: usize,
    },
    /// A value is NaN or infinite.
    #[error("value {value} at index {index} is not finite")]
    NotFinite {
        /// Where it stands, counted from 0.
        index: usize,
        /// The value itself.
        value: f64,
    },
    /// All values agree, so that there is no spread to divide by.
    #[error("all values are equal, so there is no spread to compare with")]
    ZeroSpread,
    /// The spread of finite values is beyond the largest `f64`.
    #[error("the spread of the values is beyond the range of a 64-bit number")]
    Overflow,
    /// A number that should be a probability is not (or is at an end that the function excludes).
    #[error("{value} is not a probability that can be used here")]
    NotAProbability {
        /// The number given.
        value: f64,
    },
    /// A number that should be positive (and, where the function says so, finite) is not.
    #[error("{what} must be a positive number, got {value}")]
    NotPositive {
        /// What the number stands for.
        what: &'static str,
        /// The number given.
        value: f64,
    },
    /// A linear program whose numbers the solver cannot tell apart, or whose cost falls without end.
    #[error("the linear program could not be solved")]
    Unsolved,
}

/// The first NaN or infinity of a sample as an error.
///
/// # Errors
/// [`StatsError::NotFinite`].
pub(crate) fn all_finite(values: &[f64]) -> Result<(), StatsError> {
    match values.iter().position(|value| !value.is_finite()) {
        Some(index) => Err(StatsError::NotFinite {
            index,
            value: values[index],
        }),
        None => Ok(()),
    }
}

/// A sample of at least `needed` finite values, or the error that says what is wrong.
///
/// # Errors
/// [`StatsError::TooFew`] first, then [`StatsError::NotFinite`].
pub(crate) fn sample_of(needed: usize, values: &[f64]) -> Result<(), StatsError> {
    if values.len() < needed {
        return Err(StatsError::TooFew {
            needed,
            got: values.len(),
        });
    }
    all_finite(values)
}

/// A number strictly between 0 and 1, or the error.
///
/// # Errors
/// [`StatsError::NotAProbability`], also for NaN.
pub(crate) fn inner_probability(value: f64) -> Result<f64, StatsError> {
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(StatsError::NotAProbability { value })
    }
}

/// A positive number, perhaps infinite, or the error.
///
/// # Errors
/// [`StatsError::NotPositive`], also for NaN.
pub(crate) fn positive(what: &'static str, value: f64) -> Result<f64, StatsError> {
    if value > 0.0 {
        Ok(value)
    } else {
        Err(StatsError::NotPositive { what, value })
    }
}
