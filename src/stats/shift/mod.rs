//! In which years a dimension shifted: change points along dates that are ranges.
//!
//! # Method
//! Pieces come in sets, each with a centre and spread of its own; shifts are common to all sets in units of each
//! set's spread. A piece counts as made in a year or later with the share of its range that lies
//! there, years in which more pieces were made counting for more. For each year that could be the first
//! of a new practice the scores of the pieces, cut at 2.5 spreads so that no slip makes a shift, are added
//! up by those shares. That sum over its standard deviation is the year's contrast; the largest one tells
//! whether anything shifted.
//!
//! Its p comes from dealing the scores out anew within each set (up to 400 pieces), or
//! from normal sums of the same covariance. Further shifts are looked for with those found held:
//! the sums are conditioned on the sums at the years found, which takes in what they explain. Each
//! found year is then moved to where it fits best given the others, and stays if its p given the
//! others is small. Spread goes the same way with the distances from the centres and shifts found.
//! Where the spread shifted, location is looked at again in units of its own time's spread.
//!
//! The years that a shift may be of are those of the greatest probability, when the year is as likely
//! as any beforehand, the size is normal with 1.5 spreads, and a piece whose range spans the year is of
//! either practice, as its reading tells.
//!
//! # Source
//! A. N. Pettitt, Applied Statistics 28 (1979) 126-135 (the same sum, of ranks); J. Bai and P. Perron,
//! Econometrica 66 (1998) 47-78 (one shift after the other); D. Freedman and D. Lane, Journal of
//! Business and Economic Statistics 1 (1983) 292-298 (dealing out what is left); A. F. M. Smith,
//! Biometrika 62 (1975) 407-416 (the year's probability).

mod chance;
mod design;
mod fit;
mod squares;
mod years;

use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};
use std::rc::Rc;

use chance::{Contrasts, Way, exceeded};
use design::{Covariance, Design};
use fit::{CUT, Fit, Start, centred, cut_variance, each_cell};
use squares::Squares;
use years::{Candidate, Candidates, Location, Spread};

use super::error::inner_probability;
use super::{StatsError, normal_cdf, t_upper_quantile};

/// A reading of a dated piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dated {
    /// The reading, on a scale on which spreads do not depend on size.
    pub x: f64,
    /// Label of its set: pieces with one centre and spread, but for shifts.
    pub set: u32,
    /// First year in which it may have been made.
    pub from: i16,
    /// Last year, itself included.
    pub to: i16,
}

/// What was found of one dimension.
#[derive(Clone, Debug, PartialEq)]
pub struct Shifts {
    /// Pieces that can tell: those of sets of two and more.
    pub n: usize,
    /// Their sets.
    pub sets: usize,
    /// Years that could be told from others: those with a few pieces on either side.
    pub years: usize,
    /// The usual spread of a set, in the unit of the readings.
    pub spread: f64,
    /// Shifts of the centre: sizes in spreads.
    pub location: ShiftQuestion,
    /// Shifts of the spread: sizes as the ratio of the spread after to that before.
    pub width: ShiftQuestion,
}

/// Whether there was a shift, and which.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ShiftQuestion {
    /// Probability of so much by chance where nothing shifted.
    pub p: f64,
    /// Shifts by year.
    pub shifts: Vec<YearShift>,
    /// Where none was found: the size (as of [`Shifts`]) that would have been found four times in
    /// five had it been in the middle of the dates; `None` where none would.
    pub least_noticeable: Option<f64>,
}

/// One shift.
#[derive(Clone, Debug, PartialEq)]
pub struct YearShift {
    /// The likeliest first year of the new practice.
    pub year: i16,
    /// The years that it may be, as stretches of first and last year, ascending.
    pub years: Vec<(i16, i16)>,
    /// Size, as of [`Shifts`].
    pub size: f64,
    /// Lower limit of the size's 95 % interval.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Probability of so much by chance, given the other shifts.
    pub p: f64,
}

