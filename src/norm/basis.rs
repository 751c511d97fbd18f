//! What one dimension of one pattern is judged by: its references, screened, and what is known of the
//! spread beforehand.

use super::evidence::Evidence;
use super::lenders::Loan;
use crate::cohort::Reference;
use crate::stats::{PeriodShare, Predictive, Prior, median, screen};

/// What is known before a pattern's own references speak.
#[derive(Clone, Debug, PartialEq)]
pub struct Beforehand {
    /// How much of the spread lies between periods.
    pub share: PeriodShare,
    /// What the maker's other patterns lend, by column.
    pub loans: Vec<Option<Loan>>,
}

impl Beforehand {
    /// What is known for a piece of that group whose own rows must not speak.
    pub fn new(evidence: &Evidence<'_>, group: usize, own_rows: &[usize]) -> Beforehand {
        let share = evidence.period_share(group, own_rows);
        let loans = evidence.loans(group, share.lambda(), own_rows);
        Beforehand { share, loans }
    }

    /// The prior of one column.
    pub fn prior(&self, evidence: &Evidence<'_>, column: usize) -> Prior {
        evidence.prior(column, self.loans[column], self.share.lambda())
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
    /// The place in `kept` of a reference that may well be set aside with one reference less.
    pub(crate) next: Option<usize>,
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

impl Basis {
    /// Screens the references and lets those that stay speak.
    pub fn new(references: Vec<Reference>, prior: Prior) -> Basis {
        let mut basis = Basis {
            prior,
            kept: Vec::new(),
            set_aside: Vec::new(),
            disagree: false,
            predictive: None,
            next: None,
        };
        // Screening by a spread that the references themselves must tell finds too much.
        if prior.df == 0.0 {
            basis.predictive = Predictive::new(&references, &prior);
            basis.kept = references;
            return basis;
        }
        let screened = screen(&references, &prior);
        basis.disagree = screened.disagree;
        basis.next = screened.next;
        for aside in &screened.set_aside {
            basis.set_aside.push(SetAside {
                reference: references[aside.index],
                p: aside.p,
                deviation: aside.deviation,
            });
        }
        basis.predictive = screened
            .sums
            .and_then(|sums| Predictive::from_sums(sums, &prior));
        basis.kept = match basis.set_aside.is_empty() {
            true => references,
            false => screened.kept.iter().map(|&i| references[i]).collect(),
        };
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
