//! One dimension in one round: its best `s0^2` without each pattern in turn.
//!
//! # Method
//! Leaving one pattern of many out moves `l = ln s0^2` by a little, D say, and it moves the round's
//! `ln a` by a little, E. The sum over all sets
//! `Phi(D, E) = sum (df + d0) ln(1 + e^(y(E) - D))`, `y(E) = ln(df s^2(a e^E) / (d0 e^l))`,
//! is held as a Taylor polynomial in D at a few Chebyshev points in E. Its coefficients are sums of
//! powers of `z = d0 / (d0 + q)`, since `dz/dD = z - z^2`. The left-out set's own term is taken
//! away exactly, so each pattern costs a few Newton steps on a short polynomial. Sets whose
//! variance changes from the quadratic form to the floor within the reach of E are left out of the
//! polynomial and added exactly. Where a pattern moves things too far, its sums are taken over all
//! sets.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use super::curves::{Curves, chebyshev, combined_at, lagrange};
use super::family::{Round, variance};
use super::variances::{
    Freedoms, LANES, LEAST_ROOT, Scaled, deviance, in_units, information, whole,
};

/// The farthest that `l` and `ln a` may move by polynomial.
const FAR_ROOT: f64 = 0.25;
const FAR_A: f64 = 0.15;
/// The highest power of D.
const ORDER: usize = 11;
/// Error aimed at.
const EXACT: f64 = 1e-12;
/// A last Newton step: its square is the error, about.
const SHORT_STEP: f64 = 2e-7;
/// Newton steps, at most: more are needed only where the polynomial is of no use.
const STEPS: usize = 12;

/// One dimension of all patterns.
#[derive(Debug)]
pub(super) struct Dimension<'a> {
    pub(super) curves: Curves<'a>,
    freedoms: &'a Freedoms,
    /// The unit of the round's variances; `None` for nothing to lend.
    unit: Option<f64>,
    /// The patterns looked at, each with its `a`.
    patterns: Vec<(usize, f64)>,
    /// The farthest that `ln a` moves by polynomial.
    reach: f64,
    points: Vec<f64>,
    /// What the values at the points count for, pattern by pattern.
    weights: Vec<f64>,
    /// `Q / (n - 1)` of all sets at the points.
    quotients: Vec<Vec<f64>>,
    /// `df s^2` over the unit, likewise.
    sums: Vec<Vec<f64>>,
    /// Degrees of freedom of the sets in the polynomial.
    smooth_df: Vec<f64>,
    /// Sets that are not.
    odd: Vec<usize>,
    /// `df s^2` over the unit, of each pattern's own set, and of the odd ones, at its own `a`.
    own: Vec<f64>,
    odd_sums: Vec<f64>,
    /// Patterns whose sums are taken over all sets.
    far: BTreeMap<usize, (Freedoms, Option<Scaled>)>,
}

/// A dimension's answer without one pattern.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Answer {
    /// `ln s0^2`; NaN for nothing to lend.
    pub(super) log_s2: f64,
    /// Adjusted log likelihood, less what it owes to the round's unit.
    pub(super) log_likelihood: f64,
}

impl<'a> Dimension<'a> {
    pub(super) fn new(curves: Curves<'a>, freedoms: &'a Freedoms) -> Self {
        Dimension {
            curves,
            freedoms,
            unit: None,
            patterns: Vec::new(),
            reach: 0.0,
            points: Vec::new(),
            weights: Vec::new(),
            quotients: Vec::new(),
            sums: Vec::new(),
            smooth_df: Vec::new(),
            odd: Vec::new(),
            own: Vec::new(),
            odd_sums: Vec::new(),
            far: BTreeMap::new(),
        }
    }

    /// Places in the list of patterns whose sums were taken over all sets.
    pub(super) fn far(&self) -> impl Iterator<Item = usize> {
        self.far.keys().copied()
    }

    pub(super) fn is_far(&self, place: usize) -> bool {
        self.far.contains_key(&place)
    }

