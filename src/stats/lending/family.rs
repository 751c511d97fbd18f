//! The fit of a family of dimensions from readings: rounds in which reading errors and borrowed
//! spread are made to agree.

use super::curves::Curves;
use super::readings::Readings;
use super::variances::{Freedoms, Scaled, phi_at, whole};
use crate::parallel::each;
use crate::stats::borrowed::BorrowedSpread;
use crate::stats::period_share::{GRID, posterior_mean};
use crate::stats::two_level::Rated;

/// Rounds in which reading errors and borrowed spread are made to agree.
pub(super) const ROUNDS: usize = 10;

/// Relative change of a spread that counts as none.
const NO_CHANGE: f64 = 1e-14;

/// Relative error variances up to this hardly change what the grid points say.
const SMALL_ERRORS: f64 = 0.03;

/// A grid point whose log posterior lies this far below the best counts for nothing: it weighs
/// less than the last digit.
pub(super) const FAR: f64 = 40.0;

/// The readings of a family of dimensions.
#[derive(Clone, Debug)]
pub(in crate::stats) struct Family {
    pub(super) patterns: usize,
    /// Readings.
    count: usize,
    pub(super) readings: Vec<Readings>,
    pub(super) freedoms: Vec<Freedoms>,
}

/// The rounds of a fit.
#[derive(Debug)]
pub(in crate::stats) struct Fit<'a> {
    pub(super) workers: Vec<Worker<'a>>,
    /// The last one only, unless all were wanted.
    pub(super) rounds: Vec<Round>,
    /// The largest relative change that another round would have begun with.
    pub(super) change: f64,
}

/// One round.
#[derive(Clone, Debug)]
pub(in crate::stats) struct Round {
    /// `1 / s0^2` that the reading errors were related to; 0 for no errors.
    pub(super) a: Vec<f64>,
    /// The units of the variances; `None` where there is no spread.
    pub(super) unit: Vec<Option<f64>>,
    /// The least and the largest variance of a set, over the unit.
    pub(super) range: Vec<(f64, f64)>,
    /// Per dimension, `ln(s0^2 / unit)` at the grid points of `phi` and at `phi`.
    pub(super) roots: Vec<[f64; GRID]>,
    pub(super) root: Vec<f64>,
    /// At the grid points, without what it owes to the unit of the readings.
    pub(super) relative: [f64; GRID],
    /// At the grid points.
    pub(in crate::stats) log_likelihood: [f64; GRID],
    pub(in crate::stats) phi: f64,
    pub(in crate::stats) spreads: Vec<Option<BorrowedSpread>>,
}

/// One dimension at work.
#[derive(Debug)]
pub(super) struct Worker<'a> {
    pub(super) curves: Curves<'a>,
    freedoms: Freedoms,
    pub(super) a: f64,
    scaled: Option<Scaled>,
    roots: [f64; GRID],
    root: f64,
}

/// `max(Q / (n - 1), mean(u^2) / (1 + mean r))`: readings rounded alike may agree by chance, so not
/// less than their error allows.
pub(super) fn variance(quotient: f64, mean_v: f64, a: f64) -> f64 {
    quotient.max(mean_v / (1.0 + a * mean_v))
}

/// `1 / s0^2`, kept a number.
pub(super) fn inverse(s2: f64) -> f64 {
    (1.0 / s2).min(1e300)
}

impl Family {
    /// `sets[dimension][pattern]`.
    pub(in crate::stats) fn new(sets: &[Vec<&[Rated]>]) -> Family {
        let patterns = sets.iter().map(Vec::len).max().unwrap_or(0);
        let count: usize = sets.iter().flatten().map(|set| set.len()).sum();
        let mut numbers: Vec<usize> = (0..sets.len()).collect();
        let read = |_, &mut d: &mut usize| Readings::new(&sets[d], patterns);
        Family::of(each(&mut numbers, 4 * count, read))
    }

    /// From readings that are in order already, those of all dimensions of the same patterns.
    pub(super) fn of(readings: Vec<Readings>) -> Family {
        let sizes = readings
            .iter()
            .flat_map(|r| &r.df)
            .map(|df| *df as usize + 1);
        Family {
            patterns: readings.first().map_or(0, |r| r.df.len()),
            count: sizes.sum(),
            freedoms: readings
                .iter()
                .map(|r| Freedoms::new(r.df.clone()))
                .collect(),
            readings,
        }
    }

    /// Fits all patterns, or all but one.
    pub(in crate::stats) fn fit(
        &self,
        lambda: f64,
        without: Option<usize>,
        keep_rounds: bool,
    ) -> Fit<'_> {
        let mut fit = Fit::new(self, lambda, without);
        if !fit.run(self, keep_rounds, true) {
            // A grid point that had been dropped came back: all of them, then.
            fit = Fit::new(self, lambda, without);
            fit.run(self, keep_rounds, false);
        }
        fit
    }

    /// Work that one look at every variance is, in steps of a few nanoseconds.
    pub(super) fn steps(&self) -> usize {
        self.readings.len() * self.patterns * GRID
    }
}

