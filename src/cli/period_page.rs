//! What `calibriar periods` tells people: the answer in words, then the numbers.

use std::collections::BTreeSet;

use calibriar::catalogue::{Kind, Standing, fold};
use calibriar::cohort::Cohort;
use calibriar::norm::Settings;
use calibriar::periods::comparison::{
    Against, Comparison, PooledAgainst, PooledAgreement, SetComparison,
};

use super::output::{self, counted, probability, shown, signed, sized};
use calibriar::words::{dimension_label, group_title, maker_shown};

/// What is told, and to whom it is compared.
pub(super) struct Page<'a> {
    pub(super) comparison: &'a Comparison,
    /// The cohort of every period.
    pub(super) every: &'a Cohort<'a>,
    pub(super) groups: &'a [usize],
    pub(super) settings: &'a Settings,
    /// Whether one pattern was asked for: its numbers are then given in full.
    pub(super) in_full: bool,
}

/// A shift or a ratio of spreads of one period in one dimension, of one pattern or of all together.
struct Finding {
    column: usize,
    kind: Kind,
    period: u32,
    /// Whether the period is a good one, compared with the others.
    good: bool,
    /// Square root of the period ratio: how far a good period usually is from the common centre.
    usual: f64,
    /// The shift and its interval, on the scale of judgement, and in spreads.
    shift: Option<Told>,
    spread: Option<Told>,
    /// Numbers of the patterns whose own pieces show the shift; of a single pattern none are told.
    alone: Vec<usize>,
}

/// A number with its interval and its adjusted p.
#[derive(Clone, Copy)]
struct Told {
    value: f64,
    low: f64,
    high: f64,
    p: f64,
    /// p of the mean of several patterns that differ as they are seen to.
    p_of_mean: f64,
    /// How strong it is: spreads, or the logarithm of a ratio.
    strength: f64,
}

impl Told {
    /// Whether the patterns show it, and in their mean: one that is far off does not make all so.
    fn seen(&self, alpha: f64) -> bool {
        self.p <= alpha && self.p_of_mean <= alpha
    }

    /// Whether some patterns show it, but not their mean.
    fn seen_in_some(&self, alpha: f64) -> bool {
        self.p <= alpha && self.p_of_mean > alpha
    }
}

impl Finding {
    fn of_set(set: &SetComparison, against: &Against, settings: &Settings) -> Finding {
        let confidence = settings.confidence();
        let shift = against.departure.zip(against.shift_adjusted);
        let spread = against.spread_ratio.zip(against.spread_adjusted);
        Finding {
            column: set.column,
            kind: set.kind,
            period: against.period,
            good: against.good,
            usual: set.prior.lambda.sqrt(),
            shift: shift.map(|(d, p)| {
                let (low, high) = d.interval(confidence);
                let (value, strength) = (d.shift, d.effect().abs());
                Told {
                    value,
                    low,
                    high,
                    p,
                    p_of_mean: d.p,
                    strength,
                }
            }),
            spread: spread.map(|(r, p)| {
                let (low, high) = r.interval(confidence);
                let value = r.ratio();
                let strength = value.ln().abs();
                Told {
                    value,
                    low,
                    high,
                    p,
                    p_of_mean: r.test.p,
                    strength,
                }
            }),
            alone: Vec::new(),
        }
    }

    fn of_pooled(pooled: &PooledAgainst, sets: &[&SetComparison], alpha: f64) -> Finding {
        let same = sets.iter().filter(|s| s.column == pooled.column);
        let alone = same.filter(|s| {
            let of = s.against.iter().find(|a| a.period == pooled.period);
            of.is_some_and(|a| a.shift_adjusted.is_some_and(|p| p <= alpha))
        });
        let shift = pooled.shift.zip(pooled.effect).zip(pooled.effect_adjusted);
        let spread = pooled.spread_ratio.zip(pooled.spread_adjusted);
        Finding {
            column: pooled.column,
            kind: pooled.kind,
            period: pooled.period,
            good: pooled.good,
            usual: pooled.lambda.sqrt(),
            shift: shift.map(|((shift, effect), p)| Told {
                value: shift.value,
                low: shift.interval.0,
                high: shift.interval.1,
                p,
                // Of the number that is told, whose interval then agrees with the words.
                p_of_mean: shift.p_of_mean,
                strength: effect.value.abs(),
            }),
            spread: spread.map(|(ratio, p)| Told {
                value: ratio.value,
                low: ratio.interval.0,
                high: ratio.interval.1,
                p,
                p_of_mean: ratio.p_of_mean,
                strength: ratio.value.ln().abs(),
            }),
            alone: alone.map(|s| s.group).collect(),
        }
    }

    /// Whether all patterns together, or the one, show it to be off.
    fn stands_out(&self, alpha: f64) -> bool {
        [self.shift, self.spread]
            .iter()
            .flatten()
            .any(|t| t.seen(alpha))
    }

