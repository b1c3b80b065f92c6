//! The layers of the library as data: which module may import which. Fails on any other import.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Module, and what it may use. Floors: 0 `error math units moments`, 1 `reading timeline history estimate local`, 2 and 3 the
/// stages, 4 `monitor`; a stage never sees another stage.
const ALLOWED: &[(&str, &[&str])] = &[
    ("error", &[]),
    ("math", &[]),
    ("moments", &["math"]),
    ("units", &["error", "math"]),
    ("reading", &["units"]),
    ("timeline", &["reading", "units"]),
    ("history", &["math", "reading", "units"]),
    ("local", &["error", "units"]),
    ("estimate", &["error", "math", "units"]),
    ("quality", &["error", "local", "math", "reading", "timeline", "units"]),
    ("calibration", &["error", "math", "reading", "timeline", "units"]),
    ("smoothing", &["error", "history", "math", "reading", "units"]),
    ("estimator", &["error", "estimate", "math", "reading", "timeline", "units"]),
    ("rate", &["history", "reading", "units"]),
    ("trend", &["error", "math", "timeline", "units"]),
    ("forecast", &["error", "math", "timeline", "units"]),
    ("alarm", &["error", "local", "timeline", "units"]),
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
            "timeline",
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
    ("Bound", "monitor"),
    ("Shown", "monitor"),
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

/// Words, `::` and single marks; comments, texts and characters are left out.
fn tokens(text: &str) -> Vec<&str> {
    let mut found = Vec::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let after = &rest[first.len_utf8()..];
        let word = rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len());
        let length = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            comment(rest)
        } else if let Some(length) = raw_text(rest) {
            length
        } else if first == '"' {
            quoted(after, '"') + 1
        } else if first == '\'' && (after.starts_with('\\') || after.chars().nth(1) == Some('\'')) {
            quoted(after, '\'') + 1
        } else {
            let length = if rest.starts_with("::") { 2 } else { word.max(first.len_utf8()) };
            if !first.is_whitespace() {
                found.push(&rest[..length]);
            }
            length
        };
        rest = &rest[length..];
    }
    found
}

/// The length of a comment at the start of `text`; comments nest.
fn comment(text: &str) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < text.len() {
        let mark = text.get(at..at + 2).unwrap_or_default();
        match mark {
            "/*" => depth += 1,
            "*/" => depth -= 1,
            _ => {}
        }
        at +=
            if matches!(mark, "/*" | "*/") { 2 } else { text[at..].chars().next().map_or(1, char::len_utf8) };
        if depth == 0 {
            break;
        }
    }
    at
}

/// The length of a raw text at the start of `text`, if there is one.
fn raw_text(text: &str) -> Option<usize> {
    let opened = ["r", "br", "cr"].into_iter().find_map(|start| {
        let hashes = text.strip_prefix(start)?;
        hashes.trim_start_matches('#').starts_with('"').then_some(start.len())
    })?;
    let hashes = text[opened..].len() - text[opened..].trim_start_matches('#').len();
    let body = opened + hashes + 1;
    let end = format!("\"{}", "#".repeat(hashes));
    Some(text[body..].find(&end).map_or(text.len(), |at| body + at + end.len()))
}

/// The length up to and with the closing `mark`; what a backslash precedes does not close.
fn quoted(text: &str, mark: char) -> usize {
    let mut escaped = false;
    for (at, c) in text.char_indices() {
        if c == mark && !escaped {
            return at + c.len_utf8();
        }
        escaped = c == '\\' && !escaped;
    }
    text.len()
}

/// The tokens without the test modules written in them.
fn without_tests<'a>(all: &[&'a str]) -> Vec<&'a str> {
    let mut kept = Vec::new();
    let mut at = 0;
    while at < all.len() {
        if all[at..].starts_with(&["#", "[", "cfg", "(", "test", ")", "]"])
            && let Some(body) = (at..all.len()).find(|place| matches!(all[*place], "{" | ";"))
            && all[body - 2] == "mod"
        {
            at = closing(all, body) + 1;
        } else {
            kept.push(all[at]);
            at += 1;
        }
    }
    kept
}

