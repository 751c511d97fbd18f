//! Undulations of a section: how many sides it has.
//!
//! Two undulations per turn are ovality, three a trilobed section, and so on. An order is named
//! only where it stands out of the noise of the readings.
//!
//! Source of the terms: undulations per revolution, ISO 12181-1, from memory.

use std::ops::RangeInclusive;

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::roundness::{from_polar, least_squares_circle};
use super::{FormError, Point};
use crate::stats::{f_sf, holm};

const FORM: &str = "undulations";

/// Largest condition number of the fit. Even readings all round have 1.4; a standard error grows
/// at most in proportion, so that at 10 the amplitude of an order is still known about a seventh
/// as well as even readings would tell it. A gap in an arc drives the condition up with the order,
/// and orders beyond are left out.
pub const LARGEST_CONDITION: f64 = 10.0;

/// Degrees of freedom left for the noise: a third of the readings, and at least so many. At 4 the
/// one-sided 5 % limit of F is 6.9, at 1 it would be 199.5: nothing could ever stand out.
pub const LEAST_FREEDOM: usize = 4;

/// How many times its nearest rival the amplitude of a named order must be: it then carries more
/// than twice the rival's power. The rival of a regular polygon's own order n is its 2n, a quarter
/// or less as large; two orders of like size make no shape that has a number of sides.
pub const LEAST_LEAD: f64 = 1.5;

/// Re-centrings; each gains as many digits as the eccentricity is smaller than the radius.
const MOST_CENTRINGS: usize = 20;
/// Radii are rounded: a residual below this share of the radius is not noise of the readings.
const ROUNDING: f64 = 4e-15;

/// The undulations of one section.
#[derive(Clone, Debug, PartialEq)]
pub struct Lobes {
    /// Mean radius.
    pub radius: f64,
    /// The centre about which the section has no eccentricity.
    pub centre: Point,
    /// The orders that were asked for and that the points can tell, ascending.
    pub orders: Vec<Lobe>,
    /// Standard deviation of the readings about the fit.
    pub residual_sd: f64,
    /// Its degrees of freedom.
    pub freedom: usize,
    /// Condition number of the fit.
    pub condition: f64,
    /// The order that stands out, if one does.
    pub sides: Option<u32>,
}

/// One order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lobe {
    /// Undulations per turn.
    pub order: u32,
    /// Half the peak-to-valley of this order alone.
    pub amplitude: f64,
    /// Standard error of the amplitude.
    pub standard_error: f64,
    /// Where the first crest lies: degrees, 0 to under 360 / order.
    pub crest_deg: f64,
    /// Chance of so large an amplitude or a larger from the noise alone (partial F test).
    pub p: f64,
    /// The same among all orders tested, by Holm.
    pub p_adjusted: f64,
}

