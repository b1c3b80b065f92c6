//! The application on the lm3s6965evb and its display: replays the day up to the minute given as argument,
//! draws, says so, and waits for its picture to be taken.

#![no_std]
#![no_main]

#[cfg(target_arch = "arm")]
mod board {
    use core::ptr::{read_volatile, write_volatile};
    use embedded_graphics::framebuffer::{Framebuffer, buffer_size};
    use embedded_graphics::pixelcolor::{
        Gray4,
        raw::{BigEndian, RawU4},
    };
    use glidepath::Settings;
    use semihosting::{experimental::env, println, process::exit};
    use wrist::app::App;
    use wrist::columns::Records;

    type Picture = Framebuffer<Gray4, RawU4, BigEndian, 128, 64, { buffer_size::<Gray4>(128, 64) }>;

    // LM3S6965 data sheet: system control, port C, SSI0
    const CLOCK_SSI: *mut u32 = 0x400F_E104 as *mut u32;
    const CLOCK_PORTS: *mut u32 = 0x400F_E108 as *mut u32;
    const PORT_C_PIN_7: *mut u32 = 0x4000_6200 as *mut u32;
    const PORT_C_DIRECTION: *mut u32 = 0x4000_6400 as *mut u32;
    const PORT_C_DIGITAL: *mut u32 = 0x4000_651C as *mut u32;
    const SSI_CONTROL_0: *mut u32 = 0x4000_8000 as *mut u32;
    const SSI_CONTROL_1: *mut u32 = 0x4000_8004 as *mut u32;
    const SSI_DATA: *mut u32 = 0x4000_8008 as *mut u32;
    const SSI_STATUS: *mut u32 = 0x4000_800C as *mut u32;
    const SSI_PRESCALE: *mut u32 = 0x4000_8010 as *mut u32;

    fn write(register: *mut u32, value: u32) {
        // SAFETY: a register of this part, used by this program alone
        unsafe { write_volatile(register, value) }
    }

    fn read(register: *mut u32) -> u32 {
        // SAFETY: as above
        unsafe { read_volatile(register) }
    }

    /// An SSD0323: commands and data by the level of PC7.
    struct Display;

    impl Display {
        fn new() -> Self {
            write(CLOCK_SSI, 1 << 4);
            write(CLOCK_PORTS, 1 << 2);
            write(PORT_C_DIRECTION, 1 << 7);
            write(PORT_C_DIGITAL, 1 << 7);
            write(SSI_PRESCALE, 4);
            write(SSI_CONTROL_0, 7); // eight bits
            write(SSI_CONTROL_1, 2); // on, master
            Self
        }

        fn send(&mut self, data: bool, bytes: &[u8]) {
            write(PORT_C_PIN_7, if data { 1 << 7 } else { 0 });
            for byte in bytes {
                write(SSI_DATA, u32::from(*byte));
                while read(SSI_STATUS) & 0x10 != 0 {}
                while read(SSI_STATUS) & 0x04 != 0 {
                    read(SSI_DATA); // every byte sent brings one in
                }
            }
        }

        fn show(&mut self, picture: &Picture) {
            // columns 0 to 63 of two pixels, rows 0 to 63, on
            self.send(false, &[0x15, 0, 63, 0x75, 0, 63, 0xA0, 0, 0xAF]);
            self.send(true, picture.data());
        }
    }

    #[cortex_m_rt::entry]
    fn main() -> ! {
        let args = env::args::<64>().unwrap();
        let last: u16 =
            args.last().and_then(Result::ok).and_then(|word| word.parse().ok()).unwrap_or(u16::MAX);
        let Ok(mut app) = App::new(Settings::default()) else { exit(1) };
        app.battery(80);
        let mut records = Records(wrist_qemu::DAY).peekable();
        for now in 0..=last {
            let ms = (u32::from(now) * 60_000).max(1000); // on before the first frame, as the Pico is in its emulator
            app.tick(ms, false);
            while let Some((_, bytes)) = records.next_if(|(due, _)| *due <= now) {
                bytes.iter().for_each(|byte| _ = app.byte(*byte));
                app.tick(ms, false);
            }
            if records.peek().is_none() {
                break;
            }
        }
        let mut picture = Picture::new();
        let _ = wrist::screen::draw(&app.face(), app.page(), &mut picture);
        Display::new().show(&picture);
        println!("drawn");
        loop {
            core::hint::spin_loop();
        }
    }
}

#[cfg(not(target_arch = "arm"))]
mod board {
    #[riscv_rt::entry]
    fn main() -> ! {
        semihosting::process::exit(1) // this board has no display
    }
}
