//! Killed programs, two at once, files that change under the reader.

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

use rusqlite::{Connection, TransactionBehavior};

use super::{Answer, Desk, passed_over};

/// A sheet of so many pieces, each with four readings.
fn sheet(prefix: &str, pieces: usize) -> String {
    let mut text = String::from("specimen,pattern,bit width,airway,wall,weight\n");
    for i in 0..pieces {
        let (a, b) = (i % 90, i % 50);
        text.push_str(&format!(
            "{prefix}{i},apple,16.{a:02},4.{b:02},7.{a:02},40.{b}\n"
        ));
    }
    text
}

fn start(desk: &Desk, line: &str) -> Child {
    Command::new(env!("CARGO_BIN_EXE_calibriar"))
        .args(line.split_whitespace())
        .current_dir(desk.path("."))
        .env("USER", "tester")
        .env_remove("CALIBRIAR_COLLECTION")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

#[track_caller]
fn finish(child: Child) -> Answer {
    let output = child.wait_with_output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
    let answer = Answer {
        status: output.status.code().expect("not ended by a signal"),
        out: text(output.stdout),
        err: text(output.stderr),
    };
    assert!(!answer.err.contains("panicked"), "{}", answer.err);
    answer
}

/// Revision and number of references; `None` where there is no collection yet.
#[track_caller]
fn stands_at(desk: &Desk, collection: &str) -> Option<(u64, u64)> {
    let answer = desk.run(&format!("norms --from {collection} --format json"));
    if answer.status == 2 {
        let nothing = answer.err.contains("no collection") || answer.err.contains("is empty");
        assert!(nothing, "{}", answer.err);
        return None;
    }
    let json = answer.done().json();
    let norm = super::entry(&json["norms"], "dimension", "bit_width");
    let revision = json["provenance"]["revision"].as_u64().unwrap();
    Some((revision, norm["n"].as_u64().unwrap()))
}

/// Whatever the moment of the kill, the collection opens and holds all of an `add` or nothing.
/// Half of the moments are spread over the whole time, half follow the first bytes that reach the
/// disk, which is where a commit could be cut in two.
#[test]
fn killed_at_many_moments_an_add_is_whole_or_nothing() {
    const MOMENTS: u32 = 20;
    const PIECES: usize = 2500;
    let desk = Desk::with("first.csv", sheet("F", 10));
    desk.write("one.csv", sheet("G", PIECES));
    desk.write("two.csv", sheet("H", PIECES));
    desk.run("add first.csv --to first.db").done();
    let whole = (2, 10 + 2 * PIECES as u64);
    let begun = Instant::now();
    std::fs::copy(desk.path("first.db"), desk.path("c.db")).unwrap();
    desk.run("add one.csv two.csv --to c.db").done();
    let takes = begun.elapsed();
    assert_eq!(stands_at(&desk, "c.db"), Some(whole));
    let (mut nothing, mut all) = (0, 0);
    for moment in 0..MOMENTS {
        // Every fourth time into a collection that does not exist yet.
        let new = moment % 4 == 3;
        clear(&desk, "c.db");
        if !new {
            std::fs::copy(desk.path("first.db"), desk.path("c.db")).unwrap();
        }
        let at_rest = size_of(&desk, "c.db");
        let mut child = start(&desk, "add one.csv two.csv --to c.db");
        if moment % 2 == 0 {
            std::thread::sleep(takes * moment / MOMENTS);
        } else {
            while size_of(&desk, "c.db") == at_rest && child.try_wait().unwrap().is_none() {}
            std::thread::sleep(Duration::from_micros(300) * (moment / 2));
        }
        child.kill().unwrap();
        child.wait().unwrap();
        let (before, after) = match new {
            true => (None, Some((1, 2 * PIECES as u64))),
            false => (Some((1, 10)), Some(whole)),
        };
        let found = stands_at(&desk, "c.db");
        assert!(
            found == before || found == after,
            "moment {moment}: {found:?}"
        );
        nothing += usize::from(found == before);
        all += usize::from(found == after);
        // It goes on from there, and ends where an undisturbed one ends.
        if moment % 4 > 1 {
            desk.run("add one.csv two.csv --to c.db").done();
            assert_eq!(stands_at(&desk, "c.db"), after, "moment {moment}");
        }
    }
    assert!(
        nothing >= 3,
        "killed too late to show anything: {nothing} and {all}"
    );
}

/// A record as well: both its readings, its works and their digest, or nothing.
#[test]
fn killed_at_many_moments_a_record_is_whole_or_nothing() {
    const MOMENTS: u32 = 12;
    let desk = Desk::with("first.csv", sheet("F", 10));
    desk.run("add first.csv --to first.db").done();
    desk.write(
        "works.csv",
        "dimension,as_left\nbit width,15\nairway,5\nwall,6\nweight,30\n",
    );
    let line = "record F1 --done works.csv --to c.db";
    let mut whole = 0;
    for moment in 0..MOMENTS {
        clear(&desk, "c.db");
        std::fs::copy(desk.path("first.db"), desk.path("c.db")).unwrap();
        let at_rest = size_of(&desk, "c.db");
        let mut child = start(&desk, line);
        while size_of(&desk, "c.db") == at_rest && child.try_wait().unwrap().is_none() {}
        std::thread::sleep(Duration::from_micros(200) * moment);
        child.kill().unwrap();
        child.wait().unwrap();
        let json = desk
            .run("history --verify --from c.db --format json")
            .done()
            .json();
        let recorded = json["revisions"] == 2;
        assert!(
            recorded || json["revisions"] == 1,
            "moment {moment}: {json}"
        );
        let works = desk.run("history --from c.db").done().csv();
        assert_eq!(
            works.column("works").contains(&"4"),
            recorded,
            "moment {moment}"
        );
        whole += u32::from(recorded);
        // It goes on from there.
        desk.run(line).done();
        desk.run("history --verify --from c.db").done();
        assert_eq!(stands_at(&desk, "c.db"), Some((2, 10)));
    }
    assert!(whole < MOMENTS, "killed too late to show anything");
}

/// Two records at once both land, one after the other; of two that cannot both be, one says why not.
#[test]
fn two_records_at_once() {
    let desk = Desk::with("first.csv", sheet("F", 10));
    for round in 0..5 {
        let c = format!("c{round}.db");
        desk.run(&format!("add first.csv --to {c}")).done();
        let line = |size: usize| format!("record F1 --set airway={size} --on 2024-05-01 --to {c}");
        let lines: Vec<String> = vec![
            format!("record F1 --set wall=6 --to {c}"),
            format!("record F2 --set wall=6 --to {c}"),
            line(5),
            // Whichever comes later finds the place as the other left it.
            line(7),
        ];
        let running: Vec<Child> = lines.iter().map(|line| start(&desk, line)).collect();
        let answers: Vec<Answer> = running.into_iter().map(finish).collect();
        assert_eq!(
            (answers[0].status, answers[1].status),
            (0, 0),
            "{}",
            answers[0].err
        );
        // 5 and then 7 may be; 7 and then 5 may not.
        assert_eq!(answers[3].status, 0, "{}", answers[3].err);
        let both = answers[2].status == 0;
        if !both {
            let said = &answers[2].err;
            assert!(said.contains("7 mm") && said.contains("larger"), "{said}");
        }
        let out = desk.run(&format!("history --verify --from {c}")).done().out;
        let revisions = if both { 5 } else { 4 };
        assert!(out.contains(&format!("{revisions} revisions")), "{out}");
    }
}

/// The files of a collection: its own, its journal's, those of one in the making.
fn files_of(desk: &Desk, collection: &str) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(desk.path(".")).unwrap();
    entries
        .map(|entry| entry.unwrap().path())
        .filter(|path| file_name(path).starts_with(collection))
        .collect()
}

