//! Periods compared with a spread that is partly borrowed.
//!
//! Readings are as in the two-level sums: `x = mu + b(period) + e + error`, and what is known of the
//! spread beforehand is a [`Prior`]. `docs/periods.md` has the formulas.
//!
//! # Source
//! G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 3 (2004) article 3 (the moderated t and F).

use super::spreads::VarianceRatio;
use super::{Effect, FTest, Law};
use super::{digamma, trigamma};
use crate::stats::predictive::Spread;
use crate::stats::{
    Predictive, Prior, Rated, f_upper_quantile, t_two_sided, t_upper_quantile, two_level,
};

/// Whether the centres of several periods agree.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Agreement {
    /// The test.
    pub test: FTest,
    /// Periods.
    pub periods: usize,
    /// Readings.
    pub n: usize,
    /// The spread within periods.
    pub spread: f64,
    /// Least and greatest centre of a period.
    pub centres: (f64, f64),
    /// Mean variance of a centre, in squared spreads.
    pub relative_variance: f64,
}

impl Agreement {
    /// The distance from the least to the greatest centre, those of other periods in the middle, that
    /// just reaches a p, which is over 0 and under 1.
    pub fn noticeable(&self, p: f64) -> f64 {
        let f = f_upper_quantile(p, self.test.df1, self.test.df2);
        self.spread * (2.0 * self.relative_variance * self.test.df1 * f).sqrt()
    }
}

/// Whether the centres of periods differ by more than a period ratio `lambda` and the scatter of
/// their pieces make expect; with `lambda` 0, by more than the scatter alone.
///
/// # Method
/// `F = [ sum (xbar_k - mu)^2 / (lambda + 1/S_k) / (K - 1) ] / s^2` on `K - 1` and `nu` degrees of
/// freedom, with `s^2 = (d0 s0^2 + w Q_within) / nu`, `nu = d0 + w (n - K)`; the sums are those of
/// [`two_level`].
/// # Output
/// `None` for fewer than two periods, where there is no spread, or where numbers leave the range of
/// an `f64`.
pub fn agreement<R: Copy + Into<Rated>>(
    readings: &[R],
    prior: &Prior,
    lambda: f64,
) -> Option<Agreement> {
    let sums = two_level(readings, lambda, prior.variance)?;
    let (n, k) = (sums.n, sums.periods.len());
    if k < 2 {
        return None;
    }
    let spread = Spread::new(prior, n - k + 1, sums.within, sums.mean_r, sums.mean_u2)?;
    let part =
        |p: &crate::stats::PeriodSums| (p.mean - sums.mu).powi(2) / (lambda + 1.0 / p.weight);
    let between: f64 = sums.periods.iter().map(part).sum();
    let df1 = (k - 1) as f64;
    let test = FTest::new(between / df1 / spread.s2, df1, spread.nu).ok()?;
    let centres = sums.periods.iter().map(|p| p.mean);
    let variances = sums.periods.iter().map(|p| lambda + 1.0 / p.weight);
    Some(Agreement {
        relative_variance: variances.sum::<f64>() / k as f64,
        test,
        periods: k,
        n,
        spread: spread.s2.sqrt(),
        centres: (
            centres.clone().fold(f64::INFINITY, f64::min),
            centres.fold(f64::NEG_INFINITY, f64::max),
        ),
    })
}

/// How far a period's centre is from a norm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Departure {
    /// Its centre less that of the norm.
    pub shift: f64,
    /// The variance of that, in units of the squared spread: what one more period of the norm's
    /// own kind would have.
    pub relative_variance: f64,
    /// The norm's spread within periods.
    pub spread: f64,
    /// The statistic.
    pub t: f64,
    /// Its degrees of freedom; infinite for a stated spread.
    pub df: f64,
    /// Two-sided probability of a shift at least as large for one more period of the norm's kind.
    pub p: f64,
}

impl Departure {
    /// The shift in spreads.
    pub fn effect(&self) -> f64 {
        self.shift / self.spread
    }

    /// The shift in spreads, to be pooled.
    pub fn in_spreads(&self) -> Effect {
        self.pooled(self.effect(), self.relative_variance, 1.0)
    }

    /// The shift on its own scale, to be pooled with others: `usual` is the spread that weighs all of
    /// them, over 0.
    pub fn on_scale(&self, usual: f64) -> Effect {
        let variance = self.relative_variance * self.spread * self.spread;
        self.pooled(self.shift, variance, usual)
    }

