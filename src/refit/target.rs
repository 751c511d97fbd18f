//! From a piece to a problem on plain numbers and back: which sizes to bring where, how sure to be, which
//! drill, and what may not be moved.

use super::aim::{Aim, Goal};
use super::known::{Known, NOTHING, Remains, cost};
use super::plan::{Hindrance, Interval, Plan, Problem, Quantity, Want, plan};
use super::reason::{Obstacle, Reason};
use crate::catalogue::{Tool, Work};
use crate::notation::{Drill, Quantity as Measures, drill_for};
use crate::stats::{StatsError, conformity, guarded};

/// What is to be done, and what is left alone.
#[derive(Debug)]
pub(super) struct Solved {
    /// mm of each work, by its place in the table of works.
    pub(super) amounts: Vec<f64>,
    /// The drill of each work that is done with one.
    pub(super) drills: Vec<Option<&'static Drill>>,
    /// Places (by their position) that are left alone, and why.
    pub(super) left: Vec<(usize, Reason)>,
    /// Places that are brought into the range.
    pub(super) met: Vec<usize>,
    /// Outlines (by their position) that stay as they are, and why.
    pub(super) crooked: Vec<(usize, Reason)>,
}

/// A quantity of the problem: a place, something that remains and can be told, or what is above the straight
/// line of an outline, by its position.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Of {
    Place(usize),
    Remains(usize),
    Outline(usize),
}

/// Something that is wanted.
#[derive(Clone, Copy, Debug)]
enum Wanted {
    /// A place and, if it is drilled, the drill.
    Place(usize, Option<&'static Drill>),
    /// An outline.
    Outline(usize),
}

/// Plans the works.
///
/// # Method
/// Outlines that stand out are made straight first, each wholly or not at all: what they take serves the sizes
/// as well. Then every size that is out of norm or borderline is wanted in the range of good pieces with the probability
/// that is asked for, the larger its score the more. The rest is [`plan`]. How well the end of a work is
/// known depends on which works are done, and the weight that a shell or a bore loses is not quite
/// proportional to its depth: so the problem is put again with what the last answer taught, until nothing
/// changes. Works once taken for done are counted as sources of error from then on, so it ends.
pub(super) fn solve(known: &Known<'_>, aim: &Aim) -> Result<Solved, StatsError> {
    /// Weights settle in two or three rounds, by then to 1e-9 mm.
    const ROUNDS: usize = 12;
    let mut bench = Bench::new(known, aim);
    let mut before: Option<Vec<f64>> = None;
    loop {
        let (problem, wanted, left) = bench.problem();
        let found = plan(&problem)?;
        let amounts = bench.amounts(&found);
        let same = |(a, b): (&f64, &f64)| (a - b).abs() <= 1e-9;
        let settled = (before.iter()).any(|before| before.iter().zip(&amounts).all(same));
        let nothing = amounts.iter().all(|&amount| amount <= NOTHING);
        let new = bench.learn(&amounts);
        if !new && (settled || nothing || bench.round > ROUNDS + known.works.len()) {
            return Ok(bench.solved(&found, &wanted, left, amounts));
        }
        before = Some(amounts);
    }
}

struct Bench<'a> {
    known: &'a Known<'a>,
    /// What must remain and can be told, with how much there is.
    told: Vec<(&'a Remains<'a>, f64)>,
    aim: &'a Aim,
    /// Works that may be used, by their place in the table of works.
    usable: Vec<usize>,
    /// Whether each of them was done in some round.
    used: Vec<bool>,
    /// mm3 that one mm of each takes off, as last seen.
    rates: Vec<f64>,
    round: usize,
}

