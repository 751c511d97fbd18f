//! What must hold of borrowed spreads, whatever the collection is.

use calibriar::cohort::{Choice, Cohort, Selection};
use calibriar::norm::{Borrowing, Evidence, Settings, norms};
use calibriar::stats::{
    Predictive, Prior, Rated, ShareEvidence, borrowed_from_readings, period_share, screen,
};
use calibriar::table::Table;
use calibriar::verdict::{Check, Joint, Verdict, check, check_against, flag};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::common::tables::table;

fn settings() -> Settings {
    Settings::new(0.95, 0.95, 0.05).unwrap()
}

/// Whole numbers below a limit, the same for the same start (which is not 0).
fn draws(mut state: u64) -> impl FnMut(u64) -> u64 {
    move |below| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state % below
    }
}

/// One piece: maker, pattern, period (0 is none) and three readings in hundredths of a millimetre.
type Piece = (u8, u8, u8, [Option<u32>; 3]);

/// Collections of one or two makers, up to five patterns of a few pieces each, with a stray now and
/// then.
fn collection() -> impl Strategy<Value = Vec<Piece>> {
    let reading = prop_oneof![
        8 => (3950u32..4050).prop_map(Some),
        1 => (3000u32..6000).prop_map(Some),
        1 => Just(None),
    ];
    let piece = (
        0u8..2,
        0u8..5,
        0u8..4,
        [reading.clone(), reading.clone(), reading],
    );
    vec(piece, 2..40)
}

fn line(at: usize, (maker, pattern, period, readings): &Piece) -> String {
    let period = match period {
        0 => String::new(),
        k => format!("t{k}"),
    };
    let cells = readings.map(|r| {
        // Patterns differ in size, as patterns do.
        r.map_or(String::new(), |r| {
            let hundredths = r * (u32::from(*pattern) + 2);
            format!("{}.{:02}", hundredths / 100, hundredths % 100)
        })
    });
    format!("s{at},m{maker},p{pattern},{period},{}\n", cells.join(","))
}

const HEADER: &str = "specimen,maker,pattern,period,a_mm,b_mm,c_mm\n";

fn near(a: f64, b: f64, tolerance: f64) -> bool {
    a == b || (a - b).abs() <= tolerance * a.abs().max(b.abs()).max(1e-300)
}

