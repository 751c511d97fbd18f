//! Rows of plans: works, sizes before and after, what remains, what is left alone.

use super::{limit, named};
use crate::catalogue::Catalogue;
use crate::notation::inches;
use crate::refit::outline::OutlineStock;
use crate::refit::{Contradiction, FloorLeft, LeftAlone, Refit, SizePlan, Step, WhatIf};

row! {
    /// One line of the plan for one piece: what it is of, `what` says.
    #[derive(Default)]
    RefitRow, REFIT_COLUMNS;
    /// The piece.
    specimen: &'a str,
    /// Its maker.
    maker: Option<&'a str>,
    /// Its pattern.
    pattern: Option<&'a str>,
    /// `work`, `size`, `floor`, `left_alone`, `outline_left_alone`, `contradiction`, or `nothing` for a piece
    /// of which nothing was measured.
    what: &'static str,
    /// Its place in the order of work.
    step: Option<u64>,
    /// Key of the work, dimension or floor.
    key: Option<&'a str>,
    /// Key of the dimension that a work is told by.
    dimension: Option<&'a str>,
    /// The traced outline that a work straightens, or on whose side something must remain.
    feature: Option<String>,
    /// Unit of `found`, `end`, `low` and `high`.
    unit: &'a str,
    /// The size as found (of a work: before this step; of an outline: how far it is above its straight line),
    /// or what was left of a floor.
    found: Option<f64>,
    /// The size to end at (of a work: after this step).
    end: Option<f64>,
    /// What a work takes off, in mm.
    take_off_mm: Option<f64>,
    /// The same in inches.
    take_off_in: Option<f64>,
    /// The same in 64ths of an inch.
    take_off_64ths: Option<f64>,
    /// `drill`, `reamer`, `abrasive`, `file` or `blade`.
    tool: Option<&'static str>,
    /// The drill's name.
    tool_size: Option<String>,
    /// Lower limit of good pieces, or the least that must remain.
    low: Option<f64>,
    /// Upper limit of good pieces.
    high: Option<f64>,
    /// Probability of lying within these limits as found.
    probability_found: Option<f64>,
    /// Probability of lying within them in the end.
    probability: Option<f64>,
    /// Why a size is left alone, in one word.
    reason: Option<&'static str>,
    /// In words: how a work is done and what to mind, why a size is left alone.
    note: String,
}

impl<'a> RefitRow<'a> {
    /// One work, `step` of the plan.
    fn of_step(of: &Self, step: &'a Step, at: usize, catalogue: &'a Catalogue) -> Self {
        let mind = step.work.precautions.iter().map(|p| p.label.as_str());
        RefitRow {
            what: "work",
            step: Some(at as u64),
            key: Some(&step.work.key),
            dimension: step.dimension.map(|at| &*catalogue.at(at).key),
            feature: step.outline.as_ref().map(ToString::to_string),
            unit: "mm",
            found: Some(step.from),
            end: Some(step.to),
            take_off_mm: Some(step.amount),
            take_off_in: Some(inches(step.amount)),
            take_off_64ths: Some(64.0 * inches(step.amount)),
            tool: Some(step.work.tool.name()),
            tool_size: step.drill.as_ref().map(|drill| drill.name()),
            note: format!(
                "{}. Mind: {}",
                step.work.how,
                mind.collect::<Vec<&str>>().join(", ")
            ),
            ..of.clone()
        }
    }

    fn of_size(of: &Self, size: &SizePlan, catalogue: &'a Catalogue) -> Self {
        let dimension = catalogue.at(size.dimension);
        RefitRow {
            what: "size",
            key: Some(&dimension.key),
            dimension: Some(&dimension.key),
            unit: &dimension.unit,
            found: Some(size.found),
            end: Some(size.left),
            low: size.good.and_then(|good| limit(good.low)),
            high: size.good.and_then(|good| limit(good.high)),
            probability_found: size.probability_found,
            probability: size.probability,
            ..of.clone()
        }
    }

    fn of_floor(of: &Self, floor: &'a FloorLeft) -> Self {
        RefitRow {
            what: "floor",
            key: Some(&floor.floor.key),
            feature: floor.side.as_ref().map(ToString::to_string),
            unit: "mm",
            found: Some(floor.found),
            end: Some(floor.left),
            low: Some(floor.floor.least),
            probability: Some(floor.probability),
            note: floor.floor.source.clone(),
            ..of.clone()
        }
    }

    fn of_left(of: &Self, left: &LeftAlone, catalogue: &'a Catalogue) -> Self {
        let dimension = catalogue.at(left.dimension);
        RefitRow {
            what: "left_alone",
            key: Some(&dimension.key),
            dimension: Some(&dimension.key),
            unit: &dimension.unit,
            found: Some(left.found),
            low: left.good.and_then(|good| limit(good.low)),
            high: left.good.and_then(|good| limit(good.high)),
            reason: Some(left.reason.name()),
            note: left.reason.to_string(),
            ..of.clone()
        }
    }

