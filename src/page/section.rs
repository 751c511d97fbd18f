//! Traced sections as polar pictures, their departures from a circle drawn larger than they are.

use maud::{Markup, html};

use super::document::{id_of, picture};
use super::scale::{points, px};
use crate::catalogue::TraceKind;
use crate::form::roundness::from_polar;
use crate::table::Trace;
use crate::traced::{SectionForm, section_form};
use crate::words::{feature_words, probability};

const SIDE: f64 = 300.0;
/// Radius of the mean circle in the picture.
const RADIUS: f64 = 88.0;
/// Half the roundness in the picture.
const DEPARTURE: f64 = 34.0;

/// A section: its picture and what it shows; nothing of another trace, or of one that tells no form.
pub(super) fn section(trace: &Trace) -> Option<Markup> {
    if trace.feature.feature.kind != TraceKind::Section {
        return None;
    }
    let form = section_form(trace).ok()?;
    let name = feature_words(&trace.feature.to_string());
    let (roundness, uncertainty) = form.roundness();
    let sides = form.lobes.as_ref().and_then(|lobes| {
        let sides = lobes.sides?;
        lobes.orders.iter().find(|lobe| lobe.order == sides)
    });
    let words = match sides {
        None => "no number of sides stands out".to_owned(),
        Some(lobe) => {
            let what = match lobe.order {
                2 => "oval".to_owned(),
                sides => format!("{sides} sides"),
            };
            format!(
                "{what}, amplitude {:.2} mm (p {})",
                lobe.amplitude,
                probability(lobe.p_adjusted)
            )
        }
    };
    let told = format!(
        "Roundness {roundness:.2} mm (standard uncertainty {uncertainty:.2} mm), mean radius {:.2} mm; {words}.",
        form.least_squares.radius
    );
    Some(html! {
        figure class="polar" {
            figcaption { strong { (name) } ": " (told) }
            (drawn(trace, &form, &name, &told))
        }
    })
}

fn drawn(trace: &Trace, form: &SectionForm, name: &str, told: &str) -> Markup {
    let read = trace.reading.points();
    let (centre, mean) = (form.least_squares.centre, form.least_squares.radius);
    let largest = form.least_squares.peak_to_valley / 2.0;
    // Small departures are drawn no larger than readings can tell.
    let times = DEPARTURE / largest.max(0.02 * mean) * mean / RADIUS;
    let middle = SIDE / 2.0;
    let place = |angle: f64, radius: f64| {
        let (sin, cos) = angle.sin_cos();
        // The front of a bowl, or the top of a shank, is up.
        (middle - radius * sin, middle - radius * cos)
    };
    let shown = |radius: f64| RADIUS + (radius - mean) * times * RADIUS / mean;
    let outline = read
        .stations
        .iter()
        .zip(read.readings)
        .map(|(&angle, &radius)| {
            let point = from_polar(angle, radius);
            let (dx, dy) = (point.x - centre.x, point.y - centre.y);
            place(dy.atan2(dx), shown(dx.hypot(dy)))
        });
    let zone = [
        shown(form.minimum_zone.r_outer),
        shown(form.minimum_zone.r_inner),
    ];
    let top = match trace.feature.feature.key.starts_with("shank") {
        true => "top",
        false => "front",
    };
    let crests = form.lobes.iter().flat_map(|lobes| {
        let sides = lobes
            .sides
            .and_then(|sides| lobes.orders.iter().find(|l| l.order == sides));
        sides.into_iter().flat_map(|lobe| {
            (0..lobe.order).map(|k| lobe.crest_deg + 360.0 * f64::from(k) / f64::from(lobe.order))
        })
    });
    let crests: Vec<f64> = crests.collect();
    let picture_of = html! {
        @for radius in zone { circle class="zone" cx=(px(middle)) cy=(px(middle)) r=(px(radius.max(1.0))) {} }
        circle class="centre" cx=(px(middle)) cy=(px(middle)) r=(px(RADIUS)) {}
        polygon class="own" points=(points(outline)) {}
        @for (at, crest) in crests.iter().enumerate() {
            @let (x, y) = place(crest.to_radians(), RADIUS + DEPARTURE + 13.0);
            text class="called middle" x=(px(x)) y=(px(y + 4.0)) { (at + 1) }
        }
        text class="tick" x=(px(middle)) y="12" { (top) }
        text class="tick" x=(px(middle)) y=(px(SIDE - 5.0)) {
            "departures drawn " (format!("{times:.0}")) " times as large"
        }
    };
    let id = format!(
        "section-{}-{}",
        id_of(&trace.feature.to_string()),
        trace.repeat
    );
    picture(
        &id,
        &format!("The {name} in polar form"),
        told,
        (SIDE, SIDE),
        &picture_of,
    )
}
