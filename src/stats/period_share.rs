//! How much of the spread lies between periods: one number for a whole collection.
//!
//! # Method
//! Posterior mean of `rho` on a grid under a uniform prior, from the exact likelihood of the
//! location-scale invariant of each set, so that neither centre nor spread of a set enters:
//! `l(rho) = -1/2 sum [ln|A| - ln V + (n - 1) ln Q]`. Never stuck at 0.
//!
//! # Source
//! H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545-554; D. A. Harville, Biometrika 61
//! (1974) 383-385.

use std::ops::Range;

use smallvec::SmallVec;

use super::two_level::{Rated, USUAL, two_level};

/// Grid points of `rho`, and of `phi` in the borrowed spread.
pub(super) const GRID: usize = 20;
/// A set that is constant says nothing of shares.
const LEAST_Q: f64 = 1e-20;

/// The share of the variance that lies between periods.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PeriodShare {
    /// `rho`, between 0 and 1.
    pub rho: f64,
}

impl PeriodShare {
    /// `lambda = rho / (1 - rho)`: variance between periods over variance within.
    pub fn lambda(&self) -> f64 {
        self.rho / (1.0 - self.rho)
    }
}

fn rho_at(j: usize) -> f64 {
    (j as f64 + 0.5) / GRID as f64
}

fn lambda_at(j: usize) -> f64 {
    let rho = rho_at(j);
    rho / (1.0 - rho)
}

/// One set of readings by periods: what it says of the share, with any of its readings left out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ShareSet {
    /// Label, readings and mean of each period; none at all of a set that can never tell.
    periods: SmallVec<[(Option<u32>, f64, f64); USUAL]>,
    /// Sum of squares within periods.
    within: f64,
}

impl ShareSet {
    /// Sums up a set; reading errors are left out. A set can tell that has a period of two readings
    /// or more and a second period.
    pub fn new<R: Copy + Into<Rated>>(set: &[R]) -> ShareSet {
        let Some(sums) = two_level(set, 0.0, f64::INFINITY) else {
            return ShareSet::default();
        };
        // Nor do readings that are all alike, or squares beyond all numbers.
        let telling = sums.periods.len() >= 2 && sums.periods.len() < sums.n;
        if !telling || sums.q <= LEAST_Q || !sums.q.is_finite() {
            return ShareSet::default();
        }
        let periods = sums.periods.iter();
        ShareSet {
            periods: periods.map(|p| (p.period, p.weight, p.mean)).collect(),
            within: sums.within,
        }
    }

    /// Whether the set says nothing, whichever of its readings are left out.
    pub fn is_silent(&self) -> bool {
        self.periods.is_empty()
    }

    /// The set without one of its readings; `None` where so little of the squares within periods
    /// would be left that their digits are gone: the caller then sums up the others afresh.
    pub fn without(&self, reading: Rated) -> Option<ShareSet> {
        /// At this share of the old squares four digits are lost, twelve stand.
        const LEAST_LEFT: f64 = 1e-4;
        let mut left = self.clone();
        let own = |&(label, _, mean): &(Option<u32>, f64, f64)| match label {
            Some(_) => label == reading.period,
            None => reading.period.is_none() && mean == reading.x,
        };
        let at = left.periods.iter().position(own)?;
        let (_, n, mean) = &mut left.periods[at];
        if *n < 2.0 {
            left.periods.remove(at);
            return Some(left);
        }
        let off = reading.x - *mean;
        *mean -= off / (*n - 1.0);
        left.within -= off * off * *n / (*n - 1.0);
        *n -= 1.0;
        (left.within >= LEAST_LEFT * self.within).then_some(left)
    }

