"""Glucose signal processing: what runs on a wrist, over arrays and data frames.

The numbers come from the library ``glidepath`` and its desk tool, bit for bit: see ``README.md`` beside this package.

**Not a medical device.** Not for treatment decisions. Confirm with a fingerstick when symptoms and reading disagree, and
follow your care team and local rules.

Tables
------
Wherever a function takes a table, it takes

* a pandas or polars data frame, or a mapping of names to columns: which column is the time and which the glucose is found
  by their names as the desk tool finds them in a file's header (best: ``time`` and ``glucose_mg_dl`` or ``glucose_mmol_l``),
  or said by ``time_column=`` and ``glucose_column=``; or
* times and values, one after the other: arrays, lists, columns.

Times are ``datetime64``, ``datetime``, pandas or polars columns of either, seconds since 1970 in UTC (milliseconds where they
have thirteen digits), or text as tables have it (RFC 3339, ISO 8601, dates of spreadsheets; ``date_format=`` where only you can
know). Times with a zone are taken as they are. **Times without a zone are the wearer's own clock**: with ``zone="Europe/Vienna"``
they are read in that zone (an hour that comes twice goes on, one that is missing is taken as before the change); without one
they count as if there were no clock changes, but where the rows show that the clock was set back by an hour it is put right
and counted.

Values are mg/dL or mmol/L: told by the column's name, by ``unit=``, or else by the values (none of 36 or more: mmol/L). NaN, None and
the blanks of tables are no values and are counted. ``"LOW"`` and ``"HIGH"`` are taken as 40 and 400 mg/dL, marked as beyond the
sensor's range, and counted. Rows out of order, repeats and conflicts are handled and counted: nothing is dropped in silence.

Errors
------
What cannot be read raises :class:`InputError`, a ``ValueError`` whose text names the row (counted from 0) and column, what was found
and what was expected.

Work on arrays runs without the interpreter's lock, so that threads share the machine. ``progress=True`` draws a bar on a terminal;
``progress=f`` calls ``f(what, step, of)`` now and then, from any thread; an exception of ``f`` is raised when the work has ended.
"""

from ._live import Monitor
from ._look_back import Accuracy, Review, Simulated, accuracy, review, simulate
from ._native import CAUTION, AccuracyRecord, InputError, Outcome, ReviewRecord, Ring, Settings, View, __version__
from ._rank import Ranked, rank
from ._replay import Demo, Replay, demo, replay
from ._smooth import smooth
from ._tables import Columns

__all__ = [
    "Accuracy",
    "AccuracyRecord",
    "CAUTION",
    "Columns",
    "Demo",
    "InputError",
    "Monitor",
    "Outcome",
    "Ranked",
    "Replay",
    "Review",
    "ReviewRecord",
    "Ring",
    "Settings",
    "Simulated",
    "View",
    "__version__",
    "accuracy",
    "demo",
    "rank",
    "replay",
    "review",
    "simulate",
    "smooth",
]
