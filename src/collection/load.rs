//! From the store to a table.

use std::collections::{HashMap, HashSet};

use rusqlite::{Connection, params};

use super::rows::{UNITS, state_of};
use super::{Collection, CollectionError, Revision, schema, works};
use crate::catalogue::{Catalogue, Dimension, Period, Periods, Standing, State, YearRange, fold};
use crate::notation::is_given;
use crate::table::{
    Circumstance, ColumnBuilder, Details, KeptReading, ReadingOfPiece, Specimens, Table,
};

/// What is said of a specimen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Description {
    pub(super) specimen: String,
    pub(super) maker: String,
    pub(super) pattern: String,
    pub(super) finish: String,
    pub(super) made: String,
    pub(super) period: String,
    pub(super) source: String,
    pub(super) note: String,
}

impl Description {
    pub(super) fn fields(&self) -> [(&'static str, &str); 7] {
        [
            ("maker", &self.maker),
            ("pattern", &self.pattern),
            ("finish", &self.finish),
            ("made", &self.made),
            ("period", &self.period),
            ("source", &self.source),
            ("note", &self.note),
        ]
    }

    pub(super) fn fields_mut(&mut self) -> [(&'static str, &mut String); 7] {
        [
            ("maker", &mut self.maker),
            ("pattern", &mut self.pattern),
            ("finish", &mut self.finish),
            ("made", &mut self.made),
            ("period", &mut self.period),
            ("source", &mut self.source),
            ("note", &mut self.note),
        ]
    }
}

/// A reading as stored.
#[derive(Clone, Debug)]
pub(super) struct StoredReading {
    pub(super) specimen: i64,
    pub(super) dimension: i64,
    pub(super) seq: i64,
    pub(super) value: f64,
    pub(super) uncertainty: f64,
    pub(super) state: State,
    pub(super) text: String,
    pub(super) circumstance: Option<i64>,
    /// The revision that withdrew it.
    pub(super) withdrawn_in: Option<i64>,
    /// The revision that brought it.
    pub(super) revision: i64,
    /// The day of its reading, as written.
    pub(super) measured_on: String,
    /// Whether a work left it.
    pub(super) left: bool,
}

impl StoredReading {
    /// Whether it counts.
    pub(super) fn is_live(&self) -> bool {
        self.withdrawn_in.is_none()
    }

    /// Whether it counted at a revision.
    pub(super) fn was_live(&self, at: i64) -> bool {
        self.revision <= at && self.withdrawn_in.is_none_or(|revision| revision > at)
    }
}

impl Collection {
    /// The dimensions of the trade and those that the collection has besides.
    ///
    /// # Errors
    /// [`CollectionError`] where the store fails.
    pub fn catalogue(&self) -> Result<Catalogue, CollectionError> {
        Ok(catalogue(&self.connection)?.0)
    }

    /// The live readings and traces as a table.
    ///
    /// # Errors
    /// [`CollectionError`] where the store fails.
    pub fn table(&self) -> Result<Table, CollectionError> {
        self.table_as(View::default())
    }

    /// The readings and traces that counted at a revision, as a table, with or without the single
    /// readings as they were written.
    ///
    /// # Errors
    /// [`CollectionError::NoSuchRevision`], and where the store fails.
    pub fn table_as(&self, view: View) -> Result<Table, CollectionError> {
        self.load(view, None)
    }

    /// The live readings of the patterns that these specimens are of, as written, without traces.
    ///
    /// # Errors
    /// [`CollectionError`] where the store fails.
    pub fn fellows_of(&self, specimens: &HashSet<String>) -> Result<Table, CollectionError> {
        let mut patterns = HashSet::new();
        for name in specimens {
            if let Some(id) = specimen_id(&self.connection, name)?
                && let Some(of) = description(&self.connection, id)?
            {
                patterns.insert((fold(&of.maker), fold(&of.pattern)));
            }
        }
        let view = View {
            details: true,
            ..View::default()
        };
        self.load(view, Some(&patterns))
    }

    /// How many specimens were ever added.
    ///
    /// # Errors
    /// [`CollectionError`] where the store fails.
    pub fn size(&self) -> Result<usize, CollectionError> {
        let count = "SELECT coalesce(max(id), 0) FROM specimen";
        let n: i64 = (self.connection).query_row(count, [], |row| row.get(0))?;
        Ok(usize::try_from(n).unwrap_or(0))
    }

    /// Everything, or only patterns by their folded makers and names.
    fn load(
        &self,
        view: View,
        only: Option<&HashSet<(String, String)>>,
    ) -> Result<Table, CollectionError> {
        let connection = &self.connection;
        let newest = self.revision()?.id;
        let upto = match view.revision {
            Some(revision) if !(1..=newest).contains(&revision) => {
                return Err(CollectionError::NoSuchRevision { revision, newest });
            }
            Some(revision) => revision,
            None => newest,
        };
        // The newest revision needs no look at what came when.
        let as_of = Some(upto).filter(|&revision| revision < newest);
        let (catalogue, dimensions) = catalogue(connection)?;
        let mut specimens = Specimens::default();
        let mut details = view.details.then(Details::default);
        let mut row_of: HashMap<i64, u32> = HashMap::new();
        let mut statement = connection.prepare(
            "SELECT specimen.id, specimen.name, d.maker, d.pattern, d.made, d.period,
             d.finish, d.source, d.note
             FROM specimen JOIN description d ON d.specimen = specimen.id
             WHERE d.revision = (SELECT max(revision) FROM description
                 WHERE specimen = d.specimen AND revision <= ?1)
             ORDER BY specimen.id",
        )?;
        let mut rows = statement.query([upto])?;
        let mut ids: Vec<i64> = Vec::new();
        // Whether a pattern is wanted, by maker and pattern as written.
        let mut wanted: HashMap<String, HashMap<String, bool>> = HashMap::new();
        while let Some(row) = rows.next()? {
            let text = |column: usize| row.get_ref(column)?.as_str().map_err(rusqlite::Error::from);
            if let Some(only) = only {
                let (maker, pattern) = (text(2)?, text(3)?);
                let known = wanted.get(maker).and_then(|of| of.get(pattern)).copied();
                let is_wanted = known.unwrap_or_else(|| {
                    let is = only.contains(&(fold(maker), fold(pattern)));
                    let of_maker = wanted.entry(maker.to_owned()).or_default();
                    of_maker.insert(pattern.to_owned(), is);
                    is
                });
                if !is_wanted {
                    continue;
                }
                ids.push(row.get(0)?);
            }
            row_of.insert(row.get(0)?, specimens.len() as u32);
            specimens.names.push(text(1)?);
            specimens.makers.push(text(2)?);
            specimens.patterns.push(text(3)?);
            specimens.made.push(YearRange::parse(text(4)?).ok());
            specimens.periods.push(text(5)?);
            specimens.finishes.push(text(6)?);
            if let Some(details) = &mut details {
                details.made.push(text(4)?);
                details.source.push(text(7)?);
                details.note.push(text(8)?);
            }
        }
        let circumstance_of = match &mut details {
            Some(details) => circumstances(connection, &mut details.circumstances)?,
            None => HashMap::new(),
        };
        let mut builder = ColumnBuilder::default();
        let mut push = |row: u32, reading: &rusqlite::Row<'_>| -> rusqlite::Result<()> {
            let dimension: i64 = reading.get(1)?;
            let Some(&index) = dimensions.get(&dimension) else {
                return Ok(());
            };
            let of_piece = ReadingOfPiece {
                value: reading.get(2)?,
                uncertainty: reading.get(3)?,
                state: state_of(reading.get(4)?),
            };
            builder.push(row, index, of_piece);
            let Some(details) = &mut details else {
                return Ok(());
            };
            let unit: u32 = reading.get(5)?;
            let unit = UNITS.get(unit as usize).copied().unwrap_or(UNITS[0]);
            let text = reading.get_ref(6)?.as_str()?;
            let circumstance: Option<i64> = reading.get(7)?;
            details.readings.push(KeptReading {
                specimen: row,
                dimension: index as u32,
                value: of_piece.value,
                uncertainty: of_piece.uncertainty,
                given: is_given(text, unit, of_piece.uncertainty),
                state: of_piece.state,
                unit,
                text: details.texts.len() as u32,
                circumstance: circumstance.and_then(|id| circumstance_of.get(&id).copied()),
            });
            details.texts.push(text);
            Ok(())
        };
        let more = match view.details {
            true => ", unit, text, circumstance",
            false => "",
        };
        let mut which = readings_that_count(connection, as_of, view.as_left)?;
        if only.is_some() {
            which.push("r.specimen = ?1".to_owned());
        }
        let query = format!(
            "SELECT specimen, dimension, value, uncertainty, state{more} FROM reading AS r{}",
            where_all(&which)
        );
        if only.is_some() {
            let mut statement = connection.prepare(&query)?;
            for (row, id) in ids.iter().enumerate() {
                let mut readings = statement.query([id])?;
                while let Some(reading) = readings.next()? {
                    push(row as u32, reading)?;
                }
            }
        } else {
            let mut statement = connection.prepare(&query)?;
            let mut readings = statement.query([])?;
            let mut last: Option<(i64, u32)> = None;
            while let Some(reading) = readings.next()? {
                let id: i64 = reading.get(0)?;
                let row = match last {
                    Some((known, row)) if known == id => row,
                    _ => match row_of.get(&id) {
                        Some(&row) => row,
                        None => continue,
                    },
                };
                last = Some((id, row));
                push(row, reading)?;
            }
        }
        // Only what was read more than once is read again for its details: nothing else pays for them.
        if view.details_of_repeats && !view.details && builder.has_repeats() {
            return self.table_as(View {
                details: true,
                ..view
            });
        }
        let columns = builder.finish(specimens.len());
        let mut traces = match only {
            Some(_) => Vec::new(),
            None => super::traces::live(connection, upto)?,
        };
        if view.as_left {
            // They were taken of the piece as found.
            let worked = works::worked_on(connection, upto)?;
            traces.retain(|trace| !worked.contains(&trace.specimen));
        }
        Ok(Table {
            catalogue,
            periods: periods(connection, upto)?,
            specimens,
            columns,
            traces,
            details,
        })
    }

    /// A revision by its number.
    ///
    /// # Errors
    /// [`CollectionError::NoSuchRevision`], and where the store fails.
    pub fn revision_at(&self, revision: i64) -> Result<Revision, CollectionError> {
        let newest = self.revision()?.id;
        if !(1..=newest).contains(&revision) {
            return Err(CollectionError::NoSuchRevision { revision, newest });
        }
        let sha256 = self.connection.query_row(
            "SELECT sha256 FROM revision WHERE id = ?1",
            [revision],
            |row| row.get(0),
        )?;
        Ok(Revision {
            id: revision,
            sha256,
        })
    }
}

/// What of a collection to look at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct View {
    /// As it stood at that revision; `None` for the newest.
    pub revision: Option<i64>,
    /// Keep the single readings as they were written beside the columns.
    pub details: bool,
    /// Keep them where a place was read more than once.
    pub details_of_repeats: bool,
    /// The pieces as they stand after the works that are recorded, not as they were found.
    pub as_left: bool,
}

