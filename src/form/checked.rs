//! What every form asks of its input.

use super::{FormError, Point};

/// Beyond this, squares of squares would leave the range of a 64-bit number.
const LARGEST: f64 = 1e100;

/// A number that can be reckoned with, or [`FormError::NotFinite`].
pub(super) fn usable(value: f64) -> Result<f64, FormError> {
    if value.abs() <= LARGEST {
        Ok(value)
    } else {
        Err(FormError::NotFinite)
    }
}

/// A positive number that can be reckoned with, or [`FormError::NotPositive`].
pub(super) fn positive(what: &'static str, value: f64) -> Result<f64, FormError> {
    if value > 0.0 && value <= LARGEST {
        Ok(value)
    } else {
        Err(FormError::NotPositive { what, value })
    }
}

/// The points in order of their stations, those of one station in the order given.
///
/// # Errors
/// [`FormError::NotFinite`].
pub(super) fn in_order(points: &[Point]) -> Result<Vec<Point>, FormError> {
    for point in points {
        usable(point.x)?;
        usable(point.y)?;
    }
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.x.total_cmp(&b.x));
    Ok(sorted)
}
