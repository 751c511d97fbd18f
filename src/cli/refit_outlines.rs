//! Outlines taken down, for people and as JSON.

use calibriar::refit::outline::{OutlineStock, OutlineWork, Outlines};
use calibriar::report::stock_rows;
use calibriar::source::Provenance;
use serde::Serialize;
use serde_json::{Value, json};

use super::norms::provenance_line;
use super::output::{self, shown, wrapped};

/// The whole answer of `refit --outlines`.
#[derive(Serialize)]
pub(super) struct OutlinesOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) pieces: Vec<Value>,
}

/// One object a piece.
pub(super) fn outlines_out(all: &[Outlines]) -> Vec<Value> {
    let outline = |o: &OutlineStock| {
        let work = o.stock.as_ref().ok();
        let floors = work.map_or(Vec::new(), |w| {
            let floor = |f: &calibriar::refit::outline::OutlineFloor| {
                json!({"key": f.key, "label": f.label, "found": f.found, "left": f.left, "least": f.least})
            };
            w.floors.iter().map(floor).collect()
        });
        json!({
            "feature": o.feature.to_string(),
            "verdict": o.verdict.map(|v| v.name()),
            "advised": o.is_advised(),
            "reason": o.reason.as_ref().map(|r| r.name()),
            "note": o.reason.as_ref().map(ToString::to_string)
                .or_else(|| o.stock.as_ref().err().map(ToString::to_string)),
            "slope": work.map(|w| w.stock.slope),
            "intercept": work.map(|w| w.stock.intercept),
            "most_mm": work.map(|w| w.stock.deepest().1),
            "most_at": work.map(|w| w.stock.deepest().0),
            "area_mm2": work.map(|w| w.stock.area),
            "volume_mm3": work.and_then(|w| w.volume).map(|v| v.0),
            "weight_g": work.and_then(|w| w.volume).map(|v| v.1),
            "floors": floors,
            "remarks": work.filter(|_| o.is_advised()).map_or(Vec::new(), |w| remarks(o, w)),
        })
    };
    let piece = |piece: &Outlines| {
        json!({
            "specimen": piece.check.specimen,
            "outlines": piece.outlines.iter().map(outline).collect::<Vec<_>>(),
            "stations": stock_rows(std::slice::from_ref(piece)).collect::<Vec<_>>(),
            "precautions": piece.precautions.iter().map(|p| {
                json!({"key": p.key, "label": p.label, "text": p.text, "source": p.source})
            }).collect::<Vec<_>>(),
        })
    };
    all.iter().map(piece).collect()
}

/// The page for a person.
pub(super) fn outlines_page(all: &[Outlines], provenance: &Provenance) -> String {
    let mut text = String::new();
    for piece in all {
        text.push_str(&format!("{}: outlines\n", shown(&piece.check.specimen)));
        if piece.outlines.is_empty() {
            text.push_str("  no outline of a bowl wall or of a stem was traced\n");
        }
        for contradiction in &piece.contradictions {
            text.push_str(&wrapped(&contradiction.to_string(), "  "));
        }
        for outline in &piece.outlines {
            text.push_str(&of_outline(outline));
        }
        if !piece.precautions.is_empty() {
            text.push_str("\n  mind:\n");
        }
        for p in &piece.precautions {
            let line = format!("{}: {} [{}]", p.label, p.text, p.source);
            text.push_str(&wrapped(&line, "    "));
        }
        text.push('\n');
    }
    text.push_str(&wrapped(
        "target: the straight line that is nowhere above the outline and takes least off it; good pieces: \
         where their outlines lie, put on this one",
        "  ",
    ));
    text.push_str(&wrapped(
        "This page and the plan (refit without --outlines) do not know of each other, and may both thin the same \
         wall or bit: after either, measure and trace again before the other.",
        "  ",
    ));
    text.push_str(&wrapped(
        "A traced line is one line: look at the surface beside it before anything is taken off.",
        "  ",
    ));
    text.push_str(&provenance_line(provenance));
    text
}

