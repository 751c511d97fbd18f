//! The works of a plan in words.

use crate::catalogue::{Catalogue, Tool};
use crate::notation::Quantity;
use crate::refit::{Refit, Step};

use super::{shown, signed};

/// How one work of a plan is done, what for, what moves with it and what to mind.
pub fn work_words(step: &Step, plan: &Refit, catalogue: &Catalogue) -> String {
    let mut text = step.work.how.clone();
    // The name of a metric one says so already.
    let in_mm = |name: &str| name.ends_with(" mm");
    if step.work.tool == Tool::Drill
        && let Some(drill) = step.drill.as_ref().filter(|drill| !in_mm(&drill.name()))
    {
        text.push_str(&format!("; {} is {:.3} mm", drill.name(), drill.mm()));
    }
    let mut moves: Vec<String> = (step.moves.iter())
        .filter_map(|&(dimension, from, to)| {
            let dimension = catalogue.at(dimension);
            // What would be printed as 0 says nothing.
            let (spread, least) = match dimension.quantity {
                Quantity::Mass => (1.0, 0.05),
                _ => (0.01, 0.005),
            };
            let moved = signed(to - from, spread);
            let seen = (to - from).abs() >= least;
            seen.then(|| format!("{} {moved} {}", dimension.label, dimension.unit))
        })
        .collect();
    let unseen = step.unseen.iter();
    moves
        .extend(unseen.map(|(label, mm)| {
            format!("{} {} mm (not measured)", shown(label), signed(*mm, 0.01))
        }));
    let told_by_right = step.dimension.is_some_and(|dimension| {
        let mut sizes = plan.sizes.iter();
        sizes.any(|size| size.dimension == dimension && size.corrected)
    });
    if !told_by_right && !step.serves.is_empty() {
        let served: Vec<&str> = step
            .serves
            .iter()
            .map(|&at| catalogue.at(at).label.as_str())
            .collect();
        text.push_str(&format!(". Done for: {}", served.join(", ")));
    }
    if !moves.is_empty() {
        text.push_str(&format!(". Moves with it: {}", moves.join(", ")));
    }
    let floors = step.floors.iter().map(|&floor| &plan.floors[floor]);
    let mut thinner: Vec<String> = Vec::new();
    // On the side of a straightened outline the same has a row of its own.
    for label in floors.map(|f| shown(&f.floor.label)) {
        if !thinner.contains(&label) {
            thinner.push(label);
        }
    }
    if !thinner.is_empty() {
        text.push_str(&format!(". Gets less: {}", thinner.join(", ")));
    }
    if let Some(mm) = step.over_bore {
        text.push_str(&format!(
                ". Over the bore, taken to run in the middle of the stem as it is, {mm:.2} mm is left at least \
                 along this line, by this work alone"
            ));
    }
    let assumed = step.assumed.iter();
    let assumed: Vec<String> = assumed
        .map(|(label, mm)| format!("{} {mm:.1} mm", shown(label)))
        .collect();
    if !assumed.is_empty() {
        text.push_str(&format!(
            ". For its volume taken as usual, not measured: {}",
            assumed.join(", ")
        ));
    }
    let mind = step.work.precautions.iter().map(|p| p.label.as_str());
    let mind: Vec<&str> = mind.collect();
    if !mind.is_empty() {
        text.push_str(&format!(". Mind: {}", mind.join(", ")));
    }
    text
}
