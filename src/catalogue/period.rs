//! Production periods: a maker's named spans of years, and how good they were.

use std::fmt;

use super::YearRange;
use super::names::fold;

/// What a period's pieces are worth as a pattern to measure by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Standing {
    /// Its pieces speak for the pattern.
    Good,
    /// Known to be off.
    Poor,
    /// Nobody has judged it.
    Unrated,
}

impl Standing {
    /// Reads `good`, `poor` or `unrated`, in any letter case.
    pub fn parse(text: &str) -> Option<Standing> {
        let all = [Standing::Good, Standing::Poor, Standing::Unrated];
        all.into_iter()
            .find(|s| s.name().eq_ignore_ascii_case(text.trim()))
    }

    /// The name as people write it.
    pub fn name(self) -> &'static str {
        match self {
            Standing::Good => "good",
            Standing::Poor => "poor",
            Standing::Unrated => "unrated",
        }
    }
}

/// A named span of years of one maker, or of any maker.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Period {
    /// Whose; `None` for any maker.
    pub maker: Option<String>,
    /// Its name, as people write it.
    pub name: String,
    /// First and last year.
    pub years: YearRange,
    /// What its pieces are worth.
    pub standing: Standing,
    /// Anything else worth knowing.
    pub note: String,
}

impl Period {
    /// Whether another definition is of the same period: of the same maker and name, in any
    /// spelling.
    pub fn is_same_as(&self, other: &Period) -> bool {
        same_maker(&self.maker, &other.maker) && fold(&self.name) == fold(&other.name)
    }
}

impl fmt::Display for Period {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}, {}", self.name, self.years, self.standing.name())?;
        if self.note.is_empty() {
            Ok(())
        } else {
            write!(f, ", {}", self.note)
        }
    }
}

/// Two periods that cannot both hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum PeriodError {
    /// A year would belong to two periods of one maker.
    #[error("the years of `{first}` and `{second}` overlap")]
    Overlap {
        /// The earlier period's name.
        first: String,
        /// The later period's name.
        second: String,
    },
    /// One name for two periods of one maker.
    #[error("the period `{name}` is defined twice")]
    Twice {
        /// The name.
        name: String,
    },
}

/// The periods that a source knows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Periods(Vec<Period>);

impl Periods {
    /// Adds one period.
    ///
    /// # Errors
    /// [`PeriodError`] when a year would belong to two periods of one maker, or a name stands
    /// twice.
    pub fn add(&mut self, period: Period) -> Result<(), PeriodError> {
        for other in self
            .0
            .iter()
            .filter(|o| same_maker(&o.maker, &period.maker))
        {
            if other.is_same_as(&period) {
                return Err(PeriodError::Twice { name: period.name });
            }
            if other.years.from <= period.years.to && period.years.from <= other.years.to {
                return Err(PeriodError::Overlap {
                    first: other.name.clone(),
                    second: period.name,
                });
            }
        }
        self.0.push(period);
        Ok(())
    }

    /// All periods, in the order they were added.
    pub fn all(&self) -> &[Period] {
        &self.0
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Index of the period in which a piece of `maker` was made: the one that holds the whole
    /// range. A range that straddles two periods belongs to neither.
    pub fn holding(&self, maker: &str, made: YearRange) -> Option<usize> {
        self.of(maker, |p| {
            p.years.from <= made.from && made.to <= p.years.to
        })
    }

    /// Index of the period of `maker` with that name, in any spelling.
    pub fn named(&self, maker: &str, name: &str) -> Option<usize> {
        let name = fold(name);
        self.of(maker, |p| fold(&p.name) == name)
    }

    /// The first that fits: a maker's own periods go before those that hold for any maker.
    fn of(&self, maker: &str, fits: impl Fn(&Period) -> bool) -> Option<usize> {
        let maker = fold(maker);
        let own = |p: &Period| p.maker.as_deref().is_some_and(|m| fold(m) == maker);
        let position = |test: &dyn Fn(&Period) -> bool| self.0.iter().position(test);
        position(&|p| own(p) && fits(p)).or_else(|| position(&|p| p.maker.is_none() && fits(p)))
    }
}

fn same_maker(a: &Option<String>, b: &Option<String>) -> bool {
    a.as_deref().map(fold) == b.as_deref().map(fold)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn period(maker: Option<&str>, name: &str, from: i16, to: i16) -> Period {
        Period {
            maker: maker.map(str::to_owned),
            name: name.to_owned(),
            years: YearRange { from, to },
            standing: Standing::Good,
            note: String::new(),
        }
    }

    #[test]
    fn a_range_over_two_periods_belongs_to_neither() {
        let mut periods = Periods::default();
        periods.add(period(None, "early", 1921, 1938)).unwrap();
        periods.add(period(None, "late", 1939, 1947)).unwrap();
        let held = |from, to| {
            periods
                .holding("any", YearRange { from, to })
                .map(|at| periods.all()[at].name.as_str())
        };
        assert_eq!(held(1921, 1921), Some("early"));
        assert_eq!(held(1930, 1938), Some("early"));
        assert_eq!(held(1939, 1939), Some("late"));
        assert_eq!(held(1938, 1939), None);
        assert_eq!(held(1900, 1900), None);
    }

    #[test]
    fn a_makers_own_period_goes_first_and_overlaps_are_refused() {
        let mut periods = Periods::default();
        periods.add(period(None, "any", 1900, 1950)).unwrap();
        periods
            .add(period(Some("Works"), "own", 1921, 1938))
            .unwrap();
        let of = |maker: &str| {
            let made = YearRange {
                from: 1930,
                to: 1930,
            };
            periods
                .holding(maker, made)
                .map(|at| periods.all()[at].name.clone())
        };
        assert_eq!(of("works").as_deref(), Some("own"));
        assert_eq!(of("other").as_deref(), Some("any"));
        let overlap = periods
            .clone()
            .add(period(Some("works"), "next", 1938, 1940));
        assert!(matches!(overlap, Err(PeriodError::Overlap { .. })));
        let twice = periods.clone().add(period(None, "Any", 1960, 1970));
        assert!(matches!(twice, Err(PeriodError::Twice { .. })));
    }
}
