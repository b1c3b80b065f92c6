//! The wrist's collector on a desk: `collect` beside a controller that answers on a TCP port; `compare` what a run brought
//! with what the wire would have.

mod flash;
mod picture;

use bt_hci_serial::SerialTransport;
use embassy_futures::select::select3;
use embassy_sync::blocking_mutex::raw::NoopRawMutex;
use embassy_time::Duration;
use embedded_io_adapters::tokio_1::FromTokio;
use flash::FileFlash;
use glidepath::Settings;
use std::cell::RefCell;
use std::collections::HashMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Instant;
use trouble_host::prelude::*;
use wrist::app::{App, KEPT};
use wrist::link::Frame;
use wrist::settings::{self, LONGEST, Taken};
use wrist::store::{Buffer, Store, buffer};
use wrist::words::Sentence;
use wrist_central::guard::{Doors, Guard};
use wrist_central::seen::Seen;
use wrist_central::serve::serve;
use wrist_central::told::Told;
use wrist_central::{Collectors, Known, Note, Pace, Pool, With, Wrist, collect};
use wrist_collector::collector::Kind;
use wrist_collector::kept::Kept;
use wrist_collector::trust::{Pairing, Wanted};

const USAGE: &str = "usage:
  wrist-radio-desk collect HOST:PORT [OPTION VALUE]...
    flash FILE      what outlives a restart (a file of 80 KiB)
    stream FILE     the frames heard, as a stream of the wrist's desk
    screens FOLDER  what the wrist shows now, a picture for each display
    pair sensor|meter|again|desk   who may be paired now; again: the known sensor, which has lost its key
    worn yes        the chip takes no settings any more
    digits yes|no   whether six digits must be compared; no: whoever is near enough may be taken for it
    same yes|no     the answer when digits are to be compared
    type DIGITS     what the wearer types
    start yes       the wearer wants a session started
  wrist-radio-desk compare RUN GOLDEN OUT.png
  wrist-radio-desk shows FOLDER NAME   whether the screens are the golden ones of that name
  wrist-radio-desk settings FILE.toml OUT
  wrist-radio-desk sizes ELF";

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let outcome = match arguments.as_slice() {
        ["collect", at, options @ ..] => run(at, options),
        ["compare", run, golden, out] => picture::compare(Path::new(run), Path::new(golden), Path::new(out)),
        ["shows", folder, name] => picture::shows(Path::new(folder), name),
        ["settings", file, out] => message(Path::new(file), Path::new(out)),
        ["sizes", elf] => sizes(Path::new(elf)),
        _ => Err(USAGE.into()),
    };
    if let Err(error) = outcome {
        eprintln!("{error}");
        std::process::exit(1);
    }
}

/// A settings file as the message that brings it to the wrist, as over the wire.
fn message(file: &Path, out: &Path) -> Result<(), String> {
    let text = std::fs::read_to_string(file).map_err(|e| format!("{}: {e}", file.display()))?;
    let (frame, name) = wrist_desk::settings::frame(&text)?;
    println!("Settings {name}");
    std::fs::write(out, frame).map_err(|e| format!("{}: {e}", out.display()))
}

/// What the board's image takes, and that it leaves the kept states alone.
fn sizes(elf: &Path) -> Result<(), String> {
    const FLASH: u64 = (1024 - 112) * 1024;
    const MEMORY: u64 = 256 * 1024;
    let bytes = std::fs::read(elf).map_err(|e| format!("{}: {e}", elf.display()))?;
    let sizes = wrist_desk::image::sizes(&bytes)?;
    println!(
        "nRF52840 image: flash {} of {FLASH} bytes, variables {} of {MEMORY} bytes",
        sizes.flash, sizes.ram
    );
    // a third of the memory is left to the stack
    if sizes.flash <= FLASH && sizes.ram <= MEMORY * 2 / 3 { Ok(()) } else { Err("does not fit".into()) }
}

/// The desk in the wrist's place: tells what happens, a line each.
struct Desk {
    began: Instant,
    /// Its time goes by the sensor's minutes.
    app: App,
    settings: Option<Store<FileFlash>>,
    store: Option<Store<FileFlash>>,
    buffer: Box<Buffer>,
    stream: Option<PathBuf>,
    screens: Option<PathBuf>,
    told: Told,
    heard: Vec<(u16, Vec<u8>)>,
    first: Option<u16>,
    minute: u16,
    wanted: (Wanted, Pairing),
    same: bool,
    digits: Option<u32>,
    start: bool,
    last: HashMap<&'static str, String>,
}

fn say(line: &str) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{line}");
    let _ = out.flush();
}

