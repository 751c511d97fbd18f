//! Verdicts: how one piece stands to its pattern's norm, dimension by dimension.
//!
//! | file | holds |
//! |---|---|
//! | `label` | the four labels, and how a piece's dimensions make up its own |
//! | `caution` | what to bear in mind with a verdict |
//! | `check` | one piece, every dimension |
//! | `joint` | size and shape of one piece, all dimensions together |
//! | `finish` | the colour of one piece as a whole |
//! | `outline` | traced outlines of one piece, each over its whole length |
//! | `working` | every number between the readings and the label |
//! | `flag` | every out-of-norm reading of a whole source, fast |
//!
//! A piece's own readings never count in the norm it is judged by. A verdict is about dimensions;
//! it neither dates nor authenticates a piece.

mod caution;
mod check;
mod finish;
mod flag;
mod joint;
mod label;
mod outline;
mod working;

pub use caution::Caution;
pub use check::{
    Check, DimensionCheck, Judged, check, check_against, references, references_against,
    tolerances, tolerances_against,
};
pub(crate) use check::{Piece, check_dimensions};
pub use finish::Finish;
pub use flag::{Flag, flag};
pub use joint::{Joint, Shape};
pub use label::Verdict;
pub use outline::{BandStation, Excursion, OutlineCheck};
pub use working::{
    DimensionWorking, Lender, Steps, WeighedReference, Working, working, working_against,
};
