"""Looking back: weeks at a glance, and a sensor against references; and invented traces to try both on."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Dict, Mapping, Optional, Sequence

import numpy as np

from . import _native
from ._native import AccuracyRecord, ReviewRecord
from ._replay import Progress
from ._tables import Columns, Options, given, read


def _columns(rows: Sequence[Mapping[str, Any]], names: Sequence[str]) -> Columns:
    """Rows as columns; what is not there is NaN among numbers."""
    out = Columns()
    for name in names:
        cells = [row.get(name) for row in rows]
        if any(isinstance(cell, (str, dict, list)) for cell in cells):
            out[name] = np.array(cells, dtype=object)
        else:
            out[name] = np.array([np.nan if cell is None else cell for cell in cells], dtype=float)
    return out


@dataclass(frozen=True)
class Review:
    """What a review yields.

    Attributes
    ----------
    figures:
        What ``glidepath review --json`` prints of one trace: ``mean_mg_dl``, ``sd_mg_dl``, ``cv_percent``, ``gmi_percent``,
        shares of readings in the consensus ranges (``from_70_to_180_percent`` ...) and of time (``by_time``), ``gri``, ``lbgi``, ``hbgi``,
        ``mage_mg_dl`` and so on; ``None`` where there is too little for it. Sources: the module ``review`` of the library.
    episodes:
        ``kind``, ``start``, ``end`` (text, ISO 8601 on the wearer's clock), ``minutes``, ``extreme_mg_dl``.
    day_profile:
        For each quarter of an hour of the day ``minute``, percentiles ``p05`` to ``p95`` in mg/dL, and how many values, ``n``.
    record:
        The sums behind it, to be added to those of others: :class:`ReviewRecord`.
    """

    figures: Dict[str, Any]
    episodes: Columns = field(repr=False)
    day_profile: Columns = field(repr=False)
    record: ReviewRecord = field(repr=False)


PROFILE = ("minute", "p05", "p25", "p50", "p75", "p95", "n")


def review(
    trace: Any,
    glucose: Any = None,
    *,
    zone: Optional[str] = None,
    time_column: Optional[str] = None,
    date_column: Optional[str] = None,
    glucose_column: Optional[str] = None,
    date_format: Optional[str] = None,
    unit: Optional[str] = None,
    progress: Progress = None,
) -> Review:
    """Review weeks of one person's readings: ranges, variability, risk, episodes, and the pattern of the day.

    Parameters
    ----------
    trace, glucose:
        The readings: a table, or times and values (see :mod:`glidepath`). Limits are compared in the unit they come in: 70 mg/dL
        and 3.9 mmol/L are a pair of the consensus tables, not a conversion.
    zone, time_column, date_column, glucose_column, date_format, unit, progress:
        See :mod:`glidepath`.

    Raises
    ------
    InputError
        When the table or an option cannot be read; names row and column.

    Examples
    --------
    >>> import glidepath
    >>> weeks = glidepath.simulate(seed=7, days=14)     # an invented person
    >>> result = glidepath.review(weeks.trace)
    >>> print(f"{result.figures['mean_mg_dl']:.1f} mg/dL, {result.figures['from_70_to_180_percent']:.1f} % in range")
    172.8 mg/dL, 55.2 % in range
    >>> result.record
    <ReviewRecord: 1 records, 4032 readings>
    """
    options = Options(zone, time_column, date_column, glucose_column, date_format, unit)
    report, record = _native.review(read(trace, glucose, options), progress)
    episodes = _columns(report.pop("episodes"), ("kind", "start", "end", "minutes", "extreme_mg_dl"))
    profile = _columns(report.pop("day_profile"), PROFILE)
    del report["file"]
    return Review(report, episodes, profile, record)


@dataclass(frozen=True)
class Accuracy:
    """What became of a sensor against references.

    Attributes
    ----------
    figures:
        What ``glidepath compare --json`` prints of one sensor: ``pairs``, ``bias_mg_dl``, ``mard_percent`` with 95 % intervals, limits of
        agreement, agreement rates, error grids (``clarke``, ``parkes``), by range, rate, day and hour, lag, alerts, criteria of
        the United States rule; and ``notes``, what looks wrong. Sources: the module ``accuracy`` of the library.
    pairs:
        A row for each pair: ``time``, ``sensor_mg_dl``, ``reference_mg_dl``, ``hours_worn``, ``sensor_rate_mg_dl_min``.
    record:
        The pairs under the person's name, to be put together with those of others: :class:`AccuracyRecord`.
    """

    figures: Dict[str, Any]
    pairs: Columns = field(repr=False)
    record: AccuracyRecord = field(repr=False)


def accuracy(
    trace: Any,
    glucose: Any = None,
    *,
    reference: Any = None,
    person: str = "",
    skip_hours: float = 0.0,
    window_min: Optional[float] = None,
    interpolate: bool = False,
    cut_mg_dl: float = 100.0,
    zone: Optional[str] = None,
    time_column: Optional[str] = None,
    date_column: Optional[str] = None,
    glucose_column: Optional[str] = None,
    date_format: Optional[str] = None,
    unit: Optional[str] = None,
    progress: Progress = None,
) -> Accuracy:
    """How far a sensor is from fingersticks or a laboratory's values.

    A home sample shows how a sensor does on its wearer; it decides nothing about a product.

    Parameters
    ----------
    trace, glucose:
        The sensor's readings: a table, or times and values (see :mod:`glidepath`).
    reference:
        A table, or a pair of times and values; without it the trace's own column ``reference_mg_dl``.
    person:
        Whose it is: the name in the record.
    skip_hours:
        Hours at the beginning that are left out of the overall figures, 0 to 2160.
    window_min:
        How far a reading may be from its reference, minutes, to 60; without it 5, or half the sensor's interval if that is more.
    interpolate:
        Pair with the line between two readings instead of the nearest one.
    cut_mg_dl:
        Under this many mg/dL agreement is counted in mg/dL, else in percent; 0 to 400.
    zone, time_column, date_column, glucose_column, date_format, unit, progress:
        See :mod:`glidepath`.

    Raises
    ------
    InputError
        When a table or an option cannot be read, and without any reference.

    Examples
    --------
    >>> import glidepath
    >>> weeks = glidepath.simulate(seed=7, days=14, fingersticks_per_day=4)     # an invented person
    >>> result = glidepath.accuracy(weeks.trace, reference=weeks.fingersticks, person="seven")
    >>> print(f"MARD {result.figures['mard_percent']:.1f} %, {result.figures['pairs']} pairs")
    MARD 6.3 %, 56 pairs
    >>> result.record
    <AccuracyRecord: 1 people, 56 pairs>
    """
    options = Options(zone, time_column, date_column, glucose_column, date_format, unit)
    sticks = None if reference is None else read(reference, None, options, fingersticks=True)
    sensor = read(trace, glucose, options)
    figures, pairs, record = _native.accuracy(
        sensor, sticks, str(person), skip_hours, window_min, bool(interpolate), cut_mg_dl, progress
    )
    return Accuracy(figures, given(pairs), record)


@dataclass(frozen=True)
class Simulated:
    """An invented trace: ``trace`` with ``time``, ``glucose_mg_dl`` (what the sensor shows), ``plasma_mg_dl`` and ``rate_mg_dl_min`` (what is
    true); ``fingersticks`` with ``time`` and ``reference_mg_dl``; ``summary`` as ``glidepath simulate --json`` prints it."""

    trace: Columns
    fingersticks: Columns
    summary: Dict[str, Any] = field(repr=False)


def simulate(
    seed: int = 1,
    days: int = 14,
    interval_min: int = 5,
    *,
    life: str = "lifelike",
    sensor: str = "lifelike",
    noise_scale: float = 1.0,
    faults: bool = False,
    fingersticks_per_day: int = 2,
) -> Simulated:
    """Invent a trace: a simulated person with type 1 diabetes, a sensor, and the truth beside it.

    The same seed gives the same numbers on every machine, those of ``glidepath simulate`` (whose table rounds the truth to tenths). No
    person, sensor or meter behaves exactly so.

    Parameters
    ----------
    seed:
        Which person, sensor and meter: 0 to 2**64 - 1.
    days, interval_min:
        How many days, 1 to 3650, and minutes between readings, 1 to 60.
    life:
        ``lifelike`` (with the statistics of recorded people) or ``smooth``.
    sensor:
        ``lifelike``, ``white``, ``correlated``, ``early``, ``skewed`` or ``drifting``.
    noise_scale:
        Multiplies the sensor's noise, 0 to 10.
    faults:
        With gaps, spikes and pressure on the sensor.
    fingersticks_per_day:
        0 to 24.

    Raises
    ------
    InputError
        For a number out of its range or an unknown name.

    Examples
    --------
    >>> import glidepath
    >>> glidepath.simulate(seed=3, days=1).trace
    <288 rows: time, glucose_mg_dl, plasma_mg_dl, rate_mg_dl_min>
    """
    trace, fingersticks, summary = _native.simulate(
        seed, days, interval_min, life, sensor, noise_scale, bool(faults), fingersticks_per_day
    )
    return Simulated(given(trace), given(fingersticks), summary)

