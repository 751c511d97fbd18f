//! The cone that several walls lie on.

use nalgebra::{DMatrix, DVector, SMatrix, SVector, Vector3};

use super::checked::usable;
use super::{FormError, Point};

/// Above this condition of the fit (columns of unit length) an error of the readings may swell as
/// many times: the walls do not tell the cone.
const MOST_CONDITION: f64 = 1e3;
/// Azimuths within so many degrees count as one direction.
const SAME_AZIMUTH: f64 = 1.0;
const MOST_STEPS: usize = 200;
/// A half angle (in radians) up to this is rounding: a cylinder.
const CYLINDER: f64 = 1e-12;

/// The trace of one wall.
#[derive(Clone, Debug, PartialEq)]
pub struct Wall {
    /// Its azimuth round the nominal axis, in degrees.
    pub azimuth: f64,
    /// Stations along the nominal axis (x) and distances outward from it (y).
    pub points: Vec<Point>,
}

/// A right circular cone; a cylinder where the half angle is 0.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Cone {
    /// Number of points.
    pub n: usize,
    /// Station half way between the first and the last point.
    pub mid_station: f64,
    /// Where the axis passes the middle station: off the nominal axis towards azimuth 0 and 90.
    pub axis: (f64, f64),
    /// Slopes of the axis towards azimuth 0 and 90, per unit of station.
    pub slopes: (f64, f64),
    /// Angle between the axis and the nominal one, in degrees.
    pub lean: f64,
    /// Azimuth towards which the axis leans as the station grows, in degrees from 0 to 360.
    pub lean_direction: f64,
    /// Radius, square to the axis, where the axis passes the middle station.
    pub radius: f64,
    /// Half angle in degrees; positive where the cone widens with station.
    pub half_angle: f64,
    /// Station of the apex; `None` for a cylinder.
    pub apex_station: Option<f64>,
    /// Residual sum of squares of the distances square to the surface.
    pub rss: f64,
    /// Their residual standard deviation; `None` where no degree of freedom is left.
    pub residual_sd: Option<f64>,
    /// Standard errors, from the residual standard deviation.
    pub errors: Option<ConeErrors>,
    /// Condition number of the fit, columns of unit length.
    pub condition: f64,
    /// For two opposite walls, the azimuth of their plane in degrees: place and lean of the axis
    /// across it cannot be told and are 0.
    pub plane: Option<f64>,
}

/// Standard errors of a [`Cone`]'s numbers; 0 across the plane of two walls, which tells nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct ConeErrors {
    /// Of the axis's place.
    pub axis: (f64, f64),
    /// Of its slopes.
    pub slopes: (f64, f64),
    /// Of the radius.
    pub radius: f64,
    /// Of the half angle, in degrees.
    pub half_angle: f64,
}

/// Fits a right circular cone to walls traced from one nominal axis.
///
/// # Method
/// Least squares of the distances square to the surface, by Levenberg and Marquardt's iteration
/// from the fit that is linear for small leans. Walls in one plane (two opposite ones) tell the
/// cone within that plane only.
/// # Input
/// Walls of at least two stations each; stations and distances in one unit.
/// # Errors
/// [`FormError::NotFinite`]; [`FormError::TooFewPoints`]: six points, four for walls in one plane;
/// [`FormError::OneStation`]; [`FormError::IllConditioned`] for one wall, for two that are not
/// opposite, and where the condition of the fit is above 1000: the readings' errors would swell
/// as many times.
/// # Accuracy
/// Exact cones come back to 1e-10. The iteration ends where a step no longer matters.
/// # Source
/// ISO 10360-6 and ISO 3040 for the words, from memory; K. Levenberg, Q. Appl. Math. 2 (1944)
/// 164-168 and D. W. Marquardt, J. SIAM 11 (1963) 431-441, from memory.
/// # Example
/// ```
/// use calibriar::form::{Point, cone::{Wall, cone}};
///
/// // Four walls that open by 3 degrees each (invented).
/// let rise = 3.0_f64.to_radians().tan();
/// let wall = |azimuth: f64| Wall {
///     azimuth,
///     points: (0..9).map(f64::from).map(|x| Point { x, y: 16.0 + rise * x }).collect(),
/// };
/// let bowl = cone(&[wall(0.0), wall(90.0), wall(180.0), wall(270.0)])?;
/// assert!((bowl.half_angle - 3.0).abs() < 1e-10);
/// assert!(bowl.lean < 1e-10);
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn cone(walls: &[Wall]) -> Result<Cone, FormError> {
    let frame = Frame::of(walls)?;
    let points = frame.points(walls);
    let basis = frame.basis();
    let needed = basis.ncols();
    let found = points.len();
    if found < needed {
        let form = "a cone";
        return Err(FormError::TooFewPoints {
            form,
            needed,
            found,
        });
    }
    let mut fit = Fit {
        points,
        basis,
        parameters: DVector::zeros(needed),
    };
    fit.start(&frame.linear(walls))?;
    fit.descend()?;
    fit.cone(&frame)
}

