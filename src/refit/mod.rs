//! What to take off a piece, to which size, and what to leave alone.
//!
//! | file | holds |
//! |---|---|
//! | `aim` | how sure to be, near limit or centre, which drills, walls alone or as one cone |
//! | `plan` | the plan on plain numbers: works of least removal, and what stands in the way |
//! | `known` | a piece as a plan sees it: sizes, good ranges, walls, works out of the question |
//! | `target` | from piece to plain numbers and back: how well an end is known, drills, what may not move |
//! | `outline` | the straight line under a traced outline: what comes off, and whether it should |
//! | `sheet` | the result: steps, sizes before and after, what is left, what is left alone |
//! | `reason` | why a size is left alone |
//! | `what_if` | a work judged before it is done |
//!
//! Works, floors and cautions are data of the catalogue. `docs/refit.md` has the method and what it cannot
//! see.

mod aim;
mod known;
pub mod outline;
mod plan;
mod reason;
mod sheet;
mod target;
mod what_if;

pub use aim::{Aim, AimError, Goal, Walls};
pub use plan::{Hindrance, Interval, Plan, Problem, Quantity, Want, plan};
pub use reason::{Contradiction, Obstacle, Reason};
pub use sheet::{FloorLeft, LeftAlone, Refit, SizePlan, Step};
pub use what_if::{Proposal, Reach, WhatIf, what_if};

use crate::catalogue::Workshop;
use crate::norm::{Band, Evidence, Settings};
use crate::notation::Quantity as Measures;
use crate::stats::StatsError;
use crate::table::Table;
use crate::verdict::{Caution, Check, DimensionCheck, Piece, check, check_against};
use known::Known;
use outline::{OutlineReason, OutlineStock};

/// The plan for a piece of the cohort's own table.
///
/// # Errors
/// [`StatsError`] for sizes beyond what the solver can tell apart.
pub fn refit(
    evidence: &Evidence<'_>,
    row: usize,
    settings: &Settings,
    workshop: &Workshop,
    aim: &Aim,
) -> Result<Refit, StatsError> {
    let check = check(evidence, row, settings);
    of_piece(&Piece::of_cohort(evidence, row), check, workshop, aim)
}

/// The plan for a piece of another table. Where the cohort has specimens of the same name, in any spelling,
/// their readings do not count in the norm.
///
/// # Errors
/// [`StatsError`] for sizes beyond what the solver can tell apart.
pub fn refit_against(
    evidence: &Evidence<'_>,
    table: &Table,
    row: usize,
    settings: &Settings,
    workshop: &Workshop,
    aim: &Aim,
) -> Result<Refit, StatsError> {
    let check = check_against(evidence, table, row, settings);
    let piece = Piece::of_another(evidence, table, row);
    of_piece(&piece, check, workshop, aim)
}

fn of_piece(
    piece: &Piece<'_>,
    check: Check,
    workshop: &Workshop,
    aim: &Aim,
) -> Result<Refit, StatsError> {
    let mut known = Known::new(piece, &check, workshop);
    let mut outlines = outline::outlines(piece, &check, &known, aim.walls);
    known.straighten(&outlines, workshop);
    // Each time one outline more stays as it is, so it ends.
    let solved = loop {
        let solved = target::solve(&known, aim)?;
        if !known.leave(&solved.crooked) {
            break solved;
        }
    };
    for (outline, reason) in &solved.crooked {
        outlines[*outline].reason = Some(OutlineReason::Refused(reason.clone()));
    }
    // The worst wall counts: one that stays crooked leaves the dimension so.
    let straightened = |key: &str| {
        let mut telling = outlines.iter().filter(|o| o.tells(key));
        telling.clone().any(OutlineStock::is_advised) && !telling.any(OutlineStock::is_refused)
    };
    let catalogue = &piece.table.catalogue;
    let others = check.dimensions.iter().filter_map(|d| {
        let dimension = catalogue.at(d.dimension);
        let reason = match dimension.quantity {
            Measures::Length if dimension.is_form_error() => Reason::FormError,
            Measures::Angle => Reason::NoWork,
            Measures::Colour => Reason::NotASize,
            Measures::Length | Measures::Mass => return None,
        };
        (is_off(d) && !straightened(&dimension.key)).then(|| LeftAlone {
            dimension: d.dimension,
            found: d.value,
            good: d.judged.map(|j| Band { ..j.good_sizes }),
            reason,
        })
    });
    let others = others.collect();
    Ok(sheet::sheet(&known, check, &solved, others, outlines))
}

/// Whether a dimension is out of norm or borderline, and a fault: straighter than usual is none.
fn is_off(check: &DimensionCheck) -> bool {
    check.verdict.stands_out() && !check.cautions.contains(&Caution::SmallFormError)
}
