//! Norms: what the pieces of a pattern's good periods measure, and how firm that is.
//!
//! | file | holds |
//! |---|---|
//! | `settings` | coverage, confidence and error rate, checked once |
//! | `borrowing` | from whom spreads are borrowed, and which the user states |
//! | `evidence` | the references of every pattern and dimension, and what all teach together |
//! | `lenders` | the patterns of each maker as lenders of spread to each other |
//! | `basis` | what one dimension of one pattern is judged by |
//! | `apart` | references taken apart into size and shape |
//! | `mod` | the norm of one pattern and dimension |
//!
//! Everything is worked out on the scale of judgement (the logarithm for sizes) and given in the
//! unit of the dimension. `docs/methods.md` has the formulas.

mod apart;
mod basis;
mod borrowing;
mod evidence;
mod lenders;
mod outlines;
mod settings;

pub(crate) use apart::Apart;
pub use basis::{Basis, Beforehand, SetAside};
pub use borrowing::Borrowing;
pub use evidence::Evidence;
pub(crate) use evidence::is_fine;
pub use lenders::Loan;
pub use outlines::OutlineNorm;
pub use settings::{Settings, SettingsError};

use std::collections::HashMap;

use crate::catalogue::Kind;
use crate::cohort::{Reference, from_scale};
use crate::stats::{Predictive, StatsError, describe, range_confidence, two_sided_factor};
use crate::table::{Column, Table};

/// The norm of one dimension of one pattern.
#[derive(Clone, Debug, PartialEq)]
pub struct Norm {
    /// Number of the pattern in its cohort.
    pub group: usize,
    /// Index of the dimension in the table's catalogue.
    pub dimension: usize,
    /// The finish of its pieces, as first written; `None` for a dimension that does not depend on it.
    pub finish: Option<String>,
    /// On which scale it is judged.
    pub kind: Kind,
    /// The references, screened, and what is known beforehand.
    pub basis: Basis,
    /// What the maker's other patterns lend.
    pub loan: Option<Loan>,
    /// Plain description of the references before any screening, in the unit.
    pub described: Described,
    /// Confidence that the range seen holds the settings' coverage of good pieces, whatever their
    /// distribution.
    pub range_confidence: f64,
    /// Centre, in the unit; the geometric centre for a ratio.
    pub centre: f64,
    /// What can be said of the next piece; `None` where the evidence is too thin.
    pub firm: Option<Firm>,
}

impl Norm {
    /// Its column in the table of its cohort, and the position of that.
    pub fn column<'t>(&self, table: &'t Table) -> Option<(usize, &'t Column)> {
        let mut columns = table.columns.iter().enumerate();
        columns.find(|(_, of)| of.dimension == self.dimension && of.finish == self.finish)
    }

    /// The rows of all references, those that were set aside last.
    pub fn rows(&self) -> impl Iterator<Item = usize> {
        let aside = self.basis.set_aside.iter().map(|aside| aside.reference);
        let all = self.basis.kept.iter().copied().chain(aside);
        all.map(|reference| reference.row())
    }
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
    /// Spread within a period of readings of good pieces with the usual uncertainty, or of the pieces
    /// themselves ([`Settings::true_size`]): relative for a ratio, in the unit for an interval.
    pub spread: f64,
    /// Spread of the periods' centres, likewise.
    pub spread_between_periods: f64,
    /// Degrees of freedom of the spread.
    pub df: f64,
    /// Confidence interval of the centre, in the unit.
    pub centre: Band,
    /// Holds the reading of the next good piece, or the piece itself, with the settings' coverage
    /// (prediction band), in the unit.
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
    evidence: &Evidence<'_>,
    groups: &[usize],
    settings: &Settings,
) -> Result<Vec<Norm>, StatsError> {
    let table = evidence.cohort().table();
    let mut columns: Vec<usize> = (0..table.columns.len()).collect();
    columns.sort_by_key(|&c| table.columns[c].dimension);
    let mut factors = ToleranceFactors::new(settings);
    let mut norms = Vec::new();
    for &group in groups {
        let known = Beforehand::new(evidence, group, &[]);
        for &column in &columns {
            let references = evidence.references(column, group, &[]);
            if !references.is_empty() {
                norms.push(norm(
                    evidence,
                    group,
                    column,
                    references,
                    &known,
                    &mut factors,
                )?);
            }
        }
    }
    Ok(norms)
}

