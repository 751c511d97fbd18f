//! The predictive t: what the next piece will measure, given some references.
//!
//! One idea carries every band and every verdict: `T = (y - m) / sqrt(W)` follows Student's t with
//! `nu` degrees of freedom, where `m` and `W` come from the references and from what is known of
//! the spread elsewhere. `docs/methods.md` has the formulas; names here are those there.
//!
//! Everything is on the scale on which differences are judged: plain, or logarithmic for sizes.

use super::borrowed::BorrowedSpread;
use super::two_level::{LeftOut, Rated, TwoLevel, relative, two_level};
use super::{normal_upper_quantile, t_two_sided, t_upper_quantile};

/// The smallest deviation worth naming is one that is flagged at this level with this probability.
/// Both belong to the definition of sharpness; neither is a setting.
const LEVEL: f64 = 0.05;
/// See [`LEVEL`].
const POWER: f64 = 0.80;
/// A norm less than half as sharp as a perfectly known one decides nothing by silence.
const LEAST_SHARPNESS: f64 = 0.5;

/// What is known of a spread before any reference of the set itself speaks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    /// Degrees of freedom that it is worth (`d0`): 0 where nothing is known, infinite for a spread
    /// that the user states.
    pub df: f64,
    /// Its square (`s0^2`), greater than 0; infinite where nothing is known.
    pub variance: f64,
    /// Variance between periods over variance within (`lambda`).
    pub lambda: f64,
}

impl Prior {
    /// Nothing is known of the spread: the references speak alone.
    pub fn none(lambda: f64) -> Prior {
        Prior {
            df: 0.0,
            variance: f64::INFINITY,
            lambda,
        }
    }

    /// What other patterns lend, or nothing.
    pub fn lent(spread: Option<BorrowedSpread>, lambda: f64) -> Prior {
        match spread {
            Some(spread) => Prior {
                df: spread.df,
                variance: spread.s2,
                lambda,
            },
            None => Prior::none(lambda),
        }
    }

    /// The error variance of a reading with standard uncertainty `u` relative to the spread; 0
    /// where nothing is known of the spread.
    pub fn relative(&self, u: f64) -> f64 {
        relative(u, self.variance)
    }

    /// The T of a reading by all others of its set, and its degrees of freedom: the externally
    /// studentized residual (Cook and Weisberg 1982, 2.2). `None` where the others tell no spread.
    pub fn studentized(&self, left_out: &LeftOut) -> Option<(f64, f64)> {
        let LeftOut { deviation, h, .. } = *left_out;
        let spread = Spread::new(
            self,
            left_out.n,
            left_out.q,
            left_out.mean_r,
            left_out.mean_u2,
        )?;
        Some((deviation / (spread.s2 * h).sqrt(), spread.nu))
    }
}

/// What the next piece will measure: centre, variance and degrees of freedom.
///
/// With [`Prior::none`] and all readings of one period it is, with equal uncertainties, the textbook
/// prediction interval of Student's t; else the spread is partly borrowed and periods may differ.
///
/// # Source
/// Geisser, Predictive Inference (1993), ch. 2; Smyth 2004 for the moderated spread; Henderson
/// 1975 (Biometrics 31) for a piece of a known period; `docs/methods.md`, "The norm".
#[derive(Clone, Debug, PartialEq)]
pub struct Predictive {
    sums: TwoLevel,
    spread: Spread,
    /// The centre for the piece that is judged: `mu`, or that of its period.
    centre: f64,
    /// `h0`: variance of an errorless reading about the centre, in units of `s^2`.
    h0: f64,
    /// The same if the norm were known perfectly.
    h_ideal: f64,
}

/// How the error of a reading enters.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Errors {
    /// The scatter of the references' own readings is in their spread already; only what is
    /// beyond their mean square counts.
    Within { mean_u2: f64 },
    /// The spread is that of the pieces; errors come on top, relative to the borrowed spread.
    Apart { variance: f64 },
}

/// The spread that a set of references and a prior make together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spread {
    pub(super) nu: f64,
    pub(super) s2: f64,
    errors: Errors,
}

impl Spread {
    /// From the number of references, their Q, and the means of r and of u^2; `None` where there is
    /// no spread.
    pub(super) fn new(
        prior: &Prior,
        n: usize,
        q: f64,
        mean_r: f64,
        mean_u2: f64,
    ) -> Option<Spread> {
        let own = n as f64 - 1.0;
        let spread = if prior.df == 0.0 {
            // Readings rounded to the same step may agree by chance; their spread is not less
            // than their uncertainty.
            Spread {
                nu: own,
                s2: (q / own).max(mean_u2),
                errors: Errors::Within { mean_u2 },
            }
        } else {
            let (variance, df) = (prior.variance, prior.df);
            // How much of the set's own squares is spread of pieces and not error of readings.
            let weight = (1.0 + mean_r).powi(-2);
            let nu = df + weight * own;
            let stated = df.is_infinite();
            Spread {
                nu,
                s2: if stated {
                    variance
                } else {
                    (df * variance + weight * q) / nu
                },
                errors: Errors::Apart { variance },
            }
        };
        (spread.nu > 0.0 && spread.s2 > 0.0 && spread.s2.is_finite()).then_some(spread)
    }
}

