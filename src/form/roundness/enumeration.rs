//! All centres that a least zone can have, for few points.

use super::super::Point;
use super::{bisectors_meet, distance};

/// The centre with the least zone, where it is narrower than `known`.
///
/// At rest a zone has two contacts on each circle, or three on one: its centre lies where the
/// bisectors of two pairs of points meet. O(n^5) at worst; most candidates fall out early.
pub(super) fn best_centre(points: &[Point], known: f64) -> Option<Point> {
    let n = points.len();
    let pairs: Vec<[Point; 2]> = (0..n)
        .flat_map(|i| (i + 1..n).map(move |j| [points[i], points[j]]))
        .collect();
    let (mut least, mut best) = (known, None);
    for (i, &first) in pairs.iter().enumerate() {
        for &second in &pairs[i + 1..] {
            if let Some(centre) = bisectors_meet(first, second)
                && let Some(width) = width_under(points, centre, least)
            {
                (least, best) = (width, Some(centre));
            }
        }
    }
    best
}

/// The width about a centre, unless it reaches `limit`.
fn width_under(points: &[Point], centre: Point, limit: f64) -> Option<f64> {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    let origin = Point { x: 0.0, y: 0.0 };
    let out = distance(centre, origin);
    for &p in points {
        // Radius less `out`: a far centre would take the digits of a plain difference.
        let squares = p.x * (p.x - 2.0 * centre.x) + p.y * (p.y - 2.0 * centre.y);
        let d = squares / (distance(p, centre) + out);
        (low, high) = (low.min(d), high.max(d));
        if !(high - low < limit) {
            return None;
        }
    }
    Some(high - low)
}
