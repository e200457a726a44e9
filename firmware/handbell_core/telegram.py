"""A telegram: the whole state of a class in 16 bytes, with a check that only its key gives.

Laid out byte by byte in ``docs/engineers/formats.md``. It says nothing of what was before, so that
whoever hears one of many knows all. Time in it is counted from its own end, so that a box without
a clock can follow.
"""

import hashlib
import struct

from .agreement import OVER, STANDS, Act

SIZE = 16
KEY_SIZE = 8
CHECK_SIZE = 4
PLAN_SIZE = 2
SOON_MOST_MS = 0xFFFFFF  # 4 h 39 min to the act's instant

_BODY = "<2sHBI3s"


def pack(key: bytes, plan: bytes, act: Act, end_ms: int, gate_ms: int) -> bytes:
    """Return the 16 bytes of an act in a telegram that ends at ``end_ms`` in the sender's run time.

    Of ``key`` the first 8 bytes count, of ``plan``, its digest, two travel; ``gate_ms`` is the
    first gate, or the end, after the act's ``class_ms``. An act in force is told as it is by then.
    Raises ValueError for an instant too far off.
    """
    now = act.as_it_is(end_ms, gate_ms)
    away_ms = max(0, now.at_ms - end_ms)
    if away_ms > SOON_MOST_MS:
        raise ValueError(away_ms)
    away = struct.pack("<I", away_ms)[:3]
    body = struct.pack(_BODY, plan[:PLAN_SIZE], now.number, now.what, now.class_ms, away)
    return body + _check(key, body)


def unpack(key: bytes, plan: bytes, data: bytes, end_ms: int) -> "Act | None":
    """Return the act of a telegram that ended at ``end_ms`` in the hearer's run time.

    None for what is of another class, another key, damaged or no telegram.
    """
    if len(data) != SIZE or data[-CHECK_SIZE:] != _check(key, data[:-CHECK_SIZE]):
        return None
    told, number, what, class_ms, away = struct.unpack(_BODY, data[:-CHECK_SIZE])
    if told != plan[:PLAN_SIZE] or not STANDS <= what <= OVER or class_ms >> 31:
        return None
    away_ms = away[0] | away[1] << 8 | away[2] << 16
    return Act(number, what, class_ms, end_ms + away_ms)


def _check(key: bytes, body: bytes) -> bytes:
    return hashlib.sha256(key[:KEY_SIZE] + body).digest()[:CHECK_SIZE]
