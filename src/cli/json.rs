//! What leaves the program as JSON: the names that scripts rely on.

use calibriar::catalogue::Catalogue;
use calibriar::report::{DimensionRow, FlagRow, NormRow, PieceRow};
use calibriar::source::Provenance;
use calibriar::verdict::Check;
use serde::Serialize;

/// The whole answer of `norms`.
#[derive(Serialize)]
pub(super) struct NormsOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) norms: Vec<NormRow<'a, &'a [String]>>,
}

/// The whole answer of `check`.
#[derive(Serialize)]
pub(super) struct ChecksOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) checks: Vec<CheckOut<'a>>,
}

/// One piece.
#[derive(Serialize)]
pub(super) struct CheckOut<'a> {
    specimen: &'a str,
    maker: Option<&'a str>,
    pattern: Option<&'a str>,
    periods: &'a [String],
    verdict: &'static str,
    dimensions: Vec<DimensionRow<'a, Vec<String>>>,
    /// Size, shape and misfit taken together; none where they were not asked.
    joint: Option<()>,
}

impl<'a> CheckOut<'a> {
    pub(super) fn new(check: &'a Check, catalogue: &'a Catalogue) -> CheckOut<'a> {
        let piece = PieceRow::new(check);
        let dimensions = check.dimensions.iter();
        CheckOut {
            specimen: piece.specimen,
            maker: piece.maker,
            pattern: piece.pattern,
            periods: &check.periods,
            verdict: piece.piece_verdict,
            dimensions: dimensions
                .map(|d| DimensionRow::new(d, catalogue, |cautions| cautions))
                .collect(),
            joint: None,
        }
    }
}

/// The whole answer of `flag`.
#[derive(Serialize)]
pub(super) struct FlagsOut<'a> {
    pub(super) provenance: &'a Provenance,
    pub(super) flags: Vec<FlagRow<'a>>,
}
