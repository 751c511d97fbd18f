//! What the outside checks share.

pub(crate) mod draw;
pub(crate) mod tables;

/// `got` within `tol` of `want`, relatively; a `want` of 0 must be met exactly.
#[track_caller]
pub(crate) fn assert_rel(got: f64, want: f64, tol: f64) {
    let error = relative_error(got, want);
    assert!(
        error <= tol,
        "got {got:e}, want {want:e}, relative error {error:e} over {tol:e}"
    );
}

/// As [`assert_rel`], with the case named in the message.
#[track_caller]
pub(crate) fn assert_rel_at(case: &str, got: f64, want: f64, tol: f64) {
    let error = relative_error(got, want);
    assert!(
        error <= tol,
        "{case}: got {got:e}, want {want:e}, relative error {error:e} over {tol:e}"
    );
}

/// `got` within half a unit of the last digit printed.
#[track_caller]
pub(crate) fn assert_printed(case: &str, got: f64, printed: &str) {
    let want: f64 = number(printed);
    let decimals = printed
        .split_once('.')
        .map_or(0, |(_, decimals)| decimals.len());
    // One rounding of f64 more, for numbers printed to 15 digits.
    let half = 0.5 * 10.0_f64.powi(-(decimals as i32)) + f64::EPSILON * want.abs();
    assert!(
        (got - want).abs() <= half,
        "{case}: got {got}, printed {printed}"
    );
}

/// NaN counts as infinitely wrong.
pub(crate) fn relative_error(got: f64, want: f64) -> f64 {
    let error = if want == 0.0 && got == 0.0 {
        0.0
    } else {
        (got - want).abs() / want.abs()
    };
    if error.is_nan() { f64::INFINITY } else { error }
}

/// The rows of a table without quoted cells, header left out.
pub(crate) fn rows(table: &str) -> impl Iterator<Item = Vec<&str>> {
    table.lines().skip(1).map(|line| line.split(',').collect())
}

/// A cell that must be a number.
#[track_caller]
pub(crate) fn number(cell: &str) -> f64 {
    cell.parse()
        .unwrap_or_else(|_| panic!("`{cell}` is not a number"))
}