/// No more shifts than that are looked for, of either kind.
const MOST: usize = 8;
/// Up to so many pieces every fit begins with the readings and is as exact as the last one. Of more, each begins
/// with the one before, and those that only move steps are less exact: the neighbours of the best candidate are
/// too far off for it to matter.
const EXACT: usize = 3000;
/// Share of the probability that the set of years holds, for a shift that is beyond doubt; and for one
/// that is not: what was barely found looks larger than it is, and its years fewer.
const CREDIBLE: (f64, f64) = (0.96, 0.98);
/// A p under which a shift is beyond doubt.
const BEYOND_DOUBT: f64 = 1e-4;

/// Looks for shifts of centre and spread in readings of dated pieces.
///
/// # Input
/// `pieces`: at least 6 that can tell, finite; ranges that run forward. Where nothing shifted a shift
/// of either kind is found with a probability of `alpha` at most.
/// # Output
/// Deterministic: random numbers come from a generator fixed by name and seed.
/// # Errors
/// [`StatsError::TooFew`] for less than 6 pieces in sets of two and more, [`StatsError::NotFinite`],
/// [`StatsError::NotAProbability`] for an alpha that is none, [`StatsError::ZeroSpread`] where all
/// readings of each set are equal.
pub fn shifts(pieces: &[Dated], alpha: f64) -> Result<Shifts, StatsError> {
    shifts_of(pieces, alpha, EXACT)
}

/// The same, up to so many pieces with exact fits.
fn shifts_of(pieces: &[Dated], alpha: f64, exact: usize) -> Result<Shifts, StatsError> {
    /// With fewer even the clearest order of readings proves nothing.
    const FEWEST: usize = 6;
    inner_probability(alpha)?;
    let (design, x) = checked(pieces)?;
    if design.len() < FEWEST {
        return Err(StatsError::TooFew {
            needed: FEWEST,
            got: design.len(),
        });
    }
    // Each of the two questions gets half.
    let alpha = alpha / 2.0;
    let mut location = locate(&design, &x, alpha, None, exact)?;
    let mut width = widen(&design, &location, alpha);
    if !width.steps.is_empty() {
        // In units of each time's own spread; a shift that was one of spread alone goes.
        let again = locate(&design, &x, alpha, Some(&width.of_dates), exact)?;
        location = again;
        width = widen(&design, &location, alpha);
    }
    Ok(Shifts {
        n: design.len(),
        sets: design.sets.len(),
        years: location.searched.open,
        spread: location.fit.usual_spread(&design),
        location: location.question(&design),
        width: width.question,
    })
}

/// One candidate for the first year of a new practice, as plain sums see it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShiftContrast {
    /// First and last year that it stands for: no date tells them apart.
    pub years: (i16, i16),
    /// Sum of the readings less their set's mean, each by its share of this year or later.
    pub sum: f64,
    /// Sum of squares of those shares about their set's mean: a shift there of least squares has the
    /// size `sum / information` and takes `sum^2 / information` from the sum of squares.
    pub information: f64,
}

/// The plain contrasts of all candidates, readings neither cut nor standardised; those in whose year
/// nothing can be told have no information.
///
/// # Errors
/// [`StatsError::NotFinite`].
pub fn shift_contrasts(pieces: &[Dated]) -> Result<Vec<ShiftContrast>, StatsError> {
    let (design, x) = checked(pieces)?;
    let sums = design.sums(&centred(&design, x));
    let information = Covariance::new(&design, &vec![1.0; design.sets.len()]).variances();
    let of = |(at, sum)| ShiftContrast {
        years: design.stretches[at],
        sum,
        information: information[at],
    };
    Ok(sums.into_iter().enumerate().map(of).collect())
}

