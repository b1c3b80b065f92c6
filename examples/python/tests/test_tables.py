"""What may be given as a table, and what is said of what may not."""

import datetime as dt
import pickle
import threading
import time

import glidepath
import numpy as np
import pandas as pd
import polars as pl
import pytest
from glidepath import InputError

START = dt.datetime(2024, 5, 6, 6, 30)
TIMES = [START + dt.timedelta(minutes=5 * n) for n in range(40)]
VALUES = [120.0 + 30 * np.sin(n / 6) for n in range(40)]
VIENNA = dt.timezone(dt.timedelta(hours=2))


def samples(*args, **options):
    return glidepath.replay(*args, **options).samples


def same(one, other):
    assert list(one) == list(other)
    for name in one:
        a, b = one[name], other[name]
        assert a.dtype == b.dtype and np.array_equal(a, b, equal_nan=a.dtype.kind == "f"), name


WANT = samples(TIMES, VALUES)


def test_every_form_of_a_table_gives_the_same():
    stamps = np.array(TIMES, dtype="datetime64[us]")
    text = [str(at) for at in TIMES]
    frame = pd.DataFrame({"Zeitpunkt": TIMES, "Glukose mg/dL": VALUES, "note": "x"})
    same(WANT, samples(stamps, np.array(VALUES)))
    same(WANT, samples(stamps.astype("datetime64[ns]"), VALUES))
    same(WANT, samples(text, VALUES))
    same(WANT, samples(text, [str(value) for value in VALUES]))
    same(WANT, samples([at.strftime("%d.%m.%Y %H:%M") for at in TIMES], VALUES))
    same(WANT, samples([at.strftime("%d/%m/%Y %H:%M") for at in TIMES], VALUES, date_format="dmy"))
    same(WANT, samples(frame))
    same(WANT, samples(frame["Zeitpunkt"], frame["Glukose mg/dL"]))
    same(WANT, samples(pl.DataFrame({"time": TIMES, "glucose_mg_dl": VALUES})))
    same(WANT, samples({"time": TIMES, "glucose_mg_dl": VALUES}))
    same(WANT, samples({"a": TIMES, "b": VALUES}, time_column="a", glucose_column="b"))
    same(WANT, samples((TIMES, VALUES)))
    same(WANT, samples(pd.Series(TIMES), pd.Series(VALUES, dtype="Float64")))
    same(WANT, samples(pl.Series(TIMES), pl.Series(VALUES)))
    days = [at.strftime("%Y-%m-%d") for at in TIMES]
    same(WANT, samples({"Date": days, "Time": [at.strftime("%H:%M") for at in TIMES], "Glucose": VALUES}))


def test_zones_are_taken_from_times_or_said():
    aware = [at.replace(tzinfo=VIENNA) for at in TIMES]
    by_zone = samples(TIMES, VALUES, zone="Europe/Vienna")
    assert (by_zone["time"] == WANT["time"]).all()
    assert (by_zone["time"] - by_zone["time_utc"] == np.timedelta64(7200, "s")).all()
    same(by_zone, samples(aware, VALUES))
    frame = pd.DataFrame({"time": pd.Series(TIMES).dt.tz_localize("Europe/Vienna"), "glucose_mg_dl": VALUES})
    same(by_zone, samples(frame))
    same(by_zone, samples(frame.set_index("time").index, VALUES))
    same(by_zone, samples(pl.Series("time", TIMES).dt.replace_time_zone("Europe/Vienna"), VALUES))
    # a zone that is said stands over the column's own: the same moments on another clock
    elsewhere = samples(frame, zone="America/Caracas")
    assert (elsewhere["time_utc"] == by_zone["time_utc"]).all()
    assert (elsewhere["time"] - elsewhere["time_utc"] == np.timedelta64(-4, "h")).all()
    epoch = np.array([at.timestamp() for at in aware])
    utc = samples(epoch, VALUES)
    assert (utc["time"] == by_zone["time_utc"]).all() and (utc["time_utc"] == utc["time"]).all()
    same(utc, samples(epoch.astype(np.int64), VALUES))
    same(utc, samples(epoch * 1000, VALUES))
    same(utc, samples((epoch * 1000).astype(np.int64) + 999, VALUES))  # what is less than a second is cut off
    same(utc, samples(epoch + 0.9, VALUES))
    same(by_zone, samples(epoch, VALUES, zone="+02:00"))
    same(by_zone, samples(pd.Series(aware), VALUES))


def test_an_hour_that_comes_twice_goes_on_in_a_zone_and_without_one():
    local = pd.date_range("2024-10-27 00:00", "2024-10-27 05:00", freq="5min", tz="Europe/Vienna")
    values = 110 + np.arange(len(local)) % 7
    by_zone = samples(local, values)
    assert (np.diff(by_zone["time_utc"]) == np.timedelta64(300, "s")).all()
    own = glidepath.replay(local.tz_localize(None), values)
    assert own.report["input"]["clock_set_back"] == 1 and len(own.samples["time"]) == len(local)
    assert (own.samples["time"] == by_zone["time"]).all()
    assert np.array_equal(own.samples["plasma_mg_dl"], by_zone["plasma_mg_dl"], equal_nan=True)


