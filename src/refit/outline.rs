//! The straight line under a traced outline: what lies between, station by station, and whether it should
//! come off.

use super::aim::Walls;
use super::known::{Known, NOTHING, Place, WALL};
use super::reason::Reason;
use crate::catalogue::{FeatureName, Material, Size, Terms, TraceKind};
use crate::form::stock::{Slopes, Stock, least_stock, least_stock_of_cone};
use crate::form::straightness::least_squares;
use crate::form::{FormError, Point};
use crate::table::Trace;
use crate::traced::{RegisteredOutline, STATIONS, outline_points};
use crate::verdict::{BandStation, Check, OutlineCheck, Piece, Verdict};

/// A difference that is seen and felt at the bench, in mm (common practice, no source).
pub const SEEN: f64 = 0.05;

/// The dimensions that volumes of outlines are made of.
pub(super) const ACROSS: [&str; 5] = [
    "bowl_diameter",
    "shank_width",
    "shank_height",
    "bit_width",
    "bit_thickness",
];

/// The dimensions that lie across two walls which face each other.
pub(super) const DIAMETERS: [&str; 2] = ["bowl_diameter", "rim_diameter"];

/// Each of four walls is so much of the bowl's round.
const QUARTER: f64 = 0.25;

/// The mean lean of the walls; that of a target stays where good pieces' is.
const WALL_ANGLE: &str = "bowl_wall_angle";

/// One outline and what comes off it.
#[derive(Clone, Debug, PartialEq)]
pub struct OutlineStock {
    /// What was traced: `bowl_wall_left`.
    pub feature: FeatureName,
    /// The verdict on the outline, where good pieces were traced there as well.
    pub verdict: Option<Verdict>,
    /// Outline and target line, or why there is none.
    pub stock: Result<OutlineWork, FormError>,
    /// Why it is left alone; `None` where taking it down is advised.
    pub reason: Option<OutlineReason>,
}

impl OutlineStock {
    /// Whether it stands out and must not be taken down.
    pub fn is_refused(&self) -> bool {
        matches!(self.reason, Some(OutlineReason::Refused(_)))
    }

    /// Whether it stands out and stays as it is.
    pub fn is_left_alone(&self) -> bool {
        let stands_out = self.verdict.is_some_and(Verdict::stands_out);
        self.is_refused() || (stands_out && !self.is_advised())
    }

    /// Whether taking it down is advised.
    pub fn is_advised(&self) -> bool {
        self.stock.is_ok() && self.reason.is_none()
    }

    /// Whether making it straight puts that dimension right.
    pub(super) fn tells(&self, dimension: &str) -> bool {
        let key = &self.feature.feature.key;
        Part::of(key).is_some_and(|part| {
            part.straightness(key) == Some(dimension)
                || (part == Part::Wall && dimension == WALL_ANGLE)
        })
    }
}

/// An outline with a target.
#[derive(Clone, Debug, PartialEq)]
pub struct OutlineWork {
    /// Outline, target line and the area between them, in mm and mm2.
    pub stock: Stock,
    /// Where the outlines of good pieces lie, in the coordinates of the trace: station, low and high, in mm;
    /// empty where none were traced.
    pub band: Vec<[f64; 3]>,
    /// How it moves sizes, by their keys, in mm: each where it is measured.
    pub moves: Terms,
    /// The same for what must remain: each where most of it is lost.
    pub thins: Terms,
    /// Of a stem: what is left over the bore where it is least along the line, by this work alone, in mm; `None`
    /// where bit, bore or the line on the other side are not known.
    pub over_bore: Option<f64>,
    /// Volume in mm3.
    pub volume: f64,
    /// Weight in g.
    pub weight: f64,
    /// Keys of the dimensions that these are made of; one that was not measured is taken as usual.
    pub across: Vec<&'static str>,
}

