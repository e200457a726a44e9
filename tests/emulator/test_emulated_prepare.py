"""``handbell prepare`` puts the firmware on an emulated board through its serial port.

The steps that are cut off put on a small firmware: what counts there is the order of the steps.
The waits at the prompt are stretched, since the emulated chip is slower than a real one.
"""

import json
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pty")

SLOW_HOST = str(Path(__file__).with_name("slow_host.py"))
HOST = "import sys; from handbell.cli.main import main; sys.exit(main())"
STARTED_US = 1_500_000  # MicroPython is at its prompt by then, or has begun main.py
LONG_S = 900  # of real time, for a slow machine

# A board that says another name or age: MicroPython lets boot.py put a module in another's place.
OTHER_BOARD = """
import sys
class Implementation:
    name, version, _machine, _mpy = %r, %r, %r, sys.implementation._mpy
class Other:
    implementation = Implementation
sys.modules["sys"] = Other
"""


# A program of its own that keeps the line to itself and says nothing.
STRANGER = b"""
import micropython, sys
micropython.kbd_intr(-1)
while True:
    sys.stdin.buffer.read(1)
"""


class Desk:
    """A board, and a host beside it that runs ``handbell prepare``."""

    def __init__(self, image: Path, folder: Path, files: bytes = b"") -> None:
        self._image, self._folder = image, folder
        self.power(files)

    def power(self, files: bytes) -> None:
        """Give the board power; it starts from that file system."""
        from emulated_box import EmulatedBox
        from emulated_bridge import Bridge

        self.box = EmulatedBox(self._image, files)
        self.box.run_to(STARTED_US)
        self.cable = Bridge(self.box, self._folder)

    def restart(self) -> None:
        """Take the power away and give it back."""
        self.cable.close()
        self.power(self.box.files())

    def run(self, *command: str, cut_at: bytes = b""):
        return self.cable.run([sys.executable, *command], LONG_S, cut_at)

    def prepare(self, firmware: Path, cut_at: bytes = b""):
        """Put a firmware on with the command itself."""
        port = str(self.cable.port)
        return self.run(
            SLOW_HOST, "--firmware", str(firmware), "prepare", port, "--json", cut_at=cut_at
        )

    def starts_as(self) -> str:
        """Restart the board: the version that its box reports, or "prompt"."""
        from emulated_box import NoAnswer

        self.restart()
        try:
            return self.box.request("hello", tries=2)["fw"]
        except NoAnswer:
            said = self.run("-m", "mpremote", "connect", str(self.cable.port), "exec", "print(1+1)")
            assert said.out.strip() == "2", said
            return "prompt"


@pytest.fixture
def desk(image, tmp_path):
    return Desk(image, tmp_path / "desk")


@pytest.fixture(scope="module")
def small(tmp_path_factory, firmware):
    """Two small firmwares of which one file differs, by their version."""
    from small_firmware import write_small

    folder = tmp_path_factory.mktemp("small")
    return {version: write_small(folder / version, firmware, version) for version in ("1", "2")}


@pytest.fixture(scope="module")
def old_files(image, small, tmp_path_factory):
    """The file system of a board that has the small firmware 1."""
    desk = Desk(image, tmp_path_factory.mktemp("old") / "desk")
    done = desk.prepare(small["1"])
    assert done.code == 0, done
    assert json.loads(done.out)["data"]["box"]["firmware"] == "1"
    return desk.box.files()


def test_a_fresh_board_gets_the_whole_firmware_and_again_there_is_nothing_to_do(desk, firmware):
    """The files are compared in the flash itself, not by what the board says of them."""
    from emulated_box import read_files

    from handbell.boxes.firmware.files import build_image

    image = build_image(6, firmware)
    fresh = desk.prepare(firmware)
    assert fresh.code == 0, fresh
    told = json.loads(fresh.out)["data"]
    assert (told["box"]["board"], told["sent"], told["up_to_date"]) == (
        "pico",
        len(image.files),
        False,
    )
    had = read_files(desk.box.files())
    wanted = {f"fw_a/{path}": data for path, data in image.files.items()}
    wanted |= {"main.py": image.main, "active": b"fw_a"}
    assert wanted == {path: data for path, data in had.items() if path in wanted}
    again = desk.prepare(firmware)
    assert again.code == 0, again
    assert json.loads(again.out)["data"]["up_to_date"]
    assert {p: d for p, d in read_files(desk.box.files()).items() if p in wanted} == wanted
    assert desk.starts_as() == told["box"]["firmware"]
    report(fresh=fresh, again=again)


