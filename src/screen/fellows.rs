//! What the other pieces of a pattern say of a reading, whatever strays among them.
//!
//! Centres are medians and spreads median absolute deviations: nearly half of the readings may be
//! slips before these follow them, so that strays cannot hide each other. A median of a few pieces
//! with the reading itself among them draws a little towards it; that can only make a slip look
//! milder, never a good reading look wrong.

use std::collections::HashMap;

use super::reading::{NO_PERIOD, Reading, Readings};
use crate::catalogue::{Kind, State};
use crate::cohort::Cohort;
use crate::stats::{
    BorrowedSpread, SetVariance, TailWeight, borrowed_spread, normal_upper_quantile, t_sf,
    t_two_sided, tail_weight,
};
use crate::{parallel, sorting};

/// A pattern's own spread is told by so many readings at least.
const OWN: usize = 6;
/// A period's own centre is told by so many readings at least.
const OF_PERIOD: usize = 3;
/// So many scores about periods' centres say how often good readings stray; with fewer, those about
/// patterns' centres are taken as well, in which different periods look like strays.
const TELLING: usize = 200;
/// Under so many pieces a pattern says nothing by itself: of two that disagree either may be wrong.
const FEW: usize = 3;
/// So many patterns at least say how far patterns lie apart.
const PATTERNS: usize = 5;
/// Degrees of freedom of a borrowed spread as long as none is fitted (our decision).
const BORROWED: f64 = 4.0;
/// Readings further than so many spreads from their median say nothing of how spreads differ (our
/// decision): a slip would make the spread of its own pattern large, and that of all uncertain.
const TRIMMED: f64 = 4.0;
/// So many degrees of freedom within periods teach a maker's spreads; with fewer, periods are not told
/// apart.
const WITHIN: f64 = 12.0;
/// A maker's own patterns teach from so many on; with fewer, those of all makers do.
const LENDERS: usize = 3;
/// The fit is made anew without each pattern where they are so few.
const LEFT_OUT: usize = 12;
/// Efficiency of the median absolute deviation at the normal law: Rousseeuw and Croux (1993), Journal
/// of the American Statistical Association 88, 1273-1283 (from memory).
const EFFICIENCY: f64 = 0.37;
/// What makes a median absolute deviation a standard deviation: 1 / the normal law's upper quartile.
const TO_SD: f64 = 1.482_602_218_505_602;
/// The variance of a median over that of a mean, for large normal samples.
const OF_MEDIAN: f64 = std::f64::consts::FRAC_PI_2;
/// No size is told to be held better than to this share (our decision): readings of different people
/// differ by more.
const LEAST_SPREAD: f64 = 0.002;
/// How far periods may lie apart, in standard deviations, where nothing in the source says it.
const PERIODS_APART: f64 = 4.0;
/// Standard deviation of what wear and work take from or add to a size, as a share (our decision).
const WEAR: f64 = 0.2;

/// What a reading is expected to be: a scaled t law.
#[derive(Clone, Copy, Debug)]
pub(super) struct Law {
    pub(super) centre: f64,
    pub(super) scale: f64,
    pub(super) df: f64,
    /// Whether it is the pattern's own, not one of the maker's other patterns.
    pub(super) own: bool,
}

impl Law {
    pub(super) fn t(&self, x: f64) -> f64 {
        (x - self.centre) / self.scale
    }

    /// How much lower than at its centre the logarithm of its density is.
    pub(super) fn deficit(&self, x: f64) -> f64 {
        let t = self.t(x);
        0.5 * (self.df + 1.0) * (t * t / self.df).ln_1p()
    }

    /// Two-sided probability of a reading as far from the centre.
    pub(super) fn p(&self, x: f64) -> f64 {
        t_two_sided(self.t(x), self.df).max(f64::MIN_POSITIVE)
    }

    /// The density; that of the normal law at the centre, which is at most 1.6 times a t's.
    pub(super) fn density(&self, x: f64) -> f64 {
        (-self.deficit(x)).exp() / (self.scale * std::f64::consts::TAU.sqrt())
    }
}

