"""Methods written in Python beside the library's, and the drawings."""

import json

import glidepath
import numpy as np
import pytest
from glidepath import plots

WORLD = {"people": 3, "days": 3, "first_seed": 1_500_000}


class Held:
    """The reading stays: what `raw, held` does."""

    def __init__(self):
        self.last = None

    def __call__(self, at, mg_dl):
        rate = 0.0 if self.last is None else (mg_dl - self.last[1]) / ((at - self.last[0]) / 60)
        self.last = at, mg_dl
        return {"now": mg_dl, "rate": rate, "ahead": [mg_dl] * 4, "low_index": mg_dl}


class Average:
    """The mean of three, and a probability of a low that is always one half."""

    alarm_at = 75.0

    def __init__(self):
        self.seen = []

    def __call__(self, at, mg_dl):
        self.seen = [*self.seen[-2:], mg_dl]
        return {"now": sum(self.seen) / len(self.seen), "low_probability": 0.5, "now_sd": 10.0, "ahead_30_sd": 30.0}


class Line:
    """The last change goes on; alarms look as far ahead as they are told."""

    def __init__(self):
        self.last = None

    def __call__(self, at, mg_dl):
        rate = 0.0 if self.last is None else (mg_dl - self.last[1]) / ((at - self.last[0]) / 60)
        self.last = at, mg_dl
        return mg_dl, rate


class Near(Line):
    alarm_min = 0.0


@pytest.fixture(scope="module")
def ranked():
    return glidepath.rank({"mine: held": Held, "mine: average": Average}, **WORLD)


def column(ranked, name):
    return dict(zip(ranked.table["method"], ranked.table[name]))


def test_a_method_in_python_has_the_figures_of_the_same_in_rust(ranked):
    for name in ranked.table:
        if name not in ("method", "ns_per_reading", "state_bytes"):
            ours, theirs = column(ranked, name)["raw, held"], column(ranked, name)["mine: held"]
            assert ours == theirs or (np.isnan(ours) and np.isnan(theirs)), name
    held, average = (ranked.curves[name] for name in ("mine: held", "mine: average"))
    assert np.array_equal(held["warned_10min_ahead"], ranked.curves["raw, held"]["warned_10min_ahead"])
    assert not np.array_equal(held["warned_10min_ahead"], average["warned_10min_ahead"])
    assert column(ranked, "rmse_mg_dl")["mine: average"] > column(ranked, "rmse_mg_dl")["mine: held"]
    assert column(ranked, "alarm_limit_mg_dl")["mine: average"] == 75
    bins = ranked.reliability["mine: average"]
    assert bins["stated"].tolist() == [0.5] and 0 < bins["came_true"][0] < 0.5
    assert "glidepath" in ranked.reliability and "raw, held" not in ranked.reliability
    assert ranked.on.startswith("3 simulated people (invented; seeds from 1500000), 3 days each")


def test_a_pair_goes_on_in_a_line_and_alarms_look_ahead_along_it():
    ranked = glidepath.rank({"far": Line, "near": Near}, only=["far", "near", "raw, held"], **WORLD)
    caught = column(ranked, "false_alarms_per_day")
    assert caught["near"] == caught["raw, held"] != caught["far"]
    assert column(ranked, "rmse_30min")["far"] == column(ranked, "rmse_30min")["near"] > column(ranked, "rmse_30min")["raw, held"]


def test_the_ranking_is_the_desk_tools(desk):
    said = json.loads(desk("rank", "--people", 2, "--days", 2, "--first-seed", 1_600_000, "--only", "raw", "--only", "glidepath", "--json"))
    ours = glidepath.rank(people=2, days=2, first_seed=1_600_000, only=["raw", "glidepath"])
    assert ours.table["method"].tolist() == [row["method"] for row in said]
    for name in ("rmse_mg_dl", "rmse_60min", "ratio_to_limit", "delay_min", "lows_caught", "brier", "interval_95_covers"):
        want = [np.nan if row[name] is None else row[name] for row in said]
        assert np.array_equal(ours.table[name], want, equal_nan=True), name
    assert glidepath.rank(people=1, days=1, only="raw, held").table["method"].tolist() == ["raw, held"]


