//! `calibriar date`

use std::path::PathBuf;

use calibriar::catalogue::{Catalogue, State, fold, nearest};
use calibriar::cohort::Cohort;
use calibriar::periods::{
    Answer, Candidate, DECIDED, Dater, Dating, DimensionSays, Grounds, NOTE, Nothing, Weighing, Why,
};
use calibriar::report::{DATE_COLUMNS, date_rows};
use calibriar::source::Provenance;
use calibriar::words::{group_title, hint, maker_shown};
use clap::Args;

use super::check::rows_of;
use super::json::DatingsOut;
use super::norms::provenance_line;
use super::output::{self, Format, FormatArgument, counted, probability, shown, sized, wrapped};
use super::source::{JudgeArguments, SourceArguments};
use super::{CliError, Outcome};

/// Which production periods a piece resembles, by its dimensions
///
/// The piece is compared with the pieces of its pattern from every period of its maker, whatever the
/// period's standing, as if it were not in the collection. Its own date, where one is known, is not
/// used: the answer is what its dimensions alone say. A period is named where its share is 90 % or
/// more; of pieces given such shares about that many are right, as long as references are a fair
/// sample and the piece is of one of the periods. Readings of worn, reworked and replaced places do
/// not speak, nor do colours unless asked for. Dimensions alone neither date nor authenticate a
/// piece.
#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 answered (undecided is an answer), 2 wrong use or bad input.",
    mut_arg("periods", |a| a.hide(true)),
    mut_arg("coverage", |a| a.hide(true)),
    mut_arg("confidence", |a| a.hide(true)),
    mut_arg("alpha", |a| a.help(
        "A piece fits none of the periods if the least p of its dimensions (Holm) is no more than \
         this under each"
    )),
    mut_arg("unknown_state", |a| a.help(
        "Let readings of unknown state speak as well, the piece's and the references'"
    ))
)]
pub(super) struct Arguments {
    /// Names of specimens in the source, or in FILE
    #[arg(required_unless_present = "file")]
    specimens: Vec<String>,
    /// Date the rows of this CSV file instead (- is standard input): all, or those that are named
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    /// How likely each period is beforehand: `equal`; `made`, by the number of the maker's pieces
    /// known of each (and one); or numbers, such as the pieces made: `First Shop=200,Second Shop=50`
    /// (a period that is not named is ruled out)
    #[arg(long, value_name = "PRIOR", default_value = "equal")]
    prior: String,
    /// Let colours of the finish speak as well; a piece that was refinished misleads then
    #[arg(long)]
    colours: bool,
    #[command(flatten)]
    format: FormatArgument,
    #[command(flatten)]
    source: SourceArguments,
    #[command(flatten)]
    judge: JudgeArguments,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let settings = arguments.judge.settings()?;
    let weighing = weighing(&arguments.prior)?;
    let format = arguments.format.choose();
    let digest = format != Format::Csv;
    let file = arguments.file.as_deref();
    let (source, other) = arguments.source.open_for(file, false, digest)?;
    let cohort = arguments.judge.cohort_of_every_period(&source)?;
    if let Weighing::Numbers(numbers) = &weighing {
        are_periods(numbers, &cohort)?;
    }
    let evidence = arguments.judge.evidence(&cohort)?;
    let grounds = Grounds {
        weighing,
        colours: arguments.colours,
    };
    let dater = Dater::new(&evidence, grounds, &settings);
    if !dater.knows_periods() {
        return Err(CliError::Usage(
            "the source knows no production periods: give a table of them (--periods-from), or a \
             column `period`"
                .to_owned(),
        ));
    }
    let judged = other.as_ref().unwrap_or(&source);
    let rows = rows_of(judged, arguments.file.as_deref(), &arguments.specimens)?.into_iter();
    let date = |row: usize| match &other {
        None => dater.date(row),
        Some(other) => dater.date_of(&other.table, row),
    };
    let datings: Vec<Dating> = rows.map(date).collect();
    nothing_to_choose(&datings)?;
    for read in [Some(&source), other.as_ref()].into_iter().flatten() {
        arguments.source.write_set_aside(read)?;
    }
    let catalogue = &judged.table.catalogue;
    match format {
        Format::Json => {
            output::write_json(&DatingsOut::new(&source.provenance, &datings, catalogue))?;
        }
        Format::Csv => output::write_csv(DATE_COLUMNS, date_rows(&datings))?,
        Format::Table => {
            let page = Page {
                cohort: &cohort,
                catalogue,
            };
            output::write_text(&page.text(&datings, &source.provenance))?;
        }
    }
    Ok(Outcome::Done)
}

