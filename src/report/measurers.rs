//! Rows of measurers.

use super::named;
use crate::catalogue::Catalogue;
use crate::measurers::{Bias, Reach, ReadingErrors, Spread, Study};

row! {
    /// What the repeats of one dimension say of those who measured it.
    StudyRow, STUDY_COLUMNS;
    /// Key of the dimension; `None` for all dimensions of the unit together.
    dimension: Option<&'a str>,
    /// Unit of the figures.
    unit: &'a str,
    /// With which instrument; `None` for all.
    instrument: Option<&'a str>,
    /// Places that were read more than once: pieces, of a single dimension.
    pieces: u64,
    /// Their readings.
    readings: u64,
    /// Who read them.
    measurers: u64,
    /// Degrees of freedom after pieces and measurers.
    df: u64,
    /// Standard deviation of readings of one place by one measurer.
    repeatability: Option<f64>,
    /// Lower limit of its confidence interval.
    repeatability_low: Option<f64>,
    /// Upper limit of its confidence interval.
    repeatability_high: Option<f64>,
    /// `own_repeats` where measurers read the same place again often enough to tell it, else
    /// `residual`: what is left after pieces and measurers.
    repeatability_by: Option<&'static str>,
    /// How far two readings of one place by one measurer differ at most, 19 times in 20.
    repeatability_limit: Option<f64>,
    /// Standard deviation between measurers.
    between_measurers: Option<f64>,
    /// Standard deviation of readings of one place by just any measurer.
    reproducibility: Option<f64>,
    /// Lower limit of its confidence interval.
    reproducibility_low: Option<f64>,
    /// Upper limit of its confidence interval.
    reproducibility_high: Option<f64>,
    /// How far readings of one place by two measurers differ at most, 19 times in 20.
    reproducibility_limit: Option<f64>,
    /// The usual standard uncertainty of these readings as written.
    uncertainty_as_written: f64,
    /// Standard uncertainty that a reading without its own is given, where it is greater than that of
    /// its step.
    reading_error: Option<f64>,
    /// Pieces whose readings differ far more than those of others; left out.
    set_aside: u64,
    /// Confidence of the intervals.
    confidence: f64,
}

row! {
    /// How far one measurer or instrument is off the mean of the others.
    BiasRow, BIAS_COLUMNS;
    /// `measurer` or `instrument`.
    factor: &'static str,
    /// Its name; `None` for readings without one.
    name: Option<&'a str>,
    /// Key of the dimension; `None` for all dimensions of the unit together.
    dimension: Option<&'a str>,
    /// Unit of the figures.
    unit: &'a str,
    /// Places that it read and that were read again.
    pieces: u64,
    /// Its readings of them.
    readings: u64,
    /// How many others there are.
    others: u64,
    /// Its readings less the mean of the others, pieces taken out.
    bias: f64,
    /// Lower limit of its confidence interval.
    bias_low: f64,
    /// Upper limit of its confidence interval.
    bias_high: f64,
    /// Two-sided p of no bias.
    p: Option<f64>,
    /// The same, adjusted for all biases of the table (Holm).
    p_adjusted: Option<f64>,
    /// Where it is off beyond chance and was taken out before the rest were compared again: its place
    /// in that order, from 1.
    taken_out: Option<u64>,
    /// Its readings less the mean of those others who are left, where somebody was taken out.
    bias_of_rest: Option<f64>,
    /// Lower limit of its confidence interval.
    bias_of_rest_low: Option<f64>,
    /// Upper limit of its confidence interval.
    bias_of_rest_high: Option<f64>,
    /// Two-sided p of none, times the number of comparisons of the table.
    p_of_rest: Option<f64>,
    /// Confidence of the intervals.
    confidence: f64,
}

/// The key of the dimension that figures are about; `None` for several together.
fn key_of(reach: Reach, catalogue: &Catalogue) -> Option<&str> {
    match reach {
        Reach::Dimension(dimension) => Some(&catalogue.at(dimension).key),
        Reach::All(_) => None,
    }
}

impl<'a> StudyRow<'a> {
    /// The row of a study of a table's repeats.
    pub fn new(
        study: &'a Study,
        errors: &ReadingErrors,
        catalogue: &'a Catalogue,
        confidence: f64,
    ) -> StudyRow<'a> {
        /// ISO 5725-6 rounds 1.96 root 2 = 2.77 to this.
        const LIMIT: f64 = 2.8;
        let dimension = key_of(study.scope.reach, catalogue);
        let interval = |spread: Option<Spread>| spread.and_then(|s| s.interval);
        let repeatability = interval(study.repeatability);
        let reproducibility = interval(study.reproducibility);
        let error =
            dimension.and_then(|key| errors.exactly(key, study.scope.instrument.as_deref()));
        StudyRow {
            dimension,
            unit: &study.unit,
            instrument: study.scope.instrument.as_deref(),
            pieces: study.pieces as u64,
            readings: study.readings as u64,
            measurers: study.measurers as u64,
            df: study.freedom as u64,
            repeatability: study.repeatability.map(|s| s.sd),
            repeatability_low: repeatability.map(|i| i.0),
            repeatability_high: repeatability.map(|i| i.1),
            repeatability_by: study.repeatability.map(|_| match study.by_own_repeats {
                true => "own_repeats",
                false => "residual",
            }),
            repeatability_limit: study.repeatability.map(|s| LIMIT * s.sd),
            between_measurers: study.between,
            reproducibility: study.reproducibility.map(|s| s.sd),
            reproducibility_low: reproducibility.map(|i| i.0),
            reproducibility_high: reproducibility.map(|i| i.1),
            reproducibility_limit: study.reproducibility.map(|s| LIMIT * s.sd),
            uncertainty_as_written: study.as_written,
            reading_error: error.map(|e| e.standard_uncertainty()),
            set_aside: study.set_aside.len() as u64,
            confidence,
        }
    }
}

impl<'a> BiasRow<'a> {
    /// The row of a bias.
    pub fn new(bias: &'a Bias, catalogue: &'a Catalogue, confidence: f64) -> BiasRow<'a> {
        BiasRow {
            factor: bias.factor.name(),
            name: named(&bias.name),
            dimension: key_of(bias.reach, catalogue),
            unit: &bias.unit,
            pieces: bias.pieces as u64,
            readings: bias.readings as u64,
            others: bias.others as u64,
            bias: bias.bias,
            bias_low: bias.low,
            bias_high: bias.high,
            p: bias.p,
            p_adjusted: bias.p_adjusted,
            taken_out: bias.taken_out.map(|at| at as u64 + 1),
            bias_of_rest: bias.of_rest.map(|of| of.bias),
            bias_of_rest_low: bias.of_rest.map(|of| of.low),
            bias_of_rest_high: bias.of_rest.map(|of| of.high),
            p_of_rest: bias.of_rest.and_then(|of| of.p_adjusted),
            confidence,
        }
    }
}
