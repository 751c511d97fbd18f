//! Where a trace leaves the line that it should keep.

use super::checked::{in_order, positive};
use super::straightness::Strip;
use super::{FormError, Point};

/// Rounding of distances among points of the order of 1.
const ROUNDING: f64 = 1e-14;

/// The longest straight run of a trace, where the trace leaves it, and the bow of the whole.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Departures {
    /// The longest straight run.
    pub run: StraightRun,
    /// Where the trace leaves the run's zone, in order of station.
    pub zones: Vec<Departure>,
    /// How the whole trace bows.
    pub bow: Bow,
}

/// The longest stretch of consecutive points that lies within the tolerance.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct StraightRun {
    /// First station.
    pub start: f64,
    /// Last station.
    pub end: f64,
    /// How many points it has.
    pub points: usize,
    /// Width of its minimum zone, perpendicular.
    pub width: f64,
    /// Slope of its least squares line (of height on station).
    pub slope: f64,
    /// Height of that line at station 0.
    pub intercept: f64,
}

/// Whether a departure reaches an end of the trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DepartureKind {
    /// From the run to an end of the trace: the trace turns away.
    End,
    /// The trace leaves the line and comes back.
    Inside,
}

/// A stretch of the trace on one side of the run's zone.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Departure {
    /// Whether it reaches an end of the trace.
    pub kind: DepartureKind,
    /// Station where it leaves the zone (interpolated), or the first of the trace.
    pub start: f64,
    /// Station where it is back (interpolated), or the last of the trace.
    pub end: f64,
    /// Greatest distance from the middle of the zone, perpendicular; positive above it.
    pub peak: f64,
    /// Station of that point.
    pub peak_station: f64,
    /// Area between the trace and the middle of the zone from `start` to `end`, by trapezoids;
    /// signed as `peak` unless the trace folds back along a steep zone.
    pub area: f64,
}

/// The greatest distance of the trace from the chord through its ends.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Bow {
    /// Signed distance, perpendicular; positive above the chord.
    pub peak: f64,
    /// Station of that point.
    pub station: f64,
    /// Area between trace and chord over the whole trace; stretches below count negative.
    pub area: f64,
}

/// Finds the longest straight run of a trace and where the trace leaves it.
///
/// # Method
/// The run is the stretch of consecutive points, longest by its stations, whose minimum zone
/// (ISO 12780-1: the least distance of two parallel lines that hold all points) is at most
/// `tolerance` wide; the first of several as long. The middle line of its minimum zone is extended
/// over the whole trace; a departure is a maximal stretch of the trace, points joined by straight
/// lines, that is more than half the tolerance away on one side. So no point of the run can
/// depart.
///
/// The bow asks for no run, since a wall that bows over its whole length has only a short one. Its
/// chord joins the means of the first and of the last tenth of the points (at least one each).
/// # Input
/// Points in any order, at two different stations or more; `tolerance` in their unit. A surface
/// with grain wants a tolerance above the grain, or an envelope first.
/// # Errors
/// [`FormError::TooFewPoints`], [`FormError::NotFinite`], [`FormError::OneStation`];
/// [`FormError::NotPositive`] for the tolerance.
/// # Accuracy
/// Exact up to rounding. O(n) where the trace keeps within the tolerance all along or leaves it
/// once for good, once the points are in order; at worst n times the length of the run.
/// # Source
/// ISO 12780-1 for the zone, from memory; the rest is common practice.
/// # Example
/// ```
/// use calibriar::form::{Point, departures::{DepartureKind, departures}};
///
/// // Straight for 30 mm, then a chamfer of 45 degrees (invented).
/// let edge = |x: f64| Point { x, y: 20.0 - (x - 30.0).max(0.0) };
/// let points: Vec<Point> = (0..=32).map(|i| edge(f64::from(i))).collect();
/// let found = departures(&points, 0.2)?;
/// assert_eq!((found.run.start, found.run.end), (0.0, 30.0));
/// assert_eq!(found.zones[0].kind, DepartureKind::End);
/// assert!((found.zones[0].peak + 2.0).abs() < 1e-12);
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn departures(points: &[Point], tolerance: f64) -> Result<Departures, FormError> {
    let tolerance = positive("the tolerance", tolerance)?;
    let points = in_order(points)?;
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return Err(too_few(0));
    };
    if points.len() < 2 {
        return Err(too_few(points.len()));
    }
    if first.x == last.x {
        return Err(FormError::OneStation);
    }
    let scale = Scale::of(&points);
    let tolerance = tolerance / scale.length;
    let points: Vec<Point> = points.iter().map(|&p| scale.inwards(p)).collect();
    let (start, end) = longest_run(&points, tolerance);
    let run = &points[start..=end];
    let zone = zone(run);
    Ok(Departures {
        run: scale.run(run, zone.width),
        zones: zones(&points, &zone.middle, 0.5 * tolerance)
            .into_iter()
            .map(|zone| scale.departure(zone))
            .collect(),
        bow: scale.bow(bow(&points)?),
    })
}

