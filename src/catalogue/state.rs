//! The state of a reading.

use std::fmt;

/// What had happened to the measured place when the reading was taken.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[repr(u8)]
pub enum State {
    /// As it left the works.
    #[default]
    Factory = 0,
    /// Worn in use: a bound on the factory value, never the value itself.
    Worn = 1,
    /// Worked on since.
    Reworked = 2,
    /// A part that is not the works' own.
    Replaced = 3,
    /// Nobody knows.
    Unknown = 4,
}

impl State {
    /// All states, in the order of their stored numbers.
    pub const ALL: [State; 5] = [
        State::Factory,
        State::Worn,
        State::Reworked,
        State::Replaced,
        State::Unknown,
    ];

    /// Reads a state's name, in any letter case.
    pub fn parse(text: &str) -> Option<State> {
        State::ALL
            .into_iter()
            .find(|s| s.name().eq_ignore_ascii_case(text.trim()))
    }

    /// The name as people write it and the program prints it.
    pub fn name(self) -> &'static str {
        match self {
            State::Factory => "factory",
            State::Worn => "worn",
            State::Reworked => "reworked",
            State::Replaced => "replaced",
            State::Unknown => "unknown",
        }
    }

    /// The state stored under this number.
    pub fn from_number(number: u8) -> Option<State> {
        State::ALL.get(usize::from(number)).copied()
    }

    /// Which of two states of one place says more about the works: the lower rank.
    pub fn rank(self) -> u8 {
        match self {
            State::Factory => 0,
            State::Unknown => 1,
            State::Worn => 2,
            State::Reworked => 3,
            State::Replaced => 4,
        }
    }
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}