impl OutlineWork {
    /// Where good pieces lie at a station, in the coordinates of the trace.
    pub fn band_at(&self, station: f64) -> Option<(f64, f64)> {
        let next = self.band.partition_point(|b| b[0] < station);
        let after = self.band.get(next)?;
        let before = match next.checked_sub(1) {
            Some(at) => &self.band[at],
            // The first station itself.
            None => return (after[0] <= station).then_some((after[1], after[2])),
        };
        let share = (station - before[0]) / (after[0] - before[0]);
        let at = |i: usize| before[i] + share * (after[i] - before[i]);
        Some((at(1), at(2)))
    }

    /// Where the target leaves the outlines of good pieces most, and by how much, in mm: straight as they are,
    /// but thinner. `None` where it stays among them.
    pub fn below_good(&self) -> Option<(f64, f64)> {
        // Between its stations the band is as straight as the line: nowhere more than at one of them.
        let all = self.band.iter();
        let all = all.map(|&[at, low, _]| (at, low - self.stock.target(at)));
        let most = all.max_by(|a, b| a.1.total_cmp(&b.1));
        most.filter(|(_, by)| *by > SEEN)
    }

    /// What comes off at the first and at the last station, in mm.
    pub fn at_ends(&self) -> (f64, f64) {
        let outline = &self.stock.outline;
        let of = |point: Option<&Point>| point.map_or(0.0, |&p| self.stock.take_off(p));
        (of(outline.first()), of(outline.last()))
    }
}

/// Why an outline is left alone.
#[derive(Clone, Debug, PartialEq)]
pub enum OutlineReason {
    /// It is inside the band of the good pieces, and as straight as they are.
    LikeGoodOnes,
    /// It could not be laid on outlines of good pieces, so nobody knows whether it is straight on this pattern.
    NothingToCompare,
    /// The good pieces' outlines are not straight there.
    NotStraightHere,
    /// Something else, as with sizes.
    Refused(Reason),
}

impl OutlineReason {
    /// The name used in tables and JSON.
    pub fn name(&self) -> &'static str {
        match self {
            OutlineReason::LikeGoodOnes => "like_good_ones",
            OutlineReason::NothingToCompare => "nothing_to_compare",
            OutlineReason::NotStraightHere => "not_straight_here",
            OutlineReason::Refused(reason) => reason.name(),
        }
    }
}

impl std::fmt::Display for OutlineReason {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            OutlineReason::LikeGoodOnes => f.write_str("as the good pieces are"),
            OutlineReason::NothingToCompare => f.write_str(
                "it could not be laid on good pieces' (too few of them, too few points, or a long gap), so \
                 nobody knows whether it should be straight",
            ),
            OutlineReason::NotStraightHere => {
                f.write_str("the good pieces of this pattern are not straight there")
            }
            OutlineReason::Refused(reason) => reason.fmt(f),
        }
    }
}

