"""The starts that may still stand on boxes, those on the wall among them."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from datetime import datetime
from typing import Any

from handbell.base.errors import HandbellError
from handbell.base.places import data_folder
from handbell.boxes.link.fields import shown, whole

from .kept import UNSOUND, keep

REMOTE = 0  # its station, which is none
ON_WORD = 0  # the instant of a start that the word of a remote makes; kept as when it was set, < 0
WORD_MS_MOST = 86_400_000  # so long such a start is told of: nobody leaves a box on for longer
UTC_MS_MOST = 4_102_444_800_000  # the year 2100; a start beyond it is none
_REMEDY = (
    "plug in and run handbell arm --cancel; to switch off helps only a box without a clock part"
)
_number, _utc_ms, _text = whole(REMOTE, 99), whole(-UTC_MS_MOST, UTC_MS_MOST), shown(1_000)


class Starts:
    """The starts that stand on boxes, in ``starts.json``: by box id its station and UTCs in ms.

    ``ON_WORD`` among them is the word of a remote; ``REMOTE`` is the station of one, which leads
    from then on.

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
            still_ms = self._now_ms - WORD_MS_MOST
            told = map(_utc_ms, instants)
            instants = [ms for ms in told if ms > self._now_ms or (ms <= 0 and -ms > still_ms)]
            self.expect(_text(box), _number(station), *instants)
        except UNSOUND:
            self._damaged = True

    def expect(self, box: str, station: int, *utc_ms: int) -> None:
        """Note that a box may have a start at each of these, besides those that it may have."""
        told = (ms or -self._now_ms for ms in utc_ms if ms <= UTC_MS_MOST)
        both = {*self.standing.get(box, (0, ()))[1], *told}
        if both:
            self.standing[box] = (station, tuple(sorted(both)))

    def drop(self, boxes: Iterable[str]) -> bool:
        """Forget the starts of boxes that have none any more; whether there is news to keep."""
        had = [self.standing.pop(box, None) for box in boxes]
        return any(had) or self._damaged

    def begun(self, boxes: Iterable[str]) -> bool:
        """Forget what waited for a remote's word on boxes whose logs came home; whether any did.

        The remote has said it then.
        """
        waited = {box for box in boxes if _on_word(self.standing.get(box, (0, ()))[1])}
        if not waited:
            return False
        waited |= {box for box, (station, _) in self.standing.items() if station == REMOTE}
        for box in waited:
            station, instants = self.standing.pop(box)
            self.expect(box, station, *(ms for ms in instants if ms > 0))
        return True

    def save(self) -> None:
        """Keep them, or say in ``trouble`` why not: boxes do what they were told all the same."""
        stored = {box: [station, *instants] for box, (station, instants) in self.standing.items()}
        try:
            keep(self._path, stored)
            self.trouble = ""
        except HandbellError as error:
            self.trouble = str(error)

    def words(self, but: Collection[str] = ()) -> str:
        """Return which stations may still start by themselves and when, "" for none.

        Those of the boxes ``but`` have been said already.
        """
        when: dict[str, list[str]] = {}
        told = [start for box, start in self.standing.items() if box not in but]
        leads = sorted(ms for station, some in told if station == REMOTE for ms in some)
        told = [start for start in told if start[0] != REMOTE]
        for station, instants in sorted(told, key=lambda start: (start[1], start[0])):
            said = dict.fromkeys(self._when(utc_ms) for utc_ms in instants)
            when.setdefault(" or ".join(said), []).append(str(station))
        starts = [
            f"Station{'s' if len(numbers) > 1 else ''} {', '.join(numbers)} may still start {at}"
            for at, numbers in when.items()
        ]
        if leads:
            at = " or ".join(dict.fromkeys(map(self._when, leads)))
            starts.append(f"The remote still leads what was to start {at}, and no other class")
        if self._damaged:
            may = "a box that is not plugged in may still start by itself"
            starts.append(f"{self._path} is damaged, and {may}")
        return f"{'; '.join(starts)}: {_REMEDY}" if starts else ""

    def _when(self, utc_ms: int) -> str:
        if utc_ms <= 0:
            return "on the remote's word"
        at, now = (datetime.fromtimestamp(ms / 1000).astimezone() for ms in (utc_ms, self._now_ms))
        day = "" if at.date() == now.date() else f" on {at:%A %d %B}"
        return f"at {at:%H:%M:%S}{day}"


def _on_word(instants: Collection[int]) -> bool:
    return any(ms <= 0 for ms in instants)
