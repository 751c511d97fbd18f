//! Norms without one source, one measurer or one period at a time.
//!
//! Everything is gathered anew of the readings that are left: references, period share and what other
//! patterns lend, so that one collector's habits do not come back by way of another pattern. What is
//! left of a piece that several people measured still speaks. Traces stay with their pieces, but go
//! with a piece whose period is left out.

use std::collections::HashMap;

use super::{Limit, Limits, limits, rated};
use crate::catalogue::{Dimension, fold};
use crate::cohort::{Choice, Cohort, CohortError};
use crate::norm::{Beforehand, Evidence, Settings};
use crate::parallel;
use crate::stats::StatsError;
use crate::table::{Column, KeptReading, Table};

/// Whose readings are left out at a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    /// Those of one source: a reading's own, else that of its specimen.
    Source,
    /// Those that one person took.
    MeasuredBy,
    /// Those of the pieces of one of the chosen periods.
    Period,
}

impl Whose {
    /// One of them, for people.
    pub fn one(self) -> &'static str {
        match self {
            Whose::Source => "source",
            Whose::MeasuredBy => "measurer",
            Whose::Period => "period",
        }
    }
}

/// What is left out at a time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Its name as first spelt; `None` for the readings of which no source or measurer is named.
    pub name: Option<String>,
    /// How many readings of pieces of the chosen periods are its.
    pub readings: usize,
}

/// The norms of some patterns, whole and without each part.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// The parts, in the order in which they first occur.
    pub parts: Vec<Part>,
    /// The norms, by pattern, then in the order of the catalogue.
    pub norms: Vec<LeftOutNorm>,
}

/// One norm, whole and without each part.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOutNorm {
    /// Number of the pattern in the cohort.
    pub group: usize,
    /// What is measured.
    pub dimension: Dimension,
    /// The finish of its pieces, for a dimension that depends on it.
    pub finish: Option<String>,
    /// Of all readings.
    pub whole: Limits,
    /// Without each part; `None` where no reference is left.
    pub without: Vec<Option<Limits>>,
}

/// The least or greatest that a limit becomes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// Number of the part without which it becomes so.
    pub without: usize,
    /// What it becomes, in the unit.
    pub value: f64,
}

impl LeftOutNorm {
    /// What a limit becomes without each part that leaves one.
    fn values(&self, limit: Limit) -> impl Iterator<Item = Extreme> + '_ {
        let parts = self.without.iter().enumerate();
        parts.filter_map(move |(without, of)| {
            let value = of.as_ref()?.get(limit)?;
            Some(Extreme { without, value })
        })
    }

    /// The least and the greatest that a limit becomes without one part.
    pub fn range(&self, limit: Limit) -> Option<(Extreme, Extreme)> {
        let least = self.values(limit).reduce(|a, b| match b.value < a.value {
            true => b,
            false => a,
        })?;
        let greatest = self.values(limit).reduce(|a, b| match b.value > a.value {
            true => b,
            false => a,
        })?;
        Some((least, greatest))
    }

    /// The part without which a limit moves most, and what it becomes.
    pub fn most(&self, limit: Limit) -> Option<Extreme> {
        let (least, greatest) = self.range(limit)?;
        let far = |of: &Extreme| self.whole.distance(limit, Some(of.value)).map(f64::abs);
        match far(&least)? >= far(&greatest)? {
            true => Some(least),
            false => Some(greatest),
        }
    }

    /// How far a limit moves by that, in the unit.
    pub fn moved(&self, limit: Limit, to: Extreme) -> Option<f64> {
        self.whole.distance(limit, Some(to.value))
    }

    /// The same in spreads of the whole norm, on the scale of judgement.
    pub fn moved_in_spreads(&self, limit: Limit, to: Extreme) -> Option<f64> {
        self.whole.distance_in_spreads(limit, Some(to.value))
    }

    /// How many of its references, those set aside included, are gone without a part.
    pub fn theirs(&self, part: usize) -> usize {
        let all = |of: &Limits| of.n + of.n_set_aside;
        let left = self.without[part].as_ref().map_or(0, all);
        all(&self.whole).saturating_sub(left)
    }

    /// The parts without which it has no typical range any more.
    pub fn falls_without(&self) -> Vec<usize> {
        let has = |of: &Limits| of.get(Limit::TypicalHigh).is_some();
        if !has(&self.whole) {
            return Vec::new();
        }
        let parts = self.without.iter().enumerate();
        parts
            .filter(|(_, of)| !of.as_ref().is_some_and(has))
            .map(|(part, _)| part)
            .collect()
    }
}

