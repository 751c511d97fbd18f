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

/// Share of a weight that counts as nothing.
const LOST: f64 = 1e-15;

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
    /// The largest squared uncertainty.
    v: f64,
}

/// Sums over the readings of one period.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    weights: f64,
    /// Of the weighted readings about the centre.
    readings: f64,
    /// Of their weighted squares.
    squares: f64,
}

/// Room for the work on one set.
#[derive(Debug, Default)]
pub(super) struct Room {
    labels: Vec<(Option<u32>, usize)>,
    of: Vec<usize>,
    x: Vec<f64>,
    v: Vec<f64>,
    sums: Vec<Sums>,
    means: Vec<(f64, f64)>,
}

impl Readings {
    /// Of one set a pattern; patterns that are missing at the end have none.
    pub(super) fn new(sets: &[&[Rated]], patterns: usize) -> Readings {
        let count: usize = sets.iter().map(|set| set.len()).sum();
        let mut readings = Readings {
            x: Vec::with_capacity(count),
            v: Vec::with_capacity(count),
            periods: Vec::with_capacity(patterns),
            ends: Vec::with_capacity(patterns),
            df: Vec::with_capacity(patterns),
            mean_v: Vec::with_capacity(patterns),
            errorless: true,
        };
        let mut room = Room::default();
        let missing = patterns.saturating_sub(sets.len());
        let none: &[Rated] = &[];
        for set in sets
            .iter()
            .copied()
            .chain(std::iter::repeat_n(none, missing))
        {
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
                v: most,
            });
        }
    }

    /// Mean squared uncertainty of the usable sets, by degrees of freedom.
    pub(super) fn pooled_v(&self) -> f64 {
        let sets = self.mean_v.iter().zip(&self.df);
        let (sum, total) = sets.fold((0.0, 0.0), |(sum, total), (v, df)| {
            (sum + v * df, total + df)
        });
        if total > 0.0 { sum / total } else { 0.0 }
    }

    /// The residual quadratic form Q of one pattern's set, for a period ratio and for relative
    /// error variances `a u^2`.
    pub(super) fn quadratic(&self, pattern: usize, a: f64, lambda: f64, room: &mut Room) -> f64 {
        self.form(self.periods_of(pattern), a, lambda, room)
    }

    fn form(&self, periods: Range<usize>, a: f64, lambda: f64, room: &mut Room) -> f64 {
        room.sums.clear();
        let sums = self.periods[periods.clone()].iter();
        room.sums
            .extend(sums.map(|period| period.sums(&self.x, &self.v, a)));
        residual(&self.periods[periods], &room.sums, lambda, &mut room.means)
    }

    /// The same for several `a` that lie close together.
    pub(super) fn quadratics(
        &self,
        pattern: usize,
        at: &[f64],
        lambda: f64,
        room: &mut Room,
        values: &mut Vec<f64>,
    ) {
        let periods = self.periods_of(pattern);
        room.sums.clear();
        room.sums.resize(at.len() * periods.len(), Sums::default());
        let least = at.iter().copied().fold(f64::INFINITY, f64::min);
        let most = at.iter().copied().fold(0.0, f64::max);
        let middle = f64::midpoint(least, most);
        for (k, period) in self.periods[periods.clone()].iter().enumerate() {
            let places = room.sums[k..].iter_mut().step_by(periods.len());
            let (x, v) = (
                &self.x[period.start..period.end],
                &self.v[period.start..period.end],
            );
            // Weights are sums of powers of this, at most.
            let ratio = (most / middle - 1.0) * (middle * period.v / (1.0 + middle * period.v));
            let places = places.zip(at).map(|(place, a)| (place, *a));
            let series = ratio.powi(8) <= LOST;
            if x.is_empty() || !series {
                places.for_each(|(place, a)| *place = period.sums(&self.x, &self.v, a));
            } else if ratio.powi(3) <= LOST {
                by_series::<3>(x, v, middle, places);
            } else if ratio.powi(4) <= LOST {
                by_series::<4>(x, v, middle, places);
            } else if ratio.powi(6) <= LOST {
                by_series::<6>(x, v, middle, places);
            } else {
                by_series::<8>(x, v, middle, places);
            }
        }
        values.clear();
        for i in 0..at.len() {
            let sums = &room.sums[i * periods.len()..(i + 1) * periods.len()];
            let periods = &self.periods[periods.clone()];
            values.push(residual(periods, sums, lambda, &mut room.means));
        }
    }

    fn periods_of(&self, pattern: usize) -> Range<usize> {
        let start = if pattern == 0 {
            0
        } else {
            self.ends[pattern - 1]
        };
        start..self.ends[pattern]
    }
}

