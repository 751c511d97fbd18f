//! `calibriar disclose`

use std::path::PathBuf;

use calibriar::catalogue::Work;
use calibriar::collection::{Collection, Dossier};
use calibriar::disclosure::{Place, Testimony, json_ld, places};
use clap::Args;

use super::output::{self, counted, shown, wrapped};
use super::record::change;
use super::source::{DEFAULT, collection_path};
use super::{CliError, Outcome};

/// Tell a buyer or a museum what left the works, what was changed since, and what that means
///
/// What is told is what the collection has: readings in their states and the works that are recorded.
/// Dimensions neither date nor authenticate a piece.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// The specimen
    specimen: String,
    /// The collection
    #[arg(long, value_name = "COLLECTION", env = "CALIBRIAR_COLLECTION", default_value = DEFAULT, value_parser = collection_path)]
    from: PathBuf,
    /// As linked data (JSON-LD) in the words of PROV-O, CIDOC CRM and Darwin Core
    #[arg(long)]
    json_ld: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let collection = Collection::open(&arguments.from)?;
    let dossier = collection.dossier(&arguments.specimen)?;
    match arguments.json_ld {
        true => output::write_json(&json_ld(&dossier, env!("CARGO_PKG_VERSION")))?,
        false => {
            let file = arguments.from.display().to_string();
            let works = Work::all(&collection.catalogue()?, None)?;
            output::write_text(&text(&dossier, &works, &file))?;
        }
    }
    Ok(Outcome::Done)
}

fn text(dossier: &Dossier, works: &[Work], file: &str) -> String {
    let places = places(dossier, works);
    let mut text = heading(dossier);
    text.push_str("\nAs it left the works\n");
    text.push_str(&as_made(&places));
    text.push_str("\nWhat was changed\n");
    text.push_str(&changes(dossier));
    let found = as_found(&places);
    if !found.is_empty() {
        text.push_str("\nFound otherwise than as it left the works\n");
        text.push_str(&found);
    }
    text.push_str("\nWhat that means for the historical record\n");
    for line in meaning(&places) {
        text.push_str(&wrapped(&line, "  "));
    }
    text.push('\n');
    let revision = &dossier.revision;
    text.push_str(&format!(
        "from {}, revision {}, by calibriar {}\nsha256 {}\n",
        shown(file),
        revision.id,
        env!("CARGO_PKG_VERSION"),
        revision.sha256
    ));
    text.push_str(
        "`calibriar history --verify --expect` with this digest tells whether these records are still as\n\
         they were here.\n",
    );
    text
}

fn heading(dossier: &Dossier) -> String {
    let mut said: Vec<String> = [&dossier.pattern, &dossier.maker]
        .into_iter()
        .filter(|name| !name.is_empty())
        .map(|name| shown(name))
        .collect();
    for (word, name) in [
        ("made", &dossier.made),
        ("period", &dossier.period),
        ("finish", &dossier.finish),
    ] {
        if !name.is_empty() {
            said.push(format!("{word} {}", shown(name)));
        }
    }
    let mut text = format!(
        "{}: what left the works, and what was changed since\n",
        shown(&dossier.specimen)
    );
    if !said.is_empty() {
        let filed = format!(
            "filed as {}; the measurements do not prove it",
            said.join(", ")
        );
        text.push_str(&wrapped(&filed, "  "));
    }
    text
}

