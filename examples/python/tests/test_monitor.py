"""The live monitor: the bits of a replay, every kind of moment, states that come back."""

import datetime as dt
import pickle

import glidepath
import numpy as np
import pytest
from conftest import bits

START = dt.datetime(2024, 5, 6, 6, 30)


def test_reading_by_reading_it_says_what_a_replay_says(demo):
    replay = glidepath.replay(demo.trace)
    names = [
        "plasma_mg_dl", "plasma_sd_mg_dl", "rate_mg_dl_min", "rate_sd_mg_dl_min", "predicted_15min_mg_dl",
        "predicted_30min_mg_dl", "predicted_60min_mg_dl", "low_probability_30min", "low_ahead_signal", "minutes_to_low",
        "direction_mg_dl_min",
    ]  # fmt: skip
    monitor = glidepath.Monitor()
    said, trends, verdicts, rung, now = {name: [] for name in names}, [], [], [], None
    for at, mg_dl in zip(demo.trace["time"], demo.trace["glucose_mg_dl"]):
        while now is not None and now < at:  # as the wrist does: once a minute, until a reading comes
            now = min(now + np.timedelta64(60, "s"), at)
            monitor.set_uptime(int(now.astype(int)))
            view = monitor.tick(now) if now < at else None
            if view and view.rings:
                rung += [ring.kind for ring in view.rings]
                monitor.acknowledge()
        if now is None:
            monitor.set_uptime(int(at.astype(int)))
        now = at
        view = monitor.push(at, float(mg_dl))
        assert view.at == at
        for name in names:
            value = getattr(view, name)
            said[name].append(np.nan if value is None else value)
        trends.append(view.trend)
        verdicts.append(view.verdict)
        if view.rings:
            rung += [ring.kind for ring in view.rings]
            monitor.acknowledge()
    for name in names:
        assert np.array_equal(bits(said[name]), bits(replay.samples[name])), name
    assert trends == replay.samples["trend"].tolist()
    assert verdicts == replay.samples["verdict"].tolist()
    assert rung == replay.alarms["kind"].tolist() and len(rung) > 10
    assert round(monitor.noise_mg_dl, 2) == replay.report["noise_mg_dl"]
    assert len(monitor.history) == 288


def falling(monitor, stamp):
    for n, mg_dl in enumerate((150, 140, 128, 115, 101, 87, 74, 62)):
        view = monitor.push(stamp(n * 300), mg_dl)
    return view


def test_moments_come_back_as_they_were_given():
    zone = dt.timezone(dt.timedelta(hours=2))
    kinds = [
        (lambda s: s, int),
        (lambda s: float(s), int),
        (lambda s: START + dt.timedelta(seconds=s), dt.datetime),
        (lambda s: START.replace(tzinfo=zone) + dt.timedelta(seconds=s), dt.datetime),
        (lambda s: np.datetime64(START) + np.timedelta64(s, "s"), np.datetime64),
    ]
    want = None
    for stamp, kind in kinds:
        view = falling(glidepath.Monitor(), stamp)
        assert view.at == stamp(7 * 300) and isinstance(view.at, kind)
        got = (view.plasma_mg_dl, view.trend, view.low_probability_30min, [ring.kind for ring in view.alarms])
        assert want in (None, got)
        want = got
        ring = view.alarms[0]
        assert isinstance(ring.at, kind) and ring.priority in ("low", "medium", "high") and ring.message
    assert want[1] == "falling"


def test_alarms_by_time_of_day_go_by_the_wearers_clock():
    night = glidepath.Settings(
        "[[alarms.profiles]]\nlow.limit = 100\n[[alarms.slots]]\nfrom = \"22:00\"\nto = \"06:00\"\nprofile = 1\n"
    )

    def rings_low(stamp):
        monitor, rung = glidepath.Monitor(night), set()
        for n in range(12):
            rung |= {ring.kind for ring in monitor.push(stamp(n * 300), 90).rings}
        return "low" in rung

    at = lambda hour, zone=None: lambda s: dt.datetime(2024, 5, 6, hour, tzinfo=zone) + dt.timedelta(seconds=s)  # noqa: E731
    assert rings_low(at(23)) and not rings_low(at(12))
    assert rings_low(at(23, dt.timezone(dt.timedelta(hours=11))))
    assert not rings_low(at(23 - 11, dt.timezone.utc))
    assert not rings_low(lambda s: int(dt.datetime(2024, 5, 6, 23, tzinfo=dt.timezone.utc).timestamp()) + s)


