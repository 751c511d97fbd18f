//! The page of one pattern: its norms, each dimension through the years, who measured, what is still needed.

use maud::{Markup, html};

use super::document::{Origin, document, id_of, sentence, wide};
use super::mark::legend;
use super::strip::{Mark, Strip};
use super::years::{DatedMark, ShiftMark, Span, Years};
use crate::catalogue::{YearRange, fold};
use crate::cohort::Cohort;
use crate::norm::{Evidence, Norm, Settings};
use crate::periods::{ShiftYears, What};
use crate::words::{
    band, counted, deviation, dimension_label, grain_or, group_title, is_doubtful, probability,
    shift_seen, shown, sized, strength,
};

/// What the page of one pattern is made from.
#[derive(Clone, Copy, Debug)]
pub struct PatternPage<'a> {
    /// What its norms rest on.
    pub evidence: &'a Evidence<'a>,
    /// The same pieces, of every period.
    pub every: &'a Cohort<'a>,
    /// Its number in both.
    pub group: usize,
    /// What it was judged with.
    pub settings: &'a Settings,
    /// Its norms, in the order of the catalogue.
    pub norms: &'a [Norm],
    /// The years in which its dimensions shifted.
    pub shifts: &'a [ShiftYears],
    /// Who measured its pieces.
    pub measured_by: &'a [MeasuredBy],
    /// Where the data come from.
    pub origin: Origin<'a>,
}

/// Who measured, and how much.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MeasuredBy {
    /// The name as written; empty where nobody is named.
    pub who: String,
    /// Pieces.
    pub pieces: usize,
    /// Readings.
    pub readings: usize,
}

/// How many of those who measured are named.
const NAMED: usize = 12;

