//! Invented sources, clean or with a slip planted, and whether the screening finds it.

use std::fmt::Write as _;

use calibriar::catalogue::Catalogue;
use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::screen::{Code, Screening, Settings, screen};
use calibriar::stats::chi_square_quantile;
use calibriar::table::{Content, Options, Table, read};

use super::draw::Draw;

/// A whole number from the first to the last.
fn between(draw: &mut Draw, (low, high): (usize, usize)) -> usize {
    low + draw.below(high - low + 1)
}

/// Key, usual size in mm (degrees, grams), usual spread (a share; degrees).
const DIMENSIONS: [(&str, f64, f64); 10] = [
    ("overall length", 145.0, 0.010),
    ("weight", 40.0, 0.060),
    ("bowl height", 45.0, 0.015),
    ("chamber diameter", 20.0, 0.015),
    ("chamber depth", 38.0, 0.020),
    ("draught diameter", 4.0, 0.025),
    ("bit width", 16.0, 0.015),
    ("bit thickness", 4.2, 0.020),
    ("slot width", 9.0, 0.030),
    ("cant angle", 2.0, 0.8),
];

/// How a clean source is drawn.
#[derive(Clone, Copy, Debug)]
pub(crate) struct World {
    /// Least and greatest number of patterns, and of pieces of each.
    pub(crate) patterns: (usize, usize),
    pub(crate) pieces: (usize, usize),
    /// Tails: t with 5 degrees of freedom instead of the normal law.
    pub(crate) heavy: bool,
    /// All readings rounded to 0.1 mm, 1 g, 1 degree.
    pub(crate) rounded: bool,
    /// All lengths written in whole millimetres.
    pub(crate) whole: bool,
    /// What the usual spreads are multiplied by.
    pub(crate) narrow: f64,
    /// Half of the pieces measured in inches: decimals to 0.001, or 64ths.
    pub(crate) inches: bool,
    /// The draught gauged with drills: steps of 0.5 mm, written with one decimal.
    pub(crate) drills: bool,
    /// Bit thicknesses read in 64ths of an inch throughout.
    pub(crate) sixty_fourths: bool,
    /// Rows sorted by pattern and period, as a tidy sheet is.
    pub(crate) sorted: bool,
    /// The poor period's shift, in standard deviations, of a sign drawn for each pattern and dimension.
    pub(crate) shift: f64,
    /// Share of pieces that have no date.
    pub(crate) undated: f64,
    /// The share of the variance of a size that is common to all sizes of a piece.
    pub(crate) common: f64,
}

pub(crate) const PLAIN: World = World {
    patterns: (3, 40),
    pieces: (1, 60),
    heavy: false,
    rounded: false,
    whole: false,
    narrow: 1.0,
    inches: false,
    drills: false,
    sixty_fourths: false,
    sorted: false,
    shift: 4.0,
    undated: 0.1,
    common: 0.0,
};

/// One pattern of 200 pieces of one period, written to 0.1 mm.
pub(crate) const ONE_SHEET: World = World {
    patterns: (1, 1),
    pieces: (200, 200),
    rounded: true,
    shift: 0.0,
    undated: 1.0,
    ..PLAIN
};

/// One reading on its way to a sheet.
#[derive(Clone)]
pub(crate) struct Cell {
    piece: usize,
    dimension: usize,
    text: String,
    unit: &'static str,
    state: &'static str,
}

/// A source on its way to a sheet.
pub(crate) struct Source {
    /// Pattern and period of each piece.
    pieces: Vec<(usize, &'static str)>,
    cells: Vec<Cell>,
    /// Centre and spread of each pattern and dimension.
    truth: Vec<[(f64, f64); DIMENSIONS.len()]>,
}

const PERIODS: [&str; 4] = ["first", "second", "poor", "last"];
const POOR: usize = 2;

fn unit_of(dimension: usize) -> &'static str {
    match DIMENSIONS[dimension].0 {
        "weight" => "g",
        "cant angle" => "deg",
        _ => "mm",
    }
}

