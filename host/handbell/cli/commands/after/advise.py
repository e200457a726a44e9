"""``advise``: what to change next week, for whom and why."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.words import listed
from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from handbell.work.after.advise import Advised, ForEverybody, ForOne


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    shared.class_argument(parser, optional=True)
    parser.add_argument("--plan", type=Path, metavar="LAST", help="last week's plan, to be changed")
    parser.add_argument("--out", type=Path, metavar="NEXT", help="write next week's plan here")
    parser.add_argument("--all", action="store_true", help="show also what stays the same")
    parser.add_argument(
        "--thresholds",
        type=Path,
        metavar="FILE",
        help="your own numbers for the rules (default: advice.toml in the data folder, if there)",
    )
    parser.add_argument(
        "--library", type=Path, metavar="FILE", help="your own exercises, as for handbell swap"
    )
    shared.store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell advise                     on the newest class\n"
        "  handbell advise 12 --all\n"
        "  handbell advise --plan monday.toml --out next-monday.toml\n\n"
        "Say who wore which bib first (handbell bibs): a bib without a name is taken for one and\n"
        "the same person all along."
    )


def run(args: argparse.Namespace) -> Advised:
    """Call the operation."""
    from handbell.work.after.advise import advise

    files = (args.plan, args.out, args.thresholds, args.library)
    return advise(args.class_id, *files, args.store, tell_same=args.all)


def text(result: Advised, out: Out) -> None:
    """Print what to change for everybody, then for whom, then what to look at and to ask."""
    shared.passed_over(out, result.passed_over, result.class_id, "advise")
    shared.of_class(out, result)
    out.line("\nFor everybody")
    for decision in result.everybody:
        out.line(_decision(decision))
    for heading, verdict in (("Harder", "harder"), ("Easier", "easier")):
        _people(heading, [a for a in result.people if a.verdict == verdict], out)
    _swaps([a for a in result.people if a.verdict == "swap"], out)
    _talks([a for a in result.people if a.ask], out)
    _same(result, out)
    if result.findings:
        out.line("\nLook at the data first")
    for finding in result.findings:
        bibs = listed(f"Bib {b}" for b in finding.bibs) or _where(finding.station)
        out.line(f"  {bibs}: {finding.evidence}")
    if result.left_out:
        out.line()
    out.lines(f"{words}." for words in result.left_out)
    out.line()
    if result.written:
        out.line(f"Written to {result.written}. Look through it, then: handbell check")
    out.line(result.caution)


def _where(station: int) -> str:
    return f"Station {station}" if station else "Everybody"


def _decision(d: ForEverybody) -> str:
    where = f"  block {d.block}, {d.exercise}: "
    if not d.change and not d.judged:
        return f"{where}stays; nobody has enough data yet"
    if not d.change:
        return f"{where}stays; {d.judged} could be judged"
    by_hand = d.in_plan is False
    missing = " The plan does not ask for it there by itself; change it by hand." * by_hand
    others = f" Not for bib {', '.join(map(str, d.others))}." if d.others else ""
    return f"{where}{d.verdict}, {d.change} ({d.agree} of {d.judged}).{others}{missing}"


def _people(heading: str, some: Sequence[ForOne], out: Out) -> None:
    if some:
        out.line(f"\n{heading}")
    for who in dict.fromkeys(a.name for a in some):
        own = [a for a in some if a.name == who]
        doubt = "; doubtful data, see below" if any(a.doubts for a in own) else ""
        out.line(f"  {who}{doubt}")
        for change, evidence, exercises in _alike(own):
            what = f"{listed(exercises)}: {change} -" if change else f"{listed(exercises)}:"
            out.line(f"    {what} {evidence}")


def _alike(some: Sequence[ForOne]) -> list[tuple[str, str, list[str]]]:
    """Return each change and evidence with the exercises it is of.

    What changes is told one by one; what stays for the same reason is told once.
    """
    found: dict[tuple[str, str, str], list[str]] = {}
    for a in some:
        change = a.change
        if a.verdict != "same" and not change:
            change = "nothing further on the ladder, your choice"
        one = change, a.evidence, a.exercise if change else ""
        found.setdefault(one, []).append(a.exercise)
    return [(*one[:2], list(dict.fromkeys(names))) for one, names in found.items()]


def _same(result: Advised, out: Out) -> None:
    """Print what stays: who is alike in all stands in one line."""
    same = [a for a in result.people if a.verdict == "same" and not a.ask]
    if not result.tell_same:
        out.line(f"\nThe same: {len(same)} of {len(result.people)} (--all shows them).")
        return
    if same:
        out.line("\nSame")
    told: dict[tuple[str, ...], list[str]] = {}
    for who in dict.fromkeys(a.name for a in same):
        own = [a for a in same if a.name == who]
        lines = [f"    {listed(exercises)}: {evidence}" for _, evidence, exercises in _alike(own)]
        doubt = "; doubtful data, see below" if any(a.doubts for a in own) else ""
        told.setdefault(tuple(lines), []).append(f"{who}{doubt}")
    for own_lines, people in told.items():
        out.line(f"  {', '.join(people)}")
        out.lines(own_lines)


def _swaps(some: Sequence[ForOne], out: Out) -> None:
    """Print swaps by exercise: what has been flat for long is so for many people at once."""
    if some:
        out.line("\nSwap")
    for change in dict.fromkeys(a.change for a in some):
        same = [a for a in some if a.change == change]
        words = change or f"{same[0].exercise}: nothing like it in the library, your choice"
        out.line(f"  {words}")
        out.line("    " + "; ".join(f"{a.name}: {a.evidence}" for a in same))


def _talks(some: Sequence[ForOne], out: Out) -> None:
    """Print one line for each person and question, however many exercises it is about."""
    by_talk: dict[str, list[ForOne]] = {}
    for a in some:
        by_talk.setdefault(a.ask, []).append(a)
    if by_talk:
        out.line("\nAsk first, change nothing")
    for talk, about in by_talk.items():
        evidence = "; ".join(f"{a.exercise}: {a.evidence}" for a in about)
        out.line(f"  {evidence}. {talk}.")
