//! Tables of traces: one row a point, several rows a trace.

use std::collections::HashMap;

use super::column::Circumstance;
use super::fault::{FaultKind, Place, TableError};
use super::header::{Known, Plan, Target};
use super::long::cell_count;
use super::text::Coded;
use super::trace::{Trace, TraceReading, WrittenPoint, WrittenPoints, WrittenTrace};
use super::trace_cells::{PointCell, ReadPoint, TraceFault, assemble, read_point, uncertainty};
use super::wide::missing_as_empty;
use super::{CsvText, Input, RawFault, TraceSheet, each_row, placed};
use crate::catalogue::{Feature, FeatureName, NotAFeature, State, TraceKind};
use crate::form::colour::Spot;
use crate::notation::Unit;

/// Reads the rows; `header` is the header's text. The texts of the points are kept `as_written`
/// only on request.
pub(super) fn read(
    input: &Input<'_>,
    text: &CsvText<'_>,
    as_written: bool,
    header: &str,
) -> Result<TraceSheet, TableError> {
    let mut rows = TraceReader::new(input, as_written);
    let seen = each_row(text, |record, offset| rows.row(record, offset));
    let TraceReader {
        mut groups,
        mut faults,
        ..
    } = rows;
    for group in &mut groups {
        group.refuse_unclear_units(input, text, &mut faults);
    }
    groups.retain(|group| !group.rows.is_empty());
    let (faults, set_aside) = placed(input, seen, faults, header, text.delimiter)?;
    let mut sheet = TraceSheet {
        traces: Vec::with_capacity(groups.len()),
        places: first_rows(input, &groups),
        written: Vec::new(),
        faults,
        cautions: Vec::new(),
        set_aside,
    };
    for (group, place) in groups.into_iter().zip(&sheet.places) {
        let (trace, written) = group.into_trace(input, place);
        sheet.cautions.extend(read_twice(input.file, &trace));
        sheet.traces.push(trace);
        sheet.written.extend(written);
    }
    Ok(sheet)
}

/// The cells of a row that describe its trace, an empty one saying nothing; they must agree.
const TRACE_WORDS: [Known; 4] = [
    Known::Instrument,
    Known::MeasuredBy,
    Known::MeasuredOn,
    Known::Source,
];

/// The cells of a row that are its point's own; all others describe its trace.
const POINT_WORDS: [Known; 3] = [Known::Station, Known::Reading, Known::Unit];

/// Numbers of specimen and feature, and the repeat.
type Key = (u32, usize, u32);

struct TraceReader<'a> {
    input: &'a Input<'a>,
    columns: Columns,
    as_written: bool,
    standard: Vec<Feature>,
    specimens: Coded,
    /// Every spelling of a feature that was met: its number in `names`.
    spellings: HashMap<String, Result<usize, NotAFeature>>,
    /// Each spelling's feature, and the number of the first that means the same feature and place.
    names: Vec<(FeatureName, usize)>,
    first_names: HashMap<(String, Option<u64>), usize>,
    groups: Vec<Group>,
    numbers: HashMap<Key, usize>,
    last: Option<Last>,
    faults: Vec<RawFault>,
}

/// Where the known columns stand.
#[derive(Default)]
struct Columns {
    known: [Option<usize>; Known::COUNT],
    /// Those that describe the trace.
    describing: Vec<usize>,
    nameless: Vec<usize>,
}

/// The last row that was read in full. The rows of one trace mostly follow one another: where all
/// that describes the trace is written as there, it need not be read again.
struct Last {
    record: csv::StringRecord,
    group: usize,
    unit: Option<Unit>,
}

/// The cells of a row.
#[derive(Clone, Copy)]
struct Cells<'r> {
    record: &'r csv::StringRecord,
    columns: &'r Columns,
}

/// The position of a cell, and its text.
type Cell<'r> = (Option<usize>, &'r str);

/// The good rows of one trace.
struct Group {
    specimen: String,
    feature: FeatureName,
    repeat: u32,
    state: State,
    /// In mm, where given, and the record that said so first.
    uncertainty: Option<(f64, String, usize)>,
    /// By [`TRACE_WORDS`]: the text and the record that said it first.
    words: [Option<(String, usize)>; TRACE_WORDS.len()],
    notes: Vec<String>,
    rows: Vec<Row>,
    /// The same rows as written, where that is kept.
    written: WrittenPoints,
}

struct Row {
    offset: usize,
    read: ReadPoint,
}

