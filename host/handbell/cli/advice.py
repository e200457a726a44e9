"""``advise``: what to change next week, for whom and why."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import UsageError
from handbell.base.times import date_of
from handbell.cli.render import Result
from handbell.cli.reports import class_argument, store_argument

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rich.console import Console

    from handbell.analysis.advising import ClassAdvice
    from handbell.coach.advice.plan import Advice, Decision
    from handbell.coach.writing.edit import PlanText

    Say = Callable[[str], None]

CAUTION = (
    "Advice is arithmetic on taps and ratings; you decide. It never speaks of pain or illness: "
    "whoever feels pain stops and asks a qualified health professional. Screening, supervision "
    "and your local rules come first."
)


def advise_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``advise``."""
    class_argument(parser, nargs="?", default=None)
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
    store_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell advise                     on the newest class\n"
        "  handbell advise 12 --all\n"
        "  handbell advise --plan monday.toml --out next-monday.toml\n\n"
        "Say who wore which bib first (handbell bibs): a bib without a name is taken for one and\n"
        "the same person all along."
    )


def advise_run(args: argparse.Namespace) -> Result:
    """Advise on everybody who came, and write next week's plan when told to."""
    from handbell.analysis.advising import advise_class
    from handbell.coach.advice.limits import load_limits
    from handbell.coach.advice.plan import next_plan
    from handbell.coach.library.shelf import load_library
    from handbell.coach.writing.edit import PlanText, read_plan, write_plan
    from handbell.store import open_store

    if args.out is not None and args.plan is None:
        raise UsageError("--out needs the plan that is to be changed", "Name it with --plan")
    limits = load_limits(args.thresholds)
    library = load_library(args.library)
    text = None if args.plan is None else PlanText(read_plan(args.plan), str(args.plan))
    with open_store(args.store) as store:
        found = advise_class(store, args.class_id, library, limits, text)
    if text is not None and args.out is not None:
        write_plan(args.out, next_plan(found.decisions, text), None)
    data = _facts(found, text)
    data["written"] = None if args.out is None else str(args.out)
    return Result(data, lambda out: _print_advice(found, data, args.all, out))


def _facts(found: ClassAdvice, text: PlanText | None) -> dict[str, Any]:
    return {
        "class_id": found.past.row.id,
        "title": found.past.row.title,
        "everybody": [_decision_facts(d, text) for d in found.decisions],
        "people": [_advice_facts(a) for a in found.advices],
        "findings": [vars(f) for f in found.findings],
        "caution": CAUTION,
    }


def _decision_facts(decision: Decision, text: PlanText | None) -> dict[str, Any]:
    return {
        "block": decision.block,
        "exercise": decision.name,
        "verdict": decision.verdict.value,
        "change": decision.step.words if decision.step else "",
        "keys": decision.step.keys if decision.step else {},
        "agree": decision.agree,
        "judged": decision.judged,
        "in_plan": None if text is None else decision.place_in(text) is not None,
        "others": [a.case.bib for a in decision.others],
    }


def _advice_facts(advice: Advice) -> dict[str, Any]:
    return {
        "bib": advice.case.bib,
        "name": advice.case.who,
        "block": advice.case.block,
        "exercise": advice.case.last.name,
        "verdict": advice.ruling.verdict.value,
        "rule": advice.ruling.rule,
        "evidence": advice.ruling.why,
        "change": advice.step.words if advice.step else "",
        "keys": advice.step.keys if advice.step else {},
        "ask": advice.to_ask,
        "doubts": list(advice.case.doubts),
    }


def _print_advice(found: ClassAdvice, data: dict[str, Any], show_all: bool, out: Console) -> None:

    def say(words: str) -> None:
        out.print(words, markup=False, soft_wrap=True)

    say(f"{data['title']}, class {data['class_id']}, {date_of(found.past.at_us)}")
    say("\nFor everybody")
    for d in data["everybody"]:
        _say_decision(d, say)
    for heading, verdict in (("Harder", "harder"), ("Easier", "easier")):
        _say_people(heading, [a for a in data["people"] if a["verdict"] == verdict], say)
    _say_swaps([a for a in data["people"] if a["verdict"] == "swap"], say)
    _say_talks([a for a in data["people"] if a["ask"]], say)
    same = [a for a in data["people"] if a["verdict"] == "same" and not a["ask"]]
    if show_all:
        _say_people("Same", same, say)
    else:
        say(f"\nThe same: {len(same)} of {len(data['people'])} (--all shows them).")
    if data["findings"]:
        say("\nLook at the data first")
        for finding in found.findings:
            bibs = " and ".join(f"bib {b}" for b in finding.bibs) or f"station {finding.station}"
            say(f"  {finding.name}, {bibs}: {finding.evidence}")
    say("")
    if data["written"]:
        say(f"Written to {data['written']}. Look through it, then: handbell check")
    say(CAUTION)


def _say_decision(d: dict[str, Any], say: Say) -> None:
    where = f"  block {d['block']}, {d['exercise']}: "
    if not d["change"]:
        say(f"{where}stays; {d['judged']} could be judged")
        return
    by_hand = d["in_plan"] is False
    missing = " The plan does not ask for it there by itself; change it by hand." * by_hand
    others = f" Not for bib {', '.join(map(str, d['others']))}." if d["others"] else ""
    say(f"{where}{d['verdict']}, {d['change']} ({d['agree']} of {d['judged']}).{others}{missing}")


def _say_people(heading: str, some: Sequence[dict[str, Any]], say: Say) -> None:
    if some:
        say(f"\n{heading}")
    for who in dict.fromkeys(a["name"] for a in some):
        own = [a for a in some if a["name"] == who]
        doubt = "; doubtful data, see below" if any(a["doubts"] for a in own) else ""
        say(f"  {who}{doubt}")
        for a in own:
            change = a["change"]
            if a["verdict"] != "same" and not change:
                change = "nothing further on the ladder, your choice"
            what = f"{a['exercise']}: {change} -" if change else f"{a['exercise']}:"
            say(f"    {what} {a['evidence']} [{a['rule']}]")


def _say_swaps(some: Sequence[dict[str, Any]], say: Say) -> None:
    """Print swaps by exercise: what has been flat for long is so for many people at once."""
    if some:
        say("\nSwap")
    for change, rule in dict.fromkeys((a["change"], a["rule"]) for a in some):
        same = [a for a in some if (a["change"], a["rule"]) == (change, rule)]
        words = change or f"{same[0]['exercise']}: nothing like it in the library, your choice"
        say(f"  {words} [{rule}]")
        say("    " + "; ".join(f"{a['name']}: {a['evidence']}" for a in same))


def _say_talks(some: Sequence[dict[str, Any]], say: Say) -> None:
    """One line for each person and question, however many exercises it is about."""
    by_talk: dict[str, list[dict[str, Any]]] = {}
    for a in some:
        by_talk.setdefault(a["ask"], []).append(a)
    if by_talk:
        say("\nAsk first, change nothing")
    for talk, about in by_talk.items():
        evidence = "; ".join(f"{a['exercise']}: {a['evidence']}" for a in about)
        say(f"  {evidence} [{about[0]['rule']}]. {talk}.")
