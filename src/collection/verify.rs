//! Whether every revision fits its digest.

use std::collections::HashMap;

use rusqlite::Connection;

use super::digest::{Digester, RevisionHead, revision_digest};
use super::traces::{NewTrace, TraceKey};
use super::{Collection, CollectionError, Revision, schema};
use crate::table::{Circumstance, Picture, counted};

/// What came of computing every digest again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verified {
    /// How many revisions fit, from the first on.
    pub fitting: i64,
    /// The newest of them; number 0 where none fits.
    pub newest: Revision,
    /// The first thing that does not fit.
    pub misfit: Option<Misfit>,
}

/// Something in a collection that is not as it was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Misfit {
    /// The revision whose content or head it is, where that can be told.
    pub revision: Option<i64>,
    /// What is wrong.
    pub what: String,
    /// What the revision brought: `12 readings, 2 works`.
    pub brought: String,
    /// Names of the files that it brought.
    pub files: Vec<String>,
}

/// The table of a row that no revision brought. Specimens and circumstances carry no revision of their own: they
/// come with what is said of them.
fn stray_row(connection: &Connection) -> Result<Option<&'static str>, CollectionError> {
    let of_traces = match schema::has_table(connection, "trace")? {
        true => "AND id NOT IN (SELECT circumstance FROM trace WHERE circumstance IS NOT NULL)",
        false => "",
    };
    let queries = [
        (
            "specimen",
            "SELECT 1 FROM specimen WHERE id NOT IN (SELECT specimen FROM description)".to_owned(),
        ),
        (
            "circumstance",
            format!(
                "SELECT 1 FROM circumstance WHERE id NOT IN (SELECT circumstance FROM reading
                 WHERE circumstance IS NOT NULL) {of_traces}"
            ),
        ),
    ];
    for (table, query) in queries {
        if connection.prepare(&query)?.exists([])? {
            return Ok(Some(table));
        }
    }
    Ok(None)
}

/// A picture with the work that it belongs to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordedPicture {
    /// The specimen.
    pub specimen: String,
    /// Key of the dimension that was worked on.
    pub dimension: String,
    /// The revision that recorded it.
    pub revision: i64,
    /// The picture.
    pub picture: Picture,
}

impl Collection {
    /// Computes the digest of every revision again, from its rows and the digest before it.
    ///
    /// Whoever changes rows and computes all later digests anew, or cuts off the newest revisions, is
    /// noticed only by a digest that was noted elsewhere.
    ///
    /// # Errors
    /// None for a file that is damaged or changed: that is told in the result.
    pub fn verify(&self) -> Result<Verified, CollectionError> {
        let mut verified = Verified {
            fitting: 0,
            newest: Revision {
                id: 0,
                sha256: String::new(),
            },
            misfit: None,
        };
        match self.chain(&mut verified) {
            Err(CollectionError::Sqlite(error)) => {
                verified.misfit = Some(Misfit {
                    revision: None,
                    what: format!("it is damaged ({error})"),
                    brought: String::new(),
                    files: Vec::new(),
                });
            }
            done => done?,
        }
        Ok(verified)
    }

