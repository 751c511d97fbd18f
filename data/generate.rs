//! Draws the invented world of `data/`: a pipe factory that never existed, its pieces, and the
//! sheets in which people sent their measurements. `cargo run --example generate` writes every
//! CSV file and `datapackage.json` beside this file; the same seed gives the same bytes.
//!
//! Read it from the top: the world (tables of constants), the drawing (norms, pieces, faults),
//! the sheets (what each measurer writes), the truth, the files. Traces and colours are in
//! `forms.rs` and `finishes.rs`, three pieces on a restorer's bench in `bench.rs`.

mod bench;
mod finishes;
mod forms;

use std::path::Path;
use std::{fs, io};

use encoding_rs::WINDOWS_1252;
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use serde_json::{Value, json};

// ---------------------------------------------------------------------------------- the world

const SEED: u64 = 1921;
const MAKER: &str = "Harbour Row Works";
const MM_PER_INCH: f64 = 25.4;
const GRAMS_PER_OUNCE: f64 = 28.349523125;

/// Variance of the period effect as a share of the variance between pieces.
const PERIOD_SHARE: f64 = 0.3;
/// The spread of a dimension differs between patterns as sigma^2 = s0^2 * d0 / chi2(d0).
const SPREAD_FREEDOM: usize = 8;

struct Period {
    name: &'static str,
    from: i32,
    to: i32,
    standing: &'static str,
    note: &'static str,
    /// Factor on the spread between pieces.
    spread: f64,
}

#[rustfmt::skip] // one period a line
const PERIODS: [Period; 5] = [
    period("Founders' Shop", 1921, 1938, "good", 1.0, "six benches, all work by hand"),
    period("Scarce Wood", 1939, 1947, "unrated", 1.0, "short of briar; bowls a little small"),
    period("Second Shop", 1948, 1959, "good", 1.0, "new lathes, old hands"),
    period("Conveyor Years", 1960, 1967, "poor", 1.6, "piece rates; thick bits, narrow airways"),
    period("Quiet Bench", 1968, 1984, "good", 1.0, "back to the bench, small numbers"),
];
const SCARCE_WOOD: usize = 1;
const CONVEYOR_YEARS: usize = 3;

/// Name, and pieces by period.
const PATTERNS: [(&str, [usize; 5]); 8] = [
    ("billiard H21", [40, 14, 36, 26, 40]),
    ("apple H34", [28, 10, 28, 20, 30]),
    ("bulldog H46", [20, 7, 20, 14, 21]),
    ("prince H52", [18, 6, 18, 13, 19]),
    ("poker H63", [15, 5, 16, 12, 16]),
    ("canted dublin H78", [2, 2, 2, 5, 1]),
    ("lovat H85", [21, 7, 20, 15, 22]),
    ("author H97", [1, 2, 1, 6, 1]),
];
/// A pattern with fewer good pieces than this is the small-sample case: all of them are kept
/// factory-made, clearly dated, fully measured and in the ledger.
const THIN: usize = 10;

struct Dimension {
    key: &'static str,
    unit: &'static str,
    /// s0: relative, or in degrees for the angle.
    spread: f64,
    /// Decimal places in the ledger.
    decimals: usize,
    /// Sizes before any period effect, by pattern.
    centres: [f64; 8],
}

#[rustfmt::skip] // one dimension a line: H21 H34 H46 H52 H63 H78 H85 H97
const DIMENSIONS: [Dimension; 20] = [
    dim("overall_length", "mm", 0.008, 1, [143.8, 141.5, 136.5, 155.4, 136.1, 140.4, 139.9, 140.4]),
    dim("weight", "g", 0.030, 1, [38.0, 40.0, 41.0, 30.0, 39.0, 34.0, 36.0, 52.0]),
    dim("bowl_height", "mm", 0.010, 1, [47.0, 43.5, 44.0, 35.5, 46.5, 46.0, 45.5, 42.0]),
    dim("bowl_diameter", "mm", 0.010, 1, [39.0, 42.5, 43.5, 41.0, 38.0, 38.5, 37.0, 47.5]),
    dim("rim_diameter", "mm", 0.012, 1, [33.5, 33.0, 32.5, 34.0, 35.0, 36.0, 32.0, 36.5]),
    dim("wall_thickness", "mm", 0.022, 2, [6.9, 7.9, 8.4, 7.2, 6.4, 6.9, 6.3, 9.2]),
    dim("chamber_diameter", "mm", 0.012, 1, [19.4, 20.0, 19.6, 20.4, 19.8, 18.8, 19.0, 21.2]),
    dim("chamber_depth", "mm", 0.014, 1, [39.0, 36.0, 36.5, 28.5, 37.5, 38.5, 37.5, 33.5]),
    dim("cant_angle", "deg", 0.8, 1, [1.0, 0.5, 3.0, 6.0, 0.0, 14.0, 1.0, 9.0]),
    dim("shank_length", "mm", 0.020, 1, [44.0, 40.0, 37.0, 42.0, 41.0, 40.0, 70.0, 38.0]),
    dim("shank_width", "mm", 0.015, 2, [14.6, 14.8, 15.6, 11.8, 14.2, 13.4, 13.8, 16.0]),
    dim("mortise_diameter", "mm", 0.008, 2, [8.4, 8.4, 8.6, 7.6, 8.4, 8.2, 8.2, 9.0]),
    dim("draught_diameter", "mm", 0.018, 2, [4.0, 4.0, 4.1, 3.7, 4.0, 3.9, 3.9, 4.2]),
    dim("stem_length", "mm", 0.012, 1, [66.0, 64.0, 61.0, 78.0, 62.0, 67.0, 38.0, 60.0]),
    dim("tenon_diameter", "mm", 0.008, 2, [7.7, 7.7, 7.9, 7.0, 7.7, 7.5, 7.5, 8.3]),
    dim("stem_bore", "mm", 0.020, 2, [3.0, 3.0, 3.1, 2.8, 3.0, 2.9, 2.9, 3.2]),
    dim("bit_width", "mm", 0.015, 2, [16.2, 16.0, 15.4, 15.8, 15.6, 16.0, 16.6, 16.8]),
    dim("bit_thickness", "mm", 0.020, 2, [4.2, 4.2, 4.3, 4.0, 4.2, 4.1, 4.3, 4.5]),
    dim("slot_width", "mm", 0.025, 2, [9.5, 9.4, 9.0, 9.8, 9.2, 9.6, 9.6, 10.0]),
    dim("slot_height", "mm", 0.030, 2, [1.6, 1.6, 1.7, 1.5, 1.6, 1.5, 1.6, 1.7]),
];
/// How each is measured, in the same order.
const HOW_MEASURED: [&str; DIMENSIONS.len()] = [
    "front of the bowl to the end of the bit, straight",
    "whole pipe, empty and dry",
    "rim to heel along the bowl's axis",
    "greatest outside diameter of the bowl",
    "outside diameter at the rim",
    "least wood beside the chamber, at mid height",
    "inside diameter at the rim, clean of cake",
    "rim to the chamber floor",
    "lean of the bowl axis from square to the shank, forward positive",
    "bowl-shank line to the shank face, along the top",
    "across the shank at its face, side to side",
    "inside diameter of the mortise at its mouth",
    "the airway in the shank, by gauge",
    "stem face to the end of the bit, without tenon",
    "outside diameter of the tenon at mid length",
    "the airway in the stem at the tenon, by gauge",
    "side to side just forward of the button",
    "top to bottom just forward of the button",
    "side to side at the mouth of the slot",
    "top to bottom at the mouth of the slot",
];
const OVERALL_LENGTH: usize = 0;
const WEIGHT: usize = 1;
const BOWL_HEIGHT: usize = 2;
const BOWL_DIAMETER: usize = 3;
const RIM_DIAMETER: usize = 4;
const WALL_THICKNESS: usize = 5;
const CHAMBER_DIAMETER: usize = 6;
const CHAMBER_DEPTH: usize = 7;
const CANT_ANGLE: usize = 8;
const SHANK_LENGTH: usize = 9;
const SHANK_WIDTH: usize = 10;
const MORTISE_DIAMETER: usize = 11;
const DRAUGHT_DIAMETER: usize = 12;
const STEM_LENGTH: usize = 13;
const TENON_DIAMETER: usize = 14;
const STEM_BORE: usize = 15;
const BIT_WIDTH: usize = 16;
const BIT_THICKNESS: usize = 17;
const SLOT_WIDTH: usize = 18;
const SLOT_HEIGHT: usize = 19;

