//! Stock removal: the material between an outline and the straight line that takes least of it.
//!
//! Material only comes off, so the line must not pass above the outline anywhere. Of all such lines the
//! one that takes the least area is highest at the middle of the outline; it lies on the edge of the
//! outline's lower hull that spans the middle. Walls of one cone share a slope.

use super::checked::{in_order, usable};
use super::{FormError, Point};

const STOCK: &str = "a line below an outline";

/// Slopes that a line may have: rise per unit of station.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slopes {
    /// Least; minus infinity for none.
    pub from: f64,
    /// Greatest; infinity for none.
    pub to: f64,
}

impl Slopes {
    /// Any slope.
    pub const ANY: Slopes = Slopes {
        from: f64::NEG_INFINITY,
        to: f64::INFINITY,
    };
}

/// An outline and the line to which it is taken down.
#[derive(Clone, Debug, PartialEq)]
pub struct Stock {
    /// The outline, by station; of readings of one station the lowest.
    pub outline: Vec<Point>,
    /// Height of the line at station 0.
    pub intercept: f64,
    /// Rise of the line per unit of station.
    pub slope: f64,
    /// Area between outline and line, exact for straight stretches between the points.
    pub area: f64,
}

impl Stock {
    /// Height of the line at a station.
    pub fn target(&self, station: f64) -> f64 {
        self.intercept + self.slope * station
    }

    /// What comes off at a point of the outline; never negative.
    pub fn take_off(&self, point: Point) -> f64 {
        // Where the line touches, rounding may leave it a hair above.
        (point.y - self.target(point.x)).max(0.0)
    }

    /// The point where most comes off; of several alike, the first.
    pub fn deepest(&self) -> (f64, f64) {
        let start = (f64::NAN, f64::NEG_INFINITY);
        self.outline.iter().fold(start, |deepest, &point| {
            let depth = self.take_off(point);
            if depth > deepest.1 {
                (point.x, depth)
            } else {
                deepest
            }
        })
    }

    /// Volume that comes off where the outline is a share of a solid of revolution and heights are
    /// distances from its axis: `share pi` times the integral of the difference of squares.
    ///
    /// Exact for straight stretches between the points (a cone's frustum, a cylinder's shell).
    pub fn volume_of_revolution(&self, share: f64) -> f64 {
        let squares = |a: f64, b: f64| (a * a + a * b + b * b) / 3.0;
        share
            * std::f64::consts::PI
            * self.stretches(|a, b| squares(a.y, b.y) - squares(self.target(a.x), self.target(b.x)))
    }

    /// Volume that comes off where the piece is so wide across the outline: a width at the first and at
    /// the last station, straight between.
    pub fn volume_of_width(&self, first: f64, last: f64) -> f64 {
        let (from, to) = (self.outline[0].x, self.outline[self.outline.len() - 1].x);
        let width = |x: f64| first + (last - first) * (x - from) / (to - from);
        // The product of two straight stretches, by Simpson's rule, is exact.
        self.stretches(|a, b| {
            let (p, q) = (self.take_off(a), self.take_off(b));
            let (v, w) = (width(a.x), width(b.x));
            (p * v + (p + q) * (v + w) + q * w) / 6.0
        })
    }

    /// The sum over all stretches between two points of a mean over the stretch, times its length.
    fn stretches(&self, mean: impl Fn(Point, Point) -> f64) -> f64 {
        let pairs = self.outline.windows(2);
        pairs
            .map(|pair| (pair[1].x - pair[0].x) * mean(pair[0], pair[1]))
            .sum::<f64>()
            .max(0.0)
    }
}

/// The straight line that takes the least area off an outline.
///
/// # Method
/// With slope b the highest line that stays below is `min(y - b x) + b x`; the area under it is its
/// height at the middle station times the length, concave in b, with corners at the slopes of the
/// outline's lower hull. Where a stretch of slopes is as good, its middle is taken.
/// # Input
/// Points in any order, heights away from the material; `slopes` keeps the line's slope.
/// # Errors
/// [`FormError::NotFinite`]; [`FormError::OneStation`] under two stations; [`FormError::NotPositive`] for
/// slopes from above to below.
/// # Accuracy
/// Areas against the simplex method of HiGHS on random outlines and cones, relative to the size of the
/// outline: 1e-9 (`tests/reference/stock.rs`).
/// # Source
/// Derived here; the supporting line of a convex hull is textbook geometry (Preparata and Shamos,
/// Computational Geometry, 1985, from memory).
/// # Example
/// ```
/// use calibriar::form::{Point, stock::{Slopes, least_stock}};
///
/// let heights = [5.0, 4.6, 4.5, 3.4, 3.0]; // mm, every 10 mm: a bulge in the middle
/// let points = heights.iter().zip(0..).map(|(&y, i)| Point { x: 10.0 * f64::from(i), y });
/// let stock = least_stock(&points.collect::<Vec<_>>(), Slopes::ANY)?;
/// assert!((stock.target(30.0) - 3.4).abs() < 1e-12);
/// let (station, depth) = stock.deepest();
/// assert!(station == 20.0 && (depth - (4.5 - (5.0 + 2.0 * 3.4) / 3.0)).abs() < 1e-12);
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn least_stock(points: &[Point], slopes: Slopes) -> Result<Stock, FormError> {
    let mut all = least_stock_of_cone(&[points.to_vec()], slopes)?;
    Ok(all.remove(0))
}

