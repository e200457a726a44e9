"""The commands around a class: send, arm, collect."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import BoxError, HandbellError
from handbell.cli.boxes import open_fleet, port_argument, print_strangers, strangers
from handbell.cli.render import Result, console
from handbell.cli.starts import Start, start_of
from handbell_core import faults

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.boxes.classes.send import Sent
    from handbell.boxes.classes.stations import SentClass, Starts
    from handbell.boxes.clocks.clock import Clocks
    from handbell.boxes.clocks.hostclock import HostClock
    from handbell.boxes.link.connection import Connection
    from handbell.boxes.link.fleet import Fleet, Outcome
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
    """Return a progress display: a live line a box on a terminal, nothing elsewhere."""
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
    from handbell.boxes.classes.send import Load, pair, send
    from handbell.boxes.classes.stations import SentClass, Starts, StationMap
    from handbell.boxes.clocks.clock import Clocks
    from handbell.compile import build
    from handbell.plan.files import load_plan
    from handbell.store import open_store

    plan = load_plan(args.plan)
    built = build(plan)
    loads = [
        Load(t.station, t.label, t.digest.hex(), t.data, built.buttons) for t in built.timelines
    ]
    with open_fleet(args) as fleet, open_store(args.store) as store:
        store.put_plan(plan.source, plan.title)
        for load in loads:
            store.put_timeline(load.data)
        stations, left_out = StationMap(), set(args.without)
        sent = SentClass(
            plan.title,
            {x.station: x.digest for x in loads if x.station not in left_out},
            {x.station: c.facts["id"] for c, x in pair(fleet, loads, stations, left_out)},
            sorted(left_out),
            sum(block.gate for block in plan.blocks),
            plan.grid_s,
        )
        starts = Starts(fleet.connections[0].clock.utc_us() // 1000)
        with line_progress() as progress:
            outcomes = send(fleet, loads, stations, left_out, progress)
        _give_rates(fleet, outcomes, Clocks(store))
        others = strangers(fleet)
    good = [o for o in outcomes if o.value is not None]
    trouble = ""
    try:
        sent.save()
    except HandbellError as error:  # arm goes by it, yet the boxes have what they got
        trouble = str(error)
    taken_back = [o.label for o in good if o.facts["id"] in starts.standing]
    if starts.drop([o.facts["id"] for o in good]):
        starts.save()
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

    remarks = [words for words in (starts.words(), starts.trouble) if words]
    if taken_back:
        remarks.insert(0, f"the start that was set is taken back on {', '.join(taken_back)}")

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
        for warning in [*built.warnings, *remarks]:
            out.print(f"note: {warning}", markup=False)
        if trouble:
            out.print(f"{trouble} Then send again, which is quick.", markup=False)
        elif len(good) == len(rows):
            out.print("Every box has its part. Start the class with handbell arm --in 2m")

    data = {"title": plan.title, "boxes": rows, "others": others, "warnings": built.warnings}
    data |= {"starts": remarks, "trouble": trouble}
    return Result(data, text, ok=len(good) == len(rows) and not trouble)


def _give_rates(fleet: Fleet, outcomes: list[Outcome[Sent]], clocks: Clocks) -> None:
    """Keep the contacts of a sending, and give each box the rate that all contacts say."""
    syncs = {o.url: o.value.sync for o in outcomes if o.value is not None}

    def one(connection: Connection) -> None:
        clocks.keep(connection, syncs[connection.url], "send")
        clocks.give(connection, syncs[connection.url])

    by_url = {o.url: o for o in outcomes}
    for after in fleet.each(one, [c for c in fleet.connections if c.url in syncs]):
        if after.error is not None:
            by_url[after.url].value, by_url[after.url].error = None, after.error


def arm_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``arm``."""
    when = parser.add_mutually_exclusive_group(required=True)
    when.add_argument("--in", dest="within", metavar="TIME", help="so long from now: 90s, 5m, 1h")
    when.add_argument("--at", metavar="HH:MM", help="at this time of day, the nearest one")
    when.add_argument("--now", action="store_true", help="in 10 to 20 s, on a whole ten seconds")
    when.add_argument("--cancel", action="store_true", help="take a start back on every box")
    without_argument(parser)
    port_argument(parser)
    store_argument(parser)
    parser.epilog = (
        "examples:\n  handbell arm --at 18:00\n  handbell arm --in 5m --without 3\n"
        '  handbell arm --at "2026-11-26 07:30"\n\n'
        "Either every box of the class is set, or none. Leave the boxes plugged in until it says\n"
        "that they are set; then hang them up. A time of day that has just gone by is refused.\n"
        "Each clock is measured again: it says how far the boxes may part in class, and what\n"
        "helps if that is more than people hear (20 ms)."
    )