/// Their bytes on the disk. Files come and go meanwhile.
fn size_of(desk: &Desk, collection: &str) -> u64 {
    let files = files_of(desk, collection);
    files
        .iter()
        .filter_map(|path| Some(path.metadata().ok()?.len()))
        .sum()
}

fn clear(desk: &Desk, collection: &str) {
    for path in files_of(desk, collection) {
        std::fs::remove_file(path).unwrap();
    }
}

/// A killed `add` leaves its journal beside the collection; what was committed is in it.
#[test]
fn a_journal_left_behind_is_read() {
    let desk = Desk::with("first.csv", sheet("F", 10));
    desk.write("more.csv", sheet("G", 20));
    desk.run("add first.csv --to c.db").done();
    // A reader that stays open keeps the journal from being taken in.
    let reader = Connection::open(desk.path("c.db")).unwrap();
    let count = |connection: &Connection| -> i64 {
        connection
            .query_row("SELECT count(*) FROM revision", [], |row| row.get(0))
            .unwrap()
    };
    assert_eq!(count(&reader), 1);
    desk.run("add more.csv --to c.db").done();
    assert!(desk.has("c.db-wal"));
    for file in ["c.db", "c.db-wal"] {
        std::fs::copy(desk.path(file), desk.path(&file.replace("c.", "copy."))).unwrap();
    }
    drop(reader);
    assert_eq!(stands_at(&desk, "copy.db"), Some((2, 30)));
}