/// How one piece stands to a [`Predictive`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standpoint {
    /// `y - m`.
    pub deviation: f64,
    /// `W`, the variance of the deviation.
    pub variance: f64,
    /// `T`.
    pub t: f64,
    /// Two-sided probability of a deviation at least as large.
    pub p: f64,
    /// The normal score with the same `p` and the sign of the deviation.
    pub z: f64,
}

impl Predictive {
    /// What references and a prior say of the next undated piece; `None` where they say nothing:
    /// no reference; without a prior spread under two, or no spread in the readings and none in
    /// their uncertainties; or numbers that leave the range of an `f64`.
    pub fn new<R: Copy + Into<Rated>>(readings: &[R], prior: &Prior) -> Option<Predictive> {
        Predictive::from_sums(two_level(readings, prior.lambda, prior.variance)?, prior)
    }

    /// The same from the two-level sums of the references, worked out with the same prior.
    pub fn from_sums(sums: TwoLevel, prior: &Prior) -> Option<Predictive> {
        let spread = Spread::new(prior, sums.n, sums.q, sums.mean_r, sums.mean_u2)?;
        let (centre, h0) = sums.expected(None);
        (centre.is_finite() && sums.v > 0.0).then_some(Predictive {
            centre,
            h0,
            h_ideal: 1.0 + sums.lambda,
            spread,
            sums,
        })
    }

    /// The same for a piece of a known period: its references speak more than the others'. A
    /// period without references leaves the norm as it is.
    pub fn dated(self, period: Option<u32>) -> Predictive {
        if self.sums.period(period).is_none() {
            return self;
        }
        let (centre, h0) = self.sums.expected(period);
        Predictive {
            centre,
            h0,
            h_ideal: 1.0,
            ..self
        }
    }

    /// The two-level sums that it rests on.
    pub fn sums(&self) -> &TwoLevel {
        &self.sums
    }

    /// How many references.
    pub fn n(&self) -> usize {
        self.sums.n
    }

    /// The centre `m`.
    pub fn centre(&self) -> f64 {
        self.centre
    }

    /// The spread `s` of good pieces within a period.
    pub fn spread(&self) -> f64 {
        self.variance_within().sqrt()
    }

    /// The spread between periods, `s √lambda`.
    pub fn spread_between_periods(&self) -> f64 {
        (self.spread.s2 * self.sums.lambda).sqrt()
    }

    /// The spread of good pieces of any period, `s √(1 + lambda)`.
    pub fn total_spread(&self) -> f64 {
        (self.spread.s2 * (1.0 + self.sums.lambda)).sqrt()
    }

    /// Degrees of freedom `nu` of the spread.
    pub fn df(&self) -> f64 {
        self.spread.nu
    }

    /// How many equal references the centre is worth: `(1 + lambda) / V`.
    pub fn n_effective(&self) -> f64 {
        (1.0 + self.sums.lambda) / self.sums.v
    }

    /// `h0`: the variance of an errorless reading about the centre, in units of `s^2`.
    pub fn h0(&self) -> f64 {
        self.h0
    }

    /// `h0` of a norm that is known perfectly.
    pub fn h_ideal(&self) -> f64 {
        self.h_ideal
    }

    /// `s^2`, the squared spread within a period.
    pub fn variance_within(&self) -> f64 {
        self.spread.s2
    }

    /// The spread of readings with standard uncertainty `u` of good pieces, within a period.
    pub fn reading_spread(&self, u: f64) -> f64 {
        (self.spread.s2 * (1.0 + self.r_new(u))).sqrt()
    }

    /// The squared spread of the pieces themselves within a period, reading errors taken out; 0 where
    /// these alone explain the readings.
    pub fn piece_variance(&self) -> f64 {
        match self.spread.errors {
            Errors::Within { mean_u2 } => (self.spread.s2 - mean_u2).max(0.0),
            Errors::Apart { .. } => self.spread.s2,
        }
    }

    /// The variance of the next piece itself about the centre, not of a reading of it.
    pub fn true_size_variance(&self) -> f64 {
        self.piece_variance() + self.spread.s2 * (self.h0 - 1.0)
    }

    /// Relative error variance of a new reading.
    pub fn r_new(&self, u_new: f64) -> f64 {
        match self.spread.errors {
            Errors::Within { mean_u2 } => ((u_new * u_new - mean_u2) / self.spread.s2).max(0.0),
            Errors::Apart { variance } => u_new * u_new / variance,
        }
    }

