//! An invented collection of patterns, drawn from the model that the method assumes, or from one
//! that breaks an assumption.

use calibriar::stats::Rated;

pub(crate) use super::draw::Draw;

/// Dimensions of every pattern (D).
pub(crate) const DIMENSIONS: usize = 12;

/// How the spread of a dimension differs between patterns.
#[derive(Clone, Copy)]
pub(crate) enum Spread {
    /// `sigma^2 = d0 / chi^2(d0)`.
    Differs(u32),
    /// `sigma = 1` everywhere (d0* infinite).
    Same,
}

/// How readings err and are written down. Lengths are in units of the usual sigma, 1, not of the
/// sigma that a set happens to have: an instrument does not know it.
#[derive(Clone, Copy)]
pub(crate) enum Reading {
    /// Without error.
    Exact,
    /// All readings, the other patterns' and the specimen's too, rounded to this step.
    Rounded(f64),
    /// Rectangular errors: target references with u = 0.05, 0.5 or 1.0 (50, 25, 25 %), the specimen
    /// with 0.5; the other patterns without error.
    Mixed,
}

/// References that are wrong.
#[derive(Clone, Copy)]
pub(crate) enum Bad {
    None,
    /// This share of all patterns' references, off by 3 to 8 sigma (uniform) either way.
    Anywhere(f64),
    /// One reference of the target, off by so many sigma, upwards as the faults are.
    OneReference(f64),
}

/// How a world is drawn.
#[derive(Clone, Copy)]
pub(crate) struct Scenario {
    /// Other patterns (G).
    pub(crate) others: usize,
    /// Spread of the first and of the second half of the dimensions (d0*).
    pub(crate) spread: [Spread; 2],
    /// Variance between periods over variance within (lambda*).
    pub(crate) lambda: f64,
    pub(crate) reading: Reading,
    /// Whether pieces follow t with 5 degrees of freedom, not the normal.
    pub(crate) heavy_tails: bool,
    pub(crate) bad: Bad,
    /// The period share to go by where no set can tell: 0 by the method.
    pub(crate) untold_share: f64,
}

/// The base world.
pub(crate) const BASE: Scenario = Scenario {
    others: 8,
    spread: [Spread::Differs(8); 2],
    lambda: 0.3,
    reading: Reading::Exact,
    heavy_tails: false,
    bad: Bad::None,
    untold_share: 0.0,
};

/// The references of one pattern's dimension.
pub(crate) struct Set {
    pub(crate) readings: Vec<Rated>,
    /// True spread within a period.
    sigma: f64,
    effects: [f64; 4],
}

/// A piece to be judged, in one dimension.
pub(crate) struct Specimen {
    /// What the instrument says before it is rounded, were the piece good.
    x: f64,
    pub(crate) u: f64,
    /// The true sd in which its faults are counted.
    sd: f64,
    step: Option<f64>,
}

impl Specimen {
    /// Its reading if it is off by so many true sd.
    pub(crate) fn off_by(&self, sds: f64) -> f64 {
        rounded(self.x + sds * self.sd, self.step)
    }
}

/// A collection: other patterns by dimension, the target pattern, and two good pieces of it.
pub(crate) struct World {
    pub(crate) others: Vec<Vec<Set>>,
    pub(crate) target: Vec<Set>,
    /// A piece of a good period without references, by dimension.
    pub(crate) undated: Vec<Specimen>,
    /// A piece of one of the target's periods, by dimension.
    pub(crate) dated: Vec<Specimen>,
    /// Its period: any of the references' with equal chance, whatever their numbers.
    pub(crate) period: u32,
}