def arm_run(args: argparse.Namespace) -> Result:
    """Check that every box is ready and set the start on all of them, or none."""
    from handbell.boxes.classes.arm import arm, forecast, survey
    from handbell.boxes.classes.stations import Starts, last_sent
    from handbell.cli.arming import (
        arm_rows,
        known_clocks,
        print_rows,
        print_skew,
        print_start,
        skew_data,
    )
    from handbell.cli.world import host_clock

    if args.cancel:
        return _cancel(args)
    sent = last_sent().without(set(args.without))
    failure = None
    with open_fleet(args) as fleet, known_clocks(args.store) as clocks:
        hosts = [c.clock for c in fleet.connections]
        shown_us = _start(args, hosts).utc_ms * 1000
        table = survey(fleet, sent, clocks, shown_us)
        start = _start(args, hosts)
        seen = forecast(table, start.utc_ms)
        starts = Starts(host_clock().utc_us() // 1000)
        try:
            arm(fleet, table, sent, start.utc_ms, starts)
        except HandbellError as error:
            failure = str(error)
        now_us = hosts[0].utc_us() if hosts else 0
        others = strangers(fleet)
    remarks = _after_arming(sent, starts) if failure is None else []
    remarks += [starts.trouble] if starts.trouble else []
    rows = arm_rows(table, seen)
    skew = skew_data(seen)

    def text(out: Console) -> None:
        print_rows(rows, out)
        print_strangers(others, out)
        if clocks.trouble:
            out.print(f"note: {clocks.trouble}", markup=False)
        if failure:
            out.print(failure, markup=False)
        else:
            print_skew(skew, len(seen.end_us), out)
            print_start(sent.title, start, now_us, out)
        for remark in remarks:
            out.print(f"note: {remark}", markup=False)

    data = {
        "title": sent.title,
        "armed": failure is None,
        "start_utc_ms": start.utc_ms if failure is None else None,
        "start_words": start.words,
        "boxes": rows,
        "skew": skew,
        "others": others,
        "failure": failure,
        "remarks": remarks,
    }
    return Result(data, text, ok=failure is None)


def _after_arming(sent: SentClass, starts: Starts) -> list[str]:
    """Return what a coach should know of a class that is set."""
    from handbell.boxes.clocks.marks import Walk

    starts.drop([box for n, box in sent.boxes.items() if n in sent.timelines])  # said already
    others = starts.words()
    walk = Walk(len(sent.timelines), sent.grid_s).words() if sent.gates else ""
    return ([others] if others else []) + ([f"at a gate, {walk}"] if walk else [])


def _start(args: argparse.Namespace, clocks: list[HostClock]) -> Start:
    """Return the start that is asked for, as of now; with no box at all there is none."""
    return start_of(args, clocks[0].utc_us()) if clocks else Start(0)


def _cancel(args: argparse.Namespace) -> Result:
    """Take a start back on every box that is plugged in; a class that runs goes on."""
    from handbell.boxes.classes.stations import Starts
    from handbell.cli.world import host_clock

    with open_fleet(args) as fleet:
        outcomes = fleet.each(lambda c: c.request("disarm"))
        others = strangers(fleet)
        starts = Starts(host_clock().utc_us() // 1000)  # there may be no box whose link has one
    failed = [str(_goes_on(o.error)) for o in outcomes if o.error is not None]
    if starts.drop([o.facts["id"] for o in outcomes if o.error is None]):
        starts.save()
    standing = starts.words()

    def text(out: Console) -> None:
        for why in failed:
            out.print(why, markup=False)
        print_strangers(others, out)
        count = len(outcomes) - len(failed)
        boxes = "1 box" if count == 1 else f"{count} boxes"
        if count:
            out.print(f"{boxes} will not start by {'itself' if count == 1 else 'themselves'}.")
        if standing:
            out.print(f"{standing}.", markup=False)
        if starts.trouble:
            out.print(f"note: {starts.trouble}", markup=False)

    fine = not failed and not others and not standing
    data = {"failed": failed, "others": others, "standing": standing, "trouble": starts.trouble}
    return Result(data, text, ok=fine)


def _goes_on(error: HandbellError) -> HandbellError:
    """Return why a box took no start back: a class that is on is none."""
    if isinstance(error, BoxError) and error.code == faults.BUSY:
        return BoxError(error.box, "is in a class, which goes on", "Wait, or stop it at the box")
    return error


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
    from handbell.boxes.classes.collect import collect
    from handbell.store import open_store
    from handbell.store.classes import joining
    from handbell.store.logs import salvage

    with open_fleet(args) as fleet, open_store(args.store) as store:
        with line_progress() as progress:
            outcomes = collect(fleet, store, progress, keep=args.keep)
        got = [run for o in outcomes if o.value is not None for run in o.value.runs]
        unread = [log for o in outcomes if o.value is not None for log in o.value.unread]
        if unread:  # what came in since may tell
            some = [log for log in salvage.unread(store) if log.digest in unread]
            got += [one.run_id for one in salvage.try_again(store, some)]
            unread = [log.digest for log in salvage.unread(store) if log.digest in unread]
        doubts = joining.doubts(store, got)
        others = strangers(fleet)
    rows: list[dict[str, Any]] = []
    for o in outcomes:
        row: dict[str, Any] = {"box": o.label, "port": o.url, "ok": o.error is None}
        if o.value is not None:
            row |= {"runs": len(o.value.runs), "new": o.value.new, "open": o.value.open}
            row |= {"notes": o.value.notes, "kept": o.value.kept, "broken": o.value.broken}
            row["unread"] = [why for log, why in o.value.unread.items() if log in unread]
        if o.error is not None:
            row["why"] = str(o.error)
        rows.append(row)

    def text(out: Console) -> None:
        for row in rows:
            if not row["ok"]:
                out.print(row["why"], markup=False)
            if "runs" not in row:
                continue
            line = f"{row['box']}: {row['new']} new of {row['runs']}"
            if row["open"]:
                line += ", one still in class"
            out.print(line, markup=False)
            for note in row["notes"]:
                out.print(f"  note: {note}", markup=False)
            for why in row["unread"]:
                out.print(f"  NOT READ: {why}", markup=False, soft_wrap=True)
            for why in row["kept"]:
                out.print(f"  left on the box: {why}", markup=False)
            if row["broken"]:
                out.print(f"  {_broken_words(row)}", markup=False)
        for words in doubts:
            out.print(words, markup=False, soft_wrap=True)
        print_strangers(others, out)
        if any(row.get("new") for row in rows):
            out.print("Now: handbell report")

    ok = bool(rows) and not others
    left = ("kept", "broken", "unread")
    ok = ok and all(row["ok"] and not any(row[what] for what in left) for row in rows)
    return Result({"boxes": rows, "doubts": doubts, "others": others}, text, ok=ok)


def _broken_words(row: dict[str, Any]) -> str:
    """Return what is said of the logs that a box can't read; a sound one left there goes first."""
    one = len(row["broken"]) == 1
    said = f"can't be read: {'log' if one else 'logs'} {', '.join(row['broken'])}. "
    if row["kept"] or row["open"]:
        return said + "Bring the others home first, then run handbell collect again."
    remedy = "it alone is" if one else "they alone are"
    return said + f"All others are safe. Run handbell collect again; else {remedy} lost."
