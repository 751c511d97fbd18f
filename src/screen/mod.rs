//! Slips in a source: readings that look as if somebody wrote, read or typed them wrongly.
//!
//! | file | holds |
//! |---|---|
//! | `reading` | every single reading on the scale of judgement, and who took it |
//! | `fellows` | what the other pieces of a pattern say of a reading, whatever strays among them |
//! | `slips` | units, decimal points, halves, exchanged columns and digits; what is unlike its fellows |
//! | `written` | the digits of a text, and what exchanging two of them makes |
//! | `copied` | one text again and again down a column |
//! | `twice` | one piece under two names |
//! | `round` | round numbers that come too often |
//!
//! Nothing is changed, and nothing here reaches a norm: a finding names readings, says what would
//! explain them and how much better that fits. `docs/screening.md` has the promise and what it
//! costs.

mod copied;
mod fellows;
mod reading;
mod round;
mod slips;
mod twice;
mod written;

use std::collections::HashMap;

use crate::cohort::Cohort;
use crate::notation::Unit;
use crate::table::Table;
use fellows::Fellows;
use reading::{By, Readings};

/// What a finding is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Code {
    /// Written in inches, read as millimetres.
    UnitInch,
    /// Written in millimetres, read as inches.
    UnitMillimetre,
    /// Written in centimetres, read as millimetres.
    UnitCentimetre,
    /// Written in ounces, read as grams.
    UnitOunce,
    /// Written in grams, read as ounces.
    UnitGram,
    /// The decimal point one or two places off.
    DecimalShift,
    /// Two dimensions of one piece stand in each other's place.
    ColumnsExchanged,
    /// Two neighbouring digits exchanged.
    DigitsExchanged,
    /// A radius for a diameter, or the reverse.
    HalfForWhole,
    /// One text copied down a column.
    CopiedDown,
    /// One piece under two names.
    SamePieceTwice,
    /// Unlike its fellows, and nothing above explains it.
    UnlikeFellows,
    /// Round numbers more often than chance has them.
    RoundNumbers,
}

impl Code {
    /// Every code, in the order in which findings are told.
    pub const ALL: [Code; 13] = [
        Code::UnitInch,
        Code::UnitMillimetre,
        Code::UnitCentimetre,
        Code::UnitOunce,
        Code::UnitGram,
        Code::DecimalShift,
        Code::ColumnsExchanged,
        Code::DigitsExchanged,
        Code::HalfForWhole,
        Code::CopiedDown,
        Code::SamePieceTwice,
        Code::UnlikeFellows,
        Code::RoundNumbers,
    ];

    /// The name that scripts rely on.
    pub fn name(self) -> &'static str {
        match self {
            Code::UnitInch => "unit_inch",
            Code::UnitMillimetre => "unit_millimetre",
            Code::UnitCentimetre => "unit_centimetre",
            Code::UnitOunce => "unit_ounce",
            Code::UnitGram => "unit_gram",
            Code::DecimalShift => "decimal_shift",
            Code::ColumnsExchanged => "columns_exchanged",
            Code::DigitsExchanged => "digits_exchanged",
            Code::HalfForWhole => "half_for_whole",
            Code::CopiedDown => "copied_down",
            Code::SamePieceTwice => "same_piece_twice",
            Code::UnlikeFellows => "unlike_fellows",
            Code::RoundNumbers => "round_numbers",
        }
    }

    /// What it is, for people.
    pub fn words(self) -> &'static str {
        match self {
            Code::UnitInch => "written in inches, read as millimetres",
            Code::UnitMillimetre => "written in millimetres, read as inches",
            Code::UnitCentimetre => "written in centimetres, read as millimetres",
            Code::UnitOunce => "written in ounces, read as grams",
            Code::UnitGram => "written in grams, read as ounces",
            Code::DecimalShift => "decimal point in the wrong place",
            Code::ColumnsExchanged => "two dimensions in each other's place",
            Code::DigitsExchanged => "neighbouring digits exchanged",
            Code::HalfForWhole => "a radius for a diameter, or the reverse",
            Code::CopiedDown => "the same text copied down a column",
            Code::SamePieceTwice => "one piece under two names",
            Code::UnlikeFellows => "unlike its fellows, and no slip above is clear",
            Code::RoundNumbers => "round numbers more often than chance has them",
        }
    }

    /// The code of that name.
    pub fn parse(name: &str) -> Option<Code> {
        let name = name.trim();
        Code::ALL.into_iter().find(|c| c.name() == name)
    }

    fn family(self) -> Family {
        match self {
            Code::UnitInch
            | Code::UnitMillimetre
            | Code::UnitCentimetre
            | Code::UnitOunce
            | Code::UnitGram
            | Code::DecimalShift
            | Code::HalfForWhole => Family::Factor,
            Code::ColumnsExchanged => Family::Columns,
            Code::DigitsExchanged => Family::Digits,
            Code::CopiedDown => Family::Copied,
            Code::SamePieceTwice => Family::Twice,
            Code::UnlikeFellows => Family::Unlike,
            Code::RoundNumbers => Family::Round,
        }
    }
}

