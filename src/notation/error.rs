//! What was wrong with a written size.

use super::{Quantity, Unit};

/// Why a cell's text is no size. The message says what was expected; the caller adds the place.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NotationError {
    /// The text is not one of the known forms.
    #[error("not a number; expected {}", .quantity.examples())]
    NotASize {
        /// What the column measures.
        quantity: Quantity,
    },
    /// A formula of a spreadsheet that failed: `#N/A`, `#DIV/0!`.
    #[error("an error of the spreadsheet; mend it or leave the cell empty")]
    SpreadsheetError,
    /// The writer was not sure.
    #[error("an unsure size; write its limits, such as 4.5 ± 0.3, or leave it empty")]
    Unsure,
    /// A comma in a file whose decimal mark is a point.
    #[error("decimal comma in a file whose decimal mark is a point; expected a form such as 4.6")]
    DecimalComma,
    /// A point in a file whose decimal mark is a comma.
    #[error("decimal point in a file whose decimal mark is a comma; expected a form such as 4,6")]
    DecimalPoint,
    /// NaN, infinity, or a number too large to hold.
    #[error("not a finite number; expected {}", .quantity.examples())]
    NotFinite {
        /// What the column measures.
        quantity: Quantity,
    },
    /// A fraction over nothing.
    #[error("the fraction has a zero denominator; expected a form such as 11/64")]
    ZeroDenominator,
    /// A mixed number whose fraction is not less than one.
    #[error("the fraction after a whole number must be less than 1; expected a form such as 1 3/8")]
    ImproperMixed,
    /// More than one number where one was expected.
    #[error("more than one number; expected one size such as 4.6, 1 3/8 or 5/32..11/64")]
    SeveralNumbers,
    /// A drill mark in the wrong place.
    #[error("a number drill is written #22 or no. 22, a letter drill `letter F`")]
    DrillMark,
    /// No such drill.
    #[error("no such drill; number drills run from #1 to #80, letter drills from A to Z")]
    UnknownDrill,
    /// A drill or a bare inch fraction in a column that is no length.
    #[error("a {form} is read as inches, but this column is in {}; write the unit or a decimal", .unit.symbol())]
    InchFormElsewhere {
        /// `drill size` or `bare fraction`.
        form: &'static str,
        /// The unit of the column.
        unit: Unit,
    },
    /// A unit that does not measure what the column holds.
    #[error("the unit {} does not fit; expected {}", .unit.symbol(), .quantity.units())]
    WrongUnit {
        /// The unit as read.
        unit: Unit,
        /// What the column measures.
        quantity: Quantity,
    },
    /// A gauge pair with the wrong order or a missing end.
    #[error("a gauge range needs two ends, the smaller first, such as 5/32..11/64")]
    GaugeRange,
    /// A half-width that is negative, or not a number.
    #[error("the half-width after ± must be positive and less than the size, such as 4.6 ± 0.1")]
    HalfWidth,
    /// Braces that are not closed, or not at the end.
    #[error("braces hold the state and stand at the end, such as 4.6 {{worn}}")]
    Braces,
    /// Longer than any size can be.
    #[error("far too long for a size; expected {}", .quantity.examples())]
    TooLong {
        /// What the column measures.
        quantity: Quantity,
    },
}