/// Q from the sums of the periods.
fn residual(periods: &[Period], sums: &[Sums], lambda: f64, means: &mut Vec<(f64, f64)>) -> f64 {
    means.clear();
    let mut within = 0.0;
    let (mut precision, mut moment) = (0.0, 0.0);
    for (period, sums) in periods.iter().zip(sums) {
        if sums.weights <= 0.0 {
            // Errors beyond all numbers: no weight at all.
            continue;
        }
        let shift = sums.readings / sums.weights;
        within += sums.squares - sums.readings * shift;
        let p = sums.weights / (1.0 + lambda * sums.weights);
        let mean = period.centre + shift;
        precision += p;
        moment += p * mean;
        means.push((p, mean));
    }
    let mean = moment / precision;
    let between: f64 = means.iter().map(|(p, m)| p * (m - mean) * (m - mean)).sum();
    within.max(0.0) + between
}

/// The sums over a period at several `a` near `middle`. With `g = r / (1 + r)` there and
/// `a = middle (1 + e)`, a weight is `(1 - g) / (1 + e g) = (1 - g) sum (-e g)^m`, so the sums of
/// `(1 - g) g^m` are all that is needed.
fn by_series<'a, const TERMS: usize>(
    x: &[f64],
    v: &[f64],
    middle: f64,
    places: impl Iterator<Item = (&'a mut Sums, f64)>,
) {
    // A block at a time, one kind of sum after the other: a processor has few registers.
    const BLOCK: usize = 8;
    let mut lanes = [[[0.0; LANES]; 3]; TERMS];
    for (x, v) in x.chunks(BLOCK).zip(v.chunks(BLOCK)) {
        let mut values = [[0.0; BLOCK]; 3];
        let mut g = [0.0; BLOCK];
        for (k, (&x, &v)) in x.iter().zip(v).enumerate() {
            let weight = 1.0 / (1.0 + middle * v);
            g[k] = middle * v * weight;
            values[0][k] = weight;
            values[1][k] = weight * x;
            values[2][k] = weight * x * x;
        }
        for (values, at) in values.iter_mut().zip(0..) {
            for lanes in &mut lanes {
                let sums = &mut lanes[at];
                for (values, g) in values.chunks_exact_mut(LANES).zip(g.chunks_exact(LANES)) {
                    for k in 0..LANES {
                        sums[k] += values[k];
                        values[k] *= g[k];
                    }
                }
            }
        }
    }
    let moments = lanes.map(|sums| sums.map(|lanes| lanes.iter().sum::<f64>()));
    for (place, a) in places {
        let e = 1.0 - a / middle;
        let mut sums = [0.0; 3];
        for moments in moments.iter().rev() {
            for (sum, moment) in sums.iter_mut().zip(moments) {
                *sum = *sum * e + moment;
            }
        }
        *place = Sums {
            weights: sums[0],
            readings: sums[1],
            squares: sums[2],
        };
    }
}

impl Period {
    fn sums(&self, x: &[f64], v: &[f64], a: f64) -> Sums {
        if a == 0.0 || self.start == self.end {
            let weight = 1.0 / (1.0 + a * self.v);
            return Sums {
                weights: weight * self.n,
                readings: weight * self.sum,
                squares: weight * self.squares,
            };
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
        Sums {
            weights: s.iter().sum(),
            readings: t.iter().sum(),
            squares: r.iter().sum(),
        }
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