/// Whether two verdicts say the same, to nine digits.
fn alike(a: &Check, b: &Check) -> Result<(), String> {
    let differ = |what: &str| Err(format!("{what}:\n{a:?}\n{b:?}"));
    if a.dimensions.len() != b.dimensions.len() {
        return differ("dimensions");
    }
    for (x, y) in a.dimensions.iter().zip(&b.dimensions) {
        if (x.n, x.disagree, x.set_aside.len(), x.more_references)
            != (y.n, y.disagree, y.set_aside.len(), y.more_references)
        {
            return differ("references");
        }
        match (&x.judged, &y.judged) {
            (None, None) => {}
            (Some(x), Some(y)) => {
                let pairs = [
                    (x.centre, y.centre),
                    (x.spread, y.spread),
                    (x.df, y.df),
                    (x.typical.high, y.typical.high),
                    (x.sharpness, y.sharpness),
                    (x.p.max(1e-200).ln(), y.p.max(1e-200).ln()),
                ];
                if x.dated != y.dated || pairs.iter().any(|&(a, b)| !near(a, b, 1e-8)) {
                    return differ("numbers");
                }
            }
            _ => return differ("judged"),
        }
    }
    match (&a.joint, &b.joint) {
        (None, None) => Ok(()),
        (Some(x), Some(y)) => {
            let close = near(x.size_p, y.size_p, 1e-6) && near(x.misfit_p, y.misfit_p, 1e-5);
            if close && x.shape.len() == y.shape.len() {
                Ok(())
            } else {
                differ("joint")
            }
        }
        _ => differ("joint"),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// No road leads from a piece's own readings to its norm: not its pattern's references, not the
    /// period share, not the screening, not what its pattern lends to others.
    #[test]
    fn a_piece_is_judged_as_if_it_were_not_in_the_collection(pieces in collection(), at in 0usize..40) {
        let at = at % pieces.len();
        let lines: Vec<String> = pieces.iter().enumerate().map(|(i, p)| line(i, p)).collect();
        let all = table(&(HEADER.to_owned() + &lines.concat()));
        let cohort = Cohort::new(&all, &Choice::default()).unwrap();
        let inside = check(&Evidence::gather(&cohort, &Borrowing::default()), at, &settings());

        let others: String = lines.iter().enumerate().filter(|(i, _)| *i != at).map(|(_, l)| l.as_str()).collect();
        let rest = table(&(HEADER.to_owned() + &others));
        let alone = table(&(HEADER.to_owned() + &lines[at]));
        let cohort = Cohort::new(&rest, &Choice::default()).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let outside = check_against(&evidence, &alone, 0, &settings());
        // A pattern that is gone with its only piece has no group; nothing could be said anyway.
        let (_, maker_pattern) = lines[at].split_once(',').unwrap();
        let known = others.lines().any(|l| {
            let cells = |l: &str| l.split(',').take(2).map(str::to_owned).collect::<Vec<_>>();
            cells(l.split_once(',').unwrap().1) == cells(maker_pattern)
        });
        if known {
            if let Err(message) = alike(&inside, &outside) {
                return Err(TestCaseError::fail(message));
            }
        } else {
            prop_assert_eq!(inside.verdict, Verdict::Undecided);
            prop_assert_eq!(outside.verdict, Verdict::Undecided);
        }
    }

    /// Patterns large enough for quick limits, strays that crowd, any error rate: `flag` gives what
    /// `check` gives, bit for bit.
    #[test]
    fn flag_finds_what_check_finds_in_large_patterns(
        sizes in vec(12usize..70, 1..4),
        seed in 0u64..1_000_000,
        strays in 0usize..8,
        alpha in prop_oneof![Just(0.05), Just(0.2), Just(0.001)],
    ) {
        let mut next = draws(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        let mut csv = String::from("specimen,pattern,period,a_mm,b_mm,c_mm\n");
        for (pattern, &size) in sizes.iter().enumerate() {
            for i in 0..size {
                csv.push_str(&format!("s{pattern}x{i},p{pattern},t{}", next(4)));
                for _ in 0..3 {
                    // About normal: the sum of four; strays beside each other.
                    let sum: u64 = (0..4).map(|_| next(60)).sum();
                    let far = if i < strays && next(3) == 0 { 180 + next(60) } else { 0 };
                    let hundredths = 4000 + sum + far;
                    csv.push_str(&format!(",{}.{:02}", hundredths / 100, hundredths % 100));
                }
                csv.push('\n');
            }
        }
        let table = table(&csv);
        let cohort = Cohort::new(&table, &Choice::default()).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let settings = Settings::new(0.95, 0.95, alpha).unwrap();
        let flagged: Vec<(usize, usize, u64)> = flag(&evidence, &settings)
            .iter()
            .map(|f| (f.row, f.dimension, f.p_adjusted.to_bits()))
            .collect();
        let rows = 0..table.specimens.len();
        let checked: Vec<(usize, usize, u64)> = rows
            .flat_map(|row| {
                let dimensions = check(&evidence, row, &settings).dimensions;
                let out = dimensions.into_iter().filter(|d| d.verdict == Verdict::OutOfNorm);
                out.map(move |d| (row, d.dimension, d.judged.unwrap().p_adjusted.to_bits()))
                    .collect::<Vec<_>>()
            })
            .collect();
        prop_assert_eq!(flagged, checked);
    }

    /// One more reference exactly at the centre makes the next piece's band narrower, if anything.
    #[test]
    fn a_copy_of_the_centre_never_widens_the_band(
        x in vec(-3.0..3.0f64, 1..8),
        periods in vec(0u32..3, 8),
        u in 0.0..0.8f64,
        lambda in 0.0..2.0f64,
        df in 0.5..20.0f64,
        variance in 0.2..4.0f64,
    ) {
        let mut readings: Vec<Rated> = x
            .iter()
            .zip(&periods)
            .map(|(&x, &period)| Rated { x, u, period: Some(period) })
            .collect();
        let prior = Prior { df, variance, lambda };
        let before = Predictive::new(&readings, &prior).unwrap();
        // A good piece of a period of its own, at the centre.
        readings.push(Rated { x: before.centre(), u, period: None });
        let after = Predictive::new(&readings, &prior).unwrap();
        let width = |norm: &Predictive| norm.half_width(norm.variance(u), 0.95);
        prop_assert!(width(&after) <= width(&before) * (1.0 + 1e-12));
    }

    /// Numbers at the ends of an `f64`, and readings without error: a value or nothing, never NaN.
    #[test]
    fn no_number_is_too_odd(
        sets in vec(vec((odd(), odd_error(), prop::option::of(0u32..3)), 0..6), 1..6),
        lambda in prop_oneof![Just(0.0), 0.0..40.0f64],
    ) {
        let sets: Vec<Vec<Rated>> = sets
            .into_iter()
            .map(|set| set.into_iter().map(|(x, u, period)| Rated { x, u, period }).collect())
            .collect();
        let slices: Vec<&[Rated]> = sets.iter().map(Vec::as_slice).collect();
        let rho = period_share(slices.iter().copied()).rho;
        prop_assert!((0.0..=1.0).contains(&rho), "rho {}", rho);
        let borrowed = borrowed_from_readings(&[slices], lambda);
        prop_assert!(borrowed.phi > 0.0 && borrowed.phi <= 0.5);
        let mut priors = vec![Prior::none(lambda)];
        if let Some(spread) = borrowed.dimensions[0] {
            prop_assert!(spread.s2 > 0.0 && spread.s2.is_finite() && spread.df > 0.0);
            priors.push(Prior { df: spread.df, variance: spread.s2, lambda });
        }
        for (set, prior) in sets.iter().flat_map(|s| priors.iter().map(move |p| (s, p))) {
            prop_assert_eq!(screen(set, prior).kept.len() + screen(set, prior).set_aside.len(), set.len());
            let Some(norm) = Predictive::new(set, prior) else { continue };
            for own in set {
                let norm = norm.clone().dated(own.period);
                let at = norm.judge(own.x, own.u);
                prop_assert!(at.p > 0.0 && at.p <= 1.0 && !at.z.is_nan(), "{:?} {:?}", norm, at);
                prop_assert!(norm.df() > 0.0 && norm.spread() > 0.0);
                prop_assert!(!norm.half_width(at.variance, 0.95).is_nan());
                prop_assert!(!norm.sharpness(own.u).is_nan());
            }
        }
    }
}

fn odd() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -5.0..5.0f64,
        1 => Just(0.0),
        1 => Just(1e300),
        1 => Just(-1e300),
        1 => Just(1e-300),
        1 => Just(1e150),
    ]
}

