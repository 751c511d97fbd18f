//! `calibriar add`

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use calibriar::catalogue::Catalogue;
use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::collection::{
    Added, Author, Collection, CollectionError, NewContent, NewFile, Package, View, is_package,
    read_package,
};
use calibriar::source::{STANDARD_INPUT, new_file};
use calibriar::table::{SetAside, read_bytes};
use clap::Args;
use clap::builder::NonEmptyStringValueParser;

use super::output::{self, counted};
use super::progress::Bar;
use super::source::{AsideFile, DEFAULT, TableArguments, collection_path};
use super::{CliError, Outcome, norms, remark, screen};

/// Add tables of measurements, of traces or of production periods to a collection
///
/// One fault in any file refuses them all and changes nothing; --set-aside goes on without the
/// faulty rows. A file that is in the collection already adds nothing. A piece or a reading that
/// contradicts the collection is refused unless --correct records it as a correction: the old
/// reading stays readable in the history.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// CSV or Parquet files, or the folders of data packages
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// The collection; it is made where there is none
    #[arg(long, value_name = "COLLECTION", env = "CALIBRIAR_COLLECTION", default_value = DEFAULT,
        value_parser = collection_path)]
    to: PathBuf,
    /// Let what contradicts the collection replace it; needs --why
    #[arg(long, requires = "why")]
    correct: bool,
    /// Who adds [default: the name of the user]
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Why, for the history
    #[arg(long, value_name = "REASON", value_parser = NonEmptyStringValueParser::new())]
    why: Option<String>,
    #[command(flatten)]
    table: TableArguments,
}

/// The author of a revision made now.
pub(super) fn author(by: Option<&str>, why: Option<&str>) -> Author {
    let user = || {
        ["USER", "USERNAME", "LOGNAME"]
            .iter()
            .find_map(|v| std::env::var(v).ok())
    };
    Author {
        by: by
            .map(str::to_owned)
            .or_else(user)
            .unwrap_or_else(|| "unknown".to_owned()),
        on: jiff::Timestamp::now()
            .strftime("%Y-%m-%dT%H:%M:%SZ")
            .to_string(),
        why: why.unwrap_or_default().to_owned(),
    }
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let author = author(arguments.by.as_deref(), arguments.why.as_deref());
    if let Some(folder) = exported_collection(&arguments.files)? {
        let revision = Collection::update(&arguments.to, &mut |collection| {
            collection.import(folder)?;
            collection.revision()
        })?;
        return output::report(&format!(
            "took over the collection in {} up to revision {}, history and all
",
            folder.display(),
            revision.id
        ));
    }
    let known = match Collection::open(&arguments.to) {
        Ok(collection) => Some(collection),
        Err(CollectionError::Missing { .. } | CollectionError::Empty { .. }) => None,
        Err(error) => return Err(error.into()),
    };
    let catalogue = match &known {
        Some(collection) => collection.catalogue()?,
        None => Catalogue::standard(),
    };
    let files = read_all(arguments, &catalogue)?;
    let aside = prepare_aside(known.as_ref(), &files, arguments.table.set_aside.as_deref())?;
    drop(known);
    let files: Vec<NewFile> = files.into_iter().map(|f| f.file).collect();
    let pieces = pieces_of(&files);
    let bar = Bar::new(None, "{spinner} {human_pos} readings stored");
    let added = Collection::update(&arguments.to, &mut |collection| {
        collection.add(&files, &author, arguments.correct, &mut |n| bar.stand(n))
    });
    bar.finish();
    let added = added?;
    aside.into_iter().try_for_each(AsideFile::keep)?;
    let outcome = output::report(&report(&added, &arguments.to));
    if let Some(revision) = added.revision {
        after_works(&arguments.to, revision);
    }
    if added.new_readings + added.corrections > 0 {
        look_for_slips(&arguments.to, &pieces);
    }
    outcome
}

/// Collections of so few specimens are looked at as a whole.
const SMALL: usize = 500;
/// With more specimens than so many, and so many for each that is added, `add` would keep people waiting.
const QUICK: usize = 5_000;
const PER_PIECE: usize = 20;

