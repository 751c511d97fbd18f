//! Tables, help, completions, the manual: what people see.

use std::process::Command;

use super::{APPLES, Desk, PERIODS, demo_collection, passed_over};

const COMMANDS: [&str; 11] = [
    "add",
    "norms",
    "check",
    "flag",
    "withdraw",
    "record",
    "history",
    "disclose",
    "export",
    "completions",
    "manual",
];

/// At most 100 columns, no blanks at line ends, no tabs, no control characters, one line end at
/// the end.
#[track_caller]
fn assert_tidy(text: &str) {
    assert!(text.ends_with('\n') && !text.ends_with("\n\n"), "{text:?}");
    for line in text.lines() {
        let width = line.chars().count();
        // The longest labels are those of traced forms; a strip stands where there is room for it.
        assert!(width <= 106 + 23, "{width} columns: {line}");
        assert_eq!(line.trim_end(), line, "blanks at the end of {line:?}");
        assert!(!line.contains(char::is_control), "{line:?}");
    }
}

#[test]
fn tables_of_the_demo_data_are_tidy() {
    let desk = Desk::new();
    let path = demo_collection();
    let norms = desk
        .run_words(&["norms", "--from", &path, "--format", "table"])
        .done()
        .out;
    assert_tidy(&norms);
    for words in [
        "billiard H21",
        "bit thickness",
        "Founders' Shop",
        "typical range",
    ] {
        assert!(norms.contains(words), "no {words} in {norms}");
    }
    let names: Vec<String> = (1..=600).map(|i| format!("HR{i:04}")).collect();
    let mut words = vec!["check", "--from", &path, "--format", "table"];
    words.extend(names.iter().map(String::as_str));
    let checks = desk.run_words(&words).ends(1).out;
    assert_tidy(&checks);
    for words in ["HR0001: OUT OF NORM", "neither dates nor authenticates"] {
        assert!(checks.contains(words), "no {words}");
    }
    assert_tidy(
        &desk
            .run_words(&["flag", "--from", &path, "--format", "table"])
            .ends(1)
            .out,
    );
    for words in [&["history"][..], &["history", "HR0512"]] {
        let mut words = words.to_vec();
        words.extend(["--from", &path, "--format", "table"]);
        assert_tidy(&desk.run_words(&words).done().out);
    }
}

/// Thin evidence with a slip of a unit in it: bands of 80 digits would push everything off.
#[test]
fn tables_of_thin_evidence_are_tidy() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,bit width,airway\nA,apple,0.63,4\nB,apple,16.1,4\nC,poker,16,4\n",
    );
    assert_tidy(&desk.run("norms --from s.csv --format table").done().out);
    assert_tidy(
        &desk
            .run("norms --from s.csv --coverage 0.999 --confidence 0.999 --format table")
            .done()
            .out,
    );
    assert_tidy(
        &desk
            .run("check A B C --from s.csv --format table")
            .ends(3)
            .out,
    );
    assert_tidy(&desk.run("flag --from s.csv --format table").done().out);
}

/// Names may hold anything; a table keeps its lines all the same.
#[test]
fn tables_of_odd_names_are_tidy() {
    let mut sheet = String::from("specimen,maker,pattern,bit width\n");
    for (i, width) in [16.0, 16.1, 16.2, 16.0, 16.1, 19.5].iter().enumerate() {
        sheet.push_str(&format!(
            "\"odd\nname\t{i}\",\"Row\n\u{1b}[31mWorks\",\"bent\tapple\",{width}\n"
        ));
    }
    let desk = Desk::with("s.csv", sheet);
    desk.run("add s.csv --to c.db").done();
    for source in ["s.csv", "c.db"] {
        let table = |line: &str| {
            let words: Vec<String> = line
                .split(' ')
                .map(|w| w.replace("ODD", "odd\nname\t5"))
                .collect();
            let mut words: Vec<&str> = words.iter().map(String::as_str).collect();
            words.extend(["--from", source, "--format", "table"]);
            desk.run_words(&words).out
        };
        for line in ["norms", "flag", "check ODD"] {
            let text = table(line);
            let control = text.chars().find(|c| c.is_control() && *c != '\n');
            assert_eq!(control, None, "{line}: {text:?}");
        }
    }
}

#[test]
fn the_table_of_norms() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    let line = "norms apple --from apples.csv --periods-from periods.csv --format table";
    insta::assert_snapshot!(desk.run(line).done().out);
}