/// Why nothing can be left out.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LeftOutError {
    /// No part has a name.
    #[error("{}", match whose {
        Whose::Source => "no source of any reading is named, so none can be left out (the column \
            `source` of a sheet names it; the file that brought a reading does not)",
        Whose::MeasuredBy => "nobody is named who measured a reading, so nobody can be left out (the \
            column `measured_by` of a sheet with one row a reading names them)",
        Whose::Period => "no piece that speaks is of a period with a name, so none can be left out",
    })]
    NothingNamed {
        /// What was to be left out.
        whose: Whose,
    },
    /// There is one part only.
    #[error("all readings are of one {}, `{name}`: nothing can be left out", whose.one())]
    One {
        /// What was to be left out.
        whose: Whose,
        /// Its name.
        name: String,
    },
    /// Periods that the source does not know.
    #[error(transparent)]
    Cohort(#[from] CohortError),
    /// Readings beyond what a number can hold.
    #[error("the readings cannot be described")]
    Stats(#[from] StatsError),
}

/// What to leave out of which norms.
#[derive(Clone, Copy, Debug)]
pub struct Leaving<'a> {
    /// Whose readings, one at a time.
    pub whose: Whose,
    /// Numbers of the patterns.
    pub groups: &'a [usize],
    /// Whose readings may speak: the choice of the whole's cohort.
    pub choice: &'a Choice,
    /// How sure to be.
    pub settings: &'a Settings,
}

/// The norms of some patterns, whole and without one part at a time.
///
/// `table` has its details and is as it was read; `ready` makes it, or some of its readings, ready to
/// be judged ([`crate::traced::ready`] at least), and `whole` is the evidence of all of it. `step` is
/// called after each part.
///
/// # Errors
/// [`LeftOutError`].
pub fn left_out(
    table: &Table,
    whole: &Evidence<'_>,
    leaving: &Leaving<'_>,
    ready: impl Fn(Table) -> Table + Sync,
    step: impl Fn() + Sync,
) -> Result<LeftOut, LeftOutError> {
    let Leaving {
        whose,
        groups,
        choice,
        settings,
    } = *leaving;
    let split = Split::new(table, whole.cohort(), whose)?;
    let mut norms = standing(whole, groups, settings)?;
    let without = parallel::map(split.parts.len(), |part| {
        let left = ready(split.without(table, part));
        let cohort = Cohort::new(&left, choice)?;
        let evidence = Evidence::gather(&cohort, whole.borrowing());
        let found = standing(&evidence, groups, settings)?;
        step();
        Ok::<Vec<LeftOutNorm>, LeftOutError>(found)
    });
    for found in without {
        let found: HashMap<(usize, String, Option<String>), Limits> =
            found?.into_iter().map(|of| (of.key(), of.whole)).collect();
        for norm in &mut norms {
            norm.without.push(found.get(&norm.key()).copied());
        }
    }
    Ok(LeftOut {
        parts: split.parts,
        norms,
    })
}

impl LeftOutNorm {
    /// What tells it apart: pattern, dimension and finish.
    fn key(&self) -> (usize, String, Option<String>) {
        let finish = self.finish.as_deref().map(fold);
        (self.group, self.dimension.key.clone(), finish)
    }
}

/// The norms of some patterns as they stand, by pattern, then in the order of the catalogue.
fn standing(
    evidence: &Evidence<'_>,
    groups: &[usize],
    settings: &Settings,
) -> Result<Vec<LeftOutNorm>, StatsError> {
    let table = evidence.cohort().table();
    let mut columns: Vec<usize> = (0..table.columns.len()).collect();
    columns.sort_by_key(|&c| table.columns[c].dimension);
    let mut norms = Vec::new();
    for &group in groups {
        let known = Beforehand::new(evidence, group, &[]);
        for &column in &columns {
            let of: &Column = &table.columns[column];
            let dimension = table.dimension(of);
            let readings = rated(&evidence.references(column, group, &[]));
            let prior = known.prior(column);
            if let Some(whole) = limits(&readings, &prior, dimension.kind, settings, false)? {
                norms.push(LeftOutNorm {
                    group,
                    dimension: dimension.clone(),
                    finish: of.finish.clone(),
                    whole,
                    without: Vec::new(),
                });
            }
        }
    }
    Ok(norms)
}

/// No part: never left out.
const NONE: u32 = u32::MAX;

/// Which part each reading belongs to.
struct Split {
    parts: Vec<Part>,
    /// By circumstance; `None` where the specimen decides.
    of_circumstance: Vec<Option<u32>>,
    /// By row.
    of_specimen: Vec<u32>,
    /// Whether the traces of a piece go with its readings.
    traces_too: bool,
}

