//! Lending among many patterns.

mod curves;
mod each;
mod expansion;
mod family;
mod readings;
mod threads;
mod variances;

pub(super) use family::Family;
pub(super) use variances::{Freedoms, Scaled, phi_at};

use readings::Readings;

use super::borrowed::BorrowedSpread;
use super::two_level::Rated;

/// A family of dimensions of several patterns, ready to lend spread.
#[derive(Clone, Debug)]
pub struct Lending {
    family: Family,
}

/// The readings of one dimension of several patterns, put in order for lending.
#[derive(Clone, Debug)]
pub struct LendingDimension {
    readings: Readings,
}

impl LendingDimension {
    /// One set a pattern.
    pub fn new(sets: &[&[Rated]]) -> LendingDimension {
        LendingDimension {
            readings: Readings::new(sets),
        }
    }
}

/// What some patterns lend another.
#[derive(Clone, Debug, PartialEq)]
pub struct Loan {
    /// `1 / d0` of the family; 0.25, the middle of its range, where nothing tells.
    pub phi: f64,
    /// For each dimension; `None` where nobody lends.
    pub dimensions: Vec<Option<BorrowedSpread>>,
}

impl Lending {
    /// `sets[dimension][pattern]`.
    pub fn new(sets: &[Vec<&[Rated]>]) -> Lending {
        Lending {
            family: Family::new(sets),
        }
    }

    /// The same from dimensions that were put in order one by one.
    pub fn of(dimensions: Vec<LendingDimension>) -> Lending {
        let readings: Vec<Readings> = dimensions.into_iter().map(|d| d.readings).collect();
        let freedoms = readings.iter().map(|r| Freedoms::new(r.df.clone()));
        Lending {
            family: Family {
                patterns: readings.iter().map(|r| r.df.len()).max().unwrap_or(0),
                freedoms: freedoms.collect(),
                readings,
            },
        }
    }

    /// Patterns.
    pub fn patterns(&self) -> usize {
        self.family.patterns
    }

    /// What all patterns but one lend that one.
    pub fn without(&self, pattern: usize, lambda: f64) -> Loan {
        self.family.fit(lambda, Some(pattern), false).loan()
    }

    /// The same for every pattern in turn.
    pub fn without_each(&self, lambda: f64) -> Vec<Loan> {
        each::without_each(&self.family, lambda)
    }

    /// What all patterns together lend a new one.
    pub fn all(&self, lambda: f64) -> Loan {
        self.family.fit(lambda, None, false).loan()
    }
}

impl family::Fit<'_> {
    fn loan(&self) -> Loan {
        Loan {
            phi: self.last().phi,
            dimensions: self.last().spreads.clone(),
        }
    }
}
