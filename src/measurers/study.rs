//! One dimension: repeatability, reproducibility, and how far each measurer is off.

use super::repeats::{Repeat, Repeats, SetAsideRepeats};
use crate::notation::Quantity;
use crate::stats::{
    Crossed, MeasurerEffects, Pieces, StatsError, connected_measurers, crossed_variances,
    measurer_effects, median, reading_interval, sd_interval,
};
use crate::table::Table;

/// What makes readings of one place differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Factor {
    /// Who measured.
    Measurer,
    /// With what.
    Instrument,
}

impl Factor {
    /// The name used in tables and JSON.
    pub fn name(self) -> &'static str {
        match self {
            Factor::Measurer => "measurer",
            Factor::Instrument => "instrument",
        }
    }
}

/// Which dimensions are looked at together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    /// One, by its index in the table's catalogue.
    Dimension(usize),
    /// All of a quantity: a calliper whose zero is off is off for every length.
    All(Quantity),
}

/// Which readings are looked at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scope {
    /// Of which dimensions.
    pub reach: Reach,
    /// With which instrument, in its first spelling; `None` for all.
    pub instrument: Option<String>,
}

/// A standard deviation and its confidence interval, in the unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// The standard deviation.
    pub sd: f64,
    /// Its interval; `None` where the readings do not tell it.
    pub interval: Option<(f64, f64)>,
}

/// What the repeats of one scope say.
#[derive(Clone, Debug, PartialEq)]
pub struct Study {
    /// Which readings.
    pub scope: Scope,
    /// Unit of all figures.
    pub unit: String,
    /// Places that were read more than once: pieces, of a single dimension.
    pub pieces: usize,
    /// Their readings.
    pub readings: usize,
    /// Who read them.
    pub measurers: usize,
    /// Repeatability `s_r`: of readings of one place by one measurer.
    pub repeatability: Option<Spread>,
    /// Whether measurers did repeat their own readings often enough to tell it; else it is what is
    /// left after pieces and measurers.
    pub by_own_repeats: bool,
    /// What is left after pieces and measurers (restricted likelihood), and what lies between
    /// measurers; the latter is `None` with one measurer.
    pub residual: Option<f64>,
    /// See [`Study::residual`].
    pub between: Option<f64>,
    /// Degrees of freedom after pieces and measurers.
    pub freedom: usize,
    /// Reproducibility `s_R`: of readings of one place by just any measurer.
    pub reproducibility: Option<Spread>,
    /// The usual standard uncertainty of these readings as written.
    pub as_written: f64,
    /// Places whose readings differ far more than those of the others.
    pub set_aside: Vec<SetAsideRepeats>,
    /// Measurers who share no piece, directly or by others, with most of the readings.
    pub apart: Vec<String>,
    /// Why nothing is said, where that is not for want of repeats.
    pub failed: Option<StatsError>,
}

/// How far one measurer or instrument is off the mean of the others.
#[derive(Clone, Debug, PartialEq)]
pub struct Bias {
    /// Of what.
    pub factor: Factor,
    /// Its name, as first written; empty for readings without one.
    pub name: String,
    /// Of which dimensions.
    pub reach: Reach,
    /// Unit of the figures.
    pub unit: String,
    /// Places that it read and that were read again.
    pub pieces: usize,
    /// Its readings of them.
    pub readings: usize,
    /// How many others there are.
    pub others: usize,
    /// Its readings less the mean of the others (each one vote), pieces taken out.
    pub bias: f64,
    /// Confidence interval by Student's t.
    pub low: f64,
    /// See [`Bias::low`].
    pub high: f64,
    /// Two-sided p of no bias; `None` where nothing scatters.
    pub p: Option<f64>,
    /// The same, adjusted for all biases of the table (Holm).
    pub p_adjusted: Option<f64>,
    /// Whether it is the same comparison as the one before, seen from the other side.
    pub mirrors_last: bool,
    /// Where it was taken out because it is off: its place in that order, from 0.
    pub taken_out: Option<usize>,
    /// How far it is off those who are left once those who are off are taken out; `None` where
    /// nobody is.
    pub of_rest: Option<OfRest>,
}

/// How far one measurer or instrument is off the mean of the others who are left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OfRest {
    /// As [`Bias::bias`].
    pub bias: f64,
    /// Confidence interval.
    pub low: f64,
    /// See [`OfRest::low`].
    pub high: f64,
    /// Two-sided p of no bias times the number of comparisons of the table.
    pub p_adjusted: Option<f64>,
}

