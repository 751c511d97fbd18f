//! `calibriar norms --leave-out`

use calibriar::catalogue::Kind;
use calibriar::cohort::Cohort;
use calibriar::firmness::{Leaving, LeftOut, LeftOutNorm, Limit, Whose, left_out};
use calibriar::report::{LEFT_OUT_COLUMNS, LeftOutRow, NOT_NAMED, joined};
use calibriar::source::Source;
use calibriar::words::{dimension_label, group_title};
use clap::ValueEnum;

use super::json::{LeftOutOut, PartOut};
use super::moved::limit_words;
use super::norms::{Arguments, chosen, provenance_line};
use super::output::{self, Format, band, signed, sized};
use super::progress::Bar;
use super::{CliError, Outcome};

/// A limit that moves by so many spreads without one part rests on it, and people are told.
const RESTS: f64 = 0.5;

/// Whose readings to leave out at a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
#[value(rename_all = "snake_case")]
pub(super) enum LeaveOut {
    /// One source: a reading's own, else that of its specimen
    Source,
    /// One person who measured
    #[value(alias = "measured-by")]
    MeasuredBy,
    /// One of the chosen periods
    Period,
}

impl LeaveOut {
    fn whose(self) -> Whose {
        match self {
            LeaveOut::Source => Whose::Source,
            LeaveOut::MeasuredBy => Whose::MeasuredBy,
            LeaveOut::Period => Whose::Period,
        }
    }

    fn name(self) -> &'static str {
        match self {
            LeaveOut::Source => "source",
            LeaveOut::MeasuredBy => "measured_by",
            LeaveOut::Period => "period",
        }
    }
}

pub(super) fn run(arguments: &Arguments, leave_out: LeaveOut) -> Result<Outcome, CliError> {
    let question = &arguments.question;
    let settings = question.judge.settings()?;
    let settings = settings.with_true_size(arguments.true_size);
    let format = question.format.choose();
    let mut source = question
        .source
        .open_in_detail(format != Format::Csv, None)?;
    let table = source.table.clone();
    source.table = question.source.ready(source.table);
    let cohort = question.judge.cohort(&source)?;
    let groups = chosen(
        &cohort,
        arguments.pattern.as_deref(),
        arguments.maker.as_deref(),
    )?;
    let evidence = question.judge.evidence(&cohort)?;
    let bar = Bar::new(None, "{pos} left out, one at a time");
    let choice = question.judge.choice();
    let leaving = Leaving {
        whose: leave_out.whose(),
        groups: &groups,
        choice: &choice,
        settings: &settings,
    };
    let step = || bar.step();
    let ready = |table| question.source.ready(table);
    let found = left_out(&table, &evidence, &leaving, ready, step)?;
    bar.finish();
    question.source.write_set_aside(&source)?;
    let rows = || {
        let norms = found.norms.iter();
        norms.flat_map(|norm| Limit::TYPICAL.map(|limit| (norm, limit)))
    };
    match format {
        Format::Csv => output::write_csv(
            LEFT_OUT_COLUMNS,
            rows().map(|(norm, limit)| LeftOutRow::new(norm, limit, &found, &cohort, joined)),
        )?,
        Format::Json => output::write_json(&LeftOutOut {
            provenance: &source.provenance,
            whose: leave_out.name(),
            parts: (0..found.parts.len())
                .map(|at| PartOut {
                    name: name(&found, at),
                    readings: found.parts[at].readings,
                })
                .collect(),
            left_out: rows()
                .map(|(norm, limit)| LeftOutRow::new(norm, limit, &found, &cohort, |all| all))
                .collect(),
        })?,
        Format::Table => {
            output::write_text(&page(&source, &cohort, &groups, &found, leaving.whose))?;
        }
    }
    Ok(Outcome::Done)
}

/// A part for people and scripts.
fn name(found: &LeftOut, part: usize) -> &str {
    found.parts[part].name.as_deref().unwrap_or(NOT_NAMED)
}

