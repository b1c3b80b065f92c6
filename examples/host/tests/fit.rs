//! `fit` on invented people: it says who they were, gives the library's source, and judges by who was left out.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn glidepath(args: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_glidepath")).args(args).current_dir(folder).output().unwrap()
}

/// Two sets of two people each, ten days of a recent sensor with four fingersticks a day beside it.
fn invented(folder: &Path) {
    for (set, seeds) in [("alder", [11, 12]), ("birch", [13, 14])] {
        fs::create_dir_all(folder.join("sets").join(set)).unwrap();
        for seed in seeds {
            let file = folder.join(format!("sets/{set}/p{seed}.csv"));
            let (name, seed) = (file.to_str().unwrap(), seed.to_string());
            let sticks = folder.join("sticks.csv");
            let args = [
                "simulate",
                "--seed",
                &seed,
                "--days",
                "10",
                "--fingersticks-per-day",
                "4",
                "--out-trace",
                name,
            ];
            let args = [&args[..], &["--out-fingersticks", sticks.to_str().unwrap()]].concat();
            let output = glidepath(&args, folder);
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
            let sticks = fs::read_to_string(&sticks).unwrap();
            let mut sticks = sticks.lines().skip(1).map(|row| row.split_once(',').unwrap()).peekable();
            let mut joined = "time,glucose_mg_dl,reference_mg_dl\n".to_owned();
            for row in fs::read_to_string(&file).unwrap().lines().skip(1) {
                let mut cells = row.split(',');
                let (time, glucose) = (cells.next().unwrap(), cells.next().unwrap());
                // with the first reading that is not before it
                let mut reference = "";
                while let Some((_, value)) = sticks.next_if(|(at, _)| *at <= time) {
                    reference = value;
                }
                joined += &format!("{time},{glucose},{reference}\n");
            }
            fs::write(&file, joined).unwrap();
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
    assert!(!text.contains("not fitted"), "{text}");
    let held = include_str!("../../../src/live/forecast/people.rs");
    let end = text.find("\nEach set judged").unwrap();
    let printed = after(&text[..end], "src/live/forecast/people.rs:\n\n").trim_end();
    assert_eq!(shape(printed), shape(held.trim_end()));
    assert!(text.contains("\nNobody wore two sensors at once"), "{text}");
    assert!(!printed.contains("NaN") && !printed.contains("inf"));
    assert_ne!(printed, held.trim_end());
    // of the other groups each line printed is one of the file's, but for its number
    for (file, held, lines) in [
        ("src/live/estimator/model.rs", include_str!("../../../src/live/estimator/model.rs"), 2),
        ("src/live/estimator/now.rs", include_str!("../../../src/live/estimator/now.rs"), 3),
        ("src/live/quality/config.rs", include_str!("../../../src/live/quality/config.rs"), 1),
        ("src/whole/pair/rare.rs", include_str!("../../../src/whole/pair/rare.rs"), 2),
        ("src/live/calibration/drift.rs", include_str!("../../../src/live/calibration/drift.rs"), 6),
    ] {
        let printed: Vec<&str> =
            after(&text, &format!("{file}:\n\n")).lines().take_while(|line| !line.is_empty()).collect();
        assert_eq!(printed.len(), lines, "{file}: {printed:?}");
        for line in printed {
            let is_held = held.lines().filter(|held| shape(held) == shape(line)).count();
            assert_eq!(is_held, 1, "{file} has no line, or several, of the form {line:?}");
        }
    }
    // the simulator's people are foreseen better than by holding, also those left out
    let all = after(&text, "\n  all: ");
    for (mark, most) in [("15 min ", 0.95), ("30 min ", 0.95), ("60 min ", 0.97)] {
        assert!(number(all, mark) < most, "{mark}{}", number(all, mark));
    }
    assert!(number(&text, "not yet low: Brier skill ") > 0.1);
    let held_95 = number(&text, "  30 min: ");
    assert!((90.0..99.0).contains(&held_95), "{held_95}");
    // the same again to the last digit
    let again = glidepath(&["fit", "sets", "--only", "soon"], folder.path());
    let again = String::from_utf8(again.stdout).unwrap();
    assert_eq!(
        after(&again, "\nsoon\n").trim_end(),
        after(&text, "\nsoon\n").split("\nnow\n").next().unwrap().trim_end()
    );
    // the same people as one set leave nobody to judge by
    let alone = glidepath(&["fit", "sets/alder", "--only", "soon"], folder.path());
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
        (vec!["fit", "few", "--only", "calibration"], "expected it in a column reference_mg_dl"),
    ] {
        let output = glidepath(&args, folder.path());
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(told.contains(says) && told.lines().count() == 1, "{told}");
    }
}
