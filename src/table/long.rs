//! Long tables: one row a reading, several rows a specimen.

use std::collections::HashMap;

use super::column::{
    Circumstance, ColumnBuilder, Details, KeptReading, ReadingOfPiece, Specimens, Table, has_sense,
    without_sense,
};
use super::doubt::Doubting;
use super::fault::FaultKind;
use super::header::Known;
use super::text::Texts;
use super::wide::{date_of_making, fill, missing_as_empty};
use super::{CsvText, Found, Input, Options, RawFault, each_row};
use crate::catalogue::{Catalogue, Dimension, State, YearRange, fold, nearest};
use crate::notation::{Context, Unit, is_uncertainty_of, read_cell, split_heading};

/// Reads the rows.
pub(super) fn read(
    input: &Input<'_>,
    text: &CsvText<'_>,
    options: &Options,
    catalogue: Catalogue,
) -> Found {
    let mut rows = LongReader::new(input, options, catalogue);
    let seen = each_row(text, |record, offset| rows.row(record, offset));
    rows.finish(seen, options)
}

/// Reads rows whose cells may be numbers, each as its shortest decimal.
#[cfg(feature = "frame")]
pub(super) fn read_cells(
    input: &Input<'_>,
    cells: &dyn super::Cells,
    options: &Options,
    catalogue: Catalogue,
) -> Found {
    let mut rows = LongReader::new(input, options, catalogue);
    let mut seen = 0;
    for row in (0..cells.rows()).filter(|&row| !cells.is_blank(row)) {
        seen += 1;
        rows.row(&cells.record(row), row);
    }
    rows.finish(seen, options)
}

struct LongReader<'a> {
    input: &'a Input<'a>,
    new_dimensions: bool,
    catalogue: Catalogue,
    /// Row of each specimen.
    pieces: HashMap<String, usize>,
    specimens: Vec<Piece>,
    readings: Vec<(KeptReading, String)>,
    circumstances: Vec<Circumstance>,
    circumstance_numbers: HashMap<Circumstance, u32>,
    faults: Vec<RawFault>,
    doubting: HashMap<usize, Doubting>,
}

/// What the rows of one specimen say of it.
#[derive(Default)]
struct Piece {
    name: String,
    /// By [`PIECE_WORDS`]: the text and the offset of the row that said it first.
    words: [Option<(String, usize)>; PIECE_WORDS.len()],
}

/// The columns that describe a specimen and so must agree between its rows.
const PIECE_WORDS: [Known; 5] = [
    Known::Maker,
    Known::Pattern,
    Known::Finish,
    Known::Made,
    Known::Period,
];

/// A cell that cannot be used: position, text, why, and the earlier row it is about.
type Bad = (Option<usize>, String, FaultKind, Option<usize>);