/// The place of the brace that closes the one at `open`.
fn closing(all: &[&str], open: usize) -> usize {
    let mut depth = 0;
    for (at, token) in all.iter().enumerate().skip(open) {
        match *token {
            "{" => depth += 1,
            "}" => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            return at;
        }
    }
    all.len()
}

/// The code of a file, tests and comments left out.
fn code(text: &str) -> Vec<&str> {
    without_tests(&tokens(text))
}

/// Follows a path or a tree of them from `place`, and notes the module of floor level that each ends in; the root
/// itself is `crate`. Returns where the path ends.
fn follow<'a>(
    code: &[&'a str],
    mut at: usize,
    mut place: Vec<&'a str>,
    found: &mut BTreeSet<String>,
) -> usize {
    loop {
        match code.get(at).copied().unwrap_or_default() {
            "{" => {
                at += 1;
                while code.get(at).is_some_and(|token| *token != "}") {
                    at = if code[at] == "," { at + 1 } else { follow(code, at, place.clone(), found) };
                }
                return at + 1;
            }
            "crate" => place.clear(),
            "super" => _ = place.pop(),
            "self" | "*" => {}
            name => place.push(name),
        }
        at += 1;
        if code.get(at) != Some(&"::") {
            break;
        }
        at += 1;
    }
    let name = place.first().copied().unwrap_or("crate");
    let home = ROOT_NAMES.iter().find(|(n, _)| *n == name).map_or(name, |(_, home)| home);
    found.insert(home.to_owned());
    if code.get(at) == Some(&"as") { at + 2 } else { at }
}

/// The modules of floor level that the code of a file names; `crate` for the root as a whole.
fn imports(file: &Path, text: &str) -> BTreeSet<String> {
    let file = file.with_extension("");
    let mut scope: Vec<&str> = file.iter().map(|part| part.to_str().unwrap()).collect();
    if scope.last() == Some(&"mod") {
        scope.pop();
    }
    let code = code(text);
    let mut found = BTreeSet::new();
    // where each module written in the file ends
    let mut ends = Vec::new();
    let mut at = 0;
    while at < code.len() {
        if ends.last() == Some(&at) {
            ends.pop();
            scope.pop();
        }
        let before = |back: usize| at.checked_sub(back).map_or("", |place| code[place]);
        let next = code.get(at + 1).copied().unwrap_or_default();
        at = match code[at] {
            "mod" if code.get(at + 2) == Some(&"{") => {
                scope.push(next);
                ends.push(closing(&code, at + 2));
                at + 3
            }
            // `extern crate std`, and `pub(crate)`
            "crate" if before(1) == "extern" && next != "self" => at + 1,
            "crate" | "super" if before(1) == "(" && before(2) == "pub" => at + 1,
            "crate" | "super" => follow(&code, at, scope.clone(), &mut found),
            _ => at + 1,
        };
    }
    found
}

/// What a file of `src` names and must not.
fn forbidden(file: &Path, text: &str) -> Vec<String> {
    let first = file.iter().next().unwrap().to_str().unwrap();
    let module = first.trim_end_matches(".rs");
    let (_, allowed) = ALLOWED
        .iter()
        .find(|(name, _)| *name == module)
        .unwrap_or_else(|| panic!("{module} has no place in the table of layers"));
    imports(file, text)
        .into_iter()
        .filter(|import| import != module && !allowed.contains(&import.as_str()))
        .collect()
}

#[test]
fn every_import_points_down() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut all = Vec::new();
    files(&source, &mut all);
    let mut seen = BTreeSet::new();
    for path in all {
        let inside = path.strip_prefix(&source).unwrap();
        if inside == Path::new("lib.rs") || path.ends_with("tests.rs") {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        let forbidden = forbidden(inside, &text);
        assert!(forbidden.is_empty(), "{} must not use {forbidden:?}", inside.display());
        seen.insert(inside.iter().next().unwrap().to_owned());
    }
    assert!(seen.len() > 15, "only {} modules found", seen.len());
}

#[test]
fn imports_are_found_in_every_form() {
    let text = "use crate::units::{Glucose, Span};\nuse crate::{Reading, math};\nlet x = crate::alarm::f();\n// crate::review\n";
    let found: Vec<_> = imports(Path::new("rate.rs"), text).into_iter().collect();
    assert_eq!(found, ["alarm", "math", "reading", "units"]);
}

