//! The patterns of each maker as lenders of spread to each other.

use std::collections::HashMap;

use super::evidence::Evidence;
use crate::catalogue::fold;
use crate::stats::{Borrowed, BorrowedSpread, Rated, borrowed_from_readings};

/// All makers with their patterns.
#[derive(Debug, Default)]
pub(super) struct Lenders {
    makers: Vec<Maker>,
    /// Each group's maker, and its place among that maker's groups.
    place: Vec<(usize, usize)>,
}

/// One maker's patterns.
#[derive(Debug)]
struct Maker {
    groups: Vec<usize>,
    families: Vec<Family>,
}

/// Dimensions whose spreads differ between patterns in the same way.
#[derive(Debug)]
struct Family {
    columns: Vec<usize>,
}

/// What one pattern's dimension is lent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loan {
    /// How much the spread differs between patterns: `1 / d0` of the family.
    pub phi: f64,
    /// The spread.
    pub spread: BorrowedSpread,
}

impl Lenders {
    pub(super) fn new(evidence: &Evidence<'_>) -> Lenders {
        let cohort = evidence.cohort();
        let mut makers: Vec<Maker> = Vec::new();
        let mut numbers: HashMap<String, usize> = HashMap::new();
        let mut place = Vec::with_capacity(cohort.groups().len());
        for (group, of) in cohort.groups().iter().enumerate() {
            let number = *numbers.entry(fold(&of.maker)).or_insert_with(|| {
                makers.push(Maker {
                    groups: Vec::new(),
                    families: Vec::new(),
                });
                makers.len() - 1
            });
            place.push((number, makers[number].groups.len()));
            makers[number].groups.push(group);
        }
        let mut families: Vec<Vec<usize>> =
            vec![Vec::new(); evidence.borrowing().families.len() + 1];
        for (at, column) in cohort.table().columns.iter().enumerate() {
            let key = &cohort.table().dimension(column).key;
            families[evidence.borrowing().family_of(key)].push(at);
        }
        for maker in &mut makers {
            let family = |columns: &Vec<usize>| Family {
                columns: columns.clone(),
            };
            maker.families = families.iter().map(family).collect();
        }
        Lenders { makers, place }
    }

    /// The groups that lend to a group.
    pub(super) fn to(&self, group: usize) -> Vec<usize> {
        let Some(&(maker, _)) = self.place.get(group) else {
            return Vec::new();
        };
        let all = self.makers[maker].groups.iter().copied();
        all.filter(|&g| g != group).collect()
    }

    /// See [`Evidence::lend_beside`].
    pub(super) fn lend_beside(
        &self,
        evidence: &Evidence<'_>,
        group: usize,
        lambda: f64,
        derived: &[Vec<Rated>],
    ) -> Option<BorrowedSpread> {
        let &(maker, _) = self.place.get(group)?;
        let others = self.to(group);
        let rated = |column: usize, g: &usize| -> Vec<Rated> {
            evidence
                .fine(column, *g)
                .iter()
                .map(|r| r.rated())
                .collect()
        };
        let columns = &self.makers[maker].families[0].columns;
        let sets: Vec<Vec<Vec<Rated>>> = columns
            .iter()
            .map(|&column| others.iter().map(|g| rated(column, g)).collect())
            .collect();
        let mut sets: Vec<Vec<&[Rated]>> = sets
            .iter()
            .map(|of| of.iter().map(Vec::as_slice).collect())
            .collect();
        sets.push(derived.iter().map(Vec::as_slice).collect());
        borrowed_from_readings(&sets, lambda).dimensions.pop()?
    }

    /// What the maker's other patterns lend to a group, by column, at a period ratio `lambda`.
    pub(super) fn lend(
        &self,
        evidence: &Evidence<'_>,
        group: usize,
        lambda: f64,
    ) -> Vec<Option<Loan>> {
        let mut loans = vec![None; evidence.cohort().table().columns.len()];
        let Some(&(maker, _)) = self.place.get(group) else {
            return loans;
        };
        let maker = &self.makers[maker];
        for family in &maker.families {
            let others = maker.groups.iter().filter(|&&g| g != group);
            let rated = |column, g: &usize| -> Vec<Rated> {
                evidence
                    .fine(column, *g)
                    .iter()
                    .map(|r| r.rated())
                    .collect()
            };
            let sets: Vec<Vec<Vec<Rated>>> = family
                .columns
                .iter()
                .map(|&column| others.clone().map(|g| rated(column, g)).collect())
                .collect();
            let sets: Vec<Vec<&[Rated]>> = sets
                .iter()
                .map(|of| of.iter().map(Vec::as_slice).collect())
                .collect();
            let Borrowed {
                phi, dimensions, ..
            } = borrowed_from_readings(&sets, lambda);
            for (&column, spread) in family.columns.iter().zip(dimensions) {
                loans[column] = spread.map(|spread| Loan { phi, spread });
            }
        }
        loans
    }
}