fn not_told(reason: &'static str, condition: f64) -> FormError {
    let form = "a cone";
    FormError::IllConditioned {
        form,
        reason,
        condition,
    }
}

/// The unit that walls are brought to, and the plane that they may lie in.
#[derive(Clone, Copy, Debug)]
struct Frame {
    mid_station: f64,
    length: f64,
    /// Azimuth in radians.
    plane: Option<f64>,
}

impl Frame {
    fn of(walls: &[Wall]) -> Result<Frame, FormError> {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        let mut outward = 0.0_f64;
        for wall in walls {
            usable(wall.azimuth)?;
            for point in &wall.points {
                low = low.min(usable(point.x)?);
                high = high.max(point.x);
                outward = outward.max(usable(point.y)?.abs());
            }
        }
        if low > high {
            let (form, needed, found) = ("a cone", 4, 0);
            return Err(FormError::TooFewPoints {
                form,
                needed,
                found,
            });
        }
        if low == high {
            return Err(FormError::OneStation);
        }
        let used = walls.iter().filter(|wall| !wall.points.is_empty());
        let azimuths: Vec<f64> = used.map(|wall| wall.azimuth).collect();
        Ok(Frame {
            mid_station: f64::midpoint(low, high),
            length: outward.max(0.5 * (high - low)),
            plane: plane(&azimuths)?,
        })
    }

    /// Points in space, in units of `length`, from the middle of the nominal axis.
    fn points(&self, walls: &[Wall]) -> Vec<Vector3<f64>> {
        let of_wall = |wall: &Wall| {
            let (sin, cos) = (wall.azimuth % 360.0).to_radians().sin_cos();
            let at = |p: &Point| {
                let (z, r) = self.inwards(p);
                Vector3::new(r * cos, r * sin, z)
            };
            wall.points.iter().map(at).collect::<Vec<_>>()
        };
        walls.iter().flat_map(of_wall).collect()
    }

    fn inwards(&self, p: &Point) -> (f64, f64) {
        ((p.x - self.mid_station) / self.length, p.y / self.length)
    }

    /// Rows of the fit that is linear for small leans: the six coefficients, then the distance.
    fn linear(&self, walls: &[Wall]) -> Vec<[f64; 7]> {
        let of_wall = |wall: &Wall| {
            let (sin, cos) = (wall.azimuth % 360.0).to_radians().sin_cos();
            let at = |p: &Point| {
                let (z, r) = self.inwards(p);
                [cos, sin, z * cos, z * sin, 1.0, z, r]
            };
            wall.points.iter().map(at).collect::<Vec<_>>()
        };
        walls.iter().flat_map(of_wall).collect()
    }

    /// How the parameters that can be told make the six of [`Fit`].
    fn basis(&self) -> DMatrix<f64> {
        match self.plane {
            None => DMatrix::identity(6, 6),
            Some(azimuth) => {
                let (sin, cos) = azimuth.sin_cos();
                let mut basis = DMatrix::zeros(6, 4);
                for k in 0..2 {
                    basis[(2 * k, k)] = cos;
                    basis[(2 * k + 1, k)] = sin;
                    basis[(4 + k, 2 + k)] = 1.0;
                }
                basis
            }
        }
    }
}

