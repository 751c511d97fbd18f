//! How often sizes and walls end where a plan says they will.

use std::path::Path;

use calibriar::catalogue::{Tool, Workshop};
use calibriar::cohort::{Choice, Cohort};
use calibriar::norm::{Borrowing, Evidence, Settings};
use calibriar::notation::DrillSet;
use calibriar::refit::{Aim, FloorLeft, Goal, Refit, Step, refit_against};
use calibriar::source::{Request, Source, open};
use calibriar::stats::normal_upper_quantile;

use crate::common::draw::Draw;

const WORKED: usize = 200_000;

fn read(from: &str, traces: Option<&str>) -> Source {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let from = root.join(from).display().to_string();
    let traces = traces.map(|name| root.join(name));
    let request = Request {
        from: &from,
        traces_from: traces.as_deref(),
        ..Request::default()
    };
    open(&request).unwrap()
}

/// Two pieces of the invented bench, planned.
fn plans(probability: f64, goal: Goal) -> (Vec<Refit>, Source) {
    let good = read("data", None);
    let bench = read("data/bench/bench.csv", Some("data/bench/bench_traces.csv"));
    let good = Source {
        table: calibriar::traced::ready(good.table.clone()),
        ..good
    };
    let bench = Source {
        table: calibriar::traced::ready(bench.table.clone()),
        ..bench
    };
    let cohort = Cohort::new(&good.table, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
    let workshop = Workshop::new(&bench.table.catalogue, None, None).unwrap();
    let aim = Aim::new(probability, goal, DrillSet::All).unwrap();
    let plan = |row| refit_against(&evidence, &bench.table, row, &settings, &workshop, &aim);
    let plans = (0..2).map(|row| plan(row).unwrap()).collect();
    (plans, bench)
}

/// What a step does to a size when it misses by so much: a line that lies too low does so all along.
fn moved_by(step: &Step, of: &str, missed: f64) -> f64 {
    let per_mm = step.work.moves(of);
    match step.outline {
        Some(_) if per_mm != 0.0 => per_mm * step.amount + per_mm.signum() * missed,
        _ => per_mm * (step.amount + missed),
    }
}

/// What comes off the outline on whose side something must remain: all of it off the wall on that side.
fn on_its_side(plan: &Refit, floor: &FloorLeft, missed: &[f64]) -> f64 {
    let Some(side) = &floor.side else {
        return 0.0;
    };
    let mut outlines = plan.outlines.iter();
    let outline = outlines.find(|o| o.feature == *side).unwrap();
    let thins = &outline.stock.as_ref().unwrap().thins;
    let mut steps = plan.steps.iter().zip(missed);
    let done = steps.find(|(step, _)| step.outline.as_ref() == Some(side));
    let (done, missed) = done.map_or((0.0, 0.0), |(_, missed)| (1.0, *missed));
    let of_floor = |key: &String| {
        floor
            .floor
            .made_of
            .iter()
            .any(|(of, f)| of == key && *f > 0.0)
    };
    let lost = thins.iter().filter(|(key, _)| of_floor(key));
    // A line that lies too low does so all along.
    lost.map(|(_, mm)| done * mm - missed).sum()
}

/// The true sizes differ from the readings, and each work ends a little off: counted as they come, not by the
/// sheet's own sums. Binomial limits at a false-alarm rate of 1e-6 each.
#[test]
fn sizes_and_walls_end_as_often_as_the_sheet_says() {
    let (mut counted, mut sided) = (0, 0);
    let mut draw = Draw::seeded(6);
    for (probability, goal) in [(0.8, Goal::Near), (0.95, Goal::Near), (0.95, Goal::Centre)] {
        let (plans, bench) = plans(probability, goal);
        let catalogue = &bench.table.catalogue;
        for plan in &plans {
            let key = |dimension: usize| catalogue.at(dimension).key.as_str();
            let drilled = |of: &str| {
                let mut drills = plan.steps.iter().filter(|s| s.work.tool == Tool::Drill);
                drills.any(|s| s.work.of[0] == of)
            };
            let sizes: Vec<_> = plan.sizes.iter().collect();
            let mut inside = vec![0usize; sizes.len()];
            let mut enough = vec![0usize; plan.floors.len()];
            for _ in 0..WORKED {
                // By how much each work misses, then each size: reading, works, misses.
                let missed: Vec<f64> = (plan.steps.iter())
                    .map(|step| draw.normal() * step.work.uncertainty)
                    .collect();
                let ends: Vec<f64> = (sizes.iter())
                    .map(|size| {
                        let of = key(size.dimension);
                        // A hole is as wide as its drill, whatever it was read to be.
                        let read = draw.normal() * size.found_uncertainty;
                        let found = size.found + if drilled(of) { 0.0 } else { read };
                        let steps = plan.steps.iter().zip(&missed);
                        let moved = steps.map(|(step, missed)| match of {
                            "weight" => -step.weight / step.amount * (step.amount + missed),
                            _ => moved_by(step, of, *missed),
                        });
                        found + moved.sum::<f64>()
                    })
                    .collect();
                for (at, size) in sizes.iter().enumerate() {
                    let good = size.good.map(|good| good.low..=good.high);
                    inside[at] += usize::from(good.is_some_and(|good| good.contains(&ends[at])));
                }
                for (at, floor) in plan.floors.iter().enumerate() {
                    let end = |of: &str| {
                        let mut all = sizes.iter().zip(&ends);
                        *all.find(|(size, _)| key(size.dimension) == of).unwrap().1
                    };
                    // The moves of straightenings belong to the walls of their own side.
                    let straight = |of: &str| -> f64 {
                        let steps = plan.steps.iter().zip(&missed);
                        let own = steps.filter(|(step, _)| step.outline.is_some());
                        own.map(|(step, missed)| moved_by(step, of, *missed)).sum()
                    };
                    let terms = floor.floor.made_of.iter();
                    let left: f64 = terms.map(|(of, f)| f * (end(of) - straight(of))).sum();
                    let left = left + on_its_side(plan, floor, &missed);
                    enough[at] += usize::from(left >= floor.floor.least);
                }
            }
            let agrees = |count: usize, p: f64, what: &str| {
                let n = WORKED as f64;
                let spread = (n * p * (1.0 - p)).sqrt().max(1.0);
                let chance = normal_upper_quantile(5e-7) * spread + 1.0;
                let off = (count as f64 - n * p).abs();
                assert!(off <= chance, "{what}: {count} of {n}, {p} said");
            };
            for (size, count) in sizes.iter().zip(inside) {
                let Some(p) = size.probability else { continue };
                agrees(count, p, key(size.dimension));
                counted += usize::from(size.corrected);
            }
            for (floor, count) in plan.floors.iter().zip(enough) {
                agrees(count, floor.probability, &floor.floor.key);
                sided += usize::from(floor.side.is_some());
            }
        }
    }
    // Five sizes of the first and four of the second piece are put right each time.
    assert!(counted >= 24, "{counted}");
    // The wall and the bit of three straightened outlines of the first.
    assert!(sided >= 9, "{sided}");
}
