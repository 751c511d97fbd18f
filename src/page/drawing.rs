//! The pipe to scale, from its own sizes and traces, with what is out of norm called out.
//!
//! Seen from the side and from above, bowl to the left. What was not measured is drawn in usual
//! proportions, dashed, and named.

use std::cell::RefCell;

use maud::{Markup, html};

use super::document::picture;
use super::scale::{points, px};
use crate::catalogue::TraceKind;
use crate::table::{Table, Trace};

/// A pipe as it is usually made, in mm: only for what was not measured (common practice, no source).
const USUAL: [(&str, f64); 22] = [
    ("bowl_height", 46.0),
    ("bowl_diameter", 36.0),
    ("rim_diameter", 33.0),
    ("chamber_diameter", 19.5),
    ("chamber_depth", 39.0),
    ("cant_angle", 0.0),
    ("shank_length", 40.0),
    ("shank_width", 15.0),
    ("shank_height", 15.0),
    ("mortise_diameter", 8.0),
    ("mortise_depth", 14.0),
    ("draught_diameter", 4.0),
    ("stem_length", 70.0),
    ("tenon_diameter", 7.8),
    ("tenon_length", 12.0),
    ("stem_bore", 3.0),
    ("bit_width", 16.0),
    ("bit_thickness", 4.2),
    ("button_width", 17.0),
    ("button_height", 6.5),
    ("slot_width", 9.0),
    ("slot_height", 1.8),
];
/// The button along the stem, and how far the slot runs in, in mm (common practice).
const BUTTON: f64 = 3.5;
const SLOT: f64 = 14.0;

/// Where a bowl is widest, of its height (common practice).
const WIDEST: f64 = 0.4;

const WIDTH: f64 = 720.0;
const MARGIN: f64 = 16.0;
/// Room over each view for its name, and for numbers as well.
const NAMED: f64 = 26.0;
const CALLS: f64 = 54.0;
const BADGE: f64 = 9.0;

/// Something that is called out on the drawing.
#[derive(Clone, Debug)]
pub(super) struct Call {
    /// Key of the dimension, or of the feature.
    pub(super) key: String,
    /// The station of an outline, in mm.
    pub(super) at: Option<f64>,
    /// What is said of it in the list beside.
    pub(super) words: String,
}

