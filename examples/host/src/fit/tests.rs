use glidepath::forecast::fitting::Table;

use super::soon;

/// The library holds the numbers in the form in which the fitter prints them.
#[test]
fn the_source_is_as_the_fitter_prints_it() {
    let held = include_str!("../../../../src/live/forecast/people.rs");
    assert_eq!(soon::source(&Table::PEOPLE), held);
}