def test_blanks_and_words_are_counted():
    nat = np.datetime64("NaT")
    for blank in (np.nan, None, "", "NA", pd.NA, "null"):
        values = [100, blank, "LOW", "high", 101.5, 99]
        times = list(np.array(TIMES[:5], dtype="datetime64[s]")) + [nat]
        counts = glidepath.replay(times, values).report["input"]
        assert (counts["rows"], counts["blank"], counts["low_text"], counts["high_text"]) == (6, 2, 1, 1), blank
    result = glidepath.replay(TIMES[:4], [100, "LOW", "HIGH", 101])
    assert result.samples["sensor_mg_dl"].tolist() == [100, 40, 400, 101]
    assert result.samples["beyond_range"].tolist() == [False, True, True, False]
    frame = pl.DataFrame({"time": [*TIMES[:3], None], "glucose_mg_dl": [100.0, None, 101.0, 102.0]})
    counts = glidepath.replay(frame).report["input"]
    assert (counts["rows"], counts["blank"]) == (4, 2)
    masked = np.ma.masked_invalid([100.0, np.nan, 101.0])
    assert glidepath.replay(TIMES[:3], masked).report["input"]["blank"] == 1


def test_units_are_told_by_name_by_call_or_by_value():
    mmol = np.array(VALUES) / 18.0156
    want = samples(TIMES, mmol, unit="mmol/L")["sensor_mg_dl"]
    assert np.allclose(want, VALUES, atol=1e-4)
    assert np.array_equal(samples(TIMES, mmol)["sensor_mg_dl"], want)
    assert np.array_equal(samples({"time": TIMES, "glucose_mmol_l": mmol})["sensor_mg_dl"], want)
    with pytest.raises(InputError, match=r"row \d+ of glucose: no value is over .*expected mg/dL"):
        samples(TIMES, mmol, unit="mg/dL")
    with pytest.raises(InputError, match=r"row \d+ of glucose: found 1\d\d.*, expected mmol/L from 0 to 60"):
        samples(TIMES, VALUES, unit="mmol/L")
    # what is said stands over what a name says
    named = {"time": TIMES, "glucose_mg_dl": mmol}
    assert np.array_equal(samples(named, unit="mmol/L")["sensor_mg_dl"], want)
    with pytest.raises(InputError, match="unit: found 'mg'".replace("'", '"')):
        samples(TIMES, VALUES, unit="mg")


def bad(what):
    return pytest.raises(InputError, match=what)


def test_what_is_wrong_is_told_with_row_column_and_what_was_expected():
    assert issubclass(InputError, ValueError)
    with bad('row 2 of glucose: found "abc", expected a number, LOW, HIGH or nothing'):
        samples(TIMES[:3], [100, 101, "abc"])
    with bad("row 1 of glucose: found -1, expected a glucose value from 0 to 2000"):
        samples(TIMES[:3], [100, -1, 101])
    with bad("row 1 of glucose: found inf, expected"):
        samples(TIMES[:3], [100, np.inf, 101])
    with bad('row 1 of time: found "noon", expected a date and time such as'):
        samples([TIMES[0], "noon"], [100, 101])
    with bad('row 1 of time: .* with no zone, expected one, as in the times before .or give zone'):
        samples(["2024-05-06T06:30Z", "2024-05-06T06:35"], [100, 101])
    with bad("row 1 of time: found inf, expected seconds since 1970"):
        samples([1.7e9, np.inf], [100, 101])
    with bad('date_format="dmy"'):
        samples(["05/06/2024 10:00"], [100])
    with bad("columns of 3 and of 2 rows"):
        samples(TIMES[:3], [100, 101])
    with bad("no row has a time"):
        samples([None, None], [100, 101])
    with bad("no row has a value"):
        samples(TIMES[:2], [None, None])
    with bad("row 0 of time: .* expected a time from 1970 to 2105"):
        samples(["1969-12-31 10:00"], [100])
    with bad('the header row has the columns "a", "b", expected "time"'):
        samples({"a": TIMES, "b": VALUES})
    with bad('name it, as in: glucose_column="glucose left"'):
        samples({"time": TIMES, "glucose left": VALUES, "glucose right": VALUES})
    with bad('zone: found "Vienna", expected a time zone such as Europe/Vienna'):
        samples(TIMES, VALUES, zone="Vienna")
    with bad('date_format: found "day first", expected dmy, mdy'):
        samples(TIMES, VALUES, date_format="day first")
    with bad("found int, expected a data frame, or times and values"):
        samples(5)
    with bad("glucose: found 2 dimensions, expected one"):
        samples(TIMES[:2], np.zeros((2, 2)))
    with bad('row 0 of plasma_mg_dl: found .x., expected a number or nothing'):
        samples({"time": TIMES[:1], "glucose_mg_dl": [100], "plasma_mg_dl": ["x"]})
    with bad("the times name a zone|expected none|with a zone"):
        samples(TIMES, VALUES, fingersticks=([TIMES[3].replace(tzinfo=VIENNA)], [100]))