impl<'a> LongReader<'a> {
    fn new(input: &'a Input<'a>, options: &Options, catalogue: Catalogue) -> LongReader<'a> {
        LongReader {
            input,
            new_dimensions: options.new_dimensions,
            catalogue,
            pieces: HashMap::new(),
            specimens: Vec::new(),
            readings: Vec::new(),
            circumstances: Vec::new(),
            circumstance_numbers: HashMap::new(),
            faults: Vec::new(),
            doubting: HashMap::new(),
        }
    }

    /// Reads one row; whatever is wrong with it is noted, and the row counts for nothing then.
    fn row(&mut self, record: &csv::StringRecord, offset: usize) {
        let mut bad: Vec<Bad> = Vec::new();
        if let Some(parsed) = self.parse(record, offset, &mut bad)
            && bad.is_empty()
        {
            self.store(parsed, offset);
        }
        self.faults.extend(
            bad.into_iter()
                .map(|(position, text, kind, earlier)| RawFault {
                    offset,
                    position,
                    text,
                    kind,
                    earlier,
                }),
        );
    }

    fn parse(
        &mut self,
        record: &csv::StringRecord,
        offset: usize,
        bad: &mut Vec<Bad>,
    ) -> Option<Parsed> {
        let plan = self.input.plan;
        let expected = plan.targets.len();
        if let Some(kind) = cell_count(record, expected) {
            bad.push((None, record.get(0).unwrap_or("").to_owned(), kind, None));
            return None;
        }
        let cell = |known: Known| {
            let position = plan.position(known);
            (
                position,
                position.and_then(|p| record.get(p)).map_or("", str::trim),
            )
        };
        let wrong = |(position, text): (Option<usize>, &str), kind: FaultKind| -> Bad {
            (position, text.to_owned(), kind, None)
        };
        let name = cell(Known::Specimen);
        if name.1.is_empty() {
            bad.push(wrong(name, FaultKind::NoSpecimen));
        }
        let words = PIECE_WORDS.map(|known| match known {
            Known::Made => date_of_making(cell(known).1).to_owned(),
            known => missing_as_empty(cell(known).1).to_owned(),
        });
        if let Some(&piece) = self.pieces.get(name.1) {
            let earlier = &self.specimens[piece].words;
            for ((known, word), said) in PIECE_WORDS.iter().zip(&words).zip(earlier) {
                if let Some((first, first_offset)) = said
                    && !word.is_empty()
                    && fold(word) != fold(first)
                {
                    let kind = FaultKind::Contradiction {
                        first: first.clone(),
                        first_row: 0,
                    };
                    bad.push((cell(*known).0, word.clone(), kind, Some(*first_offset)));
                }
            }
        }
        let made = cell(Known::Made);
        if !date_of_making(made.1).is_empty()
            && let Err(error) = YearRange::parse(made.1)
        {
            bad.push(wrong(made, error.into()));
        }
        let state = match (
            plan.position(Known::State),
            missing_as_empty(cell(Known::State).1),
        ) {
            (None, _) => State::Factory,
            (Some(_), "") => State::Unknown,
            (Some(_), text) => State::parse(text).unwrap_or_else(|| {
                bad.push(wrong(cell(Known::State), FaultKind::NotAState));
                State::Unknown
            }),
        };
        let circumstance = Circumstance {
            instrument: cell(Known::Instrument).1.to_owned(),
            measured_by: cell(Known::MeasuredBy).1.to_owned(),
            measured_on: cell(Known::MeasuredOn).1.to_owned(),
            source: cell(Known::Source).1.to_owned(),
            note: cell(Known::Note).1.to_owned(),
        };
        let unit_cell = cell(Known::Unit);
        let unit = match unit_cell.1 {
            "" => None,
            text => Unit::parse(text).or_else(|| {
                // `L*` and the like stand for plain numbers.
                if !self.catalogue.all().iter().any(|d| d.unit == text) {
                    bad.push(wrong(unit_cell, FaultKind::NotAUnit));
                }
                None
            }),
        };
        let dimension_cell = cell(Known::Dimension);
        let Some((dimension, heading_unit)) = self.dimension(dimension_cell.1, unit) else {
            let nearest = nearest(dimension_cell.1, self.catalogue.names());
            let nearest = nearest.into_iter().map(str::to_owned).collect();
            bad.push(wrong(
                dimension_cell,
                FaultKind::UnknownDimension { nearest },
            ));
            return None;
        };
        let known = self.catalogue.at(dimension);
        let unit = unit.or(heading_unit).unwrap_or(known.quantity.base_unit());
        let context = Context {
            quantity: known.quantity,
            unit,
            mark: self.input.mark,
        };
        if unit.quantity() != known.quantity {
            let error = read_cell(&format!("1 {}", unit.symbol()), &context).err();
            let kind = error.map_or(FaultKind::NotAUnit, FaultKind::from);
            bad.push(wrong(unit_cell, kind));
            return None;
        }
        let value_cell = cell(Known::Value);
        let written = match read_cell(value_cell.1, &context) {
            Ok(Some(written)) => written,
            // Not measured: the row still tells of the specimen.
            Ok(None) => return Some(Parsed::new(name.1, words, None)),
            Err(error) => {
                bad.push(wrong(value_cell, error.into()));
                return None;
            }
        };
        if !has_sense(known.kind, written.value) {
            bad.push(wrong(value_cell, without_sense(known)));
        }
        let state = match written.braces {
            None => state,
            Some(text) => State::parse(text).unwrap_or_else(|| {
                bad.push(wrong(value_cell, FaultKind::NotAState));
                State::Unknown
            }),
        };
        let given = cell(Known::Uncertainty);
        let uncertainty = match missing_as_empty(given.1) {
            "" => written
                .standard_uncertainty
                .unwrap_or(written.step / 12f64.sqrt()),
            text => match standard_uncertainty(text, &context) {
                Some(u) if is_uncertainty_of(u, written.value, known.quantity) => u,
                _ => {
                    bad.push(wrong(given, FaultKind::NotAnUncertainty));
                    0.0
                }
            },
        };
        let (value, unit) = (written.value, written.unit);
        if bad.is_empty() {
            self.doubting.entry(dimension).or_default().note(
                offset,
                value_cell.1,
                (value, unit),
                self.catalogue.at(dimension),
            );
        }
        let reading = KeptReading {
            specimen: 0,
            dimension: dimension as u32,
            value,
            uncertainty,
            given: !missing_as_empty(given.1).is_empty() || written.standard_uncertainty.is_some(),
            state,
            unit,
            text: 0,
            circumstance: None,
        };
        let text = value_cell.1.to_owned();
        Some(Parsed::new(
            name.1,
            words,
            Some((reading, text, circumstance)),
        ))
    }

    /// The dimension of a name, a new one where that is allowed.
    fn dimension(&mut self, name: &str, unit: Option<Unit>) -> Option<(usize, Option<Unit>)> {
        if let Some(found) = self.catalogue.find_heading(name) {
            return Some(found);
        }
        if !self.new_dimensions || name.is_empty() {
            return None;
        }
        let (bare, heading_unit) = split_heading(name);
        let unit = unit.or(heading_unit).unwrap_or(Unit::Millimetre);
        Some((
            self.catalogue.add(Dimension::plain(bare, unit)),
            heading_unit,
        ))
    }

    fn store(&mut self, parsed: Parsed, offset: usize) {
        let next = self.specimens.len();
        let row = *self.pieces.entry(parsed.name.clone()).or_insert(next);
        if row == next {
            self.specimens.push(Piece {
                name: parsed.name,
                ..Piece::default()
            });
        }
        for (said, word) in self.specimens[row].words.iter_mut().zip(parsed.words) {
            if said.is_none() && !word.is_empty() {
                *said = Some((word, offset));
            }
        }
        if let Some((reading, text, circumstance)) = parsed.reading {
            let number = (circumstance != Circumstance::default()).then(|| {
                *self
                    .circumstance_numbers
                    .entry(circumstance.clone())
                    .or_insert_with(|| {
                        self.circumstances.push(circumstance);
                        self.circumstances.len() as u32 - 1
                    })
            });
            let reading = KeptReading {
                specimen: row as u32,
                circumstance: number,
                ..reading
            };
            self.readings.push((reading, text));
        }
    }

    fn finish(mut self, rows: usize, options: &Options) -> Found {
        // Stable: several readings of one place keep the order of the file.
        self.readings
            .sort_by_key(|(r, _)| (r.specimen, r.dimension));
        let mut specimens = Specimens::default();
        let mut details = Details {
            circumstances: self.circumstances,
            ..Details::default()
        };
        for piece in &self.specimens {
            let word = |known: Known| {
                let at = PIECE_WORDS.iter().position(|k| *k == known);
                at.and_then(|at| piece.words[at].as_ref())
                    .map_or("", |(text, _)| text.as_str())
            };
            specimens.names.push(&piece.name);
            specimens.makers.push(word(Known::Maker));
            specimens.patterns.push(word(Known::Pattern));
            specimens.periods.push(word(Known::Period));
            specimens.finishes.push(word(Known::Finish));
            specimens
                .made
                .push(YearRange::parse(word(Known::Made)).ok());
            details.made.push(word(Known::Made));
            details.source.push("");
            details.note.push("");
        }
        let count = specimens.len();
        for coded in [
            &mut specimens.makers,
            &mut specimens.patterns,
            &mut specimens.periods,
            &mut specimens.finishes,
        ] {
            fill(coded, count);
        }
        let mut builder = ColumnBuilder::default();
        for (reading, _) in &self.readings {
            let KeptReading {
                value,
                uncertainty,
                state,
                ..
            } = *reading;
            let of_piece = ReadingOfPiece {
                value,
                uncertainty,
                state,
            };
            builder.push(reading.specimen, reading.dimension as usize, of_piece);
        }
        let keep_details = options.details || options.details_of_repeats && builder.has_repeats();
        let mut texts = Texts::default();
        for (reading, text) in self.readings.iter().filter(|_| keep_details) {
            details.readings.push(KeptReading {
                text: texts.len() as u32,
                ..*reading
            });
            texts.push(text);
        }
        details.texts = texts;
        let position = self.input.plan.position(Known::Value).unwrap_or(0);
        let mut doubts: Vec<_> = self
            .doubting
            .into_iter()
            .flat_map(|(d, doubting)| doubting.into_raw(position, self.catalogue.at(d)))
            .collect();
        doubts.sort_by_key(|d| d.offsets.first().copied());
        let table = Table {
            catalogue: self.catalogue,
            periods: Default::default(),
            specimens,
            columns: builder.finish(count),
            traces: Vec::new(),
            details: keep_details.then_some(details),
        };
        Found {
            table,
            rows,
            faults: self.faults,
            doubts,
            sums: Vec::new(),
        }
    }
}

