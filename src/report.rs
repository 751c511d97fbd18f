//! Results as rows: one list of names for CSV, JSON and data frames, which scripts rely on.
//!
//! A name that was not given and a number that the evidence does not yield are `None`. Numbers are
//! in the dimension's unit unless their column says otherwise.

use serde::Serialize;

use crate::catalogue::{Catalogue, Kind};
use crate::cohort::{Cohort, from_scale};
use crate::form::colour::FinishColour;
use crate::form::departures::DepartureKind;
use crate::norm::{Band, Norm, Settings, deviation_in_unit};
use crate::periods::comparison::{Against, PooledAgainst, PooledAgreement, SetComparison};
use crate::periods::{Candidate, Dating, Scope, ShiftYears, What};

use crate::rates::PatternRates;
use crate::table::Trace;
use crate::traced::{BowlCone, Form, OutlineForm, SectionForm, TracedError};
use crate::verdict::{Check, DimensionCheck, Flag, Verdict};

/// Declares a row and, from its fields, the list of its columns and the columns of a data frame.
/// A row with a list in it has the list's type as a parameter: by default one text, as CSV needs.
macro_rules! row {
    (
        $(#[$about:meta])* $row:ident $(<$list:ident>)?, $columns:ident;
        $($(#[$what:meta])* $field:ident: $kind:ty,)*
    ) => {
        $(#[$about])*
        #[derive(Clone, Debug, PartialEq, Serialize)]
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
    /// One shift of one dimension, or that none was seen (`year` is missing) or could be (`p` is missing).
    #[derive(Default)]
    ShiftRow, SHIFT_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Pattern; nothing for all patterns of the maker together.
    pattern: Option<&'a str>,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// `location` or `spread`.
    what: &'static str,
    /// The likeliest first year of the new practice.
    year: Option<i64>,
    /// The earliest year that it may be.
    year_low: Option<i64>,
    /// The latest.
    year_high: Option<i64>,
    /// All years that it may be, such as `1958-1961; 1964`.
    years: Option<String>,
    /// The shift: of location relative, 0.07 = 7 % larger afterwards, or in the unit where the dimension is
    /// no ratio; of spread that after over that before.
    shift: Option<f64>,
    /// Lower limit of its 95 % interval.
    shift_low: Option<f64>,
    /// Upper limit.
    shift_high: Option<f64>,
    /// The shift of location in spreads of a pattern's pieces.
    in_spreads: Option<f64>,
    /// p of so much by chance, given the dimension's other shifts; for location and spread together.
    p: Option<f64>,
    /// The same, adjusted for all dimensions (Holm).
    p_adjusted: Option<f64>,
    /// Dated pieces that can tell.
    n: u64,
    /// Their patterns.
    patterns: u64,
    /// Where none was seen: what would have been found four times in five in the middle of the dates; of
    /// location in spreads.
    least_noticeable: Option<f64>,
    /// The finish of the pieces, as first written, for a dimension of colour.
    finish: Option<&'a str>,
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

row! {
    /// One result of one trace, or of a piece's walls together.
    #[derive(Default)]
    FormRow, FORM_COLUMNS;
    /// Specimen.
    specimen: &'a str,
    /// What was traced, and where: `bowl_section@22.5`; `bowl` for a cone of several walls.
    feature: String,
    /// Which of several traces of the same feature.
    repeat: Option<u64>,
    /// What is told: `straightness`, `departure`, `roundness`, `sides`, ...
    result: &'static str,
    /// Its value; missing where the trace says nothing.
    value: Option<f64>,
    /// Standard uncertainty, where it is known.
    uncertainty: Option<f64>,
    /// `mm`, `deg`, `mm2` or empty for a plain number.
    unit: &'static str,
    /// Station where a departure or a straight run begins, or lower limit of a break's place.
    from: Option<f64>,
    /// Where it ends, or the upper limit.
    to: Option<f64>,
    /// Station of the greatest height.
    at: Option<f64>,
    /// Probability of a break or of an undulation that clear in a piece that has none.
    p: Option<f64>,
    /// What form was asked of, what kind of departure, why nothing can be told.
    note: String,
}

row! {
    /// The pieces of one period in one dimension of one pattern.
    PeriodRow, PERIOD_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Pattern.
    pattern: Option<&'a str>,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// `ratio` (compared on the log scale) or `interval`.
    kind: &'static str,
    /// The finish of the pieces, as first written, for a dimension of colour.
    finish: Option<&'a str>,
    /// Name of the period.
    period: &'a str,
    /// `good`, `poor` or `unrated`; nothing where the source does not define the period.
    standing: Option<&'static str>,
    /// Whether it is one of the periods that the others are compared with.
    chosen: bool,
    /// Its first year.
    from: Option<i64>,
    /// Its last year.
    to: Option<i64>,
    /// Readings.
    n: u64,
    /// Their centre; the geometric centre of a ratio.
    centre: f64,
    /// Their spread; of a ratio relative, 0.02 = 2 %.
    spread: Option<f64>,
}

row! {
    /// Whether the good periods agree in one dimension of one pattern.
    AgreementRow<L>, AGREEMENT_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Pattern.
    pattern: Option<&'a str>,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// `ratio` (compared on the log scale) or `interval`.
    kind: &'static str,
    /// The finish of the pieces, as first written, for a dimension of colour.
    finish: Option<&'a str>,
    /// The good periods with readings.
    periods: L,
    /// Their readings.
    n: u64,
    /// Least centre of a period.
    centre_least: f64,
    /// Greatest centre of a period.
    centre_greatest: f64,
    /// F of their differences against their pieces' scatter.
    f: Option<f64>,
    /// Its degrees of freedom above the bar.
    df1: Option<f64>,
    /// Its degrees of freedom below the bar.
    df2: Option<f64>,
    /// p of differences at least as large where only the pieces scatter.
    p: Option<f64>,
    /// The same, adjusted for the pattern's other dimensions (Holm).
    p_adjusted: Option<f64>,
    /// p of differences at least as large between good periods that differ as is usual.
    unusual_p: Option<f64>,
    /// The same, adjusted likewise.
    unusual_p_adjusted: Option<f64>,
    /// F of Welch's analysis of variance.
    welch_f: Option<f64>,
    /// Its degrees of freedom below the bar.
    welch_df2: Option<f64>,
    /// Its p.
    welch_p: Option<f64>,
    /// H of Kruskal and Wallis.
    rank_h: Option<f64>,
    /// Its p.
    rank_p: Option<f64>,
    /// F of Brown and Forsythe's test of spreads.
    spread_f: Option<f64>,
    /// Its p.
    spread_p: Option<f64>,
}

row! {
    /// One period against the good ones in one dimension of one pattern.
    AgainstRow, AGAINST_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Pattern.
    pattern: Option<&'a str>,
    /// Name of the period.
    period: &'a str,
    /// `good`, `poor` or `unrated`; nothing where the source does not define the period.
    standing: Option<&'static str>,
    /// `chosen` periods, or `other_chosen` ones for a period that is one of them.
    compared_with: &'static str,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// `ratio` (compared on the log scale) or `interval`.
    kind: &'static str,
    /// The finish of the pieces, as first written, for a dimension of colour.
    finish: Option<&'a str>,
    /// Readings of the period.
    n: u64,
    /// Readings that it is compared with.
    n_good: u64,
    /// Those of them set aside because unlike their fellows.
    n_set_aside: u64,
    /// The period's centre.
    centre: f64,
    /// The centre that it is compared with.
    centre_good: f64,
    /// The difference of the two, in the unit.
    shift: f64,
    /// Lower limit of its interval.
    shift_low: Option<f64>,
    /// Upper limit of its interval.
    shift_high: Option<f64>,
    /// The difference over the centre of the good ones, 0.02 = 2 %; of a ratio only.
    shift_relative: Option<f64>,
    /// Lower limit of its interval.
    shift_relative_low: Option<f64>,
    /// Upper limit of its interval.
    shift_relative_high: Option<f64>,
    /// The difference in spreads within a period, on the scale of judgement.
    effect: Option<f64>,
    /// Lower limit of its interval.
    effect_low: Option<f64>,
    /// Upper limit of its interval.
    effect_high: Option<f64>,
    /// The predictive t of the difference.
    t: Option<f64>,
    /// Its degrees of freedom; nothing for a stated spread.
    df: Option<f64>,
    /// p of a difference at least as large for one more good period.
    p: Option<f64>,
    /// The same, adjusted for the pattern's other dimensions (Holm).
    p_adjusted: Option<f64>,
    /// The period's spread; of a ratio relative.
    spread: Option<f64>,
    /// The spread within good periods; of a ratio relative.
    spread_good: Option<f64>,
    /// The ratio of the two.
    spread_ratio: Option<f64>,
    /// Lower limit of its interval.
    spread_ratio_low: Option<f64>,
    /// Upper limit of its interval.
    spread_ratio_high: Option<f64>,
    /// p of a ratio at least as far from 1, either way.
    spread_p: Option<f64>,
    /// The same, adjusted for the pattern's other dimensions (Holm).
    spread_p_adjusted: Option<f64>,
    /// p of Welch's t of all pieces against all.
    welch_p: Option<f64>,
    /// p of Mann and Whitney's test, likewise.
    rank_p: Option<f64>,
    /// Hodges and Lehmann's shift likewise, in the unit at the good ones' centre.
    rank_shift: Option<f64>,
    /// Lower limit of its interval.
    rank_shift_low: Option<f64>,
    /// Upper limit of its interval.
    rank_shift_high: Option<f64>,
    /// Confidence of the intervals.
    confidence: f64,
}

row! {
    /// One period against the good ones in one dimension, all patterns of a maker together.
    PooledRow, POOLED_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Name of the period.
    period: &'a str,
    /// `good`, `poor` or `unrated`; nothing where the source does not define the period.
    standing: Option<&'static str>,
    /// `chosen` periods, or `other_chosen` ones for a period that is one of them.
    compared_with: &'static str,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// `ratio` (compared on the log scale) or `interval`.
    kind: &'static str,
    /// The finish of the pieces, as first written, for a dimension of colour.
    finish: Option<&'a str>,
    /// Readings of the period.
    n: u64,
    /// Patterns that tell the shift.
    patterns: u64,
    /// The mean shift: of a ratio relative, 0.02 = 2 %, else in the unit.
    shift: Option<f64>,
    /// Lower limit of its interval.
    shift_low: Option<f64>,
    /// Upper limit of its interval.
    shift_high: Option<f64>,
    /// The mean shift in spreads within a period.
    effect: Option<f64>,
    /// Lower limit of its interval.
    effect_low: Option<f64>,
    /// Upper limit of its interval.
    effect_high: Option<f64>,
    /// How much it differs between patterns: a standard deviation.
    effect_between: Option<f64>,
    /// Degrees of freedom of the interval; nothing for a stated spread.
    df: Option<f64>,
    /// p of a mean at least as far from none, for the shift in spreads.
    p: Option<f64>,
    /// The same, adjusted for the maker's other dimensions (Holm).
    p_adjusted: Option<f64>,
    /// Patterns that tell the ratio of spreads.
    spread_patterns: u64,
    /// The mean ratio of spreads.
    spread_ratio: Option<f64>,
    /// Lower limit of its interval.
    spread_ratio_low: Option<f64>,
    /// Upper limit of its interval.
    spread_ratio_high: Option<f64>,
    /// p of a ratio at least as far from 1, either way.
    spread_p: Option<f64>,
    /// The same, adjusted likewise.
    spread_p_adjusted: Option<f64>,
    /// Confidence of the intervals.
    confidence: f64,
}

row! {
    /// Whether the good periods agree in one dimension, all patterns of a maker together.
    PooledAgreementRow, POOLED_AGREEMENT_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// `ratio` (compared on the log scale) or `interval`.
    kind: &'static str,
    /// The finish of the pieces, as first written, for a dimension of colour.
    finish: Option<&'a str>,
    /// Patterns that tell.
    patterns: u64,
    /// From the least to the greatest centre of a pattern's good periods, the median over patterns: of
    /// a ratio relative, 0.02 = 2 %, else in the unit.
    distance: f64,
    /// p of differences at least as large where only the pieces scatter.
    p: Option<f64>,
    /// The same, adjusted for the maker's other dimensions (Holm).
    p_adjusted: Option<f64>,
    /// p of differences at least as large between good periods that differ as is usual.
    unusual_p: Option<f64>,
    /// The same, adjusted likewise.
    unusual_p_adjusted: Option<f64>,
}

impl<'a> ShiftRow<'a> {
    /// The rows of one dimension of a cohort: each shift, or one row for each question without.
    pub fn of(found: &ShiftYears, cohort: &'a Cohort<'_>) -> Vec<ShiftRow<'a>> {
        let group = &cohort.groups()[found.scope.group()];
        let column = &cohort.table().columns[found.column];
        let dimension = cohort.table().dimension(column);
        let mut rows = Vec::new();
        for what in What::ALL {
            let row = ShiftRow {
                maker: named(&group.maker),
                pattern: match found.scope {
                    Scope::Pattern(_) => named(&group.pattern),
                    Scope::Maker(_) => None,
                },
                dimension: &dimension.key,
                unit: &dimension.unit,
                what: what.name(),
                n: found.n as u64,
                patterns: found.patterns as u64,
                finish: column.finish.as_deref().and_then(named),
                ..ShiftRow::default()
            };
            let Some(question) = found.question(what) else {
                rows.push(row);
                continue;
            };
            if question.shifts.is_empty() {
                rows.push(ShiftRow {
                    p: Some(found.p[what as usize]),
                    p_adjusted: Some(found.p_adjusted[what as usize]),
                    least_noticeable: question.least_noticeable,
                    ..row
                });
                continue;
            }
            for shift in &question.shifts {
                let size = found.size(what, shift);
                let (p, p_adjusted) = found.p_of(what, shift);
                rows.push(ShiftRow {
                    year: Some(shift.year.into()),
                    year_low: shift.years.first().map(|y| y.0.into()),
                    year_high: shift.years.last().map(|y| y.1.into()),
                    years: Some(stretches(&shift.years, "-", "; ")),
                    shift: size.map(|s| s.value),
                    shift_low: size.map(|s| s.low),
                    shift_high: size.map(|s| s.high),
                    in_spreads: match what {
                        What::Location => limit(shift.size),
                        What::Spread => None,
                    },
                    p: Some(p),
                    p_adjusted: Some(p_adjusted),
                    ..row.clone()
                });
            }
        }
        rows
    }
}

/// Stretches of years as text: `1958-1961; 1964`.
pub fn stretches(years: &[(i16, i16)], to: &str, and: &str) -> String {
    let one = |&(from, until): &(i16, i16)| match from == until {
        true => from.to_string(),
        false => format!("{from}{to}{until}"),
    };
    years.iter().map(one).collect::<Vec<String>>().join(and)
}

row! {
    /// How one piece stands to one period; nothing but the piece and why where nothing could be
    /// compared.
    DateRow, DATE_COLUMNS;
    /// The piece.
    specimen: &'a str,
    /// Its maker.
    maker: Option<&'a str>,
    /// Its pattern.
    pattern: Option<&'a str>,
    /// The period.
    period: Option<&'a str>,
    /// Its first year.
    period_from: Option<i64>,
    /// Its last year.
    period_to: Option<i64>,
    /// `good`, `poor` or `unrated`.
    standing: Option<&'static str>,
    /// Pieces of the pattern that speak for the period; with none the piece is as likely as a
    /// stranger.
    n: Option<u64>,
    /// Share of the period beforehand; 0 = ruled out.
    prior: Option<f64>,
    /// Share of the period by the dimensions.
    posterior: Option<f64>,
    /// Logarithm of how likely the piece is under the period, but for what all periods share.
    log_likelihood: Option<f64>,
    /// The piece's least p as one of the period (Holm).
    fits_p: Option<f64>,
    /// The name of a period, `undecided` or `fits none`.
    answer: &'a str,
    /// Why there is no better answer.
    why: Option<String>,
    /// The period by the date on record, which is not used.
    recorded: Option<&'a str>,
    /// The share that a piece at the very centre of the period would reach, all alike beforehand.
    typical_posterior: Option<f64>,
}

impl<'a> DateRow<'a> {
    fn new(dating: &'a Dating, candidate: Option<&'a Candidate>) -> DateRow<'a> {
        let years = candidate.and_then(|c| c.years);
        DateRow {
            specimen: &dating.specimen,
            maker: named(&dating.maker),
            pattern: named(&dating.pattern),
            period: candidate.map(|c| c.name.as_str()),
            period_from: years.map(|y| i64::from(y.from)),
            period_to: years.map(|y| i64::from(y.to)),
            standing: candidate.and_then(|c| c.standing).map(|s| s.name()),
            n: candidate.map(|c| c.references as u64),
            prior: candidate.map(|c| c.prior),
            posterior: candidate.map(|c| c.posterior),
            log_likelihood: candidate.map(|c| c.ln_likelihood),
            fits_p: candidate.map(|c| c.fits_p),
            answer: dating.answer_name(),
            why: dating.why(),
            recorded: dating.recorded.as_deref(),
            typical_posterior: candidate.and_then(|c| c.typical),
        }
    }
}

/// All periods of all pieces; one row for a piece of which nothing could be compared.
pub fn date_rows(datings: &[Dating]) -> impl Iterator<Item = DateRow<'_>> {
    datings.iter().flat_map(|dating| {
        let nothing = dating
            .candidates
            .is_empty()
            .then(|| DateRow::new(dating, None));
        let periods = dating.candidates.iter();
        periods
            .map(|c| DateRow::new(dating, Some(c)))
            .chain(nothing)
    })
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

/// The results of one trace, as rows.
pub fn form_rows<'a>(trace: &'a Trace, form: &Result<Form, TracedError>) -> Vec<FormRow<'a>> {
    let of = |result: &'static str, unit: &'static str, value: f64| FormRow {
        specimen: &trace.specimen,
        feature: trace.feature.to_string(),
        repeat: Some(u64::from(trace.repeat)),
        result,
        value: Some(value),
        unit,
        ..FormRow::default()
    };
    match form {
        Ok(Form::Outline(outline)) => outline_rows(outline, &of),
        Ok(Form::Section(section)) => section_rows(section, &of),
        Ok(Form::Finish(finish)) => finish_rows(finish, &of),
        Err(error) => vec![FormRow {
            value: None,
            note: error.to_string(),
            ..of("nothing", "", 0.0)
        }],
    }
}

type NewRow<'f, 'a> = &'f dyn Fn(&'static str, &'static str, f64) -> FormRow<'a>;

fn outline_rows<'a>(outline: &OutlineForm, of: NewRow<'_, 'a>) -> Vec<FormRow<'a>> {
    let (straightness, uncertainty) = outline.straightness();
    let run = &outline.departures.run;
    let bow = &outline.departures.bow;
    let mut rows = vec![
        FormRow {
            uncertainty: Some(uncertainty),
            from: Some(outline.stations.0),
            to: Some(outline.stations.1),
            note: format!("minimum zone; asked of {}", outline.asked_of),
            ..of("straightness", "mm", straightness)
        },
        of(
            "straightness_least_squares",
            "mm",
            outline.line.peak_to_valley,
        ),
        FormRow {
            uncertainty: Some(outline.angle.uncertainty),
            ..of("angle", "deg", outline.angle.degrees)
        },
        FormRow {
            at: Some(bow.station),
            note: "greatest height above the line through the ends".to_owned(),
            ..of("bow", "mm", bow.peak)
        },
        FormRow {
            from: Some(run.start),
            to: Some(run.end),
            note: format!("longest stretch within {} mm", outline.tolerance),
            ..of("straight_run", "mm", run.end - run.start)
        },
    ];
    for zone in &outline.departures.zones {
        let (kind, side) = (zone.kind, zone.peak > 0.0);
        let note = match (kind, side) {
            (DepartureKind::End, true) => "outward, to an end of the trace",
            (DepartureKind::End, false) => "inward, to an end of the trace",
            (DepartureKind::Inside, true) => "bulge",
            (DepartureKind::Inside, false) => "scoop",
        };
        let (from, to) = (Some(zone.start), Some(zone.end));
        rows.push(FormRow {
            from,
            to,
            at: Some(zone.peak_station),
            note: note.to_owned(),
            ..of("departure", "mm", zone.peak)
        });
        rows.push(FormRow {
            from,
            to,
            ..of("departure_area", "mm2", zone.area)
        });
    }
    if let Some(lines) = &outline.two_lines {
        let turn = lines.slope_after.atan() - lines.slope_before.atan();
        let p = Some(lines.kink.p);
        rows.push(FormRow {
            uncertainty: lines.standard_error,
            from: Some(lines.region.low),
            to: Some(lines.region.high),
            p,
            note: match lines.region.pieces.len() {
                0 | 1 => String::new(),
                several => format!("the interval is of {several} pieces"),
            },
            ..of("break", "mm", lines.at)
        });
        rows.push(FormRow {
            p,
            ..of("break_angle", "deg", turn.to_degrees())
        });
    }
    rows
}

fn section_rows<'a>(section: &SectionForm, of: NewRow<'_, 'a>) -> Vec<FormRow<'a>> {
    let (roundness, uncertainty) = section.roundness();
    let mut rows = vec![FormRow {
        uncertainty: Some(uncertainty),
        note: format!("minimum zone; asked of {}", section.asked_of),
        ..of("roundness", "mm", roundness)
    }];
    let circle = &section.least_squares;
    rows.push(of("roundness_least_squares", "mm", circle.peak_to_valley));
    if let Some(inscribed) = &section.inscribed {
        rows.push(of("roundness_inscribed", "mm", inscribed.peak_to_valley));
    }
    let outer = section.circumscribed.peak_to_valley;
    rows.push(of("roundness_circumscribed", "mm", outer));
    rows.push(FormRow {
        note: format!("least squares; condition {:.3}", circle.condition),
        ..of("diameter", "mm", 2.0 * circle.radius)
    });
    rows.push(of("largest_gap", "deg", section.largest_gap));
    let Some(lobes) = &section.lobes else {
        return rows;
    };
    for lobe in &lobes.orders {
        rows.push(FormRow {
            uncertainty: Some(lobe.standard_error),
            at: Some(lobe.crest_deg),
            p: Some(lobe.p_adjusted),
            note: format!("{} undulations per revolution", lobe.order),
            ..of("undulation", "mm", lobe.amplitude)
        });
    }
    if let Some(sides) = lobes.sides {
        rows.push(of("sides", "", f64::from(sides)));
    }
    rows
}

fn finish_rows<'a>(finish: &FinishColour, of: NewRow<'_, 'a>) -> Vec<FormRow<'a>> {
    let names = ["lightness", "red_green", "yellow_blue"];
    let units = ["L*", "a*", "b*"];
    let note = match finish.calibrated {
        true => String::new(),
        false => "a photograph without a reference card".to_owned(),
    };
    let component = |at: usize| FormRow {
        uncertainty: Some(finish.uncertainty[at]),
        note: note.clone(),
        ..of(names[at], units[at], finish.lab.components()[at])
    };
    let mut rows: Vec<FormRow<'a>> = (0..3).map(component).collect();
    rows.push(of("spots", "", finish.n as f64));
    if let Some(scatter) = finish.scatter {
        rows.push(of("spot_scatter", "dE00", scatter));
    }
    if let Some(farthest) = &finish.farthest {
        rows.push(FormRow {
            note: format!("spot {}", farthest.name),
            ..of("farthest_spot", "dE00", farthest.difference)
        });
    }
    rows
}

/// The cone of one piece's walls, as rows.
pub fn cone_rows(bowl: &BowlCone) -> Vec<FormRow<'_>> {
    let walls = format!("{} walls", bowl.walls);
    let of = |result: &'static str, unit: &'static str, value: Option<f64>| FormRow {
        specimen: &bowl.specimen,
        feature: "bowl".to_owned(),
        result,
        value,
        unit,
        note: walls.clone(),
        ..FormRow::default()
    };
    match &bowl.cone {
        Err(error) => vec![FormRow {
            note: format!("{walls}: {error}"),
            ..of("cone_half_angle", "deg", None)
        }],
        Ok(cone) => vec![
            FormRow {
                uncertainty: cone.errors.as_ref().map(|e| e.half_angle),
                ..of("cone_half_angle", "deg", Some(cone.half_angle))
            },
            FormRow {
                at: Some(cone.lean_direction),
                ..of("cone_lean", "deg", Some(cone.lean))
            },
            of("cone_apex", "mm", cone.apex_station),
            of("cone_residual_sd", "mm", cone.residual_sd),
        ],
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

/// What the rows of a comparison of periods name: the dimension and finish of a column.
struct OfColumn<'a> {
    dimension: &'a str,
    unit: &'a str,
    kind: &'static str,
    finish: Option<&'a str>,
}

impl<'a> OfColumn<'a> {
    fn new(cohort: &'a Cohort<'_>, column: usize) -> OfColumn<'a> {
        let of = &cohort.table().columns[column];
        let dimension = cohort.table().dimension(of);
        OfColumn {
            dimension: &dimension.key,
            unit: &dimension.unit,
            kind: dimension.kind.name(),
            finish: of.finish.as_deref().and_then(named),
        }
    }
}

/// What a period's pieces are compared with.
fn compared_with(good: bool) -> &'static str {
    match good {
        true => "other_chosen",
        false => "chosen",
    }
}