/// The sizes as made, with what became of them.
fn as_made(places: &[Place<'_>]) -> String {
    let mut table = output::table(&["dimension", ">written", ">size", "since then"]);
    let mut any = false;
    for place in places {
        for reading in &place.as_made {
            any = true;
            let since = match (place.testimony, place.works.last()) {
                (Testimony::Untouched, _) => "no work recorded".to_owned(),
                (Testimony::MayHaveMoved, _) => {
                    format!("may have moved with {}", place.moved_with.join(", "))
                }
                (_, Some(work)) => format!("changed, last on {}", work.done_on),
                (_, None) => format!("found {}", place.stands.state),
            };
            output::add_row(
                &mut table,
                [
                    reading.label.clone(),
                    reading.text.clone(),
                    format!("{:.2} {}", reading.value, reading.unit),
                    since,
                ],
            );
        }
    }
    match any {
        true => output::lines(&table),
        false => "  No reading of a place as it left the works is kept.\n".to_owned(),
    }
}

fn changes(dossier: &Dossier) -> String {
    if dossier.works.is_empty() {
        return "  No work is recorded. That does not prove that none was done.\n".to_owned();
    }
    let mut text = String::new();
    for work in &dossier.works {
        let or = |text: &str| match text.is_empty() {
            true => "not said".to_owned(),
            false => shown(text),
        };
        let mut line = format!(
            "{}; on {}, by {}; tool: {}; why: {}",
            change(work),
            work.done_on,
            shown(&work.done_by),
            or(&work.tool),
            or(&work.why)
        );
        if work.found.withdrawn {
            line.push_str("; the reading as found was withdrawn since");
        }
        text.push_str(&wrapped(&line, "  "));
        for picture in &work.pictures {
            let name = shown(&picture.name);
            text.push_str(&format!(
                "    picture {name}\n    sha256 {}\n",
                picture.sha256
            ));
        }
    }
    text
}

/// The readings in another state than as made.
fn as_found(places: &[Place<'_>]) -> String {
    let mut table = output::table(&["dimension", ">written", ">size", "state", "since then"]);
    let mut any = false;
    for place in places {
        for reading in &place.otherwise {
            any = true;
            output::add_row(
                &mut table,
                [
                    reading.label.clone(),
                    reading.text.clone(),
                    format!("{:.2} {}", reading.value, reading.unit),
                    reading.state.to_string(),
                    match place.works.last() {
                        Some(work) => format!("changed, last on {}", work.done_on),
                        None => "no work recorded".to_owned(),
                    },
                ],
            );
        }
    }
    match any {
        true => output::lines(&table),
        false => String::new(),
    }
}

/// What each kind of place tells, and what none of them does.
fn meaning(places: &[Place<'_>]) -> Vec<String> {
    let labels = |testimony: Testimony| -> Vec<String> {
        let of = places.iter().filter(|place| place.testimony == testimony);
        of.map(|place| shown(&place.stands.label)).collect()
    };
    let mut lines = Vec::new();
    for (testimony, says) in [
        (
            Testimony::Untouched,
            "as it left the works as far as is known; the piece itself still testifies to their practice",
        ),
        (
            Testimony::MayHaveMoved,
            "read as it left the works, and no work on it is recorded; but what was worked on usually \
             moves it. Only a new reading tells whether it still testifies to their practice",
        ),
        (
            Testimony::ReadBefore,
            "not as it left the works any more; only the reading taken before testifies to their \
             practice, and only as long as this record is kept with the piece",
        ),
        (
            Testimony::Bound,
            "worn when it was read; it bounds the size as made and does not tell it",
        ),
        (
            Testimony::Unknown,
            "nobody knows whether it was as it left the works when it was read; it proves nothing either \
             way",
        ),
        (
            Testimony::Nothing,
            "worked on or another part before it was ever read; it says nothing of the works",
        ),
    ] {
        let labels = labels(testimony);
        if !labels.is_empty() {
            let n = counted(labels.len(), "place", "places");
            lines.push(format!("{n}: {}: {says}.", labels.join(", ")));
        }
    }
    let changed = |place: &&Place<'_>| {
        !place.works.is_empty() && matches!(place.testimony, Testimony::Bound | Testimony::Unknown)
    };
    let changed: Vec<String> = (places.iter().filter(changed))
        .map(|place| shown(&place.stands.label))
        .collect();
    if !changed.is_empty() {
        lines.push(format!(
            "Changed since: {}. Of these only the reading taken before is left, for what it tells.",
            changed.join(", ")
        ));
    }
    let replaced: Vec<String> = places
        .iter()
        .filter(|place| place.stands.state == calibriar::catalogue::State::Replaced)
        .map(|place| shown(&place.stands.label))
        .collect();
    if !replaced.is_empty() {
        lines.push(format!(
            "Not the works' own any more: the part with {}. Nothing that is measured on it tells of the \
             works.",
            replaced.join(", ")
        ));
    }
    if places.iter().any(|place| !place.works.is_empty()) {
        lines.push(
            "A size as left is the choice of whoever did the work. It is kept apart from the sizes as made \
             and has no part in any norm."
                .to_owned(),
        );
    }
    lines.push(
        "Told is what was recorded; works that nobody recorded are not known here. Dimensions neither date \
         nor authenticate a piece."
            .to_owned(),
    );
    lines
}
