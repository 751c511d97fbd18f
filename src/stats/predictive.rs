//! The predictive t: what the next piece will measure, given some references.
//!
//! One idea carries every band and every verdict: `T = (y - m) / sqrt(W)` follows Student's t with
//! `nu` degrees of freedom, where `m` and `W` come from the references and from what is known of
//! the spread elsewhere. `docs/methods.md` has the formulas; names here are those there.
//!
//! Everything is on the scale on which differences are judged: plain, or logarithmic for sizes.

use super::two_level::{PeriodSums, Rated, two_level};
use super::{normal_upper_quantile, t_two_sided, t_upper_quantile};

/// What a set of readings says, kept up reading by reading (Welford's recurrence).
///
/// # Source
/// B. P. Welford, Technometrics 4 (1962) 419-420.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sums {
    n: usize,
    mean: f64,
    squares: f64,
    uncertainty_squares: f64,
}

impl Sums {
    /// Adds a reading `x` with standard uncertainty `u`, both finite.
    pub fn add(&mut self, x: f64, u: f64) {
        self.n += 1;
        let from_old = x - self.mean;
        self.mean += from_old / self.n as f64;
        self.squares += from_old * (x - self.mean);
        self.uncertainty_squares += u * u;
    }

    /// The same set without one of its readings.
    ///
    /// `None` where so little of the sum of squares would be left that its digits are gone: the
    /// caller then adds up the others afresh.
    pub fn without(&self, x: f64, u: f64) -> Option<Sums> {
        /// At this share of the old sum of squares four digits are lost, twelve stand.
        const LEAST_LEFT: f64 = 1e-4;
        if self.n < 2 {
            return Some(Sums::default());
        }
        let n = self.n as f64;
        let mean = self.mean - (x - self.mean) / (n - 1.0);
        let squares = self.squares - (x - self.mean) * (x - mean);
        let uncertainty_squares = (self.uncertainty_squares - u * u).max(0.0);
        if self.n == 2 {
            return Some(Sums {
                n: 1,
                mean,
                squares: 0.0,
                uncertainty_squares,
            });
        }
        let enough_left = squares >= LEAST_LEFT * self.squares || self.squares == 0.0;
        enough_left.then_some(Sums {
            n: self.n - 1,
            mean,
            squares,
            uncertainty_squares,
        })
    }

    /// How many readings.
    pub fn n(&self) -> usize {
        self.n
    }

    /// Their mean (mu).
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// Their sum of squares about the mean (Q).
    pub fn squares(&self) -> f64 {
        self.squares
    }

    /// Mean of the squared standard uncertainties.
    pub fn mean_square_uncertainty(&self) -> f64 {
        if self.n == 0 {
            0.0
        } else {
            self.uncertainty_squares / self.n as f64
        }
    }
}

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
}

/// What the next piece will measure: centre, variance and degrees of freedom.
///
/// From one set of references alone ([`Predictive::new`]) it is, with equal uncertainties, the
/// textbook prediction interval of Student's t. With a [`Prior`] ([`Predictive::with_prior`]) the
/// spread is partly borrowed and periods may differ.
///
/// # Source
/// Geisser, Predictive Inference (1993), ch. 2; Smyth 2004 for the moderated spread; Henderson
/// 1975 (Biometrics 31) for a piece of a known period; `docs/methods.md`, "The norm".
#[derive(Clone, Debug, PartialEq)]
pub struct Predictive {
    n: usize,
    /// The centre for the piece that is judged: `mu`, or that of its period.
    centre: f64,
    /// `V`, the variance of `mu` in units of `s^2`.
    v: f64,
    /// `h0`: variance of an errorless reading about the centre, in units of `s^2`.
    h0: f64,
    /// The same if the norm were known perfectly.
    h_ideal: f64,
    nu: f64,
    s2: f64,
    lambda: f64,
    errors: Errors,
    periods: Vec<PeriodSums>,
}

