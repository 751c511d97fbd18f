//! Printed sample sizes of distribution-free tolerance limits.

use crate::common::assert_rel;
use calibriar::stats::{Coverage, Sides, range_confidence, wilks_sample_size};

fn sample_size(sides: Sides, order: usize, content: f64, confidence: f64) -> usize {
    let coverage = Coverage::new(content, confidence).expect("probabilities");
    wilks_sample_size(sides, order, coverage).expect("an order")
}

/// Source: Wilks (1941), Annals of Mathematical Statistics 12, 91-96, his condition; the
/// sizes 59, 93, 46, 459 and 473 are those of its widely printed tables (exact whole numbers).
#[test]
fn the_well_known_sample_sizes() {
    assert_eq!(sample_size(Sides::One, 1, 0.95, 0.95), 59);
    assert_eq!(sample_size(Sides::Two, 1, 0.95, 0.95), 93);
    assert_eq!(sample_size(Sides::Two, 1, 0.90, 0.95), 46);
    assert_eq!(sample_size(Sides::One, 1, 0.99, 0.99), 459);
    assert_eq!(sample_size(Sides::Two, 1, 0.99, 0.95), 473);
    assert_eq!(sample_size(Sides::One, 2, 0.95, 0.95), 93);
}

/// Source: Wilks (1941), the closed form (tolerance: its own cancellation in `f64`).
#[test]
fn the_confidence_of_a_range_is_wilks_formula() {
    for (n, content, want) in [
        (4_usize, 0.5, 0.6875),
        (46, 0.9, 0.951996200376),
        (93, 0.95, 0.950024204757),
    ] {
        assert_rel(
            range_confidence(n, content).expect("a content"),
            want,
            1e-12,
        );
        let (n, p) = (n as f64, content);
        let closed = 1.0 - n * p.powf(n - 1.0) + (n - 1.0) * p.powf(n);
        assert_rel(closed, want, 1e-12);
    }
}
