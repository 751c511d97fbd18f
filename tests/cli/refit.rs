//! `refit`: the sheet, proposals, outlines, refusals.

use serde_json::Value;

use super::{Answer, Desk};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

#[track_caller]
fn refit(desk: &Desk, more: &str) -> Answer {
    desk.run(&format!(
        "refit --from {ROOT}/data --file {ROOT}/data/bench/bench.csv {more}"
    ))
}

fn of<'j>(json: &'j Value, key: &str, specimen: &str) -> &'j Value {
    let all = json[key].as_array().unwrap();
    all.iter().find(|p| p["specimen"] == specimen).unwrap()
}

/// The bench of the invented world: one piece wholly, one partly, one not at all.
#[test]
fn three_pieces_on_the_bench() {
    let desk = Desk::new();
    let json = refit(&desk, "--format json").ends(0).json();
    let keys = |piece: &Value, list: &str, key: &str| -> Vec<String> {
        let all = piece[list].as_array().unwrap().iter();
        all.map(|v| v[key].as_str().unwrap().to_owned()).collect()
    };
    let whole = of(&json, "plans", "HR0601");
    let works = [
        "open_draught",
        "open_stem_bore",
        "widen_slot",
        "raise_slot",
        "thin_bit",
    ];
    assert_eq!(keys(whole, "steps", "work"), works);
    assert_eq!(whole["left_alone"].as_array().unwrap().len(), 0);
    for size in whole["sizes"].as_array().unwrap() {
        if size["verdict"] == "out_of_norm" {
            assert!(size["probability"].as_f64().unwrap() > 0.9499, "{size}");
            assert!(size["probability_found"].as_f64().unwrap() < 0.5, "{size}");
        }
    }
    let partly = of(&json, "plans", "HR0602");
    assert_eq!(
        keys(partly, "steps", "work"),
        ["open_draught", "widen_slot", "raise_slot", "thin_bit"]
    );
    assert_eq!(
        keys(partly, "left_alone", "reason"),
        ["pushes_out", "material_to_add"]
    );
    let none = of(&json, "plans", "HR0603");
    assert_eq!(none["steps"].as_array().unwrap().len(), 0);
    assert_eq!(none["left_alone"].as_array().unwrap().len(), 8);
}

/// Nothing is planned below what must remain, and no size that was inside leaves.
#[test]
fn floors_hold_whatever_they_are() {
    let desk = Desk::new();
    let mut kept = 0;
    for least in ["0.5", "1.2", "1.4", "1.6"] {
        desk.write(
            "own.csv",
            format!("key,least,source\nbit_over_slot,{least},my own\n"),
        );
        let json = refit(&desk, "--format json --floors own.csv").json();
        for plan in json["plans"].as_array().unwrap() {
            for floor in plan["floors"].as_array().unwrap() {
                let at = |key: &str| floor[key].as_f64().unwrap();
                assert!(
                    at("left") >= at("least").min(at("found")) - 1e-6,
                    "{least}: {floor}"
                );
                kept += 1;
            }
        }
        let plan = of(&json, "plans", "HR0601");
        let bit = plan["steps"]
            .as_array()
            .unwrap()
            .iter()
            .any(|s| s["work"] == "thin_bit");
        // 1.67 mm are there as found, 1.33 mm after the whole plan.
        assert_eq!(bit, least < "1.4", "{least}");
    }
    assert!(kept > 20);
}

#[test]
fn words_and_cautions_stand_on_the_sheet() {
    let desk = Desk::new();
    let answer = refit(&desk, "--format table").ends(0);
    for words in [
        "in the order of work",
        "#25",
        "material would have to be added",
        "chamber diameter would become",
        "licensed or experienced hand",
        "wear a mask",
        "common practice, no source",
        "neither dates nor authenticates",
    ] {
        assert!(answer.out.contains(words), "{words} in\n{}", answer.out);
    }
}

