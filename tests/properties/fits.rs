//! What must hold for any points: broken lines, departures, cones, mean lines, envelopes, bands.

use calibriar::form::cone::{Cone, Wall, cone};
use calibriar::form::departures::{DepartureKind, departures};
use calibriar::form::filter::{
    Ends, Order, closed_gaussian_regression, envelope, gaussian, gaussian_regression,
};
use calibriar::form::two_lines::{TwoLines, two_lines};
use calibriar::form::{FormError, Point};
use calibriar::stats::{band_p, band_threshold, roughness, t_two_sided};
use proptest::collection::vec;
use proptest::prelude::*;

/// Anything that a coordinate can be.
fn any_coordinate() -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => -100.0..100.0_f64,
        4 => (-4..4_i32).prop_map(f64::from),
        2 => prop_oneof![Just(1e300), Just(-1e100), Just(1e-300), Just(0.0), Just(5e-324)],
        1 => any::<f64>(),
        1 => Just(f64::NAN),
    ]
}

fn finite_coordinate() -> impl Strategy<Value = f64> {
    prop_oneof![
        -100.0..100.0_f64,
        (-4..4_i32).prop_map(f64::from),
        prop_oneof![
            Just(1e100),
            Just(-1e99),
            Just(1e-300),
            Just(0.0),
            Just(5e-324)
        ],
    ]
}

fn points_of<X: Strategy<Value = f64>>(
    coordinate: impl Fn() -> X,
    count: std::ops::Range<usize>,
) -> impl Strategy<Value = Vec<Point>> {
    vec((coordinate(), coordinate()), count)
        .prop_map(|all| all.into_iter().map(|(x, y)| Point { x, y }).collect())
}

fn any_points() -> impl Strategy<Value = Vec<Point>> {
    prop_oneof![
        points_of(any_coordinate, 0..12),
        points_of(finite_coordinate, 0..12)
    ]
}

/// A trace in mm, no two points at one station.
fn trace() -> impl Strategy<Value = Vec<Point>> {
    vec((0.1..5.0_f64, -50.0..50.0_f64), 6..40).prop_map(|steps| {
        let mut x = -50.0;
        let point = |(step, y)| {
            x += step;
            Point { x, y }
        };
        steps.into_iter().map(point).collect()
    })
}

fn close(got: f64, want: f64, tolerance: f64) -> bool {
    (got - want).abs() <= tolerance || got == want
}

fn all_finite(fit: &TwoLines) -> bool {
    [
        fit.at,
        fit.rss,
        fit.rss_one_line,
        fit.region.low,
        fit.region.high,
        fit.kink.p,
    ]
    .iter()
    .all(|value| value.is_finite())
}

/// The sum of squares of a broken line with its break given, by Gram and Schmidt.
fn naive_rss(points: &[Point], at: f64) -> f64 {
    let columns: [Vec<f64>; 3] = [
        points.iter().map(|_| 1.0).collect(),
        points.iter().map(|p| p.x).collect(),
        points.iter().map(|p| (p.x - at).max(0.0)).collect(),
    ];
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let mut basis: Vec<Vec<f64>> = Vec::new();
    let mut left: Vec<f64> = points.iter().map(|p| p.y).collect();
    let without = |v: &mut Vec<f64>, basis: &[Vec<f64>]| {
        for _ in 0..2 {
            for b in basis {
                let share = dot(v, b);
                v.iter_mut().zip(b).for_each(|(v, b)| *v -= share * b);
            }
        }
    };
    for mut column in columns {
        without(&mut column, &basis);
        let size = dot(&column, &column).sqrt();
        if size > 1e-9 {
            basis.push(column.iter().map(|v| v / size).collect());
        }
    }
    without(&mut left, &basis);
    dot(&left, &left)
}

