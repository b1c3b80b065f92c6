//! The layers of the library: its folders are the rooms, and a table says which room may use which. Fails on any other
//! import, on modules that use each other in a circle, and on rooms that other lists give otherwise.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// A room, the rooms it may use, and whether its modules may use one another. The lowest first.
const ROOMS: &[(&str, &[&str], bool)] = &[
    ("ground", &[], true),
    ("values", &["ground"], true),
    ("live", &["ground", "values"], false),
    ("past", &["ground", "values"], false),
    ("wire", &["ground", "values"], false),
    ("world", &["ground", "values"], false),
    ("whole", &["ground", "values", "live"], true),
    ("guide", &[], false),
];

fn source() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// The modules and the room of each, as the folders have them.
fn homes() -> BTreeMap<String, &'static str> {
    let mut homes = BTreeMap::new();
    for (room, ..) in ROOMS {
        for entry in fs::read_dir(source().join(room)).unwrap() {
            let name = entry.unwrap().file_name().into_string().unwrap();
            let module = name.trim_end_matches(".rs");
            if module != "mod" && !name.ends_with(".md") {
                let other = homes.insert(module.to_owned(), *room);
                assert!(other.is_none(), "{module} is in two rooms");
            }
        }
    }
    homes
}

/// What the root re-exports of a module's names, by home: read from `lib.rs`.
fn root_names() -> BTreeMap<String, String> {
    let text = fs::read_to_string(source().join("lib.rs")).unwrap();
    let mut names = BTreeMap::new();
    for line in text.split("pub use ").skip(1) {
        let Some((path, list)) = line.split(';').next().unwrap().split_once("::") else { continue };
        if ROOMS.iter().any(|(room, ..)| *room == path) {
            continue;
        }
        for name in list.trim_matches(['{', '}']).split(',') {
            names.insert(name.trim().to_owned(), path.to_owned());
        }
    }
    names
}

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
    names: &BTreeMap<String, String>,
    found: &mut BTreeSet<String>,
) -> usize {
    loop {
        match code.get(at).copied().unwrap_or_default() {
            "{" => {
                at += 1;
                while code.get(at).is_some_and(|token| *token != "}") {
                    at = if code[at] == "," { at + 1 } else { follow(code, at, place.clone(), names, found) };
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
    // within a room the path leads past the room's name
    let inside = usize::from(place.len() > 1 && ROOMS.iter().any(|(room, ..)| *room == place[0]));
    let name = place.get(inside).copied().unwrap_or("crate");
    let home = names.get(name).map_or(name, String::as_str);
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
    let (code, names) = (code(text), root_names());
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
            "crate" | "super" => follow(&code, at, scope.clone(), &names, &mut found),
            _ => at + 1,
        };
    }
    found
}

/// The room and the module that a file of `src` is of.
fn home(file: &Path) -> (&str, &str) {
    let mut parts = file.iter().map(|part| part.to_str().unwrap());
    (parts.next().unwrap(), parts.next().unwrap_or("mod").trim_end_matches(".rs"))
}

/// What a file of `src` names and must not.
fn forbidden(file: &Path, text: &str) -> Vec<String> {
    let (room, module) = home(file);
    let (_, allowed, siblings) =
        ROOMS.iter().find(|(name, ..)| *name == room).unwrap_or_else(|| panic!("{room} is no room"));
    let homes = homes();
    imports(file, text)
        .into_iter()
        .filter(|import| {
            let theirs = homes.get(import).copied().unwrap_or("none");
            import != module && !(allowed.contains(&theirs) || *siblings && theirs == room)
        })
        .collect()
}

/// The files of `src` that belong to a room, with their text; tests left out.
fn all() -> Vec<(PathBuf, String)> {
    let mut all = Vec::new();
    files(&source(), &mut all);
    all.iter()
        .map(|path| (path.strip_prefix(source()).unwrap().to_owned(), path))
        .filter(|(inside, _)| {
            inside.iter().count() > 1 && !inside.iter().any(|part| part == "tests" || part == "tests.rs")
        })
        .map(|(inside, path)| (inside, fs::read_to_string(path).unwrap()))
        .collect()
}

#[test]
fn every_import_points_down() {
    let mut seen = BTreeSet::new();
    for (inside, text) in all() {
        let forbidden = forbidden(&inside, &text);
        assert!(forbidden.is_empty(), "{} must not use {forbidden:?}", inside.display());
        seen.insert(home(&inside).1.to_owned());
    }
    assert!(seen.len() > 20, "only {} modules found", seen.len());
}

#[test]
fn no_modules_use_each_other_in_a_circle() {
    let mut uses: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (inside, text) in all() {
        let module = home(&inside).1;
        let mut found = imports(&inside, &text);
        found.remove(module);
        uses.entry(module.to_owned()).or_default().extend(found);
    }
    // take away what uses nothing that is left, until nothing is left
    while !uses.is_empty() {
        let left: BTreeSet<String> = uses.keys().cloned().collect();
        let before = uses.len();
        uses.retain(|_, theirs| theirs.iter().any(|module| left.contains(module)));
        assert!(uses.len() < before, "in a circle: {uses:?}");
    }
}

#[test]
fn a_room_is_used_where_the_table_says_it_may_be() {
    let homes = homes();
    for (room, allowed, _) in ROOMS {
        let used: BTreeSet<&str> = all()
            .iter()
            .filter(|(inside, _)| home(inside).0 == *room)
            .flat_map(|(inside, text)| imports(inside, text))
            .filter_map(|module| homes.get(&module).copied())
            .filter(|theirs| theirs != room)
            .collect();
        assert_eq!(used, allowed.iter().copied().collect(), "{room}");
    }
}

#[test]
fn other_lists_give_the_same_rooms() {
    let lib = fs::read_to_string(source().join("lib.rs")).unwrap();
    let developers = fs::read_to_string(source().join("../DEVELOPERS.md")).unwrap();
    let places: Vec<_> = ROOMS.iter().map(|(room, ..)| lib.find(&format!("mod {room};"))).collect();
    assert!(places.iter().all(Option::is_some), "{places:?}");
    for (module, room) in homes() {
        let row =
            developers.lines().find(|line| line.starts_with(&format!("| `{room}` |"))).unwrap_or_default();
        assert!(row.contains(&format!("`{module}`")), "{module} is not in DEVELOPERS.md's row of {room}");
    }
}

#[test]
fn imports_are_found_in_every_form() {
    let text = "use crate::units::{Glucose, Span};\nuse crate::{Reading, math};\nlet x = crate::alarm::f();\n// crate::review\n";
    let found: Vec<_> = imports(Path::new("live/rate.rs"), text).into_iter().collect();
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
        ("use crate::live::rate::window;", "rate"),
        ("use crate::live as all;", "live"),
        ("use super::super::super::live::rate;", "rate"),
        ("use super::super::super as all;", "crate"),
        ("use crate::{self as all};", "crate"),
        ("use crate::{self as all, math};", "crate"),
        ("use crate::*;", "crate"),
        ("use {crate as all};", "crate"),
        ("use super::super as all;", "live"),
        ("use super::super::*;", "live"),
        ("use super::super::{self as all};", "live"),
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
        assert_eq!(forbidden(Path::new("live/smoothing/holt.rs"), text), [expected], "{text}");
    }
    // one module up is the root for a module's own file
    assert_eq!(forbidden(Path::new("live/smoothing/mod.rs"), "use super::rate;"), ["rate"]);
    assert_eq!(forbidden(Path::new("values/history.rs"), "use super::rate;"), ["rate"]);
    assert_eq!(forbidden(Path::new("values/history.rs"), "use super as all;"), ["values"]);
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
        let found = forbidden(Path::new("live/smoothing/holt.rs"), text);
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
        // serde hands a file's numbers over as f64
        let may = path.ends_with("tests.rs") || path.ends_with("ground/written.rs");
        let double = code(&text).iter().any(|token| token.contains("f64"));
        assert!(!double || may, "{} uses f64", path.display());
    }
}

