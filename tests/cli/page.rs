//! Pages: the numbers of the other answers, in their places, and nothing that a page must not have. What a
//! browser makes of them is asked in `tests/browser`.

use std::collections::BTreeMap;

use serde_json::Value;

use super::{APPLES, Desk, PERIODS, demo, demo_collection, entry};

/// A tag of a page with its attributes, as written.
struct Tag {
    name: String,
    attributes: BTreeMap<String, String>,
}

impl Tag {
    fn has(&self, name: &str, value: &str) -> bool {
        self.attributes.get(name).is_some_and(|v| v == value)
    }

    #[track_caller]
    fn number(&self, name: &str) -> f64 {
        let text = self.attributes.get(name).map(String::as_str);
        let number = text.and_then(|text| text.parse().ok());
        number.unwrap_or_else(|| panic!("{name} of {} is {text:?}", self.name))
    }
}

/// The opening tags of a page, in order. Text and values of attributes hold no angle brackets.
#[track_caller]
fn tags(page: &str) -> Vec<Tag> {
    let after_style = page.split_once("</style>").unwrap().1;
    let tag = |text: &str| {
        let text = text.split_once('>').unwrap().0;
        let (name, mut rest) = text.split_once(' ').unwrap_or((text, ""));
        let mut attributes = BTreeMap::new();
        while let Some((key, more)) = rest.split_once("=\"") {
            let (value, more) = more.split_once('"').unwrap();
            attributes.insert(key.trim().to_owned(), value.to_owned());
            rest = more;
        }
        let name = name.to_owned();
        Tag { name, attributes }
    };
    let all = after_style
        .split('<')
        .skip(1)
        .filter(|t| !t.starts_with('/'));
    all.map(tag).collect()
}

/// The tags of one picture.
fn picture<'t>(tags: &'t [Tag], id: &str) -> &'t [Tag] {
    // Behind the name of a picture may stand a number of its own.
    let is_id = |named: &str| {
        let rest = named
            .strip_prefix(id)
            .and_then(|rest| rest.strip_suffix("-name"));
        rest.is_some_and(|rest| rest.chars().all(|c| c == '-' || c.is_ascii_digit()))
    };
    let named = |t: &Tag| {
        t.name == "svg"
            && t.attributes
                .get("aria-labelledby")
                .is_some_and(|n| is_id(n))
    };
    let from = tags
        .iter()
        .position(named)
        .unwrap_or_else(|| panic!("no picture {id}"));
    let next = tags[from + 1..].iter().position(|t| t.name == "svg");
    &tags[from..next.map_or(tags.len(), |next| from + 1 + next)]
}

#[track_caller]
fn page_of(name: &str) -> String {
    let desk = Desk::new();
    let collection = demo_collection();
    let words = ["page", name, "--from", &collection, "-o", "p.html"];
    desk.run_words(&words).done();
    desk.read("p.html")
}

#[track_caller]
fn answer(words: &[&str]) -> Value {
    let collection = demo_collection();
    let from = ["--from", &collection, "--format", "json"];
    Desk::new().run_words(&[words, &from].concat()).json()
}

fn check_of(name: &str) -> Value {
    answer(&["check", name])["checks"][0].clone()
}

/// Where a picture's own scale puts a number, to the hundredth that is written.
#[track_caller]
fn lies(scale: &Tag, number: f64, at: f64) {
    let [from, to, low, high] =
        ["data-from", "data-to", "data-low", "data-high"].map(|name| scale.number(name));
    let place = from + (number - low) / (high - low) * (to - from);
    assert!(
        (place - at).abs() < 0.011,
        "{number} lies at {at}, not {place}"
    );
}

