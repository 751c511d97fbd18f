//! All patterns of a maker together.

use std::collections::BTreeMap;

use super::Asked;
use super::against::Against;
use super::sets::{SetComparison, adjust_all};
use crate::catalogue::{Kind, fold};
use crate::cohort::Cohort;
use crate::norm::Settings;
use crate::stats::{Effect, combined_p, pooled};

/// One period against the good ones in one dimension, all patterns of a maker together.
#[derive(Clone, Debug, PartialEq)]
pub struct PooledAgainst {
    /// The maker, as first written; may be empty.
    pub maker: String,
    /// Position of the column in the table.
    pub column: usize,
    /// On which scale it is judged.
    pub kind: Kind,
    /// The period ratio that it was worked out with.
    pub lambda: f64,
    /// Label of the period in the cohort.
    pub period: u32,
    /// Whether it is a good one, and is compared with the others.
    pub good: bool,
    /// Pieces of the period.
    pub n: usize,
    /// Patterns that tell the shift.
    pub patterns: usize,
    /// The shift in spreads.
    pub effect: Option<PooledEffect>,
    /// Its p, adjusted for the maker's other dimensions (Holm).
    pub effect_adjusted: Option<f64>,
    /// The shift on the scale of judgement: for a ratio the logarithm of the ratio of the centres.
    pub shift: Option<PooledEffect>,
    /// Patterns that tell the ratio of spreads.
    pub spread_patterns: usize,
    /// The ratio of the spreads, its logarithm's mean taken back.
    pub spread_ratio: Option<PooledEffect>,
    /// Its p, adjusted likewise.
    pub spread_adjusted: Option<f64>,
}

/// A mean over patterns.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PooledEffect {
    /// The mean; of one pattern its own.
    pub value: f64,
    /// Its interval, with the settings' confidence.
    pub interval: (f64, f64),
    /// Standard deviation between patterns; `None` of one pattern.
    pub between: Option<f64>,
    /// Degrees of freedom of the interval.
    pub df: f64,
    /// Two-sided probability where there is none in any pattern.
    pub p: f64,
    /// The same of the mean alone, where patterns differ as they are seen to.
    pub p_of_mean: f64,
}

/// Whether the good periods agree in one dimension, all patterns of a maker together.
#[derive(Clone, Debug, PartialEq)]
pub struct PooledAgreement {
    /// The maker, as first written; may be empty.
    pub maker: String,
    /// Position of the column in the table.
    pub column: usize,
    /// On which scale it is judged.
    pub kind: Kind,
    /// Patterns that tell.
    pub patterns: usize,
    /// The usual distance between the least and the greatest centre of a pattern's good periods, on
    /// the scale of judgement: the median over patterns.
    pub distance: f64,
    /// p of no difference beyond the pieces' scatter.
    pub differ: Option<f64>,
    /// The same, adjusted for the maker's other dimensions (Holm).
    pub differ_adjusted: Option<f64>,
    /// p of no difference beyond what is usual between good periods.
    pub unusual: Option<f64>,
    /// The same, adjusted likewise.
    pub unusual_adjusted: Option<f64>,
}

/// A pattern's say on one period.
type Member<'s> = (&'s SetComparison, &'s Against);

/// The sets of each maker, by the maker's first spelling, in order of appearance.
fn by_maker<'s>(
    sets: &'s [SetComparison],
    cohort: &Cohort<'_>,
) -> Vec<(String, Vec<&'s SetComparison>)> {
    let mut makers: Vec<(String, Vec<&SetComparison>)> = Vec::new();
    let mut numbers: BTreeMap<String, usize> = BTreeMap::new();
    for set in sets {
        let maker = &cohort.groups()[set.group].maker;
        let number = *numbers.entry(fold(maker)).or_insert_with(|| {
            makers.push((maker.clone(), Vec::new()));
            makers.len() - 1
        });
        makers[number].1.push(set);
    }
    makers
}

/// Period by period, dimension by dimension.
pub(super) fn against(sets: &[SetComparison], asked: &Asked<'_>) -> Vec<PooledAgainst> {
    let (cohort, settings) = (asked.every, asked.settings);
    let mut all = Vec::new();
    for (maker, sets) in by_maker(sets, cohort) {
        let mut cells: BTreeMap<(usize, usize, usize), Vec<Member<'_>>> = BTreeMap::new();
        for set in sets {
            let dimension = cohort.table().columns[set.column].dimension;
            for against in &set.against {
                let place = asked.order[against.period as usize];
                let key = (place, dimension, set.column);
                cells.entry(key).or_default().push((set, against));
            }
        }
        let cells: Vec<_> = cells.into_iter().collect();
        let mut of_maker: Vec<PooledAgainst> = crate::parallel::map(cells.len(), |at| {
            let ((_, _, column), members) = &cells[at];
            pool(&maker, *column, members, settings)
        });
        let mut periods: Vec<u32> = of_maker.iter().map(|p| p.period).collect();
        periods.dedup();
        for period in periods {
            let of = of_maker.iter_mut().filter(|p| p.period == period);
            adjust_all(
                of.filter_map(|p| Some((p.effect?.p, &mut p.effect_adjusted)))
                    .collect(),
            );
            let of = of_maker.iter_mut().filter(|p| p.period == period);
            adjust_all(
                of.filter_map(|p| Some((p.spread_ratio?.p, &mut p.spread_adjusted)))
                    .collect(),
            );
        }
        all.append(&mut of_maker);
    }
    all
}