    /// Whether some patterns show its shift, but not all together in their mean.
    fn in_some(&self, alpha: f64) -> bool {
        let together = self.shift.is_some_and(|t| t.seen(alpha));
        let some = self.shift.is_some_and(|t| t.seen_in_some(alpha));
        !together && (some || !self.alone.is_empty())
    }
}

impl Page<'_> {
    pub(super) fn text(&self) -> String {
        let table = self.every.table();
        if table.specimens.is_empty() {
            return "no measurements yet: calibriar add SHEET.csv\n".to_owned();
        }
        if self.comparison.sets.is_empty() {
            return output::wrapped(&self.nothing(), "");
        }
        let (mut text, mut tables) = (String::new(), Tables::default());
        match (self.in_full, self.groups) {
            (true, &[group]) => self.pattern(group, &mut text, &mut tables),
            _ => self.makers(&mut text, &mut tables),
        }
        text.push_str(&self.legend(&tables));
        text
    }

    /// Why nothing can be compared.
    pub(super) fn nothing(&self) -> String {
        let defined = self.every.table().periods.all();
        let of_pieces = || self.groups.iter().map(|&g| &self.every.groups()[g].maker);
        let for_pieces = |maker: &Option<String>| match maker {
            Some(maker) => of_pieces().any(|of| fold(of) == fold(maker)),
            None => true,
        };
        if !defined.is_empty() && !defined.iter().any(|p| for_pieces(&p.maker)) {
            let named = |names: Vec<&str>| {
                let mut known: Vec<&str> = Vec::new();
                for name in names {
                    if !known.iter().any(|k| fold(k) == fold(name)) {
                        known.push(name);
                    }
                }
                let quoted: Vec<String> = known.iter().map(|n| format!("`{}`", shown(n))).collect();
                quoted.join(", ")
            };
            let makers = named(defined.iter().filter_map(|p| p.maker.as_deref()).collect());
            let pieces = named(of_pieces().map(|m| maker_shown(m)).collect());
            return format!(
                "Nothing can be compared: the table of periods names the maker {makers}, and the \
                 pieces are of {pieces}. A period speaks for its own maker; one without a maker \
                 speaks for all."
            );
        }
        "Nothing can be compared: no piece with a reading in factory state is of a known period. \
         Pieces need a year within one period of the table of periods (--periods-from names \
         periods), or a column `period`."
            .to_owned()
    }

    fn name(&self, period: u32) -> String {
        shown(self.every.period_name(period))
    }

    /// `Conveyor Years (poor)`.
    fn title(&self, period: u32) -> String {
        let in_use = &self.every.periods()[period as usize];
        match in_use.standing {
            Some(standing) => format!("{} ({})", shown(&in_use.name), standing.name()),
            None => shown(&in_use.name),
        }
    }

    fn label(&self, column: usize) -> String {
        let of = &self.every.table().columns[column];
        dimension_label(self.every.table().dimension(of), of.finish.as_deref())
    }

    fn unit(&self, column: usize) -> &str {
        let of = &self.every.table().columns[column];
        &self.every.table().dimension(of).unit
    }

    /// A difference for people: per cent of a ratio, else in the unit.
    fn difference(&self, column: usize, kind: Kind, value: f64) -> String {
        match kind {
            Kind::Ratio => format!("{} %", percent(value.exp_m1().abs())),
            Kind::Interval => format!("{} {}", sized(value.abs(), 0.1), self.unit(column)),
        }
    }

    /// `bit width 12.1 % larger`.
    fn larger(&self, finding: &Finding, told: &Told) -> String {
        let way = match (told.value < 0.0, finding.kind) {
            (false, Kind::Ratio) => "larger",
            (true, Kind::Ratio) => "smaller",
            (false, Kind::Interval) => "more",
            (true, Kind::Interval) => "less",
        };
        format!(
            "{} {} {way}",
            self.label(finding.column),
            self.difference(finding.column, finding.kind, told.value)
        )
    }

    /// What a period's findings are, in words; whether any is a shift.
    fn told(&self, period: u32, findings: &[Finding], text: &mut String) -> bool {
        let alpha = self.settings.alpha();
        let of = || findings.iter().filter(|f| f.period == period);
        let good = of().any(|f| f.good);
        let mut shifted: Vec<(&Finding, Told)> = of()
            .filter_map(|f| Some((f, f.shift.filter(|t| t.seen(alpha))?)))
            .collect();
        shifted.sort_by(|a, b| b.1.strength.total_cmp(&a.1.strength));
        let mut spreads: Vec<(&Finding, Told)> = of()
            .filter_map(|f| Some((f, f.spread.filter(|t| t.seen(alpha))?)))
            .collect();
        spreads.sort_by(|a, b| b.1.strength.total_cmp(&a.1.strength));
        let judged = of().filter(|f| f.shift.is_some()).count();
        let alone: Vec<String> = of()
            .filter(|f| f.shift.is_some() && f.in_some(alpha))
            .map(|f| {
                if f.alone.is_empty() {
                    return self.label(f.column);
                }
                let patterns = f.alone.iter().map(|&g| &self.every.groups()[g].pattern);
                let patterns: Vec<String> = patterns.map(|p| group_title("", p)).collect();
                format!("{} ({})", self.label(f.column), patterns.join(", "))
            })
            .collect();
        if good && shifted.is_empty() && spreads.is_empty() {
            return false;
        }
        text.push('\n');
        let others = match (good, self.named_good()) {
            (true, true) => "the other good periods",
            (false, true) => "the good periods",
            (true, false) => "the other periods",
            (false, false) => "the chosen periods",
        };
        let title = self.title(period);
        let dimensions = counted(judged, "dimension", "dimensions");
        let head = match (judged, shifted.len()) {
            (0, _) => format!("{title}: nothing can be told, too few pieces to compare"),
            (_, 0) if alone.is_empty() => {
                format!("{title}: no shift from {others} seen in {dimensions}")
            }
            (_, 0) => format!(
                "{title}: in the mean of all patterns not seen to be off from {others} in any of \
                 {dimensions}, but some patterns are: {}",
                alone.join("; ")
            ),
            (_, n) => {
                let also = match alone.is_empty() {
                    true => String::new(),
                    false => format!("; and some patterns in {}", alone.join("; ")),
                };
                format!(
                    "{title}: off from {others} in {n} of {dimensions}, by more than one more of them \
                     would be{also}"
                )
            }
        };
        text.push_str(&output::wrapped(&head, ""));
        let far = |f: &Finding, t: &Told| f.usual > 0.0 && t.strength > FAR * f.usual;
        for (is_far, words) in [
            (true, "far beyond their own differences"),
            (false, "beyond their own differences"),
        ] {
            let some = shifted.iter().filter(|(f, t)| far(f, t) == is_far);
            let some: Vec<String> = some.map(|(f, t)| self.larger(f, t)).collect();
            if !some.is_empty() {
                let line = format!("{words}: {}", some.join("; "));
                text.push_str(&output::wrapped(&line, "  "));
            }
        }
        for (wide, words) in [(true, "wider"), (false, "narrower")] {
            let mut some: Vec<String> = spreads
                .iter()
                .filter(|(_, t)| (t.value > 1.0) == wide)
                .map(|(f, t)| format!("{} {} times", self.label(f.column), factor(t.value)))
                .collect();
            if some.len() > MOST_SPREADS {
                let more = some.len() - MOST_SPREADS;
                some.truncate(MOST_SPREADS);
                some.push(format!("{more} more"));
            }
            if !some.is_empty() {
                let line = format!("its pieces spread {words} in: {}", some.join("; "));
                text.push_str(&output::wrapped(&line, "  "));
            }
        }
        let silent: Vec<String> = of()
            .filter(|f| f.shift.is_none())
            .map(|f| self.label(f.column))
            .collect();
        if !silent.is_empty() && judged > 0 {
            let line = format!("could not be told: {}", silent.join("; "));
            text.push_str(&output::wrapped(&line, "  "));
        }
        !shifted.is_empty()
    }

    /// Whether the chosen periods are those of good standing.
    fn named_good(&self) -> bool {
        let sets = self.comparison.sets.iter();
        let mut chosen = sets.flat_map(|s| &s.periods).filter(|p| p.good);
        chosen.all(|p| self.every.periods()[p.period as usize].standing == Some(Standing::Good))
    }

    /// How the chosen periods are called.
    fn good_periods(&self) -> &'static str {
        match self.named_good() {
            true => "good periods",
            false => "chosen periods",
        }
    }

    /// The chosen periods that occur, in the order of telling.
    fn chosen(&self, sets: &[&SetComparison]) -> Vec<u32> {
        let mut chosen: Vec<u32> = Vec::new();
        for period in sets.iter().flat_map(|s| &s.periods).filter(|p| p.good) {
            if !chosen.contains(&period.period) {
                chosen.push(period.period);
            }
        }
        chosen
    }

    /// Whether the good periods agree, in words. Each of `tests` is a column, its kind, the distance of
    /// its centres and the two adjusted p.
    fn agreement(&self, chosen: &[u32], tests: &[Agreed], text: &mut String) {
        let called = self.good_periods();
        let names: Vec<String> = chosen.iter().map(|&p| self.name(p)).collect();
        let names = names.join(", ");
        let line = match (chosen.len(), tests.len()) {
            (0, _) => format!("No piece is of the {called}: there is nothing to compare with."),
            (1, _) => format!(
                "Only one of the {called} has pieces, {names}: whether they agree cannot be told."
            ),
            (_, 0) => format!(
                "Whether the {called} ({names}) agree cannot be told: too few pieces, and no other \
                 pattern to borrow a spread from."
            ),
            _ => self.agreed(&names, tests),
        };
        text.push_str(&output::wrapped(&line, ""));
    }

    fn agreed(&self, names: &str, tests: &[Agreed]) -> String {
        let (alpha, called) = (self.settings.alpha(), self.good_periods());
        let of = counted(tests.len(), "dimension", "dimensions");
        let unusual: Vec<String> = tests
            .iter()
            .filter(|t| t.unusual.is_some_and(|p| p <= alpha))
            .map(|t| self.label(t.column))
            .collect();
        let differ: Vec<&Agreed> = tests
            .iter()
            .filter(|t| t.differ.is_some_and(|p| p <= alpha))
            .collect();
        let mut line = match unusual.is_empty() {
            true => format!(
                "The {called} ({names}): no disagreement beyond what is usual between them seen in {of}."
            ),
            false => format!(
                "The {called} ({names}) do not agree in {}: they lie farther apart there than is \
                 usual between them.",
                unusual.join("; ")
            ),
        };
        if differ.is_empty() {
            if unusual.is_empty() {
                line.push_str(
                    " Nor are their centres seen to differ beyond the scatter of their pieces.",
                );
                line.push_str(&self.little(tests));
            }
            return line;
        }
        let far = |t: &&&Agreed| t.kind == Kind::Ratio;
        let mut ratios: Vec<&&Agreed> = differ.iter().filter(far).collect();
        ratios.sort_by(|a, b| a.distance.total_cmp(&b.distance));
        line.push_str(&format!(
            " They are not one: their centres differ beyond the scatter of their pieces in {} of {of}",
            differ.len()
        ));
        if let (Some(least), Some(most)) = (ratios.first(), ratios.last()) {
            let told = |t: &Agreed| {
                format!(
                    "{} ({})",
                    self.difference(t.column, t.kind, t.distance),
                    self.label(t.column)
                )
            };
            line.push_str(&match ratios.len() {
                1 => format!(", by {}", told(least)),
                _ => format!(", by {} to {}", told(least), told(most)),
            });
        }
        line.push('.');
        line
    }

    /// What so few pieces could have told.
    fn little(&self, tests: &[Agreed]) -> String {
        let few = tests.iter().all(|t| t.few);
        let mut seen: Vec<(f64, &Agreed)> = tests
            .iter()
            .filter(|t| t.kind == Kind::Ratio)
            .filter_map(|t| Some((t.noticeable?, t)))
            .collect();
        seen.sort_by(|a, b| a.0.total_cmp(&b.0));
        let told = |(distance, of): &(f64, &Agreed)| {
            let size = match distance.exp_m1() {
                share if share > 10.0 => "over 1000 %".to_owned(),
                share => format!("{} %", percent(share)),
            };
            format!("{size} ({})", self.label(of.column))
        };
        let sizes = match seen.as_slice() {
            [] => None,
            [one] => Some(told(one)),
            [least, .., most] => Some(format!("{} to {}", told(least), told(most))),
        };
        match (few, sizes) {
            (true, Some(sizes)) => format!(
                " But with one piece of each they can hardly disagree: only a distance of {sizes} \
                 would be seen."
            ),
            (true, None) => {
                " But with one piece of each in a pattern they can hardly disagree.".to_owned()
            }
            (false, Some(sizes)) => format!(" Only a distance of {sizes} would be seen."),
            (false, None) => String::new(),
        }
    }

    /// All patterns of each maker together.
    fn makers(&self, text: &mut String, tables: &mut Tables) {
        let maker_of = |set: &SetComparison| self.every.groups()[set.group].maker.as_str();
        let all = &self.comparison;
        let of_sets: Vec<String> = all.sets.iter().map(|s| fold(maker_of(s))).collect();
        let of_pooled: Vec<String> = all.pooled.iter().map(|p| fold(&p.maker)).collect();
        let of_together = all.pooled_agreement.iter().map(|p| fold(&p.maker));
        let of_together: Vec<String> = of_together.collect();
        let mut makers: Vec<(&str, &String)> = Vec::new();
        for (set, key) in all.sets.iter().zip(&of_sets) {
            if !makers.iter().any(|(_, known)| *known == key) {
                makers.push((maker_of(set), key));
            }
        }
        for (maker, key) in makers {
            let sets = all.sets.iter().zip(&of_sets);
            let sets: Vec<&SetComparison> = sets.filter(|s| s.1 == key).map(|s| s.0).collect();
            let mut groups: Vec<usize> = sets.iter().map(|s| s.group).collect();
            groups.dedup();
            let title = maker_shown(maker);
            let patterns = counted(groups.len(), "pattern", "patterns together");
            text.push_str(&format!("{}, {patterns}\n", shown(title)));
            let together = all.pooled_agreement.iter().zip(&of_together);
            let together: Vec<&PooledAgreement> =
                together.filter(|p| p.1 == key).map(|p| p.0).collect();
            let alone: Vec<Agreed> = self.alone(&sets);
            let tests: Vec<Agreed> = together
                .iter()
                .filter(|p| p.differ.is_some())
                .map(|p| {
                    let of = || alone.iter().filter(|a| a.column == p.column);
                    Agreed {
                        column: p.column,
                        kind: p.kind,
                        distance: p.distance,
                        differ: p.differ_adjusted,
                        unusual: p.unusual_adjusted,
                        few: of().all(|a| a.few),
                        noticeable: of()
                            .next()
                            .filter(|_| groups.len() == 1)
                            .and_then(|a| a.noticeable),
                    }
                })
                .collect();
            self.agreement(&self.chosen(&sets), &tests, text);
            let pooled = all.pooled.iter().zip(&of_pooled);
            let pooled: Vec<&PooledAgainst> = pooled.filter(|p| p.1 == key).map(|p| p.0).collect();
            let findings: Vec<Finding> = pooled
                .iter()
                .map(|p| Finding::of_pooled(p, &sets, self.settings.alpha()))
                .collect();
            let mut periods: Vec<u32> = findings.iter().map(|f| f.period).collect();
            periods.dedup();
            for &period in &periods {
                if self.told(period, &findings, text) {
                    self.patterns(period, &sets, text);
                }
            }
            self.nothing_good(&sets, text);
            for &period in &periods {
                tables.against |= self.pooled_table(period, &findings, &pooled, text);
            }
            tables.agreement |= self.pooled_agreement_table(&together, text);
            text.push('\n');
        }
    }

    /// The agreement of each pattern and dimension where it can be told.
    fn alone(&self, sets: &[&SetComparison]) -> Vec<Agreed> {
        let told = |s: &&&SetComparison| s.agreement.is_some_and(|a| a.differ.is_some());
        let of = || sets.iter().filter(told);
        of().filter_map(|s| {
            let a = s.agreement?;
            let all = of().filter(|other| other.group == s.group).count();
            let first = self.settings.alpha() / all as f64;
            Some(Agreed {
                column: s.column,
                kind: s.kind,
                distance: a.centres.1 - a.centres.0,
                differ: a.differ_adjusted,
                unusual: a.unusual_adjusted,
                few: a.n <= a.periods,
                noticeable: a.beside_usual.map(|b| b.noticeable(first)),
            })
        })
        .collect()
    }

    /// Periods that are compared with nothing.
    fn nothing_good(&self, sets: &[&SetComparison], text: &mut String) {
        let compared = sets.iter().flat_map(|s| &s.against).map(|a| a.period);
        let compared: BTreeSet<u32> = compared.collect();
        let others = sets.iter().flat_map(|s| &s.periods).filter(|p| !p.good);
        let others: BTreeSet<u32> = others.map(|p| p.period).collect();
        let alone: Vec<u32> = others.difference(&compared).copied().collect();
        // Where there are no good pieces at all that has been said.
        let any_good = sets.iter().flat_map(|s| &s.periods).any(|p| p.good);
        if !alone.is_empty() && any_good {
            let names: Vec<String> = alone.iter().map(|&p| self.title(p)).collect();
            let line = format!(
                "{}: not compared, because what was measured on its pieces was measured on none of \
                 the {}",
                names.join(", "),
                self.good_periods(),
            );
            text.push_str(&output::wrapped(&line, ""));
        }
    }

    /// The patterns whose own numbers show a period off.
    fn patterns(&self, period: u32, sets: &[&SetComparison], text: &mut String) {
        const MOST: usize = 12;
        let alpha = self.settings.alpha();
        let mut found: Vec<(usize, usize, f64)> = Vec::new();
        for of_group in sets.chunk_by(|a, b| a.group == b.group) {
            let against = of_group.iter().flat_map(|s| &s.against);
            let off = against
                .filter(|a| a.period == period && a.shift_adjusted.is_some_and(|p| p <= alpha));
            let strengths: Vec<f64> = off
                .filter_map(|a| Some(a.departure?.effect().abs()))
                .collect();
            if !strengths.is_empty() {
                let most = strengths.iter().copied().fold(0.0, f64::max);
                found.push((of_group[0].group, strengths.len(), most));
            }
        }
        if found.is_empty() {
            return;
        }
        found.sort_by(|a, b| {
            (b.1, b.2)
                .partial_cmp(&(a.1, a.2))
                .unwrap_or(std::cmp::Ordering::Equal)
        });
        let mut names: Vec<String> = found
            .iter()
            .take(MOST)
            .map(|(group, n, _)| {
                let of = &self.every.groups()[*group];
                format!("{} ({n})", group_title("", &of.pattern))
            })
            .collect();
        if found.len() > MOST {
            names.push(format!("{} more", found.len() - MOST));
        }
        let line = format!(
            "patterns that show it by their own pieces alone (in so many dimensions): {}",
            names.join(", ")
        );
        text.push_str(&output::wrapped(&line, "  "));
    }

    /// The numbers of one period where it stands out, and what else was compared.
    fn pooled_table(
        &self,
        period: u32,
        findings: &[Finding],
        pooled: &[&PooledAgainst],
        text: &mut String,
    ) -> bool {
        let alpha = self.settings.alpha();
        let told = |f: &&Finding| f.period == period && (f.shift.is_some() || f.spread.is_some());
        let (of, still): (Vec<&Finding>, Vec<&Finding>) = findings
            .iter()
            .filter(told)
            .partition(|f| f.stands_out(alpha) || f.in_some(alpha));
        // What stands out in a good period has been said.
        if of.iter().all(|f| f.good) {
            return false;
        }
        text.push_str(&format!("\n{}\n", self.title(period)));
        let confidence = self.interval_heading();
        let headings = [
            "dimension",
            ">in",
            ">shift",
            &confidence,
            ">p adj.",
            ">spread",
            &confidence,
            ">p adj.",
        ];
        let mut table = output::table(&headings);
        for finding in of {
            let same = |p: &&&PooledAgainst| p.period == period && p.column == finding.column;
            let patterns = pooled
                .iter()
                .find(same)
                .map_or(0, |p| p.patterns.max(p.spread_patterns));
            let mut cells = vec![self.label(finding.column), patterns.to_string()];
            cells.extend(self.numbers(finding));
            output::add_row(&mut table, cells);
        }
        text.push_str(&output::lines(&table));
        self.still(still.iter().map(|f| f.column), text);
        true
    }

    /// The dimensions that have no row.
    fn still(&self, columns: impl Iterator<Item = usize>, text: &mut String) {
        let labels: Vec<String> = columns.map(|c| self.label(c)).collect();
        if !labels.is_empty() {
            let line = format!("not seen to be off: {}", labels.join("; "));
            text.push_str(&output::wrapped(&line, "  "));
        }
    }

    fn interval_heading(&self) -> String {
        format!("{} % interval", round(100.0 * self.settings.confidence()))
    }

    /// Shift, interval, p; ratio of spreads, interval, p.
    fn numbers(&self, finding: &Finding) -> Vec<String> {
        let mut cells = Vec::new();
        match &finding.shift {
            None => cells.extend(["-".to_owned(), String::new(), "-".to_owned()]),
            Some(told) => {
                let scale = (told.high - told.low) / 4.0;
                let of = |x: f64| match finding.kind {
                    Kind::Ratio => percent(x.exp_m1()),
                    Kind::Interval => sized(x, scale),
                };
                let unit = match finding.kind {
                    Kind::Ratio => "%",
                    Kind::Interval => self.unit(finding.column),
                };
                cells.push(match finding.kind {
                    Kind::Ratio => format!("{} {unit}", plus(&percent(told.value.exp_m1()))),
                    Kind::Interval => format!("{} {unit}", signed(told.value, scale)),
                });
                let silent = match finding.kind {
                    Kind::Ratio => told.high - told.low > SAYS_NOTHING.ln(),
                    Kind::Interval => !(told.high - told.low).is_finite(),
                };
                cells.push(match silent {
                    true => "-".to_owned(),
                    false => format!("{} to {}", of(told.low), of(told.high)),
                });
                cells.push(probability(told.p));
            }
        }
        match &finding.spread {
            None => cells.extend(["-".to_owned(), String::new(), "-".to_owned()]),
            Some(told) => {
                cells.push(format!("x{}", factor(told.value)));
                cells.push(match told.high > SAYS_NOTHING * told.low {
                    true => "-".to_owned(),
                    false => format!("{} to {}", factor(told.low), factor(told.high)),
                });
                cells.push(probability(told.p));
            }
        }
        cells
    }

    /// The dimensions in which the good periods differ by more than is usual, before any allowance for
    /// the number of dimensions.
    fn pooled_agreement_table(&self, together: &[&PooledAgreement], text: &mut String) -> bool {
        let alpha = self.settings.alpha();
        let apart = |a: &&&PooledAgreement| a.unusual.is_some_and(|p| p <= alpha);
        let together: Vec<&PooledAgreement> = together.iter().filter(apart).copied().collect();
        if together.is_empty() {
            return false;
        }
        let called = self.good_periods();
        text.push_str(&format!("\n{called} among themselves\n"));
        let headings = [
            "dimension",
            ">in",
            ">apart",
            ">scatter",
            ">adj.",
            ">usual",
            ">adj.",
        ];
        let mut table = output::table(&headings);
        let or = |p: Option<f64>| p.map_or("-".to_owned(), probability);
        for of in together {
            output::add_row(
                &mut table,
                [
                    self.label(of.column),
                    of.patterns.to_string(),
                    self.difference(of.column, of.kind, of.distance),
                    or(of.differ),
                    or(of.differ_adjusted),
                    or(of.unusual),
                    or(of.unusual_adjusted),
                ],
            );
        }
        text.push_str(&output::lines(&table));
        true
    }

    /// One pattern in full.
    fn pattern(&self, group: usize, text: &mut String, tables: &mut Tables) {
        let of = &self.every.groups()[group];
        text.push_str(&format!("{}\n", group_title(&of.maker, &of.pattern)));
        let sets: Vec<&SetComparison> = self.comparison.sets.iter().collect();
        let agreed: Vec<&SetComparison> = sets
            .iter()
            .copied()
            .filter(|s| s.agreement.is_some())
            .collect();
        let tests = self.alone(&sets);
        self.agreement(&self.chosen(&sets), &tests, text);
        let findings: Vec<Finding> = sets
            .iter()
            .flat_map(|s| {
                let all = s.against.iter();
                all.map(|a| Finding::of_set(s, a, self.settings))
            })
            .collect();
        let mut periods: Vec<u32> = Vec::new();
        for period in sets.iter().flat_map(|s| &s.periods) {
            if !periods.contains(&period.period) {
                periods.push(period.period);
            }
        }
        for &period in &periods {
            if findings.iter().any(|f| f.period == period) {
                self.told(period, &findings, text);
            }
        }
        self.nothing_good(&sets, text);
        for &period in &periods {
            let of = || findings.iter().filter(|f| f.period == period);
            // A good period that does not stand out is told among its fellows.
            let alpha = self.settings.alpha();
            let any = of().any(|f| f.shift.is_some() || f.spread.is_some());
            if any && (of().any(|f| f.stands_out(alpha)) || of().any(|f| !f.good)) {
                self.period_table(period, &sets, &findings, text);
                tables.against = true;
            }
        }
        tables.agreement = self.agreement_table(&agreed, text);
        text.push('\n');
    }

    /// The pieces of one period, and how they stand to the good ones.
    fn period_table(
        &self,
        period: u32,
        sets: &[&SetComparison],
        findings: &[Finding],
        text: &mut String,
    ) {
        let confidence = self.interval_heading();
        let headings = [
            "dimension",
            ">n",
            ">centre",
            ">shift",
            &confidence,
            ">p adj.",
            ">ranks",
            ">spread",
        ];
        let mut table = output::table(&headings);
        for set in sets {
            let Some(own) = set.periods.iter().find(|p| p.period == period) else {
                continue;
            };
            let scale = match set.kind {
                Kind::Ratio => 0.02 * own.centre,
                Kind::Interval => 0.1,
            };
            let mut cells = vec![
                self.label(set.column),
                own.n.to_string(),
                format!("{} {}", sized(own.centre, scale), self.unit(set.column)),
            ];
            let finding = findings
                .iter()
                .find(|f| f.period == period && f.column == set.column);
            let against = set.against.iter().find(|a| a.period == period);
            match finding.zip(against) {
                None => cells.extend(["-", "", "-", "-", "-"].map(str::to_owned)),
                Some((finding, against)) => {
                    let numbers = self.numbers(finding);
                    let or = |p: Option<f64>| p.map_or("-".to_owned(), probability);
                    cells.extend_from_slice(&numbers[..3]);
                    cells.push(or(against.plain.ranks.map(|t| t.p)));
                    let clear = |t: &Told| t.seen(self.settings.alpha());
                    let star = match finding.spread.as_ref().is_some_and(clear) {
                        true => " *",
                        false => "",
                    };
                    cells.push(format!("{}{star}", numbers[3]));
                }
            }
            output::add_row(&mut table, cells);
        }
        text.push_str(&format!("\n{}\n", self.title(period)));
        text.push_str(&output::lines(&table));
    }

    /// The dimensions in which the good periods differ, before any allowance for the number of
    /// dimensions.
    fn agreement_table(&self, agreed: &[&SetComparison], text: &mut String) -> bool {
        let alpha = self.settings.alpha();
        let apart = |s: &&&SetComparison| {
            s.agreement.is_some_and(|a| {
                let tests = [a.differ, a.unusual];
                tests.iter().flatten().any(|t| t.p <= alpha)
            })
        };
        let agreed: Vec<&SetComparison> = agreed.iter().filter(apart).copied().collect();
        if agreed.is_empty() {
            return false;
        }
        let called = self.good_periods();
        text.push_str(&format!("\n{called} among themselves\n"));
        let headings = [
            "dimension",
            ">n",
            ">apart",
            ">scatter",
            ">adj.",
            ">usual",
            ">adj.",
            ">ranks",
            ">spreads",
        ];
        let mut table = output::table(&headings);
        let or = |p: Option<f64>| p.map_or("-".to_owned(), probability);
        for set in agreed {
            let Some(a) = set.agreement else { continue };
            output::add_row(
                &mut table,
                [
                    self.label(set.column),
                    a.n.to_string(),
                    self.difference(set.column, set.kind, a.centres.1 - a.centres.0),
                    or(a.differ.map(|t| t.p)),
                    or(a.differ_adjusted),
                    or(a.unusual.map(|t| t.p)),
                    or(a.unusual_adjusted),
                    or(a.ranks.map(|t| t.p)),
                    or(a.spreads.map(|t| t.p)),
                ],
            );
        }
        text.push_str(&output::lines(&table));
        true
    }

    fn legend(&self, tables: &Tables) -> String {
        let alpha = round(100.0 * self.settings.alpha());
        let called = self.good_periods();
        let full = self.in_full;
        let mut lines: Vec<String> = Vec::new();
        if tables.against {
            lines.push(format!(
                "shift: the period's centre less that of the {called} (of a {} itself: of the \
                 others); an interval that says nothing is -",
                called.trim_end_matches('s')
            ));
            lines.push(format!(
                "spread: how much wider the period's pieces spread; x1 is alike{}",
                match full {
                    true => format!("; *: its adjusted p is {alpha} % or less"),
                    false => "; in: patterns that tell".to_owned(),
                }
            ));
            lines.push(format!(
                "p adj.: how often chance alone makes one more such period stand out so far in any of \
                 the dimensions (Holm); told in words at {alpha} % and less"
            ));
        }
        if tables.agreement {
            lines.push(format!(
                "apart: from the least to the greatest centre of the {called}{}; scatter: p of so \
                 much by their pieces' scatter alone; usual: by what is usual between them as well; \
                 rows: p of {} or less before it is adjusted",
                if full { "" } else { ", in the middle pattern" },
                self.settings.alpha(),
            ));
        }
        if full && (tables.against || tables.agreement) {
            lines.push(
                "ranks (Mann-Whitney; Kruskal-Wallis), spreads (Brown-Forsythe): p of the plain \
                 tests, nothing borrowed, not adjusted"
                    .to_owned(),
            );
        }
        lines.push(match full {
            true => {
                "numbers of all dimensions and periods: --format csv --part periods, agreement, \
                 against-good"
            }
            false => {
                "numbers of all dimensions and periods: --format csv --part pooled, pooled-agreement"
            }
        }
        .to_owned());
        lines.push(
            "A test tells how rare a difference is under chance. Survivors and collectors' choices are \
             no random sample of what a works made."
                .to_owned(),
        );
        lines.iter().map(|l| output::wrapped(l, "  ")).collect()
    }
}