#[test]
fn the_table_of_a_check() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    let line = "check A8 A1 --from apples.csv --periods-from periods.csv --format table";
    insta::assert_snapshot!(desk.run(line).ends(1).out);
}

#[test]
fn the_list_of_faults() {
    let desk = Desk::with(
        "s.csv",
        "specimen,pattern,note,bit width\nA,apple,\"two\nlines\",16\nB,apple,,wide\n\nA,apple,,-1\nC,apple\n",
    );
    insta::assert_snapshot!(desk.refuses("add s.csv --to c.db"));
}

#[test]
fn help_of_every_command() {
    let desk = Desk::new();
    let whole = desk.run("--help").done().out;
    assert!(whole.contains("neither dates nor authenticates"), "{whole}");
    for command in COMMANDS {
        assert!(
            whole.contains(&format!("\n  {command} ")),
            "no {command} in {whole}"
        );
        for flag in ["--help", "-h"] {
            let help = desk.run(&format!("{command} {flag}")).done();
            assert_eq!(help.err, "");
            assert!(
                help.out.contains(&format!("Usage: calibriar {command}")),
                "{}",
                help.out
            );
            let widest = help.out.lines().map(|l| l.chars().count()).max().unwrap();
            assert!(widest <= 100, "{command} {flag}: {widest} columns");
        }
    }
    for command in ["norms", "check", "flag"] {
        let help = desk.run(&format!("{command} --help")).done().out;
        for option in [
            "--from",
            "--periods-from",
            "--periods",
            "--format",
            "--coverage",
            "--confidence",
            "--alpha",
            "--column",
            "--skip",
            "--new-dimensions",
            "--set-aside",
            "--unknown-state",
            "CALIBRIAR_COLLECTION",
            "collection.db",
            "[default: 0.95]",
            "[default: 0.05]",
        ] {
            assert!(help.contains(option), "{command}: no {option}");
        }
    }
    for command in ["check", "flag"] {
        let help = desk.run(&format!("{command} --help")).done().out;
        assert!(help.contains("Exit status: 0"), "{help}");
    }
    let version = desk.run("--version").done().out;
    assert_eq!(
        version,
        format!("calibriar {}\n", env!("CARGO_PKG_VERSION"))
    );
}

#[test]
fn completions_for_every_shell() {
    let desk = Desk::new();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = desk.run(&format!("completions {shell}")).done();
        assert_eq!(script.err, "");
        for word in COMMANDS.iter().chain(&["periods-from", "unknown-state"]) {
            assert!(script.out.contains(word), "{shell}: no {word}");
        }
        desk.write(&format!("script.{shell}"), script.out);
    }
    match Command::new("bash")
        .arg("-n")
        .arg(desk.path("script.bash"))
        .output()
    {
        Ok(output) => assert!(output.status.success(), "{output:?}"),
        Err(_) => passed_over("no bash to try the script with"),
    }
}

#[test]
fn the_manual_has_every_command() {
    let desk = Desk::new();
    let manual = desk.run("manual").done();
    assert_eq!(manual.err, "");
    assert!(manual.out.contains(".TH calibriar 1"), "{}", manual.out);
    for command in COMMANDS {
        let synopsis = format!("\\fBcalibriar {command}\\fR");
        let short = format!("\\fB{command}\\fR");
        assert!(
            manual.out.contains(&synopsis) || manual.out.contains(&short),
            "no {command}"
        );
    }
    for option in ["periods\\-from", "set\\-aside", "confidence"] {
        assert!(manual.out.contains(option), "no {option}");
    }
}

/// Runs the program with a terminal as its standard output; `None` where `script` is not there.
fn on_a_terminal(desk: &Desk, line: &str, no_color: Option<&str>) -> Option<String> {
    let program = env!("CARGO_BIN_EXE_calibriar");
    let mut command = Command::new("script");
    command
        .args([
            "-q",
            "-e",
            "-c",
            &format!("'{program}' {line}"),
            "/dev/null",
        ])
        .current_dir(desk.path("."))
        .env("TERM", "xterm-256color")
        .env_remove("CALIBRIAR_COLLECTION")
        .env_remove("NO_COLOR")
        .stdin(std::process::Stdio::null());
    if let Some(value) = no_color {
        command.env("NO_COLOR", value);
    }
    let output = command.output().ok()?;
    Some(String::from_utf8_lossy(&output.stdout).into_owned())
}