def test_recorded_traces_are_ranked_as_the_desk_tool_does(desk, tmp_path):
    traces = {f"p{n}": glidepath.simulate(1_700_000 + n, days=6).trace for n in range(3)}
    for name, trace in traces.items():
        with open(tmp_path / f"{name}.csv", "w") as file:
            file.write("time,glucose_mg_dl\n")
            file.writelines(f"{at},{value:.0f}\n" for at, value in zip(trace["time"], trace["glucose_mg_dl"]))
    said = json.loads(desk("rank", tmp_path, "--people", 1, "--days", 1, "--json"))["sets"][-1]
    ours = glidepath.rank({"mine": Held}, {name: {k: t[k] for k in ("time", "glucose_mg_dl")} for name, t in traces.items()})
    assert ours.on.startswith("3 recorded traces")
    for row in said["methods"]:
        for n, minutes in enumerate((15, 30, 60)):
            assert column(ours, f"rmse_{minutes}min")[row["method"]] == row["ahead"][n]["rmse_mg_dl"]
        want = row["brier_skill"]
        got = column(ours, "brier_skill")[row["method"]]
        assert got == want or (want is None and np.isnan(got))
    assert column(ours, "over_holding_30min")["mine"] == 1
    assert ours.reliability == {} and len(ours.curves["mine"]["false_alarms_per_day"]) > 0


class Broken(Held):
    def __init__(self, said=None):
        super().__init__()
        self.said, self.steps = said, 0

    def __call__(self, at, mg_dl):
        self.steps += 1
        if self.steps < 50:
            return mg_dl
        if isinstance(self.said, Exception):
            raise self.said
        return self.said


@pytest.mark.parametrize(
    "said, says",
    [
        ("high", "a method: found high, expected a level in mg/dL"),
        (None, "a method: found None"),
        ({}, 'a method: found no "now"'),
        ({"now": 100, "rte": 1}, 'a method: found the key "rte", expected some of now, rate'),
        ({"now": 100, "ahead": [1, 2]}, 'a method: "ahead": .*expected mg/dL in 15, 30, 45, 60 min'),
        (float("nan"), "a method: found a number that is none"),
        ({"now": 100, "low_probability": 1.5}, "a probability that is not from 0 to 1"),
    ],
)
def test_what_a_method_may_not_say_is_refused(said, says):
    with pytest.raises(glidepath.InputError, match=says):
        glidepath.rank({"broken": lambda: Broken(said)}, people=1, days=1, only="broken")


def test_what_a_method_raises_is_raised():
    with pytest.raises(ZeroDivisionError):
        glidepath.rank({"broken": lambda: Broken(ZeroDivisionError())}, people=1, days=1, only="broken")
    with pytest.raises(KeyError):
        glidepath.rank({"broken": lambda: {}["x"]}, people=1, days=1, only="broken")
    with pytest.raises(glidepath.InputError, match="methods: x: found int, expected what makes a fresh method"):
        glidepath.rank({"x": 5})
    for wrong, says in [
        ({"people": 0}, "people: found 0, expected 1 to 10000"),
        ({"only": "nothing"}, "no method has that in its name"),
        ({"traces": {"a": {"time": [0], "glucose_mg_dl": ["x"]}}}, 'a: row 0 of glucose_mg_dl: found "x"'),
    ]:
        with pytest.raises(glidepath.InputError, match=says):
            glidepath.rank(**{"people": 1, "days": 1, **wrong})


def drawn(axes, path):
    axes.figure.savefig(path, dpi=60)
    assert path.stat().st_size > 5000
    import matplotlib.pyplot as plt

    plt.close(axes.figure)