#[test]
fn drills_of_a_set() {
    let desk = Desk::new();
    for (set, sizes) in [("metric", ["3.8 mm", "2.8 mm"]), ("inch", ["#25", "#33"])] {
        let json = refit(&desk, &format!("--format json --drills {set}")).json();
        let steps = of(&json, "plans", "HR0601")["steps"].clone();
        let names = [0, 1].map(|at| {
            steps[at]["drill"]["name"]
                .as_str()
                .unwrap_or_default()
                .to_owned()
        });
        assert_eq!(names[0], sizes[0], "{set}");
        if set == "metric" {
            assert_eq!(names[1], sizes[1]);
        }
    }
}

/// A proposed bit thins the walls over the slot; a thicker one is no taking off.
#[test]
fn what_if() {
    let desk = Desk::new();
    let json = refit(&desk, "--format json --what-if bit_thickness=4.1mm").json();
    let piece = of(&json, "what_if", "HR0601");
    let text = piece.to_string();
    assert!(text.contains("taking_off"), "{text}");
    let thicker = refit(&desk, "--format table --what-if bit_thickness=4.9mm");
    assert_eq!(thicker.status, 1, "{}", thicker.out);
}

#[track_caller]
fn of_feature<'j>(piece: &'j Value, feature: &str) -> &'j Value {
    let all = piece["outlines"].as_array().unwrap();
    all.iter().find(|o| o["feature"] == feature).unwrap()
}

#[test]
fn outlines_station_by_station() {
    let desk = Desk::new();
    let traces = format!("--outlines --traces {ROOT}/data/bench/bench_traces.csv");
    let json = refit(&desk, &format!("{traces} --format json")).json();
    let piece = of(&json, "pieces", "HR0601");
    let advised: Vec<&str> = piece["outlines"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|o| o["advised"] == true)
        .map(|o| o["feature"].as_str().unwrap())
        .collect();
    // The bulge and the elbow that were put there.
    assert!(
        advised.contains(&"bowl_wall_left") && advised.contains(&"stem_top"),
        "{advised:?}"
    );
    assert!(!advised.contains(&"bowl_wall_right"));
    // At the button 0.11 mm of its lower side goes: said to scripts as to people.
    let bottom = of_feature(piece, "stem_bottom");
    assert!(
        bottom["remarks"][0]
            .as_str()
            .unwrap()
            .starts_with("0.11 mm comes off at the button end"),
        "{bottom}"
    );
    let left_alone = of_feature(piece, "bowl_wall_right");
    assert_eq!(left_alone["remarks"].as_array().unwrap().len(), 0);
    for station in piece["stations"].as_array().unwrap() {
        let at = |key: &str| station[key].as_f64().unwrap();
        assert!(at("take_off_mm") >= 0.0);
        assert!(
            (at("found") - at("target") - at("take_off_mm")).abs() < 1e-9,
            "{station}"
        );
    }
    let table = refit(&desk, &format!("{traces} --format table"));
    assert!(
        table
            .out
            .contains("no outline of a bowl wall or of a stem was traced")
    );
    let cone = refit(&desk, &format!("{traces} --cone --format json")).json();
    let slopes: Vec<f64> = of(&cone, "pieces", "HR0601")["outlines"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|o| o["feature"].as_str().unwrap().starts_with("bowl_wall"))
        .map(|o| o["slope"].as_f64().unwrap())
        .collect();
    assert!(
        slopes.len() == 4 && slopes.iter().all(|&s| s == slopes[0]),
        "{slopes:?}"
    );
}

