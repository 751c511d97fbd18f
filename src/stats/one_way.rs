//! Readings of one thing by several measurers: how far one measurer's readings differ from each
//! other (repeatability) and how far those of different measurers do (reproducibility).

use super::error::{all_finite, sample_of};
use super::variance_ratio::{At, Best, Ratio, best, total_interval};
use super::{StatsError, chi_square_quantile, chi_square_upper_quantile, f_sf};

/// The one-way analysis of some groups of readings, each group by one measurer.
///
/// Variances are in the squared unit of the readings. What the data do not tell is `None`: the
/// variance within where every group is of one reading, all between groups where there is one.
///
/// # Method
/// With `p` groups of `n_j` readings, `N` in all: `s_r^2` pools the squares within the groups on
/// `N - p` degrees of freedom; `s_d^2 = sum n_j (mean_j - m)^2 / (p - 1)`; `n_bar = (N - sum n_j^2
/// / N) / (p - 1)`; `s_L^2 = (s_d^2 - s_r^2) / n_bar`, 0 where that is negative; `s_R^2 = s_r^2 +
/// s_L^2`.
/// # Source
/// ISO 5725-2:1994, 7.4 (its formulae as other sources give them; its text was not seen).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OneWay {
    /// Groups with a reading, `p`.
    pub groups: usize,
    /// Readings, `N`.
    pub n: usize,
    /// Mean of all readings, `m`.
    pub mean: f64,
    /// Mean of the groups' means.
    pub mean_of_means: f64,
    /// What a group's size is on average for this purpose.
    pub n_bar: Option<f64>,
    /// `s_r^2`, the repeatability variance.
    pub within: Option<f64>,
    /// `s_d^2`.
    pub mean_square_between: Option<f64>,
    /// `s_L^2` before a negative one is set to 0.
    pub between_untruncated: Option<f64>,
}

impl OneWay {
    /// `s_L^2`, the variance between measurers; 0 where the estimate is negative.
    pub fn between(&self) -> Option<f64> {
        self.between_untruncated.map(|s2| s2.max(0.0))
    }

    /// `s_R^2`, the reproducibility variance.
    pub fn reproducibility(&self) -> Option<f64> {
        Some(self.within? + self.between()?)
    }

    /// Degrees of freedom of the variance within.
    pub fn df_within(&self) -> usize {
        self.n - self.groups
    }

    /// F of the groups and its p, on `p - 1` and `N - p` degrees of freedom; `None` where there is
    /// no spread within.
    pub fn f_test(&self) -> Option<(f64, f64)> {
        let f = self.mean_square_between? / self.within?;
        let (between, within) = (self.groups as f64 - 1.0, self.df_within() as f64);
        f.is_finite().then(|| (f, f_sf(f, between, within)))
    }

    /// Confidence interval of the standard deviation within, by chi-square.
    pub fn within_interval(&self, confidence: f64) -> Option<(f64, f64)> {
        sd_interval(self.within?, self.df_within() as f64, confidence)
    }
}

