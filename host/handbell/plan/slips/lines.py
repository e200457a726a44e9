"""A line as people write it, and as it must be written."""

from __future__ import annotations

import difflib
import re
import unicodedata

from handbell.base import toml
from handbell.plan.slips.keys import COUNTED_KIT, KEYS, heading, key_of, table_of
from handbell.plan.slips.values import each_side_sums, reads
from handbell.plan.slips.values import fixed as fixed_value

_SUM = "reps are the sum of both sides"
_WITH_KEY = f"{_SUM}, and a key of its own says that sides change"
SCALED = "block.exercise.scaled"
# What to say of reps for each side, in the tables that have reps.
SIDES = {
    "block.exercise": _WITH_KEY,
    "block.exercise.part": _WITH_KEY,
    SCALED: f"{_SUM}; that sides change is said in the exercise, for all",
}

Fixed = tuple[str, list[str]]  # the line to write, "" to take it out; and what was wrong

_CURLY = str.maketrans(dict.fromkeys("“”„‟«»″", '"') | dict.fromkeys("‘’‚‛‹›′`´", "'"))
_SIGNS = str.maketrans({"＝": "=", "：": ":", "，": ",", "–": "-", "−": "-", "—": "-"})
_BULLET = re.compile(r"^(?:[-*•·‣>+]+|\d+[.)])\s+(?=[\w\[\"])")
_NO_TOML = re.compile(r"^(?:```\w*|-{3,}|={3,}|\*{3,}|\{|\}|\},?|\];?|<[^>]*>|\.\.\.)$")
_CLOSED = re.compile(r"[\[(<{]*\s*([A-Za-z][\w .,/-]*?)\s*[\])>}]+\s*[:;.,]?(\s.*)?")
_OPEN = re.compile(r"[\[(<{]*\s*([A-Za-z][\w .,/-]*?)\s*[:;.,]?()")
_COMMENT = re.compile(r"^(?://+|;+|--+|/\*|\*/?|%+|!+|REM\b|')\s*", re.IGNORECASE)


def alone(line: str) -> bool:
    """Whether a line is TOML by itself."""
    try:
        toml.loads(line)
    except (ValueError, RecursionError):
        return False
    return True


def fixed(line: str, table: str = "", has_sides: bool = False) -> list[Fixed]:
    """Return what to write instead of a line that is not TOML by itself, the likeliest first.

    Empty: nobody can know. ``table`` is the one that the line is in; ``has_sides``: it says in a
    line that sides change.
    """
    indent = line[: len(line) - len(line.lstrip())].translate({ord(c): " " for c in line})
    indent = "".join(" " if c.isspace() and c != "\t" else c for c in indent)
    text, why = _letters(line.strip())
    if alone(text):
        return [(indent + text, why)]
    bare = _BULLET.sub("", text.replace("**", "").strip())
    if bare != text:
        text, why = bare, [*why, "a line begins with its key, without a sign before it"]
    if not text or (_NO_TOML.match(text) and not _heading(text)):
        return [("", [*why, "this line says nothing to a box"])]
    inside = _Table(table, has_sides)
    for way in (_heading, inside.statements, inside.statement, _comment):
        found = [right for right in way(text) if alone(right[0])]
        if found:
            return [
                ("\n".join(indent + part for part in right.split("\n")), [*why, *more])
                for right, more in found
            ]
    return []


def _letters(text: str) -> Fixed:
    """Put right what looks like a sign of TOML but is another one."""
    why = []
    seen = "".join(
        " " if unicodedata.category(c) == "Zs" else "" if unicodedata.category(c) == "Cf" else c
        for c in text
    )
    if seen != text:
        why.append("there is a blank here that is no common one")
    digits = "".join(str(unicodedata.decimal(c)) if c.isdecimal() else c for c in seen)
    if not alone(digits):
        straight = digits.translate(_CURLY)
        if straight != digits:
            why.append('quotes are straight: "')
        signs = straight if alone(straight) else _outside(straight)
        if signs != straight:
            why.append("there is a sign here that only looks like the common one")
        digits = signs
    elif digits != seen:
        why.append("digits are 0 to 9")
    return digits, why


def _outside(text: str) -> str:
    """Replace signs outside quotes."""
    parts = re.split(r"(\"[^\"]*\")", text)
    return "".join(p if p.startswith('"') else p.translate(_SIGNS) for p in parts)


def _heading(text: str) -> list[Fixed]:
    found = _CLOSED.fullmatch(text) or _OPEN.fullmatch(text)
    name = table_of(found[1]) if found else ""
    if not found or not name:
        return []
    behind = (found[2] or "").strip()
    why = [f"a table begins with {heading(name)}"]
    if not behind or behind.startswith("#"):
        return [(f"{heading(name)}{'  ' + behind if behind else ''}", why)]
    below = [behind] if alone(behind) else [right for right, _ in fixed(behind, name)]
    return [(f"{heading(name)}\n{keys}", [*why, "with its keys below"]) for keys in below if keys]


