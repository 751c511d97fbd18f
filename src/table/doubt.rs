//! Values that no real pipe has: kept, and told, with the slip of a unit that would explain them.

use std::fmt;

use super::fault::{Place, short};
use crate::catalogue::Dimension;
use crate::notation::Unit;

/// Values of one column that no real pipe has, for the same reason. They are kept; somebody should
/// look.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// Where the first of them stands.
    pub place: Place,
    /// Rows of some of the others.
    pub other_rows: Vec<usize>,
    /// How many there are.
    pub count: usize,
    /// The first one's text.
    pub text: String,
    /// The first one's value, in the dimension's unit.
    pub value: f64,
    /// The unit.
    pub unit: String,
    /// The credible range.
    pub credible: (f64, f64),
    /// A slip of the unit that would explain them.
    pub slip: Option<Slip>,
}

/// Which slip would bring a value into its credible range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slip {
    /// Written in inches, read as millimetres.
    Inches,
    /// Written in inches or in centimetres, read as millimetres: both would do.
    InchesOrCentimetres,
    /// Written in millimetres, read as inches.
    Millimetres,
    /// Written in centimetres, read as millimetres.
    Centimetres,
    /// The decimal point one place too far right.
    Tenfold,
    /// Written in ounces, read as grams.
    Ounces,
}

impl Slip {
    /// The slip that would explain values out of their credible ranges, all by itself.
    pub(crate) fn of(unit: Unit, values: &[(f64, (f64, f64))]) -> Option<Slip> {
        let explains = |&(_, read_in, factor): &(Slip, Unit, f64)| {
            let credible = |&(value, (low, high))| (low..=high).contains(&(value * factor));
            read_in == unit && values.iter().all(credible)
        };
        let explaining: Vec<Slip> = SLIPS
            .into_iter()
            .filter(explains)
            .map(|(s, ..)| s)
            .collect();
        match explaining.as_slice() {
            [Slip::Inches, Slip::Centimetres, ..] => Some(Slip::InchesOrCentimetres),
            all => all.first().copied(),
        }
    }

    /// What the values look like.
    pub(crate) fn words(self) -> &'static str {
        match self {
            Slip::Inches => "inches read as millimetres",
            Slip::InchesOrCentimetres => "inches or centimetres read as millimetres",
            Slip::Millimetres => "millimetres read as inches",
            Slip::Centimetres => "centimetres read as millimetres",
            Slip::Tenfold => "values ten times too large (a decimal point missing?)",
            Slip::Ounces => "ounces read as grams",
        }
    }
}

/// Every slip, the unit that the value was read in, and the factor that would undo it.
const SLIPS: [(Slip, Unit, f64); 5] = [
    (Slip::Inches, Unit::Millimetre, 25.4),
    (Slip::Centimetres, Unit::Millimetre, 10.0),
    (Slip::Millimetres, Unit::Inch, 1.0 / 25.4),
    (Slip::Tenfold, Unit::Millimetre, 0.1),
    (Slip::Ounces, Unit::Gram, 28.349523125),
];

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.credible;
        write!(f, "{}: `{}`: ", self.place, short(&self.text))?;
        write!(f, "outside the credible {low} to {high} {}", self.unit)?;
        if !self.other_rows.is_empty() {
            let rows: Vec<String> = self.other_rows.iter().map(usize::to_string).collect();
            write!(f, ", as in row {}", rows.join(", "))?;
            let unnamed = self.count - 1 - self.other_rows.len();
            if unnamed > 0 {
                write!(f, " and {unnamed} more")?;
            }
        }
        match self.slip {
            Some(Slip::Tenfold) => {
                f.write_str("; looks ten times too large: a decimal point missing?")?;
            }
            Some(slip) => write!(f, "; looks like {}", slip.words())?,
            None => {}
        }
        f.write_str("; kept as written")
    }
}

/// What is out of the credible range of one dimension, sorted by the slip that would explain it.
#[derive(Clone, Debug, Default)]
pub(super) struct Doubting(Vec<Group>);

#[derive(Clone, Debug)]
struct Group {
    slip: Option<Slip>,
    count: usize,
    text: String,
    value: f64,
    /// Records of the first of them.
    offsets: Vec<usize>,
}

/// As many rows are named for one doubt, the first included.
const NAMED: usize = 12;

impl Doubting {
    /// Notes a value of the record at `offset` where it is out of the credible range.
    pub(super) fn note(
        &mut self,
        offset: usize,
        cell: &str,
        (value, unit): (f64, Unit),
        dimension: &Dimension,
    ) {
        let Some((low, high)) = dimension.credible else {
            return;
        };
        if low <= value && value <= high {
            return;
        }
        let slip = Slip::of(unit, &[(value, (low, high))]);
        self.add(Group {
            slip,
            count: 1,
            text: cell.trim().to_owned(),
            value,
            offsets: vec![offset],
        });
    }

    fn add(&mut self, new: Group) {
        match self.0.iter_mut().find(|g| g.slip == new.slip) {
            None => self.0.push(new),
            Some(group) => {
                group.count += new.count;
                let room = NAMED - group.offsets.len().min(NAMED);
                group.offsets.extend(new.offsets.into_iter().take(room));
            }
        }
    }

    /// Adds what another stretch of the same column has, which comes after this one.
    pub(super) fn append(&mut self, other: Doubting) {
        other.0.into_iter().for_each(|group| self.add(group));
    }

    /// The doubts; `position` is the column's.
    pub(super) fn into_raw(self, position: usize, dimension: &Dimension) -> Vec<RawDoubt> {
        let credible = dimension.credible.unwrap_or_default();
        let raw = |group: Group| RawDoubt {
            offsets: group.offsets,
            position,
            doubt: Doubt {
                place: Place::default(),
                other_rows: Vec::new(),
                count: group.count,
                text: group.text,
                value: group.value,
                unit: dimension.unit.clone(),
                credible,
                slip: group.slip,
            },
        };
        self.0.into_iter().map(raw).collect()
    }
}

/// A doubt whose places are still the offsets of its records.
#[derive(Debug)]
pub(super) struct RawDoubt {
    pub(super) offsets: Vec<usize>,
    pub(super) position: usize,
    pub(super) doubt: Doubt,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_factors_are_those_of_the_units() {
        assert_eq!(SLIPS[0].2, Unit::Inch.in_base_units());
        assert_eq!(SLIPS[1].2, Unit::Centimetre.in_base_units());
        assert_eq!(SLIPS[4].2, Unit::Ounce.in_base_units());
    }
}
