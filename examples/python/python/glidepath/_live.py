"""The monitor, reading by reading."""

from __future__ import annotations

import datetime as _dt
from typing import Any, Callable, List, Optional, Tuple, Union

import numpy as np

from . import _native
from ._native import InputError, Outcome, Settings, View
from ._settings import Given, settings as _settings

Moment = Union[int, float, _dt.datetime, np.datetime64]
"""Seconds since 1970, or a date and time with or without a zone."""

_EPOCH = _dt.datetime(1970, 1, 1)
_SECOND = _dt.timedelta(seconds=1)


def _whole(seconds: int) -> int:
    return seconds


def _naive(seconds: int) -> _dt.datetime:
    return _EPOCH + seconds * _SECOND


def _numpy(seconds: int) -> np.datetime64:
    return np.datetime64(seconds, "s")


class _Aware:
    """Seconds since 1970 as a date and time in a zone."""

    def __init__(self, zone: _dt.tzinfo) -> None:
        self.zone = zone

    def __call__(self, seconds: int) -> _dt.datetime:
        return _dt.datetime.fromtimestamp(seconds, self.zone)


def _moment(time: Any) -> Tuple[int, Callable[[int], Any], Optional[int]]:
    """Seconds since 1970, what makes such a moment of them, and the zone's offset from UTC in seconds where there is one."""
    if isinstance(time, _dt.datetime) and time == time:
        if time.tzinfo is None:
            return (time - _EPOCH) // _SECOND, _naive, 0
        offset = time.utcoffset()
        assert offset is not None
        utc = (time.replace(tzinfo=None) - offset - _EPOCH) // _SECOND
        return utc, _Aware(time.tzinfo), offset // _SECOND
    if isinstance(time, np.datetime64) and not np.isnat(time):
        return int(time.astype("datetime64[s]").astype(np.int64)), _numpy, 0
    if isinstance(time, (int, float, np.integer, np.floating)) and not isinstance(time, bool) and np.isfinite(time):
        return int(time // 1), _whole, None
    expected = "seconds since 1970, a datetime or a numpy.datetime64"
    raise InputError(f"time: found {time!r}, expected {expected}")


class Monitor:
    """The monitor of one sensor as the wrist runs it: readings in, answers out. It keeps the last 288 readings.

    Push each reading, tick about once a minute between readings so that silence is noticed, and show the answers. Moments are
    seconds since 1970, or dates and times; those in the answers are of the kind that was given last. Alarm settings by time of day
    go by the wearer's clock: by times without a zone, or by the offset of those with one; for seconds say it by
    :meth:`set_utc_offset`.

    Parameters
    ----------
    settings:
        :class:`Settings`, or the path of a TOML file as ``glidepath settings`` prints.

    Notes
    -----
    A call takes some microseconds and keeps the interpreter's lock. A monitor pickles as :meth:`state` does: what it learned and
    remembers comes back, but as after a power cut nothing is present before the next reading.

    **A computer that sleeps or is off wakes nobody**: never let it be the only alarm.

    Examples
    --------
    >>> import glidepath
    >>> monitor = glidepath.Monitor()
    >>> for minute, mg_dl in [(0, 142), (5, 139), (10, 133), (15, 126), (20, 118)]:
    ...     view = monitor.push(minute * 60, mg_dl)
    >>> view
    <View: 119 mg/dL, now, steady>
    >>> f"{view.predicted_30min_mg_dl:.0f} mg/dL, low with {view.low_probability_30min:.2f}"
    '105 mg/dL, low with 0.02'
    >>> monitor.tick(90 * 60).shown_mg_dl is None        # an old value is not the present one
    True
    """

    def __init__(self, settings: Given = None) -> None:
        self._monitor = _native.Monitor(_settings(settings))
        self._stamp: Callable[[int], Any] = _whole

    def _at(self, time: Any) -> int:
        seconds, self._stamp, offset = _moment(time)
        if offset is not None:
            self._monitor.set_utc_offset(offset)
        return seconds

    def push(self, time: Moment, mg_dl: float, status: str = "normal") -> View:
        """Take in a reading, mg/dL (0 to 2000), and answer for the present moment.

        ``status`` is the sensor's own word on it: ``normal``, ``below_range``, ``above_range``, ``warm_up``, ``doubtful``, ``fault``.
        A reading that is not taken at its word says why in ``verdict``.

        Raises :class:`InputError` for a time before 1970 or after 2105, a value out of range, or another word.
        """
        return self._monitor.push(self._at(time), mg_dl, status, self._stamp)

    def tick(self, time: Optional[Moment] = None) -> View:
        """Answer at a moment without a reading; ``None`` when no clock is known."""
        return self._monitor.tick(None if time is None else self._at(time), self._stamp)

    def fingerstick(self, time: Moment, mg_dl: float) -> Outcome:
        """Take in a fingerstick, mg/dL, of the last 15 minutes; the outcome says whether it was used, and why not."""
        return self._monitor.fingerstick(self._at(time), mg_dl)

    def set_uptime(self, uptime_s: int) -> None:
        """Tell the device's own count of seconds since it was switched on, before each other call: ages then run on it alone."""
        self._monitor.set_uptime(uptime_s)

    def set_utc_offset(self, offset_s: Optional[int]) -> None:
        """Say how far the wearer's clock is ahead of the times, in seconds; ``None``: not known, and one set of alarms holds."""
        self._monitor.set_utc_offset(offset_s)

    def acknowledge(self) -> None:
        """Take notice of all alarms that hold."""
        self._monitor.acknowledge()

    def snooze(self, kind: str, minutes: int) -> float:
        """Silence one kind of alarm; gives how many minutes it will be, for each has a longest."""
        return self._monitor.snooze(kind, minutes)

    def sensor_started(self, time: Moment) -> None:
        """A new sensor was started: estimate, calibration and trust begin anew."""
        self._monitor.sensor_started(self._at(time))

    def restart(self) -> None:
        """Forget everything but the settings."""
        self._monitor.restart()

    @property
    def gain_and_offset(self) -> Tuple[float, float]:
        """The calibration's gain and offset (mg/dL)."""
        return self._monitor.gain_and_offset()

    @property
    def noise_mg_dl(self) -> float:
        """The sensor's noise as learned, one standard deviation, mg/dL."""
        return self._monitor.noise_mg_dl()

    @property
    def history(self) -> List[Tuple[Any, float, str]]:
        """The readings kept, oldest first: when, mg/dL as the sensor gave it, what it said of it."""
        return [(self._stamp(at), mg_dl, status) for at, mg_dl, status in self._monitor.history()]

    @property
    def settings(self) -> Settings:
        """What it is set to."""
        return self._monitor.settings()

    def state(self) -> bytes:
        """What it learned and remembers, as bytes that any build of this version reads, the wrist's too; settings are not in it."""
        return self._monitor.state()

    @classmethod
    def restored(cls, state: bytes, settings: Given = None) -> "Monitor":
        """A monitor from :meth:`state`, as after a power cut. Raises :class:`InputError` for bytes that are no whole state."""
        monitor = cls(settings)
        monitor._monitor.restore(state)
        return monitor

    def __reduce__(self) -> Tuple[Any, Tuple[bytes, Settings]]:
        return Monitor.restored, (self.state(), self.settings)
