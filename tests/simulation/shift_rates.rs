//! The rates of docs/shift_years.md: how often a shift is found where there is none, how often one
//! is found, and how often its set of years holds the true year.
//!
//!     cargo run --release --example shift_rates [worlds] [false|large|widths|noticed]
//!     cargo run --release --example shift_rates WORLDS sets [SHIFT SHIFT [PIECES PIECES [1]]]
//!
//! `sets` takes the least and the most of shift and of pieces, and 1 for ranges only.

#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

#[path = "../common/draw.rs"]
#[expect(dead_code, reason = "shared with the tests, which draw more")]
mod draw;

use std::sync::atomic::{AtomicUsize, Ordering};

use calibriar::stats::{Dated, Shifts, YearShift, shifts};
use draw::Draw;

/// How pieces are dated and read.
#[derive(Clone, Copy)]
struct World {
    n: usize,
    sets: u32,
    bunched: bool,
    /// Years either way, for every other piece or for all.
    either_way: i16,
    all_wide: bool,
    heavy: bool,
    /// Steps of a reading, in spreads; 0 = none.
    step: f64,
    /// First year of the new practice, shift in spreads, ratio of spreads.
    year: i16,
    size: f64,
    ratio: f64,
}

const PLAIN: World = World {
    n: 60,
    sets: 1,
    bunched: false,
    either_way: 0,
    all_wide: false,
    heavy: false,
    step: 0.0,
    year: 1950,
    size: 0.0,
    ratio: 1.0,
};

fn gamma_t5(draw: &mut Draw) -> f64 {
    let chi: f64 = (0..5).map(|_| draw.normal().powi(2)).sum();
    // A t of 5 degrees of freedom has variance 5 / 3.
    draw.normal() / (chi / 5.0).sqrt() / (5.0_f64 / 3.0).sqrt()
}

/// Sets differ in spread.
fn spread_of(set: u32) -> f64 {
    0.8 + 0.2 * f64::from(set % 3)
}

fn usual_spread(world: &World) -> f64 {
    (0..world.sets).map(spread_of).sum::<f64>() / f64::from(world.sets)
}

impl World {
    fn draw(&self, seed: u64) -> Vec<Dated> {
        let mut draw = Draw::seeded(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        let one = |i: usize| {
            let bunches = [1922, 1934, 1951, 1957, 1976];
            let year = match self.bunched {
                true => bunches[(draw.uniform() * 5.0) as usize] + (draw.uniform() * 3.0) as i16,
                false => 1921 + (draw.uniform() * 64.0) as i16,
            };
            let set = i as u32 % self.sets;
            let noise = if self.heavy {
                gamma_t5(&mut draw)
            } else {
                draw.normal()
            };
            let after = year >= self.year;
            let (shift, ratio) = if after {
                (self.size, self.ratio)
            } else {
                (0.0, 1.0)
            };
            let spread = spread_of(set);
            let mut x = f64::from(set) * 7.0 + spread * (shift + ratio * noise);
            if self.step > 0.0 {
                x = (x / self.step).round() * self.step;
            }
            let wide = self.either_way > 0 && (self.all_wide || draw.uniform() < 0.5);
            let off = match wide {
                true => {
                    (draw.uniform() * f64::from(2 * self.either_way + 1)) as i16 - self.either_way
                }
                false => 0,
            };
            let half = if wide { self.either_way } else { 0 };
            Dated {
                x,
                set,
                from: year + off - half,
                to: year + off + half,
            }
        };
        (0..self.n).map(one).collect()
    }
}

/// Sums of `tell` over worlds, on all processors.
fn over<const K: usize>(
    worlds: usize,
    world: World,
    tell: impl Fn(&Shifts) -> [f64; K] + Sync,
) -> [f64; K] {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut sums = [0.0; K];
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            if at >= worlds {
                return sums;
            }
            let pieces = world.draw(at as u64 + 1);
            if let Ok(found) = shifts(&pieces, 0.05) {
                let told = tell(&found);
                sums.iter_mut()
                    .zip(told)
                    .for_each(|(sum, told)| *sum += told);
            }
        }
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        let all: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        let mut sums = [0.0; K];
        for part in all {
            let part = part.join().unwrap();
            sums.iter_mut()
                .zip(part)
                .for_each(|(sum, part)| *sum += part);
        }
        sums
    })
}

