//! Readings in periods: a centre, a period effect, a piece effect and a reading error.
//!
//! The model is `x = mu + b(period) + e + error` with variances `lambda s^2`, `s^2` and `u^2`. With
//! `r = u^2 / s^2` known, everything about `mu` follows from sums over periods; no matrix is formed.
//!
//! # Source
//! Generalised least squares for a one-way layout: D. A. Harville, J. Am. Stat. Assoc. 72 (1977)
//! 320-338.

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
    /// Sum of the weights (S).
    pub weight: f64,
    /// Weighted mean.
    pub mean: f64,
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
    /// Logarithm of the determinant of the relative covariance matrix.
    pub ln_determinant: f64,
    /// Mean of the relative error variances r.
    pub mean_r: f64,
    /// Mean of the squared standard uncertainties.
    pub mean_u2: f64,
    /// The periods, in order of appearance.
    pub periods: Vec<PeriodSums>,
}

/// The two-level sums of some readings for a period ratio `lambda` and a spread whose square is
/// `variance`; with `variance` infinite the readings count as free of error (r = 0).
///
/// `None` for no readings.
pub fn two_level(readings: &[Rated], lambda: f64, variance: f64) -> Option<TwoLevel> {
    let r = |u: f64| {
        if variance.is_infinite() {
            0.0
        } else {
            u * u / variance
        }
    };
    let mut periods: Vec<PeriodSums> = Vec::new();
    // Which period each reading is in: a label again, or a new one.
    let mut of: Vec<usize> = Vec::with_capacity(readings.len());
    for reading in readings {
        let known = reading
            .period
            .and_then(|_| periods.iter().position(|p| p.period == reading.period));
        let at = known.unwrap_or_else(|| {
            periods.push(PeriodSums {
                period: reading.period,
                weight: 0.0,
                mean: 0.0,
            });
            periods.len() - 1
        });
        // Weighted mean kept up reading by reading.
        let weight = 1.0 / (1.0 + r(reading.u));
        let period = &mut periods[at];
        period.weight += weight;
        period.mean += weight / period.weight * (reading.x - period.mean);
        of.push(at);
    }
    if readings.is_empty() {
        return None;
    }
    let variance_of = |p: &PeriodSums| lambda + 1.0 / p.weight;
    let precision: f64 = periods.iter().map(|p| 1.0 / variance_of(p)).sum();
    let v = 1.0 / precision;
    // About the first period's mean: large offsets then cost no digits.
    let origin = periods[0].mean;
    let shift: f64 = periods
        .iter()
        .map(|p| (p.mean - origin) / variance_of(p))
        .sum();
    let mu = origin + v * shift;
    let within: f64 = readings
        .iter()
        .zip(&of)
        .map(|(reading, &at)| (reading.x - periods[at].mean).powi(2) / (1.0 + r(reading.u)))
        .sum();
    let between: f64 = periods
        .iter()
        .map(|p| (p.mean - mu).powi(2) / variance_of(p))
        .sum();
    let ln_determinant = readings.iter().map(|x| r(x.u).ln_1p()).sum::<f64>()
        + periods
            .iter()
            .map(|p| (p.weight * variance_of(p)).ln())
            .sum::<f64>();
    Some(TwoLevel {
        n: readings.len(),
        mu,
        v,
        q: within + between,
        ln_determinant,
        mean_r: readings.iter().map(|x| r(x.u)).sum::<f64>() / readings.len() as f64,
        mean_u2: readings.iter().map(|x| x.u * x.u).sum::<f64>() / readings.len() as f64,
        periods,
    })
}
