"""Virtual boxes in the terminal: what is drawn, what the keys do, how it leaves the terminal."""

import io
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from virtual_lab import Lab, needs_micropython, until

pytest.importorskip("rich", reason="rich draws the terminal")

from rich.console import Console

from handbell.virtual.screen import HEIGHT, WIDTH
from handbell.virtual.terminal import Controls, run_terminal, split_keys
from handbell.virtual.terminal_view import (
    PANEL_HEIGHT,
    PANEL_WIDTH,
    braille,
    colour_letter,
    note_name,
    shown_range,
    view,
)

BOX = """
out = Pin(20, Pin.OUT)
for slot in (0, 1):
    Pin(10 + slot, Pin.IN).irq(lambda pin: out(1 - pin()), 12)
i2c = I2C(0, freq=400000)
i2c.writeto(0x3C, bytes((0, 0xAF, 0x20, 0)))
i2c.writeto(0x3C, b"\\x40" + bytes((255,) * 128))
strip = neopixel.NeoPixel(Pin(16), 8)
strip[0] = (23, 16, 0)
strip.write()
PWM(Pin(15), freq=880, duty_u16=100)
rest()
"""


@pytest.fixture
def lab(tmp_path):
    lab = Lab(tmp_path)
    with lab.world:
        yield lab


def drawn(
    lab: Lab,
    selected: int = 0,
    message: str = "",
    width: int = 140,
    height: int = 50,
    hint: str = "",
) -> str:
    console = Console(file=io.StringIO(), width=width, height=height)
    console.print(view(lab.world, selected, message, width, height, hint))
    return console.file.getvalue()  # type: ignore[attr-defined]


def test_braille_has_a_dot_for_each_pixel():
    # Unicode block 2800: dots 1-2-3-7 are the left column, 4-5-6-8 the right, bits in that order.
    for bit, (x, y) in enumerate([(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2), (0, 3), (1, 3)]):
        pixels = bytearray(WIDTH * HEIGHT)
        pixels[(4 + y) * WIDTH + 6 + x] = 1
        lines = braille(bytes(pixels))
        assert (len(lines), len(lines[0])) == (16, 64)
        assert lines[1][3] == chr(0x2800 + (1 << bit))
        assert sum(cell != "\u2800" for line in lines for cell in line) == 1


