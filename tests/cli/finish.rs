//! Colours of a finish: one finish is never measured by another, and a colour is judged as a whole.

use super::{Desk, entry};

/// Invented pieces of one pattern, smooth and stained dark; S9 is stained but called smooth.
const COLOURS: &str = "\
specimen,maker,pattern,finish,L*,a*,b*
S1,Row Works,apple,smooth,40.1,18.2,27.0
S2,Row Works,apple,Smooth,38.9,17.1,25.8
S3,Row Works,apple,smooth,41.0,18.9,28.1
S4,Row Works,apple,smooth,39.6,17.8,26.2
S5,Row Works,apple,smooth,40.4,17.5,27.2
S9,Row Works,apple,smooth,22.0,9.0,10.0
D1,Row Works,apple,dark stain,21.0,9.1,9.8
D2,Row Works,apple,dark stain,22.3,8.7,10.6
D3,Row Works,apple,dark stain,20.6,9.5,9.1
D4,Row Works,apple,dark stain,21.8,8.9,10.4
";

#[test]
fn a_stained_piece_is_out_of_norm_among_smooth_ones_only() {
    let desk = Desk::with("c.csv", COLOURS);
    let json = desk
        .run("check S9 --from c.csv --format json")
        .ends(1)
        .json();
    let check = &json["checks"][0];
    assert_eq!(
        entry(&check["dimensions"], "dimension", "finish_lightness")["n"],
        5
    );
    let finish = &check["finish"];
    assert_eq!(finish["n"], 5);
    assert_eq!(finish["verdict"], "out_of_norm");
    assert_eq!(finish["reading"].as_array().unwrap().len(), 3);
    assert!((finish["centre"][0].as_f64().unwrap() - 40.0).abs() < 1e-9);
    let number = |key: &str| finish[key].as_f64().unwrap();
    assert!(number("difference") > number("difference_at_limit"));
    assert!(number("p") < 0.05 && number("score_rms") > 1.0);
    let stained = COLOURS.replace("S9,Row Works,apple,smooth", "S9,Row Works,apple,Dark Stain");
    desk.write("d.csv", stained);
    let json = desk
        .run("check S9 --from d.csv --format json")
        .ends(0)
        .json();
    assert_eq!(json["checks"][0]["finish"]["n"], 4);
    assert_eq!(json["checks"][0]["finish"]["verdict"], "typical");
    // The same by way of a collection, which keeps finishes.
    desk.run("add d.csv --to d.db --by T --why x").ends(0);
    let stored = desk
        .run("check S9 --from d.db --format json")
        .ends(0)
        .json();
    assert_eq!(stored["checks"], json["checks"]);
}

#[test]
fn a_piece_without_a_whole_colour_has_no_finish() {
    let csv = COLOURS.replace(
        "S9,Row Works,apple,smooth,22.0,9.0",
        "S9,Row Works,apple,smooth,22.0,",
    );
    let desk = Desk::with("c.csv", csv);
    let json = desk
        .run("check S9 --from c.csv --format json")
        .ends(1)
        .json();
    assert!(json["checks"][0]["finish"].is_null());
}

#[test]
fn norms_name_the_finish_in_their_last_column() {
    let desk = Desk::with("c.csv", COLOURS);
    let csv = desk.run("norms --from c.csv --format csv").ends(0).out;
    let mut lines = csv.lines();
    assert!(lines.next().unwrap().ends_with(",finish"));
    let ends: Vec<&str> = lines.map(|l| l.rsplit(',').next().unwrap()).collect();
    let both = ["smooth", "dark stain"];
    assert_eq!(ends, [both, both, both].concat());
    let plain = desk.run("norms --from c.csv --format table").ends(0).out;
    assert!(plain.contains("dark stain"), "{plain}");
}

#[test]
fn people_are_told_how_far_off_a_colour_is() {
    let desk = Desk::with("c.csv", COLOURS);
    let page = desk.run("check S9 --from c.csv --format table").ends(1).out;
    let page = page.split_whitespace().collect::<Vec<_>>().join(" ");
    let (_, finish) = page.split_once("finish: ").unwrap();
    assert!(
        finish.starts_with("OUT OF NORM (colour difference dE00 "),
        "{finish}"
    );
    assert!(finish.contains("from the centre of 5 pieces; good pieces stay within about"));
    let working = desk.run("check S9 --from c.csv --show-working").ends(1).out;
    let working = working.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(working.contains("those of the same finish that have all three: S1, S2, S3, S4, S5"));
    assert!(working.contains("CIEDE2000 between centre and reading = "));
}
