//! Traced outlines in the band of good ones: how far each lies off their centre.

use maud::{Markup, html};

use super::document::picture;
use super::scale::{Scale, label, points, px};
use crate::verdict::{BandStation, OutlineCheck};
use crate::words::{counted, feature_words, probability, sized, verdict_words};

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 240.0;
const LEFT: f64 = 52.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 26.0;
const BOTTOM: f64 = 38.0;
/// Digits of heights and stations.
const GRAIN: f64 = 0.5;

/// One outline: its name, its picture and what to take from it.
pub(super) fn outline(of: &OutlineCheck, sentence: &str) -> Markup {
    let name = feature_words(&of.feature);
    html! {
        figure {
            figcaption {
                strong { (name) } ": " (verdict_words(of.verdict))
                " (p adjusted " (probability(of.p_adjusted)) ", " (counted(of.n, "reference", "references")) ")"
            }
            (drawn(of, &name, sentence))
        }
    }
}

fn drawn(of: &OutlineCheck, name: &str, sentence: &str) -> Markup {
    let stations = &of.stations;
    let off = |s: &BandStation, height: f64| height - s.centre;
    let x = Scale::over(stations.iter().map(|s| s.station), LEFT, WIDTH - RIGHT);
    let heights = stations
        .iter()
        .flat_map(|s| [off(s, s.height), off(s, s.low), off(s, s.high)]);
    // Upwards is outward.
    let y = Scale::over(heights.chain([0.0]), HEIGHT - BOTTOM, TOP);
    let line = |height: fn(&BandStation) -> f64| {
        stations
            .iter()
            .map(move |s| (x.at(s.station), y.at(height(s) - s.centre)))
    };
    let band = line(|s| s.low).chain(line(|s| s.high).collect::<Vec<_>>().into_iter().rev());
    let (across, across_decimals) = x.ticks(8);
    let (up, up_decimals) = y.ticks(5);
    let picture_of = html! {
        @for tick in up {
            line class="grid" x1=(px(LEFT)) x2=(px(WIDTH - RIGHT)) y1=(px(y.at(tick))) y2=(px(y.at(tick))) {}
            text class="tick end" x=(px(LEFT - 6.0)) y=(px(y.at(tick) + 4.0)) { (label(tick, up_decimals)) }
        }
        @for tick in across {
            line class="axis" x1=(px(x.at(tick))) x2=(px(x.at(tick))) y1=(px(HEIGHT - BOTTOM)) y2=(px(HEIGHT - BOTTOM + 4.0)) {}
            text class="tick" x=(px(x.at(tick))) y=(px(HEIGHT - BOTTOM + 15.0)) { (label(tick, across_decimals)) }
        }
        line class="axis" x1=(px(LEFT)) x2=(px(WIDTH - RIGHT)) y1=(px(HEIGHT - BOTTOM)) y2=(px(HEIGHT - BOTTOM)) {}
        text class="tick" x=(px((LEFT + WIDTH - RIGHT) / 2.0)) y=(px(HEIGHT - 5.0)) { "station, mm" }
        text class="tick start" x="4" y="14" { "mm off the centre of good outlines, outward up" }
        g data-x-low=(x.low) data-x-high=(x.high) data-x-from=(px(x.from)) data-x-to=(px(x.to))
            data-y-low=(y.low) data-y-high=(y.high) data-y-from=(px(y.from)) data-y-to=(px(y.to)) {
            polygon class="typical" points=(points(band)) {}
            line class="centre" x1=(px(LEFT)) x2=(px(WIDTH - RIGHT)) y1=(px(y.at(0.0))) y2=(px(y.at(0.0))) {}
            @for excursion in &of.excursions {
                rect class="excursion" x=(px(x.at(excursion.from))) y=(px(TOP))
                    width=(px((x.at(excursion.to) - x.at(excursion.from)).max(1.0))) height=(px(HEIGHT - BOTTOM - TOP))
                    data-from=(excursion.from) data-to=(excursion.to) {}
            }
            polyline class="own" points=(points(line(|s| s.height))) {}
            @for excursion in &of.excursions {
                @let (at, level) = (x.at(excursion.at), y.at(excursion.deviation));
                circle class="peak" cx=(px(at)) cy=(px(level)) r="4" data-at=(excursion.at) data-deviation=(excursion.deviation) {}
                text class=(if at > WIDTH / 2.0 { "called end" } else { "called start" })
                    x=(px(if at > WIDTH / 2.0 { at - 8.0 } else { at + 8.0 }))
                    y=(px((level + 4.0).clamp(TOP + 8.0, HEIGHT - BOTTOM - 4.0))) {
                    (sized(excursion.deviation.abs(), GRAIN)) " mm "
                    (if excursion.deviation > 0.0 { "outward" } else { "inward" })
                    " at " (sized(excursion.at, 10.0 * GRAIN)) " mm"
                }
            }
        }
    };
    let id = format!("outline-{}", super::document::id_of(&of.feature));
    picture(
        &id,
        &format!("Outline of the {name}"),
        sentence,
        (WIDTH, HEIGHT),
        &picture_of,
    )
}