fn pool(maker: &str, column: usize, members: &[Member<'_>], settings: &Settings) -> PooledAgainst {
    let confidence = settings.confidence();
    let departures = || members.iter().filter_map(|(_, a)| a.departure);
    let ratios = || members.iter().filter_map(|(_, a)| a.spread_ratio);
    let (effect, shift) = match departures().collect::<Vec<_>>().as_slice() {
        [] => (None, None),
        // One pattern: its own t.
        [own] => {
            let (low, high) = own.interval(confidence);
            let of = |by: f64| PooledEffect {
                value: own.shift / by,
                interval: (low / by, high / by),
                between: None,
                df: own.df,
                p: own.p,
                p_of_mean: own.p,
            };
            (Some(of(own.spread)), Some(of(1.0)))
        }
        _ => {
            let in_spreads: Vec<Effect> = departures().map(|d| d.in_spreads()).collect();
            let ln: Vec<f64> = departures().map(|d| d.spread.ln()).collect();
            let usual = (ln.iter().sum::<f64>() / ln.len() as f64).exp();
            let on_scale: Vec<Effect> = departures().map(|d| d.on_scale(usual)).collect();
            (mean(&in_spreads, confidence), mean(&on_scale, confidence))
        }
    };
    let spread_ratio = match ratios().collect::<Vec<_>>().as_slice() {
        [] => None,
        [own] => Some(PooledEffect {
            value: own.ratio(),
            interval: own.interval(confidence),
            between: None,
            df: own.test.df2,
            p: own.test.p,
            p_of_mean: own.test.p,
        }),
        _ => {
            let logs: Vec<Effect> = ratios().map(|r| Effect::of_ratio(&r.test)).collect();
            mean(&logs, confidence).map(|log| PooledEffect {
                value: log.value.exp(),
                interval: (log.interval.0.exp(), log.interval.1.exp()),
                ..log
            })
        }
    };
    let (set, first) = members[0];
    PooledAgainst {
        maker: maker.to_owned(),
        column,
        kind: set.kind,
        lambda: set.prior.lambda,
        period: first.period,
        good: first.good,
        n: members.iter().map(|(_, a)| a.n).sum(),
        patterns: departures().count(),
        effect,
        effect_adjusted: None,
        shift,
        spread_patterns: ratios().count(),
        spread_ratio,
        spread_adjusted: None,
    }
}

/// The mean of several patterns' effects; `None` where numbers leave the range of an `f64`.
fn mean(effects: &[Effect], confidence: f64) -> Option<PooledEffect> {
    let pooled = pooled(effects).ok()?;
    Some(PooledEffect {
        value: pooled.mean,
        interval: pooled.interval(confidence),
        between: Some(pooled.between.sqrt()),
        df: pooled.df,
        p: pooled.p,
        p_of_mean: pooled.p_of_mean,
    })
}

/// Dimension by dimension.
pub(super) fn agreement(sets: &[SetComparison], cohort: &Cohort<'_>) -> Vec<PooledAgreement> {
    let mut all = Vec::new();
    for (maker, sets) in by_maker(sets, cohort) {
        let mut cells: BTreeMap<(usize, usize), Vec<&SetComparison>> = BTreeMap::new();
        for set in sets.into_iter().filter(|s| s.agreement.is_some()) {
            let dimension = cohort.table().columns[set.column].dimension;
            cells.entry((dimension, set.column)).or_default().push(set);
        }
        let mut of_maker: Vec<PooledAgreement> = cells
            .into_iter()
            .map(|((_, column), sets)| {
                let agreements = || sets.iter().filter_map(|s| s.agreement.as_ref());
                let differ: Vec<f64> = agreements().filter_map(|a| Some(a.differ?.p)).collect();
                let unusual: Vec<f64> = agreements().filter_map(|a| Some(a.unusual?.p)).collect();
                let distances: Vec<f64> = agreements().map(|a| a.centres.1 - a.centres.0).collect();
                PooledAgreement {
                    maker: maker.clone(),
                    column,
                    kind: sets[0].kind,
                    patterns: differ.len(),
                    distance: crate::stats::median(&distances).unwrap_or(0.0),
                    differ: combined_p(&differ),
                    differ_adjusted: None,
                    unusual: combined_p(&unusual),
                    unusual_adjusted: None,
                }
            })
            .collect();
        adjust_all(
            of_maker
                .iter_mut()
                .filter_map(|a| Some((a.differ?, &mut a.differ_adjusted)))
                .collect(),
        );
        adjust_all(
            of_maker
                .iter_mut()
                .filter_map(|a| Some((a.unusual?, &mut a.unusual_adjusted)))
                .collect(),
        );
        all.append(&mut of_maker);
    }
    all
}
