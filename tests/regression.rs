//! Faults once seen, so that they stay away.

#[cfg(feature = "store")]
use calibriar::catalogue::Catalogue;
use calibriar::catalogue::{Period, Periods, Standing, YearRange};
use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::norm::{Borrowing, Evidence, Settings, norms};
use calibriar::stats::{Predictive, Prior, Rated};
use calibriar::table::Table;
use calibriar::verdict::{Flag, Verdict, check, check_against, flag};

use crate::common::tables::{sheet, table};

fn settings() -> Settings {
    Settings::new(0.95, 0.95, 0.05).unwrap()
}

fn gathered<'t>(cohort: &'t Cohort<'t>) -> Evidence<'t> {
    Evidence::gather(cohort, &Borrowing::default())
}

/// Two makers may name a period alike and not be equally good in it.
#[test]
fn a_period_is_its_makers_own() {
    let mut csv = String::from("specimen,maker,pattern,made,bit width\n");
    for maker in ["A", "B"] {
        for i in 0..5 {
            csv.push_str(&format!("{maker}{i},{maker},x,1905,16.{i}\n"));
        }
    }
    let mut table = table(&csv);
    let mut periods = Periods::default();
    for (maker, standing) in [("A", Standing::Good), ("B", Standing::Poor)] {
        let years = YearRange {
            from: 1900,
            to: 1910,
        };
        let (maker, name) = (Some(maker.to_owned()), "Early".to_owned());
        periods
            .add(Period {
                maker,
                name,
                years,
                standing,
                note: String::new(),
            })
            .unwrap();
    }
    table.periods = periods;
    let cohort = Cohort::new(&table, &Choice::default()).unwrap();
    let groups = cohort.find_groups(None, None);
    let found = norms(&gathered(&cohort), &groups, &settings()).unwrap();
    assert_eq!(found.len(), 1);
    assert_eq!(cohort.groups()[found[0].group].maker, "A");
    assert_eq!(found[0].basis.kept.len(), 5);
}

/// More distinct period texts than a 16-bit number holds.
#[test]
fn many_periods_do_not_wrap_around() {
    let mut csv = String::from("specimen,pattern,period,bit width\n");
    for i in 0..66_000 {
        csv.push_str(&format!("s{i:05},x,p{i},16.1\n"));
    }
    let table = table(&csv);
    let periods = Selection::Named(vec!["p0".to_owned()]);
    let cohort = Cohort::new(
        &table,
        &Choice {
            periods,
            unknown_state: false,
        },
    )
    .unwrap();
    assert_eq!(cohort.groups()[0].references, 1);
}

/// A probability too small for an `f64` is still a score.
#[test]
fn a_gross_slip_has_a_finite_score() {
    let width = |i: i32| Rated {
        x: (16.0 + 0.08 * f64::from(i % 7 - 3) / 3.0).ln(),
        u: 0.0002,
        period: None,
    };
    let widths: Vec<Rated> = (0..300).map(width).collect();
    let norm = Predictive::new(&widths, &Prior::none(0.0)).unwrap();
    let slip = norm.judge(0.63f64.ln(), 0.005);
    assert!(
        slip.p > 0.0 && slip.z.is_finite() && slip.z < -30.0,
        "{slip:?}"
    );
}

/// The piece judged is left out of its norm, however its name is spelt.
#[test]
fn another_spelling_of_its_name_gives_a_piece_no_voice() {
    let mut csv = String::from("specimen,pattern,bit width\n");
    for (i, width) in [16.0, 16.1, 16.2, 16.05, 16.15, 16.1, 12.0]
        .into_iter()
        .enumerate()
    {
        csv.push_str(&format!("HR000{i},x,{width}\n"));
    }
    let source = table(&csv);
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    for name in ["HR0006", "hr0006", "HR-0006", "HR 0006"] {
        let piece = table(&format!("specimen,pattern,bit width\n{name},x,12.0\n"));
        let check = check_against(&evidence, &piece, 0, &settings());
        assert_eq!(check.dimensions[0].n, 6, "{name}");
        assert_eq!(check.verdict, Verdict::OutOfNorm, "{name}");
    }
}

