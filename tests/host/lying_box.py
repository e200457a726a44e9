"""A box that answers whatever a test wants, on a real port of this computer."""

from __future__ import annotations

import binascii
import hashlib
import socket
import threading
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

from handbell_core import faults, frames, journal, timeline

ID = "e66164084b0000a1"
Message = dict[str, Any]


def digest(data: bytes) -> str:
    return hashlib.sha256(data).digest()[:12].hex()


def no_pause_at_closing(monkeypatch):
    """The serial library waits a third of a second whenever it closes a socket; use as a fixture."""
    from serial.urlhandler import protocol_socket

    monkeypatch.setattr(protocol_socket, "time", SimpleNamespace(sleep=lambda _: None))


class LyingBox:
    """A sound box but for ``lies``: by request, a function of (message, honest reply).

    A lie returns the reply to give; ``no`` in it is a refusal. ``runs`` and ``timelines`` are the
    files it holds by name; those in ``dead`` can't be read.
    """

    def __init__(self, box_id: str = ID, station: int = 1) -> None:
        self.lies: dict[str, Callable[[Message, Message], Message]] = {}
        self.files: dict[str, dict[str, bytes]] = {"runs": {}, "timelines": {}}
        self.dead: set[str] = set()
        self.lists_dead = True  # as the present firmware does, with ``bad``
        self.selected = ""
        self.start_utc_ms: int | None = None
        self.asked: list[Message] = []
        self.part = b""
        self.hello = {
            **{"id": box_id, "fw": "0", "ln": frames.VERSION, "tl": timeline.VERSION},
            **{"jn": journal.VERSION, "station": station, "label": "", "buttons": 2, "boot": 1},
        }
        self._server = socket.create_server(("127.0.0.1", 0))
        self._threads = [threading.Thread(target=self._serve, daemon=True)]
        self._threads[0].start()

    @property
    def url(self) -> str:
        return f"socket://127.0.0.1:{self._server.getsockname()[1]}"

    def __enter__(self) -> LyingBox:
        return self

    def __exit__(self, *_: object) -> None:
        self._server.close()

    def _serve(self) -> None:
        while True:
            try:
                host, _ = self._server.accept()
            except OSError:
                return
            thread = threading.Thread(target=self._talk, args=(host,), daemon=True)
            thread.start()

    def _talk(self, host: socket.socket) -> None:
        reader = frames.FrameReader()
        with host:
            while data := host.recv(4096):
                for message in reader.feed(data):
                    self.asked.append(message)
                    host.sendall(frames.encode(self._reply(message)))

    def _reply(self, message: Message) -> Message:
        do = str(message["do"])
        try:
            facts = getattr(self, f"_{do}", lambda _: {})(message)
        except OSError:
            facts = {"no": faults.FLASH_ERROR}
        if do in self.lies:
            facts = self.lies[do](message, facts)
        return {"q": message["q"], "s": message["s"], **facts}

    def _hello(self, message: Message) -> Message:
        return dict(self.hello)

    def _status(self, message: Message) -> Message:
        start = {} if self.start_utc_ms is None else {"utc_ms": self.start_utc_ms}
        return {
            **start,
            **{
                "state": "set" if start else "ready",
                "sel": self.selected,
                "mv": 4000,
                "usb": True,
                "low": False,
            },
            **{"kb": 900, "runs": len(self.files["runs"]), "fault": 0, "clock": True},
            **{"rtc": False, "age_s": 1, "bound_us": 400},
        }

    def _time(self, message: Message) -> Message:
        import time

        now_us = time.monotonic_ns() // 1000
        return {"t2": now_us, "t3": now_us}

    def _list(self, message: Message) -> Message:
        files = self.files[message["of"]]
        reply: Message = {"n": len(files)}
        if 0 <= message["i"] < len(files):
            name = sorted(files)[message["i"]]
            if name not in self.dead:
                data = files[name]
                return reply | {"name": name, "size": len(data), "d": digest(data)}
            if not self.lists_dead:
                raise OSError(5)
            reply |= {"name": name, "bad": 1}
        return reply

    def _get(self, message: Message) -> Message:
        if message["name"] in self.dead:
            raise OSError(5)
        data = self.files[message["of"]].get(message["name"])
        if data is None:
            return {"no": faults.NOT_FOUND}
        part = data[message["at"] : message["at"] + message["n"]]
        return {"b": binascii.b2a_base64(part).decode().rstrip()}

    def _drop(self, message: Message) -> Message:
        files = self.files[message["of"]]
        if digest(files.get(message["name"], b"")) != message["d"]:
            return {"no": faults.NOT_WHOLE}
        del files[message["name"]]
        return {"gone": True}

    def _put(self, message: Message) -> Message:
        if message["d"] in self.files["timelines"]:
            return {"at": -1}
        if message["b"] and message["at"] == len(self.part):
            self.part += binascii.a2b_base64(message["b"])
        return {"at": len(self.part)}

    def _keep(self, message: Message) -> Message:
        self.files["timelines"][message["d"]] = self.part
        self.part = b""
        return self._select(message)

    def _select(self, message: Message) -> Message:
        name = message["d"]
        if name in self.dead or digest(self.files["timelines"].get(name, b"")) != name:
            return {"no": faults.NOT_FOUND}
        self.selected, self.start_utc_ms = name, None
        return {}

    def _arm(self, message: Message) -> Message:
        self.start_utc_ms = message["utc_ms"]
        return {"utc_ms": message["utc_ms"]}

    def _disarm(self, message: Message) -> Message:
        self.start_utc_ms = None
        return {}

    def _test(self, message: Message) -> Message:
        return {
            "display": {"answers": True},
            "lamp": {"lamps": 8},
            "buttons": {"closed": [0, 0], "pressed": [1, 1]},
            "battery": {"mv": 4000},
            "flash": {"same": True, "us": 40_000},
            "clock part": {"fitted": False, "stopped": False},
        }.get(message["part"], {})
