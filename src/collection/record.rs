//! Recording works: one transaction and one revision a record.

use std::io::{self, Read as _};
use std::path::Path;

use rusqlite::{Connection, TransactionBehavior, params};
use sha2::{Digest as _, Sha256};

use super::add::{Adding, Author};
use super::digest::{Digester, hex};
use super::load::{self, StoredReading};
use super::rows::{NewReading, ReadingWriter, circumstance_id, insert_dimension, unit_number};
use super::works::WorkDone;
use super::{Collection, CollectionError, schema};
use crate::catalogue::{Day, Dimension, Direction, State, YearRange, nearest};
use crate::notation::is_given;
use crate::table::{
    Circumstance, Fault, KeptReading, Picture, Work, WorkColumn, WorkFault, WrittenSize,
};

/// Works on one specimen that are to be recorded together.
#[derive(Debug)]
pub struct NewRecord {
    /// The specimen.
    pub specimen: String,
    /// Name of the file that tells of the works, without the folder, or the option.
    pub name: String,
    /// The SHA-256 of that file's bytes, or of what was typed, in hexadecimal.
    pub sha256: String,
    /// What was said besides (JSON).
    pub options: String,
    /// The works, each of another dimension.
    pub works: Vec<Work>,
}

/// What a record did.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded {
    /// The revision it made, or the one that recorded the very same before.
    pub revision: i64,
    /// Whether it is new; a record that is there already adds nothing.
    pub new: bool,
    /// The works as they are recorded.
    pub works: Vec<WorkDone>,
}

/// The state of a place after a work on it. There are no others: what works left can never pass for
/// what left the works that made the piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Left {
    Reworked,
    Replaced,
}

impl Left {
    /// A part that is not the works' own stays so, whatever is done to it.
    fn of(work: &Work, found: State) -> Left {
        match work.replaced || found == State::Replaced {
            true => Left::Replaced,
            false => Left::Reworked,
        }
    }
}

impl From<Left> for State {
    fn from(left: Left) -> State {
        match left {
            Left::Reworked => State::Reworked,
            Left::Replaced => State::Replaced,
        }
    }
}

/// A work held against the collection.
struct Checked<'a> {
    work: &'a Work,
    /// The store's number of its dimension, where there is any reading of it.
    dimension: Option<i64>,
    found: Found<'a>,
    state: State,
    last_seq: i64,
}

/// What a work starts from.
#[derive(Clone, Copy)]
enum Found<'a> {
    /// A reading of the collection.
    Known(&'a StoredReading),
    /// A reading that the record brings.
    New(&'a WrittenSize, State),
}

impl Found<'_> {
    fn state(&self) -> State {
        match self {
            Found::Known(reading) => reading.state,
            Found::New(_, state) => *state,
        }
    }

    fn size(&self) -> (f64, f64) {
        match self {
            Found::Known(reading) => (reading.value, reading.uncertainty),
            Found::New(size, _) => (size.value, size.uncertainty),
        }
    }
}

impl Collection {
    /// Records works on a specimen in one revision. A record that is there already, and of which
    /// nothing was withdrawn, adds nothing. `latest` is the last day that may be the day of a work.
    ///
    /// # Errors
    /// [`CollectionError::Works`] with everything that cannot be, [`CollectionError::NoSpecimen`],
    /// and all failures of the store; the collection is then as it was.
    pub fn record(
        &mut self,
        record: &NewRecord,
        author: &Author,
        latest: Day,
    ) -> Result<Recorded, CollectionError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        schema::bring_up_to_date(&transaction)?;
        let Some(specimen) = load::find_specimen(&transaction, &record.specimen)? else {
            return Err(no_specimen(&transaction, &record.specimen)?);
        };
        let stored = load::readings_of(&transaction, &[specimen])?;
        if let Some(revision) = known_record(&transaction, specimen, record)? {
            let works = super::works::of_revision(&transaction, specimen, revision)?;
            return Ok(Recorded {
                revision,
                new: false,
                works,
            });
        }
        let description = load::description(&transaction, specimen)?.unwrap_or_default();
        let made = YearRange::parse(&description.made).ok();
        let keys = load::dimension_keys(&transaction)?;
        let mut faults = Vec::new();
        let mut checked = Vec::new();
        for work in &record.works {
            let known = keys.iter().find(|(_, key)| *key == work.dimension.key);
            let dimension = known.map(|(id, _)| *id);
            let of_place = stored.iter().filter(|r| Some(r.dimension) == dimension);
            let of_place: Vec<&StoredReading> = of_place.collect();
            match check(work, dimension, &of_place, made, latest) {
                Ok(work) => checked.push(work),
                Err(fault) => faults.push(*fault),
            }
        }
        if !faults.is_empty() {
            return Err(CollectionError::Works { faults });
        }
        let mut adding = Adding::begin(&transaction, author, false)?;
        write(
            &transaction,
            &mut adding,
            &description.specimen,
            specimen,
            record,
            checked,
        )?;
        let revision = adding.revision;
        adding.finish("record")?;
        let works = super::works::of_revision(&transaction, specimen, revision)?;
        transaction.commit()?;
        Ok(Recorded {
            revision,
            new: true,
            works,
        })
    }
}