/// A row that is refused says nothing of the step of its column.
#[test]
fn a_faulty_row_does_not_refine_its_column() {
    let read = sheet("specimen,pattern,bit width,airway\na,x,16.1,4.0\nb,x,16.333,four\n");
    assert_eq!(read.faults.len(), 1);
    let column = &read.table.columns[0];
    assert!((column.uncertainty(0) - 0.1 / 12f64.sqrt()).abs() < 1e-12);
}

/// `?` and the like name no pattern, and a piece without one makes no norm among patterns.
#[test]
fn a_blank_pattern_is_no_pattern() {
    let read =
        table("specimen,pattern,bit width\na,x,16.1\nb,?,16.2\nc,,16.3\nd,n/a,16.2\ne,X,16.0\n");
    let cohort = Cohort::new(&read, &Choice::default()).unwrap();
    let found = norms(
        &gathered(&cohort),
        &cohort.find_groups(None, None),
        &settings(),
    )
    .unwrap();
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].basis.kept.len(), 2);
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    assert_eq!(check(&evidence, 1, &settings()).verdict, Verdict::Undecided);
}

/// States given for the row, as a column, keep a piece out as braces do, wide and long.
#[test]
fn states_by_row_keep_readings_out_of_the_norm() {
    let wide = table(
        "specimen,pattern,state,bit width\na,x,factory,16.1\nb,x,worn,15.0\nc,x,reworked,14.0\n\
         d,x,replaced,17.0\ne,x,,18.0\nf,x,unknown,19.0\ng,x,factory,16.3\n",
    );
    let long = table(
        "specimen,pattern,dimension,value,state\na,x,bit width,16.1,factory\n\
         b,x,bit width,15.0,worn\nc,x,bit width,14.0,reworked\nd,x,bit width,17.0,replaced\n\
         e,x,bit width,18.0,\nf,x,bit width,19.0,unknown\ng,x,bit width,16.3,factory\n",
    );
    for read in [&wide, &long] {
        for (unknown_state, n) in [(false, 2), (true, 4)] {
            let choice = Choice {
                unknown_state,
                ..Choice::default()
            };
            let cohort = Cohort::new(read, &choice).unwrap();
            assert_eq!(
                norms(&gathered(&cohort), &[0], &settings()).unwrap()[0]
                    .basis
                    .kept
                    .len(),
                n
            );
        }
    }
}

#[cfg(feature = "store")]
mod stored {
    use super::*;
    use calibriar::collection::{
        Author, Collection, CollectionError, NewContent, NewFile, sha256_hex,
    };

    fn author() -> Author {
        Author {
            by: "test".to_owned(),
            on: "2001-02-03T04:05:06Z".to_owned(),
            why: "y".to_owned(),
        }
    }

    fn file(csv: &str) -> NewFile {
        NewFile {
            name: "sheet.csv".to_owned(),
            sha256: sha256_hex(csv.as_bytes()),
            options: "{}".to_owned(),
            content: NewContent::from(sheet(csv).table),
        }
    }

    fn add(store: &mut Collection, csv: &[&str], correct: bool) -> Result<(), CollectionError> {
        let files: Vec<NewFile> = csv.iter().map(|text| file(text)).collect();
        store
            .add(&files, &author(), correct, &mut |_| {})
            .map(|_| ())
    }

    fn widths(store: &Collection) -> Vec<f64> {
        let table = store.table().unwrap();
        let index = Catalogue::standard().find("bit width").unwrap();
        let column = table.column(index);
        (0..table.specimens.len())
            .filter_map(|row| column?.value(row))
            .collect()
    }

