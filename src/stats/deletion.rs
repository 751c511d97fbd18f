//! A set of readings with any one of them left out, at a spread a little beside the one it was summed
//! up at.
//!
//! The spread enters the two-level sums by the weights `w = 1 / (1 + u^2 / s^2)` alone. These are
//! expanded in `1 / s^2` to the first power; so a reading left out costs a step a period, not one a
//! reading. The period ratio enters after the sums, exactly.

use super::two_level::{PeriodSums, Rated, Sums, TwoLevel, position, relative, runs, weight};

/// Powers of the expansion: 0 and 1.
const POWERS: usize = 2;
/// The first power left out is the square of this at most: the last two digits of an `f64`.
const NEAR: f64 = 1e-7;

/// A set of readings, of which any one may be left out.
#[derive(Clone, Debug)]
pub(crate) struct Deletions {
    periods: Vec<Moments>,
    n: usize,
    sum_u2: f64,
    variance: f64,
    /// The largest squared uncertainty.
    most_u2: f64,
}

/// The sums of one period with the weights `w` and `w (w u^2)`.
#[derive(Clone, Debug)]
struct Moments {
    n: usize,
    powers: [Sums; POWERS],
}

impl Moments {
    fn add(&mut self, reading: Rated, variance: f64) {
        let square = reading.u * reading.u;
        let own = weight(reading.u, variance);
        let mut weight = own;
        for sums in &mut self.powers {
            sums.add(reading.x, weight);
            weight *= own * square;
        }
        self.n += 1;
    }

    /// The sums with the weights of a spread whose inverse square is larger by `more`.
    fn at(&self, more: f64) -> Sums {
        let [first, second] = &self.powers;
        let of = |part: fn(&Sums) -> f64| part(first) - more * part(second);
        Sums {
            weight: of(|sums| sums.weight),
            shift: of(|sums| sums.shift),
            squares: of(|sums| sums.squares),
            ..*first
        }
    }
}

impl Deletions {
    /// Sums up a set at a spread whose square is `variance`.
    pub(crate) fn new<R: Copy + Into<Rated>>(readings: &[R], variance: f64) -> Deletions {
        let mut deletions = Deletions {
            periods: Vec::new(),
            n: readings.len(),
            sum_u2: 0.0,
            variance,
            most_u2: 0.0,
        };
        for run in runs(readings) {
            let first: Rated = run[0].into();
            let periods = &mut deletions.periods;
            let at = position(periods.iter().map(|of| &of.powers[0]), first.period);
            let at = at.unwrap_or_else(|| {
                let powers = std::array::from_fn(|_| Sums::about(first));
                periods.push(Moments { n: 0, powers });
                periods.len() - 1
            });
            for &reading in run {
                let reading: Rated = reading.into();
                let square = reading.u * reading.u;
                deletions.periods[at].add(reading, variance);
                deletions.sum_u2 += square;
                deletions.most_u2 = deletions.most_u2.max(square);
            }
        }
        deletions
    }

    /// The two-level sums of all readings, or of all but one of them, as
    /// [`two_level`](super::two_level::two_level) has them. `None` where nothing is left, or the spread
    /// is too far off, or digits would be lost: the caller then adds up the others afresh.
    pub(crate) fn without(
        &self,
        reading: Option<Rated>,
        lambda: f64,
        variance: f64,
    ) -> Option<TwoLevel> {
        /// At this share of the old sums one digit is lost.
        const LEAST_LEFT: f64 = 0.1;
        let more = relative(1.0, variance) - relative(1.0, self.variance);
        let expands = (more * self.most_u2).abs() <= NEAR;
        let own = match reading {
            Some(reading) => Some((self.place(reading)?, reading)),
            None => None,
        };
        let left_u2 = self.sum_u2 - reading.map_or(0.0, |of| of.u * of.u);
        if !expands || left_u2 < LEAST_LEFT * self.sum_u2 {
            return None;
        }
        let mut periods = Vec::with_capacity(self.periods.len());
        let mut within = 0.0;
        for (at, of) in self.periods.iter().enumerate() {
            let mut sums = of.at(more);
            if let Some((_, own)) = own.filter(|&(place, _)| place == at) {
                if of.n == 1 {
                    continue;
                }
                let squares = sums.squares;
                sums.add(own.x, -weight(own.u, variance));
                if sums.squares < LEAST_LEFT * squares {
                    return None;
                }
            }
            if sums.drowns() {
                return None;
            }
            within += sums.within();
            periods.push(PeriodSums::from(&sums));
        }
        let n = self.n - usize::from(own.is_some());
        TwoLevel::of_periods(periods, within, n, left_u2, lambda, variance)
    }

