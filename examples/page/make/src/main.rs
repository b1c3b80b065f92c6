//! Puts the page's parts into one HTML file: `page-make MODULE TRACE FINGERSTICKS OUT`.
//!
//! The module, the demo's tables and the scripts go in packed, the scripts and the style without comments and blanks at
//! the beginning of lines. A small script unpacks the others and runs them; the policy names the hashes of both and of
//! the style, so that nothing else can run.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::{env, fs};

use base64::{Engine as _, engine::general_purpose::STANDARD};
use sha2::{Digest as _, Sha256};
use zopfli::{Format, Options};

/// The whole page may have this many bytes.
const MOST: usize = 100_000;

fn main() -> Result<(), Box<dyn Error>> {
    let paths: Vec<PathBuf> = env::args_os().skip(1).map(PathBuf::from).collect();
    let [module, trace, sticks, out] = paths.as_slice() else {
        return Err("expected MODULE TRACE FINGERSTICKS OUT".into());
    };
    let web = Path::new(env!("CARGO_MANIFEST_DIR")).join("../web");
    let part = |name: &str| fs::read_to_string(web.join(name)).map_err(|error| format!("{name}: {error}"));
    let style = slim(&part("page.css")?);
    let mut script = String::from("'use strict';(()=>{\n");
    for name in ["table.js", "core.js", "draw.js", "page.js"] {
        script += &joined(&slim(&part(name)?));
    }
    script += "})()";
    let tables =
        [columns(&fs::read_to_string(trace)?, 2), columns(&fs::read_to_string(sticks)?, 2)].join("\u{c}");
    let loader = slim(&part("load.js")?);
    let page = part("page.html")?
        .replace("{{style hash}}", &hash(&style))
        .replace("{{loader hash}}", &hash(&loader))
        .replace("{{script hash}}", &hash(&script))
        .replace("{{style}}", &style)
        .replace("{{module}}", &packed(&fs::read(module)?)?)
        .replace("{{tables}}", &packed(tables.as_bytes())?)
        .replace("{{script}}", &packed(script.as_bytes())?)
        .replace("{{loader}}", &loader);
    fs::write(out, &page)?;
    println!("{}: {} bytes of {MOST}", out.display(), page.len());
    if page.len() > MOST { Err("the page is too large".into()) } else { Ok(()) }
}

/// The first columns of a table, without its comments.
fn columns(table: &str, most: usize) -> String {
    let rows = table.lines().filter(|line| !line.starts_with('#'));
    rows.map(|line| line.split(',').take(most).collect::<Vec<_>>().join(",") + "\n").collect()
}

/// Without lines that are comments, and blanks at the beginning of lines. Strings of the parts hold no line ends.
fn slim(text: &str) -> String {
    let mut out = String::new();
    let mut comment = false;
    for line in text.lines().map(str::trim) {
        comment |= line.starts_with("/*");
        if !comment && !line.is_empty() && !line.starts_with("//") {
            out += line;
            out.push('\n');
        }
        comment &= !line.ends_with("*/");
    }
    out
}

/// A module among others in one script: a room of its own, and its exports outside.
fn joined(script: &str) -> String {
    let mut names = Vec::new();
    let mut body = String::new();
    for line in script.lines().filter(|line| !line.starts_with("import ")) {
        let line = match line.strip_prefix("export ") {
            Some(exported) => {
                // "function name(", "function* name(", "const NAME =", "class Name {"
                let name = exported.split([' ', '(']).nth(1).unwrap_or_default();
                names.push(name.to_owned());
                exported
            }
            None => line,
        };
        body += line;
        body.push('\n');
    }
    let names = names.join(",");
    format!("const {{{names}}}=(()=>{{\n{body}return {{{names}}};\n}})();\n")
}

fn packed(bytes: &[u8]) -> Result<String, Box<dyn Error>> {
    let mut out = Vec::new();
    zopfli::compress(Options::default(), Format::Gzip, bytes, &mut out)?;
    Ok(STANDARD.encode(out))
}

fn hash(text: &str) -> String {
    format!("sha256-{}", STANDARD.encode(Sha256::digest(text)))
}
