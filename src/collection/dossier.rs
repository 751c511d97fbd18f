//! All that counts of one piece.

use super::load::{self, find_specimen, readings_that_count, where_all};
use super::rows::state_of;
use super::works::{Standing, WorkDone};
use super::{Collection, CollectionError, Revision, record};
use crate::catalogue::State;

/// All that counts of one piece, and which revision knows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Dossier {
    /// Its name, as stored.
    pub specimen: String,
    /// Maker; empty where none is given, as are the next four.
    pub maker: String,
    /// Pattern.
    pub pattern: String,
    /// Finish.
    pub finish: String,
    /// When it was made, as written.
    pub made: String,
    /// Production period, as written.
    pub period: String,
    /// The readings that tell of no work, place by place.
    pub readings: Vec<DossierReading>,
    /// The works, in the order of their days.
    pub works: Vec<WorkDone>,
    /// How each place stands after all of them.
    pub places: Vec<Standing>,
    /// The newest revision.
    pub revision: Revision,
    /// The digest of the first revision: of all collections that ever were, it means this one.
    pub first_sha256: String,
}

/// A reading that counts and tells of no work.
#[derive(Clone, Debug, PartialEq)]
pub struct DossierReading {
    /// Key of the dimension.
    pub dimension: String,
    /// Its name for people.
    pub label: String,
    /// Its unit.
    pub unit: String,
    /// Which of the readings of its place it is.
    pub number: i64,
    /// The cell, verbatim.
    pub text: String,
    /// In the unit.
    pub value: f64,
    /// Standard uncertainty, in the unit.
    pub uncertainty: f64,
    /// Its state.
    pub state: State,
    /// With what it was taken; may be empty, as may be the next two.
    pub instrument: String,
    /// By whom.
    pub measured_by: String,
    /// When, as written.
    pub measured_on: String,
    /// The revision that brought it.
    pub revision: i64,
}

impl Collection {
    /// All that counts of a piece now.
    ///
    /// # Errors
    /// [`CollectionError::NoSpecimen`], and where the store fails.
    pub fn dossier(&self, specimen: &str) -> Result<Dossier, CollectionError> {
        let connection = &self.connection;
        let Some(id) = find_specimen(connection, specimen)? else {
            return Err(record::no_specimen(connection, specimen)?);
        };
        let of = load::description(connection, id)?.unwrap_or_default();
        let mut which = readings_that_count(connection, None, false)?;
        which.push("r.specimen = ?1".to_owned());
        let mut statement = connection.prepare(&format!(
            "SELECT d.key, d.label, d.unit, r.seq, r.text, r.value, r.uncertainty, r.state,
             coalesce(c.instrument, ''), coalesce(c.measured_by, ''), coalesce(c.measured_on, ''),
             f.revision
             FROM reading r JOIN dimension d ON d.id = r.dimension JOIN file f ON f.id = r.file
             LEFT JOIN circumstance c ON c.id = r.circumstance{}
             ORDER BY r.dimension, r.seq",
            where_all(&which)
        ))?;
        let readings = statement.query_map([id], |row| {
            Ok(DossierReading {
                dimension: row.get(0)?,
                label: row.get(1)?,
                unit: row.get(2)?,
                number: row.get(3)?,
                text: row.get(4)?,
                value: row.get(5)?,
                uncertainty: row.get(6)?,
                state: state_of(row.get(7)?),
                instrument: row.get(8)?,
                measured_by: row.get(9)?,
                measured_on: row.get(10)?,
                revision: row.get(11)?,
            })
        })?;
        let readings = readings.collect::<Result<_, _>>()?;
        let replay = self.replay(specimen, None, None)?;
        Ok(Dossier {
            specimen: replay.specimen,
            maker: of.maker,
            pattern: of.pattern,
            finish: of.finish,
            made: of.made,
            period: of.period,
            readings,
            works: replay.works,
            places: replay.places,
            revision: self.revision()?,
            first_sha256: self.revision_at(1)?.sha256,
        })
    }
}
