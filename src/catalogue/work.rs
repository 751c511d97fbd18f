//! What can be done to a piece by taking material off, and which dimensions move with it.

use std::f64::consts::FRAC_PI_4;

use super::precaution::{Precaution, precautions};
use super::rows::{Columns, Row, RowFault, RowFaults, number_within, overlaid};
use super::{Catalogue, Direction, fold, nearest};
use crate::notation::Quantity;

const COLUMNS: Columns = &[
    "key",
    "label",
    "how",
    "of",
    "material",
    "tool",
    "uncertainty",
    "order",
    "moves",
    "solid",
    "cautions",
    "source",
];

/// What a work takes off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Material {
    /// The wood of bowl and shank.
    Briar,
    /// The stem, taken as hard rubber.
    Stem,
}

impl Material {
    /// The name used in tables and JSON.
    pub fn name(self) -> &'static str {
        match self {
            Material::Briar => "briar",
            Material::Stem => "stem",
        }
    }

    /// Grams per cubic millimetre.
    ///
    /// # Source
    /// Briar 0.91 g/cm3, average dried weight: The Wood Database, entry Briar (Erica arborea). Hard
    /// rubber 1.15 g/cm3, unfilled: from memory.
    pub fn density(self) -> f64 {
        match self {
            Material::Briar => 0.91e-3,
            Material::Stem => 1.15e-3,
        }
    }

    fn parse(text: &str) -> Option<Material> {
        [Material::Briar, Material::Stem]
            .into_iter()
            .find(|m| m.name() == fold(text))
    }
}

/// What a work is done with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tool {
    /// The hole ends at the size of the drill, so that only drill sizes can be reached.
    Drill,
    /// Any size can be reached.
    Reamer,
    /// Any size can be reached.
    Abrasive,
    /// Any size can be reached.
    File,
    /// Any size can be reached.
    Blade,
}

impl Tool {
    const ALL: [Tool; 5] = [
        Tool::Drill,
        Tool::Reamer,
        Tool::Abrasive,
        Tool::File,
        Tool::Blade,
    ];

    /// The name used in tables and JSON.
    pub fn name(self) -> &'static str {
        match self {
            Tool::Drill => "drill",
            Tool::Reamer => "reamer",
            Tool::Abrasive => "abrasive",
            Tool::File => "file",
            Tool::Blade => "blade",
        }
    }

    fn parse(text: &str) -> Option<Tool> {
        Tool::ALL.into_iter().find(|t| t.name() == fold(text))
    }
}

/// One length that a volume is made of.
#[derive(Clone, Debug, PartialEq)]
pub enum Size {
    /// That dimension of the piece, by its key.
    Of(String),
    /// In mm.
    Fixed(f64),
}

/// The shape of what is taken off.
#[derive(Clone, Debug, PartialEq)]
pub enum Solid {
    /// A slice across a tube, as thick as the work.
    Ring {
        /// Outside diameter.
        outer: Size,
        /// Inside diameter.
        inner: Size,
    },
    /// The outside of a cylinder, whose diameter the work makes less.
    Shell {
        /// The diameter before.
        diameter: Size,
        /// Its length.
        height: Size,
    },
    /// The inside of a hole, whose diameter the work makes more.
    Bore {
        /// The diameter before.
        diameter: Size,
        /// Its length.
        length: Size,
    },
    /// A layer, as thick as the work.
    Sheet {
        /// One side.
        width: Size,
        /// The other.
        length: Size,
    },
}

impl Solid {
    /// The lengths that it is made of.
    pub fn sizes(&self) -> [&Size; 2] {
        match self {
            Solid::Ring { outer, inner } => [outer, inner],
            Solid::Shell { diameter, height } => [diameter, height],
            Solid::Bore { diameter, length } => [diameter, length],
            Solid::Sheet { width, length } => [width, length],
        }
    }
}

/// A combination of dimensions: each key with its factor.
pub type Terms = Vec<(String, f64)>;

