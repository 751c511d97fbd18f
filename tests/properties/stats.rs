//! What must hold for any numbers: the algebra of tails, quantiles, samples and factors.

use crate::common::relative_error;
use calibriar::stats::{
    Coverage, Sides, benjamini_hochberg, chi_square_cdf, chi_square_quantile, chi_square_sf,
    describe, f_cdf, f_quantile, f_sf, holm, howe_factor, mean, median, moments, noncentral_t_cdf,
    noncentral_t_quantile, noncentral_t_sf, normal_cdf, normal_quantile, normal_sf,
    normal_tolerance_factor, one_sided_factor, quantile_type7, range_confidence, t_cdf, t_quantile,
    t_sf, t_two_sided, t_upper_quantile, two_sided_factor, wilks_sample_size,
};
use proptest::collection::vec;
use proptest::prelude::*;

/// Degrees of freedom from well under one to large, evenly in their logarithm.
fn df() -> impl Strategy<Value = f64> {
    (-1.5..8.0_f64).prop_map(f64::exp)
}

/// Probabilities of at most one half, down to 1e-60.
fn small_tail() -> impl Strategy<Value = f64> {
    prop_oneof![0.001..0.5, (-138.0..-0.7_f64).prop_map(f64::exp)]
}

/// Millimetres and their like, of either sign.
fn readings() -> impl Strategy<Value = Vec<f64>> {
    vec(-200.0..200.0_f64, 1..60)
}

fn coverage() -> impl Strategy<Value = Coverage> {
    (0.05..0.999_f64, 0.5..0.999_f64)
        .prop_map(|(content, confidence)| Coverage::new(content, confidence).expect("inside"))
}

