//! What all patterns but one lend that one, for each in turn.
//!
//! # Method
//! All patterns are fitted first, and every round of that fit is kept. A fit without one pattern
//! goes through the same rounds a little off; how much off, `expansion` tells for one round and one
//! dimension. Where the rounds of all patterns have met, those without one pattern have too, and
//! only the last round is looked at, until it is met.

use super::curves::{chebyshev, lagrange};
use super::expansion::{Answer, Dimension, OwnPhi};
use super::family::{FAR, Family, ROUNDS, Round, gaps, inverse};
use super::variances::{Freedoms, information, phi_at};
use crate::parallel::{each, stretches};
use crate::stats::Loan;
use crate::stats::borrowed::BorrowedSpread;
use crate::stats::period_share::{GRID, posterior_mean};

/// Patterns from which the work in common pays.
const MANY: usize = 12;

/// Relative change of `a` that counts as none for all patterns together.
const MET: f64 = 1e-13;

/// Relative change of `a` that the fits without one pattern may leave.
const CLOSE: f64 = 1e-12;

/// Relative change of `a` that moves nothing else.
const SMALL: f64 = 1e-8;

/// The farthest that `phi` may move by interpolation, over its value.
const FAR_PHI: f64 = 0.3;

/// So many patterns are worth a thread's while.
const STRETCH: usize = 512;

/// The state of all fits without one pattern, between rounds.
struct Left {
    /// Per dimension and pattern.
    a: Vec<Vec<f64>>,
    phi: Vec<f64>,
    spreads: Vec<Vec<Option<BorrowedSpread>>>,
}

pub(super) fn without_each(family: &Family, lambda: f64) -> Vec<Loan> {
    let patterns = family.patterns;
    if patterns < MANY {
        let loan = |pattern| family.fit(lambda, Some(pattern), false).loan();
        return (0..patterns).map(loan).collect();
    }
    let mut fit = family.fit(lambda, None, true);
    let rounds = std::mem::take(&mut fit.rounds);
    let met = fit.change <= MET;
    let mut dimensions: Vec<Dimension> = fit
        .workers
        .into_iter()
        .zip(&family.freedoms)
        .map(|(worker, freedoms)| Dimension::new(worker.curves, freedoms))
        .collect();
    let mut left = Left {
        a: vec![vec![0.0; patterns]; dimensions.len()],
        phi: vec![0.0; patterns],
        spreads: vec![vec![None; patterns]; dimensions.len()],
    };
    let last = &rounds[rounds.len() - 1];
    let mut slow: Vec<usize> = (0..patterns).collect();
    if met && rounds.len() > 1 {
        let contraction = contractions(family, &rounds);
        for (own, &a) in left.a.iter_mut().zip(&last.a) {
            own.fill(a);
        }
        let grid = grid_points(family, last);
        let mut before = f64::INFINITY;
        for _ in 0..ROUNDS {
            // Those that move far are seen to below.
            let change = round(
                family,
                &mut dimensions,
                (last, &grid),
                &slow,
                &mut left,
                &contraction,
            )
            .near;
            // Each change is the same part of the one before, or less.
            if change <= SMALL && change * (change / before) <= CLOSE {
                break;
            }
            before = change;
        }
        let mut far = vec![false; patterns];
        for dimension in &dimensions {
            dimension.far().for_each(|place| far[place] = true);
        }
        slow.retain(|&pattern| far[pattern]);
        for own in &mut left.a {
            slow.iter().for_each(|&pattern| own[pattern] = 0.0);
        }
    }
    if !slow.is_empty() {
        let none = vec![0.0; dimensions.len()];
        for number in 0..ROUNDS {
            let at = rounds.get(number).unwrap_or(last);
            let grid = grid_points(family, at);
            let at = (at, &*grid);
            let change = round(family, &mut dimensions, at, &slow, &mut left, &none);
            if change.near.max(change.far) <= 1e-14 && number + 1 >= rounds.len() {
                break;
            }
        }
    }
    (0..patterns)
        .map(|pattern| Loan {
            phi: left.phi[pattern],
            dimensions: left.spreads.iter().map(|d| d[pattern]).collect(),
        })
        .collect()
}