/// Which readings count, as conditions of a query about `reading AS r`; none where all do.
///
/// What works left does not count beside what was found: it says nothing of the works that made the
/// piece, and is no second reading of the same thing. With `as_left` it counts instead.
pub(super) fn readings_that_count(
    connection: &Connection,
    as_of: Option<i64>,
    as_left: bool,
) -> Result<Vec<String>, CollectionError> {
    let until = |column: &str| as_of.map_or(String::new(), |r| format!(" AND {column} <= {r}"));
    let not_withdrawn = |reading: &str| {
        format!(
            "NOT EXISTS (SELECT 1 FROM withdrawal w WHERE w.specimen = {reading}.specimen
             AND w.dimension = {reading}.dimension AND w.seq = {reading}.seq{})",
            until("w.revision")
        )
    };
    let mut conditions = Vec::new();
    if let Some(revision) = as_of {
        conditions.push(format!(
            "r.file IN (SELECT id FROM file WHERE revision <= {revision})"
        ));
    }
    if schema::has_rows(connection, "withdrawal")? {
        conditions.push(not_withdrawn("r"));
    }
    if schema::has_rows(connection, "work")? {
        let of_place = "FROM work k WHERE k.specimen = r.specimen AND k.dimension = r.dimension";
        conditions.push(match as_left {
            false => format!("NOT EXISTS (SELECT 1 {of_place} AND k.seq = r.seq)"),
            // The last of them; where there is none that counts, the reading itself.
            true => format!(
                "r.seq = coalesce((SELECT max(k.seq) {of_place}{} AND {}), r.seq)",
                until("k.revision"),
                not_withdrawn("k")
            ),
        });
    }
    Ok(conditions)
}

