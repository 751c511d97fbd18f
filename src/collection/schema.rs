//! The tables of a collection, and how an older one is brought up to date.

use rusqlite::{Connection, Transaction};

use super::CollectionError;

/// `CBLR`: tells a collection from any other SQLite file.
pub(super) const APPLICATION_ID: i32 = 0x4342_4c52;

/// One step a version; the version of a collection is the number of steps it has taken.
const MIGRATIONS: [&str; 3] = [
    include_str!("schema.sql"),
    include_str!("schema2.sql"),
    include_str!("schema3.sql"),
];

/// The version that this program writes.
pub(super) const VERSION: i32 = MIGRATIONS.len() as i32;

/// Tables in which rows are only ever added.
const APPEND_ONLY: [&str; 14] = [
    "revision",
    "file",
    "dimension",
    "period",
    "period_withdrawal",
    "specimen",
    "description",
    "circumstance",
    "reading",
    "withdrawal",
    "trace",
    "trace_withdrawal",
    "work",
    "picture",
];

/// What kind of file a connection has open.
pub(super) enum Kind {
    /// Nothing in it yet.
    Fresh,
    /// A collection of this program's version or an older one.
    Collection { version: i32 },
}

/// Tells what a file is, without changing it.
pub(super) fn kind(connection: &Connection) -> Result<Kind, Rejected> {
    let number = |pragma: &str| connection.pragma_query_value(None, pragma, |row| row.get(0));
    let application: i32 = number("application_id").map_err(Rejected::Sqlite)?;
    let version: i32 = number("user_version").map_err(Rejected::Sqlite)?;
    if application == APPLICATION_ID {
        return match version {
            v if v > VERSION => Err(Rejected::Newer { version: v }),
            v => Ok(Kind::Collection { version: v }),
        };
    }
    let tables: i64 = connection
        .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
        .map_err(Rejected::Sqlite)?;
    if application == 0 && version == 0 && tables == 0 {
        Ok(Kind::Fresh)
    } else {
        Err(Rejected::Other)
    }
}

/// Whether there is a table; a collection of an older version that is only read may lack it.
pub(super) fn has_table(connection: &Connection, table: &str) -> Result<bool, CollectionError> {
    Ok(connection
        .prepare_cached("SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?1")?
        .exists([table])?)
}

/// Whether there is a row in such a table.
pub(super) fn has_rows(connection: &Connection, table: &str) -> Result<bool, CollectionError> {
    Ok(has_table(connection, table)?
        && connection
            .prepare_cached(&format!("SELECT 1 FROM {table} LIMIT 1"))?
            .exists([])?)
}

/// Why a file is no collection that can be used.
pub(super) enum Rejected {
    /// Another program's SQLite file.
    Other,
    /// Written by a newer version of this program.
    Newer { version: i32 },
    /// No SQLite file, or a damaged one.
    Sqlite(rusqlite::Error),
}

/// Brings a file up to this program's version, as part of the transaction that writes to it.
pub(super) fn bring_up_to_date(transaction: &Transaction<'_>) -> Result<(), CollectionError> {
    match kind(transaction) {
        Ok(Kind::Fresh) => migrate(transaction, 0),
        Ok(Kind::Collection { version }) => migrate(transaction, version),
        Err(Rejected::Sqlite(error)) => Err(error.into()),
        // Opening has refused these; another program may have replaced the file since.
        Err(Rejected::Other | Rejected::Newer { .. }) => Err(CollectionError::Busy),
    }
}

fn migrate(transaction: &Transaction<'_>, from: i32) -> Result<(), CollectionError> {
    let steps = MIGRATIONS.iter().skip(usize::try_from(from).unwrap_or(0));
    for step in steps {
        transaction.execute_batch(step)?;
    }
    if from < VERSION {
        for table in APPEND_ONLY {
            for verb in ["UPDATE", "DELETE"] {
                transaction.execute_batch(&format!(
                    "CREATE TRIGGER IF NOT EXISTS no_{verb}_of_{table} BEFORE {verb} ON {table}
                     BEGIN SELECT RAISE(ABORT, 'a collection is append-only'); END"
                ))?;
            }
        }
        transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
        transaction.pragma_update(None, "user_version", VERSION)?;
    }
    Ok(())
}
