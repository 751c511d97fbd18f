//! Lines, circles and undulations against other programs and slow, obvious searches.

use crate::common::draw::Draw;
use crate::common::{assert_rel_at, number, rows};
use calibriar::form::lobes::lobes;
use calibriar::form::roundness::{
    Guarantee, from_polar, least_squares_circle, maximum_inscribed, minimum_circumscribed,
    minimum_zone_circles, peak_to_valley_about,
};
use calibriar::form::straightness::{least_squares, minimum_zone, orthogonal};
use calibriar::form::{FormError, Point};

/// Sources: see data/SOURCES.md.
const LINES: &str = include_str!("../data/form/straightness_points.csv");
const LINE_RESULTS: &str = include_str!("../data/form/straightness_results.csv");
const CIRCLES: &str = include_str!("../data/form/roundness_points.csv");
const CIRCLE_RESULTS: &str = include_str!("../data/form/roundness_results.csv");
const LOBE_POINTS: &str = include_str!("../data/form/lobes_points.csv");
const LOBE_ORDERS: &str = include_str!("../data/form/lobes_orders.csv");
const LOBE_CIRCLES: &str = include_str!("../data/form/lobes_circles.csv");

fn points_of(table: &str, case: &str) -> Vec<Point> {
    let of_case = rows(table).filter(|row| row[0] == case);
    let point = |row: Vec<&str>| Point {
        x: number(row[2]),
        y: number(row[3]),
    };
    of_case.map(point).collect()
}

/// Half the diagonal of the box around the points: what accuracies are relative to.
fn size(points: &[Point]) -> f64 {
    let extent = |of: fn(&Point) -> f64| {
        let (low, high) = points
            .iter()
            .map(of)
            .fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        high - low
    };
    0.5 * extent(|p| p.x).hypot(extent(|p| p.y))
}

#[track_caller]
fn near(what: &str, got: f64, want: f64, within: f64) {
    let error = (got - want).abs();
    assert!(
        error <= within,
        "{what}: got {got:e}, want {want:e}, off by {error:e}"
    );
}

#[test]
fn straightness_against_exact_rationals() {
    let mut cases = 0;
    for row in rows(LINE_RESULTS) {
        let (case, points) = (row[0], points_of(LINES, row[0]));
        let size = size(&points);
        let zone = minimum_zone(&points).unwrap();
        near(case, zone.width, number(row[2]), 1e-12 * size.min(1.0));
        near(case, zone.angle.tan(), number(row[3]), 1e-12);
        let line = least_squares(&points).unwrap();
        near(case, line.slope, number(row[5]), 1e-12);
        near(case, line.intercept, number(row[6]), 1e-12 * size);
        near(case, line.sum_of_squares, number(row[7]), 1e-12);
        near(case, line.peak_to_valley, number(row[8]), 1e-12 * size);
        let spread = line.highest.deviation - line.lowest.deviation;
        near(case, spread, line.peak_to_valley, 1e-15 * size);
        let axis = orthogonal(&points).unwrap();
        near(case, axis.slope(), number(row[9]), 1e-12);
        let Point { x, y } = axis.centroid;
        near(case, y - axis.slope() * x, number(row[10]), 1e-12 * size);
        near(case, axis.peak_to_valley, number(row[11]), 1e-12 * size);
        near(case, axis.rms, number(row[12]), 1e-12 * size);
        cases += 1;
    }
    assert_eq!(cases, 11);
}

#[test]
fn roundness_against_forty_digits() {
    let mut cases = 0;
    for row in rows(CIRCLE_RESULTS) {
        let (case, points) = (row[0], points_of(CIRCLES, row[0]));
        let size = size(&points);
        let circle = least_squares_circle(&points).unwrap();
        near(case, circle.centre.x, number(row[5]), 1e-12 * size);
        near(case, circle.centre.y, number(row[6]), 1e-12 * size);
        near(case, circle.radius, number(row[7]), 1e-12 * size);
        near(case, circle.peak_to_valley, number(row[8]), 1e-12 * size);
        near(case, circle.rms, number(row[9]), 1e-12 * size);
        let zone = minimum_zone_circles(&points).unwrap();
        near(case, zone.width, number(row[14]), 1e-13 * size);
        assert_eq!(zone.guarantee, Guarantee::Global, "{case}");
        if number(row[14]) > 0.0 {
            near(case, zone.centre.x, number(row[10]), 1e-11 * size);
            near(case, zone.centre.y, number(row[11]), 1e-11 * size);
            near(case, zone.r_outer, number(row[12]), 1e-11 * size);
            near(case, zone.r_inner, number(row[13]), 1e-11 * size);
        }
        cases += 1;
    }
    assert_eq!(cases, 10);
}