    /// Gets ready for a round: dimension number `d`, patterns each with its own `a`.
    pub(super) fn prepare(&mut self, round: &Round, d: usize, patterns: Vec<(usize, f64)>) {
        self.far.clear();
        self.unit = round.unit[d];
        self.patterns = patterns;
        let Some(unit) = self.unit else { return };
        let a = round.a[d];
        let shift = |own: f64| if own == a { 0.0 } else { (own / a).ln() };
        let near = |own: f64| shift(own).abs() <= FAR_A;
        let reach = self
            .patterns
            .iter()
            .filter(|(_, own)| near(*own))
            .map(|&(_, own)| shift(own).abs())
            .fold(0.0, f64::max);
        self.reach = reach;
        let count = points_for(reach);
        self.points = chebyshev(count);
        let readings = self.curves.readings;
        let at: Vec<f64> = self.points.iter().map(|x| a * (reach * x).exp()).collect();
        self.quotients = at.iter().map(|&a| self.curves.at(a)).collect();

        // Sets that are at their floor at some points and above it at others.
        self.odd.clear();
        self.smooth_df.clone_from(&self.freedoms.df);
        if count > 1 {
            for (pattern, &v) in readings.mean_v.iter().enumerate() {
                let above = |i: usize| self.quotients[i][pattern] > v / (1.0 + at[i] * v);
                if (1..count).any(|i| above(i) != above(0)) {
                    self.odd.push(pattern);
                    self.smooth_df[pattern] = 0.0;
                }
            }
        }
        let scaled =
            |df: f64, quotient: f64, v: f64, a: f64| in_units(df * variance(quotient, v, a), unit);
        self.sums = self
            .quotients
            .iter()
            .zip(&at)
            .map(|(quotients, &a)| {
                let sets = quotients.iter().zip(&readings.mean_v).zip(&readings.df);
                sets.map(|((&q, &v), &df)| scaled(df, q, v, a)).collect()
            })
            .collect();

        self.weights.clear();
        self.weights.resize(self.patterns.len() * count, 0.0);
        self.own.clear();
        self.odd_sums.clear();
        let mut far = Vec::new();
        for (place, &(pattern, own)) in self.patterns.iter().enumerate() {
            let weights = &mut self.weights[place * count..(place + 1) * count];
            if near(own) {
                let x = if reach > 0.0 { shift(own) / reach } else { 0.0 };
                lagrange(&self.points, x, weights);
            } else {
                far.push(place);
            }
            let weights = &*weights;
            let at_own = |set: usize| {
                let quotient = combined_at(&self.quotients, weights, set);
                scaled(readings.df[set], quotient, readings.mean_v[set], own)
            };
            self.own.push(at_own(pattern));
            self.odd_sums
                .extend(self.odd.iter().map(|&set| at_own(set)));
        }
        // Nobody else has a spread.
        let alone = self.sums[0].iter().filter(|sum| **sum > 0.0).count() == 1;
        far.extend((0..self.own.len()).filter(|&place| alone && self.own[place] > 0.0));
        for place in far {
            self.go_far(place);
        }
    }

    /// Takes a pattern's sums over all sets from now on.
    pub(super) fn go_far(&mut self, place: usize) {
        if self.far.contains_key(&place) {
            return;
        }
        let (pattern, a) = self.patterns[place];
        let freedoms = self.freedoms.without(pattern);
        let mut s2 = Vec::new();
        self.curves.exactly(a, &mut s2);
        for (s2, &v) in s2.iter_mut().zip(&self.curves.readings.mean_v) {
            *s2 = variance(*s2, v, a);
        }
        let scaled = Scaled::new(&freedoms, s2);
        self.far.insert(place, (freedoms, scaled));
    }

    /// The answer without one pattern from sums over all sets.
    pub(super) fn far_answer(
        &self,
        place: usize,
        d0: f64,
        root: f64,
        grid: Option<usize>,
    ) -> Answer {
        let nothing = Answer {
            log_s2: f64::NAN,
            log_likelihood: 0.0,
        };
        let Some(unit) = self.unit else {
            return nothing;
        };
        let Some((freedoms, Some(scaled))) = self.far.get(&place) else {
            return nothing;
        };
        let start = root + (unit / scaled.unit).ln();
        let root = scaled.root(freedoms, d0, start);
        let log_likelihood = grid.map_or(0.0, |j| {
            scaled.log_likelihood(freedoms, j, root)
                - 0.5 * freedoms.total * (scaled.unit / unit).ln()
        });
        Answer {
            log_s2: kept(root, scaled.unit.ln()),
            log_likelihood,
        }
    }

