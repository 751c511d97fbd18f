//! The regularised incomplete beta function, both tails.
//!
//! Sources: Didonato and Morris (1992), ACM Transactions on Mathematical Software 18, 360-373 (the
//! contracted continued fraction); NIST Digital Library of Mathematical Functions 8.17.8 (series).

use super::saddle::{deviance, stirling_factor};
use std::f64::consts::TAU;

/// The beta distribution with parameters a, b > 0, its constant worked out once.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Beta {
    a: f64,
    b: f64,
    scale: f64,
}

impl Beta {
    pub(crate) fn new(a: f64, b: f64) -> Self {
        let n = a + b;
        // sqrt(ab / n) without overflow for large a and b.
        let root = (a / n * b / TAU).sqrt();
        let scale = root * stirling_factor(n) / (stirling_factor(a) * stirling_factor(b));
        Self { a, b, scale }
    }

    /// `x^a y^b / B(a, b)`: the density against the logit of x, for y = 1 - x.
    pub(crate) fn front(&self, x: f64, y: f64) -> f64 {
        let Self { a, b, scale } = *self;
        let n = a + b;
        let shift = b * x - a * y; // n x - a
        scale * (-deviance(a, n * x, shift) - deviance(b, n * y, -shift)).exp()
    }

    /// 1 / B(a, b).
    pub(crate) fn reciprocal(&self) -> f64 {
        let Self { a, b, scale } = *self;
        let n = a + b;
        // (a / n)^a, without loss where a is nearly all of n.
        let share = |a: f64, b: f64| {
            a * if a > b {
                (-b / n).ln_1p()
            } else {
                (a / n).ln()
            }
        };
        scale * (-share(a, b) - share(b, a)).exp()
    }

    /// P(X <= x) and P(X > x).  Both x and y = 1 - x are asked for, so that neither loses digits.
    pub(crate) fn tails(&self, x: f64, y: f64) -> (f64, f64) {
        let front = self.front(x, y);
        self.tails_from(x, y, front)
    }

    /// As [`Beta::tails`], with the front factor already known.
    pub(crate) fn tails_from(&self, x: f64, y: f64, front: f64) -> (f64, f64) {
        let Self { a, b, .. } = *self;
        if b * x <= a * y {
            let lower = if x == 0.0 {
                0.0
            } else {
                front * lower_ratio(a, b, x, y)
            };
            (lower, 1.0 - lower)
        } else {
            let upper = if y == 0.0 {
                0.0
            } else {
                front * lower_ratio(b, a, y, x)
            };
            (1.0 - upper, upper)
        }
    }
}

/// The lower tail over the front factor, for x up to the mean a / (a + b).
fn lower_ratio(a: f64, b: f64, x: f64, y: f64) -> f64 {
    if (a + b) * x <= 0.6 * (a + 1.0) && x <= 0.6 {
        series(a, b, x) / a
    } else {
        fraction(a, b, x, y)
    }
}

/// The hypergeometric series F(a + b, 1; a + 1; x): positive terms.
fn series(a: f64, b: f64, x: f64) -> f64 {
    let (mut term, mut sum, mut k) = (1.0, 1.0, 0.0);
    while term > f64::EPSILON * 0.25 * sum {
        term *= (a + b + k) / (a + 1.0 + k) * x;
        sum += term;
        k += 1.0;
    }
    sum
}

/// Didonato and Morris' continued fraction, by the forward recurrence of its convergents.
fn fraction(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let (mut p0, mut p1) = (0.0, 1.0);
    let mut r = a + 1.0;
    let mut q0 = 1.0;
    let mut q1 = a * (a * y - b * x + 1.0) / r;
    let mut ratio = p1 / q1;
    let mut m = 1.0;
    loop {
        let s = r + 2.0; // a + 2m + 1, and r = a + 2m - 1
        let u = x / r;
        let alpha = (a + m - 1.0) * (a + b + m - 1.0) * m * (b - m) * u * u;
        let beta = m + m * (b - m) * u + (a + m) * (a * y - b * x + 1.0 + m * (1.0 + y)) / s;
        let p2 = beta * p1 + alpha * p0;
        let q2 = beta * q1 + alpha * q0;
        let last = ratio;
        let scale = 1.0 / q2;
        ratio = p2 * scale;
        (p0, q0, p1, q1) = (p1 * scale, q1 * scale, ratio, 1.0);
        if (ratio - last).abs() <= f64::EPSILON * ratio.abs() || !ratio.is_finite() {
            return ratio;
        }
        r = s;
        m += 1.0;
    }
}
