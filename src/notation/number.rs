//! One written size: a decimal, a fraction, a mixed number or a drill.

use super::drill::{self, DrillSeries};
use super::{NotationError, Quantity, Unit};

/// The decimal mark of a file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DecimalMark {
    /// `4.6`
    #[default]
    Point,
    /// `4,6`
    Comma,
}

/// Powers of ten that are exact in an `f64`.
const POWERS_OF_TEN: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// Reads the plainest cell, digits with at most one point, and counts the digits after it.
///
/// Nothing else is accepted: no sign, no blank, no exponent, at most 15 digits. With that few
/// digits both the integer and the power of ten are exact, so the one division rounds correctly
/// and the value is the `f64` nearest to the text. This is the path of a million plain cells.
pub fn plain_decimal(text: &[u8]) -> Option<(f64, u8)> {
    digits_and_mark(text, b'.')
}

/// Reads a plain decimal with the file's mark, and a minus before it where there is one; value and
/// step as [`read_size`] gives them.
pub(crate) fn plain_signed(text: &str, mark: DecimalMark) -> Option<(f64, f64)> {
    let mark = match mark {
        DecimalMark::Point => b'.',
        DecimalMark::Comma => b',',
    };
    let digits = text.strip_prefix('-');
    let (value, decimals) = digits_and_mark(digits.unwrap_or(text).as_bytes(), mark)?;
    let value = if digits.is_some() { -value } else { value };
    Some((value, step_of(0, usize::from(decimals))))
}

/// The step of the last of so many decimals, times a power of ten.
fn step_of(exponent: i32, decimals: usize) -> f64 {
    10f64.powi(exponent - i32::try_from(decimals).unwrap_or(i32::MAX).min(400))
}

fn digits_and_mark(text: &[u8], mark: u8) -> Option<(f64, u8)> {
    if text.len() > 16 {
        return None;
    }
    let (mut digits, mut count, mut marks, mut decimals) = (0u64, 0u8, 0u8, 0u8);
    let mut plain = true;
    // Without a jump: where the mark stands cannot be foreseen.
    for &byte in text {
        let digit = byte.wrapping_sub(b'0');
        let (is_digit, is_mark) = (digit < 10, byte == mark);
        digits = match is_digit {
            true => digits * 10 + u64::from(digit),
            false => digits,
        };
        count += u8::from(is_digit);
        decimals += u8::from(is_digit & (marks > 0));
        marks += u8::from(is_mark);
        plain &= is_digit | is_mark;
    }
    let well_marked = marks == 0 || marks == 1 && decimals > 0;
    if !plain || !well_marked || count == 0 || count > 15 {
        return None;
    }
    Some((
        digits as f64 / POWERS_OF_TEN[usize::from(decimals)],
        decimals,
    ))
}

/// A size as written, in the unit it was written in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Size {
    pub(super) value: f64,
    /// The step of the writing: 0.1 for `4.6`, 1/64 for `11/64`.
    pub(super) step: f64,
    /// The unit that stands in the text, or that its form implies.
    pub(super) unit: Option<Unit>,
    /// A plain decimal without a unit of its own.
    pub(super) bare: bool,
}

/// Reads one size. `quantity` is for the messages, and says whether inch forms fit.
pub(super) fn read_size(
    text: &str,
    quantity: Quantity,
    mark: DecimalMark,
    column_unit: Unit,
) -> Result<Size, NotationError> {
    let text = text.trim();
    if is_unsure(text) {
        return Err(NotationError::Unsure);
    }
    if let Some(size) = read_drill(text)? {
        if quantity != Quantity::Length {
            return Err(NotationError::InchFormElsewhere {
                form: "drill size",
                unit: column_unit,
            });
        }
        return Ok(size);
    }
    let (number, unit) = split_unit(text);
    let tokens = fraction_tokens(number);
    let inch_form = tokens.contains('/');
    let (value, step) = if inch_form {
        read_fraction(&tokens, quantity)?
    } else {
        read_decimal(number.trim(), quantity, mark)?
    };
    let unit = match unit {
        None if inch_form && quantity != Quantity::Length => {
            return Err(NotationError::InchFormElsewhere {
                form: "bare fraction",
                unit: column_unit,
            });
        }
        None if inch_form => Some(Unit::Inch),
        unit => unit,
    };
    Ok(Size {
        value,
        step,
        unit,
        bare: !inch_form && unit.is_none(),
    })
}

