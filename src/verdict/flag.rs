//! Every out-of-norm reading of a whole source.
//!
//! The same verdicts as [`super::check`], found without working out a probability for every
//! reading. Holm's first step needs some p <= alpha / m among a piece's m judged dimensions; so
//! one pair of limits a norm, in the unit, tells at a glance that a piece has none, and most
//! pieces are done with that. What is left is judged exactly.

use std::borrow::Cow;
use std::cell::OnceCell;
use std::collections::HashMap;
use std::ops::Range;

use smallvec::SmallVec;

use super::Verdict;
use crate::catalogue::{Dimension, Kind};
use crate::cohort::{Reference, from_scale, on_scale};
use crate::norm::{Band, Basis, Beforehand, Evidence, Settings};
use crate::stats::{
    PeriodShare, PeriodSums, Predictive, Prior, Rated, ScreenedSet, Standpoint, TwoLevel, all_but,
    benjamini_hochberg_cut, holm, loose, normal_upper_quantile, screen, t_upper_quantile,
};
use crate::table::{Column, Uncertainty};
use crate::{parallel, sorting};

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
    let cohort = evidence.cohort();
    let rows = cohort.table().specimens.len();
    let glance = Glance::new(evidence, settings);
    // Large enough for the limits of a column to be read again and again.
    const LOOK: usize = 1 << 15;
    let looked = parallel::stretches(rows, LOOK, |rows| glance.suspects(rows.start, rows.end));
    const SHARE: usize = 4096;
    let ids = |(part, some): (usize, &Suspects)| {
        let first = part * LOOK;
        first as u32..(first + some.pieces.len()) as u32
    };
    let order: Vec<u32> = looked.iter().enumerate().flat_map(ids).collect();
    let suspect = |id: u32| {
        let some = &looked[id as usize / LOOK];
        (some, &some.pieces[id as usize % LOOK])
    };
    // Pattern by pattern, because these have their references in common.
    let group_of = |id: u32| suspect(id).1.group as usize;
    let order = sorting::by_key(&order, cohort.groups().len(), group_of);
    let mut parts = parallel::stretches(order.len(), SHARE, |of| {
        let some = &order[of];
        let mut found = Judged::default();
        let mut near = Suspects::default();
        for of_group in some.chunk_by(|&a, &b| group_of(a) == group_of(b)) {
            let pattern = Pattern::new(&glance, group_of(of_group[0]));
            // From far apart: fetched one by one between the judgements they would be waited for.
            near.gather(of_group.iter().map(|&id| suspect(id)));
            for piece in &near.pieces {
                let first = found.flags.len();
                let judged = pattern.judge(piece, near.outside(piece), &mut found.flags);
                found.judged += usize::from(judged);
                found.note_piece(first);
            }
        }
        found.flags.shrink_to_fit();
        found
    });
    let judged_at_a_glance: usize = looked.iter().map(|some| some.judged).sum();
    let judged = judged_at_a_glance + parts.iter().map(|part| part.judged).sum::<usize>();
    let row_of: Vec<u32> = parts.iter().flat_map(|part| &part.rows).copied().collect();
    let by_row = || {
        let order: Vec<u32> = (0..row_of.len() as u32).collect();
        let order = sorting::by_key(&order, rows, |i| row_of[i as usize] as usize);
        drop((glance, looked));
        order
    };
    let mark = || mark_first(&mut parts, judged, settings.alpha());
    let (order, ()) = parallel::both(by_row, mark);
    let found: Vec<&Flag> = parts.iter().flat_map(|part| &part.flags).collect();
    order.iter().map(|&i| *found[i as usize]).collect()
}

/// What was found of some pieces.
#[derive(Default)]
struct Judged {
    /// One piece's after the other's.
    flags: Vec<Flag>,
    /// Their rows.
    rows: Vec<u32>,
    /// The least adjusted p of each piece that has flags.
    least: Vec<f64>,
    /// How many of the pieces could be judged.
    judged: usize,
}

impl Judged {
    /// Notes the piece whose flags stand from there on.
    fn note_piece(&mut self, first: usize) {
        let of_piece = &self.flags[first..];
        if of_piece.is_empty() {
            return;
        }
        self.rows.extend(of_piece.iter().map(|f| f.row as u32));
        let least = of_piece.iter().map(|f| f.p_adjusted);
        self.least.push(least.fold(1.0, f64::min));
    }
}

