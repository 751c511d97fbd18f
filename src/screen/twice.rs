//! One piece under two names.
//!
//! Two rows of one pattern are one piece if their readings differ by no more than reading errors do,
//! or if they are equal because one was copied; else they differ as two pieces do. The weight of a
//! pair is the ratio of these densities over all dimensions that both have, so that it is over N by
//! chance with probability 1 / N at most, as for the other slips.

use std::cmp::Ordering;
use std::collections::{BTreeSet, HashMap};

use super::fellows::Fellows;
use super::reading::Readings;
use super::{Code, Family, Finding, Settings, Suspect};
use crate::catalogue::{Kind, State, fold};
use crate::cohort::Cohort;
use crate::parallel;

/// Two people's readings of one size differ by this share more than their steps (our decision).
const ERROR: f64 = 0.003;
/// The same of an angle or an offset, in its unit.
const ERROR_OF_INTERVAL: f64 = 0.5;
/// A pair has so many dimensions in common at least.
const COMMON: usize = 5;
/// In patterns of more pieces only those are compared that agree in some three dimensions.
const LARGE: usize = 700;
/// What is the same for a few dimensions of two pieces (large pieces are large everywhere) leaves
/// this share of the spread for them to differ by (our decision).
const LEFT: f64 = std::f64::consts::FRAC_1_SQRT_2;
/// Even of one piece a dimension may be read wrongly once in so many.
const WRONG: f64 = 0.1;
/// Of copied rows a cell may have been mended.
const MENDED: f64 = 0.05;

/// What one dimension of one pattern says of a pair.
#[derive(Clone, Copy)]
struct Slot {
    /// Spread of the difference of two pieces; 0 where it is not known.
    spread: f64,
    error: f64,
}

/// A reading of a piece, on the scale of judgement.
#[derive(Clone, Copy)]
struct Cell {
    x: f64,
    u: f64,
    at: u32,
}

const NOTHING: Cell = Cell {
    x: f64::NAN,
    u: 0.0,
    at: u32::MAX,
};

struct Pattern {
    slots: Vec<Slot>,
    /// Rows, and a cell for each row and slot.
    rows: Vec<usize>,
    cells: Vec<Cell>,
    /// For each slot how many pieces have a reading, and how many have each value, by its bits.
    measured: Vec<usize>,
    equal: Vec<HashMap<u64, usize>>,
}

/// Names that are one piece: two, or as many as a row was entered.
pub(super) fn find(
    cohort: &Cohort<'_>,
    readings: &Readings<'_>,
    fellows: &Fellows,
    settings: &Settings,
) -> Vec<Finding> {
    let names = &cohort.table().specimens.names;
    let mut of_group: Vec<Vec<usize>> = vec![Vec::new(); cohort.groups().len()];
    for row in 0..names.len() {
        of_group[cohort.group_of(row)].push(row);
    }
    let found = parallel::map(of_group.len(), |group| {
        let rows = of_group[group].clone();
        let pattern = Pattern::of(cohort, readings, fellows, group, rows);
        pattern.pairs(settings)
    });
    // As many pairs are compared as there are pairs with a judged piece in them, whether their cells
    // were looked at or not.
    let pairs: f64 = (of_group.iter())
        .map(|rows| {
            let judged = rows.iter().filter(|&&row| settings.judges(row)).count() as f64;
            judged * (rows.len() as f64 - judged) + 0.5 * judged * (judged - 1.0)
        })
        .sum();
    // Names that differ by their spelling alone have half of the level for themselves.
    let mut spellings: HashMap<String, f64> = HashMap::new();
    for name in names.iter() {
        *spellings.entry(spelling(name)).or_default() += 1.0;
    }
    let alike: f64 = spellings.values().map(|n| 0.5 * n * (n - 1.0)).sum();
    let level = settings.level(Family::Twice);
    let mut clear: Vec<(Pair, bool)> = Vec::new();
    for pair in found.into_iter().flatten() {
        let is_alike = spelling(names.get(pair.rows[0])) == spelling(names.get(pair.rows[1]));
        let tests = if is_alike { alike } else { pairs };
        if pair.weight >= (2.0 * tests.max(1.0) / level).ln() {
            clear.push((pair, is_alike));
        }
    }
    (joined(clear).iter())
        .map(|pairs| match pairs.as_slice() {
            [(pair, alike)] => told(cohort, readings, pair, *alike),
            pairs => told_of_group(cohort, readings, pairs),
        })
        .collect()
}