#[test]
fn two_at_once_both_succeed_and_nothing_is_lost() {
    let desk = Desk::new();
    for i in 0..4 {
        desk.write(&format!("{i}.csv"), sheet(&format!("S{i}-"), 300));
    }
    for round in 0..6 {
        // A new collection each time: making it is the narrowest place.
        let line = |i: usize| format!("add {i}.csv --to c{round}.db");
        let running: Vec<Child> = (0..4).map(|i| start(&desk, &line(i))).collect();
        for child in running {
            let answer = finish(child);
            assert_eq!(answer.status, 0, "round {round}: {}", answer.err);
        }
        assert_eq!(
            stands_at(&desk, &format!("c{round}.db")),
            Some((4, 1200)),
            "round {round}"
        );
        let history = desk
            .run(&format!("history --from c{round}.db"))
            .done()
            .csv();
        assert_eq!(history.column("revision"), ["1", "2", "3", "4"]);
        assert_eq!(history.column("readings"), ["1200", "1200", "1200", "1200"]);
        assert!(
            !desk.has(&format!("c{round}.db-wal")),
            "a journal is left behind"
        );
    }
    // The same file from two sides goes in once.
    let running: Vec<Child> = (0..2)
        .map(|_| start(&desk, "add 0.csv --to same.db"))
        .collect();
    let outs: Vec<String> = running.into_iter().map(|c| finish(c).done().out).collect();
    assert_eq!(
        outs.iter().filter(|o| o.contains("already")).count(),
        1,
        "{outs:?}"
    );
    assert_eq!(stands_at(&desk, "same.db"), Some((1, 300)));
}

#[test]
fn a_reader_beside_a_writer_sees_the_old_or_the_new() {
    let desk = Desk::with("first.csv", sheet("F", 10));
    desk.write("many.csv", sheet("G", 6000));
    desk.run("add first.csv --to c.db").done();
    let mut writer = start(&desk, "add many.csv --to c.db");
    let mut asked = 0;
    while writer.try_wait().unwrap().is_none() {
        let found = stands_at(&desk, "c.db");
        assert!(
            found == Some((1, 10)) || found == Some((2, 6010)),
            "{found:?}"
        );
        asked += 1;
    }
    assert_eq!(finish(writer).status, 0);
    assert!(asked > 0, "the writer was done before anybody asked");
    assert_eq!(stands_at(&desk, "c.db"), Some((2, 6010)));
}

