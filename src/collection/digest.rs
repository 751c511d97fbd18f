//! What a revision's digest is made of.
//!
//! A digest covers the previous revision's digest and all that the revision brought, so the newest
//! one stands for the whole collection, and a data package can be checked against it.

use std::fmt::Write as _;

use rusqlite::{Connection, Row, params};
use sha2::{Digest as _, Sha256};

use super::traces::NewTrace;
use super::{CollectionError, schema};
use crate::table::Circumstance;

/// The SHA-256 of some bytes, in hexadecimal.
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

pub(super) fn hex(bytes: &[u8]) -> String {
    bytes
        .iter()
        .fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
            // Writing to a String cannot fail.
            let _ = write!(text, "{byte:02x}");
            text
        })
}

/// Adds up texts, each with its length before it, and numbers, each as its eight bytes; a byte
/// before each tells which it is.
#[derive(Default)]
pub(super) struct Digester {
    hasher: Sha256,
    buffer: Vec<u8>,
}

impl Digester {
    pub(super) fn text(&mut self, text: &str) {
        self.buffer.push(b't');
        self.buffer.extend((text.len() as u64).to_le_bytes());
        self.buffer.extend(text.as_bytes());
        self.drain();
    }

    pub(super) fn number(&mut self, number: i64) {
        self.buffer.push(b'i');
        self.buffer.extend(number.to_le_bytes());
        self.drain();
    }

    fn value(&mut self, value: f64) {
        self.buffer.push(b'f');
        // The store keeps no sign of a zero; -0.0 + 0.0 is 0.0.
        self.buffer.extend((value + 0.0).to_bits().to_le_bytes());
        self.drain();
    }

    /// Nothing, or the start of another list.
    pub(super) fn mark(&mut self, mark: u8) {
        self.buffer.push(mark);
        self.drain();
    }

    /// Adds one reading of a file; those of a file come in the order of the store.
    #[expect(clippy::too_many_arguments, reason = "the columns of a reading")]
    pub(super) fn reading(
        &mut self,
        specimen: &str,
        dimension: &str,
        seq: i64,
        (value, uncertainty): (f64, f64),
        state: i64,
        unit: i64,
        text: &str,
        circumstance: Option<&Circumstance>,
    ) {
        self.text(specimen);
        self.text(dimension);
        self.number(seq);
        self.value(value);
        self.value(uncertainty);
        self.number(state);
        self.number(unit);
        self.text(text);
        self.circumstance(circumstance);
    }

    /// Adds one trace of a file; those of a file come in the order of the store.
    pub(super) fn trace(&mut self, trace: &NewTrace<'_>) {
        self.mark(b'T');
        self.text(trace.name);
        self.text(&trace.key.feature);
        self.number(i64::from(trace.key.repeat));
        self.number(trace.key.seq);
        self.number(trace.state);
        match trace.uncertainty {
            Some(uncertainty) => self.value(uncertainty),
            None => self.mark(b'n'),
        }
        for text in [trace.decimal_mark, trace.unit, trace.points] {
            self.text(text);
        }
        self.circumstance(trace.circumstance);
    }

    fn circumstance(&mut self, circumstance: Option<&Circumstance>) {
        self.mark(if circumstance.is_some() { b'c' } else { b'n' });
        if let Some(c) = circumstance {
            let texts = [
                &c.instrument,
                &c.measured_by,
                &c.measured_on,
                &c.source,
                &c.note,
            ];
            texts.into_iter().for_each(|text| self.text(text));
        }
    }

    fn drain(&mut self) {
        const BLOCK: usize = 1 << 14;
        if self.buffer.len() >= BLOCK {
            self.hasher.update(&self.buffer);
            self.buffer.clear();
        }
    }

    pub(super) fn finish(mut self) -> String {
        self.hasher.update(&self.buffer);
        hex(&self.hasher.finalize())
    }
}

/// A revision but for its digest.
#[derive(Clone, Debug)]
pub(super) struct RevisionHead {
    pub(super) id: i64,
    pub(super) made_on: String,
    pub(super) made_by: String,
    pub(super) action: String,
    pub(super) why: String,
}

impl RevisionHead {
    pub(super) fn insert(
        &self,
        connection: &Connection,
        sha256: &str,
    ) -> Result<(), CollectionError> {
        connection.execute(
            "INSERT INTO revision (id, made_on, made_by, action, why, sha256)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![
                self.id,
                self.made_on,
                self.made_by,
                self.action,
                self.why,
                sha256
            ],
        )?;
        Ok(())
    }
}

