//! `calibriar record`

use std::path::{Path, PathBuf};

use calibriar::catalogue::{Catalogue, Day, Floor};
use calibriar::collection::{
    Collection, CollectionError, Dossier, NewRecord, Recorded, WorkDone, read_picture, sha256_hex,
};
use calibriar::source::STANDARD_INPUT;
use calibriar::table::{
    Picture, Typed, WorkDefaults, WorkSheet, read_bytes, read_works, typed_works,
};
use clap::Args;
use clap::builder::NonEmptyStringValueParser;
use serde_json::json;

use super::add::author;
use super::output::{counted, report, shown};
use super::source::{DEFAULT, assignment, collection_path, key_of};
use super::{CliError, Outcome, remark};

/// Record works done on a piece: as found, as left, by whom, when, with what tool, what for
///
/// What a work leaves is `reworked`, or `replaced` with another part: it tells of the piece as it
/// stands now, and never of the works that made it. The piece's readings as found stay as they are,
/// those of untouched places too. Nothing is overwritten: a record is a revision of its own, whose
/// digest covers the one before. A work starts from what the last one left, else from the newest
/// reading that counts. `check --as-left` judges the piece as it stands, `history` replays it.
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("works").required(true).args(["done", "set"]))]
pub(super) struct Arguments {
    /// The specimen, which the collection must have
    specimen: String,
    /// The works: CSV with columns dimension and as_left; also as_found, unit, uncertainty, tool, why,
    /// done_by, done_on, picture, replaced
    #[arg(long, value_name = "FILE.csv")]
    done: Option<PathBuf>,
    /// The size in which a dimension was left, such as bit_thickness=4.1mm; may be given more than
    /// once
    #[arg(long, value_name = "DIMENSION=SIZE", value_parser = assignment)]
    set: Vec<(String, String)>,
    /// The size in which it was found, where the collection has none, with its state in braces where
    /// that is known: "bit_thickness=4.6mm {worn}"; may be given more than once
    #[arg(long, value_name = "DIMENSION=SIZE", value_parser = assignment, requires = "set")]
    found: Vec<(String, String)>,
    /// Who did it, and records it [default: the name of the user]
    #[arg(long, value_name = "NAME", value_parser = NonEmptyStringValueParser::new())]
    by: Option<String>,
    /// The day on which it was done [default: today]
    #[arg(long, value_name = "DAY", value_parser = day)]
    on: Option<Day>,
    /// With what it was done
    #[arg(long, value_name = "TOOL", default_value = "")]
    tool: String,
    /// What for
    #[arg(long, value_name = "REASON", default_value = "")]
    why: String,
    /// A picture of it: its digest is kept, not the picture; may be given more than once
    #[arg(long, value_name = "FILE")]
    picture: Vec<PathBuf>,
    /// The part is another one now: its size may be any
    #[arg(long)]
    replaced: bool,
    /// The collection
    #[arg(long, value_name = "COLLECTION", env = "CALIBRIAR_COLLECTION", default_value = DEFAULT,
        value_parser = collection_path)]
    to: PathBuf,
}

/// A day as typed.
pub(super) fn day(text: &str) -> Result<Day, calibriar::catalogue::NotADay> {
    Day::parse(text)
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let author = author(arguments.by.as_deref(), Some(&arguments.why));
    if !arguments.to.exists() {
        let file = arguments.to.display().to_string();
        return Err(CollectionError::Missing { file }.into());
    }
    // Opened to be read first, so that a file that is no collection stays as it is.
    let catalogue = Collection::open(&arguments.to)?.catalogue()?;
    let defaults = WorkDefaults {
        done_by: author.by.clone(),
        done_on: arguments.on.unwrap_or(day_after(0)?),
        tool: arguments.tool.trim().to_owned(),
        why: arguments.why.trim().to_owned(),
        replaced: arguments.replaced,
        pictures: pictures(&arguments.picture)?,
    };
    let (name, sha256, sheet) = match &arguments.done {
        Some(file) => done(file, &catalogue, &defaults)?,
        None => typed(arguments, &catalogue, &defaults)?,
    };
    if !sheet.faults.is_empty() {
        let faults = sheet.faults;
        return Err(CollectionError::Works { faults }.into());
    }
    let record = NewRecord {
        specimen: arguments.specimen.clone(),
        name,
        sha256,
        options: options(&arguments.specimen, &defaults),
        works: sheet.works,
    };
    // When it is morning in the east it is still the day before by UTC.
    let latest = day_after(14)?;
    let mut collection = Collection::open_or_create(&arguments.to)?;
    let recorded = collection.record(&record, &author, latest)?;
    let digest = collection.revision()?.sha256;
    report(&told(&recorded, arguments, &digest))?;
    too_little_left(
        &collection.dossier(&arguments.specimen)?,
        &recorded,
        &catalogue,
    )
}

