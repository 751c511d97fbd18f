//! Student's t distribution.
//!
//! The tail beyond both ends, P(|T| > t), is the incomplete beta function at df / (df + t^2) with
//! parameters df/2 and 1/2.
//!
//! Sources: Student (1908), Biometrika 6, 1-25; Hill (1970), Communications of the ACM 13, 619-620,
//! algorithm 396 (start of the quantile's iteration).

use super::invert::{Point, Side, solve};
use super::{Beta, ENDLESS, is_probability, usable};
use super::{normal_sf, normal_upper_quantile};
use std::f64::consts::FRAC_PI_2;

/// Lower tail P(T <= t) with `df` degrees of freedom, any positive number; infinity: the normal.
///
/// # Accuracy
/// As [`t_sf`].
#[must_use]
pub fn t_cdf(t: f64, df: f64) -> f64 {
    t_sf(-t, df)
}

/// Upper tail P(T > t) with `df` degrees of freedom, any positive number; infinity: the normal.
///
/// # Accuracy
/// Against 50-digit values, df 1 to 3000, tails down to 1e-300: largest relative error 6e-14.
/// # Example
/// ```
/// use calibriar::stats::t_sf;
///
/// assert!((t_sf(1.0, 1.0) - 0.25).abs() < 1e-15);
/// ```
#[must_use]
pub fn t_sf(t: f64, df: f64) -> f64 {
    let half = 0.5 * t_two_sided(t, df);
    if t < 0.0 { 1.0 - half } else { half }
}

/// P(|T| > |t|), twice the upper tail at |t|.
///
/// # Accuracy
/// As [`t_sf`].
/// # Example
/// ```
/// use calibriar::stats::t_two_sided;
///
/// assert!((t_two_sided(-1.0, 1.0) - 0.5).abs() < 1e-15);
/// ```
#[must_use]
pub fn t_two_sided(t: f64, df: f64) -> f64 {
    if t.is_nan() || !usable(df) {
        return f64::NAN;
    }
    if df >= ENDLESS {
        return 2.0 * normal_sf(t.abs());
    }
    Student::new(df).at(t.abs()).beyond
}

/// The point with lower tail `p`; -infinity at 0, infinity at 1.
#[must_use]
pub fn t_quantile(p: f64, df: f64) -> f64 {
    -t_upper_quantile(p, df)
}

/// The point with upper tail `q`; infinity at 0, -infinity at 1.
///
/// # Accuracy
/// Against 50-digit values, df 1 to 3000, q from 1e-300 to 1 - 1e-12: largest relative error
/// 2e-14.
/// # Example
/// ```
/// use calibriar::stats::t_upper_quantile;
///
/// assert!((t_upper_quantile(0.25, 1.0) - 1.0).abs() < 1e-15);
/// ```
#[must_use]
pub fn t_upper_quantile(q: f64, df: f64) -> f64 {
    if !is_probability(q) || !usable(df) {
        return f64::NAN;
    }
    if df >= ENDLESS {
        return normal_upper_quantile(q);
    }
    // Exact for every q from 1/4 to 1, where it matters.
    let from_centre = 0.5 - q;
    let tail = q.min(1.0 - q);
    let size = match tail {
        0.0 => f64::INFINITY,
        0.5 => return 0.0,
        _ => Student::new(df).quantile(tail, from_centre.abs()),
    };
    size.copysign(from_centre)
}

struct Student {
    df: f64,
    beta: Beta,
}

/// The distribution at some t >= 0.
struct At {
    /// P(|T| > t)
    beyond: f64,
    /// P(|T| <= t)
    within: f64,
    /// Density of |T| against ln t.
    density: f64,
    /// Derivative of the logarithm of that density against ln t.
    slope: f64,
}

impl Student {
    fn new(df: f64) -> Self {
        Self {
            df,
            beta: Beta::new(0.5 * df, 0.5),
        }
    }

    fn at(&self, t: f64) -> At {
        /// Beyond this x or y is so small that the leading term is the whole sum.
        const FAR: f64 = 1e75;
        let df = self.df;
        let s = t / df.sqrt();
        if s > FAR {
            let density = 2.0 * self.beta.reciprocal() * s.powf(-df);
            let beyond = density / df;
            return At {
                beyond,
                within: 1.0 - beyond,
                density,
                slope: -df,
            };
        }
        if s < 1.0 / FAR {
            let within = 2.0 * self.beta.reciprocal() * s;
            return At {
                beyond: 1.0 - within,
                within,
                density: within,
                slope: 1.0,
            };
        }
        let square = t * t / df;
        let (x, y) = (1.0 / (1.0 + square), square / (1.0 + square));
        let front = self.beta.front(x, y);
        let (beyond, within) = self.beta.tails_from(x, y, front);
        At {
            beyond,
            within,
            density: 2.0 * front,
            slope: x - df * y,
        }
    }

    /// The t > 0 with upper tail `tail` = 1/2 - `centre`.
    fn quantile(&self, tail: f64, centre: f64) -> f64 {
        let start = self.start(tail, centre);
        if tail < 0.25 {
            solve(start, 2.0 * tail, Side::Upper, |t| {
                let At {
                    beyond,
                    density,
                    slope,
                    ..
                } = self.at(t);
                Point {
                    tail: beyond,
                    density,
                    slope,
                }
            })
        } else {
            solve(start, 2.0 * centre, Side::Lower, |t| {
                let At {
                    within,
                    density,
                    slope,
                    ..
                } = self.at(t);
                Point {
                    tail: within,
                    density,
                    slope,
                }
            })
        }
    }