/// A difference on the scale of judgement as people say it: of a ratio relative, else in the unit.
fn told(kind: Kind, difference: f64) -> Option<f64> {
    limit(match kind {
        Kind::Ratio => difference.exp_m1(),
        Kind::Interval => difference,
    })
}

impl<'a> PeriodRow<'a> {
    /// The periods of one set; `cohort` is that of every period.
    pub fn of_set(
        set: &SetComparison,
        cohort: &'a Cohort<'_>,
    ) -> impl Iterator<Item = PeriodRow<'a>> {
        let group = &cohort.groups()[set.group];
        let column = OfColumn::new(cohort, set.column);
        let kind = set.kind;
        set.periods.clone().into_iter().map(move |period| {
            let in_use = &cohort.periods()[period.period as usize];
            let defined = cohort.table().periods.named(&group.maker, &in_use.name);
            let years = defined
                .filter(|_| in_use.standing.is_some())
                .map(|at| cohort.table().periods.all()[at].years);
            PeriodRow {
                maker: named(&group.maker),
                pattern: named(&group.pattern),
                dimension: column.dimension,
                unit: column.unit,
                kind: kind.name(),
                finish: column.finish,
                period: &in_use.name,
                standing: in_use.standing.map(|s| s.name()),
                chosen: period.good,
                from: years.map(|y| i64::from(y.from)),
                to: years.map(|y| i64::from(y.to)),
                n: period.n as u64,
                centre: period.centre,
                spread: period.spread.and_then(limit),
            }
        })
    }
}

