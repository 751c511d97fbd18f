//! Units, decimal points, halves, exchanged columns and digits; what is unlike its fellows.
//!
//! A hypothesis says: what was read is `g(y)` of a good reading y. Its weight is the ratio of the
//! density that it gives to what was read, over the density of a good reading. Under good readings
//! that ratio is 1 on average, so that it exceeds N with probability 1 / N at most (Markov). With as
//! many hypotheses as are tried a ratio over `hypotheses / level` is a finding, whatever they have to
//! do with each other.

use super::fellows::{Fellows, Law};
use super::reading::{NO_PERIOD, Reading, Readings};
use super::written::decimal;
use super::{Code, Family, Finding, Settings, Suspect, by_words, number, sized};
use crate::catalogue::{Dimension, Kind, State};
use crate::cohort::{Cohort, from_scale};
use crate::notation::{Quantity, Unit};
use crate::parallel;
use crate::table::Table;

/// A proposed value must not be rarer than this itself.
const FITS: f64 = 0.001;
/// A column is told to be in another unit from so many readings on.
const COLUMN: usize = 3;

/// A slip of one reading, or of two that were exchanged.
#[derive(Clone, Debug)]
pub(super) struct Slip {
    code: Code,
    /// Index of the reading, and what it should be, in the dimension's unit.
    of: (usize, Option<f64>),
    /// The same of the reading that it was exchanged with.
    with: Option<(usize, Option<f64>)>,
    /// What is proposed, as somebody would write it.
    words: String,
    /// Natural logarithm of how much better the proposed value fits.
    evidence: Option<f64>,
    p: Option<f64>,
    /// By how much it is over what chance allows.
    margin: f64,
    /// What the reading was divided by.
    factor: f64,
    /// Of one that is unlike its fellows: whether some slip would explain it, if not clearly enough;
    /// `None` where not all slips were looked for.
    explained: Option<bool>,
}

impl Slip {
    pub(super) fn readings(&self) -> impl Iterator<Item = (usize, Option<f64>)> {
        std::iter::once(self.of).chain(self.with)
    }
}

/// Which codes are looked for, and over how much evidence each is a finding.
struct Limits {
    factor: f64,
    columns: f64,
    digits: f64,
    /// Comparisons of single readings with their fellows.
    alone: f64,
    /// The level of these.
    level: f64,
}

/// The numbers by which a reading may be off: its code, and what makes it right.
fn factors(dimension: &Dimension, unit: Unit, state: State) -> Vec<(Code, f64)> {
    if dimension.kind != Kind::Ratio {
        return Vec::new();
    }
    let ounce = Unit::Ounce.in_base_units();
    let mut factors = match unit {
        Unit::Millimetre => vec![(Code::UnitInch, 25.4)],
        Unit::Inch => vec![(Code::UnitMillimetre, 1.0 / 25.4)],
        Unit::Gram => vec![(Code::UnitOunce, ounce)],
        Unit::Ounce => vec![(Code::UnitGram, 1.0 / ounce)],
        _ => Vec::new(),
    };
    factors.extend([10.0, 0.1, 100.0, 0.01].map(|f| (Code::DecimalShift, f)));
    // Wear and work explain a half; no wear explains a tenth.
    if state == State::Factory && is_across(dimension) {
        factors.extend([2.0, 0.5].map(|f| (Code::HalfForWhole, f)));
    }
    factors
}

/// People use units; a decimal point is only mistyped. Where both fit, it was the unit.
fn is_unit(code: Code) -> bool {
    code.family() == Family::Factor && !matches!(code, Code::DecimalShift | Code::HalfForWhole)
}

/// Whether it is measured from side to side, so that a radius may stand for it.
fn is_across(dimension: &Dimension) -> bool {
    let key = &dimension.key;
    let ends = ["diameter", "width", "bore"];
    dimension.quantity == Quantity::Length && ends.iter().any(|e| key.ends_with(e))
}

