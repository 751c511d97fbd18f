//! The least-squares circle.

use super::super::scaled::Scaled;
use super::super::{FormError, Point};
use super::contacts::outward;
use super::{distance, radii_about};

const CIRCLE: &str = "a circle";

/// Largest condition number of a fit that is given out. The column of the radius alone has the
/// norm `sqrt n`, so neither centre nor radius has a standard uncertainty over `c u / sqrt n` at
/// condition c and standard uncertainty u of one reading: at 1000, 100 readings and 0.01 mm that
/// is 1 mm, and a circle that may be 1 mm off says nothing about a section. An evenly read arc
/// of about 13 degrees has this condition, a full turn has 1.4.
pub const LARGEST_CONDITION: f64 = 1000.0;

/// Far more than any fit took that converges at all.
const MOST_STEPS: usize = 200;

/// The circle with the least sum of squared radial deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeastSquaresCircle {
    /// Its centre.
    pub centre: Point,
    /// Its radius.
    pub radius: f64,
    /// Root mean square radial deviation (divisor n).
    pub rms: f64,
    /// Greatest less least radius about its centre: the roundness deviation.
    pub peak_to_valley: f64,
    /// Condition number of the fit: largest by smallest singular value of the derivatives of the
    /// radial deviations by centre and radius.
    pub condition: f64,
}

/// The geometric least-squares circle of a section or an arc.
///
/// # Method
/// The radius is the mean distance from the centre; the centre minimises the sum of squared
/// deviations from it, by damped Newton steps from the algebraic circle (Kasa).
/// # Input
/// Three or more different points that go at least some 13 degrees round.
/// # Errors
/// - [`FormError::NotFinite`].
/// - [`FormError::TooFewPoints`] under three different points.
/// - [`FormError::IllConditioned`] where the condition is over [`LARGEST_CONDITION`]: too short
///   an arc, or points along a straight line.
/// # Accuracy
/// 1e-12 of the size of a well-covered section against a computation with 40 digits.
/// # Source
/// Criterion: ISO 12181-1, from memory. Algebraic start: I. Kasa, IEEE Trans. Instrum. Meas. 25
/// (1976) 8-14, from memory.
/// # Example
/// ```
/// use calibriar::form::roundness::{from_polar, least_squares_circle};
///
/// // Twelve readings of a bowl, 0.05 mm oval.
/// let oval = |i| from_polar(30.0 * f64::from(i), 20.0 + 0.05 * (f64::from(i) * 1.0472).cos());
/// let circle = least_squares_circle(&(0..12).map(oval).collect::<Vec<_>>())?;
/// assert!((circle.radius - 20.0).abs() < 1e-4);
/// assert!((circle.peak_to_valley - 0.1).abs() < 1e-4);
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn least_squares_circle(points: &[Point]) -> Result<LeastSquaresCircle, FormError> {
    let scaled = Scaled::new(points, CIRCLE, 3)?;
    let (centre, condition) = fit(&scaled.points)?;
    let state = State::at(&scaled.points, centre);
    let (least, greatest) = radii_about(&scaled.points, centre);
    Ok(LeastSquaresCircle {
        centre: scaled.place(centre),
        radius: scaled.length(state.radius),
        rms: scaled.length((state.sum / points.len() as f64).sqrt()),
        peak_to_valley: scaled.length(greatest - least),
        condition,
    })
}

/// Centre and condition, for points scaled to 1.
pub(super) fn fit(points: &[Point]) -> Result<(Point, f64), FormError> {
    let straight = |condition| FormError::IllConditioned {
        form: CIRCLE,
        reason: "they go too little way round, or along a straight line",
        condition,
    };
    let mut centre = algebraic_centre(points).ok_or(straight(f64::INFINITY))?;
    let mut state = State::at(points, centre);
    let mut damping = 0.0;
    for _ in 0..MOST_STEPS {
        let Some((next, step)) = state.step(centre, damping) else {
            damping = more(damping);
            continue;
        };
        let after = State::at(points, next);
        // A sum of squares is flat at its foot: it cannot tell steps under the root of the
        // rounding unit apart, where the gradient still can.
        let small = step <= 1e-6 * (1.0 + state.radius);
        if after.sum < state.sum || (small && after.slope() < state.slope()) {
            (centre, state) = (next, after);
            damping *= 0.1;
        } else if small {
            break;
        } else {
            damping = more(damping);
        }
    }
    let condition = condition(points, centre);
    if condition > LARGEST_CONDITION {
        return Err(straight(condition));
    }
    Ok((centre, condition))
}

