"""Virtual boxes live in the terminal: watched, and tapped from the keyboard."""

from __future__ import annotations

import contextlib
import os
import select
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

from handbell.base.errors import HandbellError
from handbell.virtual.box import VirtualBox
from handbell.virtual.world import World

if TYPE_CHECKING:
    from rich.console import Console

TAP_MS = 120
_REFRESH_S = 0.1
_QUIT = "q"
# Escape sequences of the arrow keys, as far as a terminal sends them alike.
_MOVES = {"\t": 1, "\x1b[C": 1, "\x1b[B": 1, "\x1b[D": -1, "\x1b[A": -1, "\x1b[Z": -1}
_BUTTON_KEYS = "asdf"


class Controls:
    """What the keys do; `selected` is the place of the box they act on.

    A terminal tells no key that is let go, so a hold begins with one key and ends with the next.
    """

    def __init__(self, world: World) -> None:
        self._world = world
        self._down: dict[tuple[int, int], int] = {}  # since when, by box and button
        self.selected = 0
        self.message = ""

    @property
    def words(self) -> str:
        """What is to be read above the boxes: each button that is down, and the message."""
        boxes, now_us = self._world.boxes, self._world.now_us()
        held = [
            f"{boxes[n].name} button {slot + 1} is down {(now_us - since_us) / 1e6:.1f} s: "
            f"{_BUTTON_KEYS[slot].upper()} lets go"
            for (n, slot), since_us in self._down.items()
        ]
        return "   ".join([*held, self.message] if self.message else held)

    def press(self, key: str) -> None:
        """Acts on one key; what went wrong becomes the message."""
        self.message = ""
        boxes = self._world.boxes
        if not boxes:
            return
        if key in _MOVES:
            self.selected = (self.selected + _MOVES[key]) % len(boxes)
        elif key.isdigit() and 0 < int(key) <= len(boxes):
            self.selected = int(key) - 1
            self._press(0, hold=False)
        elif len(key) == 1 and key.lower() in _BUTTON_KEYS:
            slot = _BUTTON_KEYS.index(key.lower())
            self._press(slot, hold=key.isupper())
        elif key in _ACTIONS:
            try:
                self.message = _ACTIONS[key](boxes[self.selected])
            except HandbellError as fault:
                self.message = str(fault)

    def _press(self, slot: int, hold: bool) -> None:
        """Tap a button of the selected box, or press it down; one that is down is let go."""
        box, place = self._world.boxes[self.selected], (self.selected, slot)
        if place in self._down:
            now_us = self._world.now_us()
            held_s = (now_us - self._down.pop(place)) / 1e6
            box.edges([(now_us, slot, 1)])
            self.message = f"{box.name} button {slot + 1} held {held_s:.1f} s"
        elif slot >= box.spec.buttons:
            self.message = f"{box.name} has no button {slot + 1}"
        elif not box.is_alive():
            self.message = f"{box.name} has no power"
        elif hold:
            self._down[place] = self._world.now_us()
            box.edges([(self._down[place], slot, 0)])
        else:
            box.press(slot, hold_ms=TAP_MS)
            self.message = f"{box.name} button {slot + 1} tapped"


def _cable(box: VirtualBox) -> str:
    if box.is_plugged:
        box.unplug()
        return f"{box.name}: cable out"
    box.plug_in()
    return f"{box.name}: cable in"


def _power(box: VirtualBox) -> str:
    if box.is_alive():
        box.cut_power()
        return f"{box.name}: power off"
    box.power_up()
    return f"{box.name}: power on"


_ACTIONS: dict[str, Callable[[VirtualBox], str]] = {"u": _cable, "p": _power}


def run_terminal(
    world: World,
    keys: Iterable[str] | None = None,
    plain: bool = False,
    console: Console | None = None,
    hint: str = "",
) -> None:
    """Shows a world's boxes until `q` or Ctrl-C; the terminal is left as it was.

    Without a terminal, or with `plain`, prints the addresses and stays until Ctrl-C. `keys` takes
    the keyboard's place, one key a picture; it ends with them. `hint` stays below the boxes.
    """
    with contextlib.suppress(KeyboardInterrupt):
        if plain or (keys is None and not (sys.stdin.isatty() and sys.stdout.isatty())):
            _run_plain(world)
        elif keys is not None:
            _run_live(world, keys, console, hint)
        else:
            with _single_keys():
                _run_live(world, _keyboard(), console, hint)


def _run_plain(world: World) -> None:
    for box in world.boxes:
        print(f"{box.name}  {box.url}", flush=True)
    print("Stop with Ctrl-C.", flush=True)
    told: set[str] = set()
    while True:
        time.sleep(_REFRESH_S)
        for box in world.boxes:
            if box.failure and box.name not in told:
                told.add(box.name)
                print(box.failure, flush=True)


def _run_live(world: World, keys: Iterable[str], console: Console | None, hint: str) -> None:
    from rich.console import Console
    from rich.live import Live

    from handbell.virtual.terminal_view import view

    console = console or Console()
    controls = Controls(world)

    with Live(console=console, screen=True, auto_refresh=False) as live:
        for key in keys:
            if key == _QUIT:
                return
            if key:
                controls.press(key)
            width, height = console.size
            picture = view(world, controls.selected, controls.words, width, height, hint)
            live.update(picture, refresh=True)


@contextlib.contextmanager
def _single_keys() -> Iterator[None]:
    """The terminal hands over each key at once, unseen; afterwards it is as it was."""
    import termios
    import tty

    fd = sys.stdin.fileno()
    before = termios.tcgetattr(fd)
    try:
        tty.setcbreak(fd)
        yield
    finally:
        termios.tcsetattr(fd, termios.TCSADRAIN, before)


def _keyboard() -> Iterator[str]:
    """Keys as they come, and "" whenever it is time for another picture."""
    fd = sys.stdin.fileno()
    yield ""
    while True:
        ready, _, _ = select.select([fd], [], [], _REFRESH_S)
        if not ready:
            yield ""
            continue
        typed = os.read(fd, 64).decode("utf-8", "replace")
        if not typed:
            return
        yield from split_keys(typed)


def split_keys(typed: str) -> list[str]:
    """Single keys of what was typed; an arrow is one key though it comes as three characters."""
    keys = []
    while typed:
        size = 3 if typed.startswith("\x1b[") and len(typed) >= 3 else 1
        keys.append(typed[:size])
        typed = typed[size:]
    return keys
