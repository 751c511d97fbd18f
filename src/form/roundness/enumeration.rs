//! All centres that a least zone or a largest inscribed circle can have, for few points.

use super::super::Point;
use super::{bisectors_meet, distance, equidistant};

/// The centre with the least zone, where it is narrower than `known`.
///
/// At rest a zone has two contacts on each circle, or three on one: its centre lies where the
/// bisectors of two pairs of points meet. O(n^5) at worst; most candidates fall out early.
pub(super) fn narrowest_zone(points: &[Point], known: f64) -> Option<Point> {
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
        let sum = distance(p, centre) + out;
        let d = if sum > 0.0 { squares / sum } else { 0.0 };
        (low, high) = (low.min(d), high.max(d));
        if high - low >= limit {
            return None;
        }
    }
    Some(high - low)
}

/// The centre of the largest circle that holds `inside` and no point, where it is larger than
/// `known`.
///
/// Such a circle rests on three points all round it.
pub(super) fn largest_inscribed(points: &[Point], inside: Point, known: f64) -> Option<Point> {
    let (mut largest, mut best) = (known, None);
    for (i, &a) in points.iter().enumerate() {
        for (j, &b) in points.iter().enumerate().skip(i + 1) {
            for &c in &points[j + 1..] {
                let Some(centre) = equidistant(a, b, c) else {
                    continue;
                };
                let radius = distance(a, centre);
                // Of its own three points rounding may leave one inside.
                let empty = radius * (1.0 - 1e-14);
                if radius > largest
                    && distance(inside, centre) < radius
                    && surround(centre, [a, b, c])
                    && points.iter().all(|&p| distance(p, centre) >= empty)
                {
                    (largest, best) = (radius, Some(centre));
                }
            }
        }
    }
    best
}

/// Whether a triangle holds a point.
fn surround(p: Point, [a, b, c]: [Point; 3]) -> bool {
    let side = |s: Point, t: Point| (t.x - s.x) * (p.y - s.y) - (t.y - s.y) * (p.x - s.x);
    let sides = [side(a, b), side(b, c), side(c, a)];
    sides.iter().all(|&s| s >= 0.0) || sides.iter().all(|&s| s <= 0.0)
}
