//! The wrist's collector on a desk: `collect` beside a controller that answers on a TCP port; `compare` what a run brought
//! with what the wire would have.

mod flash;
mod picture;

use bt_hci_serial::SerialTransport;
use embassy_futures::select::select;
use embassy_sync::blocking_mutex::raw::NoopRawMutex;
use embassy_time::Duration;
use embedded_io_adapters::tokio_1::FromTokio;
use flash::FileFlash;
use std::collections::HashMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Instant;
use trouble_host::prelude::*;
use wrist::link::Frame;
use wrist::store::{Buffer, Store, buffer};
use wrist_central::guard::Guard;
use wrist_central::seen::Seen;
use wrist_central::{Collectors, Note, Pace, Pool, Wrist, collect};
use wrist_collector::collector::Kind;
use wrist_collector::kept::Kept;
use wrist_collector::trust::Pairing;

const USAGE: &str = "usage:
  wrist-radio-desk collect HOST:PORT [OPTION VALUE]...
    flash FILE      what outlives a restart (a file of 64 KiB)
    stream FILE     the frames heard, as a stream of the wrist's desk
    pair sensor|meter   the kind that may be paired now
    digits yes|no   whether six digits must be compared; no: whoever is near enough may be taken for it
    same yes|no     the answer when digits are to be compared
    type DIGITS     what the wearer types
    start yes       the wearer wants a session started
  wrist-radio-desk compare RUN GOLDEN OUT.png
  wrist-radio-desk sizes ELF";

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let outcome = match arguments.as_slice() {
        ["collect", at, options @ ..] => run(at, options),
        ["compare", run, golden, out] => picture::compare(Path::new(run), Path::new(golden), Path::new(out)),
        ["sizes", elf] => sizes(Path::new(elf)),
        _ => Err(USAGE.into()),
    };
    if let Err(error) = outcome {
        eprintln!("{error}");
        std::process::exit(1);
    }
}

/// What the board's image takes, and that it leaves the kept states alone.
fn sizes(elf: &Path) -> Result<(), String> {
    const FLASH: u64 = (1024 - 96) * 1024;
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
    store: Option<Store<FileFlash>>,
    buffer: Box<Buffer>,
    stream: Option<PathBuf>,
    heard: Vec<(u16, Vec<u8>)>,
    first: Option<u16>,
    minute: u16,
    pairing: (Kind, Pairing),
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

impl Wrist for Desk {
    fn now_s(&self) -> u32 {
        self.began.elapsed().as_secs() as u32
    }

    fn heard(&mut self, kind: Kind, frame: &Frame) {
        match frame {
            Frame::Measurement(record) => {
                let first = *self.first.get_or_insert(record.offset_min());
                self.minute = self.minute.max(record.offset_min().saturating_sub(first));
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
        self.heard.push((self.minute, frame.stuffed().to_vec()));
        self.keep_stream();
    }

    fn keep(&mut self, kept: &Kept) {
        let stored = self.store.as_mut().map(|store| store.keep(&kept.to_bytes(), &mut self.buffer[..]));
        let line = format!("kept {stored:?} {:?}", kept.sensor.map(|peer| peer.settled));
        if self.last.insert("kept", line.clone()).as_ref() != Some(&line) {
            say(&line);
        }
    }

    fn note(&mut self, note: Note) {
        if matches!(note, Note::Paired(..)) {
            self.pairing.1 = Pairing::Closed;
        }
        say(&format!("note {note:?}"));
    }

    fn pairing(&self) -> (Kind, Pairing) {
        self.pairing
    }

    fn start_wanted(&mut self) -> bool {
        std::mem::take(&mut self.start)
    }

    async fn same(&mut self, digits: u32) -> bool {
        say(&format!("same? {digits:06}"));
        self.same
    }

    fn show(&mut self, digits: u32) {
        say(&format!("show {digits:06}"));
    }

    async fn typed(&mut self) -> Option<u32> {
        say("typed");
        self.digits
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
    let mut store = match given.get("flash") {
        Some(path) => {
            let flash = FileFlash::open(Path::new(path)).map_err(|e| format!("{path}: {e}"))?;
            Store::open(flash, 0..flash::SIZE, &mut buffer[..])
        }
        None => None,
    };
    let kept = store.as_mut().and_then(|store| Kept::from_bytes(store.newest(&mut buffer[..])?));
    say(&format!(
        "known {} {}",
        kept.is_some_and(|it| it.sensor.is_some()),
        kept.is_some_and(|it| it.meter.is_some())
    ));
    let pairing = match given.get("pair") {
        None => (Kind::Sensor, Pairing::Closed),
        Some(kind) => {
            let kind = if *kind == "meter" { Kind::Meter } else { Kind::Sensor };
            if given.get("digits") == Some(&"no") {
                say("WARNING: without digits to compare, whoever is near enough may be taken for the sensor");
                (kind, Pairing::WithoutDigits)
            } else {
                (kind, Pairing::WithDigits)
            }
        }
    };
    let desk = Desk {
        began: Instant::now(),
        store,
        buffer,
        stream: given.get("stream").map(PathBuf::from),
        heard: Vec::new(),
        first: None,
        minute: 0,
        pairing,
        same: given.get("same") != Some(&"no"),
        digits: given.get("type").and_then(|digits| digits.parse().ok()),
        start: yes("start"),
        last: HashMap::new(),
    };
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_io().build().map_err(|e| e.to_string())?;
    runtime.block_on(live(at, kept.unwrap_or_default(), desk))
}

async fn live(at: &str, kept: Kept, mut desk: Desk) -> Result<(), String> {
    let line = tokio::net::TcpStream::connect(at).await.map_err(|e| format!("{at}: {e}"))?;
    line.set_nodelay(true).map_err(|e| e.to_string())?;
    let (reader, writer) = line.into_split();
    let transport: SerialTransport<NoopRawMutex, _, _> =
        SerialTransport::new(FromTokio::new(reader), FromTokio::new(writer));
    let controller = Guard(ExternalController::<_, 8>::new(transport));
    let mut resources: HostResources<Pool, 1, 2> = HostResources::new();
    let io =
        if desk.digits.is_some() { IoCapabilities::KeyboardDisplay } else { IoCapabilities::DisplayYesNo };
    let stack = trouble_host::new(controller, &mut resources)
        .set_random_address(Address::random([0xFF, 0x8F, 0x1A, 0x05, 0xE4, 0xFF]))
        .set_io_capabilities(io)
        .build();
    let seen = Seen::new();
    let mut collectors = Collectors::new(kept);
    let pace = Pace {
        scan_interval: Duration::from_millis(20),
        scan_window: Duration::from_millis(20),
        link_interval: Duration::from_millis(15),
        rest: Duration::from_millis(50),
        shun: Duration::from_secs(3),
        ..Pace::default()
    };
    let mut runner = stack.runner();
    let collecting = collect(&stack, &seen, &mut collectors, &mut desk, pace);
    select(runner.run_with_handler(&seen), collecting).await;
    Err("the controller is gone".into())
}
