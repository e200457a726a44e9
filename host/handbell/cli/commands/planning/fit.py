"""``fit``: a class made to last exactly its slot."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.times import clock
from handbell.base.words import listed
from handbell.cli import shared
from handbell.cli.output import Out
from handbell.cli.progress import Lines

if TYPE_CHECKING:
    from handbell.coach.fit.task_steps import TaskStep
    from handbell.work.planning.fit import Fits, FitsNot
    from handbell.work.planning.one_step import OneStep


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.plan_argument(parser)
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
        help="leave alone: breaks, rests, warm-up, windows or rounds; several with commas",
    )
    parser.add_argument(
        "--first-timers",
        action="store_true",
        help="more rest: at least 15 s after each window, half as much again where there is some, "
        "and breaks of a minute; rounds go before windows, and targets shrink with their windows",
    )
    way = parser.add_mutually_exclusive_group()
    way.add_argument(
        "--easier",
        action="store_const",
        const="easier",
        dest="way",
        help="the whole plan one step easier, at about the length it has: the next easier "
        "exercises, fewer reps, 5 s of each window turned into rest",
    )
    way.add_argument(
        "--harder", action="store_const", const="harder", dest="way", help="the other way round"
    )
    shared.writing_arguments(parser)
    shared.library_argument(parser)
    parser.epilog = (
        "What is changed first: breaks (30 to 60 s), then rests, then warm-up and cool-down, then\n"
        "windows by 5 s, then rounds; each only if those before it aren't enough. The plan's\n"
        "[fit] table says other bounds.\n\n"
        "examples:\n"
        "  handbell fit monday.toml --minutes 45\n"
        "  handbell fit monday.toml --minutes 45 --keep rests --keep rounds --write\n"
        "  handbell fit monday.toml --minutes 20 --first-timers --out first.toml\n"
        "  handbell fit monday.toml --easier --out easier.toml\n"
        "  handbell fit easier.toml --minutes 45 --write"
    )


def run(args: argparse.Namespace) -> Fits | FitsNot | OneStep:
    """Call the operation."""
    from handbell.work.planning.fit import fit_plan
    from handbell.work.planning.one_step import step_plan

    keep = [what.strip() for words in args.keep for what in words.split(",") if what.strip()]
    if args.way is not None:
        if args.minutes is not None or args.first_timers:
            raise UsageError(
                f"--{args.way} goes without --minutes and --first-timers",
                "Write the new plan with --out, then fit that one",
            )
        return step_plan(args.plan, args.way, keep, args.library, args.write, args.out)
    slot_ms = None if args.minutes is None else shared.slot_ms(args.minutes)
    with Lines(Out(sys.stderr).console) as lines:
        return fit_plan(
            args.plan,
            slot_ms,
            keep,
            args.first_timers,
            args.write,
            args.out,
            lines,
            args.library,
        )


def text(result: Fits | FitsNot | OneStep, out: Out) -> None:
    """Print what was changed, and what that means for people."""
    from handbell.work.planning.fit import FitsNot
    from handbell.work.planning.one_step import OneStep
    from handbell.work.planning.plans import CAUTION

    if isinstance(result, OneStep):
        _print_step(result, out)
        out.line(CAUTION)
        return
    if isinstance(result, FitsNot):
        _print_misfit(result, out)
        return
    was, now = result.before, result.after
    if not result.changed:
        out.line(f"{result.title} lasts {clock(now.slot_ms)} as it is.")
    else:
        out.line(f"{result.title}: {clock(was.slot_ms)} becomes {clock(now.slot_ms)}")
        rows = [(m.what, _values(m.level, m.was), _values(m.level, m.to)) for m in result.changed]
        out.table(("changed", "from", "to"), rows)
        out.line(f"Work: {_becomes(was.work_ms, now.work_ms)}.")
        out.line(f"Rest and changes: {_becomes(was.rest_ms, now.rest_ms)}.")
    _print_targets(result, out)
    _print_shares(result, out)
    if result.demanding:
        names = ", ".join(f"{one.exercise} ({', '.join(one.why)})" for one in result.demanding)
        out.note(f"much for a first class: {names}; handbell fit --easier takes a step down")
    if result.gates:
        out.note("a gate counts as nothing here; what you wait there comes on top")
    for warning in result.warnings:
        out.note(warning)
    shared.written(out, result.written, bool(result.changed))
    out.line(CAUTION)


def _print_targets(result: Fits, out: Out) -> None:
    if result.eased:
        out.line("Targets and goals shrink with their windows, whole reps rounded down:")
    for one in result.eased:
        out.line(f"  {one.what}: {_list(one.was)} becomes {_list(one.to)}")
    if result.denser:
        out.line("Harder: the same target or goal in less time. Lower it, or keep windows:")
    for two in result.denser:
        goal = "a goal of " if two.key == "goal" else ""
        was, now = _values("windows", two.was_ms), _values("windows", two.to_ms)
        out.line(f"  {two.what}: {goal}{_list(two.reps)} reps in {now}, before in {was}")


def _print_shares(result: Fits, out: Out) -> None:
    up = [one for one in result.work if one.to_percent > one.was_percent]
    if up:
        out.line("Denser: more of the time is work:")
    for one in up:
        out.line(f"  {one.what}: {one.to_percent} %, before {one.was_percent} %")
    for found, why in (
        (result.short, "by the plan's [fit] or --keep"),
        (result.short_by_form, "since a short form keeps its times"),
    ):
        if found:
            out.line(f"Less than first-timers should have, {why}:")
        for two in found:
            out.line(f"  {two.what}: {two.ms / 1000:g} s, not {two.should_ms / 1000:g}")
    _print_uncut(result, out)


def _print_uncut(result: Fits | FitsNot, out: Out) -> None:
    if result.uncut:
        out.line("Windows that stay as long as they are, since less would be no whole rep or tap:")
    for one in result.uncut:
        out.line(f"  {one.what}: {listed(one.exercises)}")


def _print_step(result: OneStep, out: Out) -> None:
    was, now = result.before.slot_ms, result.after.slot_ms
    out.line(f"{result.title}, one step {result.way}: {_becomes(was, now)}")
    for block in result.blocks:
        out.line(f"{block.what[0].upper()}{block.what[1:]}")
        if block.stuck:
            out.line(f"  stays as it is: {block.stuck}")
        for move in block.moves:
            moved = f"{_values(move.level, move.to)}, before {_values(move.level, move.was)}"
            what = move.what.removesuffix(f" in {block.what}").removesuffix(f" of {block.what}")
            out.line(f"  {what}: {moved}")
        out.pairs([(_whose(one), _step_words(one)) for one in block.tasks])
        for one in block.tasks:
            if one.cautions:
                out.line(f"  {one.to}: {one.cautions}")
    for warning in result.warnings:
        out.note(warning)
    if result.unknown:
        out.note(f"not in the library, so only reps are changed: {', '.join(result.unknown)}")
    if now != was:
        out.note(f"handbell fit with --minutes {clock(was)} makes the new plan as long as this one")
    if result.way == "harder":
        out.note("harder is for people who made all of this with rest to spare")
    shared.written(out, result.written)


def _whose(one: TaskStep) -> str:
    from handbell.plan.own_tasks import bibs_words

    return f"{one.name} ({bibs_words(one.bibs)})" if one.bibs else one.name


def _step_words(one: TaskStep) -> str:
    words = [] if one.to == one.name else [f"now {one.to}"]
    if one.was != one.now:
        words.append(f"{one.key} {_list(one.now)}, before {_list(one.was)}")
    elif one.was and words:
        words.append(f"{one.key} {_list(one.was)}, as before")
    if one.once:
        words.append("one tap now, when all reps are made")
    if one.lever:
        words.append(f"lever: {one.lever}")
    return "; ".join(words) or "stays"


def _becomes(was_ms: int, now_ms: int) -> str:
    if was_ms == now_ms:
        return f"{clock(now_ms)}, as before"
    return f"{clock(was_ms)} becomes {clock(now_ms)}"


def _list(values: Sequence[int]) -> str:
    return ", ".join(map(str, values))


def _values(level: str, values: Sequence[int]) -> str:
    if level == "rounds":
        return _list(values)
    return ", ".join(f"{ms / 1000:g}" for ms in values) + " s"


def _print_misfit(result: FitsNot, out: Out) -> None:
    slot_ms, below_ms, above_ms = result.slot_ms, result.below_ms, result.above_ms
    out.line(f"{result.title} can't last {clock(slot_ms)} within the bounds.")
    both = below_ms is not None and above_ms is not None
    for ms, most, word in (
        (below_ms, "longest below" if both else "longest", "short"),
        (above_ms, "shortest above" if both else "shortest", "over"),
    ):
        if ms is not None:
            apart = clock(abs(ms - slot_ms))
            out.line(f"  The {most} it can last is {clock(ms)}, {apart} {word}.")
    _print_uncut(result, out)
    if result.short_forms:
        out.line(
            "  Blocks in a short form keep their times; handbell show --expanded writes them out."
        )
    if result.held:
        out.line(f"  The break {listed(result.held)} stays a minute: never_after needs it.")
    remedy = "take a block out" if below_ms is None else "add a block or a part of warm-up"
    out.line(f"Widen the bounds in the plan's [fit], {remedy}, or name another slot.")
