//! What comes off to make a traced outline straight: the material between the outline as found and a target
//! line below it, station by station.

use super::known::Known;
use super::reason::{Contradiction, Obstacle, Reason};
use crate::catalogue::{
    FeatureName, Floor, FloorKind, Material, Precaution, TraceKind, Workshop, precautions,
};
use crate::form::stock::{Slopes, Stock, least_stock, least_stock_of_cone};
use crate::form::straightness::least_squares;
use crate::form::{FormError, Point};
use crate::norm::{Evidence, Settings};
use crate::table::{Table, Trace};
use crate::traced::{RegisteredOutline, STATIONS, outline_points};
use crate::verdict::{BandStation, Check, OutlineCheck, Piece, Verdict, check, check_against};

/// How the walls of a bowl are made straight.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Walls {
    /// Each by itself, to the straight line that takes least off it.
    #[default]
    Alone,
    /// All together, to one cone: lines of the same lean.
    Cone,
}

/// The outlines of one piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlines {
    /// The verdict on the piece as it is.
    pub check: Check,
    /// Its traced outlines that a tool can straighten, in the order of the traces.
    pub outlines: Vec<OutlineStock>,
    /// Readings of the piece that cannot all be right.
    pub contradictions: Vec<Contradiction>,
    /// What to mind, the general first; none where nothing is to be taken off.
    pub precautions: Vec<Precaution>,
}

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

    /// Whether taking it down is advised.
    pub fn is_advised(&self) -> bool {
        self.stock.is_ok() && self.reason.is_none()
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
    /// What it is taken off.
    pub material: Material,
    /// Volume in mm3 and weight in g, where the sizes across were measured.
    pub volume: Option<(f64, f64)>,
    /// Thicknesses that must remain and get less.
    pub floors: Vec<OutlineFloor>,
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

    /// What comes off at the first and at the last station, in mm.
    pub fn at_ends(&self) -> (f64, f64) {
        let outline = &self.stock.outline;
        let of = |point: Option<&Point>| point.map_or(0.0, |&p| self.stock.take_off(p));
        (of(outline.first()), of(outline.last()))
    }
}

/// A thickness that gets less.
#[derive(Clone, Debug, PartialEq)]
pub struct OutlineFloor {
    /// Its key in the table of floors.
    pub key: String,
    /// Its name.
    pub label: String,
    /// As found, in mm.
    pub found: f64,
    /// In the end, in mm: where most comes off, all of it from this one side.
    pub left: f64,
    /// What must remain, in mm.
    pub least: f64,
}

/// Why an outline is left alone.
#[derive(Clone, Debug, PartialEq)]
pub enum OutlineReason {
    /// It is inside the band of the good pieces, and as straight as they are.
    LikeGoodOnes,
    /// No good pieces were traced there, so nobody knows whether it is straight on this pattern.
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
                "no good pieces were traced there, so nobody knows whether it should be straight",
            ),
            OutlineReason::NotStraightHere => {
                f.write_str("the good pieces of this pattern are not straight there")
            }
            OutlineReason::Refused(reason) => reason.fmt(f),
        }
    }
}

/// What comes off the outlines of a piece of the cohort's own table.
pub fn outlines(
    evidence: &Evidence<'_>,
    row: usize,
    settings: &Settings,
    workshop: &Workshop,
    walls: Walls,
) -> Outlines {
    let check = check(evidence, row, settings);
    of_piece(&Piece::of_cohort(evidence, row), check, workshop, walls)
}

/// What comes off the outlines of a piece of another table.
pub fn outlines_against(
    evidence: &Evidence<'_>,
    table: &Table,
    row: usize,
    settings: &Settings,
    workshop: &Workshop,
    walls: Walls,
) -> Outlines {
    let check = check_against(evidence, table, row, settings);
    let piece = Piece::of_another(evidence, table, row);
    of_piece(&piece, check, workshop, walls)
}