#[test]
fn the_numbers_are_those_of_check() {
    let (page, check) = (page_of("HR0512"), check_of("HR0512"));
    let tags = tags(&page);
    let mut rows = 0;
    for dimension in check["dimensions"].as_array().unwrap() {
        let key = dimension["dimension"].as_str().unwrap();
        let row = tags
            .iter()
            .position(|t| t.name == "tr" && t.has("data-dimension", key));
        let row = row.unwrap_or_else(|| panic!("no row {key}"));
        let cells: Vec<&Tag> = tags[row + 1..]
            .iter()
            .take_while(|t| t.name != "tr")
            .collect();
        let values: Vec<f64> = (cells
            .iter()
            .filter(|t| t.attributes.contains_key("data-value")))
        .map(|t| t.number("data-value"))
        .collect();
        let of = |name: &str| dimension[name].as_f64().unwrap();
        let wanted = ["value", "centre", "deviation", "score", "p", "p_adjusted"].map(of);
        assert_eq!(values, wanted, "{key}");
        let band = cells
            .iter()
            .find(|t| t.attributes.contains_key("data-low"))
            .unwrap();
        assert_eq!(band.number("data-low"), of("typical_low"));
        assert_eq!(band.number("data-high"), of("typical_high"));
        rows += 1;
    }
    assert!(rows > 10);
    let digest = answer(&["check", "HR0512"])["provenance"]["sha256"]
        .as_str()
        .unwrap()
        .to_owned();
    assert!(page.contains(&digest));
}

/// Values and places of marks that are drawn as one shape.
fn crowd(tag: &Tag) -> Vec<(f64, f64)> {
    let Some(values) = tag.attributes.get("data-values") else {
        return Vec::new();
    };
    let values: Vec<f64> = values.split(' ').map(|v| v.parse().unwrap()).collect();
    let places = tag.attributes["points"].split(' ');
    let place = |at: &str| at.split(',').next().unwrap().parse().unwrap();
    let places: Vec<f64> = places.map(place).collect();
    assert_eq!(values.len(), places.len());
    values.into_iter().zip(places).collect()
}

