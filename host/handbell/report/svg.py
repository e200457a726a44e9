"""A small drawer of SVG: each function returns one mark, and two of them make marks a picture.

Looks are classes of the page's style sheet. What is written is escaped here and nowhere else, and
numbers are rounded to a tenth.
"""

from __future__ import annotations

import html
import unicodedata
from collections.abc import Iterable

Point = tuple[float, float]


def text(look: str, at: Point, words: str, anchor: str = "middle") -> str:
    """Write words on a point; ``anchor`` says which part of them stands there: start or end."""
    return _tag(
        "text", {"class": look, "x": at[0], "y": at[1], "text-anchor": anchor}, _safe(words)
    )


def line(look: str, *points: Point) -> str:
    """Draw straight lines from point to point."""
    return _tag("polyline", {"class": look, "points": _points(points)})


def area(look: str, *points: Point) -> str:
    """Fill what lies between points."""
    return _tag("polygon", {"class": look, "points": _points(points)})


def bar(look: str, corner: Point, wide: float, high: float) -> str:
    """Draw a bar from its upper left corner on."""
    at = {"x": corner[0], "y": corner[1], "width": wide, "height": high}
    return _tag("rect", {"class": look, **at})


def dot(look: str, middle: Point, radius: float) -> str:
    """Draw a dot around a point."""
    return _tag("circle", {"class": look, "cx": middle[0], "cy": middle[1], "r": radius})


def picture(look: str, size: Point, key: str, title: str, said: str, marks: Iterable[str]) -> str:
    """Put marks into a picture that is read out; ``key`` makes its ids unique in the page."""
    named = {"role": "img", "aria-labelledby": f"{key}-title {key}-desc"}
    words = _tag("title", {"id": f"{key}-title"}, _safe(title))
    words += _tag("desc", {"id": f"{key}-desc"}, _safe(said))
    return _frame(look, size, named, [words, *marks])


def ornament(look: str, size: Point, marks: Iterable[str]) -> str:
    """Put marks into a picture beside words that say the same, so it is not read out."""
    return _frame(look, size, {"aria-hidden": "true"}, marks)


def _frame(look: str, size: Point, named: dict[str, str], inside: Iterable[str]) -> str:
    box = {"class": look, "viewBox": f"0 0 {_value(size[0])} {_value(size[1])}"}
    return _tag("svg", {"xmlns": "http://www.w3.org/2000/svg", **box, **named}, "".join(inside))


def _tag(name: str, values: dict[str, str | float], inside: str = "") -> str:
    said = "".join(f' {key}="{_value(value)}"' for key, value in values.items())
    return f"<{name}{said}>{inside}</{name}>"


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{_value(x)},{_value(y)}" for x, y in points)


def _value(value: str | float) -> str:
    return _safe(value) if isinstance(value, str) else f"{value:.1f}".removesuffix(".0")


def _safe(words: str) -> str:
    """Escape words, without the signs that can't be seen and that XML forbids."""
    return html.escape("".join(c for c in words if unicodedata.category(c) != "Cc"))
