//! Colour: CIELAB, colour differences, colours from photographs.
//!
//! # Method
//! Every colour becomes L*, a*, b* for daylight D65 and the 2 degree observer. A colour measured
//! under another light is carried over by the Bradford transform. A photograph in sRGB (IEC
//! 61966-2-1) is first corrected by a neutral card in the same light: each linear channel is scaled
//! so that the card becomes neutral with its stated lightness (von Kries, in linear sRGB).
//! Differences are CIEDE2000.
//!
//! # Limits
//! No correction makes a camera an instrument: two stains that look alike in one light need not in
//! another, and a camera sees gloss, fluorescence and its own processing. `docs/colour.md` says what
//! can be told.
//!
//! # Source
//! CIE 15 and ISO/CIE 11664-4 (CIELAB), IEC 61966-2-1 (sRGB), Lam 1985 (Bradford): from memory, by
//! the crate `palette`. CIEDE2000: G. Sharma, W. Wu and E. N. Dalal, Color Res. Appl. 30 (2005)
//! 21-30, whose 34 pairs are a test.

use palette::chromatic_adaptation::AdaptIntoUnclamped;
use palette::convert::FromColorUnclamped;
use palette::white_point;
use palette::{LinSrgb, Srgb, Xyz};

/// The colour of one spot.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// Its name or number.
    pub name: String,
    /// For a spot on a neutral reference card in the same light: the card's own lightness L*.
    pub card: Option<f64>,
    /// Its colour.
    pub colour: SpotColour,
}

/// How a colour was given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SpotColour {
    /// L*, a*, b* under a named light.
    Lab {
        /// L*, a*, b*.
        lab: [f64; 3],
        /// The light that they are for.
        white: White,
    },
    /// Red, green and blue of a photograph in sRGB, 0 to 255.
    Srgb([f64; 3]),
}

/// The white of the light that a colour was measured under (2 degree observer).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum White {
    /// Daylight, 6504 K: the light of the finish dimensions.
    #[default]
    D65,
    /// Horizon light, 5003 K: the light of most spectrophotometers.
    D50,
    /// Mid-morning daylight, 5503 K.
    D55,
    /// A filament lamp, 2856 K.
    A,
}

/// A colour in CIELAB, for daylight D65 and the 2 degree observer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lab {
    /// Lightness L*: 0 black, 100 white.
    pub l: f64,
    /// a*: green below zero, red above.
    pub a: f64,
    /// b*: blue below zero, yellow above.
    pub b: f64,
}

/// Why a colour cannot be told.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ColourError {
    /// No spot but those on a card.
    #[error("no spot of the finish itself")]
    NoSpot,
    /// A red, green or blue that no photograph has.
    #[error("expected red, green and blue of 0 to 255, found {} {} {}", .0[0], .0[1], .0[2])]
    NotSrgb([f64; 3]),
    /// An L*, a*, b* that no surface has.
    #[error(
        "expected L* of -5 to 105, a* and b* of -200 to 200, found {} {} {}",
        .0[0], .0[1], .0[2]
    )]
    NotLab([f64; 3]),
    /// A card's own lightness that cannot be.
    #[error("a card's own lightness L* is above 0 and at most 100, found {0}")]
    CardLightness(f64),
    /// A card that is over-exposed.
    #[error("the card is over-exposed: a channel reads {0}, and from 250 on it may be cut off")]
    CardClipped(f64),
    /// A card that is under-exposed.
    #[error("the card is too dark: a channel reads {0}, and below 20 its steps are too coarse")]
    CardDark(f64),
    /// A card that an instrument measured.
    #[error("card `{0}` was read as L*, a*, b*: a card corrects photographs only")]
    CardNotPhotographed(String),
    /// A corrected spot that is brighter than any surface.
    #[error("by the card the spot reflects {0:.2} times the light: glare, or uneven light")]
    BeyondWhite(f64),
}

impl Lab {
    /// L*, a*, b* in this order.
    pub fn components(self) -> [f64; 3] {
        [self.l, self.a, self.b]
    }

    /// The nearest colour that sRGB can show, each channel 0 to 255: what it cannot is cut off at its end.
    pub fn nearest_srgb(self) -> [u8; 3] {
        let lab = palette::Lab::<white_point::D65, f64>::new(self.l, self.a, self.b);
        let Srgb {
            red, green, blue, ..
        } = Srgb::<f64>::from_color_unclamped(lab);
        [red, green, blue].map(|channel| (channel * 255.0).round().clamp(0.0, 255.0) as u8)
    }
}

