//! The form of one outline: how straight it is, how it tapers, where it leaves its line.

use super::readings::Figure;
use super::surface::{self, AskedOf};
use crate::form::departures::{Departures, departures};
use crate::form::straightness::{LeastSquaresLine, MinimumZone, least_squares, minimum_zone};
use crate::form::two_lines::{TwoLines, two_lines};
use crate::form::{FormError, Point};
use crate::table::Trace;

/// How far an outline may stray from its line before that is told, in mm (common practice, no
/// source).
pub const DEFAULT_TOLERANCE: f64 = 0.1;

/// Readings scatter; a tolerance of less than this many standard uncertainties would tell of them.
const SCATTER: f64 = 4.0;

/// Fewer points of an outline make no reading: two are always straight (our convention).
const LEAST_POINTS: usize = 5;
/// Confidence of the place of a break.
const BREAK_CONFIDENCE: f64 = 0.95;

/// The form of one outline. Lengths in mm.
#[derive(Clone, Debug, PartialEq)]
pub struct OutlineForm {
    /// How many points.
    pub n: usize,
    /// First and last station.
    pub stations: (f64, f64),
    /// What form was asked of.
    pub asked_of: AskedOf,
    /// Standard uncertainty of one reading.
    pub reading_uncertainty: f64,
    /// Lean of the least-squares line against the base line, outward positive, in degrees.
    pub angle: Angle,
    /// The least-squares line.
    pub line: LeastSquaresLine,
    /// Straightness by the minimum zone (ISO 12780).
    pub zone: MinimumZone,
    /// Where it leaves the line that it should keep.
    pub departures: Departures,
    /// The tolerance of these departures: as asked for, or more where readings scatter more.
    pub tolerance: f64,
    /// Where it breaks into two lines; none where the points are too few to tell.
    pub two_lines: Option<TwoLines>,
}

/// An angle in degrees and its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Angle {
    /// In degrees.
    pub degrees: f64,
    /// Standard uncertainty, in degrees.
    pub uncertainty: f64,
}

impl OutlineForm {
    /// Straightness (minimum zone) and its standard uncertainty from that of the readings, in mm.
    pub fn straightness(&self) -> (f64, f64) {
        let u = self.zone.uncertainty(self.reading_uncertainty);
        // Points that all lie on one line have no apex; each end and the middle weigh then as usual.
        (self.zone.width, u.unwrap_or(self.reading_uncertainty))
    }
}

/// The points of an outline as form is asked of them, what that was, and the standard uncertainty of
/// a reading; no points of another kind of trace.
pub(super) fn points(trace: &Trace) -> Result<(Vec<Point>, AskedOf, f64), FormError> {
    let read = trace.reading.points();
    let points = read.stations.iter().zip(read.readings);
    let points = points.map(|(&x, &y)| Point { x, y }).collect();
    let (points, asked_of) = surface::outline(points, trace.feature.feature.surface)?;
    Ok((points, asked_of, read.uncertainty))
}

/// The points of an outline as form is asked of them, in the coordinates of the trace: without the grain of
/// a blasted or carved wall.
///
/// # Errors
/// [`FormError`] where they are too few to tell.
pub fn outline_points(trace: &Trace) -> Result<Vec<Point>, FormError> {
    Ok(points(trace)?.0)
}

/// The form of an outline.
///
/// # Errors
/// [`FormError`] where there are fewer than three different points or all at one station.
pub fn outline_form(trace: &Trace, tolerance: f64) -> Result<OutlineForm, FormError> {
    let (points, asked_of, u) = points(trace)?;
    let line = least_squares(&points)?;
    let zone = minimum_zone(&points)?;
    let tolerance = tolerance.max(SCATTER * u);
    Ok(OutlineForm {
        n: points.len(),
        stations: (points[0].x, points[points.len() - 1].x),
        asked_of,
        reading_uncertainty: u,
        angle: angle(&points, &line, u),
        line,
        zone,
        departures: departures(&points, tolerance)?,
        tolerance,
        two_lines: two_lines(&points, BREAK_CONFIDENCE).ok(),
    })
}

/// The lean of a line and its uncertainty: from the residuals about it, or from the readings' own
/// uncertainty where that is more.
fn angle(points: &[Point], line: &LeastSquaresLine, u: f64) -> Angle {
    let mean = points.iter().map(|p| p.x).sum::<f64>() / points.len() as f64;
    // No squares: they would leave the range of a 64-bit number long before the stations do.
    let spread = points.iter().fold(0.0, |sum: f64, p| sum.hypot(p.x - mean));
    let of_slope = line.residual_sd.unwrap_or(0.0).max(u) / spread;
    Angle {
        degrees: line.slope.atan().to_degrees(),
        uncertainty: (of_slope / (1.0 + line.slope.powi(2))).to_degrees(),
    }
}

/// Straightness and lean of an outline, without what takes longer to find.
pub(super) struct Straight {
    pub(super) straightness: Figure,
    pub(super) angle: Figure,
}

/// Straightness and lean, as norms take them.
///
/// # Errors
/// [`FormError`], also for fewer points than tell a form that norms can be made of.
pub(super) fn straight(trace: &Trace) -> Result<Straight, FormError> {
    let (points, _, u) = points(trace)?;
    if points.len() < LEAST_POINTS {
        return Err(FormError::TooFewPoints {
            form: "a reading of straightness",
            needed: LEAST_POINTS,
            found: points.len(),
        });
    }
    let zone = minimum_zone(&points)?;
    let angle = angle(&points, &least_squares(&points)?, u);
    let of_zone = zone.uncertainty(u).unwrap_or(u);
    Ok(Straight {
        straightness: Figure::form_error(zone.width, of_zone, points.len(), u),
        angle: Figure {
            value: angle.degrees,
            uncertainty: angle.uncertainty,
        },
    })
}