    fn start(&self, tail: f64, centre: f64) -> f64 {
        let df = self.df;
        let root = df.sqrt();
        if tail > 0.45 {
            return root * centre / self.beta.reciprocal();
        }
        if df < 3.0 {
            // The leading term of the tail, or of the centre: each bounds t from one side.
            let reciprocal = self.beta.reciprocal();
            if tail < 0.25 {
                return root * (tail * df / reciprocal).powf(-1.0 / df);
            }
            return root * centre / reciprocal;
        }
        hill(tail, df)
    }
}

/// Hill's approximation to the point with upper tail `tail` < 1/2, for df of at least 3.
fn hill(tail: f64, df: f64) -> f64 {
    let a = 1.0 / (df - 0.5);
    let b = 48.0 / (a * a);
    let c = ((20_700.0 * a / b - 98.0) * a - 16.0) * a + 96.36;
    let d = ((94.5 / (b + c) - 3.0) / b + 1.0) * (a * FRAC_PI_2).sqrt() * df;
    let y = (d * 2.0 * tail).powf(2.0 / df);
    let y = if y > 0.05 + a {
        let x = -normal_upper_quantile(tail);
        let y = x * x;
        let c = if df < 5.0 {
            c + 0.3 * (df - 4.5) * (x + 0.6)
        } else {
            c
        };
        let c = (((0.05 * d * x - 5.0) * x - 7.0) * x - 2.0) * x + b + c;
        let y = (((((0.4 * y + 6.3) * y + 36.0) * y + 94.5) / c - y - 3.0) / b + 1.0) * x;
        (a * y * y).exp_m1()
    } else {
        let near = 1.0 / (((df + 6.0) / (df * y) - 0.089 * d - 0.822) * (df + 2.0) * 3.0);
        ((near + 0.5 / (df + 4.0)) * y - 1.0) * (df + 1.0) / (df + 2.0) + 1.0 / y
    };
    (df * y).sqrt()
}

#[cfg(test)]
mod tests {
    use super::{t_cdf, t_quantile, t_sf, t_two_sided, t_upper_quantile};
    use crate::stats::{normal_sf, normal_upper_quantile};

    #[test]
    fn the_ends_of_the_line_hold_everything_or_nothing() {
        for df in [0.3, 1.0, 7.0, f64::INFINITY] {
            assert_eq!(
                (t_cdf(f64::INFINITY, df), t_sf(f64::INFINITY, df)),
                (1.0, 0.0)
            );
            assert_eq!(
                (t_cdf(f64::NEG_INFINITY, df), t_sf(f64::NEG_INFINITY, df)),
                (0.0, 1.0)
            );
            assert_eq!(t_two_sided(f64::NEG_INFINITY, df), 0.0);
            assert_eq!(
                (t_quantile(0.0, df), t_quantile(1.0, df)),
                (-f64::INFINITY, f64::INFINITY)
            );
        }
    }

    #[test]
    fn the_centre_is_exact() {
        for df in [0.3, 1.0, 7.0, 1e9, f64::INFINITY] {
            assert_eq!(
                (t_cdf(0.0, df), t_sf(0.0, df), t_two_sided(0.0, df)),
                (0.5, 0.5, 1.0)
            );
            assert_eq!(t_quantile(0.5, df), 0.0);
        }
    }

    #[test]
    fn one_degree_of_freedom_has_a_closed_form() {
        for t in [1e-200_f64, 1e-9, 0.3, 1.0, 5.0, 1e9, 1e80, 1e200] {
            let want = (1.0 / t).atan() / std::f64::consts::PI;
            let got = t_sf(t, 1.0);
            assert!((got / want - 1.0).abs() < 4e-15, "{t}: {got} for {want}");
        }
    }

    #[test]
    fn near_the_centre_the_quantile_keeps_its_digits() {
        // The density at the centre of t with 2 degrees of freedom is 1 / sqrt(8).
        let step = 2.0_f64.powi(-45);
        let got = t_quantile(0.5 + step, 2.0);
        assert!((got / (step * 8.0_f64.sqrt()) - 1.0).abs() < 1e-14, "{got}");
        // Farther out, t = a sqrt(2 / (1 - a^2)) with a = 2p - 1; `p` is exact, and so is a.
        for a in [2.0_f64.powi(-20), 2.0_f64.powi(-7), 0.25, 0.5, 0.75] {
            let (got, want) = (
                t_quantile(0.5 + 0.5 * a, 2.0),
                a * (2.0 / (1.0 - a * a)).sqrt(),
            );
            assert!((got / want - 1.0).abs() < 4e-15, "{a}: {got} for {want}");
        }
    }

    #[test]
    fn many_degrees_of_freedom_are_the_normal() {
        for df in [1e18, 1e21, 1e23, 1e300, f64::INFINITY] {
            assert!((t_sf(3.0, df) / normal_sf(3.0) - 1.0).abs() < 1e-14, "{df}");
            let (got, want) = (t_upper_quantile(1e-9, df), normal_upper_quantile(1e-9));
            assert!((got / want - 1.0).abs() < 1e-14, "{df}: {got} for {want}");
        }
    }

    #[test]
    fn a_quantile_beyond_the_largest_number_is_infinite() {
        assert_eq!(t_upper_quantile(1e-300, 0.1), f64::INFINITY);
    }

    #[test]
    fn impossible_arguments_give_nan() {
        for df in [0.0, -1.0, f64::NAN] {
            assert!(t_sf(1.0, df).is_nan() && t_two_sided(1.0, df).is_nan());
            assert!(t_quantile(0.9, df).is_nan());
        }
        assert!(t_cdf(f64::NAN, 3.0).is_nan() && t_quantile(1.1, 3.0).is_nan());
    }
}