/// The undulations of a section of orders `orders`, and the number of its sides, if it has one
/// that stands out of the noise at the level `alpha`.
///
/// # Method
/// The points are centred until no first order is left: a circle off its centre by e would look
/// oval by `e^2 / (4 R)`. Then `r = R + sum over k = 1..K of a_k cos k t + b_k sin k t` by least
/// squares at the angles as they are. K is the highest order asked for, lowered until a third of
/// the readings, and at least 4, is left for the noise, and the condition number is at most
/// [`LARGEST_CONDITION`]. Each order is tested by the partial F test (2 and n - 1 - 2 K degrees of
/// freedom) of the fit with it against that without; p-values are adjusted by Holm. An order gives
/// the number of sides where its adjusted p-value is at most `alpha` and its amplitude is
/// [`LEAST_LEAD`] times that of any other.
/// # Input
/// `angles_deg` in degrees, in any order and spacing; `radii` in one unit, as many; orders under 2
/// are left out (1 is eccentricity). The noise is taken as independent and normal. Orders above
/// K do not vanish: n even readings see order k as n - k.
/// # Output
/// Lengths in the unit of `radii`. At the level `alpha`, a section of noise alone is given sides
/// with at most that chance.
/// # Errors
/// - [`FormError::Unpaired`].
/// - [`FormError::NotFinite`].
/// - [`FormError::TooFewPoints`] under 9 readings: order 2 takes 5 of them, noise 4.
/// - [`FormError::IllConditioned`] where the points go too little way round to tell order 2, or
///   where no order is asked for that they can tell.
/// # Accuracy
/// 1e-9 of an amplitude against numpy's least squares.
/// # Source
/// Partial F test: N. R. Draper and H. Smith, Applied Regression Analysis, 1998, from memory. Holm:
/// see [`holm`].
/// # Example
/// ```
/// use calibriar::form::lobes::lobes;
///
/// // A panelled bowl: six flats, read every 10 degrees to 0.01 mm.
/// let angles: Vec<f64> = (0..36).map(|i| 10.0 * f64::from(i)).collect();
/// let radius = |a: &f64| 20.0 + 0.3 * (6.0 * a).to_radians().cos();
/// let radii: Vec<f64> = angles.iter().map(|a| (100.0 * radius(a)).round() / 100.0).collect();
/// assert_eq!(lobes(&angles, &radii, 2..=15, 0.05)?.sides, Some(6));
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn lobes(
    angles_deg: &[f64],
    radii: &[f64],
    orders: RangeInclusive<u32>,
    alpha: f64,
) -> Result<Lobes, FormError> {
    let n = radii.len();
    if angles_deg.len() != n {
        return Err(FormError::Unpaired {
            angles: angles_deg.len(),
            radii: n,
        });
    }
    let polar = angles_deg.iter().zip(radii);
    let points: Vec<Point> = polar.map(|(&a, &r)| from_polar(a, r)).collect();
    let start = least_squares_circle(&points)?;
    let room = n.saturating_sub(LEAST_FREEDOM.max(n.div_ceil(3)) + 1) / 2;
    if room < 2 {
        return Err(FormError::TooFewPoints {
            form: FORM,
            needed: 5 + LEAST_FREEDOM,
            found: n,
        });
    }
    // In radii of the section, about its centre: nothing over- or underflows.
    let unit = start.radius;
    let about = |c: Point| {
        let scaled = |p: &Point| Point {
            x: (p.x - c.x) / unit,
            y: (p.y - c.y) / unit,
        };
        points.iter().map(scaled).collect::<Vec<Point>>()
    };
    let mut centre = start.centre;
    let highest = (*orders.end() as usize).clamp(2, room);
    let mut fit = Fit::new(about(centre), highest)?;
    for _ in 0..MOST_CENTRINGS {
        let (x, y) = (fit.coefficients[1], fit.coefficients[2]);
        if x.hypot(y) <= f64::EPSILON {
            break;
        }
        let next = Point {
            x: centre.x + x * unit,
            y: centre.y + y * unit,
        };
        let Ok(refit) = Fit::new(about(next), highest) else {
            break;
        };
        // Rounding, or a shape that has no such centre.
        if refit.coefficients[1].hypot(refit.coefficients[2]) >= x.hypot(y) {
            break;
        }
        (centre, fit) = (next, refit);
    }
    let told = (*orders.start()).max(2)..=fit.highest.min(*orders.end() as usize) as u32;
    let noise = fit.noise();
    let mut found: Vec<Lobe> = told.filter_map(|order| fit.order(order, &noise)).collect();
    if found.is_empty() {
        return Err(FormError::IllConditioned {
            form: FORM,
            reason: "none of the orders asked for can be told",
            condition: noise.condition,
        });
    }
    let adjusted = holm(&found.iter().map(|lobe| lobe.p).collect::<Vec<_>>());
    for (lobe, p) in found.iter_mut().zip(adjusted) {
        lobe.p_adjusted = p;
        lobe.amplitude *= unit;
        lobe.standard_error *= unit;
    }
    Ok(Lobes {
        radius: fit.coefficients[0] * unit,
        centre,
        sides: sides(&found, alpha),
        orders: found,
        residual_sd: noise.residual_sd * unit,
        freedom: noise.freedom,
        condition: noise.condition,
    })
}

/// The order that stands out of the noise and of all others.
fn sides(orders: &[Lobe], alpha: f64) -> Option<u32> {
    let largest = orders
        .iter()
        .max_by(|a, b| a.amplitude.total_cmp(&b.amplitude))?;
    let leads = |other: &Lobe| {
        other.order == largest.order || largest.amplitude >= LEAST_LEAD * other.amplitude
    };
    (largest.p_adjusted <= alpha && orders.iter().all(leads)).then_some(largest.order)
}

/// A least-squares fit of harmonics 0 to `highest`.
struct Fit {
    points: Vec<Point>,
    highest: usize,
    coefficients: DVector<f64>,
    squared: DMatrix<f64>,
    factor: Cholesky<f64, Dyn>,
}

