"""UF2 images for tests, written by the format's description: https://github.com/microsoft/uf2."""

import struct
from pathlib import Path

from handbell.boxes.firmware.uf2 import NAME


def uf2_file(flash: bytes, family=0xE48BFF56, at=0x10000000, **fields) -> bytes:
    """A whole UF2 file that puts some bytes into the flash; fields are for one that is wrong."""
    pieces = [flash[n : n + 256].ljust(256, b"\0") for n in range(0, len(flash), 256)]
    blocks = []
    for number, piece in enumerate(pieces):
        address = at + 256 * number
        head = [0x0A324655, 0x9E5D5157, 0x2000, address, 256, number, len(pieces), family]
        for place, value in fields.get("block", {}).get(number, {}).items():
            head[place] = value
        block = struct.pack("<8I", *head) + piece
        blocks.append(block.ljust(508, b"\0") + struct.pack("<I", 0x0AB16F30))
    return b"".join(blocks)


def name(version="0.2.0", digest="0123456789ab") -> str:
    return NAME.format(version=version, digest=digest, runtime="1.28.0")


def image_file(path: Path, version="0.2.0", digest="0123456789ab", size=3_000) -> Path:
    """Write an image of ours that says such a name."""
    flash = bytes(range(256)) * 4 + name(version, digest).encode() + b"\0"
    path.write_bytes(uf2_file(flash.ljust(size, b"\xa5")))
    return path
