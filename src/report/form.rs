//! Rows of forms.

use crate::form::colour::FinishColour;
use crate::form::departures::DepartureKind;
use crate::table::Trace;
use crate::traced::{BowlCone, Form, OutlineForm, SectionForm, TracedError};

row! {
    /// One result of one trace, or of a piece's walls together.
    #[derive(Default)]
    FormRow, FORM_COLUMNS;
    /// Specimen.
    specimen: &'a str,
    /// What was traced, and where: `bowl_section@22.5`; `bowl` for a cone of several walls.
    feature: String,
    /// Which of several traces of the same feature.
    repeat: Option<u64>,
    /// What is told: `straightness`, `departure`, `roundness`, `sides`, ...
    result: &'static str,
    /// Its value; missing where the trace says nothing.
    value: Option<f64>,
    /// Standard uncertainty, where it is known.
    uncertainty: Option<f64>,
    /// `mm`, `deg`, `mm2` or empty for a plain number.
    unit: &'static str,
    /// Station where a departure or a straight run begins, or lower limit of a break's place.
    from: Option<f64>,
    /// Where it ends, or the upper limit.
    to: Option<f64>,
    /// Station of the greatest height.
    at: Option<f64>,
    /// Probability of a break or of an undulation that clear in a piece that has none.
    p: Option<f64>,
    /// What form was asked of, what kind of departure, why nothing can be told.
    note: String,
}

/// The results of one trace, as rows.
pub fn form_rows<'a>(trace: &'a Trace, form: &Result<Form, TracedError>) -> Vec<FormRow<'a>> {
    let of = |result: &'static str, unit: &'static str, value: f64| FormRow {
        specimen: &trace.specimen,
        feature: trace.feature.to_string(),
        repeat: Some(u64::from(trace.repeat)),
        result,
        value: Some(value),
        unit,
        ..FormRow::default()
    };
    match form {
        Ok(Form::Outline(outline)) => outline_rows(outline, &of),
        Ok(Form::Section(section)) => section_rows(section, &of),
        Ok(Form::Finish(finish)) => finish_rows(finish, &of),
        Err(error) => vec![FormRow {
            value: None,
            note: error.to_string(),
            ..of("nothing", "", 0.0)
        }],
    }
}

type NewRow<'f, 'a> = &'f dyn Fn(&'static str, &'static str, f64) -> FormRow<'a>;

fn outline_rows<'a>(outline: &OutlineForm, of: NewRow<'_, 'a>) -> Vec<FormRow<'a>> {
    let (straightness, uncertainty) = outline.straightness();
    let run = &outline.departures.run;
    let bow = &outline.departures.bow;
    let mut rows = vec![
        FormRow {
            uncertainty: Some(uncertainty),
            from: Some(outline.stations.0),
            to: Some(outline.stations.1),
            note: format!("minimum zone; asked of {}", outline.asked_of),
            ..of("straightness", "mm", straightness)
        },
        of(
            "straightness_least_squares",
            "mm",
            outline.line.peak_to_valley,
        ),
        FormRow {
            uncertainty: Some(outline.angle.uncertainty),
            ..of("angle", "deg", outline.angle.degrees)
        },
        FormRow {
            at: Some(bow.station),
            note: "greatest height above the line through the ends".to_owned(),
            ..of("bow", "mm", bow.peak)
        },
        FormRow {
            from: Some(run.start),
            to: Some(run.end),
            note: format!("longest stretch within {} mm", outline.tolerance),
            ..of("straight_run", "mm", run.end - run.start)
        },
    ];
    for zone in &outline.departures.zones {
        let (kind, side) = (zone.kind, zone.peak > 0.0);
        let note = match (kind, side) {
            (DepartureKind::End, true) => "outward, to an end of the trace",
            (DepartureKind::End, false) => "inward, to an end of the trace",
            (DepartureKind::Inside, true) => "bulge",
            (DepartureKind::Inside, false) => "scoop",
        };
        let (from, to) = (Some(zone.start), Some(zone.end));
        rows.push(FormRow {
            from,
            to,
            at: Some(zone.peak_station),
            note: note.to_owned(),
            ..of("departure", "mm", zone.peak)
        });
        rows.push(FormRow {
            from,
            to,
            ..of("departure_area", "mm2", zone.area)
        });
    }
    if let Some(lines) = &outline.two_lines {
        let turn = lines.slope_after.atan() - lines.slope_before.atan();
        let p = Some(lines.kink.p);
        rows.push(FormRow {
            uncertainty: lines.standard_error,
            from: Some(lines.region.low),
            to: Some(lines.region.high),
            p,
            note: match lines.region.pieces.len() {
                0 | 1 => String::new(),
                several => format!("the interval is of {several} pieces"),
            },
            ..of("break", "mm", lines.at)
        });
        rows.push(FormRow {
            p,
            ..of("break_angle", "deg", turn.to_degrees())
        });
    }
    rows
}

