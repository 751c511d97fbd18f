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
    let clear = |b: &&Bias| b.p_adjusted.is_some_and(|p| p < 1.0 - confidence);
    let mut told = 0;
    for (at, bias) in found.biases.iter().enumerate() {
        if clear(&bias) && !bias.mirrors_last {
            say(&in_words(bias, found.biases.get(at + 1), catalogue));
            told += 1;
        }
    }
    match (found.biases.is_empty(), told) {
        (true, _) => say(
            "No two measurers or instruments can be compared: too few pieces were read by both.",
        ),
        (false, 0) => say(&format!(
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

/// A clear bias in words; `next` is the other of a pair.
fn in_words(bias: &Bias, next: Option<&Bias>, catalogue: &Catalogue) -> String {
    let others = match (bias.others, next) {
        (1, Some(other)) => named(&other.name),
        _ => "the others".to_owned(),
    };
    let (more, sign) = match bias.bias > 0.0 {
        true => ("more", 1.0),
        false => ("less", -1.0),
    };
    let (a, b) = (sign * bias.low, sign * bias.high);
    format!(
        "{} reads {} {} {more} than {others} in {} ({} to {}); by {}.",
        named(&bias.name),
        fine(bias.bias.abs()),
        bias.unit,
        label(bias.reach, catalogue),
        fine(a.min(b)),
        fine(a.max(b)),
        counted(bias.pieces, "place", "places"),
    )
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
    ];
    let mut table = output::table(&headings);
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
        output::add_row(
            &mut table,
            vec![
                named(&bias.name),
                format!("{}, {}", label(bias.reach, catalogue), bias.unit),
                bias.pieces.to_string(),
                size(bias.bias),
                format!("{} to {}", size(bias.low), size(bias.high)),
                bias.p_adjusted.map_or("-".to_owned(), probability),
            ],
        );
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

fn legend(confidence: f64) -> [String; 5] {
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
        format!(
            "interval: {} % confidence; a fault that all measurers share cannot be seen",
            100.0 * confidence
        ),
    ]
}