/// `approx 4.5`, `~4.5`, `4.5?`: a number, but nobody says how good.
fn is_unsure(text: &str) -> bool {
    let lower = text.to_lowercase();
    let marks = ["approx", "about", "circa", "ca", "c.", "~", "≈"];
    let marked = marks.iter().any(|mark| lower.starts_with(mark)) || lower.ends_with('?');
    marked && lower.contains(|c: char| c.is_ascii_digit())
}

/// `#22`, `no. 22`, `letter F`. `Ok(None)` when the text is no drill at all.
fn read_drill(text: &str) -> Result<Option<Size>, NotationError> {
    let lower = text.to_ascii_lowercase();
    let (series, name) = if let Some(rest) = lower.strip_prefix('#') {
        (DrillSeries::Number, rest.trim())
    } else if let Some(rest) = lower.strip_prefix("letter ") {
        (DrillSeries::Letter, rest.trim())
    } else if let Some(rest) = lower
        .strip_prefix("no.")
        .or_else(|| lower.strip_prefix("no "))
    {
        (DrillSeries::Number, rest.trim())
    } else if lower.contains('#') {
        return Err(NotationError::DrillMark);
    } else {
        return Ok(None);
    };
    let well_formed = match series {
        DrillSeries::Number => !name.is_empty() && name.bytes().all(|b| b.is_ascii_digit()),
        _ => name.len() == 1 && name.bytes().all(|b| b.is_ascii_alphabetic()),
    };
    if !well_formed {
        return Err(NotationError::DrillMark);
    }
    let drill = drill::find(series, name).ok_or(NotationError::UnknownDrill)?;
    Ok(Some(Size {
        value: drill.inches,
        step: drill.step_inches,
        unit: Some(Unit::Inch),
        bare: false,
    }))
}

/// Cuts the unit off the end of `4.6 mm`, `0.181"`, `12°`.
fn split_unit(text: &str) -> (&str, Option<Unit>) {
    let end = text
        .rfind(|c: char| c.is_ascii_digit() || is_vulgar_fraction(c))
        .map_or(0, |at| {
            at + text[at..].chars().next().map_or(0, char::len_utf8)
        });
    match Unit::parse(&text[end..]) {
        Some(unit) if end > 0 => (&text[..end], Some(unit)),
        _ => (text, None),
    }
}

const VULGAR_FRACTIONS: [(char, &str); 15] = [
    ('½', "1/2"),
    ('¼', "1/4"),
    ('¾', "3/4"),
    ('⅛', "1/8"),
    ('⅜', "3/8"),
    ('⅝', "5/8"),
    ('⅞', "7/8"),
    ('⅓', "1/3"),
    ('⅔', "2/3"),
    ('⅕', "1/5"),
    ('⅖', "2/5"),
    ('⅗', "3/5"),
    ('⅘', "4/5"),
    ('⅙', "1/6"),
    ('⅚', "5/6"),
];

fn is_vulgar_fraction(c: char) -> bool {
    VULGAR_FRACTIONS.iter().any(|&(v, _)| v == c)
}

/// Spreadsheets turn `1/2` into one character; this turns it back, set off by a blank.
fn fraction_tokens(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match VULGAR_FRACTIONS.iter().find(|&&(v, _)| v == c) {
            Some((_, plain)) => {
                out.push(' ');
                out.push_str(plain);
            }
            None if c == '\u{2044}' => out.push('/'),
            None => out.push(c),
        }
    }
    out
}

