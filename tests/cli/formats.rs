//! Every dialect of a table, and every form of a cell.

use super::{Csv, Desk, entry};

/// One table, to be written in every dialect. The note holds what a dialect could stumble over.
const ROWS: [[&str; 5]; 6] = [
    [
        "specimen",
        "pattern",
        "note",
        "bit width (mm)",
        "weight [g]",
    ],
    ["Ä1", "café", "plain", "16.10", "40.5"],
    ["Ä2", "café", "a \"quoted\" word", "16.22", "41.0"],
    ["Ä3", "café", "two\nlines, and; more\there", "15.95", "39.5"],
    ["Ä4", "café", "", "", "40.0"],
    ["Ä5", "café", "-", "16.05", "n/a"],
];

/// Writes the table with a delimiter, a line end and a decimal mark.
fn written(delimiter: char, line_end: &str, mark: &str) -> String {
    let cell = |(row, column): (usize, usize), text: &str| {
        let number = row > 0 && column > 2;
        let text = if number {
            text.replace('.', mark)
        } else {
            text.to_owned()
        };
        if text.contains([delimiter, '"', '\n']) {
            format!("\"{}\"", text.replace('"', "\"\""))
        } else {
            text
        }
    };
    let line = |(row, cells): (usize, &[&str; 5])| {
        let cells = cells
            .iter()
            .enumerate()
            .map(|(column, text)| cell((row, column), text));
        cells.collect::<Vec<_>>().join(&delimiter.to_string()) + line_end
    };
    ROWS.iter().enumerate().map(line).collect()
}

/// The norms of a file; the result does not name it, so those of two dialects can be compared.
#[track_caller]
fn norms_of(bytes: impl AsRef<[u8]>) -> String {
    let desk = Desk::with("s.csv", bytes);
    let answer = desk.run("norms --from s.csv --format csv").done();
    // A collection must be made of the same numbers.
    desk.run("add s.csv --to c.db").done();
    assert_eq!(
        desk.run("norms --from c.db --format csv").done().out,
        answer.out
    );
    answer.out
}

#[track_caller]
fn plain() -> String {
    let norms = norms_of(written(',', "\n", "."));
    let csv = Csv::parse(&norms);
    assert_eq!(csv.column("pattern"), ["café", "café"]);
    // Weight comes first in the catalogue.
    assert_eq!(csv.column("n"), ["4", "4"]);
    // Of an even number of readings half the sum of the middle two, as rounded in binary.
    assert_eq!(
        csv.column("median"),
        ["40.25", &((16.05 + 16.10) / 2.0f64).to_string()]
    );
    norms
}

#[test]
fn delimiters_line_ends_and_decimal_marks() {
    let want = plain();
    for delimiter in [',', ';', '\t'] {
        for line_end in ["\n", "\r\n", "\r"] {
            for mark in [".", ","] {
                if delimiter == ',' && mark == "," {
                    continue;
                }
                let text = written(delimiter, line_end, mark);
                assert_eq!(norms_of(&text), want, "{delimiter:?} {line_end:?} {mark:?}");
                let cut = text.trim_end_matches(['\r', '\n']);
                assert_eq!(norms_of(cut), want, "without a last line end");
            }
        }
    }
}

#[test]
fn encodings() {
    let want = plain();
    for delimiter in [',', ';', '\t'] {
        let text = written(delimiter, "\r\n", ".");
        let marked = format!("\u{feff}{text}");
        assert_eq!(norms_of(&marked), want, "UTF-8 with a byte-order mark");
        let little: Vec<u8> = marked.encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(norms_of(little), want, "UTF-16, little end first");
        let big: Vec<u8> = marked.encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(norms_of(big), want, "UTF-16, big end first");
        // Windows-1252: all of these characters are one byte, the same as in Unicode.
        let western: Vec<u8> = text.chars().map(|c| u8::try_from(c).unwrap()).collect();
        assert_eq!(norms_of(western), want, "Windows-1252");
    }
}