fn false_alarms(worlds: usize, large: bool) {
    let mut asked = vec![6, 8, 12, 20, 60, 300];
    if large {
        asked = vec![1000, 100_000];
    }
    let asked = |n: &usize| asked.contains(n);
    println!("| dates | n | patterns | readings | location | spread | either |");
    println!("|---|--:|--:|---|--:|--:|--:|");
    let line = |dates: &str, readings: &str, world: World| {
        let worlds = if world.n > 20_000 { worlds / 3 } else { worlds };
        let sums = over(worlds, world, |s| {
            let yes = |b: bool| f64::from(u8::from(b));
            let (l, w) = (!s.location.shifts.is_empty(), !s.width.shifts.is_empty());
            [yes(l), yes(w), yes(l || w)]
        });
        let [l, w, e] = sums.map(|s| s / worlds as f64);
        println!(
            "| {dates} | {} | {} | {readings} | {l:.3} | {w:.3} | {e:.3} |",
            world.n, world.sets
        );
    };
    for n in [6, 8, 12, 20, 60, 300, 1000].into_iter().filter(asked) {
        line("exact", "normal", World { n, ..PLAIN });
    }
    let several = [(20, 7), (60, 7), (300, 7), (1000, 100)];
    for (n, sets) in several.into_iter().filter(|(n, _)| asked(n)) {
        line("exact", "normal", World { n, sets, ..PLAIN });
    }
    for n in [12, 60, 300, 1000].into_iter().filter(asked) {
        line(
            "bunched",
            "normal",
            World {
                n,
                bunched: true,
                ..PLAIN
            },
        );
        line(
            "half 5 years either way",
            "normal",
            World {
                n,
                either_way: 5,
                ..PLAIN
            },
        );
        line(
            "all 15 years either way",
            "normal",
            World {
                n,
                either_way: 15,
                all_wide: true,
                ..PLAIN
            },
        );
        line(
            "exact",
            "t5",
            World {
                n,
                heavy: true,
                ..PLAIN
            },
        );
        line(
            "exact",
            "steps of 1 spread",
            World {
                n,
                step: 1.0,
                ..PLAIN
            },
        );
        line(
            "bunched, half 5 years",
            "t5, steps of 1",
            World {
                n,
                sets: 3,
                bunched: true,
                either_way: 5,
                heavy: true,
                step: 1.0,
                ..PLAIN
            },
        );
    }
    if !large {
        return;
    }
    line(
        "half 5 years either way",
        "t5",
        World {
            n: 100_000,
            sets: 500,
            either_way: 5,
            heavy: true,
            ..PLAIN
        },
    );
}

fn years_of(years: &[(i16, i16)]) -> f64 {
    years
        .iter()
        .map(|(from, to)| f64::from(to - from) + 1.0)
        .sum()
}

fn sets(worlds: usize, [smallest, largest]: [f64; 2], [fewest, most]: [usize; 2], wide_only: bool) {
    println!(
        "| shift | n | patterns | dates | found | year held | mean years | size held | more than one |"
    );
    println!("|--:|--:|--:|---|--:|--:|--:|--:|--:|");
    let sizes = [0.75, 1.0, 2.0, 3.0].into_iter();
    for size in sizes.filter(|size| smallest <= *size && *size <= largest) {
        let counts = [(20, 1), (60, 1), (60, 10), (300, 1), (300, 7)].into_iter();
        for (n, sets) in counts.filter(|(n, _)| fewest <= *n && *n <= most) {
            for bunched in [false, true] {
                for (either_way, all_wide) in [(0, false), (5, false), (5, true)] {
                    if wide_only && !all_wide {
                        continue;
                    }
                    let year = if bunched { 1951 } else { 1950 };
                    let world = World {
                        n,
                        sets,
                        bunched,
                        either_way,
                        all_wide,
                        size,
                        year,
                        ..PLAIN
                    };
                    // Few are found among few pieces.
                    let worlds = if n * (size * size) as usize > 100 {
                        worlds
                    } else {
                        4 * worlds
                    };
                    let sums = over(worlds, world, |s| {
                        let of = &s.location.shifts;
                        // With several found, the one nearest.
                        let nearest = of.iter().min_by_key(|shift| (shift.year - year).abs());
                        let Some(shift) = nearest else {
                            return [0.0; 5];
                        };
                        let held = of
                            .iter()
                            .any(|s| s.years.iter().any(|&(a, b)| a <= year && year <= b));
                        let unit = s.spread / usual_spread(&world);
                        let sized = shift.low * unit <= size && size <= shift.high * unit;
                        [
                            1.0,
                            f64::from(u8::from(held)),
                            years_of(&shift.years),
                            f64::from(u8::from(sized)),
                            f64::from(u8::from(of.len() > 1)),
                        ]
                    });
                    let [found, held, wide, sized, more] = sums;
                    let dates = match (bunched, either_way) {
                        (false, _) if all_wide => "all 5 years either way",
                        (true, _) if all_wide => "bunched, all 5 years",
                        (false, 0) => "exact",
                        (false, _) => "half 5 years either way",
                        (true, 0) => "bunched",
                        (true, _) => "bunched, half 5 years",
                    };
                    println!(
                        "| {size} | {n} | {sets} | {dates} | {:.3} | {:.3} | {:.1} | {:.3} | {:.3} |",
                        found / worlds as f64,
                        held / found,
                        wide / found,
                        sized / found,
                        more / found
                    );
                }
            }
        }
    }
}

