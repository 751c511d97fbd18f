//! Which years a shift may be of, and how large it was: what each candidate makes of the readings
//! where a piece whose date spans it is of the old or of the new practice.

use super::design::{Design, Made};
use super::fit::{CUT, Fit, cut_variance};
use super::squares::Squares;

/// A shift's size is normal beforehand, with that many spreads.
const PRIOR_SIZE: f64 = 1.5;
/// Beforehand as much is known of either spread as so many pieces tell.
const PRIOR_PIECES: f64 = 2.0;
/// Of more pieces only candidates near the likeliest are looked at.
const ALL_CANDIDATES: usize = 3000;
/// Rounds of each candidate at most; of more pieces, whose dates tell the years well by themselves; and
/// the gain of a round under which it is settled.
const ROUNDS: usize = 40;
const FEW_ROUNDS: usize = 10;
const SETTLED: f64 = 0.02;
/// Of good pieces it is about 1.
const LEAST_SLOPE: f64 = 0.1;

/// What one candidate makes of the readings.
#[derive(Clone, Copy, Debug)]
pub(super) struct Candidate {
    pub(super) at: usize,
    /// Logarithm of its probability, but for a constant.
    pub(super) log: f64,
    /// Size of the shift in spreads, or logarithm of the ratio of spreads.
    pub(super) size: f64,
    /// Its standard error.
    pub(super) error: f64,
}

/// One of several steps of location, the others taken as they are.
pub(super) struct Location<'d> {
    design: &'d Design,
    /// Readings less centre and other steps, in spreads.
    y: Vec<f64>,
    /// Weight of each.
    q: Vec<f64>,
    /// By set: sum of weights, of weighted readings, of their squares.
    sums: Vec<[f64; 3]>,
    df: f64,
    start: f64,
    made: Made<'d>,
}

impl<'d> Location<'d> {
    pub(super) fn new(
        design: &'d Design,
        fit: &Fit,
        shares: &[Vec<f64>],
        step: usize,
        width: Option<&[f64]>,
    ) -> Location<'d> {
        let size = fit.steps[step];
        let date = |i: usize| design.date_of()[i] as usize;
        let h = |i: usize| width.map_or(1.0, |width| width[date(i)]);
        let y: Vec<f64> = (0..design.len())
            .map(|i| {
                let y = fit.residuals[i] * h(i) + size * shares[step][date(i)];
                let cut = CUT * h(i);
                y.clamp(size.min(0.0) - cut, size.max(0.0) + cut)
            })
            .collect();
        let q: Vec<f64> = (0..design.len()).map(|i| h(i).powi(-2)).collect();
        let sums = design.sets.iter().map(|of| {
            let mut sums = [0.0; 3];
            for i in of.clone() {
                sums[0] += q[i];
                sums[1] += q[i] * y[i];
                sums[2] += q[i] * y[i] * y[i];
            }
            sums
        });
        let parameters = design.sets.len() + shares.len() - 1;
        Location {
            design,
            sums: sums.collect(),
            y,
            q,
            df: (design.len() as f64 - parameters as f64).max(1.0),
            start: size,
            made: design.made(),
        }
    }

    fn candidate(&self, at: usize) -> Candidate {
        let mut made = self.made.clone();
        let (mut shares, mut news) = (Vec::new(), vec![0.0; made.spans()]);
        let prior = PRIOR_SIZE.powi(-2);
        let (mut size, mut variance) = (self.start, 1.0);
        let mut centres = vec![0.0; self.sums.len()];
        let mut candidate = Candidate {
            at,
            log: f64::NEG_INFINITY,
            size,
            error: 0.0,
        };
        for _ in 0..rounds(self.pieces()) {
            made.shares(at, &mut shares);
            news.fill(0.0);
            let (mut s, mut info, mut unsure, mut total, mut mixing) = (0.0, 0.0, 0.0, 0.0, 0.0);
            let mut means = Vec::with_capacity(centres.len());
            for (set, of) in self.design.sets.iter().enumerate() {
                let [q_sum, qy, qyy] = self.sums[set];
                let (mut qw, mut qww, mut qwy) = (0.0, 0.0, 0.0);
                for i in of.clone() {
                    let span = made.span_of()[i] as usize;
                    let (y, q, share) = (self.y[i], self.q[i], shares[span]);
                    if share <= 0.0 {
                        continue;
                    }
                    let mut after = share;
                    if share < 1.0 {
                        let told = q * size * (y - centres[set] - 0.5 * size) / variance;
                        after = 1.0 / (1.0 + (1.0 - share) / share * (-told).exp());
                        mixing += relative_entropy(after, share);
                        unsure += q * after * (1.0 - after);
                        news[span] += after;
                    }
                    qw += q * after;
                    qww += q * after * after;
                    qwy += q * after * y;
                }
                s += qwy - qw * qy / q_sum;
                info += qww - qw * qw / q_sum;
                total += qyy - qy * qy / q_sum;
                means.push((qy / q_sum, qw / q_sum));
            }
            let known = info + unsure + prior;
            size = s / known;
            for (centre, (mean, share)) in centres.iter_mut().zip(means) {
                *centre = mean - size * share;
            }
            let squares = (total - s * s / known).max(1e-9 * total);
            variance = squares / self.df;
            let log = -0.5 * self.df * squares.ln() - 0.5 * known.ln() - mixing + made.log();
            let settled = (log - candidate.log).abs() < SETTLED;
            candidate.log = log;
            candidate.size = size;
            candidate.error = (variance / (info + prior)).sqrt();
            if settled {
                break;
            }
            made.move_to(at, &news);
        }
        candidate
    }
}

