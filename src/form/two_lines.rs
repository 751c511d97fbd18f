//! Where a line breaks into two.
//!
//! The model is the continuous broken line `y = a + b1 x + (b2 - b1) (x - c)+`. The break c is
//! found exactly: between two neighbouring stations the sum of squares against c is known in
//! closed form, so every station and every gap is tried.

use super::checked::in_order;
use super::{FormError, Point};
use crate::stats::{f_upper_quantile, t_sf, t_upper_quantile};

/// Stations closer than this share of the range count as one: their difference is rounding.
const SAME_STATION: f64 = 1e-12;
/// Ends of stretches closer than this share of the range are one end, computed twice.
const SAME_BREAK: f64 = 1e-9;

/// Where the best break was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BreakPlace {
    /// At a station that was read.
    AtDatum,
    /// Between two stations.
    Between,
}

/// A continuous broken line, its break, and how firm it is.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct TwoLines {
    /// Number of points.
    pub n: usize,
    /// Station of the break.
    pub at: f64,
    /// Where that is.
    pub place: BreakPlace,
    /// Height at station 0 of the line before the break.
    pub intercept: f64,
    /// Slope before the break.
    pub slope_before: f64,
    /// Slope after it.
    pub slope_after: f64,
    /// Residual sum of squares.
    pub rss: f64,
    /// That of one straight line.
    pub rss_one_line: f64,
    /// Residual standard deviation, n - 4 degrees of freedom.
    pub residual_sd: f64,
    /// Standard error of the break by the delta method; `None` where the slopes are equal. For a
    /// break at a station, the larger of those with that station counted before and after it.
    pub standard_error: Option<f64>,
    /// `at` with [`standard_error`](Self::standard_error), by t with n - 4 degrees of freedom:
    /// half the width of the interval at the confidence asked for. Good only where the break is
    /// sharp; else see `region`.
    pub delta_half_width: Option<f64>,
    /// The breaks that the points allow at the confidence asked for.
    pub region: BreakRegion,
    /// Whether there is a break at all.
    pub kink: KinkTest,
}

/// All breaks whose sum of squares is at most `rss (1 + F(1, n - 4) / (n - 4))`.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct BreakRegion {
    /// Lowest station.
    pub low: f64,
    /// Highest station.
    pub high: f64,
    /// Separate stretches, in order.
    pub pieces: Vec<(f64, f64)>,
    /// It reaches the second station, before which no break was sought.
    pub open_low: bool,
    /// It reaches the last station but one.
    pub open_high: bool,
}

/// Test of one straight line against a break anywhere.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct KinkTest {
    /// Greatest absolute t of the kink over all breaks; infinite without any residual.
    pub t: f64,
    /// Its degrees of freedom, n - 3.
    pub df: f64,
    /// Length of the path, in radians, that the kink's direction takes while the break moves over
    /// its range: how many independent places there are to look, times about pi.
    pub path: f64,
    /// Upper bound of the probability of such a t on a straight line with normal errors of equal
    /// spread.
    pub p: f64,
}

