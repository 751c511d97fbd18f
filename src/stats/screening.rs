//! References that are unlike their fellows: set aside one by one, never deleted.
//!
//! # Method
//! Each reference is judged by the rest with the predictive t, its own period and uncertainty. With
//! `m >= 3` left, if the smallest p times `m` is under 0.02, that reference is set aside, and so on,
//! until `floor((n - 1) / 2)` are. If at the end the smallest p (times `m`, for `m > 2`) is still
//! under 0.02, the references disagree.
//!
//! # Source
//! Leave-one-out, externally studentized residuals: R. D. Cook and S. Weisberg, Residuals and
//! Influence in Regression (1982); the spread is borrowed.

use smallvec::SmallVec;

use super::deletion::Deletions;
use super::predictive::{Predictive, Prior};
use super::two_level::{LeftOut, Rated, TwoLevel, relative, runs, two_level};
use super::{normal_upper_quantile, t_two_sided};

/// Reject at this level, over all references of a set.
const ALPHA: f64 = 0.02;
/// Room for the readings that are set aside from most sets.
const FEW: usize = 8;
/// Rejected at a level that is so many times smaller, a reference is set aside with one less as well:
/// among a dozen that moves its T by a tenth at most.
const BY_FAR: f64 = 10.0;

/// The outcome of screening a set of references.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Screened {
    /// Indices of the references that stay, in their order.
    pub kept: Vec<usize>,
    /// Those set aside, in the order in which they went.
    pub set_aside: Vec<SetAsideReference>,
    /// Whether those that stay still disagree.
    pub disagree: bool,
    /// The places in `kept` of those that are so near to being set aside that one reference less may tip
    /// the balance, the one with the largest `|T|` first.
    pub near: Vec<usize>,
    /// The two-level sums of those that stay, with the ratio and the spread of the prior.
    pub sums: Option<TwoLevel>,
}

/// A reference that was set aside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SetAsideReference {
    /// Its index.
    pub index: usize,
    /// Its p by the others.
    pub p: f64,
    /// Its deviation from the others' centre.
    pub deviation: f64,
    /// Whether it would be set aside with any one reference of another period less as well.
    pub by_far: bool,
}

impl Screened {
    /// What those that stay say of the next undated piece; `prior` is the one they were screened by.
    pub fn predictive(self, prior: &Prior) -> Option<Predictive> {
        Predictive::from_sums(self.sums?, prior)
    }
}

/// Screens references by a prior spread. Without one all stay: screening by a spread that the
/// references themselves must tell finds too much.
pub fn screen<R: Copy + Into<Rated>>(readings: &[R], prior: &Prior) -> Screened {
    let outcome = Outcome::of(readings, None, prior, None, |gone| match gone {
        [] => two_level(readings, prior.lambda, prior.variance),
        gone => two_level(&all_but(readings, gone), prior.lambda, prior.variance),
    });
    let gone: Vec<usize> = outcome.set_aside.iter().map(|aside| aside.index).collect();
    let all: Vec<usize> = (0..readings.len()).collect();
    let kept = all_but(&all, &gone);
    let place = |at: &usize| kept.binary_search(at).ok();
    Screened {
        near: outcome.near.iter().filter_map(place).collect(),
        kept,
        set_aside: outcome.set_aside,
        disagree: outcome.disagree,
        sums: outcome.sums,
    }
}

/// A screened set of readings, for screening it anew without one or another of them.
#[derive(Clone, Debug)]
pub(crate) struct ScreenedSet {
    deletions: Deletions,
    /// The places of those that do not stay; `deletions` are of the others.
    aside: Vec<usize>,
    edge: Edge,
}

impl ScreenedSet {
    /// The readings, sorted by period, of which those at some places do not stay; `sums` are of those that do,
    /// with that prior.
    pub(crate) fn new<R: Copy + Into<Rated>>(
        readings: &[R],
        aside: Vec<usize>,
        sums: &TwoLevel,
        prior: &Prior,
    ) -> ScreenedSet {
        ScreenedSet {
            deletions: Deletions::new(&all_but(readings, &aside), prior.variance),
            aside,
            edge: Edge::new(readings, sums, prior),
        }
    }