/// Marks the flags of the pieces to look at first, of so many that were judged.
fn mark_first(parts: &mut [Judged], judged: usize, alpha: f64) {
    let least: Vec<f64> = parts.iter().flat_map(|part| &part.least).copied().collect();
    let Some(cut) = benjamini_hochberg_cut(&least, judged, alpha) else {
        return;
    };
    let steps = parts.iter().map(|part| part.flags.len()).sum();
    parallel::each(parts, steps, |_, part| {
        let of_pieces = part.flags.chunk_by_mut(|a, b| a.row == b.row);
        for (of_piece, &least) in of_pieces.zip(&part.least) {
            of_piece
                .iter_mut()
                .for_each(|f| f.look_first = least <= cut);
        }
    });
}

/// A piece that could have an out-of-norm reading. What judging needs of it is kept, because pieces of
/// one pattern are far apart.
struct Suspect {
    row: u32,
    group: u32,
    period: Option<u32>,
    /// Whether it is of the chosen periods.
    chosen: bool,
    /// Which of [`Suspects::outside`] are to be judged exactly, and how many of its other readings can be
    /// judged: these are not out of norm, so that of their p only the number matters.
    outside: Range<u32>,
    inside: u32,
}

/// A reading outside some limits.
#[derive(Clone, Copy)]
struct Outside {
    column: u32,
    value: f64,
}

/// Some suspects.
#[derive(Default)]
struct Suspects {
    pieces: Vec<Suspect>,
    outside: Vec<Outside>,
    /// How many of the other pieces can be judged.
    judged: usize,
}

impl Suspects {
    /// Takes in these instead of its own.
    fn gather<'s>(&mut self, of: impl Iterator<Item = (&'s Suspects, &'s Suspect)>) {
        self.pieces.clear();
        self.outside.clear();
        for (some, piece) in of {
            let start = self.outside.len() as u32;
            self.outside.extend_from_slice(some.outside(piece));
            self.pieces.push(Suspect {
                outside: start..self.outside.len() as u32,
                ..*piece
            });
        }
    }

    fn outside(&self, suspect: &Suspect) -> &[Outside] {
        &self.outside[suspect.outside.start as usize..suspect.outside.end as usize]
    }
}

/// A pattern's norms.
struct Standard {
    /// By column.
    norms: Vec<Option<Whole>>,
    /// With fewer judged dimensions than this the limits of suspicion are not valid.
    least_judged: usize,
    /// The period ratio of the norms, and the part of it by which a piece may move it: else its limits are not
    /// valid.
    lambda: f64,
    may_move: f64,
}

/// The norm of all references of a column.
struct Whole {
    prior: Prior,
    predictive: Predictive,
    /// The references that may tip the screening; `None` where it is to be done anew without any one.
    tipping: Option<Vec<Tipping>>,
}

/// A reference that screening treats in its own way, or may once another one is left out.
#[derive(Clone, Copy)]
struct Tipping {
    row: u32,
    period: Option<u32>,
    why: Why,
}

/// See [`Tipping`].
#[derive(Clone, Copy, PartialEq)]
enum Why {
    /// It stays, but may be set aside with any one less.
    Near,
    /// It stays, but may be set aside with one of its period less.
    Loose,
    /// It is set aside, but may stay with any one less.
    Doubtful,
    /// It is set aside by far; still it may stay with one of its period less.
    Aside,
}

/// The limits of every pattern, period and column, and the norms behind them.
struct Glance<'a> {
    evidence: &'a Evidence<'a>,
    settings: &'a Settings,
    standards: Vec<Standard>,
    /// Under this every p is over alpha: no t has lighter tails than the normal.
    usual_t: f64,
    /// Inside these no reading is out of norm, as long as enough dimensions are judged.
    suspicious: Limits,
    /// Inside these every p is over alpha.
    unusual: Limits,
    /// Each period's slot: those that have references, and one for all others.
    slot_of: Vec<usize>,
    slots: usize,
}

/// Limits in the unit, never too wide; by column, then group, slot, and whether they are those of a
/// reference, which is left out of its norm.
type Limits = Vec<Vec<Limit>>;

/// A band that is no wider than the one it was made of, in half the room: more of them are at hand.
#[derive(Clone, Copy)]
struct Limit {
    low: f32,
    high: f32,
}