/// The design and the readings in its order, which does not depend on the order of the pieces or on the
/// labels of their sets: draws deal readings out in that order.
fn checked(pieces: &[Dated]) -> Result<(Design, Vec<f64>), StatsError> {
    if let Some((index, piece)) = pieces.iter().enumerate().find(|(_, p)| !p.x.is_finite()) {
        return Err(StatsError::NotFinite {
            index,
            value: piece.x,
        });
    }
    let mut sets: BTreeMap<u32, Vec<Dated>> = BTreeMap::new();
    for piece in pieces {
        sets.entry(piece.set).or_default().push(Dated {
            from: piece.from.min(piece.to),
            to: piece.from.max(piece.to),
            ..*piece
        });
    }
    let by_date = |a: &Dated, b: &Dated| {
        let years = (a.from, a.to).cmp(&(b.from, b.to));
        years.then(a.x.total_cmp(&b.x))
    };
    let mut sets: Vec<Vec<Dated>> = sets.into_values().collect();
    sets.iter_mut().for_each(|set| set.sort_by(by_date));
    sets.sort_by(|a, b| {
        let pairs = a.iter().zip(b).map(|(a, b)| by_date(a, b));
        let differing = pairs.into_iter().find(|order| order.is_ne());
        differing.unwrap_or(a.len().cmp(&b.len()))
    });
    let in_order: Vec<Dated> = (0..)
        .zip(sets)
        .flat_map(|(label, set)| set.into_iter().map(move |of| Dated { set: label, ..of }))
        .collect();
    let design = Design::new(&in_order);
    let x = design
        .source
        .iter()
        .map(|&i| in_order[i as usize].x)
        .collect();
    Ok((design, x))
}

/// Steps found by the same search, whatever the scores are of.
struct Search<'s> {
    design: &'s Design,
    way: Way,
    /// Scores with some steps fitted.
    scores: &'s dyn Fn(&[usize]) -> Option<Vec<f64>>,
    /// The same, as near as tells where another step fits best.
    near: &'s dyn Fn(&[usize]) -> Option<Vec<f64>>,
}

impl<'s> Search<'s> {
    /// The contrasts given some steps, with their scores.
    fn contrasts(&self, steps: &[usize]) -> Option<(Contrasts<'s>, Vec<f64>)> {
        let scores = (self.scores)(steps)?;
        Some((Contrasts::new(self.design, &scores, steps), scores))
    }

    /// Steps that a p under `alpha` speaks for, each with its p given the others.
    fn run(&self, alpha: f64) -> Searched {
        let mut steps: Vec<usize> = Vec::new();
        let mut searched = Searched {
            p_none: 1.0,
            steps: Vec::new(),
            p: Vec::new(),
            open: 0,
            least_noticeable: None,
        };
        while steps.len() < MOST {
            let Some((contrasts, scores)) = self.contrasts(&steps) else {
                break;
            };
            let (p, drawn) = contrasts.p_among(self.design, &scores, self.way);
            if steps.is_empty() {
                searched.p_none = p;
                searched.open = contrasts.open.len();
                searched.least_noticeable = exceeded(drawn, alpha)
                    .filter(|_| p > alpha)
                    .and_then(|limit| self.least_noticeable(&contrasts, &scores, limit));
            }
            match contrasts.largest() {
                Some((at, _)) if p <= alpha => steps.push(at),
                _ => break,
            }
            self.refine(&mut steps);
        }
        let p_none = searched.p_none;
        let mut tested = vec![p_none; steps.len()];
        while steps.len() > 1 {
            tested = (0..steps.len()).map(|i| self.p_of(&steps, i)).collect();
            let weakest = (0..steps.len()).max_by(|&a, &b| tested[a].total_cmp(&tested[b]));
            match weakest {
                Some(weakest) if tested[weakest] > alpha => {
                    steps.remove(weakest);
                    tested = vec![p_none; steps.len()];
                    self.refine(&mut steps);
                }
                _ => break,
            }
        }
        Searched {
            steps,
            p: tested,
            ..searched
        }
    }

    /// Moves each step to where it fits best given the others; they come out in order, and two that
    /// meet are one.
    fn refine(&self, steps: &mut Vec<usize>) {
        if steps.len() < 2 {
            return;
        }
        for _ in 0..4 {
            let before = steps.clone();
            for i in 0..steps.len() {
                let mut others = steps.clone();
                others.remove(i);
                let scores = (self.near)(&others);
                let best = scores.and_then(|scores| {
                    let contrasts = Contrasts::new(self.design, &scores, &others);
                    contrasts.largest()
                });
                if let Some((at, _)) = best {
                    steps[i] = at;
                }
            }
            if *steps == before {
                break;
            }
        }
        steps.sort_unstable();
        steps.dedup();
    }

    fn p_of(&self, steps: &[usize], i: usize) -> f64 {
        let mut others = steps.to_vec();
        others.remove(i);
        let tested = self.contrasts(&others);
        tested.map_or(1.0, |(contrasts, scores)| {
            contrasts.p(self.design, &scores, self.way)
        })
    }

