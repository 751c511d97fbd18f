//! Quantiles from tails, by Halley's iteration on the logarithm of the tail against that of x.
//!
//! The logarithms of chi-square, F and the square of t have log-concave densities, hence log-concave
//! tails: Newton's iteration, which Halley's refines, converges from any start (after at most one
//! step to the other side).  Relative steps keep the digits of quantiles from 1e-300 to 1e300.

/// A tail at some x.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    /// The tail itself.
    pub(super) tail: f64,
    /// The density against ln x, positive whichever the tail.
    pub(super) density: f64,
    /// The derivative of the logarithm of that density against ln x.
    pub(super) slope: f64,
}

/// Which tail a [`Point`] holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Side {
    Lower,
    Upper,
}

/// The x > 0 at which the tail is `target`, from a start of the right order of magnitude.
pub(super) fn solve(start: f64, target: f64, side: Side, at: impl Fn(f64) -> Point) -> f64 {
    let rising = if side == Side::Lower { 1.0 } else { -1.0 };
    let (mut x, mut low, mut high, mut leap) = (start, 0.0_f64, f64::INFINITY, 1.0);
    for _ in 0..200 {
        if !(x > 0.0 && x < f64::INFINITY) {
            return x;
        }
        let Point {
            tail,
            density,
            slope,
        } = at(x);
        let too_small = (tail < target) == (side == Side::Lower);
        if too_small {
            low = x;
        } else {
            high = x;
        }
        let step = if tail > 0.0 && density > 0.0 {
            let hazard = density / tail;
            let miss = (tail / target).ln();
            let newton = -rising * miss / hazard;
            // Halley's correction, kept where it is a correction.
            let bend = 1.0 - rising * miss * (slope - rising * hazard) / (2.0 * hazard);
            let step = (newton / bend.clamp(0.5, 4.0)).clamp(-300.0, 300.0);
            // The next step would be of the order of the cube of this one.
            if step.abs() * (1.0 + hazard + slope.abs()) < 1e-5 || step.abs() < 1e-15 {
                return x * step.exp();
            }
            step
        } else {
            // A vanished tail or density says only on which side of x the quantile lies.
            leap *= 2.0;
            if too_small { leap } else { -leap }
        };
        x *= step.exp();
        if !(low < x && x < high) && low > 0.0 && high < f64::INFINITY {
            x = low.sqrt() * high.sqrt();
        }
    }
    x
}