impl Split {
    fn new(table: &Table, cohort: &Cohort<'_>, whose: Whose) -> Result<Split, LeftOutError> {
        let mut names = Names::default();
        let rows = table.specimens.len();
        let details = table.details.as_ref();
        let circumstances = details.map_or(&[][..], |details| &details.circumstances);
        let (of_circumstance, of_specimen) = match whose {
            Whose::Source => (
                circumstances
                    .iter()
                    .map(|c| (!fold(&c.source).is_empty()).then(|| names.number(&c.source)))
                    .collect(),
                (0..rows)
                    .map(|row| names.number(details.map_or("", |d| d.source.get(row))))
                    .collect(),
            ),
            Whose::MeasuredBy => {
                let of = |c: &crate::table::Circumstance| Some(names.number(&c.measured_by));
                let of_circumstance: Vec<Option<u32>> = circumstances.iter().map(of).collect();
                let unnamed = names.number("");
                (of_circumstance, vec![unnamed; rows])
            }
            Whose::Period => {
                let of = |row: usize| cohort.period_label(row).unwrap_or(NONE);
                names.names = cohort.periods().iter().map(|p| p.name.clone()).collect();
                (vec![None; circumstances.len()], (0..rows).map(of).collect())
            }
        };
        let mut split = Split {
            parts: Vec::new(),
            of_circumstance,
            of_specimen,
            traces_too: whose == Whose::Period,
        };
        split.count(table, cohort, &names.names, whose)?;
        Ok(split)
    }

    /// Counts the readings that may speak, part by part, and numbers anew the parts that have some:
    /// without another nothing can move.
    fn count(
        &mut self,
        table: &Table,
        cohort: &Cohort<'_>,
        names: &[String],
        whose: Whose,
    ) -> Result<(), LeftOutError> {
        let mut counts = vec![0; names.len()];
        let mut others = 0;
        for reading in table.details.iter().flat_map(|details| &details.readings) {
            if cohort.is_chosen(reading.specimen as usize) {
                match counts.get_mut(self.part_of(reading) as usize) {
                    Some(count) => *count += 1,
                    None => others += 1,
                }
            }
        }
        let mut number = vec![NONE; names.len()];
        for (old, &readings) in counts.iter().enumerate().filter(|(_, count)| **count > 0) {
            number[old] = self.parts.len() as u32;
            let name = Some(names[old].clone()).filter(|name| !name.is_empty());
            self.parts.push(Part { name, readings });
        }
        let renumbered = |old: u32| number.get(old as usize).copied().unwrap_or(NONE);
        for of in self.of_circumstance.iter_mut().flatten() {
            *of = renumbered(*of);
        }
        for of in &mut self.of_specimen {
            *of = renumbered(*of);
        }
        match self.parts.as_slice() {
            [Part { name: None, .. }] | [] => Err(LeftOutError::NothingNamed { whose }),
            [
                Part {
                    name: Some(name), ..
                },
            ] if others == 0 => Err(LeftOutError::One {
                whose,
                name: name.clone(),
            }),
            _ => Ok(()),
        }
    }

    fn part_of(&self, reading: &KeptReading) -> u32 {
        let of_circumstance = reading
            .circumstance
            .map(|c| self.of_circumstance[c as usize]);
        let of_specimen = || self.of_specimen[reading.specimen as usize];
        of_circumstance.flatten().unwrap_or_else(of_specimen)
    }

    /// The table without one part.
    fn without(&self, table: &Table, part: usize) -> Table {
        let part = part as u32;
        let mut left = table
            .of_readings(|reading| (self.part_of(reading) != part).then_some(reading.uncertainty));
        if self.traces_too && !left.traces.is_empty() {
            let names = table.specimens.names.iter().zip(&self.of_specimen);
            let theirs: std::collections::HashSet<&str> = names
                .filter(|(_, of)| **of == part)
                .map(|(name, _)| name)
                .collect();
            left.traces
                .retain(|t| !theirs.contains(t.specimen.as_str()));
        }
        left
    }
}

/// Numbers names in order of appearance; spellings of one name are one.
#[derive(Default)]
struct Names {
    numbers: HashMap<String, u32>,
    /// As first spelt.
    names: Vec<String>,
}

impl Names {
    fn number(&mut self, name: &str) -> u32 {
        let names = &mut self.names;
        *self.numbers.entry(fold(name)).or_insert_with_key(|folded| {
            // A name of blanks and dashes alone is none.
            let shown = if folded.is_empty() { "" } else { name.trim() };
            names.push(shown.to_owned());
            names.len() as u32 - 1
        })
    }
}
