//! A piece as a plan sees it: its sizes, where good ones lie, what is left of each wall, which works there
//! are, and which of them are out of the question.

use super::outline::{self, OutlineStock};
use super::plan::Interval;
use super::reason::{Contradiction, Reason};
use crate::catalogue::{
    Catalogue, Dimension, FeatureName, Floor, FloorKind, Size, Solid, State, Terms, Work, Workshop,
    factor, fold,
};
use crate::notation::Quantity;
use crate::stats::median;
use crate::verdict::{Check, Piece, Verdict};

/// A work of less than that, in mm, is none.
pub(super) const NOTHING: f64 = 1e-7;

/// Readings contradict each other where their sum is further below 0 than so many of its standard
/// uncertainties: about once in 700 times by chance (the normal law).
const CONTRADICTS: f64 = 3.0;

/// The caution of works that take a grain away.
const GRAIN: &str = "grain";

/// The thickness of the thinnest wall.
pub(super) const WALL: &str = "wall_thickness";

/// One size that was measured.
#[derive(Clone, Debug)]
pub(super) struct Place {
    /// Index in the catalogue of the piece's table.
    pub(super) dimension: usize,
    pub(super) value: f64,
    pub(super) uncertainty: f64,
    pub(super) state: State,
    pub(super) verdict: Verdict,
    /// The signed normal score, where it was judged.
    pub(super) score: Option<f64>,
    /// Centre of the good pieces, where it was decided.
    pub(super) centre: Option<f64>,
    /// Where good pieces lie, where it was decided.
    pub(super) good: Option<Interval>,
}

impl Place {
    /// Whether it stands out by being too large.
    pub(super) fn is_too_much(&self) -> bool {
        self.verdict.stands_out() && self.score.is_some_and(|score| score > 0.0)
    }

    /// Whether it stands out by being too small.
    pub(super) fn is_too_little(&self) -> bool {
        self.verdict.stands_out() && !self.is_too_much()
    }
}

/// Something that must remain, as far as it can be told.
#[derive(Clone, Debug)]
pub(super) struct Remains<'w> {
    pub(super) floor: &'w Floor,
    /// Its thickness; `None` where something was not measured.
    pub(super) value: Option<f64>,
    /// Names of what was not measured.
    pub(super) missing: Vec<String>,
    /// The straightening, by its place among the works, on whose side of the piece this is; `None` for any
    /// side on which no outline is straightened.
    pub(super) side: Option<usize>,
}

impl Remains<'_> {
    /// For people: with the side of the piece, where it is of one.
    pub(super) fn label(&self, known: &Known<'_>) -> String {
        let side = self.side.and_then(|work| known.straightening(work));
        self.floor.label_on(side.map(|one| &one.feature))
    }
}

/// An outline that is made straight wholly or not at all.
#[derive(Clone, Debug)]
pub(super) struct Straightened {
    /// Its place among the piece's outlines.
    pub(super) outline: usize,
    pub(super) feature: FeatureName,
    /// Its place among the works.
    pub(super) work: usize,
    /// What comes off where most does, in mm.
    pub(super) amount: f64,
    /// How sizes move with each mm of that, each as if no other outline were straightened.
    moves: Terms,
    /// How what must remain gets less with each mm of that.
    thins: Terms,
    /// Keys of the dimensions that its volume is made of.
    across: Vec<&'static str>,
}

/// A piece as a plan sees it.
#[derive(Debug)]
pub(super) struct Known<'a> {
    pub(super) catalogue: &'a Catalogue,
    /// The works of the table, then one for each outline that is to be made straight.
    pub(super) works: Vec<Work>,
    /// The latter.
    pub(super) straightened: Vec<Straightened>,
    /// The sizes, in the order of the catalogue.
    pub(super) places: Vec<Place>,
    pub(super) remains: Vec<Remains<'a>>,
    pub(super) contradictions: Vec<Contradiction>,
    /// Whether the piece's finish has a grain.
    has_grain: bool,
    /// For each work, why it is out of the question.
    pub(super) refused: Vec<Option<Reason>>,
    /// For each dimension that some solid needs and that was not measured: its key and what it is
    /// taken to be.
    usual: Vec<(String, f64)>,
}

