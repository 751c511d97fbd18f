//! The form of one section: how round it is, its diameter, how many sides it has.

use std::ops::RangeInclusive;

use super::readings::Figure;
use super::surface::{self, AskedOf, largest_gap};
use crate::catalogue::TraceKind;
use crate::form::FormError;
use crate::form::Point;
use crate::form::lobes::{Lobes, lobes};
use crate::form::roundness::{
    CircumscribedCircle, InscribedCircle, LeastSquaresCircle, MinimumZoneCircles,
    least_squares_circle, maximum_inscribed, minimum_circumscribed, minimum_zone_circles,
};
use crate::table::Trace;

/// Fewer points of a section make no reading of roundness (our convention).
const LEAST_POINTS: usize = 9;
/// Nor do points that leave out more than this angle, in degrees.
const LARGEST_GAP: f64 = 120.0;
/// Undulations per revolution that are looked for.
const ORDERS: RangeInclusive<u32> = 2..=15;
/// Of round sections that only scatter, this share is given a number of sides.
pub(super) const SIDES_ALPHA: f64 = 0.05;

/// The form of one section. Lengths in mm.
#[derive(Clone, Debug, PartialEq)]
pub struct SectionForm {
    /// How many points.
    pub n: usize,
    /// The largest angle without a point, in degrees.
    pub largest_gap: f64,
    /// What form was asked of.
    pub asked_of: AskedOf,
    /// Standard uncertainty of a point of that.
    pub point_uncertainty: f64,
    /// The least-squares circle, and roundness by it (ISO 12181: LSCI).
    pub least_squares: LeastSquaresCircle,
    /// The minimum zone circles (MZCI).
    pub minimum_zone: MinimumZoneCircles,
    /// The maximum inscribed circle (MICI); none where the points do not close round it.
    pub inscribed: Option<InscribedCircle>,
    /// The minimum circumscribed circle (MCCI).
    pub circumscribed: CircumscribedCircle,
    /// Undulations; none where the points are too few to tell.
    pub lobes: Option<Lobes>,
}

impl SectionForm {
    /// Roundness (minimum zone) and its standard uncertainty from that of the readings, in mm.
    pub fn roundness(&self) -> (f64, f64) {
        let zone = &self.minimum_zone;
        (zone.width, zone.uncertainty(self.point_uncertainty))
    }
}

/// A section's points as form is asked of them, what that was, and the readings themselves.
struct Read<'t> {
    points: Vec<Point>,
    asked_of: AskedOf,
    angles: &'t [f64],
    radii: &'t [f64],
    /// Standard uncertainty of a point of what form is asked of.
    uncertainty: f64,
}

fn read(trace: &Trace) -> Result<Read<'_>, FormError> {
    let read = trace.reading.points();
    let (angles, radii) = (read.stations, read.readings);
    let surface = trace.feature.feature.surface;
    let (points, asked_of, uncertainty) =
        surface::section(angles, radii, surface, read.uncertainty)?;
    Ok(Read {
        points,
        asked_of,
        angles,
        radii,
        uncertainty,
    })
}

/// The form of a section.
///
/// # Errors
/// [`FormError`] where there are too few points, or an arc too short to tell a radius.
pub fn section_form(trace: &Trace) -> Result<SectionForm, FormError> {
    let read = read(trace)?;
    let points = &read.points;
    Ok(SectionForm {
        n: read.angles.len(),
        largest_gap: largest_gap(read.angles),
        asked_of: read.asked_of,
        point_uncertainty: read.uncertainty,
        least_squares: least_squares_circle(points)?,
        minimum_zone: minimum_zone_circles(points)?,
        inscribed: maximum_inscribed(points).ok(),
        circumscribed: minimum_circumscribed(points)?,
        // Of the readings: a mean line's points are no longer independent of one another.
        lobes: lobes(read.angles, read.radii, ORDERS, SIDES_ALPHA).ok(),
    })
}

/// Roundness, without what takes longer to find.
///
/// # Errors
/// [`FormError`], also for fewer points, or points less far round, than tell a form that norms can
/// be made of.
pub(super) fn roundness(trace: &Trace) -> Result<Figure, FormError> {
    let read = read(trace)?;
    if read.angles.len() < LEAST_POINTS || largest_gap(read.angles) > LARGEST_GAP {
        return Err(FormError::TooFewPoints {
            form: "a reading of roundness, which goes two thirds of the way round,",
            needed: LEAST_POINTS,
            found: read.angles.len(),
        });
    }
    let zone = minimum_zone_circles(&read.points)?;
    let known = zone.uncertainty(read.uncertainty);
    Ok(Figure::form_error(
        zone.width,
        known,
        read.points.len(),
        read.uncertainty,
    ))
}

/// A number of sides that stands out of the scatter of a section.
#[derive(Clone, Debug, PartialEq)]
pub struct Sides {
    /// What was traced, and where: `bowl_section@22`.
    pub feature: String,
    /// Undulations per revolution.
    pub sides: u32,
    /// Their amplitude in mm: half the difference between crest and trough.
    pub amplitude: f64,
    /// Probability of so clear a number of sides in a round section.
    pub p: f64,
}

/// The number of sides of a section, where one stands out; `None` also for another kind of trace.
pub fn sides(trace: &Trace) -> Option<Sides> {
    if trace.feature.feature.kind != TraceKind::Section {
        return None;
    }
    let read = trace.reading.points();
    let lobes = lobes(read.stations, read.readings, ORDERS, SIDES_ALPHA).ok()?;
    let sides = lobes.sides?;
    let lobe = lobes.orders.iter().find(|lobe| lobe.order == sides)?;
    Some(Sides {
        feature: trace.feature.to_string(),
        sides,
        amplitude: lobe.amplitude,
        p: lobe.p_adjusted,
    })
}
