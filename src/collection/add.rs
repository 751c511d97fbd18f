//! Adding tables, corrections and withdrawals: one transaction and one revision each.

use std::collections::HashMap;

use rusqlite::{Connection, Transaction, TransactionBehavior, params};

use super::digest::{Digester, RevisionHead, revision_digest};
use super::load::{self, Description, StoredReading};
use super::rows::{
    NewReading, ReadingWriter, circumstance_id, insert_description, insert_dimension, unit_number,
};
use super::schema;
use super::traces::{self, NewTrace, StoredTrace, TraceKey};
use super::{Collection, CollectionError, Contradiction};
use crate::catalogue::{Periods, fold, nearest};
use crate::table::{
    Circumstance, Details, Fault, FaultKind, KeptReading, Place, Table, TraceFault, WrittenTrace,
};

/// A file to add, read already.
#[derive(Debug)]
pub struct NewFile {
    /// Its name, without the folder.
    pub name: String,
    /// The SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
    /// How it was read (JSON).
    pub options: String,
    /// What it holds.
    pub content: NewContent,
}

/// What a file to add holds.
#[derive(Debug)]
pub enum NewContent {
    /// Measurements, read with their details.
    Table(Box<Table>),
    /// Production periods.
    Periods(Periods),
    /// Traces.
    Traces(Vec<WrittenTrace>),
}

impl From<Table> for NewContent {
    fn from(table: Table) -> NewContent {
        NewContent::Table(Box::new(table))
    }
}

impl From<Periods> for NewContent {
    fn from(periods: Periods) -> NewContent {
        NewContent::Periods(periods)
    }
}

impl From<Vec<WrittenTrace>> for NewContent {
    fn from(traces: Vec<WrittenTrace>) -> NewContent {
        NewContent::Traces(traces)
    }
}

/// Who adds, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Author {
    /// Who.
    pub by: String,
    /// When, as ISO 8601 text.
    pub on: String,
    /// Why; may be empty.
    pub why: String,
}

/// What an `add` did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Added {
    /// The revision it made; `None` where it added nothing.
    pub revision: Option<i64>,
    /// Files that were in the collection already, with the revision that brought them.
    pub known_files: Vec<(String, i64)>,
    /// Specimens that were not known before.
    pub new_specimens: usize,
    /// Readings that were not known before.
    pub new_readings: usize,
    /// Readings that were there already.
    pub known_readings: usize,
    /// Readings that were withdrawn earlier, and stay so.
    pub withdrawn_readings: usize,
    /// Readings withdrawn in favour of new ones, and words replaced.
    pub corrections: usize,
    /// Periods that were not known before, or changed.
    pub new_periods: usize,
    /// Traces that were not known before.
    pub new_traces: usize,
    /// Traces that were there already.
    pub known_traces: usize,
    /// Traces that were withdrawn earlier, and stay so.
    pub withdrawn_traces: usize,
}

/// What a withdrawal did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Withdrawn {
    /// The revision it made.
    pub revision: i64,
    /// Readings withdrawn.
    pub readings: usize,
    /// Traces withdrawn.
    pub traces: usize,
}

