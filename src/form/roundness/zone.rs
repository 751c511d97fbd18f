//! The minimum zone and the maximum inscribed circle.

use std::f64::consts::{PI, TAU};

use super::super::scaled::Scaled;
use super::super::straightness;
use super::super::{FormError, Point};
use super::contacts::{Contact, Guarantee, outward, propagated};
use super::enumeration;
use super::exchange::{Hold, Model, Sought, Step};
use super::{distance, least_squares, radii_about};

/// Steps of a centre; a section takes fewer than ten.
const MOST_STEPS: usize = 200;
/// A centre that no step improves by more than this, on a scale of 1, is at rest.
const REST: f64 = 1e-13;
/// Up to so many points all candidates are tried where the guarantee would be local only.
const FEW: usize = 30;
/// The same for the inscribed circle, whose candidates are far fewer.
const FEW_INSCRIBED: usize = 60;

/// The two concentric circles, as near to each other as can be, that hold all points between them.
#[derive(Clone, Debug, PartialEq)]
pub struct MinimumZoneCircles {
    /// Their centre.
    pub centre: Point,
    /// Radius of the outer circle.
    pub r_outer: f64,
    /// Radius of the inner circle.
    pub r_inner: f64,
    /// Difference of the radii: the roundness deviation.
    pub width: f64,
    /// Points that the outer circle touches; mostly two, else one or three.
    pub outer: Vec<Contact>,
    /// Points that the inner circle touches.
    pub inner: Vec<Contact>,
    /// What was proved of them.
    pub guarantee: Guarantee,
}

impl MinimumZoneCircles {
    /// Standard uncertainty of the width where every radius has the independent standard
    /// uncertainty `u`.
    ///
    /// `u sqrt(sum of squared weights)`: first order, with the contacts as they are. That noise
    /// of many points widens a zone on average is not in it.
    #[must_use]
    pub fn uncertainty(&self, u: f64) -> f64 {
        propagated(u, self.outer.iter().chain(&self.inner))
    }
}

/// The largest circle about a centre in the section that holds no point inside.
#[derive(Clone, Debug, PartialEq)]
pub struct InscribedCircle {
    /// Its centre.
    pub centre: Point,
    /// Its radius.
    pub radius: f64,
    /// Greatest less least radius about its centre: the roundness deviation.
    pub peak_to_valley: f64,
    /// The points that hold it; mostly three.
    pub contacts: Vec<Contact>,
    /// What was proved of it, among the circles that hold the least-squares centre.
    pub guarantee: Guarantee,
}

impl InscribedCircle {
    /// Standard uncertainty of the radius where every radius of a point has the independent
    /// standard uncertainty `u`; as [`MinimumZoneCircles::uncertainty`].
    #[must_use]
    pub fn uncertainty(&self, u: f64) -> f64 {
        propagated(u, self.contacts.iter())
    }
}

