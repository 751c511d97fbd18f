//! What a piece still testifies to after works on it, for whoever buys or keeps it.
//!
//! | file | holds |
//! |---|---|
//! | `json_ld` | the same as linked data, in the words of open standards |
//!
//! A size that was changed says nothing any more of the practice of the works that made the piece; what
//! was read before the change does, as long as the record of it is kept and believed. This room tells
//! the one from the other. It judges no size.

mod json_ld;

pub use json_ld::json_ld;

use crate::catalogue::{State, Work};
use crate::collection::{Dossier, DossierReading, Standing, WorkDone};

/// What a place of a piece tells of the works that made it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Testimony {
    /// As it left the works, and no work on it is recorded, nor one that usually moves it.
    Untouched,
    /// The same, but a work is recorded that may have moved it.
    MayHaveMoved,
    /// It stands otherwise now; a reading that was taken as it left the works is kept.
    ReadBefore,
    /// Worn in use: a bound on the size as made.
    Bound,
    /// Nobody knows.
    Unknown,
    /// Nothing: worked on before it was read, or another part.
    Nothing,
}

/// All that is known of one place.
#[derive(Clone, Debug)]
pub struct Place<'d> {
    /// How it stands.
    pub stands: &'d Standing,
    /// The readings of it as it left the works.
    pub as_made: Vec<&'d DossierReading>,
    /// The other readings that tell of no work.
    pub otherwise: Vec<&'d DossierReading>,
    /// The works on it, in the order of their days.
    pub works: Vec<&'d WorkDone>,
    /// Names of other places that were worked on, with which it usually moves.
    pub moved_with: Vec<&'d str>,
    /// What it tells of the works that made the piece.
    pub testimony: Testimony,
}

/// The places of a piece, in the order of the collection. `works` tell what moves with what.
pub fn places<'d>(dossier: &'d Dossier, works: &[Work]) -> Vec<Place<'d>> {
    // Whatever is taken off weighs something.
    let moves = |worked: &str, place: &str| {
        let mut may_be = works.iter().filter(|w| w.of.iter().any(|of| of == worked));
        place == "weight" || may_be.any(|work| work.moves(place) != 0.0)
    };
    let mut places = Vec::new();
    for stands in &dossier.places {
        let here = dossier.readings.iter();
        let (as_made, otherwise): (Vec<_>, Vec<_>) = here
            .filter(|reading| reading.dimension == stands.dimension)
            .partition(|reading| reading.state == State::Factory);
        let works = dossier.works.iter();
        let works: Vec<_> = works
            .filter(|work| work.dimension == stands.dimension)
            .collect();
        let others = dossier.places.iter().filter(|other| {
            let is_other = other.works > 0 && other.dimension != stands.dimension;
            is_other && moves(&other.dimension, &stands.dimension)
        });
        let moved_with: Vec<&str> = others.map(|other| &*other.label).collect();
        // A later reading of unknown state takes nothing from an earlier one.
        let as_before = matches!(stands.state, State::Factory | State::Unknown);
        let untouched = works.is_empty() && as_before;
        let any = |state: State| otherwise.iter().any(|reading| reading.state == state);
        let testimony = match as_made.is_empty() {
            false if untouched && moved_with.is_empty() => Testimony::Untouched,
            false if untouched => Testimony::MayHaveMoved,
            false => Testimony::ReadBefore,
            true if any(State::Worn) => Testimony::Bound,
            true if any(State::Unknown) => Testimony::Unknown,
            true => Testimony::Nothing,
        };
        places.push(Place {
            stands,
            as_made,
            otherwise,
            works,
            moved_with,
            testimony,
        });
    }
    places
}
