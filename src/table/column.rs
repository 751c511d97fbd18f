//! A table in memory: specimens, and one column of readings a dimension.

use super::fault::FaultKind;
use super::text::{Coded, Texts, first_spellings};
use super::trace::Trace;
use crate::catalogue::{Catalogue, Dimension, Kind, Periods, State, YearRange, fold};
use crate::notation::Unit;

/// Specimens with their readings, from whatever source.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// The dimensions that the source knows.
    pub catalogue: Catalogue,
    /// The production periods that the source carries.
    pub periods: Periods,
    /// Who was measured.
    pub specimens: Specimens,
    /// What was read, one column a dimension.
    pub columns: Vec<Column>,
    /// Outlines, sections and colours of the specimens.
    pub traces: Vec<Trace>,
    /// Texts and circumstances, where they were asked for.
    pub details: Option<Details>,
}

/// The specimens of a table, row by row.
#[derive(Clone, Debug, Default)]
pub struct Specimens {
    /// Unique names.
    pub names: Texts,
    /// Makers; an empty name where none is given.
    pub makers: Coded,
    /// Patterns; an empty name where none is given.
    pub patterns: Coded,
    /// The period as written, which overrules `made`; an empty name where none is given.
    pub periods: Coded,
    /// Finishes as written; an empty name where none is given.
    pub finishes: Coded,
    /// Years of making.
    pub made: Vec<Option<YearRange>>,
}

impl Specimens {
    /// How many.
    pub fn len(&self) -> usize {
        self.names.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.names.is_empty()
    }

    /// The row of a name as written, or else of the only name that differs in letter case alone.
    pub fn find(&self, name: &str) -> Option<usize> {
        let name = name.trim();
        self.names.iter().position(|n| n == name).or_else(|| {
            let mut alike = self
                .names
                .iter()
                .enumerate()
                .filter(|(_, n)| n.eq_ignore_ascii_case(name));
            let first = alike.next().map(|(row, _)| row);
            first.filter(|_| alike.next().is_none())
        })
    }
}

/// The standard uncertainties of a column, in the dimension's unit.
#[derive(Clone, Debug, PartialEq)]
pub enum Uncertainty {
    /// All readings were written to this step h: u = h / sqrt 12 (JCGM 100:2008, F.2.2.1).
    Step(f64),
    /// Each reading has its own.
    Each(Vec<f64>),
}

/// One dimension's readings, one slot a specimen.
#[derive(Clone, Debug)]
pub struct Column {
    /// Index in the table's catalogue.
    pub dimension: usize,
    /// In the dimension's unit; NaN where not measured.
    pub values: Vec<f64>,
    /// How well they are known.
    pub uncertainty: Uncertainty,
    /// The state of each reading; `None`: all are as they left the works.
    pub states: Option<Vec<State>>,
    /// The finish that the column's pieces have, as first written ([`Table::by_finish`]); `None`: all
    /// finishes together.
    pub finish: Option<String>,
}

impl Column {
    /// The value at a row, where it was measured.
    pub fn value(&self, row: usize) -> Option<f64> {
        Some(self.values[row]).filter(|v| !v.is_nan())
    }

    /// The standard uncertainty at a row, in the dimension's unit.
    pub fn uncertainty(&self, row: usize) -> f64 {
        match &self.uncertainty {
            Uncertainty::Step(step) => step / 12f64.sqrt(),
            Uncertainty::Each(each) => each[row],
        }
    }

    /// The state of the reading at a row.
    pub fn state(&self, row: usize) -> State {
        self.states
            .as_ref()
            .map_or(State::Factory, |states| states[row])
    }
}

impl Column {
    /// Whether another column, of this table or another, is of the same finish in any spelling.
    pub fn is_of_finish_of(&self, other: &Column) -> bool {
        let folded = |column: &Column| column.finish.as_deref().map(fold);
        self.finish == other.finish || folded(self) == folded(other)
    }

    /// One column for each finish that has a reading, in the order of their first readings;
    /// `finishes` are those of the rows.
    fn by_finish(self, finishes: &[&str]) -> Vec<Column> {
        let mut seen: Vec<&str> = Vec::new();
        for (finish, value) in finishes.iter().zip(&self.values) {
            if !value.is_nan() && !seen.contains(finish) {
                seen.push(finish);
            }
        }
        let of_finish = |of: &&str| Column {
            finish: Some((*of).to_owned()),
            values: finishes
                .iter()
                .zip(&self.values)
                .map(|(finish, &value)| if finish == of { value } else { f64::NAN })
                .collect(),
            ..self.clone()
        };
        seen.iter().map(of_finish).collect()
    }
}