impl<'a> Bench<'a> {
    fn new(known: &'a Known<'a>, aim: &'a Aim) -> Bench<'a> {
        let told = |w: usize| {
            let mut of = known.works[w].of.iter();
            known.straightening(w).is_some() || of.any(|key| known.place(key).is_some())
        };
        let usable: Vec<usize> = (0..known.works.len())
            .filter(|&w| known.refused[w].is_none() && told(w))
            .collect();
        let rates = usable
            .iter()
            .map(|&w| known.works[w].volume_rate(|s| known.size(s)));
        Bench {
            rates: rates.collect(),
            used: vec![false; usable.len()],
            usable,
            known,
            told: known.told().collect(),
            aim,
            round: 0,
        }
    }

    fn works(&self) -> impl Iterator<Item = &'a Work> + Clone {
        self.usable.iter().map(|&w| &self.known.works[w])
    }

    /// How a quantity moves with one mm of each usable work.
    fn effects(&self, of: Of) -> Vec<f64> {
        match of {
            Of::Place(at) => {
                let dimension = self.known.dimension(&self.known.places[at]);
                let works = self.works().zip(&self.rates);
                let effect = |(work, rate): (&Work, &f64)| match dimension.quantity {
                    // The weight of the piece, not that of some part of it.
                    Measures::Mass if dimension.key == "weight" => -rate * work.material.density(),
                    _ => work.moves(&dimension.key),
                };
                works.map(effect).collect()
            }
            Of::Remains(at) => {
                let remains = self.told[at].0;
                let works = self.usable.iter();
                works.map(|&w| self.known.change(w, remains)).collect()
            }
            Of::Outline(at) => {
                let own = self.known.straightened[at].work;
                let works = self.usable.iter();
                works.map(|&w| if w == own { -1.0 } else { 0.0 }).collect()
            }
        }
    }

    /// Standard uncertainty of a quantity in the end. A drilled hole is as wide as its drill, however it
    /// was read before.
    fn uncertainty(&self, of: Of, effects: &[f64], also: Option<usize>) -> f64 {
        let done = |w: usize| self.used[w] || also == Some(w);
        let works = self.works().enumerate();
        let drilled = |key: &str| {
            let mut drills = works
                .clone()
                .filter(|(w, work)| done(*w) && work.tool == Tool::Drill);
            drills.any(|(_, work)| work.of[0] == key)
        };
        let reading = |key: &str, uncertainty: f64| match drilled(key) {
            true => 0.0,
            false => uncertainty,
        };
        let place = |key: &str| self.known.place(key).map_or(0.0, |p| p.uncertainty);
        let of_weight = match of {
            Of::Place(at) => {
                self.known.dimension(&self.known.places[at]).quantity == Measures::Mass
            }
            Of::Remains(_) | Of::Outline(_) => false,
        };
        let mut u: f64 = match of {
            Of::Place(at) => {
                let place = &self.known.places[at];
                reading(&self.known.dimension(place).key, place.uncertainty)
            }
            Of::Remains(at) => {
                let terms = self.told[at].0.floor.made_of.iter();
                let parts = terms.map(|(key, factor)| factor * reading(key, place(key)));
                parts.fold(0.0, f64::hypot)
            }
            Of::Outline(_) => 0.0,
        };
        for (w, work) in works.clone().filter(|(w, _)| done(*w)) {
            u = u.hypot(self.known.miss(self.usable[w], of_weight, effects[w]) * work.uncertainty);
        }
        u
    }