    /// A sheet that grows and is added again must not bring back what was withdrawn.
    #[test]
    fn a_withdrawn_reading_stays_withdrawn() {
        let mut store = Collection::in_memory().unwrap();
        add(
            &mut store,
            &["specimen,pattern,bit width\na,x,16.1\nb,x,16.2\n"],
            false,
        )
        .unwrap();
        store.withdraw("A", Some("bit_width"), &author()).unwrap();
        let grown = "specimen,pattern,bit width\na,x,16.1\nb,x,16.2\nc,x,16.3\n";
        add(&mut store, &[grown], false).unwrap();
        assert_eq!(widths(&store), [16.2, 16.3]);
        // As a correction, with its reason, it may come back.
        let again = "specimen,pattern,bit width,note\na,x,16.1,own stem after all\n";
        add(&mut store, &[again], true).unwrap();
        assert_eq!(widths(&store), [16.1, 16.2, 16.3]);
    }

    /// Two corrections of one reading in one `add`: the second sees the first.
    #[test]
    fn corrections_in_one_add_follow_each_other() {
        let mut store = Collection::in_memory().unwrap();
        let of = |width: &str| format!("specimen,pattern,bit width\na,x,{width}\n");
        add(&mut store, &[&of("16.1")], false).unwrap();
        add(&mut store, &[&of("16.2"), &of("16.3")], true).unwrap();
        assert_eq!(widths(&store), [16.3]);
        let contradicts = add(&mut store, &[&of("16.4")], false);
        assert!(matches!(
            contradicts,
            Err(CollectionError::Contradictions { .. })
        ));
        assert_eq!(widths(&store), [16.3]);
    }

    /// The same value with another uncertainty is another statement.
    #[test]
    fn a_new_uncertainty_is_not_lost() {
        let mut store = Collection::in_memory().unwrap();
        add(
            &mut store,
            &["specimen,pattern,bit width\na,x,18.2\n"],
            false,
        )
        .unwrap();
        let coarser = "specimen,pattern,bit width\na,x,18.2 ± 0.5\n";
        let refused = add(&mut store, &[coarser], false);
        assert!(matches!(
            refused,
            Err(CollectionError::Contradictions { .. })
        ));
        add(&mut store, &[coarser], true).unwrap();
        let table = store.table().unwrap();
        assert!((table.columns[0].uncertainty(0) - 0.5 / 3f64.sqrt()).abs() < 1e-12);
    }

    /// A period's standing is as much a statement as a reading.
    #[test]
    fn a_period_is_not_changed_without_a_reason() {
        let periods = |standing| {
            let years = YearRange {
                from: 1900,
                to: 1910,
            };
            let (maker, name) = (None, "Early".to_owned());
            let mut all = Periods::default();
            all.add(Period {
                maker,
                name,
                years,
                standing,
                note: String::new(),
            })
            .unwrap();
            NewFile {
                name: "periods.csv".to_owned(),
                sha256: sha256_hex(format!("{standing:?}").as_bytes()),
                options: "{}".to_owned(),
                content: NewContent::from(all),
            }
        };
        let mut store = Collection::in_memory().unwrap();
        let mut add =
            |standing, correct| store.add(&[periods(standing)], &author(), correct, &mut |_| {});
        assert_eq!(add(Standing::Good, false).unwrap().revision, Some(1));
        assert!(add(Standing::Poor, false).is_err());
        assert_eq!(add(Standing::Poor, true).unwrap().revision, Some(2));
        // Back again: the file is known, but what it says does not hold any more.
        assert!(add(Standing::Good, false).is_err());
        assert_eq!(add(Standing::Good, true).unwrap().revision, Some(3));
        assert_eq!(add(Standing::Good, false).unwrap().revision, None);
    }

