//! `calibriar page`

use std::io::Write as _;
use std::path::{Path, PathBuf};

use calibriar::catalogue::Workshop;
use calibriar::notation::DrillSet;
use calibriar::page::{Left, Origin, SpecimenPage};
use calibriar::refit::{Aim, Goal, refit, refit_against};
use calibriar::source::Source;
use clap::Args;

use super::check::rows_of;
use super::source::{JudgeArguments, SourceArguments};
use super::{CliError, Outcome};

/// A page to look at, to print or to show: one HTML file that needs no other and no network
///
/// The piece against its pattern's good periods: the pipe to scale with what is out of norm called out,
/// each dimension with its references and ranges, traced outlines and sections, the finish, size against
/// shape, and what can be put right, as found, as planned and as left.
#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 the page is written, 2 wrong use or bad input.")]
pub(super) struct Arguments {
    /// Name of a specimen in the source, or in FILE
    specimen: String,
    /// The specimen is a row of this CSV file instead (- is standard input)
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    /// Where to write the page
    #[arg(short, long, value_name = "FILE.html")]
    output: PathBuf,
    #[command(flatten)]
    judge: JudgeArguments,
    #[command(flatten)]
    source: SourceArguments,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let settings = arguments.judge.settings()?;
    let file = arguments.file.as_deref();
    let as_left = file.is_none() && arguments.source.keeps_works();
    let (source, other) = arguments.source.open_for(file, as_left, true)?;
    let cohort = arguments.judge.cohort(&source)?;
    let evidence = arguments.judge.evidence(&cohort)?;
    let judged = other.as_ref().filter(|_| file.is_some());
    let table = &judged.unwrap_or(&source).table;
    let row = row_of(judged.unwrap_or(&source), &arguments.specimen)?;
    let aim = Aim::new(0.95, Goal::Near, DrillSet::All)
        .map_err(|error| CliError::Usage(error.to_string()))?;
    let workshop = Workshop::new(&table.catalogue, None, None)?;
    let plan = match judged {
        None => refit(&evidence, row, &settings, &workshop, &aim)?,
        Some(other) => refit_against(&evidence, &other.table, row, &settings, &workshop, &aim)?,
    };
    let left = other.as_ref().filter(|_| as_left).and_then(|left| {
        let table = &left.table;
        let row = table.specimens.find(&arguments.specimen)?;
        Some(Left { table, row })
    });
    let on = today()?;
    let page = SpecimenPage {
        evidence: &evidence,
        other: judged.map(|other| &other.table),
        row,
        settings: &settings,
        plan: &plan,
        left,
        origin: Origin {
            source: &source.provenance.source,
            revision: source.provenance.revision,
            sha256: source.provenance.sha256.as_deref(),
            on: &on,
        },
    };
    for read in [Some(&source), judged].into_iter().flatten() {
        arguments.source.write_set_aside(read)?;
    }
    write_whole(&arguments.output, &page.html()?)?;
    Ok(Outcome::Done)
}

fn row_of(source: &Source, specimen: &str) -> Result<usize, CliError> {
    let rows = rows_of(source, &[specimen.to_owned()])?;
    rows.first()
        .copied()
        .ok_or_else(|| CliError::Usage(format!("no specimen `{specimen}` in the source")))
}

/// Today by UTC, or the day of `SOURCE_DATE_EPOCH` (<https://reproducible-builds.org>), so that a page can be
/// made again byte for byte.
fn today() -> Result<String, CliError> {
    let set = std::env::var("SOURCE_DATE_EPOCH").ok();
    let then = match set {
        None => jiff::Timestamp::now(),
        Some(text) => {
            let seconds = text.trim().parse().ok();
            let then = seconds.and_then(|seconds| jiff::Timestamp::from_second(seconds).ok());
            then.ok_or_else(|| {
                CliError::Usage(format!(
                    "SOURCE_DATE_EPOCH is `{text}`; expected seconds since 1970"
                ))
            })?
        }
    };
    Ok(then.strftime("%Y-%m-%d").to_string())
}

/// Writes a file whole or not at all: beside its place first.
fn write_whole(path: &Path, text: &str) -> Result<(), CliError> {
    let failed = |error: std::io::Error| {
        CliError::Usage(format!("cannot write {}: {error}", path.display()))
    };
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let beside = folder
        .unwrap_or(Path::new("."))
        .join(format!(".{name}.{}", std::process::id()));
    let written = std::fs::File::create(&beside)
        .and_then(|mut file| {
            file.write_all(text.as_bytes())
                .and_then(|()| file.sync_all())
        })
        .and_then(|()| std::fs::rename(&beside, path));
    if written.is_err() {
        // It may not be there at all.
        let _ = std::fs::remove_file(&beside);
    }
    written.map_err(failed)
}