/// The outlines of a piece, and what should come off each as far as it can be told without the other works.
///
/// # Method
/// A line that is nowhere above the outline and takes least off it ([`crate::form::stock`]); the lean of a
/// bowl wall stays in the range of the good pieces' wall angle, where that is known. Of several traces of one
/// feature the last repeat is the piece as it is.
///
/// An outline should come down where good pieces are straight there (a straight line lies in their band), this
/// one is out of norm or borderline, in its band or by its straightness, and there is too much of it: the line
/// stays among the good pieces, or sizes tell so ([`Part::is_too_high`]).
pub(super) fn outlines(
    piece: &Piece<'_>,
    check: &Check,
    known: &Known<'_>,
    walls: Walls,
) -> Vec<OutlineStock> {
    let traces = latest(piece.traces());
    let points: Vec<Result<Vec<Point>, FormError>> =
        traces.iter().map(|trace| outline_points(trace)).collect();
    let slopes = wall_slopes(piece, check);
    let bowl = known.place("bowl_diameter").map(|place| place.value);
    let mut cone = match walls {
        Walls::Alone => Vec::new(),
        Walls::Cone => shared(&traces, &points, slopes, bowl),
    };
    let lines = traces.iter().zip(&points).filter_map(|(trace, points)| {
        let part = Part::of(&trace.feature.feature.key)?;
        let name = trace.feature.to_string();
        let slopes = if part == Part::Wall {
            slopes
        } else {
            Slopes::ANY
        };
        let stock = match cone.iter().position(|c| c.0 == name) {
            Some(at) => Ok(cone.swap_remove(at).1),
            _ => points
                .clone()
                .and_then(|points| least_stock(&points, slopes)),
        };
        Some((*trace, part, stock))
    });
    let lines: Vec<(&Trace, Part, Result<Stock, FormError>)> = lines.collect();
    let line_of = |key: &str| -> Option<&[Point]> {
        let mut all = lines.iter();
        let (.., stock) = all.find(|(trace, ..)| trace.feature.feature.key == key)?;
        stock.as_ref().ok().map(|stock| &*stock.outline)
    };
    let mut outlines = Vec::new();
    for (trace, part, stock) in &lines {
        let name = trace.feature.to_string();
        let band = check.outlines.iter().find(|o| o.feature == name);
        let other = Part::across_bore(&trace.feature.feature.key);
        let line = stock.as_ref().ok().map(|stock| &stock.outline);
        let other_line = other.and_then(line_of);
        let other_line = other_line.filter(|other| line.is_some_and(|own| runs_along(other, own)));
        let stock = stock.clone();
        let stock = stock.map(|stock| work(known, *part, stock, other_line, band));
        let reason = match &stock {
            Ok(work) => reason(known, check, *part, &trace.feature, work, band).or_else(|| {
                let key = other?;
                beside_bore(key, other_line, work).map(OutlineReason::Refused)
            }),
            // The fault of its points tells why.
            Err(_) => None,
        };
        outlines.push(OutlineStock {
            feature: trace.feature.clone(),
            verdict: band.map(|o| o.verdict),
            stock,
            reason,
        });
    }
    outlines
}

/// What part of a pipe an outline runs along.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part {
    Wall,
    /// Top or bottom of a stem.
    StemFlat,
    /// A side of a stem.
    StemSide,
}

impl Part {
    fn of(key: &str) -> Option<Part> {
        match key {
            "stem_top" | "stem_bottom" => Some(Part::StemFlat),
            "stem_left" | "stem_right" => Some(Part::StemSide),
            "bowl_wall_front" | "bowl_wall_back" | "bowl_wall_left" | "bowl_wall_right" => {
                Some(Part::Wall)
            }
            _ => None,
        }
    }