/// The drawing of a row of a table; `calls` are numbered from 1.
pub(super) fn drawing(table: &Table, row: usize, traces: &[&Trace], calls: &[Call]) -> Markup {
    let pipe = Pipe::new(table, row, traces);
    let (side, above) = (pipe.side(), pipe.above());
    let reach = |shapes: &[Shape], axis: fn(&(f64, f64)) -> f64| {
        let all = shapes.iter().flat_map(|s| s.points.iter().map(axis));
        all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        })
    };
    let both: Vec<Shape> = side.iter().chain(&above).cloned().collect();
    let (left, right) = reach(&both, |p| p.0);
    let times = (WIDTH - 2.0 * MARGIN) / (right - left).max(1.0);
    let (side_low, side_high) = reach(&side, |p| p.1);
    let (above_low, above_high) = reach(&above, |p| p.1);
    let called = |row: fn(&Place) -> bool| {
        let places = calls.iter().filter_map(|call| pipe.place(call));
        places.into_iter().any(|place| row(&place))
    };
    let over = |row: fn(&Place) -> bool| if called(row) { CALLS } else { NAMED };
    let side_top = over(|place| matches!(place, Place::Side(_)));
    let side_end = side_top + times * (side_high - side_low);
    let above_top = side_end + over(|place| matches!(place, Place::Above((_, y)) if *y >= 0.0));
    let above_end = above_top + times * (above_high - above_low);
    let below = called(|place| matches!(place, Place::Above((_, y)) if *y < 0.0));
    let height = above_end + if below { CALLS + 10.0 } else { 40.0 };
    let to_side = |(x, y): (f64, f64)| {
        (
            MARGIN + times * (x - left),
            side_top + times * (side_high - y),
        )
    };
    let to_above = |(x, y): (f64, f64)| {
        (
            MARGIN + times * (x - left),
            above_top + times * (above_high - y),
        )
    };
    let view = |shapes: &[Shape], to: &dyn Fn((f64, f64)) -> (f64, f64)| {
        html! {
            @for shape in shapes {
                @let corners = points(shape.points.iter().map(|&p| to(p)));
                @if shape.open { polyline class=(shape.class()) points=(corners) {} }
                @else { polygon class=(shape.class()) points=(corners) {} }
            }
        }
    };
    let (mut on_side, mut on_above, mut from_below) = (Vec::new(), Vec::new(), Vec::new());
    for (number, call) in calls.iter().enumerate() {
        match pipe.place(call) {
            Some(Place::Side(at)) => on_side.push(Badge::new(number + 1, at, to_side)),
            Some(Place::Above(at)) if at.1 < 0.0 => {
                from_below.push(Badge::new(number + 1, at, to_above));
            }
            Some(Place::Above(at)) => on_above.push(Badge::new(number + 1, at, to_above)),
            None => {}
        }
    }
    let bar = 50.0 * times;
    let drawn = html! {
        text class="tick start" x=(px(MARGIN)) y="12" { "from the side" }
        (view(&side, &to_side))
        (badges(on_side, 24.0))
        text class="tick start" x=(px(MARGIN)) y=(px(side_end + 18.0)) { "from above" }
        (view(&above, &to_above))
        (badges(on_above, side_end + 30.0))
        (badges(from_below, above_end + 22.0))
        path class="axis" d=(format!(
            "M{} {}v-6v3h{}v-3v6", px(WIDTH - MARGIN - bar), px(height - 8.0), px(bar)
        )) {}
        text class="tick end" x=(px(WIDTH - MARGIN - bar - 6.0)) y=(px(height - 6.0)) { "50 mm" }
    };
    let missing = pipe.missing.borrow();
    let named = |key: &&str| {
        table
            .catalogue
            .find(key)
            .map_or(key.replace('_', " "), |at| {
                table.catalogue.at(at).label.clone()
            })
    };
    let (odd, missing): (Vec<&str>, Vec<&str>) = missing
        .iter()
        .copied()
        .partition(|key| pipe.reading(key).is_some());
    let names = |keys: &[&str]| keys.iter().map(named).collect::<Vec<String>>().join(", ");
    let told = match calls {
        [] => "Nothing is called out.".to_owned(),
        calls => {
            let list = calls
                .iter()
                .enumerate()
                .map(|(at, call)| format!("{}: {}", at + 1, call.words));
            list.collect::<Vec<String>>().join("; ")
        }
    };
    html! {
        figure {
            (picture("drawing", "The pipe to scale, from the side and from above", &told, (WIDTH, height), &drawn))
            @if !calls.is_empty() {
                ol class="calls" { @for call in calls { li { (call.words) } } }
            }
            figcaption {
                "Drawn from its own sizes"
                @if !traces.is_empty() { " and traces" }
                "; hidden lines are dotted"
                @if traces.iter().any(|t| t.feature.feature.key == "bowl_section") { ", a traced section of the bowl is heavy" }
                ". "
                @if !missing.is_empty() {
                    "Not measured, so in usual proportions, not this pipe's (what they alone shape is dashed): " (names(&missing)) ". "
                }
                @if !odd.is_empty() {
                    "Read as no real pipe is, so in usual proportions as well: " (names(&odd)) "."
                }
            }
        }
    }
}

/// A number and the place that it names: in mm, and in the picture.
struct Badge {
    number: usize,
    place: (f64, f64),
    spot: (f64, f64),
}

impl Badge {
    fn new(
        number: usize,
        place: (f64, f64),
        to_picture: impl Fn((f64, f64)) -> (f64, f64),
    ) -> Badge {
        let spot = to_picture(place);
        Badge {
            number,
            place,
            spot,
        }
    }
}

/// Numbers in a row over a view, each with a line to what it names.
fn badges(mut all: Vec<Badge>, y: f64) -> Markup {
    all.sort_by(|a, b| a.spot.0.total_cmp(&b.spot.0));
    let apart = 2.0 * BADGE + 4.0;
    // From the left, each as near over its place as the one before lets it; then back from the right end.
    let mut at: Vec<f64> = Vec::with_capacity(all.len());
    for Badge { spot: (x, _), .. } in &all {
        let least = at.last().map_or(BADGE + 2.0, |last| last + apart);
        at.push(x.max(least));
    }
    let mut most = WIDTH - BADGE - 2.0;
    for x in at.iter_mut().rev() {
        *x = x.min(most);
        most = *x - apart;
    }
    html! {
        @for (Badge { number, place, spot: (x, below) }, at) in all.iter().zip(at) {
            line class="leader" x1=(px(at)) y1=(px(if *below < y { y - BADGE } else { y + BADGE })) x2=(px(*x)) y2=(px(*below)) {}
            circle class="spot" cx=(px(*x)) cy=(px(*below)) r="3" data-number=(number) data-along=(place.0) data-up=(place.1) {}
            circle class="badge" cx=(px(at)) cy=(px(y)) r=(px(BADGE)) {}
            text class="badge-number" x=(px(at)) y=(px(y + 4.0)) { (number) }
        }
    }
}

