//! Polynomial interpolation between a few nodes (Lagrange).

/// What each of the values at some nodes, all different, counts for at `x`.
///
/// # Example
/// ```
/// use calibriar::stats::interpolation_weights;
///
/// // The parabola through 0, 1 and 4 at 0, 1 and 2 is x^2.
/// let w = interpolation_weights(3.0, [0.0, 1.0, 2.0].into_iter());
/// assert_eq!(w[1] + 4.0 * w[2], 9.0);
/// ```
pub fn interpolation_weights(x: f64, nodes: impl Iterator<Item = f64> + Clone) -> Vec<f64> {
    nodes
        .clone()
        .enumerate()
        .map(|(i, own)| {
            let others = nodes.clone().enumerate().filter(|&(j, _)| j != i);
            others
                .map(|(_, other)| (x - other) / (own - other))
                .product()
        })
        .collect()
}