    /// The size of the bit that gets less by what comes off a stem.
    fn bit(self) -> &'static str {
        match self {
            Part::StemSide => "bit_width",
            Part::StemFlat | Part::Wall => "bit_thickness",
        }
    }

    /// The sizes that it is part of.
    fn sizes(self) -> &'static [&'static str] {
        match self {
            Part::Wall => &[WALL, "bowl_diameter", "rim_diameter"],
            Part::StemFlat => &["bit_thickness", "shank_height"],
            Part::StemSide => &["bit_width", "shank_width"],
        }
    }

    /// Whether sizes say that an outline which strays from good ones is too high where it is higher, not too low
    /// where it is lower: the outlines alone do not tell, since they are laid on one another.
    ///
    /// A stem whose ends are no thinner than those of good pieces, which are straight, is too high between them:
    /// so far as the line does not run below these ends, where it is too thin between them instead. What it takes off
    /// an end must be too large there. Of a wall some size must be too large by as much as good ones would be
    /// thicker, `by` in mm.
    fn is_too_high(self, known: &Known<'_>, work: &OutlineWork, by: f64) -> bool {
        let places = |keys: &[&str]| -> Vec<&Place> {
            keys.iter().filter_map(|key| known.place(key)).collect()
        };
        let too_large = |place: &&Place, by: f64| {
            let excess = place.centre.map(|centre| place.value - centre);
            place.is_too_much() && excess.is_some_and(|mm| mm >= by)
        };
        let as_good = |keys: &[&str], loss: f64| {
            let end = places(keys);
            let mut decided = end.iter().filter(|place| place.good.is_some()).peekable();
            decided.peek().is_some()
                && decided.all(|place| !place.is_too_little())
                && (loss <= SEEN || end.iter().any(|place| too_large(place, loss)))
        };
        let (face, bit) = work.at_ends();
        match self {
            Part::Wall => places(self.sizes())
                .iter()
                .any(|place| too_large(place, by)),
            Part::StemFlat => {
                as_good(&["bit_thickness"], bit) && as_good(&["shank_height", "shank_width"], face)
            }
            Part::StemSide => as_good(&["bit_width"], bit) && as_good(&["shank_width"], face),
        }
    }

    /// The size of the shank that must follow where the stem meets it.
    fn face(self) -> Option<&'static str> {
        match self {
            Part::Wall => None,
            Part::StemFlat => Some("shank_height"),
            Part::StemSide => Some("shank_width"),
        }
    }

    /// How it moves them, in mm. Each loses what comes off where it is measured: a wall half way up, a bowl where
    /// it is widest, rim and bit at the end.
    fn moves(self, stock: &Stock) -> Terms {
        let outline = &stock.outline;
        let ends = (outline[0].x, outline[outline.len() - 1].x);
        let at = |x: f64| {
            let y = height_at(outline, x);
            stock.take_off(Point { x, y })
        };
        let widest = |height: &dyn Fn(&Point) -> f64| {
            outline.iter().map(height).fold(f64::NEG_INFINITY, f64::max)
        };
        self.terms(|key| match key {
            WALL => at(0.5 * (ends.0 + ends.1)),
            "bowl_diameter" => widest(&|p| p.y) - widest(&|p| stock.target(p.x)),
            // Less is no step that the shank would have to follow.
            _ if Some(key) == self.face() => {
                Some(at(ends.0)).filter(|mm| *mm > SEEN).unwrap_or(0.0)
            }
            _ => at(ends.1),
        })
    }

    /// The same for what must remain: a wall where most comes off, a bit where the stem gets thinnest.
    fn thins(self, known: &Known<'_>, stock: &Stock, other: Option<&[Point]>) -> Terms {
        let moves = self.moves(stock);
        self.terms(|key| match key {
            WALL => stock.deepest().1,
            _ if key == self.bit() => self.below_bit(known, stock, other),
            _ => {
                let found = moves.iter().find(|(of, _)| of == key);
                found.map_or(0.0, |(_, mm)| -mm)
            }
        })
    }

    /// The sizes that lose something.
    fn terms(self, loss: impl Fn(&str) -> f64) -> Terms {
        let all = self.sizes().iter();
        let all = all.map(|key| ((*key).to_owned(), -loss(key).max(0.0)));
        all.filter(|(_, mm)| *mm != 0.0).collect()
    }

    /// By how much half the stem, from the middle of its bore to its target line, is at most less anywhere along
    /// the line than half the bit is now.
    ///
    /// The stem is taken to grow evenly from the bit to the shank's size at the face; where that size was
    /// not measured, not to grow at all. The bore is taken to run in the middle of the stem as it is: where the
    /// line of the other side goes in as this one goes out, the stem is bent and the bore with it.
    fn below_bit(self, known: &Known<'_>, stock: &Stock, other: Option<&[Point]>) -> f64 {
        let size = |key: &str| known.place(key).map(|place| place.value);
        let face = match self {
            Part::StemSide => size("shank_width"),
            _ => size("shank_height").or_else(|| size("shank_width")),
        };
        let grows = face
            .zip(size(self.bit()))
            .map_or(0.0, |(face, bit)| 0.5 * (face - bit));
        let outline = &stock.outline;
        let (first, last) = (outline[0], outline[outline.len() - 1]);
        let share = |x: f64| (last.x - x) / (last.x - first.x);
        let thinner = outline.iter().map(|&p| {
            let out = above_chord(outline, p.x);
            let bend = other.map_or(0.0, |other| 0.5 * (out - above_chord(other, p.x)));
            stock.take_off(p) - out + bend - share(p.x) * grows.max(0.0)
        });
        thinner.fold(f64::NEG_INFINITY, f64::max)
    }

    /// What is left over the bore where it is least along the line.
    fn over_bore(self, known: &Known<'_>, stock: &Stock, other: Option<&[Point]>) -> Option<f64> {
        let size = |key: &str| known.place(key).map(|place| place.value);
        let (bit, bore) = (size(self.bit())?, size("stem_bore")?);
        other.filter(|_| self != Part::Wall)?;
        Some(0.5 * (bit - bore) - self.below_bit(known, stock, other))
    }

    /// The feature on the other side of the bore.
    fn across_bore(key: &str) -> Option<&'static str> {
        match key {
            "stem_top" => Some("stem_bottom"),
            "stem_bottom" => Some("stem_top"),
            "stem_left" => Some("stem_right"),
            "stem_right" => Some("stem_left"),
            _ => None,
        }
    }

    /// The dimension that tells how straight it is, of that feature.
    fn straightness(self, key: &str) -> Option<&'static str> {
        match (self, key) {
            (Part::Wall, _) => Some("bowl_wall_straightness"),
            (_, "stem_top") => Some("stem_top_straightness"),
            (_, "stem_bottom") => Some("stem_bottom_straightness"),
            _ => None,
        }
    }
}

