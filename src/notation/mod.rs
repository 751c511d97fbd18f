//! What people write in a cell: text to value, unit and standard uncertainty.
//!
//! The forms are those of `docs/formats.md`: decimals with or without a unit, inch fractions and
//! mixed numbers, number and letter drills, go/no-go gauge pairs, plus-minus half-widths. Nothing
//! is guessed: what can be read in two ways is an error that says what was expected.
//!
//! | file | holds |
//! |---|---|
//! | `cell` | a whole cell: braces, gauge pairs, plus-minus |
//! | `number` | one size: decimal, fraction, mixed number, drill |
//! | `drill` | the standard twist drill sizes, inch and metric |
//! | `unit` | units, and the unit in a column's heading |
//! | `error` | what was wrong with a text, and what was expected |
//!
//! This room knows nothing of pipes, files or people.

mod cell;
mod drill;
mod error;
mod number;
mod unit;

pub use cell::{Context, Written, is_given, is_uncertainty_of, read_cell};
pub use drill::{Drill, DrillSeries, DrillSet, drill_for, drills};
pub use error::NotationError;
pub(crate) use number::plain_signed;
pub use number::{DecimalMark, plain_decimal};
pub use unit::{Quantity, Unit, inches, split_heading};
