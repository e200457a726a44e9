"""A journal's records sorted into facts: when it began, how it ended, what went wrong."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from typing import NamedTuple

from handbell.base.times import whole_clock
from handbell_core import faults
from handbell_core import journal as j
from handbell_core.runner import AT_GATE, PLAY
from handbell_core.versions import name, reads

from .chains import Chain, add_clock
from .outages import Outage, Record, outages_of

WORD = "word"  # a remote's
LATE = "late"
STARTERS = {j.BY_HOST: "host", j.BY_HAND: "hand", j.BY_WORD: WORD, j.BY_CLOCK: LATE}
# Notes that say how many records were lost, so that a recount may fall short.
LOSSES = (faults.STORAGE_FULL, faults.FLASH_ERROR)
PRESSES = (j.TAP, j.BACK, j.FORTH, j.CONFIRM)

# What no sound box writes, though the check is right: a year before 2020 or after 2099, a crystal
# off by more than a thousandth, a box's clock of centuries, an answer beyond 10.
UTC_US = range(1_577_836_800_000_000, 4_102_444_800_000_000)
RATE_MOST_PPB = 1_000_000
BOX_MOST_US = 2**53
RATING_MOST = 10

KEY_SIZE = 8
BOX_CLOCK_MS = -2  # a state's UTC from there down is the box's own clock: so many ms below it


class Played(NamedTuple):
    """What was played where, if the log itself does not say it: a timeline's digest, a station."""

    timeline: str
    station: int


class UnreadableError(Exception):
    """A journal that can't be read at all; the argument says why."""


@dataclass
class Journal:
    """What the journal says about its run; ``start_utc_us`` None when the clock was lost."""

    timeline: str
    station: int
    records: list[Record]
    broken: int
    torn: bool
    assumed: bool = False  # what was played is not told by the log
    odd_times: int = 0  # records with a time that can't be
    repeated: int = 0  # presses that were told twice, and are in ``records`` once
    started: bool = False
    start_utc_us: int | None = None
    start_box_us: int | None = None  # by the box's own clock, where it had no other,
    start_boot: int | None = None  # in which of its starts
    started_by: str = ""
    key: str = ""  # by which a remote leads, hex
    end_cause: int | None = None
    end_class_ms: int = 0  # where the class was last, as far as is told
    late_cues: int = 0
    worst_late_us: int = 0
    taps_told: int | None = None
    battery_mv: int | None = None
    bound_us: int | None = None
    boot: int | None = None
    clock_utc_us: int = 0  # of a clock of which only half was told so far
    chains: list[Chain] = field(default_factory=list)
    last_utc_us: int | None = None  # UTC at class_ms 0, as the last state change has it
    ratings: dict[int, int] = field(default_factory=dict)
    notes: list[tuple[int, int, int]] = field(default_factory=list)  # class_ms, fault, value
    outages: list[Outage] = field(default_factory=list)

    @property
    def end_utc_us(self) -> int | None:
        """The end by the box's own clock; gates that were waited at are in it."""
        if self.last_utc_us is None:
            return None
        return self.last_utc_us + self.end_class_ms * 1000

    @property
    def led_key(self) -> str | None:
        """The key of the arming that it was played of, None where no remote led it.

        A box that waits for a remote still may be started by hand: in another class, then.
        """
        return self.key if self.key and self.started_by != STARTERS[j.BY_HAND] else None

    @property
    def stopped(self) -> bool:
        """Whether somebody ended it before its time."""
        return self.end_cause not in (None, j.BY_TIME, j.BY_CUT)

    @property
    def state(self) -> str:
        """Whether it is "whole", is "cut" or damaged, or has "gaps" in which nothing was told."""
        if self.end_cause in (None, j.BY_CUT) or self.torn or self.broken:
            return "cut"
        return "gaps" if self.outages or self.lost_records else "whole"

    @property
    def reason(self) -> str:
        """Why the journal is not whole, "" when it is or a note of the box says it."""
        parts = []
        outages = self.outages
        if outages and self.started_by == LATE:
            parts.append(f"the box was put into the class at {whole_clock(outages[0].to_ms)}")
            outages = outages[1:]
        if outages:
            spans = " and ".join(
                f"from about {whole_clock(out.from_ms)} to {whole_clock(out.to_ms)}"
                for out in outages
            )
            parts.append(f"the box was without power {spans}")
        if self.end_cause is None:
            parts.append("it has no end")
        if self.end_cause == j.BY_CUT:
            parts.append("the box lost its power and was given something else to do")
        if self.torn:
            parts.append("its last record is torn")
        if self.broken:
            are = "is" if self.broken == 1 else "are"
            parts.append(f"{self.broken} of its records {are} damaged")
        return ", ".join(parts)

    @property
    def lost_records(self) -> bool:
        """Whether records are known to be missing from before the end."""
        return self.broken > 0 or any(fault in LOSSES and value for _, fault, value in self.notes)


def read(data: bytes, played: Played | None = None) -> Journal:
    """Sort a journal's records; raises UnreadableError when it does not say what was played.

    ``played`` is what it was if the record that says so is damaged.
    """
    parsed, broken = j.parse(data)
    records = _once_each(parsed)
    assumed = bool(records) and records[0][0] != j.RUN and played is not None
    if assumed and played is not None:
        timeline, station = played
    elif not records or records[0][0] != j.RUN:
        raise UnreadableError("it does not begin with a sound record of what was played")
    else:
        _, version, station, _, digest = records[0]
        if not reads(j.VERSION, version):
            raise UnreadableError(f"it is written in version {name(version)} of the format")
        timeline = digest.hex()
    torn = len(data) % j.RECORD_SIZE != 0
    repeated = len(parsed) - len(records)
    found = Journal(timeline, station, records, broken, torn, assumed, repeated=repeated)
    for record in records:
        take = _TAKE.get(record[0])
        if take is not None:
            take(found, record)
    last_act = max((seq for seq, r in enumerate(records) if r[0] == j.ACT), default=0)
    found.end_class_ms = max(0, *(r[3] for r in records[last_act:]))
    found.outages = outages_of(records)
    return found