#[test]
fn undulations_against_numpy_and_scipy() {
    for circle in rows(LOBE_CIRCLES) {
        let case = circle[0];
        let of_case = |row: &Vec<&str>| row[0] == case;
        let (angles, radii): (Vec<f64>, Vec<f64>) = rows(LOBE_POINTS)
            .filter(of_case)
            .map(|row| (number(row[1]), number(row[2])))
            .unzip();
        let polar = angles.iter().zip(&radii);
        let points: Vec<Point> = polar.map(|(&a, &r)| from_polar(a, r)).collect();
        let fitted = least_squares_circle(&points).unwrap();
        // scipy stops where the sum of squares no longer falls: half the digits of the centre.
        near(case, fitted.centre.x, number(circle[1]), 1e-7);
        near(case, fitted.centre.y, number(circle[2]), 1e-7);
        assert_rel_at(case, fitted.radius, number(circle[3]), 1e-9);
        assert_rel_at(case, fitted.rms, number(circle[4]), 1e-10);

        let wanted: Vec<Vec<&str>> = rows(LOBE_ORDERS).filter(of_case).collect();
        let highest = number(wanted[wanted.len() - 1][1]) as u32;
        let found = lobes(&angles, &radii, 2..=highest, 0.05).unwrap();
        assert_eq!(found.orders.len(), wanted.len(), "{case}");
        for (lobe, row) in found.orders.iter().zip(wanted) {
            let at = format!("{case}, order {}", lobe.order);
            assert_eq!(f64::from(lobe.order), number(row[1]));
            near(&at, lobe.amplitude, number(row[2]), 1e-12);
            assert_rel_at(&at, lobe.standard_error, number(row[3]), 1e-9);
            near(&at, lobe.crest_deg, number(row[4]), 1e-7);
            assert_rel_at(&at, lobe.p, number(row[5]), 1e-7);
            assert_eq!(found.freedom as f64, number(row[6]));
        }
    }
}

fn at(x: f64, y: f64) -> Point {
    Point { x, y }
}

/// The least extent across any direction given by two points.
fn width_by_all_pairs(points: &[Point]) -> f64 {
    let mut least = f64::INFINITY;
    for a in points {
        for b in points.iter().filter(|b| *b != a) {
            let length = (b.x - a.x).hypot(b.y - a.y);
            let across =
                |p: &Point| ((b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x)) / length;
            let across: Vec<f64> = points.iter().map(across).collect();
            let high = across.iter().copied().fold(f64::MIN, f64::max);
            let low = across.iter().copied().fold(f64::MAX, f64::min);
            least = least.min(high - low);
        }
    }
    least
}

#[test]
fn straight_zone_against_all_pairs() {
    let mut draw = Draw::seeded(31);
    for case in 0..400_i32 {
        let n = 3 + case % 20;
        // From clouds to outlines straight to a hundredth of a micron; on a coarse grid at times.
        let flat = 10.0_f64.powi(-(case % 5) * 2);
        let step = if case % 7 == 0 { 0.25 } else { 1e-9 };
        let mut grid = |scale: f64| ((draw.uniform() - 0.5) * scale / step).round() * step;
        let points: Vec<Point> = (0..n).map(|_| at(grid(40.0), grid(40.0 * flat))).collect();
        match minimum_zone(&points) {
            Ok(zone) => {
                near(
                    "width",
                    zone.width,
                    width_by_all_pairs(&points),
                    1e-13 * 40.0,
                );
                let off = points.iter().map(|&p| zone.deviation(p).abs());
                let worst = off.fold(0.0, f64::max);
                near("half", worst, 0.5 * zone.width, 1e-12);
            }
            Err(error) => assert!(matches!(error, FormError::TooFewPoints { .. }), "{error}"),
        }
    }
}

