//! The cells of a point of a trace: station, reading and unit, from text to numbers.
//!
//! A collection keeps the texts and reads them here again, so a file and the store give the same.

use super::fault::FaultKind;
use super::trace::{TraceReading, WrittenPoint};
use super::wide::missing_as_empty;
use crate::catalogue::{NotAFeature, TraceKind, fold};
use crate::form::colour::{Spot, SpotColour, White};
use crate::notation::{Context, DecimalMark, Quantity, Unit, plain_signed, read_cell};

/// What can be wrong with a row of a trace.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TraceFault {
    /// No feature.
    #[error(transparent)]
    Feature(#[from] NotAFeature),
    /// No repeat.
    #[error("not a repeat; expected a whole number from 1 up")]
    Repeat,
    /// A reading without its station.
    #[error("the row has no station; expected {expected}")]
    NoStation {
        /// What stations are.
        expected: &'static str,
    },
    /// A unit that is no length.
    #[error("not a unit of length; expected mm, cm or in")]
    Unit,
    /// A unit that is no space of colours.
    #[error(
        "not how a colour is given; expected sRGB, Lab, Lab D65, Lab D55, Lab D50 or Lab A in \
         the column unit"
    )]
    ColourUnit,
    /// A form that says more than one number.
    #[error("expected one number; state and uncertainty of a trace stand in columns of their own")]
    NotOneNumber,
    /// A fraction or a drill that does not say that it is in inches.
    #[error(
        "a fraction or drill without its unit; write its mark, such as 1/8 in, or `in` in the \
         column unit"
    )]
    BareInchForm,
    /// Rows of one trace in different units, of which this one does not name its own.
    #[error(
        "other rows of this trace are in another unit; expected the unit in this row too, which \
         was read as {}",
        .read_as.symbol()
    )]
    UnclearUnit {
        /// The unit that it was read in.
        read_as: Unit,
    },
    /// No uncertainty.
    #[error("not a standard uncertainty; expected a positive number in the unit of the reading")]
    Uncertainty,
    /// An uncertainty of a colour.
    #[error("the spots themselves tell how well a colour is known; expected an empty cell")]
    ColourUncertainty,
    /// No colour.
    #[error("not a colour; expected {expected}")]
    Colour {
        /// Forms to show.
        expected: &'static str,
    },
    /// A coordinate of a colour out of its range.
    #[error("{coordinate} is {value}; expected {low} to {high}")]
    ColourRange {
        /// Which.
        coordinate: &'static str,
        /// What it is.
        value: f64,
        /// The least that it can be.
        low: f64,
        /// The most.
        high: f64,
    },
    /// An `@` that is not that of a reference card.
    #[error("expected a spot's name, or a neutral card and its lightness, such as card@96.5")]
    Card,
    /// A row that says something else of its trace than an earlier one.
    #[error(
        "row {first_row} says `{}` of this trace; expected the same in all its rows",
        super::short(first)
    )]
    Contradiction {
        /// What the earlier row says.
        first: String,
        /// The earlier row.
        first_row: usize,
    },
    /// A heading that no table of traces has.
    #[error("no column of a table of traces{}", what_to_do(heading, nearest))]
    UnknownColumn {
        /// The heading.
        heading: String,
        /// The known columns that look most like it.
        nearest: Vec<String>,
    },
    /// A trace of nobody.
    #[error(
        "no such specimen{}; a trace belongs to a piece that was measured",
        super::fault::suggestion(nearest)
    )]
    UnknownSpecimen {
        /// The specimens whose names look most like it.
        nearest: Vec<String>,
    },
}

fn what_to_do(heading: &str, nearest: &[String]) -> String {
    let heading = super::short(heading);
    let renamed = match nearest.first() {
        Some(name) => format!("--column '{heading}={name}' reads it as that, "),
        None => String::new(),
    };
    let suggestion = super::fault::suggestion(nearest);
    format!("{suggestion}; {renamed}--skip '{heading}' leaves it out")
}

/// Which cell of a point a fault is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum PointCell {
    Station,
    Reading,
    Unit,
}