impl Table {
    /// The column of a dimension.
    pub fn column(&self, dimension: usize) -> Option<&Column> {
        self.columns.iter().find(|c| c.dimension == dimension)
    }

    /// The dimension that a column measures.
    pub fn dimension(&self, column: &Column) -> &Dimension {
        self.catalogue.at(column.dimension)
    }

    /// The table with each column of a colour taken apart, one for each finish: a smooth piece and
    /// a blasted one of the same pattern have not the same colour, and must not be measured by each
    /// other. Spellings of a finish are one; pieces without one belong together.
    ///
    /// To be done once, when all columns are there. Whatever is judged by columns (norms, verdicts,
    /// flags, rates, lending) then keeps finishes apart.
    pub fn by_finish(mut self) -> Table {
        // A plain number of somebody's own need not be a colour: CIELAB is told by its units.
        let is_colour =
            |c: &Column| matches!(&*self.catalogue.at(c.dimension).unit, "L*" | "a*" | "b*");
        if !self.columns.iter().any(is_colour) {
            return self;
        }
        let finishes = &self.specimens.finishes;
        let first = first_spellings(finishes);
        let name = |&code: &u32| &*finishes.names()[first[code as usize] as usize];
        let of_row: Vec<&str> = finishes.codes.iter().map(name).collect();
        let columns = std::mem::take(&mut self.columns);
        self.columns = columns
            .into_iter()
            .flat_map(
                |column| match is_colour(&column) && column.finish.is_none() {
                    true => column.by_finish(&of_row),
                    false => vec![column],
                },
            )
            .collect();
        self
    }

    /// The table made anew of some of the readings that its details keep; `uncertainty` gives what
    /// each is worth, `None` for one that is left out. Every reading of [`Details::readings`] kept
    /// with its own uncertainty gives the same numbers again. Traces stay, and so do the details of
    /// the readings that are kept.
    ///
    /// A table without details has no single readings: it comes back without columns.
    pub fn of_readings(&self, uncertainty: impl Fn(&KeptReading) -> Option<f64>) -> Table {
        let mut builder = ColumnBuilder::default();
        let mut kept = Vec::new();
        for reading in self.details.iter().flat_map(|details| &details.readings) {
            if let Some(uncertainty) = uncertainty(reading) {
                kept.push(KeptReading {
                    uncertainty,
                    ..*reading
                });
                let of_piece = ReadingOfPiece {
                    value: reading.value,
                    uncertainty,
                    state: reading.state,
                };
                builder.push(reading.specimen, reading.dimension as usize, of_piece);
            }
        }
        Table {
            catalogue: self.catalogue.clone(),
            periods: self.periods.clone(),
            specimens: self.specimens.clone(),
            columns: builder.finish(self.specimens.len()),
            traces: self.traces.clone(),
            details: self.details.as_ref().map(|details| Details {
                made: details.made.clone(),
                source: details.source.clone(),
                note: details.note.clone(),
                readings: kept,
                texts: details.texts.clone(),
                circumstances: details.circumstances.clone(),
            }),
        }
    }

    /// One of its specimens alone, with its readings and traces and without details.
    pub fn of_row(&self, row: usize) -> Table {
        let from = &self.specimens;
        let name = from.names.get(row);
        let coded = |of: &Coded| {
            let mut one = Coded::default();
            one.push(of.get(row));
            one
        };
        let measured = self.columns.iter().filter(|c| c.value(row).is_some());
        Table {
            catalogue: self.catalogue.clone(),
            periods: self.periods.clone(),
            specimens: Specimens {
                names: [name].into_iter().collect(),
                makers: coded(&from.makers),
                patterns: coded(&from.patterns),
                periods: coded(&from.periods),
                finishes: coded(&from.finishes),
                made: vec![from.made[row]],
            },
            columns: measured
                .map(|column| Column {
                    dimension: column.dimension,
                    values: vec![column.values[row]],
                    uncertainty: Uncertainty::Each(vec![column.uncertainty(row)]),
                    states: Some(vec![column.state(row)]),
                    finish: column.finish.clone(),
                })
                .collect(),
            traces: (self.traces.iter().filter(|t| t.specimen == name))
                .cloned()
                .collect(),
            details: None,
        }
    }

    /// How many readings there are.
    pub fn count_readings(&self) -> usize {
        self.columns
            .iter()
            .map(|c| c.values.iter().filter(|v| !v.is_nan()).count())
            .sum()
    }
}