fn page(
    source: &Source,
    cohort: &Cohort<'_>,
    groups: &[usize],
    found: &LeftOut,
    whose: Whose,
) -> String {
    let mut text = output::wrapped(&parts(found, whose), "");
    let one = groups.len() == 1;
    let mut still = 0;
    for &group in groups {
        let norms: Vec<&LeftOutNorm> = found.norms.iter().filter(|n| n.group == group).collect();
        let mut lines = falls(found, &norms, whose);
        lines.extend((0..found.parts.len()).filter_map(|part| rests(found, &norms, part, whose)));
        let moving: Vec<&LeftOutNorm> = norms.iter().copied().filter(|n| moves(n)).collect();
        // Of one pattern all that moves, of all of them what stands or falls with one part.
        if norms.is_empty() || !one && lines.is_empty() {
            still += norms.len();
            continue;
        }
        let of = &cohort.groups()[group];
        text.push('\n');
        text.push_str(&group_title(&of.maker, &of.pattern));
        text.push('\n');
        if one {
            let untold = |norm: &&&LeftOutNorm| !moves(norm) && !tells(norm);
            still += norms.iter().filter(untold).count();
            if !moving.is_empty() {
                text.push_str(&strips(found, &moving));
            }
        } else {
            let told = |norm: &&&LeftOutNorm| tells(norm);
            still += norms.len() - norms.iter().filter(told).count();
        }
        for line in lines {
            text.push_str(&output::wrapped(&line, "  "));
        }
    }
    text.push('\n');
    if still > 0 {
        let norms = output::counted(still, "norm", "norms");
        text.push_str(&output::wrapped(
            &match one {
                true => format!("{norms} more: nothing moves that shows in the printed digits"),
                false => format!(
                    "{norms} more: none falls without one {} or moves by {RESTS} spreads or more; name a \
                     pattern for its table, --format csv has them all",
                    whose.one()
                ),
            },
            "",
        ));
    }
    let legend = [
        format!(
            "limits: what each becomes at least and at most without one {} at a time",
            whose.one()
        ),
        "most: the farthest that a limit or the centre moves, and without whom".to_owned(),
        format!("in words: what falls without one of them, or moves by {RESTS} spreads or more"),
    ];
    // There is no table of all patterns.
    for line in legend.iter().filter(|_| one) {
        text.push_str(&output::wrapped(line, "  "));
    }
    text.push_str(&provenance_line(&source.provenance));
    text
}

/// What was left out at a time.
fn parts(found: &LeftOut, whose: Whose) -> String {
    const SHOWN: usize = 8;
    let mut order: Vec<usize> = (0..found.parts.len()).collect();
    order.sort_by_key(|&part| std::cmp::Reverse(found.parts[part].readings));
    let mut names: Vec<String> = order
        .iter()
        .take(SHOWN)
        .map(|&part| {
            let readings = output::counted(found.parts[part].readings, "reading", "readings");
            format!("{} ({readings})", output::shown(name(found, part)))
        })
        .collect();
    if order.len() > SHOWN {
        names.push(format!("{} more", order.len() - SHOWN));
    }
    format!(
        "one {} left out at a time: {}",
        whose.one(),
        names.join(", ")
    )
}

/// The limit that moves farthest in spreads without one part: limit, part, spreads.
fn most(norm: &LeftOutNorm) -> Option<(Limit, usize, f64)> {
    let of = |limit: Limit| {
        let to = norm.most(limit)?;
        Some((limit, to.without, norm.moved_in_spreads(limit, to)?))
    };
    let all = Limit::TYPICAL.into_iter().filter_map(of);
    all.max_by(|a, b| a.2.abs().total_cmp(&b.2.abs()))
}

/// What the printed digits of a norm follow.
fn scale(norm: &LeftOutNorm) -> f64 {
    norm.whole.in_unit().unwrap_or(match norm.whole.kind {
        Kind::Ratio => 0.0,
        Kind::Interval => 1.0,
    })
}

/// Whether a limit or the centre moves so far that the printed digits show it.
fn moves(norm: &LeftOutNorm) -> bool {
    let scale = scale(norm);
    let shows = |limit: Limit| {
        let moved = norm.most(limit).and_then(|to| norm.moved(limit, to));
        moved.is_some_and(|moved| sized(moved.abs(), scale) != sized(0.0, scale))
    };
    Limit::TYPICAL.into_iter().any(shows)
}

