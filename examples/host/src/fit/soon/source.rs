//! The table as the library's source holds it.

use std::fmt::Write as _;

use glidepath::forecast::fitting::Table;

/// What `src/live/forecast/people.rs` holds.
pub fn source(table: &Table) -> String {
    let mut out = String::from(
        "//! The numbers fitted to people, as `glidepath fit` prints them: not to be changed by hand.\n//!\n\
         //! To 22 people with type 1 diabetes of four published sets, a reading every 5 minutes, the truth a later\n\
         //! reading: Khamesian et al. (2025), 10.17632/gk9m674wcx.1; Quamer et al. (2025), Sci Data 12:1822;\n\
         //! Alsuhaymi et al. (2025), Sci Data 12:1379; James et al. (2025), 10.5523/bris.33z5jc8fa6tob21ptrugzqog08.\n\n\
         use super::table::Table;\n\n#[rustfmt::skip]\nimpl Table {\n    \
         /// What is so in people.\n    pub const PEOPLE: Self = Self {\n",
    );
    block(&mut out, "change", &table.change);
    line(&mut out, "metric", &table.metric);
    line(&mut out, "carry", &table.carry);
    block(&mut out, "spread", &table.spread);
    line(&mut out, "tails", &table.tails);
    let _ = writeln!(out, "        mean_off: {:.4},", table.mean_off);
    line(&mut out, "wider", &table.wider);
    block(&mut out, "gets_low", &table.gets_low);
    block(&mut out, "stays_low", &table.stays_low);
    out += "    };\n}\n";
    out
}

fn numbers(row: &[f32]) -> String {
    row.iter().map(|number| format!("{number:.4}")).collect::<Vec<_>>().join(", ")
}

fn line(out: &mut String, name: &str, row: &[f32]) {
    let _ = writeln!(out, "        {name}: [{}],", numbers(row));
}

fn block<const N: usize>(out: &mut String, name: &str, rows: &[[f32; N]]) {
    let _ = writeln!(out, "        {name}: [");
    for row in rows {
        let _ = writeln!(out, "            [{}],", numbers(row));
    }
    *out += "        ],\n";
}
