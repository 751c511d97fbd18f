//! One dimension of one pattern, period by period.

use super::Asked;
use super::against::{self, Against};
use crate::catalogue::Kind;
use crate::cohort::{Reference, from_scale};
use crate::norm::Beforehand;
use crate::stats::{
    Agreement, FTest, KruskalWallis, Prior, Rated, agreement, brown_forsythe_spread, holm,
    kruskal_wallis, two_level, welch_anova,
};

/// The periods of one dimension of one pattern.
#[derive(Clone, Debug, PartialEq)]
pub struct SetComparison {
    /// Number of the pattern in its cohort.
    pub group: usize,
    /// Position of the column in the table.
    pub column: usize,
    /// On which scale it is judged.
    pub kind: Kind,
    /// What is known beforehand: the spread that other patterns lend, the period ratio.
    pub prior: Prior,
    /// Each period with a reading, by label.
    pub periods: Vec<PeriodSummary>,
    /// Whether the good ones agree; `None` where fewer than two have readings.
    pub agreement: Option<SetAgreement>,
    /// Each period against the good ones, a good one against the other good ones; none where there
    /// is no other to compare with.
    pub against: Vec<Against>,
}

/// The pieces of one period.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PeriodSummary {
    /// Its label in the cohort.
    pub period: u32,
    /// Whether it is one of the good ones.
    pub good: bool,
    /// Readings.
    pub n: usize,
    /// Their centre in the unit; the geometric centre of a ratio.
    pub centre: f64,
    /// Their spread, relative for a ratio; `None` of one reading.
    pub spread: Option<f64>,
}

/// Whether the good periods agree.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SetAgreement {
    /// Good periods with readings.
    pub periods: usize,
    /// Their readings.
    pub n: usize,
    /// Least and greatest centre, on the scale of judgement.
    pub centres: (f64, f64),
    /// Whether they differ by more than their pieces' scatter, by a spread that is partly borrowed.
    pub differ: Option<FTest>,
    /// Its p, adjusted for the pattern's other dimensions (Holm).
    pub differ_adjusted: Option<f64>,
    /// Whether they differ by more than is usual between good periods as well.
    pub unusual: Option<FTest>,
    /// Its p, adjusted likewise.
    pub unusual_adjusted: Option<f64>,
    /// What that was told by.
    pub beside_usual: Option<Agreement>,
    /// Welch's analysis of variance.
    pub welch: Option<FTest>,
    /// Kruskal and Wallis's test of ranks.
    pub ranks: Option<KruskalWallis>,
    /// Brown and Forsythe's test of spreads.
    pub spreads: Option<FTest>,
}

/// All dimensions of one pattern.
pub(super) fn of_pattern(asked: &Asked<'_>, group: usize, columns: &[usize]) -> Vec<SetComparison> {
    let known = Beforehand::new(asked.evidence, group, &[]);
    let mut sets: Vec<SetComparison> = columns
        .iter()
        .filter_map(|&column| of_dimension(asked, group, column, known.prior(column)))
        .collect();
    adjust(&mut sets);
    sets
}

fn of_dimension(
    asked: &Asked<'_>,
    group: usize,
    column: usize,
    prior: Prior,
) -> Option<SetComparison> {
    let (every, good) = (asked.every, asked.evidence.cohort());
    let table = every.table();
    let of = &table.columns[column];
    let kind = table.dimension(of).kind;
    let rows = every.reference_rows(group).iter();
    let mut readings: Vec<Reference> = rows
        .filter_map(|&row| every.reference(of, kind, row as usize))
        .collect();
    if readings.is_empty() {
        return None;
    }
    // By period, those of the good ones first.
    let is_good = |label: u32| good.periods()[label as usize].chosen;
    readings.sort_by_key(|r| r.rated().period.map(|label| (!is_good(label), label)));
    let runs: Vec<Run<'_>> = readings
        .chunk_by(|a, b| a.rated().period == b.rated().period)
        .filter_map(|run| {
            let period = run[0].rated().period?;
            let (good, readings) = (is_good(period), run);
            Some(Run {
                period,
                good,
                readings,
            })
        })
        .collect();
    let of_good: usize = runs
        .iter()
        .filter(|r| r.good)
        .map(|r| r.readings.len())
        .sum();
    let agreement = agree(&runs, &readings[..of_good], &prior);
    let against = against::all(&runs, &readings[..of_good], &prior, asked);
    let mut periods: Vec<PeriodSummary> = runs.iter().map(|r| r.summary(kind, &prior)).collect();
    periods.sort_by_key(|p| asked.order[p.period as usize]);
    Some(SetComparison {
        group,
        column,
        kind,
        prior,
        periods,
        agreement,
        against,
    })
}

