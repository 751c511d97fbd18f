//! Results as rows: one list of names for CSV, JSON and data frames, which scripts rely on.
//!
//! A name that was not given and a number that the evidence does not yield are `None`. Numbers are
//! in the dimension's unit unless their column says otherwise.

use serde::Serialize;

use crate::catalogue::Catalogue;
use crate::cohort::Cohort;
use crate::form::colour::FinishColour;
use crate::form::departures::DepartureKind;
use crate::norm::{Band, Norm, Settings};
use crate::rates::PatternRates;
use crate::screen::{Code, Finding};
use crate::table::{Table, Trace};
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
    /// One slip in the source, or what looks like one.
    ScreenRow<L>, SCREEN_COLUMNS;
    /// What it is, such as `unit_inch` or `columns_exchanged`.
    code: &'static str,
    /// The specimens; none for a habit of a measurer.
    specimens: L,
    /// Maker of the first.
    maker: Option<&'a str>,
    /// Pattern of the first.
    pattern: Option<&'a str>,
    /// Keys of the dimensions.
    dimensions: L,
    /// Unit of the first dimension.
    unit: &'a str,
    /// How many readings it is about.
    count: u64,
    /// The readings as written.
    texts: L,
    /// The first reading; none for a habit and for a piece under two names.
    value: Option<f64>,
    /// What it should be; the step that the readings really have for `round_numbers`.
    proposed: Option<f64>,
    /// log10 of how much better that fits; of a test -log10 of p before adjusting.
    evidence: Option<f64>,
    /// p of a test, adjusted for all that was tested.
    p: Option<f64>,
    /// Who measured, or else the source.
    measured_by: Option<&'a str>,
    /// One sentence for people.
    sentence: &'a str,
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

impl<'a, L> ScreenRow<'a, L> {
    /// The row of a finding; `list` makes one text, or whatever is wanted, of several.
    pub fn new(
        finding: &'a Finding,
        table: &'a Table,
        list: impl Fn(Vec<&'a str>) -> L,
    ) -> ScreenRow<'a, L> {
        let specimens = &table.specimens;
        let first = finding.rows.first();
        let dimension = |&at: &usize| table.catalogue.at(at);
        let alone = finding.code != Code::SamePieceTwice;
        let suspect = finding.suspects.first().filter(|_| alone);
        let step = finding.step.map(|(step, unit)| step * unit.in_base_units());
        let texts = finding.suspects.iter().map(|s| s.text.as_str());
        ScreenRow {
            code: finding.code.name(),
            specimens: list(
                finding
                    .rows
                    .iter()
                    .map(|&r| specimens.names.get(r))
                    .collect(),
            ),
            maker: first.and_then(|&row| named(specimens.makers.get(row))),
            pattern: first.and_then(|&row| named(specimens.patterns.get(row))),
            dimensions: list(
                (finding.dimensions.iter().map(dimension))
                    .map(|d| d.key.as_str())
                    .collect(),
            ),
            unit: (finding.dimensions.first().map(dimension)).map_or("", |d| &d.unit),
            count: finding.count as u64,
            texts: list(texts.collect()),
            value: suspect.map(|s| s.value),
            proposed: suspect.and_then(|s| s.proposed).or(step),
            evidence: finding.evidence,
            p: finding.p,
            measured_by: named(&finding.by),
            sentence: &finding.sentence,
        }
    }
}
