//! What leaves the program as JSON and CSV: the names that scripts rely on.

use calibriar::catalogue::Catalogue;
use calibriar::cohort::Cohort;
use calibriar::norm::{Norm, Settings};
use calibriar::source::Provenance;
use calibriar::verdict::{Check, DimensionCheck, Flag};
use serde::Serialize;

/// A limit, or nothing where the evidence sets none.
fn limit(value: f64) -> Option<f64> {
    Some(value).filter(|v| v.is_finite())
}

/// A name, or nothing where none was given.
fn named(name: &str) -> Option<&str> {
    Some(name).filter(|n| !n.is_empty())
}

/// The whole answer of `norms`.
#[derive(Serialize)]
pub(super) struct NormsOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) norms: Vec<NormOut<'a>>,
}

/// One norm.
#[derive(Serialize)]
pub(super) struct NormOut<'a> {
    maker: Option<&'a str>,
    pattern: Option<&'a str>,
    periods: &'a [String],
    dimension: &'a str,
    unit: &'a str,
    kind: &'static str,
    n: usize,
    n_set_aside: usize,
    centre: f64,
    centre_low: Option<f64>,
    centre_high: Option<f64>,
    spread: Option<f64>,
    df: Option<f64>,
    borrowed_df: f64,
    mean: f64,
    sd: Option<f64>,
    median: f64,
    mad: f64,
    min: f64,
    max: f64,
    typical_low: Option<f64>,
    typical_high: Option<f64>,
    coverage: f64,
    tolerance_low: Option<f64>,
    tolerance_high: Option<f64>,
    confidence: f64,
    least_noticeable: Option<f64>,
}

impl<'a> NormOut<'a> {
    pub(super) fn new(norm: &Norm, cohort: &'a Cohort<'_>, settings: &Settings) -> NormOut<'a> {
        let group = &cohort.groups()[norm.group];
        let dimension = cohort.table().catalogue.at(norm.dimension);
        let firm = norm.firm.as_ref();
        let described = norm.described;
        NormOut {
            maker: named(&group.maker),
            pattern: named(&group.pattern),
            periods: &group.periods,
            dimension: &dimension.key,
            unit: &dimension.unit,
            kind: norm.kind.name(),
            n: norm.n,
            n_set_aside: norm.n_set_aside,
            centre: norm.centre,
            centre_low: firm.and_then(|f| limit(f.centre.low)),
            centre_high: firm.and_then(|f| limit(f.centre.high)),
            spread: firm.map(|f| f.spread),
            df: firm.map(|f| f.df),
            borrowed_df: norm.borrowed_df,
            mean: described.mean,
            sd: described.sd,
            median: described.median,
            mad: described.mad,
            min: described.min,
            max: described.max,
            typical_low: firm.and_then(|f| limit(f.typical.low)),
            typical_high: firm.and_then(|f| limit(f.typical.high)),
            coverage: settings.coverage(),
            tolerance_low: firm.and_then(|f| limit(f.tolerance.low)),
            tolerance_high: firm.and_then(|f| limit(f.tolerance.high)),
            confidence: settings.confidence(),
            least_noticeable: firm.and_then(|f| limit(f.least_noticeable)),
        }
    }
}

impl NormOut<'_> {
    /// The same as a CSV row: the periods as one text.
    pub(super) fn into_row(self) -> impl Serialize {
        let names = (
            self.maker.map(str::to_owned),
            self.pattern.map(str::to_owned),
        );
        let kind = (self.dimension.to_owned(), self.unit.to_owned(), self.kind);
        (
            names,
            self.periods.join("; "),
            kind,
            (
                self.n,
                self.n_set_aside,
                self.centre,
                self.centre_low,
                self.centre_high,
            ),
            (
                self.spread,
                self.df,
                self.borrowed_df,
                self.mean,
                self.sd,
                self.median,
                self.mad,
            ),
            (
                self.min,
                self.max,
                self.typical_low,
                self.typical_high,
                self.coverage,
            ),
            (
                self.tolerance_low,
                self.tolerance_high,
                self.confidence,
                self.least_noticeable,
            ),
        )
    }
}