/// The azimuth (in radians) of the plane that all walls lie in, if they do.
fn plane(azimuths: &[f64]) -> Result<Option<f64>, FormError> {
    let Some(&first) = azimuths.first() else {
        return Ok(None);
    };
    // Turned from the first wall, from -180 up to 180.
    let turned = |a: f64| (a % 360.0 - first % 360.0 + 540.0).rem_euclid(360.0) - 180.0;
    let turns: Vec<f64> = azimuths.iter().map(|&a| turned(a)).collect();
    let same = |a: &f64| a.abs() <= SAME_AZIMUTH;
    let opposite = |a: &f64| 180.0 - a.abs() <= SAME_AZIMUTH;
    if turns.iter().all(same) {
        return Err(not_told("all walls are on one side", f64::INFINITY));
    }
    if turns.iter().all(|a| same(a) || opposite(a)) {
        return Ok(Some((first % 360.0).to_radians()));
    }
    // A third direction is one that differs from the first and from the second.
    let second = turns.iter().find(|a| !same(a)).copied().unwrap_or(0.0);
    let other = |a: &&f64| {
        let from_second = (*a - second).abs();
        !same(a) && from_second.min(360.0 - from_second) > SAME_AZIMUTH
    };
    if turns.iter().any(|a| other(&a)) {
        Ok(None)
    } else {
        let reason = "two walls tell it only if they are opposite";
        Err(not_told(reason, f64::INFINITY))
    }
}

/// The iteration. The six parameters: place of the axis (2), its slopes (2), radius, half angle in
/// radians.
#[derive(Clone, Debug)]
struct Fit {
    points: Vec<Vector3<f64>>,
    basis: DMatrix<f64>,
    parameters: DVector<f64>,
}

/// Distance of a point from the surface, and its derivatives.
fn distance(p: &Vector3<f64>, q: &SVector<f64, 6>) -> (f64, SVector<f64, 6>) {
    let direction = Vector3::new(q[2], q[3], 1.0);
    let norm = direction.norm();
    let along = direction / norm;
    let from = p - Vector3::new(q[0], q[1], 0.0);
    let height = from.dot(&along);
    let square = from - along * height;
    let rho = square.norm();
    // On the axis itself every way out is as good.
    let out = if rho > 0.0 {
        square / rho
    } else {
        Vector3::zeros()
    };
    let (sin, cos) = q[5].sin_cos();
    let beyond = rho - q[4];
    let mut slope = SVector::<f64, 6>::zeros();
    for k in 0..2 {
        let turn = (Vector3::ith(k, 1.0) - along * along[k]) / norm;
        slope[k] = -out[k] * cos + along[k] * sin;
        slope[2 + k] = -height * out.dot(&turn) * cos - from.dot(&turn) * sin;
    }
    slope[4] = -cos;
    slope[5] = -beyond * sin - height * cos;
    (beyond * cos - height * sin, slope)
}

impl Fit {
    fn six(&self, parameters: &DVector<f64>) -> SVector<f64, 6> {
        let six = &self.basis * parameters;
        SVector::from_fn(|i, _| six[i])
    }

    fn rss(&self, parameters: &DVector<f64>) -> f64 {
        let q = self.six(parameters);
        let squares = self.points.iter().map(|p| distance(p, &q).0.powi(2));
        squares.sum()
    }

    /// Residuals and their derivatives by the parameters that can be told.
    fn jacobian(&self) -> (DVector<f64>, DMatrix<f64>) {
        let q = self.six(&self.parameters);
        let n = self.points.len();
        let mut residuals = DVector::zeros(n);
        let mut slopes = DMatrix::zeros(n, 6);
        for (i, p) in self.points.iter().enumerate() {
            let (residual, slope) = distance(p, &q);
            residuals[i] = residual;
            slopes.set_row(i, &slope.transpose());
        }
        (residuals, slopes * &self.basis)
    }

    fn start(&mut self, rows: &[[f64; 7]]) -> Result<(), FormError> {
        let six = DMatrix::from_fn(rows.len(), 6, |i, k| rows[i][k]);
        let outward = DVector::from_fn(rows.len(), |i, _| rows[i][6]);
        let design = six * &self.basis;
        let (_, condition) = unit_columns(&design);
        if condition > MOST_CONDITION {
            let reason = "the walls are too few, too short or too much on one side";
            return Err(not_told(reason, condition));
        }
        let solution = design.svd(true, true).solve(&outward, 0.0);
        self.parameters = solution.map_err(|_| not_told("no start was found", condition))?;
        let k = self.parameters.len() - 1;
        self.parameters[k] = self.parameters[k].atan();
        Ok(())
    }