/// One row as read.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum ReadPoint {
    Length(LengthPoint),
    /// Boxed: it is larger than a length, and much rarer.
    Spot(Box<Spot>),
}

/// A point of an outline or a section.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct LengthPoint {
    /// In mm, or in degrees for a section.
    pub(super) station: f64,
    /// In mm.
    pub(super) reading: f64,
    /// The step in which the reading is written, in mm.
    step: f64,
    /// The unit that the reading is written in.
    pub(super) unit: Unit,
    /// Whether the row says so.
    pub(super) says_unit: bool,
}

/// Reads one row; `None` where nothing was read there, or where `bad` says why not.
pub(super) fn read_point(
    kind: TraceKind,
    cells: WrittenPoint<'_>,
    mark: DecimalMark,
    bad: &mut Vec<(PointCell, FaultKind)>,
) -> Option<ReadPoint> {
    let before = bad.len();
    let point = match kind {
        TraceKind::Colour => spot(cells, mark, bad).map(|spot| ReadPoint::Spot(Box::new(spot))),
        TraceKind::Outline | TraceKind::Section => {
            length_point(kind, cells, mark, bad).map(ReadPoint::Length)
        }
    };
    point.filter(|_| bad.len() == before)
}

/// The reading of a whole trace from its rows, all of one kind; `uncertainty` is as given, in mm.
pub(super) fn assemble(
    kind: TraceKind,
    points: impl Iterator<Item = ReadPoint>,
    uncertainty: Option<f64>,
) -> TraceReading {
    let (mut stations, mut readings, mut spots) = (Vec::new(), Vec::new(), Vec::new());
    let mut finest = f64::INFINITY;
    for point in points {
        match point {
            ReadPoint::Spot(spot) => spots.push(*spot),
            ReadPoint::Length(point) => {
                stations.push(point.station);
                readings.push(point.reading);
                finest = finest.min(point.step);
            }
        }
    }
    match kind {
        TraceKind::Colour => TraceReading::Spots(spots),
        TraceKind::Outline | TraceKind::Section => TraceReading::Points {
            stations,
            readings,
            uncertainty: uncertainty.unwrap_or(finest / 12f64.sqrt()),
        },
    }
}

/// A standard uncertainty in the unit of its reading, in mm.
pub(super) fn uncertainty(text: &str, unit: Unit, mark: DecimalMark) -> Result<f64, FaultKind> {
    let read = length(text, Some(unit), mark).ok().flatten();
    let positive = read.map(|(value, _, _)| value).filter(|&value| value > 0.0);
    positive.ok_or(TraceFault::Uncertainty.into())
}

fn length_point(
    kind: TraceKind,
    cells: WrittenPoint<'_>,
    mark: DecimalMark,
    bad: &mut Vec<(PointCell, FaultKind)>,
) -> Option<LengthPoint> {
    let given = match cells.unit {
        "" => None,
        text => {
            let unit = Unit::parse(text).filter(|u| u.quantity() == Quantity::Length);
            if unit.is_none() {
                bad.push((PointCell::Unit, TraceFault::Unit.into()));
                return None;
            }
            unit
        }
    };
    if let Some(plain) = plain_point(kind, cells, given, mark) {
        return Some(plain);
    }
    // Station and reading of an outline share the unit that only one of them names.
    let of_station = || named_unit(cells.station).filter(|_| kind == TraceKind::Outline);
    let unit = given
        .or_else(|| named_unit(cells.reading))
        .or_else(of_station);
    let reading = length(cells.reading, unit, mark);
    // Where nothing was read there is no point, whatever the station.
    if reading == Ok(None) {
        return None;
    }
    let (station, expected) = match kind {
        TraceKind::Section => (angle(cells.station, mark), "an angle in degrees"),
        _ => {
            let station = length(cells.station, unit, mark);
            let station = station.map(|found| found.map(|(value, ..)| value));
            (station, "the distance along the axis")
        }
    };
    let station = match station {
        Ok(Some(station)) => Some(station),
        Ok(None) => {
            let kind = TraceFault::NoStation { expected };
            bad.push((PointCell::Station, kind.into()));
            None
        }
        Err(kind) => {
            bad.push((PointCell::Station, kind));
            None
        }
    };
    match reading {
        Ok(Some((radius, ..))) if kind == TraceKind::Section && radius <= 0.0 => {
            bad.push((PointCell::Reading, FaultKind::NotPositive));
            None
        }
        Ok(Some((reading, step, read_in))) => Some(LengthPoint {
            station: station?,
            reading,
            step,
            unit: read_in,
            says_unit: unit.is_some(),
        }),
        Ok(None) => None,
        Err(kind) => {
            bad.push((PointCell::Reading, kind));
            None
        }
    }
}

