"""Review, accuracy and simulation: the desk tool's figures, and records that add up in any order."""

import itertools
import json
import pickle
import random

import glidepath
import numpy as np
import pytest
from conftest import bits, numbers, rows, same_samples


def as_desk(value):
    """Numbers as the desk tool's JSON has them, which are float32 in fewest digits."""
    if isinstance(value, dict):
        return {key: as_desk(item) for key, item in value.items()}
    if isinstance(value, list):
        return [as_desk(item) for item in value]
    return float(np.float32(value)) if isinstance(value, float) else value


def csv(path, columns):
    """A table as `simulate` writes it; the truth in full, so that nothing is lost."""
    with open(path, "w") as file:
        file.write(",".join(columns) + "\n")
        for row in zip(*columns.values()):
            file.write(",".join(str(cell) for cell in row) + "\n")


@pytest.fixture(scope="module")
def ten():
    return [glidepath.simulate(seed=2_000_000 + n, days=3, faults=True, fingersticks_per_day=4) for n in range(10)]


def test_simulation_has_the_desk_tools_numbers(desk, tmp_path):
    trace, sticks = tmp_path / "t.csv", tmp_path / "f.csv"
    flags = ["--seed", 9, "--days", 2, "--interval", 5, "--faults", "--sensor", "drifting", "--life", "smooth"]
    said = desk("simulate", *flags, "--noise-scale", 1.5, "--out-trace", trace, "--out-fingersticks", sticks, "--json")
    ours = glidepath.simulate(9, 2, 5, life="smooth", sensor="drifting", noise_scale=1.5, faults=True)
    assert as_desk(ours.summary) == as_desk(json.loads(said))
    cells = rows(trace)
    assert cells["time"] == ours.trace["time"].astype(str).tolist()
    assert numbers(cells["glucose_mg_dl"]).tolist() == ours.trace["glucose_mg_dl"].tolist()
    assert cells["plasma_mg_dl"] == [f"{value:.1f}" for value in ours.trace["plasma_mg_dl"]]
    assert cells["rate_mg_dl_min"] == [f"{value:.3f}" for value in ours.trace["rate_mg_dl_min"]]
    assert numbers(rows(sticks)["reference_mg_dl"]).tolist() == ours.fingersticks["reference_mg_dl"].tolist()
    for wrong, says in [
        ({"days": 0}, "days: found 0, expected 1 to 3650"),
        ({"interval_min": 61}, "interval_min: found 61, expected 1 to 60"),
        ({"fingersticks_per_day": 25}, "fingersticks_per_day: found 25, expected 0 to 24"),
        ({"life": "wild"}, 'life: found "wild", expected one of lifelike, smooth'),
        ({"sensor": "x"}, 'sensor: found "x", expected one of white, lifelike'),
        ({"noise_scale": 11.0}, "noise-scale"),
    ]:
        with pytest.raises(glidepath.InputError, match=says):
            glidepath.simulate(**{"seed": 1, "days": 1, **wrong})


def test_ten_people_have_the_desk_tools_bits(desk, ten, tmp_path):
    compared = 0
    for n, person in enumerate(ten):
        trace, sticks = tmp_path / f"{n}.csv", tmp_path / f"{n}f.csv"
        csv(trace, person.trace)
        csv(sticks, person.fingersticks)
        said = desk("replay", trace, "--fingersticks", sticks, "--json", "--samples", tmp_path / "s.csv", "--all-digits")
        ours = glidepath.replay(person.trace, fingersticks=person.fingersticks)
        compared += same_samples(ours.samples, rows(tmp_path / "s.csv"))
        assert ours.report == json.loads(said)
    assert compared > 10 * 18 * 700
    print(f"\nbits: {compared} values of ten simulated people")


