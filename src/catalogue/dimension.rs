//! What can be measured on a pipe.

use std::collections::HashMap;

use super::names::fold;
use crate::notation::{Quantity, Unit, split_heading};

/// How differences of a dimension are judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// A positive size, judged on the scale of its logarithm: spreads are relative.
    Ratio,
    /// An angle, a colour, an offset that may be zero: spreads are in the unit.
    Interval,
}

impl Kind {
    /// The name used in tables and JSON.
    pub fn name(self) -> &'static str {
        match self {
            Kind::Ratio => "ratio",
            Kind::Interval => "interval",
        }
    }
}

/// Up or down.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Direction {
    /// The number grows.
    Up,
    /// The number shrinks.
    Down,
}

/// One dimension of the trade, or one that a source brought along.
#[derive(Clone, Debug, PartialEq)]
pub struct Dimension {
    /// Short name for columns and JSON: `bit_thickness`.
    pub key: String,
    /// Name for people: `bit thickness`.
    pub label: String,
    /// What it is; decides the unit inside the house.
    pub quantity: Quantity,
    /// The unit to print: `mm`, `g`, `deg`, `L*`, ...
    pub unit: String,
    /// Judged as a ratio or as an interval.
    pub kind: Kind,
    /// Other names that people use.
    pub synonyms: Vec<String>,
    /// Where and how to measure it.
    pub how_measured: String,
    /// Least and greatest value that a real pipe has, in `unit`.
    pub credible: Option<(f64, f64)>,
    /// Which way wear moves it.
    pub wear_moves: Option<Direction>,
    /// Which way a tool can move it.
    pub tool_moves: Option<Direction>,
}

impl Dimension {
    /// A plain dimension that only a source knows: its heading's name and unit, nothing more.
    pub fn plain(heading: &str, unit: Unit) -> Dimension {
        let quantity = unit.quantity();
        let label = heading.trim().to_owned();
        let key = label.replace(|c: char| c.is_whitespace() || c == '-' || c == '.', "_");
        Dimension {
            key: key.to_lowercase(),
            label,
            quantity,
            unit: quantity.base_unit().symbol().to_owned(),
            kind: match quantity {
                Quantity::Length | Quantity::Mass => Kind::Ratio,
                Quantity::Angle | Quantity::Colour => Kind::Interval,
            },
            synonyms: Vec::new(),
            how_measured: String::new(),
            credible: None,
            wear_moves: None,
            tool_moves: None,
        }
    }

    /// Whether a real pipe can have that value; NaN is nobody's slip.
    pub fn is_credible(&self, value: f64) -> bool {
        self.credible
            .is_none_or(|(low, high)| !(value < low || value > high))
    }

    /// Whether it is a form error, such as roundness: a length that is zero on a perfect piece. Form
    /// errors are positive and skewed, so they are judged as ratios; they are no sizes.
    pub fn is_form_error(&self) -> bool {
        self.quantity == Quantity::Length && self.credible.is_some_and(|(low, _)| low == 0.0)
    }

    /// Reads one line of a dimension table, cells in the order of `dimensions.csv`:
    /// key, label, unit, synonyms, how measured, credible low, credible high, wear, tool.
    /// `None` where a cell is missing or its unit or number is none.
    pub fn from_cells(cells: &[&str]) -> Option<Dimension> {
        let &[key, label, unit, synonyms, how, low, high, wear, tool] = cells else {
            return None;
        };
        let quantity = match unit {
            "L*" | "a*" | "b*" | "" => Quantity::Colour,
            unit => Unit::parse(unit)?.quantity(),
        };
        let credible = match (low, high) {
            ("", "") => None,
            (low, high) => Some((low.parse::<f64>().ok()?, high.parse::<f64>().ok()?)),
        };
        let size = matches!(quantity, Quantity::Length | Quantity::Mass);
        let may_be_negative = credible.is_some_and(|(low, _)| low < 0.0);
        let direction = |text: &str| match text {
            "up" => Some(Some(Direction::Up)),
            "down" => Some(Some(Direction::Down)),
            "" => Some(None),
            _ => None,
        };
        Some(Dimension {
            key: key.to_owned(),
            label: label.to_owned(),
            quantity,
            unit: unit.to_owned(),
            kind: if size && !may_be_negative {
                Kind::Ratio
            } else {
                Kind::Interval
            },
            synonyms: synonyms
                .split(';')
                .filter(|s| !s.is_empty())
                .map(str::to_owned)
                .collect(),
            how_measured: how.to_owned(),
            credible,
            wear_moves: direction(wear)?,
            tool_moves: direction(tool)?,
        })
    }
}

