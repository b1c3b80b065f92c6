//! Prints every public item of a crate with its signature, one a line, and fails where a name has two meanings.
//!
//! usage: public_api RUSTDOC.json
//!
//! Left out is what follows from other lines: the methods of implemented traits, and what the compiler implements by
//! itself. The traits that a type implements stand on one line where no bound hangs on them.

use std::collections::{BTreeMap, BTreeSet};
use std::process::ExitCode;

/// What names a meaning of its own.
const KINDS: [&str; 8] = ["struct", "enum", "union", "trait", "type", "mod", "const", "fn"];

/// The keyword and the path of what a line declares, without what is generic in it.
fn declared(line: &str) -> Option<(&str, String)> {
    let (_, rest) =
        line.split_once("pub ").filter(|(before, _)| before.is_empty() || before.starts_with("#["))?;
    let rest = rest.strip_prefix("const ").filter(|rest| rest.starts_with("fn ")).unwrap_or(rest);
    let (kind, path) = rest.split_once(' ')?;
    let (mut plain, mut depth) = (String::new(), 0);
    for c in path.chars() {
        match c {
            '<' => depth += 1,
            '>' => depth -= 1,
            '(' | ' ' if depth == 0 => break,
            _ if depth == 0 => plain.push(c),
            _ => {}
        }
    }
    let plain = plain.trim_end_matches(':');
    plain.starts_with("glidepath").then(|| (kind, plain.to_owned()))
}

/// The type and the trait of a line like `impl core::marker::Copy for glidepath::Span`, if no bound is in it. What a
/// derive asks of fields of one type holds, or it would not compile.
fn plain_impl(line: &str) -> Option<(&str, &str)> {
    let generic = ["impl<'a> ", "impl<'de> ", "impl<const N: usize> ", "impl "];
    let (of, kind) = generic.iter().find_map(|start| line.strip_prefix(start))?.split_once(" for ")?;
    let kind = kind.split(" where ").next().unwrap_or(kind);
    kind.starts_with("glidepath::").then_some((kind, of))
}

/// What only the documentation has, and what the compiler implements beside a derive.
fn is_left_out(line: &str) -> bool {
    let documents = ["glidepath::guide", "glidepath::developers"];
    line.contains("StructuralPartialEq")
        || documents.iter().any(|of| line.starts_with(&format!("pub mod {of}")))
}

/// A public item: its number, its parent's, its line.
struct Item {
    id: u32,
    parent: Option<u32>,
    line: String,
}

fn listing(all: &[Item]) -> Vec<String> {
    let of_traits: BTreeSet<u32> = all
        .iter()
        .filter(|item| item.line.starts_with("impl") && item.line.contains(" for "))
        .map(|item| item.id)
        .collect();
    let mut traits: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (kind, of) in all.iter().filter_map(|item| plain_impl(&item.line)) {
        traits.entry(kind).or_default().insert(of);
    }
    let mut lines = Vec::new();
    for Item { parent, line, .. } in all {
        let inside = parent.is_some_and(|parent| of_traits.contains(&parent));
        let heading = line.starts_with("impl") && !line.contains(" for ");
        if let Some((kind, _)) = plain_impl(line) {
            // in the place of the first
            if let Some(of) = traits.remove(kind) {
                let of: Vec<&str> = of.into_iter().collect();
                lines.push(format!("impl for {kind}: {}", of.join(", ")));
            }
        } else if !inside && !heading {
            lines.push(line.clone());
        }
    }
    lines
}

/// Names that two different items have, outside of what belongs to a type.
fn twice(all: &[Item]) -> Vec<String> {
    let mut meanings: BTreeMap<String, BTreeMap<u32, String>> = BTreeMap::new();
    for Item { id, line, .. } in all {
        let Some((kind, path)) = declared(line).filter(|(kind, _)| KINDS.contains(kind)) else {
            continue;
        };
        let mut parts = path.rsplit("::");
        let (name, owner) = (parts.next().unwrap_or(&path), parts.next().unwrap_or(""));
        // what belongs to a type is named by it, and a type's name begins with a capital
        if !owner.starts_with(char::is_uppercase) {
            meanings.entry(name.to_owned()).or_default().insert(*id, format!("{kind} {path}"));
        }
    }
    let two = meanings.into_iter().filter(|(_, meanings)| meanings.len() > 1);
    two.map(|(name, meanings)| format!("{name}: {}", meanings.into_values().collect::<Vec<_>>().join(", ")))
        .collect()
}