/// The outlines among some traces, each feature once: its last repeat.
fn latest<'t>(traces: impl Iterator<Item = &'t Trace>) -> Vec<&'t Trace> {
    let mut latest: Vec<&Trace> = Vec::new();
    for trace in traces.filter(|t| t.feature.feature.kind == TraceKind::Outline) {
        match latest.iter_mut().find(|t| t.feature == trace.feature) {
            Some(known) if known.repeat <= trace.repeat => *known = trace,
            Some(_) => {}
            None => latest.push(trace),
        }
    }
    latest
}

/// Slopes of a wall whose angle is that of good pieces.
fn wall_slopes(piece: &Piece<'_>, check: &Check) -> Slopes {
    let angle = piece.table.catalogue.find(WALL_ANGLE);
    let judged = check.dimensions.iter().find(|d| Some(d.dimension) == angle);
    let range = judged.and_then(|d| d.judged).map(|j| j.good_sizes);
    // 45 degrees and more is no wall; nothing is known of one then.
    match range.filter(|r| r.low > -45.0 && r.high < 45.0) {
        Some(range) => Slopes {
            from: range.low.to_radians().tan(),
            to: range.high.to_radians().tan(),
        },
        None => Slopes::ANY,
    }
}

/// The walls that are made one cone, by name.
fn shared(
    traces: &[&Trace],
    points: &[Result<Vec<Point>, FormError>],
    slopes: Slopes,
    bowl: Option<f64>,
) -> Vec<(String, Stock)> {
    let both = traces.iter().zip(points);
    let of_walls = both.filter(|(t, _)| Part::of(&t.feature.feature.key) == Some(Part::Wall));
    let usable = |(trace, points): (&&Trace, &Result<Vec<Point>, FormError>)| {
        let points = points.clone().ok()?;
        // One that cannot be told alone would take the others with it.
        least_stock(&points, Slopes::ANY).ok()?;
        // A line beside the bowl may lean otherwise than its axis.
        if !reads_from_axis(&points, bowl?) {
            return None;
        }
        Some((trace.feature.to_string(), points))
    };
    let (names, walls): (Vec<String>, Vec<Vec<Point>>) = of_walls.filter_map(usable).unzip();
    match least_stock_of_cone(&walls, slopes) {
        Ok(all) => names.into_iter().zip(all).collect(),
        Err(_) => Vec::new(),
    }
}