fn exact_cone(
    q: [f64; 4],
    radius: f64,
    half: f64,
    azimuths: &[f64],
    z: std::ops::Range<i32>,
) -> Vec<Wall> {
    let [x0, y0, a, b] = q;
    let middle = f64::midpoint(f64::from(z.start), f64::from(z.end - 1));
    let norm = 1.0_f64.hypot(a.hypot(b));
    let off = |azimuth: f64, r: f64, z: f64| {
        let (sin, cos) = azimuth.to_radians().sin_cos();
        let d = [r * cos - x0, r * sin - y0, z - middle];
        let height = (d[0] * a + d[1] * b + d[2]) / norm;
        let rho = (d.iter().map(|d| d * d).sum::<f64>() - height * height).sqrt();
        rho - radius - height * half.to_radians().tan()
    };
    let wall = |&azimuth: &f64| {
        let point = |z: i32| {
            let (mut low, mut high) = (0.0, 500.0);
            for _ in 0..200 {
                let r = f64::midpoint(low, high);
                if off(azimuth, r, f64::from(z)) < 0.0 {
                    low = r;
                } else {
                    high = r;
                }
            }
            Point {
                x: f64::from(z),
                y: high,
            }
        };
        Wall {
            azimuth,
            points: z.clone().map(point).collect(),
        }
    };
    azimuths.iter().map(wall).collect()
}

fn assert_cone(got: &Cone, q: [f64; 4], radius: f64, half: f64) -> Result<(), TestCaseError> {
    let near = |got: f64, want: f64| close(got, want, 1e-10 * (1.0 + want.abs()));
    let [x0, y0, a, b] = q;
    prop_assert!(near(got.axis.0, x0) && near(got.axis.1, y0), "{got:?}");
    prop_assert!(near(got.slopes.0, a) && near(got.slopes.1, b), "{got:?}");
    prop_assert!(
        near(got.radius, radius) && near(got.half_angle, half),
        "{got:?}"
    );
    Ok(())
}