impl PatternPage<'_> {
    /// The page, whole: one file that needs no other.
    pub fn html(&self) -> String {
        let group = &self.evidence.cohort().groups()[self.group];
        let title = group_title(&group.maker, &group.pattern);
        let periods = self.periods();
        let strengths = self.norms.iter().map(|n| (n.basis.kept.len(), n.loan));
        let body = html! {
            header {
                p class="kind" { "A pattern: what the pieces that others are judged by measure" }
                h1 { bdi { (title) } }
                p {
                    (counted(group.pieces, "piece", "pieces")) " in the source"
                    @if group.periods.is_empty() && group.references == group.pieces {
                        ", all of which count, whatever their date."
                    } @else {
                        ", " (group.references) " of the periods that pieces are judged by"
                        @if !group.periods.is_empty() { " (" (shown(&group.periods.join(", "))) ")" } "."
                    }
                }
                @if let Some(strength) = strength(strengths) { p { (sentence(&strength)) "." } }
            }
            main {
                (self.who())
                section {
                    h2 { "Dimension by dimension" }
                    (legend(&periods))
                    p class="small" {
                        "Mark: a piece, a row a period; crossed out: set aside. Filled band: typical range; dashed band: "
                        "tolerance band; dashed line: centre."
                        @if self.is_dated() {
                            " Through the years: every dated piece, also of other periods, with a bar where only a span of years is "
                            "known; grey stretches: periods that pieces are not judged by; heavy line: the year of a shift, with the "
                            "years that it may be shaded."
                        }
                    }
                    @if self.norms.is_empty() { p { "No piece of the chosen periods has a factory reading." } }
                    @for norm in self.norms { (self.dimension(norm, &periods)) }
                }
                (self.numbers())
            }
        };
        document(&title, &body, &self.origin)
    }

    /// The periods of the pattern's pieces, those that pieces are judged by first.
    fn periods(&self) -> Vec<String> {
        let mut periods: Vec<String> = self.evidence.cohort().groups()[self.group].periods.clone();
        for name in &self.every.groups()[self.group].periods {
            if !periods.contains(name) {
                periods.push(name.clone());
            }
        }
        periods.push(NO_PERIOD.to_owned());
        let rows = self.every.reference_rows(self.group).iter();
        let undated = |&row: &u32| self.every.period_label(row as usize).is_none();
        if !rows.clone().any(undated) {
            periods.pop();
        }
        periods
    }

    fn who(&self) -> Markup {
        let (some, others) = self.measured_by.split_at(self.measured_by.len().min(NAMED));
        html! {
            @if !some.is_empty() {
                section {
                    h2 { "Who measured" }
                    ul {
                        @for of in some {
                            li {
                                (if of.who.is_empty() { "nobody named".to_owned() } else { shown(&of.who) }) ": "
                                (counted(of.readings, "reading", "readings")) " of " (counted(of.pieces, "piece", "pieces"))
                            }
                        }
                        @if !others.is_empty() { li { "and " (others.len()) " more" } }
                    }
                }
            }
        }
    }

    fn dimension(&self, norm: &Norm, periods: &[String]) -> Markup {
        let Some((position, column)) = norm.column(self.evidence.cohort().table()) else {
            return html! {};
        };
        let table = self.evidence.cohort().table();
        let dimension = table.dimension(column);
        let label = dimension_label(dimension, norm.finish.as_deref());
        let id = format!("{}-{position}", id_of(&dimension.key));
        let name = |row: usize| shown(table.specimens.names.get(row));
        let place = |row: usize| {
            let label = self
                .every
                .period_label(row)
                .map_or(NO_PERIOD, |label| self.every.period_name(label));
            periods.iter().position(|p| p == label).unwrap_or(0)
        };
        let aside = |row: usize| {
            norm.basis
                .set_aside
                .iter()
                .any(|a| a.reference.row() == row)
        };
        let references = self.evidence.references(position, self.group, &[]);
        let marks: Vec<Mark> = (references.iter().map(|r| r.row()))
            .map(|row| Mark {
                value: column.values[row],
                period: place(row),
                name: name(row),
                set_aside: aside(row),
            })
            .collect();
        let dated = (self.every.reference_rows(self.group).iter()).filter_map(|&row| {
            let row = row as usize;
            Some(DatedMark {
                years: self.years(row)?,
                value: self.every.as_made(column, row)?,
                period: place(row),
                name: name(row),
            })
        });
        let dated: Vec<DatedMark> = dated.collect();
        let (typical, tolerance) = match &norm.firm {
            Some(firm) => (Some(firm.typical), Some(firm.tolerance)),
            None => (None, None),
        };
        let grain = grain_or(typical, norm.centre);
        let spans = self.spans();
        let shifts = self.shift_marks(position);
        let years = Years {
            id: format!("years-{id}"),
            label: &label,
            unit: &dimension.unit,
            typical,
            marks: &dated,
            spans: &spans,
            shifts: &shifts,
        };
        html! {
            section class="dimension" {
                h3 { (label) ", " (dimension.unit) }
                @match &norm.firm {
                    Some(firm) => {
                        p {
                            "typical " (band(firm.typical.low, firm.typical.high, grain))
                            ", centre " (sized(norm.centre, grain)) " (" (band(firm.centre.low, firm.centre.high, grain)) ")"
                            ", tolerance " (band(firm.tolerance.low, firm.tolerance.high, grain))
                            ", " (counted(norm.basis.kept.len(), "reference", "references"))
                            ". " (self.needed(norm))
                        }
                    }
                    None => { p { (counted(norm.basis.kept.len(), "reference", "references")) ": too few for a range." } }
                }
                @for shift in &shifts {
                    @let words = sentence(&shift.words);
                    @if shift.is_doubtful { p { (words) "." } }
                    @else { p { strong { (words) "." } } }
                }
                (Strip {
                    id: format!("strip-{id}"),
                    label: &label,
                    unit: &dimension.unit,
                    value: None,
                    centre: Some(norm.centre),
                    typical,
                    tolerance,
                    marks: &marks,
                    periods,
                }.picture())
                @if let Some(years) = years.picture() { (years) }
            }
        }
    }

    /// What would make a norm firm, or that it is.
    fn needed(&self, norm: &Norm) -> String {
        let Some(firm) = &norm.firm else {
            return String::new();
        };
        let table = self.evidence.cohort().table();
        let unit = &table.catalogue.at(norm.dimension).unit;
        let least = sized(firm.least_noticeable, firm.least_noticeable);
        let seen = format!("a fault of {least} {unit} is seen four times in five");
        let needed = norm
            .basis
            .predictive
            .as_ref()
            .map(|p| p.references_needed(norm.basis.usual_uncertainty()));
        match needed {
            Some(Some(0)) => format!("Firm enough: {seen}."),
            Some(Some(more)) => {
                let more = counted(more, "more piece", "more pieces");
                format!("{more} would make it firm; now {seen}.")
            }
            _ => format!("Readings of this place are too coarse for any number of pieces; {seen}."),
        }
    }

    /// Whether any of its pieces has a date.
    fn is_dated(&self) -> bool {
        let mut rows = self.every.reference_rows(self.group).iter();
        rows.any(|&row| self.years(row as usize).is_some())
    }

    /// When a piece was made: its date, or the years of its period.
    fn years(&self, row: usize) -> Option<YearRange> {
        let specimens = &self.every.table().specimens;
        specimens.made[row].or_else(|| {
            let name = &self.every.period_of(row)?.name;
            let periods = &self.every.table().periods;
            let at = periods.named(specimens.makers.get(row), name)?;
            Some(periods.all()[at].years)
        })
    }

    /// The maker's periods, by their years.
    fn spans(&self) -> Vec<Span<'_>> {
        let cohort = self.evidence.cohort();
        let maker = fold(&cohort.groups()[self.group].maker);
        let all = cohort.table().periods.all().iter();
        let own = all.filter(|p| p.maker.as_deref().is_none_or(|of| fold(of) == maker));
        let speaks = |name: &str| {
            let mut in_use = cohort.periods().iter();
            in_use.any(|period| period.chosen && fold(&period.name) == fold(name))
        };
        let mut spans: Vec<Span<'_>> = own
            .map(|p| Span {
                name: &p.name,
                years: (p.years.from, p.years.to),
                speaks: speaks(&p.name),
            })
            .collect();
        spans.sort_by_key(|span| span.years);
        spans
    }

    fn shift_marks(&self, column: usize) -> Vec<ShiftMark> {
        let of_column = self.shifts.iter().filter(|s| s.column == column);
        let all = of_column.flat_map(|of| {
            What::ALL.iter().flat_map(move |&what| {
                let shifts = of.question(what).map_or(&[][..], |q| &q.shifts);
                shifts.iter().map(move |shift| ShiftMark {
                    year: shift.year,
                    years: shift.years.clone(),
                    words: shift_seen(of, what, shift, self.every, self.settings),
                    is_doubtful: is_doubtful(of, what, shift, self.settings),
                })
            })
        });
        all.collect()
    }

    fn numbers(&self) -> Markup {
        let table = self.evidence.cohort().table();
        html! {
            section {
                h2 { "Every number" }
                (wide("Every number", &html! {
                    table {
                        thead {
                            tr {
                                th scope="col" { "dimension" } th scope="col" { "unit" }
                                @for name in [
                                    "n", "set aside", "lent", "centre", "centre, interval", "spread", "typical range",
                                    "tolerance band", "noticeable", "mean", "sd", "median", "min", "max", "min to max holds",
                                ] { th scope="col" class="number" { (name) } }
                            }
                        }
                        tbody {
                            @for norm in self.norms {
                                @let dimension = table.catalogue.at(norm.dimension);
                                @let grain = grain_or(norm.firm.as_ref().map(|f| f.typical), norm.centre);
                                @let said = &norm.described;
                                tr data-dimension=(dimension.key) {
                                    th scope="row" {
                                        (dimension_label(dimension, norm.finish.as_deref()))
                                    }
                                    td { (dimension.unit) }
                                    td class="number" { (norm.basis.kept.len()) }
                                    td class="number" { (norm.basis.set_aside.len()) }
                                    td class="number" { (norm.loan.map_or("-".to_owned(), |loan| format!("{:.1}", loan.spread.df))) }
                                    td class="number" data-value=(norm.centre) { (sized(norm.centre, grain)) }
                                    @match &norm.firm {
                                        Some(firm) => {
                                            td class="number" { (band(firm.centre.low, firm.centre.high, grain)) }
                                            td class="number" { (deviation(norm.kind, firm.spread)) }
                                            td class="number" data-low=(firm.typical.low) data-high=(firm.typical.high) {
                                                (band(firm.typical.low, firm.typical.high, grain))
                                            }
                                            td class="number" { (band(firm.tolerance.low, firm.tolerance.high, grain)) }
                                            td class="number" { (sized(firm.least_noticeable, grain)) }
                                        }
                                        None => { @for _ in 0..5 { td class="number" { "-" } } }
                                    }
                                    td class="number" { (sized(said.mean, grain)) }
                                    td class="number" { (said.sd.map_or("-".to_owned(), |sd| sized(sd, grain))) }
                                    td class="number" { (sized(said.median, grain)) }
                                    td class="number" { (sized(said.min, grain)) }
                                    td class="number" { (sized(said.max, grain)) }
                                    td class="number" { (probability(norm.range_confidence)) }
                                }
                            }
                        }
                    }
                }))
                ul class="small" {
                    li { "typical range: where the next reading of a good piece falls with " (100.0 * self.settings.coverage()) " %" }
                    li {
                        "tolerance band: holds at least " (100.0 * self.settings.coverage()) " % of all good pieces, with "
                        (100.0 * self.settings.confidence()) " % confidence"
                    }
                    li { "noticeable: the smallest true fault that is flagged about four times in five" }
                    li { "mean to max: all references as they were read, before any screening; min to max holds: confidence that this range holds as many good pieces as the typical range is meant to" }
                    li { "lent: degrees of freedom of the spread borrowed from the maker's other patterns" }
                }
            }
        }
    }
}

/// A piece without a period.
pub(super) const NO_PERIOD: &str = "no period given";
