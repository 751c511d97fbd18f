//! Whether something measured with an error lies within its limits.
//!
//! # Source
//! JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in conformity
//! assessment; 7.4 the probability between two limits, 8.3 guarded acceptance.

use std::f64::consts::FRAC_1_SQRT_2;

use super::tails::{normal_cdf, normal_quantile, normal_sf, normal_upper_quantile};

/// Probability that a value lies within its limits, which count as within, where what is known of
/// it is a normal distribution of that `mean` and standard uncertainty `u`.
///
/// # Method
/// `Phi((high - mean) / u) - Phi((low - mean) / u)`: with the mean within the limits a sum of two
/// error functions, elsewhere the difference of two tails on its side, so that no digits are lost
/// against 1.
/// # Input
/// A limit that is `None` is not there. With `u` = 0 the mean itself is within or not.
/// # Output
/// A probability; 0 where `low` is above `high`; NaN where a number is NaN or `u` negative.
/// # Accuracy
/// Against 18 cases at 40 digits (15 stored): 3e-13, which is the rounding of `limit - mean` over
/// `u`; below 1e-15 where those are written exactly.
/// # Source
/// JCGM 106:2012, 7.3 and 7.4.
/// # Example
/// ```
/// use calibriar::stats::conformity;
///
/// // At its upper limit, measured well: inside or outside with equal chance.
/// assert_eq!(conformity(None, Some(4.2), 4.2, 0.06), 0.5);
/// // Well inside both limits.
/// assert!(conformity(Some(4.0), Some(4.4), 4.2, 0.06) > 0.999);
/// ```
#[must_use]
pub fn conformity(low: Option<f64>, high: Option<f64>, mean: f64, u: f64) -> f64 {
    let (low, high) = (
        low.unwrap_or(f64::NEG_INFINITY),
        high.unwrap_or(f64::INFINITY),
    );
    if u.is_nan() || u < 0.0 || mean.is_nan() || low.is_nan() || high.is_nan() {
        return f64::NAN;
    }
    if low > high {
        return 0.0;
    }
    if u == 0.0 {
        return f64::from((low..=high).contains(&mean));
    }
    between(standardised(low - mean, u), standardised(high - mean, u))
}

/// The means at which a value lies within its limits with at least that `probability`: limits for
/// what is aimed at, `u` being the standard uncertainty of the cut or of the reading. `None` where
/// even the best mean falls short.
///
/// # Method
/// With both limits the band is the same at either end, `[low + w u, high - w u]`: w is the root of
/// `P(Z > w) + P(Z > (high - low) / u - w) = 1 - probability` up to the middle, by bisection to the
/// last digit. With one limit w is the normal quantile. An end without a limit is infinite.
/// # Input
/// As for [`conformity`]; `probability` from 0 to 1. Below 1/2 the means may lie outside the limits.
/// # Output
/// Lowest and highest mean, in the unit of the limits. `None` too for numbers that make no sense.
/// # Accuracy
/// The probability at both ends is right to 1e-14, so w to 1e-12 but where the best mean only just
/// suffices.
/// # Source
/// JCGM 106:2012, 8.3.2; that the far limit counts as well follows from 7.4.
/// # Example
/// ```
/// use calibriar::stats::guarded;
///
/// // A bore of 4.0 to 4.4 mm, opened by a drill that cuts with u = 0.05 mm.
/// let (low, high) = guarded(Some(4.0), Some(4.4), 0.05, 0.95).expect("wide enough");
/// assert!((low - 4.08224).abs() < 1e-5 && (high - 4.31776).abs() < 1e-5);
/// assert_eq!(guarded(Some(4.0), Some(4.1), 0.05, 0.95), None);
/// ```
#[must_use]
pub fn guarded(
    low: Option<f64>,
    high: Option<f64>,
    u: f64,
    probability: f64,
) -> Option<(f64, f64)> {
    let sensible = (0.0..f64::INFINITY).contains(&u) && (0.0..=1.0).contains(&probability);
    let (low, high) = (
        low.unwrap_or(f64::NEG_INFINITY),
        high.unwrap_or(f64::INFINITY),
    );
    let width = high - low;
    if !sensible || width.is_nan() || width < 0.0 {
        return None;
    }
    let everywhere = low == f64::NEG_INFINITY && high == f64::INFINITY;
    if probability == 0.0 || everywhere {
        return Some((f64::NEG_INFINITY, f64::INFINITY));
    }
    if u == 0.0 {
        return Some((low, high));
    }
    // No uncertainty leaves certainty; far tails would vanish in the arithmetic alone.
    if probability == 1.0 {
        return None;
    }
    let w = guard(width / u, probability)?;
    let ends = (low + w * u, high - w * u);
    // Where one mean alone will do, rounding may exchange the two.
    Some((ends.0.min(ends.1), ends.1.max(ends.0)))
}