    fn chain(&self, verified: &mut Verified) -> Result<(), CollectionError> {
        let connection = &self.connection;
        let of_files = content_digests(connection)?;
        let mut files =
            connection.prepare("SELECT id FROM file WHERE revision = ?1 ORDER BY id")?;
        let mut statement = connection.prepare(
            "SELECT id, made_on, made_by, action, why, sha256 FROM revision ORDER BY id",
        )?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let head = RevisionHead {
                id: row.get(0)?,
                made_on: row.get(1)?,
                made_by: row.get(2)?,
                action: row.get(3)?,
                why: row.get(4)?,
            };
            let written: String = row.get(5)?;
            let ids = files.query_map([head.id], |row| row.get(0))?;
            let ids: Vec<i64> = ids.collect::<Result<_, _>>()?;
            let nothing = || Digester::default().finish();
            let contents = ids.iter().map(|id| of_files.get(id).cloned());
            let contents: Vec<String> = contents.map(|d| d.unwrap_or_else(nothing)).collect();
            let computed = revision_digest(connection, &verified.newest.sha256, &head, &contents)?;
            let follows = head.id == verified.newest.id + 1;
            if !follows || computed != written {
                let what = match follows {
                    false => format!("revision {} is missing before it", verified.newest.id + 1),
                    true => format!("it does not fit its digest, {written}"),
                };
                verified.misfit = Some(misfit(connection, head.id, what)?);
                return Ok(());
            }
            verified.fitting += 1;
            verified.newest = Revision {
                id: head.id,
                sha256: written,
            };
        }
        // A row of a revision that does not exist is in no digest.
        let mut dangling = connection.prepare("PRAGMA foreign_key_check")?;
        let mut rows = dangling.query([])?;
        if let Some(row) = rows.next()? {
            let (table, parent): (String, String) = (row.get(0)?, row.get(2)?);
            verified.misfit = Some(Misfit {
                revision: None,
                what: format!("a row of its table `{table}` names a {parent} that is not there"),
                brought: String::new(),
                files: Vec::new(),
            });
            return Ok(());
        }
        if let Some(table) = stray_row(connection)? {
            verified.misfit = Some(Misfit {
                revision: None,
                what: format!("a row of its table `{table}` belongs to no revision"),
                brought: String::new(),
                files: Vec::new(),
            });
        }
        Ok(())
    }

    /// All pictures that are recorded, in the order of their records.
    ///
    /// # Errors
    /// [`CollectionError`] where the store fails.
    pub fn pictures(&self) -> Result<Vec<RecordedPicture>, CollectionError> {
        if !schema::has_rows(&self.connection, "picture")? {
            return Ok(Vec::new());
        }
        let mut statement = self.connection.prepare(
            "SELECT s.name, d.key, k.revision, p.name, p.sha256
             FROM picture p JOIN work k ON k.specimen = p.specimen AND k.dimension = p.dimension
             AND k.seq = p.seq JOIN specimen s ON s.id = p.specimen
             JOIN dimension d ON d.id = p.dimension
             ORDER BY k.revision, p.specimen, p.dimension, p.number",
        )?;
        let pictures = statement.query_map([], |row| {
            Ok(RecordedPicture {
                specimen: row.get(0)?,
                dimension: row.get(1)?,
                revision: row.get(2)?,
                picture: Picture {
                    name: row.get(3)?,
                    sha256: row.get(4)?,
                },
            })
        })?;
        Ok(pictures.collect::<Result<_, _>>()?)
    }
}

/// What a revision that does not fit brought, as far as its rows still tell.
fn misfit(connection: &Connection, revision: i64, what: String) -> Result<Misfit, CollectionError> {
    const KINDS: [(&str, &str, &str); 9] = [
        (
            "reading",
            "reading",
            "SELECT count(*) FROM reading r JOIN file f ON f.id = r.file WHERE f.revision = ?1",
        ),
        (
            "trace",
            "trace",
            "SELECT count(*) FROM trace t JOIN file f ON f.id = t.file WHERE f.revision = ?1",
        ),
        (
            "work",
            "work",
            "SELECT count(*) FROM work WHERE revision = ?1",
        ),
        (
            "picture",
            "picture",
            "SELECT count(*) FROM picture p JOIN work k ON k.specimen = p.specimen
             AND k.dimension = p.dimension AND k.seq = p.seq WHERE k.revision = ?1",
        ),
        (
            "description",
            "description of a specimen",
            "SELECT count(*) FROM description WHERE revision = ?1",
        ),
        (
            "dimension",
            "dimension",
            "SELECT count(*) FROM dimension WHERE revision = ?1",
        ),
        (
            "period",
            "production period",
            "SELECT count(*) FROM period WHERE revision = ?1",
        ),
        (
            "withdrawal",
            "withdrawn reading",
            "SELECT count(*) FROM withdrawal WHERE revision = ?1",
        ),
        (
            "trace_withdrawal",
            "withdrawn trace",
            "SELECT count(*) FROM trace_withdrawal WHERE revision = ?1",
        ),
    ];
    let mut brought = Vec::new();
    for (table, kind, query) in KINDS {
        if schema::has_table(connection, table)? {
            let n: i64 = connection.query_row(query, [revision], |row| row.get(0))?;
            if n > 0 {
                let n = usize::try_from(n).unwrap_or(usize::MAX);
                brought.push(match kind.split_once(' ') {
                    // The first word takes the plural, but for an adjective.
                    Some(("description", of)) => format!("{} {of}", counted(n, "description")),
                    _ => counted(n, kind),
                });
            }
        }
    }
    let mut files = connection.prepare("SELECT name FROM file WHERE revision = ?1 ORDER BY id")?;
    let files = files.query_map([revision], |row| row.get(0))?;
    Ok(Misfit {
        revision: Some(revision),
        what,
        brought: brought.join(", "),
        files: files.collect::<Result<_, _>>()?,
    })
}