impl Limit {
    fn within(band: Band) -> Limit {
        let (low, high) = (band.low as f32, band.high as f32);
        Limit {
            low: if f64::from(low) < band.low {
                low.next_up()
            } else {
                low
            },
            high: if f64::from(high) > band.high {
                high.next_down()
            } else {
                high
            },
        }
    }
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
        // Neighbours share their quantiles.
        const SHARE: usize = 64;
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
        let quantiles = |least_judged: usize| Quantiles {
            tails: [
                settings.alpha() / least_judged as f64 / 2.0,
                settings.alpha() / 2.0,
            ],
            known: HashMap::new(),
        };
        let standard = |group: usize, quantiles_of: &mut HashMap<usize, Quantiles>| {
            let known = Beforehand::new(evidence, group, &[]);
            let bases: Vec<Basis> = (0..columns)
                .map(|column| {
                    let references = evidence.references(column, group, &[]);
                    Basis::new(references, known.prior(column))
                })
                .collect();
            let judged = bases.iter().filter(|b| b.predictive.is_some()).count();
            // A quarter of the dimensions may be missing before a piece takes the slow road.
            let least_judged = (judged * 3 / 4).max(1);
            let quantiles = quantiles_of
                .entry(least_judged)
                .or_insert_with(|| quantiles(least_judged));
            let periods: Vec<Option<u32>> =
                chosen.iter().copied().map(Some).chain([None]).collect();
            let mut bands: Vec<Bands> = (0..columns)
                .zip(&bases)
                .map(|(column, basis)| Bands::new(evidence, column, basis, &periods, quantiles))
                .collect();
            let norm = |(basis, bands): (Basis, &mut Bands)| {
                Some(Whole {
                    prior: basis.prior,
                    predictive: basis.predictive?,
                    tipping: bands.tipping.take(),
                })
            };
            let most = bases.iter().map(|basis| basis.kept.len()).max();
            let standard = Standard {
                lambda: known.share.lambda(),
                // Half of the slack that limits have.
                may_move: 2.0 / most.unwrap_or(0).max(2) as f64,
                norms: bases.into_iter().zip(&mut bands).map(norm).collect(),
                least_judged,
            };
            (standard, bands)
        };
        let groups = cohort.groups().len();
        if groups > 0 {
            // What all are lent is worked out with all threads, not by one while the others wait.
            Beforehand::new(evidence, 0, &[]);
        }
        let parts = parallel::stretches(groups, SHARE, |of| {
            let mut quantiles = HashMap::new();
            of.map(|group| standard(group, &mut quantiles))
                .collect::<Vec<(Standard, Vec<Bands>)>>()
        });
        let limits = || vec![Vec::with_capacity(groups * slots * 2); columns];
        let mut glance = Glance {
            evidence,
            settings,
            standards: Vec::with_capacity(groups),
            usual_t: normal_upper_quantile(settings.alpha() / 2.0) * ROUNDING,
            suspicious: limits(),
            unusual: limits(),
            slot_of,
            slots,
        };
        for (standard, bands) in parts.into_iter().flatten() {
            glance.standards.push(standard);
            for (column, of) in bands.into_iter().enumerate() {
                glance.suspicious[column].extend(of.limits.iter().map(|tails| tails[0]));
                glance.unusual[column].extend(of.limits.iter().map(|tails| tails[1]));
            }
        }
        glance
    }

    /// The pieces among some rows that could have an out-of-norm reading.
    fn suspects(&self, from: usize, to: usize) -> Suspects {
        let table = self.evidence.cohort().table();
        let places: Vec<u32> = (from..to).map(|row| self.place(row) as u32).collect();
        let mut inside = vec![0; to - from];
        // Column by column, with the places of the rows.
        let (mut rows, mut outside) = (Vec::new(), Vec::new());
        for (at, column) in table.columns.iter().enumerate() {
            let limits = &self.suspicious[at];
            let values = column.values[from..to].iter().zip(&places);
            for (i, ((&value, &place), inside)) in values.zip(&mut inside).enumerate() {
                let limit = limits[place as usize];
                let is_inside = self.is_inside(limit, column, from + i, value);
                *inside += u32::from(is_inside == Some(true));
                if is_inside == Some(false) {
                    rows.push(i as u32);
                    let column = at as u32;
                    outside.push(Outside { column, value });
                }
            }
        }
        let order: Vec<u32> = (0..rows.len() as u32).collect();
        let order = sorting::by_key(&order, to - from, |k| rows[k as usize] as usize);
        let mut suspects = Suspects::default();
        let mut order = order.into_iter().peekable();
        for (i, inside) in inside.into_iter().enumerate() {
            let start = suspects.outside.len();
            while let Some(k) = order.next_if(|&k| rows[k as usize] as usize == i) {
                suspects.outside.push(outside[k as usize]);
            }
            let cohort = self.evidence.cohort();
            let (row, group) = (from + i, cohort.group_of(from + i));
            let is_suspect = suspects.outside.len() > start;
            let few = (inside as usize) < self.standards[group].least_judged;
            // The others are asked when they are judged.
            let shakes = !self.evidence.is_firm(group)
                && (!is_suspect || few)
                && (is_suspect || inside > 0)
                && cohort.is_chosen(row)
                && self.is_shaken(group, self.evidence.period_share(group, &[row]));
            if !(is_suspect || shakes || inside > 0 && few) {
                suspects.judged += usize::from(inside > 0);
                continue;
            }
            // Of m judged, d are outside the limits of suspicion. The smallest p inside is over
            // alpha / least_judged, and Holm compares it with alpha / (m - d) at most.
            let inside = if shakes {
                suspects.outside.truncate(start);
                suspects.outside.extend(self.all(row));
                0
            } else if few {
                // A p over alpha is never flagged and cannot lower one that is.
                suspects.outside.truncate(start);
                self.outside(&self.unusual, row, &mut suspects.outside)
            } else {
                inside
            };
            suspects.pieces.push(Suspect {
                row: row as u32,
                group: group as u32,
                period: cohort.period_label(row),
                chosen: cohort.is_chosen(row),
                outside: start as u32..suspects.outside.len() as u32,
                inside,
            });
        }
        suspects
    }

    /// Whether the limits of a pattern's pieces are not valid for one without which the period share is this.
    fn is_shaken(&self, group: usize, share: PeriodShare) -> bool {
        let standard = &self.standards[group];
        (share.lambda() - standard.lambda).abs() > standard.may_move * standard.lambda
    }

    /// All readings of a piece.
    fn all(&self, row: usize) -> impl Iterator<Item = Outside> {
        let columns = self.evidence.cohort().table().columns.iter().enumerate();
        columns.filter_map(move |(at, column)| {
            let (column, value) = (at as u32, column.value(row)?);
            Some(Outside { column, value })
        })
    }

    /// Where a piece's limits are in each column.
    fn place(&self, row: usize) -> usize {
        let cohort = self.evidence.cohort();
        let slot = match cohort.period_label(row) {
            Some(period) => self.slot_of[period as usize],
            None => self.slots - 1,
        };
        (cohort.group_of(row) * self.slots + slot) * 2 + usize::from(cohort.is_chosen(row))
    }

    /// Whether the value at a row of a column is inside its limits; `None` where it cannot be judged.
    fn is_inside(&self, limit: Limit, column: &Column, row: usize, value: f64) -> Option<bool> {
        let cohort = self.evidence.cohort();
        let is_silent = || cohort.is_chosen(row) && !cohort.would_speak(column, row);
        if column.states.is_some() && is_silent() {
            // Its other readings speak, so its norm is not that of the limits.
            return (!value.is_nan()).then_some(false);
        }
        let (low, high) = (f64::from(limit.low), f64::from(limit.high));
        if value < low || value > high {
            return Some(false);
        }
        (value >= low).then_some(true)
    }

    /// Adds the readings of a piece that are outside some limits; tells how many are inside.
    fn outside(&self, limits: &Limits, row: usize, outside: &mut Vec<Outside>) -> u32 {
        let place = self.place(row);
        let mut inside = 0;
        for (at, column) in self.evidence.cohort().table().columns.iter().enumerate() {
            let value = column.values[row];
            match self.is_inside(limits[at][place], column, row, value) {
                Some(true) => inside += 1,
                Some(false) => outside.push(Outside {
                    column: at as u32,
                    value,
                }),
                None => {}
            }
        }
        inside
    }
}

