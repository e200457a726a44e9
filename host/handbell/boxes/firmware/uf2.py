"""Images for a board's boot mode: UF2 files, checked before one is put on a board.

The format is Microsoft's, https://github.com/microsoft/uf2. What the RP2040 asks beyond it (blocks
of 256 bytes, aligned to 256, its family's number) is in its data sheet, "USB Mass Storage
Interface".
"""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass
from pathlib import Path

from handbell.base.digest import whole_hex
from handbell.base.errors import HandbellError

_HEAD = struct.Struct("<8I")
_BLOCK = 512
_MAGIC = (0x0A324655, 0x9E5D5157)
_MAGIC_END = struct.pack("<I", 0x0AB16F30)
_HAS_FAMILY = 0x2000
_PAYLOAD = 256
FAMILY = 0xE48BFF56  # RP2040
FLASH = 0x10000000

# Where MicroPython keeps the board's files: behind this nothing of an image may lie.
FILES_AT, FILES_SIZE = 0xA0000, 352 * 4096

# What our images say of themselves, somewhere in the flash: image/build.py puts it there.
NAME = "Handbell image {version} {digest} for MicroPython {runtime}"
_NAME = re.compile(rb"Handbell image ([\w.+-]+) ([0-9a-f]{12}) for MicroPython (\d+\.\d+\.\d+)")

_AGAIN = "Build it again, or copy it anew from where it came"


@dataclass(frozen=True)
class BoardImage:
    """An image that was checked: its bytes from the flash's beginning, and what it holds."""

    path: Path
    flash: bytes
    sha256: str
    name: str
    version: str
    runtime: str


def read_image(path: Path) -> BoardImage:
    """Read and check an image of ours for the RP2040.

    Raises HandbellError when it can't be read, is damaged, is for another chip, would reach into
    the board's files or holds no firmware of ours.
    """
    data = _read(path)
    flash = flash_of(path, data)
    found = _NAME.search(flash)
    if found is None:
        raise HandbellError(
            f"{path} holds no Handbell firmware",
            "Name one that make image has made. MicroPython's own you copy by hand, see "
            "docs/makers/image.md",
        )
    name, version, runtime = (found[n].decode() for n in (0, 1, 3))
    return BoardImage(path, flash, whole_hex(data), name, version, runtime)


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise HandbellError(
            f"{path} can't be read ({error.strerror or error})", "Name an image, a .uf2 file"
        ) from error


def flash_of(path: Path, data: bytes) -> bytes:
    """Return what a file puts into the flash, from its beginning; raises HandbellError."""
    blocks, rest = divmod(len(data), _BLOCK)
    if not blocks or data[:8] != struct.pack("<2I", *_MAGIC):
        raise HandbellError(f"{path} is no UF2 image", "Name a .uf2 file that make image has made")
    if rest:
        raise HandbellError(f"{path} ends in the middle of a block", _AGAIN)
    flash = bytearray()
    for number in range(blocks):
        block = data[number * _BLOCK : (number + 1) * _BLOCK]
        *magic, flags, at, size, mine, of, family = _HEAD.unpack(block[: _HEAD.size])
        if tuple(magic) != _MAGIC or block[-4:] != _MAGIC_END:
            raise HandbellError(f"{path} is damaged in block {number}", _AGAIN)
        if not flags & _HAS_FAMILY or family != FAMILY:
            raise HandbellError(
                f"{path} is for another chip than the RP2040", "Name an image for the Pico"
            )
        if mine != number or of != blocks:
            raise HandbellError(
                f"{path} is not whole: block {mine} of {of} in place {number}", _AGAIN
            )
        if flags != _HAS_FAMILY or size != _PAYLOAD or at != FLASH + len(flash):
            raise HandbellError(f"{path}: block {number} is none that a Pico's flash takes", _AGAIN)
        flash += block[_HEAD.size : _HEAD.size + size]
    if len(flash) > FILES_AT:
        raise HandbellError(
            f"{path} reaches into the board's own files", "Don't put it on a board that has logs"
        )
    return bytes(flash)