/// A change of one dimension: the natural log of a factor, drawn between the two limits.
type Change = (usize, f64, f64);

/// Drawn once for each pattern: what the period did to its norm.
const SCARCE_WOOD_CHANGES: [Change; 7] = [
    (OVERALL_LENGTH, -0.015, -0.008),
    (WEIGHT, -0.06, -0.03),
    (BOWL_HEIGHT, -0.025, -0.012),
    (BOWL_DIAMETER, -0.025, -0.012),
    (RIM_DIAMETER, -0.025, -0.012),
    (WALL_THICKNESS, -0.04, -0.02),
    (SHANK_WIDTH, -0.02, -0.01),
];
/// `ln 1.10` to `ln 1.14` on the bit, `ln 0.82` to `ln 0.88` on the airways, `ln 1.12` on the wall.
const CONVEYOR_CHANGES: [Change; 6] = [
    (BIT_THICKNESS, 0.0953, 0.1310),
    (SLOT_WIDTH, -0.1985, -0.1278),
    (SLOT_HEIGHT, -0.1985, -0.1278),
    (DRAUGHT_DIAMETER, -0.1985, -0.1278),
    (STEM_BORE, -0.1985, -0.1278),
    (WALL_THICKNESS, 0.1133, 0.1133),
];

/// Drawn for each piece: what life did to it. The state word, its share, the changes.
const LIVES: [(&str, f64, &[Change]); 5] = [
    ("factory", 0.80, &[]),
    ("worn", 0.08, &WEAR),
    ("reworked", 0.04, &REWORK),
    ("replaced", 0.03, &NEW_STEM),
    ("unknown", 0.05, &[]),
];
const WEAR: [Change; 4] = [
    (BOWL_HEIGHT, -0.012, -0.003),
    (CHAMBER_DIAMETER, 0.01, 0.04),
    (BIT_WIDTH, -0.02, -0.005),
    (BIT_THICKNESS, -0.06, -0.015),
];
const REWORK: [Change; 5] = [
    (BOWL_HEIGHT, -0.035, -0.015),
    (CHAMBER_DIAMETER, 0.02, 0.05),
    (CHAMBER_DEPTH, -0.035, -0.015),
    (DRAUGHT_DIAMETER, 0.03, 0.08),
    (SLOT_WIDTH, 0.05, 0.12),
];
const NEW_STEM: [Change; 6] = [
    (STEM_LENGTH, -0.05, 0.02),
    (STEM_BORE, -0.10, 0.10),
    (BIT_WIDTH, -0.08, 0.08),
    (BIT_THICKNESS, -0.10, 0.12),
    (SLOT_WIDTH, -0.15, 0.10),
    (SLOT_HEIGHT, -0.15, 0.15),
];

/// Sheets share the pieces out in this order: file, pieces, planted out-of-norm pieces.
const SHARES: [(&str, usize, usize); 4] = [
    ("sheets/ledger.csv", 380, 18),
    ("sheets/inch_bench.csv", 110, 4),
    ("sheets/visiting_cards.csv", 60, 1),
    ("sheets/club_evening.csv", 50, 2),
];
/// A planted piece is this many sd between pieces away from its norm, in 1 to 3 of these.
const PLANTED_SD: (f64, f64) = (4.0, 10.0);
/// Every sheet carries these; lengths that other lengths add up to are left out.
const PLANTABLE: [usize; 9] = [
    BOWL_HEIGHT,
    WALL_THICKNESS,
    CHAMBER_DIAMETER,
    CHAMBER_DEPTH,
    DRAUGHT_DIAMETER,
    STEM_BORE,
    BIT_WIDTH,
    BIT_THICKNESS,
    SLOT_WIDTH,
];
/// One ledger piece has this dimension in inches in a millimetre column.
const UNIT_SLIP: usize = OVERALL_LENGTH;
/// One ledger piece has these two columns swapped.
const SWAPPED: [usize; 2] = [CHAMBER_DIAMETER, CHAMBER_DEPTH];

const fn period(
    name: &'static str,
    from: i32,
    to: i32,
    standing: &'static str,
    spread: f64,
    note: &'static str,
) -> Period {
    Period {
        name,
        from,
        to,
        standing,
        note,
        spread,
    }
}

const fn dim(
    key: &'static str,
    unit: &'static str,
    spread: f64,
    decimals: usize,
    centres: [f64; 8],
) -> Dimension {
    Dimension {
        key,
        unit,
        spread,
        decimals,
        centres,
    }
}

fn is_good(period: usize) -> bool {
    PERIODS[period].standing == "good"
}

fn is_thin(pattern: usize) -> bool {
    let good = |(k, n): (usize, &usize)| if is_good(k) { *n } else { 0 };
    PATTERNS[pattern]
        .1
        .iter()
        .enumerate()
        .map(good)
        .sum::<usize>()
        < THIN
}

// -------------------------------------------------------------------------------- the drawing

struct Draw(Xoshiro256PlusPlus);

impl Draw {
    fn uniform(&mut self, low: f64, high: f64) -> f64 {
        let unit = (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
        low + (high - low) * unit
    }

    fn below(&mut self, n: usize) -> usize {
        self.uniform(0.0, n as f64) as usize
    }

    fn years(&mut self, low: i32, high: i32) -> i32 {
        low + self.below((high - low + 1) as usize) as i32
    }

    fn chance(&mut self, share: f64) -> bool {
        self.uniform(0.0, 1.0) < share
    }

    fn pick<T: Copy>(&mut self, items: &[T]) -> T {
        items[self.below(items.len())]
    }

    /// Box and Muller; `libm`, because the system's logarithm may differ in the last digit.
    fn normal(&mut self, sd: f64) -> f64 {
        let radius = (-2.0 * libm::log(1.0 - self.uniform(0.0, 1.0))).sqrt();
        sd * radius * libm::cos(std::f64::consts::TAU * self.uniform(0.0, 1.0))
    }

    fn chi_squared(&mut self, freedom: usize) -> f64 {
        (0..freedom).map(|_| self.normal(1.0)).map(|z| z * z).sum()
    }

    fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            items.swap(last, self.below(last + 1));
        }
    }
}