/// # Method
/// A line that is nowhere above the outline and takes least off it ([`crate::form::stock`]); the lean of a
/// bowl wall stays in the range of the good pieces' wall angle, where that is known. Of several traces of one
/// feature the last repeat is the piece as it is.
///
/// An outline is taken down where good pieces are straight there (a straight line lies in their band) and this
/// one is out of norm or borderline, in its band or by its straightness.
fn of_piece(piece: &Piece<'_>, check: Check, workshop: &Workshop, walls: Walls) -> Outlines {
    let known = Known::new(piece, &check, workshop);
    let traces = latest(piece.traces());
    let points: Vec<Result<Vec<Point>, FormError>> =
        traces.iter().map(|trace| outline_points(trace)).collect();
    let slopes = wall_slopes(piece, &check);
    let bowl = known.place("bowl_diameter").map(|place| place.value);
    let mut cone = match walls {
        Walls::Alone => Vec::new(),
        Walls::Cone => shared(&traces, &points, slopes, bowl),
    };
    let mut outlines = Vec::new();
    for (trace, points) in traces.into_iter().zip(points) {
        let Some(part) = Part::of(&trace.feature.feature.key) else {
            continue;
        };
        let name = trace.feature.to_string();
        let band = check.outlines.iter().find(|o| o.feature == name);
        let stock = points.and_then(|points| match cone.iter().position(|c| c.0 == name) {
            Some(at) => Ok(cone.swap_remove(at).1),
            None if part == Part::Wall => least_stock(&points, slopes),
            None => least_stock(&points, Slopes::ANY),
        });
        let stock = stock.map(|stock| work(&known, part, stock, band));
        let reason = match &stock {
            Ok(work) => reason(&known, &check, part, &trace.feature, work, band),
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
    let advised = outlines
        .iter()
        .filter(|o| o.stock.is_ok() && o.reason.is_none());
    let materials = advised.filter_map(|o| o.stock.as_ref().ok().map(|work| work.material));
    let precautions = to_mind(materials.collect());
    Outlines {
        outlines,
        contradictions: known.contradictions,
        precautions,
        check,
    }
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
            wall if wall.starts_with("bowl_wall_") => Some(Part::Wall),
            _ => None,
        }
    }

    fn material(self) -> Material {
        match self {
            Part::Wall => Material::Briar,
            Part::StemFlat | Part::StemSide => Material::Stem,
        }
    }

    /// The dimension that gets less by what comes off.
    fn thins(self) -> &'static str {
        match self {
            Part::Wall => "wall_thickness",
            Part::StemFlat => "bit_thickness",
            Part::StemSide => "bit_width",
        }
    }

    /// What a thickness loses to this outline, in mm: all of it comes from one side. `None` where it loses
    /// nothing.
    fn taken_from(self, known: &Known<'_>, floor: &Floor, stock: &Stock) -> Option<f64> {
        let of = match self.material() {
            Material::Briar => FloorKind::Briar,
            Material::Stem => FloorKind::Stem,
        };
        let has = |key: &str| {
            floor
                .made_of
                .iter()
                .any(|(of, factor)| of == key && *factor > 0.0)
        };
        match self {
            _ if floor.of != of => None,
            Part::Wall if has("wall_thickness") => Some(stock.deepest().1),
            Part::Wall if has("rim_diameter") => {
                Some(stock.outline.last().map_or(0.0, |&p| stock.take_off(p)))
            }
            Part::Wall => None,
            Part::StemFlat | Part::StemSide => {
                has(self.thins()).then(|| self.below_bit(known, stock))
            }
        }
    }

    /// By how much the stem, anywhere along its target line, is thinner on that side than the bit is now.
    ///
    /// The stem is taken to grow evenly from the bit to the shank's size at the face; where that size was
    /// not measured, not to grow at all. The bore is taken to run on as it is at the bit.
    fn below_bit(self, known: &Known<'_>, stock: &Stock) -> f64 {
        let size = |key: &str| known.place(key).map(|place| place.value);
        let face = match self {
            Part::StemSide => size("shank_width"),
            _ => size("shank_height").or_else(|| size("shank_width")),
        };
        let grows = face
            .zip(size(self.thins()))
            .map_or(0.0, |(face, bit)| 0.5 * (face - bit));
        let outline = &stock.outline;
        let (Some(first), Some(last)) = (outline.first(), outline.last()) else {
            return 0.0;
        };
        let share = |x: f64| (last.x - x) / (last.x - first.x);
        let chord = |x: f64| last.y + share(x) * (first.y - last.y);
        let thinner = outline
            .iter()
            .map(|p| chord(p.x) - stock.target(p.x) - share(p.x) * grows.max(0.0));
        thinner.fold(0.0, f64::max)
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
    let angle = piece.table.catalogue.find("bowl_wall_angle");
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

fn work(known: &Known<'_>, part: Part, stock: Stock, band: Option<&OutlineCheck>) -> OutlineWork {
    let volume = volume(known, part, &stock);
    let material = part.material();
    let band = band.map_or(Vec::new(), |check| placed_band(check, &stock));
    let floors = known.remains.iter().filter_map(|r| {
        let taken = part.taken_from(known, r.floor, &stock)?;
        let found = r.value?;
        Some(OutlineFloor {
            key: r.floor.key.clone(),
            label: r.floor.label.clone(),
            found,
            left: found - taken,
            least: r.floor.least,
        })
    });
    OutlineWork {
        band,
        material,
        volume: volume.map(|mm3| (mm3, mm3 * material.density())),
        floors: floors.collect(),
        stock,
    }
}

/// Volume that comes off: a quarter of a bowl's round for a wall, straight across for a stem.
fn volume(known: &Known<'_>, part: Part, stock: &Stock) -> Option<f64> {
    let size = |key: &str| known.place(key).map(|place| place.value);
    match part {
        Part::Wall => {
            let bowl = size("bowl_diameter")?;
            Some(match reads_from_axis(&stock.outline, bowl) {
                true => stock.volume_of_revolution(0.25),
                false => {
                    let girth = 0.25 * std::f64::consts::PI * bowl;
                    stock.volume_of_width(girth, girth)
                }
            })
        }
        // The other way across: wide for top and bottom, high for the sides.
        Part::StemFlat => Some(stock.volume_of_width(size("shank_width")?, size("bit_width")?)),
        Part::StemSide => {
            let face = size("shank_height").or_else(|| size("shank_width"))?;
            Some(stock.volume_of_width(face, size("bit_thickness")?))
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
    if !is_straight_here(band) {
        return Some(OutlineReason::NotStraightHere);
    }
    let stands_out = |v: Verdict| matches!(v, Verdict::OutOfNorm | Verdict::Borderline);
    let by_straightness = part.straightness(&feature.feature.key).is_some_and(|key| {
        let at = known.catalogue.find(key);
        let own = check.dimensions.iter().find(|d| Some(d.dimension) == at);
        // The dimension is that of the worst wall: of the others only the band tells.
        let worst = part != Part::Wall || is_worst_wall(check, band);
        worst
            && own.is_some_and(|d| stands_out(d.verdict) && d.judged.is_some_and(|j| j.score > 0.0))
    });
    if !stands_out(band.verdict) && !by_straightness {
        return Some(OutlineReason::LikeGoodOnes);
    }
    refusal(known, part, work).map(OutlineReason::Refused)
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

/// Why an outline that should be taken down must not be.
fn refusal(known: &Known<'_>, part: Part, work: &OutlineWork) -> Option<Reason> {
    let thins = part.thins();
    let of_key = |c: &&Contradiction| c.keys.iter().any(|key| key == thins);
    if let Some(contradiction) = known.contradictions.iter().find(of_key) {
        return Some(Reason::Contradiction(contradiction.clone()));
    }
    let unknown = known.remains.iter().find(|r| {
        let thinned = part
            .taken_from(known, r.floor, &work.stock)
            .is_some_and(|mm| mm > 0.0);
        thinned && r.floor.needed && r.value.is_none()
    });
    if let Some(unknown) = unknown {
        return Some(Reason::MeasureFirst {
            dimensions: unknown.missing.clone(),
            floor: unknown.floor.label.clone(),
        });
    }
    // What is too little already and gets no less is not this work's fault.
    let broken = work
        .floors
        .iter()
        .filter(|f| f.left < f.least && f.left < f.found);
    let obstacles: Vec<Obstacle> = broken
        .map(|f| Obstacle::Floor {
            key: f.key.clone(),
            label: f.label.clone(),
            left: f.left,
            least: f.least,
        })
        .collect();
    (!obstacles.is_empty()).then_some(Reason::Obstacles(obstacles))
}

/// What to mind with these materials, the general first; nothing where nothing comes off.
fn to_mind(materials: Vec<Material>) -> Vec<Precaution> {
    let keys = materials.iter().flat_map(|material| match material {
        Material::Briar => ["briar_dust", "blade", "burning_through", "finish"],
        Material::Stem => ["rubber_dust", "heat", "blade", "breaking_through"],
    });
    let keys: Vec<&str> = keys.collect();
    let concerned = |(at, p): &(usize, &Precaution)| {
        !keys.is_empty() && (*at == 0 || keys.contains(&p.key.as_str()))
    };
    let all = precautions().iter().enumerate().filter(concerned);
    all.map(|(_, p)| p.clone()).collect()
}
