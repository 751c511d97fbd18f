//! What must hold for any points: form does not change by moving, turning, sorting or scaling, and
//! every input gets a finite answer or a named error.

use calibriar::form::lobes::lobes;
use calibriar::form::roundness::{
    Guarantee, from_polar, least_squares_circle, maximum_inscribed, minimum_circumscribed,
    minimum_zone_circles, peak_to_valley_about,
};
use calibriar::form::stock::{Slopes, least_stock, least_stock_of_cone};
use calibriar::form::straightness::{least_squares, minimum_zone, orthogonal};
use calibriar::form::{FormError, Point};
use proptest::collection::vec;
use proptest::prelude::*;

/// Awkward coordinates: huge, tiny, equal, on a grid, not numbers.
fn awkward() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -50.0..50.0_f64,
        4 => (-3..4i32).prop_map(f64::from),
        1 => Just(0.0),
        1 => prop::sample::select(vec![
            1e300, -1e300, 1e100, -1e100, 1e-300, -1e-300, 5e-324, f64::NAN, f64::INFINITY,
        ]),
    ]
}

fn awkward_points() -> impl Strategy<Value = Vec<Point>> {
    let plain = vec((awkward(), awkward()), 0..30);
    let scaled = (vec((-4..5i32, -4..5i32), 0..20), -300..100i32).prop_map(|(grid, exponent)| {
        let scale = 10.0_f64.powi(exponent);
        let at = |v: i32| f64::from(v) * scale;
        grid.into_iter().map(|(x, y)| (at(x), at(y))).collect()
    });
    let line = (vec(-20..20i32, 0..20), -3.0..3.0_f64).prop_map(|(stations, slope)| {
        let at = |v: i32| (f64::from(v), slope * f64::from(v));
        stations.into_iter().map(at).collect()
    });
    prop_oneof![plain, scaled, line]
        .prop_map(|pairs: Vec<(f64, f64)>| pairs.into_iter().map(|(x, y)| Point { x, y }).collect())
}

/// Sections round to some percent.
fn section() -> impl Strategy<Value = Vec<Point>> {
    vec((0.0..0.8_f64, -1.0..1.0_f64), 8..40).prop_map(|readings| {
        let turn = 360.0 / readings.len() as f64;
        let place = |(i, (a, r)): (usize, (f64, f64))| from_polar(turn * (i as f64 + a), 20.0 + r);
        readings.into_iter().enumerate().map(place).collect()
    })
}

/// Outlines straight to some percent, stations in any order.
fn outline() -> impl Strategy<Value = Vec<Point>> {
    vec((0.0..80.0_f64, -1.0..1.0_f64), 3..40)
        .prop_map(|pairs| pairs.into_iter().map(|(x, y)| Point { x, y }).collect())
}

/// Turned, scaled, moved and in another order.
fn carried(points: &[Point], angle: f64, scale: f64, dx: f64, dy: f64) -> Vec<Point> {
    let (sin, cos) = angle.sin_cos();
    let carry = |p: &Point| Point {
        x: scale * (cos * p.x - sin * p.y) + dx,
        y: scale * (sin * p.x + cos * p.y) + dy,
    };
    let mut carried: Vec<Point> = points.iter().map(carry).collect();
    carried.reverse();
    let n = carried.len();
    carried.rotate_left(n / 3);
    carried
}

