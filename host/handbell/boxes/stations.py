"""The station map: which box hangs at which station, and what was sent there last."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

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
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = path.with_name(path.name + ".tmp")
        temporary.write_text(text, encoding="utf-8")
        temporary.replace(path)
    except OSError as error:
        raise HandbellError(
            f"{path} can't be written ({error.strerror or error})",
            "Free the folder, or name another with HANDBELL_DATA",
        ) from error


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
                self.stations = {int(n): Station(**s) for n, s in stored.items()}
        except (ValueError, TypeError, AttributeError, OSError) as error:
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


@dataclass
class SentClass:
    """What was sent last: the title, and by station the timeline's digest and the box's id."""

    title: str
    timelines: dict[int, str]
    boxes: dict[int, str]

    def save(self) -> None:
        """Keep it for ``arm``."""
        stored = {
            "title": self.title,
            "timelines": {str(n): d for n, d in self.timelines.items()},
            "boxes": {str(n): b for n, b in self.boxes.items()},
        }
        write_whole(_sent_path(), json.dumps(stored, indent=1, ensure_ascii=False))


def last_sent() -> SentClass:
    """Return what was sent last; raises HandbellError when nothing was."""
    try:
        stored = json.loads(_sent_path().read_text(encoding="utf-8"))
        return SentClass(
            str(stored["title"]),
            {int(n): str(d) for n, d in stored["timelines"].items()},
            {int(n): str(b) for n, b in stored["boxes"].items()},
        )
    except FileNotFoundError:
        raise HandbellError(
            "Nothing was sent to the boxes yet", "Run handbell send PLAN first"
        ) from None
    except (ValueError, KeyError, TypeError, AttributeError, OSError) as error:
        raise HandbellError(
            f"{_sent_path()}: what was sent last can't be read", "Run handbell send PLAN again"
        ) from error


def _sent_path() -> Path:
    return data_folder() / "sent.json"
