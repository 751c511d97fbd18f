//! The page of one piece: against its pattern's good periods.

use maud::{Markup, html};

use super::document::{Origin, document, id_of, sentence, wide};
use super::drawing::{Call, drawing};
use super::mark::legend;
use super::pattern::NO_PERIOD;
use super::strip::{Mark, Strip};
use super::{finish, outline, section, size_shape, works};
use crate::catalogue::Catalogue;
use crate::norm::{Band, Evidence, Settings};
use crate::refit::Refit;
use crate::table::{Table, Trace};
use crate::verdict::{Caution, Check, DimensionCheck, Piece, Verdict};
use crate::words::{
    CheckWords, SCOPE, band, excursion_words, feature_words, fine, grain_or, group_title,
    judged_by, probability, reading, shown, signed, sized, verdict_words,
};

/// What the page of one piece is made from.
#[derive(Clone, Copy, Debug)]
pub struct SpecimenPage<'a> {
    /// What it was judged by.
    pub evidence: &'a Evidence<'a>,
    /// The piece's table, where that is not the cohort's own.
    pub other: Option<&'a Table>,
    /// Its row.
    pub row: usize,
    /// What it was judged with.
    pub settings: &'a Settings,
    /// Verdict and plan.
    pub plan: &'a Refit,
    /// The tolerance bands of its dimensions.
    pub tolerances: &'a [(usize, Band)],
    /// The piece as recorded works left it.
    pub left: Option<Left<'a>>,
    /// Where the data come from.
    pub origin: Origin<'a>,
}

/// A piece as recorded works left it.
#[derive(Clone, Copy, Debug)]
pub struct Left<'a> {
    /// Its table.
    pub table: &'a Table,
    /// Its row.
    pub row: usize,
}

impl Left<'_> {
    /// A size as left; `catalogue` is that of the dimension's number.
    pub(super) fn of(&self, dimension: usize, catalogue: &Catalogue) -> Option<f64> {
        let key = &catalogue.at(dimension).key;
        let mut columns = self.table.columns.iter();
        columns.find_map(|c| {
            c.value(self.row)
                .filter(|_| self.table.dimension(c).key == *key)
        })
    }
}