    /// `W`: the variance of a new reading with standard uncertainty `u_new` about the centre.
    pub fn variance(&self, u_new: f64) -> f64 {
        self.spread.s2 * (self.h0 + self.r_new(u_new))
    }

    /// How a reading `y` with standard uncertainty `u_new` stands.
    pub fn judge(&self, y: f64, u_new: f64) -> Standpoint {
        self.stand(y - self.centre, self.variance(u_new))
    }

    /// The centre for a piece of the reading's period, and how the reading stands: as
    /// [`Predictive::dated`] would have it.
    pub fn judge_dated(&self, reading: Rated) -> (f64, Standpoint) {
        self.judge_as(reading, 1.0)
    }

    /// The same where pieces of the reading's period have `own` times the variance `s^2`; 1 is
    /// [`Predictive::judge_dated`].
    pub fn judge_as(&self, reading: Rated, own: f64) -> (f64, Standpoint) {
        let (centre, variance) = self.dated_variance(reading, own);
        (centre, self.stand(reading.x - centre, variance))
    }

    /// [`Predictive::judge_dated`] of a reading whose `|T|` is at least `t`.
    pub(crate) fn judge_beyond(&self, reading: Rated, t: f64) -> Option<(f64, Standpoint)> {
        let (centre, variance) = self.dated_variance(reading, 1.0);
        let deviation = reading.x - centre;
        // What is no number is left to judgement.
        let is_inside = deviation * deviation < t * t * variance;
        (!is_inside).then(|| (centre, self.stand(deviation, variance)))
    }

    fn dated_variance(&self, reading: Rated, own: f64) -> (f64, f64) {
        let (centre, h0) = match self.sums.period(reading.period) {
            Some(_) => self.sums.expected(reading.period),
            None => (self.centre, self.h0),
        };
        // Of h0, 1 is the piece's own.
        let h0 = h0 + (own - 1.0);
        (centre, self.spread.s2 * (h0 + self.r_new(reading.u)))
    }

    fn stand(&self, deviation: f64, variance: f64) -> Standpoint {
        let t = deviation / variance.sqrt();
        // No deviation is impossible: a p too small to hold is the smallest there is.
        let p = t_two_sided(t, self.spread.nu).max(f64::MIN_POSITIVE);
        // 0.0 where there is no deviation: a quantile may give it a sign.
        let z = if t == 0.0 {
            0.0
        } else {
            normal_upper_quantile((p / 2.0).max(f64::MIN_POSITIVE)).copysign(t)
        };
        Standpoint {
            deviation,
            variance,
            t,
            p,
            z,
        }
    }

    /// Half-width of the band that holds a reading of variance `variance` with probability
    /// `coverage`.
    pub fn half_width(&self, variance: f64, coverage: f64) -> f64 {
        t_upper_quantile((1.0 - coverage) / 2.0, self.spread.nu) * variance.sqrt()
    }

    /// Half-width of the confidence interval of the centre.
    pub fn centre_half_width(&self, confidence: f64) -> f64 {
        t_upper_quantile((1.0 - confidence) / 2.0, self.spread.nu)
            * (self.spread.s2 * self.sums.v).sqrt()
    }

    /// The smallest true deviation that is flagged (at 5 %) with probability of about 80 %, for
    /// a reading of variance `variance`.
    pub fn least_noticeable(&self, variance: f64) -> f64 {
        let (level, power) = noticing(self.spread.nu);
        (level + power) * variance.sqrt()
    }

    /// How sharp the norm is for such a reading: 1 = as sharp as if centre and spread were known.
    pub fn sharpness(&self, u_new: f64) -> f64 {
        sharpness(self.spread.nu, self.h0 + self.r_new(u_new), self.h_ideal)
    }

    /// Whether silence about such a reading means something.
    pub fn is_sharp(&self, u_new: f64) -> bool {
        self.sharpness(u_new) >= LEAST_SHARPNESS
    }

    /// How many more references would make the norm sharp; 0 = it is; `None` = no number would.
    pub fn references_needed(&self, u_new: f64) -> Option<usize> {
        if self.is_sharp(u_new) {
            return Some(0);
        }
        let (n, r) = (self.sums.n as f64, self.r_new(u_new));
        let ideal = 1.0 + self.sums.lambda;
        least_enough(|more| {
            let v = self.sums.v * n / (n + more);
            sharpness(self.spread.nu + more, ideal + v + r, ideal)
        })
    }
}

/// How many roots of its variance a deviation must be long to be noticed: to stand at the limit of the
/// level, and beyond it with the power. With `nu` infinite, of a norm that is known perfectly.
pub fn noticing(nu: f64) -> (f64, f64) {
    if nu.is_infinite() {
        return (
            normal_upper_quantile(LEVEL / 2.0),
            normal_upper_quantile(1.0 - POWER),
        );
    }
    (
        t_upper_quantile(LEVEL / 2.0, nu),
        t_upper_quantile(1.0 - POWER, nu),
    )
}