/// Fits a continuous broken line with one break.
///
/// # Method
/// For a break c in the gap between neighbouring stations, two free lines are fitted to the
/// points before and after. The sum of squares is theirs plus `d(c)^2 / v(c)`: d the distance of
/// the two lines at c, v the variance of that distance for errors of variance 1. So the best
/// break of a gap is where the lines meet, if they meet there, else an end of the gap; and the
/// breaks under a limit solve a quadratic inequality. Running sums make this O(n) after sorting.
///
/// The F(2, n - 4) tail is not valid for a break that was searched. Here the greatest
/// |t| over all breaks is referred to
/// `p = 2 [P(t_v > t) + path / (2 pi) (1 + t^2 / v)^(-(v - 1) / 2)]`, v = n - 3:
/// the residuals of a straight line point in a random direction of a sphere, and p bounds the
/// volume of the tube about the path of the kink's direction. Within a gap that path is an arc of
/// a great circle, so its length is a sum of angles without approximation.
/// # Input
/// At least five different stations, in any order; several points may share one. The break is
/// sought from the second station to the last but one. `confidence` is that of the region.
/// # Errors
/// [`FormError::TooFewPoints`], [`FormError::NotFinite`] (also where a slope would be beyond the
/// range of a 64-bit number), [`FormError::NotAConfidence`].
/// # Accuracy
/// p holds for every n, spacing and t (it is an upper bound, exact in the limit of small p but
/// for the corners of the path). Of 4,000 simulated straight lines each, 7 to 100 points, equal and
/// unequal spacing, 0.044 to 0.051 had p <= 0.05.
/// # Source
/// D. J. Hudson, J. Am. Stat. Assoc. 61 (1966) 1097-1129 (the exact search); H. Hotelling, Am. J.
/// Math. 61 (1939) 440-460 (the tube); D. Q. Naiman, Ann. Stat. 14 (1986) 896-906 (that it
/// bounds); M. Knowles and D. Siegmund, Int. Stat. Rev. 57 (1989) 205-220 (for broken lines);
/// R. B. Davies, Biometrika 74 (1987) 33-43 (the same for many points). All from memory.
/// # Example
/// ```
/// use calibriar::form::{Point, two_lines::two_lines};
///
/// // A wall that is straight for 20 mm, then flares (invented).
/// let wall = |x: f64| Point { x, y: 18.0 + 0.02 * x + 0.2 * (x - 20.0).max(0.0) };
/// let points: Vec<Point> = (0..=20).map(|i| wall(2.0 * f64::from(i))).collect();
/// let fit = two_lines(&points, 0.95)?;
/// assert!((fit.at - 20.0).abs() < 1e-9);
/// assert!((fit.slope_after - 0.22).abs() < 1e-9);
/// assert!(fit.kink.p < 1e-6);
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn two_lines(points: &[Point], confidence: f64) -> Result<TwoLines, FormError> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return Err(FormError::NotAConfidence { value: confidence });
    }
    let profile = Profile::new(points)?;
    let best = profile.best();
    let n = points.len() as f64;
    let rss_one_line = profile.rss(profile.all.yy);
    let (before, after) = best.gap.lines_meeting_at(best.at);
    let rss = profile.rss(profile.residual_squares(best.at, before, after));
    let variance = rss / (n - 4.0);
    let kink = after.slope - before.slope;
    let standard_error = (variance.sqrt() * best.variance.sqrt() / kink.abs()).abs();
    let standard_error = Some(standard_error).filter(|se| se.is_finite() && rss_one_line > 0.0);
    // F(1, v) is the square of a two-sided t, which keeps its digits.
    let t = t_upper_quantile(0.5 * (1.0 - confidence), n - 4.0);
    let limit = rss + variance * f_upper_quantile(1.0 - confidence, 1.0, n - 4.0);
    let scale = profile.scale;
    let fit = TwoLines {
        n: points.len(),
        at: scale.station(best.at),
        place: best.place,
        intercept: scale.intercept(before),
        slope_before: scale.slope(before.slope),
        slope_after: scale.slope(after.slope),
        rss: rss * scale.height * scale.height,
        rss_one_line: rss_one_line * scale.height * scale.height,
        residual_sd: variance.sqrt() * scale.height,
        standard_error: standard_error.map(|se| se * scale.length),
        delta_half_width: standard_error.map(|se| se * t * scale.length),
        region: profile.region(
            best.at,
            if rss_one_line > 0.0 {
                limit
            } else {
                f64::INFINITY
            },
        ),
        kink: KinkTest::new(rss, rss_one_line, n - 3.0, profile.path()),
    };
    let finite = [fit.intercept, fit.slope_before, fit.slope_after];
    if finite.iter().all(|value| value.is_finite()) {
        Ok(fit)
    } else {
        Err(FormError::NotFinite)
    }
}

impl KinkTest {
    fn new(rss: f64, rss_one_line: f64, df: f64, path: f64) -> KinkTest {
        let explained = (rss_one_line - rss).max(0.0);
        let t = if explained > 0.0 {
            (explained / rss * df).sqrt()
        } else {
            0.0
        };
        // (1 + t^2 / v)^-1 is what the kink leaves of the squares.
        let left = if rss_one_line > 0.0 {
            rss / rss_one_line
        } else {
            1.0
        };
        let tube = path / std::f64::consts::TAU * left.powf(0.5 * (df - 1.0));
        KinkTest {
            t,
            df,
            path,
            p: (2.0 * (t_sf(t, df) + tube)).min(1.0),
        }
    }
}

/// How stations and heights were brought to the order of 1 before reckoning.
#[derive(Clone, Copy, Debug)]
struct Scale {
    middle: f64,
    length: f64,
    level: f64,
    height: f64,
    /// The straight line taken off, in scaled units: sums of squares of small residuals keep
    /// their digits.
    line: Line,
}

impl Scale {
    fn station(&self, x: f64) -> f64 {
        self.middle + self.length * x
    }