/// By how much each dimension's rounds come closer, seen from the rounds of all patterns.
fn contractions(family: &Family, rounds: &[Round]) -> Vec<f64> {
    let dimension = |d: usize| {
        if family.readings[d].errorless {
            return 0.0;
        }
        let a = |round: usize| rounds[round].a[d].ln();
        let ratio = |k: usize| (a(k + 2) - a(k + 1), a(k + 1) - a(k));
        (1..rounds.len().saturating_sub(2))
            .map(ratio)
            .take_while(|(later, _)| later.abs() > 1e-9)
            .last()
            .map_or(0.0, |(later, before)| later / before)
            .clamp(0.0, 0.9)
    };
    (0..rounds[0].a.len()).map(dimension).collect()
}

/// The largest relative change of an `a` in a round.
#[derive(Default)]
struct Change {
    /// By polynomial.
    near: f64,
    /// By sums over all sets.
    far: f64,
}

/// One round of the fits without each of some patterns. A `contraction` above 0 goes on at once to where the round would lead when repeated.
fn round(
    family: &Family,
    dimensions: &mut [Dimension],
    (all, grid): (&Round, &[usize]),
    patterns: &[usize],
    left: &mut Left,
    contraction: &[f64],
) -> Change {
    let steps = 4 * patterns.len() * dimensions.len() * GRID;
    let a = &left.a;
    let only = (grid.len() == 1).then(|| grid[0]);
    let on_grid: Vec<Vec<Vec<Answer>>> = each(dimensions, steps, |d, dimension| {
        let own = patterns.iter().map(|&pattern| (pattern, a[d][pattern]));
        dimension.prepare(all, d, own.collect());
        let answers = |&j: &usize| {
            let likelihood = if only.is_some() { None } else { Some(j) };
            dimension.answers(1.0 / phi_at(j), all.roots[d][j], likelihood)
        };
        grid.iter().map(answers).collect()
    });
    let found: Vec<Vec<(f64, f64)>> = if let Some(j) = only {
        let phi = phi_at(j);
        patterns.iter().for_each(|&pattern| left.phi[pattern] = phi);
        let found = |(freedoms, on_grid): (&Freedoms, &Vec<Vec<Answer>>)| {
            let whole = freedoms.information(1.0 / phi);
            let answers = patterns.iter().zip(&on_grid[0]);
            let found = answers.map(|(&pattern, answer)| {
                (
                    answer.log_s2,
                    whole - information(freedoms.df[pattern], 1.0 / phi),
                )
            });
            found.collect()
        };
        family.freedoms.iter().zip(&on_grid).map(found).collect()
    } else {
        let phi = |place: usize| {
            let mut weights = [f64::NEG_INFINITY; GRID];
            for (at, &j) in grid.iter().enumerate() {
                weights[j] = on_grid.iter().map(|d| d[at][place].log_likelihood).sum();
            }
            posterior_mean(&weights, phi_at)
        };
        let phi = stretches(patterns.len(), STRETCH, |places| {
            places.map(phi).collect::<Vec<f64>>()
        });
        for (&pattern, phi) in patterns.iter().zip(phi.concat()) {
            left.phi[pattern] = phi;
        }
        at_own_phi(family, dimensions, all, patterns, &left.phi)
    };

    let phi = &left.phi;
    let mut of_dimensions: Vec<_> = left
        .a
        .iter_mut()
        .zip(&mut left.spreads)
        .zip(found)
        .collect();
    let changes = each(&mut of_dimensions, steps, |d, ((a, spreads), found)| {
        let freedoms = &family.freedoms[d];
        // Where the rounds meet, that is 1 / a.
        let ahead = contraction[d] / (1.0 - contraction[d]);
        let mut change = Change::default();
        for (place, (&pattern, &(log_s2, information))) in patterns.iter().zip(&*found).enumerate()
        {
            let lenders = freedoms.lenders - usize::from(freedoms.df[pattern] > 0.0);
            let a = &mut a[pattern];
            let step = -log_s2 - a.ln();
            let ahead = if step.abs() < 0.1 { step * ahead } else { 0.0 };
            let s2 = (log_s2 - ahead).exp();
            let spread = (s2 > 0.0 && s2.is_finite())
                .then(|| BorrowedSpread::new(s2, phi[pattern], information, lenders));
            spreads[pattern] = spread;
            let next = spread.map_or(0.0, |s| inverse(s.s2));
            if !(family.readings[d].errorless || (next == 0.0 && *a == 0.0)) {
                let most = if dimensions[d].is_far(place) {
                    &mut change.far
                } else {
                    &mut change.near
                };
                *most = most.max(step.abs());
            }
            *a = next;
        }
        change
    });
    changes
        .into_iter()
        .fold(Change::default(), |all, of| Change {
            near: all.near.max(of.near),
            far: all.far.max(of.far),
        })
}

