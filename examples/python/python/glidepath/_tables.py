"""From what Python programs hold readings in (arrays, lists, data frames) to the columns that the library takes, and back.

Which column is which, what cells mean and what is odd about rows is decided by the desk tool's own code; here values only
change their form.
"""

from __future__ import annotations

import datetime as _dt
from typing import Any, Dict, List, Mapping, NamedTuple, Optional, Sequence, Tuple, Union

import numpy as np

from . import _native
from ._native import InputError

_BLANK = np.iinfo(np.int64).min  # numpy's "not a time" as a number
_MILLISECONDS = 1_000_000_000_000  # so many seconds are 31,000 years: thirteen digits are milliseconds

Table = Any
"""A pandas or polars data frame, a mapping of columns, or a pair of times and values."""


class Columns(Dict[str, np.ndarray]):
    """Columns of one length by name: numpy arrays in a dictionary.

    Numbers that are not known are NaN. ``time`` is the wearer's own clock (``datetime64[s]`` without a zone); where the
    zone is known, ``time_utc`` stands beside it.
    """

    def to_pandas(self) -> Any:
        """The columns as a pandas data frame. pandas must be installed."""
        import pandas

        return pandas.DataFrame(dict(self))

    def to_polars(self) -> Any:
        """The columns as a polars data frame. polars must be installed."""
        import polars

        def polar(values: np.ndarray) -> Any:
            if values.dtype.kind == "M":
                return values.astype("datetime64[ms]")  # polars knows no whole seconds
            return values.tolist() if values.dtype == object else values

        return polars.DataFrame({name: polar(values) for name, values in self.items()})

    def __repr__(self) -> str:
        rows = len(next(iter(self.values()))) if self else 0
        return f"<{rows} rows: {', '.join(self)}>"


class Options(NamedTuple):
    """How a table is read."""

    zone: Optional[str] = None
    time_column: Optional[str] = None
    date_column: Optional[str] = None
    glucose_column: Optional[str] = None
    date_format: Optional[str] = None
    unit: Optional[str] = None


def _module(value: Any) -> str:
    return type(value).__module__.split(".")[0]


def _names(table: Any) -> Optional[List[str]]:
    """The column names of a frame; None of anything else."""
    if isinstance(table, Mapping):
        return [str(name) for name in table]
    columns = getattr(table, "columns", None)
    return None if columns is None or not hasattr(table, "__getitem__") else [str(name) for name in columns]


def _column(table: Any, place: int) -> Any:
    if isinstance(table, Mapping):
        return list(table.values())[place]
    if _module(table) == "polars":
        return table.to_series(place)
    return table.iloc[:, place]


def _as_text(cell: Any) -> str:
    """A cell as a table has it: nothing where there is nothing."""
    if cell is None or type(cell).__name__ == "NAType":
        return ""
    if isinstance(cell, float) and cell != cell:
        return ""
    if isinstance(cell, np.datetime64):
        return "" if np.isnat(cell) else str(cell)
    if isinstance(cell, _dt.datetime):
        return "" if cell != cell else cell.isoformat()
    return str(cell).strip()


def _array(cells: Any) -> np.ndarray:
    """A list of cells: of numbers where all are."""
    cells = list(cells)
    plain = bool(cells) and all(isinstance(cell, (int, float, np.integer, np.floating)) for cell in cells)
    return np.array(cells, dtype=None if plain else object)


def _seconds(times: np.ndarray) -> np.ndarray:
    """``datetime64`` of any unit as whole seconds since 1970, what is less than one cut off."""
    return times.astype("datetime64[s]").astype(np.int64)