/// One work: it takes material off, never less than none.
#[derive(Clone, Debug, PartialEq)]
pub struct Work {
    /// Short name.
    pub key: String,
    /// Name for people.
    pub label: String,
    /// In what way it is done.
    pub how: String,
    /// Keys of the dimensions that it is done for.
    pub of: Vec<String>,
    /// What it takes off.
    pub material: Material,
    /// With what.
    pub tool: Tool,
    /// Standard uncertainty of the size that it ends with, in mm.
    pub uncertainty: f64,
    /// Its place in the sequence of works.
    pub order: f64,
    /// How each dimension moves with 1 mm of it.
    pub moves: Terms,
    /// What it takes off.
    pub solid: Solid,
    /// What to mind.
    pub precautions: Vec<Precaution>,
    /// Where its figures come from.
    pub source: String,
}

impl Work {
    /// The works of the trade (`works.csv` beside this file) in the order of work, with a table of the
    /// user's own (its name and bytes) laid over them.
    ///
    /// # Errors
    /// [`RowFaults`]: every fault of the user's table.
    pub fn all(catalogue: &Catalogue, user: Option<(&str, &[u8])>) -> Result<Vec<Work>, RowFaults> {
        let rows = overlaid(COLUMNS, include_str!("works.csv"), user)?;
        let mut works = parsed(&rows, user, |row| Work::parse(row, catalogue))?;
        works.sort_by(|a, b| a.order.total_cmp(&b.order).then(a.key.cmp(&b.key)));
        Ok(works)
    }

    /// How a dimension moves with 1 mm of it; 0 where it does not.
    pub fn moves(&self, key: &str) -> f64 {
        factor(&self.moves, key)
    }

    /// The volume that `amount` mm of it take off, in mm3, by the closed form of its shape; never less
    /// than 0. `size` gives the lengths before the work, in mm.
    pub fn volume(&self, amount: f64, size: impl Fn(&Size) -> f64) -> f64 {
        let [a, b] = self.solid.sizes().map(&size);
        let change = self.change_of_diameter();
        let volume = match self.solid {
            Solid::Ring { .. } => FRAC_PI_4 * (a * a - b * b) * amount,
            Solid::Sheet { .. } => a * b * amount,
            Solid::Shell { .. } => {
                let after = (a + change * amount).max(0.0);
                FRAC_PI_4 * (a - after) * (a + after) * b
            }
            Solid::Bore { .. } => {
                let after = a + change * amount;
                FRAC_PI_4 * (after - a) * (after + a) * b
            }
        };
        volume.max(0.0)
    }

    /// The volume that its first moments take off, in mm3 per mm.
    pub fn volume_rate(&self, size: impl Fn(&Size) -> f64) -> f64 {
        let [a, b] = self.solid.sizes().map(&size);
        let rate = match self.solid {
            Solid::Ring { .. } => FRAC_PI_4 * (a * a - b * b),
            Solid::Sheet { .. } => a * b,
            Solid::Shell { .. } | Solid::Bore { .. } => {
                2.0 * FRAC_PI_4 * a * self.change_of_diameter().abs() * b
            }
        };
        rate.max(0.0)
    }

    /// How the diameter of its shell or bore moves with 1 mm of it.
    fn change_of_diameter(&self) -> f64 {
        match self.solid.sizes()[0] {
            Size::Of(key) => self.moves(key),
            Size::Fixed(_) => 0.0,
        }
    }

    fn parse(row: &Row<'_>, catalogue: &Catalogue) -> Result<Work, RowFault> {
        let moves = terms(row, "moves", catalogue)?;
        let moved = |key: &str| factor(&moves, key);
        let of = (row.list("of").into_iter())
            .map(|name| length(name, catalogue).map_err(|expected| row.fault("of", expected)))
            .collect::<Result<Vec<String>, RowFault>>()?;
        let tool = tool(row)?;
        if of.is_empty() || of.iter().any(|key| moved(key) == 0.0) {
            return Err(row.fault("of", "dimensions that the work moves"));
        }
        // Outsides only shrink; holes only grow, but for those whose mouth is taken away.
        for (key, factor) in &moves {
            let direction = catalogue
                .find(key)
                .and_then(|at| catalogue.at(at).tool_moves);
            let adds = match direction {
                Some(Direction::Down) => *factor > 0.0,
                Some(Direction::Up) => *factor < 0.0 && !key.ends_with("_depth"),
                None => false,
            };
            if adds {
                let expected =
                    "material that is taken off: outsides that get less, holes that get more";
                return Err(row.fault("moves", expected));
            }
        }
        if tool == Tool::Drill && !(of.len() == 1 && moved(&of[0]) == 1.0) {
            let expected = "of a drill: one dimension that moves by 1, the hole's diameter";
            return Err(row.fault("of", expected));
        }
        let solid =
            solid(row.cell("solid"), catalogue).map_err(|expected| row.fault("solid", expected))?;
        if let Size::Of(diameter) = solid.sizes()[0] {
            let fits = match solid {
                Solid::Shell { .. } => moved(diameter) < 0.0,
                Solid::Bore { .. } => moved(diameter) > 0.0,
                Solid::Ring { .. } | Solid::Sheet { .. } => true,
            };
            if !fits {
                let expected =
                    "a shell whose diameter the work makes less, or a bore whose it makes more";
                return Err(row.fault("solid", expected));
            }
        }
        Ok(Work {
            key: row.cell("key").to_owned(),
            label: text(row, "label")?,
            how: row.cell("how").to_owned(),
            of,
            material: material(row)?,
            tool,
            uncertainty: row.number("uncertainty", (0.001, 5.0))?,
            order: row.number("order", (-1e6, 1e6))?,
            moves,
            solid,
            precautions: named_precautions(row)?,
            source: text(row, "source")?,
        })
    }
}

