//! As found, as planned, as left: each size that moves on one scale, and the works that move it.

use maud::{Markup, html};

use super::document::{id_of, picture, wide};
use super::scale::{Scale, label, points, px};
use super::specimen::Left;
use crate::catalogue::Catalogue;
use crate::refit::{Refit, SizePlan};
use crate::words::{band, shown, sized, work_words};

const WIDTH: f64 = 420.0;
const HEIGHT: f64 = 50.0;
const SIDE: f64 = 10.0;
const LINE: f64 = 20.0;
const GRAIN: f64 = 0.01;

/// The plan and what became of it; nothing where no work is advised, none was done and nothing is left alone.
pub(super) fn works(
    plan: &Refit,
    left: Option<&Left<'_>>,
    catalogue: &Catalogue,
) -> Option<Markup> {
    let as_left = |size: &SizePlan| {
        left.and_then(|left| left.of(size.dimension, catalogue))
            .filter(|v| *v != size.found)
    };
    let sizes: Vec<&SizePlan> = (plan.sizes.iter())
        .filter(|size| size.moves() || size.corrected || as_left(size).is_some())
        .collect();
    let crooked: Vec<_> = plan.outlines.iter().filter(|o| o.is_left_alone()).collect();
    if sizes.is_empty() && plan.steps.is_empty() && plan.left_alone.is_empty() && crooked.is_empty()
    {
        return None;
    }
    // Of a piece that nothing was done to there is nothing to tell.
    let shows_left = sizes.iter().any(|size| as_left(size).is_some());
    let label = |dimension: usize| catalogue.at(dimension).label.as_str();
    Some(html! {
        section {
            h2 { "What can be put right" }
            @if plan.steps.is_empty() {
                p { "Nothing is advised to be taken off." }
            } @else {
                p { "Only ever by taking material off, the least that does it. In the order of work:" }
                ol class="steps" {
                    @for step in &plan.steps {
                        li {
                            strong { (step.work.label) } ": "
                            @match step.dimension {
                                Some(dimension) => {
                                    (label(dimension)) " from " (format!("{:.2}", step.from)) " to " (format!("{:.2}", step.to)) " mm"
                                }
                                None => { "take the line down to straight" }
                            }
                            ", " (format!("{:.2}", step.amount)) " mm off ("
                            (match &step.drill { Some(drill) => drill.name(), None => step.work.tool.name().to_owned() }) "): "
                            (shown(&work_words(step, plan, catalogue))) "."
                        }
                    }
                }
            }
            @if !sizes.is_empty() {
                (wide("Sizes as found and as planned", &html! {
                table {
                    caption { "As found, as planned" @if shows_left { ", as left" } }
                    thead {
                        tr {
                            th scope="col" { "size" } th scope="col" class="number" { "found" }
                            th scope="col" class="number" { "planned" }
                            @if shows_left { th scope="col" class="number" { "left" } }
                            th scope="col" { "good pieces" }
                            th scope="col" { "ring: found, diamond: planned" @if shows_left { ", square: left" } }
                        }
                    }
                    tbody {
                        @for size in &sizes {
                            tr {
                                th scope="row" { (label(size.dimension)) ", " (catalogue.at(size.dimension).unit) }
                                td class="number" { (sized(size.found, GRAIN)) }
                                td class="number" { (sized(size.left, GRAIN)) }
                                @if shows_left {
                                    td class="number" { (as_left(size).map_or("as found".to_owned(), |v| sized(v, GRAIN))) }
                                }
                                td { (size.good.map_or("undecided".to_owned(), |good| band(good.low, good.high, GRAIN))) }
                                td { (drawn(size, as_left(size), catalogue)) }
                            }
                        }
                    }
                }
                }))
            }
            @if !plan.floors.is_empty() && !plan.steps.is_empty() {
                @let touched: Vec<usize> = plan.steps.iter().flat_map(|s| s.floors.clone()).collect();
                ul class="small" {
                    @for (at, floor) in plan.floors.iter().enumerate() {
                        @if touched.contains(&at) {
                            li {
                                (floor.floor.label)
                                @if let Some(side) = &floor.side { ", " (side.words()) }
                                ": " (format!("{:.2}", floor.found)) " mm as found, " (format!("{:.2}", floor.left))
                                " mm in the end; " (floor.floor.least) " mm must remain"
                            }
                        }
                    }
                }
            }
            @if !plan.left_alone.is_empty() || !crooked.is_empty() {
                h3 { "Left alone" }
                ul {
                    @for left in &plan.left_alone {
                        li { (label(left.dimension)) ": " (shown(&left.reason.to_string())) }
                    }
                    @for outline in &crooked {
                        li {
                            "outline of the " (outline.feature.words()) ": "
                            (outline.reason.as_ref().map(|r| shown(&r.to_string())).unwrap_or_default())
                        }
                    }
                }
            }
            @if !plan.precautions.is_empty() {
                h3 { "Mind" }
                ul class="mind" {
                    @for precaution in &plan.precautions {
                        li { strong { (precaution.label) } ": " (precaution.text) " [" (precaution.source) "]" }
                    }
                }
            }
            p class="small" {
                "Advice from a few readings and rules of thumb, not from this piece of wood. The safety rules of the "
                "place where you work and the judgement of a licensed or experienced hand come first."
            }
        }
    })
}

fn drawn(size: &SizePlan, as_left: Option<f64>, catalogue: &Catalogue) -> Markup {
    let dimension = catalogue.at(size.dimension);
    let ends = size.good.iter().flat_map(|g| [g.low, g.high]);
    let all = ends.chain([size.found, size.left]).chain(as_left);
    let x = Scale::over(all, SIDE, WIDTH - SIDE);
    let (found, planned) = (x.at(size.found), x.at(size.left));
    let d = 5.0;
    let (ticks, decimals) = x.ticks(5);
    let drawn = html! {
        g data-low=(x.low) data-high=(x.high) data-from=(px(x.from)) data-to=(px(x.to)) {
            @if let Some(good) = size.good {
                rect class="typical" x=(px(x.at(good.low))) width=(px(x.at(good.high) - x.at(good.low))) y="6" height="28" {}
            }
            line class="axis" x1=(px(SIDE)) x2=(px(WIDTH - SIDE)) y1="34" y2="34" {}
            @for tick in ticks {
                text class="tick" x=(px(x.at(tick))) y="47" { (label(tick, decimals)) }
            }
            line class="stalk" x1=(px(found)) x2=(px(planned)) y1=(px(LINE)) y2=(px(LINE)) {}
            circle class="found" cx=(px(found)) cy=(px(LINE)) r=(px(d)) data-value=(size.found) {}
            polygon class="planned" data-value=(size.left) points=(points([
                (planned - d, LINE), (planned, LINE - 1.3 * d), (planned + d, LINE), (planned, LINE + 1.3 * d),
            ])) {}
            @if let Some(value) = as_left {
                rect class="left" x=(px(x.at(value) - 4.0)) y=(px(LINE - 4.0)) width="8" height="8" data-value=(value) {}
            }
        }
    };
    let told = format!(
        "Found {}, planned {}{} {}.",
        sized(size.found, GRAIN),
        sized(size.left, GRAIN),
        as_left.map_or(String::new(), |v| format!(", left {}", sized(v, GRAIN))),
        dimension.unit
    );
    let id = format!("work-{}-{}", id_of(&dimension.key), size.dimension);
    picture(
        &id,
        &format!("{} before and after", dimension.label),
        &told,
        (WIDTH, HEIGHT),
        &drawn,
    )
}