impl From<[f64; 3]> for Lab {
    fn from([l, a, b]: [f64; 3]) -> Lab {
        Lab { l, a, b }
    }
}

/// The CIEDE2000 difference of two colours (kL = kC = kH = 1): about 1 is the least that a trained
/// eye tells side by side (common practice).
///
/// Hues that lie opposite each other to within rounding count as exactly opposite, as the printed
/// equations have it with exact arithmetic. That is why the formula is here: that of `palette` lets
/// the last bit decide there (of random colours and their exact opposites 8 % came out otherwise),
/// takes some mean hues beyond the circle (up to 1.5e-4 off) and overflows far out.
///
/// Finite for coordinates up to 1e300, NaN where one is not finite.
///
/// # Accuracy
/// 1e-9 on all 34 pairs of the source.
///
/// # Source
/// Sharma, Wu and Dalal 2005, equations 2 to 22.
pub fn difference(one: Lab, other: Lab) -> f64 {
    let mean_chroma = (one.a.hypot(one.b) + other.a.hypot(other.b)) / 2.0;
    let stretch = 1.0 + 0.5 * (1.0 - high_chroma(mean_chroma));
    let polar = |of: Lab| {
        let a = of.a * stretch;
        (a.hypot(of.b), of.b.atan2(a).to_degrees().rem_euclid(360.0))
    };
    let ((c1, h1), (c2, h2)) = (polar(one), polar(other));
    let (turn, hue) = hues(h1, h2, c1 == 0.0 || c2 == 0.0);
    let (dl, dc) = (other.l - one.l, c2 - c1);
    let dh = 2.0 * c1.sqrt() * c2.sqrt() * (turn / 2.0).to_radians().sin();
    let chroma = (c1 + c2) / 2.0;
    let cosine = |times: f64, less: f64| (times * hue - less).to_radians().cos();
    let t = 1.0 - 0.17 * cosine(1.0, 30.0) + 0.24 * cosine(2.0, 0.0) + 0.32 * cosine(3.0, -6.0)
        - 0.20 * cosine(4.0, 63.0);
    let mid = (one.l + other.l) / 2.0 - 50.0;
    let lightness = dl / (1.0 + 0.015 * mid * (mid / mid.hypot(20f64.sqrt())));
    let chroma_term = dc / (1.0 + 0.045 * chroma);
    let hue_term = dh / (1.0 + 0.015 * chroma * t);
    let angle = 30.0 * (-((hue - 275.0) / 25.0).powi(2)).exp();
    let rotation = -2.0 * high_chroma(chroma) * (2.0 * angle).to_radians().sin();
    let squares = lightness * lightness
        + chroma_term * chroma_term
        + hue_term * hue_term
        + rotation * chroma_term * hue_term;
    // A rounding below zero is none; NaN stays.
    if squares < 0.0 { 0.0 } else { squares.sqrt() }
}

/// `sqrt(C^7 / (C^7 + 25^7))`, written so that no chroma is too large for it.
fn high_chroma(chroma: f64) -> f64 {
    (1.0 / (1.0 + (25.0 / chroma).powi(7))).sqrt()
}

/// The turn from one hue to another and their mean, in degrees.
fn hues(h1: f64, h2: f64, colourless: bool) -> (f64, f64) {
    /// The rounding of two arctangents in degrees is under 1e-13.
    const ROUNDING: f64 = 1e-10;
    let (turn, sum) = (h2 - h1, h1 + h2);
    if colourless {
        // The hue of a grey says nothing.
        return (0.0, sum);
    }
    if turn.abs() <= 180.0 + ROUNDING {
        return (turn, sum / 2.0);
    }
    let mean = if sum < 360.0 {
        sum + 360.0
    } else {
        sum - 360.0
    };
    (turn - 360.0 * turn.signum(), mean / 2.0)
}

/// The colour of red, green and blue in sRGB, 0 to 255 (fractions allowed).
///
/// # Errors
/// [`ColourError::NotSrgb`].
pub fn from_srgb(channels: [f64; 3]) -> Result<Lab, ColourError> {
    Ok(of_linear(linear(channels)?))
}