impl Whole {
    /// Whether the screening has the same outcome without one of the references: then, whether that one
    /// stays in it. `prior` is what is known without it.
    fn same_without(&self, own: Own, prior: &Prior) -> Option<bool> {
        let apart = |a: f64, b: f64| if a == b { 0.0 } else { (a / b - 1.0).abs() };
        let known = &self.prior;
        let moved = apart(prior.lambda, known.lambda)
            + apart(prior.variance, known.variance)
            + apart(prior.df, known.df);
        let tipping = self.tipping.as_ref().filter(|_| moved < 1e-3)?;
        let is_own = |of: &Tipping| of.row as usize == own.row;
        let stays = !tipping.iter().any(|of| is_own(of) && of.is_aside());
        let period = own.rated.period;
        let same = |of: &Tipping| match of.why {
            _ if is_own(of) => true,
            Why::Near | Why::Doubtful => false,
            // Of two on either side of their period the one may be far off only by the other.
            Why::Aside => period.is_none() || of.period != period,
            Why::Loose => !stays || of.period != period,
        };
        tipping.iter().all(same).then_some(stays)
    }
}

/// The pieces of one pattern on their way to exact judgement.
struct Pattern<'a> {
    glance: &'a Glance<'a>,
    group: usize,
    /// By column, worked out when first asked for: all references, the same screened, and the t that a
    /// typical range of the norm of all of them reaches to.
    references: Vec<OnceCell<Vec<Reference>>>,
    screened: Vec<OnceCell<ScreenedSet>>,
    t_coverage: Vec<OnceCell<f64>>,
}

