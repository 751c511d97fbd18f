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
#[derive(Clone, Debug, Default, PartialEq)]
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
    let order = order(every);
    let asked = Asked {
        evidence,
        every,
        settings,
        order: &order,
    };
    let sets = parallel::map(groups.len(), |at| {
        sets::of_pattern(&asked, groups[at], &columns)
    })
    .concat();
    Comparison {
        pooled: together::against(&sets, &asked),
        pooled_agreement: together::agreement(&sets, every),
        sets,
    }
}

/// What is compared, and how.
struct Asked<'a> {
    evidence: &'a Evidence<'a>,
    every: &'a Cohort<'a>,
    settings: &'a Settings,
    /// Each period's place in the order of telling, by label.
    order: &'a [usize],
}

/// Periods are told in the order in which the source defines them, then in that of appearance.
fn order(every: &Cohort<'_>) -> Vec<usize> {
    let defined = every.table().periods.all();
    let mut labels: Vec<usize> = (0..every.periods().len()).collect();
    labels.sort_by_key(|&label| {
        let name = &every.periods()[label].name;
        let place = defined.iter().position(|p| p.name == *name);
        place.unwrap_or(defined.len())
    });
    let mut order = vec![0; labels.len()];
    for (place, label) in labels.into_iter().enumerate() {
        order[label] = place;
    }
    order
}
