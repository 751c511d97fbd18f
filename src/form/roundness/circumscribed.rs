//! The minimum circumscribed circle.

use super::super::scaled::Scaled;
use super::super::{FormError, Point};
use super::{distance, equidistant, radii_about};

/// The smallest circle that holds all points.
#[derive(Clone, Debug, PartialEq)]
pub struct CircumscribedCircle {
    /// Its centre.
    pub centre: Point,
    /// Its radius.
    pub radius: f64,
    /// Greatest less least radius about its centre: the roundness deviation.
    pub peak_to_valley: f64,
    /// Indices of the two or three points that fix it.
    pub contacts: Vec<usize>,
}

/// The minimum circumscribed circle: what a ring gauge would find.
///
/// # Method
/// The circle of a few points grows by exchange: the farthest point outside joins the two or three
/// that fix the circle, and the smallest circle of these takes over. Its radius grows at every
/// step, so it ends at the smallest circle of all; each step is O(n), and few are taken.
/// # Errors
/// [`FormError::NotFinite`]; [`FormError::TooFewPoints`] under two different points.
/// # Accuracy
/// 1e-14 of the size of the points; exact but for rounding.
/// # Source
/// Criterion: ISO 12181-1, from memory.
/// # Example
/// ```
/// use calibriar::form::{Point, roundness::minimum_circumscribed};
///
/// let at = |x, y| Point { x, y };
/// let circle = minimum_circumscribed(&[at(0.0, 0.0), at(6.0, 0.0), at(3.0, 1.0)])?;
/// assert_eq!((circle.centre, circle.radius), (at(3.0, 0.0), 3.0));
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn minimum_circumscribed(points: &[Point]) -> Result<CircumscribedCircle, FormError> {
    let scaled = Scaled::new(points, "a circumscribed circle", 2)?;
    let all = &scaled.points;
    let mut contacts = vec![farthest(all, all[0])];
    let (mut centre, mut radius) = (all[contacts[0]], 0.0);
    loop {
        let next = farthest(all, centre);
        if distance(all[next], centre) <= radius || contacts.contains(&next) {
            break;
        }
        contacts.push(next);
        let Some((fixed, at, reach)) = smallest_circle(all, &contacts) else {
            break;
        };
        // Only rounding can stop it from growing.
        if reach <= radius {
            break;
        }
        (contacts, centre, radius) = (fixed, at, reach);
    }
    contacts.sort_unstable();
    let (least, greatest) = radii_about(all, centre);
    Ok(CircumscribedCircle {
        centre: scaled.place(centre),
        radius: scaled.length(greatest),
        peak_to_valley: scaled.length(greatest - least),
        contacts,
    })
}

/// The farthest point, the first of equals.
fn farthest(points: &[Point], from: Point) -> usize {
    let mut best = (0, -1.0);
    for (index, &p) in points.iter().enumerate() {
        let d = distance(p, from);
        if d > best.1 {
            best = (index, d);
        }
    }
    best.0
}

/// The smallest circle of up to four points: the smallest of those through two or three of them
/// that holds the rest.
fn smallest_circle(points: &[Point], few: &[usize]) -> Option<(Vec<usize>, Point, f64)> {
    let mut best: Option<(Vec<usize>, Point, f64)> = None;
    let mut consider = |fixed: &[usize], centre: Point| {
        let of = |some: &[usize]| {
            let reach = some.iter().map(|&i| distance(points[i], centre));
            reach.fold(0.0, f64::max)
        };
        let radius = of(fixed);
        let holds = of(few) <= radius * (1.0 + 8.0 * f64::EPSILON);
        if holds && best.as_ref().is_none_or(|(_, _, least)| radius < *least) {
            best = Some((fixed.to_vec(), centre, radius));
        }
    };
    for (i, &a) in few.iter().enumerate() {
        for (j, &b) in few.iter().enumerate().skip(i + 1) {
            let (p, q) = (points[a], points[b]);
            let middle = Point {
                x: 0.5 * (p.x + q.x),
                y: 0.5 * (p.y + q.y),
            };
            consider(&[a, b], middle);
            for &c in &few[j + 1..] {
                if let Some(centre) = equidistant(p, q, points[c]) {
                    consider(&[a, b, c], centre);
                }
            }
        }
    }
    best
}