    fn slope(&self, slope: f64) -> f64 {
        (slope + self.line.slope) * self.height / self.length
    }

    fn intercept(&self, line: Line) -> f64 {
        let height = line.height + self.line.height;
        self.level + self.height * height - self.slope(line.slope) * self.middle
    }
}

/// A line by its height at (scaled) station 0 and its slope.
#[derive(Clone, Copy, Debug)]
struct Line {
    height: f64,
    slope: f64,
}

/// Count, means and centred sums of products of some points.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    n: f64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
}

impl Sums {
    fn with(self, point: Point) -> Sums {
        let n = self.n + 1.0;
        let (dx, dy) = (point.x - self.x, point.y - self.y);
        let share = self.n / n;
        Sums {
            n,
            x: self.x + dx / n,
            y: self.y + dy / n,
            xx: self.xx + share * dx * dx,
            xy: self.xy + share * dx * dy,
            yy: self.yy + share * dy * dy,
        }
    }

    fn slope(&self) -> f64 {
        self.xy / self.xx
    }

    fn rss(&self) -> f64 {
        (self.yy - self.xy * self.slope()).max(0.0)
    }

    fn height_at(&self, x: f64) -> f64 {
        self.y + self.slope() * (x - self.x)
    }

    /// Covariance of the line's heights at two stations, for errors of variance 1.
    fn covariance(&self, a: f64, b: f64) -> f64 {
        1.0 / self.n + (a - self.x) * (b - self.x) / self.xx
    }

    /// The line after its height at `at` was forced down by `force` units of covariance.
    fn pulled(&self, at: f64, force: f64) -> Line {
        let slope = self.slope() - force * (at - self.x) / self.xx;
        let mean = self.y - force / self.n;
        Line {
            height: mean - slope * self.x,
            slope,
        }
    }
}

/// Two neighbouring stations and the points up to the one and from the other on.
#[derive(Clone, Copy, Debug)]
struct Gap {
    low: f64,
    high: f64,
    before: Sums,
    after: Sums,
}

impl Gap {
    fn apart(&self, at: f64) -> f64 {
        self.before.height_at(at) - self.after.height_at(at)
    }

    fn covariance(&self, a: f64, b: f64) -> f64 {
        self.before.covariance(a, b) + self.after.covariance(a, b)
    }

    fn free_rss(&self) -> f64 {
        self.before.rss() + self.after.rss()
    }

    fn rss(&self, at: f64) -> f64 {
        self.free_rss() + self.apart(at).powi(2) / self.covariance(at, at)
    }

    /// Where the two free lines meet, if that is within the gap.
    fn meeting(&self) -> Option<f64> {
        let at = self.low - self.apart(self.low) / (self.before.slope() - self.after.slope());
        let near = |end: f64| (at - end).abs() <= SAME_BREAK * (self.high - self.low);
        let inside = self.low < at && at < self.high && !near(self.low) && !near(self.high);
        inside.then_some(at)
    }

    fn lines_meeting_at(&self, at: f64) -> (Line, Line) {
        let force = self.apart(at) / self.covariance(at, at);
        (self.before.pulled(at, force), self.after.pulled(at, -force))
    }

    /// Cosine and sine, to one factor, of the angle between the directions of the kinks at both
    /// ends of the gap, once a straight line has been taken out of them. Their inner product for
    /// breaks a and b is `weight * covariance(a, b)`.
    fn angle(&self, all: &Sums) -> (f64, f64) {
        let (l, r) = (&self.before, &self.after);
        let weight = l.n * r.n / all.n * l.xx * r.xx / all.xx;
        let across = self.high - self.low;
        (weight.sqrt() * self.covariance(self.low, self.high), across)
    }

    /// The stretches of the gap in which the sum of squares is at most `limit`.
    fn under(&self, limit: f64) -> Vec<(f64, f64)> {
        if limit == f64::INFINITY {
            return vec![(self.low, self.high)];
        }
        let spare = limit - self.free_rss();
        let width = self.high - self.low;
        // apart^2 - spare * variance = a s^2 + 2 b s + c, s = station - low.
        let (d, slope) = (
            self.apart(self.low),
            self.before.slope() - self.after.slope(),
        );
        let (l, r) = (&self.before, &self.after);
        let bend = 1.0 / l.xx + 1.0 / r.xx;
        let tilt = (self.low - l.x) / l.xx + (self.low - r.x) / r.xx;
        let a = slope * slope - spare * bend;
        let b = d * slope - spare * tilt;
        let c = d * d - spare * self.covariance(self.low, self.low);
        let roots = quadratic_roots(a, b, c);
        let mut ends: Vec<f64> = roots
            .into_iter()
            .filter(|s| *s > 0.0 && *s < width)
            .collect();
        ends.push(width);
        ends.sort_by(f64::total_cmp);
        let mut start = 0.0;
        let mut stretches = Vec::new();
        for end in ends {
            let middle = f64::midpoint(start, end);
            if (a * middle + 2.0 * b) * middle + c <= 0.0 {
                stretches.push((self.low + start, self.low + end));
            }
            start = end;
        }
        stretches
    }
}