/// The plan and the drawing are one: what the outlines take counts in sizes, walls and weight.
#[test]
fn outlines_are_part_of_the_plan() {
    let desk = Desk::new();
    let traces = format!("--traces {ROOT}/data/bench/bench_traces.csv --format json");
    let json = refit(&desk, &traces).ends(0).json();
    let plan = of(&json, "plans", "HR0601");
    let steps = plan["steps"].as_array().unwrap();
    let number = |value: &Value| value.as_f64().unwrap();
    let straight: Vec<&Value> = steps.iter().filter(|s| !s["feature"].is_null()).collect();
    let features: Vec<&str> = straight
        .iter()
        .map(|s| s["feature"].as_str().unwrap())
        .collect();
    assert_eq!(features, ["bowl_wall_left", "stem_top", "stem_bottom"]);
    assert_eq!(plan["left_alone"].as_array().unwrap().len(), 0);
    // Each as the drawing has it.
    let drawn = refit(&desk, &format!("--outlines {traces}")).json();
    let drawn = of(&drawn, "pieces", "HR0601");
    for step in &straight {
        let outline = of_feature(drawn, step["feature"].as_str().unwrap());
        for (of_step, of_outline) in [
            ("take_off_mm", "most_mm"),
            ("volume_mm3", "volume_mm3"),
            ("weight_g", "weight_g"),
        ] {
            let (a, b) = (number(&step[of_step]), number(&outline[of_outline]));
            assert!((a - b).abs() < 1e-9 && a > 0.0, "{step} {outline}");
        }
    }
    // The lower line's material is as wide as the shank at the face and as the bit at the button.
    let stations = drawn["stations"].as_array().unwrap().iter();
    let line: Vec<(f64, f64)> = stations
        .filter(|s| s["feature"] == "stem_bottom")
        .map(|s| (number(&s["station"]), number(&s["take_off_mm"])))
        .collect();
    let (face, bit) = (13.52, 16.02);
    let (from, to) = (line[0].0, line[line.len() - 1].0);
    let width = |x: f64| face + (bit - face) * (x - from) / (to - from);
    let strips = line.windows(2).map(|pair| {
        let [(a, p), (b, q)] = [pair[0], pair[1]];
        let middle = 2.0 * (p + q) * width(0.5 * (a + b));
        (b - a) * (p * width(a) + middle + q * width(b)) / 6.0
    });
    let by_hand: f64 = strips.sum();
    let volume = number(&straight[2]["volume_mm3"]);
    assert!((volume / by_hand - 1.0).abs() < 1e-9, "{volume} {by_hand}");
    let size = |plan: &Value, key: &str| {
        let all = plan["sizes"].as_array().unwrap();
        all.iter().find(|s| s["dimension"] == key).unwrap().clone()
    };
    let lost: f64 = steps.iter().map(|s| number(&s["weight_g"])).sum();
    let weight = size(plan, "weight");
    assert!((number(&weight["found"]) - number(&weight["end"]) - lost).abs() < 1e-9);
    // The bit loses what the stem's lower line takes at the button, and the file takes the rest.
    let bit = size(plan, "bit_thickness");
    let filed = steps.iter().find(|s| s["work"] == "thin_bit").unwrap();
    let bottom = straight.last().unwrap();
    let by_line = bottom["moves"].as_array().unwrap().iter();
    let by_line: Vec<f64> = by_line
        .filter(|m| m["dimension"] == "bit_thickness")
        .map(|m| number(&m["from"]) - number(&m["to"]))
        .collect();
    let taken = number(&filed["take_off_mm"]) + by_line[0];
    assert!(by_line.len() == 1 && by_line[0] > 0.05);
    assert!((number(&bit["found"]) - number(&bit["end"]) - taken).abs() < 1e-9);
    // On that side the wall over the slot loses it wholly, and half of what the file takes; but for the bend of
    // the stem just before the button.
    let floors = plan["floors"].as_array().unwrap();
    let over_slot = |feature: Value| {
        let mut all = floors.iter();
        let found = all.find(|f| f["floor"] == "bit_over_slot" && f["feature"] == feature);
        found.map(|f| number(&f["left"]))
    };
    let both = over_slot(Value::Null).unwrap();
    let below = over_slot(Value::from("stem_bottom")).unwrap();
    assert!((both - below - by_line[0]).abs() < 0.02, "{both} {below}");
    // Without the traces nothing is known of a line.
    let without = refit(&desk, "--format json").json();
    let without = of(&without, "plans", "HR0601");
    assert_eq!(without["outlines"].as_array().unwrap().len(), 0);
    assert!(number(&size(without, "bit_thickness")["end"]) >= number(&bit["end"]) - 1e-9);
}

