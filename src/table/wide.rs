//! Wide tables: one row a specimen, one column a dimension.
//!
//! The cells of a million plain numbers never meet the text notation: digits go straight to an
//! `f64`. Whatever is not plain takes the slow road through `notation`, cell by cell.

use std::thread;

use foldhash::{HashMap, HashMapExt as _};

use super::column::{
    Column, Details, KeptReading, Specimens, Table, Uncertainty, has_sense, without_sense,
};
use super::doubt::{Doubting, RawDoubt};
use super::fault::FaultKind;
use super::header::{DimensionColumn, Known, Target};
use super::text::{Coded, Texts};
use super::{CsvText, Found, Input, Options, RawFault, csv_reader, next_record};
use crate::catalogue::{Catalogue, Dimension, NotADate, State, YearRange, is_undated};
#[cfg(feature = "frame")]
use crate::notation::NotationError;
use crate::notation::{Context, DecimalMark, Unit, plain_decimal, read_cell};
use crate::parallel;

/// Reads the rows, in several threads where the file allows it.
pub(super) fn read(
    input: &Input<'_>,
    text: &CsvText<'_>,
    options: &Options,
    catalogue: Catalogue,
) -> Found {
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let parts = text.source.parts(text.body, text.is_quoted, threads);
    let cells = input.plan.targets.len();
    let room = parallel::map(parts.len(), |part| {
        text.source.most_records(parts[part], cells)
    });
    let mut values = empty_columns(input.plan.dimensions.len(), room.iter().sum());
    let mut places = shared_out(&mut values, &room);
    let read = |part: usize, values: &mut Vec<&mut [f64]>| {
        read_part(input, text, parts[part], options, &catalogue, values)
    };
    let chunks = parallel::each(&mut places, text.source.table().len(), read);
    let rows: Vec<usize> = chunks.iter().map(|chunk| chunk.offsets.len()).collect();
    parallel::each(&mut values, rows.iter().sum(), |_, column| {
        close_up(column, &room, &rows);
    });
    let chunk = Chunk::joined(chunks);
    Chunk { values, ..chunk }.into_found(input, options, catalogue)
}

/// Zeros that nobody has written take no time.
fn empty_columns(columns: usize, rows: usize) -> Vec<Vec<f64>> {
    (0..columns).map(|_| vec![0.0; rows]).collect()
}

/// The same stretches of every column, each of so many rows.
fn shared_out<'v>(columns: &'v mut [Vec<f64>], rows: &[usize]) -> Vec<Vec<&'v mut [f64]>> {
    let mut stretches: Vec<Vec<&mut [f64]>> = rows.iter().map(|_| Vec::new()).collect();
    for column in columns {
        let mut rest = column.as_mut_slice();
        for (stretch, &rows) in stretches.iter_mut().zip(rows) {
            let (of_part, others) = rest.split_at_mut(rows);
            stretch.push(of_part);
            rest = others;
        }
    }
    stretches
}

/// Takes out the room that stretches did not need.
fn close_up(column: &mut Vec<f64>, room: &[usize], rows: &[usize]) {
    let (mut start, mut end) = (0, 0);
    for (room, rows) in room.iter().zip(rows) {
        if start > end {
            column.copy_within(start..start + rows, end);
        }
        start += room;
        end += rows;
    }
    column.truncate(end);
}