impl<'a> Fit<'a> {
    fn new(family: &'a Family, lambda: f64, without: Option<usize>) -> Self {
        let workers = family
            .readings
            .iter()
            .zip(&family.freedoms)
            .map(|(readings, freedoms)| Worker {
                curves: Curves::new(readings, lambda),
                freedoms: match without {
                    Some(pattern) => freedoms.without(pattern),
                    None => freedoms.clone(),
                },
                a: 0.0,
                scaled: None,
                roots: [f64::NAN; GRID],
                root: 0.0,
            })
            .collect();
        Fit {
            workers,
            rounds: Vec::new(),
            change: 0.0,
        }
    }

    pub(in crate::stats) fn last(&self) -> &Round {
        &self.rounds[self.rounds.len() - 1]
    }

    /// Whether the grid points that were dropped on the way counted for nothing in the end.
    fn run(&mut self, family: &Family, keep_rounds: bool, drop_points: bool) -> bool {
        let mut wanted = [true; GRID];
        let mut gaps_before: Option<[f64; GRID]> = None;
        for number in 1..=ROUNDS {
            let round = self.round(family, &wanted);
            if !keep_rounds {
                self.rounds.clear();
            }
            let gaps = gaps(&round.relative);
            self.rounds.push(round);
            self.change = self.take_over();
            if number == ROUNDS || self.change <= NO_CHANGE {
                break;
            }
            let errors = if number == 1 { self.errors() } else { 0.0 };
            if drop_points {
                // Rounds to come change the gaps by less and less. The second, which is the first
                // to heed reading errors, leaves half of them where the errors are small.
                let least = |j: usize| match gaps_before {
                    Some(before) => gaps[j] - 4.0 * (gaps[j] - before[j]).abs(),
                    None if errors <= SMALL_ERRORS => 0.5 * gaps[j],
                    None => 0.0,
                };
                let least = std::array::from_fn(|j| least(j) - 10.0);
                let nothing = self.count_for_nothing(family, &least, keep_rounds);
                for (wanted, nothing) in wanted.iter_mut().zip(nothing) {
                    *wanted &= !nothing;
                }
            }
            gaps_before = Some(gaps);
        }
        if wanted == [true; GRID] {
            return true;
        }
        let dropped = wanted.map(|wanted| !wanted);
        let (relative, roots) = self.grid(family, &dropped);
        let last = self.rounds.len() - 1;
        let round = &mut self.rounds[last];
        let offset: f64 = round.log_likelihood[first(&wanted)] - round.relative[first(&wanted)];
        for j in (0..GRID).filter(|&j| dropped[j]) {
            round.relative[j] = relative[j];
            round.log_likelihood[j] = relative[j] + offset;
            for (kept, roots) in round.roots.iter_mut().zip(&roots) {
                kept[j] = roots[j];
            }
        }
        let gaps = gaps(&round.relative);
        let nothing = self.count_for_nothing(family, &gaps, keep_rounds);
        wanted
            .iter()
            .zip(nothing)
            .all(|(&wanted, nothing)| wanted || nothing)
    }

    /// The largest mean relative error variance of a dimension, as the next round will see it.
    fn errors(&self) -> f64 {
        let of = |worker: &Worker| worker.a * worker.curves.readings.pooled_v();
        self.workers.iter().map(of).fold(0.0, f64::max)
    }

    /// Whether the grid points, each so far below the best, count for nothing; `for_each`: not for any fit
    /// without one pattern either.
    fn count_for_nothing(&self, family: &Family, gaps: &[f64; GRID], for_each: bool) -> Vec<bool> {
        let last = self.last();
        let steps = if for_each { family.steps() } else { 0 };
        each(&mut { *gaps }, steps, |j, &mut gap| {
            gap > FAR && (!for_each || gap > FAR + last.sway(family, j))
        })
    }

