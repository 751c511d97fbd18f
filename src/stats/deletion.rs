//! A set of readings with some of them left out, and others taken in, at a spread a little beside the one
//! it was summed up at.
//!
//! The spread enters the two-level sums by the weights `w = 1 / (1 + u^2 / s^2)` alone. These are
//! expanded in `1 / s^2` to the first power; so a reading left out costs a step a period, not one a
//! reading. The period ratio enters after the sums, exactly.

use smallvec::SmallVec;

use super::two_level::{
    PeriodSums, Rated, Sums, TwoLevel, USUAL, position, relative, runs, weight,
};

/// The first power left out is the square of this at most: the last two digits of an `f64`.
const NEAR: f64 = 1e-7;
/// At this share of the old sums one digit is lost.
const LEAST_LEFT: f64 = 0.1;

/// A set of readings, of which some may be left out.
#[derive(Clone, Debug)]
pub(crate) struct Deletions {
    periods: Vec<Moments>,
    variance: f64,
    /// The largest squared uncertainty.
    most_u2: f64,
}

/// The sums of one period with the weights `w`, and with `w (w u^2)`.
#[derive(Clone, Debug)]
struct Moments {
    sums: Sums,
    slopes: Sums,
}

impl Moments {
    fn add(&mut self, reading: Rated, variance: f64) {
        let weight = weight(reading.u, variance);
        self.sums.add(reading, weight);
        self.slopes
            .add(reading, weight * weight * reading.u * reading.u);
    }

    /// The sums with the weights of a spread whose inverse square is larger by `more`.
    fn at(&self, more: f64) -> Sums {
        let (sums, slopes) = (&self.sums, &self.slopes);
        Sums {
            weight: sums.weight - more * slopes.weight,
            shift: sums.shift - more * slopes.shift,
            squares: sums.squares - more * slopes.squares,
            ..*sums
        }
    }
}

impl Deletions {
    /// Sums up a set at a spread whose square is `variance`.
    pub(crate) fn new<R: Copy + Into<Rated>>(readings: &[R], variance: f64) -> Deletions {
        let mut deletions = Deletions {
            periods: Vec::new(),
            variance,
            most_u2: 0.0,
        };
        for run in runs(readings) {
            let first: Rated = run[0].into();
            let periods = &mut deletions.periods;
            let at = position(periods.iter().map(|of| &of.sums), first.period);
            let at = at.unwrap_or_else(|| {
                let [sums, slopes] = [Sums::about(first); 2];
                periods.push(Moments { sums, slopes });
                periods.len() - 1
            });
            for &reading in run {
                let reading: Rated = reading.into();
                periods[at].add(reading, variance);
                deletions.most_u2 = deletions.most_u2.max(reading.u * reading.u);
            }
        }
        deletions
    }

    /// The two-level sums of the readings without some, and with others that are not among them, as
    /// [`two_level`](super::two_level::two_level) has them. `None` where nothing is left, or one to be
    /// left out is of a period that is not there, or the spread is too far off, or digits would be lost: the
    /// caller then adds up afresh. Those to be left out are taken for readings of the set.
    pub(crate) fn changed(
        &self,
        without: &[Rated],
        with: &[Rated],
        lambda: f64,
        variance: f64,
    ) -> Option<TwoLevel> {
        let more = relative(1.0, variance) - relative(1.0, self.variance);
        let expands = (more * self.most_u2).abs() <= NEAR;
        if !expands {
            return None;
        }
        let mut sums: SmallVec<[Sums; USUAL]> = self.periods.iter().map(|of| of.at(more)).collect();
        for &reading in with {
            let at = position(sums.iter(), reading.period).unwrap_or_else(|| {
                sums.push(Sums::about(reading));
                sums.len() - 1
            });
            sums[at].add(reading, weight(reading.u, variance));
        }
        let before = sums.clone();
        for &reading in without {
            let at = place(&sums, reading)?;
            sums[at].take(reading, weight(reading.u, variance));
        }
        let is_lost =
            |(now, before): (&Sums, &Sums)| now.n > 0 && now.squares < LEAST_LEFT * before.squares;
        let u2 = |sums: &[Sums]| sums.iter().map(|of| of.u2).sum::<f64>();
        if sums.iter().zip(&before).any(is_lost) || u2(&sums) < LEAST_LEFT * u2(&before) {
            return None;
        }
        sums.retain(|of| of.n > 0);
        if sums.iter().any(Sums::drowns) {
            return None;
        }
        let periods = sums.iter().map(PeriodSums::from).collect();
        TwoLevel::of_periods(periods, lambda, variance)
    }
}

