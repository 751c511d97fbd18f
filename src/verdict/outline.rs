//! Outlines of one piece against those of its pattern's good pieces, the whole length at once.
//!
//! Each station is judged by the predictive t with a borrowed spread, as a dimension is; but one
//! threshold serves the whole outline, so that a good piece leaves the band *anywhere* with a
//! probability of alpha only. How rough outlines are, and so how many independent chances they have
//! to leave it, is learned from all the maker's patterns.

use super::Verdict;
use super::check::Piece;
use crate::norm::{Beforehand, OutlineNorm, Settings};
use crate::stats::{Predictive, band_p, band_threshold, holm, median};
use crate::traced::{RegisteredOutline, STATIONS, registered_outlines};

/// A piece's outline and the band of its pattern's good pieces.
#[derive(Clone, Debug, PartialEq)]
pub struct OutlineCheck {
    /// What was traced: `bowl_wall_left`.
    pub feature: String,
    /// References, the piece itself left out.
    pub n: usize,
    /// Degrees of freedom of the spread: the median over the stations.
    pub df: f64,
    /// How rough outlines are: the `L` of the threshold.
    pub roughness: f64,
    /// Half widths of the band, in standard deviations of prediction.
    pub threshold: f64,
    /// The band, station by station.
    pub stations: Vec<BandStation>,
    /// Where the outline is outside it.
    pub excursions: Vec<Excursion>,
    /// Probability that a good piece's outline strays at least so far anywhere.
    pub p: f64,
    /// The same, adjusted for the piece's other outlines (Holm).
    pub p_adjusted: f64,
    /// The label, apart from the piece's dimensions.
    pub verdict: Verdict,
    /// Whether silence means something.
    tells: bool,
}

/// One station of an outline. In mm; heights are above the line that the references are laid on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandStation {
    /// Where, along the piece.
    pub station: f64,
    /// The piece.
    pub height: f64,
    /// The centre of the references.
    pub centre: f64,
    /// The band.
    pub low: f64,
    /// The band.
    pub high: f64,
}

/// A stretch of an outline outside its band. In mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Excursion {
    /// Where it begins.
    pub from: f64,
    /// Where it ends.
    pub to: f64,
    /// Where it is farthest from the centre, in spreads.
    pub at: f64,
    /// How far it is from the centre there, outward positive.
    pub deviation: f64,
    /// How far it is beyond the band there.
    pub beyond: f64,
}

/// Judges every outline of a piece that references have as well.
pub(super) fn outlines(
    piece: &Piece<'_>,
    known: &Beforehand<'_>,
    settings: &Settings,
) -> Vec<OutlineCheck> {
    let Some(group) = piece.group else {
        return Vec::new();
    };
    let mut judged: Vec<OutlineCheck> = registered_outlines(piece.traces())
        .iter()
        .filter_map(|(feature, own)| {
            let norm = OutlineNorm::new(piece.evidence, known, group, feature, &piece.own)?;
            judge(&norm, feature, own, piece.period, settings)
        })
        .collect();
    let adjusted = holm(&judged.iter().map(|o| o.p).collect::<Vec<f64>>());
    for (outline, p_adjusted) in judged.iter_mut().zip(adjusted) {
        outline.p_adjusted = p_adjusted;
        let (p, alpha) = (outline.p, settings.alpha());
        outline.verdict = Verdict::of_dimension(p, p_adjusted, alpha, outline.tells);
    }
    judged
}

fn judge(
    norm: &OutlineNorm,
    feature: &str,
    own: &RegisteredOutline,
    period: Option<u32>,
    settings: &Settings,
) -> Option<OutlineCheck> {
    let df = norm.df;
    let threshold = band_threshold(df, norm.roughness, settings.alpha()).ok()?;
    let u = own.uncertainty;
    let norms: Vec<Predictive> = norm
        .stations
        .iter()
        .map(|n| n.clone().dated(period))
        .collect();
    let centres: Vec<f64> = norms.iter().map(Predictive::centre).collect();
    let own = &own.laid_on(&centres);
    let mut farthest = 0.0f64;
    let mut stations = Vec::with_capacity(STATIONS);
    let mut scores = Vec::with_capacity(STATIONS);
    for (place, station) in norms.iter().enumerate() {
        let (height, centre) = (own.heights[place], station.centre());
        let sd = station.variance(u).sqrt();
        let t = (height - centre) / sd;
        farthest = farthest.max(t.abs());
        scores.push(t);
        stations.push(BandStation {
            station: own.station(place as f64),
            height,
            centre,
            low: centre - threshold * sd,
            high: centre + threshold * sd,
        });
    }
    let p = band_p(farthest, df, norm.roughness).ok()?;
    let sharp: Vec<f64> = norms.iter().map(|n| n.sharpness(u)).collect();
    let tells = median(&sharp).ok()? >= 0.5;
    Some(OutlineCheck {
        feature: feature.to_owned(),
        n: norm.n,
        df,
        roughness: norm.roughness,
        threshold,
        excursions: excursions(own, &stations, &scores, threshold),
        stations,
        p,
        p_adjusted: p,
        verdict: Verdict::Undecided,
        tells,
    })
}

/// The stretches outside the band; ends are where the outline crosses it, between two stations.
fn excursions(
    own: &RegisteredOutline,
    stations: &[BandStation],
    scores: &[f64],
    threshold: f64,
) -> Vec<Excursion> {
    let side = |place: usize| match scores[place] {
        t if t > threshold => 1,
        t if t < -threshold => -1,
        _ => 0,
    };
    let mut found = Vec::new();
    let mut place = 0;
    while place < scores.len() {
        let first = place;
        while place < scores.len() && side(place) == side(first) {
            place += 1;
        }
        if side(first) == 0 {
            continue;
        }
        let crossing = |inside: usize, outside: usize| {
            let (a, b) = (scores[inside].abs(), scores[outside].abs());
            let share = (threshold - a) / (b - a);
            inside as f64 + share * (outside as f64 - inside as f64)
        };
        let same = |inside: usize| scores[inside].signum() == scores[first].signum();
        let from = match first.checked_sub(1).filter(|&before| same(before)) {
            Some(before) => crossing(before, first),
            None => first as f64,
        };
        let last = place - 1;
        let to = match Some(place).filter(|&next| next < scores.len() && same(next)) {
            Some(next) => crossing(next, last),
            None => last as f64,
        };
        let farthest = (first..place).max_by(|&a, &b| scores[a].abs().total_cmp(&scores[b].abs()));
        let at = stations[farthest.unwrap_or(first)];
        found.push(Excursion {
            from: own.station(from),
            to: own.station(to),
            at: at.station,
            deviation: at.height - at.centre,
            beyond: match at.height > at.high {
                true => at.height - at.high,
                false => at.height - at.low,
            },
        });
    }
    found
}
