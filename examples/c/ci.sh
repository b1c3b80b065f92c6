#!/usr/bin/env bash
# Builds the C face for every processor and shows all that README.md says of it, on a bare machine: installs what is
# missing, ends with a table and a line of counts. `ci.sh write` also puts the table into README.md.
set -euo pipefail
cd "$(dirname "$0")"
export CARGO_TERM_COLOR=never
export CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-$PWD/target}"
export GLIDEPATH_DIST="${GLIDEPATH_DIST:-$PWD/dist}"
DIST=$GLIDEPATH_DIST
WORK=$(mktemp -d)
trap 'rm -rf "$WORK"' EXIT
passed=0

missing=()
need() { command -v "$1" >/dev/null || missing+=("$2"); }
need gcc gcc
need g++ g++
need cmake cmake
need make make
need python3 python3
need arm-none-eabi-gcc gcc-arm-none-eabi
need riscv64-unknown-elf-gcc gcc-riscv64-unknown-elf
need qemu-system-arm qemu-system-arm
need qemu-system-riscv32 qemu-system-misc
need arduino-builder arduino-builder
need arduino-ctags arduino-ctags
python3 -c "import ensurepip" 2>/dev/null || missing+=(python3-venv)
if [ ${#missing[@]} -gt 0 ]; then
    sudo=$([ "$(id -u)" -eq 0 ] || echo sudo)
    $sudo apt-get update -qq
    $sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}"
fi
. checks/board.sh

ok() { # ok WHAT
    passed=$((passed + 1))
    printf 'ok  %4d s  %s\n' $SECONDS "$1"
}
quiet() { # quiet COMMAND...: its output only if it fails
    "$@" >"$WORK/log" 2>&1 || { tail -n 40 "$WORK/log"; return 1; }
}

# --- Rust's side ---
cargo fmt --check
cargo clippy --quiet --all-targets --features desk -- -D warnings
quiet cargo test --quiet
ok "Rust's tests of the face"
python3 checks/layout.py --check
ok "layout.def holds every type, field and number of the header"

# --- archives; prebuild.sh fails where a panic can be reached ---
./prebuild.sh
ok "archives: no panic reachable from any function, nothing else missing, nothing else exported"
LIBRARY=$DIST/lib/x86_64-linux-gnu/libglidepath.a
gcc -E -P -Iinclude include/glidepath.h | grep -oE '\bgp_[a-z_0-9]+\(' | tr -d '(' | sort -u >"$WORK/declared"
for archive in "$DIST"/lib/*/libglidepath.a; do
    python3 - "$archive" >"$WORK/exported" <<'PY'
# the global symbols that an ELF object in an archive defines; one reader for every processor
import struct, sys
data = open(sys.argv[1], "rb").read()
at, names = 8, set()
while at < len(data):
    size = int(data[at + 48 : at + 58]); body = data[at + 60 : at + 60 + size]; at += 60 + size + size % 2
    if body[:4] != b"\x7fELF": continue
    wide = body[4] == 2
    if wide: shoff, = struct.unpack_from("<Q", body, 40); entry, count = struct.unpack_from("<HH", body, 58)
    else: shoff, = struct.unpack_from("<I", body, 32); entry, count = struct.unpack_from("<HH", body, 46)
    form = "<IIQQQQIIQQ" if wide else "<IIIIIIIIII"
    sections = [struct.unpack_from(form, body, shoff + i * entry) for i in range(count)]
    for section in sections:
        if section[1] != 2: continue
        strings = sections[section[6]][4]
        for place in range(section[4], section[4] + section[5], 24 if wide else 16):
            if wide: name, info, _, where = struct.unpack_from("<IBBH", body, place)
            else: name, _, _, info, _, where = struct.unpack_from("<IIIBBH", body, place)
            if info >> 4 and where: names.add(body[strings + name : body.index(b"\0", strings + name)].decode())
print("\n".join(sorted(names)))
PY
    diff "$WORK/declared" "$WORK/exported" || { echo "$archive: not what the header declares"; exit 1; }
done
functions=$(wc -l <"$WORK/declared")
ok "each archive exports the header's $functions functions and nothing else"

# --- header and layout, in C and C++, for every processor ---
for name in $NAMES desk; do
    PREFIX="" FLAGS="" HOSTED=""
    [ $name = desk ] || { board $name; HOSTED=-ffreestanding; } # without a C library
    for standard in c99 c11 c17; do
        # shellcheck disable=SC2086
        "${PREFIX}gcc" -std=$standard $STRICT $FLAGS $HOSTED -Iinclude -c checks/layout.c -o /dev/null
    done
    for standard in c++11 c++17; do
        printf '#include "glidepath.hpp"\n#include "%s/checks/layout.c"\n' "$PWD" >"$WORK/layout.cpp"
        # shellcheck disable=SC2086
        "${PREFIX}g++" -std=$standard -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Werror $FLAGS $HOSTED -fno-exceptions \
            -Iinclude -c "$WORK/layout.cpp" -o /dev/null
    done
    passed=$((passed + 5))
done
ok "sizes, offsets and numbers in C99, C11, C17, C++11, C++17 on each processor, warnings as errors"

# --- the same bits ---
cargo run --quiet --features desk --bin day >"$WORK/day.rust"
grep -c . "$WORK/day.rust" | grep -qx 13 || { echo "the days have not thirteen parts"; exit 1; }
desk() { # desk OUT FLAGS_AND_SOURCES...
    local out=$1
    shift
    # shellcheck disable=SC2086
    gcc -std=c99 $STRICT -O1 -g -Iinclude -Ichecks "$@" "$LIBRARY" -lm -o "$out"
}
desk "$WORK/day" checks/day.c checks/desk.c
"$WORK/day" | diff "$WORK/day.rust" -
ok "three days on a desk, from C: Rust's bits"

# --- hostile arguments, under the address sanitizer ---
desk "$WORK/hostile" -Wno-conversion -fsanitize=address,undefined -fno-sanitize-recover=all checks/hostile.c checks/desk.c
"$WORK/hostile" >"$WORK/hostile.txt" || { grep -v '^called' "$WORK/hostile.txt"; exit 1; }
sed -n 's/^called //p' "$WORK/hostile.txt" | sort -u | diff "$WORK/declared" - || { echo "not every function was called"; exit 1; }
hostile=$(sed -n 's/^checks //p' "$WORK/hostile.txt")
ok "all $functions functions with hostile arguments under the address sanitizer, $hostile checks"

# shellcheck disable=SC2086
gcc -std=c99 $STRICT -O1 -g -fsanitize=address,undefined -Ichecks -c checks/desk.c -o "$WORK/desk.o"
for standard in c++11 c++20; do
    g++ -std=$standard -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Werror -O1 -g -fsanitize=address,undefined \
        -fno-sanitize-recover=all -Iinclude -Ichecks checks/face.cpp "$WORK/desk.o" "$LIBRARY" -lm -o "$WORK/face"
    "$WORK/face"
done
ok "glidepath.hpp, every function, under the address sanitizer"

# --- boards: bits, stack, flash ---
size_of() { "${PREFIX}size" -A "$1" | awk '$1==".text"||$1==".data"||$1==".ARM.exidx"{n+=$2} END{print n}'; }
within() { # within WHAT VALUE BOUND
    [ "$2" -le "$3" ] || { echo "$1: $2 bytes, over the bound of $3"; exit 1; }
}
{
    echo "| processor | bits | flash: direction / trend monitor / monitor / with settings / with snapshots / pair / with snapshots | stack: direction / trend monitor | monitor: init / with settings / push / save / restore | pair: init / with settings / push / save / restore |"
    echo "| --- | --- | --- | --- | --- | --- |"
} >"$WORK/table"
: >"$WORK/ram"
for name in $NAMES; do
    image $name "$WORK/day.$name" checks/day.c
    run $name "$WORK/day.$name" | diff "$WORK/day.rust" - || { echo "$name: other bits than Rust's"; exit 1; }
    passed=$((passed + 1))
    printf '#include "board.h"\nint check(void) { return 0; }\n' >"$WORK/empty.c"
    image $name "$WORK/empty" "$WORK/empty.c"
    empty=$(size_of "$WORK/empty")
    flash=""
    for what in "-DDIRECTION 16500" "-DTREND 22000" "-DMONITOR 52000" "-DMONITOR -DSETTINGS 66000" "-DMONITOR -DSNAPSHOT 60000" "-DPAIR 68000" "-DPAIR -DPAIR_SNAPSHOT 79000"; do
        # shellcheck disable=SC2086
        image $name "$WORK/flash" ${what% *} checks/flash.c
        run $name "$WORK/flash" || { echo "$name: ${what% *} does not run"; exit 1; }
        bytes=$(($(size_of "$WORK/flash") - empty))
        within "$name ${what% *}" $bytes "${what##* }"
        flash="$flash${flash:+ / }$bytes"
    done
    image $name "$WORK/direction" -DDIRECTION checks/measure.c
    run $name "$WORK/direction" >"$WORK/stack"
    direction=$(sed -n 's/^direction //p' "$WORK/stack")
    while read -r what ram; do
        grep -qx "$what $ram" "$WORK/ram" || echo "$what $ram" >>"$WORK/ram"
    done < <(sed -n 's/^ram //p' "$WORK/stack")
    trend=$(sed -n 's/^trend //p' "$WORK/stack")
    within "$name direction stack" "$direction" 2048
    within "$name trend monitor stack" "$trend" 2048
    declare -A deepest=([init]=0 [init_with]=0 [push]=0 [save]=0 [restore]=0)
    for readings in 24 96 288 1440; do
        image $name "$WORK/measure" -DREADINGS=$readings checks/measure.c
        run $name "$WORK/measure" >"$WORK/stack" || { cat "$WORK/stack"; exit 1; }
        for act in init init_with push save restore; do
            bytes=$(sed -n "s/^$act //p" "$WORK/stack")
            case $act in init*) bound=12288 ;; push) bound=4096 ;; save | restore) bound=1152 ;; esac
            within "$name $readings $act" "$bytes" $bound
            [ "$bytes" -le "${deepest[$act]}" ] || deepest[$act]=$bytes
        done
        ram=$(sed -n 's/^ram //p' "$WORK/stack")
        within "$name $readings ram" "$ram" $((2740 + 6 * readings))
        grep -qx "$readings $ram" "$WORK/ram" || echo "$readings $ram" >>"$WORK/ram"
        printf '%s, %d readings: RAM %d, stack %s\n' "$name" $readings "$ram" "$(grep -v '^ram' "$WORK/stack" | paste -sd, -)"
        passed=$((passed + 1))
    done
    image $name "$WORK/measure" -DPAIR -DREADINGS=288 checks/measure.c
    run $name "$WORK/measure" >"$WORK/stack" || { cat "$WORK/stack"; exit 1; }
    pair=""
    for act in "init 16384" "init_with 18432" "push 4352" "save 1024" "restore 1600" "ram 7552"; do
        bytes=$(sed -n "s/^${act% *} //p" "$WORK/stack")
        within "$name pair ${act% *}" "$bytes" "${act#* }"
        [ "${act% *}" = ram ] || pair="$pair${pair:+ / }$bytes"
    done
    grep -qx "gp_pair_288 $bytes" "$WORK/ram" || echo "gp_pair_288 $bytes" >>"$WORK/ram"
    printf '%s, two sensors, 288 readings of each: RAM %d, stack of init, init_with, push, save, restore %s\n' "$name" "$bytes" "$pair"
    passed=$((passed + 1))
    echo "| $name | equal | $flash | $direction / $trend | ${deepest[init]} / ${deepest[init_with]} / ${deepest[push]} / ${deepest[save]} / ${deepest[restore]} | $pair |" >>"$WORK/table"
done
ok "three days on emulated M0+ code, M3, M4F, M33 and RISC-V: Rust's bits; flash and stack within bounds"
if image cortex-m3-soft "$WORK/mixed" checks/day.c "$DIST/lib/cortex-m4-hard/libglidepath.a" 2>"$WORK/log"; then
    echo "soft and hard float were mixed unnoticed"
    exit 1
fi
grep -q 'VFP register arguments' "$WORK/log"
ok "the linker refuses to mix soft and hard float"

# --- examples ---
added=$({ diff examples/sketch/before/sketch.ino examples/sketch/after/sketch.ino || true; } | grep -c '^>')
[ "$added" -lt 10 ] || { echo "the trend sign takes $added lines"; exit 1; }
# The Arduino builder itself finds the library, reads the sketch, compiles and links. The version that is packaged for
# Debian is older than archives in libraries: where newer ones look for the archive is told to it.
ide=$WORK/arduino hardware=$WORK/arduino/hardware/check/arm
mkdir -p "$hardware/cores/bare" "$ide/libraries"
cp -r "$DIST/arduino" "$ide/libraries/glidepath"
cp checks/arduino/platform.txt "$hardware"
cp checks/arduino/Arduino.h checks/arduino/core.cpp checks/bare.c checks/board.h checks/board.ld "$hardware/cores/bare"
for name in $NAMES; do
    [[ $name = cortex* ]] || continue
    board "$name"
    printf "$name.%s\n" name="$name" build.board="$name" build.mcu="${name%-*}" build.core=bare build.flags="$FLAGS" \
        build.rom="$ROM" build.ram="$RAM" build.ram_size="$RAM_SIZE" >>"$hardware/boards.txt"
done
for name in $NAMES; do
    [[ $name = cortex* ]] || continue
    board "$name"
    folder=${name%-*}$(sed -n 's|.*-mfloat-abi=\([a-z]*\) -mfpu=\([a-z0-9-]*\).*|/\2-\1|p' <<<"$FLAGS")
    mkdir "$ide/$name"
    quiet arduino-builder -compile -hardware "$ide/hardware" -hardware /usr/share/arduino-builder -tools /usr/bin -verbose \
        -libraries "$ide/libraries" -fqbn "check:arm:$name" -build-path "$ide/$name" \
        -prefs "compiler.libraries.ldflags=-L$ide/libraries/glidepath/src/$folder -lglidepath" \
        "$ide/libraries/glidepath/examples/sketch/sketch.ino"
    grep -q 'Using library glidepath at version 0.1.0' "$WORK/log"
    run "$name" "$ide/$name/sketch.elf" >"$WORK/sketch.txt"
    grep -qx '160 falling' "$WORK/sketch.txt" && grep -qx '180 not known' "$WORK/sketch.txt" || { cat "$WORK/sketch.txt"; exit 1; }
    passed=$((passed + 1))
done
ok "a trend sign in a sketch, $added lines more, by the Arduino builder, on each Cortex"
image cortex-m0plus-soft "$WORK/light" examples/light/light.c checks/light.c
run cortex-m0plus-soft "$WORK/light" | diff checks/light.txt -
ok "the bedside light through a night"
package() { # package PACKAGE NAME FLAGS...: the package's own CMake files around the three days, and run
    local package=$1 name=$2
    shift 2
    board "$name"
    quiet cmake -S checks/packages -B "$WORK/$package-$name" -DPACKAGE="$package" -DDIST="$DIST" -DCMAKE_SYSTEM_NAME=Generic \
        -DCMAKE_C_COMPILER="${PREFIX}gcc" -DCMAKE_TRY_COMPILE_TARGET_TYPE=STATIC_LIBRARY -DCMAKE_C_FLAGS="${ARCH:-$FLAGS}" \
        -DROM="$ROM" -DRAM="$RAM" -DRAM_SIZE="$RAM_SIZE" "$@"
    quiet cmake --build "$WORK/$package-$name"
    run "$name" "$WORK/$package-$name/day" | diff "$WORK/day.rust" - || { echo "$package, $name: other bits"; exit 1; }
    passed=$((passed + 1))
}
tools=$CARGO_TARGET_DIR/tools
[ -x "$tools/bin/compote" ] || { python3 -m venv "$tools" && "$tools/bin/pip" install --quiet kconfiglib==14.1.0 idf-component-manager==3.1.2; }
cp -r "$DIST/esp-idf" "$WORK/component"
IDF_TOOLS_PATH=$WORK/idf quiet "$tools/bin/compote" -W component pack --name glidepath --project-dir "$WORK/component" --dest-dir packed
tar tzf "$WORK"/component/packed/glidepath_0.1.0.tgz | grep -qx ./lib/libglidepath.a
ARCH="-march=rv32imac -mabi=ilp32" package esp-idf riscv32imc-ilp32
ok "the ESP-IDF component: packed by its component manager, built by its own files"
for name in $NAMES; do
    case $name in
    riscv*) symbols="RISCV RISCV_ISA_RV32I RISCV_ISA_EXT_M RISCV_ISA_EXT_C" ;;
    *) symbols=CPU_$(tr 'a-z-' 'A-Z_' <<<"${name%-*}") ;;
    esac
    [[ $name != *-hard ]] || symbols="$symbols FP_HARDABI"
    # shellcheck disable=SC2046,SC2086
    package zephyr "$name" $("$tools/bin/python" checks/packages/kconfig.py $symbols)
done
for wrong in "" CPU_CORTEX_M7 "RISCV_ISA_RV32I RISCV_ISA_EXT_M" "RISCV_ISA_RV32I RISCV_ISA_EXT_M RISCV_ISA_EXT_C FLOAT_HARD"; do
    # shellcheck disable=SC2086
    ! "$tools/bin/python" checks/packages/kconfig.py $wrong 2>/dev/null || { echo "Kconfig offers the library for $wrong"; exit 1; }
    passed=$((passed + 1))
done
ok "the Zephyr module: its Kconfig, and built by its own files, for each processor"

# --- CMake: which archive, three ways to take it; the desk program ---
while IFS='|' read -r want flags system processor; do
    got=$(cmake -DFLAGS="$flags" -DSYSTEM="$system" -DPROCESSOR="$processor" -P checks/cmake/processor.cmake 2>&1) || got=refused
    [ "$got" = "$want" ] || { echo "CMake takes $got for '$flags' on $system, not $want"; exit 1; }
    passed=$((passed + 1))
done <checks/cmake/processor.txt
quiet cmake -S . -B "$WORK/build" -DGLIDEPATH_ARCHIVE="$LIBRARY" -DCMAKE_INSTALL_PREFIX="$WORK/installed"
quiet cmake --install "$WORK/build"
quiet cmake -S checks/cmake/found -B "$WORK/found" -DSOURCE="$PWD/examples/replay" -DCMAKE_PREFIX_PATH="$WORK/installed"
quiet cmake --build "$WORK/found"
quiet cmake -S checks/cmake/found -B "$WORK/unbuilt" -DSOURCE="$PWD/examples/replay" -Dglidepath_DIR="$WORK/build"
quiet cmake --build "$WORK/unbuilt"
quiet cmake -S checks/cmake/fetched -B "$WORK/fetched" -DSOURCE="$PWD/examples/replay" -DREPOSITORY="$PWD/../.." \
    -DGLIDEPATH_ARCHIVE="$LIBRARY"
quiet cmake --build "$WORK/fetched"
for how in found unbuilt fetched; do
    "$WORK/$how/replay" examples/replay/invented.csv 2>"$WORK/words" >"$WORK/$how.csv"
    [ "$(wc -l <"$WORK/$how.csv")" -eq 73 ]
    grep -q ',glucose is very low$' "$WORK/$how.csv"
    grep -q '^72 readings: .* of the time in 70 to 180' "$WORK/words"
done
for bad in 'time,glucose_mg_dl\n5,abc\n' 'time,glucose_mg_dl\n-5,100\n' 'time,glucose_mg_dl\n2024-13-01T00:00:00Z,100\n' \
    'time,glucose_mg_dl\n5\n' 'when,glucose_mg_dl\n5,100\n' 'time,glucose_mg_dl\n5,-4\n' ''; do
    # shellcheck disable=SC2059
    printf "$bad" >"$WORK/bad.csv"
    status=0
    "$WORK/found/replay" "$WORK/bad.csv" >/dev/null 2>"$WORK/words" || status=$?
    [ $status -eq 2 ] && grep -q 'line [12]: ' "$WORK/words" || { echo "bad.csv: $status"; cat "$WORK/words"; exit 1; }
    passed=$((passed + 1))
done
ok "the desk program by find_package, installed and from the build folder, and by FetchContent, on an invented trace; seven bad files refused with their line"

# --- the newcomer's path of README.md, as written there ---
awk '/^<!-- newcomer -->/{on=1} /^<!-- end -->/{on=0} on' README.md | sed -n '/^```sh$/,/^```$/p' | grep -v '^```' >"$WORK/newcomer.sh"
[ "$(grep -c . "$WORK/newcomer.sh")" -gt 10 ]
mkdir "$WORK/newcomer"
(cd "$WORK/newcomer" && GLIDEPATH=$(cd "$OLDPWD/../.." && pwd) bash -euo pipefail "$WORK/newcomer.sh") >"$WORK/log" 2>&1 ||
    { tail -n 40 "$WORK/log"; exit 1; }
grep -qx '88 mg/dL falling' "$WORK/log" || { tail -n 20 "$WORK/log"; exit 1; }
ok "from an empty C++ project to a trend sign, as README.md says"

# --- Miri over the face ---
rustup toolchain list | grep -q '^nightly' || rustup --quiet toolchain install nightly --profile minimal
rustup --quiet component add --toolchain nightly miri rust-src
quiet env CARGO_TARGET_DIR="$CARGO_TARGET_DIR/miri" MIRIFLAGS=-Zmiri-disable-isolation \
    cargo +nightly miri test --quiet --features soft
miri=$(awk '/^test result: ok/ { n += $4 } END { print n + 0 }' "$WORK/log")
[ "$miri" -ge 20 ] || { echo "Miri ran $miri tests"; exit 1; }
ok "Miri over the face, $miri tests"

# --- what was measured, as README.md shows it; `ci.sh write` writes it there ---
{
    cat "$WORK/table"
    echo
    echo "| memory | bytes |"
    echo "| --- | --- |"
    while read -r what ram; do
        case $what in
        [0-9]*) echo "| \`gp_monitor_$what\`: a monitor that keeps $what readings | $ram |" ;;
        gp_pair_[0-9]*) echo "| \`$what\`: a monitor of two sensors that keeps ${what#gp_pair_} readings of each | $ram |" ;;
        *) echo "| \`$what\` | $ram |" ;;
        esac
    done <"$WORK/ram"
} >"$DIST/measured.md"
echo
cat "$DIST/measured.md"
awk -v from="$DIST/measured.md" '/^<!-- measured -->$/ { print; while ((getline row < from) > 0) print row; on = 1 }
    /^<!-- end -->$/ { on = 0 } !on' README.md >"$WORK/README.md"
[ "${1:-}" != write ] || cp "$WORK/README.md" README.md
cmp -s "$WORK/README.md" README.md || echo "README.md shows other figures; ci.sh write"
echo "counts: $passed checks passed, $hostile with hostile arguments, $functions functions, bits equal on $(($(wc -w <<<"$NAMES") + 1)) processors, $miri tests under Miri"