/// One pattern's readings of one dimension.
#[derive(Clone, Debug, Default)]
struct Set {
    n: usize,
    centre: f64,
    /// Label, centre and number of the periods that have some readings.
    periods: Vec<(u32, f64, usize)>,
    /// Spread by its own readings, and their degrees of freedom.
    own: Option<(f64, f64)>,
    /// Its median absolute deviation as a standard deviation, nothing added for rounding.
    bare: f64,
    /// Deviations that say how often good readings stray.
    residuals: Vec<f64>,
    /// Whether these are from periods' centres, not from the pattern's.
    of_periods: bool,
    /// Differences of neighbours, each over the root of two, of a set too small for a spread.
    differences: Vec<f64>,
    /// Half of the step that the readings were written to.
    half_step: f64,
    /// All readings, period by period, and each period's label and number.
    values: Vec<f64>,
    runs: Vec<(u32, usize)>,
    /// What it is judged by in the end.
    spread: Option<(f64, f64)>,
}

/// The fellows of every reading.
#[derive(Debug)]
pub(super) struct Fellows {
    sets: Vec<Set>,
    /// For each slot and maker: centre, squared spread and number of the patterns' centres.
    across: HashMap<(usize, u32), (f64, f64, usize)>,
    maker_of: Vec<u32>,
    groups: usize,
    apart: Apart,
    tail: TailWeight,
    ratio: Vec<bool>,
}

impl Fellows {
    /// `out`: readings that say nothing of what is usual.
    pub(super) fn fit(cohort: &Cohort<'_>, readings: &Readings<'_>, out: &[bool]) -> Fellows {
        let catalogue = &cohort.table().catalogue;
        let ratio: Vec<bool> = (readings.slots.iter())
            .map(|&d| catalogue.at(d as usize).kind == Kind::Ratio)
            .collect();
        let speaks = |i: u32| {
            let r = &readings.all[i as usize];
            r.state == State::Factory && r.credible && !out[i as usize]
        };
        let speaking: Vec<u32> = (0..readings.all.len() as u32)
            .filter(|&i| speaks(i))
            .collect();
        let set_of = |i: u32| readings.all[i as usize].set as usize;
        let order = sorting::by_key(&speaking, readings.sets.max(1), set_of);
        let mut starts = vec![0; readings.sets + 1];
        for &i in &order {
            starts[set_of(i) + 1] += 1;
        }
        for s in 0..readings.sets {
            starts[s + 1] += starts[s];
        }
        let mut sets = parallel::map(readings.sets, |s| {
            Set::of(readings, &order[starts[s]..starts[s + 1]])
        });
        let groups = readings.groups.max(1);
        let maker_of = makers(cohort);
        lend(&mut sets, &maker_of, groups, &ratio);
        moderate(&mut sets, &maker_of, groups, &ratio);
        let apart = Apart::of(&sets, groups, readings);
        let mut telling = scores(&sets, false);
        if telling.len() < TELLING {
            telling = scores(&sets, true);
        }
        let tail = tail_weight(&telling);
        let across = across(&sets, &maker_of, groups);
        Fellows {
            sets,
            across,
            maker_of,
            groups,
            apart,
            tail,
            ratio,
        }
    }

    pub(super) fn tail(&self) -> TailWeight {
        self.tail
    }

    /// The law of a reading by its fellows; none where too few speak.
    pub(super) fn law(&self, reading: &Reading) -> Option<Law> {
        self.law_of(reading.set as usize, reading)
    }

    /// The law of a reading of the same piece by the fellows of another set.
    pub(super) fn law_of(&self, set: usize, reading: &Reading) -> Option<Law> {
        let (slot, group) = (set / self.groups, set % self.groups);
        let (u2, worn) = (reading.u * reading.u, reading.state != State::Factory);
        let wear = match worn {
            true if !self.ratio[slot] => return None,
            true => WEAR * WEAR,
            false => 0.0,
        };
        let set = &self.sets[set];
        let (spread, df) = set.spread?;
        let s2 = spread * spread;
        let (centre, variance, df, own) = if set.n >= FEW {
            let period = (set.periods.iter())
                .find(|p| p.0 == reading.period && p.2 >= OF_PERIOD && p.0 != NO_PERIOD);
            let (centre, h) = match period {
                Some(&(_, centre, n)) => (centre, 1.0 + OF_MEDIAN / n as f64),
                None => (
                    set.centre,
                    1.0 + OF_MEDIAN / set.n as f64 + self.apart.squared(slot, reading.period),
                ),
            };
            (centre, s2 * h, df, true)
        } else {
            let &(centre, between, n) = self.across.get(&(slot, self.maker_of[group]))?;
            if n < PATTERNS {
                return None;
            }
            let h = 1.0 + self.apart.squared(slot, reading.period);
            (centre, between + s2 * h, EFFICIENCY * n as f64, false)
        };
        let scale = self.tail.scale.max(1.0) * (variance + u2 + wear).sqrt();
        let df = together(df, self.tail.df);
        (scale > 0.0 && scale.is_finite()).then_some(Law {
            centre,
            scale,
            df,
            own,
        })
    }

