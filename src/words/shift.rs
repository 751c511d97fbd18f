//! The years in which a dimension shifted.

use super::{counted, shown, sized};
use crate::catalogue::Kind;
use crate::cohort::Cohort;
use crate::norm::Settings;
use crate::periods::{ShiftYears, Size, What};
use crate::report::stretches;
use crate::stats::YearShift;

/// What was seen of one dimension, in a sentence or two.
pub fn shifts_seen(of: &ShiftYears, cohort: &Cohort<'_>, settings: &Settings) -> String {
    let parts = What::ALL.iter().flat_map(|&what| {
        let shifts = of.question(what).map_or(&[][..], |q| &q.shifts);
        shifts
            .iter()
            .map(move |shift| shift_seen(of, what, shift, cohort, settings))
    });
    let parts: Vec<String> = parts.collect();
    let over = counted(of.patterns, "pattern", "patterns");
    format!(
        "{}: {}; seen over {over}, {} pieces.",
        column_label(of, cohort),
        parts.join("; "),
        of.n
    )
}

/// Whether a shift may well be chance, among so many dimensions.
pub fn is_doubtful(of: &ShiftYears, what: What, shift: &YearShift, settings: &Settings) -> bool {
    of.p_of(what, shift).1 > settings.alpha()
}

/// One shift: `shifted about 1959 (95 %: 1958 to 1961): 7.1 % larger afterwards`.
pub fn shift_seen(
    of: &ShiftYears,
    what: What,
    shift: &YearShift,
    cohort: &Cohort<'_>,
    settings: &Settings,
) -> String {
    let doubt = match is_doubtful(of, what, shift, settings) {
        true => "; perhaps by chance, among so many dimensions",
        false => "",
    };
    let about = when(shift, doubt);
    match (what, of.size(what, shift)) {
        (What::Location, Some(size)) => {
            format!(
                "shifted about {about}: {} afterwards",
                larger(of, size, cohort)
            )
        }
        (What::Location, None) => format!("shifted about {about}"),
        (What::Spread, None) => format!("its spread changed about {about}"),
        (What::Spread, Some(size)) => match size.value >= 1.0 {
            true => format!("its spread widened {:.1} times about {about}", size.value),
            false => format!("its spread shrank to {:.2} about {about}", size.value),
        },
    }
}

/// `1959 (95 %: 1958 to 1961)`, with what there is to doubt.
fn when(shift: &YearShift, doubt: &str) -> String {
    let years = match shift.years.len() {
        ..=3 => stretches(&shift.years, " to ", " or "),
        _ => years_of_shift(shift)
            .replace('-', " to ")
            .replace(" *", ", with gaps"),
    };
    format!("{} (95 %: {years}{doubt})", shift.year)
}

/// First and last year that a shift may be of: `1958-1961`, with a mark where not every one may.
pub fn years_of_shift(shift: &YearShift) -> String {
    let (first, last) = (shift.years.first(), shift.years.last());
    let ends = first.zip(last).map(|(first, last)| (first.0, last.1));
    let text = stretches(ends.as_slice(), "-", "");
    match shift.years.len() {
        ..=1 => text,
        _ => format!("{text} *"),
    }
}

fn larger(of: &ShiftYears, size: Size, cohort: &Cohort<'_>) -> String {
    let more = if size.value >= 0.0 {
        "larger"
    } else {
        "smaller"
    };
    match of.kind {
        Kind::Ratio => format!("{:.1} % {more}", 100.0 * size.value.abs()),
        Kind::Interval => {
            let column = &cohort.table().columns[of.column];
            let unit = &cohort.table().dimension(column).unit;
            format!("{} {unit} {more}", sized(size.value.abs(), size.value))
        }
    }
}

/// The dimension's label, with the finish where it is one of colour.
pub fn column_label(of: &ShiftYears, cohort: &Cohort<'_>) -> String {
    let column = &cohort.table().columns[of.column];
    let label = &cohort.table().dimension(column).label;
    match column.finish.as_deref().filter(|finish| !finish.is_empty()) {
        Some(finish) => format!("{label} ({})", shown(finish)),
        None => label.clone(),
    }
}