    /// The answers without each pattern at `d0`, where `root` is that of all patterns; with the
    /// log likelihood if `d0` is that of grid point `grid`.
    pub(super) fn answers(&mut self, d0: f64, root: f64, grid: Option<usize>) -> Vec<Answer> {
        let nothing = Answer {
            log_s2: f64::NAN,
            log_likelihood: 0.0,
        };
        let mut answers = vec![nothing; self.patterns.len()];
        let Some(unit) = self.unit else {
            return answers;
        };
        let polynomial = self.polynomial(&[d0], root, grid.is_some());
        let all = self.freedoms.information(d0);
        let (log_unit, scale) = (unit.ln(), (-root).exp());
        for (place, answer) in answers.iter_mut().enumerate() {
            let near = (!self.is_far(place))
                .then(|| self.near_answer(&polynomial, self.weights(place), place, d0, scale));
            let Some((shift, phi)) = near.flatten() else {
                self.go_far(place);
                *answer = self.far_answer(place, d0, root, grid);
                continue;
            };
            answer.log_s2 = kept(root + shift, log_unit);
            if let Some(j) = grid {
                let pattern = self.patterns[place].0;
                let df = self.freedoms.df[pattern];
                let own = self.freedoms.place(pattern);
                let own_constant = own.map_or(0.0, |at| self.freedoms.of_distinct[at][j]);
                answer.log_likelihood = self.freedoms.constants[j]
                    - own_constant
                    - 0.5 * (all - information(df, d0)).ln()
                    - 0.5 * (self.freedoms.total - df) * (root + shift)
                    - 0.5 * phi;
            }
        }
        answers
    }

    /// `ln s0^2` without each pattern at its own `phi`; NaN for nothing to lend. `nodes` are
    /// Chebyshev points in `phi` on both sides of that of all patterns, whose root is given.
    pub(super) fn at_own_phi(&mut self, nodes: &[f64], root: f64, own: &[OwnPhi]) -> Vec<f64> {
        let mut log_s2 = vec![f64::NAN; own.len()];
        let Some(unit) = self.unit else {
            return log_s2;
        };
        let d0: Vec<f64> = nodes.iter().map(|phi| 1.0 / phi).collect();
        let polynomial = self.polynomial(&d0, root, false);
        let (log_unit, scale) = (unit.ln(), (-root).exp());
        let mut weights = Vec::new();
        for (place, own) in own.iter().enumerate() {
            let near = (!own.weights.is_empty() && !self.is_far(place)).then(|| {
                weights.clear();
                for weight in &own.weights {
                    weights.extend(self.weights(place).iter().map(|w| w * weight));
                }
                self.near_answer(&polynomial, &weights, place, 1.0 / own.phi, scale)
            });
            log_s2[place] = match near.flatten() {
                Some((shift, _)) => kept(root + shift, log_unit),
                None => {
                    self.go_far(place);
                    self.far_answer(place, 1.0 / own.phi, root, None).log_s2
                }
            };
        }
        log_s2
    }

    fn weights(&self, place: usize) -> &[f64] {
        let points = self.points.len();
        &self.weights[place * points..(place + 1) * points]
    }