def test_fingersticks_come_beside_the_trace_or_in_it():
    sticks = {"time": TIMES[10:20:5], "reference_mg_dl": [118.0, 131.0]}
    apart = glidepath.replay(TIMES, VALUES, fingersticks=sticks)
    assert apart.fingersticks["used"].tolist() == [True, True]
    assert apart.fingersticks["refused"].tolist() == ["", ""]
    column = [np.nan] * 40
    column[10], column[15] = 118.0, 131.0
    within = glidepath.replay({"time": TIMES, "glucose_mg_dl": VALUES, "reference_mg_dl": column})
    same(apart.samples, within.samples)
    same(apart.fingersticks, within.fingersticks)
    none = glidepath.replay(TIMES, VALUES)
    assert len(none.fingersticks["time"]) == 0
    assert not np.array_equal(none.samples["plasma_mg_dl"], apart.samples["plasma_mg_dl"])
    named = pd.DataFrame({"time": TIMES, "glucose_mg_dl": VALUES})
    same(apart.samples, samples(named, fingersticks=sticks, glucose_column="glucose_mg_dl"))


def test_fingersticks_have_a_unit_of_their_own():
    sticks = {"time": TIMES[10:20:5], "reference_mg_dl": [118.0, 131.0]}
    mmol = np.array(VALUES) / 18.0156
    result = glidepath.replay(TIMES, mmol, unit="mmol/L", fingersticks=sticks)
    assert result.fingersticks["reference_mg_dl"].tolist() == [118, 131]
    assert result.samples["sensor_mg_dl"][0] == pytest.approx(VALUES[0])


def test_settings_are_those_of_the_settings_file(desk, tmp_path):
    assert glidepath.Settings.template() == desk("settings")
    assert glidepath.Settings(glidepath.Settings.template()) == glidepath.Settings()
    low = "alarms.base.low.limit = 80\n"
    (tmp_path / "s.toml").write_text(low)
    settings = glidepath.Settings(low)
    assert settings != glidepath.Settings() and pickle.loads(pickle.dumps(settings)) == settings
    assert settings.to_dict()["alarms"]["base"]["low"]["limit"] == 80
    assert glidepath.Settings(settings.to_toml()) == settings
    values = [120.0 - n for n in range(40)] + [80.0 - 0.1 * n for n in range(60)]
    times = [START + dt.timedelta(minutes=5 * n) for n in range(100)]
    by_file = glidepath.replay(times, values, settings=tmp_path / "s.toml")
    assert by_file.report == glidepath.replay(times, values, settings=settings).report
    assert "low" in by_file.alarms["kind"].tolist()
    assert "low" not in glidepath.replay(times, values).alarms["kind"].tolist()
    with bad("settings: alarms.base.low.limit: 50 is outside 56 to 120"):
        glidepath.Settings("alarms.base.low.limit = 50")
    with bad("settings, line 2: "):
        glidepath.Settings("\nx = = 1")
    with bad("settings: .*nowhere.toml: cannot be read"):
        glidepath.replay(TIMES, VALUES, settings=tmp_path / "nowhere.toml")
    with bad("settings: found int, expected Settings, or the path"):
        glidepath.replay(TIMES, VALUES, settings=1)


def long():
    start = np.datetime64("2024-01-01T00:00:00")
    times = start + np.arange(300_000) * np.timedelta64(60, "s")
    return times, 120 + 40 * np.sin(np.arange(300_000) / 40)


def test_the_lock_is_released_and_progress_is_told():
    times, values = long()
    told, ticks, stop = [], [], threading.Event()

    def count():
        while not stop.is_set():
            ticks.append(time.perf_counter())
            time.sleep(0.001)

    thread = threading.Thread(target=count)
    thread.start()
    glidepath.replay(times[:1000], values[:1000])
    begun = time.perf_counter()
    glidepath.replay(times, values, progress=lambda what, at, of: told.append((what, at, of, time.perf_counter())))
    ended = time.perf_counter()
    stop.set()
    thread.join()
    assert {(what, of) for what, _, of, _ in told} == {("replaying", 300_000)}
    steps = [at for _, at, _, _ in told]
    assert steps == sorted(steps) and len(steps) > 50
    # while the core of the work went on, the other thread was never kept waiting for long
    first, last = told[0][3], told[-1][3]
    within = [at for at in ticks if first <= at <= last]
    longest = max(b - a for a, b in zip([first, *within], [*within, last]))
    assert longest < 0.5 * (last - first), (longest, last - first, ended - begun)
    with pytest.raises(ZeroDivisionError):
        glidepath.replay(times, values, progress=lambda *_: 1 / 0)


def test_columns_go_to_frames():
    frame = WANT.to_pandas()
    assert list(frame) == list(WANT) and len(frame) == 40
    polar = WANT.to_polars()
    assert polar.columns == list(WANT) and polar.height == 40
    same(WANT, samples(frame.rename(columns={"sensor_mg_dl": "glucose_mg_dl"})[["time", "glucose_mg_dl"]]))
    assert repr(WANT).startswith("<40 rows: time, sensor_mg_dl")
