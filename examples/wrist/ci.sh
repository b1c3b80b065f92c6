#!/usr/bin/env bash
# Builds the wrist for the desk, the Pico and the emulated boards, and runs all of it. Installs what is missing.
# Pictures that the emulators show are kept in the folder that WRIST_PICTURES names.
set -euo pipefail
cd "$(dirname "$0")"
export CARGO_TERM_COLOR=never
CARGO_TARGET_DIR=$(realpath -m "${CARGO_TARGET_DIR:-target}") # the emulators run in another folder
export CARGO_TARGET_DIR
if [ -n "${WRIST_PICTURES:-}" ]; then
    mkdir -p "$WRIST_PICTURES"
    WRIST_PICTURES=$(realpath "$WRIST_PICTURES")
    export WRIST_PICTURES
fi
LOG=$(mktemp)
trap 'rm -f "$LOG"' EXIT
passed=0

missing=()
command -v qemu-system-arm >/dev/null || missing+=(qemu-system-arm)
command -v qemu-system-riscv32 >/dev/null || missing+=(qemu-system-misc)
command -v node >/dev/null || missing+=(nodejs)
command -v npm >/dev/null || missing+=(npm)
if [ ${#missing[@]} -gt 0 ]; then
    sudo=$([ "$(id -u)" -eq 0 ] || echo sudo)
    $sudo apt-get update -qq
    $sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}"
fi
rustup target add thumbv6m-none-eabi riscv32imc-unknown-none-elf # to be looked through before ./build.sh adds all of them

count() { # adds up what the last step passed: cargo's lines, or node's
    local more
    more=$(awk '/^test result: ok/ { n += $4 } /^# pass / { n += $3 } END { print n + 0 }' "$LOG")
    [ "$more" -gt 0 ] || { echo "nothing was checked"; exit 1; }
    passed=$((passed + more))
}

cargo fmt --all --check
cargo clippy --all-targets --quiet -- -D warnings
for target in thumbv6m-none-eabi riscv32imc-unknown-none-elf; do
    cargo clippy --quiet --release -p wrist-qemu --target "$target" -- -D warnings
done
cargo clippy --quiet --release -p wrist-pico --target thumbv6m-none-eabi -- -D warnings
cargo clippy --quiet --release -p wrist-pico --target thumbv6m-none-eabi --features defmt -- -D warnings
cargo build --release -p wrist-pico --target thumbv6m-none-eabi --features defmt # linked too; build.sh replaces it
./build.sh

cargo test --no-run
began=$SECONDS
WRIST_EMULATED=$CARGO_TARGET_DIR cargo test -- --nocapture | tee "$LOG"
count
desk_s=$((SECONDS - began))
cd emulator
npm ci --no-audit --no-fund
began=$SECONDS
WRIST_UF2=$CARGO_TARGET_DIR node --test --test-reporter=tap --test-concurrency=2 energy.test.mjs test.mjs week.mjs | tee "$LOG"
count
echo "counts: $passed checks passed; took $desk_s s on the desk and in qemu, $((SECONDS - began)) s on the emulated Pico"
