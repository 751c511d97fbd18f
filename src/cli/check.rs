//! `calibriar check`

use std::collections::BTreeMap;
use std::path::PathBuf;

use calibriar::catalogue::{Catalogue, Kind, nearest};
use calibriar::cohort::Cohort;
use calibriar::norm::{SetAside, Settings};
use calibriar::report::{DIMENSION_COLUMNS, PIECE_COLUMNS, check_rows};
use calibriar::source::{Provenance, Source};
use calibriar::traced::Sides;
use calibriar::verdict::{
    Caution, Check, DimensionCheck, Excursion, Finish, Joint, OutlineCheck, Verdict, Working,
    check, check_against, working, working_against,
};
use clap::Args;
use comfy_table::Cell;

use super::json::{CheckOut, ChecksOut};
use super::norms::{hint, maker_shown, not_credible, provenance_line};
use super::output::{self, Format, band, counted, probability, shown, signed, sized, wrapped};
use super::source::{Question, assignment, group_title, key_of, size};
use super::working::page;
use super::{CliError, Outcome};

/// Verdict on each dimension of some pieces against their pattern's good periods
///
/// A piece's own readings never count in the norm that it is judged by. Of a wholly good piece,
/// any dimension is called out of norm with a probability of about --alpha at most (`rates` tells how
/// nearly), and each dimension by itself is called borderline about as often. Where good pieces stray
/// much more often than the normal law says, the rate of a single dimension holds (7 % for 5 %), but
/// that of whole pieces does not from four references on: 8 to 18 % of good ones are called out of
/// norm then.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 nothing out of norm, 1 something out of norm, \
    2 wrong use or bad input, 3 nothing could be decided."
)]
pub(super) struct Arguments {
    /// Names of specimens in the source
    #[arg(required_unless_present = "file", conflicts_with = "file")]
    specimens: Vec<String>,
    /// Judge each row of this CSV file instead (- is standard input)
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    /// Judge the pieces as they stand after the works that are recorded, not as they were found; what
    /// they are judged by stays the same. Outlines and sections of pieces that were worked on are left
    /// out: they were traced before
    #[arg(long, conflicts_with = "file")]
    as_left: bool,
    /// Show every number of the verdict step by step, with its formula and the pieces used, so that
    /// it can be done again with a pocket calculator
    #[arg(long, conflicts_with = "format")]
    show_working: bool,
    /// A deviation that matters, in the dimension's unit: the dimension counts as decided once such
    /// a deviation would be noticed (`bit thickness=0.3`); may be given more than once
    #[arg(long, value_name = "DIMENSION=SIZE", value_parser = assignment)]
    matters: Vec<(String, String)>,
    #[command(flatten)]
    question: Question,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let settings = arguments.question.judge.settings()?;
    let format = arguments.question.format.choose();
    let digest = format != Format::Csv;
    let file = arguments.file.as_deref();
    let source = &arguments.question.source;
    let (source, other) = source.open_for(file, arguments.as_left, digest)?;
    let cohort = arguments.question.judge.cohort(&source)?;
    let mut matters = BTreeMap::new();
    for (name, value) in &arguments.matters {
        let key = key_of(&source.table.catalogue, name)?;
        let unit = source.table.catalogue.find(&key);
        let unit = unit.map_or("", |i| source.table.catalogue.at(i).unit.as_str());
        let value = value.strip_suffix(unit).unwrap_or(value).trim_end();
        let option = format!("--matters, in {unit}");
        matters.insert(key, size(&option, value, false)?);
    }
    let settings = settings.with_matters(matters);
    let evidence = arguments.question.judge.evidence(&cohort)?;
    let judged = other.as_ref().unwrap_or(&source);
    let rows = match &arguments.file {
        None => rows_of(judged, &arguments.specimens)?,
        Some(_) => (0..judged.table.specimens.len()).collect(),
    };
    for read in [Some(&source), other.as_ref()].into_iter().flatten() {
        arguments.question.source.write_set_aside(read)?;
    }
    if arguments.show_working {
        let work_out = |&row: &usize| match &other {
            None => working(&evidence, row, &settings),
            Some(other) => working_against(&evidence, &other.table, row, &settings),
        };
        let all: Vec<Working> = rows.iter().map(work_out).collect();
        let catalogue = &judged.table.catalogue;
        let page = page(&all, &cohort, catalogue, &settings, &source.provenance);
        output::write_text(&page)?;
        return Ok(outcome(all.iter().map(|w| &w.check)));
    }
    let judge = |&row: &usize| match &other {
        None => check(&evidence, row, &settings),
        Some(other) => check_against(&evidence, &other.table, row, &settings),
    };
    let checks: Vec<Check> = rows.iter().map(judge).collect();
    let catalogue = &judged.table.catalogue;
    match format {
        Format::Json => output::write_json(&ChecksOut {
            provenance: &source.provenance,
            checks: checks.iter().map(|c| CheckOut::new(c, catalogue)).collect(),
        })?,
        Format::Csv => output::write_csv(
            &[PIECE_COLUMNS, DIMENSION_COLUMNS].concat(),
            check_rows(&checks, catalogue),
        )?,
        Format::Table => {
            let page = Page {
                cohort: &cohort,
                catalogue,
                settings: &settings,
            };
            output::write_text(&page.text(&checks, &source.provenance))?;
        }
    }
    Ok(outcome(checks.iter()))
}

