//! What norms and verdicts rest on: the references of every pattern and dimension, and what all
//! patterns together teach of spread.

use std::borrow::Cow;
use std::collections::HashMap;
use std::ops::Range;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::apart::{ROOM, Recent, TakenApart};
use super::borrowing::Borrowing;
use super::lenders::{Lenders, Lendings, Loan, LoanTable, Loans, OfGroups};
use super::outlines::ReferenceOutlines;
use crate::cohort::{Cohort, Reference};
use crate::notation::Quantity;
use crate::parallel;
use crate::stats::{
    BorrowedSpread, Lending, LendingDimension, PeriodShare, Prior, Rated, ShareEvidence, ShareSet,
};
use crate::table::{Column, Uncertainty};

/// The references of a cohort, with what they teach.
#[derive(Debug)]
pub struct Evidence<'t> {
    cohort: &'t Cohort<'t>,
    borrowing: Borrowing,
    /// Each column's values at [`Cohort::reference_rows`] of one group after the other; NaN where
    /// there is no reference.
    values: Vec<Vec<f64>>,
    /// What the user states of each column's spread.
    stated: Vec<Option<f64>>,
    /// What each set says of the period share, by column, then group; and all together.
    shares: Vec<Vec<ShareSet>>,
    share: ShareEvidence,
    firm: Option<Firm>,
    /// The grid points of the share that count, and what each set says there: a row a group.
    support: Range<usize>,
    said_there: Vec<Vec<f64>>,
    lenders: Lenders,
    lendings: Lendings,
    loans: LoanTable,
    /// Outlines that may speak; worked out when first asked for.
    outlines: OnceLock<ReferenceOutlines>,
    /// Taken apart for the pieces judged last.
    apart: Recent,
    /// What the other patterns lend in the main family, for the group last asked for.
    beside: Mutex<Option<(usize, Arc<Vec<LendingDimension>>)>>,
    /// For many pieces, what others lend to a group's dimensions that are derived from the same sizes.
    derived: Option<Mutex<OfDerived>>,
}

/// A period share that all patterns together are sure of.
#[derive(Debug)]
struct Firm {
    share: PeriodShare,
    /// Whether it is the same without any one piece of a group.
    groups: Vec<bool>,
}

/// By group and sizes, what others lend to the dimensions that are derived from these.
type OfDerived = HashMap<(usize, Vec<usize>), Arc<LoanTable<Vec<Option<Loan>>>>>;

