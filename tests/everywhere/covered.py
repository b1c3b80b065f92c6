"""Names every public function of src/ that one run of `desk` did not enter.

usage: covered.py COVERAGE.json SRC, where the first is `llvm-cov export` of an instrumented run.
"""

import json
import re
import sys
from pathlib import Path

coverage, src = json.loads(Path(sys.argv[1]).read_text()), Path(sys.argv[2]).resolve()
entered = {}
for function in coverage["data"][0]["functions"]:
    path, line = function["filenames"][0], function["regions"][0][0]
    entered[path, line] = max(entered.get((path, line), 0), function["count"])

head = re.compile(r"\s*pub (const )?fn (\w+)")
total, missed = 0, []
for path in sorted(src.rglob("*.rs")):
    if path.name == "tests.rs":
        continue
    for number, line in enumerate(path.read_text().splitlines(), 1):
        if line.startswith("#[cfg(test)]"):
            break
        if found := head.match(line):
            total += 1
            if not entered.get((str(path), number)):
                missed.append(f"{path.relative_to(src)}:{number}: {found[2]}")

for name in missed:
    print(name)
print(f"{total - len(missed)} of {total} public functions were called")
sys.exit(bool(missed))
