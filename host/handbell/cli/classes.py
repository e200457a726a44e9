"""The commands around a class: send, arm, collect."""

from __future__ import annotations

import argparse
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.cli.boxes import open_fleet, port_argument, print_strangers, strangers
from handbell.cli.render import Result, console
from handbell.errors import HandbellError, UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.cli.progress import Lines


def without_argument(parser: argparse.ArgumentParser) -> None:
    """Add --without."""
    parser.add_argument(
        "--without",
        action="append",
        type=int,
        default=[],
        metavar="STATION",
        help="go on without this station's box; may be given several times",
    )


def line_progress() -> Lines:
    """Return a progress display: a live line a box on a terminal, else a line when one is done."""
    from handbell.cli.progress import Lines

    return Lines(console(stderr=True))


def send_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``send``."""
    parser.add_argument("plan", type=Path, help="the plan file")
    without_argument(parser)
    port_argument(parser)
    store_argument(parser)
    parser.epilog = (
        "examples:\n  handbell send class.toml\n  handbell send class.toml --without 3\n\n"
        "Interrupted? Run it again: it goes on where it stopped, and until a box has all of the\n"
        "new timeline it keeps the old one."
    )


def store_argument(parser: argparse.ArgumentParser) -> None:
    """Add --store."""
    parser.add_argument("--store", metavar="URL", help="the store (default: HANDBELL_STORE)")


def send_run(args: argparse.Namespace) -> Result:
    """Compile a plan and put each timeline on its box."""
    from handbell.boxes.send import Load, send
    from handbell.boxes.stations import StationMap, remember_sent
    from handbell.compile import build
    from handbell.plan.files import load_plan
    from handbell.store import open_store

    plan = load_plan(args.plan)
    built = build(plan)
    loads = [
        Load(t.station, t.label, t.digest.hex(), t.data, built.buttons) for t in built.timelines
    ]
    with open_fleet(args) as fleet:
        with open_store(args.store) as store:
            store.put_plan(plan.source, plan.title)
            for load in loads:
                store.put_timeline(load.data)
        with line_progress() as progress:
            outcomes = send(fleet, loads, StationMap(), set(args.without), progress)
        others = strangers(fleet)
    good = [o for o in outcomes if o.value is not None]
    remember_sent(
        {
            "title": plan.title,
            "timelines": {str(x.station): x.digest for x in loads if x.station not in args.without},
        }
    )
    rows: list[dict[str, Any]] = []
    for o in outcomes:
        row: dict[str, Any] = {"box": o.label, "port": o.url, "ok": o.value is not None}
        if o.value is not None:
            row |= {
                "station": o.value.station,
                "digest": o.value.digest,
                "bytes": o.value.size,
                "already": o.value.already,
                "bound_us": o.value.sync.bound_us,
            }
        else:
            row["why"] = str(o.error)
        rows.append(row)

    def text(out: Console) -> None:
        for row in rows:
            if row["ok"]:
                had = "had it already" if row["already"] else f"{row['bytes']} bytes"
                out.print(
                    f"station {row['station']}, {row['box']}: {had}, "
                    f"clock within {row['bound_us'] / 1000:.1f} ms",
                    markup=False,
                )
            else:
                out.print(row["why"], markup=False)
        print_strangers(others, out)
        for warning in built.warnings:
            out.print(f"note: {warning}", markup=False)
        if len(good) == len(rows):
            out.print("Every box has its part. Start the class with handbell arm --in 2m")

    data = {"title": plan.title, "boxes": rows, "others": others, "warnings": built.warnings}
    return Result(data, text, ok=len(good) == len(rows))


def arm_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``arm``."""
    when = parser.add_mutually_exclusive_group(required=True)
    when.add_argument("--in", dest="within", metavar="TIME", help="so long from now: 90s, 5m, 1h")
    when.add_argument("--at", metavar="HH:MM", help="at this time of day, today or tomorrow")
    when.add_argument("--now", action="store_true", help="at the next whole ten seconds")
    without_argument(parser)
    port_argument(parser)
    parser.epilog = (
        "examples:\n  handbell arm --at 18:00\n  handbell arm --in 5m --without 3\n\n"
        "Either every box of the class is set, or none. Leave the boxes plugged in until it says\n"
        "that they are set; then hang them up."
    )


_UNITS = {"s": 1, "m": 60, "h": 3600}