    /// The standardised shift (up to 4, beyond which the normal law says little) that is found four
    /// times in five in the middle of the dates, where a contrast over `limit` is found.
    fn least_noticeable(
        &self,
        contrasts: &Contrasts<'_>,
        scores: &[f64],
        limit: f64,
    ) -> Option<f64> {
        const LARGEST: f64 = 4.0;
        let half = 0.5 * self.design.len() as f64;
        let off = |&&at: &&usize| (self.design.after[at] - half).abs();
        let &middle = contrasts
            .open
            .iter()
            .min_by(|a, b| off(a).total_cmp(&off(b)))?;
        let (_, variance) = contrasts.at(middle);
        let squares: f64 = scores.iter().map(|s| s * s).sum();
        let n = (self.design.len() - self.design.sets.len()) as f64;
        let information = variance / (squares / n);
        // The shift itself widens what it is compared with: a contrast of a fit without it, as one of a
        // fit with it (r and t of a correlation).
        let rest = 1.0 - limit * limit / n;
        let needed = (rest > 0.0).then(|| contrasts.needed(middle, limit / rest.sqrt()))??;
        let least = (information > 0.0).then(|| needed / information.sqrt());
        least.filter(|&least| least <= LARGEST)
    }
}

/// What a search found.
struct Searched {
    /// The p of no step at all.
    p_none: f64,
    steps: Vec<usize>,
    /// Of each given the others.
    p: Vec<f64>,
    /// How many candidates have a few pieces on either side.
    open: usize,
    /// Where nothing was found.
    least_noticeable: Option<f64>,
}

/// Shifts of location.
struct Located {
    searched: Searched,
    shares: Vec<Vec<f64>>,
    fit: Fit,
    width: Option<Vec<f64>>,
}

/// Fits that were made while steps were looked for.
#[derive(Default)]
struct Fits {
    exact: HashMap<Vec<usize>, Option<Rc<Fit>>>,
    near: HashMap<Vec<usize>, Option<Rc<Fit>>>,
    /// Steps and fit of the last one.
    last: Option<(Vec<usize>, Rc<Fit>)>,
}

impl Fits {
    /// The fit of these steps, where there was one as good as is asked for.
    fn known(&self, steps: &[usize], near: bool) -> Option<Option<Rc<Fit>>> {
        let fit = self.exact.get(steps);
        fit.or_else(|| self.near.get(steps).filter(|_| near))
            .cloned()
    }

    /// Where a fit of these steps may begin.
    fn start(&self, steps: &[usize]) -> Option<Start> {
        let (of_last, fit) = self.last.as_ref()?;
        let of_step = |step| {
            let at = of_last.iter().position(|of_last| of_last == step);
            at.map_or(0.0, |at| fit.steps[at])
        };
        Some(Start {
            centre: fit.centre.clone(),
            spread: fit.spread.clone(),
            steps: steps.iter().map(of_step).collect(),
        })
    }

    fn keep(&mut self, steps: &[usize], near: bool, fit: Option<Rc<Fit>>) {
        let fits = if near {
            &mut self.near
        } else {
            &mut self.exact
        };
        fits.insert(steps.to_vec(), fit.clone());
        if let Some(fit) = fit {
            self.last = Some((steps.to_vec(), fit));
        }
    }
}

