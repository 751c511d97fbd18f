//! The years in which a dimension shifted, as `periods` tells them.

use super::Desk;

/// Twenty pieces of an invented pattern, one a year from 1930 on; from 1940 on the bit is 8 % thicker.
fn thicker() -> String {
    let mut text = String::from("specimen,maker,pattern,made,bit thickness\n");
    for i in 0..20 {
        let off = [0.01, -0.02, 0.03, -0.01, -0.03, 0.02][i % 6];
        let size = if i >= 10 { 4.32 } else { 4.0 };
        text.push_str(&format!(
            "T{i},Row Works,apple,{},{:.2}\n",
            1930 + i,
            size + off
        ));
    }
    text
}

const COLUMNS: &str = "maker,pattern,dimension,unit,what,year,year_low,year_high,years,shift,shift_low,\
                       shift_high,in_spreads,p,p_adjusted,n,patterns,least_noticeable,finish";

/// The rows of `--part shift-years` as cells.
fn csv(desk: &Desk, words: &[&str]) -> Vec<Vec<String>> {
    let mut all = vec!["periods", "--format", "csv", "--part", "shift-years"];
    all.extend(words);
    let out = desk.run_words(&all).done().out;
    assert_eq!(out.lines().next(), Some(COLUMNS));
    let mut reader = csv::Reader::from_reader(out.as_bytes());
    let rows = reader.records().map(|row| {
        let row = row.unwrap();
        row.iter().map(str::to_owned).collect()
    });
    rows.collect()
}

#[test]
fn a_thicker_bit_is_seen_with_its_year_and_size() {
    let desk = Desk::new();
    desk.write("bits.csv", thicker());
    let rows = csv(&desk, &["--from", "bits.csv"]);
    let [location, spread] = &rows[..] else {
        panic!("{rows:?}")
    };
    assert_eq!(
        location[..6],
        ["Row Works", "", "bit_thickness", "mm", "location", "1940"]
    );
    assert_eq!(location[8], "1940");
    let number = |at: usize| location[at].parse::<f64>().unwrap();
    assert!((number(9) - 0.08).abs() < 0.01, "{location:?}");
    assert!(number(10) < 0.08 && 0.08 < number(11), "{location:?}");
    assert!(number(13) < 0.01 && number(14) < 0.01, "{location:?}");
    assert_eq!(location[15..17], ["20", "1"]);
    assert_eq!((spread[4].as_str(), spread[5].as_str()), ("spread", ""));
    assert!(spread[13].parse::<f64>().unwrap() > 0.05, "{spread:?}");
    let table = desk
        .run_words(&["periods", "--from", "bits.csv", "--format", "table"])
        .done()
        .out;
    assert!(
        table.contains("bit thickness: shifted about 1940 (95 %: 1940): "),
        "{table}"
    );
    assert!(table.contains("% larger afterwards"), "{table}");
}

#[test]
fn json_and_csv_tell_the_same() {
    let desk = Desk::new();
    desk.write("bits.csv", thicker());
    let rows = csv(&desk, &["apple", "--from", "bits.csv"]);
    // The pattern alone, then all patterns of its maker.
    assert_eq!(rows.len(), 4);
    assert_eq!((rows[0][1].as_str(), rows[2][1].as_str()), ("apple", ""));
    let json = desk
        .run_words(&["periods", "apple", "--from", "bits.csv", "--format", "json"])
        .done()
        .json();
    let all = json["shift_years"].as_array().unwrap();
    assert_eq!(all.len(), 4);
    for (row, object) in rows.iter().zip(all) {
        for (cell, column) in row.iter().zip(COLUMNS.split(',')) {
            let value = &object[column];
            match (value.as_str(), value.as_f64()) {
                (Some(text), _) => assert_eq!(cell, text),
                (_, Some(number)) => assert_eq!(cell.parse::<f64>().unwrap(), number),
                _ => assert!(value.is_null() && cell.is_empty(), "{column}: {value}"),
            }
        }
    }
}

#[test]
fn what_cannot_be_told_is_said() {
    let desk = Desk::new();
    let say = |text: &str, wanted: &str| {
        desk.write("sheet.csv", text);
        let out = desk
            .run_words(&["periods", "--from", "sheet.csv", "--format", "table"])
            .done()
            .out;
        let flat = out.split_whitespace().collect::<Vec<&str>>().join(" ");
        assert!(flat.contains(wanted), "{wanted}: {out}");
        assert!(!out.contains("NaN") && !out.contains("inf"), "{out}");
    };
    say(
        "specimen,pattern,made,bit thickness\nA,apple,1930,4.0\nB,apple,1931,4.1\nC,apple,1932,4.2\n",
        "too few dated pieces to tell",
    );
    say(
        "specimen,pattern,bit thickness\nA,apple,4.0\nB,apple,4.1\nC,apple,4.2\n",
        "no piece with a reading has a year of making",
    );
    let made = |year: &dyn Fn(usize) -> String, size: &dyn Fn(usize) -> f64| {
        let mut text = String::from("specimen,pattern,made,bit thickness\n");
        for i in 0..12 {
            text.push_str(&format!("S{i},apple,{},{:.2}\n", year(i), size(i)));
        }
        text
    };
    let sizes = |i: usize| 4.0 + 0.03 * (i * 5 % 7) as f64;
    let years = |i: usize| (1930 + i).to_string();
    say(&made(&|_| "1950".to_owned(), &sizes), "nothing can be told");
    say(
        &made(&|_| "0001-9999".to_owned(), &sizes),
        "nothing can be told",
    );
    say(
        &made(&years, &|_| 4.0),
        "all readings of a pattern are equal",
    );
    say(&made(&|i| format!("{:04}", 1 + 900 * i), &sizes), "shift");
}
