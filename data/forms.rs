//! The second part of the invented world: traced outlines and sections of some of its pieces, and
//! the tables that hold them and the colours of `finishes.rs`. It draws from generators of its
//! own, so that the measurements stay as they are.
//!
//! Read it from the top: who is traced, what a bowl and a stem look like, how they are read, what
//! form they truly have, the tables. Lengths are in mm, angles in degrees.

use super::finishes::{TrueColour, colours};
use super::{
    BIT_THICKNESS, BOWL_DIAMETER, BOWL_HEIGHT, CONVEYOR_YEARS, Column, Draw, MM_PER_INCH, PATTERNS,
    Piece, Planted, RIM_DIAMETER, SCARCE_WOOD, SHANK_WIDTH, STEM_LENGTH, SeedableRng, Table,
    Xoshiro256PlusPlus, is_good, is_thin, plain_table, specimen, strings,
};

pub(super) const TRACES: &str = "sheets/traces.csv";
pub(super) const COLOURS: &str = "sheets/colours.csv";

const SEED_OF_FORMS: u64 = 1985;
const SEED_OF_COLOURS: u64 = 1986;

const BILLIARD: usize = 0;
const APPLE: usize = 1;
const CANTED_DUBLIN: usize = 5;

// ------------------------------------------------------------------------------ who is traced

pub(super) const SMOOTH: &str = "smooth";
/// Finish, and how many good billiards and apples of it are traced, and have their colour taken.
const SHARES_OF_FINISH: [(&str, usize, usize); 3] = [
    (SMOOTH, 12, 16),
    ("sandblasted", 4, 7),
    ("rusticated", 3, 5),
];
/// Billiards and apples of the poor period: so many of each.
const POOR: usize = 4;

/// A fault of form or colour put there on purpose.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Fault {
    ScoopedWall,
    Bulge,
    FiveSided,
    Elbow,
    OverPink,
}

/// Which of the good smooth pieces (from 0) gets which fault, among the billiards and again among
/// the apples.
const PLANTED_IN: [(Fault, usize); 5] = [
    (Fault::ScoopedWall, 1),
    (Fault::FiveSided, 3),
    (Fault::Elbow, 5),
    (Fault::Bulge, 7),
    (Fault::OverPink, 9),
];
/// All at once, in one canted dublin of the poor period.
const PLANTED_TOGETHER: [Fault; 4] = [
    Fault::ScoopedWall,
    Fault::Bulge,
    Fault::FiveSided,
    Fault::Elbow,
];

pub(super) struct Sample<'a> {
    pub(super) number: usize,
    pub(super) piece: &'a Piece,
    /// As the ledger writes it; the other sheets do not.
    pub(super) finish: Option<&'a str>,
    is_traced: bool,
    faults: Vec<Fault>,
}

impl<'a> Sample<'a> {
    /// A piece outside the collection, smooth.
    pub(super) fn of_bench(number: usize, piece: &'a Piece, faults: Vec<Fault>) -> Sample<'a> {
        Sample {
            number,
            piece,
            finish: Some(SMOOTH),
            is_traced: true,
            faults,
        }
    }
}

impl Sample<'_> {
    pub(super) fn has(&self, fault: Fault) -> bool {
        self.faults.contains(&fault)
    }

    fn is_grained(&self) -> bool {
        self.finish.is_some_and(|finish| finish != SMOOTH)
    }
}

/// All small-sample pieces but those of the unrated period; the first billiards and apples of the
/// ledger that are as they left the works, dated and without a planted size.
fn samples<'a>(pieces: &'a [Piece], planted: &[Planted], ledger: &'a Table) -> Vec<Sample<'a>> {
    let at = ledger.columns.iter().position(|c| c.name == "finish");
    let mut seen = [[0; SHARES_OF_FINISH.len()]; PATTERNS.len()];
    let mut poor_seen = [0; PATTERNS.len()];
    let mut together = Some(&PLANTED_TOGETHER);
    let mut samples = Vec::new();
    for (number, piece) in pieces.iter().enumerate() {
        let row = ledger.rows.get(number);
        let finish = row.zip(at).map(|(row, at)| row[at].as_str());
        let is_sound = piece.state == "factory"
            && piece.dating.recorded_period() == Some(piece.period)
            && planted.iter().all(|p| p.piece != number);
        let mut sample = Sample {
            number,
            piece,
            finish,
            is_traced: true,
            faults: Vec::new(),
        };
        if is_thin(piece.pattern) {
            if piece.period == SCARCE_WOOD {
                continue;
            }
            let is_poor_dublin =
                piece.pattern == CANTED_DUBLIN && piece.period == CONVEYOR_YEARS && is_sound;
            if is_poor_dublin && finish == Some(SMOOTH) {
                sample.faults.extend(together.take().into_iter().flatten());
            }
        } else if [BILLIARD, APPLE].contains(&piece.pattern) && is_sound {
            let kind = SHARES_OF_FINISH.iter().position(|f| Some(f.0) == finish);
            let Some(kind) = kind else { continue };
            if piece.period == CONVEYOR_YEARS && poor_seen[piece.pattern] < POOR {
                poor_seen[piece.pattern] += 1;
            } else if is_good(piece.period) && seen[piece.pattern][kind] < SHARES_OF_FINISH[kind].2
            {
                let rank = seen[piece.pattern][kind];
                seen[piece.pattern][kind] += 1;
                sample.is_traced = rank < SHARES_OF_FINISH[kind].1;
                let mine = |p: &&(Fault, usize)| finish == Some(SMOOTH) && p.1 == rank;
                sample.faults = PLANTED_IN.iter().filter(mine).map(|p| p.0).collect();
            } else {
                continue;
            }
        } else {
            continue;
        }
        samples.push(sample);
    }
    samples
}