/// Whether its column may be exchanged with another one's.
fn is_exchangeable(dimension: &Dimension) -> bool {
    dimension.quantity == Quantity::Length
        && dimension.kind == Kind::Ratio
        && !dimension.is_form_error()
}

/// How many readings are judged by fellows, and how many have too few.
pub(super) fn counts(
    readings: &Readings<'_>,
    fellows: &Fellows,
    settings: &Settings,
) -> (usize, usize) {
    let of = readings
        .all
        .iter()
        .filter(|r| settings.judges(r.row as usize));
    of.fold((0, 0), |(judged, without), r| match fellows.law(r) {
        Some(_) => (judged + 1, without),
        None => (judged, without + 1),
    })
}

/// So many specimens are looked at together by one thread.
const SHARE: usize = 2048;

impl Limits {
    fn of(table: &Table, readings: &Readings<'_>, settings: &Settings) -> Limits {
        let shares = (readings.starts.len() - 1).div_ceil(SHARE);
        let tried: Vec<Vec<[usize; 2]>> = (table.catalogue.all().iter())
            .map(|d| {
                let of = |unit| {
                    [State::Factory, State::Worn].map(|state| {
                        let factors = factors(d, unit, state);
                        let wanted = factors.iter().filter(|(c, _)| settings.looks_for(*c));
                        wanted.count()
                    })
                };
                Unit::ALL.map(of).to_vec()
            })
            .collect();
        let counts = parallel::map(shares, |share| {
            let rows = share * SHARE..((share + 1) * SHARE).min(readings.starts.len() - 1);
            let (mut factor, mut pairs, mut alone) = (0.0, 0.0, 0.0);
            for row in rows.filter(|&row| settings.judges(row)) {
                let mut lengths = 0.0;
                for r in &readings.all[readings.of_row(row)] {
                    let worn = usize::from(r.state != State::Factory);
                    factor += tried[r.dimension as usize][r.unit as usize][worn] as f64;
                    if worn == 0 {
                        alone += 1.0;
                        let d = table.catalogue.at(r.dimension as usize);
                        lengths += f64::from(u8::from(is_exchangeable(d)));
                    }
                }
                pairs += 0.5 * lengths * (lengths - 1.0);
            }
            [factor, pairs, alone]
        });
        let sum = |i: usize| counts.iter().map(|c| c[i]).sum::<f64>().max(1.0);
        let limit = |family: Family, n: f64| match settings.has(family) {
            true => (n / settings.level(family)).ln(),
            false => f64::INFINITY,
        };
        Limits {
            factor: limit(Family::Factor, sum(0)),
            columns: limit(Family::Columns, sum(1)),
            digits: limit(Family::Digits, sum(2)),
            alone: sum(2),
            level: settings.level(Family::Unlike),
        }
    }

    /// No reading with less of a deficit is of any interest.
    fn least(&self) -> f64 {
        self.factor.min(0.5 * self.columns).min(self.digits)
    }
}

/// The slips among readings that are not yet `out`; of each reading the best explanation.
pub(super) fn find(
    cohort: &Cohort<'_>,
    readings: &Readings<'_>,
    fellows: &Fellows,
    settings: &Settings,
    out: &[bool],
) -> Vec<Slip> {
    let limits = Limits::of(cohort.table(), readings, settings);
    let seeker = Seeker {
        table: cohort.table(),
        readings,
        fellows,
        settings,
        limits: &limits,
        out,
    };
    let rows = readings.starts.len() - 1;
    let shares = parallel::map(rows.div_ceil(SHARE), |share| {
        let mut found = Vec::new();
        let mut unlike = Vec::new();
        for row in share * SHARE..((share + 1) * SHARE).min(rows) {
            if settings.judges(row) {
                seeker.specimen(row, &mut found, &mut unlike);
            }
        }
        (found, unlike)
    });
    let (mut found, mut unlike) = (Vec::new(), Vec::new());
    for (some, others) in shares {
        found.extend(some);
        unlike.extend(others);
    }
    // One explanation a reading: the best.
    found.sort_by(|a: &Slip, b: &Slip| b.margin.total_cmp(&a.margin));
    let mut taken = vec![false; readings.all.len()];
    let mut slips = Vec::new();
    for slip in found {
        if slip.readings().all(|(at, _)| !taken[at]) {
            slip.readings().for_each(|(at, _)| taken[at] = true);
            slips.push(slip);
        }
    }
    if settings.has(Family::Unlike) {
        unlike.retain(|&(at, _)| !taken[at]);
        slips.extend(seeker.unlike(unlike));
    }
    slips
}