/// The minimum zone of a section: the concentric pair of circles with the least radial separation.
///
/// # Method
/// From the least-squares centre, the zone is linearised and solved exactly by exchange of
/// contacts, again and again until no step improves the true zone. At rest the contacts alternate
/// (two and two), or three stand against one: the weights say so, and their sharpness k (the
/// slowest growth of the zone, to first order, in any direction) gives the guarantee. Within
/// `2 k r_inner` of the centre no zone is narrower, since a radius bends by at most
/// `step^2 / (2 r)`. Beyond, a step s from the centre separates the point nearest to its
/// direction from the one opposite by at least `s + r cos h - sqrt(r^2 + s^2 - 2 r s cos h)`, h
/// half the largest gap between directions; that grows with s, so one look suffices. Where this
/// does not prove the zone, and there are no more than 30 points, all meeting points of two
/// bisectors are tried: every least zone is centred on one.
/// # Input
/// Three or more different points, that go some way round.
/// # Errors
/// As [`super::least_squares_circle`].
/// # Accuracy
/// 1e-13 of the size of the section.
/// # Source
/// Criterion: ISO 12181-1; contacts at rest: T. S. R. Murthy and S. Z. Abdin, Int. J. Mach. Tool
/// Des. Res. 20 (1980) 123-136; both from memory. The guarantee is derived above.
/// # Example
/// ```
/// use calibriar::form::roundness::{Guarantee, from_polar, minimum_zone_circles};
///
/// // Three lobes of 0.05 mm on a radius of 20 mm.
/// let lobed = |i| {
///     let angle = 15.0 * f64::from(i);
///     from_polar(angle, 20.0 + 0.05 * (3.0 * angle).to_radians().cos())
/// };
/// let zone = minimum_zone_circles(&(0..24).map(lobed).collect::<Vec<_>>())?;
/// assert!((zone.width - 0.1).abs() < 1e-12);
/// assert_eq!(zone.guarantee, Guarantee::Global);
/// # Ok::<(), calibriar::form::FormError>(())
/// ```
pub fn minimum_zone_circles(points: &[Point]) -> Result<MinimumZoneCircles, FormError> {
    let scaled = Scaled::new(points, "a zone of circles", 3)?;
    let all = &scaled.points;
    let (start, _) = least_squares::fit(all)?;
    let mut rest = settle(all, start, Sought::Zone);
    let mut guarantee = rest.zone_guarantee(all);
    if guarantee != Guarantee::Global && all.len() <= FEW {
        if let Some(best) = enumeration::narrowest_zone(all, rest.value) {
            rest = settle(all, best, Sought::Zone);
        }
        // The one rival without a centre: two parallel lines.
        let strip = straightness::minimum_zone(all)?.width;
        guarantee = match rest.at_rest && rest.value <= strip {
            true => Guarantee::Global,
            false => rest.zone_guarantee(all),
        };
    }
    let (r_inner, r_outer) = radii_about(all, rest.centre);
    Ok(MinimumZoneCircles {
        centre: scaled.place(rest.centre),
        r_outer: scaled.length(r_outer),
        r_inner: scaled.length(r_inner),
        width: scaled.length(r_outer - r_inner),
        outer: rest.outer,
        inner: rest.inner,
        guarantee,
    })
}

/// The maximum inscribed circle of a section: what a plug gauge would find.
///
/// # Method
/// From the least-squares centre upwards by steps that are solved exactly by exchange of
/// contacts, as for [`minimum_zone_circles`], to the circle that three points hold. Radii bend
/// outwards, so every step keeps what it promises. Of up to 60 points all triples are tried as
/// well.
/// # Input
/// Three or more different points all round a centre.
/// # Output
/// Of up to 60 points the largest of the circles that hold the least-squares centre
/// ([`Guarantee::Global`]). Of more, the one uphill from that centre: no circle near by is larger
/// ([`Guarantee::Local`]).
/// # Errors
/// As [`super::least_squares_circle`], and [`FormError::IllConditioned`] where the points do not
/// close around a centre.
/// # Accuracy
/// 1e-13 of the size of the section.
/// # Source
/// Criterion: ISO 12181-1, from memory.
pub fn maximum_inscribed(points: &[Point]) -> Result<InscribedCircle, FormError> {
    let form = "an inscribed circle";
    let scaled = Scaled::new(points, form, 3)?;
    let all = &scaled.points;
    let (start, _) = least_squares::fit(all)?;
    let mut rest = settle(all, start, Sought::Inscribed);
    let few = all.len() <= FEW_INSCRIBED;
    if few {
        // Where the climb left the section, any circle within is better.
        let known = if rest.outside {
            0.0
        } else {
            -rest.value + REST
        };
        if let Some(better) = enumeration::largest_inscribed(all, start, known) {
            rest = settle(all, better, Sought::Inscribed);
        }
    }
    if rest.outside {
        return Err(FormError::IllConditioned {
            form,
            reason: "they do not close around a centre",
            condition: f64::INFINITY,
        });
    }
    let (least, greatest) = radii_about(all, rest.centre);
    Ok(InscribedCircle {
        centre: scaled.place(rest.centre),
        radius: scaled.length(least),
        peak_to_valley: scaled.length(greatest - least),
        contacts: rest.inner,
        guarantee: match (rest.at_rest, few) {
            (true, true) => Guarantee::Global,
            (true, false) => Guarantee::Local,
            (false, _) => Guarantee::None,
        },
    })
}

