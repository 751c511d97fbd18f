//! What must remain: thicknesses that are made of dimensions, and the least each may be.

use super::names::fold;
use super::rows::{Columns, Row, RowFault, RowFaults, overlaid};
use super::work::{Terms, parsed, terms};
use super::{Catalogue, FeatureName};

const COLUMNS: Columns = &[
    "key",
    "label",
    "of",
    "least",
    "made_of",
    "if_unknown",
    "source",
];

/// What a floor is a thickness of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FloorKind {
    /// Of wood.
    Briar,
    /// Of the stem.
    Stem,
    /// Of nothing: the play of two parts that go together. It may be less than 0.
    Fit,
    /// Of nothing: a sum that cannot be less than 0 if the readings are right. It binds no work.
    Readings,
}

impl FloorKind {
    const ALL: [FloorKind; 4] = [
        FloorKind::Briar,
        FloorKind::Stem,
        FloorKind::Fit,
        FloorKind::Readings,
    ];

    /// The name used in tables and JSON.
    pub fn name(self) -> &'static str {
        match self {
            FloorKind::Briar => "briar",
            FloorKind::Stem => "stem",
            FloorKind::Fit => "fit",
            FloorKind::Readings => "readings",
        }
    }
}

/// One thickness that must not fall below its least.
#[derive(Clone, Debug, PartialEq)]
pub struct Floor {
    /// Short name.
    pub key: String,
    /// Name for people.
    pub label: String,
    /// What it is a thickness of.
    pub of: FloorKind,
    /// The least that must remain, in mm.
    pub least: f64,
    /// The dimensions that it is made of, each with its factor.
    pub made_of: Terms,
    /// Whether a work that moves it is refused where it cannot be told, because something was not
    /// measured.
    pub needed: bool,
    /// Where the least comes from.
    pub source: String,
}

impl Floor {
    /// Its name for people, on the side of the piece where that feature runs.
    pub fn label_on(&self, side: Option<&FeatureName>) -> String {
        match side {
            Some(side) => format!("{}, {}", self.label, side.words()),
            None => self.label.clone(),
        }
    }

    /// How much there is of it, by the sizes of its dimensions in mm; `None` where one is not known.
    pub fn left(&self, size: impl Fn(&str) -> Option<f64>) -> Option<f64> {
        let terms = self.made_of.iter();
        terms.map(|(key, factor)| Some(factor * size(key)?)).sum()
    }

    /// The floors of the trade (`floors.csv` beside this file), with a table of the user's own (its
    /// name and bytes) laid over them.
    ///
    /// # Errors
    /// [`RowFaults`]: every fault of the user's table.
    pub fn all(
        catalogue: &Catalogue,
        user: Option<(&str, &[u8])>,
    ) -> Result<Vec<Floor>, RowFaults> {
        let rows = overlaid(COLUMNS, include_str!("floors.csv"), user)?;
        parsed(&rows, user, |row| Floor::parse(row, catalogue))
    }

    fn parse(row: &Row<'_>, catalogue: &Catalogue) -> Result<Floor, RowFault> {
        let text = |column| match row.cell(column) {
            "" => Err(row.fault(column, "a text")),
            text => Ok(text.to_owned()),
        };
        let of = FloorKind::ALL
            .into_iter()
            .find(|kind| kind.name() == fold(row.cell("of")))
            .ok_or_else(|| {
                let known = FloorKind::ALL.map(FloorKind::name).join(", ");
                row.fault("of", format!("one of {known}"))
            })?;
        // Only a play may be less than nothing.
        let least = match of {
            FloorKind::Fit => row.number("least", (-50.0, 50.0))?,
            _ => row.number("least", (0.0, 50.0))?,
        };
        Ok(Floor {
            key: row.cell("key").to_owned(),
            label: text("label")?,
            of,
            least,
            made_of: terms(row, "made_of", catalogue)?,
            needed: match row.cell("if_unknown") {
                "refuse" | "" => true,
                "pass" => false,
                _ => return Err(row.fault("if_unknown", "refuse or pass")),
            },
            source: text("source")?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(user: &str) -> Result<Vec<Floor>, String> {
        let user = Some(("mine.csv", user.as_bytes()));
        Floor::all(&Catalogue::standard(), user).map_err(|all| all.faults[0].to_string())
    }

    #[test]
    fn every_built_in_row_is_read() {
        let floors = Floor::all(&Catalogue::standard(), None).unwrap();
        assert_eq!(floors.len(), include_str!("floors.csv").lines().count() - 1);
        for floor in &floors {
            let known = matches!(&*floor.source, "common practice, no source" | "geometry");
            assert!(known, "{}", floor.key);
        }
    }

    #[test]
    fn own_tables_are_read_or_refused_with_the_place() {
        let floors = with("key,least,source\nwall,3,my own\n").unwrap();
        assert_eq!((floors[0].least, &*floors[0].source), (3.0, "my own"));
        for (user, want) in [
            (
                "key,least\nwall,-3\n",
                "row 2, column 2 (least): `-3`: expected a number from 0 to 50",
            ),
            ("key,least\nwall,NaN\n", "a number from 0 to 50"),
            ("key,of\nwall,clay\n", "one of briar, stem, fit, readings"),
            ("key,made_of\nwall,walls thickness 1\n", "a dimension"),
            (
                "key,made_of\nwall,wall_thickness 1; wall 2\n",
                "each dimension once",
            ),
            ("key,if_unknown\nwall,maybe\n", "refuse or pass"),
            ("key,least\nnew,3\n", "row 2, no column (of)"),
        ] {
            let said = with(user);
            let Err(said) = said else {
                panic!("{user}: {said:?}")
            };
            assert!(said.contains(want), "{said}");
        }
    }
}
