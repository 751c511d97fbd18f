//! The finish as one colour: the region against the method as it is written, finishes kept apart,
//! and how often good pieces fall outside.

use std::fmt::Write as _;

use calibriar::cohort::{Choice, Cohort};
use calibriar::form::colour::{Lab, difference};
use calibriar::norm::{Borrowing, Evidence, Settings, norms};
use calibriar::rates::{Plan, rates};
use calibriar::stats::{chi_square_sf, shrunk_correlation};
use calibriar::table::Table;
use calibriar::verdict::{Check, Verdict, check, check_against, flag, working};

use crate::common::assert_rel_at;
use crate::common::draw::Draw;
use crate::common::tables::table;

const ALPHA: f64 = 0.05;

fn settings() -> Settings {
    Settings::new(0.95, 0.95, ALPHA).unwrap()
}

const HEADER: &str = "specimen,maker,pattern,finish,bowl height,L*,a*,b*\n";

/// L*, a*, b* about a centre: lighter pieces are yellower.
fn colour(draw: &mut Draw, centre: [f64; 3], spread: f64) -> [f64; 3] {
    let (common, own) = (draw.normal(), [draw.normal(), draw.normal(), draw.normal()]);
    let off = [
        0.8 * common + 0.6 * own[0],
        own[1],
        0.8 * common + 0.6 * own[2],
    ];
    [0, 1, 2].map(|i| centre[i] + spread * off[i])
}

const FINISHES: [(&str, [f64; 3]); 2] = [
    ("smooth", [38.0, 18.0, 26.0]),
    ("Blasted", [22.0, 6.0, 8.0]),
];

/// An invented source: patterns of one maker, each smooth and blasted.
fn invented(patterns: usize, pieces: usize, seed: u64) -> String {
    let mut draw = Draw::seeded(seed);
    let mut csv = String::from(HEADER);
    for pattern in 0..patterns {
        let shift = [draw.normal(), draw.normal(), draw.normal()];
        for piece in 0..pieces * 2 {
            let (finish, centre) = FINISHES[piece % 2];
            let centre = [0, 1, 2].map(|i| centre[i] + 3.0 * shift[i]);
            let [l, a, b] = colour(&mut draw, centre, 2.0);
            let height = 45.0 + draw.normal();
            writeln!(
                csv,
                "p{pattern}x{piece},Row Works,p{pattern},{finish},{height:.2},{l:.2},{a:.2},{b:.2}"
            )
            .unwrap();
        }
    }
    csv
}

/// A piece of the first pattern with that colour, smooth.
fn piece(lab: [f64; 3]) -> Table {
    let [l, a, b] = lab;
    // Ten decimals, so that the step of reading is no matter.
    table(&format!(
        "{HEADER}new,Row Works,p0,SMOOTH,45.00,{l:.10} ± 0.001,{a:.10} ± 0.001,{b:.10} ± 0.001\n"
    ))
    .by_finish()
}

/// The residuals, the correlation and the p, from the readings themselves.
#[test]
fn the_region_as_the_method_is_written() {
    let source = table(&invented(5, 4, 1)).by_finish();
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    for row in 0..source.specimens.len() {
        let worked = working(&evidence, row, &settings());
        let finish = worked.check.finish.as_ref().unwrap();
        let colours: Vec<_> = worked.dimensions[1..].iter().collect();
        let finish_of = |row: usize| source.specimens.finishes.get(row);
        let pattern_of = |row: usize| source.specimens.patterns.get(row);
        let value = |row: usize, d: usize| {
            let dimension = colours[d].check.dimension;
            let columns = source.columns.iter().filter(|c| c.dimension == dimension);
            columns.filter_map(|c| c.value(row)).next().unwrap()
        };
        let (mut residuals, mut freedom) = (Vec::new(), 0.0);
        for pattern in 0..5 {
            let rows: Vec<usize> = (0..source.specimens.len())
                .filter(|&other| other != row && finish_of(other) == finish_of(row))
                .filter(|&other| pattern_of(other) == format!("p{pattern}"))
                .collect();
            let n = rows.len() as f64;
            freedom += n - 1.0;
            let standard: [Vec<f64>; 3] = [0, 1, 2].map(|d| {
                let mean = rows.iter().map(|&r| value(r, d)).sum::<f64>() / n;
                let ss: f64 = rows.iter().map(|&r| (value(r, d) - mean).powi(2)).sum();
                let prior = colours[d].prior;
                let s2 = (prior.df * prior.variance + ss) / (prior.df + n - 1.0);
                rows.iter()
                    .map(|&r| (value(r, d) - mean) / s2.sqrt())
                    .collect()
            });
            residuals.extend((0..rows.len()).map(|i| standard.each_ref().map(|of| of[i]).to_vec()));
            if pattern_of(row) == format!("p{pattern}") {
                assert_eq!(finish.rows, rows);
            }
        }
        let r = shrunk_correlation(&residuals, freedom).matrix;
        let trace: f64 = r.iter().flatten().map(|r| r * r).sum();
        let q: f64 = colours
            .iter()
            .map(|d| d.check.judged.unwrap().score.powi(2))
            .sum();
        let p = chi_square_sf(q / (trace / 3.0), 9.0 / trace);
        assert_rel_at("p", finish.whole.p, p, 1e-10);
        assert_rel_at("rms", finish.whole.rms, (q / 3.0).sqrt(), 1e-12);
        let centre = [0, 1, 2].map(|d| colours[d].check.judged.unwrap().centre);
        assert_eq!(finish.centre, Lab::from(centre));
        let reading = Lab::from([0, 1, 2].map(|d| value(row, d)));
        assert_eq!(finish.reading, reading);
        assert_eq!(finish.difference, difference(reading, Lab::from(centre)));
        assert_eq!(finish.verdict == Verdict::OutOfNorm, p <= ALPHA);
    }
}