def test_a_fingerstick_says_what_became_of_it():
    monitor = glidepath.Monitor()
    assert monitor.fingerstick(0, 100).words == "not used: no trusted reading within a quarter of an hour"
    monitor.push(300, 118)
    outcome = monitor.fingerstick(300, 110)
    assert outcome.used and outcome.words == "taken in" and repr(outcome) == "<Outcome: taken in>"
    assert outcome.expected_mg_dl == pytest.approx(118) and outcome.expected_sd_mg_dl > 0
    gain, offset = monitor.gain_and_offset
    assert 0.9 < gain < 1.1 and -5 < offset < 5


def test_silence_doubt_and_ends_of_the_range_are_told():
    monitor = glidepath.Monitor()
    view = monitor.push(0, 40, "below_range")
    assert (view.shown_mg_dl, view.shown_bound) == (40, "at most")
    assert {alarm.kind for alarm in view.alarms} and any(ring.rings for ring in view.rings)
    monitor.acknowledge()
    assert all(alarm.acknowledged for alarm in monitor.tick(60).alarms)
    later = monitor.tick(3600)
    assert later.shown_mg_dl is None and not later.is_monitoring and later.age_s == 3600
    assert repr(later) == "<View: nothing is shown as present>"
    assert "no_data" in [alarm.kind for alarm in later.alarms]
    assert monitor.snooze("no_data", 100_000) > 0
    assert monitor.push(3900, 400, "above_range").shown_bound == "at least"
    monitor.sensor_started(3900)
    monitor.restart()
    assert monitor.history == [] and monitor.tick().shown_mg_dl is None
    view = falling(glidepath.Monitor(), lambda s: s)
    assert view.predicted(30)[0] == view.predicted_30min_mg_dl and view.grade and isinstance(view.reasons, list)
    assert monitor.tick(4000).predicted(30) is None


def test_states_come_back_as_after_a_power_cut():
    settings = glidepath.Settings("alarms.base.low.limit = 80")
    monitor = glidepath.Monitor(settings)
    falling(monitor, lambda s: s)
    monitor.fingerstick(2100, 70)
    for back in (pickle.loads(pickle.dumps(monitor)), glidepath.Monitor.restored(monitor.state(), settings)):
        assert back.settings == settings and back.history == monitor.history
        assert back.gain_and_offset == monitor.gain_and_offset
        assert back.tick().shown_mg_dl is None
        assert back.push(2400, 58).plasma_mg_dl is not None
    state = monitor.state()
    for damaged in (b"", b"GPMS", state[:-1], state[:40] + bytes([state[40] ^ 1]) + state[41:]):
        with pytest.raises(glidepath.InputError, match="state: "):
            glidepath.Monitor.restored(damaged)


def test_what_cannot_be_is_refused_and_changes_nothing():
    monitor = glidepath.Monitor()
    for time in (-1, 2**32, float("nan"), "2024-01-01", None, True, np.datetime64("NaT"), dt.datetime(1960, 1, 1)):
        with pytest.raises(glidepath.InputError, match="^time: found"):
            monitor.push(time, 100)
    for mg_dl in (-1, 2001, float("nan"), float("inf")):
        with pytest.raises(glidepath.InputError, match="^mg_dl: found .*, expected 0 to 2000 mg/dL"):
            monitor.push(0, mg_dl)
    with pytest.raises(glidepath.InputError, match='status: found "fine", expected one of normal, below_range'):
        monitor.push(0, 100, "fine")
    with pytest.raises(glidepath.InputError, match='kind: found "x", expected one of'):
        monitor.snooze("x", 5)
    with pytest.raises(glidepath.InputError, match="minutes: found 2, expected 5 to 120"):
        monitor.push(0, 100).predicted(2)
    assert len(monitor.history) == 1
