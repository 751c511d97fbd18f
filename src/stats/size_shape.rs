//! Size and shape: what several sizes of one piece say together, and what each says besides.
//!
//! # Source
//! J. E. Mosimann, J. Am. Stat. Assoc. 65 (1970) 930-945, with the geometric mean as size.

/// The size of a piece and the shape of each of its dimensions, all on the logarithm.
#[derive(Clone, Debug, PartialEq)]
pub struct SizeShape {
    /// Mean of the logarithms.
    pub size: f64,
    /// Its standard uncertainty.
    pub size_uncertainty: f64,
    /// Each logarithm less the size; their sum is 0.
    pub shape: Vec<f64>,
    /// The standard uncertainty of each.
    pub shape_uncertainty: Vec<f64>,
}

/// Splits the logarithms of a piece's sizes, given with their standard uncertainties (independent
/// of each other), into size and shape. `None` for fewer than two sizes: one has no shape.
pub fn size_and_shape(logarithms: &[(f64, f64)]) -> Option<SizeShape> {
    if logarithms.len() < 2 {
        return None;
    }
    let p = logarithms.len() as f64;
    let size = logarithms.iter().map(|(x, _)| x).sum::<f64>() / p;
    let squares: f64 = logarithms.iter().map(|(_, u)| u * u).sum();
    // (1 - 1/p)^2 u^2 + (squares - u^2) / p^2, with the own share of the mean taken together.
    let shape_uncertainty = |u: f64| {
        ((1.0 - 2.0 / p) * u * u + squares / (p * p))
            .max(0.0)
            .sqrt()
    };
    Some(SizeShape {
        size,
        size_uncertainty: squares.sqrt() / p,
        shape: logarithms.iter().map(|(x, _)| x - size).collect(),
        shape_uncertainty: logarithms
            .iter()
            .map(|(_, u)| shape_uncertainty(*u))
            .collect(),
    })
}
