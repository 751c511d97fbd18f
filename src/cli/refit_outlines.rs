//! The drawing of traced outlines and the straight lines under them, for people and as JSON.

use calibriar::catalogue::FeatureName;
use calibriar::notation::inches;
use calibriar::refit::outline::{OutlineStock, OutlineWork, SEEN};
use calibriar::refit::{FloorLeft, Refit};
use calibriar::report::{StockRow, stock_rows};
use calibriar::source::Provenance;
use serde::Serialize;

use super::norms::provenance_line;
use super::output::{self, shown, wrapped};
use super::refit_json::{FloorOut, OutlineOut, PrecautionOut};
use super::refit_page::cautions;

/// The whole answer of `refit --outlines`.
#[derive(Serialize)]
pub(super) struct OutlinesOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) pieces: Vec<PieceOut<'a>>,
}

/// The outlines of one piece.
#[derive(Serialize)]
pub(super) struct PieceOut<'a> {
    specimen: &'a str,
    outlines: Vec<OutlineOut>,
    stations: Vec<StockRow<'a>>,
    /// What must remain on the sides of the straightened outlines, by the whole plan.
    floors: Vec<FloorOut<'a>>,
    precautions: Vec<PrecautionOut<'a>>,
}

impl<'a> PieceOut<'a> {
    pub(super) fn new(plan: &'a Refit) -> PieceOut<'a> {
        PieceOut {
            specimen: &plan.check.specimen,
            outlines: plan.outlines.iter().map(OutlineOut::new).collect(),
            stations: stock_rows(std::slice::from_ref(plan)).collect(),
            floors: on_sides(plan).map(FloorOut::new).collect(),
            precautions: plan.precautions.iter().map(PrecautionOut::new).collect(),
        }
    }
}

/// What must remain on the sides of straightened outlines.
fn on_sides(plan: &Refit) -> impl Iterator<Item = &FloorLeft> {
    plan.floors.iter().filter(|f| f.side.is_some())
}

/// The page for a person; `show` are outlines that are drawn also where they are left alone.
pub(super) fn outlines_page(
    plans: &[Refit],
    show: &[FeatureName],
    provenance: &Provenance,
) -> String {
    let mut text = String::new();
    for piece in plans {
        text.push_str(&format!("{}: outlines\n", shown(&piece.check.specimen)));
        if piece.outlines.is_empty() {
            text.push_str("  no outline of a bowl wall or of a stem was traced\n");
        }
        for contradiction in &piece.contradictions {
            text.push_str(&wrapped(&contradiction.to_string(), "  "));
        }
        for outline in &piece.outlines {
            text.push_str(&of_outline(outline, piece, show.contains(&outline.feature)));
        }
        text.push('\n');
        text.push_str(&cautions(&piece.precautions));
    }
    for line in [
        "target: the straight line that is nowhere above the outline and takes least off it; good pieces: \
         where their outlines lie, put on this one",
        "The whole plan, sizes and outlines together, is refit without --outlines.",
        "A traced line is one line: look at the surface beside it before anything is taken off.",
    ] {
        text.push_str(&wrapped(line, "  "));
    }
    text.push_str(&provenance_line(provenance));
    text
}

fn of_outline(outline: &OutlineStock, plan: &Refit, show: bool) -> String {
    let name = shown(&outline.feature.words());
    let work = match &outline.stock {
        Ok(work) => work,
        Err(error) => return wrapped(&format!("{name}: {error}"), "  "),
    };
    let (at, most) = work.stock.deepest();
    let mut line = match &outline.reason {
        None => format!("{name}: take down to a straight line"),
        Some(reason) if !show => {
            return wrapped(&format!("{name}: left alone: {reason}"), "  ");
        }
        Some(reason) => format!("{name}: left alone: {reason}. The drawing only"),
    };
    line.push_str(&format!(
        ", most at {at:.1} mm: {most:.2} mm ({:.3} in, {:.1}/64 in); {:.1} mm2 of the outline",
        inches(most),
        64.0 * inches(most),
        work.stock.area
    ));
    line.push_str(&format!(
        ", about {:.0} mm3, {:.2} g",
        work.volume, work.weight
    ));
    let mut text = format!("\n{}", wrapped(&line, "  "));
    let floors = on_sides(plan).filter(|_| outline.is_advised());
    for floor in floors.filter(|f| f.side.as_ref() == Some(&outline.feature)) {
        let line = format!(
            "{}: {:.2} mm as found, {:.2} mm in the end, by the whole plan; {} mm must remain",
            floor.floor.label, floor.found, floor.left, floor.floor.least
        );
        text.push_str(&wrapped(&line, "    "));
    }
    for remark in remarks(outline) {
        text.push_str(&wrapped(&remark, "    "));
    }
    text + &stations(work)
}

/// What the line asks for at its ends, and where it leaves the good pieces; nothing of an outline that is left
/// alone.
pub(super) fn remarks(outline: &OutlineStock) -> Vec<String> {
    let (Ok(work), true) = (&outline.stock, outline.is_advised()) else {
        return Vec::new();
    };
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
    let below = work.below_good().map(|(at, by)| {
        format!(
            "laid on this outline, good pieces are up to {by:.2} mm thicker than the target (at {at:.1} mm); \
             but by its sizes it is too thick elsewhere, not too thin there"
        )
    });
    [face, end, below].into_iter().flatten().collect()
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