    /// The spread that two pieces of a set differ by at the least: where it had to be taken over
    /// periods that may lie apart, half of it (our decision).
    pub(super) fn least_spread(&self, set: usize) -> Option<f64> {
        let set = &self.sets[set];
        let share = if set.of_periods { 1.0 } else { 0.5 };
        Some(share * set.spread?.0)
    }

    /// A lower confidence limit of a set's spread, by its own readings alone, whose steps are `step`
    /// wide: rounding moves a median and each deviation by half a step at most. 0 where nothing is sure.
    pub(super) fn sure_spread(&self, set: usize, step: f64) -> f64 {
        /// One-sided, 99 % (our decision); of chi-square by Wilson and Hilferty (1931), Proceedings
        /// of the National Academy of Sciences 17, 684-688 (from memory).
        const Z: f64 = 2.326;
        let set = &self.sets[set];
        let Some((_, df)) = set.own.filter(|own| own.1 > 0.0) else {
            return 0.0;
        };
        let ninth = 2.0 / (9.0 * df);
        let chi_square = df * (1.0 - ninth + Z * ninth.sqrt()).powi(3);
        let least = set.bare - TO_SD * step.max(2.0 * set.half_step);
        (least * (df / chi_square).sqrt()).max(0.0)
    }

    /// The spread of a set within a period, where it is known.
    pub(super) fn spread(&self, set: usize) -> Option<f64> {
        Some(self.sets[set].spread?.0)
    }
}

/// Degrees of freedom of a reading of so many about a centre, over a spread that is known with so
/// many: those of the t law of the same kurtosis, where both have one; else one over the sum of the
/// reciprocals, which is always less.
fn together(a: f64, b: f64) -> f64 {
    const HAS_KURTOSIS: f64 = 4.5;
    if a < HAS_KURTOSIS || b < HAS_KURTOSIS {
        return 1.0 / (1.0 / a + 1.0 / b);
    }
    let kurtosis = (a - 2.0) / (a - 4.0) * (b - 2.0) / (b - 4.0);
    (4.0 * kurtosis - 2.0) / (kurtosis - 1.0)
}

/// The maker's number of each pattern.
fn makers(cohort: &Cohort<'_>) -> Vec<u32> {
    let mut numbers: HashMap<String, u32> = HashMap::new();
    let mut of = |name: &str| {
        let next = numbers.len() as u32;
        *numbers.entry(crate::catalogue::fold(name)).or_insert(next)
    };
    cohort.groups().iter().map(|g| of(&g.maker)).collect()
}

impl Set {
    fn of(readings: &Readings<'_>, members: &[u32]) -> Set {
        let n = members.len();
        if n == 0 {
            return Set::default();
        }
        let mut of_period: Vec<(u32, f64)> = members
            .iter()
            .map(|&i| {
                let r = &readings.all[i as usize];
                (r.period, r.x)
            })
            .collect();
        let mut steps: Vec<f64> = members
            .iter()
            .map(|&i| readings.all[i as usize].u)
            .collect();
        let half_step = 0.5 * 12f64.sqrt() * middle(&mut steps);
        // Stable: neighbours within a period stay those of the source.
        of_period.sort_by_key(|&(period, _)| period);
        let values: Vec<f64> = of_period.iter().map(|p| p.1).collect();
        let centre = middle(&mut values.clone());
        let mut runs = Vec::new();
        let (mut periods, mut residuals, mut differences) = (Vec::new(), Vec::new(), Vec::new());
        let (mut groups, mut used) = (0, 0);
        for run in of_period.chunk_by(|a, b| a.0 == b.0) {
            runs.push((run[0].0, run.len()));
            if n < OWN {
                let pairs = run.windows(2).map(|w| (w[0].1 - w[1].1).abs());
                differences.extend(pairs.map(|d| d / std::f64::consts::SQRT_2));
            }
            if run.len() >= OF_PERIOD && run[0].0 != NO_PERIOD {
                let mut own: Vec<f64> = run.iter().map(|r| r.1).collect();
                let centre = middle(&mut own);
                periods.push((run[0].0, centre, own.len()));
                groups += 1;
                used += own.len();
                residuals.extend(deviations(&own, centre));
            }
        }
        let of_periods = used >= OWN;
        if !of_periods {
            (groups, used) = (1, n);
            residuals = deviations(&values, centre);
        }
        let mut sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
        let away = middle(&mut sizes);
        let own = (n >= OWN).then(|| {
            let spread = TO_SD * (away + half_step);
            (spread, EFFICIENCY * (used - groups) as f64)
        });
        Set {
            n,
            centre,
            periods,
            own,
            bare: TO_SD * away,
            residuals,
            of_periods,
            differences,
            half_step,
            values,
            runs,
            spread: None,
        }
    }

