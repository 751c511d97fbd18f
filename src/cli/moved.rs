//! `calibriar norms --since`

use calibriar::catalogue::fold;
use calibriar::cohort::{Cohort, Group};
use calibriar::collection::Entry;
use calibriar::firmness::{
    Change, Limit, Limits, Movement, PieceChange, Standing, Turned, moved, turned,
};
use calibriar::report::{BecauseRow, MOVED_COLUMNS, MovedRow, TurnedRow};
use calibriar::source::Provenance;
use calibriar::verdict::Verdict;

use super::json::MovedOut;
use super::norms::{Arguments, chosen, provenance_line};
use super::output::{self, Format, probability, signed, sized};
use super::{CliError, Outcome};
use calibriar::words::{dimension_label, group_title};

/// Limits that moved by fewer spreads than this have not moved noticeably.
const NOTICED: f64 = 0.05;

/// So many readings that turn are shown to people.
const TURNED_SHOWN: usize = 40;

pub(super) fn run(arguments: &Arguments, revision: i64) -> Result<Outcome, CliError> {
    let question = &arguments.question;
    let settings = question.judge.settings()?;
    let settings = settings.with_true_size(arguments.true_size);
    let format = question.format.choose();
    let digest = format != Format::Csv;
    // The earlier one first: what has no revisions is refused before it is read.
    let mut since = question.source.open_in_detail(digest, Some(revision))?;
    since.table = question.source.ready(since.table);
    let now = question.source.open(digest)?;
    let cohort = question.judge.cohort(&now)?;
    let earlier = Cohort::new(&since.table, &question.judge.choice())
        .map_err(|error| CliError::Usage(format!("at revision {revision}: {error}")))?;
    let (pattern, maker) = (arguments.pattern.as_deref(), arguments.maker.as_deref());
    // A pattern that is gone had norms.
    if let Err(error) = chosen(&cohort, pattern, maker)
        && chosen(&earlier, pattern, maker).is_err()
    {
        return Err(error);
    }
    let wanted = |group: &Group| {
        let fits = |of: Option<&str>, name: &str| of.is_none_or(|of| fold(of) == fold(name));
        fits(pattern, &group.pattern) && fits(maker, &group.maker)
    };
    let evidence = question.judge.evidence(&cohort)?;
    let before = question.judge.evidence(&earlier)?;
    let mut movements = moved(&before, &evidence, wanted, &settings)?;
    let norms = movements.len();
    if format == Format::Table {
        // Tolerance bands are for scripts; to people they would say the same again.
        movements.retain(|of| Limit::TYPICAL.iter().any(|&limit| shows(of, limit)));
    }
    let rows = || {
        let limits = movements
            .iter()
            .flat_map(|of| Limit::ALL.map(|limit| (of, limit)));
        limits.filter(|(of, limit)| arguments.all || shows(of, *limit))
    };
    match format {
        Format::Csv => output::write_csv(
            MOVED_COLUMNS,
            rows().map(|(of, limit)| MovedRow::new(of, limit, BecauseRow::joined)),
        )?,
        Format::Json => {
            let turned = turned(&before, &evidence, wanted, &settings);
            output::write_json(&MovedOut {
                provenance: &now.provenance,
                since: &since.provenance,
                moved: rows()
                    .map(|(of, limit)| MovedRow::new(of, limit, |pieces| pieces))
                    .collect(),
                turned: turned.iter().map(TurnedRow::new).collect(),
            })?;
        }
        Format::Table => {
            let turned = turned(&before, &evidence, wanted, &settings);
            let history = question.source.history();
            let ends = [&since.provenance, &now.provenance];
            output::write_text(&page(ends, &history, &movements, norms, &turned))?;
        }
    }
    Ok(Outcome::Done)
}

/// Whether the movement of a limit can be seen in the digits that are printed.
fn shows(of: &Movement, limit: Limit) -> bool {
    let scale = scale(of);
    let value = |side: Option<&Limits>| Some(sized(side?.get(limit)?, scale));
    value(of.before.as_ref()) != value(of.after.as_ref())
}

/// What the printed digits follow, as in the table of norms.
fn scale(of: &Movement) -> f64 {
    let sides = [of.after, of.before].into_iter().flatten();
    let mut scales = sides.filter_map(|side| side.in_unit());
    scales.next().unwrap_or(0.0)
}

/// A limit for people.
pub(super) fn limit_words(limit: Limit) -> &'static str {
    match limit {
        Limit::Centre => "centre",
        Limit::TypicalLow => "lower limit",
        Limit::TypicalHigh => "upper limit",
        Limit::ToleranceLow => "lower tolerance limit",
        Limit::ToleranceHigh => "upper tolerance limit",
    }
}

