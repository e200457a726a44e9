"""The database of a store: read, and written in transactions that fail in plain words."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError

from .connect import TRIES, WAIT_MOST_S, may_go_better_again, name_of, plainly

T = TypeVar("T")
Self = TypeVar("Self", bound="Database")


class Database:
    """An open database; use it as a context manager. ``engine`` is SQLAlchemy's."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self._writer = engine.execution_options(handbell_writes=True)
        # SQLite has one writer, and who waits for it looks again only every so often: too seldom
        # where several threads take in logs.
        one_writer = engine.dialect.name == "sqlite"
        self._turn: AbstractContextManager[Any] = threading.RLock() if one_writer else nullcontext()
        # On a server that was prepared for many: those that this store's sessions may be in.
        self.halls: dict[str, str] = {}  # number to name
        # Timelines by which logs were read lately; a name in one may have been taken out since.
        self.recent: dict[str, Any] = {}

    @property
    def url(self) -> str:
        """The store's address, without a password."""
        return self.engine.url.set(query={}).render_as_string(hide_password=True)

    @property
    def name(self) -> str:
        """What to call the store in a sentence: a file's path or the address."""
        return name_of(self.engine.url)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection to read with; database errors become StoreError."""
        with plainly(self.engine.url), self.engine.connect() as conn:
            yield conn

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection whose work is committed at the end, or undone if anything fails."""
        with plainly(self.engine.url), self._turn, self._writer.begin() as conn:
            yield conn

    def doing(self, work: Callable[[Connection], T]) -> T:
        """Do work in one transaction and return what it returns, again if others were in its way.

        Only for work that may be done twice; what fails in the end becomes StoreError.
        """
        with plainly(self.engine.url):
            for left in reversed(range(TRIES)):
                try:
                    with self._turn, self._writer.begin() as conn:
                        return work(conn)
                except DBAPIError as error:
                    if not left or not may_go_better_again(error):
                        raise
                time.sleep(random.uniform(0, WAIT_MOST_S))  # so that two don't meet again
        raise AssertionError("unreachable")

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()

    def __enter__(self: Self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
