//! Who is off, and whether the rest agree.
//!
//! One measurer who reads high makes all others read low against the mean of the others. So the one
//! who stands out most is taken out and the rest are compared again, one after the other, as long as
//! somebody is off beyond chance, fewer are out than are left, and at least two are left.

use std::collections::HashSet;

use super::repeats::{Repeat, Repeats};
use super::study::{Bias, Crossing, Factor, OfRest, Scope};
use crate::table::Table;

/// More are not taken out: each time all is worked out anew.
const MOST: usize = 20;

/// Fills in [`Bias::taken_out`] and [`Bias::of_rest`]. The p of later comparisons are multiplied by
/// the number of `comparisons` of the table (Bonferroni): never less careful than the first ones.
pub(super) fn take_out(
    table: &Table,
    repeats: &Repeats,
    biases: &mut [Bias],
    comparisons: usize,
    confidence: f64,
) {
    let same = |a: &Bias, b: &Bias| a.factor == b.factor && a.reach == b.reach;
    for of_scope in biases.chunk_by_mut(same) {
        let clear = |of: &Bias| of.p_adjusted.is_some_and(|p| p < 1.0 - confidence);
        if of_scope.len() < 3 || !of_scope.iter().any(clear) {
            continue;
        }
        let scope = Scope {
            reach: of_scope[0].reach,
            instrument: None,
        };
        let readings = repeats.of(table, &scope);
        let compared = |levels: &HashSet<&str>| {
            let again = compare(repeats, &readings, &of_scope[0], levels, confidence);
            let adjusted = |p: f64| (p * comparisons as f64).min(1.0);
            let with = |bias: Bias| Bias {
                p_adjusted: bias.p.map(adjusted),
                ..bias
            };
            again.into_iter().map(with).collect::<Vec<Bias>>()
        };
        let mut rest: Vec<Bias> = of_scope.to_vec();
        let mut out: Vec<Bias> = Vec::new();
        while out.len() < MOST && 2 * (out.len() + 1) < of_scope.len() {
            let most = rest.iter().filter(|of| clear(of));
            let most = most.max_by(|a, b| outstanding(a).total_cmp(&outstanding(b)));
            let Some(most) = most.cloned() else { break };
            let mut left: HashSet<&str> = rest.iter().map(|of| &*of.name).collect();
            left.remove(&*most.name);
            let left = compared(&left);
            if left.len() < 2 {
                break;
            }
            out.push(most);
            rest = left;
        }
        if out.is_empty() {
            continue;
        }
        // What each is off those who are left, and not off others who are off.
        let against: Vec<Bias> = out
            .iter()
            .map(|taken| {
                let of_rest = rest.iter().chain([taken]);
                let again = compared(&of_rest.map(|of| &*of.name).collect());
                let of = again.into_iter().find(|of| of.name == taken.name);
                of.unwrap_or_else(|| taken.clone())
            })
            .collect();
        for bias in of_scope {
            bias.taken_out = out.iter().position(|of| of.name == bias.name);
            let of = against.iter().chain(&rest);
            let of = of.into_iter().find(|of| of.name == bias.name);
            bias.of_rest = of.map(|of| OfRest {
                bias: of.bias,
                low: of.low,
                high: of.high,
                p_adjusted: of.p_adjusted,
            });
        }
    }
}

/// How far it stands out: by its half-width, as Student's t has it.
fn outstanding(of: &Bias) -> f64 {
    of.bias.abs() / (of.high - of.low)
}

/// The biases among some levels of a factor alone; nothing where they cannot be told.
fn compare(
    repeats: &Repeats,
    readings: &[Repeat],
    like: &Bias,
    wanted: &HashSet<&str>,
    confidence: f64,
) -> Vec<Bias> {
    let factor = like.factor;
    let level = |r: &Repeat| match factor {
        Factor::Measurer => r.measurer,
        Factor::Instrument => r.instrument,
    };
    let fits = |r: &&Repeat| wanted.contains(repeats.name(factor, level(r)));
    let chosen: Vec<Repeat> = readings.iter().filter(fits).copied().collect();
    let again = Crossing::new(&chosen, factor).biases(confidence, |number| Bias {
        name: repeats.name(factor, number).to_owned(),
        ..like.clone()
    });
    // What cannot be compared tells nothing; the first comparison said so if anything was amiss.
    again.unwrap_or_default()
}
