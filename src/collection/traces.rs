//! Traces in the store: as they were written, and read from that again.

use rusqlite::{Connection, Row, params};

use super::rows::{circumstance_id, state_of};
use super::{Collection, CollectionError, schema};
use crate::catalogue::{Feature, FeatureName};
use crate::notation::DecimalMark;
use crate::table::{Circumstance, Place, Trace, WrittenTrace};

/// Whether a collection has the tables of version 2; one that is only read may not.
pub(super) fn are_there(connection: &Connection) -> Result<bool, CollectionError> {
    schema::has_table(connection, "trace")
}

/// Whether a collection ever had any.
pub(super) fn any(connection: &Connection) -> Result<bool, CollectionError> {
    schema::has_rows(connection, "trace")
}

/// Which trace of the store.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct TraceKey {
    pub(super) specimen: i64,
    pub(super) feature: String,
    pub(super) repeat: u32,
    pub(super) seq: i64,
}

/// A trace as stored.
#[derive(Clone, Debug)]
pub(super) struct StoredTrace {
    pub(super) key: TraceKey,
    pub(super) written: WrittenTrace,
    pub(super) withdrawn: bool,
}

const COLUMNS: &str = "SELECT t.specimen, t.feature, t.repeat, t.seq, s.name, t.state,
    t.uncertainty, c.instrument, c.measured_by, c.measured_on, c.source, c.note, t.decimal_mark,
    t.unit, t.points, w.revision IS NOT NULL
    FROM trace t JOIN specimen s ON s.id = t.specimen
    LEFT JOIN circumstance c ON c.id = t.circumstance
    LEFT JOIN trace_withdrawal w ON w.specimen = t.specimen AND w.feature = t.feature
    AND w.repeat = t.repeat AND w.seq = t.seq";

const ORDER: &str = "ORDER BY t.specimen, t.feature, t.repeat, t.seq";

/// The traces of one specimen, withdrawn ones included, in the order of the store.
pub(super) fn of_specimen(
    connection: &Connection,
    specimen: i64,
) -> Result<Vec<StoredTrace>, CollectionError> {
    let query = format!("{COLUMNS} WHERE t.specimen = ?1 {ORDER}");
    let mut statement = connection.prepare_cached(&query)?;
    let standard = Feature::standard();
    let mut rows = statement.query([specimen])?;
    let mut found = Vec::new();
    while let Some(row) = rows.next()? {
        found.push(stored(row, &standard)?);
    }
    Ok(found)
}

/// The traces that counted at a revision as numbers, in the order of the store.
pub(super) fn live(connection: &Connection, upto: i64) -> Result<Vec<Trace>, CollectionError> {
    if !any(connection)? {
        return Ok(Vec::new());
    }
    let query = format!(
        "{COLUMNS} WHERE (w.revision IS NULL OR w.revision > ?1)
         AND t.file IN (SELECT id FROM file WHERE revision <= ?1) {ORDER}"
    );
    let mut statement = connection.prepare(&query)?;
    let standard = Feature::standard();
    let mut rows = statement.query([upto])?;
    let mut found = Vec::new();
    while let Some(row) = rows.next()? {
        found.push(numbers(&stored(row, &standard)?.written)?);
    }
    Ok(found)
}

/// A stored trace as numbers.
pub(super) fn numbers(written: &WrittenTrace) -> Result<Trace, CollectionError> {
    let broken = |fault: crate::table::FaultKind| unreadable(&written.specimen, &fault);
    written.read().map_err(broken)
}

fn unreadable(specimen: &str, what: &dyn std::fmt::Display) -> CollectionError {
    CollectionError::Trace {
        specimen: specimen.to_owned(),
        what: what.to_string(),
    }
}

fn stored(row: &Row<'_>, standard: &[Feature]) -> Result<StoredTrace, CollectionError> {
    let key = TraceKey {
        specimen: row.get(0)?,
        feature: row.get(1)?,
        repeat: row.get(2)?,
        seq: row.get(3)?,
    };
    let specimen: String = row.get(4)?;
    let text = |column: usize| -> rusqlite::Result<String> {
        Ok(row.get::<_, Option<String>>(column)?.unwrap_or_default())
    };
    let feature = FeatureName::parse(&key.feature, standard)
        .map_err(|error| unreadable(&specimen, &error))?;
    let (unit, lines) = (text(13)?, text(14)?);
    let points = WrittenTrace::points_of(&unit, &lines)
        .ok_or_else(|| unreadable(&specimen, &"its points are no lines of CSV"))?;
    let written = WrittenTrace {
        place: Place::default(),
        specimen,
        feature,
        repeat: key.repeat,
        state: state_of(row.get(5)?),
        uncertainty: row.get(6)?,
        circumstance: Circumstance {
            instrument: text(7)?,
            measured_by: text(8)?,
            measured_on: text(9)?,
            source: text(10)?,
            note: text(11)?,
        },
        mark: mark(&text(12)?),
        points,
    };
    Ok(StoredTrace {
        key,
        written,
        withdrawn: row.get(15)?,
    })
}

