//! What leaves the program as JSON: the names that scripts rely on.

use calibriar::catalogue::Catalogue;
use calibriar::cohort::Cohort;
use calibriar::measurers::{ReadingErrors, Study};
use calibriar::norm::{Norm, SetAside, Settings};
use calibriar::periods::{Dating, DimensionSays, NOTE, Under};
use calibriar::report::{
    AgainstRow, AgreementRow, BecauseRow, BiasRow, DimensionRow, FlagRow, FormRow, LeftOutRow,
    MovedRow, NormRow, PeriodRow, PieceRow, PooledAgreementRow, PooledRow, RateRow, ScreenRow,
    ShiftRow, StudyRow, TurnedRow,
};
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

/// The whole answer of `norms --since`.
#[derive(Serialize)]
pub(super) struct MovedOut<'a> {
    /// Of the later revision.
    pub(super) provenance: &'a Provenance,
    /// Of the earlier one.
    pub(super) since: &'a Provenance,
    pub(super) moved: Vec<MovedRow<'a, Vec<BecauseRow<'a>>>>,
    pub(super) turned: Vec<TurnedRow<'a>>,
}

/// The whole answer of `norms --leave-out`.
#[derive(Serialize)]
pub(super) struct LeftOutOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) whose: &'static str,
    /// What was left out at a time.
    pub(super) parts: Vec<PartOut<'a>>,
    pub(super) left_out: Vec<LeftOutRow<'a, Vec<String>>>,
}

/// What was left out at a time.
#[derive(Serialize)]
pub(super) struct PartOut<'a> {
    pub(super) name: &'a str,
    pub(super) readings: usize,
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
    outlines_not_compared: &'a [String],
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
            outlines_not_compared: &check.outlines_not_compared,
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

/// The whole answer of `measurers`.
#[derive(Serialize)]
pub(super) struct MeasurersOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) dimensions: Vec<StudyOut<'a>>,
    pub(super) biases: Vec<BiasRow<'a>>,
}

/// One dimension, or all of a unit.
#[derive(Serialize)]
pub(super) struct StudyOut<'a> {
    #[serde(flatten)]
    row: StudyRow<'a>,
    set_aside_pieces: Vec<SetAsideRepeatsOut<'a>>,
    not_comparable: &'a [String],
}

/// A piece whose readings differ far more than those of others.
#[derive(Serialize)]
struct SetAsideRepeatsOut<'a> {
    specimen: &'a str,
    values: &'a [f64],
}

impl<'a> StudyOut<'a> {
    pub(super) fn new(
        study: &'a Study,
        errors: &ReadingErrors,
        catalogue: &'a Catalogue,
        confidence: f64,
    ) -> StudyOut<'a> {
        let aside = study.set_aside.iter();
        StudyOut {
            row: StudyRow::new(study, errors, catalogue, confidence),
            set_aside_pieces: aside
                .map(|aside| SetAsideRepeatsOut {
                    specimen: &aside.specimen,
                    values: &aside.values,
                })
                .collect(),
            not_comparable: &study.apart,
        }
    }
}

/// The whole answer of `flag`.
#[derive(Serialize)]
pub(super) struct FlagsOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) flags: Vec<FlagRow<'a>>,
}

/// The whole answer of `periods`.
#[derive(Serialize)]
pub(super) struct PeriodsOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) alpha: f64,
    pub(super) periods: Vec<PeriodRow<'a>>,
    pub(super) agreement: Vec<AgreementRow<'a, Vec<String>>>,
    pub(super) against_good: Vec<AgainstRow<'a>>,
    pub(super) pooled: Vec<PooledRow<'a>>,
    pub(super) pooled_agreement: Vec<PooledAgreementRow<'a>>,
    pub(super) shift_years: Vec<ShiftRow<'a>>,
}

/// The whole answer of `date`.
#[derive(Serialize)]
pub(super) struct DatingsOut<'a> {
    provenance: &'a Provenance,
    note: &'static str,
    datings: Vec<DatingOut<'a>>,
}

