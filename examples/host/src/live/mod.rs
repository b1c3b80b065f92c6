//! `live`: readings as they come, through the code of the wrist.

mod drawing;
mod event;
mod input;
mod kept;
mod page;
mod records;
mod screen;
mod sound;
mod steady;
mod told;
mod voice;
mod watch;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::Duration;

use glidepath::Settings;
use glidepath_replay::WallClock as _;
use jiff::tz::TimeZone;
use wrist::button::Press;

use crate::args::{InputArgs, UnitName};
use crate::failure::Failure;
use crate::settings;
use crate::sheet::CAUTION;
use crate::table::{Clock, Lines, Taken, Unit};
use event::{Event, Key};
use input::{Input, Place};
use kept::{Found, Kept, Store};
use records::{Form, Records, Whole};
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
/// So many rows of the past are taken in at a time.
const MOST_ROWS: usize = 100_000;
/// So many broken lines are shown; the others are only counted.
const SHOWN_BROKEN: u64 = 5;

/// Everything of a run.
struct Live<'a> {
    args: &'a Args,
    clock: Clock,
    steady: Steady,
    watch: Watch,
    records: Records,
    lines: Lines,
    /// How far the input was read and taken in.
    place: Place,
    /// Whether a file is read anew, some of whose rows are known.
    again: bool,
    /// Rows of the past, not yet taken in.
    past: Vec<Taken>,
    /// When the first burst last brought something.
    burst_ms: Option<u64>,
    store: Option<Store>,
    /// Whether there is something new to keep.
    unsaved: bool,
    broken: u64,
    ended: bool,
    quit: bool,
    voice: Voice,
}