/// Pairs that share a piece, together: a row entered k times is one finding, not k (k - 1) / 2.
fn joined(pairs: Vec<(Pair, bool)>) -> Vec<Vec<(Pair, bool)>> {
    /// The piece that stands for all that hang together with `row`.
    fn root(above: &mut HashMap<usize, usize>, row: usize) -> usize {
        let mut at = row;
        while let Some(&next) = above.get(&at).filter(|&&next| next != at) {
            at = next;
        }
        above.insert(row, at);
        at
    }
    let mut above = HashMap::new();
    for (pair, _) in &pairs {
        let [a, b] = pair.rows.map(|row| root(&mut above, row));
        above.insert(a.max(b), a.min(b));
    }
    let mut groups: Vec<Vec<(Pair, bool)>> = Vec::new();
    let mut known = HashMap::new();
    for pair in pairs {
        let first = root(&mut above, pair.0.rows[0]);
        let at = *known.entry(first).or_insert_with(|| {
            groups.push(Vec::new());
            groups.len() - 1
        });
        groups[at].push(pair);
    }
    groups
}

/// A name without what people spell differently: case, marks, zeros before a number.
fn spelling(name: &str) -> String {
    let folded = fold(name);
    let mut out = String::new();
    let mut in_number = false;
    for c in folded.chars().filter(|c| c.is_alphanumeric()) {
        if c == '0' && !in_number {
            continue;
        }
        in_number = c.is_ascii_digit();
        out.push(c);
    }
    out
}

struct Pair {
    rows: [usize; 2],
    /// Natural logarithm of how much better one piece explains it than two.
    weight: f64,
    equal: usize,
    common: usize,
    /// The readings of each, dimension by dimension.
    cells: Vec<[u32; 2]>,
}

impl Pattern {
    fn of(
        cohort: &Cohort<'_>,
        readings: &Readings<'_>,
        fellows: &Fellows,
        group: usize,
        rows: Vec<usize>,
    ) -> Pattern {
        let catalogue = &cohort.table().catalogue;
        let slot = |(slot, &dimension): (usize, &u32)| {
            let kind = catalogue.at(dimension as usize).kind;
            let spread = fellows.least_spread(slot * readings.groups + group);
            Slot {
                spread: spread.map_or(0.0, |s| s * std::f64::consts::SQRT_2 * LEFT),
                error: match kind {
                    Kind::Ratio => ERROR,
                    Kind::Interval => ERROR_OF_INTERVAL,
                },
            }
        };
        let slots: Vec<Slot> = readings.slots.iter().enumerate().map(slot).collect();
        let mut cells = vec![NOTHING; rows.len() * slots.len()];
        for (place, &row) in rows.iter().enumerate() {
            for at in readings.of_row(row) {
                let r = &readings.all[at];
                let slot = r.set as usize / readings.groups;
                let cell = &mut cells[place * slots.len() + slot];
                let speaks = r.state == State::Factory && r.credible;
                if speaks && cell.at == u32::MAX && slots[slot].spread > 0.0 {
                    *cell = Cell {
                        x: r.x,
                        u: r.u,
                        at: at as u32,
                    };
                }
            }
        }
        let mut measured = vec![0; slots.len()];
        let mut equal = vec![HashMap::new(); slots.len()];
        for (at, cell) in cells.iter().enumerate().filter(|(_, c)| !c.x.is_nan()) {
            let slot = at % slots.len();
            measured[slot] += 1;
            *equal[slot].entry(bits(cell.x)).or_default() += 1;
        }
        Pattern {
            slots,
            rows,
            cells,
            measured,
            equal,
        }
    }

    fn row(&self, place: usize) -> &[Cell] {
        let n = self.slots.len();
        &self.cells[place * n..(place + 1) * n]
    }

    /// The pairs that have any weight.
    fn pairs(&self, settings: &Settings) -> Vec<Pair> {
        let n = self.rows.len();
        let mut pairs = Vec::new();
        let mut look = |a: usize, b: usize| {
            if (settings.judges(self.rows[a]) || settings.judges(self.rows[b]))
                && !self.differ(a, b)
            {
                pairs.extend(self.weigh(a, b));
            }
        };
        if n <= LARGE {
            for a in 0..n {
                for b in a + 1..n {
                    look(a, b);
                }
            }
        } else {
            for (a, b) in self.neighbours() {
                look(a, b);
            }
        }
        pairs
    }

