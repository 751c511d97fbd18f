//! `calibriar check`

use std::path::PathBuf;

use calibriar::catalogue::{Catalogue, nearest};
use calibriar::norm::{Evidence, Settings};
use calibriar::source::{Provenance, Source};
use calibriar::verdict::{Check, DimensionCheck, Verdict, check, check_against};
use clap::Args;

use super::json::{CHECK_COLUMNS, CheckOut, ChecksOut, check_rows};
use super::norms::provenance_line;
use super::output::{
    self, Format, FormatArgument, band, counted, probability, signed, sized, wrapped,
};
use super::source::{JudgeArguments, SourceArguments, group_title};
use super::{CliError, Outcome};

/// Verdict on each dimension of some pieces against their pattern's good periods
///
/// A piece's own readings never count in the norm that it is judged by. Of a wholly good piece,
/// any dimension is called out of norm with probability of at most --alpha, and each dimension is
/// called borderline about once in twenty.
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
    #[command(flatten)]
    format: FormatArgument,
    #[command(flatten)]
    source: SourceArguments,
    #[command(flatten)]
    judge: JudgeArguments,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let settings = arguments.judge.settings()?;
    let format = arguments.format.choose();
    let like = arguments
        .file
        .is_none()
        .then_some(arguments.specimens.as_slice());
    let source = arguments.source.open(like, format != Format::Csv)?;
    let cohort = arguments.judge.cohort(&source)?;
    let evidence = Evidence::gather(&cohort);
    let other: Source;
    let (checks, catalogue) = match &arguments.file {
        None => {
            let rows = rows_of(&source, &arguments.specimens)?;
            let checks = rows
                .iter()
                .map(|&row| check(&cohort, &evidence, row, &settings));
            (checks.collect::<Vec<Check>>(), &source.table.catalogue)
        }
        Some(file) => {
            other = arguments.source.open_other(file)?;
            let rows = 0..other.table.specimens.len();
            let checks =
                rows.map(|row| check_against(&cohort, &evidence, &other.table, row, &settings));
            (checks.collect(), &other.table.catalogue)
        }
    };
    match format {
        Format::Json => output::write_json(&ChecksOut {
            provenance: &source.provenance,
            checks: checks.iter().map(|c| CheckOut::new(c, catalogue)).collect(),
        })?,
        Format::Csv => output::write_csv(&CHECK_COLUMNS, check_rows(&checks, catalogue))?,
        Format::Table => {
            output::write_text(&page(&checks, catalogue, &settings, &source.provenance))?;
        }
    }
    Ok(outcome(&checks))
}

fn outcome(checks: &[Check]) -> Outcome {
    let has = |verdict: Verdict| checks.iter().any(|c| c.verdict == verdict);
    if has(Verdict::OutOfNorm) {
        Outcome::Found
    } else if has(Verdict::Typical) || has(Verdict::Borderline) {
        Outcome::Done
    } else {
        Outcome::NothingDecided
    }
}

/// The rows of the named specimens; all unknown names are told at once.
fn rows_of(source: &Source, names: &[String]) -> Result<Vec<usize>, CliError> {
    let specimens = &source.table.specimens;
    let found: Vec<(&String, Option<usize>)> = names
        .iter()
        .map(|name| (name, specimens.find(name)))
        .collect();
    let unknown: Vec<String> = found
        .iter()
        .filter(|(_, row)| row.is_none())
        .map(|(name, _)| {
            let near = nearest(name, specimens.names.iter());
            match near.as_slice() {
                [] => format!("`{name}`"),
                near => format!("`{name}` (nearest: {})", near.join(", ")),
            }
        })
        .collect();
    if unknown.is_empty() {
        Ok(found.into_iter().filter_map(|(_, row)| row).collect())
    } else {
        Err(CliError::Usage(format!(
            "no specimen {} in the source",
            unknown.join(", ")
        )))
    }
}

fn page(
    checks: &[Check],
    catalogue: &Catalogue,
    settings: &Settings,
    provenance: &Provenance,
) -> String {
    let mut text: String = checks
        .iter()
        .map(|c| piece(c, catalogue, settings) + "\n")
        .collect();
    text.push_str(&wrapped(
        "A verdict is about dimensions. It neither dates nor authenticates a piece.",
        "  ",
    ));
    text.push_str(&provenance_line(provenance));
    text
}