impl Desk {
    fn keep_stream(&self) {
        if let Some(path) = &self.stream {
            let _ = std::fs::write(path, wrist_desk::stream::records(&self.heard));
        }
    }
}

/// The same for both sides of the radio.
struct Hands<'d>(&'d RefCell<Desk>);

impl Desk {
    /// The application hears it, and what rings is told.
    fn app_hears(&mut self, frame: &Frame) {
        for byte in frame.stuffed() {
            let _ = self.app.byte(byte);
        }
        self.look();
    }

    fn look(&mut self) {
        self.app.unheard(self.told.now(self.wanted));
        if self.app.tick(u32::from(self.minute) * 60_000, false).redraw
            && let Some(folder) = &self.screens
            && let Err(error) = picture::screens(&self.app, folder)
        {
            say(&error);
        }
        let rings: Vec<String> = self
            .app
            .view()
            .into_iter()
            .flat_map(|it| it.rings().iter())
            .map(|it| format!("{:?}", it.kind))
            .collect();
        self.say_once("rings", format!("rings at {}: {}", self.minute, rings.join(" ")), rings.is_empty());
    }

    fn say_once(&mut self, what: &'static str, line: String, quiet: bool) {
        if self.last.insert(what, line.clone()).as_ref() != Some(&line) && !quiet {
            say(&line);
        }
    }
}

impl Wrist for Hands<'_> {
    fn now_s(&self) -> u32 {
        self.0.borrow().began.elapsed().as_secs() as u32
    }

    fn heard(&mut self, kind: Kind, frame: &Frame) {
        let desk = &mut *self.0.borrow_mut();
        match frame {
            Frame::Measurement(record) => {
                let first = *desk.first.get_or_insert(record.offset_min());
                desk.minute = desk.minute.max(record.offset_min().saturating_sub(first));
                let doubt = if record.order_in_doubt() { " order in doubt" } else { "" };
                say(&format!("record {} {}{doubt}", record.offset_min(), record.glucose_mg_dl().bits()));
            }
            Frame::Meter(record) => say(&format!("meter {}", record.sequence())),
            Frame::Start(start) => {
                say(&format!("start {:?} {:?}", start.local().date(), start.local().time()))
            }
            Frame::Time(time) => say(&format!("time {:?}", time.date_time().time())),
            Frame::Status(status) => say(&format!("status {}", status.offset_min())),
            Frame::WhichSettings | Frame::Settings => {} // no sensor sends these
        }
        let _ = kind;
        desk.app_hears(frame);
        desk.heard.push((desk.minute, frame.stuffed().to_vec()));
        desk.keep_stream();
    }

    fn keep(&mut self, kept: &Kept) {
        let desk = &mut *self.0.borrow_mut();
        let stored = desk.store.as_mut().map(|store| store.keep(&kept.to_bytes(), &mut desk.buffer[..]));
        desk.say_once("kept", format!("kept {stored:?} {:?}", kept.sensor.map(|peer| peer.settled)), false);
    }

    fn note(&mut self, note: Note) {
        let desk = &mut *self.0.borrow_mut();
        if matches!(note, Note::Paired(..) | Note::DeskPaired) {
            desk.wanted = (Wanted::Nobody, Pairing::Closed);
        }
        desk.told.note(&note);
        desk.look();
        say(&format!("note {note:?}"));
    }

    fn wanted(&self) -> (Wanted, Pairing) {
        self.0.borrow().wanted
    }

    fn start_wanted(&mut self) -> bool {
        std::mem::take(&mut self.0.borrow_mut().start)
    }

    async fn same(&mut self, _: With, digits: u32) -> bool {
        say(&format!("same? {digits:06}"));
        self.0.borrow().same
    }

    fn show(&mut self, _: With, digits: u32) {
        say(&format!("show {digits:06}"));
    }

    async fn typed(&mut self) -> Option<u32> {
        say("typed");
        self.0.borrow().digits
    }

    fn settings(&self, room: &mut [u8; LONGEST]) -> (usize, Option<u32>) {
        let desk = self.0.borrow();
        (settings::in_force(&desk.app, room).unwrap_or(0), desk.app.settings().number)
    }

    fn take(&mut self, message: &[u8]) -> (Taken, Sentence) {
        let desk = &mut *self.0.borrow_mut();
        let store = desk.settings.as_mut();
        let outcome = settings::take(&mut desk.app, message, store, &mut [0; KEPT], &mut desk.buffer[..]);
        say(&outcome.1);
        desk.look();
        outcome
    }
}