    /// The sums of those that stay, or of all of these but one.
    pub(crate) fn left<R: Copy + Into<Rated>>(
        &self,
        but: Option<R>,
        prior: &Prior,
    ) -> Option<TwoLevel> {
        let but: Option<Rated> = but.map(Into::into);
        let deletions = &self.deletions;
        deletions.changed(but.as_slice(), &[], prior.lambda, prior.variance)
    }

    /// The two-level sums of the readings that stay when all but the one at `left_out` are screened, of the
    /// readings that the set is made of. Its sums have nine digits and more; `None` where they would have
    /// less.
    pub(crate) fn without<R: Copy + Into<Rated>>(
        &self,
        readings: &[R],
        left_out: usize,
        prior: &Prior,
    ) -> Option<TwoLevel> {
        let some = |of: &[usize], but: &[usize]| -> SmallVec<[Rated; FEW]> {
            let of = of.iter().filter(|at| !but.contains(at));
            of.map(|&at| readings[at].into()).collect()
        };
        let sums_without = |gone: &[usize]| {
            let (less, more) = (some(gone, &self.aside), some(&self.aside, gone));
            let deletions = &self.deletions;
            deletions.changed(&less, &more, prior.lambda, prior.variance)
        };
        let edge = Some(&self.edge);
        Outcome::of(readings, Some(left_out), prior, edge, sums_without).sums
    }
}

/// The readings of a set that are not well inside: of many screenings of nearly the same set, none finds
/// another one unlike its fellows.
#[derive(Clone, Debug)]
struct Edge {
    places: Vec<usize>,
    /// Of the others.
    periods: Vec<Inside>,
}

/// Where the readings of a known period that are not at the edge stand.
#[derive(Clone, Copy, Debug)]
struct Inside {
    period: Option<u32>,
    centre: f64,
    /// The greatest distance from the centre.
    reach: f64,
    /// The least of their squared uncertainties.
    least_u2: f64,
}

impl Edge {
    fn new<R: Copy + Into<Rated>>(readings: &[R], sums: &TwoLevel, prior: &Prior) -> Edge {
        /// Of the distance at which a reading is near the limit: room for the norm to move.
        const ROOM: f64 = 0.85;
        let (_, near) = inside(sums, prior, ALPHA / sums.n.max(2) as f64);
        let calm = calm(sums, prior, near);
        let (mut places, mut periods) = (Vec::new(), Vec::new());
        let mut start = 0;
        for run in runs(readings) {
            let first: Rated = run[0].into();
            let (centre, share) = sums.residuals(first.period).unwrap_or((f64::NAN, 0.0));
            let reach = ROOM * (calm * (1.0 - share)).sqrt();
            let mut of = Inside {
                period: first.period,
                centre,
                reach,
                least_u2: f64::INFINITY,
            };
            for (i, &reading) in run.iter().enumerate() {
                let Rated { x, u, .. } = reading.into();
                if (x - centre).abs() < reach {
                    of.least_u2 = of.least_u2.min(u * u);
                } else {
                    places.push(start + i);
                }
            }
            if of.least_u2.is_finite() {
                periods.push(of);
            }
            start += run.len();
        }
        Edge { places, periods }
    }

    /// Whether all readings that are not at the edge are calm by other sums of nearly the same set.
    fn holds(&self, sums: &TwoLevel, calm: f64, per_variance: f64) -> bool {
        self.periods.iter().all(|of| {
            let Some((centre, share)) = sums.residuals(of.period) else {
                return false;
            };
            let reach = of.reach + (centre - of.centre).abs();
            reach * reach < calm * (1.0 + of.least_u2 * per_variance - share)
        })
    }
}

/// What comes of screening, with indices among all readings.
#[derive(Default)]
struct Outcome {
    set_aside: Vec<SetAsideReference>,
    disagree: bool,
    near: Vec<usize>,
    /// Of those that stay; `None` where they cannot be told.
    sums: Option<TwoLevel>,
}