fn main() -> ExitCode {
    let Some(file) = std::env::args().nth(1) else {
        eprintln!("usage: public_api RUSTDOC.json");
        return ExitCode::FAILURE;
    };
    let read =
        public_api::Builder::from_rustdoc_json(file).omit_blanket_impls(true).omit_auto_trait_impls(true);
    let api = match read.build() {
        Ok(api) => api,
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::FAILURE;
        }
    };
    let all: Vec<Item> = api
        .items()
        .map(|item| Item { id: item.id().0, parent: item.parent_id().map(|id| id.0), line: item.to_string() })
        .filter(|item| !is_left_out(&item.line))
        .collect();
    for line in listing(&all) {
        println!("{line}");
    }
    let twice = twice(&all);
    for name in &twice {
        eprintln!("a name with two meanings: {name}");
    }
    if twice.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_tells_what_it_declares() {
        for (line, want) in [
            ("pub struct glidepath::History<const N: usize>", Some(("struct", "glidepath::History"))),
            (
                "#[non_exhaustive] #[repr(u8)] pub enum glidepath::quality::Reason",
                Some(("enum", "glidepath::quality::Reason")),
            ),
            (
                "pub const fn glidepath::Span::from_secs(i32) -> Self",
                Some(("fn", "glidepath::Span::from_secs")),
            ),
            (
                "pub const glidepath::alarm::LOW_QUIET: glidepath::Span",
                Some(("const", "glidepath::alarm::LOW_QUIET")),
            ),
            ("pub fn glidepath::rate::window(&[u8])", Some(("fn", "glidepath::rate::window"))),
            (
                "pub fn glidepath::History<N>::iter(&self) -> impl Iterator<Item = X>",
                Some(("fn", "glidepath::History::iter")),
            ),
            ("pub fn f32::from(glidepath::Glucose) -> f32", None),
            ("impl core::marker::Copy for glidepath::Span", None),
        ] {
            let want = want.map(|(kind, path): (&str, &str)| (kind, path.to_owned()));
            assert_eq!(declared(line), want, "{line}");
        }
    }
    fn items(lines: &[&str]) -> Vec<Item> {
        lines.iter().zip(0..).map(|(line, id)| Item { id, parent: None, line: (*line).to_owned() }).collect()
    }

    #[test]
    fn a_name_of_two_items_is_found_and_what_belongs_to_a_type_is_not() {
        let all = items(&[
            "pub struct glidepath::gatt::Sample",
            "pub struct glidepath::simulate::Sample",
            "pub fn glidepath::Span::new() -> Self",
            "pub const fn glidepath::Instant::new() -> Self",
            "pub fn glidepath::rate::median(&[f32]) -> f32",
            "pub fn glidepath::accuracy::median(&[f32]) -> f32",
        ]);
        let want = [
            "Sample: struct glidepath::gatt::Sample, struct glidepath::simulate::Sample",
            "median: fn glidepath::rate::median, fn glidepath::accuracy::median",
        ];
        assert_eq!(twice(&all), want);
    }

    #[test]
    fn traits_stand_on_one_line_and_their_methods_are_left_out() {
        let mut all = items(&[
            "pub struct glidepath::History<const N: usize>",
            "impl<const N: usize> glidepath::History<N>",
            "pub fn glidepath::History<N>::len(&self) -> usize",
            "impl<const N: usize> core::fmt::Debug for glidepath::History<N>",
            "pub fn glidepath::History<N>::fmt(&self)",
            "impl<const N: usize> core::clone::Clone for glidepath::History<N>",
        ]);
        (all[2].parent, all[4].parent) = (Some(1), Some(3));
        let want = [
            "pub struct glidepath::History<const N: usize>",
            "pub fn glidepath::History<N>::len(&self) -> usize",
            "impl for glidepath::History<N>: core::clone::Clone, core::fmt::Debug",
        ];
        assert_eq!(listing(&all), want);
    }
}
