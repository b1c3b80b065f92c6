"""Methods written in Python, ranked beside those of the library."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Callable, Dict, List, Mapping, Optional, Sequence, Tuple, Union

import numpy as np

from . import _native
from ._native import InputError
from ._replay import Progress
from ._tables import Columns, Options, read

Step = Callable[[int, float], Any]
"""Takes a reading (seconds since 1970, mg/dL) and says where glucose is; see :func:`rank`."""


@dataclass(frozen=True)
class Ranked:
    """What a ranking yields.

    Attributes
    ----------
    on:
        On whom, in words.
    table:
        A row for each method. On simulated people as ``glidepath rank --json``: ``rmse_mg_dl`` (now), ``rmse_30min`` and so on, ``rate_rmse``,
        ``delay_min``, ``lows_caught_10min_ahead``, ``brier``, ``ns_per_reading`` ... On recorded traces: ``rmse_15min``, ``rmse_30min``, ``rmse_60min``
        against the sensor's own later readings and the same over those of holding the reading (``over_holding_30min`` ...), what intervals
        held, ``brier_skill``, ``warned_at_0.6`` (the share of lows warned of ten minutes ahead at so many false alarms a day).
    curves:
        By method: ``false_alarms_per_day`` and ``warned_10min_ahead``, a point for each limit.
    reliability:
        By method that gives a probability of a low, on simulated people: ``stated`` and ``came_true`` (0 to 1) and ``n`` in tenths.
    """

    on: str
    table: Columns
    curves: Dict[str, Columns] = field(repr=False)
    reliability: Dict[str, Columns] = field(repr=False)


def _own(methods: Mapping[str, Any]) -> List[Tuple[str, Callable[[], Step], float, float]]:
    own = []
    for name, fresh in methods.items():
        if not callable(fresh):
            raise InputError(f"methods: {name}: found {type(fresh).__name__}, expected what makes a fresh method when called")
        own.append((str(name), fresh, float(getattr(fresh, "alarm_at", 70.0)), float(getattr(fresh, "alarm_min", 30.0))))
    return own


def _table(rows: Sequence[Mapping[str, Any]]) -> Columns:
    out = Columns()
    for name, first in rows[0].items():
        cells = [row.get(name) for row in rows]
        if isinstance(first, (dict, list)):
            continue
        text = any(isinstance(cell, str) for cell in cells)
        out[name] = np.array(cells, object) if text else np.array([np.nan if c is None else c for c in cells], float)
    return out


def _recorded_row(row: Mapping[str, Any]) -> Dict[str, Any]:
    flat: Dict[str, Any] = {"method": row["method"]}
    now = row["now"] or {}
    flat["now_sd_mg_dl"], flat["now_sd_over_reading"] = now.get("sd_mg_dl"), now.get("sd_over_reading")
    for ahead in row["ahead"]:
        minutes = f"{ahead['minutes']:.0f}min"
        flat[f"rmse_{minutes}"] = ahead["rmse_mg_dl"]
        flat[f"over_holding_{minutes}"] = ahead["rmse_over_holding"]
        flat[f"interval_95_holds_percent_{minutes}"] = ahead["interval_95_holds_percent"]
    flat["brier_skill"] = row["brier_skill"]
    for warning in row["warnings"]:
        flat[f"warned_at_{warning['false_alarms_per_day']}"] = warning["warned_10min_ahead"]
    for flagged in row["direction"]:
        flat[f"fast_falls_at_{flagged['steady_flagged_percent']:.1f}"] = flagged["fast_falls_flagged"]
    return flat


def rank(
    methods: Optional[Mapping[str, Callable[[], Step]]] = None,
    traces: Optional[Mapping[str, Any]] = None,
    *,
    people: int = 20,
    days: int = 14,
    interval_min: int = 5,
    first_seed: int = 1_000_000,
    life: str = "lifelike",
    sensor: str = "lifelike",
    noise_scale: float = 1.0,
    faults: bool = False,
    only: Union[str, Sequence[str]] = (),
    zone: Optional[str] = None,
    progress: Progress = None,
) -> Ranked:
    """Rank methods of your own beside those of the library and the usual ones, on the same readings.

    A method is a callable that is given each reading in order of time, as whole seconds since 1970 and mg/dL, and returns what it makes of
    the readings so far:

    * a number: the level now, mg/dL; it is taken to stay; or
    * a pair: the level and its rate, mg/dL/min; they go on in a straight line, and alarms look 30 minutes ahead; or
    * a dictionary with ``now``, and any of ``rate``, ``ahead`` (mg/dL in 15, 30, 45 and 60 minutes), ``now_sd`` and ``ahead_30_sd`` (standard
      deviations), ``direction`` (the rate to expect over the next 20 minutes), ``low_index`` (lower is nearer to a low) and ``low_probability`` (of
      being under 70 mg/dL within 30 minutes, 0 to 1).

    It must not look ahead, and it cannot. Tune on some people and report others, or the rank is of your memory.

    Parameters
    ----------
    methods:
        By name, what makes a fresh method when called without arguments: a class with ``__call__``, or a function that returns a closure. Its
        attributes ``alarm_at`` (the low index at which it alarms, mg/dL; 70) and ``alarm_min`` (how far alarms look ahead along the rate, min; 30)
        are used where they exist.
    traces:
        Recorded traces by name, as tables with ``reference_mg_dl`` where there is one; the truth ahead is what the same sensor reads later.
        Without them simulated people are ranked on, whose truth is known.
    people, days, interval_min, first_seed, life, sensor, noise_scale, faults:
        The simulated people, 1 to 10,000, 1 to 90 days each, 1 to 15 minutes between readings; see :func:`glidepath.simulate`. The library was tuned
        on seeds under 1,000,000.
    only:
        Only methods whose name has one of these in it; simulated people alone.
    zone, progress:
        See :mod:`glidepath`.

    Raises
    ------
    InputError
        For a table, number or name that cannot be, and for what a method returned if it is none of the above. What a method raises is raised.

    Notes
    -----
    Methods in Python hold the interpreter's lock while they are stepped, so that they are as slow as Python is; the others run on all
    processors meanwhile. ``state_bytes`` of a method in Python is the size of its handle. How lows, alarms and errors are counted: the modules
    ``rank`` and ``people`` of the desk tool.

    Examples
    --------
    >>> import glidepath
    >>> class HalfTheChange:
    ...     # half of each change goes on
    ...     def __init__(self):
    ...         self.last = None
    ...     def __call__(self, at, mg_dl):
    ...         rate = 0.0 if self.last is None else 0.5 * (mg_dl - self.last[1]) / max(at - self.last[0], 60) * 60
    ...         self.last = at, mg_dl
    ...         return mg_dl, rate
    >>> ranked = glidepath.rank({"half the change": HalfTheChange}, people=2, days=2, only=["half the change", "raw, held"])
    >>> ranked.table["method"].tolist()
    ['raw, held', 'half the change']
    >>> bool(ranked.table["rmse_mg_dl"][0] == ranked.table["rmse_mg_dl"][1])       # both take the reading for the present value
    True
    """
    own = _own(methods or {})
    if traces is None:
        wanted = [only] if isinstance(only, str) else list(only)
        said = _native.rank_invented(
            own, people, days, interval_min, first_seed, life, sensor, noise_scale, bool(faults), wanted, progress
        )
        table = _table(said["rows"])
    else:
        options = Options(zone=zone)
        given = [(str(name), read(trace, None, options)) for name, trace in traces.items()]
        said = _native.rank_recorded(own, given, progress)
        table = _table([_recorded_row(row) for row in said["set"]["methods"]])
    curves, reliability = {}, {}
    for detail in said["detail"]:
        curves[detail["method"]] = Columns({name: np.array(values) for name, values in detail["curve"].items()})
        if detail.get("bins"):
            bins = np.array(detail["bins"])
            reliability[detail["method"]] = Columns(zip(("stated", "came_true", "n"), bins.T))
    return Ranked(said["on"], table, curves, reliability)
