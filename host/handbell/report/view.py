"""What a template is given, and words that stay on one line."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class View:
    """A template's name, what it is given, and the names that stand inside sentences."""

    template: str
    shown: dict[str, Any]
    names: tuple[str, ...]


def together(words: str) -> str:
    """Keep a number and its unit on one line."""
    return re.sub(r"(\d) (s\b|ms\b|m\b|%)", "\\1\u00a0\\2", words)
