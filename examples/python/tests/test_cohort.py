"""The cohort recipe: the same from CSV, from Parquet, in any number of parts, on a cluster, and with a file that cannot be read."""

import pathlib
import sys

import pandas as pd
import pytest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "examples"))
import cohort  # noqa: E402


@pytest.fixture(scope="module")
def folder():
    return cohort.invented_folder(people=5)


def told(work):
    rows, reviewed, paired = work.compute(scheduler="synchronous")
    table, everyone = cohort.told(rows, reviewed, paired)
    return table.to_csv(index=False), everyone, reviewed.to_bytes(), paired.to_bytes()


def test_parquet_gives_what_csv_gives(folder, tmp_path):
    for path in folder.glob("invented-*.csv"):
        frame = pd.read_csv(path, parse_dates=["time"])
        assert str(frame["time"].dtype).startswith("datetime64")
        frame.to_parquet(tmp_path / path.with_suffix(".parquet").name)
    tables = [path for path in cohort.sources(folder) if path.stem != "broken"]
    ours = told(cohort.plan(cohort.sources(tmp_path)))
    assert ours == told(cohort.plan(tables))
    assert ours[1]["people"] == 5 and ours[1]["accuracy"]["pairs"] > 20


def test_the_number_of_parts_changes_no_bit(folder):
    whole = told(cohort.plan(cohort.sources(folder), people_a_part=50))
    assert whole == told(cohort.plan(cohort.sources(folder), people_a_part=1))
    table, everyone, *_ = whole
    assert everyone["people"] == 5, "the broken file is told, and left out of the sums"
    assert "row 1 of glucose_mg_dl" in table


def test_a_cluster_gives_the_same(folder):
    from distributed import Client, LocalCluster

    alone, everyone = cohort.run(cohort.sources(folder))
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1") as local:
        with Client(local) as client:
            # the workers need not have the recipe's file
            import cloudpickle

            cloudpickle.register_pickle_by_value(cohort)
            rows, reviewed, paired = client.compute(cohort.plan(cohort.sources(folder), people_a_part=1)).result()
    table, together = cohort.told(rows, reviewed, paired)
    assert table.to_csv(index=False) == alone.to_csv(index=False) and together == everyone