/// A cell that must not be empty.
pub(super) fn text(row: &Row<'_>, column: &'static str) -> Result<String, RowFault> {
    match row.cell(column) {
        "" => Err(row.fault(column, "a text")),
        text => Ok(text.to_owned()),
    }
}

/// The column `material`.
pub(super) fn material(row: &Row<'_>) -> Result<Material, RowFault> {
    let known = Material::parse(row.cell("material"));
    known.ok_or_else(|| row.fault("material", "briar or stem"))
}

/// The column `tool`.
pub(super) fn tool(row: &Row<'_>) -> Result<Tool, RowFault> {
    Tool::parse(row.cell("tool")).ok_or_else(|| {
        let known = Tool::ALL.map(Tool::name).join(", ");
        row.fault("tool", format!("one of {known}"))
    })
}

/// The column `cautions`, and those that go with the material and the tool anyway, in the order of their table.
pub(super) fn named_precautions(row: &Row<'_>) -> Result<Vec<Precaution>, RowFault> {
    let of_material = match material(row)? {
        Material::Briar => "briar_dust",
        Material::Stem => "rubber_dust",
    };
    let of_tool = match tool(row)? {
        Tool::Drill => Some("drill"),
        Tool::Reamer | Tool::File | Tool::Blade => Some("blade"),
        Tool::Abrasive => None,
    };
    let known = precautions();
    let mut keys: Vec<String> = row.list("cautions").into_iter().map(fold).collect();
    if let Some(key) = keys
        .iter()
        .find(|key| known.iter().all(|p| fold(&p.key) != **key))
    {
        let known: Vec<&str> = known.iter().map(|p| &*p.key).collect();
        let expected = format!("some of {}; `{key}` is none", known.join(", "));
        return Err(row.fault("cautions", expected));
    }
    keys.extend([Some(of_material), of_tool].into_iter().flatten().map(fold));
    let named = known.iter().filter(|p| keys.contains(&fold(&p.key)));
    Ok(named.cloned().collect())
}