fn outcome<'c>(checks: impl Iterator<Item = &'c Check> + Clone) -> Outcome {
    let has = |verdict: Verdict| checks.clone().any(|c| c.verdict == verdict);
    if has(Verdict::OutOfNorm) {
        Outcome::Found
    } else if has(Verdict::Typical) || has(Verdict::Borderline) {
        Outcome::Done
    } else {
        Outcome::NothingDecided
    }
}

/// The rows of the named specimens; all unknown names are told at once.
pub(super) fn rows_of(source: &Source, specimens: &[String]) -> Result<Vec<usize>, CliError> {
    let rows = specimens
        .iter()
        .map(|name| source.table.specimens.find(name));
    let rows: Vec<Option<usize>> = rows.collect();
    if rows.iter().all(Option::is_some) {
        return Ok(rows.into_iter().flatten().collect());
    }
    let unknown = specimens.iter().zip(&rows).filter(|(_, row)| row.is_none());
    let unknown: Vec<String> = unknown
        .map(
            |(name, _)| match nearest(name, source.table.specimens.names.iter()).as_slice() {
                [] => format!("`{name}`"),
                near => format!("`{name}` (nearest: {})", near.join(", ")),
            },
        )
        .collect();
    Err(CliError::Usage(format!(
        "no specimen {} in the source",
        unknown.join(", ")
    )))
}

/// Whose readings the piece is judged by, or why by nobody's.
pub(super) fn judged_by(check: &Check, cohort: &Cohort<'_>) -> String {
    let groups = cohort.groups();
    let known = cohort.find_groups(Some(&check.pattern), None);
    if check.dimensions.iter().any(|d| d.n > 0) {
        let by = match check.periods.as_slice() {
            [] => "all pieces of its pattern, whatever their date".to_owned(),
            periods => periods.join(", "),
        };
        let dated = check
            .dimensions
            .iter()
            .any(|d| d.judged.is_some_and(|j| j.dated));
        let own_period = match &check.period {
            Some(period) if dated && check.periods.len() > 1 => {
                format!(", those of {} (its own) most", shown(period))
            }
            _ => String::new(),
        };
        return format!("judged by {by}{own_period}; its own readings left out");
    }
    if check.pattern.is_empty() {
        return "no pattern given: it cannot be judged".to_owned();
    }
    if known.is_empty() {
        let near = nearest(&check.pattern, groups.iter().map(|g| g.pattern.as_str()));
        return format!(
            "no pattern `{}` in the source{}",
            check.pattern,
            hint(&near)
        );
    }
    if known.len() > 1 && check.maker.is_empty() {
        let makers: Vec<&str> = known
            .iter()
            .map(|&g| maker_shown(&groups[g].maker))
            .collect();
        return format!(
            "several makers have this pattern ({}): name one",
            makers.join(", ")
        );
    }
    "no other piece of its pattern in the chosen periods has a factory reading".to_owned()
}

