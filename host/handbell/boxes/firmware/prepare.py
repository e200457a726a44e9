"""Puts the firmware on a board that runs MicroPython, so that it starts whenever this ends.

A board has two folders for firmware and a file ``active`` that names the one to run. A new
firmware goes into the other folder, is verified there by digest and imported once at the prompt;
then ``main.py`` is renewed and at the very end a file ``trial`` names the new folder. The board
tries it then: it makes itself the active one when it has answered and run for a while, else the old
one comes back. Whatever is cut off leaves one of the two; running it again goes on with what is
there.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field

from handbell.base.digest import whole_hex
from handbell.base.errors import BoxError, HandbellError
from handbell.base.progress import Progress, no_progress
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.hostclock import HostClock, SystemClock
from handbell.boxes.link.messages import Hello
from handbell.boxes.link.replies import HELLO, LIST, STATUS, YIELD
from handbell.boxes.link.words import other_logs
from handbell_core import faults, journal
from handbell_core.versions import reads

from . import answers, onboard
from .files import LISTING, Image, build_image, listing
from .new_board import NEW_BOARD
from .prompt import NoPromptError, Prompt, SerialPrompt

FOLDERS = ("fw_a", "fw_b")
LEAST_VERSION = (1, 26, 0)
VIRTUAL = "virtual"  # the board's name in a virtual box's report
HELLO_TRIES = 20  # of 0.7 s: a box is ready 3 s after it starts
STARTS = 2  # that a firmware on trial has: one may be cut off
TRIAL_S = 100  # two starts of a firmware that can't be heard, and one of that before
ASK_EVERY_S = 1.0
_BOARD = re.compile(r"Raspberry Pi Pico ?2? with RP2(040|350)")


@dataclass
class Prepared:
    """What was done: ``sent`` files from here, ``copied`` on the board from its other folder.

    ``folder`` is the one on trial, "" if the active one was right; ``who`` is what the box
    says of itself afterwards.
    """

    sent: int = 0
    copied: int = 0
    folder: str = ""
    main_renewed: bool = False
    who: Hello = field(default_factory=lambda: Hello(""))

    @property
    def nothing_to_do(self) -> bool:
        """Whether the board had all of it already."""
        return not (self.folder or self.main_renewed)


def prepare(
    url: str,
    clock: HostClock | None = None,
    progress: Progress = no_progress,
    open_prompt: Callable[[str], Prompt] = SerialPrompt,
    build: Callable[[int], Image] = build_image,
) -> Prepared:
    """Put the firmware on the board at a port, start it, and return what was done.

    Raises BoxError when the board is in a class, is not one of ours, is too old or goes away, and
    when the new firmware did not stand its trial; HandbellError when it can't be compiled for it.
    """
    clock = clock or SystemClock()
    erred = ask_to_yield(url, clock, renew=True)
    try:
        prompt = open_prompt(url)
    except NoPromptError as error:
        raise BoxError(
            error.box,
            "neither a box nor MicroPython answers on this port",
            f"A box that stopped answering: unplug it, plug it in and try again. {NEW_BOARD}",
        ) from error
    try:
        mpy_version = check(url, prompt)
        done = install(url, prompt, build(mpy_version), progress)
        prompt.restart()
    finally:
        prompt.close()
    done.who = greet(url, clock, done.folder, erred)
    return done


def restart(
    url: str, clock: HostClock, open_prompt: Callable[[str], Prompt] = SerialPrompt
) -> Hello:
    """Start a box that rests anew and return what it says of itself then; raises BoxError."""
    ask_to_yield(url, clock)
    prompt = open_prompt(url)
    try:
        prompt.restart()
    finally:
        prompt.close()
    return greet(url, clock)


def ask_to_yield(url: str, clock: HostClock | None = None, renew: bool = False) -> str:
    """Ask a box that runs our firmware for the prompt; anything else is left to the prompt.

    Returned is the last error that the box tells of its program, "" for none. Raises BoxError when
    the box is in a class or virtual, when its port can't be opened, and, if its firmware is to be
    renewed, when logs wait on it that nobody could read then.
    """
    with Connection(url, clock) as connection:
        try:
            who = connection.ask(HELLO, tries=3)
            if who.board != VIRTUAL:
                erred = _erred(connection)
                if renew:
                    _leave_no_log(url, connection, who)
                connection.ask(YIELD)
                return erred
        except BoxError as error:
            if error.code == faults.VERSION:
                raise
            if error.code != faults.BUSY:
                return ""  # a firmware of another age; Ctrl-C stops it if it rests
            raise BoxError(
                url,
                "this box is in a class, which nothing may stop",
                "Run the command again when the class is over",
                error.code,
            ) from error
    raise BoxError(url, "this box is virtual", "It runs this program's own firmware already")


def _leave_no_log(url: str, connection: Connection, who: Hello) -> None:
    """Raise BoxError if logs wait on a box which the firmware from here would not know."""
    if reads(journal.VERSION, who.logs):
        return
    waiting = connection.ask(LIST, of="runs", i=0).count
    if waiting:
        raise other_logs(url, who.logs, waiting)


def check(url: str, prompt: Prompt) -> int:
    """Return the version of .mpy files that the board loads; raises BoxError on a wrong board."""
    board = answers.survey(url, prompt.run(onboard.SURVEY))
    if board.name != "micropython":
        raise BoxError(url, f"this board runs {board.name}, not MicroPython", NEW_BOARD)
    machine = board.machine
    if not _BOARD.match(machine) and not (board.local and re.search(r"RP2(040|350)", machine)):
        raise BoxError(
            url,
            f"this board is a {machine or 'stranger'}, and a box is made of a Raspberry Pi Pico "
            "or Pico 2 (without W, whose radio takes the pins that sense USB and the battery)",
            "Use one of those, or see docs/makers/boards.md for a board of your own",
        )
    if board.version < LEAST_VERSION:
        raise BoxError(
            url,
            f"MicroPython {'.'.join(map(str, board.version))} is too old, "
            f"{'.'.join(map(str, LEAST_VERSION[:2]))} is the oldest that will do",
            NEW_BOARD,
        )
    return board.mpy_version


def install(url: str, prompt: Prompt, image: Image, progress: Progress = no_progress) -> Prepared:
    """Bring the board's files to an image; cut off anywhere, the board starts old or new."""
    done = Prepared()
    wanted = {path: whole_hex(data) for path, data in image.files.items()}
    there = _look(url, prompt)
    active, trial, found = there.active, there.trial, there.files
    is_right = active in FOLDERS and _in(found, active) == wanted
    if (trial and not is_right) or trial[:4] not in ("", active):
        prompt.run(onboard.FORGET)
    if not is_right:
        done.folder, active = _target(found, active)
        if active:
            _keep(prompt, "active", active)
        _fill(url, prompt, image, found, done, progress)
        _verify(url, _in(_look(url, prompt).files, done.folder), wanted)
        fault = _imported(url, prompt, done.folder)
        if fault:
            raise BoxError(
                url,
                f"the firmware does not start on this board, which says: {fault}",
                "The board keeps what it had; tell the developers",
            )
    if found.get("main.py") != whole_hex(image.main):
        prompt.write("main.new", image.main)
        arrived = _look(url, prompt).files.get("main.new", "")
        _verify(url, {"main.py": arrived}, {"main.py": whole_hex(image.main)})
        prompt.run(onboard.RENAME % ("main.new", "main.py"))
        done.main_renewed = True
    if done.folder:
        prompt.run(onboard.FORGET)
        _keep(prompt, "trial", f"{done.folder}{STARTS}")
    return done