def test_a_review_has_the_desk_tools_figures(desk, ten, tmp_path):
    for unit in ("glucose_mg_dl", "glucose_mmol_l"):
        values = ten[0].trace["glucose_mg_dl"]
        table = {"time": ten[0].trace["time"], unit: values if unit == "glucose_mg_dl" else np.round(values / 18.0156, 1)}
        csv(tmp_path / "t.csv", table)
        want = json.loads(desk("review", tmp_path / "t.csv", "--json"))
        ours = glidepath.review(table)
        assert ours.figures["unit"] == ("mg/dL" if unit == "glucose_mg_dl" else "mmol/L")
        want.pop("file")
        episodes, profile = want.pop("episodes"), want.pop("day_profile")
        assert as_desk(ours.figures) == as_desk(want)
        assert ours.episodes["kind"].tolist() == [one["kind"] for one in episodes] and len(episodes) > 3
        assert ours.episodes["start"].tolist() == [one["start"] for one in episodes]
        for name in ("p05", "p50", "p95", "n"):
            got = np.array([np.nan if q[name] is None else q[name] for q in profile], np.float32)
            assert np.array_equal(bits(ours.day_profile[name]), bits(got))


def test_accuracy_has_the_desk_tools_figures(desk, ten, tmp_path):
    csv(tmp_path / "t.csv", ten[1].trace)
    csv(tmp_path / "f.csv", ten[1].fingersticks)
    flags = ["--reference", tmp_path / "f.csv", "--skip-hours", 14, "--window", 7, "--interpolate", "--cut", 80, "--json"]
    want = json.loads(desk("compare", "--sensor", f"a={tmp_path / 't.csv'}", *flags))
    ours = glidepath.accuracy(
        ten[1].trace, reference=ten[1].fingersticks, person="a", skip_hours=14, window_min=7, interpolate=True, cut_mg_dl=80
    )
    notes = ours.figures.pop("notes")
    assert as_desk(ours.figures) == as_desk(want["sensors"]["a"]) and isinstance(notes, list)
    assert len(ours.pairs["time"]) == ours.figures["pairs"] > 5
    error = ours.pairs["sensor_mg_dl"] - ours.pairs["reference_mg_dl"]
    assert ours.figures["bias_mg_dl"] == pytest.approx(error.mean(), abs=1e-3)
    plain = glidepath.accuracy(ten[1].trace, reference=ten[1].fingersticks)
    assert plain.figures["pairs"] > ours.figures["pairs"]
    with pytest.raises(glidepath.InputError, match="no references"):
        glidepath.accuracy(ten[1].trace)
    for wrong in ({"skip_hours": -1}, {"window_min": 61}, {"cut_mg_dl": 401}, {"cut_mg_dl": float("nan")}):
        with pytest.raises(glidepath.InputError, match="found .*, expected 0 to"):
            glidepath.accuracy(ten[1].trace, reference=ten[1].fingersticks, **wrong)


def shapes(records, kind, seed):
    """The records merged in a random order and grouping, some of them by way of a pickle."""
    order = random.Random(seed)
    records = list(records)
    order.shuffle(records)
    while len(records) > 1:
        take = order.randint(2, 4)
        part, records = records[:take], records[take:]
        if order.random() < 0.5:
            part = pickle.loads(pickle.dumps(part))
        one = kind.merged(part) if order.random() < 0.5 else part[0] + kind.merged(part[1:])
        records.insert(order.randint(0, len(records)), one)
    return records[0]


def test_review_records_add_up_in_any_order_to_the_same_bits(desk, ten, tmp_path):
    records = [glidepath.review(person.trace).record for person in ten]
    want = glidepath.ReviewRecord.merged(records)
    for seed in range(20):
        got = shapes(records, glidepath.ReviewRecord, seed)
        assert got.to_bytes() == want.to_bytes() and got == want
    assert want.records == 10 and repr(want).startswith("<ReviewRecord: 10 records, ")
    for n, person in enumerate(ten):
        csv(tmp_path / f"{n}.csv", person.trace)
    said = json.loads(desk("review", *(tmp_path / f"{n}.csv" for n in range(10)), "--json"))
    assert as_desk(want.figures()) == as_desk(said["pool"])
    assert len(want.day_profile()) == 96 and sum(q["n"] for q in want.day_profile()) == want.figures()["readings"]
    assert glidepath.ReviewRecord() + want == want != records[0]
    assert glidepath.ReviewRecord.from_bytes(want.to_bytes()) == want
    for damaged in (b"", want.to_bytes()[:-1], want.to_bytes() + b"\0", b"X" + want.to_bytes()[1:]):
        with pytest.raises(glidepath.InputError, match="bytes: found no review record"):
            glidepath.ReviewRecord.from_bytes(damaged)


