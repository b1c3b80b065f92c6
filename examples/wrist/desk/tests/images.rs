//! Sizes of the linked images, and what must not be in them. Built by `ci.sh`, as the emulated tests' images are.

use std::path::PathBuf;
use wrist_desk::image::{forbidden, sizes};

fn image(target: &str, name: &str) -> Option<Vec<u8>> {
    let Some(folder) = std::env::var_os("WRIST_EMULATED") else {
        eprintln!("skipped: WRIST_EMULATED is not set (ci.sh sets it)");
        return None;
    };
    Some(std::fs::read(PathBuf::from(folder).join(target).join("release").join(name)).unwrap())
}

#[test]
fn the_library_alone_cannot_panic_and_is_small() {
    for (target, most) in [
        ("thumbv6m-none-eabi", 32 * 1024),
        ("thumbv7m-none-eabi", 32 * 1024),
        ("thumbv7em-none-eabihf", 32 * 1024),
        ("riscv32imc-unknown-none-elf", 40 * 1024),
    ] {
        let Some(elf) = image(target, "silent") else { return };
        let flash = sizes(&elf).unwrap().flash;
        println!("{target}: the library's share of flash, start-up included: {flash} bytes");
        assert!(flash < most, "{target}: {flash}");
        assert_eq!(forbidden(&elf).unwrap(), Vec::<String>::new(), "{target}");
    }
}

#[test]
fn the_gate_sees_a_panic_where_there_is_one() {
    let Some(elf) = image("thumbv6m-none-eabi", "columns") else { return };
    assert!(forbidden(&elf).unwrap().iter().any(|name| name.contains("panic")));
}

#[test]
fn the_pico_has_room() {
    let Some(elf) = image("thumbv6m-none-eabi", "wrist-pico") else { return };
    let sizes = sizes(&elf).unwrap();
    println!("wrist-pico: flash {} bytes, variables {} bytes", sizes.flash, sizes.ram);
    assert!(sizes.flash < 112 * 1024 && sizes.ram < 16 * 1024, "{sizes:?}");
}

#[test]
fn a_day_fits_in_four_kibibytes() {
    let monitor = size_of::<glidepath::Monitor<{ wrist::app::READINGS }>>();
    println!("the monitor with a day of readings: {monitor} bytes on this machine");
    assert!(monitor <= 5 * 1024, "{monitor}");
}
