//! What the method's own study found: 2,500 worlds a cell (1,250 with 30 other patterns).
//!
//! Drawn and judged by another program in another language. Where its description leaves open how
//! a world is drawn, the reading that gives its figures is the one in `world`.

use super::rates::Measure::{self, Any, Ff05, Ff5, Nee, Out6, Pow2, Pow4, Sharpness};
use super::rates::Rate;
use super::world::{BASE, Bad, Reading, Scenario, Spread};

/// Worlds a cell of the study.
pub(crate) fn worlds(scenario: &Scenario) -> usize {
    if scenario.others >= 30 { 1250 } else { 2500 }
}

/// Standard error of the difference between a rate, of `own_worlds`, and the study's. Both are Monte
/// Carlo means. The dimensions of a world share what was borrowed, which makes counts vary more
/// than the binomial law says: the world is the unit, with the sd of this run, but never less than
/// the binomial.
pub(crate) fn standard_error(
    scenario: &Scenario,
    own_worlds: usize,
    measure: Measure,
    (rate, stated): (Rate, f64),
) -> f64 {
    let binomial = stated * (1.0 - stated) / measure.units(own_worlds) as f64;
    let own = (rate.se * rate.se).max(binomial);
    (own * (1.0 + own_worlds as f64 / worlds(scenario) as f64)).sqrt()
}

/// Mean period share and `phi` of the base world.
pub(crate) const BASE_RHO: f64 = 0.267;
/// See [`BASE_RHO`].
pub(crate) const BASE_PHI: f64 = 0.156;

/// Columns of the base world, undated.
pub(crate) const UNDATED: [Measure; 8] = [Ff5, Ff05, Any, Pow2, Pow4, Out6, Nee, Sharpness];
/// Columns of the base world, dated.
pub(crate) const DATED: [Measure; 4] = [Ff5, Any, Pow4, Out6];

/// The base world: references, undated, dated.
#[rustfmt::skip] // one line as in the study
pub(crate) const BASE_ROWS: [(usize, [f64; 8], [f64; 4]); 7] = [
    (1, [0.036, 0.0019, 0.018, 0.17, 0.56, 0.29, 0.24, 0.54], [0.039, 0.020, 0.58, 0.31]),
    (2, [0.041, 0.0030, 0.028, 0.25, 0.73, 0.55, 0.01, 0.66], [0.046, 0.029, 0.72, 0.53]),
    (3, [0.048, 0.0044, 0.044, 0.30, 0.81, 0.71, 0.00, 0.73], [0.052, 0.048, 0.79, 0.68]),
    (4, [0.046, 0.0046, 0.046, 0.33, 0.85, 0.81, 0.00, 0.76], [0.052, 0.050, 0.83, 0.78]),
    (6, [0.049, 0.0047, 0.048, 0.36, 0.89, 0.89, 0.00, 0.81], [0.055, 0.057, 0.88, 0.89]),
    (10, [0.050, 0.0051, 0.048, 0.39, 0.92, 0.95, 0.00, 0.86], [0.054, 0.056, 0.92, 0.96]),
    (30, [0.046, 0.0053, 0.054, 0.43, 0.95, 0.99, 0.00, 0.92], [0.053, 0.059, 0.96, 0.99]),
];

/// References of the other worlds, undated.
pub(crate) const SIZES: [usize; 5] = [1, 2, 3, 6, 30];
/// Their columns.
pub(crate) const COLUMNS: [Measure; 4] = [Ff5, Any, Pow4, Nee];

/// One of the other worlds.
pub(crate) struct Row {
    pub(crate) name: &'static str,
    pub(crate) scenario: Scenario,
    /// By [`SIZES`] and [`COLUMNS`]; `None` where the study has no figure.
    cells: [Option<[f64; 4]>; 5],
}

impl Row {
    /// Its figures with `n` references, where the study has them.
    pub(crate) fn cells(&self, n: usize) -> Option<[f64; 4]> {
        let at = SIZES.iter().position(|&size| size == n)?;
        self.cells[at]
    }
}

const fn row(name: &'static str, scenario: Scenario, cells: [[f64; 4]; 5]) -> Row {
    let [a, b, c, d, e] = cells;
    let cells = [Some(a), Some(b), Some(c), Some(d), Some(e)];
    Row {
        name,
        scenario,
        cells,
    }
}

