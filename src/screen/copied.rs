//! One text again and again down a column.
//!
//! A run of equal texts is compared with what chance allows in two ways, and the milder one counts: by
//! the spread (how likely a piece falls into that one step), and by the order. Of the pieces of one
//! pattern and period, measured by one person, any may stand before any other: given what all of
//! them read, the probability that the next ones read the same is that of drawing without putting
//! back, exactly. A gauge that knows few values, or a column that is honestly all one, is no run.
//! Where a sheet is sorted by the very dimension, or neighbours often read the same anyhow, runs mean
//! nothing and are left alone.

use std::collections::HashMap;

use super::fellows::Fellows;
use super::reading::{Reading, Readings};
use super::written::decimal;
use super::{Code, Family, Finding, Settings, Suspect, by_words};
use crate::catalogue::Kind;
use crate::cohort::Cohort;
use crate::sorting;
use crate::table::Table;

/// A run has so many readings at least.
const SHORTEST: usize = 3;
/// Where more than this share of the neighbours outside of a run read the same, their steps are too
/// coarse for runs to say anything (our decision): a sheet sorted by a period that it does not name has
/// long ones.
const OFTEN: f64 = 0.25;

/// Runs that are longer than chance allows.
pub(super) fn find(
    cohort: &Cohort<'_>,
    readings: &Readings<'_>,
    fellows: &Fellows,
    settings: &Settings,
) -> Vec<Finding> {
    if !readings.has_texts() {
        return Vec::new();
    }
    let table = cohort.table();
    let all = &readings.all;
    let dimensions = table.catalogue.all().len();
    let key = |i: u32| {
        let r = &all[i as usize];
        r.by as usize * dimensions + r.dimension as usize
    };
    let indices: Vec<u32> = (0..all.len() as u32).collect();
    let order = sorting::by_key(&indices, readings.by.len() * dimensions, key);
    let judged = (all.iter().filter(|r| settings.judges(r.row as usize))).count();
    let seeker = Seeker {
        table,
        readings,
        fellows,
        settings,
        tests: judged.max(1) as f64,
    };
    let mut findings = Vec::new();
    for sequence in order.chunk_by(|&a, &b| key(a) == key(b)) {
        seeker.sequence(sequence, &mut findings);
    }
    findings
}

struct Seeker<'a> {
    table: &'a Table,
    readings: &'a Readings<'a>,
    fellows: &'a Fellows,
    settings: &'a Settings,
    tests: f64,
}

/// The readings of one dimension by one measurer: how many of each pattern and period, and how many of
/// these of each value.
#[derive(Default)]
struct Counts {
    of_cell: HashMap<(u32, u32), usize>,
    equal: HashMap<((u32, u32), u64), usize>,
    /// The real step in last digits, by the number of decimals.
    steps: HashMap<usize, f64>,
    /// Neighbours of one pattern, and how many of these read the same.
    neighbours: usize,
    repeats: usize,
}

impl Counts {
    /// Whether neighbours outside of a run often read the same.
    fn repeat_often(&self, run: &[u32]) -> bool {
        let of_run = run.len() - 1;
        let (pairs, same) = (
            self.neighbours.saturating_sub(of_run),
            self.repeats.saturating_sub(of_run),
        );
        same as f64 > OFTEN * pairs as f64
    }

    /// The step that most readings written to so many decimals have, in last digits: drills of half a
    /// millimetre are written 4.0 and 4.5.
    fn real_step(&mut self, seeker: &Seeker<'_>, sequence: &[u32], like: &Reading) -> f64 {
        const STEPS: [u64; 7] = [100, 50, 25, 20, 10, 5, 2];
        const MOST: f64 = 0.8;
        let Some(decimals) = decimal(seeker.readings.text(like)).map(|d| d.decimals) else {
            return 1.0;
        };
        *self.steps.entry(decimals).or_insert_with(|| {
            let written = (sequence.iter())
                .filter_map(|&i| decimal(seeker.readings.text(seeker.at(i))))
                .filter(|d| d.decimals == decimals)
                .filter_map(|d| d.steps());
            let all: Vec<u64> = written.collect();
            let are_most = |step: &u64| {
                let round = all.iter().filter(|n| *n % step == 0).count();
                round as f64 >= MOST * all.len() as f64
            };
            STEPS.into_iter().find(are_most).unwrap_or(1) as f64
        })
    }
}

