#!/usr/bin/env bash
# Builds the page: target/page.html, one file. Needs Rust alone.
set -euo pipefail
cd "$(dirname "$0")"
target="${CARGO_TARGET_DIR:-$PWD/target}"
rustup target add wasm32-unknown-unknown
cargo build --quiet --release --target wasm32-unknown-unknown -p glidepath-page
# the demo's tables are the desk tool's
(cd ../.. && env -u CARGO_TARGET_DIR cargo run --quiet --release -- replay --out "$target/demo" >/dev/null)
cargo run --quiet --release -p page-make -- "$target/wasm32-unknown-unknown/release/glidepath_page.wasm" \
    "$target/demo/trace.csv" "$target/demo/fingersticks.csv" "$target/page.html"