fn piece(check: &Check, catalogue: &Catalogue, settings: &Settings) -> String {
    let mut text = format!(
        "{}: {}\n  {}\n",
        check.specimen,
        output::verdict_words(check.verdict),
        group_title(&check.maker, &check.pattern)
    );
    if check.dimensions.is_empty() {
        text.push_str("  nothing was measured\n");
        return text;
    }
    let periods = match check.periods.as_slice() {
        [] => "judged by no dated period".to_owned(),
        periods => format!("judged by {}", periods.join(", ")),
    };
    text.push_str(&wrapped(
        &format!("{periods}; its own readings left out"),
        "  ",
    ));
    let headings = [
        "dimension",
        "unit",
        ">reads",
        "typical range",
        ">off by",
        ">score",
        ">p adj.",
        ">n",
        "verdict",
    ];
    let mut table = output::table(&headings);
    for dimension in &check.dimensions {
        let known = catalogue.at(dimension.dimension);
        let cells = match &dimension.judged {
            None => {
                let value = format!("{:.2}", dimension.value);
                vec![
                    value,
                    "too few references".to_owned(),
                    "-".into(),
                    "-".into(),
                    "-".into(),
                ]
            }
            Some(j) => {
                let scale = (j.typical.high - j.typical.low) / 4.0;
                vec![
                    sized(dimension.value, scale),
                    band(j.typical.low, j.typical.high, scale),
                    signed(j.deviation, scale),
                    signed((10.0 * j.score).round() / 10.0, 1.0),
                    probability(j.p_adjusted),
                ]
            }
        };
        let mut row = vec![
            comfy_table::Cell::new(&known.label),
            comfy_table::Cell::new(&known.unit),
        ];
        row.extend(cells.into_iter().map(comfy_table::Cell::new));
        row.push(comfy_table::Cell::new(dimension.n));
        row.push(output::verdict_cell(dimension.verdict));
        table.add_row(row);
    }
    text.push_str(&output::lines(&table));
    for line in check
        .dimensions
        .iter()
        .filter_map(|d| words(d, catalogue, settings))
    {
        text.push_str(&wrapped(&line, "  "));
    }
    text
}

/// What a reader should take from one dimension, where there is something to take.
fn words(check: &DimensionCheck, catalogue: &Catalogue, settings: &Settings) -> Option<String> {
    let dimension = catalogue.at(check.dimension);
    let unit = &dimension.unit;
    let mut parts = Vec::new();
    match (&check.judged, check.verdict) {
        (Some(j), Verdict::OutOfNorm | Verdict::Borderline) => {
            let scale = (j.typical.high - j.typical.low) / 4.0;
            let side = if j.deviation > 0.0 { "large" } else { "small" };
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
                    "{side} by {off} {unit}; of {} dimensions of a good piece about one is, so \
                     this alone decides nothing",
                    (1.0 / settings.alpha()).round()
                ),
            });
        }
        (Some(j), Verdict::Undecided) => {
            let more = match check.more_references {
                Some(n) => format!(
                    "{} would tell, or",
                    counted(n, "more reference", "more references")
                ),
                None => "the reading is too coarse: take it again;".to_owned(),
            };
            let scale = j.least_noticeable;
            parts.push(format!(
                "{} is too few; {more} a deviation of {} {unit} would be seen",
                counted(check.n, "reference", "references"),
                sized(j.least_noticeable, scale)
            ));
        }
        (None, _) => {
            let more = check.more_references.map_or(String::new(), |n| {
                format!(
                    "; {} would tell",
                    counted(n, "more reference", "more references")
                )
            });
            parts.push(format!(
                "{} of its pattern{more}",
                match check.n {
                    0 => "no reference".to_owned(),
                    n => counted(n, "reference", "references"),
                }
            ));
        }
        (Some(_), Verdict::Typical) => {}
    }
    parts.extend(check.cautions.iter().map(ToString::to_string));
    (!parts.is_empty()).then(|| format!("{}: {}", dimension.label, parts.join("; ")))
}
