//! The wrist on an nRF52840: readings come by radio. Wiring and pairing: see the README.

#![no_std]
#![no_main]

mod chip;

use chip::{BONDS, Chip, SETTINGS, STATES};
use core::cell::RefCell;
use embassy_executor::Spawner;
use embassy_futures::join::join4;
use embassy_futures::select::select;
use embassy_nrf::gpio::{Input, Level, Output, OutputDrive, Pull};
use embassy_nrf::rng::Rng;
use embassy_nrf::twim::{self, Twim};
use embassy_nrf::wdt::Watchdog;
use embassy_nrf::{bind_interrupts, interrupt, peripherals, wdt};
use embassy_sync::blocking_mutex::raw::NoopRawMutex;
use embassy_sync::signal::Signal;
use embassy_time::{Duration, Instant, Timer, with_timeout};
use embedded_graphics::mono_font::{MonoTextStyle, ascii};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::*;
use embedded_graphics::text::Text;
use glidepath::Settings;
use heapless::String;
use nrf_mpsl::{Flash, MultiprotocolServiceLayer, SessionMem};
use nrf_sdc::SoftdeviceController;
use ssd1306::mode::{BufferedGraphicsMode, DisplayConfig};
use ssd1306::prelude::I2CInterface;
use ssd1306::{I2CDisplayInterface, Ssd1306, rotation::DisplayRotation, size::DisplaySize128x64};
use static_cell::StaticCell;
use trouble_host::prelude::*;
use wrist::app::{App, KEPT};
use wrist::link::Frame;
use wrist::settings::{self, LONGEST, Taken};
use wrist::store::{self, Store};
use wrist::words::Sentence;
use wrist_central::guard::{Doors, Guard};
use wrist_central::seen::Seen;
use wrist_central::serve::serve;
use wrist_central::told::Told;
use wrist_central::{Collectors, Known, Note, Pace, Pool, With, Wrist, collect};
use wrist_collector::collector::Kind;
use wrist_collector::kept::Kept;
use wrist_collector::trust::{Pairing, Wanted, asked};

bind_interrupts!(struct Irqs {
    EGU0_SWI0 => nrf_mpsl::LowPrioInterruptHandler;
    CLOCK_POWER => nrf_mpsl::ClockInterruptHandler;
    RADIO => nrf_mpsl::HighPrioInterruptHandler;
    TIMER0 => nrf_mpsl::HighPrioInterruptHandler;
    RTC0 => nrf_mpsl::HighPrioInterruptHandler;
    RNG => embassy_nrf::rng::InterruptHandler<peripherals::RNG>;
    TWISPI0 => twim::InterruptHandler<peripherals::TWISPI0>;
});

/// Pairing ends by itself.
const OPEN: Duration = Duration::from_secs(300);
/// The controller's memory, with room: what it asks for is known on a board only, where too little ends in a restart.
const CONTROLLER: usize = 16 * 1024;
const WATCHDOG_S: u32 = 8;
const NOBODY: (Wanted, Pairing) = (Wanted::Nobody, Pairing::Closed);

type Display<'d> =
    Ssd1306<I2CInterface<Twim<'d>>, DisplaySize128x64, BufferedGraphicsMode<DisplaySize128x64>>;

/// What both sides of the program use; never held across a wait.
struct Board<'d> {
    app: App,
    display: Display<'d>,
    states: Option<Store<Chip<'d>>>,
    bonds: Option<Store<Chip<'d>>>,
    settings: Option<Store<Chip<'d>>>,
    buffer: &'static mut store::Buffer,
    state: &'static mut [u8; KEPT],
    wanted: (Wanted, Pairing),
    open_until: Instant,
    /// Digits are shown: the picture waits.
    asking: bool,
    told: Told,
}

impl Board<'_> {
    fn wanted(&self) -> (Wanted, Pairing) {
        if Instant::now() < self.open_until { self.wanted } else { NOBODY }
    }

    fn lines(&mut self, lines: [&str; 3]) {
        self.asking = true;
        self.display.clear_buffer();
        let small = MonoTextStyle::new(&ascii::FONT_6X10, BinaryColor::On);
        let large = MonoTextStyle::new(&ascii::FONT_10X20, BinaryColor::On);
        for (line, (style, at)) in lines.into_iter().zip([(small, 10), (large, 36), (small, 60)]) {
            let _ = Text::new(line, Point::new(0, at), style).draw(&mut self.display);
        }
        let _ = self.display.flush();
    }
}