    /// The shift of the root without one pattern and the sum Phi there (if wanted); `None` where it
    /// is too far.
    fn near_answer(
        &self,
        polynomial: &Polynomial,
        weights: &[f64],
        place: usize,
        d0: f64,
        scale: f64,
    ) -> Option<(f64, f64)> {
        let (pattern, _) = self.patterns[place];
        let order = polynomial.order;
        let mut taylor = [0.0; ORDER + 1];
        for (coefficients, &weight) in polynomial.taylor.iter().zip(weights) {
            for (sum, coefficient) in taylor.iter_mut().zip(coefficients) {
                *sum += weight * coefficient;
            }
        }
        let df = self.freedoms.df[pattern];
        // Terms that the polynomial has too many or too few.
        let odd = &self.odd_sums[place * self.odd.len()..(place + 1) * self.odd.len()];
        let own_whole = if self.odd.contains(&pattern) {
            0.0
        } else {
            -whole(df, d0)
        };
        let extra = || {
            let others = self.odd.iter().zip(odd).filter(|(set, _)| **set != pattern);
            others
                .map(|(&set, &sum)| (whole(self.freedoms.df[set], d0), sum))
                .chain([(own_whole, self.own[place])])
        };

        let mut shift = 0.0;
        let mut last = f64::INFINITY;
        for _ in 0..STEPS {
            let (mut value, mut slope) = (0.0, 0.0);
            for &coefficient in taylor[..=order].iter().rev() {
                slope = slope * shift + value;
                value = value * shift + coefficient;
            }
            let factor = if shift == 0.0 {
                scale
            } else {
                scale * (-shift).exp()
            };
            for (whole, sum) in extra() {
                let q = sum * factor;
                let inverse = 1.0 / (d0 + q);
                value += whole * q * inverse;
                slope -= whole * q * inverse * d0 * inverse;
            }
            value -= self.freedoms.total - df;
            if polynomial.lost && value <= 0.0 {
                // Without this pattern, too, the best is below the least that is looked at.
                last = 0.0;
                break;
            }
            // What is left must not drown in what is taken away.
            if slope > 0.1 * taylor[1] || slope.is_nan() {
                return None;
            }
            let step = -value / slope;
            shift += step;
            last = step.abs();
            if shift.abs() > polynomial.reach {
                return None;
            }
            if last <= SHORT_STEP {
                break;
            }
        }
        if last > SHORT_STEP {
            return None;
        }
        let mut phi = 0.0;
        if !polynomial.at_rest.is_empty() {
            let rest = polynomial.at_rest.iter().zip(weights);
            phi = rest.map(|(rest, weight)| rest * weight).sum();
            let mut power = shift;
            for (k, coefficient) in taylor[..=order].iter().enumerate() {
                phi -= coefficient * power / (k + 1) as f64;
                power *= shift;
            }
            let factor = scale * (-shift).exp() / d0;
            for (whole, sum) in extra() {
                phi += whole * (1.0 + sum * factor).ln();
            }
        }
        Some((shift, phi))
    }

    /// About `root` for each of some `d0`.
    fn polynomial(&self, d0: &[f64], root: f64, likelihood: bool) -> Polynomial {
        let scale = (-root).exp();
        let reaches = d0.iter().map(|&d0| self.reach_of_root(d0, scale));
        let reach = reaches.fold(0.0, f64::max);
        let order = (2..ORDER)
            .find(|&order| (reach / 3.0).powi(order as i32) * reach <= EXACT)
            .unwrap_or(ORDER);
        let table = &*COEFFICIENTS;
        let mut taylor = Vec::new();
        for &d0 in d0 {
            let total: f64 = self.smooth_df.iter().map(|&df| whole(df, d0)).sum();
            for point in 0..self.points.len() {
                let powers = self.powers(point, d0, scale, order + 1);
                let coefficient = |k: usize| -> f64 {
                    let terms = powers.iter().zip(&table[k]);
                    let sum: f64 = terms.map(|(power, factor)| power * factor).sum();
                    if k == 0 { total - sum } else { -sum }
                };
                let up_to_order = |k: usize| if k <= order { coefficient(k) } else { 0.0 };
                taylor.push(std::array::from_fn(up_to_order));
            }
        }
        let at_rest = if likelihood {
            let sums = self.sums.iter();
            sums.map(|sums| deviance(&self.smooth_df, sums, d0[0], scale))
                .collect()
        } else {
            Vec::new()
        };
        Polynomial {
            lost: root <= LEAST_ROOT + 1.0,
            order,
            reach,
            taylor,
            at_rest,
        }
    }

