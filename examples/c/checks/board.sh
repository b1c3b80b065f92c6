# Sourced: builds and runs C on the emulated boards.
# name, compiler prefix, flags, ROM, RAM, size of RAM, emulator
BOARDS="cortex-m0plus-soft|arm-none-eabi-|-mcpu=cortex-m0plus -mthumb|0|0x20000000|0x400000|qemu-system-arm -M mps2-an385
cortex-m3-soft|arm-none-eabi-|-mcpu=cortex-m3 -mthumb|0|0x20000000|0x400000|qemu-system-arm -M mps2-an385
cortex-m4-soft|arm-none-eabi-|-mcpu=cortex-m4 -mthumb -mfloat-abi=softfp -mfpu=fpv4-sp-d16|0|0x20000000|0x400000|qemu-system-arm -M mps2-an386
cortex-m4-hard|arm-none-eabi-|-mcpu=cortex-m4 -mthumb -mfloat-abi=hard -mfpu=fpv4-sp-d16|0|0x20000000|0x400000|qemu-system-arm -M mps2-an386
cortex-m33-soft|arm-none-eabi-|-mcpu=cortex-m33 -mthumb -mfloat-abi=softfp -mfpu=fpv5-sp-d16|0x10000000|0x38000000|0x200000|qemu-system-arm -M mps2-an505
cortex-m33-hard|arm-none-eabi-|-mcpu=cortex-m33 -mthumb -mfloat-abi=hard -mfpu=fpv5-sp-d16|0x10000000|0x38000000|0x200000|qemu-system-arm -M mps2-an505
riscv32imc-ilp32|riscv64-unknown-elf-|-march=rv32imc -mabi=ilp32|0x80000000|0x80400000|0x400000|qemu-system-riscv32 -M virt -bios none"
NAMES=$(cut -d"|" -f1 <<<"$BOARDS")
STRICT="-Wall -Wextra -Wpedantic -Wconversion -Wshadow -Wstrict-prototypes -Werror"

board() { # board NAME: sets what the others use
    IFS='|' read -r _ PREFIX FLAGS ROM RAM RAM_SIZE QEMU <<<"$(grep "^$1|" <<<"$BOARDS")"
}

image() { # image NAME OUT FLAGS_AND_SOURCES...
    local name=$1 out=$2
    shift 2
    board "$name"
    # shellcheck disable=SC2086
    "${PREFIX}gcc" -std=c99 $STRICT $FLAGS -Os -ffreestanding -fno-builtin -ffunction-sections -fdata-sections \
        -nostdlib -nostartfiles -Iinclude -Ichecks -Wl,--gc-sections -Wl,--no-warn-rwx-segments -Wl,-z,noexecstack -Wl,-Tchecks/board.ld \
        -Wl,--defsym=image_rom="$ROM",--defsym=image_ram="$RAM",--defsym=image_ram_size="$RAM_SIZE" \
        "$@" checks/bare.c "$DIST/lib/$name/libglidepath.a" -lgcc -o "$out"
}

run() { # run NAME IMAGE: its output, its exit code
    board "$1"
    # shellcheck disable=SC2086
    timeout 300 $QEMU -nographic -serial null -monitor none -semihosting-config enable=on,target=native -kernel "$2" 2>&1
}