    /// Whether two pieces differ in most of the first dimensions that both have.
    fn differ(&self, a: usize, b: usize) -> bool {
        /// So many are looked at, and so many must agree.
        const LOOKED_AT: usize = 5;
        const AGREE: usize = 3;
        let (mut seen, mut near) = (0, 0);
        for ((a, b), slot) in self.row(a).iter().zip(self.row(b)).zip(&self.slots) {
            let apart = (a.x - b.x).abs();
            if apart.is_nan() {
                continue;
            }
            seen += 1;
            near += usize::from(apart <= 3.0 * (a.u + b.u + slot.error));
            if seen == LOOKED_AT {
                break;
            }
        }
        near < AGREE.min(seen)
    }

    fn by_readings(&self, a: usize, b: usize) -> Ordering {
        (self.row(a).iter().zip(self.row(b)))
            .map(|(a, b)| a.x.total_cmp(&b.x))
            .find(|order| order.is_ne())
            .unwrap_or(Ordering::Equal)
    }

    fn weigh(&self, a: usize, b: usize) -> Option<Pair> {
        let (mut copied, mut measured, mut equal) = (0.0, 0.0, 0);
        let mut cells = Vec::new();
        for (slot, (one, other)) in self.row(a).iter().zip(self.row(b)).enumerate() {
            let d = one.x - other.x;
            if d.is_nan() {
                continue;
            }
            let Slot { spread, error } = self.slots[slot];
            let step = 12f64.sqrt() * one.u.min(other.u);
            // Two pieces differ as the normal law says, and by rounding; never less than one piece does.
            let one2 = one.u * one.u + other.u * other.u + 2.0 * error * error;
            let two2 = one2.max(spread * spread + one.u * one.u + other.u * other.u);
            let log_two = -0.5 * d * d / two2 - 0.5 * (std::f64::consts::TAU * two2).ln();
            let is_equal = d == 0.0;
            equal += usize::from(is_equal);
            copied += match is_equal {
                true => {
                    let chance = (step * log_two.exp()).max(self.share(slot, one.x)).min(1.0);
                    (1.0 - MENDED).ln() - chance.max(1e-12).ln()
                }
                false => MENDED.ln(),
            };
            let log_one = -0.5 * d * d / one2 - 0.5 * (std::f64::consts::TAU * one2).ln();
            measured += ((1.0 - WRONG) * (log_one - log_two).min(700.0).exp() + WRONG).ln();
            cells.push([one.at, other.at]);
        }
        // Either way, each with half of the weight.
        let greater = f64::max(copied, measured);
        let weight = greater + (0.5 * (1.0 + (f64::min(copied, measured) - greater).exp())).ln();
        (cells.len() >= COMMON && weight > 0.0).then(|| Pair {
            rows: [self.rows[a], self.rows[b]],
            weight,
            equal,
            common: cells.len(),
            cells,
        })
    }

    /// How often other pieces than these two read the very value.
    fn share(&self, slot: usize, x: f64) -> f64 {
        let equal = self.equal[slot].get(&bits(x)).copied().unwrap_or(0);
        equal.saturating_sub(2) as f64 / self.measured[slot].saturating_sub(2).max(1) as f64
    }

    /// Pairs of a large pattern that agree in three of the dimensions that most pieces have: those
    /// that fall into one cell of a grid, or of the same grid half a cell off.
    fn neighbours(&self) -> Vec<(usize, usize)> {
        /// Pieces of one cell are compared with so many after them, in the order of their readings: in
        /// a crowd equal rows stand beside each other.
        const CROWD: usize = 16;
        let slots = self.slots.len();
        let mut order: Vec<usize> = (0..slots).filter(|&s| self.slots[s].spread > 0.0).collect();
        order.sort_by_key(|&s| std::cmp::Reverse(self.measured[s]));
        let mut pairs = Vec::new();
        for three in order.chunks_exact(3).take(3) {
            for half in [0.0, 0.5] {
                let mut cells: HashMap<[i64; 3], Vec<usize>> = HashMap::new();
                for place in 0..self.rows.len() {
                    let row = self.row(place);
                    let key = std::array::from_fn(|k| {
                        let width = 8.0 * self.slots[three[k]].error;
                        (row[three[k]].x / width + half).floor() as i64
                    });
                    if three.iter().all(|&s| !row[s].x.is_nan()) {
                        cells.entry(key).or_default().push(place);
                    }
                }
                for places in cells.values_mut() {
                    if places.len() > CROWD {
                        places.sort_by(|&a, &b| self.by_readings(a, b));
                    }
                    for (i, &a) in places.iter().enumerate() {
                        let after = &places[i + 1..];
                        let after = after.iter().take(CROWD);
                        pairs.extend(after.map(|&b| (a, b)));
                    }
                }
            }
        }
        pairs.sort_unstable();
        pairs.dedup();
        pairs
    }
}