impl<'t> Evidence<'t> {
    /// Adds up what a cohort's references teach.
    pub fn gather(cohort: &'t Cohort<'t>, borrowing: &Borrowing) -> Evidence<'t> {
        let table = cohort.table();
        let groups = cohort.groups().len();
        let lenders = Lenders::new(cohort, borrowing);
        let mut places = vec![NOWHERE; table.specimens.len()];
        for (place, &row) in cohort.all_reference_rows().iter().enumerate() {
            places[row as usize] = place as u32;
        }
        let of_columns = parallel::map(table.columns.len(), |column| {
            let values = sorted(cohort, column, &places);
            let sets: Vec<Vec<Rated>> = (0..groups)
                .map(|group| fine(cohort, column, group, &values, &[]))
                .collect();
            let shares: Vec<ShareSet> = sets.iter().map(|set| ShareSet::new(set)).collect();
            let lending = match borrowing.nothing {
                true => lenders.dimensions(|_| &[]),
                false => lenders.dimensions(|group| &sets[group]),
            };
            let mut share = ShareEvidence::default();
            for set in &shares {
                share.add(&set.evidence(0..ShareEvidence::GRID));
            }
            let sways: Vec<f64> = shares
                .iter()
                .zip(&sets)
                .map(|(s, set)| s.sway(set))
                .collect();
            (values, shares, share, lending, sways)
        });
        let (mut values, mut shares) = (Vec::new(), Vec::new());
        let mut dimensions = Vec::new();
        let mut share = ShareEvidence::default();
        let mut sways = vec![0.0; groups];
        for (sorted, of_column, said, lending, of_groups) in of_columns {
            sways
                .iter_mut()
                .zip(of_groups)
                .for_each(|(sum, of)| *sum += of);
            values.push(sorted);
            shares.push(of_column);
            share.add(&said);
            dimensions.push(lending);
        }
        let certain = share.certain().filter(|_| !borrowing.nothing);
        let firm = certain.map(|(share, room)| Firm {
            share,
            groups: sways.iter().map(|&sway| sway < room).collect(),
        });
        let support = share.support();
        let said_there = parallel::map(shares.len(), |column| {
            let sets = shares[column].iter();
            sets.flat_map(|set| {
                set.evidence(support.clone()).log_likelihood()[support.clone()].to_vec()
            })
            .collect()
        });
        let stated = |column| borrowing.stated.get(&table.dimension(column).key).copied();
        Evidence {
            cohort,
            borrowing: borrowing.clone(),
            values,
            stated: table.columns.iter().map(stated).collect(),
            shares,
            firm,
            support,
            said_there,
            loans: LoanTable::new(share.share().lambda(), cohort.all_reference_rows().len()),
            share,
            lendings: lenders.gather(dimensions),
            lenders,
            outlines: OnceLock::new(),
            apart: Recent::default(),
            beside: Mutex::default(),
            derived: None,
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

    /// The outlines of the references.
    pub(super) fn outlines(&self) -> &ReferenceOutlines {
        self.outlines
            .get_or_init(|| ReferenceOutlines::gather(self.cohort))
    }

    /// The references of a column (by position in the table) and group, by period, then row; those
    /// of some rows left out.
    pub fn references(&self, column: usize, group: usize, without: &[usize]) -> Vec<Reference> {
        let mut all = Vec::with_capacity(self.cohort.reference_range(group).len());
        all.extend(references(
            self.cohort,
            column,
            group,
            &self.values[column],
            without,
        ));
        all
    }

    /// Those that are fine enough to teach the spread of pieces.
    pub fn fine(&self, column: usize, group: usize, without: &[usize]) -> Vec<Rated> {
        fine(self.cohort, column, group, &self.values[column], without)
    }

    /// How much of the spread lies between periods, for a piece of that group whose own rows must
    /// not speak: by all patterns, or without borrowing by its own alone.
    pub fn period_share(&self, group: usize, own_rows: &[usize]) -> PeriodShare {
        let all = 0..ShareEvidence::GRID;
        if self.borrowing.nothing {
            let alone = self.said_by(group);
            return self.leave_out(alone, group, own_rows, all).share();
        }
        if let (Some(firm), [row]) = (&self.firm, own_rows)
            && firm.groups[self.cohort.group_of(*row)]
        {
            return firm.share;
        }
        let said = self.leave_out(self.share.clone(), group, own_rows, self.support.clone());
        said.share_within(self.support.clone()).unwrap_or_else(|| {
            // The piece is so far off that without it other grid points count.
            self.leave_out(self.share.clone(), group, own_rows, all)
                .share()
        })
    }

    /// Whether the period share is the same without any one piece of a group: all patterns together are so sure
    /// of one grid point that its readings cannot move them from it.
    pub(crate) fn is_firm(&self, group: usize) -> bool {
        self.firm.as_ref().is_some_and(|firm| firm.groups[group])
    }

    /// How many sets of readings of the whole collection can tell the period share.
    pub(crate) fn telling(&self) -> usize {
        self.share.telling()
    }

    /// How many sets of readings (a pattern's of one dimension) can tell that share.
    pub fn telling_sets(&self, group: usize, own_rows: &[usize]) -> usize {
        let said = match self.borrowing.nothing {
            true => self.said_by(group),
            false => self.share.clone(),
        };
        self.leave_out(said, group, own_rows, 0..1).telling()
    }

    /// What one group says of the period share.
    fn said_by(&self, group: usize) -> ShareEvidence {
        let mut said = ShareEvidence::default();
        for sets in &self.shares {
            said.add(&sets[group].evidence(0..ShareEvidence::GRID));
        }
        said
    }

    /// What is left of what was said of the period share without some rows, at some grid points.
    fn leave_out(
        &self,
        mut said: ShareEvidence,
        group: usize,
        own_rows: &[usize],
        grid: Range<usize>,
    ) -> ShareEvidence {
        let cohort = self.cohort;
        let spoke = own_rows
            .iter()
            .copied()
            .filter(|&row| cohort.is_chosen(row));
        let mut spoke: Vec<(usize, usize)> = spoke
            .map(|row| (cohort.group_of(row), row))
            .filter(|&(own, _)| own == group || !self.borrowing.nothing)
            .collect();
        spoke.sort_unstable();
        for of_group in spoke.chunk_by(|a, b| a.0 == b.0) {
            let own = of_group[0].0;
            let places = of_group.iter();
            let places = places.filter_map(|&(_, row)| cohort.reference_place(row));
            let places: Vec<usize> = places.collect();
            for (column, of) in cohort.table().columns.iter().enumerate() {
                let set = &self.shares[column][own];
                if set.is_silent() {
                    continue;
                }
                let kind = cohort.table().dimension(of).kind;
                let values = &self.values[column];
                let mut readings = places
                    .iter()
                    .filter(|&&at| !values[at].is_nan())
                    .map(|&at| cohort.reference_at(of, kind, at, values[at]))
                    .filter(|reference| is_fine(cohort, of, reference.row()))
                    .map(|reference| reference.rated());
                let Some(first) = readings.next() else {
                    continue;
                };
                let others =
                    readings.fold(set.without(first), |set, reading| set?.without(reading));
                let others =
                    others.unwrap_or_else(|| ShareSet::new(&self.fine(column, own, own_rows)));
                if grid == self.support {
                    let of_set = &self.said_there[column][own * grid.len()..][..grid.len()];
                    said.remove_set(set, grid.clone(), of_set);
                } else {
                    said.remove(&set.evidence(grid.clone()));
                }
                said.add(&others.evidence(grid.clone()));
            }
        }
        said
    }

    /// What the maker's other patterns lend to a group at a period ratio `lambda`, for a piece whose
    /// own rows must not speak; stated spreads are not heeded.
    pub(super) fn loans<'s>(&'s self, group: usize, lambda: f64, own_rows: &[usize]) -> Loans<'s> {
        let lends = own_rows.iter().any(|&row| self.lends_to(group, row));
        if lends && !self.borrowing.nothing {
            // A namesake among the other patterns: they lend without it.
            let lendings = self.lendings_without(own_rows);
            return Loans::At(Cow::Owned(self.lenders.lend(&lendings, group, lambda)));
        }
        let (lenders, lendings) = (&self.lenders, &self.lendings);
        let all = |ratio| lenders.lend_each(lendings, ratio);
        let of_group = |of: &'s OfGroups| of[group].as_slice();
        let loans = self
            .loans
            .at(lambda, !lenders.are_few(group), all, of_group);
        loans.unwrap_or_else(|| Loans::At(Cow::Owned(lenders.lend(lendings, group, lambda))))
    }

    /// What the user states of a column's spread.
    pub(super) fn stated(&self, column: usize) -> Option<f64> {
        self.stated[column]
    }

    /// What is known of a column's spread before a pattern's own references speak.
    pub fn prior(&self, column: usize, lent: Option<BorrowedSpread>, lambda: f64) -> Prior {
        match self.stated[column] {
            Some(spread) => Prior {
                df: f64::INFINITY,
                variance: spread * spread,
                lambda,
            },
            None => Prior::lent(lent, lambda),
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
        self.lenders.lend_new(&self.lendings_without(&[]), lambda)
    }

    /// The lending sets without some rows.
    fn lendings_without(&self, rows: &[usize]) -> Lendings {
        let groups = self.cohort.groups().len();
        let of_column = |column| {
            let sets: Vec<Vec<Rated>> = (0..groups).map(|g| self.fine(column, g, rows)).collect();
            self.lenders.dimensions(|group| &sets[group])
        };
        let dimensions = (0..self.stated.len()).map(of_column).collect();
        self.lenders.gather(dimensions)
    }

    /// The same evidence for judging many pieces: what others lend to their sizes and shapes is worked out once
    /// for all that have the same sizes, and interpolated between period ratios: to nine digits, but where
    /// readings are so coarse that a lender stands at its floor.
    #[must_use]
    pub fn for_many(mut self) -> Evidence<'t> {
        self.derived = Some(Mutex::default());
        self
    }

    /// What the maker's other patterns lend to dimensions of a group that are derived from some sizes
    /// (positions in the table): what `work_out` gives at a period ratio.
    pub(crate) fn loans_of_derived(
        &self,
        group: usize,
        sizes: &[usize],
        lambda: f64,
        own_rows: &[usize],
        work_out: impl Fn(f64) -> Vec<Option<Loan>> + Sync,
    ) -> Vec<Option<Loan>> {
        /// As many tables are some ten megabytes.
        const KEPT: usize = 4096;
        let lends = own_rows.iter().any(|&row| self.lends_to(group, row));
        let Some(derived) = self.derived.as_ref().filter(|_| !lends) else {
            return work_out(lambda);
        };
        let table = {
            // Whoever panicked left whole entries.
            let mut known = derived.lock().unwrap_or_else(PoisonError::into_inner);
            if known.len() > KEPT {
                known.clear();
            }
            let table = known.entry((group, sizes.to_vec()));
            Arc::clone(table.or_insert_with(|| Arc::new(self.loans.of_another())))
        };
        match table.at(lambda, true, &work_out, Vec::as_slice) {
            Some(loans) => (0..loans.len()).map(|at| loans.of(at)).collect(),
            None => work_out(lambda),
        }
    }

    /// What the maker's other patterns lend to a dimension that is derived from others: it borrows
    /// in the family of the dimensions that no family names. `derived` are the sets of
    /// [`Lenders::to`].
    pub(crate) fn lend_beside(
        &self,
        group: usize,
        lambda: f64,
        derived: &[&[Rated]],
        own_rows: &[usize],
    ) -> Option<Loan> {
        let readings = self.cohort.all_reference_rows().len() * self.lenders.main_family().len();
        let too_many = readings * size_of::<Rated>() > ROOM;
        let mut dimensions = match own_rows.iter().any(|&row| self.lends_to(group, row)) {
            true => self.main_family(group, own_rows),
            false if too_many => self.main_family(group, &[]),
            false => self.main_family_of_all(group).to_vec(),
        };
        dimensions.push(LendingDimension::new(derived));
        let mut loan = Lending::of(dimensions).all(lambda);
        let spread = loan.dimensions.pop()??;
        Some(Loan {
            phi: loan.phi,
            spread,
        })
    }

    /// The lending sets of the main family for a group, without some rows.
    fn main_family(&self, group: usize, without: &[usize]) -> Vec<LendingDimension> {
        let others = self.lenders.to(group);
        let sets_of = |&column: &usize| -> LendingDimension {
            let of = others.iter().map(|&g| self.fine(column, g, without));
            let sets: Vec<Vec<Rated>> = of.collect();
            LendingDimension::new(&sets.iter().map(Vec::as_slice).collect::<Vec<&[Rated]>>())
        };
        self.lenders.main_family().iter().map(sets_of).collect()
    }

    /// The same of all rows: the pieces of a pattern are mostly judged one after the other.
    fn main_family_of_all(&self, group: usize) -> Arc<Vec<LendingDimension>> {
        // Whoever panicked left a whole entry or none.
        let last = || self.beside.lock().unwrap_or_else(PoisonError::into_inner);
        let known = last().as_ref().filter(|(of, _)| *of == group).cloned();
        if let Some((_, dimensions)) = known {
            return dimensions;
        }
        let dimensions = Arc::new(self.main_family(group, &[]));
        *last() = Some((group, Arc::clone(&dimensions)));
        dimensions
    }

    /// Whether a row may speak in what other patterns lend to a group.
    fn lends_to(&self, group: usize, row: usize) -> bool {
        self.cohort.is_chosen(row) && self.cohort.group_of(row) != group
    }

    /// The references that have some sizes (positions in the cohort's table), taken apart.
    pub(crate) fn apart(&self, sizes: &[usize]) -> Arc<TakenApart> {
        self.apart.by(self.cohort, sizes)
    }
}