    /// A package from which the last revisions were cut is not whole.
    #[test]
    fn a_shortened_package_is_refused() {
        let mut store = Collection::in_memory().unwrap();
        add(
            &mut store,
            &["specimen,pattern,bit width\na,x,16.1\nb,x,16.2\n"],
            false,
        )
        .unwrap();
        store.withdraw("a", None, &author()).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let package = folder.path().join("package");
        store.export(&package, "test").unwrap();
        let edit = |name: &str, change: &dyn Fn(&str) -> String| {
            let path = package.join(name);
            let text = std::fs::read_to_string(&path).unwrap();
            std::fs::write(&path, change(&text)).unwrap();
        };
        edit("revisions.csv", &|text| {
            text.lines().take(2).collect::<Vec<_>>().join("\n") + "\n"
        });
        edit("readings.csv", &|text| text.replace(",2\n", ",\n"));
        let refused = Collection::in_memory().unwrap().import(&package);
        assert!(
            matches!(&refused, Err(CollectionError::Package { what, .. }) if what.contains("whole")),
            "{refused:?}"
        );
    }

    /// Foreign keys are not checked row by row on the way in; they hold all the same.
    #[test]
    fn nothing_refers_to_what_is_not_there() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("c.db");
        let mut store = Collection::open_or_create(&path).unwrap();
        add(
            &mut store,
            &["specimen,pattern,bit width,airway\na,x,16.1,#22\nb,x,16.2,\n"],
            false,
        )
        .unwrap();
        let long = "specimen,dimension,value,measured_by\na,bit width,16.2,M\nc,weight,40,N\n";
        add(&mut store, &[long], false).unwrap();
        add(&mut store, &["specimen,bit width\nb,16.4\n"], true).unwrap();
        store.withdraw("a", None, &author()).unwrap();
        drop(store);
        let connection = rusqlite::Connection::open(&path).unwrap();
        let declared: i64 = connection
            .query_row(
                "SELECT count(*) FROM pragma_foreign_key_list('reading')",
                [],
                |r| r.get(0),
            )
            .unwrap();
        assert_eq!(declared, 4);
        let mut check = connection.prepare("PRAGMA foreign_key_check").unwrap();
        assert!(!check.exists([]).unwrap());
        // The check itself would notice.
        connection
            .pragma_update(None, "foreign_keys", "OFF")
            .unwrap();
        connection
            .execute("INSERT INTO withdrawal VALUES (9, 9, 9, 9)", [])
            .unwrap();
        assert!(check.exists([]).unwrap());
    }
}

/// Strays may hide each other until one of them is left out: the quick limits must heed that.
#[test]
fn strays_that_hide_each_other_are_flagged_as_checked() {
    for (csv, alpha, who) in [
        (include_str!("data/masked_strays.csv"), 0.05, "s90"),
        (include_str!("data/masked_strays_strict.csv"), 0.001, "s34"),
    ] {
        let table = table(csv);
        let cohort = Cohort::new(&table, &Choice::default()).unwrap();
        let evidence = gathered(&cohort);
        let settings = Settings::new(0.95, 0.95, alpha).unwrap();
        let flags = flag(&evidence, &settings);
        let found = |f: &Flag| table.specimens.names.get(f.row) == who;
        assert!(flags.iter().any(found), "{who}");
        let rows = 0..table.specimens.len();
        let checks = rows.map(|row| check(&evidence, row, &settings).dimensions);
        let out = checks
            .flatten()
            .filter(|d| d.verdict == Verdict::OutOfNorm)
            .map(|d| d.judged.unwrap().p.to_bits());
        let flagged: Vec<u64> = flags.iter().map(|f| f.p.to_bits()).collect();
        assert_eq!(flagged, out.collect::<Vec<u64>>());
    }
}

