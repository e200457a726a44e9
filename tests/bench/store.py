"""How long the store takes for a million taps, as a ratio to a plain pandas pass over them.

    python tests/bench/store.py [--taps N] [--only sqlite] [--write docs/engineers/store.md]

The classes are made up: ten boxes, twenty people, twelve rounds of six exercises, by the core's
own runner. Each box's log is taken in by itself and committed, two at once, as collecting takes all
boxes at once. Then the report of the group over all of it is worked out, as ``handbell report
--group --weeks 520`` does. The pandas pass has the same bytes in memory: it sorts the records into
a frame, with no check, no rules of counting and nothing stored, then adds up every person's
exercises in every class: no trends, no advice. Each is a process of its own.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "host")]

BEGIN, END = "<!-- made by tests/bench/store.py -->", "<!-- end of what it made -->"
DAY_MS = 86_400_000
BOXES_AT_ONCE = 2  # collecting reads all boxes at the same time
TIMES = 3  # pandas adds up this often, the quickest counts; the report counts the first time
WEEKS = 520
BUDGET_S = {"ingest_s": 20.0, "group_s": 2.0}
BUDGET_MB = 500


def make(path: Path, taps: int) -> dict[str, int]:
    """Write the logs of as many classes as come to that many taps, and return what they are."""
    import classes

    made: list[tuple[str, bytes, bytes]] = []
    done = day = 0
    while done < taps:
        start_ms = classes.START_UTC_MS + day * DAY_MS
        for box, data, run in classes.make_class(10, 2, day, start_ms, rounds=12):
            made.append((box, data, run.journal))
            done += run.taps
        day += 1
    path.write_bytes(pickle.dumps(made))
    return {"taps": done, "classes": day, "logs": len(made)}


def by_store(path: Path, address: str) -> dict[str, float]:
    """Take every log in, one commit each, then report on the group; return seconds and MB."""
    import classes

    from handbell.report.over_time.group import group_report
    from handbell.store import Store, open_store

    made = pickle.loads(path.read_bytes())
    after_us = (classes.START_UTC_MS + 3_650 * DAY_MS) * 1000

    def take_in(store: Store, box: str, data: bytes, journal: bytes) -> None:
        store.put_timeline(data)
        store.ingest(journal, box, after_us)

    with open_store(address) as store:
        began, worked = time.perf_counter(), time.process_time()
        with ThreadPoolExecutor(BOXES_AT_ONCE) as hands:
            list(hands.map(lambda log: take_in(store, *log), made))
        found = {"ingest_s": time.perf_counter() - began, "cpu_s": time.process_time() - worked}
    with open_store(address) as store:  # as another command, which remembers nothing
        began = time.perf_counter()
        group_report(store, weeks=WEEKS)
        found["group_s"] = time.perf_counter() - began
    return found | {"mb": peak_mb()}


def by_pandas(path: Path) -> dict[str, float]:
    """Do the same without a store, checks or rules; return seconds and MB."""
    return by_pandas_of(pickle.loads(path.read_bytes()))


def by_pandas_of(made: list[tuple[str, bytes, bytes]]) -> dict[str, float]:
    """Do it for logs that are in memory."""
    import numpy as np
    import pandas as pd

    fields = "type:u1 slot:u1 window:<u2 class_ms:<i4 bib:<u2 held_ms:<u2 after:<u2 flags:u1"
    record = np.dtype([tuple(f.split(":")) for f in f"{fields} spare:V5 check:<u4".split()])
    began = time.perf_counter()
    frames = []
    for run, (_, _, journal) in enumerate(made):
        records = np.frombuffer(journal, record)
        records = records[records["type"] == 6]
        names = ("slot", "window", "class_ms", "bib", "flags")
        frames.append(pd.DataFrame({name: records[name] for name in names}).assign(run=run))
    taps = pd.concat(frames, ignore_index=True)
    read_s = time.perf_counter() - began
    took = []
    for _ in range(TIMES):
        began = time.perf_counter()
        counted = taps[taps["flags"] & 3 == 0]
        by_window = counted.groupby(["run", "window", "slot"], sort=False)
        gaps = counted.assign(gap=by_window["class_ms"].diff())
        each = gaps.groupby(["run", "window", "slot", "bib"], sort=False)["gap"]
        sums = each.agg(["size", "median", "min", "max"]).reset_index()
        sums.assign(exercise=sums["window"] % 6).groupby(["run", "bib", "exercise"]).agg(
            taps=("size", "sum"), best=("size", "max"), gap=("median", "mean")
        )
        took.append(time.perf_counter() - began)
    return {"ingest_s": read_s, "group_s": min(took), "mb": peak_mb()}


def peak_mb() -> float:
    """Return the most memory that this process has held."""
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def apart(*words: str) -> dict[str, float]:
    """Run one part in a process of its own and return what it measured."""
    done = subprocess.run(
        [sys.executable, __file__, "--part", *words], check=True, stdout=subprocess.PIPE
    )
    found: dict[str, float] = json.loads(done.stdout)
    return found


def run(taps: int, kinds: list[str]) -> tuple[dict[str, float], dict[str, dict[str, float]]]:
    """Measure every kind of store and pandas."""
    from store_places import Server, why_no_server

    found = {}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "logs"
        made = apart("make", str(path), str(taps))
        found["pandas"] = apart("pandas", str(path))
        for kind in kinds:
            if kind == "sqlite":
                found[kind] = apart("store", str(path), str(Path(folder) / "store.sqlite"))
            elif why_no_server():
                sys.stderr.write(f"{kind} left out: {why_no_server()}\n")
            else:
                server = Server(fast=False)
                try:
                    found[kind] = apart("store", str(path), server.new_database())
                finally:
                    server.end()
    return made, found


def table(made: dict[str, float], found: dict[str, dict[str, float]]) -> str:
    """Return the figures as a table in Markdown."""
    plain = found["pandas"]
    lines = [
        f"{made['taps']:,.0f} taps in {made['logs']:,.0f} logs of {made['classes']:,.0f} classes, "
        f"on {os.cpu_count()} cores:",
        "",
        "| | taken in | of it at work here | ratio | the group's report | ratio | memory |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for kind, f in found.items():
        ratios = [f"{f[name] / plain[name]:.1f}" for name in BUDGET_S]
        work = f"{f['cpu_s']:.1f} s" if "cpu_s" in f else ""
        lines.append(
            f"| {kind} | {f['ingest_s']:.1f} s | {work} | {ratios[0]} | {f['group_s']:.2f} s "
            f"| {ratios[1]} | {f['mb']:.0f} MB |"
        )
    limits = f"{BUDGET_S['ingest_s']:.0f} s | | | {BUDGET_S['group_s']:.0f} s | | {BUDGET_MB} MB"
    return "\n".join([*lines, f"| budget for a million | {limits} |"])


def write(path: Path, text: str, begin: str = BEGIN, end: str = END) -> None:
    """Put the table into a page between its marks."""
    page = path.read_text(encoding="utf-8")
    before, rest = page.split(begin)
    after = rest.split(end)[1]
    fresh = path.with_name(path.name + ".part")
    fresh.write_text(f"{before}{begin}\n\n{text}\n\n{end}{after}", encoding="utf-8")
    fresh.replace(path)


def main(words: list[str] | None = None) -> int:
    """Measure, print, and write into the page if asked; 1 if a budget for a million is missed."""
    parser = argparse.ArgumentParser(description=__doc__, add_help=True)
    parser.add_argument("--taps", type=int, default=1_000_000)
    parser.add_argument("--only", choices=("sqlite", "postgresql"), action="append")
    parser.add_argument("--write", type=Path, metavar="PAGE")
    parser.add_argument("--part", nargs="+", help=argparse.SUPPRESS)
    args = parser.parse_args(words)
    if args.part:
        name, path, *more = args.part
        does = {"make": make, "pandas": by_pandas, "store": by_store}[name]
        told = [int(word) if name == "make" else word for word in more]
        print(json.dumps(does(Path(path), *told)))
        return 0
    made, found = run(args.taps, args.only or ["sqlite", "postgresql"])
    text = table(made, found)
    print(text)
    if args.write:
        write(args.write, text)
    stores = [f for kind, f in found.items() if kind != "pandas"]
    late = [f for f in stores if any(f[name] > most for name, most in BUDGET_S.items())]
    return 1 if late or any(f["mb"] > BUDGET_MB for f in stores) else 0


if __name__ == "__main__":
    sys.exit(main())