def start_instant_ms(args: argparse.Namespace, now_us: int) -> int:
    """Return the class start in UTC milliseconds; raises UsageError."""
    now_s = now_us // 1_000_000
    if args.now:
        return (now_s // 10 + 2) * 10_000
    if args.within:
        number, unit = args.within[:-1], args.within[-1:]
        if unit not in _UNITS or not number.isdigit() or not int(number):
            raise UsageError(f"--in {args.within} is no time", "Say for example 90s, 5m or 1h")
        return (now_s + int(number) * _UNITS[unit]) * 1000
    now = datetime.fromtimestamp(now_s, timezone.utc).astimezone()
    try:
        clock = datetime.strptime(args.at, "%H:%M:%S" if args.at.count(":") == 2 else "%H:%M")
    except ValueError as error:
        raise UsageError(f"--at {args.at} is no time of day", "Say for example 18:00") from error
    start = now.replace(
        hour=clock.hour, minute=clock.minute, second=clock.second, microsecond=0, tzinfo=None
    )
    if start.astimezone() <= now:
        start += timedelta(days=1)
    return int(start.astimezone().timestamp()) * 1000


def arm_run(args: argparse.Namespace) -> Result:
    """Check that every box is ready and set the start on all of them, or none."""
    from handbell.boxes.arm import arm, survey
    from handbell.boxes.stations import last_sent

    sent_all = last_sent()
    sent = {int(n): d for n, d in sent_all["timelines"].items() if int(n) not in args.without}
    failure = None
    with open_fleet(args) as fleet:
        table = survey(fleet, sent, set(args.without))
        start_ms = start_instant_ms(args, fleet.connections[0].clock.utc_us()) if table else 0
        try:
            arm(fleet, table, sent, start_ms)
        except HandbellError as error:
            failure = str(error)
    start = datetime.fromtimestamp(start_ms / 1000, timezone.utc).astimezone()
    rows: list[dict[str, Any]] = [
        {
            "station": row.station,
            "box": row.label,
            "ready": row.ready,
            "why": row.why,
            "bound_us": row.sync.bound_us if row.sync else None,
        }
        for row in table
    ]

    def text(out: Console) -> None:
        for row in rows:
            bound = f", clock within {row['bound_us'] / 1000:.1f} ms" if row["bound_us"] else ""
            state = "ready" if row["ready"] else "not ready: " + "; ".join(row["why"])
            out.print(f"station {row['station']}, {row['box']}: {state}{bound}", markup=False)
        if failure:
            out.print(failure, markup=False)
        else:
            out.print(f"{sent_all['title']} starts at {start:%H:%M:%S}. You may unplug the boxes.")

    data = {
        "title": sent_all["title"],
        "armed": failure is None,
        "start_utc_ms": start_ms if failure is None else None,
        "boxes": rows,
        "failure": failure,
    }
    return Result(data, text, ok=failure is None)


def collect_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``collect``."""
    parser.add_argument("--keep", action="store_true", help="leave the logs on the boxes")
    port_argument(parser)
    store_argument(parser)
    parser.epilog = (
        "examples:\n  handbell collect\n  handbell collect --keep\n\n"
        "A log is erased on its box only after it is safe in the store; running it twice does no\n"
        "harm."
    )


def collect_run(args: argparse.Namespace) -> Result:
    """Collect every finished run of every box."""
    from handbell.boxes.collect import collect
    from handbell.store import open_store

    with open_fleet(args) as fleet, open_store(args.store) as store:
        with line_progress() as progress:
            outcomes = collect(fleet, store, progress, keep=args.keep)
        others = strangers(fleet)
    rows: list[dict[str, Any]] = []
    for o in outcomes:
        row: dict[str, Any] = {"box": o.label, "port": o.url, "ok": o.value is not None}
        if o.value is not None:
            row |= {"runs": len(o.value.runs), "new": o.value.new, "open": o.value.open}
            row["notes"] = o.value.notes
        else:
            row["why"] = str(o.error)
        rows.append(row)

    def text(out: Console) -> None:
        for row in rows:
            if not row["ok"]:
                out.print(row["why"], markup=False)
                continue
            line = f"{row['box']}: {row['new']} new of {row['runs']}"
            if row["open"]:
                line += ", one still in class"
            out.print(line, markup=False)
            for note in row["notes"]:
                out.print(f"  note: {note}", markup=False)
        print_strangers(others, out)
        if any(row.get("new") for row in rows):
            out.print("Now: handbell report")

    ok = all(row["ok"] for row in rows)
    return Result({"boxes": rows, "others": others}, text, ok=ok)
