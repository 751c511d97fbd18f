//! Mean line and envelope of a profile: form without grain.
//!
//! The Gaussian weight is `exp(-pi (x / (alpha cutoff))^2)`. With alpha = sqrt(ln 2 / pi) =
//! 0.4697 the mean line keeps half the amplitude of a wave as long as the cut-off, and
//! `2^-((cutoff / wavelength)^2)` of any other.
//!
//! # Source
//! ISO 16610-21 (Gaussian filter; alpha follows from the 50 % at the cut-off, which is confirmed
//! for ISO 16610-61), ISO 16610-31 (robust regression filters), ISO 16610-41 (morphological
//! filters), ISO 16610-28 (ends): from memory, the texts were not seen.

use std::f64::consts::{LN_2, PI};

use super::checked::{in_order, positive, usable};
use super::{FormError, Point};
use crate::stats::median;

/// What stands in for the profile beyond its ends. For a profile `a b c d`:
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ends {
    /// Nothing: the weights that fall on points are scaled to sum to 1.
    Renormalised,
    /// `d c b a | a b c d | d c b a`
    ReflectHalfSample,
    /// `d c b | a b c d | c b a`
    MirrorSample,
    /// `a a a | a b c d | d d d`
    Nearest,
    /// `0 0 0 | a b c d | 0 0 0`
    Zero,
    /// `a b c d | a b c d | a b c d`
    Periodic,
}

impl Ends {
    /// The reading that stands at `index` of a profile of `n`.
    fn place(self, index: isize, n: usize) -> Option<usize> {
        let n = isize::try_from(n).ok()?;
        if (0..n).contains(&index) {
            return usize::try_from(index).ok();
        }
        let place = match self {
            Ends::Renormalised | Ends::Zero => return None,
            Ends::Nearest => index.clamp(0, n - 1),
            Ends::Periodic => index.rem_euclid(n),
            Ends::ReflectHalfSample => {
                let at = index.rem_euclid(2 * n);
                at.min(2 * n - 1 - at)
            }
            Ends::MirrorSample => {
                let period = (2 * (n - 1)).max(1);
                let at = index.rem_euclid(period);
                at.min(period - at)
            }
        };
        usize::try_from(place).ok()
    }
}

/// Share of the amplitude of a wave that the Gaussian mean line keeps, for a wavelength given in
/// cut-offs. 0 for a wavelength of 0.
pub fn transmission(wavelength_over_cutoff: f64) -> f64 {
    (-LN_2 / (wavelength_over_cutoff * wavelength_over_cutoff)).exp()
}

/// Weights of the Gaussian filter for points `spacing` apart, from the middle outwards, to
/// `reach` cut-offs: `spacing / (alpha cutoff) exp(-pi (k spacing / (alpha cutoff))^2)`.
///
/// They sum to nearly 1 over both sides; [`gaussian`] divides by the sum.
/// # Errors
/// [`FormError::NotPositive`]; also where there would be more than ten million weights.
/// # Accuracy
/// 1e-12 against 40 digits. A reach of half a cut-off, often seen, keeps 50.6 % at the cut-off in
/// place of 50 %; one cut-off 49.999999 %.
/// # Source
/// ISO 16610-21, from memory.
pub fn gaussian_weights(spacing: f64, cutoff: f64, reach: f64) -> Result<Vec<f64>, FormError> {
    const MOST: f64 = 1e7;
    let spacing = positive("the spacing", spacing)?;
    let cutoff = positive("the cut-off", cutoff)?;
    let reach = positive("the reach", reach)?;
    // A reach of whole spacings must not lose its last weight to rounding.
    let count = (reach * cutoff / spacing * (1.0 + 1e-12)).floor();
    if count.is_nan() || count > MOST {
        let what = "the number of spacings in the reach, at most ten million,";
        return Err(FormError::NotPositive { what, value: count });
    }
    let unit = positive(
        "the spacing in cut-offs",
        spacing / cutoff / (LN_2 / PI).sqrt(),
    )?;
    let weight = |k: usize| unit * (-PI * (k as f64 * unit).powi(2)).exp();
    Ok((0..=count as usize).map(weight).collect())
}