impl Scenario {
    /// Draws a world whose target has `n` references, reference i in period i mod min(3, n).
    pub(crate) fn draw(&self, n: usize, draw: &mut Draw) -> World {
        const SIZES: [usize; 9] = [2, 2, 3, 3, 3, 4, 4, 5, 6];
        let others = (0..self.others)
            .map(|_| {
                let (size, periods) = (SIZES[draw.below(SIZES.len())], 1 + draw.below(4));
                let of: Vec<u32> = (0..size).map(|_| draw.below(periods) as u32).collect();
                (0..DIMENSIONS)
                    .map(|d| self.set(d, &of, false, draw))
                    .collect()
            })
            .collect();
        let of: Vec<u32> = (0..n).map(|i| (i % n.min(3)) as u32).collect();
        let target: Vec<Set> = (0..DIMENSIONS)
            .map(|d| self.set(d, &of, true, draw))
            .collect();
        let undated = target
            .iter()
            .map(|set| {
                let effect = set.sigma * self.lambda.sqrt() * draw.normal();
                let sd = set.sigma * (1.0 + self.lambda).sqrt();
                self.specimen(set, effect, sd, draw)
            })
            .collect();
        let period = draw.below(n.min(3)) as u32;
        let dated = target
            .iter()
            .map(|set| self.specimen(set, set.effects[period as usize], set.sigma, draw))
            .collect();
        World {
            others,
            target,
            undated,
            dated,
            period,
        }
    }

    fn set(&self, dimension: usize, periods: &[u32], target: bool, draw: &mut Draw) -> Set {
        let sigma = match self.spread[dimension * 2 / DIMENSIONS] {
            Spread::Differs(d0) => (f64::from(d0) / draw.chi_square(d0)).sqrt(),
            Spread::Same => 1.0,
        };
        let effects = [(); 4].map(|()| sigma * self.lambda.sqrt() * draw.normal());
        let mut set = Set {
            readings: Vec::with_capacity(periods.len()),
            sigma,
            effects,
        };
        for (i, &period) in periods.iter().enumerate() {
            let off = match self.bad {
                Bad::Anywhere(share) if draw.uniform() < share => {
                    let sign = if draw.uniform() < 0.5 { -1.0 } else { 1.0 };
                    sign * (3.0 + 5.0 * draw.uniform())
                }
                Bad::OneReference(by) if target && i == 0 => by,
                _ => 0.0,
            };
            let u = match self.reading {
                Reading::Mixed if target => [0.05, 0.05, 0.5, 1.0][draw.below(4)],
                _ => 0.0,
            };
            let piece = effects[period as usize] + sigma * (self.piece(draw) + off);
            let (x, u) = self.read(piece, u, draw);
            let x = rounded(x, self.step());
            set.readings.push(Rated {
                x,
                u,
                period: Some(period),
            });
        }
        set
    }

    /// How a good piece differs from its period, in sigma.
    fn piece(&self, draw: &mut Draw) -> f64 {
        if self.heavy_tails {
            draw.t5()
        } else {
            draw.normal()
        }
    }

    fn specimen(&self, set: &Set, effect: f64, sd: f64, draw: &mut Draw) -> Specimen {
        let u = match self.reading {
            Reading::Mixed => 0.5,
            _ => 0.0,
        };
        let piece = effect + set.sigma * self.piece(draw);
        let (x, u) = self.read(piece, u, draw);
        Specimen {
            x,
            u,
            sd,
            step: self.step(),
        }
    }

    /// A reading with a rectangular error, not yet rounded, and its standard uncertainty, rounding
    /// included.
    fn read(&self, piece: f64, u: f64, draw: &mut Draw) -> (f64, f64) {
        let error = if u > 0.0 {
            12.0_f64.sqrt() * u * (draw.uniform() - 0.5)
        } else {
            0.0
        };
        let rounding = self.step().map_or(0.0, |step| step / 12.0_f64.sqrt());
        (piece + error, u.hypot(rounding))
    }

    fn step(&self) -> Option<f64> {
        match self.reading {
            Reading::Rounded(step) => Some(step),
            _ => None,
        }
    }
}

fn rounded(x: f64, step: Option<f64>) -> f64 {
    step.map_or(x, |step| (x / step).round() * step)
}
