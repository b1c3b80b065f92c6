"""A recorded trace, reading by reading, as the wrist would have lived it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Callable, Dict, Optional, Union

from . import _native
from ._settings import Given, settings as _settings
from ._tables import Columns, Options, given, read, words

Progress = Union[None, bool, Callable[[str, int, int], Any]]


@dataclass(frozen=True)
class Replay:
    """What a replay yields.

    Attributes
    ----------
    samples:
        What was known right after each reading, a row for each. ``float32``, NaN where not known, in the names of the desk tool's
        ``samples.csv``: ``sensor_mg_dl``, ``plasma_mg_dl`` (the estimate of blood glucose) and ``plasma_sd_mg_dl`` (its whole standard
        deviation), ``rate_mg_dl_min``, ``trend`` (words), ``predicted_15min_mg_dl``, ``predicted_30min_mg_dl``, ``predicted_60min_mg_dl``
        with their ``..._sd_mg_dl``, ``low_probability_30min`` (of a reading under 70 mg/dL, 0 to 1), ``minutes_to_low``,
        ``low_ahead_signal``, ``direction_mg_dl_min``, ``verdict`` (on the reading), ``alarms`` (that rang with it, joined by semicolons);
        further ``estimate_sd_mg_dl`` (the calibration taken for granted), ``doubted``, and ``truth_mg_dl`` where the table has
        ``plasma_mg_dl``.
    alarms:
        What rang: when, ``kind``, ``priority`` (IEC 60601-1-8), ``cause``, ``by`` (what it went by), ``glucose_mg_dl``, ``message``.
    fingersticks:
        What became of each: ``reference_mg_dl``, ``expected_mg_dl``, ``used``, ``refused`` (why, or nothing).
    report:
        What ``glidepath replay --json`` prints: counts of rows and oddities under ``input``, episodes, the alarms' score under
        ``rehearsal`` and so on.
    """

    samples: Columns
    alarms: Columns = field(repr=False)
    fingersticks: Columns = field(repr=False)
    report: Dict[str, Any] = field(repr=False)


def replay(
    trace: Any,
    glucose: Any = None,
    *,
    fingersticks: Any = None,
    settings: Given = None,
    zone: Optional[str] = None,
    time_column: Optional[str] = None,
    date_column: Optional[str] = None,
    glucose_column: Optional[str] = None,
    date_format: Optional[str] = None,
    unit: Optional[str] = None,
    progress: Progress = None,
) -> Replay:
    """Replay a trace through the monitor of the wrist; each alarm is acknowledged when it rings.

    Parameters
    ----------
    trace, glucose:
        The readings: a table, or times and values (see :mod:`glidepath`). n rows in any order.
    fingersticks:
        A table, or a pair of times and values; without it the table's own column ``reference_mg_dl``. Their times must name a zone if
        those of the trace do.
    settings:
        :class:`Settings`, or the path of a TOML file as ``glidepath settings`` prints.
    zone, time_column, date_column, glucose_column, date_format, unit:
        How the table is read; see :mod:`glidepath`.
    progress:
        See :mod:`glidepath`.

    Returns
    -------
    Replay
        ``samples`` has a row for each reading kept, in order of time: at most one a second.

    Raises
    ------
    InputError
        When the table, the settings or an option cannot be read; names row and column.

    Notes
    -----
    Methods and their sources: the modules ``quality``, ``calibration``, ``estimator``, ``forecast`` and ``alarm`` of the library.

    Examples
    --------
    >>> import glidepath
    >>> demo = glidepath.demo()                # four days of somebody who does not exist
    >>> result = glidepath.replay(demo.trace, fingersticks=demo.fingersticks)
    >>> len(result.samples["time"]), result.report["episodes_below_70"]
    (1047, 4)
    >>> print(f"{result.samples['plasma_mg_dl'][500]:.1f} {result.samples['trend'][500]}")
    147.5 steady
    """
    options = Options(zone, time_column, date_column, glucose_column, date_format, unit)
    sticks = None if fingersticks is None else read(fingersticks, None, options, fingersticks=True)
    samples, alarms, pricked, report = _native.replay(
        read(trace, glucose, options), sticks, _settings(settings), progress
    )
    names = samples.pop("alarm_names")
    statuses = samples.pop("status")
    samples["alarms"] = words(samples["alarms"], names)
    samples["beyond_range"] = (statuses == 1) | (statuses == 2)
    return Replay(given(samples), given(alarms), given(pricked), report)


@dataclass(frozen=True)
class Demo:
    """The embedded demo: four days of a person who does not exist, wearing a sensor that does not exist.

    ``trace`` has the columns ``time``, ``glucose_mg_dl`` and ``plasma_mg_dl`` (the truth); ``fingersticks`` has ``time`` and
    ``reference_mg_dl``.
    """

    trace: Columns
    fingersticks: Columns


def demo() -> Demo:
    """The embedded demo, invented as a whole: the same that ``glidepath replay`` replays without a trace.

    >>> import glidepath
    >>> glidepath.demo().fingersticks["reference_mg_dl"].shape
    (17,)
    """
    trace, fingersticks = _native.demo()
    return Demo(given(trace), given(fingersticks))
