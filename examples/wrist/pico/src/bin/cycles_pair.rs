//! Pushes the day's readings through a monitor of two sensors, the second some mg/dL lower and at times far off; GP16 is high while it
//! is at work.

#![no_std]
#![no_main]

use embedded_hal::digital::OutputPin;
use glidepath::{Glucose, Instant, PairMonitor, Reading, Settings, Side};
use rp2040_hal::gpio::Pins;
use rp2040_hal::{Sio, pac};
use wrist::app::{READINGS, range};
use wrist::columns::Records;
use wrist::link::{Frame, Receiver};
use wrist_pico as _; // the boot stage and the panic handler

static DAY: &[u8] = include_bytes!("../../../golden/day.frames");

#[rp2040_hal::entry]
fn main() -> ! {
    let Some(mut pac) = pac::Peripherals::take() else { halt() };
    let sio = Sio::new(pac.SIO);
    let pins = Pins::new(pac.IO_BANK0, pac.PADS_BANK0, sio.gpio_bank0, &mut pac.RESETS);
    let mut busy = pins.gpio16.into_push_pull_output();
    let monitor = PairMonitor::<READINGS>::new(Settings::default(), Settings::default());
    let Ok(mut monitor) = monitor else { halt() };
    let (mut receiver, mut start) = (Receiver::new(), Instant::from_secs(0));
    for (minute, bytes) in Records(DAY) {
        for frame in bytes.iter().filter_map(|byte| receiver.byte(*byte)).flatten() {
            match frame {
                Frame::Start(session) => start = session.local().instant().unwrap_or(start),
                Frame::Meter(result) => {
                    if let Some(stick) = result.fingerstick() {
                        let _ = monitor.fingerstick(&stick);
                    }
                }
                Frame::Measurement(record) => {
                    if let Some(reading) = record.reading(start, range()) {
                        let far = if minute % 400 < 60 { 0.7 } else { 1.0 };
                        let Ok(other) = Glucose::from_mg_dl(far * reading.glucose().mg_dl() - 4.0) else {
                            halt()
                        };
                        for (side, value) in [(Side::First, reading.glucose()), (Side::Second, other)] {
                            let reading = Reading::new(reading.at(), value);
                            let _ = busy.set_high();
                            let view = monitor.push(side, &reading);
                            let _ = busy.set_low();
                            let _ = core::hint::black_box(view);
                        }
                    }
                }
                Frame::Time(_) | Frame::Status(_) | Frame::WhichSettings | Frame::Settings => {}
            }
        }
    }
    halt()
}

/// The end, for the emulator to see.
fn halt() -> ! {
    loop {
        cortex_m::asm::bkpt();
    }
}