/// How the error of a reading enters.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Errors {
    /// The scatter of the references' own readings is in their spread already; only what is
    /// beyond their mean square counts.
    Within { mean_u2: f64 },
    /// The spread is that of the pieces; errors come on top, relative to the borrowed spread.
    Apart { variance: f64, mean_r: f64 },
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
    /// What `sums` say of the next piece; `None` where they say nothing: under two references,
    /// or no spread in the readings and none in their uncertainties.
    pub fn new(sums: &Sums) -> Option<Predictive> {
        let n = sums.n();
        if n < 2 {
            return None;
        }
        let nu = (n - 1) as f64;
        let mean_u2 = sums.mean_square_uncertainty();
        // Readings rounded to the same step may agree by chance; their spread is not less than
        // their uncertainty.
        let s2 = (sums.squares() / nu).max(mean_u2);
        let usable = s2 > 0.0 && s2.is_finite() && sums.mean().is_finite();
        let v = 1.0 / n as f64;
        usable.then_some(Predictive {
            n,
            centre: sums.mean(),
            v,
            h0: 1.0 + v,
            h_ideal: 1.0,
            nu,
            s2,
            lambda: 0.0,
            errors: Errors::Within { mean_u2 },
            periods: Vec::new(),
        })
    }

    /// What references and a prior say of the next undated piece; `None` where they say nothing:
    /// no reference; without a prior spread under two, or no spread in the readings and none in
    /// their uncertainties; or numbers that leave the range of an `f64`.
    pub fn with_prior(readings: &[Rated], prior: &Prior) -> Option<Predictive> {
        let sums = two_level(readings, prior.lambda, prior.variance)?;
        let own = (sums.n - 1) as f64;
        let (nu, s2, errors) = if prior.df == 0.0 {
            // Readings rounded to the same step may agree by chance; their spread is not less
            // than their uncertainty.
            let s2 = (sums.q / own).max(sums.mean_u2);
            let mean_u2 = sums.mean_u2;
            (own, s2, Errors::Within { mean_u2 })
        } else {
            let (variance, mean_r) = (prior.variance, sums.mean_r);
            let errors = Errors::Apart { variance, mean_r };
            if prior.df.is_infinite() {
                (f64::INFINITY, variance, errors)
            } else {
                // How much of the set's own squares is spread of pieces and not error of readings.
                let weight = (1.0 + mean_r).powi(-2);
                let nu = prior.df + weight * own;
                (nu, (prior.df * variance + weight * sums.q) / nu, errors)
            }
        };
        let usable = nu > 0.0 && s2 > 0.0 && s2.is_finite() && sums.mu.is_finite() && sums.v > 0.0;
        usable.then_some(Predictive {
            n: sums.n,
            centre: sums.mu,
            v: sums.v,
            h0: 1.0 + prior.lambda + sums.v,
            h_ideal: 1.0 + prior.lambda,
            nu,
            s2,
            lambda: prior.lambda,
            errors,
            periods: sums.periods,
        })
    }

    /// The same for a piece of a known period: its references speak more than the others'. A
    /// period without references leaves the norm as it is.
    pub fn dated(&self, period: u32) -> Predictive {
        let Some(of) = self.periods.iter().find(|p| p.period == Some(period)) else {
            return self.clone();
        };
        let share = self.lambda / (self.lambda + 1.0 / of.weight);
        Predictive {
            centre: self.centre + share * (of.mean - self.centre),
            h0: 1.0 + self.lambda * (1.0 - share) + (1.0 - share).powi(2) * self.v,
            h_ideal: 1.0,
            ..self.clone()
        }
    }

    /// How many references.
    pub fn n(&self) -> usize {
        self.n
    }

    /// The centre `m`.
    pub fn centre(&self) -> f64 {
        self.centre
    }

    /// The spread `s` of good pieces within a period.
    pub fn spread(&self) -> f64 {
        self.s2.sqrt()
    }

    /// The spread between periods, `s √lambda`.
    pub fn spread_between_periods(&self) -> f64 {
        (self.s2 * self.lambda).sqrt()
    }

    /// The spread of good pieces of any period, `s √(1 + lambda)`.
    pub fn total_spread(&self) -> f64 {
        (self.s2 * (1.0 + self.lambda)).sqrt()
    }

    /// Degrees of freedom `nu` of the spread.
    pub fn df(&self) -> f64 {
        self.nu
    }

    /// How many equal references the centre is worth: `(1 + lambda) / V`.
    pub fn n_effective(&self) -> f64 {
        (1.0 + self.lambda) / self.v
    }

    /// Relative error variance of a new reading.
    fn r_new(&self, u_new: f64) -> f64 {
        match self.errors {
            Errors::Within { mean_u2 } => ((u_new * u_new - mean_u2) / self.s2).max(0.0),
            Errors::Apart { variance, .. } => u_new * u_new / variance,
        }
    }

    /// `W`: the variance of a new reading with standard uncertainty `u_new` about the centre.
    pub fn variance(&self, u_new: f64) -> f64 {
        self.s2 * (self.h0 + self.r_new(u_new))
    }

    /// `W` of a reading that is as certain as those of the references.
    pub fn variance_like_references(&self) -> f64 {
        match self.errors {
            Errors::Within { .. } => self.s2 * self.h0,
            Errors::Apart { mean_r, .. } => self.s2 * (self.h0 + mean_r),
        }
    }

    /// How a reading `y` with standard uncertainty `u_new` stands.
    pub fn judge(&self, y: f64, u_new: f64) -> Standpoint {
        let deviation = y - self.centre;
        let variance = self.variance(u_new);
        let t = deviation / variance.sqrt();
        // No deviation is impossible: a p too small to hold is the smallest there is.
        let p = t_two_sided(t, self.nu).max(f64::MIN_POSITIVE);
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
        t_upper_quantile((1.0 - coverage) / 2.0, self.nu) * variance.sqrt()
    }

    /// Half-width of the confidence interval of the centre.
    pub fn centre_half_width(&self, confidence: f64) -> f64 {
        t_upper_quantile((1.0 - confidence) / 2.0, self.nu) * (self.s2 * self.v).sqrt()
    }

    /// The smallest true deviation that is flagged (at 5 %) with probability of about 80 %, for
    /// a reading of variance `variance`.
    pub fn least_noticeable(&self, variance: f64) -> f64 {
        (t_upper_quantile(LEVEL / 2.0, self.nu) + t_upper_quantile(1.0 - POWER, self.nu))
            * variance.sqrt()
    }

    /// How sharp the norm is for such a reading: 1 = as sharp as if centre and spread were known.
    pub fn sharpness(&self, u_new: f64) -> f64 {
        sharpness(self.nu, self.h0 + self.r_new(u_new), self.h_ideal)
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
        let (n, ideal, r) = (self.n as f64, 1.0 + self.lambda, self.r_new(u_new));
        least_enough(|more| {
            let v = self.v * n / (n + more);
            sharpness(self.nu + more, ideal + v + r, ideal)
        })
    }
}