/// What the tables for people are made from.
struct Page<'a> {
    cohort: &'a Cohort<'a>,
    catalogue: &'a Catalogue,
    settings: &'a Settings,
}

impl Page<'_> {
    fn text(&self, checks: &[Check], provenance: &Provenance) -> String {
        let mut text: String = checks.iter().map(|c| self.piece(c) + "\n").collect();
        if checks.iter().any(|c| c.dimensions.iter().any(|d| d.n > 0)) {
            text.push_str(&self.legend());
        }
        text.push_str(&provenance_line(provenance));
        text
    }

    fn legend(&self) -> String {
        let share = 100.0 * self.settings.coverage();
        [
            &format!(
                "typical range: where a reading as fine as this one falls, of a good piece, with \
                 {share} %"
            ),
            "score: how many steps of the usual spread from the centre, counted as for a normal law",
            "p adj.: how often a good piece would look this odd in any dimension by chance",
            "n, lent: references of that dimension, the piece itself left out, and degrees of freedom \
             borrowed from the maker's other patterns: each is worth about one reference more for the \
             spread; - is none",
            "size, shape, outlines: judged apart from the dimensions and from each other",
            "A verdict is about dimensions. It neither dates nor authenticates a piece.",
        ]
        .map(|line| wrapped(line, "  "))
        .concat()
    }

    fn piece(&self, check: &Check) -> String {
        let headline = format!(
            "{}: {}{}",
            output::shown(&check.specimen),
            output::verdict_words(check.verdict),
            besides(check),
        );
        let title = group_title(&check.maker, &check.pattern);
        let mut text = format!("{}  {title}\n", wrapped(&headline, ""));
        if check.dimensions.is_empty() {
            text.push_str("  no reading that counts (history SPECIMEN tells what there was)\n");
            return text;
        }
        text.push_str(&wrapped(&judged_by(check, self.cohort), "  "));
        let strengths = check.dimensions.iter().map(|d| (d.n, d.loan));
        if let Some(strength) = output::strength(strengths) {
            text.push_str(&wrapped(&strength, "  "));
        }
        if check.dimensions.iter().any(|d| d.n > 0) {
            text.push_str(&output::lines(&self.table(check)));
        }
        let lines = check
            .dimensions
            .iter()
            .filter_map(|d| words(d, self.catalogue, self.settings));
        let whole = check
            .joint
            .iter()
            .flat_map(|joint| self.whole(check, joint));
        let lines = lines.chain(self.states(check)).chain(self.undecided(check));
        let group = self
            .cohort
            .find_groups(Some(&check.pattern), Some(&check.maker));
        let own = Some(check.specimen.as_str());
        let slips = group
            .first()
            .map_or(Vec::new(), |&g| not_credible(self.cohort, g, own));
        let outlines = outlines(&check.outlines)
            .into_iter()
            .chain(not_compared(check))
            .chain(check.sides.iter().map(sides_words));
        let finish = check.finish.as_ref().map(finish);
        let lines = lines.chain(whole).chain(outlines).chain(finish);
        for line in lines.chain(self.set_aside(check)).chain(slips) {
            text.push_str(&wrapped(&line, "  "));
        }
        text
    }

    /// What the states of the piece's places mean, each with the dimensions that it concerns.
    fn states(&self, check: &Check) -> Vec<String> {
        let mut told: Vec<(String, Vec<&str>)> = Vec::new();
        for dimension in &check.dimensions {
            let label = self.catalogue.at(dimension.dimension).label.as_str();
            for caution in dimension.cautions.iter().filter(|c| c.is_of_state()) {
                let caution = caution.to_string();
                match told.iter_mut().find(|(text, _)| *text == caution) {
                    Some((_, labels)) => labels.push(label),
                    None => told.push((caution, vec![label])),
                }
            }
        }
        let line = |(caution, labels): (String, Vec<&str>)| {
            let all = labels.len() > 1 && labels.len() == check.dimensions.len();
            let which = match all {
                true => "all dimensions".to_owned(),
                false => labels.join(", "),
            };
            format!("{which}: {caution}")
        };
        told.into_iter().map(line).collect()
    }

    /// The references that do not speak, because they are unlike their fellows.
    fn set_aside(&self, check: &Check) -> Option<String> {
        let table = self.cohort.table();
        let some = check.dimensions.iter().filter(|d| !d.set_aside.is_empty());
        let named: Vec<String> = some
            .map(|d| {
                let known = self.catalogue.at(d.dimension);
                let columns = table.columns.iter();
                let reading = |aside: &SetAside| {
                    let row = aside.reference.row();
                    let column = columns
                        .clone()
                        .find(|c| table.dimension(c).key == known.key && c.value(row).is_some())?;
                    Some(output::whose(table, column, row, ""))
                };
                let readings: Vec<String> = d.set_aside.iter().filter_map(reading).collect();
                format!("{} of {}", known.label, readings.join(", "))
            })
            .collect();
        (!named.is_empty()).then(|| {
            format!(
                "references set aside, because unlike their fellows: {}",
                named.join("; ")
            )
        })
    }

    /// What would decide the undecided dimensions.
    fn undecided(&self, check: &Check) -> Option<String> {
        let undecided = check.dimensions.iter();
        let wants: Vec<String> = undecided
            .filter(|d| d.verdict == Verdict::Undecided)
            .map(|d| self.want(d))
            .collect();
        (!wants.is_empty()).then(|| format!("not enough evidence: {}", wants.join("; ")))
    }

    /// What would decide one dimension: more pieces, or a larger fault.
    fn want(&self, d: &DimensionCheck) -> String {
        let known = self.catalogue.at(d.dimension);
        let fault = d.judged.as_ref().map(|j| {
            let least = sized(j.least_noticeable, j.least_noticeable);
            format!("a fault of {least} {}", known.unit)
        });
        let usual = match (&d.judged, &d.loan) {
            (None, Some(loan)) => {
                let spread = loan.spread.s2.sqrt();
                let spread = match known.kind {
                    Kind::Ratio => format!("{:.1} %", 100.0 * spread),
                    Kind::Interval => format!("{} {}", sized(spread, spread), known.unit),
                };
                format!("; the other patterns' usual spread is {spread}")
            }
            _ => String::new(),
        };
        let coarse = d.cautions.contains(&Caution::CoarseReading);
        let decides = match (d.more_references, fault) {
            _ if d.disagree => "its references disagree".to_owned(),
            (_, Some(fault)) if coarse => format!("a finer reading, or {fault}"),
            (Some(0), Some(fault)) => format!("only {fault} would show"),
            (None, Some(fault)) => format!("read too coarsely; a finer reading, or {fault}"),
            (None, None) => "read too coarsely: measure again".to_owned(),
            (Some(more), None) => counted(more, "more piece", "more pieces"),
            (Some(more), Some(fault)) => {
                format!("{}, or {fault}", counted(more, "more piece", "more pieces"))
            }
        };
        format!("{} ({decides}{usual})", known.label)
    }

    /// What all sizes say together.
    fn whole(&self, check: &Check, joint: &Joint) -> Vec<String> {
        let p = |p: f64| format!("p {}", probability(p));
        let score = |z: f64| signed((10.0 * z).round() / 10.0, 1.0);
        let odd: Vec<String> = joint
            .shape
            .iter()
            .filter(|s| s.verdict == Verdict::OutOfNorm)
            .map(|s| {
                let label = &self.catalogue.at(s.dimension).label;
                format!("{label} ({}, {})", score(s.score), p(s.p_adjusted))
            })
            .collect();
        let side = if joint.size_score > 0.0 {
            "large"
        } else {
            "small"
        };
        let faulty = check.verdict == Verdict::OutOfNorm;
        let shapely = odd.is_empty() && joint.misfit_p > self.settings.alpha();
        let size = match joint.size_verdict {
            Verdict::OutOfNorm if faulty => {
                format!("{side}, but the dimensions out of norm have their part in it")
            }
            Verdict::OutOfNorm if shapely => format!("{side} as a whole, not misshapen"),
            Verdict::OutOfNorm => format!("{side} as a whole"),
            verdict => output::verdict_words(verdict).to_owned(),
        };
        let shape = match odd.as_slice() {
            [] => "nothing out of norm for its size".to_owned(),
            odd => format!("out of norm for its size: {}", odd.join(", ")),
        };
        vec![
            format!(
                "size ({} together): {size} (score {}, {})",
                counted(joint.shape.len(), "dimension", "dimensions"),
                score(joint.size_score),
                p(joint.size_p)
            ),
            format!(
                "shape: {shape}; misfit of all shapes together {:.1} (1 is usual), {}",
                joint.misfit,
                p(joint.misfit_p)
            ),
        ]
    }

    fn table(&self, check: &Check) -> comfy_table::Table {
        let headings = [
            "dimension",
            "unit",
            ">reads",
            "typical range",
            ">off by",
            ">score",
            ">p adj.",
            ">n",
            ">lent",
            "verdict",
        ];
        let mut table = output::table(&headings);
        for dimension in &check.dimensions {
            let known = self.catalogue.at(dimension.dimension);
            let numbers = match &dimension.judged {
                None => {
                    let value = format!("{:.2}", dimension.value);
                    [value, "too few".into(), "-".into(), "-".into(), "-".into()]
                }
                Some(j) => {
                    let scale = (j.typical.high - j.typical.low) / 4.0;
                    [
                        output::reading(dimension.value, dimension.uncertainty, scale),
                        band(j.typical.low, j.typical.high, scale),
                        signed(j.deviation, scale),
                        signed((10.0 * j.score).round() / 10.0, 1.0),
                        probability(j.p_adjusted),
                    ]
                }
            };
            let mut row = vec![
                Cell::new(output::shown(&known.label)),
                Cell::new(&known.unit),
            ];
            row.extend(numbers.into_iter().map(Cell::new));
            row.push(Cell::new(dimension.n));
            row.push(Cell::new(match dimension.loan {
                Some(loan) => format!("{:.1}", loan.spread.df),
                None => "-".to_owned(),
            }));
            row.push(output::verdict_cell(dimension.verdict));
            table.add_row(row);
        }
        table
    }
}

