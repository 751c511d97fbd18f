//! What one dimension of one pattern is judged by: its references, screened, and what is known of the
//! spread beforehand.

use std::borrow::Cow;

use super::evidence::Evidence;
use super::lenders::Loan;
use crate::cohort::Reference;
use crate::stats::{PeriodShare, Predictive, Prior, median, screen};

/// What is known before a pattern's own references speak, for all columns.
#[derive(Clone, Debug, PartialEq)]
pub struct Beforehand {
    /// How much of the spread lies between periods.
    pub share: PeriodShare,
    /// What the maker's other patterns lend, by column.
    pub loans: Vec<Option<Loan>>,
    /// What the user states, by column: spreads on the scale of judgement.
    pub stated: Vec<Option<f64>>,
}

impl Beforehand {
    /// What is known for a piece of that group whose own rows must not speak.
    pub fn new(evidence: &Evidence<'_>, group: usize, own_rows: &[usize]) -> Beforehand {
        let share = evidence.period_share(group, own_rows);
        let table = evidence.cohort().table();
        let spread = |column| {
            let key = &table.dimension(column).key;
            evidence.borrowing().stated.get(key).copied()
        };
        let stated: Vec<Option<f64>> = table.columns.iter().map(spread).collect();
        let mut loans = evidence.lenders().lend(evidence, group, share.lambda());
        for (loan, stated) in loans.iter_mut().zip(&stated) {
            // Who knows the spread for certain borrows none.
            *loan = loan.filter(|_| stated.is_none());
        }
        Beforehand {
            share,
            loans,
            stated,
        }
    }

    /// The prior of one column.
    pub fn prior(&self, column: usize) -> Prior {
        let lambda = self.share.lambda();
        match (self.stated[column], self.loans[column]) {
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
}

/// The references of one dimension and the predictive that they and the prior make.
#[derive(Clone, Debug, PartialEq)]
pub struct Basis {
    /// What is known beforehand.
    pub prior: Prior,
    /// The references that speak.
    pub kept: Vec<Reference>,
    /// Those set aside because they are unlike their fellows.
    pub set_aside: Vec<SetAside>,
    /// Whether those that speak disagree all the same.
    pub disagree: bool,
    /// What they say of the next undated piece; `None` where they say nothing.
    pub predictive: Option<Predictive>,
    /// The largest `|T|` of a reference judged by the others, where it came near to being set
    /// aside; else 0.
    pub(crate) near_t: f64,
}

/// A reference that was set aside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SetAside {
    /// The reference.
    pub reference: Reference,
    /// Its p by the others that were left.
    pub p: f64,
    /// Its deviation from what they made expect, on the scale of judgement.
    pub deviation: f64,
}

/// Share of the limit from which on one reference more or less may tip the balance.
const NEAR: f64 = 0.85;

impl Basis {
    /// Screens the references and lets those that stay speak.
    pub fn new(references: Cow<'_, [Reference]>, prior: Prior) -> Basis {
        let mut basis = Basis {
            prior,
            kept: Vec::new(),
            set_aside: Vec::new(),
            disagree: false,
            predictive: None,
            near_t: 0.0,
        };
        // Screening by a spread that the references themselves must tell finds too much.
        if prior.df > 0.0 {
            let screened = screen(&references, &prior);
            basis.disagree = screened.disagree;
            if screened.nearness > NEAR {
                basis.near_t = screened.largest_t;
            }
            for aside in &screened.set_aside {
                basis.set_aside.push(SetAside {
                    reference: references[aside.index],
                    p: aside.p,
                    deviation: aside.deviation,
                });
            }
            basis.kept = screened.kept.iter().map(|&i| references[i]).collect();
        } else {
            basis.kept = references.into_owned();
        }
        basis.predictive = Predictive::new(&basis.kept, &prior);
        basis
    }

    /// The standard uncertainty of the usual reference on the scale of judgement: their median, so
    /// that a few coarse readings do not widen what is expected of the next one, and not more than
    /// their root mean square.
    pub fn usual_uncertainty(&self) -> f64 {
        let uncertainties: Vec<f64> = self.kept.iter().map(|r| r.rated().u).collect();
        let mean_square = self.predictive.as_ref().map_or(0.0, |p| p.sums().mean_u2);
        median(&uncertainties).map_or(0.0, |u| u.min(mean_square.sqrt()))
    }
}
