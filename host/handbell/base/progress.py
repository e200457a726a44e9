"""How an operation tells how far it is and what must be known besides, and how it is stopped."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Protocol

from .errors import HandbellError

_HEARD: ContextVar[list[str] | None] = ContextVar("heard", default=None)


class Cancelled(HandbellError):
    """The user stopped an operation; what was finished is kept."""


class Progress(Protocol):
    """Takes how far each thing is; raises Cancelled to stop the operation."""

    def __call__(self, of: str, doing: str, done: int, total: int, /) -> None:
        """``of`` (a box, a file) has ``done`` of ``total`` steps of ``doing``."""
        ...


def no_progress(of: str, doing: str, done: int, total: int) -> None:
    """Show nothing and never stop."""


def tell(*sentences: str) -> None:
    """Say sentences to whoever listens."""
    heard = _HEARD.get()
    if heard is not None:
        heard += sentences


@contextmanager
def listening() -> Iterator[list[str]]:
    """Give the list to which what is told meanwhile is added."""
    heard: list[str] = []
    token = _HEARD.set(heard)
    try:
        yield heard
    finally:
        _HEARD.reset(token)
