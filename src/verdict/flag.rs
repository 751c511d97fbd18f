//! Every out-of-norm reading of a whole source.
//!
//! The same verdicts as [`super::check`], found without working out a probability for every
//! reading. Holm's first step needs some p <= alpha / m among a piece's m judged dimensions; so
//! one pair of limits a norm, in the unit, tells at a glance that a piece has none, and most
//! pieces are done with that. What is left is judged exactly.

use std::ops::Range;
use std::thread;

use super::Verdict;
use crate::catalogue::Kind;
use crate::cohort::{Cohort, from_scale, on_scale};
use crate::norm::{Band, Evidence, Settings};
use crate::stats::{Predictive, Sums, holm, t_upper_quantile};

/// One out-of-norm reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flag {
    /// Row of the piece in the cohort's table.
    pub row: usize,
    /// Index of the dimension in the table's catalogue.
    pub dimension: usize,
    /// The reading, in the unit.
    pub value: f64,
    /// Centre of the references without the piece.
    pub centre: f64,
    /// The band in which such a reading of a good piece falls with the settings' coverage.
    pub typical: Band,
    /// The signed normal score.
    pub score: f64,
    /// Two-sided probability of a deviation at least as large.
    pub p: f64,
    /// The same, adjusted for the piece's other dimensions (Holm).
    pub p_adjusted: f64,
}

/// All out-of-norm readings, in the order of the rows, then of the catalogue.
pub fn flag(cohort: &Cohort<'_>, evidence: &Evidence, settings: &Settings) -> Vec<Flag> {
    let rows = cohort.table().specimens.len();
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let glance = Glance::new(cohort, evidence, settings);
    let share = rows.div_ceil(threads).max(1);
    let parts: Vec<Range<usize>> = (0..rows)
        .step_by(share)
        .map(|from| from..rows.min(from + share))
        .collect();
    thread::scope(|scope| {
        let work: Vec<_> = parts
            .into_iter()
            .map(|part| {
                let glance = &glance;
                scope.spawn(move || {
                    let mut judge = Judge::new(cohort, evidence, settings);
                    part.filter(|&row| glance.is_suspect(cohort, row))
                        .flat_map(|row| judge.piece(row))
                        .collect::<Vec<Flag>>()
                })
            })
            .collect();
        // The panic of a thread goes on in this one.
        work.into_iter()
            .flat_map(|w| {
                w.join()
                    .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
            })
            .collect()
    })
}

/// Limits outside of which a reading may be out of norm; never too narrow by rounding.
#[derive(Clone, Copy)]
struct Limits {
    /// For a piece that is a reference itself and is left out of its norm.
    own: Band,
    /// For any other.
    other: Band,
}

/// No reading can be judged.
const UNJUDGED: Band = Band {
    low: f64::NAN,
    high: f64::NAN,
};

/// The limits of every column and group.
struct Glance {
    limits: Vec<Vec<Limits>>,
    /// By group: with fewer judged dimensions than this the limits are not valid.
    least_judged: Vec<usize>,
}

impl Glance {
    fn new(cohort: &Cohort<'_>, evidence: &Evidence, settings: &Settings) -> Glance {
        let table = cohort.table();
        let groups = cohort.groups().len();
        let least_judged: Vec<usize> = (0..groups)
            .map(|group| {
                let judged = (0..table.columns.len())
                    .filter(|&column| Predictive::new(evidence.of(column, group)).is_some())
                    .count();
                // A quarter of the dimensions may be missing before a piece takes the slow road.
                (judged * 3 / 4).max(1)
            })
            .collect();
        let mut quantiles = Quantiles::default();
        let limits = table
            .columns
            .iter()
            .enumerate()
            .map(|(column, of)| {
                let kind = table.dimension(of).kind;
                (0..groups)
                    .map(|group| {
                        let tail = settings.alpha() / least_judged[group] as f64 / 2.0;
                        limits(kind, evidence.of(column, group), tail, &mut quantiles)
                    })
                    .collect()
            })
            .collect();
        Glance {
            limits,
            least_judged,
        }
    }

    /// Whether a piece could have an out-of-norm reading.
    fn is_suspect(&self, cohort: &Cohort<'_>, row: usize) -> bool {
        let table = cohort.table();
        let group = cohort.group_of(row);
        let (mut judged, mut outside) = (0, false);
        for (column, limits) in table.columns.iter().zip(&self.limits) {
            let Limits { own, other } = limits[group];
            let value = column.values[row];
            let band = if cohort.is_reference(column, row) {
                own
            } else {
                other
            };
            // NaN, whether reading or limit, compares as neither.
            judged += usize::from(value >= band.low || value <= band.high);
            outside |= value < band.low || value > band.high;
        }
        outside || (judged > 0 && judged < self.least_judged[group])
    }
}

