//! Revisions: who, when, what, why.

use rusqlite::params;

use super::load::find_specimen;
use super::works::WorkDone;
use super::{Collection, CollectionError, schema};
use crate::table::{WrittenTrace, counted, trace_name};

/// One revision.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Entry {
    /// Its number.
    pub revision: i64,
    /// When (ISO 8601).
    pub made_on: String,
    /// By whom.
    pub made_by: String,
    /// `add`, `correct`, `withdraw` or `record`.
    pub action: String,
    /// Why; may be empty.
    pub why: String,
    /// Names of the files it brought.
    pub files: Vec<String>,
    /// Readings it brought.
    pub readings: i64,
    /// Readings and traces it withdrew.
    pub withdrawn: i64,
    /// Its digest.
    pub sha256: String,
    /// Traces it brought.
    pub traces: i64,
    /// Works it recorded.
    pub works: i64,
}

/// One thing that happened to a specimen: to a reading or a trace, or to what is said of it.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
pub struct Happening {
    /// The revision.
    pub revision: i64,
    /// When (ISO 8601).
    pub made_on: String,
    /// By whom.
    pub made_by: String,
    /// `added` or `withdrawn` for a reading or a trace, `worked` for what a work left, `described`
    /// for maker, pattern, date and the like.
    pub what: &'static str,
    /// The dimension's key, the feature that was traced, or the column that was described.
    pub dimension: String,
    /// The cell, verbatim; of a trace, how many points; for a changed description, old and new.
    pub text: String,
    /// The value, in the dimension's unit; none for a trace or a description.
    pub value: Option<f64>,
    /// The unit; empty for a trace or a description.
    pub unit: String,
    /// The reading's state; empty for a description.
    pub state: &'static str,
    /// The file that brought the reading or the trace; empty for a description.
    pub file: String,
    /// The revision's reason, or what the work was for; may be empty.
    pub why: String,
    /// Of a work: the reading as found, verbatim.
    pub as_found: String,
    /// Of a work: with what; may be empty.
    pub tool: String,
    /// Of a work: by whom.
    pub done_by: String,
    /// Of a work: on which day (ISO 8601).
    pub done_on: String,
    /// Of a work: names of its pictures.
    pub pictures: Vec<String>,
}

/// How many traces each revision added and withdrew.
#[derive(Default)]
struct TraceCounts {
    added: Vec<(i64, i64)>,
    withdrawn: Vec<(i64, i64)>,
}

impl Collection {
    /// All revisions, the oldest first.
    ///
    /// # Errors
    /// [`CollectionError`] where the store fails.
    pub fn history(&self) -> Result<Vec<Entry>, CollectionError> {
        let mut files = self
            .connection
            .prepare("SELECT name FROM file WHERE revision = ?1 ORDER BY id")?;
        let mut readings = self.connection.prepare(
            "SELECT file.revision, count(*) FROM reading JOIN file ON file.id = reading.file
             GROUP BY file.revision",
        )?;
        let readings: Vec<(i64, i64)> = readings
            .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
            .collect::<Result<_, _>>()?;
        let traces = self.traces_of_revisions()?;
        let works = match schema::has_table(&self.connection, "work")? {
            true => self.counts("SELECT revision, count(*) FROM work GROUP BY revision")?,
            false => Vec::new(),
        };
        let of = |counts: &[(i64, i64)], revision: i64| {
            counts
                .iter()
                .find(|(r, _)| *r == revision)
                .map_or(0, |(_, n)| *n)
        };
        let mut statement = self.connection.prepare(
            "SELECT id, made_on, made_by, action, why, sha256,
             (SELECT count(*) FROM withdrawal WHERE withdrawal.revision = revision.id)
             FROM revision ORDER BY id",
        )?;
        let mut rows = statement.query([])?;
        let mut entries = Vec::new();
        while let Some(row) = rows.next()? {
            let revision = row.get(0)?;
            entries.push(Entry {
                revision,
                made_on: row.get(1)?,
                made_by: row.get(2)?,
                action: row.get(3)?,
                why: row.get(4)?,
                files: files
                    .query_map([revision], |row| row.get(0))?
                    .collect::<Result<_, _>>()?,
                readings: of(&readings, revision),
                withdrawn: row.get::<_, i64>(6)? + of(&traces.withdrawn, revision),
                sha256: row.get(5)?,
                traces: of(&traces.added, revision),
                works: of(&works, revision),
            });
        }
        Ok(entries)
    }

