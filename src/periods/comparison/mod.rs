//! Period against period: do the good ones agree among themselves, and how far did others leave them?
//!
//! | file | holds |
//! |---|---|
//! | `sets` | one dimension of one pattern: each period's pieces, the good periods' agreement |
//! | `against` | one period against the good ones, or a good one against the other good ones |
//! | `together` | all patterns of a maker together |
//!
//! Everything is worked out on the scale of judgement (the logarithm for sizes). `docs/periods.md` has
//! the formulas.

mod against;
mod sets;
mod together;

pub use against::{Against, Plain};
pub use sets::{PeriodSummary, SetAgreement, SetComparison};
pub use together::{PooledAgainst, PooledAgreement, PooledEffect};

use crate::cohort::Cohort;
use crate::norm::{Evidence, Settings};
use crate::parallel;

/// Everything that the periods of some patterns say.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// One a pattern and dimension with any reading of a known period: patterns in the order asked
    /// for, dimensions in the order of the catalogue.
    pub sets: Vec<SetComparison>,
    /// All those patterns of a maker together, period by period, dimension by dimension.
    pub pooled: Vec<PooledAgainst>,
    /// Whether the good periods agree, all those patterns of a maker together.
    pub pooled_agreement: Vec<PooledAgreement>,
}

/// Compares the periods of some patterns.
///
/// `evidence` is that of the good periods, by whatever choice; `every` is the same table's cohort of
/// every period ([`Cohort::of_every_period`]).
pub fn compare(
    evidence: &Evidence<'_>,
    every: &Cohort<'_>,
    groups: &[usize],
    settings: &Settings,
) -> Comparison {
    let table = every.table();
    let mut columns: Vec<usize> = (0..table.columns.len()).collect();
    columns.sort_by_key(|&c| table.columns[c].dimension);
    let sets = parallel::map(groups.len(), |at| {
        sets::of_pattern(evidence, every, groups[at], &columns, settings)
    })
    .concat();
    Comparison {
        pooled: together::against(&sets, every, settings),
        pooled_agreement: together::agreement(&sets, every),
        sets,
    }
}
