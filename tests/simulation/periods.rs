//! How often periods that do not differ are told apart, and how often a shift is seen.
//!
//! World: 8 or 2 patterns of one maker, 12 independent dimensions, readings without error, three good
//! periods of n pieces each and one other of n; `sigma^2 = 8 / chi2(8)` a pattern and dimension,
//! periods about the pattern's centre with variance `lambda sigma^2`. Period ratio and loans are fitted
//! to the good periods, each pattern lent to by the others, as the program does it.

use calibriar::stats::{
    Effect, Predictive, Prior, Rated, agreement, borrowed_from_readings, combined_p, departure,
    normal_upper_quantile, period_share, pooled, screen, spread_ratio,
};

use crate::common::draw::Draw;

const DIMENSIONS: usize = 12;
const D0: usize = 8;

/// One kind of world, and how it is judged.
#[derive(Clone, Copy, Debug)]
struct World {
    patterns: usize,
    /// Pieces a period.
    n: usize,
    lambda: f64,
    borrowing: bool,
    /// How far the other period is off, in true spreads.
    off: f64,
    /// How much wider its pieces spread.
    wider: f64,
    /// How much the shift differs between patterns, a standard deviation in true spreads.
    apart: f64,
}

/// What is counted: shares of p <= 0.05.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Measure {
    /// The other period's shift, by pattern and dimension.
    Shift,
    /// Its ratio of spreads.
    Spread,
    /// The good periods differ beyond their pieces' scatter.
    Differ,
    /// They differ beyond what is usual.
    Unusual,
    /// The shift of all patterns together, by dimension.
    PooledShift,
    /// The ratio of spreads likewise.
    PooledSpread,
    /// The good periods' differences likewise.
    PooledDiffer,
    /// Differences beyond what is usual likewise.
    PooledUnusual,
    /// The 95 % interval of the mean shift in spreads does not hold the true mean.
    ShiftMissed,
    /// That of the mean ratio of spreads likewise.
    SpreadMissed,
}

const MEASURES: [Measure; 10] = [
    Measure::Shift,
    Measure::Spread,
    Measure::Differ,
    Measure::Unusual,
    Measure::PooledShift,
    Measure::PooledSpread,
    Measure::PooledDiffer,
    Measure::PooledUnusual,
    Measure::ShiftMissed,
    Measure::SpreadMissed,
];

/// Shares of one world; nothing where nothing was told.
type Shares = [Option<f64>; 10];

fn judged(world: &World, draw: &mut Draw) -> Shares {
    let mut good: Vec<Vec<Vec<Rated>>> = vec![Vec::new(); world.patterns];
    let mut other: Vec<Vec<Vec<Rated>>> = vec![Vec::new(); world.patterns];
    for pattern in 0..world.patterns {
        for _ in 0..DIMENSIONS {
            let chi: f64 = (0..D0).map(|_| draw.normal().powi(2)).sum();
            let sigma = (D0 as f64 / chi).sqrt();
            let shifted = world.off + world.apart * draw.normal();
            let mut period = |label: u32, off: f64, wider: f64| -> Vec<Rated> {
                let effect = world.lambda.sqrt() * draw.normal() + off;
                let piece = |_| Rated {
                    x: sigma * (effect + wider * draw.normal()),
                    u: 0.0,
                    period: Some(label),
                };
                (0..world.n).map(piece).collect()
            };
            let set = (0..3).flat_map(|k| period(k, 0.0, 1.0)).collect();
            good[pattern].push(set);
            other[pattern].push(period(3, shifted, world.wider));
        }
    }
    let mut p: [Vec<f64>; 10] = Default::default();
    let all = period_share(good.iter().flatten().map(Vec::as_slice)).lambda();
    let (mut shifts, mut spreads) = (vec![Vec::new(); DIMENSIONS], vec![Vec::new(); DIMENSIONS]);
    let (mut differ, mut unusual) = (vec![Vec::new(); DIMENSIONS], vec![Vec::new(); DIMENSIONS]);
    for pattern in 0..world.patterns {
        let lent = world.borrowing.then(|| {
            let lenders = |d: usize| -> Vec<&[Rated]> {
                let others = (0..world.patterns).filter(|&g| g != pattern);
                others.map(|g| good[g][d].as_slice()).collect()
            };
            let sets: Vec<Vec<&[Rated]>> = (0..DIMENSIONS).map(lenders).collect();
            borrowed_from_readings(&sets, all)
        });
        let alone = || period_share(good[pattern].iter().map(Vec::as_slice)).lambda();
        let lambda = if world.borrowing { all } else { alone() };
        for d in 0..DIMENSIONS {
            let (set, own) = (&good[pattern][d], &other[pattern][d]);
            let prior = Prior::lent(lent.as_ref().and_then(|b| b.dimensions[d]), lambda);
            let norm: Option<Predictive> = screen(set, &prior).predictive(&prior);
            if let Some(found) = norm.as_ref().and_then(|norm| departure(norm, own, &prior)) {
                p[0].push(found.p);
                shifts[d].push(found.in_spreads());
            }
            if let Some(found) = norm
                .as_ref()
                .and_then(|norm| spread_ratio(norm, own, &prior))
            {
                p[1].push(found.test.p);
                spreads[d].push(Effect::of_ratio(&found.test));
            }
            if let Some(found) = agreement(set, &prior, 0.0) {
                p[2].push(found.test.p);
                differ[d].push(found.test.p);
            }
            if let Some(found) = agreement(set, &prior, lambda) {
                p[3].push(found.test.p);
                unusual[d].push(found.test.p);
            }
        }
    }
    for (at, effects, truth) in [(4, shifts, world.off), (5, spreads, world.wider.ln())] {
        for found in effects.iter().filter_map(|e| pooled(e).ok()) {
            let (low, high) = found.interval(0.95);
            p[at].push(found.p);
            p[at + 4].push(if low <= truth && truth <= high {
                1.0
            } else {
                0.0
            });
        }
    }
    p[6].extend(differ.iter().filter_map(|p| combined_p(p)));
    p[7].extend(unusual.iter().filter_map(|p| combined_p(p)));
    p.map(|p| {
        let small = p.iter().filter(|&&p| p <= 0.05).count();
        (!p.is_empty()).then(|| small as f64 / p.len() as f64)
    })
}