/// What a row says of its trace.
struct Said {
    key: Key,
    /// Number of the feature as spelled here.
    feature: usize,
    state: State,
    uncertainty: Option<f64>,
}

/// The faults of one row.
struct Faults<'a> {
    offset: usize,
    all: &'a mut Vec<RawFault>,
    any: bool,
}

impl Faults<'_> {
    fn add(&mut self, (position, text): (Option<usize>, &str), kind: impl Into<FaultKind>) {
        self.about((position, text), kind.into(), None);
    }

    /// `earlier` is the record that the kind's `first_row` is about.
    fn about(
        &mut self,
        (position, text): (Option<usize>, &str),
        kind: FaultKind,
        earlier: Option<usize>,
    ) {
        self.any = true;
        self.all.push(RawFault {
            offset: self.offset,
            position,
            text: text.to_owned(),
            kind,
            earlier,
        });
    }

    fn contradicts(&mut self, cell: (Option<usize>, &str), first: &str, earlier: usize) {
        let kind = TraceFault::Contradiction {
            first: first.to_owned(),
            first_row: 0,
        };
        self.about(cell, kind.into(), Some(earlier));
    }
}

impl Columns {
    fn new(plan: &Plan) -> Columns {
        let mut columns = Columns {
            known: [None; Known::COUNT],
            describing: Vec::new(),
            nameless: Vec::new(),
        };
        for (position, target) in plan.targets.iter().enumerate() {
            match *target {
                Target::Known(known) => {
                    columns.known[known as usize].get_or_insert(position);
                    if !POINT_WORDS.contains(&known) {
                        columns.describing.push(position);
                    }
                }
                Target::Nameless => columns.nameless.push(position),
                Target::Reading(_) | Target::Skipped => {}
            }
        }
        columns
    }
}

impl<'r> Cells<'r> {
    fn get(self, known: Known) -> Cell<'r> {
        let position = self.columns.known[known as usize];
        (position, self.text(known))
    }

    fn text(self, known: Known) -> &'r str {
        let position = self.columns.known[known as usize];
        let text = position.and_then(|p| self.record.get(p));
        text.map_or("", str::trim)
    }

    fn point(self) -> WrittenPoint<'r> {
        WrittenPoint {
            station: self.text(Known::Station),
            reading: self.text(Known::Reading),
            unit: self.text(Known::Unit),
        }
    }

    /// Whether the row describes its trace just as another does.
    fn describe_as(self, other: &csv::StringRecord) -> bool {
        let mut positions = self.columns.describing.iter();
        positions.all(|&p| self.record.get(p) == other.get(p))
    }
}

impl ReadPoint {
    /// The unit that the reading is written in; none of a colour.
    fn unit(&self) -> Option<Unit> {
        match self {
            ReadPoint::Length(point) => Some(point.unit),
            ReadPoint::Spot(_) => None,
        }
    }
}