fn odd_error() -> impl Strategy<Value = f64> {
    prop_oneof![
        3 => Just(0.0),
        3 => 0.0..1.0f64,
        1 => Just(1e150),
        1 => Just(1e-300),
    ]
}

/// Every finding of a table: norms, checks of all pieces, flags. Nothing may be NaN.
fn judge_all(table: &Table) -> (Vec<Check>, usize) {
    let cohort = Cohort::new(table, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let groups: Vec<usize> = (0..cohort.groups().len()).collect();
    for norm in norms(&evidence, &groups, &settings()).unwrap() {
        assert!(!norm.centre.is_nan());
        let Some(firm) = norm.firm else { continue };
        let numbers = [
            firm.spread,
            firm.spread_between_periods,
            firm.df,
            firm.typical.low,
            firm.tolerance.high,
        ];
        assert!(numbers.iter().all(|x| !x.is_nan()), "{firm:?}");
    }
    let rows = 0..table.specimens.len();
    let checks: Vec<Check> = rows.map(|row| check(&evidence, row, &settings())).collect();
    for judged in checks
        .iter()
        .flat_map(|c| &c.dimensions)
        .filter_map(|d| d.judged)
    {
        assert!(!(judged.p.is_nan() || judged.score.is_nan() || judged.sharpness.is_nan()));
    }
    (checks, flag(&evidence, &settings()).len())
}

#[test]
fn a_thousand_patterns_of_one_piece_decide_nothing() {
    let mut csv = String::from("specimen,pattern,a_mm,b_mm\n");
    for i in 0..1000 {
        csv.push_str(&format!(
            "s{i},p{i},{}.{:02},{}\n",
            20 + i % 7,
            i % 100,
            30 + i % 11
        ));
    }
    let (checks, flags) = judge_all(&table(&csv));
    assert!(checks.iter().all(|c| c.verdict == Verdict::Undecided));
    assert_eq!(flags, 0);
}

#[test]
fn collections_of_almost_nothing() {
    for csv in [
        // One piece; one pattern of two; periods of one piece each; all alike; a family constant.
        "specimen,pattern,a_mm\ns,p,4.1\n",
        "specimen,pattern,a_mm\ns,p,4.1\nt,p,4.2\n",
        "specimen,pattern,period,a_mm\ns,p,x,4.1\nt,p,y,4.2\nu,p,z,4.15\nv,q,x,6.1\nw,q,y,6.3\n",
        "specimen,pattern,a_mm,b_mm\ns,p,4,5\nt,p,4,5\nu,p,4,5\nv,q,4,5\nw,q,4,5\n",
        "specimen,pattern,a_mm,b_mm\ns,p,4.0,5.1\nt,p,4.0,5.3\nu,q,6.0,7.2\nv,q,6.0,7.3\nw,q,6.0,7.1\n",
        // Numbers that no pipe has.
        "specimen,pattern,a_mm\ns,p,1e300\nt,p,1e-300\nu,p,4\nv,q,1e300\nw,q,4\n",
    ] {
        let (checks, _) = judge_all(&table(csv));
        for check in checks
            .iter()
            .filter(|c| c.dimensions.iter().all(|d| d.judged.is_none()))
        {
            assert_eq!(check.verdict, Verdict::Undecided, "{csv}");
        }
    }
}

/// A period share needs a period of two pieces and a second period; else it is nothing.
#[test]
fn periods_of_one_piece_tell_no_share() {
    let set: Vec<Rated> = (0..4)
        .map(|k| Rated {
            x: f64::from(k * k),
            u: 0.1,
            period: Some(k),
        })
        .collect();
    assert_eq!(ShareEvidence::of(&set).telling(), 0);
    assert_eq!(period_share([set.as_slice()]).rho, 0.0);
}

proptest! {
    // Each case checks some three hundred pieces.
    #![proptest_config(ProptestConfig::with_cases(16))]

    /// Sources in which so many sets tell the period share that a reference is left out of sums that are
    /// there already: `flag` finds what `check` finds by adding them up anew, its numbers to nine digits.
    #[test]
    fn flag_finds_what_check_finds_in_large_sources(
        sizes in vec(14usize..60, 9..12),
        seed in 0u64..1_000_000,
        strays in 0usize..6,
        nothing in proptest::bool::ANY,
    ) {
        const DIMENSIONS: usize = 12;
        let mut next = draws(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        let names: String = (0..DIMENSIONS).map(|d| format!(",d{d}_mm")).collect();
        let mut csv = format!("specimen,pattern,period{names}\n");
        for (pattern, &size) in sizes.iter().enumerate() {
            // Strays of every other pattern are a crowd: of one rare period, far off in the same dimensions, so
            // that they vouch for each other.
            let crowd = pattern % 2 == 0;
            let off: Vec<u64> = (0..DIMENSIONS)
                .map(|_| if next(3) == 0 { 110 + next(130) } else { 0 })
                .collect();
            for i in 0..size {
                let stray = i < strays;
                let period = match (stray && crowd, next(12)) {
                    (true, _) => "t9",
                    (false, 0) => "t0",
                    (false, 1..=4) => "t1",
                    (false, 5..=10) => "t2",
                    (false, _) => "",
                };
                csv.push_str(&format!("s{pattern}x{i},p{pattern},{period}"));
                for off in &off {
                    let sum: u64 = (0..4).map(|_| next(60)).sum();
                    let far = match (stray, crowd) {
                        (true, true) => *off,
                        (true, false) if next(3) == 0 => 150 + next(90),
                        _ => 0,
                    };
                    // Of some crowds every other one is off the other way: then the one is far off by the other.
                    let down = crowd && pattern % 4 == 0 && i % 2 == 1;
                    let hundredths = if down { 4000 + sum - far } else { 4000 + sum + far };
                    csv.push_str(&format!(",{}.{:02}", hundredths / 100, hundredths % 100));
                }
                csv.push('\n');
            }
        }
        let table = table(&csv);
        let cohort = Cohort::new(&table, &Choice::default()).unwrap();
        let borrowing = Borrowing { nothing, ..Borrowing::default() };
        let evidence = Evidence::gather(&cohort, &borrowing);
        let settings = Settings::new(0.95, 0.95, 0.05).unwrap();
        let flags = flag(&evidence, &settings);
        let mut flagged = flags.iter();
        for row in 0..table.specimens.len() {
            let dimensions = check(&evidence, row, &settings).dimensions;
            for of in dimensions.into_iter().filter(|d| d.verdict == Verdict::OutOfNorm) {
                let (Some(flag), Some(judged)) = (flagged.next(), of.judged) else {
                    return Err(TestCaseError::fail("checked, not flagged"));
                };
                prop_assert_eq!((flag.row, flag.dimension), (row, of.dimension));
                for (a, b) in [
                    (flag.p, judged.p),
                    (flag.p_adjusted, judged.p_adjusted),
                    (flag.centre, judged.centre),
                    (flag.typical.low, judged.typical.low),
                ] {
                    prop_assert!((a - b).abs() <= 1e-9 * b.abs(), "{a} {b}");
                }
            }
        }
        prop_assert!(flagged.next().is_none());
    }
}

/// Evidence for many pieces lends to sizes and shapes from tables; a piece is judged as by evidence that
/// works each loan out by itself, to nine digits.
#[test]
fn many_pieces_are_judged_as_one_by_one() {
    const DIMENSIONS: usize = 10;
    let mut next = draws(0x5851_F42D_4C95_7F2D_u64);
    let names: String = (0..DIMENSIONS).map(|d| format!(",d{d}_mm")).collect();
    let mut csv = format!("specimen,pattern,period{names}\n");
    for pattern in 0..16 {
        for i in 0..14 {
            let period = ["t1", "t2", "t2", ""][next(4) as usize];
            // Periods that differ, a large one among the pieces, and sizes that are missing.
            let large = 10 * next(25) + if period == "t1" { 50 } else { 0 };
            csv.push_str(&format!("s{pattern}x{i},p{pattern},{period}"));
            for d in 0..DIMENSIONS {
                let hundredths = 4000 + large + (0..4).map(|_| next(30)).sum::<u64>();
                match next(20) == 0 && d > 1 {
                    true => csv.push(','),
                    false => {
                        csv.push_str(&format!(",{}.{:02}", hundredths / 100, hundredths % 100))
                    }
                }
            }
            csv.push('\n');
        }
    }
    let table = table(&csv);
    let choice = Choice {
        periods: Selection::Named(vec!["t1".to_owned(), "t2".to_owned()]),
        ..Choice::default()
    };
    let cohort = Cohort::new(&table, &choice).unwrap();
    let one = Evidence::gather(&cohort, &Borrowing::default());
    let many = Evidence::gather(&cohort, &Borrowing::default()).for_many();
    let mut moved = 0;
    for row in 0..table.specimens.len() {
        let [one, many] = [&one, &many].map(|of| check(of, row, &settings()).joint.unwrap());
        let scores = |joint: &Joint| -> Vec<f64> {
            let shapes = joint.shape.iter().map(|shape| shape.score);
            let whole = [joint.size_score, joint.misfit, joint.misfit_p];
            shapes.chain(whole).collect()
        };
        let (one, many) = (scores(&one), scores(&many));
        assert_eq!(one.len(), many.len());
        moved += usize::from(one != many);
        for (a, b) in one.into_iter().zip(many) {
            assert!((a - b).abs() <= 1e-9 * a.abs().max(1.0), "{row}: {a} {b}");
        }
    }
    // References have period ratios of their own; those near that of the collection are from between.
    assert!(moved > 50, "{moved}");
}

/// Where the other patterns are so small that they hardly tell the period share, one odd piece of a rare
/// period moves it several times over, and with it the limits that the piece itself is seen by.
#[test]
fn a_piece_that_moves_the_period_share_does_not_hide_from_flag() {
    const DIMENSIONS: usize = 12;
    let mut next = draws(5u64.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let names: String = (0..DIMENSIONS).map(|d| format!(",d{d}_mm")).collect();
    let mut csv = format!("specimen,pattern,period{names}\n");
    let mut piece = |name: String, pattern: String, period: &str, at: Option<u64>| {
        csv.push_str(&format!("{name},{pattern},{period}"));
        for _ in 0..DIMENSIONS {
            let size = 4000 + at.unwrap_or_else(|| (0..4).map(|_| next(60)).sum());
            csv.push_str(&format!(",{}.{:02}", size / 100, size % 100));
        }
        csv.push('\n');
    };
    for pattern in 0..19 {
        for (i, period) in ["t1", "t1", "t2"].into_iter().enumerate() {
            piece(
                format!("s{pattern}x{i}"),
                format!("p{pattern}"),
                period,
                None,
            );
        }
    }
    for i in 0..900 {
        piece(
            format!("big{i}"),
            "big".to_owned(),
            ["t1", "t2"][i % 2],
            None,
        );
    }
    // Two pieces of the rare period, of which the one is a little over three spreads large all over.
    piece("usual".to_owned(), "big".to_owned(), "t9", Some(183));
    piece("odd".to_owned(), "big".to_owned(), "t9", Some(228));
    let table = table(&csv);
    let cohort = Cohort::new(&table, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let odd = table.specimens.find("odd").unwrap();
    let checked = check(&evidence, odd, &settings()).dimensions.into_iter();
    let checked: Vec<(usize, f64)> = checked
        .filter(|d| d.verdict == Verdict::OutOfNorm)
        .map(|d| (d.dimension, d.judged.unwrap().p_adjusted))
        .collect();
    assert_eq!(checked.len(), DIMENSIONS);
    let flags = flag(&evidence, &settings());
    let flagged: Vec<(usize, f64)> = flags
        .iter()
        .filter(|flag| flag.row == odd)
        .map(|flag| (flag.dimension, flag.p_adjusted))
        .collect();
    assert_eq!(flagged.len(), DIMENSIONS);
    for ((a, p), (b, q)) in flagged.into_iter().zip(checked) {
        assert!(a == b && near(p, q, 1e-9), "{a} {p}, {b} {q}");
    }
}