/// Refuses a question that has no answer for any of its pieces, whatever they measure.
fn nothing_to_choose(datings: &[Dating]) -> Result<(), CliError> {
    let hopeless = |dating: &Dating| match &dating.answer {
        Answer::Nothing(
            nothing @ (Nothing::NoPeriods | Nothing::OnePeriod(_) | Nothing::RuledOut),
        ) => Some(nothing.to_string()),
        _ => None,
    };
    let all: Option<Vec<String>> = datings.iter().map(hopeless).collect();
    match all.as_deref() {
        Some([first, ..]) => Err(CliError::Usage(format!(
            "{}: {first}",
            shown(&datings[0].specimen)
        ))),
        _ => Ok(()),
    }
}

/// The prior as typed.
fn weighing(text: &str) -> Result<Weighing, CliError> {
    let text = text.trim();
    let expected = "expected `equal`, `made`, or periods with numbers over 0, such as \
                    `First Shop=200,Second Shop=50`";
    match text {
        "equal" => return Ok(Weighing::Equal),
        "made" => return Ok(Weighing::Known),
        _ => {}
    }
    let mut numbers: Vec<(String, f64)> = Vec::new();
    // A name may hold commas, and an `=`: the number stands after the last.
    let mut name_begun = String::new();
    for part in text.split(',') {
        name_begun.push_str(part);
        let Some((name, number)) = name_begun.rsplit_once('=') else {
            name_begun.push(',');
            continue;
        };
        let (name, number) = (name.trim().to_owned(), number.trim());
        let weight = number
            .parse::<f64>()
            .ok()
            .filter(|w| *w > 0.0 && w.is_finite());
        let Some(weight) = weight else {
            return Err(CliError::Usage(format!(
                "--prior: {name}: expected a number over 0, got `{number}` (a period that is not \
                 named is ruled out)"
            )));
        };
        if numbers.iter().any(|(other, _)| fold(other) == fold(&name)) {
            return Err(CliError::Usage(format!("--prior: `{name}` is named twice")));
        }
        numbers.push((name, weight));
        name_begun.clear();
    }
    if numbers.is_empty() || !name_begun.is_empty() {
        let rest = name_begun.trim_end_matches(',');
        return Err(CliError::Usage(format!(
            "--prior: {expected}; got `{rest}`"
        )));
    }
    if !numbers.iter().map(|(_, w)| w).sum::<f64>().is_finite() {
        return Err(CliError::Usage(format!(
            "--prior: {expected}; these numbers are too large"
        )));
    }
    Ok(Weighing::Numbers(numbers))
}

/// Refuses names that are no periods of the source.
fn are_periods(numbers: &[(String, f64)], cohort: &Cohort<'_>) -> Result<(), CliError> {
    let defined = cohort.table().periods.all().iter().map(|p| p.name.as_str());
    let written = cohort.periods().iter().map(|p| p.name.as_str());
    let known: Vec<&str> = defined.chain(written).collect();
    for (name, _) in numbers {
        if !known.iter().any(|k| fold(k) == fold(name)) {
            let near = nearest(name, known.iter().copied());
            return Err(CliError::Usage(format!(
                "--prior: no period `{name}` in the source{}",
                hint(&near)
            )));
        }
    }
    Ok(())
}

