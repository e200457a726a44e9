"""Many halls on one server: hosts that collect at once, and what size costs.

    python tests/bench/server.py [--hosts 20] [--halls 50] [--sizes 1 3 10 30] [--write PAGE]

The first part is a day: each hall has had one class, and hosts, each a process of its own with
a coach's login, take in the logs of all halls at once, every log by two hosts. A watcher looks every
20 ms for who waits for a lock, and how long at a stretch. Then everything is counted: no log
lacking, none twice, no tap more or less.

The second fills a store with that many million taps, hall by hall in turn, and at each size takes
what one more class costs to take in, one hall's report of the group over all its classes, and the
owner's months of all halls. What each is per tap in the store is a straight line between logarithms;
its slope is 0 where size costs nothing, 1 where twice the size takes twice as long. In the same run
pandas goes over one class's bytes without a store, which the table gives as 1.
"""

from __future__ import annotations

import argparse
import json
import math
import subprocess
import sys
import threading
import time
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "host")]

BEGIN, END = "<!-- made by tests/bench/server.py -->", "<!-- end of what it made -->"
LOOK_S = 0.02
BLOCKED_MOST_S = 2.0
DAY_MS = 86_400_000
AT_US = 2_000_000_000_000_000
MILLION = 1_000_000
_WAITING = (
    "SELECT pid, extract(epoch FROM clock_timestamp() - waitstart) FROM pg_locks WHERE NOT granted"
)


def hall_of(n: int) -> str:
    """Return the number of a made-up hall; they lie on both sides of zero as a server has them."""
    return f"{((n * 2654435761) % (1 << 32)) << 32 | n + 1:016x}"


def login_of(address: str, name: str, hall: str = "") -> str:
    """Return the address for a login in one hall."""
    before, after = address.split("://coach:")
    return f"{before}://{name}:{after}" + (f"?hall={hall}" if hall else "")


def prepare(server: object, halls: int) -> str:
    """Make a store with many halls: each has a coach's login, ``host`` is of all of them."""
    from store_places import PASSWORD
    from store_places import prepare as as_keeper

    from handbell.store import open_store
    from handbell.store.halls.own import Hall
    from handbell.store.halls.server import Asked

    address = server.new_database()  # type: ignore[attr-defined]
    open_store(address).close()
    for n in range(halls):
        owners = ("overall",) if n == 0 else ()
        as_keeper(address, Asked(Hall(hall_of(n), f"H{n}"), ("host",), owners))
    words = [f"ALTER ROLE {name} PASSWORD '{PASSWORD}'" for name in ("host", "overall")]
    server.run(address.rsplit("/", 1)[1], *words)  # type: ignore[attr-defined]
    return str(address)


def made_class(n: int, day: int, boxes: int, rounds: int) -> list[tuple[str, bytes, bytes, int]]:
    """Return a class's logs: box, timeline, journal and how many taps it has."""
    import classes

    start_ms = classes.START_UTC_MS + day * DAY_MS + n * 1000
    made = classes.make_class(boxes, 2, n, start_ms, rounds=rounds)
    return [(box, data, run.journal, run.taps) for box, data, run in made]


def collect(words: list[str]) -> None:
    """Be one host: wait for the word, then take in the logs of the halls that are given."""
    from handbell.store import open_store

    address, boxes, *halls = words
    logs = {n: made_class(int(n), 0, int(boxes), 1) for n in halls}
    print("ready", flush=True)
    sys.stdin.readline()
    new, slowest = 0, 0.0
    for n in halls:
        with open_store(login_of(address, "host", hall_of(int(n)))) as store:
            for box, data, journal, _ in logs[n]:
                began = time.perf_counter()
                store.put_timeline(data)
                new += store.ingest(journal, box, AT_US).new
                slowest = max(slowest, time.perf_counter() - began)
    print(json.dumps({"new": new, "slowest_s": slowest}), flush=True)


def watch(address: str, done: threading.Event, found: list[float]) -> None:
    """Note how long anybody waits for a lock at a stretch."""
    import psycopg

    with psycopg.connect(address.replace("+psycopg", "", 1), autocommit=True) as conn:
        while not done.wait(LOOK_S):
            found.extend(float(s or 0) for _, s in conn.execute(_WAITING))