impl Collection {
    /// Adds files in one revision. A file that is there already adds nothing. `progress` is told
    /// how many readings have been stored. Traces are added last, so that their specimens may
    /// come in any of the files.
    ///
    /// With `correct`, what contradicts the collection replaces it; the old stays readable.
    ///
    /// # Errors
    /// [`CollectionError::Contradictions`] without `correct`,
    /// [`CollectionError::UnknownSpecimens`] for traces of nobody, and all failures of the store;
    /// the collection is then as it was.
    pub fn add(
        &mut self,
        files: &[NewFile],
        author: &Author,
        correct: bool,
        progress: &mut dyn FnMut(usize),
    ) -> Result<Added, CollectionError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        schema::bring_up_to_date(&transaction)?;
        let mut adding = Adding::begin(&transaction, author, correct)?;
        for file in files {
            adding.file(file, progress)?;
        }
        adding.waiting_traces()?;
        let action = if adding.added.corrections > 0 {
            "correct"
        } else {
            "add"
        };
        let added = adding.finish(action)?;
        match added.revision {
            Some(_) => transaction.commit()?,
            None => transaction.rollback()?,
        }
        Ok(added)
    }

    /// Whether the collection has that file already, read in the same way.
    ///
    /// # Errors
    /// Failures of the store.
    pub fn knows(&self, file: &NewFile) -> Result<bool, CollectionError> {
        match schema::kind(&self.connection) {
            Ok(schema::Kind::Collection { .. }) => {
                Ok(known_file(&self.connection, file)?.is_some())
            }
            _ => Ok(false),
        }
    }

    /// Withdraws the live readings and traces of a specimen: those of one dimension (its key) or
    /// of one feature (`bowl_section@25`), or all. They stay readable.
    ///
    /// # Errors
    /// [`CollectionError::NothingToWithdraw`], and all failures of the store.
    pub fn withdraw(
        &mut self,
        specimen: &str,
        of: Option<&str>,
        author: &Author,
    ) -> Result<Withdrawn, CollectionError> {
        self.withdraw_some(specimen, of, false, author)
    }

    /// Withdraws what the last work on a dimension of a specimen (its key), or on each, left: a
    /// record that was made by mistake. The piece stands as it did before that work.
    ///
    /// # Errors
    /// [`CollectionError::NothingToWithdraw`], and all failures of the store.
    pub fn withdraw_work(
        &mut self,
        specimen: &str,
        of: Option<&str>,
        author: &Author,
    ) -> Result<Withdrawn, CollectionError> {
        self.withdraw_some(specimen, of, true, author)
    }

    fn withdraw_some(
        &mut self,
        specimen: &str,
        of: Option<&str>,
        only_last_work: bool,
        author: &Author,
    ) -> Result<Withdrawn, CollectionError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        schema::bring_up_to_date(&transaction)?;
        let nothing = |what: String| CollectionError::NothingToWithdraw { what };
        let mut adding = Adding::begin(&transaction, author, true)?;
        let id = load::find_specimen(&transaction, specimen)?
            .ok_or_else(|| nothing(format!("the collection has no specimen `{specimen}`")))?;
        let stored = load::readings_of(&transaction, &[id])?;
        let keys = load::dimension_keys(&transaction)?;
        let mut wanted: Vec<&StoredReading> = stored
            .iter()
            .filter(|r| r.is_live() && (r.left || !only_last_work))
            .filter(|r| {
                of.is_none_or(|d| keys.iter().any(|(id, key)| *id == r.dimension && key == d))
            })
            .collect();
        let mut traces = traces::of_specimen(&transaction, id)?;
        traces.retain(|t| !t.withdrawn && of.is_none_or(|feature| t.key.feature == feature));
        if only_last_work {
            traces.clear();
            // In the order of the store: the last of each dimension stays.
            wanted.reverse();
            wanted.dedup_by_key(|r| r.dimension);
        }
        if wanted.is_empty() && traces.is_empty() {
            let what = of.unwrap_or("any dimension");
            return Err(nothing(match only_last_work {
                false => format!("`{specimen}` has no reading of {what} that still counts"),
                true => format!("no work on {what} of `{specimen}` is recorded that still counts"),
            }));
        }
        for reading in &wanted {
            adding.withdraw(reading)?;
        }
        for trace in &traces {
            adding.withdraw_trace(&trace.key)?;
        }
        let added = adding.finish("withdraw")?;
        transaction.commit()?;
        Ok(Withdrawn {
            revision: added.revision.unwrap_or(0),
            readings: wanted.len(),
            traces: traces.len(),
        })
    }
}

/// The revision that brought a file, if all that it says still holds or is in the history. A table
/// of periods that was changed since says something new when it comes again.
fn known_file(connection: &Connection, file: &NewFile) -> Result<Option<i64>, CollectionError> {
    let known: Option<i64> = connection.query_row(
        "SELECT max(revision) FROM file WHERE sha256 = ?1 AND options = ?2",
        params![file.sha256, file.options],
        |row| row.get(0),
    )?;
    if let NewContent::Periods(periods) = &file.content {
        let hold = load::periods_with_ids(connection, i64::MAX)?;
        let all_hold = periods
            .all()
            .iter()
            .all(|p| hold.iter().any(|(_, h)| h == p));
        return Ok(known.filter(|_| all_hold));
    }
    Ok(known)
}

