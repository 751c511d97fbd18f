//! Circles through a section: least squares, minimum zone, inscribed and circumscribed.
//!
//! Roundness deviation is the peak-to-valley of the radii about a centre. Four centres are in use:
//! that of the least-squares circle (LSCI), of the minimum zone (MZCI), of the maximum inscribed
//! circle (MICI) and of the minimum circumscribed circle (MCCI).
//!
//! Source of the terms: ISO 12181-1 (roundness), from memory.

mod circumscribed;
mod contacts;
mod enumeration;
mod exchange;
mod least_squares;
mod zone;

pub use circumscribed::{CircumscribedCircle, minimum_circumscribed};
pub use contacts::{Contact, Guarantee};
pub use least_squares::{LARGEST_CONDITION, LeastSquaresCircle, least_squares_circle};
pub use zone::{InscribedCircle, MinimumZoneCircles, maximum_inscribed, minimum_zone_circles};

use super::Point;
use super::scaled::range;

/// The point at an angle (degrees, counter-clockwise from the x axis) and a radius.
#[must_use]
pub fn from_polar(angle_deg: f64, radius: f64) -> Point {
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    Point {
        x: radius * cos,
        y: radius * sin,
    }
}

/// Peak-to-valley of the radii about a centre; `None` without points.
#[must_use]
pub fn peak_to_valley_about(points: &[Point], centre: Point) -> Option<f64> {
    let (least, greatest) = radii_about(points, centre);
    (!points.is_empty()).then_some(greatest - least)
}

/// Least and greatest radius about a centre.
fn radii_about(points: &[Point], centre: Point) -> (f64, f64) {
    range(points.iter().map(|&p| distance(p, centre)))
}

/// Points are scaled before: a square neither overflows nor drowns, and `hypot` is slow.
fn distance(a: Point, b: Point) -> f64 {
    let (dx, dy) = (a.x - b.x, a.y - b.y);
    (dx * dx + dy * dy).sqrt()
}

/// The point that is as far from each of three; `None` where they stand in line.
fn equidistant(a: Point, b: Point, c: Point) -> Option<Point> {
    bisectors_meet([a, b], [a, c])
}

/// Nearly parallel bisectors meet nowhere that rounding would tell; points lie within 1.
const FAR: f64 = 1e8;

/// Where the perpendicular bisectors of two pairs meet; `None` where they are parallel.
fn bisectors_meet([a, b]: [Point; 2], [c, d]: [Point; 2]) -> Option<Point> {
    let (ux, uy) = (b.x - a.x, b.y - a.y);
    let (vx, vy) = (d.x - c.x, d.y - c.y);
    // From a: products of sums and differences keep the digits that squares would lose.
    let along_u = 0.5 * (ux * ux + uy * uy);
    let (mx, my) = (0.5 * (c.x + d.x) - a.x, 0.5 * (c.y + d.y) - a.y);
    let along_v = mx * vx + my * vy;
    let turn = ux * vy - uy * vx;
    let centre = Point {
        x: a.x + (along_u * vy - uy * along_v) / turn,
        y: a.y + (ux * along_v - along_u * vx) / turn,
    };
    (centre.x.abs() < FAR && centre.y.abs() < FAR).then_some(centre)
}