/// The limits of one norm at a tail probability.
fn limits(kind: Kind, sums: &Sums, tail: f64, quantiles: &mut Quantiles) -> Limits {
    /// Rounding must not hide a reading that stands exactly at a limit.
    const SLACK: f64 = 1.0 - 1e-9;
    let Some(predictive) = Predictive::new(sums) else {
        return Limits {
            own: UNJUDGED,
            other: UNJUDGED,
        };
    };
    let band = |half_width: f64| Band::about(kind, predictive.centre(), half_width * SLACK);
    let other =
        quantiles.upper(tail, predictive.df()) * predictive.variance_like_references().sqrt();
    // A reference is judged by the n - 1 others. With e its distance from the mean of all, Q the
    // sum of squares and c the critical t, |T| > c only if e^2 > (n-1)/n c^2 Q / (n - 2 + c^2)
    // (externally studentized residual: Cook & Weisberg 1982, 2.2; a floor under the spread can
    // only shrink |T|).
    let own = (sums.n() > 2).then(|| {
        let n = sums.n() as f64;
        let c2 = quantiles.upper(tail, n - 2.0).powi(2);
        ((n - 1.0) / n * c2 * sums.squares() / (n - 2.0 + c2)).sqrt()
    });
    Limits {
        own: own.map_or(UNJUDGED, band),
        other: band(other),
    }
}

/// Upper t quantiles of one tail probability after another, each worked out once.
#[derive(Default)]
struct Quantiles {
    known: std::collections::HashMap<(u64, u64), f64>,
}

impl Quantiles {
    fn upper(&mut self, tail: f64, df: f64) -> f64 {
        let key = (tail.to_bits(), df.to_bits());
        *self
            .known
            .entry(key)
            .or_insert_with(|| t_upper_quantile(tail, df))
    }
}

/// Judges suspect pieces exactly, one after the other.
struct Judge<'a> {
    cohort: &'a Cohort<'a>,
    evidence: &'a Evidence,
    settings: &'a Settings,
    quantiles: Quantiles,
}

/// A reading with its norm.
struct Candidate {
    column: usize,
    predictive: Predictive,
    x: f64,
    u: f64,
}

impl<'a> Judge<'a> {
    fn new(cohort: &'a Cohort<'a>, evidence: &'a Evidence, settings: &'a Settings) -> Judge<'a> {
        Judge {
            cohort,
            evidence,
            settings,
            quantiles: Quantiles::default(),
        }
    }

    fn piece(&mut self, row: usize) -> Vec<Flag> {
        let table = self.cohort.table();
        let group = self.cohort.group_of(row);
        let alpha = self.settings.alpha();
        let mut candidates = Vec::with_capacity(table.columns.len());
        let mut p = Vec::with_capacity(table.columns.len());
        for (position, column) in table.columns.iter().enumerate() {
            let Some(value) = column.value(row) else {
                continue;
            };
            let kind = table.dimension(column).kind;
            let sums = self.evidence.without(self.cohort, position, group, &[row]);
            let Some(predictive) = Predictive::new(&sums) else {
                continue;
            };
            let (x, u) = on_scale(kind, value, column.uncertainty(row));
            let t = (x - predictive.centre()) / predictive.variance(u).sqrt();
            // A p over alpha is never flagged and cannot lower one that is: only its count matters.
            let critical = self.quantiles.upper(alpha / 2.0, predictive.df()) * (1.0 - 1e-9);
            p.push(if t.abs() < critical {
                1.0
            } else {
                predictive.judge(x, u).p
            });
            candidates.push(Candidate {
                column: position,
                predictive,
                x,
                u,
            });
        }
        let adjusted = holm(&p);
        let mut flags: Vec<Flag> = candidates
            .iter()
            .zip(p.iter().zip(&adjusted))
            .filter(|&(_, (&p, &p_adjusted))| {
                Verdict::of_dimension(p, p_adjusted, alpha, true) == Verdict::OutOfNorm
            })
            .map(|(candidate, (&p, &p_adjusted))| self.flag(row, candidate, p, p_adjusted))
            .collect();
        flags.sort_by_key(|f| f.dimension);
        flags
    }

    fn flag(&mut self, row: usize, candidate: &Candidate, p: f64, p_adjusted: f64) -> Flag {
        let table = self.cohort.table();
        let column = &table.columns[candidate.column];
        let kind = table.dimension(column).kind;
        let Candidate {
            predictive, x, u, ..
        } = candidate;
        let standpoint = predictive.judge(*x, *u);
        let tail = (1.0 - self.settings.coverage()) / 2.0;
        let half_width = self.quantiles.upper(tail, predictive.df()) * standpoint.variance.sqrt();
        Flag {
            row,
            dimension: column.dimension,
            value: column.values[row],
            centre: from_scale(kind, predictive.centre()),
            typical: Band::about(kind, predictive.centre(), half_width),
            score: standpoint.z,
            p,
            p_adjusted,
        }
    }
}
