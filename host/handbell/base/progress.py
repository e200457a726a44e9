"""How an operation tells how far it is, and how it is stopped."""

from __future__ import annotations

from typing import Protocol

from .errors import HandbellError


class Cancelled(HandbellError):
    """The user stopped an operation; what was finished is kept."""


class Progress(Protocol):
    """Takes how far each thing is; raises Cancelled to stop the operation."""

    def __call__(self, of: str, doing: str, done: int, total: int, /) -> None:
        """``of`` (a box, a file) has ``done`` of ``total`` steps of ``doing``."""
        ...


def no_progress(of: str, doing: str, done: int, total: int) -> None:
    """Show nothing and never stop."""
