//! Norms, checks, flags, rates, forms, plans and the answers about periods, slips and measurers as
//! frames.

use polars::prelude::DataFrame;

use super::FrameError;
use crate::catalogue::Catalogue;
use crate::cohort::Cohort;
use crate::firmness::{LeftOut, Limit, Movement, Turned};
use crate::measurers::Measurers;
use crate::norm::{Norm, Settings};
use crate::periods::comparison::Comparison;
use crate::periods::{Dating, ShiftYears};
use crate::rates::PatternRates;
use crate::refit::{Refit, WhatIf};
use crate::report::{
    AgainstRow, AgreementRow, BecauseRow, BiasRow, DateRow, DimensionRow, FlagRow, FormRow,
    LeftOutRow, MovedRow, NormRow, PeriodRow, PieceRow, PooledAgreementRow, PooledRow, RateRow,
    RefitRow, ScreenRow, ShiftRow, StockRow, StudyRow, TurnedRow, WhatIfRow, check_rows, cone_rows,
    date_rows, form_rows, joined, refit_rows, stock_rows, what_if_rows,
};
use crate::screen::Finding;
use crate::table::{Table, Trace};
use crate::traced::{BowlCone, Form, TracedError};
use crate::verdict::{Check, Flag};

/// The norms as a frame, with the columns of the CSV output ([`crate::report::NORM_COLUMNS`]).
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::norm::norms`] gives brings about.
pub fn norms_frame(
    norms: &[Norm],
    cohort: &Cohort<'_>,
    settings: &Settings,
) -> Result<DataFrame, FrameError> {
    let rows: Vec<NormRow<'_>> = norms
        .iter()
        .map(|norm| NormRow::new(norm, cohort, settings, joined))
        .collect();
    Ok(DataFrame::new_infer_height(NormRow::columns(&rows))?)
}

/// The dimensions of all pieces as a frame, with the columns of the CSV output
/// ([`crate::report::PIECE_COLUMNS`], then [`crate::report::DIMENSION_COLUMNS`]). `catalogue` is
/// that of the pieces' table.
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::verdict::check`] gives brings about.
pub fn checks_frame(checks: &[Check], catalogue: &Catalogue) -> Result<DataFrame, FrameError> {
    let (pieces, dimensions): (Vec<PieceRow<'_>>, Vec<DimensionRow<'_>>) =
        check_rows(checks, catalogue).unzip();
    let mut columns = PieceRow::columns(&pieces);
    columns.extend(DimensionRow::columns(&dimensions));
    Ok(DataFrame::new_infer_height(columns)?)
}

/// Out-of-norm readings as a frame, with the columns of the CSV output
/// ([`crate::report::FLAG_COLUMNS`]).
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::verdict::flag`] gives brings about.
pub fn flags_frame(flags: &[Flag], cohort: &Cohort<'_>) -> Result<DataFrame, FrameError> {
    let rows: Vec<FlagRow<'_>> = flags.iter().map(|f| FlagRow::new(f, cohort)).collect();
    Ok(DataFrame::new_infer_height(FlagRow::columns(&rows))?)
}

/// Every limit of some norms at two revisions as a frame, with the columns of the CSV output
/// ([`crate::report::MOVED_COLUMNS`]).
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::firmness::moved`] gives brings about.
pub fn moved_frame(movements: &[Movement]) -> Result<DataFrame, FrameError> {
    let limits = movements
        .iter()
        .flat_map(|of| Limit::ALL.map(|limit| (of, limit)));
    let rows: Vec<MovedRow<'_>> = limits
        .map(|(of, limit)| MovedRow::new(of, limit, BecauseRow::joined))
        .collect();
    Ok(DataFrame::new_infer_height(MovedRow::columns(&rows))?)
}