impl Outcome {
    /// Screens readings, but for one; `sums_without` gives the sums of those that are not gone. Where the edge
    /// of nearly the same set is known, few are looked at.
    fn of<R: Copy + Into<Rated>>(
        readings: &[R],
        left_out: Option<usize>,
        prior: &Prior,
        edge: Option<&Edge>,
        sums_without: impl Fn(&[usize]) -> Option<TwoLevel>,
    ) -> Outcome {
        let mut gone: SmallVec<[usize; FEW]> = left_out.into_iter().collect();
        let most = (readings.len() - gone.len()).saturating_sub(1) / 2;
        let mut set_aside = Vec::new();
        loop {
            let m = readings.len() - gone.len();
            let comparisons = if m > 2 { m as f64 } else { 1.0 };
            let sums = sums_without(&gone);
            if prior.df == 0.0 {
                return Outcome {
                    sums,
                    ..Outcome::default()
                };
            }
            let of_sums = |sums| compare(sums, readings, &gone, prior, ALPHA / comparisons, edge);
            let Comparison { unlike, near } = sums.as_ref().map(of_sums).unwrap_or_default();
            match unlike {
                Some((at, p, deviation)) if m >= 3 && set_aside.len() < most => {
                    set_aside.push(SetAsideReference {
                        index: at,
                        p,
                        deviation,
                        by_far: p * comparisons * BY_FAR <= ALPHA,
                    });
                    gone.push(at);
                }
                _ => {
                    return Outcome {
                        set_aside,
                        disagree: unlike.is_some(),
                        near,
                        sums,
                    };
                }
            }
        }
    }
}

/// Those that are not at some places.
pub(crate) fn all_but<T: Copy>(all: &[T], gone: &[usize]) -> Vec<T> {
    let mut gone = gone.to_vec();
    gone.sort_unstable();
    let mut left = Vec::with_capacity(all.len());
    let mut from = 0;
    for at in gone {
        left.extend_from_slice(&all[from..at]);
        from = at + 1;
    }
    left.extend_from_slice(&all[from..]);
    left
}

/// Readings compared with each other.
#[derive(Default)]
struct Comparison {
    /// Place, p and deviation of the reading least like the others, if its p is under the limit.
    unlike: Option<(usize, f64, f64)>,
    /// Places of those near the limit, the one with the largest `|T|` first.
    near: Vec<usize>,
}

/// Judges each reading that is not gone by the others; a p under `limit` is unlike.
fn compare<R: Copy + Into<Rated>>(
    sums: &TwoLevel,
    readings: &[R],
    gone: &[usize],
    prior: &Prior,
    limit: f64,
    edge: Option<&Edge>,
) -> Comparison {
    let mut comparison = Comparison::default();
    if sums.n < 2 {
        return comparison;
    }
    let (inside, near) = inside(sums, prior, limit);
    let calm = calm(sums, prior, near);
    let mut least = (limit, 0.0);
    let mut at_the_limit: SmallVec<[(f64, usize); FEW]> = SmallVec::new();
    let mut judge = |at: usize| {
        if gone.contains(&at) {
            return None;
        }
        let left = left_out(sums, readings, gone, at)?;
        let (t, nu) = prior.studentized(&left)?;
        let t = t.abs();
        if t > near {
            at_the_limit.push((t, at));
        }
        if t < inside {
            return None;
        }
        let p = t_two_sided(t, nu);
        // Of two that are both impossible the one further off.
        if p < least.0 || (p == least.0 && p < limit && t > least.1) {
            least = (p, t);
            comparison.unlike = Some((at, p, left.deviation));
        }
        Some(())
    };
    // Near enough for the room that `calm` leaves, and no division a reading.
    let per_variance = relative(1.0, prior.variance);
    // One without a period has little in common with others: NaN is never calm.
    let common = |period| sums.residuals(period).unwrap_or((f64::NAN, 0.0));
    let is_calm = |(centre, share): (f64, f64), reading: R| {
        let Rated { x, u, .. } = reading.into();
        let r = u * u * per_variance;
        (x - centre).powi(2) < calm * (1.0 + r - share)
    };
    match edge.filter(|edge| edge.holds(sums, calm, per_variance)) {
        Some(edge) => {
            for &at in &edge.places {
                let reading: Rated = readings[at].into();
                if !is_calm(common(reading.period), readings[at]) {
                    judge(at);
                }
            }
        }
        None => {
            let mut start = 0;
            for run in runs(readings) {
                let first: Rated = run[0].into();
                let of_run = common(first.period);
                for (i, &reading) in run.iter().enumerate() {
                    if !is_calm(of_run, reading) {
                        judge(start + i);
                    }
                }
                start += run.len();
            }
        }
    }
    at_the_limit.sort_by(|a, b| b.0.total_cmp(&a.0));
    comparison.near = at_the_limit.into_iter().map(|(_, at)| at).collect();
    comparison
}

