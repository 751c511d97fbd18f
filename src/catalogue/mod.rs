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
//! | `work` | what can be done by taking material off, and what moves with it |
//! | `straightening` | how traced outlines are made straight |
//! | `floor` | what must remain |
//! | `workshop` | works, straightenings and floors together |
//! | `precaution` | what to mind at the bench |
//! | `rows` | tables of works and floors, with the user's own laid over them |
//!
//! The dimensions of the trade are data (`dimensions.csv`), not code; so are works and floors.

mod day;
mod dimension;
mod feature;
mod floor;
mod made;
mod names;
mod period;
mod precaution;
mod rows;
mod state;
mod straightening;
mod work;
mod workshop;

pub use day::{Day, NotADay};
pub use dimension::{Catalogue, Dimension, Direction, Kind};
pub use feature::{Feature, FeatureName, NotAFeature, Surface, TraceKind};
pub use floor::{Floor, FloorKind};
pub use made::{NotADate, YearRange, is_undated};
pub use names::{fold, look_like_one, nearest};
pub use period::{Period, PeriodError, Periods, Standing};
pub use precaution::{Precaution, precautions};
pub use rows::{RowFault, RowFaults};
pub use state::State;
pub use straightening::Straightening;
pub(crate) use work::factor;
pub use work::{Material, Size, Solid, Terms, Tool, Work};
pub use workshop::Workshop;
