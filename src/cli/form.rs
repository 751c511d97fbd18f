//! `calibriar form`

use std::io::Read as _;
use std::path::{Path, PathBuf};

use calibriar::catalogue::Catalogue;
use calibriar::form::colour::FinishColour;
use calibriar::form::departures::DepartureKind;
use calibriar::report::{FORM_COLUMNS, FormRow, cone_rows, form_rows};
use calibriar::source::{STANDARD_INPUT, SourceError};
use calibriar::table::{Content, TableError, Trace, TraceSheet, read, read_bytes};
use calibriar::traced::{
    BowlCone, DEFAULT_TOLERANCE, Form, OutlineForm, SectionForm, TracedError, bowl_cones, forms,
};
use clap::Args;
use comfy_table::Cell;

use super::json::FormsOut;
use super::output::{self, Format, FormatArgument, probability, shown, signed, sized, wrapped};
use super::source::{AsideFile, TableArguments};
use super::{CliError, Outcome, remark};

/// Straightness, cone, roundness, sides and elbow of traced outlines and sections, and the colour of
/// finishes
///
/// Needs no collection: each trace is told by itself. `check` and `flag` judge pieces by their traces
/// (--traces, or traces that were added to the collection).
#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 done, 2 wrong use or bad input. A trace that tells nothing is \
    named and is no fault."
)]
pub(super) struct Arguments {
    /// Tables of traces: CSV specimen,feature,station,reading[,unit,...]; - is standard input
    #[arg(required = true, value_name = "TRACE.csv")]
    files: Vec<PathBuf>,
    /// How far an outline may stray from its line before that is told, in mm; never less than four
    /// standard uncertainties of a reading
    #[arg(long, value_name = "MM", default_value_t = DEFAULT_TOLERANCE, value_parser = tolerance)]
    tolerance: f64,
    #[command(flatten)]
    format: FormatArgument,
    #[command(flatten)]
    table: TableArguments,
}

fn tolerance(text: &str) -> Result<f64, String> {
    let value = text.trim_end_matches("mm").trim_end().parse::<f64>().ok();
    value
        .filter(|value| *value > 0.0 && value.is_finite())
        .ok_or_else(|| "expected a length over 0 in mm".to_owned())
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    if arguments.table.set_aside.is_some() && arguments.files.len() > 1 {
        return Err(CliError::Usage(
            "--set-aside goes with one file of traces".to_owned(),
        ));
    }
    let sheets: Result<Vec<TraceSheet>, CliError> = arguments
        .files
        .iter()
        .map(|file| sheet(file, arguments))
        .collect();
    let sheets = sheets?;
    for sheet in &sheets {
        sheet.cautions.iter().for_each(remark);
        if let Some(path) = &arguments.table.set_aside {
            AsideFile::prepare(&sheet.set_aside, path)?.map_or(Ok(()), AsideFile::keep)?;
        }
    }
    let traces: Vec<Trace> = sheets.into_iter().flat_map(|sheet| sheet.traces).collect();
    let told = forms(&traces, arguments.tolerance);
    let cones = bowl_cones(&traces);
    let rows = || {
        let of_traces = traces.iter().zip(&told);
        let of_traces = of_traces.flat_map(|(trace, form)| form_rows(trace, form));
        of_traces.chain(cones.iter().flat_map(cone_rows))
    };
    match arguments.format.choose() {
        Format::Json => output::write_json(&FormsOut {
            version: env!("CARGO_PKG_VERSION"),
            tolerance: arguments.tolerance,
            forms: rows().collect(),
        })?,
        Format::Csv => output::write_csv(FORM_COLUMNS, rows())?,
        Format::Table => output::write_text(&page(&traces, &told, &cones))?,
    }
    Ok(Outcome::Done)
}

/// Reads one file of traces; without --set-aside any fault refuses it.
fn sheet(path: &Path, arguments: &Arguments) -> Result<TraceSheet, CliError> {
    let standard_input = path.as_os_str() == STANDARD_INPUT;
    let (name, bytes) = if standard_input {
        let (name, mut bytes) = ("standard input".to_owned(), Vec::new());
        let read = std::io::stdin().lock().read_to_end(&mut bytes);
        read.map_err(|source| TableError::Read {
            file: name.clone(),
            source,
        })?;
        (name, bytes)
    } else {
        (path.display().to_string(), read_bytes(path)?)
    };
    let options = arguments.table.options(false);
    match read(&name, bytes, &options, Catalogue::standard())? {
        Content::Traces(sheet) => {
            if !sheet.faults.is_empty() && arguments.table.set_aside.is_none() {
                return Err(CliError::Source(SourceError::Faults {
                    file: name,
                    faults: sheet.faults,
                }));
            }
            Ok(sheet)
        }
        _ => Err(CliError::Source(SourceError::Unfit {
            file: name,
            found: "no traces",
            expected: "the columns specimen, feature, station, reading",
        })),
    }
}

