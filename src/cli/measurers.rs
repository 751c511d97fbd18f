//! `calibriar measurers`

use calibriar::catalogue::Catalogue;
use calibriar::measurers::{Bias, LEAST_FREEDOM, Measurers, Reach, Spread, Study, measurers};
use calibriar::norm::Settings;
use calibriar::notation::Quantity;
use calibriar::report::{BIAS_COLUMNS, BiasRow, STUDY_COLUMNS, StudyRow};
use calibriar::source::{Provenance, Source};
use clap::{Args, ValueEnum};

use super::json::{MeasurersOut, StudyOut};
use super::norms::provenance_line;
use super::output::{self, Format, FormatArgument, counted, fine, probability, shown};
use super::source::SourceArguments;
use super::{CliError, Outcome};

/// How far different people's readings of the same pieces differ, and what a reading is worth
///
/// Where a piece was measured more than once: repeatability (one measurer, again), reproducibility
/// (another measurer), and how far each measurer and each instrument is off the others. Only
/// differences between readings of the same place speak, so it does not matter which pieces these
/// are. What is found here serves `norms`, `check`, `flag` and `rates` for readings that were
/// written without an uncertainty of their own. A fault that all measurers share cannot be seen.
#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 answered, 2 wrong use or bad input.")]
pub(super) struct Arguments {
    /// What CSV is to hold
    #[arg(long, value_enum, default_value_t = Part::Dimensions)]
    part: Part,
    /// Confidence of all intervals
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    confidence: f64,
    #[command(flatten)]
    format: FormatArgument,
    #[command(flatten)]
    source: SourceArguments,
}

/// One of the two tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Part {
    /// Repeatability and reproducibility by dimension
    Dimensions,
    /// How far each measurer and instrument is off
    Biases,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let confidence = Settings::new(0.95, arguments.confidence, 0.05)?.confidence();
    let format = arguments.format.choose();
    let source = arguments
        .source
        .open_in_detail(format != Format::Csv, None)?;
    let found = measurers(&source.table, confidence)?;
    arguments.source.write_set_aside(&source)?;
    let catalogue = &source.table.catalogue;
    let studies = found.studies.iter();
    let biases = found.biases.iter();
    let biases = biases.map(|b| BiasRow::new(b, catalogue, confidence));
    match (format, arguments.part) {
        (Format::Json, _) => output::write_json(&MeasurersOut {
            provenance: &source.provenance,
            dimensions: studies
                .map(|s| StudyOut::new(s, &found.errors, catalogue, confidence))
                .collect(),
            biases: biases.collect(),
        })?,
        (Format::Csv, Part::Dimensions) => {
            let rows = studies.map(|s| StudyRow::new(s, &found.errors, catalogue, confidence));
            output::write_csv(STUDY_COLUMNS, rows)?;
        }
        (Format::Csv, Part::Biases) => output::write_csv(BIAS_COLUMNS, biases)?,
        (Format::Table, _) => output::write_text(&page(&source, &found, confidence))?,
    }
    Ok(Outcome::Done)
}

/// The page for people: words first.
fn page(source: &Source, found: &Measurers, confidence: f64) -> String {
    let catalogue = &source.table.catalogue;
    if found.studies.is_empty() {
        return nothing(&source.provenance);
    }
    let mut text = String::new();
    let mut say = |line: &str| text.push_str(&output::wrapped(line, ""));
    let told = who_is_off(&found.biases, catalogue, confidence);
    told.iter().for_each(|line| say(line));
    match (found.biases.is_empty(), told.is_empty()) {
        (true, _) => say(
            "No two measurers or instruments can be compared: too few pieces were read by both.",
        ),
        (false, true) => say(&format!(
            "No measurer or instrument is off the others beyond chance ({} looked at).",
            counted(found.biases.len(), "figure", "figures")
        )),
        _ => {}
    }
    for study in &found.studies {
        for line in remarks(study, catalogue) {
            say(&line);
        }
    }
    text.push('\n');
    text.push_str(&spreads(found, catalogue));
    if !found.biases.is_empty() {
        text.push('\n');
        text.push_str(&bias_table(found, catalogue));
    }
    text.push('\n');
    for line in legend(confidence) {
        text.push_str(&output::wrapped(&line, "  "));
    }
    text.push_str(&provenance_line(&source.provenance));
    text
}

