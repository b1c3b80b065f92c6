//! The memory map of one emulated board for each instruction set.

use std::{env, fs, path::Path};

fn main() {
    let target = env::var("TARGET").unwrap();
    let memory = if target.starts_with("thumb") {
        // mps2-an386, a Cortex-M4F: it runs the older instruction sets too
        "FLASH : ORIGIN = 0, LENGTH = 4M\n RAM : ORIGIN = 0x20000000, LENGTH = 4M"
    } else if target.starts_with("riscv32") {
        "RAM : ORIGIN = 0x80000000, LENGTH = 16M" // virt
    } else {
        if target.starts_with("wasm32") {
            println!("cargo:rustc-link-arg=-zstack-size=4194304"); // the grid of every value is for desks
        }
        return;
    };
    let regions = if target.starts_with("riscv32") {
        ["TEXT", "RODATA", "DATA", "BSS", "HEAP", "STACK"]
            .map(|r| format!("REGION_ALIAS(\"REGION_{r}\", RAM);\n"))
            .concat()
    } else {
        String::new()
    };
    let out = env::var("OUT_DIR").unwrap();
    fs::write(Path::new(&out).join("memory.x"), format!("MEMORY {{\n {memory}\n}}\n{regions}")).unwrap();
    println!("cargo:rustc-link-search={out}");
    println!("cargo:rustc-link-arg-bins={}", if regions.is_empty() { "--nmagic" } else { "-Tmemory.x" });
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
}