    /// How much the log likelihood at one grid point can change against that at another, at most, when any one of
    /// the readings is left out; infinite where that is not known. `set` is what the set was made of, period by
    /// period.
    ///
    /// What a reading says of `rho` is the logarithm of its predictive t density by the others,
    /// `-1/2 ln(Q h) - (n - 1)/2 ln(1 + d^2 / (Q h))` but for a constant. `Q` is the others' squares within periods
    /// at least, and those about one centre at most; `h` is from 1 to `2 + 2 lambda`; neither `d` nor means are
    /// further apart than the readings.
    pub(crate) fn sway<R: Copy + Into<Rated>>(&self, set: &[R]) -> f64 {
        /// Of the squares within periods: less would be lost in their digits.
        const LEAST_LEFT: f64 = 1e-6;
        if self.is_silent() {
            return 0.0;
        }
        let (mut low, mut high, mut most) = (f64::INFINITY, f64::NEG_INFINITY, 0.0f64);
        let mut rest = set;
        for &(_, n, mean) in &self.periods {
            let Some((of_period, others)) = rest.split_at_checked(n as usize) else {
                return f64::INFINITY;
            };
            rest = others;
            let of_run = || of_period.iter().map(|&reading| reading.into().x);
            let (least, greatest) = of_run()
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, g), x| {
                    (l.min(x), g.max(x))
                });
            (low, high) = (low.min(least), high.max(greatest));
            if n > 1.0 {
                let off = (mean - least).max(greatest - mean);
                most = most.max(off * off * n / (n - 1.0));
            }
        }
        let single = self.periods.iter().any(|of| of.1 < 2.0);
        let within = self.within - most;
        let tells = within > LEAST_Q.max(LEAST_LEFT * self.within);
        if !tells || single && self.periods.len() < 3 {
            return f64::INFINITY;
        }
        let (n, most_h) = (self.readings() - 1.0, 2.0 + 2.0 * lambda_at(GRID - 1));
        let apart = (high - low).powi(2) / within;
        0.5 * ((most_h * (1.0 + n * apart)).ln() + n * apart.ln_1p())
    }

    fn readings(&self) -> f64 {
        self.periods.iter().map(|p| p.1).sum()
    }

    fn can_tell(&self) -> bool {
        let periods = self.periods.len();
        if periods < 2 || periods as f64 == self.readings() {
            return false;
        }
        let spread = |p: &(Option<u32>, f64, f64)| (p.2 - self.periods[0].2).powi(2);
        self.within + self.periods.iter().map(spread).sum::<f64>() > LEAST_Q
    }

    /// What the set says at some grid points; at the others 0.
    pub fn evidence(&self, grid: Range<usize>) -> ShareEvidence {
        let mut evidence = ShareEvidence::default();
        if !self.can_tell() {
            return evidence;
        }
        evidence.telling = 1;
        let n = self.readings();
        let origin = self.periods[0].2;
        for j in grid {
            let lambda = lambda_at(j);
            let (mut precision, mut shift) = (0.0, 0.0);
            let mut determinant = LnProduct::default();
            for (_, n, mean) in &self.periods {
                let inverse = n / (1.0 + lambda * n);
                precision += inverse;
                shift += (mean - origin) * inverse;
                determinant.times(1.0 + lambda * n);
            }
            let centre = shift / precision;
            let between = |(_, m, mean): &(Option<u32>, f64, f64)| {
                (mean - origin - centre).powi(2) * m / (1.0 + lambda * m)
            };
            let q = self.within + self.periods.iter().map(between).sum::<f64>();
            if q > LEAST_Q {
                determinant.times(precision);
                evidence.log_likelihood[j] = -0.5 * (determinant.ln() + (n - 1.0) * q.ln());
            }
        }
        evidence
    }
}

/// The logarithm of a product of many numbers, in few logarithms.
struct LnProduct {
    product: f64,
    ln: f64,
}

impl Default for LnProduct {
    fn default() -> LnProduct {
        LnProduct {
            product: 1.0,
            ln: 0.0,
        }
    }
}

impl LnProduct {
    fn times(&mut self, factor: f64) {
        self.product *= factor;
        if !(1e-150..1e150).contains(&self.product) {
            self.ln += self.product.ln();
            self.product = 1.0;
        }
    }

    fn ln(&self) -> f64 {
        self.ln + self.product.ln()
    }
}

