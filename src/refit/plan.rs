//! The plan on plain numbers: which works, and how much of each, bring as many quantities as possible
//! where they should be. Nothing here knows of pipes.

use crate::stats::{LinearLimit, StatsError, least_cost};

/// What must be so all the time, or what is to be reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower limit; minus infinity for none.
    pub low: f64,
    /// Upper limit; infinity for none.
    pub high: f64,
}

impl Interval {
    /// Whether a number lies in it, but for the rounding of a sum.
    fn holds(&self, value: f64) -> bool {
        /// The solver keeps limits to 1e-9; a sum of such numbers to less.
        const ROUNDING: f64 = 1e-7;
        value >= self.low - ROUNDING && value <= self.high + ROUNDING
    }
}

/// Something that works move: a size, or what is left of a wall.
#[derive(Clone, Debug, PartialEq)]
pub struct Quantity {
    /// What it is now.
    pub value: f64,
    /// How it moves with one unit of each work.
    pub effects: Vec<f64>,
    /// Where it has to stay.
    pub stay: Interval,
    /// Whether it is something that must remain; else a size.
    pub floor: bool,
}

impl Quantity {
    /// What it is after some works.
    pub fn after(&self, amounts: &[f64]) -> f64 {
        let moves = self.effects.iter().zip(amounts);
        self.value + moves.map(|(effect, amount)| effect * amount).sum::<f64>()
    }
}

/// A quantity to be brought where it should be.
#[derive(Clone, Debug, PartialEq)]
pub struct Want {
    /// Which.
    pub quantity: usize,
    /// Where it should be.
    pub reach: Interval,
    /// A work whose amount is settled, with it; other wants may not use that work.
    pub settled: Option<(usize, f64)>,
}

/// Works, what they move, and what is wanted.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// What one unit of each work costs; more than 0.
    pub costs: Vec<f64>,
    /// Whether each work may be used in any amount. One that may not is used where a want settles it.
    pub free: Vec<bool>,
    /// What they move.
    pub quantities: Vec<Quantity>,
    /// What is wanted, what matters most first; one want a quantity.
    pub wants: Vec<Want>,
}

/// The works that were found.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// How much of each work, 0 or more.
    pub amounts: Vec<f64>,
    /// Which wants are met, in their order.
    pub met: Vec<usize>,
    /// Which are not, and what stands in the way.
    pub unmet: Vec<(usize, Hindrance)>,
}

/// What stands in the way of a want.
#[derive(Clone, Debug, PartialEq)]
pub enum Hindrance {
    /// Quantities that would leave where they have to stay (floors and sizes), each with what it would
    /// become by the works of least cost that meet the want.
    Others(Vec<(usize, f64)>),
    /// Wants that matter more.
    Earlier(Vec<usize>),
    /// No works lead there at all.
    Never,
}

/// Finds the plan.
///
/// # Method
/// Wants are taken in their order. One is kept if there are works, each 0 or more, that meet it and all
/// kept before it while every other quantity stays where it has to: a linear program. Of all works that
/// meet the kept wants those of least cost are taken. So the plan does not depend on anything but the
/// order of the wants, and what is not met has a reason: the first of these that would help
///
/// 1. floors taken away: the floors that would be broken;
/// 2. the other sizes let go: the sizes that would be pushed out;
/// 3. both: all of these;
/// 4. the kept wants let go as well: these.
/// # Errors
/// [`StatsError`] for numbers beyond what the solver can tell apart.
pub fn plan(problem: &Problem) -> Result<Plan, StatsError> {
    let (mut met, mut unmet) = (Vec::new(), Vec::new());
    for want in 0..problem.wants.len() {
        met.push(want);
        if works(problem, &met, &Binding::ALL)?.is_none() {
            met.pop();
            unmet.push((want, hindrance(problem, &met, want)?));
        }
    }
    let amounts = works(problem, &met, &Binding::ALL)?;
    Ok(Plan {
        // Doing nothing meets no want and keeps every quantity where it is.
        amounts: amounts.unwrap_or_else(|| vec![0.0; problem.costs.len()]),
        met,
        unmet,
    })
}

/// What binds.
struct Binding {
    floors: bool,
    sizes: bool,
}

impl Binding {
    const ALL: Binding = Binding {
        floors: true,
        sizes: true,
    };
}

/// The works of least cost that meet some wants.
fn works(
    problem: &Problem,
    wants: &[usize],
    binding: &Binding,
) -> Result<Option<Vec<f64>>, StatsError> {
    let wants = || wants.iter().map(|&want| &problem.wants[want]);
    let settled = |work: usize| {
        let settled = wants().filter_map(|want| want.settled);
        settled
            .filter(|(of, _)| *of == work)
            .map(|(_, amount)| amount)
            .next()
    };
    let bounds = problem
        .free
        .iter()
        .enumerate()
        .map(|(work, free)| match (settled(work), free) {
            (Some(amount), _) => (amount, amount),
            (None, true) => (0.0, f64::INFINITY),
            (None, false) => (0.0, 0.0),
        });
    let bounds: Vec<(f64, f64)> = bounds.collect();
    let limits = problem
        .quantities
        .iter()
        .enumerate()
        .filter_map(|(at, quantity)| {
            let reach = wants()
                .find(|want| want.quantity == at)
                .map(|want| want.reach);
            let binds = if quantity.floor {
                binding.floors
            } else {
                binding.sizes
            };
            let interval = reach.or(binds.then_some(quantity.stay))?;
            Some(LinearLimit {
                coefficients: quantity.effects.clone(),
                low: interval.low - quantity.value,
                high: interval.high - quantity.value,
            })
        });
    least_cost(
        &problem.costs,
        &bounds,
        &limits.collect::<Vec<LinearLimit>>(),
    )
}

