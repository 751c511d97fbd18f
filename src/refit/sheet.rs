//! The sheet of one piece: what to take off, to which size, what is left, and what is left alone.

use super::known::{Known, NOTHING, Remains};
use super::outline::OutlineStock;
use super::reason::{Contradiction, Reason};
use super::target::Solved;
use crate::catalogue::{FeatureName, Floor, Precaution, State, Tool, Work, precautions};
use crate::norm::Band;
use crate::notation::{Drill, Quantity};
use crate::stats::conformity;
use crate::verdict::{Check, Verdict};

/// The plan for one piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Refit {
    /// The verdict on the piece as it is.
    pub check: Check,
    /// Every size that was measured, in the order of the catalogue, before and after.
    pub sizes: Vec<SizePlan>,
    /// The works, in the order of work.
    pub steps: Vec<Step>,
    /// What must remain, where it can be told.
    pub floors: Vec<FloorLeft>,
    /// Its traced outlines that a tool can straighten, in the order of the traces.
    pub outlines: Vec<OutlineStock>,
    /// Sizes that are out of norm or borderline and left alone.
    pub left_alone: Vec<LeftAlone>,
    /// Readings that cannot all be right.
    pub contradictions: Vec<Contradiction>,
    /// What to mind, the general first; none where nothing is done.
    pub precautions: Vec<Precaution>,
}

/// One size before and after.
#[derive(Clone, Debug, PartialEq)]
pub struct SizePlan {
    /// Index in the catalogue of the piece's table.
    pub dimension: usize,
    /// The reading, in the unit.
    pub found: f64,
    /// Its standard uncertainty.
    pub found_uncertainty: f64,
    /// Its state.
    pub state: State,
    /// How it stands as it is.
    pub verdict: Verdict,
    /// Where the good pieces themselves lie, readings without error; `None` where that is not decided.
    pub good: Option<Band>,
    /// Size in the end, in the unit.
    pub left: f64,
    /// Its standard uncertainty.
    pub left_uncertainty: f64,
    /// Probability that it is in that range as it is.
    pub probability_found: Option<f64>,
    /// Probability that it is there in the end.
    pub probability: Option<f64>,
    /// Whether the plan brings it there.
    pub corrected: bool,
}

impl SizePlan {
    /// Whether some work moves it.
    pub fn moves(&self) -> bool {
        (self.left - self.found).abs() > NOTHING
    }
}

/// One work to be done.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// The work.
    pub work: Work,
    /// mm of it.
    pub amount: f64,
    /// Index of the dimension that it is told by; `None` where an outline is straightened.
    pub dimension: Option<usize>,
    /// The outline, where one is straightened.
    pub outline: Option<FeatureName>,
    /// That dimension before this step, or the outline where it is highest above its target, in mm.
    pub from: f64,
    /// The same after it.
    pub to: f64,
    /// The drill, where it is done with one.
    pub drill: Option<Drill>,
    /// Other dimensions that were measured and that it moves: index, before and after this step, in the
    /// unit.
    pub moves: Vec<(usize, f64, f64)>,
    /// Dimensions that it moves and that were not measured: name and change, in mm.
    pub unseen: Vec<(String, f64)>,
    /// What it takes off, in mm3.
    pub volume: f64,
    /// The same in g.
    pub weight: f64,
    /// Sizes that the volume is made of and that were not measured: name and what was taken, in mm.
    pub assumed: Vec<(String, f64)>,
    /// What must remain and gets less by it, by position in [`Refit::floors`].
    pub floors: Vec<usize>,
    /// Sizes that the plan puts right and it moves, besides that which it is told by.
    pub serves: Vec<usize>,
    /// Of a stem's line: what is left over the bore where it is least, by this work alone, in mm.
    pub over_bore: Option<f64>,
}

/// Something that must remain.
#[derive(Clone, Debug, PartialEq)]
pub struct FloorLeft {
    /// What, and how much.
    pub floor: Floor,
    /// The straightened outline on whose side of the piece it is; `None` for any other side.
    pub side: Option<FeatureName>,
    /// As found, in mm.
    pub found: f64,
    /// In the end, in mm.
    pub left: f64,
    /// Probability that no less than the least is there in the end.
    pub probability: f64,
}