def _epoch(times: np.ndarray, name: str) -> np.ndarray:
    """Numbers as seconds since 1970; those of thirteen digits are milliseconds."""
    if times.dtype.kind == "f":
        if np.isinf(times).any():
            row = int(np.flatnonzero(np.isinf(times))[0])
            raise InputError(f"row {row} of {name}: found {times[row]}, expected seconds since 1970")
        blank = np.isnan(times)
        whole = np.where(blank, 0, np.floor(times)).astype(np.int64)
    else:
        blank = np.zeros(times.shape, bool)
        whole = times.astype(np.int64)
    whole = np.where(whole >= _MILLISECONDS, whole // 1000, whole)
    return np.where(blank, _BLANK, whole)


def _times(column: Any, name: str) -> Tuple[Any, Optional[str]]:
    """A column of times: on which clock and seconds or text; and the zone that the column itself names."""
    kind = _module(column)
    if kind == "pandas":
        zone = getattr(getattr(column, "dtype", None), "tz", None)
        if zone is not None:
            index = column.dt if hasattr(column, "dt") else column
            utc = index.tz_convert("UTC").dt if hasattr(column, "dt") else index.tz_convert("UTC")
            plain = utc.tz_localize(None)
            return ("utc", _seconds(np.asarray(plain, dtype="datetime64[ns]"))), _zone_name(zone)
        column = column.to_numpy()
    elif kind == "polars":
        import polars

        if isinstance(column.dtype, polars.Datetime):
            zone = column.dtype.time_zone
            seconds = column.dt.epoch("s").fill_null(_BLANK).to_numpy()
            return ("wall" if zone is None else "utc", np.ascontiguousarray(seconds, np.int64)), zone
        column = np.array(column.to_list(), dtype=object) if not column.dtype.is_numeric() else column.to_numpy()
    elif not isinstance(column, np.ndarray):
        column = _array(column)
    if column.ndim != 1:
        raise InputError(f"{name}: found {column.ndim} dimensions, expected one")
    if column.dtype.kind == "M":
        return ("wall", _seconds(column)), None
    if column.dtype.kind in "iuf":
        return ("utc", _epoch(column, name)), None
    return [_as_text(cell) for cell in column.tolist()], None


def _zone_name(zone: Any) -> str:
    """A zone's name, or its offset from UTC where it has none."""
    name = getattr(zone, "key", None) or getattr(zone, "zone", None)
    if name:
        return str(name)
    offset = zone.utcoffset(None)
    minutes = int(offset.total_seconds() // 60) if offset is not None else 0
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"


def _amounts(column: Any, name: str) -> Any:
    """A column of concentrations: numbers, NaN where blank; or cells of text such as LOW."""
    kind = _module(column)
    if kind == "pandas":
        if column.dtype.kind in "iuf":
            column = column.to_numpy(dtype=np.float64, na_value=np.nan)
        else:
            column = column.astype(object).to_numpy()
    elif kind == "polars":
        numeric = column.dtype.is_numeric()
        if numeric:
            import polars

            column = column.cast(polars.Float64).to_numpy()
        else:
            column = np.array(column.to_list(), dtype=object)
    elif isinstance(column, np.ma.MaskedArray):
        column = column.astype(np.float64).filled(np.nan)
    elif not isinstance(column, np.ndarray):
        column = _array(column)
    if column.ndim != 1:
        raise InputError(f"{name}: found {column.ndim} dimensions, expected one")
    if column.dtype.kind in "iuf":
        return np.ascontiguousarray(column, np.float64)
    return [_as_text(cell) for cell in column.tolist()]


def _extra(column: Any, name: str) -> np.ndarray:
    """A further column, which has numbers alone."""
    values = _amounts(column, name)
    if isinstance(values, np.ndarray):
        return values
    numbers = np.full(len(values), np.nan)
    for row, cell in enumerate(values):
        if cell:
            try:
                numbers[row] = float(cell)
            except ValueError:
                raise InputError(f"row {row} of {name}: found {cell!r}, expected a number or nothing") from None
    return numbers


def read(table: Any, glucose: Any, options: Options, fingersticks: bool = False) -> Dict[str, Any]:
    """A table as the library takes it."""
    value_name = "reference_mg_dl" if fingersticks else "glucose"
    if glucose is None and isinstance(table, tuple) and len(table) == 2:
        table, glucose = table
    date, extras = None, []
    if glucose is None:
        names = _names(table)
        if names is None:
            raise InputError(f"found {type(table).__name__}, expected a data frame, or times and values")
        sensor_column = None if fingersticks else options.glucose_column
        places = _native.columns(names, fingersticks, options.time_column, options.date_column, sensor_column)
        time_place, date_place, value_place, extra_places = places
        time_name, value_name = names[time_place], names[value_place]
        time, glucose = _column(table, time_place), _column(table, value_place)
        if date_place is not None:
            date = [_as_text(cell) for cell in np.asarray(_column(table, date_place), dtype=object).tolist()]
        extras = [(known, names[at], _extra(_column(table, at), names[at])) for known, at in extra_places]
    else:
        time_name, time = "time", table
    times, own_zone = _times(time, time_name)
    return {
        "time_name": time_name,
        "time": times,
        "date": date,
        "glucose_name": value_name,
        "glucose": _amounts(glucose, value_name),
        "extras": extras,
        "unit": None if fingersticks else options.unit,
        "zone": options.zone if options.zone is not None else own_zone,
        "date_format": options.date_format,
    }


def given(columns: Mapping[str, Any]) -> Columns:
    """Columns from the library, their times as times and their words as words."""
    out = Columns()
    for name, values in columns.items():
        if name in ("time", "time_utc"):
            out[name] = values.astype("datetime64[s]")
        elif isinstance(values, list):
            out[name] = np.array(values, dtype=bool if values and isinstance(values[0], bool) else object)
        else:
            out[name] = values
    return out


def words(codes: np.ndarray, names: Sequence[str]) -> np.ndarray:
    """Bits as the names they stand for, joined by semicolons."""
    known = {code: ";".join(name for bit, name in enumerate(names) if code >> bit & 1) for code in set(codes.tolist())}
    return np.array([known[code] for code in codes.tolist()], dtype=object)


Moment = Union[int, float, _dt.datetime, np.datetime64]
