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
use crate::stats::{
    Predictive, Rated, Standpoint, benjamini_hochberg_among, holm, t_upper_quantile,
};
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
    // Many small shares: suspects may crowd in one place.
    const SHARE: usize = 4096;
    let looked = parallel::map(rows.div_ceil(SHARE), |part| {
        let from = part * SHARE;
        glance.suspects(from, rows.min(from + SHARE))
    });
    let mut judged: usize = looked.iter().map(|(_, judged)| judged).sum();
    let mut suspects: Vec<usize> = looked.into_iter().flat_map(|(rows, _)| rows).collect();
    // Pattern by pattern, because these have their references in common.
    suspects.sort_by_key(|&row| evidence.cohort().group_of(row));
    let parts = parallel::map(suspects.len().div_ceil(SHARE), |part| {
        let some = &suspects[part * SHARE..suspects.len().min((part + 1) * SHARE)];
        let pieces = some.iter().map(|&row| glance.judge(row));
        pieces.fold(
            (Vec::new(), 0),
            |(mut flags, judged), (of_piece, is_judged)| {
                flags.extend(of_piece);
                (flags, judged + usize::from(is_judged))
            },
        )
    });
    judged += parts.iter().map(|(_, judged)| judged).sum::<usize>();
    let mut flags: Vec<Flag> = parts.into_iter().flat_map(|(flags, _)| flags).collect();
    flags.sort_by_key(|flag| flag.row);
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
    /// By column.
    norms: Vec<Near>,
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
    /// Each period's slot: those that have references, and one for all others.
    slot_of: Vec<usize>,
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
        let chosen: Vec<u32> = (0..cohort.periods().len() as u32)
            .filter(|&p| cohort.periods()[p as usize].chosen)
            .collect();
        let slots = chosen.len() + 1;
        let mut slot_of = vec![chosen.len(); cohort.periods().len()];
        for (slot, &period) in chosen.iter().enumerate() {
            slot_of[period as usize] = slot;
        }
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
            let alpha = settings.alpha();
            let mut quantiles = Quantiles {
                tails: [
                    alpha / least_judged as f64 / 2.0,
                    alpha / 2.0,
                    (1.0 - settings.coverage()) / 2.0,
                ],
                known: HashMap::new(),
            };
            let norms: Vec<Near> = bases
                .into_iter()
                .enumerate()
                .map(|(column, basis)| Near::new(evidence, column, basis, &mut quantiles))
                .collect();
            let periods = || chosen.iter().copied().map(Some).chain([None]);
            let limits: Vec<Vec<Limits>> = norms
                .iter()
                .map(|near| periods().map(|period| near.limits(period)).collect())
                .collect();
            let standard = Standard {
                norms,
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
            slot_of,
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
        let slot = |row| match cohort.period_label(row) {
            Some(period) => self.slot_of[period as usize],
            None => self.slots - 1,
        };
        let place: Vec<usize> = (from..to)
            .map(|row| cohort.group_of(row) * self.slots + slot(row))
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
        let alpha = self.settings.alpha();
        let standard = &self.standards[cohort.group_of(row)];
        let piece = Piece::of_cohort(self.evidence, row);
        let known = cohort
            .is_chosen(row)
            .then(|| Beforehand::new(self.evidence, cohort.group_of(row), &piece.own));
        let mut p = Vec::with_capacity(table.columns.len());
        let mut candidates: Vec<Candidate> = Vec::new();
        for (position, column) in table.columns.iter().enumerate() {
            if column.value(row).is_none() {
                continue;
            }
            let own = piece.rated(column);
            let near = &standard.norms[position];
            let usual = match &known {
                None => near.is_usual(own),
                Some(_) => cohort.is_reference(column, row) && near.is_usual_left_out(own),
            };
            if usual {
                // A p over alpha is never flagged and cannot lower one that is: only its count
                // matters.
                p.push(1.0);
                continue;
            }
            let (norm, t_coverage) = match &known {
                Some(_) => (piece.basis(known.as_ref(), column).predictive, None),
                None => (near.norm.clone(), Some(near.t_coverage)),
            };
            if let Some(norm) = norm {
                let norm = norm.dated(own.period);
                let standpoint = norm.judge(own.x, own.u);
                if standpoint.p <= alpha {
                    candidates.push(Candidate {
                        place: p.len(),
                        position,
                        t_coverage: t_coverage.unwrap_or_else(|| self.t_coverage(norm.df())),
                        centre: norm.centre(),
                        standpoint,
                    });
                }
                p.push(standpoint.p);
            }
        }
        let adjusted = holm(&p);
        let mut flags: Vec<Flag> = candidates
            .iter()
            .filter(|of| {
                let adjusted = adjusted[of.place];
                Verdict::of_dimension(p[of.place], adjusted, alpha, true) == Verdict::OutOfNorm
            })
            .map(|of| self.flag(row, of, adjusted[of.place]))
            .collect();
        flags.sort_by_key(|f| f.dimension);
        (flags, !p.is_empty())
    }

    /// The t that a typical range reaches to.
    fn t_coverage(&self, df: f64) -> f64 {
        t_upper_quantile((1.0 - self.settings.coverage()) / 2.0, df)
    }

    fn flag(&self, row: usize, of: &Candidate, p_adjusted: f64) -> Flag {
        let table = self.evidence.cohort().table();
        let column = &table.columns[of.position];
        let kind = table.dimension(column).kind;
        let half_width = of.t_coverage * of.standpoint.variance.sqrt();
        Flag {
            row,
            dimension: column.dimension,
            value: column.values[row],
            centre: from_scale(kind, of.centre),
            typical: Band::about(kind, of.centre, half_width),
            score: of.standpoint.z,
            p: of.standpoint.p,
            p_adjusted,
            look_first: false,
        }
    }
}