/// A piece that stands where the region ends has p = alpha.
#[test]
fn the_limit_is_where_a_piece_would_be_called_out_of_norm() {
    let source = table(&invented(5, 4, 2)).by_finish();
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let finish_at = |lab: [f64; 3]| {
        let check = check_against(&evidence, &piece(lab), 0, &settings());
        check.finish.unwrap()
    };
    let centre = finish_at([38.0, 18.0, 26.0]).centre.components();
    for way in [[3.0, 0.0, 0.0], [0.0, -2.0, 1.0], [-1.0, 4.0, 9.0]] {
        let at = |share: f64| finish_at([0, 1, 2].map(|i| centre[i] + share * way[i]));
        let limit = at(1.0).difference_at_limit.unwrap();
        // Farther out the colours are not credible.
        let (mut inside, mut outside) = (0.0, 5.0);
        while outside - inside > 1e-7 {
            let middle = (inside + outside) / 2.0;
            match at(middle).whole.p <= ALPHA {
                true => outside = middle,
                false => inside = middle,
            }
        }
        let end = at(outside);
        assert!((end.whole.p - ALPHA).abs() < 1e-6);
        assert!((end.difference - limit).abs() < 1e-5);
        assert_eq!(end.verdict, Verdict::OutOfNorm);
        assert_ne!(at(0.9 * inside).verdict, Verdict::OutOfNorm);
    }
}

/// Where the user states the spreads, the scores are normal, and the three still hang together.
#[test]
fn stated_spreads_leave_the_correlation() {
    let source = table(&invented(5, 4, 2)).by_finish();
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let stated = ["finish_lightness", "finish_red_green", "finish_yellow_blue"];
    let borrowing = Borrowing {
        stated: stated.map(|key| (key.to_owned(), 2.0)).into(),
        ..Borrowing::default()
    };
    let evidence = Evidence::gather(&cohort, &borrowing);
    let finish = check(&evidence, 0, &settings()).finish.unwrap();
    // Unrelated scores have c = 1 and f = 3.
    assert!(finish.whole.scale > 1.01 && finish.whole.df < 2.97);
    assert!(finish.difference_at_limit.unwrap() > 1.0);
}

/// A piece at the centre lies on no line; pieces all alike judge another as much as nothing tells.
#[test]
fn the_edges_of_a_region() {
    let alike = "r,Row Works,p0,smooth,45.00,38.0,18.0,26.0\n";
    let csv: String = (0..4).map(|i| format!("r{i}{}", &alike[1..])).collect();
    let source = table(&format!("{HEADER}{csv}")).by_finish();
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let at = |lab: [f64; 3]| check_against(&evidence, &piece(lab), 0, &settings()).finish;
    let centre = at([38.0, 18.0, 26.0]).unwrap();
    assert_eq!(centre.difference, 0.0);
    assert_eq!(centre.difference_at_limit, None);
    assert!(centre.whole.p > 0.99);
    // Alike to the step of reading: that is all the spread there is.
    let off = at([38.0, 19.0, 26.0]).unwrap();
    assert!(off.whole.p < 0.05 && off.difference_at_limit.unwrap() < off.difference);
    // Far off, the p is small and not none.
    let far = at([0.0, -80.0, -80.0]).unwrap();
    assert!(far.whole.p > 0.0 && far.difference.is_finite());
    // A slip is no colour.
    assert_eq!(at([38.0, 18.0, 126.0]), None);
}

