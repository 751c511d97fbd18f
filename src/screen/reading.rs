//! Every single reading on the scale of judgement, and who took it.

use std::collections::HashMap;

use super::written::decimal;
use crate::catalogue::{Kind, State};
use crate::cohort::{Cohort, on_scale};
use crate::notation::Unit;
use crate::table::{Table, Texts, first_spellings};

/// Nobody reads a size to less than this share of it.
const FINEST: f64 = 1e-6;

/// A piece's period has no number.
pub(super) const NO_PERIOD: u32 = u32::MAX;

/// One reading.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reading {
    pub(super) row: u32,
    pub(super) dimension: u32,
    /// In the dimension's unit.
    pub(super) value: f64,
    /// On the scale of judgement: the logarithm of a size.
    pub(super) x: f64,
    /// Standard uncertainty on that scale.
    pub(super) u: f64,
    /// Its pattern's readings of the dimension; see [`Readings::sets`].
    pub(super) set: u32,
    pub(super) period: u32,
    pub(super) state: State,
    pub(super) unit: Unit,
    /// Index of its text.
    pub(super) text: u32,
    /// Index of who took it.
    pub(super) by: u32,
    /// Whether a real pipe can have that value.
    pub(super) credible: bool,
}

/// Who took readings.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub(super) struct By {
    pub(super) name: String,
    /// A person; else where the data come from.
    pub(super) measurer: bool,
}

/// All readings of a table that can be judged at all, specimen by specimen.
#[derive(Debug)]
pub(super) struct Readings<'t> {
    pub(super) all: Vec<Reading>,
    /// Where each specimen's begin, and where the last one's end.
    pub(super) starts: Vec<u32>,
    /// How many sets: one for each pattern and slot.
    pub(super) sets: usize,
    /// How many patterns.
    pub(super) groups: usize,
    /// The dimension of each slot; a colour has one for each finish.
    pub(super) slots: Vec<u32>,
    pub(super) by: Vec<By>,
    texts: Option<&'t Texts>,
}

impl<'t> Readings<'t> {
    pub(super) fn of(cohort: &Cohort<'t>) -> Readings<'t> {
        let table: &'t Table = cohort.table();
        let mut readings = Readings {
            all: Vec::new(),
            starts: Vec::with_capacity(table.specimens.len() + 1),
            sets: 0,
            groups: cohort.groups().len(),
            slots: Vec::new(),
            by: vec![By::default()],
            texts: table.details.as_ref().map(|d| &d.texts),
        };
        let mut slots = Slots::new(table);
        match &table.details {
            Some(details) => {
                let mut names = Names::new(table);
                readings.all.reserve(details.readings.len());
                for kept in &details.readings {
                    let (row, dimension) = (kept.specimen as usize, kept.dimension as usize);
                    let by = names.of(&mut readings.by, row, kept.circumstance);
                    let mut u = kept.uncertainty;
                    // A column's step is that of its finest cell, which may be a slip: of a step finer than
                    // any gauge the reading's own digits are asked.
                    if !kept.given && u < FINEST * kept.value.abs() {
                        let text = details.texts.get(kept.text as usize);
                        let own = decimal(text).map_or(0.0, |d| 10f64.powi(-(d.decimals as i32)));
                        u = u.max(own * kept.unit.in_base_units() / 12f64.sqrt());
                    }
                    let reading = Reading {
                        row: kept.specimen,
                        dimension: kept.dimension,
                        value: kept.value,
                        x: 0.0,
                        u,
                        set: slots.of(row, dimension),
                        period: 0,
                        state: kept.state,
                        unit: kept.unit,
                        text: kept.text,
                        by,
                        credible: true,
                    };
                    readings.push(cohort, reading);
                }
            }
            None => {
                for row in 0..table.specimens.len() {
                    for column in &table.columns {
                        let Some(value) = column.value(row) else {
                            continue;
                        };
                        let reading = Reading {
                            row: row as u32,
                            dimension: column.dimension as u32,
                            value,
                            x: 0.0,
                            u: column.uncertainty(row),
                            set: slots.of(row, column.dimension),
                            period: 0,
                            state: column.state(row),
                            unit: table.dimension(column).quantity.base_unit(),
                            text: 0,
                            by: 0,
                            credible: true,
                        };
                        readings.push(cohort, reading);
                    }
                }
            }
        }
        readings.slots = slots.dimensions;
        readings.sets = readings.slots.len() * readings.groups;
        while readings.starts.len() <= table.specimens.len() {
            readings.starts.push(readings.all.len() as u32);
        }
        readings
    }

    /// Adds a reading where it has a meaning: a size is over zero. Its slot becomes its set.
    fn push(&mut self, cohort: &Cohort<'_>, reading: Reading) {
        let row = reading.row as usize;
        while self.starts.len() <= row {
            self.starts.push(self.all.len() as u32);
        }
        let dimension = cohort.table().catalogue.at(reading.dimension as usize);
        if dimension.kind == Kind::Ratio && reading.value <= 0.0 || !reading.value.is_finite() {
            return;
        }
        let (x, u) = on_scale(dimension.kind, reading.value, reading.u);
        if !x.is_finite() {
            return;
        }
        self.all.push(Reading {
            x,
            u: if u.is_finite() { u } else { 0.0 },
            set: reading.set * self.groups as u32 + cohort.group_of(row) as u32,
            period: cohort.period_label(row).unwrap_or(NO_PERIOD),
            credible: dimension.is_credible(reading.value),
            ..reading
        });
    }

    /// The readings of a specimen, by index.
    pub(super) fn of_row(&self, row: usize) -> std::ops::Range<usize> {
        self.starts[row] as usize..self.starts[row + 1] as usize
    }

    /// As written; empty where the source keeps no texts.
    pub(super) fn text(&self, reading: &Reading) -> &'t str {
        self.texts.map_or("", |t| t.get(reading.text as usize))
    }

