//! A whole cell: the state in braces, gauge pairs, plus-minus, and nothing at all.

use super::number::{Size, read_size};
use super::{DecimalMark, NotationError, Quantity, Unit};

/// No size is longer than this, in bytes.
const LONGEST: usize = 120;

/// What a cell's text is read by.
#[derive(Clone, Copy, Debug)]
pub struct Context {
    /// What the column measures.
    pub quantity: Quantity,
    /// The unit of a bare decimal.
    pub unit: Unit,
    /// The decimal mark of the file.
    pub mark: DecimalMark,
}

/// A size as somebody wrote it, in the house's units (mm, g, degrees).
#[derive(Clone, Debug, PartialEq)]
pub struct Written<'a> {
    /// The value; for a gauge pair the middle of the two.
    pub value: f64,
    /// Standard uncertainty, where the text itself gives one: half-width / sqrt 3 for `4.6 ± 0.1`,
    /// width / sqrt 12 for a gauge pair (JCGM 100:2008, 4.3.7).
    pub standard_uncertainty: Option<f64>,
    /// The step of the writing: 0.1 for `4.6`, 1/64 inch for `11/64`.
    pub step: f64,
    /// The unit it was written in.
    pub unit: Unit,
    /// A plain decimal in the column's unit: its step is the column's, not its own.
    pub plain: bool,
    /// What stands in braces at the end.
    pub braces: Option<&'a str>,
}

/// Reads one cell. `Ok(None)` is "not measured": empty, a dash, `?`, `n/a`, `NA`.
///
/// # Errors
/// [`NotationError`] for everything that is no known form, or can be read in two ways.
///
/// # Example
/// ```
/// use calibriar::notation::{Context, DecimalMark, Quantity, Unit, read_cell};
///
/// let millimetres =
///     Context { quantity: Quantity::Length, unit: Unit::Millimetre, mark: DecimalMark::Point };
/// let bit = read_cell("11/64", &millimetres)?.expect("a size");
/// assert_eq!(bit.value, 11.0 / 64.0 * 25.4);
/// assert_eq!(bit.step, 25.4 / 64.0);
/// assert!(read_cell("1 2/0", &millimetres).is_err());
/// # Ok::<(), calibriar::notation::NotationError>(())
/// ```
pub fn read_cell<'a>(
    text: &'a str,
    context: &Context,
) -> Result<Option<Written<'a>>, NotationError> {
    let quantity = context.quantity;
    let text = text.trim();
    if text.len() > LONGEST {
        return Err(NotationError::TooLong { quantity });
    }
    let (text, braces) = split_braces(text)?;
    if is_missing(text) {
        return Ok(None);
    }
    if is_spreadsheet_error(text) {
        return Err(NotationError::SpreadsheetError);
    }
    let written = if let Some((low, high)) = text.split_once("..") {
        gauge_pair(low.trim(), high.trim(), context)?
    } else if let Some((centre, half)) = split_plus_minus(text) {
        plus_minus(centre.trim(), half.trim(), context)?
    } else {
        let size = read_size(text, quantity, context.mark, context.unit)?;
        let unit = unit_of(&size, context)?;
        let scale = unit.in_base_units();
        Written {
            value: size.value * scale,
            standard_uncertainty: None,
            step: size.step * scale,
            unit,
            plain: size.bare,
            braces: None,
        }
    };
    if !written.value.is_finite() {
        return Err(NotationError::NotFinite { quantity });
    }
    Ok(Some(Written { braces, ..written }))
}

fn is_missing(text: &str) -> bool {
    matches!(text, "" | "-" | "–" | "—" | "?")
        || text.eq_ignore_ascii_case("n/a")
        || text.eq_ignore_ascii_case("na")
}

/// `#N/A`, `#DIV/0!`, `#REF!` in any language, `Err:502`: no drill is named by letters after a `#`.
fn is_spreadsheet_error(text: &str) -> bool {
    let after_mark = text.strip_prefix('#').and_then(|rest| rest.chars().next());
    let code = text.get(..4).filter(|t| t.eq_ignore_ascii_case("err:"));
    after_mark.is_some_and(char::is_alphabetic) || code.is_some()
}

fn split_braces(text: &str) -> Result<(&str, Option<&str>), NotationError> {
    let Some(at) = text.find(['{', '}']) else {
        return Ok((text, None));
    };
    let inner = text[at..]
        .strip_prefix('{')
        .and_then(|t| t.strip_suffix('}'))
        .ok_or(NotationError::Braces)?;
    if inner.contains(['{', '}']) {
        return Err(NotationError::Braces);
    }
    Ok((text[..at].trim_end(), Some(inner.trim())))
}

