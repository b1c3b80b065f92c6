#!/usr/bin/env bash
# Builds the archives for C, one folder for each kind of processor and float ABI: dist/lib/NAME/libglidepath.a, with the
# packages around them: dist/arduino, dist/esp-idf, dist/zephyr. `prebuild.sh NAME...` builds only those named.
# Needs: rustup, arm-none-eabi and riscv64-unknown-elf binutils (for the archives of those processors).
#
# An archive from Rust alone is 5 MB and brings its own memset and float helpers, which could take the place of the C
# library's. So it is linked to one object of what the header declares, and everything else in it is made local. What
# that object then lacks shows that no panic is reachable: the panic handler calls a function that nobody defines.
set -euo pipefail
cd "$(dirname "$0")"
export CARGO_TERM_COLOR=never
export CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-$PWD/target}"
DIST="${GLIDEPATH_DIST:-$PWD/dist}"

# name, Rust target, binutils prefix, linker emulation
TARGETS="cortex-m0plus-soft thumbv6m-none-eabi arm-none-eabi- armelf
cortex-m3-soft thumbv7m-none-eabi arm-none-eabi- armelf
cortex-m4-soft thumbv7em-none-eabi arm-none-eabi- armelf
cortex-m4-hard thumbv7em-none-eabihf arm-none-eabi- armelf
cortex-m33-soft thumbv8m.main-none-eabi arm-none-eabi- armelf
cortex-m33-hard thumbv8m.main-none-eabihf arm-none-eabi- armelf
riscv32imc-ilp32 riscv32imc-unknown-none-elf riscv64-unknown-elf- elf32lriscv
x86_64-linux-gnu x86_64-unknown-linux-gnu - elf_x86_64"

functions() { # what the header declares
    sed -n 's/^[a-z].*[ *]\(gp_[a-z_0-9]*\)(.*/\1/p' include/glidepath.h
}

one() { # one PREFIX EMULATION OUT ARCHIVE ROOT...: what the roots need, as one object
    local prefix=${1#-} out=$3
    "${prefix}ld" -m "$2" -r --gc-sections "${@:5}" -o "$out" "$4"
    # compilers' own sections; GNU tools with a plugin for LLVM stumble over them
    "${prefix}objcopy" --strip-unneeded --remove-section=.llvmbc --remove-section=.llvmcmd --remove-section=.comment \
        --remove-section=.eh_frame "$out"
}

lacks() { # lacks PREFIX OBJECT: what it needs that no C library has
    "${1}nm" -u "$2" | grep -vE ' U (memcpy|memmove|memset|memcmp|bcmp)$' || true
}

archive() { # archive NAME TARGET PREFIX EMULATION
    local out=$DIST/lib/$1 prefix=${3#-}
    mkdir -p "$out"
    rustup --quiet target add "$2" 2>/dev/null || rustup target add "$2"
    cargo rustc --quiet --lib --release --target "$2" --features archive --crate-type staticlib
    functions >"$out/functions"
    local roots
    roots=$(sed 's/^/-u /' "$out/functions")
    local all=$out/all.o not=$out/not.o whole=$CARGO_TARGET_DIR/$2/release/libglidepath_c.a
    # shellcheck disable=SC2086
    one "$3" "$4" "$all" "$whole" $roots
    if lacks "$prefix" "$all" | grep .; then
        echo "$1: the archive lacks these"
        exit 1
    fi
    one "$3" "$4" "$not" "$whole" -u gp_proof_can_fail
    "${prefix}nm" -u "$not" | grep -q gp_a_panic_is_reachable || { echo "$1: the proof proves nothing"; exit 1; }
    "${prefix}objcopy" --keep-global-symbols="$out/functions" "$all" "$out/glidepath.o"
    rm -f "$out/libglidepath.a"
    "${prefix}ar" rcsD "$out/libglidepath.a" "$out/glidepath.o"
    rm "$all" "$not" "$out/glidepath.o" "$out/functions"
    printf '%-20s %7d bytes  %s\n' "$1" "$(stat -c %s "$out/libglidepath.a")" "$out/libglidepath.a"
}

while read -r name target prefix emulation; do
    if [ $# -eq 0 ] || [[ " $* " = *" $name "* ]]; then
        archive "$name" "$target" "$prefix" "$emulation"
    fi
done <<<"$TARGETS"

# --- the packages, each whole in its folder: what is committed, with the headers and the archives it takes ---
lib() { # lib NAME TO: an archive to its place in a package, if it was built
    [ ! -f "$DIST/lib/$1/libglidepath.a" ] || install -D -m 644 "$DIST/lib/$1/libglidepath.a" "$2/libglidepath.a"
}
for package in arduino esp-idf zephyr; do
    rm -rf "${DIST:?}/$package"
    cp -r "packages/$package" "$DIST/$package"
done
mkdir -p "$DIST/arduino/src" "$DIST/arduino/examples/sketch" "$DIST/esp-idf/include" "$DIST/zephyr/include"
for to in arduino/src esp-idf/include zephyr/include; do
    cp include/glidepath.h include/glidepath.hpp "$DIST/$to"
done
cp examples/sketch/after/sketch.ino "$DIST/arduino/examples/sketch/sketch.ino"
# where the Arduino builder looks: the processor's name, and for one with a floating point unit how it is used
lib cortex-m0plus-soft "$DIST/arduino/src/cortex-m0plus"
lib cortex-m3-soft "$DIST/arduino/src/cortex-m3"
lib cortex-m4-soft "$DIST/arduino/src/cortex-m4"
lib cortex-m4-soft "$DIST/arduino/src/cortex-m4/fpv4-sp-d16-softfp"
lib cortex-m4-hard "$DIST/arduino/src/cortex-m4/fpv4-sp-d16-hard"
lib cortex-m33-soft "$DIST/arduino/src/cortex-m33"
lib cortex-m33-soft "$DIST/arduino/src/cortex-m33/fpv5-sp-d16-softfp"
lib cortex-m33-hard "$DIST/arduino/src/cortex-m33/fpv5-sp-d16-hard"
for name in esp32c2 esp32c3 esp32c6 esp32h2; do
    lib riscv32imc-ilp32 "$DIST/arduino/src/$name"
done
lib riscv32imc-ilp32 "$DIST/esp-idf/lib"
while read -r name _; do
    [ "$name" = x86_64-linux-gnu ] || lib "$name" "$DIST/zephyr/lib/$name"
done <<<"$TARGETS"