def test_episodes_of_many_do_not_come_to_an_end(ten):
    record = glidepath.review(ten[0].trace).record
    minutes = [total["minutes"] for total in record.figures()["episode_totals"]]
    for _ in range(22):
        record = record + record
    all_minutes = [total["minutes"] for total in record.figures()["episode_totals"]]
    assert all_minutes == [2**22 * one for one in minutes] and max(all_minutes) > 2**32 / 60


def test_accuracy_records_come_together_in_any_order_to_the_same_bits(ten):
    records = [
        glidepath.accuracy(person.trace, reference=person.fingersticks, person=f"person {n}").record
        for n, person in enumerate(ten)
    ]
    want = glidepath.AccuracyRecord.merged(records)
    for seed in range(20):
        got = shapes(records, glidepath.AccuracyRecord, seed)
        assert got.to_bytes() == want.to_bytes() and got == want
        assert got.figures() == want.figures()
    assert want.people == sorted(f"person {n}" for n in range(10)) and want.pairs > 80
    assert want + records[3] == want  # known already
    assert glidepath.AccuracyRecord() + want == want != records[0]
    figures = want.figures()
    errors = np.concatenate([
        (pairs["sensor_mg_dl"] - pairs["reference_mg_dl"]) / pairs["reference_mg_dl"]
        for pairs in (glidepath.accuracy(p.trace, reference=p.fingersticks).pairs for p in ten)
    ])  # fmt: skip
    assert figures["mard_percent"] == pytest.approx(100 * np.abs(errors).mean(), rel=1e-5)
    assert (figures["pairs"], figures["people"], figures["interval_basis"]) == (len(errors), 10, "people")
    assert want.figures(cut_mg_dl=0)["within_15_15_percent"] < figures["within_15_15_percent"]
    by_person = want.by_person()
    assert [row["person"] for row in by_person] == want.people
    alone = glidepath.accuracy(ten[2].trace, reference=ten[2].fingersticks).figures
    for name in ("pairs", "mard_percent", "bias_mg_dl", "mard_interval_percent", "clarke"):
        assert by_person[2][name] == alone[name]
    # four people are enough for each to count as one draw
    bases = [glidepath.AccuracyRecord.merged(records[:n]).figures()["interval_basis"] for n in (2, 3, 4)]
    assert bases == ["days", "days", "people"]
    other = glidepath.accuracy(ten[5].trace, reference=ten[5].fingersticks, person="person 1").record
    with pytest.raises(glidepath.InputError, match='"person 1" has other pairs in another record'):
        want + other
    for a, b in itertools.product((b"", want.to_bytes()[:-1], want.to_bytes() + b"\0", b"GPAR"), (b"",)):
        with pytest.raises(glidepath.InputError, match="bytes: found no accuracy record"):
            glidepath.AccuracyRecord.from_bytes(a + b)
    twice = records[0].to_bytes() + records[0].to_bytes()[6:]
    with pytest.raises(glidepath.InputError, match="bytes: found no accuracy record"):
        glidepath.AccuracyRecord.from_bytes(twice)


def test_days_of_different_people_count_apart(ten):
    def record(person, days_later):
        move = np.timedelta64(days_later, "D")
        trace = {"time": ten[0].trace["time"] + move, "glucose_mg_dl": ten[0].trace["glucose_mg_dl"]}
        sticks = {"time": ten[0].fingersticks["time"] + move, "reference_mg_dl": ten[0].fingersticks["reference_mg_dl"]}
        return glidepath.accuracy(trace, reference=sticks, person=person).record

    # the first day of the second is the last of the first: two days all the same
    meeting = (record("a", 0) + record("b", 2)).figures()
    apart = (record("a", 0) + record("b", 100)).figures()
    assert meeting["interval_basis"] == "days" and meeting["bias_interval_mg_dl"] == apart["bias_interval_mg_dl"]
