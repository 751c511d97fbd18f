//! The readings of one dimension, put in order by pattern and period.

use std::ops::Range;

use crate::stats::two_level::Rated;

/// Lanes of the sums over readings; see `variances`.
const LANES: usize = 4;

/// Squared uncertainties that differ by more than this within a period: its readings are then held
/// about a mean that heeds them, so that none drowns the others' digits.
const UNLIKE: f64 = 100.0;

/// Squares beyond this make a set useless: the sums over many sets then stay finite.
const GREATEST: f64 = 1e300;

/// The readings of one dimension. Patterns keep their places.
#[derive(Clone, Debug, Default)]
pub(super) struct Readings {
    /// Readings about their period's centre; only of periods whose uncertainties differ.
    x: Vec<f64>,
    /// Their squared standard uncertainties.
    v: Vec<f64>,
    periods: Vec<Period>,
    /// Where each pattern's periods end.
    ends: Vec<usize>,
    /// Degrees of freedom, one less than readings; 0 for a set of no use.
    pub(super) df: Vec<f64>,
    /// Mean squared uncertainty.
    pub(super) mean_v: Vec<f64>,
    /// Whether no usable set has a reading error.
    pub(super) errorless: bool,
}

/// The readings of one period in one set.
#[derive(Clone, Copy, Debug)]
struct Period {
    /// Where its readings are; empty where all have the same uncertainty.
    start: usize,
    end: usize,
    n: f64,
    /// Its centre, about that of the set's first period.
    centre: f64,
    /// Sum and sum of squares of the readings about the centre.
    sum: f64,
    squares: f64,
    /// The squared uncertainty, where all have the same.
    v: f64,
}

/// Room for the work on one set.
#[derive(Debug, Default)]
pub(super) struct Room {
    labels: Vec<(Option<u32>, usize)>,
    of: Vec<usize>,
    x: Vec<f64>,
    v: Vec<f64>,
    means: Vec<(f64, f64)>,
}

impl Readings {
    pub(super) fn new(sets: &[&[Rated]]) -> Readings {
        let count: usize = sets.iter().map(|set| set.len()).sum();
        let mut readings = Readings {
            x: Vec::with_capacity(count),
            v: Vec::with_capacity(count),
            periods: Vec::with_capacity(sets.len()),
            ends: Vec::with_capacity(sets.len()),
            df: Vec::with_capacity(sets.len()),
            mean_v: Vec::with_capacity(sets.len()),
            errorless: true,
        };
        let mut room = Room::default();
        for set in sets {
            readings.push(set, &mut room);
        }
        readings
    }

    fn push(&mut self, set: &[Rated], room: &mut Room) {
        let (readings, periods) = (self.x.len(), self.periods.len());
        let mut usable = false;
        let mut mean_v = 0.0;
        if set.len() >= 2 {
            room.sort(set);
            mean_v = room.v.iter().sum::<f64>() / set.len() as f64;
            self.push_periods(room);
            // The form is largest without errors and period effects.
            let q = self.form(periods..self.periods.len(), 0.0, 0.0, room);
            usable = q <= GREATEST && mean_v <= GREATEST;
        }
        if usable {
            self.errorless &= mean_v == 0.0;
            self.df.push((set.len() - 1) as f64);
            self.mean_v.push(mean_v);
        } else {
            self.x.truncate(readings);
            self.v.truncate(readings);
            self.periods.truncate(periods);
            self.df.push(0.0);
            self.mean_v.push(0.0);
        }
        self.ends.push(self.periods.len());
    }

    fn push_periods(&mut self, room: &Room) {
        let mut start = 0;
        let mut origin = None;
        for &(_, end) in &room.labels {
            let (x, v) = (&room.x[start..end], &room.v[start..end]);
            start = end;
            let n = x.len() as f64;
            let least = v.iter().copied().fold(f64::INFINITY, f64::min);
            let most = v.iter().copied().fold(0.0, f64::max);
            let first = x[0];
            let centre = if most > UNLIKE * least {
                let little = v
                    .iter()
                    .copied()
                    .filter(|&v| v > 0.0)
                    .fold(f64::INFINITY, f64::min);
                let weights: f64 = v.iter().map(|v| little / (v + little)).sum();
                let sum: f64 = x
                    .iter()
                    .zip(v)
                    .map(|(x, v)| (x - first) * (little / (v + little)))
                    .sum();
                first + sum / weights
            } else {
                first + x.iter().map(|x| x - first).sum::<f64>() / n
            };
            let origin = *origin.get_or_insert(centre);
            let (mut sum, mut squares) = (0.0, 0.0);
            let kept = self.x.len();
            for x in x {
                let x = x - centre;
                sum += x;
                squares += x * x;
            }
            if least < most {
                self.x.extend(x.iter().map(|x| x - centre));
                self.v.extend_from_slice(v);
            }
            self.periods.push(Period {
                start: kept,
                end: self.x.len(),
                n,
                centre: centre - origin,
                sum,
                squares,
                v: least,
            });
        }
    }

