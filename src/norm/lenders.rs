//! The patterns of each maker as lenders of spread to each other.

use std::collections::HashMap;
use std::sync::OnceLock;

use super::borrowing::Borrowing;
use crate::catalogue::fold;
use crate::cohort::Cohort;
use crate::stats::{self, BorrowedSpread, Lending, LendingDimension, Rated};

/// Which patterns lend to each other, and which dimensions borrow together.
#[derive(Clone, Debug)]
pub(crate) struct Lenders {
    /// The groups of each maker.
    makers: Vec<Vec<usize>>,
    /// Each group's maker, and its place among that maker's groups.
    place: Vec<(usize, usize)>,
    /// The columns of each family; the first is that of the dimensions that no family names.
    families: Vec<Vec<usize>>,
    columns: usize,
}

/// What the other patterns lend to one pattern's dimension.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loan {
    /// How much the spread differs between patterns: `1 / d0` of the family.
    pub phi: f64,
    /// The spread.
    pub spread: BorrowedSpread,
}

impl Lenders {
    pub(crate) fn new(cohort: &Cohort<'_>, borrowing: &Borrowing) -> Lenders {
        let table = cohort.table();
        let mut families: Vec<Vec<usize>> = vec![Vec::new(); borrowing.families.len() + 1];
        for (at, column) in table.columns.iter().enumerate() {
            families[borrowing.family_of(&table.dimension(column).key)].push(at);
        }
        let mut lenders = Lenders {
            makers: Vec::new(),
            place: Vec::with_capacity(cohort.groups().len()),
            families,
            columns: table.columns.len(),
        };
        let mut numbers: HashMap<String, usize> = HashMap::new();
        for (group, of) in cohort.groups().iter().enumerate() {
            let makers = &mut lenders.makers;
            let number = *numbers.entry(fold(&of.maker)).or_insert_with(|| {
                makers.push(Vec::new());
                makers.len() - 1
            });
            lenders.place.push((number, makers[number].len()));
            makers[number].push(group);
        }
        lenders
    }

    /// The groups that lend to a group: the maker's other patterns.
    pub(crate) fn to(&self, group: usize) -> Vec<usize> {
        let all = self.makers[self.place[group].0].iter().copied();
        all.filter(|&g| g != group).collect()
    }

    /// Puts one column's sets in order for lending, maker by maker; `set(group)` are the fine
    /// readings of one.
    pub(crate) fn dimensions<'s>(
        &self,
        set: impl Fn(usize) -> &'s [Rated],
    ) -> Vec<LendingDimension> {
        let of_maker = |groups: &Vec<usize>| {
            let sets: Vec<&[Rated]> = groups.iter().map(|&group| set(group)).collect();
            LendingDimension::new(&sets)
        };
        self.makers.iter().map(of_maker).collect()
    }

    /// Gathers the dimensions of all columns, family by family.
    pub(crate) fn gather(&self, columns: Vec<Vec<LendingDimension>>) -> Lendings {
        let mut columns: Vec<std::vec::IntoIter<LendingDimension>> =
            columns.into_iter().map(Vec::into_iter).collect();
        let mut of_maker = |_: &Vec<usize>| {
            let of_family = |family: &Vec<usize>| {
                // Each column has one dimension a maker.
                let dimensions = family.iter().filter_map(|&column| columns[column].next());
                Lending::of(dimensions.collect())
            };
            self.families.iter().map(of_family).collect()
        };
        Lendings(self.makers.iter().map(&mut of_maker).collect())
    }

    /// Spreads a maker's fits, one a family, over the columns.
    fn by_column<'f>(&self, fits: impl Iterator<Item = &'f stats::Loan>) -> Vec<Option<Loan>> {
        let mut loans = vec![None; self.columns];
        for (columns, fit) in self.families.iter().zip(fits) {
            for (&column, spread) in columns.iter().zip(&fit.dimensions) {
                loans[column] = spread.map(|spread| Loan {
                    phi: fit.phi,
                    spread,
                });
            }
        }
        loans
    }

    /// What each group is lent, by column.
    pub(crate) fn lend_each(&self, lendings: &Lendings, lambda: f64) -> Vec<Vec<Option<Loan>>> {
        let fits: Vec<Vec<Vec<stats::Loan>>> = lendings
            .0
            .iter()
            .map(|families| families.iter().map(|f| f.without_each(lambda)).collect())
            .collect();
        let of = |&(maker, place): &(usize, usize)| {
            self.by_column(fits[maker].iter().map(|family| &family[place]))
        };
        self.place.iter().map(of).collect()
    }

    /// What one group is lent, by column.
    pub(crate) fn lend(&self, lendings: &Lendings, group: usize, lambda: f64) -> Vec<Option<Loan>> {
        let (maker, place) = self.place[group];
        let families = lendings.0[maker].iter();
        let fits: Vec<stats::Loan> = families.map(|f| f.without(place, lambda)).collect();
        self.by_column(fits.iter())
    }

    /// What a new pattern of each group's maker would be lent, by column.
    pub(crate) fn lend_new(&self, lendings: &Lendings, lambda: f64) -> Vec<Vec<Option<Loan>>> {
        let of_maker = |families: &Vec<Lending>| {
            let fits: Vec<stats::Loan> = families.iter().map(|f| f.all(lambda)).collect();
            self.by_column(fits.iter())
        };
        let makers: Vec<Vec<Option<Loan>>> = lendings.0.iter().map(of_maker).collect();
        self.place.iter().map(|p| makers[p.0].clone()).collect()
    }

    /// The columns of the family that no other names.
    pub(crate) fn main_family(&self) -> &[usize] {
        &self.families[0]
    }
}