/// What the colour as a whole says.
fn finish(finish: &Finish) -> String {
    let end = match finish.difference_at_limit {
        Some(end) => format!("; good pieces stay within about {end:.1} in that direction"),
        None => String::new(),
    };
    format!(
        "finish: {} (colour difference dE00 {:.1} from the centre of {}{end}; p {})",
        output::verdict_words(finish.verdict),
        finish.difference,
        counted(finish.n, "piece", "pieces"),
        probability(finish.whole.p)
    )
}

/// What a reader should take from a section with sides.
fn sides_words(of: &Sides) -> String {
    let what = match of.sides {
        2 => "oval, no circle".to_owned(),
        sides => format!("{sides} sides stand out"),
    };
    format!(
        "{}: {what} (amplitude {:.2} mm; p {})",
        of.feature,
        of.amplitude,
        probability(of.p)
    )
}

/// What is out of norm besides the dimensions: the verdict on a piece is theirs alone, and who reads
/// no further must not miss it.
fn besides(check: &Check) -> String {
    let out = |verdict: Verdict| verdict == Verdict::OutOfNorm;
    let outlines = check.outlines.iter().filter(|o| out(o.verdict));
    let mut what: Vec<String> = outlines.map(|o| feature_words(&o.feature)).collect();
    if check.finish.as_ref().is_some_and(|f| out(f.verdict)) {
        what.push("finish".to_owned());
    }
    match what.as_slice() {
        [] => String::new(),
        what => format!(
            " in its dimensions; OUT OF NORM besides: {}",
            what.join(", ")
        ),
    }
}

