//! Norms: what the pieces of a pattern's good periods measure, and how firm that is.
//!
//! | file | holds |
//! |---|---|
//! | `settings` | coverage, confidence and error rate, checked once |
//! | `evidence` | what the references of every pattern and dimension sum up to |
//! | `mod` | the norm of one pattern and dimension |
//!
//! Everything is worked out on the scale of judgement (the logarithm for sizes) and given in the
//! unit of the dimension. `docs/methods.md` has the formulas.

mod evidence;
mod settings;

pub use evidence::Evidence;
pub use settings::{Settings, SettingsError};

use std::collections::HashMap;

use crate::catalogue::Kind;
use crate::cohort::{Cohort, from_scale};
use crate::stats::{Predictive, StatsError, Sums, describe, two_sided_factor};
use crate::table::Column;

/// The norm of one dimension of one pattern.
#[derive(Clone, Debug, PartialEq)]
pub struct Norm {
    /// Number of the pattern in its cohort.
    pub group: usize,
    /// Index of the dimension in the table's catalogue.
    pub dimension: usize,
    /// On which scale it is judged.
    pub kind: Kind,
    /// References that speak.
    pub n: usize,
    /// References set aside because they are unlike their fellows.
    pub n_set_aside: usize,
    /// Rows of references outside the dimension's credible range. They count: somebody should
    /// correct or withdraw them.
    pub not_credible: Vec<usize>,
    /// Degrees of freedom that come from the maker's other patterns.
    pub borrowed_df: f64,
    /// Plain description of the references, in the unit.
    pub described: Described,
    /// Centre, in the unit; the geometric centre for a ratio.
    pub centre: f64,
    /// What can be said of the next piece; `None` where the evidence is too thin.
    pub firm: Option<Firm>,
}

/// Plain description of some readings, in their unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Described {
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation (n - 1); `None` for one reading.
    pub sd: Option<f64>,
    /// Median.
    pub median: f64,
    /// Median of the absolute deviations from the median, not scaled.
    pub mad: f64,
    /// Least.
    pub min: f64,
    /// Greatest.
    pub max: f64,
}

/// The part of a norm that needs a spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Firm {
    /// Spread of the readings: relative for a ratio, in the unit for an interval.
    pub spread: f64,
    /// Degrees of freedom of the spread.
    pub df: f64,
    /// Confidence interval of the centre, in the unit.
    pub centre: Band,
    /// Holds the next good piece with the settings' coverage (prediction band), in the unit.
    pub typical: Band,
    /// Holds at least the settings' coverage of all good pieces, with their confidence (tolerance
    /// band), in the unit.
    pub tolerance: Band,
    /// The smallest true deviation that is flagged about four times in five, in the unit.
    pub least_noticeable: f64,
}

/// Two limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl Band {
    /// The band of a half-width about a centre on the scale of judgement, in the unit.
    pub fn about(kind: Kind, centre: f64, half_width: f64) -> Band {
        Band {
            low: from_scale(kind, centre - half_width),
            high: from_scale(kind, centre + half_width),
        }
    }
}

/// A deviation on the scale of judgement, upwards from a centre, in the unit.
pub fn deviation_in_unit(kind: Kind, centre: f64, deviation: f64) -> f64 {
    match kind {
        Kind::Ratio => centre.exp() * deviation.exp_m1(),
        Kind::Interval => deviation,
    }
}

/// The norms of some patterns, in the order of `groups`, dimensions in the order of the catalogue.
/// A pattern and dimension without a reference has no norm.
///
/// # Errors
/// [`StatsError`] for readings beyond what an `f64` can describe.
pub fn norms(
    cohort: &Cohort<'_>,
    groups: &[usize],
    settings: &Settings,
) -> Result<Vec<Norm>, StatsError> {
    let table = cohort.table();
    let mut columns: Vec<&Column> = table.columns.iter().collect();
    columns.sort_by_key(|c| c.dimension);
    let mut place = vec![None; cohort.groups().len()];
    groups
        .iter()
        .enumerate()
        .for_each(|(at, &g)| place[g] = Some(at));
    let mut found: Vec<Vec<Norm>> = vec![Vec::new(); groups.len()];
    let mut factors = ToleranceFactors::new(settings);
    for column in columns {
        let mut values: Vec<Vec<f64>> = vec![Vec::new(); groups.len()];
        let mut sums = vec![Sums::default(); groups.len()];
        let mut not_credible: Vec<Vec<usize>> = vec![Vec::new(); groups.len()];
        let dimension = table.dimension(column);
        for reference in cohort.references(column) {
            if let Some(at) = place[reference.group()] {
                let value = column.values[reference.row()];
                values[at].push(value);
                if dimension
                    .credible
                    .is_some_and(|(low, high)| value < low || value > high)
                {
                    not_credible[at].push(reference.row());
                }
                sums[at].add(reference.x(), reference.u());
            }
        }
        let kind = dimension.kind;
        for (at, values) in values.iter().enumerate().filter(|(_, v)| !v.is_empty()) {
            let described = describe(values)?;
            found[at].push(Norm {
                group: groups[at],
                dimension: column.dimension,
                kind,
                n: values.len(),
                n_set_aside: 0,
                not_credible: std::mem::take(&mut not_credible[at]),
                borrowed_df: 0.0,
                described: Described {
                    mean: described.mean,
                    sd: described.sd,
                    median: described.median,
                    mad: described.mad,
                    min: described.min,
                    max: described.max,
                },
                centre: from_scale(kind, sums[at].mean()),
                firm: match Predictive::new(&sums[at]) {
                    Some(predictive) => Some(firm(&predictive, kind, settings, &mut factors)?),
                    None => None,
                },
            });
        }
    }
    Ok(found.into_iter().flatten().collect())
}

fn firm(
    predictive: &Predictive,
    kind: Kind,
    settings: &Settings,
    factors: &mut ToleranceFactors,
) -> Result<Firm, StatsError> {
    let centre = predictive.centre();
    let variance = predictive.variance_like_references();
    let least = predictive.least_noticeable(variance);
    let factor = factors.of(predictive.df(), predictive.n_effective())?;
    let band = |half_width: f64| Band::about(kind, centre, half_width);
    Ok(Firm {
        spread: predictive.spread(),
        df: predictive.df(),
        centre: band(predictive.centre_half_width(settings.confidence())),
        typical: band(predictive.half_width(variance, settings.coverage())),
        tolerance: band(factor * predictive.spread()),
        least_noticeable: deviation_in_unit(kind, centre, least),
    })
}

/// Exact tolerance factors, each worked out once.
struct ToleranceFactors {
    coverage: crate::stats::Coverage,
    known: HashMap<(u64, u64), f64>,
}

impl ToleranceFactors {
    fn new(settings: &Settings) -> ToleranceFactors {
        ToleranceFactors {
            coverage: settings.tolerance(),
            known: HashMap::new(),
        }
    }

    fn of(&mut self, df: f64, n_effective: f64) -> Result<f64, StatsError> {
        let key = (df.to_bits(), n_effective.to_bits());
        if let Some(&factor) = self.known.get(&key) {
            return Ok(factor);
        }
        let factor = two_sided_factor(self.coverage, df, n_effective)?;
        self.known.insert(key, factor);
        Ok(factor)
    }
}
