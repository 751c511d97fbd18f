//! How large the largest contrast is where nothing shifted.

use std::cell::OnceCell;

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};

use super::design::{Covariance, Design};
use crate::stats::normal_sf;

/// Draws of a null distribution.
const DRAWS: usize = 1999;
/// So many where the first ones make a p under the limit beside it.
const MORE_DRAWS: usize = 39_999;
const RARE: f64 = 0.003;
/// Up to so many pieces scores are dealt out anew; of more, the sums are as good as normal.
pub(super) const DEALT_OUT: usize = 400;
/// A p that the normal tails, added up over all candidates, hold under this needs no draws.
const BEYOND_DOUBT: f64 = 1e-5;
/// The generator's seed: the same p for ever.
const SEED: u64 = 0x005E_ED0F_5417;

/// How the null distribution is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Way {
    /// Scores dealt out anew within each set: exact.
    DealtOut,
    /// Normal sums of the same covariance.
    Normal,
}

impl Way {
    pub(super) fn of(design: &Design) -> Way {
        match design.len() <= DEALT_OUT {
            true => Way::DealtOut,
            false => Way::Normal,
        }
    }
}

/// The sums of scores at all candidates, given that those at some hold: contrasts and their
/// covariance.
pub(super) struct Contrasts<'d> {
    sums: Vec<f64>,
    /// Variance of the sum at each candidate.
    variances: Vec<f64>,
    /// The covariance before any candidate held; with those that hold, where it is asked for.
    free: Covariance<'d>,
    whole: OnceCell<Vec<f64>>,
    /// Candidates that hold.
    held: Vec<Held>,
    /// Candidates with enough pieces on both sides.
    pub(super) open: Vec<usize>,
}

/// A candidate whose sum is given.
struct Held {
    at: usize,
    /// Covariances with all, given those that held before.
    row: Vec<f64>,
    /// What its sum takes from all.
    takes: Vec<f64>,
}

