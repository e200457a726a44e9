"""``fit``: a class made to last exactly its slot."""

from __future__ import annotations

import argparse
import dataclasses
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import UsageError
from handbell.base.times import clock
from handbell.cli.plans import CAUTION
from handbell.cli.render import Result

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from handbell.coach.fit.fit import Fitted, Misfit
    from handbell.coach.writing.edit import PlanText
    from handbell.compile import CompiledClass

DRY_RUN = "Nothing is written; --write puts it into the plan, --out FILE into a new one."


def where_to(parser: argparse.ArgumentParser) -> None:
    """Add --write and --out."""
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--write", action="store_true", help="change the plan's file")
    where.add_argument("--out", type=Path, metavar="FILE", help="write a new file instead")


def write(args: argparse.Namespace, before: bytes, after: bytes) -> str | None:
    """Write a changed plan where it was asked for; return where that is."""
    from handbell.coach.writing.edit import write_plan

    path: Path | None = args.out or (args.plan if args.write else None)
    if path is not None:
        write_plan(path, after, None if args.out else before)
    return None if path is None else str(path)


def plan_text(args: argparse.Namespace) -> tuple[PlanText, bytes]:
    """Return the plan that was named, and its file's bytes."""
    from handbell.coach.writing.edit import PlanText, read_plan

    data = read_plan(args.plan)
    return PlanText(data, str(args.plan)), data


def fit_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``fit``."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (TOML)")
    parser.add_argument(
        "--minutes",
        metavar="M",
        help="the slot, lead-in to cool-down: 20, 42.5 or 19:30 (default: the plan's, in [fit])",
    )
    parser.add_argument(
        "--keep",
        action="append",
        default=[],
        metavar="WHAT",
        help="leave alone: breaks, rests, warm-up, windows or rounds; again for more",
    )
    parser.add_argument(
        "--first-timers",
        action="store_true",
        help="more rest: at least 15 s after each window, half as much again where there is some, "
        "and breaks of a minute; rounds go before windows, and targets shrink with their windows",
    )
    where_to(parser)
    parser.epilog = (
        "What is moved first: breaks (30 to 60 s), then rests, then warm-up and cool-down, then\n"
        "windows by 5 s, then rounds; a later one only as far as it must. The plan's [fit] table\n"
        "says other bounds.\n\n"
        "examples:\n"
        "  handbell fit monday.toml --minutes 45\n"
        "  handbell fit monday.toml --minutes 45 --keep rests --keep rounds --write\n"
        "  handbell fit monday.toml --minutes 20 --first-timers --out first.toml"
    )


def fit_run(args: argparse.Namespace) -> Result:
    """Make a class last exactly its slot, or say how near it can come."""
    from handbell.coach.fit.fit import Misfit, fit
    from handbell.coach.fit.write import written
    from handbell.plan.demands import LEVELS

    unknown = [what for what in args.keep if what not in LEVELS]
    if unknown:
        raise UsageError(f"There is no {unknown[0]} to keep", f"Keep one of {', '.join(LEVELS)}")
    text, before = plan_text(args)
    slot_ms = _slot_ms(args.minutes, text)
    found = fit(text.plan, slot_ms, args.keep, args.first_timers)
    if isinstance(found, Misfit):
        misfit = found
        data = {"fits": False, "title": text.plan.title, **dataclasses.asdict(misfit)}
        return Result(data, lambda out: _print_misfit(text, misfit, out), ok=False)
    after, built = written(text, found)
    asked = found.moves or args.out
    data = _fit_facts(text, found, built, args.first_timers) | {
        "written": write(args, before, after) if asked else None
    }
    return Result(data, lambda out: _print_fit(data, found, built, out))


def _slot_ms(said: str | None, text: PlanText) -> int:
    if said is None:
        if text.plan.fit.minutes is None:
            raise UsageError("It is not said how long the slot is", "Add --minutes 45")
        return text.plan.fit.minutes * 60_000
    minutes, _, seconds = said.partition(":")
    try:
        ms = Decimal(minutes) * 60_000 + Decimal(seconds or 0) * 1000
    except InvalidOperation:
        ms = Decimal(0)
    if not ms.is_finite() or not 0 < ms <= 360 * 60_000 or ms % 100:
        raise UsageError(f"{said} is no length of a class", "Write minutes, such as 45 or 42:30")
    return int(ms)


def _fit_facts(
    text: PlanText, found: Fitted, built: CompiledClass, first_timers: bool
) -> dict[str, Any]:
    from handbell.coach.fit.levers import block_words, pause_words
    from handbell.coach.fit.promise import short
    from handbell.coach.fit.targets import denser, work_share

    def times(total: Any) -> dict[str, int]:
        rest_ms = total.total_ms - total.work_ms
        return {"slot_ms": total.slot_ms, "work_ms": total.work_ms, "rest_ms": rest_ms}

    return {
        "fits": True,
        "title": built.plan.title,
        "before": times(found.before),
        "after": times(found.after),
        "moved": [dataclasses.asdict(move) for move in found.moved],
        "eased": [
            {
                "what": _whose(one.name, one.bibs),
                "key": one.key,
                "was": one.was.values,
                "to": one.to.values,
            }
            for one in found.eased
        ],
        "denser": [
            {
                "what": _whose(one.name, one.bibs),
                "key": one.key,
                "reps": one.reps.values,
                "was_ms": one.was_ms.values,
                "to_ms": one.to_ms.values,
            }
            for one in denser(text.plan, found.plan)
        ],
        "work": [
            {
                "what": "the class",
                "was_percent": _percent(found.before.work_ms, found.before.total_ms),
                "to_percent": _percent(found.after.work_ms, found.after.total_ms),
            },
            *(
                {
                    "what": block_words(text.plan, b),
                    "was_percent": round(100 * work_share(text.plan, b)),
                    "to_percent": round(100 * work_share(found.plan, b)),
                }
                for b in range(len(text.plan.blocks))
            ),
        ],
        "short": [
            {
                "what": pause_words(text.plan, one.pause),
                "ms": one.ms,
                "should_ms": one.should_ms,
            }
            for one in (short(text.plan, found.plan) if first_timers else ())
        ],
        "warnings": built.warnings,
    }


