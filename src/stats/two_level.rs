//! Readings in periods: a centre, a period effect, a piece effect and a reading error.
//!
//! The model is `x = mu + b(period) + e + error` with variances `lambda s^2`, `s^2` and `u^2`. With
//! `r = u^2 / s^2` known, everything about `mu` follows from sums over periods; no matrix is formed.
//!
//! # Source
//! Generalised least squares for a one-way layout: D. A. Harville, J. Am. Stat. Assoc. 72 (1977)
//! 320-338.

use smallvec::SmallVec;

/// As many periods as a pattern mostly has, or fewer: their sums need no allocation.
pub(super) const USUAL: usize = 4;

/// One reading on the scale of judgement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rated {
    /// Value.
    pub x: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Label of its period; a reading without one is a period by itself.
    pub period: Option<u32>,
}

/// The sums of one period.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PeriodSums {
    /// Its label.
    pub period: Option<u32>,
    /// Readings.
    pub n: usize,
    /// Sum of the weights (S).
    pub weight: f64,
    /// Weighted mean.
    pub mean: f64,
    /// Sum of the weighted squares about the mean.
    pub within: f64,
    /// Sum of the squared standard uncertainties.
    pub sum_u2: f64,
}

/// What a set of readings says of its centre.
#[derive(Clone, Debug, PartialEq)]
pub struct TwoLevel {
    /// Readings.
    pub n: usize,
    /// The centre.
    pub mu: f64,
    /// Its variance in units of `s^2` (V).
    pub v: f64,
    /// The residual quadratic form (Q).
    pub q: f64,
    /// The part of it that lies within periods.
    pub within: f64,
    /// Mean of the relative error variances r.
    pub mean_r: f64,
    /// Mean of the squared standard uncertainties.
    pub mean_u2: f64,
    /// The periods, in order of appearance.
    pub periods: SmallVec<[PeriodSums; USUAL]>,
    /// The period ratio that it was worked out with.
    pub lambda: f64,
    /// The square of the spread that it was worked out with.
    pub variance: f64,
}

/// What all readings of a set but one say of that one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeftOut {
    /// The reading less what the others make of it, its period known.
    pub deviation: f64,
    /// The variance of that deviation in units of `s^2`, its own error included.
    pub h: f64,
    /// The others' number.
    pub n: usize,
    /// Their residual quadratic form.
    pub q: f64,
    /// The mean of their relative error variances.
    pub mean_r: f64,
    /// The mean of their squared standard uncertainties.
    pub mean_u2: f64,
}

/// A reading's error variance relative to the spread; none where the spread is infinite.
pub(super) fn relative(u: f64, variance: f64) -> f64 {
    if variance.is_infinite() {
        0.0
    } else {
        u * u / variance
    }
}

/// Runs of readings of one known period; a reading without one is a run by itself.
pub(super) fn runs<R: Copy + Into<Rated>>(readings: &[R]) -> impl Iterator<Item = &[R]> {
    readings.chunk_by(|&a, &b| {
        let (a, b): (Rated, Rated) = (a.into(), b.into());
        a.period.is_some() && a.period == b.period
    })
}

/// The weight `1 / (1 + r)` of a reading.
pub(super) fn weight(u: f64, variance: f64) -> f64 {
    if variance.is_infinite() {
        1.0
    } else {
        variance / (variance + u * u)
    }
}

/// Sums over the readings of one period, about its first.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sums {
    pub(super) period: Option<u32>,
    pub(super) n: usize,
    /// The first reading.
    pub(super) origin: f64,
    /// Of the squared uncertainties.
    pub(super) u2: f64,
    pub(super) weight: f64,
    /// Of the weighted readings.
    pub(super) shift: f64,
    /// Of their weighted squares.
    pub(super) squares: f64,
}

impl Sums {
    /// No readings yet, about the one that comes first.
    pub(super) fn about(first: Rated) -> Sums {
        Sums {
            period: first.period,
            n: 0,
            origin: first.x,
            u2: 0.0,
            weight: 0.0,
            shift: 0.0,
            squares: 0.0,
        }
    }

    pub(super) fn add(&mut self, reading: Rated, weight: f64) {
        self.n += 1;
        self.u2 += reading.u * reading.u;
        self.weigh(reading, weight);
    }