impl<'a, L> AgreementRow<'a, L> {
    /// The row of one set; nothing where fewer than two good periods have readings. `cohort` is that
    /// of every period, `list` says how the periods are given ([`joined`]).
    pub fn new(
        set: &SetComparison,
        cohort: &'a Cohort<'_>,
        list: impl FnOnce(Vec<String>) -> L,
    ) -> Option<AgreementRow<'a, L>> {
        let agreement = set.agreement.as_ref()?;
        let group = &cohort.groups()[set.group];
        let column = OfColumn::new(cohort, set.column);
        let good = set.periods.iter().filter(|p| p.good);
        let names = good.map(|p| cohort.period_name(p.period).to_owned());
        Some(AgreementRow {
            maker: named(&group.maker),
            pattern: named(&group.pattern),
            dimension: column.dimension,
            unit: column.unit,
            kind: column.kind,
            finish: column.finish,
            periods: list(names.collect()),
            n: agreement.n as u64,
            centre_least: from_scale(set.kind, agreement.centres.0),
            centre_greatest: from_scale(set.kind, agreement.centres.1),
            f: agreement.differ.map(|t| t.f),
            df1: agreement.differ.map(|t| t.df1),
            df2: agreement.differ.and_then(|t| limit(t.df2)),
            p: agreement.differ.map(|t| t.p),
            p_adjusted: agreement.differ_adjusted,
            unusual_p: agreement.unusual.map(|t| t.p),
            unusual_p_adjusted: agreement.unusual_adjusted,
            welch_f: agreement.welch.map(|t| t.f),
            welch_df2: agreement.welch.map(|t| t.df2),
            welch_p: agreement.welch.map(|t| t.p),
            rank_h: agreement.ranks.map(|t| t.h),
            rank_p: agreement.ranks.map(|t| t.p),
            spread_f: agreement.spreads.map(|t| t.f),
            spread_p: agreement.spreads.map(|t| t.p),
        })
    }
}