fn locate(
    design: &Design,
    x: &[f64],
    alpha: f64,
    width: Option<&[f64]>,
    exact: usize,
) -> Result<Located, StatsError> {
    // The same steps are asked for again and again while others are moved.
    let fits: RefCell<Fits> = RefCell::default();
    let fit = |steps: &[usize], near: bool| -> Option<Rc<Fit>> {
        let near = near && design.len() > exact;
        if let Some(fit) = fits.borrow().known(steps, near) {
            return fit;
        }
        // A few pieces settle from anywhere; of many, the next fit differs little from the last one.
        let from = (design.len() > exact).then(|| fits.borrow().start(steps));
        let shares: Vec<Vec<f64>> = steps.iter().map(|&step| design.shares(step)).collect();
        let fit = Fit::new(design, x, &shares, width, from.flatten(), near).map(Rc::new);
        fits.borrow_mut().keep(steps, near, fit.clone());
        fit
    };
    let fitted = |steps: &[usize]| fit(steps, false);
    let near = |steps: &[usize]| fit(steps, true);
    let search = Search {
        design,
        way: Way::of(design),
        scores: &|steps| Some(fitted(steps)?.scores(design)),
        near: &|steps| Some(near(steps)?.scores(design)),
    };
    let searched = search.run(alpha);
    Ok(Located {
        fit: fitted(&searched.steps)
            .map(Rc::unwrap_or_clone)
            .ok_or(StatsError::ZeroSpread)?,
        shares: searched
            .steps
            .iter()
            .map(|&step| design.shares(step))
            .collect(),
        searched,
        width: width.map(<[f64]>::to_vec),
    })
}

impl Located {
    fn question(&self, design: &Design) -> ShiftQuestion {
        let steps = &self.searched.steps;
        let df = design.len() as f64 - (design.sets.len() + steps.len()) as f64;
        let of_step = |i: usize| {
            let step = Location::new(design, &self.fit, &self.shares, i, self.width.as_deref());
            let candidates = step.all(between(design, steps, i), steps[i]);
            told(design, &candidates, df, self.searched.p[i])
        };
        ShiftQuestion {
            p: self.searched.p_none,
            shifts: by_year((0..steps.len()).map(of_step)),
            least_noticeable: self.searched.least_noticeable,
        }
    }
}

/// Shifts in the order of their years: each is the likeliest given where the others stand, so that two
/// near each other may change sides.
fn by_year(shifts: impl Iterator<Item = YearShift>) -> Vec<YearShift> {
    let mut shifts: Vec<YearShift> = shifts.collect();
    shifts.sort_by_key(|shift| shift.year);
    shifts
}

/// Candidates between a step's neighbours.
fn between(design: &Design, steps: &[usize], i: usize) -> std::ops::Range<usize> {
    let from = if i == 0 { 0 } else { steps[i - 1] + 1 };
    from..*steps.get(i + 1).unwrap_or(&design.candidates())
}

/// Shifts of spread.
struct Widened {
    steps: Vec<usize>,
    question: ShiftQuestion,
    /// Spread of the time of each date of the whole.
    of_dates: Vec<f64>,
}

fn widen(whole: &Design, location: &Located, alpha: f64) -> Widened {
    let (design, distances) = clear_of(whole, location);
    let of_dates = design.date_of().iter().copied();
    let squares = Squares::new(design.dates(), of_dates.zip(distances.iter().copied()));
    let scales = |steps: &[usize]| time_spreads(&design, &squares, steps);
    let scores = |steps: &[usize]| {
        let widths = scales(steps);
        let cut = distances.iter().zip(design.date_of());
        let cut = cut.map(|(r, &date)| (r / widths[date as usize]).abs().min(CUT));
        Some(centred(&design, cut.collect()))
    };
    let search = Search {
        design: &design,
        way: Way::of(&design),
        scores: &scores,
        near: &scores,
    };
    let searched = search.run(alpha);
    let steps = searched.steps;
    let of_step = |i: usize| {
        let mut others = steps.clone();
        others.remove(i);
        // The steps' own spreads, but this one's counted in its neighbours' units.
        let all = segment_spreads(&design, &squares, &steps);
        let own = time_spreads(&design, &squares, &steps);
        let shares = design.shares(steps[i]);
        let (before, after) = (all[i], all[i + 1]);
        let r = (0..design.len()).map(|k| {
            let date = design.date_of()[k] as usize;
            let of_step = before * (1.0 - shares[date]) + after * shares[date];
            distances[k] * of_step / own[date]
        });
        let made = design.made();
        let spread = Spread {
            r: Squares::new(made.spans(), made.span_of().iter().copied().zip(r)),
            made,
            start: (before, after),
        };
        let candidates = spread.all(between(&design, &steps, i), steps[i]);
        let mut shift = told(&design, &candidates, f64::INFINITY, searched.p[i]);
        for size in [&mut shift.size, &mut shift.low, &mut shift.high] {
            *size = size.exp();
        }
        shift
    };
    let question = ShiftQuestion {
        p: searched.p_none,
        shifts: by_year((0..steps.len()).map(of_step)),
        least_noticeable: searched.least_noticeable.and_then(as_ratio),
    };
    // Widths of all dates of the whole, by the years of the steps.
    let spreads = segment_spreads(&design, &squares, &steps);
    let years = steps.iter().map(|&step| design.stretches[step].1);
    let on_whole: Vec<Vec<f64>> = years
        .map(|year| {
            let at = whole.stretches.iter().position(|s| s.1 >= year);
            at.map_or_else(|| vec![0.0; whole.dates()], |at| whole.shares(at))
        })
        .collect();
    Widened {
        of_dates: mixed(&spreads, &on_whole, whole.dates()),
        steps,
        question,
    }
}

