"""The journal: a box's append-only record of one run, in 24-byte records that check themselves.

Little-endian; laid out byte by byte in ``docs/engineers/formats.md``. A torn tail is dropped, a
broken record in the middle is passed over and counted. Taps are raw enough to be counted again.
"""

import binascii
import struct

VERSION = 2  # 1 has no acts: who passes them over would count what no longer holds
NO_ACTS = 1
RECORD = "<BBHi12sI"
RECORD_SIZE = 24

# Record types: what the 12 bytes of payload hold stands beside each.
RUN = 1  # 12s timeline digest; slot: journal version, window: station
BOX = 2  # 8s box id, u16 battery mV, u16 times started
UTC = 3  # i64 utc_us, u32 bound_us: the clock model's instant; absent when the clock is lost
OWN = 4  # i64 box_us, i32 rate_ppb: the same instant on the box's own clock
STATE = 5  # u8 state, u8 cause, u16 spare, i64 of this class_ms: utc_ms, or see RunTime.stamp_ms
TAP = 6  # u16 bib, u16 held_ms, u16 count after, u8 flags, 5 spare
BACK = 7  # u16 bib, u16 held_ms, u16 count after: the last tap taken back, by a press so long ago
FORTH = 8  # the same: a take-back withdrawn, since the hold went on to the choices
RESULT = 9  # u16 bib, u16 reps, i32 made_ms (-1: not made), u16 held_ds, u8 flags, u8 spare
RATED = 10  # u16 bib, u8 rating (255: taken back), 9 spare; the last one holds
NOTE = 11  # u16 fault, u16 spare, i32 value, 4 spare
CONFIRM = 12  # u16 bib, u16 held_ms, u16 count after: a tally closed by a hold
END = 13  # u8 cause, u8 spare, u16 late cues, u32 worst lateness us, u32 taps
ACT = 14  # u16 number, u8 what, u8 heard early, i32 class_ms before it; window: now open
HEEDS = 15  # 8s key, u8 stations, 3 spare: a remote leads
SAID = 16  # u16 number, u8 what, u8 spare, i64 utc_ms of its instant: an act that a remote says

HELD_TO_END = 0xFFFF  # held_ds, tenths of a second, of a position that was not lost

RATING_TAKEN_BACK = 0xFF

# Tap flags
TAP_OUTSIDE = 1  # pressed when nothing was to be counted
TAP_EXTRA = 2  # after the target was made
TAP_DOUBT = 4  # an edge may be up to 50 ms late: a flash write was in progress
TAP_TALLIED = 8  # entered in the rest that follows

# Result flags
RES_ASKED = 1  # somebody was asked to tap
RES_SKIPPED = 2
RES_STOPPED = 4
RES_UNCONFIRMED = 8  # a tally that nobody confirmed
RES_LEGS = 16  # the reps are legs of a relay in which a tap hands over

# Causes of a state change and of an end. After the power had failed, BY_CLOCK: joined again;
# BY_CUT: not gone on with. BY_WORD: by an act of the remote.
(
    BY_TIME, BY_HOST, BY_HAND, BY_SKIP, BY_WAIT, BY_STOP, BY_FAULT, BY_CLOCK, BY_CUT, BY_WORD,
) = range(10)  # fmt: skip


def record(kind: int, slot: int, window: int, class_ms: int, payload: bytes = b"") -> bytes:
    """Return one record's 24 bytes; ``payload`` is padded with zeros to 12."""
    if len(payload) < 12:
        payload = payload + bytes(12 - len(payload))
    body = struct.pack(RECORD, kind, slot, window, class_ms, payload, 0)[:-4]
    return body + struct.pack("<I", binascii.crc32(body))


def run_record(digest: bytes, station: int, heeds: bool = False) -> bytes:
    """Return the record that opens a journal; ``heeds`` when a remote leads, so acts may follow."""
    return record(RUN, VERSION if heeds else NO_ACTS, station, 0, digest)


def tap_record(
    slot: int, window: int, class_ms: int, bib: int, held_ms: int, count: int, flags: int
) -> bytes:
    """Return the record of a counted or uncounted tap."""
    held_ms = min(held_ms, 0xFFFF)
    payload = struct.pack("<HHHB", bib, held_ms, min(count, 0xFFFF), flags)
    return record(TAP, slot, window, class_ms, payload)


def act_record(
    number: int, what: int, class_ms: int, window: int, was_ms: int, early: bool = False
) -> bytes:
    """Return the record of an act that took the class from ``was_ms`` into an open window, or 0."""
    payload = struct.pack("<HBBi", number, what, early, was_ms)
    return record(ACT, 0, window, class_ms, payload)


def said_record(number: int, what: int, class_ms: int, utc_ms: int) -> bytes:
    """Return the record of an act as a remote says it, to come into force at ``utc_ms``."""
    return record(SAID, 0, 0, class_ms, struct.pack("<HBBq", number, what, 0, utc_ms))


def parse_record(buf: bytes) -> "tuple[int, int, int, int, bytes] | None":
    """Return (type, slot, window, class_ms, payload) of 24 bytes, or None if its check fails."""
    kind, slot, window, class_ms, payload, crc = struct.unpack(RECORD, buf)
    if crc != binascii.crc32(buf[: RECORD_SIZE - 4]):
        return None
    return kind, slot, window, class_ms, payload


def parse(data: bytes) -> "tuple[list[tuple[int, int, int, int, bytes]], int]":
    """Return the good records of a journal and how many whole records were broken.

    A tail shorter than a record was torn by a power cut; it is dropped and not counted.
    """
    good = []
    broken = 0
    for at in range(0, len(data) - RECORD_SIZE + 1, RECORD_SIZE):
        rec = parse_record(data[at : at + RECORD_SIZE])
        if rec is None:
            broken += 1
        else:
            good.append(rec)
    return good, broken
