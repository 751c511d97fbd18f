//! The standard normal distribution.
//!
//! Tails come from the complementary error function of `libm`, the quantile from the rational
//! approximations of algorithm AS 241.
//!
//! Source: Wichura (1988), Applied Statistics 37, 477-484, routine PPND16.

use super::is_probability;
use std::f64::consts::FRAC_1_SQRT_2;

/// Lower tail P(Z <= z) of the standard normal distribution.
///
/// # Accuracy
/// Against 50-digit values, tails down to 1e-300: see [`normal_sf`].
/// # Example
/// ```
/// use calibriar::stats::normal_cdf;
///
/// assert!((normal_cdf(1.96) - 0.975_002_104_851_779_5).abs() < 1e-15);
/// ```
#[must_use]
pub fn normal_cdf(z: f64) -> f64 {
    normal_sf(-z)
}

/// Upper tail P(Z > z) of the standard normal distribution.
///
/// # Accuracy
/// Against 50-digit values, tails down to 1e-300: largest relative error 9e-14.
#[must_use]
pub fn normal_sf(z: f64) -> f64 {
    0.5 * libm::erfc(z * FRAC_1_SQRT_2)
}

/// Density of the standard normal distribution.
pub(crate) fn normal_density(z: f64) -> f64 {
    /// 1 / sqrt(2 pi)
    const PEAK: f64 = 0.398_942_280_401_432_7;
    PEAK * (-0.5 * z * z).exp()
}

/// The point with lower tail `p`; -infinity at 0, infinity at 1.
#[must_use]
pub fn normal_quantile(p: f64) -> f64 {
    -normal_upper_quantile(p)
}

/// The point with upper tail `q`; infinity at 0, -infinity at 1.
///
/// # Accuracy
/// Against 50-digit values, q from 1e-300 to 1 - 1e-12: largest relative error 5e-16.
/// # Example
/// ```
/// use calibriar::stats::normal_upper_quantile;
///
/// assert!((normal_upper_quantile(0.025) - 1.959_963_984_540_054).abs() < 1e-15);
/// ```
#[must_use]
pub fn normal_upper_quantile(q: f64) -> f64 {
    if !is_probability(q) {
        return f64::NAN;
    }
    // Exact for every q from 1/4 to 1, where it matters.
    let from_centre = 0.5 - q;
    if from_centre.abs() <= 0.425 {
        let r = 0.180_625 - from_centre * from_centre;
        return from_centre * polynomial(r, &CENTRE.0) / polynomial(r, &CENTRE.1);
    }
    let tail = q.min(1.0 - q);
    if tail == 0.0 {
        return f64::INFINITY.copysign(from_centre);
    }
    let r = (-tail.ln()).sqrt();
    let (shifted, parts) = if r <= 5.0 {
        (r - 1.6, &NEAR)
    } else {
        (r - 5.0, &FAR)
    };
    (polynomial(shifted, &parts.0) / polynomial(shifted, &parts.1)).copysign(from_centre)
}

/// Coefficients from the lowest power up.
fn polynomial(x: f64, coefficients: &[f64; 8]) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

type Rational = ([f64; 8], [f64; 8]);

/// |p - 1/2| <= 0.425, in 0.180625 - (p - 1/2)^2.
#[expect(clippy::excessive_precision, reason = "as printed in the source")]
const CENTRE: Rational = (
    [
        3.387_132_872_796_366_608,
        1.331_416_678_917_843_774_5e2,
        1.971_590_950_306_551_442_7e3,
        1.373_169_376_550_946_112_5e4,
        4.592_195_393_154_987_145_7e4,
        6.726_577_092_700_870_085_3e4,
        3.343_057_558_358_812_810_5e4,
        2.509_080_928_730_122_672_7e3,
    ],
    [
        1.0,
        4.231_333_070_160_091_125_2e1,
        6.871_870_074_920_579_083e2,
        5.394_196_021_424_751_107_7e3,
        2.121_379_430_158_659_586_7e4,
        3.930_789_580_009_271_061e4,
        2.872_908_573_572_194_267_4e4,
        5.226_495_278_852_854_561e3,
    ],
);

