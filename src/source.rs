//! Whatever `--from` names: a collection, a data package, a CSV or Parquet file or standard input.

use std::collections::HashMap;
use std::io::Read as _;
use std::path::Path;

use crate::catalogue::Catalogue;
use crate::collection::{
    Author, Collection, CollectionError, NewFile, Package, View, is_package, read_package,
    sha256_hex, unknown_specimen,
};
#[cfg(feature = "frame")]
use crate::frame::FrameError;
use crate::table::{
    Content, Doubt, Fault, FaultKind, Options, SetAside, Table, TableError, Trace, read, read_bytes,
};

/// Standard input, as `--from` names it.
pub const STANDARD_INPUT: &str = "-";

/// What to open, and how.
#[derive(Clone, Debug, Default)]
pub struct Request<'a> {
    /// Path, or [`STANDARD_INPUT`].
    pub from: &'a str,
    /// How to read a CSV or Parquet file.
    pub options: Options,
    /// A table of production periods for a source that carries none.
    pub periods_from: Option<&'a Path>,
    /// A table of traces that go with the source; all its rows must be good.
    pub traces_from: Option<&'a Path>,
    /// Go on without the faulty rows.
    pub set_aside: bool,
    /// Work out the digest of the data.
    pub digest: bool,
    /// Keep the single readings as they were written ([`Table::details`]).
    pub details: bool,
    /// Keep them where a place was read more than once; other sources pay nothing for it.
    pub details_of_repeats: bool,
    /// A collection as it stood at that revision.
    pub revision: Option<i64>,
    /// The pieces of a collection as they stand after the works that are recorded; such a table is to
    /// be judged, not to judge by.
    pub as_left: bool,
    /// Dimensions that are known besides those of the trade, for a CSV file.
    pub catalogue: Option<&'a Catalogue>,
}

/// Readings to work with, and where they come from.
#[derive(Debug)]
pub struct Source {
    /// The readings.
    pub table: Table,
    /// Where they come from.
    pub provenance: Provenance,
    /// Values that no real pipe has.
    pub doubts: Vec<Doubt>,
    /// What should be looked at in the traces, for people.
    pub cautions: Vec<String>,
    /// The rows that were left out because of faults.
    pub set_aside: SetAside,
}

/// Where numbers come from: enough to get them again, digit for digit.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Provenance {
    /// The source as it was named.
    pub source: String,
    /// The collection's revision; none for a file.
    pub revision: Option<i64>,
    /// Digest of the collection at that revision, or of the file's bytes; none where it was not
    /// asked for.
    pub sha256: Option<String>,
    /// Version of this program.
    pub version: &'static str,
}