    /// The period of one of the readings.
    fn place(&self, reading: Rated) -> Option<usize> {
        match reading.period {
            Some(_) => position(self.periods.iter().map(|of| &of.powers[0]), reading.period),
            None => {
                let mut periods = self.periods.iter().map(|of| &of.powers[0]);
                periods.position(|of| of.period.is_none() && of.origin == reading.x)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::two_level::two_level;
    use super::*;

    /// Three periods of which the last has one reading, and two readings without one.
    fn readings() -> Vec<Rated> {
        let of = |i: u32| {
            let period = [Some(4), Some(4), Some(4), Some(7), Some(7), None, Some(9)];
            let at = if i == 40 { 6 } else { i as usize % 6 };
            Rated {
                x: 3.0 + 0.01 * f64::from(i * 37 % 101) / 100.0 + 0.004 * at as f64,
                u: 0.0004 * (1.0 + f64::from(i % 5)),
                period: period[at],
            }
        };
        let mut all: Vec<Rated> = (0..=40).map(of).collect();
        all.sort_by_key(|r| r.period.unwrap_or(u32::MAX));
        all
    }

    fn near(a: &TwoLevel, b: &TwoLevel) {
        let same = |a: f64, b: f64| assert!((a - b).abs() <= 1e-12 * b.abs(), "{a} and {b}");
        assert_eq!((a.n, a.periods.len()), (b.n, b.periods.len()));
        for (a, b) in [
            (a.mu, b.mu),
            (a.v, b.v),
            (a.q, b.q),
            (a.within, b.within),
            (a.mean_r, b.mean_r),
            (a.mean_u2, b.mean_u2),
        ] {
            same(a, b);
        }
        for (a, b) in a.periods.iter().zip(&b.periods) {
            assert_eq!(a.period, b.period);
            same(a.weight, b.weight);
            same(a.mean, b.mean);
        }
    }

    /// Against the sums of the others, added up afresh: every reading in turn, and none.
    #[test]
    fn left_out_as_if_it_had_never_been() {
        let all = readings();
        let deletions = Deletions::new(&all, 1e-5);
        for (lambda, variance) in [(0.2, 1e-5), (0.2001, 1.0000002e-5), (0.0, 0.9999998e-5)] {
            let of_all = two_level(&all, lambda, variance).unwrap();
            near(&deletions.without(None, lambda, variance).unwrap(), &of_all);
            for left_out in 0..all.len() {
                let mut others = all.clone();
                let own = others.remove(left_out);
                let afresh = two_level(&others, lambda, variance).unwrap();
                near(
                    &deletions.without(Some(own), lambda, variance).unwrap(),
                    &afresh,
                );
            }
        }
    }

    #[test]
    fn added_up_afresh_where_digits_would_be_lost() {
        let mut all = readings();
        let deletions = Deletions::new(&all, 1e-5);
        // A spread so far off that the second power counts.
        assert!(deletions.without(None, 0.2, 1.001e-5).is_none());
        // Nearly all squares are one reading's.
        all[2].x += 10.0;
        let deletions = Deletions::new(&all, 1e-5);
        assert!(deletions.without(Some(all[2]), 0.2, 1e-5).is_none());
        // A reading that is not of the set; the only one.
        let stranger = Rated {
            period: Some(77),
            ..all[0]
        };
        assert!(deletions.without(Some(stranger), 0.2, 1e-5).is_none());
        let only = Deletions::new(&all[..1], 1e-5);
        assert!(only.without(Some(all[0]), 0.2, 1e-5).is_none());
    }
}
