"""A stored timeline, read for the host: its windows and who was at which button."""

from __future__ import annotations

import io
import threading
from dataclasses import dataclass, replace
from typing import NamedTuple

from handbell.base.errors import StoreError
from handbell_core import timeline as t


class Task(NamedTuple):
    """What one bib is asked for in a window instead of what the others are."""

    ask: int
    tap: int
    every: int
    goal: int
    name: str


@dataclass(frozen=True)
class Window:
    """One window as it was planned for one box; ``bibs[slot]`` is 0 where nobody stands.

    Where a tap hands over (``tap`` is a leg), a slot is a person's place in the group's order.
    """

    number: int
    start_ms: int
    duration_ms: int
    block: int
    round: int
    item: int
    ask: int
    tap: int
    every: int
    goal: int
    both_sides: bool
    name: str
    who: str
    bibs: tuple[int, ...]
    own: tuple[Task | None, ...] = ()  # by slot, where a bib is asked for something else

    def at(self, slot: int) -> Window:
        """Return the window as the bib at a slot is asked for it."""
        task = self.own[slot] if slot < len(self.own) else None
        return self if task is None else replace(self, own=(), **task._asdict())

    def of(self, bib: int) -> Window:
        """Return the window as a bib is asked for it; ValueError if it is not there."""
        return self.at(self.bibs.index(bib))

    @property
    def end_ms(self) -> int:
        """The ``class_ms`` at which it ends."""
        return self.start_ms + self.duration_ms


# What a window has from its span as it stands there.
_AS_IT_IS = [
    name
    for name in t.SPAN_FIELDS
    if name in Window.__dataclass_fields__ and name not in ("name", "who")
]


@dataclass(frozen=True)
class Timeline:
    """What a box was to play; ``plan`` and ``digest`` are hex."""

    digest: str
    plan: str
    title: str
    label: str
    station: int
    slot_ms: int
    total_ms: int
    windows: dict[int, Window]
    rated: tuple[int, ...]  # bibs that are asked how hard it was
    hall: str | None = None  # by its number in hex; None: it was sent without one


def text(raw: bytes) -> str:
    """Return a timeline's Latin-1 text without control characters."""
    return "".join(c if c.isprintable() else " " for c in raw.decode("latin-1")).strip()


_KEPT_BYTES = 4 << 20  # of timelines that are kept as they were read: a year on ten boxes
_kept: dict[bytes, Timeline] = {}
_kept_turn = threading.Lock()


def decode(data: bytes) -> Timeline:
    """Read a whole timeline; raises StoreError when its bytes are not sound.

    What was read last is kept, so that a class is read once; never more than a laptop can hold.
    """
    with _kept_turn:
        found = _kept.pop(data, None)
        if found is not None:
            _kept[data] = found  # the last that was asked for stands last
            return found
    found = _decode(data)
    with _kept_turn:
        _kept[data] = found
        over = sum(map(len, _kept)) - _KEPT_BYTES
        for old in list(_kept) if over > 0 else ():
            if over <= 0:
                break
            del _kept[old]
            over -= len(old)
    return found


def _decode(data: bytes) -> Timeline:
    file = io.BytesIO(data)
    try:
        head = t.verify(file)
        reader = t.Reader(file)
        texts = [text(reader.text(i)) for i in range(head.strings)]
        spans = [reader.span(i, t.Span()) for i in range(head.spans)]
    except (t.FormatError, ValueError) as error:
        raise _unsound(error) from error

    def named(index: int) -> str:
        return texts[index] if index < len(texts) else ""

    windows = {
        s.window: Window(
            **{name: getattr(s, name) for name in _AS_IT_IS} | _tapped(s),
            number=s.window,
            both_sides=bool(s.flags & t.BOTH_SIDES),
            name=named(s.name),
            who=named(s.who),
            bibs=s.people or tuple(s.bib),
            own=tuple(own and Task(*own[:4], named(own[4])) for own in s.own) if s.owns else (),
        )
        for s in spans
        if s.kind == t.WINDOW
    }
    rated = tuple(b for s in spans if s.kind == t.RATING for b in s.bib if b)
    return Timeline(
        digest=t.digest_of(file).hex(),
        plan=head.plan.hex(),
        title=named(t.TITLE),
        label=named(t.STATION_LABEL),
        station=head.station,
        slot_ms=head.slot_ms,
        total_ms=head.total_ms,
        windows=windows,
        rated=rated,
        hall=hall_of(data),
    )


def _tapped(span: t.Span) -> dict[str, int]:
    """Return how people tap where a tap hands over, which no older box is told."""
    return {"tap": t.TAP_LEG} if span.people else {}


def slot_ms_of(head: bytes) -> int:
    """Return a timeline's whole length from its first HEADER_SIZE bytes.

    For many at once: to read the whole of each takes a hundred times as long. Raises StoreError.
    """
    try:
        return int(t.Head.unpack(head).slot_ms)
    except (t.FormatError, ValueError) as error:
        raise _unsound(error) from error


def hall_of(head: bytes) -> str | None:
    """Return the hall that a timeline's sound header tells, by its number in hex, or None."""
    number = bytes(head[t.HALL_AT : t.HALL_AT + t.HALL_SIZE])
    return number.hex() if any(number) else None


def _unsound(error: Exception) -> StoreError:
    return StoreError(
        f"A timeline can't be kept, its bytes are not sound ({error})",
        "Send the plan again and collect again",
    )


def task_rows(found: Timeline, digest: str) -> list[tuple[object, ...]]:
    """Return what a timeline asks of each bib, as rows of the table ``tasks``.

    ``digest`` is what the store knows it by; a name may have been taken out of its bytes since.
    """
    rows: list[tuple[object, ...]] = []
    for window in found.windows.values():
        for slot, bib in enumerate(window.bibs):
            if bib:
                w = window.at(slot)
                when = w.start_ms, w.end_ms, w.block, w.round, w.item
                what = w.ask, w.tap, w.every, w.goal, w.both_sides, w.name, w.who
                rows.append((digest, w.number, slot, bib, *when, *what))
    return rows
