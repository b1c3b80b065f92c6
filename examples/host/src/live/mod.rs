//! `live`: readings as they come, through the code of the wrist.

mod drawing;
mod event;
mod input;
mod kept;
mod page;
mod records;
mod screen;
mod sensors;
mod sound;
mod source;
mod steady;
mod told;
mod voice;
mod watch;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::Duration;

use glidepath::{Monitor, PairMonitor, Settings, Side};
use glidepath_replay::WallClock as _;
use jiff::tz::TimeZone;
use wrist::app::{PAIR_READINGS, READINGS};
use wrist::button::Press;

use crate::args::{InputArgs, UnitName};
use crate::failure::Failure;
use crate::settings;
use crate::sheet::CAUTION;
use crate::table::{Clock, Unit};
use event::{Event, Key, Met};
use input::{Input, Tell};
use kept::{Found, Kept, Store};
use records::{Form, Whole};
use sensors::Sensors;
use source::{Came, Source, What, named};
use steady::Steady;
use voice::Voice;
use watch::{News, Present, Watch};

/// Follow readings as they come, with alarms: from a pipe, a growing file or a serial line
///
/// Takes the lines of a table as `replay` reads it (a header row, a time and a glucose column; a column
/// reference_mg_dl is taken as fingersticks), or the wrist's frames (characteristics of the standard CGM Service),
/// whichever come. A file is followed as it grows, also when it is replaced or cut. What it holds at the start is lived
/// through in silence; what still holds then, rings. A line counts once its end is there.
///
/// On a terminal a screen shows value, uncertainty, direction, age, what is ahead and the alarms; elsewhere a plain line
/// tells each reading and alarm. Times without a zone are on this machine's clock, or in --zone. When the input ends it
/// goes on, for silence rings too.
///
/// An alarm rings the terminal's bell, shows a desktop notification where notify-send is found, and runs --on-alarm. The
/// alarm at 55 mg/dL cannot be switched off. A machine that sleeps rings nothing.
#[derive(clap::Args, Debug)]
#[command(after_help = CAUTION)]
#[command(mut_arg("from", |arg| arg.hide(true)), mut_arg("to", |arg| arg.hide(true)))]
pub struct Args {
    /// Where readings come from: - for standard input, a file that grows, a named pipe, or a serial device
    input: PathBuf,

    /// A second sensor worn at the same time, whose readings come from there
    ///
    /// The two go through the wrist's application of two sensors: one blood glucose, each sensor by what it has earned. Lows
    /// ring by the lower one, and silence when neither reads. Both bring tables, or both frames; the options for tables are for
    /// both. One whose first row comes six hours or more after the other's was put on later: its first day counts as such.
    #[arg(long, value_name = "INPUT")]
    second: Option<PathBuf>,

    /// What comes in [default: found from the first bytes]
    #[arg(long, value_name = "FORM")]
    form: Option<Form>,

    /// The header row of a table that comes without one, such as "time,glucose_mg_dl"
    #[arg(long, value_name = "LINE")]
    header: Option<String>,

    /// The rate of a serial device
    #[arg(long, value_name = "BAUD", default_value_t = 9600)]
    baud: u32,

    /// Keep everything known in this file, and go on from it: no reading is lost or taken twice over an end or a power cut
    #[arg(long, value_name = "FILE")]
    state: Option<PathBuf>,

    /// Settings (TOML); `glidepath settings` prints a file with every key, its default and its range
    #[arg(long, value_name = "FILE", help_heading = "Alarms")]
    settings: Option<PathBuf>,

    /// Run this program at each alarm, with the alarm's name and its reason as arguments; no shell is used
    #[arg(long, value_name = "PROGRAM", help_heading = "Alarms")]
    on_alarm: Option<PathBuf>,

    /// Serve a page to browsers on this machine (127.0.0.1) at this port; 0 picks a free one
    #[arg(long, value_name = "PORT", help_heading = "Output")]
    page: Option<u16>,

    /// Print JSON on standard output, an object a line: each reading, alarm, minute, and what happens to the input
    #[arg(long, help_heading = "Output")]
    json: bool,

    /// The unit shown [default: the table's, or mg/dL]
    #[arg(long, value_name = "UNIT", ignore_case = true, help_heading = "Output")]
    unit: Option<UnitName>,

    /// Stop when the input has been read to its end, instead of waiting for more
    #[arg(long)]
    until_end: bool,

    #[command(flatten)]
    table: InputArgs,
}