def test_only_a_changed_file_is_sent(image, old_files, small, tmp_path):
    desk = Desk(image, tmp_path / "desk", old_files)
    done = desk.prepare(small["2"])
    assert done.code == 0, done
    told = json.loads(done.out)["data"]
    print(f"\n{len(desk.box.flash.ops)} flash operations")
    # The list of digests changes with the file.
    assert (told["box"]["firmware"], told["sent"], told["copied"]) == ("2", 2, 9)
    assert desk.starts_as() == "2"
    report(newer=done)


# The host is killed


def test_a_fresh_board_is_finished_after_the_host_was_killed_at_any_step(desk, small):
    for cut_at in (b"open('fw_a/begin.mpy'", b"open('fw_a/box/version.mpy'", b"trial.new"):
        assert desk.prepare(small["1"], cut_at).code < 0
        assert desk.starts_as() == "prompt", cut_at
    done = desk.prepare(small["1"])
    assert done.code == 0, done
    assert desk.starts_as() == "1"


def test_a_box_plays_its_old_firmware_until_the_switch_and_the_new_one_after(
    image, old_files, small, tmp_path
):
    desk = Desk(image, tmp_path / "desk", old_files)
    for cut_at, version in (
        (b"'fw_b/begin.mpy'", "1"),
        (b"'fw_b/box/version.mpy'", "1"),
        (b"trial.new", "1"),
        (b"\r\x02", "2"),  # leaving the prompt, when all is done
    ):
        assert desk.prepare(small["2"], cut_at).code < 0
        assert desk.starts_as() == version, cut_at
    done = desk.prepare(small["2"])  # it was on trial, and is heard to the end now
    assert done.code == 0, done
    assert (
        json.loads(done.out)["data"]["box"]["firmware"],
        json.loads(done.out)["data"]["sent"],
    ) == ("2", 0)
    done = desk.prepare(small["2"])
    assert done.code == 0, done
    assert json.loads(done.out)["data"]["up_to_date"]


def test_a_board_that_was_left_at_its_prompt_is_taken_on_where_it_is(
    image, old_files, small, tmp_path
):
    """No restart between: the board still waits for the rest of a line."""
    desk = Desk(image, tmp_path / "desk", old_files)
    assert desk.prepare(small["2"], b"'fw_b/box/version.mpy'").code < 0
    done = desk.prepare(small["2"])
    assert done.code == 0, done
    assert json.loads(done.out)["data"]["box"]["firmware"] == "2"


# The board loses power


@pytest.mark.parametrize("after_ops", [0, 7, 20])
def test_a_board_that_loses_power_starts_and_is_finished(
    image, old_files, small, tmp_path, after_ops
):
    desk = Desk(image, tmp_path / "desk", old_files)
    before = len(desk.box.flash.ops)
    desk.box.flash.cuts = lambda number, op: number == before + after_ops
    cut = desk.prepare(small["2"])
    assert desk.box.flash.is_dead
    assert cut.code == 1 and "Traceback" not in cut.err, cut
    assert desk.starts_as() == "1"
    done = desk.prepare(small["2"])
    assert done.code == 0, done
    assert json.loads(done.out)["data"]["box"]["firmware"] == "2"


# Refusals


@pytest.mark.parametrize(
    ("facts", "why"),
    [
        (("micropython", (1, 25, 0), "Raspberry Pi Pico with RP2040"), "1.25.0 is too old"),
        (("micropython", (1, 28, 0), "Raspberry Pi Pico W with RP2040"), "without W"),
        (("circuitpython", (9, 2, 0), "Raspberry Pi Pico with rp2040"), "runs circuitpython"),
    ],
)
def test_a_wrong_board_is_refused_before_anything_is_written(image, firmware, tmp_path, facts, why):
    from emulated_box import file_system, read_files

    had = {"boot.py": (OTHER_BOARD % facts).encode()}
    desk = Desk(image, tmp_path / "desk", file_system(None, had))
    writes = len(desk.box.flash.ops)
    refused = desk.prepare(firmware)
    assert refused.code == 1 and why in refused.out, refused
    assert "Traceback" not in refused.err
    assert len(desk.box.flash.ops) == writes
    assert read_files(desk.box.files()) == had


def test_a_port_that_is_no_micropython_says_how_to_get_it(image, tmp_path):
    from emulated_box import file_system

    desk = Desk(image, tmp_path / "desk", file_system(None, {"main.py": STRANGER}))
    writes = len(desk.box.flash.ops)
    refused = desk.run("-c", HOST, "prepare", str(desk.cable.port))
    assert refused.code == 1, refused
    assert "neither a box nor MicroPython answers" in refused.err
    assert "BOOTSEL" in refused.err and "Traceback" not in refused.err
    assert len(desk.box.flash.ops) == writes


def report(**runs) -> None:
    """Print the times, for whoever runs with -s."""
    for name, ended in runs.items():
        print(f"\n{name}: {ended.emulated_s:.1f} s emulated, {ended.real_s:.0f} s real")
