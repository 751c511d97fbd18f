//! Tables of traces: one row a point, several rows a trace.

use std::collections::HashMap;

use super::column::Circumstance;
use super::fault::{FaultKind, TableError};
use super::header::{Known, Target};
use super::long::cell_count;
use super::trace::{Spot, TraceReading, WrittenPoint, WrittenTrace};
use super::trace_cells::{
    PointCell, PointCells, ReadPoint, TraceFault, assemble, read_point, uncertainty,
};
use super::wide::missing_as_empty;
use super::{CsvText, Input, RawFault, TraceSheet, csv_reader, next_record, placed};
use crate::catalogue::{Feature, FeatureName, NotAFeature, State, TraceKind};

/// Reads the rows; `header` is the header's text.
pub(super) fn read(
    input: &Input<'_>,
    text: &CsvText<'_>,
    header: &str,
) -> Result<TraceSheet, TableError> {
    let mut rows = TraceReader::new(input);
    let mut reader = csv_reader(&text.source.table()[text.body..], text.delimiter);
    let mut record = csv::StringRecord::new();
    let mut seen = 0;
    while next_record(&mut reader, &mut record) {
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        seen += 1;
        let offset = record.position().map_or(0, |p| p.byte() as usize) + text.body;
        rows.row(&record, offset);
    }
    let TraceReader {
        mut groups,
        mut faults,
        ..
    } = rows;
    for group in &mut groups {
        group.refuse_unclear_units(input, &mut faults);
    }
    groups.retain(|group| !group.rows.is_empty());
    let (faults, set_aside) = placed(input, seen, faults, header, text.delimiter)?;
    let mut sheet = TraceSheet {
        traces: Vec::with_capacity(groups.len()),
        written: Vec::with_capacity(groups.len()),
        faults,
        cautions: Vec::new(),
        set_aside,
    };
    let places = first_rows(input, &groups);
    for (group, place) in groups.into_iter().zip(places) {
        let (written, reading) = group.into_parts(input, place);
        let trace = written.with(reading);
        sheet
            .cautions
            .extend(read_twice(input.file, &written, &trace.reading));
        sheet.traces.push(trace);
        sheet.written.push(written);
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

/// Specimen, key of the feature, place and repeat.
type Key = (String, String, Option<u64>, u32);

struct TraceReader<'a> {
    input: &'a Input<'a>,
    standard: Vec<Feature>,
    /// Every spelling met.
    features: HashMap<String, Result<FeatureName, NotAFeature>>,
    groups: Vec<Group>,
    numbers: HashMap<Key, usize>,
    faults: Vec<RawFault>,
}

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
}

struct Row {
    offset: usize,
    written: WrittenPoint,
    read: ReadPoint,
}

/// What a row says of its trace.
struct Said {
    key: Key,
    feature: FeatureName,
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

impl<'a> TraceReader<'a> {
    fn new(input: &'a Input<'a>) -> TraceReader<'a> {
        TraceReader {
            input,
            standard: Feature::standard(),
            features: HashMap::new(),
            groups: Vec::new(),
            numbers: HashMap::new(),
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
        let plan = self.input.plan;
        if let Some(kind) = cell_count(record, plan.targets.len()) {
            return faults.add((None, record.get(0).unwrap_or("")), kind);
        }
        for (position, (cell, target)) in record.iter().zip(&plan.targets).enumerate() {
            if *target == Target::Nameless && !cell.trim().is_empty() {
                faults.add((Some(position), cell), FaultKind::NoHeading);
            }
        }
        let cell = |known: Known| {
            let position = plan.position(known);
            let text = position.and_then(|p| record.get(p));
            (position, text.map_or("", str::trim))
        };
        let Some((said, read)) = self.parse(&cell, faults) else {
            return;
        };
        let group = self.numbers.get(&said.key).map(|&at| &self.groups[at]);
        if let Some(group) = group {
            group.compare(&said, &cell, faults);
        }
        if !faults.any {
            let row = Row {
                offset: faults.offset,
                written: WrittenPoint {
                    station: cell(Known::Station).1.to_owned(),
                    reading: cell(Known::Reading).1.to_owned(),
                    unit: cell(Known::Unit).1.to_owned(),
                },
                read,
            };
            self.store(said, row, &cell);
        }
    }