/// Follows the input until it is asked to end.
pub fn run(args: &Args) -> Result<(), Failure> {
    if args.table.from.is_some() || args.table.to.is_some() {
        return Err(Failure::new("--from and --to are of whole tables, expected neither with live"));
    }
    let input = Input::of(&args.input, args.baud)?;
    let settings = args.settings.as_deref().map_or(Ok(Settings::default()), settings::of_file)?;
    let (tell, told) = sync_channel(64);
    let stop = stopped()?;
    let mut live = Live::new(args, settings, &input, &tell)?;
    let follows = matches!(input, Input::Line(..));
    input.start(live.place.clone(), tell);
    if follows {
        live.begin();
    }
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

impl<'a> Live<'a> {
    fn new(
        args: &'a Args,
        settings: Settings,
        input: &Input,
        tell: &SyncSender<Event>,
    ) -> Result<Self, Failure> {
        let mut steady = Steady::new();
        let mut watch = Watch::new(settings, steady.ms())?;
        let zone = args.table.zone.clone().unwrap_or_else(TimeZone::system);
        let mut news = Vec::new();
        let (store, kept) = opened(args, &mut watch, &mut news)?;
        let kept = kept.filter(|kept| input.is_file() && kept.input == named(args)).unwrap_or_default();
        let mut table = args.table.clone();
        table.date_format = table.date_format.or_else(|| kept.dates.as_ref()?.parse().ok());
        let mut lines = Lines::new(&args.input, &table, Clock::Zone(zone.clone()));
        if let Some(header) = args.header.as_ref().or(kept.header.as_ref()) {
            lines.begin(header.as_bytes())?;
        }
        if let Some(mmol) = kept.mmol {
            lines.set_unit(if mmol { Unit::MmolL } else { Unit::MgDl });
        }
        let mut voice = Voice::new(args.json, args.page, args.on_alarm.as_deref(), tell)?;
        news.into_iter().for_each(|what| voice.input(what));
        Ok(Self {
            args,
            clock: Clock::Zone(zone),
            steady,
            watch,
            records: Records::new(args.form.or(kept.form)),
            lines,
            place: kept.place,
            again: false,
            past: Vec::new(),
            burst_ms: None,
            store,
            unsaved: false,
            broken: 0,
            ended: false,
            quit: false,
            voice,
        })
    }

    fn run(&mut self, told: &Receiver<Event>, stop: &AtomicBool) -> Result<(), Failure> {
        loop {
            match told.recv_timeout(LOOK) {
                Ok(event) => self.event(event)?,
                Err(RecvTimeoutError::Timeout) => {}
                // the threads have gone; time goes on
                Err(RecvTimeoutError::Disconnected) => std::thread::sleep(LOOK),
            }
            let present = self.present();
            if self.burst_ms.is_some_and(|since| present.ms.saturating_sub(since) >= QUIET_MS) {
                self.begin();
            }
            self.watch.run(present);
            self.save();
            self.tell();
            if self.quit || stop.load(Ordering::Relaxed) || self.ended && self.args.until_end {
                return Ok(());
            }
        }
    }

    fn event(&mut self, event: Event) -> Result<(), Failure> {
        match event {
            Event::Bytes(bytes) => self.bytes(&bytes)?,
            Event::Anew => self.anew(),
            Event::Cut => {
                self.records.drop_rest();
                self.watch.cut();
            }
            Event::Dry => {
                self.begin();
                (self.again, self.ended) = (false, true);
            }
            Event::Ended => {
                if self.records.drop_rest() {
                    self.broken(vec!["the last line has no end and is left out".into()]);
                }
                self.begin();
                self.ended = true;
                if !self.args.until_end {
                    self.voice.input("The input has ended; silence rings from now on.".into());
                }
            }
            Event::Trouble(what) | Event::Back(what) => self.voice.input(what),
            Event::Key(key) => self.key(key),
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

    /// The present on the clock that stamps what comes: frames tell the wearer's own time.
    fn present(&mut self) -> Present {
        let (ms, now) = (self.steady.ms(), steady::wall());
        match self.records.form() {
            Some(Form::Frames) => Present { ms, stamp: self.clock.wall(now), lead: 0 },
            Some(Form::Csv) | None => Present { ms, stamp: now, lead: self.clock.lead(now) },
        }
    }

    fn bytes(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        let whole = self.records.push(bytes);
        if !self.watch.is_live() {
            self.burst_ms = Some(self.steady.ms());
        }
        let Some(whole) = whole else { return Ok(()) };
        let present = self.present();
        self.watch.run(present);
        match whole.form {
            Form::Frames => whole.each().for_each(|frame| self.watch.frame(frame, present)),
            Form::Csv => self.rows(&whole)?,
        }
        self.place.on(whole.bytes());
        self.unsaved = true;
        Ok(())
    }

    fn rows(&mut self, whole: &Whole) -> Result<(), Failure> {
        let batch = match self.lines.read(whole.each()) {
            Ok(batch) => batch,
            // later on, alarms must not end for it
            Err(failure) if self.watch.is_live() => {
                self.broken(vec![failure.to_string()]);
                return Ok(());
            }
            Err(failure) => return Err(failure),
        };
        self.watch.not_read(0, batch.blank);
        self.broken(batch.broken);
        self.past.extend(batch.taken);
        // a file that is read anew may have its newest row first
        if self.watch.is_live() && !self.again || self.past.len() >= MOST_ROWS {
            self.take();
        }
        Ok(())
    }

    /// Takes in the rows that have come.
    fn take(&mut self) {
        let mut rows = std::mem::take(&mut self.past);
        if self.again || !self.watch.is_live() {
            rows.sort_by_key(|taken| taken.at);
        }
        let present = self.present();
        for taken in &rows {
            self.watch.row(taken, self.again, present);
        }
    }

    /// All that is there for now has come: the present begins.
    fn begin(&mut self) {
        self.take();
        self.burst_ms = None;
        if self.watch.is_live() {
            return;
        }
        let present = self.present();
        self.watch.begin(present);
        self.voice.begun(&self.watch.counts());
    }

    /// The file is another: what of it is known is left out.
    fn anew(&mut self) {
        let known = self.place.offset > 0 || self.watch.counts().readings > 0;
        self.place = Place::default();
        self.records = Records::new(self.args.form);
        self.lines = Lines::new(&self.args.input, &self.args.table, self.clock.clone());
        if let Some(header) = &self.args.header {
            // it was read once already
            let _ = self.lines.begin(header.as_bytes());
        }
        self.again = known;
        if known {
            self.voice.input(
                "The file is another or was cut: read from its beginning, what is known left out.".into(),
            );
        }
    }

    fn broken(&mut self, broken: Vec<String>) {
        self.watch.not_read(broken.len(), 0);
        for what in broken {
            self.broken += 1;
            if self.broken <= SHOWN_BROKEN {
                self.voice.input(format!("Not read: {what}"));
            }
            if self.broken == SHOWN_BROKEN {
                self.voice.input("Further lines that cannot be read are only counted.".into());
            }
        }
    }

    /// Keeps what is new, and how far the input was read, as one.
    fn save(&mut self) {
        if !self.unsaved || !self.past.is_empty() || self.burst_ms.is_some() {
            return;
        }
        self.unsaved = false;
        let Some(store) = &self.store else { return };
        let header = self.lines.header().map(|header| String::from_utf8_lossy(header).into_owned());
        let saved = match self.watch.save() {
            Ok(state) => store.keep(&Kept {
                input: named(self.args),
                form: self.records.form(),
                header,
                dates: self.lines.date_format().map(str::to_owned),
                mmol: self.lines.unit().map(|unit| unit == Unit::MmolL),
                place: self.place.clone(),
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
        if self.burst_ms.is_some() {
            return;
        }
        let news = self.watch.news();
        self.unsaved |= news.iter().any(|news| matches!(news, News::Rang(_)));
        let present = self.present();
        let frames = self.records.form() == Some(Form::Frames);
        let own = Clock::default();
        let clock = if frames { &own } else { &self.clock };
        let unit = self.args.unit.map(Unit::from).or(self.lines.unit()).unwrap_or_default();
        self.voice.tell(&mut self.watch, &news, clock, present, unit);
    }
}

/// The input as the state file names it.
fn named(args: &Args) -> String {
    let path = std::fs::canonicalize(&args.input).unwrap_or_else(|_| args.input.clone());
    path.display().to_string()
}

/// Opens the state file, and restores what is kept.
fn opened(
    args: &Args,
    watch: &mut Watch,
    news: &mut Vec<String>,
) -> Result<(Option<Store>, Option<Kept>), Failure> {
    let Some(path) = &args.state else { return Ok((None, None)) };
    let (store, found) = Store::open(path)?;
    let aside = match found {
        Found::Nothing => return Ok((Some(store), None)),
        Found::Kept(kept) => match watch.restore(&kept.state) {
            Ok(()) => {
                news.push("Goes on from what was kept; no value is shown before the next reading.".into());
                return Ok((Some(store), Some(*kept)));
            }
            Err(_) => store.put_aside()?,
        },
        Found::Damaged(aside) => aside,
    };
    news.push(format!("What was kept cannot be used; it is now {}. Starts anew.", aside.display()));
    Ok((Some(store), None))
}