impl FloorLeft {
    /// Whether there is too little in the end, by the works: what was too little before and gets no less
    /// is not their fault.
    pub fn is_broken(&self) -> bool {
        self.left < self.floor.least && self.left < self.found - NOTHING
    }
}

/// A size that is left alone.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftAlone {
    /// Index in the catalogue of the piece's table.
    pub dimension: usize,
    /// The reading, in the unit.
    pub found: f64,
    /// Where it should be, where that is decided.
    pub good: Option<Band>,
    /// Why.
    pub reason: Reason,
}

/// The sheet of a plan.
pub(super) fn sheet(
    known: &Known<'_>,
    check: Check,
    solved: &Solved,
    not_sizes: Vec<LeftAlone>,
    outlines: Vec<OutlineStock>,
) -> Refit {
    let after = After::new(known, &solved.amounts, &solved.drills);
    let sizes: Vec<SizePlan> = (0..known.places.len())
        .map(|at| after.size(at, solved.met.contains(&at)))
        .collect();
    let floors = after.floors();
    let steps = after.steps(&solved.met, &outlines);
    let left = solved.left.iter().map(|(at, reason)| LeftAlone {
        dimension: known.places[*at].dimension,
        found: known.places[*at].value,
        good: sizes[*at].good,
        reason: reason.clone(),
    });
    let mut left_alone: Vec<LeftAlone> = left.chain(not_sizes).collect();
    left_alone.sort_by_key(|left| left.dimension);
    Refit {
        check,
        sizes,
        precautions: to_mind(steps.iter().map(|step| &step.work)),
        steps,
        floors,
        outlines,
        left_alone,
        contradictions: known.contradictions.clone(),
    }
}

/// What to mind with some works, the general first and each once; nothing where none is done.
pub(super) fn to_mind<'w>(works: impl Iterator<Item = &'w Work> + Clone) -> Vec<Precaution> {
    let named = |p: &&Precaution| {
        let mut of_works = works.clone().flat_map(|work| &work.precautions);
        of_works.any(|known| known.key == p.key)
    };
    let all = precautions();
    match works.clone().next() {
        None => Vec::new(),
        Some(_) => (all.iter().take(1))
            .chain(all.iter().skip(1).filter(named))
            .cloned()
            .collect(),
    }
}

/// A piece after some works.
pub(super) struct After<'a> {
    known: &'a Known<'a>,
    amounts: &'a [f64],
    drills: &'a [Option<&'static Drill>],
}