/// What a revision brought beside readings: the query and how many columns it has.
const PARTS: [(&str, usize); 5] = [
    (
        "SELECT key, label, unit, synonyms, how_measured, credible_low, credible_high, wear_moves,
         tool_moves FROM dimension WHERE revision = ?1 ORDER BY id",
        9,
    ),
    (
        "SELECT maker, name, year_from, year_to, standing, note FROM period
         WHERE revision = ?1 ORDER BY id",
        6,
    ),
    (
        "SELECT p.maker, p.name, p.year_from FROM period_withdrawal w JOIN period p
         ON p.id = w.period WHERE w.revision = ?1 ORDER BY w.period",
        3,
    ),
    (
        "SELECT s.name, maker, pattern, finish, made, period, source, note
         FROM description d JOIN specimen s ON s.id = d.specimen
         WHERE revision = ?1 ORDER BY specimen",
        8,
    ),
    (
        "SELECT s.name, d.key, w.seq FROM withdrawal w JOIN specimen s ON s.id = w.specimen
         JOIN dimension d ON d.id = w.dimension WHERE w.revision = ?1
         ORDER BY w.specimen, w.dimension, w.seq",
        3,
    ),
];

/// What counts only where there is any, so that revisions without keep the digests that older
/// versions gave them: the table, the mark before each row, the query, and how many columns it has.
const LATER_PARTS: [(&str, u8, &str, usize); 3] = [
    (
        "trace_withdrawal",
        b'T',
        "SELECT s.name, w.feature, w.repeat, w.seq
         FROM trace_withdrawal w JOIN specimen s ON s.id = w.specimen WHERE w.revision = ?1
         ORDER BY w.specimen, w.feature, w.repeat, w.seq",
        4,
    ),
    (
        "work",
        b'W',
        "SELECT s.name, d.key, w.seq, w.found, w.tool, w.done_by, w.done_on, w.why
         FROM work w JOIN specimen s ON s.id = w.specimen JOIN dimension d ON d.id = w.dimension
         WHERE w.revision = ?1 ORDER BY w.specimen, w.dimension, w.seq",
        8,
    ),
    (
        "picture",
        b'P',
        "SELECT s.name, d.key, p.seq, p.number, p.name, p.sha256
         FROM work w JOIN picture p ON p.specimen = w.specimen AND p.dimension = w.dimension
         AND p.seq = w.seq JOIN specimen s ON s.id = p.specimen
         JOIN dimension d ON d.id = p.dimension WHERE w.revision = ?1
         ORDER BY p.specimen, p.dimension, p.seq, p.number",
        6,
    ),
];

/// The digest of a revision whose rows are written, its own row aside. `readings` has the digest
/// of each of its files' readings or traces, in the order of the files.
pub(super) fn revision_digest(
    connection: &Connection,
    previous: &str,
    head: &RevisionHead,
    readings: &[String],
) -> Result<String, CollectionError> {
    let mut digest = Digester::default();
    digest.text(previous);
    digest.number(head.id);
    for text in [&head.made_on, &head.made_by, &head.action, &head.why] {
        digest.text(text);
    }
    let mut files = connection
        .prepare("SELECT name, sha256, options FROM file WHERE revision = ?1 ORDER BY id")?;
    let mut rows = files.query([head.id])?;
    let mut readings = readings.iter();
    while let Some(row) = rows.next()? {
        cells(&mut digest, row, 3)?;
        digest.text(readings.next().map_or("", String::as_str));
    }
    for (query, columns) in PARTS {
        digest.mark(b'#');
        let mut statement = connection.prepare(query)?;
        let mut rows = statement.query([head.id])?;
        while let Some(row) = rows.next()? {
            cells(&mut digest, row, columns)?;
        }
    }
    for (table, mark, query, columns) in LATER_PARTS {
        // A collection that is only read may be of a version without it.
        if !schema::has_table(connection, table)? {
            continue;
        }
        let mut statement = connection.prepare(query)?;
        let mut rows = statement.query([head.id])?;
        while let Some(row) = rows.next()? {
            digest.mark(mark);
            cells(&mut digest, row, columns)?;
        }
    }
    Ok(digest.finish())
}

fn cells(digest: &mut Digester, row: &Row<'_>, columns: usize) -> rusqlite::Result<()> {
    use rusqlite::types::ValueRef;
    for column in 0..columns {
        match row.get_ref(column)? {
            ValueRef::Null => digest.mark(b'n'),
            ValueRef::Integer(number) => digest.number(number),
            ValueRef::Real(value) => digest.value(value),
            ValueRef::Text(text) | ValueRef::Blob(text) => {
                digest.text(&String::from_utf8_lossy(text));
            }
        }
    }
    Ok(())
}
