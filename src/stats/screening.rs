//! References that are unlike their fellows: set aside one by one, never deleted.
//!
//! # Method
//! Each reference is judged by the rest with the predictive t, its own period and uncertainty. With
//! `m >= 3` left, if the smallest p times `m` is under 0.02, that reference is set aside, and so on,
//! until `floor((n - 1) / 2)` are. If at the end the smallest p (times `m`, for `m > 2`) is still
//! under 0.02, the references disagree.
//!
//! # Source
//! Leave-one-out, externally studentized residuals: R. D. Cook and S. Weisberg, Residuals and
//! Influence in Regression (1982); the spread is borrowed.

use super::predictive::{Predictive, Prior};
use super::two_level::Rated;

/// Reject at this level, over all references of a set.
const ALPHA: f64 = 0.02;

/// The outcome of screening a set of references.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Screened {
    /// Indices of the references that stay, in their order.
    pub kept: Vec<usize>,
    /// Those set aside, in the order in which they went.
    pub set_aside: Vec<SetAsideReference>,
    /// Whether those that stay still disagree.
    pub disagree: bool,
}

/// A reference that was set aside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SetAsideReference {
    /// Its index.
    pub index: usize,
    /// Its p by the others.
    pub p: f64,
    /// Its deviation from the others' centre.
    pub deviation: f64,
}

/// Screens references by a prior spread.
pub fn screen(readings: &[Rated], prior: &Prior) -> Screened {
    let most = readings.len().saturating_sub(1) / 2;
    let mut kept: Vec<usize> = (0..readings.len()).collect();
    let mut set_aside = Vec::new();
    loop {
        let m = kept.len();
        let Some(worst) = worst(readings, &kept, prior) else {
            return Screened {
                kept,
                set_aside,
                disagree: false,
            };
        };
        let unlike = |comparisons: usize| worst.p * (comparisons as f64) < ALPHA;
        if m >= 3 && unlike(m) && set_aside.len() < most {
            kept.retain(|&i| i != worst.index);
            set_aside.push(worst);
            continue;
        }
        return Screened {
            disagree: unlike(if m > 2 { m } else { 1 }),
            kept,
            set_aside,
        };
    }
}

/// The reference least like the others; `None` for fewer than two.
fn worst(readings: &[Rated], kept: &[usize], prior: &Prior) -> Option<SetAsideReference> {
    if kept.len() < 2 {
        return None;
    }
    let judged = kept.iter().filter_map(|&index| {
        let others: Vec<Rated> = kept
            .iter()
            .filter(|&&other| other != index)
            .map(|&other| readings[other])
            .collect();
        let own = readings[index];
        let norm = Predictive::with_prior(&others, prior)?;
        let at = match own.period {
            Some(period) => norm.dated(period).judge(own.x, own.u),
            None => norm.judge(own.x, own.u),
        };
        Some(SetAsideReference {
            index,
            p: at.p,
            deviation: at.deviation,
        })
    });
    judged.min_by(|a, b| a.p.total_cmp(&b.p))
}
