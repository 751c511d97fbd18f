//! The self-check: how often would the verdicts of this very collection be wrong?
//!
//! Invented collections are drawn that have the real one's patterns, numbers of pieces, periods and
//! reading errors, and whose spreads follow the fitted model. Each is judged as the real one would
//! be; since the truth of each is known, false flags, found faults and the contents of bands can be
//! counted. What the model leaves out (heavy tails, hidden strays) is left out here as well.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};

use crate::norm::{Evidence, Loan, Settings, is_fine};
use crate::parallel;
use crate::stats::{
    Predictive, Prior, Rated, ShareEvidence, StatsError, chi_square_quantile, holm, median,
    normal_cdf, normal_quantile, screen, two_sided_factor,
};

/// How much to simulate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Plan {
    /// Invented collections.
    pub worlds: usize,
    /// The same seed gives the same numbers.
    pub seed: u64,
}

/// The faults whose chance of being noticed is counted, in standard deviations of good pieces.
pub const FAULTS: [f64; 4] = [1.0, 2.0, 3.0, 4.0];

/// The rates of one pattern.
#[derive(Clone, Debug, PartialEq)]
pub struct PatternRates {
    /// Its number in the cohort.
    pub group: usize,
    /// Dimensions that were simulated.
    pub dimensions: usize,
    /// Least and greatest number of references of a dimension.
    pub references: (usize, usize),
    /// Share of a good piece's dimensions whose p is alpha or less.
    pub unusual: Rate,
    /// Share of good pieces with any dimension out of norm.
    pub out_of_norm: Rate,
    /// Share of dimensions with a fault of [`FAULTS`] whose p is alpha or less.
    pub noticed: [Rate; FAULTS.len()],
    /// Share of further good readings within the typical range.
    pub typical: Rate,
    /// Share of tolerance bands that hold as much of the good pieces as they say.
    pub tolerance: Rate,
    /// Share of dimensions for which silence means nothing.
    pub undecided: Rate,
}

/// A share, and the standard error with which the simulation knows it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rate {
    /// The share.
    pub value: f64,
    /// Its standard error over worlds.
    pub error: f64,
}

/// Shares of one world, added up over worlds: as many as [`PatternRates`] has rates.
const KINDS: usize = 5 + FAULTS.len();

/// Sums of shares and of their squares.
#[derive(Clone, Copy, Default)]
struct Tally {
    worlds: f64,
    sums: [f64; KINDS],
    squares: [f64; KINDS],
}

impl Tally {
    fn add(&mut self, shares: &[f64; KINDS]) {
        self.worlds += 1.0;
        for ((sum, square), share) in self.sums.iter_mut().zip(&mut self.squares).zip(shares) {
            *sum += share;
            *square += share * share;
        }
    }

    fn merge(&mut self, other: &Tally) {
        self.worlds += other.worlds;
        for kind in 0..KINDS {
            self.sums[kind] += other.sums[kind];
            self.squares[kind] += other.squares[kind];
        }
    }

    fn rate(&self, kind: usize) -> Rate {
        let value = self.sums[kind] / self.worlds;
        let variance = (self.squares[kind] / self.worlds - value * value).max(0.0);
        let error = (variance / (self.worlds - 1.0).max(1.0)).sqrt();
        Rate { value, error }
    }
}

/// The truth that worlds are drawn from.
struct Truth<'e> {
    evidence: &'e Evidence<'e>,
    lambda: f64,
    /// By group, then column; `None` where the collection says nothing of the spread.
    sets: Vec<Vec<Option<Set>>>,
    /// The finish of each column, for those of a colour.
    finishes: Vec<Option<&'e str>>,
}

/// One pattern's dimension.
struct Set {
    /// Typical spread of the dimension (squared), and how it differs between patterns.
    s2: f64,
    phi: f64,
    /// Standard uncertainty and period of each reference, and whether it is fine.
    references: Vec<(f64, Option<u32>, bool)>,
    /// Standard uncertainty of a usual new reading.
    usual: f64,
}