/// Reads rows whose cells may be numbers; these go straight to their columns.
#[cfg(feature = "frame")]
pub(super) fn read_cells(
    input: &Input<'_>,
    cells: &dyn super::Cells,
    options: &Options,
    catalogue: Catalogue,
) -> Found {
    let plan = input.plan;
    let contexts = contexts(input, &catalogue);
    let mut chunk = Chunk::of_columns(contexts.len());
    let mut values = empty_columns(contexts.len(), cells.rows());
    let mut places: Vec<&mut [f64]> = values.iter_mut().map(Vec::as_mut_slice).collect();
    let mut made_known: HashMap<String, Option<YearRange>> = HashMap::new();
    let mut steps = Vec::with_capacity(contexts.len());
    for row_number in (0..cells.rows()).filter(|&row| !cells.is_blank(row)) {
        chunk.rows_seen += 1;
        let mut row = RowReader {
            chunk: &mut chunk,
            values: &mut places,
            start: row_number,
            faulty: false,
            details: options.details,
            steps: &mut steps,
            doubtful: Vec::new(),
        };
        for (position, target) in plan.targets.iter().enumerate() {
            let text = || cells.text(row_number, position);
            match *target {
                Target::Reading(column) => match cells.number(row_number, position) {
                    Some(number) => row.number(position, column, number, &contexts[column]),
                    None => row.reading(position, column, &text(), &contexts[column]),
                },
                Target::Known(known) => row.word(position, known, &text(), &mut made_known),
                Target::Nameless if !text().trim().is_empty() => row.nameless(position, &text()),
                Target::Skipped | Target::Nameless => {}
            }
        }
        let specimen = plan.position(Known::Specimen);
        let specimen = specimen.map(|position| cells.text(row_number, position));
        row.finish(&contexts, specimen.as_deref());
    }
    let rows = chunk.offsets.len();
    values.iter_mut().for_each(|column| column.truncate(rows));
    Chunk { values, ..chunk }.into_found(input, options, catalogue)
}

/// A stretch of rows.
#[derive(Default)]
struct Chunk {
    rows_seen: usize,
    offsets: Vec<usize>,
    specimens: Specimens,
    states: Vec<State>,
    columns: Vec<RawColumn>,
    /// By column; filled when all stretches are read.
    values: Vec<Vec<f64>>,
    words: Words,
    faults: Vec<RawFault>,
    /// Names of the faulty rows, with their offsets.
    refused: Vec<(String, usize)>,
}

/// The texts that only a collection keeps.
#[derive(Default)]
struct Words {
    made: Texts,
    source: Texts,
    note: Texts,
}

/// What a dimension's cells tell besides values.
#[derive(Default)]
struct RawColumn {
    /// The finest step of its plain cells, in the dimension's unit.
    step: Option<f64>,
    /// Cells that are not plain, or whose state is given in braces.
    special: Vec<Special>,
    texts: Texts,
    doubting: Doubting,
}

#[derive(Clone, Copy)]
struct Special {
    row: usize,
    /// Standard uncertainty; `None` for a plain cell with a state in braces.
    uncertainty: Option<f64>,
    /// Whether the cell gives it: limits of error, or gauges that go and do not go.
    given: bool,
    state: Option<State>,
    unit: Unit,
}

/// So many rows are worth a thread's while.
const STRETCH: usize = 1 << 16;

/// The step of a decimal by its digits after the point, as many as a plain one can have.
const STEPS: [f64; 16] = [
    1e0, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9, 1e-10, 1e-11, 1e-12, 1e-13, 1e-14,
    1e-15,
];

/// What a column needs to be read by, looked up once.
struct ColumnContext<'a> {
    dimension: &'a Dimension,
    cell: Context,
    scale: f64,
    credible: (f64, f64),
}

impl<'a> ColumnContext<'a> {
    fn new(column: &DimensionColumn, dimension: &'a Dimension, mark: DecimalMark) -> Self {
        ColumnContext {
            dimension,
            cell: Context {
                quantity: dimension.quantity,
                unit: column.unit,
                mark,
            },
            scale: column.unit.in_base_units(),
            credible: dimension
                .credible
                .unwrap_or((f64::NEG_INFINITY, f64::INFINITY)),
        }
    }
}

fn contexts<'a>(input: &Input<'_>, catalogue: &'a Catalogue) -> Vec<ColumnContext<'a>> {
    let columns = input.plan.dimensions.iter();
    columns
        .map(|c| ColumnContext::new(c, catalogue.at(c.dimension), input.mark))
        .collect()
}