/// The colour under D65 of an L*, a*, b* that was measured under another light (Bradford).
///
/// The whites are those of CIE 15 for the 2 degree observer; the result for white stays white.
///
/// # Errors
/// [`ColourError::NotLab`] for what no surface has: L* not in -5..105, a* or b* not in -200..200.
pub fn from_white(lab: [f64; 3], white: White) -> Result<Lab, ColourError> {
    let [l, a, b] = lab;
    let fits = |value: f64, low: f64, high: f64| (low..=high).contains(&value);
    if !fits(l, -5.0, 105.0) || !fits(a, -200.0, 200.0) || !fits(b, -200.0, 200.0) {
        return Err(ColourError::NotLab(lab));
    }
    /// Carries over from one white.
    macro_rules! adapted {
        ($white:ty) => {{
            let under = palette::Lab::<$white, f64>::new(l, a, b);
            let xyz: Xyz<white_point::D65, f64> =
                Xyz::<$white, f64>::from_color_unclamped(under).adapt_into_unclamped();
            of_xyz(xyz)
        }};
    }
    Ok(match white {
        White::D65 => Lab { l, a, b },
        White::D50 => adapted!(white_point::D50),
        White::D55 => adapted!(white_point::D55),
        White::A => adapted!(white_point::A),
    })
}

/// The colour of a photographed spot, corrected by a neutral card in the same light.
///
/// `spot` and `card` are sRGB, 0 to 255; `card_lightness` is the card's own L*.
///
/// # Errors
/// [`ColourError::NotSrgb`], [`ColourError::CardLightness`]; [`ColourError::CardClipped`] and
/// [`ColourError::CardDark`] where the card was exposed so that it cannot correct;
/// [`ColourError::BeyondWhite`] where the corrected spot is brighter than white by more than the
/// rounding of the channels.
///
/// # Example
/// ```
/// use calibriar::form::colour::balanced;
///
/// // A grey under a yellowish lamp: with the card beside it, it is grey.
/// let grey = balanced([128.0, 128.0, 95.0], [240.0, 240.0, 180.0], 96.5)?;
/// assert!(grey.a.abs() < 1.0 && grey.b.abs() < 1.0);
/// # Ok::<(), calibriar::form::colour::ColourError>(())
/// ```
pub fn balanced(spot: [f64; 3], card: [f64; 3], card_lightness: f64) -> Result<Lab, ColourError> {
    Balance::by(&[(card, card_lightness)])?.correct(spot)
}

/// How the three linear channels of a photograph are scaled.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Balance {
    gains: [f64; 3],
    /// Relative uncertainty limit of each gain by half a step of the card's channels.
    slack: [f64; 3],
}

impl Balance {
    /// By one card or several of any lightness: their mean in linear light.
    fn by(cards: &[([f64; 3], f64)]) -> Result<Balance, ColourError> {
        const CLIPPED: f64 = 250.0;
        const DARK: f64 = 20.0;
        let (mut meant, mut read, mut most) = (0.0, [0.0; 3], [0.0; 3]);
        for &(card, lightness) in cards {
            // A card of L* 0 would be a mirror's hole; NaN is none either.
            if !(lightness > 0.0 && lightness <= 100.0) {
                return Err(ColourError::CardLightness(lightness));
            }
            let light = linear(card)?;
            if let Some(&clipped) = card.iter().find(|&&c| c >= CLIPPED) {
                return Err(ColourError::CardClipped(clipped));
            }
            if let Some(&dark) = card.iter().find(|&&c| c < DARK) {
                return Err(ColourError::CardDark(dark));
            }
            let upper = linear(card.map(|c| c + 0.5))?;
            let white = palette::Lab::<white_point::D65, f64>::new(lightness, 0.0, 0.0);
            meant += Xyz::<white_point::D65, f64>::from_color_unclamped(white).y;
            for channel in 0..3 {
                read[channel] += light[channel];
                most[channel] += upper[channel];
            }
        }
        Ok(Balance {
            gains: read.map(|read| meant / read),
            slack: [0, 1, 2].map(|channel| most[channel] / read[channel]),
        })
    }

    fn correct(&self, spot: [f64; 3]) -> Result<Lab, ColourError> {
        let light = linear(spot)?;
        let least = linear(spot.map(|c| (c - 0.5).max(0.0)))?;
        let mut corrected = [0.0; 3];
        for channel in 0..3 {
            let gain = self.gains[channel];
            corrected[channel] = gain * light[channel];
            if gain / self.slack[channel] * least[channel] > 1.0 {
                return Err(ColourError::BeyondWhite(corrected[channel]));
            }
        }
        Ok(of_linear(corrected.map(|c| c.min(1.0))))
    }
}