/// Two strays of one period vouch for each other; with one of them left out the screening sets the
/// other aside. (Readings are invented.)
#[test]
fn two_strays_of_one_period_are_flagged_as_checked() {
    for (csv, who) in [
        (
            "\
         specimen,pattern,period,a_mm\n\
         s0x4,p0,t1,42.3\n\
         s0x5,p0,t2,33.3\n\
         s0x6,p0,t0,38.6\n\
         s0x7,p0,,49.1\n\
         s0x10,p0,t1,42.2\n\
         s0x11,p0,t3,48.6\n\
         s0x12,p0,t2,33.5\n\
         s0x13,p0,,48.6\n\
         s0x14,p0,,47.9\n\
         s0x15,p0,t1,42.2\n\
         s0x16,p0,t1,42.3\n\
         s0x17,p0,t3,48.2\n\
         s0x18,p0,t0,38.3\n\
         s0x19,p0,,48.1\n\
         s1x0,p1,t1,43.2\n\
         s1x1,p1,t1,42.8\n\
        ",
            ["s0x5", "s0x12"],
        ),
        (
            "\
         specimen,maker,pattern,period,a_mm\n\
         s0x10,m0,p0,,41.8\n\
         s0x11,m0,p0,t1,37.2\n\
         s2x1,m0,p2,t1,48.0\n\
         s2x2,m0,p2,t1,48.1\n\
         s2x3,m0,p2,t1,48.3\n\
         s2x4,m0,p2,t3,40.7\n\
         s2x5,m0,p2,t0,50.0\n\
         s2x6,m0,p2,t0,49.6\n\
         s2x19,m0,p2,t1,48.4\n\
         s2x20,m0,p2,t3,40.8\n\
         s2x21,m0,p2,t0,50.0\n\
         s2x22,m0,p2,t2,48.6\n\
         s2x23,m0,p2,t2,48.7\n\
         s2x24,m0,p2,t2,48.8\n\
        ",
            ["s2x4", "s2x20"],
        ),
    ] {
        let table = table(csv);
        let cohort = Cohort::new(&table, &Choice::default()).unwrap();
        let evidence = gathered(&cohort);
        let rows = 0..table.specimens.len();
        let is_out = |&row: &usize| {
            let dimensions = check(&evidence, row, &settings()).dimensions;
            dimensions.iter().any(|d| d.verdict == Verdict::OutOfNorm)
        };
        let checked: Vec<&str> = rows
            .filter(is_out)
            .map(|row| table.specimens.names.get(row))
            .collect();
        let flags = flag(&evidence, &settings());
        let flagged: Vec<&str> = flags
            .iter()
            .map(|f| table.specimens.names.get(f.row))
            .collect();
        assert!(who.iter().all(|who| checked.contains(who)), "{checked:?}");
        assert_eq!(flagged, checked);
    }
}

/// Where a few sets tell the period share, one piece less moves it far, and the quick limits of `flag`
/// do not hold: such references are judged in full. (Readings are invented.)
#[test]
fn a_reference_of_few_that_tell_the_period_share_is_flagged_as_checked() {
    let csv = "\
         specimen,pattern,period,d1_mm\n\
         s0x18,p0,t3,38.84\n\
         s0x20,p0,t2,39.90\n\
         s0x21,p0,t0,40.65\n\
         s1x1,p1,t0,42.10\n\
         s1x2,p1,t2,43.26\n\
         s1x3,p1,t2,43.24\n\
         s1x4,p1,t2,43.07\n\
         s1x5,p1,t1,42.91\n\
         s1x6,p1,t2,43.17\n\
         s1x7,p1,t1,42.73\n\
         s1x8,p1,t2,43.07\n\
         s1x9,p1,t2,43.31\n\
         s1x10,p1,t2,43.04\n\
         s1x11,p1,t1,42.63\n\
         s1x12,p1,t0,43.13\n\
         s1x13,p1,t2,43.03\n\
         s2x4,p2,t1,45.65\n\
         s2x5,p2,t0,45.97\n\
         s2x6,p2,t3,46.81\n\
         s2x7,p2,t0,45.61\n\
         s2x8,p2,t2,46.15\n\
         s2x9,p2,t0,45.77\n";
    let table = table(csv);
    let cohort = Cohort::new(&table, &Choice::default()).unwrap();
    let evidence = gathered(&cohort);
    let settings = Settings::new(0.95, 0.95, 0.2).unwrap();
    let row = table.specimens.find("s1x12").unwrap();
    assert_eq!(check(&evidence, row, &settings).verdict, Verdict::OutOfNorm);
    let flags = flag(&evidence, &settings);
    assert!(flags.iter().any(|f| f.row == row), "{flags:?}");
}