    fn of_outline(of: &Self, outline: &'a OutlineStock) -> Option<Self> {
        let reason = outline
            .reason
            .as_ref()
            .filter(|_| outline.is_left_alone())?;
        Some(RefitRow {
            what: "outline_left_alone",
            feature: Some(outline.feature.to_string()),
            unit: "mm",
            reason: Some(reason.name()),
            note: reason.to_string(),
            ..of.clone()
        })
    }

    fn of_contradiction(of: &Self, contradiction: &Contradiction) -> Self {
        RefitRow {
            what: "contradiction",
            unit: "mm",
            note: contradiction.to_string(),
            ..of.clone()
        }
    }
}

/// All lines of some plans: works, then sizes, what remains, what is left alone (sizes, outlines),
/// readings that contradict each other. `catalogue` is that of the pieces' table.
pub fn refit_rows<'a>(
    plans: &'a [Refit],
    catalogue: &'a Catalogue,
) -> impl Iterator<Item = RefitRow<'a>> {
    plans.iter().flat_map(move |plan| {
        let of = RefitRow {
            specimen: &plan.check.specimen,
            maker: named(&plan.check.maker),
            pattern: named(&plan.check.pattern),
            what: "nothing",
            unit: "",
            ..RefitRow::default()
        };
        let mut rows = Vec::new();
        for (at, step) in plan.steps.iter().enumerate() {
            rows.push(RefitRow::of_step(&of, step, at + 1, catalogue));
        }
        let sizes = plan.sizes.iter();
        rows.extend(sizes.map(|size| RefitRow::of_size(&of, size, catalogue)));
        rows.extend(plan.floors.iter().map(|f| RefitRow::of_floor(&of, f)));
        let left = plan.left_alone.iter();
        rows.extend(left.map(|left| RefitRow::of_left(&of, left, catalogue)));
        let outlines = plan.outlines.iter();
        rows.extend(outlines.filter_map(|o| RefitRow::of_outline(&of, o)));
        let contradictions = plan.contradictions.iter();
        rows.extend(contradictions.map(|c| RefitRow::of_contradiction(&of, c)));
        if rows.is_empty() {
            rows.push(of);
        }
        rows
    })
}

row! {
    /// One dimension of a piece before and after some proposed sizes.
    WhatIfRow, WHAT_IF_COLUMNS;
    /// The piece.
    specimen: &'a str,
    /// Its maker.
    maker: Option<&'a str>,
    /// Its pattern.
    pattern: Option<&'a str>,
    /// Key of the dimension.
    dimension: &'a str,
    /// Its unit.
    unit: &'a str,
    /// Whether its size was proposed, else it follows.
    proposed: bool,
    /// Whether taking off leads there: `taking_off`, `as_it_is`, `adding`, `no_work`, `not_together`,
    /// `unknown`; nothing for what was not proposed.
    reach: Option<&'static str>,
    /// The size before; missing where it was not measured.
    before: Option<f64>,
    /// The size after.
    after: f64,
    /// Score before.
    score_before: Option<f64>,
    /// Score after.
    score_after: Option<f64>,
    /// Verdict before.
    verdict_before: Option<&'static str>,
    /// Verdict after.
    verdict_after: &'static str,
    /// Lower limit of good pieces, readings without error.
    low: Option<f64>,
    /// Its upper limit.
    high: Option<f64>,
}

/// All dimensions of some pieces before and after; `catalogue` is that of the pieces' table.
pub fn what_if_rows<'a>(
    all: &'a [WhatIf],
    catalogue: &'a Catalogue,
) -> impl Iterator<Item = WhatIfRow<'a>> {
    all.iter().flat_map(move |what_if| {
        what_if.after.dimensions.iter().map(move |after| {
            let dimension = catalogue.at(after.dimension);
            let before = what_if.before.dimensions.iter();
            let before = before.clone().find(|b| b.dimension == after.dimension);
            let proposals = what_if.proposals.iter();
            let proposal = proposals
                .filter(|(p, _)| p.dimension == after.dimension)
                .map(|(_, reach)| reach.name())
                .next();
            let good = after.judged.map(|j| j.good_sizes);
            let good = good.filter(|g| g.low.is_finite() && g.high.is_finite());
            WhatIfRow {
                specimen: &what_if.before.specimen,
                maker: named(&what_if.before.maker),
                pattern: named(&what_if.before.pattern),
                dimension: &dimension.key,
                unit: &dimension.unit,
                proposed: proposal.is_some(),
                reach: proposal,
                before: before.map(|b| b.value),
                after: after.value,
                score_before: before.and_then(|b| b.judged).map(|j| j.score),
                score_after: after.judged.map(|j| j.score),
                verdict_before: before.map(|b| b.verdict.name()),
                verdict_after: after.verdict.name(),
                low: good.map(|g| g.low),
                high: good.map(|g| g.high),
            }
        })
    })
}
