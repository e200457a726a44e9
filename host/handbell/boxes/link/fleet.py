"""All boxes at once: one thread a box, one line of progress each, no box stops another."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from natsort import natsort_keygen

from handbell.base.errors import BoxError, HandbellError

from .connection import Connection, HiddenError
from .find import find_ports
from .hostclock import HostClock
from .messages import Hello
from .replies import strange

in_order = natsort_keygen()  # as people count: ACM2 before ACM10
T = TypeVar("T")


@dataclass
class Outcome(Generic[T]):
    """What came of one box: a value, or an error (collecting has both if it broke off)."""

    url: str
    label: str
    who: Hello = field(default_factory=lambda: Hello(""))
    value: T | None = None
    error: HandbellError | None = None


class Fleet:
    """The boxes plugged in, each with an open connection; a context manager.

    A port that can't be opened or where no box answers becomes an Outcome with an error in
    ``strangers``; it never stops the rest. Raises BoxError when there is no port at all.
    """

    def __init__(self, urls: list[str] | None = None, clock: HostClock | None = None) -> None:
        ports = find_ports(urls)
        if not ports:
            raise BoxError(
                "No box",
                "none is plugged in",
                "Plug the boxes into USB, or name their ports with --port",
            )
        self._clock = clock
        self.connections: list[Connection] = []
        self.strangers: list[Outcome[None]] = []
        with ThreadPoolExecutor(max(1, len(ports))) as pool:
            for url, got in zip(ports, pool.map(self._open, ports), strict=True):
                if isinstance(got, Connection):
                    self.connections.append(got)
                else:
                    self.strangers.append(Outcome(url, url, error=got))
        self.connections.sort(key=lambda c: (c.who.station or 10_000, in_order(c.url)))
        self._part_twins()

    def _open(self, url: str) -> Connection | HandbellError:
        try:
            connection = Connection(url, self._clock)
        except HandbellError as error:
            return error
        try:
            connection.hello()
            return connection
        except HandbellError as error:
            connection.close()
            return error

    def _part_twins(self) -> None:
        """Leave out all but the first of boxes with one id: nobody could tell their logs apart."""
        first: dict[str, Connection] = {}
        for connection in list(self.connections):
            other = first.setdefault(connection.who.id, connection)
            if other is connection:
                continue
            connection.close()
            self.connections.remove(connection)
            twin = HiddenError(
                connection.url,
                f"this box has the same id as {other.label} on {other.url}, and is left out",
                "Unplug one of them, or start virtual boxes from one folder only",
            )
            self.strangers.append(Outcome(connection.url, connection.label, error=twin))

    @property
    def hiding(self) -> HiddenError | None:
        """Return the error of a port behind which a box that is wanting may be, None for none."""
        errors = (stranger.error for stranger in self.strangers)
        return next((error for error in errors if isinstance(error, HiddenError)), None)

    def __enter__(self) -> Fleet:
        return self

    def __exit__(self, *_: object) -> None:
        for connection in self.connections:
            connection.close()

    def each(
        self, do: Callable[[Connection], T], on: list[Connection] | None = None
    ) -> list[Outcome[T]]:
        """Call ``do`` for each box at once and return the outcomes in order."""

        def one(connection: Connection) -> Outcome[T]:
            outcome: Outcome[T] = Outcome(connection.url, connection.label, connection.who)
            try:
                outcome.value = do(connection)
            except HandbellError as error:
                outcome.error = error
            except OSError as error:
                outcome.error = _no_file(connection.label, error)
            except (ArithmeticError, LookupError, TypeError, ValueError):
                outcome.error = strange(connection.label)
            return outcome

        chosen = self.connections if on is None else on
        with ThreadPoolExecutor(max(1, len(chosen))) as pool:
            return list(pool.map(one, chosen))


def _no_file(box: str, error: OSError) -> BoxError:
    """Return the error for a file of this computer that a box's work needed."""
    return BoxError(
        box,
        f"{error.filename or 'a file of this computer'} can't be read or written "
        f"({error.strerror or error})",
        "Free some room or mend the folder, and run the command again; the box keeps what it has",
    )
