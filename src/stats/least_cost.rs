//! Least cost under linear limits.

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOptions};

use super::StatsError;

/// One linear limit: `low <= coefficients . x <= high`.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearLimit {
    /// One for each unknown.
    pub coefficients: Vec<f64>,
    /// Lower limit; minus infinity for none.
    pub low: f64,
    /// Upper limit; infinity for none.
    pub high: f64,
}

/// How far a limit may be missed, in its own unit.
const FEASIBILITY: f64 = 1e-9;

/// The unknowns of least cost among those that keep all limits; `None` where none do.
///
/// # Method
/// A linear program: `min costs . x` with `from[i] <= x[i] <= to[i]` and every [`LinearLimit`], by the
/// simplex method of the crate `microlp`. The same input gives the same answer, digit for digit.
/// # Input
/// `bounds`: one pair for each unknown, finite below. Costs of 0 or more keep it from running away. Best
/// with coefficients, where they are not 0, within six orders of magnitude.
/// # Output
/// One number for each unknown, within its bounds; every limit is kept to 1e-9.
/// # Errors
/// [`StatsError::NotFinite`] at the first cost, bound or coefficient that is no finite number (a limit or
/// an upper bound may be infinite, none may be NaN); [`StatsError::Unsolved`] where the solver fails
/// on numbers that it cannot tell apart, or the cost falls without end.
/// # Accuracy
/// Costs against HiGHS on random programs (`tests/reference/plan.rs`): 1e-9, relative above 1.
/// # Source
/// Dantzig, Linear Programming and Extensions (1963), ch. 5.
/// # Example
/// ```
/// use calibriar::stats::{LinearLimit, least_cost};
///
/// // Two works take 0.5 off one size together, the dearer one alone 0.2 off another.
/// let limits = [
///     LinearLimit { coefficients: vec![1.0, 0.5], low: 0.5, high: f64::INFINITY },
///     LinearLimit { coefficients: vec![1.0, 0.0], low: 0.2, high: f64::INFINITY },
/// ];
/// let works = least_cost(&[3.0, 1.0], &[(0.0, 2.0); 2], &limits)?.expect("possible");
/// assert!((works[0] - 0.2).abs() < 1e-9 && (works[1] - 0.6).abs() < 1e-9);
/// # Ok::<(), calibriar::stats::StatsError>(())
/// ```
pub fn least_cost(
    costs: &[f64],
    bounds: &[(f64, f64)],
    limits: &[LinearLimit],
) -> Result<Option<Vec<f64>>, StatsError> {
    let coefficients = limits.iter().flat_map(|l| &l.coefficients);
    let lower = bounds.iter().map(|(from, _)| from);
    for (index, &value) in costs.iter().chain(lower).chain(coefficients).enumerate() {
        if !value.is_finite() {
            return Err(StatsError::NotFinite { index, value });
        }
    }
    let open = limits.iter().flat_map(|l| [l.low, l.high]);
    let open = open.chain(bounds.iter().map(|&(_, to)| to));
    if let Some((index, value)) = open.enumerate().find(|(_, value)| value.is_nan()) {
        return Err(StatsError::NotFinite { index, value });
    }
    // What no number can be is nobody's failure to solve.
    if bounds.iter().any(|(from, to)| from > to) || limits.iter().any(|l| l.low > l.high) {
        return Ok(None);
    }
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let unknowns: Vec<_> = costs
        .iter()
        .zip(bounds)
        .map(|(&cost, &bounds)| problem.add_var(cost, bounds))
        .collect();
    for limit in limits {
        let terms: Vec<_> = (unknowns.iter().copied())
            .zip(limit.coefficients.iter().copied())
            .filter(|&(_, coefficient)| coefficient != 0.0)
            .collect();
        if terms.is_empty() {
            if limit.low > FEASIBILITY || limit.high < -FEASIBILITY {
                return Ok(None);
            }
            continue;
        }
        if limit.low > f64::NEG_INFINITY {
            problem.add_constraint(&terms, ComparisonOp::Ge, limit.low);
        }
        if limit.high < f64::INFINITY {
            problem.add_constraint(&terms, ComparisonOp::Le, limit.high);
        }
    }
    let mut options = SolveOptions::default();
    options.tolerances.feasibility = FEASIBILITY;
    match problem.solve_with(options) {
        Ok(outcome) => {
            let solution = outcome.into_solution().map_err(|_| StatsError::Unsolved)?;
            let value = |(&of, &(from, to)): (&_, &(f64, f64))| {
                // 1e-10 beyond a bound is that bound.
                solution.var_value(of).clamp(from, to)
            };
            Ok(Some(unknowns.iter().zip(bounds).map(value).collect()))
        }
        Err(microlp::Error::Infeasible) => Ok(None),
        Err(_) => Err(StatsError::Unsolved),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(coefficients: &[f64], low: f64, high: f64) -> LinearLimit {
        LinearLimit {
            coefficients: coefficients.to_vec(),
            low,
            high,
        }
    }

    const ENDLESS: f64 = f64::INFINITY;

    #[test]
    fn edges() {
        let solve = |costs: &[f64], to: f64, limits: &[LinearLimit]| {
            least_cost(costs, &vec![(0.0, to); costs.len()], limits)
        };
        assert_eq!(solve(&[], 1.0, &[]), Ok(Some(vec![])));
        assert_eq!(solve(&[1.0], 1.0, &[]), Ok(Some(vec![0.0])));
        assert_eq!(solve(&[1.0], 1.0, &[limit(&[1.0], 2.0, ENDLESS)]), Ok(None));
        assert_eq!(solve(&[1.0], 1.0, &[limit(&[0.0], 0.1, ENDLESS)]), Ok(None));
        assert_eq!(
            solve(&[1.0], 1.0, &[limit(&[0.0], -0.1, 0.1)]),
            Ok(Some(vec![0.0]))
        );
        assert_eq!(solve(&[1.0], 1.0, &[limit(&[1.0], 0.3, 0.2)]), Ok(None));
        assert_eq!(
            solve(&[1.0], 1.0, &[limit(&[1.0], 0.25, 0.25)]),
            Ok(Some(vec![0.25]))
        );
        assert_eq!(solve(&[-1.0], ENDLESS, &[]), Err(StatsError::Unsolved));
        assert!(matches!(
            solve(&[1.0, f64::NAN], 1.0, &[]),
            Err(StatsError::NotFinite { index: 1, .. })
        ));
        assert!(solve(&[1.0], 1.0, &[limit(&[f64::INFINITY], 0.0, 1.0)]).is_err());
        assert!(solve(&[1.0], 1.0, &[limit(&[1.0], f64::NAN, 1.0)]).is_err());
        assert!(solve(&[1.0], f64::NAN, &[]).is_err());
    }

    #[test]
    fn nonsense_never_panics() {
        for size in [1e-300, 1e300, 1e-12, 1e12] {
            for other in [1e-300, 1.0, 1e300] {
                let limits = [
                    limit(&[size, other], other, ENDLESS),
                    limit(&[1.0, -1.0], -size, size),
                ];
                let _ = least_cost(&[1.0, size], &[(0.0, ENDLESS); 2], &limits);
            }
        }
    }
}