/// The radio's side of the board.
struct Radio<'a, 'd> {
    board: &'a RefCell<Board<'d>>,
    news: &'a Signal<NoopRawMutex, ()>,
    press: &'a Signal<NoopRawMutex, bool>,
}

fn digits(number: u32) -> String<6> {
    let mut text = String::new();
    for place in [100_000, 10_000, 1000, 100, 10, 1] {
        let _ = text.push(char::from(b'0' + (number / place % 10) as u8));
    }
    text
}

impl Wrist for Radio<'_, '_> {
    fn now_s(&self) -> u32 {
        Instant::now().as_secs() as u32
    }

    fn heard(&mut self, _kind: Kind, frame: &Frame) {
        let mut board = self.board.borrow_mut();
        for byte in frame.stuffed() {
            let _ = board.app.byte(byte);
        }
        self.news.signal(());
    }

    fn keep(&mut self, kept: &Kept) {
        let board = &mut *self.board.borrow_mut();
        if let Some(store) = &mut board.bonds {
            // a chip that is worn out must not silence the alarms
            let _ = store.keep(&kept.to_bytes(), board.buffer);
        }
    }

    fn note(&mut self, note: Note) {
        let mut board = self.board.borrow_mut();
        match note {
            Note::Paired(..) | Note::DeskPaired => {
                board.wanted = NOBODY;
                board.asking = false;
            }
            Note::PairingFailed(_) | Note::Linked(..) => board.asking = false,
            _ => {}
        }
        board.told.note(&note);
        self.news.signal(());
    }

    fn wanted(&self) -> (Wanted, Pairing) {
        self.board.borrow().wanted()
    }

    fn start_wanted(&mut self) -> bool {
        false // a session is started by the sensor's own means
    }

    async fn same(&mut self, with: With, number: u32) -> bool {
        let question = match with {
            With::Sensor => "the same on sensor?",
            With::Desk => "the same on phone?",
        };
        self.board.borrow_mut().lines([question, &digits(number), "press: yes  hold: no"]);
        self.press.reset();
        let held = with_timeout(Duration::from_secs(45), self.press.wait()).await;
        self.board.borrow_mut().asking = false;
        self.news.signal(());
        held == Ok(false)
    }

    fn show(&mut self, with: With, number: u32) {
        let what = match with {
            With::Sensor => "type on the sensor",
            With::Desk => "type on the phone",
        };
        self.board.borrow_mut().lines([what, &digits(number), ""]);
    }

    async fn typed(&mut self) -> Option<u32> {
        None // one button: such a sensor is paired by comparing, or not at all
    }

    fn settings(&self, room: &mut [u8; LONGEST]) -> (usize, Option<u32>) {
        let board = self.board.borrow();
        (settings::in_force(&board.app, room).unwrap_or(0), board.app.settings().number)
    }

    fn take(&mut self, message: &[u8]) -> (Taken, Sentence) {
        let board = &mut *self.board.borrow_mut();
        let store = board.settings.as_mut();
        let outcome = settings::take(&mut board.app, message, store, board.state, board.buffer);
        self.news.signal(());
        outcome
    }
}

#[embassy_executor::task]
async fn multiprotocol(mpsl: &'static MultiprotocolServiceLayer<'static>) -> ! {
    mpsl.run().await
}