proptest! {
    #[test]
    fn any_points_give_finite_numbers_or_a_named_error(points in awkward_points()) {
        if let Ok(line) = least_squares(&points) {
            prop_assert!(line.slope.is_finite() && line.peak_to_valley >= 0.0);
        }
        if let Ok(line) = orthogonal(&points) {
            prop_assert!(line.angle.is_finite() && line.peak_to_valley >= 0.0);
        }
        if let Ok(zone) = minimum_zone(&points) {
            prop_assert!(zone.width >= 0.0 && zone.width.is_finite() && zone.angle.is_finite());
            prop_assert!(zone.middle.x.is_finite() && zone.middle.y.is_finite());
        }
        if let Ok(circle) = least_squares_circle(&points) {
            prop_assert!(circle.radius.is_finite() && circle.centre.x.is_finite());
        }
        if let Ok(zone) = minimum_zone_circles(&points) {
            prop_assert!(zone.width >= 0.0 && zone.width.is_finite());
        }
        if let Ok(circle) = maximum_inscribed(&points) {
            prop_assert!(circle.radius >= 0.0 && circle.radius.is_finite());
        }
        if let Ok(circle) = minimum_circumscribed(&points) {
            prop_assert!(circle.radius >= 0.0 && circle.radius.is_finite());
        }
        let (angles, radii): (Vec<f64>, Vec<f64>) = points.iter().map(|p| (p.x, p.y)).unzip();
        if let Ok(found) = lobes(&angles, &radii, 2..=15, 0.05) {
            for lobe in found.orders {
                prop_assert!(lobe.amplitude.is_finite() && lobe.p >= 0.0 && lobe.p <= 1.0);
            }
        }
    }

    #[test]
    fn straightness_does_not_depend_on_place_turn_order_or_unit(
        points in outline(),
        angle in -3.0..3.0_f64,
        scale in 0.01..100.0_f64,
        (dx, dy) in (-90.0..90.0_f64, -90.0..90.0_f64),
    ) {
        let other = carried(&points, angle, scale, dx, dy);
        let close = |a: f64, b: f64| (a * scale - b).abs() <= 1e-9 * scale.max(1.0);
        let (a, b) = (minimum_zone(&points).unwrap(), minimum_zone(&other).unwrap());
        prop_assert!(close(a.width, b.width));
        let (c, d) = (orthogonal(&points).unwrap(), orthogonal(&other).unwrap());
        prop_assert!(close(c.rms, d.rms) && close(c.peak_to_valley, d.peak_to_valley));
        prop_assert!(a.width <= c.peak_to_valley + 1e-12);
        let along_y = least_squares(&points).unwrap();
        let tilt = along_y.slope.atan().cos();
        prop_assert!(a.width <= along_y.peak_to_valley * tilt + 1e-12);
    }

    #[test]
    fn roundness_does_not_depend_on_place_turn_order_or_unit(
        points in section(),
        angle in -3.0..3.0_f64,
        scale in 0.01..100.0_f64,
        (dx, dy) in (-90.0..90.0_f64, -90.0..90.0_f64),
    ) {
        let other = carried(&points, angle, scale, dx, dy);
        let close = |a: f64, b: f64| (a * scale - b).abs() <= 1e-9 * scale.max(1.0);
        let (a, b) = (least_squares_circle(&points).unwrap(), least_squares_circle(&other).unwrap());
        prop_assert!(close(a.radius, b.radius) && close(a.peak_to_valley, b.peak_to_valley));
        let (c, d) = (minimum_zone_circles(&points).unwrap(), minimum_zone_circles(&other).unwrap());
        prop_assert!(close(c.width, d.width));
        let (e, f) = (maximum_inscribed(&points).unwrap(), maximum_inscribed(&other).unwrap());
        prop_assert!(close(e.radius, f.radius));
        let (g, h) = (minimum_circumscribed(&points).unwrap(), minimum_circumscribed(&other).unwrap());
        prop_assert!(close(g.radius, h.radius));

        for peak in [a.peak_to_valley, e.peak_to_valley, g.peak_to_valley] {
            prop_assert!(c.width <= peak + 1e-11);
        }
        prop_assert!(e.radius >= c.r_inner - 1e-11 && g.radius <= c.r_outer + 1e-11);
        let about = peak_to_valley_about(&points, g.centre).unwrap();
        prop_assert!((about - g.peak_to_valley).abs() < 1e-12);
    }

    #[test]
    fn one_point_more_never_makes_a_zone_narrower(
        line in outline(),
        round in section(),
        (x, y) in (0.0..80.0_f64, -1.0..1.0_f64),
        (angle, r) in (0.0..360.0_f64, -1.0..1.0_f64),
    ) {
        let mut longer = line.clone();
        longer.push(Point { x, y });
        let (before, after) = (minimum_zone(&line).unwrap(), minimum_zone(&longer).unwrap());
        prop_assert!(after.width >= before.width - 1e-12);
        let mut fuller = round.clone();
        fuller.push(from_polar(angle, 20.0 + r));
        let before = minimum_zone_circles(&round).unwrap();
        let after = minimum_zone_circles(&fuller).unwrap();
        // A zone that is known to be the least only near by may have a better one elsewhere.
        if before.guarantee == Guarantee::Global {
            prop_assert!(after.width >= before.width - 1e-11);
        }
        let before = minimum_circumscribed(&round).unwrap();
        let after = minimum_circumscribed(&fuller).unwrap();
        prop_assert!(after.radius >= before.radius - 1e-12);
    }

    #[test]
    fn undulations_turn_and_grow_with_the_section(
        radii in vec(19.0..21.0_f64, 12..50),
        turn in 0.0..360.0_f64,
        scale in 0.01..100.0_f64,
    ) {
        let step = 360.0 / radii.len() as f64;
        let angles: Vec<f64> = (0..radii.len()).map(|i| step * i as f64).collect();
        let turned: Vec<f64> = angles.iter().map(|a| a + turn).collect();
        let grown: Vec<f64> = radii.iter().map(|r| scale * r).collect();
        let a = lobes(&angles, &radii, 2..=15, 0.05).unwrap();
        let b = lobes(&turned, &grown, 2..=15, 0.05).unwrap();
        prop_assert_eq!(a.sides, b.sides);
        for (a, b) in a.orders.iter().zip(&b.orders) {
            prop_assert!((scale * a.amplitude - b.amplitude).abs() < 1e-9 * scale.max(1.0));
            prop_assert!((a.p - b.p).abs() < 1e-7);
        }
    }
}

