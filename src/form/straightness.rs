//! Straight lines through an outline: least squares and minimum zone.
//!
//! Straightness deviation is the peak-to-valley of the points about a reference line: about a
//! least-squares line it can be compared with other fits, about the minimum zone it is as small as
//! any line can make it.
//!
//! Source of the terms: ISO 12780-1 (straightness), ISO 1101 (zone), from memory.

use super::scaled::Scaled;
use super::{FormError, Point};

const LINE: &str = "a straight line";
/// A direction is told while the scatter along it exceeds the scatter across it by this share.
const LEAST_ANISOTROPY: f64 = 1e-12;

/// A point farthest to one side of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// Index of the point.
    pub index: usize,
    /// Its deviation from the line, in the unit of the points; above is positive.
    pub deviation: f64,
}

/// The line `y = intercept + slope x` of least squares, deviations taken along y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeastSquaresLine {
    /// Rise per unit of x.
    pub slope: f64,
    /// Height at x = 0.
    pub intercept: f64,
    /// Sum of squared deviations, in the squared unit of the points.
    pub sum_of_squares: f64,
    /// Standard deviation about the line, n - 2 degrees of freedom; `None` for two points.
    pub residual_sd: Option<f64>,
    /// Highest less lowest deviation, along y.
    pub peak_to_valley: f64,
    /// The highest point.
    pub highest: Extreme,
    /// The lowest point.
    pub lowest: Extreme,
}

/// The line of least squares with deviations taken perpendicular to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OrthogonalLine {
    /// Direction, in radians, over -pi/2 up to pi/2.
    pub angle: f64,
    /// The point that the line goes through: the mean of all points.
    pub centroid: Point,
    /// Root mean square deviation (divisor n).
    pub rms: f64,
    /// Highest less lowest deviation, perpendicular.
    pub peak_to_valley: f64,
}

/// The two parallel lines, as near to each other as can be, that hold all points between them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MinimumZone {
    /// Distance of the two lines.
    pub width: f64,
    /// Their direction, in radians, over -pi/2 up to pi/2.
    pub angle: f64,
    /// A point of the line midway between them.
    pub middle: Point,
    /// Indices of the two points that one line touches.
    pub base: [usize; 2],
    /// The point that the other line touches; `None` where all points lie on one line.
    pub apex: Option<Apex>,
}

/// The single point on the far side of a zone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Apex {
    /// Index of the point.
    pub index: usize,
    /// Where it stands between the two points of the base: 0 at the first, 1 at the second.
    pub share: f64,
}

impl OrthogonalLine {
    /// Rise per unit of x; very large for an upright line.
    #[must_use]
    pub fn slope(&self) -> f64 {
        self.angle.tan()
    }
}

impl MinimumZone {
    /// Standard uncertainty of the width, where every height has the independent standard
    /// uncertainty `u` and stations are exact; `None` where all points lie on one line, where the
    /// width has no derivative.
    ///
    /// # Method
    /// The width is the distance of the apex from the line through the base: the readings weigh
    /// 1, 1 - t and t, with t the share, so that it is
    /// `u cos(angle) sqrt(1 + t^2 + (1 - t)^2)`. First order: that noise of many points widens a
    /// zone on average is not in it.
    /// # Source
    /// JCGM 100:2008 (propagation), from memory.
    #[must_use]
    pub fn uncertainty(&self, u: f64) -> Option<f64> {
        let t = self.apex?.share;
        Some(u * self.angle.cos() * (1.0 + t * t + (1.0 - t) * (1.0 - t)).sqrt())
    }

    /// Signed distance of a point from the middle line; above (to the left of the direction) is
    /// positive.
    #[must_use]
    pub fn deviation(&self, point: Point) -> f64 {
        let (sin, cos) = self.angle.sin_cos();
        cos * (point.y - self.middle.y) - sin * (point.x - self.middle.x)
    }
}