/// Who holds the collection for too long is named as the reason; nothing is half done.
#[test]
fn a_collection_held_by_another_program() {
    let desk = Desk::with("first.csv", sheet("F", 10));
    desk.write("more.csv", sheet("G", 10));
    desk.run("add first.csv --to c.db").done();
    let mut other = Connection::open(desk.path("c.db")).unwrap();
    let held = other
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .unwrap();
    // Readers do not wait for a writer.
    assert_eq!(stands_at(&desk, "c.db"), Some((1, 10)));
    // A writer waits, and goes on once the other is done.
    let waiting = start(&desk, "add more.csv --to c.db");
    std::thread::sleep(Duration::from_millis(300));
    held.rollback().unwrap();
    assert_eq!(finish(waiting).status, 0);
    assert_eq!(stands_at(&desk, "c.db"), Some((2, 20)));
}

/// Sends signals with little delay: a shell that waits for them.
struct Signals {
    shell: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
}

impl Signals {
    fn new() -> Signals {
        let script = "while read -r what whom; do kill -s \"$what\" \"$whom\"; echo done; done";
        let mut shell = Command::new("sh")
            .args(["-c", script])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let (to, from) = (shell.stdin.take().unwrap(), shell.stdout.take().unwrap());
        Signals {
            shell,
            to,
            from: BufReader::new(from),
        }
    }

    fn send(&mut self, signal: &str, child: &Child) {
        writeln!(self.to, "{signal} {}", child.id()).unwrap();
        self.to.flush().unwrap();
        let mut answer = String::new();
        self.from.read_line(&mut answer).unwrap();
    }
}

impl Drop for Signals {
    fn drop(&mut self) {
        let _ = self.shell.kill();
        let _ = self.shell.wait();
    }
}

/// Whether a process has such a file open; never on systems that do not tell.
fn has_open(child: &Child, wanted: impl Fn(&Path) -> bool) -> bool {
    let Ok(files) = std::fs::read_dir(format!("/proc/{}/fd", child.id())) else {
        return false;
    };
    files
        .filter_map(|entry| std::fs::read_link(entry.ok()?.path()).ok())
        .any(|open| wanted(&open))
}

/// Stops a child while it has such a file open; false where it was too quick.
fn stop_while_open(
    child: &mut Child,
    wanted: impl Fn(&Path) -> bool,
    signals: &mut Signals,
) -> bool {
    while child.try_wait().unwrap().is_none() {
        if has_open(child, &wanted) {
            signals.send("STOP", child);
            if has_open(child, &wanted) {
                return true;
            }
            signals.send("CONT", child);
            return false;
        }
    }
    false
}

/// The program is stopped in the middle of reading, the file is rewritten, the program goes on: it
/// must have the old table or the new one, or say that the file changed. Never some of each.
#[test]
fn a_file_rewritten_while_it_is_read() {
    const TRIES: usize = 40;
    const WANTED: usize = 6;
    if !Path::new("/proc/self/fd").exists() {
        return passed_over("this system does not tell which files a program has open");
    }
    let table = |rows: usize, size: &str| {
        let mut text = String::from("specimen,pattern,bit width,note\n");
        let note = "a note that makes the file larger ".repeat(40);
        (0..rows).for_each(|i| text.push_str(&format!("S{i},apple,{size},{note}\n")));
        text
    };
    let (old, new) = (table(3000, "16.0"), table(1500, "17.0"));
    let desk = Desk::new();
    let path = std::fs::canonicalize(desk.path(".")).unwrap().join("s.csv");
    let mut signals = Signals::new();
    let mut caught = 0;
    let mut changed = 0;
    for _ in 0..TRIES {
        desk.write("s.csv", &old);
        let mut child = start(&desk, "norms --from s.csv --format csv");
        let stopped = stop_while_open(&mut child, |open| open == path, &mut signals);
        if stopped {
            desk.write("s.csv", &new);
            signals.send("CONT", &child);
            caught += 1;
        }
        let answer = finish(child);
        if answer.status == 2 {
            assert!(stopped, "{}", answer.err);
            assert!(
                answer.err.contains("s.csv changed while it was being read"),
                "{}",
                answer.err
            );
            changed += 1;
        } else {
            assert_eq!(answer.status, 0, "{}", answer.err);
            let csv = answer.csv();
            let (n, min, max) = (csv.cell(0, "n"), csv.cell(0, "min"), csv.cell(0, "max"));
            let whole = (n, min, max) == ("3000", "16.0", "16.0")
                || (stopped && (n, min, max) == ("1500", "17.0", "17.0"));
            assert!(whole, "n {n}, {min} to {max}");
        }
        if caught >= WANTED {
            break;
        }
    }
    if caught == 0 {
        passed_over("the program was always too quick to be stopped while reading");
    } else {
        assert!(
            changed > 0,
            "stopped {caught} times, but no change was noticed"
        );
    }
}