    /// How far the roots will move, somewhat more than to first order.
    fn reach_of_root(&self, d0: f64, scale: f64) -> f64 {
        let middle = self.points.len() / 2;
        let first = self.powers(middle, d0, scale, 2);
        let total: f64 = self.smooth_df.iter().map(|&df| whole(df, d0)).sum();
        let (mut value, slope) = (total - first[0] - self.freedoms.total, first[0] - first[1]);
        for &set in &self.odd {
            let q = self.sums[middle][set] * scale;
            value += whole(self.freedoms.df[set], d0) * q / (d0 + q);
        }
        let own = self.patterns.iter().zip(&self.own);
        let reach = own
            .map(|(&(pattern, _), &own)| {
                let df = self.freedoms.df[pattern];
                let q = own * scale;
                1.5 * (whole(df, d0) * q / (d0 + q) - df - value).abs() / slope
            })
            .filter(|&reach| reach <= FAR_ROOT)
            .fold(0.0, f64::max);
        // A move of a moves the root too, by less.
        (reach + self.reach).min(FAR_ROOT) + 1e-12
    }

    /// `sum (df + d0) z^m` at a point, `z = d0 / (d0 + q)`, for m = 1 to `count`.
    fn powers(&self, point: usize, d0: f64, scale: f64, count: usize) -> Vec<f64> {
        let mut sums = [[0.0; LANES]; ORDER + 1];
        let sums = &mut sums[..count];
        let mut add = |df: &[f64], scaled: &[f64]| {
            let (mut z, mut power) = ([0.0; LANES], [0.0; LANES]);
            for k in 0..df.len().min(LANES) {
                z[k] = d0 / (d0 + scaled[k] * scale);
                power[k] = whole(df[k], d0);
            }
            for sum in sums.iter_mut() {
                for k in 0..LANES {
                    power[k] *= z[k];
                    sum[k] += power[k];
                }
            }
        };
        let (dfs, scaled) = (
            self.smooth_df.chunks_exact(LANES),
            self.sums[point].chunks_exact(LANES),
        );
        let rest = (dfs.remainder(), scaled.remainder());
        for (df, scaled) in dfs.zip(scaled) {
            add(df, scaled);
        }
        add(rest.0, rest.1);
        sums.iter().map(|lanes| lanes.iter().sum()).collect()
    }
}

/// A pattern's own `phi`.
#[derive(Clone, Debug)]
pub(super) struct OwnPhi {
    pub(super) phi: f64,
    /// What each node counts for; empty where it is far from all of them.
    pub(super) weights: Vec<f64>,
}

/// `ln s0^2` from a root; NaN where it is the least that is looked at.
fn kept(root: f64, log_unit: f64) -> f64 {
    if root > LEAST_ROOT + 1.0 {
        log_unit + root
    } else {
        f64::NAN
    }
}

/// The sums over all smooth sets near the root of all patterns.
#[derive(Debug)]
struct Polynomial {
    /// All patterns together have their best `s0^2` at the least that is looked at.
    lost: bool,
    order: usize,
    /// The farthest D it is good for.
    reach: f64,
    /// Per `d0` and point, Taylor coefficients in D of `sum (df + d0) q / (d0 + q)`.
    taylor: Vec<[f64; ORDER + 1]>,
    /// Per point, `sum (df + d0) ln(1 + q / d0)` at D = 0; empty unless wanted.
    at_rest: Vec<f64>,
}

/// Taylor coefficients of `z(D)`, `dz/dD = z - z^2`, in powers `z^1, z^2, ...` of z itself.
static COEFFICIENTS: LazyLock<[[f64; ORDER + 1]; ORDER + 1]> = LazyLock::new(|| {
    let mut table = [[0.0; ORDER + 1]; ORDER + 1];
    table[0][0] = 1.0;
    for k in 1..=ORDER {
        for m in 0..=k {
            // d/dD z^m = m z^m - m z^(m + 1).
            let stay = (m + 1) as f64 * table[k - 1][m];
            let come = if m > 0 {
                m as f64 * table[k - 1][m - 1]
            } else {
                0.0
            };
            table[k][m] = (stay - come) / k as f64;
        }
    }
    table
});

/// Chebyshev points for a function of `ln a` on both sides of the middle, whose nearest pole is a
/// distance of pi away.
fn points_for(reach: f64) -> usize {
    if reach == 0.0 {
        return 1;
    }
    let error = |points: &usize| (reach / 4.0).powi(*points as i32);
    (3..10).find(|points| error(points) <= EXACT).unwrap_or(10)
}
