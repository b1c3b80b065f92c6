"""From a folder of tables (CSV or Parquet) to a table by person and one row for all: a recipe for dask.

    python cohort.py FOLDER                                    # in this process
    python cohort.py FOLDER --cluster tcp://127.0.0.1:8786     # on a cluster of `distributed`, as it stands

A file is a person's readings, named by the person: ``time`` and ``glucose_mg_dl`` (or ``glucose_mmol_l``), and ``reference_mg_dl`` where
there are fingersticks. Files of one person must be put together first: a record is closed where it ends. What cannot be read is told
in the table and left out of the sums.

The figures of all are worked out from records that add up in any order to the same bits, so that neither the number of workers
nor which of them are lost on the way changes a digit.

>>> folder = invented_folder(people=6)
>>> table, everyone = run(sources(folder))
>>> print(table[["person", "readings", "mean_mg_dl", "pairs", "error"]].round(1).to_string(index=False))
    person  readings  mean_mg_dl  pairs  error
    broken       NaN         NaN    NaN  row 1 of glucose_mg_dl: found "abc", expected a number, LOW, HIGH or nothing
invented-0     864.0       173.9    6.0
invented-1     864.0       126.4    6.0
invented-2     864.0       185.6    6.0
invented-3     864.0       160.8    6.0
invented-4     864.0       151.7    6.0
invented-5     864.0       150.1    6.0
>>> everyone["review"]["readings"], everyone["accuracy"]["pairs"], everyone["people"]
(5184, 36, 6)
"""

import argparse
import json
import pathlib
import tempfile

import dask
import dask.bag
import glidepath
import pandas as pd

FIGURES = ("readings", "days", "active_percent", "mean_mg_dl", "sd_mg_dl", "cv_percent", "gmi_percent", "gri",
           "below_54_percent", "below_70_percent", "from_70_to_180_percent", "above_180_percent", "above_250_percent")  # fmt: skip
ACCURACY = ("pairs", "bias_mg_dl", "mard_percent", "within_15_15_percent", "within_20_20_percent")


def sources(folder):
    """The tables of a folder, in the order of their names."""
    found = [path for path in pathlib.Path(folder).iterdir() if path.suffix in (".csv", ".parquet")]
    return sorted(found, key=lambda path: path.name)


def from_file(path):
    """A person's name, table and fingersticks (``None``: those in the table)."""
    frame = pd.read_parquet(path) if path.suffix == ".parquet" else pd.read_csv(path)
    return path.stem, frame, None


def one(source, load):
    """A person's row and records."""
    name, trace, fingersticks = str(source), None, None
    row = {"person": name, "error": ""}
    reviewed, paired = glidepath.ReviewRecord(), glidepath.AccuracyRecord()
    try:
        name, trace, fingersticks = load(source)
        row["person"] = name
        review = glidepath.review(trace)
        row.update((key, review.figures[key]) for key in FIGURES)
        reviewed = review.record
        if fingersticks is not None or "reference_mg_dl" in trace:
            accuracy = glidepath.accuracy(trace, reference=fingersticks, person=name)
            row.update((key, accuracy.figures[key]) for key in ACCURACY)
            paired = accuracy.record
    except (glidepath.InputError, OSError, ValueError) as error:
        row["error"] = str(error)
        row["person"] = getattr(source, "stem", name)
    return row, reviewed, paired


def part(some, load):
    """The rows of some people, and their records added up: little to send."""
    rows, reviewed, paired = [], [], []
    for source in some:
        row, review, pairs = one(source, load)
        rows.append(row)
        reviewed.append(review)
        paired.append(pairs)
    return rows, glidepath.ReviewRecord.merged(reviewed), glidepath.AccuracyRecord.merged(paired)


def together(parts):
    """Parts of the cohort as one."""
    rows, reviewed, paired = zip(*parts)
    merged = glidepath.ReviewRecord.merged(reviewed), glidepath.AccuracyRecord.merged(paired)
    return [row for some in rows for row in some], *merged


def plan(all_sources, load=from_file, people_a_part=50):
    """What dask is to do, for whoever computes it: rows, review record, accuracy record."""
    parts = max(1, len(all_sources) // people_a_part)
    bag = dask.bag.from_sequence(all_sources, npartitions=parts)
    return bag.reduction(lambda some: part(some, load), lambda some: together(list(some)), split_every=8)


def told(rows, reviewed, paired):
    """The table by person, sorted, and one row for all."""
    table = pd.DataFrame(sorted(rows, key=lambda row: row["person"]))
    everyone = {"people": reviewed.records, "review": reviewed.figures(), "accuracy": paired.figures()}
    return table, everyone


def run(all_sources, load=from_file, **options):
    """The table by person and one row for all. Computed by the cluster of the `distributed.Client` in use; without one, by the threads
    of this process."""
    work = plan(all_sources, load, **options)
    return told(*(work.compute() if cluster() else work.compute(scheduler="threads")))


def cluster():
    """Whether a cluster is in use."""
    try:
        from distributed import default_client

        default_client()
    except (ImportError, ValueError):
        return False
    return True


def invented_folder(people):
    """A folder of invented people, and a file that is no table of readings."""
    folder = pathlib.Path(tempfile.mkdtemp())
    for seed in range(people):
        who = glidepath.simulate(seed, days=3)
        frame = who.trace.to_pandas()[["time", "glucose_mg_dl"]]
        sticks = who.fingersticks.to_pandas()
        frame = frame.merge(sticks, on="time", how="outer").sort_values("time")
        frame.to_csv(folder / f"invented-{seed}.csv", index=False)
    (folder / "broken.csv").write_text("time,glucose_mg_dl\n2024-05-06 06:30,100\n2024-05-06 06:35,abc\n")
    return folder


def main():
    words = argparse.ArgumentParser(description="A table by person and one row for all.")
    words.add_argument("folder", help="CSV or Parquet files, one a person")
    words.add_argument("--cluster", help="the address of a scheduler of `distributed`")
    words.add_argument("--out", default="cohort", help="where people.csv and everyone.json go")
    args = words.parse_args()
    if args.cluster:
        from distributed import Client

        Client(args.cluster)
    table, everyone = run(sources(args.folder))
    out = pathlib.Path(args.out)
    out.mkdir(parents=True, exist_ok=True)
    table.to_csv(out / "people.csv", index=False)
    (out / "everyone.json").write_text(json.dumps(everyone, indent=1))
    print(f"{everyone['people']} people, {everyone['review']['readings']} readings: {out}/people.csv, {out}/everyone.json")
    print(glidepath.CAUTION)


if __name__ == "__main__":
    main()