/// The lending sets of each maker, family by family.
#[derive(Clone, Debug)]
pub(crate) struct Lendings(Vec<Vec<Lending>>);

/// How many patterns' fits are cheap enough to be made anew for every piece.
const FEW: usize = 12;

/// The loans of all groups at some period ratios, worked out when first asked for; between these the
/// loans are interpolated.
///
/// A piece that is a reference itself is judged by a period share without it, so that nearly every
/// reference has a period ratio of its own, a little beside that of the collection. The loans depend
/// smoothly on it.
#[derive(Debug)]
pub(crate) struct LoanTable {
    lambda: f64,
    /// Relative half-width of the span of period ratios.
    reach: f64,
    nodes: Vec<(f64, OnceLock<Vec<Vec<Option<Loan>>>>)>,
}

impl LoanTable {
    /// A table about the period ratio of a collection of so many references.
    pub(crate) fn new(lambda: f64, references: usize) -> LoanTable {
        // The more references, the less one of them moves the ratio. The error is the span to the
        // power of the number of nodes, over its factorial: 1e-11 and less.
        let (reach, positions): (f64, &[f64]) = if references > 20_000 {
            (5e-4, &[0.0, -1.0, 1.0])
        } else {
            (0.02, &[0.0, -1.0, 1.0, -0.6, 0.6])
        };
        let node = |&at: &f64| (lambda * (1.0 + reach * at), OnceLock::new());
        LoanTable {
            lambda,
            reach,
            nodes: positions.iter().map(node).collect(),
        }
    }

    /// What a group is lent at a period ratio.
    pub(crate) fn lend(
        &self,
        lenders: &Lenders,
        lendings: &Lendings,
        group: usize,
        lambda: f64,
    ) -> Vec<Option<Loan>> {
        let at_node = |(ratio, loans): &'_ (f64, OnceLock<Vec<Vec<Option<Loan>>>>)| {
            loans.get_or_init(|| lenders.lend_each(lendings, *ratio))[group].clone()
        };
        if lambda == self.lambda {
            return at_node(&self.nodes[0]);
        }
        let few = lenders.makers[lenders.place[group].0].len() <= FEW;
        if few || (lambda / self.lambda - 1.0).abs() > self.reach {
            return lenders.lend(lendings, group, lambda);
        }
        let nodes: Vec<(f64, Vec<Option<Loan>>)> = self
            .nodes
            .iter()
            .map(|node| (node.0, at_node(node)))
            .collect();
        let weights: Vec<f64> = lagrange(lambda, nodes.iter().map(|n| n.0));
        let columns = 0..nodes[0].1.len();
        let blend = |column: usize| {
            let first = nodes[0].1[column]?;
            let sum = |of: &dyn Fn(&Loan) -> f64| -> f64 {
                let terms = nodes.iter().zip(&weights);
                terms
                    .map(|((_, loans), weight)| weight * loans[column].as_ref().map_or(0.0, of))
                    .sum()
            };
            let phi = sum(&|l| l.phi);
            let information = sum(&|l| l.spread.information);
            Some(Loan {
                phi,
                spread: BorrowedSpread {
                    s2: sum(&|l| l.spread.s2.ln()).exp(),
                    information,
                    df: 1.0 / (phi + 1.0 / information),
                    lenders: first.spread.lenders,
                },
            })
        };
        columns.map(blend).collect()
    }
}

/// The weights of Lagrange's interpolation at `x` between nodes.
fn lagrange(x: f64, nodes: impl Iterator<Item = f64> + Clone) -> Vec<f64> {
    nodes
        .clone()
        .enumerate()
        .map(|(i, own)| {
            let others = nodes.clone().enumerate().filter(|&(j, _)| j != i);
            others
                .map(|(_, other)| (x - other) / (own - other))
                .product()
        })
        .collect()
}