impl<'a> Pattern<'a> {
    fn new(glance: &'a Glance<'a>, group: usize) -> Pattern<'a> {
        let columns = glance.evidence.cohort().table().columns.len();
        Pattern {
            glance,
            group,
            references: vec![OnceCell::new(); columns],
            screened: vec![OnceCell::new(); columns],
            t_coverage: vec![OnceCell::new(); columns],
        }
    }

    /// Adds the out-of-norm readings of one of the pieces, judged exactly; tells whether it could
    /// be judged.
    fn judge(&self, suspect: &Suspect, outside: &[Outside], flags: &mut Vec<Flag>) -> bool {
        let row = suspect.row as usize;
        let evidence = self.glance.evidence;
        let cohort = evidence.cohort();
        let columns = &cohort.table().columns;
        let alpha = self.glance.settings.alpha();
        let known = (suspect.chosen && !outside.is_empty())
            .then(|| Beforehand::new(evidence, self.group, &[row]));
        let shakes = |known: &Beforehand| self.glance.is_shaken(self.group, known.share);
        let (outside, inside) = match known.as_ref().is_some_and(shakes) {
            true => (Cow::Owned(self.glance.all(row).collect()), 0),
            false => (Cow::Borrowed(outside), suspect.inside),
        };
        let mut p: SmallVec<[f64; USUAL]> = SmallVec::new();
        let mut candidates: SmallVec<[Candidate; 2]> = SmallVec::new();
        let period = suspect.period;
        for &Outside { column, value } in outside.iter() {
            let position = column as usize;
            let column = &columns[position];
            let kind = cohort.table().dimension(column).kind;
            let (x, u) = on_scale(kind, value, column.uncertainty(row));
            let own = Rated { x, u, period };
            let norm = match &known {
                Some(known) => {
                    let prior = known.prior(position);
                    let own = Own {
                        row,
                        value,
                        rated: own,
                    };
                    self.without(own, position, &prior)
                }
                None => {
                    let standard = self.standard().norms[position].as_ref();
                    standard.map(|norm| Cow::Borrowed(&norm.predictive))
                }
            };
            let Some(norm) = norm else { continue };
            match norm.judge_beyond(own, self.glance.usual_t) {
                Some((centre, standpoint)) if standpoint.p <= alpha => {
                    candidates.push(Candidate {
                        place: p.len(),
                        position,
                        value,
                        centre,
                        df: norm.df(),
                        standpoint,
                    });
                    p.push(standpoint.p);
                }
                // Of a p over alpha only that it is one matters.
                _ => p.push(1.0),
            }
        }
        let judged = p.len() + inside as usize;
        if candidates.is_empty() {
            return judged > 0;
        }
        p.resize(judged, 1.0);
        let adjusted = holm(&p);
        let first = flags.len();
        for of in &candidates {
            let adjusted = adjusted[of.place];
            if Verdict::of_dimension(of.standpoint.p, adjusted, alpha, true) == Verdict::OutOfNorm {
                flags.push(self.flag(suspect, of, adjusted));
            }
        }
        flags[first..].sort_by_key(|f| f.dimension);
        true
    }

    /// What a column's references say without one piece's own reading.
    fn without(&self, own: Own, column: usize, prior: &Prior) -> Option<Cow<'_, Predictive>> {
        let norm = self.standard().norms[column].as_ref();
        if let Some(norm) = norm.filter(|norm| norm.prior == *prior && self.speaks(own, column)) {
            // Its own reading is all that has to be looked at.
            match norm.same_without(own, prior) {
                Some(false) => return Some(Cow::Borrowed(&norm.predictive)),
                Some(true) => {
                    if let Some(sums) = norm.predictive.sums().left(own.rated) {
                        return Predictive::from_sums(sums, prior).map(Cow::Owned);
                    }
                }
                None => {}
            }
        }
        let evidence = self.glance.evidence;
        let all =
            self.references[column].get_or_init(|| evidence.references(column, self.group, &[]));
        // They are sorted by period, then row; those without a period come last.
        let key = |of: &Reference| (of.rated().period.unwrap_or(u32::MAX), of.row());
        let wanted = (own.rated.period.unwrap_or(u32::MAX), own.row);
        let place = all.binary_search_by_key(&wanted, key).ok();
        if let (Some(place), Some(norm)) = (place, norm)
            && let Some(screened) = self.screened(column, all, norm)
        {
            let sums = match norm.same_without(own, prior) {
                Some(stays) => screened.left(Some(all[place]).filter(|_| stays), prior),
                None => screened.without(all, place, prior),
            };
            if let Some(sums) = sums {
                return Predictive::from_sums(sums, prior).map(Cow::Owned);
            }
        }
        let others = match place {
            Some(place) => Cow::Owned(all_but(all, &[place])),
            None => Cow::Borrowed(all),
        };
        let norm = screen(&others, prior).predictive(prior);
        norm.map(Cow::Owned)
    }

    /// Whether a reading is one of the references of its column.
    fn speaks(&self, own: Own, column: usize) -> bool {
        let cohort = self.glance.evidence.cohort();
        let column = &cohort.table().columns[column];
        let credible = cohort.table().dimension(column).is_credible(own.value);
        credible && cohort.would_speak(column, own.row)
    }

    /// The references of a column with the outcome of their screening; `None` where it is to be done anew.
    fn screened(&self, column: usize, all: &[Reference], norm: &Whole) -> Option<&ScreenedSet> {
        let tipping = norm.tipping.as_ref()?;
        Some(self.screened[column].get_or_init(|| {
            let of_aside = tipping.iter().filter(|of| of.is_aside());
            let place = |of: &Tipping| all.iter().position(|r| r.row() == of.row as usize);
            let aside: Vec<usize> = of_aside.filter_map(place).collect();
            ScreenedSet::new(all, aside, norm.predictive.sums(), &norm.prior)
        }))
    }

    fn standard(&self) -> &Standard {
        &self.glance.standards[self.group]
    }

    /// The t that a typical range reaches to: that of the norm of all references, or of one without
    /// the piece.
    fn t_coverage(&self, suspect: &Suspect, of: &Candidate) -> f64 {
        let work_out = || {
            let tail = (1.0 - self.glance.settings.coverage()) / 2.0;
            t_upper_quantile(tail, of.df)
        };
        match suspect.chosen {
            true => work_out(),
            false => *self.t_coverage[of.position].get_or_init(work_out),
        }
    }

    fn flag(&self, suspect: &Suspect, of: &Candidate, p_adjusted: f64) -> Flag {
        let table = self.glance.evidence.cohort().table();
        let column = &table.columns[of.position];
        let kind = table.dimension(column).kind;
        let half_width = self.t_coverage(suspect, of) * of.standpoint.variance.sqrt();
        Flag {
            row: suspect.row as usize,
            dimension: column.dimension,
            value: of.value,
            centre: from_scale(kind, of.centre),
            typical: Band::about(kind, of.centre, half_width),
            score: of.standpoint.z,
            p: of.standpoint.p,
            p_adjusted,
            look_first: false,
        }
    }
}

