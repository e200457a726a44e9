"""What ``new`` asks on a terminal: one line each, and Enter takes what stands in brackets."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from typing import TypeVar

from handbell.base.errors import HandbellError, StoppedError, UsageError
from handbell.base.words import quoted
from handbell.cli import shared

T = TypeVar("T")
NOTHING = "Nothing is written"


def ask(args: argparse.Namespace) -> None:
    """Ask for what the command line doesn't say, and put it there.

    Raises UsageError for what it says and can't be, before anything is asked, and where the answers
    end before the questions.
    """
    from handbell.work.planning import new

    if args.plan.exists():
        return  # it stays as it is, which is said at once
    new.require_file(args.plan)
    new.require_forms(args.formats)
    if args.roster is None and args.people is None:
        args.roster = _roster()
    if args.roster is not None:
        people = len(new.bibs_of_roster(args.roster)[0])
    if not args.formats:
        args.formats = [_form()]
    at_each = new.people_at_each(args.formats)
    if args.roster is None:
        if args.people is None:
            usual = 2 * (args.boxes or new.BOXES)
            args.people = _answer("How many people come?", usual, _number(new.PEOPLE_MOST))
        people = args.people
    if args.boxes is None:
        most = min(new.BOXES_MOST, max(1, people // at_each))
        least = min(new.boxes_least(args.formats, people), most)
        usual = max(least, min(new.BOXES, most))
        args.boxes = _answer("How many boxes?", usual, _number(most, least))
    if args.buttons is None:
        read = _number(new.BUTTONS_MOST)
        args.buttons = _answer("How many buttons of each box are in use?", 1, read)
    if args.minutes is None:
        args.minutes = _answer("How many minutes may it last?", None, _minutes, "as it comes")
    if args.kit is None and new.takes_kit(args.formats):
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
    question = f"Whose bibs: a group of the roster ({', '.join(map(quoted, groups))})?"
    return _answer(
        question, None, lambda said: named[said.strip('"').casefold()], "numbers from 1", groups
    )


def _form() -> str:
    from handbell.coach.starters.starter import CIRCUIT, NAMES, ROTATION

    words = {"stay": CIRCUIT, "s": CIRCUIT, "move": ROTATION, "m": ROTATION}
    words |= {name: name for name in NAMES}
    question = (
        "Do people stay at their box, or move from station to station: stay, move, or one of "
        f"{', '.join(name for name in NAMES if name not in (CIRCUIT, ROTATION))}?"
    )
    answers = [word for word in words if len(word) > 1]
    return _answer(question, CIRCUIT, lambda said: words[said.casefold()], "stay", answers)


def _answer(
    question: str,
    usual: T,
    read: Callable[[str], T],
    shown: str = "",
    answers: Sequence[str] = (),
) -> T:
    """Return an answer, asked for again until it is one, of ``answers`` if there are but some."""
    while True:
        try:
            said = input(f"{question} [{shown or usual}] ").strip()
        except EOFError:
            print()
            raise UsageError(NOTHING, "Answer the questions, or add --ask-nothing") from None
        except KeyboardInterrupt:
            print()
            raise StoppedError(NOTHING) from None
        if not said:
            return usual
        try:
            return read(said)
        except (KeyError, ValueError):
            print(f"  That is none of the answers: {', '.join(answers)}.")
        except HandbellError as error:
            print(f"  {error}")


def _number(most: int, least: int = 1) -> Callable[[str], int]:
    def read(said: str) -> int:
        try:
            number = int(said)
        except ValueError:
            raise UsageError(f"{quoted(said)} is no number", f"Say {least} to {most}") from None
        if not least <= number <= most:
            raise UsageError(f"{number} is too few or too many", f"Say {least} to {most}")
        return number

    return read


def _minutes(said: str) -> str | None:
    shared.slot_ms(said)
    return said


def _kit(said: str) -> list[str]:
    from handbell.coach.library.shelf import load_library
    from handbell.work.planning.new import kit_there

    kit_there(load_library(), [said])
    return [said]