    /// The problem, what is wanted in the order of its wants, and places that are left alone before anything
    /// is tried.
    fn problem(&self) -> (Problem, Vec<Wanted>, Vec<(usize, Reason)>) {
        let places = (0..self.known.places.len()).map(Of::Place);
        let remains = (0..self.told.len()).map(Of::Remains);
        let outlines = (0..self.known.straightened.len()).map(Of::Outline);
        let (mut wants, mut left) = (Vec::new(), Vec::new());
        let mut quantities = Vec::new();
        for of in places.chain(remains).chain(outlines) {
            let effects = self.effects(of);
            let quantity = self.quantity(of, effects);
            match of {
                Of::Place(at) => match self.want(at, &quantity) {
                    Some(Ok((want, drill))) => wants.push((Wanted::Place(at, drill), want)),
                    Some(Err(reason)) => left.push((at, reason)),
                    None => {}
                },
                Of::Outline(at) => {
                    let want = self.straight(at, quantities.len());
                    wants.extend(want.map(|want| (Wanted::Outline(at), want)));
                }
                Of::Remains(_) => {}
            }
            quantities.push(quantity);
        }
        // What is further out matters more; the order of the catalogue decides between equals.
        let score = |of: &Wanted| match of {
            Wanted::Outline(_) => f64::INFINITY,
            Wanted::Place(at, _) => self.known.places[*at].score.map_or(0.0, f64::abs),
        };
        wants.sort_by(|(a, _), (b, _)| score(b).total_cmp(&score(a)));
        let (wanted, wants) = wants.into_iter().unzip();
        let is_free = |&w: &usize| {
            self.known.works[w].tool != Tool::Drill && self.known.straightening(w).is_none()
        };
        let problem = Problem {
            costs: self.rates.iter().map(|&rate| cost(rate)).collect(),
            free: self.usable.iter().map(is_free).collect(),
            quantities,
            wants,
        };
        (problem, wanted, left)
    }

    /// That an outline be straight: nothing above its line. `None` where its work is out of the question.
    fn straight(&self, at: usize, quantity: usize) -> Option<Want> {
        let one = &self.known.straightened[at];
        let work = self.usable.iter().position(|&w| w == one.work)?;
        Some(Want {
            quantity,
            reach: Interval {
                low: f64::NEG_INFINITY,
                high: NOTHING,
            },
            settled: Some((work, one.amount)),
        })
    }

    /// A quantity, and where it has to stay: inside its range, with the probability that is asked for; if
    /// it is not there, no further out than it is.
    fn quantity(&self, of: Of, effects: Vec<f64>) -> Quantity {
        let u = self.uncertainty(of, &effects, None);
        let inside = |value: f64, low: Option<f64>, high: Option<f64>| {
            let open = (
                low.unwrap_or(f64::NEG_INFINITY),
                high.unwrap_or(f64::INFINITY),
            );
            let middle = 0.5 * (open.0 + open.1);
            let safe = guarded(low, high, u, self.aim.probability()).unwrap_or((middle, middle));
            Interval {
                low: safe.0.min(value),
                high: safe.1.max(value),
            }
        };
        let (value, stay, floor) = match of {
            Of::Place(at) => {
                let place = &self.known.places[at];
                let credible = self.known.dimension(place).credible;
                let stay = match place.good {
                    Some(good) => inside(place.value, Some(good.low), Some(good.high)),
                    // Nothing is known of good pieces: it need only stay a pipe.
                    None => Interval {
                        low: credible.map_or(0.0, |c| c.0).min(place.value),
                        high: credible.map_or(f64::INFINITY, |c| c.1).max(place.value),
                    },
                };
                (place.value, stay, false)
            }
            Of::Remains(at) => {
                let (remains, value) = self.told[at];
                (value, inside(value, Some(remains.floor.least), None), true)
            }
            Of::Outline(at) => {
                let anywhere = Interval {
                    low: f64::NEG_INFINITY,
                    high: f64::INFINITY,
                };
                (self.known.straightened[at].amount, anywhere, false)
            }
        };
        Quantity {
            value,
            effects,
            stay,
            floor,
        }
    }