impl<'a> DatingsOut<'a> {
    pub(super) fn new(
        provenance: &'a Provenance,
        datings: &'a [Dating],
        catalogue: &'a Catalogue,
    ) -> DatingsOut<'a> {
        let all = datings.iter();
        DatingsOut {
            provenance,
            note: NOTE,
            datings: all.map(|d| DatingOut::new(d, catalogue)).collect(),
        }
    }
}

/// One piece and its periods.
#[derive(Serialize)]
struct DatingOut<'a> {
    specimen: &'a str,
    maker: Option<&'a str>,
    pattern: Option<&'a str>,
    answer: &'a str,
    why: Option<String>,
    recorded: Option<&'a str>,
    periods: Vec<PeriodOut<'a>>,
    dimensions: Vec<DimensionSaysOut<'a>>,
    left_out: Vec<NotHeardOut<'a>>,
    n_set_aside: usize,
}

/// How the piece stands to one period.
#[derive(Serialize)]
struct PeriodOut<'a> {
    period: &'a str,
    period_from: Option<i16>,
    period_to: Option<i16>,
    standing: Option<&'static str>,
    n: usize,
    prior: f64,
    posterior: f64,
    log_likelihood: f64,
    /// The part of it that all dimensions say together.
    log_likelihood_together: f64,
    fits_p: f64,
    typical_posterior: Option<f64>,
}

/// What one dimension says.
#[derive(Serialize)]
struct DimensionSaysOut<'a> {
    dimension: &'a str,
    unit: &'a str,
    value: f64,
    uncertainty: f64,
    state: &'static str,
    /// Log odds of the likeliest period against the next.
    log_odds: f64,
    periods: Vec<UnderOut<'a>>,
}

/// How a reading stands to one period.
#[derive(Serialize)]
struct UnderOut<'a> {
    period: &'a str,
    centre: f64,
    score: f64,
    p: f64,
    log_likelihood: f64,
}

/// A reading that did not speak.
#[derive(Serialize)]
struct NotHeardOut<'a> {
    dimension: &'a str,
    why: String,
}

impl<'a> DatingOut<'a> {
    fn new(dating: &'a Dating, catalogue: &'a Catalogue) -> DatingOut<'a> {
        let named = |name: &'a str| Some(name).filter(|n| !n.is_empty());
        let periods = dating.candidates.iter().zip(&dating.together);
        let periods = periods.map(|(c, &together)| PeriodOut {
            period: &c.name,
            period_from: c.years.map(|y| y.from),
            period_to: c.years.map(|y| y.to),
            standing: c.standing.map(|s| s.name()),
            n: c.references,
            prior: c.prior,
            posterior: c.posterior,
            log_likelihood: c.ln_likelihood,
            log_likelihood_together: together,
            fits_p: c.fits_p,
            typical_posterior: c.typical,
        });
        let ranking = dating.ranking();
        let under = |(at, under): (usize, &Under)| UnderOut {
            period: &dating.candidates[at].name,
            centre: under.centre,
            score: under.score,
            p: under.p,
            log_likelihood: under.ln_likelihood,
        };
        let dimension = |of: &'a DimensionSays| DimensionSaysOut {
            dimension: &catalogue.at(of.dimension).key,
            unit: &catalogue.at(of.dimension).unit,
            value: of.value,
            uncertainty: of.uncertainty,
            state: of.state.name(),
            log_odds: match ranking.as_slice() {
                [first, second, ..] => of.ln_odds(*first, *second),
                _ => 0.0,
            },
            periods: of.under.iter().enumerate().map(under).collect(),
        };
        DatingOut {
            specimen: &dating.specimen,
            maker: named(&dating.maker),
            pattern: named(&dating.pattern),
            answer: dating.answer_name(),
            why: dating.why(),
            recorded: dating.recorded.as_deref(),
            periods: periods.collect(),
            dimensions: dating.dimensions.iter().map(dimension).collect(),
            left_out: dating
                .left_out
                .iter()
                .map(|of| NotHeardOut {
                    dimension: &catalogue.at(of.dimension).key,
                    why: of.why.to_string(),
                })
                .collect(),
            n_set_aside: dating.set_aside,
        }
    }
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
