//! One text again and again down a column.
//!
//! A run of equal texts is compared with what chance allows in two ways, and the milder one counts:
//! by the others (how often pieces of the pattern that are not of the run read the same) and by the
//! spread (how likely a piece falls into that one step). Where a sheet is sorted by the very
//! dimension, runs mean nothing and are left alone.

use super::fellows::Fellows;
use super::reading::{Reading, Readings};
use super::written::decimal;
use super::{Code, Finding, Settings, Suspect, by_words};
use crate::catalogue::Kind;
use crate::cohort::Cohort;
use crate::sorting;
use crate::table::Table;

/// A run has so many readings at least.
const SHORTEST: usize = 3;

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
    let mut seeker = Seeker {
        table,
        readings,
        fellows,
        settings,
        tests: judged.max(1) as f64,
        of_set: None,
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
    /// Readings by set, and where each set's begin; made when first asked for.
    of_set: Option<(Vec<u32>, Vec<usize>)>,
}

impl Seeker<'_> {
    fn at(&self, i: u32) -> &Reading {
        &self.readings.all[i as usize]
    }

    /// The readings of one dimension by one measurer, in the order of the source.
    fn sequence(&mut self, sequence: &[u32], findings: &mut Vec<Finding>) {
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
        for run in runs {
            let judged = |&&i: &&u32| self.settings.judges(self.at(i).row as usize);
            if run.iter().any(|i| judged(&i))
                && let Some(p) = self.chance(sequence, run)
            {
                findings.push(self.told(run, p));
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

    /// The probability of a run that begins at a given reading, where it is small enough.
    fn chance(&mut self, sequence: &[u32], run: &[u32]) -> Option<f64> {
        let limit = self.settings.level() / self.tests;
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
        let step = self.step(&first, kind);
        let mut sets: Vec<(u32, usize)> = Vec::new();
        let mut by_spread = 0.0;
        for (place, &i) in run.iter().enumerate() {
            let r = self.at(i);
            let known = sets.iter_mut().find(|s| s.0 == r.set);
            let again = known.is_some();
            match known {
                Some(set) => set.1 += 1,
                None => sets.push((r.set, 1)),
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
        if by_spread > limit.ln() {
            return None;
        }
        let mut by_others = 0.0;
        for (place, &(set, length)) in sets.iter().enumerate() {
            let members = self.members(set);
            let n = members.len();
            let equal = |&&i: &&u32| self.at(i).value == first.value;
            let equal = members.iter().filter(equal).count();
            // All others, and one more that reads the same: from none nothing can be learnt.
            let others = (n - length.min(n)) as f64;
            let alike = (equal - length.min(equal)) as f64;
            let share = match n {
                1 => of_column,
                _ => (alike + 1.0) / (others + 1.0),
            };
            by_others += (length - usize::from(place == 0)) as f64 * share.ln();
        }
        let p = by_spread.max(by_others).exp().max(f64::MIN_POSITIVE);
        (p <= limit).then_some(p)
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

    fn members(&mut self, set: u32) -> Vec<u32> {
        let all = &self.readings.all;
        let (order, starts) = self.of_set.get_or_insert_with(|| {
            let indices: Vec<u32> = (0..all.len() as u32).collect();
            let set_of = |i: u32| all[i as usize].set as usize;
            let order = sorting::by_key(&indices, self.readings.sets.max(1), set_of);
            let mut starts = vec![0; self.readings.sets + 1];
            order.iter().for_each(|&i| starts[set_of(i) + 1] += 1);
            (0..self.readings.sets).for_each(|s| starts[s + 1] += starts[s]);
            (order, starts)
        });
        order[starts[set as usize]..starts[set as usize + 1]].to_vec()
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