/// The limit of the typical range, or the centre, that moved farthest, and how far in spreads.
fn farthest(of: &Movement) -> Option<(Limit, f64)> {
    let moved = |limit: Limit| Some((limit, of.moved_in_spreads(limit)?));
    let all = Limit::TYPICAL.into_iter().filter_map(moved);
    all.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
}

fn page(
    ends: [&Provenance; 2],
    history: &[Entry],
    movements: &[Movement],
    norms: usize,
    turned: &[Turned],
) -> String {
    let [since, now] = ends.map(|of| of.revision.unwrap_or(0));
    let mut text = match since == now {
        true => output::wrapped(
            &format!("revision {since} is the newest: nothing moved"),
            "",
        ),
        false => output::wrapped(&headline(since, history, movements, norms), ""),
    };
    text.push_str(&revisions(since, history));
    let mut all = movements.iter().peekable();
    while let Some(first) = all.peek() {
        let place = |of: &Movement| (fold(&of.maker), fold(&of.pattern));
        let (here, title) = (place(first), group_title(&first.maker, &first.pattern));
        let mut of_pattern = Vec::new();
        while let Some(next) = all.next_if(|of| place(of) == here) {
            of_pattern.push(next);
        }
        text.push('\n');
        text.push_str(&title);
        text.push('\n');
        text.push_str(&strips(&of_pattern));
        for of in of_pattern.iter().filter(|of| !only_others(of)) {
            text.push_str(&output::wrapped(&because(of), "  "));
        }
        let others = of_pattern.iter().filter(|of| only_others(of));
        let others: Vec<String> = others
            .map(|of| dimension_label(&of.dimension, of.finish.as_deref()))
            .collect();
        if !others.is_empty() {
            let line = format!(
                "only by what all patterns teach together (lent spread, period share): {}",
                others.join(", ")
            );
            text.push_str(&output::wrapped(&line, "  "));
        }
    }
    text.push('\n');
    if since != now {
        text.push_str(&turns(turned, since));
    }
    if !movements.is_empty() {
        let legend = [
            "spreads: how far it moved, by the spread of good pieces as it was",
            "own: by the pattern's own references; others: by what other patterns lend and by the \
             period share",
        ];
        for line in legend {
            text.push_str(&output::wrapped(line, "  "));
        }
    }
    text.push_str(&provenance_line(ends[1]));
    text
}

/// When a revision was made, by whom and why.
fn told(of: &Entry) -> String {
    let day = of.made_on.get(..10).unwrap_or(&of.made_on);
    let by = match of.made_by.is_empty() {
        true => String::new(),
        false => format!(" by {}", output::shown(&of.made_by)),
    };
    let why = match of.why.is_empty() {
        true => String::new(),
        false => format!(": {}", output::shown(&of.why)),
    };
    format!("{day}, {}{by}{why}", of.action)
}

fn headline(since: i64, history: &[Entry], movements: &[Movement], norms: usize) -> String {
    let entry = history.iter().find(|of| of.revision == since);
    let when = entry.map_or(String::new(), |of| format!(" ({})", told(of)));
    let all = output::counted(norms, "norm", "norms");
    if movements.is_empty() {
        return format!(
            "since revision {since}{when}: nothing moved that shows in the printed digits ({all})"
        );
    }
    let largest = movements
        .iter()
        .filter_map(|of| Some((of, farthest(of)?)))
        .max_by(|a, b| a.1.1.abs().total_cmp(&b.1.1.abs()));
    let come_or_gone = movements
        .iter()
        .any(|of| of.before.is_none() || of.after.is_none());
    let noticed = largest.is_some_and(|(_, (_, spreads))| spreads.abs() >= NOTICED);
    if !noticed && !come_or_gone {
        return format!(
            "since revision {since}{when}: nothing moved noticeably, no limit by {NOTICED} spreads; {} of \
             {all} in the last printed digits",
            movements.len()
        );
    }
    let largest = largest
        .filter(|_| noticed)
        .and_then(|(of, (limit, spreads))| {
            let (scale, unit) = (scale(of), &of.dimension.unit);
            let side = |side: &Option<Limits>| Some(sized(side.as_ref()?.get(limit)?, scale));
            Some(format!(
                "; the largest: {} of {}, {}: {} to {} {unit} ({} spreads)",
                limit_words(limit),
                dimension_label(&of.dimension, of.finish.as_deref()),
                group_title(&of.maker, &of.pattern),
                side(&of.before)?,
                side(&of.after)?,
                signed(spreads, 0.01),
            ))
        });
    format!(
        "since revision {since}{when}: {} of {all} moved so far that it shows in the printed digits{}",
        movements.len(),
        largest.unwrap_or_default()
    )
}