/// Channels of 0 to 255 as shares of the light.
fn linear(channels: [f64; 3]) -> Result<[f64; 3], ColourError> {
    if !channels.iter().all(|c| (0.0..=255.0).contains(c)) {
        return Err(ColourError::NotSrgb(channels));
    }
    let [r, g, b] = channels.map(|c| c / 255.0);
    let light: LinSrgb<f64> = Srgb::new(r, g, b).into_linear();
    Ok([light.red, light.green, light.blue])
}

fn of_linear([r, g, b]: [f64; 3]) -> Lab {
    of_xyz(Xyz::from_color_unclamped(LinSrgb::<f64>::new(r, g, b)))
}

fn of_xyz(xyz: Xyz<white_point::D65, f64>) -> Lab {
    let palette::Lab { l, a, b, .. } =
        palette::Lab::<white_point::D65, f64>::from_color_unclamped(xyz);
    Lab { l, a, b }
}

/// The colour of a finish by several spots.
#[derive(Clone, Debug, PartialEq)]
pub struct FinishColour {
    /// Mean of the spots.
    pub lab: Lab,
    /// Standard uncertainty of the mean's L*, a* and b*.
    pub uncertainty: [f64; 3],
    /// Spots, those on cards not counted.
    pub n: usize,
    /// How far a spot is from the mean on average (CIEDE2000); `None` for one spot.
    pub scatter: Option<f64>,
    /// The spot that is farthest off; `None` for one spot.
    pub farthest: Option<Farthest>,
    /// Whether every photographed spot was corrected by a card.
    pub calibrated: bool,
}

/// The spot that is farthest from the mean.
#[derive(Clone, Debug, PartialEq)]
pub struct Farthest {
    /// Its name.
    pub name: String,
    /// How far (CIEDE2000).
    pub difference: f64,
}

/// Standard uncertainty of a component where only one spot was read: common practice, no source.
const ONE_READING: f64 = 0.5;
/// The same for a photograph.
const ONE_PHOTOGRAPH: f64 = 2.0;
/// The step to which L*, a* and b* are usually written: common practice, no source.
const LAB_STEP: f64 = 0.1;

/// The colour of a finish: the mean of its spots, how well it is known, and how even it is.
///
/// Spots on cards correct the photographed spots. The standard uncertainty of each component is the
/// spots' standard deviation over the square root of their number; of a single spot 0.5, or 2.0 where
/// it was photographed (common practice, no source). It is never less than what the rounding of the
/// readings gives: one step of a channel of 0 to 255, 0.1 of L*, a* and b*.
///
/// # Errors
/// [`ColourError::NoSpot`]; [`ColourError::CardNotPhotographed`]; those of [`from_srgb`],
/// [`from_white`] and [`balanced`].
pub fn spots(spots: &[Spot]) -> Result<FinishColour, ColourError> {
    let balance = balance_of(spots)?;
    let of_finish: Vec<&Spot> = spots.iter().filter(|s| s.card.is_none()).collect();
    if of_finish.is_empty() {
        return Err(ColourError::NoSpot);
    }
    let read: Result<Vec<Read>, ColourError> = of_finish
        .iter()
        .map(|spot| Read::new(spot.colour, balance.as_ref()))
        .collect();
    let read = read?;
    let n = read.len();
    let mean = |of: &dyn Fn(&Read) -> f64| read.iter().map(of).sum::<f64>() / n as f64;
    let component = |i: usize| {
        let centre = mean(&|r| r.lab.components()[i]);
        let rounding = mean(&|r| r.rounding[i].powi(2));
        let variance = match n {
            1 => match read[0].photograph {
                true => ONE_PHOTOGRAPH.powi(2),
                false => ONE_READING.powi(2),
            },
            _ => mean(&|r| (r.lab.components()[i] - centre).powi(2)) * n as f64 / (n - 1) as f64,
        };
        (centre, (variance.max(rounding) / n as f64).sqrt())
    };
    let components = [0, 1, 2].map(component);
    let lab = Lab::from(components.map(|c| c.0));
    let apart: Vec<f64> = read.iter().map(|r| difference(r.lab, lab)).collect();
    let most = apart
        .iter()
        .zip(&of_finish)
        .max_by(|x, y| x.0.total_cmp(y.0));
    Ok(FinishColour {
        lab,
        uncertainty: components.map(|c| c.1),
        n,
        scatter: (n > 1).then(|| apart.iter().sum::<f64>() / n as f64),
        farthest: most.filter(|_| n > 1).map(|(&difference, spot)| Farthest {
            name: spot.name.clone(),
            difference,
        }),
        calibrated: balance.is_some() || read.iter().all(|r| !r.photograph),
    })
}