fn is_size(dimension: usize) -> bool {
    DIMENSIONS[dimension].0 != "cant angle"
}

impl World {
    /// A clean source; `target` asks for a pattern of that many pieces of one good period more.
    pub(crate) fn draw(&self, draw: &mut Draw, target: Option<usize>) -> Source {
        let mut source = Source {
            pieces: Vec::new(),
            cells: Vec::new(),
            truth: Vec::new(),
        };
        let patterns = between(draw, self.patterns);
        for pattern in 0..patterns + usize::from(target.is_some()) {
            let truth: [(f64, f64); DIMENSIONS.len()] = std::array::from_fn(|d| {
                let (_, size, spread) = DIMENSIONS[d];
                let spread =
                    self.narrow * spread * (8.0 / chi_square_quantile(draw.uniform(), 8.0)).sqrt();
                match is_size(d) {
                    true => (size.ln() + 0.08 * draw.normal(), spread),
                    false => (size + 3.0 * draw.normal(), spread),
                }
            });
            // Periods lie apart as the model has it, the poor one further.
            let periods: [[f64; 4]; DIMENSIONS.len()] = std::array::from_fn(|_| {
                let sign = if draw.uniform() < 0.5 { -1.0 } else { 1.0 };
                std::array::from_fn(|k| {
                    0.5 * draw.normal() + if k == POOR { sign * self.shift } else { 0.0 }
                })
            });
            source.truth.push(truth);
            let is_target = pattern == patterns;
            let pieces = match target {
                Some(n) if is_target => n,
                _ => between(draw, self.pieces),
            };
            let mut of_pieces: Vec<usize> = (0..pieces)
                .map(|_| if is_target { 0 } else { draw.below(4) })
                .collect();
            if self.sorted {
                of_pieces.sort_unstable();
            }
            for period in of_pieces {
                let dated = is_target || draw.uniform() >= self.undated;
                let inch = self.inches && draw.uniform() < 0.5;
                let worn = !is_target && draw.uniform() < 0.08;
                let size = draw.normal();
                let piece = source.pieces.len();
                source
                    .pieces
                    .push((pattern, if dated { PERIODS[period] } else { "" }));
                for (dimension, &(centre, spread)) in truth.iter().enumerate() {
                    if !is_target && draw.uniform() < 0.1 {
                        continue;
                    }
                    let mut e = draw.normal();
                    if self.heavy {
                        e /= (chi_square_quantile(draw.uniform(), 5.0) / 5.0).sqrt();
                    }
                    let e = (1.0 - self.common).sqrt() * e + self.common.sqrt() * size;
                    let mut x = centre + spread * (e + periods[dimension][period]);
                    let mut state = "factory";
                    if worn && is_size(dimension) && draw.uniform() < 0.4 {
                        state = "worn";
                        x -= 0.15 * draw.uniform();
                    }
                    let value = if is_size(dimension) { x.exp() } else { x };
                    let (text, unit) = self.write(draw, dimension, value, inch);
                    source.cells.push(Cell {
                        piece,
                        dimension,
                        text,
                        unit,
                        state,
                    });
                }
            }
        }
        source
    }

    fn write(
        &self,
        draw: &mut Draw,
        dimension: usize,
        value: f64,
        inch: bool,
    ) -> (String, &'static str) {
        let unit = unit_of(dimension);
        let key = DIMENSIONS[dimension].0;
        if self.drills && key == "draught diameter" {
            return (format!("{:.1}", (value * 2.0).round() / 2.0), "mm");
        }
        if self.sixty_fourths && key == "bit thickness" {
            return (format!("{:.0}/64", value / 25.4 * 64.0), "in");
        }
        if self.whole && unit == "mm" {
            return (format!("{value:.0}"), "mm");
        }
        let text = match (unit, inch, self.rounded) {
            ("mm", true, _) if draw.uniform() < 0.5 => {
                let parts = (value / 25.4 * 64.0).round().max(1.0);
                let (whole, parts) = ((parts / 64.0).floor(), parts % 64.0);
                match (whole as u64, parts as u64) {
                    (0, parts) => format!("{parts}/64"),
                    (whole, 0) => format!("{whole}.000"),
                    (whole, parts) => format!("{whole} {parts}/64"),
                }
            }
            ("mm", true, _) => format!("{:.3}", value / 25.4),
            ("mm", false, false) => format!("{value:.2}"),
            ("mm" | "deg", _, true) => format!("{value:.1}"),
            ("deg", ..) => format!("{value:.1}"),
            (_, _, true) => format!("{value:.0}"),
            _ => format!("{value:.1}"),
        };
        (text, if inch && unit == "mm" { "in" } else { unit })
    }
}

