"""What may go wrong on a box's wire: by name, a way to answer a request, or to talk unasked."""

import binascii
import json
import socket
import time
from collections.abc import Callable

from handbell_core import frames

Message = dict
REPLY_S = 0.15  # how long a host waits for an answer here, instead of 0.7: all on this computer

Wire = Callable[[socket.socket, Message, bytes, int], bool]
"""Answers a request on the wire, given the honest line and how many went before; False: hang up."""


def _crc(text: bytes) -> bytes:
    return b"%s %08x\n" % (text, binascii.crc32(text))


def _sends(make: Callable[[Message, bytes], bytes]) -> Wire:
    def wire(host: socket.socket, message: Message, line: bytes, heard: int) -> bool:
        host.sendall(make(message, line))
        return True

    return wire


def _answers(**more) -> Wire:
    return _sends(lambda m, line: frames.encode({"q": m["q"], "s": m["s"], **more}))


def _dripped(host: socket.socket, message: Message, line: bytes, heard: int) -> bool:
    for n in range(len(line)):
        host.sendall(line[n : n + 1])
    return True


def _late(after_s: float) -> Wire:
    def wire(host: socket.socket, message: Message, line: bytes, heard: int) -> bool:
        time.sleep(after_s)  # the wire is real, and so is this wait
        host.sendall(line)
        return True

    return wire


def _flood(what: Callable[[Message], bytes]) -> Wire:
    def wire(host: socket.socket, message: Message, line: bytes, heard: int) -> bool:
        while True:  # until the host hangs up
            host.sendall(what(message) * 50)

    return wire


def _hangs_up(at: int) -> Wire:
    def wire(host: socket.socket, message: Message, line: bytes, heard: int) -> bool:
        if heard >= at:
            return False
        host.sendall(line)
        return True

    return wire


def _every(nth: int) -> Wire:
    def wire(host: socket.socket, message: Message, line: bytes, heard: int) -> bool:
        if heard % nth == 0:
            host.sendall(line)
        return True

    return wire


def _silent_after(count: int) -> Wire:
    def wire(host: socket.socket, message: Message, line: bytes, heard: int) -> bool:
        if heard <= count:
            host.sendall(line)
        return True

    return wire


NOISES: dict[str, Wire] = {
    "silence": _silent_after(0),
    "silence after hello": _silent_after(1),
    "silence after 5": _silent_after(5),
    "silence after 40": _silent_after(40),
    "every second answer": _every(2),
    "every third answer": _every(3),
    "hangs up at once": _hangs_up(1),
    "hangs up after hello": _hangs_up(2),
    "hangs up after 7": _hangs_up(8),
    "an echo": _sends(lambda m, line: frames.encode(m)),
    "an echo before the answer": _sends(lambda m, line: frames.encode(m) + line),
    "byte by byte": _dripped,
    "late": _late(REPLY_S * 0.7),
    "too late": _late(REPLY_S * 1.2),
    "half a line": _sends(lambda m, line: line[: len(line) // 2]),
    "a line without its end": _sends(lambda m, line: line[:-1]),
    "a wrong bit": _sends(lambda m, line: line[:5] + bytes([line[5] ^ 4]) + line[6:]),
    "a wrong sum": _sends(lambda m, line: line[:-9] + b"00000000\n"),
    "another number": _sends(lambda m, line: frames.encode({"q": m["q"] + 1, "s": m["s"]})),
    "another session": _sends(lambda m, line: frames.encode({"q": m["q"], "s": "x"})),
    "the answer twice": _sends(lambda m, line: line * 2),
    "the answer a hundred times": _sends(lambda m, line: line * 100),
    "junk before": _sends(lambda m, line: b"\r\n>>> \x04\x03" + line),
    "junk after": _sends(lambda m, line: line + b"\xff\xfe{"),
    "noughts": _sends(lambda m, line: b"\x00" * 300),
    "a page of 255": _sends(lambda m, line: b"\xff" * 65_536),
    "a line without end": _sends(lambda m, line: b"{" + b"a" * 65_536),
    "line ends": _sends(lambda m, line: b"\n" * 65_536),
    "signs that a terminal obeys": _sends(lambda m, line: b"\x1b[2J\x1b]0;x\x07\n"),
    "broken letters": _sends(lambda m, line: _crc(b'{"q": "\xff\xfe"}')),
    "a list": _sends(lambda m, line: _crc(b'[{"q": 1}]')),
    "brackets": _sends(lambda m, line: _crc(b'{"q": ' + b"[" * 180 + b"]" * 180 + b"}")),
    "a huge number": _sends(lambda m, line: _crc(b'{"q": 1e999, "s": ' + b"9" * 300 + b"}")),
    "an empty answer": _answers(),
    "a refusal of nought": _answers(no=0),
    "a refusal in words": _answers(no="\x1b[31mno"),
    "a refusal nobody knows": _answers(no=255),
    "a request as the answer": _answers(do="hello", id="e66164084b0000a1"),
    "a line too long": _sends(
        lambda m, line: _crc(json.dumps({"q": m["q"], "x": "y" * 500}).encode())
    ),
    "a flood of answers": _flood(lambda m: frames.encode({"q": -1, "s": m["s"]})),
    "a flood of junk": _flood(lambda m: b"\xff>>> "),
    "a flood without a line": _flood(lambda m: b"x"),
}


BABBLES = {
    "talk of junk": b"\xff\x1b[2J" * 9,
    "talk of a prompt": b"raw REPL; CTRL-B to exit\r\n>" * 9,
    "talk of a prompt that starts": b"raw REPL; CTRL-B to exit\r\n>soft reboot\r\nraw REPL; CTRL-B to exit\r\n>R\x01OK",
    "talk of ends": b"\x04" * 99,
}
