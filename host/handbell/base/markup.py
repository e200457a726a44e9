"""Sentences of a page: a number stays with its unit, a name from right to left in its place."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from markupsafe import Markup


def isolated(words: str, names: Iterable[str]) -> Markup:
    """Return words as HTML in which names that run from right to left move nothing beside them."""
    from markupsafe import Markup, escape

    safe = str(escape(words))
    leftward = {str(escape(name)) for name in names if _runs_left(name)}
    if not leftward:
        return Markup(safe)
    longest_first = sorted(leftward, key=len, reverse=True)
    found = "|".join(map(re.escape, longest_first))
    return Markup(re.sub(found, r"<bdi>\g<0></bdi>", safe))


def isolated_alone(name: str) -> str:
    """Return a name so that it moves nothing beside it where no markup can be: in a title.

    Between the signs that Unicode has for that (UAX 9: FSI and PDI), if it runs from right to left.
    """
    return f"\u2068{name}\u2069" if _runs_left(name) else name


def together(words: str) -> str:
    """Keep a number and its unit on one line."""
    return re.sub(r"(\d) (s\b|ms\b|m\b|%)", "\\1\u00a0\\2", words)


def _runs_left(name: str) -> bool:
    return any(unicodedata.bidirectional(c) in ("R", "AL", "AN") for c in name)