/// Says where less is left than must remain, after these works: done they are, but there may be a slip in what was
/// written down.
fn too_little_left(
    dossier: &Dossier,
    recorded: &Recorded,
    catalogue: &Catalogue,
) -> Result<Outcome, CliError> {
    let size = |key: &str| {
        let mut places = dossier.places.iter();
        places
            .find(|place| place.dimension == key)
            .map(|place| place.value)
    };
    for floor in Floor::all(catalogue, None)? {
        let touched = |(key, _): &(String, f64)| recorded.works.iter().any(|w| w.dimension == *key);
        let left = floor.left(size).filter(|left| *left < floor.least);
        if let (Some(left), true) = (left, floor.made_of.iter().any(touched)) {
            remark(format_args!(
                "{}: {}: {left:.2} mm now, at least {} mm should be ({}); look for a slip, or leave it alone from \
                 here on",
                shown(&dossier.specimen),
                floor.label,
                floor.least,
                floor.source
            ));
        }
    }
    Ok(Outcome::Done)
}

/// The day so many hours from now, by UTC.
fn day_after(hours: i64) -> Result<Day, CliError> {
    let then = jiff::Timestamp::now().checked_add(jiff::SignedDuration::from_hours(hours));
    let day = then.map(|then| then.strftime("%Y-%m-%d").to_string());
    let day = day.ok().and_then(|day| Day::parse(&day).ok());
    day.ok_or_else(|| CliError::Usage("the clock of this computer tells no day".to_owned()))
}

fn pictures(paths: &[PathBuf]) -> Result<Vec<Picture>, CliError> {
    let mut pictures: Vec<Picture> = Vec::new();
    for path in paths {
        let picture = read_picture(path).map_err(|error| {
            CliError::Usage(format!(
                "--picture {}: the picture cannot be read: {error}",
                shown(&path.display().to_string())
            ))
        })?;
        if !pictures.contains(&picture) {
            pictures.push(picture);
        }
    }
    Ok(pictures)
}

/// The works of a file.
fn done(
    file: &Path,
    catalogue: &Catalogue,
    defaults: &WorkDefaults,
) -> Result<(String, String, WorkSheet), CliError> {
    let name = file.display().to_string();
    if name == STANDARD_INPUT {
        return Err(CliError::Usage(
            "record reads a file; standard input has no name to remember".into(),
        ));
    }
    let bytes = read_bytes(file)?;
    let sha256 = sha256_hex(&bytes);
    // Pictures are named as seen from the file that names them.
    let folder = file.parent().unwrap_or(Path::new("")).to_owned();
    let picture = |name: &str| read_picture(&folder.join(name)).map_err(|e| e.to_string());
    let sheet = read_works(&name, bytes, catalogue, defaults, &picture)?;
    let name = file.file_name().map(|n| n.to_string_lossy().into_owned());
    Ok((name.unwrap_or_default(), sha256, sheet))
}

/// The works that were typed.
fn typed(
    arguments: &Arguments,
    catalogue: &Catalogue,
    defaults: &WorkDefaults,
) -> Result<(String, String, WorkSheet), CliError> {
    let mut found = Vec::new();
    for (dimension, size) in &arguments.found {
        let key = key_of(catalogue, dimension)?;
        if found.iter().any(|(known, _)| *known == key) {
            return Err(CliError::Usage(format!(
                "--found: `{dimension}` is named twice"
            )));
        }
        found.push((key, size.as_str()));
    }
    let mut typed = Vec::new();
    for (dimension, size) in &arguments.set {
        let key = key_of(catalogue, dimension)?;
        let of = found.iter().position(|(known, _)| *known == key);
        typed.push(Typed {
            dimension,
            left: size,
            found: of.map_or("", |at| found.remove(at).1),
        });
    }
    if let Some((key, _)) = found.first() {
        return Err(CliError::Usage(format!(
            "--found {key}: no --set tells how it was left"
        )));
    }
    let lines = typed.iter().map(|t| {
        let cells = json!([t.dimension, t.left, t.found]);
        cells.to_string() + "\n"
    });
    let lines: String = lines.collect();
    let sheet = typed_works(&typed, catalogue, defaults);
    Ok(("--set".to_owned(), sha256_hex(lines.as_bytes()), sheet))
}

/// What was said besides the works, for the collection to remember.
fn options(specimen: &str, defaults: &WorkDefaults) -> String {
    let pictures: Vec<&str> = defaults.pictures.iter().map(|p| &*p.sha256).collect();
    json!({
        "record": specimen,
        "by": defaults.done_by,
        "on": defaults.done_on.to_string(),
        "tool": defaults.tool,
        "why": defaults.why,
        "replaced": defaults.replaced,
        "pictures": pictures,
    })
    .to_string()
}

fn told(recorded: &Recorded, arguments: &Arguments, digest: &str) -> String {
    let (specimen, revision) = (shown(&arguments.specimen), recorded.revision);
    if !recorded.new {
        return format!(
            "the same works on {specimen} are recorded already (revision {revision}); nothing new\n"
        );
    }
    let works = counted(recorded.works.len(), "work", "works");
    let mut text = format!(
        "{}, revision {revision}: {works} on {specimen} recorded\n",
        arguments.to.display()
    );
    for work in &recorded.works {
        text.push_str(&format!("  {}\n", change(work)));
    }
    text.push_str(&format!("digest: {digest}\n"));
    text
}

/// `bit thickness: 4.6 mm (worn) -> 4.1mm (reworked)`
pub(super) fn change(work: &WorkDone) -> String {
    format!(
        "{}: {} ({}) -> {} ({})",
        shown(&work.label),
        shown(&work.found.text),
        work.found.state,
        shown(&work.left.text),
        work.left.state
    )
}
