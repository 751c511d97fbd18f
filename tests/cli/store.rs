//! Files that are no collection, full disks, folders that may not be written.

use std::path::{Path, PathBuf};
use std::process::Command;

use rusqlite::Connection;

use super::{APPLES, Desk, PERIODS, passed_over};

/// All that opens a collection, to read it or to write it.
const LINES: [&str; 12] = [
    "norms --from x.db",
    "flag --from x.db",
    "check A1 --from x.db",
    "check --file apples.csv --from x.db",
    "history --from x.db",
    "history A1 --from x.db",
    "export package --from x.db",
    "add apples.csv --to x.db",
    "withdraw A1 --to x.db --why slip",
    "record A1 --set bit_width=15 --to x.db",
    "history --verify --from x.db",
    "check A1 --as-left --from x.db",
];

fn desk() -> Desk {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("periods.csv", PERIODS);
    desk
}

#[track_caller]
fn all_refuse(desk: &Desk, words: &[&str]) {
    for line in LINES {
        let said = desk.refuses(line);
        assert!(said.contains("x.db"), "{line}: {said}");
        for word in words {
            assert!(said.contains(word), "{line}: no {word} in {said}");
        }
    }
}

#[test]
fn a_file_that_is_not_sqlite() {
    let desk = desk();
    for content in [
        &b"hi"[..],
        b"specimen,bit width\nA,16\n",
        &[0x5a; 5000],
        &[0; 4096],
        b"\xff\xfe",
    ] {
        desk.write("x.db", content);
        all_refuse(&desk, &["no collection"]);
    }
}

#[test]
fn a_table_given_as_a_collection_is_left_alone() {
    let desk = desk();
    for line in [
        "add apples.csv --to periods.csv",
        "add apples.csv --to apples.csv",
    ] {
        let said = desk.refuses(line);
        assert!(said.contains("no collection"), "{said}");
    }
    let said = desk.refuses("add apples.csv --to .");
    assert!(
        !said.contains("disk I/O"),
        "a folder is no broken disk: {said}"
    );
    std::fs::create_dir(desk.path("folder")).unwrap();
    desk.refuses("add apples.csv --to folder");
    let said = desk.refuses("add apples.csv --to nowhere/x.db");
    assert!(said.contains("nowhere/x.db"), "{said}");
}

#[test]
fn a_collection_given_as_a_table_is_not_read_as_text() {
    let desk = desk();
    desk.run("add apples.csv --to c.db").done();
    let said = desk.refuses("add c.db --to other.db");
    assert!(said.contains("c.db") && said.contains("SQLite"), "{said}");
    let said = desk.refuses("norms --from apples.csv --periods-from c.db");
    assert!(said.contains("c.db"), "{said}");
}

#[test]
fn the_sqlite_file_of_another_program() {
    let desk = desk();
    let other = Connection::open(desk.path("x.db")).unwrap();
    other
        .execute_batch("CREATE TABLE reading (specimen TEXT); INSERT INTO reading VALUES ('A1');")
        .unwrap();
    drop(other);
    all_refuse(&desk, &["another program"]);
    // One without tables, but with a name or a version of its own.
    for pragma in ["application_id = 1196444487", "user_version = 7"] {
        std::fs::remove_file(desk.path("x.db")).unwrap();
        let other = Connection::open(desk.path("x.db")).unwrap();
        other.execute_batch(&format!("PRAGMA {pragma};")).unwrap();
        drop(other);
        all_refuse(&desk, &["another program"]);
    }
}

#[test]
fn a_collection_of_a_newer_version() {
    let desk = desk();
    desk.run("add apples.csv --to x.db").done();
    let connection = Connection::open(desk.path("x.db")).unwrap();
    let version: i64 = connection
        .pragma_query_value(None, "user_version", |row| row.get(0))
        .unwrap();
    connection
        .pragma_update(None, "user_version", version + 1)
        .unwrap();
    drop(connection);
    all_refuse(&desk, &[&format!("version {}", version + 1), "newer"]);
}

#[test]
fn an_empty_file_is_an_empty_collection() {
    let desk = Desk::with("apples.csv", APPLES);
    desk.write("x.db", "");
    for line in LINES.iter().filter(|l| !l.starts_with("add")) {
        let said = desk.refuses(line);
        assert!(
            said.contains("x.db") && said.contains("empty"),
            "{line}: {said}"
        );
    }
    desk.run("add apples.csv --to x.db").done();
    assert_eq!(desk.run("norms --from x.db").done().csv().cell(0, "n"), "8");
}