/// A piece's own reading, in the unit and on the scale of judgement.
#[derive(Clone, Copy)]
struct Own {
    row: usize,
    value: f64,
    rated: Rated,
}

/// A reading whose p is alpha or less.
struct Candidate {
    /// Its place among the piece's judged readings, and its column.
    place: usize,
    position: usize,
    value: f64,
    /// Centre and degrees of freedom of its norm.
    centre: f64,
    df: f64,
    standpoint: Standpoint,
}

/// Room for the readings of most pieces.
const USUAL: usize = 16;
/// With fewer sets that tell the period share, references are judged exactly.
const STEADY_SHARE: usize = 100;
/// The same for a set that must tell the period share by itself.
const STEADY_SET: usize = 50;
/// References of a period of so few, or of less weight, are judged exactly where some of their siblings may
/// be set aside once one of them is left out, or come back: the period's centre moves far.
const FEW_OF_PERIOD: f64 = 8.0;

/// Rounding must not hide a reading that stands exactly at a limit.
const ROUNDING: f64 = 1.0 - 1e-9;

/// The limits of one norm by period, at the critical t of a suspicion and that of alpha itself.
struct Bands {
    /// Period by period, for a piece that is no reference, then for a reference.
    limits: Vec<[Limit; 2]>,
    /// See [`Whole`].
    tipping: Option<Vec<Tipping>>,
}