impl<'d> Contrasts<'d> {
    /// Scores sum to zero in each set. `steps` are the candidates that hold.
    pub(super) fn new(design: &'d Design, scores: &[f64], steps: &[usize]) -> Contrasts<'d> {
        let variances: Vec<f64> = design
            .sets
            .iter()
            .map(|of| {
                let sum: f64 = scores[of.clone()].iter().map(|s| s * s).sum();
                sum / (of.len() - 1) as f64
            })
            .collect();
        let free = Covariance::new(design, &variances);
        let mut contrasts = Contrasts {
            sums: design.sums(scores),
            variances: free.variances(),
            free,
            whole: OnceCell::new(),
            held: Vec::new(),
            open: Vec::new(),
        };
        let most = contrasts.variances.iter().copied().fold(0.0, f64::max);
        for &step in steps {
            contrasts.hold(step);
        }
        let n = design.len() as f64;
        // A few pieces on either side, and of many pieces as many as make a sum near normal.
        let few = (n / 50.0).clamp(3.0, 10.0) - 1e-9;
        let mean = variances.iter().zip(&design.sets);
        let mean = mean.map(|(v, of)| v * of.len() as f64).sum::<f64>() / n;
        let open = |&candidate: &usize| {
            let after = design.after[candidate];
            let before = steps.iter().filter(|&&step| step <= candidate).max();
            let behind = steps.iter().filter(|&&step| step >= candidate).min();
            let before = before.map_or(n, |&step| design.after[step]);
            let behind = behind.map_or(0.0, |&step| design.after[step]);
            let variance = contrasts.variances[candidate];
            before - after >= few
                && after - behind >= few
                && variance > 1e-9 * most
                && variance >= mean
        };
        contrasts.open = (0..design.candidates()).filter(open).collect();
        contrasts
    }

    /// Takes one candidate's sum as given.
    fn hold(&mut self, step: usize) {
        let mut row = self.free.row(step);
        for held in &self.held {
            held.take_from(step, &mut row);
        }
        let variance = row[step];
        let takes: Vec<f64> = match variance > 0.0 {
            true => row.iter().map(|c| c / variance).collect(),
            false => vec![0.0; row.len()],
        };
        for (variance, (take, of_step)) in self.variances.iter_mut().zip(takes.iter().zip(&row)) {
            *variance -= take * of_step;
        }
        give(&mut self.sums, step, &takes);
        self.held.push(Held {
            at: step,
            row,
            takes,
        });
    }

    /// The covariances of all pairs, row by row; only draws ask for them.
    fn covariance(&self) -> &[f64] {
        self.whole.get_or_init(|| {
            let mut whole = self.free.whole();
            for held in &self.held {
                for (of, row) in whole.chunks_mut(self.sums.len().max(1)).enumerate() {
                    held.take_from(of, row);
                }
            }
            whole
        })
    }

    /// The sum and its variance at a candidate.
    pub(super) fn at(&self, candidate: usize) -> (f64, f64) {
        (self.sums[candidate], self.variances[candidate])
    }

    fn square(&self, sums: &[f64]) -> f64 {
        let open = self.open.iter();
        let squares = open.map(|&at| sums[at] * sums[at] / self.variances[at]);
        squares.fold(0.0, f64::max)
    }

    /// The candidate of the largest standardised contrast, and its square; `None` where no
    /// candidate is open.
    pub(super) fn largest(&self) -> Option<(usize, f64)> {
        let square = |&at: &usize| {
            let (sum, variance) = self.at(at);
            (at, sum * sum / variance)
        };
        self.open
            .iter()
            .map(square)
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Probability of so large a contrast by chance alone.
    pub(super) fn p(&self, design: &Design, scores: &[f64], way: Way) -> f64 {
        self.p_among(design, scores, way).0
    }

    /// The same, with the squares that were drawn for it; none where the p needs no draws.
    pub(super) fn p_among(&self, design: &Design, scores: &[f64], way: Way) -> (f64, Vec<f64>) {
        let Some((at, square)) = self.largest() else {
            return (1.0, Vec::new());
        };
        let bound = 2.0 * self.open.len() as f64 * normal_sf(square.sqrt());
        let sides = design.after[at].min(design.len() as f64 - design.after[at]);
        if bound < BEYOND_DOUBT && sides >= 10.0 {
            return (bound, Vec::new());
        }
        // Equal but for rounding is as large.
        let limit = square * (1.0 - 1e-9);
        let p = |drawn: &[f64]| {
            let as_large = drawn.iter().filter(|&&drawn| drawn >= limit).count();
            (1 + as_large) as f64 / (1 + drawn.len()) as f64
        };
        let drawn = self.draw(design, scores, way, DRAWS);
        match p(&drawn) < RARE {
            // The same draws and more: a p that is to be adjusted for many dimensions needs its digits.
            true => {
                let more = self.draw(design, scores, way, MORE_DRAWS);
                (p(&more), more)
            }
            false => (p(&drawn), drawn),
        }
    }

    /// Squares of the largest contrast where nothing shifted.
    fn draw(&self, design: &Design, scores: &[f64], way: Way, draws: usize) -> Vec<f64> {
        let mut draw = Draw(Xoshiro256PlusPlus::seed_from_u64(SEED));
        match way {
            Way::DealtOut => self.deal_out(design, scores, &mut draw, draws),
            Way::Normal => self.normal(&mut draw, draws),
        }
    }

    fn deal_out(&self, design: &Design, scores: &[f64], draw: &mut Draw, draws: usize) -> Vec<f64> {
        let mut dealt = scores.to_vec();
        let (mut changes, mut sums) = (design.buffer(), Vec::new());
        let one = |_| {
            for of_set in &design.sets {
                let dealt = &mut dealt[of_set.clone()];
                for last in (1..dealt.len()).rev() {
                    dealt.swap(last, draw.below(last + 1));
                }
            }
            design.sums_into(0..dealt.len(), |i| dealt[i], &mut changes, &mut sums);
            for held in &self.held {
                give(&mut sums, held.at, &held.takes);
            }
            self.square(&sums)
        };
        (0..draws).map(one).collect()
    }

    fn normal(&self, draw: &mut Draw, draws: usize) -> Vec<f64> {
        let square = |most: f64, (_, z): (usize, f64)| most.max(z * z);
        self.normal_sums(draw, draws, 0.0, square)
    }

    /// Draws standardised normal sums at all open candidates (by place among these), each draw folded
    /// into a number.
    fn normal_sums(
        &self,
        draw: &mut Draw,
        draws: usize,
        start: f64,
        fold: impl Fn(f64, (usize, f64)) -> f64,
    ) -> Vec<f64> {
        /// So many draws at once are no more work for the processor than one.
        const AT_ONCE: usize = 8;
        let root = self.root();
        let k = self.open.len();
        let mut normals = vec![[0.0; AT_ONCE]; k];
        let mut found = Vec::with_capacity(draws);
        while found.len() < draws {
            let together = AT_ONCE.min(draws - found.len());
            for of_draw in 0..together {
                for pair in normals.chunks_mut(2) {
                    let two = draw.two_normals();
                    pair.iter_mut()
                        .zip(two)
                        .for_each(|(to, normal)| to[of_draw] = normal);
                }
            }
            let mut folded = [start; AT_ONCE];
            for (row, of_row) in root.chunks(k.max(1)).enumerate() {
                let mut sums = [0.0; AT_ONCE];
                for (a, normals) in of_row[..=row].iter().zip(&normals) {
                    for (sum, b) in sums.iter_mut().zip(normals) {
                        *sum += a * b;
                    }
                }
                for (folded, sum) in folded.iter_mut().zip(sums) {
                    *folded = fold(*folded, (row, sum));
                }
            }
            found.extend_from_slice(&folded[..together]);
        }
        found
    }

    /// How many standard deviations of its own contrast a shift at an open candidate has to have for
    /// any contrast to exceed `limit` four times in five: its neighbours see it too.
    pub(super) fn needed(&self, candidate: usize, limit: f64) -> Option<f64> {
        const DRAWS: usize = 499;
        const FOUND: f64 = 0.8;
        let (m, covariance) = (self.sums.len(), self.covariance());
        let (_, own) = self.at(candidate);
        let seen = self.open.iter().map(|&at| {
            let (_, variance) = self.at(at);
            covariance[candidate * m + at] / (own * variance).sqrt()
        });
        let seen: Vec<f64> = seen.collect();
        let least = |least: f64, (at, z): (usize, f64)| match seen[at] > 0.05 {
            true => least.min((limit - z) / seen[at]),
            false => least,
        };
        let mut draw = Draw(Xoshiro256PlusPlus::seed_from_u64(SEED));
        let mut needed = self.normal_sums(&mut draw, DRAWS, f64::INFINITY, least);
        needed.sort_unstable_by(f64::total_cmp);
        let needed = needed.get((FOUND * DRAWS as f64) as usize)?;
        needed.is_finite().then_some(needed.max(0.0))
    }

    /// Cholesky's root of the correlations of the open candidates, row by row; a candidate that
    /// follows from those before it adds nothing of its own.
    fn root(&self) -> Vec<f64> {
        let (k, m, covariance) = (self.open.len(), self.sums.len(), self.covariance());
        let mut root = vec![0.0; k * k];
        for (row, &a) in self.open.iter().enumerate() {
            let of_a = covariance[a * m + a];
            for (column, &b) in self.open[..=row].iter().enumerate() {
                let of_b = covariance[b * m + b];
                let correlation = covariance[a * m + b] / (of_a * of_b).sqrt();
                let (of_row, of_column) = (&root[row * k..], &root[column * k..]);
                let terms = of_row[..column].iter().zip(&of_column[..column]);
                let rest = correlation - terms.map(|(x, y)| x * y).sum::<f64>();
                let pivot = root[column * k + column];
                root[row * k + column] = match (row == column, pivot > 0.0) {
                    (true, _) if rest > 1e-10 => rest.sqrt(),
                    (false, true) => rest / pivot,
                    _ => 0.0,
                };
            }
        }
        root
    }
}

/// What the largest contrast exceeds with a probability of `alpha`, by squares drawn.
pub(super) fn exceeded(mut drawn: Vec<f64>, alpha: f64) -> Option<f64> {
    drawn.sort_unstable_by(f64::total_cmp);
    let at = ((1.0 - alpha) * drawn.len() as f64).ceil() as usize;
    let square = drawn.get(at.min(drawn.len().checked_sub(1)?))?;
    Some(square.sqrt())
}

impl Held {
    /// Takes from the covariances of one candidate with all what this one gives them.
    fn take_from(&self, of: usize, row: &mut [f64]) {
        let take = self.takes[of];
        for (c, of_step) in row.iter_mut().zip(&self.row) {
            *c -= take * of_step;
        }
    }
}

/// Takes from all sums what a candidate that holds gives them.
fn give(sums: &mut [f64], step: usize, takes: &[f64]) {
    let held = sums[step];
    for (sum, take) in sums.iter_mut().zip(takes) {
        *sum -= take * held;
    }
}

struct Draw(Xoshiro256PlusPlus);

impl Draw {
    /// A whole number under `n`: its bias is under n / 2^64.
    fn below(&mut self, n: usize) -> usize {
        ((u128::from(self.0.next_u64()) * n as u128) >> 64) as usize
    }

    /// Strictly between -1 and 1.
    fn signed(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 52) as f64 - 1.0
    }

    /// Marsaglia's polar method.
    fn two_normals(&mut self) -> [f64; 2] {
        loop {
            let (a, b) = (self.signed(), self.signed());
            let square = a * a + b * b;
            if square < 1.0 && square > 0.0 {
                let factor = (-2.0 * libm::log(square) / square).sqrt();
                return [a * factor, b * factor];
            }
        }
    }
}