    /// What a row says, as far as it can be read; `None` also where nothing was measured.
    fn parse<'r>(
        &mut self,
        cell: &dyn Fn(Known) -> (Option<usize>, &'r str),
        faults: &mut Faults<'_>,
    ) -> Option<(Said, ReadPoint)> {
        let specimen = cell(Known::Specimen);
        if specimen.1.is_empty() {
            faults.add(specimen, FaultKind::NoSpecimen);
        }
        let repeat = repeat(cell(Known::Repeat).1).unwrap_or_else(|| {
            faults.add(cell(Known::Repeat), TraceFault::Repeat);
            1
        });
        let state = state(cell(Known::State)).unwrap_or_else(|| {
            faults.add(cell(Known::State), FaultKind::NotAState);
            State::Unknown
        });
        let feature = match self.feature(cell(Known::Feature).1) {
            Ok(feature) => feature,
            Err(error) => {
                faults.add(cell(Known::Feature), TraceFault::from(error));
                return None;
            }
        };
        let kind = feature.feature.kind;
        let cells = PointCells {
            station: cell(Known::Station).1,
            reading: cell(Known::Reading).1,
            unit: cell(Known::Unit).1,
        };
        let mut bad = Vec::new();
        let read = read_point(kind, cells, self.input.mark, &mut bad);
        for (at, kind) in bad {
            let known = match at {
                PointCell::Station => Known::Station,
                PointCell::Reading => Known::Reading,
                PointCell::Unit => Known::Unit,
            };
            faults.add(cell(known), kind);
        }
        let read = read?;
        let given = cell(Known::Uncertainty);
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
        let name = feature.feature.key.clone();
        let said = Said {
            key: (
                specimen.1.to_owned(),
                name,
                feature.at.map(f64::to_bits),
                repeat,
            ),
            feature,
            state,
            uncertainty,
        };
        Some((said, read))
    }

    fn feature(&mut self, text: &str) -> Result<FeatureName, NotAFeature> {
        if let Some(known) = self.features.get(text) {
            return known.clone();
        }
        let read = FeatureName::parse(text, &self.standard);
        self.features.insert(text.to_owned(), read.clone());
        read
    }

    fn store<'r>(
        &mut self,
        said: Said,
        row: Row,
        cell: &dyn Fn(Known) -> (Option<usize>, &'r str),
    ) {
        let next = self.groups.len();
        let at = *self.numbers.entry(said.key.clone()).or_insert(next);
        if at == next {
            self.groups.push(Group {
                specimen: said.key.0,
                feature: said.feature,
                repeat: said.key.3,
                state: said.state,
                uncertainty: None,
                words: Default::default(),
                notes: Vec::new(),
                rows: Vec::new(),
            });
        }
        let group = &mut self.groups[at];
        if group.uncertainty.is_none() {
            let text = cell(Known::Uncertainty).1;
            let given = said.uncertainty;
            group.uncertainty = given.map(|u| (u, text.to_owned(), row.offset));
        }
        for (known, word) in TRACE_WORDS.into_iter().zip(&mut group.words) {
            let text = missing_as_empty(cell(known).1);
            if word.is_none() && !text.is_empty() {
                *word = Some((text.to_owned(), row.offset));
            }
        }
        let note = cell(Known::Note).1;
        if !note.is_empty() && !group.notes.iter().any(|n| n == note) {
            group.notes.push(note.to_owned());
        }
        group.rows.push(row);
    }
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
    fn compare<'r>(
        &self,
        said: &Said,
        cell: &dyn Fn(Known) -> (Option<usize>, &'r str),
        faults: &mut Faults<'_>,
    ) {
        let first = self.rows.first().map_or(0, |row| row.offset);
        if said.state != self.state {
            faults.contradicts(cell(Known::State), self.state.name(), first);
        }
        if let (Some(new), Some((old, text, earlier))) = (said.uncertainty, &self.uncertainty)
            && (new - old).abs() > 1e-9 * old
        {
            faults.contradicts(cell(Known::Uncertainty), text, *earlier);
        }
        for (known, word) in TRACE_WORDS.into_iter().zip(&self.words) {
            let new = missing_as_empty(cell(known).1);
            if let Some((old, earlier)) = word
                && !new.is_empty()
                && new != old
            {
                faults.contradicts(cell(known), old, *earlier);
            }
        }
    }