fn widths(worlds: usize) {
    println!(
        "| ratio | n | patterns | dates | found | year held | mean years | ratio held | location found too |"
    );
    println!("|--:|--:|--:|---|--:|--:|--:|--:|--:|");
    for ratio in [1.5, 2.0, 3.0] {
        for (n, sets) in [(60, 1), (300, 1), (300, 7), (1000, 7)] {
            for either_way in [0, 5] {
                let world = World {
                    n,
                    sets,
                    either_way,
                    ratio,
                    year: 1965,
                    ..PLAIN
                };
                let sums = over(worlds, world, |s| {
                    let location = f64::from(u8::from(!s.location.shifts.is_empty()));
                    let of = &s.width.shifts;
                    let nearest = of
                        .iter()
                        .min_by_key(|shift| (shift.year - world.year).abs());
                    let Some(shift) = nearest else {
                        return [0.0, 0.0, 0.0, 0.0, location];
                    };
                    let held = of.iter().any(|s| {
                        s.years
                            .iter()
                            .any(|&(a, b)| a <= world.year && world.year <= b)
                    });
                    let sized = shift.low <= ratio && ratio <= shift.high;
                    [
                        1.0,
                        f64::from(u8::from(held)),
                        years_of(&shift.years),
                        f64::from(u8::from(sized)),
                        location,
                    ]
                });
                let [found, held, wide, sized, location] = sums;
                let dates = if either_way == 0 {
                    "exact"
                } else {
                    "half 5 years either way"
                };
                println!(
                    "| {ratio} | {n} | {sets} | {dates} | {:.3} | {:.3} | {:.1} | {:.3} | {:.3} |",
                    found / worlds as f64,
                    held / found,
                    wide / found,
                    sized / found,
                    location / worlds as f64
                );
            }
        }
    }
}

/// The size called the least noticeable, put in the middle: how often it is found.
fn noticed(worlds: usize) {
    println!("| what | n | patterns | dates | least noticeable | found |");
    println!("|---|--:|--:|---|--:|--:|");
    let yes = |shifts: &[YearShift]| [f64::from(u8::from(!shifts.is_empty()))];
    for of_spread in [false, true] {
        let question = |s: &Shifts| match of_spread {
            false => s.location.clone(),
            true => s.width.clone(),
        };
        for (n, sets) in [(20, 1), (60, 1), (60, 7), (300, 7), (1000, 7)] {
            for either_way in [0, 5] {
                let world = World {
                    n,
                    sets,
                    either_way,
                    year: 1953,
                    ..PLAIN
                };
                let [sum, known] = over(worlds, world, |s| match question(s).least_noticeable {
                    Some(size) => [size, 1.0],
                    None => [0.0; 2],
                });
                if known < 0.5 * worlds as f64 {
                    continue;
                }
                let size = sum / known;
                let shifted = match of_spread {
                    false => World { size, ..world },
                    true => World {
                        ratio: size,
                        ..world
                    },
                };
                let [found] = over(worlds, shifted, |s| yes(&question(s).shifts));
                println!(
                    "| {} | {n} | {sets} | {} | {size:.2} | {:.3} |",
                    if of_spread { "spread" } else { "location" },
                    if either_way == 0 {
                        "exact"
                    } else {
                        "half 5 years either way"
                    },
                    found / worlds as f64
                );
            }
        }
    }
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let worlds = arguments.next().map_or(2000, |text| text.parse().unwrap());
    let which = arguments.next();
    let asked = |name: &str| which.as_deref().is_none_or(|which| which == name);
    if asked("false") {
        false_alarms(worlds, false);
    }
    if asked("large") {
        false_alarms(worlds, true);
    }
    if asked("sets") {
        let mut number = |usual: f64| {
            arguments
                .next()
                .map_or(usual, |text| text.parse::<f64>().unwrap())
        };
        let sizes = [number(0.0), number(9.0)];
        let counts = [number(0.0) as usize, number(1e6) as usize];
        sets(worlds, sizes, counts, number(0.0) > 0.0);
    }
    if asked("widths") {
        widths(worlds);
    }
    if asked("noticed") {
        noticed(worlds);
    }
}