/// The ordinary least-squares line of height on station.
///
/// # Input
/// Two or more stations; any order, ties allowed.
/// # Errors
/// - [`FormError::NotFinite`].
/// - [`FormError::TooFewPoints`] under two different points.
/// - [`FormError::OneStation`], also where the slope is too steep for a number.
/// # Accuracy
/// Centred and scaled first: a large offset costs no digits. 1e-10 of the size of the points
/// against a rational computation.
/// # Example
/// ```
/// use calibriar::form::{Point, straightness::least_squares};
///
/// let heights = [0.0, 0.0, 0.1, 0.0, 0.0]; // mm, every 10 mm
/// let points = heights.iter().zip(0..).map(|(&y, i)| Point { x: 10.0 * f64::from(i), y });
/// let line = least_squares(&points.collect::<Vec<_>>())?;
/// assert!((line.peak_to_valley - 0.1).abs() < 1e-12);
/// assert_eq!(line.highest.index, 2);
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn least_squares(points: &[Point]) -> Result<LeastSquaresLine, FormError> {
    let scaled = Scaled::new(points, LINE, 2)?;
    let mean = centroid(&scaled.points);
    let (sxx, sxy, _) = moments(&scaled.points, mean);
    if points.iter().all(|p| p.x == points[0].x) || sxx <= 0.0 || !(sxy / sxx).is_finite() {
        return Err(FormError::OneStation);
    }
    let slope = sxy / sxx;
    let residuals = scaled
        .points
        .iter()
        .map(|p| (p.y - mean.y) - slope * (p.x - mean.x));
    let (lowest, highest) = extremes(residuals.clone());
    let sum: f64 = residuals.map(|e| e * e).sum();
    let freedom = points.len().saturating_sub(2);
    let at = scaled.place(mean);
    let back = |e: Extreme| Extreme {
        deviation: scaled.length(e.deviation),
        ..e
    };
    Ok(LeastSquaresLine {
        slope,
        intercept: at.y - slope * at.x,
        sum_of_squares: scaled.length(scaled.length(sum)),
        residual_sd: (freedom > 0).then(|| scaled.length((sum / freedom as f64).sqrt())),
        peak_to_valley: scaled.length(highest.deviation - lowest.deviation),
        highest: back(highest),
        lowest: back(lowest),
    })
}

/// The line of least squared perpendicular distances: the first principal axis of the points.
///
/// # Errors
/// - [`FormError::NotFinite`].
/// - [`FormError::TooFewPoints`] under two different points.
/// - [`FormError::IllConditioned`] where the points scatter alike in all directions.
/// # Source
/// K. Pearson, Phil. Mag. 2 (1901) 559-572.
pub fn orthogonal(points: &[Point]) -> Result<OrthogonalLine, FormError> {
    let scaled = Scaled::new(points, LINE, 2)?;
    let mean = centroid(&scaled.points);
    let (sxx, sxy, syy) = moments(&scaled.points, mean);
    let excess = (sxx - syy).hypot(2.0 * sxy);
    let condition = (sxx + syy) / excess;
    if excess <= LEAST_ANISOTROPY * (sxx + syy) {
        return Err(FormError::IllConditioned {
            form: LINE,
            reason: "they scatter alike in all directions",
            condition: if condition.is_nan() {
                f64::INFINITY
            } else {
                condition
            },
        });
    }
    let angle = half_turn(0.5 * (2.0 * sxy).atan2(sxx - syy));
    let (sin, cos) = angle.sin_cos();
    let residuals = scaled
        .points
        .iter()
        .map(|p| cos * (p.y - mean.y) - sin * (p.x - mean.x));
    let (lowest, highest) = extremes(residuals.clone());
    let sum: f64 = residuals.map(|e| e * e).sum();
    Ok(OrthogonalLine {
        angle,
        centroid: scaled.place(mean),
        rms: scaled.length((sum / points.len() as f64).sqrt()),
        peak_to_valley: scaled.length(highest.deviation - lowest.deviation),
    })
}

