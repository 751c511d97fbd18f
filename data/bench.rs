//! The third part of the invented world: three pieces of the poor period on a restorer's bench, with
//! the places that matter when material comes off. Fixed text, no draw, but for the outlines of the
//! first piece, which `forms.rs` draws with a generator of its own.
//!
//! The first can be put right wholly, the second partly, the third is to be left alone.

use super::forms::{self, Fault, Sample};
use super::{
    CONVEYOR_YEARS, DIMENSIONS, Dating, Draw, MAKER, PATTERNS, Piece, SeedableRng, Sizes, Table,
    Xoshiro256PlusPlus, dimension_column, plain_columns, plain_table,
};

pub(super) const BENCH: &str = "bench/bench.csv";
pub(super) const BENCH_TRACES: &str = "bench/bench_traces.csv";

const SEED_OF_BENCH: u64 = 1987;

/// Number from 0, index of the pattern, year, sizes in the order of `DIMENSIONS`, sizes in the order
/// of `EXTRA`, note.
type BenchPiece = (usize, usize, i32, Sizes, [f64; EXTRA.len()], &'static str);

/// Places that no other sheet has: key, how it is measured.
const EXTRA: [(&str, &str); 4] = [
    ("heel_thickness", "bowl height less chamber depth"),
    (
        "shank_height",
        "across the shank at its face, top to bottom",
    ),
    ("button_width", "side to side across the button"),
    ("button_height", "top to bottom across the button"),
];

#[rustfmt::skip] // one kind of size a line
const PIECES: [BenchPiece; 3] = [
    (600, 5, 1964, [
        140.7, 36.8, 46.3, 39.2, 36.3, 7.02, 18.7, 38.2, 14.1, 40.2,
        13.52, 8.24, 3.30, 66.4, 7.53, 2.50, 16.02, 4.60, 8.00, 1.26,
    ], [8.1, 13.60, 17.40, 6.30], "bulge in the left wall, elbow in the top of the stem"),
    (601, 0, 1962, [
        143.6, 38.9, 47.3, 38.5, 33.9, 7.72, 21.3, 39.1, 0.6, 44.6,
        14.70, 8.40, 3.30, 66.2, 7.70, 3.00, 16.20, 4.74, 8.10, 1.25,
    ], [8.2, 14.80, 17.60, 5.70], "chamber reamed wide in use"),
    (602, 1, 1966, [
        141.0, 37.9, 41.2, 44.4, 32.6, 5.40, 21.9, 34.6, 0.9, 40.3,
        14.70, 8.60, 4.90, 63.8, 7.55, 3.50, 15.90, 3.40, 10.6, 1.60,
    ], [6.6, 14.80, 17.30, 5.90], "topped, reamed and buffed long ago; chamber off centre, one wall thin"),
];

/// The sheets: the pieces' measurements, and the traces of the first piece.
pub(super) fn tables() -> [Table; 2] {
    let mut columns = plain_columns("specimen maker pattern finish made state note");
    for (d, dimension) in DIMENSIONS.iter().enumerate() {
        columns.push(dimension_column(dimension.key, d, dimension.unit));
    }
    for (key, about) in EXTRA {
        let mut column = plain_columns(key).remove(0);
        (column.unit, column.about) = ("mm", about);
        columns.push(column);
    }
    let row = |piece: &BenchPiece| {
        let (number, pattern, year, sizes, extra, note) = *piece;
        let state = if number == 600 { "factory" } else { "unknown" };
        let mut cells = vec![
            super::specimen(number),
            MAKER.to_owned(),
            PATTERNS[pattern].0.to_owned(),
            forms::SMOOTH.to_owned(),
            year.to_string(),
            state.to_owned(),
            note.to_owned(),
        ];
        let places = DIMENSIONS
            .iter()
            .map(|d| d.decimals)
            .chain([2; EXTRA.len()]);
        let all = sizes.iter().chain(&extra).zip(places);
        cells.extend(all.map(|(size, places)| format!("{size:.places$}")));
        cells
    };
    let about = "three pieces on a restorer's bench; no part of the 600 pieces";
    let sheet = plain_table(BENCH, about, columns, PIECES.iter().map(row).collect());
    let (number, pattern, year, sizes, ..) = PIECES[0];
    let piece = Piece {
        pattern,
        period: CONVEYOR_YEARS,
        year,
        dating: Dating::Years(year, year),
        state: "factory",
        sizes,
        touched: [false; DIMENSIONS.len()],
        certain: [true; DIMENSIONS.len()],
    };
    let sample = Sample::of_bench(number, &piece, vec![Fault::Bulge, Fault::Elbow]);
    let mut draw = Draw(Xoshiro256PlusPlus::seed_from_u64(SEED_OF_BENCH));
    [sheet, forms::bench_table(BENCH_TRACES, &sample, &mut draw)]
}
