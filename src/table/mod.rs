//! Tables in: what people collected, as CSV in wide or long shape, to columns of readings.
//!
//! | file | holds |
//! |---|---|
//! | `source_text` | bytes to text: encoding, delimiter, decimal mark, where a byte stands |
//! | `header` | headings to what each column holds |
//! | `wide` | one row a specimen: the fast path |
//! | `cells` | rows whose cells may be numbers, such as those of a data frame (feature `frame`) |
//! | `long` | one row a reading |
//! | `period_table` | production periods |
//! | `doubt` | values that no real pipe has |
//! | `fault` | what is wrong with a cell, and where |
//! | `trace` | traces of outlines and sections, colours of spots |
//! | `trace_table` | one row a point of a trace |
//! | `trace_cells` | the cells of such a row |
//! | `work_table` | works done on one piece |
//! | `text` | many short texts in few allocations |
//!
//! Reading gives what is good and every fault; refusing the file or setting the faulty rows aside
//! is the caller's choice.

#[cfg(feature = "frame")]
mod cells;
mod column;
mod doubt;
mod fault;
mod header;
mod long;
mod period_table;
mod source_text;
mod text;
mod trace;
mod trace_cells;
mod trace_table;
mod wide;
#[cfg(feature = "store")]
mod work_table;

use std::io;

#[cfg(feature = "frame")]
pub(crate) use cells::{Cells, read_cells};
pub use column::{Circumstance, Column, Details, KeptReading, Specimens, Table, Uncertainty};
#[cfg(feature = "store")]
pub(crate) use column::{ColumnBuilder, ReadingOfPiece};
use doubt::RawDoubt;
pub use doubt::{Doubt, Slip};
#[cfg(any(feature = "store", feature = "frame"))]
pub(crate) use fault::counted;
pub(crate) use fault::short;
#[cfg(feature = "store")]
pub(crate) use fault::suggestion;
pub use fault::{Fault, FaultKind, Place, TableError};
use header::Plan;
#[cfg(feature = "frame")]
pub(crate) use header::is_skipped;
pub use source_text::read_bytes;
use source_text::{Located, Marks, SourceText};
pub(crate) use text::first_spellings;
pub use text::{Coded, Texts};
#[cfg(feature = "store")]
pub(crate) use trace::trace_name;
pub use trace::{Points, Trace, TraceReading, WrittenPoint, WrittenPoints, WrittenTrace};

pub use crate::form::colour::{Spot, SpotColour, White};
pub use trace_cells::TraceFault;
#[cfg(feature = "store")]
pub use work_table::{
    Picture, ReadPicture, Typed, Work, WorkColumn, WorkDefaults, WorkFault, WorkSheet, WrittenSize,
    read_works, typed_works,
};

use crate::catalogue::{Catalogue, Periods, fold};
use crate::notation::DecimalMark;

/// How to read a table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// Headings to read under another name: (heading, name).
    pub columns: Vec<(String, String)>,
    /// Headings to leave out.
    pub skip: Vec<String>,
    /// Take unknown columns as plain dimensions of their heading's unit.
    pub new_dimensions: bool,
    /// Keep every cell's text and circumstances, as a collection needs them.
    pub details: bool,
    /// Keep them where a place was read more than once, which a table with one row a reading alone
    /// can tell.
    pub details_of_repeats: bool,
}

/// What a file turned out to hold.
#[derive(Debug)]
#[non_exhaustive]
pub enum Content {
    /// Measurements.
    Measurements(Box<Sheet>),
    /// A table of production periods.
    Periods(PeriodSheet),
    /// Outlines, sections and colours.
    Traces(TraceSheet),
}

/// A table of measurements as read: the good rows, and everything wrong with the others.
#[derive(Debug)]
pub struct Sheet {
    /// The rows without a fault.
    pub table: Table,
    /// Every fault, in the order of the file.
    pub faults: Vec<Fault>,
    /// Values that were kept but that no real pipe has.
    pub doubts: Vec<Doubt>,
    /// What was kept but should be looked at, for people.
    pub cautions: Vec<String>,
    /// The faulty rows as they stand in the file.
    pub set_aside: SetAside,
}

/// A table of production periods as read.
#[derive(Debug)]
pub struct PeriodSheet {
    /// The rows without a fault.
    pub periods: Periods,
    /// Every fault, in the order of the file.
    pub faults: Vec<Fault>,
}

/// A table of traces as read: the good rows, and everything wrong with the others.
#[derive(Debug)]
pub struct TraceSheet {
    /// The traces, in the order of their first rows; each has its good points.
    pub traces: Vec<Trace>,
    /// Where the first row of each stands.
    pub places: Vec<Place>,
    /// The same traces as written, with [`Options::details`] only.
    pub written: Vec<WrittenTrace>,
    /// Every fault, in the order of the file.
    pub faults: Vec<Fault>,
    /// What was kept but should be looked at, for people.
    pub cautions: Vec<String>,
    /// The faulty rows as they stand in the file.
    pub set_aside: SetAside,
}