/// The Gaussian mean line of heights at equal spacing.
///
/// # Input
/// `spacing` and `cutoff` in one unit; `reach` in cut-offs on each side (1 is enough).
/// # Output
/// As many heights, at the same stations.
/// # Errors
/// [`FormError::TooFewPoints`] without heights, [`FormError::NotFinite`],
/// [`FormError::NotPositive`].
/// # Source
/// ISO 16610-21, from memory.
/// # Example
/// ```
/// use calibriar::form::filter::{Ends, gaussian};
///
/// // A blasted wall: grain of 1 mm on a straight form (invented), cut-off 2.5 mm.
/// let wall: Vec<f64> = (0..200).map(|i| 0.1 * (f64::from(i) * 0.2 * 6.2832).sin()).collect();
/// let mean_line = gaussian(&wall, 0.2, 2.5, 1.0, Ends::Renormalised)?;
/// assert!(mean_line[100].abs() < 0.002);
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn gaussian(
    heights: &[f64],
    spacing: f64,
    cutoff: f64,
    reach: f64,
    ends: Ends,
) -> Result<Vec<f64>, FormError> {
    let n = heights.len();
    if n == 0 {
        return Err(too_few("a mean line", 1, n));
    }
    for &height in heights {
        usable(height)?;
    }
    let mut weights = gaussian_weights(spacing, cutoff, reach)?;
    let whole = weights[0] + 2.0 * weights[1..].iter().sum::<f64>();
    weights.iter_mut().for_each(|weight| *weight /= whole);
    let at = |i: usize| {
        let (mut sum, mut met) = (0.0, 0.0);
        let mut add = |weight: f64, index: isize| {
            if let Some(place) = ends.place(index, n) {
                sum += weight * heights[place];
                met += weight;
            }
        };
        // n and the weights are far fewer than isize can count.
        let middle = i as isize;
        add(weights[0], middle);
        for (k, &weight) in weights.iter().enumerate().skip(1) {
            add(weight, middle - k as isize);
            add(weight, middle + k as isize);
        }
        if ends == Ends::Renormalised {
            sum / met
        } else {
            sum
        }
    };
    Ok((0..n).map(at).collect())
}

/// What a regression filter fits under its weights.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// A level: the weighted mean.
    Level,
    /// A straight line: follows the profile to its ends.
    Line,
    /// A parabola: follows curvature too, with a weight as much wider as keeps 50 % at the cut-off.
    Parabola,
}

impl Order {
    fn degree(self) -> usize {
        match self {
            Order::Level => 0,
            Order::Line => 1,
            Order::Parabola => 2,
        }
    }

    /// q in the weight `exp(-pi (x / (alpha cutoff))^2) = exp(-pi^2 (x / cutoff)^2 / q)`,
    /// q = pi alpha^2: the root of e^-q = 1/2, for a parabola of (1 + q) e^-q = 1/2.
    fn width(self) -> f64 {
        match self {
            Order::Level | Order::Line => LN_2,
            Order::Parabola => 1.678_346_990_016_660_7,
        }
    }
}

/// Weights under e^-30 of the greatest are left out.
const SMALLEST_EXPONENT: f64 = 30.0;

/// The Gaussian regression filter, for points at any stations.
///
/// # Method
/// At each station a polynomial is fitted by least squares with Gaussian weights about it; its
/// value there is the mean line. Where too few stations lie under the weights, the order is lower
/// there. Robust: the weights are multiplied by Tukey's biweight `(1 - (r / c)^2)^2` of the
/// residuals r, c = 4.4478 times the median of |r| (three standard deviations of a normal), and
/// the fit is repeated until c settles to 1e-4.
/// # Input
/// Points in any order; `cutoff` in the unit of the stations.
/// # Output
/// The points in order of station, each at the height of the mean line.
/// # Errors
/// [`FormError::TooFewPoints`] without points, [`FormError::NotFinite`],
/// [`FormError::NotPositive`].
/// # Accuracy
/// A polynomial of the order comes back to rounding, at its ends too. Time grows as n times the
/// points under the weights.
/// # Source
/// ISO 16610-31, from memory; the factor 4.4478 too. The width of the parabola's weight follows
/// from the 50 % at the cut-off (alpha = 0.7309).
pub fn gaussian_regression(
    points: &[Point],
    cutoff: f64,
    order: Order,
    robust: bool,
) -> Result<Vec<Point>, FormError> {
    let cutoff = positive("the cut-off", cutoff)?;
    regression(points, cutoff, order, robust, None)
}