impl<'a> TraceReader<'a> {
    fn new(input: &'a Input<'a>, as_written: bool) -> TraceReader<'a> {
        TraceReader {
            input,
            columns: Columns::new(input.plan),
            as_written,
            standard: Feature::standard(),
            specimens: Coded::default(),
            spellings: HashMap::new(),
            names: Vec::new(),
            first_names: HashMap::new(),
            groups: Vec::new(),
            numbers: HashMap::new(),
            last: None,
            faults: Vec::new(),
        }
    }

    /// Reads one row; whatever is wrong with it is noted, and the row counts for nothing then.
    fn row(&mut self, record: &csv::StringRecord, offset: usize) {
        let mut all = std::mem::take(&mut self.faults);
        let mut faults = Faults {
            offset,
            all: &mut all,
            any: false,
        };
        self.good_row(record, &mut faults);
        self.faults = all;
    }

    fn good_row(&mut self, record: &csv::StringRecord, faults: &mut Faults<'_>) {
        if let Some(kind) = cell_count(record, self.input.plan.targets.len()) {
            return faults.add((None, record.get(0).unwrap_or("")), kind);
        }
        for &position in &self.columns.nameless {
            let cell = record.get(position).unwrap_or("");
            if !cell.trim().is_empty() {
                faults.add((Some(position), cell), FaultKind::NoHeading);
            }
        }
        // Taken out for the while, so that the reader can be changed beside it.
        let columns = std::mem::take(&mut self.columns);
        let cells = Cells {
            record,
            columns: &columns,
        };
        if !self.next_of_last(cells, faults) {
            self.described_row(cells, faults);
        }
        self.columns = columns;
    }

    /// Reads a row of the trace that the last row was of; false where that is not plain to see.
    fn next_of_last(&mut self, cells: Cells<'_>, faults: &mut Faults<'_>) -> bool {
        let Some(last) = self.last.as_ref().filter(|l| cells.describe_as(&l.record)) else {
            return false;
        };
        let group = &mut self.groups[last.group];
        let kind = group.feature.feature.kind;
        let Some(read) = point(kind, cells, self.input, faults) else {
            return true;
        };
        // An uncertainty is in the unit of its row's reading.
        let uncertainty = missing_as_empty(cells.text(Known::Uncertainty));
        if !uncertainty.is_empty() && read.unit() != last.unit {
            return false;
        }
        if !faults.any {
            group.push(faults.offset, read, cells, self.as_written);
        }
        true
    }

    /// Reads a row that may be of any trace.
    fn described_row(&mut self, cells: Cells<'_>, faults: &mut Faults<'_>) {
        let Some((said, read)) = self.parse(cells, faults) else {
            return;
        };
        let known = self.numbers.get(&said.key).copied();
        if let Some(at) = known {
            self.groups[at].compare(&said, cells, faults);
        }
        if !faults.any {
            let unit = read.unit();
            let group = known.unwrap_or_else(|| self.new_group(&said));
            self.groups[group].describe(&said, cells, faults.offset);
            self.groups[group].push(faults.offset, read, cells, self.as_written);
            let mut record = self.last.take().map_or_else(Default::default, |l| l.record);
            record.clone_from(cells.record);
            self.last = Some(Last {
                record,
                group,
                unit,
            });
        }
    }

    /// What a row says, as far as it can be read; `None` also where nothing was measured.
    fn parse(&mut self, cells: Cells<'_>, faults: &mut Faults<'_>) -> Option<(Said, ReadPoint)> {
        let specimen = cells.get(Known::Specimen);
        if specimen.1.is_empty() {
            faults.add(specimen, FaultKind::NoSpecimen);
        }
        let repeat = repeat(cells.text(Known::Repeat)).unwrap_or_else(|| {
            faults.add(cells.get(Known::Repeat), TraceFault::Repeat);
            1
        });
        let state = state(cells.get(Known::State)).unwrap_or_else(|| {
            faults.add(cells.get(Known::State), FaultKind::NotAState);
            State::Unknown
        });
        let feature = match self.feature(cells.text(Known::Feature)) {
            Ok(feature) => feature,
            Err(error) => {
                faults.add(cells.get(Known::Feature), TraceFault::from(error));
                return None;
            }
        };
        let (name, first) = &self.names[feature];
        let read = point(name.feature.kind, cells, self.input, faults)?;
        let given = cells.get(Known::Uncertainty);
        let uncertainty = match (missing_as_empty(given.1), &read) {
            ("", _) => None,
            (_, ReadPoint::Spot(_)) => {
                faults.add(given, TraceFault::ColourUncertainty);
                None
            }
            (text, ReadPoint::Length(point)) => {
                match uncertainty(text, point.unit, self.input.mark) {
                    Ok(u) => Some(u),
                    Err(kind) => {
                        faults.add(given, kind);
                        None
                    }
                }
            }
        };
        let said = Said {
            key: (self.specimens.code(specimen.1), *first, repeat),
            feature,
            state,
            uncertainty,
        };
        Some((said, read))
    }

    /// The number of a feature as spelled.
    fn feature(&mut self, text: &str) -> Result<usize, NotAFeature> {
        if let Some(known) = self.spellings.get(text) {
            return known.clone();
        }
        let read = FeatureName::parse(text, &self.standard).map(|name| {
            let number = self.names.len();
            let key = (name.feature.key.clone(), name.at.map(f64::to_bits));
            let first = *self.first_names.entry(key).or_insert(number);
            self.names.push((name, first));
            number
        });
        self.spellings.insert(text.to_owned(), read.clone());
        read
    }

    fn new_group(&mut self, said: &Said) -> usize {
        let (specimen, _, repeat) = said.key;
        let number = self.groups.len();
        self.groups.push(Group {
            specimen: self.specimens.names()[specimen as usize].clone(),
            feature: self.names[said.feature].0.clone(),
            repeat,
            state: said.state,
            uncertainty: None,
            words: Default::default(),
            notes: Vec::new(),
            rows: Vec::new(),
            written: WrittenPoints::default(),
        });
        self.numbers.insert(said.key, number);
        number
    }
}

