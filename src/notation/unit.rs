//! Units, and the unit written in a column's heading.

/// What a unit measures; inside the house each has one unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Millimetres inside.
    Length,
    /// Grams inside.
    Mass,
    /// Degrees inside.
    Angle,
    /// A coordinate of CIELAB: a plain number, no unit to convert.
    Colour,
}

impl Quantity {
    /// The unit of this quantity inside the house.
    pub fn base_unit(self) -> Unit {
        match self {
            Quantity::Length => Unit::Millimetre,
            Quantity::Mass => Unit::Gram,
            Quantity::Angle => Unit::Degree,
            Quantity::Colour => Unit::Plain,
        }
    }

    /// Forms to show to somebody whose text could not be read.
    pub(super) fn examples(self) -> &'static str {
        match self {
            Quantity::Length => "a length such as 4.6, 0.181 in, 11/64 or #22",
            Quantity::Mass => "a weight such as 42.5, 42.5 g or 1.5 oz",
            Quantity::Angle => "an angle such as 12 or 12.5 deg",
            Quantity::Colour => "a plain number such as 38.2",
        }
    }

    /// The units that measure this quantity.
    pub(super) fn units(self) -> &'static str {
        match self {
            Quantity::Length => "mm, cm or in",
            Quantity::Mass => "g or oz",
            Quantity::Angle => "deg",
            Quantity::Colour => "a plain number",
        }
    }
}

/// So many mm in inches.
pub fn inches(mm: f64) -> f64 {
    mm / Unit::Inch.in_base_units()
}

/// A unit as people write it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Unit {
    /// `mm`
    Millimetre,
    /// `cm`
    Centimetre,
    /// `in` or `"`, exactly 25.4 mm.
    Inch,
    /// `g`
    Gram,
    /// `oz`, the avoirdupois ounce, exactly 28.349523125 g.
    Ounce,
    /// `deg` or `°`
    Degree,
    /// A plain number.
    Plain,
}

impl Unit {
    /// All of them; each stands at its own number, `unit as usize`.
    pub const ALL: [Unit; 7] = [
        Unit::Millimetre,
        Unit::Centimetre,
        Unit::Inch,
        Unit::Gram,
        Unit::Ounce,
        Unit::Degree,
        Unit::Plain,
    ];

    /// Reads a unit's symbol or name, in any letter case: `mm`, `inches`, `"`, `deg`, ...
    pub fn parse(text: &str) -> Option<Unit> {
        Some(
            match text.trim().trim_end_matches('.').to_lowercase().as_str() {
                "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => {
                    Unit::Millimetre
                }
                "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => {
                    Unit::Centimetre
                }
                "in" | "inch" | "inches" | "\"" | "″" | "”" | "“" | "''" | "’’" => {
                    Unit::Inch
                }
                "g" | "gram" | "grams" | "gramme" | "grammes" => Unit::Gram,
                "oz" | "ounce" | "ounces" => Unit::Ounce,
                "deg" | "degree" | "degrees" | "°" => Unit::Degree,
                _ => return None,
            },
        )
    }

    /// What the unit measures.
    pub fn quantity(self) -> Quantity {
        match self {
            Unit::Millimetre | Unit::Centimetre | Unit::Inch => Quantity::Length,
            Unit::Gram | Unit::Ounce => Quantity::Mass,
            Unit::Degree => Quantity::Angle,
            Unit::Plain => Quantity::Colour,
        }
    }

    /// The size of one such unit in the house's unit of its quantity.
    ///
    /// Source: inch and avoirdupois pound by the international yard and pound agreement of 1959:
    /// 1 in = 25.4 mm, 1 lb = 453.59237 g, 1 oz = 1/16 lb, all exact.
    pub fn in_base_units(self) -> f64 {
        match self {
            Unit::Millimetre | Unit::Gram | Unit::Degree | Unit::Plain => 1.0,
            Unit::Centimetre => 10.0,
            Unit::Inch => 25.4,
            Unit::Ounce => 28.349523125,
        }
    }

    /// The symbol that the program prints.
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Millimetre => "mm",
            Unit::Centimetre => "cm",
            Unit::Inch => "in",
            Unit::Gram => "g",
            Unit::Ounce => "oz",
            Unit::Degree => "deg",
            Unit::Plain => "a plain number",
        }
    }
}

/// Splits a column's heading into name and unit: `bit thickness (in)`, `bill_length_mm`,
/// `weight [oz]`. Without a unit the heading comes back whole.
pub fn split_heading(heading: &str) -> (&str, Option<Unit>) {
    let heading = heading.trim();
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let Some(inner) = heading.strip_suffix(close)
            && let Some(at) = inner.rfind(open)
            && let Some(unit) = Unit::parse(&inner[at + open.len_utf8()..])
        {
            return (inner[..at].trim_end(), Some(unit));
        }
    }
    if let Some(at) = heading.rfind(|c: char| "_-. ,".contains(c)) {
        let name = heading[..at].trim_end_matches(|c: char| "_-. ,".contains(c));
        if let Some(unit) = Unit::parse(&heading[at + 1..])
            && !name.is_empty()
        {
            return (name, Some(unit));
        }
    }
    (heading, None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_with_and_without_a_unit() {
        let cases = [
            ("bit thickness (in)", "bit thickness", Some(Unit::Inch)),
            ("bill_length_mm", "bill_length", Some(Unit::Millimetre)),
            ("body_mass_g", "body_mass", Some(Unit::Gram)),
            ("weight [oz]", "weight", Some(Unit::Ounce)),
            ("Cant angle (deg)", "Cant angle", Some(Unit::Degree)),
            ("bit-thickness-in", "bit-thickness", Some(Unit::Inch)),
            ("length, mm", "length", Some(Unit::Millimetre)),
            (
                "bowl height (rim to heel)",
                "bowl height (rim to heel)",
                None,
            ),
            ("mm", "mm", None),
            ("finish lightness", "finish lightness", None),
        ];
        for (heading, name, unit) in cases {
            assert_eq!(split_heading(heading), (name, unit), "{heading}");
        }
    }
}