/// What came since.
fn revisions(since: i64, history: &[Entry]) -> String {
    const SHOWN: usize = 6;
    let later: Vec<&Entry> = history.iter().filter(|of| of.revision > since).collect();
    let mut lines: Vec<String> = later
        .iter()
        .take(SHOWN)
        .map(|of| format!("revision {}: {}", of.revision, told(of)))
        .collect();
    if later.len() > SHOWN {
        lines.push(format!("and {} more (history)", later.len() - SHOWN));
    }
    lines
        .iter()
        .map(|line| output::wrapped(line, "  "))
        .collect()
}

fn strips(movements: &[&Movement]) -> String {
    let headings = [
        "dimension",
        "limit",
        ">was",
        ">is",
        ">moved",
        ">spreads",
        ">n",
        ">own",
        ">others",
    ];
    let mut table = output::table(&headings);
    let stayed = |of: &&&Movement| of.before.is_some() && of.after.is_some();
    if !movements.iter().any(|of| stayed(&of)) {
        return String::new();
    }
    for of in movements.iter().filter(stayed) {
        let scale = scale(of);
        let n = |side: Option<&Limits>| side.map_or(0, |side| side.n);
        let (was, is) = (n(of.before.as_ref()), n(of.after.as_ref()));
        let n = match was == is {
            true => is.to_string(),
            false => format!("{was} -> {is}"),
        };
        let mut name = format!(
            "{}, {}",
            dimension_label(&of.dimension, of.finish.as_deref()),
            of.dimension.unit
        );
        for limit in Limit::TYPICAL.into_iter().filter(|&limit| shows(of, limit)) {
            let number = |value: Option<f64>| value.map_or("-".to_owned(), |v| sized(v, scale));
            let change = |value: Option<f64>| value.map_or("-".to_owned(), |v| signed(v, scale));
            let side =
                |side: &Option<Limits>| number(side.as_ref().and_then(|side| side.get(limit)));
            let spreads = of.moved_in_spreads(limit);
            output::add_row(
                &mut table,
                vec![
                    std::mem::take(&mut name),
                    limit_words(limit).to_owned(),
                    side(&of.before),
                    side(&of.after),
                    change(of.moved(limit)),
                    spreads.map_or("-".to_owned(), |v| signed(v, 0.1)),
                    n.clone(),
                    change(of.own_part(limit)),
                    change(of.other_part(limit)),
                ],
            );
        }
    }
    output::lines(&table)
}

/// Whether a norm moved, and no piece of its own has changed.
fn only_others(of: &Movement) -> bool {
    of.before.is_some() && of.after.is_some() && of.changes.is_empty()
}

/// The pieces that moved a norm, in words.
fn because(of: &Movement) -> String {
    const SHOWN: usize = 5;
    let (name, unit) = (
        dimension_label(&of.dimension, of.finish.as_deref()),
        &of.dimension.unit,
    );
    let scale = scale(of);
    if let Some((what, side)) = match (&of.before, &of.after) {
        (None, Some(side)) => Some(("new", side)),
        (Some(side), None) => Some(("gone, was", side)),
        _ => None,
    } {
        let number = |limit: Limit| side.get(limit).map(|value| sized(value, scale));
        let typical = number(Limit::TypicalLow).zip(number(Limit::TypicalHigh));
        let typical = typical.map_or("too few for a typical range".to_owned(), |(low, high)| {
            format!("typical {low} to {high} {unit}")
        });
        let aside = match side.n_set_aside {
            0 => String::new(),
            n => format!(", {n} set aside"),
        };
        let pieces = output::counted(side.n, "piece", "pieces") + &aside;
        return format!("{name}: {what}: {typical}, of {pieces}; {}", kinds(of));
    }
    let limit = farthest(of).map_or(Limit::Centre, |(limit, _)| limit);
    let at = Limit::TYPICAL
        .iter()
        .position(|of| *of == limit)
        .unwrap_or(0);
    let mut alone: Vec<(f64, &PieceChange)> = of
        .changes
        .iter()
        .filter_map(|piece| Some((piece.alone?[at]?, piece)))
        .filter(|(moved, _)| sized(moved.abs(), scale) != sized(0.0, scale))
        .collect();
    alone.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    let piece = |(moved, piece): &(f64, &PieceChange)| {
        let what = match piece.change {
            Change::NewPiece => String::new(),
            ref change => format!(" ({change})"),
        };
        format!(
            "{}{what} {}",
            output::shown(&piece.specimen),
            signed(*moved, scale)
        )
    };
    let named: Vec<String> = alone.iter().take(SHOWN).map(piece).collect();
    let alone = match named.is_empty() {
        true => "; none of them shows by itself".to_owned(),
        false => format!(
            "; alone, on the {}: {}",
            limit_words(limit),
            named.join(", ")
        ),
    };
    format!("{name}: because of {}{alone}", kinds(of))
}

