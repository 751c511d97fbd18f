//! The readings of places that were read more than once.

use std::collections::{HashMap, HashSet};

use super::study::{Factor, Reach, Scope};
use crate::catalogue::fold;
use crate::notation::Quantity;
use crate::stats::{f_sf, median};
use crate::table::{KeptReading, Table};

/// A reading of a place that was read more than once.
#[derive(Clone, Copy, Debug)]
pub(super) struct Repeat {
    /// Number of the place: one specimen, dimension and state.
    pub(super) place: usize,
    /// Row of the specimen.
    pub(super) specimen: u32,
    /// Index of the dimension.
    pub(super) dimension: u32,
    pub(super) value: f64,
    /// The standard uncertainty as written.
    pub(super) uncertainty: f64,
    /// Number of the measurer; people without a name are one.
    pub(super) measurer: usize,
    /// Number of the instrument; those without a name are one.
    pub(super) instrument: usize,
}

/// Readings of one place that differ far more than those of other places.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAsideRepeats {
    /// The piece.
    pub specimen: String,
    /// Its readings, in the unit.
    pub values: Vec<f64>,
}

/// Names in their first spelling, each known in any.
#[derive(Debug, Default)]
pub(super) struct Names {
    pub(super) names: Vec<String>,
    by_fold: HashMap<String, usize>,
}

impl Names {
    fn number(&mut self, name: &str) -> usize {
        let Names { names, by_fold } = self;
        *by_fold.entry(fold(name)).or_insert_with(|| {
            names.push(name.trim().to_owned());
            names.len() - 1
        })
    }

    /// The number of a name that is known.
    pub(super) fn find(&self, name: &str) -> Option<usize> {
        self.by_fold.get(&fold(name)).copied()
    }
}

/// All repeats of a table.
#[derive(Debug, Default)]
pub(super) struct Repeats {
    /// Place by place.
    pub(super) all: Vec<Repeat>,
    pub(super) measurers: Names,
    pub(super) instruments: Names,
    /// Places that were set aside: the dimension, and what is told of them.
    pub(super) set_aside: Vec<(u32, SetAsideRepeats)>,
}

impl Repeats {
    /// Gathers them from those of the details' readings that are `wanted`: readings that no real pipe
    /// has are left out, and so are places whose readings differ far more than those of others.
    pub(super) fn gather(table: &Table, wanted: impl Fn(&KeptReading) -> bool) -> Repeats {
        let mut repeats = Repeats::default();
        let Some(details) = &table.details else {
            return repeats;
        };
        let fits = |r: &&KeptReading| {
            let dimension = table.catalogue.at(r.dimension as usize);
            dimension.is_credible(r.value) && wanted(r)
        };
        let mut kept: Vec<&KeptReading> = details.readings.iter().filter(fits).collect();
        let place = |r: &KeptReading| (r.dimension, r.specimen, r.state);
        kept.sort_by_key(|r| place(r));
        for (number, of_place) in kept
            .chunk_by(|a, b| place(a) == place(b))
            .filter(|of_place| of_place.len() > 1)
            .enumerate()
        {
            for reading in of_place {
                let circumstance = reading.circumstance;
                let how = circumstance.and_then(|at| details.circumstances.get(at as usize));
                let (by, with) = how.map_or(("", ""), |c| (&*c.measured_by, &*c.instrument));
                repeats.all.push(Repeat {
                    place: number,
                    specimen: reading.specimen,
                    dimension: reading.dimension,
                    value: reading.value,
                    uncertainty: reading.uncertainty,
                    measurer: repeats.measurers.number(by),
                    instrument: repeats.instruments.number(with),
                });
            }
        }
        repeats.set_slips_aside(table);
        repeats
    }

    fn set_slips_aside(&mut self, table: &Table) {
        let mut slips: HashSet<usize> = HashSet::new();
        for of_dimension in self.all.chunk_by(|a, b| a.dimension == b.dimension) {
            let found = slips_among(of_dimension);
            for of_place in of_dimension.chunk_by(|a, b| a.place == b.place) {
                let first = of_place[0];
                if !found.contains(&first.place) {
                    continue;
                }
                let specimen = table.specimens.names.get(first.specimen as usize);
                let aside = SetAsideRepeats {
                    specimen: specimen.to_owned(),
                    values: of_place.iter().map(|r| r.value).collect(),
                };
                self.set_aside.push((first.dimension, aside));
            }
            slips.extend(found);
        }
        self.all.retain(|r| !slips.contains(&r.place));
    }