fn work(
    known: &Known<'_>,
    part: Part,
    stock: Stock,
    other: Option<&[Point]>,
    band: Option<&OutlineCheck>,
) -> OutlineWork {
    let (volume, across) = volume(known, part, &stock);
    let density = match part {
        Part::Wall => Material::Briar.density(),
        Part::StemFlat | Part::StemSide => Material::Stem.density(),
    };
    let band = band.map_or(Vec::new(), |check| placed_band(check, &stock));
    OutlineWork {
        band,
        moves: part.moves(&stock),
        thins: part.thins(known, &stock, other),
        over_bore: part.over_bore(known, &stock, other),
        volume,
        weight: volume * density,
        across,
        stock,
    }
}

/// Volume that comes off, in mm3: a quarter of a bowl's round for a wall, straight across for a stem; and the
/// keys of the dimensions that it is made of.
fn volume(known: &Known<'_>, part: Part, stock: &Stock) -> (f64, Vec<&'static str>) {
    let size = |key: &str| known.size(&Size::Of(key.to_owned()));
    match part {
        Part::Wall => {
            let bowl = size("bowl_diameter");
            let volume = match reads_from_axis(&stock.outline, bowl) {
                true => stock.volume_of_revolution(QUARTER),
                false => {
                    let girth = QUARTER * std::f64::consts::PI * bowl;
                    stock.volume_of_width(girth, girth)
                }
            };
            (volume, vec!["bowl_diameter"])
        }
        // The other way across: wide for top and bottom, high for the sides.
        Part::StemFlat => {
            let (face, bit) = ("shank_width", "bit_width");
            (
                stock.volume_of_width(size(face), size(bit)),
                vec![face, bit],
            )
        }
        Part::StemSide => {
            let face = match known.place("shank_height") {
                Some(_) => "shank_height",
                None => "shank_width",
            };
            let bit = "bit_thickness";
            (
                stock.volume_of_width(size(face), size(bit)),
                vec![face, bit],
            )
        }
    }
}

/// Whether a wall was read from the bowl's axis: about half a bowl at its farthest. From a line beside the
/// bowl it reads less.
fn reads_from_axis(outline: &[Point], bowl_diameter: f64) -> bool {
    let farthest = outline.iter().map(|p| p.y).fold(0.0, f64::max);
    (farthest / (0.5 * bowl_diameter) - 1.0).abs() <= 0.25
}

/// The band in the coordinates of the trace. It is told above a line that lies with the piece: that line is
/// found again, by least squares, from the outline as traced and its heights above it.
fn placed_band(check: &OutlineCheck, stock: &Stock) -> Vec<[f64; 3]> {
    let own = |s: &BandStation| Point {
        x: s.station,
        y: height_at(&stock.outline, s.station) - s.height,
    };
    let line: Vec<Point> = check.stations.iter().map(own).collect();
    let Ok(line) = least_squares(&line) else {
        return Vec::new();
    };
    let placed = check.stations.iter().map(|s| {
        let at = line.intercept + line.slope * s.station;
        [s.station, at + s.low, at + s.high]
    });
    placed.collect()
}

/// Height of an outline at a station, straight between its points.
fn height_at(outline: &[Point], station: f64) -> f64 {
    let next = outline.partition_point(|p| p.x < station);
    let next = next.clamp(1, outline.len() - 1);
    let (a, b) = (outline[next - 1], outline[next]);
    a.y + (b.y - a.y) * (station - a.x) / (b.x - a.x)
}

