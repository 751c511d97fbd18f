//! Why a size is left alone.

use std::fmt;

/// What stands in the way of a work.
#[derive(Clone, Debug, PartialEq)]
pub enum Obstacle {
    /// Something that must remain.
    Floor {
        /// Its key.
        key: String,
        /// Its name.
        label: String,
        /// What would be left, in mm.
        left: f64,
        /// Probability that this is enough, where that can be told.
        probability: Option<f64>,
        /// What must remain, in mm.
        least: f64,
    },
    /// Another dimension that would leave the range of good pieces, or get further out of it.
    Size {
        /// Its key.
        key: String,
        /// Its name.
        label: String,
        /// Its unit.
        unit: String,
        /// What it would become, in the unit.
        becomes: f64,
        /// Probability of being in the range then, where that can be told.
        probability: Option<f64>,
        /// The range of good pieces, where there is one; else what a real pipe can have.
        range: (f64, f64),
    },
}

impl fmt::Display for Obstacle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Obstacle::Floor {
                label,
                left,
                least,
                probability,
                ..
            } => {
                write!(f, "{label}: {left:.2} mm, at least {least} mm needed")?;
                match (left >= least, probability) {
                    (false, _) => Ok(()),
                    (true, Some(p)) => write!(f, " (so much is left with {} only)", per_cent(*p)),
                    (true, None) => f.write_str(" (so much is not left surely enough)"),
                }
            }
            Obstacle::Size {
                label,
                unit,
                becomes,
                range: (low, high),
                probability,
                ..
            } => {
                let range = format!("{low:.2} to {high:.2} {unit}");
                write!(
                    f,
                    "{label} would become {becomes:.2} {unit}, good is {range}"
                )?;
                match ((low..=high).contains(&becomes), probability) {
                    (false, _) => Ok(()),
                    (true, Some(p)) => write!(f, " (inside with {} only)", per_cent(*p)),
                    (true, None) => f.write_str(" (inside, but not surely enough)"),
                }
            }
        }
    }
}

/// A probability with as many digits as tell it from 1.
fn per_cent(p: f64) -> String {
    let text = match p {
        p if p < 0.995 => format!("{:.1}", 100.0 * p),
        p => format!("{:.4}", 100.0 * p),
    };
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

/// Why a size that is out of norm or borderline is left alone.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Reason {
    /// It would have to become more, and only less can be made of it; or the other way round.
    MaterialToAdd,
    /// Laid on an outline, good pieces are thicker somewhere than a straight line would leave it, and no size says
    /// that it is too thick elsewhere.
    TooThin {
        /// By how much at most, in mm.
        by: f64,
        /// The station, in mm.
        at: f64,
    },
    /// The stem is bent: its other side goes in where this one goes out.
    Bent {
        /// How far it goes out, in mm.
        out: f64,
        /// The station, in mm.
        at: f64,
    },
    /// The wall is blasted, rusticated or carved, and its grain would be lost.
    Grain,
    /// Nothing in the table of works moves it.
    NoWork,
    /// A colour, which no taking off puts right.
    NotASize,
    /// A form error: it is a matter of the whole outline.
    FormError,
    /// It follows from the other sizes; no work is done for it alone.
    Follows,
    /// The reading is one that no real pipe has.
    NotCredible {
        /// The credible range, in the unit.
        credible: (f64, f64),
        /// The unit.
        unit: String,
    },
    /// It is inside the range already, with the probability that is asked for.
    Inside,
    /// However it is done, it cannot be told well enough where it ends.
    TooCoarse {
        /// The highest probability of ending in the range.
        best: f64,
        /// That which is asked for.
        asked: f64,
    },
    /// No drill of the set has such a size.
    NoDrill {
        /// The least that would serve, in mm.
        least: f64,
        /// The most.
        most: f64,
    },
    /// What would be left of something that must remain cannot be told.
    MeasureFirst {
        /// Names of the dimensions to be measured first.
        dimensions: Vec<String>,
        /// Name of what must remain.
        floor: String,
    },
    /// Readings that cannot all be right.
    Contradiction(Contradiction),
    /// A work needs a reading that no real pipe has.
    Doubtful {
        /// Name of the dimension.
        dimension: String,
    },
    /// A floor, or other dimensions, stand in the way.
    Obstacles(Vec<Obstacle>),
    /// It does not go together with what matters more.
    Earlier {
        /// Names of those dimensions.
        dimensions: Vec<String>,
    },
    /// No works lead there.
    Never,
}

