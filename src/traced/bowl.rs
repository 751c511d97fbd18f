//! The cone on which several walls of one bowl lie.

use std::collections::HashMap;

use super::outline::points;
use crate::form::FormError;
use crate::form::cone::{Cone, Wall, cone};
use crate::table::Trace;

/// Side of a wall and its azimuth in degrees, anticlockwise from the front as seen from above.
const SIDES: [(&str, f64); 4] = [
    ("bowl_wall_front", 0.0),
    ("bowl_wall_left", 90.0),
    ("bowl_wall_back", 180.0),
    ("bowl_wall_right", 270.0),
];

/// The cone of one piece's walls.
#[derive(Clone, Debug, PartialEq)]
pub struct BowlCone {
    /// The piece.
    pub specimen: String,
    /// How many walls it was fitted to.
    pub walls: usize,
    /// The cone, or why it cannot be told.
    pub cone: Result<Cone, FormError>,
}

/// The cone of every piece of which two or more walls were traced, in the order of the traces. Its
/// half angle needs readings outward from the bowl's own axis or from lines beside it; radius and
/// apex need them from the axis itself.
pub fn bowl_cones(traces: &[Trace]) -> Vec<BowlCone> {
    let mut pieces: Vec<(&str, Vec<Wall>)> = Vec::new();
    let mut places: HashMap<&str, usize> = HashMap::new();
    for trace in traces {
        let key = &trace.feature.feature.key;
        let side = SIDES.iter().find(|(side, _)| side == key);
        let Some((&(_, azimuth), Ok((points, ..)))) = side.map(|side| (side, points(trace))) else {
            continue;
        };
        let at = *places.entry(&trace.specimen).or_insert_with(|| {
            pieces.push((&trace.specimen, Vec::new()));
            pieces.len() - 1
        });
        pieces[at].1.push(Wall { azimuth, points });
    }
    let several = pieces.into_iter().filter(|(_, walls)| walls.len() >= 2);
    let of = several.map(|(specimen, walls)| BowlCone {
        specimen: specimen.to_owned(),
        walls: walls.len(),
        cone: cone(&walls),
    });
    of.collect()
}