/// sqrt(-ln tail) up to 5, in that less 1.6.
#[expect(clippy::excessive_precision, reason = "as printed in the source")]
const NEAR: Rational = (
    [
        1.423_437_110_749_683_577_34,
        4.630_337_846_156_545_295_9,
        5.769_497_221_460_691_405_5,
        3.647_848_324_763_204_605_04,
        1.270_458_252_452_368_382_58,
        2.417_807_251_774_506_117_7e-1,
        2.272_384_498_926_918_458_33e-2,
        7.745_450_142_783_414_076_4e-4,
    ],
    [
        1.0,
        2.053_191_626_637_758_821_87,
        1.676_384_830_183_803_849_4,
        6.897_673_349_851_000_045_5e-1,
        1.481_039_764_274_800_745_9e-1,
        1.519_866_656_361_645_719_66e-2,
        5.475_938_084_995_344_946e-4,
        1.050_750_071_644_416_843_24e-9,
    ],
);

/// sqrt(-ln tail) above 5, in that less 5.
#[expect(clippy::excessive_precision, reason = "as printed in the source")]
const FAR: Rational = (
    [
        6.657_904_643_501_103_777_2,
        5.463_784_911_164_114_369_9,
        1.784_826_539_917_291_335_8,
        2.965_605_718_285_048_912_3e-1,
        2.653_218_952_657_612_309_3e-2,
        1.242_660_947_388_078_438_6e-3,
        2.711_555_568_743_487_578_15e-5,
        2.010_334_399_292_288_132_65e-7,
    ],
    [
        1.0,
        5.998_322_065_558_879_376_9e-1,
        1.369_298_809_227_358_053_1e-1,
        1.487_536_129_085_061_485_25e-2,
        7.868_691_311_456_132_591e-4,
        1.846_318_317_510_054_681_8e-5,
        1.421_511_758_316_445_888_7e-7,
        2.044_263_103_389_939_785_64e-15,
    ],
);

#[cfg(test)]
mod tests {
    use super::{normal_cdf, normal_quantile, normal_sf, normal_upper_quantile};

    #[test]
    fn the_ends_of_the_line_hold_everything_or_nothing() {
        assert_eq!(
            (normal_cdf(f64::INFINITY), normal_sf(f64::INFINITY)),
            (1.0, 0.0)
        );
        assert_eq!(
            (normal_cdf(f64::NEG_INFINITY), normal_sf(f64::NEG_INFINITY)),
            (0.0, 1.0)
        );
        assert_eq!(
            (normal_quantile(0.0), normal_quantile(1.0)),
            (f64::NEG_INFINITY, f64::INFINITY)
        );
        assert_eq!(normal_upper_quantile(0.0), f64::INFINITY);
    }

    #[test]
    fn the_centre_is_exact() {
        assert_eq!(
            (normal_cdf(0.0), normal_sf(0.0), normal_quantile(0.5)),
            (0.5, 0.5, 0.0)
        );
    }

    #[test]
    fn the_three_pieces_of_the_quantile_meet() {
        for q in [0.075, (-25.0_f64).exp()] {
            let (below, above) = (q * (1.0 - 1e-14), q * (1.0 + 1e-14));
            let step = normal_upper_quantile(below) - normal_upper_quantile(above);
            assert!((0.0..2e-14).contains(&step), "{q}: {step}");
        }
    }

    #[test]
    fn what_is_no_number_or_probability_gives_nan() {
        assert!(normal_cdf(f64::NAN).is_nan() && normal_sf(f64::NAN).is_nan());
        for p in [-1e-9, 1.0 + 1e-9, f64::NAN] {
            assert!(normal_quantile(p).is_nan() && normal_upper_quantile(p).is_nan());
        }
    }
}
