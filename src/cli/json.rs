//! What leaves the program as JSON: the names that scripts rely on.

use calibriar::catalogue::Catalogue;
use calibriar::cohort::Cohort;
use calibriar::norm::{Norm, SetAside, Settings};
use calibriar::report::{DimensionRow, FlagRow, FormRow, NormRow, PieceRow, RateRow, ScreenRow};
use calibriar::screen::{Finding, Screening};
use calibriar::source::Provenance;
use calibriar::table::Table;
use calibriar::traced::Sides;
use calibriar::verdict::{Check, Excursion, Finish, Joint, OutlineCheck, Shape};
use serde::Serialize;

/// The whole answer of `norms`.
#[derive(Serialize)]
pub(super) struct NormsOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) norms: Vec<NormOut<'a>>,
}

/// One norm.
#[derive(Serialize)]
pub(super) struct NormOut<'a> {
    #[serde(flatten)]
    row: NormRow<'a, &'a [String]>,
    set_aside: Vec<SetAsideOut<'a>>,
}

impl<'a> NormOut<'a> {
    pub(super) fn new(norm: &'a Norm, cohort: &'a Cohort<'_>, settings: &Settings) -> NormOut<'a> {
        let table = cohort.table();
        NormOut {
            row: NormRow::new(norm, cohort, settings, |periods| periods),
            set_aside: set_aside(&norm.basis.set_aside, table, norm.dimension),
        }
    }
}

/// A reference that was set aside.
#[derive(Serialize)]
struct SetAsideOut<'a> {
    specimen: &'a str,
    /// Its reading, in the unit.
    value: f64,
    /// Its p by those that were left.
    p: f64,
}

fn set_aside<'a>(aside: &[SetAside], table: &'a Table, dimension: usize) -> Vec<SetAsideOut<'a>> {
    let columns = table.columns.iter().filter(|c| c.dimension == dimension);
    let out = |aside: &SetAside| {
        let row = aside.reference.row();
        Some(SetAsideOut {
            specimen: table.specimens.names.get(row),
            value: columns.clone().find_map(|c| c.value(row))?,
            p: aside.p,
        })
    };
    aside.iter().filter_map(out).collect()
}

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
    dimensions: Vec<DimensionRow<'a, Vec<String>>>,
    joint: Option<JointOut<'a>>,
    finish: Option<FinishOut>,
    outlines: Vec<OutlineOut<'a>>,
    sides: Vec<SidesOut<'a>>,
}

/// A section in which a number of sides stands out.
#[derive(Serialize)]
struct SidesOut<'a> {
    feature: &'a str,
    sides: u32,
    amplitude: f64,
    p: f64,
}

impl<'a> SidesOut<'a> {
    fn new(sides: &'a Sides) -> SidesOut<'a> {
        SidesOut {
            feature: &sides.feature,
            sides: sides.sides,
            amplitude: sides.amplitude,
            p: sides.p,
        }
    }
}

/// One traced outline.
#[derive(Serialize)]
struct OutlineOut<'a> {
    feature: &'a str,
    n: usize,
    df: f64,
    roughness: f64,
    threshold: f64,
    p: f64,
    p_adjusted: f64,
    verdict: &'static str,
    excursions: Vec<ExcursionOut>,
    band: Vec<StationOut>,
}

/// Where an outline is outside its band.
#[derive(Serialize)]
struct ExcursionOut {
    from: f64,
    to: f64,
    at: f64,
    deviation: f64,
    beyond: f64,
}

/// One station of an outline and its band.
#[derive(Serialize)]
struct StationOut {
    station: f64,
    height: f64,
    centre: f64,
    low: f64,
    high: f64,
}

impl<'a> OutlineOut<'a> {
    fn new(outline: &'a OutlineCheck) -> OutlineOut<'a> {
        let excursion = |e: &Excursion| ExcursionOut {
            from: e.from,
            to: e.to,
            at: e.at,
            deviation: e.deviation,
            beyond: e.beyond,
        };
        let stations = outline.stations.iter().map(|s| StationOut {
            station: s.station,
            height: s.height,
            centre: s.centre,
            low: s.low,
            high: s.high,
        });
        OutlineOut {
            feature: &outline.feature,
            n: outline.n,
            df: outline.df,
            roughness: outline.roughness,
            threshold: outline.threshold,
            p: outline.p,
            p_adjusted: outline.p_adjusted,
            verdict: outline.verdict.name(),
            excursions: outline.excursions.iter().map(excursion).collect(),
            band: stations.collect(),
        }
    }
}

/// Size, shape and misfit of a piece taken together.
#[derive(Serialize)]
struct JointOut<'a> {
    n_dimensions: usize,
    size_score: f64,
    size_p: f64,
    size_verdict: &'static str,
    shape: Vec<ShapeOut<'a>>,
    misfit: f64,
    misfit_p: f64,
}

/// What one dimension has besides the size of its piece.
#[derive(Serialize)]
struct ShapeOut<'a> {
    dimension: &'a str,
    score: f64,
    p: f64,
    p_adjusted: f64,
    verdict: &'static str,
}

