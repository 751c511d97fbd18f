//! Size and shape: is a piece large or small as a whole, or misshapen?
//!
//! Size is the mean of the logarithms of all its sizes, shape what each has besides. Both are
//! dimensions derived from the others, with references of their own, and are judged by the same
//! predictive t. Size borrows in the family of the other dimensions; shapes are a family of their
//! own.

use super::check::Piece;
use super::{Steps, Verdict};
use crate::catalogue::Kind;
use crate::cohort::{Cohort, on_scale};
use crate::norm::{Apart, Beforehand, Loan, Settings};
use crate::stats::{Prior, Rated, Residuals, borrowed_from_readings, holm, misfit, screen};

/// Size, shape and misfit of one piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Joint {
    /// The signed normal score of its size.
    pub size_score: f64,
    /// Two-sided probability of a size at least as unusual.
    pub size_p: f64,
    /// The numbers behind it.
    pub size_steps: Steps,
    /// The label of its size, by itself.
    pub size_verdict: Verdict,
    /// The shape of each of its sizes.
    pub shape: Vec<Shape>,
    /// Root mean square of the shape scores: about 1 for good pieces.
    pub misfit: f64,
    /// Probability of shapes that are at least as unusual taken together.
    pub misfit_p: f64,
    /// Rows of the references that have all of these sizes.
    pub rows: Vec<usize>,
    /// Sum of the squared shape scores; scale and degrees of freedom of its chi-square.
    pub misfit_q: f64,
    /// See `misfit_q`.
    pub misfit_scale: f64,
    /// See `misfit_q`.
    pub misfit_df: f64,
}

/// What one dimension has besides the piece's size.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// Index of the dimension in the catalogue of the piece's table.
    pub dimension: usize,
    /// The signed normal score.
    pub score: f64,
    /// Two-sided probability.
    pub p: f64,
    /// The same, adjusted for the piece's other shapes (Holm).
    pub p_adjusted: f64,
    /// The label.
    pub verdict: Verdict,
    /// The numbers behind it.
    pub steps: Steps,
}

/// The sizes that piece and references share: for each the column of the piece's table and the
/// position of the cohort's.
fn shared_sizes(piece: &Piece<'_>, group: usize) -> Vec<(usize, usize)> {
    let cohort = piece.evidence.cohort();
    let rows = others(cohort, group, &piece.own);
    let speaks = |row: usize, position: usize| {
        let column = &cohort.table().columns[position];
        cohort.is_reference(column, row) && column.value(row).is_some()
    };
    let columns = piece.table.columns.iter().enumerate();
    let mut sizes: Vec<(usize, usize)> = columns
        .filter(|(_, c)| {
            let dimension = piece.table.dimension(c);
            dimension.kind == Kind::Ratio && !dimension.is_form_error()
        })
        // A slip says nothing of size or shape.
        .filter(|(_, c)| {
            let credible = |value| piece.table.dimension(c).is_credible(value);
            c.value(piece.row).is_some_and(credible)
        })
        .filter_map(|(at, c)| Some((at, piece.position(c)?)))
        .filter(|&(_, position)| rows.iter().any(|&row| speaks(row, position)))
        .collect();
    sizes.sort_by_key(|&(at, _)| piece.table.columns[at].dimension);
    // A size that few have would silence the others: the rarest goes first, and of all the steps
    // the one counts at which most can be told, a norm of n references being worth n / (n + 1) of
    // one that is known.
    let complete = |sizes: &[(usize, usize)], but: Option<usize>| {
        let has_all = |&&row: &&usize| {
            let mut wanted = sizes.iter().enumerate().filter(|(i, _)| Some(*i) != but);
            wanted.all(|(_, &(_, position))| speaks(row, position))
        };
        rows.iter().filter(has_all).count()
    };
    let (mut best, mut most) = (Vec::new(), 0.0);
    while sizes.len() >= 2 {
        let n = complete(&sizes, None) as f64;
        let worth = sizes.len() as f64 * n / (n + 1.0);
        if worth > most {
            (best, most) = (sizes.clone(), worth);
        }
        // With one size less, and were all of them complete.
        let all = rows.len() as f64;
        if most >= (sizes.len() - 1) as f64 * all / (all + 1.0) {
            break;
        }
        let gains = (0..sizes.len()).map(|i| (complete(&sizes, Some(i)), i));
        let Some((_, rarest)) = gains.max_by_key(|&(n, i)| (n, std::cmp::Reverse(i))) else {
            break;
        };
        sizes.remove(rarest);
    }
    best
}

/// Rows of a group's pieces of the chosen periods, the piece's own left out.
pub(super) fn others(cohort: &Cohort<'_>, group: usize, own: &[usize]) -> Vec<usize> {
    let rows = cohort.reference_rows(group).iter().map(|&row| row as usize);
    rows.filter(|row| !own.contains(row)).collect()
}

/// A derived dimension judged, and whether silence about it means something.
pub(super) struct Judged {
    pub(super) steps: Steps,
    pub(super) tells: bool,
}

pub(super) fn judge(references: &[Rated], prior: Prior, own: Rated) -> Option<Judged> {
    let screened = screen(references, &prior);
    let disagree = screened.disagree;
    let steps = Steps::new(screened.predictive(&prior)?, prior, own);
    Some(Judged {
        tells: steps.norm.is_sharp(own.u) && !disagree,
        steps,
    })
}

