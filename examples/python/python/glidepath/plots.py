"""Drawings with matplotlib: a day with its band and its alarms, how often stated probabilities came true, lows caught against false
alarms.

matplotlib is not installed with the package: ``pip install "glidepath[plots]"``. Each function draws into ``axes`` or makes a figure, and gives
the axes back. Colours are safe for colour-blind readers (Okabe and Ito 2008), and each has a second cue: a marker or a form of line.

>>> import glidepath
>>> from glidepath import plots
>>> demo = glidepath.demo()
>>> axes = plots.day(glidepath.replay(demo.trace, fingersticks=demo.fingersticks), "2024-05-07")
>>> axes.get_title()
'Tuesday, 7 May 2024'
>>> axes.figure.savefig("day.png")
"""

from __future__ import annotations

from typing import Any, Optional, Sequence

import numpy as np

from ._native import InputError
from ._rank import Ranked
from ._replay import Replay

__all__ = ["day", "lows_and_false_alarms", "reliability"]

BLUE, ORANGE, GREEN, RED, PURPLE, SKY, GREY = "#0072B2", "#E69F00", "#009E73", "#D55E00", "#CC79A7", "#56B4E9", "#595959"
MARKS = {
    "floor": ("v", RED), "low": ("v", RED), "low_ahead": ("D", ORANGE), "high": ("^", PURPLE), "no_data": ("X", GREY),
}  # fmt: skip
OTHER = ("s", GREY)
LINES = ("-", "--", "-.", ":")


def _axes(axes: Any, size: Any) -> Any:
    if axes is not None:
        return axes
    import matplotlib.pyplot as plt

    return plt.subplots(figsize=size, layout="constrained")[1]


def _words(name: str) -> str:
    return name.replace("_", " ")


def day(replay: Replay, date: Any, axes: Any = None) -> Any:
    """One day of a replay: readings, the estimate with its 95 % band, what rang, and fingersticks.

    Parameters
    ----------
    replay:
        From :func:`glidepath.replay`.
    date:
        The day on the wearer's clock, such as ``"2024-05-07"``.
    axes:
        Where to draw; a new figure without.

    Returns
    -------
    The axes; mg/dL over the time of day. Raises :class:`glidepath.InputError` for a day without readings.
    """
    import matplotlib.dates as dates
    from matplotlib.lines import Line2D

    first = np.datetime64(date, "D")
    samples = replay.samples
    on = samples["time"].astype("datetime64[D]") == first
    if not on.any():
        known = np.unique(samples["time"].astype("datetime64[D]"))
        raise InputError(f"date: no readings on {first}, expected a day from {known[0]} to {known[-1]}")
    axes = _axes(axes, (10, 4.6))
    time = samples["time"][on].astype("datetime64[us]").astype(object)
    plasma, sd = samples["plasma_mg_dl"][on], samples["plasma_sd_mg_dl"][on]
    # where readings are missing nothing is drawn
    gap = np.flatnonzero(np.diff(samples["time"][on]) > np.timedelta64(25, "m")) + 1
    parts = np.split(np.arange(len(time)), gap)
    axes.axhspan(70, 180, color=GREEN, alpha=0.10, lw=0)
    for limit in (54, 70, 180, 250):
        axes.axhline(limit, color=GREY, lw=0.6, ls=(0, (2, 4)))
    for part in parts:
        when = [time[n] for n in part]
        axes.fill_between(when, (plasma - 1.96 * sd)[part], (plasma + 1.96 * sd)[part], color=BLUE, alpha=0.22, lw=0)
        axes.plot(when, plasma[part], color=BLUE, lw=1.6)
    axes.plot(time, samples["sensor_mg_dl"][on], ls="", marker=".", ms=3, color="black")
    handles = [
        Line2D([], [], color=BLUE, lw=1.6, label="estimate of blood glucose, 95 % band"),
        Line2D([], [], ls="", marker=".", ms=5, color="black", label="sensor"),
    ]
    doubted = on & samples["doubted"].astype(bool)
    if doubted.any():
        style = {"ls": "", "marker": "o", "ms": 6, "mfc": "none", "color": RED}
        axes.plot(samples["time"][doubted].astype("datetime64[us]").astype(object), samples["sensor_mg_dl"][doubted], **style)
        handles.append(Line2D([], [], label="doubted reading", **style))
    sticks = replay.fingersticks
    mine = sticks["time"].astype("datetime64[D]") == first
    if mine.any():
        style = {"ls": "", "marker": "P", "ms": 8, "mec": "black", "mfc": "white"}
        axes.plot(sticks["time"][mine].astype("datetime64[us]").astype(object), sticks["reference_mg_dl"][mine], **style)
        handles.append(Line2D([], [], label="fingerstick", **style))
    alarms = replay.alarms
    top = max(260.0, float(np.nanmax(samples["sensor_mg_dl"][on])) + 20)
    begun = (alarms["time"].astype("datetime64[D]") == first) & (alarms["cause"] == "new")
    for kind in dict.fromkeys(alarms["kind"][begun]):
        marker, colour = MARKS.get(kind, OTHER)
        mark = begun & (alarms["kind"] == kind)
        at = alarms["time"][mark].astype("datetime64[us]").astype(object)
        axes.vlines(at, 40, top + 12, color=colour, lw=0.7, alpha=0.6)
        style = {"ls": "", "marker": marker, "ms": 8, "color": colour}
        axes.plot(at, [top + 12] * len(at), clip_on=False, **style)
        handles.append(Line2D([], [], label=f"alarm: {_words(kind)}", **style))
    axes.set_xlim(first.astype("datetime64[us]").astype(object), (first + 1).astype("datetime64[us]").astype(object))
    axes.set_ylim(40, top + 24)
    axes.set_yticks([54, 70, 100, 140, 180, 250])
    axes.xaxis.set_major_locator(dates.HourLocator(range(0, 25, 3)))
    axes.xaxis.set_major_formatter(dates.DateFormatter("%H:%M"))
    axes.set_ylabel("mg/dL")
    named = first.astype(object)
    axes.set_title(f"{named:%A}, {named.day} {named:%B %Y}", fontsize=11)
    axes.legend(handles=handles, loc="upper center", bbox_to_anchor=(0.5, -0.08), ncols=4, frameon=False, fontsize=9)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes


def reliability(ranked: Ranked, methods: Optional[Sequence[str]] = None, axes: Any = None) -> Any:
    """How often a low came true within 30 minutes where its probability was stated so; on the diagonal is honest.

    Parameters
    ----------
    ranked:
        From :func:`glidepath.rank` on simulated people.
    methods:
        Which; without, all that give a probability but for variants of the library's monitor.
    axes:
        Where to draw; a new figure without.

    Returns
    -------
    The axes. The area of a mark grows with the number of moments; tenths with fewer than 20 are left out. Raises
    :class:`glidepath.InputError` where no method gives probabilities.
    """
    variants = [name for name in ranked.reliability if name.startswith("glidepath, ")]
    chosen = [name for name in ranked.reliability if name not in variants] if methods is None else list(methods)
    missing = [name for name in chosen if name not in ranked.reliability]
    if missing or not chosen:
        raise InputError(f"methods: {', '.join(missing) or 'none'} gave no probabilities, expected of {', '.join(ranked.reliability)}")
    axes = _axes(axes, (5.4, 5.4))
    axes.plot([0, 1], [0, 1], color=GREY, lw=1, ls=(0, (2, 4)))
    for n, name in enumerate(chosen):
        told = ranked.reliability[name]
        enough = told["n"] >= 20
        colour, marker = (BLUE, RED, GREEN, PURPLE, SKY)[n % 5], "osD^v"[n % 5]
        stated, came, count = (told[key][enough] for key in ("stated", "came_true", "n"))
        axes.plot(stated, came, color=colour, lw=1.2, ls=LINES[n % 4])
        axes.scatter(stated, came, s=12 + 160 * np.sqrt(count / told["n"].max()), color=colour, marker=marker, alpha=0.75, label=name)
    axes.set(xlim=(-0.03, 1.03), ylim=(-0.03, 1.03), xlabel="stated probability of a low within 30 min", ylabel="share that came true")
    axes.set_aspect("equal")
    axes.set_title("Stated probabilities, and what came of them", fontsize=11)
    axes.legend(frameon=False, fontsize=9, loc="upper left", markerscale=0.6)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes


def lows_and_false_alarms(ranked: Ranked, methods: Optional[Sequence[str]] = None, most: float = 2.0, axes: Any = None) -> Any:
    """The share of lows with an alarm ten minutes ahead or more, over the false alarms a day that this costs, at every limit.

    Parameters
    ----------
    ranked:
        From :func:`glidepath.rank`.
    methods:
        Which; without, the library's monitor, the held reading and the best three of the others at one false alarm a day.
    most:
        False alarms a day at the right edge.
    axes:
        Where to draw; a new figure without.

    Returns
    -------
    The axes: for whoever accepts so many false alarms, the best that any limit gives for as many or fewer. Raises
    :class:`glidepath.InputError` for a method that was not ranked.
    """

    def rising(name: str) -> Any:
        points = ranked.curves[name]
        cost, share = points["false_alarms_per_day"], points["warned_10min_ahead"]
        order = np.lexsort((-share, cost))
        cost, share = cost[order], np.maximum.accumulate(share[order]) if len(share) else share
        within = cost <= most
        cost, share = cost[within], share[within]
        return np.append(cost, most), np.append(share, share[-1] if len(share) else np.nan)

    def at_one(name: str) -> float:
        cost, share = rising(name)
        within = share[cost <= 1.0]
        return float(within[-1]) if len(within) else -1.0

    if methods is None:
        always = [name for name in ("glidepath", "raw, held") if name in ranked.curves]
        others = sorted((name for name in ranked.curves if name not in always), key=at_one, reverse=True)
        methods = [*always, *others[:3]]
    missing = [name for name in methods if name not in ranked.curves]
    if missing or not methods:
        raise InputError(f"methods: {', '.join(missing) or 'none'} was not ranked, expected of {', '.join(ranked.curves)}")
    axes = _axes(axes, (7.2, 4.8))
    for n, name in enumerate(methods):
        cost, share = rising(name)
        axes.step(cost, 100 * share, where="post", color=(BLUE, GREY, RED, GREEN, PURPLE, ORANGE)[n % 6], ls=LINES[n % 4], lw=1.8, label=name)
    axes.set(xlim=(0, most), ylim=(0, 100), xlabel="false alarms a day", ylabel="lows with an alarm 10 min ahead or more, %")
    axes.grid(color="#dddddd", lw=0.6)
    axes.set_title("Lows caught against false alarms", fontsize=11)
    axes.legend(frameon=False, fontsize=9, loc="lower right")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes
