//! One board for each target; its memory map for the linker.

use std::{env, fs, path::Path};

fn main() {
    let target = env::var("TARGET").unwrap();
    let memory = match target.split('-').next().unwrap() {
        // microbit, Cortex-M0: the instruction set of the M0+
        "thumbv6m" => "FLASH : ORIGIN = 0, LENGTH = 256K\n RAM : ORIGIN = 0x20000000, LENGTH = 16K",
        // lm3s6965evb, Cortex-M3
        "thumbv7m" => "FLASH : ORIGIN = 0, LENGTH = 256K\n RAM : ORIGIN = 0x20000000, LENGTH = 64K",
        // mps2-an386, Cortex-M4 with its floating point unit
        "thumbv7em" => "FLASH : ORIGIN = 0, LENGTH = 4M\n RAM : ORIGIN = 0x20000000, LENGTH = 4M",
        // virt, RV32
        "riscv32imc" => "RAM : ORIGIN = 0x80000000, LENGTH = 16M",
        _ => return, // the desk: nothing to link
    };
    let regions = if target.starts_with("riscv") {
        ["TEXT", "RODATA", "DATA", "BSS", "HEAP", "STACK"]
            .map(|r| format!("REGION_ALIAS(\"REGION_{r}\", RAM);\n"))
            .concat()
    } else {
        String::new()
    };
    let out = env::var("OUT_DIR").unwrap();
    fs::write(Path::new(&out).join("memory.x"), format!("MEMORY {{\n {memory}\n}}\n{regions}")).unwrap();
    println!("cargo:rustc-link-search={out}");
    if target.starts_with("riscv") {
        println!("cargo:rustc-link-arg-bins=-Tmemory.x");
    } else {
        println!("cargo:rustc-link-arg-bins=--nmagic");
    }
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
}