/// What people read: piece by piece, trace by trace.
fn page(traces: &[Trace], told: &[Result<Form, TracedError>], cones: &[BowlCone]) -> String {
    let mut text = String::new();
    let mut names: Vec<&str> = Vec::new();
    for trace in traces {
        if names.last() != Some(&trace.specimen.as_str()) && !names.contains(&&*trace.specimen) {
            names.push(&trace.specimen);
        }
    }
    for name in names {
        text.push_str(&format!("{}\n", shown(name)));
        let of_piece = || {
            let all = traces.iter().zip(told);
            all.filter(move |(trace, _)| trace.specimen == name)
        };
        let mut table = output::table(&["trace", "what", ">value", ">u", "where and what kind"]);
        let mut all: Vec<Line> = of_piece().flat_map(|(t, form)| lines(t, form)).collect();
        for cone in cones.iter().filter(|cone| cone.specimen == name) {
            all.extend(cone_rows(cone).iter().map(cone_line));
        }
        fit(&mut all);
        for line in all {
            table.add_row(line.map(Cell::new));
        }
        text.push_str(&output::lines(&table));
        text.push('\n');
    }
    text.push_str(&wrapped(LEGEND, ""));
    text
}

const LEGEND: &str = "Lengths in mm. u: standard uncertainty, from that of the readings. Straightness and \
    roundness are those of the minimum zone. Heights are outward where positive. A break or a number of \
    sides is told only where it stands out of the scatter (5 %), a break only where the outline strays \
    beyond the tolerance; --format csv tells all that was looked at. Form tells how a surface is, not why: \
    wear and refitting change it too.";

type Line = [String; 5];

/// Breaks the notes so that the table fits a page.
fn fit(lines: &mut [Line]) {
    const WIDTH: usize = 98;
    const GAP: usize = 2;
    /// The widest heading before the notes.
    const LEAST: usize = 5;
    let widest = |at: usize| {
        let widths = lines.iter().map(|line| line[at].chars().count());
        widths.max().unwrap_or(0).max(LEAST) + GAP
    };
    let before: usize = (0..4).map(widest).sum();
    let room = WIDTH.saturating_sub(before).max(30);
    for line in lines {
        let mut note = String::new();
        let mut used = 0;
        for word in line[4].split(' ') {
            let more = word.chars().count() + 1;
            if used > 0 && used + more > room {
                note.push('\n');
                used = 0;
            } else if used > 0 {
                note.push(' ');
            }
            note.push_str(word);
            used += more;
        }
        line[4] = note;
    }
}

fn lines(trace: &Trace, form: &Result<Form, TracedError>) -> Vec<Line> {
    let mut name = shown(&trace.feature.to_string());
    if trace.repeat > 1 {
        name.push_str(&format!(" ({})", trace.repeat));
    }
    let mut lines: Vec<Line> = match form {
        Ok(Form::Outline(outline)) => outline_lines(outline),
        Ok(Form::Section(section)) => section_lines(section),
        Ok(Form::Finish(finish)) => finish_lines(finish),
        Err(error) => vec![line("nothing told", "-", "-", error.to_string())],
    };
    // The trace's name stands once.
    if let Some(first) = lines.first_mut() {
        first[0] = name;
    }
    lines
}

fn line(what: &str, value: impl Into<String>, u: impl Into<String>, note: String) -> Line {
    [String::new(), what.to_owned(), value.into(), u.into(), note]
}

/// A form error in mm: to a hundredth, or as fine as it is known.
fn fine(value: f64) -> String {
    format!("{value:.3}")
}

fn outline_lines(outline: &OutlineForm) -> Vec<Line> {
    let (straightness, u) = outline.straightness();
    let (from, to) = outline.stations;
    let angle = outline.angle;
    let asked_of = format!(
        "stations {from:.1} to {to:.1} mm, {} points; asked of {}",
        outline.n, outline.asked_of
    );
    let mut lines = vec![
        line("straightness", fine(straightness), fine(u), asked_of),
        line(
            "angle, deg",
            signed(angle.degrees, 0.1),
            sized(angle.uncertainty, 0.1),
            "least-squares line to the base line".to_owned(),
        ),
    ];
    let run = &outline.departures.run;
    let tolerance = outline.tolerance;
    let zones = &outline.departures.zones;
    let bow = &outline.departures.bow;
    let run_length = run.end - run.start;
    if zones.is_empty() {
        let note = format!("all within {tolerance:.2} mm of one line");
        lines.push(line("straight run", sized(run_length, 1.0), "", note));
        return lines;
    }
    let note = format!("at {:.1} mm, from the line through both ends", bow.station);
    lines.push(line("greatest bow", signed_fine(bow.peak), "", note));
    if run_length < KEPT * (to - from) {
        let note = "none as long as half of it; check compares it with good pieces";
        lines.push(line("straight run", "-", "", note.to_owned()));
        return lines;
    }
    let note = format!(
        "from {:.1} to {:.1} mm, the longest within {tolerance:.2} mm",
        run.start, run.end
    );
    lines.push(line("straight run", sized(run_length, 1.0), "", note));
    for zone in zones {
        let what = match (zone.kind, zone.peak > 0.0) {
            (DepartureKind::End, true) => "turns outward",
            (DepartureKind::End, false) => "turns inward",
            (DepartureKind::Inside, true) => "bulge",
            (DepartureKind::Inside, false) => "scoop",
        };
        let note = format!(
            "from {:.1} to {:.1} mm, most at {:.1} mm; area {:.1} mm2",
            zone.start, zone.end, zone.peak_station, zone.area
        );
        lines.push(line(what, signed_fine(zone.peak), "", note));
    }
    if let Some(two) = outline.two_lines.as_ref().filter(|t| t.kink.p <= CLEAR) {
        let turn = (two.slope_after.atan() - two.slope_before.atan()).to_degrees();
        let region = &two.region;
        let open = match (region.open_low, region.open_high) {
            (false, false) => "",
            _ => ", open at an end",
        };
        let note = format!(
            "two lines fit better than one, turning by {} deg; 95 %: {:.1} to {:.1} mm{open}; p {}",
            signed(turn, 0.1),
            region.low,
            region.high,
            probability(two.kink.p)
        );
        let u = two.standard_error.map_or(String::new(), |u| sized(u, 0.1));
        lines.push(line("break at", sized(two.at, 0.1), u, note));
    }
    lines
}

