//! The working of a verdict: every number between the readings and the label, for a sceptic with a
//! pocket calculator.

use super::check::Piece;
use super::{Check, DimensionCheck};
use crate::cohort::Reference;
use crate::norm::{Beforehand, Evidence, Loan, SetAside, Settings};
use crate::stats::{PeriodShare, PeriodSums, Predictive, Prior, Rated, Standpoint, two_level};
use crate::table::{Column, Table};

/// The working of the verdict on one piece.
#[derive(Clone, Debug)]
pub struct Working {
    /// The verdict.
    pub check: Check,
    /// How much of the spread lies between periods.
    pub share: PeriodShare,
    /// Sets of readings (a pattern's of one dimension) that can tell it.
    pub telling_sets: usize,
    /// One for each dimension of the verdict.
    pub dimensions: Vec<DimensionWorking>,
}

/// The working of one dimension.
#[derive(Clone, Debug)]
pub struct DimensionWorking {
    /// The verdict.
    pub check: DimensionCheck,
    /// The piece's reading on the scale of judgement.
    pub own: Rated,
    /// What is known of the spread beforehand.
    pub prior: Prior,
    /// What the maker's other patterns lend.
    pub loan: Option<Loan>,
    /// They, one by one.
    pub lenders: Vec<Lender>,
    /// The references that speak.
    pub references: Vec<WeighedReference>,
    /// Those that were set aside.
    pub set_aside: Vec<SetAside>,
    /// What follows from them; `None` where nothing does.
    pub steps: Option<Steps>,
}

/// One pattern's set of one dimension, as it lends.
#[derive(Clone, Copy, Debug)]
pub struct Lender {
    /// The pattern's number in the cohort.
    pub group: usize,
    /// Its references.
    pub n: usize,
    /// Their variance `s^2`, with `n - 1` degrees of freedom.
    pub s2: f64,
}

/// A reference as it enters the sums.
#[derive(Clone, Copy, Debug)]
pub struct WeighedReference {
    /// The reference.
    pub reference: Reference,
    /// Its error variance relative to the spread.
    pub r: f64,
    /// Its weight `1 / (1 + r)`.
    pub weight: f64,
}

/// From the sums to the p. All on the scale of judgement.
#[derive(Clone, Debug, PartialEq)]
pub struct Steps {
    /// The piece's reading.
    pub own: Rated,
    /// What is known of the spread beforehand.
    pub prior: Prior,
    /// The norm that it is judged by: that of its period, where this has references.
    pub norm: Predictive,
    /// Deviation, `W`, `T`, p and z.
    pub standpoint: Standpoint,
}

impl Steps {
    /// Judges a reading by an undated norm.
    pub(super) fn new(undated: Predictive, prior: Prior, own: Rated) -> Steps {
        let norm = undated.dated(own.period);
        Steps {
            standpoint: norm.judge(own.x, own.u),
            own,
            prior,
            norm,
        }
    }

    /// The sums of the piece's period, where it has references.
    pub fn own_period(&self) -> Option<&PeriodSums> {
        self.norm.sums().period(self.own.period)
    }
}

/// The working of the verdict on a piece of the cohort's own table.
pub fn working(evidence: &Evidence<'_>, row: usize, settings: &Settings) -> Working {
    Piece::of_cohort(evidence, row).working(settings)
}

/// The working of the verdict on a piece of another table.
pub fn working_against(
    evidence: &Evidence<'_>,
    table: &Table,
    row: usize,
    settings: &Settings,
) -> Working {
    Piece::of_another(evidence, table, row).working(settings)
}

impl Piece<'_> {
    fn working(&self, settings: &Settings) -> Working {
        let check = self.check(settings);
        let known = self
            .group
            .map(|group| Beforehand::new(self.evidence, group, &self.own));
        let share = known.as_ref().map_or(PeriodShare { rho: 0.0 }, |k| k.share);
        Working {
            telling_sets: self
                .group
                .map_or(0, |group| self.evidence.telling_sets(group, &self.own)),
            share,
            dimensions: check
                .dimensions
                .iter()
                .map(|of| self.work_out(of, known.as_ref()))
                .collect(),
            check,
        }
    }

    fn work_out(&self, check: &DimensionCheck, known: Option<&Beforehand<'_>>) -> DimensionWorking {
        let columns = &self.table.columns;
        // A dimension of a check is one of the piece's columns.
        let is_own = |c: &&Column| c.dimension == check.dimension && c.value(self.row).is_some();
        let column = columns.iter().find(is_own);
        let column = column.unwrap_or(&columns[0]);
        let own = self.rated(column);
        let basis = self.basis(known, column);
        let prior = basis.prior;
        let weigh = |&reference: &Reference| {
            let r = prior.relative(reference.rated().u);
            WeighedReference {
                reference,
                r,
                weight: 1.0 / (1.0 + r),
            }
        };
        let steps = basis
            .predictive
            .map(|undated| Steps::new(undated, prior, own));
        let position = self.position(column);
        let lenders = match (position, self.group, check.loan) {
            (Some(position), Some(group), Some(loan)) => self
                .evidence
                .lenders()
                .to(group)
                .into_iter()
                .filter_map(|group| {
                    let set = self.evidence.fine(position, group, &self.own);
                    let sums = two_level(&set, prior.lambda, loan.spread.s2)?;
                    let s2 = sums.variance_of_set()?;
                    let n = sums.n;
                    Some(Lender { group, n, s2 })
                })
                .collect(),
            _ => Vec::new(),
        };
        DimensionWorking {
            check: check.clone(),
            own,
            prior,
            loan: check.loan,
            lenders,
            references: basis.kept.iter().map(weigh).collect(),
            set_aside: basis.set_aside,
            steps,
        }
    }
}
