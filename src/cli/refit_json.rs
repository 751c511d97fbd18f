//! Plans and proposals as JSON: the names that scripts rely on.

use calibriar::catalogue::{Catalogue, Precaution, Work};
use calibriar::notation::inches;
use calibriar::refit::outline::OutlineStock;
use calibriar::refit::{
    Aim, Contradiction, FloorLeft, Goal, LeftAlone, Obstacle, Reason, Refit, SizePlan, Step, WhatIf,
};
use calibriar::report::what_if_rows;
use calibriar::source::Provenance;
use serde::Serialize;
use serde_json::{Value, json};

use super::refit_outlines::remarks;

/// The whole answer of `refit`.
#[derive(Serialize)]
pub(super) struct RefitsOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) aim: AimOut,
    pub(super) plans: Vec<RefitOut<'a>>,
}

/// What a plan aims at.
#[derive(Serialize)]
pub(super) struct AimOut {
    probability: f64,
    to: &'static str,
    drills: &'static str,
}

impl AimOut {
    pub(super) fn new(aim: &Aim, drills: &'static str) -> AimOut {
        AimOut {
            probability: aim.probability(),
            to: match aim.goal {
                Goal::Near => "near",
                Goal::Centre => "centre",
            },
            drills,
        }
    }
}

/// The plan for one piece.
#[derive(Serialize)]
pub(super) struct RefitOut<'a> {
    specimen: &'a str,
    maker: Option<&'a str>,
    pattern: Option<&'a str>,
    verdict: &'static str,
    steps: Vec<StepOut<'a>>,
    sizes: Vec<SizeOut<'a>>,
    floors: Vec<FloorOut<'a>>,
    outlines: Vec<OutlineOut>,
    left_alone: Vec<LeftAloneOut<'a>>,
    contradictions: Vec<ContradictionOut<'a>>,
    precautions: Vec<PrecautionOut<'a>>,
}

fn named(name: &str) -> Option<&str> {
    Some(name).filter(|name| !name.is_empty())
}

impl<'a> RefitOut<'a> {
    pub(super) fn new(plan: &'a Refit, catalogue: &'a Catalogue) -> RefitOut<'a> {
        let step = |(at, step): (usize, &'a Step)| StepOut::new(at + 1, step, plan, catalogue);
        let left = plan.left_alone.iter();
        RefitOut {
            specimen: &plan.check.specimen,
            maker: named(&plan.check.maker),
            pattern: named(&plan.check.pattern),
            verdict: plan.check.verdict.name(),
            steps: plan.steps.iter().enumerate().map(step).collect(),
            sizes: (plan.sizes.iter())
                .map(|size| SizeOut::new(size, catalogue))
                .collect(),
            floors: plan.floors.iter().map(FloorOut::new).collect(),
            outlines: plan.outlines.iter().map(OutlineOut::new).collect(),
            left_alone: left.map(|l| LeftAloneOut::new(l, catalogue)).collect(),
            contradictions: (plan.contradictions.iter())
                .map(ContradictionOut::new)
                .collect(),
            precautions: plan.precautions.iter().map(PrecautionOut::new).collect(),
        }
    }
}

/// One work.
#[derive(Serialize)]
struct StepOut<'a> {
    step: usize,
    work: &'a str,
    label: &'a str,
    how: &'a str,
    material: &'static str,
    tool: &'static str,
    drill: Option<DrillOut>,
    dimension: Option<&'a str>,
    /// The outline that is straightened; `from` and `to` are then heights above its straight line.
    feature: Option<String>,
    from: f64,
    to: f64,
    take_off_mm: f64,
    take_off_in: f64,
    take_off_64ths: f64,
    uncertainty: f64,
    volume_mm3: f64,
    weight_g: f64,
    moves: Vec<MoveOut<'a>>,
    /// What it moves besides and nobody measured: name and change, in mm.
    moves_unmeasured: Vec<AmountOut<'a>>,
    /// Sizes that the volume is made of and nobody measured: name and what was taken, in mm.
    taken_for_volume: Vec<AmountOut<'a>>,
    /// What must remain and gets less by it, each once.
    floors: Vec<&'a str>,
    /// Sizes that are put right and that it moves besides.
    serves: Vec<&'a str>,
    /// What is left over the bore along a straightened line where it is least, by this work alone, in mm.
    over_bore: Option<f64>,
    precautions: Vec<&'a str>,
    source: &'a str,
}