/// The minimum zone: the least distance of two parallel lines that hold all points.
///
/// # Method
/// The narrowest zone lies along an edge of the convex hull: each edge is paired with the vertex
/// farthest from it by turning two support lines once round the hull. Turns are told in twice
/// the working precision. O(n log n); O(n) where stations ascend.
/// # Input
/// Two or more different points, in any order. All directions compete: three points that stand
/// nearly above each other get an upright zone.
/// # Errors
/// [`FormError::NotFinite`]; [`FormError::TooFewPoints`] under two different points.
/// # Accuracy
/// 1e-15 of the size of the points.
/// # Source
/// Minimum zone: ISO 12780-1, from memory. That an edge of the hull lies in the narrowest strip:
/// M. E. Houle and G. T. Toussaint, IEEE Trans. PAMI 10 (1988) 761-765, from memory.
/// # Example
/// ```
/// use calibriar::form::{Point, straightness::minimum_zone};
///
/// let at = |x, y| Point { x, y };
/// // The end is lifted: a triangle, 9 mm^2 of doubled area on a base of 100 mm.
/// let zone = minimum_zone(&[at(0.0, 0.0), at(90.0, 0.0), at(100.0, 0.1)])?;
/// assert!((zone.width - 9.0 / 100.0_f64.hypot(0.1)).abs() < 1e-12);
/// assert_eq!(zone.apex.map(|apex| apex.index), Some(1));
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn minimum_zone(points: &[Point]) -> Result<MinimumZone, FormError> {
    let scaled = Scaled::new(points, LINE, 2)?;
    let strip = Strip::around(&scaled.points);
    let [(a, first), (b, second)] = strip.base;
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let foot = |t: f64| Point {
        x: a.x + t * dx,
        y: a.y + t * dy,
    };
    let (middle, apex) = match strip.apex {
        None => (foot(0.5), None),
        Some((v, index)) => {
            let share = ((v.x - a.x) * dx + (v.y - a.y) * dy) / (dx * dx + dy * dy);
            let share = share.clamp(0.0, 1.0);
            let foot = foot(share);
            let middle = Point {
                x: 0.5 * (foot.x + v.x),
                y: 0.5 * (foot.y + v.y),
            };
            (middle, Some(Apex { index, share }))
        }
    };
    Ok(MinimumZone {
        width: scaled.length(strip.width),
        angle: half_turn(dy.atan2(dx)),
        middle: scaled.place(middle),
        base: [first, second],
        apex,
    })
}

/// A point and its index.
pub(super) type Indexed = (Point, usize);

/// The narrowest strip that holds some points: along `base`, to `apex` on its left.
pub(super) struct Strip {
    pub(super) width: f64,
    pub(super) base: [Indexed; 2],
    pub(super) apex: Option<Indexed>,
}

impl Strip {
    /// Around two or more different points of the order of 1 (of one point: flat, both ends it).
    pub(super) fn around(points: &[Point]) -> Strip {
        let hull = convex_hull(points);
        match hull[..] {
            [] => Strip::flat((points[0], 0), (points[0], 0)),
            [a, b] => Strip::flat(a, b),
            _ => narrowest_strip(&hull),
        }
    }

    fn flat(a: Indexed, b: Indexed) -> Strip {
        Strip {
            width: 0.0,
            base: [a, b],
            apex: None,
        }
    }
}

/// Corners of the convex hull, counter-clockwise, no three of them in line; two of them where all
/// points lie on one line.
fn convex_hull(points: &[Point]) -> Vec<Indexed> {
    let mut order: Vec<Indexed> = points.iter().copied().zip(0..).collect();
    let key = |a: &Indexed, b: &Indexed| a.0.x.total_cmp(&b.0.x).then(a.0.y.total_cmp(&b.0.y));
    if !order.is_sorted_by(|a, b| key(a, b).is_le()) {
        order.sort_unstable_by(|a, b| key(a, b).then(a.1.cmp(&b.1)));
    }
    let mut hull = half_hull(order.iter());
    hull.pop();
    hull.extend(half_hull(order.iter().rev()));
    hull.pop();
    hull
}

/// From one end to the other, always turning left.
fn half_hull<'a>(order: impl Iterator<Item = &'a Indexed>) -> Vec<Indexed> {
    let mut chain: Vec<Indexed> = Vec::new();
    for &next in order {
        while let [.., a, b] = chain[..]
            && cross(a.0, b.0, a.0, next.0) <= 0.0
        {
            chain.pop();
        }
        if chain.last().is_none_or(|last| last.0 != next.0) {
            chain.push(next);
        }
    }
    chain
}