// --------------------------------------------------------------- what a bowl and a stem look like

/// Name and direction seen from above, anticlockwise from the front.
const SIDES: [(&str, f64); 4] = [
    ("bowl_wall_front", 0.0),
    ("bowl_wall_left", 90.0),
    ("bowl_wall_back", 180.0),
    ("bowl_wall_right", 270.0),
];
/// Walls are traced from here above the heel to here below the rim, whose edge is broken. The back
/// wall begins above the shank.
const ABOVE_HEEL: f64 = 4.0;
const BELOW_RIM: f64 = 3.0;
/// The button, behind the end of the stem's trace.
const BUTTON: f64 = 5.0;

/// Median and log sd of the straightness of walls and stems that are straight by pattern, and of
/// the roundness of sections.
const FORM_ERROR: (f64, f64) = (0.085, 0.28);
/// The same for walls that are shaped by eye: what differs from the pattern's outline.
const SHAPED_ERROR: (f64, f64) = (0.16, 0.28);
/// Factor on both in the poor period.
const POOR_FORM: (f64, f64) = (2.0, 3.0);
/// Half angle of the canted dublin's cone, its sd between good and between poor pieces.
const HALF_ANGLE: (f64, f64, f64) = (5.0, 0.3, 0.5);

/// A stretch of a wall that lies too far in or out: a rounded dent or hump.
struct Patch {
    side: f64,
    height: f64,
    from: f64,
    to: f64,
}

/// Half of the sector that a patch takes up.
const PATCH_SECTOR: f64 = 40.0;

impl Patch {
    fn at(&self, angle: f64, station: f64) -> f64 {
        let along = (station - self.from) / (self.to - self.from) * 2.0 - 1.0;
        let across = ((angle - self.side + 180.0).rem_euclid(360.0) - 180.0) / PATCH_SECTOR;
        self.height * hump(along) * hump(across)
    }
}

/// 1 at 0, smoothly to 0 at -1 and 1.
fn hump(x: f64) -> f64 {
    if x.abs() < 1.0 {
        0.5 + 0.5 * libm::cos(std::f64::consts::PI * x)
    } else {
        0.0
    }
}

/// A random smooth curve without a straight part: a sum of waves.
struct Curve {
    waves: Vec<(f64, f64)>,
    factor: f64,
    line: (f64, f64),
}

impl Curve {
    /// Between two stations, with a correlation length of a third of the way; its straightness is
    /// `width`.
    fn draw(from: f64, to: f64, width: f64, draw: &mut Draw) -> Curve {
        let frequency = 3.0 / (to - from);
        let waves = (0..16)
            .map(|_| {
                let phase = draw.uniform(0.0, std::f64::consts::TAU);
                (draw.normal(frequency), phase)
            })
            .collect();
        let mut curve = Curve {
            waves,
            factor: 1.0,
            line: (0.0, 0.0),
        };
        curve.line = line(&curve.points(from, to));
        curve.factor = width / straightness(&curve.points(from, to));
        curve
    }

    fn at(&self, station: f64) -> f64 {
        let wave = |&(frequency, phase): &(f64, f64)| libm::cos(frequency * station + phase);
        let sum: f64 = self.waves.iter().map(wave).sum();
        self.factor * (sum - self.line.0 - self.line.1 * station)
    }

    fn points(&self, from: f64, to: f64) -> Vec<(f64, f64)> {
        stations(from, to).map(|s| (s, self.at(s))).collect()
    }
}

/// Undulations of a section: how many a revolution, amplitude, phase in degrees.
struct Undulations(Vec<(f64, f64, f64)>);