/// What is wrong with a record that has other cells than the header promises.
pub(super) fn cell_count(record: &csv::StringRecord, expected: usize) -> Option<FaultKind> {
    if record.len() == expected {
        return None;
    }
    let mut more = record.iter().skip(expected);
    let extra = more.any(|cell| !cell.trim().is_empty());
    (record.len() < expected || extra).then(|| FaultKind::CellCount {
        expected,
        got: record.len(),
        open_quote: record.iter().any(|cell| cell.contains('\n')),
    })
}

/// One good row.
struct Parsed {
    name: String,
    words: [String; PIECE_WORDS.len()],
    reading: Option<(KeptReading, String, Circumstance)>,
}

impl Parsed {
    fn new(
        name: &str,
        words: [String; PIECE_WORDS.len()],
        reading: Option<(KeptReading, String, Circumstance)>,
    ) -> Parsed {
        Parsed {
            name: name.to_owned(),
            words,
            reading,
        }
    }
}

/// A standard uncertainty in the unit of its reading, in the house's unit.
pub(super) fn standard_uncertainty(text: &str, context: &Context) -> Option<f64> {
    let written = read_cell(text, context).ok()??;
    let plain = written.standard_uncertainty.is_none() && written.braces.is_none();
    (plain && written.value > 0.0).then_some(written.value)
}
