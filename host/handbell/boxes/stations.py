"""The station map: which box hangs at which station, and what was sent there last."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
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
        with temporary.open("w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())  # a laptop may run flat
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
    """What was sent last: the title, and for each station its timeline and the box it is for.

    ``timelines`` has every station that is to play, whether or not its box got its part;
    ``left_out`` those that were left out knowingly. ``gates`` and ``grid_s`` are the plan's.
    """

    title: str
    timelines: dict[int, str]
    boxes: dict[int, str]
    left_out: list[int] = field(default_factory=list)
    gates: int = 0
    grid_s: int = 0

    def without(self, stations: set[int]) -> SentClass:
        """Return it for fewer stations; raises UsageError for one that is not in it, or for all."""
        unknown = sorted(stations - set(self.timelines) - set(self.left_out))
        if unknown:
            raise UsageError(
                f"Station {unknown[0]} is not in {self.title}",
                "See handbell stations for the numbers",
            )
        timelines = {n: d for n, d in self.timelines.items() if n not in stations}
        if not timelines:
            raise UsageError(f"No box of {self.title} is left to start", "Leave fewer out")
        return replace(self, timelines=timelines)

    def save(self) -> None:
        """Keep it for ``arm``."""
        write_whole(_sent_path(), json.dumps(asdict(self), indent=1, ensure_ascii=False))


def last_sent() -> SentClass:
    """Return what was sent last; raises HandbellError when nothing was."""
    try:
        stored = json.loads(_sent_path().read_text(encoding="utf-8"))
        return SentClass(
            str(stored["title"]),
            {int(n): str(d) for n, d in stored["timelines"].items()},
            {int(n): str(b) for n, b in stored["boxes"].items()},
            [int(n) for n in stored.get("left_out", ())],
            int(stored.get("gates", 0)),
            int(stored.get("grid_s", 0)),
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


class Starts:
    """The starts that stand on boxes, in ``starts.json``: by box id its station and UTCs in ms.

    A box that is not plugged in keeps its start, so whoever takes starts back must know of it. One
    that may have either of two, since a change of it was cut short, has both here. Those gone by
    are dropped, and so is all that can't be read: the boxes themselves count.

    ``trouble`` says why they could not be kept the last time, "" when they were.
    """

    def __init__(self, now_utc_ms: int) -> None:
        self._path = data_folder() / "starts.json"
        self._now_ms = now_utc_ms
        self.standing: dict[str, tuple[int, tuple[int, ...]]] = {}
        self.trouble = ""
        try:
            stored = json.loads(self._path.read_text(encoding="utf-8"))
            found = {str(box): (int(n), tuple(map(int, ms))) for box, (n, *ms) in stored.items()}
        except (ValueError, TypeError, AttributeError, OSError):
            return
        for box, (station, instants) in found.items():
            self.expect(box, station, *(ms for ms in instants if ms > now_utc_ms))

    def expect(self, box: str, station: int, *utc_ms: int) -> None:
        """Note that a box may have a start at each of these, besides those that it may have."""
        both = {*self.standing.get(box, (0, ()))[1], *utc_ms}
        if both:
            self.standing[box] = (station, tuple(sorted(both)))

    def drop(self, boxes: list[str]) -> bool:
        """Forget the starts of boxes that have none any more; whether any of them had one."""
        had = [self.standing.pop(box, None) for box in boxes]
        return any(had)

    def save(self) -> None:
        """Keep them, or say in ``trouble`` why not: boxes do what they were told all the same."""
        stored = {box: [station, *instants] for box, (station, instants) in self.standing.items()}
        try:
            write_whole(self._path, json.dumps(stored, indent=1))
            self.trouble = ""
        except HandbellError as error:
            self.trouble = str(error)

    def words(self) -> str:
        """Return which stations may still start by themselves and when, "" for none."""
        when: dict[str, list[str]] = {}
        for station, instants in sorted(self.standing.values(), key=lambda at: (at[1], at[0])):
            said = dict.fromkeys(self._when(utc_ms) for utc_ms in instants)
            when.setdefault(" or ".join(said), []).append(str(station))
        starts = [
            f"Station{'s' if len(numbers) > 1 else ''} {', '.join(numbers)} may still start at {at}"
            for at, numbers in when.items()
        ]
        remedy = "plug in and run handbell arm --cancel, or switch off"
        return f"{'; '.join(starts)}: {remedy}" if starts else ""

    def _when(self, utc_ms: int) -> str:
        at, now = (datetime.fromtimestamp(ms / 1000).astimezone() for ms in (utc_ms, self._now_ms))
        day = "" if at.date() == now.date() else f" on {at:%A %d %B}"
        return f"{at:%H:%M:%S}{day}"
