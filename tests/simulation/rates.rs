//! How often the procedure flags, finds and stays silent, over many worlds.

use std::thread;

use calibriar::stats::{
    Predictive, Prior, Rated, ShareEvidence, borrowed_from_readings, holm, screen,
};

use super::world::{DIMENSIONS, Draw, Scenario, Set, Specimen, World};

/// What is counted, each as a share of a world's dimensions or, for `Any`, of its pieces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Measure {
    /// Good dimensions with p <= 0.05.
    Ff5,
    /// Good dimensions with p <= 0.005.
    Ff05,
    /// `Ff5` among the first half of the dimensions.
    Ff5First,
    /// `Ff5` among the second half.
    Ff5Second,
    /// Good pieces with any dimension out of norm (Holm's adjusted p <= 0.05).
    Any,
    /// Dimensions with p <= 0.05 when off by two true sd.
    Pow2,
    /// The same by four.
    Pow4,
    /// A lone fault of six sd in a piece that is good else, found out of norm.
    Out6,
    /// Dimensions whose norm is not sharp or whose references disagree.
    Nee,
    /// Mean sharpness.
    Sharpness,
}

impl Measure {
    /// What is judged in so many worlds: pieces, or their dimensions.
    pub(crate) fn units(self, worlds: usize) -> usize {
        match self {
            Measure::Any => worlds,
            Measure::Ff5First | Measure::Ff5Second => worlds * DIMENSIONS / 2,
            _ => worlds * DIMENSIONS,
        }
    }
}

const MEASURES: usize = Measure::Sharpness as usize + 1;

/// The measures of one world, or their means.
type Measured = [f64; MEASURES];

/// A mean over worlds and its Monte Carlo error. The world is the unit: the dimensions of one
/// share what was borrowed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Rate {
    pub(crate) mean: f64,
    /// Standard error of the mean.
    pub(crate) se: f64,
}

/// The rates of one scenario and number of references.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Rates {
    undated: [Rate; MEASURES],
    dated: [Rate; MEASURES],
    /// Period share as fitted.
    pub(crate) rho: Rate,
    /// `1 / d0` as fitted; `None` where there is nothing to borrow from.
    pub(crate) phi: Option<Rate>,
}

impl Rates {
    pub(crate) fn undated(&self, measure: Measure) -> Rate {
        self.undated[measure as usize]
    }

    pub(crate) fn dated(&self, measure: Measure) -> Rate {
        self.dated[measure as usize]
    }
}

struct Outcome {
    undated: Measured,
    dated: Measured,
    rho: f64,
    phi: Option<f64>,
}

/// Draws and judges `worlds` worlds, on all cores. Each world has a seed of its own and sums run
/// in their order, so the rates are the same on any number of threads.
pub(crate) fn rates(scenario: &Scenario, n: usize, worlds: usize, seed: u64) -> Rates {
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let share = worlds.div_ceil(threads).max(1);
    let first_seed = (seed * 1000 + n as u64) << 32;
    let outcomes: Vec<Outcome> = thread::scope(|scope| {
        let work: Vec<_> = (0..worlds)
            .step_by(share)
            .map(|from| {
                let some = from..worlds.min(from + share);
                let one = move |i| outcome(scenario, n, &mut Draw::seeded(first_seed + i as u64));
                scope.spawn(move || some.map(one).collect::<Vec<_>>())
            })
            .collect();
        // The panic of a thread goes on in this one.
        work.into_iter()
            .flat_map(|w| {
                w.join()
                    .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
            })
            .collect()
    });
    let all = |of: fn(&Outcome) -> &Measured| {
        std::array::from_fn(|m| rate(outcomes.iter().map(|o| of(o)[m])))
    };
    let phis: Option<Vec<f64>> = outcomes.iter().map(|o| o.phi).collect();
    Rates {
        undated: all(|o| &o.undated),
        dated: all(|o| &o.dated),
        rho: rate(outcomes.iter().map(|o| o.rho)),
        phi: phis.map(|phis| rate(phis.into_iter())),
    }
}

fn rate(values: impl Iterator<Item = f64> + Clone) -> Rate {
    let n = values.clone().count() as f64;
    let mean = values.clone().sum::<f64>() / n;
    let squares: f64 = values.map(|x| (x - mean).powi(2)).sum();
    Rate {
        mean,
        se: (squares / (n - 1.0) / n).sqrt(),
    }
}

/// The norm of one dimension of the target, for either specimen.
struct Norm {
    undated: Predictive,
    dated: Predictive,
    disagree: bool,
}

fn outcome(scenario: &Scenario, n: usize, draw: &mut Draw) -> Outcome {
    let world = scenario.draw(n, draw);
    let (rho, phi, priors) = known_beforehand(&world, scenario.untold_share);
    let norms: Vec<Option<Norm>> = world
        .target
        .iter()
        .zip(&priors)
        .map(|(set, prior)| norm(&set.readings, prior, world.period))
        .collect();
    Outcome {
        undated: measure(&norms, |n| &n.undated, &world.undated),
        dated: measure(&norms, |n| &n.dated, &world.dated),
        rho,
        phi,
    }
}