def greet(url: str, clock: HostClock, folder: str = "", erred: str = "") -> Hello:
    """Wait for the box that was started, until what is on trial stands; return its own report.

    ``folder`` is the one on trial, "" for none, ``erred`` what the box told of errors before.
    Raises BoxError when it does not answer or the firmware before came back.
    """
    end_us = clock.mono_us() + round(TRIAL_S * 1e6) if folder else 0
    while True:
        try:
            with Connection(url, clock) as connection:
                who = connection.hello(HELLO_TRIES)
                while folder and who.folder == folder and who.trial:
                    clock.sleep(ASK_EVERY_S)
                    who = connection.hello()
                if folder and who.folder != folder:
                    raise _came_back(url, connection, erred)
                return who
        except _CameBackError:
            raise
        except HandbellError as error:  # its port may be away while it starts anew
            if clock.mono_us() < end_us:
                clock.sleep(ASK_EVERY_S)
                continue
            raise BoxError(
                url,
                "the firmware is on the board, verified, and the box does not answer",
                "Unplug it and plug it in again, then look with handbell boxes",
            ) from error


class _CameBackError(BoxError):
    """The new firmware did not stand its trial."""


def _came_back(url: str, connection: Connection, before: str) -> BoxError:
    """Return the error for a box that runs the firmware before again, with the reason if told."""
    said = _erred(connection)
    is_of_it = said != before or " on trial" in said  # what was said of an earlier trial is gone
    why = f"which says of it: {said}" if said and is_of_it else "since the new one did not answer"
    return _CameBackError(
        url,
        f"the new firmware failed its trial, and the box went back to the one before, {why}",
        "The box works as before. Run handbell prepare again; if it stays so, tell the developers",
    )