/// The colour of a piece as a whole.
#[derive(Serialize)]
struct FinishOut {
    n: usize,
    /// L*, a*, b* under D65.
    centre: [f64; 3],
    reading: [f64; 3],
    /// CIEDE2000.
    difference: f64,
    difference_at_limit: Option<f64>,
    score_rms: f64,
    p: f64,
    verdict: &'static str,
}

impl FinishOut {
    fn new(finish: &Finish) -> FinishOut {
        FinishOut {
            n: finish.n,
            centre: finish.centre.components(),
            reading: finish.reading.components(),
            difference: finish.difference,
            difference_at_limit: finish.difference_at_limit,
            score_rms: finish.whole.rms,
            p: finish.whole.p,
            verdict: finish.verdict.name(),
        }
    }
}

impl<'a> JointOut<'a> {
    fn new(joint: &Joint, catalogue: &'a Catalogue) -> JointOut<'a> {
        let shape = |of: &Shape| ShapeOut {
            dimension: &catalogue.at(of.dimension).key,
            score: of.score,
            p: of.p,
            p_adjusted: of.p_adjusted,
            verdict: of.verdict.name(),
        };
        JointOut {
            n_dimensions: joint.shape.len(),
            size_score: joint.size_score,
            size_p: joint.size_p,
            size_verdict: joint.size_verdict.name(),
            shape: joint.shape.iter().map(shape).collect(),
            misfit: joint.misfit,
            misfit_p: joint.misfit_p,
        }
    }
}

impl<'a> CheckOut<'a> {
    pub(super) fn new(check: &'a Check, catalogue: &'a Catalogue) -> CheckOut<'a> {
        let piece = PieceRow::new(check);
        let dimensions = check.dimensions.iter();
        CheckOut {
            specimen: piece.specimen,
            maker: piece.maker,
            pattern: piece.pattern,
            periods: &check.periods,
            verdict: piece.piece_verdict,
            dimensions: dimensions
                .map(|d| DimensionRow::new(d, catalogue, |cautions| cautions))
                .collect(),
            joint: check.joint.as_ref().map(|j| JointOut::new(j, catalogue)),
            finish: check.finish.as_ref().map(FinishOut::new),
            outlines: check.outlines.iter().map(OutlineOut::new).collect(),
            sides: check.sides.iter().map(SidesOut::new).collect(),
        }
    }
}

/// The whole answer of `form`.
#[derive(Serialize)]
pub(super) struct FormsOut<'a> {
    pub(super) version: &'static str,
    pub(super) tolerance: f64,
    pub(super) forms: Vec<FormRow<'a>>,
}

/// The whole answer of `rates`.
#[derive(Serialize)]
pub(super) struct RatesOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) worlds: usize,
    pub(super) seed: u64,
    pub(super) alpha: f64,
    pub(super) coverage: f64,
    pub(super) confidence: f64,
    pub(super) rates: Vec<RateRow<'a>>,
}

/// The whole answer of `flag`.
#[derive(Serialize)]
pub(super) struct FlagsOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) flags: Vec<FlagRow<'a>>,
}

/// The whole answer of `screen`.
#[derive(Serialize)]
pub(super) struct ScreenOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) alpha: f64,
    /// Readings that were judged by fellows, and those that have too few.
    pub(super) judged: usize,
    pub(super) without_fellows: usize,
    /// Degrees of freedom of the t law that good readings were taken to follow.
    pub(super) tail_df: f64,
    pub(super) findings: Vec<FindingOut<'a>>,
}

/// One slip.
#[derive(Serialize)]
pub(super) struct FindingOut<'a> {
    #[serde(flatten)]
    row: ScreenRow<'a, Vec<&'a str>>,
    readings: Vec<SuspectOut<'a>>,
}

/// One reading of a slip.
#[derive(Serialize)]
struct SuspectOut<'a> {
    specimen: &'a str,
    dimension: &'a str,
    text: &'a str,
    value: f64,
    proposed: Option<f64>,
}

impl<'a> ScreenOut<'a> {
    pub(super) fn new(
        screening: &'a Screening,
        provenance: &'a Provenance,
        table: &'a Table,
        alpha: f64,
    ) -> ScreenOut<'a> {
        ScreenOut {
            provenance,
            alpha,
            judged: screening.judged,
            without_fellows: screening.without_fellows,
            tail_df: screening.tail_df,
            findings: (screening.findings.iter())
                .map(|f| FindingOut::new(f, table))
                .collect(),
        }
    }
}

impl<'a> FindingOut<'a> {
    fn new(finding: &'a Finding, table: &'a Table) -> FindingOut<'a> {
        FindingOut {
            row: ScreenRow::new(finding, table, |list| list),
            readings: (finding.suspects.iter())
                .map(|s| SuspectOut {
                    specimen: table.specimens.names.get(s.row),
                    dimension: &table.catalogue.at(s.dimension).key,
                    text: &s.text,
                    value: s.value,
                    proposed: s.proposed,
                })
                .collect(),
        }
    }
}