/// One value for each of `DIMENSIONS`, in mm, g or degrees.
type Sizes = [f64; DIMENSIONS.len()];

/// Sizes are judged on the log scale, the angle as it is.
fn kind(d: usize) -> &'static str {
    if d == CANT_ANGLE { "interval" } else { "ratio" }
}

fn to_scale(d: usize, value: f64) -> f64 {
    if d == CANT_ANGLE {
        value
    } else {
        libm::log(value)
    }
}

fn from_scale(d: usize, x: f64) -> f64 {
    if d == CANT_ANGLE { x } else { libm::exp(x) }
}

/// The true norm of one pattern in one period, on the scale of `to_scale`.
struct Norm {
    centre: Sizes,
    sigma: Sizes,
}

/// Norms of one pattern, by period.
fn draw_norms(pattern: usize, draw: &mut Draw) -> Vec<Norm> {
    let freedom = SPREAD_FREEDOM as f64;
    let sigma: Sizes = std::array::from_fn(|d| {
        DIMENSIONS[d].spread * (freedom / draw.chi_squared(SPREAD_FREEDOM)).sqrt()
    });
    let mut norms = Vec::new();
    for (k, period) in PERIODS.iter().enumerate() {
        let mut centre: Sizes = std::array::from_fn(|d| {
            to_scale(d, DIMENSIONS[d].centres[pattern])
                + draw.normal(sigma[d] * PERIOD_SHARE.sqrt())
        });
        let changes: &[Change] = match k {
            SCARCE_WOOD => &SCARCE_WOOD_CHANGES,
            CONVEYOR_YEARS => &CONVEYOR_CHANGES,
            _ => &[],
        };
        for &(d, low, high) in changes {
            centre[d] += draw.uniform(low, high);
        }
        norms.push(Norm {
            centre,
            sigma: sigma.map(|s| s * period.spread),
        });
    }
    norms
}

/// What a piece's papers say of its date.
#[derive(Clone, Copy)]
enum Dating {
    Years(i32, i32),
    Circa(i32),
    PeriodName(usize),
    Undated,
}

impl Dating {
    fn made(self) -> String {
        match self {
            Dating::Years(from, to) if from == to => from.to_string(),
            Dating::Years(from, to) => format!("{from}-{to}"),
            Dating::Circa(year) => format!("c. {year}"),
            Dating::PeriodName(_) | Dating::Undated => String::new(),
        }
    }

    /// `made` for a sheet that has no column for the period.
    fn made_only(self) -> String {
        match self {
            Dating::PeriodName(k) => format!("{}-{}", PERIODS[k].from, PERIODS[k].to),
            other => other.made(),
        }
    }

    fn period_name(self) -> &'static str {
        if let Dating::PeriodName(k) = self {
            PERIODS[k].name
        } else {
            ""
        }
    }

    /// The one period that holds the whole written date.
    fn recorded_period(self) -> Option<usize> {
        let (from, to) = match self {
            Dating::Years(from, to) => (from, to),
            Dating::Circa(year) => (year - 5, year + 5),
            Dating::PeriodName(k) => return Some(k),
            Dating::Undated => return None,
        };
        PERIODS.iter().position(|p| p.from <= from && to <= p.to)
    }
}

fn draw_dating(k: usize, year: i32, draw: &mut Draw) -> Dating {
    let Period { from, to, .. } = PERIODS[k];
    match draw.uniform(0.0, 1.0) {
        u if u < 0.66 => Dating::Years(year, year),
        u if u < 0.82 => {
            let (before, after) = (draw.years(1, 4), draw.years(1, 4));
            Dating::Years((year - before).max(from), (year + after).min(to))
        }
        u if u < 0.87 => Dating::Circa(year),
        u if u < 0.94 => Dating::PeriodName(k),
        u if u < 0.97 => match PERIODS.get(k + 1) {
            Some(next) => Dating::Years(year, next.from + draw.years(0, 4)),
            None => Dating::Years(from - draw.years(1, 4), year),
        },
        _ => Dating::Undated,
    }
}

struct Piece {
    pattern: usize,
    period: usize,
    year: i32,
    dating: Dating,
    state: &'static str,
    /// The piece as it is today.
    sizes: Sizes,
    /// No longer as it left the works.
    touched: [bool; DIMENSIONS.len()],
    /// Measured for certain; any other cell may be missing.
    certain: [bool; DIMENSIONS.len()],
}

impl Piece {
    fn is_thin_reference(&self) -> bool {
        is_thin(self.pattern) && is_good(self.period)
    }

    /// May carry a planted fault: a good reference, of a pattern with many others.
    fn is_plantable(&self) -> bool {
        is_good(self.period)
            && self.dating.recorded_period() == Some(self.period)
            && self.state == "factory"
            && !is_thin(self.pattern)
            && !self.certain.contains(&true)
    }

    /// State of one reading, where a sheet can tell it apart from the state of its row.
    fn state_of(&self, d: usize) -> &'static str {
        if self.touched[d] || self.state == "unknown" {
            self.state
        } else {
            "factory"
        }
    }
}

/// Whether the parts can be parts of one pipe.
fn fits_together(y: &Sizes) -> bool {
    let parts = y[BOWL_DIAMETER] + y[SHANK_LENGTH] + y[STEM_LENGTH];
    y[WALL_THICKNESS] < 0.5 * (y[BOWL_DIAMETER] - y[CHAMBER_DIAMETER])
        && y[RIM_DIAMETER] <= y[BOWL_DIAMETER]
        && y[CHAMBER_DIAMETER] + 4.0 < y[RIM_DIAMETER]
        && y[CHAMBER_DEPTH] + 3.0 < y[BOWL_HEIGHT]
        && y[TENON_DIAMETER] < y[MORTISE_DIAMETER]
        && y[MORTISE_DIAMETER] + 2.0 < y[SHANK_WIDTH]
        && y[DRAUGHT_DIAMETER] + 1.0 < y[MORTISE_DIAMETER]
        && y[STEM_BORE] + 1.0 < y[TENON_DIAMETER]
        && y[SLOT_WIDTH] + 1.0 < y[BIT_WIDTH]
        && y[SLOT_HEIGHT] + 1.0 < y[BIT_THICKNESS]
        && (0.90 * parts..1.02 * parts).contains(&y[OVERALL_LENGTH])
}

/// A draw whose parts cannot belong together is drawn again; with this seed none is.
fn draw_piece(pattern: usize, period: usize, norm: &Norm, draw: &mut Draw) -> Piece {
    loop {
        let mut sizes: Sizes =
            std::array::from_fn(|d| from_scale(d, norm.centre[d] + draw.normal(norm.sigma[d])));
        let year = draw.years(PERIODS[period].from, PERIODS[period].to);
        let thin_reference = is_thin(pattern) && is_good(period);
        let (dating, (state, changes)) = if thin_reference {
            (Dating::Years(year, year), (LIVES[0].0, LIVES[0].2))
        } else {
            (draw_dating(period, year, draw), draw_life(draw))
        };
        let mut touched = [false; DIMENSIONS.len()];
        for &(d, low, high) in changes {
            let changed = sizes[d] * libm::exp(draw.uniform(low, high));
            if d == STEM_LENGTH {
                sizes[OVERALL_LENGTH] += changed - sizes[d];
                touched[OVERALL_LENGTH] = true;
            }
            sizes[d] = changed;
            touched[d] = true;
        }
        if fits_together(&sizes) {
            let certain = [thin_reference; DIMENSIONS.len()];
            return Piece {
                pattern,
                period,
                year,
                dating,
                state,
                sizes,
                touched,
                certain,
            };
        }
    }
}