    /// The way back.
    pub(super) fn take(&mut self, reading: Rated, weight: f64) {
        self.n -= 1;
        self.u2 -= reading.u * reading.u;
        self.weigh(reading, -weight);
    }

    fn weigh(&mut self, reading: Rated, weight: f64) {
        let off = reading.x - self.origin;
        let weighted = weight * off;
        self.weight += weight;
        self.shift += weighted;
        self.squares += weighted * off;
    }

    fn mean(&self) -> f64 {
        self.origin + self.shift / self.weight
    }

    /// The squares about the mean.
    fn within(&self) -> f64 {
        self.squares - self.shift * self.shift / self.weight
    }

    /// Whether the digits of the squares about the mean are lost in those about the first reading.
    pub(super) fn drowns(&self) -> bool {
        // One digit may go. Where a square is beyond all numbers the means must tell.
        let stands = self.within() >= 0.1 * self.squares && self.squares.is_finite();
        !(stands || self.squares == 0.0)
    }
}

impl From<&Sums> for PeriodSums {
    fn from(sums: &Sums) -> PeriodSums {
        PeriodSums {
            period: sums.period,
            n: sums.n,
            weight: sums.weight,
            mean: sums.mean(),
            within: sums.within(),
            sum_u2: sums.u2,
        }
    }
}

/// Where the sums of a period are; a reading without one has none but its own.
pub(super) fn position<'s>(
    mut sums: impl Iterator<Item = &'s Sums>,
    period: Option<u32>,
) -> Option<usize> {
    let period = period?;
    sums.position(|of| of.period == Some(period))
}

/// The two-level sums of some readings for a period ratio `lambda` and a spread whose square is
/// `variance`; with `variance` infinite the readings count as free of error (r = 0).
///
/// `None` for no readings.
pub fn two_level<R: Copy + Into<Rated>>(
    readings: &[R],
    lambda: f64,
    variance: f64,
) -> Option<TwoLevel> {
    if readings.is_empty() {
        return None;
    }
    let mut sums: SmallVec<[Sums; USUAL]> = SmallVec::new();
    for run in runs(readings) {
        let first: Rated = run[0].into();
        let at = position(sums.iter(), first.period).unwrap_or_else(|| {
            sums.push(Sums::about(first));
            sums.len() - 1
        });
        // Sums of this run alone: they can stay in registers.
        let mut of = sums[at];
        for &reading in run {
            let reading: Rated = reading.into();
            of.add(reading, weight(reading.u, variance));
        }
        sums[at] = of;
    }
    let mut periods: SmallVec<[PeriodSums; USUAL]> = sums.iter().map(PeriodSums::from).collect();
    if sums.iter().any(Sums::drowns) {
        // The first reading of a period is far from its others: once more, about their means.
        periods.iter_mut().for_each(|of| of.within = 0.0);
        for run in runs(readings) {
            let first: Rated = run[0].into();
            // A reading without a period is its own mean.
            let Some(at) = position(sums.iter(), first.period) else {
                continue;
            };
            let mean = periods[at].mean;
            let square = |&reading: &R| {
                let Rated { x, u, .. } = reading.into();
                weight(u, variance) * (x - mean).powi(2)
            };
            periods[at].within += run.iter().map(square).sum::<f64>();
        }
    }
    TwoLevel::of_periods(periods, lambda, variance)
}

impl TwoLevel {
    /// From the sums of the periods; `None` without one.
    pub(super) fn of_periods(
        periods: SmallVec<[PeriodSums; USUAL]>,
        lambda: f64,
        variance: f64,
    ) -> Option<TwoLevel> {
        // About the first period's mean: large offsets then cost no digits.
        let origin = periods.first()?.mean;
        let variance_of = |p: &PeriodSums| lambda + 1.0 / p.weight;
        let v = 1.0 / periods.iter().map(|p| 1.0 / variance_of(p)).sum::<f64>();
        let shift: f64 = periods
            .iter()
            .map(|p| (p.mean - origin) / variance_of(p))
            .sum();
        let mu = origin + v * shift;
        let between: f64 = periods
            .iter()
            .map(|p| (p.mean - mu).powi(2) / variance_of(p))
            .sum();
        let n: usize = periods.iter().map(|p| p.n).sum();
        let within: f64 = periods.iter().map(|p| p.within).sum();
        let mean_u2 = periods.iter().map(|p| p.sum_u2).sum::<f64>() / n as f64;
        Some(TwoLevel {
            n,
            mu,
            v,
            q: within + between,
            within,
            mean_r: relative(mean_u2.sqrt(), variance),
            mean_u2,
            periods,
            lambda,
            variance,
        })
    }