def test_colours_have_letters_however_dim():
    # Okabe and Ito's palette, as in the check values
    palette = {"O": "E69F00", "S": "56B4E9", "G": "009E73", "Y": "F0E442", "B": "0072B2"}
    for letter, code in {**palette, "V": "D55E00", "P": "CC79A7", "W": "FFFFFF"}.items():
        colour = tuple(bytes.fromhex(code))
        assert colour_letter(colour) == letter
        assert colour_letter(tuple(part // 4 for part in colour)) == letter
    assert colour_letter((0, 0, 0)) == "·"


def test_notes_are_named():
    # ISO 16 and equal temperament: check values
    named = {440: "A4", 523: "C5", 659: "E5", 784: "G5", 1047: "C6", 1319: "E6", 2093: "C7"}
    assert {freq: note_name(freq) for freq in named} == named


def test_only_whole_boxes_are_shown_and_the_selected_one_is_among_them():
    wide, high = 2 * PANEL_WIDTH, 2 * PANEL_HEIGHT + 3
    assert list(shown_range(9, 0, wide, high)) == [0, 1, 2, 3]
    assert list(shown_range(9, 5, wide, high)) == [4, 5, 6, 7]
    assert list(shown_range(9, 8, wide, high)) == [8]
    assert list(shown_range(9, 7, 20, 10)) == [7]


def test_arrows_are_single_keys():
    assert split_keys("a\x1b[C2\tq") == ["a", "\x1b[C", "2", "\t", "q"]


@needs_micropython
def test_a_picture_shows_screen_light_sound_and_address(lab):
    box = lab.box(BOX, name="harbour")
    lab.world.run_to(1_000_000)
    picture = drawn(lab)
    assert picture.count("⣿") == 2 * 64, "the top eight rows are lit, and no more"
    assert "harbour  (selected)" in picture
    assert "light  O   ·   ·   ·   ·   ·   ·   ·" in picture
    assert "A5 880 Hz, ringing" in picture
    assert "4.00 V, cable in" in picture
    assert "harbour" in box.url and box.url[:20] in picture
    assert max(map(len, picture.splitlines())) <= 140
    box.unplug()
    assert "cable out" in drawn(lab)
    box.cut_power()
    assert "no power" in drawn(lab)
    assert "880 Hz, 1 s ago" in drawn(lab)


@needs_micropython
def test_a_usual_terminal_holds_a_whole_box_and_the_keys(lab):
    lab.box("rest()", name="a")
    lab.box("rest()", name="b")
    hint = "In another terminal:  . /home/coach/.local/share/handbell/virtual/boxes.sh"
    picture = drawn(lab, selected=1, width=80, height=24, hint=hint)
    assert len(picture.splitlines()) <= 24 and hint in picture
    assert "boxes 2-2 of 2" in picture
    assert "q quit" in picture


@needs_micropython
def test_keys_tap_hold_unplug_and_cut(lab):
    boxes = [lab.box(BOX, name=name, buttons=2) for name in ("a", "b", "c")]
    controls = Controls(lab.world)
    lab.world.run_to(1_000_000)

    def lengths(box):
        lab.world.run_for(3_000_000)
        moments = [change.world_us for change in box.outputs.get(20, ())]
        return [b - a for a, b in zip(moments[::2], moments[1::2], strict=True)]

    controls.press("2")
    assert controls.selected == 1
    assert lengths(boxes[1]) == [120_000]
    assert controls.words == "b button 1 tapped"
    controls.press("S")
    lab.world.run_for(7_000_000)
    assert controls.words == "b button 2 is down 7.0 s: S lets go"
    controls.press("S")
    assert lengths(boxes[1]) == [120_000, 7_000_000]
    controls.press("A")
    lab.world.run_for(500_000)
    controls.press("\t")
    controls.press("\x1b[D")
    controls.press("a")
    assert lengths(boxes[1])[2:] == [500_000], "a small letter lets go, too"
    assert controls.words == "b button 1 held 0.5 s"
    controls.press("d")
    assert "no button 3" in controls.message
    controls.press("\t")
    controls.press("\t")
    assert controls.selected == 0
    controls.press("u")
    assert not boxes[0].is_plugged
    controls.press("u")
    assert boxes[0].is_plugged
    controls.press("p")
    assert not boxes[0].is_alive()
    controls.press("a")
    assert "no power" in controls.message
    controls.press("p")
    assert boxes[0].is_alive()
    controls.press("9")
    controls.press("?")
    assert controls.selected == 0


@needs_micropython
def test_keys_can_be_lent_and_q_ends_it(lab):
    box = lab.box(BOX, name="lent")
    console = Console(file=io.StringIO(), width=100, height=40, force_terminal=True)
    run_terminal(lab.world, keys=["", "1", "u", "q", "p"], console=console)
    assert not box.is_plugged
    assert box.is_alive(), "keys after q count no more"
    assert "lent button 1 tapped" in console.file.getvalue()  # type: ignore[attr-defined]


SCRIPT = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from virtual_lab import Lab
from handbell.virtual.terminal import run_terminal
lab = Lab(Path({folder!r}))
with lab.world:
    lab.box("rest()", name="real")
    run_terminal(lab.world)
print("ended")
"""


def script(folder: Path) -> list[str]:
    source = SCRIPT.format(tests=str(Path(__file__).parent), folder=str(folder))
    return [sys.executable, "-c", source]


@needs_micropython
def test_a_real_terminal_is_left_as_it_was(tmp_path):
    pty = pytest.importorskip("pty", reason="a pseudo-terminal stands for the terminal")
    termios = pytest.importorskip("termios", reason="a pseudo-terminal stands for the terminal")
    master, slave = pty.openpty()
    before = termios.tcgetattr(slave)
    process = subprocess.Popen(script(tmp_path), stdin=slave, stdout=slave, stderr=slave)
    os.set_blocking(master, False)
    shown = bytearray()

    def show() -> bytearray:
        try:
            shown.extend(os.read(master, 65536))
        except BlockingIOError:
            time.sleep(0.01)
        return shown

    try:
        assert until(lambda: b"real" in show(), 15), shown
        assert termios.tcgetattr(slave) != before
        os.write(master, b"q")
        assert until(lambda: show() and process.poll() is not None, 15)
    finally:
        process.kill()
        process.wait()
    assert termios.tcgetattr(slave) == before
    assert until(lambda: b"ended" in show())
    assert b"\x1b[?1049l" in shown, "the screen that was there comes back"
    os.close(master)
    os.close(slave)


@needs_micropython
def test_without_a_terminal_the_addresses_are_printed(tmp_path):
    process = subprocess.Popen(script(tmp_path), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE)
    assert process.stdout
    try:
        line = process.stdout.readline().decode().split()
        assert line == ["real", str(tmp_path / "world" / "ports" / "real")]
        process.send_signal(2)
        assert process.wait(15) == 0
        assert b"ended" in process.stdout.read()
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
