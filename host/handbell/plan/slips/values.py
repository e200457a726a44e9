"""A value as people write it, and as it must be written."""

from __future__ import annotations

import re
from collections.abc import Callable

from handbell.base import toml
from handbell.base.times import clock
from handbell.plan.slips.keys import EXAMPLES, KEYS, LISTS, NUMBERS, SECONDS, TEXTS, YES_NO

Fixed = tuple[str, str]  # what to write, and what was wrong

_NO = r"(?:\d+(?:\.\d+)?)"
_HOURS = r"(?:h|hr|hrs|hours?)"
_MINUTES = r"(?:m|min|mins|minutes?|')"
_SECONDS = r"(?:s|sec|secs|seconds?|''|\")"
_EACH_SIDE = r"(?:(?:each|per|a|every)\s+(?:side|leg|arm)|e/s|/\s*(?:side|leg|arm))"
_FRACTIONS = {"½": "0.5", "¼": "0.25", "¾": "0.75"}
_TRUE, _FALSE = ("yes", "on", "true", "y"), ("no", "off", "false", "n")
_QUOTES = "\"'"


def reads(value: str) -> bool:
    """Whether a value is TOML as it stands."""
    try:
        toml.loads(f"x = {value}")
    except (ValueError, RecursionError):
        return False
    return "\n" not in value


def each_side_sum(said: str) -> int | None:
    """Return the sum of both sides where reps are said for each, such as ``10 each side``."""
    text = said.strip().strip("\"'").strip()
    found = re.fullmatch(r"(\d{1,3})\s*/\s*(\d{1,3})", text)
    if found:
        return int(found[1]) * 2 if found[1] == found[2] else None
    found = re.fullmatch(rf"(\d{{1,3}})\s*(?:reps)?\s*{_EACH_SIDE}", text, re.IGNORECASE)
    return int(found[1]) * 2 if found else None


def fixed(value: str, key: str) -> Fixed | None:
    """Return what to write for a key's value that is not TOML; None when nobody can know."""
    if not value:
        example = EXAMPLES.get(key)
        return (example, "nothing stands after the =") if example else None
    if not re.search(r"\w", value):
        return None
    if key not in KEYS and value[0].isdigit():
        key = "work_s"  # whatever it is, it begins as a number does
    ways: tuple[Callable[[str, str], Fixed | None], ...] = (
        _sign_at_end,
        _yes_no,
        _every,
        _quoted,
        _time,
        _number,
        _list,
        _text,
    )
    for way in ways:
        found = way(value, key)
        if found is not None and reads(found[0]):
            return found
    return None


def _sign_at_end(value: str, key: str) -> Fixed | None:
    bare = value.rstrip(" ,;.")
    if bare == value or not bare:
        return None
    if reads(bare):
        return bare, "a line ends without a sign"
    found = fixed(bare, key)
    return found and (found[0], f"{found[1]}; and a line ends without a sign")


def _yes_no(value: str, key: str) -> Fixed | None:
    word = value.strip(_QUOTES).lower()
    if key in TEXTS or word not in _TRUE + _FALSE:
        return None
    return "true" if word in _TRUE else "false", "yes is written true, and no false"


def _every(value: str, key: str) -> Fixed | None:
    """``tap = every 2`` in its many spellings."""
    found = re.fullmatch(r"[\[({]*\s*[\"']?every[\"']?\s*[=:]?\s*(\d+)\s*,?\s*[\])}]*", value)
    if key != "tap" or not found:
        return None
    return f"{{ every = {found[1]} }}", "this one stands in curly brackets, with ="


def _quoted(value: str, key: str) -> Fixed | None:
    first, last = value[0], value[-1]
    if first not in _QUOTES and (last not in _QUOTES or key not in TEXTS | {"tap"}):
        return None
    if "[" in value or re.search(r"[\"']\s*[,;]\s*[\"']", value):
        return None  # a list
    if first not in _QUOTES:
        return f'"{_inside(value[:-1])}"', "a text begins with a quote, too"
    body = value[1:]
    if first == '"' and "\\" in body and body.endswith('"') and body.count('"') == 1:
        return '"' + body.replace("\\", "\\\\"), "a backslash is written twice"
    closed = body.rfind(first)
    if closed < 0:
        whole = body[:-1] if last in _QUOTES else body
        return f'"{_inside(whole)}"', "a text ends with the quote that it began with"
    if closed < len(body) - 1:
        behind = body[closed + 1 :].strip()
        return f'"{_inside(body[:closed])} {_inside(behind)}"', "a text stands in quotes as a whole"
    return f'"{_inside(body[:-1])}"', "inside a text stand no quotes of the same kind"


