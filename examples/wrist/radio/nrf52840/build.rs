//! Where flash and memory are. The last 96 KiB of flash are kept states, which the program must not grow into.

use std::path::PathBuf;

const MEMORY: &str = "MEMORY {
    FLASH : ORIGIN = 0x00000000, LENGTH = 1024K - 96K
    RAM : ORIGIN = 0x20000000, LENGTH = 256K
}
";

fn main() {
    let out = PathBuf::from(std::env::var_os("OUT_DIR").unwrap());
    std::fs::write(out.join("memory.x"), MEMORY).unwrap();
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rerun-if-changed=build.rs");
    for argument in ["--nmagic", "-Tlink.x"] {
        println!("cargo:rustc-link-arg-bins={argument}");
    }
}