/// A name that is no specimen's, with those that are near.
pub(super) fn no_specimen(
    connection: &Connection,
    name: &str,
) -> Result<CollectionError, CollectionError> {
    let mut statement = connection.prepare("SELECT name FROM specimen")?;
    let names: Vec<String> = statement
        .query_map([], |row| row.get(0))?
        .collect::<Result<_, _>>()?;
    let near = nearest(name, names.iter().map(String::as_str));
    Ok(CollectionError::NoSpecimen {
        name: name.to_owned(),
        nearest: near.into_iter().map(str::to_owned).collect(),
    })
}

/// The revision that recorded the same of the specimen, if all that it recorded still counts.
fn known_record(
    connection: &Connection,
    specimen: i64,
    record: &NewRecord,
) -> Result<Option<i64>, CollectionError> {
    Ok(connection.query_row(
        "SELECT max(f.revision) FROM file f WHERE f.sha256 = ?1 AND f.options = ?2
         AND EXISTS (SELECT 1 FROM work k WHERE k.revision = f.revision AND k.specimen = ?3)
         AND NOT EXISTS (SELECT 1 FROM work k JOIN withdrawal w ON w.specimen = k.specimen
         AND w.dimension = k.dimension AND w.seq = k.seq WHERE k.revision = f.revision)",
        params![record.sha256, record.options, specimen],
        |row| row.get(0),
    )?)
}

/// Holds a work against what is recorded of its place.
fn check<'a>(
    work: &'a Work,
    dimension: Option<i64>,
    of_place: &[&'a StoredReading],
    made: Option<YearRange>,
    latest: Day,
) -> Result<Checked<'a>, Box<Fault>> {
    let live = || of_place.iter().copied().filter(|r| r.is_live());
    let last_left = live().rfind(|r| r.left);
    let standing = last_left.or_else(|| live().next_back());
    let found = match (&work.found, standing) {
        (None, None) => {
            return Err(Box::new(
                work.fault(WorkColumn::Dimension, WorkFault::NothingFound),
            ));
        }
        (None, Some(reading)) => Found::Known(reading),
        (Some((size, said)), standing) => {
            if let (Some(left), Some(said)) = (last_left, *said)
                && said != left.state
            {
                let fault = WorkFault::FoundState {
                    left: left.state,
                    said,
                    revision: left.revision,
                };
                return Err(Box::new(work.fault(WorkColumn::AsFound, fault)));
            }
            let state = match last_left {
                // What was worked on is not as it left the works, however often it is measured.
                Some(left) => left.state,
                None => said.unwrap_or(State::Unknown),
            };
            match standing {
                Some(reading)
                    if reading.value == size.value
                        && (said.is_none() || *said == Some(reading.state)) =>
                {
                    Found::Known(reading)
                }
                _ => Found::New(size, state),
            }
        }
    };
    let wrong_day = |fault| Err(Box::new(work.fault(WorkColumn::DoneOn, fault)));
    if work.done_on > latest {
        return wrong_day(WorkFault::Future);
    }
    if let Some(made) = made.filter(|made| work.done_on.year() < made.from) {
        return wrong_day(WorkFault::BeforeMade { made });
    }
    if let Some(left) = last_left
        && let Ok(day) = Day::parse(&left.measured_on)
        && work.done_on < day
    {
        return wrong_day(WorkFault::BeforeWork {
            done_on: left.measured_on.clone(),
            revision: left.revision,
        });
    }
    if let Found::Known(reading) = found
        && let Ok(measured_on) = Day::parse(&reading.measured_on)
        && work.done_on < measured_on
    {
        return wrong_day(WorkFault::BeforeReading {
            text: reading.text.clone(),
            measured_on,
        });
    }
    if !work.replaced {
        is_removal(&work.dimension, found.size(), &work.left)
            .map_err(|fault| work.fault(WorkColumn::AsLeft, fault))?;
    }
    Ok(Checked {
        work,
        dimension,
        found,
        state: Left::of(work, found.state()).into(),
        last_seq: of_place.last().map_or(0, |r| r.seq),
    })
}

/// Whether a size can come of taking material away. One that lies on the wrong side by no more than
/// twice the standard uncertainty of the difference of the two readings passes for no change
/// (JCGM 100:2008, 5.1.2 and 6.2.1: independent readings, coverage factor 2).
fn is_removal(
    dimension: &Dimension,
    (found, found_uncertainty): (f64, f64),
    left: &WrittenSize,
) -> Result<(), WorkFault> {
    let Some(direction) = dimension.tool_moves else {
        return Ok(());
    };
    let reach = 2.0 * found_uncertainty.hypot(left.uncertainty);
    let grown = left.value - found;
    let wrong_way = match direction {
        Direction::Down => grown,
        Direction::Up => -grown,
    };
    match wrong_way <= reach {
        true => Ok(()),
        false => Err(WorkFault::NotRemoval {
            found: rounded(found),
            allowed: format!("{reach:.3}"),
            unit: dimension.unit.clone(),
            up: direction == Direction::Up,
        }),
    }
}

