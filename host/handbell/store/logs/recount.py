"""Counting again: the journal's taps through the box's own rules, held against its results."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from handbell_core import journal as j
from handbell_core.taps import SlotCount
from handbell_core.timeline import TAP_LEG, TAP_TALLY

from .acts import LEFT_OUT, marks_of, void_of
from .outages import Missed, Record, outages_of
from .timelines import Window

PRESS = struct.Struct("<HHHB")  # bib, held_ms, taps after it, flags: how its payload begins
KINDS = {j.TAP: "tap", j.BACK: "back", j.FORTH: "forth", j.CONFIRM: "confirm"}

# How a result stands: the box and the recount agree, only the recount is there, they differ and
# the recount is used, they differ and the box's number is used since records were lost, the box was
# without power in a part of the window; the coach corrected it, or said that it tells nothing.
AGREED, RECOUNT, DIFFERS, BOX, PARTLY = "agreed", "recount", "differs", "box", "partly"
AMENDED, INVALID = "amended", "invalid"


class Told(NamedTuple):
    """A result in a journal's terms; ``made_ms`` -1 and ``held_ds`` 0xFFFF as in the journal.

    ``flags`` may have those of ``acts`` on top.
    """

    bib: int
    reps: int
    made_ms: int
    held_ds: int
    flags: int


class Counted(NamedTuple):
    """One bib's result in one window: what is used, and the box's own number beside it."""

    window: int
    slot: int
    used: Told
    box_reps: int | None
    standing: str


@dataclass(frozen=True)
class Recounted:
    """All of a run's results, and a sentence for each difference.

    ``stands`` are the places, in the log's order, of the taps that counted, were not taken back and
    still hold; ``every`` is how many reps one stands for, by window and slot.
    """

    results: list[Counted]
    mismatches: list[str]
    stands: set[int]
    every: dict[tuple[int, int], int]


class _Place:
    """The count of one slot in one window, and the places in the log of the taps that stand."""

    __slots__ = ("count", "stands", "undone")

    def __init__(self, window: Window, slot: int) -> None:
        asked = window.at(slot)
        self.count = SlotCount()
        self.count.begin(window.bibs[slot], asked.ask, asked.tap, asked.every, asked.goal)
        self.stands: list[int] = []
        self.undone: int | None = None

    def keep(self, seq: int, kind: int) -> None:
        """Take note of a press that counted."""
        if kind == j.TAP:
            self.stands.append(seq)
        elif kind == j.BACK and self.stands:
            self.undone = self.stands.pop()
        elif kind == j.FORTH and self.undone is not None:
            self.stands.append(self.undone)
            self.undone = None


class _Replay:
    """The counts of every window and slot that the records speak of."""

    def __init__(self, windows: Mapping[int, Window]) -> None:
        self.windows = windows
        self.places: dict[tuple[int, int], _Place] = {}
        self.told: dict[tuple[int, int], Told] = {}
        self.led = False
        self.odd: dict[tuple[int, int], str] = {}

    def place(self, key: tuple[int, int]) -> _Place | None:
        """Return the place of a window and slot, None when the timeline has none such."""
        found = self.places.get(key)
        if found is None:
            window = self.windows.get(key[0])
            if window is None or key[1] >= len(window.bibs):
                return None
            found = self.places[key] = _Place(window, key[1])
        return found

    def other(self, record: Record) -> None:
        """Take a record that is no press; to be called in order."""
        kind, slot, window, _, payload = record
        if kind == j.ACT:
            self.led = True
        elif kind == j.RESULT:
            self.told[window, slot] = Told._make(struct.unpack_from("<HHiHB", payload))
            self.place((window, slot))
        elif kind == j.STATE and payload[1] == j.BY_SKIP:
            there = self.windows.get(window)
            for each in range(len(there.bibs) if there else 0):
                found = self.place((window, each))
                if found is not None:
                    found.count.skipped = True

    def leave_out(self, numbers: Iterable[int]) -> None:
        """Let there be a result of windows that the class left out."""
        for number in numbers:
            for slot in range(len(self.windows[number].bibs)):
                self.place((number, slot))

    def press(self, seq: int, record: Record) -> None:
        """Take the press at a place of the journal; to be called in order."""
        kind, slot, window, class_ms, payload = record
        bib, _, after, flags = PRESS.unpack_from(payload)
        if kind == j.TAP and flags & j.TAP_OUTSIDE:
            return
        key = window, slot
        found = self.places.get(key) or self.place(key)
        if found is None or found.count.bib != bib:
            self.odd.setdefault(key, f"a press of bib {bib} belongs to no one there")
            return
        if (
            self.led
        ):  # an act opened its tally once more, so what was told of it is no more the last
            self.told.pop(key, None)
        count = found.count
        counted = count.replay(kind, class_ms)
        if counted:
            found.keep(seq, kind)
        if kind == j.TAP and counted == bool(flags & j.TAP_EXTRA):
            self.odd.setdefault(key, "a tap counted for one and not for the other")
        if count.taps != after and min(count.taps, 0xFFFF) != after:
            self.odd.setdefault(key, f"the box had {after} taps where the recount has {count.taps}")


def _marked(counted: Counted, mark: int) -> Counted:
    """Return a result with what acts did to its window."""
    used = counted.used
    return counted._replace(used=used._replace(flags=used.flags | mark)) if mark else counted


def _as_told(count: SlotCount, window: Window) -> Told:
    flags = j.RES_ASKED if count.asked else 0
    if window.tap == TAP_LEG:
        flags |= j.RES_LEGS
    if count.skipped:
        flags |= j.RES_SKIPPED
    if count.tap_rule == TAP_TALLY and not count.confirmed:
        flags |= j.RES_UNCONFIRMED
    held_ds = j.HELD_TO_END if count.drop_ms < 0 else (count.drop_ms - window.start_ms) // 100
    return Told(count.bib, count.reps, count.made_ms, held_ds, flags)


def recount(
    windows: Mapping[int, Window], records: Iterable[Record], lost_records: bool = False
) -> Recounted:
    """Replay a journal's records against the timeline's windows.

    ``lost_records`` says that records are known to be missing: then the box's own number is used
    where the two differ. Results are given for every window that any record speaks of.
    """
    records = list(records)
    void = void_of(records, windows)
    marks = marks_of(records, windows)
    missed = Missed(windows, outages_of(records, void))
    replay = _Replay(windows)
    for seq, record in enumerate(records):
        if seq in void:
            continue
        if record[0] in KINDS:
            replay.press(seq, record)
        else:
            replay.other(record)
    replay.leave_out(number for number, mark in marks.items() if mark & LEFT_OUT)
    results = []
    mismatches = []
    for (window, slot), place in sorted(replay.places.items(), key=lambda one: one[0]):
        count = place.count
        if not count.bib:
            continue
        plan = windows[window]
        told = replay.told.pop((window, slot), None)
        result = _held_together(window, slot, _as_told(count, plan), told, lost_records)
        counted = result.counted
        if missed.partly((window, slot), count, told is not None):
            counted = counted._replace(standing=PARTLY)
        results.append(_marked(counted, marks.get(window, 0)))
        said = [result.difference, replay.odd.pop((window, slot), "")]
        where = f"Bib {count.bib}, window {window} ({plan.at(slot).name})"
        mismatches += [f"{where}: {sentence}" for sentence in said if sentence]
    for window, slot in replay.told:
        replay.odd[window, slot] = "the box tells a result that the timeline has no place for"
    mismatches += [
        f"Window {window}, button {slot + 1}: {said}"
        for (window, slot), said in sorted(replay.odd.items())
    ]
    stands = {seq for place in replay.places.values() for seq in place.stands}
    every = {key: place.count.every for key, place in replay.places.items()}
    return Recounted(results, mismatches, stands, every)


@dataclass(frozen=True)
class _Held:
    counted: Counted
    difference: str


def _held_together(
    window: int, slot: int, own: Told, told: Told | None, lost_records: bool
) -> _Held:
    if told is None:
        return _Held(Counted(window, slot, own, None, RECOUNT), "")
    if told.flags & j.RES_STOPPED:
        own = own._replace(flags=own.flags | j.RES_STOPPED)
    if own == told:
        return _Held(Counted(window, slot, own, told.reps, AGREED), "")
    used, standing = (told, BOX) if lost_records else (own, DIFFERS)
    return _Held(Counted(window, slot, used, told.reps, standing), _difference(told, own))


def _difference(told: Told, own: Told) -> str:
    if told.reps != own.reps:
        return f"the box says {told.reps} reps, the recount {own.reps}"
    if told.made_ms != own.made_ms:
        return f"the box says made at {told.made_ms} ms, the recount {own.made_ms} ms"
    if told.held_ds != own.held_ds:
        return f"the box says held {told.held_ds} tenths, the recount {own.held_ds}"
    if told.bib != own.bib:
        return f"the box says bib {told.bib}, the timeline bib {own.bib}"
    return f"the box's flags are {told.flags}, the recount's {own.flags}"
