//! What norms and verdicts rest on: the references of every pattern and dimension, and what all
//! patterns together teach of spread.

use super::borrowing::Borrowing;
use super::lenders::{Lenders, Lendings, Loan, LoanTable};
use crate::cohort::{Cohort, Reference};
use crate::notation::Quantity;
use crate::parallel;
use crate::stats::{BorrowedSpread, PeriodShare, Prior, Rated, ShareEvidence};
use crate::table::Column;

/// The references of a cohort, sorted, with what they teach.
#[derive(Debug)]
pub struct Evidence<'t> {
    cohort: &'t Cohort<'t>,
    columns: Vec<Sorted>,
    borrowing: Borrowing,
    /// What the user states of each column's spread.
    stated: Vec<Option<f64>>,
    /// What each group's references say of the period share, and all together.
    share_of: Vec<ShareEvidence>,
    share: ShareEvidence,
    lenders: Lenders,
    lendings: Lendings,
    loans: LoanTable,
}

/// A column's references by group, then period, then row.
#[derive(Debug)]
struct Sorted {
    all: Grouped<Rated>,
    rows: Vec<u32>,
    /// Those that are fine enough to teach the spread of pieces, where that is not all of them.
    fine: Option<Grouped<Rated>>,
}

/// Items by group.
#[derive(Debug)]
struct Grouped<T> {
    items: Vec<T>,
    starts: Vec<u32>,
}

impl<T> Grouped<T> {
    fn range(&self, group: usize) -> std::ops::Range<usize> {
        self.starts[group] as usize..self.starts[group + 1] as usize
    }

    fn of(&self, group: usize) -> &[T] {
        &self.items[self.range(group)]
    }
}

impl<'t> Evidence<'t> {
    /// Sorts a cohort's references and adds up what they teach.
    pub fn gather(cohort: &'t Cohort<'t>, borrowing: &Borrowing) -> Evidence<'t> {
        let table = cohort.table();
        let columns = parallel::map(table.columns.len(), |at| Sorted::new(cohort, at));
        let share_of = parallel::map(cohort.groups().len(), |group| {
            let mut share = ShareEvidence::default();
            for column in &columns {
                share.add(&ShareEvidence::of(column.fine(group)));
            }
            share
        });
        let mut share = ShareEvidence::default();
        for of_group in &share_of {
            share.add(of_group);
        }
        let lenders = Lenders::new(cohort, borrowing);
        let lendings = lenders.gather(|column, group| match borrowing.nothing {
            true => &[],
            false => columns[column].fine(group),
        });
        let references = cohort.groups().iter().map(|g| g.references).sum();
        let stated = |column| borrowing.stated.get(&table.dimension(column).key).copied();
        Evidence {
            cohort,
            borrowing: borrowing.clone(),
            stated: table.columns.iter().map(stated).collect(),
            loans: LoanTable::new(share.share().lambda(), references),
            columns,
            share_of,
            share,
            lenders,
            lendings,
        }
    }

    /// The cohort behind it.
    pub fn cohort(&self) -> &'t Cohort<'t> {
        self.cohort
    }

    /// From whom spreads are borrowed.
    pub fn borrowing(&self) -> &Borrowing {
        &self.borrowing
    }

    /// The references of a column (by position in the table) and group, by period, then row; those
    /// of some rows left out.
    pub fn references(&self, column: usize, group: usize, without: &[usize]) -> Vec<Reference> {
        let Sorted { all, rows, .. } = &self.columns[column];
        let all = all.of(group).iter().zip(&rows[all.range(group)]);
        all.map(|(&rated, &row)| Reference::again(rated, row))
            .filter(|r| !without.contains(&r.row()))
            .collect()
    }

    /// Those that are fine enough to teach the spread of pieces.
    pub fn fine(&self, column: usize, group: usize) -> &[Rated] {
        self.columns[column].fine(group)
    }

    /// How much of the spread lies between periods, for a piece of that group whose own rows must
    /// not speak: by all patterns, or without borrowing by its own alone.
    pub fn period_share(&self, group: usize, own_rows: &[usize]) -> PeriodShare {
        self.share_without(group, own_rows).share()
    }

    /// How many sets of readings (a pattern's of one dimension) can tell that share.
    pub fn telling_sets(&self, group: usize, own_rows: &[usize]) -> usize {
        self.share_without(group, own_rows).telling()
    }

    fn share_without(&self, group: usize, own_rows: &[usize]) -> ShareEvidence {
        let alone = self.borrowing.nothing;
        let mut share = match alone {
            true => self.share_of[group].clone(),
            false => self.share.clone(),
        };
        let mut groups: Vec<usize> = own_rows
            .iter()
            .filter(|&&row| self.cohort.is_chosen(row))
            .map(|&row| self.cohort.group_of(row))
            .filter(|&own| own == group || !alone)
            .collect();
        groups.sort_unstable();
        groups.dedup();
        for own in groups {
            for (column, of) in self.cohort.table().columns.iter().enumerate() {
                let spoke =
                    |&&row: &&usize| self.cohort.is_reference(of, row) && of.value(row).is_some();
                if own_rows.iter().any(|row| spoke(&row)) {
                    let others = self.references(column, own, own_rows);
                    let fine: Vec<Rated> = others
                        .iter()
                        .filter(|r| is_fine(self.cohort, of, r.row()))
                        .map(|r| r.rated())
                        .collect();
                    share.remove(&ShareEvidence::of(self.fine(column, own)));
                    share.add(&ShareEvidence::of(&fine));
                }
            }
        }
        share
    }

    /// What the maker's other patterns lend to a group, by column, at a period ratio `lambda`.
    pub fn loans(&self, group: usize, lambda: f64) -> Vec<Option<Loan>> {
        let mut loans = self
            .loans
            .lend(&self.lenders, &self.lendings, group, lambda);
        for (loan, stated) in loans.iter_mut().zip(&self.stated) {
            // Who knows the spread for certain borrows none.
            *loan = loan.filter(|_| stated.is_none());
        }
        loans
    }

    /// What is known of a column's spread before a pattern's own references speak.
    pub fn prior(&self, column: usize, loan: Option<Loan>, lambda: f64) -> Prior {
        match (self.stated[column], loan) {
            (Some(spread), _) => Prior {
                df: f64::INFINITY,
                variance: spread * spread,
                lambda,
            },
            (None, Some(Loan { spread, .. })) => Prior {
                df: spread.df,
                variance: spread.s2,
                lambda,
            },
            (None, None) => Prior::none(lambda),
        }
    }

    pub(crate) fn lenders(&self) -> &Lenders {
        &self.lenders
    }

    /// The period share of the whole collection.
    pub(crate) fn collection_share(&self) -> PeriodShare {
        self.share.share()
    }

    /// What a new pattern of each group's maker would be lent, by column: the usual spreads.
    pub(crate) fn usual_spreads(&self) -> Vec<Vec<Option<Loan>>> {
        let lambda = self.collection_share().lambda();
        let lendings = self
            .lenders
            .gather(|column, group| self.fine(column, group));
        self.lenders.lend_new(&lendings, lambda)
    }

    /// What the maker's other patterns lend to a dimension that is derived from others: it borrows
    /// in the family of the dimensions that no family names. `derived` are the sets of
    /// [`Lenders::to`].
    pub(crate) fn lend_beside(
        &self,
        group: usize,
        lambda: f64,
        derived: &[&[Rated]],
    ) -> Option<BorrowedSpread> {
        let others = self.lenders.to(group);
        let of_column = |&column: &usize| others.iter().map(|&g| self.fine(column, g)).collect();
        let main = self.lenders.main_family().iter();
        let mut sets: Vec<Vec<&[Rated]>> = main.map(of_column).collect();
        sets.push(derived.to_vec());
        crate::stats::borrowed_from_readings(&sets, lambda)
            .dimensions
            .pop()?
    }
}