impl Seeker<'_> {
    fn at(&self, i: u32) -> &Reading {
        &self.readings.all[i as usize]
    }

    /// The readings of one dimension by one measurer, in the order of the source.
    fn sequence(&self, sequence: &[u32], findings: &mut Vec<Finding>) {
        if sequence.len() < SHORTEST || self.is_sorted(sequence) {
            return;
        }
        let same = |&a: &u32, &b: &u32| {
            let (a, b) = (self.at(a), self.at(b));
            a.value.to_bits() == b.value.to_bits()
                && a.row != b.row
                && a.unit == b.unit
                && self.readings.text(a) == self.readings.text(b)
        };
        let runs: Vec<&[u32]> = (sequence.chunk_by(same))
            .filter(|run| run.len() >= SHORTEST)
            .collect();
        // How many of a cell, and how many of these read the same; counted when first asked for.
        let mut counts = None;
        for run in runs {
            let judged = |&&i: &&u32| self.settings.judges(self.at(i).row as usize);
            if run.iter().any(|i| judged(&i)) && self.by_spread(sequence, run, 1.0).is_some() {
                let counts = counts.get_or_insert_with(|| self.counts(sequence));
                let real = counts.real_step(self, sequence, self.at(run[0]));
                let Some(by_spread) = self.by_spread(sequence, run, real) else {
                    continue;
                };
                let p = by_spread.max(self.by_order(run, counts)).exp();
                if p <= self.limit() && !counts.repeat_often(run) {
                    findings.push(self.told(run, p.max(f64::MIN_POSITIVE)));
                }
            }
        }
    }

    /// Whether the pieces of each pattern stand in the order of their readings.
    fn is_sorted(&self, sequence: &[u32]) -> bool {
        let (mut up, mut down) = (0usize, 0usize);
        for pair in sequence.windows(2) {
            let (a, b) = (self.at(pair[0]), self.at(pair[1]));
            if a.set == b.set {
                up += usize::from(a.value < b.value);
                down += usize::from(a.value > b.value);
            }
        }
        /// Of neighbours in no order, half go up.
        const IN_ORDER: f64 = 0.8;
        let steps = (up + down) as f64;
        steps >= 8.0 && up.max(down) as f64 >= IN_ORDER * steps
    }

    fn limit(&self) -> f64 {
        self.settings.level(Family::Copied) / self.tests
    }

    /// Where the order of readings says nothing.
    fn cell(&self, r: &Reading) -> (u32, u32) {
        (r.set, r.period)
    }

    fn counts(&self, sequence: &[u32]) -> Counts {
        let mut counts = Counts::default();
        for &i in sequence {
            let r = self.at(i);
            *counts.of_cell.entry(self.cell(r)).or_default() += 1;
            let equal = (self.cell(r), r.value.to_bits());
            *counts.equal.entry(equal).or_default() += 1;
        }
        for pair in sequence.windows(2) {
            let (a, b) = (self.at(pair[0]), self.at(pair[1]));
            if a.set == b.set {
                counts.neighbours += 1;
                counts.repeats += usize::from(a.value == b.value);
            }
        }
        counts
    }

    /// The logarithm of the probability that the readings after the first repeat it, by the order.
    fn by_order(&self, run: &[u32], counts: &Counts) -> f64 {
        let mut drawn: HashMap<(u32, u32), usize> = HashMap::new();
        let mut sum = 0.0;
        for (place, &i) in run.iter().enumerate() {
            let r = self.at(i);
            let cell = self.cell(r);
            let gone = drawn.entry(cell).or_default();
            if place > 0 {
                let left = |count: Option<&usize>| (count.unwrap_or(gone) - *gone).max(1) as f64;
                let equal = left(counts.equal.get(&(cell, r.value.to_bits())));
                sum += (equal / left(counts.of_cell.get(&cell))).ln();
            }
            *gone += 1;
        }
        sum
    }

    /// The same by the spread, where it is small enough; readings have steps of so many last digits.
    fn by_spread(&self, sequence: &[u32], run: &[u32], steps: f64) -> Option<f64> {
        let first = *self.at(run[0]);
        let of_column = {
            let equal = (sequence
                .iter()
                .filter(|&&i| self.at(i).value == first.value))
            .count();
            let others = 1 + sequence.len() - run.len();
            (1 + equal - run.len()) as f64 / others as f64
        };
        let kind = self.table.catalogue.at(first.dimension as usize).kind;
        let step = steps * self.step(&first, kind);
        let mut sets: Vec<u32> = Vec::new();
        let mut by_spread = 0.0;
        for (place, &i) in run.iter().enumerate() {
            let r = self.at(i);
            let again = sets.contains(&r.set);
            if !again {
                sets.push(r.set);
            }
            if place == 0 {
                continue;
            }
            // Beside one of its pattern that reads the same a piece may be of its very period: the
            // density at the centre. The first of a pattern has all its spread to fall elsewhere.
            let density = match again {
                true => (self.fellows.spread(r.set as usize)).map(|s| 0.4 / s),
                false => self.fellows.law(r).map(|law| law.density(r.x)),
            };
            by_spread += density.map_or(of_column, |d| (d * step).min(1.0)).ln();
        }
        (by_spread <= self.limit().ln()).then_some(by_spread)
    }

    /// The step of a text, on the scale of judgement.
    fn step(&self, r: &Reading, kind: Kind) -> f64 {
        let written = decimal(self.readings.text(r));
        let step = written.map(|d| 10f64.powi(-(d.decimals as i32)) * r.unit.in_base_units());
        match (step, kind) {
            (Some(step), Kind::Ratio) => step / r.value,
            (Some(step), Kind::Interval) => step,
            (None, _) => r.u * 12f64.sqrt(),
        }
    }

    fn told(&self, run: &[u32], p: f64) -> Finding {
        let first = self.at(run[0]);
        let suspects: Vec<Suspect> = run
            .iter()
            .map(|&i| {
                let r = self.at(i);
                Suspect {
                    row: r.row as usize,
                    dimension: r.dimension as usize,
                    text: self.readings.text(r).to_owned(),
                    value: r.value,
                    proposed: None,
                }
            })
            .collect();
        let names = &self.table.specimens.names;
        let by = &self.readings.by[first.by as usize];
        let mut patterns: Vec<usize> = run
            .iter()
            .map(|&i| self.readings.pattern_of(self.at(i)))
            .collect();
        patterns.sort_unstable();
        patterns.dedup();
        let of = match patterns.len() {
            1 => "of one pattern".to_owned(),
            n => format!("of {n} patterns"),
        };
        let sentence = format!(
            "{} pieces {of} one after the other{}, {} to {}, have the same {}: {}",
            run.len(),
            by_words(by),
            names.get(suspects[0].row),
            names.get(suspects[suspects.len() - 1].row),
            self.table.catalogue.at(first.dimension as usize).label,
            suspects[0].text,
        );
        Finding {
            code: Code::CopiedDown,
            rows: suspects.iter().map(|s| s.row).collect(),
            dimensions: vec![first.dimension as usize],
            count: suspects.len(),
            by: by.name.clone(),
            evidence: Some(-p.log10()),
            p: Some((p * self.tests).min(1.0)),
            step: None,
            sentence,
            suspects,
        }
    }
}