/// Confidence interval of a standard deviation whose square `s2` has `df` degrees of freedom:
/// chi-square, normal readings. `None` for no freedom or a confidence that is no probability.
pub fn sd_interval(s2: f64, df: f64, confidence: f64) -> Option<(f64, f64)> {
    if !(df > 0.0 && s2 >= 0.0 && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let tail = (1.0 - confidence) / 2.0;
    let low = (s2 * df / chi_square_upper_quantile(tail, df)).sqrt();
    let high = (s2 * df / chi_square_quantile(tail, df)).sqrt();
    (low.is_finite() && high.is_finite()).then_some((low, high))
}

/// Mean and squares about it of each group with a reading.
struct Groups {
    sizes: Vec<f64>,
    means: Vec<f64>,
    /// Sum of the squares within all of them.
    squares: f64,
}

impl Groups {
    fn new(groups: &[&[f64]]) -> Result<Groups, StatsError> {
        let all: Vec<f64> = groups.iter().flat_map(|g| g.iter().copied()).collect();
        sample_of(1, &all)?;
        all_finite(&all)?;
        let groups: Vec<&[f64]> = groups.iter().copied().filter(|g| !g.is_empty()).collect();
        let mut of = Groups {
            sizes: groups.iter().map(|g| g.len() as f64).collect(),
            means: Vec::with_capacity(groups.len()),
            squares: 0.0,
        };
        for group in groups {
            let n = group.len() as f64;
            let rough = group.iter().map(|x| x / n).sum::<f64>();
            let mean = rough + group.iter().map(|x| (x - rough) / n).sum::<f64>();
            of.squares += group.iter().map(|x| (x - mean).powi(2)).sum::<f64>();
            of.means.push(mean);
        }
        match of.squares.is_finite() && of.means.iter().all(|m| m.is_finite()) {
            true => Ok(of),
            false => Err(StatsError::Overflow),
        }
    }

    fn count(&self) -> f64 {
        self.sizes.iter().sum()
    }

    /// Mean of the means, weighted.
    fn mean(&self, weight: impl Fn(f64) -> f64) -> f64 {
        let weights: f64 = self.sizes.iter().map(|&n| weight(n)).sum();
        let of = self.sizes.iter().zip(&self.means);
        let rough = self.means[0];
        rough
            + of.map(|(&n, m)| weight(n) / weights * (m - rough))
                .sum::<f64>()
    }

    /// Weighted squares of the means about a centre.
    fn squares_about(&self, centre: f64, weight: impl Fn(f64) -> f64) -> f64 {
        let of = self.sizes.iter().zip(&self.means);
        of.map(|(&n, m)| weight(n) * (m - centre).powi(2)).sum()
    }
}

/// The one-way analysis ([`OneWay`]); groups without a reading are left out.
///
/// # Errors
/// [`StatsError::TooFew`] without any reading, [`StatsError::NotFinite`], and
/// [`StatsError::Overflow`] where squares leave the range of an `f64`.
/// # Example
/// ```
/// use calibriar::stats::one_way;
///
/// let of = one_way(&[&[4.0, 4.2], &[4.5, 4.7]])?;
/// assert!((of.within.unwrap() - 0.02).abs() < 1e-12);
/// assert!((of.between().unwrap() - 0.115).abs() < 1e-12);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn one_way(groups: &[&[f64]]) -> Result<OneWay, StatsError> {
    let of = Groups::new(groups)?;
    let (p, n) = (of.sizes.len() as f64, of.count());
    let mean = of.mean(|n| n);
    let within = (n > p).then(|| of.squares / (n - p));
    let several = p > 1.0;
    let n_bar = several.then(|| (n - of.sizes.iter().map(|n| n * n).sum::<f64>() / n) / (p - 1.0));
    let mean_square_between = several.then(|| of.squares_about(mean, |n| n) / (p - 1.0));
    let untruncated = |((b, w), n): ((f64, f64), f64)| (b - w) / n;
    let result = OneWay {
        groups: of.sizes.len(),
        n: n as usize,
        mean,
        mean_of_means: of.mean(|_| 1.0),
        n_bar,
        within,
        mean_square_between,
        between_untruncated: mean_square_between.zip(within).zip(n_bar).map(untruncated),
    };
    match mean_square_between.is_none_or(f64::is_finite) {
        true => Ok(result),
        false => Err(StatsError::Overflow),
    }
}

/// How one group stands among the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Consistency {
    /// Mandel's h: its mean about that of all means, in standard deviations of these.
    pub h: Option<f64>,
    /// Mandel's k: its standard deviation over the root of the mean variance; only where all groups
    /// are of one size.
    pub k: Option<f64>,
}

/// Mandel's h and k of each group.
///
/// # Errors
/// As [`one_way`]; also for an empty group.
/// # Source
/// ISO 5725-2:1994, 7.3.1 (as other sources give it).
pub fn consistency(groups: &[&[f64]]) -> Result<Vec<Consistency>, StatsError> {
    if groups.iter().any(|g| g.is_empty()) {
        return Err(StatsError::TooFew { needed: 1, got: 0 });
    }
    let of = Groups::new(groups)?;
    let p = of.sizes.len() as f64;
    let centre = of.mean(|_| 1.0);
    let sd = (of.squares_about(centre, |_| 1.0) / (p - 1.0)).sqrt();
    let size = groups.first().map_or(0, |g| g.len());
    let balanced = size > 1 && groups.iter().all(|g| g.len() == size);
    let pooled = of.squares / (of.count() - p);
    let whole = |x: f64| x.is_finite().then_some(x);
    let one = |(group, mean): (&&[f64], &f64)| {
        let squares: f64 = group.iter().map(|x| (x - mean).powi(2)).sum();
        Consistency {
            h: whole((mean - centre) / sd),
            k: match balanced {
                true => whole((squares / (size as f64 - 1.0) / pooled).sqrt()),
                false => None,
            },
        }
    };
    Ok(groups.iter().zip(&of.means).map(one).collect())
}

/// The one-way random model, fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OneWayFit {
    /// Mean.
    pub mean: f64,
    /// Its standard error.
    pub mean_se: f64,
    /// Variance between groups; 0 at the border.
    pub between: f64,
    /// Variance within.
    pub within: f64,
}

