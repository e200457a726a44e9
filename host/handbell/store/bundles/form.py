"""What a bundle's list must be, so that nothing else reaches the store.

The JSON Schema that is made of it stands beside it: ``python -m handbell.store.bundles.form
--check`` says whether that is current, ``--write`` makes it so. A field with a default is one that
earlier versions did not tell.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    FailFast,
    Field,
    ValidationError,
    model_validator,
)

from handbell.base.errors import UsageError
from handbell.base.files import write_whole
from handbell.store.halls.own import NAME_MOST, SIGNS, checked_name
from handbell.store.people.names import LONGEST, plain_text
from handbell.store.results.amend import BIB_MOST, REPS_MOST
from handbell.store.results.settle import BIB, NAME, NOTHING, REPS, TO_END
from handbell_core.timeline import PEOPLE_MOST

from . import limits

PATH = Path(__file__).with_name("bundle.schema.json")
FORMAT, VERSION = "handbell bundle", 1
HELD_MOST_DS = 6 * 3600 * 10  # of a position, in tenths of a second: no window is longer
WORDS_MOST = 400  # of who amended and why
SHOWN = 40  # signs of a name that is not known here

# No signs that are none to read: they would fail on a server, or be obeyed by a terminal.
_PLAIN = r"^[^\x00-\x1f\x7f-\x9f]*$"


def _hall_name(text: str) -> str:
    try:
        if checked_name(text) == text != "":
            return text
    except UsageError:
        pass
    raise ValueError("one of its halls has a name that can't be shown")


Digest = Annotated[str, Field(pattern="^[0-9a-f]{24}$")]
Digests = Annotated[str, Field(pattern="^([0-9a-f]{24}( [0-9a-f]{24})*)?$")]
Sum = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Part = Annotated[str, Field(pattern=r"^((logs|timelines)/[0-9a-f]{24}|plans/[0-9a-f]{24}\.toml)$")]
UtcUs = Annotated[int, Field(ge=0, le=1 << 53)]
Bib = Annotated[int, Field(ge=0, le=BIB_MOST)]
YesNo = bool | Literal[0, 1]  # a database may say the second
PersonsName = Annotated[str, Field(max_length=LONGEST, pattern=_PLAIN)]
PersonsCall = Annotated[str, Field(max_length=3 * LONGEST, pattern=_PLAIN)]  # with its mark
Words = Annotated[str, Field(max_length=WORDS_MOST, pattern=_PLAIN)]


class _Row(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class Plan(_Row):
    """A plan that classes of the bundle were played of; ``text``: its text is a part."""

    digest: Digest
    title: Annotated[str, Field(max_length=limits.TEXT_MOST, pattern=_PLAIN)]
    altered: YesNo
    text: YesNo = False


class Timeline(_Row):
    """What a box played; ``altered``: a name was taken out, and the digest is that from before."""

    digest: Digest
    plan: Digest
    altered: YesNo


class Run(_Row):
    """A log; ``class`` is the least digest of the logs that are one class with it."""

    digest: Digest
    box_id: Annotated[str, Field(pattern="^[!-~]{1,32}$")]
    timeline: Digest
    collected_utc_us: UtcUs
    class_: Annotated[Digest | None, Field(alias="class")] = None
    filed: YesNo = False
    dated_utc_us: UtcUs | None = None
    dated_by: Literal["box", "hand"] | None = None
    dated_bound_us: UtcUs | None = None

    @model_validator(mode="after")
    def _whole_date(self) -> Run:
        if (self.dated_utc_us is None) != (self.dated_by is None):
            raise ValueError("one of its runs has half a date")
        return self


class Amendment(_Row):
    """A correction of what was counted in a window of a log, or, window 0, of a class's name."""

    log: Digest
    digest: Digest
    window: Annotated[int, Field(ge=0, le=0xFFFF)]
    slot: Annotated[int, Field(ge=0, lt=PEOPLE_MOST)]
    bib: Bib
    what: Literal["reps", "held", "bib", "name", "invalid"]
    value: PersonsCall
    was: PersonsCall
    who: Words
    why: Words
    at_utc_us: UtcUs
    undone_utc_us: UtcUs | None
    undone_by: Words | None
    batch: Digest | None = None

    @model_validator(mode="after")
    def _amount(self) -> Amendment:
        if self.what != NAME and not (self._is_amount() and self._was_amount()):
            raise ValueError("one of its amendments holds no number that can be")
        return self

    def _is_amount(self) -> bool:
        if self.what == NOTHING:
            return self.value == "yes"
        if self.what == BIB:
            return 1 <= _whole(self.value) <= BIB_MOST
        most = REPS_MOST if self.what == REPS else HELD_MOST_DS
        return (self.what != REPS and self.value == TO_END) or 0 <= _whole(self.value) <= most

    def _was_amount(self) -> bool:
        return self.was in ("", TO_END) or 0 <= _whole(self.was) < 10**9


class Wearer(_Row):
    """Who wore a bib as it was said of a log's class; ``name`` "" is nobody's, None is not said."""

    log: Digest
    bib: Bib
    name: PersonsCall | None
    absent: YesNo
    before: PersonsCall | None = None
    logs: Digests | None = None