    /// The variance of its readings without those that stray, within periods or over all of them.
    fn trimmed(&self, within: bool) -> Option<SetVariance> {
        let reach = TRIMMED * self.spread?.0;
        let (mut squares, mut df, mut from) = (0.0, 0.0, 0);
        let mut add = |values: &[f64]| {
            let centre = middle(&mut values.to_vec());
            let kept = || values.iter().filter(|x| (*x - centre).abs() <= reach);
            let n = kept().count() as f64;
            if n >= 2.0 {
                let mean = kept().sum::<f64>() / n;
                squares += kept().map(|x| (x - mean) * (x - mean)).sum::<f64>();
                df += n - 1.0;
            }
        };
        if !within {
            add(&self.values);
        } else {
            for &(period, n) in &self.runs {
                if period != NO_PERIOD && n >= 2 {
                    add(&self.values[from..from + n]);
                }
                from += n;
            }
        }
        (df > 0.0).then(|| SetVariance {
            s2: squares / df + self.half_step * self.half_step,
            df,
        })
    }
}

/// Deviations as scores of the normal law, the uncertainty of their spreads taken out: those about
/// periods' centres, or `all`. Of very many an even choice is enough.
fn scores(sets: &[Set], all: bool) -> Vec<f64> {
    const ENOUGH: usize = 20_000;
    let telling = |set: &&Set| (all || set.of_periods) && set.own.is_some();
    let count: usize = sets.iter().filter(telling).map(|s| s.residuals.len()).sum();
    let every = count.div_ceil(ENOUGH).max(1);
    let of_set = |set: &Set| {
        let spread = set.spread;
        let of = move |r: &f64| {
            let (spread, df) = spread?;
            let tail = t_sf((r / spread).abs(), df).max(f64::MIN_POSITIVE);
            Some(normal_upper_quantile(tail.min(0.5)))
        };
        set.residuals.iter().map(of).collect::<Vec<Option<f64>>>()
    };
    if every == 1 {
        return (sets.iter().filter(telling))
            .flat_map(of_set)
            .flatten()
            .collect();
    }
    let chosen = sets.iter().filter(telling).map(|set| Set {
        residuals: set.residuals.iter().step_by(every).copied().collect(),
        spread: set.spread,
        ..Set::default()
    });
    chosen.flat_map(|set| of_set(&set)).flatten().collect()
}

/// Deviations from a median. Of an odd number of readings one is the median itself and says nothing.
fn deviations(values: &[f64], centre: f64) -> Vec<f64> {
    let mut skip = values.len() % 2 == 1 && values.len() > 1;
    let mut of = |x: &f64| {
        let is_middle = skip && *x == centre;
        skip &= !is_middle;
        (!is_middle).then(|| x - centre)
    };
    values.iter().filter_map(&mut of).collect()
}

