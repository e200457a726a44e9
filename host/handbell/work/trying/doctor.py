"""How things stand on this computer: one text to paste into a report, a remedy for each fault.

It holds no names, notes, home folder or password.
"""

from __future__ import annotations

import contextlib
import os
import platform
import re
import shutil
import sqlite3
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from importlib import metadata
from pathlib import Path

import handbell
from handbell import VERSION
from handbell.base import places
from handbell.base.errors import HandbellError
from handbell.base.extras import EXTRAS, install
from handbell.base.words import several

ROOM_LEAST = 200 << 20  # bytes free: below, a season's logs may not fit
TIME_ERROR = 5  # of <sys/timex.h>
YEAR_LEAST = 2024  # a clock before it was never set


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at; ``fine`` None is neither good nor bad."""

    what: str
    fine: bool | None
    says: str
    remedy: str = ""


@dataclass(frozen=True)
class Checkup:
    """All findings, in order."""

    ok: bool
    findings: tuple[Finding, ...]


def checkup(store: str | None = None) -> Checkup:
    """Look at versions, manual, extras, settings, folders, hall, store, ports, clock, browser."""
    found: list[Finding] = []
    looks = (
        _versions,
        _manual,
        _extras,
        _settings,
        _data,
        _state,
        _hall,
        lambda: _store(store),
        _ports,
        _clock,
        _browser,
    )
    for look in looks:
        what = look.__name__.strip("_").replace("<lambda>", "store")
        try:
            found += look()
        except HandbellError as error:
            found.append(_refused(what, error, found))
        except Exception as error:  # what it looks at may be broken in any way
            found.append(Finding(what, False, f"can't be looked at: {type(error).__name__}"))
    told = tuple(replace(one, says=tilde(one.says), remedy=tilde(one.remedy)) for one in found)
    return Checkup(all(one.fine is not False for one in told), told)


def _refused(what: str, error: HandbellError, found: list[Finding]) -> Finding:
    """Return the finding of an error; one that was told already is not told again."""
    before = next((one for one in found if one.says == error.what), None)
    if before is None:
        return Finding(what, False, error.what, error.remedy)
    return Finding(what, None, f"can't be looked at before {before.what} is mended")


def _versions() -> Iterator[Finding]:
    system = f"{platform.system()} {platform.release()}, {platform.machine()}"
    python = f"Python {platform.python_version()}"
    yield Finding("handbell", True, f"{VERSION}, {python}, SQLite {sqlite3.sqlite_version}")
    yield Finding("system", True, system)
    words = f"output in {sys.stdout.encoding}, file names in {sys.getfilesystemencoding()}"
    yield Finding("letters", None, words)


def _manual() -> Iterator[Finding]:
    """Say where the manual is: its pages in a wheel, its text in a checkout."""
    here = Path(handbell.__file__).parent
    pages, text = here / "manual" / "index.html", here.parents[1] / "docs" / "index.md"
    found = next((path for path in (pages, text) if path.is_file()), None)
    if found:
        yield Finding("manual", True, f"to be read offline: {found}")
    else:
        yield Finding("manual", None, "not here", "Install Handbell anew from its wheel")


def _extras() -> Iterator[Finding]:
    for name, extra in EXTRAS.items():
        there, lacking = [], []
        for package in extra.packages:
            plain = package.partition("[")[0]
            try:
                there.append(f"{plain} {metadata.version(plain)}")
            except metadata.PackageNotFoundError:
                lacking.append(plain)
        if lacking:
            yield Finding(name, None, f"not installed; for {extra.does}", install(name))
        else:
            yield Finding(name, True, ", ".join(there))


def _settings() -> Iterator[Finding]:
    said = [name for name in places.VARIABLES if os.environ.get(name)]
    path = places.settings_file()
    try:
        keys = ", ".join(places.settings()) or "nothing"
        if path.exists():
            yield Finding("settings", True, f"{path} sets {keys}")
        elif os.environ.get(places.SETTINGS):
            remedy = f"Correct {places.SETTINGS}, or take it out"
            yield Finding("settings", None, f"{path} is not there, so all is as usual", remedy)
        else:
            yield Finding("settings", True, "no settings file")
    except HandbellError as error:
        yield Finding("settings", False, error.what, error.remedy)
    yield Finding("environment", None, f"names {', '.join(said) or 'nothing'}")


def _data() -> Iterator[Finding]:
    return _folder("data", places.data_folder())


def _state() -> Iterator[Finding]:
    return _folder("state", places.state_folder())


def _hall() -> Iterator[Finding]:
    from handbell.store.halls.own import own_hall

    hall = own_hall()
    if hall is None:
        yield Finding("hall", None, "none yet; the first handbell send gives this computer one")
    else:  # not what it is called: that may be a person's name
        yield Finding("hall", True, f"number {hall.number}")


def _folder(what: str, folder: Path) -> Iterator[Finding]:
    there = folder
    while not os.path.exists(there) and there != there.parent:  # noqa: PTH110  never raises
        there = there.parent
    room = shutil.disk_usage(there).free
    words = f"{folder}, {room >> 20} MB free"
    if not os.access(there, os.W_OK):
        remedy = f"Let your user write there, or name another with {places.DATA}"
        yield Finding(what, False, f"{words}, can't be written", remedy)
    elif room < ROOM_LEAST:
        yield Finding(what, False, words, "Free some room")
    else:
        yield Finding(what, True, words)


def _store(url: str | None) -> Iterator[Finding]:
    """Look at the store and change nothing in it: an older one is not brought up to date here."""
    from handbell.store.database.connect import address_of, file_of

    named = url or places.named(places.STORE) or str(places.data_folder() / "store.sqlite")
    path = file_of(address_of(named)) if "://" in named else Path(named).expanduser()
    if path is None:
        yield _server(named)
    elif not path.exists():
        yield Finding("store", None, "none yet; handbell collect makes it")
    else:
        yield _file(path)


def _file(path: Path) -> Finding:
    from handbell.store.database.look import (
        ELSEWHERE,
        DamagedError,
        OutOfReachError,
        in_the_way,
        is_store,
        read_only,
    )

    try:
        is_store(path)
        with contextlib.closing(sqlite3.connect(read_only(path), uri=True)) as db:
            sound = db.execute("PRAGMA quick_check(1)").fetchone()[0]
            version = str(db.execute("SELECT version_num FROM alembic_version").fetchone()[0])
    except OutOfReachError as error:
        return Finding("store", False, error.what, error.remedy)
    except (HandbellError, sqlite3.Error, ValueError) as error:
        known = in_the_way(path, error)
        if known is not None:
            return Finding("store", False, known.what, known.remedy)
        if isinstance(error, HandbellError) and not isinstance(error, DamagedError):
            return Finding("store", False, f"{path} is no store of Handbell", ELSEWHERE)
        said = f"{path} is damaged or no store of Handbell ({type(error).__name__})"
        return Finding("store", False, said, "handbell store restore FILE puts a backup back")
    known = in_the_way(path, sound)
    if known is not None:
        return Finding("store", False, known.what, known.remedy)
    if sound != "ok":
        return Finding(
            "store",
            False,
            f"{path} is damaged",
            "handbell store restore FILE puts a backup back",
        )
    return _of_version(f"{path}, {path.stat().st_size >> 10} KB", version)


def _of_version(words: str, version: str | None) -> Finding:
    """Return the finding of a sound store, by the version that it says it has."""
    from handbell.store.database.tables import VERSION as HERE

    if version is None:
        return Finding("store", None, f"{words}, nothing is in it yet")
    words = f"{words}, form {version}"
    if version > HERE:
        said = f"{words}, was written by a newer handbell (here {HERE})"
        return Finding("store", False, said, "Update this program")
    if version < HERE:
        said = f"{words}, is older (here {HERE})"
        return Finding("store", None, said, "The next command that uses it brings it up to date")
    return Finding("store", True, words)


def _server(address: str) -> Finding:
    from handbell.store.database.connect import address_of, engine_at, plainly
    from handbell.store.database.version import stored_version

    engine = engine_at(address_of(address))
    try:
        with plainly(engine.url), engine.connect() as conn:
            return _of_version("a server answers", stored_version(conn))
    except HandbellError as error:
        return Finding("store", False, "the server can't be used", error.remedy)
    finally:
        engine.dispose()


def _ports() -> Iterator[Finding]:
    from handbell.boxes.link.find import find_ports

    ports = find_ports()
    shut = [
        port for port in ports if port.startswith("/") and not os.access(port, os.R_OK | os.W_OK)
    ]
    if shut:
        yield Finding("boxes", False, f"{', '.join(shut)} may not be opened", _may_open())
    elif ports:
        yield Finding("boxes", True, several(len(ports), "box", "boxes") + " plugged in")
    else:
        yield Finding("boxes", None, "none plugged in")


def _may_open() -> str:
    if sys.platform == "linux":
        return "Put your user into the group of the port (often dialout) and log in again"
    return "Close other programs that use it"


def _clock() -> Iterator[Finding]:
    now = datetime.now().astimezone()
    words = f"{now:%Y-%m-%d %H:%M:%S} {now.tzname()} (UTC{now:%z})"
    fine = now.year >= YEAR_LEAST
    yield Finding("clock", fine, words, "" if fine else "Set this computer's clock")
    follows = follows_a_time_server()
    if follows:
        yield Finding("time server", True, "keeps this computer's clock right")
    elif follows is False:
        remedy = "Hold its clock against another one before you arm a class"
        yield Finding("time server", None, "keeps no watch over this computer's clock", remedy)


def follows_a_time_server() -> bool | None:
    """Whether the system says that a time server keeps its clock; None where it doesn't tell.

    Linux tells it to everybody: adjtimex(2) returns TIME_ERROR while the clock is not synchronised.
    """
    if sys.platform != "linux":
        return None
    import ctypes

    try:
        state = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(512))  # only asks: no modes
    except (OSError, AttributeError):
        return None
    return None if state < 0 else bool(state != TIME_ERROR)


def _browser() -> Iterator[Finding]:
    from handbell.paper.printing import find_browser

    found = find_browser()
    if found:
        yield Finding("browser", True, f"{Path(found).name} prints PDF")
        return
    remedy = f"Print pages from any browser, or name one with {places.BROWSER}"
    yield Finding("browser", None, "none that prints PDF by itself", remedy)


def tilde(words: object) -> str:
    """Return words without the home folder, whose name is often a person's."""
    home = str(Path.home()).rstrip("/")
    if not home:
        return str(words)
    # Not in /srv/home/ada, /home/adam or /home/ada.old, which are other folders.
    return re.sub(rf"(?<![\w/.-]){re.escape(home)}(?![\w-]|\.\w)", "~", str(words))