#[test]
fn what_cannot_be_told_has_a_name() {
    let at = |x, y| Point { x, y };
    let line: Vec<Point> = (0..9)
        .map(|i| at(f64::from(i), 0.5 * f64::from(i)))
        .collect();
    let upright: Vec<Point> = (0..9).map(|i| at(2.0, f64::from(i))).collect();
    let few = |result: FormError| matches!(result, FormError::TooFewPoints { found: 1, .. });
    assert!(few(minimum_zone(&[at(1.0, 1.0); 4]).unwrap_err()));
    assert!(few(minimum_circumscribed(&[at(1.0, 1.0); 4]).unwrap_err()));
    assert_eq!(least_squares(&upright).unwrap_err(), FormError::OneStation);
    assert_eq!(minimum_zone(&upright).unwrap().width, 0.0);
    assert_eq!(minimum_zone(&line).unwrap().uncertainty(0.1), None);
    let beyond = [at(1.0, f64::NAN), at(0.0, 0.0), at(2.0, 2.0)];
    assert_eq!(minimum_zone(&beyond).unwrap_err(), FormError::NotFinite);
    let square = [at(0.0, 0.0), at(1.0, 0.0), at(1.0, 1.0), at(0.0, 1.0)];
    let untold = |error: FormError| matches!(error, FormError::IllConditioned { .. });
    assert!(untold(orthogonal(&square).unwrap_err()));
    assert!(untold(least_squares_circle(&line).unwrap_err()));
    // An arc of 10 degrees is refused, one of 20 is not.
    let arc = |degrees: f64| -> Vec<Point> {
        let place = |i: i32| from_polar(degrees * f64::from(i) / 20.0, 30.0);
        (0..=20).map(place).collect()
    };
    assert!(untold(least_squares_circle(&arc(10.0)).unwrap_err()));
    assert!((least_squares_circle(&arc(20.0)).unwrap().radius - 30.0).abs() < 1e-9);
    assert!(untold(maximum_inscribed(&arc(90.0)).unwrap_err()));
    assert_eq!(
        lobes(&[0.0], &[], 2..=3, 0.05).unwrap_err(),
        FormError::Unpaired {
            angles: 1,
            radii: 0
        }
    );
}

proptest! {
    #[test]
    fn stock_is_never_negative_and_no_other_line_takes_less(
        points in outline(),
        tries in vec((-0.5..0.5_f64, 0.0..1.0_f64), 1..8),
    ) {
        let Ok(stock) = least_stock(&points, Slopes::ANY) else { return Ok(()) };
        for point in &stock.outline {
            prop_assert!(stock.target(point.x) <= point.y + 1e-10 * (1.0 + stock.slope.abs()) * 100.0);
        }
        let area = |slope: f64, below: f64| {
            let heights = stock.outline.iter().map(|p| p.y - slope * p.x);
            let intercept = heights.fold(f64::INFINITY, f64::min) - below;
            let depth = |p: &Point| p.y - intercept - slope * p.x;
            let pairs = stock.outline.windows(2);
            pairs.map(|w| 0.5 * (w[1].x - w[0].x) * (depth(&w[0]) + depth(&w[1]))).sum::<f64>()
        };
        for (turn, below) in tries {
            let other = area(stock.slope + turn, below);
            prop_assert!(stock.area <= other + 1e-9 * (1.0 + other));
        }
    }

    #[test]
    fn stock_does_not_change_by_moving_tilting_or_order(
        points in outline(),
        shift in -100.0..100.0_f64,
        tilt in -1.0..1.0_f64,
        turn in 0..40usize,
    ) {
        let Ok(stock) = least_stock(&points, Slopes::ANY) else { return Ok(()) };
        let mut other: Vec<Point> = points
            .iter()
            .map(|p| Point { x: p.x, y: p.y + shift + tilt * p.x })
            .collect();
        let turn = turn % other.len();
        other.rotate_left(turn);
        let moved = least_stock(&other, Slopes::ANY).unwrap();
        let size = 1.0 + shift.abs() + 80.0 * tilt.abs();
        prop_assert!((stock.area - moved.area).abs() <= 1e-10 * size * 80.0);
    }

    #[test]
    fn stock_of_any_points_is_finite_or_a_named_error(
        walls in vec(awkward_points(), 0..4),
        from in awkward(),
        to in awkward(),
    ) {
        if let Ok(all) = least_stock_of_cone(&walls, Slopes { from, to }) {
            prop_assert_eq!(all.len(), walls.len());
            for stock in all {
                prop_assert!(stock.area.is_finite() && stock.area >= 0.0);
                prop_assert!(stock.deepest().1.is_finite());
                prop_assert!(stock.volume_of_width(1.0, 2.0) >= 0.0);
                prop_assert!(stock.volume_of_revolution(0.5) >= 0.0);
            }
        }
    }
}