/// A stem whose end lacks material is no stem with a hump: nothing comes off where it is as good ones are. Only
/// the bit's thickness tells the two apart.
#[test]
fn what_lacks_material_is_left_alone() {
    let desk = Desk::new();
    let bench = std::fs::read_to_string(format!("{ROOT}/data/bench/bench.csv")).unwrap();
    let with = |bit: &str| {
        let changed = bench.replacen(",16.02,4.60,", &format!(",16.02,{bit},"), 1);
        assert_ne!(bench, changed);
        desk.write("own.csv", &changed);
    };
    let run = |format: &str| {
        desk.run(&format!(
            "refit --from {ROOT}/data --file own.csv --traces {ROOT}/data/bench/bench_traces.csv {format}"
        ))
    };
    let advised = || {
        let json = run("--format json").json();
        of_feature(of(&json, "plans", "HR0601"), "stem_top")["advised"] == true
    };
    // As thick as good ones at the bit, and a hump before it.
    with("4.05");
    assert!(advised());
    with("");
    assert!(!advised());
    with("3.20");
    let json = run("--format json").json();
    let plan = of(&json, "plans", "HR0601");
    let top = of_feature(plan, "stem_top");
    assert_eq!(
        (&top["reason"], &top["advised"]),
        (&"too_thin".into(), &false.into())
    );
    let steps = plan["steps"].as_array().unwrap();
    assert!(steps.iter().all(|s| s["feature"] != "stem_top"));
    let left = plan["left_alone"].as_array().unwrap();
    assert!(
        left.iter()
            .any(|l| l["dimension"] == "stem_top_straightness")
    );
    let table = run("--format table").out;
    assert!(
        table.contains("outline of the stem top: laid on this outline, good pieces"),
        "{table}"
    );
    let rows = run("--format csv").out;
    assert!(rows.contains("outline_left_alone") && rows.contains("too_thin"));
    // The drawing is there for who asks for it.
    let drawing = run("--format table --outlines").out;
    assert!(!drawing.contains("43.8"));
    let drawing = run("--format table --outlines --show stem_top").out;
    assert!(drawing.contains("43.8") && drawing.contains("The drawing only"));
    let wrong = run("--format table --outlines --show stem_side")
        .ends(2)
        .err;
    assert!(wrong.contains("expected one of bowl_wall_back"), "{wrong}");
}

/// A bent stem is no stem with a hump: its bore is bent with it, and the other side goes in. Without the line of
/// the other side nobody knows.
#[test]
fn a_bent_stem_is_left_alone() {
    let desk = Desk::new();
    let traces = std::fs::read_to_string(format!("{ROOT}/data/bench/bench_traces.csv")).unwrap();
    // The lower line as it would be with the upper one's hump going through.
    let mut stations: Vec<(f64, f64)> = Vec::new();
    let mut lines: Vec<String> = Vec::new();
    for line in traces.lines() {
        let cells: Vec<&str> = line.split(',').collect();
        if cells[1] == "stem_top" {
            stations.push((cells[2].parse().unwrap(), cells[3].parse().unwrap()));
        }
    }
    let (first, last) = (stations[0], *stations.last().unwrap());
    for line in traces
        .lines()
        .filter(|line| !line.contains(",stem_bottom,"))
    {
        lines.push(line.to_owned());
    }
    desk.write("one_side.csv", lines.join("\n"));
    let pattern = lines.iter().find(|line| line.contains(",stem_top,"));
    let pattern = pattern.unwrap().clone();
    let cells: Vec<&str> = pattern.split(',').collect();
    for (x, y) in &stations {
        let share = (x - first.0) / (last.0 - first.0);
        let chord = first.1 + share * (last.1 - first.1);
        let mut own: Vec<String> = cells.iter().map(|cell| (*cell).to_owned()).collect();
        own[1] = "stem_bottom".to_owned();
        own[2] = x.to_string();
        own[3] = format!("{:.2}", chord - (y - chord));
        lines.push(own.join(","));
    }
    desk.write("bent.csv", lines.join("\n"));
    // A line of the other side that ends half way tells as little as none.
    let half = lines.iter().filter(|line| {
        let cells: Vec<&str> = line.split(',').collect();
        cells[1] != "stem_bottom" || cells[2].parse::<f64>().unwrap() < 30.0
    });
    let half: Vec<String> = half.cloned().collect();
    desk.write("half.csv", half.join("\n"));
    for (file, reason, word) in [
        ("bent.csv", "bent", "in on its other side"),
        (
            "half.csv",
            "measure_first",
            "the line of the stem bottom (a trace)",
        ),
        (
            "one_side.csv",
            "measure_first",
            "the line of the stem bottom (a trace)",
        ),
    ] {
        let json = refit(&desk, &format!("--traces {file} --format json")).json();
        let top = of_feature(of(&json, "plans", "HR0601"), "stem_top").clone();
        assert_eq!(top["reason"], reason, "{top}");
        assert!(top["words"].as_str().unwrap().contains(word), "{top}");
    }
}

