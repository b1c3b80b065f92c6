"""Measures a cohort of invented person-weeks: `python tests/measure_cohort.py PEOPLE [--cluster] [--kill]`.

In this process, or on a local cluster of two workers, one of which is killed half way. Prints a line of figures and a digest of the
table and of both records, which is the same however it was computed.
"""

import argparse
import hashlib
import os
import pathlib
import resource
import signal
import sys
import threading
import time

import glidepath

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "examples"))
import cohort  # noqa: E402

FIRST_SEED = 3_000_000


def person_week(seed):
    who = glidepath.simulate(FIRST_SEED + seed, days=7, fingersticks_per_day=2)
    return f"{seed:07}", who.trace, who.fingersticks


def peak_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def kill_half_way(client, parts, killed):
    """Ends one worker once half of the parts are done."""

    def done(dask_scheduler=None):
        # those that wait or run are not done; what was merged already is forgotten
        open_states = ("waiting", "queued", "processing", "no-worker")
        tasks = [task.state for key, task in dask_scheduler.tasks.items() if "part" in str(key)]
        return len(tasks), sum(state in open_states for state in tasks)

    while not killed:
        known, still_open = client.run_on_scheduler(done)
        finished = parts - still_open
        if known and finished * 2 >= parts:
            worker, pid = sorted(client.run(os.getpid).items())[0]
            os.kill(pid, signal.SIGKILL)
            killed.append((worker, finished))
        time.sleep(0.2)


def main():
    words = argparse.ArgumentParser()
    words.add_argument("people", type=int)
    words.add_argument("--cluster", action="store_true")
    words.add_argument("--kill", action="store_true")
    words.add_argument("--a-part", type=int, default=200)
    args = words.parse_args()
    work = cohort.plan(list(range(args.people)), person_week, people_a_part=args.a_part)
    begun = time.perf_counter()
    if args.cluster:
        import cloudpickle
        import dask
        from distributed import Client, LocalCluster

        dask.config.set({"distributed.comm.timeouts.connect": "5s"})  # a killed worker is given up soon

        cloudpickle.register_pickle_by_value(cohort)  # the workers need not have the recipe's file
        with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1") as local:
            with Client(local) as client:
                killed = []
                if args.kill:
                    parts = max(1, args.people // args.a_part)
                    threading.Thread(target=kill_half_way, args=(client, parts, killed), daemon=True).start()
                rows, reviewed, paired = client.compute(work).result()
                took = time.perf_counter() - begun
                memory = sorted(client.run(peak_mb).values())
        how = f"two workers, {'one killed after ' + str(killed[0][1]) + ' parts' if killed else 'none killed'}"
        assert bool(killed) == args.kill
    else:
        rows, reviewed, paired = work.compute(scheduler="synchronous")
        took, memory, how = time.perf_counter() - begun, [peak_mb()], "one process"
    table, everyone = cohort.told(rows, reviewed, paired)
    assert len(table) == args.people == everyone["people"] and not table["error"].any()
    digest = hashlib.sha256(reviewed.to_bytes() + paired.to_bytes() + table.to_csv(index=False).encode()).hexdigest()[:16]
    readings = everyone["review"]["readings"]
    print(
        f"{args.people} person-weeks, {how}: {took:.0f} s, {readings} readings, {readings / took:,.0f} a second, peak "
        f"{'/'.join(map(str, memory))} MB a worker, records of {len(reviewed.to_bytes())} and {len(paired.to_bytes())} bytes, "
        f"digest {digest}"
    )


if __name__ == "__main__":
    main()
