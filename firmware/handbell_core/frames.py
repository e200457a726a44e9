"""The link's lines: a JSON object, a space, its CRC-32 in 8 hex digits, a newline.

Anything else on the wire is junk and is passed over: a prompt's banner, a stray control
character, half a line. CRC-32/ISO-HDLC as in zlib.
"""

import binascii
import json

VERSION = 1
LONGEST = 400  # bytes in one line, so that it fits the chip's 512-byte input ring
CHUNK = 168  # bytes of a file in one frame: 224 in base64


def encode(message: "dict[str, object]") -> bytes:
    """Return a message as one line."""
    text = json.dumps(message).encode()
    return b"%s %08x\n" % (text, binascii.crc32(text))


def decode(line: bytes) -> "dict[str, object] | None":
    """Return the message in a line without its newline, or None if it is junk."""
    line = line.rstrip(b"\r")
    if len(line) < 11 or len(line) > LONGEST or line[-9:-8] != b" ":
        return None
    at = line.find(b'{"')
    if at < 0:
        return None
    text = line[at:-9]
    try:
        if int(line[-8:], 16) != binascii.crc32(text):
            return None
        message = json.loads(text)
    except ValueError:
        return None
    return message if isinstance(message, dict) else None


class FrameReader:
    """Bytes in, messages out; survives junk and lines without end in bounded memory."""

    def __init__(self) -> None:
        self._line = bytearray()
        self._overlong = False
        self.junk = 0

    def feed(self, data: bytes) -> "list[dict[str, object]]":
        """Return the messages completed by ``data`` (a few bytes or many)."""
        out: "list[dict[str, object]]" = []
        start = 0
        while True:
            end = data.find(b"\n", start)
            part = data[start:] if end < 0 else data[start:end]
            if len(self._line) + len(part) > LONGEST:
                self._overlong = True
                self._line = bytearray()
            elif not self._overlong:
                self._line.extend(part)
            if end < 0:
                return out
            message = None if self._overlong else decode(bytes(self._line))
            if message is not None:
                out.append(message)
            elif self._overlong or self._line:
                self.junk += 1
            self._line = bytearray()
            self._overlong = False
            start = end + 1