/// A blasted wall keeps its grain, unless a table of one's own says otherwise; cautions of wood and tool stay.
#[test]
fn a_grain_is_not_sanded_away() {
    let desk = Desk::new();
    let bench = std::fs::read_to_string(format!("{ROOT}/data/bench/bench.csv")).unwrap();
    let finish = bench.lines().nth(1).unwrap().split(',').nth(3).unwrap();
    desk.write(
        "own.csv",
        bench.replace(&format!(",{finish},"), ",Sand-Blasted,"),
    );
    desk.write("works.csv", "key,cautions,source\nthin_wall,finish,mine\n");
    let traces = format!("{ROOT}/data/bench/bench_traces.csv");
    let run = |more: &str| {
        let data =
            format!("--from {ROOT}/data --file own.csv --traces {traces} --format json {more}");
        desk.run(&format!("refit {data}")).json()
    };
    let json = run("");
    let plan = of(&json, "plans", "HR0601");
    assert_eq!(of_feature(plan, "bowl_wall_left")["reason"], "grain");
    let steps = plan["steps"].as_array().unwrap();
    assert!(steps.iter().all(|s| s["work"] != "straighten_wall"));
    // The stem has no grain.
    assert!(steps.iter().any(|s| s["feature"] == "stem_top"));
    let workshop = run("--works works.csv --what-if bowl_diameter=38.8");
    let works = of(&workshop, "what_if", "HR0601")["works"]
        .as_array()
        .unwrap()
        .clone();
    let mind: Vec<&str> = works[0]["precautions"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| p.as_str().unwrap())
        .collect();
    assert_eq!(mind, ["briar_dust", "finish"]);
    let refused = run("--what-if bowl_diameter=38.8");
    let refused = of(&refused, "what_if", "HR0601")["refused"]
        .as_array()
        .unwrap()
        .clone();
    assert_eq!(refused[0]["reason"], "grain", "{refused:?}");
}

/// What good pieces of the pattern are not is no aim: the walls of an apple are round.
#[test]
fn where_good_pieces_are_not_straight_nothing_is_made_so() {
    let desk = Desk::new();
    let data = format!("--from {ROOT}/data --traces {ROOT}/data/sheets/traces.csv");
    let json = desk
        .run(&format!("refit HR0039 {data} --format json"))
        .json();
    let plan = of(&json, "plans", "HR0039");
    assert_eq!(
        of_feature(plan, "bowl_wall_front")["reason"],
        "not_straight_here"
    );
    // Out of norm it is all the same, and said to be.
    let table = desk.run(&format!("refit HR0039 {data} --format table")).out;
    assert!(
        table.contains("outline of the bowl wall front: the good pieces"),
        "{table}"
    );
}