/// A part of a view: mm, y upwards.
#[derive(Clone, Debug)]
struct Shape {
    points: Vec<(f64, f64)>,
    open: bool,
    hidden: bool,
    /// Whether it rests on usual proportions.
    usual: bool,
    what: &'static str,
}

impl Shape {
    fn class(&self) -> String {
        let hidden = if self.hidden { " hidden" } else { "" };
        let usual = if self.usual { " usual" } else { "" };
        format!("part {}{hidden}{usual}", self.what)
    }
}

/// How far a line is from its axis at a place along it; beyond its ends as far as there.
fn level(line: &[(f64, f64)], at: f64) -> f64 {
    let next = line.iter().position(|p| p.0 >= at);
    match next.unwrap_or(line.len()) {
        0 => line.first().map_or(0.0, |p| p.1),
        next if next == line.len() => line.last().map_or(0.0, |p| p.1),
        next => {
            let (before, after) = (line[next - 1], line[next]);
            let share = (at - before.0) / (after.0 - before.0).max(1e-9);
            before.1 + share * (after.1 - before.1)
        }
    }
}

/// A place on one of the two views.
enum Place {
    Side((f64, f64)),
    Above((f64, f64)),
}

/// Sizes and traces of one pipe. The shank's axis is the x axis, 0 where it leaves the bowl.
struct Pipe<'a> {
    table: &'a Table,
    row: usize,
    traces: &'a [&'a Trace],
    /// Keys that were asked for and not measured.
    missing: RefCell<Vec<&'static str>>,
}