#[test]
fn windows_1252_beyond_latin_1() {
    // 0x96 is an en dash, 0xB1 the plus-minus sign, 0x97 an em dash.
    let mut bytes =
        b"specimen;pattern;bit width\nA;caf\xe9 \x96 x;16,1 \xb1 0,1\nB;caf\xe9 \x96 x;\x97\n"
            .to_vec();
    bytes.extend(b"C;caf\xe9 \x96 x;16,3\n");
    let csv = Csv::parse(&norms_of(bytes));
    assert_eq!(
        (csv.cell(0, "pattern"), csv.cell(0, "n")),
        ("café – x", "2")
    );
}

#[test]
fn spreadsheets_leave_blank_lines_and_empty_cells() {
    let want = norms_of("specimen,pattern,bit width\nA,apple,16.0\nB,apple,17.0\n");
    for text in [
        "\n\nspecimen,pattern,bit width\n\nA,apple,16.0\n\n\nB,apple,17.0\n\n",
        "specimen,pattern,bit width,,\nA,apple,16.0,,\nB,apple,17.0,,\n,,,,\n",
        "specimen,pattern,bit width\nA,apple,16.0,,\nB,apple,17.0\n,,\n  ,  ,\n",
        " specimen , pattern , bit width \n A , apple , 16.0 \n B ,apple, 17.0\n",
        "\"specimen\",\"pattern\",\"bit width\"\n\"A\",\"apple\",\"16.0\"\n\"B\",\"apple\",\"17.0\"\n",
        "SPECIMEN,Pattern,BIT.WIDTH\nA,apple,16.0\nB,apple,17.0\n",
        "bit_width_mm,pattern,specimen\n16.0,apple,A\n17.0,apple,B\n",
    ] {
        assert_eq!(norms_of(text), want, "{text}");
    }
}

#[test]
fn a_dimension_by_key_label_or_synonym_in_any_spelling() {
    for (heading, key, value) in [
        ("bit_thickness", "bit_thickness", 4.0),
        ("Bit Thickness", "bit_thickness", 4.0),
        ("BIT-THICKNESS", "bit_thickness", 4.0),
        ("bit.thickness", "bit_thickness", 4.0),
        ("bite zone thickness", "bit_thickness", 4.0),
        ("bit thickness (mm)", "bit_thickness", 4.0),
        ("bit thickness [cm]", "bit_thickness", 40.0),
        ("bit thickness (in)", "bit_thickness", 4.0 * 25.4),
        ("bit_thickness_in", "bit_thickness", 4.0 * 25.4),
        ("body.bit_thickness", "", 0.0),
        ("airway", "draught_diameter", 4.0),
        ("Draft Hole", "draught_diameter", 4.0),
        ("weight (oz)", "weight", 4.0 * 28.349523125),
        ("Weight_g", "weight", 4.0),
        ("rake (deg)", "cant_angle", 4.0),
    ] {
        let desk = Desk::with("s.csv", format!("specimen,pattern,{heading}\nA,p,4.00\n"));
        if key.is_empty() {
            let said = desk.refuses("norms --from s.csv");
            assert!(
                said.contains(heading) && said.contains("bit thickness"),
                "{said}"
            );
            continue;
        }
        let csv = desk.run("check A --from s.csv").ends(3).csv();
        assert_eq!(csv.column("dimension"), [key], "{heading}");
        assert!(
            (csv.number(0, "value") - value).abs() < 1e-12 * value,
            "{heading}: {csv:?}"
        );
    }
}