/// `ln s0^2` and the information for each dimension and pattern, at each pattern's own `phi`, from
/// a few points about that of all patterns.
fn at_own_phi(
    family: &Family,
    dimensions: &mut [Dimension],
    all: &Round,
    patterns: &[usize],
    phi: &[f64],
) -> Vec<Vec<(f64, f64)>> {
    let shift = |pattern: usize| phi[pattern] - all.phi;
    let near = |pattern: usize| shift(pattern).abs() <= FAR_PHI * all.phi;
    let shifts = patterns.iter().filter(|&&pattern| near(pattern));
    let reach = shifts.fold(0.0, |reach: f64, &pattern| reach.max(shift(pattern).abs()));
    let points = chebyshev(phi_points(reach / all.phi));
    let nodes: Vec<f64> = points.iter().map(|x| all.phi + reach * x).collect();
    let own: Vec<OwnPhi> = patterns
        .iter()
        .map(|&pattern| {
            let mut weights = Vec::new();
            if near(pattern) {
                weights.resize(points.len(), 0.0);
                let x = if reach > 0.0 {
                    shift(pattern) / reach
                } else {
                    0.0
                };
                lagrange(&points, x, &mut weights);
            }
            OwnPhi {
                phi: phi[pattern],
                weights,
            }
        })
        .collect();
    let steps = 4 * patterns.len() * dimensions.len() * GRID;
    each(dimensions, steps, |d, dimension| {
        let freedoms = &family.freedoms[d];
        let whole = |phi: f64| freedoms.information(1.0 / phi);
        let at_nodes: Vec<f64> = nodes.iter().map(|&phi| whole(phi)).collect();
        let log_s2 = dimension.at_own_phi(&nodes, all.root[d], &own);
        let each = own.iter().zip(patterns).zip(log_s2);
        each.map(|((own, &pattern), log_s2)| {
            let whole = if own.weights.is_empty() {
                whole(own.phi)
            } else {
                at_nodes.iter().zip(&own.weights).map(|(i, w)| i * w).sum()
            };
            (
                log_s2,
                whole - information(freedoms.df[pattern], 1.0 / own.phi),
            )
        })
        .collect()
    })
}

/// Grid points that count for some pattern: those that count for all patterns together, and those
/// that may do so once any one pattern is gone.
fn grid_points(family: &Family, all: &Round) -> Vec<usize> {
    let wanted = each(&mut gaps(&all.relative), family.steps(), |j, &mut gap| {
        gap <= FAR || (gap.is_finite() && gap <= FAR + all.sway(family, j))
    });
    (0..GRID).filter(|&j| wanted[j]).collect()
}

/// Chebyshev points for functions of `phi`, which have a pole at 0 or below.
fn phi_points(reach: f64) -> usize {
    if reach <= 1e-14 {
        return 1;
    }
    let error = |points: &usize| (reach / 2.0).powi(*points as i32);
    (3..14).find(|points| error(points) <= 1e-12).unwrap_or(14)
}