/// All rows parsed, or all their faults.
pub(super) fn parsed<T>(
    rows: &[Row<'_>],
    user: Option<(&str, &[u8])>,
    parse: impl Fn(&Row<'_>) -> Result<T, RowFault>,
) -> Result<Vec<T>, RowFaults> {
    let (mut all, mut faults) = (Vec::new(), Vec::new());
    for row in rows {
        match parse(row) {
            Ok(one) => all.push(one),
            Err(fault) => faults.push(fault),
        }
    }
    match faults.is_empty() {
        true => Ok(all),
        false => Err(RowFaults {
            file: user.map_or("built-in", |(file, _)| file).to_owned(),
            faults,
        }),
    }
}

/// The factor of a key among some terms; 0 where it is none of them.
pub(crate) fn factor(terms: &[(String, f64)], key: &str) -> f64 {
    let found = terms.iter().find(|(known, _)| known == key);
    found.map_or(0.0, |&(_, factor)| factor)
}

/// `bit_thickness 0.5; slot_height -0.5`
pub(super) fn terms(
    row: &Row<'_>,
    column: &'static str,
    catalogue: &Catalogue,
) -> Result<Terms, RowFault> {
    /// A factor beyond that is no geometry of a pipe, and the solver would lose digits.
    const MOST: f64 = 100.0;
    let mut terms = Terms::new();
    for part in row.list(column) {
        let form = "dimensions with a factor each, such as `bit_thickness 0.5; slot_height -0.5`";
        let (name, number) = part
            .rsplit_once(char::is_whitespace)
            .ok_or_else(|| row.fault(column, form))?;
        let key = length(name, catalogue).map_err(|expected| row.fault(column, expected))?;
        let number = number_within(number, (-MOST, MOST))
            .filter(|number| number.abs() >= 1.0 / MOST)
            .ok_or_else(|| row.fault(column, form))?;
        if factor(&terms, &key) != 0.0 {
            return Err(row.fault(column, "each dimension once"));
        }
        terms.push((key, number));
    }
    match terms.is_empty() {
        true => Err(row.fault(column, "at least one dimension with its factor")),
        false => Ok(terms),
    }
}

/// The key of a length by any of its names, or what was expected.
fn length(name: &str, catalogue: &Catalogue) -> Result<String, String> {
    let Some(at) = catalogue.find(name) else {
        let near = nearest(name, catalogue.names());
        return Err(match near.as_slice() {
            [] => format!("a dimension; `{name}` is none"),
            near => format!(
                "a dimension; `{name}` is none; nearest: {}",
                near.join(", ")
            ),
        });
    };
    let dimension = catalogue.at(at);
    match dimension.quantity {
        Quantity::Length => Ok(dimension.key.clone()),
        _ => Err(format!(
            "a length; {} is none (weight follows from the volume)",
            dimension.label
        )),
    }
}

/// `ring rim_diameter chamber_diameter`, or what was expected.
fn solid(text: &str, catalogue: &Catalogue) -> Result<Solid, String> {
    const FORM: &str = "ring OUTER INNER, shell DIAMETER HEIGHT, bore DIAMETER LENGTH or sheet WIDTH \
                        LENGTH, each size a dimension or a number of mm";
    let words: Vec<&str> = text.split_whitespace().collect();
    let &[shape, first, second] = words.as_slice() else {
        return Err(FORM.to_owned());
    };
    let size = |word: &str| match number_within(word, (0.0, 500.0)) {
        Some(number) => Ok(Size::Fixed(number)),
        None => length(word, catalogue).map(Size::Of),
    };
    let (a, b) = (size(first)?, size(second)?);
    let moving = matches!(a, Size::Of(_));
    match shape {
        "ring" => Ok(Solid::Ring { outer: a, inner: b }),
        "sheet" => Ok(Solid::Sheet {
            width: a,
            length: b,
        }),
        "shell" if moving => Ok(Solid::Shell {
            diameter: a,
            height: b,
        }),
        "bore" if moving => Ok(Solid::Bore {
            diameter: a,
            length: b,
        }),
        _ => Err(FORM.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(user: &str) -> Result<Vec<Work>, String> {
        let user = Some(("mine.csv", user.as_bytes()));
        Work::all(&Catalogue::standard(), user).map_err(|all| all.faults[0].to_string())
    }

    #[test]
    fn every_built_in_row_is_read() {
        let works = Work::all(&Catalogue::standard(), None).unwrap();
        assert_eq!(works.len(), include_str!("works.csv").lines().count() - 1);
        assert!(works.windows(2).all(|w| w[0].order < w[1].order));
        for work in &works {
            assert!(
                !work.how.is_empty() && !work.precautions.is_empty(),
                "{}",
                work.key
            );
            assert!(
                work.source.starts_with("common practice, no source"),
                "{}",
                work.key
            );
            // Holes only grow, outsides only shrink: as the dimensions themselves have it.
            let catalogue = Catalogue::standard();
            for key in &work.of {
                let dimension = catalogue.at(catalogue.find(key).unwrap());
                let up = dimension.tool_moves == Some(super::super::Direction::Up);
                // What takes the mouth of a hole away makes it less deep without a tool in it.
                let mouth = [
                    ("top_rim", "chamber_depth"),
                    ("face_shank", "mortise_depth"),
                ];
                let topped = mouth.contains(&(&*work.key, &**key));
                assert_eq!(work.moves(key) > 0.0, up && !topped, "{} {key}", work.key);
            }
        }
    }

    #[test]
    fn volumes_are_those_of_their_shapes() {
        let works = Work::all(&Catalogue::standard(), None).unwrap();
        let find = |key: &str| works.iter().find(|w| w.key == key).unwrap();
        let size = |size: &Size| match size {
            Size::Fixed(mm) => *mm,
            Size::Of(key) => match key.as_str() {
                "rim_diameter" => 34.0,
                "chamber_diameter" => 20.0,
                "chamber_depth" => 40.0,
                "bowl_diameter" => 38.0,
                "bowl_height" => 50.0,
                "bit_width" => 16.0,
                other => panic!("{other}"),
            },
        };
        let pi = std::f64::consts::PI;
        let near = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 1e-12, "{got} {want}");
        // 0.7 mm of a tube of radii 17 and 10.
        near(
            find("top_rim").volume(0.7, size),
            pi * (289.0 - 100.0) * 0.7,
        );
        // The wall 0.5 thinner: radius 19 to 18.5.
        near(
            find("thin_wall").volume(0.5, size),
            pi * (361.0 - 342.25) * 50.0,
        );
        // 1 mm wider: radius 10 to 10.5.
        near(
            find("open_chamber").volume(1.0, size),
            pi * (110.25 - 100.0) * 40.0,
        );
        near(find("thin_bit").volume(0.4, size), 16.0 * 25.0 * 0.4);
        for work in ["top_rim", "thin_wall", "open_chamber", "thin_bit"].map(find) {
            let step = 1e-6;
            let slope = work.volume(step, size) / step;
            assert!(
                (work.volume_rate(size) / slope - 1.0).abs() < 1e-6,
                "{}",
                work.key
            );
        }
        // Nothing is left of a shell that is turned away, and no volume is negative.
        near(find("thin_wall").volume(99.0, size), pi * 361.0 * 50.0);
        assert_eq!(find("top_rim").volume(1.0, |_| 20.0), 0.0);
    }

    #[test]
    fn own_tables_are_read_or_refused_with_the_place() {
        let works = with("key,uncertainty,order\nthin bit,0.02,5\n").unwrap();
        assert_eq!(
            (works[0].key.as_str(), works[0].uncertainty),
            ("thin_bit", 0.02)
        );
        let new = "key,label,of,material,tool,uncertainty,order,moves,solid,source\n\
                   bevel,bevel the rim,rim diameter,briar,file,0.1,125,rim diameter -1,sheet 3 90,mine\n";
        assert!(
            with(new)
                .unwrap()
                .iter()
                .any(|w| w.key == "bevel" && w.of == ["rim_diameter"])
        );
        let faults = [
            (
                "key,tool\nthin_bit,chisel\n",
                "row 2, column 2 (tool): `chisel`: expected one of drill",
            ),
            (
                "key,moves\nthin_bit,bit_thicness -1\n",
                "`bit_thicness` is none; nearest: bit thickness",
            ),
            (
                "key,moves\nthin_bit,bit_thickness\n",
                "dimensions with a factor each",
            ),
            (
                "key,moves\nthin_bit,bit_thickness nan\n",
                "dimensions with a factor each",
            ),
            (
                "key,moves\nthin_bit,bit_thickness 1\n",
                "material that is taken off",
            ),
            (
                "key,moves\nthin_bit,weight -1\n",
                "a length; weight is none",
            ),
            (
                "key,of\nthin_bit,bit_width\n",
                "expected dimensions that the work moves",
            ),
            ("key,uncertainty\nthin_bit,0\n", "a number from 0.001 to 5"),
            (
                "key,uncertainty\nthin_bit,inf\n",
                "a number from 0.001 to 5",
            ),
            ("key,solid\nthin_bit,cone 3 4\n", "ring OUTER INNER"),
            (
                "key,solid\nthin_bit,bore bit_thickness 4\n",
                "a bore whose it makes more",
            ),
            (
                "key,cautions\nthin_bit,fire\n",
                "expected some of first, briar_dust",
            ),
            ("key,material\nthin_bit,horn\n", "expected briar or stem"),
            (
                "key,label\nnew,\n",
                "row 2, no column (moves): ``: expected",
            ),
            (
                "key,tool\nthin_bit,drill\n",
                "one dimension that moves by 1",
            ),
        ];
        for (user, want) in faults {
            let said = with(user).unwrap_err();
            assert!(said.contains(want), "{said}");
        }
    }
}
