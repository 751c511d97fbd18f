//! A table of production periods: `maker,period,from,to,standing,note`.

use super::fault::{Fault, FaultKind, Place};
use super::source_text::SourceText;
use super::{PeriodSheet, csv_reader, next_record};
use crate::catalogue::{Period, Periods, Standing, YearRange, fold};

const COLUMNS: [&str; 6] = ["maker", "period", "from", "to", "standing", "note"];
/// A header without these is no table of periods.
const NEEDED: [&str; 4] = ["period", "from", "to", "standing"];

/// Whether these headings are those of a table of periods.
pub(super) fn is_header(headings: &[String]) -> bool {
    NEEDED
        .iter()
        .all(|needed| headings.iter().any(|h| fold(h) == *needed))
}

pub(super) fn read(source: &SourceText, delimiter: u8, headings: &[String]) -> PeriodSheet {
    let position = |name: &str| headings.iter().position(|h| fold(h) == name);
    let positions = COLUMNS.map(position);
    let mut reader = csv_reader(source.table(), delimiter);
    let mut record = csv::StringRecord::new();
    next_record(&mut reader, &mut record);
    let mut found = PeriodSheet {
        periods: Periods::default(),
        faults: Vec::new(),
    };
    while next_record(&mut reader, &mut record) {
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        let offset = record.position().map_or(0, |p| p.byte() as usize);
        if let Err((column, text, kind)) = add_row(&record, &positions, &mut found.periods) {
            let at = source.locate(&[offset], delimiter);
            let (row, line) = at.first().map_or((0, 0), |at| (at.row, at.line));
            let position = positions[column].unwrap_or(0);
            let heading = headings.get(position).cloned().unwrap_or_default();
            let file = source.file.clone();
            let place = Place {
                file,
                row,
                line,
                column: position + 1,
                heading,
            };
            found.faults.push(Fault { place, text, kind });
        }
    }
    found
}

/// Adds one row, or tells which of [`COLUMNS`] is wrong and why.
fn add_row(
    record: &csv::StringRecord,
    positions: &[Option<usize>; 6],
    periods: &mut Periods,
) -> Result<(), (usize, String, FaultKind)> {
    let cell = |column: usize| {
        positions[column]
            .and_then(|p| record.get(p))
            .map_or("", str::trim)
    };
    let wrong = |column: usize, kind: FaultKind| (column, cell(column).to_owned(), kind);
    let year = |column: usize| match YearRange::parse(cell(column)) {
        Ok(years) if years.from == years.to => Ok(years.from),
        _ => Err(wrong(column, FaultKind::NotAYear)),
    };
    let name = cell(1);
    if name.is_empty() {
        return Err(wrong(1, FaultKind::NoPeriod));
    }
    let (from, to) = (year(2)?, year(3)?);
    if from > to {
        return Err(wrong(3, FaultKind::BackwardPeriod));
    }
    let standing = Standing::parse(cell(4)).ok_or_else(|| wrong(4, FaultKind::NotAStanding))?;
    let maker = Some(cell(0)).filter(|m| !m.is_empty()).map(str::to_owned);
    let years = YearRange { from, to };
    let period = Period {
        maker,
        name: name.to_owned(),
        years,
        standing,
        note: cell(5).to_owned(),
    };
    periods.add(period).map_err(|error| wrong(1, error.into()))
}
