//! The years in which a dimension shifted.
//!
//! Every piece with a date speaks, whatever the standing of its period, if its place is as it left the
//! works: a poor period is what is looked for. A period with years overrules a date of making: the piece
//! was made in the years of its period, and in those of its date where the two meet.

use std::collections::HashMap;

use crate::catalogue::{Kind, YearRange, fold};
use crate::cohort::{Cohort, on_scale};
use crate::parallel;
use crate::stats::{Dated, ShiftQuestion, Shifts, StatsError, YearShift, holm, shifts};

/// Fewer dated pieces tell nothing that chance could not.
pub const FEWEST_DATED: usize = 8;

/// Whose practice may have shifted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scope {
    /// All patterns of the maker of that group together.
    Maker(usize),
    /// That group alone.
    Pattern(usize),
}

impl Scope {
    /// Each maker of some groups, in order; where one pattern was asked for, that pattern first, then its
    /// maker's patterns together.
    pub fn of(cohort: &Cohort<'_>, groups: &[usize], one_pattern: bool) -> Vec<Scope> {
        let mut scopes = Vec::new();
        let mut makers: Vec<String> = Vec::new();
        for &group in groups {
            if one_pattern {
                scopes.push(Scope::Pattern(group));
            }
            let maker = fold(&cohort.groups()[group].maker);
            if !makers.contains(&maker) {
                makers.push(maker);
                scopes.push(Scope::Maker(group));
            }
        }
        scopes
    }

    /// A group of the maker, or the group.
    pub fn group(self) -> usize {
        match self {
            Scope::Maker(group) | Scope::Pattern(group) => group,
        }
    }

    /// Numbers of its groups.
    fn groups(self, cohort: &Cohort<'_>) -> Vec<usize> {
        match self {
            Scope::Pattern(group) => vec![group],
            Scope::Maker(group) => cohort.find_groups(None, Some(&cohort.groups()[group].maker)),
        }
    }
}

/// Why nothing can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Untold {
    /// Fewer than [`FEWEST_DATED`] dated pieces of patterns with two and more.
    TooFew,
    /// All readings of each pattern are equal.
    AllEqual,
    /// No year has a few pieces before it and a few after.
    SameDates,
    /// The readings are beyond what an `f64` can describe.
    Beyond,
}

/// What was found of one dimension.
#[derive(Clone, Debug, PartialEq)]
pub struct ShiftYears {
    /// Whose.
    pub scope: Scope,
    /// Position of the column in the table.
    pub column: usize,
    /// Whether sizes are relative.
    pub kind: Kind,
    /// Dated pieces that can tell.
    pub n: usize,
    /// Their patterns.
    pub patterns: usize,
    /// The shifts, or why there is no answer.
    pub found: Result<Shifts, Untold>,
    /// The p of no shift of location and of no shift of spread, each for both questions together.
    pub p: [f64; 2],
    /// The same, adjusted for all dimensions of the scope (Holm).
    pub p_adjusted: [f64; 2],
}

/// The two questions of a dimension.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Its centre.
    Location,
    /// How far pieces stray from it.
    Spread,
}

impl What {
    /// Both.
    pub const ALL: [What; 2] = [What::Location, What::Spread];

    /// The name for scripts.
    pub fn name(self) -> &'static str {
        match self {
            What::Location => "location",
            What::Spread => "spread",
        }
    }
}

/// A size with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// Of location: relative (0.07 = 7 % larger afterwards) for a ratio, else in the unit. Of spread: that
    /// after over that before.
    pub value: f64,
    /// Lower limit of its 95 % interval.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl ShiftYears {
    /// What was found of one question.
    pub fn question(&self, what: What) -> Option<&ShiftQuestion> {
        let found = self.found.as_ref().ok()?;
        Some(match what {
            What::Location => &found.location,
            What::Spread => &found.width,
        })
    }

    /// The size of a shift; `None` beyond what an `f64` can describe.
    pub fn size(&self, what: What, shift: &YearShift) -> Option<Size> {
        let spread = self.found.as_ref().ok()?.spread;
        let given = |size: f64| match (what, self.kind) {
            (What::Spread, _) => size,
            (What::Location, Kind::Ratio) => (size * spread).exp_m1(),
            (What::Location, Kind::Interval) => size * spread,
        };
        let size = Size {
            value: given(shift.size),
            low: given(shift.low),
            high: given(shift.high),
        };
        let finite = size.value.is_finite() && size.low.is_finite() && size.high.is_finite();
        finite.then_some(size)
    }

    /// The p of one shift given the others, as [`ShiftYears::p`] is, and the same adjusted.
    pub fn p_of(&self, what: What, shift: &YearShift) -> (f64, f64) {
        let p = both(shift.p);
        (p, p.max(self.p_adjusted[what as usize]))
    }
}

/// A p of one of two questions, for both.
fn both(p: f64) -> f64 {
    (2.0 * p).min(1.0)
}