/// Where two bisectors meet, by Cramer's rule on `2 c (q - p) = q^2 - p^2`.
fn meet(pairs: [(Point, Point); 2]) -> Option<Point> {
    let [(a, b, e), (c, d, f)] = pairs.map(|(p, q)| {
        let squares = q.x * q.x + q.y * q.y - p.x * p.x - p.y * p.y;
        (2.0 * (q.x - p.x), 2.0 * (q.y - p.y), squares)
    });
    let turn = a * d - b * c;
    (turn.abs() > 1e-9).then(|| at((e * d - b * f) / turn, (a * f - e * c) / turn))
}

fn pairs_of(points: &[Point]) -> Vec<(Point, Point)> {
    let after = |i: usize| points[i + 1..].iter().map(move |&q| (points[i], q));
    (0..points.len()).flat_map(after).collect()
}

fn radii(points: &[Point], centre: Point) -> (f64, f64) {
    points.iter().fold((f64::MAX, 0.0_f64), |(low, high), p| {
        let d = (p.x - centre.x).hypot(p.y - centre.y);
        (low.min(d), high.max(d))
    })
}

/// The least zone about any meeting point of two bisectors.
fn zone_by_all_centres(points: &[Point]) -> f64 {
    let pairs = pairs_of(points);
    let mut least = f64::INFINITY;
    for (i, &first) in pairs.iter().enumerate() {
        for &second in &pairs[i + 1..] {
            if let Some(centre) = meet([first, second]) {
                let (low, high) = radii(points, centre);
                least = least.min(high - low);
            }
        }
    }
    least
}

/// A section of a random size, off its centre, of the given relative roughness.
fn section(draw: &mut Draw, n: usize, rough: f64) -> Vec<Point> {
    let (x, y) = (draw.normal(), draw.normal());
    let turn = 360.0 / n as f64;
    (0..n)
        .map(|i| {
            let angle = turn * (i as f64 + 0.3 * draw.uniform());
            let p = from_polar(angle, 10.0 * (1.0 + rough * draw.normal()));
            at(p.x + x, p.y + y)
        })
        .collect()
}

fn circumcentres(points: &[Point]) -> Vec<(Point, [Point; 3])> {
    let mut found = Vec::new();
    for (i, &a) in points.iter().enumerate() {
        for (j, &b) in points.iter().enumerate().skip(i + 1) {
            for &c in &points[j + 1..] {
                found.extend(meet([(a, b), (a, c)]).map(|centre| (centre, [a, b, c])));
            }
        }
    }
    found
}

/// Whether a point lies within a triangle.
fn within([a, b, c]: [Point; 3], p: Point) -> bool {
    let side = |s: Point, t: Point| (t.x - s.x) * (p.y - s.y) - (t.y - s.y) * (p.x - s.x);
    let sides = [side(a, b), side(b, c), side(c, a)];
    sides.iter().all(|&s| s >= 0.0) || sides.iter().all(|&s| s <= 0.0)
}

#[test]
fn circles_of_sections_against_all_candidates() {
    let mut draw = Draw::seeded(32);
    for case in 0..240 {
        let n = 5 + case % 8;
        let rough = [1e-6, 1e-4, 3e-3, 0.03][case % 4];
        let points = section(&mut draw, n, rough);
        let zone = minimum_zone_circles(&points).unwrap();
        assert_eq!(zone.guarantee, Guarantee::Global, "case {case}");
        near("zone", zone.width, zone_by_all_centres(&points), 1e-11);
        let about = peak_to_valley_about(&points, zone.centre).unwrap();
        near("zone about its centre", about, zone.width, 1e-12);
        for contacts in [&zone.outer, &zone.inner] {
            near(
                "weights",
                contacts.iter().map(|c| c.weight).sum(),
                1.0,
                1e-12,
            );
        }

        // The largest empty circle around the least-squares centre that three points hold.
        let lsc = least_squares_circle(&points).unwrap().centre;
        let held = circumcentres(&points).into_iter().filter(|(centre, held)| {
            let (low, _) = radii(&points, *centre);
            let (own, _) = radii(held, *centre);
            let around = (lsc.x - centre.x).hypot(lsc.y - centre.y) < low;
            low >= own - 1e-12 && around && within(*held, *centre)
        });
        let largest = held.map(|(c, _)| radii(&points, c).0).fold(0.0, f64::max);
        let inscribed = maximum_inscribed(&points).unwrap();
        near("inscribed", inscribed.radius, largest, 1e-11);
        assert_eq!(inscribed.guarantee, Guarantee::Global);
    }
}

