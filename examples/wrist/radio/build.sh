#!/usr/bin/env bash
# Builds the nRF52840's image. On Debian or Ubuntu it needs libclang-dev and libnewlib-dev, which ./ci.sh installs.
set -euo pipefail
cd "$(dirname "$0")"
export CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-$PWD/target}"
rustup target add thumbv7em-none-eabihf
source ./headers.sh
cargo build --quiet --release -p wrist-nrf52840 --target thumbv7em-none-eabihf
echo "$CARGO_TARGET_DIR/thumbv7em-none-eabihf/release/wrist-nrf52840"