/// The narrowest strip along an edge of a hull of three or more corners.
fn narrowest_strip(hull: &[Indexed]) -> Strip {
    let corner = |i: usize| hull[i % hull.len()];
    let mut narrowest = Strip {
        width: f64::INFINITY,
        ..Strip::flat(corner(0), corner(1))
    };
    let mut far = 1;
    for i in 0..hull.len() {
        let (a, b) = (corner(i), corner(i + 1));
        far = far.max(i + 1);
        // Once round at most, whatever rounding says.
        while far < i + hull.len() && cross(a.0, b.0, corner(far).0, corner(far + 1).0) > 0.0 {
            far += 1;
        }
        let apex = corner(far);
        let area = exact_cross(a.0, b.0, a.0, apex.0);
        let width = area / (b.0.x - a.0.x).hypot(b.0.y - a.0.y);
        if width < narrowest.width {
            narrowest = Strip {
                width,
                base: [a, b],
                apex: Some(apex),
            };
        }
    }
    narrowest
}

/// `(b - a) x (d - c)`, its sign right even where the terms nearly cancel.
fn cross(a: Point, b: Point, c: Point, d: Point) -> f64 {
    let (left, right) = ((b.x - a.x) * (d.y - c.y), (b.y - a.y) * (d.x - c.x));
    let plain = left - right;
    // Four roundings of differences, two of products and one of their difference.
    if plain.abs() > 4.0 * f64::EPSILON * (left.abs() + right.abs()) {
        plain
    } else {
        exact_cross(a, b, c, d)
    }
}

/// The same in twice the working precision.
fn exact_cross(a: Point, b: Point, c: Point, d: Point) -> f64 {
    let ((ux, ux_rest), (uy, uy_rest)) = (difference(b.x, a.x), difference(b.y, a.y));
    let ((vx, vx_rest), (vy, vy_rest)) = (difference(d.x, c.x), difference(d.y, c.y));
    let ((left, left_rest), (right, right_rest)) = (product(ux, vy), product(uy, vx));
    let (main, rest) = difference(left, right);
    let tails = (ux * vy_rest + ux_rest * vy) - (uy * vx_rest + uy_rest * vx);
    main + (rest + (left_rest - right_rest) + tails)
}

/// Rounded difference and what the rounding took (Knuth).
fn difference(a: f64, b: f64) -> (f64, f64) {
    let d = a - b;
    let b_used = a - d;
    (d, (a - (d + b_used)) + (b_used - b))
}

/// Rounded product and what the rounding took.
fn product(a: f64, b: f64) -> (f64, f64) {
    let p = a * b;
    (p, a.mul_add(b, -p))
}

fn centroid(points: &[Point]) -> Point {
    let n = points.len() as f64;
    Point {
        x: points.iter().map(|p| p.x).sum::<f64>() / n,
        y: points.iter().map(|p| p.y).sum::<f64>() / n,
    }
}

/// Sums of squares and products about the mean: xx, xy, yy.
fn moments(points: &[Point], mean: Point) -> (f64, f64, f64) {
    points.iter().fold((0.0, 0.0, 0.0), |(xx, xy, yy), p| {
        let (dx, dy) = (p.x - mean.x, p.y - mean.y);
        (xx + dx * dx, xy + dx * dy, yy + dy * dy)
    })
}

/// Lowest and highest, the first of equals.
fn extremes(deviations: impl Iterator<Item = f64>) -> (Extreme, Extreme) {
    let none = |deviation| Extreme {
        index: 0,
        deviation,
    };
    let start = (none(f64::INFINITY), none(f64::NEG_INFINITY));
    deviations
        .enumerate()
        .fold(start, |(low, high), (index, deviation)| {
            let here = Extreme { index, deviation };
            (
                if deviation < low.deviation { here } else { low },
                if deviation > high.deviation {
                    here
                } else {
                    high
                },
            )
        })
}

/// The direction of a line, which has no head: over -pi/2 up to pi/2.
fn half_turn(angle: f64) -> f64 {
    use std::f64::consts::{FRAC_PI_2, PI};
    if angle > FRAC_PI_2 {
        angle - PI
    } else if angle <= -FRAC_PI_2 {
        angle + PI
    } else {
        angle
    }
}