fn split_plus_minus(text: &str) -> Option<(&str, &str)> {
    ["+-", "+/-", "±"]
        .into_iter()
        .find_map(|mark| text.split_once(mark))
}

/// The unit a size is in: its own, or the column's; refused where it measures something else.
fn unit_of(size: &Size, context: &Context) -> Result<Unit, NotationError> {
    let unit = size.unit.unwrap_or(context.unit);
    if unit.quantity() != context.quantity {
        return Err(NotationError::WrongUnit {
            unit,
            quantity: context.quantity,
        });
    }
    Ok(unit)
}

/// Two sizes of one cell share the unit that only one of them names: `4.0..4.2 mm`.
fn share_unit(first: &mut Size, second: &mut Size) {
    match (first.bare, second.bare) {
        (true, false) => first.unit = second.unit,
        (false, true) => second.unit = first.unit,
        _ => {}
    }
}

fn gauge_pair(low: &str, high: &str, context: &Context) -> Result<Written<'static>, NotationError> {
    if low.is_empty() || high.is_empty() {
        return Err(NotationError::GaugeRange);
    }
    let mut low = read_size(low, context.quantity, context.mark, context.unit)?;
    let mut high = read_size(high, context.quantity, context.mark, context.unit)?;
    share_unit(&mut low, &mut high);
    let unit = unit_of(&low, context)?;
    let low = low.value * unit.in_base_units();
    let high = high.value * unit_of(&high, context)?.in_base_units();
    if low >= high {
        return Err(NotationError::GaugeRange);
    }
    Ok(Written {
        value: low + (high - low) / 2.0,
        standard_uncertainty: Some((high - low) / 12f64.sqrt()),
        step: high - low,
        unit,
        plain: false,
        braces: None,
    })
}

fn plus_minus(
    centre: &str,
    half: &str,
    context: &Context,
) -> Result<Written<'static>, NotationError> {
    let mut centre = read_size(centre, context.quantity, context.mark, context.unit)?;
    let mut half = read_size(half, context.quantity, context.mark, context.unit)
        .map_err(|_| NotationError::HalfWidth)?;
    share_unit(&mut centre, &mut half);
    let unit = unit_of(&centre, context)?;
    let half = half.value * unit_of(&half, context)?.in_base_units();
    let value = centre.value * unit.in_base_units();
    if !is_uncertainty_of(half, value, context.quantity) {
        return Err(NotationError::HalfWidth);
    }
    Ok(Written {
        value,
        standard_uncertainty: Some(half / 3f64.sqrt()),
        step: centre.step * unit.in_base_units(),
        unit,
        plain: false,
        braces: None,
    })
}

/// Whether a number can be the half-width or standard uncertainty of a value: positive, and, for a
/// size, less than the size itself; for others, less than any of them ever is.
pub fn is_uncertainty_of(uncertainty: f64, value: f64, quantity: Quantity) -> bool {
    let most = match quantity {
        Quantity::Length | Quantity::Mass => value.abs(),
        Quantity::Angle | Quantity::Colour => 1000.0,
    };
    uncertainty > 0.0 && uncertainty < most
}

/// Whether somebody gave the uncertainty of a reading, told from the reading as kept: the text, the
/// unit it was written in and the standard uncertainty in the base unit. One that is exactly that of
/// a step (its own as written, or a decimal step as its column may have) was not given.
///
/// # Example
/// ```
/// use calibriar::notation::{Unit, is_given};
///
/// let step = 0.1 / 12f64.sqrt();
/// assert!(!is_given("4.6", Unit::Millimetre, step));
/// assert!(!is_given("11/64", Unit::Inch, 25.4 / 64.0 / 12f64.sqrt()));
/// assert!(is_given("4.6", Unit::Millimetre, 0.05));
/// assert!(is_given("4.6 +- 0.1", Unit::Millimetre, 0.1 / 3f64.sqrt()));
/// ```
pub fn is_given(text: &str, unit: Unit, uncertainty: f64) -> bool {
    // Uncertainties in other units were scaled, which costs a digit or two.
    let same = |step: f64| (step - uncertainty * 12f64.sqrt()).abs() <= 1e-9 * step;
    let in_unit = (uncertainty * 12f64.sqrt() / unit.in_base_units()).log10();
    if same(10f64.powf(in_unit.round()) * unit.in_base_units()) && !text.contains("..") {
        return split_plus_minus(text).is_some();
    }
    let read = |mark| {
        let context = Context {
            quantity: unit.quantity(),
            unit,
            mark,
        };
        read_cell(text, &context).ok().flatten()
    };
    let written = [DecimalMark::Point, DecimalMark::Comma]
        .into_iter()
        .find_map(read);
    written.is_none_or(|written| written.standard_uncertainty.is_some() || !same(written.step))
}