#[embassy_executor::main]
async fn main(spawner: Spawner) {
    let mut config = embassy_nrf::config::Config::default();
    config.gpiote_interrupt_priority = interrupt::Priority::P2; // the radio's own are above
    config.time_interrupt_priority = interrupt::Priority::P2;
    let p = embassy_nrf::init(config);

    let mut watch = wdt::Config::default();
    watch.timeout_ticks = 32_768 * WATCHDOG_S;
    let Ok((_watchdog, [mut alive])) = Watchdog::try_new(p.WDT, watch) else { halt() };

    let clock = nrf_mpsl::raw::mpsl_clock_lfclk_cfg_t {
        source: nrf_mpsl::raw::MPSL_CLOCK_LF_SRC_XTAL as u8,
        rc_ctiv: 0,
        rc_temp_ctiv: 0,
        accuracy_ppm: 50,
        skip_wait_lfclk_started: false,
    };
    static SESSION: StaticCell<SessionMem<1>> = StaticCell::new();
    static MPSL: StaticCell<MultiprotocolServiceLayer<'static>> = StaticCell::new();
    let peripherals =
        nrf_mpsl::Peripherals::new(p.RTC0, p.TIMER0, p.TEMP, p.PPI_CH19, p.PPI_CH30, p.PPI_CH31);
    let session = SESSION.init(SessionMem::new());
    let Ok(mpsl) = MultiprotocolServiceLayer::with_timeslots(peripherals, Irqs, clock, session) else {
        halt()
    };
    let mpsl: &'static MultiprotocolServiceLayer<'static> = MPSL.init(mpsl);
    let Ok(task) = multiprotocol(mpsl) else { halt() };
    spawner.spawn(task);

    static RANDOM: StaticCell<Rng<'static, embassy_nrf::mode::Async>> = StaticCell::new();
    static MEMORY: StaticCell<nrf_sdc::Mem<CONTROLLER>> = StaticCell::new();
    let random = RANDOM.init(Rng::new(p.RNG, Irqs));
    let peripherals = nrf_sdc::Peripherals::new(
        p.PPI_CH17, p.PPI_CH18, p.PPI_CH20, p.PPI_CH21, p.PPI_CH22, p.PPI_CH23, p.PPI_CH24, p.PPI_CH25,
        p.PPI_CH26, p.PPI_CH27, p.PPI_CH28, p.PPI_CH29,
    );
    let Some(controller) = controller(peripherals, random, mpsl, MEMORY.init(nrf_sdc::Mem::new())) else {
        halt()
    };

    static CHIP: StaticCell<RefCell<Flash<'static>>> = StaticCell::new();
    static BUFFER: StaticCell<store::Buffer> = StaticCell::new();
    static STATE: StaticCell<[u8; KEPT]> = StaticCell::new();
    static LINE: StaticCell<[u8; 256]> = StaticCell::new();
    let chip = &*CHIP.init(RefCell::new(Flash::take(mpsl, p.NVMC)));
    let buffer = BUFFER.init(store::buffer());
    let mut states = Store::open(Chip(chip), STATES, buffer);
    let mut bonds = Store::open(Chip(chip), BONDS, buffer);
    let mut settings = Store::open(Chip(chip), SETTINGS, buffer);

    // settings of another version in the chip: those as built hold, as one who reads them back is told
    let begun = settings::begin(Settings::default(), settings.as_mut(), buffer);
    let Ok((mut app, _)): Result<(App, _), _> = begun else { halt() };
    if let Some(kept) = states.as_mut().and_then(|store| store.newest(buffer)) {
        let _ = app.restore(kept); // of another version: begins anew
    }
    let kept = bonds.as_mut().and_then(|store| Kept::from_bytes(store.newest(buffer)?));

    let mut bus = twim::Config::default();
    bus.frequency = twim::Frequency::K400;
    let bus = Twim::new(p.TWISPI0, Irqs, p.P0_26, p.P0_27, bus, LINE.init([0; 256]));
    let mut display =
        Ssd1306::new(I2CDisplayInterface::new(bus), DisplaySize128x64, DisplayRotation::Rotate0)
            .into_buffered_graphics_mode();
    let _ = display.init(); // a display that does not answer must not silence the alarms
    let mut button = Input::new(p.P0_11, Pull::Up);
    let mut motor = Output::new(p.P0_13, Level::Low, OutputDrive::Standard);

    let mut board = Board {
        app,
        display,
        states,
        bonds,
        settings,
        buffer,
        state: STATE.init([0; KEPT]),
        wanted: NOBODY,
        open_until: Instant::now(),
        asking: false,
        told: Told::new(&kept.unwrap_or_default()),
    };
    if button.is_low() {
        board.wanted = held(&mut board, &mut button, &mut alive).await;
        board.open_until = Instant::now() + OPEN;
        board.asking = false;
    }
    let board = RefCell::new(board);
    let (news, press) = (Signal::new(), Signal::new());

    static RESOURCES: StaticCell<HostResources<Pool, 2, 2>> = StaticCell::new();
    let resources = RESOURCES.init(HostResources::new());
    let doors = Doors::new();
    let stack = trouble_host::new(Guard { controller, doors: &doors }, resources)
        .set_io_capabilities(IoCapabilities::DisplayYesNo)
        .set_random_address(own_address())
        .build();
    let seen = Seen::new();
    let known = Known::new(kept.unwrap_or_default());
    let mut collectors = Collectors::new(&known);
    let [mut radio, mut desk] = [(); 2].map(|()| Radio { board: &board, news: &news, press: &press });
    let mut runner = stack.runner();
    let host = async {
        // a host that has ended is of no use: the watchdog begins anew
        let _ = runner.run_with_handler(&seen).await;
        halt()
    };
    let collecting = collect(&stack, &seen, &mut collectors, &mut radio, Pace::default());
    let serving = serve(&stack, &doors, &known, &mut desk, Pace::default());
    let wearer = live(&board, &news, &press, &mut button, &mut motor, &mut alive);
    join4(host, collecting, serving, wearer).await;
}