struct Seeker<'a> {
    table: &'a Table,
    readings: &'a Readings<'a>,
    fellows: &'a Fellows,
    settings: &'a Settings,
    limits: &'a Limits,
    out: &'a [bool],
}

impl Seeker<'_> {
    /// Every explanation of a specimen's readings that is over its limit, and the p of readings that
    /// may be unlike their fellows.
    fn specimen(&self, row: usize, found: &mut Vec<Slip>, unlike: &mut Vec<(usize, f64)>) {
        let least = self.limits.least();
        let unlikely = self.limits.level / self.limits.alone;
        for at in self.readings.of_row(row).filter(|&at| !self.out[at]) {
            let r = &self.readings.all[at];
            let law = self.fellows.law(r);
            if !r.credible {
                found.extend(self.impossible(at, law.as_ref()));
            }
            let Some(law) = law else {
                continue;
            };
            let deficit = law.deficit(r.x);
            // A p this small needs a deficit of at least that: the density falls faster than the tail.
            let rare = r.state == State::Factory && deficit > -unlikely.ln() * 0.5;
            if deficit < least && !rare {
                continue;
            }
            if rare {
                let p = law.p(r.x);
                if p <= unlikely * 2.0 {
                    unlike.push((at, p));
                }
            }
            if self.dimension(r).kind == Kind::Ratio {
                self.factor(at, &law, found);
            }
            if r.state == State::Factory {
                self.digits(at, &law, found);
                self.exchange(at, &law, found);
            }
        }
    }

    fn dimension(&self, r: &Reading) -> &Dimension {
        self.table.catalogue.at(r.dimension as usize)
    }

    fn factor(&self, at: usize, law: &Law, found: &mut Vec<Slip>) {
        /// A decimal point must fit so many times better than a unit that fits as well.
        const BETTER: f64 = 2.0 * std::f64::consts::LN_10;
        let r = &self.readings.all[at];
        let dimension = self.dimension(r);
        let mut of_unit = f64::NEG_INFINITY;
        for (code, factor) in factors(dimension, r.unit, r.state) {
            let x = r.x + f64::ln(factor);
            let evidence = law.deficit(r.x) - law.deficit(x);
            let margin = evidence - self.limits.factor;
            let value = r.value * factor;
            if margin >= 0.0
                && law.p(x) >= FITS
                && dimension.is_credible(value)
                && self.settings.looks_for(code)
                && (is_unit(code) || evidence > of_unit + BETTER)
            {
                if is_unit(code) {
                    of_unit = of_unit.max(evidence);
                }
                found.push(self.of_factor(at, code, factor, Some(evidence), margin));
            }
        }
    }

    fn of_factor(
        &self,
        at: usize,
        code: Code,
        factor: f64,
        evidence: Option<f64>,
        margin: f64,
    ) -> Slip {
        let r = &self.readings.all[at];
        let value = r.value * factor;
        Slip {
            code,
            of: (at, Some(value)),
            with: None,
            words: sized(self.table, r.dimension as usize, value),
            evidence,
            p: None,
            margin,
            factor,
            explained: None,
        }
    }

    /// A value that no real pipe has: what would make it credible needs no test.
    fn impossible(&self, at: usize, law: Option<&Law>) -> Option<Slip> {
        let r = &self.readings.all[at];
        let dimension = self.dimension(r);
        let (low, high) = dimension.credible?;
        let middle = 0.5 * (low.max(1e-3).ln() + high.ln());
        let misfit = |factor: f64| {
            let x = r.x + f64::ln(factor);
            match law {
                Some(law) => law.deficit(x),
                None => (x - middle).abs(),
            }
        };
        let (code, factor) = factors(dimension, r.unit, r.state)
            .into_iter()
            .filter(|&(code, factor)| {
                self.settings.looks_for(code)
                    && dimension.is_credible(r.value * factor)
                    && law.is_none_or(|law| law.p(r.x + f64::ln(factor)) >= FITS)
            })
            .min_by(|a, b| {
                let nearer = misfit(a.1).total_cmp(&misfit(b.1));
                (is_unit(b.0).cmp(&is_unit(a.0))).then(nearer)
            })?;
        let evidence = law.map(|law| law.deficit(r.x) - misfit(factor));
        Some(self.of_factor(at, code, factor, evidence, f64::MAX))
    }

    fn digits(&self, at: usize, law: &Law, found: &mut Vec<Slip>) {
        let r = &self.readings.all[at];
        if law.deficit(r.x) < self.limits.digits {
            return;
        }
        let Some(written) = decimal(self.readings.text(r)) else {
            return;
        };
        let Some(read) = written.value().filter(|v| *v > 0.0) else {
            return;
        };
        let dimension = self.dimension(r);
        let others = written.exchanged();
        let mut best: Option<Slip> = None;
        for text in &others {
            let Some(other) = text.replace(',', ".").parse::<f64>().ok() else {
                continue;
            };
            let value = r.value * (other / read);
            if value <= 0.0 || !dimension.is_credible(value) {
                continue;
            }
            // Of a size the density in the unit, where the steps of a text are alike: that of the
            // logarithm over the size.
            let (x, per_step) = match dimension.kind {
                Kind::Ratio => (value.ln(), (read / other).ln()),
                Kind::Interval => (value, 0.0),
            };
            let ways = (others.len() as f64).ln();
            let evidence = law.deficit(r.x) - law.deficit(x) + per_step - ways;
            let margin = evidence - self.limits.digits;
            if margin >= 0.0 && law.p(x) >= FITS && best.as_ref().is_none_or(|b| b.margin < margin)
            {
                let rest = written.rest.trim();
                let space = if rest.is_empty() { "" } else { " " };
                best = Some(Slip {
                    code: Code::DigitsExchanged,
                    of: (at, Some(value)),
                    with: None,
                    words: format!("{text}{space}{rest}"),
                    evidence: Some(evidence),
                    p: None,
                    margin,
                    factor: 1.0,
                    explained: None,
                });
            }
        }
        found.extend(best);
    }

    fn exchange(&self, at: usize, law: &Law, found: &mut Vec<Slip>) {
        let a = &self.readings.all[at];
        let own = law.deficit(a.x);
        if own < 0.5 * self.limits.columns || !law.own || !is_exchangeable(self.dimension(a)) {
            return;
        }
        for other in self.readings.of_row(a.row as usize) {
            let b = &self.readings.all[other];
            if other == at
                || self.out[other]
                || b.dimension == a.dimension
                || b.state != State::Factory
                || !is_exchangeable(self.dimension(b))
            {
                continue;
            }
            let Some(law_b) = self.fellows.law(b).filter(|l| l.own) else {
                continue;
            };
            let other_own = law_b.deficit(b.x);
            // The pair is found from the reading that is further off.
            if other_own > own || (other_own == own && other < at) {
                continue;
            }
            let (first, second) = (own - law.deficit(b.x), other_own - law_b.deficit(a.x));
            let evidence = first + second;
            let margin = evidence - self.limits.columns;
            /// Each of the two must fit so much better by itself.
            const EACH: f64 = std::f64::consts::LN_10;
            if margin >= 0.0
                && first >= EACH
                && second >= EACH
                && law.p(b.x) >= FITS
                && law_b.p(a.x) >= FITS
            {
                found.push(Slip {
                    code: Code::ColumnsExchanged,
                    of: (at, Some(b.value)),
                    with: Some((other, Some(a.value))),
                    words: String::new(),
                    evidence: Some(evidence),
                    p: None,
                    margin,
                    factor: 1.0,
                    explained: None,
                });
            }
        }
    }

    /// Whether any slip would make a reading fit, however little speaks for it.
    fn is_explained(&self, at: usize, law: &Law) -> bool {
        let r = &self.readings.all[at];
        let dimension = self.dimension(r);
        let fits = |value: f64, x: f64| dimension.is_credible(value) && law.p(x) >= FITS;
        let by_factor = factors(dimension, r.unit, r.state)
            .into_iter()
            .any(|(_, factor)| fits(r.value * factor, r.x + factor.ln()));
        let by_digits = || {
            let written = decimal(self.readings.text(r))?;
            let read = written.value().filter(|v| *v > 0.0)?;
            let value = |text: &String| text.replace(',', ".").parse::<f64>().ok();
            let mut values = written.exchanged().into_iter().filter_map(|t| value(&t));
            values.find(|other| {
                let value = r.value * (other / read);
                let x = match dimension.kind {
                    Kind::Ratio => value.ln(),
                    Kind::Interval => value,
                };
                value > 0.0 && fits(value, x)
            })
        };
        let by_exchange = || {
            is_exchangeable(dimension)
                && self.readings.of_row(r.row as usize).any(|other| {
                    let b = &self.readings.all[other];
                    let law_b = self.fellows.law(b).filter(|l| l.own);
                    b.dimension != r.dimension
                        && is_exchangeable(self.dimension(b))
                        && law.p(b.x) >= FITS
                        && law_b.is_some_and(|law_b| law_b.p(r.x) >= FITS)
                })
        };
        by_factor || by_digits().is_some() || by_exchange()
    }

    /// The readings that are unlike their fellows by Holm, of those with a small p.
    fn unlike(&self, mut candidates: Vec<(usize, f64)>) -> Vec<Slip> {
        candidates.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        let (mut adjusted, mut slips) = (0.0_f64, Vec::new());
        for (rank, (at, p)) in candidates.into_iter().enumerate() {
            adjusted = adjusted.max((p * (self.limits.alone - rank as f64).max(1.0)).min(1.0));
            if adjusted > self.limits.level {
                break;
            }
            let r = &self.readings.all[at];
            let kind = self.dimension(r).kind;
            let law = self.fellows.law(r);
            let middle = law.map(|law| from_scale(kind, law.centre));
            slips.push(Slip {
                code: Code::UnlikeFellows,
                of: (at, None),
                with: None,
                words: middle.map_or(String::new(), |m| {
                    sized(self.table, r.dimension as usize, m)
                }),
                evidence: Some(-p.ln()),
                p: Some(adjusted),
                margin: 0.0,
                factor: 1.0,
                explained: (law.filter(|_| self.settings.only.is_empty()))
                    .map(|law| self.is_explained(at, &law)),
            });
        }
        slips
    }
}