/// The point of a row; `None` where nothing was measured, or where it cannot be read.
fn point(
    kind: TraceKind,
    cells: Cells<'_>,
    input: &Input<'_>,
    faults: &mut Faults<'_>,
) -> Option<ReadPoint> {
    let mut bad = Vec::new();
    let read = read_point(kind, cells.point(), input.mark, &mut bad);
    for (at, kind) in bad {
        let known = match at {
            PointCell::Station => Known::Station,
            PointCell::Reading => Known::Reading,
            PointCell::Unit => Known::Unit,
        };
        faults.add(cells.get(known), kind);
    }
    read
}

/// Without a `state` column a trace is as it left the works; with one, an empty cell is unknown.
fn state((position, text): (Option<usize>, &str)) -> Option<State> {
    match (position, missing_as_empty(text)) {
        (None, _) => Some(State::Factory),
        (Some(_), "") => Some(State::Unknown),
        (Some(_), text) => State::parse(text),
    }
}

fn repeat(text: &str) -> Option<u32> {
    match text {
        "" => Some(1),
        text if text.bytes().all(|b| b.is_ascii_digit()) => text.parse().ok().filter(|&n| n > 0),
        _ => None,
    }
}

impl Group {
    /// A row must say the same of its trace as those before it.
    fn compare(&self, said: &Said, cells: Cells<'_>, faults: &mut Faults<'_>) {
        let first = self.rows.first().map_or(0, |row| row.offset);
        if said.state != self.state {
            faults.contradicts(cells.get(Known::State), self.state.name(), first);
        }
        if let (Some(new), Some((old, text, earlier))) = (said.uncertainty, &self.uncertainty)
            && (new - old).abs() > 1e-9 * old
        {
            faults.contradicts(cells.get(Known::Uncertainty), text, *earlier);
        }
        for (known, word) in TRACE_WORDS.into_iter().zip(&self.words) {
            let new = missing_as_empty(cells.text(known));
            if let Some((old, earlier)) = word
                && !new.is_empty()
                && new != old
            {
                faults.contradicts(cells.get(known), old, *earlier);
            }
        }
    }

    /// Takes over what a row says and earlier ones did not.
    fn describe(&mut self, said: &Said, cells: Cells<'_>, offset: usize) {
        if self.uncertainty.is_none() {
            let text = cells.text(Known::Uncertainty);
            let given = said.uncertainty;
            self.uncertainty = given.map(|u| (u, text.to_owned(), offset));
        }
        for (known, word) in TRACE_WORDS.into_iter().zip(&mut self.words) {
            let text = missing_as_empty(cells.text(known));
            if word.is_none() && !text.is_empty() {
                *word = Some((text.to_owned(), offset));
            }
        }
        let note = cells.text(Known::Note);
        if !note.is_empty() && !self.notes.iter().any(|n| n == note) {
            self.notes.push(note.to_owned());
        }
    }

    fn push(&mut self, offset: usize, read: ReadPoint, cells: Cells<'_>, as_written: bool) {
        self.rows.push(Row { offset, read });
        if as_written {
            self.written.push(cells.point());
        }
    }

    /// Where rows are in different units, those that do not say theirs are refused.
    fn refuse_unclear_units(
        &mut self,
        input: &Input<'_>,
        text: &CsvText<'_>,
        faults: &mut Vec<RawFault>,
    ) {
        let mut of_rows = self.rows.iter().filter_map(|row| row.read.unit());
        let first = of_rows.next();
        if of_rows.all(|unit| Some(unit) == first) {
            return;
        }
        let position = input.plan.position(Known::Reading);
        let mut refuse = |row: &Row| match &row.read {
            ReadPoint::Length(point) if !point.says_unit => {
                let read_as = point.unit;
                faults.push(RawFault {
                    offset: row.offset,
                    position,
                    text: text.cell(row.offset, position),
                    kind: TraceFault::UnclearUnit { read_as }.into(),
                    earlier: None,
                });
                true
            }
            _ => false,
        };
        let keep: Vec<bool> = self.rows.iter().map(|row| !refuse(row)).collect();
        let mut kept = keep.iter();
        self.rows.retain(|_| kept.next() == Some(&true));
        if !self.written.is_empty() {
            self.written.retain(&keep);
        }
    }

