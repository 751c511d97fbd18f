//! Periods: do the good ones agree, how far did others leave them, when did a dimension shift, and
//! which period does an undated piece resemble?
//!
//! | file | holds |
//! |---|---|
//! | `comparison` | period against period, one dimension at a time and over all patterns of a maker |
//! | `dating` | which periods an undated piece resembles |
//! | `shift` | the years in which a dimension shifted |

pub mod comparison;
mod dating;
mod shift;

pub use dating::{
    Answer, Candidate, DECIDED, Dater, Dating, DimensionSays, Grounds, LeftOut, NOTE, Nothing,
    Under, Weighing, Why,
};
pub use shift::{FEWEST_DATED, Scope, ShiftYears, Size, Untold, What, shift_years};