#[cfg(test)]
mod tests {
    use super::*;

    const MM: Context = Context {
        quantity: Quantity::Length,
        unit: Unit::Millimetre,
        mark: DecimalMark::Point,
    };

    #[track_caller]
    fn reads(text: &str, context: &Context, value: f64, u: Option<f64>, step: f64) {
        let got = read_cell(text, context).unwrap().expect("a size");
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-14 * b.abs();
        assert!(
            near(got.value, value),
            "{text}: {} is not {value}",
            got.value
        );
        assert!(
            near(got.step, step),
            "{text}: step {} is not {step}",
            got.step
        );
        match (got.standard_uncertainty, u) {
            (Some(a), Some(b)) => assert!(near(a, b), "{text}: u {a} is not {b}"),
            (a, b) => assert_eq!(a, b, "{text}"),
        }
    }

    #[track_caller]
    fn refuses(text: &str, context: &Context, message: &str) {
        match read_cell(text, context) {
            Ok(got) => panic!("{text} was read as {got:?}"),
            Err(error) => {
                let shown = error.to_string();
                assert!(shown.contains(message), "{text}: {shown}");
            }
        }
    }

    #[test]
    fn every_form_of_the_formats_page() {
        let inch = 25.4;
        reads("4.6", &MM, 4.6, None, 0.1);
        reads(" 4.6 mm ", &MM, 4.6, None, 0.1);
        reads("4.6mm", &MM, 4.6, None, 0.1);
        reads("0.46 cm", &MM, 4.6, None, 0.1);
        reads(
            "0.181",
            &Context {
                unit: Unit::Inch,
                ..MM
            },
            0.181 * inch,
            None,
            0.001 * inch,
        );
        reads("0.181 in", &MM, 0.181 * inch, None, 0.001 * inch);
        reads("0.181\"", &MM, 0.181 * inch, None, 0.001 * inch);
        reads(".181\"", &MM, 0.181 * inch, None, 0.001 * inch);
        reads("11/64", &MM, 11.0 / 64.0 * inch, None, inch / 64.0);
        reads("11/64\"", &MM, 11.0 / 64.0 * inch, None, inch / 64.0);
        reads("1 3/8", &MM, 1.375 * inch, None, inch / 8.0);
        reads("1-3/8 in", &MM, 1.375 * inch, None, inch / 8.0);
        reads("2 1/2", &MM, 2.5 * inch, None, inch / 2.0);
        reads("2½", &MM, 2.5 * inch, None, inch / 2.0);
        reads("2 ½\"", &MM, 2.5 * inch, None, inch / 2.0);
        reads("#22", &MM, 0.157 * inch, None, (0.159 - 0.154) / 2.0 * inch);
        reads(
            "no. 22",
            &MM,
            0.157 * inch,
            None,
            (0.159 - 0.154) / 2.0 * inch,
        );
        reads(
            "letter F",
            &MM,
            0.257 * inch,
            None,
            (0.261 - 0.250) / 2.0 * inch,
        );
        let (low, high) = (5.0 / 32.0 * inch, 11.0 / 64.0 * inch);
        let width = high - low;
        reads(
            "5/32..11/64",
            &MM,
            (low + high) / 2.0,
            Some(width / 12f64.sqrt()),
            width,
        );
        reads("4.0..4.2 mm", &MM, 4.1, Some(0.2 / 12f64.sqrt()), 0.2);
        reads("4.6 +- 0.1", &MM, 4.6, Some(0.1 / 3f64.sqrt()), 0.1);
        reads("4.6 ± 0.1", &MM, 4.6, Some(0.1 / 3f64.sqrt()), 0.1);
        reads(
            "0.18 ± 0.01 in",
            &MM,
            0.18 * inch,
            Some(0.01 * inch / 3f64.sqrt()),
            0.01 * inch,
        );
        let comma = Context {
            mark: DecimalMark::Comma,
            ..MM
        };
        reads("4,6", &comma, 4.6, None, 0.1);
        reads("4,6 ± 0,1", &comma, 4.6, Some(0.1 / 3f64.sqrt()), 0.1);
        let ounces = Context {
            quantity: Quantity::Mass,
            unit: Unit::Gram,
            ..MM
        };
        reads(
            "1 1/2 oz",
            &ounces,
            1.5 * 28.349523125,
            None,
            0.5 * 28.349523125,
        );
        let angle = Context {
            quantity: Quantity::Angle,
            unit: Unit::Degree,
            ..MM
        };
        reads("-3.5°", &angle, -3.5, None, 0.1);
        reads("−12", &angle, -12.0, None, 1.0);
    }