/// Outlines that were traced and have no band to be compared with.
fn not_compared(check: &Check) -> Option<String> {
    let mut names: Vec<String> = Vec::new();
    for feature in &check.outlines_not_compared {
        let name = feature_words(feature);
        if !names.contains(&name) {
            names.push(name);
        }
    }
    (!names.is_empty()).then(|| {
        format!(
            "outlines not compared: {} (that takes good pieces traced there, of this pattern and of \
             others of the maker, and a trace without long gaps)",
            names.join(", ")
        )
    })
}

/// `bowl wall left`
fn feature_words(key: &str) -> String {
    output::shown(&key.replace('_', " "))
}

/// What a reader should take from the outlines: those that are typical all together.
fn outlines(all: &[OutlineCheck]) -> Vec<String> {
    let typical = |o: &&OutlineCheck| o.verdict == Verdict::Typical;
    let told = all.iter().filter(|o| !typical(o)).map(outline_words);
    let mut lines: Vec<String> = told.collect();
    let inside: Vec<String> = all
        .iter()
        .filter(typical)
        .map(|o| feature_words(&o.feature))
        .collect();
    if !inside.is_empty() {
        lines.push(format!(
            "outlines inside the band of the good pieces all along: {}",
            inside.join(", ")
        ));
    }
    lines
}

