"""Reading a roster as spreadsheets write it: any usual delimiter and encoding, headings in words.

Every fault is told at once, with its line.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from pathlib import Path

from handbell.base.cells import as_written
from handbell.base.errors import HandbellError, RosterError

from .names import key_of, plain_text, too_long
from .roster import Athlete

BIB_MOST = 0xFFFF
SIZE_MOST = 10_000_000
DELIMITERS = ";\t,|"
HEADINGS = {
    "name": "name|full name|athlete|athlete name|participant|person|member|who|nom|nombre|naam",
    "first": "first name|firstname|given name|forename|vorname|prénom",
    "last": "last name|lastname|surname|family name|nachname|nom de famille",
    "bib": "bib|bib number|bib no|bib #|number|no|nr|#|startnummer|dossard|dorsal",
    "group": "group|class|team|lane|squad|gruppe|groupe|grupo",
}
_MEANS = {word: what for what, words in HEADINGS.items() for word in words.split("|")}
# As spreadsheets mark them; without a mark it is UTF-8, or else the usual one of Windows.
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


def read_roster(path: Path) -> list[Athlete]:
    """Read a roster file; raises RosterError with every fault, or HandbellError if unreadable."""
    try:
        if path.stat().st_size > SIZE_MOST:
            raise HandbellError(f"{path} is too large for a roster", "Give a smaller file")
        data = path.read_bytes()
    except OSError as error:
        raise HandbellError(f"{path} can't be read: {error.strerror}", "Check its name") from error
    return parse_roster(data, str(path))


def parse_roster(data: bytes, name: str) -> list[Athlete]:
    """Return the people in a roster file's bytes, in its order; raises RosterError."""
    text = _decoded(data, name)
    delimiter = _delimiter(text)
    lines = text.splitlines(keepends=True)
    if lines and lines[0].lower().startswith("sep="):
        text = "".join(lines[1:])
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise RosterError(name, [f"its rows can't be told apart: {error}"]) from None
    first = next((n for n, row in enumerate(rows) if any(map(plain_text, row))), None)
    if first is None:
        raise RosterError(name, ["it holds nothing; it needs a heading and a row a person"])
    columns = _columns(rows[first], name)
    return _people(rows, first, columns, name)


def _decoded(data: bytes, name: str) -> str:
    encoding = next((found for mark, found in _MARKS if data.startswith(mark)), "utf-8")
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        if encoding != "utf-8" or b"\0" in data:
            raise RosterError(
                name, ["it is no text; save the sheet as CSV, in UTF-8 if asked"]
            ) from None
        return data.decode("cp1252", "replace")


def _delimiter(text: str) -> str:
    """Return what stands between cells: what the sheet says, or most often in its first row."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    if first.lower().startswith("sep=") and len(first) == 5:
        return first[4]
    return max(DELIMITERS, key=first.count) if any(d in first for d in DELIMITERS) else ","


def _columns(heading: list[str], name: str) -> dict[str, int]:
    """Return which column holds what; raises RosterError if none holds names, or two the same."""
    columns: dict[str, int] = {}
    faults = []
    for at, words in enumerate(heading):
        what = _MEANS.get(" ".join(re.split(r"[\s._:]+", plain_text(words).casefold())).strip())
        if what in columns:
            faults.append(f"two columns hold the {what}: number {columns[what] + 1} and {at + 1}")
        elif what is not None:
            columns[what] = at
    if "name" not in columns and not {"first", "last"} & set(columns):
        faults.append('no column is headed "name" (or "first name" and "last name")')
    if faults:
        raise RosterError(name, faults)
    return columns


def _people(
    rows: list[list[str]], first: int, columns: Mapping[str, int], name: str
) -> list[Athlete]:
    faults: list[str] = []
    found: dict[tuple[str, str], tuple[int, Athlete]] = {}
    for line, row in enumerate(rows[first + 1 :], first + 2):
        cells = {what: _cell(row[at]) for what, at in columns.items() if at < len(row)}
        if not any(cells.values()):
            continue
        athlete, wrong = _person(cells)
        faults += [f"row {line}: {what}" for what in wrong]
        if athlete is None:
            continue
        who = key_of(athlete.name), key_of(athlete.group)  # two of one name have two groups
        before = found.setdefault(who, (line, athlete))
        if before[0] != line:
            faults.append(
                f"row {line}: {athlete.name} stands in row {before[0]} too; "
                "add something that tells the two apart"
            )
    if faults:
        raise RosterError(name, faults)
    return [athlete for _, athlete in found.values()]


def _cell(text: str) -> str:
    """Return a cell's text, without the mark that keeps a sheet from taking it for a formula."""
    return plain_text(as_written(text))


def _person(cells: Mapping[str, str]) -> tuple[Athlete | None, list[str]]:
    """Return the person of a row, and what is wrong with it."""
    wrong = []
    name = cells.get("name") or " ".join(
        filter(None, (cells.get("first", ""), cells.get("last", "")))
    )
    group = cells.get("group", "")
    if not name:
        wrong.append("it has no name")
    for what, said in (("name", name), ("group", group)):
        if too_long(said):
            wrong.append(f"the {what} {said[:20]}... {too_long(said)}")
    bib = None
    word = cells.get("bib", "").removesuffix(".0").lstrip("#")
    if word:
        if word.isascii() and word.isdecimal() and len(word) <= 5 and 1 <= int(word) <= BIB_MOST:
            bib = int(word)
        else:
            wrong.append(f"{cells['bib'][:20]!r} is no bib; it is a number from 1 to {BIB_MOST}")
    return (None if wrong else Athlete(name, bib, group)), wrong
