//! Size against shape: what the piece is as a whole, and what each dimension is besides.

use maud::{Markup, html};

use super::document::{broad, picture};
use super::scale::{Scale, points, px};
use crate::catalogue::Catalogue;
use crate::verdict::{Joint, Verdict};
use crate::words::{probability, signed, verdict_words};

/// Of the scale, and of the verdicts beside it.
const SCALE: f64 = 350.0;
const RIGHT: f64 = 110.0;
/// About the width of a letter of a label, and the least room for labels.
const LETTER: f64 = 7.5;
const NAMES: f64 = 150.0;
const ROW: f64 = 22.0;
const TOP: f64 = 26.0;

/// The picture on one scale of scores, size first, then shapes, the largest first.
pub(super) fn size_shape(joint: &Joint, catalogue: &Catalogue, sentences: &[String]) -> Markup {
    let mut shapes: Vec<_> = joint.shape.iter().collect();
    shapes.sort_by(|a, b| b.score.abs().total_cmp(&a.score.abs()));
    let labels = shapes
        .iter()
        .map(|s| catalogue.at(s.dimension).label.chars().count());
    let names = labels.fold(NAMES, |names, letters| {
        names.max(LETTER * letters as f64 + 20.0)
    });
    let width = names + SCALE + RIGHT;
    let all = shapes
        .iter()
        .map(|s| s.score)
        .chain([joint.size_score, -3.0, 3.0]);
    let x = Scale::over(all, names, width - RIGHT);
    let height = TOP + ROW * (shapes.len() as f64 + 1.5) + 24.0;
    let bottom = height - 24.0;
    let row = |at: f64, label: &str, score: f64, p: f64, verdict: Verdict, class: &str| {
        let y = TOP + ROW * (at + 0.5);
        let (zero, place) = (x.at(0.0), x.at(score));
        let d = 5.0;
        let mark = match class {
            "size" => points([
                (place - d, y - d),
                (place + d, y - d),
                (place + d, y + d),
                (place - d, y + d),
            ]),
            _ => points([
                (place, y - 1.3 * d),
                (place + 1.3 * d, y),
                (place, y + 1.3 * d),
                (place - 1.3 * d, y),
            ]),
        };
        html! {
            text class="label end" x=(px(names - 10.0)) y=(px(y + 4.0)) { (label) }
            line class="stalk" x1=(px(zero)) x2=(px(place)) y1=(px(y)) y2=(px(y)) {}
            polygon class=(format!("score {class} {}", verdict.name())) points=(mark) data-value=(score) data-x=(px(place)) {
                title { (label) ": score " (signed(score, 1.0)) ", p " (probability(p)) }
            }
            text class=(if verdict == Verdict::OutOfNorm { "called start" } else { "tick start" })
                x=(px(width - RIGHT + 8.0)) y=(px(y + 4.0)) { (verdict_words(verdict)) }
        }
    };
    let (ticks, decimals) = x.ticks(7);
    let drawn = html! {
        text class="tick start" x=(px(names)) y="14" { "score: steps of the usual spread, small to large" }
        @for tick in ticks {
            line class="grid" x1=(px(x.at(tick))) x2=(px(x.at(tick))) y1=(px(TOP)) y2=(px(bottom)) {}
            text class="tick" x=(px(x.at(tick))) y=(px(bottom + 15.0)) { (if tick == 0.0 { "0".to_owned() } else { format!("{tick:+.decimals$}") }) }
        }
        line class="axis" x1=(px(x.at(0.0))) x2=(px(x.at(0.0))) y1=(px(TOP)) y2=(px(bottom)) {}
        g data-low=(x.low) data-high=(x.high) data-from=(px(x.from)) data-to=(px(x.to)) {
            (row(0.0, "size, all together", joint.size_score, joint.size_p, joint.size_verdict, "size"))
            @for (at, shape) in shapes.iter().enumerate() {
                (row(at as f64 + 1.5, &catalogue.at(shape.dimension).label, shape.score, shape.p_adjusted, shape.verdict, "shape"))
            }
        }
    };
    html! {
        @for sentence in sentences { p { (sentence) } }
        figure {
            figcaption { "Square: the piece's size. Diamonds: what each dimension is besides that size." }
            (broad("Size against shape", &picture(
                "size-shape", "Size against shape", &sentences.join(". "), (width, height), &drawn,
            )))
        }
    }
}