/// The digest of each file's readings or traces.
fn content_digests(connection: &Connection) -> Result<HashMap<i64, String>, CollectionError> {
    let mut digests: HashMap<i64, Digester> = HashMap::new();
    let mut statement = connection.prepare(
        "SELECT r.file, s.name, d.key, r.seq, r.value, r.uncertainty, r.state, r.unit, r.text,
         c.instrument, c.measured_by, c.measured_on, c.source, c.note
         FROM reading r JOIN specimen s ON s.id = r.specimen
         JOIN dimension d ON d.id = r.dimension
         LEFT JOIN circumstance c ON c.id = r.circumstance
         ORDER BY r.specimen, r.dimension, r.seq",
    )?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let text = |column: usize| row.get_ref(column)?.as_str().map_err(rusqlite::Error::from);
        let circumstance = circumstance(row, 9)?;
        digests.entry(row.get(0)?).or_default().reading(
            text(1)?,
            text(2)?,
            row.get(3)?,
            (row.get(4)?, row.get(5)?),
            row.get(6)?,
            row.get(7)?,
            text(8)?,
            circumstance.as_ref(),
        );
    }
    if schema::has_table(connection, "trace")? {
        let mut statement = connection.prepare(
            "SELECT t.file, s.name, t.specimen, t.feature, t.repeat, t.seq, t.state, t.uncertainty,
             t.decimal_mark, t.unit, t.points,
             c.instrument, c.measured_by, c.measured_on, c.source, c.note
             FROM trace t JOIN specimen s ON s.id = t.specimen
             LEFT JOIN circumstance c ON c.id = t.circumstance
             ORDER BY t.specimen, t.feature, t.repeat, t.seq",
        )?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let text = |column: usize| row.get_ref(column)?.as_str().map_err(rusqlite::Error::from);
            let circumstance = circumstance(row, 11)?;
            digests.entry(row.get(0)?).or_default().trace(&NewTrace {
                key: TraceKey {
                    specimen: row.get(2)?,
                    feature: row.get(3)?,
                    repeat: row.get(4)?,
                    seq: row.get(5)?,
                },
                name: text(1)?,
                state: row.get(6)?,
                uncertainty: row.get(7)?,
                circumstance: circumstance.as_ref(),
                decimal_mark: text(8)?,
                unit: text(9)?,
                points: text(10)?,
            });
        }
    }
    let finished = digests.into_iter().map(|(file, d)| (file, d.finish()));
    Ok(finished.collect())
}

/// The circumstance in five columns from one on, if there is any.
fn circumstance(
    row: &rusqlite::Row<'_>,
    from: usize,
) -> Result<Option<Circumstance>, rusqlite::Error> {
    let Some(instrument) = row.get::<_, Option<String>>(from)? else {
        return Ok(None);
    };
    Ok(Some(Circumstance {
        instrument,
        measured_by: row.get(from + 1)?,
        measured_on: row.get(from + 2)?,
        source: row.get(from + 3)?,
        note: row.get(from + 4)?,
    }))
}