/// The findings that slips are told as: those of one column of one measurer are one.
pub(super) fn told(
    table: &Table,
    readings: &Readings<'_>,
    fellows: &Fellows,
    slips: Vec<Slip>,
    settings: &Settings,
) -> Vec<Finding> {
    let mut told = vec![false; readings.all.len()];
    for (at, _) in slips.iter().flat_map(Slip::readings) {
        told[at] = true;
    }
    let mut columns: Vec<Vec<Slip>> = Vec::new();
    let mut findings = Vec::new();
    let mut known = std::collections::HashMap::new();
    for slip in slips {
        if slip.code.family() != Family::Factor {
            findings.push(alone(table, readings, &slip));
            continue;
        }
        let r = &readings.all[slip.of.0];
        let key = (slip.code, r.dimension, r.by, slip.factor.to_bits());
        let at = *known.entry(key).or_insert_with(|| {
            columns.push(Vec::new());
            columns.len() - 1
        });
        columns[at].push(slip);
    }
    for mut slips in columns {
        if slips.len() == 1 {
            findings.push(alone(table, readings, &slips[0]));
            continue;
        }
        let first = &readings.all[slips[0].of.0];
        let of_column: Vec<usize> = (readings.all.iter().enumerate())
            .filter(|(_, r)| r.dimension == first.dimension && r.by == first.by)
            .filter(|(_, r)| settings.judges(r.row as usize))
            .map(|(at, _)| at)
            .collect();
        let all = of_column.len();
        // What is proved of most of a column needs less proof of the rest: only its readings and
        // this one factor are still in question.
        let enough = (all as f64 / settings.level(Family::Factor)).ln();
        let left = of_column.iter().copied().filter(|&at| !told[at]);
        let more: Vec<Slip> = left
            .filter_map(|at| {
                let r = &readings.all[at];
                let fits = factors(table.catalogue.at(r.dimension as usize), r.unit, r.state);
                let like = |f: &&(Code, f64)| f.0 == slips[0].code && f.1 == slips[0].factor;
                let factor = fits.iter().find(like)?.1;
                let (law, x) = (fellows.law(r)?, r.x + factor.ln());
                let evidence = law.deficit(r.x) - law.deficit(x);
                let value = r.value * factor;
                let credible = table.catalogue.at(r.dimension as usize).is_credible(value);
                (2 * slips.len() > all && evidence >= enough && law.p(x) >= FITS && credible).then(
                    || Slip {
                        of: (at, Some(value)),
                        words: sized(table, r.dimension as usize, value),
                        evidence: Some(evidence),
                        ..slips[0].clone()
                    },
                )
            })
            .collect();
        more.iter().for_each(|slip| told[slip.of.0] = true);
        slips.extend(more);
        slips.sort_by_key(|s| s.of.0);
        let mut finding = column(table, readings, &slips, all);
        // Of values that no pipe has the credible range alone speaks: it cannot see the rest of a column
        // with the same slip in all of it.
        let rest = of_column.iter().filter(|&&at| {
            let r = &readings.all[at];
            let dimension = table.catalogue.at(r.dimension as usize);
            !told[at] && dimension.is_credible(r.value * slips[0].factor)
        });
        let impossible = |s: &&Slip| !readings.all[s.of.0].credible;
        let (rest, impossible) = (rest.count(), slips.iter().filter(impossible).count());
        if impossible >= COLUMN && rest > 0 && 2 * (slips.len() + rest) > all {
            let advice =
                format!("; look at the whole column: {rest} others would be credible so too");
            finding.sentence.push_str(&advice);
        }
        findings.push(finding);
    }
    findings
}

