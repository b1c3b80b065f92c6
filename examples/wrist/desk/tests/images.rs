//! Sizes of the linked images, and what must not be in them. Built by `ci.sh`, as the emulated tests' images are.

use std::path::PathBuf;
use wrist_desk::image::{forbidden, sizes, variable};

fn image(target: &str, name: &str) -> Option<Vec<u8>> {
    let Some(folder) = std::env::var_os("WRIST_EMULATED") else {
        eprintln!("skipped: WRIST_EMULATED is not set (ci.sh sets it)");
        return None;
    };
    Some(std::fs::read(PathBuf::from(folder).join(target).join("release").join(name)).unwrap())
}

/// The bound is 30 KiB of flash and 4.6 kB of memory with a day of readings.
#[test]
fn the_library_alone_cannot_panic_and_is_small() {
    for (target, most) in [
        ("thumbv6m-none-eabi", 30 * 1024),
        ("thumbv7m-none-eabi", 30 * 1024),
        ("thumbv7em-none-eabihf", 30 * 1024),
        // without the compact instructions that Arm has
        ("riscv32imc-unknown-none-elf", 36 * 1024),
    ] {
        let Some(elf) = image(target, "silent") else { return };
        let (flash, ram) = (sizes(&elf).unwrap().flash, variable(&elf, "MONITOR").unwrap());
        println!(
            "{target}: the library's share, start-up included: {flash} bytes of flash, {ram} bytes of RAM with a day of \
             readings"
        );
        assert!(flash <= most && ram <= 4600, "{target}: {flash}, {ram}");
        assert_eq!(forbidden(&elf).unwrap(), Vec::<String>::new(), "{target}");
    }
}

/// Two sensors: the bound is 40 KiB of flash, and 1.7 times the memory of one with a day of readings of each.
#[test]
fn two_sensors_cannot_panic_and_take_little_more() {
    let target = "thumbv6m-none-eabi";
    let (Some(pair), Some(one)) = (image(target, "pair"), image(target, "silent")) else { return };
    let flash = [&pair, &one].map(|elf| sizes(elf).unwrap().flash);
    let ram = [&pair, &one].map(|elf| variable(elf, "MONITOR").unwrap());
    println!(
        "{target}: two sensors, start-up included: {} bytes of flash ({} more than one), {} bytes of RAM with a day of \
         readings of each: {:.3} times those of one",
        flash[0],
        flash[0] - flash[1],
        ram[0],
        ram[0] as f64 / ram[1] as f64
    );
    assert!(flash[0] <= 40 * 1024 && 10 * ram[0] <= 17 * ram[1], "{flash:?}, {ram:?}");
    assert_eq!(forbidden(&pair).unwrap(), Vec::<String>::new());
}

/// The bound is 20 kB of flash.
#[test]
fn trend_and_low_ahead_alone_are_smaller() {
    for (target, most) in [("thumbv6m-none-eabi", 20_000), ("riscv32imc-unknown-none-elf", 24_000)] {
        let Some(elf) = image(target, "brief") else { return };
        let (flash, ram) = (sizes(&elf).unwrap().flash, variable(&elf, "MONITOR").unwrap());
        println!(
            "{target}: trend and low ahead alone, start-up included: {flash} bytes of flash, {ram} bytes of RAM"
        );
        assert!(flash <= most && ram <= 560, "{target}: {flash}, {ram}");
        assert_eq!(forbidden(&elf).unwrap(), Vec::<String>::new(), "{target}");
    }
}

/// The bound is 6 kB of flash for saving and restoring together, beside the library's own of 30 KiB.
#[test]
fn saving_and_restoring_cannot_panic_and_are_small() {
    let target = "thumbv6m-none-eabi";
    let (Some(with), Some(without)) = (image(target, "kept"), image(target, "silent")) else { return };
    let with_it = sizes(&with).unwrap().flash;
    let flash = with_it - sizes(&without).unwrap().flash;
    let room = variable(&with, "SNAPSHOT").unwrap();
    println!(
        "{target}: saving and restoring: {flash} bytes of flash; a snapshot of a day has room in {room}"
    );
    assert!(with_it <= 30 * 1024 + 6000 && flash <= 6100 && room <= 2752, "{with_it}, {flash}, {room}");
    assert_eq!(forbidden(&with).unwrap(), Vec::<String>::new());
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
    assert!(sizes.flash <= 104 * 1024 && sizes.ram <= 6 * 1024, "{sizes:?}");
    let sizes = wrist_desk::image::sizes(&image("thumbv6m-none-eabi", "wrist-pico-pair").unwrap()).unwrap();
    println!("wrist-pico-pair: flash {} bytes, variables {} bytes", sizes.flash, sizes.ram);
    assert!(sizes.flash <= 116 * 1024 && sizes.ram <= 8 * 1024, "{sizes:?}");
}