/// What sets of readings (a pattern's references of one dimension each) say of the period share: log
/// likelihoods, which add up.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ShareEvidence {
    /// At the grid points `(j - 1/2) / 20`.
    log_likelihood: [f64; GRID],
    /// Sets that can tell.
    telling: usize,
}

impl ShareEvidence {
    /// How many grid points there are.
    pub const GRID: usize = GRID;

    /// What one set says.
    pub fn of<R: Copy + Into<Rated>>(set: &[R]) -> ShareEvidence {
        ShareSet::new(set).evidence(0..GRID)
    }

    /// Log likelihood at the grid points `(j - 1/2) / 20`, but for a constant.
    pub fn log_likelihood(&self) -> &[f64] {
        &self.log_likelihood
    }

    /// How many sets can tell.
    pub fn telling(&self) -> usize {
        self.telling
    }

    /// Takes in what others say.
    pub fn add(&mut self, others: &ShareEvidence) {
        self.telling += others.telling;
        for (term, other) in self.log_likelihood.iter_mut().zip(others.log_likelihood) {
            *term += other;
        }
    }

    /// Takes out what some of those taken in say.
    pub fn remove(&mut self, some: &ShareEvidence) {
        self.telling -= some.telling;
        for (term, some) in self.log_likelihood.iter_mut().zip(some.log_likelihood) {
            *term -= some;
        }
    }

    /// Takes out what one set says, given at some grid points.
    pub(crate) fn remove_set(&mut self, set: &ShareSet, grid: Range<usize>, said: &[f64]) {
        self.telling -= usize::from(set.can_tell());
        for (term, said) in self.log_likelihood[grid].iter_mut().zip(said) {
            *term -= said;
        }
    }

    /// The share; `rho = 0` where no set can tell.
    pub fn share(&self) -> PeriodShare {
        let rho = match self.telling {
            0 => 0.0,
            _ => posterior_mean(&self.log_likelihood, rho_at),
        };
        PeriodShare { rho }
    }

    /// The share where one grid point is so far above all others that these weigh nothing, and how much less far
    /// it could be.
    pub(crate) fn certain(&self) -> Option<(PeriodShare, f64)> {
        /// What is so far below the best point adds nothing to the last digit of the mean.
        const FAR: f64 = 45.0;
        let all = || self.log_likelihood.iter().copied().enumerate();
        let (best, most) = all().max_by(|a, b| a.1.total_cmp(&b.1))?;
        let others = all().filter(|&(j, _)| j != best).map(|(_, said)| said);
        let room = most - others.fold(f64::NEG_INFINITY, f64::max) - FAR;
        let share = PeriodShare { rho: rho_at(best) };
        (self.telling > 0 && room > 0.0).then_some((share, room))
    }

    /// The grid points that count, and one more at either end: all others weigh under 1e-24
    /// together.
    pub fn support(&self) -> Range<usize> {
        const FAR: f64 = 60.0;
        let all = self.log_likelihood.iter();
        let best = all.clone().copied().fold(f64::NEG_INFINITY, f64::max);
        let counts = |l: &f64| *l >= best - FAR;
        let first = all.clone().position(counts).unwrap_or(0);
        let last = all.clone().rposition(counts).unwrap_or(GRID - 1);
        first.saturating_sub(1)..(last + 2).min(GRID)
    }

    /// The share by some grid points only; `None` where others may count as well.
    pub fn share_within(&self, grid: Range<usize>) -> Option<PeriodShare> {
        const NEAR: f64 = 40.0;
        if self.telling == 0 {
            return Some(PeriodShare { rho: 0.0 });
        }
        let l = &self.log_likelihood[grid.clone()];
        let best = l.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let ends = [(grid.start > 0, l.first()), (grid.end < GRID, l.last())];
        let cut =
            |&(inside, l): &(bool, Option<&f64>)| inside && l.is_none_or(|l| *l > best - NEAR);
        if ends.iter().any(cut) {
            return None;
        }
        let rho = posterior_mean(l, |i| rho_at(grid.start + i));
        Some(PeriodShare { rho })
    }
}