    #[test]
    fn braces_carry_the_state_of_any_form() {
        for text in [
            "4.6 {worn}",
            "11/64{worn}",
            "5/32..11/64 { worn }",
            "4.6 ± 0.1 {worn}",
        ] {
            assert_eq!(
                read_cell(text, &MM).unwrap().unwrap().braces,
                Some("worn"),
                "{text}"
            );
        }
        refuses("4.6 {worn", &MM, "braces");
        refuses("{worn} 4.6", &MM, "braces");
        refuses("4.6 {worn} {factory}", &MM, "braces");
    }

    #[test]
    fn what_was_not_measured_is_nothing() {
        for text in ["", "  ", "-", "–", "?", "n/a", "N/A", "NA", "na"] {
            assert_eq!(read_cell(text, &MM).unwrap(), None, "{text:?}");
        }
    }

    #[test]
    fn ambiguous_text_is_refused_with_what_was_expected() {
        refuses("4,6", &MM, "decimal mark is a point");
        refuses("1,234", &MM, "decimal mark is a point");
        refuses(
            "4.6",
            &Context {
                mark: DecimalMark::Comma,
                ..MM
            },
            "decimal mark is a comma",
        );
        refuses("1 2/0", &MM, "zero denominator");
        refuses("5/0", &MM, "zero denominator");
        refuses("5 1/2 1/4", &MM, "more than one number");
        refuses("1/2 1/4", &MM, "more than one number");
        refuses("4.6 4.7", &MM, "more than one number");
        refuses("1 5/4", &MM, "less than 1");
        refuses("22#", &MM, "written #22");
        refuses("#", &MM, "written #22");
        refuses("#2 2", &MM, "written #22");
        refuses("#81", &MM, "no such drill");
        refuses("#0", &MM, "no such drill");
        refuses("letter AA", &MM, "letter F");
        refuses("4.6..", &MM, "two ends");
        refuses("11/64..5/32", &MM, "smaller first");
        refuses("4.6 ± -0.1", &MM, "half-width");
        refuses("4.6 ± 0", &MM, "half-width");
        refuses("4.6 ±", &MM, "half-width");
        refuses("4.6 ± 4.6", &MM, "half-width");
        refuses("4.6 ± 1e300", &MM, "half-width");
        let angle = Context {
            quantity: Quantity::Angle,
            unit: Unit::Degree,
            ..MM
        };
        refuses("0e999", &angle, "not a finite number");
        refuses("4.6 kg", &MM, "expected a length");
        refuses(
            "4.6 g",
            &MM,
            "the unit g does not fit; expected mm, cm or in",
        );
        refuses("1'", &MM, "expected a length");
        refuses("-1/2", &MM, "expected a length");
        refuses("4 .6", &MM, "more than one number");
        refuses(
            "abc",
            &MM,
            "expected a length such as 4.6, 0.181 in, 11/64 or #22",
        );
        for text in ["NaN", "inf", "-inf", "Infinity", "1e999"] {
            refuses(text, &MM, "not a finite number");
        }
        let weight = Context {
            quantity: Quantity::Mass,
            unit: Unit::Gram,
            ..MM
        };
        refuses(
            "#22",
            &weight,
            "a drill size is read as inches, but this column is in g",
        );
        let ounces = Context {
            unit: Unit::Ounce,
            ..weight
        };
        refuses(
            "1 1/2",
            &ounces,
            "a bare fraction is read as inches, but this column is in oz",
        );
        for text in ["approx 4.5", "4.5?", "~4.4", "c. 4"] {
            refuses(text, &MM, "such as 4.5 ± 0.3");
        }
        refuses(&"9".repeat(500), &MM, "far too long");
    }
}