/// The Gaussian regression filter of a closed profile: angles in degrees (x) and radii (y).
///
/// # Input
/// `undulations`: the cut-off in undulations per revolution, at least 1; the cut-off's wavelength
/// is 360 degrees over that. Angles are taken modulo 360.
/// # Output
/// In order of angle from 0 to under 360, each at the radius of the mean line.
/// # Errors
/// As [`gaussian_regression`]; [`FormError::NotPositive`] for less than one undulation.
/// # Source
/// ISO 12181-2 for closed profiles and undulations per revolution, from memory.
pub fn closed_gaussian_regression(
    points: &[Point],
    undulations: f64,
    order: Order,
    robust: bool,
) -> Result<Vec<Point>, FormError> {
    let what = "the number of undulations per revolution, at least 1,";
    let value = positive(what, undulations)?;
    if value < 1.0 {
        return Err(FormError::NotPositive { what, value });
    }
    let angle = |p: &Point| Point {
        // rem_euclid may round up to the modulus itself.
        x: Some(p.x.rem_euclid(360.0))
            .filter(|x| *x != 360.0)
            .unwrap_or(0.0),
        y: p.y,
    };
    for point in points {
        usable(point.x)?;
    }
    let points: Vec<Point> = points.iter().map(angle).collect();
    regression(&points, 360.0 / value, order, robust, Some(360.0))
}

fn regression(
    points: &[Point],
    cutoff: f64,
    order: Order,
    robust: bool,
    period: Option<f64>,
) -> Result<Vec<Point>, FormError> {
    const MOST_REPEATS: usize = 50;
    let sorted = in_order(points)?;
    if sorted.is_empty() {
        return Err(too_few("a mean line", 1, 0));
    }
    let largest = sorted.iter().fold(0.0_f64, |most, p| most.max(p.y.abs()));
    let rounding = 1e-14 * largest;
    let window = Window::new(&sorted, cutoff, order, period);
    let mut trust = vec![1.0; sorted.len()];
    let mut mean_line = window.fit(&sorted, &trust);
    let mut last = f64::INFINITY;
    for _ in 0..if robust { MOST_REPEATS } else { 0 } {
        let residuals = mean_line.iter().zip(&sorted).map(|(m, p)| (p.y - m).abs());
        let residuals: Vec<f64> = residuals.collect();
        // No points or no finite number: neither can be here.
        let Ok(middle) = median(&residuals) else {
            break;
        };
        let limit = 4.4478 * middle;
        // Half the points and more lie on the line: nothing is left to compare strays with.
        if limit <= rounding || (last - limit).abs() <= 1e-4 * limit {
            break;
        }
        last = limit;
        for (trust, r) in trust.iter_mut().zip(&residuals) {
            *trust = (1.0 - (r / limit).min(1.0).powi(2)).powi(2);
        }
        mean_line = window.fit(&sorted, &trust);
    }
    let at = |(p, y): (&Point, f64)| Point { x: p.x, y };
    Ok(sorted.iter().zip(mean_line).map(at).collect())
}

/// Which points lie under the weights about each station.
#[derive(Debug)]
struct Window {
    /// Station in cut-offs and index of the point, periods repeated, in order.
    places: Vec<(f64, usize)>,
    /// Number of places before the first point itself.
    before: usize,
    reach: f64,
    width: f64,
    degree: usize,
}

impl Window {
    fn new(points: &[Point], cutoff: f64, order: Order, period: Option<f64>) -> Window {
        let width = order.width();
        let reach = (SMALLEST_EXPONENT * width).sqrt() / PI;
        // Closed profiles have cut-offs of at most one period: three repeats at most.
        let repeats = period.map_or(0, |period| (reach * cutoff / period).ceil() as i32);
        let shift = |k: i32| f64::from(k) * period.unwrap_or(0.0);
        let place = |k: i32| {
            let at = move |(i, p): (usize, &Point)| ((p.x + shift(k)) / cutoff, i);
            points.iter().enumerate().map(at)
        };
        Window {
            places: (-repeats..=repeats).flat_map(place).collect(),
            before: points.len() * usize::try_from(repeats).unwrap_or(0),
            reach,
            width,
            degree: order.degree(),
        }
    }

