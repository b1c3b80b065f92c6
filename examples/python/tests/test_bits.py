"""The desk tool's output against Python's, every column of ``replay``, bit for bit."""

import json

import glidepath
import numpy as np
from conftest import rows, same_samples

COLUMNS = 19


def test_the_demo_has_the_desk_tools_bits(desk, demo, tmp_path):
    report = json.loads(desk("replay", "--json", "--samples", tmp_path / "s.csv", "--all-digits"))
    result = glidepath.replay(demo.trace, fingersticks=demo.fingersticks)
    cells = rows(tmp_path / "s.csv")
    assert len(cells) == COLUMNS
    compared = same_samples(result.samples, cells)
    assert compared == 1047 * (COLUMNS - 1)
    assert result.report == report
    assert len(result.alarms["kind"]) == len(report["alarms"]) > 10
    print(f"\nbits: {compared} values of the demo")


def test_a_table_is_read_as_the_desk_tool_reads_its_file(desk, tmp_path):
    rng = np.random.default_rng(5)
    start = np.datetime64("2024-10-26T20:00:00")
    local = start + np.arange(0, 40_000, 300).astype("timedelta64[s]")
    local = np.concatenate([local, local[-1] - np.timedelta64(3300, "s") + np.arange(0, 9000, 300).astype("timedelta64[s]")])
    glucose = [f"{value:.1f}" for value in 120 + 40 * np.sin(np.arange(len(local)) / 20) + rng.normal(0, 3, len(local))]
    glucose[7], glucose[8], glucose[9], glucose[30] = "LOW", "HIGH", "", "--"
    stamps = [str(at).replace("T", " ") for at in local]
    stamps[20], stamps[21] = stamps[21], stamps[20]
    stamps.append(stamps[50])
    glucose.append("77")
    with open(tmp_path / "t.csv", "w") as file:
        file.write("time,glucose_mg_dl\n")
        file.writelines(f"{at},{value}\n" for at, value in zip(stamps, glucose))
    for zone in (None, "Europe/Vienna"):
        flags = [] if zone is None else ["--zone", zone]
        said = desk("replay", tmp_path / "t.csv", "--json", "--samples", tmp_path / "s.csv", "--all-digits", *flags)
        result = glidepath.replay(stamps, glucose, zone=zone)
        assert same_samples(result.samples, rows(tmp_path / "s.csv")) > 2000
        report = json.loads(said)
        assert result.report["input"] == report["input"]
        assert result.report == report
        counts = result.report["input"]
        assert (counts["low_text"], counts["high_text"], counts["blank"]) == (1, 1, 2)
        assert counts["clock_set_back"] == (1 if zone is None else 0)
        assert "time_utc" in result.samples if zone else "time_utc" not in result.samples
