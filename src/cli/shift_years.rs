//! The section of `calibriar periods` on the years in which a dimension shifted.

use calibriar::catalogue::Kind;
use calibriar::cohort::Cohort;
use calibriar::norm::Settings;
use calibriar::periods::{FEWEST_DATED, Scope, ShiftYears, Size, Untold, What};
use calibriar::report::{SHIFT_COLUMNS, ShiftRow};

use super::output::{self, probability, shown};
use super::{CliError, remark};
use calibriar::words::{column_label, group_title, maker_shown, shifts_seen, years_of_shift};

/// The rows for scripts.
pub(super) fn rows<'a>(found: &[ShiftYears], cohort: &'a Cohort<'_>) -> Vec<ShiftRow<'a>> {
    found.iter().flat_map(|f| ShiftRow::of(f, cohort)).collect()
}

pub(super) fn write_csv(found: &[ShiftYears], cohort: &Cohort<'_>) -> Result<(), CliError> {
    if found.is_empty() {
        remark(NO_DATES);
    }
    output::write_csv(SHIFT_COLUMNS, rows(found, cohort))
}

const NO_DATES: &str = "no piece with a reading has a year of making or a period of known years: \
                        when a dimension shifted cannot be told";

/// The section for people.
pub(super) fn section(found: &[ShiftYears], cohort: &Cohort<'_>, settings: &Settings) -> String {
    let mut text = String::from("Years in which a dimension shifted\n");
    if found.is_empty() {
        return text + &output::wrapped(NO_DATES, "  ") + "\n";
    }
    for of_scope in found.chunk_by(|a, b| a.scope == b.scope) {
        text.push_str(&of_one_scope(of_scope, cohort, settings));
        text.push('\n');
    }
    text.push_str(&output::wrapped(
        &format!(
            "year: the first of the new practice; years: 95 % sure to hold it (* with gaps). p: for both questions \
             of a dimension; p adj. (Holm): for all dimensions; {} or less counts as seen. A shift \
             among pieces that came down to us need not be one of the works: survivors are a choice, \
             and a date may have been given by the very feature measured. A slow drift shows as one or \
             several shifts with many years (docs/shift_years.md).",
            settings.alpha()
        ),
        "",
    ));
    text.push('\n');
    text
}

fn of_one_scope(found: &[ShiftYears], cohort: &Cohort<'_>, settings: &Settings) -> String {
    let scope = found[0].scope;
    let group = &cohort.groups()[scope.group()];
    let title = match scope {
        Scope::Pattern(_) => format!("{} alone", group_title(&group.maker, &group.pattern)),
        Scope::Maker(_) => format!(
            "{}, all patterns together",
            shown(maker_shown(&group.maker))
        ),
    };
    let mut text = output::wrapped(&title, "  ");
    let mut table = output::table(&[
        "dimension",
        "what",
        ">year",
        "years",
        ">shift",
        ">spreads",
        ">p",
        ">p adj.",
    ]);
    let mut any = false;
    let (mut unseen, mut few, mut silent) = (Vec::new(), Vec::new(), Vec::new());
    for of in found {
        let label = column_label(of, cohort);
        let shifts = match &of.found {
            Ok(shifts) => shifts,
            Err(Untold::TooFew) => {
                few.push(label);
                continue;
            }
            Err(other) => {
                silent.push(format!("{label}: {}", why(*other)));
                continue;
            }
        };
        let seen = What::ALL.iter().any(|&what| {
            of.question(what)
                .is_some_and(|question| !question.shifts.is_empty())
        });
        if !seen {
            unseen.push((label, shifts.location.least_noticeable));
            continue;
        }
        text.push_str(&output::wrapped(&shifts_seen(of, cohort, settings), "    "));
        for what in What::ALL {
            for shift in of.question(what).map_or(&[][..], |q| &q.shifts) {
                any = true;
                let (p, adjusted) = of.p_of(what, shift);
                let cells = [
                    label.clone(),
                    what.name().to_owned(),
                    shift.year.to_string(),
                    years_of_shift(shift),
                    of.size(what, shift)
                        .map_or_else(String::new, |s| cell(of, what, s, cohort)),
                    match what {
                        What::Location => format!("{:+.1}", shift.size),
                        What::Spread => String::new(),
                    },
                    probability(p),
                    probability(adjusted),
                ];
                output::add_row(&mut table, cells);
            }
        }
    }
    let lines = unseen_lines(&unseen);
    for line in lines.into_iter().chain(silent) {
        text.push_str(&output::wrapped(&line, "    "));
    }
    if !few.is_empty() {
        let line = format!(
            "too few dated pieces to tell (fewer than {FEWEST_DATED} of patterns with two and more): {}",
            few.join(", ")
        );
        text.push_str(&output::wrapped(&line, "    "));
    }
    if any {
        text.push_str(&output::lines(&table));
    }
    text
}

/// Dimensions without a shift, with what would have been found.
fn unseen_lines(unseen: &[(String, Option<f64>)]) -> Vec<String> {
    let told: Vec<String> = unseen
        .iter()
        .filter_map(|(label, least)| Some(format!("{label} ({:.1})", (*least)?)))
        .collect();
    let hardly: Vec<&str> = unseen
        .iter()
        .filter(|(_, least)| least.is_none())
        .map(|(label, _)| label.as_str())
        .collect();
    let mut lines = Vec::new();
    if !told.is_empty() {
        lines.push(format!(
            "no shift seen (in brackets the shift, in spreads of a pattern's pieces, that would have been \
             found four times in five in the middle of the dates): {}",
            told.join(", ")
        ));
    }
    if !hardly.is_empty() {
        lines.push(format!(
            "no shift seen, and the pieces are too few to find even a large one: {}",
            hardly.join(", ")
        ));
    }
    lines
}

fn why(untold: Untold) -> &'static str {
    match untold {
        Untold::TooFew => "too few dated pieces to tell",
        Untold::AllEqual => "all readings of a pattern are equal: no shift can be told",
        Untold::SameDates => {
            "no year has a few pieces before it and a few after: nothing can be told"
        }
        Untold::Beyond => "readings beyond what can be computed with",
    }
}

fn cell(of: &ShiftYears, what: What, size: Size, cohort: &Cohort<'_>) -> String {
    match (what, of.kind) {
        (What::Spread, _) => format!("x {:.2}", size.value),
        (What::Location, Kind::Ratio) => format!("{:+.1} %", 100.0 * size.value),
        (What::Location, Kind::Interval) => {
            let column = &cohort.table().columns[of.column];
            let unit = &cohort.table().dimension(column).unit;
            format!("{} {unit}", output::signed(size.value, size.value))
        }
    }
}