/// Faulty rows, unchanged, each with its reasons.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SetAside {
    header: String,
    delimiter: char,
    rows: Vec<(String, String)>,
    /// How the file was written; UTF-8 where that is not known.
    encoding: Option<&'static encoding_rs::Encoding>,
}

impl SetAside {
    /// How many rows.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Writes the header and the rows as they stood, with the reasons in a last column.
    ///
    /// # Errors
    /// Those of `out`.
    pub fn write(&self, out: &mut dyn io::Write) -> io::Result<()> {
        let mut text = format!("{}{}{}\n", self.header, self.delimiter, header::REASONS);
        for (row, reasons) in &self.rows {
            let reasons = reasons.replace('"', "\"\"");
            text.push_str(&format!("{row}{}\"{reasons}\"\n", self.delimiter));
        }
        // UTF-16 is written as UTF-8, which `encode` takes its place by.
        let encoding = self.encoding.unwrap_or(encoding_rs::UTF_8);
        out.write_all(&encoding.encode(&text).0)
    }
}

/// Reads one CSV file; `file` is its name for messages.
///
/// # Errors
/// [`TableError`] where the table as a whole is unusable; single bad cells are in the result.
///
/// # Example
/// ```
/// use calibriar::catalogue::Catalogue;
/// use calibriar::table::{Content, Options, read};
///
/// let sheet = "specimen,pattern,bit thickness (in)\nA1,apple,11/64\nA2,apple,0.1.8\n";
/// let content = read("sheet.csv", sheet.into(), &Options::default(), Catalogue::standard())?;
/// let Content::Measurements(sheet) = content else { panic!("no periods here") };
/// assert_eq!(sheet.table.specimens.len(), 1);
/// assert!(sheet.faults[0].to_string().starts_with("sheet.csv, row 3, column 3 (bit thickness (in))"));
/// # Ok::<(), calibriar::table::TableError>(())
/// ```
pub fn read(
    file: &str,
    bytes: Vec<u8>,
    options: &Options,
    mut catalogue: Catalogue,
) -> Result<Content, TableError> {
    let source = SourceText::decode(file, bytes)?;
    let (delimiter, columns) = source.delimiter();
    header::check_count(file, columns)?;
    let mut reader = csv_reader(source.table(), delimiter);
    let mut record = csv::StringRecord::new();
    next_record(&mut reader, &mut record);
    let headings: Vec<String> = record.iter().map(heading).collect();
    let body = usize::try_from(reader.position().byte()).unwrap_or(usize::MAX);
    if period_table::is_header(&headings) {
        return Ok(Content::Periods(period_table::read(
            &source, delimiter, &headings,
        )));
    }
    let header_place = source.locate(&[0], delimiter);
    let (row, line, raw) = header_place
        .first()
        .map_or((1, 1, ""), |h| (h.row, h.line, &*h.raw));
    let text = CsvText {
        source: &source,
        delimiter,
        body,
        is_quoted: source.is_quoted(body),
    };
    if let Some(lacking) = header::lacking_of_traces(&headings, options) {
        if !lacking.is_empty() {
            return Err(TableError::LackingOfTraces {
                file: file.to_owned(),
                row,
                lacking,
                found: headings,
            });
        }
        header::check_options_of_traces(file, &headings, options)?;
        let plan = header::plan_of_traces(file, (row, line), headings, options)?;
        let mark = mark_of(&text, &mut reader, &plan);
        let input = Input {
            file,
            rows: &text,
            mark,
            plan: &plan,
        };
        let mut sheet = trace_table::read(&input, &text, options.details, raw)?;
        sheet.set_aside.encoding = Some(source.encoding);
        return Ok(Content::Traces(sheet));
    }
    header::check_options(file, &headings, options, &catalogue)?;
    if !header::names_specimens(&headings, options) {
        return Err(TableError::NoSpecimenColumn {
            file: file.to_owned(),
            found: headings.iter().map(|h| short(h)).collect(),
            header_row: later_header(&source, delimiter, &mut reader, &mut record),
        });
    }
    let plan = header::plan(file, (row, line), headings, options, &mut catalogue)?;
    let mark = mark_of(&text, &mut reader, &plan);
    let input = Input {
        file,
        rows: &text,
        mark,
        plan: &plan,
    };
    let found = if plan.long {
        long::read(&input, &text, options, catalogue)
    } else {
        wide::read(&input, &text, options, catalogue)
    };
    let mut sheet = sheet(&input, found, raw, delimiter)?;
    sheet.set_aside.encoding = Some(source.encoding);
    Ok(Content::Measurements(Box::new(sheet)))
}