    /// The variance of the set, not less than its reading errors allow: readings rounded alike may
    /// agree by chance. `None` for one reading.
    pub fn variance_of_set(&self) -> Option<f64> {
        let df = self.n.checked_sub(1).filter(|&df| df > 0)?;
        Some((self.q / df as f64).max(self.mean_u2 / (1.0 + self.mean_r)))
    }

    /// The sums of a period, where it has any.
    pub fn period(&self, label: Option<u32>) -> Option<&PeriodSums> {
        let label = label?;
        self.periods.iter().find(|p| p.period == Some(label))
    }

    /// The sums without the readings of one period; `None` where no others are left.
    pub fn without_period(&self, label: u32) -> Option<TwoLevel> {
        let others = self.periods.iter().filter(|p| p.period != Some(label));
        TwoLevel::of_periods(others.copied().collect(), self.lambda, self.variance)
    }

    /// The sums of all readings of the set but one; `None` for a set of one, and where more than one digit would be
    /// lost: the caller then adds up the others afresh.
    /// Of readings without a period, equal ones must have equal uncertainties.
    pub(crate) fn left(&self, reading: Rated) -> Option<TwoLevel> {
        /// Of what there was.
        const LEAST_LEFT: f64 = 0.1;
        let mut periods = self.periods.clone();
        let at = periods.iter().position(|of| match reading.period {
            Some(_) => of.period == reading.period,
            // A reading without a period is one by itself.
            None => of.period.is_none() && of.mean == reading.x,
        })?;
        let all = periods[at];
        if all.n < 2 {
            periods.remove(at);
        } else {
            let own = weight(reading.u, self.variance);
            let weight = all.weight - own;
            let off = reading.x - all.mean;
            let alone = all.n == 2;
            let left = PeriodSums {
                n: all.n - 1,
                weight,
                mean: all.mean - off * own / weight,
                within: match alone {
                    true => 0.0,
                    false => all.within - off * off * own * all.weight / weight,
                },
                sum_u2: all.sum_u2 - reading.u * reading.u,
                ..all
            };
            let stands = |left: f64, all: f64| left >= LEAST_LEFT * all;
            let within = alone || stands(left.within, all.within);
            if !(within && stands(weight, all.weight) && stands(left.sum_u2, all.sum_u2)) {
                return None;
            }
            periods[at] = left;
        }
        TwoLevel::of_periods(periods, self.lambda, self.variance)
    }

    /// What is expected of a new piece's errorless reading: its centre and the variance about it in
    /// units of `s^2`. A piece of a period with readings is expected near that period's (best linear
    /// unbiased prediction: Henderson 1975, Biometrics 31), any other near `mu`.
    pub fn expected(&self, period: Option<u32>) -> (f64, f64) {
        let Some(of) = self.period(period) else {
            return (self.mu, 1.0 + self.lambda + self.v);
        };
        let share = self.lambda / (self.lambda + 1.0 / of.weight);
        let rest = 1.0 - share;
        (
            self.mu + share * (of.mean - self.mu),
            1.0 + self.lambda * rest + rest * rest * self.v,
        )
    }

    /// How a reading that is not of the set stands to it.
    pub fn seen_from(&self, reading: Rated) -> LeftOut {
        let (centre, h0) = self.expected(reading.period);
        LeftOut {
            deviation: reading.x - centre,
            h: h0 + relative(reading.u, self.variance),
            n: self.n,
            q: self.q,
            mean_r: self.mean_r,
            mean_u2: self.mean_u2,
        }
    }

    /// `(P x)_i` and `P_ii` of one of the readings, with `P = A^-1 - A^-1 1 1' A^-1 V`.
    pub(super) fn residual(&self, reading: Rated) -> Option<(f64, f64)> {
        let weight = 1.0 / (1.0 + relative(reading.u, self.variance));
        // A reading without a period is one by itself.
        let (period_weight, mean) = match reading.period {
            Some(_) => self.period(reading.period).map(|p| (p.weight, p.mean))?,
            None => (weight, reading.x),
        };
        let apart = 1.0 / (1.0 + self.lambda * period_weight);
        let residual = weight * ((reading.x - mean) + (mean - self.mu) * apart);
        let own = weight * apart;
        let p = weight - weight * own * self.lambda - self.v * own * own;
        Some((residual, p))
    }