    /// The residual quadratic form Q of one pattern's set, for a period ratio and for relative
    /// error variances `a u^2`.
    pub(super) fn quadratic(&self, pattern: usize, a: f64, lambda: f64, room: &mut Room) -> f64 {
        let start = if pattern == 0 {
            0
        } else {
            self.ends[pattern - 1]
        };
        self.form(start..self.ends[pattern], a, lambda, room)
    }

    fn form(&self, periods: Range<usize>, a: f64, lambda: f64, room: &mut Room) -> f64 {
        let means = &mut room.means;
        means.clear();
        let mut within = 0.0;
        let (mut precision, mut moment) = (0.0, 0.0);
        for period in &self.periods[periods] {
            let (s, t, r) = period.sums(&self.x, &self.v, a);
            if s <= 0.0 {
                // Errors beyond all numbers: no weight at all.
                continue;
            }
            let shift = t / s;
            within += r - t * shift;
            let p = s / (1.0 + lambda * s);
            let mean = period.centre + shift;
            precision += p;
            moment += p * mean;
            means.push((p, mean));
        }
        let mean = moment / precision;
        let between: f64 = means.iter().map(|(p, m)| p * (m - mean) * (m - mean)).sum();
        within.max(0.0) + between
    }
}

impl Period {
    /// Sums of the weights, of the weighted readings and of their weighted squares.
    fn sums(&self, x: &[f64], v: &[f64], a: f64) -> (f64, f64, f64) {
        if a == 0.0 {
            return (self.n, self.sum, self.squares);
        }
        if self.start == self.end {
            let weight = 1.0 / (1.0 + a * self.v);
            return (weight * self.n, weight * self.sum, weight * self.squares);
        }
        let (x, v) = (&x[self.start..self.end], &v[self.start..self.end]);
        let (mut s, mut t, mut r) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
        let (xs, vs) = (x.chunks_exact(LANES), v.chunks_exact(LANES));
        let rest = xs.remainder().iter().zip(vs.remainder());
        for (x, v) in xs.zip(vs) {
            for k in 0..LANES {
                let weight = 1.0 / (1.0 + a * v[k]);
                let weighted = weight * x[k];
                s[k] += weight;
                t[k] += weighted;
                r[k] += weighted * x[k];
            }
        }
        for (k, (x, v)) in rest.enumerate() {
            let weight = 1.0 / (1.0 + a * v);
            s[k] += weight;
            t[k] += weight * x;
            r[k] += weight * x * x;
        }
        (s.iter().sum(), t.iter().sum(), r.iter().sum())
    }
}

impl Room {
    /// Puts a set's readings in order by period; `labels` then has where each period ends.
    fn sort(&mut self, set: &[Rated]) {
        self.labels.clear();
        self.of.clear();
        let mut last = 0;
        for reading in set {
            let same = |known: &(Option<u32>, usize)| {
                reading.period.is_some() && known.0 == reading.period
            };
            if !self.labels.get(last).is_some_and(same) {
                last = self.labels.iter().position(same).unwrap_or_else(|| {
                    self.labels.push((reading.period, 0));
                    self.labels.len() - 1
                });
            }
            self.labels[last].1 += 1;
            self.of.push(last);
        }
        // Counts become starts; filling turns the starts into ends.
        let mut start = 0;
        for label in &mut self.labels {
            start += std::mem::replace(&mut label.1, start);
        }
        self.x.clear();
        self.x.resize(set.len(), 0.0);
        self.v.clear();
        self.v.resize(set.len(), 0.0);
        for (reading, &of) in set.iter().zip(&self.of) {
            let at = self.labels[of].1;
            self.labels[of].1 += 1;
            self.x[at] = reading.x;
            self.v[at] = reading.u * reading.u;
        }
    }
}