/// A wall that would get too thin on the side of the bulge stays as it is, and is named.
#[test]
fn a_floor_on_the_side_of_an_outline_stands_in_the_way() {
    let desk = Desk::new();
    let floors = "key,least,source\nwall,6.5,mine\n";
    desk.write("floors.csv", floors);
    let traces = format!("--traces {ROOT}/data/bench/bench_traces.csv --floors floors.csv");
    let json = refit(&desk, &format!("{traces} --format json")).json();
    let wall = of_feature(of(&json, "plans", "HR0601"), "bowl_wall_left").clone();
    assert_eq!(wall["reason"], "floor", "{wall}");
    let words = wall["words"].as_str().unwrap();
    assert!(
        words.starts_with("bowl wall, bowl wall left: 6.26 mm"),
        "{words}"
    );
}

/// The first piece of the bench with other sizes.
fn piece_with(sizes: &[(&str, &str)]) -> String {
    let mut bench = csv::Reader::from_path(format!("{ROOT}/data/bench/bench.csv")).unwrap();
    let header = bench.headers().unwrap().clone();
    let row = bench.records().next().unwrap().unwrap();
    let cells = header.iter().zip(&row).map(|(name, cell)| {
        let other = sizes.iter().find(|(of, _)| *of == name);
        other.map_or(cell, |(_, size)| size)
    });
    let mut own = csv::Writer::from_writer(Vec::new());
    own.write_record(&header).unwrap();
    own.write_record(cells).unwrap();
    String::from_utf8(own.into_inner().unwrap()).unwrap()
}

/// Its walls, straight but for what `more` adds: wall and share of the height, 0 to 1.
fn walls(more: impl Fn(&str, f64) -> f64) -> String {
    let mut traces = "specimen,feature,station,reading,unit,state\n".to_owned();
    for (wall, low, high) in [
        ("front", 16.0, 19.24),
        ("left", 16.3, 19.42),
        ("back", 16.3, 19.6),
        ("right", 16.28, 19.52),
    ] {
        for at in 0..=20 {
            let share = f64::from(at) / 20.0;
            let (station, reading) = (4.0 + 38.6 * share, low + (high - low) * share);
            let reading = reading + more(wall, share);
            traces.push_str(&format!(
                "HR0601,bowl_wall_{wall},{station:.2},{reading:.3},mm,factory\n"
            ));
        }
    }
    traces
}

fn planned(desk: &Desk, sizes: &[(&str, &str)], traces: String) -> Value {
    desk.write("own.csv", piece_with(sizes));
    desk.write("traces.csv", traces);
    let json = desk.run(&format!(
        "refit --from {ROOT}/data --file own.csv --traces traces.csv --format json"
    ));
    of(&json.json(), "plans", "HR0601").clone()
}

/// The wall thickness is that of the thinnest wall, so one wall counts: that which loses most, and no other for it
/// where that stays as it is.
#[test]
fn one_wall_counts_in_the_thickness_and_none_that_stays() {
    let desk = Desk::new();
    // Bows of the left and of the right wall, the thickness, and which are straightened.
    for (bows, thickness, advised) in [
        ([0.8, 0.6], "7.40", [true, true]),
        ([1.4, 0.6], "7.40", [false, true]),
        ([1.4, 0.6], "5.20", [false, false]),
    ] {
        let bow = |wall: &str, share: f64| {
            let most = match wall {
                "left" => bows[0],
                "right" => bows[1],
                _ => 0.0,
            };
            most * (std::f64::consts::PI * share).sin().powi(2)
        };
        let sizes = [("bowl_diameter", "41.00"), ("wall_thickness", thickness)];
        let plan = planned(&desk, &sizes, walls(bow));
        let mut most: f64 = 0.0;
        for (wall, (bow, advised)) in ["left", "right"].iter().zip(bows.iter().zip(advised)) {
            let outline = of_feature(&plan, &format!("bowl_wall_{wall}"));
            assert_eq!(
                outline["advised"] == true,
                advised,
                "{thickness}: {outline}"
            );
            most = most.max(if advised { *bow } else { 0.0 });
        }
        let all = plan["sizes"].as_array().unwrap();
        let size = all
            .iter()
            .find(|s| s["dimension"] == "wall_thickness")
            .unwrap();
        let lost = size["found"].as_f64().unwrap() - size["end"].as_f64().unwrap();
        assert!((lost - most).abs() < 0.05, "{thickness}: {lost} {most}");
    }
}

