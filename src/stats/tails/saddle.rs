//! The two pieces of the saddle-point form of gamma and beta densities.
//!
//! Written out, `x^a e^-x / Gamma(a)` is a small difference of large logarithms.  With Stirling's
//! formula taken out by hand, what remains is a factor near 1 and a deviance that is never
//! negative, both computed to full precision.
//!
//! Source: Loader (2000), "Fast and accurate computation of binomial probabilities".

use std::f64::consts::{E, TAU};

/// `Gamma(x + 1) / (sqrt(2 pi x) (x / e)^x)`: what Stirling's formula leaves over, for x > 0.
pub(super) fn stirling_factor(x: f64) -> f64 {
    if x == 0.5 {
        // Every t asks for it; Gamma(3/2) is half the root of pi.
        return (0.5 * E).sqrt();
    }
    if x < 10.0 {
        return libm::tgamma(x + 1.0) * x.exp() / (x.powf(x) * (TAU * x).sqrt());
    }
    // The Bernoulli series; the first term left out is 3e-17 at x = 10.
    let w = 1.0 / (x * x);
    let series = [
        1.0 / 12.0,
        -1.0 / 360.0,
        1.0 / 1260.0,
        -1.0 / 1680.0,
        1.0 / 1188.0,
        -691.0 / 360_360.0,
        1.0 / 156.0,
    ];
    (series.iter().rev().fold(0.0, |sum, c| sum * w + c) / x).exp()
}

/// `a ln(a / m) + m - a`: how far the mean `m` is from `a`, zero where they agree.
/// `difference` is m - a, which the caller may know better than by subtraction.
pub(super) fn deviance(a: f64, m: f64, difference: f64) -> f64 {
    a * surplus(difference / a, || (m / a).ln())
}

/// `e - ln(1 + e)`, never negative; `log` gives ln(1 + e), which near 0 is not asked for.
pub(super) fn surplus(e: f64, log: impl FnOnce() -> f64) -> f64 {
    if e.abs() > 0.25 {
        return e - log();
    }
    // The series of the inverse hyperbolic tangent: no cancellation.
    let v = e / (2.0 + e);
    let w = v * v;
    let series = ODD_PARTS.iter().rev().fold(0.0, |sum, c| sum * w + c);
    v * (e - 2.0 * w * series)
}

/// 1/3, 1/5, 1/7, ...: enough of them for w up to 1/49.
const ODD_PARTS: [f64; 9] = [
    1.0 / 3.0,
    1.0 / 5.0,
    1.0 / 7.0,
    1.0 / 9.0,
    1.0 / 11.0,
    1.0 / 13.0,
    1.0 / 15.0,
    1.0 / 17.0,
    1.0 / 19.0,
];

#[cfg(test)]
mod tests {
    use super::{deviance, stirling_factor};

    #[test]
    fn the_two_forms_of_stirlings_remainder_meet() {
        let (below, above) = (stirling_factor(10.0 - 1e-12), stirling_factor(10.0));
        assert!((below / above - 1.0).abs() < 4e-15, "{below} {above}");
    }

    #[test]
    fn that_of_a_half_is_what_its_neighbours_tend_to() {
        let near = stirling_factor(0.5 + 1e-15);
        assert!((stirling_factor(0.5) / near - 1.0).abs() < 1e-14, "{near}");
    }

    #[test]
    fn the_two_forms_of_the_deviance_meet() {
        for a in [0.5, 40.0, 1500.0] {
            for sign in [1.0, -1.0] {
                let at = |e: f64| deviance(a, a * (1.0 + e), a * e);
                let (near, far) = (at(sign * 0.25), at(sign * (0.25 + 1e-15)));
                assert!((near / far - 1.0).abs() < 4e-14, "{a}: {near} {far}");
            }
        }
    }

    #[test]
    fn agreement_has_no_deviance() {
        assert_eq!(deviance(7.0, 7.0, 0.0), 0.0);
    }
}
