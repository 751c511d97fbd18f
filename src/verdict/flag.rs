//! Every out-of-norm reading of a whole source.
//!
//! The same verdicts as [`super::check`], found without working out a probability for every
//! reading. Holm's first step needs some p <= alpha / m among a piece's m judged dimensions; so
//! one pair of limits a norm, in the unit, tells at a glance that a piece has none, and most
//! pieces are done with that. What is left is judged exactly.

use std::collections::HashMap;

use super::Verdict;
use super::check::Piece;
use crate::catalogue::Kind;
use crate::cohort::from_scale;
use crate::norm::{Band, Basis, Beforehand, Evidence, Settings};
use crate::parallel;
use crate::stats::{Predictive, Rated, benjamini_hochberg_among, holm, t_upper_quantile};
use crate::table::Uncertainty;

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
    /// Whether its piece is among those to look at first: of these only a share of alpha are wholly
    /// good pieces on average (Benjamini and Hochberg over all pieces).
    pub look_first: bool,
}

/// All out-of-norm readings, in the order of the rows, then of the catalogue.
pub fn flag(evidence: &Evidence<'_>, settings: &Settings) -> Vec<Flag> {
    let rows = evidence.cohort().table().specimens.len();
    let glance = Glance::new(evidence, settings);
    // Small shares: suspects may crowd in one place.
    const SHARE: usize = 4096;
    let parts = parallel::map(rows.div_ceil(SHARE), |part| {
        let from = part * SHARE;
        let (suspects, mut judged) = glance.suspects(from, rows.min(from + SHARE));
        let mut flags = Vec::new();
        for row in suspects {
            let (of_piece, is_judged) = glance.judge(row);
            flags.extend(of_piece);
            judged += usize::from(is_judged);
        }
        (flags, judged)
    });
    let judged = parts.iter().map(|(_, judged)| judged).sum();
    let mut flags: Vec<Flag> = parts.into_iter().flat_map(|(flags, _)| flags).collect();
    mark_first(&mut flags, judged, settings.alpha());
    flags
}

/// Marks the flags of the pieces to look at first, of so many that were judged.
fn mark_first(flags: &mut [Flag], judged: usize, alpha: f64) {
    let mut pieces: Vec<&mut [Flag]> = flags.chunk_by_mut(|a, b| a.row == b.row).collect();
    let least = |of: &&mut [Flag]| of.iter().map(|f| f.p_adjusted).fold(1.0, f64::min);
    let p: Vec<f64> = pieces.iter().map(least).collect();
    let adjusted = benjamini_hochberg_among(&p, judged);
    for (of_piece, p) in pieces.iter_mut().zip(adjusted) {
        of_piece.iter_mut().for_each(|f| f.look_first = p <= alpha);
    }
}

/// A pattern's norms.
struct Standard {
    /// By column; `None` where nothing can be said.
    norms: Vec<Option<Predictive>>,
    /// With fewer judged dimensions than this the limits are not valid.
    least_judged: usize,
}

/// The limits of every pattern, period and column, and the norms behind them.
struct Glance<'a> {
    evidence: &'a Evidence<'a>,
    settings: &'a Settings,
    standards: Vec<Standard>,
    /// By column, then group and slot: for a piece that is no reference.
    other: Vec<Vec<Band>>,
    /// The same for a reference, which is left out of its norm.
    own: Vec<Vec<Band>>,
    /// Each row's slot: its period, where that has references, or the last one.
    slots: usize,
}

/// No reading can be judged: NaN, whether reading or limit, compares as neither inside nor outside.
const UNJUDGED: Band = Band {
    low: f64::NAN,
    high: f64::NAN,
};

/// Every reading is to be judged exactly.
const SUSPECT: Band = Band {
    low: f64::INFINITY,
    high: f64::NEG_INFINITY,
};

