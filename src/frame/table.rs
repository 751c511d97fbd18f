//! Frames as tables.

use std::borrow::Cow;
use std::path::Path;

use polars::prelude::{AnyValue, DataFrame, DataType, Float64Chunked};

use super::{FrameError, parquet};
use crate::catalogue::Catalogue;
use crate::table::{Cells, Options, Sheet, Table, is_skipped, read_bytes, read_cells};

/// The name of a frame that comes from no file, in the places of its faults.
const FRAME: &str = "data frame";

/// Reads a data frame, wide or long, as a table; its columns are named like the headings of CSV.
///
/// Numbers are in the unit of their heading; texts are read as cells of a CSV file are
/// ([`crate::notation::read_cell`]), with a decimal point. `made` may be whole years or texts.
///
/// # Errors
/// [`FrameError::Faults`] with every faulty cell, among them infinite sizes and those of 0 or
/// less; [`FrameError::Table`] and [`FrameError::ColumnType`] where the frame as a whole is none.
///
/// # Example
/// ```
/// use calibriar::catalogue::Catalogue;
/// use calibriar::frame::table_from_frame;
/// use calibriar::table::Options;
/// use polars::df;
///
/// let frame = df![
///     "specimen" => ["A1", "A2"],
///     "made" => [1934, 1951],
///     "bit thickness (mm)" => [Some(4.05), None],
///     "bowl height" => ["44.1", "1 3/4"],
/// ]?;
/// let table = table_from_frame(&frame, &Options::default(), Catalogue::standard())?;
/// assert_eq!(table.count_readings(), 3);
/// assert_eq!(table.columns[1].value(1), Some(1.75 * 25.4));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn table_from_frame(
    frame: &DataFrame,
    options: &Options,
    catalogue: Catalogue,
) -> Result<Table, FrameError> {
    faultless(FRAME, sheet(FRAME, frame, options, catalogue)?)
}

/// Reads a Parquet file as a table, as [`table_from_frame`] does.
///
/// # Errors
/// Those of [`table_from_frame`]; [`FrameError::Table`] for a file that cannot be read, and
/// [`FrameError::Parquet`] for one that is no Parquet file or is damaged.
pub fn read_parquet(
    path: &Path,
    options: &Options,
    catalogue: Catalogue,
) -> Result<Table, FrameError> {
    let file = path.display().to_string();
    let sheet = sheet_from_parquet(&file, read_bytes(path)?, options, catalogue)?;
    faultless(&file, sheet)
}

fn faultless(file: &str, sheet: Sheet) -> Result<Table, FrameError> {
    match sheet.faults.as_slice() {
        [] => Ok(sheet.table),
        _ => Err(FrameError::Faults {
            file: file.to_owned(),
            faults: sheet.faults,
        }),
    }
}

/// Reads the bytes of a Parquet file; `file` is its name for messages.
pub(crate) fn sheet_from_parquet(
    file: &str,
    bytes: Vec<u8>,
    options: &Options,
    catalogue: Catalogue,
) -> Result<Sheet, FrameError> {
    let frame = parquet::read(file, bytes, options)?;
    sheet(file, &frame, options, catalogue)
}

fn sheet(
    file: &str,
    frame: &DataFrame,
    options: &Options,
    catalogue: Catalogue,
) -> Result<Sheet, FrameError> {
    for column in frame.columns() {
        let heading = column.name().as_str();
        if !is_readable(column.dtype()) && !is_skipped(heading, options) {
            return Err(FrameError::ColumnType {
                file: file.to_owned(),
                heading: heading.to_owned(),
                found: column.dtype().to_string(),
            });
        }
    }
    let headings = frame.columns().iter().map(|c| c.name().trim().to_owned());
    let cells = FrameCells::new(frame);
    Ok(read_cells(
        file,
        headings.collect(),
        &cells,
        options,
        catalogue,
    )?)
}

/// Whether cells of a type can be readings or words.
fn is_readable(dtype: &DataType) -> bool {
    dtype.is_primitive_numeric()
        || dtype.is_categorical()
        || dtype.is_enum()
        || matches!(dtype, DataType::String | DataType::Boolean | DataType::Null)
}

/// A frame's cells.
pub(super) struct FrameCells<'a> {
    frame: &'a DataFrame,
    /// The columns that are `f64` already: the fast path.
    doubles: Vec<Option<&'a Float64Chunked>>,
}

impl<'a> FrameCells<'a> {
    pub(super) fn new(frame: &'a DataFrame) -> FrameCells<'a> {
        let doubles = frame.columns().iter().map(|c| c.f64().ok()).collect();
        FrameCells { frame, doubles }
    }

    /// A null outside the frame.
    fn value(&self, row: usize, column: usize) -> AnyValue<'_> {
        let column = self.frame.columns().get(column);
        column
            .and_then(|c| c.get(row).ok())
            .unwrap_or(AnyValue::Null)
    }
}

impl Cells for FrameCells<'_> {
    fn rows(&self) -> usize {
        self.frame.height()
    }

    fn columns(&self) -> usize {
        self.frame.width()
    }

    fn number(&self, row: usize, column: usize) -> Option<f64> {
        if let Some(Some(doubles)) = self.doubles.get(column) {
            return Some(doubles.get(row).unwrap_or(f64::NAN));
        }
        match self.value(row, column) {
            AnyValue::Null => Some(f64::NAN),
            value => number(&value),
        }
    }

    fn text(&self, row: usize, column: usize) -> Cow<'_, str> {
        match self.value(row, column) {
            AnyValue::Null => "".into(),
            AnyValue::String(text) => text.into(),
            value => text(&value).into(),
        }
    }
}

/// The number of a numeric value. The shortest decimal of a single-precision number is what its
/// writer meant: 4.6, not 4.599999904632568.
fn number(value: &AnyValue<'_>) -> Option<f64> {
    match value {
        AnyValue::Float32(single) => single.to_string().parse().ok(),
        value if value.is_primitive_numeric() => value.extract(),
        _ => None,
    }
}

/// The text of a value that is not null. Display will not do: it rounds and groups digits.
fn text(value: &AnyValue<'_>) -> String {
    if value.is_integer() {
        return value
            .extract()
            .map_or(String::new(), |v: i128| v.to_string());
    }
    match number(value) {
        Some(number) if number.is_nan() => String::new(),
        Some(number) => number.to_string(),
        None => value.get_str().map_or(value.to_string(), str::to_owned),
    }
}