proptest! {
    #[test]
    fn any_points_give_values_or_a_named_error(points in any_points(), tolerance in any_coordinate()) {
        match two_lines(&points, 0.95) {
            Ok(fit) => prop_assert!(all_finite(&fit), "{fit:?}"),
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
        if let Ok(found) = departures(&points, tolerance) {
            prop_assert!(found.run.width <= tolerance * (1.0 + 1e-12));
            prop_assert!(found.run.points >= 2 && found.run.end > found.run.start);
            for zone in &found.zones {
                prop_assert!(zone.peak.is_finite() && zone.area.is_finite(), "{zone:?}");
                prop_assert!(zone.start <= zone.peak_station && zone.peak_station <= zone.end);
            }
        }
        for order in [Order::Level, Order::Line, Order::Parabola] {
            for robust in [false, true] {
                if let Ok(line) = gaussian_regression(&points, tolerance, order, robust) {
                    prop_assert!(line.iter().all(|p| p.y.is_finite()), "{line:?}");
                }
                if let Ok(line) = closed_gaussian_regression(&points, 3.0, order, robust) {
                    prop_assert!(line.iter().all(|p| p.y.is_finite()), "{line:?}");
                }
            }
        }
        if let Ok(closed) = envelope(&points, tolerance) {
            prop_assert!(closed.iter().all(|p| p.y.is_finite()), "{closed:?}");
        }
        let walls: Vec<Wall> = points
            .chunks(3)
            .map(|chunk| Wall { azimuth: chunk[0].x, points: chunk.to_vec() })
            .collect();
        if let Ok(cone) = cone(&walls) {
            prop_assert!(cone.half_angle.is_finite() && cone.radius.is_finite(), "{cone:?}");
        }
        let heights: Vec<f64> = points.iter().map(|p| p.y).collect();
        for ends in [Ends::Zero, Ends::MirrorSample, Ends::ReflectHalfSample, Ends::Periodic] {
            if let Ok(line) = gaussian(&heights, 0.5, tolerance.abs().min(50.0), 1.0, ends) {
                prop_assert!(line.iter().all(|y| y.is_finite()));
            }
        }
    }

    #[test]
    fn no_other_break_is_better(points in trace()) {
        let fit = two_lines(&points, 0.9).unwrap();
        let mut stations: Vec<f64> = points.iter().map(|p| p.x).collect();
        stations.sort_by(f64::total_cmp);
        let (low, high) = (stations[1], stations[stations.len() - 2]);
        prop_assert!(close(fit.rss, naive_rss(&points, fit.at), 1e-7 * (1.0 + fit.rss)));
        let n = fit.n as f64;
        let limit = fit.rss
            * (1.0 + calibriar::stats::f_upper_quantile(0.1, 1.0, n - 4.0) / (n - 4.0));
        for k in 1..200 {
            let at = low + (high - low) * f64::from(k) / 200.0;
            let rss = naive_rss(&points, at);
            prop_assert!(rss >= fit.rss * (1.0 - 1e-7), "{at}: {rss} under {}", fit.rss);
            let inside = fit.region.pieces.iter().any(|&(a, b)| a <= at && at <= b);
            let clear = (rss / limit - 1.0).abs() > 1e-6;
            prop_assert!(!clear || inside == (rss < limit), "{at}: {rss} of {limit}");
        }
        prop_assert!(fit.region.low <= fit.at && fit.at <= fit.region.high);
        prop_assert!(fit.kink.path > 0.0 && fit.kink.path < 200.0);
    }

    #[test]
    fn a_broken_line_moves_with_its_points(
        points in trace(),
        shift in -1e3..1e3_f64,
        stretch in 0.01..100.0_f64,
    ) {
        let fit = two_lines(&points, 0.95).unwrap();
        let moved: Vec<Point> = points
            .iter()
            .map(|p| Point { x: -stretch * p.x + shift, y: 3.0 * p.y - 0.5 * p.x + shift })
            .collect();
        let other = two_lines(&moved, 0.95).unwrap();
        prop_assert!(close(other.kink.t, fit.kink.t, 1e-6 * (1.0 + fit.kink.t)));
        prop_assert!(close(other.kink.path, fit.kink.path, 1e-6));
        prop_assert!(close(other.rss, 9.0 * fit.rss, 1e-7 * (1.0 + 9.0 * fit.rss)));
    }

    #[test]
    fn a_departure_is_told_whichever_way_up(points in trace(), tolerance in 0.5..60.0_f64) {
        let found = departures(&points, tolerance).unwrap();
        let flipped: Vec<Point> = points.iter().map(|p| Point { x: p.x, y: -p.y }).collect();
        let other = departures(&flipped, tolerance).unwrap();
        prop_assert_eq!(found.run.points, other.run.points);
        prop_assert_eq!(found.zones.len(), other.zones.len());
        for (a, b) in found.zones.iter().zip(&other.zones) {
            prop_assert!(close(a.peak, -b.peak, 1e-9) && close(a.area, -b.area, 1e-8));
            prop_assert!(a.peak.abs() > 0.5 * tolerance);
            // Stations come back from scaled ones: to rounding.
            let before = points.iter().any(|p| p.x < a.start - 1e-9);
            let ends = before && points.iter().any(|p| p.x > a.end + 1e-9);
            prop_assert_eq!(ends, a.kind == DepartureKind::Inside);
        }
        prop_assert!(close(found.bow.peak, -other.bow.peak, 1e-9));
    }

    #[test]
    fn the_longest_run_is_the_longest(points in points_of(|| -50.0..50.0_f64, 3..14), tolerance in 0.5..60.0_f64) {
        let found = departures(&points, tolerance).unwrap();
        let mut sorted = points;
        sorted.sort_by(|a, b| a.x.total_cmp(&b.x));
        let mut longest = 0.0_f64;
        for i in 0..sorted.len() {
            for j in i + 1..sorted.len() {
                if naive_width(&sorted[i..=j]) <= tolerance * (1.0 + 1e-12) {
                    longest = longest.max(sorted[j].x - sorted[i].x);
                }
            }
        }
        prop_assert!(close(found.run.end - found.run.start, longest, 1e-9));
    }

    #[test]
    fn exact_cones_come_back(
        q in (-1.0..1.0_f64, -1.0..1.0_f64, -0.1..0.1_f64, -0.1..0.1_f64),
        radius in 15.0..40.0_f64,
        half in -20.0..20.0_f64,
        turn in 0.0..360.0_f64,
        walls in 3..7_usize,
    ) {
        let q = [q.0, q.1, q.2, q.3];
        let azimuths: Vec<f64> = (0..walls).map(|k| turn + 360.0 * k as f64 / walls as f64).collect();
        let got = cone(&exact_cone(q, radius, half, &azimuths, 0..25)).unwrap();
        assert_cone(&got, q, radius, half)?;
        prop_assert!(got.plane.is_none() && got.residual_sd.unwrap() < 1e-10);
        // Two opposite walls tell the same where the axis keeps to their plane.
        let (sin, cos) = turn.to_radians().sin_cos();
        let q = [q[0] * cos, q[0] * sin, q[2] * cos, q[2] * sin];
        let got = cone(&exact_cone(q, radius, half, &[turn, turn + 180.0], 0..25)).unwrap();
        assert_cone(&got, q, radius, half)?;
        prop_assert!(got.plane.is_some());
    }

    #[test]
    fn a_regression_filter_keeps_a_polynomial(
        stations in vec(0.0..50.0_f64, 5..60),
        c in (-2.0..2.0_f64, -2.0..2.0_f64, -0.1..0.1_f64),
        robust in any::<bool>(),
    ) {
        for (order, degree) in [(Order::Level, 0), (Order::Line, 1), (Order::Parabola, 2)] {
            let height = |x: f64| {
                c.0 + if degree > 0 { c.1 * x } else { 0.0 } + if degree > 1 { c.2 * x * x } else { 0.0 }
            };
            let points: Vec<Point> = stations.iter().map(|&x| Point { x, y: height(x) }).collect();
            for p in gaussian_regression(&points, 8.0, order, robust).unwrap() {
                prop_assert!(close(p.y, height(p.x), 1e-7), "{order:?} at {}: {}", p.x, p.y);
            }
        }
    }

    #[test]
    fn a_closed_mean_line_turns_with_its_section(radii in vec(9.0..11.0_f64, 8..40), by in 0..40_usize) {
        let n = radii.len();
        let at = |turn: usize| -> Vec<Point> {
            (0..n)
                .map(|i| Point { x: 360.0 * i as f64 / n as f64, y: radii[(i + turn) % n] })
                .collect()
        };
        let plain = closed_gaussian_regression(&at(0), 4.0, Order::Parabola, false).unwrap();
        let turned = closed_gaussian_regression(&at(by), 4.0, Order::Parabola, false).unwrap();
        for (i, p) in turned.iter().enumerate() {
            prop_assert!(close(p.y, plain[(i + by) % n].y, 1e-9));
        }
    }

    #[test]
    fn an_envelope_is_above_closed_and_grows_with_the_ball(points in trace(), radius in 0.5..200.0_f64) {
        let closed = envelope(&points, radius).unwrap();
        let again = envelope(&closed, radius).unwrap();
        let larger = envelope(&points, 2.0 * radius).unwrap();
        let mut sorted = points;
        sorted.sort_by(|a, b| a.x.total_cmp(&b.x));
        for (i, p) in closed.iter().enumerate() {
            prop_assert!(p.y >= sorted[i].y);
            prop_assert!(close(again[i].y, p.y, 1e-8), "{} then {}", p.y, again[i].y);
            prop_assert!(larger[i].y >= p.y - 1e-8);
            prop_assert!(close(p.y, rolled(&sorted, p.x, radius), 0.05 + 1e-3 * radius.sqrt()) || p.y <= rolled(&sorted, p.x, radius));
            prop_assert!(p.y <= rolled(&sorted, p.x, radius) + 1e-9);
        }
    }

    #[test]
    fn a_straight_wall_and_a_bulge_stay_as_they_are(slope in -2.0..2.0_f64, bulge in 0.0..0.02_f64, radius in 1.0..500.0_f64) {
        let wall = |x: f64| slope * x - bulge * x * x;
        let points: Vec<Point> = (-30..30).map(|i| f64::from(i) * 0.5).map(|x| Point { x, y: wall(x) }).collect();
        for p in envelope(&points, radius).unwrap() {
            prop_assert!(close(p.y, wall(p.x), 1e-9), "{} for {}", p.y, wall(p.x));
        }
    }

    #[test]
    fn a_pit_is_closed_to_the_sagitta_of_the_ball(half_width in 0.5..5.0_f64, more in 1.1..50.0_f64, depth in 1.0..1e3_f64) {
        let radius = half_width * more;
        let sagitta = radius - (radius * radius - half_width * half_width).sqrt();
        let at = |x: f64, y: f64| Point { x, y };
        let points = [
            at(-2.0 * half_width, 0.0), at(-half_width, 0.0), at(0.0, -depth - sagitta),
            at(half_width, 0.0), at(2.0 * half_width, 0.0),
        ];
        let closed = envelope(&points, radius).unwrap();
        prop_assert!(close(closed[2].y, -sagitta, 1e-9 * radius), "{} for {sagitta}", -closed[2].y);
    }

    #[test]
    fn a_band_is_wider_for_rougher_outlines(nu in 1.0..200.0_f64, rough in 0.0..100.0_f64, alpha in 0.001..0.3_f64) {
        let u = band_threshold(nu, rough, alpha).unwrap();
        prop_assert!(close(band_p(-u, nu, rough).unwrap(), alpha, 1e-10));
        prop_assert!(t_two_sided(u, nu) <= alpha * (1.0 + 1e-10));
        prop_assert!(band_threshold(nu, rough + 1.0, alpha).unwrap() > u);
        prop_assert!(band_threshold(f64::INFINITY, rough, alpha).unwrap() <= u * (1.0 + 1e-12));
    }

    #[test]
    fn bands_give_values_or_a_named_error(
        nu in any_coordinate(),
        rough in any_coordinate(),
        alpha in any::<f64>(),
        set in vec(vec(any_coordinate(), 0..4), 0..4),
    ) {
        for alpha in [alpha, 0.05] {
            if let Ok(u) = band_threshold(nu, rough, alpha) {
                prop_assert!(u.is_finite());
            }
        }
        if let Ok(p) = band_p(alpha, nu, rough) {
            prop_assert!((0.0..=1.0).contains(&p));
        }
        if let Ok(l) = roughness(&[set]) {
            prop_assert!(l.is_finite() && l >= 0.0);
        }
    }
}

/// The closing by a ball whose centre is tried on a fine grid: never below the true one.
fn rolled(points: &[Point], x: f64, radius: f64) -> f64 {
    let mut lowest = f64::INFINITY;
    for k in -400..=400 {
        let centre = x + radius * f64::from(k) / 400.0;
        let half = |at: f64| {
            let off = centre - at;
            (off.abs() <= radius).then(|| (radius * radius - off * off).max(0.0).sqrt())
        };
        let heights = points.iter().filter_map(|p| half(p.x).map(|h| p.y + h));
        let height = heights.fold(f64::NEG_INFINITY, f64::max);
        if let Some(below) = half(x) {
            lowest = lowest.min(height - below);
        }
    }
    lowest
}

/// Width of the narrowest zone, over the directions of all pairs.
fn naive_width(points: &[Point]) -> f64 {
    let mut width = f64::INFINITY;
    for a in points {
        for b in points {
            let (dx, dy) = (b.x - a.x, b.y - a.y);
            let length = dx.hypot(dy);
            if length > 0.0 {
                let off = points.iter().map(|p| (p.y * dx - p.x * dy) / length);
                let (low, high) = off.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), d| {
                    (l.min(d), h.max(d))
                });
                width = width.min(high - low);
            }
        }
    }
    width
}