/// The fine readings of derived dimensions of some patterns.
fn fine(of: &[&Apart], pick: impl Fn(&Apart) -> Rated) -> Vec<Rated> {
    of.iter().filter(|a| a.fine).map(|a| pick(a)).collect()
}

/// What other patterns lend to the size of a group's pieces.
fn size_loan(piece: &Piece<'_>, group: usize, lent: &[Vec<&Apart>], lambda: f64) -> Option<Loan> {
    let sets: Vec<Vec<Rated>> = lent.iter().map(|of| fine(of, |a| a.size)).collect();
    let sets: Vec<&[Rated]> = sets.iter().map(Vec::as_slice).collect();
    piece.evidence.lend_beside(group, lambda, &sets, &piece.own)
}

/// What other patterns lend to so many shapes.
fn shape_loans(shapes: usize, lent: &[Vec<&Apart>], lambda: f64) -> Vec<Option<Loan>> {
    let sets: Vec<Vec<Vec<Rated>>> = (0..shapes)
        .map(|d| lent.iter().map(|of| fine(of, |a| a.shapes[d])).collect())
        .collect();
    let sets: Vec<Vec<&[Rated]>> = sets
        .iter()
        .map(|of| of.iter().map(Vec::as_slice).collect())
        .collect();
    let borrowed = borrowed_from_readings(&sets, lambda);
    let phi = borrowed.phi;
    let spreads = borrowed.dimensions.into_iter();
    spreads
        .map(|spread| spread.map(|spread| Loan { phi, spread }))
        .collect()
}

/// Judges size and shape; `None` where piece and references share fewer than two sizes, or where
/// nothing can be said.
pub(super) fn joint(
    piece: &Piece<'_>,
    known: &Beforehand<'_>,
    settings: &Settings,
) -> Option<Joint> {
    let (evidence, group) = (piece.evidence, piece.group?);
    let sizes = shared_sizes(piece, group);
    let lambda = known.share.lambda();
    let own_parts: Vec<(f64, f64)> = sizes
        .iter()
        .map(|&(at, _)| {
            let column = &piece.table.columns[at];
            on_scale(
                Kind::Ratio,
                column.values[piece.row],
                column.uncertainty(piece.row),
            )
        })
        .collect();
    let own = Apart::new(piece.row, &own_parts, piece.period, true)?;
    let positions: Vec<usize> = sizes.iter().map(|&(_, position)| position).collect();
    let (cohort, apart) = (evidence.cohort(), evidence.apart(&positions));
    let references = apart.of(cohort, group, &piece.own);
    let lending: Vec<usize> = match evidence.borrowing().nothing {
        true => Vec::new(),
        false => evidence.lenders().to(group),
    };
    let lent: Vec<Vec<&Apart>> = lending
        .iter()
        .map(|&g| apart.of(cohort, g, &piece.own))
        .collect();
    let all = |pick: &dyn Fn(&Apart) -> Rated| -> Vec<Rated> {
        references.iter().map(|a| pick(a)).collect()
    };
    // Of the size, then of each shape.
    let lend = |lambda: f64| {
        let mut loans = vec![size_loan(piece, group, &lent, lambda)];
        loans.extend(shape_loans(sizes.len(), &lent, lambda));
        loans
    };
    let loans = evidence.loans_of_derived(group, &positions, lambda, &piece.own, lend);
    let mut priors = loans.into_iter().map(|loan| {
        let spread = loan.map(|loan| loan.spread);
        Prior::lent(spread, lambda)
    });
    let size = judge(&all(&|a| a.size), priors.next()?, own.size)?;
    let priors: Vec<Prior> = priors.collect();
    let judged: Option<Vec<Judged>> = (0..sizes.len())
        .map(|d| judge(&all(&|a| a.shapes[d]), priors[d], own.shapes[d]))
        .collect();
    let judged = judged?;
    let adjusted = holm(
        &judged
            .iter()
            .map(|j| j.steps.standpoint.p)
            .collect::<Vec<f64>>(),
    );
    let scores: Vec<f64> = judged.iter().map(|j| j.steps.standpoint.z).collect();
    let mut residuals = Residuals::default();
    for of in lent.iter().chain([&references]) {
        residuals.add(of.len(), |piece, d| of[piece].shapes[d].x, &priors);
    }
    let whole = misfit(&scores, &residuals.correlation())?;
    let alpha = settings.alpha();
    let shape = |(d, &(at, _)): (usize, &(usize, usize))| {
        let Judged { steps, tells } = &judged[d];
        let (score, p) = (steps.standpoint.z, steps.standpoint.p);
        Shape {
            dimension: piece.table.columns[at].dimension,
            score,
            p,
            p_adjusted: adjusted[d],
            verdict: Verdict::of_dimension(p, adjusted[d], alpha, *tells),
            steps: steps.clone(),
        }
    };
    let (size_score, size_p) = (size.steps.standpoint.z, size.steps.standpoint.p);
    Some(Joint {
        size_score,
        size_p,
        size_steps: size.steps,
        size_verdict: Verdict::of_dimension(size_p, size_p, alpha, size.tells),
        shape: sizes.iter().enumerate().map(shape).collect(),
        misfit: whole.rms,
        misfit_p: whole.p,
        rows: references.iter().map(|a| a.row).collect(),
        misfit_q: whole.q,
        misfit_scale: whole.scale,
        misfit_df: whole.df,
    })
}
