//! The program `glidepath`; all of it is in the library beside.

use std::process::ExitCode;

fn main() -> ExitCode {
    glidepath_host::run()
}