impl<'a> AgainstRow<'a> {
    /// The row of one period of one set; `cohort` is that of every period.
    pub fn new(
        set: &SetComparison,
        against: &Against,
        cohort: &'a Cohort<'_>,
        settings: &Settings,
    ) -> AgainstRow<'a> {
        let group = &cohort.groups()[set.group];
        let column = OfColumn::new(cohort, set.column);
        let period = &cohort.periods()[against.period as usize];
        let (kind, good) = (set.kind, against.centre_good);
        let in_unit = |shift: f64| limit(deviation_in_unit(kind, good, shift));
        let relative = |shift: f64| match kind {
            Kind::Ratio => limit(shift.exp_m1()),
            Kind::Interval => None,
        };
        let confidence = settings.confidence();
        let departure = against.departure.as_ref();
        let interval = departure.map(|d| d.interval(confidence));
        let (low, high) = (interval.map(|i| i.0), interval.map(|i| i.1));
        let ratio = against.spread_ratio.as_ref();
        let of_ratio = ratio.map(|r| r.interval(confidence));
        let rank = against.plain.shift;
        let of_rank = rank.and_then(|r| r.interval);
        let shift = against.centre - good;
        AgainstRow {
            maker: named(&group.maker),
            pattern: named(&group.pattern),
            period: &period.name,
            standing: period.standing.map(|s| s.name()),
            compared_with: compared_with(against.good),
            dimension: column.dimension,
            unit: column.unit,
            kind: column.kind,
            finish: column.finish,
            n: against.n as u64,
            n_good: against.n_good as u64,
            n_set_aside: against.set_aside as u64,
            centre: from_scale(kind, against.centre),
            centre_good: from_scale(kind, good),
            shift: deviation_in_unit(kind, good, shift),
            shift_low: low.and_then(in_unit),
            shift_high: high.and_then(in_unit),
            shift_relative: relative(shift),
            shift_relative_low: low.and_then(relative),
            shift_relative_high: high.and_then(relative),
            effect: departure.and_then(|d| limit(d.effect())),
            effect_low: departure.and_then(|d| limit(low? / d.spread)),
            effect_high: departure.and_then(|d| limit(high? / d.spread)),
            t: departure.map(|d| d.t),
            df: departure.and_then(|d| limit(d.df)),
            p: departure.map(|d| d.p),
            p_adjusted: against.shift_adjusted,
            spread: ratio.map(|r| r.spread),
            spread_good: departure.map(|d| d.spread),
            spread_ratio: ratio.map(|r| r.ratio()),
            spread_ratio_low: of_ratio.and_then(|i| limit(i.0)),
            spread_ratio_high: of_ratio.and_then(|i| limit(i.1)),
            spread_p: ratio.map(|r| r.test.p),
            spread_p_adjusted: against.spread_adjusted,
            welch_p: against.plain.welch.map(|t| t.p),
            rank_p: against.plain.ranks.map(|t| t.p),
            rank_shift: rank.and_then(|r| in_unit(r.shift)),
            rank_shift_low: of_rank.and_then(|i| in_unit(i.0)),
            rank_shift_high: of_rank.and_then(|i| in_unit(i.1)),
            confidence,
        }
    }
}

