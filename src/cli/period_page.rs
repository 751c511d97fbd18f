//! What `calibriar periods` tells people: the answer in words, then the numbers.

use std::collections::BTreeSet;

use calibriar::catalogue::{Kind, Standing, fold};
use calibriar::cohort::Cohort;
use calibriar::norm::Settings;
use calibriar::periods::comparison::{
    Against, Comparison, PooledAgainst, PooledAgreement, SetComparison,
};

use super::output::{self, counted, probability, shown, signed, sized};
use super::source::group_title;

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
}

/// A number with its interval and its adjusted p.
#[derive(Clone, Copy)]
struct Told {
    value: f64,
    low: f64,
    high: f64,
    p: f64,
    /// How strong it is: spreads, or the logarithm of a ratio.
    strength: f64,
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
                    strength,
                }
            }),
        }
    }

    fn of_pooled(pooled: &PooledAgainst) -> Finding {
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
                strength: effect.value.abs(),
            }),
            spread: spread.map(|(ratio, p)| Told {
                value: ratio.value,
                low: ratio.interval.0,
                high: ratio.interval.1,
                p,
                strength: ratio.value.ln().abs(),
            }),
        }
    }
}

impl Page<'_> {
    pub(super) fn text(&self) -> String {
        let table = self.every.table();
        if table.specimens.is_empty() {
            return "no measurements yet: calibriar add SHEET.csv\n".to_owned();
        }
        if self.comparison.sets.is_empty() {
            return output::wrapped(
                "Nothing can be compared: no piece with a reading in factory state is of a known \
                 period. Pieces need a year within one period of the table of periods \
                 (--periods-from names periods), or a column `period`.",
                "",
            );
        }
        let mut text = String::new();
        match (self.in_full, self.groups) {
            (true, &[group]) => self.pattern(group, &mut text),
            _ => self.makers(&mut text),
        }
        text.push_str(&self.legend());
        text
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
        let label = shown(&self.every.table().dimension(of).label);
        let colour = label.trim_start_matches("finish ");
        match of.finish.as_deref() {
            None => label,
            Some("") => format!("{colour}, no finish given"),
            Some(finish) => format!("{colour}, {}", shown(finish)),
        }
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

    /// `12.1 % larger (10.3 to 13.9)`.
    fn larger(&self, finding: &Finding, told: &Told) -> String {
        let (way, flip) = match (told.value < 0.0, finding.kind) {
            (false, Kind::Ratio) => ("larger", 1.0),
            (true, Kind::Ratio) => ("smaller", -1.0),
            (false, Kind::Interval) => ("more", 1.0),
            (true, Kind::Interval) => ("less", -1.0),
        };
        let end = |x: f64| match finding.kind {
            Kind::Ratio => percent(flip * x.exp_m1()),
            Kind::Interval => sized(flip * x, 0.1),
        };
        let (mut ends, size) = (
            [told.low, told.high],
            self.difference(finding.column, finding.kind, told.value),
        );
        if flip < 0.0 {
            ends.reverse();
        }
        format!("{size} {way} ({} to {})", end(ends[0]), end(ends[1]))
    }

    /// What a period's findings are, in words.
    fn told(&self, period: u32, findings: &[Finding], text: &mut String) -> bool {
        let alpha = self.settings.alpha();
        let of = || findings.iter().filter(|f| f.period == period);
        let good = of().any(|f| f.good);
        let mut shifted: Vec<(&Finding, Told)> = of()
            .filter_map(|f| Some((f, f.shift.filter(|t| t.p <= alpha)?)))
            .collect();
        shifted.sort_by(|a, b| b.1.strength.total_cmp(&a.1.strength));
        let mut spreads: Vec<(&Finding, Told)> = of()
            .filter_map(|f| Some((f, f.spread.filter(|t| t.p <= alpha)?)))
            .collect();
        spreads.sort_by(|a, b| b.1.strength.total_cmp(&a.1.strength));
        let judged = of().filter(|f| f.shift.is_some()).count();
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
            (_, 0) => format!("{title}: no shift from {others} seen in {dimensions}"),
            (_, n) => format!(
                "{title}: off from {others} in {n} of {dimensions}, by more than one more of them would be"
            ),
        };
        text.push_str(&output::wrapped(&head, ""));
        let far = |f: &Finding, t: &Told| f.usual > 0.0 && t.strength > FAR * f.usual;
        for (is_far, words) in [
            (true, "far beyond their own differences:"),
            (false, "beyond their own differences:"),
        ] {
            let some = || shifted.iter().filter(|(f, t)| far(f, t) == is_far);
            if some().next().is_some() {
                text.push_str(&format!("  {words}\n"));
            }
            for (finding, told) in some() {
                let line = format!(
                    "{}: {}",
                    self.label(finding.column),
                    self.larger(finding, told)
                );
                text.push_str(&output::wrapped(&line, "    "));
            }
        }
        for (wide, words) in [(true, "wider"), (false, "narrower")] {
            let some: Vec<String> = spreads
                .iter()
                .filter(|(_, t)| (t.value > 1.0) == wide)
                .map(|(f, t)| format!("{} {} times", self.label(f.column), factor(t.value)))
                .collect();
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
        true
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
            line.push_str(
                " Nor are their centres seen to differ beyond the scatter of their pieces.",
            );
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

    /// All patterns of each maker together.
    fn makers(&self, text: &mut String) {
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
            let title = super::norms::maker_shown(maker);
            let patterns = counted(groups.len(), "pattern", "patterns together");
            text.push_str(&format!("{}, {patterns}\n", shown(title)));
            let together = all.pooled_agreement.iter().zip(&of_together);
            let together: Vec<&PooledAgreement> =
                together.filter(|p| p.1 == key).map(|p| p.0).collect();
            let tests: Vec<Agreed> = together
                .iter()
                .filter(|p| p.differ.is_some())
                .map(|p| Agreed {
                    column: p.column,
                    kind: p.kind,
                    distance: p.distance,
                    differ: p.differ_adjusted,
                    unusual: p.unusual_adjusted,
                })
                .collect();
            self.agreement(&self.chosen(&sets), &tests, text);
            let pooled = all.pooled.iter().zip(&of_pooled);
            let pooled: Vec<&PooledAgainst> = pooled.filter(|p| p.1 == key).map(|p| p.0).collect();
            let findings: Vec<Finding> = pooled.iter().map(|p| Finding::of_pooled(p)).collect();
            let mut periods: Vec<u32> = findings.iter().map(|f| f.period).collect();
            periods.dedup();
            for &period in &periods {
                if self.told(period, &findings, text) {
                    self.patterns(period, &sets, text);
                }
            }
            self.nothing_good(&sets, text);
            for &period in &periods {
                self.pooled_table(period, &findings, &pooled, text);
            }
            self.pooled_agreement_table(&together, text);
            text.push('\n');
        }
    }

    /// Periods that are compared with nothing.
    fn nothing_good(&self, sets: &[&SetComparison], text: &mut String) {
        let compared = sets.iter().flat_map(|s| &s.against).map(|a| a.period);
        let compared: BTreeSet<u32> = compared.collect();
        let others = sets.iter().flat_map(|s| &s.periods).filter(|p| !p.good);
        let others: BTreeSet<u32> = others.map(|p| p.period).collect();
        let alone: Vec<u32> = others.difference(&compared).copied().collect();
        if !alone.is_empty() {
            let names: Vec<String> = alone.iter().map(|&p| self.title(p)).collect();
            let line = format!(
                "Compared with nothing, as no piece of the {} has the same dimension: {}",
                self.good_periods(),
                names.join(", ")
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

    /// The numbers of one period; nothing of a good one that does not stand out.
    fn pooled_table(
        &self,
        period: u32,
        findings: &[Finding],
        pooled: &[&PooledAgainst],
        text: &mut String,
    ) {
        let alpha = self.settings.alpha();
        let of: Vec<&Finding> = findings
            .iter()
            .filter(|f| f.period == period && (f.shift.is_some() || f.spread.is_some()))
            .collect();
        let stands_out = |f: &&Finding| [f.shift, f.spread].iter().flatten().any(|t| t.p <= alpha);
        if of.is_empty() || of.iter().all(|f| f.good) && !of.iter().any(stands_out) {
            return;
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
                cells.push(format!("{} to {}", of(told.low), of(told.high)));
                cells.push(probability(told.p));
            }
        }
        match &finding.spread {
            None => cells.extend(["-".to_owned(), String::new(), "-".to_owned()]),
            Some(told) => {
                cells.push(format!("x{}", factor(told.value)));
                cells.push(format!("{} to {}", factor(told.low), factor(told.high)));
                cells.push(probability(told.p));
            }
        }
        cells
    }

    fn pooled_agreement_table(&self, together: &[&PooledAgreement], text: &mut String) {
        if together.is_empty() {
            return;
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
    }

    /// One pattern in full.
    fn pattern(&self, group: usize, text: &mut String) {
        let of = &self.every.groups()[group];
        text.push_str(&format!("{}\n", group_title(&of.maker, &of.pattern)));
        let sets: Vec<&SetComparison> = self.comparison.sets.iter().collect();
        let agreed: Vec<&SetComparison> = sets
            .iter()
            .copied()
            .filter(|s| s.agreement.is_some())
            .collect();
        let tests: Vec<Agreed> = agreed
            .iter()
            .filter_map(|s| {
                let a = s.agreement?;
                a.differ?;
                Some(Agreed {
                    column: s.column,
                    kind: s.kind,
                    distance: a.centres.1 - a.centres.0,
                    differ: a.differ_adjusted,
                    unusual: a.unusual_adjusted,
                })
            })
            .collect();
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
            self.period_table(period, &sets, &findings, text);
        }
        self.agreement_table(&agreed, text);
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
                    let clear = |t: &Told| t.p <= self.settings.alpha();
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

    fn agreement_table(&self, agreed: &[&SetComparison], text: &mut String) {
        if agreed.is_empty() {
            return;
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
    }

    fn legend(&self) -> String {
        let alpha = round(100.0 * self.settings.alpha());
        let called = self.good_periods();
        let full = self.in_full;
        let mut lines = vec![
            format!(
                "shift: the period's centre less that of the {called} (of a {} itself: of the others)",
                called.trim_end_matches('s')
            ),
            format!(
                "spread: how much wider the period's pieces spread; x1 is alike{}",
                match full {
                    true => format!("; *: its adjusted p is {alpha} % or less"),
                    false => "; in: patterns that tell".to_owned(),
                }
            ),
            format!(
                "p adj.: how often chance alone makes one more such period stand out so far in any of \
                 the dimensions (Holm); told in words at {alpha} % and less"
            ),
            format!(
                "apart: from the least to the greatest centre of the {called}{}; scatter: p of so \
                 much by their pieces' scatter alone; usual: by what is usual between them as well",
                if full { "" } else { ", in the middle pattern" }
            ),
        ];
        if full {
            lines.push(
                "ranks (Mann-Whitney; Kruskal-Wallis), spreads (Brown-Forsythe): p of the plain \
                 tests, nothing borrowed, not adjusted; Welch's in csv and json"
                    .to_owned(),
            );
        }
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
}

/// A shift of so many times the usual distance of a good period from the common centre is far.
const FAR: f64 = 3.0;

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
