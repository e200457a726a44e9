"""What a template is given."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class View:
    """A template's name, what it is given, and the names that stand inside sentences."""

    template: str
    shown: dict[str, Any]
    names: tuple[str, ...]