/// Conditions as the end of a query.
pub(super) fn where_all(conditions: &[String]) -> String {
    match conditions.is_empty() {
        true => String::new(),
        false => format!(" WHERE {}", conditions.join(" AND ")),
    }
}

/// Puts all circumstances into a list and gives the place of each.
fn circumstances(
    connection: &Connection,
    into: &mut Vec<Circumstance>,
) -> Result<HashMap<i64, u32>, CollectionError> {
    let mut statement = connection.prepare(
        "SELECT id, instrument, measured_by, measured_on, source, note FROM circumstance
         ORDER BY id",
    )?;
    let mut rows = statement.query([])?;
    let mut place_of = HashMap::new();
    while let Some(row) = rows.next()? {
        place_of.insert(row.get(0)?, into.len() as u32);
        into.push(Circumstance {
            instrument: row.get(1)?,
            measured_by: row.get(2)?,
            measured_on: row.get(3)?,
            source: row.get(4)?,
            note: row.get(5)?,
        });
    }
    Ok(place_of)
}

/// The dimensions of the trade and those of the collection, and the index of each stored one.
fn catalogue(connection: &Connection) -> Result<(Catalogue, HashMap<i64, usize>), CollectionError> {
    let mut catalogue = Catalogue::standard();
    let mut index = HashMap::new();
    for (id, dimension) in stored_dimensions(connection)? {
        index.insert(id, catalogue.add(dimension));
    }
    Ok((catalogue, index))
}

