//! The colours of finishes of the invented world, as instruments and photographs give them.

use super::forms::{Fault, OVER_PINK, SMOOTH, Sample};
use super::{Draw, PATTERNS, specimen, strings};

pub(super) type Lab = [f64; 3];

/// Finish and its centre at the works: L*, a*, b* under D65.
const FINISH_CENTRES: [(&str, Lab); 3] = [
    (SMOOTH, [41.0, 17.0, 25.0]),
    ("sandblasted", [30.0, 12.5, 14.5]),
    ("rusticated", [34.5, 14.5, 18.5]),
];
/// Sd of a pattern's shift from it, the same for all its finishes.
const PATTERN_SHIFT: Lab = [0.6, 0.3, 0.5];
/// Sd between pieces; L* and b* go together with this correlation.
const BETWEEN_PIECES: Lab = [1.5, 0.8, 1.2];
const LIGHTNESS_YELLOW: f64 = 0.5;
/// Sd between the spots of one piece, in each of the three.
const BETWEEN_SPOTS: f64 = 0.5;
/// Lightness of the neutral card that lies beside photographed pieces.
const CARD: f64 = 96.5;

pub(super) struct TrueColour {
    pub(super) number: usize,
    pub(super) lab: Lab,
}

/// The rows of the sheet, and the truth.
pub(super) fn colours(
    samples: &[Sample<'_>],
    draw: &mut Draw,
) -> (Vec<Vec<String>>, Vec<TrueColour>) {
    let shifts: Vec<Lab> = PATTERNS
        .iter()
        .map(|_| PATTERN_SHIFT.map(|sd| draw.normal(sd)))
        .collect();
    let (mut rows, mut truth) = (Vec::new(), Vec::new());
    for sample in samples {
        let centre = FINISH_CENTRES.iter().find(|f| Some(f.0) == sample.finish);
        let Some((_, centre)) = centre else { continue };
        let lab = draw_finish(centre, &shifts[sample.piece.pattern], draw);
        let planted = sample.has(Fault::OverPink);
        let lab = std::array::from_fn(|i| lab[i] + if planted { OVER_PINK[i] } else { 0.0 });
        for [station, reading, unit] in spots(&lab, draw) {
            rows.push(strings([
                &specimen(sample.number),
                "finish_colour",
                &station,
                &reading,
                &unit,
                sample.piece.state,
            ]));
        }
        truth.push(TrueColour {
            number: sample.number,
            lab,
        });
    }
    (rows, truth)
}

fn draw_finish(centre: &Lab, shift: &Lab, draw: &mut Draw) -> Lab {
    let [l, a, own] = [0; 3].map(|_| draw.normal(1.0));
    let own_share = (1.0 - LIGHTNESS_YELLOW * LIGHTNESS_YELLOW).sqrt();
    let z = [l, a, LIGHTNESS_YELLOW * l + own_share * own];
    std::array::from_fn(|i| centre[i] + shift[i] + BETWEEN_PIECES[i] * z[i])
}

/// Station, reading and unit of each spot: by instrument under D65 or D50, or from a photograph
/// with a card in the frame.
fn spots(lab: &Lab, draw: &mut Draw) -> Vec<[String; 3]> {
    let n = draw.pick(&[4, 5, 5, 6]);
    let spots: Vec<Lab> = (0..n)
        .map(|_| lab.map(|x| x + draw.normal(BETWEEN_SPOTS)))
        .collect();
    let written = |[l, a, b]: Lab| format!("{l:.1} {a:.1} {b:.1}");
    let numbered = spots.iter().enumerate();
    match draw.uniform(0.0, 1.0) {
        u if u < 0.45 => numbered
            .map(|(i, &spot)| [(i + 1).to_string(), written(spot), "Lab".to_owned()])
            .collect(),
        u if u < 0.60 => numbered
            .map(|(i, &spot)| {
                let spot = xyz_to_lab(d65_to_d50(lab_to_xyz(spot)), D50);
                [(i + 1).to_string(), written(spot), "Lab D50".to_owned()]
            })
            .collect(),
        _ => {
            let cast = draw_cast(draw);
            let in_hex = draw.chance(0.6);
            let card = (format!("card@{CARD}"), [CARD, 0.0, 0.0]);
            std::iter::once(card)
                .chain(numbered.map(|(i, &spot)| ((i + 1).to_string(), spot)))
                .map(|(station, spot)| {
                    let [r, g, b] = photographed(spot, &cast);
                    let reading = if in_hex {
                        format!("#{r:02x}{g:02x}{b:02x}")
                    } else {
                        format!("{r} {g} {b}")
                    };
                    [station, reading, "sRGB".to_owned()]
                })
                .collect()
        }
    }
}

/// Gains of the linear channels: the exposure, and a light that is warm or, at times, cold.
fn draw_cast(draw: &mut Draw) -> [f64; 3] {
    let exposure = draw.uniform(0.75, 0.98);
    let (strong, weak) = (1.0, draw.uniform(0.78, 0.98));
    let middle = 0.5 * (strong + weak) + draw.uniform(-0.03, 0.03);
    if draw.chance(0.75) {
        [strong, middle, weak].map(|gain| exposure * gain)
    } else {
        [weak, middle, strong].map(|gain| exposure * gain)
    }
}

/// X, Y, Z of the two white points, 2 degree observer (from memory).
const D65: [f64; 3] = [0.95047, 1.0, 1.08883];
const D50: [f64; 3] = [0.96422, 1.0, 0.82521];
/// Bradford adaptation from D65 to D50 (from memory).
const D65_TO_D50: [[f64; 3]; 3] = [
    [1.0478112, 0.0228866, -0.0501270],
    [0.0295424, 0.9904844, -0.0170491],
    [-0.0092345, 0.0150436, 0.7521316],
];
/// X, Y, Z under D65 to linear sRGB (IEC 61966-2-1, from memory).
const XYZ_TO_SRGB: [[f64; 3]; 3] = [
    [3.2404542, -1.5371385, -0.4985314],
    [-0.9692660, 1.8760108, 0.0415560],
    [0.0556434, -0.2040259, 1.0572252],
];

fn times(matrix: &[[f64; 3]; 3], x: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|i| matrix[i][0] * x[0] + matrix[i][1] * x[1] + matrix[i][2] * x[2])
}

