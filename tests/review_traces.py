#!/usr/bin/env python3
"""The figures of a review, plainly over whole arrays with numpy and scipy.

    python3 tests/review_traces.py "$GLIDEPATH_TRACES" > tests/review_traces.csv

(numpy 2.4.6, scipy 1.17.1.) `review_traces.rs` compares the streaming form with what this prints.
"""
import csv, datetime, pathlib, sys
import numpy as np
from scipy import stats


def load(path):
    rows = {}
    with open(path, newline="") as file:
        for row in list(csv.reader(file))[1:]:
            text = {"LOW": "39", "HIGH": "401"}.get(row[1].strip().upper(), row[1].strip())
            if text:
                at = datetime.datetime.fromisoformat(row[0].strip()).replace(tzinfo=datetime.timezone.utc)
                rows.setdefault(int(at.timestamp()), float(text))
    t = np.array(sorted(rows))
    return t, np.array([rows[x] for x in t])


def swings(values, threshold):
    """Alternating extremes further apart than the threshold."""
    low = high = values[0]
    mode, extremes = 0, []
    for v in values[1:]:
        if mode == 0:
            low, high = min(low, v), max(high, v)
            if v - low > threshold:
                extremes.append(low); mode, high = 1, v
            elif high - v > threshold:
                extremes.append(high); mode, low = -1, v
        elif mode == 1:
            if v > high:
                high = v
            elif high - v > threshold:
                extremes.append(high); mode, low = -1, v
        elif v < low:
            low = v
        elif v - low > threshold:
            extremes.append(low); mode, high = 1, v
    if mode:
        extremes.append(high if mode == 1 else low)
    return np.abs(np.diff(extremes)).tolist()


def episodes(t, beyond, back, needed, interval, gap):
    """Number and seconds; a run of readings lasts from its first stamp to one interval after its last."""
    count = seconds = 0
    start = run = clear = None
    for i, at in enumerate(t):
        if i and at - t[i - 1] > gap:
            if start is not None:
                count += 1
                seconds += (t[i - 1] + interval if clear is None else clear) - start
            start = run = clear = None
        if start is None:
            run = (at if run is None else run) if beyond[i] else None
            if run is not None and at - run + interval >= needed:
                start, run, clear = run, None, None
        else:
            clear = (at if clear is None else clear) if back[i] else None
            if clear is not None and at - clear + interval >= 900:
                count += 1
                seconds += clear - start
                start = clear = None
    if start is not None:
        count += 1
        seconds += (t[-1] + interval if clear is None else clear) - start
    return count, seconds


def figures(t, g):
    steps = np.diff(t)
    interval = int(np.median(steps))
    gap = interval * 7 // 2
    out = {"interval_s": interval, "readings": len(g)}
    mean, sd = np.mean(g), np.std(g, ddof=1)
    out |= {"mean": mean, "sd": sd, "cv": 100 * stats.variation(g, ddof=1), "j_index": 0.001 * (mean + sd) ** 2}
    edges = {"below_54": g < 54, "from_54_to_69": (g >= 54) & (g < 70), "from_70_to_180": (g >= 70) & (g <= 180),
             "from_181_to_250": (g > 180) & (g <= 250), "above_250": g > 250, "from_70_to_140": (g >= 70) & (g <= 140)}
    cover = np.append(np.where(steps <= interval * 3 // 2, steps, interval), interval)
    for name, mask in edges.items():
        out[name] = 100 * np.mean(mask)
        out[name + "_time"] = 100 * np.sum(cover[mask]) / np.sum(cover)
    span = t[-1] - t[0] + interval
    out |= {"days": span / 86400, "active": 100 * np.sum(cover) / span}
    f = 1.509 * (np.log(g) ** 1.084 - 5.381)
    out |= {"lbgi": np.mean(np.where(f < 0, 10 * f * f, 0)), "hbgi": np.mean(np.where(f > 0, 10 * f * f, 0)),
            "m_value": np.mean(np.abs(10 * np.log10(g / 120)) ** 3)}
    close = steps <= gap
    minutes, moved = steps[close] / 60, np.abs(np.diff(g))[close]
    out |= {"gvp": 100 * (np.sum(np.hypot(minutes, moved)) / np.sum(minutes) - 1), "mag": 60 * np.sum(moved) / np.sum(minutes)}
    slots = {}
    for at, v in zip(t // 300, g):
        slots.setdefault(int(at), v)
    for hours in (1, 2, 4, 24):
        d = np.array([v - slots[s - 12 * hours] for s, v in slots.items() if s - 12 * hours in slots])
        out[f"conga_{hours}h"] = np.std(d, ddof=1) if len(d) > 1 else np.nan
    out["modd"] = np.mean(np.abs(d)) if len(d) else np.nan
    whole = np.floor(g + 0.5)
    heights = [h for part in np.split(whole, np.flatnonzero(~close) + 1) for h in swings(part, sd)]
    out["mage"] = np.mean(heights) if heights else np.nan
    days = [g[t // 86400 == d] for d in np.unique(t // 86400)]
    days = [d for d in days if len(d) * interval >= 60480]
    out["sd_within_day"] = np.mean([np.std(d, ddof=1) for d in days]) if days else np.nan
    out["sd_between_day_means"] = np.std([np.mean(d) for d in days], ddof=1) if len(days) > 1 else np.nan
    clock = [g[t % 86400 // 300 == c] for c in range(288)]
    clock = [np.std(c, ddof=1) for c in clock if len(c) > 1]
    out["sd_by_clock"] = np.mean(clock) if clock else np.nan
    rules = {"low_70": (g < 70, g >= 70, 900), "low_54": (g < 54, g >= 54, 900), "long_low": (g < 70, g >= 70, 7200),
             "high_180": (g > 180, g <= 180, 900), "high_250": (g > 250, g <= 250, 900), "long_high": (g > 250, g <= 250, 5400)}
    for name, (beyond, back, needed) in rules.items():
        out[name], out[name + "_s"] = episodes(t, beyond, back, needed, interval, gap)
    bins = [whole[t % 86400 // 900 == b] for b in range(96)]
    for p in (5, 25, 50, 75, 95):
        out[f"p{p:02}"] = np.mean([np.percentile(b, p) for b in bins if len(b)])
    return out


folder = pathlib.Path(sys.argv[1])
rows = [{"trace": str(path.relative_to(folder)), **figures(*load(path))} for path in sorted(folder.glob("*/*.csv"))]
writer = csv.DictWriter(sys.stdout, rows[0].keys(), lineterminator="\n")
writer.writeheader()
for row in rows:
    writer.writerow({k: v if isinstance(v, str) else "" if np.isnan(v) else f"{v:.9g}" for k, v in row.items()})