fn read_part(
    input: &Input<'_>,
    text: &CsvText<'_>,
    (from, to): (usize, usize),
    options: &Options,
    catalogue: &Catalogue,
    values: &mut [&mut [f64]],
) -> Chunk {
    let plan = input.plan;
    let contexts = contexts(input, catalogue);
    let mut chunk = Chunk::of_columns(contexts.len());
    let mut reader = csv_reader(&text.source.table()[from..to], text.delimiter);
    let mut record = csv::StringRecord::new();
    let mut made_known: HashMap<String, Option<YearRange>> = HashMap::new();
    let mut steps = Vec::with_capacity(contexts.len());
    while next_record(&mut reader, &mut record) {
        let start = record.position().map_or(0, |p| p.byte() as usize) + from;
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        chunk.rows_seen += 1;
        chunk.reserve_once(to - from, reader.position().byte() as usize);
        let mut row = RowReader {
            chunk: &mut chunk,
            values,
            start,
            faulty: false,
            details: options.details,
            steps: &mut steps,
            doubtful: Vec::new(),
        };
        if row.has_right_length(&record, plan.targets.len()) {
            for (position, (cell, target)) in record.iter().zip(&plan.targets).enumerate() {
                match *target {
                    Target::Reading(column) => {
                        row.reading(position, column, cell, &contexts[column])
                    }
                    Target::Known(known) => row.word(position, known, cell, &mut made_known),
                    Target::Nameless if !cell.trim().is_empty() => row.nameless(position, cell),
                    Target::Skipped | Target::Nameless => {}
                }
            }
        }
        row.finish(
            &contexts,
            plan.position(Known::Specimen).and_then(|p| record.get(p)),
        );
    }
    chunk
}

/// One row on its way into a chunk.
struct RowReader<'a, 'v> {
    chunk: &'a mut Chunk,
    /// The places of the chunk's values, by column, then row.
    values: &'a mut [&'v mut [f64]],
    start: usize,
    faulty: bool,
    details: bool,
    /// The steps of its plain cells, by column; kept from row to row to spare allocations.
    steps: &'a mut Vec<(usize, f64)>,
    /// Cells out of their credible range: column, text, value and the unit it was read in.
    doubtful: Vec<(usize, String, (f64, Unit))>,
}

impl RowReader<'_, '_> {
    fn fault(&mut self, position: Option<usize>, text: &str, kind: FaultKind) {
        self.faulty = true;
        let fault = RawFault {
            offset: self.start,
            position,
            text: text.to_owned(),
            kind,
            earlier: None,
        };
        self.chunk.faults.push(fault);
    }

    /// More cells than headings are forgiven where they are empty, as spreadsheets write them.
    fn has_right_length(&mut self, record: &csv::StringRecord, expected: usize) -> bool {
        if record.len() == expected {
            return true;
        }
        let extra = record
            .iter()
            .skip(expected)
            .any(|cell| !cell.trim().is_empty());
        if record.len() >= expected && !extra {
            return true;
        }
        let open_quote = record.iter().any(|cell| cell.contains('\n'));
        let kind = FaultKind::CellCount {
            expected,
            got: record.len(),
            open_quote,
        };
        self.fault(None, record.get(0).unwrap_or(""), kind);
        false
    }

    fn nameless(&mut self, position: usize, cell: &str) {
        self.fault(Some(position), cell, FaultKind::NoHeading);
    }

    fn reading(&mut self, position: usize, column: usize, cell: &str, context: &ColumnContext<'_>) {
        let row = self.chunk.offsets.len();
        let raw = &mut self.chunk.columns[column];
        if self.details {
            raw.texts.push(cell.trim());
        }
        if context.cell.mark == DecimalMark::Point
            && let Some((value, decimals)) = plain_decimal(cell.as_bytes())
        {
            let value = value * context.scale;
            if has_sense(context.dimension.kind, value) {
                let step = STEPS[usize::from(decimals)] * context.scale;
                self.plain(column, value, step, context, || cell.to_owned());
                return;
            }
        }
        let (value, fault) = match read_cell(cell, &context.cell) {
            Ok(None) => (f64::NAN, None),
            Err(error) => (f64::NAN, Some(error.into())),
            Ok(Some(written)) => {
                let state = written.braces.map(State::parse);
                if written.plain {
                    self.steps.push((column, written.step));
                }
                if !written.plain || written.braces.is_some() {
                    let own = written
                        .standard_uncertainty
                        .unwrap_or(written.step / 12f64.sqrt());
                    raw.special.push(Special {
                        row,
                        uncertainty: (!written.plain).then_some(own),
                        given: written.standard_uncertainty.is_some(),
                        state: state.flatten(),
                        unit: written.unit,
                    });
                }
                let fault = if state == Some(None) {
                    Some(FaultKind::NotAState)
                } else if !has_sense(context.dimension.kind, written.value) {
                    Some(without_sense(context.dimension))
                } else {
                    None
                };
                let (low, high) = context.credible;
                if written.value < low || written.value > high {
                    let read = (written.value, written.unit);
                    self.doubtful.push((column, cell.to_owned(), read));
                }
                (written.value, fault)
            }
        };
        self.values[column][row] = value;
        if let Some(kind) = fault {
            self.fault(Some(position), cell, kind);
        }
    }

    /// Adds a plain number, in the dimension's unit.
    fn plain(
        &mut self,
        column: usize,
        value: f64,
        step: f64,
        context: &ColumnContext<'_>,
        text: impl FnOnce() -> String,
    ) {
        let raw = &mut self.chunk.columns[column];
        if raw.step.is_none_or(|known| step < known) {
            self.steps.push((column, step));
        }
        if value < context.credible.0 || value > context.credible.1 {
            let read = (value, context.cell.unit);
            self.doubtful.push((column, text(), read));
        }
        self.values[column][self.chunk.offsets.len()] = value;
    }

    /// A reading that is a number already, in the unit of its column; NaN is not measured.
    #[cfg(feature = "frame")]
    fn number(&mut self, position: usize, column: usize, number: f64, context: &ColumnContext<'_>) {
        let raw = &mut self.chunk.columns[column];
        let text = || match number.is_nan() {
            true => String::new(),
            false => number.to_string(),
        };
        if self.details {
            raw.texts.push(&text());
        }
        let value = number * context.scale;
        if value.is_finite() && has_sense(context.dimension.kind, value) {
            let step = super::cells::decimal_step(number) * context.scale;
            self.plain(column, value, step, context, text);
            return;
        }
        self.values[column][self.chunk.offsets.len()] = f64::NAN;
        if value.is_nan() {
            return;
        }
        let quantity = context.cell.quantity;
        let kind = match value.is_finite() {
            true => without_sense(context.dimension),
            false => NotationError::NotFinite { quantity }.into(),
        };
        self.fault(Some(position), &text(), kind);
    }

    fn word(
        &mut self,
        position: usize,
        known: Known,
        cell: &str,
        made_known: &mut HashMap<String, Option<YearRange>>,
    ) {
        let text = cell.trim();
        let chunk = &mut *self.chunk;
        match known {
            Known::Specimen => {
                chunk.specimens.names.push(text);
                if text.is_empty() {
                    self.fault(Some(position), cell, FaultKind::NoSpecimen);
                }
            }
            Known::Maker => chunk.specimens.makers.push(missing_as_empty(text)),
            Known::Pattern => chunk.specimens.patterns.push(missing_as_empty(text)),
            Known::Period => chunk.specimens.periods.push(missing_as_empty(text)),
            Known::Finish => chunk.specimens.finishes.push(missing_as_empty(text)),
            Known::Made => {
                if self.details {
                    chunk.words.made.push(date_of_making(text));
                }
                // The cells of a column are few texts again and again.
                let made = match made_known.get(text) {
                    Some(&made) => made,
                    None => match made_by(text) {
                        Ok(made) => {
                            made_known.insert(text.to_owned(), made);
                            made
                        }
                        Err(error) => {
                            self.fault(Some(position), cell, error.into());
                            None
                        }
                    },
                };
                self.chunk.specimens.made.push(made);
            }
            Known::State => match missing_as_empty(text) {
                "" => chunk.states.push(State::Unknown),
                text => match State::parse(text) {
                    Some(state) => chunk.states.push(state),
                    None => {
                        chunk.states.push(State::Unknown);
                        self.fault(Some(position), cell, FaultKind::NotAState);
                    }
                },
            },
            Known::Source if self.details => chunk.words.source.push(missing_as_empty(text)),
            Known::Note if self.details => chunk.words.note.push(missing_as_empty(text)),
            _ => {}
        }
    }

    /// Closes the row: what a faulty one has put is taken back, all but its name.
    fn finish(self, contexts: &[ColumnContext<'_>], specimen: Option<&str>) {
        let chunk = self.chunk;
        let steps = self.steps.drain(..);
        if self.faulty {
            drop(steps);
            chunk.truncate(chunk.offsets.len());
            let name = specimen.unwrap_or("").trim();
            if !name.is_empty() {
                chunk.refused.push((name.to_owned(), self.start));
            }
            return;
        }
        chunk.offsets.push(self.start);
        steps.for_each(|(column, step)| chunk.columns[column].note_step(step));
        for (column, cell, read) in self.doubtful {
            let dimension = contexts[column].dimension;
            chunk.columns[column]
                .doubting
                .note(self.start, &cell, read, dimension);
        }
    }
}

/// `-`, `?`, `n/a` and the like in a column of words.
pub(super) fn missing_as_empty(text: &str) -> &str {
    let missing = matches!(text, "-" | "–" | "?")
        || text.eq_ignore_ascii_case("n/a")
        || text.eq_ignore_ascii_case("na");
    if missing { "" } else { text }
}

/// A date of making, empty where the cell says that it is not known.
pub(super) fn date_of_making(text: &str) -> &str {
    match is_undated(text) {
        true => "",
        false => missing_as_empty(text),
    }
}

/// The years of a date of making, where it is known.
fn made_by(text: &str) -> Result<Option<YearRange>, NotADate> {
    match date_of_making(text) {
        "" => Ok(None),
        text => YearRange::parse(text).map(Some),
    }
}

impl RawColumn {
    fn note_step(&mut self, step: f64) {
        self.step = Some(self.step.map_or(step, |known| known.min(step)));
    }

    fn truncate(&mut self, rows: usize) {
        while self.texts.len() > rows {
            self.texts.pop();
        }
        while self.special.last().is_some_and(|s| s.row >= rows) {
            self.special.pop();
        }
    }

    /// Adds what is said of later rows, of which the first has that number.
    fn append(&mut self, other: RawColumn, first_row: usize) {
        if let Some(step) = other.step {
            self.note_step(step);
        }
        let special = other.special.into_iter();
        self.special.extend(special.map(|of| Special {
            row: of.row + first_row,
            ..of
        }));
        self.texts.append(&other.texts);
        self.doubting.append(other.doubting);
    }

    /// The finished column. A plain cell's step is that of the finest cell of its column.
    fn into_column(
        self,
        values: Vec<f64>,
        dimension: usize,
        row_states: &[State],
        unit: Unit,
    ) -> Column {
        let rows = values.len();
        // A column of gauge readings alone has no step of its own.
        let step = self.step.unwrap_or_else(|| unit.in_base_units());
        let uncertainty = if self.special.iter().all(|s| s.uncertainty.is_none()) {
            Uncertainty::Step(step)
        } else {
            let mut each = vec![step / 12f64.sqrt(); rows];
            for special in &self.special {
                if let Some(uncertainty) = special.uncertainty {
                    each[special.row] = uncertainty;
                }
            }
            Uncertainty::Each(each)
        };
        let braces = self.special.iter().any(|s| s.state.is_some());
        let states = (braces || !row_states.is_empty()).then(|| {
            let mut states = row_states.to_vec();
            states.resize(rows, State::Factory);
            for special in &self.special {
                if let Some(state) = special.state {
                    states[special.row] = state;
                }
            }
            states
        });
        Column {
            dimension,
            values,
            uncertainty,
            states,
            finish: None,
        }
    }
}

impl Chunk {
    fn of_columns(columns: usize) -> Chunk {
        let mut chunk = Chunk::default();
        chunk.columns.resize_with(columns, RawColumn::default);
        chunk
    }

    /// Room for all rows, judged by the first hundred.
    fn reserve_once(&mut self, bytes: usize, read: usize) {
        const JUDGE_BY: usize = 100;
        if self.rows_seen != JUDGE_BY || read == 0 {
            return;
        }
        let rows = (bytes as f64 / read as f64 * JUDGE_BY as f64 * 1.01) as usize;
        let name_bytes = self.specimens.names.bytes();
        self.reserve(rows, name_bytes * rows / JUDGE_BY + rows);
    }

    /// Room for so many rows, with names of so many bytes.
    fn reserve(&mut self, rows: usize, name_bytes: usize) {
        self.offsets.reserve(rows);
        self.specimens.made.reserve(rows);
        self.specimens.names.reserve(rows, name_bytes);
    }

    /// Takes back whatever the last row has put beyond `rows` rows.
    fn truncate(&mut self, rows: usize) {
        while self.specimens.names.len() > rows {
            self.specimens.names.pop();
        }
        let coded = [
            &mut self.specimens.makers,
            &mut self.specimens.patterns,
            &mut self.specimens.periods,
            &mut self.specimens.finishes,
        ];
        coded.into_iter().for_each(|c| c.codes.truncate(rows));
        self.specimens.made.truncate(rows);
        self.states.truncate(rows);
        self.columns.iter_mut().for_each(|c| c.truncate(rows));
        let words = &mut self.words;
        for texts in [&mut words.made, &mut words.source, &mut words.note] {
            while texts.len() > rows {
                texts.pop();
            }
        }
    }

    /// Chunks one after the other, but for their values.
    fn joined(chunks: Vec<Chunk>) -> Chunk {
        let rows: usize = chunks.iter().map(|chunk| chunk.offsets.len()).sum();
        let name_bytes: usize = chunks.iter().map(|of| of.specimens.names.bytes()).sum();
        let mut chunks = chunks.into_iter();
        // The first is the longest, and grows where it stands.
        let mut whole = chunks.next().unwrap_or_default();
        let names = name_bytes - whole.specimens.names.bytes();
        whole.reserve(rows - whole.offsets.len(), names);
        let mut others: Vec<Chunk> = chunks.collect();
        // Names are half of the work.
        let take = |chunk: &mut Chunk| std::mem::take(&mut chunk.specimens.names);
        let (mut names, of_others) = (take(&mut whole), others.iter_mut().map(take));
        let of_others: Vec<Texts> = of_others.collect();
        let append_names = || {
            of_others.iter().for_each(|of| names.append(of));
            names
        };
        let append = || others.into_iter().for_each(|of| whole.append(of));
        let (names, ()) = parallel::both(append_names, append);
        whole.specimens.names = names;
        whole
    }

    fn append(&mut self, other: Chunk) {
        let first_row = self.offsets.len();
        for (column, of) in self.columns.iter_mut().zip(other.columns) {
            column.append(of, first_row);
        }
        self.rows_seen += other.rows_seen;
        self.offsets.extend(other.offsets);
        self.specimens.names.append(&other.specimens.names);
        self.specimens.makers.append(&other.specimens.makers);
        self.specimens.patterns.append(&other.specimens.patterns);
        self.specimens.periods.append(&other.specimens.periods);
        self.specimens.finishes.append(&other.specimens.finishes);
        self.specimens.made.extend(other.specimens.made);
        self.states.extend(other.states);
        self.words.made.append(&other.words.made);
        self.words.source.append(&other.words.source);
        self.words.note.append(&other.words.note);
        self.faults.extend(other.faults);
        self.refused.extend(other.refused);
    }

    fn into_found(mut self, input: &Input<'_>, options: &Options, catalogue: Catalogue) -> Found {
        let doubts = self.doubts(input, &catalogue);
        let duplicates = self.refuse_duplicates(input);
        let sums = self.sums();
        let mut faults = std::mem::take(&mut self.faults);
        faults.extend(duplicates);
        Found {
            rows: self.rows_seen,
            table: self.into_table(input, options, catalogue),
            faults,
            doubts,
            sums,
        }
    }

    /// Rows that are named as those below a spreadsheet's columns are.
    fn sums(&self) -> Vec<(usize, String)> {
        const NAMES: [&str; 10] = [
            "total", "totals", "sum", "average", "avg", "mean", "median", "min", "max", "count",
        ];
        const LONGEST: usize = 12;
        let is_sum = |row: &usize| {
            let name = self.specimens.names.get(*row).trim_end_matches(':');
            name.len() < LONGEST && NAMES.iter().any(|n| n.eq_ignore_ascii_case(name))
        };
        let sum = |row: usize| (self.offsets[row], self.specimens.names.get(row).to_owned());
        let found = parallel::stretches(self.offsets.len(), STRETCH, |rows| {
            rows.filter(is_sum).map(sum).collect::<Vec<_>>()
        });
        found.concat()
    }

    fn doubts(&mut self, input: &Input<'_>, catalogue: &Catalogue) -> Vec<RawDoubt> {
        self.columns
            .iter_mut()
            .zip(&input.plan.dimensions)
            .flat_map(|(column, planned)| {
                std::mem::take(&mut column.doubting)
                    .into_raw(planned.position, catalogue.at(planned.dimension))
            })
            .collect()
    }

    /// Takes out every row whose specimen stands in an earlier row, be that one faulty or not.
    fn refuse_duplicates(&mut self, input: &Input<'_>) -> Vec<RawFault> {
        let names = &self.specimens.names;
        let ascending = parallel::stretches(names.len(), STRETCH, |mut rows| {
            rows.all(|row| row == 0 || names.get(row - 1) < names.get(row))
        });
        if ascending.iter().all(|&ascending| ascending) && self.refused.is_empty() {
            return Vec::new();
        }
        let good = names.iter().zip(&self.offsets).enumerate();
        let good = good.map(|(row, (name, &offset))| (offset, name, Some(row)));
        let refused = self.refused.iter();
        let refused = refused.map(|(name, offset)| (*offset, name.as_str(), None));
        let mut rows: Vec<(usize, &str, Option<usize>)> = good.chain(refused).collect();
        rows.sort_unstable_by_key(|(offset, ..)| *offset);
        let mut first: HashMap<&str, usize> = HashMap::with_capacity(rows.len());
        let mut keep = vec![true; names.len()];
        let mut faults = Vec::new();
        for (offset, name, row) in rows {
            let Some(&earlier) = first.get(name) else {
                first.insert(name, offset);
                continue;
            };
            if let Some(row) = row {
                keep[row] = false;
            }
            faults.push(RawFault {
                offset,
                position: input.plan.position(Known::Specimen),
                text: name.to_owned(),
                kind: FaultKind::DuplicateSpecimen { first_row: 0 },
                earlier: Some(earlier),
            });
        }
        if keep.contains(&false) {
            self.retain(&keep);
        }
        faults
    }