#[test]
fn columns_can_be_renamed_left_out_and_taken_as_new() {
    let sheet = "name,year,kind,mouth,price,flange (cm),depth of cut\n\
                 A,1930,apple,16.1,12,0.31,2.0\nB,1945,apple,16.3,9,0.33,2.1\n";
    let desk = Desk::with("s.csv", sheet);
    desk.write(
        "periods.csv",
        "period,from,to,standing\nOld,1921,1938,good\nLean,1939,1947,poor\n",
    );
    let options = [
        "--column",
        "name=specimen",
        "--column",
        "year=made",
        "--column",
        "kind=pattern",
        "--column",
        "mouth=bit width",
        "--skip",
        "price",
        "--new-dimensions",
    ];
    let mut words = vec!["norms", "--from", "s.csv", "--periods-from", "periods.csv"];
    words.extend(options);
    let csv = desk.run_words(&words).done().csv();
    let mut dimensions = csv.column("dimension");
    dimensions.sort_unstable();
    assert_eq!(dimensions, ["bit_width", "depth_of_cut", "flange"]);
    assert_eq!(
        csv.column("n"),
        ["1", "1", "1"],
        "only A was made in a good year"
    );
    assert_eq!(csv.column("unit"), ["mm", "mm", "mm"]);
    let flange = csv
        .column("dimension")
        .iter()
        .position(|d| *d == "flange")
        .unwrap();
    assert!((csv.number(flange, "mean") - 3.1).abs() < 1e-12);
    // What is neither known nor told is refused, and so is what is told of no column.
    let said = desk.refuses("norms --from s.csv --column name=specimen");
    for heading in [
        "year",
        "kind",
        "mouth",
        "price",
        "flange (cm)",
        "depth of cut",
    ] {
        assert!(
            said.contains(&format!("({heading})")),
            "no {heading} in {said}"
        );
    }
    let said = desk.refuses("norms --from s.csv --column nmae=specimen");
    assert!(
        said.contains("`nmae`") && said.contains("--column"),
        "{said}"
    );
    let said = desk.refuses("norms --from s.csv --column name=specimen --skip prices");
    assert!(
        said.contains("`prices`") && said.contains("--skip"),
        "{said}"
    );
    // A collection remembers them: the same file read otherwise is another source.
    let mut words = vec!["add", "s.csv", "--to", "c.db"];
    words.extend(options);
    desk.run_words(&words).done();
    let connection = rusqlite::Connection::open(desk.path("c.db")).unwrap();
    let kept: String = connection
        .query_row("SELECT options FROM file", [], |row| row.get(0))
        .unwrap();
    for word in ["name=specimen", "year=made", "mouth=bit width", "price"] {
        assert!(kept.contains(word), "no {word} in {kept}");
    }
}

const INCH: f64 = 25.4;

/// Cells, their value in mm and their standard uncertainty where the cell itself gives one.
fn forms() -> Vec<(&'static str, f64, Option<f64>)> {
    let gauge = (5.0 / 32.0 * INCH, 11.0 / 64.0 * INCH);
    let half_step = |parts: f64| Some(INCH / parts / 12f64.sqrt());
    vec![
        ("4.6", 4.6, None),
        ("4.6 mm", 4.6, Some(0.1 / 12f64.sqrt())),
        ("4.6mm", 4.6, Some(0.1 / 12f64.sqrt())),
        ("0.46 cm", 4.6, Some(0.1 / 12f64.sqrt())),
        ("0.181 in", 0.181 * INCH, Some(0.001 * INCH / 12f64.sqrt())),
        ("0.181\"", 0.181 * INCH, Some(0.001 * INCH / 12f64.sqrt())),
        ("11/64", 11.0 / 64.0 * INCH, half_step(64.0)),
        ("11/64\"", 11.0 / 64.0 * INCH, half_step(64.0)),
        ("11/64 in", 11.0 / 64.0 * INCH, half_step(64.0)),
        ("1 3/8", 1.375 * INCH, half_step(8.0)),
        ("1-3/8 in", 1.375 * INCH, half_step(8.0)),
        ("1⅜", 1.375 * INCH, half_step(8.0)),
        // Diameters of drills after the trade's table: #22 is 0.1570 in, F 0.2570 in.
        (
            "#22",
            0.157 * INCH,
            Some((0.159 - 0.154) / 2.0 * INCH / 12f64.sqrt()),
        ),
        (
            "no. 22",
            0.157 * INCH,
            Some((0.159 - 0.154) / 2.0 * INCH / 12f64.sqrt()),
        ),
        (
            "letter F",
            0.257 * INCH,
            Some((0.261 - 0.250) / 2.0 * INCH / 12f64.sqrt()),
        ),
        (
            "5/32..11/64",
            (gauge.0 + gauge.1) / 2.0,
            Some((gauge.1 - gauge.0) / 12f64.sqrt()),
        ),
        ("4.6 +- 0.1", 4.6, Some(0.1 / 3f64.sqrt())),
        ("4.6 +/- 0.1", 4.6, Some(0.1 / 3f64.sqrt())),
        ("4.6 ± 0.1", 4.6, Some(0.1 / 3f64.sqrt())),
        (
            "0.18 ± 0.01 in",
            0.18 * INCH,
            Some(0.01 * INCH / 3f64.sqrt()),
        ),
    ]
}