#[test]
fn a_damaged_collection_is_an_error_and_no_crash() {
    let desk = desk();
    desk.run("add apples.csv periods.csv --to whole.db").done();
    let whole = std::fs::read(desk.path("whole.db")).unwrap();
    for share in 1..8 {
        desk.write("x.db", &whole[..whole.len() * share / 8]);
        for line in LINES {
            let answer = desk.run(line).ends(2);
            assert!(answer.err.contains("calibriar: "), "{}", answer.err);
        }
        desk.write("x.db", &whole[..whole.len() * share / 8]);
    }
    // Rubbish in any page is told or does no harm.
    let good = desk.run("norms --from whole.db").done().out;
    for page in 0..whole.len() / 4096 {
        let mut bytes = whole.clone();
        bytes[page * 4096..][..4096]
            .iter_mut()
            .for_each(|b| *b ^= 0x55);
        desk.write("x.db", bytes);
        let answer = desk.run("norms --from x.db");
        let fine = answer.status == 2 || (answer.status == 0 && answer.out == good);
        assert!(
            fine,
            "page {page}: {} {} {}",
            answer.status, answer.out, answer.err
        );
    }
}

/// A small file system of its own, taken away at the end.
struct Mount {
    folder: PathBuf,
}

impl Mount {
    /// None where mounting is not permitted.
    fn new(folder: PathBuf, size: &str) -> Option<Mount> {
        std::fs::create_dir(&folder).unwrap();
        let mount = Mount { folder };
        match mount.mount(&[
            "-t",
            "tmpfs",
            "-o",
            &format!("size={size}"),
            "calibriar-test",
        ]) {
            true => Some(mount),
            false => {
                passed_over("mounting is not permitted here");
                // Nothing was mounted, so there is nothing to take away.
                std::mem::forget(mount);
                None
            }
        }
    }

    fn mount(&self, arguments: &[&str]) -> bool {
        let output = Command::new("mount")
            .args(arguments)
            .arg(&self.folder)
            .output();
        output.is_ok_and(|o| o.status.success())
    }

    /// Changes it while it is in use: `ro`, or another size.
    fn change(&self, option: &str) {
        assert!(self.mount(&["-o", &format!("remount,{option}")]));
    }
}

impl Drop for Mount {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.folder).status();
    }
}

/// Makes a folder's content unwritable while it lives.
enum ReadOnly {
    Mounted(Mount),
    Modes(PathBuf),
}

impl ReadOnly {
    /// A folder that `fill` has filled and nobody can write now.
    fn new(folder: PathBuf, fill: impl Fn()) -> Option<ReadOnly> {
        std::fs::create_dir(&folder).unwrap();
        set_mode(&folder, 0o555);
        // Root writes where it may not.
        let root = std::fs::write(folder.join("probe"), "").is_ok();
        set_mode(&folder, 0o755);
        if !root {
            fill();
            set_mode(&folder, 0o555);
            return Some(ReadOnly::Modes(folder));
        }
        std::fs::remove_dir_all(&folder).unwrap();
        let mount = Mount::new(folder, "4m")?;
        fill();
        mount.change("ro");
        Some(ReadOnly::Mounted(mount))
    }
}

impl Drop for ReadOnly {
    fn drop(&mut self) {
        match self {
            ReadOnly::Mounted(mount) => mount.change("rw"),
            ReadOnly::Modes(folder) => set_mode(folder, 0o755),
        }
    }
}

#[cfg(unix)]
fn set_mode(path: &Path, mode: u32) {
    use std::os::unix::fs::PermissionsExt as _;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
}

#[cfg(not(unix))]
fn set_mode(_: &Path, _: u32) {}

#[test]
fn a_folder_that_may_not_be_written() {
    let desk = desk();
    desk.run("add apples.csv periods.csv --to c.db").done();
    desk.write("more.csv", "specimen,pattern,bit width\nZ,apple,16.3\n");
    desk.write(
        "bad.csv",
        "specimen,pattern,bit width\nZ,apple,16.3\nY,apple,x\n",
    );
    let fill = || {
        std::fs::copy(desk.path("c.db"), desk.path("locked/c.db")).unwrap();
        std::fs::copy(desk.path("apples.csv"), desk.path("locked/apples.csv")).unwrap();
    };
    let Some(_locked) = ReadOnly::new(desk.path("locked"), fill) else {
        return;
    };
    // Reading works as ever.
    for line in [
        "norms --from",
        "flag --from",
        "check A8 --from",
        "history A1 --from",
    ] {
        let of = |source: &str| {
            let answer = desk.run(&format!("{line} {source}"));
            (answer.out, answer.status)
        };
        assert_eq!(of("locked/c.db"), of("c.db"), "{line}");
    }
    desk.run("norms --from locked/apples.csv").done();
    desk.run("export package --from locked/c.db").done();
    // Writing is refused in words.
    for line in [
        "add more.csv --to locked/c.db",
        "add more.csv --to locked/new.db",
        "withdraw A1 --why slip --to locked/c.db",
        "record A1 --set bit_width=15 --to locked/c.db",
        "export locked/package --from c.db",
        "add bad.csv --to c.db --set-aside locked/aside.csv",
        "norms --from bad.csv --set-aside locked/aside.csv",
    ] {
        let said = desk.refuses(line);
        assert!(said.contains("locked"), "which file: {line}: {said}");
    }
}