    /// What is wanted of a place, or why it is left alone; nothing where it may stay as it is.
    fn want(
        &self,
        at: usize,
        quantity: &Quantity,
    ) -> Option<Result<(Want, Option<&'static Drill>), Reason>> {
        let known = self.known;
        let place = &known.places[at];
        let good = place.good?;
        if !place.verdict.stands_out() {
            return None;
        }
        let dimension = known.dimension(place);
        if !dimension.is_credible(place.value) {
            let credible = dimension.credible.unwrap_or_default();
            let unit = dimension.unit.clone();
            return Some(Err(Reason::NotCredible { credible, unit }));
        }
        let movers = || {
            known
                .works
                .iter()
                .enumerate()
                .filter(|(_, work)| work.moves(&dimension.key) != 0.0)
        };
        let made_for = |work: &Work| work.of.contains(&dimension.key);
        let is_weight = dimension.quantity == Measures::Mass;
        if is_weight || (movers().next().is_some() && !movers().any(|(_, work)| made_for(work))) {
            return Some(Err(Reason::Follows));
        }
        let probability = self.aim.probability();
        let (low, high) = (Some(good.low), Some(good.high));
        // As it is now, before anything is done to it.
        let safe = guarded(low, high, place.uncertainty, probability);
        let middle = 0.5 * (good.low + good.high);
        let down = match safe {
            Some((low, high)) if place.value >= low && place.value <= high => {
                return Some(Err(Reason::Inside));
            }
            Some((_, high)) => place.value > high,
            None => place.value > middle,
        };
        let right_way = |work: &Work| (work.moves(&dimension.key) < 0.0) == down;
        if movers().next().is_none() {
            return Some(Err(Reason::NoWork));
        }
        let mut helpers = movers().filter(|(_, work)| right_way(work));
        let Some(first) = helpers
            .clone()
            .find(|(_, work)| made_for(work))
            .or(helpers.clone().next())
        else {
            return Some(Err(Reason::MaterialToAdd));
        };
        if helpers.all(|(w, _)| !self.usable.contains(&w)) {
            let reason = known.refused[first.0].clone();
            return Some(Err(reason.unwrap_or(Reason::Never)));
        }
        // Where a drill is the only work made for it, the drill comes first.
        let drilled = self.works().position(|work| {
            work.tool == Tool::Drill && work.of[0] == dimension.key && right_way(work)
        });
        let u = self.uncertainty(Of::Place(at), &quantity.effects, drilled);
        let Some((low, high)) = guarded(low, high, u, probability) else {
            let best = conformity(low, high, middle, u);
            return Some(Err(Reason::TooCoarse {
                best,
                asked: probability,
            }));
        };
        let reach = Interval { low, high };
        let centre = place.centre.unwrap_or(middle).clamp(low, high);
        let Some(work) = drilled else {
            let reach = match (self.aim.goal, down) {
                (Goal::Near, _) => reach,
                (Goal::Centre, true) => Interval {
                    high: centre,
                    ..reach
                },
                (Goal::Centre, false) => Interval {
                    low: centre,
                    ..reach
                },
            };
            let want = Want {
                quantity: at,
                reach,
                settled: None,
            };
            return Some(Ok((want, None)));
        };
        let least = low.max(place.value);
        let drill = match self.aim.goal {
            Goal::Near => None,
            Goal::Centre => drill_for(self.aim.drills, centre.max(least), high),
        };
        let Some(drill) = drill.or_else(|| drill_for(self.aim.drills, least, high)) else {
            return Some(Err(Reason::NoDrill { least, most: high }));
        };
        let want = Want {
            quantity: at,
            reach,
            settled: Some((work, drill.mm() - place.value)),
        };
        Some(Ok((want, Some(drill))))
    }

    /// mm of every work of the table.
    fn amounts(&self, found: &Plan) -> Vec<f64> {
        let mut amounts = vec![0.0; self.known.works.len()];
        for (&work, &amount) in self.usable.iter().zip(&found.amounts) {
            amounts[work] = amount;
        }
        amounts
    }

    /// Takes the works of a round to heart; says whether one of them is new.
    fn learn(&mut self, amounts: &[f64]) -> bool {
        self.round += 1;
        let mut new = false;
        for (at, &w) in self.usable.iter().enumerate() {
            let (work, amount) = (&self.known.works[w], amounts[w]);
            if amount > NOTHING {
                new |= !self.used[at];
                self.used[at] = true;
                self.rates[at] = work.volume(amount, |s| self.known.size(s)) / amount;
            }
        }
        new
    }

