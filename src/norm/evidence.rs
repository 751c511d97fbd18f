//! What the references of every pattern and dimension sum up to.

use std::thread;

use crate::cohort::{Cohort, Reference};
use crate::stats::Sums;

/// The sums of every column and group of a cohort.
#[derive(Clone, Debug)]
pub struct Evidence {
    by_column: Vec<Vec<Sums>>,
}

impl Evidence {
    /// Adds up the references of all columns, the columns shared out between threads. Each column
    /// is added up in the order of its rows, so the sums are the same on any number of threads.
    pub fn gather(cohort: &Cohort<'_>) -> Evidence {
        let columns = &cohort.table().columns;
        let threads = thread::available_parallelism().map_or(1, usize::from);
        let share = columns.len().div_ceil(threads).max(1);
        let sum_up = |column| {
            let mut sums = vec![Sums::default(); cohort.groups().len()];
            for reference in cohort.references(column) {
                sums[reference.group()].add(reference.x(), reference.u());
            }
            sums
        };
        let by_column = thread::scope(|scope| {
            let work: Vec<_> = columns
                .chunks(share)
                .map(|some| scope.spawn(move || some.iter().map(sum_up).collect::<Vec<_>>()))
                .collect();
            // The panic of a thread goes on in this one.
            work.into_iter()
                .flat_map(|w| {
                    w.join()
                        .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
                })
                .collect()
        });
        Evidence { by_column }
    }

    /// The sums of a column (by position in the table) and group.
    pub fn of(&self, column: usize, group: usize) -> &Sums {
        &self.by_column[column][group]
    }

    /// The same without the readings of some pieces.
    pub fn without(
        &self,
        cohort: &Cohort<'_>,
        column: usize,
        group: usize,
        rows: &[usize],
    ) -> Sums {
        let table = cohort.table();
        let of = &table.columns[column];
        let kind = table.dimension(of).kind;
        let own: Vec<Reference> = rows
            .iter()
            .filter_map(|&row| cohort.reference(of, kind, row))
            .filter(|own| own.group() == group)
            .collect();
        match own.as_slice() {
            [] => Some(*self.of(column, group)),
            [one] => self.of(column, group).without(one.x(), one.u()),
            _ => None,
        }
        .unwrap_or_else(|| {
            let mut others = Sums::default();
            let fellows = cohort
                .references(of)
                .filter(|r| r.group() == group && !rows.contains(&r.row()));
            fellows.for_each(|r| others.add(r.x(), r.u()));
            others
        })
    }
}