/// Looks for shifts in every dimension of some scopes, by scope, then column; columns without any
/// dated reading are left out. Where nothing shifted, something is found in a dimension with a
/// probability of `alpha` at most.
///
/// # Errors
/// [`StatsError::NotAProbability`] for an alpha that is none.
pub fn shift_years(
    cohort: &Cohort<'_>,
    scopes: &[Scope],
    alpha: f64,
) -> Result<Vec<ShiftYears>, StatsError> {
    let columns = cohort.table().columns.len();
    let pieces: Vec<Vec<DatedPiece>> = dated(cohort, scopes);
    let of = |task: usize| {
        let (scope, column) = (task / columns, task % columns);
        look(cohort, scopes[scope], &pieces[scope], column, alpha)
    };
    let found = parallel::map(scopes.len() * columns, of);
    let found: Result<Vec<Option<ShiftYears>>, StatsError> = found.into_iter().collect();
    let mut found: Vec<ShiftYears> = found?.into_iter().flatten().collect();
    for of_scope in found.chunk_by_mut(|a, b| a.scope == b.scope) {
        let told = of_scope.iter().filter(|f| f.found.is_ok());
        // Holm counts every question by itself.
        let adjusted = holm(
            &told
                .flat_map(|f| f.p.map(|p| p / 2.0))
                .collect::<Vec<f64>>(),
        );
        let told = of_scope.iter_mut().filter(|f| f.found.is_ok());
        for (of, adjusted) in told.zip(adjusted.chunks(2)) {
            of.p_adjusted = [adjusted[0].max(of.p[0]), adjusted[1].max(of.p[1])];
        }
    }
    Ok(found)
}

/// A piece with a date.
struct DatedPiece {
    row: u32,
    group: u32,
    years: YearRange,
}

/// The dated pieces of each scope, by group.
fn dated(cohort: &Cohort<'_>, scopes: &[Scope]) -> Vec<Vec<DatedPiece>> {
    let table = cohort.table();
    let specimens = &table.specimens;
    let has_patterns = cohort.groups().iter().any(|g| !g.pattern.is_empty());
    let mut of_groups: Vec<Vec<DatedPiece>> = Vec::new();
    of_groups.resize_with(cohort.groups().len(), Vec::new);
    let mut of_periods: HashMap<(u32, u32), Option<YearRange>> = HashMap::new();
    for row in 0..specimens.len() {
        let group = cohort.group_of(row);
        if has_patterns && cohort.groups()[group].pattern.is_empty() {
            continue;
        }
        let (maker, period) = (specimens.makers.codes[row], specimens.periods.codes[row]);
        let mut of_period = || {
            *of_periods.entry((maker, period)).or_insert_with(|| {
                let written = specimens.periods.get(row);
                let known = &table.periods;
                let at = known.named(specimens.makers.get(row), written)?;
                Some(known.all()[at].years)
            })
        };
        if let Some(years) = years_of(of_period(), specimens.made[row]) {
            of_groups[group].push(DatedPiece {
                row: row as u32,
                group: group as u32,
                years,
            });
        }
    }
    let of_scope = |scope: &Scope| {
        let groups = scope.groups(cohort);
        let pieces = groups.into_iter().flat_map(|group| &of_groups[group]);
        pieces.map(|p| DatedPiece { ..*p }).collect()
    };
    scopes.iter().map(of_scope).collect()
}

/// The years in which a piece was made: those of its period, which overrules the date of making
/// beside it and is narrowed by it where both meet.
fn years_of(period: Option<YearRange>, made: Option<YearRange>) -> Option<YearRange> {
    let (Some(period), Some(made)) = (period, made) else {
        return period.or(made);
    };
    let both = YearRange {
        from: period.from.max(made.from),
        to: period.to.min(made.to),
    };
    Some(match both.from <= both.to {
        true => both,
        false => period,
    })
}

/// Looks at one column.
fn look(
    cohort: &Cohort<'_>,
    scope: Scope,
    pieces: &[DatedPiece],
    at: usize,
    alpha: f64,
) -> Result<Option<ShiftYears>, StatsError> {
    let column = &cohort.table().columns[at];
    let kind = cohort.table().dimension(column).kind;
    let mut readings: Vec<Dated> = Vec::new();
    for piece in pieces {
        let row = piece.row as usize;
        if let Some(value) = cohort.as_made(column, row) {
            readings.push(Dated {
                x: on_scale(kind, value, 0.0).0,
                set: piece.group,
                from: piece.years.from,
                to: piece.years.to,
            });
        }
    }
    if readings.is_empty() {
        return Ok(None);
    }
    let of_sets = readings.chunk_by(|a, b| a.set == b.set);
    let telling = of_sets.map(<[Dated]>::len).filter(|&n| n > 1);
    let (n, patterns) = telling.fold((0, 0), |(n, sets), of_set| (n + of_set, sets + 1));
    let found = match n < FEWEST_DATED {
        true => Err(Untold::TooFew),
        false => match shifts(&readings, alpha) {
            Ok(found) if found.years == 0 => Err(Untold::SameDates),
            Ok(found) if !found.spread.is_finite() => Err(Untold::Beyond),
            Ok(found) => Ok(found),
            Err(StatsError::ZeroSpread) => Err(Untold::AllEqual),
            Err(StatsError::TooFew { .. }) => Err(Untold::TooFew),
            Err(StatsError::NotFinite { .. } | StatsError::Overflow) => Err(Untold::Beyond),
            Err(other) => return Err(other),
        },
    };
    let p = match &found {
        Ok(found) => [both(found.location.p), both(found.width.p)],
        Err(_) => [1.0, 1.0],
    };
    Ok(Some(ShiftYears {
        scope,
        column: at,
        kind,
        n,
        patterns,
        found,
        p,
        p_adjusted: p,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_period_overrules_a_date_and_is_narrowed_by_it() {
        let years = |from, to| Some(YearRange { from, to });
        assert_eq!(
            years_of(years(1960, 1967), years(1963, 1963)),
            years(1963, 1963)
        );
        assert_eq!(
            years_of(years(1960, 1967), years(1957, 1962)),
            years(1960, 1962)
        );
        assert_eq!(
            years_of(years(1960, 1967), years(1950, 1959)),
            years(1960, 1967)
        );
        assert_eq!(years_of(None, years(1934, 1934)), years(1934, 1934));
        assert_eq!(years_of(years(1960, 1967), None), years(1960, 1967));
        assert_eq!(years_of(None, None), None);
    }
}