#[test]
fn circles_of_scattered_points_against_all_candidates() {
    let mut draw = Draw::seeded(33);
    let mut judged = [0, 0];
    for case in 0..120 {
        let n = 3 + case % 10;
        let points: Vec<Point> = (0..n).map(|_| at(draw.normal(), draw.normal())).collect();
        let middles = pairs_of(&points)
            .into_iter()
            .map(|(p, q)| at(0.5 * (p.x + q.x), 0.5 * (p.y + q.y)));
        let centres = circumcentres(&points)
            .into_iter()
            .map(|(c, _)| c)
            .chain(middles);
        let least = centres
            .map(|c| radii(&points, c).1)
            .fold(f64::MAX, f64::min);
        let circumscribed = minimum_circumscribed(&points).unwrap();
        near("circumscribed", circumscribed.radius, least, 1e-13);

        let zone = match minimum_zone_circles(&points) {
            Ok(zone) => zone,
            Err(error) => {
                assert!(matches!(error, FormError::IllConditioned { .. }), "{error}");
                continue;
            }
        };
        let least = zone_by_all_centres(&points);
        assert!(zone.width >= least - 1e-9, "case {case}");
        judged[0] += 1;
        if zone.guarantee == Guarantee::Global {
            judged[1] += 1;
            near("zone", zone.width, least, 1e-9);
            assert!(zone.width <= width_by_all_pairs(&points) + 1e-12);
        }
    }
    assert!(judged[0] >= 100 && judged[1] >= 60, "{judged:?}");
}

/// A guarantee that rests on sharpness and gaps alone, without trying all candidates.
#[test]
fn the_guarantee_of_many_points_holds_against_all_candidates() {
    let mut draw = Draw::seeded(34);
    let mut global = 0;
    for _ in 0..6 {
        let points = section(&mut draw, 31, 2e-3);
        let zone = minimum_zone_circles(&points).unwrap();
        if zone.guarantee == Guarantee::Global {
            global += 1;
            near("zone", zone.width, zone_by_all_centres(&points), 1e-11);
        }
    }
    assert!(global >= 3, "{global} of 6");
}

/// Against draws: what the weights of the contacts propagate is what the width scatters by.
#[test]
fn uncertainty_of_a_zone_against_simulation() {
    let mut draw = Draw::seeded(35);
    let u = 1e-5;
    let noisy = |draw: &mut Draw, radius: f64| radius + u * draw.normal();
    let (mut straight, mut round) = (Vec::new(), Vec::new());
    let mut expected = [0.0; 2];
    for run in 0..4001 {
        let heights = [0.0, 0.02, 0.05, 0.1, 0.06, 0.03, 0.01];
        let outline: Vec<Point> = (0..7)
            .map(|i| {
                at(
                    10.0 * i as f64,
                    noisy(&mut draw, heights[i] + 2.0 * i as f64),
                )
            })
            .collect();
        let lobes: Vec<Point> = (0..24)
            .map(|i| {
                let angle = 15.0 * i as f64;
                let shape = 0.05 * (2.0 * angle).to_radians().cos()
                    + 0.011 * (3.0 * angle - 20.0).to_radians().cos();
                from_polar(angle, noisy(&mut draw, 20.0 + shape))
            })
            .collect();
        let line = minimum_zone(&outline).unwrap();
        let zone = minimum_zone_circles(&lobes).unwrap();
        if run == 0 {
            expected = [line.uncertainty(u).unwrap(), zone.uncertainty(u)];
        } else {
            straight.push(line.width);
            round.push(zone.width);
        }
    }
    for (widths, expected) in [straight, round].iter().zip(expected) {
        let mean = widths.iter().sum::<f64>() / 4000.0;
        let square = widths.iter().map(|w| (w - mean).powi(2)).sum::<f64>() / 3999.0;
        // The standard deviation of 4000 draws is known to 1.1 %: five times that.
        assert_rel_at("uncertainty", square.sqrt(), expected, 0.056);
    }
}