impl Bands {
    fn new(
        evidence: &Evidence<'_>,
        column: usize,
        basis: &Basis,
        periods: &[Option<u32>],
        quantiles: &mut Quantiles,
    ) -> Bands {
        let table = evidence.cohort().table();
        let of = &table.columns[column];
        let Some(norm) = &basis.predictive else {
            return Bands {
                limits: [[UNJUDGED; 2], [SUSPECT; 2]]
                    .map(|bands| bands.map(Limit::within))
                    .repeat(periods.len()),
                tipping: None,
            };
        };
        let Dimension { kind, credible, .. } = *table.dimension(of);
        let credible = credible.map(|(low, high)| Band { low, high });
        let alike = matches!(of.uncertainty, Uncertainty::Step(_));
        // Where few sets tell the period share, one piece less may move it far.
        let steady = match evidence.borrowing().nothing {
            true => basis.kept.len() >= STEADY_SET,
            false => evidence.telling() >= STEADY_SHARE,
        };
        let stages = match alike && steady && basis.prior.df.is_finite() {
            true => Without::stages(basis, quantiles),
            false => None,
        };
        let tipping = stages.is_some().then(|| tipping(basis));
        let reach = quantiles
            .upper(norm.df())
            .map(|critical| critical * norm.spread() * ROUNDING);
        let mut of_period = |&period: &Option<u32>| {
            let alone = alone(basis, period).map(|norm| {
                let (centre, h0) = norm.sums().expected(None);
                let slack = 1.0 - 4.0 / basis.kept.len().max(4) as f64;
                let reach = norm.spread() * h0.sqrt() * ROUNDING * slack;
                let of_tail = |critical: f64| Band::about(kind, centre, critical * reach);
                quantiles.upper(norm.df()).map(of_tail)
            });
            let (centre, h0) = norm.sums().expected(period);
            let other = reach.map(|reach| Band::about(kind, centre, reach * h0.sqrt()));
            let holds = tipping.iter().flatten().all(|of| of.period != period);
            let own = [0, 1].map(|tail| {
                let of_stages = stages.iter().flatten();
                let bands = of_stages.map(|stage| stage.band(kind, period, holds, tail));
                // A reading that is not credible is no reference.
                let band = bands.reduce(narrowest).unwrap_or(SUSPECT);
                let band = alone.map_or(band, |alone| narrowest(band, alone[tail]));
                credible.map_or(band, |credible| narrowest(band, credible))
            });
            [other, own].map(|bands| bands.map(Limit::within))
        };
        Bands {
            limits: periods.iter().flat_map(&mut of_period).collect(),
            tipping,
        }
    }
}

/// The references that may tip the screening of a norm.
fn tipping(basis: &Basis) -> Vec<Tipping> {
    let of_kept = |at: &usize, why| Tipping::new(basis.kept[*at], why);
    let near = basis.near.iter().map(|at| of_kept(at, Why::Near));
    let aside = basis.set_aside.iter().map(|aside| {
        let why = if aside.by_far {
            Why::Aside
        } else {
            Why::Doubtful
        };
        Tipping::new(aside.reference, why)
    });
    let sums = basis.predictive.as_ref().map(Predictive::sums);
    let loose = sums.map_or(Vec::new(), |sums| loose(&basis.kept, sums, &basis.prior));
    let loose = loose.iter().map(|at| of_kept(at, Why::Loose));
    near.chain(aside).chain(loose).collect()
}

impl Tipping {
    fn new(reference: Reference, why: Why) -> Tipping {
        Tipping {
            row: reference.row() as u32,
            period: reference.rated().period,
            why,
        }
    }

