//! `calibriar history`

use std::path::PathBuf;

use calibriar::collection::{Collection, Entry, Happening};
use clap::Args;
use serde::Serialize;

use super::output::{self, Format, FormatArgument};
use super::source::{DEFAULT, collection_path};
use super::{CliError, Outcome};

/// Revisions of a collection, or what happened to one specimen: who, when, what, why
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// One specimen; all revisions if left out
    specimen: Option<String>,
    /// The collection
    #[arg(long, value_name = "COLLECTION", env = "CALIBRIAR_COLLECTION", default_value = DEFAULT, value_parser = collection_path)]
    from: PathBuf,
    #[command(flatten)]
    format: FormatArgument,
}

#[derive(Serialize)]
struct HistoryOut {
    revisions: Vec<Entry>,
}

#[derive(Serialize)]
struct SpecimenOut<'a> {
    specimen: &'a str,
    history: Vec<Happening>,
}

const REVISION_COLUMNS: [&str; 10] = [
    "revision",
    "made_on",
    "made_by",
    "action",
    "why",
    "files",
    "readings",
    "withdrawn",
    "sha256",
    "traces",
];
const HAPPENING_COLUMNS: [&str; 11] = [
    "revision",
    "made_on",
    "made_by",
    "what",
    "dimension",
    "text",
    "value",
    "unit",
    "state",
    "file",
    "why",
];

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let collection = Collection::open(&arguments.from)?;
    let format = arguments.format.choose();
    match &arguments.specimen {
        None => revisions(collection.history()?, format)?,
        Some(specimen) => {
            let history = collection.history_of(specimen)?.ok_or_else(|| {
                CliError::Usage(format!("the collection has no specimen `{specimen}`"))
            })?;
            of_specimen(specimen, history, format)?;
        }
    }
    Ok(Outcome::Done)
}

fn revisions(entries: Vec<Entry>, format: Format) -> Result<(), CliError> {
    match format {
        Format::Json => output::write_json(&HistoryOut { revisions: entries }),
        Format::Csv => output::write_csv(
            &REVISION_COLUMNS,
            entries.into_iter().map(|e| {
                let who = (e.revision, e.made_on, e.made_by, e.action, e.why);
                let files = e.files.join("; ");
                (who, files, e.readings, e.withdrawn, e.sha256, e.traces)
            }),
        ),
        Format::Table => {
            let headings = [
                ">rev.",
                "when (UTC)",
                "who",
                "action",
                ">added",
                ">withdrawn",
                "files, why",
            ];
            let mut table = output::table(&headings);
            for e in entries {
                let mut what = shortened(&e.files);
                if !e.why.is_empty() {
                    what.push_str(if what.is_empty() { "" } else { "; " });
                    what.push_str(&e.why);
                }
                output::add_row(
                    &mut table,
                    vec![
                        e.revision.to_string(),
                        e.made_on.get(..16).unwrap_or(&e.made_on).replace('T', " "),
                        e.made_by,
                        e.action,
                        // Both kinds count as what was added; the files tell them apart.
                        (e.readings + e.traces).to_string(),
                        e.withdrawn.to_string(),
                        what,
                    ],
                );
            }
            output::write_text(&output::lines(&table))
        }
    }
}

/// A few names, and how many more there are.
fn shortened(names: &[String]) -> String {
    const SHOWN: usize = 2;
    match names.len() {
        n if n > SHOWN => format!("{} and {} more", names[..SHOWN].join(", "), n - SHOWN),
        _ => names.join(", "),
    }
}

fn of_specimen(specimen: &str, history: Vec<Happening>, format: Format) -> Result<(), CliError> {
    match format {
        Format::Json => output::write_json(&SpecimenOut { specimen, history }),
        Format::Csv => output::write_csv(&HAPPENING_COLUMNS, history),
        Format::Table => {
            let headings = [
                ">rev.",
                "when",
                "who",
                "what",
                "dimension",
                ">written",
                ">value",
                "state",
                "why",
            ];
            let mut table = output::table(&headings);
            for h in history {
                output::add_row(
                    &mut table,
                    vec![
                        h.revision.to_string(),
                        h.made_on.get(..10).unwrap_or(&h.made_on).to_owned(),
                        h.made_by,
                        h.what.to_owned(),
                        h.dimension,
                        h.text,
                        h.value
                            .map_or(String::new(), |v| format!("{v:.2} {}", h.unit)),
                        h.state.to_owned(),
                        h.why,
                    ],
                );
            }
            output::write_text(&format!(
                "{}\n{}",
                output::shown(specimen),
                output::lines(&table)
            ))
        }
    }
}