fn reason(
    known: &Known<'_>,
    check: &Check,
    part: Part,
    feature: &FeatureName,
    work: &OutlineWork,
    band: Option<&OutlineCheck>,
) -> Option<OutlineReason> {
    let Some(band) = band else {
        return Some(OutlineReason::NothingToCompare);
    };
    if work.stock.deepest().1 <= NOTHING {
        return Some(OutlineReason::LikeGoodOnes);
    }
    if !is_straight_here(band) {
        return Some(OutlineReason::NotStraightHere);
    }
    let by_straightness = part.straightness(&feature.feature.key).is_some_and(|key| {
        let at = known.catalogue.find(key);
        let own = check.dimensions.iter().find(|d| Some(d.dimension) == at);
        // The dimension is that of the worst wall: of the others only the band tells.
        let worst = part != Part::Wall || is_worst_wall(check, band);
        worst
            && own
                .is_some_and(|d| d.verdict.stands_out() && d.judged.is_some_and(|j| j.score > 0.0))
    });
    if !band.verdict.stands_out() && !by_straightness {
        return Some(OutlineReason::LikeGoodOnes);
    }
    let thinner = work.below_good();
    let unsure = thinner.filter(|&(_, by)| !part.is_too_high(known, work, by));
    unsure.map(|(at, by)| OutlineReason::Refused(Reason::TooThin { by, at }))
}

/// Why the line of a stem stays, by the line on the other side of the bore (`key`): not known, or going in where
/// this one goes out.
fn beside_bore(key: &str, other: Option<&[Point]>, work: &OutlineWork) -> Option<Reason> {
    let Some(other) = other else {
        return Some(Reason::MeasureFirst {
            dimensions: vec![format!(
                "the line of the {} (a trace)",
                key.replace('_', " ")
            )],
            floor: "wall over the bore".to_owned(),
        });
    };
    let outline = &work.stock.outline;
    let (at, _) = work.stock.deepest();
    let (out, across) = (above_chord(outline, at), above_chord(other, at));
    (out > SEEN && across < -0.5 * out).then_some(Reason::Bent { out, at })
}

/// Whether a line runs along another but for a tenth of its length at either end.
fn runs_along(line: &[Point], other: &[Point]) -> bool {
    let ends = |line: &[Point]| (line[0].x, line[line.len() - 1].x);
    let ((from, to), (first, last)) = (ends(line), ends(other));
    let tenth = 0.1 * (last - first);
    from <= first + tenth && to >= last - tenth
}

/// How far an outline lies above the straight line through its ends, at a station; beyond them not at all.
fn above_chord(outline: &[Point], station: f64) -> f64 {
    let (first, last) = (outline[0], outline[outline.len() - 1]);
    let station = station.clamp(first.x, last.x);
    let share = (station - first.x) / (last.x - first.x);
    height_at(outline, station) - (first.y + share * (last.y - first.y))
}

/// Whether a straight line lies in the band of the good pieces, laid on them as their own outlines are.
fn is_straight_here(band: &OutlineCheck) -> bool {
    let ends = band.stations.first().zip(band.stations.last());
    let straight = RegisteredOutline {
        between: ends.map_or((0.0, 0.0), |(a, b)| (a.station, b.station)),
        heights: vec![0.0; STATIONS],
        uncertainty: 0.0,
    };
    let centres: Vec<f64> = band.stations.iter().map(|s| s.centre).collect();
    let laid = straight.laid_on(&centres);
    let mut both = band.stations.iter().zip(&laid.heights);
    both.all(|(s, &height)| s.low <= height && height <= s.high)
}