/// One of several steps of spread, the others taken as they are.
pub(super) struct Spread<'d> {
    pub(super) made: Made<'d>,
    /// Distances from the centre in spreads, other steps taken out, by span of the dates.
    pub(super) r: Squares,
    /// Spread before and after.
    pub(super) start: (f64, f64),
}

impl Spread<'_> {
    fn candidate(&self, at: usize) -> Candidate {
        let mut made = self.made.clone();
        let (mut shares, mut news) = (Vec::new(), vec![0.0; made.spans()]);
        let (mut before, mut after) = self.start;
        let cut2 = CUT * CUT;
        let mut candidate = Candidate {
            at,
            log: f64::NEG_INFINITY,
            size: 0.0,
            error: 0.0,
        };
        for _ in 0..rounds(self.pieces()) {
            made.shares(at, &mut shares);
            news.fill(0.0);
            let (mut log, mut counts, mut squares) = (0.0, [0.0; 2], [0.0; 2]);
            let (mut u1, mut u2, mut inner) = (0.0, 0.0, 0.0);
            let variances = [before * before, after * after];
            let logs = [before.ln(), after.ln()];
            for (span, &share) in shares.iter().enumerate() {
                let of_span = self.r.of(span);
                if share == 0.0 || share == 1.0 {
                    // All of one side: their sums are known.
                    let side = usize::from(share == 1.0);
                    let (variance, n) = (variances[side], of_span.len() as f64);
                    let capped = self.r.capped(span, cut2 * variance);
                    log -= n * logs[side] + 0.5 * capped.sum / variance;
                    counts[side] += n;
                    squares[side] += capped.sum;
                    u1 += capped.sum / variance;
                    u2 += capped.fourths / (variance * variance);
                    inner += capped.inner / variance;
                    continue;
                }
                let (odds, log_share) = ((1.0 - share) / share, share.ln());
                for &square in of_span {
                    let u = variances.map(|variance| (square / variance).min(cut2));
                    let told = [-logs[0] - 0.5 * u[0], -logs[1] - 0.5 * u[1]];
                    let old = odds * (told[0] - told[1]).exp();
                    log += log_share + old.ln_1p() + told[1];
                    let now = 1.0 / (1.0 + old);
                    news[span] += now;
                    counts[0] += 1.0 - now;
                    counts[1] += now;
                    squares[0] += (1.0 - now) * u[0] * variances[0];
                    squares[1] += now * u[1] * variances[1];
                    let u = (1.0 - now) * u[0] + now * u[1];
                    u1 += u;
                    u2 += u * u;
                    inner += if u < cut2 { u } else { 0.0 };
                }
            }
            let variance = |k: usize| {
                (squares[k] / cut_variance() + PRIOR_PIECES) / (counts[k] + PRIOR_PIECES)
            };
            let moved = (variance(0).sqrt(), variance(1).sqrt());
            let n = self.r.len() as f64;
            // Where most are cut, what is not cut tells nothing of the spread's error.
            let slope = (2.0 * inner / n).max(LEAST_SLOPE);
            let spread_of_log = ((u2 - u1 * u1 / n) / n).max(0.0) / slope.powi(2);
            let counts = counts.map(|count| count + PRIOR_PIECES);
            let prior = [before, after].map(|s: f64| -PRIOR_PIECES * (s.ln() + 0.5 / (s * s)));
            let log = log + prior[0] + prior[1] - 0.5 * (counts[0] * counts[1]).ln() + made.log();
            let settled = (log - candidate.log).abs() < SETTLED;
            candidate = Candidate {
                at,
                log,
                size: (after / before).ln(),
                error: (spread_of_log * (1.0 / counts[0] + 1.0 / counts[1])).sqrt(),
            };
            (before, after) = moved;
            if settled {
                break;
            }
            made.move_to(at, &news);
        }
        candidate
    }
}

fn rounds(pieces: usize) -> usize {
    match pieces <= ALL_CANDIDATES {
        true => ROUNDS,
        false => FEW_ROUNDS,
    }
}

/// How far what is known of a piece's side is from what its date alone says.
fn relative_entropy(after: f64, share: f64) -> f64 {
    let part = |p: f64, q: f64| if p > 0.0 { p * (p / q).ln() } else { 0.0 };
    part(after, share) + part(1.0 - after, 1.0 - share)
}

/// The candidates of a step, from `range` around `best`.
pub(super) trait Candidates {
    /// What one makes of the readings.
    fn one(&self, at: usize) -> Candidate;
    /// How many pieces.
    fn pieces(&self) -> usize;

    /// All of them, or with many pieces those near the likeliest.
    fn all(&self, range: std::ops::Range<usize>, best: usize) -> Vec<Candidate> {
        const FAR: f64 = 40.0;
        const STOPS: usize = 6;
        if self.pieces() <= ALL_CANDIDATES {
            return range.map(|at| self.one(at)).collect();
        }
        let mut found = Vec::new();
        let mut most = f64::NEG_INFINITY;
        let mut walk = |way: &mut dyn Iterator<Item = usize>| {
            let mut far = 0;
            for at in way {
                let candidate = self.one(at);
                most = most.max(candidate.log);
                far = if candidate.log < most - FAR {
                    far + 1
                } else {
                    0
                };
                found.push(candidate);
                if far == STOPS {
                    break;
                }
            }
        };
        walk(&mut (best..range.end));
        walk(&mut (range.start..best).rev());
        found.sort_unstable_by_key(|candidate| candidate.at);
        found
    }
}

impl Candidates for Location<'_> {
    fn one(&self, at: usize) -> Candidate {
        self.candidate(at)
    }

    fn pieces(&self) -> usize {
        self.design.len()
    }
}

impl Candidates for Spread<'_> {
    fn one(&self, at: usize) -> Candidate {
        self.candidate(at)
    }

    fn pieces(&self) -> usize {
        self.r.len()
    }
}
