//! Pieces taken apart into size and shape: dimensions that are derived from the others, with references
//! of their own.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::evidence::is_fine;
use crate::catalogue::Kind;
use crate::cohort::{Cohort, Reference};
use crate::stats::{Rated, SizeShape, size_and_shape};
use crate::table::Column;

/// One piece's sizes taken apart: readings of its size and of each shape.
#[derive(Clone, Debug)]
pub(crate) struct Apart {
    pub(crate) row: usize,
    /// Whether all parts are fine enough to teach the spread of pieces.
    pub(crate) fine: bool,
    pub(crate) size: Rated,
    pub(crate) shapes: Vec<Rated>,
}

impl Apart {
    /// From logarithms and their uncertainties; `None` for fewer than two.
    pub(crate) fn new(
        row: usize,
        parts: &[(f64, f64)],
        period: Option<u32>,
        fine: bool,
    ) -> Option<Apart> {
        let SizeShape {
            size,
            size_uncertainty: u,
            shape,
            shape_uncertainty,
        } = size_and_shape(parts)?;
        let shapes = shape.into_iter().zip(shape_uncertainty);
        Some(Apart {
            row,
            fine,
            size: Rated { x: size, u, period },
            shapes: shapes.map(|(x, u)| Rated { x, u, period }).collect(),
        })
    }
}

/// The references that have some sizes, taken apart by these; worked out group by group when first
/// asked for.
#[derive(Debug)]
pub(crate) struct TakenApart {
    /// Positions of the sizes in the cohort's table.
    sizes: Vec<usize>,
    of_groups: Vec<OnceLock<Vec<Apart>>>,
}

impl TakenApart {
    fn new(cohort: &Cohort<'_>, sizes: &[usize]) -> TakenApart {
        TakenApart {
            sizes: sizes.to_vec(),
            of_groups: vec![OnceLock::new(); cohort.groups().len()],
        }
    }

    /// Those of a group, without some rows.
    pub(crate) fn of<'s>(
        &'s self,
        cohort: &Cohort<'_>,
        group: usize,
        without: &[usize],
    ) -> Vec<&'s Apart> {
        let columns = || self.sizes.iter().map(|&at| &cohort.table().columns[at]);
        let of_row = |&row: &u32| {
            let row = row as usize;
            let part = |column: &Column| cohort.reference(column, Kind::Ratio, row);
            let parts: Option<Vec<Reference>> = columns().map(part).collect();
            let parts = parts?.into_iter().map(|r| (r.rated().x, r.rated().u));
            let fine = columns().all(|column| is_fine(cohort, column, row));
            let parts: Vec<(f64, f64)> = parts.collect();
            Apart::new(row, &parts, cohort.period_label(row), fine)
        };
        let work_out = || {
            cohort
                .reference_rows(group)
                .iter()
                .filter_map(of_row)
                .collect()
        };
        let all = self.of_groups[group].get_or_init(work_out);
        all.iter().filter(|a| !without.contains(&a.row)).collect()
    }
}

/// What may be kept for the next piece, in bytes.
pub(super) const ROOM: usize = 64 << 20;

/// What was taken apart for the pieces judged last: most pieces have the same sizes.
#[derive(Debug, Default)]
pub(super) struct Recent(Mutex<VecDeque<Arc<TakenApart>>>);

impl Recent {
    /// References taken apart by some sizes (positions in the cohort's table).
    pub(super) fn by(&self, cohort: &Cohort<'_>, sizes: &[usize]) -> Arc<TakenApart> {
        /// All sizes, and all but one of a dozen; fewer of large collections.
        const KEPT: usize = 16;
        let of_one = size_of::<Apart>() + sizes.len() * size_of::<Rated>();
        let kept = KEPT.min(ROOM / (cohort.all_reference_rows().len() * of_one).max(1));
        if kept == 0 {
            return Arc::new(TakenApart::new(cohort, sizes));
        }
        // Whoever panicked left a list of whole entries.
        let mut recent = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let known = recent.iter().position(|of| of.sizes == sizes);
        let apart = match known.and_then(|at| recent.remove(at)) {
            Some(apart) => apart,
            None => Arc::new(TakenApart::new(cohort, sizes)),
        };
        recent.push_front(Arc::clone(&apart));
        recent.truncate(kept);
        apart
    }
}