impl Source {
    pub(crate) fn table(&self) -> Table {
        let mut text = String::from("specimen,pattern,period,dimension,value,unit,state,source\n");
        for cell in &self.cells {
            let (pattern, period) = self.pieces[cell.piece];
            let _ = writeln!(
                text,
                "S{},P{pattern},{period},{},{},{},{},Sheet {}",
                cell.piece,
                DIMENSIONS[cell.dimension].0,
                cell.text,
                cell.unit,
                cell.state,
                cell.unit.len() % 2,
            );
        }
        let options = Options {
            details: true,
            ..Options::default()
        };
        match read("invented.csv", text.into(), &options, Catalogue::standard()) {
            Ok(Content::Measurements(sheet)) => {
                assert!(sheet.faults.is_empty(), "{:?}", sheet.faults.first());
                sheet.table
            }
            other => panic!("measurements, not {other:?}"),
        }
    }

    /// The screening of the source as it now is.
    pub(crate) fn screen(&self) -> Screening {
        let table = self.table();
        let choice = Choice {
            periods: Selection::Every,
            unknown_state: false,
        };
        let cohort = Cohort::new(&table, &choice).expect("no period is named");
        screen(
            &cohort,
            &Settings::new(0.05, &[]).expect("0.05 is an alpha"),
        )
    }

    /// The cells of the last pattern's first piece, or of its piece of that number.
    fn cell(&mut self, piece: usize, dimension: usize) -> &mut Cell {
        let last = self.truth.len() - 1;
        let first = (self.pieces.iter())
            .position(|p| p.0 == last)
            .expect("the target has pieces");
        (self.cells.iter_mut())
            .find(|c| c.piece == first + piece && c.dimension == dimension)
            .expect("all of a target is measured")
    }
}

/// A slip to plant in the target pattern.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Plant {
    /// A reading times a number, of a dimension.
    Times(usize, f64),
    /// Two dimensions exchanged.
    Exchanged(usize, usize),
    /// The first digits of the text exchanged that differ by so much at least.
    Digits(usize),
    /// So many readings off by so many standard deviations, to one side.
    Off(usize, f64),
    /// One piece measured again under another name, or copied; so many dimensions.
    Twice(bool),
    /// A run of so many equal texts.
    Copied(usize, usize),
    /// All readings of a dimension rounded to 0.5 mm or so, still written with two decimals.
    Round(usize),
}

impl Plant {
    pub(crate) fn code(self) -> Code {
        match self {
            Plant::Times(_, f) if (f * 25.4 - 1.0).abs() < 1e-9 => Code::UnitInch,
            Plant::Times(_, f) if f == 0.5 || f == 2.0 => Code::HalfForWhole,
            Plant::Times(..) => Code::DecimalShift,
            Plant::Exchanged(..) => Code::ColumnsExchanged,
            Plant::Digits(_) => Code::DigitsExchanged,
            Plant::Off(..) => Code::UnlikeFellows,
            Plant::Twice(_) => Code::SamePieceTwice,
            Plant::Copied(..) => Code::CopiedDown,
            Plant::Round(_) => Code::RoundNumbers,
        }
    }

