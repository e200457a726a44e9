"""What ``new`` asks on a terminal: one line each, and Enter takes what stands in brackets."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TypeVar

from handbell.base.errors import HandbellError, UsageError
from handbell.cli import shared

T = TypeVar("T")
NOTHING = "Nothing is written"


def ask(args: argparse.Namespace) -> None:
    """Ask for what the command line doesn't say, and put it there.

    Raises UsageError where the answers end before the questions.
    """
    from handbell.work.planning.new import BOXES, BOXES_MOST, BUTTONS_MOST, PEOPLE_MOST

    if args.plan.exists():
        return  # it stays as it is, which is said at once
    if args.roster is None and args.people is None:
        args.roster = _roster()
    if not args.formats:
        args.formats = [_form()]
    if args.people is None and args.roster is None:
        usual = 2 * (args.boxes or BOXES)
        args.people = _answer("How many people come?", usual, _number(PEOPLE_MOST))
    if args.boxes is None:
        usual = min(BOXES, args.people or BOXES)
        args.boxes = _answer("How many boxes?", usual, _number(BOXES_MOST))
    if args.buttons is None:
        args.buttons = _answer("How many buttons of each box are in use?", 1, _number(BUTTONS_MOST))
    if args.minutes is None:
        args.minutes = _answer("How many minutes may it last?", None, _minutes, "as it comes")
    if args.kit is None and {"circuit", "rotation"} & set(args.formats):
        nothing: list[str] = []
        args.kit = _answer("Which kit is there, with commas?", nothing, _kit, "none")


def _roster() -> str | None:
    from handbell.work.planning.new import roster_groups

    try:
        groups = roster_groups()
    except HandbellError:  # a store that can't be read is no reason not to plan
        return None
    if not groups:
        return None
    named = {group.casefold(): group for group in groups}
    question = f"Whose bibs: a group of the roster ({', '.join(groups)})?"
    return _answer(question, None, lambda said: named[said.casefold()], "numbers from 1")


def _form() -> str:
    from handbell.coach.starters.starter import CIRCUIT, PLAIN, ROTATION

    words = {"stay": PLAIN, "move": ROTATION, PLAIN: PLAIN, CIRCUIT: CIRCUIT, ROTATION: ROTATION}
    question = "Do people stay at their box, or move from station to station: stay or move?"
    return _answer(question, CIRCUIT, lambda said: words[said.casefold()], "stay")


def _answer(question: str, usual: T, read: Callable[[str], T], shown: str = "") -> T:
    """Return an answer, asked for again until it is one."""
    while True:
        try:
            said = input(f"{question} [{shown or usual}] ").strip()
        except EOFError:
            print()
            raise UsageError(NOTHING, "Answer the questions, or add --ask-nothing") from None
        if not said:
            return usual
        try:
            return read(said)
        except (KeyError, ValueError):
            print("  That is none of the answers.")
        except HandbellError as error:
            print(f"  {error}")


def _number(most: int) -> Callable[[str], int]:
    def read(said: str) -> int:
        number = int(said)
        if not 1 <= number <= most:
            raise UsageError(f"{number} is too few or too many", f"Say 1 to {most}")
        return number

    return read


def _minutes(said: str) -> str | None:
    shared.slot_ms(said)
    return said


def _kit(said: str) -> list[str]:
    from handbell.coach.library.shelf import load_library
    from handbell.work.planning.exercises import kit_keys
    from handbell.work.planning.new import NO_KIT

    if said.casefold() != NO_KIT:
        kit_keys(load_library(), [said])
    return [said]