/// The specimens of which the files bring measurements, by name.
fn pieces_of(files: &[NewFile]) -> HashSet<String> {
    let names = |file: &NewFile| match &file.content {
        NewContent::Table(table) => table.specimens.names.iter().map(str::to_owned).collect(),
        _ => Vec::new(),
    };
    files.iter().flat_map(names).collect()
}

/// Says which readings of these pieces look like slips, by what the collection now holds of their
/// patterns. It is stored, so nothing that goes wrong here is a failure of the command.
fn look_for_slips(path: &Path, pieces: &HashSet<String>) {
    let looked = || -> Result<(), CliError> {
        let collection = Collection::open(path)?;
        let size = collection.size()?;
        if size > QUICK + PER_PIECE * pieces.len() {
            remark("a large collection is not looked through for slips now: calibriar screen");
            return Ok(());
        }
        let table = match size {
            0..=SMALL => collection.table_as(View {
                details: true,
                ..View::default()
            })?,
            _ => collection.fellows_of(pieces)?,
        };
        let names = table.specimens.names.iter();
        let rows: Vec<bool> = names.map(|name| pieces.contains(name)).collect();
        let every = Choice {
            periods: Selection::Every,
            unknown_state: false,
        };
        let cohort = Cohort::new(&table, &every)?;
        let of_rows = rows.iter().enumerate().filter(|(_, new)| **new);
        let mut groups: Vec<usize> = of_rows.map(|(row, _)| cohort.group_of(row)).collect();
        groups.sort_unstable();
        groups.dedup();
        norms::look_alikes(&cohort, &groups).iter().for_each(remark);
        screen::caution(&table, rows)
    };
    if let Err(error) = looked() {
        remark(format!("not looked through for slips: {error}"));
    }
}

/// Says which readings are of places that were worked on and yet are called as made. It is stored, so
/// nothing that goes wrong here is a failure of the command.
fn after_works(path: &Path, revision: i64) {
    const SHOWN: usize = 10;
    let collection = Collection::open(path).ok();
    let of = collection.and_then(|collection| collection.as_made_after_works(revision).ok());
    let of = of.unwrap_or_default();
    for (specimen, label, day) in of.iter().take(SHOWN) {
        remark(format!(
            "{}, {label}: added as it left the works, but a work on it of {day} is recorded; if it was \
             measured after that, withdraw it and add it with the state reworked",
            output::shown(specimen)
        ));
    }
    if of.len() > SHOWN {
        remark(format!("and {} more", of.len() - SHOWN));
    }
}

/// The folder of an exported collection, where exactly that is added.
fn exported_collection(files: &[PathBuf]) -> Result<Option<&Path>, CliError> {
    for file in files.iter().filter(|f| is_package(f)) {
        if read_package(file)? == Package::Collection {
            return match files {
                [only] => Ok(Some(only)),
                _ => Err(CliError::Usage(format!(
                    "{} is an exported collection; add it alone, to a new collection",
                    file.display()
                ))),
            };
        }
    }
    Ok(None)
}

/// A file that was read, and what of it is left out.
struct ReadFile {
    name: String,
    file: NewFile,
    aside: SetAside,
}