#[test]
fn a_terminal_gets_a_table_and_colours_unless_no_color_is_set() {
    let desk = Desk::with("apples.csv", APPLES);
    let Some(plain) = on_a_terminal(&desk, "check A8 --from apples.csv", None) else {
        return passed_over("no `script` here to make a terminal");
    };
    assert!(
        plain.contains("A8: ") && plain.contains("typical range"),
        "{plain:?}"
    );
    assert!(plain.contains("\u{1b}["), "no colours: {plain:?}");
    let bare = on_a_terminal(&desk, "check A8 --from apples.csv", Some("1")).unwrap();
    assert!(
        bare.contains("OUT OF NORM") && !bare.contains('\u{1b}'),
        "{bare:?}"
    );
    // Empty is as good as not set (no-color.org).
    let empty = on_a_terminal(&desk, "check A8 --from apples.csv", Some("")).unwrap();
    assert_eq!(empty, plain);
    let csv = on_a_terminal(&desk, "check A8 --from apples.csv --format csv", None).unwrap();
    assert!(
        csv.contains("specimen,maker,pattern,") && !csv.contains('\u{1b}'),
        "{csv:?}"
    );
    // What is said by words is never said by colour alone.
    assert!(plain.contains("OUT OF NORM"));
}

#[test]
fn a_pipe_gets_no_colours() {
    let desk = Desk::with("apples.csv", APPLES);
    for line in ["norms", "flag", "check A8"] {
        for format in ["table", "csv", "json"] {
            let answer = desk.run(&format!("{line} --from apples.csv --format {format}"));
            assert!(!answer.out.contains('\u{1b}') && !answer.err.contains('\u{1b}'));
        }
    }
}

/// Three good pieces, and one that is far out in one dimension and inside in the other.
const STRIPS: &str = "specimen,pattern,bit width,weight\nA,apple,16.00,40\nB,apple,16.10,44\nC,apple,16.05,48\n\
                      D,apple,19.00,44\n";

/// The strips of a table, by dimension.
fn strips<'t>(table: &'t str, dimension: &str) -> &'t str {
    let row = table.lines().find(|line| line.starts_with(dimension));
    let row = row.unwrap_or_else(|| panic!("no {dimension} in {table}"));
    row.rfind('[').map_or("", |at| &row[at..])
}

#[test]
fn plain_strips_outside_a_terminal() {
    let desk = Desk::with("s.csv", STRIPS);
    let options = "--from s.csv --format table --spread bit_width=1% --spread weight=5%";
    let check = desk.run(&format!("check D {options}")).ends(1).out;
    assert_eq!(strips(&check, "bit width"), "[   111   ]    >", "{check}");
    assert_eq!(strips(&check, "weight"), "[1   X  1 ]", "{check}");
    assert!(
        check.contains("strip: [ ]: the typical range; figures: how many"),
        "{check}"
    );
    let norms = desk.run(&format!("norms {options}")).done().out;
    assert_eq!(strips(&norms, "weight"), "[1   2   1]", "{norms}");
    assert!(!norms.contains("the piece, before"), "{norms}");
}

/// A terminal of so many columns, in a locale.
#[cfg(target_os = "linux")]
fn in_a_terminal(desk: &Desk, columns: usize, locale: &str, line: &str) -> String {
    let program = env!("CARGO_BIN_EXE_calibriar");
    let run = Command::new("script")
        .args(["-q", "-e", "-c"])
        .arg(format!("stty cols {columns} rows 40; {program} {line}"))
        .arg("/dev/null")
        .current_dir(desk.path("."))
        .env("LC_ALL", locale)
        .env("TERM", "xterm")
        .env("NO_COLOR", "1")
        .output()
        .unwrap();
    String::from_utf8(run.stdout).unwrap().replace("\r\n", "\n")
}

#[test]
#[cfg(target_os = "linux")]
fn strips_of_blocks_in_a_terminal_with_room_for_them() {
    let desk = Desk::with("s.csv", STRIPS);
    let line = "check D --from s.csv --spread bit_width=1% --spread weight=5%";
    let drawn = in_a_terminal(&desk, 140, "C.UTF-8", line);
    assert_eq!(strips(&drawn, "bit width"), "[   ███   ]    >", "{drawn}");
    assert!(drawn.contains("◆: the piece"), "{drawn}");
    let plain = in_a_terminal(&desk, 140, "C", line);
    assert_eq!(strips(&plain, "bit width"), "[   111   ]    >", "{plain}");
    for narrow in [20, 80] {
        let without = in_a_terminal(&desk, narrow, "C.UTF-8", line);
        assert_eq!(strips(&without, "bit width"), "", "{without}");
        assert!(!without.contains("strip"), "{without}");
    }
}