/// The schema allows no other mark.
fn mark(text: &str) -> DecimalMark {
    match text {
        "," => DecimalMark::Comma,
        _ => DecimalMark::Point,
    }
}

/// A row of the trace table, but for its file.
pub(super) struct NewTrace<'a> {
    pub(super) key: TraceKey,
    /// Name of its specimen.
    pub(super) name: &'a str,
    pub(super) state: i64,
    pub(super) uncertainty: Option<f64>,
    pub(super) circumstance: Option<&'a Circumstance>,
    pub(super) decimal_mark: &'a str,
    pub(super) unit: &'a str,
    pub(super) points: &'a str,
}

impl NewTrace<'_> {
    pub(super) fn insert(&self, connection: &Connection, file: i64) -> Result<(), CollectionError> {
        let circumstance = match self.circumstance {
            Some(c) => Some(circumstance_id(connection, c)?),
            None => None,
        };
        connection
            .prepare_cached(
                "INSERT INTO trace (specimen, feature, repeat, seq, file, state, uncertainty,
                 circumstance, decimal_mark, unit, points)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
            )?
            .execute(params![
                self.key.specimen,
                self.key.feature,
                self.key.repeat,
                self.key.seq,
                file,
                self.state,
                self.uncertainty,
                circumstance,
                self.decimal_mark,
                self.unit,
                self.points
            ])?;
        Ok(())
    }
}

/// The decimal mark as stored.
pub(super) fn mark_text(mark: DecimalMark) -> &'static str {
    match mark {
        DecimalMark::Point => ".",
        DecimalMark::Comma => ",",
    }
}

pub(super) fn insert_withdrawal(
    connection: &Connection,
    key: &TraceKey,
    revision: i64,
) -> Result<(), CollectionError> {
    connection.execute(
        "INSERT INTO trace_withdrawal (specimen, feature, repeat, seq, revision)
         VALUES (?1, ?2, ?3, ?4, ?5)",
        params![key.specimen, key.feature, key.repeat, key.seq, revision],
    )?;
    Ok(())
}

/// Where a trace differs from another of the same feature: what the old has, and the new.
/// `None` where they are the same reading of the same surface.
pub(super) fn difference(
    old: &WrittenTrace,
    new: &WrittenTrace,
) -> Result<Option<(String, String)>, CollectionError> {
    if old.state != new.state {
        return Ok(Some((old.state.to_string(), new.state.to_string())));
    }
    let words = |c: &Circumstance| {
        [
            c.instrument.clone(),
            c.measured_by.clone(),
            c.measured_on.clone(),
            c.source.clone(),
            c.note.clone(),
        ]
    };
    let mut words = words(&old.circumstance)
        .into_iter()
        .zip(words(&new.circumstance));
    if let Some(differing) = words.find(|(old, new)| old != new) {
        return Ok(Some(differing));
    }
    if numbers(old)?.reading == numbers(new)?.reading {
        return Ok(None);
    }
    if old.points.len() != new.points.len() {
        let count = |trace: &WrittenTrace| format!("{} points", trace.points.len());
        return Ok(Some((count(old), count(new))));
    }
    let mut points = old.points.iter().zip(new.points.iter());
    Ok(points.find(|(old, new)| old != new).map_or_else(
        || {
            let uncertainty = |trace: &WrittenTrace| match trace.uncertainty {
                Some(u) => format!("uncertainty {u}"),
                None => "no uncertainty".to_owned(),
            };
            Some((uncertainty(old), uncertainty(new)))
        },
        |(old, new)| {
            let shown = |p: crate::table::WrittenPoint<'_>| {
                format!("{}, {} {}", p.station, p.reading, p.unit)
                    .trim_end()
                    .to_owned()
            };
            Some((shown(old), shown(new)))
        },
    ))
}

impl Collection {
    /// The features that a specimen's traces are of, by their keys and places; those that count.
    ///
    /// # Errors
    /// [`CollectionError`] where the store fails.
    pub fn traced_features(&self, specimen: &str) -> Result<Vec<String>, CollectionError> {
        let connection = &self.connection;
        if !any(connection)? {
            return Ok(Vec::new());
        }
        let Some(id) = super::load::find_specimen(connection, specimen)? else {
            return Ok(Vec::new());
        };
        let live = of_specimen(connection, id)?
            .into_iter()
            .filter(|t| !t.withdrawn);
        let mut features: Vec<String> = live.map(|t| t.key.feature).collect();
        features.dedup();
        Ok(features)
    }
}
