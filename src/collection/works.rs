//! Works as they are recorded, and how a piece stood at any time.

use std::collections::HashSet;

use rusqlite::{Connection, params};

use super::load::find_specimen;
use super::rows::state_of;
use super::{Collection, CollectionError, record, schema};
use crate::catalogue::{Day, State};
use crate::table::Picture;

/// A reading that a work starts from or leaves.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkReading {
    /// The cell, verbatim.
    pub text: String,
    /// In the dimension's unit.
    pub value: f64,
    /// Standard uncertainty, in the dimension's unit.
    pub uncertainty: f64,
    /// Its state.
    pub state: State,
    /// Whether it was withdrawn since.
    pub withdrawn: bool,
    /// Which of the readings of its place it is.
    pub number: i64,
}

/// A work as it is recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkDone {
    /// Key of the dimension.
    pub dimension: String,
    /// Its name for people.
    pub label: String,
    /// Its unit.
    pub unit: String,
    /// As found.
    pub found: WorkReading,
    /// As left.
    pub left: WorkReading,
    /// With what; may be empty.
    pub tool: String,
    /// By whom.
    pub done_by: String,
    /// On which day (ISO 8601).
    pub done_on: String,
    /// What for; may be empty.
    pub why: String,
    /// Pictures of it.
    pub pictures: Vec<Picture>,
    /// The revision that recorded it.
    pub revision: i64,
    /// When that was (ISO 8601).
    pub recorded_on: String,
    /// Who recorded it.
    pub recorded_by: String,
}

/// How a place stood.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// Key of the dimension.
    pub dimension: String,
    /// Its name for people.
    pub label: String,
    /// Its unit.
    pub unit: String,
    /// The reading, verbatim.
    pub text: String,
    /// In the unit.
    pub value: f64,
    /// Standard uncertainty, in the unit.
    pub uncertainty: f64,
    /// Its state.
    pub state: State,
    /// The day of the work that left it so; empty where none was recorded until then.
    pub since: String,
    /// How many works on it were done until then.
    pub works: usize,
    /// The day of the reading, as written; may be empty.
    pub measured_on: String,
    /// The revision that brought the reading.
    pub revision: i64,
}

/// A piece as it was.
#[derive(Clone, Debug, PartialEq)]
pub struct Replay {
    /// Its name, as stored.
    pub specimen: String,
    /// The revision whose knowledge this is.
    pub revision: i64,
    /// The places that were read, in the order of the collection.
    pub places: Vec<Standing>,
    /// The works done until then, in the order of their days.
    pub works: Vec<WorkDone>,
}

/// A work with the numbers of its readings.
struct Numbered {
    dimension: i64,
    found: i64,
    left: i64,
    done: WorkDone,
    withdrawn_in: Option<i64>,
}

const COLUMNS: &str = "SELECT k.dimension, k.found, k.seq, d.key, d.label, d.unit, k.tool,
    k.done_by, k.done_on, k.why, k.revision, v.made_on, v.made_by,
    a.text, a.value, a.uncertainty, a.state, wa.revision IS NOT NULL,
    b.text, b.value, b.uncertainty, b.state, wb.revision
    FROM work k JOIN dimension d ON d.id = k.dimension JOIN revision v ON v.id = k.revision
    JOIN reading a ON a.specimen = k.specimen AND a.dimension = k.dimension AND a.seq = k.found
    JOIN reading b ON b.specimen = k.specimen AND b.dimension = k.dimension AND b.seq = k.seq
    LEFT JOIN withdrawal wa ON wa.specimen = a.specimen AND wa.dimension = a.dimension
    AND wa.seq = a.seq
    LEFT JOIN withdrawal wb ON wb.specimen = b.specimen AND wb.dimension = b.dimension
    AND wb.seq = b.seq";