impl Undulations {
    /// Of a roundness of `width`.
    fn draw(width: f64, draw: &mut Draw) -> Undulations {
        let wave = |n: usize| {
            let n = n as f64;
            (n, draw.normal(1.0 / n), draw.uniform(0.0, 360.0))
        };
        let mut drawn = Undulations((2..=6).map(wave).collect());
        // Small beside the radius, as they will be.
        let share = 1e-3;
        let raw = roundness(|angle| 1.0 + share * drawn.at(angle)) / share;
        for wave in &mut drawn.0 {
            wave.1 *= width / raw;
        }
        drawn
    }

    fn at(&self, angle: f64) -> f64 {
        let wave = |&(n, amplitude, phase): &(f64, f64, f64)| amplitude * cos(n * (angle - phase));
        self.0.iter().map(wave).sum()
    }
}

/// The outline that a pattern gives its walls.
enum Outline {
    /// Straight, opening towards the rim.
    Cone { half_angle: f64 },
    /// Widest at a share of the height; radius at the heel as a share of the widest.
    Round { belly: f64, heel: f64 },
}

struct Bowl {
    outline: Outline,
    height: f64,
    widest: f64,
    rim: f64,
    walls: Vec<Curve>,
    section: Undulations,
    patches: Vec<Patch>,
    /// Where the back wall comes out of the shank.
    above_shank: f64,
}

impl Bowl {
    fn draw(sample: &Sample<'_>, draw: &mut Draw) -> Bowl {
        let sizes = &sample.piece.sizes;
        let is_poor = sample.piece.period == CONVEYOR_YEARS;
        let (centre, good_sd, poor_sd) = HALF_ANGLE;
        let (outline, wall_error) = match sample.piece.pattern {
            CANTED_DUBLIN => {
                let half_angle = centre + draw.normal(if is_poor { poor_sd } else { good_sd });
                (Outline::Cone { half_angle }, FORM_ERROR)
            }
            BILLIARD => (Outline::round(0.50, 0.84), SHAPED_ERROR),
            APPLE => (Outline::round(0.44, 0.74), SHAPED_ERROR),
            _ => (Outline::round(0.47, 0.72), SHAPED_ERROR),
        };
        let height = sizes[BOWL_HEIGHT];
        let (from, to) = (ABOVE_HEEL, height - BELOW_RIM);
        let wall = |_| Curve::draw(from, to, form_error(wall_error, is_poor, draw), draw);
        let walls = SIDES.iter().map(wall).collect();
        let mut section = Undulations::draw(form_error(FORM_ERROR, is_poor, draw), draw);
        if sample.has(Fault::FiveSided) {
            section.0.push((5.0, FIVE_SIDED, draw.uniform(0.0, 72.0)));
        }
        let planted = |fault| patch(fault, height).filter(|_| sample.has(fault));
        Bowl {
            outline,
            height,
            widest: 0.5 * sizes[BOWL_DIAMETER],
            rim: 0.5 * sizes[RIM_DIAMETER],
            walls,
            section,
            patches: [Fault::ScoopedWall, Fault::Bulge]
                .into_iter()
                .filter_map(planted)
                .collect(),
            above_shank: ABOVE_HEEL + sizes[SHANK_WIDTH],
        }
    }

    fn radius(&self, angle: f64, station: f64) -> f64 {
        let outline = match self.outline {
            Outline::Cone { half_angle } => {
                let below = self.height - BELOW_RIM - station;
                self.widest - below * libm::tan(half_angle.to_radians())
            }
            Outline::Round { belly, heel } => {
                let share = station / self.height - belly;
                let (end, reach) = if share < 0.0 {
                    (heel * self.widest, belly)
                } else {
                    (self.rim, 1.0 - belly)
                };
                self.widest - (self.widest - end) * (share / reach) * (share / reach)
            }
        };
        let patches: f64 = self.patches.iter().map(|p| p.at(angle, station)).sum();
        outline + self.section.at(angle) + patches
    }

    fn wall(&self, side: usize, station: f64) -> f64 {
        self.radius(SIDES[side].1, station) + self.walls[side].at(station)
    }

    fn wall_stretch(&self, side: usize) -> (f64, f64) {
        let from = if SIDES[side].0 == "bowl_wall_back" {
            self.above_shank
        } else {
            ABOVE_HEEL
        };
        (from, self.height - BELOW_RIM)
    }

    /// Of the section, in whole mm as people choose it.
    fn mid_height(&self) -> f64 {
        (0.5 * self.height).round()
    }
}

impl Outline {
    fn round(belly: f64, heel: f64) -> Outline {
        Outline::Round { belly, heel }
    }
}

/// The upper or the lower line of a stem: a taper, or two lines that meet at the break.
struct StemLine {
    length: f64,
    at_face: f64,
    at_button: f64,
    curve: Curve,
    has_elbow: bool,
}

