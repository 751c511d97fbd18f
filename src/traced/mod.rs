//! What traces say of a piece: the form of its outlines and sections, the colour of its finish, and
//! the readings that norms and verdicts take from them.
//!
//! | file | holds |
//! |---|---|
//! | `surface` | the line that form is asked of: points, envelope or mean line |
//! | `outline` | the form of one outline: straightness, taper, where it leaves its line |
//! | `section` | the form of one section: roundness, diameter, number of sides |
//! | `bowl` | the cone of several walls of one bowl |
//! | `readings` | readings of dimensions, made of traces |
//! | `registered` | outlines laid on shared datum points, to be compared with one another |

mod bowl;
mod outline;
mod readings;
mod registered;
mod section;
mod surface;

pub use bowl::{BowlCone, bowl_cones};
pub use outline::{DEFAULT_TOLERANCE, OutlineForm, outline_form, outline_points};
pub use readings::ready;
pub use registered::{RegisteredOutline, STATIONS, register, registered_outlines};
pub use section::{SectionForm, Sides, section_form, sides};
pub use surface::AskedOf;

use crate::catalogue::TraceKind;
use crate::form::FormError;
use crate::form::colour::{ColourError, FinishColour, spots};
use crate::parallel;
use crate::table::{Trace, TraceReading};

/// What one trace says.
#[derive(Clone, Debug, PartialEq)]
pub enum Form {
    /// An outline.
    Outline(Box<OutlineForm>),
    /// A section.
    Section(Box<SectionForm>),
    /// A finish.
    Finish(Box<FinishColour>),
}

/// Why a trace says nothing.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TracedError {
    /// Its points do not tell a form.
    #[error(transparent)]
    Form(#[from] FormError),
    /// Its spots do not tell a colour.
    #[error(transparent)]
    Colour(#[from] ColourError),
}

/// The form of a trace; departures from straightness beyond `tolerance` (mm) are told apart.
///
/// # Errors
/// [`TracedError`] where its points are too few or do not tell a form.
pub fn form(trace: &Trace, tolerance: f64) -> Result<Form, TracedError> {
    match &trace.reading {
        TraceReading::Spots(of) => Ok(Form::Finish(Box::new(spots(of)?))),
        TraceReading::Points { .. } if trace.feature.feature.kind == TraceKind::Section => {
            Ok(Form::Section(Box::new(section_form(trace)?)))
        }
        TraceReading::Points { .. } => Ok(Form::Outline(Box::new(outline_form(trace, tolerance)?))),
    }
}

/// The forms of many traces, in their order.
pub fn forms(traces: &[Trace], tolerance: f64) -> Vec<Result<Form, TracedError>> {
    parallel::map(traces.len(), |at| form(&traces[at], tolerance))
}
