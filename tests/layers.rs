//! The layers of the library as data: which module may import which. Fails on any other import.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Module, and what it may use. Floors: 0 `error math units moments`, 1 `reading history estimate local`, 2 and 3 the
/// stages, 4 `monitor`; a stage never sees another stage.
const ALLOWED: &[(&str, &[&str])] = &[
    ("error", &[]),
    ("math", &[]),
    ("moments", &["math"]),
    ("units", &["error", "math"]),
    ("reading", &["units"]),
    ("history", &["math", "reading", "units"]),
    ("local", &["error", "units"]),
    ("estimate", &["error", "math", "units"]),
    ("quality", &["error", "local", "math", "reading", "units"]),
    ("calibration", &["error", "math", "reading", "units"]),
    ("smoothing", &["error", "history", "math", "reading", "units"]),
    ("estimator", &["error", "estimate", "math", "reading", "units"]),
    ("rate", &["history", "reading", "units"]),
    ("trend", &["error", "units"]),
    ("forecast", &["error", "estimate", "math", "units"]),
    ("alarm", &["error", "local", "units"]),
    ("accuracy", &["error", "math", "moments", "reading", "units"]),
    ("review", &["error", "math", "reading", "units"]),
    ("gatt", &["error", "math", "reading", "units"]),
    ("simulate", &["error", "math", "reading", "units"]),
    (
        "monitor",
        &[
            "alarm",
            "calibration",
            "error",
            "estimate",
            "estimator",
            "forecast",
            "history",
            "local",
            "math",
            "quality",
            "reading",
            "trend",
            "units",
        ],
    ),
    ("guide", &[]),
    ("snapshot", &["error", "history", "monitor", "reading", "units"]),
];

/// What the root re-exports, by home.
const ROOT_NAMES: &[(&str, &str)] = &[
    ("Error", "error"),
    ("ErrorKind", "error"),
    ("Estimate", "estimate"),
    ("History", "history"),
    ("HistoryView", "history"),
    ("Inserted", "history"),
    ("Monitor", "monitor"),
    ("Settings", "monitor"),
    ("View", "monitor"),
    ("FingerstickOutcome", "monitor"),
    ("Expected", "monitor"),
    ("Refusal", "monitor"),
    ("Fingerstick", "reading"),
    ("Reading", "reading"),
    ("Status", "reading"),
    ("Glucose", "units"),
    ("Instant", "units"),
    ("MG_DL_PER_MMOL_L", "units"),
    ("Rate", "units"),
    ("Span", "units"),
    ("LocalTime", "local"),
];

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// Every `crate::x` in the code of a file, tests and comments left out.
fn imports(text: &str) -> BTreeSet<String> {
    let code = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    let mut found = BTreeSet::new();
    for line in code.lines().filter(|line| !line.trim_start().starts_with("//")) {
        let mut rest = line;
        while let Some(at) = rest.find("crate::") {
            rest = &rest[at + "crate::".len()..];
            let list = if let Some(inner) = rest.strip_prefix('{') {
                inner.split('}').next().unwrap_or_default().to_owned()
            } else {
                rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
            };
            for name in list.split(',').map(str::trim).filter(|name| !name.is_empty()) {
                let name = name.split("::").next().unwrap_or_default();
                let home = ROOT_NAMES.iter().find(|(n, _)| *n == name).map_or(name, |(_, home)| home);
                found.insert(home.to_owned());
            }
        }
    }
    found
}

#[test]
fn every_import_points_down() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut all = Vec::new();
    files(&source, &mut all);
    let mut seen = BTreeSet::new();
    for path in all {
        let inside = path.strip_prefix(&source).unwrap();
        let first = inside.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
        let module = first.trim_end_matches(".rs").to_owned();
        if module == "lib" || path.ends_with("tests.rs") {
            continue;
        }
        let (_, allowed) = ALLOWED
            .iter()
            .find(|(name, _)| *name == module)
            .unwrap_or_else(|| panic!("{module} has no place in the table of layers"));
        for import in imports(&fs::read_to_string(&path).unwrap()) {
            assert!(
                import == module || allowed.contains(&import.as_str()),
                "{} must not use {import}",
                inside.display()
            );
        }
        seen.insert(module);
    }
    assert!(seen.len() > 15, "only {} modules found", seen.len());
}

#[test]
fn imports_are_found_in_every_form() {
    let text = "use crate::units::{Glucose, Span};\nuse crate::{Reading, math};\nlet x = crate::alarm::f();\n// crate::review\n";
    let found: Vec<_> = imports(text).into_iter().collect();
    assert_eq!(found, ["alarm", "math", "reading", "units"]);
}

#[test]
fn only_one_file_names_a_maths_backend() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut all = Vec::new();
    files(&source, &mut all);
    for path in all {
        let text = fs::read_to_string(&path).unwrap();
        let names = text.contains("libm::") || text.contains("micromath::");
        assert!(!names || path.ends_with("math.rs"), "{} names a maths backend", path.display());
        let double = text
            .split("#[cfg(test)]\nmod tests {")
            .next()
            .unwrap_or_default()
            .lines()
            .filter(|line| !line.trim_start().starts_with("//"))
            .any(|line| line.contains("f64"));
        assert!(!double || path.ends_with("tests.rs"), "{} uses f64", path.display());
    }
}