/// Whether it falls without one part, or rests on it.
fn tells(norm: &LeftOutNorm) -> bool {
    let rests = most(norm).is_some_and(|most| most.2.abs() >= RESTS);
    rests || !norm.falls_without().is_empty()
}

fn strips(found: &LeftOut, norms: &[&LeftOutNorm]) -> String {
    let headings = ["dimension", ">n", "lower limit", "upper limit", "most"];
    let mut table = output::table(&headings);
    for norm in norms {
        let scale = scale(norm);
        let range = |limit: Limit| match norm.range(limit) {
            Some((least, greatest)) => band(least.value, greatest.value, scale),
            None => "too few".to_owned(),
        };
        let most = most(norm).and_then(|(limit, part, _)| {
            let moved = norm.moved(limit, norm.most(limit)?)?;
            let which = match limit {
                Limit::TypicalLow | Limit::ToleranceLow => "lower ",
                Limit::TypicalHigh | Limit::ToleranceHigh => "upper ",
                Limit::Centre => "centre ",
            };
            let name = shortened(name(found, part));
            Some(format!("{which}{}, {name}", signed(moved, scale)))
        });
        let name = dimension_label(&norm.dimension, norm.finish.as_deref());
        output::add_row(
            &mut table,
            vec![
                match norm.finish {
                    Some(_) => name,
                    None => format!("{name}, {}", norm.dimension.unit),
                },
                norm.whole.n.to_string(),
                range(Limit::TypicalLow),
                range(Limit::TypicalHigh),
                most.unwrap_or_else(|| "-".to_owned()),
            ],
        );
    }
    output::lines(&table)
}

/// A name that leaves room for the numbers.
fn shortened(name: &str) -> String {
    const ROOM: usize = 14;
    match name.chars().count() > ROOM {
        true => name.chars().take(ROOM - 1).chain(['…']).collect(),
        false => name.to_owned(),
    }
}

/// A part within a sentence.
fn spoken(found: &LeftOut, part: usize, whose: Whose) -> String {
    match &found.parts[part].name {
        Some(name) => output::shown(name),
        None => format!("the readings that name no {}", whose.one()),
    }
}

/// The norms that have no typical range without one part, part by part.
fn falls(found: &LeftOut, norms: &[&LeftOutNorm], whose: Whose) -> Vec<String> {
    let of_part = |part: usize| {
        let fall = norms
            .iter()
            .filter(|norm| norm.falls_without().contains(&part));
        let labels: Vec<String> = fall
            .map(|norm| dimension_label(&norm.dimension, norm.finish.as_deref()))
            .collect();
        (!labels.is_empty()).then(|| {
            format!(
                "without {} too little is left for a typical range of: {}",
                spoken(found, part, whose),
                labels.join(", ")
            )
        })
    };
    (0..found.parts.len()).filter_map(of_part).collect()
}

/// The norms that rest on one part.
fn rests(found: &LeftOut, norms: &[&LeftOutNorm], part: usize, whose: Whose) -> Option<String> {
    let each: Vec<String> = norms
        .iter()
        .filter_map(|norm| moved_by(norm, part))
        .collect();
    (!each.is_empty()).then(|| {
        format!(
            "without {}: {}",
            spoken(found, part, whose),
            each.join("; ")
        )
    })
}

/// How far a norm moves without the one part that it rests on.
fn moved_by(norm: &LeftOutNorm, part: usize) -> Option<String> {
    let (limit, _, spreads) = most(norm).filter(|most| most.1 == part && most.2.abs() >= RESTS)?;
    let (from, to) = norm.whole.get(limit).zip(norm.most(limit))?;
    let scale = norm.whole.in_unit().unwrap_or(0.0);
    let all = norm.whole.n + norm.whole.n_set_aside;
    let theirs = match norm.theirs(part) {
        0 => "by way of other patterns alone".to_owned(),
        n => format!("{n} of {all} references"),
    };
    Some(format!(
        "{}, {} {} to {} {} ({} spreads, {theirs})",
        dimension_label(&norm.dimension, norm.finish.as_deref()),
        limit_words(limit),
        sized(from, scale),
        sized(to.value, scale),
        norm.dimension.unit,
        sized(spreads.abs(), 0.1),
    ))
}