fn run(at: &str, options: &[&str]) -> Result<(), String> {
    let mut given = HashMap::new();
    for pair in options.chunks(2) {
        let [name, value] = pair else { return Err(USAGE.into()) };
        given.insert(*name, *value);
    }
    let yes = |name| given.get(name) == Some(&"yes");
    let mut buffer = Box::new(buffer());
    let mut opened = |range| match given.get("flash") {
        Some(path) => {
            let flash = FileFlash::open(Path::new(path)).map_err(|e| format!("{path}: {e}"))?;
            Ok::<_, String>(Store::open(flash, range, &mut buffer[..]))
        }
        None => Ok(None),
    };
    let (mut store, mut kept_settings) = (opened(flash::BONDS)?, opened(flash::SETTINGS)?);
    let (app, told) = settings::begin(Settings::default(), kept_settings.as_mut(), &mut buffer[..])
        .map_err(|e| e.to_string())?;
    told.iter().for_each(|words| say(words));
    let kept = store.as_mut().and_then(|store| Kept::from_bytes(store.newest(&mut buffer[..])?));
    say(&format!(
        "known {} {}",
        kept.is_some_and(|it| it.sensor.is_some()),
        kept.is_some_and(|it| it.meter.is_some())
    ));
    let wanted = match given.get("pair") {
        None => (Wanted::Nobody, Pairing::Closed),
        Some(who) => {
            let who = match *who {
                "sensor" => Wanted::New(Kind::Sensor),
                "meter" => Wanted::New(Kind::Meter),
                "again" => Wanted::Again(Kind::Sensor),
                "desk" => Wanted::Desk,
                _ => return Err(USAGE.into()),
            };
            if given.get("digits") == Some(&"no") {
                say("WARNING: without digits to compare, whoever is near enough may be taken for the sensor");
                (who, Pairing::WithoutDigits)
            } else {
                (who, Pairing::WithDigits)
            }
        }
    };
    let mut desk = Desk {
        began: Instant::now(),
        app,
        settings: kept_settings.filter(|_| !yes("worn")),
        store,
        buffer,
        stream: given.get("stream").map(PathBuf::from),
        screens: given.get("screens").map(PathBuf::from),
        told: Told::new(&kept.unwrap_or_default()),
        heard: Vec::new(),
        first: None,
        minute: 0,
        wanted,
        same: given.get("same") != Some(&"no"),
        digits: given.get("type").and_then(|digits| digits.parse().ok()),
        start: yes("start"),
        last: HashMap::new(),
    };
    desk.look();
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_io().build().map_err(|e| e.to_string())?;
    runtime.block_on(live(at, kept.unwrap_or_default(), desk))
}

async fn live(at: &str, kept: Kept, desk: Desk) -> Result<(), String> {
    let line = tokio::net::TcpStream::connect(at).await.map_err(|e| format!("{at}: {e}"))?;
    line.set_nodelay(true).map_err(|e| e.to_string())?;
    let (reader, writer) = line.into_split();
    let transport: SerialTransport<NoopRawMutex, _, _> =
        SerialTransport::new(FromTokio::new(reader), FromTokio::new(writer));
    let doors = Doors::new();
    let controller = Guard { controller: ExternalController::<_, 8>::new(transport), doors: &doors };
    let mut resources: HostResources<Pool, 2, 2> = HostResources::new();
    let io =
        if desk.digits.is_some() { IoCapabilities::KeyboardDisplay } else { IoCapabilities::DisplayYesNo };
    let stack = trouble_host::new(controller, &mut resources)
        .set_random_address(Address::random([0xFF, 0x8F, 0x1A, 0x05, 0xE4, 0xFF]))
        .set_io_capabilities(io)
        .build();
    let seen = Seen::new();
    let known = Known::new(kept);
    let mut collectors = Collectors::new(&known);
    let desk = RefCell::new(desk);
    let pace = Pace {
        scan_interval: Duration::from_millis(20),
        scan_window: Duration::from_millis(20),
        link_interval: Duration::from_millis(15),
        rest: Duration::from_millis(50),
        shun: Duration::from_secs(3),
        found_interval: Duration::from_millis(20),
        open_interval: Duration::from_millis(20),
        ..Pace::default()
    };
    let mut runner = stack.runner();
    let (mut collects, mut serves) = (Hands(&desk), Hands(&desk));
    let collecting = collect(&stack, &seen, &mut collectors, &mut collects, pace);
    let serving = serve(&stack, &doors, &known, &mut serves, pace);
    select3(runner.run_with_handler(&seen), collecting, serving).await;
    Err("the controller is gone".into())
}