#[test]
fn faults_have_names() {
    let at = |x: f64, y: f64| Point { x, y };
    let line: Vec<Point> = (0..9).map(|i| at(f64::from(i), 1.0)).collect();
    let few = |needed, found| move |error: &FormError| matches!(error, FormError::TooFewPoints { needed: n, found: f, .. } if (*n, *f) == (needed, found));
    assert!(few(5, 4)(&two_lines(&line[..4], 0.95).unwrap_err()));
    assert_eq!(
        two_lines(&[at(1.0, 2.0); 9], 0.95),
        Err(FormError::OneStation)
    );
    assert_eq!(
        two_lines(&line, 1.0),
        Err(FormError::NotAConfidence { value: 1.0 })
    );
    assert!(few(2, 1)(&departures(&line[..1], 0.1).unwrap_err()));
    assert_eq!(
        departures(&[at(1.0, 2.0), at(1.0, 3.0)], 0.1),
        Err(FormError::OneStation)
    );
    assert!(matches!(
        departures(&line, 0.0),
        Err(FormError::NotPositive { .. })
    ));
    assert!(matches!(
        envelope(&line, f64::NAN),
        Err(FormError::NotPositive { .. })
    ));
    assert_eq!(
        envelope(&[at(0.0, f64::NAN)], 1.0),
        Err(FormError::NotFinite)
    );
    let wall = |azimuth: f64| Wall {
        azimuth,
        points: line.clone(),
    };
    let told = |walls: &[Wall]| !matches!(cone(walls), Err(FormError::IllConditioned { .. }));
    assert!(!told(&[wall(10.0)]));
    assert!(!told(&[wall(10.0), wall(10.5), wall(370.0)]));
    assert!(!told(&[wall(10.0), wall(100.0)]));
    assert!(!told(&[wall(0.0), wall(2.0), wall(4.0)]));
    assert!(told(&[wall(10.0), wall(190.0)]));
    assert!(told(&[wall(0.0), wall(90.0), wall(180.0)]));
}

