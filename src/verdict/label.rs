//! The four labels.

use std::fmt;

/// How a dimension, or a piece, stands to its norm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Nothing speaks against it, and the norm is sharp enough for that to mean something.
    Typical,
    /// Unusual by itself, but not among so many dimensions.
    Borderline,
    /// Out of the good periods' norm.
    OutOfNorm,
    /// The evidence is too thin to say.
    Undecided,
}

impl Verdict {
    /// The label of one dimension (`docs/methods.md`, "The verdict").
    pub(super) fn of_dimension(p: f64, p_adjusted: f64, alpha: f64, sharp: bool) -> Verdict {
        if p_adjusted <= alpha {
            Verdict::OutOfNorm
        } else if p <= alpha {
            Verdict::Borderline
        } else if sharp {
            Verdict::Typical
        } else {
            Verdict::Undecided
        }
    }

    /// The label of a piece: the worst that was found; undecided only where nothing was decided.
    pub(crate) fn of_piece(dimensions: impl IntoIterator<Item = Verdict>) -> Verdict {
        let gravity = |v: &Verdict| match v {
            Verdict::Undecided => 0,
            Verdict::Typical => 1,
            Verdict::Borderline => 2,
            Verdict::OutOfNorm => 3,
        };
        dimensions
            .into_iter()
            .max_by_key(gravity)
            .unwrap_or(Verdict::Undecided)
    }

    /// Whether it asks for a second look: out of norm or borderline.
    pub fn stands_out(self) -> bool {
        matches!(self, Verdict::OutOfNorm | Verdict::Borderline)
    }

    /// The name used in tables and JSON.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Typical => "typical",
            Verdict::Borderline => "borderline",
            Verdict::OutOfNorm => "out_of_norm",
            Verdict::Undecided => "undecided",
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}
