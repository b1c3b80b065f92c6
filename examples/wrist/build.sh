#!/usr/bin/env bash
# Builds the images: one for each emulated board, and target/wrist-pico.uf2 and
# target/wrist-pico-pair.uf2 for the Pico.
set -euo pipefail
cd "$(dirname "$0")"
export CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-$PWD/target}"
rustup target add thumbv6m-none-eabi thumbv7m-none-eabi thumbv7em-none-eabihf riscv32imc-unknown-none-elf
cargo build --release -p wrist-pico --target thumbv6m-none-eabi
cargo build --release -p wrist-qemu --target thumbv6m-none-eabi
cargo build --release -p wrist-qemu --target thumbv7m-none-eabi
cargo build --release -p wrist-qemu --target thumbv7em-none-eabihf
cargo build --release -p wrist-qemu --target riscv32imc-unknown-none-elf
for image in wrist-pico wrist-pico-pair cycles cycles_pair; do
    cargo run --quiet -p wrist-desk -- uf2 "$CARGO_TARGET_DIR/thumbv6m-none-eabi/release/$image" "$CARGO_TARGET_DIR/$image.uf2"
done