proptest! {
    #[test]
    fn the_two_tails_make_one(x in 0.0..60.0_f64, a in df(), b in df(), ncp in -6.0..6.0_f64) {
        let whole = |sum: f64| (sum - 1.0).abs() < 1e-13;
        prop_assert!(whole(normal_cdf(x) + normal_sf(x)));
        prop_assert!(whole(t_cdf(x, a) + t_sf(x, a)));
        prop_assert!(whole(chi_square_cdf(x, a) + chi_square_sf(x, a)));
        prop_assert!(whole(f_cdf(x, a, b) + f_sf(x, a, b)));
        prop_assert!(whole(noncentral_t_cdf(x, a, ncp) + noncentral_t_sf(x, a, ncp)));
    }

    #[test]
    fn a_quantile_has_the_tail_it_was_asked_for(p in small_tail(), a in df(), b in df()) {
        // A relative error of x makes one of the tail as many times larger as ln x moves it.
        let close = |got: f64| relative_error(got, p) < 1e-10;
        prop_assert!(close(normal_cdf(normal_quantile(p))));
        let t = t_quantile(p, a);
        prop_assert!(t.is_infinite() || close(t_cdf(t, a)), "t {t}");
        prop_assert_eq!(t_upper_quantile(p, a), -t);
        let x = chi_square_quantile(p, a);
        prop_assert!(x < 1e-290 || close(chi_square_cdf(x, a)), "chi-square {x}");
        let x = f_quantile(p, a, b);
        prop_assert!(x < 1e-290 || close(f_cdf(x, a, b)), "F {x}");
    }

    #[test]
    fn tails_fall_as_their_argument_grows(x in 0.001..40.0_f64, step in 1e-6..3.0_f64, a in df(), b in df()) {
        let y = x + step;
        prop_assert!(normal_sf(y) <= normal_sf(x));
        prop_assert!(t_sf(y, a) <= t_sf(x, a));
        prop_assert!(chi_square_sf(y, a) <= chi_square_sf(x, a) * (1.0 + 1e-13));
        prop_assert!(f_sf(y, a, b) <= f_sf(x, a, b) * (1.0 + 1e-13));
    }

    #[test]
    fn a_t_tail_is_symmetric_and_heavier_than_the_normal(t in 0.01..30.0_f64, a in df()) {
        prop_assert_eq!(t_cdf(-t, a), t_sf(t, a));
        prop_assert_eq!(t_two_sided(-t, a), 2.0 * t_sf(t, a));
        prop_assert!(t_sf(t, a) > normal_sf(t));
    }

    #[test]
    fn a_squared_t_is_an_f(t in 1e-3..1e6_f64, a in df()) {
        let p = t_two_sided(t, a);
        // Below the smallest normal number digits are lost.
        prop_assert!(p < f64::MIN_POSITIVE || relative_error(f_sf(t * t, 1.0, a), p) < 1e-12);
    }

    #[test]
    fn the_noncentral_quantile_has_its_tail(
        p in 0.001..0.999_f64,
        a in 1.0..400.0_f64,
        ncp in -40.0..40.0_f64,
    ) {
        let t = noncentral_t_quantile(p, a, ncp);
        prop_assert!(relative_error(noncentral_t_cdf(t, a, ncp), p) < 1e-11);
        // Mirrored, the tails change places.
        let mirrored = noncentral_t_sf(-t, a, -ncp);
        prop_assert!(relative_error(mirrored, p) < 1e-11);
    }

    #[test]
    fn location_moves_and_scales_with_the_unit(values in readings(), shift in -50.0..50.0_f64) {
        let d = describe(&values).expect("finite values");
        prop_assert!(d.min <= d.mean && d.mean <= d.max);
        prop_assert!(d.min <= d.median && d.median <= d.max);
        prop_assert!(d.mad >= 0.0 && d.mad <= d.max - d.min);
        // Inches for millimetres, and back by a power of two: the latter is exact.
        let doubled: Vec<f64> = values.iter().map(|x| 4.0 * x).collect();
        let four = describe(&doubled).expect("finite values");
        prop_assert_eq!(four.mean, 4.0 * d.mean);
        prop_assert_eq!(four.sd, d.sd.map(|sd| 4.0 * sd));
        prop_assert_eq!((four.median, four.mad), (4.0 * d.median, 4.0 * d.mad));
        let moved: Vec<f64> = values.iter().map(|x| x + shift).collect();
        let moved = describe(&moved).expect("finite values");
        prop_assert!((moved.mean - d.mean - shift).abs() < 1e-12);
        prop_assert!((moved.sd.unwrap_or(0.0) - d.sd.unwrap_or(0.0)).abs() < 1e-12);
    }

    #[test]
    fn equal_readings_are_their_own_mean(x in any::<f64>(), n in 2_usize..200) {
        prop_assume!(x.is_finite());
        let m = moments(&vec![x; n]).expect("finite values");
        prop_assert_eq!((m.mean, m.sd), (x, Some(0.0)));
    }

    #[test]
    fn the_order_of_readings_does_not_matter(
        (values, shuffled) in readings().prop_flat_map(|v| (Just(v.clone()), Just(v).prop_shuffle())),
    ) {
        prop_assert_eq!(median(&values), median(&shuffled));
        prop_assert_eq!(quantile_type7(&values, 0.3), quantile_type7(&shuffled, 0.3));
        // The sums are carried in two words, so that their order moves at most the last digit.
        let (a, b) = (mean(&values).expect("finite"), mean(&shuffled).expect("finite"));
        prop_assert!((a - b).abs() <= f64::EPSILON * a.abs().max(1e-12));
        let sd = |v: &[f64]| moments(v).expect("finite").sd.unwrap_or(0.0);
        prop_assert!((sd(&values) - sd(&shuffled)).abs() <= 2.0 * f64::EPSILON * sd(&values));
    }

    #[test]
    fn quantiles_rise_with_p(values in readings(), p in 0.0..1.0_f64, q in 0.0..1.0_f64) {
        let at = |p: f64| quantile_type7(&values, p).expect("finite values");
        prop_assert!(at(p.min(q)) <= at(p.max(q)));
    }

    #[test]
    fn adjusted_p_values_are_no_smaller_and_keep_the_order(p in vec(0.0..=1.0_f64, 0..40)) {
        let (step_down, step_up) = (holm(&p), benjamini_hochberg(&p));
        for i in 0..p.len() {
            prop_assert!(p[i] <= step_up[i] * (1.0 + f64::EPSILON));
            prop_assert!(step_up[i] <= step_down[i] * (1.0 + f64::EPSILON));
            prop_assert!(step_down[i] <= 1.0);
            for j in 0..p.len() {
                if p[i] <= p[j] {
                    prop_assert!(step_down[i] <= step_down[j] && step_up[i] <= step_up[j]);
                }
            }
        }
    }

    #[test]
    fn adjusted_p_values_travel_with_their_p(
        (p, order) in vec(0.0..=1.0_f64, 1..30).prop_flat_map(|p| {
            let order: Vec<usize> = (0..p.len()).collect();
            (Just(p), Just(order).prop_shuffle())
        }),
    ) {
        let shuffled: Vec<f64> = order.iter().map(|&i| p[i]).collect();
        for adjust in [holm, benjamini_hochberg] {
            let (plain, moved) = (adjust(&p), adjust(&shuffled));
            for (place, &i) in order.iter().enumerate() {
                prop_assert_eq!(plain[i], moved[place]);
            }
        }
    }

    #[test]
    fn more_readings_need_narrower_bands(coverage in coverage(), n in 2_usize..300) {
        let two = |n| normal_tolerance_factor(n, coverage).expect("n >= 2");
        prop_assert!(two(n + 1) < two(n));
        // Never under the factor of a population that is known.
        prop_assert!(two(n) > normal_quantile(0.5 + 0.5 * coverage.content()));
        // One limit is asked for less than two.
        prop_assert!(one_sided_factor(coverage, n).expect("n >= 2") < two(n));
    }

    #[test]
    fn more_is_asked_more_is_needed(
        (content, confidence) in (0.05..0.99_f64, 0.5..0.99_f64),
        a in 0.5..3000.0_f64,
        n in 0.5..3000.0_f64,
    ) {
        let k = |content, confidence, a, n| {
            two_sided_factor(Coverage::new(content, confidence).expect("inside"), a, n).expect("positive")
        };
        let here = k(content, confidence, a, n);
        prop_assert!(k(content + 0.005, confidence, a, n) > here);
        prop_assert!(k(content, confidence + 0.005, a, n) > here);
        prop_assert!(k(content, confidence, 1.1 * a, n) < here);
        prop_assert!(k(content, confidence, a, 1.1 * n) < here);
    }

    #[test]
    fn howe_comes_near_for_plain_samples(n in 5_usize..500) {
        let coverage = Coverage::new(0.95, 0.95).expect("inside");
        let exact = normal_tolerance_factor(n, coverage).expect("n >= 2");
        let howe = howe_factor(coverage, n as f64 - 1.0, n as f64).expect("positive");
        prop_assert!(relative_error(howe, exact) < 0.0045);
    }

    #[test]
    fn the_smallest_sample_is_the_smallest(coverage in coverage()) {
        let n = wilks_sample_size(Sides::Two, 1, coverage).expect("order 1");
        let confidence = |n| range_confidence(n, coverage.content()).expect("a content");
        prop_assert!(confidence(n) >= coverage.confidence() - 1e-12);
        prop_assert!(confidence(n - 1) < coverage.confidence());
    }
}
