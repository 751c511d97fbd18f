//! Some cells of docs/shift_years.md again, quickly. Limits are those of the binomial law at 1e-6.

use calibriar::stats::{Dated, shifts};

use crate::common::draw::Draw;

fn world(seed: u64, n: i16, either_way: i16, size: f64) -> Vec<Dated> {
    let even = |draw: &mut Draw| 1921 + (draw.uniform() * 64.0) as i16;
    made(seed, n, either_way, size, even)
}

fn made(
    seed: u64,
    n: i16,
    either_way: i16,
    size: f64,
    year: impl Fn(&mut Draw) -> i16,
) -> Vec<Dated> {
    let mut draw = Draw::seeded(seed);
    let one = |i: i16| {
        let year = year(&mut draw);
        let off = (draw.uniform() * f64::from(2 * either_way + 1)) as i16 - either_way;
        let shift = if year >= 1950 { size } else { 0.0 };
        Dated {
            x: shift + draw.normal(),
            set: (i % 3) as u32,
            from: year + off - either_way,
            to: year + off + either_way,
        }
    };
    (0..n).map(one).collect()
}

#[test]
fn nothing_is_found_where_nothing_shifted_but_at_the_stated_rate() {
    let mut alarms = 0;
    for seed in 0..400 {
        let found = shifts(&world(seed, 24, i16::from(seed % 2 == 0) * 5, 0.0), 0.05).unwrap();
        let any = !found.location.shifts.is_empty() || !found.width.shifts.is_empty();
        alarms += u32::from(any);
    }
    // 20 expected of 400; 45 are passed with a probability of 1e-6 at a rate of 0.05.
    assert!(alarms <= 45, "{alarms} alarms of 400");
    assert!(
        alarms >= 2,
        "{alarms} alarms of 400: the test cannot find anything"
    );
}

#[test]
fn the_years_hold_the_true_one() {
    let (mut found_in, mut held) = (0, 0);
    for seed in 1000..1150 {
        let found = shifts(&world(seed, 90, 5, 2.0), 0.05).unwrap();
        if let Some(shift) = found.location.shifts.first() {
            found_in += 1;
            let holds = found.location.shifts.iter().any(|shift| {
                shift
                    .years
                    .iter()
                    .any(|years| (years.0..=years.1).contains(&1950))
            });
            held += u32::from(holds);
            assert!(shift.low < shift.size && shift.size < shift.high);
        }
    }
    assert!(found_in >= 145, "{found_in} of 150 found");
    // At 0.95, 122 of 150 would be missed with a probability of 1e-6.
    assert!(held >= 123, "{held} of {found_in} held");
}

/// No piece is dated to a year, all were made in a few bunches, and the shift is at the start of one:
/// where in the gap before it pieces end the dates alone do not tell.
#[test]
fn the_years_hold_the_true_one_at_the_start_of_a_bunch() {
    let bunches = [1922, 1934, 1950, 1957, 1976];
    let year =
        |draw: &mut Draw| bunches[(draw.uniform() * 5.0) as usize] + (draw.uniform() * 3.0) as i16;
    let mut held = 0;
    for seed in 2000..2060 {
        let found = shifts(&made(seed, 300, 5, 3.0, year), 0.05).unwrap();
        let mut years = found.location.shifts.iter().flat_map(|s| &s.years);
        held += u32::from(years.any(|years| (years.0..=years.1).contains(&1950)));
    }
    // At 0.95, fewer are held with a probability of 1e-6.
    assert!(held >= 46, "{held} of 60 held");
}

#[test]
fn the_least_noticeable_shift_is_found_four_times_in_five() {
    let (mut asked, mut found) = (0, 0);
    for seed in 3000..3200 {
        let quiet = shifts(&world(seed, 60, 5, 0.0), 0.05).unwrap();
        // Now and then something is found by chance.
        let Some(size) = quiet.location.least_noticeable else {
            continue;
        };
        asked += 1;
        let shifted = shifts(&world(seed + 10_000, 60, 5, size), 0.05).unwrap();
        found += u32::from(!shifted.location.shifts.is_empty());
    }
    assert!(asked >= 180, "{asked} of 200 asked");
    // Of 180 fewer than 117, and of 200 more than 184, with a probability of 1e-6 at 0.8.
    assert!((117..=184).contains(&found), "{found} of {asked} found");
}
