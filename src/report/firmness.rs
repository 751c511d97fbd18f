//! Rows of norms that moved, of verdicts that turned, and of norms with somebody left out.

use serde::Serialize;

use super::{joined, named};
use crate::cohort::Cohort;
use crate::firmness::{Change, LeftOut, LeftOutNorm, Limit, Movement, PieceChange, Turned};

row! {
    /// One limit of one norm at two revisions.
    MovedRow<L>, MOVED_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Pattern.
    pattern: Option<&'a str>,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// The finish of the pieces, for a dimension of colour.
    finish: Option<&'a str>,
    /// `centre`, `typical_low`, `typical_high`, `tolerance_low` or `tolerance_high`.
    what: &'static str,
    /// As it was.
    before: Option<f64>,
    /// As it is.
    after: Option<f64>,
    /// `after` less `before`.
    moved: Option<f64>,
    /// The same in spreads of the norm as it was, on the scale of judgement.
    moved_in_spreads: Option<f64>,
    /// References that spoke.
    n_before: u64,
    /// References that speak.
    n_after: u64,
    /// How far it moved by the pattern's own references.
    own_part: Option<f64>,
    /// How far by what other patterns lend and by the period share.
    other_part: Option<f64>,
    /// Pieces whose voice in it has changed.
    n_changed: u64,
    /// Which, those first that alone moved it farthest; 20 at most.
    because: L,
}

/// A piece whose voice in a norm has changed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BecauseRow<'a> {
    /// The piece.
    pub specimen: &'a str,
    /// `new_piece`, `reading_came`, `reading_went`, `value`, `state`, `pattern`, `finish`, `period`,
    /// `standing` or `uncertainty`.
    pub change: &'static str,
    /// The same in words.
    pub words: String,
    /// How far it alone moved the limit.
    pub alone: Option<f64>,
}

row! {
    /// A reading that is out of norm at one of two revisions.
    TurnedRow, TURNED_COLUMNS;
    /// The piece.
    specimen: &'a str,
    /// Its maker.
    maker: Option<&'a str>,
    /// Its pattern.
    pattern: Option<&'a str>,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// The reading as it was.
    value_before: Option<f64>,
    /// The reading as it is.
    value_after: Option<f64>,
    /// Two-sided probability of a deviation at least as large, as it was.
    p_before: Option<f64>,
    /// As it is.
    p_after: Option<f64>,
    /// The same, adjusted for the piece's other dimensions (Holm), as it was.
    p_adjusted_before: Option<f64>,
    /// As it is.
    p_adjusted_after: Option<f64>,
    /// The verdict on the dimension as it was.
    verdict_before: Option<&'static str>,
    /// As it is.
    verdict_after: Option<&'static str>,
    /// The verdict on the piece as it was.
    piece_verdict_before: &'static str,
    /// As it is.
    piece_verdict_after: &'static str,
}

row! {
    /// One limit of one norm without one source, measurer or period at a time.
    LeftOutRow<L>, LEFT_OUT_COLUMNS;
    /// Maker.
    maker: Option<&'a str>,
    /// Pattern.
    pattern: Option<&'a str>,
    /// Key of the dimension.
    dimension: &'a str,
    /// Unit of the dimension.
    unit: &'a str,
    /// The finish of the pieces, for a dimension of colour.
    finish: Option<&'a str>,
    /// `centre`, `typical_low` or `typical_high`.
    what: &'static str,
    /// References that speak.
    n: u64,
    /// The limit by all readings.
    value: Option<f64>,
    /// The least that it becomes.
    least: Option<f64>,
    /// Without whom.
    least_without: Option<&'a str>,
    /// The greatest that it becomes.
    greatest: Option<f64>,
    /// Without whom.
    greatest_without: Option<&'a str>,
    /// Without whom it moves farthest; [`NOT_NAMED`] for the readings of which none is named.
    moved_by: Option<&'a str>,
    /// How far it moves.
    moved: Option<f64>,
    /// The same in spreads of the whole norm, on the scale of judgement.
    moved_in_spreads: Option<f64>,
    /// How many references are theirs alone.
    n_theirs: Option<u64>,
    /// Without whom there is no typical range any more.
    falls_without: L,
}

/// The readings of which no source or measurer is named.
pub const NOT_NAMED: &str = "(not named)";

/// So many of the pieces that moved a limit are told.
const BECAUSE: usize = 20;

