"""The smoothers in common use, over a whole trace."""

from __future__ import annotations

from typing import Any, Optional

from . import _native
from ._tables import Columns, Options, given, read


def smooth(
    trace: Any,
    glucose: Any = None,
    *,
    method: str = "exponential",
    zone: Optional[str] = None,
    time_column: Optional[str] = None,
    date_column: Optional[str] = None,
    glucose_column: Optional[str] = None,
    date_format: Optional[str] = None,
    unit: Optional[str] = None,
    **parameters: float,
) -> Columns:
    """Smooth a trace as one sees it live: each level is made of the readings so far, at their real times.

    Parameters
    ----------
    trace, glucose:
        The readings: a table, or times and values (see :mod:`glidepath`).
    method:
        ``moving_average`` or ``moving_median`` (``window_min``, 1 to 360; 15); ``exponential`` (``time_constant_min``, 0.1 to 360; 7.2); ``holt``
        (``level_min``, ``slope_min``; 4 and 20); ``savitzky_golay``, the end point of a fitted line or parabola (``window_min``, ``order`` 1 or 2;
        20 and 1); ``two_state_kalman`` (``intensity``, ``noise_sd``, ``damping_min``; 0.05, 5 and none); ``four_state_kalman``, the library's plain
        filter of plasma glucose, its rate, interstitial glucose and coloured sensor error, with fixed noise (no parameters).
    zone, time_column, date_column, glucose_column, date_format, unit:
        See :mod:`glidepath`.

    Returns
    -------
    Columns
        A row for each reading kept, in order of time: ``time``, ``sensor_mg_dl``, ``level_mg_dl``, ``rate_mg_dl_min`` and ``level_sd_mg_dl``,
        NaN where the method has none.

    Raises
    ------
    InputError
        When the table cannot be read, for another method, and for a parameter out of its range or of another method.

    Notes
    -----
    Sources and formulas: the modules ``smoothing`` and ``estimator`` of the library. None of them judges readings or knows blood: for that
    there is :func:`glidepath.replay`.

    Examples
    --------
    >>> import glidepath
    >>> minutes = [0, 5, 10, 15]
    >>> line = glidepath.smooth([60 * m for m in minutes], [100, 105, 110, 115], method="savitzky_golay", window_min=15)
    >>> f"{line['level_mg_dl'][-1]:.1f} {line['rate_mg_dl_min'][-1]:.2f}"
    '115.0 1.00'
    """
    options = Options(zone, time_column, date_column, glucose_column, date_format, unit)
    numbers = {name: float(value) for name, value in parameters.items()}
    return given(_native.smooth(read(trace, glucose, options), method, numbers))
