"""Going on after each slip, so that all are told at once."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass

from handbell.base import toml
from handbell.plan.slips import lines as one_line
from handbell.plan.slips.keys import COUNTED_KIT, ONE_TABLE, heading, table_of

SLIPS_MOST = 40
BACK_MOST = 30
_LONG = 76
_HEADING = re.compile(r"\s*\[\[?\s*([a-z_. ]+)\]")
_SIDES = re.compile(r"\s*both_sides\b")


@dataclass(frozen=True)
class Slip:
    """A place that is not TOML; ``line`` and ``columns`` count from 1, ``instead`` is right.

    ``instead`` is "" where the line is to be taken out, and None where nobody can know it: then
    ``remedy`` says what to do, and the text goes on with ``stand_in``, if anything. ``ways`` are
    what else the line may mean, each with why.
    """

    line: int
    said: str
    columns: tuple[int, int]
    why: str
    instead: str | None
    remedy: str = "write key = value there, with texts in quotes, or take the line out"
    stand_in: str = ""
    ways: tuple[tuple[str, str], ...] = ()

    def words(self) -> str:
        """Return it as a coach reads it: the place, the line with a mark, the line to write."""
        first, last = self.columns
        shown, from_ = self.said.expandtabs(1), 0
        if len(shown) > _LONG:
            from_ = max(0, min(first - 20, len(shown) - _LONG))
            shown = shown[from_ : from_ + _LONG]
        mark = " " * (first - 1 - from_) + "^" * max(1, min(last, from_ + len(shown)) - first + 1)
        told = [f"line {self.line}: {self.why}", f"      {shown.rstrip()}", f"      {mark}"]
        if self.instead is None:
            told.append(f"    {self.remedy}")
        elif not self.instead:
            told.append("    take this line out")
        else:
            told += ["    write:", *(f"      {line}" for line in self.instead.split("\n"))]
        return "\n".join(told)


def mended(text: str) -> tuple[list[Slip], str | None]:
    """Return every slip of a text, and the text as it is with all of them mended.

    A line that nobody can know has a stand-in there; the text is None when that can't be.
    """
    work = _Work(text.split("\n"))
    while len(work.slips) < SLIPS_MOST:
        at = _first_error(work.text())
        if at is None:
            break
        if not work.mend(at):
            break
    slips = sorted(work.slips, key=lambda slip: slip.line)
    known = all(slip.instead is not None or slip.stand_in for slip in slips)
    whole = known and _first_error(work.text()) is None
    return slips, work.text() if whole else None


def _first_error(text: str) -> tuple[int, str] | None:
    """Return the line, from 0, at which reading stops, and why; None when it is TOML."""
    try:
        toml.loads(text)
    except toml.TOMLDecodeError as error:
        found = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", str(error))
        line = int(found[1]) - 1 if found and found[1] else text.count("\n")
        return line, str(error)
    return None


class _Work:
    """The lines on their way to TOML; each keeps its number, "" for one that was taken out."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self._said = list(lines)
        self.slips: list[Slip] = []
        self._done: set[int] = set()
        if _first_error("\n".join(lines)) is not None:
            self._headings()

    def text(self) -> str:
        """The text so far; a line that became several still counts as one for the slips."""
        return "\n".join(self.lines)

    def mend(self, at: tuple[int, str]) -> bool:
        """Mend the slip at which reading stops; return whether anything could be done."""
        stopped, error = at
        number = self._number(stopped)
        if "overwrite" in error or "twice" in error:
            self._take(number, self._said[number], "this stands there already; keep one of the two")
            return True
        for line in range(number, -1, -1):
            first = self._begin(line)
            if not self.lines[first].strip() or first in self._done:
                continue
            if not one_line.alone(self.lines[first]):
                last = self._end(first)
                ways = [
                    way
                    for way in self._right(first, last)
                    if self._helps(first, last, way[0], stopped)
                ]
                if ways:
                    self._put(first, last, ways)
                    return True
            if number - line > BACK_MOST:
                break
        left = [n for n in range(number, -1, -1) if n not in self._done and self.lines[n].strip()]
        if not left:
            return False
        self._lose(next((n for n in left if not one_line.alone(self.lines[n])), left[0]))
        return True

    def _number(self, stopped: int) -> int:
        """Return the line of ours that a line of the text is."""
        ends = itertools.accumulate(line.count("\n") + 1 for line in self.lines)
        return next((n for n, end in enumerate(ends) if stopped < end), len(self.lines) - 1)

    def _begin(self, line: int) -> int:
        """Return the line in which the list begins that a line is in, else the line itself."""
        for first in range(line, max(-1, line - BACK_MOST), -1):
            now = self.lines[first]
            if "=" in now:
                return first if now.count("[") > now.count("]") else line
            if re.match(r"\s*\[\[?[a-z]", now):
                break
        return line

    def _end(self, first: int) -> int:
        """Return the last line of what begins in a line: a list may go over several."""
        line = self.lines[first]
        if "=" not in line or line.count("[") <= line.count("]"):
            return first
        for last in range(first + 1, min(first + BACK_MOST, len(self.lines))):
            now = self.lines[last]
            if "=" in now or re.match(r"\s*\[\[?[a-z]", now):
                return first
            if "]" in now:
                return last
        return first

    def _right(self, first: int, last: int) -> list[one_line.Fixed]:
        joined = " ".join(line.partition("#")[0].strip() for line in self.lines[first : last + 1])
        indent = self.lines[first][: -len(self.lines[first].lstrip()) or None]
        line = self.lines[first] if first == last else indent + joined
        return one_line.fixed(line, *self._table(first))

    def _table(self, number: int) -> tuple[str, bool]:
        """Return the table that a line is in, and whether another line of it is both_sides."""
        above = "\n".join(self.lines[:number]).split("\n")
        begin = next((n for n in range(len(above) - 1, -1, -1) if _HEADING.match(above[n])), None)
        if begin is None:
            return "", False
        below = itertools.takewhile(lambda line: not _HEADING.match(line), self.lines[number + 1 :])
        own = [*above[begin:], *below]
        found = _HEADING.match(above[begin])
        name = found[1].strip() if found else ""
        return COUNTED_KIT if name == COUNTED_KIT else table_of(name), any(map(_SIDES.match, own))

    def _helps(self, first: int, last: int, instead: str, stopped: int) -> bool:
        trial = [*self.lines[:first], instead, *self.lines[last + 1 :]]
        then = _first_error("\n".join(trial))
        return then is None or then[0] != stopped or last > first or first == stopped

    def _put(self, first: int, last: int, ways: list[one_line.Fixed]) -> None:
        said, instead = self.lines[first], ways[0][0]
        over = f" (lines {first + 1} to {last + 1})" if last > first else ""
        reasons = ["; ".join(dict.fromkeys(why)) + over for _, why in ways]
        others = tuple(zip((right for right, _ in ways[1:]), reasons[1:], strict=True))
        columns = _differing(said, instead)
        self.slips.append(Slip(first + 1, said, columns, reasons[0], instead, ways=others))
        self.lines[first] = instead
        for number in range(first + 1, last + 1):
            self.lines[number] = ""
        self._done.update(range(first, last + 1))

    def _take(self, number: int, said: str, why: str) -> None:
        self.slips = [slip for slip in self.slips if slip.line != number + 1]  # mended in vain
        self.slips.append(Slip(number + 1, said, _whole(said), why, ""))
        self.lines[number] = ""
        self._done.add(number)

    def _lose(self, number: int) -> None:
        said = self.lines[number]
        stand_in = one_line.stand_in(said, self._table(number)[0])
        why = "this is not understood"
        self.slips.append(Slip(number + 1, said, _whole(said), why, None, stand_in=stand_in))
        self.lines[number] = stand_in
        self._done.add(number)

    def _headings(self) -> None:
        """Give headings of tables that may be there several times their second brackets."""
        for number, line in enumerate(self.lines):
            found = re.fullmatch(r"\s*\[([a-z_. ]+)\]\s*(#.*)?", line)
            name = table_of(found[1]) if found else ""
            if found and name and name != ONE_TABLE:
                right = line.replace(f"[{found[1]}]", heading(name))
                self._put(number, number, [(right, [f"a table begins with {heading(name)}"])])


def _whole(said: str) -> tuple[int, int]:
    first = len(said) - len(said.lstrip()) + 1
    return first, max(first, len(said.rstrip()))


def _differing(said: str, instead: str) -> tuple[int, int]:
    """Return the first and last column of a line that what to write instead has not."""
    if not instead:
        return _whole(said)
    right = instead.split("\n")[0]
    first = next(
        (n for n, (a, b) in enumerate(zip(said, right, strict=False)) if a != b),
        min(len(said), len(right)),
    )
    most = min(len(said), len(right)) - first
    back = next((n for n in range(most) if said[-1 - n] != right[-1 - n]), most)
    return first + 1, max(first + 1, len(said.rstrip()) - back)