fn suspect(readings: &Readings<'_>, (at, proposed): (usize, Option<f64>)) -> Suspect {
    let r = &readings.all[at];
    Suspect {
        row: r.row as usize,
        dimension: r.dimension as usize,
        text: readings.text(r).to_owned(),
        value: r.value,
        proposed,
    }
}

const LOG10: f64 = std::f64::consts::LOG10_E;

fn alone(table: &Table, readings: &Readings<'_>, slip: &Slip) -> Finding {
    let suspects: Vec<Suspect> = slip.readings().map(|r| suspect(readings, r)).collect();
    let r = &readings.all[slip.of.0];
    let by = &readings.by[r.by as usize];
    let name = table.specimens.names.get(r.row as usize);
    let label = |s: &Suspect| &*table.catalogue.at(s.dimension).label;
    let read = |s: &Suspect| sized(table, s.dimension, s.value);
    let first = &suspects[0];
    let said = format!("{name}: {} reads {}", label(first), read(first));
    let words = &slip.words;
    let sentence = match slip.code {
        Code::UnitInch => format!("{said}; read as inches it would be {words}"),
        Code::UnitMillimetre => format!("{said}; read as millimetres it would be {words}"),
        Code::UnitCentimetre => format!("{said}; read as centimetres it would be {words}"),
        Code::UnitOunce => format!("{said}; read as ounces it would be {words}"),
        Code::UnitGram => format!("{said}; read as grams it would be {words}"),
        Code::DecimalShift => {
            let or = match slip.factor == 10.0 && r.unit == Unit::Millimetre {
                true => "read as centimetres, or ",
                false => "",
            };
            format!("{said}; {or}with the decimal point moved, it would be {words}")
        }
        Code::HalfForWhole if slip.factor > 1.0 => {
            format!("{said}; were that a radius, the whole would be {words}")
        }
        Code::HalfForWhole => format!("{said}, twice what is usual; half of it is {words}"),
        Code::DigitsExchanged => {
            format!("{said}; with two digits exchanged it would be {words}")
        }
        Code::ColumnsExchanged => {
            let other = &suspects[1];
            format!(
                "{said} and {} {}; exchanged, both would fit",
                label(other),
                read(other)
            )
        }
        _ => {
            let of = match r.period {
                NO_PERIOD => "pieces of its pattern",
                _ => "pieces of its pattern and time",
            };
            let why = match slip.explained {
                Some(true) => ", and of the slips that would explain it none is clear enough",
                Some(false) => ", and no slip of writing explains it",
                None => "",
            };
            format!("{said}; {of} measure about {words}{why}")
        }
    };
    Finding {
        code: slip.code,
        rows: vec![r.row as usize],
        dimensions: suspects.iter().map(|s| s.dimension).collect(),
        count: suspects.len(),
        suspects,
        by: by.name.clone(),
        evidence: slip.evidence.map(|e| e * LOG10),
        p: slip.p,
        step: None,
        sentence,
    }
}