fn too_few(found: usize) -> FormError {
    let (form, needed) = ("a straight run", 2);
    FormError::TooFewPoints {
        form,
        needed,
        found,
    }
}

/// Brings the points to the order of 1, the same factor both ways.
#[derive(Clone, Copy, Debug)]
struct Scale {
    origin: Point,
    length: f64,
}

impl Scale {
    fn of(points: &[Point]) -> Scale {
        let origin = points[0];
        let far = |most: f64, p: &Point| {
            let (dx, dy) = (p.x - origin.x, p.y - origin.y);
            most.max(dx.abs()).max(dy.abs())
        };
        let length = points.iter().fold(0.0, far);
        Scale { origin, length }
    }

    fn inwards(&self, p: Point) -> Point {
        Point {
            x: (p.x - self.origin.x) / self.length,
            y: (p.y - self.origin.y) / self.length,
        }
    }

    fn station(&self, x: f64) -> f64 {
        self.origin.x + self.length * x
    }

    fn run(&self, run: &[Point], width: f64) -> StraightRun {
        let mean = mean_point(run);
        let xx: f64 = run.iter().map(|p| (p.x - mean.x).powi(2)).sum();
        let xy: f64 = run.iter().map(|p| (p.x - mean.x) * (p.y - mean.y)).sum();
        let slope = if xx > 0.0 { xy / xx } else { 0.0 };
        let height = self.origin.y + self.length * (mean.y - slope * mean.x);
        StraightRun {
            start: self.station(run[0].x),
            end: self.station(run[run.len() - 1].x),
            points: run.len(),
            width: width * self.length,
            slope,
            intercept: height - slope * self.origin.x,
        }
    }

    fn departure(&self, zone: Departure) -> Departure {
        Departure {
            kind: zone.kind,
            start: self.station(zone.start),
            end: self.station(zone.end),
            peak: zone.peak * self.length,
            peak_station: self.station(zone.peak_station),
            area: zone.area * self.length * self.length,
        }
    }

    fn bow(&self, bow: Bow) -> Bow {
        Bow {
            peak: bow.peak * self.length,
            station: self.station(bow.station),
            area: bow.area * self.length * self.length,
        }
    }
}

fn mean_point(points: &[Point]) -> Point {
    let n = points.len() as f64;
    Point {
        x: points.iter().map(|p| p.x).sum::<f64>() / n,
        y: points.iter().map(|p| p.y).sum::<f64>() / n,
    }
}

/// A directed line: a point on it and a unit vector along it, towards growing stations.
#[derive(Clone, Copy, Debug)]
struct Axis {
    through: Point,
    along: Point,
}

impl Axis {
    fn new(through: Point, towards: Point) -> Axis {
        let (dx, dy) = (towards.x - through.x, towards.y - through.y);
        let length = dx.hypot(dy);
        let back = dx < 0.0 || (dx == 0.0 && dy < 0.0);
        let sign = if back { -1.0 } else { 1.0 };
        let along = Point {
            x: sign * dx / length,
            y: sign * dy / length,
        };
        Axis { through, along }
    }

    /// Distance along the line and from it (positive to the left of its direction: above).
    fn of(&self, p: Point) -> Point {
        let (dx, dy) = (p.x - self.through.x, p.y - self.through.y);
        Point {
            x: dx * self.along.x + dy * self.along.y,
            y: dy * self.along.x - dx * self.along.y,
        }
    }
}