    fn round(&mut self, family: &Family, wanted: &[bool; GRID]) -> Round {
        // The first two rounds go through the readings.
        let steps = if self.workers.iter().any(|w| w.curves.is_new()) {
            4 * family.count
        } else {
            family.steps() / GRID
        };
        each(&mut self.workers, steps, |_, worker| worker.look());
        let (relative, roots) = self.grid(family, wanted);
        let phi = posterior_mean(&relative, phi_at);
        let near = ((phi / phi_at(0) - 1.0) / 2.0).round() as usize;
        let spreads = each(&mut self.workers, family.steps() / GRID, |_, worker| {
            let scaled = worker.scaled.as_ref()?;
            let start = worker.roots[near.min(GRID - 1)];
            let start = if start.is_nan() { worker.root } else { start };
            let (root, spread) = scaled.spread(&worker.freedoms, phi, start);
            worker.root = root;
            spread
        });
        let offset: f64 = self
            .workers
            .iter()
            .filter_map(|w| Some(w.scaled.as_ref()?.offset(&w.freedoms)))
            .sum();
        Round {
            a: self.workers.iter().map(|w| w.a).collect(),
            unit: self
                .workers
                .iter()
                .map(|w| Some(w.scaled.as_ref()?.unit))
                .collect(),
            range: self
                .workers
                .iter()
                .map(|w| {
                    w.scaled
                        .as_ref()
                        .map_or((1.0, 1.0), |s| s.range(&w.freedoms))
                })
                .collect(),
            roots,
            root: self.workers.iter().map(|w| w.root).collect(),
            log_likelihood: relative.map(|l| l + offset),
            relative,
            phi,
            spreads,
        }
    }

    /// The family's log likelihood and the dimensions' roots at the wanted grid points.
    fn grid(&mut self, family: &Family, wanted: &[bool; GRID]) -> ([f64; GRID], Vec<[f64; GRID]>) {
        let per_dimension = each(&mut self.workers, family.steps(), |_, worker| {
            let scaled = worker.scaled.as_ref()?;
            Some(scaled.over_grid(&worker.freedoms, &mut worker.roots, wanted))
        });
        let mut sum = wanted.map(|wanted| if wanted { 0.0 } else { f64::NEG_INFINITY });
        for one in per_dimension.into_iter().flatten() {
            for (sum, one) in sum.iter_mut().zip(one) {
                *sum += one;
            }
        }
        (sum, self.workers.iter().map(|w| w.roots).collect())
    }

    /// Gives the next round its `a`; answers the largest relative change that matters.
    fn take_over(&mut self) -> f64 {
        let Some(round) = self.rounds.last() else {
            return 0.0;
        };
        let mut change: f64 = 0.0;
        for (worker, spread) in self.workers.iter_mut().zip(&round.spreads) {
            let next = spread.map_or(0.0, |s| inverse(s.s2));
            if !worker.curves.readings.errorless {
                change = change.max((next - worker.a).abs() / next.max(worker.a).max(1e-300));
            }
            worker.a = next;
        }
        change
    }
}

impl Round {
    /// The most by which any one pattern's sets together tell grid point `j` from the best.
    pub(super) fn sway(&self, family: &Family, j: usize) -> f64 {
        let gaps = gaps(&self.relative);
        let best = gaps.iter().position(|&gap| gap == 0.0).unwrap_or(0);
        (0..self.range.len())
            .filter(|&d| j != best && self.unit[d].is_some())
            .map(|d| self.sway_of_dimension(&family.freedoms[d], d, j, best))
            .sum()
    }

    /// The difference of one set's log likelihoods is farthest from 0 for the least or the largest
    /// variance, or where it is about `s0^2`; and without the set another `s0^2` fits better.
    fn sway_of_dimension(&self, freedoms: &Freedoms, d: usize, j: usize, best: usize) -> f64 {
        let (least, most) = self.range[d];
        let mut differs: f64 = 0.0;
        let mut pull: f64 = 0.0;
        for (&(df, _), constants) in freedoms.distinct.iter().zip(&*freedoms.of_distinct) {
            for ratio in [least, self.roots[d][best].exp(), most] {
                let mut term = |j: usize| {
                    let (d0, root) = (1.0 / phi_at(j), self.roots[d][j]);
                    let q = df * ratio * (-root).exp();
                    pull = pull.max((whole(df, d0) * q / (d0 + q) - df).abs());
                    constants[j] - 0.5 * df * root - 0.5 * whole(df, d0) * (1.0 + q / d0).ln()
                };
                differs = differs.max((term(j) - term(best)).abs());
            }
        }
        let information = |j: usize| freedoms.information(1.0 / phi_at(j));
        1.0 + differs + 2.0 * pull * pull / information(j).min(information(best))
    }
}

impl Worker<'_> {
    /// Takes in the variances at `a`.
    fn look(&mut self) {
        let readings = self.curves.readings;
        let mut s2 = self.curves.at(self.a);
        for (s2, &mean_v) in s2.iter_mut().zip(&readings.mean_v) {
            *s2 = variance(*s2, mean_v, self.a);
        }
        self.scaled = Scaled::new(&self.freedoms, s2);
    }
}

/// How far below the best each is.
pub(super) fn gaps(log_likelihood: &[f64; GRID]) -> [f64; GRID] {
    let best = log_likelihood
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    log_likelihood.map(|l| best - l)
}

fn first(wanted: &[bool; GRID]) -> usize {
    wanted.iter().position(|&w| w).unwrap_or(0)
}
