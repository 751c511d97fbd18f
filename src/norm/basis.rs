//! What one dimension of one pattern is judged by: its references, screened, and what is known of the
//! spread beforehand.

use super::evidence::Evidence;
use super::lenders::{Loan, Loans};
use crate::cohort::Reference;
use crate::stats::{PeriodShare, Predictive, Prior, median, screen};

/// What is known before a pattern's own references speak.
#[derive(Debug)]
pub struct Beforehand<'a> {
    evidence: &'a Evidence<'a>,
    /// How much of the spread lies between periods.
    pub share: PeriodShare,
    loans: Loans<'a>,
}

impl<'a> Beforehand<'a> {
    /// What is known for a piece of that group whose own rows must not speak.
    pub fn new(evidence: &'a Evidence<'a>, group: usize, own_rows: &[usize]) -> Beforehand<'a> {
        let share = evidence.period_share(group, own_rows);
        Beforehand {
            evidence,
            share,
            loans: evidence.loans(group, share.lambda(), own_rows),
        }
    }

    /// What the maker's other patterns lend to a column. Who knows the spread for certain borrows
    /// none.
    pub fn loan(&self, column: usize) -> Option<Loan> {
        match self.evidence.stated(column) {
            Some(_) => None,
            None => self.loans.of(column),
        }
    }

    /// The prior of one column.
    pub fn prior(&self, column: usize) -> Prior {
        let loan = self.loan(column).map(|loan| loan.spread);
        self.evidence.prior(column, loan, self.share.lambda())
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
    /// The places in `kept` of references that may well be set aside with one reference less, the nearest to
    /// that first.
    pub(crate) near: Vec<usize>,
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
    /// Whether it would be set aside with any one reference of another period less as well.
    pub(crate) by_far: bool,
}

impl Basis {
    /// Screens the references and lets those that stay speak.
    pub fn new(references: Vec<Reference>, prior: Prior) -> Basis {
        let screened = screen(&references, &prior);
        let aside = screened.set_aside.iter();
        let set_aside: Vec<SetAside> = aside
            .map(|aside| SetAside {
                reference: references[aside.index],
                p: aside.p,
                deviation: aside.deviation,
                by_far: aside.by_far,
            })
            .collect();
        Basis {
            prior,
            near: screened.near.clone(),
            kept: match set_aside.is_empty() {
                true => references,
                false => screened.kept.iter().map(|&i| references[i]).collect(),
            },
            set_aside,
            disagree: screened.disagree,
            predictive: screened.predictive(&prior),
        }
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