/// A minimum zone: its width and its middle line.
#[derive(Clone, Copy, Debug)]
struct Zone {
    width: f64,
    middle: Axis,
}

/// The minimum zone of points in order of station.
fn zone(points: &[Point]) -> Zone {
    Zone::of(&Strip::around(points))
}

impl Zone {
    fn of(strip: &Strip) -> Zone {
        let [(a, _), (b, _)] = strip.base;
        let mut middle = Axis::new(a, if a == b { beside(a) } else { b });
        if let Some((apex, _)) = strip.apex {
            let away = middle.of(apex).y;
            middle.through.x -= 0.5 * away * middle.along.y;
            middle.through.y += 0.5 * away * middle.along.x;
        }
        Zone {
            width: strip.width,
            middle,
        }
    }
}

fn beside(p: Point) -> Point {
    Point {
        x: p.x + 1.0,
        y: p.y,
    }
}

/// Indices of the first and the last point of the longest straight run. The window only ever
/// grows: a start is of interest only if it reaches further than the best so far.
fn longest_run(points: &[Point], tolerance: f64) -> (usize, usize) {
    // Most traces are straight all along.
    if zone(points).width <= tolerance {
        return (0, points.len() - 1);
    }
    let mut known = Known::new(points, tolerance);
    let (mut best, mut end) = ((0, 0), 0);
    let length = |(start, end): (usize, usize)| points[end].x - points[start].x;
    for start in 0..points.len() {
        end = end.max(start);
        while end < points.len() {
            if length((start, end)) > length(best) {
                if !known.fits(start, end) {
                    break;
                }
                best = (start, end);
            }
            end += 1;
        }
        if end == points.len() {
            break;
        }
    }
    // Further points at the last station may still belong.
    let (start, mut last) = best;
    while last + 1 < points.len()
        && points[last + 1].x == points[last].x
        && zone(&points[start..=last + 1]).width <= tolerance
    {
        last += 1;
    }
    (start, last)
}

/// What earlier windows tell of a later one, whose start and end are never before theirs: most
/// need no zone of their own.
struct Known<'a> {
    points: &'a [Point],
    tolerance: f64,
    /// Middle line of a zone that held a window, and the index up to which it holds all points
    /// from that window's start on.
    held: Option<(Axis, usize)>,
    /// Base and apex of the last zone that was too wide, in order.
    wide: Option<[usize; 3]>,
}

