//! How traced outlines are made straight: with what, how surely, and what to mind.

use super::rows::{Columns, Row, RowFault, RowFaults, overlaid};
use super::work::{material, named_precautions, parsed, text, tool};
use super::{FeatureName, Material, Precaution, Size, Solid, Terms, Tool, Work};

const COLUMNS: Columns = &[
    "key",
    "label",
    "how",
    "features",
    "material",
    "tool",
    "uncertainty",
    "order",
    "cautions",
    "source",
];

/// A way to make an outline straight. How much comes off, and which dimensions move with it, is a matter of the
/// trace.
#[derive(Clone, Debug, PartialEq)]
pub struct Straightening {
    /// Short name.
    pub key: String,
    /// Name for people, before that of the feature.
    pub label: String,
    /// In what way it is done.
    pub how: String,
    /// Keys of the features that it is for.
    pub features: Vec<String>,
    /// What it takes off.
    pub material: Material,
    /// With what.
    pub tool: Tool,
    /// Standard uncertainty of where it ends, in mm.
    pub uncertainty: f64,
    /// Its place in the sequence of works.
    pub order: f64,
    /// What to mind.
    pub precautions: Vec<Precaution>,
    /// Where its figures come from.
    pub source: String,
}

impl Straightening {
    /// Those of the trade (`straightenings.csv` beside this file) in the order of work.
    pub(super) fn all() -> Result<Vec<Straightening>, RowFaults> {
        let rows = overlaid(COLUMNS, include_str!("straightenings.csv"), None)?;
        let mut all = parsed(&rows, None, Straightening::parse)?;
        all.sort_by(|a, b| a.order.total_cmp(&b.order));
        Ok(all)
    }

    /// The work on one traced feature. `moves` is how dimensions move, and `rate` how many mm3 come off, with
    /// each mm at the place where most comes off.
    pub(crate) fn work(&self, feature: &FeatureName, moves: Terms, rate: f64) -> Work {
        Work {
            key: self.key.clone(),
            label: format!("{} {}", self.label, feature.words()),
            how: self.how.clone(),
            of: Vec::new(),
            material: self.material,
            tool: self.tool,
            uncertainty: self.uncertainty,
            order: self.order,
            moves,
            solid: Solid::Sheet {
                width: Size::Fixed(rate),
                length: Size::Fixed(1.0),
            },
            precautions: self.precautions.clone(),
            source: self.source.clone(),
        }
    }

    fn parse(row: &Row<'_>) -> Result<Straightening, RowFault> {
        Ok(Straightening {
            key: row.cell("key").to_owned(),
            label: text(row, "label")?,
            how: text(row, "how")?,
            features: row
                .list("features")
                .into_iter()
                .map(str::to_owned)
                .collect(),
            material: material(row)?,
            tool: tool(row)?,
            uncertainty: row.number("uncertainty", (0.001, 5.0))?,
            order: row.number("order", (-1e6, 1e6))?,
            precautions: named_precautions(row)?,
            source: text(row, "source")?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Feature;

    #[test]
    fn every_built_in_row_is_read() {
        let all = Straightening::all().unwrap();
        let lines = include_str!("straightenings.csv").lines().count();
        assert_eq!(all.len(), lines - 1);
        let known = Feature::standard();
        for one in &all {
            assert!(!one.features.is_empty() && !one.precautions.is_empty());
            for key in &one.features {
                assert!(known.iter().any(|f| f.key == *key), "{key}");
            }
        }
    }
}