    fn traces_of_revisions(&self) -> Result<TraceCounts, CollectionError> {
        if !super::traces::are_there(&self.connection)? {
            return Ok(TraceCounts::default());
        }
        Ok(TraceCounts {
            added: self.counts(
                "SELECT file.revision, count(*) FROM trace JOIN file ON file.id = trace.file
                 GROUP BY file.revision",
            )?,
            withdrawn: self
                .counts("SELECT revision, count(*) FROM trace_withdrawal GROUP BY revision")?,
        })
    }

    /// Revisions, each with a number.
    fn counts(&self, query: &str) -> Result<Vec<(i64, i64)>, CollectionError> {
        let mut statement = self.connection.prepare(query)?;
        let counts = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(counts.collect::<Result<_, _>>()?)
    }

    /// What happened to the readings and traces of one specimen, the oldest first; `None` where the
    /// collection has no such specimen.
    ///
    /// # Errors
    /// [`CollectionError`] where the store fails.
    pub fn history_of(&self, specimen: &str) -> Result<Option<Vec<Happening>>, CollectionError> {
        let Some(id) = find_specimen(&self.connection, specimen)? else {
            return Ok(None);
        };
        let mut statement = self.connection.prepare(
            "SELECT v.id, v.made_on, v.made_by, v.why, d.key, d.unit, r.text, r.value, r.state,
             f.name, 0 AS gone, r.seq
             FROM reading r JOIN file f ON f.id = r.file JOIN revision v ON v.id = f.revision
             JOIN dimension d ON d.id = r.dimension WHERE r.specimen = ?1
             UNION ALL
             SELECT v.id, v.made_on, v.made_by, v.why, d.key, d.unit, r.text, r.value, r.state,
             f.name, 1, r.seq
             FROM withdrawal w JOIN reading r ON r.specimen = w.specimen
             AND r.dimension = w.dimension AND r.seq = w.seq JOIN file f ON f.id = r.file
             JOIN revision v ON v.id = w.revision JOIN dimension d ON d.id = r.dimension
             WHERE w.specimen = ?1
             ORDER BY 1, 11 DESC, 5",
        )?;
        let works = super::works::by_reading(&self.connection, id)?;
        let happenings = statement.query_map(params![id], |row| {
            let seq: i64 = row.get(11)?;
            let happening = Happening {
                revision: row.get(0)?,
                made_on: row.get(1)?,
                made_by: row.get(2)?,
                what: if row.get(10)? { "withdrawn" } else { "added" },
                dimension: row.get(4)?,
                text: row.get(6)?,
                value: row.get(7)?,
                unit: row.get(5)?,
                state: super::rows::state_of(row.get(8)?).name(),
                file: row.get(9)?,
                why: row.get(3)?,
                ..Happening::default()
            };
            let of = |(left, work): &&(i64, WorkDone)| {
                *left == seq && work.dimension == happening.dimension
            };
            Ok(match works.iter().find(of) {
                Some((_, work)) => with_work(happening, work),
                None => happening,
            })
        })?;
        let mut all: Vec<Happening> = happenings.collect::<Result<_, _>>()?;
        all.extend(self.traces_of(id)?);
        all.extend(self.descriptions_of(id)?);
        // Stable: within a revision traces stand after readings, then what is said of the piece.
        all.sort_by_key(|h| h.revision);
        Ok(Some(all))
    }