impl<'a> Pipe<'a> {
    fn new(table: &'a Table, row: usize, traces: &'a [&'a Trace]) -> Pipe<'a> {
        Pipe {
            table,
            row,
            traces,
            missing: RefCell::new(Vec::new()),
        }
    }

    fn reading(&self, key: &str) -> Option<f64> {
        let columns = self.table.columns.iter();
        let mut of_key = columns.filter(|c| self.table.dimension(c).key == key);
        of_key.find_map(|c| c.value(self.row))
    }

    fn measured(&self, key: &str) -> Option<f64> {
        let value = self.reading(key)?;
        // A slip must not make the drawing a mile long.
        let credible = |at: usize| self.table.catalogue.at(at).is_credible(value);
        Some(value).filter(|_| self.table.catalogue.find(key).is_some_and(credible))
    }

    fn size(&self, key: &'static str) -> f64 {
        self.measured(key).unwrap_or_else(|| {
            let mut missing = self.missing.borrow_mut();
            if !missing.contains(&key) {
                missing.push(key);
            }
            USUAL
                .iter()
                .find(|(of, _)| *of == key)
                .map_or(1.0, |(_, mm)| *mm)
        })
    }

    fn usual(&self, keys: &[&str]) -> bool {
        keys.iter().any(|key| self.measured(key).is_none())
    }

    /// Whether a stem rests on usual proportions: length, thickness at the bit, and the button, which does
    /// not count where both lines are traced.
    fn stem_usual(&self, lines: [&str; 2], [length, bit, button]: [&str; 3]) -> bool {
        let traced = lines.iter().all(|line| self.traced(line).is_some());
        self.usual(&[length, bit]) || (!traced && self.usual(&[button]))
    }

    /// The points of a traced outline, in the order of their stations.
    fn traced(&self, key: &str) -> Option<Vec<(f64, f64)>> {
        let trace = self.traces.iter().find(|t| t.feature.feature.key == key)?;
        if trace.feature.feature.kind != TraceKind::Outline {
            return None;
        }
        let read = trace.reading.points();
        let mut all: Vec<(f64, f64)> = read
            .stations
            .iter()
            .copied()
            .zip(read.readings.iter().copied())
            .collect();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        (all.len() > 1).then_some(all)
    }

    /// Bowl coordinates (towards the smoker, up from the heel) on the side view.
    fn bowl(&self, (out, up): (f64, f64)) -> (f64, f64) {
        let lean = self.size("cant_angle").to_radians();
        let heel = -self.size("shank_height") / 2.0 - 1.0;
        let axis = -self.size("bowl_diameter") / 2.0;
        (
            axis + out * lean.cos() - up * lean.sin(),
            heel + out * lean.sin() + up * lean.cos(),
        )
    }

    /// One wall of the bowl in its coordinates, heel to rim; outward positive.
    fn wall(&self, feature: &str) -> (Vec<(f64, f64)>, bool) {
        let (height, rim) = (self.size("bowl_height"), self.size("rim_diameter") / 2.0);
        let widest = self.size("bowl_diameter") / 2.0;
        if let Some(trace) = self.traced(feature) {
            // Laid so that it ends at the rim: it may have been read from a line beside the axis.
            let (_, last) = trace[trace.len() - 1];
            let laid = trace.iter().map(|&(up, out)| (out - last + rim, up));
            let mut wall: Vec<(f64, f64)> = laid.filter(|p| p.1 < height).collect();
            if let Some(&(out, up)) = wall.first() {
                let round = (0..8).map(|i| {
                    let angle = std::f64::consts::FRAC_PI_2 * f64::from(i) / 8.0;
                    (out * angle.sin(), up * (1.0 - angle.cos()))
                });
                let round: Vec<(f64, f64)> = round.collect();
                wall.splice(0..0, round);
            }
            wall.push((rim, height));
            return (wall, false);
        }
        let round = (0..=12).map(|i| {
            let angle = std::f64::consts::FRAC_PI_2 * f64::from(i) / 12.0;
            (widest * angle.sin(), WIDEST * height * (1.0 - angle.cos()))
        });
        (round.chain([(rim, height)]).collect(), true)
    }

    /// A line of the stem from its face to the button, as distances from the axis.
    fn stem_line(&self, feature: &str, face: f64, end: f64) -> Vec<(f64, f64)> {
        let length = self.size("stem_length");
        let straight = |at: f64| face + (end - face) * (at / length).clamp(0.0, 1.0);
        match self.traced(feature) {
            None => vec![(0.0, face), (length - BUTTON, straight(length - BUTTON))],
            Some(trace) => {
                // Its base line is any: laid on the sizes at both ends.
                let (first, last) = (trace[0], trace[trace.len() - 1]);
                let lift = |at: f64| {
                    let share = (at - first.0) / (last.0 - first.0).max(1e-9);
                    let (from, to) = (straight(first.0) - first.1, straight(last.0) - last.1);
                    from + share * (to - from)
                };
                let laid = trace.iter().map(|&(at, height)| (at, height + lift(at)));
                let inside = laid.filter(|p| (0.0..=length - BUTTON).contains(&p.0));
                std::iter::once((0.0, face)).chain(inside).collect()
            }
        }
    }

    fn stem(&self, features: [&str; 2], face: f64, end: f64, button: f64) -> Vec<(f64, f64)> {
        let (from, length) = (self.size("shank_length"), self.size("stem_length"));
        let up = self.stem_line(features[0], face / 2.0, end / 2.0);
        let down = self.stem_line(features[1], face / 2.0, end / 2.0);
        let button = [
            (from + length - BUTTON, button / 2.0),
            (from + length, button / 2.0),
            (from + length, -button / 2.0),
            (from + length - BUTTON, -button / 2.0),
        ];
        let up = up.into_iter().map(|(at, height)| (from + at, height));
        let down = down
            .into_iter()
            .rev()
            .map(|(at, height)| (from + at, -height));
        up.chain(button).chain(down).collect()
    }

    /// The airway from the chamber to the slot, and what is inside the shank; `slot` is across the view.
    fn inside(&self, slot: f64) -> Vec<Shape> {
        let (shank, stem) = (self.size("shank_length"), self.size("stem_length"));
        let tube = |from: f64, to: f64, wide: f64, keys: &[&str]| Shape {
            points: vec![
                (from, wide / 2.0),
                (to, wide / 2.0),
                (to, -wide / 2.0),
                (from, -wide / 2.0),
            ],
            open: false,
            hidden: true,
            usual: self.usual(keys),
            what: "bore",
        };
        let mortise = shank - self.size("mortise_depth");
        let tenon = shank - self.size("tenon_length");
        let bore = self.size("stem_bore");
        // From the chamber's wall, or from its floor where the airway runs lower.
        let up = self.size("shank_height") / 2.0 + 1.0;
        let floor = self.size("bowl_height") - self.size("chamber_depth");
        let (chamber, _) = match up > floor + 0.3 * self.size("chamber_diameter") {
            true => self.bowl((self.size("chamber_diameter") / 2.0, up)),
            false => self.bowl((0.0, up)),
        };
        let end = shank + stem;
        vec![
            tube(
                mortise,
                shank,
                self.size("mortise_diameter"),
                &["mortise_diameter", "mortise_depth"],
            ),
            tube(
                chamber,
                mortise,
                self.size("draught_diameter"),
                &["draught_diameter"],
            ),
            tube(
                tenon,
                shank,
                self.size("tenon_diameter"),
                &["tenon_diameter", "tenon_length"],
            ),
            Shape {
                points: vec![
                    (tenon, bore / 2.0),
                    (end - SLOT, bore / 2.0),
                    (end, slot / 2.0),
                    (end, -slot / 2.0),
                    (end - SLOT, -bore / 2.0),
                    (tenon, -bore / 2.0),
                ],
                open: false,
                hidden: true,
                usual: self.usual(&["stem_bore"]),
                what: "bore",
            },
        ]
    }

    fn side(&self) -> Vec<Shape> {
        let (shank, high) = (self.size("shank_length"), self.size("shank_height"));
        let (front, front_usual) = self.wall("bowl_wall_front");
        let (back, back_usual) = self.wall("bowl_wall_back");
        let back = back.into_iter().rev().map(|p| self.bowl(p));
        let front = front.into_iter().map(|(out, up)| self.bowl((-out, up)));
        let (height, chamber) = (
            self.size("bowl_height"),
            self.size("chamber_diameter") / 2.0,
        );
        let floor = height - self.size("chamber_depth");
        let round = (0..=12).map(|i| {
            let angle = std::f64::consts::PI * f64::from(i) / 12.0;
            (
                chamber * angle.cos(),
                floor + 0.6 * chamber * (1.0 - angle.sin()),
            )
        });
        let chamber_line = std::iter::once((chamber, height))
            .chain(round)
            .chain([(-chamber, height)]);
        let bowl = ["bowl_height", "bowl_diameter", "rim_diameter"];
        // The bowl is drawn over it.
        let (from, _) = self.bowl((0.0, high / 2.0 + 1.0));
        let mut shapes = vec![
            Shape {
                points: vec![
                    (from, high / 2.0),
                    (shank, high / 2.0),
                    (shank, -high / 2.0),
                    (from, -high / 2.0),
                ],
                open: false,
                hidden: false,
                usual: self.usual(&["shank_length", "shank_height"]),
                what: "wood",
            },
            Shape {
                points: front.chain(back).collect(),
                open: false,
                hidden: false,
                usual: self.usual(&bowl) && (front_usual || back_usual),
                what: "wood",
            },
            Shape {
                points: chamber_line.map(|p| self.bowl(p)).collect(),
                open: true,
                hidden: true,
                usual: self.usual(&["chamber_diameter", "chamber_depth"]),
                what: "bore",
            },
            Shape {
                points: self.stem(
                    ["stem_top", "stem_bottom"],
                    high,
                    self.size("bit_thickness"),
                    self.size("button_height"),
                ),
                open: false,
                hidden: false,
                usual: self.stem_usual(
                    ["stem_top", "stem_bottom"],
                    ["stem_length", "bit_thickness", "button_height"],
                ),
                what: "stem",
            },
        ];
        shapes.extend(self.inside(self.size("slot_height")));
        shapes
    }

    fn above(&self) -> Vec<Shape> {
        let (shank, wide) = (self.size("shank_length"), self.size("shank_width"));
        let bowl = self.size("bowl_diameter") / 2.0;
        let (widest, rim) = (self.axis(WIDEST), self.axis(1.0));
        let ring = |centre: f64, radius: f64| {
            let at = |i: i32| {
                let angle = std::f64::consts::TAU * f64::from(i) / 72.0;
                (centre + radius * angle.cos(), radius * angle.sin())
            };
            (0..72).map(at).collect::<Vec<(f64, f64)>>()
        };
        let sections = self
            .traces
            .iter()
            .filter(|t| t.feature.feature.key == "bowl_section");
        let sections = sections.map(|trace| {
            let read = trace.reading.points();
            let up = trace
                .feature
                .at
                .map_or(WIDEST, |at| at / self.size("bowl_height"));
            let centre = self.axis(up.clamp(0.0, 1.0));
            // From the front, anticlockwise seen from above.
            let at = |(&angle, &radius): (&f64, &f64)| {
                let (sin, cos) = angle.to_radians().sin_cos();
                (centre - radius * cos, -radius * sin)
            };
            let points = read.stations.iter().zip(read.readings).map(at);
            Shape {
                points: points.collect(),
                open: false,
                hidden: false,
                usual: false,
                what: "section",
            }
        });
        let sections: Vec<Shape> = sections.collect();
        let closed = |points: Vec<(f64, f64)>, usual: bool, what: &'static str| Shape {
            points,
            open: false,
            hidden: false,
            usual,
            what,
        };
        let mut shapes = vec![
            closed(
                vec![
                    (-bowl, wide / 2.0),
                    (shank, wide / 2.0),
                    (shank, -wide / 2.0),
                    (-bowl, -wide / 2.0),
                ],
                self.usual(&["shank_length", "shank_width"]),
                "wood",
            ),
            closed(ring(widest, bowl), self.usual(&["bowl_diameter"]), "wood"),
            closed(
                ring(rim, self.size("rim_diameter") / 2.0),
                self.usual(&["rim_diameter"]),
                "rim",
            ),
            closed(
                ring(rim, self.size("chamber_diameter") / 2.0),
                self.usual(&["chamber_diameter"]),
                "hole",
            ),
            closed(
                self.stem(
                    ["stem_right", "stem_left"],
                    wide,
                    self.size("bit_width"),
                    self.size("button_width"),
                ),
                self.stem_usual(
                    ["stem_right", "stem_left"],
                    ["stem_length", "bit_width", "button_width"],
                ),
                "stem",
            ),
        ];
        shapes.extend(self.inside(self.size("slot_width")));
        shapes.extend(sections);
        shapes
    }

    /// Where the bowl's axis is along the shank, at a share of its height.
    fn axis(&self, up: f64) -> f64 {
        self.bowl((0.0, up * self.size("bowl_height"))).0
    }

    /// A place on a traced line or wall, as far along it as the station is.
    fn on_outline(&self, key: &str, at: f64) -> Option<Place> {
        let wall = |feature: &'static str| {
            let at = at.clamp(0.0, self.size("bowl_height"));
            let (wall, _) = self.wall(feature);
            let by_height: Vec<(f64, f64)> = wall.iter().map(|&(out, up)| (up, out)).collect();
            (level(&by_height, at), at)
        };
        let stem = |feature: &'static str, face: &'static str, bit: &'static str| {
            let at = at.clamp(0.0, self.size("stem_length") - BUTTON);
            let (face, bit) = (self.size(face) / 2.0, self.size(bit) / 2.0);
            let line = self.stem_line(feature, face, bit);
            (self.size("shank_length") + at, level(&line, at))
        };
        Some(match key {
            "bowl_wall_front" => {
                let (out, up) = wall("bowl_wall_front");
                Place::Side(self.bowl((-out, up)))
            }
            "bowl_wall_back" => Place::Side(self.bowl(wall("bowl_wall_back"))),
            "bowl_wall_left" | "bowl_wall_right" => {
                let left = key == "bowl_wall_left";
                let (out, up) = wall(if left {
                    "bowl_wall_left"
                } else {
                    "bowl_wall_right"
                });
                let along = self.axis(up / self.size("bowl_height"));
                Place::Above((along, if left { -out } else { out }))
            }
            "stem_top" => Place::Side(stem("stem_top", "shank_height", "bit_thickness")),
            "stem_bottom" => {
                let (x, down) = stem("stem_bottom", "shank_height", "bit_thickness");
                Place::Side((x, -down))
            }
            "stem_right" => Place::Above(stem("stem_right", "shank_width", "bit_width")),
            "stem_left" => {
                let (x, out) = stem("stem_left", "shank_width", "bit_width");
                Place::Above((x, -out))
            }
            _ => return None,
        })
    }

    /// Where a dimension or a feature is seen.
    fn place(&self, call: &Call) -> Option<Place> {
        let key = call.key.as_str();
        if let Some(place) = call.at.and_then(|at| self.on_outline(key, at)) {
            return Some(place);
        }
        let bowl = |out: f64, up: f64| Place::Side(self.bowl((out, up)));
        let (height, wide) = (self.size("bowl_height"), self.size("bowl_diameter") / 2.0);
        let (rim, chamber) = (
            self.size("rim_diameter") / 2.0,
            self.size("chamber_diameter") / 2.0,
        );
        let floor = height - self.size("chamber_depth");
        let (shank, stem) = (self.size("shank_length"), self.size("stem_length"));
        let (widest, above_rim) = (self.axis(WIDEST), self.axis(1.0));
        let mortise = self.size("mortise_depth");
        let end = shank + stem;
        let at_stem = |share: f64, face: &'static str, bit: &'static str| {
            let (face, bit) = (self.size(face) / 2.0, self.size(bit) / 2.0);
            (shank + share * stem, face + share * (bit - face))
        };
        let (x, up) = at_stem(0.5, "shank_height", "bit_thickness");
        let (_, out) = at_stem(0.5, "shank_width", "bit_width");
        Some(match key {
            "overall_length" => Place::Side((x, -up)),
            "bowl_height" => bowl(-0.95 * wide, 0.5 * height),
            "bowl_diameter" | "bowl_roundness" | "bowl_section" => Place::Above((widest, wide)),
            "rim_diameter" => bowl(-rim, height),
            "heel_thickness" => bowl(0.0, floor / 2.0),
            "wall_thickness" => bowl((wide + chamber) / 2.0, 0.5 * height),
            "chamber_diameter" => Place::Above((above_rim + 0.7 * chamber, 0.7 * chamber)),
            "chamber_depth" => bowl(0.0, floor),
            "cant_angle" => bowl(0.0, height),
            "bowl_wall_straightness" | "bowl_wall_angle" | "bowl_wall_back" => {
                bowl(0.97 * wide, 0.6 * height)
            }
            "bowl_wall_front" => bowl(-0.97 * wide, 0.6 * height),
            "bowl_wall_left" => Place::Above((widest, -wide)),
            "bowl_wall_right" => Place::Above((widest, wide)),
            "finish_lightness" | "finish_red_green" | "finish_yellow_blue" | "finish_colour" => {
                bowl(-0.5 * wide, 0.3 * height)
            }
            "shank_length" => Place::Side((0.5 * shank, self.size("shank_height") / 2.0)),
            "shank_width" | "shank_section" => {
                Place::Above((0.8 * shank, self.size("shank_width") / 2.0))
            }
            "shank_height" => Place::Side((0.95 * shank, -self.size("shank_height") / 2.0)),
            "mortise_diameter" => {
                Place::Side((shank - 0.3 * mortise, self.size("mortise_diameter") / 2.0))
            }
            "mortise_depth" => Place::Side((shank - mortise, 0.0)),
            "draught_diameter" => Place::Side((0.4 * (shank - mortise), 0.0)),
            "tenon_diameter" => Place::Side((
                shank - 0.6 * self.size("tenon_length"),
                -self.size("tenon_diameter") / 2.0,
            )),
            "tenon_length" => Place::Side((shank - self.size("tenon_length"), 0.0)),
            "stem_length" | "stem_top" | "stem_top_straightness" => Place::Side((x, up)),
            "stem_bottom" | "stem_bottom_straightness" => Place::Side((x, -up)),
            "stem_bore" => Place::Side((shank + 0.2 * stem, 0.0)),
            "stem_left" => Place::Above((x, -out)),
            "stem_right" => Place::Above((x, out)),
            "bit_width" => Place::Above((end - 2.5 * BUTTON, self.size("bit_width") / 2.0)),
            "bit_thickness" => Place::Side((end - 2.5 * BUTTON, self.size("bit_thickness") / 2.0)),
            "button_width" => Place::Above((end - BUTTON / 2.0, self.size("button_width") / 2.0)),
            "button_height" => Place::Side((end - BUTTON / 2.0, self.size("button_height") / 2.0)),
            "slot_width" => Place::Above((end, self.size("slot_width") / 2.0)),
            "slot_height" => Place::Side((end, 0.0)),
            _ => return None,
        })
    }
}