/// The median; values change their places.
fn middle(values: &mut [f64]) -> f64 {
    let n = values.len();
    if n == 0 {
        return 0.0;
    }
    let (below, &mut upper, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    if n % 2 == 1 {
        return upper;
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    0.5 * (lower + upper)
}

/// Gives each set the spread that it is judged by: its own, averaged with the median spread of the
/// maker's patterns (of all makers' where that maker has but one), each by its degrees of freedom.
fn lend(sets: &mut [Set], maker_of: &[u32], groups: usize, ratio: &[bool]) {
    for slot in 0..ratio.len() {
        let of_slot = &mut sets[slot * groups..(slot + 1) * groups];
        let mut lent: HashMap<Option<u32>, Vec<f64>> = HashMap::new();
        let mut differences = Vec::new();
        for (set, &maker) in of_slot.iter().zip(maker_of) {
            if let Some((spread, _)) = set.own {
                lent.entry(Some(maker)).or_default().push(spread);
                lent.entry(None).or_default().push(spread);
            }
            differences.extend_from_slice(&set.differences);
        }
        let pairs = differences.len();
        let of_pairs = TO_SD * middle(&mut differences);
        let usual: HashMap<Option<u32>, f64> = lent
            .into_iter()
            .filter(|(_, spreads)| spreads.len() >= 2)
            .map(|(maker, mut spreads)| (maker, middle(&mut spreads)))
            .collect();
        let least = if ratio[slot] { LEAST_SPREAD } else { 0.0 };
        for (set, &maker) in of_slot.iter_mut().zip(maker_of) {
            let borrowed = match usual.get(&Some(maker)).or_else(|| usual.get(&None)) {
                Some(&spread) => Some((spread, BORROWED)),
                None if pairs >= OWN && set.own.is_none() => Some((
                    of_pairs + TO_SD * set.half_step,
                    BORROWED.min(EFFICIENCY * pairs as f64),
                )),
                None => None,
            };
            set.spread = match (borrowed, set.own) {
                (None, None) => None,
                (Some(one), None) | (None, Some(one)) => Some(one),
                (Some((s0, d0)), Some((s, d))) => {
                    Some((((d0 * s0 * s0 + d * s * s) / (d0 + d)).sqrt(), d0 + d))
                }
            };
            set.spread = set
                .spread
                .map(|(s, df)| (s.max(least), df))
                .filter(|&(s, df)| s > 0.0 && s.is_finite() && df > 0.0);
        }
    }
}

/// Puts the moderated spread in the place of the first one (Smyth 2004, Stat. Appl. Genet. Mol. Biol. 3,
/// article 3): a pattern's own robust one and what the maker's other patterns lend, each by its
/// degrees of freedom; those of the loan are fitted over all dimensions of the maker together.
fn moderate(sets: &mut [Set], maker_of: &[u32], groups: usize, ratio: &[bool]) {
    let makers = maker_of.iter().map(|&m| m as usize + 1).max().unwrap_or(0);
    let mut patterns: Vec<Vec<usize>> = vec![Vec::new(); makers];
    for (group, &maker) in maker_of.iter().enumerate() {
        patterns[maker as usize].push(group);
    }
    let all: Vec<usize> = (0..maker_of.len()).collect();
    let of_all = patterns.iter().any(|p| p.len() < LENDERS);
    let mut lent: Vec<Option<BorrowedSpread>> = vec![None; sets.len()];
    if of_all {
        let to: Vec<usize> = (patterns.iter().filter(|p| p.len() < LENDERS))
            .flatten()
            .copied()
            .collect();
        borrow(sets, &all, &to, groups, &mut lent);
    }
    for own in patterns.iter().filter(|p| p.len() >= LENDERS) {
        borrow(sets, own, own, groups, &mut lent);
    }
    for (at, (set, lent)) in sets.iter_mut().zip(lent).enumerate() {
        let Some(lent) = lent.filter(|l| l.s2 > 0.0 && l.df > 0.0 && l.df.is_finite()) else {
            continue;
        };
        let (own, df) = set.own.unwrap_or((0.0, 0.0));
        let s2 = (lent.df * lent.s2 + df * own * own) / (lent.df + df);
        let least = if ratio[at / groups] {
            LEAST_SPREAD
        } else {
            0.0
        };
        if s2.is_finite() {
            set.spread = Some((s2.sqrt().max(least), lent.df + df));
        }
    }
}

/// What some patterns lend others, by set. A pattern does not lend to itself where they are few.
fn borrow(
    sets: &[Set],
    lenders: &[usize],
    to: &[usize],
    groups: usize,
    lent: &mut [Option<BorrowedSpread>],
) {
    let variances: Vec<Vec<Option<SetVariance>>> = parallel::map(sets.len() / groups, |slot| {
        let of = |within| -> Vec<Option<SetVariance>> {
            let one = |&group: &usize| sets[slot * groups + group].trimmed(within);
            lenders.iter().map(one).collect()
        };
        let within = of(true);
        match within.iter().flatten().map(|v| v.df).sum::<f64>() >= WITHIN {
            true => within,
            false => of(false),
        }
    });
    let fit = |without: Option<usize>| {
        let of_slot = |slot: &Vec<Option<SetVariance>>| {
            let others = lenders.iter().zip(slot);
            (others.filter(|&(&group, _)| Some(group) != without))
                .filter_map(|(_, variance)| *variance)
                .collect()
        };
        let dimensions: Vec<Vec<SetVariance>> = variances.iter().map(of_slot).collect();
        borrowed_spread(&dimensions).dimensions
    };
    let fits = match lenders.len() <= LEFT_OUT {
        true => parallel::map(to.len(), |i| fit(Some(to[i]))),
        false => vec![fit(None)],
    };
    for (i, &group) in to.iter().enumerate() {
        for (slot, spread) in fits[i.min(fits.len() - 1)].iter().enumerate() {
            lent[slot * groups + group] = *spread;
        }
    }
}

/// How far the centres of a slot's patterns lie apart, by maker.
fn across(
    sets: &[Set],
    maker_of: &[u32],
    groups: usize,
) -> HashMap<(usize, u32), (f64, f64, usize)> {
    let mut centres: HashMap<(usize, u32), Vec<f64>> = HashMap::new();
    for (at, set) in sets.iter().enumerate().filter(|(_, set)| set.n > 0) {
        let key = (at / groups, maker_of[at % groups]);
        centres.entry(key).or_default().push(set.centre);
    }
    let of = |mut centres: Vec<f64>| {
        let centre = middle(&mut centres);
        let mut away: Vec<f64> = centres.iter().map(|c| (c - centre).abs()).collect();
        let spread = TO_SD * middle(&mut away);
        (centre, spread * spread, centres.len())
    };
    centres.into_iter().map(|(k, c)| (k, of(c))).collect()
}

/// How far periods lie from their patterns' centres, squared, in units of the spread within a period.
#[derive(Debug, Default)]
struct Apart {
    of_both: HashMap<(usize, u32), (f64, usize)>,
    of_slot: HashMap<usize, (f64, usize)>,
    of_period: HashMap<u32, (f64, usize)>,
    /// The most of a slot, for pieces of no known period.
    most: HashMap<usize, f64>,
    /// Whether the source has any period.
    any: bool,
}

impl Apart {
    fn of(sets: &[Set], groups: usize, readings: &Readings<'_>) -> Apart {
        /// A period further off than this counts as this far.
        const FURTHEST: f64 = 10.0;
        let mut apart = Apart {
            any: readings.all.iter().any(|r| r.period != NO_PERIOD),
            ..Apart::default()
        };
        for (at, set) in sets.iter().enumerate().filter(|(_, s)| s.periods.len() > 1) {
            let Some((spread, _)) = set.spread else {
                continue;
            };
            for &(period, centre, _) in &set.periods {
                let away = ((centre - set.centre) / spread).abs().min(FURTHEST);
                let slot = at / groups;
                for entry in [
                    apart.of_both.entry((slot, period)).or_default(),
                    apart.of_slot.entry(slot).or_default(),
                    apart.of_period.entry(period).or_default(),
                ] {
                    entry.0 += away * away;
                    entry.1 += 1;
                }
            }
        }
        let keys: Vec<(usize, u32)> = apart.of_both.keys().copied().collect();
        for (slot, period) in keys {
            let squared = apart.squared(slot, period);
            let most = apart.most.entry(slot).or_default();
            *most = most.max(squared);
        }
        apart
    }

    /// For readings of a period of a slot.
    fn squared(&self, slot: usize, period: u32) -> f64 {
        const TELLS: usize = 3;
        if !self.any {
            return 0.0;
        }
        let mean = |of: Option<&(f64, usize)>| {
            of.filter(|&&(_, n)| n >= TELLS)
                .map(|&(sum, n)| sum / n as f64)
        };
        let unknown = PERIODS_APART * PERIODS_APART;
        if period == NO_PERIOD {
            return self.most.get(&slot).copied().unwrap_or(unknown);
        }
        mean(self.of_both.get(&(slot, period))).unwrap_or_else(|| {
            match (
                mean(self.of_slot.get(&slot)),
                mean(self.of_period.get(&period)),
            ) {
                (Some(a), Some(b)) => a.max(b),
                _ => unknown,
            }
        })
    }
}