impl Sorted {
    fn new(cohort: &Cohort<'_>, column: usize) -> Sorted {
        let of: &Column = &cohort.table().columns[column];
        let kind = cohort.table().dimension(of).kind;
        let groups = cohort.groups();
        let most = groups.iter().map(|g| g.references).sum();
        let mut sorted = Sorted {
            all: Grouped {
                items: Vec::with_capacity(most),
                starts: Vec::with_capacity(groups.len() + 1),
            },
            rows: Vec::with_capacity(most),
            fine: None,
        };
        for group in 0..groups.len() {
            sorted.all.starts.push(sorted.rows.len() as u32);
            for &row in cohort.reference_rows(group) {
                if let Some(reference) = cohort.reference(of, kind, row as usize) {
                    sorted.all.items.push(reference.rated());
                    sorted.rows.push(row);
                }
            }
        }
        sorted.all.starts.push(sorted.rows.len() as u32);
        let fine = |&row: &u32| is_fine(cohort, of, row as usize);
        if !sorted.rows.iter().all(fine) {
            let mut some = Grouped {
                items: Vec::new(),
                starts: Vec::with_capacity(groups.len() + 1),
            };
            for group in 0..groups.len() {
                some.starts.push(some.items.len() as u32);
                let all = sorted.all.range(group).filter(|&i| fine(&sorted.rows[i]));
                some.items.extend(all.map(|i| sorted.all.items[i]));
            }
            some.starts.push(some.items.len() as u32);
            sorted.fine = Some(some);
        }
        sorted
    }

    fn fine(&self, group: usize) -> &[Rated] {
        self.fine.as_ref().unwrap_or(&self.all).of(group)
    }
}

/// Whether the reading at a row of a column is fine enough to teach the spread of pieces: as fine as
/// direct contact or a gauge reads, readings to 1/64 inch included.
pub(crate) fn is_fine(cohort: &Cohort<'_>, column: &Column, row: usize) -> bool {
    let coarsest = match cohort.table().dimension(column).quantity {
        Quantity::Length => 0.12,
        Quantity::Angle => 0.5,
        Quantity::Mass | Quantity::Colour => f64::INFINITY,
    };
    column.uncertainty(row) <= coarsest
}
