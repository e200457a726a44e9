"""What may be wrong with the bytes of a bundle's list, and with a bundle as a ZIP file."""

from __future__ import annotations

import random
import stat
import struct
import zipfile
from pathlib import Path

from handbell.store.bundles.packed import CHECK, LIST

Parts = dict[str, bytes]


def zipped(parts: Parts, path: Path, how: int = zipfile.ZIP_DEFLATED) -> None:
    with zipfile.ZipFile(path, "w", how) as file:
        for name, data in parts.items():
            file.writestr(name, data)


def _twice(dice: random.Random, body: bytes) -> bytes:
    return body.replace(b'"filed"', b'"class": null, "filed"', 1)


BODIES = (
    _twice,
    lambda dice, body: body[: dice.randrange(len(body))],
    lambda dice, body: b"[" * 100_000 + b"]" * 100_000,
    lambda dice, body: b'{"a":' * 20_000 + b"1" + b"}" * 20_000,
    lambda dice, body: b"[" + b"[]," * 1_000_000 + b"[]]",
    lambda dice, body: b"[" + b"1234," * 2_000_000 + b"1]",
    lambda dice, body: body.replace(b": 1,", b": " + b"9" * 5000 + b",", 1),
    lambda dice, body: body.replace(b": 1,", b": NaN,", 1),
    lambda dice, body: b"\xef\xbb\xbf" + body,
    lambda dice, body: body.decode().encode("utf-16"),
    lambda dice, body: body.replace(b'"bib"', b'"b\xffb"', 1),
    lambda dice, body: b"null",
    lambda dice, body: b"x" * 13_000_000,
)


def _junk_behind(dice, parts, path):
    zipped(parts, path)
    path.write_bytes(path.read_bytes() + bytes(dice.randrange(1, 70_000)))


def _junk_before(dice, parts, path):
    zipped(parts, path)
    path.write_bytes(b"#!/bin/sh\n" + path.read_bytes())


def _comment(dice, parts, path):
    zipped(parts, path)
    with zipfile.ZipFile(path, "a") as file:
        file.comment = b"hello" * dice.randrange(1, 9000)


def _name_twice(dice, parts, path):
    zipped(parts, path)
    with zipfile.ZipFile(path, "a") as file:
        name = dice.choice(sorted(parts))
        file.writestr(name, b"another")


def _paths(dice, parts, path):
    odd = ("../../x", "/etc/x", "C:\\x", "logs/", "a\0b", "logs/../x", "x" * 60_000, "é")
    zipped(parts | {dice.choice(odd): b"x"}, path)


def _link(dice, parts, path):
    zipped(parts, path)
    entry = zipfile.ZipInfo("logs/link")
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(path, "a") as file:
        file.writestr(entry, "/etc/passwd")


def _nested(dice, parts, path):
    zipped(parts, path)
    inner = path.read_bytes()
    zipped(parts | {"inner.zip": inner}, path)


def _bomb(dice, parts, path):
    name = dice.choice((LIST, CHECK, "logs/" + "a" * 24, *sorted(parts)))
    zipped(parts | {name: bytes(dice.choice((1_900_000, 30_000_000)))}, path)


def _hidden_bomb(dice, parts, path):
    """A part that says it is small and comes to much."""
    name = next((name for name in sorted(parts) if name.startswith("logs/")), LIST)
    size = len(parts[name])
    zipped(parts | {name: parts[name] + bytes(30_000_000)}, path)
    data = path.read_bytes()
    path.write_bytes(data.replace(struct.pack("<I", size + 30_000_000), struct.pack("<I", size)))


def _other_packing(dice, parts, path):
    zipped(parts, path, dice.choice((zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA, zipfile.ZIP_STORED)))


def _flag(dice, parts, path):
    """Say that a part is encrypted, or something else of it."""
    zipped(parts, path)
    data = bytearray(path.read_bytes())
    at = data.find(b"PK\1\2")
    at += dice.choice((6, 8, 10, 16, 20, 24, 28, 30, 32, 34, 38, 42))
    data[at] ^= dice.choice((1, 8, 255))
    path.write_bytes(bytes(data))


def _bits(dice, parts, path):
    zipped(parts, path)
    data = bytearray(path.read_bytes())
    for _ in range(dice.choice((1, 3, 20))):
        data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)
    path.write_bytes(bytes(data))


def _cut(dice, parts, path):
    zipped(parts, path)
    path.write_bytes(path.read_bytes()[: dice.randrange(path.stat().st_size)])


def _end(dice, parts, path):
    """Let the end say other counts, a directory elsewhere, or one of 64 bits."""
    zipped(parts, path)
    data = bytearray(path.read_bytes())
    at = len(data) - 22 + dice.choice((4, 6, 8, 10, 12, 16, 20))
    data[at : at + 2] = dice.choice((b"\xff\xff", b"\0\0", b"\1\0"))
    if dice.random() < 0.3:
        data[-22:-22] = b"PK\6\7" + bytes(16)
    path.write_bytes(bytes(data))


def _many(dice, parts, path):
    with zipfile.ZipFile(path, "w") as file:
        for name, data in parts.items():
            file.writestr(name, data)
        for n in range(dice.choice((100, 45_000)) if dice.random() < 0.2 else 100):
            file.writestr(f"logs/{n:024x}", b"")


TRICKS = (
    *(_junk_behind, _junk_before, _comment, _name_twice, _paths, _link, _nested, _bomb),
    *(_hidden_bomb, _other_packing, _flag, _flag, _bits, _bits, _cut, _end, _end, _many),
)
