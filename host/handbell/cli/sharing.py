"""``share``: an order of exercises or stations for which kit and room suffice."""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import HandbellError, PlanError
from handbell.base.times import clock
from handbell.cli.fitting import plan_text, print_end, where_to, write
from handbell.cli.render import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from handbell.coach.order.kit import Shared
    from handbell.coach.order.table import Visit
    from handbell.coach.writing.edit import PlanText
    from handbell.compile import CompiledClass

SOLVE_SECONDS = 20.0
KEPT = "its order keeps every demand."


def order_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``share``."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (TOML)")
    parser.add_argument(
        "--by",
        choices=("group", "station"),
        default="group",
        help="who is where when: a line for each group (default) or for each station",
    )
    where_to(parser)
    parser.epilog = (
        "What is scarce stands in the plan: [kit], an exercise's kit, a station's capacity,\n"
        "never_after, alternate, circuit.\n\n"
        "examples:\n"
        "  handbell order monday.toml\n"
        "  handbell order monday.toml --by station\n"
        "  handbell order monday.toml --write"
    )


def order_run(args: argparse.Namespace) -> Result:
    """Find an order for each lane or group so that kit and stations suffice."""
    from handbell.coach.order.kit import changes, orders
    from handbell.coach.order.table import by_group, by_station, visits

    text, before = plan_text(args)
    shared = orders(text.plan, SOLVE_SECONDS)
    data: dict[str, Any] = {"title": text.plan.title, "blocks": [_share_facts(s) for s in shared]}
    if any(s.clash for s in shared):
        return Result(data, lambda out: _print_clashes(text, shared, out), ok=False)
    wanted = changes(text.plan, shared)
    after = text.changed(wanted) if wanted else before
    built = _compiled(after, text)
    table = (by_group if args.by == "group" else by_station)(visits(built))
    data |= {
        "table": {name: [dataclasses.asdict(v) for v in rows] for name, rows in table.items()},
        "warnings": built.warnings,
        "written": write(args, before, after) if wanted else None,
    }
    return Result(
        data, lambda out: _print_share(data, text, shared, table, args.by, bool(wanted), out)
    )


def _compiled(data: bytes, text: PlanText) -> CompiledClass:
    from handbell.compile import build
    from handbell.plan.files import parse_plan

    try:
        return build(parse_plan(data, text.name))
    except PlanError as error:
        raise HandbellError(
            f"In that order the plan would not pass the check: {'; '.join(error.faults)}",
            "Nothing is changed; mend what is named",
        ) from None


def _share_facts(shared: Shared) -> dict[str, Any]:
    schedule = shared.schedule
    return {
        "block": shared.block + 1,
        "order": shared.order,
        "steps": schedule.steps if schedule else None,
        "waiting": schedule.waiting if schedule else None,
        "shortest": schedule.shortest if schedule else None,
        "clash": list(shared.clash.words) if shared.clash else None,
        "smallest": shared.clash.smallest if shared.clash else None,
        "enough": dict(shared.enough),
    }


def _print_clashes(text: PlanText, shared: Sequence[Shared], out: Console) -> None:
    for s in shared:
        if s.clash is None:
            continue
        rest = "any of it dropped, the rest can hold" if s.clash.smallest else "perhaps not all"
        out.print(f"Block {s.block + 1}: this can't hold together ({rest}):", markup=False)
        for words in s.clash.words:
            out.print(f"  - {words}", markup=False)
        for kit, count in s.enough:
            out.print(f"  {count} of {kit} would do.", markup=False)
    out.print(f"Change one of these in {text.name}, and run it again.", markup=False)


def _print_share(
    data: dict[str, Any],
    text: PlanText,
    shared: Sequence[Shared],
    table: dict[str, list[Visit]],
    by: str,
    changed: bool,
    out: Console,
) -> None:
    for s in shared:
        name = text.plan.blocks[s.block].name
        block = f"Block {s.block + 1}, {name}" if name else f"Block {s.block + 1}"
        kept = s.order is not None and s.order == text.plan.blocks[s.block].order
        out.print(f"{block}: {KEPT if kept else _share_words(s)}", markup=False)
    _print_table(table, by, bool(text.plan.stations), out)
    print_end(data, changed, data["warnings"], out)


def _share_words(shared: Shared) -> str:
    if shared.order is None:
        return "no order of its own is needed."
    schedule = shared.schedule
    if schedule is None or not any(schedule.waiting):
        return "an order for each."
    waits = sorted(set(schedule.waiting))
    how_long = f"{waits[0]}" if len(waits) == 1 else f"{waits[0]} to {waits[-1]}"
    proved = "" if schedule.shortest else " (perhaps fewer would do)"
    return f"{schedule.steps} windows a round, of which each waits {how_long}{proved}."


def _print_table(table: dict[str, list[Visit]], by: str, labelled: bool, out: Console) -> None:
    from rich.table import Table
    from rich.text import Text

    shown = Table(box=None, pad_edge=False)
    shown.add_column("at", justify="right", no_wrap=True)
    for name in table:
        shown.add_column(Text(name))
    times = sorted({visit.class_ms for rows in table.values() for visit in rows})
    cells: dict[tuple[int, str], list[str]] = {}
    for name, rows in table.items():
        for visit in rows:
            cells.setdefault((visit.class_ms, name), []).append(_cell(visit, by, name, labelled))
    for at_ms in times:
        row = [", ".join(cells.get((at_ms, name), ())) for name in table]
        shown.add_row(clock(at_ms), *(Text(cell) for cell in row))
    out.print(shown)


def _cell(visit: Visit, by: str, name: str, labelled: bool) -> str:
    if by == "station":
        return f"{visit.words}: {visit.group}" if visit.group != name else visit.words
    if not visit.station:
        return "waits"
    return f"{visit.words} ({visit.label})" if labelled and visit.label != name else visit.words
