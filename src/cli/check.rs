//! `calibriar check`

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use calibriar::catalogue::nearest;
use calibriar::report::{DIMENSION_COLUMNS, PIECE_COLUMNS, check_rows};
use calibriar::source::{Provenance, STANDARD_INPUT, Source};
use calibriar::verdict::{
    Check, Verdict, Working, check, check_against, references, references_against, working,
    working_against,
};
use calibriar::words::{CheckWords, counted, grain, group_title, judged_by};
use clap::Args;
use comfy_table::Cell;

use super::json::{CheckOut, ChecksOut};
use super::norms::provenance_line;
use super::output::{self, Format, band, probability, signed, wrapped};
use super::source::{Question, assignment, key_of, size};
use super::strip::{Pen, strip};
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
    after_help = "Exit status: 0 no dimension out of norm, 1 some dimension out of norm, \
    2 wrong use or bad input, 3 nothing could be decided."
)]
pub(super) struct Arguments {
    /// Names of specimens in the source, or in FILE
    #[arg(required_unless_present = "file")]
    specimens: Vec<String>,
    /// Judge the rows of this CSV file instead (- is standard input): all, or those that are named
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
    let rows = rows_of(judged, file, &arguments.specimens)?;
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
                words: CheckWords {
                    cohort: &cohort,
                    catalogue,
                    settings: &settings,
                },
                pen: Pen::choose(),
            };
            let references_of = |&row: &usize| match &other {
                None => references(&evidence, row),
                Some(other) => references_against(&evidence, &other.table, row),
            };
            let compared = checks.iter().zip(rows.iter().map(references_of));
            output::write_text(&page.text(compared, &source.provenance))?;
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

/// The rows of the named specimens, or of all of a file where none is named; all unknown names are told at
/// once.
pub(super) fn rows_of(
    source: &Source,
    file: Option<&Path>,
    specimens: &[String],
) -> Result<Vec<usize>, CliError> {
    let known = &source.table.specimens;
    if specimens.is_empty() {
        return Ok((0..known.len()).collect());
    }
    let rows = specimens.iter().map(|name| known.find(name));
    let rows: Vec<Option<usize>> = rows.collect();
    if rows.iter().all(Option::is_some) {
        return Ok(rows.into_iter().flatten().collect());
    }
    let unknown = specimens.iter().zip(&rows).filter(|(_, row)| row.is_none());
    let unknown: Vec<String> = unknown
        .map(
            |(name, _)| match nearest(name, known.names.iter()).as_slice() {
                [] => format!("`{name}`"),
                near => format!("`{name}` (nearest: {})", near.join(", ")),
            },
        )
        .collect();
    let place = match file {
        None => "the source".to_owned(),
        Some(file) if file == Path::new(STANDARD_INPUT) => "standard input".to_owned(),
        Some(file) => file.display().to_string(),
    };
    let aside = match source.set_aside.len() {
        0 => String::new(),
        n => format!(" but for {}", counted(n, "faulty row", "faulty rows")),
    };
    Err(CliError::Usage(format!(
        "no specimen {} in {place}{aside}",
        unknown.join(", ")
    )))
}

/// What the tables for people are made from.
struct Page<'a> {
    words: CheckWords<'a>,
    pen: Pen,
}

/// The readings of references by dimension, as [`references`] has them.
type References = [(usize, Vec<f64>)];

impl Page<'_> {
    fn text<'c>(
        &self,
        compared: impl Iterator<Item = (&'c Check, Vec<(usize, Vec<f64>)>)>,
        provenance: &Provenance,
    ) -> String {
        let (mut text, mut tells, mut draws) = (String::new(), false, false);
        for (check, references) in compared {
            let (piece, has_strips) = self.piece(check, &references);
            text.push_str(&piece);
            text.push('\n');
            tells |= check.dimensions.iter().any(|d| d.n > 0);
            draws |= has_strips;
        }
        if text.is_empty() {
            text.push_str("no good row to judge\n");
        }
        if tells {
            let mut lines = self.words.legend();
            if draws {
                // The scope of all verdicts stays last.
                lines.insert(lines.len().saturating_sub(1), self.pen.legend(true));
            }
            text.extend(lines.iter().map(|line| wrapped(line, "  ")));
        }
        text.push_str(&provenance_line(provenance));
        text
    }

    /// What is said of one piece, and whether strips are shown.
    fn piece(&self, check: &Check, references: &References) -> (String, bool) {
        let mut draws = false;
        let headline = self.words.headline(check);
        let title = group_title(&check.maker, &check.pattern);
        let mut text = format!("{}  {title}\n", wrapped(&headline, ""));
        if check.dimensions.is_empty() {
            text.push_str("  no reading that counts\n");
            return (text, draws);
        }
        text.push_str(&wrapped(&judged_by(check, self.words.cohort), "  "));
        if let Some(strength) = self.words.strength(check) {
            text.push_str(&wrapped(&strength, "  "));
        }
        if check.dimensions.iter().any(|d| d.n > 0) {
            let (table, has_strips) = self.table(check, references);
            text.push_str(&table);
            draws = has_strips;
        }
        for line in self.words.sentences(check) {
            text.push_str(&wrapped(&line, "  "));
        }
        (text, draws)
    }

    fn table(&self, check: &Check, references: &References) -> (String, bool) {
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
            "strip",
        ];
        let mut table = output::table(&headings);
        let mut draws = false;
        for dimension in &check.dimensions {
            let known = self.words.catalogue.at(dimension.dimension);
            let numbers = match &dimension.judged {
                None => {
                    let value = format!("{:.2}", dimension.value);
                    [value, "too few".into(), "-".into(), "-".into(), "-".into()]
                }
                Some(j) => {
                    let scale = grain(j.typical);
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
            let drawn = dimension.judged.as_ref().map_or(String::new(), |judged| {
                let of = references.iter().find(|(at, _)| *at == dimension.dimension);
                let values = of.map_or(&[][..], |(_, values)| values);
                strip(
                    judged.typical,
                    values.iter().copied(),
                    Some(dimension.value),
                    self.pen,
                )
            });
            draws |= !drawn.is_empty();
            row.push(Cell::new(drawn));
            table.add_row(row);
        }
        output::with_strips(table, draws)
    }
}
