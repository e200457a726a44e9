"""The station map: which box hangs at which station, and what was sent there last."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from handbell.errors import HandbellError, UsageError


def data_folder() -> Path:
    """Return the folder for the map and half-done transfers (HANDBELL_DATA names another)."""
    named = os.environ.get("HANDBELL_DATA")
    if named:
        return Path(named)
    from platformdirs import user_data_path

    return user_data_path("handbell")


def write_whole(path: Path, text: str) -> None:
    """Write a file so that it is either the old one or the new one, never half of it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(path.name + ".tmp")
    temporary.write_text(text, encoding="utf-8")
    temporary.replace(path)


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
        if self.path.exists():
            try:
                stored = json.loads(self.path.read_text(encoding="utf-8"))
                self.stations = {int(n): Station(**s) for n, s in stored.items()}
            except (ValueError, TypeError, OSError) as error:
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

    def number_of(self, box: str) -> int:
        """Return the station where a box hangs, 0 if it is a spare."""
        return next((n for n, s in self.stations.items() if s.box == box), 0)

    def save(self) -> None:
        """Keep the map."""
        stored = {str(n): asdict(s) for n, s in sorted(self.stations.items())}
        write_whole(self.path, json.dumps(stored, indent=1, ensure_ascii=False))


def remember_sent(sent: dict[str, Any]) -> None:
    """Keep what was sent to which station, for ``arm``."""
    write_whole(data_folder() / "sent.json", json.dumps(sent, indent=1, ensure_ascii=False))


def last_sent() -> dict[str, Any]:
    """Return what was sent last: title, plan digest, and timeline digest by station."""
    path = data_folder() / "sent.json"
    if not path.exists():
        raise HandbellError("Nothing was sent to the boxes yet", "Run handbell send PLAN first")
    sent: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return sent
