//! Rows of periods compared.

use super::{limit, named};
use crate::catalogue::Kind;
use crate::cohort::{Cohort, from_scale};
use crate::norm::{Settings, deviation_in_unit};
use crate::periods::comparison::{Against, PooledAgainst, PooledAgreement, SetComparison};

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
    /// Degrees of freedom of the interval; nothing where patterns are not seen to differ.
    df: Option<f64>,
    /// p of no shift in any pattern.
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
