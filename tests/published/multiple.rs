//! The worked example of Benjamini and Hochberg.

use calibriar::stats::{benjamini_hochberg, holm};

/// Source: Benjamini and Hochberg (1995), J. R. Stat. Soc. B 57, 289-300: fifteen
/// p-values; at 0.05 their procedure rejects four hypotheses, Bonferroni's three (exact counts;
/// Holm's rejects the same three here: 0.0095 times 12 is over 0.05).
#[test]
fn the_fifteen_p_values_of_benjamini_and_hochberg() {
    let p = [
        0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
        0.5719, 0.6528, 0.7590, 1.0,
    ];
    let rejected = |adjusted: Vec<f64>| adjusted.iter().filter(|p| **p <= 0.05).count();
    assert_eq!(rejected(benjamini_hochberg(&p)), 4);
    assert_eq!(rejected(holm(&p)), 3);
}