/// A file that may not be written, in a folder that may.
#[test]
fn a_collection_that_may_not_be_written() {
    let desk = desk();
    desk.run("add apples.csv --to c.db").done();
    let norms = desk.run("norms --from c.db").done().out;
    set_mode(&desk.path("c.db"), 0o444);
    assert_eq!(desk.run("norms --from c.db").done().out, norms);
    let probe = std::fs::OpenOptions::new()
        .append(true)
        .open(desk.path("c.db"));
    if probe.is_ok() {
        return passed_over("this user writes files that may not be written");
    }
    desk.refuses("withdraw A1 --why slip --to c.db");
}

fn many_pieces() -> String {
    let mut sheet = String::from("specimen,pattern,bit width,airway,wall\n");
    for i in 0..4000 {
        sheet.push_str(&format!(
            "P{i},apple,16.{:02},4.{:02},7.{:02}\n",
            i % 90,
            i % 50,
            i % 70
        ));
    }
    sheet
}

#[test]
fn a_full_disk_while_adding() {
    let desk = desk();
    desk.write("many.csv", many_pieces());
    let Some(mount) = Mount::new(desk.path("small"), "320k") else {
        return;
    };
    desk.run("add apples.csv --to small/c.db").done();
    let before = desk.run("norms --from small/c.db --format json").done().out;
    for line in [
        "add many.csv --to small/c.db",
        "add many.csv --to small/new.db",
    ] {
        let said = desk.refuses(line);
        assert!(said.contains("disk is full"), "{said}");
    }
    assert_eq!(
        desk.run("norms --from small/c.db --format json").done().out,
        before
    );
    // With room again it goes on as if nothing had been.
    mount.change("size=8m");
    let out = desk.run("add many.csv --to small/c.db").done().out;
    assert!(
        out.contains("revision 2") && out.contains("12000 new readings"),
        "{out}"
    );
}

#[test]
fn a_full_disk_while_exporting() {
    let desk = desk();
    desk.write("many.csv", many_pieces());
    desk.run("add many.csv --to c.db").done();
    let Some(mount) = Mount::new(desk.path("small"), "64k") else {
        return;
    };
    // Half a package must not look like a whole one.
    let said = desk.refuses("export small/package --from c.db");
    assert!(said.contains("small") && said.contains("space"), "{said}");
    assert_eq!(std::fs::read_dir(desk.path("small")).unwrap().count(), 0);
    mount.change("size=8m");
    desk.run("export small/package --from c.db").done();
    assert_eq!(
        desk.run("norms --from small/package").done().out,
        desk.run("norms --from c.db").done().out
    );
}

#[test]
fn a_full_disk_while_setting_aside() {
    let desk = desk();
    let mut sheet = String::from("specimen,pattern,bit width\nA,apple,16\n");
    (0..3000).for_each(|i| sheet.push_str(&format!("B{i},apple,far too wide\n")));
    desk.write("bad.csv", sheet);
    let Some(mount) = Mount::new(desk.path("small"), "32k") else {
        return;
    };
    for line in [
        "add bad.csv --to c.db --set-aside small/aside.csv",
        "norms --from bad.csv --set-aside small/aside.csv",
    ] {
        // Half the faulty rows must not look like all of them, nor stand in the way of the next try.
        let said = desk.refuses(line);
        assert!(said.contains("small/aside.csv"), "{said}");
    }
    mount.change("size=8m");
    desk.run("add bad.csv --to c.db --set-aside small/aside.csv")
        .done();
    assert_eq!(desk.read("small/aside.csv").lines().count(), 3001);
}

#[test]
fn a_result_that_cannot_be_written() {
    // Every write to this device fails with "no space left".
    let Ok(full) = std::fs::OpenOptions::new().write(true).open("/dev/full") else {
        return passed_over("no /dev/full here");
    };
    let desk = desk();
    for format in ["json", "csv", "table"] {
        for command in ["norms", "flag", "check A1"] {
            let output = Command::new(env!("CARGO_BIN_EXE_calibriar"))
                .args(command.split(' '))
                .args(["--from", "apples.csv", "--format", format])
                .current_dir(desk.path("."))
                .stdout(full.try_clone().unwrap())
                .output()
                .unwrap();
            let said = String::from_utf8_lossy(&output.stderr);
            assert_eq!(output.status.code(), Some(2), "{command} {format}: {said}");
            assert!(
                said.contains("cannot write the result"),
                "{command} {format}: {said}"
            );
        }
    }
}