/// What a reader should take from one outline.
fn outline_words(outline: &OutlineCheck) -> String {
    let counted_from = match outline.feature.as_str() {
        wall if wall.starts_with("bowl_wall") => " above the heel",
        stem if stem.starts_with("stem_") => " from the stem face",
        _ => "",
    };
    let where_it_is = |e: &Excursion| {
        format!(
            "{} mm {} at {:.1} mm{counted_from}, outside the band from {:.1} to {:.1} mm",
            sized(e.deviation.abs(), 0.5),
            if e.deviation > 0.0 {
                "outward"
            } else {
                "inward"
            },
            e.at,
            e.from,
            e.to
        )
    };
    let excursions: Vec<String> = outline.excursions.iter().map(where_it_is).collect();
    let stands = match excursions.as_slice() {
        [] => "inside the band of the good pieces all along".to_owned(),
        some => some.join("; "),
    };
    format!(
        "outline of {}: {} ({}; p adj. {}; {})",
        feature_words(&outline.feature),
        output::verdict_words(outline.verdict),
        stands,
        probability(outline.p_adjusted),
        counted(outline.n, "reference", "references")
    )
}

/// Which way a reading is off, in a word.
fn side(key: &str, up: bool) -> &'static str {
    let (more, less) = match key {
        "finish_lightness" => ("lighter", "darker"),
        "finish_red_green" => ("redder", "greener"),
        "finish_yellow_blue" => ("yellower", "bluer"),
        _ => ("large", "small"),
    };
    if up { more } else { less }
}

/// What a reader should take from one dimension, where there is something to take.
fn words(check: &DimensionCheck, catalogue: &Catalogue, settings: &Settings) -> Option<String> {
    let dimension = catalogue.at(check.dimension);
    let unit = &dimension.unit;
    let mut parts = Vec::new();
    match (&check.judged, check.verdict) {
        (Some(j), Verdict::OutOfNorm | Verdict::Borderline) => {
            let scale = (j.typical.high - j.typical.low) / 4.0;
            let side = side(&dimension.key, j.deviation > 0.0);
            let beyond = if j.deviation > 0.0 {
                check.value - j.typical.high
            } else {
                j.typical.low - check.value
            };
            let beyond = if beyond > 0.0 {
                format!(", {} {unit} beyond the typical range", sized(beyond, scale))
            } else {
                String::new()
            };
            let off = sized(j.deviation.abs(), scale);
            parts.push(match check.verdict {
                Verdict::OutOfNorm => format!("{side} by {off} {unit}{beyond}"),
                _ => format!(
                    "{side} by {off} {unit}; about one dimension in {} of a good piece reads this \
                     far out by chance, so this alone decides nothing",
                    (1.0 / settings.alpha()).round()
                ),
            });
        }
        // What is undecided is told together, for the dimensions that want the same.
        (_, Verdict::Undecided) | (_, Verdict::Typical) | (None, _) => {}
    }
    // What was set aside, and what a place's state means, is told together for all dimensions.
    let told = check
        .cautions
        .iter()
        .filter(|c| !c.is_of_state() && !matches!(c, Caution::ReferencesSetAside { .. }));
    parts.extend(told.map(ToString::to_string));
    (!parts.is_empty()).then(|| format!("{}: {}", dimension.label, parts.join("; ")))
}
