"""What each row of a bundle's list must be, so that nothing else reaches the store."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from handbell.base.errors import UsageError
from handbell.store.halls.own import checked_name, is_number
from handbell.store.logs.dating import BY_BOX, BY_HAND
from handbell.store.results.amend import BIB_MOST
from handbell.store.results.settle import BIB, HELD, NAME, NOTHING, REPS
from handbell_core.timeline import PEOPLE_MOST

Check = Callable[[Any], bool]
UTC_US_MOST = 1 << 53
WORDS_MOST = 10_000


def _form(pattern: str) -> Check:
    whole = re.compile(pattern)
    return lambda value: isinstance(value, str) and bool(whole.fullmatch(value))


def _whole(most: int) -> Check:
    return lambda value: type(value) is int and 0 <= value <= most


def _words(value: Any) -> bool:
    return isinstance(value, str) and len(value) <= WORDS_MOST and value.isascii() | _sound(value)


def _sound(text: str) -> bool:
    """Whether a text can be written at all: no half of a pair of surrogates."""
    return not any("\ud800" <= c <= "\udfff" for c in text)


def _is_name(text: str) -> bool:
    """Whether a text is how a hall may be called."""
    try:
        return checked_name(text) == text != ""
    except UsageError:
        return False


def _or_none(check: Check) -> Check:
    return lambda value: value is None or check(value)


def _yes_no(value: Any) -> bool:
    return type(value) is bool or (type(value) is int and value in (0, 1))


_DIGEST = _form("[0-9a-f]{24}")
_DIGESTS = _form("([0-9a-f]{24}( [0-9a-f]{24})*)?")
_UTC_US = _whole(UTC_US_MOST)
_SMALL = _whole(0xFFFF)
_COUNT = _form("[0-9]{1,9}")  # of reps, or a bib
_HELD = _form("[0-9]{1,9}|end")  # tenths of a second; "end": to the end

PLAN: Mapping[str, Check] = {
    "digest": _DIGEST,
    "title": _words,
    "altered": _yes_no,
    "text": _yes_no,
}
TIMELINE: Mapping[str, Check] = {"digest": _DIGEST, "plan": _DIGEST, "altered": _yes_no}
RUN: Mapping[str, Check] = {
    "digest": _DIGEST,
    "box_id": _words,
    "timeline": _DIGEST,
    "collected_utc_us": _UTC_US,
    "class": _or_none(_words),
    "filed": _yes_no,
    "dated_utc_us": _or_none(_UTC_US),
    "dated_by": lambda value: value in (None, BY_BOX, BY_HAND),
    "dated_bound_us": _or_none(_UTC_US),
}
AMENDMENT: Mapping[str, Check] = {
    "log": _DIGEST,
    "digest": _DIGEST,
    "window": _SMALL,
    "slot": _whole(PEOPLE_MOST - 1),
    "bib": _SMALL,
    "what": lambda value: value in (REPS, HELD, BIB, NAME, NOTHING),
    "value": _words,
    "was": _words,
    "who": _words,
    "why": _words,
    "at_utc_us": _UTC_US,
    "undone_utc_us": _or_none(_UTC_US),
    "undone_by": _or_none(_words),
    "batch": _or_none(_DIGEST),
}
WEARER: Mapping[str, Check] = {
    "log": _DIGEST,
    "bib": _SMALL,
    "name": _or_none(_words),
    "before": _or_none(_words),
    "absent": _yes_no,
    "logs": _or_none(_DIGESTS),
}
HALL: Mapping[str, Check] = {
    "number": lambda value: isinstance(value, str) and is_number(value),
    "name": lambda value: isinstance(value, str) and _is_name(value),
}
PERSON: Mapping[str, Check] = {
    "id": _DIGEST,
    "name": _words,
    "called": _words,
    "also": _DIGESTS,
    "hall": _or_none(lambda value: isinstance(value, str) and is_number(value)),
}
LISTS = {
    "plans": PLAN,
    "timelines": TIMELINE,
    "runs": RUN,
    "amendments": AMENDMENT,
    "wearers": WEARER,
    "halls": HALL,
    "people": PERSON,
}
LATER_LISTS = ("halls", "people")  # which earlier versions did not have
# Earlier versions did not tell these. A date is told only where there is one, how far it may be off
# only where a box's clock says it; a batch where it is not what ``as_before`` makes of amendments.
NOT_ALWAYS = {
    **{"text": False, "class": None, "filed": False, "before": None, "logs": None},
    **{"dated_utc_us": None, "dated_by": None, "dated_bound_us": None},
    **{"batch": None},
}


def checked_list(told: Mapping[str, Any]) -> dict[str, Any]:
    """Return a bundle's list with what earlier versions left out; raises ValueError."""
    out = dict(told)
    for name, fields in LISTS.items():
        rows = told.get(name, []) if name in LATER_LISTS else told[name]
        if not isinstance(rows, list):
            raise ValueError(f"its {name} are no list")
        usual = {field: NOT_ALWAYS[field] for field in fields if field in NOT_ALWAYS}
        out[name] = [usual | _row(name, row) for row in rows]
        for row in out[name]:
            if set(row) != set(fields) or not all(fields[key](row[key]) for key in fields):
                raise ValueError(f"its {name} are not as this version writes them")
            if name == "runs" and (row["dated_utc_us"] is None) != (row["dated_by"] is None):
                raise ValueError("one of its runs has half a date")
            if name == "amendments" and not _tells_amounts(row):
                raise ValueError(f"one of its {name} holds no number")
    return out


def _tells_amounts(row: Mapping[str, Any]) -> bool:
    if row["what"] == NAME:
        return True
    amount = _COUNT if row["what"] in (REPS, BIB) else _HELD
    if row["was"] and not amount(row["was"]):
        return False
    if row["what"] == NOTHING:
        return bool(row["value"])
    return amount(row["value"]) and (row["what"] != BIB or 1 <= int(row["value"]) <= BIB_MOST)


def _row(name: str, row: Any) -> dict[str, Any]:
    if not isinstance(row, dict):
        raise ValueError(f"its {name} are not as this version writes them")
    return row