/// Lenders that agree to the step that they were read to know nothing of the spread: they must not
/// silence references that differ.
#[test]
fn lenders_that_agree_by_rounding_lend_nothing() {
    let table = table(
        "specimen,pattern,bit thickness\na,apple,4.0\nb,apple,4.1\nc,apple,4.2\n\
         d,pear,4.4\ne,pear,4.4\n",
    );
    let cohort = Cohort::new(&table, &Choice::default()).unwrap();
    let apple = cohort.find_groups(Some("apple"), None);
    let norm = norms(&gathered(&cohort), &apple, &settings())
        .unwrap()
        .remove(0);
    let alone = Borrowing {
        nothing: true,
        ..Borrowing::default()
    };
    let by_itself = norms(&Evidence::gather(&cohort, &alone), &apple, &settings())
        .unwrap()
        .remove(0);
    assert!(norm.loan.is_none());
    assert_eq!(norm.firm, by_itself.firm);
}

/// A slip outside the credible range has no say, and one in another pattern weakens no loan.
#[test]
fn a_slip_outside_the_credible_range_has_no_say() {
    let mut csv = String::from("specimen,pattern,bit thickness\n");
    for (i, pattern) in ["apple", "poker", "prince"].iter().enumerate() {
        for (k, tenths) in [40, 41, 43].iter().enumerate() {
            let value = f64::from(tenths + 5 * i as i32) / 10.0;
            csv.push_str(&format!("{pattern}{k},{pattern},{value}\n"));
        }
    }
    let sound = table(&csv);
    // 4.5 mm read as inches.
    let slipped = table(&(csv + "slip,poker,114.3\nanother,apple,104.1\n"));
    let norm_of = |table: &Table| {
        let cohort = Cohort::new(table, &Choice::default()).unwrap();
        let apple = cohort.find_groups(Some("apple"), None);
        let found = norms(&gathered(&cohort), &apple, &settings()).unwrap();
        (found[0].firm, found[0].basis.kept.len())
    };
    assert_eq!(norm_of(&sound), norm_of(&slipped));
    let cohort = Cohort::new(&slipped, &Choice::default()).unwrap();
    let poker = cohort.find_groups(Some("poker"), None)[0];
    assert_eq!(cohort.not_credible(&slipped.columns[0], poker).len(), 1);
}

/// A piece of an unnamed maker is judged, and dated, as one of the maker who has its pattern.
#[test]
fn an_unnamed_maker_is_the_one_who_has_the_pattern() {
    let mut csv = String::from("specimen,maker,pattern,made,bit width\n");
    for (i, (year, width)) in [
        (1905, 16.0),
        (1906, 16.2),
        (1925, 17.0),
        (1926, 17.1),
        (1904, 16.1),
    ]
    .iter()
    .enumerate()
    {
        csv.push_str(&format!("s{i},Harbour,apple,{year},{width}\n"));
    }
    let mut source = table(&csv);
    for (name, from) in [("Early", 1900), ("Late", 1920)] {
        let to = from + 10;
        source
            .periods
            .add(Period {
                maker: Some("Harbour".to_owned()),
                name: name.to_owned(),
                years: YearRange { from, to },
                standing: Standing::Good,
                note: String::new(),
            })
            .unwrap();
    }
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = gathered(&cohort);
    let judged = |maker: &str| {
        let piece = table(&format!(
            "specimen,maker,pattern,made,bit width\nx,{maker},apple,1903,16.1\n"
        ));
        let check = check_against(&evidence, &piece, 0, &settings());
        (check.period, check.dimensions[0].judged)
    };
    assert_eq!(judged("Harbour").0.as_deref(), Some("Early"));
    assert_eq!(judged(""), judged("Harbour"));
}
