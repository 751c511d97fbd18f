//! The marks of periods: a shape and a colour each, the same in every picture.

use maud::{Markup, html};

use super::scale::{points, px};
use crate::words::shown;

/// How many marks there are; the seventh period has the first mark again, with its name beside it.
const KINDS: usize = 6;

/// The mark of the period at a place of the page's list, about a point.
pub(super) fn mark(period: usize, (x, y): (f64, f64), size: f64, title: &str) -> Markup {
    let class = format!("mark period-{}", period % KINDS);
    let around = |corners: &[(f64, f64)]| {
        points(
            corners
                .iter()
                .map(|(dx, dy)| (x + dx * size, y + dy * size)),
        )
    };
    let corners: &[(f64, f64)] = match period % KINDS {
        0 => {
            return html! {
                circle class=(class) cx=(px(x)) cy=(px(y)) r=(px(size)) { title { (title) } }
            };
        }
        1 => &[(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)],
        2 => &[(0.0, -1.2), (1.1, 0.8), (-1.1, 0.8)],
        3 => &[(0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0)],
        4 => &[(0.0, 1.2), (1.1, -0.8), (-1.1, -0.8)],
        _ => &[
            (-0.4, -1.1),
            (0.4, -1.1),
            (0.4, -0.4),
            (1.1, -0.4),
            (1.1, 0.4),
            (0.4, 0.4),
            (0.4, 1.1),
            (-0.4, 1.1),
            (-0.4, 0.4),
            (-1.1, 0.4),
            (-1.1, -0.4),
            (-0.4, -0.4),
        ],
    };
    html! { polygon class=(class) points=(around(corners)) { title { (title) } } }
}

/// A cross through a mark: a reference that was set aside.
pub(super) fn struck((x, y): (f64, f64), size: f64) -> Markup {
    let reach = 1.5 * size;
    html! {
        path class="struck" d=(format!(
            "M{} {}L{} {}M{} {}L{} {}",
            px(x - reach), px(y - reach), px(x + reach), px(y + reach),
            px(x - reach), px(y + reach), px(x + reach), px(y - reach),
        )) {}
    }
}

/// The piece itself: a bar right through, with a head.
pub(super) fn piece(x: f64, top: f64, bottom: f64) -> Markup {
    let head = [(x - 5.0, top - 7.0), (x + 5.0, top - 7.0), (x, top)];
    html! {
        line class="piece" x1=(px(x)) y1=(px(top)) x2=(px(x)) y2=(px(bottom)) {}
        polygon class="piece-head" points=(points(head)) {}
    }
}

/// The marks and their periods, in a line.
pub(super) fn legend(periods: &[String]) -> Markup {
    html! {
        ul class="legend" {
            @for (at, period) in periods.iter().enumerate() {
                li {
                    svg viewBox="0 0 16 16" width="16" height="16" aria-hidden="true" { (mark(at, (8.0, 8.0), 5.0, period)) }
                    (shown(period))
                }
            }
        }
    }
}
