//! Where circles touch a section.

use super::super::Point;

/// A point that a circle touches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contact {
    /// Index of the point.
    pub index: usize,
    /// By how much the result grows where this point moves outwards by one (to first order);
    /// the weights of one circle sum to 1.
    pub weight: f64,
}

/// What is known of a least zone or greatest circle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Guarantee {
    /// No centre in the plane gives a better one.
    Global,
    /// No centre near by gives a better one; a distant one might.
    Local,
    /// The search stopped before it could show even that.
    None,
}

/// `u sqrt(sum of squared weights)`.
pub(super) fn propagated<'a>(u: f64, contacts: impl Iterator<Item = &'a Contact>) -> f64 {
    u * contacts.map(|c| c.weight * c.weight).sum::<f64>().sqrt()
}

/// Unit vector from a point to the centre: how its radius grows as the centre moves. A point at
/// the centre gives none: its radius grows in every direction alike.
pub(super) fn outward(centre: Point, point: Point, radius: f64) -> [f64; 2] {
    if radius > 0.0 {
        [(centre.x - point.x) / radius, (centre.y - point.y) / radius]
    } else {
        [0.0, 0.0]
    }
}