/// Period share, `phi`, and what is known of each dimension's spread from the other patterns.
fn known_beforehand(world: &World, untold_share: f64) -> (f64, Option<f64>, Vec<Prior>) {
    let alone = world.others.is_empty();
    let telling: Vec<&Set> = if alone {
        world.target.iter().collect()
    } else {
        world.others.iter().flatten().collect()
    };
    let mut said = ShareEvidence::default();
    for set in telling {
        said.add(&ShareEvidence::of(&set.readings));
    }
    let mut share = said.share();
    if said.telling() == 0 {
        share.rho = untold_share;
    }
    let lambda = share.lambda();
    if alone {
        return (share.rho, None, vec![Prior::none(lambda); DIMENSIONS]);
    }
    let of_dimension = |d: usize| {
        world
            .others
            .iter()
            .map(|g| g[d].readings.as_slice())
            .collect()
    };
    let lending: Vec<Vec<&[Rated]>> = (0..DIMENSIONS).map(of_dimension).collect();
    let borrowed = borrowed_from_readings(&lending, lambda);
    let priors = borrowed.dimensions.iter().map(|spread| match spread {
        Some(spread) => Prior {
            df: spread.df,
            variance: spread.s2,
            lambda,
        },
        None => Prior::none(lambda),
    });
    (share.rho, Some(borrowed.phi), priors.collect())
}

fn norm(readings: &[Rated], prior: &Prior, period: u32) -> Option<Norm> {
    // Screening needs a borrowed spread.
    let (kept, disagree) = if prior.df > 0.0 {
        let screened = screen(readings, prior);
        let kept: Vec<Rated> = screened.kept.iter().map(|&i| readings[i]).collect();
        (kept, screened.disagree)
    } else {
        (readings.to_vec(), false)
    };
    let undated = Predictive::new(&kept, prior)?;
    Some(Norm {
        dated: undated.clone().dated(Some(period)),
        undated,
        disagree,
    })
}

fn measure(
    norms: &[Option<Norm>],
    of: fn(&Norm) -> &Predictive,
    specimens: &[Specimen],
) -> Measured {
    const LEVEL: f64 = 0.05;
    // A dimension without a norm is not judged: p = 1 flags nothing.
    let p_if_off_by = |sds: f64| -> Vec<Option<f64>> {
        let judge = |(norm, s): (&Option<Norm>, &Specimen)| {
            norm.as_ref()
                .map(|norm| of(norm).judge(s.off_by(sds), s.u).p)
        };
        norms.iter().zip(specimens).map(judge).collect()
    };
    let share = |hits: usize, of: usize| hits as f64 / of as f64;
    let flagged = |p: &[Option<f64>], level: f64| {
        share(p.iter().flatten().filter(|&&p| p <= level).count(), p.len())
    };
    let good = p_if_off_by(0.0);
    let judged: Vec<f64> = good.iter().copied().flatten().collect();
    let out_of_norm = |p: &[f64]| -> Vec<bool> { holm(p).iter().map(|&p| p <= LEVEL).collect() };
    let lone: Vec<f64> = p_if_off_by(6.0).iter().copied().flatten().collect();
    let found_alone = (0..judged.len()).filter(|&d| {
        let mut p = judged.clone();
        p[d] = lone[d];
        out_of_norm(&p)[d]
    });
    let silent = norms.iter().zip(specimens).filter(|(norm, s)| {
        norm.as_ref()
            .is_none_or(|norm| norm.disagree || !of(norm).is_sharp(s.u))
    });
    let sharpness = norms
        .iter()
        .zip(specimens)
        .map(|(norm, s)| norm.as_ref().map_or(0.0, |norm| of(norm).sharpness(s.u)));
    let half = DIMENSIONS / 2;
    let mut measured = [0.0; MEASURES];
    let mut set = |measure: Measure, value: f64| measured[measure as usize] = value;
    set(Measure::Ff5, flagged(&good, LEVEL));
    set(Measure::Ff05, flagged(&good, LEVEL / 10.0));
    set(Measure::Ff5First, flagged(&good[..half], LEVEL));
    set(Measure::Ff5Second, flagged(&good[half..], LEVEL));
    set(
        Measure::Any,
        f64::from(u8::from(out_of_norm(&judged).contains(&true))),
    );
    set(Measure::Pow2, flagged(&p_if_off_by(2.0), LEVEL));
    set(Measure::Pow4, flagged(&p_if_off_by(4.0), LEVEL));
    set(Measure::Out6, share(found_alone.count(), DIMENSIONS));
    set(Measure::Nee, share(silent.count(), DIMENSIONS));
    set(
        Measure::Sharpness,
        sharpness.sum::<f64>() / DIMENSIONS as f64,
    );
    measured
}
