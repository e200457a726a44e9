"""The station map: which box hangs at which station, and what was sent there last."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from handbell.base.errors import HandbellError, UsageError
from handbell.base.files import write_whole
from handbell.base.places import DATA, data_folder
from handbell.boxes.link.replies import shown, whole

# What a damaged file may raise while it is read: none of it says more than that it is damaged.
UNSOUND = (ValueError, KeyError, TypeError, AttributeError, RecursionError, OSError)
UTC_MS_MOST = 4_102_444_800_000  # the year 2100; a start beyond it is none
_number, _count, _utc_ms = whole(1, 99), whole(0, 1 << 31), whole(0, UTC_MS_MOST)
_text = shown(1_000)


def _write(path: Path, value: object) -> None:
    text = json.dumps(value, indent=1, ensure_ascii=False)
    write_whole(path, text, f"Free the folder, or name another with {DATA}", private=True)


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

    def number_of(self, box: str) -> int:
        """Return the station where a box hangs, 0 if it is a spare."""
        return next((n for n, s in self.stations.items() if s.box == box), 0)

    def save(self) -> None:
        """Keep the map."""
        stored = {str(n): asdict(s) for n, s in sorted(self.stations.items())}
        _write(self.path, stored)


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
        _write(_sent_path(), asdict(self))


def last_sent() -> SentClass:
    """Return what was sent last; raises HandbellError when nothing was."""
    try:
        stored = json.loads(_sent_path().read_text(encoding="utf-8"))
        return SentClass(
            _text(stored["title"]),
            {_number(int(n)): _text(d) for n, d in stored["timelines"].items()},
            {_number(int(n)): _text(b) for n, b in stored["boxes"].items()},
            [_number(n) for n in stored.get("left_out", ())],
            _count(stored.get("gates", 0)),
            _count(stored.get("grid_s", 0)),
        )
    except FileNotFoundError:
        raise HandbellError(
            "Nothing was sent to the boxes yet", "Run handbell send PLAN first"
        ) from None
    except UNSOUND as error:
        raise HandbellError(
            f"{_sent_path()}: what was sent last can't be read", "Run handbell send PLAN again"
        ) from error


def _sent_path() -> Path:
    return data_folder() / "sent.json"


class Starts:
    """The starts that stand on boxes, in ``starts.json``: by box id its station and UTCs in ms.

    A box that is not plugged in keeps its start, so whoever takes starts back must know of it. One
    that may have either of two, since a change of it was cut short, has both here. Those gone by
    are dropped, and so is each that can't be read, which ``words`` then says: the boxes count.

    ``trouble`` says why they could not be kept the last time, "" when they were.
    """

    def __init__(self, now_utc_ms: int) -> None:
        self._path = data_folder() / "starts.json"
        self._now_ms = now_utc_ms
        self.standing: dict[str, tuple[int, tuple[int, ...]]] = {}
        self.trouble = ""
        self._damaged = False
        try:
            stored = json.loads(self._path.read_text(encoding="utf-8")).items()
        except (FileNotFoundError, NotADirectoryError):
            return
        except UNSOUND:
            self._damaged = True
            return
        for box, told in stored:
            self._read(box, told)

    def _read(self, box: str, told: Any) -> None:
        try:
            station, *instants = told
            instants = [ms for ms in map(_utc_ms, instants) if ms > self._now_ms]
            self.expect(_text(box), _number(station), *instants)
        except UNSOUND:
            self._damaged = True

    def expect(self, box: str, station: int, *utc_ms: int) -> None:
        """Note that a box may have a start at each of these, besides those that it may have."""
        both = {*self.standing.get(box, (0, ()))[1], *(ms for ms in utc_ms if ms <= UTC_MS_MOST)}
        if both:
            self.standing[box] = (station, tuple(sorted(both)))

    def drop(self, boxes: list[str]) -> bool:
        """Forget the starts of boxes that have none any more; whether there is news to keep."""
        had = [self.standing.pop(box, None) for box in boxes]
        return any(had) or self._damaged

    def save(self) -> None:
        """Keep them, or say in ``trouble`` why not: boxes do what they were told all the same."""
        stored = {box: [station, *instants] for box, (station, instants) in self.standing.items()}
        try:
            _write(self._path, stored)
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
        if self._damaged:
            may = "a box that is not plugged in may still start by itself"
            starts.append(f"{self._path} is damaged, and {may}")
        remedy = "plug in and run handbell arm --cancel, or switch off"
        return f"{'; '.join(starts)}: {remedy}" if starts else ""

    def _when(self, utc_ms: int) -> str:
        at, now = (datetime.fromtimestamp(ms / 1000).astimezone() for ms in (utc_ms, self._now_ms))
        day = "" if at.date() == now.date() else f" on {at:%A %d %B}"
        return f"{at:%H:%M:%S}{day}"