impl<'a> Known<'a> {
    pub(super) fn new(piece: &Piece<'a>, check: &Check, workshop: &'a Workshop) -> Known<'a> {
        let catalogue = &piece.table.catalogue;
        let is_size = |d: &Dimension| {
            matches!(d.quantity, Quantity::Length | Quantity::Mass) && !d.is_form_error()
        };
        let places = check
            .dimensions
            .iter()
            .filter(|d| is_size(catalogue.at(d.dimension)))
            .map(|d| {
                let decided = d.judged.filter(|_| d.verdict != Verdict::Undecided);
                Place {
                    dimension: d.dimension,
                    value: d.value,
                    uncertainty: d.uncertainty,
                    state: d.state,
                    verdict: d.verdict,
                    score: d.judged.map(|j| j.score),
                    centre: decided.map(|j| j.centre),
                    good: decided.map(|j| Interval {
                        low: j.good_sizes.low,
                        high: j.good_sizes.high,
                    }),
                }
            });
        let mut known = Known {
            catalogue,
            works: workshop.works.clone(),
            straightened: Vec::new(),
            places: places.collect(),
            remains: Vec::new(),
            contradictions: Vec::new(),
            has_grain: has_grain(piece.table.specimens.finishes.get(piece.row)),
            refused: Vec::new(),
            usual: Vec::new(),
        };
        let floors = workshop.floors.iter();
        known.remains = floors.map(|floor| known.remaining(floor)).collect();
        let contradictions = known.remains.iter();
        known.contradictions = contradictions
            .filter_map(|remains| known.contradiction(remains))
            .collect();
        known.refused = (0..known.works.len())
            .map(|work| known.refusal(work))
            .collect();
        known.usual = known.unmeasured(piece);
        known
    }

    /// Adds a work for each outline that should be made straight, and what must remain on its side of the
    /// piece.
    pub(super) fn straighten(&mut self, outlines: &[OutlineStock], workshop: &'a Workshop) {
        for (outline, stock) in outlines.iter().enumerate() {
            let (Ok(taken), None) = (&stock.stock, &stock.reason) else {
                continue;
            };
            let key = &stock.feature.feature.key;
            let mut ways = workshop.straightenings.iter();
            let Some(way) = ways.find(|way| way.features.contains(key)) else {
                continue;
            };
            let amount = taken.stock.deepest().1;
            if amount <= NOTHING {
                continue;
            }
            let per_mm = |terms: &Terms| -> Terms {
                let terms = terms.iter();
                terms.map(|(key, mm)| (key.clone(), mm / amount)).collect()
            };
            let rate = taken.volume / amount;
            let work = self.works.len();
            let moves = per_mm(&taken.moves);
            self.works
                .push(way.work(&stock.feature, moves.clone(), rate));
            self.straightened.push(Straightened {
                outline,
                feature: stock.feature.clone(),
                work,
                amount,
                moves,
                thins: per_mm(&taken.thins),
                across: taken.across.clone(),
            });
            let thinned: Vec<Remains<'a>> = (self.remains.iter())
                .filter(|r| r.side.is_none() && binds(r.floor))
                .map(|r| Remains {
                    side: Some(work),
                    ..r.clone()
                })
                .filter(|r| self.change(work, r) < 0.0)
                .collect();
            self.remains.extend(thinned);
            let refusal = self.refusal(work);
            self.refused.push(refusal);
        }
        self.count_once();
    }

    /// Takes it that these outlines (by their position) stay as they are, each for its reason; says whether others
    /// count otherwise without them.
    pub(super) fn leave(&mut self, crooked: &[(usize, Reason)]) -> bool {
        for one in &self.straightened {
            let mut reasons = crooked.iter();
            if let Some((_, reason)) = reasons.find(|(outline, _)| *outline == one.outline) {
                self.refused[one.work].get_or_insert_with(|| reason.clone());
            }
        }
        let moves = |known: &Self| -> Vec<Terms> {
            let done = (known.straightened.iter()).filter(|s| known.refused[s.work].is_none());
            done.map(|s| known.works[s.work].moves.clone()).collect()
        };
        let before = moves(self);
        self.count_once();
        before != moves(self)
    }

    /// What one reading meets counts once. The wall thickness is that of the thinnest wall: of all walls that get
    /// thinner only the one that loses most counts, as if it were that. A diameter lies across two walls that face
    /// each other: only the two that lose most together.
    fn count_once(&mut self) {
        for one in &self.straightened {
            self.works[one.work].moves.clone_from(&one.moves);
        }
        let features = self.straightened.iter().map(|s| s.feature.to_string());
        let features: Vec<String> = features.collect();
        self.keep_most(WALL, &features);
        let across = self
            .straightened
            .iter()
            .map(|s| s.feature.feature.key.as_str());
        let across: Vec<&str> = across
            .map(|wall| match wall {
                "bowl_wall_left" | "bowl_wall_right" => "side to side",
                _ => "front to back",
            })
            .collect();
        for diameter in outline::DIAMETERS {
            self.keep_most(diameter, &across);
        }
    }

    /// Of the groups of straightened outlines (one name an outline) only the one that takes most off a dimension
    /// counts; of several alike the first.
    fn keep_most<T: PartialEq>(&mut self, key: &str, groups: &[T]) {
        let loss = |s: &Straightened| match self.refused[s.work] {
            None => -factor(&s.moves, key) * s.amount,
            Some(_) => 0.0,
        };
        let losses: Vec<f64> = self.straightened.iter().map(loss).collect();
        let of_group = |group: &T| -> f64 {
            let both = groups.iter().zip(&losses);
            both.filter(|(of, _)| *of == group).map(|(_, mm)| mm).sum()
        };
        let mut most: Option<(&T, f64)> = None;
        for group in groups {
            let sum = of_group(group);
            if most.is_none_or(|(_, so_far)| sum > so_far) {
                most = Some((group, sum));
            }
        }
        for (one, group) in self.straightened.iter().zip(groups) {
            if most.is_some_and(|(kept, _)| kept != group) {
                self.works[one.work].moves.retain(|(known, _)| known != key);
            }
        }
    }

    /// The straightening that a work is, if it is one.
    pub(super) fn straightening(&self, work: usize) -> Option<&Straightened> {
        self.straightened.iter().find(|s| s.work == work)
    }

    /// What must remain and can be told.
    pub(super) fn told(&self) -> impl Iterator<Item = (&Remains<'a>, f64)> {
        let binding = self.remains.iter().filter(|r| binds(r.floor));
        binding.filter_map(|r| Some((r, r.value?)))
    }

    /// How something that must remain moves with 1 mm of a work, by its place among the works.
    ///
    /// What comes off one side only comes off the wall on that side wholly: a thickness of which a wall is half
    /// loses it there alone.
    pub(super) fn change(&self, work: usize, remains: &Remains<'_>) -> f64 {
        let terms = &remains.floor.made_of;
        match self.straightening(work) {
            None => net(&self.works[work], terms),
            Some(_) if remains.side != Some(work) => 0.0,
            Some(one) => {
                let whole = |of: f64| of.signum() * of.abs().max(1.0);
                let parts = terms.iter();
                parts
                    .map(|(key, of)| whole(*of) * factor(&one.thins, key))
                    .sum()
            }
        }
    }

    /// By how much a quantity misses with each mm that a work (by its place) does, where it moves by `effect` with
    /// each mm of it. A straight line that lies too low does so all along, however little comes off there.
    pub(super) fn miss(&self, work: usize, of_weight: bool, effect: f64) -> f64 {
        match effect != 0.0 && !of_weight && self.straightening(work).is_some() {
            true => effect.signum(),
            false => effect,
        }
    }

    /// The place of a dimension, where it was measured.
    pub(super) fn place(&self, key: &str) -> Option<&Place> {
        let is = |place: &&Place| self.dimension(place).key == key;
        self.places.iter().find(is)
    }

    /// The same by its index in the catalogue.
    pub(super) fn place_of(&self, dimension: usize) -> Option<&Place> {
        self.places
            .iter()
            .find(|place| place.dimension == dimension)
    }

    pub(super) fn dimension(&self, place: &Place) -> &'a Dimension {
        self.catalogue.at(place.dimension)
    }

    /// The name of a dimension.
    pub(super) fn label(&self, key: &str) -> String {
        let found = self.catalogue.find(key);
        found
            .map_or(key, |at| &self.catalogue.at(at).label)
            .to_owned()
    }

    /// A length that a volume is made of, in mm: as measured, or else as usual.
    pub(super) fn size(&self, size: &Size) -> f64 {
        match size {
            Size::Fixed(mm) => *mm,
            Size::Of(key) => match self.place(key) {
                Some(place) => place.value,
                None => {
                    let usual = self.usual.iter().find(|(known, _)| known == key);
                    usual.map_or(0.0, |&(_, mm)| mm)
                }
            },
        }
    }

    /// What the volume of a work, by its place, is made of without having been measured: names and sizes taken
    /// instead.
    pub(super) fn assumed(&self, work: usize) -> Vec<(String, f64)> {
        let keys: Vec<&str> = match self.straightening(work) {
            Some(one) => one.across.clone(),
            None => keys(&self.works[work].solid).collect(),
        };
        let unknown = keys.into_iter().filter(|key| self.place(key).is_none());
        unknown
            .map(|key| (self.label(key), self.size(&Size::Of(key.to_owned()))))
            .collect()
    }

    /// A combination of dimensions and its standard uncertainty, where all were measured and can be so.
    pub(super) fn sum(&self, terms: &Terms) -> Option<(f64, f64)> {
        let mut sum = (0.0, 0.0_f64);
        for (key, factor) in terms {
            let place = self.place(key)?;
            sum.0 += factor * place.value;
            sum.1 = sum.1.hypot(factor * place.uncertainty);
        }
        Some(sum)
    }

    fn remaining<'w>(&self, floor: &'w Floor) -> Remains<'w> {
        let terms = floor.made_of.iter();
        let missing = terms.filter(|(key, _)| self.place(key).is_none());
        Remains {
            floor,
            value: floor.left(|key| Some(self.place(key)?.value)),
            missing: missing.map(|(key, _)| self.label(key)).collect(),
            side: None,
        }
    }

    fn contradiction(&self, remains: &Remains<'_>) -> Option<Contradiction> {
        let floor = remains.floor;
        if floor.of == FloorKind::Fit {
            return None;
        }
        let (sum, uncertainty) = self.sum(&floor.made_of)?;
        let reading = |(key, _): &(String, f64)| Some((self.label(key), self.place(key)?.value));
        (sum < -CONTRADICTS * uncertainty - f64::EPSILON).then(|| Contradiction {
            label: floor.label.clone(),
            sum,
            uncertainty,
            keys: floor.made_of.iter().map(|(key, _)| key.clone()).collect(),
            readings: floor.made_of.iter().filter_map(reading).collect(),
        })
    }

    /// Why a work is out of the question, whatever it is wanted for.
    fn refusal(&self, at: usize) -> Option<Reason> {
        let work = &self.works[at];
        if self.has_grain && work.precautions.iter().any(|p| p.key == GRAIN) {
            return Some(Reason::Grain);
        }
        for (key, _) in &work.moves {
            let of_key = |c: &&Contradiction| c.keys.contains(key);
            if let Some(contradiction) = self.contradictions.iter().find(of_key) {
                return Some(Reason::Contradiction(contradiction.clone()));
            }
        }
        // Sizes that the work moves, and those that the walls which it thins are made of.
        let thinned = self
            .remains
            .iter()
            .filter(|r| binds(r.floor) && self.change(at, r) < 0.0);
        let keys = thinned.clone().flat_map(|r| r.floor.made_of.iter());
        for (key, _) in work.moves.iter().chain(keys) {
            let doubtful = |place: &&Place| !self.dimension(place).is_credible(place.value);
            if let Some(place) = self.place(key).filter(|p| doubtful(p)) {
                return Some(Reason::Doubtful {
                    dimension: self.dimension(place).label.clone(),
                });
            }
        }
        let unknown = thinned.filter(|r| r.floor.needed && r.value.is_none());
        unknown
            .map(|r| Reason::MeasureFirst {
                dimensions: r.missing.clone(),
                floor: r.floor.label.clone(),
            })
            .next()
    }

    /// What is taken for the lengths of solids that were not measured: the median of the pattern's
    /// references, or else the middle of what a real pipe can have.
    fn unmeasured(&self, piece: &Piece<'_>) -> Vec<(String, f64)> {
        let of_works = self.works.iter().flat_map(|work| keys(&work.solid));
        let all = of_works.chain(outline::ACROSS);
        let mut keys: Vec<&str> = all.filter(|key| self.place(key).is_none()).collect();
        keys.sort();
        keys.dedup();
        let of_references = |key: &str| {
            let (table, group) = (piece.evidence.cohort().table(), piece.group?);
            let is = |c: &crate::table::Column| fold(&table.dimension(c).key) == fold(key);
            let column = table.columns.iter().position(is)?;
            let references = piece.evidence.references(column, group, &piece.own);
            let values = references
                .iter()
                .map(|r| table.columns[column].values[r.row()]);
            median(&values.collect::<Vec<f64>>()).ok()
        };
        let credible = |key: &str| {
            let at = self.catalogue.find(key)?;
            self.catalogue
                .at(at)
                .credible
                .map(|(low, high)| 0.5 * (low + high))
        };
        let usual = |key: &str| {
            let mm = of_references(key).or_else(|| credible(key)).unwrap_or(0.0);
            (key.to_owned(), mm)
        };
        keys.into_iter().map(usual).collect()
    }
}