/// It looks at the clock this often.
const LOOK: Duration = Duration::from_millis(250);
/// A first burst has ended when so long nothing has come.
const QUIET_MS: u64 = 500;
/// An input that brings nothing is waited for so long before the present begins without it.
const PATIENCE_MS: u64 = 30_000;
/// So many rows of one sensor's past are taken in at a time. Those of two have to be put in order first.
const MOST_ROWS: usize = 100_000;
/// So many broken lines are shown; the others are only counted.
const SHOWN_BROKEN: u64 = 5;

/// Everything of a run.
struct Live<'a, M: Sensors> {
    args: &'a Args,
    clock: Clock,
    steady: Steady,
    watch: Watch<M>,
    /// One for each sensor.
    sources: Vec<Source>,
    /// What has come and was not yet taken in.
    past: Vec<Came>,
    /// When something last came, before the present began.
    came_ms: u64,
    store: Option<Store>,
    /// Whether there is something new to keep.
    unsaved: bool,
    broken: u64,
    quit: bool,
    voice: Voice,
}

/// Follows the input, of two sensors both, until it is asked to end.
pub fn run(args: &Args) -> Result<(), Failure> {
    if args.table.from.is_some() || args.table.to.is_some() {
        return Err(Failure::new("--from and --to are of whole tables, expected neither with live"));
    }
    if args.second.as_ref().is_some_and(|second| named(second) == named(&args.input)) {
        return Err(Failure::new(
            "both sensors' readings come from one input, expected another for --second",
        ));
    }
    let settings = args.settings.as_deref().map_or(Ok(Settings::default()), settings::of_file)?;
    match args.second {
        None => follow::<Monitor<READINGS>>(args, settings),
        Some(_) => follow::<PairMonitor<PAIR_READINGS>>(args, settings),
    }
}

fn follow<M: Sensors>(args: &Args, settings: Settings) -> Result<(), Failure> {
    let paths = std::iter::once(&args.input).chain(&args.second);
    let inputs = paths.map(|path| Input::of(path, args.baud)).collect::<Result<Vec<_>, Failure>>()?;
    let (tell, told) = sync_channel(64);
    let stop = stopped()?;
    let mut live = Live::<M>::new(args, settings, &inputs, &tell)?;
    for (source, input) in live.sources.iter().zip(inputs) {
        input.start(source.place.clone(), Tell { side: source.side, to: tell.clone() });
    }
    live.settle();
    let outcome = live.run(&told, &stop);
    live.save();
    live.tell();
    live.voice.end();
    outcome
}

/// Set when the system asks this program to end.
fn stopped() -> Result<Arc<AtomicBool>, Failure> {
    use signal_hook::consts::{SIGINT, SIGTERM};
    let stop = Arc::new(AtomicBool::new(false));
    let mut signals = vec![SIGINT, SIGTERM];
    #[cfg(unix)]
    signals.push(signal_hook::consts::SIGHUP);
    for signal in signals {
        signal_hook::flag::register(signal, Arc::clone(&stop))
            .map_err(|error| Failure::new(format!("signals cannot be heard ({error})")))?;
    }
    Ok(stop)
}

impl<'a, M: Sensors> Live<'a, M> {
    fn new(
        args: &'a Args,
        settings: Settings,
        inputs: &[Input],
        tell: &SyncSender<Event>,
    ) -> Result<Self, Failure> {
        let mut steady = Steady::new();
        let mut watch = Watch::new(settings, steady.ms())?;
        let zone = args.table.zone.clone().unwrap_or_else(TimeZone::system);
        let clock = Clock::Zone(zone);
        let mut news = Vec::new();
        let (store, kept) = opened(args, &mut watch, &mut news)?;
        let paths = std::iter::once(&args.input).chain(&args.second);
        let sources = M::SIDES.iter().zip(paths).zip(inputs).map(|((side, path), input)| {
            let kept = kept.as_ref().and_then(|kept| kept.of(*side));
            Source::new((*side, path, input), args, kept, clock.clone())
        });
        let sources = sources.collect::<Result<Vec<_>, Failure>>()?;
        let mut voice = Voice::new(args.json, args.page, args.on_alarm.as_deref(), tell)?;
        news.into_iter().for_each(|what| voice.input(what));
        Ok(Self {
            args,
            clock,
            came_ms: steady.ms(),
            steady,
            watch,
            sources,
            past: Vec::new(),
            store,
            unsaved: false,
            broken: 0,
            quit: false,
            voice,
        })
    }

