//! What can be traced: outlines, sections and the colour of a finish.

use std::fmt;

use super::names::{fold, nearest};

/// What a trace is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TraceKind {
    /// Stations along an axis and heights from it, both in mm; outward is positive.
    Outline,
    /// Angles in degrees and radii in mm.
    Section,
    /// Spots and their colours.
    Colour,
}

/// What form is asked of, so that the grain of a blasted or carved surface is not taken for form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Surface {
    /// The points as they were read.
    Points,
    /// What a round feeler that cannot enter the grain would touch.
    Envelope,
    /// The mean line of a profile filter.
    MeanLine,
}

/// A feature of a pipe that people trace.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feature {
    /// Short name for columns and JSON: `bowl_wall_front`.
    pub key: String,
    /// Name for people: `bowl wall, front`.
    pub label: String,
    /// What its traces are made of.
    pub kind: TraceKind,
    /// What its form is asked of.
    pub surface: Surface,
    /// Where and how to trace it; empty for a feature that only a source knows.
    pub how_traced: String,
}

/// A feature and where it was taken: `bowl_section@25` is the bowl's section 25 mm up.
#[derive(Clone, Debug, PartialEq)]
pub struct FeatureName {
    /// The feature.
    pub feature: Feature,
    /// Where, in mm; `None` where it was not said.
    pub at: Option<f64>,
}

/// A text that names no feature.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotAFeature {
    /// Neither known nor of a kind that its ending tells.
    #[error(
        "no known feature{}; a name of your own ends in _outline, _section or _colour",
        if near.is_empty() { String::new() } else { format!(", nearest: {}", near.join(", ")) }
    )]
    Unknown {
        /// The nearest known ones.
        near: Vec<String>,
    },
    /// What stands behind the `@`.
    #[error("expected a distance in mm behind the @, such as bowl_section@25")]
    Place,
}

impl Feature {
    /// The features of the trade (`features.csv` beside this file).
    pub fn standard() -> Vec<Feature> {
        let mut reader = csv::Reader::from_reader(include_bytes!("features.csv").as_slice());
        let of = |cells: csv::StringRecord| {
            let cells: Vec<&str> = cells.iter().collect();
            let &[key, label, kind, surface, how_traced] = cells.as_slice() else {
                return None;
            };
            Some(Feature {
                key: key.to_owned(),
                label: label.to_owned(),
                kind: match kind {
                    "outline" => TraceKind::Outline,
                    "section" => TraceKind::Section,
                    "colour" => TraceKind::Colour,
                    _ => return None,
                },
                surface: match surface {
                    "points" => Surface::Points,
                    "envelope" => Surface::Envelope,
                    "mean_line" => Surface::MeanLine,
                    _ => return None,
                },
                how_traced: how_traced.to_owned(),
            })
        };
        // A faulty row of the built-in table would be a slip of ours: a test reads every row.
        reader.records().flatten().filter_map(of).collect()
    }
}

impl FeatureName {
    /// For people: `bowl wall left`.
    pub fn words(&self) -> String {
        self.to_string().replace('_', " ")
    }

    /// Reads `stem_top`, `Stem top`, `bowl_section@25` or a name of one's own whose ending tells
    /// its kind: `ferrule_section`.
    ///
    /// # Errors
    /// [`NotAFeature`], with the nearest known names.
    pub fn parse(text: &str, known: &[Feature]) -> Result<FeatureName, NotAFeature> {
        let (name, at) = match text.split_once('@') {
            None => (text.trim(), None),
            Some((name, place)) => {
                let place = place.trim().trim_end_matches("mm").trim_end();
                let at = place.replace(',', ".").parse::<f64>();
                let at = at.ok().filter(|at| at.is_finite());
                // The sum makes one of the two zeros.
                (name.trim(), Some(at.ok_or(NotAFeature::Place)? + 0.0))
            }
        };
        let mut folded = fold(name);
        // American spelling.
        if folded.ends_with("color") {
            folded.insert(folded.len() - 1, 'u');
        }
        let is = |f: &&Feature| fold(&f.key) == folded || fold(&f.label) == folded;
        let feature = known.iter().find(is).cloned();
        let feature = feature.or_else(|| Feature::of_ending(name, &folded));
        let feature = feature.ok_or_else(|| NotAFeature::Unknown {
            near: nearest(name, known.iter().map(|f| f.key.as_str()))
                .into_iter()
                .map(str::to_owned)
                .collect(),
        })?;
        Ok(FeatureName { feature, at })
    }
}

impl Feature {
    fn of_ending(name: &str, folded: &str) -> Option<Feature> {
        let kinds = [
            ("outline", TraceKind::Outline, Surface::Points),
            ("section", TraceKind::Section, Surface::MeanLine),
            ("colour", TraceKind::Colour, Surface::Points),
        ];
        let (_, kind, surface) = kinds
            .into_iter()
            .find(|(ending, ..)| folded.ends_with(ending) && folded != *ending)?;
        let between = |c: char| c.is_whitespace() || matches!(c, '-' | '–' | '.' | '_');
        let words: Vec<&str> = name.split(between).filter(|w| !w.is_empty()).collect();
        let key = words.join("_").to_lowercase();
        Some(Feature {
            key: key
                .strip_suffix("color")
                .map_or(key.clone(), |stem| format!("{stem}colour")),
            label: name.to_owned(),
            kind,
            surface,
            how_traced: String::new(),
        })
    }
}

impl fmt::Display for FeatureName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.feature.key)?;
        match self.at {
            Some(at) => write!(f, "@{at}"),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_of_the_built_in_table_is_read() {
        let rows = include_str!("features.csv").lines().count() - 1;
        assert_eq!(Feature::standard().len(), rows);
    }

    #[test]
    fn names_in_any_spelling_with_a_place_or_by_their_ending() {
        let known = Feature::standard();
        let parse = |text: &str| FeatureName::parse(text, &known);
        assert_eq!(parse("Stem Top").unwrap().to_string(), "stem_top");
        let section = parse("bowl-section@22.5 mm").unwrap();
        assert_eq!(section.at, Some(22.5));
        assert_eq!(section.to_string(), "bowl_section@22.5");
        let own = parse("ferrule section").unwrap();
        assert_eq!(own.feature.kind, TraceKind::Section);
        assert_eq!(own.feature.key, "ferrule_section");
        assert_eq!(
            parse("Ferrule  - section@-0").unwrap().to_string(),
            "ferrule_section@0"
        );
        assert_eq!(parse("Finish color").unwrap().to_string(), "finish_colour");
        assert_eq!(parse("rim color").unwrap().to_string(), "rim_colour");
        assert_eq!(parse("bowl_section@rim"), Err(NotAFeature::Place));
        assert_eq!(parse("bowl_section@inf"), Err(NotAFeature::Place));
        let Err(NotAFeature::Unknown { near }) = parse("stem_tpo") else {
            panic!("no feature is called stem_tpo")
        };
        assert_eq!(near[0], "stem_top");
        assert!(parse("section").is_err());
    }
}