/// Whether a floor binds works; else it only tells readings that contradict each other.
fn binds(floor: &Floor) -> bool {
    floor.of != FloorKind::Readings
}

/// Whether a finish, by its name, has a grain: blasted, rusticated or carved.
fn has_grain(finish: &str) -> bool {
    let finish = fold(finish);
    ["blast", "rustic", "carv"]
        .iter()
        .any(|part| finish.contains(part))
}

/// The dimensions that a solid is made of.
fn keys(solid: &Solid) -> impl Iterator<Item = &str> {
    let sizes = solid.sizes().into_iter();
    sizes.filter_map(|size| match size {
        Size::Of(key) => Some(&**key),
        Size::Fixed(_) => None,
    })
}

/// What one mm of a work costs, by the mm3 that it takes off: near 1, as suits the solver, and none is free.
pub(super) fn cost(rate: f64) -> f64 {
    const UNIT: f64 = 1e3;
    const LEAST: f64 = 1.0;
    rate.max(LEAST) / UNIT
}

/// How a combination of dimensions moves with 1 mm of a work.
fn net(work: &Work, terms: &Terms) -> f64 {
    let sum: f64 = terms
        .iter()
        .map(|(key, factor)| factor * work.moves(key))
        .sum();
    // 0.5 * -2 + 1 is nothing at all.
    if sum.abs() < 1e-12 { 0.0 } else { sum }
}