class Hall(_Row):
    """What a hall is called."""

    number: Annotated[str, Field(pattern=f"^[0-9a-f]{{{SIGNS}}}$")]
    name: Annotated[str, Field(max_length=NAME_MOST), AfterValidator(_hall_name)]

    @model_validator(mode="after")
    def _is_one(self) -> Hall:
        if not int(self.number, 16):
            raise ValueError("one of its halls has the number of none")
        return self


class Person(_Row):
    """Somebody whom the rows call ``called``; ``also`` are ids of records that are the same one."""

    id: Digest
    name: PersonsName
    called: PersonsCall
    also: Digests
    hall: Annotated[str, Field(pattern=f"^[0-9a-f]{{{SIGNS}}}$")] | None


class Listed(_Row):
    """The list of a bundle of handbell: what its parts are, and what was said of them."""

    format: Literal["handbell bundle"]
    version: Literal[1]
    parts: Annotated[dict[Part, Sum], Field(max_length=limits.PARTS_MOST)]
    plans: Annotated[list[Plan], Field(max_length=limits.PLANS_MOST), FailFast()]
    timelines: Annotated[list[Timeline], Field(max_length=limits.TIMELINES_MOST), FailFast()]
    runs: Annotated[list[Run], Field(max_length=limits.RUNS_MOST), FailFast()]
    amendments: Annotated[list[Amendment], Field(max_length=limits.AMENDMENTS_MOST), FailFast()]
    wearers: Annotated[list[Wearer], Field(max_length=limits.WEARERS_MOST), FailFast()]
    halls: Annotated[list[Hall], Field(max_length=limits.HALLS_MOST), FailFast()] = []
    people: Annotated[list[Person], Field(max_length=limits.WEARERS_MOST), FailFast()] = []


def _whole(text: str) -> int:
    """Return a number of few digits, -1 for anything else."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else -1


def checked_list(data: bytes) -> dict[str, Any]:
    """Return a bundle's list with what earlier versions left out; raises ValueError."""
    if len(data) > limits.LIST_MOST:
        raise ValueError(f"its list has more than {limits.LIST_MOST // 10**6} MB")
    if sum(map(data.count, b"[{")) > limits.PARTS_MOST + limits.AMENDMENTS_MOST:
        raise ValueError("its list has too many rows")
    told = json.loads(data, object_pairs_hook=_once, parse_int=_int, parse_constant=_no_number)
    if not isinstance(told, dict):
        raise ValueError("its list is none")
    said = told.get("format"), told.get("version")
    if said != (FORMAT, VERSION):
        raise ValueError(f"it is {_shown(said[0])} {_shown(said[1])}, here {FORMAT} {VERSION}")
    parts = told.get("parts")
    if isinstance(parts, dict) and len(parts) > limits.PARTS_MOST:
        raise ValueError(f"it has more than {limits.PARTS_MOST:,} parts")
    try:
        return Listed.model_validate(told).model_dump(by_alias=True)
    except ValidationError as error:
        raise ValueError(_why(error)) from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("its list tells one thing twice")
    return found


def _int(digits: str) -> int:
    if len(digits) > 20:
        raise ValueError("its list has a number that can't be")
    return int(digits)


def _no_number(word: str) -> None:
    raise ValueError(f"its list has {word} for a number")


def _why(error: ValidationError) -> str:
    """Say where a list is not as it must be."""
    first = error.errors(include_url=False, include_input=False)[0]
    if first["type"] == "value_error":
        return str(first["ctx"]["error"])
    table, *rest = first["loc"]
    row = f", row {rest[0] + 1}" if rest and isinstance(rest[0], int) else ""
    field = "".join(f": {_shown(key)}" for key in rest[1 if row else 0 :][:1])
    what = {
        "missing": "is missing",
        "extra_forbidden": "is not known to this version",
        "too_long": "are too many",
    }.get(first["type"], "is not as this version writes it")
    return f"its {_shown(table)}{row}{field} {what}"


def _shown(value: Any) -> str:
    return plain_text(str(value)[:SHOWN])


def schema_text() -> str:
    """Return the schema as JSON text."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **Listed.model_json_schema(by_alias=True),
        "title": "The list of a handbell bundle",
    }
    return json.dumps(schema, indent=2, sort_keys=True) + "\n"


def main(words: list[str] | None = None) -> int:
    """Check or write the committed schema; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m handbell.store.bundles.form")
    how = parser.add_mutually_exclusive_group(required=True)
    how.add_argument("--check", action="store_true", help="exit 1 when the file is out of date")
    how.add_argument("--write", action="store_true", help="write the file anew")
    args = parser.parse_args(words)
    if args.write:
        write_whole(PATH, schema_text())
        return 0
    if PATH.is_file() and PATH.read_text(encoding="utf-8") == schema_text():
        return 0
    sys.stderr.write(f"{PATH.name} is out of date. Run make schema and commit it.\n")
    return 1


if __name__ == "__main__":
    sys.exit(main())