def _erred(connection: Connection) -> str:
    """Return the last error that a box tells of its own program, "" for none."""
    try:
        return connection.ask(STATUS).erred
    except BoxError:
        return ""  # a firmware of another age


def _look(url: str, prompt: Prompt) -> answers.Look:
    return answers.look(url, prompt.run(onboard.LOOK))


def _keep(prompt: Prompt, name: str, said: str) -> None:
    """Make a small file of the board say that, at once."""
    aside = f"{name}.new"
    prompt.run(onboard.KEEP % (aside, said.encode(), aside, name))


def _target(found: dict[str, str], active: str) -> tuple[str, str]:
    """Return the folder that may be written, and which is to be made the active one first, if any.

    What the board starts from is never written: the active one, but for the other where only that
    is whole. It is not imported to see: a shortened .mpy file hangs the runtime.
    """
    if active not in FOLDERS:
        return FOLDERS[0], ""
    if _is_whole(found, _other(active)) and not _is_whole(found, active):
        return active, _other(active)
    return _other(active), ""


def _is_whole(found: dict[str, str], folder: str) -> bool:
    have = _in(found, folder)
    return have.pop(LISTING, "") == whole_hex(listing(have))


def _in(found: dict[str, str], folder: str) -> dict[str, str]:
    """Return the digests of one folder's files by their path in it."""
    start = folder + "/"
    return {path[len(start) :]: had for path, had in found.items() if path.startswith(start)}


def _other(folder: str) -> str:
    return FOLDERS[1 - FOLDERS.index(folder)]


def _imported(url: str, prompt: Prompt, folder: str) -> str:
    """Import the firmware in a folder and return what went wrong, "" if nothing did."""
    return answers.fault(url, prompt.run(onboard.IMPORT % folder))


def _fill(
    url: str,
    prompt: Prompt,
    image: Image,
    found: dict[str, str],
    done: Prepared,
    progress: Progress,
) -> None:
    """Make a folder hold an image: keep what is right, copy what the other has, send the rest."""
    target, other = done.folder, _other(done.folder)
    have = _in(found, target)
    twins = {had: f"{other}/{path}" for path, had in _in(found, other).items()}
    # A stray .py would be imported instead of its .mpy.
    stray = [f"{target}/{path}" for path in have if path not in image.files]
    if stray:
        prompt.run(onboard.REMOVE % (stray,))
    folders = {f"{target}/{path}".rpartition("/")[0] for path in image.files}
    prompt.run(onboard.FOLDER % (sorted({target, *folders}),))
    for number, (path, data) in enumerate(sorted(image.files.items()), 1):
        wanted = whole_hex(data)
        if have.get(path) == wanted:
            pass
        elif wanted in twins:
            prompt.run(onboard.COPY % (twins[wanted], f"{target}/{path}"))
            done.copied += 1
        else:
            prompt.write(f"{target}/{path}", data)
            done.sent += 1
        progress(url, "files", number, len(image.files))


def _verify(url: str, have: dict[str, str], wanted: dict[str, str]) -> None:
    wrong = sorted(path for path in wanted | have if have.get(path) != wanted.get(path))
    if wrong:
        raise BoxError(
            url,
            f"{wrong[0]} did not arrive whole",
            "Run handbell prepare again; if it stays so, the board's flash is worn out",
        )