impl<'a> Glance<'a> {
    fn new(evidence: &'a Evidence<'a>, settings: &'a Settings) -> Glance<'a> {
        let cohort = evidence.cohort();
        let columns = cohort.table().columns.len();
        let slots = cohort.periods().len() + 1;
        let of_groups = parallel::map(cohort.groups().len(), |group| {
            let known = Beforehand::new(evidence, group, &[]);
            let bases: Vec<Basis> = (0..columns)
                .map(|column| {
                    let references = evidence.references(column, group, &[]);
                    Basis::new(references, known.prior(evidence, column))
                })
                .collect();
            let judged = bases.iter().filter(|b| b.predictive.is_some()).count();
            // A quarter of the dimensions may be missing before a piece takes the slow road.
            let least_judged = (judged * 3 / 4).max(1);
            let tail = settings.alpha() / least_judged as f64 / 2.0;
            let mut quantiles = Quantiles::default();
            let limits: Vec<Vec<Limits>> = bases
                .iter()
                .enumerate()
                .map(|(column, basis)| {
                    let near = Near::new(evidence, column, basis, tail, &mut quantiles);
                    (0..slots)
                        .map(|slot| near.limits(Some(slot as u32).filter(|_| slot + 1 < slots)))
                        .collect()
                })
                .collect();
            let standard = Standard {
                norms: bases.into_iter().map(|b| b.predictive).collect(),
                least_judged,
            };
            (standard, limits)
        });
        let mut glance = Glance {
            evidence,
            settings,
            standards: Vec::with_capacity(of_groups.len()),
            other: vec![Vec::with_capacity(of_groups.len() * slots); columns],
            own: vec![Vec::with_capacity(of_groups.len() * slots); columns],
            slots,
        };
        for (standard, limits) in of_groups {
            glance.standards.push(standard);
            for (column, of_slots) in limits.into_iter().enumerate() {
                glance.other[column].extend(of_slots.iter().map(|l| l.other));
                glance.own[column].extend(of_slots.iter().map(|l| l.own));
            }
        }
        glance
    }

    /// The rows among some that could have an out-of-norm reading, and how many of the others can
    /// be judged.
    fn suspects(&self, from: usize, to: usize) -> (Vec<usize>, usize) {
        let cohort = self.evidence.cohort();
        let place: Vec<usize> = (from..to)
            .map(|row| {
                let slot = cohort
                    .period_label(row)
                    .map_or(self.slots - 1, |p| p as usize);
                cohort.group_of(row) * self.slots + slot
            })
            .collect();
        let mut judged = vec![0usize; to - from];
        let mut outside = vec![false; to - from];
        for (at, column) in cohort.table().columns.iter().enumerate() {
            for (i, row) in (from..to).enumerate() {
                let value = column.values[row];
                let band = match (cohort.is_chosen(row), cohort.is_reference(column, row)) {
                    (true, true) => self.own[at][place[i]],
                    (false, _) => self.other[at][place[i]],
                    // Its other readings speak, so its norm is not that of the limits.
                    (true, false) if value.is_nan() => UNJUDGED,
                    (true, false) => SUSPECT,
                };
                judged[i] += usize::from(value >= band.low || value <= band.high);
                outside[i] |= value < band.low || value > band.high;
            }
        }
        let suspect = |i: &usize| {
            let least = self.standards[place[*i] / self.slots].least_judged;
            outside[*i] || (judged[*i] > 0 && judged[*i] < least)
        };
        let (suspects, clear): (Vec<usize>, Vec<usize>) = (0..to - from).partition(suspect);
        let judged = clear.into_iter().filter(|&i| judged[i] > 0).count();
        (suspects.into_iter().map(|i| from + i).collect(), judged)
    }

    /// The out-of-norm readings of one piece, judged exactly, and whether it could be judged.
    fn judge(&self, row: usize) -> (Vec<Flag>, bool) {
        let cohort = self.evidence.cohort();
        let table = cohort.table();
        let standard = &self.standards[cohort.group_of(row)];
        let piece = Piece::of_cohort(self.evidence, row);
        let known = cohort
            .is_chosen(row)
            .then(|| Beforehand::new(self.evidence, cohort.group_of(row), &piece.own));
        let mut candidates: Vec<(usize, Predictive, Rated)> = Vec::new();
        for (position, column) in table.columns.iter().enumerate() {
            if column.value(row).is_none() {
                continue;
            }
            let own = piece.rated(column);
            let predictive = match &known {
                Some(_) => piece.basis(known.as_ref(), column).predictive,
                None => standard.norms[position].clone(),
            };
            if let Some(predictive) = predictive {
                candidates.push((position, predictive.dated(own.period), own));
            }
        }
        let p: Vec<f64> = candidates
            .iter()
            .map(|(_, norm, own)| norm.judge(own.x, own.u).p)
            .collect();
        let alpha = self.settings.alpha();
        let mut flags: Vec<Flag> = candidates
            .iter()
            .zip(p.iter().zip(holm(&p)))
            .filter(|&(_, (&p, p_adjusted))| {
                Verdict::of_dimension(p, p_adjusted, alpha, true) == Verdict::OutOfNorm
            })
            .map(|((position, predictive, own), (_, p_adjusted))| {
                self.flag(row, *position, predictive, *own, p_adjusted)
            })
            .collect();
        flags.sort_by_key(|f| f.dimension);
        (flags, !candidates.is_empty())
    }

    fn flag(
        &self,
        row: usize,
        position: usize,
        predictive: &Predictive,
        own: Rated,
        p_adjusted: f64,
    ) -> Flag {
        let table = self.evidence.cohort().table();
        let column = &table.columns[position];
        let kind = table.dimension(column).kind;
        let standpoint = predictive.judge(own.x, own.u);
        let half_width = predictive.half_width(standpoint.variance, self.settings.coverage());
        Flag {
            row,
            dimension: column.dimension,
            value: column.values[row],
            centre: from_scale(kind, predictive.centre()),
            typical: Band::about(kind, predictive.centre(), half_width),
            score: standpoint.z,
            p: standpoint.p,
            p_adjusted,
            look_first: false,
        }
    }
}

/// Limits outside of which a reading may be out of norm; never too narrow.
#[derive(Clone, Copy)]
struct Limits {
    /// For a piece that is a reference itself and is left out of its norm.
    own: Band,
    /// For any other.
    other: Band,
}

/// What the limits of one norm are worked out from.
struct Near<'b> {
    kind: Kind,
    norm: Option<&'b Predictive>,
    /// The critical t of the norm.
    critical: f64,
    /// For a reference: the critical t without it, the spread that the others have at least, how
    /// much its own reading weighs; `None` where references are to be judged exactly.
    without: Option<Without>,
}