/// A shift of the mean distance, in standard deviations of distances, as a ratio of spreads; `None`
/// where no ratio, or only one beyond belief, shifts it as far.
///
/// |Z| has mean 0.7979 and standard deviation 0.6028 (the half-normal distribution): the ratio R of
/// spreads 1 and R, as many pieces of each, solves `k^2 (1 + R^2) / 2 = (R - 1)^2`.
fn as_ratio(shift: f64) -> Option<f64> {
    const LARGEST: f64 = 4.0;
    let k = shift * 0.6028 / 0.7979;
    let c = 1.0 - 0.5 * k * k;
    let ratio = (c > 0.0).then(|| (1.0 + (1.0 - c * c).max(0.0).sqrt()) / c);
    ratio.filter(|&ratio| ratio <= LARGEST)
}

/// The design of the pieces that tell spread, and their distances from the centres of their times.
fn clear_of(whole: &Design, location: &Located) -> (Design, Vec<f64>) {
    let width = |i: usize| {
        let width = location.width.as_ref();
        width.map_or(1.0, |width| width[whole.date_of()[i] as usize])
    };
    let mut by_piece: Vec<Option<Dated>> = vec![None; whole.len()];
    each_cell(whole, &location.fit, &location.shares, |cell| {
        let (_, larger) = cell.freedom();
        for (&i, residual) in cell.pieces.iter().zip(cell.residuals) {
            let (from, to) = whole.date(i);
            by_piece[i] = Some(Dated {
                x: (residual - cell.centre) * larger * width(i),
                set: cell.set as u32,
                from,
                to,
            });
        }
    });
    let pieces: Vec<Dated> = by_piece.into_iter().flatten().collect();
    let design = Design::new(&pieces);
    let distances = design
        .source
        .iter()
        .map(|&i| pieces[i as usize].x)
        .collect();
    (design, distances)
}

/// Spread of the time of each date.
fn time_spreads(design: &Design, squares: &Squares, steps: &[usize]) -> Vec<f64> {
    if steps.is_empty() {
        return vec![1.0; design.dates()];
    }
    let spreads = segment_spreads(design, squares, steps);
    let mut sorted = steps.to_vec();
    sorted.sort_unstable();
    let shares: Vec<Vec<f64>> = sorted.iter().map(|&step| design.shares(step)).collect();
    mixed(&spreads, &shares, design.dates())
}

/// The mean of spreads before, between and after steps, by each date's shares of each.
fn mixed(spreads: &[f64], shares: &[Vec<f64>], dates: usize) -> Vec<f64> {
    let of_date = |date: usize| {
        let changes = spreads.windows(2).zip(shares);
        let changes = changes.map(|(s, share)| (s[1] - s[0]) * share[date]);
        spreads[0] + changes.sum::<f64>()
    };
    (0..dates).map(of_date).collect()
}