    fn run(&mut self, told: &Receiver<Event>, stop: &AtomicBool) -> Result<(), Failure> {
        loop {
            match told.recv_timeout(LOOK) {
                Ok(Event::Input(side, met)) => self.met(side, met)?,
                Ok(Event::Trouble(what)) => self.voice.input(what),
                Ok(Event::Key(key)) => self.key(key),
                Err(RecvTimeoutError::Timeout) => {}
                // the threads have gone; time goes on
                Err(RecvTimeoutError::Disconnected) => std::thread::sleep(LOOK),
            }
            self.settle();
            let present = self.present();
            self.watch.run(present);
            self.save();
            self.tell();
            let ended = self.sources.iter().all(|source| source.ended);
            if self.quit || stop.load(Ordering::Relaxed) || ended && self.args.until_end {
                return Ok(());
            }
        }
    }

    /// That of a sensor.
    fn source(&mut self, side: Side) -> &mut Source {
        &mut self.sources[side as usize]
    }

    fn met(&mut self, side: Side, met: Met) -> Result<(), Failure> {
        match met {
            Met::Bytes(bytes) => self.bytes(side, &bytes)?,
            Met::Anew => self.anew(side),
            Met::Cut => {
                self.source(side).records.drop_rest();
                self.watch.cut(side);
            }
            Met::Dry => {
                if self.watch.is_live() {
                    self.take(Some(side));
                }
                let source = self.source(side);
                source.settled();
                (source.again, source.ended) = (false, true);
            }
            Met::Ended => {
                if self.source(side).records.drop_rest() {
                    self.broken(side, vec!["the last line has no end and is left out".into()]);
                }
                let source = self.source(side);
                source.settled();
                source.ended = true;
                self.settle();
                if !self.args.until_end {
                    self.said(side, "The input has ended; silence rings from now on.");
                }
            }
            Met::Said(what) => self.voice.input(what),
        }
        Ok(())
    }

    fn key(&mut self, key: Key) {
        match key {
            Key::Acknowledge | Key::Snooze => {
                let press = if key == Key::Snooze { Press::Long } else { Press::Short };
                if self.watch.heed(press) {
                    self.unsaved = true;
                    self.voice.due();
                }
            }
            Key::Unit => self.voice.other_unit(),
            Key::Quit => self.quit = true,
        }
    }

    /// What comes in, once that is clear; it is the same of two sensors.
    fn form(&self) -> Option<Form> {
        self.sources.iter().find_map(|source| source.records.form())
    }

    /// The present on the clock that stamps what comes: frames tell the wearer's own time.
    fn present(&mut self) -> Present {
        let (ms, now) = (self.steady.ms(), steady::wall());
        match self.form() {
            Some(Form::Frames) => Present { ms, stamp: self.clock.wall(now), lead: 0 },
            Some(Form::Csv) | None => Present { ms, stamp: now, lead: self.clock.lead(now) },
        }
    }

    fn bytes(&mut self, side: Side, bytes: &[u8]) -> Result<(), Failure> {
        if let Some(whole) = self.source(side).records.push(bytes) {
            self.whole(side, &whole)?;
        }
        if !self.watch.is_live() {
            let ms = self.steady.ms();
            self.came_ms = ms;
            self.source(side).came(ms);
        }
        Ok(())
    }

    /// Takes whole records.
    fn whole(&mut self, side: Side, whole: &Whole) -> Result<(), Failure> {
        let present = self.present();
        self.watch.run(present);
        match whole.form {
            _ if self
                .sources
                .iter()
                .filter_map(|source| source.records.form())
                .any(|form| form != whole.form) =>
            {
                let what = "one input brings a table, the other frames, expected two of one form";
                if !self.watch.is_live() {
                    return Err(Failure::new(what));
                }
                self.broken(side, vec![what.into()]);
            }
            Form::Frames => self.frames(side, whole, present),
            Form::Csv => self.rows(side, whole)?,
        }
        self.source(side).place.on(whole.bytes());
        self.unsaved = true;
        Ok(())
    }

    fn frames(&mut self, side: Side, whole: &Whole, present: Present) {
        for frame in whole.each() {
            let framed = self.watch.framed(side, frame);
            if self.watch.is_live() {
                self.watch.frame(&framed, present);
            } else {
                let came = self.source(side).frame(framed);
                self.past.push(came);
            }
        }
    }