/// A norm without one of its references.
struct Without {
    critical: f64,
    nu: f64,
    /// `nu s^2`, before the reading's own part is taken out.
    squares: f64,
    /// How much of a set's squares is spread (w), and the weight of one reading.
    share: f64,
    weight: f64,
}

impl<'b> Near<'b> {
    fn new(
        evidence: &Evidence<'_>,
        column: usize,
        basis: &'b Basis,
        tail: f64,
        quantiles: &mut Quantiles,
    ) -> Near<'b> {
        /// Norms of fewer references change too much when one is left out.
        const MANY: usize = 50;
        let table = evidence.cohort().table();
        let of = &table.columns[column];
        let norm = basis.predictive.as_ref();
        let critical = norm.map_or(f64::NAN, |n| quantiles.upper(tail, n.df()));
        let alike = matches!(of.uncertainty, Uncertainty::Step(_));
        let quick = |n: &&Predictive| alike && n.n() >= MANY && basis.prior.df.is_finite();
        let without = norm.filter(quick).map(|norm| {
            let sums = norm.sums();
            let (mean_r, n) = (sums.mean_r, sums.n as f64);
            let share = (1.0 + mean_r).powi(-2);
            let df = basis.prior.df;
            let borrowed = if df > 0.0 {
                df * basis.prior.variance
            } else {
                0.0
            };
            let nu = df + share * (n - 2.0);
            // Without the one that is judged another may be set aside: the worst of those that stay,
            // which takes with it the share that its own |T| tells.
            let t2 = basis.near_t.powi(2);
            let squares = (borrowed + share * sums.q) * nu / (nu + share * t2);
            Without {
                critical: quantiles.upper(tail, nu),
                nu,
                squares,
                share,
                weight: 1.0 / (1.0 + mean_r),
            }
        });
        Near {
            kind: table.dimension(of).kind,
            norm,
            critical,
            without,
        }
    }

    fn limits(&self, period: Option<u32>) -> Limits {
        /// Rounding must not hide a reading that stands exactly at a limit.
        const ROUNDING: f64 = 1.0 - 1e-9;
        /// Leaving a reading out moves period share and screening a little as well.
        const SLACK: f64 = 0.92;
        let Some(norm) = self.norm else {
            return Limits {
                own: SUSPECT,
                other: UNJUDGED,
            };
        };
        let (centre, h0) = norm.sums().expected(period);
        let half = self.critical * norm.spread() * h0.sqrt() * ROUNDING;
        let other = Band::about(self.kind, centre, half);
        let own = match (&self.without, norm.sums().period(period)) {
            (Some(without), Some(of)) => {
                // |T| > c for the residual e of a reading left out (see `TwoLevel::without`):
                // e^2 / P (nu + c^2 w) > c^2 nu s^2.
                let Without {
                    critical: c,
                    nu,
                    squares,
                    share,
                    weight,
                } = *without;
                let sums = norm.sums();
                let spread = 1.0 + sums.lambda * of.weight;
                let p = weight
                    - weight * weight * sums.lambda / spread
                    - sums.v * (weight / spread).powi(2);
                let residual = c * (p * squares / (nu + c * c * share)).sqrt() / weight;
                let centre = of.mean - (of.mean - sums.mu) / spread;
                Band::about(self.kind, centre, residual * SLACK)
            }
            _ => SUSPECT,
        };
        Limits { own, other }
    }
}

/// Upper t quantiles of one tail probability after another, each worked out once.
#[derive(Default)]
struct Quantiles {
    known: HashMap<(u64, u64), f64>,
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