pub(super) fn stored_dimensions(
    connection: &Connection,
) -> Result<Vec<(i64, Dimension)>, CollectionError> {
    let mut statement = connection.prepare(
        "SELECT id, key, label, unit, synonyms, how_measured, credible_low, credible_high,
         wear_moves, tool_moves FROM dimension ORDER BY id",
    )?;
    let mut rows = statement.query([])?;
    let mut found = Vec::new();
    while let Some(row) = rows.next()? {
        let limit = |column: usize| -> rusqlite::Result<String> {
            Ok(row
                .get::<_, Option<f64>>(column)?
                .map_or(String::new(), |v| v.to_string()))
        };
        let mut cells: Vec<String> = Vec::with_capacity(9);
        for column in 1..=5 {
            cells.push(row.get(column)?);
        }
        cells.extend([limit(6)?, limit(7)?, row.get(8)?, row.get(9)?]);
        let cells: Vec<&str> = cells.iter().map(String::as_str).collect();
        if let Some(dimension) = Dimension::from_cells(&cells) {
            found.push((row.get(0)?, dimension));
        }
    }
    Ok(found)
}

pub(super) fn dimension_keys(
    connection: &Connection,
) -> Result<Vec<(i64, String)>, CollectionError> {
    let mut statement = connection.prepare("SELECT id, key FROM dimension ORDER BY id")?;
    let keys = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(keys.collect::<Result<_, _>>()?)
}

/// The periods that held at a revision.
fn periods(connection: &Connection, upto: i64) -> Result<Periods, CollectionError> {
    let mut periods = Periods::default();
    for (_, period) in periods_with_ids(connection, upto)? {
        periods.add(period)?;
    }
    Ok(periods)
}

pub(super) fn periods_with_ids(
    connection: &Connection,
    upto: i64,
) -> Result<Vec<(i64, Period)>, CollectionError> {
    let mut statement = connection.prepare(
        "SELECT id, maker, name, year_from, year_to, standing, note FROM period
         WHERE revision <= ?1
         AND id NOT IN (SELECT period FROM period_withdrawal WHERE revision <= ?1) ORDER BY id",
    )?;
    let mut rows = statement.query([upto])?;
    let mut found = Vec::new();
    while let Some(row) = rows.next()? {
        let maker: String = row.get(1)?;
        let standing: String = row.get(5)?;
        let period = Period {
            maker: Some(maker).filter(|m| !m.is_empty()),
            name: row.get(2)?,
            years: YearRange {
                from: row.get(3)?,
                to: row.get(4)?,
            },
            // The schema allows no other word.
            standing: Standing::parse(&standing).unwrap_or(Standing::Unrated),
            note: row.get(6)?,
        };
        found.push((row.get(0)?, period));
    }
    Ok(found)
}