/// Spreads before, between and after steps, distances cut at [`CUT`] of them.
fn segment_spreads(design: &Design, squares: &Squares, steps: &[usize]) -> Vec<f64> {
    let mut steps = steps.to_vec();
    steps.sort_unstable();
    let mut shares: Vec<Vec<f64>> = vec![vec![1.0; design.dates()]];
    shares.extend(steps.iter().map(|&step| design.shares(step)));
    shares.push(vec![0.0; design.dates()]);
    let of_segment = |of: &[Vec<f64>]| {
        let within: Vec<f64> = of[0].iter().zip(&of[1]).map(|(a, b)| a - b).collect();
        let dates = || {
            within
                .iter()
                .enumerate()
                .filter(|(_, share)| **share != 0.0)
        };
        let count = |date: usize| squares.of(date).len() as f64;
        let n: f64 = dates().map(|(date, share)| share * count(date)).sum();
        let mut variance = 1.0_f64;
        for _ in 0..30 {
            let most = CUT * CUT * variance;
            let of_date = |(date, share): (usize, &f64)| share * squares.capped(date, most).sum;
            let sum: f64 = dates().map(of_date).sum();
            let next = (sum / cut_variance() + 1e-3) / (n + 1e-3);
            let settled = (next / variance - 1.0).abs() < 1e-6;
            variance = next;
            if settled {
                break;
            }
        }
        variance.sqrt().max(0.05)
    };
    shares.windows(2).map(of_segment).collect()
}

