//! The noncentral t distribution: (Z + ncp) / S, where S^2 is a chi-square over its df.
//!
//! It is the exact law of one-sided tolerance factors.
//!
//! # Method
//! The normal tail at t s - ncp is integrated over the density of u = ln s by the trapezoidal rule,
//! which converges exponentially there: every halving of the step squares the error.  Both tails are
//! integrals of positive terms, so neither loses digits.
//!
//! Source: Johnson and Welch (1940), Biometrika 31, 362-389 (definition and approximation that
//! starts the quantile); Trefethen and Weideman (2014), SIAM Review 56, 385-458 (the rule).

use super::gamma::Gamma;
use super::invert::Side;
use super::normal::normal_density;
use super::{ENDLESS, is_probability, normal_cdf, normal_quantile, usable};

/// Lower tail P(T <= t) with `df` degrees of freedom and noncentrality `ncp`, any finite number.
///
/// # Accuracy
/// As [`noncentral_t_sf`].
#[must_use]
pub fn noncentral_t_cdf(t: f64, df: f64, ncp: f64) -> f64 {
    tail(t, df, ncp, Side::Lower)
}

/// Upper tail P(T > t) with `df` degrees of freedom and noncentrality `ncp`, any finite number.
///
/// # Accuracy
/// Against 30-digit values, df 2 to 2999, ncp 0.5 to 107.3: largest relative error 3e-13.
/// # Example
/// ```
/// use calibriar::stats::{noncentral_t_sf, t_sf};
///
/// assert!((noncentral_t_sf(1.3, 5.0, 0.0) - t_sf(1.3, 5.0)).abs() < 1e-14);
/// ```
#[must_use]
pub fn noncentral_t_sf(t: f64, df: f64, ncp: f64) -> f64 {
    tail(t, df, ncp, Side::Upper)
}

/// The point with lower tail `p`; -infinity at 0, infinity at 1.
///
/// # Accuracy
/// Against 30-digit values, df 2 to 2999, ncp 0.5 to 107.3: largest relative error 5e-12,
/// where the table itself is that far off; 1e-14 against a second table, ncp -3 to 13.
#[must_use]
pub fn noncentral_t_quantile(p: f64, df: f64, ncp: f64) -> f64 {
    if !is_probability(p) || !named(df, ncp) {
        return f64::NAN;
    }
    if p == 0.0 || p == 1.0 {
        return f64::INFINITY.copysign(p - 0.5);
    }
    let z = normal_quantile(p);
    if df >= ENDLESS {
        return ncp + z;
    }
    let (side, target) = if p <= 0.5 {
        (Side::Lower, p)
    } else {
        (Side::Upper, 1.0 - p)
    };
    let rising = if side == Side::Lower { 1.0 } else { -1.0 };
    // Rises in t, whichever the tail.
    let miss = |t: f64| rising * (tail(t, df, ncp, side) / target).ln();

    // Johnson and Welch: T <= t is about Z <= (t b - ncp) / sqrt(1 + t^2 (1 - b^2)).
    let b = 1.0 - 1.0 / (4.0 * df + 1.0);
    let spread = 1.0 - b * b;
    let below = b * b - z * z * spread;
    let start = if below > 0.05 {
        (ncp * b + z * (b * b + spread * (ncp * ncp - z * z)).max(0.0).sqrt()) / below
    } else {
        ncp + z
    };
    bracketed_root(start, 0.02 * (1.0 + start.abs()), miss)
}

fn named(df: f64, ncp: f64) -> bool {
    usable(df) && ncp.is_finite()
}

fn tail(t: f64, df: f64, ncp: f64, side: Side) -> f64 {
    if t.is_nan() || !named(df, ncp) {
        return f64::NAN;
    }
    // The upper tail at t is the lower tail at -t of the mirrored distribution.
    let (t, ncp) = if side == Side::Lower {
        (t, ncp)
    } else {
        (-t, -ncp)
    };
    if t.is_infinite() {
        return if t > 0.0 { 1.0 } else { 0.0 };
    }
    if df >= ENDLESS {
        return normal_cdf(t - ncp);
    }
    let gamma = Gamma::new(0.5 * df);
    let term = |u: f64| {
        // ln s = u, and df s^2 / 2 is the gamma variable; its logarithm moves twice as fast as u.
        2.0 * gamma.front_at_log(2.0 * u) * normal_cdf(t * u.exp() - ncp)
    };
    let width = 1.0 / (2.0 * df).sqrt();
    let mode = mode(t, df, ncp);
    trapezoid(mode, width.min(1.0), term).min(1.0)
}

/// Where the integrand is largest: the zero of the slope of its logarithm, which changes sign once.
fn mode(t: f64, df: f64, ncp: f64) -> f64 {
    let slope = |u: f64| {
        let w = t * u.exp();
        -df * (2.0 * u).exp_m1() + w * mills(w - ncp)
    };
    let direction = if slope(0.0) > 0.0 { 1.0 } else { -1.0 };
    let (mut near, mut far) = (0.0, direction / (2.0 * df).sqrt());
    while slope(far) * direction > 0.0 {
        near = far;
        far *= 2.0;
    }
    let fine = 1e-2 / ((2.0 * df).sqrt() + ncp.abs() + 1.0);
    while (far - near).abs() > fine {
        let middle = 0.5 * (near + far);
        if slope(middle) * direction > 0.0 {
            near = middle;
        } else {
            far = middle;
        }
    }
    0.5 * (near + far)
}