/// What a fit says of its own firmness.
struct Noise {
    /// Inverse of the squared matrix.
    inverse: DMatrix<f64>,
    residual_sd: f64,
    freedom: usize,
    condition: f64,
}

impl Fit {
    /// With as many orders, up to `highest`, as the points can tell.
    fn new(points: Vec<Point>, highest: usize) -> Result<Fit, FormError> {
        let moments = Moments::new(&points, highest);
        let squared = moments.squared(highest);
        let highest = tellable(&squared, highest)?;
        let p = 1 + 2 * highest;
        let squared = squared.view((0, 0), (p, p)).into_owned();
        // At a condition of 10 at most, the squared matrix costs two digits of sixteen.
        let factor = Cholesky::<f64, Dyn>::new(squared.clone());
        let factor = factor.ok_or_else(|| untold(f64::INFINITY))?;
        Ok(Fit {
            points,
            highest,
            coefficients: factor.solve(&moments.of_radii.rows(0, p)),
            squared,
            factor,
        })
    }

    fn radius_at(&self, p: Point) -> f64 {
        let (_, direction) = polar(p);
        let mut turned = direction;
        let mut radius = self.coefficients[0];
        for k in 1..=self.highest {
            radius += self.coefficients[2 * k - 1] * turned.x + self.coefficients[2 * k] * turned.y;
            turned = turn(turned, direction);
        }
        radius
    }

    fn noise(&self) -> Noise {
        let freedom = self.points.len() - (1 + 2 * self.highest);
        let residual = |&p: &Point| polar(p).0 - self.radius_at(p);
        let squares: f64 = self.points.iter().map(|p| residual(p).powi(2)).sum();
        let rounding = ROUNDING * self.coefficients[0].abs();
        Noise {
            inverse: self.factor.inverse(),
            residual_sd: (squares / freedom as f64).sqrt().max(rounding),
            freedom,
            condition: condition(self.squared.clone()),
        }
    }

    /// One order, its p-value not yet adjusted; `None` beyond the fit.
    fn order(&self, order: u32, noise: &Noise) -> Option<Lobe> {
        let first = 2 * order as usize - 1;
        if order as usize > self.highest {
            return None;
        }
        let (a, b) = (self.coefficients[first], self.coefficients[first + 1]);
        let aa = noise.inverse[(first, first)];
        let ab = noise.inverse[(first, first + 1)];
        let bb = noise.inverse[(first + 1, first + 1)];
        let variance = noise.residual_sd * noise.residual_sd;
        let quadratic = (a * a * bb - 2.0 * a * b * ab + b * b * aa) / (aa * bb - ab * ab);
        let amplitude = a.hypot(b);
        let (cos, sin) = match amplitude > 0.0 {
            true => (a / amplitude, b / amplitude),
            false => (1.0, 0.0),
        };
        let spread = cos * cos * aa + 2.0 * cos * sin * ab + sin * sin * bb;
        let p = f_sf(quadratic / (2.0 * variance), 2.0, noise.freedom as f64);
        Some(Lobe {
            order,
            amplitude,
            standard_error: noise.residual_sd * spread.sqrt(),
            crest_deg: crest(a, b, f64::from(order)),
            p,
            p_adjusted: p,
        })
    }
}

/// Radius, and direction as a unit vector; that of the centre itself is along x.
fn polar(p: Point) -> (f64, Point) {
    let radius = (p.x * p.x + p.y * p.y).sqrt();
    let direction = match radius > 0.0 {
        true => (p.x / radius, p.y / radius),
        false => (1.0, 0.0),
    };
    let (x, y) = direction;
    (radius, Point { x, y })
}

/// A unit vector turned by the angle of another: cosine and sine of the sum of their angles.
fn turn(a: Point, by: Point) -> Point {
    Point {
        x: a.x * by.x - a.y * by.y,
        y: a.x * by.y + a.y * by.x,
    }
}

/// Sums over all readings that the normal equations are made of.
struct Moments {
    /// Sums of `cos k t` and of `sin k t` at k.
    of_angles: Vec<Point>,
    /// Sums of the radius, and of the radius times `cos k t` and `sin k t`: in the order of the
    /// coefficients.
    of_radii: DVector<f64>,
}