impl<'a, L> MovedRow<'a, L> {
    /// The row of one limit; `list` says how the pieces are given.
    pub fn new(
        movement: &'a Movement,
        limit: Limit,
        list: impl FnOnce(Vec<BecauseRow<'a>>) -> L,
    ) -> MovedRow<'a, L> {
        let (before, after) = (movement.before.as_ref(), movement.after.as_ref());
        let pieces = movement.changes.iter().take(BECAUSE);
        MovedRow {
            maker: named(&movement.maker),
            pattern: named(&movement.pattern),
            dimension: &movement.dimension.key,
            unit: &movement.dimension.unit,
            finish: movement.finish.as_deref().and_then(named),
            what: limit.name(),
            before: before.and_then(|of| of.get(limit)),
            after: after.and_then(|of| of.get(limit)),
            moved: movement.moved(limit),
            moved_in_spreads: movement.moved_in_spreads(limit),
            n_before: before.map_or(0, |of| of.n as u64),
            n_after: after.map_or(0, |of| of.n as u64),
            own_part: movement.own_part(limit),
            other_part: movement.other_part(limit),
            n_changed: movement.changes.len() as u64,
            because: list(pieces.map(|of| BecauseRow::new(of, limit)).collect()),
        }
    }
}

impl<'a> BecauseRow<'a> {
    fn new(piece: &'a PieceChange, limit: Limit) -> BecauseRow<'a> {
        let place = Limit::TYPICAL.iter().position(|of| *of == limit);
        let change: &Change = &piece.change;
        BecauseRow {
            specimen: &piece.specimen,
            change: change.name(),
            words: change.to_string(),
            alone: place.and_then(|place| piece.alone?[place]),
        }
    }

    /// The pieces and what happened to each as one text, for formats whose cells hold no lists.
    pub fn joined(pieces: Vec<BecauseRow<'a>>) -> String {
        let text = |of: &BecauseRow<'_>| format!("{} ({})", of.specimen, of.words);
        joined(pieces.iter().map(text).collect::<Vec<String>>())
    }
}

impl<'a> TurnedRow<'a> {
    /// The row of one reading.
    pub fn new(turned: &'a Turned) -> TurnedRow<'a> {
        let (before, after) = (turned.before.as_ref(), turned.after.as_ref());
        TurnedRow {
            specimen: &turned.specimen,
            maker: named(&turned.maker),
            pattern: named(&turned.pattern),
            dimension: &turned.dimension.key,
            unit: &turned.dimension.unit,
            value_before: before.map(|of| of.value),
            value_after: after.map(|of| of.value),
            p_before: before.map(|of| of.p),
            p_after: after.map(|of| of.p),
            p_adjusted_before: before.map(|of| of.p_adjusted),
            p_adjusted_after: after.map(|of| of.p_adjusted),
            verdict_before: before.map(|of| of.verdict.name()),
            verdict_after: after.map(|of| of.verdict.name()),
            piece_verdict_before: turned.piece_before.name(),
            piece_verdict_after: turned.piece_after.name(),
        }
    }
}

impl<'a, L> LeftOutRow<'a, L> {
    /// The row of one limit of one of the norms of `all`; `list` says how names are given.
    pub fn new(
        norm: &'a LeftOutNorm,
        limit: Limit,
        all: &'a LeftOut,
        cohort: &'a Cohort<'_>,
        list: impl FnOnce(Vec<String>) -> L,
    ) -> LeftOutRow<'a, L> {
        let group = &cohort.groups()[norm.group];
        let name = |part: usize| all.parts[part].name.as_deref().unwrap_or(NOT_NAMED);
        let (least, greatest) = norm.range(limit).unzip();
        let most = norm.most(limit);
        let without = norm.falls_without().into_iter();
        LeftOutRow {
            maker: named(&group.maker),
            pattern: named(&group.pattern),
            dimension: &norm.dimension.key,
            unit: &norm.dimension.unit,
            finish: norm.finish.as_deref().and_then(named),
            what: limit.name(),
            n: norm.whole.n as u64,
            value: norm.whole.get(limit),
            least: least.map(|of| of.value),
            least_without: least.map(|of| name(of.without)),
            greatest: greatest.map(|of| of.value),
            greatest_without: greatest.map(|of| name(of.without)),
            moved_by: most.map(|of| name(of.without)),
            moved: most.and_then(|of| norm.moved(limit, of)),
            moved_in_spreads: most.and_then(|of| norm.moved_in_spreads(limit, of)),
            n_theirs: most.map(|of| norm.theirs(of.without) as u64),
            falls_without: list(without.map(|part| name(part).to_owned()).collect()),
        }
    }
}