/// Whether no other wall strays further from its band's centre.
fn is_worst_wall(check: &Check, band: &OutlineCheck) -> bool {
    let walls = check.outlines.iter();
    let mut walls = walls.filter(|o| o.feature.starts_with("bowl_wall_"));
    walls.all(|other| other.p >= band.p)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{Catalogue, Feature, Workshop};

    fn stock(of: &[(f64, f64)]) -> Stock {
        let points: Vec<Point> = of.iter().map(|&(x, y)| Point { x, y }).collect();
        least_stock(&points, Slopes::ANY).unwrap()
    }

    #[test]
    fn every_outline_that_is_planned_has_a_way_to_be_straightened() {
        let workshop = Workshop::new(&Catalogue::standard(), None, None).unwrap();
        let ways = || workshop.straightenings.iter().flat_map(|way| &way.features);
        for feature in Feature::standard() {
            let known = Part::of(&feature.key).is_some();
            assert_eq!(
                known,
                ways().any(|key| *key == feature.key),
                "{}",
                feature.key
            );
        }
        // A name of one's own: nobody knows what it runs along.
        assert_eq!(Part::of("bowl_wall_inner_outline"), None);
    }

    /// Between two points of the outline good ones may be thicker as well.
    #[test]
    fn the_thickest_of_the_good_ones_is_met_wherever_it_is() {
        let work = OutlineWork {
            stock: stock(&[(0.0, 1.0), (10.0, 1.0)]),
            band: vec![[0.0, 0.0, 2.0], [4.0, 1.5, 3.0], [10.0, 0.0, 2.0]],
            moves: Vec::new(),
            thins: Vec::new(),
            over_bore: None,
            volume: 0.0,
            weight: 0.0,
            across: Vec::new(),
        };
        assert_eq!(work.below_good(), Some((4.0, 0.5)));
        let band = vec![[0.0, 0.0, 2.0], [4.0, 1.0 + 0.9 * SEEN, 3.0]];
        assert_eq!(OutlineWork { band, ..work }.below_good(), None);
    }

    /// In closed form: a quarter of the ring between two cylinders of radius 20 and 19, and a wedge of rubber.
    #[test]
    fn volumes_are_those_of_their_shapes() {
        let wall = Stock {
            intercept: 19.0,
            ..stock(&[(0.0, 20.0), (40.0, 20.0)])
        };
        assert!(
            (wall.volume_of_revolution(QUARTER) - 0.25 * std::f64::consts::PI * 39.0 * 40.0).abs()
                < 1e-9
        );
        // 14 wide at the face, 16 at the bit, from 0 to 1 thick: integral of (14 + 2 t) t over 60 mm.
        let stem = Stock {
            intercept: 6.0,
            slope: -0.1 - 1.0 / 60.0,
            ..stock(&[(0.0, 6.0), (60.0, 0.0)])
        };
        assert!((stem.volume_of_width(14.0, 16.0) - 60.0 * (7.0 + 2.0 / 3.0)).abs() < 1e-9);
    }

    /// In closed form: a hump of 1 mm in the middle, and a slope of 0.1 that begins at the far end.
    #[test]
    fn each_size_loses_what_comes_off_where_it_is_measured() {
        let hump = stock(&[(0.0, 10.0), (20.0, 13.0), (40.0, 14.0)]);
        assert_eq!(Part::Wall.moves(&hump), [(WALL.to_owned(), -1.0)]);
        // The line runs on from the first 30 mm; the rim is the widest place as well.
        let flare = stock(&[(0.0, 10.0), (30.0, 13.0), (40.0, 16.0)]);
        let lost = Part::Wall.moves(&flare);
        let keys: Vec<&str> = lost.iter().map(|(key, _)| key.as_str()).collect();
        assert_eq!(keys, ["bowl_diameter", "rim_diameter"]);
        assert!(
            lost.iter().all(|(_, mm)| (mm + 2.0).abs() < 1e-12),
            "{lost:?}"
        );
        // Of a stem the first station is the face: the shank follows a step that is seen.
        for (step, seen) in [(2.0 * SEEN, true), (0.5 * SEEN, false)] {
            let face = stock(&[(0.0, 7.0 + step), (5.0, 6.5), (60.0, 1.0)]);
            let lost = Part::StemFlat.moves(&face);
            assert_eq!(
                lost.iter().any(|(key, _)| key == "shank_height"),
                seen,
                "{lost:?}"
            );
            let lost = Part::StemSide.moves(&face);
            assert_eq!(
                lost.iter().any(|(key, _)| key == "shank_width"),
                seen,
                "{lost:?}"
            );
        }
    }
}