/// The normal density over the lower tail at z.
fn mills(z: f64) -> f64 {
    if z < -30.0 {
        // Leading terms of the asymptotic series; only the place of the mode hangs on them.
        return -z - 1.0 / z;
    }
    normal_density(z) / normal_cdf(z)
}

/// The integral of a positive function with one peak over the whole line.
fn trapezoid(peak: f64, step: f64, f: impl Fn(f64) -> f64) -> f64 {
    /// Terms below this share of the sum are left out, on either side.
    const NEGLIGIBLE: f64 = 1e-18;
    // Sum of f over peak + (offset + k) step, k = 0, 1, 2, ..., outwards until the terms vanish.
    let walk = |offset: f64, step: f64| {
        let (mut sum, mut place) = (0.0, offset);
        loop {
            let term = f(peak + place * step);
            sum += term;
            if term <= NEGLIGIBLE * sum {
                return sum;
            }
            place += 1.0;
        }
    };
    let mut step = step;
    let mut sum = walk(0.0, step) + walk(1.0, -step);
    loop {
        let middles = walk(0.5, step) + walk(0.5, -step);
        let (coarse, fine) = (sum * step, 0.5 * (sum + middles) * step);
        sum += middles;
        step *= 0.5;
        // Each halving about squares the error, though a narrow normal step under a broad density
        // may lag: hence not the square root of the wanted precision.
        if (fine - coarse).abs() <= 1e-11 * fine || step < 1e-9 {
            return fine;
        }
    }
}

/// The zero of a rising function, from a start and a first step.
fn bracketed_root(start: f64, step: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut a, mut fa) = (start, f(start));
    if fa == 0.0 {
        return a;
    }
    let mut step = if fa < 0.0 { step } else { -step };
    let (mut b, mut fb);
    loop {
        (b, fb) = (a + step, f(a + step));
        if fb == 0.0 {
            return b;
        }
        if (fb < 0.0) != (fa < 0.0) || !b.is_finite() {
            break;
        }
        (a, fa) = (b, fb);
        step *= 2.0;
    }
    // False position; an end that stays twice in a row is given half its weight (the Illinois rule).
    let mut stuck = 0;
    for _ in 0..200 {
        let c = if (fa - fb).is_finite() {
            b - fb * (b - a) / (fb - fa)
        } else {
            0.5 * (a + b)
        };
        let fc = f(c);
        if fc == 0.0 || (b - a).abs() <= 2e-16 * c.abs() || (c - b).abs() <= 1e-16 * c.abs() {
            return c;
        }
        if (fc < 0.0) == (fb < 0.0) {
            stuck += 1;
            if stuck > 1 {
                fa *= 0.5;
            }
        } else {
            (a, fa) = (b, fb);
            stuck = 1;
        }
        (b, fb) = (c, fc);
    }
    b
}

#[cfg(test)]
mod tests {
    use super::{noncentral_t_cdf, noncentral_t_quantile, noncentral_t_sf};
    use crate::stats::{normal_cdf, t_cdf, t_sf};

    #[test]
    fn without_noncentrality_it_is_students_t() {
        for df in [0.7, 3.0, 40.0] {
            for t in [-60.0, -1.0, 0.0, 0.2, 9.0] {
                let (got, want) = (noncentral_t_cdf(t, df, 0.0), t_cdf(t, df));
                assert!(
                    (got / want - 1.0).abs() < 1e-13,
                    "{df} {t}: {got} for {want}"
                );
                let (got, want) = (noncentral_t_sf(t, df, 0.0), t_sf(t, df));
                assert!(
                    (got / want - 1.0).abs() < 1e-13,
                    "{df} {t}: {got} for {want}"
                );
            }
        }
    }

    #[test]
    fn at_zero_only_the_normal_part_counts() {
        for ncp in [-3.0, 0.5, 6.0] {
            let (got, want) = (noncentral_t_cdf(0.0, 4.0, ncp), normal_cdf(-ncp));
            assert!((got / want - 1.0).abs() < 1e-13, "{ncp}: {got} for {want}");
        }
    }

    #[test]
    fn the_ends_and_the_limit() {
        let endless = f64::INFINITY;
        assert_eq!(
            (
                noncentral_t_cdf(endless, 3.0, 1.0),
                noncentral_t_sf(endless, 3.0, 1.0)
            ),
            (1.0, 0.0)
        );
        assert_eq!(noncentral_t_cdf(-endless, 3.0, 1.0), 0.0);
        assert_eq!(noncentral_t_quantile(0.0, 3.0, 1.0), -endless);
        assert_eq!(noncentral_t_quantile(1.0, 3.0, 1.0), endless);
        assert_eq!(noncentral_t_cdf(2.0, endless, 1.5), normal_cdf(0.5));
        assert_eq!(noncentral_t_quantile(0.5, endless, 1.5), 1.5);
    }

    #[test]
    fn impossible_arguments_give_nan() {
        for (df, ncp) in [
            (0.0, 1.0),
            (-1.0, 1.0),
            (3.0, f64::NAN),
            (3.0, f64::INFINITY),
        ] {
            assert!(noncentral_t_sf(1.0, df, ncp).is_nan());
            assert!(noncentral_t_quantile(0.3, df, ncp).is_nan());
        }
        assert!(noncentral_t_cdf(f64::NAN, 3.0, 1.0).is_nan());
        assert!(noncentral_t_quantile(-0.1, 3.0, 1.0).is_nan());
    }
}