/// Readings of one dimension by one measurer with one and the same slip, of `all` of these.
fn column(table: &Table, readings: &Readings<'_>, slips: &[Slip], all: usize) -> Finding {
    let suspects: Vec<Suspect> = slips.iter().map(|s| suspect(readings, s.of)).collect();
    let r = &readings.all[slips[0].of.0];
    let mut code = slips[0].code;
    let most = 2 * slips.len() > all;
    // A whole column that is ten times too small was hardly mistyped reading by reading.
    if code == Code::DecimalShift
        && most
        && slips.len() >= COLUMN
        && slips[0].factor == 10.0
        && r.unit == Unit::Millimetre
    {
        code = Code::UnitCentimetre;
    }
    let mut rows: Vec<usize> = suspects.iter().map(|s| s.row).collect();
    rows.dedup();
    let names: Vec<&str> = (rows.iter().take(3))
        .map(|&row| table.specimens.names.get(row))
        .collect();
    let more = match rows.len() - names.len() {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    let first = &suspects[0];
    let sentence = format!(
        "{} of {all} readings of {}{} ({}{more}): {}; {} would be {}",
        slips.len(),
        table.catalogue.at(first.dimension).label,
        by_words(&readings.by[r.by as usize]),
        names.join(", "),
        code.words(),
        number(first.value),
        slips[0].words,
    );
    let evidence: Option<f64> = slips.iter().map(|s| s.evidence).sum();
    Finding {
        code,
        rows,
        dimensions: vec![first.dimension],
        count: slips.len(),
        by: readings.by[r.by as usize].name.clone(),
        evidence: evidence.map(|e| e * LOG10),
        p: None,
        step: None,
        sentence,
        suspects,
    }
}
