//! Rows whose cells may be numbers already, such as those of a data frame.

use std::borrow::Cow;

use super::source_text::Located;
use super::{Input, Options, Rows, Sheet, TableError, header, long, sheet, short, wide};
use crate::catalogue::Catalogue;
use crate::notation::DecimalMark;

/// Steps to the unit, the coarsest first. A step finer than a millionth is no step of a gauge, but
/// the noise of binary arithmetic.
const STEPS: [f64; 7] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6];

/// The cells below a header, counted from 0.
pub(crate) trait Cells: Sync {
    /// How many rows.
    fn rows(&self) -> usize;

    /// How many columns.
    fn columns(&self) -> usize;

    /// The number in a cell, NaN where it is empty; `None` for a text.
    fn number(&self, row: usize, column: usize) -> Option<f64>;

    /// What a CSV file would have in this cell.
    fn text(&self, row: usize, column: usize) -> Cow<'_, str>;

    /// Whether all cells of a row are empty.
    fn is_blank(&self, row: usize) -> bool {
        (0..self.columns()).all(|column| self.text(row, column).trim().is_empty())
    }

    /// A row as a CSV file would have it.
    fn record(&self, row: usize) -> csv::StringRecord {
        let mut record = csv::StringRecord::new();
        (0..self.columns()).for_each(|column| record.push_field(&self.text(row, column)));
        record
    }
}

/// Reads a table of measurements from its headings and cells; `file` is its name for messages.
pub(crate) fn read_cells(
    file: &str,
    headings: Vec<String>,
    cells: &dyn Cells,
    options: &Options,
    mut catalogue: Catalogue,
) -> Result<Sheet, TableError> {
    if !header::names_specimens(&headings, options) {
        return Err(TableError::NoSpecimenColumn {
            file: file.to_owned(),
            found: headings.iter().map(|h| short(h)).collect(),
            header_row: None,
        });
    }
    let header_text = csv_line(&headings.iter().map(String::as_str).collect());
    let plan = header::plan(file, (1, 1), headings, options, &mut catalogue)?;
    let input = Input {
        file,
        rows: &CellRows(cells),
        mark: DecimalMark::Point,
        plan: &plan,
    };
    let found = if plan.long {
        long::read_cells(&input, cells, options, catalogue)
    } else {
        wide::read_cells(&input, cells, options, catalogue)
    };
    sheet(&input, found, &header_text, b',')
}

/// Rows whose offset is their number; the header counts as row 1.
struct CellRows<'a>(&'a dyn Cells);

impl Rows for CellRows<'_> {
    fn locate(&self, offsets: &[usize]) -> Vec<Located<'_>> {
        let located = |&row: &usize| Located {
            row: row + 2,
            line: row + 2,
            raw: csv_line(&self.0.record(row)).into(),
        };
        offsets.iter().map(located).collect()
    }
}

fn csv_line(record: &csv::StringRecord) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail.
    let _ = writer.write_record(record);
    let line = writer.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&line).trim_end().to_owned()
}

/// The coarsest decimal step, from 1 down to a millionth, that a number is a multiple of when
/// rounded to a millionth.
pub(super) fn decimal_step(number: f64) -> f64 {
    let fits = |to_the_unit: &&f64| {
        let steps = number * **to_the_unit;
        (steps - steps.round()).abs() <= 0.5e-6 * **to_the_unit
    };
    1.0 / STEPS.iter().find(fits).unwrap_or(&STEPS[6])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_of_numbers() {
        for (number, decimals) in [
            (0.0, 0),
            (44.0, 0),
            (4.5, 1),
            (-4.25, 2),
            (0.1 + 0.2, 1),
            (f64::from(4.6f32), 1),
            (0.181, 3),
            (1.0 / 3.0, 6),
            (4.0000001, 0),
            (1e300, 0),
        ] {
            assert_eq!(decimal_step(number), 10f64.powi(-decimals), "{number}");
        }
    }
}