/// Study and biases of a scope; nothing where nothing was read again.
pub(super) fn study(
    table: &Table,
    repeats: &Repeats,
    scope: Scope,
    chosen: &[Repeat],
    confidence: f64,
) -> (Option<Study>, Vec<Bias>) {
    let set_aside: Vec<SetAsideRepeats> = match (&scope.reach, &scope.instrument) {
        (Reach::Dimension(dimension), None) => repeats
            .set_aside
            .iter()
            .filter(|(of, _)| *of as usize == *dimension)
            .map(|(_, aside)| aside.clone())
            .collect(),
        _ => Vec::new(),
    };
    if chosen.is_empty() && set_aside.is_empty() {
        return (None, Vec::new());
    }
    let unit = match scope.reach {
        Reach::Dimension(dimension) => table.catalogue.at(dimension).unit.clone(),
        Reach::All(quantity) => quantity.base_unit().symbol().to_owned(),
    };
    let crossing = Crossing::new(chosen, Factor::Measurer);
    let steps: Vec<f64> = chosen.iter().map(|r| r.uncertainty).collect();
    let apart = crossing.apart.iter();
    let name = |&number: &usize| repeats.name(Factor::Measurer, number).to_owned();
    let mut study = Study {
        unit: unit.clone(),
        pieces: crossing.places,
        readings: chosen.len(),
        measurers: crossing.levels.len(),
        repeatability: None,
        by_own_repeats: false,
        residual: None,
        between: None,
        freedom: crossing.freedom,
        reproducibility: None,
        as_written: median(&steps).unwrap_or(0.0),
        set_aside,
        apart: apart.map(name).collect(),
        failed: None,
        scope,
    };
    if crossing.freedom > 0 {
        study.failed = crossing.describe(&mut study, chosen, confidence).err();
    }
    let mut biases = Vec::new();
    if study.scope.instrument.is_none() {
        let mut of_factor = |crossing: &Crossing, factor: Factor| {
            let new = crossing.biases(confidence, |number| Bias {
                factor,
                name: repeats.name(factor, number).to_owned(),
                reach: study.scope.reach,
                unit: unit.clone(),
                pieces: 0,
                readings: 0,
                others: 0,
                bias: 0.0,
                low: 0.0,
                high: 0.0,
                p: None,
                p_adjusted: None,
                mirrors_last: false,
                taken_out: None,
                of_rest: None,
            });
            match new {
                Ok(new) => biases.extend(new),
                Err(error) => {
                    study.failed.get_or_insert(error);
                }
            }
        };
        of_factor(&crossing, Factor::Measurer);
        // Where everybody has an instrument of their own, the two cannot be told apart.
        let instruments = Crossing::new(chosen, Factor::Instrument);
        if instruments.levels_of_readings != crossing.levels_of_readings {
            of_factor(&instruments, Factor::Instrument);
        }
    }
    (Some(study), biases)
}

/// Readings numbered for the sums: places and levels of a factor from 0.
pub(super) struct Crossing {
    readings: Vec<Crossed>,
    places: usize,
    /// The level that each number stands for.
    levels: Vec<usize>,
    /// Number of the level of each reading, in the order of appearance.
    levels_of_readings: Vec<usize>,
    /// Readings of the part that most readings belong to, numbered anew.
    joined: Vec<Crossed>,
    joined_levels: Vec<usize>,
    /// Levels of the other parts.
    apart: Vec<usize>,
    /// Degrees of freedom after places and levels.
    freedom: usize,
}

impl Crossing {
    pub(super) fn new(chosen: &[Repeat], factor: Factor) -> Crossing {
        let level = |r: &Repeat| match factor {
            Factor::Measurer => r.measurer,
            Factor::Instrument => r.instrument,
        };
        let (levels, readings) = numbered(
            chosen
                .iter()
                .map(|r| (r.place, level(r), r.value))
                .collect(),
        );
        let parts = connected_measurers(&readings);
        let mut sizes = vec![0usize; parts.iter().max().map_or(0, |last| last + 1)];
        for r in &readings {
            sizes[parts[r.measurer]] += 1;
        }
        let most = sizes.iter().copied().max().unwrap_or(0);
        let main = sizes.iter().position(|&n| n == most).unwrap_or(0);
        let inside = readings.iter().filter(|r| parts[r.measurer] == main);
        let (joined_numbers, joined) =
            numbered(inside.map(|r| (r.piece, r.measurer, r.value)).collect());
        let places = readings.iter().map(|r| r.piece + 1).max().unwrap_or(0);
        let apart = (0..levels.len()).filter(|&l| parts[l] != main);
        Crossing {
            freedom: (readings.len() + sizes.len()).saturating_sub(places + levels.len()),
            places,
            levels_of_readings: readings.iter().map(|r| r.measurer).collect(),
            joined_levels: joined_numbers.iter().map(|&l| levels[l]).collect(),
            joined,
            apart: apart.map(|l| levels[l]).collect(),
            levels,
            readings,
        }
    }

