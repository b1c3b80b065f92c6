//! `fit` on invented people: it says who they were, gives the library's source, and judges by who was left out.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn glidepath(args: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_glidepath")).args(args).current_dir(folder).output().unwrap()
}

/// Two sets of two people each, ten days of a recent sensor.
fn invented(folder: &Path) {
    for (set, seeds) in [("alder", [11, 12]), ("birch", [13, 14])] {
        fs::create_dir_all(folder.join("sets").join(set)).unwrap();
        for seed in seeds {
            let (file, seed) = (format!("sets/{set}/p{seed}.csv"), seed.to_string());
            let args = ["simulate", "--seed", &seed, "--days", "10", "--out-trace", &file];
            assert!(glidepath(&args, folder).status.success());
        }
    }
}

/// A text with each number replaced by a mark.
fn shape(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '-' | '.' | '0'..='9' if out.ends_with('#') => {}
            '-' | '0'..='9' => out.push('#'),
            c => out.push(c),
        }
    }
    out
}

fn after<'a>(text: &'a str, mark: &str) -> &'a str {
    text.split_once(mark).unwrap_or_else(|| panic!("{mark:?} is not in\n{text}")).1
}

/// The number that follows a mark.
fn number(text: &str, mark: &str) -> f64 {
    let rest = after(text, mark);
    let end = rest.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-')).unwrap_or(rest.len());
    rest[..end].parse().unwrap_or_else(|_| panic!("no number after {mark:?}"))
}

#[test]
fn invented_sets_give_the_library_s_source_and_figures() {
    let folder = tempfile::tempdir().unwrap();
    invented(folder.path());
    let output = glidepath(&["fit", "sets"], folder.path());
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.starts_with("alder: p11, p12\nbirch: p13, p14\n"), "{text}");
    let held = include_str!("../../../src/forecast/people.rs");
    let end = text.find("\nEach set judged").unwrap();
    let printed = after(&text[..end], "src/forecast/people.rs:\n\n").trim_end();
    assert_eq!(shape(printed), shape(held.trim_end()));
    assert!(!printed.contains("NaN") && !printed.contains("inf"));
    assert_ne!(printed, held.trim_end());
    // the simulator's people are foreseen better than by holding, also those left out
    let all = after(&text, "\n  all: ");
    for (mark, most) in [("15 min ", 0.95), ("30 min ", 0.95), ("60 min ", 0.97)] {
        assert!(number(all, mark) < most, "{mark}{}", number(all, mark));
    }
    assert!(number(&text, "not yet low: Brier skill ") > 0.1);
    let held_95 = number(&text, "  30 min: ");
    assert!((90.0..99.0).contains(&held_95), "{held_95}");
    // the same again to the last digit
    assert_eq!(String::from_utf8(glidepath(&["fit", "sets"], folder.path()).stdout).unwrap(), text);
    // the same people as one set leave nobody to judge by
    let alone = glidepath(&["fit", "sets/alder"], folder.path());
    assert!(String::from_utf8(alone.stdout).unwrap().contains("nothing is left out"));
}

#[test]
fn what_cannot_be_fitted_is_refused_in_a_sentence() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("none")).unwrap();
    fs::create_dir(folder.path().join("few")).unwrap();
    fs::write(folder.path().join("few/a.csv"), "time,glucose_mg_dl\n2024-03-01T00:00:00,100\n").unwrap();
    for (args, says) in [
        (vec!["fit", "none"], "expected folders with CSV files"),
        (vec!["fit", "missing"], "expected a folder with traces"),
        (vec!["fit", "few"], "too few readings"),
        (vec!["fit", "few", "--only", "later"], "expected one of soon"),
    ] {
        let output = glidepath(&args, folder.path());
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(told.contains(says) && told.lines().count() == 1, "{told}");
    }
}