def _once_each(records: list[Record]) -> list[Record]:
    """Return records without the presses that were told before, word for word.

    No button is pressed twice in one millisecond, so that was one press. Where nothing was to be
    counted the time of the class may stand still, and so it does where a remote lets it stand; an
    act may bring a time again. There two may be told alike.
    """
    kept: list[Record] = []
    told: set[Record] = set()
    led = stands = False
    for record in records:
        if record[0] == j.ACT:
            led = True
            told.clear()
        elif record[0] == j.STATE:
            stands = led and record[4][0] == AT_GATE
        outside = record[0] == j.TAP and record[4][6] & j.TAP_OUTSIDE
        if record[0] in PRESSES and not outside and not stands:
            if record in told:
                continue
            told.add(record)
        kept.append(record)
    return kept


def ends_by_cut(data: bytes) -> bool:
    """Whether the last whole record of a log says no end, or an end by a power cut.

    A box writes nothing after the end; a record that is damaged before it is no cut.
    """
    end = len(data) // j.RECORD_SIZE * j.RECORD_SIZE
    record = j.parse_record(data[end - j.RECORD_SIZE : end]) if end else None
    return record is None or record[0] != j.END or record[4][0] == j.BY_CUT


def end_is_damaged(data: bytes) -> bool:
    """Whether the last whole record of a log can't be read: it may have been its end."""
    end = len(data) // j.RECORD_SIZE * j.RECORD_SIZE
    return end > 0 and j.parse_record(data[end - j.RECORD_SIZE : end]) is None


def may_be_led(data: bytes) -> bool:
    """Whether a log may tell by which key a remote led: its first record says so, or is damaged."""
    record = j.parse_record(data[: j.RECORD_SIZE])
    return record is None or record[0] != j.RUN or record[1] != j.NO_ACTS


def is_headless(data: bytes) -> bool:
    """Whether a log has sound records, but none that says what was played."""
    records, _ = j.parse(data)
    return bool(records) and records[0][0] != j.RUN


def _state(found: Journal, record: Record) -> None:
    class_ms = record[3]
    state, cause, _, utc_ms = struct.unpack("<BBHq", record[4])
    begins = state == PLAY and cause == j.BY_WORD and not class_ms  # maybe anew
    if state == PLAY or class_ms:  # else the remote lets it stand before it has begun
        found.started = True
    if utc_ms <= BOX_CLOCK_MS:
        start_us = (BOX_CLOCK_MS - utc_ms - class_ms) * 1000
        if abs(start_us) > BOX_MOST_US:
            found.odd_times += 1
        elif found.start_box_us is None or begins:
            found.start_box_us, found.start_boot = start_us, found.boot
    elif utc_ms >= 0:
        zero_us = (utc_ms - class_ms) * 1000
        if zero_us not in UTC_US:
            found.odd_times += 1
        else:
            found.last_utc_us = zero_us
            if found.start_utc_us is None or begins:
                found.start_utc_us = zero_us
    if (state == PLAY or cause == j.BY_CLOCK) and not found.started_by:
        found.started_by = STARTERS.get(cause, "")


def _box(found: Journal, record: Record) -> None:
    found.battery_mv, found.boot = struct.unpack_from("<HH", record[4], 8)


def _heeds(found: Journal, record: Record) -> None:
    found.key = found.key or record[4][:KEY_SIZE].hex()


def _utc(found: Journal, record: Record) -> None:
    utc_us, bound_us = struct.unpack("<qI", record[4])
    if utc_us in UTC_US:
        found.clock_utc_us, found.bound_us = utc_us, bound_us
    else:
        found.clock_utc_us = 0
        found.odd_times += 1


def _own(found: Journal, record: Record) -> None:
    box_us, rate_ppb = struct.unpack("<qi", record[4])
    if abs(box_us) > BOX_MOST_US or abs(rate_ppb) > RATE_MOST_PPB:
        found.odd_times += 1
    elif found.clock_utc_us:
        add_clock(found.chains, found.boot, found.clock_utc_us, box_us, rate_ppb)


def _rated(found: Journal, record: Record) -> None:
    bib, rating = struct.unpack_from("<HB", record[4])
    if rating == j.RATING_TAKEN_BACK:
        found.ratings.pop(bib, None)
    elif rating <= RATING_MOST:
        found.ratings[bib] = rating


def _note(found: Journal, record: Record) -> None:
    fault, _, value = struct.unpack_from("<HHi", record[4])
    found.notes.append((record[3], fault, value))


def _end(found: Journal, record: Record) -> None:
    cause, _, late, worst_us, taps = struct.unpack("<BBHII", record[4])
    found.end_cause = cause
    found.late_cues, found.worst_late_us, found.taps_told = late, worst_us, taps


def _tap(found: Journal, record: Record) -> None:
    if record[3] > 0 or not record[4][6] & j.TAP_OUTSIDE:
        found.started = True


def _counted(found: Journal, _record: Record) -> None:
    found.started = True


_TAKE = {
    j.STATE: _state,
    j.BOX: _box,
    j.HEEDS: _heeds,
    j.UTC: _utc,
    j.OWN: _own,
    j.TAP: _tap,
    j.RESULT: _counted,
    j.RATED: _rated,
    j.NOTE: _note,
    j.END: _end,
}