#[test]
fn marks_lie_where_the_scale_puts_them() {
    let (page, check) = (page_of("HR0512"), check_of("HR0512"));
    let tags = tags(&page);
    let norms = answer(&["norms", "billiard H21"]);
    for dimension in check["dimensions"].as_array().unwrap() {
        let key = dimension["dimension"].as_str().unwrap();
        let strip = picture(&tags, &format!("strip-{}", key.replace('_', "-")));
        let scale = strip
            .iter()
            .find(|t| t.attributes.contains_key("data-from"))
            .unwrap();
        let alone = strip
            .iter()
            .filter(|t| t.attributes.contains_key("data-value") && t.name == "g")
            .map(|t| (t.number("data-value"), t.number("data-x")));
        let marks: Vec<(f64, f64)> = alone.chain(strip.iter().flat_map(crowd)).collect();
        // No piece of the poor period, so the piece is no reference itself.
        let norm = entry(&norms["norms"], "dimension", key);
        let n = norm["n"].as_u64().unwrap() + norm["n_set_aside"].as_u64().unwrap();
        assert_eq!(marks.len() as u64, n, "{key}");
        for (value, x) in marks {
            lies(scale, value, x);
        }
        let piece = strip
            .iter()
            .find(|t| t.attributes.contains_key("data-piece"))
            .unwrap();
        assert_eq!(
            piece.number("data-piece"),
            dimension["value"].as_f64().unwrap()
        );
        lies(scale, piece.number("data-piece"), piece.number("data-x"));
        let band = strip.iter().find(|t| t.has("class", "typical")).unwrap();
        assert_eq!(
            band.number("data-low"),
            dimension["typical_low"].as_f64().unwrap()
        );
        lies(scale, band.number("data-low"), band.number("x"));
        lies(
            scale,
            band.number("data-high"),
            band.number("x") + band.number("width"),
        );
    }
    // What matters comes first.
    let order: Vec<&str> = (tags
        .iter()
        .filter_map(|t| t.attributes.get("aria-labelledby")))
    .filter_map(|id| {
        id.strip_prefix("strip-")?
            .strip_suffix("-name")?
            .rsplit_once('-')
    })
    .map(|(key, _)| key)
    .collect();
    let verdict = |id: &str| {
        let key = id.replace('-', "_");
        entry(&check["dimensions"], "dimension", &key)["verdict"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    let out: Vec<bool> = order
        .iter()
        .map(|id| verdict(id) == "out_of_norm")
        .collect();
    assert!(out[0] && out.is_sorted_by(|a, b| a >= b), "{order:?}");
}

/// The planted faults of traced outlines that were compared: piece, feature, verdict, outline.
fn planted_outlines() -> Vec<(String, String, Value, Value)> {
    let planted = std::fs::read_to_string(demo("truth/planted_form.csv")).unwrap();
    let planted = super::Csv::parse(&planted);
    let outline = |row: usize| {
        let (name, feature) = (planted.cell(row, "specimen"), planted.cell(row, "feature"));
        let check = check_of(name);
        let mut outlines = check["outlines"].as_array().unwrap().iter();
        let outline = outlines.find(|o| o["feature"] == feature)?.clone();
        Some((name.to_owned(), feature.to_owned(), check, outline))
    };
    (0..planted.rows.len()).filter_map(outline).collect()
}

#[test]
fn outlines_are_those_of_check_station_by_station() {
    let mut seen = 0;
    for (name, feature, _, outline) in &planted_outlines() {
        let page = page_of(name);
        let tags = tags(&page);
        let drawn = picture(&tags, &format!("outline-{}", feature.replace('_', "-")));
        let scale = drawn
            .iter()
            .find(|t| t.attributes.contains_key("data-x-low"))
            .unwrap();
        let axis = |axis: &str| {
            let of = |what: &str| scale.number(&format!("data-{axis}-{what}"));
            let (low, high, from, to) = (of("low"), of("high"), of("from"), of("to"));
            move |v: f64| from + (v - low) / (high - low) * (to - from)
        };
        let (x, y) = (axis("x"), axis("y"));
        let line = drawn
            .iter()
            .find(|t| t.name == "polyline" && t.has("class", "own"))
            .unwrap();
        let points: Vec<(f64, f64)> = (line.attributes["points"].split(' '))
            .map(|point| {
                let (x, y) = point.split_once(',').unwrap();
                (x.parse().unwrap(), y.parse().unwrap())
            })
            .collect();
        let band = outline["band"].as_array().unwrap();
        assert_eq!(points.len(), band.len());
        for (point, station) in points.iter().zip(band) {
            let of = |name: &str| station[name].as_f64().unwrap();
            assert!((point.0 - x(of("station"))).abs() < 0.006);
            assert!((point.1 - y(of("height") - of("centre"))).abs() < 0.006);
        }
        let excursions = outline["excursions"].as_array().unwrap();
        let shown = drawn.iter().filter(|t| t.has("class", "excursion"));
        let shown: Vec<(f64, f64)> = shown
            .map(|t| (t.number("data-from"), t.number("data-to")))
            .collect();
        let told = excursions
            .iter()
            .map(|e| (e["from"].as_f64().unwrap(), e["to"].as_f64().unwrap()));
        assert_eq!(shown, told.collect::<Vec<_>>());
        seen += usize::from(!excursions.is_empty());
    }
    assert!(seen > 3, "{seen}");
}

/// Somebody files where the drawing points: at the station of the largest excursion; on the stem its place
/// is known from outside, on its own side of the axis.
#[test]
fn an_outline_is_called_out_at_its_station() {
    let mut seen = 0;
    let out = |outline: &Value| outline["verdict"] == "out_of_norm";
    let planted = planted_outlines();
    for (name, feature, check, outline) in planted.iter().filter(|(.., outline)| out(outline)) {
        let dimensions = check["dimensions"].as_array().unwrap();
        let size = |key: &str, usual: f64| {
            let of = dimensions.iter().find(|d| d["dimension"] == key);
            of.map_or(usual, |d| d["value"].as_f64().unwrap())
        };
        let page = page_of(name);
        let words = feature.replace('_', " ");
        let calls = page.split_once("<ol class=\"calls\">").unwrap().1;
        let calls = calls.split_once("</ol>").unwrap().0.split("<li>").skip(1);
        let words = format!("outline of the {words}: ");
        let mut numbered = (1..).zip(calls);
        let (number, call) = numbered.find(|(_, call)| call.starts_with(&words)).unwrap();
        let station = call
            .split(' ')
            .skip_while(|word| *word != "at")
            .nth(1)
            .unwrap();
        let station: f64 = station.parse().unwrap();
        let excursions = outline["excursions"].as_array().unwrap().iter();
        let beyond = |e: &&Value| e["beyond"].as_f64().unwrap().abs();
        let most = excursions
            .max_by(|a, b| beyond(a).total_cmp(&beyond(b)))
            .unwrap();
        let largest = most["at"].as_f64().unwrap();
        // A tenth is told; a stem ends at its button of 3.5 mm, where a pin stays.
        assert!((largest - station).abs() < 0.051, "{name} {feature}");
        let tags = tags(&page);
        let spot = tags
            .iter()
            .find(|t| t.has("class", "spot") && t.has("data-number", &number.to_string()));
        let spot = spot.unwrap();
        if feature.starts_with("stem_") {
            let from_face = spot.number("data-along") - size("shank_length", 40.0);
            assert!(
                (from_face - station).abs() < 0.06 || station > size("stem_length", 70.0) - 3.6,
                "{name}"
            );
            let up = spot.number("data-up");
            let is_up = feature == "stem_top" || feature == "stem_right";
            assert!(
                if is_up { up > 0.5 } else { up < -0.5 },
                "{name} {feature} {up}"
            );
            seen += 1;
        }
    }
    assert!(seen > 1, "{seen}");
}

#[test]
fn a_pattern_has_the_numbers_of_norms_and_the_years_of_periods() {
    let page = page_of("billiard H21");
    let tags = tags(&page);
    let norms = answer(&["norms", "billiard H21"]);
    let mut rows = 0;
    for norm in norms["norms"].as_array().unwrap() {
        let key = norm["dimension"].as_str().unwrap();
        if key.starts_with("finish_") {
            continue;
        }
        let row = tags
            .iter()
            .position(|t| t.name == "tr" && t.has("data-dimension", key))
            .unwrap();
        let mut cells = tags[row + 1..].iter().take_while(|t| t.name != "tr");
        let centre = cells
            .find(|t| t.attributes.contains_key("data-value"))
            .unwrap();
        assert_eq!(
            centre.number("data-value"),
            norm["centre"].as_f64().unwrap()
        );
        let Some(low) = norm["typical_low"].as_f64() else {
            continue;
        };
        let band = cells
            .find(|t| t.attributes.contains_key("data-low"))
            .unwrap();
        assert_eq!(band.number("data-low"), low);
        assert_eq!(
            band.number("data-high"),
            norm["typical_high"].as_f64().unwrap()
        );
        rows += 1;
    }
    assert!(rows > 10);
    let periods = answer(&["periods", "billiard H21"]);
    let shifts = periods["shift_years"].as_array().unwrap();
    let alone = shifts.iter().filter(|s| s["pattern"] == "billiard H21");
    let mut years: Vec<i64> = alone.filter_map(|s| s["year"].as_i64()).collect();
    let drawn = tags.iter().filter_map(|t| t.attributes.get("data-year"));
    let mut drawn: Vec<i64> = drawn.map(|year| year.parse().unwrap()).collect();
    years.sort_unstable();
    drawn.sort_unstable();
    assert_eq!(drawn, years);
    assert!(!years.is_empty());
}

/// Whatever people call their pieces, it stays text; and no page asks for anything.
#[test]
fn nothing_runs_and_nothing_is_fetched() {
    let name = "<script>alert(1)</script>";
    let sheet = format!(
        "specimen,maker,pattern,\"bit <b>x</b> (mm)\",note\n\
         {name},\"\"\"><img src=x onerror=alert(1)>\",\"p</style><svg onload=alert(2)>\",4.1,\n\
         B,\"\"\"><img src=x onerror=alert(1)>\",\"p</style><svg onload=alert(2)>\",4.2,\n\
         C,\"\"\"><img src=x onerror=alert(1)>\",\"p</style><svg onload=alert(2)>\",4.0,\n"
    );
    let desk = Desk::with("odd.csv", sheet);
    let options = ["--from", "odd.csv", "--new-dimensions"];
    desk.run_words(&[&["page", name, "-o", "p.html"], &options[..]].concat())
        .done();
    desk.run_words(
        &[
            &["page", "p</style><svg onload=alert(2)>", "-o", "q.html"],
            &options[..],
        ]
        .concat(),
    )
    .done();
    desk.run_words(&[&["page", "--all", "-o", "all"], &options[..]].concat())
        .done();
    for page in ["p.html", "q.html", "all/index.html"]
        .map(|name| desk.read(name))
        .iter()
        .chain(&[page_of("HR0054")])
    {
        // A place of the same page may be pointed at.
        let lower = page.to_ascii_lowercase().replace("url(#", "");
        for never in [
            "<script",
            "<img",
            "<svg onload",
            "<iframe",
            "<link",
            "<object",
            "javascript:",
            "http:",
            "https:",
            "@import",
            "url(",
            " style=",
            "onerror=\"",
            "onload=\"",
        ] {
            assert!(!lower.contains(never), "{never}");
        }
        assert_eq!(lower.matches("<style>").count(), 1);
        assert!(page.contains("default-src 'none'; style-src 'sha256-"));
        assert!(!page.contains("unsafe"));
    }
    assert!(
        desk.read("p.html")
            .contains("&lt;script&gt;alert(1)&lt;/script&gt;")
    );
}

#[test]
fn all_pages_in_a_folder_that_leads_to_each() {
    let desk = Desk::with("s.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    let line = "page --all --from s.csv --periods-from periods.csv -o site";
    desk.run(line).done();
    let index = desk.read("site/index.html");
    let tags = tags(&index);
    let links = tags.iter().filter_map(|t| t.attributes.get("href"));
    let files: Vec<&String> = links.filter(|link| !link.starts_with('#')).collect();
    // Eight pieces and a pattern.
    assert_eq!(files.len(), 9);
    for file in files {
        assert!(
            desk.read(&format!("site/{file}"))
                .starts_with("<!DOCTYPE html>"),
            "{file}"
        );
    }
    assert_eq!(index.matches("OUT OF NORM").count(), 1);
    // What is there is never written over.
    assert!(desk.refuses(line).contains("no empty folder"));
    desk.write("file", "");
    assert!(
        desk.refuses("page --all --from s.csv -o file")
            .contains("no empty folder")
    );
    let refused = |line: &str, why: &str| assert!(desk.refuses(line).contains(why), "{line}");
    refused("page --all --from s.csv -o .", "has no name");
    refused("page A1 --from s.csv -o s.csv", "is made from");
    std::fs::create_dir(desk.path("dir")).unwrap();
    refused("page A1 --from s.csv -o dir", "is no file");
    assert!(
        desk.refuses("page --all A1 --from s.csv -o other")
            .contains("--all")
    );
}

#[test]
fn the_same_day_gives_the_same_page() {
    let desk = Desk::with("s.csv", APPLES);
    let run = |epoch: &str, file: &str| {
        let mut command = desk.command();
        command
            .args(["page", "A8", "--from", "s.csv", "-o", file])
            .env("SOURCE_DATE_EPOCH", epoch);
        super::Answer::of(&mut command)
    };
    run("1700000000", "a.html").done();
    run("1700000000", "b.html").done();
    assert_eq!(desk.read("a.html"), desk.read("b.html"));
    assert!(desk.read("a.html").contains("2023-11-14"));
    let refused = run("yesterday", "c.html").ends(2);
    assert!(refused.err.contains("seconds since 1970") && !desk.has("c.html"));
}

#[test]
fn a_name_that_nobody_has_and_a_place_that_cannot_be_written() {
    let desk = Desk::with("s.csv", APPLES);
    let refused = desk.refuses("page appels --from s.csv -o p.html");
    assert!(
        refused.contains("no specimen and no pattern `appels`") && refused.contains("nearest"),
        "{refused}"
    );
    let refused = desk.refuses("page A1 --from s.csv -o nowhere/p.html");
    assert!(refused.contains("cannot write"), "{refused}");
    let refused = desk.refuses("page apple --maker nobody --from s.csv -o p.html");
    assert!(refused.contains("by `nobody`"), "{refused}");
    // A page of a pattern, in any spelling, and from standard input.
    desk.run_on("page APPLE --from - -o p.html", APPLES).done();
    assert!(desk.read("p.html").contains("apple, Row Works"));
    desk.run("page A8 --file s.csv --from s.csv -o q.html")
        .done();
    assert!(desk.read("q.html").contains("OUT OF NORM"));
}

#[test]
fn a_file_of_one_row_and_a_source_of_no_good_one() {
    let desk = Desk::with("s.csv", APPLES);
    desk.write(
        "one.csv",
        "specimen,maker,pattern,bit width\nX,Row Works,apple,16.1\n",
    );
    desk.run("page --file one.csv --from s.csv -o x.html")
        .done();
    assert!(desk.read("x.html").contains("<h1><bdi>X</bdi>"));
    let said = desk.refuses("page --file s.csv --from s.csv -o y.html");
    assert!(
        said.contains("s.csv has") && said.contains("name the one"),
        "{said}"
    );
    let said = desk.refuses("page Xx --file one.csv --from s.csv -o y.html");
    assert!(
        said.contains("no specimen `Xx`") && said.contains("in one.csv"),
        "{said}"
    );
    desk.write("bad.csv", "specimen,pattern,bit width\nA,apple,wide\n");
    let said = desk.run("page --all --from bad.csv --set-aside aside.csv -o pages");
    let said = said.ends(2).err;
    assert!(said.contains("no good row is left in bad.csv"), "{said}");
    assert!(desk.has("aside.csv") && !desk.has("pages") && !desk.has("y.html"));
}

#[test]
fn a_page_for_a_reader_and_a_piece_named_like_a_pattern() {
    let desk = Desk::with(
        "s.csv",
        APPLES.to_owned() + "Apple,Row Works,apple,1935,16.2,2.0\n",
    );
    let read = desk.run("page A8 --from s.csv -o -").done().out;
    desk.run("page A8 --from s.csv -o p.html").done();
    assert_eq!(read, desk.read("p.html"));
    for folder in ["--pictures A8", "--all"] {
        let refused = desk.refuses(&format!("page {folder} --from s.csv -o -"));
        assert!(
            refused.contains("a folder cannot go to standard output"),
            "{refused}"
        );
    }
    assert!(!desk.has("-"));
    let piece = desk.run("page Apple --from s.csv -o piece.html").done();
    assert!(
        piece.err.contains("--maker shows the pattern"),
        "{}",
        piece.err
    );
    assert!(desk.read("piece.html").contains("<h1><bdi>Apple</bdi>"));
    let options = [
        "--from",
        "s.csv",
        "-o",
        "pattern.html",
        "--maker",
        "Row Works",
    ];
    desk.run_words(&[&["page", "Apple"], &options[..]].concat())
        .done();
    assert!(
        desk.read("pattern.html")
            .contains("<h1><bdi>apple, Row Works</bdi>")
    );
}

#[test]
fn a_file_that_is_no_page_stays() {
    let desk = Desk::with("s.csv", APPLES);
    let other = "<!DOCTYPE html><html lang=\"en\"><title>Somebody's letter</title>";
    for (name, content) in [("other.csv", "a,b\n1,2\n"), ("letter.html", other)] {
        desk.write(name, content);
        let refused = desk.refuses(&format!("page A8 --from s.csv -o {name}"));
        assert!(refused.contains("is there and is no page"), "{refused}");
        assert_eq!(desk.read(name), content);
    }
    desk.write("empty.html", "");
    for name in ["empty.html", "new.html"] {
        // A page over a page.
        desk.run(&format!("page A1 --from s.csv -o {name}")).done();
        desk.run(&format!("page A8 --from s.csv -o {name}")).done();
        assert!(desk.read(name).starts_with(calibriar::page::START));
        assert!(desk.read(name).contains("<h1><bdi>A8</bdi>"));
    }
}

/// What is out of norm as a whole is not to be missed, in the headline and in the index.
#[test]
fn a_piece_that_is_too_large_as_a_whole_says_so() {
    let headline = "borderline in its dimensions; OUT OF NORM besides: size as a whole";
    let page = page_of("HR0400");
    assert!(page.contains(headline), "{page}");
    assert_eq!(check_of("HR0400")["joint"]["size_verdict"], "out_of_norm");
}

/// Spellings of one pattern's name are one pattern, in the index as in its norms.
#[test]
fn the_index_knows_spellings() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,bit width\nA,Quay  Billiard,16\nB,quay billiard,16.1\nC,QUAY BILLIARD,16.2\nD,,16\n",
    );
    desk.run("page --all --from s.csv -o all").done();
    let index = desk.read("all/index.html");
    assert!(index.contains("4 pieces, 1 pattern, "), "{index}");
    assert!(index.contains(": 3 pieces, 0 out of norm"), "{index}");
    assert_eq!(
        index
            .matches("What this pattern's good pieces measure")
            .count(),
        1
    );
}

/// Of what was read as no pipe is, the drawing does not say that it was not measured; and a traced line is
/// the pipe's own although a size beside it is missing.
#[test]
fn the_drawing_knows_what_was_read() {
    let sheet = APPLES.replace("bit width", "bit width,bowl height");
    let sheet: String = sheet
        .lines()
        .enumerate()
        .map(|(i, line)| match i {
            0 => line.to_owned() + "\n",
            _ => {
                let (rest, last) = line.rsplit_once(',').unwrap();
                let height = if line.starts_with("A8,") {
                    "1.86"
                } else {
                    "46.5"
                };
                format!("{rest},{height},{last}\n")
            }
        })
        .collect();
    let desk = Desk::with("s.csv", sheet);
    desk.run("page A8 --from s.csv -o p.html").done();
    let page = desk.read("p.html");
    let told = page
        .split("Read as no real pipe is, so in usual proportions as well: ")
        .nth(1);
    assert!(
        told.is_some_and(|told| told.starts_with("bowl height.")),
        "{page}"
    );
    let missing = page
        .split("what they alone shape is dashed): ")
        .nth(1)
        .unwrap();
    assert!(!missing.split('.').next().unwrap().contains("bowl height"));
}

/// What stands beside a picture of its own is not said a second time.
#[test]
fn nothing_is_said_twice() {
    let page = page_of("HR0512");
    assert_eq!(page.matches("neither dates nor authenticates").count(), 1);
    let (_, said) = page.split_once("<h2>In words</h2>").unwrap();
    let (said, rest) = said.split_once("</section>").unwrap();
    assert!(said.contains("<li>"), "{said}");
    assert!(
        !said.contains("misfit") && rest.contains("misfit"),
        "{said}"
    );
}

#[test]
fn as_left_stands_beside_as_found() {
    let desk = Desk::with("s.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk.run("add s.csv periods.csv --to c.db").done();
    desk.run("page A8 --from c.db -o before.html").done();
    desk.run("record A8 --set bit_width=16.2mm --to c.db")
        .done();
    desk.run("page A8 --from c.db -o after.html").done();
    let (before, after) = (desk.read("before.html"), desk.read("after.html"));
    let left = |page: &str| {
        let tags = tags(page);
        let all = tags.iter().filter(|t| t.has("class", "left"));
        all.map(|t| t.number("data-value")).collect::<Vec<f64>>()
    };
    assert_eq!(left(&before), [] as [f64; 0]);
    assert_eq!(left(&after), [16.2]);
    // The piece is still shown as it was found.
    assert!(after.contains("data-piece=\"18.4\""));
}

/// Contrast of two colours as WCAG 2.2 defines it.
fn contrast(a: &str, b: &str) -> f64 {
    let luminance = |hex: &str| {
        let full: String = match hex.len() {
            4 => hex[1..].chars().flat_map(|c| [c, c]).collect(),
            _ => hex[1..].to_owned(),
        };
        let linear = |at: usize| {
            let s = f64::from(u8::from_str_radix(&full[at..at + 2], 16).unwrap()) / 255.0;
            if s <= 0.04045 {
                s / 12.92
            } else {
                ((s + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * linear(0) + 0.7152 * linear(2) + 0.0722 * linear(4)
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// WCAG 2.2: text 4.5 (1.4.3), parts of pictures 3 (1.4.11). The pairs are worked out to 40 digits from its
/// definition of contrast.
#[test]
fn every_colour_stands_out_from_its_ground() {
    for (a, b, wanted) in [
        ("#000000", "#FFFFFF", 21.0),
        ("#777777", "#FFFFFF", 4.47808945358),
        ("#0072B2", "#FFFFFF", 5.18544634578),
        ("#D55E00", "#FFFFFF", 3.86718378987),
        ("#0A0A0A", "#0B0B0B", 1.00586903639),
        ("#5B3A1E", "#F4ECD8", 8.62160711968),
        ("#009E73", "#F0E442", 2.58720995822),
    ] {
        assert!((contrast(a, b) - wanted).abs() < 1e-10, "{a} {b}");
    }
    let style = include_str!("../../src/page/style.css");
    let read = |part: &str| {
        let body = part.split_once('{').unwrap().1.split_once('}').unwrap().0;
        let of = |line: &str| {
            let (name, value) = line.trim().strip_prefix("--")?.split_once(": ")?;
            Some((name.to_owned(), value.to_owned()))
        };
        body.split(';')
            .filter_map(of)
            .collect::<BTreeMap<String, String>>()
    };
    let parts: Vec<BTreeMap<String, String>> = style
        .match_indices(":root")
        .map(|(at, _)| read(&style[at..]))
        .collect();
    assert_eq!(parts.len(), 3, "light, dark, paper");
    let light = &parts[0];
    for own in &parts {
        let colour = |name: &str| own.get(name).or(light.get(name)).unwrap().as_str();
        for text in ["ink", "soft", "alarm", "link"] {
            for ground in ["paper", "band"] {
                let ratio = contrast(colour(text), colour(ground));
                let least = if ground == "paper" || text == "ink" {
                    4.5
                } else {
                    3.0
                };
                assert!(ratio >= least, "{text} on {ground}: {ratio}");
            }
        }
        for part in ["line", "own", "alarm", "ink"] {
            let ratio = contrast(colour(part), colour("paper"));
            assert!(ratio >= 3.0, "{part}: {ratio}");
        }
        // Marks have an edge of ink, so that their filling need not stand out.
        let ratio = contrast(colour("ink"), colour("wood"));
        assert!(ratio >= 4.5, "{ratio}");
    }
    assert!(style.contains(".mark { stroke: var(--ink)"));
    // The palette of Okabe and Ito as R 4.2.2 has it (grDevices, "Okabe-Ito").
    for colour in [
        "#0072b2", "#e69f00", "#009e73", "#cc79a7", "#56b4e9", "#f0e442",
    ] {
        assert!(style.contains(colour), "{colour}");
    }
}
