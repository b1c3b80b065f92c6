#!/usr/bin/env python3
"""Writes layout.def anew from the header and from what a C compiler makes of it; for whoever changes the header. The
sizes of opaque types are taken from it too. `cargo build` and C then hold each side against it."""
import re, subprocess, sys, tempfile, os

here = os.path.dirname(os.path.abspath(__file__)) + "/.."
text = re.sub(r"/\*.*?\*/", "", open(here + "/include/glidepath.h").read(), flags=re.S)
structs = re.findall(r"typedef struct (\w+) \{(.*?)\} \1;", text, flags=re.S)
enums = re.findall(r"\b(GP_\w+) = \d+", text) + re.findall(r"^#define (GP_\w+) \w+$", text, flags=re.M)
rows = []
for name, body in structs:
    if "GP_WORDS_" in body:
        narrow, wide = re.search(r"GP_WORDS_\((\d+), (\d+)\)", body).groups()
        rows.append(f"OPAQUE({name}, {8 * int(narrow)}, {8 * int(wide)})")
        continue
    rows.append(f"SIZE({name}, @sizeof({name}))")
    for field in re.findall(r"(\w+)(?:\[\w+\])?;", body):
        rows.append(f"AT({name}, {field}, @offsetof({name}, {field}))")
rows += [f"NUMBER({name}, @({name}))" for name in enums]
wanted = [row.split("@", 1)[1][:-1] for row in rows if "@" in row]
with tempfile.TemporaryDirectory() as folder:
    prints = "".join(f'printf("%lld\\n", (long long){what});' for what in wanted)
    open(folder + "/a.c", "w").write(
        f'#include "glidepath.h"\n#include <stdio.h>\nint main(void) {{ {prints} return 0; }}')
    subprocess.run(["cc", "-I", here + "/include", folder + "/a.c", "-o", folder + "/a"], check=True)
    numbers = iter(subprocess.run([folder + "/a"], check=True, capture_output=True, text=True).stdout.split())
rows = [row.split("@")[0] + next(numbers) + ")" if "@" in row else row for row in rows]
written = "\n".join(rows) + "\n"
if sys.argv[1:] == ["--check"]:
    sys.exit(0 if open(here + "/layout.def").read() == written else "layout.def does not hold the whole header")
open(here + "/layout.def", "w").write(written)
