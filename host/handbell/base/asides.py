"""What happened by the way and must be known, whatever was asked for: said by who asked."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_HEARD: ContextVar[list[str] | None] = ContextVar("heard", default=None)


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