    fn fit(&self, points: &[Point], trust: &[f64]) -> Vec<f64> {
        let (mut low, mut high) = (0, 0);
        let mut under = Vec::new();
        let mut at = |i: usize| {
            let station = self.places[self.before + i].0;
            // A step by another path than `x > reach`: infinite stations stay within the slice.
            while low < self.before + i && station - self.places[low].0 > self.reach {
                low += 1;
            }
            high = high.max(self.before + i + 1);
            while high < self.places.len() && self.places[high].0 - station <= self.reach {
                high += 1;
            }
            under.clear();
            for &(x, k) in &self.places[low..high] {
                let x = x - station;
                let weight = (-PI * PI * x * x / self.width).exp() * trust[k];
                if weight > 0.0 {
                    let y = points[k].y - points[i].y;
                    under.push((weight, x, y));
                }
            }
            points[i].y + local_polynomial(&under, self.degree).unwrap_or(0.0)
        };
        (0..points.len()).map(&mut at).collect()
    }
}

/// Value at x = 0 of the polynomial fitted to (weight, x, y), built up from orthogonal
/// polynomials; a degree that the stations cannot tell is left out. `None` without weight.
fn local_polynomial(points: &[(f64, f64, f64)], degree: usize) -> Option<f64> {
    let total: f64 = points.iter().map(|(w, ..)| w).sum();
    if total <= 0.0 {
        return None;
    }
    let spread = points.iter().map(|(_, x, _)| x.abs()).fold(0.0, f64::max);
    // Values of the current and the last polynomial at the points and at 0, and its squares.
    let mut current = vec![1.0; points.len()];
    let mut last = vec![0.0; points.len()];
    let (mut current_0, mut last_0) = (1.0, 0.0);
    let (mut squares, mut last_squares) = (total, f64::INFINITY);
    let mut left: Vec<f64> = points.iter().map(|(.., y)| *y).collect();
    let mut value = 0.0;
    for k in 0..=degree {
        let mut product = 0.0;
        let mut centre = 0.0;
        for ((&(w, x, _), p), y) in points.iter().zip(&current).zip(&left) {
            product += w * p * y;
            centre += w * x * p * p;
        }
        let coefficient = product / squares;
        value += coefficient * current_0;
        if k == degree {
            break;
        }
        let centre = centre / squares;
        let back = if k == 0 { 0.0 } else { squares / last_squares };
        let mut next_squares = 0.0;
        for (i, &(w, x, _)) in points.iter().enumerate() {
            left[i] -= coefficient * current[i];
            let next = (x - centre) * current[i] - back * last[i];
            last[i] = std::mem::replace(&mut current[i], next);
            next_squares += w * next * next;
        }
        let next_0 = -centre * current_0 - back * last_0;
        last_0 = std::mem::replace(&mut current_0, next_0);
        // Nothing new but rounding: all stations are roots of the polynomial.
        if next_squares <= 1e-20 * spread * spread * squares {
            break;
        }
        (last_squares, squares) = (squares, next_squares);
    }
    Some(value)
}

