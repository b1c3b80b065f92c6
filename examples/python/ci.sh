#!/usr/bin/env bash
# ci.sh first: builds the wheel into a virtual environment and runs the first example.
# ci.sh: the same, then all tests. Installs what is missing; ends with a line of counts.
set -euo pipefail
cd "$(dirname "$0")"
ROOT=$(cd ../.. && pwd)
export CARGO_TERM_COLOR=never
# what the desk tool's build made of the same crates is used again
export CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-$ROOT/target}"
export GLIDEPATH_DESK="${GLIDEPATH_DESK:-$CARGO_TARGET_DIR/release/glidepath}"
VENV=${GLIDEPATH_VENV:-$PWD/.venv}
LOG=$(mktemp)
trap 'rm -f "$LOG"' EXIT

told() { printf 'ok  %4d s  %s\n' $SECONDS "$1"; }
quiet() { # quiet COMMAND...: its output only if it fails
    "$@" >"$LOG" 2>&1 || { tail -n 60 "$LOG"; return 1; }
}

python3 -c "import ensurepip" 2>/dev/null || {
    sudo=$([ "$(id -u)" -eq 0 ] || echo sudo)
    $sudo apt-get update -qq
    $sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends python3-venv
}
[ -x "$VENV/bin/python" ] || python3 -m venv "$VENV"
cmp -s requirements.txt "$VENV/requirements.txt" || {
    quiet "$VENV/bin/pip" install --disable-pip-version-check -r requirements.txt
    cp requirements.txt "$VENV"
}
told "virtual environment"

rm -rf "$VENV/wheels"
quiet "$VENV/bin/maturin" build --release --out "$VENV/wheels"
quiet "$VENV/bin/pip" install --disable-pip-version-check --no-deps --force-reinstall "$VENV"/wheels/*.whl
told "wheel $(basename "$VENV"/wheels/*.whl), $(($(stat -c %s "$VENV"/wheels/*.whl) / 1024)) KB"

"$VENV/bin/python" examples/first.py
told "first example"
[ "${1:-}" != first ] || exit 0

cargo fmt --check
quiet cargo clippy -- -D warnings
quiet cargo build --release --manifest-path "$ROOT/Cargo.toml" --bin glidepath
told "formatted, no lints; the desk tool"

"$VENV/bin/python" -m pytest tests -p no:cacheprovider >"$LOG" 2>&1 || { tail -n 80 "$LOG"; exit 1; }
told "tests"
echo "counts: $(grep -oE '[0-9]+ passed' "$LOG" | tail -n 1) from Python"
