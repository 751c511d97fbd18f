//! How firm "good" is: what moved since a revision and because of which pieces, and what would move
//! without one source, measurer or period.
//!
//! | file | holds |
//! |---|---|
//! | `moved` | norms and verdicts of one revision beside those of another |
//! | `left_out` | norms without one source, one measurer or one period at a time |
//!
//! Nothing is estimated here that norms and verdicts do not estimate: the same norms are made of
//! other readings, and laid side by side.

mod left_out;
mod moved;

pub use left_out::{Extreme, Leaving, LeftOut, LeftOutError, LeftOutNorm, Part, Whose, left_out};
pub use moved::{Change, Movement, PieceChange, Standing, Turned, moved, turned};

use crate::catalogue::Kind;
use crate::cohort::{Reference, from_scale, on_scale};
use crate::norm::{Band, Settings, Widths};
use crate::stats::{Prior, Rated, StatsError, median, screen, two_sided_factor};

/// One limit of a norm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limit {
    /// The centre.
    Centre,
    /// Lower limit of the prediction band.
    TypicalLow,
    /// Upper limit of the prediction band.
    TypicalHigh,
    /// Lower limit of the tolerance band.
    ToleranceLow,
    /// Upper limit of the tolerance band.
    ToleranceHigh,
}

impl Limit {
    /// All of them, those of the typical range first.
    pub const ALL: [Limit; 5] = [
        Limit::Centre,
        Limit::TypicalLow,
        Limit::TypicalHigh,
        Limit::ToleranceLow,
        Limit::ToleranceHigh,
    ];

    /// The centre and the typical range.
    pub const TYPICAL: [Limit; 3] = [Limit::Centre, Limit::TypicalLow, Limit::TypicalHigh];

    /// The name of its column in a table of norms.
    pub fn name(self) -> &'static str {
        match self {
            Limit::Centre => "centre",
            Limit::TypicalLow => "typical_low",
            Limit::TypicalHigh => "typical_high",
            Limit::ToleranceLow => "tolerance_low",
            Limit::ToleranceHigh => "tolerance_high",
        }
    }
}

/// The limits of a norm, in the unit; those of [`crate::norm::Norm`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// References that speak.
    pub n: usize,
    /// References set aside because they are unlike their fellows.
    pub n_set_aside: usize,
    /// On which scale it is judged.
    pub kind: Kind,
    /// Spread of good pieces, within periods and between them, on the scale of judgement; `None`
    /// where the evidence is too thin.
    pub spread: Option<f64>,
    values: [Option<f64>; 5],
}

impl Limits {
    /// One limit, in the unit; `None` where the evidence sets none.
    pub fn get(&self, limit: Limit) -> Option<f64> {
        self.values[limit as usize]
    }

    /// How far a value of one limit is from this norm's: `value` less the limit, in the unit.
    fn distance(&self, limit: Limit, value: Option<f64>) -> Option<f64> {
        Some(value? - self.get(limit)?)
    }

    /// The same in spreads of this norm, on the scale of judgement.
    fn distance_in_spreads(&self, limit: Limit, value: Option<f64>) -> Option<f64> {
        let spread = self.spread.filter(|&spread| spread > 0.0)?;
        let on = |value: f64| on_scale(self.kind, value, 0.0).0;
        let moved = (on(value?) - on(self.get(limit)?)) / spread;
        Some(moved).filter(|m| m.is_finite())
    }

    /// How wide a quarter of the typical range is, in the unit: what printed digits follow.
    pub fn in_unit(&self) -> Option<f64> {
        Some((self.get(Limit::TypicalHigh)? - self.get(Limit::TypicalLow)?) / 4.0)
    }
}

/// The limits that some readings and what is known beforehand make, as [`crate::norm::norms`] has
/// them; those of the tolerance band only where asked for, because they take longer. `None` of no
/// readings.
fn limits(
    readings: &[Rated],
    prior: &Prior,
    kind: Kind,
    settings: &Settings,
    tolerance: bool,
) -> Result<Option<Limits>, StatsError> {
    if readings.is_empty() {
        return Ok(None);
    }
    let screened = screen(readings, prior);
    let kept: Vec<Rated> = screened.kept.iter().map(|&i| readings[i]).collect();
    let mut limits = Limits {
        n: kept.len(),
        n_set_aside: screened.set_aside.len(),
        kind,
        spread: None,
        values: [None; 5],
    };
    let finite = |value: f64| Some(value).filter(|v| v.is_finite());
    let mut centre = kept.iter().map(|r| r.x).sum::<f64>() / kept.len() as f64;
    if let Some(predictive) = screened.predictive(prior) {
        centre = predictive.centre();
        // As `Basis::usual_uncertainty` has it.
        let mean_square = predictive.sums().mean_u2;
        let uncertainties: Vec<f64> = kept.iter().map(|r| r.u).collect();
        let usual = median(&uncertainties).map_or(0.0, |u| u.min(mean_square.sqrt()));
        let widths = Widths::new(&predictive, usual, settings);
        limits.spread = finite(widths.total);
        let mut band = |half_width: f64, low: Limit, high: Limit| {
            let band = Band::about(kind, centre, half_width);
            if let Some((a, b)) = finite(band.low).zip(finite(band.high)) {
                limits.values[low as usize] = Some(a);
                limits.values[high as usize] = Some(b);
            }
        };
        let typical = predictive.half_width(widths.variance, settings.coverage());
        band(typical, Limit::TypicalLow, Limit::TypicalHigh);
        if tolerance {
            let (df, n) = (predictive.df(), predictive.n_effective());
            let factor = two_sided_factor(settings.tolerance(), df, n)?;
            let half_width = factor * widths.total;
            band(half_width, Limit::ToleranceLow, Limit::ToleranceHigh);
        }
    }
    limits.values[Limit::Centre as usize] = finite(from_scale(kind, centre));
    Ok(Some(limits))
}

/// References as plain readings: what they are worth, and no longer whose they are.
fn rated(references: &[Reference]) -> Vec<Rated> {
    references.iter().map(Reference::rated).collect()
}