    /// For readings of a known period of the set the centre c and the share k in
    /// `(P x)_i^2 / P_ii = (x - c)^2 / (1 + r - k)`, see [`TwoLevel::residual`].
    pub(super) fn residuals(&self, period: Option<u32>) -> Option<(f64, f64)> {
        let of = self.period(period)?;
        let apart = 1.0 / (1.0 + self.lambda * of.weight);
        let centre = of.mean - (of.mean - self.mu) * apart;
        Some((centre, apart * (self.lambda + self.v * apart)))
    }

    /// What all readings but one of the set say of that one, from the sums of all.
    ///
    /// The deviation is `(P x)_i / P_ii`, its variance `1 / P_ii`, and the others' Q is
    /// `Q - (P x)_i^2 / P_ii`. `None` for a set of one, and where so little of Q would be left that
    /// its digits are gone: the caller then adds up the others afresh.
    ///
    /// # Source
    /// Deletion in generalised least squares: R. D. Cook and S. Weisberg, Residuals and Influence in
    /// Regression (1982), 2.2.
    pub fn without(&self, reading: Rated) -> Option<LeftOut> {
        /// At this share of the old Q four digits are lost, twelve stand.
        const LEAST_LEFT: f64 = 1e-4;
        if self.n < 2 {
            return None;
        }
        let (residual, p) = self.residual(reading)?;
        let q = self.q - residual * residual / p;
        if !(p > 0.0 && (q >= LEAST_LEFT * self.q || self.n == 2)) {
            return None;
        }
        let n = self.n as f64;
        // The mean of what is left, where its digits are not gone.
        let mean_left = |mean: f64, own: f64| {
            let left = n * mean - own;
            (mean == 0.0 || left >= LEAST_LEFT * n * mean).then_some(left / (n - 1.0))
        };
        Some(LeftOut {
            deviation: residual / p,
            h: 1.0 / p,
            n: self.n - 1,
            q: if self.n == 2 { 0.0 } else { q.max(0.0) },
            mean_r: mean_left(self.mean_r, relative(reading.u, self.variance))?,
            mean_u2: mean_left(self.mean_u2, reading.u * reading.u)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each reading of a set in turn, against the sums of the others themselves.
    #[test]
    fn one_reading_is_left_out_as_if_it_had_not_been_there() {
        let of = |i: u32| Rated {
            x: 3.0 + 0.01 * f64::from(i * 37 % 101) / 100.0,
            u: 0.0004 * (1.0 + f64::from(i % 5)),
            period: [Some(4), Some(7), Some(9), None][[0, 0, 0, 1, 1, 3, 3, 2][i as usize % 8]],
        };
        let mut readings: Vec<Rated> = (0..23).map(of).collect();
        readings.sort_by_key(|r| r.period.unwrap_or(u32::MAX));
        let mut left_out = 0;
        for (lambda, variance) in [(0.0, 1e-4), (0.3, 1e-5), (3.0, f64::INFINITY)] {
            let all = two_level(&readings, lambda, variance).unwrap();
            for i in 0..readings.len() {
                let Some(left) = all.left(readings[i]) else {
                    continue;
                };
                let mut others = readings.clone();
                others.remove(i);
                let others = two_level(&others, lambda, variance).unwrap();
                let near = |a: f64, b: f64| (a - b).abs() <= 1e-12 * b.abs();
                assert_eq!(
                    (left.n, left.periods.len()),
                    (others.n, others.periods.len())
                );
                assert!(near(left.mu, others.mu), "{i}");
                assert!(near(left.v, others.v), "{i}");
                assert!(near(left.q, others.q), "{i}: {} {}", left.q, others.q);
                assert!(near(left.mean_u2, others.mean_u2), "{i}");
                left_out += 1;
            }
        }
        // The others have a reading far from those that are left: digits would be lost.
        assert!(left_out >= 60, "{left_out} of 69");
        let one = two_level(&readings[..1], 0.3, 1e-4).unwrap();
        assert_eq!(one.left(readings[0]), None);
    }
}