/// All works on a specimen, withdrawn ones included, in the order of their days.
fn of_specimen(connection: &Connection, specimen: i64) -> Result<Vec<Numbered>, CollectionError> {
    if !schema::has_rows(connection, "work")? {
        return Ok(Vec::new());
    }
    let mut pictures = connection.prepare(
        "SELECT name, sha256 FROM picture WHERE specimen = ?1 AND dimension = ?2 AND seq = ?3
         ORDER BY number",
    )?;
    let mut statement = connection.prepare(&format!(
        "{COLUMNS} WHERE k.specimen = ?1 ORDER BY k.done_on, k.revision, k.dimension"
    ))?;
    let mut rows = statement.query([specimen])?;
    let mut found = Vec::new();
    while let Some(row) = rows.next()? {
        let (dimension, left): (i64, i64) = (row.get(0)?, row.get(2)?);
        let withdrawn_in: Option<i64> = row.get(22)?;
        let reading =
            |from: usize, withdrawn: bool, number: i64| -> rusqlite::Result<WorkReading> {
                Ok(WorkReading {
                    text: row.get(from)?,
                    value: row.get(from + 1)?,
                    uncertainty: row.get(from + 2)?,
                    state: state_of(row.get(from + 3)?),
                    withdrawn,
                    number,
                })
            };
        let pictures = pictures.query_map(params![specimen, dimension, left], |row| {
            Ok(Picture {
                name: row.get(0)?,
                sha256: row.get(1)?,
            })
        })?;
        found.push(Numbered {
            dimension,
            found: row.get(1)?,
            left,
            done: WorkDone {
                dimension: row.get(3)?,
                label: row.get(4)?,
                unit: row.get(5)?,
                found: reading(13, row.get(17)?, row.get(1)?)?,
                left: reading(18, withdrawn_in.is_some(), left)?,
                tool: row.get(6)?,
                done_by: row.get(7)?,
                done_on: row.get(8)?,
                why: row.get(9)?,
                pictures: pictures.collect::<Result<_, _>>()?,
                revision: row.get(10)?,
                recorded_on: row.get(11)?,
                recorded_by: row.get(12)?,
            },
            withdrawn_in,
        });
    }
    Ok(found)
}

/// The works that a revision recorded.
pub(super) fn of_revision(
    connection: &Connection,
    specimen: i64,
    revision: i64,
) -> Result<Vec<WorkDone>, CollectionError> {
    let all = of_specimen(connection, specimen)?.into_iter();
    Ok(all
        .map(|work| work.done)
        .filter(|done| done.revision == revision)
        .collect())
}

/// All works on a specimen, each with its dimension's key and the number of the reading it left.
pub(super) fn by_reading(
    connection: &Connection,
    specimen: i64,
) -> Result<Vec<(i64, WorkDone)>, CollectionError> {
    let all = of_specimen(connection, specimen)?.into_iter();
    Ok(all.map(|work| (work.left, work.done)).collect())
}

/// The names of the specimens on which works are recorded that counted at a revision.
pub(super) fn worked_on(
    connection: &Connection,
    upto: i64,
) -> Result<HashSet<String>, CollectionError> {
    if !schema::has_rows(connection, "work")? {
        return Ok(HashSet::new());
    }
    let mut statement = connection.prepare(
        "SELECT DISTINCT s.name FROM work k JOIN specimen s ON s.id = k.specimen
         WHERE k.revision <= ?1 AND NOT EXISTS (SELECT 1 FROM withdrawal w
         WHERE w.specimen = k.specimen AND w.dimension = k.dimension AND w.seq = k.seq
         AND w.revision <= ?1)",
    )?;
    let names = statement.query_map([upto], |row| row.get(0))?;
    Ok(names.collect::<Result<_, _>>()?)
}