/// `11/64`, `1 3/8`, `1-3/8`: value and the step 1/denominator.
fn read_fraction(text: &str, quantity: Quantity) -> Result<(f64, f64), NotationError> {
    let not_a_size = || NotationError::NotASize { quantity };
    // `1-3/8` and `1 - 3/8` are mixed numbers; a leading minus is left to fail as no number.
    let parts: Vec<&str> = text
        .split(|c: char| c.is_whitespace() || c == '-')
        .filter(|p| !p.is_empty())
        .collect();
    if text.trim_start().starts_with('-') || text.matches('-').count() > 1 {
        return Err(not_a_size());
    }
    let natural = |t: &str| -> Result<f64, NotationError> {
        if t.is_empty() || t.len() > 6 || !t.bytes().all(|b| b.is_ascii_digit()) {
            return Err(not_a_size());
        }
        t.parse().map_err(|_| not_a_size())
    };
    let fraction = |t: &str| -> Result<(f64, f64), NotationError> {
        let (above, below) = t.split_once('/').ok_or_else(not_a_size)?;
        let (above, below) = (natural(above)?, natural(below)?);
        if below == 0.0 {
            return Err(NotationError::ZeroDenominator);
        }
        Ok((above, below))
    };
    match parts.as_slice() {
        [one] => fraction(one).map(|(a, b)| (a / b, 1.0 / b)),
        [whole, part] if !whole.contains('/') => {
            let whole = natural(whole)?;
            let (above, below) = fraction(part)?;
            if above >= below {
                return Err(NotationError::ImproperMixed);
            }
            Ok((whole + above / below, 1.0 / below))
        }
        [_, _, ..] => Err(NotationError::SeveralNumbers),
        [] => Err(not_a_size()),
    }
}

/// `4.6`, `-3`, `.181`, `1e-2`: value and the step of its last digit.
fn read_decimal(
    text: &str,
    quantity: Quantity,
    mark: DecimalMark,
) -> Result<(f64, f64), NotationError> {
    let not_a_size = NotationError::NotASize { quantity };
    let (here, other, error) = match mark {
        DecimalMark::Point => ('.', ',', NotationError::DecimalComma),
        DecimalMark::Comma => (',', '.', NotationError::DecimalPoint),
    };
    // The true minus sign of typographers is a minus.
    let text = text.replace('\u{2212}', "-");
    let digits_only = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
    let (mantissa, exponent) = match text.find(['e', 'E']) {
        Some(at) => (&text[..at], &text[at + 1..]),
        None => (text.as_str(), "0"),
    };
    let unsigned = mantissa.strip_prefix(['-', '+']).unwrap_or(mantissa);
    let marks_and_digits = unsigned
        .bytes()
        .all(|b| b.is_ascii_digit() || b".,".contains(&b));
    if marks_and_digits && unsigned.contains(other) && unsigned.len() > 1 {
        return Err(error);
    }
    let (whole, decimals) = unsigned.split_once(here).unwrap_or((unsigned, ""));
    if !digits_only(whole) || !digits_only(decimals) || whole.len() + decimals.len() == 0 {
        let lower = unsigned.to_ascii_lowercase();
        if ["nan", "inf", "infinity", "∞"].contains(&lower.as_str()) {
            return Err(NotationError::NotFinite { quantity });
        }
        let mut words = unsigned.split_whitespace();
        let several = unsigned.contains(char::is_whitespace)
            && words.all(|w| w.bytes().all(|b| b.is_ascii_digit() || b == here as u8));
        return Err(if several {
            NotationError::SeveralNumbers
        } else {
            not_a_size
        });
    }
    let exponent_digits = exponent.strip_prefix(['-', '+']).unwrap_or(exponent);
    if exponent_digits.is_empty() || exponent_digits.len() > 4 || !digits_only(exponent_digits) {
        return Err(not_a_size);
    }
    let value: f64 = text
        .replace(here, ".")
        .parse()
        .map_err(|_| not_a_size.clone())?;
    if !value.is_finite() {
        return Err(NotationError::NotFinite { quantity });
    }
    let exponent: i32 = exponent.parse().map_err(|_| not_a_size)?;
    let step = step_of(exponent, decimals.len());
    if !step.is_finite() || step == 0.0 {
        return Err(NotationError::NotFinite { quantity });
    }
    Ok((value, step))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_decimals_round_as_the_standard_parser_does() {
        for text in [
            "0",
            "7",
            "46.09",
            "0.01",
            "123456789.012345",
            "000000000000001",
            "4503.5",
        ] {
            let (value, _) = plain_decimal(text.as_bytes()).unwrap();
            assert_eq!(value, text.parse::<f64>().unwrap(), "{text}");
        }
        assert_eq!(plain_decimal(b"46.09"), Some((46.09, 2)));
        for text in [
            "",
            ".",
            "1.",
            "-1",
            "1e3",
            "1 2",
            "1.2.3",
            "1234567890123456",
            "0x1",
            "٣",
        ] {
            assert_eq!(plain_decimal(text.as_bytes()), None, "{text}");
        }
    }
}