/// Codes that share one part of alpha: a reading times a number, for one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Family {
    Factor,
    Columns,
    Digits,
    Copied,
    Twice,
    Unlike,
    Round,
}

impl Family {
    /// Units, points and halves are the most frequent slips and have the most hypotheses: they may spend
    /// three times as much (our decision).
    fn weight(self) -> f64 {
        match self {
            Family::Factor => 3.0,
            _ => 1.0,
        }
    }
}

/// What to look for, and how sure to be.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Probability with which a wholly clean source has any finding at all, over all codes.
    alpha: f64,
    /// The codes that are looked for; all where there is none.
    only: Vec<Code>,
    /// The rows whose readings are judged; all rows where there is none. The others still speak.
    rows: Option<Vec<bool>>,
}

/// Settings that make no sense.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("alpha: expected a number over 0 and under 1, got {given}")]
pub struct SettingsError {
    /// As given.
    pub given: f64,
}

impl Settings {
    /// All rows are judged, by these codes (by all where none is given).
    ///
    /// # Errors
    /// [`SettingsError`] for an alpha that is not between 0 and 1.
    pub fn new(alpha: f64, only: &[Code]) -> Result<Settings, SettingsError> {
        if alpha > 0.0 && alpha < 1.0 {
            Ok(Settings {
                alpha,
                only: only.to_vec(),
                rows: None,
            })
        } else {
            Err(SettingsError { given: alpha })
        }
    }

    /// Only the pieces of the rows that are marked are judged; all others still say what is usual.
    #[must_use]
    pub fn judging(self, rows: Vec<bool>) -> Settings {
        Settings {
            rows: Some(rows),
            ..self
        }
    }

    /// Probability of any finding in a wholly clean source.
    pub fn alpha(&self) -> f64 {
        self.alpha
    }

    fn looks_for(&self, code: Code) -> bool {
        self.only.is_empty() || self.only.contains(&code)
    }

    fn has(&self, family: Family) -> bool {
        Code::ALL
            .into_iter()
            .any(|c| c.family() == family && self.looks_for(c))
    }

    /// The part of alpha that a family of codes may spend, of those that are looked for.
    fn level(&self, of: Family) -> f64 {
        let mut families: Vec<Family> = Vec::new();
        for code in Code::ALL.into_iter().filter(|&c| self.looks_for(c)) {
            if !families.contains(&code.family()) {
                families.push(code.family());
            }
        }
        let all: f64 = families.iter().map(|f| f.weight()).sum();
        self.alpha * of.weight() / all.max(of.weight())
    }

    fn judges(&self, row: usize) -> bool {
        self.rows
            .as_ref()
            .is_none_or(|rows| rows.get(row).copied().unwrap_or(false))
    }
}

/// One reading of a finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Suspect {
    /// Row of its specimen.
    pub row: usize,
    /// Index of its dimension in the table's catalogue.
    pub dimension: usize,
    /// As written; empty where the source keeps no texts.
    pub text: String,
    /// In the dimension's unit.
    pub value: f64,
    /// What it should be, in the dimension's unit, where the finding proposes that.
    pub proposed: Option<f64>,
}