/// What the blasted pieces are like is nothing to a smooth one, however a finish is spelt; its
/// size is judged by all.
#[test]
fn finishes_are_kept_apart() {
    let csv = invented(4, 4, 3);
    let alone = Borrowing {
        nothing: true,
        ..Borrowing::default()
    };
    let judged = |csv: &str, name: &str| -> Check {
        let source = table(csv).by_finish();
        let cohort = Cohort::new(&source, &Choice::default()).unwrap();
        let evidence = Evidence::gather(&cohort, &alone);
        let row = source.specimens.find(name).unwrap();
        check(&evidence, row, &settings())
    };
    let all = judged(&csv, "p0x0");
    // The blasted pieces' colours taken away.
    let fewer: String = csv
        .lines()
        .map(|line| match line.contains("Blasted") {
            true => {
                let cells: Vec<&str> = line.split(',').collect();
                format!("{},,,\n", cells[..5].join(","))
            }
            false => format!("{line}\n"),
        })
        .collect();
    assert_eq!(judged(&fewer, "p0x0"), all);
    let spelt = csv.replace("p0x2,Row Works,p0,smooth", "p0x2,Row Works,p0,SMOOTH ");
    assert_eq!(judged(&spelt, "p0x0"), all);
    let n: Vec<usize> = all.dimensions.iter().map(|d| d.n).collect();
    assert_eq!(n, [7, 3, 3, 3]);
    // Without finishes all are one.
    let none = csv.replace("smooth", "").replace("Blasted", "");
    let n: Vec<usize> = judged(&none, "p0x0")
        .dimensions
        .iter()
        .map(|d| d.n)
        .collect();
    assert_eq!(n, [7, 7, 7, 7]);
    // A finish that nobody else has.
    let odd = csv.replace("p0x0,Row Works,p0,smooth", "p0x0,Row Works,p0,carved");
    let odd = judged(&odd, "p0x0");
    assert_eq!(
        odd.dimensions.iter().map(|d| d.n).collect::<Vec<_>>(),
        [7, 0, 0, 0]
    );
    assert_eq!(odd.finish, None);
}

#[test]
fn a_table_taken_apart_by_finish_has_the_same_readings() {
    let whole = table(&invented(3, 3, 4));
    let apart = whole.clone().by_finish();
    assert_eq!(whole.columns.len(), 4);
    assert_eq!(apart.columns.len(), 7);
    assert_eq!(whole.count_readings(), apart.count_readings());
    for column in &whole.columns {
        for row in 0..whole.specimens.len() {
            let of = apart
                .columns
                .iter()
                .filter(|c| c.dimension == column.dimension);
            let with: Vec<_> = of.filter(|c| c.value(row).is_some()).collect();
            assert_eq!(with.len(), 1);
            assert_eq!(with[0].value(row), column.value(row));
            assert_eq!(with[0].uncertainty(row), column.uncertainty(row));
            assert_eq!(with[0].state(row), column.state(row));
            let colour = column.dimension != whole.columns[0].dimension;
            let finish = whole.specimens.finishes.get(row).to_owned();
            assert_eq!(with[0].finish, colour.then_some(finish));
        }
    }
    // Done again it changes nothing.
    let names = |t: &Table| -> Vec<_> { t.columns.iter().map(|c| c.finish.clone()).collect() };
    assert_eq!(names(&apart.clone().by_finish()), names(&apart));
}

/// A number that is no colour is that of the whole pattern.
#[test]
fn other_plain_numbers_are_not_taken_apart() {
    let csv = "specimen,pattern,finish,rings,L*\nA,p,smooth,3,40.0\nB,p,blasted,4,20.0\n";
    let apart = table(csv).by_finish();
    let finishes: Vec<Option<&str>> = apart.columns.iter().map(|c| c.finish.as_deref()).collect();
    assert_eq!(finishes, [None, Some("smooth"), Some("blasted")]);
}

