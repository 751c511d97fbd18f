//! `calibriar flag`

use std::io;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

use calibriar::cohort::Cohort;
use calibriar::norm::Settings;
use calibriar::report::{FLAG_COLUMNS, FlagRow};
use calibriar::verdict::{Flag, flag};
use calibriar::words::grain;
use clap::Args;

use super::json::FlagsOut;
use super::norms::provenance_line;
use super::output::{self, Format, band, probability, sized};
use super::source::Question;
use super::{CliError, Outcome};

/// Every out-of-norm reading of the whole source, for scripts
///
/// The same verdicts as `check` gives, for all pieces at once; each is judged without its own
/// readings. Of the wholly good pieces about --alpha are flagged as well: with many pieces, look
/// first at those marked look_first, of which only a share of --alpha are good on average. Where good
/// pieces stray much more often than the normal law says, more of them are flagged (see check).
#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 nothing out of norm, 1 something out of norm, \
    2 wrong use or bad input."
)]
pub(super) struct Arguments {
    #[command(flatten)]
    question: Question,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, CliError> {
    let (settings, format, source) = arguments.question.open()?;
    let cohort = arguments.question.judge.cohort(&source)?;
    let evidence = arguments.question.judge.evidence(&cohort)?;
    let flags = flag(&evidence, &settings);
    // Its room is needed for the text.
    drop(evidence);
    arguments.question.source.write_set_aside(&source)?;
    match format {
        Format::Json => output::write_json(&FlagsOut {
            provenance: &source.provenance,
            flags: flags.iter().map(|f| FlagRow::new(f, &cohort)).collect(),
        })?,
        Format::Csv => write_csv(&flags, &cohort)?,
        Format::Table => {
            let mut text = page(&flags, &cohort, &settings);
            text.push_str(&provenance_line(&source.provenance));
            output::write_text(&text)?;
        }
    }
    Ok(if flags.is_empty() {
        Outcome::Done
    } else {
        Outcome::Found
    })
}

/// Writes the flags, formatted in several threads while this one writes: with many pieces, printing
/// numbers costs more than judging them.
fn write_csv(flags: &[Flag], cohort: &Cohort<'_>) -> Result<(), CliError> {
    const SHARE: usize = 1 << 13;
    // Few parts wait at a time, however many flags there are.
    const WAITING: usize = 4;
    let header = FLAG_COLUMNS.join(",") + "\n";
    let shares: Vec<&[Flag]> = flags.chunks(SHARE).collect();
    let next = AtomicUsize::new(0);
    let (sender, receiver) = mpsc::sync_channel(WAITING);
    let format = |sender: mpsc::SyncSender<(usize, io::Result<Vec<u8>>)>| {
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(some) = shares.get(at) else { break };
            // Nobody reads on.
            if sender.send((at, csv_text(some, cohort))).is_err() {
                break;
            }
        }
    };
    thread::scope(|scope| {
        let threads = thread::available_parallelism().map_or(1, usize::from);
        for _ in 0..threads.min(shares.len()) {
            let (format, sender) = (&format, sender.clone());
            scope.spawn(move || format(sender));
        }
        drop(sender);
        output::write_parts(header.into_bytes(), receiver.into_iter())
    })
}

fn csv_text(flags: &[Flag], cohort: &Cohort<'_>) -> io::Result<Vec<u8>> {
    let mut writer = csv::WriterBuilder::new()
        .has_headers(false)
        .from_writer(Vec::new());
    for flag in flags {
        writer
            .serialize(FlagRow::new(flag, cohort))
            .map_err(output::csv_error)?;
    }
    writer.into_inner().map_err(|error| error.into_error())
}

fn page(flags: &[Flag], cohort: &Cohort<'_>, settings: &Settings) -> String {
    let pieces = cohort.table().specimens.len();
    if flags.is_empty() {
        return format!("nothing out of norm among {pieces} pieces\n");
    }
    let headings = [
        "specimen",
        "pattern",
        "period",
        "dimension",
        ">reads",
        "typical range",
        ">p adj.",
    ];
    let mut table = output::table(&headings);
    let (mut flagged, mut chosen, mut first) = (0, 0, 0);
    let mut last = None;
    for flag in flags {
        let out = FlagRow::new(flag, cohort);
        let new = last != Some(flag.row);
        flagged += usize::from(new);
        chosen += usize::from(new && cohort.is_chosen(flag.row));
        first += usize::from(new && flag.look_first);
        last = Some(flag.row);
        let scale = grain(flag.typical);
        let label = &cohort.table().catalogue.at(flag.dimension).label;
        output::add_row(
            &mut table,
            vec![
                format!(
                    "{}{}",
                    out.specimen,
                    if flag.look_first { " *" } else { "" }
                ),
                out.pattern.unwrap_or("").to_owned(),
                out.period.unwrap_or("").to_owned(),
                label.clone(),
                format!("{} {}", sized(flag.value, scale), out.unit),
                band(flag.typical.low, flag.typical.high, scale),
                probability(flag.p_adjusted),
            ],
        );
    }
    let readings = output::counted(flags.len(), "reading", "readings");
    let of = output::counted(flagged, "piece", "pieces");
    let lines = output::lines(&table);
    let own = match chosen {
        0 => "none of these is".to_owned(),
        n => format!("{n} of these are"),
    };
    let text = format!(
        "{readings} of {of} out of norm, among {pieces} pieces; {own} of the periods that all are judged \
         by. * look here first: of the {first} pieces marked so only about 1 in {} is good after all.",
        (1.0 / settings.alpha()).round()
    );
    format!("{lines}\n{}", output::wrapped(&text, ""))
}
