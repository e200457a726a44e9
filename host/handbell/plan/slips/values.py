"""A value as people write it, and as it must be written."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from handbell.base import toml
from handbell.base.times import clock
from handbell.plan.slips.keys import (
    COUNTED_KIT,
    EXAMPLES,
    KEYS,
    LISTS,
    NUMBERS,
    ONE_TABLE,
    SECONDS,
    TEXTS,
    YES_NO,
)

Fixed = tuple[str, str]  # what to write, and what was wrong

_NO = r"(?:\d+(?:\.\d+)?)"
_HOURS = r"(?:h|hr|hrs|hours?)"
_MINUTES = r"(?:m|min|mins|minutes?|')"
_SECONDS = r"(?:s|sec|secs|seconds?|''|\")"
_EACH_SIDE = r"(?:(?:each|per|a|every)\s+(?:side|leg|arm)|e/s|/\s*(?:side|leg|arm))"
_FRACTIONS = {"½": "0.5", "¼": "0.25", "¾": "0.75"}
_TRUE, _FALSE = ("yes", "on", "true", "y"), ("no", "off", "false", "n")
_QUOTES = "\"'"
_SPREAD = r"(?:-|–|\.\.+|to)"
_IN_WORDS = {
    **{"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8},
    **{"nine": 9, "ten": 10, "twelve": 12, "fifteen": 15, "twenty": 20, "thirty": 30},
    **{"forty": 40, "forty-five": 45, "fifty": 50, "sixty": 60, "ninety": 90},
}


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
    found = re.fullmatch(r"(\d{1,3})\s*[RLrl]?\s*/\s*(\d{1,3})\s*[RLrl]?", text)
    if found:
        return int(found[1]) * 2 if found[1] == found[2] else None
    found = re.fullmatch(rf"(\d{{1,3}})\s*(?:reps)?\s*{_EACH_SIDE}", text, re.IGNORECASE)
    return int(found[1]) * 2 if found else None


def each_side_sums(said: str) -> str | None:
    """Return what to write where reps are said for each side, of one exercise or round by round.

    The sum of ``10 each side``; a list of ``[10, 8, 6] each side``.
    """
    one = each_side_sum(said)
    if one is not None:
        return str(one)
    found = re.fullmatch(rf"\[(.*)\]\s*({_EACH_SIDE})?", said.strip(), re.IGNORECASE)
    if not found:
        return None
    behind = " each side" if found[2] else ""
    sums = [each_side_sum(entry.strip() + behind) for entry in found[1].split(",")]
    return None if None in sums else f"[{', '.join(map(str, sums))}]"


def fixed(value: str, key: str, table: str = "") -> list[Fixed]:
    """Return what to write for a key's value that is not TOML, the likeliest first.

    Empty when nobody can know. ``table`` is the one that the key is in.
    """
    if not value:
        example = EXAMPLES.get(key)
        return [(example, "nothing stands after the =")] if example else []
    if not re.search(r"\w", value):
        return []
    if table == COUNTED_KIT:
        key = "capacity"  # whatever it is called, it is counted
    elif key not in KEYS and value[0].isdigit():
        key = "work_s"  # whatever it is, it begins as a number does
    ways: tuple[Callable[[str, str], Fixed | None], ...] = (
        *((_range,) if table == ONE_TABLE and key != "minutes" else ()),
        _sign_at_end,
        _yes_no,
        _every,
        _quoted,
        _time,
        _number,
        _numbers,
        _list,
        _text,
        _one_of_them,
    )
    found = [right for way in ways if (right := way(value, key)) is not None]
    return list(dict.fromkeys(right for right in _with_whole(found, key) if reads(right[0])))


def _with_whole(found: list[Fixed], key: str) -> Iterator[Fixed]:
    """Yield what was found, and after it, where it may have to be whole, it without a fraction."""
    for right, why in found:
        yield right, why
        if key in NUMBERS and re.fullmatch(r"\d+\.\d+", right):
            yield right.partition(".")[0], f"{why}, and here a whole one"


def _sign_at_end(value: str, key: str) -> Fixed | None:
    bare = value.rstrip(" ,;.")
    if bare == value or not bare:
        return None
    if reads(bare):
        return bare, "a line ends without a sign"
    found = fixed(bare, key)
    return (found[0][0], f"{found[0][1]}; and a line ends without a sign") if found else None


def _yes_no(value: str, key: str) -> Fixed | None:
    word = value.strip(_QUOTES).lower()
    if key in YES_NO:
        word = word.split()[0].strip(",;") if word.split() else word
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
    text = re.sub(r"^(\d+),(\d+)(?=\s*[a-z])", r"\1.\2", text)
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
    if text.lower() in _IN_WORDS:
        return str(_IN_WORDS[text.lower()]), "a number is written in digits"
    if text in _FRACTIONS:
        return _FRACTIONS[text], "a fraction is written with a point"
    parts = re.fullmatch(r"(\d+)\s*/\s*(\d+)", text)
    if parts and key in SECONDS and 0 < int(parts[1]) < int(parts[2]) < 10:
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
    spread = re.fullmatch(rf"(\d+)\s*{_SPREAD}\s*(\d+)", text)
    if spread:
        return spread[1], "this is one number, not from and to; take the one you mean"
    unit = re.fullmatch(rf"[^\d\[(,;/]*?({_NO})\s*[^\d\])(,;/]*", text)
    if unit:
        return unit[1], "a number stands alone, without a unit or a sign"
    return None


def _range(value: str, key: str) -> Fixed | None:
    """``30-45``, ``30 to 45`` or ``30, 45`` where the least and the most are written."""
    if key not in SECONDS | {"rounds"}:
        return None
    ends = re.split(rf"\s*(?:{_SPREAD}|,|;|/|and)\s*", value.strip("[](){}<> " + _QUOTES))
    found = [_entry(end, key) for end in ends]
    if len(found) != 2 or None in found:
        return None
    return f"[{found[0]}, {found[1]}]", "the least and the most stand in square brackets"


def _numbers(value: str, key: str) -> Fixed | None:
    """Return a list of numbers whose entries are written as people write one."""
    if key not in SECONDS | NUMBERS:
        return None
    inner = value.strip().lstrip("[({<").rstrip("])}>")
    entries = [_entry(entry.strip(), key) for entry in re.split(r"[,;|\n]", inner) if entry.strip()]
    if None in entries or len(entries) < (1 if value[0] in "[({<" else 2):
        return None
    why = "a list stands in square brackets, with bare numbers and commas between"
    return f"[{', '.join(map(str, entries))}]", why


def _entry(said: str, key: str) -> str | None:
    if re.fullmatch(_NO, said):
        return said
    found = _time(said, key) or _number(said, key)
    return found[0] if found else None


def _one_of_them(value: str, key: str) -> Fixed | None:
    """Return one of several numbers: of sets and what is in them the larger, else the first."""
    if key not in SECONDS | NUMBERS:
        return None
    found = re.findall(_NO, value)
    if len(found) < 2 or ":" in value:
        return None
    sets = re.fullmatch(r"\s*\d+\s*[x×*]\s*\d+\D*", value)
    one = max(found, key=float) if sets else found[0]
    return one, "this is one number; take the one you mean"


def _list(value: str, key: str) -> Fixed | None:
    if key in TEXTS | YES_NO:
        return None
    inner = value.strip().lstrip("[({<").rstrip("])}>").strip(" ,;").replace(" and ", ", ")
    ranged = re.fullmatch(rf"(\d+)\s*{_SPREAD}\s*(\d+)", inner)
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