/// The rates of some patterns, in the order of `groups`. `done` is called after each world, from
/// any thread.
///
/// # Errors
/// [`StatsError`] for numbers beyond what an `f64` can describe.
pub fn rates(
    evidence: &Evidence<'_>,
    groups: &[usize],
    settings: &Settings,
    plan: Plan,
    done: impl Fn() + Sync,
) -> Result<Vec<PatternRates>, StatsError> {
    /// Worlds are added up in blocks of a fixed size, so that sums do not depend on threads.
    const BLOCK: usize = 4;
    let truth = Truth::new(evidence);
    let blocks = parallel::map(plan.worlds.div_ceil(BLOCK), |block| {
        let mut tallies = vec![Tally::default(); groups.len()];
        for world in block * BLOCK..plan.worlds.min((block + 1) * BLOCK) {
            let mut draw = Draw::new(plan.seed, world);
            truth.judge_one_world(groups, settings, world, &mut draw, &mut tallies)?;
            done();
        }
        Ok(tallies)
    });
    let mut tallies = vec![Tally::default(); groups.len()];
    for block in blocks {
        for (all, some) in tallies.iter_mut().zip(block?) {
            all.merge(&some);
        }
    }
    let of = |(&group, tally): (&usize, &Tally)| {
        let sizes = || {
            let sets = truth.sets[group].iter().flatten();
            sets.map(|set| set.references.len()).filter(|&n| n > 0)
        };
        PatternRates {
            group,
            dimensions: sizes().count(),
            references: (sizes().min().unwrap_or(0), sizes().max().unwrap_or(0)),
            unusual: tally.rate(0),
            out_of_norm: tally.rate(1),
            typical: tally.rate(2),
            tolerance: tally.rate(3),
            undecided: tally.rate(4),
            noticed: std::array::from_fn(|fault| tally.rate(5 + fault)),
        }
    };
    Ok(groups.iter().zip(&tallies).map(of).collect())
}

impl<'e> Truth<'e> {
    fn new(evidence: &'e Evidence<'e>) -> Truth<'e> {
        let cohort = evidence.cohort();
        let table = cohort.table();
        let share = evidence.collection_share();
        let sets = evidence
            .usual_spreads()
            .into_iter()
            .enumerate()
            .map(|(group, spreads)| {
                let of_column = |(column, loan): (usize, Option<Loan>)| {
                    let Loan { phi, spread } = loan?;
                    let of = &table.columns[column];
                    let references: Vec<_> = evidence
                        .references(column, group, &[])
                        .iter()
                        .map(|r| (r.rated().u, r.rated().period, is_fine(cohort, of, r.row())))
                        .collect();
                    let uncertainties: Vec<f64> = references.iter().map(|r| r.0).collect();
                    Some(Set {
                        s2: spread.s2,
                        phi,
                        usual: median(&uncertainties).unwrap_or(0.0),
                        references,
                    })
                };
                spreads.into_iter().enumerate().map(of_column).collect()
            })
            .collect();
        Truth {
            evidence,
            lambda: share.lambda(),
            sets,
            finishes: table.columns.iter().map(|c| c.finish.as_deref()).collect(),
        }
    }

    /// The finish of a pattern's new piece: a piece has one, and each has its turn.
    fn finish_of(&self, group: usize, world: usize) -> Option<&'e str> {
        let mut finishes: Vec<&str> = Vec::new();
        for (set, finish) in self.sets[group].iter().zip(&self.finishes) {
            let speaks = set.as_ref().is_some_and(|set| !set.references.is_empty());
            if let Some(finish) = finish.filter(|finish| speaks && !finishes.contains(finish)) {
                finishes.push(finish);
            }
        }
        finishes.get(world % finishes.len().max(1)).copied()
    }

    fn judge_one_world(
        &self,
        groups: &[usize],
        settings: &Settings,
        world: usize,
        draw: &mut Draw,
        tallies: &mut [Tally],
    ) -> Result<(), StatsError> {
        let world_sets: Vec<Vec<Drawn>> = self
            .sets
            .iter()
            .map(|of| {
                of.iter()
                    .map(|set| draw.set(set.as_ref(), self.lambda))
                    .collect()
            })
            .collect();
        let shares: Vec<ShareEvidence> = world_sets.iter().map(|of| share_of(of)).collect();
        let mut all = ShareEvidence::default();
        shares.iter().for_each(|share| all.add(share));
        let alone = self.evidence.borrowing().nothing;
        let lenders = self.evidence.lenders();
        let columns = self.sets.first().map_or(0, Vec::len);
        let dimensions = (0..columns).map(|column| match alone {
            true => lenders.dimensions(|_| &[]),
            false => lenders.dimensions(|group| &world_sets[group][column].fine),
        });
        let lendings = lenders.gather(dimensions.collect());
        let loans = lenders.lend_each(&lendings, all.share().lambda());
        for (&group, tally) in groups.iter().zip(tallies) {
            let lambda = match alone {
                true => shares[group].share().lambda(),
                false => all.share().lambda(),
            };
            let priors: Vec<Prior> = (0..self.sets[group].len())
                .map(|column| {
                    let lent = loans[group][column].map(|loan| loan.spread);
                    self.evidence.prior(column, lent, lambda)
                })
                .collect();
            let worn = self.finish_of(group, world);
            let has = |column: &usize| match self.finishes[*column] {
                None => true,
                finish => finish == worn,
            };
            let columns = (0..self.sets[group].len()).filter(has);
            let of_piece =
                columns.map(|c| (&self.sets[group][c], &world_sets[group][c], &priors[c]));
            let piece = Judged::new(of_piece, self.lambda);
            if let Some(shares) = piece.shares(settings, world, draw)? {
                tally.add(&shares);
            }
        }
        Ok(())
    }
}