impl Moments {
    fn new(points: &[Point], highest: usize) -> Moments {
        let (radii, directions): (Vec<f64>, Vec<Point>) = points.iter().map(|&p| polar(p)).unzip();
        let start = Point { x: 1.0, y: 0.0 };
        let mut turned = vec![start; points.len()];
        let mut of_angles = Vec::with_capacity(1 + 2 * highest);
        let mut of_radii = DVector::zeros(1 + 2 * highest);
        for k in 0..=2 * highest {
            let mut sum = Point { x: 0.0, y: 0.0 };
            for at in &turned {
                sum.x += at.x;
                sum.y += at.y;
            }
            of_angles.push(sum);
            if k <= highest {
                let (mut cos, mut sin) = (0.0, 0.0);
                for (at, radius) in turned.iter().zip(&radii) {
                    cos += radius * at.x;
                    sin += radius * at.y;
                }
                of_radii[(2 * k).saturating_sub(1)] = cos;
                if k > 0 {
                    of_radii[2 * k] = sin;
                }
            }
            for (at, &direction) in turned.iter_mut().zip(&directions) {
                *at = turn(*at, direction);
            }
        }
        Moments {
            of_angles,
            of_radii,
        }
    }

    /// The squared matrix: a product of two sines or cosines is half the sum of those of the sum
    /// and of the difference of their angles.
    fn squared(&self, highest: usize) -> DMatrix<f64> {
        let p = 1 + 2 * highest;
        DMatrix::from_fn(p, p, |row, column| {
            let (j, k) = (row.div_ceil(2), column.div_ceil(2));
            let (sum, apart) = (self.of_angles[j + k], self.of_angles[j.abs_diff(k)]);
            let is_cos = |column: usize| column == 0 || column % 2 == 1;
            let ahead = |of: usize, other: usize| if of < other { -apart.y } else { apart.y };
            0.5 * match (is_cos(row), is_cos(column)) {
                (true, true) => apart.x + sum.x,
                (false, false) => apart.x - sum.x,
                (false, true) => sum.y + ahead(j, k),
                (true, false) => sum.y + ahead(k, j),
            }
        })
    }
}

/// The highest order, up to `highest`, with which the fit is well conditioned.
fn tellable(squared: &DMatrix<f64>, highest: usize) -> Result<usize, FormError> {
    let mut worst = f64::INFINITY;
    if !squared.iter().all(|v| v.is_finite()) {
        return Err(untold(worst));
    }
    // More orders never make it better, so the first that will do is the highest.
    for highest in (2..=highest).rev() {
        let p = 1 + 2 * highest;
        let part = squared.view((0, 0), (p, p)).into_owned();
        if condition_within(&part) <= LARGEST_CONDITION {
            return Ok(highest);
        }
        worst = condition(part);
        if worst <= LARGEST_CONDITION {
            return Ok(highest);
        }
    }
    Err(untold(worst))
}

/// Condition number of a fit by its squared matrix.
fn condition(squared: DMatrix<f64>) -> f64 {
    let values = squared.symmetric_eigenvalues();
    ratio(values.min(), values.max())
}

/// A bound of the same from above (Gershgorin's discs), far quicker, and close where readings go
/// evenly round.
fn condition_within(squared: &DMatrix<f64>) -> f64 {
    let (mut least, mut greatest) = (f64::INFINITY, 0.0_f64);
    for (at, column) in squared.column_iter().enumerate() {
        let (middle, sum) = (column[at], column.iter().map(|v| v.abs()).sum::<f64>());
        least = least.min(2.0 * middle - sum);
        greatest = greatest.max(sum);
    }
    ratio(least, greatest)
}

fn ratio(least: f64, greatest: f64) -> f64 {
    match least > 0.0 {
        true => (greatest / least).sqrt(),
        false => f64::INFINITY,
    }
}

fn untold(condition: f64) -> FormError {
    FormError::IllConditioned {
        form: FORM,
        reason: "they go too little way round",
        condition,
    }
}

/// Angle of the first crest of `a cos k t + b sin k t`, in degrees.
fn crest(a: f64, b: f64, order: f64) -> f64 {
    let turn = 360.0 / order;
    let crest = (b.atan2(a).to_degrees() / order).rem_euclid(turn);
    // A hair under 0 becomes a whole turn in rounding.
    if crest < turn { crest } else { 0.0 }
}