/// What a collection keeps beside the values, in the order of the rows.
#[derive(Clone, Debug, Default)]
pub struct Details {
    /// Date of making, as written.
    pub made: Texts,
    /// Where the specimen's data come from.
    pub source: Texts,
    /// Anything else.
    pub note: Texts,
    /// Every reading, specimen by specimen.
    pub readings: Vec<KeptReading>,
    /// The texts of the readings as written.
    pub texts: Texts,
    /// The circumstances that readings refer to.
    pub circumstances: Vec<Circumstance>,
}

/// One reading with all that was written about it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeptReading {
    /// Row of its specimen.
    pub specimen: u32,
    /// Index of its dimension.
    pub dimension: u32,
    /// In the dimension's unit.
    pub value: f64,
    /// Standard uncertainty, in the dimension's unit.
    pub uncertainty: f64,
    /// Whether somebody gave that uncertainty; else it is that of the step as written.
    pub given: bool,
    /// State of the measured place.
    pub state: State,
    /// The unit it was written in.
    pub unit: Unit,
    /// Index of its text.
    pub text: u32,
    /// Index of its circumstances, where there are any.
    pub circumstance: Option<u32>,
}

/// How a reading was taken.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct Circumstance {
    /// With what.
    pub instrument: String,
    /// By whom.
    pub measured_by: String,
    /// When.
    pub measured_on: String,
    /// Where the reading comes from.
    pub source: String,
    /// Anything else.
    pub note: String,
}

/// One reading on its way into a column.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ReadingOfPiece {
    pub(crate) value: f64,
    pub(crate) uncertainty: f64,
    pub(crate) state: State,
}

/// Builds columns from single readings: several of one piece and dimension become one slot.
///
/// Of several readings those in the state that says most about the works count, and of these
/// their mean, so that a piece has one voice however often it was measured.
#[derive(Debug, Default)]
pub(crate) struct ColumnBuilder {
    slots: Vec<Option<DimensionSlots>>,
    repeats: bool,
}

#[derive(Debug, Default)]
struct DimensionSlots {
    /// Row, reading, and how many readings its mean is of.
    readings: Vec<(u32, ReadingOfPiece, u32)>,
}

impl ColumnBuilder {
    /// Adds one reading. All readings of one row and dimension must come one after the other.
    pub(crate) fn push(&mut self, row: u32, dimension: usize, new: ReadingOfPiece) {
        if self.slots.len() <= dimension {
            self.slots.resize_with(dimension + 1, || None);
        }
        let slots = self.slots[dimension].get_or_insert_default();
        match slots.readings.last_mut().filter(|(last, ..)| *last == row) {
            Some((_, old, count)) if old.state == new.state => {
                // Mean and its uncertainty, kept up reading by reading.
                let (n, next) = (f64::from(*count), f64::from(*count + 1));
                old.value += (new.value - old.value) / next;
                old.uncertainty = (old.uncertainty * n).hypot(new.uncertainty) / next;
                *count += 1;
                self.repeats = true;
            }
            Some((_, old, count)) => {
                self.repeats = true;
                if new.state.rank() < old.state.rank() {
                    (*old, *count) = (new, 1);
                }
            }
            None => slots.readings.push((row, new, 1)),
        }
    }

    /// Whether any place was read more than once.
    pub(crate) fn has_repeats(&self) -> bool {
        self.repeats
    }

    /// The columns of a table of `rows` specimens, in the order of the catalogue.
    pub(crate) fn finish(self, rows: usize) -> Vec<Column> {
        let slots = self.slots.into_iter().enumerate();
        slots
            .filter_map(|(dimension, slots)| {
                let readings = slots?.readings;
                let mut values = vec![f64::NAN; rows];
                let mut each = vec![0.0; rows];
                let mut states = vec![State::Factory; rows];
                for (row, reading, _) in readings {
                    let row = row as usize;
                    values[row] = reading.value;
                    each[row] = reading.uncertainty;
                    states[row] = reading.state;
                }
                let all_factory = states.iter().all(|&s| s == State::Factory);
                Some(Column {
                    dimension,
                    values,
                    uncertainty: Uncertainty::Each(each),
                    states: (!all_factory).then_some(states),
                    finish: None,
                })
            })
            .collect()
    }
}

/// Whether a value of that kind can be judged at all: a size is greater than zero.
pub(super) fn has_sense(kind: Kind, value: f64) -> bool {
    kind == Kind::Interval || value > 0.0
}

/// What is wrong with a value that [`has_sense`] refuses.
pub(super) fn without_sense(dimension: &Dimension) -> FaultKind {
    match dimension.is_form_error() {
        true => FaultKind::NoFormError,
        false => FaultKind::NotPositive,
    }
}