/// The dimensions that a source knows: those of the trade and those it brought along.
#[derive(Clone, Debug, Default)]
pub struct Catalogue {
    dimensions: Vec<Dimension>,
    by_name: HashMap<String, usize>,
}

impl Catalogue {
    /// The dimensions of the trade (`dimensions.csv` beside this file).
    pub fn standard() -> Catalogue {
        let mut catalogue = Catalogue::default();
        let mut reader = csv::Reader::from_reader(include_bytes!("dimensions.csv").as_slice());
        // A faulty row of the built-in table would be a slip of ours: a test reads every row.
        for record in reader.records().flatten() {
            if let Some(dimension) = Dimension::from_cells(&record.iter().collect::<Vec<_>>()) {
                catalogue.add(dimension);
            }
        }
        catalogue
    }

    /// Adds a dimension and gives its index; one whose key is known already is left as it is.
    pub fn add(&mut self, dimension: Dimension) -> usize {
        if let Some(&known) = self.by_name.get(&fold(&dimension.key)) {
            return known;
        }
        let index = self.dimensions.len();
        let names = [&dimension.key, &dimension.label]
            .into_iter()
            .chain(&dimension.synonyms);
        for name in names {
            self.by_name.entry(fold(name)).or_insert(index);
        }
        self.dimensions.push(dimension);
        index
    }

    /// All dimensions.
    pub fn all(&self) -> &[Dimension] {
        &self.dimensions
    }

    /// The dimension at an index that this catalogue gave.
    pub fn at(&self, index: usize) -> &Dimension {
        &self.dimensions[index]
    }

    /// The dimension of that key, label or synonym, in any spelling.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.by_name.get(&fold(name)).copied()
    }

    /// Every label and synonym.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.dimensions.iter().flat_map(|d| {
            [&d.label]
                .into_iter()
                .chain(&d.synonyms)
                .map(String::as_str)
        })
    }

    /// The dimension that a heading names, with the heading's unit where it has one: the whole
    /// heading first, then without its unit.
    pub fn find_heading(&self, heading: &str) -> Option<(usize, Option<Unit>)> {
        if let Some(index) = self.find(heading) {
            return Some((index, None));
        }
        let (name, unit) = split_heading(heading);
        unit.and_then(|unit| Some((self.find(name)?, Some(unit))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_of_the_built_in_table_is_read() {
        let rows = include_str!("dimensions.csv").lines().count() - 1;
        let catalogue = Catalogue::standard();
        assert_eq!(catalogue.all().len(), rows);
        for dimension in catalogue.all() {
            let (low, high) = dimension.credible.unwrap();
            assert!(low < high, "{}", dimension.key);
        }
    }

    #[test]
    fn no_name_stands_for_two_dimensions() {
        let catalogue = Catalogue::standard();
        let mut names: Vec<String> = Vec::new();
        for d in catalogue.all() {
            let mut own: Vec<String> = [&d.key, &d.label]
                .into_iter()
                .chain(&d.synonyms)
                .map(|n| fold(n))
                .collect();
            own.sort();
            own.dedup();
            names.extend(own);
        }
        let all = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), all);
    }

    #[test]
    fn names_in_any_spelling_and_with_units() {
        let catalogue = Catalogue::standard();
        let key = |heading: &str| {
            let (index, unit) = catalogue.find_heading(heading)?;
            Some((catalogue.at(index).key.as_str(), unit))
        };
        assert_eq!(
            key("Bit Thickness (in)"),
            Some(("bit_thickness", Some(Unit::Inch)))
        );
        assert_eq!(
            key("bit-thickness_mm"),
            Some(("bit_thickness", Some(Unit::Millimetre)))
        );
        assert_eq!(key("BITE.THICKNESS"), Some(("bit_thickness", None)));
        assert_eq!(key("L*"), Some(("finish_lightness", None)));
        assert_eq!(key("airway"), Some(("draught_diameter", None)));
        assert_eq!(key("bill_length_mm"), None);
        assert_eq!(
            catalogue.at(catalogue.find("bowl_roundness").unwrap()).kind,
            Kind::Ratio
        );
        let form_errors = catalogue.all().iter().filter(|d| d.is_form_error());
        assert_eq!(form_errors.count(), 4);
        assert_eq!(
            catalogue.at(catalogue.find("weight").unwrap()).kind,
            Kind::Ratio
        );
        assert_eq!(
            catalogue.at(catalogue.find("cant angle").unwrap()).kind,
            Kind::Interval
        );
    }
}