    /// What can be studied: each dimension, each instrument of it where several were used, and all
    /// dimensions of a unit where there are several.
    pub(super) fn scopes(&self, table: &Table) -> Vec<Scope> {
        let mut dimensions: Vec<u32> = self.all.iter().map(|r| r.dimension).collect();
        dimensions.extend(self.set_aside.iter().map(|(dimension, _)| *dimension));
        dimensions.sort_unstable();
        dimensions.dedup();
        let mut scopes = Vec::new();
        for &dimension in &dimensions {
            let reach = Reach::Dimension(dimension as usize);
            let whole = Scope {
                reach,
                instrument: None,
            };
            let of = self.of(table, &whole);
            let mut instruments: Vec<usize> = of.iter().map(|r| r.instrument).collect();
            instruments.sort_unstable();
            instruments.dedup();
            scopes.push(whole);
            if instruments.len() > 1 {
                let named = instruments.into_iter().map(|i| &self.instruments.names[i]);
                let named = named.filter(|name| !name.is_empty());
                scopes.extend(named.map(|name| Scope {
                    reach,
                    instrument: Some(name.clone()),
                }));
            }
        }
        let mut quantities: Vec<(Quantity, usize)> = Vec::new();
        for &dimension in &dimensions {
            let quantity = table.catalogue.at(dimension as usize).quantity;
            match quantities.iter_mut().find(|(known, _)| *known == quantity) {
                Some((_, count)) => *count += 1,
                None => quantities.push((quantity, 1)),
            }
        }
        let several = quantities.into_iter().filter(|(_, count)| *count > 1);
        scopes.extend(several.map(|(quantity, _)| Scope {
            reach: Reach::All(quantity),
            instrument: None,
        }));
        scopes
    }

    /// The repeats of a scope; of an instrument those of places that it read more than once.
    pub(super) fn of(&self, table: &Table, scope: &Scope) -> Vec<Repeat> {
        let instrument = scope.instrument.as_deref();
        let instrument = instrument.map(|name| self.instruments.find(name));
        let fits = |r: &&Repeat| {
            let dimension = r.dimension as usize;
            (match scope.reach {
                Reach::Dimension(wanted) => wanted == dimension,
                Reach::All(quantity) => table.catalogue.at(dimension).quantity == quantity,
            }) && instrument.is_none_or(|wanted| wanted == Some(r.instrument))
        };
        let fitting: Vec<Repeat> = self.all.iter().filter(fits).copied().collect();
        let of_places = fitting.chunk_by(|a, b| a.place == b.place);
        of_places
            .filter(|p| p.len() > 1)
            .flatten()
            .copied()
            .collect()
    }

    /// The name of a measurer or an instrument.
    pub(super) fn name(&self, factor: Factor, number: usize) -> &str {
        let names = match factor {
            Factor::Measurer => &self.measurers,
            Factor::Instrument => &self.instruments,
        };
        names.names.get(number).map_or("", String::as_str)
    }
}

/// Places of one dimension whose readings differ far more than those of the others: slips of the
/// pen, which are no errors of measurement.
///
/// The places are put in the order of their variance. From the middle on each is compared with all
/// smaller ones together (not less than the readings' own step): where it is greater with a p under
/// 0.001 over the number of places, by F, it and all greater ones are set aside. Which of the
/// readings is wrong cannot be known, so the place is left out as a whole.
fn slips_among(of_dimension: &[Repeat]) -> HashSet<usize> {
    /// For the dimension as a whole; slips of decimal points and units are far beyond.
    const LEVEL: f64 = 0.001;
    let steps: Vec<f64> = of_dimension.iter().map(|r| r.uncertainty).collect();
    let step = median(&steps).unwrap_or(0.0);
    let mut places: Vec<(usize, f64, f64)> = of_dimension
        .chunk_by(|a, b| a.place == b.place)
        .map(|of_place| {
            let n = of_place.len() as f64;
            let first = of_place[0].value;
            let mean = of_place.iter().map(|r| (r.value - first) / n).sum::<f64>();
            let squares = of_place.iter().map(|r| (r.value - first - mean).powi(2));
            // Beyond an f64 is beyond all others.
            let squares = Some(squares.sum::<f64>()).filter(|s| s.is_finite());
            (of_place[0].place, squares.unwrap_or(f64::INFINITY), n - 1.0)
        })
        .collect();
    places.sort_by(|a, b| (a.1 / a.2).total_cmp(&(b.1 / b.2)));
    let level = LEVEL / places.len() as f64;
    let (mut squares, mut df) = (0.0_f64, 0.0_f64);
    for (at, &(_, own, own_df)) in places.iter().enumerate() {
        if 2 * at >= places.len() && df > 0.0 {
            let pooled = (squares / df).max(step * step);
            let f = own / own_df / pooled;
            if own.is_infinite() || (pooled > 0.0 && f_sf(f, own_df, df) < level) {
                return places[at..].iter().map(|p| p.0).collect();
            }
        }
        squares += own;
        df += own_df;
    }
    HashSet::new()
}