/// A share in per cent.
fn percent(share: f64) -> String {
    match share {
        s if s > 0.9995 => ">99.9 %".to_owned(),
        s if s > 0.0 && s < 0.0005 => "<0.1 %".to_owned(),
        s => format!("{:.1} %", 100.0 * s),
    }
}

/// `4.1 to 1`, or `1 to 2.3` for odds against.
fn odds(ln: f64) -> String {
    let size = ln.abs().exp();
    let size = match size {
        s if s >= 9999.5 => "over 10000".to_owned(),
        s if s >= 99.5 => format!("{s:.0}"),
        s => format!("{s:.1}"),
    };
    match ln >= 0.0 {
        true => format!("{size} to 1"),
        false => format!("1 to {size}"),
    }
}

/// A name no wider than a column of a table may be.
fn short(name: &str) -> String {
    const WIDEST: usize = 22;
    let name = shown(name);
    match name.chars().count() > WIDEST {
        true => name.chars().take(WIDEST - 1).chain(['…']).collect(),
        false => name,
    }
}

fn named(candidate: &Candidate) -> String {
    let years = candidate.years.map_or(String::new(), |y| format!(" ({y})"));
    format!("{}{years}", shown(&candidate.name))
}

/// What the tables for people are made from.
struct Page<'a> {
    cohort: &'a Cohort<'a>,
    catalogue: &'a Catalogue,
}

