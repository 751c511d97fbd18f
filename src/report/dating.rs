//! Rows of datings.

use super::named;
use crate::periods::{Candidate, Dating};

row! {
    /// How one piece stands to one period; nothing but the piece and why where nothing could be
    /// compared.
    DateRow, DATE_COLUMNS;
    /// The piece.
    specimen: &'a str,
    /// Its maker.
    maker: Option<&'a str>,
    /// Its pattern.
    pattern: Option<&'a str>,
    /// The period.
    period: Option<&'a str>,
    /// Its first year.
    period_from: Option<i64>,
    /// Its last year.
    period_to: Option<i64>,
    /// `good`, `poor` or `unrated`.
    standing: Option<&'static str>,
    /// Pieces of the pattern that speak for the period; with none the piece is as likely as a
    /// stranger.
    n: Option<u64>,
    /// Share of the period beforehand; 0 = ruled out.
    prior: Option<f64>,
    /// Share of the period by the dimensions.
    posterior: Option<f64>,
    /// Logarithm of how likely the piece is under the period, but for what all periods share.
    log_likelihood: Option<f64>,
    /// The piece's least p as one of the period (Holm).
    fits_p: Option<f64>,
    /// The name of a period, `undecided` or `fits none`.
    answer: &'a str,
    /// Why there is no better answer.
    why: Option<String>,
    /// The period by the date on record, which is not used.
    recorded: Option<&'a str>,
    /// The share that a piece at the very centre of the period would reach, all alike beforehand.
    typical_posterior: Option<f64>,
}

impl<'a> DateRow<'a> {
    fn new(dating: &'a Dating, candidate: Option<&'a Candidate>) -> DateRow<'a> {
        let years = candidate.and_then(|c| c.years);
        DateRow {
            specimen: &dating.specimen,
            maker: named(&dating.maker),
            pattern: named(&dating.pattern),
            period: candidate.map(|c| c.name.as_str()),
            period_from: years.map(|y| i64::from(y.from)),
            period_to: years.map(|y| i64::from(y.to)),
            standing: candidate.and_then(|c| c.standing).map(|s| s.name()),
            n: candidate.map(|c| c.references as u64),
            prior: candidate.map(|c| c.prior),
            posterior: candidate.map(|c| c.posterior),
            log_likelihood: candidate.map(|c| c.ln_likelihood),
            fits_p: candidate.map(|c| c.fits_p),
            answer: dating.answer_name(),
            why: dating.why(),
            recorded: dating.recorded.as_deref(),
            typical_posterior: candidate.and_then(|c| c.typical),
        }
    }
}

/// All periods of all pieces; one row for a piece of which nothing could be compared.
pub fn date_rows(datings: &[Dating]) -> impl Iterator<Item = DateRow<'_>> {
    datings.iter().flat_map(|dating| {
        let nothing = dating
            .candidates
            .is_empty()
            .then(|| DateRow::new(dating, None));
        let periods = dating.candidates.iter();
        periods
            .map(|c| DateRow::new(dating, Some(c)))
            .chain(nothing)
    })
}
