//! Rows of shift years.

use super::{limit, named};
use crate::cohort::Cohort;
use crate::periods::{Scope, ShiftYears, What};

row! {
    /// One shift of one dimension, or that none was seen (`year` is missing) or could be (`p` is missing).
    #[derive(Default)]
    ShiftRow, SHIFT_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Pattern; nothing for all patterns of the maker together.
    pattern: Option<&'a str>,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// `location` or `spread`.
    what: &'static str,
    /// The likeliest first year of the new practice.
    year: Option<i64>,
    /// The earliest year that it may be.
    year_low: Option<i64>,
    /// The latest.
    year_high: Option<i64>,
    /// All years that it may be, such as `1958-1961; 1964`.
    years: Option<String>,
    /// The shift: of location relative, 0.07 = 7 % larger afterwards, or in the unit where the dimension is
    /// no ratio; of spread that after over that before.
    shift: Option<f64>,
    /// Lower limit of its 95 % interval.
    shift_low: Option<f64>,
    /// Upper limit.
    shift_high: Option<f64>,
    /// The shift of location in spreads of a pattern's pieces.
    in_spreads: Option<f64>,
    /// p of so much by chance, given the dimension's other shifts; for location and spread together.
    p: Option<f64>,
    /// The same, adjusted for all dimensions (Holm).
    p_adjusted: Option<f64>,
    /// Dated pieces that can tell.
    n: u64,
    /// Their patterns.
    patterns: u64,
    /// Where none was seen: what would have been found four times in five in the middle of the dates; of
    /// location in spreads.
    least_noticeable: Option<f64>,
    /// The finish of the pieces, as first written, for a dimension of colour.
    finish: Option<&'a str>,
}

impl<'a> ShiftRow<'a> {
    /// The rows of one dimension of a cohort: each shift, or one row for each question without.
    pub fn of(found: &ShiftYears, cohort: &'a Cohort<'_>) -> Vec<ShiftRow<'a>> {
        let group = &cohort.groups()[found.scope.group()];
        let column = &cohort.table().columns[found.column];
        let dimension = cohort.table().dimension(column);
        let mut rows = Vec::new();
        for what in What::ALL {
            let row = ShiftRow {
                maker: named(&group.maker),
                pattern: match found.scope {
                    Scope::Pattern(_) => named(&group.pattern),
                    Scope::Maker(_) => None,
                },
                dimension: &dimension.key,
                unit: &dimension.unit,
                what: what.name(),
                n: found.n as u64,
                patterns: found.patterns as u64,
                finish: column.finish.as_deref().and_then(named),
                ..ShiftRow::default()
            };
            let Some(question) = found.question(what) else {
                rows.push(row);
                continue;
            };
            if question.shifts.is_empty() {
                rows.push(ShiftRow {
                    p: Some(found.p[what as usize]),
                    p_adjusted: Some(found.p_adjusted[what as usize]),
                    least_noticeable: question.least_noticeable,
                    ..row
                });
                continue;
            }
            for shift in &question.shifts {
                let size = found.size(what, shift);
                let (p, p_adjusted) = found.p_of(what, shift);
                rows.push(ShiftRow {
                    year: Some(shift.year.into()),
                    year_low: shift.years.first().map(|y| y.0.into()),
                    year_high: shift.years.last().map(|y| y.1.into()),
                    years: Some(stretches(&shift.years, "-", "; ")),
                    shift: size.map(|s| s.value),
                    shift_low: size.map(|s| s.low),
                    shift_high: size.map(|s| s.high),
                    in_spreads: match what {
                        What::Location => limit(shift.size),
                        What::Spread => None,
                    },
                    p: Some(p),
                    p_adjusted: Some(p_adjusted),
                    ..row.clone()
                });
            }
        }
        rows
    }
}

/// Stretches of years as text: `1958-1961; 1964`.
pub fn stretches(years: &[(i16, i16)], to: &str, and: &str) -> String {
    let one = |&(from, until): &(i16, i16)| match from == until {
        true => from.to_string(),
        false => format!("{from}{to}{until}"),
    };
    years.iter().map(one).collect::<Vec<String>>().join(and)
}