/// The columns of `norms` as CSV.
pub(super) const NORM_COLUMNS: [&str; 27] = [
    "maker",
    "pattern",
    "periods",
    "dimension",
    "unit",
    "kind",
    "n",
    "n_set_aside",
    "centre",
    "centre_low",
    "centre_high",
    "spread",
    "df",
    "borrowed_df",
    "mean",
    "sd",
    "median",
    "mad",
    "min",
    "max",
    "typical_low",
    "typical_high",
    "coverage",
    "tolerance_low",
    "tolerance_high",
    "confidence",
    "least_noticeable",
];

/// The whole answer of `check`.
#[derive(Serialize)]
pub(super) struct ChecksOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) checks: Vec<CheckOut<'a>>,
}

/// One piece.
#[derive(Serialize)]
pub(super) struct CheckOut<'a> {
    specimen: &'a str,
    maker: Option<&'a str>,
    pattern: Option<&'a str>,
    periods: &'a [String],
    verdict: &'static str,
    dimensions: Vec<DimensionOut<'a>>,
    /// Size, shape and misfit taken together; none where they were not asked.
    joint: Option<()>,
}

/// One dimension of one piece.
#[derive(Serialize)]
pub(super) struct DimensionOut<'a> {
    dimension: &'a str,
    unit: &'a str,
    value: f64,
    uncertainty: f64,
    state: &'static str,
    n: usize,
    centre: Option<f64>,
    spread: Option<f64>,
    df: Option<f64>,
    typical_low: Option<f64>,
    typical_high: Option<f64>,
    deviation: Option<f64>,
    score: Option<f64>,
    p: Option<f64>,
    p_adjusted: Option<f64>,
    verdict: &'static str,
    sharpness: Option<f64>,
    least_noticeable: Option<f64>,
    more_references: Option<usize>,
    cautions: Vec<String>,
}

impl<'a> DimensionOut<'a> {
    fn new(check: &DimensionCheck, catalogue: &'a Catalogue) -> DimensionOut<'a> {
        let dimension = catalogue.at(check.dimension);
        let judged = check.judged.as_ref();
        DimensionOut {
            dimension: &dimension.key,
            unit: &dimension.unit,
            value: check.value,
            uncertainty: check.uncertainty,
            state: check.state.name(),
            n: check.n,
            centre: judged.map(|j| j.centre),
            spread: judged.map(|j| j.spread),
            df: judged.map(|j| j.df),
            typical_low: judged.and_then(|j| limit(j.typical.low)),
            typical_high: judged.and_then(|j| limit(j.typical.high)),
            deviation: judged.map(|j| j.deviation),
            score: judged.map(|j| j.score),
            p: judged.map(|j| j.p),
            p_adjusted: judged.map(|j| j.p_adjusted),
            verdict: check.verdict.name(),
            sharpness: judged.map(|j| j.sharpness),
            least_noticeable: judged.and_then(|j| limit(j.least_noticeable)),
            more_references: check.more_references,
            cautions: check.cautions.iter().map(ToString::to_string).collect(),
        }
    }
}

impl<'a> CheckOut<'a> {
    pub(super) fn new(check: &'a Check, catalogue: &'a Catalogue) -> CheckOut<'a> {
        CheckOut {
            specimen: &check.specimen,
            maker: named(&check.maker),
            pattern: named(&check.pattern),
            periods: &check.periods,
            verdict: check.verdict.name(),
            dimensions: check
                .dimensions
                .iter()
                .map(|d| DimensionOut::new(d, catalogue))
                .collect(),
            joint: None,
        }
    }
}

/// The columns of `check` as CSV.
pub(super) const CHECK_COLUMNS: [&str; 24] = [
    "specimen",
    "maker",
    "pattern",
    "piece_verdict",
    "dimension",
    "unit",
    "value",
    "uncertainty",
    "state",
    "n",
    "centre",
    "spread",
    "df",
    "typical_low",
    "typical_high",
    "deviation",
    "score",
    "p",
    "p_adjusted",
    "verdict",
    "sharpness",
    "least_noticeable",
    "more_references",
    "cautions",
];