/// How many pieces have changed, and how.
fn kinds(of: &Movement) -> String {
    let kind = |of: &PieceChange| match &of.change {
        Change::NewPiece => "new",
        Change::ReadingCame => "with a reading now",
        Change::ReadingWent => "without a reading now",
        Change::Value { .. } => "that read otherwise",
        Change::State { .. } => "in another state",
        Change::Pattern { .. } => "of another pattern then or now",
        Change::Finish { .. } => "of another finish",
        Change::Period { .. } => "dated otherwise",
        Change::Standing { .. } => "whose period has another standing",
        _ => "read to another uncertainty",
    };
    let mut counts: Vec<(&str, usize)> = Vec::new();
    for of in &of.changes {
        let kind = kind(of);
        match counts.iter_mut().find(|(known, _)| *known == kind) {
            Some((_, count)) => *count += 1,
            None => counts.push((kind, 1)),
        }
    }
    let all = output::counted(of.changes.len(), "piece", "pieces");
    match counts.as_slice() {
        [("new", _)] => output::counted(of.changes.len(), "new piece", "new pieces"),
        [(kind, _)] => format!("{all} {kind}"),
        several => {
            let each: Vec<String> = several.iter().map(|(k, n)| format!("{n} {k}")).collect();
            format!("{all} ({})", each.join(", "))
        }
    }
}

/// The readings whose verdict turns.
fn turns(turned: &[Turned], since: i64) -> String {
    if turned.is_empty() {
        return "no reading of a piece of both revisions has come out of norm, or into it again\n\n".to_owned();
    }
    let out = |of: &Option<Standing>| {
        let verdict = of.as_ref().map(|of| of.verdict);
        verdict == Some(Verdict::OutOfNorm)
    };
    let come = turned.iter().filter(|of| out(&of.after)).count();
    let pieces = |from: fn(&Turned) -> bool| {
        let mut names: Vec<&str> = turned
            .iter()
            .filter(|of| from(of))
            .map(|of| of.specimen.as_str())
            .collect();
        names.dedup();
        names.len()
    };
    let unread = turned
        .iter()
        .filter(|of| out(&of.after) && of.before.is_none())
        .count();
    let unread = match unread {
        0 => String::new(),
        n => format!(" ({n} of them not judged then)"),
    };
    let text = format!(
        "readings: {come} out of norm now and not at revision {since}{unread}, {} the reverse; pieces \
         as a whole: {} come out of norm, {} no longer",
        turned.len() - come,
        pieces(|of| of.piece_before != Verdict::OutOfNorm && of.piece_after == Verdict::OutOfNorm),
        pieces(|of| of.piece_before == Verdict::OutOfNorm && of.piece_after != Verdict::OutOfNorm),
    );
    let headings = [
        "piece",
        "dimension",
        ">reading",
        ">p was",
        ">p is",
        "was",
        "is",
    ];
    let mut table = output::table(&headings);
    for of in turned.iter().take(TURNED_SHOWN) {
        let value = |side: &Option<Standing>| {
            side.as_ref()
                .map(|side| sized(side.value, 0.01 * side.value))
        };
        let reading = match (value(&of.before), value(&of.after)) {
            (Some(a), Some(b)) if a != b => format!("{a} -> {b}"),
            (a, b) => b.or(a).unwrap_or_else(|| "-".to_owned()),
        };
        let p = |side: &Option<Standing>| {
            let p = side.as_ref().map(|side| probability(side.p_adjusted));
            p.unwrap_or_else(|| "-".to_owned())
        };
        let words = |side: &Option<Standing>| {
            let words = side
                .as_ref()
                .map(|side| output::verdict_words(side.verdict));
            words.unwrap_or("not judged").to_owned()
        };
        output::add_row(
            &mut table,
            vec![
                of.specimen.clone(),
                of.dimension.label.clone(),
                reading,
                p(&of.before),
                p(&of.after),
                words(&of.before),
                words(&of.after),
            ],
        );
    }
    let mut text = output::wrapped(&text, "") + &output::lines(&table);
    if turned.len() > TURNED_SHOWN {
        let more = turned.len() - TURNED_SHOWN;
        text.push_str(&format!("  {more} more: --format json has them all\n"));
    }
    text.push_str("  p: adjusted for the piece's other dimensions\n");
    text
}