    /// Puts the slip into a source; false where it would change nothing.
    pub(crate) fn put(self, source: &mut Source, draw: &mut Draw) -> bool {
        match self {
            Plant::Times(dimension, factor) => {
                let cell = source.cell(0, dimension);
                let value: f64 = cell.text.parse().expect("a decimal");
                cell.text = format!("{:.2}", value * factor);
                true
            }
            Plant::Exchanged(a, b) => {
                let first = source.cell(0, a).text.clone();
                let second = std::mem::replace(&mut source.cell(0, b).text, first);
                source.cell(0, a).text = second;
                true
            }
            Plant::Digits(dimension) => {
                let cell = source.cell(0, dimension);
                let mut digits: Vec<char> = cell.text.chars().collect();
                if digits[0] == digits[1] || !digits[1].is_ascii_digit() {
                    return false;
                }
                digits.swap(0, 1);
                cell.text = digits.into_iter().collect();
                !cell.text.starts_with('0')
            }
            Plant::Off(count, size) => {
                let dimension = 2;
                let (_, spread) = source.truth[source.truth.len() - 1][dimension];
                for piece in 0..count {
                    let cell = source.cell(piece, dimension);
                    let value: f64 = cell.text.parse().expect("a decimal");
                    cell.text = format!("{:.2}", value * (size * spread).exp());
                }
                true
            }
            Plant::Twice(copied) => {
                for dimension in 0..DIMENSIONS.len() {
                    let text = source.cell(0, dimension).text.clone();
                    let value: f64 = text.parse().expect("a decimal");
                    let again = match is_size(dimension) {
                        true => value * (1.0 + 0.002 * draw.normal()),
                        false => value + 0.3 * draw.normal(),
                    };
                    let decimals = if unit_of(dimension) == "mm" { 2 } else { 1 };
                    source.cell(1, dimension).text = match copied {
                        true => text,
                        false => format!("{again:.decimals$}"),
                    };
                }
                true
            }
            Plant::Copied(dimension, length) => {
                let text = source.cell(0, dimension).text.clone();
                for piece in 1..length {
                    source.cell(piece, dimension).text = text.clone();
                }
                true
            }
            Plant::Round(dimension) => {
                for cell in
                    (source.cells.iter_mut()).filter(|c| c.dimension == dimension && c.unit == "mm")
                {
                    let value: f64 = cell.text.parse().expect("a decimal");
                    cell.text = format!("{:.2}", (value * 20.0).round() / 20.0);
                }
                true
            }
        }
    }

    /// Whether a screening names it.
    pub(crate) fn is_found(self, source: &Source, screening: &Screening) -> bool {
        let last = source.truth.len() - 1;
        let target = (source.pieces.iter()).position(|p| p.0 == last);
        let of_code = screening.findings.iter().filter(|f| f.code == self.code());
        let first = target.expect("the target has pieces");
        match self {
            Plant::Round(_) => of_code.count() > 0,
            Plant::Off(count, _) => {
                let found: Vec<usize> = of_code.flat_map(|f| f.rows.clone()).collect();
                (0..count).all(|piece| found.contains(&(first + piece)))
            }
            _ => of_code.into_iter().any(|f| f.rows.contains(&first)),
        }
    }
}

/// How often sources with a slip have it found, of so many tried.
pub(crate) fn found(
    world: &World,
    plant: Plant,
    n: usize,
    sources: usize,
    seed: u64,
) -> (usize, usize) {
    let mut draw = Draw::seeded(seed);
    let (mut hits, mut tried) = (0, 0);
    while tried < sources {
        let mut source = world.draw(&mut draw, Some(n));
        if plant.put(&mut source, &mut draw) {
            tried += 1;
            hits += usize::from(plant.is_found(&source, &source.screen()));
        }
    }
    (hits, tried)
}

/// The codes found in each of so many clean sources.
pub(crate) fn false_alarms(world: &World, sources: usize, seed: u64) -> Vec<Vec<(Code, String)>> {
    let mut draw = Draw::seeded(seed);
    (0..sources)
        .map(|_| {
            let found = world.draw(&mut draw, None).screen().findings;
            (found.into_iter()).map(|f| (f.code, f.sentence)).collect()
        })
        .collect()
}