#[test]
fn an_import_that_points_up_is_found_in_every_form() {
    for (text, expected) in [
        ("use super::super::estimator::Bank;", "estimator"),
        ("fn f() { super::super::forecast::course() }", "forecast"),
        ("use self::super::super::rate;", "rate"),
        ("use super::super::{math, quality::{self, Verdict}};", "quality"),
        ("use crate::{alarm, units::{Glucose, Span}};", "alarm"),
        ("use crate::{\n    units::{Glucose, Span},\n    trend::{Bands, TrendSign},\n};", "trend"),
        ("use crate :: rate;", "rate"),
        ("use {crate::units, crate::rate::window};", "rate"),
        ("use crate::rate as units;", "rate"),
        ("fn f<'a>(x: &'a crate::Monitor<1>) {}", "monitor"),
        ("fn f() { g(crate::rate::f()) }", "rate"),
        ("fn f() { crate::math::f::<crate::rate::Line>() }", "rate"),
        ("mod x; use super::super::rate;", "rate"),
        ("#[cfg(test)] fn f() { crate::rate::f() }", "rate"),
        ("type X = Vec::<crate::rate::Line>;", "rate"),
        ("use crate as all;", "crate"),
        ("use crate::{self as all};", "crate"),
        ("use crate::{self as all, math};", "crate"),
        ("use crate::*;", "crate"),
        ("use {crate as all};", "crate"),
        ("use super::super as all;", "crate"),
        ("use super::super::*;", "crate"),
        ("use super::super::{self as all};", "crate"),
        ("extern crate self as all;", "crate"),
        ("mod inner { use super::super::super::rate; }", "rate"),
        ("mod inner { fn f() { if x {} } } use super::super::rate;", "rate"),
        ("macro_rules! f { () => { $crate::rate::f() } }", "rate"),
        ("#[cfg(test)] mod tests { use crate::alarm; fn f() {} } use crate::rate;", "rate"),
        ("#[cfg(test)] use x; use crate::rate; mod y { }", "rate"),
        ("let a = \"\\\"\"; crate::rate::f(); let b = \"\";", "rate"),
        ("let a = '\"'; crate::rate::f(); let b = '\"';", "rate"),
        ("let a = '\\''; crate::rate::f(); let b = '\\'';", "rate"),
        ("let a = r#\"\"\"#; crate::rate::f(); let b = \"\";", "rate"),
        ("/* a /* b */ c */ use crate::rate; /* d */", "rate"),
    ] {
        assert_eq!(forbidden(Path::new("smoothing/holt.rs"), text), [expected], "{text}");
    }
    // one module up is the root for a module's own file
    assert_eq!(forbidden(Path::new("smoothing/mod.rs"), "use super::rate;"), ["rate"]);
    assert_eq!(forbidden(Path::new("history.rs"), "use super::rate;"), ["rate"]);
    assert_eq!(forbidden(Path::new("history.rs"), "use super as all;"), ["crate"]);
}

#[test]
fn an_import_that_points_down_is_let_pass() {
    for text in [
        "use super::{LONGEST_GAP, Level};",
        "use crate::{error::Error, units::{Glucose, Span}, HistoryView};",
        "pub(crate) fn f() {} pub(super) fn g(&self) { self.x }",
        "extern crate std;",
        "mod inner { use super::super::average; use super::Holt; }",
        "mod inner { #[cfg(test)] mod tests { } use super::super::average; }",
        "// crate::alarm\n/// [`crate::alarm`]\n/* crate::alarm /* */ crate::alarm */",
        "let a = \"crate::alarm\"; let b = r\"\\\"; let c = r##\"crate::alarm\"# crate::alarm\"##;",
        "#[cfg(test)]\nmod tests { use crate::alarm; fn f() { if x {} } }",
        "#[cfg(test)] #[allow(x)] pub(super) mod tests { use super::super::alarm; }",
    ] {
        let found = forbidden(Path::new("smoothing/holt.rs"), text);
        assert!(found.is_empty(), "{text}: {found:?}");
    }
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
        let double = code(&text).iter().any(|token| token.contains("f64"));
        assert!(!double || path.ends_with("tests.rs"), "{} uses f64", path.display());
    }
}