/// A diameter lies across two walls: what comes off all four takes it down by two of them.
#[test]
fn four_walls_take_two_off_a_diameter() {
    let desk = Desk::new();
    let flare = |_: &str, share: f64| 8.0 * (share - 0.85).max(0.0);
    let sizes = [("bowl_diameter", "41.50"), ("rim_diameter", "39.50")];
    let plan = planned(&desk, &sizes, walls(flare));
    let steps = plan["steps"].as_array().unwrap();
    let straight = steps.iter().filter(|s| s["work"] == "straighten_wall");
    assert_eq!(straight.clone().count(), 4, "{plan}");
    let lost: f64 = straight
        .flat_map(|s| s["moves"].as_array().unwrap())
        .filter(|m| m["dimension"] == "rim_diameter")
        .map(|m| m["from"].as_f64().unwrap() - m["to"].as_f64().unwrap())
        .sum();
    assert!((lost - 2.4).abs() < 0.01, "{lost}");
}

/// No size says that such a stem is too thick anywhere: its line would run below ends that are as good ones have
/// them.
#[test]
fn a_line_below_good_ends_is_none() {
    let desk = Desk::new();
    let traces = std::fs::read_to_string(format!("{ROOT}/data/bench/bench_traces.csv")).unwrap();
    for (bit, advised) in [("4.60", true), ("4.05", false)] {
        let plan = planned(&desk, &[("bit_thickness", bit)], traces.clone());
        let bottom = of_feature(&plan, "stem_bottom");
        assert_eq!(bottom["advised"] == true, advised, "{bottom}");
        let top = of_feature(&plan, "stem_top");
        assert_eq!(top["advised"], true, "{top}");
    }
}

#[test]
fn refusals() {
    let desk = Desk::new();
    for (more, word) in [
        ("--probability 1.5", "from 0.5"),
        ("--what-if bit_thickness=99mm", "no real pipe"),
        ("--what-if bit_thickness=thick", "--what-if"),
        ("--what-if no_such=4", "no_such"),
        ("--floors missing.csv", "missing.csv"),
    ] {
        let answer = refit(&desk, more);
        assert_eq!(answer.status, 2, "{more}: {}", answer.err);
        assert!(answer.err.contains(word), "{more}: {}", answer.err);
    }
    desk.write("own.csv", "key,least\nwall,thin\n");
    let answer = refit(&desk, "--floors own.csv");
    assert_eq!(answer.status, 2);
    assert!(
        answer.err.contains("own.csv") && answer.err.contains("thin"),
        "{}",
        answer.err
    );
}

/// Nothing measured, contradictory readings, an unknown wall: words, no panic, no advice.
#[test]
fn pieces_that_tell_too_little() {
    let desk = Desk::new();
    desk.write(
        "odd.csv",
        "specimen,maker,pattern,bit_thickness,slot_height,stem_bore,chamber_depth,bowl_height\n\
         BARE,Harbour Row Works,billiard H21,,,,,\n\
         THICK,Harbour Row Works,billiard H21,4.9,,,,\n\
         ODD,Harbour Row Works,billiard H21,,,,49.0,44.0\n\
         WHO,Nobody,no such pattern,4.9,1.5,3.0,,\n",
    );
    let answer = desk.run(&format!(
        "refit --from {ROOT}/data --file odd.csv --format table"
    ));
    assert!(answer.status != 2, "{}", answer.err);
    assert!(
        answer.out.contains("measure slot height first"),
        "{}",
        answer.out
    );
    assert!(answer.out.contains("cannot all be right"), "{}", answer.out);
    assert!(!answer.out.contains("NaN"), "{}", answer.out);
}