impl Page<'_> {
    fn text(&self, datings: &[Dating], provenance: &Provenance) -> String {
        let mut text: String = datings.iter().map(|d| self.piece(d) + "\n").collect();
        let any = |of: &dyn Fn(&Dating) -> bool| datings.iter().any(of);
        let mut legend: Vec<&str> = Vec::new();
        if any(&|d| !d.candidates.is_empty()) {
            legend.extend([
                "share: how likely each period is by these dimensions, the piece being of one of them",
                "p: how often a piece of the period would look this odd in any dimension",
                "odds: how many times likelier the reading is in one period than in the other",
            ]);
        }
        if any(&|d| d.candidates.iter().any(|c| c.references == 0)) {
            legend.push("pieces 0: no references of this period: as likely as a stranger");
        }
        legend.push(NOTE);
        text.extend(legend.into_iter().map(|line| wrapped(line, "  ")));
        text.push_str(&provenance_line(provenance));
        text
    }

    fn piece(&self, dating: &Dating) -> String {
        let headline = format!("{}: {}", shown(&dating.specimen), self.answer(dating));
        let title = group_title(&dating.maker, &dating.pattern);
        let mut text = format!("{}  {title}\n", wrapped(&headline, ""));
        if dating.candidates.is_empty() {
            text.push_str(&self.record(dating));
            text.push_str(&self.left_out(dating));
            return text;
        }
        text.push_str(&periods(dating));
        text.push_str(&self.speaks(dating));
        text.push_str(&self.record(dating));
        text.push_str(&self.left_out(dating));
        text
    }

    /// The answer in words.
    fn answer(&self, dating: &Dating) -> String {
        let likeliest = dating.ranking();
        let likeliest: Vec<&Candidate> =
            likeliest.iter().map(|&at| &dating.candidates[at]).collect();
        let share = |c: &Candidate| format!("{} {}", named(c), percent(c.posterior));
        match (&dating.answer, likeliest.as_slice()) {
            (Answer::Nothing(Nothing::UnknownPattern), _) => {
                let all = self.cohort.groups();
                let by = self.cohort.find_groups(Some(&dating.pattern), None);
                if !by.is_empty() {
                    let makers: Vec<String> = by
                        .iter()
                        .map(|&g| shown(maker_shown(&all[g].maker)))
                        .collect();
                    return format!(
                        "cannot be compared: the source has no pieces by `{}` of the pattern `{}`; it \
                         has some by {}",
                        shown(&dating.maker),
                        shown(&dating.pattern),
                        makers.join(", ")
                    );
                }
                let groups = all.iter();
                let near = nearest(&dating.pattern, groups.map(|g| g.pattern.as_str()));
                format!(
                    "cannot be compared: no pattern `{}` in the source{}",
                    shown(&dating.pattern),
                    hint(&near)
                )
            }
            (Answer::Nothing(nothing), _) => format!("cannot be compared: {nothing}"),
            (Answer::Period(at), _) => {
                let best = &dating.candidates[*at];
                format!(
                    "resembles {}, share {}",
                    named(best),
                    percent(best.posterior)
                )
            }
            (Answer::FitsNone, [first, ..]) => format!(
                "fits none of the periods: out of norm as a piece of any of them; the least unlike is \
                 {}. Look for wear, repair or a slip first (calibriar check)",
                named(first)
            ),
            (Answer::TooAlike, [first, second, ..]) => {
                let typical = likeliest.iter().filter_map(|c| c.typical);
                let most = typical.fold(0.0, f64::max);
                format!(
                    "undecided: the periods do not differ enough here; no piece of this pattern could \
                     be dated by these dimensions (one at the centre of its period would get {} at \
                     most). {}, {}",
                    percent(most),
                    share(first),
                    share(second)
                )
            }
            (_, [first, second, ..]) => {
                let (first, second) = (share(first), share(second));
                format!(
                    "undecided: {first}, {second}; {:.0} % would decide",
                    100.0 * DECIDED
                )
            }
            _ => "undecided".to_owned(),
        }
    }

    /// Which dimensions speak most for the likeliest period against the next, and which against it.
    fn speaks(&self, dating: &Dating) -> String {
        /// So many are shown.
        const MOST: usize = 6;
        /// Log odds under that say nothing.
        const SAYS: f64 = 0.05;
        let ranking = dating.ranking();
        let [first, second, ..] = ranking.as_slice() else {
            return String::new();
        };
        let (first, second) = (*first, *second);
        let name = |at: usize| shown(&dating.candidates[at].name);
        let label = |of: &DimensionSays| self.catalogue.at(of.dimension).label.as_str();
        let ln_odds = |of: &DimensionSays| of.ln_odds(first, second);
        let mut loudest: Vec<&DimensionSays> = dating.dimensions.iter().collect();
        loudest.sort_by(|a, b| ln_odds(b).abs().total_cmp(&ln_odds(a).abs()));
        let most_for = loudest.iter().find(|d| ln_odds(d) >= SAYS);
        let most_against = loudest.iter().find(|d| ln_odds(d) <= -SAYS);
        let mut said: Vec<String> = Vec::new();
        if let Some(of) = most_for {
            said.push(format!(
                "{} speaks most for {} ({})",
                label(of),
                name(first),
                odds(ln_odds(of))
            ));
        }
        if let Some(of) = most_against {
            let most = match said.is_empty() {
                true => format!("speaks most against {}", name(first)),
                false => "most against it".to_owned(),
            };
            said.push(format!("{} {most} ({})", label(of), odds(ln_odds(of))));
        }
        let together = dating.together[first] - dating.together[second];
        let singly: f64 = dating.dimensions.iter().map(ln_odds).sum();
        let whole = match dating.dimensions.len() {
            1 => String::new(),
            n => format!(
                "; all {n} by themselves {}, and with how they hang together {}",
                odds(singly),
                odds(singly + together)
            ),
        };
        let words = match said.is_empty() {
            true => format!("against {}: no dimension tells the two apart", name(second)),
            false => format!("against {}: {}{whole}", name(second), said.join(", ")),
        };
        // What is as likely in both says nothing.
        loudest.retain(|d| ln_odds(d).abs() >= SAYS);
        loudest.truncate(MOST);
        if loudest.is_empty() {
            return wrapped(&words, "  ");
        }
        let headings = [
            "dimension".to_owned(),
            ">reads".to_owned(),
            format!(">{}", short(&name(first))),
            format!(">{}", short(&name(second))),
            ">odds".to_owned(),
        ];
        let headings: Vec<&str> = headings.iter().map(String::as_str).collect();
        let mut table = output::table(&headings);
        for of in loudest {
            let known = self.catalogue.at(of.dimension);
            let (one, other) = (of.under[first].centre, of.under[second].centre);
            let scale = (0.01 * of.value).abs().max(0.3 * (one - other).abs());
            output::add_row(
                &mut table,
                [
                    known.label.clone(),
                    format!(
                        "{} {}",
                        output::reading(of.value, of.uncertainty, scale),
                        known.unit
                    ),
                    sized(one, scale),
                    sized(other, scale),
                    odds(ln_odds(of)),
                ],
            );
        }
        format!("{}{}", wrapped(&words, "  "), output::lines(&table))
    }

    /// What the date on record says to that.
    fn record(&self, dating: &Dating) -> String {
        let Some(recorded) = &dating.recorded else {
            return String::new();
        };
        let says = match &dating.answer {
            Answer::Nothing(_) => {
                let line = format!("by its date on record {}", shown(recorded));
                return wrapped(&line, "  ");
            }
            Answer::Period(at) if dating.candidates[*at].name == *recorded => {
                "its dimensions agree"
            }
            Answer::Period(_) => "its dimensions do not agree: look at both",
            Answer::FitsNone => "its dimensions fit neither that period nor another",
            _ => "its dimensions neither confirm nor deny it",
        };
        let recorded = shown(recorded);
        wrapped(
            &format!("by its date on record {recorded}, not used here; {says}"),
            "  ",
        )
    }

    /// The readings that did not speak, each reason with its dimensions.
    fn left_out(&self, dating: &Dating) -> String {
        let mut told: Vec<(String, Vec<&str>)> = Vec::new();
        for of in &dating.left_out {
            let label = self.catalogue.at(of.dimension).label.as_str();
            let why = match of.why {
                Why::State(State::Unknown) => {
                    format!("{}: --unknown-state lets them speak", of.why)
                }
                why => why.to_string(),
            };
            match told.iter_mut().find(|(text, _)| *text == why) {
                Some((_, labels)) => labels.push(label),
                None => told.push((why, vec![label])),
            }
        }
        let mut text = String::new();
        if !told.is_empty() {
            let told: Vec<String> = told
                .into_iter()
                .map(|(why, labels)| format!("{} ({why})", labels.join(", ")))
                .collect();
            text.push_str(&wrapped(&format!("left out: {}", told.join("; ")), "  "));
        }
        if dating.set_aside > 0 {
            let readings = counted(dating.set_aside, "reading", "readings");
            let line = format!("set aside: {readings} of references unlike their fellows");
            text.push_str(&wrapped(&line, "  "));
        }
        text
    }
}