def a_day(server: object, hosts: int, halls: int, boxes: int) -> dict[str, float]:
    """Have hosts collect a day of all halls at once; return what was found, raise if any is lost."""
    import psycopg

    address = prepare(server, halls)
    # Every hall's logs come by two hosts, in different order.
    shares = [[str(n) for n in range(halls) if n % hosts == k] for k in range(hosts)]
    shares = [mine + shares[(k + 1) % hosts][::-1] for k, mine in enumerate(shares)]
    run = [sys.executable, __file__, "--part", "collect", address, str(boxes)]
    procs = [
        subprocess.Popen([*run, *mine], text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        for mine in shares
    ]
    for one in procs:
        if one.stdout is None or one.stdout.readline() != "ready\n":
            raise RuntimeError("a host could not begin")
    done, waits = threading.Event(), [0.0]
    watcher = threading.Thread(target=watch, args=(address, done, waits))
    watcher.start()
    began = time.perf_counter()
    for one in procs:
        if one.stdin is not None:
            one.stdin.write("go\n")
            one.stdin.flush()
    told = [json.loads(one.communicate()[0]) for one in procs]
    took_s = time.perf_counter() - began
    done.set()
    watcher.join()
    logs = [log for n in range(halls) for log in made_class(n, 0, boxes, 1)]
    with psycopg.connect(address.replace("+psycopg", "", 1)) as conn:
        words = (
            "SELECT (SELECT count(*) FROM runs), (SELECT count(DISTINCT (in_hall, digest)) FROM runs),"
            " (SELECT count(*) FROM classes), (SELECT count(*) FROM taps WHERE kind = 'tap')"
        )
        there = conn.execute(words).fetchone()
    expected = (len(logs), len(logs), halls, sum(taps for *_, taps in logs))
    if there != expected or sum(one["new"] for one in told) != len(logs):
        raise RuntimeError(f"lost or doubled: {there} instead of {expected}")
    slowest = max(one["slowest_s"] for one in told)
    return {"logs": len(logs), "took_s": took_s, "blocked_s": max(waits), "slowest_s": slowest}


def sizes(server: object, halls: int, millions: list[float]) -> list[dict[str, float]]:
    """Fill a store size by size; return what things cost at each."""
    from store import by_pandas_of

    from handbell.report.over_time.group import group_report
    from handbell.store import open_store

    address = prepare(server, halls)
    stores = [open_store(login_of(address, "host", hall_of(n))) for n in range(halls)]
    found: list[dict[str, float]] = []
    taps = day = 0
    for size in millions:
        while taps < size * MILLION:
            taps += sum(take_in(stores[day % halls], made_class(day, day // halls, 10, 12)))
            day += 1
        more = made_class(day, day // halls, 10, 12)
        began = time.perf_counter()
        extra = sum(take_in(stores[day % halls], more))
        ingest_s = (time.perf_counter() - began) / extra
        taps, day = taps + extra, day + 1
        plain = by_pandas_of([log[:3] for log in more])
        with open_store(login_of(address, "host", hall_of(0))) as store:
            began = time.perf_counter()
            group_report(store, weeks=520)
            group_s = time.perf_counter() - began
        began = time.perf_counter()
        size_mb = owners_months(address)
        months_s = time.perf_counter() - began
        row = {"taps": taps, "ingest_us": ingest_s * 1e6, "group_s": group_s, "months_s": months_s}
        row |= {"mb": size_mb, "plain_us": plain["ingest_s"] / extra * 1e6}
        found.append(row)
        sys.stderr.write(f"{row}\n")
    for store in stores:
        store.close()
    return found


def take_in(store: object, logs: list[tuple[str, bytes, bytes, int]]) -> list[int]:
    """Take a class in and return the taps of its logs."""
    for box, data, journal, _ in logs:
        store.put_timeline(data)  # type: ignore[attr-defined]
        store.ingest(journal, box, AT_US)  # type: ignore[attr-defined]
    return [taps for *_, taps in logs]


def owners_months(address: str) -> float:
    """Read the months of all halls as their owner; return the store's size in MB."""
    import psycopg

    words = "SELECT pg_database_size(current_database()) / 1e6"
    with psycopg.connect(login_of(address, "overall").replace("+psycopg", "", 1)) as conn:
        conn.execute("SELECT * FROM hall_months").fetchall()
        row = conn.execute(words).fetchone()
    return float(row[0]) if row else 0.0


def slope(found: list[dict[str, float]], name: str) -> float:
    """Return the slope of the straight line through the logarithms, by least squares."""
    xs = [math.log(row["taps"]) for row in found]
    ys = [math.log(row[name]) for row in found]
    x, y = sum(xs) / len(xs), sum(ys) / len(ys)
    across = sum((a - x) ** 2 for a in xs)
    return sum((a - x) * (b - y) for a, b in zip(xs, ys, strict=True)) / across if across else 0.0


def table(day: dict[str, float], halls: int, hosts: int, found: list[dict[str, float]]) -> str:
    """Return the figures in Markdown."""
    lines = [
        f"{hosts} hosts took in {day['logs']:,.0f} logs of {halls} halls, each twice, in "
        f"{day['took_s']:.1f} s: none lost, none doubled. Nobody waited for a lock longer than "
        f"{day['blocked_s']:.2f} s; the slowest log took {day['slowest_s']:.2f} s.",
    ]
    if found:
        lines += [
            "",
            "| million taps | taken in, a tap | to pandas | a hall's report | all months | MB |",
            "| --- | --- | --- | --- | --- | --- |",
        ]
    for row in found:
        lines.append(
            f"| {row['taps'] / MILLION:.2f} | {row['ingest_us']:.1f} us | "
            f"{row['ingest_us'] / row['plain_us']:.1f} | {row['group_s']:.2f} s | "
            f"{row['months_s']:.2f} s | {row['mb']:,.0f} |"
        )
    if len(found) > 1:
        named = ("ingest_us", "group_s", "months_s", "mb")
        a, b, c, d = (f"{slope(found, name):.2f}" for name in named)
        lines.append(f"| slope | {a} | | {b} | {c} | {d} |")
    return "\n".join(lines)


def main(words: list[str] | None = None) -> int:
    """Measure, print, and write into the page if asked; 1 if somebody was blocked too long."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hosts", type=int, default=20)
    parser.add_argument("--halls", type=int, default=50)
    parser.add_argument("--boxes", type=int, default=10)
    parser.add_argument("--sizes", type=float, nargs="*", default=[1, 3, 10, 30])
    parser.add_argument("--write", type=Path, metavar="PAGE")
    parser.add_argument("--part", nargs="+", help=argparse.SUPPRESS)
    args = parser.parse_args(words)
    if args.part:
        collect(args.part[1:])
        return 0
    from store import write
    from store_places import Server

    server = Server(fast=False)
    try:
        day = a_day(server, args.hosts, args.halls, args.boxes)
        found = sizes(server, args.halls, args.sizes) if args.sizes else []
    finally:
        server.end()
    text = table(day, args.halls, args.hosts, found)
    print(text)
    if args.write:
        write(args.write, text, BEGIN, END)
    return 1 if day["blocked_s"] > BLOCKED_MOST_S else 0


if __name__ == "__main__":
    sys.exit(main())
