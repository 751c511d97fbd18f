//! How often readings stray: the heaviest t law that a set of scores does not speak against.

use super::t_sf;

/// Scores further out than this are only counted: how far strays stray must not say how far good
/// readings do.
const CENSORED: f64 = 3.5;
/// Scores further out than this are gross strays and not counted at all: the law is fitted to the
/// others, given that they are others.
const GROSS: f64 = 5.0;
/// Cells of the histogram up to `CENSORED`.
const CELLS: usize = 35;
/// The degrees of freedom that are tried, heaviest tails first.
const TRIED: [f64; 13] = [
    2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0, 10.0, 14.0, 20.0, 30.0, 60.0, 1000.0,
];
/// Half the 0.90 quantile of chi-square with 1 degree of freedom: a lower limit with 95 % confidence.
const ROOM: f64 = 1.353;

/// A t law for scores that were made by a robust spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TailWeight {
    /// Degrees of freedom.
    pub df: f64,
    /// The law's scale; scores of a spread that is just right have 1.
    pub scale: f64,
}

/// The lower confidence limit (95 %, one-sided) of the degrees of freedom of a scaled t law, by its
/// profile likelihood, with the scale that goes with it.
///
/// # Method
/// `|score|` is counted in cells of 0.1 up to 3.5, those from there to 5 in one. Scores beyond 5 are left
/// out, and the likelihood is that of the truncated law, so that gross strays of any number say nothing. For each of 13 degrees of freedom the scale of the greatest
/// likelihood is found by halving the step of a search; the least df whose log-likelihood is within
/// 1.353 of the best is given. Few scores tell little, so they give few degrees of freedom: 2.5 for
/// none.
/// # Input
/// `scores`: deviations over their spread; NaN is left out.
/// # Accuracy
/// The grid's: the next value of the grid is the next answer.
/// # Source
/// Profile likelihood limits: Venzon and Moolgavkar (1988), Applied Statistics 37, 87-94 (from
/// memory); censoring, truncation and grid are our own.
/// # Example
/// ```
/// use calibriar::stats::{normal_quantile, tail_weight};
///
/// let normal: Vec<f64> = (1..2000).map(|i| normal_quantile(f64::from(i) / 2000.0)).collect();
/// assert!(tail_weight(&normal).df >= 14.0);
/// assert_eq!(tail_weight(&[]).df, 2.5);
/// ```
#[must_use]
pub fn tail_weight(scores: &[f64]) -> TailWeight {
    let mut counts = [0.0; CELLS + 1];
    for score in scores.iter().filter(|s| s.abs() <= GROSS) {
        let cell = (score.abs() / CENSORED * CELLS as f64) as usize;
        counts[cell.min(CELLS)] += 1.0;
    }
    let fits = TRIED.map(|df| best_scale(&counts, df));
    let best = fits.iter().map(|f| f.1).fold(f64::NEG_INFINITY, f64::max);
    let heaviest = fits.iter().position(|f| f.1 >= best - ROOM).unwrap_or(0);
    TailWeight {
        df: TRIED[heaviest],
        scale: fits[heaviest].0,
    }
}

/// The scale of the greatest likelihood for so many degrees of freedom, and that likelihood.
fn best_scale(counts: &[f64; CELLS + 1], df: f64) -> (f64, f64) {
    let of = |log_scale: f64| log_likelihood(counts, df, log_scale.exp());
    let (mut at, mut step) = (0.0_f64, 0.16);
    let mut best = of(at);
    while step > 0.004 {
        let (down, up) = (of(at - step), of(at + step));
        if down > best && down >= up {
            (at, best) = (at - step, down);
        } else if up > best {
            (at, best) = (at + step, up);
        } else {
            step /= 2.0;
        }
        if at.abs() > 1.5 {
            break;
        }
    }
    (at.exp(), best)
}

fn log_likelihood(counts: &[f64; CELLS + 1], df: f64, scale: f64) -> f64 {
    let width = CENSORED / CELLS as f64;
    let beyond = |cell: usize| t_sf(width * cell as f64 / scale, df);
    let gross = t_sf(GROSS / scale, df);
    let (mut sum, mut from) = (0.0, beyond(0));
    let all = from - gross;
    for (cell, &count) in counts.iter().enumerate() {
        let to = if cell == CELLS {
            gross
        } else {
            beyond(cell + 1)
        };
        sum += count * ((from - to) / all).max(f64::MIN_POSITIVE).ln();
        from = to;
    }
    sum
}