class _Table:
    """Keys and values where they stand: reps for each side are said in a table's own way."""

    def __init__(self, name: str, has_sides: bool) -> None:
        self._name, self._has_sides = name, has_sides

    def statements(self, text: str) -> list[Fixed]:
        """Part a line with several keys."""
        known = "|".join(sorted(KEYS, key=len, reverse=True))
        outside = re.sub(r"\"[^\"]*\"|\{[^}]*\}?", lambda m: "x" * len(m[0]), text)
        starts = [m.start(1) for m in re.finditer(rf"(?:^|[\s,;])({known})\s*[=:]", outside)]
        if len(starts) < 2 or starts[0] != 0:
            return []
        ends = [*starts[1:], len(text)]
        parts = [text[a:b].strip().rstrip(",;").strip() for a, b in zip(starts, ends, strict=True)]
        lines, why = [], ["every key has a line of its own"]
        for part in parts:
            right = [(part, [])] if alone(part) else self.statement(part)
            if not right:
                return []
            lines.append(right[0][0])
            why += right[0][1]
        return [("\n".join(lines), list(dict.fromkeys(why)))]

    def statement(self, text: str) -> list[Fixed]:
        """Put right a key, what stands between, and a value."""
        found = re.match(r"([\"']?[\w][\w .\"'-]*?)\s*(==+|:=|=>|->|=|:)\s*(.*)$", text, re.DOTALL)
        if found:
            said, sign, rest = found.groups()
        else:
            words = text.split(None, 1)
            said, sign, rest = words[0], "", words[1] if len(words) > 1 else ""
            if key_of(said) == "":
                return []
        key = key_of(said)
        if not key and not re.fullmatch(r"[A-Za-z0-9_-]+", said):
            return _counted_kit(said, rest)
        why = []
        if (key or said) != said:
            why.append(f"the key is {key}")
        if sign != "=":
            why.append("between key and value stands =")
        value, comment = _comment_behind(rest)
        if comment and "#" not in rest:
            why.append("a remark begins with #")
        each_side = each_side_sums(value) if key in ("reps", "goal") else None
        if each_side is not None and self._name in SIDES:
            why.append(SIDES[self._name])
            here = "" if self._has_sides or self._name == SCALED else "\nboth_sides = true"
            return [(f"{key} = {each_side}{comment}{here}", why)]
        ways = [(value, "")] if reads(value) else fixed_value(value, key or said, self._name)
        return [
            (f"{key or said} = {right}{comment}", [*why, more] if more else why)
            for right, more in ways
        ]


def _counted_kit(said: str, rest: str) -> list[Fixed]:
    """Put a name of kit with a blank in it in quotes, where its number stands behind it."""
    value, comment = _comment_behind(rest)
    near = difflib.get_close_matches("_".join(said.lower().split()), KEYS, 1)
    if not re.fullmatch(r"\d{1,3}", value) or near or re.search("[\"']", said):
        return []
    return [
        (f'"{said.strip()}" = {value}{comment}', ["a name with a blank in it stands in quotes"])
    ]


def _comment_behind(rest: str) -> tuple[str, str]:
    """Part a value and the comment behind it, which may be begun with another sign."""
    value = rest.strip()
    if reads(value) and "#" not in value:
        return value, ""
    for found in re.finditer(r"\s*(#|//|/\*|--|;)\s*", value):
        head, tail = value[: found.start()], value[found.end() :].removesuffix("*/").strip()
        quotes = head.count('"')
        if (reads(head) or (quotes % 2 == 0 and found[1] in "#//")) and (head or found[1] == "#"):
            return head, f"  # {tail}" if tail else ""
    return value, ""


def _comment(text: str) -> list[Fixed]:
    found = _COMMENT.match(text)
    rest = text[found.end() :] if found else text
    if found or (" " in text and "=" not in text and "[" not in text and '"' not in text):
        return [(f"# {rest.removesuffix('*/').strip()}".rstrip(), ["a remark begins with #"])]
    return []


def stand_in(line: str, table: str) -> str:
    """Return a line that gives a known key what it was given, as a text; "" for any other line.

    For a value that nobody can know: the reader then says what the key takes.
    """
    found = re.match(r"(\s*)([\w-]+)\s*[=:]\s*(.+)$", line.partition("#")[0])
    key = found and (found[2] if table == COUNTED_KIT else key_of(found[2]))
    if not found or not key:
        return ""
    said = re.sub(r"[\\\"]", "'", found[3].strip().strip("\"'"))
    right = f'{found[1]}{key} = "{said}"'
    return right if alone(right) else ""
