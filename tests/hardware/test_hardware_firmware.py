"""The firmware's board files and box.toml say the same, and a pin changed in one of them fails."""

import shutil

import pytest

from hardware import board_file, rules
from hardware.load import box_of

BOARDS = board_file.FIRMWARE / "boards"


@pytest.fixture
def boards(tmp_path):
    """A copy of the board files."""
    return shutil.copytree(BOARDS, tmp_path / "boards")


def alter(folder, old, new):
    path = folder / "pico.py"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_board_files_agree(box):
    assert rules.firmware_faults(box) == []


@pytest.mark.parametrize(
    "old, new, sentence",
    [
        ("Pin(16)", "Pin(18)", "has lamps on GP18, box.toml has it on GP16"),
        ("(10, 11, 12, 13)", "(10, 12, 11, 13)", "has button2 on GP12, box.toml has it on GP11"),
        ("BUS_PINS = (4, 5)", "BUS_PINS = (4, 7)", "has scl on GP7, box.toml has it on GP5"),
        ("Pin(6, ", "Pin(7, ", "has clock_square on GP7"),
        ("PWM(Pin(15)), PWM(Pin(14))", "PWM(Pin(14)), PWM(Pin(15))", "has line on GP15"),
        ("freq=400_000", "freq=1_000_000", "has bus_hz 1000000, box.toml has 400000"),
        ("LAMP_CAP = 64", "LAMP_CAP = 255", "has lamp_cap 255, box.toml has 64"),
        ("LAMPS = 8", "LAMPS = 12", "has lamps 12, box.toml has 8"),
        ("Pin.IN, Pin.PULL_UP)\n\n\n_battery", "Pin.IN)\n\n\n_battery", "without a pull-up"),
        ("RECEIVER_PIN = 18", "RECEIVER_PIN = 20", "has receiver on GP20, box.toml has it on GP18"),
        (
            "RECEIVER_PIN = 18",
            "RECEIVER_PIN = None",
            "has nothing for receiver, box.toml has it on",
        ),
        ("EMITTER_PIN = 19", "EMITTER_PIN = 18", "has emitter on GP18, box.toml has it on GP19"),
        (
            "RECEIVER_PIN, Pin.IN, Pin.PULL_UP",
            "RECEIVER_PIN, Pin.IN",
            "the receiver without a pull-up",
        ),
        ("Pin.OUT, value=0)", "Pin.OUT, value=1)", "lights the emitters as it sets up their pin"),
        ("65535", "32767", "every battery would be shown wrong"),
        ("Pin(BUTTON_PINS[slot]", "Pinn(BUTTON_PINS[slot]", "can't be run to see its pins"),
    ],
)
def test_a_board_file_that_differs_is_named(box, boards, old, new, sentence):
    alter(boards, old, new)
    found = [fault for fault in rules.firmware_faults(box, boards) if sentence in fault]
    assert found and all("pico.py" in fault for fault in found), sentence


def test_a_missing_board_file_is_a_sentence(box, boards):
    (boards / "pico2.py").unlink()
    assert any("pico2.py can't be run" in fault for fault in rules.firmware_faults(box, boards))


def test_every_pin_of_the_source_is_compared(data, box):
    for name, pin in box.pins.by_name().items():
        other = {**data, "pins": {**data["pins"]}}
        if name.startswith("button"):
            numbers = list(data["pins"]["button"])
            numbers[int(name[6:]) - 1] = 22
            other["pins"]["button"] = numbers
        else:
            other["pins"][name] = 22
        found = rules.firmware_faults(box_of(other))
        assert any(f"{name} on GP{pin}" in fault and "GP22" in fault for fault in found), name


def test_nothing_is_left_behind_of_the_stand_ins():
    import sys

    before = set(sys.modules)
    board_file.read(BOARDS / "pico.py")
    left = set(sys.modules) - before
    assert not left & {"machine", "box", "box.infrared", "box.emitter"}
    assert str(board_file.FIRMWARE) not in sys.path[:1]
