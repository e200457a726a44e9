"""The kinds of value a plan holds, each checked and turned into integers and plain text.

Every check raises ValueError with the rest of a sentence that begins with the value's place: what
is wrong, then what would be right.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from handbell.base.words import listed, quoted
from handbell.plan.slips.values import each_side_sum
from handbell.plan.texts import NAME_MOST, drawable, tidy

WINDOW_LEAST_MS = 5_000
PAUSE_LEAST_MS = 3_000
TIME_MOST_S = 6 * 3600
REPS_MOST = 9_999
REP_MOST_MS = 60_000
ROUNDS_MOST = 16_000
BIB_MOST = 999
NOTE_MOST = 200
TAP_WORDS = ("each", "finish", "tally", "drop", "none")
_EVERY = "{ every = 2 }"


@dataclass(frozen=True)
class PerRound:
    """A number for every round, or (``listed``) one for each."""

    values: tuple[int, ...]
    listed: bool = False

    def at(self, round_: int) -> int:
        """Return the number for a round, from 1."""
        return self.values[round_ - 1] if self.listed else self.values[0]


@dataclass(frozen=True)
class Tap:
    """How people tap: ``rule`` is each, every, finish, tally, drop or none."""

    rule: str
    every: int = 1

    def owed(self, reps: int) -> int:
        """Return after how many reps the box takes a target or goal as made: whole taps."""
        return -(-reps // self.every) * self.every


def shown(value: object) -> str:
    """Return a value as the plan's author would recognise it, cut when long."""
    if isinstance(value, str):
        text = quoted(value)
    elif isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, dict):
        text = "a table"
    elif isinstance(value, list):
        text = "a list"
    elif isinstance(value, int) and value.bit_length() > 100:
        text = "so large a number"
    else:
        text = str(value)
    return text if len(text) <= 40 else text[:37] + "..."


def whole(value: object, least: int, most: int) -> int:
    """Return a whole number from ``least`` to ``most``."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(
            f"{shown(value)} is no whole number; write one from {least} to {most}, without quotes"
        )
    if not least <= value <= most:
        raise ValueError(f"{shown(value)} is out of range; write a number from {least} to {most}")
    return value


def reps(value: object) -> int:
    """Return reps of an exercise, whose both_sides is in the same table."""
    return _reps(value, "write {sum}, the sum, with both_sides = true in the same table")


def own_reps(value: object) -> int:
    """Return reps of single bibs; that sides change is said in the exercise, for all."""
    return _reps(value, "write {sum}, the sum; that sides change is said in the exercise, for all")


def _reps(value: object, remedy: str) -> int:
    both = each_side_sum(value) if isinstance(value, str) else None
    if both is not None:
        raise ValueError(f"{shown(value)} is no whole number; {remedy.format(sum=both)}")
    return whole(value, 1, REPS_MOST)


def milliseconds(value: object) -> int:
    """Return seconds, or tenths of them, as milliseconds; exact, without binary fractions."""
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        raise ValueError(f"{shown(value)} is no time; write seconds without quotes, such as 30")
    number = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    if not number.is_finite():
        raise ValueError(f"{shown(value)} is no time; write seconds, such as 30")
    if number < 0:
        raise ValueError(f"{shown(value)} is negative; write seconds, such as 30")
    if number > TIME_MOST_S:
        raise ValueError(
            f"{shown(value)} is over 6 hours; write seconds (not ms), at most {TIME_MOST_S}"
        )
    _, digits, exponent = number.as_tuple()
    if isinstance(exponent, int) and exponent < -1 and any(digits[exponent + 1 :]):
        raise ValueError(
            f"{shown(value)} is finer than a tenth of a second; write it as {float(number):.1f}"
        )
    return int(number * 10) * 100


def in_seconds(ms: int) -> int | float:
    """Return a time as a plan writes it, in seconds."""
    return ms // 1000 if ms % 1000 == 0 else ms / 1000


def pause_ms(value: object) -> int:
    """Return a time that is nothing or long enough to be noticed."""
    ms = milliseconds(value)
    if 0 < ms < PAUSE_LEAST_MS:
        raise ValueError(
            f"{shown(value)} s is too short to be noticed; "
            f"write 0 for none, or {PAUSE_LEAST_MS // 1000} or more"
        )
    return ms


def guided_ms(value: object) -> int:
    """Return the time of a warm-up or cool-down, which can't be 0."""
    ms = milliseconds(value)
    if ms < PAUSE_LEAST_MS:
        raise ValueError(
            f"{shown(value)} s is too short; write {PAUSE_LEAST_MS // 1000} or more, "
            "or take this part out"
        )
    return ms