impl<'a> Known<'a> {
    fn new(points: &'a [Point], tolerance: f64) -> Known<'a> {
        Known {
            points,
            tolerance,
            held: None,
            wide: None,
        }
    }

    /// Whether the zone of a window is within the tolerance.
    fn fits(&mut self, start: usize, end: usize) -> bool {
        if self.too_wide(start, end) {
            return false;
        }
        if self.still_holds(end) {
            return true;
        }
        let strip = Strip::around(&self.points[start..=end]);
        let fits = strip.width <= self.tolerance;
        if fits {
            self.held = Some((Zone::of(&strip).middle, end));
        } else if let Some((_, apex)) = strip.apex {
            let mut corners = [strip.base[0].1, strip.base[1].1, apex].map(|i| start + i);
            corners.sort_unstable();
            self.wide = Some(corners);
        }
        fits
    }

    /// A triangle within the window is too wide: that of the last zone that was, or that of its
    /// middle corner with the ends of this window.
    fn too_wide(&self, start: usize, end: usize) -> bool {
        let Some(corners) = self.wide else {
            return false;
        };
        let within = |i: usize| start <= i && i <= end;
        let wide = |corners: [usize; 3]| {
            corners.into_iter().all(within) && self.height(corners) > self.tolerance + ROUNDING
        };
        wide(corners) || wide([start, corners[1], end])
    }

    /// Least height of a triangle: the width of its zone.
    fn height(&self, corners: [usize; 3]) -> f64 {
        let [a, b, c] = corners.map(|i| self.points[i]);
        let (ux, uy, vx, vy) = (b.x - a.x, b.y - a.y, c.x - a.x, c.y - a.y);
        let squared = |x: f64, y: f64| x * x + y * y;
        let longest = squared(ux, uy).max(squared(vx, vy));
        let longest = longest.max(squared(vx - ux, vy - uy));
        (ux * vy - uy * vx).abs() / longest.sqrt()
    }

    /// The zone that held an earlier window holds this one's further points as well.
    fn still_holds(&mut self, end: usize) -> bool {
        let Some((middle, reach)) = &mut self.held else {
            return false;
        };
        let half = 0.5 * self.tolerance - ROUNDING;
        while *reach < end && middle.of(self.points[*reach + 1]).y.abs() <= half {
            *reach += 1;
        }
        *reach >= end
    }
}

/// The stretches of the trace beyond `limit` from the axis.
fn zones(points: &[Point], axis: &Axis, limit: f64) -> Vec<Departure> {
    // Coordinates are of the order of 1: so much more is rounding.
    let beyond = |d: f64| {
        if d.abs() > limit + ROUNDING {
            d.signum()
        } else {
            0.0
        }
    };
    let away: Vec<Point> = points.iter().map(|&p| axis.of(p)).collect();
    let mut zones = Vec::new();
    let mut start = 0;
    while start < points.len() {
        let side = beyond(away[start].y);
        let same = |d: &Point| beyond(d.y) == side;
        let count = away[start..].iter().take_while(|d| same(d)).count();
        if side != 0.0 {
            let stretch = start..start + count;
            zones.push(departure(points, &away, stretch, side * limit));
        }
        start += count;
    }
    zones
}

/// One stretch, with the crossings of `level` to either side.
fn departure(
    points: &[Point],
    away: &[Point],
    stretch: std::ops::Range<usize>,
    level: f64,
) -> Departure {
    // Station and place along and from the axis where the trace from i to j crosses the level.
    let crossing = |i: usize, j: usize| {
        let share = ((level - away[i].y) / (away[j].y - away[i].y)).clamp(0.0, 1.0);
        let between = |a: f64, b: f64| a + share * (b - a);
        let place = Point {
            x: between(away[i].x, away[j].x),
            y: level,
        };
        (between(points[i].x, points[j].x), place)
    };
    let (first, last) = (stretch.start, stretch.end - 1);
    let before = (first > 0).then(|| crossing(first - 1, first));
    let after = (last + 1 < points.len()).then(|| crossing(last, last + 1));
    let mut path: Vec<Point> = before.iter().map(|(_, place)| *place).collect();
    path.extend_from_slice(&away[stretch.clone()]);
    path.extend(after.iter().map(|(_, place)| *place));
    let mut peak = first;
    for i in stretch {
        if away[i].y.abs() > away[peak].y.abs() {
            peak = i;
        }
    }
    Departure {
        kind: if before.is_some() && after.is_some() {
            DepartureKind::Inside
        } else {
            DepartureKind::End
        },
        start: before.map_or(points[first].x, |(station, _)| station),
        end: after.map_or(points[last].x, |(station, _)| station),
        peak: away[peak].y,
        peak_station: points[peak].x,
        area: area(&path),
    }
}

/// Signed area under a path, by trapezoids.
fn area(path: &[Point]) -> f64 {
    let trapezoid = |pair: &[Point]| (pair[1].x - pair[0].x) * f64::midpoint(pair[0].y, pair[1].y);
    path.windows(2).map(trapezoid).sum()
}

fn bow(points: &[Point]) -> Result<Bow, FormError> {
    let count = (points.len() / 10).max(1);
    let (from, to) = (
        mean_point(&points[..count]),
        mean_point(&points[points.len() - count..]),
    );
    if from.x >= to.x {
        return Err(FormError::OneStation);
    }
    let chord = Axis::new(from, to);
    let away: Vec<Point> = points.iter().map(|&p| chord.of(p)).collect();
    let mut peak = 0;
    for (i, d) in away.iter().enumerate() {
        if d.y.abs() > away[peak].y.abs() {
            peak = i;
        }
    }
    Ok(Bow {
        peak: away[peak].y,
        station: points[peak].x,
        area: area(&away),
    })
}