    fn rows(&mut self, side: Side, whole: &Whole) -> Result<(), Failure> {
        let source = &mut self.sources[side as usize];
        let batch = match source.lines.read(whole.each()) {
            Ok(batch) => batch,
            // later on, alarms must not end for it
            Err(failure) if self.watch.is_live() => {
                self.broken(side, vec![failure.to_string()]);
                return Ok(());
            }
            Err(failure) => return Err(failure),
        };
        self.past.extend(batch.taken.into_iter().map(|taken| source.row(taken)));
        let again = source.again;
        self.watch.not_read(0, batch.blank);
        self.broken(side, batch.broken);
        // a file that is read anew may have its newest row first
        if self.watch.is_live() && !again || self.sources.len() == 1 && self.past.len() >= MOST_ROWS {
            self.take(Some(side));
        }
        Ok(())
    }

    /// Takes in what has come, of one sensor or of all, in order of time where that is not how it came.
    fn take(&mut self, of: Option<Side>) {
        let is_of = |came: &Came| of.is_none_or(|side| came.side == side);
        let (mut taken, left): (Vec<_>, Vec<_>) = std::mem::take(&mut self.past).into_iter().partition(is_of);
        self.past = left;
        if !self.watch.is_live() || taken.iter().any(|came| came.again) {
            taken.sort_by_key(|came| came.at);
        }
        let present = self.present();
        for Came { side, again, what, .. } in &taken {
            match what {
                What::Row(row) => self.watch.row(*side, row, *again, present),
                What::Frame(frame) => self.watch.frame(frame, present),
            }
        }
    }

    /// The present begins once all that was there at the start has come, or nothing more does.
    fn settle(&mut self) {
        if self.watch.is_live() {
            return;
        }
        let ms = self.steady.ms();
        for source in &mut self.sources {
            if source.is_quiet(ms, QUIET_MS) {
                source.settled();
            }
        }
        let waited = ms.saturating_sub(self.came_ms) >= PATIENCE_MS;
        if !waited && !self.sources.iter().all(|source| source.ready) {
            return;
        }
        self.take(None);
        self.sources.iter_mut().for_each(Source::settled);
        let present = self.present();
        self.watch.begin(present);
        self.voice.begun(&self.watch.counts());
    }

    /// A file is another: what of it is known is left out.
    fn anew(&mut self, side: Side) {
        let (args, clock) = (self.args, self.clock.clone());
        let has_read = self.watch.has_read(side);
        let source = self.source(side);
        let known = source.place.offset > 0 || has_read;
        source.anew(args, clock, known);
        if known {
            self.said(
                side,
                "The file is another or was cut: read from its beginning, what is known left out.",
            );
        }
    }

    /// Something happened to a sensor's input.
    fn said(&mut self, side: Side, what: &str) {
        self.voice.input(match (self.sources.len(), side) {
            (1, _) => what.to_owned(),
            (_, Side::First) => format!("First sensor: {what}"),
            (_, Side::Second) => format!("Second sensor: {what}"),
        });
    }

    fn broken(&mut self, side: Side, broken: Vec<String>) {
        self.watch.not_read(broken.len(), 0);
        for what in broken {
            self.broken += 1;
            if self.broken <= SHOWN_BROKEN {
                self.said(side, &format!("Not read: {what}"));
            }
            if self.broken == SHOWN_BROKEN {
                self.voice.input("Further lines that cannot be read are only counted.".into());
            }
        }
    }

    /// Whether something of the past has come and was not yet lived through.
    fn is_behind(&self) -> bool {
        !self.past.is_empty() || self.sources.iter().any(Source::is_bursting)
    }

    /// Keeps what is new, and how far each input was read, as one.
    fn save(&mut self) {
        if !self.unsaved || self.is_behind() {
            return;
        }
        self.unsaved = false;
        let Some(store) = &self.store else { return };
        let mut inputs = self.sources.iter().map(Source::kept);
        let saved = match self.watch.save() {
            Ok(state) => store.keep(&Kept {
                input: inputs.next().unwrap_or_default(),
                second: inputs.next(),
                first_rows: self.watch.first_rows(),
                state,
                ..Kept::default()
            }),
            Err(error) => Err(Failure::new(error.to_string())),
        };
        if let Err(failure) = saved {
            self.voice.input(failure.to_string());
        }
    }

    /// Tells what has happened.
    fn tell(&mut self) {
        // what rang in the past is nobody's news
        if !self.watch.is_live() && self.is_behind() {
            return;
        }
        let news = self.watch.news();
        self.unsaved |= news.iter().any(|news| matches!(news, News::Rang(_)));
        let present = self.present();
        let own = Clock::default();
        let clock = if self.form() == Some(Form::Frames) { &own } else { &self.clock };
        let unit = self.sources.iter().find_map(|source| source.lines.unit());
        let unit = self.args.unit.map(Unit::from).or(unit).unwrap_or_default();
        self.voice.tell(&mut self.watch, &news, clock, present, unit);
    }
}