pub(super) fn specimen_id(
    connection: &Connection,
    name: &str,
) -> Result<Option<i64>, CollectionError> {
    let found = connection
        .prepare_cached("SELECT id FROM specimen WHERE name = ?1")?
        .query_row([name], |row| row.get(0));
    match found {
        Ok(id) => Ok(Some(id)),
        Err(rusqlite::Error::QueryReturnedNoRows) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// The specimen of a name as somebody asks for it: as written, else the only one that differs in
/// letter case alone.
pub(super) fn find_specimen(
    connection: &Connection,
    name: &str,
) -> Result<Option<i64>, CollectionError> {
    if let Some(id) = specimen_id(connection, name.trim())? {
        return Ok(Some(id));
    }
    let mut statement =
        connection.prepare("SELECT id FROM specimen WHERE name = ?1 COLLATE NOCASE LIMIT 2")?;
    let alike = statement.query_map([name.trim()], |row| row.get(0))?;
    let alike: Vec<i64> = alike.collect::<Result<_, _>>()?;
    Ok(if let [only] = alike.as_slice() {
        Some(*only)
    } else {
        None
    })
}

/// What the newest revision that speaks of a specimen says.
pub(super) fn description(
    connection: &Connection,
    specimen: i64,
) -> Result<Option<Description>, CollectionError> {
    let found = connection
        .prepare_cached(
            "SELECT name, maker, pattern, finish, made, period, source, note
             FROM description JOIN specimen ON specimen.id = description.specimen
             WHERE specimen = ?1 ORDER BY revision DESC LIMIT 1",
        )?
        .query_row([specimen], |row| {
            Ok(Description {
                specimen: row.get(0)?,
                maker: row.get(1)?,
                pattern: row.get(2)?,
                finish: row.get(3)?,
                made: row.get(4)?,
                period: row.get(5)?,
                source: row.get(6)?,
                note: row.get(7)?,
            })
        });
    match found {
        Ok(description) => Ok(Some(description)),
        Err(rusqlite::Error::QueryReturnedNoRows) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// The readings of some specimens, withdrawn ones included, in the order of the store.
pub(super) fn readings_of(
    connection: &Connection,
    specimens: &[i64],
) -> Result<Vec<StoredReading>, CollectionError> {
    let left = match schema::has_table(connection, "work")? {
        true => {
            "EXISTS (SELECT 1 FROM work k WHERE k.specimen = r.specimen
             AND k.dimension = r.dimension AND k.seq = r.seq)"
        }
        false => "0",
    };
    let mut statement = connection.prepare(&format!(
        "SELECT r.specimen, r.dimension, r.seq, value, uncertainty, state, text, circumstance,
         w.revision, f.revision, coalesce(c.measured_on, ''), {left}
         FROM reading r JOIN file f ON f.id = r.file
         LEFT JOIN circumstance c ON c.id = r.circumstance
         LEFT JOIN withdrawal w ON w.specimen = r.specimen
         AND w.dimension = r.dimension AND w.seq = r.seq WHERE r.specimen = ?1
         ORDER BY r.dimension, r.seq"
    ))?;
    let mut ids = specimens.to_vec();
    ids.sort_unstable();
    let mut found = Vec::new();
    for id in ids {
        let of_specimen = statement.query_map([id], |row| {
            Ok(StoredReading {
                specimen: row.get(0)?,
                dimension: row.get(1)?,
                seq: row.get(2)?,
                value: row.get(3)?,
                uncertainty: row.get(4)?,
                state: state_of(row.get(5)?),
                text: row.get(6)?,
                circumstance: row.get(7)?,
                withdrawn_in: row.get(8)?,
                revision: row.get(9)?,
                measured_on: row.get(10)?,
                left: row.get(11)?,
            })
        })?;
        for reading in of_specimen {
            found.push(reading?);
        }
    }
    Ok(found)
}

/// The last number given to a reading of each place of some specimens.
pub(super) fn last_seq(
    connection: &Connection,
    specimens: &[i64],
) -> Result<HashMap<(i64, i64), i64>, CollectionError> {
    let mut statement = connection.prepare(
        "SELECT dimension, max(seq) FROM reading WHERE specimen = ?1 GROUP BY dimension",
    )?;
    let mut last = HashMap::new();
    for &specimen in specimens {
        let mut rows = statement.query(params![specimen])?;
        while let Some(row) = rows.next()? {
            last.insert((specimen, row.get(0)?), row.get(1)?);
        }
    }
    Ok(last)
}
