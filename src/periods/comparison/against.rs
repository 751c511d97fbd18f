//! One period against the good ones, or a good one against the other good ones.

use super::Asked;
use super::sets::{Run, values};
use crate::cohort::Reference;
use crate::norm::{Basis, Settings};
use crate::stats::{
    Departure, MannWhitney, Prior, Shift, SpreadRatio, WelchT, departure, hodges_lehmann,
    mann_whitney, spread_ratio, two_level, welch_t,
};

/// How one period's pieces stand to those of the good periods, or of the other good ones.
#[derive(Clone, Debug, PartialEq)]
pub struct Against {
    /// Label of the period in the cohort.
    pub period: u32,
    /// Whether it is a good one itself, and is compared with the others.
    pub good: bool,
    /// Its readings.
    pub n: usize,
    /// Readings of the periods it is compared with.
    pub n_good: usize,
    /// Those of them that were set aside because unlike their fellows.
    pub set_aside: usize,
    /// Its centre on the scale of judgement.
    pub centre: f64,
    /// The centre of the others likewise.
    pub centre_good: f64,
    /// How far its centre is off, beside what one more good period would be; `None` where the good
    /// ones tell no spread.
    pub departure: Option<Departure>,
    /// Its p, adjusted for the pattern's other dimensions (Holm).
    pub shift_adjusted: Option<f64>,
    /// Its spread over the spread within good periods; `None` of one piece.
    pub spread_ratio: Option<SpreadRatio>,
    /// Its p, adjusted likewise.
    pub spread_adjusted: Option<f64>,
    /// The same question asked plainly.
    pub plain: Plain,
}

/// All readings of the one against all readings of the others, nothing borrowed, periods and reading
/// errors not heeded, none set aside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plain {
    /// Welch's t; `None` where either has fewer than two readings or none has a spread.
    pub welch: Option<WelchT>,
    /// Mann and Whitney's test; `None` where all readings are equal.
    pub ranks: Option<MannWhitney>,
    /// Hodges and Lehmann's shift.
    pub shift: Option<Shift>,
}

/// Every period of a dimension that can be compared. `good` are the readings of the good ones.
pub(super) fn all(
    runs: &[Run<'_>],
    good: &[Reference],
    prior: &Prior,
    asked: &Asked<'_>,
) -> Vec<Against> {
    let settings = asked.settings;
    let of_all = (!good.is_empty()).then(|| Norm::new(good.to_vec(), prior));
    let mut against: Vec<Against> = runs
        .iter()
        .filter_map(|run| {
            if !run.good {
                return Some(of_all.as_ref()?.compare(run, prior, settings));
            }
            let others = good.iter().copied();
            let others = others.filter(|r| r.rated().period != Some(run.period));
            let others: Vec<Reference> = others.collect();
            (!others.is_empty()).then(|| Norm::new(others, prior).compare(run, prior, settings))
        })
        .collect();
    against.sort_by_key(|a| asked.order[a.period as usize]);
    against
}

/// What a period is compared with.
struct Norm {
    values: Vec<f64>,
    basis: Basis,
}

impl Norm {
    fn new(readings: Vec<Reference>, prior: &Prior) -> Norm {
        Norm {
            values: values(&readings),
            basis: Basis::new(readings, *prior),
        }
    }

    fn compare(&self, run: &Run<'_>, prior: &Prior, settings: &Settings) -> Against {
        let Basis {
            kept, predictive, ..
        } = &self.basis;
        let centre = |readings: &[Reference]| {
            let sums = two_level(readings, prior.lambda, prior.variance);
            sums.map_or(readings[0].rated().x, |s| s.mu)
        };
        let norm = predictive.as_ref();
        let own = values(run.readings);
        Against {
            period: run.period,
            good: run.good,
            n: run.readings.len(),
            n_good: kept.len(),
            set_aside: self.basis.set_aside.len(),
            centre: centre(run.readings),
            centre_good: norm.map_or_else(|| centre(kept), |norm| norm.centre()),
            departure: norm.and_then(|norm| departure(norm, run.readings, prior)),
            shift_adjusted: None,
            spread_ratio: norm.and_then(|norm| spread_ratio(norm, run.readings, prior)),
            spread_adjusted: None,
            plain: Plain {
                welch: welch_t(&own, &self.values).ok(),
                ranks: mann_whitney(&own, &self.values).ok(),
                shift: hodges_lehmann(&own, &self.values, settings.confidence()).ok(),
            },
        }
    }
}