def _inside(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', "'").strip()


def _time(value: str, key: str) -> Fixed | None:
    if key not in SECONDS | {"minutes"}:
        return None
    text = value.strip(_QUOTES if re.search(r"[\"'].*[\"']$", value) else "").lower()
    colons = re.fullmatch(r"(?:(\d+):)?(\d{1,3}):(\d{2})", text)
    words = re.fullmatch(
        rf"(?:({_NO})\s*{_HOURS})?\s*(?:({_NO})\s*{_MINUTES})?\s*(?:({_NO})\s*{_SECONDS}?)?", text
    )
    found = colons or (words if words and re.search(r"\D", text.replace(".", "")) else None)
    if not found:
        return None
    hours, minutes, seconds = (float(part or 0) for part in found.groups())
    total_s = hours * 3600 + minutes * 60 + seconds
    unit_s, why = 1, "times are in seconds, a bare number"
    if key == "minutes":
        unit_s, why = 60, "minutes are a bare number"
    if colons and (seconds > 59 < total_s - seconds or minutes > 59 < hours * 3600):
        return _past_59(text, hours, minutes, seconds, unit_s)
    return _plain(total_s / unit_s), why


def _past_59(said: str, hours: float, minutes: float, seconds: float, unit_s: int) -> Fixed:
    """Return a clock's length where its seconds go past 59: what it says, or what it adds up to.

    ``1:75`` is 1:15 where somebody thought of 75 s, and 2:15 where they meant 1 min and 75 s more.
    """
    total_s = int(hours * 3600 + minutes * 60 + seconds)
    sum_ = f"{clock(total_s * 1000)}, which is written {_plain(total_s / unit_s)}"
    why = f"on a clock seconds and minutes go to 59; {said} would be {sum_}"
    if not hours and int(seconds) // 60 == minutes:
        meant = _plain(seconds / unit_s)
        why += f", and {clock(int(seconds) * 1000)} is written {meant}; take the one you mean"
        return meant, why
    return _plain(total_s / unit_s), why


def _plain(number: float) -> str:
    return f"{number:.3f}".rstrip("0").rstrip(".")


def _number(value: str, key: str) -> Fixed | None:
    if key not in SECONDS | NUMBERS:
        return None
    text = value.strip(_QUOTES)
    if text in _FRACTIONS:
        return _FRACTIONS[text], "a fraction is written with a point"
    parts = re.fullmatch(r"(\d+)\s*/\s*(\d+)", text)
    if parts and int(parts[2]) and int(parts[1]) < int(parts[2]):
        return _plain(int(parts[1]) / int(parts[2])), "a fraction is written with a point"
    if re.fullmatch(r"\d{1,3}([ '.]\d{3})+", text):
        return re.sub(r"\D", "", text), "a number has no signs between its digits"
    comma = re.fullmatch(r"(\d+),(\d+)", text)
    if comma and key in SECONDS | {"minutes"}:
        return f"{int(comma[1])}.{comma[2]}", "a decimal is written with a point"
    if re.fullmatch(r"0+\d+(\.\d+)?", text):
        return text.lstrip("0"), "a number begins with no 0"
    if re.fullmatch(r"\d*\.\d*", text) and text != ".":
        whole, _, part = text.partition(".")
        return f"{whole or 0}.{part or 0}", "a point stands between digits"
    spread = re.fullmatch(r"(\d+)\s*(?:-|–|\.\.+|to)\s*(\d+)", text)
    if spread:
        return spread[1], "this is one number, not from and to; take the one you mean"
    unit = re.fullmatch(rf"[^\d\[(,;/]*?({_NO})\s*[^\d\])(,;/]*", text)
    if unit:
        return unit[1], "a number stands alone, without a unit or a sign"
    return None


def _list(value: str, key: str) -> Fixed | None:
    if key in TEXTS | YES_NO:
        return None
    inner = value.strip().lstrip("[({<").rstrip("])}>").strip(" ,;").replace(" and ", ", ")
    ranged = re.fullmatch(r"(\d+)\s*(?:-|–|\.\.+|to)\s*(\d+)", inner)
    if ranged and key in LISTS:
        first, last = int(ranged[1]), int(ranged[2])
        if 0 < last - first < 200:
            items = [str(n) for n in range(first, last + 1)]
            return f"[{', '.join(items)}]", "every number of a list is written out"
    if re.fullmatch(r"[\d\s.,;/|+&-]+", inner):
        items = re.findall(r"\d+(?:\.\d+)?", inner)
    else:
        items = [f'"{_inside(i.strip(_QUOTES + " "))}"' for i in re.split(r"[,;|\n]", inner)]
        items = [item for item in items if item != '""']
    if not items or (len(items) == 1 and value[0] not in "[({<" and key not in LISTS | {"kit"}):
        return None
    return f"[{', '.join(items)}]", "a list stands in square brackets, with commas between"


def _text(value: str, key: str) -> Fixed | None:
    if key in SECONDS | NUMBERS | YES_NO | LISTS:
        return None
    return f'"{_inside(value.strip(_QUOTES))}"', "a text stands in quotes"