fn section_rows<'a>(section: &SectionForm, of: NewRow<'_, 'a>) -> Vec<FormRow<'a>> {
    let (roundness, uncertainty) = section.roundness();
    let mut rows = vec![FormRow {
        uncertainty: Some(uncertainty),
        note: format!("minimum zone; asked of {}", section.asked_of),
        ..of("roundness", "mm", roundness)
    }];
    let circle = &section.least_squares;
    rows.push(of("roundness_least_squares", "mm", circle.peak_to_valley));
    if let Some(inscribed) = &section.inscribed {
        rows.push(of("roundness_inscribed", "mm", inscribed.peak_to_valley));
    }
    let outer = section.circumscribed.peak_to_valley;
    rows.push(of("roundness_circumscribed", "mm", outer));
    rows.push(FormRow {
        note: format!("least squares; condition {:.3}", circle.condition),
        ..of("diameter", "mm", 2.0 * circle.radius)
    });
    rows.push(of("largest_gap", "deg", section.largest_gap));
    let Some(lobes) = &section.lobes else {
        return rows;
    };
    for lobe in &lobes.orders {
        rows.push(FormRow {
            uncertainty: Some(lobe.standard_error),
            at: Some(lobe.crest_deg),
            p: Some(lobe.p_adjusted),
            note: format!("{} undulations per revolution", lobe.order),
            ..of("undulation", "mm", lobe.amplitude)
        });
    }
    if let Some(sides) = lobes.sides {
        rows.push(of("sides", "", f64::from(sides)));
    }
    rows
}

fn finish_rows<'a>(finish: &FinishColour, of: NewRow<'_, 'a>) -> Vec<FormRow<'a>> {
    let names = ["lightness", "red_green", "yellow_blue"];
    let units = ["L*", "a*", "b*"];
    let note = match finish.calibrated {
        true => String::new(),
        false => "a photograph without a reference card".to_owned(),
    };
    let component = |at: usize| FormRow {
        uncertainty: Some(finish.uncertainty[at]),
        note: note.clone(),
        ..of(names[at], units[at], finish.lab.components()[at])
    };
    let mut rows: Vec<FormRow<'a>> = (0..3).map(component).collect();
    rows.push(of("spots", "", finish.n as f64));
    if let Some(scatter) = finish.scatter {
        rows.push(of("spot_scatter", "dE00", scatter));
    }
    if let Some(farthest) = &finish.farthest {
        rows.push(FormRow {
            note: format!("spot {}", farthest.name),
            ..of("farthest_spot", "dE00", farthest.difference)
        });
    }
    rows
}

/// The cone of one piece's walls, as rows.
pub fn cone_rows(bowl: &BowlCone) -> Vec<FormRow<'_>> {
    let walls = format!("{} walls", bowl.walls);
    let of = |result: &'static str, unit: &'static str, value: Option<f64>| FormRow {
        specimen: &bowl.specimen,
        feature: "bowl".to_owned(),
        result,
        value,
        unit,
        note: walls.clone(),
        ..FormRow::default()
    };
    match &bowl.cone {
        Err(error) => vec![FormRow {
            note: format!("{walls}: {error}"),
            ..of("cone_half_angle", "deg", None)
        }],
        Ok(cone) => vec![
            FormRow {
                uncertainty: cone.errors.as_ref().map(|e| e.half_angle),
                ..of("cone_half_angle", "deg", Some(cone.half_angle))
            },
            FormRow {
                at: Some(cone.lean_direction),
                ..of("cone_lean", "deg", Some(cone.lean))
            },
            of("cone_apex", "mm", cone.apex_station),
            of("cone_residual_sd", "mm", cone.residual_sd),
        ],
    }
}