def _whose(name: str, bibs: tuple[int, ...]) -> str:
    from handbell.plan.own_tasks import bibs_words

    return f"{name} ({bibs_words(bibs)})" if bibs else name


def _print_targets(data: dict[str, Any], out: Console) -> None:
    """Print which targets shrank with their windows, or what got harder."""
    if data["eased"]:
        out.print("Targets and goals shrink with their windows, whole reps rounded down:")
    for one in data["eased"]:
        words = f"{one['what']}: {_list(one['was'])} becomes {_list(one['to'])}"
        out.print(f"  {words}", markup=False)
    if data["denser"]:
        out.print("Harder: the same target or goal in less time. Lower it, or keep windows:")
    for one in data["denser"]:
        was, now = (_values("windows", one[key]) for key in ("was_ms", "to_ms"))
        goal = "a goal of " if one["key"] == "goal" else ""
        words = f"{one['what']}: {goal}{_list(one['reps'])} reps in {now}, before in {was}"
        out.print(f"  {words}", markup=False)
    up = [one for one in data["work"] if one["to_percent"] > one["was_percent"]]
    if up:
        out.print("Denser: more of the time is work:")
    for one in up:
        words = f"{one['what']}: {one['to_percent']} %, before {one['was_percent']} %"
        out.print(f"  {words}", markup=False)
    if data["short"]:
        out.print(
            "Less than first-timers should have, by the plan's [fit] or --keep:", markup=False
        )
    for one in data["short"]:
        words = f"{one['what']}: {one['ms'] / 1000:g} s, not {one['should_ms'] / 1000:g}"
        out.print(f"  {words}", markup=False)


def _percent(part: int, whole: int) -> int:
    return round(100 * part / whole) if whole else 0


def _list(values: Sequence[int]) -> str:
    return ", ".join(map(str, values))


def _print_fit(data: dict[str, Any], found: Fitted, built: CompiledClass, out: Console) -> None:
    from rich.table import Table
    from rich.text import Text

    was, now = data["before"], data["after"]
    title = data["title"]
    if not found.moves:
        out.print(f"{title} lasts {clock(now['slot_ms'])} as it is.", markup=False)
    else:
        out.print(f"{title}: {clock(was['slot_ms'])} becomes {clock(now['slot_ms'])}", markup=False)
        table = Table(box=None, pad_edge=False)
        for heading in ("moved", "from", "to"):
            table.add_column(heading)
        for move in found.moved:
            cells = (move.what, _values(move.level, move.was), _values(move.level, move.to))
            table.add_row(*(Text(cell) for cell in cells))
        out.print(table)
        for word, key in (("In windows", "work_ms"), ("Between them", "rest_ms")):
            out.print(f"{word}: {clock(was[key])} becomes {clock(now[key])}.", markup=False)
    _print_targets(data, out)
    if any(block.gate for block in built.plan.blocks):
        out.print("  note: a gate counts as nothing here; what you wait there comes on top")
    print_end(data, bool(found.moves), built.warnings, out)


def print_end(data: dict[str, Any], changed: bool, warnings: list[str], out: Console) -> None:
    """Print warnings, and where a plan was written, or how to."""
    for warning in warnings:
        out.print(f"  note: {warning}", markup=False)
    if data["written"]:
        out.print(f"Written to {data['written']}.", markup=False)
    elif changed:
        out.print(DRY_RUN)
    out.print(CAUTION, markup=False)


def _values(level: str, values: Sequence[int]) -> str:
    if level == "rounds":
        return ", ".join(map(str, values))
    return ", ".join(f"{ms / 1000:g}" for ms in values) + " s"


def _print_misfit(text: PlanText, misfit: Misfit, out: Console) -> None:
    title, slot = text.plan.title, clock(misfit.slot_ms)
    out.print(f"{title} can't last {slot} within the bounds.", markup=False)
    both = misfit.below_ms is not None and misfit.above_ms is not None
    for ms, most, word in (
        (misfit.below_ms, "longest below" if both else "longest", "short"),
        (misfit.above_ms, "shortest above" if both else "shortest", "over"),
    ):
        if ms is not None:
            apart = clock(abs(ms - misfit.slot_ms))
            out.print(f"  The {most} it can last is {clock(ms)}, {apart} {word}.", markup=False)
    remedy = "take a block out" if misfit.below_ms is None else "add a block or a part of warm-up"
    if any(block.format for block in text.plan.blocks):
        words = "Blocks in a short form keep their times; handbell show --expanded writes them out."
        out.print(f"  {words}", markup=False)
    advice = f"Widen the bounds in the plan's [fit], {remedy}, or name another slot."
    out.print(advice, markup=False)