/// Readings that cannot all be right.
#[derive(Clone, Debug, PartialEq)]
pub struct Contradiction {
    /// Name of what they make together.
    pub label: String,
    /// What it comes to, in mm; it cannot be less than 0.
    pub sum: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// Keys of the dimensions.
    pub keys: Vec<String>,
    /// Their names and readings, in mm.
    pub readings: Vec<(String, f64)>,
}

impl fmt::Display for Contradiction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let readings = self.readings.iter();
        let readings: Vec<String> = readings
            .map(|(label, mm)| format!("{label} {mm:.2} mm"))
            .collect();
        write!(
            f,
            "{} cannot all be right: {} comes to {:.2} mm; measure again",
            readings.join(", "),
            self.label,
            self.sum
        )
    }
}

impl Reason {
    /// The name used in tables and JSON.
    pub fn name(&self) -> &'static str {
        match self {
            Reason::MaterialToAdd => "material_to_add",
            Reason::TooThin { .. } => "too_thin",
            Reason::Bent { .. } => "bent",
            Reason::Grain => "grain",
            Reason::NoWork => "no_work",
            Reason::NotASize => "not_a_size",
            Reason::FormError => "form_error",
            Reason::Follows => "follows",
            Reason::NotCredible { .. } => "not_credible",
            Reason::Inside => "inside",
            Reason::TooCoarse { .. } => "too_coarse",
            Reason::NoDrill { .. } => "no_drill",
            Reason::MeasureFirst { .. } => "measure_first",
            Reason::Contradiction(_) => "contradiction",
            Reason::Doubtful { .. } => "doubtful",
            Reason::Obstacles(all) => match all.first() {
                Some(Obstacle::Floor { .. }) => "floor",
                _ => "pushes_out",
            },
            Reason::Earlier { .. } => "earlier",
            Reason::Never => "never",
        }
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Reason::MaterialToAdd => f.write_str("material would have to be added"),
            Reason::TooThin { by, at } => write!(
                f,
                "laid on this outline, good pieces are up to {by:.2} mm thicker than a straight line would leave \
                 it (at {at:.1} mm), and no size tells whether it is too thick elsewhere or too thin there"
            ),
            Reason::Bent { out, at } => write!(
                f,
                "the stem is bent, not too thick: it goes out by {out:.2} mm at {at:.1} mm, and in on its other \
                 side; the bore goes with it"
            ),
            Reason::Grain => {
                f.write_str("the finish has a grain, which would be lost where wood is taken off")
            }
            Reason::NoWork => f.write_str("no tool moves it"),
            Reason::NotASize => {
                f.write_str("a finish is no size: taking off does not put it right")
            }
            Reason::FormError => {
                f.write_str("a matter of the whole outline, not of one size (calibriar form)")
            }
            Reason::Follows => {
                f.write_str("it follows from the other sizes; nothing is taken off for it alone")
            }
            Reason::NotCredible {
                credible: (low, high),
                unit,
            } => write!(
                f,
                "outside the credible {low} to {high} {unit}: look for a slip first"
            ),
            Reason::Inside => f.write_str("inside the range of good pieces already"),
            Reason::TooCoarse { best, asked } => write!(
                f,
                "for so narrow a range reading and work are too coarse: inside with {} at best, {} asked; \
                 measure it more finely",
                per_cent(*best),
                per_cent(*asked)
            ),
            Reason::NoDrill { least, most } => {
                write!(f, "no drill from {least:.2} to {most:.2} mm in that set")
            }
            Reason::MeasureFirst { dimensions, floor } => write!(
                f,
                "measure {} first: it is not known what would be left of the {floor}",
                dimensions.join(" and ")
            ),
            Reason::Contradiction(contradiction) => contradiction.fmt(f),
            Reason::Doubtful { dimension } => write!(
                f,
                "the reading of {dimension} is one that no real pipe has: look for a slip first"
            ),
            Reason::Obstacles(all) => {
                let all: Vec<String> = all.iter().map(ToString::to_string).collect();
                f.write_str(&all.join("; "))
            }
            Reason::Earlier { dimensions } => write!(
                f,
                "it does not go together with {}, which matters more",
                dimensions.join(", ")
            ),
            Reason::Never => f.write_str("no works lead there"),
        }
    }
}