impl StemLine {
    fn draw(sample: &Sample<'_>, has_elbow: bool, draw: &mut Draw) -> StemLine {
        let sizes = &sample.piece.sizes;
        let length = sizes[STEM_LENGTH] - BUTTON;
        let is_poor = sample.piece.period == CONVEYOR_YEARS;
        let width = form_error(FORM_ERROR, is_poor, draw);
        StemLine {
            length,
            at_face: 0.5 * sizes[SHANK_WIDTH],
            at_button: 0.5 * sizes[BIT_THICKNESS],
            curve: Curve::draw(0.0, length, width, draw),
            has_elbow,
        }
    }

    fn height(&self, station: f64) -> f64 {
        let taper = |to: f64| self.at_face + (to - self.at_face) * station / self.length;
        let line = if self.has_elbow {
            // The first part points above the button; the second comes down to it.
            let past = (station - (self.length - ELBOW_BEFORE)).max(0.0);
            taper(self.at_button + ELBOW_DROP) - ELBOW_DROP * past / ELBOW_BEFORE
        } else {
            taper(self.at_button)
        };
        line + self.curve.at(station)
    }
}

const SCOOP_DEPTH: f64 = 0.8;
const SCOOP_LENGTH: f64 = 20.0;
const BULGE_HEIGHT: f64 = 0.7;
const BULGE_FROM: f64 = 6.0;
const BULGE_LENGTH: f64 = 15.0;
const FIVE_SIDED: f64 = 0.35;
const ELBOW_BEFORE: f64 = 12.0;
const ELBOW_DROP: f64 = 0.9;
/// Added to L*, a* and b*.
pub(super) const OVER_PINK: [f64; 3] = [4.0, 6.0, 0.0];

/// The scoop is in the front wall at mid height, the bulge low in the left wall.
fn patch(fault: Fault, height: f64) -> Option<Patch> {
    let (side, size, from, length) = match fault {
        Fault::ScoopedWall => {
            let from = 0.5 * (height - SCOOP_LENGTH);
            (SIDES[0].1, -SCOOP_DEPTH, from, SCOOP_LENGTH)
        }
        Fault::Bulge => (SIDES[1].1, BULGE_HEIGHT, BULGE_FROM, BULGE_LENGTH),
        _ => return None,
    };
    Some(Patch {
        side,
        height: size,
        from,
        to: from + length,
    })
}

fn form_error((median, log_sd): (f64, f64), is_poor: bool, draw: &mut Draw) -> f64 {
    let error = median * libm::exp(draw.normal(log_sd));
    if is_poor {
        error * draw.uniform(POOR_FORM.0, POOR_FORM.1)
    } else {
        error
    }
}

fn cos(degrees: f64) -> f64 {
    libm::cos(degrees.to_radians())
}

fn sin(degrees: f64) -> f64 {
    libm::sin(degrees.to_radians())
}

// -------------------------------------------------------------------------- how they are read

#[derive(Clone, Copy, PartialEq)]
enum Instrument {
    Dial,
    /// A dial gauge in inches.
    InchDial,
    Photograph,
}

/// Share of the pieces that are traced from scaled photographs.
const PHOTOGRAPHS: f64 = 0.3;

impl Instrument {
    /// As it is written: an error, then the instrument's step.
    fn reading(self, height: f64, draw: &mut Draw) -> String {
        let (sd, step) = match self {
            Instrument::Dial => (0.01, 0.02),
            Instrument::Photograph => (0.04, 0.1),
            Instrument::InchDial => (0.01, 0.001 * MM_PER_INCH),
        };
        let steps = ((height + draw.normal(sd)) / step).round();
        match self {
            Instrument::Dial => format!("{:.2}", steps * step),
            Instrument::Photograph => format!("{:.1}", steps * step),
            Instrument::InchDial => format!("{:.3}", steps * 0.001),
        }
    }

    fn station(self, station: f64) -> String {
        match self {
            Instrument::InchDial => format!("{:.3}", station / MM_PER_INCH),
            _ => format!("{station:.1}"),
        }
    }

    fn unit(self) -> &'static str {
        match self {
            Instrument::InchDial => "in",
            _ => "mm",
        }
    }
}

/// Pits of a blasted or carved surface along a line: where, how deep, how wide.
fn draw_pits(length: f64, finish: Option<&str>, draw: &mut Draw) -> Vec<(f64, f64, f64)> {
    let (depth, width) = match finish {
        Some("sandblasted") => ((0.2, 0.5), (1.0, 2.0)),
        Some("rusticated") => ((0.4, 0.8), (1.5, 3.0)),
        _ => return Vec::new(),
    };
    let mut pits = Vec::new();
    let mut end = 0.0;
    while end < length {
        let width = draw.uniform(width.0, width.1);
        let at = end + draw.uniform(0.3, 2.5) + 0.5 * width;
        pits.push((at, draw.uniform(depth.0, depth.1), width));
        end = at + 0.5 * width;
    }
    pits
}