/// What a ball rolling over the points from above cannot get below: the morphological closing
/// with a disk of radius `radius`.
///
/// # Method
/// The centre of the ball rides on the highest of the circles of its radius about the points.
/// The closing at a station is the lowest that the ball's underside gets there, over all such
/// centres. On the circle about one point the underside at a station falls throughout as the ball
/// rolls towards it, so it is lowest where the ball passes from the last visible arc before the
/// station to the first behind it: no step, no grid. O(n) once the points are in order.
/// # Input
/// Points in any order, height upwards out of the material. Of several at one station the highest
/// counts. Points further apart than the ball is wide let it through. The material is as if solid
/// below each point.
/// # Output
/// The points in order of station, at the height of the envelope: never below a point, and equal
/// to it where the ball touches it.
/// # Errors
/// [`FormError::TooFewPoints`] without points, [`FormError::NotFinite`],
/// [`FormError::NotPositive`].
/// # Accuracy
/// Exact up to rounding. A pit w wide between level shoulders is closed to r - sqrt(r^2 - w^2/4),
/// about w^2 / (8 r), below them.
/// # Source
/// ISO 16610-41, from memory (words and definition; the search is our own).
pub fn envelope(points: &[Point], radius: f64) -> Result<Vec<Point>, FormError> {
    let radius = positive("the radius of the ball", radius)?;
    let sorted = in_order(points)?;
    if sorted.is_empty() {
        return Err(too_few("an envelope", 1, 0));
    }
    let mut tops: Vec<Point> = Vec::with_capacity(sorted.len());
    for p in &sorted {
        match tops.last_mut() {
            Some(top) if top.x == p.x => top.y = top.y.max(p.y),
            _ => tops.push(*p),
        }
    }
    let arcs = arcs(&tops, radius);
    // The arc about the point itself or, where none of it is visible, the first one beyond it.
    let mut next = 0;
    let mut closed = Vec::with_capacity(tops.len());
    for top in &tops {
        while next < arcs.len() && arcs[next].about.x < top.x {
            next += 1;
        }
        let touched = arcs.get(next).is_some_and(|arc| arc.about.x == top.x);
        let lowest = if touched {
            top.y
        } else {
            let near = &arcs[next.saturating_sub(1)..arcs.len().min(next + 1)];
            let low = |low: f64, arc: &Arc| low.min(arc.underside(top, radius));
            near.iter()
                .filter(|arc| arc.low < top.x + radius && arc.high > top.x - radius)
                .fold(f64::INFINITY, low)
        };
        // A ball above the point itself is always among them, unless rounding hides it.
        let lowest = if lowest.is_finite() { lowest } else { top.y };
        closed.push(lowest.max(top.y));
    }
    let mut place = 0;
    let at = |p: &Point| {
        if tops[place].x != p.x {
            place += 1;
        }
        let y = closed[place];
        Point { x: p.x, y }
    };
    Ok(sorted.iter().map(at).collect())
}

/// A visible arc of the circle about a point: the ball's centre from `low` to `high`.
#[derive(Clone, Copy, Debug)]
struct Arc {
    about: Point,
    low: f64,
    high: f64,
}

impl Arc {
    /// The lowest that the underside of a ball on this arc gets at the station of `p`.
    fn underside(&self, p: &Point, radius: f64) -> f64 {
        if self.about.x == p.x {
            return self.about.y;
        }
        let height = |centre: f64| {
            let half = |x: f64| {
                let off = centre - x;
                ((radius - off) * (radius + off)).max(0.0).sqrt()
            };
            let both = half(self.about.x) + half(p.x);
            if both > 0.0 {
                // The difference of the two halves, without cancellation.
                let (to, mid) = (self.about.x - p.x, f64::midpoint(self.about.x, p.x));
                self.about.y + 2.0 * to / both * (centre - mid)
            } else {
                self.about.y
            }
        };
        let low = self.low.max(p.x - radius);
        let high = self.high.min(p.x + radius);
        height(low).min(height(high))
    }
}

/// The visible arcs, in order. The difference of two circles of one radius falls throughout where
/// both are, so each is seen over one stretch at most, in order of the points.
fn arcs(tops: &[Point], radius: f64) -> Vec<Arc> {
    let mut arcs: Vec<Arc> = Vec::new();
    for &about in tops {
        let mut low = about.x - radius;
        while let Some(last) = arcs.last_mut() {
            let border = border(last.about, about, radius);
            if border > last.low {
                last.high = last.high.min(border);
                low = low.max(border);
                break;
            }
            arcs.pop();
        }
        arcs.push(Arc {
            about,
            low,
            high: about.x + radius,
        });
    }
    arcs
}

/// From where on the circle about b is above that about a, which lies before it.
fn border(a: Point, b: Point, radius: f64) -> f64 {
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    // Where both circles are: from b.x - radius to a.x + radius.
    let reach = ((2.0 * radius - dx) * dx).max(0.0).sqrt();
    if dx >= 2.0 * radius || dy <= -reach {
        return a.x + radius;
    }
    if dy >= reach {
        return b.x - radius;
    }
    let squared = dx * dx + dy * dy;
    f64::midpoint(a.x, b.x) - dy * (radius * radius / squared - 0.25).max(0.0).sqrt()
}

fn too_few(form: &'static str, needed: usize, found: usize) -> FormError {
    FormError::TooFewPoints {
        form,
        needed,
        found,
    }
}