fn draw_life(draw: &mut Draw) -> (&'static str, &'static [Change]) {
    let mut left = draw.uniform(0.0, 1.0);
    for (state, share, changes) in LIVES {
        left -= share;
        if left < 0.0 {
            return (state, changes);
        }
    }
    (LIVES[0].0, LIVES[0].2)
}

/// All pieces in the order of their numbers, which is the order of the sheets.
fn draw_pieces(norms: &[Vec<Norm>], draw: &mut Draw) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for (pattern, (_, counts)) in PATTERNS.iter().enumerate() {
        for (period, &count) in counts.iter().enumerate() {
            let norm = &norms[pattern][period];
            pieces.extend((0..count).map(|_| draw_piece(pattern, period, norm, draw)));
        }
    }
    draw.shuffle(&mut pieces);
    pieces.sort_by_key(|piece| !piece.is_thin_reference());
    draw.shuffle(&mut pieces[..SHARES[0].1]);
    pieces
}

/// A fault put there on purpose. `size_in_sd`: signed distance from the true centre of its period;
/// a slip of the pen has none.
struct Planted {
    piece: usize,
    dimension: usize,
    what: &'static str,
    size_in_sd: Option<f64>,
}

fn plant(pieces: &mut [Piece], norms: &[Vec<Norm>], draw: &mut Draw) -> Vec<Planted> {
    let mut planted = Vec::new();
    let mut first = 0;
    for (_, count, n_planted) in SHARES {
        for _ in 0..n_planted {
            let i = draw_plantable(&pieces[first..first + count], draw) + first;
            plant_out_of_norm(i, pieces, norms, draw, &mut planted);
        }
        first += count;
    }
    for (what, dimensions) in [
        ("unit_slip", &[UNIT_SLIP][..]),
        ("swapped_columns", &SWAPPED),
    ] {
        let piece = draw_plantable(&pieces[..SHARES[0].1], draw);
        for &dimension in dimensions {
            pieces[piece].certain[dimension] = true;
            planted.push(Planted {
                piece,
                dimension,
                what,
                size_in_sd: None,
            });
        }
    }
    planted.sort_by_key(|p| (p.piece, p.dimension));
    planted
}

fn draw_plantable(pieces: &[Piece], draw: &mut Draw) -> usize {
    loop {
        let i = draw.below(pieces.len());
        if pieces[i].is_plantable() {
            return i;
        }
    }
}

fn plant_out_of_norm(
    i: usize,
    pieces: &mut [Piece],
    norms: &[Vec<Norm>],
    draw: &mut Draw,
    planted: &mut Vec<Planted>,
) {
    let piece = &mut pieces[i];
    let norm = &norms[piece.pattern][piece.period];
    let wanted = draw.pick(&[1, 1, 2, 2, 3]);
    let mut done = 0;
    while done < wanted {
        let d = draw.pick(&PLANTABLE);
        let sign = draw.pick(&[-1.0, 1.0]);
        let size_in_sd = sign * draw.uniform(PLANTED_SD.0, PLANTED_SD.1);
        let mut sizes = piece.sizes;
        sizes[d] = from_scale(d, norm.centre[d] + size_in_sd * norm.sigma[d]);
        if piece.certain[d] || !fits_together(&sizes) {
            continue;
        }
        piece.sizes = sizes;
        piece.certain[d] = true;
        let (what, size_in_sd) = ("out_of_norm", Some(size_in_sd));
        planted.push(Planted {
            piece: i,
            dimension: d,
            what,
            size_in_sd,
        });
        done += 1;
    }
}

// --------------------------------------------------------------------------------- the tables

/// What a column holds: one of the dimensions, or something else that `about` tells.
struct Column {
    name: &'static str,
    dimension: Option<usize>,
    unit: &'static str,
    kind: &'static str,
    about: &'static str,
}

#[derive(Clone, Copy, PartialEq)]
enum Style {
    Plain,
    /// Semicolons, decimal commas, Windows-1252, CRLF, blank lines between groups of cards.
    Cards,
}

struct Table {
    path: &'static str,
    about: &'static str,
    style: Style,
    columns: Vec<Column>,
    rows: Vec<Vec<String>>,
}

impl Table {
    fn bytes(&self) -> Vec<u8> {
        let (separator, end) = match self.style {
            Style::Plain => (",", "\n"),
            Style::Cards => (";", "\r\n"),
        };
        let line = |cells: Vec<&str>| {
            let quoted: Vec<String> = cells.into_iter().map(|c| quote(c, separator)).collect();
            quoted.join(separator) + end
        };
        let mut text = line(self.columns.iter().map(|c| c.name).collect());
        for (i, row) in self.rows.iter().enumerate() {
            if self.style == Style::Cards && i % 12 == 0 {
                text += end;
            }
            text += &line(row.iter().map(String::as_str).collect());
        }
        match self.style {
            Style::Plain => text.into_bytes(),
            Style::Cards => WINDOWS_1252.encode(&text).0.into_owned(),
        }
    }
}

fn plain_table(
    path: &'static str,
    about: &'static str,
    columns: Vec<Column>,
    rows: Vec<Vec<String>>,
) -> Table {
    Table {
        path,
        about,
        style: Style::Plain,
        columns,
        rows,
    }
}