/// The `|T|` under which no reading is unlike at that limit, and the one under which none is with one
/// reading less.
fn inside(sums: &TwoLevel, prior: &Prior, limit: f64) -> (f64, f64) {
    // No t has lighter tails than the normal: what is inside its limit needs no p.
    let inside = normal_upper_quantile(limit / 2.0);
    // With one reading less, s^2 falls by the share of the furthest that stays, at most.
    let nu = prior.df + sums.n as f64 - 2.0;
    let near = 0.98 * (1.0 - inside * inside / nu).max(0.0).sqrt() * inside;
    (inside, near)
}

/// The places of readings that may be set aside once another one of their period is left out: two strays
/// of one period vouch for each other. For readings that stayed, in the order of their periods.
pub(crate) fn loose<R: Copy + Into<Rated>>(
    readings: &[R],
    sums: &TwoLevel,
    prior: &Prior,
) -> Vec<usize> {
    /// Of the squared limit: the centre of all periods moves as well.
    const ROOM: f64 = 0.8;
    let mut loose = Vec::new();
    if prior.df == 0.0 || sums.n < 2 {
        return loose;
    }
    let (_, near) = inside(sums, prior, ALPHA / sums.n as f64);
    let calm = ROOM * calm(sums, prior, near);
    let weight = 1.0 / (1.0 + sums.mean_r);
    let mut start = 0;
    for run in runs(readings) {
        let of_run = || run.iter().map(|&reading| reading.into().x - sums.mu);
        let left = (run.len() as f64 - 2.0).max(0.0);
        let share = 1.0 - 1.0 / (1.0 + sums.lambda * weight * left);
        let limit = calm * (1.0 + sums.lambda * (1.0 - share));
        let (mut sum, mut far) = (0.0, 0.0f64);
        for x in of_run() {
            sum += x;
            far = far.max(x.abs());
        }
        let mean = |sum: f64| if left > 0.0 { sum / left } else { 0.0 };
        // No reading is further off than this, whichever other one is left out: mostly that is enough.
        let most = far + share * mean(sum.abs() + 2.0 * far);
        if run.len() > 1 && most * most >= limit {
            // The readings furthest down and up, and those next to them.
            let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
            for x in of_run() {
                low = [low[0].min(x), low[1].min(low[0].max(x))];
                high = [high[0].max(x), high[1].max(high[0].min(x))];
            }
            let is_loose = |x: f64| {
                // Its deviation from the others' centre is worst without the furthest on either side.
                [low, high].iter().any(|&[first, second]| {
                    let without = if x == first { second } else { first };
                    (x - share * mean(sum - x - without)).powi(2) >= limit
                })
            };
            let places = of_run().enumerate().filter(|&(_, x)| is_loose(x));
            loose.extend(places.map(|(i, _)| start + i));
        }
        start += run.len();
    }
    loose
}

/// A reading whose squared residual over its own share, `(P x)_i^2 / P_ii`, is under this has a
/// `|T|` under `t`, whatever its error: most readings need no more than that.
fn calm(sums: &TwoLevel, prior: &Prior, t: f64) -> f64 {
    let (m, t2) = (sums.n as f64, t * t);
    if prior.df.is_infinite() {
        return t2 * prior.variance * (1.0 - 1e-9);
    }
    // The least share of Q that counts without any one reading, and the most degrees of freedom.
    let share = (1.0 + m * sums.mean_r / (m - 1.0)).powi(-2);
    let nu = prior.df + m - 2.0;
    t2 * (prior.df * prior.variance + share * sums.q) / (nu + t2 * share) * (1.0 - 1e-9)
}

/// What the others say of one reading.
fn left_out<R: Copy + Into<Rated>>(
    sums: &TwoLevel,
    readings: &[R],
    gone: &[usize],
    at: usize,
) -> Option<LeftOut> {
    let own: Rated = readings[at].into();
    sums.without(own).or_else(|| {
        let others = all_but(readings, &[gone, &[at]].concat());
        Some(two_level(&others, sums.lambda, sums.variance)?.seen_from(own))
    })
}