const fn without_one(name: &'static str, bad: Bad, cells: [[f64; 4]; 4]) -> Row {
    let [b, c, d, e] = cells;
    let cells = [None, Some(b), Some(c), Some(d), Some(e)];
    Row {
        name,
        scenario: Scenario { bad, ..BASE },
        cells,
    }
}

/// No other patterns.
pub(crate) const ALONE: Scenario = Scenario { others: 0, ..BASE };
/// Heavy tails.
pub(crate) const HEAVY: Scenario = Scenario {
    heavy_tails: true,
    ..BASE
};
const FEW: Scenario = Scenario { others: 3, ..BASE };
const MIXED: Scenario = Scenario {
    reading: Reading::Mixed,
    ..BASE
};
const MIXED_ALONE: Scenario = Scenario { others: 0, ..MIXED };

/// Names of rows that are asked for elsewhere.
pub(crate) const OWN_DATA: &str = "G = 0 (own data only)";
pub(crate) const G_3: &str = "G = 3";
pub(crate) const G_30: &str = "G = 30";
pub(crate) const LAMBDA_1: &str = "λ\\* = 1";
pub(crate) const ROUNDED: &str = "rounded to 1 sigma";
pub(crate) const MIXED_U: &str = "mixed uncertainties";
pub(crate) const MIXED_OWN: &str = "mixed uncertainties, G = 0";
pub(crate) const HEAVY_TAILS: &str = "heavy tails (t5)";
pub(crate) const ONE_BAD: &str = "one reference bad by +8 sigma";

/// The other worlds, undated.
#[rustfmt::skip] // one line a cell, as in the study
pub(crate) const ROWS: [Row; 17] = [
    row(OWN_DATA, ALONE, [
        [0.0, 0.0, 0.0, 1.0],
        [0.051, 0.056, 0.20, 1.0],
        [0.049, 0.037, 0.47, 1.0],
        [0.048, 0.048, 0.82, 0.0],
        [0.047, 0.042, 0.96, 0.0],
    ]),
    row(G_3, FEW, G_3_CELLS),
    row("G = 3, share 1/2 where no pattern tells", Scenario { untold_share: 0.5, ..FEW }, G_3_CELLS),
    row(G_30, Scenario { others: 30, ..BASE }, [
        [0.049, 0.046, 0.66, 0.0],
        [0.049, 0.040, 0.81, 0.02],
        [0.053, 0.046, 0.87, 0.0],
        [0.050, 0.055, 0.91, 0.0],
        [0.052, 0.049, 0.96, 0.0],
    ]),
    row("d0\\* = ∞, λ\\* = 0", Scenario { spread: [Spread::Same; 2], lambda: 0.0, ..BASE }, [
        [0.030, 0.010, 0.68, 0.01],
        [0.036, 0.011, 0.82, 0.01],
        [0.036, 0.019, 0.88, 0.0],
        [0.041, 0.030, 0.92, 0.0],
        [0.035, 0.022, 0.95, 0.0],
    ]),
    row("d0\\* = 3", Scenario { spread: [Spread::Differs(3); 2], ..BASE }, [
        [0.033, 0.018, 0.34, 0.97],
        [0.042, 0.027, 0.59, 0.01],
        [0.051, 0.060, 0.72, 0.0],
        [0.050, 0.060, 0.86, 0.0],
        [0.046, 0.049, 0.95, 0.0],
    ]),
    row(LAMBDA_1, Scenario { lambda: 1.0, ..BASE }, [
        [0.040, 0.022, 0.58, 0.25],
        [0.045, 0.033, 0.75, 0.01],
        [0.051, 0.045, 0.82, 0.0],
        [0.056, 0.053, 0.89, 0.0],
        [0.060, 0.078, 0.95, 0.0],
    ]),
    row(ROUNDED, Scenario { reading: Reading::Rounded(1.0), ..BASE }, [
        [0.039, 0.024, 0.56, 0.21],
        [0.039, 0.032, 0.71, 0.01],
        [0.046, 0.035, 0.79, 0.0],
        [0.045, 0.044, 0.87, 0.0],
        [0.046, 0.049, 0.94, 0.0],
    ]),
    row("rounded to 0.5 sigma", Scenario { reading: Reading::Rounded(0.5), ..BASE }, [
        [0.036, 0.019, 0.56, 0.25],
        [0.040, 0.028, 0.73, 0.01],
        [0.048, 0.042, 0.81, 0.0],
        [0.048, 0.044, 0.88, 0.0],
        [0.046, 0.052, 0.95, 0.0],
    ]),
    row(MIXED_U, MIXED, [
        [0.028, 0.010, 0.48, 0.55],
        [0.031, 0.012, 0.64, 0.08],
        [0.035, 0.019, 0.73, 0.02],
        [0.035, 0.015, 0.81, 0.0],
        [0.041, 0.032, 0.90, 0.0],
    ]),
    row(MIXED_OWN, MIXED_ALONE, MIXED_ALONE_CELLS),
    row(
        "mixed uncertainties, G = 0, share 1/2 where no set tells",
        Scenario { untold_share: 0.5, ..MIXED_ALONE },
        MIXED_ALONE_CELLS,
    ),
    row(HEAVY_TAILS, HEAVY, [
        [0.034, 0.020, 0.51, 0.64],
        [0.039, 0.024, 0.74, 0.01],
        [0.050, 0.048, 0.83, 0.0],
        [0.058, 0.092, 0.90, 0.0],
        [0.057, 0.135, 0.96, 0.0],
    ]),
    row("1 % of references bad", Scenario { bad: Bad::Anywhere(0.01), ..BASE }, [
        [0.027, 0.010, 0.44, 0.65],
        [0.031, 0.010, 0.66, 0.01],
        [0.037, 0.025, 0.77, 0.0],
        [0.045, 0.036, 0.87, 0.0],
        [0.044, 0.042, 0.95, 0.0],
    ]),
    row("5 % of references bad", Scenario { bad: Bad::Anywhere(0.05), ..BASE }, [
        [0.021, 0.002, 0.19, 0.99],
        [0.016, 0.001, 0.46, 0.01],
        [0.023, 0.008, 0.62, 0.0],
        [0.035, 0.026, 0.77, 0.0],
        [0.040, 0.035, 0.89, 0.0],
    ]),
    without_one("one reference bad by +4 sigma", Bad::OneReference(4.0), [
        [0.058, 0.032, 0.10, 0.25],
        [0.052, 0.053, 0.36, 0.0],
        [0.037, 0.039, 0.63, 0.0],
        [0.040, 0.047, 0.93, 0.0],
    ]),
    without_one(ONE_BAD, Bad::OneReference(8.0), [
        [0.028, 0.004, 0.00, 0.80],
        [0.043, 0.030, 0.66, 0.01],
        [0.048, 0.047, 0.86, 0.0],
        [0.047, 0.055, 0.95, 0.0],
    ]),
];