/// A reading whose p is alpha or less.
struct Candidate {
    /// Its place among the piece's judged readings, and its column.
    place: usize,
    position: usize,
    centre: f64,
    t_coverage: f64,
    standpoint: Standpoint,
}

/// Limits outside of which a reading may be out of norm; never too narrow.
#[derive(Clone, Copy)]
struct Limits {
    /// For a piece that is a reference itself and is left out of its norm.
    own: Band,
    /// For any other.
    other: Band,
}

/// Rounding must not hide a reading that stands exactly at a limit.
const ROUNDING: f64 = 1.0 - 1e-9;

/// One norm, and what its limits are worked out from.
struct Near {
    kind: Kind,
    norm: Option<Predictive>,
    /// The critical t of the norm for a suspicion, and of alpha itself; the t of a typical range.
    critical: [f64; 2],
    t_coverage: f64,
    /// `None` where references are to be judged exactly.
    without: Option<Without>,
}

/// A norm without one of its references.
struct Without {
    /// Critical t for a suspicion, and of alpha itself.
    critical: [f64; 2],
    nu: f64,
    /// `nu s^2`, before the reading's own part is taken out.
    squares: f64,
    /// How much of a set's squares is spread (w), and the weight of one reading.
    share: f64,
    weight: f64,
    /// Leaving a reading out moves period share and screening a little as well.
    slack: f64,
}

