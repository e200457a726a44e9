"""Virtual boxes for tests: the real firmware, hand-made timelines, presses on the pins."""

from __future__ import annotations

import hashlib
import struct
from pathlib import Path

from handbell.boxes.classes.arm import arm, survey
from handbell.boxes.classes.loaded import LoadedClass
from handbell.boxes.classes.send import Load, send
from handbell.boxes.classes.stations import StationMap
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet
from handbell.virtual.box import BoxSpec, VirtualBox
from handbell.virtual.world import World
from handbell_core import journal
from made import timeline_bytes

START_UTC_US = 1_700_000_010_000_000  # a whole multiple of 30 s


def digest(data: bytes) -> str:
    return hashlib.sha256(data).digest()[:12].hex()


def load(station: int, data: bytes) -> Load:
    return Load(station, f"Station {station}", digest(data), data, 2)


def timeline(spans_of, station: int = 1, **head) -> bytes:
    """A timeline of fresh spans: ``spans_of`` is called, since spans carry their place in time."""
    title = b"Class"
    return timeline_bytes(spans_of(), strings=(title, b"Station %d" % station, b"Burpee"), **head)


class Rig:
    """A world with boxes that hold a class."""

    def __init__(self, folder: Path, boxes: int = 1, **spec) -> None:
        self.folder = folder
        self.world = World(folder / "world", start_utc_us=START_UTC_US - 3_000_000)
        for n in range(1, boxes + 1):
            options = {
                "name": f"box{n}",
                "unique_id": bytes([0xAB, 0, 0, 0, 0, 0, 0, n]),
                "flash": folder / f"box{n}.flash",
                "buttons": 2,
            }
            self.world.add_box(BoxSpec(**(options | spec)))
        self.map = StationMap(folder / "map.json")
        for n, box in enumerate(self.world.boxes, 1):
            self.map.place(n, box.spec.unique_id.hex())

    def __enter__(self) -> Rig:
        return self

    def __exit__(self, *_: object) -> None:
        self.world.close()

    @property
    def box(self) -> VirtualBox:
        return self.world.boxes[0]

    def fleet(self) -> Fleet:
        return Fleet([box.url for box in self.world.boxes], self.world.clock)

    def connect(self, box: VirtualBox | None = None) -> Connection:
        connection = Connection((box or self.box).url, self.world.clock)
        connection.hello()
        return connection

    def ask(self, do: str, box: VirtualBox | None = None, **fields):
        with self.connect(box) as connection:
            return connection.request(do, **fields)

    def send(self, timelines: list[bytes], remote: bytes = b"") -> None:
        loads = [load(n, data) for n, data in enumerate(timelines, 1)]
        leads = Load(0, "Remote", digest(remote), remote, 4) if remote else None
        with self.fleet() as fleet:
            for outcome in send(fleet, loads, self.map, remote=leads):
                if outcome.error is not None:
                    raise outcome.error

    def sent(self, timelines: list[bytes]) -> LoadedClass:
        return LoadedClass.of(
            "Class",
            {n: digest(data) for n, data in enumerate(timelines, 1)},
            {n: place.box for n, place in self.map.stations.items() if n <= len(timelines)},
        )

    def arm(self, timelines: list[bytes], in_s: int = 10) -> int:
        """Arm every box and return the class start in world time."""
        sent = self.sent(timelines)
        start_us = (self.world.clock.utc_us() // 1_000_000 + in_s) * 1_000_000
        with self.fleet() as fleet:
            arm(fleet, survey(fleet, sent), sent, start_us // 1000)
        return start_us - self.world.clock.start_utc_us

    def runs(self, box: VirtualBox | None = None) -> list[bytes]:
        """Read every journal of a box without erasing it."""
        out = []
        with self.connect(box) as connection:
            index = 0
            while "name" in (entry := connection.request("list", of="runs", i=index)):
                if not entry.get("open"):
                    out.append(connection.fetch("runs", entry["name"], entry["size"]))
                index += 1
        return out


def start_by_hand(box: VirtualBox, at_us: int, slot: int = 0, hold_ms: int = 2_000) -> None:
    """Hold a button, let go, and hold it again from ``at_us`` on, 3 s after the first time."""
    box.press(slot, at_us - 3_000_000, hold_ms=hold_ms)
    box.press(slot, at_us, hold_ms=hold_ms)


def of_kind(data: bytes, kind: int) -> list[tuple[int, int, int, int, bytes]]:
    good, broken = journal.parse(data)
    assert broken == 0
    return [rec for rec in good if rec[0] == kind]


def reps(data: bytes) -> dict[tuple[int, int], int]:
    """Return the box's own count by (bib, window)."""
    out = {}
    for rec in of_kind(data, journal.RESULT):
        bib, count = struct.unpack("<HH", rec[4][:4])
        out[bib, rec[2]] = count
    return out
