//! The finish of a piece as one colour: is it within the region of its pattern's good pieces?
//!
//! L*, a* and b* are dimensions like others, each judged by itself. A colour is all three: here
//! their scores are taken together, with the correlation that the three have among references, as
//! the misfit of shapes is. References are those of the same finish that have all three.

use super::check::Piece;
use super::joint::{Judged, judge, others};
use super::{Steps, Verdict};
use crate::catalogue::Kind;
use crate::cohort::Reference;
use crate::form::colour::{Lab, difference};
use crate::norm::{Beforehand, Settings};
use crate::stats::{Misfit, Rated, Residuals, ShrunkCorrelation, misfit};

/// Keys of the dimensions that make up a colour.
const KEYS: [&str; 3] = ["finish_lightness", "finish_red_green", "finish_yellow_blue"];

/// A piece's colour and the region in which good pieces' colours lie.
#[derive(Clone, Debug, PartialEq)]
pub struct Finish {
    /// Rows of the references of the same finish that have all of L*, a* and b*.
    pub rows: Vec<usize>,
    /// How many of them speak in each of the three: the least.
    pub n: usize,
    /// Centre of the references.
    pub centre: Lab,
    /// The piece's own colour.
    pub reading: Lab,
    /// Difference of the reading from the centre (CIEDE2000).
    pub difference: f64,
    /// How far from the centre, on the line to the reading, the region ends (CIEDE2000); `None`
    /// where the reading is the centre, or no end can be found.
    pub difference_at_limit: Option<f64>,
    /// How unusual the three scores are together.
    pub whole: Misfit,
    /// The label, by the probability of the three scores together.
    pub verdict: Verdict,
    /// The numbers behind L*, a* and b*.
    pub steps: [Steps; 3],
}

/// The three columns of a colour: of each the column of the piece's table and that of the cohort's.
fn columns(piece: &Piece<'_>) -> Option<[(usize, usize); 3]> {
    let find = |key: &str| {
        let columns = piece.table.columns.iter().enumerate();
        let of_key = columns.filter(|(_, column)| {
            let dimension = piece.table.dimension(column);
            dimension.key == key && dimension.kind == Kind::Interval
        });
        let measured = of_key.filter(|(_, column)| {
            let dimension = piece.table.dimension(column);
            let value = column.value(piece.row);
            value.is_some_and(|value| value.is_finite() && dimension.is_credible(value))
        });
        let mut found = measured.filter_map(|(at, column)| Some((at, piece.position(column)?)));
        found.next()
    };
    let [l, a, b] = KEYS.map(find);
    Some([l?, a?, b?])
}

/// The references of a group that have a whole colour.
fn whole_colours(
    piece: &Piece<'_>,
    group: usize,
    columns: &[(usize, usize); 3],
) -> Vec<[Reference; 3]> {
    let cohort = piece.evidence.cohort();
    let of_row = |row: usize| {
        let [l, a, b] = columns.map(|(_, position)| {
            cohort.reference(&cohort.table().columns[position], Kind::Interval, row)
        });
        Some([l?, a?, b?])
    };
    let rows = others(cohort, group, &piece.own).into_iter();
    rows.filter_map(of_row).collect()
}

/// Judges a colour; `None` where the piece or its references have none, or where nothing can be
/// said.
pub(super) fn finish(
    piece: &Piece<'_>,
    known: &Beforehand<'_>,
    settings: &Settings,
) -> Option<Finish> {
    let (evidence, group) = (piece.evidence, piece.group?);
    let columns = columns(piece)?;
    let references = whole_colours(piece, group, &columns);
    let priors = columns.map(|(_, position)| known.prior(position));
    let own = columns.map(|(at, _)| piece.rated(&piece.table.columns[at]));
    let judged = |d: usize| {
        let of: Vec<Rated> = references.iter().map(|three| three[d].rated()).collect();
        judge(&of, priors[d], own[d])
    };
    let [l, a, b] = [0, 1, 2].map(judged);
    let judged: [Judged; 3] = [l?, a?, b?];
    let lending = match evidence.borrowing().nothing {
        true => Vec::new(),
        false => evidence.lenders().to(group),
    };
    let lent = lending.iter().map(|&of| whole_colours(piece, of, &columns));
    let mut residuals = Residuals::default();
    for set in lent.chain([references.clone()]) {
        residuals.add(set.len(), |piece, d| set[piece][d].rated().x, &priors);
    }
    let region = Region {
        steps: judged.each_ref().map(|j| &j.steps),
        correlation: residuals.correlation(),
    };
    let whole = region.at(1.0)?;
    let (centre, reading) = (region.colour(0.0), region.colour(1.0));
    let alpha = settings.alpha();
    let difference_at_limit = region.end(alpha);
    let tells = judged.iter().all(|j| j.tells);
    Some(Finish {
        rows: references.iter().map(|three| three[0].row()).collect(),
        n: judged.iter().map(|j| j.steps.norm.n()).min()?,
        centre,
        reading,
        difference: difference(centre, reading),
        difference_at_limit,
        verdict: Verdict::of_dimension(whole.p, whole.p, alpha, tells),
        whole,
        steps: judged.map(|j| j.steps),
    })
}

/// The region of good colours, seen along the line from its centre to the reading.
struct Region<'a> {
    steps: [&'a Steps; 3],
    correlation: ShrunkCorrelation,
}

impl Region<'_> {
    /// L*, a* and b* at a share of the way: 0 is the centre, 1 the reading.
    fn components(&self, share: f64) -> [f64; 3] {
        self.steps.map(|steps| {
            let centre = steps.norm.centre();
            // The reading itself, not what rounding would make of it.
            match share == 1.0 {
                true => steps.own.x,
                false => centre + share * (steps.own.x - centre),
            }
        })
    }

    fn colour(&self, share: f64) -> Lab {
        Lab::from(self.components(share))
    }

    /// How unusual a colour there would be.
    fn at(&self, share: f64) -> Option<Misfit> {
        let of = self.steps.iter().zip(self.components(share));
        let scores = of.map(|(steps, x)| steps.norm.judge(x, steps.own.u).z);
        misfit(&scores.collect::<Vec<f64>>(), &self.correlation)
    }

    /// How far from the centre the colour lies whose p is alpha. The p falls along the line, so
    /// halving finds the place.
    fn end(&self, alpha: f64) -> Option<f64> {
        const DOUBLINGS: usize = 40;
        const HALVINGS: usize = 60;
        let outside = |share: f64| self.at(share).is_some_and(|misfit| misfit.p <= alpha);
        let (mut inside, mut beyond) = (0.0, 1.0);
        let mut doublings = 0;
        while !outside(beyond) {
            if doublings == DOUBLINGS {
                return None;
            }
            (inside, beyond) = (beyond, 2.0 * beyond);
            doublings += 1;
        }
        for _ in 0..HALVINGS {
            let middle = 0.5 * (inside + beyond);
            match outside(middle) {
                true => beyond = middle,
                false => inside = middle,
            }
        }
        let end = difference(self.colour(0.0), self.colour(beyond));
        end.is_finite().then_some(end)
    }
}
