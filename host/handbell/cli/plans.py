"""``check``, and what commands about a plan have in common."""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.times import clock
from handbell.cli.numbers import numbers_facts, print_against, print_numbers
from handbell.cli.render import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from handbell.boxes.clocks.marks import Walk
    from handbell.compile.build import CompiledClass

CAUTION = (
    "Before hard exercise: a screening questionnaire for everybody, within the coach's own "
    "qualification and the local rules."
)


def plan_argument(parser: argparse.ArgumentParser) -> None:
    """Add PLAN."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (TOML)")


def check_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``check``."""
    plan_argument(parser)
    parser.add_argument(
        "--against", type=Path, metavar="LAST", help="another plan, such as last week's, to compare"
    )
    library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell check monday.toml\n"
        "  handbell check monday.toml --against last-monday.toml\n"
        "  handbell check monday.toml --json"
    )


def library_argument(parser: argparse.ArgumentParser) -> None:
    """Add --library."""
    parser.add_argument(
        "--library",
        type=Path,
        metavar="FILE",
        help="your own exercises (default: exercises.toml in the data folder, if there)",
    )


def compiled(path: Path) -> CompiledClass:
    """Return a plan's class; raises PlanError."""
    from handbell.compile import build
    from handbell.plan.files import load_plan

    return build(load_plan(path))


def check_run(args: argparse.Namespace) -> Result:
    """Find every fault of a plan, add up its times, and compare it with another one."""
    from handbell.coach.library.remarks import coach_remarks
    from handbell.coach.library.shelf import load_library
    from handbell.coach.numbers.numbers import numbers_of
    from handbell.coach.order import kit

    built = compiled(args.plan)
    library = load_library(args.library)
    warnings = built.warnings + coach_remarks(built.schedule, library)
    warnings += [f"block {b + 1}: {fault}" for b, fault in kit.faults(built.schedule)]
    numbers = numbers_of(built, library)
    facts = plan_facts(built) | {"warnings": warnings, "numbers": numbers_facts(numbers)}
    facts["by_hand"] = by_hand(built).facts()
    compared = None
    if args.against is not None:
        from handbell.coach.numbers.against import against

        last = compiled(args.against)
        compared = against(built, numbers, last, numbers_of(last, library))
        facts["against"] = {"title": last.plan.title, **dataclasses.asdict(compared)}

    def text(out: Console) -> None:
        _print_check(built, out)
        print_numbers(numbers, out)
        if compared is not None:
            print_against(compared, str(args.against), out)
        print_warnings(warnings, out)

    return Result(facts, text)


def plan_facts(built: CompiledClass) -> dict[str, Any]:
    """Return what is true of a class as a whole, for machines."""
    return {
        "title": built.plan.title,
        "plan": built.plan.digest.hex(),
        "layout": built.plan.layout,
        **dataclasses.asdict(built.totals),
        "warnings": built.warnings,
    }


def _print_check(built: CompiledClass, out: Console) -> None:
    totals = built.totals
    out.print(f"{built.plan.title}: the plan is in order.", markup=False)
    boxes = "1 box" if totals.boxes == 1 else f"each of {totals.boxes} boxes"
    lines = (
        ("First bell to last", f"{clock(totals.total_ms)}"),
        ("Lead-in to cool-down", f"{clock(totals.slot_ms)}"),
        ("Windows", f"{totals.windows} on {boxes}"),
        ("In windows, between them", f"{clock(totals.work_ms)}, {clock(totals.rest_ms)}"),
    )
    for what, value in lines:
        out.print(f"  {what:<26}{value}", markup=False)
    if any(block.gate for block in built.plan.blocks):
        out.print("  A gate counts as nothing here; the class waits there for the coach.")
    words = by_hand(built).words()
    if words:
        gates = "At a gate, and started" if any(b.gate for b in built.plan.blocks) else "Started"
        out.print(f"  {gates} by hand: {words}", markup=False)


def by_hand(built: CompiledClass) -> Walk:
    """Return the walk past all boxes that a start by hand or a gate takes."""
    from handbell.boxes.clocks.marks import Walk

    return Walk(built.totals.boxes, built.plan.grid_s)


def print_warnings(warnings: Sequence[str], out: Console) -> None:
    """Print warnings, and the caution that ends every such page."""
    for warning in warnings:
        out.print(f"  note: {warning}", markup=False)
    out.print(CAUTION, markup=False)
