#!/usr/bin/env python3
"""Whether the Zephyr module can be switched on where these symbols hold, by the parser that Zephyr's own grew from: gives
them as CMake takes them. The symbols are Zephyr's, from memory."""
import sys, tempfile
from pathlib import Path
import kconfiglib

here = Path(__file__).resolve().parent
known = sys.argv[1:]
asked = "CPU_CORTEX_M0PLUS CPU_CORTEX_M3 CPU_CORTEX_M4 CPU_CORTEX_M7 CPU_CORTEX_M33 FP_HARDABI FLOAT_HARD RISCV RISCV_ISA_RV32I \
RISCV_ISA_EXT_M RISCV_ISA_EXT_C".split()
with tempfile.TemporaryDirectory() as folder:
    top = Path(folder, "Kconfig")
    rows = [f"config {name}\n\tbool\n\tdefault {'y' if name in known else 'n'}\n" for name in asked]
    top.write_text("".join(rows) + f'source "{here}/../../packages/zephyr/zephyr/Kconfig"\n')
    config = kconfiglib.Kconfig(str(top))
config.syms["GLIDEPATH"].set_value(2)
if config.warnings or config.syms["GLIDEPATH"].str_value != "y" or not set(known) <= set(asked):
    sys.exit(f"GLIDEPATH stays off; {config.warnings}")
print(*(f"-DCONFIG_{name}=y" for name in [*known, "GLIDEPATH"]))
