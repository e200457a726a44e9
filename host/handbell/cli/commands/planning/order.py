"""``order``: who goes where, so that kit and stations are enough."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from handbell.base.choices import SOLVE_SECONDS
from handbell.base.times import clock
from handbell.base.words import block_words, listed, several
from handbell.cli import shared
from handbell.cli.output import Out
from handbell.cli.progress import Lines

if TYPE_CHECKING:
    from handbell.coach.order.table import Visit
    from handbell.work.planning.order import BlockOrder, Ordered


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.plan_argument(parser)
    parser.add_argument(
        "--by",
        choices=("group", "station"),
        default="group",
        help="who is where when: a column for each group (default) or for each station",
    )
    parser.add_argument(
        "--seconds",
        type=int,
        default=int(SOLVE_SECONDS),
        metavar="N",
        help=f"how long to search for each block's order (default: {SOLVE_SECONDS:g})",
    )
    shared.library_argument(parser)
    shared.writing_arguments(parser)
    parser.epilog = (
        "What is scarce stands in the plan: [kit], an exercise's kit, a station's capacity,\n"
        "never_after, alternate, circuit. Stations with at = [x, y] get short ways.\n\n"
        "examples:\n"
        "  handbell order monday.toml\n"
        "  handbell order monday.toml --by station\n"
        "  handbell order monday.toml --write"
    )


def run(args: argparse.Namespace) -> Ordered:
    """Call the operation."""
    from handbell.work.planning.order import order

    with Lines(Out(sys.stderr).console) as lines:
        return order(args.plan, args.by, args.write, args.out, args.seconds, lines, args.library)


def text(result: Ordered, out: Out) -> None:
    """Print each block's order and who is where, or what can't hold together."""
    from handbell.work.planning.plans import CAUTION

    if not result.ok:
        for block in result.blocks:
            _print_clash(block, out)
        out.line(f"Change one of these in {result.plan}, and run it again.")
        return
    if result.changed:
        for block in result.blocks:
            out.line(f"{block_words(block.block, block.name)}: {_words(block)}")
        _print_length(result, out)
        _print_table(result, out)
    else:
        where = f"handbell show {result.plan}"
        found = "The plan already fits, as it is" if result.apart else "No better order was found"
        out.line(f"{found}; who is where when: {where}.")
        for block in result.blocks:
            if block.walk_m is not None:
                out.line(f"{block_words(block.block, block.name)}:{_way_words(block.walk_m)}")
        _print_length(result, out)
    for warning in result.warnings:
        out.note(warning)
    shared.written(out, result.written, result.changed)
    out.line(CAUTION)


def _print_clash(block: BlockOrder, out: Out) -> None:
    if block.clash is None:
        return
    rest = "without any one of these the others can" if block.smallest else "perhaps not all"
    out.line(f"{block_words(block.block, block.name)}: this can't hold together ({rest}):")
    out.lines(f"  - {words}" for words in block.clash)
    if block.enough:
        out.line(f"  {listed(f'{n} of {kit}' for kit, n in block.enough.items())} would do.")


def _print_length(result: Ordered, out: Out) -> None:
    """Say that a class becomes longer, as waits make it."""
    before_ms = result.before_ms or result.slot_ms
    longer = result.slot_ms != before_ms
    if longer:
        out.line(f"The class becomes {clock(result.slot_ms)} long, from {clock(before_ms)}.")
    if result.wished_ms and result.slot_ms > result.wished_ms:
        what = "That" if longer else "The class"
        out.line(
            f"{what} is over its slot of {clock(result.wished_ms)}: handbell fit, or more kit."
        )


def _words(block: BlockOrder) -> str:
    if block.fits:
        return f"already fits.{_way_words(block.walk_m)}"
    if block.order is None:
        return f"no order of its own is needed.{_way_words(block.walk_m)}"
    return f"{_waits_words(block)}{_better_words(block)}"


def _waits_words(block: BlockOrder) -> str:
    if not any(block.waiting or ()):
        return "an order for each."
    waits = sorted(set(block.waiting or ()))
    how_long = f"{waits[0]}" if len(waits) == 1 else f"{waits[0]} to {waits[-1]}"
    proved = "" if block.shortest else " (perhaps fewer would do)"
    return f"{block.steps} windows a round, of which each waits {how_long}{proved}."


def _better_words(block: BlockOrder) -> str:
    """Return what of an order is not as people would like it."""
    least = "as few as can be" if block.best else "as few as were found"
    said = ""
    if block.alike:
        said = f" {several(block.alike, 'time')} the same muscles at once again, {least}."
    return f"{said}{_way_words(block.walk_m)}"


def _way_words(walk_m: float | None) -> str:
    if walk_m is None:
        return ""
    return f" The way is {walk_m:.0f} m a round, all groups together."


def _print_table(result: Ordered, out: Out) -> None:
    cells: dict[int, dict[str, list[str]]] = {}
    for name, rows in result.table.items():
        for visit in rows:
            here = cells.setdefault(visit.class_ms, {}).setdefault(name, [])
            here.append(_cell(visit, result, name))
    names = tuple(result.table)
    lines = [
        (clock(at_ms), *(", ".join(there.get(name, ())) for name in names))
        for at_ms, there in sorted(cells.items())
    ]
    out.grid(("at",), names, lines)


def _cell(visit: Visit, result: Ordered, name: str) -> str:
    if result.by == "station":
        return f"{visit.words}: {visit.group}" if visit.group != name else visit.words
    if not visit.station:
        return "waits"
    labelled = result.stations_named and visit.label != name
    return f"{visit.words} ({visit.label})" if labelled else visit.words