#[derive(Serialize)]
struct DrillOut {
    name: String,
    mm: f64,
}

#[derive(Serialize)]
struct MoveOut<'a> {
    dimension: &'a str,
    unit: &'a str,
    from: f64,
    to: f64,
}

#[derive(Serialize)]
struct AmountOut<'a> {
    dimension: &'a str,
    mm: f64,
}

impl<'a> StepOut<'a> {
    fn new(at: usize, step: &'a Step, plan: &'a Refit, catalogue: &'a Catalogue) -> StepOut<'a> {
        let moved = |&(dimension, from, to): &(usize, f64, f64)| MoveOut {
            dimension: &catalogue.at(dimension).key,
            unit: &catalogue.at(dimension).unit,
            from,
            to,
        };
        let amount = |(dimension, mm): &'a (String, f64)| AmountOut { dimension, mm: *mm };
        let mut floors: Vec<&str> = Vec::new();
        for &at in &step.floors {
            let key = plan.floors[at].floor.key.as_str();
            if !floors.contains(&key) {
                floors.push(key);
            }
        }
        let work = &step.work;
        StepOut {
            step: at,
            work: &work.key,
            label: &work.label,
            how: &work.how,
            material: work.material.name(),
            tool: work.tool.name(),
            drill: step.drill.as_ref().map(|drill| DrillOut {
                name: drill.name(),
                mm: drill.mm(),
            }),
            dimension: step.dimension.map(|at| &*catalogue.at(at).key),
            feature: step.outline.as_ref().map(ToString::to_string),
            from: step.from,
            to: step.to,
            take_off_mm: step.amount,
            take_off_in: inches(step.amount),
            take_off_64ths: 64.0 * inches(step.amount),
            uncertainty: work.uncertainty,
            volume_mm3: step.volume,
            weight_g: step.weight,
            moves: step.moves.iter().map(moved).collect(),
            moves_unmeasured: step.unseen.iter().map(amount).collect(),
            taken_for_volume: step.assumed.iter().map(amount).collect(),
            floors,
            serves: (step.serves.iter())
                .map(|&served| catalogue.at(served).key.as_str())
                .collect(),
            over_bore: step.over_bore,
            precautions: work.precautions.iter().map(|p| p.key.as_str()).collect(),
            source: &work.source,
        }
    }
}

/// One size before and after.
#[derive(Serialize)]
struct SizeOut<'a> {
    dimension: &'a str,
    unit: &'a str,
    state: &'static str,
    verdict: &'static str,
    found: f64,
    found_uncertainty: f64,
    end: f64,
    end_uncertainty: f64,
    low: Option<f64>,
    high: Option<f64>,
    probability_found: Option<f64>,
    probability: Option<f64>,
    corrected: bool,
}

impl<'a> SizeOut<'a> {
    fn new(size: &SizePlan, catalogue: &'a Catalogue) -> SizeOut<'a> {
        let dimension = catalogue.at(size.dimension);
        SizeOut {
            dimension: &dimension.key,
            unit: &dimension.unit,
            state: size.state.name(),
            verdict: size.verdict.name(),
            found: size.found,
            found_uncertainty: size.found_uncertainty,
            end: size.left,
            end_uncertainty: size.left_uncertainty,
            low: size.good.map(|good| good.low),
            high: size.good.map(|good| good.high),
            probability_found: size.probability_found,
            probability: size.probability,
            corrected: size.corrected,
        }
    }
}

/// Something that must remain.
#[derive(Serialize)]
pub(super) struct FloorOut<'a> {
    floor: &'a str,
    label: &'a str,
    /// The straightened outline on whose side it is.
    feature: Option<String>,
    of: &'static str,
    found: f64,
    left: f64,
    least: f64,
    probability: f64,
    source: &'a str,
}

