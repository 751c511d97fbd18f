//! Values that no real pipe has: kept, and told, with the slip of a unit that would explain them.

use std::fmt;

use super::fault::{Place, short};
use crate::catalogue::Dimension;
use crate::notation::Quantity;

/// Values of one column that no real pipe has. They are kept; somebody should look.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// Where the first of them stands.
    pub place: Place,
    /// How many.
    pub count: usize,
    /// The first one's text.
    pub text: String,
    /// The first one's value, in the dimension's unit.
    pub value: f64,
    /// The unit.
    pub unit: String,
    /// The credible range.
    pub credible: (f64, f64),
    /// A slip of the unit that would explain most of them.
    pub slip: Option<Slip>,
}

/// Which slip of a unit would bring a value into its credible range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slip {
    /// Written in inches, read as millimetres.
    Inches,
    /// Written in millimetres, read as inches.
    Millimetres,
    /// Written in centimetres, read as millimetres.
    Centimetres,
    /// The decimal point one place too far right.
    Tenfold,
    /// Written in ounces, read as grams.
    Ounces,
}

/// Every slip, what it is a slip of, and the factor that would undo it.
const SLIPS: [(Slip, Quantity, f64); 5] = [
    (Slip::Inches, Quantity::Length, 25.4),
    (Slip::Centimetres, Quantity::Length, 10.0),
    (Slip::Millimetres, Quantity::Length, 1.0 / 25.4),
    (Slip::Tenfold, Quantity::Length, 0.1),
    (Slip::Ounces, Quantity::Mass, 28.349523125),
];

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.credible;
        write!(f, "{}: `{}`: ", self.place, short(&self.text))?;
        write!(f, "outside the credible {low} to {high} {}", self.unit)?;
        if self.count > 1 {
            write!(f, " (so are {} more of this dimension)", self.count - 1)?;
        }
        f.write_str(match self.slip {
            Some(Slip::Inches) => "; looks like inches read as millimetres",
            Some(Slip::Millimetres) => "; looks like millimetres read as inches",
            Some(Slip::Centimetres) => "; looks like centimetres read as millimetres",
            Some(Slip::Tenfold) => "; looks ten times too large: a decimal point missing?",
            Some(Slip::Ounces) => "; looks like ounces read as grams",
            None => "",
        })?;
        f.write_str("; kept as written")
    }
}

/// What is out of the credible range of one dimension, counted up value by value.
#[derive(Clone, Debug, Default)]
pub(super) struct Doubting {
    count: usize,
    first: Option<(usize, String, f64)>,
    /// How many of them each slip would explain.
    explained: [usize; SLIPS.len()],
}

impl Doubting {
    /// Notes a value of the record at `offset` where it is out of the credible range.
    pub(super) fn note(&mut self, offset: usize, cell: &str, value: f64, dimension: &Dimension) {
        let Some((low, high)) = dimension.credible else {
            return;
        };
        if low <= value && value <= high {
            return;
        }
        self.count += 1;
        if self.first.is_none() {
            self.first = Some((offset, cell.trim().to_owned(), value));
        }
        for ((_, quantity, factor), explained) in SLIPS.iter().zip(&mut self.explained) {
            let undone = value * factor;
            let fits = dimension.quantity == *quantity && low <= undone && undone <= high;
            *explained += usize::from(fits);
        }
    }

    /// Adds what another stretch of the same column has, which comes after this one.
    pub(super) fn append(&mut self, other: Doubting) {
        self.count += other.count;
        self.first = self.first.take().or(other.first);
        for (mine, theirs) in self.explained.iter_mut().zip(other.explained) {
            *mine += theirs;
        }
    }

    /// The doubt, if there is any; `position` is the column's.
    pub(super) fn into_raw(self, position: usize, dimension: &Dimension) -> Option<RawDoubt> {
        let (offset, text, value) = self.first?;
        let slip = SLIPS
            .iter()
            .zip(self.explained)
            // A few odd pieces among many slipped ones do not hide the slip.
            .find(|&(_, explained)| 4 * explained >= 3 * self.count)
            .map(|((slip, ..), _)| *slip);
        Some(RawDoubt {
            offset,
            position,
            count: self.count,
            text,
            value,
            unit: dimension.unit.clone(),
            credible: dimension.credible?,
            slip,
        })
    }
}

/// A doubt whose place is still the offset of its record.
#[derive(Debug)]
pub(super) struct RawDoubt {
    pub(super) offset: usize,
    pub(super) position: usize,
    count: usize,
    text: String,
    value: f64,
    unit: String,
    credible: (f64, f64),
    slip: Option<Slip>,
}

impl RawDoubt {
    /// The doubt with its place.
    pub(super) fn at(self, place: Place) -> Doubt {
        Doubt {
            place,
            count: self.count,
            text: self.text,
            value: self.value,
            unit: self.unit,
            credible: self.credible,
            slip: self.slip,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notation::Unit;

    #[test]
    fn the_factors_are_those_of_the_units() {
        assert_eq!(SLIPS[0].2, Unit::Inch.in_base_units());
        assert_eq!(SLIPS[1].2, Unit::Centimetre.in_base_units());
        assert_eq!(SLIPS[4].2, Unit::Ounce.in_base_units());
    }
}