/// A point of two plain decimals, which is what nearly all are; `None` of any other, right or wrong.
/// It gives what the long way through `notation` gives, bit for bit.
fn plain_point(
    kind: TraceKind,
    cells: WrittenPoint<'_>,
    given: Option<Unit>,
    mark: DecimalMark,
) -> Option<LengthPoint> {
    let (station, _) = plain_signed(cells.station, mark)?;
    let (reading, step) = plain_signed(cells.reading, mark)?;
    let unit = given.unwrap_or(Unit::Millimetre);
    let scale = unit.in_base_units();
    let is_section = kind == TraceKind::Section;
    (!is_section || reading > 0.0).then(|| LengthPoint {
        station: if is_section { station } else { station * scale },
        reading: reading * scale,
        step: step * scale,
        unit,
        says_unit: given.is_some(),
    })
}

/// The unit of length that a cell itself names at its end.
fn named_unit(text: &str) -> Option<Unit> {
    let last = text.rfind(char::is_numeric)?;
    let digit = text[last..].chars().next().map_or(0, char::len_utf8);
    Unit::parse(&text[last + digit..]).filter(|u| u.quantity() == Quantity::Length)
}

/// A length and the step that it is written in, both in mm, and its unit; `unit` is the row's,
/// where it names any.
fn length(
    text: &str,
    unit: Option<Unit>,
    mark: DecimalMark,
) -> Result<Option<(f64, f64, Unit)>, FaultKind> {
    let context = Context {
        quantity: Quantity::Length,
        unit: unit.unwrap_or(Unit::Millimetre),
        mark,
    };
    let Some(written) = one_number(text, &context)? else {
        return Ok(None);
    };
    if !written.plain && unit != Some(Unit::Inch) && named_unit(text).is_none() {
        return Err(TraceFault::BareInchForm.into());
    }
    Ok(Some((written.value, written.step, written.unit)))
}

fn angle(text: &str, mark: DecimalMark) -> Result<Option<f64>, FaultKind> {
    let context = Context {
        quantity: Quantity::Angle,
        unit: Unit::Degree,
        mark,
    };
    Ok(one_number(text, &context)?.map(|written| written.value))
}

/// A cell as [`read_cell`] reads it, without state, limits or gauges.
fn one_number<'a>(
    text: &'a str,
    context: &Context,
) -> Result<Option<crate::notation::Written<'a>>, FaultKind> {
    let written = read_cell(text, context)?;
    match written {
        Some(w) if w.braces.is_some() || w.standard_uncertainty.is_some() => {
            Err(TraceFault::NotOneNumber.into())
        }
        written => Ok(written),
    }
}

/// What the three numbers of a colour are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Space {
    Srgb,
    Lab(White),
}

fn space(text: &str) -> Option<Space> {
    let words: Vec<String> = text.split_whitespace().map(str::to_lowercase).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    Some(match words.as_slice() {
        ["srgb"] => Space::Srgb,
        ["lab"] | ["lab", "d65"] => Space::Lab(White::D65),
        ["lab", "d55"] => Space::Lab(White::D55),
        ["lab", "d50"] => Space::Lab(White::D50),
        ["lab", "a"] => Space::Lab(White::A),
        _ => return None,
    })
}

const FORMS: &str = "#5b3a21, or three numbers such as 34.2 12.1 20.5";

