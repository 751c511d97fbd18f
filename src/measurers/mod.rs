//! Measurers: how far different people's and instruments' readings differ, and what one is worth.
//!
//! | file | holds |
//! |---|---|
//! | `repeats` | the readings of places that were read more than once, slips set aside |
//! | `study` | one dimension: repeatability, reproducibility, bias |
//! | `rest` | who is off, taken out one after the other, and whether the rest agree |
//! | `reading_error` | what a reading without an uncertainty of its own is worth |
//!
//! Only differences between readings of the same place of the same piece speak, in the unit of the
//! dimension: the errors of a calliper do not grow with what it measures. `docs/measurers.md` has the
//! formulas.

mod reading_error;
mod repeats;
mod rest;
mod study;

pub use reading_error::{ReadingError, ReadingErrors};
pub use repeats::SetAsideRepeats;
pub use study::{Bias, Factor, OfRest, Reach, Scope, Spread, Study};

use crate::stats::{StatsError, holm};
use crate::table::Table;
use repeats::Repeats;

/// Repeats that are needed before a reading's uncertainty is taken from them, in degrees of freedom:
/// with 8 a standard deviation is known to a quarter of itself, about 1 / sqrt(2 df) (JCGM 100:2008,
/// E.4.3, from memory).
pub const LEAST_FREEDOM: usize = 8;

/// All that the repeats of a table say of its measurers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Measurers {
    /// Each dimension with repeats, then the same by instrument, then all dimensions of one unit
    /// together.
    pub studies: Vec<Study>,
    /// How far each measurer and each instrument is off, in the order of `studies`.
    pub biases: Vec<Bias>,
    /// What readings without an uncertainty of their own are worth.
    pub errors: ReadingErrors,
}

/// What the repeats of a table with details say; nothing without details or repeats.
///
/// # Errors
/// [`StatsError::NotAProbability`] for the confidence.
pub fn measurers(table: &Table, confidence: f64) -> Result<Measurers, StatsError> {
    crate::stats::sd_interval(1.0, 1.0, confidence)
        .ok_or(StatsError::NotAProbability { value: confidence })?;
    let repeats = Repeats::gather(table, |_| true);
    let mut all = Measurers {
        errors: ReadingErrors::of(table),
        ..Measurers::default()
    };
    for scope in repeats.scopes(table) {
        let chosen = repeats.of(table, &scope);
        let (study, biases) = study::study(table, &repeats, scope, &chosen, confidence);
        all.studies.extend(study);
        all.biases.extend(biases);
    }
    let comparisons = adjust(&mut all.biases);
    rest::take_out(table, &repeats, &mut all.biases, comparisons, confidence);
    Ok(all)
}

/// Adjusts the p of all biases together and says how many there are. The two of a pair say the same
/// and count once.
fn adjust(biases: &mut [Bias]) -> usize {
    let counts: Vec<usize> = (0..biases.len())
        .filter(|&at| biases[at].p.is_some() && !biases[at].mirrors_last)
        .collect();
    let p: Vec<f64> = counts.iter().filter_map(|&at| biases[at].p).collect();
    for (&at, adjusted) in counts.iter().zip(holm(&p)) {
        biases[at].p_adjusted = Some(adjusted);
    }
    for at in 1..biases.len() {
        if biases[at].mirrors_last {
            biases[at].p_adjusted = biases[at - 1].p_adjusted;
        }
    }
    counts.len()
}