/// The readings whose verdict turns as a frame ([`crate::report::TURNED_COLUMNS`]).
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::firmness::turned`] gives brings about.
pub fn turned_frame(turned: &[Turned]) -> Result<DataFrame, FrameError> {
    let rows: Vec<TurnedRow<'_>> = turned.iter().map(TurnedRow::new).collect();
    Ok(DataFrame::new_infer_height(TurnedRow::columns(&rows))?)
}

/// Some norms without one source, measurer or period at a time as a frame, with the columns of the
/// CSV output ([`crate::report::LEFT_OUT_COLUMNS`]); `cohort` is that of all readings.
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::firmness::left_out`] gives brings about.
pub fn left_out_frame(all: &LeftOut, cohort: &Cohort<'_>) -> Result<DataFrame, FrameError> {
    let norms = all.norms.iter();
    let rows: Vec<LeftOutRow<'_>> = norms
        .flat_map(|norm| {
            Limit::TYPICAL.map(|limit| LeftOutRow::new(norm, limit, all, cohort, joined))
        })
        .collect();
    Ok(DataFrame::new_infer_height(LeftOutRow::columns(&rows))?)
}

/// The rates of patterns as a frame, with the columns of the CSV output
/// ([`crate::report::RATE_COLUMNS`]); a pattern of which nothing could be simulated has no row.
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::rates::rates`] gives brings about.
pub fn rates_frame(rates: &[PatternRates], cohort: &Cohort<'_>) -> Result<DataFrame, FrameError> {
    let rows = rates.iter().filter_map(|r| RateRow::new(r, cohort));
    let rows: Vec<RateRow<'_>> = rows.collect();
    Ok(DataFrame::new_infer_height(RateRow::columns(&rows))?)
}

/// What traces and the cones of their bowls tell as a frame, with the columns of the CSV output
/// ([`crate::report::FORM_COLUMNS`]): the forms of `traces`, in their order.
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::traced::forms`] gives brings about.
pub fn forms_frame(
    traces: &[Trace],
    forms: &[Result<Form, TracedError>],
    cones: &[BowlCone],
) -> Result<DataFrame, FrameError> {
    let of_traces = traces.iter().zip(forms);
    let of_traces = of_traces.flat_map(|(trace, form)| form_rows(trace, form));
    let rows: Vec<FormRow<'_>> = of_traces.chain(cones.iter().flat_map(cone_rows)).collect();
    Ok(DataFrame::new_infer_height(FormRow::columns(&rows))?)
}

/// A comparison of periods as frames, one a kind of row.
#[derive(Clone, Debug)]
pub struct PeriodFrames {
    /// The pieces of each period ([`crate::report::PERIOD_COLUMNS`]).
    pub periods: DataFrame,
    /// Whether the good ones agree ([`crate::report::AGREEMENT_COLUMNS`]).
    pub agreement: DataFrame,
    /// Each against the good ones ([`crate::report::AGAINST_COLUMNS`]).
    pub against_good: DataFrame,
    /// The same for all patterns of a maker together ([`crate::report::POOLED_COLUMNS`]).
    pub pooled: DataFrame,
    /// The good ones' agreement likewise ([`crate::report::POOLED_AGREEMENT_COLUMNS`]).
    pub pooled_agreement: DataFrame,
}

/// A comparison of periods as frames, with the columns of the CSV output; `every` is the cohort of
/// every period.
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::periods::comparison::compare`] gives brings
/// about.
pub fn period_frames(
    comparison: &Comparison,
    every: &Cohort<'_>,
    settings: &Settings,
) -> Result<PeriodFrames, FrameError> {
    let sets = || comparison.sets.iter();
    let periods: Vec<PeriodRow<'_>> = sets().flat_map(|s| PeriodRow::of_set(s, every)).collect();
    let agreement: Vec<AgreementRow<'_>> = sets()
        .filter_map(|s| AgreementRow::new(s, every, joined))
        .collect();
    let against = |s| {
        let s: &crate::periods::comparison::SetComparison = s;
        s.against
            .iter()
            .map(|a| AgainstRow::new(s, a, every, settings))
    };
    let against: Vec<AgainstRow<'_>> = sets().flat_map(against).collect();
    let pooled = comparison.pooled.iter();
    let pooled: Vec<PooledRow<'_>> = pooled.map(|p| PooledRow::new(p, every, settings)).collect();
    let together = comparison.pooled_agreement.iter();
    let together: Vec<PooledAgreementRow<'_>> = together
        .map(|p| PooledAgreementRow::new(p, every))
        .collect();
    Ok(PeriodFrames {
        periods: DataFrame::new_infer_height(PeriodRow::columns(&periods))?,
        agreement: DataFrame::new_infer_height(AgreementRow::columns(&agreement))?,
        against_good: DataFrame::new_infer_height(AgainstRow::columns(&against))?,
        pooled: DataFrame::new_infer_height(PooledRow::columns(&pooled))?,
        pooled_agreement: DataFrame::new_infer_height(PooledAgreementRow::columns(&together))?,
    })
}

/// The years of shifts as a frame, with the columns of the CSV output
/// ([`crate::report::SHIFT_COLUMNS`]); `every` is the cohort of every period.
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::periods::shift_years`] gives brings about.
pub fn shift_years_frame(
    shifts: &[ShiftYears],
    every: &Cohort<'_>,
) -> Result<DataFrame, FrameError> {
    let rows: Vec<ShiftRow<'_>> = shifts
        .iter()
        .flat_map(|of| ShiftRow::of(of, every))
        .collect();
    Ok(DataFrame::new_infer_height(ShiftRow::columns(&rows))?)
}