impl<'a> After<'a> {
    pub(super) fn new(
        known: &'a Known<'a>,
        amounts: &'a [f64],
        drills: &'a [Option<&'static Drill>],
    ) -> After<'a> {
        After {
            known,
            amounts,
            drills,
        }
    }

    /// The works that are done, in their order: place among all, work and amount.
    fn done(&self) -> impl Iterator<Item = (usize, &'a Work, f64)> {
        let works = self.known.works.iter().zip(self.amounts).enumerate();
        let done = works
            .map(|(at, (work, &amount))| (at, work, amount))
            .filter(|(_, _, amount)| *amount > NOTHING);
        let mut done: Vec<(usize, &Work, f64)> = done.collect();
        done.sort_by(|(_, a, _), (_, b, _)| a.order.total_cmp(&b.order));
        done.into_iter()
    }

    /// Whether a hole is drilled, and so as wide as its drill, however it was read before.
    fn is_drilled(&self, key: &str) -> bool {
        self.done()
            .any(|(_, work, _)| work.tool == Tool::Drill && work.of[0] == key)
    }

    /// How one mm of a work moves a dimension: the weight by the volume that was really taken.
    fn effect(&self, work: &Work, amount: f64, key: &str, quantity: Quantity) -> f64 {
        match quantity == Quantity::Mass && key == "weight" {
            true => {
                let volume = work.volume(amount, |size| self.known.size(size));
                -volume * work.material.density() / amount
            }
            false => work.moves(key),
        }
    }

    /// One place in the end: value and standard uncertainty.
    pub(super) fn value(&self, at: usize) -> (f64, f64) {
        let place = &self.known.places[at];
        let dimension = self.known.dimension(place);
        let (mut value, mut u) = match self.is_drilled(&dimension.key) {
            true => (place.value, 0.0),
            false => (place.value, place.uncertainty),
        };
        let of_weight = dimension.quantity == Quantity::Mass;
        for (at, work, amount) in self.done() {
            let effect = self.effect(work, amount, &dimension.key, dimension.quantity);
            value += effect * amount;
            u = u.hypot(self.known.miss(at, of_weight, effect) * work.uncertainty);
        }
        (value, u)
    }

    fn size(&self, at: usize, corrected: bool) -> SizePlan {
        let place = &self.known.places[at];
        let (left, left_uncertainty) = self.value(at);
        let inside = |value: f64, u: f64| {
            let good = place.good?;
            Some(conformity(Some(good.low), Some(good.high), value, u))
        };
        SizePlan {
            dimension: place.dimension,
            found: place.value,
            found_uncertainty: place.uncertainty,
            state: place.state,
            verdict: place.verdict,
            good: place.good.map(|good| Band {
                low: good.low,
                high: good.high,
            }),
            left,
            left_uncertainty,
            probability_found: inside(place.value, place.uncertainty),
            probability: inside(left, left_uncertainty),
            corrected,
        }
    }

    /// What must remain, where it can be told.
    pub(super) fn floors(&self) -> Vec<FloorLeft> {
        let left = |(remains, found): (&Remains<'_>, f64)| {
            let floor = remains.floor;
            let (mut left, mut u) = (found, 0.0_f64);
            for (key, factor) in &floor.made_of {
                let reading = self.known.place(key).map_or(0.0, |p| p.uncertainty);
                if !self.is_drilled(key) {
                    u = u.hypot(factor * reading);
                }
            }
            for (at, work, amount) in self.done() {
                let effect = self.known.change(at, remains);
                left += effect * amount;
                u = u.hypot(self.known.miss(at, false, effect) * work.uncertainty);
            }
            let side = remains.side.and_then(|work| self.known.straightening(work));
            FloorLeft {
                floor: floor.clone(),
                side: side.map(|one| one.feature.clone()),
                found,
                left,
                probability: conformity(Some(floor.least), None, left, u),
            }
        };
        self.known.told().map(left).collect()
    }

    /// The works in their order, each with the sizes as they are by then.
    fn steps(&self, met: &[usize], outlines: &[OutlineStock]) -> Vec<Step> {
        let known = self.known;
        let mut now: Vec<f64> = known.places.iter().map(|place| place.value).collect();
        let step = |(at, work, amount): (usize, &Work, f64)| {
            let mut moves = Vec::new();
            let mut told: Option<(usize, f64, f64)> = None;
            for (place, value) in known.places.iter().zip(&mut now) {
                let dimension = known.dimension(place);
                let effect = self.effect(work, amount, &dimension.key, dimension.quantity);
                let (from, to) = (*value, *value + effect * amount);
                *value = to;
                let moved = (place.dimension, from, to);
                match work.of.contains(&dimension.key) && told.is_none() {
                    true => told = Some(moved),
                    false if from != to => moves.push(moved),
                    false => {}
                }
            }
            let straightened = known.straightening(at);
            let (dimension, from, to) = match told {
                Some((dimension, from, to)) => (Some(dimension), from, to),
                None => (None, amount, 0.0),
            };
            let unseen = work
                .moves
                .iter()
                .filter(|(key, _)| known.place(key).is_none());
            let volume = work.volume(amount, |size| known.size(size));
            let told = known.told().enumerate();
            let thinner = told.filter(|(_, (remains, _))| known.change(at, remains) < 0.0);
            Step {
                work: work.clone(),
                amount,
                dimension,
                outline: straightened.map(|one| one.feature.clone()),
                from,
                to,
                drill: self.drills[at].cloned(),
                moves,
                unseen: unseen
                    .map(|(key, factor)| (known.label(key), factor * amount))
                    .collect(),
                volume,
                weight: volume * work.material.density(),
                assumed: known.assumed(at),
                floors: thinner.map(|(floor, _)| floor).collect(),
                serves: (met.iter().map(|&place| &known.places[place]))
                    .filter(|place| work.moves(&known.dimension(place).key) != 0.0)
                    .map(|place| place.dimension)
                    .filter(|&served| Some(served) != dimension)
                    .collect(),
                over_bore: straightened.and_then(|one| {
                    let drawn = outlines[one.outline].stock.as_ref().ok();
                    drawn.and_then(|drawn| drawn.over_bore)
                }),
            }
        };
        self.done().map(step).collect()
    }
}
