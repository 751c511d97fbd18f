//! The variances of one dimension's sets as functions of `a = 1 / s0^2`.
//!
//! `Q / (n - 1)` of a set is smooth in `z = s0^2`: a polynomial through Chebyshev points in `z`
//! gives it at any `z` between them, without a pass over the readings. The degree is raised until
//! the last coefficient is lost in rounding.

use super::readings::{Readings, Room};

/// Patterns from which the curves pay.
const MANY: usize = 16;
/// The numbers of points that are tried, on about so many sets first.
const LEAST_POINTS: usize = 4;
const MOST_POINTS: usize = 24;
const SAMPLE: usize = 40;
/// The last coefficient over the variance. The coefficients fall at least fourfold a degree where
/// this is reached, so what is left out is smaller still.
const LOST: f64 = 2e-13;

/// The variances of one dimension as functions of `a`.
#[derive(Debug)]
pub(super) struct Curves<'a> {
    pub(super) readings: &'a Readings,
    lambda: f64,
    fitted: Option<Fitted>,
    /// No polynomial was good enough.
    hopeless: bool,
    room: Room,
}

/// Values at Chebyshev points.
#[derive(Debug)]
struct Fitted {
    low: f64,
    high: f64,
    /// Only every so-manyth set has values.
    every: usize,
    /// Per point, for all patterns.
    values: Vec<Vec<f64>>,
}

impl<'a> Curves<'a> {
    pub(super) fn new(readings: &'a Readings, lambda: f64) -> Self {
        Curves {
            readings,
            lambda,
            fitted: None,
            hopeless: readings.df.len() < MANY,
            room: Room::default(),
        }
    }

    /// Whether the readings are still to be gone through.
    pub(super) fn is_new(&self) -> bool {
        self.fitted.is_none()
    }

    /// `Q / (n - 1)` of every pattern's set, 0 where there is none.
    pub(super) fn at(&mut self, a: f64) -> Vec<f64> {
        if a > 0.0 && !self.readings.errorless && !self.hopeless {
            let z = 1.0 / a;
            if !self.holds(z) {
                self.fit(z);
            }
            if let Some(fitted) = self.fitted.as_ref().filter(|_| !self.hopeless) {
                return fitted.at(z);
            }
        }
        let mut values = Vec::new();
        self.exactly(a, &mut values);
        values
    }

    /// The same from the readings.
    pub(super) fn exactly(&mut self, a: f64, values: &mut Vec<f64>) {
        values.clear();
        let df = &self.readings.df;
        values.extend(df.iter().enumerate().map(|(pattern, &df)| {
            if df > 0.0 {
                self.readings
                    .quadratic(pattern, a, self.lambda, &mut self.room)
                    / df
            } else {
                0.0
            }
        }));
    }

    fn holds(&self, z: f64) -> bool {
        self.fitted
            .as_ref()
            .is_some_and(|f| f.low <= z && z <= f.high)
    }

    fn fit(&mut self, z: f64) {
        // The first round's z holds the reading errors, the later ones do not.
        let errors = self.readings.pooled_v();
        let sets = self.readings.df.len().max(20) as f64;
        let margin = 1.0 + 4.0 / sets;
        let (mut low, mut high) = ((z - 1.3 * errors).max(0.3 * z) / margin, z * margin);
        if let Some(before) = &self.fitted {
            low = low.min(before.low);
            high = high.max(before.high);
        }
        let every = (self.readings.df.len() / SAMPLE).max(1);
        let mut points = LEAST_POINTS;
        while points <= MOST_POINTS {
            let sample = self.through(low, high, points, every);
            let mut last = sample.last_coefficient(self.readings);
            if last <= LOST {
                let fitted = if every > 1 {
                    self.through(low, high, points, 1)
                } else {
                    sample
                };
                last = fitted.last_coefficient(self.readings);
                if last <= 4.0 * LOST {
                    self.fitted = Some(fitted);
                    return;
                }
            }
            // They fall by about the same factor from each to the next.
            let more = (points - 1) as f64 * LOST.ln() / last.ln();
            points = (more.ceil() as usize + 1).clamp(points + 1, 2 * points);
        }
        self.hopeless = true;
    }

