"""What tests share. The desk tool is the program that GLIDEPATH_DESK names, or that of the repository's own build."""

import csv
import os
import pathlib
import subprocess

import glidepath
import numpy as np
import pytest

ROOT = pathlib.Path(__file__).resolve().parents[3]
DESK = pathlib.Path(os.environ.get("GLIDEPATH_DESK", ROOT / "target/release/glidepath"))


@pytest.fixture(scope="session")
def desk():
    """Runs the desk tool; gives what it printed."""
    assert DESK.exists(), f"{DESK} is missing: cargo build --release in {ROOT}, or name it in GLIDEPATH_DESK"

    def run(*arguments, fails=False):
        done = subprocess.run([DESK, *map(str, arguments)], capture_output=True, text=True)
        assert (done.returncode != 0) == fails, done.stderr
        return done.stderr if fails else done.stdout

    return run


def rows(path):
    """The cells of a CSV by column."""
    with open(path, newline="", encoding="utf-8") as file:
        lines = [row for row in csv.reader(file) if row and not row[0].startswith("#")]
    return {name: [row[n] for row in lines[1:]] for n, name in enumerate(lines[0])}


def bits(values):
    """float32 as whole numbers, all NaN alike."""
    values = np.asarray(values, np.float32)
    return np.where(np.isnan(values), 0x7FC00000, values.view(np.uint32))


def numbers(cells):
    """Cells as float32, NaN where blank."""
    return np.array([np.float32(cell) if cell else np.nan for cell in cells], np.float32)


def same_samples(samples, cells):
    """Asserts that samples are those of the desk tool's CSV with all digits: each column, each bit. Gives how many values."""
    compared = 0
    local = samples["time"].astype(str)
    if "time_utc" in samples:
        minutes = (samples["time"] - samples["time_utc"]).astype("timedelta64[m]").astype(int)
        local = [f"{t}{'-' if m < 0 else '+'}{abs(m) // 60:02}:{abs(m) % 60:02}" for t, m in zip(local, minutes)]
    assert list(local) == cells["time"]
    for name, column in cells.items():
        if name == "time":
            continue
        if samples[name].dtype.kind == "f":
            assert np.array_equal(bits(samples[name]), bits(numbers(column))), name
        else:
            assert samples[name].tolist() == column, name
        compared += len(column)
    return compared


@pytest.fixture(scope="session")
def demo():
    return glidepath.demo()