/// Guard band, in standard uncertainties, of limits that are `width` of them apart.
fn guard(width: f64, probability: f64) -> Option<f64> {
    let outside = 1.0 - probability;
    // Whichever is the smaller holds the digits.
    let enough = |w: f64| {
        if probability < 0.5 {
            between(w - width, w) >= probability
        } else {
            normal_sf(w) + normal_sf(width - w) <= outside
        }
    };
    // One tail alone takes what is allowed; the two together take at most twice the nearer.
    let mut low = if probability < 0.5 {
        normal_quantile(probability)
    } else {
        normal_upper_quantile(outside)
    };
    let middle = 0.5 * width;
    let mut high = normal_upper_quantile(0.5 * outside).min(middle);
    if high == middle && !enough(high) {
        return None;
    }
    loop {
        let middle = f64::midpoint(low, high);
        if !(low < middle && middle < high) {
            return Some(high);
        }
        if enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
}

fn standardised(distance: f64, u: f64) -> f64 {
    if distance.is_infinite() {
        distance
    } else {
        distance / u
    }
}

/// P(low <= Z <= high) of the standard normal distribution, low <= high.
fn between(low: f64, high: f64) -> f64 {
    if low > 0.0 {
        normal_sf(low) - normal_sf(high)
    } else if high < 0.0 {
        normal_cdf(high) - normal_cdf(low)
    } else {
        0.5 * (libm::erf(high * FRAC_1_SQRT_2) - libm::erf(low * FRAC_1_SQRT_2))
    }
}

#[cfg(test)]
mod tests {
    use super::{conformity, guarded};

    const INF: f64 = f64::INFINITY;

    #[test]
    fn without_uncertainty_the_mean_is_within_or_not() {
        assert_eq!(conformity(Some(1.0), Some(2.0), 2.0, 0.0), 1.0);
        assert_eq!(conformity(Some(1.0), Some(2.0), 2.1, 0.0), 0.0);
        assert_eq!(guarded(Some(1.0), Some(2.0), 0.0, 0.99), Some((1.0, 2.0)));
        assert_eq!(guarded(None, Some(2.0), 0.0, 1.0), Some((-INF, 2.0)));
    }

    #[test]
    fn no_limits_hold_everything() {
        assert_eq!(conformity(None, None, 5.0, 0.3), 1.0);
        assert_eq!(guarded(None, None, 0.3, 1.0), Some((-INF, INF)));
        assert_eq!(guarded(Some(1.0), Some(2.0), 0.3, 0.0), Some((-INF, INF)));
    }

    #[test]
    fn certainty_needs_no_uncertainty() {
        assert_eq!(guarded(Some(1.0), Some(9.0), 0.01, 1.0), None);
        assert_eq!(guarded(None, Some(9.0), 0.01, 1.0), None);
    }

    #[test]
    fn far_outside_the_tail_keeps_its_digits() {
        let p = conformity(Some(1.0), Some(2.0), 0.0, 0.05);
        assert!(p > 2.7e-89 && p < 2.8e-89, "{p:e}");
    }

    #[test]
    fn the_best_mean_just_suffices_or_falls_short() {
        // Limits of +-1.96 u hold 95 %.
        let half = 1.959_963_984_540_054;
        let (low, high) = guarded(Some(-half), Some(half), 1.0, 0.949_999_999_9).unwrap();
        assert!(low <= 0.0 && high >= 0.0 && high - low < 1e-4);
        assert_eq!(guarded(Some(-half), Some(half), 1.0, 0.950_000_1), None);
    }

    #[test]
    fn what_makes_no_sense_is_no_band() {
        assert!(conformity(Some(f64::NAN), None, 1.0, 0.1).is_nan());
        assert!(conformity(None, Some(1.0), 1.0, -0.1).is_nan());
        assert_eq!(conformity(Some(2.0), Some(1.0), 1.5, 0.1), 0.0);
        for (u, p) in [
            (-0.1, 0.9),
            (f64::NAN, 0.9),
            (0.1, f64::NAN),
            (0.1, 1.1),
            (INF, 0.9),
        ] {
            assert_eq!(guarded(Some(1.0), Some(2.0), u, p), None, "{u} {p}");
        }
        assert_eq!(guarded(Some(2.0), Some(1.0), 0.1, 0.9), None);
    }

    #[test]
    fn huge_numbers_overflow_nowhere() {
        let (low, high) = (Some(-1e308), Some(1e308));
        assert_eq!(conformity(low, high, 0.0, 1e-300), 1.0);
        let (a, b) = guarded(low, high, 1e-300, 0.95).unwrap();
        assert!(a <= -1e307 && b >= 1e307);
        let (a, b) = guarded(low, high, 1e307, 0.95).unwrap();
        assert!(a.is_finite() && b.is_finite() && a < b);
    }
}
