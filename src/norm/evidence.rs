//! What norms and verdicts rest on: the references of every pattern and dimension, and what all
//! patterns together teach of spread.

use std::borrow::Cow;

use super::borrowing::Borrowing;
use super::lenders::Lenders;
use crate::cohort::{Cohort, Reference};
use crate::notation::Quantity;
use crate::parallel;
use crate::stats::{BorrowedSpread, PeriodShare, Rated, ShareEvidence};
use crate::table::{Column, Uncertainty};

/// The references of a cohort, sorted, with what they teach.
#[derive(Debug)]
pub struct Evidence<'t> {
    cohort: &'t Cohort<'t>,
    columns: Vec<Sorted>,
    borrowing: Borrowing,
    /// What each group's references say of the period share, and all together.
    share_of: Vec<ShareEvidence>,
    share: ShareEvidence,
    lenders: Lenders,
}

/// A column's references by group, then period, then row.
#[derive(Debug)]
struct Sorted {
    references: Vec<Reference>,
    starts: Vec<u32>,
}

impl<'t> Evidence<'t> {
    /// Sorts a cohort's references and adds up what they teach.
    pub fn gather(cohort: &'t Cohort<'t>, borrowing: &Borrowing) -> Evidence<'t> {
        let columns = cohort.table().columns.len();
        let mut evidence = Evidence {
            cohort,
            columns: parallel::map(columns, |column| Sorted::new(cohort, column)),
            borrowing: borrowing.clone(),
            share_of: Vec::new(),
            share: ShareEvidence::default(),
            lenders: Lenders::default(),
        };
        evidence.share_of = parallel::map(cohort.groups().len(), |group| {
            let mut share = ShareEvidence::default();
            for column in 0..columns {
                share.add(&ShareEvidence::of(&evidence.fine(column, group)));
            }
            share
        });
        for share in &evidence.share_of {
            evidence.share.add(share);
        }
        if !borrowing.nothing {
            evidence.lenders = Lenders::new(&evidence);
        }
        evidence
    }

    /// The cohort behind it.
    pub fn cohort(&self) -> &'t Cohort<'t> {
        self.cohort
    }

    /// From whom spreads are borrowed.
    pub fn borrowing(&self) -> &Borrowing {
        &self.borrowing
    }

    pub(super) fn lenders(&self) -> &Lenders {
        &self.lenders
    }

    /// The references of a column (by position in the table) and group, by period, then row.
    pub fn of(&self, column: usize, group: usize) -> &[Reference] {
        let Sorted { references, starts } = &self.columns[column];
        &references[starts[group] as usize..starts[group + 1] as usize]
    }

    /// The same without some rows.
    pub fn without(&self, column: usize, group: usize, rows: &[usize]) -> Cow<'_, [Reference]> {
        let all = self.of(column, group);
        if all.iter().any(|r| rows.contains(&r.row())) {
            let others = all.iter().filter(|r| !rows.contains(&r.row()));
            Cow::Owned(others.copied().collect())
        } else {
            Cow::Borrowed(all)
        }
    }

    /// Those of a column's and group's references that are fine enough to teach.
    pub(super) fn fine(&self, column: usize, group: usize) -> Cow<'_, [Reference]> {
        self.finer(column, Cow::Borrowed(self.of(column, group)))
    }

    /// Whether the reading at a row of a column is fine enough to teach the spread of pieces.
    pub(crate) fn is_fine(&self, column: &Column, row: usize) -> bool {
        let quantity = self.cohort.table().dimension(column).quantity;
        column.uncertainty(row) <= coarsest_fine(quantity)
    }

    /// The groups that lend to a group: the maker's other patterns.
    pub(crate) fn lending_groups(&self, group: usize) -> Vec<usize> {
        self.lenders.to(group)
    }

    /// What the maker's other patterns lend, at a period ratio `lambda`, to a dimension that is
    /// derived from others, whose sets they have in the order of [`Evidence::lending_groups`]: it
    /// borrows in the family of the dimensions that no family names.
    pub(crate) fn lend_beside(
        &self,
        group: usize,
        lambda: f64,
        derived: &[Vec<Rated>],
    ) -> Option<BorrowedSpread> {
        self.lenders.lend_beside(self, group, lambda, derived)
    }

    fn finer<'r>(&self, column: usize, all: Cow<'r, [Reference]>) -> Cow<'r, [Reference]> {
        let of = &self.cohort.table().columns[column];
        let coarsest = coarsest_fine(self.cohort.table().dimension(of).quantity);
        let is_fine = |r: &Reference| of.uncertainty(r.row()) <= coarsest;
        match of.uncertainty {
            Uncertainty::Step(_) if all.first().is_none_or(is_fine) => all,
            Uncertainty::Step(_) => Cow::Borrowed(&[]),
            Uncertainty::Each(_) if all.iter().all(is_fine) => all,
            Uncertainty::Each(_) => {
                Cow::Owned(all.iter().filter(|r| is_fine(r)).copied().collect())
            }
        }
    }

    /// How much of the spread lies between periods, for a piece of that group whose own rows must
    /// not speak: by all patterns, or without borrowing by its own alone.
    pub fn period_share(&self, group: usize, own_rows: &[usize]) -> PeriodShare {
        let alone = self.borrowing.nothing;
        let mut share = if alone {
            self.share_of[group].clone()
        } else {
            self.share.clone()
        };
        let mut groups: Vec<usize> = own_rows.iter().map(|&r| self.cohort.group_of(r)).collect();
        groups.sort_unstable();
        groups.dedup();
        for &own in groups.iter().filter(|&&g| g == group || !alone) {
            for column in 0..self.columns.len() {
                let others = self.without(column, own, own_rows);
                if let Cow::Owned(_) = others {
                    share.remove(&ShareEvidence::of(&self.fine(column, own)));
                    share.add(&ShareEvidence::of(&self.finer(column, others)));
                }
            }
        }
        share.share()
    }
}

impl Sorted {
    fn new(cohort: &Cohort<'_>, column: usize) -> Sorted {
        let of: &Column = &cohort.table().columns[column];
        let kind = cohort.table().dimension(of).kind;
        let groups = cohort.groups();
        let mut references = Vec::with_capacity(groups.iter().map(|g| g.references).sum());
        let mut starts = Vec::with_capacity(groups.len() + 1);
        for group in 0..groups.len() {
            starts.push(references.len() as u32);
            let rows = cohort.reference_rows(group).iter();
            references.extend(rows.filter_map(|&row| cohort.reference(of, kind, row as usize)));
        }
        starts.push(references.len() as u32);
        Sorted { references, starts }
    }
}

/// The largest standard uncertainty of a reading that teaches the spread of pieces, in the house's
/// unit: that of direct contact or a gauge, readings to 1/64 inch included.
fn coarsest_fine(quantity: Quantity) -> f64 {
    match quantity {
        Quantity::Length => 0.12,
        Quantity::Angle => 0.5,
        Quantity::Mass | Quantity::Colour => f64::INFINITY,
    }
}