/// The real roots of `a s^2 + 2 b s + c`, without cancellation.
fn quadratic_roots(a: f64, b: f64, c: f64) -> Vec<f64> {
    let discriminant = b * b - a * c;
    if discriminant < 0.0 {
        return Vec::new();
    }
    let q = -(b + discriminant.sqrt().copysign(b));
    [q / a, c / q]
        .into_iter()
        .filter(|s| s.is_finite())
        .collect()
}

/// The best break.
#[derive(Clone, Copy, Debug)]
struct Best {
    gap: Gap,
    at: f64,
    place: BreakPlace,
    rss: f64,
    /// Variance of the distance of two free lines there, for errors of variance 1.
    variance: f64,
}

/// The sum of squares against the break, gap by gap.
#[derive(Clone, Debug)]
struct Profile {
    scale: Scale,
    points: Vec<Point>,
    all: Sums,
    gaps: Vec<Gap>,
    /// A sum of squares up to this is the rounding of the points.
    rounding: f64,
}

impl Profile {
    fn new(points: &[Point]) -> Result<Profile, FormError> {
        let mut points = in_order(points)?;
        let largest = points.iter().fold(0.0_f64, |most, p| most.max(p.y.abs()));
        let (mut scale, stations) = bring_to_one(&mut points)?;
        let mut all = sums(&points);
        for _ in 0..2 {
            // Twice: the second takes off what rounding left of the first.
            let line = Line {
                height: all.height_at(0.0),
                slope: all.slope(),
            };
            for point in &mut points {
                point.y -= line.height + line.slope * point.x;
            }
            scale.line.height += line.height;
            scale.line.slope += line.slope;
            all = sums(&points);
        }
        let step = 4.0 * f64::EPSILON * (largest / scale.height).max(1.0);
        Ok(Profile {
            scale,
            all,
            gaps: gaps(&points, &stations),
            rounding: all.n * step * step,
            points,
        })
    }

    /// Point by point: running sums have lost the digits of a small remainder.
    fn residual_squares(&self, at: f64, before: Line, after: Line) -> f64 {
        let off = |p: &Point| {
            let line = if p.x <= at { before } else { after };
            p.y - line.height - line.slope * p.x
        };
        self.points.iter().map(|p| off(p).powi(2)).sum()
    }

    /// A sum of squares, with rounding taken for what it is.
    fn rss(&self, rss: f64) -> f64 {
        if rss > self.rounding { rss } else { 0.0 }
    }

    fn best(&self) -> Best {
        let candidates = self.gaps.iter().flat_map(|gap| {
            let datum = |at| (gap, at, BreakPlace::AtDatum);
            let between = gap.meeting().map(|at| (gap, at, BreakPlace::Between));
            [Some(datum(gap.low)), between, Some(datum(gap.high))]
        });
        // `gaps` gives at least one, so that the start never stays.
        let mut best = Best {
            gap: self.gaps[0],
            at: self.gaps[0].low,
            place: BreakPlace::AtDatum,
            rss: f64::INFINITY,
            variance: 0.0,
        };
        for (gap, at, place) in candidates.flatten() {
            let rss = match place {
                BreakPlace::AtDatum => gap.rss(at),
                BreakPlace::Between => gap.free_rss(),
            };
            let variance = gap.covariance(at, at);
            if place == BreakPlace::AtDatum && at == best.at && rss.is_finite() {
                // The other side of the same station.
                best.variance = best.variance.max(variance);
            }
            if rss < best.rss {
                let variance = if at == best.at {
                    best.variance.max(variance)
                } else {
                    variance
                };
                best = Best {
                    gap: *gap,
                    at,
                    place,
                    rss,
                    variance,
                };
            }
        }
        best
    }

    fn path(&self) -> f64 {
        sum_of_angles(self.gaps.iter().map(|gap| gap.angle(&self.all)))
    }

