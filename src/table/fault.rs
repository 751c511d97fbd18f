//! What is wrong with a table, cell by cell, and where.

use std::fmt;

use super::trace_cells::TraceFault;
use crate::catalogue::NotADate;
use crate::notation::NotationError;

/// Where a cell stands, counted as a spreadsheet shows it: from 1, header and blank rows included.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// The file, as it was named.
    pub file: String,
    /// The row.
    pub row: usize,
    /// The physical line: another number than the row where a quoted cell holds line breaks.
    pub line: usize,
    /// The column, 0 for the row as a whole.
    pub column: usize,
    /// The column's heading.
    pub heading: String,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        // What was typed stands in no row.
        if self.row > 0 {
            write!(f, ", row {}", self.row)?;
        }
        if self.line != self.row {
            write!(f, " (line {})", self.line)?;
        }
        if self.column > 0 {
            write!(f, ", column {} ({})", self.column, short(&self.heading))?;
        }
        Ok(())
    }
}

/// One thing wrong, with its place and its text.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{place}: `{}`: {kind}", short(text))]
pub struct Fault {
    /// Where.
    pub place: Place,
    /// The cell as it stands there.
    pub text: String,
    /// What is wrong with it.
    pub kind: FaultKind,
}

/// What can be wrong with a cell, a heading or a row.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FaultKind {
    /// No size, or an ambiguous one.
    #[error(transparent)]
    Notation(#[from] NotationError),
    /// A size that is zero or less.
    #[error("expected a size greater than 0")]
    NotPositive,
    /// A form error of zero: nothing is perfect, and zero has no place among ratios.
    #[error(
        "expected a form error greater than 0; one too small to tell is written as half its limit, such as 0.02 for up to 0.04"
    )]
    NoFormError,
    /// No date of making.
    #[error(transparent)]
    NotADate(#[from] NotADate),
    /// No known state.
    #[error("not a state; expected factory, worn, reworked, replaced or unknown")]
    NotAState,
    /// No known unit.
    #[error("not a unit; expected mm, cm, in, g, oz or deg")]
    NotAUnit,
    /// No uncertainty.
    #[error(
        "not a standard uncertainty; expected a positive number less than the reading, in its unit"
    )]
    NotAnUncertainty,
    /// A row without a name.
    #[error("the row has no specimen; expected a name")]
    NoSpecimen,
    /// A name that stands for two rows.
    #[error("the specimen stands in row {first_row} already; expected one row a specimen")]
    DuplicateSpecimen {
        /// The row of its first appearance.
        first_row: usize,
    },
    /// A long row that says something else of its specimen than an earlier one.
    #[error(
        "row {first_row} says `{}` of this specimen; expected the same in all its rows",
        short(first)
    )]
    Contradiction {
        /// What the earlier row says.
        first: String,
        /// The earlier row.
        first_row: usize,
    },
    /// A row that is too short or too long.
    #[error("the row has {got} cells; expected {expected}, as in the header{}", if *open_quote { " (is a quotation mark left open?)" } else { "" })]
    CellCount {
        /// Cells in the header.
        expected: usize,
        /// Cells in the row.
        got: usize,
        /// Whether the row runs over several lines.
        open_quote: bool,
    },
    /// A name that is no dimension.
    #[error("no known dimension{}", suggestion(nearest))]
    UnknownDimension {
        /// The known names that look most like it.
        nearest: Vec<String>,
    },
    /// A heading that is neither a known column nor a dimension.
    #[error(
        "neither a known column nor a dimension{}",
        what_to_do(heading, nearest)
    )]
    UnknownColumn {
        /// The heading.
        heading: String,
        /// The known names that look most like it.
        nearest: Vec<String>,
    },
    /// A column that tells of single readings, in a table with one row a specimen.
    #[error(
        "`{column}` goes with one row a reading: the columns specimen, dimension, value, {}and a row for each \
         reading of each dimension (docs/formats.md); --skip '{}' leaves it out",
        match *column { "dimension" | "value" => String::new(), column => format!("{column} ") },
        short(heading)
    )]
    OfLongTables {
        /// The heading.
        heading: String,
        /// The column that it names.
        column: &'static str,
    },
    /// A cell in a column without a heading.
    #[error("the column has no heading; expected one, or empty cells")]
    NoHeading,
    /// Two columns for one thing.
    #[error(
        "column {first} ({}) holds this already; expected one column for it",
        short(first_heading)
    )]
    DuplicateColumn {
        /// The first column for it.
        first: usize,
        /// That column's heading.
        first_heading: String,
    },
    /// A unit in a heading that does not measure the dimension.
    #[error("the unit in the heading does not fit; {expected}")]
    HeadingUnit {
        /// What would.
        expected: String,
    },
    /// No year.
    #[error("not a year; expected four digits such as 1934")]
    NotAYear,
    /// A period that ends before it begins.
    #[error("the period ends before it begins")]
    BackwardPeriod,
    /// No standing.
    #[error("not a standing; expected good, poor or unrated")]
    NotAStanding,
    /// A period without a name.
    #[error("the row has no period; expected a name")]
    NoPeriod,
    /// A period that cannot stand beside another.
    #[error(transparent)]
    Period(#[from] crate::catalogue::PeriodError),
    /// A row of a trace.
    #[error(transparent)]
    Trace(#[from] TraceFault),
    /// A work that is to be recorded.
    #[cfg(feature = "store")]
    #[error(transparent)]
    Work(Box<super::work_table::WorkFault>),
}

#[cfg(feature = "store")]
impl From<super::work_table::WorkFault> for FaultKind {
    fn from(fault: super::work_table::WorkFault) -> FaultKind {
        FaultKind::Work(Box::new(fault))
    }
}

/// What to type about an unknown column.
fn what_to_do(heading: &str, nearest: &[String]) -> String {
    let heading = short(heading);
    let renamed = match nearest.first() {
        Some(name) => format!("--column '{heading}={name}' reads it as that, "),
        None => String::new(),
    };
    format!(
        "{}; {renamed}--skip '{heading}' leaves it out, --new-dimensions takes it as a dimension",
        suggestion(nearest)
    )
}

pub(crate) fn suggestion(nearest: &[String]) -> String {
    match nearest {
        [] => String::new(),
        names => format!("; nearest: {}", names.join(", ")),
    }
}

/// A text short enough for a message.
pub(crate) fn short(text: &str) -> String {
    const LONGEST: usize = 60;
    // Control characters of a file must not reach a terminal.
    let shown = |c: char| if c.is_control() { ' ' } else { c };
    let start: String = text.chars().take(LONGEST).map(shown).collect();
    if text.chars().nth(LONGEST).is_some() {
        start + "…"
    } else {
        start
    }
}

/// The table as a whole is unusable. One bad cell is not this: it is a [`Fault`].
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TableError {
    /// The file cannot be read.
    #[error("cannot read {file}")]
    Read {
        /// The file, as it was named.
        file: String,
        /// Why not.
        source: std::io::Error,
    },
    /// The file changed under the reader.
    #[error("{file} changed while it was being read; expected a file that stands still")]
    Changed {
        /// The file, as it was named.
        file: String,
    },
    /// Nothing in it.
    #[error("{file} is empty; expected a header row and one row a specimen")]
    Empty {
        /// The file, as it was named.
        file: String,
    },
    /// A header and nothing below it.
    #[error("{file} has a header but no rows below it")]
    NoRows {
        /// The file, as it was named.
        file: String,
    },
    /// Not a text.
    #[error("{file} is no text table: {found}; expected CSV in UTF-8 or Windows-1252")]
    NotText {
        /// The file, as it was named.
        file: String,
        /// What it looks like instead.
        found: &'static str,
    },
    /// A Parquet file, and a program that was built without the feature `frame`.
    #[error("{file}: {verb} Parquet needs calibriar built with --features frame")]
    NoParquet {
        /// The file, as it was named.
        file: String,
        /// `reading` or `writing`.
        verb: &'static str,
    },
    /// No column of names.
    #[error("{file}, row 1: no column `specimen`; the header has: {}; {}", headings(found), match header_row { Some(row) => format!("row {row} looks like the header: delete the rows above it"), None => "where another column holds the names: --column HEADER=specimen; a title above the header must go".to_owned() })]
    NoSpecimenColumn {
        /// The file, as it was named.
        file: String,
        /// The headings found.
        found: Vec<String>,
        /// A later row that has such a column.
        header_row: Option<usize>,
    },
    /// A table of traces without a column that it needs.
    #[error(
        "{file}, row {row}: a table of traces lacks the column {}; the header has: {}",
        lacking.join(", "),
        headings(found)
    )]
    LackingOfTraces {
        /// The file, as it was named.
        file: String,
        /// The header's row.
        row: usize,
        /// The columns that it lacks.
        lacking: Vec<&'static str>,
        /// The headings found.
        found: Vec<String>,
    },
    /// A table of works without a column that it needs.
    #[cfg(feature = "store")]
    #[error(
        "{file}, row {row}: a table of works lacks the column {}; the header has: {}",
        lacking.join(", "),
        headings(found)
    )]
    LackingOfWorks {
        /// The file, as it was named.
        file: String,
        /// The header's row.
        row: usize,
        /// The columns that it lacks.
        lacking: Vec<&'static str>,
        /// The headings found.
        found: Vec<String>,
    },
    /// More columns than any table of measurements has.
    #[error("{file}, row 1: {got} columns; expected at most {most}")]
    TooManyColumns {
        /// The file, as it was named.
        file: String,
        /// Columns found.
        got: usize,
        /// Columns allowed.
        most: usize,
    },
    /// Headings that cannot be read; nothing below them was tried.
    #[error("{file}: {} of the header cannot be used", counted(faults.len(), "column"))]
    Header {
        /// The file, as it was named.
        file: String,
        /// Each bad heading.
        faults: Vec<Fault>,
    },
    /// `--column` reads a heading as something that is nothing.
    #[error(
        "`{name}` as given by --column is neither a known column nor a dimension{}",
        suggestion(nearest)
    )]
    NoSuchName {
        /// As given.
        name: String,
        /// The known names that look most like it.
        nearest: Vec<String>,
    },
    /// `--column` reads a heading of a table of traces as something that is nothing there.
    #[error(
        "`{name}` as given by --column is no column of a table of traces{}",
        suggestion(nearest)
    )]
    NoSuchTraceColumn {
        /// As given.
        name: String,
        /// The known columns that look most like it.
        nearest: Vec<String>,
    },
    /// An option names a column that is not there.
    #[error(
        "{file}: no column `{heading}` as named by {option}; the header has: {}",
        headings(found)
    )]
    NoSuchColumn {
        /// The file, as it was named.
        file: String,
        /// The heading that was asked for.
        heading: String,
        /// `--column` or `--skip`.
        option: &'static str,
        /// The headings found.
        found: Vec<String>,
    },
}

/// The headings of a file, for a message.
fn headings(found: &[String]) -> String {
    const SHOWN: usize = 40;
    let named = found.iter().filter(|h| !h.trim().is_empty());
    let mut shown: Vec<String> = named.map(|h| short(h)).collect();
    let more = shown.len().saturating_sub(SHOWN);
    shown.truncate(SHOWN);
    match (shown.len(), more) {
        (0, _) => "no headings".to_owned(),
        (_, 0) => shown.join(", "),
        (_, more) => format!("{} and {more} more", shown.join(", ")),
    }
}

/// `1 column`, `3 columns`.
pub(crate) fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}
