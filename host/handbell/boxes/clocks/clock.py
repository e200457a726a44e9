"""Setting a box's clock: many exchanges, and the offset that all of them allow.

An exchange says two things for certain: the request had not come before it was sent, and the
reply did not leave after it came. So the offset lies in an interval as long as the round trip.
The intervals of all exchanges are intersected and the middle is taken; half of what is left is
the bound that is reported. It is never wider than half the shortest round trip, and narrower
when the quickest way there and the quickest way back were met in different exchanges.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from handbell.base.drift import DAY_US, MOST_PPB, PPB, RATE_LASTS_DAYS
from handbell.base.drift import STEP_US as STEP_US  # others judge host clocks by it too
from handbell.base.errors import BoxError, HandbellError
from handbell.base.wall import zone_change
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.hostclock import HostClock
from handbell.boxes.link.replies import CLOCK, TIMES

from .contacts import Book, Contact
from .rate import Estimate, Rate, estimate

EXCHANGES = 24  # at a time, until the bound is good or there were enough
EXCHANGES_MOST = 96
GOOD_BOUND_US = 500
SILENT_MOST = 3  # exchanges of a measurement that may go unanswered
CLOCK_LOOKS = 5
QUICK_LOOK_US = 20


class Exchange(NamedTuple):
    """A request and its reply: sent and come by the host's monotonic clock, else ``box_us``."""

    sent_us: int
    arrived_us: int
    left_us: int
    came_us: int

    @property
    def round_us(self) -> int:
        """How long it was under way, there and back."""
        return (self.came_us - self.sent_us) - (self.left_us - self.arrived_us)


class Offset(NamedTuple):
    """``mono_us`` of the host and ``box_us`` are the same instant, to within ``bound_us``."""

    mono_us: int
    box_us: int
    bound_us: int


@dataclass(frozen=True)
class Sync:
    """A box's clock as measured: ``utc_us`` and ``box_us`` are the same instant.

    ``ahead_us`` is the host's wall clock minus its monotonic one; ``round_us`` the shortest
    round trip that was met.
    """

    utc_us: int
    box_us: int
    bound_us: int
    boot: int
    ahead_us: int
    round_us: int


