//! The wrist on a Raspberry Pi Pico, for what is worn. Wiring: see the README.

use crate::flash::{self, Flash};
use core::cell::RefCell;
use critical_section::Mutex;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal_0_2::adc::OneShot;
use fugit::{ExtU32, RateExtU32};
use glidepath::Settings;
use heapless::Deque;
use rp2040_hal::clocks::{Clock, ClockSource, ClocksManager};
use rp2040_hal::gpio::{FunctionI2C, FunctionUart, Interrupt, Pins, PullUp};
use rp2040_hal::pac::{self, interrupt};
use rp2040_hal::timer::{Alarm, Timer};
use rp2040_hal::uart::{DataBits, Enabled, StopBits, UartConfig, UartPeripheral, ValidUartPinout};
use rp2040_hal::{I2C, Sio, Watchdog, adc, xosc};
use ssd1306::mode::DisplayConfig;
use ssd1306::{I2CDisplayInterface, Ssd1306, rotation::DisplayRotation, size::DisplaySize128x64};
use wrist::app::Wrist;
use wrist::settings;
use wrist::store::Store;
use wrist::worn::Worn;

#[cfg(feature = "defmt")]
use defmt_rtt as _;

/// Bytes received and not yet read.
static RECEIVED: Mutex<RefCell<Deque<u8, 256>>> = Mutex::new(RefCell::new(Deque::new()));

/// Never ends. `state` and `buffer` have room for what is kept.
pub fn run<M: Worn>(state: &mut [u8], buffer: &mut [u8]) -> ! {
    // each is taken once, here
    let (Some(mut pac), Some(_core)) = (pac::Peripherals::take(), pac::CorePeripherals::take()) else {
        halt()
    };
    let mut watchdog = Watchdog::new(pac.WATCHDOG);
    let Ok(crystal) = xosc::setup_xosc_blocking(pac.XOSC, crate::CRYSTAL_HZ.Hz()) else { halt() };
    watchdog.enable_tick_generation((crate::CRYSTAL_HZ / 1_000_000) as u8);
    let mut clocks = ClocksManager::new(pac.CLOCKS);
    let frequency = crystal.get_freq();
    let set = clocks
        .reference_clock
        .configure_clock(&crystal, frequency)
        .and_then(|()| clocks.system_clock.configure_clock(&clocks.reference_clock, frequency))
        .and_then(|()| clocks.peripheral_clock.configure_clock(&clocks.system_clock, frequency))
        .and_then(|()| clocks.adc_clock.configure_clock(&crystal, frequency));
    if set.is_err() {
        halt();
    }

    let mut timer = Timer::new(pac.TIMER, &mut pac.RESETS, &clocks);
    let sio = Sio::new(pac.SIO);
    let pins = Pins::new(pac.IO_BANK0, pac.PADS_BANK0, sio.gpio_bank0, &mut pac.RESETS);

    let line = (
        pins.gpio0.into_function::<FunctionUart>(),
        pins.gpio1.into_function::<FunctionUart>(),
        // "clear to send" is not wired; "ready to send" holds the sender while the flash is written
        pins.gpio3.into_function::<FunctionUart>(),
    );
    let line = rp2040_hal::uart::Pins::default().tx(line.0).rx(line.1).rts(line.2);
    let uart = UartPeripheral::new(pac.UART0, line, &mut pac.RESETS).enable(
        UartConfig::new(9600.Hz(), DataBits::Eight, None, StopBits::One),
        clocks.peripheral_clock.freq(),
    );
    let Ok(mut uart) = uart else { halt() };
    uart.enable_rx_interrupt();

    let i2c = I2C::i2c0(
        pac.I2C0,
        pins.gpio4.reconfigure::<FunctionI2C, PullUp>(),
        pins.gpio5.reconfigure::<FunctionI2C, PullUp>(),
        400.kHz(),
        &mut pac.RESETS,
        &clocks.system_clock,
    );
    let mut display =
        Ssd1306::new(I2CDisplayInterface::new(i2c), DisplaySize128x64, DisplayRotation::Rotate0)
            .into_buffered_graphics_mode();
    let _ = display.init(); // a display that does not answer must not silence the alarms

    let mut motor = pins.gpio15.into_push_pull_output();
    let mut button = pins.gpio14.into_pull_up_input();
    button.set_interrupt_enabled(Interrupt::EdgeLow, true);

    let mut adc = adc::Adc::new(pac.ADC, &mut pac.RESETS);
    let Ok(mut supply) = adc::AdcPin::new(pins.gpio29.into_floating_input()) else { halt() };

    let Some(mut alarm) = timer.alarm_0() else { halt() };
    alarm.enable_interrupt();
    // SAFETY: the handlers below touch only what is behind a critical section, and their own peripheral
    unsafe {
        pac::NVIC::unmask(pac::Interrupt::UART0_IRQ);
        pac::NVIC::unmask(pac::Interrupt::TIMER_IRQ_0);
        pac::NVIC::unmask(pac::Interrupt::IO_IRQ_BANK0);
    }
    watchdog.start(4.secs());

    // SAFETY: once, and the second core sleeps
    let [states, kept] = unsafe { Flash::both() };
    let mut store = Store::open(states, flash::STATES, buffer);
    let mut kept_settings = Store::open(kept, flash::SETTINGS, buffer);
    let mut begun: Result<(Wrist<M>, _), _> =
        settings::begin(Settings::default(), kept_settings.as_mut(), buffer);
    // where it is: a move would take its room a second time
    let Ok((app, told)) = &mut begun else { halt() };
    if let Some(words) = told {
        tell(&mut uart, words);
    }
    if let Some(kept) = store.as_mut().and_then(|store| store.newest(buffer)) {
        let _ = app.restore(kept); // of another version: begins anew
    }
    let (mut last, mut clock_ms, mut battery_in) = (timer.get_counter_low(), Milliseconds::default(), 0_u32);
    loop {
        watchdog.feed();
        let now = timer.get_counter_low();
        clock_ms.add(now.wrapping_sub(last));
        last = now;
        let now_ms = clock_ms.whole;
        if now_ms.wrapping_sub(battery_in) < u32::MAX / 2 {
            battery_in = now_ms.wrapping_add(60_000);
            if let Ok(counts) = adc.read(&mut supply) {
                app.battery(charge_percent(counts));
            }
        }
        // one frame at most: a line that is never quiet must not keep the loop from the watchdog
        while let Some(byte) = critical_section::with(|cs| RECEIVED.borrow_ref_mut(cs).pop_front()) {
            uart.enable_rx_interrupt(); // its handler turns it off when there is no room
            if let Some(_outcome) = app.byte(byte) {
                #[cfg(feature = "defmt")]
                match _outcome {
                    Ok(_) => defmt::debug!("a frame"),
                    Err(error) => defmt::warn!("{}", error),
                }
                break;
            }
        }
        let wants = app.tick(now_ms, button.is_low().unwrap_or(false));
        let _ = motor.set_state(wants.motor.into());
        if let Some(words) = wants.say {
            #[cfg(feature = "defmt")]
            defmt::info!("{}", words.as_str());
            tell(&mut uart, &words);
        }
        if wants.settings
            && let Some(words) = settings::keep(app, kept_settings.as_mut(), state, buffer)
        {
            tell(&mut uart, &words);
        }
        if wants.save
            && let Some(store) = &mut store
            && let Ok(length) = app.save(state)
        {
            // a chip that is worn out must not silence the alarms
            let _ = store.keep(state.get(..length).unwrap_or_default(), buffer);
        }
        if wants.redraw {
            let _ = wrist::screen::draw(&app.face(), app.page(), &mut display);
            let _ = display.flush();
        }
        let _ = alarm.schedule(if wants.soon { 10.millis() } else { 1.secs() });
        // an interrupt that comes before the sleep still ends it: it waits for the end of the section
        critical_section::with(|cs| {
            if RECEIVED.borrow_ref(cs).is_empty() {
                cortex_m::asm::wfi();
            }
        });
    }
}

