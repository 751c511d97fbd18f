//! Numbers as people read them.

use crate::catalogue::Kind;
use crate::norm::Band;

/// A number with as many decimals as its spread makes meaningful: two digits of the spread, and
/// never finer than a caliper reads.
pub fn sized(value: f64, spread: f64) -> String {
    /// A number of more digits than that is no size of a pipe: a band without an end.
    const ENDLESS: f64 = 1e7;
    if value.abs() >= ENDLESS {
        return format!("{value:.0e}");
    }
    let decimals = decimals_for(spread);
    let text = format!("{value:.decimals$}");
    // -0.0 is 0.0 to people.
    if text
        .trim_start_matches('-')
        .chars()
        .all(|c| c == '0' || c == '.')
    {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

/// A small number for people, such as an uncertainty: two digits that mean something.
pub fn fine(value: f64) -> String {
    let magnitude = value.abs().log10().floor();
    match magnitude.is_finite() && magnitude < 7.0 {
        true => format!("{value:.*}", (1.0 - magnitude).clamp(0.0, 9.0) as usize),
        false if value == 0.0 => "0".to_owned(),
        false => format!("{value:.0e}"),
    }
}

/// A reading for people: all the digits that were read, and as many as what it is compared with.
pub fn reading(value: f64, uncertainty: f64, spread: f64) -> String {
    let step = uncertainty * 12f64.sqrt();
    let read = (-step.log10() - 1e-9).ceil();
    let read = if read.is_finite() {
        read.clamp(0.0, 3.0) as usize
    } else {
        0
    };
    let decimals = read.max(decimals_for(spread));
    match value.abs() < 1e7 {
        true => format!("{value:.decimals$}"),
        false => sized(value, spread),
    }
}

fn decimals_for(spread: f64) -> usize {
    let magnitude = spread.abs().log10().floor();
    if magnitude.is_finite() {
        (1.0 - magnitude).clamp(0.0, 2.0) as usize
    } else {
        2
    }
}

/// A band for people: `3.91 to 4.38`.
pub fn band(low: f64, high: f64, spread: f64) -> String {
    format!("{} to {}", sized(low, spread), sized(high, spread))
}

/// A number with its sign: `+0.21`, `0.00`.
pub fn signed(value: f64, spread: f64) -> String {
    let text = sized(value, spread);
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if text.starts_with('-') || zero {
        text
    } else {
        format!("+{text}")
    }
}

/// A probability for people.
pub fn probability(p: f64) -> String {
    if p < 0.0001 {
        "<0.0001".to_owned()
    } else {
        format!("{p:.4}")
    }
}

/// A spread for people: `2.1 %` of a ratio, else in the unit.
pub fn deviation(kind: Kind, spread: f64) -> String {
    match kind {
        Kind::Ratio => format!("{:.1} %", 100.0 * spread),
        Kind::Interval => sized(spread, spread),
    }
}

/// The size that two digits of a number stand for that is compared with a band.
pub fn grain(band: Band) -> f64 {
    (band.high - band.low) / 4.0
}

/// The same where there may be no band: a hundredth of the number.
pub fn grain_or(band: Option<Band>, number: f64) -> f64 {
    band.map_or(0.01 * number.abs(), grain)
}
