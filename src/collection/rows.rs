//! How things are written as rows of the store.

use rusqlite::{Connection, Statement, params, params_from_iter};

use super::CollectionError;
use super::load::Description;
use crate::catalogue::{Dimension, Direction, State};
use crate::notation::Unit;
use crate::table::{Circumstance, KeptReading};

/// The unit of a reading is stored as its place in this list; it is the store's own, so that units may
/// be put in another order elsewhere.
pub(super) const UNITS: [Unit; 7] = [
    Unit::Millimetre,
    Unit::Centimetre,
    Unit::Inch,
    Unit::Gram,
    Unit::Ounce,
    Unit::Degree,
    Unit::Plain,
];

pub(super) fn unit_number(unit: Unit) -> i64 {
    UNITS
        .iter()
        .position(|&u| u == unit)
        .map_or(0, |at| at as i64)
}

fn direction(direction: Option<Direction>) -> &'static str {
    match direction {
        Some(Direction::Up) => "up",
        Some(Direction::Down) => "down",
        None => "",
    }
}

/// A dimension as the texts and numbers that the store and a package keep of it.
pub(super) fn dimension_cells(d: &Dimension) -> [String; 9] {
    let limit =
        |pick: fn((f64, f64)) -> f64| d.credible.map_or(String::new(), |c| pick(c).to_string());
    [
        d.key.clone(),
        d.label.clone(),
        d.unit.clone(),
        d.synonyms.join(";"),
        d.how_measured.clone(),
        limit(|c| c.0),
        limit(|c| c.1),
        direction(d.wear_moves).to_owned(),
        direction(d.tool_moves).to_owned(),
    ]
}

pub(super) fn insert_dimension(
    connection: &Connection,
    revision: i64,
    dimension: &Dimension,
) -> Result<i64, CollectionError> {
    let [key, label, unit, synonyms, how, _, _, wear, tool] = dimension_cells(dimension);
    connection.execute(
        "INSERT INTO dimension (revision, key, label, unit, synonyms, how_measured, credible_low,
         credible_high, wear_moves, tool_moves) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        params![
            revision,
            key,
            label,
            unit,
            synonyms,
            how,
            dimension.credible.map(|c| c.0),
            dimension.credible.map(|c| c.1),
            wear,
            tool
        ],
    )?;
    Ok(connection.last_insert_rowid())
}

pub(super) fn circumstance_id(
    connection: &Connection,
    c: &Circumstance,
) -> Result<i64, CollectionError> {
    let texts = [
        &c.instrument,
        &c.measured_by,
        &c.measured_on,
        &c.source,
        &c.note,
    ];
    connection
        .prepare_cached(
            "INSERT INTO circumstance (instrument, measured_by, measured_on, source, note)
         VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
        )?
        .execute(params_from_iter(texts))?;
    Ok(connection
        .prepare_cached(
            "SELECT id FROM circumstance WHERE instrument = ?1 AND measured_by = ?2
             AND measured_on = ?3 AND source = ?4 AND note = ?5",
        )?
        .query_row(params_from_iter(texts), |row| row.get(0))?)
}

pub(super) fn insert_description(
    connection: &Connection,
    specimen: i64,
    revision: i64,
    d: &Description,
) -> Result<(), CollectionError> {
    connection
        .prepare_cached(
            "INSERT INTO description (specimen, revision, maker, pattern, finish, made, period,
             source, note) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        )?
        .execute(params![
            specimen, revision, d.maker, d.pattern, d.finish, d.made, d.period, d.source, d.note
        ])?;
    Ok(())
}

/// The state stored under a number; an unknown number is an unknown state.
pub(super) fn state_of(number: i64) -> State {
    u8::try_from(number)
        .ok()
        .and_then(State::from_number)
        .unwrap_or(State::Unknown)
}

/// Writes readings many rows a statement: stepping a statement is what a row costs.
pub(super) struct ReadingWriter<'t> {
    connection: &'t Connection,
    file: i64,
    /// The statement for a full load of rows, once there are any.
    statement: Option<Statement<'t>>,
    rows: Vec<NewReading>,
}

/// A row of the reading table, but for its file.
pub(super) struct NewReading {
    /// Specimen and dimension.
    pub(super) place: (i64, i64),
    pub(super) seq: i64,
    pub(super) reading: KeptReading,
    pub(super) text: String,
    pub(super) circumstance: Option<i64>,
}

impl<'t> ReadingWriter<'t> {
    const COLUMNS: usize = 10;
    const ROWS_A_STATEMENT: usize = 32;

    pub(super) fn new(connection: &'t Connection, file: i64) -> ReadingWriter<'t> {
        let rows = Vec::with_capacity(Self::ROWS_A_STATEMENT);
        ReadingWriter {
            connection,
            file,
            statement: None,
            rows,
        }
    }

    pub(super) fn push(&mut self, row: NewReading) -> Result<(), CollectionError> {
        self.rows.push(row);
        if self.rows.len() == Self::ROWS_A_STATEMENT {
            let statement = match &mut self.statement {
                Some(statement) => statement,
                None => self
                    .statement
                    .insert(self.connection.prepare(&Self::sql(self.rows.len()))?),
            };
            Self::write(statement, self.file, &self.rows)?;
            self.rows.clear();
        }
        Ok(())
    }

    fn sql(rows: usize) -> String {
        let row = format!("({})", ["?"; Self::COLUMNS].join(", "));
        format!(
            "INSERT INTO reading (specimen, dimension, seq, file, value, uncertainty, state, unit,
             text, circumstance) VALUES {}",
            vec![row.as_str(); rows].join(", ")
        )
    }

    fn write(
        statement: &mut Statement<'_>,
        file: i64,
        rows: &[NewReading],
    ) -> Result<(), CollectionError> {
        for (at, row) in rows.iter().enumerate() {
            let first = at * Self::COLUMNS + 1;
            statement.raw_bind_parameter(first, row.place.0)?;
            statement.raw_bind_parameter(first + 1, row.place.1)?;
            statement.raw_bind_parameter(first + 2, row.seq)?;
            statement.raw_bind_parameter(first + 3, file)?;
            statement.raw_bind_parameter(first + 4, row.reading.value)?;
            statement.raw_bind_parameter(first + 5, row.reading.uncertainty)?;
            statement.raw_bind_parameter(first + 6, row.reading.state as i64)?;
            statement.raw_bind_parameter(first + 7, unit_number(row.reading.unit))?;
            statement.raw_bind_parameter(first + 8, &row.text)?;
            statement.raw_bind_parameter(first + 9, row.circumstance)?;
        }
        statement.raw_execute()?;
        Ok(())
    }

    pub(super) fn finish(self) -> Result<(), CollectionError> {
        if self.rows.is_empty() {
            return Ok(());
        }
        let mut statement = self.connection.prepare(&Self::sql(self.rows.len()))?;
        Self::write(&mut statement, self.file, &self.rows)
    }
}