fn more(damping: f64) -> f64 {
    (damping * 10.0).max(1e-3)
}

/// The circle whose `|p|^2 - 2 c p` is most nearly constant; `None` for points in line.
fn algebraic_centre(points: &[Point]) -> Option<Point> {
    let n = points.len() as f64;
    let mean = |f: &dyn Fn(&Point) -> f64| points.iter().map(f).sum::<f64>() / n;
    let (mx, my) = (mean(&|p| p.x), mean(&|p| p.y));
    let (mut xx, mut xy, mut yy, mut xq, mut yq) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for p in points {
        let (x, y) = (p.x - mx, p.y - my);
        let q = x * x + y * y;
        xx += x * x;
        xy += x * y;
        yy += y * y;
        xq += x * q;
        yq += y * q;
    }
    let turn = xx * yy - xy * xy;
    // Points in line but for rounding.
    if turn <= 1e-28 * (xx + yy) * (xx + yy) {
        return None;
    }
    Some(Point {
        x: mx + 0.5 * (xq * yy - yq * xy) / turn,
        y: my + 0.5 * (yq * xx - xq * xy) / turn,
    })
}

/// Half the sum of squares about a centre: value, gradient and second derivatives.
struct State {
    radius: f64,
    sum: f64,
    gradient: [f64; 2],
    /// xx, xy, yy.
    curvature: [f64; 3],
}

impl State {
    fn at(points: &[Point], centre: Point) -> State {
        let n = points.len() as f64;
        let radius = points.iter().map(|&p| distance(p, centre)).sum::<f64>() / n;
        let mut state = State {
            radius,
            sum: 0.0,
            gradient: [0.0; 2],
            curvature: [0.0; 3],
        };
        let mut mean = [0.0; 2];
        for &p in points {
            let d = distance(p, centre);
            let [ux, uy] = outward(centre, p, d);
            let e = d - radius;
            let bend = if d > 0.0 { e / d } else { 0.0 };
            state.sum += e * e;
            state.gradient[0] += e * ux;
            state.gradient[1] += e * uy;
            state.curvature[0] += ux * ux + bend * uy * uy;
            state.curvature[1] += ux * uy - bend * ux * uy;
            state.curvature[2] += uy * uy + bend * ux * ux;
            mean[0] += ux / n;
            mean[1] += uy / n;
        }
        state.curvature[0] -= n * mean[0] * mean[0];
        state.curvature[1] -= n * mean[0] * mean[1];
        state.curvature[2] -= n * mean[1] * mean[1];
        state
    }

    fn slope(&self) -> f64 {
        self.gradient[0].hypot(self.gradient[1])
    }

    /// The damped Newton step and its length; `None` where it would not lead downhill.
    fn step(&self, from: Point, damping: f64) -> Option<(Point, f64)> {
        let [gx, gy] = self.gradient;
        let [xx, xy, yy] = self.curvature;
        let more = damping * (xx.abs() + yy.abs());
        let (xx, yy) = (xx + more, yy + more);
        let turn = xx * yy - xy * xy;
        if !(xx > 0.0 && turn > 0.0) {
            return None;
        }
        let (dx, dy) = ((gx * yy - gy * xy) / turn, (gy * xx - gx * xy) / turn);
        let to = Point {
            x: from.x - dx,
            y: from.y - dy,
        };
        (dx.is_finite() && dy.is_finite()).then(|| (to, dx.hypot(dy)))
    }
}

/// Condition number of the derivatives of all radial deviations by centre and radius.
///
/// The squared matrix is enough: up to a condition of 1000 it loses 6 of 16 digits.
fn condition(points: &[Point], centre: Point) -> f64 {
    let mut squared = nalgebra::Matrix3::zeros();
    for &p in points {
        let [ux, uy] = outward(centre, p, distance(p, centre));
        let row = nalgebra::Vector3::new(ux, uy, -1.0);
        squared += row * row.transpose();
    }
    if !squared.iter().all(|v: &f64| v.is_finite()) {
        return f64::INFINITY;
    }
    let values = squared.symmetric_eigenvalues();
    let (least, greatest) = (values.min(), values.max());
    // Below this the smallest value is rounding alone.
    if least > 1e-15 * greatest {
        (greatest / least).sqrt()
    } else {
        f64::INFINITY
    }
}
