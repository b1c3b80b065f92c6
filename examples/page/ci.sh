#!/usr/bin/env bash
# Builds the page and tests it: its module, the module against the desk tool, the page in Chromium. Installs what is
# missing. Pictures of the page are kept in the folder that PAGE_PICTURES names.
set -euo pipefail
cd "$(dirname "$0")"
export CARGO_TERM_COLOR=never
LOG=$(mktemp)
trap 'rm -f "$LOG"' EXIT
passed=0

missing=()
[ -n "${PAGE_CHROMIUM:-}" ] || [ -x /usr/bin/chromium ] || missing+=(chromium)
command -v node >/dev/null || missing+=(nodejs)
command -v npm >/dev/null || missing+=(npm)
if [ ${#missing[@]} -gt 0 ]; then
    sudo=$([ "$(id -u)" -eq 0 ] || echo sudo)
    $sudo apt-get update -qq
    $sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}"
fi

count() { # adds up what the last step passed: cargo's lines, or node's
    local more
    more=$(awk '/^test result: ok/ { n += $4 } /^# pass / { n += $3 } END { print n + 0 }' "$LOG")
    [ "$more" -gt 0 ] || { echo "nothing was checked"; exit 1; }
    passed=$((passed + more))
}

rustup target add wasm32-unknown-unknown
cargo fmt --all --check
cargo clippy --workspace --all-targets --quiet -- -D warnings
cargo clippy --quiet --release --target wasm32-unknown-unknown -p glidepath-page -- -D warnings
cargo test --workspace | tee "$LOG"
count
./build.sh
npm ci --no-audit --no-fund
node --test --test-reporter=tap --test-concurrency=2 tests/{table,numbers,page}.mjs | tee "$LOG"
count
echo "counts: $passed checks passed"