/// The rows as read, everything in its place; `header` is the header's text.
fn sheet(
    input: &Input<'_>,
    found: Found,
    header: &str,
    delimiter: u8,
) -> Result<Sheet, TableError> {
    let (faults, set_aside) = placed(input, found.rows, found.faults, header, delimiter)?;
    let doubts = found.doubts.into_iter().map(|d| input.doubt(d)).collect();
    Ok(Sheet {
        table: found.table,
        faults,
        doubts,
        cautions: sums(input, &found.sums),
        set_aside,
    })
}

/// Rows that may sum up the others, for people.
fn sums(input: &Input<'_>, rows: &[(usize, String)]) -> Vec<String> {
    let offsets: Vec<usize> = rows.iter().map(|(offset, _)| *offset).collect();
    let places = input.rows.locate(&offsets);
    let line = |(here, (_, name)): (&Located<'_>, &(usize, String))| {
        format!(
            "{}: `{}` is taken as a pipe; delete the row if it sums up others",
            input.place(here, None),
            short(name)
        )
    };
    places.iter().zip(rows).map(line).collect()
}

/// The faults of a file of so many rows with their places, and the faulty rows.
fn placed(
    input: &Input<'_>,
    rows: usize,
    mut faults: Vec<RawFault>,
    header: &str,
    delimiter: u8,
) -> Result<(Vec<Fault>, SetAside), TableError> {
    if rows == 0 {
        return Err(TableError::NoRows {
            file: input.file.to_owned(),
        });
    }
    faults.sort_by_key(|f| (f.offset, f.position));
    faults.dedup();
    let (faults, rows) = located(input, &faults);
    let set_aside = SetAside {
        header: header.to_owned(),
        delimiter: char::from(delimiter),
        rows,
        encoding: None,
    };
    Ok((faults, set_aside))
}

/// Where the rows come from.
trait Rows: Sync {
    /// Where the records at these offsets (ascending) stand, and their text.
    fn locate(&self, offsets: &[usize]) -> Vec<Located<'_>>;
}

/// The text of a CSV file below its header.
struct CsvText<'a> {
    source: &'a SourceText,
    delimiter: u8,
    /// Where the rows begin.
    body: usize,
    /// Whether a quotation mark stands in them.
    is_quoted: bool,
}

impl CsvText<'_> {
    /// One cell of the record at an offset; empty where it has none.
    fn cell(&self, offset: usize, position: Option<usize>) -> String {
        let mut record = csv::StringRecord::new();
        let text = &self.source.table()[offset..];
        next_record(&mut csv_reader(text, self.delimiter), &mut record);
        let cell = position.and_then(|p| record.get(p));
        cell.map_or("", str::trim).to_owned()
    }
}

impl Rows for CsvText<'_> {
    fn locate(&self, offsets: &[usize]) -> Vec<Located<'_>> {
        self.source.locate(offsets, self.delimiter)
    }
}

/// A cell of the header as a heading: no name is longer than this, and a line of a hundred
/// megabytes need not be compared with every dimension.
fn heading(cell: &str) -> String {
    const LONGEST: usize = 400;
    cell.trim().chars().take(LONGEST).collect()
}

/// All that the readers of wide and long rows need.
struct Input<'a> {
    /// For messages.
    file: &'a str,
    rows: &'a dyn Rows,
    mark: DecimalMark,
    plan: &'a Plan,
}

impl Input<'_> {
    fn doubt(&self, raw: RawDoubt) -> Doubt {
        let located = self.rows.locate(&raw.offsets);
        let mut doubt = raw.doubt;
        if let Some((first, others)) = located.split_first() {
            doubt.place = self.place(first, Some(raw.position));
            doubt.other_rows = others.iter().map(|at| at.row).collect();
        }
        doubt
    }

    fn place(&self, at: &Located<'_>, position: Option<usize>) -> Place {
        Place {
            file: self.file.to_owned(),
            row: at.row,
            line: at.line,
            column: position.map_or(0, |p| p + 1),
            heading: position.map_or(String::new(), |p| self.plan.heading(p).to_owned()),
        }
    }
}

/// What the readers of wide and long rows give: places still as offsets of records.
struct Found {
    table: Table,
    /// Rows seen, faulty ones included.
    rows: usize,
    faults: Vec<RawFault>,
    doubts: Vec<RawDoubt>,
    /// Rows named as if they summed up others: offset and name.
    sums: Vec<(usize, String)>,
}

/// A fault whose place is the offset of its record.
#[derive(Clone, Debug, PartialEq)]
struct RawFault {
    offset: usize,
    position: Option<usize>,
    text: String,
    kind: FaultKind,
    /// The record of the row that the kind's `first_row` is about.
    earlier: Option<usize>,
}

