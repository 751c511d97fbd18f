//! Rows of a screening.

use super::named;
use crate::screen::{Code, Finding};
use crate::table::Table;

row! {
    /// One slip in the source, or what looks like one.
    ScreenRow<L>, SCREEN_COLUMNS;
    /// What it is, such as `unit_inch` or `columns_exchanged`.
    code: &'static str,
    /// The specimens; none for a habit of a measurer.
    specimens: L,
    /// Maker of the first.
    maker: Option<&'a str>,
    /// Pattern of the first.
    pattern: Option<&'a str>,
    /// Keys of the dimensions.
    dimensions: L,
    /// Unit of the first dimension.
    unit: &'a str,
    /// How many readings it is about.
    count: u64,
    /// The readings as written.
    texts: L,
    /// The first reading; none for a habit and for a piece under two names.
    value: Option<f64>,
    /// What it should be; the step that the readings really have for `round_numbers`.
    proposed: Option<f64>,
    /// log10 of how much better that fits; of a test -log10 of p before adjusting.
    evidence: Option<f64>,
    /// p of a test, adjusted for all that was tested.
    p: Option<f64>,
    /// Who measured, or else the source.
    measured_by: Option<&'a str>,
    /// One sentence for people.
    sentence: &'a str,
}

impl<'a, L> ScreenRow<'a, L> {
    /// The row of a finding; `list` makes one text, or whatever is wanted, of several.
    pub fn new(
        finding: &'a Finding,
        table: &'a Table,
        list: impl Fn(Vec<&'a str>) -> L,
    ) -> ScreenRow<'a, L> {
        let specimens = &table.specimens;
        let first = finding.rows.first();
        let dimension = |&at: &usize| table.catalogue.at(at);
        let alone = finding.code != Code::SamePieceTwice;
        let suspect = finding.suspects.first().filter(|_| alone);
        let step = finding.step.map(|(step, unit)| step * unit.in_base_units());
        let texts = finding.suspects.iter().map(|s| s.text.as_str());
        ScreenRow {
            code: finding.code.name(),
            specimens: list(
                finding
                    .rows
                    .iter()
                    .map(|&r| specimens.names.get(r))
                    .collect(),
            ),
            maker: first.and_then(|&row| named(specimens.makers.get(row))),
            pattern: first.and_then(|&row| named(specimens.patterns.get(row))),
            dimensions: list(
                (finding.dimensions.iter().map(dimension))
                    .map(|d| d.key.as_str())
                    .collect(),
            ),
            unit: (finding.dimensions.first().map(dimension)).map_or("", |d| &d.unit),
            count: finding.count as u64,
            texts: list(texts.collect()),
            value: suspect.map(|s| s.value),
            proposed: suspect.and_then(|s| s.proposed).or(step),
            evidence: finding.evidence,
            p: finding.p,
            measured_by: named(&finding.by),
            sentence: &finding.sentence,
        }
    }
}