/// Without the digits that conversion of a unit adds.
fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}

/// Writes the rows of a record whose works are in order.
fn write(
    connection: &Connection,
    adding: &mut Adding<'_>,
    name: &str,
    specimen: i64,
    record: &NewRecord,
    mut checked: Vec<Checked<'_>>,
) -> Result<(), CollectionError> {
    let file = adding.insert_file(&record.name, &record.sha256, &record.options)?;
    for one in &mut checked {
        if one.dimension.is_none() {
            let id = insert_dimension(connection, adding.revision, &one.work.dimension)?;
            one.dimension = Some(id);
        }
    }
    // In the order of the store.
    checked.sort_by_key(|one| one.dimension);
    let mut digest = Digester::default();
    let mut writer = ReadingWriter::new(connection, file);
    let mut rows = Vec::new();
    for one in &checked {
        let work = one.work;
        let dimension = one.dimension.unwrap_or(0);
        let circumstance = Circumstance {
            measured_by: work.done_by.clone(),
            measured_on: work.done_on.to_string(),
            ..Circumstance::default()
        };
        let circumstance_id = circumstance_id(connection, &circumstance)?;
        let mut seq = one.last_seq;
        let mut push = |size: &WrittenSize, state: State| -> Result<i64, CollectionError> {
            seq += 1;
            let new = NewReading {
                place: (specimen, dimension),
                seq,
                reading: KeptReading {
                    specimen: 0,
                    dimension: 0,
                    value: size.value,
                    uncertainty: size.uncertainty,
                    given: is_given(&size.text, size.unit, size.uncertainty),
                    state,
                    unit: size.unit,
                    text: 0,
                    circumstance: None,
                },
                text: size.text.clone(),
                circumstance: Some(circumstance_id),
            };
            writer.push(new)?;
            digest.reading(
                name,
                &work.dimension.key,
                seq,
                (size.value, size.uncertainty),
                state as i64,
                unit_number(size.unit),
                &size.text,
                Some(&circumstance),
            );
            adding.added.new_readings += 1;
            Ok(seq)
        };
        let found = match one.found {
            Found::Known(reading) => reading.seq,
            Found::New(size, state) => push(size, state)?,
        };
        rows.push((dimension, push(&work.left, one.state)?, found, work));
    }
    writer.finish()?;
    for (dimension, seq, found, work) in rows {
        insert_work(
            connection,
            &WorkRow {
                place: (specimen, dimension, seq),
                found,
                revision: adding.revision,
                tool: &work.tool,
                done_by: &work.done_by,
                done_on: &work.done_on.to_string(),
                why: &work.why,
            },
        )?;
        for (number, picture) in (1..).zip(&work.pictures) {
            insert_picture(connection, (specimen, dimension, seq), number, picture)?;
        }
    }
    adding.files.push(digest.finish());
    Ok(())
}

/// A row of the table of works.
pub(super) struct WorkRow<'a> {
    /// Specimen, dimension and number of the reading as left.
    pub(super) place: (i64, i64, i64),
    pub(super) found: i64,
    pub(super) revision: i64,
    pub(super) tool: &'a str,
    pub(super) done_by: &'a str,
    pub(super) done_on: &'a str,
    pub(super) why: &'a str,
}

pub(super) fn insert_work(
    connection: &Connection,
    row: &WorkRow<'_>,
) -> Result<(), CollectionError> {
    let (specimen, dimension, seq) = row.place;
    connection
        .prepare_cached(
            "INSERT INTO work (specimen, dimension, seq, found, revision, tool, done_by, done_on,
             why) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        )?
        .execute(params![
            specimen,
            dimension,
            seq,
            row.found,
            row.revision,
            row.tool,
            row.done_by,
            row.done_on,
            row.why
        ])?;
    Ok(())
}

pub(super) fn insert_picture(
    connection: &Connection,
    (specimen, dimension, seq): (i64, i64, i64),
    number: i64,
    picture: &Picture,
) -> Result<(), CollectionError> {
    connection
        .prepare_cached(
            "INSERT INTO picture (specimen, dimension, seq, number, name, sha256)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![
            specimen,
            dimension,
            seq,
            number,
            picture.name,
            picture.sha256
        ])?;
    Ok(())
}

/// Reads a picture for its digest; it is not kept.
///
/// # Errors
/// Those of reading the file; an empty file is no picture.
pub fn read_picture(path: &Path) -> io::Result<Picture> {
    if path.is_dir() {
        return Err(io::Error::other("it is a folder; expected a file"));
    }
    let mut file = std::fs::File::open(path)?;
    let mut hasher = Sha256::new();
    let mut buffer = vec![0; 1 << 16];
    let mut length = 0;
    loop {
        let read = file.read(&mut buffer)?;
        if read == 0 {
            break;
        }
        length += read;
        hasher.update(&buffer[..read]);
    }
    if length == 0 {
        return Err(io::Error::other("it is empty"));
    }
    Ok(Picture {
        name: path
            .file_name()
            .map_or(String::new(), |n| n.to_string_lossy().into_owned()),
        sha256: hex(&hasher.finalize()),
    })
}
