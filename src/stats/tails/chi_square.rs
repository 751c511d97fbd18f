//! The chi-square distribution.
//!
//! Half a chi-square variable with `df` degrees of freedom has the gamma distribution of shape
//! df/2.
//!
//! Source: Wilson and Hilferty (1931), Proceedings of the National Academy of Sciences 17, 684-688
//! (start of the quantile's iteration).

use super::gamma::Gamma;
use super::invert::{Point, Side, solve};
use super::{is_probability, normal_upper_quantile, usable};

/// Lower tail P(X <= x) with `df` degrees of freedom, any positive finite number.
///
/// # Accuracy
/// As [`chi_square_sf`].
/// # Example
/// ```
/// use calibriar::stats::chi_square_cdf;
///
/// assert!((chi_square_cdf(2.0, 2.0) - (1.0 - (-1.0_f64).exp())).abs() < 1e-15);
/// ```
#[must_use]
pub fn chi_square_cdf(x: f64, df: f64) -> f64 {
    tails(x, df).0
}

/// Upper tail P(X > x) with `df` degrees of freedom, any positive finite number.
///
/// # Accuracy
/// Against 50-digit values, df 1 to 3000, tails down to 1e-300: largest relative error 1e-13.
/// # Example
/// ```
/// use calibriar::stats::chi_square_sf;
///
/// assert!((chi_square_sf(2.0, 2.0) - (-1.0_f64).exp()).abs() < 1e-15);
/// ```
#[must_use]
pub fn chi_square_sf(x: f64, df: f64) -> f64 {
    tails(x, df).1
}

/// The point with lower tail `p`; 0 at 0, infinity at 1.
///
/// # Accuracy
/// Against 50-digit values, df 1 to 3000, p from 1e-300 to 1 - 1e-12: largest relative error
/// 3e-14.
/// # Example
/// ```
/// use calibriar::stats::chi_square_quantile;
///
/// assert!((chi_square_quantile(0.95, 1.0) - 3.841_458_820_694_124).abs() < 1e-14);
/// ```
#[must_use]
pub fn chi_square_quantile(p: f64, df: f64) -> f64 {
    if p <= 0.5 {
        inverse(p, df, Side::Lower)
    } else {
        inverse(1.0 - p, df, Side::Upper)
    }
}

/// The point with upper tail `q`; infinity at 0, 0 at 1.
///
/// # Accuracy
/// As [`chi_square_quantile`].
#[must_use]
pub fn chi_square_upper_quantile(q: f64, df: f64) -> f64 {
    if q <= 0.5 {
        inverse(q, df, Side::Upper)
    } else {
        inverse(1.0 - q, df, Side::Lower)
    }
}

fn tails(x: f64, df: f64) -> (f64, f64) {
    if x.is_nan() || !named(df) {
        return (f64::NAN, f64::NAN);
    }
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    if x == f64::INFINITY {
        return (1.0, 0.0);
    }
    let At { lower, upper, .. } = ChiSquare::new(df).at(x);
    (lower, upper)
}

fn named(df: f64) -> bool {
    usable(df) && df < f64::INFINITY
}

/// The point at which the tail of that side is `tail`, at most 1/2.
fn inverse(tail: f64, df: f64, side: Side) -> f64 {
    if !is_probability(tail) || !named(df) {
        return f64::NAN;
    }
    if tail == 0.0 {
        return if side == Side::Lower {
            0.0
        } else {
            f64::INFINITY
        };
    }
    let chi_square = ChiSquare::new(df);
    solve(start(tail, df, side), tail, side, |x| {
        let At {
            lower,
            upper,
            density,
        } = chi_square.at(x);
        let tail = if side == Side::Lower { lower } else { upper };
        Point {
            tail,
            density,
            slope: 0.5 * (df - x),
        }
    })
}

/// The distribution with its constant worked out once, for many calls at the same df.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ChiSquare {
    gamma: Gamma,
}

/// The distribution at some x.
#[derive(Clone, Copy, Debug)]
pub(crate) struct At {
    /// P(X <= x)
    pub(crate) lower: f64,
    /// P(X > x)
    pub(crate) upper: f64,
    /// Density against ln x.
    pub(crate) density: f64,
}

impl ChiSquare {
    /// `df` is positive and finite.
    pub(crate) fn new(df: f64) -> Self {
        Self {
            gamma: Gamma::new(0.5 * df),
        }
    }

    /// `x` is positive and finite.
    pub(crate) fn at(&self, x: f64) -> At {
        let density = self.gamma.front(0.5 * x);
        let (lower, upper) = self.gamma.tails_from(0.5 * x, density);
        At {
            lower,
            upper,
            density,
        }
    }

    /// Density against ln x at x = df e^v.
    pub(crate) fn density_at_log(&self, v: f64) -> f64 {
        self.gamma.front_at_log(v)
    }
}

/// Wilson and Hilferty's cube, or the leading term of the lower tail.
fn start(tail: f64, df: f64, side: Side) -> f64 {
    let a = 0.5 * df;
    let (z, lower) = match side {
        Side::Lower => (-normal_upper_quantile(tail), tail),
        Side::Upper => (normal_upper_quantile(tail), 1.0 - tail),
    };
    let root = 1.0 - 1.0 / (9.0 * a) + z / (3.0 * a.sqrt());
    if root > 0.3 {
        df * root.powi(3)
    } else {
        2.0 * ((lower.ln() + libm::lgamma(a + 1.0)) / a).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::{chi_square_cdf, chi_square_quantile, chi_square_sf, chi_square_upper_quantile};

    #[test]
    fn the_support_starts_at_zero_and_never_ends() {
        for df in [0.3, 2.0, 50.0] {
            for x in [-1.0, 0.0, f64::NEG_INFINITY] {
                assert_eq!((chi_square_cdf(x, df), chi_square_sf(x, df)), (0.0, 1.0));
            }
            assert_eq!(chi_square_cdf(f64::INFINITY, df), 1.0);
            assert_eq!(chi_square_sf(f64::INFINITY, df), 0.0);
            assert_eq!(
                (chi_square_quantile(0.0, df), chi_square_quantile(1.0, df)),
                (0.0, f64::INFINITY)
            );
            assert_eq!(chi_square_upper_quantile(0.0, df), f64::INFINITY);
            assert_eq!(chi_square_upper_quantile(1.0, df), 0.0);
        }
    }

    #[test]
    fn two_degrees_of_freedom_have_a_closed_form() {
        for x in [1e-300, 1e-9, 0.5, 2.0, 3.9, 4.1, 60.0, 1400.0] {
            let (lower, upper) = (-(-0.5_f64 * x).exp_m1(), (-0.5 * x).exp());
            assert!((chi_square_cdf(x, 2.0) / lower - 1.0).abs() < 2e-13, "{x}");
            assert!((chi_square_sf(x, 2.0) / upper - 1.0).abs() < 2e-13, "{x}");
        }
    }

    #[test]
    fn impossible_arguments_give_nan() {
        for df in [0.0, -2.0, f64::NAN, f64::INFINITY] {
            assert!(chi_square_cdf(1.0, df).is_nan() && chi_square_quantile(0.3, df).is_nan());
        }
        assert!(chi_square_sf(f64::NAN, 2.0).is_nan());
        for p in [-0.1, 1.1, f64::NAN] {
            assert!(chi_square_quantile(p, 2.0).is_nan());
            assert!(chi_square_upper_quantile(p, 2.0).is_nan());
        }
    }
}