fn spot(
    cells: WrittenPoint<'_>,
    mark: DecimalMark,
    bad: &mut Vec<(PointCell, FaultKind)>,
) -> Option<Spot> {
    if missing_as_empty(cells.reading).is_empty() {
        return None;
    }
    let card = card(cells.station, mark);
    let colour = colour(cells, mark);
    if let Err(kind) = &card {
        bad.push((PointCell::Station, kind.clone()));
    }
    if let Err((cell, kind)) = &colour {
        bad.push((*cell, kind.clone()));
    }
    Some(Spot {
        name: cells.station.to_owned(),
        card: card.ok()?,
        colour: colour.ok()?,
    })
}

/// The lightness of a reference card, where a spot's name says that it is one.
fn card(name: &str, mark: DecimalMark) -> Result<Option<f64>, FaultKind> {
    if name.is_empty() {
        let expected = "a spot's name or number, or card@96.5";
        return Err(TraceFault::NoStation { expected }.into());
    }
    let Some((card, lightness)) = name.split_once('@') else {
        // A card whose lightness nobody knows would be taken for wood.
        return match fold(name).as_str() {
            "card" => Err(TraceFault::Card.into()),
            _ => Ok(None),
        };
    };
    if fold(card) != "card" {
        return Err(TraceFault::Card.into());
    }
    let lightness = plain_number(lightness.trim(), mark)?.ok_or(TraceFault::Card)?;
    in_range("L*", lightness, 0.0, 100.0).map(Some)
}

