#!/usr/bin/env bash
# Builds the collector for the desk and for a board with a radio, and runs it against a virtual sensor. Installs what is
# missing; `ci.sh install` does no more than that. More runs with random drops: RADIO_RUNS=50 ./ci.sh
set -euo pipefail
cd "$(dirname "$0")"
export CARGO_TERM_COLOR=never
export CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-$PWD/target}"
LOG=$(mktemp)
trap 'rm -f "$LOG"' EXIT
passed=0

missing=()
python3 -c 'import ensurepip, venv' 2>/dev/null || missing+=(python3-venv)
ls /usr/lib/llvm-*/lib/libclang*.so* >/dev/null 2>&1 && ls -d /usr/lib/llvm-*/lib/clang/*/include >/dev/null 2>&1 ||
    missing+=(libclang-dev)
[ -e /usr/include/newlib/stdint.h ] || missing+=(libnewlib-dev)
if [ ${#missing[@]} -gt 0 ]; then
    sudo=$([ "$(id -u)" -eq 0 ] || echo sudo)
    $sudo apt-get update -qq
    $sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}"
fi
rustup target add thumbv7em-none-eabihf
[ "${1:-}" != install ] || exit 0
source ./headers.sh

VENV="$CARGO_TARGET_DIR/venv"
[ -x "$VENV/bin/python" ] || python3 -m venv "$VENV"
"$VENV/bin/python" -m pip install --quiet --disable-pip-version-check -r sensor/requirements.txt

cargo fmt --all --check
cargo clippy --all-targets --quiet -- -D warnings
cargo test --quiet | tee "$LOG"
passed=$(awk '/^test result: ok/ { n += $4 } END { print n + 0 }' "$LOG")
[ "$passed" -gt 0 ] || { echo "nothing was checked"; exit 1; }
cargo build --quiet -p wrist-radio-desk

cargo clippy --quiet --release -p wrist-nrf52840 --target thumbv7em-none-eabihf -- -D warnings
./build.sh
cargo run --quiet -p wrist-radio-desk -- sizes "$CARGO_TARGET_DIR/thumbv7em-none-eabihf/release/wrist-nrf52840"

(cd sensor && "$VENV/bin/python" runs.py "$CARGO_TARGET_DIR/debug/wrist-radio-desk" ../../golden/day.frames \
    "$CARGO_TARGET_DIR" --runs "${RADIO_RUNS:-4}") | tee "$LOG"
runs=$(sed -n 's/^counts: \([0-9]*\) passed, 0 failed.*/\1/p' "$LOG")
[ -n "$runs" ]
echo "counts: $passed checks and $runs scenarios passed"