/// One slip, or what looks like one.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What it is.
    pub code: Code,
    /// The specimens, by row: one, two of `same_piece_twice`, all of a column or a run; none for
    /// `round_numbers`.
    pub rows: Vec<usize>,
    /// The dimensions.
    pub dimensions: Vec<usize>,
    /// The readings, in their order; none for `round_numbers`.
    pub suspects: Vec<Suspect>,
    /// How many readings it is about.
    pub count: usize,
    /// Who measured, or else the source; empty where nobody is named.
    pub by: String,
    /// log10 of how much better the proposed value fits than the one read; for a test -log10 of its p
    /// before adjusting. `None` where nothing but the credible range speaks.
    pub evidence: Option<f64>,
    /// Of a test: its p, adjusted for all that was tested.
    pub p: Option<f64>,
    /// The step that the readings really have, in the unit they were written in.
    pub step: Option<(f64, Unit)>,
    /// One sentence for people.
    pub sentence: String,
}

/// What was found, and among how much.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Screening {
    /// The findings: by code, the strongest first.
    pub findings: Vec<Finding>,
    /// Readings that were judged by fellows.
    pub judged: usize,
    /// Readings that nothing could be said of: too few fellows.
    pub without_fellows: usize,
    /// The degrees of freedom of the t law that good readings of this source were taken to follow.
    pub tail_df: f64,
}

/// As often as this a round of strays is taken out and the rest looked at anew.
const ROUNDS: usize = 6;

/// Looks for slips in a table whose details were kept ([`crate::table::Details`]); without details
/// there are no texts and no names of measurers to look at.
///
/// `cohort` should hold every period ([`crate::cohort::Selection::Every`]): standing does not matter
/// here, only which pieces are of the same period.
pub fn screen(cohort: &Cohort<'_>, settings: &Settings) -> Screening {
    let table = cohort.table();
    let readings = Readings::of(cohort);
    let mut out = vec![false; readings.all.len()];
    let mut slips = Vec::new();
    let mut fellows = Fellows::fit(cohort, &readings, &out);
    let mut screening = Screening {
        tail_df: fellows.tail().df,
        ..Screening::default()
    };
    (screening.judged, screening.without_fellows) = slips::counts(&readings, &fellows, settings);
    for _ in 0..ROUNDS {
        let new = slips::find(cohort, &readings, &fellows, settings, &out);
        if new.is_empty() {
            break;
        }
        for slip in &new {
            slip.readings().for_each(|(at, _)| out[at] = true);
        }
        slips.extend(new);
        fellows = Fellows::fit(cohort, &readings, &out);
    }
    let mut findings = slips::told(table, &readings, &fellows, slips, settings);
    if settings.has(Family::Copied) {
        findings.extend(copied::find(cohort, &readings, &fellows, settings));
    }
    if settings.has(Family::Twice) {
        findings.extend(twice::find(cohort, &readings, &fellows, settings));
    }
    if settings.has(Family::Round) {
        findings.extend(round::find(table, &readings, &fellows, settings));
    }
    findings.retain(|f| settings.looks_for(f.code));
    let strength = |f: &Finding| f.evidence.unwrap_or(f64::INFINITY);
    findings.sort_by(|a, b| {
        (a.code.cmp(&b.code))
            .then(strength(b).total_cmp(&strength(a)))
            .then(a.rows.cmp(&b.rows))
    });
    screening.findings = findings;
    screening
}

/// Findings by the specimens that they name, each named once.
pub fn specimens(findings: &[Finding]) -> usize {
    let rows: HashMap<usize, ()> = findings
        .iter()
        .flat_map(|f| f.rows.iter().map(|&row| (row, ())))
        .collect();
    rows.len()
}

/// A value for people, with its unit: four digits that mean something.
fn sized(table: &Table, dimension: usize, value: f64) -> String {
    let unit = &table.catalogue.at(dimension).unit;
    format!("{} {unit}", number(value))
}

/// A number of about four digits.
fn number(value: f64) -> String {
    let size = value.abs();
    if size != 0.0 && !(1e-3..1e7).contains(&size) {
        return format!("{value:.2e}");
    }
    let decimals = match size {
        s if s >= 1000.0 => 0,
        s if s >= 100.0 => 1,
        s if s >= 1.0 => 2,
        _ => 3,
    };
    format!("{value:.decimals$}")
}

/// `by Measurer A`, `in Ledger`; nothing where nobody is named.
fn by_words(by: &By) -> String {
    match (by.measurer, by.name.is_empty()) {
        (_, true) => String::new(),
        (true, false) => format!(" by {}", by.name),
        (false, false) => format!(" in {}", by.name),
    }
}