/// Datings as a frame, with the columns of the CSV output ([`crate::report::DATE_COLUMNS`]).
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::periods::Dater`] gives brings about.
pub fn dates_frame(datings: &[Dating]) -> Result<DataFrame, FrameError> {
    let rows: Vec<DateRow<'_>> = date_rows(datings).collect();
    Ok(DataFrame::new_infer_height(DateRow::columns(&rows))?)
}

/// The findings of a screening as a frame, with the columns of the CSV output
/// ([`crate::report::SCREEN_COLUMNS`]).
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::screen::screen`] gives brings about.
pub fn findings_frame(findings: &[Finding], table: &Table) -> Result<DataFrame, FrameError> {
    let all = findings.iter();
    let rows: Vec<ScreenRow<'_>> = all
        .map(|f| ScreenRow::new(f, table, |list| list.join("; ")))
        .collect();
    Ok(DataFrame::new_infer_height(ScreenRow::columns(&rows))?)
}

/// What repeats say of dimensions, and how far measurers and instruments are off, as two frames with the
/// columns of the CSV output ([`crate::report::STUDY_COLUMNS`], [`crate::report::BIAS_COLUMNS`]).
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::measurers::measurers`] gives brings about.
pub fn measurer_frames(
    found: &Measurers,
    catalogue: &Catalogue,
    confidence: f64,
) -> Result<(DataFrame, DataFrame), FrameError> {
    let studies = found.studies.iter();
    let studies: Vec<StudyRow<'_>> = studies
        .map(|s| StudyRow::new(s, &found.errors, catalogue, confidence))
        .collect();
    let biases = found.biases.iter();
    let biases: Vec<BiasRow<'_>> = biases
        .map(|b| BiasRow::new(b, catalogue, confidence))
        .collect();
    Ok((
        DataFrame::new_infer_height(StudyRow::columns(&studies))?,
        DataFrame::new_infer_height(BiasRow::columns(&biases))?,
    ))
}

/// What to take off some pieces as a frame, with the columns of the CSV output
/// ([`crate::report::REFIT_COLUMNS`]). `catalogue` is that of the pieces' table.
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::refit::refit`] gives brings about.
pub fn refits_frame(plans: &[Refit], catalogue: &Catalogue) -> Result<DataFrame, FrameError> {
    let rows: Vec<RefitRow<'_>> = refit_rows(plans, catalogue).collect();
    Ok(DataFrame::new_infer_height(RefitRow::columns(&rows))?)
}

/// Pieces before and after some proposed sizes as a frame
/// ([`crate::report::WHAT_IF_COLUMNS`]). `catalogue` is that of the pieces' table.
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::refit::what_if`] gives brings about.
pub fn what_ifs_frame(all: &[WhatIf], catalogue: &Catalogue) -> Result<DataFrame, FrameError> {
    let rows: Vec<WhatIfRow<'_>> = what_if_rows(all, catalogue).collect();
    Ok(DataFrame::new_infer_height(WhatIfRow::columns(&rows))?)
}

/// What comes off some outlines, station by station, as a frame
/// ([`crate::report::STOCK_COLUMNS`]).
///
/// # Errors
/// [`FrameError::Frame`], which nothing that [`crate::refit::refit`] gives brings about.
pub fn stock_frame(plans: &[Refit]) -> Result<DataFrame, FrameError> {
    let rows: Vec<StockRow<'_>> = stock_rows(plans).collect();
    Ok(DataFrame::new_infer_height(StockRow::columns(&rows))?)
}