    /// Puts the spreads into a study.
    fn describe(
        &self,
        study: &mut Study,
        chosen: &[Repeat],
        confidence: f64,
    ) -> Result<(), StatsError> {
        let several = self.levels.len() > 1;
        let variances = match crossed_variances(&self.readings, Pieces::Fixed) {
            Ok(variances) => Some(variances),
            // They agree throughout.
            Err(StatsError::ZeroSpread) => None,
            Err(error) => return Err(error),
        };
        let (residual, between) = variances.map_or((0.0, 0.0), |v| (v.residual, v.measurer));
        study.residual = Some(residual.sqrt());
        study.between = several.then(|| between.sqrt());
        let interval = match variances {
            Some(_) => reading_interval(&self.readings, confidence)?,
            None => None,
        };
        study.reproducibility = several.then(|| Spread {
            sd: (residual + between).sqrt(),
            interval,
        });
        let (own, own_df) = own_repeats(chosen);
        study.by_own_repeats = own_df >= super::LEAST_FREEDOM as f64 || !several;
        let (s2, df) = match study.by_own_repeats {
            true => (own / own_df, own_df),
            // So that it is never more than the reproducibility.
            false => (residual, self.freedom as f64),
        };
        study.repeatability = Some(Spread {
            sd: s2.sqrt(),
            interval: sd_interval(s2, df, confidence),
        });
        Ok(())
    }

    /// How far each level is off the mean of the others; nothing of a single one or without freedom.
    pub(super) fn biases(
        &self,
        confidence: f64,
        blank: impl Fn(usize) -> Bias,
    ) -> Result<Vec<Bias>, StatsError> {
        let levels = self.joined_levels.len();
        if levels < 2 {
            return Ok(Vec::new());
        }
        let effects: MeasurerEffects = match measurer_effects(&self.joined) {
            Ok(effects) => effects,
            Err(StatsError::TooFew { .. }) => return Ok(Vec::new()),
            Err(error) => return Err(error),
        };
        // The effects are about the mean of all; the mean of the others is further off.
        let stretch = levels as f64 / (levels as f64 - 1.0);
        let mut biases = Vec::with_capacity(levels);
        for (number, of) in effects.biases.iter().enumerate() {
            let (low, high) = effects.interval(of, confidence)?;
            let mine = self.joined.iter().filter(|r| r.measurer == number);
            let mut places: Vec<usize> = mine.map(|r| r.piece).collect();
            places.sort_unstable();
            places.dedup();
            biases.push(Bias {
                pieces: places.len(),
                readings: of.n,
                others: levels - 1,
                bias: stretch * of.bias,
                low: stretch * low,
                high: stretch * high,
                p: of.p,
                mirrors_last: levels == 2 && number == 1,
                ..blank(self.joined_levels[number])
            });
        }
        Ok(biases)
    }
}

/// Places and levels numbered from 0 in the order of appearance, and the level of each number.
fn numbered(readings: Vec<(usize, usize, f64)>) -> (Vec<usize>, Vec<Crossed>) {
    use std::collections::HashMap;
    let mut places: HashMap<usize, usize> = HashMap::new();
    let mut numbers: HashMap<usize, usize> = HashMap::new();
    let mut levels = Vec::new();
    let mut out = Vec::with_capacity(readings.len());
    for (place, level, value) in readings {
        let next = places.len();
        let piece = *places.entry(place).or_insert(next);
        let measurer = *numbers.entry(level).or_insert_with(|| {
            levels.push(level);
            levels.len() - 1
        });
        out.push(Crossed {
            piece,
            measurer,
            value,
        });
    }
    (levels, out)
}

/// Squares of readings of one place by one measurer about their mean, and their degrees of
/// freedom.
fn own_repeats(chosen: &[Repeat]) -> (f64, f64) {
    let mut sorted: Vec<&Repeat> = chosen.iter().collect();
    sorted.sort_by_key(|r| (r.place, r.measurer));
    let cells = sorted.chunk_by(|a, b| (a.place, a.measurer) == (b.place, b.measurer));
    let (mut squares, mut df) = (0.0, 0.0);
    for cell in cells {
        let (n, first) = (cell.len() as f64, cell[0].value);
        let mean = cell.iter().map(|r| r.value - first).sum::<f64>() / n;
        squares += cell
            .iter()
            .map(|r| (r.value - first - mean).powi(2))
            .sum::<f64>();
        df += n - 1.0;
    }
    (squares, df)
}