    /// Where rows are in different units, those that do not say theirs are refused.
    fn refuse_unclear_units(&mut self, input: &Input<'_>, faults: &mut Vec<RawFault>) {
        let units = |row: &Row| match &row.read {
            ReadPoint::Length(point) => Some((point.unit, point.says_unit)),
            ReadPoint::Spot(_) => None,
        };
        let mut of_rows = self.rows.iter().filter_map(units).map(|(unit, _)| unit);
        let first = of_rows.next();
        if of_rows.all(|unit| Some(unit) == first) {
            return;
        }
        self.rows.retain(|row| match units(row) {
            Some((read_as, false)) => {
                faults.push(RawFault {
                    offset: row.offset,
                    position: input.plan.position(Known::Reading),
                    text: row.written.reading.clone(),
                    kind: TraceFault::UnclearUnit { read_as }.into(),
                    earlier: None,
                });
                false
            }
            _ => true,
        });
    }

    fn into_parts(self, input: &Input<'_>, place: super::Place) -> (WrittenTrace, TraceReading) {
        let kind = self.feature.feature.kind;
        let uncertainty = self.uncertainty.map(|(u, ..)| u);
        let [instrument, measured_by, measured_on, source] =
            self.words.map(|word| word.map_or(String::new(), |w| w.0));
        let (points, read): (Vec<WrittenPoint>, Vec<ReadPoint>) =
            self.rows.into_iter().map(|r| (r.written, r.read)).unzip();
        let written = WrittenTrace {
            place,
            specimen: self.specimen,
            feature: self.feature,
            repeat: self.repeat,
            state: self.state,
            uncertainty,
            circumstance: Circumstance {
                instrument,
                measured_by,
                measured_on,
                source,
                note: self.notes.join("; "),
            },
            mark: input.mark,
            points,
        };
        (written, assemble(kind, read.into_iter(), uncertainty))
    }
}

/// Where the specimen of each trace stands first.
fn first_rows(input: &Input<'_>, groups: &[Group]) -> Vec<super::Place> {
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
            at.map_or_else(super::Place::default, |at| input.place(at, position))
        })
        .collect()
}

/// What to say where a station or a spot was read more than once and differently.
fn read_twice(file: &str, written: &WrittenTrace, reading: &TraceReading) -> Option<String> {
    let of = format!(
        "of {} of {}",
        written.name(),
        super::short(&written.specimen)
    );
    let was = |count: usize| if count == 1 { "was" } else { "were" };
    match reading {
        TraceReading::Points {
            stations, readings, ..
        } => {
            let turn = written.feature.feature.kind == TraceKind::Section;
            let (count, most) = differing_stations(stations, readings, turn);
            let counted = super::fault::counted(count, "station");
            (count > 0).then(|| {
                let differ = if count == 1 { "differs" } else { "differ" };
                format!(
                    "{file}: {counted} {of} {} read twice and {differ} by up to {} mm; all \
                     points were kept",
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
                    "{file}: {counted} {of} {} read twice, in different colours; all were kept",
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