const G_3_CELLS: [[f64; 4]; 5] = [
    [0.013, 0.002, 0.26, 0.94],
    [0.028, 0.008, 0.55, 0.15],
    [0.039, 0.016, 0.71, 0.0],
    [0.044, 0.039, 0.85, 0.0],
    [0.037, 0.030, 0.93, 0.0],
];
const MIXED_ALONE_CELLS: [[f64; 4]; 5] = [
    [0.0, 0.0, 0.0, 1.0],
    [0.0, 0.0, 0.01, 1.0],
    [0.007, 0.0, 0.31, 1.0],
    [0.035, 0.012, 0.72, 0.0],
    [0.045, 0.044, 0.91, 0.0],
];

/// Own data only, dated: references, `Ff5`, `Nee`.
pub(crate) const ALONE_DATED: [(usize, f64, f64); 6] = [
    (2, 0.049, 1.0),
    (3, 0.041, 1.0),
    (4, 0.059, 0.01),
    (6, 0.056, 0.0),
    (10, 0.053, 0.0),
    (30, 0.049, 0.0),
];

/// Heavy tails, dated, 30 references: `Ff5`, `Any`.
pub(crate) const HEAVY_DATED: (f64, f64) = (0.068, 0.18);

/// Half the dimensions with d0* = 3, half all the same: `Ff5` of either half with one reference.
pub(crate) const FAMILIES: [(usize, f64, f64); 2] = [(8, 0.053, 0.014), (30, 0.066, 0.022)];

/// The world of [`FAMILIES`], with so many other patterns.
pub(crate) fn families(others: usize) -> Scenario {
    Scenario {
        others,
        spread: [Spread::Differs(3), Spread::Same],
        ..BASE
    }
}