impl Near {
    fn new(
        evidence: &Evidence<'_>,
        column: usize,
        basis: Basis,
        quantiles: &mut Quantiles,
    ) -> Near {
        let table = evidence.cohort().table();
        let of = &table.columns[column];
        let alike = matches!(of.uncertainty, Uncertainty::Step(_));
        let norm = basis.predictive.as_ref();
        // Norms of few references change too much when one is left out.
        const MANY: usize = 12;
        let n = norm.map_or(0, Predictive::n);
        let slack = if n < MANY { 0.0 } else { 1.0 - 4.0 / n as f64 };
        let quick = alike && slack > 0.0 && basis.prior.df.is_finite();
        let without = norm.filter(|_| quick).map(|norm| {
            let sums = norm.sums();
            let share = (1.0 + sums.mean_r).powi(-2);
            let df = basis.prior.df;
            let borrowed = if df > 0.0 {
                df * basis.prior.variance
            } else {
                0.0
            };
            let nu = df + share * (sums.n as f64 - 2.0);
            // Without the one that is judged another may be set aside: the worst of those that stay,
            // which takes with it the share that its own |T| tells.
            let t2 = basis.near_t.powi(2);
            Without {
                critical: {
                    let [suspicious, unusual, _] = quantiles.upper(nu);
                    [suspicious, unusual]
                },
                nu,
                squares: (borrowed + share * sums.q) * nu / (nu + share * t2),
                share,
                weight: 1.0 / (1.0 + sums.mean_r),
                slack,
            }
        });
        let [suspicious, unusual, t_coverage] =
            norm.map_or([f64::NAN; 3], |norm| quantiles.upper(norm.df()));
        Near {
            kind: table.dimension(of).kind,
            critical: [suspicious, unusual],
            t_coverage,
            norm: basis.predictive,
            without,
        }
    }

    /// Limits of suspicion for a piece of a period.
    fn limits(&self, period: Option<u32>) -> Limits {
        let Some(norm) = &self.norm else {
            return Limits {
                own: SUSPECT,
                other: UNJUDGED,
            };
        };
        let (centre, h0) = norm.sums().expected(period);
        let half = self.critical[0] * norm.spread() * h0.sqrt() * ROUNDING;
        let own = self.left_out(period, 0);
        Limits {
            own: own.map_or(SUSPECT, |(c, half)| Band::about(self.kind, c, half)),
            other: Band::about(self.kind, centre, half),
        }
    }

    /// Whether the p of a reading that is no reference is over alpha for certain.
    fn is_usual(&self, own: Rated) -> bool {
        self.norm.as_ref().is_some_and(|norm| {
            let (centre, h0) = norm.sums().expected(own.period);
            let off = (own.x - centre).abs();
            off < self.critical[1] * norm.spread() * h0.sqrt() * ROUNDING
        })
    }

    /// The same of a reference.
    fn is_usual_left_out(&self, own: Rated) -> bool {
        let limits = self.left_out(own.period, 1);
        limits.is_some_and(|(centre, half)| (own.x - centre).abs() < half)
    }

    /// Centre and half-width of the readings of a period that are inside the critical t when left
    /// out of the norm. For the residual e of such a reading (see [`crate::stats::TwoLevel`]),
    /// |T| > c is e^2 / P (nu + c^2 w) > c^2 nu s^2.
    fn left_out(&self, period: Option<u32>, tail: usize) -> Option<(f64, f64)> {
        let (without, norm) = (self.without.as_ref()?, self.norm.as_ref()?);
        let (c, weight) = (without.critical[tail], without.weight);
        let sums = norm.sums();
        let of = sums.period(period)?;
        let apart = 1.0 / (1.0 + sums.lambda * of.weight);
        let own = weight * apart;
        let p = weight - weight * own * sums.lambda - sums.v * own * own;
        let square = c * c * p * without.squares / (without.nu + c * c * without.share);
        let centre = of.mean - (of.mean - sums.mu) * apart;
        Some((centre, square.sqrt() / weight * without.slack))
    }
}

/// Upper t quantiles at three tail probabilities, each worked out once.
struct Quantiles {
    tails: [f64; 3],
    known: HashMap<u64, [f64; 3]>,
}

impl Quantiles {
    fn upper(&mut self, df: f64) -> [f64; 3] {
        let tails = self.tails;
        *self
            .known
            .entry(df.to_bits())
            .or_insert_with(|| tails.map(|tail| t_upper_quantile(tail, df)))
    }
}