/// A revision in the making.
pub(super) struct Adding<'t> {
    transaction: &'t Transaction<'t>,
    author: &'t Author,
    correct: bool,
    previous: String,
    pub(super) revision: i64,
    pub(super) added: Added,
    /// The digest of each new file's readings or traces.
    pub(super) files: Vec<String>,
    /// Files of traces, which wait for all others: number in the store, place in `files`, name,
    /// traces.
    waiting: Vec<(i64, usize, String, &'t [WrittenTrace])>,
    /// Traces of nobody.
    unknown: Vec<Fault>,
    descriptions: HashMap<i64, Description>,
    withdrawals: usize,
    contradictions: Vec<Contradiction>,
    /// Name of the file that is being added.
    reading_file: String,
}

impl<'t> Adding<'t> {
    pub(super) fn begin(
        transaction: &'t Transaction<'t>,
        author: &'t Author,
        correct: bool,
    ) -> Result<Adding<'t>, CollectionError> {
        let (last, sha256): (i64, String) = transaction
            .query_row(
                "SELECT id, sha256 FROM revision ORDER BY id DESC LIMIT 1",
                [],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .or_else(|error| match error {
                rusqlite::Error::QueryReturnedNoRows => Ok((0, String::new())),
                error => Err(error),
            })?;
        Ok(Adding {
            transaction,
            author,
            correct,
            previous: sha256,
            revision: last + 1,
            added: Added::default(),
            files: Vec::new(),
            waiting: Vec::new(),
            unknown: Vec::new(),
            descriptions: HashMap::new(),
            withdrawals: 0,
            contradictions: Vec::new(),
            reading_file: String::new(),
        })
    }

    fn file(
        &mut self,
        file: &'t NewFile,
        progress: &mut dyn FnMut(usize),
    ) -> Result<(), CollectionError> {
        if let Some(revision) = known_file(self.transaction, file)? {
            self.added.known_files.push((file.name.clone(), revision));
            return Ok(());
        }
        let id = self.insert_file(&file.name, &file.sha256, &file.options)?;
        let mut readings = Digester::default();
        self.reading_file.clone_from(&file.name);
        match &file.content {
            NewContent::Periods(periods) => self.periods(periods)?,
            NewContent::Table(table) => self.table(id, table, &mut readings, progress)?,
            NewContent::Traces(traces) => {
                let place = self.files.len();
                self.waiting.push((id, place, file.name.clone(), traces));
            }
        }
        self.files.push(readings.finish());
        Ok(())
    }

    /// The row of a file, and the number that it gets.
    pub(super) fn insert_file(
        &self,
        name: &str,
        sha256: &str,
        options: &str,
    ) -> Result<i64, CollectionError> {
        self.transaction.execute(
            "INSERT INTO file (revision, name, sha256, options) VALUES (?1, ?2, ?3, ?4)",
            params![self.revision, name, sha256, options],
        )?;
        Ok(self.transaction.last_insert_rowid())
    }