/// A straight run of less than this share of an outline is no line that the outline should keep: on
/// a bowl that is round in profile departures from it would tell of nothing but the curve.
const KEPT: f64 = 0.5;

/// A break is told people from this p down.
const CLEAR: f64 = 0.05;

fn signed_fine(value: f64) -> String {
    format!("{value:+.3}")
}

fn section_lines(section: &SectionForm) -> Vec<Line> {
    let (roundness, u) = section.roundness();
    let gap = match section.largest_gap > 90.0 {
        true => format!(", none on an arc of {:.0} degrees", section.largest_gap),
        false => String::new(),
    };
    let note = format!("{} points{gap}; asked of {}", section.n, section.asked_of);
    let mut lines = vec![
        line("roundness", fine(roundness), fine(u), note),
        line(
            "diameter",
            sized(2.0 * section.least_squares.radius, 0.1),
            "",
            "of the least-squares circle".to_owned(),
        ),
    ];
    let Some(lobes) = &section.lobes else {
        let note = "too few points to look for sides".to_owned();
        lines.push(line("sides", "-", "", note));
        return lines;
    };
    match lobes.sides {
        None => lines.push(line("sides", "-", "", "none stands out".to_owned())),
        Some(sides) => {
            let lobe = lobes.orders.iter().find(|lobe| lobe.order == sides);
            let note = lobe.map_or(String::new(), |lobe| {
                let oval = if sides == 2 { "oval: " } else { "" };
                format!(
                    "{oval}{} undulations per revolution of amplitude {} mm, one crest at {:.0} degrees; p {}",
                    sides,
                    fine(lobe.amplitude),
                    lobe.crest_deg,
                    probability(lobe.p_adjusted)
                )
            });
            lines.push(line("sides", sides.to_string(), "", note));
        }
    }
    lines
}

fn finish_lines(finish: &FinishColour) -> Vec<Line> {
    let [l, a, b] = finish.lab.components();
    let [ul, ua, ub] = finish.uncertainty;
    let card = match finish.calibrated {
        true => "",
        false => "; a photograph without a reference card",
    };
    let spread = match (finish.scatter, &finish.farthest) {
        (Some(scatter), Some(farthest)) => format!(
            ", dE00 {scatter:.1} from their mean; farthest off: spot {} ({:.1})",
            shown(&farthest.name),
            farthest.difference
        ),
        _ => String::new(),
    };
    let spots = output::counted(finish.n, "spot", "spots");
    let one = |name: &str, value: f64, u: f64, note: String| {
        line(name, format!("{value:.1}"), format!("{u:.1}"), note)
    };
    vec![
        one("L*", l, ul, format!("{spots}{spread}{card}")),
        one("a*", a, ua, String::new()),
        one("b*", b, ub, String::new()),
    ]
}

fn cone_line(row: &FormRow<'_>) -> Line {
    let (what, digits) = match row.result {
        "cone_half_angle" => ("half angle, deg", 2),
        "cone_lean" => ("axis leans, deg", 2),
        "cone_apex" => ("apex at station", 1),
        _ => ("scatter about it", 3),
    };
    let first = row.result == "cone_half_angle";
    let name = if first { "cone of the bowl" } else { "" };
    let value = row
        .value
        .map_or("-".to_owned(), |v| format!("{v:.digits$}"));
    let u = row.uncertainty.map_or(String::new(), |u| format!("{u:.2}"));
    let note = match (row.result, row.at) {
        ("cone_lean", Some(towards)) => {
            format!("towards {towards:.0} degrees, anticlockwise from the front")
        }
        _ if first => row.note.clone(),
        _ => String::new(),
    };
    [name.to_owned(), what.to_owned(), value, u, note]
}