/// What to do where nothing was measured twice.
fn nothing(provenance: &Provenance) -> String {
    let text = format!(
        "No piece was measured more than once in {}: nothing can be said of measurers. Ten pieces, each \
         measured twice by each of two people on different evenings, would tell: write one row a reading, \
         with the columns specimen, dimension, value, unit, instrument, measured_by, measured_on.",
        provenance.source
    );
    output::wrapped(&text, "")
}

/// Which dimension, for people.
fn label(reach: Reach, catalogue: &Catalogue) -> String {
    match reach {
        Reach::Dimension(dimension) => catalogue.at(dimension).label.clone(),
        Reach::All(Quantity::Length) => "all lengths".to_owned(),
        Reach::All(Quantity::Mass) => "all weights".to_owned(),
        Reach::All(Quantity::Angle) => "all angles".to_owned(),
        Reach::All(Quantity::Colour) => "all colours".to_owned(),
    }
}

fn named(name: &str) -> String {
    match name {
        "" => "(no name)".to_owned(),
        name => shown(name),
    }
}

/// Who is off beyond chance, in words: what one measurer or instrument is off is one sentence,
/// whatever the dimensions; then whether the rest agree.
fn who_is_off(biases: &[Bias], catalogue: &Catalogue, confidence: f64) -> Vec<String> {
    let clear = |p: Option<f64>| p.is_some_and(|p| p < 1.0 - confidence);
    let (mut off, mut pairs, mut agree, mut differ) = <(Told, Told, Agreed, Told)>::default();
    let same = |a: &Bias, b: &Bias| a.factor == b.factor && a.reach == b.reach;
    for of_scope in biases.chunk_by(same) {
        if !of_scope.iter().any(|of| clear(of.p_adjusted)) {
            continue;
        }
        if let [one, other] = of_scope {
            let more = OffBy::new(one, one.bias, one.low, one.high, catalogue);
            let (one, other) = (named(&one.name), named(&other.name));
            add(&mut pairs, (one, more.more(), other), more);
            continue;
        }
        let mut out: Vec<&Bias> = of_scope.iter().filter(|b| b.taken_out.is_some()).collect();
        out.sort_by_key(|of| of.taken_out);
        let Some(first) = out.first() else {
            // Too many are off to say that the others are right.
            for of in of_scope.iter().filter(|of| clear(of.p_adjusted)) {
                let by = OffBy::new(of, of.bias, of.low, of.high, catalogue);
                add(
                    &mut off,
                    (named(&of.name), by.more(), OTHERS.to_owned()),
                    by,
                );
            }
            continue;
        };
        for (of, to) in out.iter().filter_map(|of| Some((of, of.of_rest?))) {
            let by = OffBy::new(of, to.bias, to.low, to.high, catalogue);
            add(
                &mut off,
                (named(&of.name), by.more(), OTHERS.to_owned()),
                by,
            );
        }
        let rest = of_scope.iter().filter(|of| of.taken_out.is_none());
        let rest: Vec<_> = rest.filter_map(|of| Some((of, of.of_rest?))).collect();
        let without = listed(out.iter().map(|of| named(&of.name)).collect());
        match rest.iter().find(|(_, to)| clear(to.p_adjusted)) {
            Some((of, to)) => {
                let by = OffBy::new(of, to.bias, to.low, to.high, catalogue);
                add(&mut differ, (named(&of.name), by.more(), without), by);
            }
            None => {
                let names = listed(rest.iter().map(|(of, _)| named(&of.name)).collect());
                let ends = rest.iter().map(|(_, to)| to.low.abs().max(to.high.abs()));
                let within = ends.fold(0.0, f64::max);
                let label = label(first.reach, catalogue);
                add(&mut agree, (without, names), (label, within, &*first.unit));
            }
        }
    }
    let mut lines: Vec<String> = Vec::new();
    for ((name, more, others), by) in &off {
        lines.push(format!("{}.", reads(name, more, others, by)));
    }
    let several = agree.len() > 1;
    for ((without, names), of) in &agree {
        let mut units: Vec<(&str, f64)> = Vec::new();
        for &(_, within, unit) in of {
            match units.iter_mut().find(|(known, _)| *known == unit) {
                Some((_, most)) => *most = most.max(within),
                None => units.push((unit, within)),
            }
        }
        let units = units
            .iter()
            .map(|(unit, most)| format!("{} {unit}", fine(*most)));
        let dimensions: Vec<&str> = of.iter().map(|(label, ..)| label.as_str()).collect();
        let dimensions = match several {
            true => format!(" in {}", dimensions.join(", ")),
            false => String::new(),
        };
        lines.push(format!(
            "Without {without}, {names} agree{dimensions} (within {}).",
            units.collect::<Vec<String>>().join(", ")
        ));
    }
    for ((name, more, without), by) in &differ {
        lines.push(format!(
            "Without {without} the others do not agree either: {}; who is right cannot be told.",
            reads(name, more, "the rest", by)
        ));
    }
    for ((name, more, other), by) in &pairs {
        lines.push(format!(
            "{}. Which of the two is off cannot be told; a third one's readings would.",
            reads(name, more, other, by)
        ));
    }
    lines
}