    fn retain(&mut self, keep: &[bool]) {
        fn of<T>(rows: &mut Vec<T>, keep: &[bool]) {
            let mut kept = keep.iter();
            rows.retain(|_| kept.next().copied().unwrap_or(true));
        }
        of(&mut self.offsets, keep);
        self.specimens.names.retain(keep);
        of(&mut self.specimens.makers.codes, keep);
        of(&mut self.specimens.patterns.codes, keep);
        of(&mut self.specimens.periods.codes, keep);
        of(&mut self.specimens.finishes.codes, keep);
        of(&mut self.specimens.made, keep);
        of(&mut self.states, keep);
        let new_row: Vec<usize> = keep
            .iter()
            .scan(0, |next, &kept| {
                let row = *next;
                *next += usize::from(kept);
                Some(row)
            })
            .collect();
        self.values.iter_mut().for_each(|values| of(values, keep));
        for column in &mut self.columns {
            if !column.texts.is_empty() {
                column.texts.retain(keep);
            }
            column.special.retain(|s| keep[s.row]);
            column
                .special
                .iter_mut()
                .for_each(|s| s.row = new_row[s.row]);
        }
        let words = &mut self.words;
        for texts in [&mut words.made, &mut words.source, &mut words.note] {
            if !texts.is_empty() {
                texts.retain(keep);
            }
        }
    }

    fn into_table(mut self, input: &Input<'_>, options: &Options, catalogue: Catalogue) -> Table {
        let rows = self.offsets.len();
        fill(&mut self.specimens.makers, rows);
        fill(&mut self.specimens.patterns, rows);
        fill(&mut self.specimens.periods, rows);
        fill(&mut self.specimens.finishes, rows);
        self.specimens.made.resize(rows, None);
        let texts: Vec<Texts> = self
            .columns
            .iter_mut()
            .map(|c| std::mem::take(&mut c.texts))
            .collect();
        let specials: Vec<Vec<Special>> = match options.details {
            true => self.columns.iter().map(|c| c.special.clone()).collect(),
            false => Vec::new(),
        };
        let planned = &input.plan.dimensions;
        let states = std::mem::take(&mut self.states);
        let columns: Vec<Column> = self
            .columns
            .into_iter()
            .zip(self.values)
            .zip(planned)
            .map(|((column, values), planned)| {
                column.into_column(values, planned.dimension, &states, planned.unit)
            })
            .collect();
        let details = options.details.then(|| {
            let mut details = Details {
                made: filled(self.words.made, rows),
                source: filled(self.words.source, rows),
                note: filled(self.words.note, rows),
                ..Details::default()
            };
            keep_readings(&mut details, &columns, planned, &texts, &specials);
            details
        });
        Table {
            catalogue,
            periods: Default::default(),
            specimens: self.specimens,
            columns,
            traces: Vec::new(),
            details,
        }
    }
}

/// Every reading with its text, row by row.
fn keep_readings(
    details: &mut Details,
    columns: &[Column],
    planned: &[DimensionColumn],
    texts: &[Texts],
    specials: &[Vec<Special>],
) {
    let rows = details.made.len();
    let mut next_special = vec![0usize; columns.len()];
    for row in 0..rows {
        for (c, column) in columns.iter().enumerate() {
            let special = specials[c]
                .get(next_special[c])
                .filter(|special| special.row == row);
            next_special[c] += usize::from(special.is_some());
            let Some(value) = column.value(row) else {
                continue;
            };
            details.readings.push(KeptReading {
                specimen: row as u32,
                dimension: column.dimension as u32,
                value,
                uncertainty: column.uncertainty(row),
                given: special.is_some_and(|special| special.given),
                state: column.state(row),
                unit: special.map_or(planned[c].unit, |special| special.unit),
                text: details.texts.len() as u32,
                circumstance: None,
            });
            details.texts.push(texts[c].get(row));
        }
    }
}

/// A column of words that the file does not have is empty in every row.
pub(super) fn fill(coded: &mut Coded, rows: usize) {
    if coded.codes.len() >= rows {
        return;
    }
    let code = coded.code("");
    if coded.codes.is_empty() {
        // Zeros that nobody has written take no time.
        coded.codes = vec![code; rows];
    } else {
        coded.codes.resize(rows, code);
    }
}

fn filled(mut texts: Texts, rows: usize) -> Texts {
    while texts.len() < rows {
        texts.push("");
    }
    texts
}