    /// A period that changed contradicts the collection, as a reading does.
    fn periods(&mut self, periods: &Periods) -> Result<(), CollectionError> {
        let mut known = load::periods_with_ids(self.transaction, i64::MAX)?;
        for new in periods.all() {
            if known.iter().any(|(_, p)| p == new) {
                continue;
            }
            let old = known.iter().position(|(_, p)| p.is_same_as(new));
            if let Some(at) = old {
                let (id, old) = known.remove(at);
                if !self.correct {
                    self.contradictions.push(Contradiction {
                        file: self.reading_file.clone(),
                        specimen: new.name.clone(),
                        what: "period".to_owned(),
                        has: old.to_string(),
                        says: new.to_string(),
                        reading: false,
                    });
                    continue;
                }
                self.transaction.execute(
                    "INSERT INTO period_withdrawal (period, revision) VALUES (?1, ?2)",
                    params![id, self.revision],
                )?;
                self.added.corrections += 1;
            }
            self.transaction.execute(
                "INSERT INTO period (revision, maker, name, year_from, year_to, standing, note)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![
                    self.revision,
                    new.maker.as_deref().unwrap_or(""),
                    new.name,
                    new.years.from,
                    new.years.to,
                    new.standing.name(),
                    new.note
                ],
            )?;
            known.push((self.transaction.last_insert_rowid(), new.clone()));
            self.added.new_periods += 1;
        }
        // What is left must hold together.
        let mut whole = Periods::default();
        known
            .into_iter()
            .try_for_each(|(_, period)| whole.add(period))?;
        Ok(())
    }

    fn table(
        &mut self,
        file: i64,
        table: &Table,
        digest: &mut Digester,
        progress: &mut dyn FnMut(usize),
    ) -> Result<(), CollectionError> {
        let empty = Details::default();
        let details = table.details.as_ref().unwrap_or(&empty);
        let dimensions = self.dimensions(table)?;
        let circumstances = self.circumstances(&details.circumstances)?;
        let (ids, first_new) = self.specimens(table)?;
        for (row, &id) in ids.iter().enumerate() {
            self.describe(id, id >= first_new, &description(table, details, row));
        }
        let known: Vec<i64> = ids.iter().copied().filter(|&id| id < first_new).collect();
        let stored = load::readings_of(self.transaction, &known)?;
        let last_seq = load::last_seq(self.transaction, &known)?;

        // In the order of the store: specimen, dimension, then the order of the file.
        let mut order: Vec<usize> = (0..details.readings.len()).collect();
        let key = |r: &KeptReading| (ids[r.specimen as usize], dimensions[r.dimension as usize]);
        order.sort_by_key(|&i| key(&details.readings[i]));
        let candidate = |i: usize| {
            let reading = &details.readings[i];
            let circumstance = reading.circumstance;
            Candidate {
                reading,
                specimen: table.specimens.names.get(reading.specimen as usize),
                dimension: &table.catalogue.at(reading.dimension as usize).key,
                text: details.texts.get(reading.text as usize),
                circumstance: circumstance.map(|c| &details.circumstances[c as usize]),
                circumstance_id: circumstance.map(|c| circumstances[c as usize]),
            }
        };
        let mut writer = ReadingWriter::new(self.transaction, file);
        for here in order.chunk_by(|&a, &b| key(&details.readings[a]) == key(&details.readings[b]))
        {
            let place = key(&details.readings[here[0]]);
            let here = here.iter().map(|&i| candidate(i));
            if place.0 >= first_new {
                for (seq, candidate) in (1..).zip(here) {
                    writer.push(candidate.row(place, seq))?;
                    candidate.add_to(digest, seq);
                    self.added.new_readings += 1;
                }
            } else {
                let new = self.compare(place, &stored, here.collect())?;
                let last = last_seq.get(&place).copied().unwrap_or(0);
                for (seq, candidate) in (last + 1..).zip(&new) {
                    writer.push(candidate.row(place, seq))?;
                    candidate.add_to(digest, seq);
                    self.added.new_readings += 1;
                }
            }
            if self.added.new_readings.is_multiple_of(4096) {
                progress(self.added.new_readings);
            }
        }
        writer.finish()
    }

    /// What is new of some readings of a known specimen; contradictions are noted. A reading that
    /// was withdrawn stays so, however often its sheet comes again, unless it comes as a
    /// correction.
    fn compare<'c>(
        &mut self,
        place: (i64, i64),
        stored: &[StoredReading],
        mut here: Vec<Candidate<'c>>,
    ) -> Result<Vec<Candidate<'c>>, CollectionError> {
        let from = stored.partition_point(|r| (r.specimen, r.dimension) < place);
        let there = stored[from..]
            .iter()
            .take_while(|r| (r.specimen, r.dimension) == place);
        let (withdrawn, mut live): (Vec<&StoredReading>, Vec<&StoredReading>) =
            there.filter(|r| !r.left).partition(|r| !r.is_live());
        here.retain(|candidate| {
            let same = live.iter().position(|old| candidate.equals(old));
            if let Some(at) = same {
                live.remove(at);
                self.added.known_readings += 1;
            }
            same.is_none()
        });
        if !self.correct {
            here.retain(|candidate| {
                let gone = withdrawn.iter().any(|old| candidate.equals(old));
                self.added.withdrawn_readings += usize::from(gone);
                !gone
            });
        }
        // Another measurer, day, instrument or state is another reading; the same ones cannot
        // have read two values.
        for candidate in &here {
            let Some(at) = live
                .iter()
                .position(|old| candidate.same_circumstances(old))
            else {
                continue;
            };
            let old = live.remove(at);
            if self.correct {
                self.withdraw(old)?;
                self.added.corrections += 1;
            } else {
                self.contradictions.push(Contradiction {
                    file: self.reading_file.clone(),
                    specimen: candidate.specimen.to_owned(),
                    what: candidate.dimension.to_owned(),
                    has: old.text.clone(),
                    says: candidate.text.to_owned(),
                    reading: true,
                });
            }
        }
        Ok(here)
    }

    /// Written at once, so that the next file of the same `add` sees it.
    fn withdraw(&mut self, reading: &StoredReading) -> Result<(), CollectionError> {
        self.transaction.execute(
            "INSERT INTO withdrawal (specimen, dimension, seq, revision) VALUES (?1, ?2, ?3, ?4)",
            params![
                reading.specimen,
                reading.dimension,
                reading.seq,
                self.revision
            ],
        )?;
        self.withdrawals += 1;
        Ok(())
    }

    /// Adds the traces of all files, now that their specimens are there.
    fn waiting_traces(&mut self) -> Result<(), CollectionError> {
        for (file, place, name, traces) in std::mem::take(&mut self.waiting) {
            self.reading_file = name;
            let mut digest = Digester::default();
            self.traces(file, traces, &mut digest)?;
            self.files[place] = digest.finish();
        }
        Ok(())
    }

    fn traces(
        &mut self,
        file: i64,
        traces: &[WrittenTrace],
        digest: &mut Digester,
    ) -> Result<(), CollectionError> {
        let mut here: Vec<(i64, String, &WrittenTrace)> = Vec::with_capacity(traces.len());
        for trace in traces {
            match load::specimen_id(self.transaction, &trace.specimen)? {
                Some(id) => here.push((id, trace.feature.to_string(), trace)),
                None => self.unknown.push(self.of_nobody(trace)?),
            }
        }
        // In the order of the store.
        here.sort_by(|(a, f, x), (b, g, y)| (a, f, x.repeat).cmp(&(b, g, y.repeat)));
        for here in here.chunk_by(|a, b| a.0 == b.0) {
            let stored = traces::of_specimen(self.transaction, here[0].0)?;
            for (specimen, feature, trace) in here {
                let of = stored
                    .iter()
                    .filter(|t| t.key.feature == *feature && t.key.repeat == trace.repeat);
                let of: Vec<&StoredTrace> = of.collect();
                if !self.is_new_trace(&of, trace)? {
                    continue;
                }
                let (unit, points) = trace.lines();
                let circumstance = &trace.circumstance;
                let new = NewTrace {
                    key: TraceKey {
                        specimen: *specimen,
                        feature: feature.clone(),
                        repeat: trace.repeat,
                        seq: of.last().map_or(0, |t| t.key.seq) + 1,
                    },
                    name: &trace.specimen,
                    state: trace.state as i64,
                    uncertainty: trace.uncertainty,
                    circumstance: Some(circumstance).filter(|c| **c != Circumstance::default()),
                    decimal_mark: traces::mark_text(trace.mark),
                    unit: &unit,
                    points: &points,
                };
                new.insert(self.transaction, file)?;
                digest.trace(&new);
                self.added.new_traces += 1;
            }
        }
        Ok(())
    }

    /// Whether a trace is new beside those of its feature and repeat; a contradiction is noted.
    /// As with readings, one that was withdrawn stays so, unless it comes as a correction.
    fn is_new_trace(
        &mut self,
        stored: &[&StoredTrace],
        trace: &WrittenTrace,
    ) -> Result<bool, CollectionError> {
        if let Some(live) = stored.iter().find(|t| !t.withdrawn) {
            let Some((has, says)) = traces::difference(&live.written, trace)? else {
                self.added.known_traces += 1;
                return Ok(false);
            };
            if self.correct {
                self.withdraw_trace(&live.key)?;
                self.added.corrections += 1;
                return Ok(true);
            }
            if !self.was_withdrawn(stored, trace)? {
                self.contradictions.push(Contradiction {
                    file: self.reading_file.clone(),
                    specimen: trace.specimen.clone(),
                    what: trace.name(),
                    has,
                    says,
                    reading: false,
                });
            }
            return Ok(false);
        }
        Ok(self.correct || !self.was_withdrawn(stored, trace)?)
    }

    fn was_withdrawn(
        &mut self,
        stored: &[&StoredTrace],
        trace: &WrittenTrace,
    ) -> Result<bool, CollectionError> {
        for old in stored.iter().filter(|t| t.withdrawn) {
            if traces::difference(&old.written, trace)?.is_none() {
                self.added.withdrawn_traces += 1;
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn withdraw_trace(&mut self, key: &TraceKey) -> Result<(), CollectionError> {
        traces::insert_withdrawal(self.transaction, key, self.revision)?;
        self.withdrawals += 1;
        Ok(())
    }

    fn of_nobody(&self, trace: &WrittenTrace) -> Result<Fault, CollectionError> {
        let mut names = self
            .transaction
            .prepare_cached("SELECT name FROM specimen")?;
        let names: Vec<String> = names
            .query_map([], |row| row.get(0))?
            .collect::<Result<_, _>>()?;
        let names = names.iter().map(String::as_str);
        Ok(unknown_specimen(&trace.specimen, &trace.place, names))
    }

    /// The store's number of each dimension of a table; those it has readings of are stored.
    fn dimensions(&mut self, table: &Table) -> Result<Vec<i64>, CollectionError> {
        let known: HashMap<String, i64> = load::dimension_keys(self.transaction)?
            .into_iter()
            .map(|(id, key)| (key, id))
            .collect();
        let mut ids = vec![0; table.catalogue.all().len()];
        let mut used: Vec<usize> = table.columns.iter().map(|c| c.dimension).collect();
        used.sort_unstable();
        for index in used {
            let dimension = table.catalogue.at(index);
            ids[index] = match known.get(&dimension.key) {
                Some(&id) => id,
                None => insert_dimension(self.transaction, self.revision, dimension)?,
            };
        }
        Ok(ids)
    }

    fn circumstances(&self, all: &[Circumstance]) -> Result<Vec<i64>, CollectionError> {
        all.iter()
            .map(|c| circumstance_id(self.transaction, c))
            .collect()
    }

    /// The store's number of each specimen, and the first number that is new.
    fn specimens(&mut self, table: &Table) -> Result<(Vec<i64>, i64), CollectionError> {
        let first_new: i64 = self.transaction.query_row(
            "SELECT coalesce(max(id), 0) + 1 FROM specimen",
            [],
            |row| row.get(0),
        )?;
        let mut insert = self
            .transaction
            .prepare("INSERT INTO specimen (id, name) VALUES (?1, ?2)")?;
        let mut next = first_new;
        let mut ids = Vec::with_capacity(table.specimens.len());
        for name in table.specimens.names.iter() {
            let known = match first_new {
                1 => None,
                _ => load::specimen_id(self.transaction, name)?,
            };
            ids.push(match known {
                Some(id) => id,
                None => {
                    insert.execute(params![next, name])?;
                    self.added.new_specimens += 1;
                    next += 1;
                    next - 1
                }
            });
        }
        Ok((ids, first_new))
    }

    /// Notes what a file says of a specimen: gaps are filled, contradictions are noted.
    fn describe(&mut self, id: i64, new: bool, said: &Description) {
        if new {
            self.descriptions.insert(id, said.clone());
            return;
        }
        let pending = self.descriptions.get(&id).cloned();
        // A specimen without a description would be a broken store; it is then described anew.
        let Some(old) = pending.or_else(|| load::description(self.transaction, id).ok().flatten())
        else {
            self.descriptions.insert(id, said.clone());
            return;
        };
        let mut merged = old.clone();
        for ((what, has), (_, says)) in merged.fields_mut().into_iter().zip(said.fields()) {
            let name = ["maker", "pattern", "period"].contains(&what);
            let same = says == has || (name && fold(says) == fold(has));
            if says.is_empty() || same {
                continue;
            }
            if has.is_empty() {
                *has = says.to_owned();
            } else if self.correct {
                *has = says.to_owned();
                self.added.corrections += 1;
            } else {
                self.contradictions.push(Contradiction {
                    file: self.reading_file.clone(),
                    specimen: said.specimen.clone(),
                    what: what.to_owned(),
                    has: has.clone(),
                    says: says.to_owned(),
                    reading: false,
                });
            }
        }
        if merged != old {
            self.descriptions.insert(id, merged);
        }
    }

    /// Writes what was gathered and the revision's own row.
    pub(super) fn finish(mut self, action: &str) -> Result<Added, CollectionError> {
        if !self.unknown.is_empty() {
            return Err(CollectionError::UnknownSpecimens {
                faults: self.unknown,
            });
        }
        if !self.contradictions.is_empty() {
            return Err(CollectionError::Contradictions {
                contradictions: self.contradictions,
            });
        }
        let Added {
            new_readings,
            new_specimens,
            new_periods,
            new_traces,
            ..
        } = self.added;
        let new = new_readings + new_specimens + new_periods + new_traces;
        if new + self.withdrawals == 0 && self.descriptions.is_empty() {
            return Ok(self.added);
        }
        let mut descriptions: Vec<(i64, Description)> = self.descriptions.into_iter().collect();
        descriptions.sort_by_key(|(id, _)| *id);
        for (id, description) in &descriptions {
            insert_description(self.transaction, *id, self.revision, description)?;
        }
        let head = RevisionHead {
            id: self.revision,
            made_on: self.author.on.clone(),
            made_by: self.author.by.clone(),
            action: action.to_owned(),
            why: self.author.why.clone(),
        };
        let sha256 = revision_digest(self.transaction, &self.previous, &head, &self.files)?;
        head.insert(self.transaction, &sha256)?;
        self.added.revision = Some(self.revision);
        Ok(self.added)
    }
}

/// What is wrong with a trace of a specimen that is not among those that are there; `place` is
/// where the trace begins.
pub(crate) fn unknown_specimen<'n>(
    specimen: &str,
    place: &Place,
    names: impl IntoIterator<Item = &'n str>,
) -> Fault {
    let near = nearest(specimen, names);
    let nearest = near.into_iter().map(str::to_owned).collect();
    Fault {
        place: place.clone(),
        text: specimen.to_owned(),
        kind: FaultKind::from(TraceFault::UnknownSpecimen { nearest }),
    }
}

/// A reading that a file brings.
struct Candidate<'a> {
    reading: &'a KeptReading,
    specimen: &'a str,
    dimension: &'a str,
    text: &'a str,
    circumstance: Option<&'a Circumstance>,
    circumstance_id: Option<i64>,
}