/// The straight lines of one slope that take the least area off several outlines together: the walls of
/// one cone, each read from the cone's axis or from a line beside it.
///
/// # Output
/// One line for each outline, in their order; none for none.
/// # Errors
/// As [`least_stock`].
pub fn least_stock_of_cone(walls: &[Vec<Point>], slopes: Slopes) -> Result<Vec<Stock>, FormError> {
    let ordered = slopes.from <= slopes.to;
    if !ordered || slopes.from == f64::INFINITY || slopes.to == f64::NEG_INFINITY {
        return Err(FormError::NotPositive {
            what: "the stretch of slopes",
            value: slopes.to - slopes.from,
        });
    }
    let outlines: Vec<Vec<Point>> = walls
        .iter()
        .map(|wall| outline(wall))
        .collect::<Result<_, _>>()?;
    let slope = best_slope(&outlines, slopes);
    let stock = |outline: Vec<Point>| {
        usable(slope)?;
        let heights = outline.iter().map(|p| p.y - slope * p.x);
        let intercept = usable(heights.fold(f64::INFINITY, f64::min))?;
        let mut stock = Stock {
            outline,
            intercept,
            slope,
            area: 0.0,
        };
        stock.area = stock.stretches(|a, b| 0.5 * (stock.take_off(a) + stock.take_off(b)));
        Ok(stock)
    };
    outlines.into_iter().map(stock).collect()
}

/// The points in order, one a station.
fn outline(points: &[Point]) -> Result<Vec<Point>, FormError> {
    if points.is_empty() {
        return Err(FormError::TooFewPoints {
            form: STOCK,
            needed: 2,
            found: 0,
        });
    }
    let ordered = in_order(points)?;
    // The lowest: a line must not pass above any reading.
    let one = |of: &[Point]| Point {
        x: of[0].x,
        y: of.iter().map(|p| p.y).fold(f64::INFINITY, f64::min),
    };
    let outline: Vec<Point> = ordered.chunk_by(|a, b| a.x == b.x).map(one).collect();
    if outline.len() < 2 {
        return Err(FormError::OneStation);
    }
    Ok(outline)
}

/// The slope at which the lines below all outlines leave the least area.
fn best_slope(outlines: &[Vec<Point>], slopes: Slopes) -> f64 {
    // With growing slope the point that a line touches moves along the hull, from the first point to the
    // last, one edge at a time. Each outline gains area by its length times the distance from the touched
    // station to the middle.
    let mut gain = 0.0;
    let mut edges: Vec<(f64, f64)> = Vec::new();
    for outline in outlines {
        let hull = lower_hull(outline);
        let length = hull[hull.len() - 1].x - hull[0].x;
        gain += length * 0.5 * length;
        for pair in hull.windows(2) {
            let run = pair[1].x - pair[0].x;
            edges.push(((pair[1].y - pair[0].y) / run, length * run));
        }
    }
    edges.sort_by(|a, b| a.0.total_cmp(&b.0));
    let least: f64 = 1e-12 * gain;
    let mut level = None;
    for (slope, loss) in edges {
        if let Some(from) = level {
            return f64::midpoint(from, slope).clamp(slopes.from, slopes.to);
        }
        gain -= loss;
        if gain < -least {
            return slope.clamp(slopes.from, slopes.to);
        }
        if gain <= least {
            level = Some(slope);
        }
    }
    // No outlines at all, or nothing beyond the last corner: any line is as good.
    level.unwrap_or(0.0).clamp(slopes.from, slopes.to)
}

