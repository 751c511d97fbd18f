//! The marks of periods: a shape and a colour each, the same in every picture.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::scale::{points, px};
use crate::words::shown;

/// How many marks there are; the seventh period has the first mark again, with its name beside it.
const KINDS: usize = 6;

/// The mark of the period at a place of the page's list, about a point; without a title where that is empty.
pub(super) fn mark(period: usize, (x, y): (f64, f64), size: f64, title: &str) -> Markup {
    let class = class(period);
    match corners(period) {
        [] => html! {
            circle class=(class) cx=(px(x)) cy=(px(y)) r=(px(size)) { (titled(title)) }
        },
        corners => {
            let around = corners
                .iter()
                .map(|(dx, dy)| (x + dx * size, y + dy * size));
            html! { polygon class=(class) points=(points(around)) { (titled(title)) } }
        }
    }
}

/// The marks of many pieces of one period as one line of which only the corners show, and their values in
/// the same order. `id` names it within the page.
pub(super) fn crowd(id: &str, period: usize, marks: &[(f64, (f64, f64))], size: f64) -> Markup {
    let mut values = String::new();
    for (value, _) in marks {
        let between = if values.is_empty() { "" } else { " " };
        // Writing to a text cannot fail.
        let _ = write!(values, "{between}{value}");
    }
    let corner = format!("url(#{id})");
    html! {
        marker id=(id) markerUnits="userSpaceOnUse" markerWidth="1" markerHeight="1" overflow="visible" {
            (mark(period, (0.0, 0.0), size, ""))
        }
        polyline fill="none" stroke="none" marker-start=(corner) marker-mid=(corner) marker-end=(corner)
            points=(points(marks.iter().map(|&(_, at)| at))) data-values=(values) {}
    }
}

fn titled(title: &str) -> Markup {
    html! { @if !title.is_empty() { title { (title) } } }
}

fn class(period: usize) -> String {
    format!("mark period-{}", period % KINDS)
}

/// The corners of the mark of a period, of size 1; none for a circle.
fn corners(period: usize) -> &'static [(f64, f64)] {
    match period % KINDS {
        0 => &[],
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
    }
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