/// Place of a row whose piece is no reference.
const NOWHERE: u32 = u32::MAX;

/// A column's values in the order of the reference rows of all groups, by the place of each row. It is
/// read from end to end, because jumping about in it takes longer.
fn sorted(cohort: &Cohort<'_>, column: usize, places: &[u32]) -> Vec<f64> {
    let of = &cohort.table().columns[column];
    let all_speak = of.states.is_none() && cohort.table().dimension(of).credible.is_none();
    let mut sorted = vec![f64::NAN; cohort.all_reference_rows().len()];
    for (row, (&value, &place)) in of.values.iter().zip(places).enumerate() {
        if place != NOWHERE && (all_speak || cohort.is_reference(of, row)) {
            sorted[place as usize] = value;
        }
    }
    sorted
}

/// The references of a column and group, by period, then row; those of some rows left out.
fn references<'c>(
    cohort: &'c Cohort<'_>,
    column: usize,
    group: usize,
    values: &'c [f64],
    without: &'c [usize],
) -> impl Iterator<Item = Reference> + 'c {
    let of = &cohort.table().columns[column];
    let kind = cohort.table().dimension(of).kind;
    let rows = cohort.all_reference_rows();
    cohort
        .reference_range(group)
        .filter(|&at| !values[at].is_nan())
        .filter(|&at| !without.contains(&(rows[at] as usize)))
        .map(move |at| cohort.reference_at(of, kind, at, values[at]))
}

/// Those that are fine enough to teach the spread of pieces.
fn fine(
    cohort: &Cohort<'_>,
    column: usize,
    group: usize,
    values: &[f64],
    without: &[usize],
) -> Vec<Rated> {
    let of = &cohort.table().columns[column];
    let mut fine = Vec::with_capacity(cohort.reference_range(group).len());
    // One step for all is fine for all or for none.
    let all_fine = matches!(of.uncertainty, Uncertainty::Step(_)) && is_fine(cohort, of, 0);
    let all = references(cohort, column, group, values, without);
    fine.extend(
        all.filter(|r| all_fine || is_fine(cohort, of, r.row()))
            .map(|r| r.rated()),
    );
    fine
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