/// A straight line has no break to be found anywhere, and says so.
#[test]
fn a_straight_line_has_no_break() {
    let points: Vec<Point> = (0..20)
        .map(|i| Point {
            x: 1900.0 + f64::from(i),
            y: 3.0 + 0.1 * f64::from(i),
        })
        .collect();
    let fit = two_lines(&points, 0.95).unwrap();
    assert_eq!((fit.kink.p, fit.rss, fit.standard_error), (1.0, 0.0, None));
    assert!(fit.region.open_low && fit.region.open_high);
    assert_eq!(fit.region.pieces.len(), 1);
}

/// A scoop of 0.6 mm in the middle of a wall that ends in a lip (invented): both are found, with
/// the areas that their triangles have.
#[test]
fn a_scoop_and_a_lip() {
    let height = |x: i32| match x {
        30..=34 => -0.2 * f64::from(x - 29).min(f64::from(35 - x)),
        56..=60 => 0.5 * f64::from(x - 55),
        _ => 0.0,
    };
    let points: Vec<Point> = (0..=60)
        .map(|x| Point {
            x: f64::from(x),
            y: height(x),
        })
        .collect();
    let found = departures(&points, 0.1).unwrap();
    assert_eq!((found.run.start, found.run.end), (0.0, 29.0));
    let [scoop, lip] = &found.zones[..] else {
        panic!("{:?}", found.zones)
    };
    assert_eq!(
        (scoop.kind, lip.kind),
        (DepartureKind::Inside, DepartureKind::End)
    );
    assert_eq!((scoop.peak_station, lip.peak_station), (32.0, 60.0));
    assert!(close(scoop.peak, -0.6, 1e-12) && close(lip.peak, 2.5, 1e-12));
    assert!(close(scoop.start, 29.25, 1e-9) && close(scoop.end, 34.75, 1e-9));
    // The triangle of 6 by 0.6 less its two tips under 0.05.
    assert!(
        close(scoop.area, -(1.8 - 0.25 * 0.05), 1e-9),
        "{}",
        scoop.area
    );
    assert!(
        close(lip.area, 6.25 - 0.5 * 0.1 * 0.05, 1e-9),
        "{}",
        lip.area
    );
}

/// One stray in a wall moves the plain mean line and not the robust one.
#[test]
fn a_robust_mean_line_passes_over_a_chip() {
    let mut points: Vec<Point> = (0..80)
        .map(|i| Point {
            x: f64::from(i),
            y: 0.01 * f64::from(i * 37 % 11),
        })
        .collect();
    let clean = gaussian_regression(&points, 20.0, Order::Line, true).unwrap();
    points[40].y -= 5.0;
    let robust = gaussian_regression(&points, 20.0, Order::Line, true).unwrap();
    let plain = gaussian_regression(&points, 20.0, Order::Line, false).unwrap();
    assert!(close(robust[40].y, clean[40].y, 0.01), "{}", robust[40].y);
    assert!((plain[40].y - clean[40].y).abs() > 0.3);
}