/// A source that cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SourceError {
    /// A table as a whole.
    #[error(transparent)]
    Table(#[from] TableError),
    /// Cells of a table.
    #[error("{file} has {}; nothing was done", crate::table::counted(faults.len(), "fault"))]
    Faults {
        /// The file, as it was named.
        file: String,
        /// Each of them.
        faults: Vec<Fault>,
    },
    /// The store.
    #[error(transparent)]
    Collection(#[from] CollectionError),
    /// A Parquet file.
    #[cfg(feature = "frame")]
    #[error(transparent)]
    Frame(FrameError),
    /// A file that holds something else.
    #[error("{file} holds {found}; expected {expected}")]
    Unfit {
        /// The file, as it was named.
        file: String,
        /// What it holds.
        found: &'static str,
        /// What was expected.
        expected: &'static str,
    },
    /// An option that does not go with the source.
    #[error("{option} goes with a CSV or Parquet file; {source_name} is {found}")]
    OptionUnfit {
        /// The option.
        option: &'static str,
        /// The source, as it was named.
        source_name: String,
        /// What it is.
        found: &'static str,
    },
    /// A trace that the source has already, and otherwise.
    #[error("{file}, row {row}: the source has another {trace} of {specimen} already")]
    TraceTwice {
        /// The table of traces.
        file: String,
        /// The row where it begins.
        row: usize,
        /// The feature and its repeat.
        trace: String,
        /// The specimen.
        specimen: String,
    },
    /// An earlier revision of something that has none.
    #[error("{source_name} is no collection: only a collection has earlier revisions")]
    NoRevisions {
        /// The source, as it was named.
        source_name: String,
    },
    /// The pieces as works left them, of something that records none.
    #[error("{source_name} is no collection: only a collection records works")]
    NoWorks {
        /// The source, as it was named.
        source_name: String,
    },
    /// Periods from two places.
    #[error("{file} carries its own production periods; leave --periods-from out")]
    PeriodsTwice {
        /// The source, as it was named.
        file: String,
    },
}

#[cfg(feature = "frame")]
impl From<FrameError> for SourceError {
    fn from(error: FrameError) -> SourceError {
        match error {
            FrameError::Table(error) => SourceError::Table(error),
            FrameError::Faults { file, faults } => SourceError::Faults { file, faults },
            error => SourceError::Frame(error),
        }
    }
}

/// Opens a source.
///
/// # Errors
/// [`SourceError`]; the message says what was expected.
pub fn open(request: &Request<'_>) -> Result<Source, SourceError> {
    let path = Path::new(request.from);
    let mut source = if request.from != STANDARD_INPUT && is_package(path) {
        refuse_options(request, "a data package")?;
        stored(request, &open_package(path)?)?
    } else if request.from != STANDARD_INPUT && looks_like_collection(path) {
        refuse_options(request, "a collection")?;
        stored(request, &Collection::open(path)?)?
    } else {
        file(request)?
    };
    if let Some(from) = request.periods_from {
        if !source.table.periods.is_empty() {
            return Err(SourceError::PeriodsTwice {
                file: request.from.to_owned(),
            });
        }
        source.table.periods = read_periods(from)?;
    }
    if let Some(from) = request.traces_from {
        source
            .cautions
            .extend(give_traces(from, &mut [&mut source.table])?);
    }
    Ok(source)
}

/// Reads a table of traces and gives each table those of its own specimens; gives the cautions.
///
/// # Errors
/// [`SourceError::Faults`] for every faulty row and for every trace of a specimen that none of the
/// tables has; [`SourceError::TraceTwice`] for one that a table has otherwise already.
pub fn give_traces(path: &Path, tables: &mut [&mut Table]) -> Result<Vec<String>, SourceError> {
    let file = path.display().to_string();
    let content = read(
        &file,
        read_bytes(path)?,
        &Options::default(),
        Catalogue::standard(),
    );
    let expected = "traces: the columns specimen, feature, station, reading";
    let unfit = |found| SourceError::Unfit {
        file: file.clone(),
        found,
        expected,
    };
    let sheet = match content {
        Ok(Content::Traces(sheet)) => sheet,
        Ok(Content::Measurements(_)) => return Err(unfit("measurements")),
        Ok(Content::Periods(_)) => return Err(unfit("production periods")),
        Err(TableError::NoSpecimenColumn { .. }) => return Err(unfit("no traces")),
        Err(TableError::Header { faults, .. }) if !faults.iter().any(is_of_traces) => {
            return Err(unfit("no traces"));
        }
        Err(error) => return Err(error.into()),
    };
    let mut faults = sheet.faults;
    // The tables that have each specimen that was traced.
    let traced = sheet
        .traces
        .iter()
        .map(|t| (t.specimen.clone(), Vec::new()));
    let mut holders: HashMap<String, Vec<usize>> = traced.collect();
    for (at, table) in tables.iter().enumerate() {
        for name in table.specimens.names.iter() {
            if let Some(holders) = holders.get_mut(name) {
                holders.push(at);
            }
        }
    }
    holders.values_mut().for_each(Vec::dedup);
    for (trace, place) in sheet.traces.iter().zip(&sheet.places) {
        if holders.get(&trace.specimen).is_none_or(Vec::is_empty) {
            let names = tables.iter().flat_map(|t| t.specimens.names.iter());
            faults.push(unknown_specimen(&trace.specimen, place, names));
        }
    }
    if !faults.is_empty() {
        faults.sort_by_key(|f| (f.place.row, f.place.column));
        return Err(SourceError::Faults { file, faults });
    }
    // Traces that the tables have already, by specimen and name: none is given twice.
    let key = |trace: &Trace| {
        (
            trace.specimen.clone(),
            trace.feature.to_string(),
            trace.repeat,
        )
    };
    let mut known: Vec<HashMap<_, usize>> = Vec::new();
    for table in tables.iter() {
        let keys = table.traces.iter().map(key);
        known.push(keys.zip(0..).collect());
    }
    for (place, trace) in sheet.places.iter().zip(sheet.traces) {
        let key = key(&trace);
        let mut new = Vec::new();
        for &at in holders.get(&trace.specimen).into_iter().flatten() {
            match known[at].get(&key).map(|&same| &tables[at].traces[same]) {
                None => new.push(at),
                // Not the whole: a collection keeps no label of a feature of one's own.
                Some(same) if same.state == trace.state && same.reading == trace.reading => {}
                Some(_) => {
                    return Err(SourceError::TraceTwice {
                        file,
                        row: place.row,
                        trace: trace.name(),
                        specimen: trace.specimen,
                    });
                }
            }
        }
        let Some((last, others)) = new.split_last() else {
            continue;
        };
        for &at in others {
            tables[at].traces.push(trace.clone());
        }
        tables[*last].traces.push(trace);
    }
    Ok(sheet.cautions)
}

/// Whether a fault is one of the header of a table of traces.
fn is_of_traces(fault: &Fault) -> bool {
    matches!(fault.kind, FaultKind::Trace(_))
}

/// Whether a path names a CSV file or standard input, not a collection or a package.
pub fn is_table(from: &str) -> bool {
    let path = Path::new(from);
    from == STANDARD_INPUT || !(is_package(path) || looks_like_collection(path))
}

fn refuse_options(request: &Request<'_>, found: &'static str) -> Result<(), SourceError> {
    let options = &request.options;
    let given = [
        (!options.columns.is_empty(), "--column"),
        (!options.skip.is_empty(), "--skip"),
        (options.new_dimensions, "--new-dimensions"),
        (request.set_aside, "--set-aside"),
    ];
    match given.into_iter().find(|(given, _)| *given) {
        Some((_, option)) => Err(SourceError::OptionUnfit {
            option,
            source_name: request.from.to_owned(),
            found,
        }),
        None => Ok(()),
    }
}

/// An SQLite file, and whatever is named as one, is answered as a collection; anything else is a
/// table.
fn looks_like_collection(path: &Path) -> bool {
    if path.extension().is_some_and(|e| e == "db") {
        return true;
    }
    // A pipe with a name gives its first bytes once only.
    let mut head = [0u8; 16];
    path.is_file()
        && std::fs::File::open(path).is_ok_and(|mut f| f.read_exact(&mut head).is_ok())
        && head == *b"SQLite format 3\0"
}

fn stored(request: &Request<'_>, collection: &Collection) -> Result<Source, SourceError> {
    let revision = match request.revision {
        Some(revision) => collection.revision_at(revision)?,
        None => collection.revision()?,
    };
    let view = View {
        revision: request.revision,
        details: request.details,
        details_of_repeats: request.details_of_repeats,
        as_left: request.as_left,
    };
    Ok(Source {
        table: collection.table_as(view)?,
        provenance: Provenance {
            source: request.from.to_owned(),
            revision: Some(revision.id),
            sha256: Some(revision.sha256),
            version: env!("CARGO_PKG_VERSION"),
        },
        doubts: Vec::new(),
        cautions: Vec::new(),
        set_aside: SetAside::default(),
    })
}

/// A data package as a collection in memory.
fn open_package(folder: &Path) -> Result<Collection, SourceError> {
    let mut collection = Collection::in_memory()?;
    match read_package(folder)? {
        Package::Collection => collection.import(folder)?,
        Package::Tables(tables) => {
            let mut files = Vec::new();
            for table in tables {
                let options = Options {
                    details: true,
                    ..Options::default()
                };
                let bytes = read_bytes(&table.path)?;
                let read = new_file(&table.name, bytes, &options, Catalogue::standard(), false)?;
                files.push(read.file);
            }
            // Nobody keeps this revision; its author and date must not depend on the day.
            let author = Author {
                by: String::new(),
                on: String::new(),
                why: String::new(),
            };
            collection.add(&files, &author, false, &mut |_| {})?;
        }
    }
    Ok(collection)
}

fn file(request: &Request<'_>) -> Result<Source, SourceError> {
    if request.revision.is_some() {
        return Err(SourceError::NoRevisions {
            source_name: request.from.to_owned(),
        });
    }
    if request.as_left {
        return Err(SourceError::NoWorks {
            source_name: request.from.to_owned(),
        });
    }
    let bytes = match request.from {
        STANDARD_INPUT => {
            let mut bytes = Vec::new();
            std::io::stdin()
                .lock()
                .read_to_end(&mut bytes)
                .map_err(|source| TableError::Read {
                    file: "standard input".to_owned(),
                    source,
                })?;
            bytes
        }
        from => read_bytes(Path::new(from))?,
    };
    let sha256 = request.digest.then(|| sha256_hex(&bytes));
    let name = if request.from == STANDARD_INPUT {
        "standard input"
    } else {
        request.from
    };
    let catalogue = request
        .catalogue
        .cloned()
        .unwrap_or_else(Catalogue::standard);
    let mut options = request.options.clone();
    options.details |= request.details;
    options.details_of_repeats |= request.details_of_repeats;
    match read_table(name, bytes, &options, catalogue)? {
        Content::Measurements(sheet) => {
            if !sheet.faults.is_empty() && !request.set_aside {
                return Err(SourceError::Faults {
                    file: name.to_owned(),
                    faults: sheet.faults,
                });
            }
            Ok(Source {
                table: sheet.table,
                provenance: Provenance {
                    source: request.from.to_owned(),
                    revision: None,
                    sha256,
                    version: env!("CARGO_PKG_VERSION"),
                },
                doubts: sheet.doubts,
                cautions: sheet.cautions,
                set_aside: sheet.set_aside,
            })
        }
        Content::Traces(_) => Err(SourceError::Unfit {
            file: name.to_owned(),
            found: "traces",
            expected: "measurements (traces are given with --traces)",
        }),
        Content::Periods(_) => Err(SourceError::Unfit {
            file: name.to_owned(),
            found: "production periods",
            expected: "measurements (periods are given with --periods-from)",
        }),
    }
}

/// Reads a CSV or a Parquet file; which of them, its first bytes tell.
fn read_table(
    name: &str,
    bytes: Vec<u8>,
    options: &Options,
    catalogue: Catalogue,
) -> Result<Content, SourceError> {
    if !bytes.starts_with(b"PAR1") {
        return Ok(read(name, bytes, options, catalogue)?);
    }
    #[cfg(feature = "frame")]
    {
        let sheet = crate::frame::sheet_from_parquet(name, bytes, options, catalogue)?;
        Ok(Content::Measurements(Box::new(sheet)))
    }
    #[cfg(not(feature = "frame"))]
    Err(SourceError::Table(TableError::NoParquet {
        file: name.to_owned(),
        verb: "reading",
    }))
}

/// Reads a table of production periods.
///
/// # Errors
/// [`SourceError`] for anything else, and for every faulty row.
pub fn read_periods(path: &Path) -> Result<crate::catalogue::Periods, SourceError> {
    let name = path.display().to_string();
    match read(
        &name,
        read_bytes(path)?,
        &Options::default(),
        Catalogue::standard(),
    ) {
        Ok(Content::Periods(sheet)) if sheet.faults.is_empty() => Ok(sheet.periods),
        Ok(Content::Periods(sheet)) => Err(SourceError::Faults {
            file: name,
            faults: sheet.faults,
        }),
        Ok(Content::Measurements(_) | Content::Traces(_))
        | Err(TableError::NoSpecimenColumn { .. } | TableError::Header { .. }) => {
            Err(SourceError::Unfit {
                file: name,
                found: "no production periods",
                expected: "the columns maker,period,from,to,standing,note",
            })
        }
        Err(error) => Err(error.into()),
    }
}

/// A file that was read for a collection.
#[derive(Debug)]
pub struct ReadFile {
    /// What may be added.
    pub file: NewFile,
    /// Values that no real pipe has.
    pub doubts: Vec<Doubt>,
    /// What should be looked at in its traces, for people.
    pub cautions: Vec<String>,
    /// The rows that were left out because of faults.
    pub set_aside: SetAside,
}

/// Reads a file for a collection.
///
/// # Errors
/// [`SourceError::Faults`] for faulty rows unless `set_aside`, and unusable tables.
pub fn new_file(
    name: &str,
    bytes: Vec<u8>,
    options: &Options,
    catalogue: Catalogue,
    set_aside: bool,
) -> Result<ReadFile, SourceError> {
    let sha256 = sha256_hex(&bytes);
    let options_kept = serde_json::json!({
        "column": options.columns.iter().map(|(h, n)| format!("{h}={n}")).collect::<Vec<_>>(),
        "skip": options.skip,
        "new_dimensions": options.new_dimensions,
    })
    .to_string();
    let refused = |faults: Vec<Fault>| SourceError::Faults {
        file: name.to_owned(),
        faults,
    };
    let (mut doubts, mut cautions, mut aside) = (Vec::new(), Vec::new(), SetAside::default());
    let content = match read_table(name, bytes, options, catalogue)? {
        Content::Periods(sheet) if sheet.faults.is_empty() => sheet.periods.into(),
        // A table of periods must hold together as a whole.
        Content::Periods(sheet) => return Err(refused(sheet.faults)),
        Content::Measurements(sheet) => {
            if !sheet.faults.is_empty() && !set_aside {
                return Err(refused(sheet.faults));
            }
            (doubts, cautions, aside) = (sheet.doubts, sheet.cautions, sheet.set_aside);
            sheet.table.into()
        }
        Content::Traces(sheet) => {
            if !sheet.faults.is_empty() && !set_aside {
                return Err(refused(sheet.faults));
            }
            (cautions, aside) = (sheet.cautions, sheet.set_aside);
            sheet.written.into()
        }
    };
    let kept_name = Path::new(name)
        .file_name()
        .map_or(name.to_owned(), |n| n.to_string_lossy().into_owned());
    let file = NewFile {
        name: kept_name,
        sha256,
        options: options_kept,
        content,
    };
    Ok(ReadFile {
        file,
        doubts,
        cautions,
        set_aside: aside,
    })
}