#[test]
fn norms_are_those_of_each_finish() {
    let source = table(&invented(3, 3, 5)).by_finish();
    let cohort = Cohort::new(&source, &Choice::default()).unwrap();
    let evidence = Evidence::gather(&cohort, &Borrowing::default());
    let norms = norms(&evidence, &[0], &settings()).unwrap();
    let n: Vec<(usize, Option<&str>)> = norms
        .iter()
        .map(|norm| (norm.basis.kept.len(), norm.finish.as_deref()))
        .collect();
    let (smooth, blasted) = ((3, Some("smooth")), (3, Some("Blasted")));
    assert_eq!(
        n,
        [(6, None), smooth, blasted, smooth, blasted, smooth, blasted]
    );
    // Blasted pieces are darker by far.
    assert!(norms[1].centre > norms[2].centre + 5.0);
}

#[test]
fn flags_are_those_of_all_checks_finish_by_finish() {
    for seed in 10..16 {
        let mut csv = invented(6, 5, seed);
        // Two pieces of the wrong colour: more would widen what all lend.
        for pattern in 0..2 {
            let from = csv.find(&format!("p{pattern}x3,")).unwrap();
            let end = csv[from..].find('\n').unwrap() + from;
            let row = format!("p{pattern}x3,Row Works,p{pattern},Blasted,45.0,38.0,18.0,26.0");
            csv.replace_range(from..end, &row);
        }
        let source = table(&csv).by_finish();
        let cohort = Cohort::new(&source, &Choice::default()).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let mut told = Vec::new();
        for row in 0..source.specimens.len() {
            let check = check(&evidence, row, &settings());
            let out = check.dimensions.into_iter();
            let out = out.filter(|d| d.verdict == Verdict::OutOfNorm);
            told.extend(out.map(|d| (row, d.dimension, d.judged.unwrap().p_adjusted.to_bits())));
        }
        let flags: Vec<(usize, usize, u64)> = flag(&evidence, &settings())
            .iter()
            .map(|f| (f.row, f.dimension, f.p_adjusted.to_bits()))
            .collect();
        assert_eq!(flags, told);
        assert!(flags.len() >= 4, "{}", flags.len());
    }
}

/// In the self-check a piece has one finish, not all that its pattern comes in: with as many
/// references of each it has four dimensions, as a real one, and not seven.
#[test]
fn rates_give_each_piece_one_finish() {
    let whole = table(&invented(5, 4, 6));
    let sources = [whole.clone().by_finish(), whole];
    let [apart, together] = sources.each_ref().map(|source| {
        let cohort = Cohort::new(source, &Choice::default()).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let plan = Plan {
            worlds: 300,
            seed: 3,
        };
        let all = rates(&evidence, &[0], &settings(), plan, || {}).unwrap();
        all[0].clone()
    });
    assert_eq!((apart.dimensions, together.dimensions), (7, 4));
    for of in [&apart, &together] {
        // 4 standard errors of 300 worlds.
        assert!(of.out_of_norm.value < 0.05 + 0.05, "{of:?}");
        assert!((of.unusual.value - 0.05).abs() < 0.03, "{of:?}");
    }
    // Counted in quarters of a piece; sevenths would hardly add up to a whole number of these.
    let quarters = apart.unusual.value * 4.0 * 300.0;
    assert!(quarters > 1.0 && (quarters - quarters.round()).abs() < 1e-6);
}

/// Of good pieces about one in twenty lies outside its region, whose three readings hang together;
/// of pieces that are off by 3 spreads in each of them most do. 4 standard errors of 600 are 0.036.
#[test]
fn good_pieces_fall_outside_as_often_as_alpha_says() {
    let (mut outside, mut found, mut all) = (0, 0, 0);
    for seed in 0..600 {
        let csv = invented(8, 4, 1000 + seed);
        // A good piece more of the first pattern: one of its own, judged without itself.
        let source = table(&csv).by_finish();
        let cohort = Cohort::new(&source, &Choice::default()).unwrap();
        let evidence = Evidence::gather(&cohort, &Borrowing::default());
        let good = check(&evidence, 0, &settings()).finish.unwrap();
        let [l, a, b] = good.reading.components();
        let off = piece([l + 6.0, a + 6.0, b - 6.0]);
        let off = check_against(&evidence, &off, 0, &settings())
            .finish
            .unwrap();
        outside += usize::from(good.whole.p <= ALPHA);
        found += usize::from(off.whole.p <= ALPHA);
        all += 1;
    }
    let share = outside as f64 / all as f64;
    assert!((0.014..0.086).contains(&share), "{share}");
    assert!(found as f64 > 0.8 * all as f64, "{found} of {all}");
}