#[test]
fn all_forms_of_a_cell() {
    let forms = forms();
    for state in ["", " {worn}", "{replaced}", " { Reworked }"] {
        let mut sheet = String::from("specimen,pattern,overall length\n");
        for (i, (cell, ..)) in forms.iter().enumerate() {
            let cell = format!("{cell}{state}").replace('"', "\"\"");
            sheet.push_str(&format!("S{i},p,\"{cell}\"\n"));
        }
        let desk = Desk::with("s.csv", sheet);
        let names: Vec<String> = (0..forms.len()).map(|i| format!("S{i}")).collect();
        desk.run("add s.csv --to c.db").done();
        for source in ["s.csv", "c.db"] {
            let mut words = vec!["check", "--from", source, "--format", "json"];
            words.extend(names.iter().map(String::as_str));
            let json = desk.run_words(&words).json();
            for (name, (cell, value, u)) in names.iter().zip(&forms) {
                let piece = entry(&json["checks"], "specimen", name);
                let got = &piece["dimensions"][0];
                let near = |key: &str, want: f64| {
                    let got = got[key].as_f64().unwrap();
                    assert!(
                        (got - want).abs() <= 1e-13 * want,
                        "{cell}: {key} {got}, not {want}"
                    );
                };
                near("value", *value);
                // A plain cell has the finest step of its column's plain cells.
                near("uncertainty", u.unwrap_or(0.1 / 12f64.sqrt()));
                let state = state.trim_matches([' ', '{', '}']).to_lowercase();
                let state = if state.is_empty() { "factory" } else { &state };
                assert_eq!(got["state"], *state, "{cell}");
            }
        }
    }
}

#[test]
fn a_bare_decimal_is_in_the_unit_of_its_column() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,airway (in),weight (oz)\nA,p,0.181,1 1/2 oz\nB,p,4.6 mm,42 g\n",
    );
    let json = desk.run("check A B --from s.csv --format json").json();
    let value = |name: &str, dimension: &str| {
        let piece = entry(&json["checks"], "specimen", name);
        entry(&piece["dimensions"], "dimension", dimension)["value"]
            .as_f64()
            .unwrap()
    };
    assert_eq!(value("A", "draught_diameter"), 0.181 * INCH);
    assert_eq!(value("B", "draught_diameter"), 4.6);
    assert_eq!(value("A", "weight"), 1.5 * 28.349523125);
    assert_eq!(value("B", "weight"), 42.0);
}

