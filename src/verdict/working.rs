//! The working of a verdict: every number between the readings and the label, for a sceptic with a
//! pocket calculator.

use super::check::Piece;
use super::{Check, DimensionCheck};
use crate::cohort::Reference;
use crate::norm::{Beforehand, Evidence, Loan, SetAside, Settings};
use crate::stats::{
    PeriodShare, PeriodSums, Prior, Rated, Standpoint, TwoLevel, normal_upper_quantile,
    t_upper_quantile, two_level,
};
use crate::table::Table;

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
#[derive(Clone, Debug)]
pub struct Steps {
    /// The two-level sums.
    pub sums: TwoLevel,
    /// The period of the piece among them, where it has references.
    pub own_period: Option<PeriodSums>,
    /// How much of Q is spread of pieces: `1 / (1 + mean r)^2`.
    pub share: f64,
    /// `nu`.
    pub df: f64,
    /// `s^2`.
    pub s2: f64,
    /// `m`.
    pub centre: f64,
    /// `h0`.
    pub h0: f64,
    /// The reading's own error variance relative to the spread.
    pub r_new: f64,
    /// Deviation, `W`, `T`, p and z.
    pub standpoint: Standpoint,
    /// The t that the typical range reaches to.
    pub t_coverage: f64,
    /// t of 0.975 and of 0.80, for the least noticeable deviation.
    pub t_level: f64,
    /// See `t_level`.
    pub t_power: f64,
    /// `1.96 + 0.84`: what these are for a norm that is known perfectly.
    pub z_both: f64,
    /// `h` of a norm that is known perfectly.
    pub h_ideal: f64,
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
                .map(|of| self.work_out(of, known.as_ref(), settings))
                .collect(),
            check,
        }
    }

    fn work_out(
        &self,
        check: &DimensionCheck,
        known: Option<&Beforehand>,
        settings: &Settings,
    ) -> DimensionWorking {
        let columns = &self.table.columns;
        // A dimension of a check is one of the piece's columns.
        let column = columns.iter().find(|c| c.dimension == check.dimension);
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
        let steps = basis.predictive.map(|undated| {
            let sums = undated.sums().clone();
            let own_period = sums.period(own.period).copied();
            let norm = undated.dated(own.period);
            let df = norm.df();
            let h_ideal = match own_period {
                Some(_) => 1.0,
                None => 1.0 + prior.lambda,
            };
            let (level, power) = (0.025, 0.2);
            Steps {
                own_period,
                share: (1.0 + sums.mean_r).powi(-2),
                df,
                s2: norm.spread().powi(2),
                centre: norm.centre(),
                h0: norm.h0(),
                r_new: norm.r_new(own.u),
                standpoint: norm.judge(own.x, own.u),
                t_coverage: t_upper_quantile((1.0 - settings.coverage()) / 2.0, df),
                t_level: t_upper_quantile(level, df),
                t_power: t_upper_quantile(power, df),
                z_both: normal_upper_quantile(level) + normal_upper_quantile(power),
                h_ideal,
                sums,
            }
        });
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