/// Where a search ended.
struct Rest {
    centre: Point,
    /// Width of the zone, or the inner radius with its sign turned.
    value: f64,
    outer: Vec<Contact>,
    inner: Vec<Contact>,
    at_rest: bool,
    /// Left the box around the points.
    outside: bool,
}

/// Steps from `start` until none improves.
fn settle(points: &[Point], start: Point, sought: Sought) -> Rest {
    let mut rest = Rest {
        centre: start,
        value: value(points, start, sought),
        outer: Vec::new(),
        inner: Vec::new(),
        at_rest: false,
        outside: false,
    };
    let mut limit = 0.25;
    let mut radii = vec![0.0; points.len()];
    let mut growth = vec![[0.0; 2]; points.len()];
    for _ in 0..MOST_STEPS {
        rest.outside = rest.centre.x.abs().max(rest.centre.y.abs()) > 1.0;
        if sought == Sought::Inscribed && rest.outside {
            return rest;
        }
        for ((&p, d), u) in points.iter().zip(&mut radii).zip(&mut growth) {
            *d = distance(p, rest.centre);
            *u = outward(rest.centre, p, *d);
        }
        let model = Model {
            radii: &radii,
            growth: &growth,
            sought,
            limit,
        };
        let Some(step) = model.best_step() else {
            return rest;
        };
        let gain = rest.value - step.promised;
        let next = moved(rest.centre, step.by);
        let after = value(points, next, sought);
        let length = step.by[0].abs().max(step.by[1].abs());
        if gain <= REST {
            let held = rest.hold(&step);
            if held && let Some(up) = off_the_saddle(points, &rest, sought) {
                rest.value = value(points, up, sought);
                rest.centre = up;
                continue;
            }
            rest.at_rest = held;
            if after <= rest.value {
                (rest.centre, rest.value) = (next, after);
            }
            return rest;
        }
        // A step that keeps a tenth of its promise is taken; one that keeps little of it warns.
        let kept = (rest.value - after) / gain;
        if kept > 0.1 {
            (rest.centre, rest.value) = (next, after);
        }
        if kept > 0.75 && length >= limit {
            limit *= 2.0;
        } else if kept.is_nan() || kept <= 0.5 {
            limit = 0.25 * length.min(limit);
        }
        if limit < 1e-16 {
            return rest;
        }
    }
    rest
}

impl Rest {
    /// Notes who holds the centre; false where only the limit of the step does.
    fn hold(&mut self, step: &Step) -> bool {
        let mut slack = 0.0;
        self.outer.clear();
        self.inner.clear();
        for &(hold, weight) in &step.holds {
            let contacts = match hold {
                Hold::Outer(index) => Some((&mut self.outer, index)),
                Hold::Inner(index) => Some((&mut self.inner, index)),
                Hold::Limit(_) => {
                    slack += weight;
                    None
                }
                Hold::Free => None,
            };
            if let Some((contacts, index)) = contacts
                && weight > 1e-12
            {
                contacts.push(Contact { index, weight });
            }
        }
        for contacts in [&mut self.outer, &mut self.inner] {
            contacts.sort_unstable_by_key(|c| c.index);
        }
        slack <= 1e-6
    }