impl<'a> FloorOut<'a> {
    pub(super) fn new(left: &'a FloorLeft) -> FloorOut<'a> {
        let floor = &left.floor;
        FloorOut {
            floor: &floor.key,
            label: &floor.label,
            feature: left.side.as_ref().map(ToString::to_string),
            of: floor.of.name(),
            found: left.found,
            left: left.left,
            least: floor.least,
            probability: left.probability,
            source: &floor.source,
        }
    }
}

/// A traced outline and the straight line under it.
#[derive(Serialize)]
pub(super) struct OutlineOut {
    feature: String,
    verdict: Option<&'static str>,
    advised: bool,
    reason: Option<&'static str>,
    words: Option<String>,
    slope: Option<f64>,
    intercept: Option<f64>,
    most_mm: Option<f64>,
    most_at: Option<f64>,
    area_mm2: Option<f64>,
    volume_mm3: Option<f64>,
    weight_g: Option<f64>,
    remarks: Vec<String>,
}

impl OutlineOut {
    pub(super) fn new(outline: &OutlineStock) -> OutlineOut {
        let work = outline.stock.as_ref().ok();
        let error = outline.stock.as_ref().err().map(ToString::to_string);
        OutlineOut {
            feature: outline.feature.to_string(),
            verdict: outline.verdict.map(|v| v.name()),
            advised: outline.is_advised(),
            reason: outline.reason.as_ref().map(|r| r.name()),
            words: outline.reason.as_ref().map(ToString::to_string).or(error),
            slope: work.map(|w| w.stock.slope),
            intercept: work.map(|w| w.stock.intercept),
            most_mm: work.map(|w| w.stock.deepest().1),
            most_at: work.map(|w| w.stock.deepest().0),
            area_mm2: work.map(|w| w.stock.area),
            volume_mm3: work.map(|w| w.volume),
            weight_g: work.map(|w| w.weight),
            remarks: remarks(outline),
        }
    }
}

/// A size that is left alone.
#[derive(Serialize)]
struct LeftAloneOut<'a> {
    dimension: &'a str,
    unit: &'a str,
    found: f64,
    low: Option<f64>,
    high: Option<f64>,
    reason: &'static str,
    words: String,
    /// What the reason names: floors and sizes in the way, dimensions to be measured first.
    details: Vec<Value>,
}

impl<'a> LeftAloneOut<'a> {
    fn new(left: &'a LeftAlone, catalogue: &'a Catalogue) -> LeftAloneOut<'a> {
        let dimension = catalogue.at(left.dimension);
        LeftAloneOut {
            dimension: &dimension.key,
            unit: &dimension.unit,
            found: left.found,
            low: left.good.map(|good| good.low),
            high: left.good.map(|good| good.high),
            reason: left.reason.name(),
            words: left.reason.to_string(),
            details: details(&left.reason),
        }
    }
}

fn details(reason: &Reason) -> Vec<Value> {
    match reason {
        Reason::Obstacles(obstacles) => obstacles.iter().map(obstacle).collect(),
        Reason::MeasureFirst { dimensions, floor } => {
            vec![json!({ "measure": dimensions, "floor": floor })]
        }
        Reason::Earlier { dimensions } => vec![json!({ "dimensions": dimensions })],
        Reason::Doubtful { dimension } => vec![json!({ "dimension": dimension })],
        Reason::NoDrill { least, most } => vec![json!({ "least": least, "most": most })],
        Reason::TooCoarse { best, asked } => {
            vec![json!({ "probability": best, "asked": asked })]
        }
        _ => Vec::new(),
    }
}

fn obstacle(obstacle: &Obstacle) -> Value {
    match obstacle {
        Obstacle::Floor {
            key,
            left,
            least,
            probability,
            ..
        } => json!({ "floor": key, "left": left, "least": least, "probability": probability }),
        Obstacle::Size {
            key,
            becomes,
            range: (low, high),
            probability,
            ..
        } => json!({
            "dimension": key, "becomes": becomes, "low": low, "high": high, "probability": probability,
        }),
    }
}