/// Why a want cannot be met beside those that are.
fn hindrance(problem: &Problem, met: &[usize], want: usize) -> Result<Hindrance, StatsError> {
    let all: Vec<usize> = met.iter().copied().chain([want]).collect();
    for (floors, sizes) in [(false, true), (true, false), (false, false)] {
        if let Some(amounts) = works(problem, &all, &Binding { floors, sizes })? {
            let wanted = |at: usize| all.iter().any(|&w| problem.wants[w].quantity == at);
            let broken = problem
                .quantities
                .iter()
                .enumerate()
                .filter_map(|(at, quantity)| {
                    let after = quantity.after(&amounts);
                    (!wanted(at) && !quantity.stay.holds(after)).then_some((at, after))
                });
            return Ok(Hindrance::Others(broken.collect()));
        }
    }
    let nothing = Binding {
        floors: false,
        sizes: false,
    };
    let alone = works(problem, &[want], &nothing)?;
    Ok(match alone.is_some() && !met.is_empty() {
        true => Hindrance::Earlier(met.to_vec()),
        false => Hindrance::Never,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const ENDLESS: f64 = f64::INFINITY;

    fn quantity(value: f64, effects: &[f64], low: f64, high: f64) -> Quantity {
        Quantity {
            value,
            effects: effects.to_vec(),
            stay: Interval { low, high },
            floor: false,
        }
    }

    fn want(quantity: usize, low: f64, high: f64) -> Want {
        Want {
            quantity,
            reach: Interval { low, high },
            settled: None,
        }
    }

    /// A wall of 8 that should be 7, a bowl of 40 that may shrink to 39, a chamber of 19 that may grow
    /// to 20.5: the outside can take 0.5 of the wall, the chamber the rest.
    fn wall() -> Problem {
        Problem {
            costs: vec![5.0, 1.0],
            free: vec![true, true],
            quantities: vec![
                quantity(8.0, &[-1.0, -0.5], -ENDLESS, 8.0),
                quantity(40.0, &[-2.0, 0.0], 39.0, 41.0),
                quantity(19.0, &[0.0, 1.0], 18.0, 20.5),
            ],
            wants: vec![want(0, 6.5, 7.0)],
        }
    }

    #[test]
    fn the_cheaper_work_goes_as_far_as_it_may() {
        let plan = plan(&wall()).unwrap();
        assert_eq!(plan.met, [0]);
        assert!((plan.amounts[1] - 1.5).abs() < 1e-9 && (plan.amounts[0] - 0.25).abs() < 1e-9);
    }

    #[test]
    fn what_stands_in_the_way_is_named() {
        // The bowl may not shrink at all: the chamber alone takes 0.75.
        let mut problem = wall();
        problem.quantities[1].stay.low = 40.0;
        let blocked = plan(&problem).unwrap();
        assert_eq!((blocked.met.len(), blocked.amounts), (0, vec![0.0, 0.0]));
        let Hindrance::Others(others) = &blocked.unmet[0].1 else {
            panic!("{:?}", blocked.unmet)
        };
        // Without limits the cheaper work does it all.
        assert_eq!(others.len(), 1);
        assert!(others[0].0 == 2 && (others[0].1 - 21.0).abs() < 1e-9);
        // A floor under the chamber's wall is named before sizes are.
        problem.quantities[2].stay.high = 22.0;
        problem.quantities.push(Quantity {
            floor: true,
            ..quantity(7.5, &[0.0, -0.5], 7.0, ENDLESS)
        });
        let blocked = plan(&problem).unwrap();
        let Hindrance::Others(others) = &blocked.unmet[0].1 else {
            panic!("{:?}", blocked.unmet)
        };
        assert!(others[0].0 == 3 && (others[0].1 - 6.5).abs() < 1e-9);
    }

    #[test]
    fn what_matters_more_comes_first() {
        // One work moves both, one up and one down.
        let problem = |first: usize| Problem {
            costs: vec![1.0],
            free: vec![true],
            quantities: vec![
                quantity(5.0, &[-1.0], -ENDLESS, ENDLESS),
                quantity(5.0, &[1.0], -ENDLESS, ENDLESS),
            ],
            wants: match first {
                0 => vec![want(0, 3.0, 4.0), want(1, 5.0, 5.5)],
                _ => vec![want(1, 5.0, 5.5), want(0, 3.0, 4.0)],
            },
        };
        for first in [0, 1] {
            let plan = plan(&problem(first)).unwrap();
            assert_eq!(plan.met, [0]);
            assert_eq!(plan.unmet, [(1, Hindrance::Earlier(vec![0]))]);
        }
        let down = Problem {
            wants: vec![want(1, 3.0, 4.0)],
            ..problem(0)
        };
        assert_eq!(plan(&down).unwrap().unmet, [(0, Hindrance::Never)]);
    }

    #[test]
    fn a_settled_work_is_done_as_settled_or_not_at_all() {
        let mut problem = wall();
        problem.free[1] = false;
        problem.wants = vec![
            Want {
                settled: Some((1, 1.25)),
                ..want(2, 19.5, 20.5)
            },
            want(0, 6.5, 7.5),
        ];
        let found = plan(&problem).unwrap();
        assert_eq!(found.met, [0, 1]);
        // 0.625 of the wall by the hole that is bored anyway; nothing more is needed from outside.
        assert!((found.amounts[1] - 1.25).abs() < 1e-12 && found.amounts[0] < 1e-9);
        problem.wants.remove(0);
        let found = plan(&problem).unwrap();
        assert_eq!((found.met.len(), found.amounts), (1, vec![0.5, 0.0]));
    }
}