def offset_of(exchanges: Sequence[Exchange]) -> Offset | None:
    """Return the offset that all exchanges allow, None when they contradict each other.

    Stamps are whole microseconds cut off, so each end may be 1 us further; and by how much the
    two clocks may have parted between an exchange and the middle one is allowed for.
    """
    box_us = exchanges[len(exchanges) // 2].arrived_us
    least, most = -(1 << 62), 1 << 62
    for sent_us, arrived_us, left_us, came_us in exchanges:
        parted_us = abs(arrived_us - box_us) * MOST_PPB // PPB
        least = max(least, sent_us - arrived_us - 1 - parted_us)
        parted_us = abs(left_us - box_us) * MOST_PPB // PPB
        most = min(most, came_us - left_us + 1 + parted_us)
    if least > most:
        return None
    return Offset(box_us + (least + most) // 2, box_us, (most - least + 1) // 2)


def enough(exchanges: Sequence[Exchange]) -> bool:
    """Whether more exchanges would be a waste: the bound is good, or nothing will make it so."""
    found = offset_of(exchanges)
    return found is None or found.bound_us <= GOOD_BOUND_US or len(exchanges) >= EXCHANGES_MOST


def wall_ahead(clock: HostClock) -> tuple[int, int]:
    """Return the wall clock minus the monotonic one, and by how much that may be wrong, in us.

    The two are read one after the other, and the computer may turn to something else between.
    """
    best: tuple[int, int] | None = None
    for _ in range(CLOCK_LOOKS):
        before_us = clock.mono_us()
        utc_us = clock.utc_us()
        took_us = clock.mono_us() - before_us
        if best is None or took_us // 2 + 1 < best[1]:
            best = (utc_us - before_us - took_us // 2, took_us // 2 + 1)
        if took_us <= QUICK_LOOK_US:
            break
    assert best is not None
    return best


def measure(connection: Connection) -> Sync:
    """Measure the box's clock against the host's; raises BoxError if either of them jumps."""
    clock = connection.clock
    ahead_us, doubt_us = wall_ahead(clock)
    got: list[Exchange] = []
    while not got or not enough(got):
        got += _exchanges(connection, EXCHANGES)
    after_us, after_doubt_us = wall_ahead(clock)
    moved_us = abs(after_us - ahead_us)
    if moved_us > STEP_US + doubt_us + after_doubt_us:
        raise BoxError(
            connection.label,
            "this computer's clock was changed while the box was being set",
            "Run the command again",
        )
    found = offset_of(got)
    if found is None:
        raise BoxError(
            connection.label,
            "its clock jumped while it was being set",
            "Run the command again; if it stays so, the box restarts by itself",
        )
    return Sync(
        found.mono_us + ahead_us,
        found.box_us,
        found.bound_us + moved_us + doubt_us,
        connection.who.boot,
        ahead_us,
        min(e.round_us for e in got),
    )


def _exchanges(connection: Connection, wanted: int) -> list[Exchange]:
    """Make the exchanges, a fresh one for any that stays silent.

    A request is never repeated here: the reply to the first would be timed from the second. The
    waits between are of uneven length, so that the bus, which moves in steps of 1 ms, is met
    at every part of its step.
    """
    got: list[Exchange] = []
    silent = 0
    while len(got) < wanted:
        connection.clock.sleep(len(got) * 0.618 % 1 / 1000)
        try:
            reply, sent_us, came_us = connection.timed_ask(TIMES, tries=1)
        except BoxError as error:
            silent += 1
            if error.code or silent > SILENT_MOST:
                raise
            continue
        got.append(Exchange(sent_us, reply.arrived_us, reply.left_us, came_us))
    return got


def give(
    connection: Connection, sync: Sync, rate: Rate | None = None, shown_utc_us: int | None = None
) -> Rate | None:
    """Give the box its clock model; return the rate it goes by, None when nobody knows it.

    Without a rate a box may use the one that it kept; it says so. ``shown_utc_us`` is the
    instant whose local time the box will show: after a change to summer time the zone differs.
    """
    shown_us = sync.utc_us if shown_utc_us is None else shown_utc_us
    fields = {"ppb": 0}
    if rate is not None:
        fields = {"ppb": rate.ppb, "ppb_bound": rate.bound_ppb, "rate_utc_us": rate.utc_us}
    change = zone_change(shown_us / 1e6)
    if change is not None:
        fields |= {"tz_at_s": change[0], "tz_next_s": change[1]}
    said = connection.ask(
        CLOCK,
        utc_us=sync.utc_us,
        box_us=sync.box_us,
        bound_us=sync.bound_us,
        tz_s=time.localtime(shown_us // 1_000_000).tm_gmtoff,
        **fields,
    )
    connection.clock_moved_s = max(connection.clock_moved_s, said.moved_s, key=abs)
    if rate is None and said.ppb is not None and said.bound_ppb is not None:
        kept_us = sync.utc_us if said.measured_utc_us is None else said.measured_utc_us
        return Rate(said.ppb, said.bound_ppb, 0, 0, kept_us)
    return rate


def set_clock(connection: Connection) -> Sync:
    """Measure, give the box its clock model, and return what was measured."""
    sync = measure(connection)
    give(connection, sync)
    return sync


class Clocks:
    """Measures and sets boxes' clocks, keeping every contact in a book; for many threads.

    Contacts are remembered here too: without a book, or when it fails (``trouble`` says how),
    clocks are set all the same.
    """

    def __init__(self, book: Book | None = None, lock: threading.Lock | None = None) -> None:
        self._book = book
        self._lock = lock or threading.Lock()
        self._met: dict[str, list[Contact]] = {}
        self.trouble = ""

    def contact(self, connection: Connection, what: str) -> Sync:
        """Measure a box's clock and keep the contact; ``what`` is the command's name."""
        sync = measure(connection)
        self.keep(connection, sync, what)
        return sync

    def keep(self, connection: Connection, sync: Sync, what: str) -> None:
        """Keep a contact that was measured."""
        box_id = connection.who.id
        contact = Contact(
            box_id, sync.boot, sync.box_us, sync.utc_us, sync.bound_us, sync.ahead_us, what
        )
        with self._lock:
            self._met.setdefault(box_id, []).append(contact)
            if self._book is not None:
                try:
                    self._book.add_contact(contact)
                except HandbellError as error:
                    self.trouble = str(error)

    def estimate(self, box_id: str, now_utc_us: int) -> Estimate:
        """Return what all contacts say of the rate of a box."""
        with self._lock:
            known = set(self._met.get(box_id, []))
            if self._book is not None:
                since_us = now_utc_us - RATE_LASTS_DAYS * DAY_US
                try:
                    rows = self._book.contacts_of(box_id, since_us)
                except HandbellError as error:
                    self.trouble, rows = str(error), []
                known.update(Contact(*row) for row in rows)
        return estimate(sorted(known, key=lambda c: c.utc_us), now_utc_us)

    def give(
        self, connection: Connection, sync: Sync, shown_utc_us: int | None = None
    ) -> tuple[Rate | None, Estimate]:
        """Give a box the clock that was measured and the rate that its contacts say.

        Returns the rate the box goes by and what the contacts say of it.
        """
        found = self.estimate(connection.who.id, sync.utc_us)
        return give(connection, sync, found.rate, shown_utc_us), found