const OTHERS: &str = "the others";

/// Who reads more or less than whom, and by how much in each dimension.
type Told = Vec<((String, &'static str, String), Vec<OffBy>)>;

/// Without whom, who agrees, and within what: dimension, width and unit.
type Agreed<'a> = Vec<((String, String), Vec<(String, f64, &'a str)>)>;

/// Adds to what is said of the same already.
fn add<K: PartialEq, V>(all: &mut Vec<(K, Vec<V>)>, key: K, value: V) {
    match all.iter_mut().find(|(known, _)| *known == key) {
        Some((_, values)) => values.push(value),
        None => all.push((key, vec![value])),
    }
}

/// How far somebody is off in a dimension.
struct OffBy {
    label: String,
    unit: String,
    bias: f64,
    interval: (f64, f64),
    places: usize,
}

impl OffBy {
    fn new(of: &Bias, bias: f64, low: f64, high: f64, catalogue: &Catalogue) -> OffBy {
        OffBy {
            label: label(of.reach, catalogue),
            unit: of.unit.clone(),
            bias,
            interval: match bias > 0.0 {
                true => (low, high),
                false => (-high, -low),
            },
            places: of.pieces,
        }
    }

    fn more(&self) -> &'static str {
        match self.bias > 0.0 {
            true => "more",
            false => "less",
        }
    }

    fn size(&self) -> String {
        format!("{} {}", fine(self.bias.abs()), self.unit)
    }

    fn within(&self) -> String {
        format!("({} to {})", fine(self.interval.0), fine(self.interval.1))
    }
}

/// `Cy reads 0.15 mm more than the others in bit width (0.12 to 0.18); by 15 places`, or all
/// dimensions after a colon.
fn reads(name: &str, more: &str, others: &str, by: &[OffBy]) -> String {
    if let [by] = by {
        return format!(
            "{name} reads {} {more} than {others} in {} {}; by {}",
            by.size(),
            by.label,
            by.within(),
            counted(by.places, "place", "places"),
        );
    }
    let each = by
        .iter()
        .map(|by| format!("{} {} {}", by.label, by.size(), by.within()));
    let each: Vec<String> = each.collect();
    format!("{name} reads {more} than {others}: {}", each.join(", "))
}

/// `Ann, Ben and Cleo`.
fn listed(mut names: Vec<String>) -> String {
    const SHOWN: usize = 6;
    if names.len() > SHOWN {
        let more = names.len() - SHOWN + 1;
        names.truncate(SHOWN - 1);
        names.push(format!("{more} more"));
    }
    match names.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, all)) => format!("{} and {last}", all.join(", ")),
        None => String::new(),
    }
}

/// What to know of a study.
fn remarks(study: &Study, catalogue: &Catalogue) -> Vec<String> {
    let name = label(study.scope.reach, catalogue);
    let mut remarks = Vec::new();
    if !study.set_aside.is_empty() {
        const SHOWN: usize = 5;
        let one = |aside: &calibriar::measurers::SetAsideRepeats| {
            let values: Vec<String> = aside.values.iter().take(SHOWN).map(|v| plain(*v)).collect();
            format!("{} ({})", shown(&aside.specimen), values.join(" and "))
        };
        let mut names: Vec<String> = study.set_aside.iter().take(SHOWN).map(one).collect();
        if study.set_aside.len() > SHOWN {
            names.push(format!("{} more", study.set_aside.len() - SHOWN));
        }
        remarks.push(format!(
            "{name}: left out, because their readings differ far more than those of other pieces; look \
             for a slip: {}",
            names.join(", ")
        ));
    }
    if study.scope.instrument.is_none() && !study.apart.is_empty() {
        let names: Vec<String> = study.apart.iter().map(|n| named(n)).collect();
        remarks.push(format!(
            "{name}: no piece joins {} to the others, so they cannot be compared",
            names.join(", ")
        ));
    }
    if study.freedom == 0 && study.pieces > 0 && study.scope.instrument.is_none() {
        remarks.push(format!("{name}: too few repeats to tell a spread"));
    }
    if let Some(error) = study.failed {
        remarks.push(format!("{name}: cannot be worked out: {error}"));
    }
    remarks
}