/// Readings that cannot all be right.
#[derive(Serialize)]
struct ContradictionOut<'a> {
    dimensions: &'a [String],
    sum: f64,
    uncertainty: f64,
    words: String,
}

impl<'a> ContradictionOut<'a> {
    fn new(contradiction: &'a Contradiction) -> ContradictionOut<'a> {
        ContradictionOut {
            dimensions: &contradiction.keys,
            sum: contradiction.sum,
            uncertainty: contradiction.uncertainty,
            words: contradiction.to_string(),
        }
    }
}

/// What to mind.
#[derive(Serialize)]
pub(super) struct PrecautionOut<'a> {
    precaution: &'a str,
    label: &'a str,
    text: &'a str,
    source: &'a str,
}

impl<'a> PrecautionOut<'a> {
    pub(super) fn new(precaution: &'a Precaution) -> PrecautionOut<'a> {
        PrecautionOut {
            precaution: &precaution.key,
            label: &precaution.label,
            text: &precaution.text,
            source: &precaution.source,
        }
    }
}

/// The whole answer of `refit --what-if`.
#[derive(Serialize)]
pub(super) struct WhatIfsOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) what_if: Vec<WhatIfOut<'a>>,
}

/// One piece before and after.
#[derive(Serialize)]
pub(super) struct WhatIfOut<'a> {
    specimen: &'a str,
    maker: Option<&'a str>,
    pattern: Option<&'a str>,
    verdict_before: &'static str,
    verdict_after: &'static str,
    proposals: Vec<ProposalOut<'a>>,
    works: Vec<WorkOut<'a>>,
    refused: Vec<RefusedOut<'a>>,
    dimensions: Vec<calibriar::report::WhatIfRow<'a>>,
    floors: Vec<FloorOut<'a>>,
    contradictions: Vec<ContradictionOut<'a>>,
    precautions: Vec<PrecautionOut<'a>>,
}

#[derive(Serialize)]
struct ProposalOut<'a> {
    dimension: &'a str,
    value: f64,
    reach: &'static str,
}

/// A work that a plan would refuse.
#[derive(Serialize)]
struct RefusedOut<'a> {
    work: &'a str,
    reason: &'static str,
    words: String,
    details: Vec<Value>,
}

#[derive(Serialize)]
struct WorkOut<'a> {
    work: &'a str,
    label: &'a str,
    take_off_mm: f64,
    precautions: Vec<&'a str>,
}

impl<'a> WhatIfOut<'a> {
    pub(super) fn new(what_if: &'a WhatIf, catalogue: &'a Catalogue) -> WhatIfOut<'a> {
        let proposals = what_if.proposals.iter();
        let work = |(work, amount): &'a (Work, f64)| WorkOut {
            work: &work.key,
            label: &work.label,
            take_off_mm: *amount,
            precautions: work.precautions.iter().map(|p| p.key.as_str()).collect(),
        };
        WhatIfOut {
            specimen: &what_if.before.specimen,
            maker: named(&what_if.before.maker),
            pattern: named(&what_if.before.pattern),
            verdict_before: what_if.before.verdict.name(),
            verdict_after: what_if.after.verdict.name(),
            proposals: proposals
                .map(|(proposal, reach)| ProposalOut {
                    dimension: &catalogue.at(proposal.dimension).key,
                    value: proposal.value,
                    reach: reach.name(),
                })
                .collect(),
            works: what_if.works.iter().map(work).collect(),
            refused: (what_if.refused.iter())
                .map(|(work, reason)| RefusedOut {
                    work: &work.key,
                    reason: reason.name(),
                    words: reason.to_string(),
                    details: details(reason),
                })
                .collect(),
            dimensions: what_if_rows(std::slice::from_ref(what_if), catalogue).collect(),
            floors: what_if.floors.iter().map(FloorOut::new).collect(),
            contradictions: (what_if.contradictions.iter())
                .map(ContradictionOut::new)
                .collect(),
            precautions: what_if.precautions.iter().map(PrecautionOut::new).collect(),
        }
    }
}
