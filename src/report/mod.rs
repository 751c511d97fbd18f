//! Results as rows: one list of names for CSV, JSON and data frames, which scripts rely on.
//!
//! A name that was not given and a number that the evidence does not yield are `None`. Numbers are
//! in the dimension's unit unless their column says otherwise.

use crate::catalogue::Catalogue;
use crate::cohort::Cohort;
use crate::norm::{Band, Norm, Settings};
use crate::rates::PatternRates;
use crate::verdict::{Check, DimensionCheck, Flag, Verdict};

/// Declares a row and, from its fields, the list of its columns and the columns of a data frame.
/// A row with a list in it has the list's type as a parameter: by default one text, as CSV needs.
macro_rules! row {
    (
        $(#[$about:meta])* $row:ident $(<$list:ident>)?, $columns:ident;
        $($(#[$what:meta])* $field:ident: $kind:ty,)*
    ) => {
        $(#[$about])*
        #[derive(Clone, Debug, PartialEq, serde::Serialize)]
        pub struct $row<'a $(, $list = String)?> {
            $($(#[$what])* pub $field: $kind,)*
        }

        #[doc = concat!("The columns of [`", stringify!($row), "`].")]
        pub const $columns: &[&str] = &[$(stringify!($field)),*];

        #[cfg(feature = "frame")]
        impl $row<'_> {
            pub(crate) fn columns(rows: &[Self]) -> Vec<polars::prelude::Column> {
                use polars::prelude::Column;
                vec![$({
                    let values: Vec<_> = rows.iter().map(|row| row.$field.clone()).collect();
                    Column::new(stringify!($field).into(), values)
                }),*]
            }
        }
    };
}

mod comparison;
mod dating;
mod firmness;
mod form;
mod measurers;
mod refit;
mod screen;
mod shift_years;
mod stock;
#[cfg(feature = "store")]
mod works;

pub use comparison::*;
pub use dating::*;
pub use firmness::*;
pub use form::*;
pub use measurers::*;
pub use refit::*;
pub use screen::*;
pub use shift_years::*;
pub use stock::{STOCK_COLUMNS, StockRow, stock_rows};
#[cfg(feature = "store")]
pub use works::*;

row! {
    /// One norm.
    NormRow<L>, NORM_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Pattern.
    pattern: Option<&'a str>,
    /// The chosen periods that the references come from.
    periods: L,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// `ratio` (judged on the log scale) or `interval`.
    kind: &'static str,
    /// References that speak.
    n: u64,
    /// References set aside because they are unlike their fellows.
    n_set_aside: u64,
    /// Centre; the geometric centre of a ratio.
    centre: f64,
    /// Lower limit of the centre's confidence interval.
    centre_low: Option<f64>,
    /// Upper limit of the centre's confidence interval.
    centre_high: Option<f64>,
    /// Spread; of a ratio relative, 0.02 = 2 %.
    spread: Option<f64>,
    /// Degrees of freedom of the spread.
    df: Option<f64>,
    /// Those of them that come from the maker's other patterns.
    borrowed_df: f64,
    /// Arithmetic mean.
    mean: f64,
    /// Standard deviation (n - 1).
    sd: Option<f64>,
    /// Median.
    median: f64,
    /// Median of the absolute deviations from the median, not scaled.
    mad: f64,
    /// Least reading.
    min: f64,
    /// Greatest reading.
    max: f64,
    /// Lower limit of the prediction band.
    typical_low: Option<f64>,
    /// Upper limit of the prediction band.
    typical_high: Option<f64>,
    /// Share of good pieces that the bands are meant to hold.
    coverage: f64,
    /// Lower limit of the tolerance band.
    tolerance_low: Option<f64>,
    /// Upper limit of the tolerance band.
    tolerance_high: Option<f64>,
    /// Confidence of the tolerance band and of the centre's interval.
    confidence: f64,
    /// The smallest true deviation that is flagged about four times in five.
    least_noticeable: Option<f64>,
    /// How many other patterns lend degrees of freedom.
    borrowed_from: u64,
    /// Spread of the periods' centres; of a ratio relative.
    spread_between_periods: Option<f64>,
    /// Confidence that `min` to `max` holds `coverage` of good pieces, whatever their distribution.
    range_confidence: f64,
    /// The finish of the pieces, as first written, for a dimension of colour.
    finish: Option<&'a str>,
}

row! {
    /// One piece, before each of its dimensions.
    PieceRow, PIECE_COLUMNS;
    /// Its name.
    specimen: &'a str,
    /// Its maker.
    maker: Option<&'a str>,
    /// Its pattern.
    pattern: Option<&'a str>,
    /// The worst of its dimensions' verdicts.
    piece_verdict: &'static str,
}

row! {
    /// One dimension of one piece; nothing but `None` for a piece of which nothing was measured.
    #[derive(Default)]
    DimensionRow<L>, DIMENSION_COLUMNS;
    /// Key of the dimension.
    dimension: Option<&'a str>,
    /// Unit of the dimension.
    unit: Option<&'a str>,
    /// The reading.
    value: Option<f64>,
    /// Its standard uncertainty.
    uncertainty: Option<f64>,
    /// Its state.
    state: Option<&'static str>,
    /// References that speak, the piece itself left out.
    n: Option<u64>,
    /// Centre of the references.
    centre: Option<f64>,
    /// Their spread; of a ratio relative.
    spread: Option<f64>,
    /// Degrees of freedom of the spread.
    df: Option<f64>,
    /// Lower limit of the prediction band.
    typical_low: Option<f64>,
    /// Upper limit of the prediction band.
    typical_high: Option<f64>,
    /// Value less centre.
    deviation: Option<f64>,
    /// The signed normal score, a pure number.
    score: Option<f64>,
    /// Two-sided probability of a deviation at least as large.
    p: Option<f64>,
    /// The same, adjusted for the piece's other dimensions (Holm).
    p_adjusted: Option<f64>,
    /// `typical`, `borderline`, `out_of_norm` or `undecided`.
    verdict: Option<&'static str>,
    /// 1 = as sharp as if the norm were perfectly known.
    sharpness: Option<f64>,
    /// The smallest true deviation that is flagged about four times in five.
    least_noticeable: Option<f64>,
    /// How many more references would let silence mean something; 0 = enough.
    more_references: Option<u64>,
    /// What to bear in mind.
    cautions: L,
    /// References set aside because they are unlike their fellows.
    n_set_aside: Option<u64>,
    /// Those degrees of freedom that come from the maker's other patterns.
    borrowed_df: Option<f64>,
    /// How many other patterns lend them.
    borrowed_from: Option<u64>,
}

row! {
    /// One out-of-norm reading.
    FlagRow, FLAG_COLUMNS;
    /// The piece.
    specimen: &'a str,
    /// Its maker.
    maker: Option<&'a str>,
    /// Its pattern.
    pattern: Option<&'a str>,
    /// Its period.
    period: Option<&'a str>,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// The reading.
    value: f64,
    /// Centre of the references without the piece.
    centre: f64,
    /// Lower limit of the prediction band.
    typical_low: Option<f64>,
    /// Upper limit of the prediction band.
    typical_high: Option<f64>,
    /// The signed normal score, a pure number.
    score: f64,
    /// Two-sided probability of a deviation at least as large.
    p: f64,
    /// The same, adjusted for the piece's other dimensions (Holm).
    p_adjusted: f64,
    /// `out_of_norm`.
    verdict: &'static str,
    /// Whether the piece is among those to look at first: only a share of alpha of these are wholly
    /// good pieces on average.
    look_first: bool,
}

row! {
    /// The rates of one pattern, each share followed by the standard error of its simulation.
    RateRow, RATE_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Pattern.
    pattern: Option<&'a str>,
    /// Dimensions that were simulated.
    n_dimensions: u64,
    /// Least number of references of a dimension.
    n_least: u64,
    /// Greatest number of references of a dimension.
    n_most: u64,
    /// Share of a good piece's dimensions whose p is alpha or less.
    unusual: f64,
    /// Its standard error.
    unusual_error: f64,
    /// Share of good pieces with any dimension out of norm.
    out_of_norm: f64,
    /// Its standard error.
    out_of_norm_error: f64,
    /// Share of faults of 1 standard deviation whose p is alpha or less.
    noticed_1: f64,
    /// Its standard error.
    noticed_1_error: f64,
    /// The same for 2 standard deviations.
    noticed_2: f64,
    /// Its standard error.
    noticed_2_error: f64,
    /// The same for 3 standard deviations.
    noticed_3: f64,
    /// Its standard error.
    noticed_3_error: f64,
    /// The same for 4 standard deviations.
    noticed_4: f64,
    /// Its standard error.
    noticed_4_error: f64,
    /// Share of further good readings within the typical range.
    typical: f64,
    /// Its standard error.
    typical_error: f64,
    /// Share of tolerance bands that hold as much as they say.
    tolerance: f64,
    /// Its standard error.
    tolerance_error: f64,
    /// Share of dimensions for which silence means nothing.
    undecided: f64,
    /// Its standard error.
    undecided_error: f64,
}

impl<'a> RateRow<'a> {
    /// The row of one pattern of a cohort; `None` where nothing of it could be simulated.
    pub fn new(rates: &PatternRates, cohort: &'a Cohort<'_>) -> Option<RateRow<'a>> {
        let group = &cohort.groups()[rates.group];
        let [one, two, three, four] = rates.noticed;
        rates.unusual.value.is_finite().then_some(RateRow {
            maker: named(&group.maker),
            pattern: named(&group.pattern),
            n_dimensions: rates.dimensions as u64,
            n_least: rates.references.0 as u64,
            n_most: rates.references.1 as u64,
            unusual: rates.unusual.value,
            unusual_error: rates.unusual.error,
            out_of_norm: rates.out_of_norm.value,
            out_of_norm_error: rates.out_of_norm.error,
            noticed_1: one.value,
            noticed_1_error: one.error,
            noticed_2: two.value,
            noticed_2_error: two.error,
            noticed_3: three.value,
            noticed_3_error: three.error,
            noticed_4: four.value,
            noticed_4_error: four.error,
            typical: rates.typical.value,
            typical_error: rates.typical.error,
            tolerance: rates.tolerance.value,
            tolerance_error: rates.tolerance.error,
            undecided: rates.undecided.value,
            undecided_error: rates.undecided.error,
        })
    }
}

/// A name, or nothing where none was given.
fn named(name: &str) -> Option<&str> {
    Some(name).filter(|n| !n.is_empty())
}

/// A limit, or nothing where the evidence sets none.
fn limit(value: f64) -> Option<f64> {
    Some(value).filter(|v| v.is_finite())
}

/// A band's two limits, or neither.
fn limits(band: Band) -> Option<Band> {
    Some(band).filter(|b| b.low.is_finite() && b.high.is_finite())
}

/// A list as one text, for formats whose cells hold no lists.
pub fn joined(list: impl AsRef<[String]>) -> String {
    list.as_ref().join("; ")
}

impl<'a, L> NormRow<'a, L> {
    /// The row of one norm of a cohort; `list` says how its periods are given ([`joined`]).
    pub fn new(
        norm: &'a Norm,
        cohort: &'a Cohort<'_>,
        settings: &Settings,
        list: impl FnOnce(&'a [String]) -> L,
    ) -> NormRow<'a, L> {
        let group = &cohort.groups()[norm.group];
        let dimension = cohort.table().catalogue.at(norm.dimension);
        let firm = norm.firm.as_ref();
        let described = norm.described;
        NormRow {
            maker: named(&group.maker),
            pattern: named(&group.pattern),
            periods: list(&group.periods),
            dimension: &dimension.key,
            unit: &dimension.unit,
            kind: norm.kind.name(),
            n: norm.basis.kept.len() as u64,
            n_set_aside: norm.basis.set_aside.len() as u64,
            centre: norm.centre,
            centre_low: firm.and_then(|f| limits(f.centre)).map(|b| b.low),
            centre_high: firm.and_then(|f| limits(f.centre)).map(|b| b.high),
            spread: firm.map(|f| f.spread),
            df: firm.and_then(|f| limit(f.df)),
            borrowed_df: norm.loan.map_or(0.0, |l| l.spread.df),
            borrowed_from: norm.loan.map_or(0, |l| l.spread.lenders as u64),
            spread_between_periods: firm.map(|f| f.spread_between_periods),
            range_confidence: norm.range_confidence,
            finish: norm.finish.as_deref().and_then(named),
            mean: described.mean,
            sd: described.sd,
            median: described.median,
            mad: described.mad,
            min: described.min,
            max: described.max,
            typical_low: firm.and_then(|f| limits(f.typical)).map(|b| b.low),
            typical_high: firm.and_then(|f| limits(f.typical)).map(|b| b.high),
            coverage: settings.coverage(),
            tolerance_low: firm.and_then(|f| limits(f.tolerance)).map(|b| b.low),
            tolerance_high: firm.and_then(|f| limits(f.tolerance)).map(|b| b.high),
            confidence: settings.confidence(),
            least_noticeable: firm.and_then(|f| limit(f.least_noticeable)),
        }
    }
}

impl<'a> PieceRow<'a> {
    /// What stands before each dimension of a piece.
    pub fn new(check: &'a Check) -> PieceRow<'a> {
        PieceRow {
            specimen: &check.specimen,
            maker: named(&check.maker),
            pattern: named(&check.pattern),
            piece_verdict: check.verdict.name(),
        }
    }
}

impl<'a, L> DimensionRow<'a, L> {
    /// The row of one dimension; `catalogue` is that of the piece's table, and `list` says how the
    /// cautions are given ([`joined`]).
    pub fn new(
        check: &DimensionCheck,
        catalogue: &'a Catalogue,
        list: impl FnOnce(Vec<String>) -> L,
    ) -> DimensionRow<'a, L> {
        let dimension = catalogue.at(check.dimension);
        let judged = check.judged.as_ref();
        DimensionRow {
            dimension: Some(&dimension.key),
            unit: Some(&dimension.unit),
            value: Some(check.value),
            uncertainty: Some(check.uncertainty),
            state: Some(check.state.name()),
            n: Some(check.n as u64),
            n_set_aside: Some(check.set_aside.len() as u64),
            centre: judged.map(|j| j.centre),
            spread: judged.map(|j| j.spread),
            df: judged.and_then(|j| limit(j.df)),
            borrowed_df: Some(check.loan.map_or(0.0, |l| l.spread.df)),
            borrowed_from: Some(check.loan.map_or(0, |l| l.spread.lenders as u64)),
            typical_low: judged.and_then(|j| limits(j.typical)).map(|b| b.low),
            typical_high: judged.and_then(|j| limits(j.typical)).map(|b| b.high),
            deviation: judged.map(|j| j.deviation),
            score: judged.map(|j| j.score),
            p: judged.map(|j| j.p),
            p_adjusted: judged.map(|j| j.p_adjusted),
            verdict: Some(check.verdict.name()),
            sharpness: judged.map(|j| j.sharpness),
            least_noticeable: judged.and_then(|j| limit(j.least_noticeable)),
            more_references: check.more_references.map(|m| m as u64),
            cautions: list(check.cautions.iter().map(ToString::to_string).collect()),
        }
    }
}

/// All dimensions of all pieces, each with its piece; one row for a piece of which nothing was
/// measured. `catalogue` is that of the pieces' table.
pub fn check_rows<'a>(
    checks: &'a [Check],
    catalogue: &'a Catalogue,
) -> impl Iterator<Item = (PieceRow<'a>, DimensionRow<'a>)> {
    checks.iter().flat_map(move |check| {
        let dimensions = check.dimensions.iter();
        let measured = dimensions.map(|d| DimensionRow::new(d, catalogue, joined));
        let nothing = check.dimensions.is_empty().then(DimensionRow::default);
        measured
            .chain(nothing)
            .map(|dimension| (PieceRow::new(check), dimension))
    })
}

impl<'a> FlagRow<'a> {
    /// The row of one out-of-norm reading of a cohort.
    pub fn new(flag: &Flag, cohort: &'a Cohort<'_>) -> FlagRow<'a> {
        let table = cohort.table();
        let dimension = table.catalogue.at(flag.dimension);
        FlagRow {
            specimen: table.specimens.names.get(flag.row),
            maker: named(table.specimens.makers.get(flag.row)),
            pattern: named(table.specimens.patterns.get(flag.row)),
            period: cohort.period_of(flag.row).map(|p| p.name.as_str()),
            dimension: &dimension.key,
            unit: &dimension.unit,
            value: flag.value,
            centre: flag.centre,
            typical_low: limits(flag.typical).map(|b| b.low),
            typical_high: limits(flag.typical).map(|b| b.high),
            score: flag.score,
            p: flag.p,
            p_adjusted: flag.p_adjusted,
            verdict: Verdict::OutOfNorm.name(),
            look_first: flag.look_first,
        }
    }
}