/// Fits the share to sets of readings.
pub fn period_share<'a>(sets: impl IntoIterator<Item = &'a [Rated]>) -> PeriodShare {
    let mut evidence = ShareEvidence::default();
    for set in sets {
        evidence.add(&ShareEvidence::of(set));
    }
    evidence.share()
}

/// The mean of `value` over grid points whose log weights are given.
pub(super) fn posterior_mean(log_weights: &[f64], value: impl Fn(usize) -> f64) -> f64 {
    let most = log_weights
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let (mut sum, mut weights) = (0.0, 0.0);
    for (j, log_weight) in log_weights.iter().enumerate() {
        let weight = (log_weight - most).exp();
        sum += weight * value(j);
        weights += weight;
    }
    sum / weights
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers from 0 to 1, the same every time.
    fn numbers() -> impl FnMut() -> f64 {
        let mut state = 7u64;
        move || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 11) as f64 / (1u64 << 53) as f64
        }
    }

    /// A set of one to six readings in each of so many periods, of which one may be far off, if it is among the
    /// first `strays`.
    fn set(number: &mut impl FnMut() -> f64, periods: u32, strays: f64) -> Vec<Rated> {
        let stray = (number() * strays) as usize;
        let mut all = Vec::new();
        for period in 0..periods {
            // rho near 0.525, a grid point.
            let centre = 1.05 * number();
            for _ in 0..1 + (number() * 6.0) as usize {
                let off = if all.len() == stray { 30.0 } else { 0.0 };
                all.push(Rated {
                    x: centre + number() + off,
                    u: 0.0,
                    period: Some(period),
                });
            }
        }
        all
    }

    /// No reading left out, of any set, moves one grid point against another by more than the set's sway.
    #[test]
    fn sway_is_not_exceeded() {
        let mut number = numbers();
        let (mut bounded, mut closest) = (0, f64::INFINITY);
        for round in 0..2000 {
            let readings = set(&mut number, 2 + round % 5, 40.0);
            let (all, sway) = {
                let set = ShareSet::new(&readings);
                (set.evidence(0..GRID), set.sway(&readings))
            };
            bounded += usize::from(sway.is_finite());
            for i in 0..readings.len() {
                let mut others = readings.clone();
                others.remove(i);
                let others = ShareEvidence::of(&others);
                let moved = all.log_likelihood.iter().zip(others.log_likelihood);
                let moved: Vec<f64> = moved.map(|(all, others)| all - others).collect();
                let most = moved.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let least = moved.iter().copied().fold(f64::INFINITY, f64::min);
                assert!(most - least <= sway, "{}: {readings:?}", most - least);
                closest = closest.min(sway / (most - least));
            }
        }
        // It says something, and not much more than needed.
        assert!(bounded > 1000, "{bounded}");
        assert!(closest < 3.0, "{closest}");
    }

    /// Where the collection is sure, the share without a reading is the same number, bit for bit.
    #[test]
    fn a_certain_share_stays_to_the_last_bit() {
        let mut number = numbers();
        let sets: Vec<Vec<Rated>> = (0..8000).map(|_| set(&mut number, 4, 1e4)).collect();
        let mut all = ShareEvidence::default();
        sets.iter().for_each(|set| all.add(&ShareEvidence::of(set)));
        let (share, room) = all.certain().unwrap();
        assert_eq!(share, all.share());
        let mut checked = 0;
        for readings in &sets {
            let set = ShareSet::new(readings);
            if set.sway(readings) >= room {
                continue;
            }
            for i in 0..readings.len() {
                let mut left = all.clone();
                left.remove(&set.evidence(0..GRID));
                let mut others = readings.clone();
                others.remove(i);
                left.add(&ShareEvidence::of(&others));
                assert_eq!(left.share(), share);
                checked += 1;
            }
        }
        assert!(checked > 1000, "{checked}, room {room}");
    }
}