    /// What happened to the traces of a specimen.
    fn traces_of(&self, specimen: i64) -> Result<Vec<Happening>, CollectionError> {
        if !super::traces::any(&self.connection)? {
            return Ok(Vec::new());
        }
        let mut statement = self.connection.prepare(
            "SELECT v.id, v.made_on, v.made_by, v.why, t.feature, t.repeat, t.points, t.state,
             f.name, 0 AS gone
             FROM trace t JOIN file f ON f.id = t.file JOIN revision v ON v.id = f.revision
             WHERE t.specimen = ?1
             UNION ALL
             SELECT v.id, v.made_on, v.made_by, v.why, t.feature, t.repeat, t.points, t.state,
             f.name, 1
             FROM trace_withdrawal w JOIN trace t ON t.specimen = w.specimen
             AND t.feature = w.feature AND t.repeat = w.repeat AND t.seq = w.seq
             JOIN file f ON f.id = t.file JOIN revision v ON v.id = w.revision
             WHERE w.specimen = ?1
             ORDER BY 1, 10 DESC, 5, 6",
        )?;
        let happenings = statement.query_map(params![specimen], |row| {
            let feature: String = row.get(4)?;
            let lines: String = row.get(6)?;
            let points = WrittenTrace::points_of("", &lines).map_or(0, |points| points.len());
            Ok(Happening {
                revision: row.get(0)?,
                made_on: row.get(1)?,
                made_by: row.get(2)?,
                what: if row.get(9)? { "withdrawn" } else { "added" },
                dimension: trace_name(&feature, row.get(5)?),
                text: counted(points, "point"),
                state: super::rows::state_of(row.get(7)?).name(),
                file: row.get(8)?,
                why: row.get(3)?,
                ..Happening::default()
            })
        })?;
        Ok(happenings.collect::<Result<_, _>>()?)
    }

    /// What each revision says otherwise of a specimen than the one before.
    fn descriptions_of(&self, specimen: i64) -> Result<Vec<Happening>, CollectionError> {
        const COLUMNS: [&str; 7] = [
            "maker", "pattern", "finish", "made", "period", "source", "note",
        ];
        let mut statement = self.connection.prepare(
            "SELECT v.id, v.made_on, v.made_by, v.why, maker, pattern, finish, made, period,
             source, note FROM description d JOIN revision v ON v.id = d.revision
             WHERE specimen = ?1 ORDER BY v.id",
        )?;
        let mut rows = statement.query(params![specimen])?;
        let mut before: [String; COLUMNS.len()] = Default::default();
        let mut found = Vec::new();
        while let Some(row) = rows.next()? {
            for (at, (column, old)) in COLUMNS.iter().zip(&mut before).enumerate() {
                let new: String = row.get(4 + at)?;
                if new == *old {
                    continue;
                }
                let text = match old.is_empty() {
                    true => new.clone(),
                    false => format!("{old} -> {new}"),
                };
                *old = new;
                found.push(Happening {
                    revision: row.get(0)?,
                    made_on: row.get(1)?,
                    made_by: row.get(2)?,
                    what: "described",
                    dimension: (*column).to_owned(),
                    text,
                    why: row.get(3)?,
                    ..Happening::default()
                });
            }
        }
        Ok(found)
    }
}

/// What a work left, with all that is recorded of the work.
fn with_work(happening: Happening, work: &WorkDone) -> Happening {
    let worked = happening.what == "added";
    Happening {
        what: if worked { "worked" } else { happening.what },
        // A withdrawal has a reason of its own.
        why: match worked {
            true => work.why.clone(),
            false => happening.why,
        },
        as_found: work.found.text.clone(),
        tool: work.tool.clone(),
        done_by: work.done_by.clone(),
        done_on: work.done_on.clone(),
        pictures: work.pictures.iter().map(|p| p.name.clone()).collect(),
        ..happening
    }
}