/// The controller: a link to the sensor, as central, and one of the phone or desk, as peripheral.
fn controller(
    peripherals: nrf_sdc::Peripherals<'static>,
    random: &'static mut Rng<'static, embassy_nrf::mode::Async>,
    mpsl: &'static MultiprotocolServiceLayer<'static>,
    memory: &'static mut nrf_sdc::Mem<CONTROLLER>,
) -> Option<SoftdeviceController<'static>> {
    let builder = nrf_sdc::Builder::new().ok()?.support_scan().support_central().support_le_privacy();
    let builder = builder.support_adv().support_peripheral().peripheral_count(1).ok()?;
    let builder = builder.central_count(1).ok()?.buffer_cfg(27, 251, 3, 6).ok()?;
    builder.build(peripherals, random, mpsl, memory).ok()
}

/// A random static address, from the number that each chip bears.
fn own_address() -> Address {
    let number = embassy_nrf::pac::FICR;
    let [low, high] = [0, 1].map(|word| number.deviceaddr(word).read().to_le_bytes());
    let [a, b, c, d] = low;
    let [e, f, ..] = high;
    Address::random([a, b, c, d, e, f | 0xC0])
}

/// How long the button is held at power-on, and what that asks for.
async fn held(
    board: &mut Board<'_>,
    button: &mut Input<'_>,
    alive: &mut wdt::WatchdogHandle,
) -> (Wanted, Pairing) {
    let since = Instant::now();
    let mut wanted = NOBODY;
    while button.is_low() {
        alive.pet();
        let now = asked(since.elapsed().as_secs() as u32);
        if now != wanted {
            wanted = now;
            board.lines(match wanted {
                (Wanted::New(_), Pairing::WithDigits) => {
                    ["let go to pair a", "new sensor", "with six digits"]
                }
                (Wanted::Again(_), Pairing::WithDigits) => {
                    ["its key is lost:", "same sensor", "with six digits"]
                }
                (Wanted::Desk, _) => ["let go to pair a", "phone", "to change settings"],
                (Wanted::New(_), _) => ["UNSAFE: no digits.", "new sensor", "or who poses as one"],
                (Wanted::Again(_), _) => ["UNSAFE: no digits.", "same one", "or who poses as it"],
                (Wanted::Nobody, _) => ["let go for", "nothing", ""],
            });
        }
        Timer::after_millis(50).await;
    }
    wanted
}

/// The wearer's side: time, button, motor, picture, states.
async fn live(
    board: &RefCell<Board<'_>>,
    news: &Signal<NoopRawMutex, ()>,
    press: &Signal<NoopRawMutex, bool>,
    button: &mut Input<'_>,
    motor: &mut Output<'_>,
    alive: &mut wdt::WatchdogHandle,
) {
    let mut down_since: Option<Instant> = None;
    loop {
        alive.pet();
        let soon = {
            let board = &mut *board.borrow_mut();
            let down = button.is_low();
            // while digits are shown a press answers them, and nothing else
            let mut answering = board.asking;
            match (down, down_since) {
                (true, None) => down_since = Some(Instant::now()),
                (false, Some(since)) => {
                    down_since = None;
                    if board.asking {
                        press.signal(since.elapsed() >= Duration::from_secs(1));
                        answering = true;
                    }
                }
                _ => {}
            }
            board.app.unheard(board.told.now(board.wanted()));
            let wants = board.app.tick(Instant::now().as_millis() as u32, down && !answering);
            motor.set_level(wants.motor.into());
            if wants.save
                && let Some(store) = &mut board.states
                && let Ok(length) = board.app.save(board.state)
            {
                let _ = store.keep(board.state.get(..length).unwrap_or_default(), board.buffer);
            }
            if wants.redraw && !board.asking {
                let _ = wrist::screen::draw(&board.app.face(), board.app.page(), &mut board.display);
                let _ = board.display.flush();
            }
            wants.soon || down
        };
        if soon {
            Timer::after_millis(10).await;
        } else {
            let wait = select(Timer::after_secs(1), news.wait());
            let _ = select(wait, button.wait_for_low()).await;
        }
    }
}

/// The watchdog begins anew.
fn halt() -> ! {
    cortex_m::peripheral::SCB::sys_reset()
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo) -> ! {
    halt()
}
