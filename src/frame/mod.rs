//! Data frames and Parquet files in and out (feature `frame`).
//!
//! A frame is read as the CSV file it would be written to: its column names are headings, its row
//! 0 stands in row 2, texts are cells, nulls and NaN are empty cells. Only the numbers of a wide
//! frame take a shorter way. Binary numbers carry no written step, so the step of a numeric
//! column is the finest decimal step, from 1 down to 0.000001, that its values need: a column of
//! 4.1 and 4.25 was read to 0.01, and 4.10 alone is taken for 4.1. A single-precision number
//! counts as the shortest decimal that it stands for.
//!
//! Results become frames with the columns of the CSV output ([`crate::report`]).
//!
//! | file | holds |
//! |---|---|
//! | `table` | frames as tables |
//! | `parquet` | Parquet bytes to frames and back |
//! | `results` | norms, checks, flags, plans and the other results as frames; nothing below imports it |

mod parquet;
mod results;
mod table;

#[cfg(feature = "store")]
pub(crate) use parquet::{ParquetRecords, ParquetTable};
use polars::error::PolarsError;
pub use results::{
    PeriodFrames, checks_frame, dates_frame, findings_frame, flags_frame, forms_frame,
    left_out_frame, measurer_frames, moved_frame, norms_frame, period_frames, rates_frame,
    refits_frame, shift_years_frame, stock_frame, turned_frame, what_ifs_frame,
};
#[cfg(feature = "store")]
pub(crate) use table::sheet_from_parquet;
pub use table::{read_parquet, table_from_frame};

use crate::table::{Fault, TableError, counted};

/// A data frame or a Parquet file that cannot be read or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FrameError {
    /// The frame as a whole is no table of measurements.
    #[error(transparent)]
    Table(#[from] TableError),
    /// Cells that cannot be used.
    #[error("{file} has {}", counted(faults.len(), "fault"))]
    Faults {
        /// The file, as it was named.
        file: String,
        /// Each of them.
        faults: Vec<Fault>,
    },
    /// A column that holds neither plain numbers nor texts.
    #[error(
        "{file}: column `{heading}` holds {found}; expected numbers of 32 or 64 bits or texts \
         (--skip leaves it out)"
    )]
    ColumnType {
        /// The file, as it was named.
        file: String,
        /// The column's name.
        heading: String,
        /// Its type, as polars calls it.
        found: String,
    },
    /// Bytes that are no Parquet file, or one that cannot be written.
    #[error("cannot {verb} {file} as Parquet")]
    Parquet {
        /// `read` or `write`.
        verb: &'static str,
        /// The file, as it was named.
        file: String,
        /// Why not.
        source: PolarsError,
    },
    /// Columns that make no frame.
    #[error("the result makes no data frame")]
    Frame(#[from] PolarsError),
}