/// The lower hull, by Andrew's monotone chain; the points are in order of distinct stations.
fn lower_hull(outline: &[Point]) -> Vec<Point> {
    let mut hull: Vec<Point> = Vec::with_capacity(outline.len());
    for &point in outline {
        while let [.., a, b] = hull[..] {
            let turn = (b.x - a.x) * (point.y - a.y) - (b.y - a.y) * (point.x - a.x);
            if turn > 0.0 {
                break;
            }
            hull.pop();
        }
        hull.push(point);
    }
    hull
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(of: &[(f64, f64)]) -> Vec<Point> {
        of.iter().map(|&(x, y)| Point { x, y }).collect()
    }

    #[test]
    fn closed_forms() {
        // A bulge of 1 on a cone from radius 10 to 20 over 30: outline a triangle on the line.
        let bulged = points(&[(0.0, 10.0), (15.0, 16.0), (30.0, 20.0)]);
        let stock = least_stock(&bulged, Slopes::ANY).unwrap();
        assert!((stock.slope - 1.0 / 3.0).abs() < 1e-15 && (stock.intercept - 10.0).abs() < 1e-14);
        assert!((stock.area - 15.0).abs() < 1e-13);
        assert_eq!(stock.deepest().0, 15.0);
        // Two frustums less one: pi h / 3 (a^2 + a b + b^2).
        let frustum =
            |h: f64, a: f64, b: f64| std::f64::consts::PI * h / 3.0 * (a * a + a * b + b * b);
        let expected =
            frustum(15.0, 10.0, 16.0) + frustum(15.0, 16.0, 20.0) - frustum(30.0, 10.0, 20.0);
        assert!((stock.volume_of_revolution(1.0) / expected - 1.0).abs() < 1e-13);
        assert!((stock.volume_of_revolution(0.25) / expected - 0.25).abs() < 1e-13);
        // A cylinder's shell: from 10 to 9 over 30, the line held level by one low point at the end.
        let shell = points(&[(0.0, 10.0), (29.9, 10.0), (30.0, 9.0)]);
        let level = Slopes { from: 0.0, to: 0.0 };
        let stock = least_stock(&shell, level).unwrap();
        let expected = std::f64::consts::PI * 19.0 * 29.9 + frustum(0.1, 10.0, 9.0)
            - std::f64::consts::PI * 81.0 * 0.1;
        assert!((stock.volume_of_revolution(1.0) / expected - 1.0).abs() < 1e-12);
        // So wide across: the triangle's area times a constant width; a ramp's by its mean at the middle.
        let bulged = least_stock(&bulged, Slopes::ANY).unwrap();
        assert!((bulged.volume_of_width(4.0, 4.0) - 60.0).abs() < 1e-12);
        assert!((bulged.volume_of_width(2.0, 6.0) - 60.0).abs() < 1e-12);
    }

    #[test]
    fn as_good_slopes_give_the_middle_one() {
        // A dent right in the middle: every line through it is as good.
        let dent = points(&[(0.0, 1.0), (10.0, 0.0), (20.0, 1.0)]);
        assert_eq!(least_stock(&dent, Slopes::ANY).unwrap().slope, 0.0);
        let rising = Slopes {
            from: 0.02,
            to: 0.3,
        };
        assert_eq!(least_stock(&dent, rising).unwrap().slope, 0.02);
    }

    #[test]
    fn walls_share_a_slope() {
        let straight = points(&[(0.0, 10.0), (30.0, 13.0)]);
        let bulged = points(&[(0.0, 10.2), (12.0, 12.2), (30.0, 13.2)]);
        let both = least_stock_of_cone(&[straight, bulged], Slopes::ANY).unwrap();
        assert!(both.iter().all(|s| (s.slope - 0.1).abs() < 1e-14));
        assert!(both[0].area < 1e-13 && (both[1].deepest().1 - 0.8).abs() < 1e-13);
        assert_eq!(least_stock_of_cone(&[], Slopes::ANY), Ok(vec![]));
    }

    #[test]
    fn edges() {
        assert!(matches!(
            least_stock(&[], Slopes::ANY),
            Err(FormError::TooFewPoints { .. })
        ));
        let one = points(&[(1.0, 2.0), (1.0, 3.0)]);
        assert_eq!(least_stock(&one, Slopes::ANY), Err(FormError::OneStation));
        for bad in [f64::NAN, f64::INFINITY, 1e300] {
            let of = points(&[(0.0, 1.0), (1.0, bad)]);
            assert_eq!(least_stock(&of, Slopes::ANY), Err(FormError::NotFinite));
        }
        let fine = points(&[(0.0, 1.0), (1.0, 2.0)]);
        for (from, to) in [(1.0, 0.0), (f64::NAN, 1.0), (0.0, f64::NAN)] {
            assert!(least_stock(&fine, Slopes { from, to }).is_err());
        }
        // Nearly one station: a slope beyond all numbers is told, not printed.
        let steep = points(&[(0.0, 1e99), (1e-300, -1e99)]);
        assert_eq!(least_stock(&steep, Slopes::ANY), Err(FormError::NotFinite));
    }

    #[test]
    fn readings_of_one_station_count_once() {
        let twice = points(&[(0.0, 1.0), (5.0, 3.0), (5.0, 4.0), (10.0, 1.0)]);
        let once = points(&[(10.0, 1.0), (5.0, 3.0), (0.0, 1.0)]);
        assert_eq!(
            least_stock(&twice, Slopes::ANY),
            least_stock(&once, Slopes::ANY)
        );
    }
}
