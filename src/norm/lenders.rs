//! The patterns of each maker as lenders of spread to each other.

use std::borrow::Cow;
use std::collections::HashMap;
use std::sync::OnceLock;

use super::borrowing::Borrowing;
use crate::catalogue::fold;
use crate::cohort::Cohort;
use crate::parallel;
use crate::stats::{self, BorrowedSpread, Lending, LendingDimension, Rated, interpolation_weights};

/// Lenders whose squared reading errors are over so many times the squared spread that they tell, tell
/// none: where all agree to the step that they were read to, every round of the fit makes it smaller.
const COARSEST: f64 = 4.0;

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

    /// Whether a group's maker has so few patterns that their fits are cheap enough to be made anew for every
    /// piece.
    pub(crate) fn are_few(&self, group: usize) -> bool {
        const FEW: usize = 12;
        self.makers[self.place[group].0].len() <= FEW
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

    /// Spreads a maker's fits, one a family and each without a pattern, over the columns.
    fn by_column<'f>(
        &self,
        lendings: &[Lending],
        fits: impl Iterator<Item = &'f stats::Loan>,
        without: Option<usize>,
    ) -> Vec<Option<Loan>> {
        let mut loans = vec![None; self.columns];
        let families = self.families.iter().zip(lendings);
        for ((columns, lending), fit) in families.zip(fits) {
            for (d, (&column, spread)) in columns.iter().zip(&fit.dimensions).enumerate() {
                let told =
                    |s: &BorrowedSpread| lending.mean_square_error(d, without) <= COARSEST * s.s2;
                loans[column] = spread.filter(told).map(|spread| Loan {
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
        // A family without a column in the source lends nothing to nobody.
        let nothing = stats::Loan {
            phi: 0.0,
            dimensions: Vec::new(),
        };
        let of = |&(maker, place): &(usize, usize)| {
            let families = fits[maker].iter();
            let of_place = families.map(|family| family.get(place).unwrap_or(&nothing));
            self.by_column(&lendings.0[maker], of_place, Some(place))
        };
        self.place.iter().map(of).collect()
    }

    /// What one group is lent, by column.
    pub(crate) fn lend(&self, lendings: &Lendings, group: usize, lambda: f64) -> Vec<Option<Loan>> {
        let (maker, place) = self.place[group];
        let families = &lendings.0[maker];
        let fits = families.iter().map(|f| f.without(place, lambda));
        let fits: Vec<stats::Loan> = fits.collect();
        self.by_column(families, fits.iter(), Some(place))
    }

    /// What a new pattern of each group's maker would be lent, by column.
    pub(crate) fn lend_new(&self, lendings: &Lendings, lambda: f64) -> Vec<Vec<Option<Loan>>> {
        let of_maker = |families: &Vec<Lending>| {
            let fits: Vec<stats::Loan> = families.iter().map(|f| f.all(lambda)).collect();
            self.by_column(families, fits.iter(), None)
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

/// What each group is lent, by column.
pub(crate) type OfGroups = Vec<Vec<Option<Loan>>>;

/// Loans at some period ratios, worked out when first asked for; between these they are interpolated.
///
/// A piece that is a reference itself is judged by a period share without it, so that nearly every
/// reference has a period ratio of its own, a little beside that of the collection. The loans depend
/// smoothly on it.
#[derive(Debug)]
pub(crate) struct LoanTable<T = OfGroups> {
    lambda: f64,
    /// Relative half-width of the span of period ratios.
    reach: f64,
    nodes: Vec<(f64, OnceLock<T>)>,
}

impl<T: Send + Sync> LoanTable<T> {
    /// A table about the period ratio of a collection of so many references.
    pub(crate) fn new(lambda: f64, references: usize) -> LoanTable<T> {
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

    /// A table of something else at the same period ratios.
    pub(crate) fn of_another<U>(&self) -> LoanTable<U> {
        let node = |&(ratio, _): &(f64, _)| (ratio, OnceLock::new());
        LoanTable {
            lambda: self.lambda,
            reach: self.reach,
            nodes: self.nodes.iter().map(node).collect(),
        }
    }

    /// The loans at a period ratio: those that `pick` takes of what `work_out` gives at a ratio. `None`
    /// where they are to be worked out at that ratio itself, as all but those of the collection's own are
    /// where `between` is false.
    pub(crate) fn at<'s>(
        &'s self,
        lambda: f64,
        between: bool,
        work_out: impl Fn(f64) -> T + Sync,
        pick: impl Fn(&'s T) -> &'s [Option<Loan>] + Sync,
    ) -> Option<Loans<'s>> {
        let at_node = |node: usize| {
            let (ratio, loans) = &self.nodes[node];
            pick(loans.get_or_init(|| work_out(*ratio)))
        };
        if lambda == self.lambda {
            return Some(Loans::At(Cow::Borrowed(at_node(0))));
        }
        if !between || (lambda / self.lambda - 1.0).abs() > self.reach {
            return None;
        }
        if self.nodes.iter().any(|(_, loans)| loans.get().is_none()) {
            // All are needed; side by side they are done sooner.
            parallel::map(self.nodes.len(), |node| {
                at_node(node);
            });
        }
        if !self.is_smooth(&at_node) {
            return None;
        }
        let weights = interpolation_weights(lambda, self.nodes.iter().map(|node| node.0));
        let nodes = weights.into_iter().enumerate();
        let nodes = nodes.map(|(i, weight)| (weight, at_node(i)));
        Some(Loans::Between(nodes.collect()))
    }

    /// Whether loans run smoothly from node to node: they do not where readings are so coarse that a set
    /// comes to stand at its floor. The middle is foretold from the others.
    fn is_smooth<'a>(&self, at_node: &impl Fn(usize) -> &'a [Option<Loan>]) -> bool {
        /// What the nodes of a wide span foretell of the middle.
        const NEAR: f64 = 1e-8;
        if self.nodes.len() < 5 {
            // So near to each other that a kink moves nothing.
            return (1..self.nodes.len()).all(|n| {
                let both = at_node(0).iter().zip(at_node(n));
                both.into_iter().all(|(a, b)| a.is_some() == b.is_some())
            });
        }
        let weights = interpolation_weights(self.lambda, self.nodes[1..].iter().map(|node| node.0));
        (0..at_node(0).len()).all(|column| {
            let all: Vec<Option<Loan>> = (0..5).map(|n| at_node(n)[column]).collect();
            let Some(middle) = all[0] else {
                return all.iter().all(Option::is_none);
            };
            let foretold = |of: &dyn Fn(&Loan) -> f64| -> Option<f64> {
                let terms = all[1..].iter().zip(&weights);
                terms.map(|(l, w)| Some(w * of(l.as_ref()?))).sum()
            };
            let log = |l: &Loan| l.spread.s2.ln();
            let near = |of: &dyn Fn(&Loan) -> f64| {
                foretold(of).is_some_and(|value| (value - of(&middle)).abs() <= NEAR)
            };
            near(&log) && near(&|l| l.phi)
        })
    }
}

/// What one group is lent at one period ratio.
#[derive(Debug)]
pub(crate) enum Loans<'a> {
    /// By column.
    At(Cow<'a, [Option<Loan>]>),
    /// The same at each node, with the node's weight.
    Between(Vec<(f64, &'a [Option<Loan>])>),
}

impl Loans<'_> {
    /// How many columns.
    pub(crate) fn len(&self) -> usize {
        match self {
            Loans::At(loans) => loans.len(),
            Loans::Between(nodes) => nodes[0].1.len(),
        }
    }

    /// What one column is lent.
    pub(crate) fn of(&self, column: usize) -> Option<Loan> {
        let nodes = match self {
            Loans::At(loans) => return loans[column],
            Loans::Between(nodes) => nodes,
        };
        let first = nodes[0].1[column]?;
        let sum = |of: &dyn Fn(&Loan) -> f64| -> f64 {
            let terms = nodes.iter();
            terms
                .map(|(weight, loans)| weight * loans[column].as_ref().map_or(0.0, of))
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
    }
}
