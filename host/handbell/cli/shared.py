"""Arguments and lines that several commands have."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.base.times import class_date
from handbell.base.words import quoted
from handbell.cli.output import Out, shown

if TYPE_CHECKING:
    from handbell.store.classes.newest import PassedOver
    from handbell.store.results.records import Wearer
    from handbell.work.after.advise import Advised
    from handbell.work.after.amend import Amendments
    from handbell.work.after.bibs import Bibs
    from handbell.work.after.filing import Filed
    from handbell.work.after.unread import ReadAs
    from handbell.work.upkeep.plugged_in import Stranger

SLOT_MOST_MS = 6 * 3_600_000
NOTHING_WRITTEN = "Nothing written yet; add --write or --out FILE."


def plan_argument(parser: argparse.ArgumentParser) -> None:
    """Add PLAN."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (TOML)")


def library_argument(parser: argparse.ArgumentParser) -> None:
    """Add --library."""
    parser.add_argument(
        "--library",
        type=Path,
        metavar="FILE",
        help="your own exercises (default: exercises.toml in the data folder, if there)",
    )


def kit_argument(parser: argparse.ArgumentParser, name: str, what: str) -> None:
    """Add an option that names kit, any number of times."""
    parser.add_argument(
        name, action="append", metavar="KIT", help=f"{what}; again for more, or with commas"
    )


def writing_arguments(parser: argparse.ArgumentParser) -> None:
    """Add --write and --out, which every command that changes a plan has."""
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--write", action="store_true", help="change the plan's file")
    where.add_argument("--out", type=Path, metavar="FILE", help="write a new file instead")


def written(out: Out, path: str | None, changed: bool = True) -> None:
    """Print where a changed plan was written, or how to write it."""
    if path:
        out.line(f"Written to {path}.")
    elif changed:
        out.line(NOTHING_WRITTEN)


def slot_ms(said: str) -> int:
    """Return the length of a class as people write it: 20, 42.5 or 19:30; raises UsageError."""
    parts = said.split(":")
    hours, minutes, seconds = parts if len(parts) == 3 else ("0", *parts, "0")[:3]
    try:
        whole = 60 * Decimal(hours) + Decimal(minutes)
        ms = whole * 60_000 + Decimal(seconds or 0) * 1000
        past = [part for part in (Decimal(p or 0) for p in parts[1:]) if not 0 <= part < 60]
        if whole and past:  # 0:90 says 90 s, and 20:90 is a slip
            ms = Decimal(0)
    except InvalidOperation:
        ms = Decimal(0)
    if not ms.is_finite() or not 0 < ms <= SLOT_MOST_MS or ms % 100 or len(parts) > 3:
        raise UsageError(f"{said} is no length of a class", "Write minutes, such as 45 or 42:30")
    return int(ms)


def port_argument(parser: argparse.ArgumentParser) -> None:
    """Add --port, which every command that talks to boxes has."""
    parser.add_argument(
        "--port",
        action="append",
        metavar="ADDRESS",
        help="a serial port or socket://HOST:PORT; may be given several times "
        "(default: HANDBELL_PORTS, else every board found on USB)",
    )


def store_argument(parser: argparse.ArgumentParser) -> None:
    """Add --store."""
    parser.add_argument("--store", metavar="URL", help="the store (default: HANDBELL_STORE)")


NEWEST = "newest"
WEEKS_MOST = 520


def class_number(word: str) -> int | None:
    """Return the number that a word says, None for the newest class; raises UsageError."""
    if word == NEWEST:
        return None
    if not word.isdecimal() or len(word) > 9:
        raise UsageError(
            f"{quoted(word[:20])} is no class",
            f"Give its number (handbell report --list), or {NEWEST}",
        )
    return int(word)


def class_argument(
    parser: argparse.ArgumentParser, optional: bool = False, default: int | None = None
) -> None:
    """Add CLASS; left out, where that may be, it is the newest, or ``default``."""
    parser.add_argument(
        "class_id",
        metavar="CLASS",
        type=class_number,
        nargs="?" if optional else None,
        default=default,
        help=f"a class's number (handbell report --list), or {NEWEST}",
    )


def weeks(word: str) -> int:
    """Return a number of weeks; raises UsageError."""
    if not word.isdecimal() or not 1 <= int(word[:9]) <= WEEKS_MOST:
        raise UsageError(f"{quoted(word[:20])} is no number of weeks", f"Give 1 to {WEEKS_MOST}")
    return int(word)


def of_class(out: Out, of: Advised | Amendments | Bibs | Filed | ReadAs) -> None:
    """Print which class it is, and its date: it may not be the one that was meant."""
    when = class_date(of.start_utc_us, of.collected_utc_us)
    out.line(f"Class {of.class_id}: {of.title}, {when}")


def passed_over(out: Out, some: Iterable[PassedOver], shown: int, command: str) -> None:
    """Say which newer classes are not shown, each a lone log that may be of another class."""
    over = list(some)
    for one in over:
        than = "" if one.of == (shown,) else f" than class {shown}"
        out.line(
            f"Class {one.class_id} is newer{than}, but it is {one.what} that may be "
            f"of {one.words}: handbell {command} {one.class_id} shows it, handbell class "
            f"{one.class_id} --join {one.to(over)} puts it there."
        )


def wearers(out: Out, some: Iterable[Wearer]) -> None:
    """Print who wore which bib."""
    for w in some:
        said = ", ".join(filter(None, (w.name, "absent" if w.absent else "")))
        out.line(f"Bib {w.bib}: {said or 'no name'}")


def confirm(
    question: str, word: str, refused: str, nobody: str, undone: str = "This can't be undone."
) -> None:
    """Ask on the terminal until ``word`` is typed; raises UsageError for anything else.

    ``refused`` is what to say then, ``nobody`` where there is no terminal, ``undone`` what takes it
    back.
    """
    if sys.stdin is None or not sys.stdin.isatty():
        raise UsageError(f"{nobody} and nobody is here to ask", "Give --yes")
    sys.stderr.write(f'{shown(question)}\n{undone} Type "{word}" to go on: ')
    sys.stderr.flush()
    if sys.stdin.readline().strip() != word:
        raise UsageError(refused)


def backup(out: Out, path: str | None) -> None:
    """Say where the copy is that was made before something that can't be undone."""
    if path is not None:
        out.line(f"The store as it was before is kept in {path}")


def without_argument(parser: argparse.ArgumentParser) -> None:
    """Add --without."""
    parser.add_argument(
        "--without",
        action="append",
        type=int,
        default=[],
        metavar="STATION",
        help="go on without this station's box; may be given several times",
    )


def strangers(out: Out, others: Iterable[Stranger]) -> None:
    """Print the ports where no box answered."""
    for other in others:
        named = other.why.startswith(f"{other.port}: ")
        out.line(other.why if named else f"{other.port}: {other.why}")