    /// Whether there are texts at all.
    pub(super) fn has_texts(&self) -> bool {
        self.texts.is_some()
    }

    /// The set of another dimension of the same pattern as a reading's.
    pub(super) fn pattern_of(&self, reading: &Reading) -> usize {
        reading.set as usize % self.groups.max(1)
    }
}

/// Numbers dimensions in use; of a colour each finish has its own.
struct Slots<'t> {
    table: &'t Table,
    /// The number of each dimension that is no colour.
    plain: Vec<Option<u32>>,
    colours: HashMap<(usize, u32), u32>,
    finishes: Vec<u32>,
    dimensions: Vec<u32>,
}

impl<'t> Slots<'t> {
    fn new(table: &'t Table) -> Slots<'t> {
        Slots {
            table,
            plain: vec![None; table.catalogue.all().len()],
            colours: HashMap::new(),
            finishes: first_spellings(&table.specimens.finishes),
            dimensions: Vec::new(),
        }
    }

    fn of(&mut self, row: usize, dimension: usize) -> u32 {
        if let Some(slot) = self.plain[dimension] {
            return slot;
        }
        let next = self.dimensions.len() as u32;
        let unit = &*self.table.catalogue.at(dimension).unit;
        let slot = if matches!(unit, "L*" | "a*" | "b*") {
            let code = self.table.specimens.finishes.codes[row] as usize;
            *self
                .colours
                .entry((dimension, self.finishes[code]))
                .or_insert(next)
        } else {
            self.plain[dimension] = Some(next);
            next
        };
        if slot == next {
            self.dimensions.push(dimension as u32);
        }
        slot
    }
}

/// Numbers those who measured.
struct Names<'t> {
    table: &'t Table,
    numbers: HashMap<By, u32>,
    /// By circumstance, where that alone tells.
    of_circumstance: Vec<Option<u32>>,
    /// The last specimen whose source was looked up.
    last: Option<(usize, u32)>,
}

impl<'t> Names<'t> {
    fn new(table: &'t Table) -> Names<'t> {
        let circumstances = table.details.as_ref().map_or(0, |d| d.circumstances.len());
        Names {
            table,
            numbers: HashMap::from([(By::default(), 0)]),
            of_circumstance: vec![None; circumstances],
            last: None,
        }
    }

    fn of(&mut self, all: &mut Vec<By>, row: usize, circumstance: Option<u32>) -> u32 {
        let Some(details) = &self.table.details else {
            return 0;
        };
        if let Some(at) = circumstance.map(|c| c as usize) {
            if let Some(known) = self.of_circumstance[at] {
                return known;
            }
            let circumstance = &details.circumstances[at];
            let by = if !circumstance.measured_by.is_empty() {
                By {
                    name: circumstance.measured_by.clone(),
                    measurer: true,
                }
            } else {
                By {
                    name: circumstance.source.clone(),
                    measurer: false,
                }
            };
            if !by.name.is_empty() {
                let number = self.number(all, by);
                self.of_circumstance[at] = Some(number);
                return number;
            }
        }
        if let Some((_, number)) = self.last.filter(|l| l.0 == row) {
            return number;
        }
        let name = details.source.get(row);
        let number = match name.is_empty() {
            true => 0,
            false => self.number(
                all,
                By {
                    name: name.to_owned(),
                    measurer: false,
                },
            ),
        };
        self.last = Some((row, number));
        number
    }

    fn number(&mut self, all: &mut Vec<By>, by: By) -> u32 {
        *self.numbers.entry(by.clone()).or_insert_with(|| {
            all.push(by);
            all.len() as u32 - 1
        })
    }
}