    /// Whether it does not stay.
    fn is_aside(&self) -> bool {
        matches!(self.why, Why::Aside | Why::Doubtful)
    }
}

/// The norm for a piece of a period whose other pieces are all set aside: two strays of one period
/// vouch for each other, and each by itself is as far off as ever. `None` where it has no others,
/// or more than the screening sets aside.
fn alone(basis: &Basis, period: Option<u32>) -> Option<Predictive> {
    let sums = basis.predictive.as_ref()?.sums();
    let own = sums.period(period)?;
    let all = basis.kept.len() + basis.set_aside.len();
    let may_go = own.n > 1 && 2 * (own.n - 1) < all;
    let others = sums.without_period(period?).filter(|_| may_go)?;
    Predictive::from_sums(others, &basis.prior)
}

/// What is inside both bands.
fn narrowest(a: Band, b: Band) -> Band {
    Band {
        low: a.low.max(b.low),
        high: a.high.min(b.high),
    }
}

/// A norm without one of its references.
struct Without {
    sums: TwoLevel,
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

impl Without {
    /// The norm as it is; and where leaving a reference out may tip the balance of the screening,
    /// the norms of what is then left, one reference after the other set aside: two that hide each
    /// other both go. `None` where references are to be judged exactly.
    fn stages(basis: &Basis, quantiles: &mut Quantiles) -> Option<Vec<Without>> {
        let mut stages = vec![Without::new(basis, quantiles)?];
        let mut next = basis.near.first().map(|&next| (basis.kept.clone(), next));
        while let Some((mut kept, last)) = next {
            kept.remove(last);
            let left = Basis::new(kept, basis.prior);
            stages.push(Without::new(&left, quantiles)?);
            next = left.near.first().map(|&next| (left.kept, next));
        }
        Some(stages)
    }

    fn new(basis: &Basis, quantiles: &mut Quantiles) -> Option<Without> {
        /// Norms of fewer references change too much when one is left out.
        const MANY: usize = 12;
        let sums = basis.predictive.as_ref()?.sums();
        if sums.n < MANY {
            return None;
        }
        let n = sums.n as f64;
        let share = (1.0 + sums.mean_r).powi(-2);
        let df = basis.prior.df;
        let borrowed = if df > 0.0 {
            df * basis.prior.variance
        } else {
            0.0
        };
        let nu = df + share * (n - 2.0);
        Some(Without {
            critical: quantiles.upper(nu),
            nu,
            squares: borrowed + share * sums.q,
            share,
            weight: 1.0 / (1.0 + sums.mean_r),
            slack: 1.0 - 4.0 / n,
            sums: sums.clone(),
        })
    }

    /// The readings of a period that are inside the critical t when left out of the norm. For the
    /// residual e of such a reading (see [`TwoLevel`]), |T| > c is
    /// e^2 / P (nu + c^2 w) > c^2 nu s^2.
    fn band(&self, kind: Kind, period: Option<u32>, holds: bool, tail: usize) -> Band {
        let few = |of: &&PeriodSums| self.sums.lambda > 0.0 && of.weight <= FEW_OF_PERIOD;
        let of_period = self.sums.period(period);
        let Some(of) = of_period.filter(|of| holds || !few(of)) else {
            return SUSPECT;
        };
        let (sums, weight, c) = (&self.sums, self.weight, self.critical[tail]);
        let apart = 1.0 / (1.0 + sums.lambda * of.weight);
        let own = weight * apart;
        let p = weight - weight * own * sums.lambda - sums.v * own * own;
        let square = c * c * p * self.squares / (self.nu + c * c * self.share);
        let centre = of.mean - (of.mean - sums.mu) * apart;
        Band::about(kind, centre, square.sqrt() / weight * self.slack)
    }
}

/// Upper t quantiles at two tail probabilities, a little too small, so that norms of nearly the
/// same degrees of freedom share them.
struct Quantiles {
    tails: [f64; 2],
    known: HashMap<u64, [f64; 2]>,
}

impl Quantiles {
    fn upper(&mut self, df: f64) -> [f64; 2] {
        /// All but the first eight binary digits.
        const REST: u64 = (1 << 45) - 1;
        let tails = self.tails;
        // Upwards: the quantile falls with the degrees of freedom.
        let bits = df.to_bits().saturating_add(REST) & !REST;
        *self
            .known
            .entry(bits)
            .or_insert_with(|| tails.map(|tail| t_upper_quantile(tail, f64::from_bits(bits))))
    }
}
