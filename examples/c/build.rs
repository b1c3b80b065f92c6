//! Turns `layout.def`, which C includes as it stands, into assertions on the Rust types of the same names.

use std::fmt::Write as _;
use std::{env, fs, path::Path};

fn main() {
    println!("cargo:rerun-if-changed=layout.def");
    let wide = env::var("CARGO_CFG_TARGET_POINTER_WIDTH").unwrap() == "64";
    let mut out = String::new();
    for line in fs::read_to_string("layout.def").unwrap().lines() {
        let Some((kind, rest)) = line.split_once('(') else { continue };
        let fields: Vec<&str> = rest.trim_end_matches(')').split(',').map(str::trim).collect();
        let check = match (kind, fields.as_slice()) {
            ("SIZE", [name, bytes]) => format!("size_of::<{name}>() == {bytes}"),
            ("AT", [name, field, bytes]) => format!("core::mem::offset_of!({name}, {field}) == {bytes}"),
            ("NUMBER", [name, number]) => format!("{name} as i64 == {number}"),
            ("OPAQUE", [name, narrow, broad]) => {
                let bytes = if wide { broad } else { narrow };
                format!("crate::memory::fits::<{name}>({bytes})")
            }
            _ => panic!("layout.def: {line}"),
        };
        writeln!(out, "const _: () = assert!({check});").unwrap();
    }
    fs::write(Path::new(&env::var("OUT_DIR").unwrap()).join("layout.rs"), out).unwrap();
}