fn d65_to_d50(xyz: [f64; 3]) -> [f64; 3] {
    times(&D65_TO_D50, xyz)
}

/// CIE 15 (from memory), here and below.
fn lab_to_xyz([l, a, b]: Lab) -> [f64; 3] {
    let y = (l + 16.0) / 116.0;
    let roots = [y + a / 500.0, y, y - b / 200.0];
    std::array::from_fn(|i| {
        let t = roots[i];
        let share = if t > 6.0 / 29.0 {
            t * t * t
        } else {
            (t - 4.0 / 29.0) * 108.0 / 841.0
        };
        share * D65[i]
    })
}

fn xyz_to_lab(xyz: [f64; 3], white: [f64; 3]) -> Lab {
    let [x, y, z] = std::array::from_fn(|i| {
        let share = xyz[i] / white[i];
        if share > 216.0 / 24389.0 {
            libm::cbrt(share)
        } else {
            share * 841.0 / 108.0 + 4.0 / 29.0
        }
    });
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// sRGB of a spot in a coloured light, 0 to 255.
fn photographed(lab: Lab, cast: &[f64; 3]) -> [u8; 3] {
    let linear = times(&XYZ_TO_SRGB, lab_to_xyz(lab));
    std::array::from_fn(|i| {
        let light = (linear[i] * cast[i]).clamp(0.0, 1.0);
        let coded = if light <= 0.0031308 {
            12.92 * light
        } else {
            1.055 * libm::pow(light, 1.0 / 2.4) - 0.055
        };
        (255.0 * coded).round() as u8
    })
}
