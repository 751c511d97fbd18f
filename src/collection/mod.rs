//! The store: one SQLite file with everybody's readings, and their whole history.
//!
//! | file | holds |
//! |---|---|
//! | `schema` | the tables, migrations, what is a collection and what is not |
//! | `add` | adding tables, corrections, withdrawals: one transaction each |
//! | `record` | recording works on a piece |
//! | `works` | works as they are recorded, and how a piece stood at any time |
//! | `rows` | how things are written as rows |
//! | `load` | from the store to a table |
//! | `traces` | traces as they were written, and read from that again |
//! | `history` | revisions: who, when, what, why |
//! | `dossier` | all that counts of one piece |
//! | `verify` | whether every revision fits its digest |
//! | `digest` | what a revision's digest is made of |
//! | `package` | data packages out and in |
//! | `error` | what can go wrong |
//!
//! Nothing is overwritten: a correction is a new revision, and a withdrawn reading stays readable.
//! The store knows nothing of statistics.
//!
//! Foreign keys are declared and hold: what an `add` refers to it has just looked up or stored, an
//! import is checked as a whole (`PRAGMA foreign_key_check`), and a test checks a rich collection.
//! Checking each row on its way in would cost a quarter of the time of a large `add`.

mod add;
mod digest;
mod dossier;
mod error;
mod history;
mod load;
mod package;
mod record;
mod rows;
mod schema;
mod traces;
mod verify;
mod works;

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};

pub(crate) use add::unknown_specimen;
pub use add::{Added, Author, NewContent, NewFile, Withdrawn};
pub use digest::sha256_hex;
pub use dossier::{Dossier, DossierReading};
pub use error::{CollectionError, Contradiction};
pub use history::{Entry, Happening};
pub use load::View;
pub use package::{Package, PackagedTable, is_package, read_package};
pub use record::{NewRecord, Recorded, read_picture};
use schema::{Kind, Rejected};
pub use verify::{Misfit, RecordedPicture, Verified};
pub use works::{Replay, Standing, WorkDone, WorkReading};

/// How long to wait for another program's `add`.
const PATIENCE: Duration = Duration::from_secs(10);

/// An open collection.
#[derive(Debug)]
pub struct Collection {
    connection: Connection,
}

/// The newest revision of a collection.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Revision {
    /// Its number; 0 in a collection without any.
    pub id: i64,
    /// Its digest.
    pub sha256: String,
}

impl Collection {
    /// Opens a collection to read it.
    ///
    /// # Errors
    /// [`CollectionError`]: missing, empty, another kind of file, or a newer version's.
    pub fn open(path: &Path) -> Result<Collection, CollectionError> {
        let file = path.display().to_string();
        if !path.exists() {
            return Err(CollectionError::Missing { file });
        }
        if path.is_dir() {
            return Err(CollectionError::NotACollection {
                file,
                found: "it is a folder; a collection is one file",
            });
        }
        let connection = open_to_read(path).map_err(|source| CollectionError::Open {
            file: file.clone(),
            source,
        })?;
        let (connection, kind) = match schema::kind(&connection) {
            // A folder that may not be written cannot hold the side files of the journal; without
            // a journal beside it the file stands still and needs none.
            Err(Rejected::Sqlite(_)) if !journal_of(path).exists() => {
                let still = open_still(path).map_err(|source| CollectionError::Open {
                    file: file.clone(),
                    source,
                })?;
                let kind = schema::kind(&still);
                (still, kind)
            }
            kind => (connection, kind),
        };
        match usable(kind, &file)? {
            Kind::Fresh => Err(CollectionError::Empty { file }),
            Kind::Collection { .. } => {
                // Everything read through this handle is of one moment.
                connection.execute_batch("BEGIN; SELECT count(*) FROM sqlite_schema")?;
                Ok(Collection { connection })
            }
        }
    }

    /// Opens a collection to add to it; makes the file where there is none. A file that nothing
    /// was added to after all is read as an empty collection.
    ///
    /// # Errors
    /// [`CollectionError`]: another kind of file, a newer version's, or one that may not be
    /// written.
    pub fn open_or_create(path: &Path) -> Result<Collection, CollectionError> {
        let file = path.display().to_string();
        let connection = Connection::open(path).map_err(|source| CollectionError::Open {
            file: file.clone(),
            source,
        })?;
        let collection = Collection { connection };
        collection.connection.busy_timeout(PATIENCE)?;
        collection
            .connection
            .pragma_update(None, "foreign_keys", "OFF")?;
        usable(schema::kind(&collection.connection), &file)?;
        collection
            .connection
            .pragma_update(None, "journal_mode", "WAL")?;
        collection
            .connection
            .pragma_update(None, "synchronous", "FULL")?;
        collection
            .connection
            .pragma_update(None, "cache_size", -65536)?;
        Ok(collection)
    }