/// Where one of the readings is summed up.
fn place(sums: &[Sums], reading: Rated) -> Option<usize> {
    let is_own = |of: &Sums| match reading.period {
        Some(_) => of.period == reading.period,
        // A reading without a period is one by itself.
        None => of.period.is_none() && of.origin == reading.x,
    };
    sums.iter().position(|of| of.n > 0 && is_own(of))
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
        for a in &a.periods {
            // Those without a period are told apart by their readings.
            let mut others = b.periods.iter();
            let b = others.find(|b| b.period == a.period && (b.mean - a.mean).abs() < 1e-9);
            let b = b.unwrap();
            assert_eq!(a.n, b.n);
            same(a.weight, b.weight);
            same(a.mean, b.mean);
            same(a.sum_u2, b.sum_u2);
        }
    }

    /// Against the sums added up afresh: every reading left out in turn, with and without another one;
    /// none; and readings that come in, of the periods of the set and of others.
    #[test]
    fn left_out_as_if_it_had_never_been() {
        let all = readings();
        let strangers = [(None, 3.011), (Some(7), 3.002), (Some(12), 2.997)].map(|(period, x)| {
            let u = 0.0011;
            Rated { x, u, period }
        });
        let deletions = Deletions::new(&all, 1e-5);
        for (lambda, variance) in [(0.2, 1e-5), (0.2001, 1.0000002e-5), (0.0, 0.9999998e-5)] {
            let changed = |without: &[Rated], with: &[Rated]| {
                let left = all.iter().filter(|of| !without.contains(of)).copied();
                let mut left: Vec<Rated> = left.chain(with.iter().copied()).collect();
                left.sort_by_key(|r| r.period.unwrap_or(u32::MAX));
                let afresh = two_level(&left, lambda, variance).unwrap();
                let of = deletions.changed(without, with, lambda, variance);
                near(&of.unwrap(), &afresh);
            };
            changed(&[], &[]);
            changed(&[], &strangers);
            for left_out in 0..all.len() {
                changed(&[all[left_out]], &[]);
                let another = (left_out * 5 + 8) % all.len();
                if another != left_out {
                    changed(&[all[left_out], all[another]], &strangers[..left_out % 4]);
                }
            }
        }
    }

    #[test]
    fn added_up_afresh_where_digits_would_be_lost() {
        let mut all = readings();
        let deletions = Deletions::new(&all, 1e-5);
        // A spread so far off that the second power counts.
        assert!(deletions.changed(&[], &[], 0.2, 1.001e-5).is_none());
        // Nearly all squares are one reading's.
        all[2].x += 10.0;
        let deletions = Deletions::new(&all, 1e-5);
        assert!(deletions.changed(&[all[2]], &[], 0.2, 1e-5).is_none());
        // A reading that is not of the set, the same one twice, the only one.
        let stranger = Rated {
            period: Some(77),
            ..all[0]
        };
        assert!(deletions.changed(&[stranger], &[], 0.2, 1e-5).is_none());
        let last = all[all.len() - 1];
        assert!(
            last.period.is_none() || all.iter().filter(|r| r.period == last.period).count() == 1
        );
        assert!(deletions.changed(&[last], &[], 0.2, 1e-5).is_some());
        assert!(deletions.changed(&[last, last], &[], 0.2, 1e-5).is_none());
        let only = Deletions::new(&all[..1], 1e-5);
        assert!(only.changed(&[all[0]], &[], 0.2, 1e-5).is_none());
    }
}