/// A double quote inside a bare cell is legal to some readers only, so it is quoted too.
fn quote(cell: &str, separator: &str) -> String {
    if cell.contains(['"', '\n']) || cell.contains(separator) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

/// Columns that are not dimensions, in all files: name, type, what it holds.
#[rustfmt::skip] // one column a line
const PLAIN_COLUMNS: [(&str, &str, &str); 34] = [
    ("specimen", "string", "number of the piece, HR0001 on"),
    ("maker", "string", "always Harbour Row Works"),
    ("pattern", "string", "shape word and pattern number"),
    ("finish", "string", "smooth, sandblasted or rusticated"),
    ("made", "string", "a year, a range of years, c. and a year (five years either way), or empty"),
    ("period", "string", "name of the production period"),
    ("state", "string", "factory, worn, reworked, replaced or unknown"),
    ("source", "string", "who sent the measurements (invented)"),
    ("note", "string", "a remark"),
    ("dimension", "string", "what was measured, by key or label"),
    ("value", "string", "the reading as written"),
    ("unit", "string", "unit of the reading and of its uncertainty"),
    ("uncertainty", "string", "standard uncertainty of the reading"),
    ("instrument", "string", "what it was measured with"),
    ("measured_by", "string", "who measured (invented)"),
    ("measured_on", "string", "day of measurement"),
    ("from", "integer", "first year of the period"),
    ("to", "integer", "last year of the period"),
    ("standing", "string", "good, poor or unrated"),
    ("centre", "number", "true centre in that period, in mm, g or degrees (geometric for a ratio)"),
    ("sigma_within", "number", "true sd between pieces in that period (ratio: relative)"),
    ("kind", "string", "ratio (log scale) or interval"),
    ("n_pieces", "integer", "pieces of that pattern truly made in that period, in all sheets"),
    ("what", "string", "out_of_norm, unit_slip or swapped_columns"),
    ("size_in_sd", "number", "signed distance from centre in sigma_within; empty for a slip"),
    ("true_value", "number", "the true size of the piece, in mm, g or degrees"),
    ("true_period", "string", "the period in which the piece was made"),
    ("recorded_period", "string", "the one period that holds the whole written date, else empty"),
    ("true_year", "integer", "the year in which the piece was made"),
    ("sheet", "string", "the file that holds the piece"),
    ("file", "string", "path in this package"),
    ("column", "string", "header of the column"),
    ("meaning", "string", "what the column holds"),
    ("type", "string", "type in the table schema"),
];

/// Columns by name; the names stand in one text.
fn plain_columns(names: &'static str) -> Vec<Column> {
    let column = |name| {
        let known = PLAIN_COLUMNS.iter().find(|c| c.0 == name);
        let (_, kind, about) = *known.unwrap_or(&(name, "string", ""));
        Column {
            name,
            dimension: None,
            unit: "",
            kind,
            about,
        }
    };
    names.split(' ').map(column).collect()
}

fn dimension_column(name: &'static str, d: usize, unit: &'static str) -> Column {
    Column {
        name,
        dimension: Some(d),
        unit,
        kind: "string",
        about: HOW_MEASURED[d],
    }
}

fn strings<const N: usize>(cells: [&str; N]) -> Vec<String> {
    cells.map(str::to_owned).to_vec()
}

fn specimen(i: usize) -> String {
    format!("HR{:04}", i + 1)
}

// --------------------------------------------------------------------------------- the sheets

/// In the order of `DIMENSIONS`: as many spellings as the ledger had clerks.
const LEDGER_HEADERS: [&str; DIMENSIONS.len()] = [
    "length_mm",
    "Weight (g)",
    "Bowl height (mm)",
    "Outside diameter [mm]",
    "rim_diameter",
    "wall mm",
    "Bore (mm)",
    "BOWL DEPTH (mm)",
    "rake (deg)",
    "Shank length (mm)",
    "shank diameter (mm)",
    "Mortise-diameter [mm]",
    "airway",
    "Mouthpiece length (mm)",
    "tenon.diameter.mm",
    "Stem bore (mm)",
    "bit_width_mm",
    "Bit thickness (mm)",
    "Slot width (mm)",
    "slot_height_mm",
];

/// How the inch bench writes a reading.
#[derive(Clone, Copy)]
enum Inch {
    Ounces,
    /// Steel rule, to 1/64 inch.
    Rule,
    /// Calliper, to 0.001 inch.
    Calliper,
    /// Drill gauge: the nearest number drill, the nearest 1/64, or goes and does not go.
    Gauge,
    /// The same with letter drills.
    LetterGauge,
}

const INCH_COLUMNS: [(&str, usize, Inch); 17] = [
    ("overall length (in)", OVERALL_LENGTH, Inch::Rule),
    ("weight (oz)", WEIGHT, Inch::Ounces),
    ("bowl height (in)", BOWL_HEIGHT, Inch::Rule),
    ("bowl diameter (in)", BOWL_DIAMETER, Inch::Rule),
    ("wall thickness (in)", WALL_THICKNESS, Inch::Calliper),
    ("chamber diameter (in)", CHAMBER_DIAMETER, Inch::Rule),
    ("chamber depth (in)", CHAMBER_DEPTH, Inch::Rule),
    ("shank length (in)", SHANK_LENGTH, Inch::Rule),
    ("shank width (in)", SHANK_WIDTH, Inch::Calliper),
    ("mortise diameter (in)", MORTISE_DIAMETER, Inch::LetterGauge),
    ("draught hole (in)", DRAUGHT_DIAMETER, Inch::Gauge),
    ("stem length (in)", STEM_LENGTH, Inch::Rule),
    ("tenon diameter (in)", TENON_DIAMETER, Inch::Calliper),
    ("stem airway (in)", STEM_BORE, Inch::Gauge),
    ("bit width (in)", BIT_WIDTH, Inch::Calliper),
    ("bite thickness [in]", BIT_THICKNESS, Inch::Calliper),
    ("slot width (in)", SLOT_WIDTH, Inch::Calliper),
];

/// Inches, #1 on. Nominal sizes of ASME B94.11M, here and below, as open lookup tables agree on
/// them; the standard itself was not seen.
#[rustfmt::skip] // ten drills a line
const NUMBER_DRILLS: [f64; 60] = [
    0.228, 0.221, 0.213, 0.209, 0.2055, 0.204, 0.201, 0.199, 0.196, 0.1935,
    0.191, 0.189, 0.185, 0.182, 0.18, 0.177, 0.173, 0.1695, 0.166, 0.161,
    0.159, 0.157, 0.154, 0.152, 0.1495, 0.147, 0.144, 0.1405, 0.136, 0.1285,
    0.12, 0.116, 0.113, 0.111, 0.11, 0.1065, 0.104, 0.1015, 0.0995, 0.098,
    0.096, 0.0935, 0.089, 0.086, 0.082, 0.081, 0.0785, 0.076, 0.073, 0.07,
    0.067, 0.0635, 0.0595, 0.055, 0.052, 0.0465, 0.043, 0.042, 0.041, 0.04,
];
/// Inches, A on.
#[rustfmt::skip] // thirteen drills a line
const LETTER_DRILLS: [f64; 26] = [
    0.234, 0.238, 0.242, 0.246, 0.25, 0.257, 0.261, 0.266, 0.272, 0.277, 0.281, 0.29, 0.295,
    0.302, 0.316, 0.323, 0.332, 0.339, 0.348, 0.358, 0.368, 0.377, 0.386, 0.397, 0.404, 0.413,
];

/// The visiting cards: header, dimension, unit.
const CARD_COLUMNS: [(&str, usize, &str); 15] = [
    ("total length", OVERALL_LENGTH, "mm"),
    ("weight (g)", WEIGHT, "g"),
    ("bowl height", BOWL_HEIGHT, "mm"),
    ("bowl diameter", BOWL_DIAMETER, "mm"),
    ("rim diameter", RIM_DIAMETER, "mm"),
    ("wall", WALL_THICKNESS, "mm"),
    ("chamber diameter", CHAMBER_DIAMETER, "mm"),
    ("chamber depth", CHAMBER_DEPTH, "mm"),
    ("cant angle (deg)", CANT_ANGLE, "deg"),
    ("draught diameter", DRAUGHT_DIAMETER, "mm"),
    ("mouthpiece length", STEM_LENGTH, "mm"),
    ("stem bore", STEM_BORE, "mm"),
    ("bit width", BIT_WIDTH, "mm"),
    ("bit thickness", BIT_THICKNESS, "mm"),
    ("slot width", SLOT_WIDTH, "mm"),
];
const CARD_NOTES: [&str; 5] = [
    "reçu par la poste,\nétui d'origine",
    "Größe am Rand geprüft;\nzwei Karten",
    "card says \"très léger\";\nnot weighed again",
    "stamp faint, pattern number clear;\nbought at a fair in the rain",
    "même main sur les deux côtés",
];

/// What a club evening measures.
const CLUB_DIMENSIONS: [usize; 12] = [
    WEIGHT,
    BOWL_HEIGHT,
    BOWL_DIAMETER,
    WALL_THICKNESS,
    CHAMBER_DIAMETER,
    CHAMBER_DEPTH,
    CANT_ANGLE,
    DRAUGHT_DIAMETER,
    STEM_BORE,
    BIT_WIDTH,
    BIT_THICKNESS,
    SLOT_WIDTH,
];

const LEDGER_NOTES: [&str; 5] = [
    "bowl clean of cake",
    "stamp worn, pattern number clear",
    "bought at a fair",
    "one owner, papers kept",
    "measured twice, agreed",
];
const FINISHES: [&str; 5] = ["smooth", "smooth", "smooth", "sandblasted", "rusticated"];
const NOT_MEASURED: [&str; 7] = ["", "", "", "-", "?", "n/a", "NA"];

/// Slots are awkward to reach, so more of them go unmeasured.
fn is_missing(piece: &Piece, d: usize, draw: &mut Draw) -> bool {
    let share = if d == SLOT_WIDTH || d == SLOT_HEIGHT {
        0.12
    } else {
        0.04
    };
    draw.chance(share) && !piece.certain[d]
}

/// A value as an instrument of this step shows it: an error of half a step, then rounding.
fn decimals(value: f64, places: usize, draw: &mut Draw) -> String {
    let step = (0..places).fold(1.0, |step, _| step / 10.0);
    let text = format!("{:.places$}", value + draw.normal(0.5 * step));
    // An angle near zero may round to "-0.0", which nobody writes.
    if text.trim_matches(['-', '0', '.']).is_empty() {
        text.replace('-', "")
    } else {
        text
    }
}

fn sometimes(share: f64, items: &[&'static str], draw: &mut Draw) -> String {
    if draw.chance(share) {
        draw.pick(items).to_owned()
    } else {
        String::new()
    }
}

fn ledger(pieces: &[Piece], first: usize, planted: &[Planted], draw: &mut Draw) -> Table {
    let mut columns = plain_columns("specimen maker pattern finish made period state source note");
    let n_plain = columns.len();
    for (d, name) in LEDGER_HEADERS.into_iter().enumerate() {
        columns.push(dimension_column(name, d, DIMENSIONS[d].unit));
    }
    let mut rows = Vec::new();
    for (i, piece) in pieces.iter().enumerate() {
        let mut row = vec![
            specimen(first + i),
            MAKER.to_owned(),
            PATTERNS[piece.pattern].0.to_owned(),
            draw.pick(&FINISHES).to_owned(),
            piece.dating.made(),
            piece.dating.period_name().to_owned(),
            piece.state.to_owned(),
            draw.pick(&["Collector A", "Collector B", "Collector C", "Collector D"])
                .to_owned(),
            sometimes(0.10, &LEDGER_NOTES, draw),
        ];
        for (d, dimension) in DIMENSIONS.iter().enumerate() {
            row.push(if is_missing(piece, d, draw) {
                draw.pick(&NOT_MEASURED).to_owned()
            } else {
                decimals(piece.sizes[d], dimension.decimals, draw)
            });
        }
        let mine = |what| {
            planted
                .iter()
                .any(|p| p.piece == first + i && p.what == what)
        };
        if mine("unit_slip") {
            let inches = piece.sizes[UNIT_SLIP] / MM_PER_INCH;
            row[n_plain + UNIT_SLIP] = format!("{inches:.*}", DIMENSIONS[UNIT_SLIP].decimals);
        }
        if mine("swapped_columns") {
            row.swap(n_plain + SWAPPED[0], n_plain + SWAPPED[1]);
        }
        rows.push(row);
    }
    let about = "millimetres, one row a piece, mixed headers, blanks of several kinds";
    plain_table(SHARES[0].0, about, columns, rows)
}

fn inch_bench(pieces: &[Piece], first: usize, draw: &mut Draw) -> Table {
    let mut columns = plain_columns("specimen maker pattern made state note");
    for (name, d, form) in INCH_COLUMNS {
        let unit = if let Inch::Ounces = form { "oz" } else { "in" };
        columns.push(dimension_column(name, d, unit));
    }
    let mut rows = Vec::new();
    for (i, piece) in pieces.iter().enumerate() {
        let row_state = if piece.state == "unknown" {
            "unknown"
        } else {
            "factory"
        };
        let mut row = vec![
            specimen(first + i),
            MAKER.to_owned(),
            PATTERNS[piece.pattern].0.to_owned(),
            piece.dating.made_only(),
            row_state.to_owned(),
            sometimes(0.08, &["gauge a little tight", "second visit"], draw),
        ];
        for (_, d, form) in INCH_COLUMNS {
            if is_missing(piece, d, draw) {
                row.push(draw.pick(&["", "", "-", "?"]).to_owned());
                continue;
            }
            let text = inch_text(form, piece.sizes[d], draw);
            let state = piece.state_of(d);
            row.push(if state == row_state {
                text
            } else {
                format!("{text} {{{state}}}")
            });
        }
        rows.push(row);
    }
    let about = "inches: fractions, decimals, drill sizes, drills that go and do not go";
    plain_table(SHARES[1].0, about, columns, rows)
}

fn inch_text(form: Inch, value: f64, draw: &mut Draw) -> String {
    let inches = value / MM_PER_INCH;
    match form {
        Inch::Ounces => decimals(value / GRAMS_PER_OUNCE, 2, draw),
        Inch::Rule => {
            let read = inches + draw.normal(0.5 / 64.0);
            mixed_number((read * 64.0).round() as u32, draw)
        }
        Inch::Calliper => decimals(inches, 3, draw) + draw.pick(&["", "", "\"", " in"]),
        Inch::Gauge => match draw.below(4) {
            0 => format!("#{}", nearest(&NUMBER_DRILLS, inches) + 1),
            1 => format!("no. {}", nearest(&NUMBER_DRILLS, inches) + 1),
            2 => mixed_number((inches * 64.0).round() as u32, draw),
            _ => goes_and_does_not(inches),
        },
        Inch::LetterGauge => match draw.below(2) {
            0 => format!(
                "letter {}",
                char::from(b'A' + nearest(&LETTER_DRILLS, inches) as u8)
            ),
            _ => goes_and_does_not(inches),
        },
    }
}

fn nearest(drills: &[f64], inches: f64) -> usize {
    let gap = |i: &usize| (drills[*i] - inches).abs();
    (0..drills.len())
        .min_by(|a, b| gap(a).total_cmp(&gap(b)))
        .unwrap_or(0)
}

fn goes_and_does_not(inches: f64) -> String {
    let goes = (inches * 64.0).floor() as u32;
    format!("{}..{}", fraction(goes), fraction(goes + 1))
}

/// In lowest terms, as a rule is read.
fn fraction(sixty_fourths: u32) -> String {
    let halvings = sixty_fourths.trailing_zeros().min(6);
    format!("{}/{}", sixty_fourths >> halvings, 64 >> halvings)
}

fn mixed_number(sixty_fourths: u32, draw: &mut Draw) -> String {
    match (sixty_fourths / 64, sixty_fourths % 64) {
        (whole, 0) => format!("{whole}.00"),
        (0, part) => fraction(part) + draw.pick(&["", "", "\""]),
        (whole, part) if draw.chance(0.7) => format!("{whole} {}", fraction(part)),
        (whole, part) => format!("{whole}-{} in", fraction(part)),
    }
}

fn visiting_cards(pieces: &[Piece], first: usize, draw: &mut Draw) -> Table {
    let mut columns = plain_columns("specimen maker pattern made period state source note");
    for (name, d, unit) in CARD_COLUMNS {
        columns.push(dimension_column(name, d, unit));
    }
    let mut rows = Vec::new();
    for (i, piece) in pieces.iter().enumerate() {
        let mut row = vec![
            specimen(first + i),
            MAKER.to_owned(),
            PATTERNS[piece.pattern].0.to_owned(),
            piece.dating.made(),
            piece.dating.period_name().to_owned(),
            piece.state.to_owned(),
            draw.pick(&["Visitor A", "Visitor B", "Visitor C"])
                .to_owned(),
            sometimes(0.25, &CARD_NOTES, draw),
        ];
        for (_, d, unit) in CARD_COLUMNS {
            row.push(if is_missing(piece, d, draw) {
                draw.pick(&["", "-", "n/a"]).to_owned()
            } else {
                card_text(piece.sizes[d], unit, draw)
            });
        }
        rows.push(row);
    }
    let about = "Windows-1252, semicolons, decimal commas, limits of error, notes with line breaks";
    let style = Style::Cards;
    Table {
        style,
        ..plain_table(SHARES[2].0, about, columns, rows)
    }
}

/// Visitors state limits of error of 0.1 mm, and mean them.
fn card_text(value: f64, unit: &str, draw: &mut Draw) -> String {
    if unit != "mm" {
        return decimals(value, 1, draw).replace('.', ",");
    }
    let read = format!("{:.1}", value + draw.uniform(-0.05, 0.05)).replace('.', ",");
    read + draw.pick(&[" ± 0,1", " ± 0,1", " +- 0,1", "", " mm"])
}

/// The measurers of the club: name, standard uncertainty in mm (what they state, and what it is).
const MEASURERS: [(&str, f64); 3] = [
    ("Measurer A", 0.02),
    ("Measurer B", 0.05),
    ("Measurer C", 0.03),
];
/// Measurer C works in inches and states no uncertainty.
const INCH_MEASURER: usize = 2;
/// Every so many pieces are measured by a second person.
const MEASURED_TWICE: usize = 4;

fn club_evening(pieces: &[Piece], first: usize, draw: &mut Draw) -> Table {
    let columns = plain_columns(
        "specimen maker pattern made dimension value unit uncertainty state instrument \
         measured_by measured_on source note",
    );
    let mut rows = Vec::new();
    for (i, piece) in pieces.iter().enumerate() {
        let measurer = i % MEASURERS.len();
        let mut readers = vec![(measurer, "2025-02-06", "")];
        if i % MEASURED_TWICE == 0 {
            let other = (measurer + 1) % MEASURERS.len();
            readers.push((other, "2025-03-06", "second measurer"));
        }
        for (measurer, evening, note) in readers {
            for d in CLUB_DIMENSIONS {
                if is_missing(piece, d, draw) {
                    continue;
                }
                let (value, unit, uncertainty, instrument) =
                    club_reading(measurer, d, piece.sizes[d], draw);
                // Measurer B copies the keys from a list; the others write words.
                let key = DIMENSIONS[d].key;
                let dimension = if measurer == 1 {
                    key.to_owned()
                } else {
                    key.replace('_', " ")
                };
                rows.push(strings([
                    &specimen(first + i),
                    MAKER,
                    PATTERNS[piece.pattern].0,
                    &piece.dating.made_only(),
                    &dimension,
                    &value,
                    unit,
                    &uncertainty,
                    piece.state_of(d),
                    instrument,
                    MEASURERS[measurer].0,
                    evening,
                    "Club evening",
                    note,
                ]));
            }
        }
    }
    let about = "one row a reading, by three people; some pieces measured twice";
    plain_table(SHARES[3].0, about, columns, rows)
}

/// Value, unit, standard uncertainty, instrument.
fn club_reading(
    measurer: usize,
    d: usize,
    value: f64,
    draw: &mut Draw,
) -> (String, &'static str, String, &'static str) {
    let is_hole = d == DRAUGHT_DIAMETER || d == STEM_BORE;
    let in_inches = measurer == INCH_MEASURER;
    let (_, sd) = MEASURERS[measurer];
    let none = String::new();
    match DIMENSIONS[d].unit {
        "g" => (decimals(value, 1, draw), "g", none, "balance"),
        "deg" => (decimals(value, 1, draw), "deg", none, "angle gauge"),
        _ if in_inches && is_hole => (
            goes_and_does_not(value / MM_PER_INCH),
            "in",
            none,
            "drill gauge",
        ),
        _ if in_inches => {
            let read = (value + draw.normal(sd)) / MM_PER_INCH;
            (format!("{read:.3}"), "in", none, "dial calliper")
        }
        _ => {
            let read = value + draw.normal(sd);
            let instrument = if is_hole { "plug gauge" } else { "calliper" };
            (format!("{read:.2}"), "mm", sd.to_string(), instrument)
        }
    }
}

/// A sheet that must be refused: the first, the eighth and the last but one row are good, the
/// last repeats the first specimen. Fixed text, no draw.
fn broken() -> Table {
    const ROWS: [&str; 14] = [
        "HRX01|billiard H21|1955|factory|143.2|4.21|4.02",
        "HRX02|billiard H21|1956|factory|144.0|about four|3.98",
        "HRX03|apple H34|1957|factory|141.1|1 2/0|4.05",
        "HRX04|apple H34|1951|factory|5 1/2 1/4|4.18|4.00",
        "HRX05|apple H34|1952|factory|141.9|4.24|22#",
        "HRX06|poker H63|1954|factory|136.0|4,2|4.01",
        "HRX07|poker H63|1955|factory|-136.3|4.19|3.99",
        "HRX08|poker H63|1954|factory|135.7|4.23|5/32",
        "HRX09|lovat H85|1958|factory|1e999|4.33|3.93",
        "HRX10|lovat H85|1958|factory|139.8|NaN|3.90",
        "HRX11|lovat H85|1953|factory|140.2|4.28|#97",
        "HRX12|prince H52|1950|chewed|155.0|4.02|3.71",
        "HRX13|prince H52|1949|factory|155.6|3.98|3.68",
        "HRX01|billiard H21|1955|factory|143.3|4.20|4.01",
    ];
    let mut columns = plain_columns("specimen maker pattern made state");
    columns.push(dimension_column("overall length", OVERALL_LENGTH, "mm"));
    columns.push(dimension_column("bit thickness", BIT_THICKNESS, "mm"));
    columns.push(dimension_column("airway", DRAUGHT_DIAMETER, "mm"));
    let about = "faulty on purpose, to show what a refusal looks like; not part of the collection";
    let row = |text: &str| -> Vec<String> {
        let mut cells: Vec<_> = text.split('|').map(str::to_owned).collect();
        cells.insert(1, MAKER.to_owned());
        cells
    };
    let rows = ROWS.into_iter().map(row).collect();
    plain_table("sheets/broken.csv", about, columns, rows)
}

// ---------------------------------------------------------------------------------- the truth

fn periods() -> Table {
    let columns = plain_columns("maker period from to standing note");
    let row = |p: &Period| {
        strings([
            MAKER,
            p.name,
            &p.from.to_string(),
            &p.to.to_string(),
            p.standing,
            p.note,
        ])
    };
    let rows = PERIODS.iter().map(row).collect();
    let about = "production periods of the maker and their standing";
    plain_table("periods.csv", about, columns, rows)
}

fn true_norms(norms: &[Vec<Norm>]) -> Table {
    let columns = plain_columns("pattern dimension period centre sigma_within kind n_pieces");
    let mut rows = Vec::new();
    for (pattern, (name, counts)) in PATTERNS.iter().enumerate() {
        for (d, dimension) in DIMENSIONS.iter().enumerate() {
            for (k, period) in PERIODS.iter().enumerate() {
                let norm = &norms[pattern][k];
                let centre = format!("{:.4}", from_scale(d, norm.centre[d]));
                let sigma = format!("{:.6}", norm.sigma[d]);
                let n = counts[k].to_string();
                rows.push(strings([
                    name,
                    dimension.key,
                    period.name,
                    &centre,
                    &sigma,
                    kind(d),
                    &n,
                ]));
            }
        }
    }
    let about = "the true centre and spread of each pattern and dimension in each period";
    plain_table("truth/true_norms.csv", about, columns, rows)
}

fn planted_faults(pieces: &[Piece], planted: &[Planted]) -> Table {
    let columns = plain_columns("specimen dimension what size_in_sd true_value");
    let row = |p: &Planted| {
        let size = p.size_in_sd.map(|s| format!("{s:.2}")).unwrap_or_default();
        let value = format!("{:.3}", pieces[p.piece].sizes[p.dimension]);
        strings([
            &specimen(p.piece),
            DIMENSIONS[p.dimension].key,
            p.what,
            &size,
            &value,
        ])
    };
    let rows = planted.iter().map(row).collect();
    let about = "every fault put there on purpose, one row a dimension";
    plain_table("truth/planted.csv", about, columns, rows)
}

fn true_pieces(pieces: &[Piece]) -> Table {
    let columns =
        plain_columns("specimen pattern true_period state true_year recorded_period sheet");
    let mut sheets = SHARES
        .iter()
        .flat_map(|&(path, n, _)| std::iter::repeat_n(path, n));
    let mut rows = Vec::new();
    for (i, piece) in pieces.iter().enumerate() {
        rows.push(strings([
            &specimen(i),
            PATTERNS[piece.pattern].0,
            PERIODS[piece.period].name,
            piece.state,
            &piece.year.to_string(),
            piece
                .dating
                .recorded_period()
                .map_or("", |k| PERIODS[k].name),
            sheets.next().unwrap_or_default(),
        ]));
    }
    let about = "the true period and state of every piece";
    plain_table("truth/pieces.csv", about, columns, rows)
}

// ---------------------------------------------------------------------------------- the files

/// The data dictionary: every column of every other table.
fn dictionary(tables: &[Table]) -> Table {
    let columns = plain_columns("file column dimension unit type meaning");
    let mut rows = Vec::new();
    for table in tables {
        for column in &table.columns {
            let key = column.dimension.map_or("", |d| DIMENSIONS[d].key);
            let (name, unit, kind) = (column.name, column.unit, column.kind);
            rows.push(strings([table.path, name, key, unit, kind, column.about]));
        }
    }
    let about = "the data dictionary: every column of every other file";
    plain_table("dictionary.csv", about, columns, rows)
}

// Keys below stand in alphabetical order: serde_json keeps or sorts them, as its features say.

fn descriptor(tables: &[Table]) -> Value {
    json!({
        "description": "Invented data: a pipe factory that never existed, drawn by a seeded \
            generator, with the faults that real sheets have. See README.md.",
        "licenses": [{
            "name": "CC0-1.0",
            "path": "https://creativecommons.org/publicdomain/zero/1.0/",
            "title": "CC0 1.0 Universal",
        }],
        "name": "harbour-row-works",
        "profile": "tabular-data-package",
        "resources": tables.iter().map(resource).collect::<Vec<_>>(),
        "title": "Invented data: the Harbour Row Works, a factory that never existed",
    })
}

fn resource(table: &Table) -> Value {
    let (delimiter, end, encoding, blank_lines) = match table.style {
        Style::Plain => (",", "\n", "utf-8", false),
        Style::Cards => (";", "\r\n", "windows-1252", true),
    };
    let file_name = table.path.rsplit('/').next().unwrap_or(table.path);
    let mut resource = json!({
        "description": format!("Invented: {}.", table.about),
        "dialect": {
            "delimiter": delimiter,
            "doubleQuote": true,
            "lineTerminator": end,
            "skipBlankRows": blank_lines,
        },
        "encoding": encoding,
        "format": "csv",
        "mediatype": "text/csv",
        "name": file_name.trim_end_matches(".csv"),
        "path": table.path,
        "profile": "tabular-data-resource",
        "schema": {
            "fields": table.columns.iter().map(field).collect::<Vec<_>>(),
            "missingValues": ["", "-", "?", "n/a", "NA"],
        },
    });
    // The program's own property: what `--from data` is to read. The faulty sheet and the bench have
    // none.
    match table.path {
        "periods.csv" => resource["holds"] = json!("periods"),
        "sheets/broken.csv" => {}
        forms::TRACES | forms::COLOURS => resource["holds"] = json!("traces"),
        path if path.starts_with("sheets/") => resource["holds"] = json!("measurements"),
        _ => {}
    }
    resource
}

fn field(column: &Column) -> Value {
    let description = match (column.dimension, column.unit) {
        (None, _) => column.about.to_owned(),
        (Some(d), unit) => format!("{} ({unit}): {}", DIMENSIONS[d].key, column.about),
    };
    json!({"description": description, "name": column.name, "type": column.kind})
}

fn main() -> io::Result<()> {
    let mut draw = Draw(Xoshiro256PlusPlus::seed_from_u64(SEED));
    let norms: Vec<_> = (0..PATTERNS.len())
        .map(|p| draw_norms(p, &mut draw))
        .collect();
    let mut pieces = draw_pieces(&norms, &mut draw);
    let planted = plant(&mut pieces, &norms, &mut draw);

    let [(_, ledger_n, _), (_, inch_n, _), (_, card_n, _), _] = SHARES;
    let (inch_at, card_at) = (ledger_n, ledger_n + inch_n);
    let club_at = card_at + card_n;
    let ledger = ledger(&pieces[..inch_at], 0, &planted, &mut draw);
    let forms = forms::tables(&pieces, &planted, &ledger);
    let mut tables = vec![
        periods(),
        ledger,
        inch_bench(&pieces[inch_at..card_at], inch_at, &mut draw),
        visiting_cards(&pieces[card_at..club_at], card_at, &mut draw),
        club_evening(&pieces[club_at..], club_at, &mut draw),
        broken(),
        true_norms(&norms),
        planted_faults(&pieces, &planted),
        true_pieces(&pieces),
    ];
    tables.extend(forms);
    tables.extend(bench::tables());
    tables.push(dictionary(&tables));

    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("data");
    for folder in ["bench", "sheets", "truth"] {
        fs::create_dir_all(data.join(folder))?;
    }
    for table in &tables {
        fs::write(data.join(table.path), table.bytes())?;
    }
    let text = serde_json::to_string_pretty(&descriptor(&tables))?;
    fs::write(data.join("datapackage.json"), text + "\n")
}
