//! Points moved and scaled so that no sum of squares overflows or drowns.

use super::{FormError, Point};

/// Beyond this a square of a square is no longer finite with room to spare.
const LARGEST: f64 = 1e100;
/// Under 2^-1000 the factor itself would overflow; what is left unscaled there is still harmless.
const LEAST_EXPONENT: i32 = -1000;

/// Points about the centre of their bounding box, in units of a power of two: all coordinates lie
/// within -1 to 1, and scaling back loses nothing.
pub(super) struct Scaled {
    pub(super) points: Vec<Point>,
    origin: Point,
    unit: f64,
}

impl Scaled {
    /// # Errors
    /// [`FormError::NotFinite`]; [`FormError::TooFewPoints`] under `needed` different points.
    pub(super) fn new(
        points: &[Point],
        form: &'static str,
        needed: usize,
    ) -> Result<Scaled, FormError> {
        // NaN fails the comparison as well.
        let good = |p: &Point| p.x.abs() <= LARGEST && p.y.abs() <= LARGEST;
        if !points.iter().all(good) {
            return Err(FormError::NotFinite);
        }
        let found = different(points, needed);
        if found < needed {
            return Err(FormError::TooFewPoints {
                form,
                needed,
                found,
            });
        }
        let (x_low, x_high) = range(points.iter().map(|p| p.x));
        let (y_low, y_high) = range(points.iter().map(|p| p.y));
        let half = (0.5 * x_high - 0.5 * x_low).max(0.5 * y_high - 0.5 * y_low);
        let (_, exponent) = libm::frexp(half);
        let unit = libm::scalbn(1.0, exponent.max(LEAST_EXPONENT));
        let origin = Point {
            x: 0.5 * x_low + 0.5 * x_high,
            y: 0.5 * y_low + 0.5 * y_high,
        };
        let per_unit = 1.0 / unit;
        let points = points.iter().map(|p| Point {
            x: (p.x - origin.x) * per_unit,
            y: (p.y - origin.y) * per_unit,
        });
        Ok(Scaled {
            points: points.collect(),
            origin,
            unit,
        })
    }

    /// A length in the unit of the points.
    pub(super) fn length(&self, scaled: f64) -> f64 {
        scaled * self.unit
    }

    /// A place where the points came from.
    pub(super) fn place(&self, scaled: Point) -> Point {
        Point {
            x: self.origin.x + scaled.x * self.unit,
            y: self.origin.y + scaled.y * self.unit,
        }
    }
}

/// Least and greatest.
pub(super) fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
        (low.min(v), high.max(v))
    })
}

/// How many different points there are, counted up to `enough`.
fn different(points: &[Point], enough: usize) -> usize {
    let mut seen: Vec<Point> = Vec::with_capacity(enough);
    for point in points {
        if seen.len() >= enough {
            break;
        }
        if !seen.contains(point) {
            seen.push(*point);
        }
    }
    seen.len()
}