/// Reads every file; the faults of all of them are told at once.
fn read_all(arguments: &Arguments, catalogue: &Catalogue) -> Result<Vec<ReadFile>, CliError> {
    let mut paths = Vec::new();
    for file in &arguments.files {
        if is_package(file) {
            if let Package::Tables(tables) = read_package(file)? {
                paths.extend(tables.into_iter().map(|t| t.path));
            }
        } else {
            paths.push(file.clone());
        }
    }
    let options = arguments.table.options(true);
    let keep_going = arguments.table.set_aside.is_some();
    let mut files = Vec::new();
    let mut refused: Vec<CliError> = Vec::new();
    for path in &paths {
        let name = path.display().to_string();
        let read = if name == STANDARD_INPUT {
            Err(CliError::Usage(
                "add reads files; standard input has no name to remember".into(),
            ))
        } else {
            read_bytes(path).map_err(CliError::from).and_then(|bytes| {
                Ok(new_file(
                    &name,
                    bytes,
                    &options,
                    catalogue.clone(),
                    keep_going,
                )?)
            })
        };
        match read {
            Ok(read) => {
                read.doubts.iter().for_each(remark);
                read.cautions.iter().for_each(remark);
                files.push(ReadFile {
                    name,
                    file: read.file,
                    aside: read.set_aside,
                });
            }
            Err(error) => refused.push(error),
        }
    }
    match refused.pop() {
        None => Ok(files),
        Some(last) => {
            refused.iter().for_each(super::complain);
            Err(last)
        }
    }
}

/// Writes the faulty rows of each file that is new, under passing names; with several such files
/// each gets its name into the path.
fn prepare_aside(
    collection: Option<&Collection>,
    files: &[ReadFile],
    path: Option<&Path>,
) -> Result<Vec<AsideFile>, CliError> {
    let Some(path) = path else {
        return Ok(Vec::new());
    };
    let mut faulty = Vec::new();
    for file in files.iter().filter(|f| !f.aside.is_empty()) {
        let known = match collection {
            Some(collection) => collection.knows(&file.file)?,
            None => false,
        };
        if !known {
            faulty.push(file);
        }
    }
    let stem = |p: &Path| {
        p.file_stem()
            .map_or(String::new(), |s| s.to_string_lossy().into_owned())
    };
    let mut targets: Vec<PathBuf> = Vec::new();
    for file in &faulty {
        let target = match faulty.len() {
            1 => path.to_owned(),
            _ => path.with_file_name(format!(
                "{}-{}.csv",
                stem(path),
                stem(Path::new(&file.name))
            )),
        };
        if targets.contains(&target) {
            return Err(CliError::Usage(format!(
                "two files would be set aside in {}: add them one after the other",
                target.display()
            )));
        }
        targets.push(target);
    }
    let prepared = faulty
        .iter()
        .zip(&targets)
        .map(|(f, t)| AsideFile::prepare(&f.aside, t));
    Ok(prepared
        .collect::<Result<Vec<_>, _>>()?
        .into_iter()
        .flatten()
        .collect())
}

fn report(added: &Added, to: &Path) -> String {
    let mut text = String::new();
    for (name, revision) in &added.known_files {
        text.push_str(&format!(
            "{name} is in the collection already (revision {revision})\n"
        ));
    }
    match added.revision {
        None => text.push_str(&format!("nothing new for {}\n", to.display())),
        Some(revision) => {
            let mut parts = vec![
                counted(added.new_specimens, "new specimen", "new specimens"),
                counted(added.new_readings, "new reading", "new readings"),
            ];
            let traces = |n| counted(n, "trace", "traces");
            let known = counted(added.known_readings, "reading", "readings");
            for (n, words) in [
                (
                    added.new_traces,
                    counted(added.new_traces, "new trace", "new traces"),
                ),
                (added.known_readings, format!("{known} there already")),
                (
                    added.withdrawn_readings,
                    format!(
                        "{} withdrawn earlier stay so",
                        counted(added.withdrawn_readings, "reading", "readings")
                    ),
                ),
                (
                    added.known_traces,
                    format!("{} there already", traces(added.known_traces)),
                ),
                (
                    added.withdrawn_traces,
                    format!(
                        "{} withdrawn earlier stay so",
                        traces(added.withdrawn_traces)
                    ),
                ),
                (
                    added.corrections,
                    counted(added.corrections, "correction", "corrections"),
                ),
                (
                    added.new_periods,
                    counted(added.new_periods, "period", "periods"),
                ),
            ] {
                if n > 0 {
                    parts.push(words);
                }
            }
            text.push_str(&format!(
                "{}, revision {revision}: {}\n",
                to.display(),
                parts.join(", ")
            ));
        }
    }
    text
}
