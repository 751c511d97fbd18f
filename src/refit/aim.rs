//! What a plan aims at.

use crate::notation::DrillSet;

/// Where in the range of good pieces a size should end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Goal {
    /// Just so far inside that it is there with the stated probability: this takes the least.
    #[default]
    Near,
    /// At the centre.
    Centre,
}

/// How the walls of a bowl are made straight.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Walls {
    /// Each by itself, to the straight line that takes least off it.
    #[default]
    Alone,
    /// All together, to one cone: lines of the same lean.
    Cone,
}

/// What a plan aims at, checked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aim {
    probability: f64,
    /// Where in the range a size should end.
    pub goal: Goal,
    /// The drills there are.
    pub drills: DrillSet,
    /// How walls are made straight.
    pub walls: Walls,
}

/// A probability that nobody would work by.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("probability must be from 0.5 up to, but not including, 1 (0.95 is 95 %); got {value}")]
pub struct AimError {
    /// As given.
    pub value: f64,
}

impl Aim {
    /// With the probability that a size ends in the range of good pieces, and that what must remain does; walls each by itself.
    ///
    /// # Errors
    /// [`AimError`] for a probability under 0.5 (more likely outside than inside), of 1 and more, or NaN.
    pub fn new(probability: f64, goal: Goal, drills: DrillSet) -> Result<Aim, AimError> {
        match (0.5..1.0).contains(&probability) {
            true => Ok(Aim {
                probability,
                goal,
                drills,
                walls: Walls::Alone,
            }),
            false => Err(AimError { value: probability }),
        }
    }

    /// The probability.
    pub fn probability(&self) -> f64 {
        self.probability
    }
}
