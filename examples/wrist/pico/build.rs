//! The RP2040's memory for the linker.

use std::{env, fs, path::Path};

const MEMORY: &str = "
MEMORY {
    BOOT2 : ORIGIN = 0x10000000, LENGTH = 0x100
    /* the last 80 KiB of 2 MiB keep state and settings */
    FLASH : ORIGIN = 0x10000100, LENGTH = 2048K - 80K - 0x100
    RAM : ORIGIN = 0x20000000, LENGTH = 256K
}
EXTERN(BOOT2_FIRMWARE)
SECTIONS {
    .boot2 ORIGIN(BOOT2) : { KEEP(*(.boot2)); } > BOOT2
} INSERT BEFORE .text;
";

fn main() {
    if !env::var("TARGET").unwrap().starts_with("thumbv6m") {
        return; // the desk: nothing to link
    }
    let out = env::var("OUT_DIR").unwrap();
    fs::write(Path::new(&out).join("memory.x"), MEMORY).unwrap();
    println!("cargo:rustc-link-search={out}");
    println!("cargo:rustc-link-arg-bins=--nmagic");
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    if env::var_os("CARGO_FEATURE_DEFMT").is_some() {
        println!("cargo:rustc-link-arg-bins=-Tdefmt.x");
    }
    println!("cargo:rerun-if-changed=build.rs");
}
