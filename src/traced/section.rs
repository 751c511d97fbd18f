//! The form of one section: how round it is, its diameter, how many sides it has.

use super::readings::Figure;
use super::surface::{self, AskedOf, largest_gap};
use crate::form::FormError;
use crate::form::lobes::{Lobes, lobes};
use crate::form::roundness::{
    Circle, MinimumZoneCircles, from_polar, least_squares_circle, maximum_inscribed,
    minimum_circumscribed, minimum_zone_circles,
};
use crate::form::Point;
use crate::table::{Trace, TraceReading};

/// The form of one section. Lengths in mm.
#[derive(Clone, Debug, PartialEq)]
pub struct SectionForm {
    /// How many points.
    pub n: usize,
    /// The largest angle without a point, in degrees.
    pub largest_gap: f64,
    /// What form was asked of.
    pub asked_of: AskedOf,
    /// Standard uncertainty of one reading.
    pub reading_uncertainty: f64,
    /// The least-squares circle, and roundness by it (ISO 12181: LSCI).
    pub least_squares: Circle,
    /// The minimum zone circles (MZCI).
    pub minimum_zone: MinimumZoneCircles,
    /// The maximum inscribed circle (MICI); none where the points do not close round it.
    pub inscribed: Option<Circle>,
    /// The minimum circumscribed circle (MCCI).
    pub circumscribed: Circle,
    /// Undulations; none where the points are too few to tell.
    pub lobes: Option<Lobes>,
}

impl SectionForm {
    /// Roundness (minimum zone) and its standard uncertainty from that of the readings, in mm.
    pub fn roundness(&self) -> (f64, f64) {
        let zone = &self.minimum_zone;
        (zone.width, zone.uncertainty(self.reading_uncertainty))
    }
}

type Polar = (Vec<f64>, Vec<f64>, AskedOf, f64);

fn polar(trace: &Trace) -> Result<Polar, FormError> {
    let TraceReading::Points {
        stations,
        readings,
        uncertainty,
    } = &trace.reading
    else {
        return Err(FormError::TooFewPoints {
            form: "a section",
            needed: 3,
            found: 0,
        });
    };
    let (radii, asked_of) = surface::section(stations, readings, trace.feature.feature.surface)?;
    Ok((stations.clone(), radii, asked_of, *uncertainty))
}

fn plane(angles: &[f64], radii: &[f64]) -> Vec<Point> {
    let points = angles.iter().zip(radii);
    points.map(|(&angle, &r)| from_polar(angle, r)).collect()
}

/// The form of a section.
///
/// # Errors
/// [`FormError`] where there are too few points, or an arc too short to tell a radius.
pub fn section_form(trace: &Trace) -> Result<SectionForm, FormError> {
    let (angles, radii, asked_of, u) = polar(trace)?;
    let points = plane(&angles, &radii);
    Ok(SectionForm {
        n: points.len(),
        largest_gap: largest_gap(&angles),
        asked_of,
        reading_uncertainty: u,
        least_squares: least_squares_circle(&points)?,
        minimum_zone: minimum_zone_circles(&points)?,
        inscribed: maximum_inscribed(&points).ok(),
        circumscribed: minimum_circumscribed(&points)?,
        lobes: lobes(&angles, &radii).ok(),
    })
}

/// Roundness, without what takes longer to find.
pub(super) fn roundness(trace: &Trace) -> Result<Figure, FormError> {
    let (angles, radii, _, u) = polar(trace)?;
    let zone = minimum_zone_circles(&plane(&angles, &radii))?;
    Ok(Figure::form_error(zone.width, zone.uncertainty(u), u))
}
