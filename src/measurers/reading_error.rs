//! What a reading without an uncertainty of its own is worth.

use std::collections::HashMap;

use super::LEAST_FREEDOM;
use super::repeats::Repeats;
use super::study::{Reach, Study, study};
use crate::catalogue::fold;
use crate::table::{KeptReading, Table, Uncertainty};

/// The error of a single reading of a dimension, by repeats, in the unit.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingError {
    /// Key of the dimension.
    pub dimension: String,
    /// With which instrument, in its first spelling; `None` for any.
    pub instrument: Option<String>,
    /// Standard deviation between measurers; 0 where there is one.
    pub between: f64,
    /// Standard deviation of what is left.
    pub residual: f64,
    /// Upper limit of the confidence interval of the whole; `None` where it is not told.
    pub high: Option<f64>,
    /// Places that were read more than once.
    pub pieces: usize,
    /// Their readings.
    pub readings: usize,
    /// By how many measurers.
    pub measurers: usize,
}

impl ReadingError {
    /// That of a study of such readings with enough degrees of freedom whose readings differ at all.
    fn of(study: &Study, key: &str) -> Option<ReadingError> {
        let residual = study.residual?;
        let between = study.between.unwrap_or(0.0);
        let of = study.reproducibility.or(study.repeatability);
        let enough = study.freedom >= LEAST_FREEDOM && residual.hypot(between) > 0.0;
        enough.then(|| ReadingError {
            dimension: key.to_owned(),
            instrument: study.scope.instrument.clone(),
            between,
            residual,
            high: of.and_then(|s| s.interval).map(|(_, high)| high),
            pieces: study.pieces,
            readings: study.readings,
            measurers: study.measurers,
        })
    }

    /// The standard uncertainty of a single reading by just any measurer.
    pub fn standard_uncertainty(&self) -> f64 {
        self.between.hypot(self.residual)
    }
}

/// The reading errors that a table's repeats tell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadingErrors {
    all: Vec<ReadingError>,
}

impl ReadingErrors {
    /// Those of the dimensions of a table with details, and of their instruments, with at least
    /// [`LEAST_FREEDOM`] degrees of freedom. Only readings that were written without an uncertainty
    /// of their own tell what such readings are worth.
    pub fn of(table: &Table) -> ReadingErrors {
        let repeats = Repeats::gather(table, |r| !r.given);
        let mut all = Vec::new();
        for scope in repeats.scopes(table) {
            if let Reach::Dimension(dimension) = scope.reach {
                let chosen = repeats.of(table, &scope);
                let (study, _) = study(table, &repeats, scope, &chosen, 0.95);
                let key = &table.catalogue.at(dimension).key;
                all.extend(study.and_then(|study| ReadingError::of(&study, key)));
            }
        }
        ReadingErrors { all }
    }

    /// Whether nothing is told.
    pub fn is_empty(&self) -> bool {
        self.all.is_empty()
    }

    /// All of them.
    pub fn all(&self) -> &[ReadingError] {
        &self.all
    }

    /// That of a dimension and an instrument, or of any instrument.
    pub fn exactly(&self, dimension: &str, instrument: Option<&str>) -> Option<&ReadingError> {
        let wanted = instrument.map(fold);
        let fits = |e: &&ReadingError| {
            e.dimension == dimension && e.instrument.as_deref().map(fold) == wanted
        };
        self.all.iter().find(fits)
    }

    /// That of a reading with an instrument; that of any instrument where its own is not told.
    pub fn find(&self, dimension: &str, instrument: &str) -> Option<&ReadingError> {
        self.exactly(dimension, Some(instrument))
            .or_else(|| self.exactly(dimension, None))
    }

    /// The table with these errors for readings that were written without an uncertainty of their
    /// own, where they are greater than the step as written; and those of `self` that were used. A
    /// table without details comes back as it is; else details are left out of the result, for they
    /// tell the uncertainties as written.
    ///
    /// Of several readings of a place the mean stands, as ever: errors that are a measurer's own do
    /// not shrink by that measurer's repeats. `docs/measurers.md` has the formula.
    pub fn applied(&self, mut table: Table) -> (Table, Vec<&ReadingError>) {
        let Some(details) = table.details.take() else {
            return (table, Vec::new());
        };
        let rows = table.specimens.len();
        let keys: HashMap<u32, &str> = (0u32..)
            .zip(table.catalogue.all())
            .map(|(at, dimension)| (at, &*dimension.key))
            .collect();
        let mut found: HashMap<(u32, &str), Option<&ReadingError>> = HashMap::new();
        let mut used: Vec<&ReadingError> = Vec::new();
        let mut changes: HashMap<u32, Vec<(usize, f64)>> = HashMap::new();
        let place = |r: &KeptReading| (r.specimen, r.dimension);
        for of_place in details.readings.chunk_by(|a, b| place(a) == place(b)) {
            let best = of_place.iter().map(|r| r.state.rank()).min();
            let speaking = of_place.iter().filter(|r| Some(r.state.rank()) == best);
            let mut sum = Sum::default();
            let mut of_this: Vec<&ReadingError> = Vec::new();
            for reading in speaking {
                let at = reading.circumstance;
                let how = at.and_then(|at| details.circumstances.get(at as usize));
                let (by, with) = how.map_or(("", ""), |c| (&*c.measured_by, &*c.instrument));
                let error = match reading.given {
                    true => None,
                    false => *found
                        .entry((reading.dimension, with))
                        .or_insert_with(|| self.find(keys.get(&reading.dimension)?, with)),
                };
                let error = error.filter(|e| e.standard_uncertainty() > reading.uncertainty);
                sum.add(reading.uncertainty, error, by);
                of_this.extend(error);
            }
            if of_this.is_empty() {
                continue;
            }
            for error in of_this {
                if !used.iter().any(|u| std::ptr::eq(*u, error)) {
                    used.push(error);
                }
            }
            let change = (of_place[0].specimen as usize, sum.of_mean());
            changes
                .entry(of_place[0].dimension)
                .or_default()
                .push(change);
        }
        for column in &mut table.columns {
            let Some(changes) = changes.get(&(column.dimension as u32)) else {
                continue;
            };
            if let Uncertainty::Step(_) = column.uncertainty {
                let each = (0..rows).map(|row| column.uncertainty(row)).collect();
                column.uncertainty = Uncertainty::Each(each);
            }
            if let Uncertainty::Each(each) = &mut column.uncertainty {
                for &(row, u) in changes {
                    each[row] = u;
                }
            }
        }
        used.sort_by_key(|u| self.all.iter().position(|e| std::ptr::eq(e, *u)));
        (table, used)
    }
}

/// The uncertainty of the mean of some readings of one place.
#[derive(Default)]
struct Sum {
    n: f64,
    /// Variances of the readings' own errors.
    own: f64,
    /// What each measurer's readings share: folded name, readings, variance.
    shared: Vec<(String, f64, f64)>,
}

impl Sum {
    fn add(&mut self, as_written: f64, error: Option<&ReadingError>, by: &str) {
        self.n += 1.0;
        let Some(error) = error else {
            self.own += as_written * as_written;
            return;
        };
        self.own += error.residual * error.residual;
        let (by, variance) = (fold(by), error.between * error.between);
        match self
            .shared
            .iter_mut()
            .find(|s| s.0 == by && s.2 == variance)
        {
            Some(same) => same.1 += 1.0,
            None => self.shared.push((by, 1.0, variance)),
        }
    }

    fn of_mean(&self) -> f64 {
        let shared: f64 = self.shared.iter().map(|(_, n, s2)| n * n * s2).sum();
        (self.own + shared).sqrt() / self.n
    }
}