fn colour(
    cells: WrittenPoint<'_>,
    mark: DecimalMark,
) -> Result<SpotColour, (PointCell, FaultKind)> {
    let said = match cells.unit {
        "" => None,
        text => Some(space(text).ok_or((PointCell::Unit, TraceFault::ColourUnit.into()))?),
    };
    if let Some(digits) = cells.reading.strip_prefix('#') {
        if matches!(said, Some(Space::Lab(_))) {
            let kind = TraceFault::Colour {
                expected: "L*, a* and b* with that unit; #5b3a21 is sRGB",
            };
            return Err((PointCell::Reading, kind.into()));
        }
        let rgb = hexadecimal(digits).ok_or(TraceFault::Colour { expected: FORMS });
        return Ok(SpotColour::Srgb(
            rgb.map_err(|kind| (PointCell::Reading, kind.into()))?,
        ));
    }
    let reading = |kind| (PointCell::Reading, kind);
    let three = three_numbers(cells.reading, mark).map_err(reading)?;
    // Three numbers alone may be either: a guess would be far off.
    let said = said.ok_or((PointCell::Unit, TraceFault::ColourUnit.into()))?;
    let within = |limits: [(&'static str, f64, f64); 3]| -> Result<[f64; 3], FaultKind> {
        for (value, (coordinate, low, high)) in three.into_iter().zip(limits) {
            in_range(coordinate, value, low, high)?;
        }
        Ok(three)
    };
    match said {
        Space::Srgb => within([
            ("red", 0.0, 255.0),
            ("green", 0.0, 255.0),
            ("blue", 0.0, 255.0),
        ])
        .map(SpotColour::Srgb),
        Space::Lab(white) => within([
            ("L*", 0.0, 100.0),
            ("a*", -128.0, 127.0),
            ("b*", -128.0, 127.0),
        ])
        .map(|lab| SpotColour::Lab { lab, white }),
    }
    .map_err(reading)
}

fn in_range(coordinate: &'static str, value: f64, low: f64, high: f64) -> Result<f64, FaultKind> {
    if (low..=high).contains(&value) {
        return Ok(value);
    }
    let kind = TraceFault::ColourRange {
        coordinate,
        value,
        low,
        high,
    };
    Err(kind.into())
}

fn hexadecimal(digits: &str) -> Option<[f64; 3]> {
    let all = digits.len() == 6 && digits.bytes().all(|b| b.is_ascii_hexdigit());
    let number = u32::from_str_radix(digits, 16).ok().filter(|_| all)?;
    let [_, red, green, blue] = number.to_be_bytes();
    Some([red, green, blue].map(f64::from))
}

/// `34.2 12.1 20.5`, `34.2; 12.1; 20.5`, `34.2, 12.1, 20.5`. Where the comma is the decimal mark
/// it parts numbers only that nothing else parts: `91,58,33` can be nothing but three numbers.
fn three_numbers(text: &str, mark: DecimalMark) -> Result<[f64; 3], FaultKind> {
    let parts: Vec<&str> = if text.contains(';') {
        text.split(';').map(str::trim).collect()
    } else if mark == DecimalMark::Comma && text.contains(char::is_whitespace) {
        let words = text.split_whitespace();
        words.map(|word| word.trim_end_matches(',')).collect()
    } else if text.contains(',') {
        text.split(',').map(str::trim).collect()
    } else {
        text.split_whitespace().collect()
    };
    let none = || FaultKind::from(TraceFault::Colour { expected: FORMS });
    let [a, b, c] = parts.as_slice() else {
        return Err(none());
    };
    let number = |text: &str| plain_number(text, mark)?.ok_or_else(none);
    Ok([number(a)?, number(b)?, number(c)?])
}

fn plain_number(text: &str, mark: DecimalMark) -> Result<Option<f64>, FaultKind> {
    let context = Context {
        quantity: Quantity::Colour,
        unit: Unit::Plain,
        mark,
    };
    Ok(one_number(text, &context)?.map(|written| written.value))
}

#[cfg(test)]
mod tests {
    use super::*;

    const POINT: DecimalMark = DecimalMark::Point;

    fn read(
        kind: TraceKind,
        [station, reading, unit]: [&str; 3],
        mark: DecimalMark,
    ) -> Result<Option<ReadPoint>, String> {
        let cells = WrittenPoint {
            station,
            reading,
            unit,
        };
        let mut bad = Vec::new();
        let point = read_point(kind, cells, mark, &mut bad);
        match bad.first() {
            None => Ok(point),
            Some((cell, kind)) => {
                assert_eq!(point, None);
                Err(format!("{cell:?}: {kind}"))
            }
        }
    }

    #[track_caller]
    fn outline(cells: [&str; 3]) -> (f64, f64, bool) {
        match read(TraceKind::Outline, cells, POINT) {
            Ok(Some(ReadPoint::Length(p))) => (p.station, p.reading, p.says_unit),
            other => panic!("{cells:?}: {other:?}"),
        }
    }

    #[track_caller]
    fn colour_of(cells: [&str; 3], mark: DecimalMark) -> SpotColour {
        match read(TraceKind::Colour, cells, mark) {
            Ok(Some(ReadPoint::Spot(spot))) => spot.colour,
            other => panic!("{cells:?}: {other:?}"),
        }
    }

    #[test]
    fn station_and_reading_share_the_unit_of_the_row() {
        assert_eq!(outline(["10", "-0.2", ""]), (10.0, -0.2, false));
        assert_eq!(outline(["10", "0", "cm"]), (100.0, 0.0, true));
        assert_eq!(outline(["1/2", "1/8", "in"]), (12.7, 3.175, true));
        assert_eq!(outline(["0.5", "1/8 in", ""]), (12.7, 3.175, true));
        assert_eq!(outline(["1½\"", "0.25", ""]), (1.5 * 25.4, 6.35, true));
        // A cell's own unit goes before the row's.
        assert_eq!(outline(["1 cm", "2 mm", "in"]), (10.0, 2.0, true));
    }

    #[test]
    fn cells_that_are_no_point() {
        for (kind, cells, message) in [
            (TraceKind::Outline, ["1", "1/8", ""], "Reading: a fraction"),
            (TraceKind::Outline, ["#22", "1", ""], "Station: a fraction"),
            (
                TraceKind::Outline,
                ["1", "1/8", "mm"],
                "a fraction or drill",
            ),
            (
                TraceKind::Outline,
                ["1", "2 ± 0.1", ""],
                "expected one number",
            ),
            (
                TraceKind::Outline,
                ["1", "2 {worn}", ""],
                "expected one number",
            ),
            (TraceKind::Outline, ["1", "NaN", ""], "not a finite"),
            (
                TraceKind::Outline,
                ["inf", "1", ""],
                "Station: not a finite",
            ),
            (TraceKind::Outline, ["1", "1e308", "in"], "not a finite"),
            (TraceKind::Outline, ["", "1", ""], "no station"),
            (
                TraceKind::Outline,
                ["1", "2", "oz"],
                "Unit: not a unit of length",
            ),
            (TraceKind::Outline, ["1", "2 g", ""], "Reading: the unit g"),
            (TraceKind::Section, ["1", "0", ""], "greater than 0"),
            (TraceKind::Section, ["1", "-2", ""], "greater than 0"),
            (
                TraceKind::Section,
                ["1 mm", "2", ""],
                "Station: the unit mm",
            ),
            (TraceKind::Section, ["", "2", ""], "an angle in degrees"),
            (TraceKind::Colour, ["", "#5b3a21", ""], "no station"),
            (TraceKind::Colour, ["card", "#5b3a21", ""], "card@96.5"),
            (TraceKind::Colour, ["tile@3", "#5b3a21", ""], "card@96.5"),
            (TraceKind::Colour, ["card@101", "#5b3a21", ""], "L* is 101"),
            (TraceKind::Colour, ["1", "#5b3a2", ""], "not a colour"),
            (TraceKind::Colour, ["1", "#+b3a21", ""], "not a colour"),
            (TraceKind::Colour, ["1", "#5b3a21", "Lab"], "is sRGB"),
            (
                TraceKind::Colour,
                ["1", "91 58 33", ""],
                "Unit: not how a colour",
            ),
            (
                TraceKind::Colour,
                ["1", "91 58 33", "XYZ"],
                "Unit: not how a colour",
            ),
            (TraceKind::Colour, ["1", "91 58 256", "sRGB"], "blue is 256"),
            (TraceKind::Colour, ["1", "91 58", "sRGB"], "not a colour"),
            (
                TraceKind::Colour,
                ["1", "91;;58;33", "sRGB"],
                "not a colour",
            ),
            (TraceKind::Colour, ["1", "1 -129 3", "Lab"], "a* is -129"),
            (
                TraceKind::Colour,
                ["1", "100.5 0 3", "Lab A"],
                "L* is 100.5",
            ),
            (TraceKind::Colour, ["1", "1 nan 3", "Lab"], "not a finite"),
        ] {
            let error = read(kind, cells, POINT).expect_err("no point");
            assert!(error.contains(message), "{cells:?}: {error}");
        }
        // Nothing was read there.
        for kind in [TraceKind::Outline, TraceKind::Section, TraceKind::Colour] {
            assert_eq!(read(kind, ["1", "", ""], POINT), Ok(None));
            assert_eq!(read(kind, ["", "-", ""], POINT), Ok(None));
        }
    }

    #[test]
    fn colours_in_every_form() {
        let brown = SpotColour::Srgb([91.0, 58.0, 33.0]);
        for cells in [
            ["1", "#5b3a21", ""],
            ["1", "#5B3A21", "sRGB"],
            ["1", "91 58 33", "srgb"],
            ["1", "91, 58, 33", "sRGB"],
            ["1", "91;58;33", "sRGB"],
        ] {
            assert_eq!(colour_of(cells, POINT), brown, "{cells:?}");
        }
        assert_eq!(
            colour_of(["1", "91,58,33", "sRGB"], DecimalMark::Comma),
            brown
        );
        let lab = [34.2, 12.1, -20.5];
        for (unit, white) in [
            ("Lab", White::D65),
            ("lab d65", White::D65),
            ("Lab D50", White::D50),
            ("Lab D55", White::D55),
            ("Lab A", White::A),
        ] {
            let want = SpotColour::Lab { lab, white };
            assert_eq!(colour_of(["1", "34.2 12.1 -20.5", unit], POINT), want);
        }
        for text in ["34,2 12,1 -20,5", "34,2; 12,1; -20,5", "34,2, 12,1, -20,5"] {
            let white = White::D65;
            let want = SpotColour::Lab { lab, white };
            assert_eq!(colour_of(["1", text, "Lab"], DecimalMark::Comma), want);
        }
        let card = read(TraceKind::Colour, ["Card@96.5", "#f0f0f0", ""], POINT);
        let Ok(Some(ReadPoint::Spot(card))) = card else {
            panic!("a card: {card:?}")
        };
        assert_eq!(card.card, Some(96.5));
    }
}