/// A value as it reads best.
fn plain(value: f64) -> String {
    match value.abs() < 1e7 {
        true => format!("{value}"),
        false => format!("{value:.0e}"),
    }
}

/// Repeatability and reproducibility.
fn spreads(found: &Measurers, catalogue: &Catalogue) -> String {
    let headings = [
        "dimension",
        ">pieces",
        ">people",
        ">s_r",
        "interval",
        ">s_R",
        "interval",
        ">used",
    ];
    let mut table = output::table(&headings);
    for study in &found.studies {
        let row = StudyRow::new(study, &found.errors, catalogue, 0.95);
        let number = |value: Option<f64>| value.map_or("-".to_owned(), fine);
        let interval = |spread: Option<Spread>| {
            let interval = spread.and_then(|s| s.interval);
            interval.map_or("-".to_owned(), |(low, high)| {
                format!("{} to {}", fine(low), fine(high))
            })
        };
        let name = match &study.scope.instrument {
            None => format!("{}, {}", label(study.scope.reach, catalogue), study.unit),
            Some(instrument) => format!("  by {}", shown(instrument)),
        };
        output::add_row(
            &mut table,
            vec![
                name,
                study.pieces.to_string(),
                study.measurers.to_string(),
                number(row.repeatability),
                interval(study.repeatability),
                number(row.reproducibility),
                interval(study.reproducibility),
                number(row.reading_error),
            ],
        );
    }
    output::lines(&table)
}

/// All biases, or where these are many those that stand out and those of all dimensions together.
fn bias_table(found: &Measurers, catalogue: &Catalogue) -> String {
    /// A page that people read to its end.
    const MANY: usize = 16;
    let headings = [
        "who, with what",
        "dimension",
        ">pieces",
        ">reads",
        "interval",
        ">p adj.",
        ">of the rest",
    ];
    let anybody_out = found.biases.iter().any(|of| of.of_rest.is_some());
    let shown = headings.len() - usize::from(!anybody_out);
    let mut table = output::table(&headings[..shown]);
    let all = found.biases.len();
    let telling = |bias: &&Bias| {
        let whole = matches!(bias.reach, Reach::All(_));
        all <= MANY || whole || bias.p.is_none_or(|p| p < 0.05)
    };
    let rows: Vec<&Bias> = found.biases.iter().filter(telling).collect();
    for bias in &rows {
        let size = |value: f64| match value > 0.0 {
            true => format!("+{}", fine(value)),
            false => fine(value),
        };
        let mut cells = vec![
            named(&bias.name),
            format!("{}, {}", label(bias.reach, catalogue), bias.unit),
            bias.pieces.to_string(),
            size(bias.bias),
            format!("{} to {}", size(bias.low), size(bias.high)),
            bias.p_adjusted.map_or("-".to_owned(), probability),
            bias.of_rest.map_or("-".to_owned(), |of| size(of.bias)),
        ];
        cells.truncate(shown);
        output::add_row(&mut table, cells);
    }
    let mut text = match rows.is_empty() {
        true => String::new(),
        false => output::lines(&table),
    };
    if rows.len() < all {
        text.push_str(&output::wrapped(
            &format!(
                "{} more figures with p of 0.05 or more are left out here: --part biases --format csv",
                all - rows.len()
            ),
            "",
        ));
    }
    text
}

fn legend(confidence: f64) -> [String; 6] {
    [
        "s_r: repeatability, standard deviation of one measurer's readings of one place: two of them \
         differ by more than the limit r = 2.8 s_r only once in 20 times"
            .to_owned(),
        "s_R: reproducibility, the same for just any measurer's readings; limit R = 2.8 s_R".to_owned(),
        format!(
            "used: standard uncertainty of a reading that was written without one, where its own step is \
             finer, by repeats of such readings alone; only with at least {LEAST_FREEDOM} degrees of freedom \
             after pieces and measurers"
        ),
        "reads: more (+) or less than the mean of the others, pieces taken out; p adjusted for all rows \
         (Holm)"
            .to_owned(),
        "of the rest: the same against those who are left, where those who are off were taken out one \
         after the other"
            .to_owned(),
        format!(
            "interval: {} % confidence; a fault that all measurers share cannot be seen",
            100.0 * confidence
        ),
    ]
}