/// A sentence on the line.
fn tell<P: ValidUartPinout<pac::UART0>>(uart: &mut UartPeripheral<Enabled, pac::UART0, P>, words: &str) {
    uart.write_full_blocking(words.as_bytes());
    uart.write_full_blocking(b"\r\n");
}

/// Milliseconds from a counter of microseconds, across its wrap.
#[derive(Default)]
struct Milliseconds {
    whole: u32,
    rest_us: u32,
}

impl Milliseconds {
    fn add(&mut self, elapsed_us: u32) {
        let us = self.rest_us.saturating_add(elapsed_us);
        self.whole = self.whole.wrapping_add(us / 1000);
        self.rest_us = us % 1000;
    }
}

/// The charge of a lithium cell on VSYS, of which the Pico measures a third against 3.3 V at 12 bits: straight
/// from 3.4 V to 4.1 V, less 0.2 V in a Schottky diode (common practice, no source).
fn charge_percent(counts: u16) -> u8 {
    let millivolts = u32::from(counts) * 9900 / 4096;
    (millivolts.clamp(3200, 3900).saturating_sub(3200) / 7) as u8
}

/// A part that cannot be set up: there is nothing to show, and a restart may help.
pub fn halt() -> ! {
    cortex_m::peripheral::SCB::sys_reset()
}

#[interrupt]
fn UART0_IRQ() {
    // SAFETY: the receive side of this UART is read here alone
    let uart = unsafe { &*pac::UART0::ptr() };
    while uart.uartfr().read().rxfe().bit_is_clear() {
        if critical_section::with(|cs| RECEIVED.borrow_ref(cs).is_full()) {
            // the FIFO fills, and "ready to send" holds the sender
            uart.uartimsc().modify(|_, w| w.rxim().clear_bit().rtim().clear_bit());
            return;
        }
        let data = uart.uartdr().read();
        let broken = data.fe().bit() | data.pe().bit() | data.be().bit();
        // a broken byte spoils its frame, as the checksum will tell
        let byte = if broken { 0xFF } else { data.data().bits() };
        critical_section::with(|cs| _ = RECEIVED.borrow_ref_mut(cs).push_back(byte));
    }
}

#[interrupt]
fn TIMER_IRQ_0() {
    // SAFETY: only the flag of alarm 0 is written, which clears it
    unsafe { &*pac::TIMER::ptr() }.intr().write(|w| w.alarm_0().clear_bit_by_one());
}

#[interrupt]
fn IO_IRQ_BANK0() {
    // SAFETY: only the flag of the button's edge is written, which clears it; GP14 is in the second word
    unsafe { &*pac::IO_BANK0::ptr() }.intr(1).write(|w| w.gpio6_edge_low().clear_bit_by_one());
}