def window_ms(value: object) -> int:
    """Return the time of a window."""
    ms = milliseconds(value)
    if ms < WINDOW_LEAST_MS:
        raise ValueError(
            f"{shown(value)} s is too short; a window is {WINDOW_LEAST_MS // 1000} s or more"
        )
    return ms


def minutes_ms(value: object) -> int:
    """Return minutes, or parts of them that are whole seconds, as milliseconds."""
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        raise ValueError(f"{shown(value)} is no time; write minutes without quotes, such as 12")
    number = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    if not number.is_finite() or not 0 < number <= TIME_MOST_S // 60:
        raise ValueError(f"{shown(value)} is out of range; write minutes, up to 360")
    ms = number * 60_000
    if ms % 1000:
        raise ValueError(f"{shown(value)} minutes are no whole seconds; write 7.5 for 7 min 30 s")
    return window_ms(int(ms) // 1000)


def rep_ms(value: object) -> int:
    """Return the time of one rep, in tenths of a second."""
    ms = milliseconds(value)
    if not 0 < ms <= REP_MOST_MS:
        raise ValueError(f"{shown(value)} s is no time for a rep; write up to 60, such as 3")
    return ms


def per_round(one: Callable[[object], int]) -> Callable[[object], PerRound]:
    """Return a check for a value that ``one`` takes, or a list of them, one for each round."""

    def check(value: object) -> PerRound:
        if not isinstance(value, list):
            return PerRound((one(value),))
        if not value:
            raise ValueError("the list is empty; write one entry for each round")
        entries = []
        wrong = []
        for n, entry in enumerate(value, 1):
            try:
                entries.append(one(entry))
            except ValueError as error:
                wrong.append(f"entry {n}: {error}")
        if wrong:
            raise ValueError("; ".join(wrong))
        return PerRound(tuple(entries), listed=True)

    return check


def name_text(value: object) -> str:
    """Return a name that a box can draw, tidied but not yet transliterated."""
    if not isinstance(value, str):
        raise ValueError(f'{shown(value)} is no text; write it in quotes, such as "Push-up"')
    drawn = drawable(value)
    if not drawn:
        raise ValueError(
            f"{shown(value)} has nothing a box can draw; write a name with Latin letters"
        )
    if len(drawn) > NAME_MOST:
        raise ValueError(
            f"{shown(value)} is {len(drawn)} characters long; shorten it to {NAME_MOST}"
        )
    return tidy(value)


def note_text(value: object) -> str:
    """Return a note for people; it goes onto no box."""
    if not isinstance(value, str):
        raise ValueError(f'{shown(value)} is no text; write it in quotes, such as "knees down"')
    if len(value) > NOTE_MOST:
        raise ValueError(f"the note is {len(value)} characters long; shorten it to {NOTE_MOST}")
    return tidy("".join(c if c.isprintable() else " " for c in value))


def yes_no(value: object) -> bool:
    """Return true or false."""
    if not isinstance(value, bool):
        raise ValueError(f"{shown(value)} is neither; write true or false, without quotes")
    return value


def tap_rule(value: object) -> Tap:
    """Return how people tap, from a word or from ``{ every = n }``."""
    if isinstance(value, str) and value in TAP_WORDS:
        return Tap(value)
    if isinstance(value, dict) and set(value) == {"every"}:
        try:
            return Tap("every", whole(value["every"], 2, 255))
        except ValueError as error:
            raise ValueError(f"every: {error}") from None
    several = re.fullmatch(r"\s*every\s*(\d{1,3})\s*", value) if isinstance(value, str) else None
    if several:
        raise ValueError(f"{shown(value)} is no word; write {{ every = {several[1]} }}")
    raise ValueError(
        f"{shown(value)} is no way to tap; "
        f"write {listed(map(quoted, TAP_WORDS), 'or')}, or {_EVERY}"
    )


def bib_list(value: object) -> tuple[int, ...]:
    """Return the bibs of a group, at least one."""
    if not isinstance(value, list):
        raise ValueError(f"{shown(value)} is no list; write the bibs as [1, 2]")
    if not value:
        raise ValueError("the list is empty; write the group's bibs as [1, 2]")
    return tuple(whole(bib, 1, BIB_MOST) for bib in value)


def chosen(*words: str) -> Callable[[object], str]:
    """Return a check for a value that is one of some words."""

    def check(value: object) -> str:
        if not isinstance(value, str) or value not in words:
            raise ValueError(
                f"{shown(value)} isn't allowed here; write {listed(map(quoted, words), 'or')}"
            )
        return value

    return check
