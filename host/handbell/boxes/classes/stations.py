"""The station map: which box hangs at which station."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from handbell.base.errors import HandbellError, UsageError
from handbell.base.places import data_folder
from handbell.boxes.link.fields import shown, whole

from .kept import UNSOUND, keep

_number, _text = whole(1, 99), shown(1_000)


@dataclass
class Station:
    """A place on the floor: its box's id and its label."""

    box: str
    label: str = ""


class StationMap:
    """Stations by number, kept in ``stations.json``."""

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or data_folder() / "stations.json"
        self.stations: dict[int, Station] = {}
        try:
            if self.path.exists():
                stored = json.loads(self.path.read_text(encoding="utf-8"))
                self.stations = {
                    _number(int(n)): Station(_text(s["box"]), _text(s.get("label", "")))
                    for n, s in stored.items()
                }
        except UNSOUND as error:
            raise HandbellError(
                f"{self.path}: the station map can't be read",
                "Delete the file and run handbell stations --number",
            ) from error

    def place(self, number: int, box: str, label: str | None = None) -> str | None:
        """Hang a box at a station and return the id of the box it replaces there, if any."""
        if not 1 <= number <= 99:
            raise UsageError(f"{number} is no station", "Stations are numbered from 1 to 99")
        old = self.stations.get(number)
        for other in [n for n, s in self.stations.items() if s.box == box and n != number]:
            del self.stations[other]
        kept = old.label if old else ""
        self.stations[number] = Station(box, kept if label is None else label)
        return old.box if old and old.box != box else None

    def remove(self, box: str) -> bool:
        """Hang a box nowhere; whether it hung at a station."""
        number = self.number_of(box)
        return self.stations.pop(number, None) is not None

    def number_of(self, box: str) -> int:
        """Return the station where a box hangs, 0 if it is a spare."""
        return next((n for n, s in self.stations.items() if s.box == box), 0)

    def save(self) -> None:
        """Keep the map."""
        stored = {str(n): asdict(s) for n, s in sorted(self.stations.items())}
        keep(self.path, stored)