/// The readings of one period.
pub(super) struct Run<'r> {
    pub(super) period: u32,
    pub(super) good: bool,
    pub(super) readings: &'r [Reference],
}

impl Run<'_> {
    fn summary(&self, kind: Kind, prior: &Prior) -> PeriodSummary {
        let sums = two_level(self.readings, 0.0, prior.variance);
        let n = self.readings.len();
        let (centre, within) = sums.map_or((self.readings[0].rated().x, 0.0), |s| (s.mu, s.within));
        PeriodSummary {
            period: self.period,
            good: self.good,
            n,
            centre: from_scale(kind, centre),
            spread: (n > 1).then(|| (within / (n - 1) as f64).sqrt()),
        }
    }
}

/// The plain values of some readings.
pub(super) fn values(readings: &[Reference]) -> Vec<f64> {
    readings.iter().map(|r| r.rated().x).collect()
}

fn agree(runs: &[Run<'_>], readings: &[Reference], prior: &Prior) -> Option<SetAgreement> {
    let good: Vec<Vec<f64>> = runs
        .iter()
        .filter(|r| r.good)
        .map(|r| values(r.readings))
        .collect();
    if good.len() < 2 {
        return None;
    }
    let groups: Vec<&[f64]> = good.iter().map(Vec::as_slice).collect();
    let rated: Vec<Rated> = readings.iter().map(|r| r.rated()).collect();
    let centres = two_level(&rated, 0.0, prior.variance)?;
    let means = || centres.periods.iter().map(|p| p.mean);
    let test = |lambda: f64| agreement(&rated, prior, lambda);
    let unusual = test(prior.lambda);
    Some(SetAgreement {
        periods: good.len(),
        n: readings.len(),
        centres: (
            means().fold(f64::INFINITY, f64::min),
            means().fold(f64::NEG_INFINITY, f64::max),
        ),
        differ: test(0.0).map(|a| a.test),
        differ_adjusted: None,
        unusual: unusual.map(|a| a.test),
        unusual_adjusted: None,
        beside_usual: unusual,
        welch: welch_anova(&groups).ok(),
        ranks: kruskal_wallis(&groups).ok(),
        spreads: brown_forsythe_spread(&groups).ok(),
    })
}

/// Adjusts the p of some tests, each a place to write the adjusted one to, for each other.
pub(super) fn adjust_all(tests: Vec<(f64, &mut Option<f64>)>) {
    let p: Vec<f64> = tests.iter().map(|t| t.0).collect();
    for (adjusted, (_, place)) in holm(&p).into_iter().zip(tests) {
        *place = Some(adjusted);
    }
}

/// Holm over the dimensions of the pattern: of the agreement, and of each period's shifts and spreads.
fn adjust(sets: &mut [SetComparison]) {
    let differ = sets.iter_mut().filter_map(|s| s.agreement.as_mut());
    adjust_all(
        differ
            .filter_map(|a| Some((a.differ?.p, &mut a.differ_adjusted)))
            .collect(),
    );
    let unusual = sets.iter_mut().filter_map(|s| s.agreement.as_mut());
    adjust_all(
        unusual
            .filter_map(|a| Some((a.unusual?.p, &mut a.unusual_adjusted)))
            .collect(),
    );
    let mut periods: Vec<u32> = sets
        .iter()
        .flat_map(|s| s.against.iter().map(|a| a.period))
        .collect();
    periods.sort_unstable();
    periods.dedup();
    for period in periods {
        let shifts = sets.iter_mut().flat_map(|s| s.against.iter_mut());
        adjust_all(
            shifts
                .filter(|a| a.period == period)
                .filter_map(|a| Some((a.departure?.p, &mut a.shift_adjusted)))
                .collect(),
        );
        let spreads = sets.iter_mut().flat_map(|s| s.against.iter_mut());
        adjust_all(
            spreads
                .filter(|a| a.period == period)
                .filter_map(|a| Some((a.spread_ratio?.test.p, &mut a.spread_adjusted)))
                .collect(),
        );
    }
}
