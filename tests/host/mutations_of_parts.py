"""What may be wrong with the logs, timelines and plans of a bundle."""

from __future__ import annotations

import binascii
import contextlib
import hashlib
import json
import random
import struct

from handbell_core import journal as j
from handbell_core import timeline as t

Parts = dict[str, bytes]


def _named(told, parts: Parts, folder: str, name: str, data: bytes) -> None:
    """Put a part under the digest that it has now, and let the list say so."""
    old, new = name.split("/")[1].removesuffix(".toml"), hashlib.sha256(data).hexdigest()[:24]
    end = ".toml" if folder == "plans" else ""
    parts.pop(name, None)
    parts[f"{folder}/{new}{end}"] = data
    text = json.dumps({key: value for key, value in told.items() if key != "parts"})
    told |= json.loads(text.replace(old, new))


def _part(dice: random.Random, parts: Parts, folder: str) -> str | None:
    some = sorted(name for name in parts if name.startswith(f"{folder}/"))
    return dice.choice(some) if some else None


def a_log(dice: random.Random, told, parts: Parts) -> str:
    """Change a log's records, with their checks made right or not."""
    name = _part(dice, parts, "logs")
    if name is None:
        return "none"
    size = j.RECORD_SIZE
    data = parts[name]
    records = [data[at : at + size] for at in range(0, len(data), size)]
    how = dice.randrange(7)
    for _ in range(dice.choice((1, 1, 5))):
        at = dice.randrange(len(records))
        one = bytearray(records[at].ljust(size, b"\0"))
        if how == 0:
            one[dice.randrange(size)] ^= 1 << dice.randrange(8)
        elif how == 1:
            spot = dice.choice((0, 1, 2, 4, 8, 10, 12, 14, 16))
            wild = dice.choice((b"\xff", b"\0", b"\x7f", b"\x80"))
            one[spot : spot + 4] = (
                (wild * 4) if spot != 0 else bytes([dice.randrange(20)]) + one[1:4]
            )
            one[20:] = struct.pack("<I", binascii.crc32(one[:20]))
        elif how == 2:
            records.insert(at, records[dice.randrange(len(records))])
        elif how == 3 and len(records) > 1:
            del records[at]
            continue
        elif how == 4:
            one[4:8] = struct.pack("<i", dice.choice((-1, -(1 << 31), (1 << 31) - 1, 10**8)))
            one[20:] = struct.pack("<I", binascii.crc32(one[:20]))
        elif how == 5:
            records.append(bytes(dice.randrange(1, 4000)))
            break
        else:
            dice.shuffle(records) if dice.random() < 0.2 else records.reverse()
            break
        records[at] = bytes(one)
    fresh = b"".join(records)
    if dice.random() < 0.85:
        _named(told, parts, "logs", name, fresh)
    else:
        parts[name] = fresh
    return f"log {how}"


def a_timeline(dice: random.Random, told, parts: Parts) -> str:
    """Change a timeline's bytes, made right or not, under its own digest or the old one."""
    name = _part(dice, parts, "timelines")
    if name is None:
        return "none"
    data = bytearray(parts[name])
    head = None
    with contextlib.suppress(t.FormatError):  # it was changed before
        head = t.Head.unpack(bytes(data[: t.HEADER_SIZE]))
    how = dice.randrange(5)
    for _ in range(dice.choice((1, 2, 9))):
        if head is None or how == 0:
            data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)
        elif how == 1:  # a field of a span
            at = head.spans_at() + t.SPAN_SIZE * dice.randrange(max(1, head.spans))
            at += dice.choice((0, 1, 2, 3, 4, 8, 12, 14, 16, 18, 20, 22, 26, 28, 30, 36, 37, 38))
            size = dice.choice((1, 2, 4))
            data[at : at + size] = dice.choice((b"\xff", b"\0", b"\x7f", b"\5")) * size
        elif how == 2:  # where a text begins, or what it says
            at = t.HEADER_SIZE + 4 * dice.randrange(head.strings + 1)
            data[at : at + 4] = struct.pack("<I", dice.choice((0, 1, 5, 10**6, 0xFFFFFFFF)))
        elif how == 3:  # a field of the header
            at = dice.randrange(4, 60)
            data[at : at + 2] = dice.choice((b"\xff\xff", b"\0\0", b"\1\0", b"\0\x7f"))
        else:
            data += bytes(dice.randrange(1, 200))
    if dice.random() < 0.9 and len(data) > t.HEADER_SIZE + 4:
        data[60:64] = struct.pack("<I", binascii.crc32(data[:60]))
        data[-4:] = struct.pack("<I", binascii.crc32(data[t.HEADER_SIZE : -4]))
    if dice.random() < 0.3:
        for one in told["timelines"] if isinstance(told.get("timelines"), list) else ():
            if isinstance(one, dict):
                one["altered"] = True
        parts[name] = bytes(data)
        return f"timeline {how} altered"
    if dice.random() < 0.9:
        _relog(told, parts, name, bytes(data))
    else:
        parts[name] = bytes(data)
    return f"timeline {how}"


def _relog(told, parts: Parts, name: str, data: bytes) -> None:
    """Let the logs be of a timeline that was changed."""
    old = bytes.fromhex(name.split("/")[1])
    new = hashlib.sha256(data).digest()[:12]
    _named(told, parts, "timelines", name, data)
    for log in [name for name in parts if name.startswith("logs/")]:
        first = parts[log][: j.RECORD_SIZE]
        if first[8:20] == old:
            body = first[:8] + new
            fresh = body + struct.pack("<I", binascii.crc32(body)) + parts[log][j.RECORD_SIZE :]
            _named(told, parts, "logs", log, fresh)


PLANS = (
    b"", b"\0", b"\xff\xfe", b"title = 5\n", b'title = "\x1b[2J"\n', b"[" * 3000, b"a = 1\n" * 9000,
    b'[[block]]\nrounds = 3\n', b'title = "T"\n[[block]]\nrounds = 1' + b"0" * 30 + b"\n",
    b"\xef\xbb\xbftitle = \"B\"", b'title = "' + b"x" * 100_000 + b'"\n',
)  # fmt: skip


def a_plan(dice: random.Random, told, parts: Parts) -> str:
    """Put another text for the plan's."""
    name = _part(dice, parts, "plans")
    if name is None:
        return "none"
    n = dice.randrange(len(PLANS))
    parts[name] = PLANS[n]
    if isinstance(told.get("plans"), list) and dice.random() < 0.9:
        for one in told["plans"]:
            if isinstance(one, dict):
                one["altered"] = True
    return f"plan {n}"
