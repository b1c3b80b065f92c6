//! The lists in DEVELOPERS.md are as the repository is: which files another smoother, alarm, metric or display touches.

use std::collections::{BTreeSet, HashSet};
use std::fs;
use std::path::{Path, PathBuf};

/// What holds code that another one may have to be in.
const ENDINGS: [&str; 11] = ["rs", "py", "pyi", "h", "hpp", "js", "mjs", "html", "css", "toml", "def"];

/// Build products, and what checks rather than is: tests follow of themselves, as they fail.
const LEFT_OUT: [&str; 10] =
    ["target", "dist", "node_modules", ".venv", ".git", "tests", "checks", "fuzz", "golden", "__pycache__"];

/// These name all there is, and are in the lists.
const CHECKS_OF_ALL: [&str; 2] = ["tests/everywhere/src", "tests/sizes.rs"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn files(at: &Path, found: &mut Vec<PathBuf>) {
    if at.is_file() {
        found.push(at.to_owned());
        return;
    }
    for entry in fs::read_dir(at).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        let known = path.extension().is_some_and(|end| ENDINGS.iter().any(|known| end == *known));
        if path.is_dir() && !LEFT_OUT.contains(&name) || path.is_file() && known && name != "tests.rs" {
            files(&path, found);
        }
    }
}

/// The words of a text.
fn words(text: &str) -> HashSet<&str> {
    text.split(|c: char| !c.is_alphanumeric() && c != '_').collect()
}

/// What stands between backticks.
fn quoted(cell: &str) -> Vec<&str> {
    cell.split('`').skip(1).step_by(2).collect()
}

#[test]
fn the_files_that_another_one_touches_are_those_listed() {
    if !root().join("examples").is_dir() {
        return; // the published package has the library alone
    }
    let mut all = Vec::new();
    files(root(), &mut all);
    CHECKS_OF_ALL.iter().for_each(|path| files(&root().join(path), &mut all));
    let texts: Vec<(String, String)> = all
        .iter()
        .map(|path| (path.strip_prefix(root()).unwrap(), fs::read_to_string(path).unwrap_or_default()))
        .map(|(path, text)| (path.to_str().unwrap().replace('\\', "/"), text))
        .collect();
    assert!(texts.len() > 400, "only {} files", texts.len());
    let words: Vec<(&str, HashSet<&str>)> =
        texts.iter().map(|(path, text)| (path.as_str(), words(text))).collect();
    let developers = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let section = developers.split("## To add one more").nth(1).unwrap().split("\n## ").next().unwrap();
    let mut rows = 0;
    for row in section.lines().filter(|line| line.starts_with("| a ")) {
        let cells: Vec<&str> = row.split('|').map(str::trim).collect();
        let names = quoted(cells[2]);
        let listed: BTreeSet<&str> = quoted(cells[3]).into_iter().filter(|path| path.contains('/')).collect();
        let named: BTreeSet<&str> = words
            .iter()
            .filter(|(_, words)| names.iter().any(|name| words.contains(name)))
            .map(|(path, _)| *path)
            .collect();
        let missing: Vec<_> = named.difference(&listed).collect();
        let idle: Vec<_> = listed.difference(&named).collect();
        assert!(
            missing.is_empty() && idle.is_empty(),
            "{}: not listed {missing:?}, does not name it {idle:?}",
            cells[1]
        );
        rows += 1;
    }
    assert_eq!(rows, 5);
}

/// The numbers of a file's lines that count: up to its own tests.
fn length(text: &str) -> usize {
    let tests = text.find("\n#[cfg(test)]").unwrap_or(text.len());
    text[..tests].lines().count()
}

/// Longer than 400 lines, and why: each is one type whose steps read best in order.
const LONG: [&str; 6] = [
    "src/live/estimator/mod.rs",
    "src/live/forecast/learner.rs",
    "src/live/quality/mod.rs",
    "src/values/timeline/mod.rs",
    "src/whole/pair/fusion.rs",
    "src/whole/pair/mod.rs",
];

#[test]
fn no_other_file_of_the_library_grows_long() {
    let mut all = Vec::new();
    files(&root().join("src"), &mut all);
    for path in all {
        let length = length(&fs::read_to_string(&path).unwrap());
        let name = path.strip_prefix(root()).unwrap().to_str().unwrap();
        assert!(
            length <= 400 || LONG.contains(&name),
            "{name} has {length} lines: part it where an idea ends"
        );
    }
}

/// rustdoc marks with its feature what is written by hand, and not what is derived: the documentation of the type says it.
#[test]
fn each_public_type_names_the_features_that_its_derives_need() {
    let mut all = Vec::new();
    files(&root().join("src"), &mut all);
    let mut checked = 0;
    for path in all.iter().filter(|path| path.extension().is_some_and(|end| end == "rs")) {
        let text = fs::read_to_string(path).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        for (at, line) in lines.iter().enumerate() {
            if !line.starts_with("pub struct ") && !line.starts_with("pub enum ") {
                continue;
            }
            let begins = lines[..at].iter().rposition(|line| line.is_empty()).map_or(0, |empty| empty + 1);
            let (docs, attributes): (Vec<&str>, Vec<&str>) =
                lines[begins..at].iter().partition(|line| line.starts_with("///"));
            let (docs, attributes) = (docs.concat(), attributes.concat());
            let remote = attributes.contains("remote = \"Self\""); // what it derives is no trait
            for (derive, says) in [
                ("derive(defmt::Format)", "`defmt` gives `Format`"),
                ("derive(serde::Serialize)", "`serde` gives `Serialize`"),
                (
                    "derive(serde::Serialize, serde::Deserialize)",
                    "`serde` gives `Serialize` and `Deserialize`",
                ),
            ] {
                if attributes.contains(derive) && !(remote && derive.contains("serde")) {
                    checked += 1;
                    assert!(docs.contains(says), "{}: {line}: {says}", path.display());
                }
            }
        }
    }
    assert!(checked > 150, "only {checked} derives found");
}

#[test]
fn the_guide_leads_from_each_part_to_the_next_and_back() {
    let guide = root().join("src/guide");
    let index = fs::read_to_string(guide.join("mod.rs")).unwrap();
    let parts: Vec<&str> =
        index.lines().filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(" {}")).collect();
    assert_eq!(parts.len(), fs::read_dir(&guide).unwrap().count() - 1);
    for (at, part) in parts.iter().enumerate() {
        let text = fs::read_to_string(guide.join(part).with_extension("md")).unwrap();
        let last = text.trim_end().rsplit_once("\n\n").unwrap().1.replace('\n', " ");
        let leads = |word: &str, to: Option<&&str>| match to {
            Some(to) => last.contains(word) && last.contains(&format!("](crate::guide::{to})")),
            None => !last.contains(word),
        };
        assert!(leads("Before: ", at.checked_sub(1).and_then(|before| parts.get(before))), "{part}: {last}");
        assert!(leads("Next: ", parts.get(at + 1)), "{part}: {last}");
    }
}
