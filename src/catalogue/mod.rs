//! What can be measured, and when pipes were made: dimensions, production periods, states.
//!
//! | file | holds |
//! |---|---|
//! | `day` | a day of the calendar |
//! | `dimension` | what can be measured: unit, how, credible range, which way wear moves it |
//! | `feature` | what can be traced: outlines, sections, colours |
//! | `names` | one spelling for many: letter case, blanks, dashes, dots and underscores alike |
//! | `period` | a maker's named spans of years and their standing |
//! | `made` | when a piece was made: a year or a range of years |
//! | `state` | the state of a reading: factory, worn, reworked, replaced, unknown |
//!
//! The dimensions of the trade are data (`dimensions.csv`), not code.

mod day;
mod dimension;
mod feature;
mod made;
mod names;
mod period;
mod state;

pub use day::{Day, NotADay};
pub use dimension::{Catalogue, Dimension, Direction, Kind};
pub use feature::{Feature, FeatureName, NotAFeature, Surface, TraceKind};
pub use made::{NotADate, YearRange, is_undated};
pub use names::{fold, look_like_one, nearest};
pub use period::{Period, PeriodError, Periods, Standing};
pub use state::State;