/// A file of a module names its siblings by their own files, not by what their common `mod.rs` tells others of them.
#[test]
fn siblings_do_not_import_through_their_own_module() {
    let (mut checked, mut wrong) = (0, Vec::new());
    for (inside, text) in all() {
        let folder = inside.parent().unwrap();
        if folder.iter().count() < 2 || inside.ends_with("mod.rs") {
            continue;
        }
        let siblings: BTreeSet<String> = fs::read_dir(source().join(folder))
            .unwrap()
            .map(|entry| entry.unwrap().path().file_stem().unwrap().to_str().unwrap().to_owned())
            .collect();
        let code = code(&text);
        for at in 0..code.len().saturating_sub(2) {
            // at the file's own level: an inner module's `super` is this file
            if code[at] != "super"
                || code[at + 1] != "::"
                || at.checked_sub(1).is_some_and(|b| code[b] == "::")
            {
                continue;
            }
            let mut named = vec![code[at + 2]];
            if named == ["{"] {
                let end = closing(&code, at + 2);
                let (mut depth, mut fresh) = (0, true);
                named.clear();
                for token in &code[at + 3..end] {
                    match *token {
                        "{" => depth += 1,
                        "}" => depth -= 1,
                        "," => fresh = depth == 0,
                        name if fresh && depth == 0 => {
                            named.push(name);
                            fresh = false;
                        }
                        _ => {}
                    }
                }
            }
            for name in named {
                checked += 1;
                if !(name == "super" || siblings.contains(name)) {
                    wrong.push(format!("{} names {name}", inside.display()));
                }
            }
        }
    }
    assert!(checked > 100, "only {checked} imports found");
    assert!(wrong.is_empty(), "by its own mod.rs: {wrong:#?}");
}

#[test]
fn a_module_has_its_file_in_one_place() {
    for (inside, _) in all() {
        let folder = source().join(inside.with_extension(""));
        assert!(!folder.is_dir(), "{} beside a folder of its name", inside.display());
    }
}