    fn region(&self, at: f64, limit: f64) -> BreakRegion {
        let mut pieces: Vec<(f64, f64)> = Vec::new();
        let mut push = |low: f64, high: f64| match pieces.last_mut() {
            Some(last) if low - last.1 <= SAME_BREAK => last.1 = last.1.max(high),
            _ => pieces.push((low, high)),
        };
        for gap in &self.gaps {
            let mut stretches = gap.under(limit);
            // The best break itself belongs here even where rounding leaves no room for it.
            if gap.low <= at && at <= gap.high {
                stretches.push((at, at));
                stretches.sort_by(|a, b| a.0.total_cmp(&b.0));
            }
            for (low, high) in stretches {
                push(low, high);
            }
        }
        let (first, last) = (self.gaps[0].low, self.gaps[self.gaps.len() - 1].high);
        let low = pieces.first().map_or(at, |piece| piece.0);
        let high = pieces.last().map_or(at, |piece| piece.1);
        let station = |x| self.scale.station(x);
        BreakRegion {
            low: station(low),
            high: station(high),
            pieces: pieces
                .iter()
                .map(|&(low, high)| (station(low), station(high)))
                .collect(),
            open_low: low <= first,
            open_high: high >= last,
        }
    }
}

/// The sum of angles from 0 to pi, each given by its cosine and sine to one factor.
///
/// Acute ones are summed by turning a vector, half turns counted: arctangents are slow.
fn sum_of_angles(angles: impl Iterator<Item = (f64, f64)>) -> f64 {
    let mut whole = 0.0;
    let (mut x, mut y) = (1.0, 0.0);
    for (cos, sin) in angles {
        let length = (cos * cos + sin * sin).sqrt();
        if cos > 0.0 && length > 0.0 && length.is_finite() {
            let (cos, sin) = (cos / length, sin / length);
            (x, y) = (x * cos - y * sin, x * sin + y * cos);
            if y < 0.0 {
                whole += std::f64::consts::PI;
                (x, y) = (-x, -y);
            }
        } else {
            whole += sin.atan2(cos);
        }
    }
    whole + y.atan2(x)
}

fn sums(points: &[Point]) -> Sums {
    points.iter().fold(Sums::default(), |sums, &p| sums.with(p))
}

/// Scales points in order of station to a range of 2 about 0 both ways, and gives the index of
/// the first point of each station.
fn bring_to_one(points: &mut [Point]) -> Result<(Scale, Vec<usize>), FormError> {
    let too_few = |found| FormError::TooFewPoints {
        form: "a broken line (at different stations)",
        needed: 5,
        found,
    };
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return Err(too_few(0));
    };
    let (middle, length) = (f64::midpoint(first.x, last.x), 0.5 * (last.x - first.x));
    if length == 0.0 {
        return Err(FormError::OneStation);
    }
    let low = points.iter().fold(f64::INFINITY, |low, p| low.min(p.y));
    let high = points
        .iter()
        .fold(f64::NEG_INFINITY, |high, p| high.max(p.y));
    let height = if high > low { 0.5 * (high - low) } else { 1.0 };
    let level = f64::midpoint(low, high);
    let mut stations = Vec::new();
    let mut here = f64::NEG_INFINITY;
    for (i, point) in points.iter_mut().enumerate() {
        let x = (point.x - middle) / length;
        if x - here > 2.0 * SAME_STATION {
            stations.push(i);
            here = x;
        }
        *point = Point {
            x: here,
            y: (point.y - level) / height,
        };
    }
    if stations.len() < 5 {
        return Err(too_few(stations.len()));
    }
    let line = Line {
        height: 0.0,
        slope: 0.0,
    };
    let scale = Scale {
        middle,
        length,
        level,
        height,
        line,
    };
    Ok((scale, stations))
}

/// The gaps from the second station to the last but one.
fn gaps(points: &[Point], stations: &[usize]) -> Vec<Gap> {
    let mut after = vec![Sums::default(); points.len() + 1];
    for (i, &point) in points.iter().enumerate().rev() {
        after[i] = after[i + 1].with(point);
    }
    let mut before = Sums::default();
    let mut next = 0;
    let mut gaps = Vec::with_capacity(stations.len());
    for pair in stations.windows(2).take(stations.len() - 2).skip(1) {
        while next < pair[1] {
            before = before.with(points[next]);
            next += 1;
        }
        gaps.push(Gap {
            low: points[pair[0]].x,
            high: points[pair[1]].x,
            before,
            after: after[pair[1]],
        });
    }
    gaps
}