impl<'a> PooledRow<'a> {
    /// The row of one period in one dimension; `cohort` is that of every period.
    pub fn new(
        pooled: &'a PooledAgainst,
        cohort: &'a Cohort<'_>,
        settings: &Settings,
    ) -> PooledRow<'a> {
        let column = OfColumn::new(cohort, pooled.column);
        let period = &cohort.periods()[pooled.period as usize];
        let (shift, effect, ratio) = (
            pooled.shift.as_ref(),
            pooled.effect.as_ref(),
            pooled.spread_ratio.as_ref(),
        );
        let told = |difference: f64| told(pooled.kind, difference);
        PooledRow {
            maker: named(&pooled.maker),
            period: &period.name,
            standing: period.standing.map(|s| s.name()),
            compared_with: compared_with(pooled.good),
            dimension: column.dimension,
            unit: column.unit,
            kind: column.kind,
            finish: column.finish,
            n: pooled.n as u64,
            patterns: pooled.patterns as u64,
            shift: shift.and_then(|s| told(s.value)),
            shift_low: shift.and_then(|s| told(s.interval.0)),
            shift_high: shift.and_then(|s| told(s.interval.1)),
            effect: effect.and_then(|e| limit(e.value)),
            effect_low: effect.and_then(|e| limit(e.interval.0)),
            effect_high: effect.and_then(|e| limit(e.interval.1)),
            effect_between: effect.and_then(|e| e.between),
            df: effect.and_then(|e| limit(e.df)),
            p: effect.map(|e| e.p),
            p_adjusted: pooled.effect_adjusted,
            spread_patterns: pooled.spread_patterns as u64,
            spread_ratio: ratio.and_then(|r| limit(r.value)),
            spread_ratio_low: ratio.and_then(|r| limit(r.interval.0)),
            spread_ratio_high: ratio.and_then(|r| limit(r.interval.1)),
            spread_p: ratio.map(|r| r.p),
            spread_p_adjusted: pooled.spread_adjusted,
            confidence: settings.confidence(),
        }
    }
}

impl<'a> PooledAgreementRow<'a> {
    /// The row of one dimension; `cohort` is that of every period.
    pub fn new(pooled: &'a PooledAgreement, cohort: &'a Cohort<'_>) -> PooledAgreementRow<'a> {
        let column = OfColumn::new(cohort, pooled.column);
        PooledAgreementRow {
            maker: named(&pooled.maker),
            dimension: column.dimension,
            unit: column.unit,
            kind: column.kind,
            finish: column.finish,
            patterns: pooled.patterns as u64,
            distance: told(pooled.kind, pooled.distance).unwrap_or(f64::MAX),
            p: pooled.differ,
            p_adjusted: pooled.differ_adjusted,
            unusual_p: pooled.unusual,
            unusual_p_adjusted: pooled.unusual_adjusted,
        }
    }
}