#[test]
fn not_measured_is_not_zero() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,bit width,airway\nA,p,,4\nB,p,-,4\nC,p,?,4\nD,p,n/a,4\nE,p,NA,4\nF,p, ,4\nG,p,16,4\n",
    );
    let csv = desk.run("norms --from s.csv").done().csv();
    assert_eq!(csv.column("dimension"), ["draught_diameter", "bit_width"]);
    assert_eq!(csv.column("n"), ["7", "1"]);
    let checked = desk.run("check A B C D E F --from s.csv").csv();
    assert!(
        checked
            .column("dimension")
            .iter()
            .all(|d| *d == "draught_diameter")
    );
    // In the long form as well.
    desk.write(
        "l.csv",
        "specimen,dimension,value\nA,airway,-\nA,bit width,16\nB,airway,NA\nB,bit width,\n",
    );
    let csv = desk.run("norms --from l.csv").done().csv();
    assert_eq!(
        (csv.column("dimension"), csv.column("n")),
        (vec!["bit_width"], vec!["1"])
    );
}

#[test]
fn dates_in_every_form() {
    let desk = Desk::with(
        "p.csv",
        "period,from,to,standing\nOld,1921,1938,good\nLate,1939,1960,poor\n",
    );
    for (made, inside) in [
        ("1921", true),
        ("1938", true),
        ("1939", false),
        ("1931-1938", true),
        ("1931 - 1938", true),
        ("1937-1939", false),
        ("c. 1934", false),
        ("c. 1933", true),
        ("c. 1926", true),
        ("c. 1925", false),
        ("", false),
    ] {
        desk.write(
            "s.csv",
            format!("specimen,pattern,made,bit width\nA,p,{made},16\nB,p,1930,17\n"),
        );
        let csv = desk
            .run("norms --from s.csv --periods-from p.csv")
            .done()
            .csv();
        assert_eq!(csv.cell(0, "n"), if inside { "2" } else { "1" }, "{made}");
    }
}

#[test]
fn long_form_has_units_uncertainties_and_circumstances() {
    let desk = Desk::with(
        "l.csv",
        "specimen,pattern,dimension,value,unit,uncertainty,state,instrument,measured_by,measured_on,source,note\n\
         A,p,airway,0.2,in,0.002,factory,gauge,M,2001-02-03,club,fine day\n\
         A,p,bit thickness,4.6 ± 0.1,,,worn,,,,,\n\
         A,p,weight,1.5,oz,0.1,,,,,,\n",
    );
    desk.run("add l.csv --to c.db").done();
    for source in ["l.csv", "c.db"] {
        let json = desk
            .run(&format!("check A --from {source} --format json"))
            .ends(3)
            .json();
        let dimensions = &json["checks"][0]["dimensions"];
        for (key, value, u, state) in [
            ("draught_diameter", 0.2 * INCH, 0.002 * INCH, "factory"),
            ("bit_thickness", 4.6, 0.1 / 3f64.sqrt(), "worn"),
            ("weight", 1.5 * 28.349523125, 0.1 * 28.349523125, "unknown"),
        ] {
            let got = entry(dimensions, "dimension", key);
            let near = |key: &str, want: f64| {
                assert!(
                    (got[key].as_f64().unwrap() - want).abs() < 1e-13 * want,
                    "{got}"
                );
            };
            near("value", value);
            near("uncertainty", u);
            assert_eq!(got["state"], state);
        }
    }
}

#[test]
fn a_piece_measured_often_has_one_voice() {
    let mut sheet = String::from("specimen,pattern,dimension,value,state\n");
    sheet.push_str("A,p,bit width,16.0,factory\nB,p,bit width,17.0,factory\n");
    // Its factory readings count; their mean is 18.
    sheet.push_str(
        "C,p,bit width,17.0,factory\nC,p,bit width,19.0,factory\nC,p,bit width,5.0,worn\n",
    );
    let desk = Desk::with("l.csv", sheet);
    desk.run("add l.csv --to c.db").done();
    for source in ["l.csv", "c.db"] {
        let csv = desk.run(&format!("norms --from {source}")).done().csv();
        assert_eq!(
            (csv.cell(0, "n"), csv.number(0, "mean")),
            ("3", 17.0),
            "{source}"
        );
        assert_eq!(csv.number(0, "max"), 18.0);
    }
}