impl Collection {
    /// Readings of a revision that say what left the works of a place on which a work was recorded
    /// before: specimen, name of the dimension, day of the last such work. Whoever measured after the
    /// work has another state to tell.
    ///
    /// # Errors
    /// [`CollectionError`] where the store fails.
    pub fn as_made_after_works(
        &self,
        revision: i64,
    ) -> Result<Vec<(String, String, String)>, CollectionError> {
        if !schema::has_rows(&self.connection, "work")? {
            return Ok(Vec::new());
        }
        let mut statement = self.connection.prepare(
            "SELECT s.name, d.label, max(k.done_on) FROM work k
             JOIN reading r ON r.specimen = k.specimen AND r.dimension = k.dimension
             JOIN file f ON f.id = r.file JOIN specimen s ON s.id = r.specimen
             JOIN dimension d ON d.id = r.dimension
             WHERE f.revision = ?1 AND k.revision < ?1 AND r.state = ?2
             AND NOT EXISTS (SELECT 1 FROM withdrawal w WHERE w.specimen = k.specimen
             AND w.dimension = k.dimension AND w.seq = k.seq)
             GROUP BY r.specimen, r.dimension ORDER BY r.specimen, r.dimension",
        )?;
        let state = State::Factory as i64;
        let found = statement.query_map(params![revision, state], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })?;
        Ok(found.collect::<Result<_, _>>()?)
    }

    /// A piece as it was on a day, `on`, by what the collection knew at a revision: where a work was
    /// done until then its reading as left, else the reading as found. Without a day the piece as all
    /// recorded works left it, without a revision by all that is known now.
    ///
    /// # Errors
    /// [`CollectionError::NoSpecimen`], [`CollectionError::NoSuchRevision`], and where the store
    /// fails.
    pub fn replay(
        &self,
        specimen: &str,
        on: Option<Day>,
        revision: Option<i64>,
    ) -> Result<Replay, CollectionError> {
        let connection = &self.connection;
        let at = match revision {
            Some(revision) => self.revision_at(revision)?.id,
            None => self.revision()?.id,
        };
        let Some(id) = find_specimen(connection, specimen)? else {
            return Err(record::no_specimen(connection, specimen)?);
        };
        let name: String =
            connection.query_row("SELECT name FROM specimen WHERE id = ?1", [id], |row| {
                row.get(0)
            })?;
        let mut works = of_specimen(connection, id)?;
        works.retain(|work| {
            work.done.revision <= at && work.withdrawn_in.is_none_or(|revision| revision > at)
        });
        // Days of one shape: the order of the texts is that of the days.
        let day = on.map(|day| day.to_string());
        let done_by_then =
            |work: &Numbered| day.as_ref().is_none_or(|day| work.done.done_on <= *day);
        let mut readings = super::load::readings_of(connection, &[id])?;
        readings.retain(|reading| reading.was_live(at));
        let mut places = Vec::new();
        let dimensions = super::load::stored_dimensions(connection)?;
        for of_place in readings.chunk_by(|a, b| a.dimension == b.dimension) {
            let dimension = of_place[0].dimension;
            let Some((_, known)) = dimensions.iter().find(|(id, _)| *id == dimension) else {
                continue;
            };
            let here: Vec<&Numbered> = works.iter().filter(|w| w.dimension == dimension).collect();
            let done: Vec<&&Numbered> = here.iter().filter(|work| done_by_then(work)).collect();
            let wanted = match (done.last(), here.first()) {
                (Some(last), _) => Some(last.left),
                // A work was done later: until then the place was as it was found.
                (None, Some(first)) => Some(first.found),
                (None, None) => None,
            };
            let as_wanted = of_place.iter().find(|r| Some(r.seq) == wanted);
            // One that was withdrawn leaves the newest of those that tell of no work.
            let newest = || of_place.iter().rfind(|r| !r.left);
            let Some(reading) = as_wanted.or_else(newest) else {
                continue;
            };
            places.push(Standing {
                dimension: known.key.clone(),
                label: known.label.clone(),
                unit: known.unit.clone(),
                text: reading.text.clone(),
                value: reading.value,
                uncertainty: reading.uncertainty,
                state: reading.state,
                since: done
                    .last()
                    .map_or(String::new(), |w| w.done.done_on.clone()),
                works: done.len(),
                measured_on: reading.measured_on.clone(),
                revision: reading.revision,
            });
        }
        works.retain(done_by_then);
        Ok(Replay {
            specimen: name,
            revision: at,
            places,
            works: works.into_iter().map(|work| work.done).collect(),
        })
    }
}