/// Sharpness of a predictive t with `nu` degrees of freedom and relative variance `h`, compared
/// with one that is known perfectly and has `h_ideal`.
fn sharpness(nu: f64, h: f64, h_ideal: f64) -> f64 {
    let ideal = normal_upper_quantile(LEVEL / 2.0) + normal_upper_quantile(1.0 - POWER);
    let real = t_upper_quantile(LEVEL / 2.0, nu) + t_upper_quantile(1.0 - POWER, nu);
    ideal * h_ideal.sqrt() / (real * h.sqrt())
}

/// How many references make a norm sharp, of which there is none yet: `n` references that say
/// nothing by themselves, for readings of relative error variance `r_new`; `None` where no number
/// does, because the reading itself is too uncertain.
pub fn references_needed(n: usize, r_new: f64) -> Option<usize> {
    least_enough(|more| {
        let all = n as f64 + more;
        if all < 2.0 {
            return 0.0;
        }
        sharpness(all - 1.0, 1.0 + 1.0 / all + r_new, 1.0)
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

    fn sums(xs: &[f64], u: f64) -> Sums {
        let mut sums = Sums::default();
        xs.iter().for_each(|&x| sums.add(x, u));
        sums
    }

    #[test]
    fn leaving_one_out_equals_adding_up_the_others() {
        let xs = [46.09, 45.66, 46.68, 44.1, 47.0];
        for (i, &x) in xs.iter().enumerate() {
            let others: Vec<f64> = xs
                .iter()
                .enumerate()
                .filter(|&(j, _)| j != i)
                .map(|(_, &x)| x)
                .collect();
            let (quick, slow) = (sums(&xs, 0.1).without(x, 0.1).unwrap(), sums(&others, 0.1));
            assert!((quick.mean - slow.mean).abs() < 1e-13);
            assert!((quick.squares - slow.squares).abs() < 1e-12 * slow.squares);
        }
        let stray = [1.0, 1.001, 0.999, 1e6];
        assert_eq!(sums(&stray, 0.1).without(1e6, 0.1), None);
    }

    #[test]
    fn nothing_follows_from_too_little() {
        assert_eq!(Predictive::new(&sums(&[], 0.1)), None);
        assert_eq!(Predictive::new(&sums(&[4.0], 0.1)), None);
        assert_eq!(Predictive::new(&sums(&[4.0, 4.0], 0.0)), None);
        assert_eq!(Predictive::new(&sums(&[1e300, -1e300], 0.0)), None);
        assert!(Predictive::new(&sums(&[4.0, 4.0], 0.1)).is_some());
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
        let needed = |n| references_needed(n, 0.0);
        assert_eq!(
            [needed(0), needed(1), needed(2), needed(3)],
            [Some(4), Some(3), Some(2), Some(1)]
        );
        assert_eq!(references_needed(3, 1e6), None);
    }
}