/// The rows of `check` as CSV: the piece, then one of its dimensions; one row with empty cells for
/// a piece of which nothing was measured.
pub(super) fn check_rows<'a>(
    checks: &'a [Check],
    catalogue: &'a Catalogue,
) -> impl Iterator<Item = impl Serialize + 'a> {
    let nothing = |check: &Check| check.dimensions.is_empty().then_some(None);
    checks.iter().flat_map(move |check| {
        let dimensions = check.dimensions.iter().map(Some);
        dimensions.chain(nothing(check)).map(move |dimension| {
            let out = dimension.map(|d| DimensionOut::new(d, catalogue));
            let piece = (
                &check.specimen,
                named(&check.maker),
                named(&check.pattern),
                check.verdict.name(),
            );
            let d = out.as_ref();
            // A sequence has no place in a CSV row, so the cautions travel as one text.
            let cautions = d.map(|d| d.cautions.join("; "));
            let dimension = (d.map(|d| d.dimension), d.map(|d| d.unit));
            let reading = (
                d.map(|d| d.value),
                d.map(|d| d.uncertainty),
                d.map(|d| d.state),
                d.map(|d| d.n),
            );
            let norm = (
                d.and_then(|d| d.centre),
                d.and_then(|d| d.spread),
                d.and_then(|d| d.df),
                d.and_then(|d| d.typical_low),
                d.and_then(|d| d.typical_high),
            );
            let verdict = (
                d.and_then(|d| d.deviation),
                d.and_then(|d| d.score),
                d.and_then(|d| d.p),
                d.and_then(|d| d.p_adjusted),
                d.map(|d| d.verdict),
            );
            let firmness = (
                d.and_then(|d| d.sharpness),
                d.and_then(|d| d.least_noticeable),
                d.and_then(|d| d.more_references),
                cautions,
            );
            (piece, dimension, reading, norm, verdict, firmness)
        })
    })
}

/// The columns of `flag`, CSV and JSON alike.
pub(super) const FLAG_COLUMNS: [&str; 14] = [
    "specimen",
    "maker",
    "pattern",
    "period",
    "dimension",
    "unit",
    "value",
    "centre",
    "typical_low",
    "typical_high",
    "score",
    "p",
    "p_adjusted",
    "verdict",
];

/// One out-of-norm reading.
#[derive(Serialize)]
pub(super) struct FlagOut<'a> {
    pub(super) specimen: &'a str,
    pub(super) maker: Option<&'a str>,
    pub(super) pattern: Option<&'a str>,
    pub(super) period: Option<&'a str>,
    pub(super) dimension: &'a str,
    pub(super) unit: &'a str,
    pub(super) value: f64,
    pub(super) centre: f64,
    pub(super) typical_low: Option<f64>,
    pub(super) typical_high: Option<f64>,
    pub(super) score: f64,
    pub(super) p: f64,
    pub(super) p_adjusted: f64,
    pub(super) verdict: &'static str,
}

impl<'a> FlagOut<'a> {
    pub(super) fn new(flag: &Flag, cohort: &'a Cohort<'_>) -> FlagOut<'a> {
        let table = cohort.table();
        let dimension = table.catalogue.at(flag.dimension);
        FlagOut {
            specimen: table.specimens.names.get(flag.row),
            maker: named(table.specimens.makers.get(flag.row)),
            pattern: named(table.specimens.patterns.get(flag.row)),
            period: cohort.period_of(flag.row).map(|p| p.name.as_str()),
            dimension: &dimension.key,
            unit: &dimension.unit,
            value: flag.value,
            centre: flag.centre,
            typical_low: limit(flag.typical.low),
            typical_high: limit(flag.typical.high),
            score: flag.score,
            p: flag.p,
            p_adjusted: flag.p_adjusted,
            verdict: calibriar::verdict::Verdict::OutOfNorm.name(),
        }
    }
}

/// The whole answer of `flag`.
#[derive(Serialize)]
pub(super) struct FlagsOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) flags: Vec<FlagOut<'a>>,
}