    fn pooled(&self, value: f64, variance: f64, usual: f64) -> Effect {
        Effect {
            value,
            variance,
            weighed: self.relative_variance * usual * usual,
            law: Law::Student(self.df),
        }
    }

    /// The interval of the shift: a number between 0 and 1 is its confidence.
    pub fn interval(&self, confidence: f64) -> (f64, f64) {
        let quantile = t_upper_quantile((1.0 - confidence) / 2.0, self.df);
        let half = quantile * self.spread * self.relative_variance.sqrt();
        (self.shift - half, self.shift + half)
    }
}

/// How far the centre of one period's readings is from a norm of other periods.
///
/// # Method
/// `t = (xbar_k - mu) / (s sqrt(lambda + 1/S_k + V))` on the norm's `nu` degrees of freedom: the
/// predictive t with the mean of a period in the place of a piece. Of one reading it is what
/// [`Predictive::judge`] gives. Where nothing is borrowed, reading errors beyond those of the norm's
/// readings add their share.
/// # Output
/// `None` for no readings and where numbers leave the range of an `f64`. `prior` is that of the norm,
/// and the readings are of one period.
pub fn departure<R: Copy + Into<Rated>>(
    norm: &Predictive,
    readings: &[R],
    prior: &Prior,
) -> Option<Departure> {
    let sums = two_level(readings, prior.lambda, prior.variance)?;
    let [of] = sums.periods.as_slice() else {
        return None;
    };
    let beyond = if prior.df == 0.0 {
        norm.r_new(sums.mean_u2.sqrt()) / sums.n as f64
    } else {
        0.0
    };
    let relative_variance = prior.lambda + norm.sums().v + 1.0 / of.weight + beyond;
    let (shift, spread) = (of.mean - norm.sums().mu, norm.spread());
    let t = shift / (spread * relative_variance.sqrt());
    t.is_finite().then(|| Departure {
        shift,
        relative_variance,
        spread,
        t,
        df: norm.df(),
        p: t_two_sided(t, norm.df()).max(f64::MIN_POSITIVE),
    })
}

/// How a period's spread compares with that of a norm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpreadRatio {
    /// The period's own spread.
    pub spread: f64,
    /// The test of the squared ratio.
    pub test: VarianceRatio,
}

impl SpreadRatio {
    /// The ratio of the spreads.
    pub fn ratio(&self) -> f64 {
        self.test.ratio.sqrt()
    }

    /// Its interval: a number between 0 and 1 is its confidence.
    pub fn interval(&self, confidence: f64) -> (f64, f64) {
        let (low, high) = self.test.interval(confidence);
        (low.sqrt(), high.sqrt())
    }
}

/// The spread of one period's readings over that of a norm of other periods.
///
/// # Method
/// `F = s_k^2 / s^2` on `n_k - 1` and `nu` degrees of freedom. As among lenders
/// ([`crate::stats::borrowed_from_readings`]) `s_k^2 = max( Q_k / (n_k - 1), mean u^2 / (1 + mean r) )`:
/// readings rounded alike may agree by chance.
/// # Output
/// `None` under two readings, where they have neither spread nor uncertainty, and where numbers leave
/// the range of an `f64`.
pub fn spread_ratio<R: Copy + Into<Rated>>(
    norm: &Predictive,
    readings: &[R],
    prior: &Prior,
) -> Option<SpreadRatio> {
    let sums = two_level(readings, prior.lambda, prior.variance)?;
    if sums.n < 2 || sums.periods.len() != 1 {
        return None;
    }
    let df = sums.n as f64 - 1.0;
    let square = (sums.within / df).max(sums.mean_u2 / (1.0 + sums.mean_r));
    let ratio = square / norm.variance_within();
    (ratio > 0.0 && ratio.is_finite()).then(|| SpreadRatio {
        spread: square.sqrt(),
        test: VarianceRatio::new(ratio, df, norm.df()),
    })
}

/// The logarithm of a ratio of spreads freed from its bias, and its variance: those of half the
/// logarithm of F.
pub fn log_spread_ratio(test: &VarianceRatio) -> (f64, f64) {
    let moments = |df: f64| match df.is_infinite() {
        true => (0.0, 0.0),
        false => (digamma(df / 2.0) - (df / 2.0).ln(), trigamma(df / 2.0)),
    };
    let (above, below) = (moments(test.df1), moments(test.df2));
    let bias = above.0 - below.0;
    ((test.ratio.ln() - bias) / 2.0, (above.1 + below.1) / 4.0)
}