    /// Values at Chebyshev points, for every so-manyth set.
    fn through(&mut self, low: f64, high: f64, points: usize, every: usize) -> Fitted {
        let patterns = self.readings.df.len();
        let mut values = vec![vec![0.0; patterns]; points];
        let inverses: Vec<f64> = chebyshev(points)
            .into_iter()
            .map(|x| 1.0 / (f64::midpoint(low, high) + 0.5 * (high - low) * x))
            .collect();
        let mut quadratics = Vec::with_capacity(points);
        for pattern in (0..patterns).step_by(every) {
            let df = self.readings.df[pattern];
            if df > 0.0 {
                let room = &mut self.room;
                self.readings
                    .quadratics(pattern, &inverses, self.lambda, room, &mut quadratics);
                for (values, q) in values.iter_mut().zip(&quadratics) {
                    values[pattern] = q / df;
                }
            }
        }
        Fitted {
            low,
            high,
            every,
            values,
        }
    }
}

impl Fitted {
    fn at(&self, z: f64) -> Vec<f64> {
        let x = (2.0 * z - self.low - self.high) / (self.high - self.low);
        let mut weights = vec![0.0; self.values.len()];
        lagrange(&chebyshev(self.values.len()), x, &mut weights);
        combined(&self.values, &weights)
    }

    /// The largest last coefficient of a set, over its variance.
    fn last_coefficient(&self, readings: &Readings) -> f64 {
        let n = self.values.len() - 1;
        let mut worst: f64 = 0.0;
        let sets = readings.df.iter().zip(&readings.mean_v).enumerate();
        for (pattern, (&df, &v)) in sets.step_by(self.every) {
            if df == 0.0 {
                continue;
            }
            let at = |i: usize| self.values[i][pattern];
            let inner: f64 = (1..n)
                .map(|i| if i % 2 == 0 { at(i) } else { -at(i) })
                .sum();
            let end = if n.is_multiple_of(2) { at(n) } else { -at(n) };
            let coefficient = (inner + 0.5 * (at(0) + end)) / n as f64;
            let floor = v / (1.0 + v / self.low);
            worst = worst.max(coefficient.abs() / at(0).max(floor).max(f64::MIN_POSITIVE));
        }
        worst
    }
}

/// The extreme points of a Chebyshev polynomial, from 1 down to -1; the middle for one point.
pub(super) fn chebyshev(points: usize) -> Vec<f64> {
    let n = points - 1;
    (0..points)
        .map(|i| {
            if 2 * i == n {
                0.0
            } else {
                (std::f64::consts::PI * i as f64 / n as f64).cos()
            }
        })
        .collect()
}

/// What each of the values at Chebyshev points counts for at `x`.
///
/// # Source
/// J.-P. Berrut and L. N. Trefethen, SIAM Rev. 46 (2004) 501-517, eq. 4.2 and 5.4.
pub(super) fn lagrange(points: &[f64], x: f64, weights: &mut [f64]) {
    let last = points.len() - 1;
    let mut total = 0.0;
    for (i, (&point, weight)) in points.iter().zip(weights.iter_mut()).enumerate() {
        if x == point {
            weights.fill(0.0);
            weights[i] = 1.0;
            return;
        }
        let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
        let half = if i == 0 || i == last { 0.5 } else { 1.0 };
        *weight = sign * half / (x - point);
        total += *weight;
    }
    for weight in weights {
        *weight /= total;
    }
}

/// The weighted sum of several columns.
pub(super) fn combined(columns: &[Vec<f64>], weights: &[f64]) -> Vec<f64> {
    let mut sum = vec![0.0; columns.first().map_or(0, Vec::len)];
    for (column, &weight) in columns.iter().zip(weights) {
        for (sum, value) in sum.iter_mut().zip(column) {
            *sum += weight * value;
        }
    }
    sum
}

/// The same for one row.
pub(super) fn combined_at(columns: &[Vec<f64>], weights: &[f64], row: usize) -> f64 {
    let column = columns.iter().zip(weights);
    column.map(|(column, weight)| weight * column[row]).sum()
}