fn share_of(sets: &[Drawn]) -> ShareEvidence {
    let mut share = ShareEvidence::default();
    sets.iter()
        .for_each(|set| share.add(&ShareEvidence::of(&set.fine)));
    share
}

/// A drawn set of references, its true spread within a period, and those that are fine.
#[derive(Default)]
struct Drawn {
    sigma: f64,
    references: Vec<Rated>,
    fine: Vec<Rated>,
}

/// The dimensions of one pattern that can be judged in one world.
struct Judged {
    lambda: f64,
    /// True spread within a period, usual uncertainty, norm, whether silence means something.
    norms: Vec<(f64, f64, Predictive, bool)>,
}

impl Judged {
    fn new<'s>(
        sets: impl Iterator<Item = (&'s Option<Set>, &'s Drawn, &'s Prior)>,
        lambda: f64,
    ) -> Judged {
        let norm = |(set, drawn, prior): (&Option<Set>, &Drawn, &Prior)| {
            let usual = set.as_ref()?.usual;
            let screened = screen(&drawn.references, prior);
            let disagree = screened.disagree;
            let norm = screened.predictive(prior)?;
            let tells = norm.is_sharp(usual) && !disagree;
            Some((drawn.sigma, usual, norm, tells))
        };
        Judged {
            lambda,
            norms: sets.filter_map(norm).collect(),
        }
    }

    /// The shares of [`Tally`]; `None` where nothing can be judged.
    fn shares(
        &self,
        settings: &Settings,
        world: usize,
        draw: &mut Draw,
    ) -> Result<Option<[f64; KINDS]>, StatsError> {
        if self.norms.is_empty() {
            return Ok(None);
        }
        let alpha = settings.alpha();
        let mut p = Vec::with_capacity(self.norms.len());
        let mut counts = [0.0; KINDS];
        for (sigma, usual, norm, tells) in &self.norms {
            let total = sigma * (1.0 + self.lambda).sqrt();
            // A good piece of a period of its own.
            let y = total * draw.normal() + draw.error(*usual);
            let at = norm.judge(y, *usual);
            p.push(at.p);
            counts[0] += f64::from(at.p <= alpha);
            let half = norm.half_width(at.variance, settings.coverage());
            counts[2] += f64::from(at.deviation.abs() <= half);
            counts[4] += f64::from(!tells);
            for (fault, count) in FAULTS.iter().zip(&mut counts[5..]) {
                let p = norm.judge(y + fault * total, *usual).p;
                *count += f64::from(p <= alpha);
            }
        }
        let m = self.norms.len() as f64;
        counts.iter_mut().for_each(|count| *count /= m);
        counts[1] = f64::from(holm(&p).iter().any(|&p| p <= alpha));
        // The exact factor costs more than all the rest: one dimension a world.
        let (sigma, _, norm, _) = &self.norms[world % self.norms.len()];
        let k = two_sided_factor(settings.tolerance(), norm.df(), norm.n_effective())?;
        let total = sigma * (1.0 + self.lambda).sqrt();
        let half = k * norm.total_spread();
        let content =
            normal_cdf((norm.centre() + half) / total) - normal_cdf((norm.centre() - half) / total);
        counts[3] = f64::from(content >= settings.coverage());
        Ok(Some(counts))
    }
}

/// Random numbers of one world.
struct Draw(Xoshiro256PlusPlus);

impl Draw {
    fn new(seed: u64, world: usize) -> Draw {
        // An odd multiplier (the golden ratio's) keeps the worlds' seeds apart.
        let apart = (world as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        Draw(Xoshiro256PlusPlus::seed_from_u64(seed ^ apart))
    }

    /// Strictly between 0 and 1: the middle of one of 2^53 cells.
    fn uniform(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }

    /// A reading error: rectangular, as rounding makes it.
    fn error(&mut self, u: f64) -> f64 {
        u * 12f64.sqrt() * (self.uniform() - 0.5)
    }

    fn set(&mut self, set: Option<&Set>, lambda: f64) -> Drawn {
        let Some(set) = set else {
            return Drawn::default();
        };
        let d0 = 1.0 / set.phi;
        let sigma = (set.s2 * d0 / chi_square_quantile(self.uniform(), d0)).sqrt();
        let between = sigma * lambda.sqrt();
        let mut effects: Vec<(u32, f64)> = Vec::new();
        let mut drawn = Drawn {
            sigma,
            ..Drawn::default()
        };
        for &(u, period, is_fine) in &set.references {
            let known = effects.iter().find(|(label, _)| Some(*label) == period);
            let effect = match (known, period) {
                (Some((_, effect)), _) => *effect,
                (None, None) => between * self.normal(),
                (None, Some(label)) => {
                    let effect = between * self.normal();
                    effects.push((label, effect));
                    effect
                }
            };
            let x = effect + sigma * self.normal() + self.error(u);
            let rated = Rated { x, u, period };
            drawn.references.push(rated);
            if is_fine {
                drawn.fine.push(rated);
            }
        }
        drawn
    }
}
