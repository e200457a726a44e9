"""Preparing: the firmware onto a box, as files or as an image."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handbell.base.errors import BoxError, HandbellError
from handbell.base.progress import Progress, no_progress
from handbell.base.words import several
from handbell.boxes.classes.send import ascii_label
from handbell.boxes.classes.stations import StationMap
from handbell.boxes.firmware import flashing
from handbell.boxes.firmware import prepare as putting
from handbell.boxes.firmware.drives import find_drives
from handbell.boxes.firmware.files import build_image
from handbell.boxes.firmware.new_board import NEW_BOARD
from handbell.boxes.firmware.uf2 import read_image
from handbell.boxes.link import connection as link
from handbell.boxes.link.find import find_ports
from handbell.boxes.link.messages import Hello
from handbell.boxes.link.replies import HELLO, NAME, STATUS
from handbell.store import open_store

from .plugged_in import host_clock

REMOTE_LABEL = "Remote"


@dataclass(frozen=True)
class BoxReady:
    """A box as it says of itself afterwards; ``spare`` is the id of a box that it replaced."""

    id: str
    port: str
    station: int
    label: str
    buttons: int
    firmware: str
    board: str
    micropython: str
    spare: str
    remote: bool


@dataclass(frozen=True)
class Prepared:
    """``sent`` files came from here, ``copied`` lay on the box already."""

    box: BoxReady
    sent: int
    copied: int
    up_to_date: bool


@dataclass(frozen=True)
class ImagePut:
    """An image on a box: ``before`` is the name of the one that it had, ``kept`` our copy of it.

    ``set_aside`` is the folder that the firmware ran from; ``words`` is all that is to be told.
    """

    box: BoxReady
    image: str
    up_to_date: bool
    before: str
    kept: str
    set_aside: str
    collected: int
    words: tuple[str, ...]


def prepare(
    port: str | None = None,
    station: int | None = None,
    label: str | None = None,
    buttons: int | None = None,
    line_numbers: bool = False,
    progress: Progress = no_progress,
    remote: bool = False,
) -> Prepared:
    """Put the firmware on the board at a port, or on the only one, and hang the box.

    Or make it a ``remote``, which hangs nowhere until it is given a station. Without a station it
    stays where the map has it; ``buttons`` are those that are fitted, as many as it says unless
    they are told.
    """
    stations = StationMap()  # read first, so that a broken map is told before anything is done
    port = port or _only_port()
    build = functools.partial(build_image, lines=line_numbers)
    done = putting.prepare(port, host_clock(), progress, build=build)
    box = _hang(port, done.who, stations, station, label, buttons, remote)
    return Prepared(box, done.sent, done.copied, done.nothing_to_do)


def put_image(
    image_path: Path,
    tell: Callable[[str], None],
    port: str | None = None,
    station: int | None = None,
    label: str | None = None,
    buttons: int | None = None,
    drive: Path | None = None,
    store_url: str | None = None,
    progress: Progress = no_progress,
    remote: bool = False,
) -> ImagePut:
    """Put an image on a box, its logs brought home first; ``tell`` says what to do by hand."""
    image = read_image(image_path)  # all that can be wrong here first
    stations = StationMap()
    in_boot_mode = port is None and (drive or find_drives())
    port = None if in_boot_mode else port or _only_port()
    means = flashing.Means(host_clock(), tell, drive=drive)
    with open_store(store_url) as store:
        done = flashing.flash(port, image, store, means, progress)
    return ImagePut(
        _hang(done.port, done.who, stations, station, label, buttons, remote),
        done.name,
        done.already,
        done.before,
        str(done.kept or ""),
        done.set_aside,
        done.collected,
        tuple(done.words()),
    )


def _only_port() -> str:
    ports = find_ports()
    if len(ports) == 1:
        return ports[0]
    if not ports:
        raise HandbellError(
            "No board with MicroPython is plugged in",
            f"Plug one in, or name its port. {NEW_BOARD}",
        )
    raise HandbellError(
        f"{len(ports)} boards are plugged in: {', '.join(ports)}",
        "Name the port of the one to prepare",
    )


def _hang(
    port: str,
    who: Hello,
    stations: StationMap,
    number: int | None,
    label: str | None,
    buttons: int | None,
    remote: bool,
) -> BoxReady:
    """Hang the box at a station and tell it so; without a number it stays where the map has it.

    A remote stays one unless it is given a station.
    """
    if remote or (who.remote and number is None):
        return _lead(port, who, stations, buttons)
    if who.remote:
        who = _change(port, {"station": number, "label": "", "remote": 0})
    at = stations.number_of(who.id) if number is None else number
    if not at and number is None and label is not None:
        raise HandbellError(
            f"The box {who.id} hangs at no station", "Give --station together with --label"
        )
    spare, shown_at, shown_label = None, who.station, who.label
    if at or number is not None:
        if number is not None or label is not None:
            spare = stations.place(at, who.id, label)
            stations.save()
        shown_at, shown_label = at, ascii_label(stations.stations[at].label)
    if at or number is not None or buttons is not None:
        fitted = {} if buttons is None else {"buttons": buttons}
        with link.Connection(port) as connection:
            connection.ask(NAME, station=shown_at, label=shown_label, **fitted)
            who = connection.ask(HELLO) if fitted else who
    return _ready(port, who, shown_at, shown_label, spare or "")


def _lead(port: str, who: Hello, stations: StationMap, buttons: int | None) -> BoxReady:
    """Make a box a remote, or leave it one; it hangs at no station any more."""
    fitted = {} if buttons is None else {"buttons": buttons}
    if not who.remote:
        who = _change(port, {"station": 0, "label": REMOTE_LABEL, "remote": 1, **fitted})
    elif fitted:
        with link.Connection(port) as connection:
            connection.ask(NAME, station=0, label=REMOTE_LABEL, **fitted)
            who = connection.ask(HELLO)
    if stations.remove(who.id):
        stations.save()
    return _ready(port, who, 0, who.label)


def _change(port: str, named: dict[str, Any]) -> Hello:
    """Make a box a remote or a remote a box, which it is from its next start on; then start it.

    Raises BoxError while logs wait on it: whose they are hangs on what it is.
    """
    with link.Connection(port) as connection:
        waiting = connection.ask(STATUS).runs
        if waiting > 0:
            raise BoxError(
                port,
                f"it holds {several(waiting, 'log')}",
                "Run handbell collect first, then prepare it again",
            )
        connection.ask(NAME, **named)
    return putting.restart(port, host_clock())


def _ready(port: str, who: Hello, station: int, label: str, spare: str = "") -> BoxReady:
    facts = who.buttons, who.firmware, who.board, who.python
    return BoxReady(who.id, port, station, label, *facts, spare, who.remote)