/// Which likelihood is made as great as can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Likelihood {
    /// That of contrasts (REML): variances are not too small for the mean that was fitted.
    Restricted,
    /// That of the readings (ML).
    Full,
}

struct OneWayRatio<'g> {
    of: &'g Groups,
    likelihood: Likelihood,
}

impl Ratio for OneWayRatio<'_> {
    fn contrasts(&self) -> f64 {
        match self.likelihood {
            Likelihood::Restricted => self.of.count() - 1.0,
            Likelihood::Full => self.of.count(),
        }
    }

    fn at(&self, ratio: f64) -> At {
        let weight = |n: f64| n / (1.0 + ratio * n);
        let centre = self.of.mean(weight);
        let sizes = || self.of.sizes.iter();
        let weights: f64 = sizes().map(|&n| weight(n)).sum();
        let squared: f64 = sizes().map(|&n| weight(n).powi(2)).sum();
        let mut at = At {
            q: self.of.squares + self.of.squares_about(centre, weight),
            q_slope: -self.of.squares_about(centre, |n| weight(n).powi(2)),
            d: sizes().map(|&n| (ratio * n).ln_1p()).sum(),
            d_slope: weights,
        };
        if self.likelihood == Likelihood::Restricted {
            at.d += weights.ln();
            at.d_slope -= squared / weights;
        }
        at
    }

    fn scales(&self) -> (f64, f64) {
        let sizes = self.of.sizes.iter();
        let (low, high) = sizes.fold((f64::INFINITY, 0.0), |(low, high), &n| {
            (n.min(low), n.max(high))
        });
        (1.0 / high, 1.0 / low)
    }
}

/// Fits the one-way random model by likelihood: the variance between groups over that within is one
/// root, 0 at the border.
///
/// Where nothing varies within, the variance between is that of the means.
///
/// # Errors
/// As [`one_way`]; [`StatsError::TooFew`] for under two groups or no group of two readings;
/// [`StatsError::ZeroSpread`] where all readings are equal.
/// # Source
/// Patterson and Thompson 1971, Biometrika 58, 545-554; Harville 1977, J. Am. Stat. Assoc. 72.
pub fn one_way_fit(groups: &[&[f64]], likelihood: Likelihood) -> Result<OneWayFit, StatsError> {
    let of = fit_for(groups)?;
    let p = of.sizes.len() as f64;
    let ratio = OneWayRatio {
        of: &of,
        likelihood,
    };
    let (mean, weights, between, within) = match best(&ratio) {
        Best::At(g) => {
            let weight = |n: f64| n / (1.0 + g * n);
            let within = ratio.at(g).q / ratio.contrasts();
            let weights: f64 = of.sizes.iter().map(|&n| weight(n)).sum();
            (of.mean(weight), weights / within, g * within, within)
        }
        Best::Endless => {
            let mean = of.mean(|_| 1.0);
            let lost = match likelihood {
                Likelihood::Restricted => 1.0,
                Likelihood::Full => 0.0,
            };
            let between = of.squares_about(mean, |_| 1.0) / (p - lost);
            (mean, p / between, between, 0.0)
        }
    };
    Ok(OneWayFit {
        mean,
        mean_se: weights.sqrt().recip(),
        between,
        within,
    })
}

/// Confidence interval of the reproducibility standard deviation, the root of both variances of
/// the one-way random model, by the profile of the restricted likelihood. `None` where nothing
/// varies within.
///
/// # Errors
/// As [`one_way_fit`].
/// # Source
/// Venzon and Moolgavkar 1988, Applied Statistics 37, 87-94 (from memory).
pub fn reproducibility_interval(
    groups: &[&[f64]],
    confidence: f64,
) -> Result<Option<(f64, f64)>, StatsError> {
    let confidence = super::error::inner_probability(confidence)?;
    let of = fit_for(groups)?;
    let ratio = OneWayRatio {
        of: &of,
        likelihood: Likelihood::Restricted,
    };
    let interval = total_interval(&ratio, confidence);
    Ok(interval.map(|(low, high)| (low.sqrt(), high.sqrt())))
}

/// Groups that the random model can be fitted to.
fn fit_for(groups: &[&[f64]]) -> Result<Groups, StatsError> {
    let of = Groups::new(groups)?;
    let (p, n) = (of.sizes.len(), of.count() as usize);
    if p < 2 || n == p {
        let needed = if p < 2 { 2 } else { p + 1 };
        return Err(StatsError::TooFew { needed, got: p });
    }
    let spread = of.squares_about(of.means[0], |n| n);
    match (of.squares, spread) {
        (0.0, 0.0) => Err(StatsError::ZeroSpread),
        (_, spread) if !spread.is_finite() => Err(StatsError::Overflow),
        _ => Ok(of),
    }
}