/// Opens the state file, and restores what is kept.
fn opened<M: Sensors>(
    args: &Args,
    watch: &mut Watch<M>,
    news: &mut Vec<String>,
) -> Result<(Option<Store>, Option<Kept>), Failure> {
    let Some(path) = &args.state else { return Ok((None, None)) };
    let (store, found) = Store::open(path)?;
    let aside = match found {
        Found::Nothing => return Ok((Some(store), None)),
        Found::Kept(kept) => {
            is_of(&kept, args).map_err(|why| Failure::file(path, why))?;
            watch.set_first_rows(kept.first_rows);
            match watch.restore(&kept.state) {
                Ok(()) => {
                    news.push(
                        "Goes on from what was kept; no value is shown before the next reading.".into(),
                    );
                    return Ok((Some(store), Some(*kept)));
                }
                Err(_) => store.put_aside()?,
            }
        }
        Found::Damaged(aside) => aside,
    };
    watch.set_first_rows([None; 2]);
    news.push(format!("What was kept cannot be used; it is now {}. Starts anew.", aside.display()));
    Ok((Some(store), None))
}

/// Whether what is kept is of as many sensors, each where it was.
fn is_of(kept: &Kept, args: &Args) -> Result<(), &'static str> {
    match (&kept.second, &args.second) {
        (Some(_), None) => Err("is of two sensors, expected --second with it, or another file"),
        (None, Some(_)) => Err("is of one sensor, expected another file for two"),
        (Some(one), Some(second)) => {
            let crossed = kept.input.input == named(second) || one.input == named(&args.input);
            if crossed {
                Err("is of the two sensors the other way round, expected them as before")
            } else {
                Ok(())
            }
        }
        (None, None) => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser;
    use std::path::Path;

    #[derive(Parser)]
    struct Cli {
        #[command(flatten)]
        args: Args,
    }

    /// Rows of these minutes before `now`.
    fn rows(now: i64, minutes_ago: impl IntoIterator<Item = i32>) -> Met {
        let row = |ago: i32| format!("{},12{}\n", now - 60 * i64::from(ago), ago % 4);
        Met::Bytes(minutes_ago.into_iter().map(row).collect::<String>().into_bytes())
    }

    #[test]
    fn a_file_read_anew_waits_for_its_end_though_the_other_sensor_reads() {
        let arguments = ["", "a.csv", "--second", "b.csv", "--json", "--header", "time,glucose_mg_dl"];
        let args = Cli::parse_from(arguments).args;
        let inputs = ["a.csv", "b.csv"].map(|name| Input::File(Path::new(name).to_owned()));
        let (tell, _told) = sync_channel(8);
        let now = steady::wall();
        let mut live =
            Live::<PairMonitor<PAIR_READINGS>>::new(&args, Settings::default(), &inputs, &tell).unwrap();
        live.met(Side::First, rows(now, (20..100).step_by(5))).unwrap();
        live.met(Side::First, Met::Dry).unwrap();
        live.settle();
        assert!(!live.watch.is_live() && live.is_behind(), "the second may have a past");
        live.met(Side::Second, rows(now, (1..100).step_by(5).rev())).unwrap();
        std::thread::sleep(Duration::from_millis(QUIET_MS + 100));
        live.settle();
        assert!(!live.watch.is_live(), "a file that is read slowly has not ended");
        live.met(Side::Second, Met::Dry).unwrap();
        live.settle();
        assert!(live.watch.is_live() && !live.is_behind());
        assert_eq!(live.watch.counts().readings, 16 + 20);

        // the newest rows first, in two parts, the second sensor's between; written by a clock that is a little behind
        live.met(Side::First, Met::Anew).unwrap();
        live.met(Side::First, rows(now - 20, [0, 5])).unwrap();
        live.met(Side::Second, rows(now, [0])).unwrap();
        assert_eq!((live.past.len(), live.watch.counts().readings), (2, 37));
        live.met(Side::First, rows(now - 20, (10..100).step_by(5))).unwrap();
        live.met(Side::First, Met::Dry).unwrap();
        let counts = live.watch.counts();
        assert_eq!((live.past.len(), counts.readings, counts.repeated), (0, 41, 16), "{counts:?}");
        let last = live.watch.app().view().and_then(glidepath::View::verdict);
        assert_eq!(last, Some(glidepath::quality::Verdict::Accepted), "the newest was taken last");
        // from now on its rows are taken as they come
        assert!(!live.source(Side::First).again && live.form() == Some(Form::Csv));
    }
}
