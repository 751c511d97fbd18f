//! What to bear in mind with a verdict.

use std::fmt;

use crate::catalogue::{Dimension, Direction, State};

/// A caution beside a verdict.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Caution {
    /// Wear moves the dimension the way the reading deviates.
    WearMayExplain,
    /// Wear moves the dimension the other way: when new it deviated even more.
    WearHides,
    /// The reading is of a place that wear has moved one way or the other.
    Worn,
    /// The reading is of a place that was worked on.
    Reworked,
    /// The reading is of a part that is not the works' own.
    Replaced,
    /// Nobody knows whether the place is as it left the works.
    StateUnknown,
    /// No real pipe has this value.
    NotCredible {
        /// The credible range, in the unit.
        credible: (f64, f64),
        /// The unit.
        unit: String,
    },
    /// The reading is much coarser than those of the references.
    CoarseReading,
    /// A form error that is smaller than those of the references.
    SmallFormError,
    /// All references read the same; their spread is taken from their uncertainty alone.
    ReferencesAgree,
    /// Some references are so unlike their fellows that they were set aside.
    ReferencesSetAside {
        /// How many.
        count: usize,
    },
    /// The references that speak are unlike each other.
    ReferencesDisagree,
}

impl Caution {
    /// What a reading's state says of its deviation.
    pub(super) fn of_state(state: State, dimension: &Dimension, deviation: f64) -> Option<Caution> {
        match state {
            State::Factory => None,
            State::Worn => Some(match (dimension.wear_moves, deviation > 0.0) {
                (None, _) => Caution::Worn,
                (Some(Direction::Up), true) | (Some(Direction::Down), false) => {
                    Caution::WearMayExplain
                }
                (Some(_), _) => Caution::WearHides,
            }),
            State::Reworked => Some(Caution::Reworked),
            State::Replaced => Some(Caution::Replaced),
            State::Unknown => Some(Caution::StateUnknown),
        }
    }

    /// Whether it is about the state of the place that was read.
    pub fn is_of_state(&self) -> bool {
        match self {
            Caution::WearMayExplain
            | Caution::WearHides
            | Caution::Worn
            | Caution::Reworked
            | Caution::Replaced
            | Caution::StateUnknown => true,
            Caution::NotCredible { .. }
            | Caution::CoarseReading
            | Caution::SmallFormError
            | Caution::ReferencesAgree
            | Caution::ReferencesSetAside { .. }
            | Caution::ReferencesDisagree => false,
        }
    }

    /// Whether the value is one that no real pipe has.
    pub(super) fn of_credibility(dimension: &Dimension, value: f64) -> Option<Caution> {
        let (low, high) = dimension.credible?;
        (!dimension.is_credible(value)).then(|| Caution::NotCredible {
            credible: (low, high),
            unit: dimension.unit.clone(),
        })
    }
}

impl fmt::Display for Caution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Caution::WearMayExplain => {
                f.write_str("worn, and wear moves it this way: the works may not be to blame")
            }
            Caution::WearHides => {
                f.write_str("worn, and wear moves it the other way: it was further off when new")
            }
            Caution::Worn => f.write_str("worn: not the factory value"),
            Caution::Reworked => f.write_str("reworked: says nothing of the works"),
            Caution::Replaced => f.write_str("a replaced part: says nothing of the works"),
            Caution::StateUnknown => f.write_str("state unknown: may not be as it left the works"),
            Caution::NotCredible {
                credible: (low, high),
                unit,
            } => {
                write!(
                    f,
                    "outside the credible {low} to {high} {unit}: look for a slip first"
                )
            }
            Caution::CoarseReading => {
                f.write_str("read much more coarsely than the references: measure it again")
            }
            Caution::SmallFormError => {
                f.write_str("straighter or rounder than usual: rare, but no fault")
            }
            Caution::ReferencesSetAside { count: 1 } => {
                f.write_str("a reference unlike its fellows was set aside")
            }
            Caution::ReferencesSetAside { count } => {
                write!(f, "{count} references unlike their fellows were set aside")
            }
            Caution::ReferencesDisagree => {
                f.write_str("the references disagree with each other: look at them first")
            }
            Caution::ReferencesAgree => f.write_str(
                "all references read the same: the spread is that of their reading alone",
            ),
        }
    }
}