/// The bias of a measurer or an instrument by readings of a thing whose size is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReferenceBias {
    /// How many readings.
    pub n: usize,
    /// Mean reading less the known size.
    pub bias: f64,
    /// Standard deviation of the readings.
    pub sd: f64,
    /// Confidence interval of the bias by Student's t.
    pub low: f64,
    /// See [`ReferenceBias::low`].
    pub high: f64,
    /// Two-sided p of no bias; `None` where all readings are equal.
    pub p: Option<f64>,
}

/// Bias against a known size, whose own uncertainty is taken as nothing beside that of the readings.
///
/// # Errors
/// [`StatsError::TooFew`] under two readings; [`StatsError::NotFinite`]; [`StatsError::Overflow`];
/// [`StatsError::NotAProbability`] for the confidence.
/// # Example
/// ```
/// use calibriar::stats::reference_bias;
///
/// let bias = reference_bias(&[50.02, 50.05], 50.0, 0.95)?;
/// assert!((bias.bias - 0.035).abs() < 1e-12 && bias.low < 0.0 && bias.high > 0.0);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn reference_bias(
    readings: &[f64],
    known: f64,
    confidence: f64,
) -> Result<ReferenceBias, StatsError> {
    sample_of(2, readings)?;
    all_finite(&[known])?;
    let confidence = super::error::inner_probability(confidence)?;
    let n = readings.len() as f64;
    let off: Vec<f64> = readings.iter().map(|x| x - known).collect();
    let of = Groups::new(&[&off])?;
    let (bias, sd) = (of.means[0], (of.squares / (n - 1.0)).sqrt());
    let half = super::t_upper_quantile((1.0 - confidence) / 2.0, n - 1.0) * sd / n.sqrt();
    Ok(ReferenceBias {
        n: readings.len(),
        bias,
        sd,
        low: bias - half,
        high: bias + half,
        p: (sd > 0.0).then(|| super::t_two_sided(bias * n.sqrt() / sd, n - 1.0)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_little_is_said_and_nothing_is_made_up() {
        assert!(matches!(one_way(&[]), Err(StatsError::TooFew { .. })));
        assert!(matches!(one_way(&[&[]]), Err(StatsError::TooFew { .. })));
        let single = one_way(&[&[4.0], &[4.1]]).unwrap();
        assert_eq!((single.within, single.reproducibility()), (None, None));
        let lone = one_way(&[&[4.0, 4.2]]).unwrap();
        assert!(lone.within.is_some() && lone.between().is_none() && lone.f_test().is_none());
        for likelihood in [Likelihood::Restricted, Likelihood::Full] {
            let fit = |groups: &[&[f64]]| one_way_fit(groups, likelihood);
            assert!(fit(&[&[4.0], &[4.1]]).is_err());
            assert!(fit(&[&[4.0, 4.1]]).is_err());
            assert_eq!(fit(&[&[4.0; 2], &[4.0; 3]]), Err(StatsError::ZeroSpread));
        }
        assert!(reference_bias(&[1.0], 1.0, 0.95).is_err());
        assert!(reference_bias(&[1.0, 2.0], f64::NAN, 0.95).is_err());
    }

    #[test]
    fn equal_within_means_all_is_between() {
        let groups: [&[f64]; 3] = [&[4.0, 4.0], &[4.1, 4.1], &[4.2, 4.2]];
        let fit = one_way_fit(&groups, Likelihood::Restricted).unwrap();
        assert!((fit.between - 0.01).abs() < 1e-12 && fit.within == 0.0);
        assert!((fit.mean_se - (0.01f64 / 3.0).sqrt()).abs() < 1e-12);
        assert_eq!(reproducibility_interval(&groups, 0.95), Ok(None));
        let of = one_way(&groups).unwrap();
        assert_eq!(of.f_test(), None);
        assert_eq!(of.within_interval(0.95), Some((0.0, 0.0)));
    }

    #[test]
    fn huge_readings_are_refused_or_described() {
        let huge: [&[f64]; 2] = [&[1e300, -1e300], &[2e300, 1e299]];
        assert_eq!(one_way(&huge), Err(StatsError::Overflow));
        assert!(one_way_fit(&huge, Likelihood::Full).is_err());
        assert!(reference_bias(&[1e300, -1e300], 0.0, 0.95).is_err());
        let near: [&[f64]; 2] = [&[1e300, 1e300], &[1e300, 1e300]];
        assert_eq!(one_way(&near).unwrap().within, Some(0.0));
        assert!(consistency(&near).unwrap().iter().all(|c| c.h.is_none()));
    }
}
