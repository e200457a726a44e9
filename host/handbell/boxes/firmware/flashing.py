"""Puts an image, MicroPython with the firmware inside, on a box.

The box's logs come home first. Then the box starts in its boot mode, a drive, and takes the image
as a file; its own files stay. Until the copying begins nothing on the box has changed. If the
copying is cut off the box may not start, but its boot mode, which is in the chip, always does: the
same command finishes then.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from handbell.base.errors import BoxError, HandbellError
from handbell.base.files import write_whole
from handbell.base.places import data_folder
from handbell.base.progress import Progress, no_progress
from handbell.boxes.classes.collect import Store, collect
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.find import find_ports
from handbell.boxes.link.fleet import Fleet
from handbell.boxes.link.hostclock import HostClock, SystemClock
from handbell.boxes.link.messages import Hello
from handbell.boxes.link.replies import STATUS

from . import answers, onboard
from .drives import BOARD, check_drive, copy_onto, find_drives
from .prepare import ask_to_yield
from .prompt import NoPromptError, Prompt, SerialPrompt
from .uf2 import BoardImage

DRIVE_S = 60  # how long a drive, and then the box, is waited for
LOOK_S = 0.5

BOOT_MODE = "Unplug the box, hold the button BOOTSEL on its board while you plug it in, then let go"


@dataclass
class Flashed:
    """What was done: ``before`` is the name of the image that the box had, "" if it told none.

    ``kept`` is this computer's copy of that image. ``set_aside`` names the folder of the files
    that ran instead of an image, "" if none did.
    """

    name: str
    port: str = ""
    already: bool = False
    before: str = ""
    kept: Path | None = None
    set_aside: str = ""
    collected: int = 0
    who: Hello = field(default_factory=lambda: Hello(""))

    def words(self) -> list[str]:
        """Return what to tell whoever asked for it."""
        said = []
        if self.collected:
            said.append(f"Logs brought home first: {self.collected}.")
        if self.already:
            return [*said, f"The box has this image already: {self.name}."]
        said.append(f"{self.name} is on the box; its settings, plans and logs are as they were.")
        if self.set_aside:
            said.append(
                f"It ran a firmware from its folder {self.set_aside}, which is set aside: the "
                "image runs now. handbell prepare without --image would put files first again."
            )
        if self.kept is not None and self.before != self.name:
            said.append(f"To go back: handbell prepare --image {self.kept}")
        elif self.before != self.name:
            said.append("To go back to what it had before, see docs/makers/image.md.")
        return said


@dataclass
class Means:
    """What flashing works with: the clock, what is told to whoever holds the board, the drive."""

    clock: HostClock = field(default_factory=SystemClock)
    tell: Callable[[str], None] = lambda words: None
    open_prompt: Callable[[str], Prompt] = SerialPrompt
    drive: Path | None = None  # named by the person; else it is looked for
    drives: Callable[[], list[Path]] = find_drives
    ports: Callable[[], list[str]] = find_ports


def flash(
    url: str | None,
    image: BoardImage,
    store: Store,
    means: Means,
    progress: Progress = no_progress,
) -> Flashed:
    """Put an image on the box at a port, or on a board that is in its boot mode already.

    Raises HandbellError when the box is in a class, holds logs that did not come home, is no Pico,
    or goes away; when no drive appears; when another firmware answers afterwards.
    """
    done = Flashed(image.name)
    if url is not None:
        done.collected = bring_home(url, means.clock, store, progress)
        _leave_for_boot_mode(url, image, means, done)
        if done.already:
            others = set(means.ports()) - {url}
            done.port, done.who = _wait_for_box(url, others, means, "was started anew")
            return done
        means.tell(
            f"The box is in its boot mode: a drive {BOARD} should appear. If none does in a few "
            f"seconds: {BOOT_MODE}."
        )
    drive = _wait_for_drive(means)
    check_drive(drive)
    before = set(means.ports()) - {url}
    means.tell(f"Copying {image.path.name} to {drive}")
    trouble = copy_onto(drive, image.path.name, image.path.read_bytes())
    why = f" ({trouble.strerror or trouble})" if trouble is not None else ""
    back, _ = _wait_for_box(url, before, means, f"was given the image{why}")
    _settle(back, before, image, means, done)
    keep(image)
    return done


def bring_home(url: str, clock: HostClock, store: Store, progress: Progress = no_progress) -> int:
    """Collect a box's logs and return how many came; one where no firmware answers has to wait.

    Raises BoxError when some stay on it.
    """
    with Fleet([url], clock) as fleet:
        if not fleet.connections:
            return 0  # what lies on it is looked for at its prompt
        (outcome,) = collect(fleet, store, progress)
        if outcome.error is not None:
            raise outcome.error
        assert outcome.value is not None
        left = fleet.connections[0].ask(STATUS).runs
        if left or outcome.value.open:
            raise _logs_left(outcome.label, left + outcome.value.open)
        return len(outcome.value.runs)


def _logs_left(label: str, count: int) -> BoxError:
    return BoxError(
        label,
        f"{count} {'log is' if count == 1 else 'logs are'} still on this box",
        "Bring them home with handbell collect, which says what is wrong with them; a box that "
        "does not answer may do so again after handbell prepare without --image",
    )


def _leave_for_boot_mode(url: str, image: BoardImage, means: Means, done: Flashed) -> None:
    """Look at what the box has and start it in boot mode, unless it has this image already."""
    ask_to_yield(url, means.clock)
    try:
        prompt = means.open_prompt(url)
    except NoPromptError:
        means.tell(f"Nothing answers on {url}. {BOOT_MODE}.")
        return
    try:
        board = _state(url, prompt)
        refusal = None
        if "RP2040" not in board.machine:
            refusal = BoxError(
                url, f"this board is a {board.machine}, and the image is for the Pico"
            )
        elif board.runs:
            refusal = _logs_left(url, board.runs)
        done.before, done.set_aside = board.image, board.active
        done.kept = kept(board.image)
        done.already = board.image == image.name and not board.active
        if refusal is None and not done.already:
            prompt.boot()
            return
        prompt.restart()
        if refusal is not None:
            raise refusal
    finally:
        prompt.close()


def _state(url: str, prompt: Prompt) -> answers.State:
    return answers.state(url, prompt.run(onboard.STATE))


def _wait_for_drive(means: Means) -> Path:
    """Return the folder of the drive, once it is there; raises HandbellError."""
    until_us = means.clock.mono_us() + DRIVE_S * 1_000_000
    while True:
        if means.drive is not None:
            found = [means.drive] if means.drive.is_dir() else []
        else:
            found = means.drives()
        if len(found) > 1:
            raise HandbellError(
                f"{len(found)} boards are in boot mode: {', '.join(map(str, found))}",
                "Unplug all but one, or name its drive with --drive",
            )
        if found:
            return found[0]
        if means.clock.mono_us() > until_us:
            raise HandbellError(
                f"No drive {BOARD} appeared, and nothing on the box was changed",
                f"{BOOT_MODE}, open the drive if your computer does not, and run this again; "
                "--drive names its folder. Unplugged and plugged in, the box starts as before",
            )
        means.clock.sleep(LOOK_S)


def _wait_for_box(url: str | None, others: set[str], means: Means, what: str) -> tuple[str, Hello]:
    """Return the port where the box answers again and its own report; raises HandbellError."""
    until_us = means.clock.mono_us() + DRIVE_S * 1_000_000
    while means.clock.mono_us() <= until_us:
        means.clock.sleep(LOOK_S)
        here = [port for port in means.ports() if port not in others]
        if url in here:
            here = [str(url)]  # else it came back under another name
        for port in here:
            with contextlib.suppress(HandbellError), Connection(port, means.clock) as connection:
                return port, connection.hello(2)
    raise HandbellError(
        f"The box {what} and does not answer",
        f"{BOOT_MODE}, and run this again: until then the box may not start. Its files are safe",
    )


def _settle(url: str, others: set[str], image: BoardImage, means: Means, done: Flashed) -> None:
    """Check that the box runs this image, and no older files; raises BoxError."""
    ask_to_yield(url, means.clock)
    prompt = means.open_prompt(url)
    try:
        there = _state(url, prompt)
        name, active = there.image, there.active
        if active and name == image.name:
            prompt.run(onboard.REMOVE % (["active"],))
            done.set_aside = active
        prompt.restart()
    finally:
        prompt.close()
    done.port, done.who = _wait_for_box(url, others, means, "was started anew")
    if name != image.name or done.who.firmware != image.version:
        raise BoxError(
            url,
            f"the box runs firmware {done.who.firmware} of {name or 'no image'}, and not "
            f"{image.name}",
            f"{BOOT_MODE}, and run this again",
        )


def _file_of(name: str) -> Path:
    return data_folder() / "images" / f"{'-'.join(name.split()[2:4])}.uf2"


def kept(name: str) -> Path | None:
    """Return this computer's copy of an image that it put on some box, by the image's name."""
    path = _file_of(name)
    return path if name and path.is_file() else None


def keep(image: BoardImage) -> None:
    """Keep a copy of an image, so that it can be gone back to; without room for it, none."""
    path = _file_of(image.name)
    if path.exists():
        return
    with contextlib.suppress(OSError, HandbellError):
        write_whole(path, image.path.read_bytes())