/// A new collection is in the making when another program makes one of that name: both are whole
/// in the end, or the one that fails leaves the other's alone.
#[test]
fn a_collection_made_by_another_meanwhile() {
    const TRIES: usize = 30;
    let desk = Desk::with("other.csv", sheet("F", 10));
    desk.write("one.csv", sheet("G", 500));
    desk.write("clash.csv", "specimen,bit width\nG0,19\n");
    let folder = std::fs::canonicalize(desk.path(".")).unwrap();
    let of_collection =
        |open: &Path| open.starts_with(&folder) && file_name(open).starts_with("c.db");
    let mut signals = Signals::new();
    for (line, status, expected) in [
        ("add one.csv --to c.db", 0, (2, 510)),
        ("add one.csv clash.csv --to c.db", 2, (1, 10)),
    ] {
        let mut caught = 0;
        for _ in 0..TRIES {
            clear(&desk, "c.db");
            let mut child = start(&desk, line);
            let stopped = stop_while_open(&mut child, of_collection, &mut signals);
            let made = stopped && !desk.has("c.db");
            if made {
                desk.run("add other.csv --to c.db").done();
            }
            if stopped {
                signals.send("CONT", &child);
            }
            let answer = finish(child);
            assert_eq!(answer.status, status, "{}", answer.err);
            if made {
                caught += 1;
                assert_eq!(stands_at(&desk, "c.db"), Some(expected), "{line}");
                let left: Vec<String> = desk.everything().keys().map(|p| file_name(p)).collect();
                assert_eq!(left, ["c.db", "clash.csv", "one.csv", "other.csv"]);
            }
            if caught == 2 {
                break;
            }
        }
        if caught == 0 {
            passed_over("the program was always too quick to be stopped while making a collection");
        }
    }
}

fn file_name(path: &Path) -> String {
    path.file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}

/// A killed program leaves passing files behind, and numbers of processes come again, in
/// containers soon: what is left must neither get into a collection nor stand in its way.
#[test]
fn leftovers_of_a_killed_program_do_no_harm() {
    let desk = Desk::with("other.csv", "specimen,pattern,bit width\nZ,poker,12\n");
    desk.run("add other.csv --to other.db").done();
    desk.write(
        "bad.csv",
        "specimen,pattern,bit width\nA,apple,16\nB,apple,x\n",
    );
    let fresh = "add bad.csv --to fresh.db --set-aside fresh.csv";
    desk.run(fresh).done();
    // `exec` keeps the number of the process that has left the files.
    let program = env!("CARGO_BIN_EXE_calibriar");
    let script = format!(
        "cp other.db c.db.$$.partial; echo half > aside.csv.$$.partial; \
         exec '{program}' add bad.csv --to c.db --set-aside aside.csv"
    );
    let output = Command::new("sh")
        .args(["-c", &script])
        .current_dir(desk.path("."))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    let norms = |collection: &str| desk.run(&format!("norms --from {collection}")).done().out;
    assert_eq!(
        norms("c.db"),
        norms("fresh.db"),
        "a killed program's pieces are in it"
    );
    assert_eq!(desk.read("aside.csv"), desk.read("fresh.csv"));
}