/// The periods in question, in order of time; of many the likeliest.
fn periods(dating: &Dating) -> String {
    /// So many are shown.
    const MOST: usize = 12;
    let headings = [
        "period", "years", "standing", ">pieces", ">before", ">share", ">p",
    ];
    let mut table = output::table(&headings);
    let mut shown: Vec<usize> = dating.ranking().into_iter().take(MOST).collect();
    shown.sort_unstable();
    for &at in &shown {
        let of = &dating.candidates[at];
        output::add_row(
            &mut table,
            [
                short(&of.name),
                of.years.map_or("-".to_owned(), |y| y.to_string()),
                of.standing.map_or("-", |s| s.name()).to_owned(),
                of.references.to_string(),
                match of.prior > 0.0 {
                    true => percent(of.prior),
                    false => "ruled out".to_owned(),
                },
                percent(of.posterior),
                probability(of.fits_p),
            ],
        );
    }
    let mut text = output::lines(&table);
    if dating.candidates.len() > shown.len() {
        let rest = (0..dating.candidates.len()).filter(|at| !shown.contains(at));
        let share: f64 = rest.map(|at| dating.candidates[at].posterior).sum();
        let more = dating.candidates.len() - shown.len();
        let line = format!("and {more} more periods, together {}", percent(share));
        text.push_str(&wrapped(&line, "  "));
    }
    text
}