/// Where a faulty cell stands, as a spreadsheet shows it, and the line an editor shows.
#[test]
fn rows_and_lines_after_blank_lines_and_quoted_breaks() {
    for line_end in ["\n", "\r\n", "\r"] {
        for (text, row, line) in [
            ("specimen,note,bit width\nA,x,bad\n", 2, 2),
            ("specimen,note,bit width\n\n\nA,x,bad\n", 4, 4),
            ("\n\nspecimen,note,bit width\nA,x,bad\n", 4, 4),
            (
                "specimen,note,bit width\nA,\"one\ntwo\nthree\",16\nB,x,bad\n",
                3,
                5,
            ),
            ("specimen,note,bit width\nA,\"one\n\ntwo\",bad\n", 2, 2),
            ("specimen,\"a\nnote\",bit width\n\nA,x,bad\n", 3, 4),
            (
                "specimen,note,bit width\nA,\"1\n2\",16\n\nB,\"\"\"q\"\"\n\",16\n\n\nC,x,bad",
                7,
                9,
            ),
            ("specimen,note,bit width\nA,5\" and 6\",16\nB,x,bad\n", 3, 3),
        ] {
            let text = text.replace('\n', line_end);
            let desk = Desk::with("s.csv", &text);
            let words = ["norms", "--from", "s.csv", "--column", "a note=note"];
            let said = match text.contains("\"a") {
                true => desk.run_words(&words).ends(2).err,
                false => desk.refuses("norms --from s.csv"),
            };
            let place = match row == line {
                true => format!("s.csv, row {row}, column 3 (bit width): `bad`"),
                false => format!("s.csv, row {row} (line {line}), column 3 (bit width): `bad`"),
            };
            assert!(said.contains(&place), "no `{place}` for {text:?} in {said}");
        }
    }
}

#[test]
fn the_row_of_a_fault_in_a_long_table() {
    let desk = Desk::with(
        "l.csv",
        "specimen,dimension,value,note\nA,bit width,16,\"two\nlines\"\n\nA,airway,bad,\n",
    );
    let said = desk.refuses("norms --from l.csv");
    assert!(
        said.contains("l.csv, row 4 (line 5), column 3 (value): `bad`"),
        "{said}"
    );
}

/// Large enough to be read in several parts at once: the answer must not depend on it.
#[test]
fn a_large_file_is_read_as_a_small_one() {
    let mut sheet = String::from("specimen,pattern,made,bit width,note\n");
    let mut longer = sheet.clone();
    for i in 0..40_000 {
        let row = format!(
            "S{i:05},p{},{},{}.{:02},",
            i % 3,
            1900 + i % 60,
            15 + i % 3,
            i % 100
        );
        sheet.push_str(&format!("{row}this note makes the table larger\n"));
        // A quotation mark keeps it from being cut.
        longer.push_str(&format!("{row}\"this note makes the table larger\"\n"));
    }
    assert!(sheet.len() > 1 << 20);
    let desk = Desk::with("plain.csv", &sheet);
    desk.write("quoted.csv", longer);
    desk.write("returns.csv", sheet.replace('\n', "\r"));
    let of = |file: &str| desk.run(&format!("norms --from {file}")).done().out;
    let want = of("plain.csv");
    assert_eq!(Csv::parse(&want).column("n").len(), 3);
    assert_eq!(of("quoted.csv"), want);
    assert_eq!(of("returns.csv"), want);
    // A fault far down has its right row, wherever the parts were cut.
    desk.write(
        "bad.csv",
        sheet.replace("S39990,p0,1930,15.90", "S39990,p0,1930,15.9x"),
    );
    let said = desk.refuses("norms --from bad.csv");
    assert!(
        said.contains("bad.csv, row 39992, column 4 (bit width): `15.9x`"),
        "{said}"
    );
}