/// Gives every fault its place, and every faulty row its text and reasons.
fn located(input: &Input<'_>, raw: &[RawFault]) -> (Vec<Fault>, Vec<(String, String)>) {
    let mut offsets: Vec<usize> = raw
        .iter()
        .flat_map(|f| [Some(f.offset), f.earlier])
        .flatten()
        .collect();
    offsets.sort_unstable();
    offsets.dedup();
    let places = input.rows.locate(&offsets);
    let at = |offset: usize| {
        offsets
            .binary_search(&offset)
            .ok()
            .and_then(|i| places.get(i))
    };
    let mut faults = Vec::with_capacity(raw.len());
    let mut rows: Vec<(String, String)> = Vec::new();
    let mut last = None;
    for fault in raw {
        let Some(here) = at(fault.offset) else {
            continue;
        };
        let mut kind = fault.kind.clone();
        if let FaultKind::DuplicateSpecimen { first_row }
        | FaultKind::Contradiction { first_row, .. }
        | FaultKind::Trace(TraceFault::Contradiction { first_row, .. }) = &mut kind
        {
            *first_row = fault.earlier.and_then(at).map_or(0, |e| e.row);
        }
        let place = input.place(here, fault.position);
        let reason = match fault.position {
            Some(_) => format!("{}: {kind}", place.heading),
            None => kind.to_string(),
        };
        match rows.last_mut() {
            Some((_, reasons)) if last == Some(fault.offset) => {
                reasons.push_str("; ");
                reasons.push_str(&reason);
            }
            _ => rows.push((here.raw.clone().into_owned(), reason)),
        }
        last = Some(fault.offset);
        faults.push(Fault {
            place,
            text: fault.text.clone(),
            kind,
        });
    }
    (faults, rows)
}

fn csv_reader(text: &str, delimiter: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .flexible(true)
        .has_headers(false)
        .from_reader(text.as_bytes())
}

/// Gives each row below the header that is not blank to `row`, with its offset in the text, and says
/// how many there were.
fn each_row(text: &CsvText<'_>, mut row: impl FnMut(&csv::StringRecord, usize)) -> usize {
    let mut reader = csv_reader(&text.source.table()[text.body..], text.delimiter);
    let mut record = csv::StringRecord::new();
    let mut seen = 0;
    while next_record(&mut reader, &mut record) {
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        seen += 1;
        let offset = record.position().map_or(0, |p| p.byte() as usize) + text.body;
        row(&record, offset);
    }
    seen
}

/// The next record, or false at the end.
fn next_record(reader: &mut csv::Reader<&[u8]>, record: &mut csv::StringRecord) -> bool {
    // The text is UTF-8, in memory, and rows may have any length: nothing is left to fail.
    reader.read_record(record).unwrap_or(false)
}

/// The row of a header with a specimen column below a title.
fn later_header(
    source: &SourceText,
    delimiter: u8,
    reader: &mut csv::Reader<&[u8]>,
    record: &mut csv::StringRecord,
) -> Option<usize> {
    const LOOK_AT: usize = 10;
    let found = (0..LOOK_AT).find_map(|_| {
        let specimen = |r: &csv::StringRecord| r.iter().any(|cell| fold(cell) == "specimen");
        (next_record(reader, record) && specimen(record))
            .then(|| record.position().map_or(0, |p| p.byte() as usize))
    })?;
    source.locate(&[found], delimiter).first().map(|at| at.row)
}

/// The decimal mark of a file by the cells that should hold numbers; `reader` stands below the header.
fn mark_of(text: &CsvText<'_>, reader: &mut csv::Reader<&[u8]>, plan: &Plan) -> DecimalMark {
    use header::{Known, Target};
    // Cells of such a file hold no comma.
    if text.delimiter == b',' && !text.is_quoted {
        return DecimalMark::Point;
    }
    // Of `91,58,33` no comma is a decimal mark.
    let is_list = |cell: &str| {
        cell.matches(',').count() > 1 && !cell.contains(|c: char| c == ';' || c.is_whitespace())
    };
    let numeric = |target: &Target, cell: &str| match target {
        Target::Reading(_) | Target::Known(Known::Value | Known::Uncertainty | Known::Station) => {
            true
        }
        Target::Known(Known::Reading) => !is_list(cell),
        _ => false,
    };
    let mut record = csv::StringRecord::new();
    let mut marks = Marks::default();
    while next_record(reader, &mut record) {
        let wanted = record
            .iter()
            .zip(&plan.targets)
            .filter(|(cell, target)| numeric(target, cell));
        wanted.for_each(|(cell, _)| marks.add(cell));
    }
    marks.decimal(text.delimiter)
}
