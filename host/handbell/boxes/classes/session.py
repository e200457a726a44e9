"""The class on the boxes: each station of the plan with its state, and starts that may stand.

Sending, arming and collecting share it. It alone writes the two small files that it lives in.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict, replace
from pathlib import Path

from handbell.base.errors import HandbellError
from handbell.base.places import data_folder
from handbell.boxes.link.fields import form, shown, whole
from handbell_core.telegram import KEY_SIZE

from .kept import UNSOUND, keep
from .loaded import LoadedClass, Place, State
from .starts import ON_WORD, REMOTE, UTC_MS_MOST, Starts

_number, _count, _utc_ms = whole(1, 99), whole(0, 1 << 31), whole(0, UTC_MS_MOST)
_text, _key = shown(1_000), form(f"([0-9a-f]{{{2 * KEY_SIZE}}})?")


class Session:
    """The class that was sent last (``class.json``), and ``starts`` that may still stand.

    A class that a remote leads is kept (``led.json``) when another plan is sent meanwhile.
    ``trouble`` says why the class could not be kept, "" when it was: arming goes by it.
    """

    def __init__(self, now_utc_ms: int) -> None:
        self._path = data_folder() / "class.json"
        self._led_path = data_folder() / "led.json"
        self.now_utc_ms = now_utc_ms
        self.starts = Starts(now_utc_ms)
        self.trouble = ""

    def last(self) -> LoadedClass:
        """Return the class that was sent last; raises HandbellError when there is none."""
        return self._read(self._path)

    def led(self) -> LoadedClass | None:
        """Return the class that a remote may still lead though another was sent since, or None.

        Raises HandbellError when it can't be read.
        """
        return self._read(self._led_path) if self._led_path.exists() else None

    def _read(self, path: Path) -> LoadedClass:
        try:
            stored = json.loads(path.read_text(encoding="utf-8"))
            places = {
                _number(int(n)): Place(
                    _text(place["digest"]),
                    _text(place["box"]),
                    State(place["state"]),
                    _utc_ms(place["start_utc_ms"]),
                )
                for n, place in stored["places"].items()
            }
            return LoadedClass(
                _text(stored["title"]),
                places,
                _count(stored["gates"]),
                _count(stored["grid_s"]),
                _text(stored.get("remote", "")),
                _key(stored.get("key", "")),
            )
        except FileNotFoundError:
            raise HandbellError(
                "Nothing was sent to the boxes yet", "Run handbell send PLAN first"
            ) from None
        except UNSOUND as error:
            raise HandbellError(
                f"{path}: what was sent last can't be read", "Run handbell send PLAN again"
            ) from error

    def keep(self, loaded: LoadedClass) -> None:
        """Keep a class; raises HandbellError when it can't be."""
        keep(self._path, asdict(loaded))

    def sent(
        self,
        loaded: LoadedClass,
        got: Collection[str],
        failed: Collection[str],
        remotes: Collection[str] = (),
    ) -> list[str]:
        """Note which boxes and remotes have the plan now, and which boxes failed, by their ids.

        Where no box took its part, what was sent before still counts. Returned are the boxes whose
        start is taken back by it.
        """
        taken_back = [box for box in (*got, *remotes) if box in self.starts.standing]
        if self.starts.drop((*got, *remotes)):
            self.starts.save()
        if not got:
            return taken_back
        for place in loaded.playing.values():
            if place.box in failed or place.box not in got:
                place.state = State.FAILED
        try:
            self._keep_led(got)
            self.keep(loaded)
        except HandbellError as error:  # the boxes have what they got all the same
            self.trouble = str(error)
        return taken_back

    def arming(
        self,
        loaded: LoadedClass,
        start_utc_ms: int,
        before: Mapping[str, int],
        remotes: Collection[str] = (),
    ) -> None:
        """Note, before any box is asked, that each may start then or as it was set ``before``.

        Whatever ends this program, no box has a start that is not kept. At 0 the word of the remote
        begins the class.
        """
        self._forget_led()
        self._lead("")
        for box, n in (loaded.stations | dict.fromkeys(remotes, REMOTE)).items():
            self.starts.expect(box, n, start_utc_ms, before.get(box, start_utc_ms))
        self.starts.save()

    def armed(
        self,
        loaded: LoadedClass,
        start_utc_ms: int,
        key: str = "",
        remotes: Collection[str] = (),
    ) -> None:
        """Note that each box of a class is set to start then, and no other time; and who leads."""
        boxes = loaded.stations | dict.fromkeys(remotes, REMOTE)
        self.starts.drop(boxes)
        for box, n in boxes.items():
            self.starts.expect(box, n, start_utc_ms)
        self.starts.save()
        self._mark(loaded.stations, State.ARMED, start_utc_ms)
        self._lead(key)

    def joined(self, loaded: LoadedClass, boxes: Mapping[int, str], awaits: bool) -> None:
        """Note which box is at a station of a class that is on; ``awaits`` the remote's word."""
        if awaits:
            for n, box in boxes.items():
                self.starts.expect(box, n, ON_WORD)
            self.starts.save()
        try:
            loaded = loaded.hanging(boxes)
            for n in boxes:
                loaded.places[n].state = State.ARMED
            was_kept_aside = bool(loaded.key) and not self.last().key
            keep(self._led_path if was_kept_aside else self._path, asdict(loaded))
        except HandbellError as error:
            self.trouble = str(error)

    def _keep_led(self, got: Collection[str]) -> None:
        """Keep the class that a remote leads, as long as a box of it may play it."""
        try:
            loaded = self.led() or self.last()
        except HandbellError:
            return
        if loaded.key and set(loaded.stations) - set(got):
            keep(self._led_path, asdict(loaded))
        else:
            self._forget_led()

    def _led_collected(self, boxes: Collection[str]) -> None:
        """Forget the class that a remote led once all logs of it came home."""
        with suppress(HandbellError):
            loaded = self.led()
            if loaded is None:
                return
            for place in loaded.places.values():
                if place.box in boxes and place.state is State.ARMED:
                    place.state = State.COLLECTED
            if any(place.state is State.ARMED for place in loaded.places.values()):
                keep(self._led_path, asdict(loaded))
            else:
                self._forget_led()

    def _forget_led(self) -> None:
        with suppress(OSError):
            self._led_path.unlink(missing_ok=True)

    def _lead(self, key: str) -> None:
        """Keep the key of the remote that leads, which ``join`` gives to more boxes."""
        try:
            loaded = self.last()
            if loaded.key != key:
                self.keep(replace(loaded, key=key))
        except HandbellError as error:
            self.trouble = str(error) if key else self.trouble

    def taken_back(self, boxes: Collection[str]) -> None:
        """Note that these boxes have no start."""
        if self.starts.drop(boxes):
            self.starts.save()
        self._mark(boxes, State.HOLDS, 0, of=State.ARMED, begun=False)

    def collected(self, boxes: Collection[str]) -> list[int]:
        """Note whose logs came home; return the stations that played and are still awaited."""
        self._led_collected(boxes)
        if self.starts.begun(boxes):
            self.starts.save()
        self._mark(boxes, State.COLLECTED, 0, of=State.ARMED, begun=True)
        try:
            places = self.last().playing.items()
        except HandbellError:
            return []
        return [n for n, place in places if place.state is State.ARMED and self._begun(place)]

    def _begun(self, place: Place) -> bool:
        return place.start_utc_ms <= self.now_utc_ms

    def _mark(
        self,
        boxes: Iterable[str],
        state: State,
        start_utc_ms: int,
        of: State | None = None,
        begun: bool | None = None,
    ) -> None:
        """Give these boxes a state, but only those in state ``of``, and ``begun`` or not yet."""
        chosen = set(boxes)
        try:
            loaded = self.last()
            for place in loaded.places.values():
                fits = of in (None, place.state) and begun in (None, self._begun(place))
                if place.box in chosen and fits:
                    place.state, place.start_utc_ms = state, start_utc_ms
            self.keep(loaded)
        except HandbellError:
            pass  # it is not there, or the folder is full: starts are told of by their own file
