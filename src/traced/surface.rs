//! The line that form is asked of, so that the grain of a surface is not taken for form.
//!
//! A blasted or carved bowl keeps its outline in what is left standing: a straightedge laid against
//! it touches the ridges. So a wall is asked for its envelope: what a ball rolled along the outside
//! would touch (morphological closing, ISO 16610-41). A ball of 25 mm closes a pit 3 mm wide to
//! within 3^2 / (8 x 25) = 0.05 mm, and leaves a scoop that is a fault (0.6 mm over 40 mm: a radius
//! of 330 mm) as it is. A section is asked for its mean line: of many points that of the Gaussian filter
//! of the closed profile about the centre of its least-squares circle, with a cut-off of 15
//! undulations per revolution, which keeps half of the 15th and nearly all of the lower ones; of fewer
//! points the sum of the undulations that they can tell, so that a few pits are not taken for form.
//! Ball and cut-off are our convention.

use std::fmt;

use super::section::SIDES_ALPHA;
use crate::catalogue::Surface;
use crate::form::filter::{Order, closed_gaussian_regression, envelope};
use crate::form::lobes::{Lobe, Lobes, lobes};
use crate::form::roundness::{from_polar, least_squares_circle};
use crate::form::{FormError, Point};

/// Radius of the ball that rolls along a wall, in mm.
const BALL: f64 = 25.0;
/// Cut-off of a section's mean line, in undulations per revolution.
const CUT_OFF: f64 = 15.0;
/// Points that each of these undulations must have for the filter.
const POINTS_PER_UNDULATION: f64 = 4.0;

/// What form was asked of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum AskedOf {
    /// The points as they were read.
    Points,
    /// What a ball of this radius (mm) would touch.
    Envelope {
        /// In mm.
        radius: f64,
    },
    /// The mean line of a Gaussian filter.
    MeanLine {
        /// Cut-off in undulations per revolution.
        cut_off: f64,
    },
    /// The sum of all undulations up to this order, by least squares.
    Undulations {
        /// The highest order.
        highest: u32,
    },
}

impl fmt::Display for AskedOf {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            AskedOf::Points => f.write_str("the points as read"),
            AskedOf::Envelope { radius } => {
                write!(f, "the envelope of a ball of radius {radius} mm")
            }
            AskedOf::MeanLine { cut_off } => write!(
                f,
                "the mean line of a Gaussian filter, cut-off {cut_off} undulations per revolution"
            ),
            AskedOf::Undulations { highest } => write!(
                f,
                "the mean line of up to {highest} undulations per revolution"
            ),
        }
    }
}

/// An outline, in order of its stations, as its feature's definition asks for it.
pub(super) fn outline(
    mut points: Vec<Point>,
    surface: Surface,
) -> Result<(Vec<Point>, AskedOf), FormError> {
    points.sort_by(|a, b| a.x.total_cmp(&b.x));
    match surface {
        Surface::Points | Surface::MeanLine => Ok((points, AskedOf::Points)),
        Surface::Envelope => {
            let touched = envelope(&points, BALL)?;
            Ok((touched, AskedOf::Envelope { radius: BALL }))
        }
    }
}

/// What form is asked of: points, what they are, and the standard uncertainty of one.
pub(super) type Asked = (Vec<Point>, AskedOf, f64);

/// A section's points as their feature's definition asks for them; `u` is the standard uncertainty
/// of one reading.
pub(super) fn section(
    angles: &[f64],
    radii: &[f64],
    surface: Surface,
    u: f64,
) -> Result<Asked, FormError> {
    let read = angles.iter().zip(radii);
    let read: Vec<Point> = read.map(|(&angle, &r)| from_polar(angle, r)).collect();
    if surface != Surface::MeanLine {
        return Ok((read, AskedOf::Points, u));
    }
    if largest_gap(angles) * CUT_OFF * POINTS_PER_UNDULATION <= 360.0 {
        let centre = least_squares_circle(&read)?.centre;
        let profile: Vec<Point> = read.iter().map(|p| about(centre, p)).collect();
        let line = closed_gaussian_regression(&profile, CUT_OFF, Order::Level, false)?;
        let points = line.iter().map(|p| from_polar(p.x, p.y)).collect();
        return Ok((points, AskedOf::MeanLine { cut_off: CUT_OFF }, u));
    }
    // Where the points are too few for any undulation, they are all there is.
    match lobes(angles, radii, 2..=CUT_OFF as u32, SIDES_ALPHA) {
        Ok(lobes) => Ok(undulations(&read, &lobes, u)),
        Err(_) => Ok((read, AskedOf::Points, u)),
    }
}

/// Angle in degrees and radius of a point about a centre.
fn about(centre: Point, p: &Point) -> Point {
    let (x, y) = (p.x - centre.x, p.y - centre.y);
    Point {
        x: y.atan2(x).to_degrees(),
        y: x.hypot(y),
    }
}

/// The mean line that a section's undulations make, at the angles of its points. As p of n
/// readings' freedom goes into it, a point of it is known to their scatter times sqrt(p / n).
fn undulations(read: &[Point], lobes: &Lobes, u: f64) -> Asked {
    let at = |p: &Point| {
        let angle = about(lobes.centre, p).x;
        let wave = |lobe: &Lobe| {
            let turn = f64::from(lobe.order) * (angle - lobe.crest_deg);
            lobe.amplitude * turn.to_radians().cos()
        };
        let radius = lobes.radius + lobes.orders.iter().map(wave).sum::<f64>();
        let of_centre = from_polar(angle, radius);
        Point {
            x: lobes.centre.x + of_centre.x,
            y: lobes.centre.y + of_centre.y,
        }
    };
    let highest = lobes.orders.last().map_or(0, |lobe| lobe.order);
    let p = (read.len() - lobes.freedom) as f64;
    let scatter = lobes.residual_sd.max(u) * (p / read.len() as f64).sqrt();
    let points = read.iter().map(at).collect();
    (points, AskedOf::Undulations { highest }, scatter)
}

/// The largest angle between neighbours on the full circle, in degrees.
pub(super) fn largest_gap(angles: &[f64]) -> f64 {
    let mut round: Vec<f64> = angles.iter().map(|a| a.rem_euclid(360.0)).collect();
    round.sort_by(f64::total_cmp);
    let Some((&first, &last)) = round.first().zip(round.last()) else {
        return 360.0;
    };
    let inner = round.windows(2).map(|pair| pair[1] - pair[0]);
    inner.fold(first + 360.0 - last, f64::max)
}