fn pit_depth(pits: &[(f64, f64, f64)], at: f64) -> f64 {
    let depth =
        |&(middle, depth, width): &(f64, f64, f64)| depth * hump(2.0 * (at - middle) / width);
    pits.iter().map(depth).sum()
}

/// One trace in the making: whose, of what, and its points as written.
struct Writing<'a> {
    sample: &'a Sample<'a>,
    feature: String,
    state: &'static str,
    instrument: Instrument,
}

impl Writing<'_> {
    fn row(&self, station: String, height: f64, draw: &mut Draw) -> Vec<String> {
        let reading = self.instrument.reading(height, draw);
        strings([
            &specimen(self.sample.number),
            &self.feature,
            &station,
            &reading,
            self.instrument.unit(),
            self.state,
        ])
    }

    /// Stations about `pitch` apart, some of them missing. Some people trace the other way, some
    /// write a row late, some read one station again.
    fn outline(
        &self,
        (from, to): (f64, f64),
        pitch: f64,
        height: impl Fn(f64) -> f64,
        draw: &mut Draw,
    ) -> Vec<Vec<String>> {
        let tenth = |x: f64| (10.0 * x).round() / 10.0;
        let mut at = vec![from];
        let mut next = from + pitch;
        while next <= to {
            if !draw.chance(0.03) {
                at.push(tenth(next));
            }
            next += pitch * draw.uniform(0.75, 1.25);
        }
        match draw.uniform(0.0, 1.0) {
            u if u < 0.06 => at.reverse(),
            u if u < 0.10 => {
                let late = at.remove(draw.below(at.len()));
                at.push(late);
            }
            u if u < 0.16 => at.push(at[draw.below(at.len())]),
            _ => {}
        }
        at.into_iter()
            .map(|s| self.row(self.instrument.station(s), height(s), draw))
            .collect()
    }

    /// Angles all round in even steps, some missing, sometimes a whole arc about the back.
    fn section(&self, radius: impl Fn(f64) -> f64, draw: &mut Draw) -> Vec<Vec<String>> {
        let n = draw.pick(&[24, 30, 36, 36]);
        let is_sound = self.sample.faults.is_empty();
        let arc = if draw.chance(0.15) && is_sound {
            draw.uniform(30.0, 75.0)
        } else {
            0.0
        };
        let first = if draw.chance(0.1) { draw.below(n) } else { 0 };
        let mut rows = Vec::new();
        for i in 0..n {
            let angle = ((first + i) % n * 360 / n) as f64;
            if (angle - 180.0).abs() < arc || draw.chance(0.03) {
                continue;
            }
            rows.push(self.row(format!("{angle}"), radius(angle), draw));
        }
        rows
    }
}

/// How a bowl sits in the rig: off centre (mm) and leaning (mm for each mm), in two directions.
struct SetUp {
    offset: [f64; 2],
    lean: [f64; 2],
}

impl SetUp {
    fn draw(draw: &mut Draw) -> SetUp {
        SetUp {
            offset: [draw.normal(0.10), draw.normal(0.10)],
            lean: [draw.normal(0.002), draw.normal(0.002)],
        }
    }

    fn toward(&self, angle: f64, station: f64) -> f64 {
        let [x, y] = [0, 1].map(|i| self.offset[i] + self.lean[i] * station);
        x * cos(angle) + y * sin(angle)
    }

    /// Distance of a point on a circle of that radius, seen from the rig's own axis.
    fn radius(&self, radius: f64, angle: f64, station: f64) -> f64 {
        let across = self.toward(angle + 90.0, station);
        self.toward(angle, station) + (radius * radius - across * across).sqrt()
    }
}

/// What truly is: straightness and half angle of an outline, or roundness of a section.
struct TrueForm {
    number: usize,
    feature: String,
    straightness: Option<f64>,
    half_angle: Option<f64>,
    roundness: Option<f64>,
}

