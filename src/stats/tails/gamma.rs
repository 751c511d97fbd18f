//! The regularised incomplete gamma function, both tails.
//!
//! Source: NIST Digital Library of Mathematical Functions 8.11.4 (series) and 8.9.2 (continued
//! fraction, contracted).

use super::saddle::{deviance, stirling_factor, surplus};
use std::f64::consts::TAU;

/// The gamma distribution with shape a > 0 and scale 1, its constant worked out once.
#[derive(Clone, Copy, Debug)]
pub(super) struct Gamma {
    a: f64,
    scale: f64,
}

impl Gamma {
    pub(super) fn new(a: f64) -> Self {
        Self {
            a,
            scale: (a / TAU).sqrt() / stirling_factor(a),
        }
    }

    /// `x^a e^-x / Gamma(a)`: the density against ln x.
    pub(super) fn front(&self, x: f64) -> f64 {
        self.scale * (-deviance(self.a, x, x - self.a)).exp()
    }

    /// [`Gamma::front`] at x = a e^v.
    pub(super) fn front_at_log(&self, v: f64) -> f64 {
        self.scale * (-self.a * surplus(v.exp_m1(), || v)).exp()
    }

    /// P(X <= x) and P(X > x), for finite x > 0 and the front factor at x.
    pub(super) fn tails_from(&self, x: f64, front: f64) -> (f64, f64) {
        if x <= self.a + 1.0 {
            let lower = front * self.series(x) / self.a;
            (lower, 1.0 - lower)
        } else {
            let upper = front * self.fraction(x);
            (1.0 - upper, upper)
        }
    }

    /// Sum of x^k / ((a + 1) ... (a + k)): positive terms.
    fn series(&self, x: f64) -> f64 {
        let (mut term, mut sum, mut below) = (1.0, 1.0, self.a);
        while term > f64::EPSILON * 0.25 * sum {
            below += 1.0;
            term *= x / below;
            sum += term;
        }
        sum
    }

    /// The upper tail over the front factor, by the forward recurrence of the convergents.
    fn fraction(&self, x: f64) -> f64 {
        let a = self.a;
        let (mut p0, mut q0) = (0.0, 1.0);
        let mut beta = x + 1.0 - a;
        let (mut p1, mut q1) = (1.0, beta);
        let mut ratio = p1 / q1;
        let mut k = 1.0;
        loop {
            beta += 2.0;
            let alpha = -k * (k - a);
            let p2 = beta * p1 + alpha * p0;
            let q2 = beta * q1 + alpha * q0;
            let last = ratio;
            let scale = 1.0 / q2;
            ratio = p2 * scale;
            (p0, q0, p1, q1) = (p1 * scale, q1 * scale, ratio, 1.0);
            if (ratio - last).abs() <= f64::EPSILON * ratio.abs() || !ratio.is_finite() {
                return ratio;
            }
            k += 1.0;
        }
    }
}
