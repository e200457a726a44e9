"""A fake board with a boot mode: a drive that takes an image, which then runs what is inside it."""

import contextlib
import shutil
import subprocess
from pathlib import Path

import sound_replies
from fake_board import BEFORE, FakeBoard, FakePrompt

from handbell.base.errors import BoxError, HandbellError
from handbell.boxes.firmware import flashing, onboard, prepare, uf2
from handbell.boxes.firmware.files import firmware_root
from handbell.boxes.firmware.prompt import NoPromptError
from handbell.boxes.link.messages import Hello
from handbell.boxes.link.replies import HELLO
from handbell_core import faults

ROOT = Path(__file__).parents[2]
URL = "the port"

MACHINE = "Raspberry Pi Pico with RP2040"


class FakePico(FakeBoard):
    """A box: ``firmware`` answers on the link, "" for a bare MicroPython.

    Time goes by only where it is slept; an image that has arrived whole is started then.
    """

    def __init__(self, folder: Path, micropython: list[str]) -> None:
        super().__init__(folder / "flash", micropython)
        self.drive, self.frozen = folder / "drive", folder / "frozen"
        self.machine = MACHINE
        self.port = URL
        self.in_boot = False
        self.copies = 0
        self.now_us = 0
        self.told: list[str] = []
        self.busy = False

    # What the computer sees

    def ports(self):
        return [] if self.in_boot else [self.port]

    def drives(self):
        return [self.drive] if self.drive.exists() else []

    def mono_us(self):
        return self.now_us

    def utc_us(self):
        return self.now_us

    def sleep(self, seconds):
        self.now_us += int(seconds * 1e6)
        for file in self.drive.glob("*.uf2") if self.in_boot else ():
            with contextlib.suppress(HandbellError):
                image = uf2.read_image(file)
                self.take(image)
                return

    def hold_bootsel(self):
        """Start in boot mode, whatever is in the flash."""
        self.in_boot = True
        self.drive.mkdir(exist_ok=True)
        (self.drive / "INFO_UF2.TXT").write_text(
            "UF2 Bootloader v3.0\nModel: Raspberry Pi RP2\nBoard-ID: RPI-RP2\n"
        )

    def unplug(self):
        """Without power it forgets that it was in boot mode."""
        shutil.rmtree(self.drive, ignore_errors=True)
        self.in_boot = False

    def take(self, image):
        """Become a board with an image, and start it."""
        self.copies += 1
        self.unplug()
        self.frozen.mkdir(exist_ok=True)
        for name, text in {
            "image_name.py": f"NAME = {image.name!r}\n",
            "begin.py": f"def main(): print('image {image.version}')\n",
            "boot.py": (ROOT / "image/boot.py").read_text(encoding="utf-8"),
            "main.py": (firmware_root() / "main.py").read_text(encoding="utf-8"),
        }.items():
            (self.frozen / name).write_text(text)
        self.start()

    # What runs on it

    def execute(self, code):
        path = f":.frozen:{self.frozen}:{self.stub}" if self.frozen.exists() else f":{self.stub}"
        return subprocess.run(
            [*self.micropython, "-c", code],
            cwd=self.flash,
            env={"MICROPYPATH": path},
            capture_output=True,
            text=True,
            check=False,
            timeout=20,
        )

    def start(self):
        """Start as at power-up, and return what its firmware says."""
        if not self.frozen.exists():
            return super().start()
        done = self.execute(f"exec(open({str(self.frozen / 'boot.py')!r}).read())\n")
        assert not done.returncode, done.stderr
        done = self.execute(f"exec(open({str(self.frozen / 'main.py')!r}).read())\n")
        assert not done.stderr, done.stderr
        return done.stdout.strip()

    @property
    def runs(self):
        return sorted((self.flash / "runs").glob("*.hbj"))

    # The link

    def connect(self, url, clock=None):
        return FakeLink(self, url)

    def open_prompt(self, url, cut_at=-1, tear=BEFORE):
        if self.in_boot or self.machine == "":
            raise NoPromptError(url, "MicroPython's prompt does not answer")
        return PicoPrompt(self, cut_at, tear)


class PicoPrompt(FakePrompt):
    def _run(self, code):
        if code == onboard.STATE:
            said = super()._run(code)
            return repr((self._board.machine, *eval(said)[1:]))
        return super()._run(code)

    def boot(self):
        self._operate(self._board.hold_bootsel)
        self.close()


class FakeLink:
    """A connection to the box, as ``Connection`` is one."""

    def __init__(self, pico, url):
        self.pico, self.url, self.label, self.who = pico, url, "Box 3", Hello("")
        if url not in pico.ports():
            raise BoxError(url, "there is no such port")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        pass

    def hello(self, tries=3):
        self.who = self.ask(HELLO)
        return self.who

    def ask(self, kind, tries=4, **fields):
        return sound_replies.read(kind, fields, self.request(kind.do))

    def request(self, do):
        said = self.pico.start().splitlines()
        words = said[-1].split() if said else []
        if words[:1] not in (["firmware"], ["image"]):
            raise BoxError(self.url, "no Handbell box answers on this port")
        if do == "yield" and self.pico.busy:
            raise BoxError(self.url, "busy", code=faults.BUSY)
        return {
            "hello": {
                "id": sound_replies.ID,
                "fw": words[1],
                "board": "pico",
                "py": "1.28.0",
                "station": 0,
            }
            | {"label": "", "ln": 1, "tl": 2, "jn": 1},
            "status": {"runs": len(self.pico.runs)},
            "yield": {},
            "name": {},
        }[do]


class FakeFleet:
    """The box alone, as ``Fleet`` has it."""

    def __init__(self, urls, clock=None):
        try:
            link = clock.connect(urls[0])
            link.hello()
            self.connections = [link]
        except BoxError:
            self.connections = []

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass


def patch(monkeypatch, pico):
    """Let everything that opens a port open this board's; its clock is the board's time."""
    monkeypatch.setattr(prepare, "Connection", pico.connect)
    monkeypatch.setattr(flashing, "Connection", pico.connect)
    monkeypatch.setattr(flashing, "Fleet", FakeFleet)