    /// Does some work on the collection of that path. A new collection is made beside it and takes
    /// its name only when the work is done, so that nothing is left of one that failed; should
    /// another program have made the collection meanwhile, the work is done again on that one.
    ///
    /// # Errors
    /// Those of opening, and of the work.
    pub fn update<T>(
        path: &Path,
        work: &mut dyn FnMut(&mut Collection) -> Result<T, CollectionError>,
    ) -> Result<T, CollectionError> {
        if path.exists() {
            return work(&mut Collection::open_or_create(path)?);
        }
        let mut name = path.file_name().unwrap_or_default().to_owned();
        name.push(format!(".{}.partial", std::process::id()));
        let partial = path.with_file_name(name);
        let clear = || {
            for side in ["", "-wal", "-shm", "-journal"] {
                let mut passing = partial.clone().into_os_string();
                passing.push(side);
                // Most of them are not there.
                let _ = std::fs::remove_file(passing);
            }
        };
        // What a killed program left under this name is nobody's.
        clear();
        let worked = Collection::open_or_create(&partial).and_then(|mut collection| {
            let done = work(&mut collection)?;
            collection.take_in_journal()?;
            Ok((done, collection.revision()?.id))
        });
        // The journal was taken in, so the whole collection is in the one file.
        let placed = match &worked {
            Ok((_, revision)) if *revision > 0 => std::fs::hard_link(&partial, path),
            _ => Ok(()),
        };
        clear();
        match placed {
            Ok(()) => worked.map(|(done, _)| done),
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
                work(&mut Collection::open_or_create(path)?)
            }
            Err(source) => Err(CollectionError::File {
                verb: "write",
                file: path.display().to_string(),
                source,
            }),
        }
    }

    /// Brings all that is still in the journal into the file itself. Closing does so too, but says
    /// nothing where the disk is full.
    fn take_in_journal(&self) -> Result<(), CollectionError> {
        let checkpoint = "PRAGMA wal_checkpoint(TRUNCATE)";
        let busy: i64 = (self.connection).query_row(checkpoint, [], |row| row.get(0))?;
        match busy {
            0 => Ok(()),
            _ => Err(CollectionError::Busy),
        }
    }

    /// An empty collection that no file holds.
    ///
    /// # Errors
    /// [`CollectionError`] where even that fails.
    pub fn in_memory() -> Result<Collection, CollectionError> {
        let connection = Connection::open_in_memory()?;
        connection.pragma_update(None, "foreign_keys", "OFF")?;
        Ok(Collection { connection })
    }

    /// The newest revision.
    ///
    /// # Errors
    /// [`CollectionError`] where the store fails.
    pub fn revision(&self) -> Result<Revision, CollectionError> {
        if matches!(schema::kind(&self.connection), Ok(Kind::Fresh)) {
            return Ok(Revision {
                id: 0,
                sha256: String::new(),
            });
        }
        newest_revision(&self.connection)
    }
}

/// The newest revision of a store whose tables are there.
fn newest_revision(connection: &Connection) -> Result<Revision, CollectionError> {
    let newest = "SELECT id, sha256 FROM revision ORDER BY id DESC LIMIT 1";
    let read = |row: &rusqlite::Row<'_>| {
        Ok(Revision {
            id: row.get(0)?,
            sha256: row.get(1)?,
        })
    };
    match connection.query_row(newest, [], read) {
        Err(rusqlite::Error::QueryReturnedNoRows) => Ok(Revision {
            id: 0,
            sha256: String::new(),
        }),
        revision => Ok(revision?),
    }
}

/// Opens a file to read it. Where it may be written, the connection could, so that the last one
/// to close can take the journal's side files away; it is told never to.
fn open_to_read(path: &Path) -> Result<Connection, rusqlite::Error> {
    let open = |access| Connection::open_with_flags(path, access | OpenFlags::SQLITE_OPEN_NO_MUTEX);
    let connection = open(OpenFlags::SQLITE_OPEN_READ_WRITE)
        .or_else(|_| open(OpenFlags::SQLITE_OPEN_READ_ONLY))?;
    connection.busy_timeout(PATIENCE)?;
    connection.pragma_update(None, "query_only", "ON")?;
    Ok(connection)
}

fn journal_of(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push("-wal");
    name.into()
}

/// Opens a file that nobody can be writing.
fn open_still(path: &Path) -> Result<Connection, rusqlite::Error> {
    let escaped: String = path
        .to_string_lossy()
        .chars()
        .map(|c| match c {
            '?' => "%3f".to_owned(),
            '#' => "%23".to_owned(),
            '%' => "%25".to_owned(),
            c => c.to_string(),
        })
        .collect();
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
        | OpenFlags::SQLITE_OPEN_NO_MUTEX
        | OpenFlags::SQLITE_OPEN_URI;
    Connection::open_with_flags(format!("file:{escaped}?immutable=1"), flags)
}

fn usable(kind: Result<Kind, Rejected>, file: &str) -> Result<Kind, CollectionError> {
    let file = file.to_owned();
    match kind {
        Ok(kind) => Ok(kind),
        Err(Rejected::Newer { version }) => Err(CollectionError::Newer {
            file,
            version,
            known: schema::VERSION,
        }),
        Err(Rejected::Other) => Err(CollectionError::NotACollection {
            file,
            found: "it is the SQLite file of another program",
        }),
        Err(Rejected::Sqlite(error)) => match error.sqlite_error_code() {
            Some(rusqlite::ErrorCode::NotADatabase) => Err(CollectionError::NotACollection {
                file,
                found: "it is not an SQLite file",
            }),
            Some(rusqlite::ErrorCode::DatabaseCorrupt) => Err(CollectionError::NotACollection {
                file,
                found: "it is damaged",
            }),
            _ => Err(CollectionError::Open {
                file,
                source: error,
            }),
        },
    }
}
