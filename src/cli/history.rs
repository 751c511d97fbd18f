//! `calibriar history`

use std::path::PathBuf;

use calibriar::catalogue::Day;
use calibriar::collection::{Collection, Entry, Happening, Replay};
use calibriar::report::{STANDING_COLUMNS, StandingRow, WorkRow};
use clap::Args;
use serde::Serialize;

use super::output::{self, Format, FormatArgument};
use super::record::{change, day};
use super::source::{DEFAULT, collection_path};
use super::verify::{self, Asked};
use super::{CliError, Outcome};

/// Revisions of a collection, or what happened to one specimen: who, when, what, why
///
/// Without a specimen all revisions; --verify proves that nothing was changed since. Of a specimen all
/// that happened to it; with --on or --revision the piece as it was then.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 done, 1 --verify found something that is not as it was written, \
    2 wrong use or bad input."
)]
pub(super) struct Arguments {
    /// One specimen; all revisions if left out
    specimen: Option<String>,
    /// The collection
    #[arg(long, value_name = "COLLECTION", env = "CALIBRIAR_COLLECTION", default_value = DEFAULT, value_parser = collection_path)]
    from: PathBuf,
    /// The piece as it was at the end of that day, by the days on which works were done
    #[arg(long, value_name = "DAY", value_parser = day, requires = "specimen")]
    on: Option<Day>,
    /// The piece as the collection knew it at that revision, whenever the works were done; together
    /// with --on: as it was on that day by what was known then
    #[arg(long, value_name = "NUMBER", requires = "specimen")]
    revision: Option<i64>,
    /// Compute every revision's digest again and say whether the chain is whole
    #[arg(long, conflicts_with = "specimen")]
    verify: bool,
    /// A digest that was noted elsewhere: with it, --verify notices as well that the newest revisions
    /// were cut off or all was written anew
    #[arg(long, value_name = "DIGEST", requires = "verify")]
    expect: Option<String>,
    /// A folder with the pictures of works: each is held against its digest
    #[arg(long, value_name = "FOLDER", requires = "verify")]
    pictures: Option<PathBuf>,
    #[command(flatten)]
    format: FormatArgument,
}

#[derive(Serialize)]
struct ReplayOut<'a> {
    specimen: &'a str,
    on: Option<String>,
    revision: i64,
    places: Vec<StandingRow<'a>>,
    works: Vec<WorkRow<'a>>,
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

const REVISION_COLUMNS: [&str; 11] = [
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
    "works",
];
const HAPPENING_COLUMNS: [&str; 16] = [
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
    "as_found",
    "tool",
    "done_by",
    "done_on",
    "pictures",
];

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let collection = Collection::open(&arguments.from)?;
    let format = arguments.format.choose();
    if arguments.verify {
        return verify::run(&Asked {
            collection: &collection,
            file: &arguments.from,
            expect: arguments.expect.as_deref(),
            pictures: arguments.pictures.as_deref(),
            json: format == Format::Json,
        });
    }
    if let Some(specimen) = &arguments.specimen
        && (arguments.on.is_some() || arguments.revision.is_some())
    {
        let replay = collection.replay(specimen, arguments.on, arguments.revision)?;
        replayed(&replay, arguments.on, format)?;
        return Ok(Outcome::Done);
    }
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
                let counts = (e.readings, e.withdrawn);
                (who, files, counts, e.sha256, e.traces, e.works)
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
        Format::Csv => output::write_csv(
            &HAPPENING_COLUMNS,
            history.into_iter().map(|h| {
                let pictures = h.pictures.join("; ");
                let of_work = (h.as_found, h.tool, h.done_by, h.done_on, pictures);
                let who = (h.revision, h.made_on, h.made_by, h.what);
                let reading = (h.dimension, h.text, h.value, h.unit, h.state, h.file, h.why);
                (who, reading, of_work)
            }),
        ),
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
                        match h.what {
                            "worked" => format!("{} -> {}", h.as_found, h.text),
                            _ => h.text,
                        },
                        h.value
                            .map_or(String::new(), |v| format!("{v:.2} {}", h.unit)),
                        h.state.to_owned(),
                        match h.what {
                            "worked" => work_words([&h.done_on, &h.done_by, &h.tool, &h.why]),
                            _ => h.why,
                        },
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

/// When, by whom, with what and what for, as far as it was said.
fn work_words(said: [&str; 4]) -> String {
    let said: Vec<&str> = said.into_iter().filter(|text| !text.is_empty()).collect();
    said.join(", ")
}

fn replayed(replay: &Replay, on: Option<Day>, format: Format) -> Result<(), CliError> {
    let places = replay.places.iter().map(StandingRow::new);
    match format {
        Format::Json => output::write_json(&ReplayOut {
            specimen: &replay.specimen,
            on: on.map(|day| day.to_string()),
            revision: replay.revision,
            places: places.collect(),
            works: replay.works.iter().map(WorkRow::new).collect(),
        }),
        Format::Csv => output::write_csv(&STANDING_COLUMNS, places),
        Format::Table => {
            let headings = [
                "dimension",
                ">written",
                ">value",
                "state",
                "since",
                ">works",
            ];
            let mut table = output::table(&headings);
            for place in &replay.places {
                output::add_row(
                    &mut table,
                    [
                        place.label.clone(),
                        place.text.clone(),
                        format!("{:.2} {}", place.value, place.unit),
                        place.state.to_string(),
                        match place.since.is_empty() {
                            true => "as found".to_owned(),
                            false => place.since.clone(),
                        },
                        place.works.to_string(),
                    ],
                );
            }
            let when = match on {
                Some(day) => format!("on {day}, by the days on which works were done"),
                None => "after all works that are recorded".to_owned(),
            };
            let mut text = format!(
                "{} {when}; known at revision {}\n{}",
                output::shown(&replay.specimen),
                replay.revision,
                output::lines(&table)
            );
            for work in &replay.works {
                let said = work_words([&work.done_on, &work.done_by, &work.tool, &work.why]);
                let line = format!("{}; {}", change(work), output::shown(&said));
                text.push_str(&output::wrapped(&line, "  "));
            }
            output::write_text(&text)
        }
    }
}