    fn solved(
        &self,
        found: &Plan,
        wanted: &[Wanted],
        mut left: Vec<(usize, Reason)>,
        amounts: Vec<f64>,
    ) -> Solved {
        let known = self.known;
        let mut drills = vec![None; known.works.len()];
        let mut met = Vec::new();
        for &want in &found.met {
            let Wanted::Place(at, drill) = wanted[want] else {
                continue;
            };
            met.push(at);
            let key = &known.dimension(&known.places[at]).key;
            let mut works = known.works.iter();
            let drilled = works.position(|w| w.tool == Tool::Drill && w.of[0] == *key);
            if let (Some(work), Some(drill)) = (drilled, drill) {
                drills[work] = Some(drill);
            }
        }
        let refused = known.straightened.iter();
        let refused =
            refused.filter_map(|one| Some((one.outline, known.refused[one.work].clone()?)));
        let mut crooked: Vec<(usize, Reason)> = refused.collect();
        for (want, hindrance) in &found.unmet {
            match wanted[*want] {
                Wanted::Place(at, _) => {
                    left.push((at, self.reason(Some(at), hindrance, wanted)));
                }
                Wanted::Outline(at) => {
                    let outline = known.straightened[at].outline;
                    crooked.push((outline, self.reason(None, hindrance, wanted)));
                }
            }
        }
        left.sort_by_key(|(at, _)| *at);
        met.sort_unstable();
        Solved {
            amounts,
            drills,
            left,
            met,
            crooked,
        }
    }

    /// A hindrance in the words of the trade: of a place, or else of an outline.
    fn reason(&self, place: Option<usize>, hindrance: &Hindrance, wanted: &[Wanted]) -> Reason {
        let known = self.known;
        let label = |at: usize| known.dimension(&known.places[at]).label.clone();
        let name = |want: usize| match wanted[want] {
            Wanted::Place(at, _) => label(at),
            Wanted::Outline(at) => known.straightened[at].feature.words(),
        };
        // A work that is made for it and refused is the nearer reason.
        let key = place.map(|at| &known.dimension(&known.places[at]).key);
        let refused = known.works.iter().zip(&known.refused);
        let refused = refused
            .filter(|(work, _)| key.is_some_and(|key| work.of.contains(key)))
            .find_map(|(_, r)| r.clone());
        match (hindrance, refused) {
            (_, Some(refused)) => refused,
            (Hindrance::Others(others), None) if others.is_empty() => Reason::Never,
            (Hindrance::Others(others), None) => Reason::Obstacles(
                others
                    .iter()
                    .map(|&(q, becomes)| self.obstacle(q, becomes))
                    .collect(),
            ),
            (Hindrance::Earlier(earlier), None) => Reason::Earlier {
                dimensions: earlier.iter().map(|&want| name(want)).collect(),
            },
            (Hindrance::Never, None) => Reason::Never,
        }
    }

    fn obstacle(&self, quantity: usize, becomes: f64) -> Obstacle {
        let known = self.known;
        let inside = |of: Of, low: Option<f64>, high: Option<f64>| {
            let u = self.uncertainty(of, &self.effects(of), None);
            let p = conformity(low, high, becomes, u);
            // Works that were only tried add to the uncertainty, and are not known here.
            (p < self.aim.probability()).then_some(p)
        };
        match known.places.get(quantity) {
            Some(place) => {
                let dimension = known.dimension(place);
                let credible = dimension.credible.unwrap_or((0.0, f64::INFINITY));
                let of = Of::Place(quantity);
                Obstacle::Size {
                    key: dimension.key.clone(),
                    label: dimension.label.clone(),
                    unit: dimension.unit.clone(),
                    becomes,
                    range: place.good.map_or(credible, |good| (good.low, good.high)),
                    probability: (place.good)
                        .and_then(|good| inside(of, Some(good.low), Some(good.high))),
                }
            }
            // Quantities after the places are what must remain; outlines may end anywhere.
            None => {
                let at = quantity - known.places.len();
                let (remains, _) = self.told[at];
                let floor = remains.floor;
                Obstacle::Floor {
                    key: floor.key.clone(),
                    label: remains.label(known),
                    left: becomes,
                    least: floor.least,
                    probability: inside(Of::Remains(at), Some(floor.least), None),
                }
            }
        }
    }
}