def test_drawings(ranked, demo, tmp_path):
    import matplotlib

    matplotlib.use("Agg")
    replay = glidepath.replay(demo.trace, fingersticks=demo.fingersticks)
    axes = plots.day(replay, "2024-05-07")
    labels = {text.get_text() for text in axes.get_legend().get_texts()}
    assert {"sensor", "fingerstick"} < labels and any(label.startswith("alarm: ") for label in labels)
    # two stretches with a gap between, and no line through it
    estimate = [line for line in axes.lines if line.get_color() == plots.BLUE]
    assert len(estimate) == 2 and axes.get_title() == "Tuesday, 7 May 2024"
    drawn(axes, tmp_path / "day.png")
    with pytest.raises(glidepath.InputError, match="date: no readings on 2024-06-01, expected a day from 2024-05-06 to 2024-05-09"):
        plots.day(replay, "2024-06-01")
    axes = plots.reliability(ranked, ["glidepath"])
    x, y = axes.lines[1].get_data()
    told = ranked.reliability["glidepath"]
    assert np.array_equal(x, told["stated"][told["n"] >= 20]) and np.array_equal(y, told["came_true"][told["n"] >= 20])
    drawn(axes, tmp_path / "reliability.png")
    with pytest.raises(glidepath.InputError, match="raw, held gave no probabilities"):
        plots.reliability(ranked, ["raw, held"])
    axes = plots.lows_and_false_alarms(ranked)
    assert axes.get_legend().get_texts()[0].get_text() == "glidepath" and len(axes.lines) == 5
    for line in axes.lines:
        x, y = line.get_data()
        assert (np.diff(x) >= 0).all() and (np.diff(y) >= 0).all() and x[-1] == 2.0
    drawn(axes, tmp_path / "lows.png")
    with pytest.raises(glidepath.InputError, match="nobody was not ranked"):
        plots.lows_and_false_alarms(ranked, ["nobody"])


def test_smoothers_are_those_of_the_library():
    trace = glidepath.simulate(1_800_000, days=2).trace
    want = {
        "moving_average": ({"window_min": 15}, 3), "moving_median": ({"window_min": 15}, 3), "exponential": ({"time_constant_min": 7.2}, None),
        "holt": ({"level_min": 4, "slope_min": 20}, None), "savitzky_golay": ({"window_min": 20, "order": 1}, None),
        "two_state_kalman": ({"intensity": 0.05, "noise_sd": 5}, None), "four_state_kalman": ({}, None),
    }  # fmt: skip
    for method, (parameters, mean_of) in want.items():
        out = glidepath.smooth(trace, method=method, **parameters)
        assert np.array_equal(out["level_mg_dl"], glidepath.smooth(trace, method=method)["level_mg_dl"])
        assert np.isfinite(out["level_mg_dl"]).all() and len(out["time"]) == 576
        assert np.isfinite(out["level_sd_mg_dl"]).all() == (method == "four_state_kalman")
        if mean_of:
            parts = np.lib.stride_tricks.sliding_window_view(out["sensor_mg_dl"], mean_of)
            middle = parts.mean(1) if method == "moving_average" else np.median(parts, 1)
            assert np.allclose(out["level_mg_dl"][mean_of - 1 :], middle, atol=1e-3)
    narrow = glidepath.smooth(trace, method="two_state_kalman", damping_min=20)
    assert not np.array_equal(narrow["level_mg_dl"], glidepath.smooth(trace, method="two_state_kalman")["level_mg_dl"])
    for wrong, says in [
        ({"method": "mean"}, 'method: found "mean", expected one of moving_average'),
        ({"method": "holt", "window_min": 5}, "holt: has no parameter window_min"),
        ({"method": "exponential", "time_constant_min": 0}, "exponential: time_constant_min"),
        ({"method": "savitzky_golay", "order": 3}, "savitzky_golay: order"),
    ]:
        with pytest.raises(glidepath.InputError, match=says):
            glidepath.smooth(trace, **wrong)