fn traces(samples: &[Sample<'_>], draw: &mut Draw) -> (Vec<Vec<String>>, Vec<TrueForm>) {
    let (mut rows, mut truth) = (Vec::new(), Vec::new());
    let traced: Vec<_> = samples.iter().filter(|s| s.is_traced).collect();
    // One stem was traced in inches: the last sound apple's.
    let is_apple = |s: &&&Sample<'_>| s.piece.pattern == APPLE && s.faults.is_empty();
    let inch_piece = traced.iter().rfind(is_apple).map(|s| s.number);
    for sample in traced {
        let by_photograph = draw.chance(PHOTOGRAPHS)
            && sample.faults.is_empty()
            && !sample.piece.is_thin_reference();
        let instrument = if by_photograph {
            Instrument::Photograph
        } else {
            Instrument::Dial
        };
        trace_bowl(sample, instrument, &mut rows, &mut truth, draw);
        trace_stem(
            sample,
            instrument,
            inch_piece == Some(sample.number),
            &mut rows,
            &mut truth,
            draw,
        );
    }
    (rows, truth)
}

fn trace_bowl(
    sample: &Sample<'_>,
    instrument: Instrument,
    rows: &mut Vec<Vec<String>>,
    truth: &mut Vec<TrueForm>,
    draw: &mut Draw,
) {
    let bowl = Bowl::draw(sample, draw);
    let set_up = SetUp::draw(draw);
    let state = sample.piece.state_of(BOWL_HEIGHT);
    // Grain asks for closer stations.
    let pitch = if sample.is_grained() { 1.0 } else { 2.0 };
    for (side, (feature, angle)) in SIDES.into_iter().enumerate() {
        let stretch = bowl.wall_stretch(side);
        let pits = draw_pits(bowl.height, sample.finish, draw);
        let writing = Writing {
            sample,
            feature: feature.to_owned(),
            state,
            instrument,
        };
        let first = (2.0 * stretch.0).ceil() / 2.0;
        let seen = |s| bowl.wall(side, s) + set_up.toward(angle, s) - pit_depth(&pits, s);
        rows.extend(writing.outline((first, stretch.1), pitch, seen, draw));
        let points: Vec<_> = stations(first, stretch.1)
            .map(|s| (s, bowl.wall(side, s)))
            .collect();
        truth.push(TrueForm {
            number: sample.number,
            feature: feature.to_owned(),
            straightness: Some(straightness(&points)),
            half_angle: Some(libm::atan(line(&points).1).to_degrees()),
            roundness: None,
        });
    }
    let station = bowl.mid_height();
    let feature = format!("bowl_section@{station}");
    let round = |angle: f64| bowl.radius(angle, station);
    let pits = draw_pits(std::f64::consts::TAU * bowl.widest, sample.finish, draw);
    let writing = Writing {
        sample,
        feature: feature.clone(),
        state,
        instrument,
    };
    let seen = |angle: f64| {
        let way = angle.to_radians() * bowl.widest;
        set_up.radius(round(angle), angle, station) - pit_depth(&pits, way)
    };
    rows.extend(writing.section(seen, draw));
    truth.push(TrueForm {
        number: sample.number,
        feature,
        straightness: None,
        half_angle: None,
        roundness: Some(roundness(round)),
    });
}

fn trace_stem(
    sample: &Sample<'_>,
    instrument: Instrument,
    top_in_inches: bool,
    rows: &mut Vec<Vec<String>>,
    truth: &mut Vec<TrueForm>,
    draw: &mut Draw,
) {
    // The base line lies a little off the stem's axis: outward for one side, inward for the other.
    let (offset, lean) = (draw.normal(0.10), draw.normal(0.002));
    for (feature, sign) in [("stem_top", 1.0), ("stem_bottom", -1.0)] {
        let is_top = feature == "stem_top";
        let line = StemLine::draw(sample, is_top && sample.has(Fault::Elbow), draw);
        let writing = Writing {
            sample,
            feature: feature.to_owned(),
            state: sample.piece.state_of(BIT_THICKNESS),
            instrument: if is_top && top_in_inches {
                Instrument::InchDial
            } else {
                instrument
            },
        };
        let seen = |s| line.height(s) + sign * (offset + lean * s);
        rows.extend(writing.outline((0.0, line.length), 2.0, seen, draw));
        let points: Vec<_> = stations(0.0, line.length)
            .map(|s| (s, line.height(s)))
            .collect();
        truth.push(TrueForm {
            number: sample.number,
            feature: feature.to_owned(),
            straightness: Some(straightness(&points)),
            half_angle: None,
            roundness: None,
        });
    }
}

// ------------------------------------------------------------------- what form they truly have

/// Every 0.5 mm, and the end.
fn stations(from: f64, to: f64) -> impl Iterator<Item = f64> {
    let steps = (2.0 * (to - from)).floor() as usize;
    let inner = (0..=steps).map(move |i| from + 0.5 * i as f64);
    inner.chain(std::iter::once(to))
}

/// Intercept and slope of the least-squares line.
fn line(points: &[(f64, f64)]) -> (f64, f64) {
    let n = points.len() as f64;
    let mean_x = points.iter().map(|p| p.0).sum::<f64>() / n;
    let mean_y = points.iter().map(|p| p.1).sum::<f64>() / n;
    let (mut xx, mut xy) = (0.0, 0.0);
    for (x, y) in points {
        xx += (x - mean_x) * (x - mean_x);
        xy += (x - mean_x) * (y - mean_y);
    }
    (mean_y - xy / xx * mean_x, xy / xx)
}

/// Least distance between two parallel lines that hold all points between them (minimum zone, the
/// straightness of ISO 12780; from memory).
fn straightness(points: &[(f64, f64)]) -> f64 {
    let width = |slope: f64| {
        let heights = points.iter().map(|(x, y)| y - slope * x);
        let (low, high) = heights.fold((f64::MAX, f64::MIN), |(low, high), h| {
            (low.min(h), high.max(h))
        });
        (high - low) / (1.0 + slope * slope).sqrt()
    };
    // The width falls to its least value and rises again: thirds close in on it.
    let slope = line(points).1;
    let (mut low, mut high) = (slope - 0.3, slope + 0.3);
    for _ in 0..80 {
        let third = (high - low) / 3.0;
        if width(low + third) < width(high - third) {
            high -= third;
        } else {
            low += third;
        }
    }
    width(low)
}

/// Least radial distance between two circles of one centre that hold the section between them
/// (minimum zone, the roundness of ISO 12181; from memory); `radius` by angle in degrees.
fn roundness(radius: impl Fn(f64) -> f64) -> f64 {
    let points: Vec<_> = (0..180)
        .map(|i| {
            let angle = 2.0 * f64::from(i);
            let radius = radius(angle);
            (radius * cos(angle), radius * sin(angle))
        })
        .collect();
    let ways: Vec<_> = (0..24)
        .map(|i| (cos(15.0 * f64::from(i)), sin(15.0 * f64::from(i))))
        .collect();
    let width = |(x, y): (f64, f64)| {
        let radii = points
            .iter()
            .map(|p| ((p.0 - x) * (p.0 - x) + (p.1 - y) * (p.1 - y)).sqrt());
        let (low, high) = radii.fold((f64::MAX, f64::MIN), |(low, high), r| {
            (low.min(r), high.max(r))
        });
        high - low
    };
    // The centre walks downhill in ever smaller steps.
    let mut centre = (0.0, 0.0);
    let mut least = width(centre);
    let mut step = 0.5 * least;
    while step > 1e-6 * least {
        let moved = ways
            .iter()
            .map(|way| (centre.0 + step * way.0, centre.1 + step * way.1))
            .map(|to| (width(to), to))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match moved {
            Some((width, to)) if width < least => (least, centre) = (width, to),
            _ => step *= 0.5,
        }
    }
    least
}

// --------------------------------------------------------------------------------- the tables

/// Name, type and meaning of each column.
type Columns<const N: usize> = [(&'static str, &'static str, &'static str); N];

const SPECIMEN: (&str, &str, &str) = ("specimen", "string", "number of the piece, HR0001 on");
const FEATURE: (&str, &str, &str) = (
    "feature",
    "string",
    "what was traced, with @ and its place in mm for a section",
);
const STATE: (&str, &str, &str) = (
    "state",
    "string",
    "factory, worn, reworked, replaced or unknown",
);
const TRACE_COLUMNS: Columns<6> = [
    SPECIMEN,
    FEATURE,
    (
        "station",
        "number",
        "distance along the feature in the row's unit; degrees for a section",
    ),
    (
        "reading",
        "number",
        "height from the axis or base line; radius of a section",
    ),
    ("unit", "string", "mm or in"),
    STATE,
];
const COLOUR_COLUMNS: Columns<6> = [
    SPECIMEN,
    ("feature", "string", "always finish_colour"),
    (
        "station",
        "string",
        "number of the spot; card@ and the lightness of a neutral card beside it",
    ),
    (
        "reading",
        "string",
        "L* a* b*, or red, green and blue of a photograph",
    ),
    ("unit", "string", "Lab (D65), Lab D50 or sRGB"),
    STATE,
];
const TRUTH_COLUMNS: Columns<8> = [
    SPECIMEN,
    FEATURE,
    (
        "straightness",
        "number",
        "minimum zone, mm, over the traced stretch, without grain",
    ),
    (
        "half_angle",
        "number",
        "of the wall's least-squares line against the bowl's axis, degrees, opening to the rim \
         positive",
    ),
    ("roundness", "number", "minimum zone, mm, without grain"),
    ("lightness", "number", "L* under D65"),
    ("red_green", "number", "a* under D65"),
    ("yellow_blue", "number", "b* under D65"),
];
const PLANTED_COLUMNS: Columns<8> = [
    SPECIMEN,
    FEATURE,
    (
        "what",
        "string",
        "scooped_wall, bulge, five_sided, elbow or over_pink",
    ),
    (
        "size",
        "number",
        "signed: depth, height, amplitude or drop in mm; change of a*",
    ),
    ("unit", "string", "mm or Lab"),
    ("from", "number", "first station of the fault, mm"),
    ("to", "number", "last station of the fault, mm"),
    ("note", "string", "a remark"),
];

fn columns<const N: usize>(columns: &Columns<N>) -> Vec<Column> {
    let column = |&(name, kind, about): &(&'static str, &'static str, &'static str)| Column {
        name,
        dimension: None,
        unit: "",
        kind,
        about,
    };
    columns.iter().map(column).collect()
}

/// The sheets of traces and colours, and the truth about both.
pub(super) fn tables(pieces: &[Piece], planted: &[Planted], ledger: &Table) -> Vec<Table> {
    let samples = samples(pieces, planted, ledger);
    let mut draw = Draw(Xoshiro256PlusPlus::seed_from_u64(SEED_OF_FORMS));
    let (trace_rows, forms) = traces(&samples, &mut draw);
    let mut draw = Draw(Xoshiro256PlusPlus::seed_from_u64(SEED_OF_COLOURS));
    let (colour_rows, finishes) = colours(&samples, &mut draw);
    vec![
        plain_table(
            TRACES,
            "outlines of bowls and stems and sections of bowls, one row a point",
            columns(&TRACE_COLUMNS),
            trace_rows,
        ),
        plain_table(
            COLOURS,
            "colours of finishes, one row a spot",
            columns(&COLOUR_COLUMNS),
            colour_rows,
        ),
        plain_table(
            "truth/true_form.csv",
            "true form of every traced feature and true colour of every finish",
            columns(&TRUTH_COLUMNS),
            truth_rows(&forms, &finishes),
        ),
        plain_table(
            "truth/planted_form.csv",
            "every fault of form and colour put there on purpose",
            columns(&PLANTED_COLUMNS),
            samples.iter().flat_map(planted_rows).collect(),
        ),
    ]
}

/// The traces of one piece outside the collection.
pub(super) fn bench_table(path: &'static str, sample: &Sample<'_>, draw: &mut Draw) -> Table {
    let (mut rows, mut truth) = (Vec::new(), Vec::new());
    trace_bowl(sample, Instrument::Dial, &mut rows, &mut truth, draw);
    trace_stem(sample, Instrument::Dial, false, &mut rows, &mut truth, draw);
    let about = "outlines of the first piece on the bench, one row a point";
    plain_table(path, about, columns(&TRACE_COLUMNS), rows)
}

fn truth_rows(forms: &[TrueForm], finishes: &[TrueColour]) -> Vec<Vec<String>> {
    let number = |value: Option<f64>| value.map(|v| format!("{v:.3}")).unwrap_or_default();
    let form = |f: &TrueForm| {
        let [straightness, half_angle, roundness] =
            [f.straightness, f.half_angle, f.roundness].map(number);
        strings([
            &specimen(f.number),
            &f.feature,
            &straightness,
            &half_angle,
            &roundness,
            "",
            "",
            "",
        ])
    };
    let finish = |f: &TrueColour| {
        let [l, a, b] = f.lab.map(|x| format!("{x:.2}"));
        let specimen = specimen(f.number);
        strings([&specimen, "finish_colour", "", "", "", &l, &a, &b])
    };
    let forms = forms.iter().map(form);
    forms.chain(finishes.iter().map(finish)).collect()
}

fn planted_rows(sample: &Sample<'_>) -> Vec<Vec<String>> {
    let sizes = &sample.piece.sizes;
    let row = |&fault: &Fault| {
        let patch = patch(fault, sizes[BOWL_HEIGHT]);
        let end = sizes[STEM_LENGTH] - BUTTON;
        let (what, feature, size, unit, stretch, note) = match fault {
            Fault::ScoopedWall => (
                "scooped_wall",
                SIDES[0].0.to_owned(),
                -SCOOP_DEPTH,
                "mm",
                patch.map(|p| (p.from, p.to)),
                "deepest at mid height; also a dent of the section there",
            ),
            Fault::Bulge => (
                "bulge",
                SIDES[1].0.to_owned(),
                BULGE_HEIGHT,
                "mm",
                patch.map(|p| (p.from, p.to)),
                "highest in the middle of its stretch",
            ),
            Fault::FiveSided => (
                "five_sided",
                format!("bowl_section@{}", (0.5 * sizes[BOWL_HEIGHT]).round()),
                FIVE_SIDED,
                "mm",
                None,
                "amplitude of 5 undulations a revolution, at all heights",
            ),
            Fault::Elbow => (
                "elbow",
                "stem_top".to_owned(),
                -ELBOW_DROP,
                "mm",
                Some((end - ELBOW_BEFORE, end)),
                "breaks at the first station; drop at the button",
            ),
            Fault::OverPink => (
                "over_pink",
                "finish_colour".to_owned(),
                OVER_PINK[1],
                "Lab",
                None,
                "a* by that much; L* 4 higher",
            ),
        };
        let [from, to] = match stretch {
            Some((from, to)) => [from, to].map(|s| format!("{s:.1}")),
            None => [String::new(), String::new()],
        };
        let size = size.to_string();
        let specimen = specimen(sample.number);
        strings([&specimen, &feature, what, &size, unit, &from, &to, note])
    };
    sample.faults.iter().map(row).collect()
}