impl SpecimenPage<'_> {
    /// The page, whole: one file that needs no other.
    pub fn html(&self) -> String {
        let piece = match self.other {
            None => Piece::of_cohort(self.evidence, self.row),
            Some(table) => Piece::of_another(self.evidence, table, self.row),
        };
        let check = &self.plan.check;
        let words = CheckWords {
            cohort: self.evidence.cohort(),
            catalogue: &piece.table.catalogue,
            settings: self.settings,
        };
        let title = group_title(&check.maker, &check.pattern);
        let sentences = words.beside_pictures(check);
        let traces: Vec<&Trace> = piece.traces().collect();
        let body = html! {
            header {
                p class="kind" { "One piece beside others of its pattern" }
                h1 { bdi { (shown(&check.specimen)) } }
                p class="of" {
                    bdi { (title) }
                    @match (&check.period, piece.table.specimens.made[piece.row]) {
                        (Some(period), Some(made)) => { ", made in " (shown(period)) " (" (made) ")" }
                        (Some(period), None) => { ", made in " (shown(period)) }
                        (None, Some(made)) => { ", made " (made) }
                        (None, None) => {}
                    }
                }
                p class=(if words.is_out_of_norm(check) { "verdict out_of_norm" } else { "verdict" }) { (words.standing(check)) }
                @if !check.dimensions.is_empty() { p { (shown(&sentence(&judged_by(check, words.cohort)))) "." } }
            }
            main {
                @if check.dimensions.is_empty() {
                    p { "No reading that counts." }
                } @else {
                    section {
                        h2 { "The pipe" }
                        (drawing(piece.table, piece.row, &traces, &self.calls(check, words.catalogue)))
                    }
                    (self.said(&sentences))
                    (self.strips(&piece, check))
                    (self.outlines(check, &words, &traces))
                    @if let Some(of) = &check.finish {
                        section { h2 { "The finish" } (finish::finish(of, &words.finish(of))) }
                    }
                    @if let Some(joint) = &check.joint {
                        section {
                            h2 { "Size against shape" }
                            (size_shape::size_shape(joint, words.catalogue, &words.whole(check, joint)))
                        }
                    }
                    @if let Some(works) = works::works(self.plan, self.left.as_ref(), words.catalogue) { (works) }
                    (self.numbers(check, &words))
                }
            }
        };
        document(
            &format!("{}: {title}", shown(&check.specimen)),
            &body,
            &self.origin,
        )
    }

    fn said(&self, sentences: &[String]) -> Markup {
        html! {
            @if !sentences.is_empty() {
                section {
                    h2 { "In words" }
                    ul { @for sentence in sentences { li { (shown(sentence)) } } }
                }
            }
        }
    }

    /// What is out of norm, to be called out on the drawing.
    fn calls(&self, check: &Check, catalogue: &Catalogue) -> Vec<Call> {
        let mut calls: Vec<Call> = Vec::new();
        for of in ordered(check)
            .into_iter()
            .filter(|d| d.verdict == Verdict::OutOfNorm)
        {
            let (known, Some(judged)) = (catalogue.at(of.dimension), &of.judged) else {
                continue;
            };
            let grain = grain(of);
            let slips = |caution: &Caution| matches!(caution, Caution::NotCredible { .. });
            let slip = match of.cautions.iter().any(slips) {
                true => "; no real pipe has that: look for a slip first",
                false => "",
            };
            calls.push(Call {
                key: known.key.clone(),
                at: None,
                words: format!(
                    "{} {} {}: {} off the centre, typical {}{slip}",
                    known.label,
                    reading(of.value, of.uncertainty, grain),
                    known.unit,
                    signed(judged.deviation, grain),
                    band(judged.typical.low, judged.typical.high, grain)
                ),
            });
        }
        for of in check
            .outlines
            .iter()
            .filter(|o| o.verdict == Verdict::OutOfNorm)
        {
            let key = of.feature.split('@').next().unwrap_or_default().to_owned();
            let most = of
                .excursions
                .iter()
                .max_by(|a, b| a.beyond.abs().total_cmp(&b.beyond.abs()));
            let where_it_is = most.map_or(String::new(), |e| {
                format!(
                    ": {}, {} mm beyond the band",
                    excursion_words(&of.feature, e),
                    sized(e.beyond.abs(), 0.5)
                )
            });
            calls.push(Call {
                key,
                at: most.map(|e| e.at),
                words: format!("outline of the {}{where_it_is}", feature_words(&of.feature)),
            });
        }
        if check
            .finish
            .as_ref()
            .is_some_and(|f| f.verdict == Verdict::OutOfNorm)
        {
            calls.push(Call {
                key: "finish_colour".to_owned(),
                at: None,
                words: "the finish is of another colour".to_owned(),
            });
        }
        calls
    }

    /// Names of the periods of the references, and the references of each dimension.
    fn strips(&self, piece: &Piece<'_>, check: &Check) -> Markup {
        let tolerances = self.tolerances;
        let cohort = self.evidence.cohort();
        let mut periods: Vec<String> = check.periods.clone();
        let mut marks_of: Vec<(usize, Vec<Mark>)> = Vec::new();
        for column in piece.measured() {
            let Some((position, references)) = piece.references(column) else {
                continue;
            };
            let of = &cohort.table().columns[position];
            let aside = check
                .dimensions
                .iter()
                .find(|d| d.dimension == column.dimension);
            let marks = references.iter().map(|reference| {
                let row = reference.row();
                let period = cohort
                    .period_label(row)
                    .map_or(NO_PERIOD, |label| cohort.period_name(label));
                let place = periods.iter().position(|p| p == period).unwrap_or_else(|| {
                    periods.push(period.to_owned());
                    periods.len() - 1
                });
                Mark {
                    value: of.values[row],
                    period: place,
                    name: shown(cohort.table().specimens.names.get(row)),
                    set_aside: aside
                        .is_some_and(|d| d.set_aside.iter().any(|a| a.reference.row() == row)),
                }
            });
            let marks = marks.collect();
            marks_of.push((column.dimension, marks));
        }
        let catalogue = &piece.table.catalogue;
        html! {
            section {
                h2 { "Dimension by dimension" }
                (legend(&periods))
                p class="small" {
                    "Mark: a reference, a row a period; crossed out: set aside. Filled band: typical range; dashed band: "
                    "tolerance band; dashed line: centre; bar with a head: this piece. What matters comes first."
                    @if check.dimensions.iter().any(|d| d.judged.is_some_and(|j| j.dated)) {
                        " The typical range is that of pieces of this piece's own period, the tolerance band that of good "
                        "pieces of any; so the one may reach beyond the other."
                    }
                }
                ul class="strips" {
                    @for of in ordered(check) {
                        @let known = catalogue.at(of.dimension);
                        @let grain = grain(of);
                        @let marks = marks_of.iter().find(|(at, _)| *at == of.dimension);
                        li {
                            div class="named" {
                                h3 { (known.label) }
                                p class=(format!("verdict {}", of.verdict.name())) { (verdict_words(of.verdict)) }
                                p { (reading(of.value, of.uncertainty, grain)) " " (known.unit) }
                                @if let Some(judged) = &of.judged {
                                    p class="small" {
                                        "typical " (band(judged.typical.low, judged.typical.high, grain))
                                        @if let Some((_, all)) = tolerances.iter().find(|(at, _)| *at == of.dimension) {
                                            br; "tolerance " (band(all.low, all.high, grain))
                                        }
                                    }
                                } @else {
                                    p class="small" { "too few references" }
                                }
                            }
                            (Strip {
                                id: format!("strip-{}-{}", id_of(&known.key), of.dimension),
                                label: &known.label,
                                unit: &known.unit,
                                value: Some(of.value),
                                centre: of.judged.as_ref().map(|j| j.centre),
                                typical: of.judged.as_ref().map(|j| j.typical),
                                tolerance: tolerances.iter().find(|(at, _)| *at == of.dimension).map(|(_, b)| *b),
                                marks: marks.map_or(&[], |(_, marks)| marks.as_slice()),
                                periods: &periods,
                            }.picture())
                        }
                    }
                }
            }
        }
    }

    fn outlines(&self, check: &Check, words: &CheckWords<'_>, traces: &[&Trace]) -> Markup {
        let mut outlines: Vec<_> = check.outlines.iter().collect();
        outlines.sort_by(|a, b| a.p_adjusted.total_cmp(&b.p_adjusted));
        let sections: Vec<Markup> = traces
            .iter()
            .filter_map(|trace| section::section(trace))
            .collect();
        html! {
            @if !outlines.is_empty() {
                section {
                    h2 { "Traced outlines" }
                    p class="small" {
                        "Filled band: where good outlines lie; heavy line: this piece; shaded stretch: outside the band."
                        @if outlines.iter().any(|of| !of.excursions.is_empty()) {
                            " Outlines are laid on one another as they fit best, so a hump can show as a hollow beside it: \
                             sizes tell which it is."
                        }
                    }
                    @for of in outlines { (outline::outline(of, &words.outline(of))) }
                }
            }
            @if !sections.is_empty() {
                section {
                    h2 { "Traced sections" }
                    p class="small" { "Heavy line: this piece; thin circles: the zone that holds it; numbers: crests." }
                    div class="polars" { @for of in &sections { (of) } }
                }
            }
        }
    }

    /// Every number, and what the words mean.
    fn numbers(&self, check: &Check, words: &CheckWords<'_>) -> Markup {
        html! {
            section {
                h2 { "Every number" }
                @if let Some(strength) = words.strength(check) { p { (sentence(&strength)) "." } }
                (wide("Every number", &html! {
                    table {
                        thead {
                            tr {
                                @for (name, number) in [
                                    ("dimension", false), ("verdict", false), ("unit", false), ("reads", true), ("+/-", true), ("state", false),
                                    ("typical range", true), ("centre", true), ("off by", true), ("score", true),
                                    ("p", true), ("p adj.", true), ("n", true), ("lent", true), ("noticeable", true),
                                ] {
                                    th scope="col" class=[number.then_some("number")] { (name) }
                                }
                            }
                        }
                        tbody {
                            @for of in &check.dimensions {
                                @let known = words.catalogue.at(of.dimension);
                                @let grain = grain(of);
                                tr data-dimension=(known.key) {
                                    th scope="row" { (known.label) }
                                    td { (verdict_words(of.verdict)) }
                                    td { (known.unit) }
                                    td class="number" data-value=(of.value) { (reading(of.value, of.uncertainty, grain)) }
                                    td class="number" { (fine(of.uncertainty)) }
                                    td { (of.state.name()) }
                                    @match &of.judged {
                                        Some(j) => {
                                            td class="number" data-low=(j.typical.low) data-high=(j.typical.high) {
                                                (band(j.typical.low, j.typical.high, grain))
                                            }
                                            td class="number" data-value=(j.centre) { (sized(j.centre, grain)) }
                                            td class="number" data-value=(j.deviation) { (signed(j.deviation, grain)) }
                                            td class="number" data-value=(j.score) { (signed((10.0 * j.score).round() / 10.0, 1.0)) }
                                            td class="number" data-value=(j.p) { (probability(j.p)) }
                                            td class="number" data-value=(j.p_adjusted) { (probability(j.p_adjusted)) }
                                        }
                                        None => {
                                            @for _ in 0..6 { td class="number" { "-" } }
                                        }
                                    }
                                    td class="number" { (of.n) }
                                    td class="number" { (of.loan.map_or("-".to_owned(), |loan| format!("{:.1}", loan.spread.df))) }
                                    td class="number" {
                                        (of.judged.as_ref().map_or("-".to_owned(), |j| sized(j.least_noticeable, grain)))
                                    }
                                }
                            }
                        }
                    }
                }))
                ul class="small" {
                    // The scope stands at the foot of every page.
                    @for line in words.legend().iter().filter(|line| *line != SCOPE) { li { (line) } }
                    li { "+/-: standard uncertainty of the reading; noticeable: the smallest true fault that is flagged about four times in five" }
                }
            }
        }
    }
}

/// The size that two digits of a dimension's numbers stand for.
fn grain(of: &DimensionCheck) -> f64 {
    grain_or(of.judged.map(|j| j.typical), of.value)
}

/// The dimensions, what matters first.
fn ordered(check: &Check) -> Vec<&DimensionCheck> {
    let rank = |verdict: Verdict| match verdict {
        Verdict::OutOfNorm => 0,
        Verdict::Borderline => 1,
        Verdict::Undecided => 2,
        Verdict::Typical => 3,
    };
    let mut all: Vec<&DimensionCheck> = check.dimensions.iter().collect();
    let p = |d: &DimensionCheck| d.judged.as_ref().map_or(1.0, |j| j.p);
    all.sort_by(|a, b| {
        rank(a.verdict)
            .cmp(&rank(b.verdict))
            .then(p(a).total_cmp(&p(b)))
    });
    all
}