fn norm(
    evidence: &Evidence<'_>,
    group: usize,
    column: usize,
    references: Vec<Reference>,
    known: &Beforehand<'_>,
    factors: &mut ToleranceFactors<'_>,
) -> Result<Norm, StatsError> {
    let table = evidence.cohort().table();
    let of = &table.columns[column];
    let dimension = table.dimension(of);
    let values: Vec<f64> = references.iter().map(|r| of.values[r.row()]).collect();
    let described = describe(&values)?;
    let basis = Basis::new(references, known.prior(column));
    let centre = match &basis.predictive {
        Some(predictive) => predictive.centre(),
        // One reference and nothing lent: it is its own centre.
        None => basis.kept.iter().map(|r| r.rated().x).sum::<f64>() / basis.kept.len() as f64,
    };
    Ok(Norm {
        group,
        dimension: of.dimension,
        finish: of.finish.clone(),
        kind: dimension.kind,
        loan: known.loan(column),
        described: Described {
            mean: described.mean,
            sd: described.sd,
            median: described.median,
            mad: described.mad,
            min: described.min,
            max: described.max,
        },
        range_confidence: range_confidence(values.len(), factors.settings.coverage())?,
        centre: from_scale(dimension.kind, centre),
        firm: match &basis.predictive {
            Some(predictive) => {
                let usual = basis.usual_uncertainty();
                Some(firm(predictive, usual, dimension.kind, factors)?)
            }
            None => None,
        },
        basis,
    })
}

/// How wide a norm is, of readings of the usual uncertainty or of the pieces themselves
/// ([`Settings::true_size`]), on the scale of judgement.
pub(crate) struct Widths {
    /// Variance of the next one about the centre.
    pub(crate) variance: f64,
    /// Spread within a period.
    pub(crate) within: f64,
    /// Spread within periods and between them.
    pub(crate) total: f64,
}

impl Widths {
    pub(crate) fn new(
        predictive: &Predictive,
        usual_uncertainty: f64,
        settings: &Settings,
    ) -> Widths {
        match settings.true_size() {
            true => {
                let within = predictive.piece_variance().sqrt();
                Widths {
                    variance: predictive.true_size_variance(),
                    within,
                    total: within.hypot(predictive.spread_between_periods()),
                }
            }
            false => Widths {
                variance: predictive.variance(usual_uncertainty),
                within: predictive.reading_spread(usual_uncertainty),
                total: predictive.total_spread(),
            },
        }
    }
}

fn firm(
    predictive: &Predictive,
    usual_uncertainty: f64,
    kind: Kind,
    factors: &mut ToleranceFactors<'_>,
) -> Result<Firm, StatsError> {
    let settings = factors.settings;
    let centre = predictive.centre();
    let of_reading = predictive.variance(usual_uncertainty);
    // A deviation is noticed in a reading, whatever the band is about.
    let least = predictive.least_noticeable(of_reading);
    let between = predictive.spread_between_periods();
    let Widths {
        variance,
        within,
        total,
    } = Widths::new(predictive, usual_uncertainty, settings);
    let factor = factors.of(predictive.df(), predictive.n_effective())?;
    let band = |half_width: f64| Band::about(kind, centre, half_width);
    Ok(Firm {
        spread: within,
        spread_between_periods: between,
        df: predictive.df(),
        centre: band(predictive.centre_half_width(settings.confidence())),
        typical: band(predictive.half_width(variance, settings.coverage())),
        tolerance: band(factor * total),
        least_noticeable: deviation_in_unit(kind, centre, least),
    })
}

/// The tolerance band of good pieces by an undated predictive, in the unit.
pub(crate) fn tolerance_band(
    predictive: &Predictive,
    kind: Kind,
    settings: &Settings,
) -> Result<Band, StatsError> {
    let factor = ToleranceFactors::new(settings).of(predictive.df(), predictive.n_effective())?;
    Ok(Band::about(
        kind,
        predictive.centre(),
        factor * predictive.total_spread(),
    ))
}

/// Exact tolerance factors, each worked out once.
struct ToleranceFactors<'s> {
    settings: &'s Settings,
    known: HashMap<(u64, u64), f64>,
}

impl<'s> ToleranceFactors<'s> {
    fn new(settings: &'s Settings) -> ToleranceFactors<'s> {
        ToleranceFactors {
            settings,
            known: HashMap::new(),
        }
    }

    fn of(&mut self, df: f64, n_effective: f64) -> Result<f64, StatsError> {
        let key = (df.to_bits(), n_effective.to_bits());
        if let Some(&factor) = self.known.get(&key) {
            return Ok(factor);
        }
        let factor = two_sided_factor(self.settings.tolerance(), df, n_effective)?;
        self.known.insert(key, factor);
        Ok(factor)
    }
}