/// The years and the size that candidates tell.
fn told(design: &Design, candidates: &[Candidate], df: f64, p: f64) -> YearShift {
    let most = candidates
        .iter()
        .map(|c| c.log)
        .fold(f64::NEG_INFINITY, f64::max);
    let years_of = |c: &Candidate| {
        let (from, to) = design.stretches[c.at];
        f64::from(to) - f64::from(from) + 1.0
    };
    let weights: Vec<f64> = candidates
        .iter()
        .map(|c| (c.log - most).exp() * years_of(c))
        .collect();
    let total: f64 = weights.iter().sum();
    let mut order: Vec<usize> = (0..candidates.len()).collect();
    // A year's probability, not a stretch's, says which goes in first.
    order.sort_by(|&a, &b| candidates[b].log.total_cmp(&candidates[a].log));
    let credible = match p < BEYOND_DOUBT {
        true => CREDIBLE.0,
        false => CREDIBLE.1,
    };
    let mut held = 0.0;
    let mut within: Vec<(i16, i16)> = Vec::new();
    for &i in &order {
        within.push(design.stretches[candidates[i].at]);
        held += weights[i] / total;
        if held >= credible {
            break;
        }
    }
    let (first, last) = within[0];
    within.sort_unstable();
    let mut years: Vec<(i16, i16)> = Vec::new();
    for (from, to) in within {
        match years.last_mut() {
            Some(stretch) if i32::from(stretch.1) + 1 == i32::from(from) => stretch.1 = to,
            _ => years.push((from, to)),
        }
    }
    // Student's tails by the normal's, wider by as much as they are at 97.5 %.
    let wider = match df.is_finite() {
        true => t_upper_quantile(0.025, df.max(1.0)) / 1.959_964,
        false => 1.0,
    };
    let below = |x: f64| {
        let of = candidates.iter().zip(&weights);
        let shares = of.map(|(c, w)| w * normal_cdf((x - c.size) / (wider * c.error).max(1e-12)));
        shares.sum::<f64>() / total
    };
    let ends = candidates.iter().zip(&weights).filter(|(_, w)| **w > 0.0);
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (c, _)| {
        let far = 10.0 * wider * c.error + 1e-9;
        (low.min(c.size - far), high.max(c.size + far))
    });
    let quantile = |share: f64| {
        let (mut low, mut high) = (low, high);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            match below(middle) < share {
                true => low = middle,
                false => high = middle,
            }
        }
        0.5 * (low + high)
    };
    YearShift {
        year: i16::midpoint(first, last),
        years,
        size: quantile(0.5),
        low: quantile(0.025),
        high: quantile(0.975),
        p,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pieces in three sets, some dated to a range, without any shift.
    fn quiet(seed: u64, n: usize) -> Vec<Dated> {
        let mut state = seed;
        let mut uniform = move || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 11) as f64 / (1u64 << 53) as f64
        };
        let one = |i: usize| {
            let year = 1900 + (60.0 * uniform()) as i16;
            let half = (4.0 * uniform()) as i16;
            let bell = uniform() + uniform() + uniform() + uniform() - 2.0;
            Dated {
                x: bell,
                set: (i % 3) as u32,
                from: year - half,
                to: year + half,
            }
        };
        (0..n).map(one).collect()
    }

    /// Dealing out is exact, and where it is left for normal sums both say the same: each p has a
    /// standard error of 0.011 at most, so that 0.05 is over three of their difference.
    #[test]
    fn normal_sums_agree_with_dealing_out() {
        for seed in 0..6 {
            let pieces = quiet(seed, chance::DEALT_OUT);
            let (design, x) = checked(&pieces).unwrap();
            let fit = Fit::new(&design, &x, &[], None, None, false).unwrap();
            let flat = vec![1.0; design.len()];
            let far: Vec<f64> = fit
                .residuals
                .iter()
                .zip(&flat)
                .map(|(r, w)| r.abs() * w)
                .collect();
            for scores in [fit.scores(&design), centred(&design, far)] {
                let contrasts = Contrasts::new(&design, &scores, &[]);
                let exact = contrasts.p(&design, &scores, Way::DealtOut);
                let normal = contrasts.p(&design, &scores, Way::Normal);
                assert!(
                    (exact - normal).abs() < 0.05,
                    "{seed}: {exact} and {normal}"
                );
            }
        }
    }

    /// Many pieces: fits that begin with the one before against fits from the readings alone, each exact.
    #[test]
    fn quick_fits_find_what_exact_ones_find() {
        let mut state = 7_u64;
        // A linear congruential generator (Knuth) and Irwin and Hall's sum: any noise will do here.
        let mut uniform = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let pieces: Vec<Dated> = (0..EXACT as u32 + 400)
            .map(|i| {
                let year = 1920 + (60.0 * uniform()) as i16;
                let poor = (1951..1958).contains(&year);
                let noise = (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
                let spread = if poor { 1.8 } else { 1.0 };
                let half = if i % 10 < 3 { 4 } else { 0 };
                Dated {
                    x: f64::from(i % 9) + f64::from(u8::from(poor)) * 1.5 + spread * noise,
                    set: i % 9,
                    from: year - half,
                    to: year + half,
                }
            })
            .collect();
        let quick = shifts(&pieces, 0.05).unwrap();
        let exact = shifts_of(&pieces, 0.05, usize::MAX).unwrap();
        for (a, b) in [
            (&quick.location, &exact.location),
            (&quick.width, &exact.width),
        ] {
            assert_eq!(b.shifts.len(), 2, "{b:?}");
            let years = |of: &ShiftQuestion| -> Vec<Vec<(i16, i16)>> {
                of.shifts.iter().map(|s| s.years.clone()).collect()
            };
            assert_eq!(years(a), years(b));
            for (a, b) in a.shifts.iter().zip(&b.shifts) {
                assert_eq!(a.year, b.year);
                for (a, b) in [(a.size, b.size), (a.low, b.low), (a.high, b.high)] {
                    assert!((a - b).abs() < 1e-3, "{a} {b}");
                }
                assert!((a.p - b.p).abs() < 0.01);
            }
        }
    }

    #[test]
    fn the_share_of_a_range_follows_the_years_in_which_pieces_were_made() {
        let exact = |year: i16| Dated {
            x: 0.0,
            set: 0,
            from: year,
            to: year,
        };
        let mut pieces: Vec<Dated> = (0..30)
            .map(|i| exact(if i < 3 { 1950 } else { 1954 }))
            .collect();
        pieces.push(Dated {
            to: 1954,
            ..exact(1950)
        });
        let design = Design::new(&pieces);
        let at = design
            .stretches
            .iter()
            .position(|s| *s == (1954, 1954))
            .unwrap();
        let share = design.shares(at)[design.date_of()[30] as usize];
        assert!((share - 0.9).abs() < 0.02, "{share}");
    }

    #[test]
    fn years_that_no_date_covers_are_one_stretch() {
        let piece = |from: i16, to: i16| Dated {
            x: f64::from(from % 3),
            set: 0,
            from,
            to,
        };
        let pieces = [piece(1930, 1930), piece(1930, 1931), piece(1960, 1960)];
        let contrasts = shift_contrasts(&pieces).unwrap();
        let years: Vec<(i16, i16)> = contrasts.iter().map(|c| c.years).collect();
        assert_eq!(years, [(1931, 1931), (1932, 1960)]);
    }
}