    /// See [`minimum_zone_circles`].
    fn zone_guarantee(&self, points: &[Point]) -> Guarantee {
        if !self.at_rest {
            return Guarantee::None;
        }
        let (r_inner, r_outer) = radii_about(points, self.centre);
        let near = 2.0 * self.sharpness(points) * r_inner;
        let cos = (0.5 * largest_gap(points, self.centre)).cos();
        let short = |r: f64| (r * r + near * near - 2.0 * r * near * cos).max(0.0).sqrt();
        let beyond = near + r_inner * cos - short(r_inner).max(short(r_outer));
        // A margin over rounding, which has made all these numbers.
        if near > 0.0 && cos > 0.0 && beyond >= self.value + 1e-12 {
            Guarantee::Global
        } else {
            Guarantee::Local
        }
    }

    /// The slowest growth of the zone, per step, in any direction: how far the hull of the
    /// differences of outer and inner directions reaches around 0.
    fn sharpness(&self, points: &[Point]) -> f64 {
        let direction = |c: &Contact| {
            let p = points[c.index];
            outward(self.centre, p, distance(p, self.centre))
        };
        let inner: Vec<_> = self.inner.iter().map(direction).collect();
        let differences: Vec<_> = self
            .outer
            .iter()
            .map(direction)
            .flat_map(|o| inner.iter().map(move |i| [o[0] - i[0], o[1] - i[1]]))
            .collect();
        inner_reach(&differences)
    }
}

/// Distance from 0 to the border of the convex hull of a few vectors around it; 0 if it is not
/// around it.
fn inner_reach(vectors: &[[f64; 2]]) -> f64 {
    let cross = |a: [f64; 2], b: [f64; 2]| a[0] * b[1] - a[1] * b[0];
    let mut reach = f64::INFINITY;
    for &a in vectors {
        for &b in vectors {
            let edge = [b[0] - a[0], b[1] - a[1]];
            let left = |v: [f64; 2]| cross(edge, [v[0] - a[0], v[1] - a[1]]);
            let length = edge[0].hypot(edge[1]);
            if length > 0.0 && vectors.iter().all(|&v| left(v) >= -1e-12 * length) {
                reach = reach.min(left([0.0, 0.0]) / length);
            }
        }
    }
    if reach.is_finite() {
        reach.max(0.0)
    } else {
        0.0
    }
}

/// The largest angle between neighbouring directions, seen from a centre.
fn largest_gap(points: &[Point], centre: Point) -> f64 {
    let direction = |p: &Point| (p.y - centre.y).atan2(p.x - centre.x);
    let mut angles: Vec<f64> = points.iter().map(direction).collect();
    angles.sort_unstable_by(f64::total_cmp);
    let [first, .., last] = angles[..] else {
        return TAU;
    };
    let around = first + TAU - last;
    let gaps = angles.windows(2).map(|pair| pair[1] - pair[0]);
    gaps.fold(around, f64::max).min(2.0 * PI)
}

/// Two opposite points can hold an inscribed circle only along their line: a better centre beside
/// it, if there is one.
fn off_the_saddle(points: &[Point], rest: &Rest, sought: Sought) -> Option<Point> {
    if sought != Sought::Inscribed || rest.inner.len() != 2 {
        return None;
    }
    let at = points[rest.inner[0].index];
    let [ux, uy] = outward(rest.centre, at, distance(at, rest.centre));
    (2..8)
        .flat_map(|k| [0.1_f64.powi(k), -(0.1_f64.powi(k))])
        .map(|h| moved(rest.centre, [-uy * h, ux * h]))
        .find(|&beside| value(points, beside, sought) < rest.value - REST)
}

fn moved(from: Point, by: [f64; 2]) -> Point {
    Point {
        x: from.x + by[0],
        y: from.y + by[1],
    }
}

fn value(points: &[Point], centre: Point, sought: Sought) -> f64 {
    let (least, greatest) = radii_about(points, centre);
    match sought {
        Sought::Zone => greatest - least,
        Sought::Inscribed => -least,
    }
}
