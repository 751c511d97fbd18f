//! The finish: the piece's colour beside that of good pieces.

use maud::{Markup, html};

use super::document::picture;
use super::scale::px;
use crate::form::colour::Lab;
use crate::verdict::Finish;

const WIDTH: f64 = 420.0;
const HEIGHT: f64 = 132.0;
const PATCH: f64 = 190.0;

/// The two colours and what tells them apart.
pub(super) fn finish(of: &Finish, sentence: &str) -> Markup {
    let patch = |x: f64, lab: Lab, name: &str| {
        let [r, g, b] = lab.nearest_srgb();
        let [l, a, yellow] = lab.components();
        html! {
            rect class="patch" x=(px(x)) y="4" width=(px(PATCH)) height="84" fill=(format!("#{r:02x}{g:02x}{b:02x}"))
                data-l=(l) data-a=(a) data-b=(yellow) {}
            text class="label" x=(px(x)) y="105" { (name) }
            text class="tick start" x=(px(x)) y="122" { (format!("L* {l:.1}  a* {a:.1}  b* {yellow:.1}")) }
        }
    };
    let drawn = html! {
        (patch(4.0, of.reading, "this piece"))
        (patch(4.0 + PATCH + 22.0, of.centre, "centre of good pieces"))
    };
    html! {
        figure class="finish" {
            figcaption { (sentence) }
            (picture("finish", "The finish beside that of good pieces", sentence, (WIDTH, HEIGHT), &drawn))
            p class="small" {
                "A screen or a printer shows colours only nearly; the numbers are what was judged. "
                "What sRGB cannot show is drawn as the nearest that it can."
            }
        }
    }
}