    /// The trace, and the same as written where that was kept.
    fn into_trace(self, input: &Input<'_>, place: &Place) -> (Trace, Option<WrittenTrace>) {
        let kind = self.feature.feature.kind;
        let uncertainty = self.uncertainty.map(|(u, ..)| u);
        let read = self.rows.into_iter().map(|row| row.read);
        let trace = Trace {
            specimen: self.specimen,
            feature: self.feature,
            repeat: self.repeat,
            state: self.state,
            reading: assemble(kind, read, uncertainty),
        };
        if self.written.is_empty() {
            return (trace, None);
        }
        let [instrument, measured_by, measured_on, source] =
            self.words.map(|word| word.map_or(String::new(), |w| w.0));
        let written = WrittenTrace {
            place: place.clone(),
            specimen: trace.specimen.clone(),
            feature: trace.feature.clone(),
            repeat: trace.repeat,
            state: trace.state,
            uncertainty,
            circumstance: Circumstance {
                instrument,
                measured_by,
                measured_on,
                source,
                note: self.notes.join("; "),
            },
            mark: input.mark,
            points: self.written,
        };
        (trace, Some(written))
    }
}

/// Where the specimen of each trace stands first.
fn first_rows(input: &Input<'_>, groups: &[Group]) -> Vec<Place> {
    let first = |group: &Group| group.rows.first().map_or(0, |row| row.offset);
    let mut offsets: Vec<usize> = groups.iter().map(first).collect();
    offsets.sort_unstable();
    let located = input.rows.locate(&offsets);
    let position = input.plan.position(Known::Specimen);
    groups
        .iter()
        .map(|group| {
            let at = offsets.binary_search(&first(group)).ok();
            let at = at.and_then(|at| located.get(at));
            at.map_or_else(Place::default, |at| input.place(at, position))
        })
        .collect()
}

/// What to say where a station or a spot was read more than once and differently.
fn read_twice(file: &str, trace: &Trace) -> Option<String> {
    let of = || format!("of {} of {}", trace.name(), super::short(&trace.specimen));
    let was = |count: usize| if count == 1 { "was" } else { "were" };
    match &trace.reading {
        TraceReading::Points {
            stations, readings, ..
        } => {
            let turn = trace.feature.feature.kind == TraceKind::Section;
            let (count, most) = differing_stations(stations, readings, turn);
            let counted = super::fault::counted(count, "station");
            (count > 0).then(|| {
                let differ = if count == 1 { "differs" } else { "differ" };
                format!(
                    "{file}: {counted} {} {} read twice and {differ} by up to {} mm; all \
                     points were kept",
                    of(),
                    was(count),
                    rounded(most)
                )
            })
        }
        TraceReading::Spots(spots) => {
            let count = differing_spots(spots);
            let counted = super::fault::counted(count, "spot");
            (count > 0).then(|| {
                format!(
                    "{file}: {counted} {} {} read twice, in different colours; all were kept",
                    of(),
                    was(count)
                )
            })
        }
    }
}

/// How many stations were read more than once and differently, and by how much at most. Of a
/// section 0 and 360 degrees are one station.
fn differing_stations(stations: &[f64], readings: &[f64], turn: bool) -> (usize, f64) {
    // The sum makes one of the two zeros.
    let place = |&station: &f64| match turn {
        true => station.rem_euclid(360.0) + 0.0,
        false => station + 0.0,
    };
    let mut points: Vec<(f64, f64)> = stations
        .iter()
        .map(place)
        .zip(readings.iter().copied())
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut count, mut most) = (0, 0.0_f64);
    for here in points.chunk_by(|a, b| a.0 == b.0) {
        let low = here.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
        let high = here.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
        if high > low {
            count += 1;
            most = most.max(high - low);
        }
    }
    (count, most)
}

fn differing_spots(spots: &[Spot]) -> usize {
    let mut by_name: HashMap<&str, Vec<&Spot>> = HashMap::new();
    for spot in spots {
        by_name.entry(&spot.name).or_default().push(spot);
    }
    let differ = |here: &&Vec<&Spot>| here.iter().any(|spot| spot.colour != here[0].colour);
    by_name.values().filter(differ).count()
}

/// A length for a message, without the noise of binary digits.
fn rounded(value: f64) -> String {
    if !(1e-4..1e7).contains(&value) {
        return format!("{value:.2e}");
    }
    let text = format!("{value:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