impl Candidate<'_> {
    fn same_circumstances(&self, old: &StoredReading) -> bool {
        self.reading.state == old.state && self.circumstance_id == old.circumstance
    }

    fn row(&self, place: (i64, i64), seq: i64) -> NewReading {
        NewReading {
            place,
            seq,
            reading: *self.reading,
            text: self.text.to_owned(),
            circumstance: self.circumstance_id,
        }
    }

    fn add_to(&self, digest: &mut Digester, seq: i64) {
        let KeptReading {
            value,
            uncertainty,
            state,
            unit,
            ..
        } = *self.reading;
        digest.reading(
            self.specimen,
            self.dimension,
            seq,
            (value, uncertainty),
            state as i64,
            unit_number(unit),
            self.text,
            self.circumstance,
        );
    }

    /// The same cell again. A plain cell's uncertainty comes from its whole column, so the same
    /// text is the same reading though the column has become finer.
    fn equals(&self, old: &StoredReading) -> bool {
        self.same_circumstances(old)
            && self.reading.value == old.value
            && (self.text == old.text || self.reading.uncertainty == old.uncertainty)
    }
}

fn description(table: &Table, details: &Details, row: usize) -> Description {
    let specimens = &table.specimens;
    Description {
        specimen: specimens.names.get(row).to_owned(),
        maker: specimens.makers.get(row).to_owned(),
        pattern: specimens.patterns.get(row).to_owned(),
        finish: specimens.finishes.get(row).to_owned(),
        made: details.made.get(row).to_owned(),
        period: specimens.periods.get(row).to_owned(),
        source: details.source.get(row).to_owned(),
        note: details.note.get(row).to_owned(),
    }
}
