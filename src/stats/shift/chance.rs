//! How large the largest contrast is where nothing shifted.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};

use super::design::Design;
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
pub(super) struct Contrasts {
    sums: Vec<f64>,
    covariance: Vec<f64>,
    /// Candidates that hold, each with what its sum takes from all others.
    held: Vec<(usize, Vec<f64>)>,
    /// Candidates with enough pieces on both sides.
    pub(super) open: Vec<usize>,
}

impl Contrasts {
    /// Scores sum to zero in each set. `steps` are the candidates that hold.
    pub(super) fn new(design: &Design, scores: &[f64], steps: &[usize]) -> Contrasts {
        let variances: Vec<f64> = design
            .sets
            .iter()
            .map(|of| {
                let sum: f64 = scores[of.clone()].iter().map(|s| s * s).sum();
                sum / (of.len() - 1) as f64
            })
            .collect();
        let m = design.candidates();
        let mut contrasts = Contrasts {
            sums: design.sums(scores),
            covariance: design.covariance(&variances),
            held: Vec::new(),
            open: Vec::new(),
        };
        let most = contrasts.variances().fold(0.0, f64::max);
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
            let variance = contrasts.covariance[candidate * m + candidate];
            before - after >= few
                && after - behind >= few
                && variance > 1e-9 * most
                && variance >= mean
        };
        contrasts.open = (0..m).filter(open).collect();
        contrasts
    }

    /// Takes one candidate's sum as given.
    fn hold(&mut self, step: usize) {
        let m = self.sums.len();
        let variance = self.covariance[step * m + step];
        let row = self.covariance[step * m..(step + 1) * m].to_vec();
        let takes: Vec<f64> = match variance > 0.0 {
            true => row.iter().map(|c| c / variance).collect(),
            false => vec![0.0; m],
        };
        for (a, take) in takes.iter().enumerate() {
            for (c, of_step) in self.covariance[a * m..(a + 1) * m].iter_mut().zip(&row) {
                *c -= take * of_step;
            }
        }
        give(&mut self.sums, step, &takes);
        self.held.push((step, takes));
    }

    fn variances(&self) -> impl Iterator<Item = f64> {
        let m = self.sums.len();
        (0..m).map(move |at| self.covariance[at * m + at])
    }

    /// The sum and its variance at a candidate.
    pub(super) fn at(&self, candidate: usize) -> (f64, f64) {
        let m = self.sums.len();
        (
            self.sums[candidate],
            self.covariance[candidate * m + candidate],
        )
    }

    fn square(&self, sums: &[f64]) -> f64 {
        let squares = self.open.iter().map(|&at| {
            let variance = self.covariance[at * self.sums.len() + at];
            sums[at] * sums[at] / variance
        });
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
            for (step, takes) in &self.held {
                give(&mut sums, *step, takes);
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
        let root = self.root();
        let k = self.open.len();
        let mut normals = vec![0.0; k];
        let one = |_| {
            for pair in normals.chunks_mut(2) {
                let two = draw.two_normals();
                pair.iter_mut()
                    .zip(two)
                    .for_each(|(to, normal)| *to = normal);
            }
            let sums = root.chunks(k.max(1)).enumerate().map(|(row, of_row)| {
                let terms = of_row[..=row].iter().zip(&normals);
                (row, terms.map(|(a, b)| a * b).sum::<f64>())
            });
            sums.fold(start, &fold)
        };
        (0..draws).map(one).collect()
    }

    /// How many standard deviations of its own contrast a shift at an open candidate has to have for
    /// any contrast to exceed `limit` four times in five: its neighbours see it too.
    pub(super) fn needed(&self, candidate: usize, limit: f64) -> Option<f64> {
        const DRAWS: usize = 499;
        const FOUND: f64 = 0.8;
        let m = self.sums.len();
        let (_, own) = self.at(candidate);
        let seen = self.open.iter().map(|&at| {
            let (_, variance) = self.at(at);
            self.covariance[candidate * m + at] / (own * variance).sqrt()
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
        let (k, m) = (self.open.len(), self.sums.len());
        let mut root = vec![0.0; k * k];
        for (row, &a) in self.open.iter().enumerate() {
            let of_a = self.covariance[a * m + a];
            for (column, &b) in self.open[..=row].iter().enumerate() {
                let of_b = self.covariance[b * m + b];
                let correlation = self.covariance[a * m + b] / (of_a * of_b).sqrt();
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