/// What is told of the agreement of one dimension.
struct Agreed {
    column: usize,
    kind: Kind,
    distance: f64,
    differ: Option<f64>,
    unusual: Option<f64>,
    /// Whether no period has more than one piece in any pattern.
    few: bool,
    /// The distance that would be seen, of a single pattern.
    noticeable: Option<f64>,
}

/// Which kinds of tables were written.
#[derive(Default)]
struct Tables {
    against: bool,
    agreement: bool,
}

/// A shift of so many times the usual distance of a good period from the common centre is far.
const FAR: f64 = 3.0;

/// So many ratios of spreads are told in words.
const MOST_SPREADS: usize = 5;

/// An interval whose ends are so many times apart says nothing.
const SAYS_NOTHING: f64 = 100.0;

/// A share in per cent, to a tenth; whole where it is large, and no more than can be meant.
fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    let text = match percent.abs() {
        x if x >= 1e4 => format!("{percent:.0e}"),
        x if x >= 99.95 => format!("{percent:.0}"),
        _ => format!("{percent:.1}"),
    };
    match text.as_str() {
        "-0.0" => "0.0".to_owned(),
        _ => text,
    }
}

fn plus(text: &str) -> String {
    match text.starts_with('-') || text == "0.0" {
        true => text.to_owned(),
        false => format!("+{text}"),
    }
}

/// A ratio of spreads.
fn factor(ratio: f64) -> String {
    match ratio {
        r if r >= 1e4 || !r.is_finite() => "over 10000".to_owned(),
        r if r >= 99.95 => format!("{r:.0}"),
        r if r >= 9.995 => format!("{r:.1}"),
        r => format!("{r:.2}"),
    }
}

/// A number without a needless decimal.
fn round(x: f64) -> String {
    let text = format!("{x:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
