//! The predictive t: what the next piece will measure, given some references.
//!
//! One idea carries every band and every verdict: `T = (y - m) / sqrt(W)` follows Student's t with
//! `nu` degrees of freedom, where `m` and `W` come from the references and from what is known of
//! the spread elsewhere. `docs/methods.md` has the formulas; names here are those there.
//!
//! Everything is on the scale on which differences are judged: plain, or logarithmic for sizes.

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

/// What the next piece will measure: centre, variance and degrees of freedom.
///
/// This form rests on one set of references alone, nothing borrowed (`d0 = 0`) and no period
/// effect (`lambda = 0`); with equal uncertainties it is the textbook prediction interval of
/// Student's t.
///
/// # Source
/// Geisser, Predictive Inference (1993), ch. 2; `docs/methods.md`, "The norm".
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Predictive {
    n: usize,
    mu: f64,
    v: f64,
    nu: f64,
    s2: f64,
    mean_u2: f64,
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
        usable.then_some(Predictive {
            n,
            mu: sums.mean(),
            v: 1.0 / n as f64,
            nu,
            s2,
            mean_u2,
        })
    }

    /// How many references.
    pub fn n(&self) -> usize {
        self.n
    }

    /// The centre `m`.
    pub fn centre(&self) -> f64 {
        self.mu
    }

    /// The spread `s` of the readings of good pieces.
    pub fn spread(&self) -> f64 {
        self.s2.sqrt()
    }

    /// Degrees of freedom `nu` of the spread.
    pub fn df(&self) -> f64 {
        self.nu
    }

    /// How many equal references the centre is worth: `1 / V`.
    pub fn n_effective(&self) -> f64 {
        1.0 / self.v
    }

    /// Relative error variance of a new reading. The scatter of the references' own readings is
    /// in their spread already, so only what is beyond it counts.
    fn r_new(&self, u_new: f64) -> f64 {
        ((u_new * u_new - self.mean_u2) / self.s2).max(0.0)
    }

    /// `W`: the variance of a new reading with standard uncertainty `u_new` about the centre.
    pub fn variance(&self, u_new: f64) -> f64 {
        self.s2 * (1.0 + self.v + self.r_new(u_new))
    }

    /// `W` of a reading that is no less certain than those of the references.
    pub fn variance_like_references(&self) -> f64 {
        self.s2 * (1.0 + self.v)
    }

    /// How a reading `y` with standard uncertainty `u_new` stands.
    pub fn judge(&self, y: f64, u_new: f64) -> Standpoint {
        let deviation = y - self.mu;
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
        sharpness(self.nu, 1.0 + self.v + self.r_new(u_new))
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
        references_needed(self.n, self.r_new(u_new))
    }
}

/// Sharpness of a predictive t with `nu` degrees of freedom and relative variance `h`.
fn sharpness(nu: f64, h: f64) -> f64 {
    let ideal = normal_upper_quantile(LEVEL / 2.0) + normal_upper_quantile(1.0 - POWER);
    let real = t_upper_quantile(LEVEL / 2.0, nu) + t_upper_quantile(1.0 - POWER, nu);
    ideal / (real * h.sqrt())
}

/// How many references beyond `n` make a norm sharp for readings of relative error variance
/// `r_new`; `None` where no number does, because the reading itself is too uncertain.
pub fn references_needed(n: usize, r_new: f64) -> Option<usize> {
    /// A norm of this size is as sharp as it will ever be.
    const MOST: usize = 10_000;
    let sharp = |more: usize| {
        let all = (n + more) as f64;
        all >= 2.0 && sharpness(all - 1.0, 1.0 + 1.0 / all + r_new) >= LEAST_SHARPNESS
    };
    if !sharp(MOST) {
        return None;
    }
    // Sharpness only grows with more references.
    let (mut too_few, mut enough) = (0, MOST);
    while enough - too_few > 1 {
        let middle = usize::midpoint(too_few, enough);
        if sharp(middle) {
            enough = middle
        } else {
            too_few = middle
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
            let got = sharpness((n - 1) as f64, 1.0 + 1.0 / n as f64);
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
