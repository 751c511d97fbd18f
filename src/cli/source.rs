//! Where readings come from and whose count: the options that most commands share.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::norm::Settings;
use calibriar::source::{Request, STANDARD_INPUT, Source, open};
use calibriar::table::{Options, SetAside};
use clap::Args;

use super::{CliError, remark};

/// How to read a CSV file.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Reading CSV")]
pub(super) struct TableArguments {
    /// Read the column HEADER as a known one, such as --column year=made (repeatable)
    #[arg(long, value_name = "HEADER=NAME", value_parser = renamed)]
    column: Vec<(String, String)>,
    /// Leave these columns out
    #[arg(long, value_name = "HEADER,...", value_delimiter = ',')]
    skip: Vec<String>,
    /// Take unknown columns as plain dimensions of their heading's unit (millimetres if none)
    #[arg(long)]
    new_dimensions: bool,
    /// Go on with the good rows; write the faulty ones here, unchanged, with the reasons
    #[arg(long, value_name = "FILE.csv")]
    pub(super) set_aside: Option<PathBuf>,
}

fn renamed(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((header, name)) if !header.trim().is_empty() && !name.trim().is_empty() => {
            Ok((header.trim().to_owned(), name.trim().to_owned()))
        }
        _ => Err("expected HEADER=NAME, such as year=made".to_owned()),
    }
}

impl TableArguments {
    pub(super) fn options(&self, details: bool) -> Options {
        Options {
            columns: self.column.clone(),
            skip: self.skip.clone(),
            new_dimensions: self.new_dimensions,
            details,
        }
    }
}

/// Where the readings come from.
#[derive(Clone, Debug, Args)]
pub(super) struct SourceArguments {
    /// A collection, a data package's folder, a CSV file, or - for CSV on standard input
    #[arg(long, value_name = "PATH", env = "CALIBRIAR_COLLECTION", default_value = DEFAULT)]
    from: String,
    /// Production periods for a source that carries none: CSV maker,period,from,to,standing,note
    #[arg(long, value_name = "FILE")]
    periods_from: Option<PathBuf>,
    #[command(flatten)]
    table: TableArguments,
}

/// The collection that is meant when none is named.
pub(super) const DEFAULT: &str = "collection.db";

impl SourceArguments {
    /// Opens the source and says what the user should know of it.
    pub(super) fn open(&self, like: Option<&[String]>, digest: bool) -> Result<Source, CliError> {
        let request = Request {
            from: &self.from,
            options: self.table.options(false),
            periods_from: self.periods_from.as_deref(),
            like,
            set_aside: self.table.set_aside.is_some(),
            digest,
        };
        let source = open(&request)?;
        for doubt in &source.doubts {
            remark(doubt);
        }
        if let Some(path) = &self.table.set_aside {
            write_set_aside(&source.set_aside, path)?;
        }
        Ok(source)
    }

    /// Reads another table the same way, to judge its pieces by this source.
    pub(super) fn open_other(&self, path: &Path) -> Result<Source, CliError> {
        let name = path.display().to_string();
        let from = if name == STANDARD_INPUT {
            STANDARD_INPUT
        } else {
            &name
        };
        let request = Request {
            from,
            options: self.table.options(false),
            ..Request::default()
        };
        let source = open(&request)?;
        for doubt in &source.doubts {
            remark(doubt);
        }
        Ok(source)
    }
}

/// Writes faulty rows to a new file; says so. Nothing is written where there are none.
pub(super) fn write_set_aside(rows: &SetAside, path: &Path) -> Result<(), CliError> {
    if rows.is_empty() {
        return Ok(());
    }
    let mut file = std::fs::File::create_new(path).map_err(|error| {
        CliError::Usage(match error.kind() {
            std::io::ErrorKind::AlreadyExists => {
                format!(
                    "{} exists already and is not overwritten: name another file",
                    path.display()
                )
            }
            _ => format!("cannot write {}: {error}", path.display()),
        })
    })?;
    let mut text = Vec::new();
    rows.write(&mut text)?;
    file.write_all(&text)?;
    let count = rows.len();
    remark(format!(
        "{count} faulty row{} set aside in {}",
        if count == 1 { "" } else { "s" },
        path.display()
    ));
    Ok(())
}

/// Whose readings count, and how sure to be.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Judging")]
pub(super) struct JudgeArguments {
    /// Periods to measure by: `good`, or names separated by commas
    #[arg(
        long,
        value_name = "NAMES",
        value_delimiter = ',',
        default_value = "good"
    )]
    periods: Vec<String>,
    /// Let readings of unknown state speak for the works as well
    #[arg(long)]
    unknown_state: bool,
    /// Share of good pieces that a band is meant to hold
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    coverage: f64,
    /// Confidence of tolerance bands and of the centre's interval
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    confidence: f64,
    /// Probability with which a wholly good piece is called out of norm
    #[arg(long, value_name = "SHARE", default_value_t = 0.05)]
    alpha: f64,
}

impl JudgeArguments {
    pub(super) fn settings(&self) -> Result<Settings, CliError> {
        Ok(Settings::new(self.coverage, self.confidence, self.alpha)?)
    }

    /// Sorts a source's readings by pattern and period; warns where no standing is known.
    pub(super) fn cohort<'t>(&self, source: &'t Source) -> Result<Cohort<'t>, CliError> {
        let good = self.periods.len() == 1 && self.periods[0].eq_ignore_ascii_case("good");
        let periods = if good {
            Selection::Good
        } else {
            Selection::Named(self.periods.iter().map(|p| p.trim().to_owned()).collect())
        };
        let choice = Choice {
            periods,
            unknown_state: self.unknown_state,
        };
        let cohort = Cohort::new(&source.table, &choice)?;
        if cohort.takes_everything() {
            remark(
                "no production period has a standing, so every piece counts as good \
                 (--periods-from names good periods, --periods chooses some)",
            );
        }
        let undefined: Vec<&str> = cohort
            .periods()
            .iter()
            .filter(|p| p.standing.is_none() && !source.table.periods.is_empty())
            .map(|p| p.name.as_str())
            .collect();
        if !undefined.is_empty() {
            remark(format!(
                "no such period in the table of periods: {}",
                undefined.join(", ")
            ));
        }
        Ok(cohort)
    }
}

/// A pattern and its maker, for a heading.
pub(super) fn group_title(maker: &str, pattern: &str) -> String {
    let pattern = if pattern.is_empty() {
        "(no pattern given)"
    } else {
        pattern
    };
    if maker.is_empty() {
        pattern.to_owned()
    } else {
        format!("{pattern}, {maker}")
    }
}