    fn descend(&mut self) -> Result<(), FormError> {
        let mut damping = 1e-3;
        let mut rss = self.rss(&self.parameters);
        for _ in 0..MOST_STEPS {
            let (residuals, slopes) = self.jacobian();
            let gradient = slopes.tr_mul(&residuals);
            let normal = slopes.tr_mul(&slopes);
            let mut damped = normal.clone();
            for k in 0..normal.nrows() {
                damped[(k, k)] *= 1.0 + damping;
            }
            let Some(factor) = damped.cholesky() else {
                return Err(not_told("the fit did not settle", f64::INFINITY));
            };
            let step = factor.solve(&gradient);
            let next = &self.parameters - &step;
            let next_rss = self.rss(&next);
            if next_rss <= rss {
                self.parameters = next;
                rss = next_rss;
                damping = (damping * 0.1_f64).max(1e-15);
                // All parameters are of the order of 1.
                if step.amax() <= 1e-14 {
                    return Ok(());
                }
            } else if step.amax() <= 1e-9 && damping <= 1e-3 {
                // Rounding hides what the step would gain.
                return Ok(());
            } else {
                damping *= 10.0;
            }
        }
        Err(not_told("the fit did not settle", f64::INFINITY))
    }

    fn cone(&self, frame: &Frame) -> Result<Cone, FormError> {
        let (residuals, slopes) = self.jacobian();
        let (lengths, condition) = unit_columns(&slopes);
        let q = self.six(&self.parameters);
        if condition > MOST_CONDITION || q[5].abs() >= std::f64::consts::FRAC_PI_2 {
            let reason = "the walls are too few, too short or too much on one side";
            return Err(not_told(reason, condition));
        }
        let (n, k) = slopes.shape();
        let rss = residuals.norm_squared();
        let sd = (n > k).then(|| (rss / (n - k) as f64).sqrt());
        let covariance = covariance(&slopes, &lengths);
        let errors = sd.zip(covariance).map(|(sd, covariance)| {
            let six: SMatrix<f64, 6, 6> = {
                let whole = &self.basis * covariance * self.basis.transpose();
                SMatrix::from_fn(|i, j| whole[(i, j)])
            };
            let error = |i: usize| sd * six[(i, i)].max(0.0).sqrt();
            ConeErrors {
                axis: (error(0) * frame.length, error(1) * frame.length),
                slopes: (error(2), error(3)),
                radius: error(4) * frame.length,
                half_angle: error(5).to_degrees(),
            }
        });
        let norm = 1.0_f64.hypot(q[2].hypot(q[3]));
        let apex = frame.mid_station - frame.length * q[4] / q[5].tan() / norm;
        let direction = q[3].atan2(q[2]).to_degrees().rem_euclid(360.0);
        Ok(Cone {
            n,
            mid_station: frame.mid_station,
            axis: (q[0] * frame.length, q[1] * frame.length),
            slopes: (q[2], q[3]),
            lean: q[2].hypot(q[3]).atan().to_degrees(),
            // rem_euclid may round up to the modulus itself.
            lean_direction: if direction < 360.0 { direction } else { 0.0 },
            radius: q[4] * frame.length,
            half_angle: q[5].to_degrees(),
            apex_station: Some(apex).filter(|apex| apex.is_finite() && q[5].abs() > CYLINDER),
            rss: rss * frame.length * frame.length,
            residual_sd: sd.map(|sd| sd * frame.length),
            errors,
            condition,
            plane: frame.plane.map(f64::to_degrees),
        })
    }
}

/// Lengths of the columns, and the condition number once they are of unit length.
fn unit_columns(matrix: &DMatrix<f64>) -> (Vec<f64>, f64) {
    let lengths: Vec<f64> = matrix.column_iter().map(|column| column.norm()).collect();
    let unit = DMatrix::from_fn(matrix.nrows(), matrix.ncols(), |i, k| {
        matrix[(i, k)] / lengths[k].max(f64::MIN_POSITIVE)
    });
    if unit.iter().any(|value| !value.is_finite()) {
        return (lengths, f64::INFINITY);
    }
    let values = unit.singular_values();
    let condition = values.max() / values.min();
    let condition = if condition.is_nan() {
        f64::INFINITY
    } else {
        condition
    };
    (lengths, condition)
}

/// Inverse of the normal matrix, by way of columns of unit length.
fn covariance(slopes: &DMatrix<f64>, lengths: &[f64]) -> Option<DMatrix<f64>> {
    let unit = DMatrix::from_fn(slopes.nrows(), slopes.ncols(), |i, k| {
        slopes[(i, k)] / lengths[k]
    });
    let inverse = unit.tr_mul(&unit).cholesky()?.inverse();
    Some(DMatrix::from_fn(lengths.len(), lengths.len(), |i, k| {
        inverse[(i, k)] / lengths[i] / lengths[k]
    }))
}