/// Sharpness of a predictive t with `nu` degrees of freedom and relative variance `h`, compared
/// with one that is known perfectly and has `h_ideal`.
fn sharpness(nu: f64, h: f64, h_ideal: f64) -> f64 {
    let ((a, b), (level, power)) = (noticing(f64::INFINITY), noticing(nu));
    (a + b) * h_ideal.sqrt() / ((level + power) * h.sqrt())
}

/// How many more references make a norm sharp where the `n` there are yield none: no reference, or
/// a single one and no prior; for readings of relative error variance `r_new`. `None` where no number
/// does, because the reading itself is too uncertain.
pub fn references_needed(n: usize, prior: &Prior, r_new: f64) -> Option<usize> {
    let ideal = 1.0 + prior.lambda;
    least_enough(|more| {
        let all = n as f64 + more;
        let nu = prior.df + all - 1.0;
        if nu <= 0.0 {
            return 0.0;
        }
        sharpness(nu, ideal + ideal / all + r_new, ideal)
    })
}

/// The least number of references at which a sharpness is enough; it only grows with their number.
fn least_enough(sharpness_with: impl Fn(f64) -> f64) -> Option<usize> {
    /// A norm of this size is as sharp as it will ever be.
    const MOST: usize = 10_000;
    let sharp = |more: usize| sharpness_with(more as f64) >= LEAST_SHARPNESS;
    if !sharp(MOST) {
        return None;
    }
    let (mut too_few, mut enough) = (0, MOST);
    while enough - too_few > 1 {
        let middle = usize::midpoint(too_few, enough);
        if sharp(middle) {
            enough = middle;
        } else {
            too_few = middle;
        }
    }
    Some(enough)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What undated readings alone say.
    fn alone(xs: &[f64], u: f64) -> Option<Predictive> {
        let period = None;
        let readings: Vec<Rated> = xs.iter().map(|&x| Rated { x, u, period }).collect();
        Predictive::new(&readings, &Prior::none(0.0))
    }

    #[test]
    fn pieces_spread_less_than_their_readings() {
        let of = |u: f64| alone(&[4.0, 4.2, 4.4], u).unwrap();
        let (coarse, hopeless) = (of(0.1), of(0.3));
        // Readings spread by 0.2: pieces by the root of 0.04 - 0.01.
        assert!((coarse.piece_variance() - 0.03).abs() < 1e-12);
        assert!((coarse.reading_spread(0.1) - 0.2).abs() < 1e-12);
        assert!((coarse.true_size_variance() - (0.03 + 0.04 / 3.0)).abs() < 1e-12);
        // All of it is reading error; the centre stays as unsure as it is.
        assert_eq!(hopeless.piece_variance(), 0.0);
        assert!((hopeless.true_size_variance() - 0.03).abs() < 1e-12);
        // A spread that is known apart from the readings is that of the pieces.
        let prior = Prior {
            df: f64::INFINITY,
            variance: 0.04,
            lambda: 0.0,
        };
        let rated = [Rated {
            x: 4.0,
            u: 0.1,
            period: None,
        }];
        let stated = Predictive::new(&rated, &prior).unwrap();
        assert!((stated.piece_variance() - 0.04).abs() < 1e-12);
        assert!((stated.reading_spread(0.1) - 0.05f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn nothing_follows_from_too_little() {
        assert_eq!(alone(&[], 0.1), None);
        assert_eq!(alone(&[4.0], 0.1), None);
        assert_eq!(alone(&[4.0, 4.0], 0.0), None);
        assert_eq!(alone(&[1e300, -1e300], 0.0), None);
        assert!(alone(&[4.0, 4.0], 0.1).is_some());
    }

    #[test]
    fn four_references_make_a_norm_sharp_without_borrowing() {
        // docs/methods.md: sharpness .16 .45 .60 .69 .74 .85 .95 for n = 2 3 4 5 6 10 30.
        let printed = [
            (2, 0.16),
            (3, 0.45),
            (4, 0.60),
            (5, 0.69),
            (6, 0.74),
            (10, 0.85),
            (30, 0.95),
        ];
        for (n, want) in printed {
            let got = sharpness((n - 1) as f64, 1.0 + 1.0 / n as f64, 1.0);
            assert!((got - want).abs() < 0.005, "n = {n}: {got}");
        }
        let needed = |n| references_needed(n, &Prior::none(0.0), 0.0);
        assert_eq!(
            [needed(0), needed(1), needed(2), needed(3)],
            [Some(4), Some(3), Some(2), Some(1)]
        );
        assert_eq!(references_needed(3, &Prior::none(0.0), 1e6), None);
    }
}