/// The same for both zeros.
fn bits(x: f64) -> u64 {
    (x + 0.0).to_bits()
}

/// One finding for pieces that hang together by `pairs`.
fn told_of_group<'p>(
    cohort: &Cohort<'_>,
    readings: &Readings<'_>,
    pairs: &'p [(Pair, bool)],
) -> Finding {
    let table = cohort.table();
    let stronger =
        |a: &'p (Pair, bool), b: &'p (Pair, bool)| if b.0.weight > a.0.weight { b } else { a };
    let (pair, alike) = pairs.iter().skip(1).fold(&pairs[0], stronger);
    let mut finding = told(cohort, readings, pair, *alike);
    let cells = pairs
        .iter()
        .flat_map(|(pair, _)| pair.cells.iter().flatten());
    let cells: BTreeSet<u32> = cells.copied().collect();
    finding.rows = (pairs.iter().flat_map(|(pair, _)| pair.rows))
        .collect::<BTreeSet<usize>>()
        .into_iter()
        .collect();
    finding.dimensions = (cells.iter())
        .map(|&at| readings.all[at as usize].dimension as usize)
        .collect::<BTreeSet<usize>>()
        .into_iter()
        .collect();
    finding.suspects = cells.iter().map(|&at| suspect(readings, at)).collect();
    finding.count = finding.suspects.len();
    let names = finding
        .rows
        .iter()
        .map(|&row| table.specimens.names.get(row));
    let first: Vec<&str> = names.take(3).collect();
    let more = match finding.rows.len() - first.len() {
        0 => String::new(),
        n => format!(" and {n} more"),
    };
    let least = |of: fn(&Pair) -> usize| pairs.iter().map(|(pair, _)| of(pair)).min().unwrap_or(0);
    finding.sentence = format!(
        "{}{more}: {} names, each equal to another of them in {} dimensions or more of the {} that \
         both have",
        first.join(", "),
        finding.rows.len(),
        least(|p| p.equal),
        least(|p| p.common),
    );
    finding
}

fn suspect(readings: &Readings<'_>, at: u32) -> Suspect {
    let r = &readings.all[at as usize];
    Suspect {
        row: r.row as usize,
        dimension: r.dimension as usize,
        text: readings.text(r).to_owned(),
        value: r.value,
        proposed: None,
    }
}

fn told(cohort: &Cohort<'_>, readings: &Readings<'_>, pair: &Pair, alike: bool) -> Finding {
    let table = cohort.table();
    let names = pair.rows.map(|row| table.specimens.names.get(row));
    let suspects: Vec<Suspect> = pair
        .cells
        .iter()
        .flatten()
        .map(|&at| suspect(readings, at))
        .collect();
    let how = match pair.common - pair.equal {
        0 => format!("all {} dimensions that both have are equal", pair.common),
        n if pair.equal > n => format!(
            "{} of the {} dimensions that both have are equal",
            pair.equal, pair.common
        ),
        _ => format!(
            "the {} dimensions that both have agree as two readings of one piece do",
            pair.common
        ),
    };
    let hint = if alike {
        "; their names differ only in spelling"
    } else {
        ""
    };
    let by = pair
        .cells
        .first()
        .map(|c| &readings.by[readings.all[c[1] as usize].by as usize].name);
    Finding {
        code: Code::SamePieceTwice,
        rows: pair.rows.to_vec(),
        dimensions: suspects.iter().step_by(2).map(|s| s.dimension).collect(),
        count: suspects.len(),
        by: by.cloned().unwrap_or_default(),
        evidence: Some(pair.weight * std::f64::consts::LOG10_E),
        p: None,
        step: None,
        sentence: format!("{} and {}: {how}{hint}", names[0], names[1]),
        suspects,
    }
}
