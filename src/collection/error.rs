//! What can go wrong with a collection.

use crate::table::{Fault, TableError, counted, short, suggestion};

/// Why a collection could not be opened, read or added to. Nothing was changed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CollectionError {
    /// No such file.
    #[error("no collection {file}; `calibriar add FILE... --to {file}` makes one")]
    Missing {
        /// As it was named.
        file: String,
    },
    /// A revision that the collection does not have.
    #[error(
        "no revision {revision}; the collection's are 1 to {newest} (calibriar history shows them)"
    )]
    NoSuchRevision {
        /// As asked for.
        revision: i64,
        /// The newest there is.
        newest: i64,
    },
    /// The file is something else.
    #[error("{file} is no collection: {found}")]
    NotACollection {
        /// As it was named.
        file: String,
        /// What it is instead.
        found: &'static str,
    },
    /// The file is empty.
    #[error("the collection {file} is empty")]
    Empty {
        /// As it was named.
        file: String,
    },
    /// Written by a later version of this program.
    #[error(
        "{file} is a collection of version {version}; this program reads up to version {known}: use a newer calibriar"
    )]
    Newer {
        /// As it was named.
        file: String,
        /// The file's version.
        version: i32,
        /// The newest version that this program knows.
        known: i32,
    },
    /// The file cannot be opened or written.
    #[error("cannot open the collection {file}")]
    Open {
        /// As it was named.
        file: String,
        /// Why not.
        source: rusqlite::Error,
    },
    /// Another program holds the collection for longer than we waited.
    #[error("the collection is in use by another program; try again")]
    Busy,
    /// The disk is full.
    #[error("the disk is full; the collection is as it was")]
    Full,
    /// The collection may not be written.
    #[error("the collection or its folder may not be written")]
    ReadOnly,
    /// Another failure of the store.
    #[error("the store failed")]
    Sqlite(#[source] rusqlite::Error),
    /// A file's readings or words contradict the collection's.
    #[error("{} the collection; {}", contradicting(contradictions.len()), advice(contradictions))]
    Contradictions {
        /// Each of them.
        contradictions: Vec<Contradiction>,
    },
    /// Traces of pieces that the collection does not have.
    #[error(
        "{} of pieces that are not in the collection; nothing was added",
        counted(faults.len(), "trace")
    )]
    UnknownSpecimens {
        /// Each of them, where it begins.
        faults: Vec<Fault>,
    },
    /// Works that cannot be as they are said to be.
    #[error(
        "{} cannot be recorded; nothing was",
        counted(faults.len(), "work")
    )]
    Works {
        /// Each of them.
        faults: Vec<Fault>,
    },
    /// No such specimen.
    #[error(
        "the collection has no specimen `{}`{}",
        short(name),
        suggestion(nearest)
    )]
    NoSpecimen {
        /// As it was asked for.
        name: String,
        /// The names that look most like it.
        nearest: Vec<String>,
    },
    /// A stored trace that cannot be read.
    #[error("a trace of {specimen} in the collection cannot be read: {what}")]
    Trace {
        /// The specimen.
        specimen: String,
        /// What is wrong with it.
        what: String,
    },
    /// Nothing to withdraw.
    #[error("nothing to withdraw: {what}")]
    NothingToWithdraw {
        /// What was asked for.
        what: String,
    },
    /// A period table that cannot hold.
    #[error(transparent)]
    Period(#[from] crate::catalogue::PeriodError),
    /// A data package that cannot be read.
    #[error("{file}: {what}")]
    Package {
        /// The file within the package.
        file: String,
        /// What is wrong and what was expected.
        what: String,
    },
    /// A table of a data package that cannot be read or written.
    #[error(transparent)]
    Table(#[from] TableError),
    /// A Parquet file of a data package that cannot be read or written.
    #[cfg(feature = "frame")]
    #[error(transparent)]
    Frame(#[from] crate::frame::FrameError),
    /// A file that cannot be read or written.
    #[error("cannot {verb} {file}")]
    File {
        /// `read` or `write`.
        verb: &'static str,
        /// As it was named.
        file: String,
        /// Why not.
        source: std::io::Error,
    },
}

fn contradicting(n: usize) -> String {
    format!(
        "{} contradict{}",
        counted(n, "entry").replace("entrys", "entries"),
        if n == 1 { "s" } else { "" }
    )
}

/// What to do about contradictions.
fn advice(contradictions: &[Contradiction]) -> &'static str {
    match contradictions.iter().any(|of| of.reading) {
        true => {
            "where the old one was wrong, --correct --why REASON replaces it; readings by another person \
             are added beside it, as one row a reading with the column `measured_by` (docs/formats.md)"
        }
        false => "--correct --why REASON records them as corrections",
    }
}

/// Something that a file says otherwise than the collection.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}: {specimen}, {what}: the collection has `{has}`, the file has `{says}`")]
pub struct Contradiction {
    /// The file's name.
    pub file: String,
    /// The specimen.
    pub specimen: String,
    /// The dimension or the column.
    pub what: String,
    /// The collection's text.
    pub has: String,
    /// The file's text.
    pub says: String,
    /// Whether it is a reading: another person's would stand beside it.
    pub reading: bool,
}

impl From<rusqlite::Error> for CollectionError {
    fn from(error: rusqlite::Error) -> CollectionError {
        use rusqlite::ErrorCode::{CannotOpen, DatabaseBusy, DatabaseLocked, DiskFull, ReadOnly};
        // The journal's index could not grow.
        let no_room = error.sqlite_error().map(|e| e.extended_code)
            == Some(rusqlite::ffi::SQLITE_IOERR_SHMSIZE);
        match error.sqlite_error_code() {
            _ if no_room => CollectionError::Full,
            Some(DatabaseBusy | DatabaseLocked) => CollectionError::Busy,
            Some(DiskFull) => CollectionError::Full,
            Some(ReadOnly | CannotOpen) => CollectionError::ReadOnly,
            _ => CollectionError::Sqlite(error),
        }
    }
}