/// Mean share and its standard error, the world being the unit: what is borrowed is shared in it.
fn rates(world: &World, worlds: u64, seed: u64) -> [Option<(f64, f64)>; 10] {
    let threads = std::thread::available_parallelism().map_or(1, usize::from) as u64;
    let share = worlds.div_ceil(threads);
    let all: Vec<Shares> = std::thread::scope(|scope| {
        let parts: Vec<_> = (0..threads)
            .map(|t| {
                let some = (t * share)..worlds.min((t + 1) * share);
                let one = move |i| judged(world, &mut Draw::seeded((seed << 32) + i));
                scope.spawn(move || some.map(one).collect::<Vec<Shares>>())
            })
            .collect();
        parts.into_iter().flat_map(|p| p.join().unwrap()).collect()
    });
    std::array::from_fn(|m| {
        let told: Option<Vec<f64>> = all.iter().map(|s| s[m]).collect();
        let told = told?;
        let n = told.len() as f64;
        let mean = told.iter().sum::<f64>() / n;
        let squares: f64 = told.iter().map(|x| (x - mean).powi(2)).sum();
        Some((mean, (squares / (n - 1.0) / n).sqrt()))
    })
}

/// Figures of the long run below, by measure.
struct Stated {
    world: World,
    rates: [Option<f64>; 10],
}

include!("periods_stated.rs");

/// A few worlds of each kind again, by another seed: each rate is where the long run put it, at a
/// false-alarm rate of 1e-6 by the normal law of a mean over worlds.
#[test]
fn periods_that_do_not_differ_are_told_apart_as_often_as_stated() {
    for Stated { world, rates: want } in STATED {
        let worlds = 60;
        let found = rates(&world, worlds, 77);
        for ((measure, found), want) in MEASURES.iter().zip(found).zip(want) {
            let Some((want, (mean, error))) = want.zip(found) else {
                assert_eq!(want.is_some(), found.is_some(), "{world:?} {measure:?}");
                continue;
            };
            // No error is smaller than that of independent shares; the long run has its own, rounded.
            let units = match measure {
                Measure::Shift | Measure::Spread | Measure::Differ | Measure::Unusual => {
                    world.patterns * DIMENSIONS
                }
                _ => DIMENSIONS,
            };
            let least = (want * (1.0 - want) / (units as f64 * worlds as f64)).sqrt();
            let half = normal_upper_quantile(0.5e-6) * error.max(least) + 0.003;
            assert!(
                (mean - want).abs() <= half,
                "{world:?} {measure:?}: {mean:.4}, want {want} +- {half:.4}"
            );
        }
    }
}

/// `cargo test --release --test lib simulation::periods -- --ignored --nocapture` prints the figures of
/// `docs/periods.md` and of `periods_stated.rs`.
#[test]
#[ignore = "minutes"]
#[allow(clippy::print_stderr)]
fn figures() {
    for patterns in [8, 2] {
        let worlds = if patterns == 8 { 200 } else { 500 };
        for (n, borrowing) in [3, 1, 2, 6]
            .into_iter()
            .flat_map(|n| [(n, true), (n, false)])
        {
            for (lambda, off, wider, apart) in [
                (0.3, 0.0, 1.0, 0.0),
                (0.0, 0.0, 1.0, 0.0),
                (0.3, 1.0, 1.0, 0.0),
                (0.3, 2.0, 1.0, 0.0),
                (0.3, 0.0, 1.6, 0.0),
                (0.3, 0.0, 1.0, 1.0),
            ] {
                if (off > 0.0 || wider > 1.0 || apart > 0.0) && n != 3 {
                    continue;
                }
                let world = World {
                    patterns,
                    n,
                    lambda,
                    borrowing,
                    off,
                    wider,
                    apart,
                };
                let told = rates(&world, worlds, 1)
                    .map(|r| r.map_or("-".to_owned(), |(mean, se)| format!("{mean:.4} ({se:.4})")));
                eprintln!(
                    "{patterns} patterns n {n} borrowing {borrowing} lambda {lambda} off {off} wider {wider} \
                     apart {apart}: {}",
                    told.join(" ")
                );
            }
        }
    }
}