fn of_outline(outline: &OutlineStock) -> String {
    let name = shown(&outline.feature.to_string().replace('_', " "));
    let work = match &outline.stock {
        Ok(work) => work,
        Err(error) => return wrapped(&format!("{name}: {error}"), "  "),
    };
    if let Some(reason) = &outline.reason {
        return wrapped(&format!("{name}: left alone: {reason}"), "  ");
    }
    let (at, most) = work.stock.deepest();
    let mut line = format!(
        "{name}: take down to a straight line, most at {at:.1} mm: {most:.2} mm ({:.3} in, {:.1}/64 in); \
         {:.1} mm2 of the outline",
        most / 25.4,
        64.0 * most / 25.4,
        work.stock.area
    );
    if let Some((mm3, grams)) = work.volume {
        line.push_str(&format!(", about {mm3:.0} mm3, {grams:.2} g"));
    }
    let mut text = format!("\n{}", wrapped(&line, "  "));
    for floor in &work.floors {
        let line = format!(
            "{}: {:.2} mm as found, {:.2} mm left at least, {} mm must remain",
            floor.label, floor.found, floor.left, floor.least
        );
        text.push_str(&wrapped(&line, "    "));
    }
    for remark in remarks(outline, work) {
        text.push_str(&wrapped(&remark, "    "));
    }
    text + &stations(work)
}

/// What the line asks for at its ends, and where it leaves the good pieces.
fn remarks(outline: &OutlineStock, work: &OutlineWork) -> Vec<String> {
    const SEEN: f64 = 0.05;
    let (first, last) = work.at_ends();
    let is_stem = outline.feature.feature.key.starts_with("stem_");
    let face = (is_stem && first > SEEN).then(|| {
        format!(
            "{first:.2} mm comes off at the stem face: the shank must follow, or the joint shows a step"
        )
    });
    let end = (last > SEEN).then(|| match outline.feature.feature.key.as_str() {
        "stem_left" | "stem_right" => {
            format!("{last:.2} mm comes off at the button end: the bit gets as much narrower")
        }
        _ if is_stem => {
            format!("{last:.2} mm comes off at the button end: the bit gets as much thinner")
        }
        _ => format!(
            "{last:.2} mm comes off near the rim: the rim gets as much narrower on that side"
        ),
    });
    [face, end, beside_the_band(work)]
        .into_iter()
        .flatten()
        .collect()
}

/// Where the target leaves the good pieces' outlines: straight as they are, but thinner.
fn beside_the_band(work: &OutlineWork) -> Option<String> {
    let below = |p: &calibriar::form::Point| {
        let (low, _) = work.band_at(p.x)?;
        Some((p.x, low - work.stock.target(p.x)))
    };
    let all = work.stock.outline.iter().filter_map(below);
    let (at, most) = all.max_by(|a, b| a.1.total_cmp(&b.1))?;
    (most > 0.05).then(|| {
        format!(
            "laid on this outline, good pieces are up to {most:.2} mm thicker than the target (at {at:.1} mm): \
             straight it can be, as thick as they are it cannot"
        )
    })
}

/// Some ten stations of the drawing, the deepest among them.
fn stations(work: &OutlineWork) -> String {
    const SHOWN: usize = 10;
    let points = &work.stock.outline;
    let step = points.len().div_ceil(SHOWN).max(1);
    let deepest = work.stock.deepest().0;
    let mut table = output::table(&[">station", ">found", ">target", ">take off", "good pieces"]);
    let last = points.len() - 1;
    for (at, &point) in points.iter().enumerate() {
        if at % step != 0 && at != last && point.x != deepest {
            continue;
        }
        let band = work.band_at(point.x);
        output::add_row(
            &mut table,
            vec![
                format!("{:.1}", point.x),
                format!("{:.2}", point.y),
                format!("{:.2}", work.stock.target(point.x)),
                format!("{:.2}", work.stock.take_off(point)),
                band.map_or(String::new(), |(low, high)| {
                    format!("{low:.2} to {high:.2}")
                }),
            ],
        );
    }
    output::lines(&table)
}