/// What the cards among some spots correct by; `None` where there is no card.
fn balance_of(spots: &[Spot]) -> Result<Option<Balance>, ColourError> {
    let mut cards = Vec::new();
    for spot in spots {
        match (spot.card, spot.colour) {
            (Some(lightness), SpotColour::Srgb(channels)) => cards.push((channels, lightness)),
            (Some(_), SpotColour::Lab { .. }) => {
                return Err(ColourError::CardNotPhotographed(spot.name.clone()));
            }
            (None, _) => {}
        }
    }
    match cards.is_empty() {
        true => Ok(None),
        false => Balance::by(&cards).map(Some),
    }
}

/// One spot.
struct Read {
    lab: Lab,
    photograph: bool,
    /// Standard uncertainty of L*, a* and b* by the rounding of the reading.
    rounding: [f64; 3],
}

impl Read {
    fn new(colour: SpotColour, balance: Option<&Balance>) -> Result<Read, ColourError> {
        let channels = match colour {
            SpotColour::Lab { lab, white } => {
                return Ok(Read {
                    lab: from_white(lab, white)?,
                    photograph: false,
                    rounding: [LAB_STEP / 12f64.sqrt(); 3],
                });
            }
            SpotColour::Srgb(channels) => channels,
        };
        let corrected = |channels: [f64; 3]| match balance {
            Some(balance) => balance.correct(channels),
            None => from_srgb(channels),
        };
        let lab = corrected(channels)?;
        let mut variance = [0.0; 3];
        for channel in 0..3 {
            // One step towards the middle, where there is always room.
            let mut beside = channels;
            beside[channel] += if channels[channel] < 128.0 { 1.0 } else { -1.0 };
            // A step that a card forbids tells nothing of rounding.
            let beside = corrected(beside).unwrap_or(lab).components();
            for (i, own) in lab.components().into_iter().enumerate() {
                variance[i] += (beside[i] - own).powi(2) / 12.0;
            }
        }
        Ok(Read {
            lab,
            photograph: true,
            rounding: variance.map(f64::sqrt),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn photographed(name: &str, card: Option<f64>, channels: [f64; 3]) -> Spot {
        Spot {
            name: name.to_owned(),
            card,
            colour: SpotColour::Srgb(channels),
        }
    }

    fn read(name: &str, lab: [f64; 3]) -> Spot {
        let white = White::D65;
        Spot {
            name: name.to_owned(),
            card: None,
            colour: SpotColour::Lab { lab, white },
        }
    }

    #[test]
    fn a_card_must_be_well_exposed_and_a_spot_within_its_light() {
        let spot = [90.0, 60.0, 40.0];
        let by = |card: [f64; 3], l: f64| balanced(spot, card, l);
        assert_eq!(
            by([250.0, 240.0, 240.0], 96.5),
            Err(ColourError::CardClipped(250.0))
        );
        assert!(by([249.9, 240.0, 240.0], 96.5).is_ok());
        assert_eq!(
            by([25.0, 19.0, 25.0], 20.0),
            Err(ColourError::CardDark(19.0))
        );
        assert!(by([20.0, 20.0, 20.0], 20.0).is_ok());
        for l in [0.0, -1.0, 100.1] {
            assert_eq!(by([128.0; 3], l), Err(ColourError::CardLightness(l)));
        }
        assert!(by([128.0; 3], f64::NAN).is_err());
        let glare = balanced([255.0; 3], [160.0; 3], 96.5);
        assert!(matches!(glare, Err(ColourError::BeyondWhite(x)) if x > 1.5));
        // White paper beside a card of nearly its own lightness: within rounding.
        let white = balanced([240.4; 3], [240.0; 3], 100.0).unwrap();
        // The matrices of `palette` have seven digits.
        assert!((white.l - 100.0).abs() < 1e-3, "{white:?}");
        assert!(balanced([242.0; 3], [240.0; 3], 100.0).is_err());
    }

    /// 30, 32 and 34: mean 32, standard deviation 2, over the root of three.
    #[test]
    fn the_mean_of_spots_and_how_well_it_is_known() {
        let all = [30.0, 32.0, 34.0].map(|l| read(&l.to_string(), [l, 10.0, 20.0]));
        let colour = spots(&all).unwrap();
        assert!((colour.lab.l - 32.0).abs() < 1e-12);
        assert!((colour.uncertainty[0] - 2.0 / 3f64.sqrt()).abs() < 1e-12);
        // No scatter in a*: what the step of 0.1 gives.
        assert!((colour.uncertainty[1] - 0.1 / 36f64.sqrt()).abs() < 1e-12);
        assert_eq!(colour.n, 3);
        assert!(colour.calibrated);
        let farthest = colour.farthest.unwrap();
        assert!(farthest.difference > 1.0 && farthest.name != "32");
        let scatter = colour.scatter.unwrap();
        assert!(0.0 < scatter && scatter < farthest.difference);
    }

    #[test]
    fn one_spot_is_known_as_well_as_its_kind_is() {
        let by_instrument = spots(&[read("1", [30.0, 10.0, 20.0])]).unwrap();
        assert_eq!(by_instrument.uncertainty, [0.5; 3]);
        assert_eq!(by_instrument.scatter, None);
        assert_eq!(by_instrument.farthest, None);
        let photograph = photographed("1", None, [91.0, 58.0, 33.0]);
        let by_camera = spots(&[photograph]).unwrap();
        assert_eq!(by_camera.uncertainty, [2.0; 3]);
        assert!(!by_camera.calibrated);
    }

    #[test]
    fn photographs_are_corrected_by_the_mean_of_their_cards() {
        let spot = photographed("1", None, [91.0, 58.0, 33.0]);
        let card = |c: [f64; 3]| photographed("card", Some(90.0), c);
        let one = spots(&[spot.clone(), card([220.0, 210.0, 190.0])]).unwrap();
        assert!(one.calibrated);
        let alone = balanced([91.0, 58.0, 33.0], [220.0, 210.0, 190.0], 90.0).unwrap();
        assert_eq!(one.lab, alone);
        let two = [
            spot,
            card([220.0, 210.0, 190.0]),
            card([210.0, 200.0, 180.0]),
        ];
        let two = spots(&two).unwrap();
        let darker = balanced([91.0, 58.0, 33.0], [210.0, 200.0, 180.0], 90.0).unwrap();
        assert!(alone.l < two.lab.l && two.lab.l < darker.l);
    }

    /// Five spots alike to the last step: their mean is not known without error.
    #[test]
    fn rounding_of_channels_is_never_forgotten() {
        let all: Vec<Spot> = (0..5)
            .map(|i| photographed(&i.to_string(), None, [91.0, 58.0, 33.0]))
            .collect();
        let [l, a, b] = spots(&all).unwrap().uncertainty;
        // A step of a channel is about 0.4 of L*: 0.4 / sqrt 12 / sqrt 5.
        assert!((0.02..0.1).contains(&l), "{l}");
        assert!((0.02..0.2).contains(&a) && (0.02..0.2).contains(&b));
    }

    #[test]
    fn what_is_no_colour_is_named() {
        assert_eq!(spots(&[]), Err(ColourError::NoSpot));
        let card = photographed("c", Some(96.5), [230.0; 3]);
        assert_eq!(spots(&[card]), Err(ColourError::NoSpot));
        let mut by_instrument = read("white tile", [96.0, 0.0, 0.0]);
        by_instrument.card = Some(96.0);
        let named = ColourError::CardNotPhotographed("white tile".to_owned());
        assert_eq!(spots(&[by_instrument]), Err(named));
        let no_lab = [130.0, 0.0, 0.0];
        assert_eq!(
            from_white(no_lab, White::D50),
            Err(ColourError::NotLab(no_lab))
        );
        assert!(from_srgb([256.0, 0.0, 0.0]).is_err());
        let message = from_srgb([-1.0, 0.0, 0.0]).unwrap_err().to_string();
        assert_eq!(
            message,
            "expected red, green and blue of 0 to 255, found -1 0 0"
        );
    }
}
