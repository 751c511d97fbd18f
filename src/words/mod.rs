//! Results in words and numbers for people: what tables and pages say alike.
//!
//! | file | holds |
//! |---|---|
//! | `number` | numbers with as many digits as mean something |
//! | `check` | what a reader should take from the verdict on one piece |
//! | `shift` | the years in which a dimension shifted |
//! | `work` | the works of a plan |
//! | `mod` | labels, names and counts |

mod check;
mod number;
mod shift;
mod work;

pub use check::{CheckWords, excursion_words, feature_words, judged_by};
pub use number::{band, deviation, fine, grain, grain_or, probability, reading, signed, sized};
pub use shift::{column_label, is_doubtful, shift_seen, shifts_seen, years_of_shift};
pub use work::work_words;

use crate::catalogue::Dimension;
use crate::cohort::Cohort;
use crate::norm::Loan;
use crate::table::{Column, Table};
use crate::verdict::Verdict;

/// What a verdict is about, wherever one is told.
pub const SCOPE: &str =
    "A verdict is about dimensions. It neither dates nor authenticates a piece.";

/// A verdict for people.
#[must_use]
pub fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Typical => "typical",
        Verdict::Borderline => "borderline",
        Verdict::OutOfNorm => "OUT OF NORM",
        Verdict::Undecided => "undecided",
    }
}

/// A name of the user's as people see it: control characters must not reach the terminal.
pub fn shown(name: &str) -> String {
    name.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

/// A pattern and its maker, for a heading.
pub fn group_title(maker: &str, pattern: &str) -> String {
    match (maker, pattern) {
        (_, "") => "(no pattern given)".to_owned(),
        ("", pattern) => shown(pattern),
        (maker, pattern) => format!("{}, {}", shown(pattern), shown(maker)),
    }
}

/// A dimension, with the finish of its pieces where it depends on it.
pub fn dimension_label(dimension: &Dimension, finish: Option<&str>) -> String {
    // The unit of a colour is in its name, and so is that it is one.
    let name = dimension.label.trim_start_matches("finish ");
    match finish {
        None => shown(&dimension.label),
        Some("") => shown(&format!("{name}, no finish given")),
        Some(finish) => shown(&format!("{name}, {finish}")),
    }
}

/// A maker's name, or that there is none.
pub fn maker_shown(maker: &str) -> &str {
    if maker.is_empty() {
        "(no maker)"
    } else {
        maker
    }
}

/// The nearest names, at the end of a refusal.
pub fn hint(nearest: &[&str]) -> String {
    match nearest {
        [] => String::new(),
        names => format!("; nearest: {}", names.join(", ")),
    }
}

/// `1 reference`, `3 references`.
pub fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// Whose reading it is, and what: `HR0013 (5.70 mm)`; `more` is said beside the unit.
pub fn whose(table: &Table, column: &Column, row: usize, more: &str) -> String {
    let (name, value) = (table.specimens.names.get(row), column.values[row]);
    let unit = &table.dimension(column).unit;
    format!(
        "{} ({} {unit}{more})",
        shown(name),
        sized(value, 0.01 * value)
    )
}

/// Readings of a pattern that no real pipe has, those of one piece left out, and what to do about
/// them.
pub fn not_credible(cohort: &Cohort<'_>, group: usize, but: Option<&str>) -> Vec<String> {
    let table = cohort.table();
    let line = |column: &Column| {
        let dimension = table.dimension(column);
        let named = |&row: &usize| Some(table.specimens.names.get(row)) != but;
        let rows: Vec<usize> = cohort.not_credible(column, group);
        let rows: Vec<usize> = rows.into_iter().filter(named).collect();
        let (low, high) = dimension.credible?;
        let mut names: Vec<String> = rows
            .iter()
            .take(5)
            .map(|&row| whose(table, column, row, ""))
            .collect();
        if rows.len() > names.len() {
            names.push(format!("{} more", rows.len() - names.len()));
        }
        (!rows.is_empty()).then(|| {
            format!(
                "{}: not counted, because outside the credible {low} to {high} {}: {}; mend the sheet, \
                 or correct or withdraw the reading",
                dimension.label,
                dimension.unit,
                names.join(", ")
            )
        })
    };
    table.columns.iter().filter_map(line).collect()
}

/// Where the strength of some norms comes from: `3 pieces of this pattern + 11 degrees of freedom
/// borrowed from 7 other patterns`; nothing where nobody speaks.
pub fn strength(of: impl Iterator<Item = (usize, Option<Loan>)>) -> Option<String> {
    let (mut pieces, mut freedom, mut lenders) = (Extent::new(), Extent::new(), Extent::new());
    let mut all_borrow = true;
    for (n, loan) in of.filter(|(n, _)| *n > 0) {
        pieces.add(n as f64);
        match loan {
            Some(loan) => {
                freedom.add(loan.spread.df);
                lenders.add(loan.spread.lenders as f64);
            }
            None => all_borrow = false,
        }
    }
    let own = format!("{} of this pattern", pieces.of("piece", "pieces", 0)?);
    let borrowed = freedom.of("degree of freedom", "degrees of freedom", 1);
    let Some((borrowed, from)) = borrowed.zip(lenders.of("other pattern", "other patterns", 0))
    else {
        return Some(format!("strength: {own}, nothing borrowed"));
    };
    let some = if all_borrow {
        ""
    } else {
        " for some dimensions"
    };
    Some(format!(
        "strength: {own} + {borrowed} borrowed from {from}{some}"
    ))
}

/// The least and greatest of some numbers.
struct Extent(f64, f64);

impl Extent {
    fn new() -> Extent {
        Extent(f64::INFINITY, f64::NEG_INFINITY)
    }

    fn add(&mut self, value: f64) {
        *self = Extent(self.0.min(value), self.1.max(value));
    }

    /// `3 pieces`, `3 to 5 pieces`; nothing of no numbers.
    fn of(&self, one: &str, many: &str, decimals: usize) -> Option<String> {
        let (low, high) = (
            format!("{:.decimals$}", self.0),
            format!("{:.decimals$}", self.1),
        );
        (self.0 <= self.1).then(|| match low == high {
            true if self.1 == 1.0 => format!("1 {one}"),
            true => format!("{high} {many}"),
            false => format!("{low} to {high} {many}"),
        })
    }
}
