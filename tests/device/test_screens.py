"""The screens, drawn by the real code under real MicroPython and read back from the bus.

What the box sends is decoded by the virtual panel, which shares nothing with the driver. Set
``HANDBELL_UPDATE_PICTURES=1`` to make the pictures of the manual anew; then look at them.
"""

import itertools
import os
import subprocess
import unicodedata
from pathlib import Path

import pytest
from runtimes import micropython_path

from handbell.virtual.screen import Screen

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "docs" / "img"
MANUAL = ROOT / "docs" / "coaches" / "screens.md"
DISPLAYS = ROOT / "docs" / "makers" / "hardware.md"
SCALE, MARGIN = 4, 12
LIT, GLASS = (222, 232, 236), (14, 16, 20)

# The states whose screens the manual shows; more below are variants.
SHOWN = [
    "lead-in", "open", "target", "made", "made-all", "four", "hold", "last", "back", "each-side",
    "relay", "tally", "break", "change", "warm-up", "gate", "leaving",
    "led-start", "led-gate", "paused", "going", "alone", "set", "held", "again", "starts", "door",
    "menu", "stay",
    "sure", "waits", "rating", "end", "resting", "cut", "health", "identify", "trouble", "fault",
    "stopped",
]  # fmt: skip


class Scene:
    def __init__(self, pixels, boxes, out, transfers):
        self.pixels = pixels
        self.boxes = boxes
        self.out = out
        self.transfers = transfers


class Told:
    """What the probe told: scenes in order, facts, and the rest of its lines by first word."""

    def __init__(self, lines):
        self.panel = Screen()
        self.scenes = {}
        self.facts = {}
        self.lines = []
        self._begin()
        for line in lines:
            getattr(self, "_" + line.split()[0], self._other)(line.split())

    def _begin(self):
        self.boxes, self.cut, self.transfers = [], [], []

    def _w(self, words):
        assert int(words[1]) == 0x3C
        self.transfers.append(bytes.fromhex(words[2]))
        self.panel.take(self.transfers[-1], 0)

    def _box(self, words):
        self.boxes.append((words[1], tuple(map(int, words[2:6])), words[6]))

    def _out(self, words):
        self.cut.append(words)

    def _scene(self, words):
        pixels = self.panel.pixels() if self.transfers else b""
        self.scenes[words[1]] = Scene(pixels, self.boxes, self.cut, self.transfers)
        self._begin()

    def _fact(self, words):
        self.facts[words[1]] = words[2:]

    def _other(self, words):
        self.lines.append(words)


@pytest.fixture(scope="module")
def told(micropython):
    kept = {}

    def tell(which):
        if which not in kept:
            # The probe itself, compiled on the spot, takes a third of what a core's test may have.
            roomy = [micropython[0], "-X", "heapsize=320wk"]
            done = subprocess.run(
                [*roomy, str(Path(__file__).with_name("screens_probe.py")), which],
                env={**os.environ, "MICROPYPATH": micropython_path()},
                capture_output=True,
                text=True,
                timeout=120,
                check=False,
            )
            assert done.returncode == 0, done.stdout[-2000:] + done.stderr
            kept[which] = Told(done.stdout.splitlines())
        return kept[which]

    return tell


def picture_of(pixels):
    image = pytest.importorskip("PIL.Image", reason="Pillow makes the pictures")
    glass = image.new("RGB", (128, 64), GLASS)
    glass.putdata([LIT if lit else GLASS for lit in pixels])
    glass = glass.resize((128 * SCALE, 64 * SCALE), image.Resampling.NEAREST)
    whole = image.new("RGB", (glass.width + 2 * MARGIN, glass.height + 2 * MARGIN), GLASS)
    whole.paste(glass, (MARGIN, MARGIN))
    return whole


@pytest.mark.parametrize("name", SHOWN)
def test_picture_in_manual_is_what_the_box_shows(told, name):
    fresh = picture_of(told("plain").scenes[name].pixels)
    path = PICTURES / f"screen-{name}.png"
    if os.environ.get("HANDBELL_UPDATE_PICTURES"):
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh.save(path, optimize=True)
    from PIL import Image

    with Image.open(path) as kept:
        assert kept.convert("RGB").tobytes() == fresh.tobytes(), f"{path.name} is out of date"


def test_manual_shows_every_picture_with_a_sentence():
    text = MANUAL.read_text(encoding="utf-8")
    for name in SHOWN:
        assert f"(../img/screen-{name}.png)" in text, name
    kept = {path.stem for path in PICTURES.glob("screen-*.png")}
    assert kept == {f"screen-{name}" for name in SHOWN}


def test_probe_has_no_scene_that_nobody_shows(told):
    assert sorted(told("plain").scenes) == sorted(SHOWN)


@pytest.mark.parametrize("which", ["plain", "longest"])
def test_nothing_is_cut_and_no_texts_overlap(told, which):
    scenes = told(which).scenes
    assert len(scenes) >= (500 if which == "longest" else len(SHOWN))
    for name, scene in scenes.items():
        assert not scene.out, name
        for one, other in itertools.combinations(scene.boxes, 2):
            a, b = one[1], other[1]
            apart = a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]
            assert apart, (name, one, other)


def test_screens_differ_by_far_more_than_a_digit(told):
    scenes = told("plain").scenes
    for (name, one), (other_name, other) in itertools.combinations(scenes.items(), 2):
        differ = sum(a != b for a, b in zip(one.pixels, other.pixels, strict=True))
        assert differ > 60, (name, other_name)


def test_a_press_is_seen_before_anything_else_changes(told):
    scenes = told("parts").scenes
    up, down = scenes["up"].pixels, scenes["down"].pixels
    changed = [at for at in range(len(up)) if up[at] != down[at]]
    assert len(changed) >= 60
    assert all(down[at] for at in changed)  # it only adds
    assert (
        min(at % 128 for at in changed) >= 90
    )  # and stands under that bib's number, the right one


def largest(scene):
    return max((bounds[3] - bounds[1], s) for kind, bounds, s in scene.boxes if kind != "text")[1]


def test_seconds_left_are_the_largest_thing_on_each_screen(told):
    scenes = told("plain").scenes
    seconds = {
        "lead-in": "8", "open": "18", "target": "21", "made": "16", "made-all": "17", "four": "19",
        "hold": "4", "last": "4", "back": "21", "each-side": "14", "relay": "38", "tally": "22", "break": "46",
        "change": "11", "warm-up": "89", "leaving": "13", "set": "25", "menu": "17",
        "door": "20", "sure": "14", "again": "4",
    }  # fmt: skip
    for name, left in seconds.items():
        assert largest(scenes[name]) == left, name


def numbers(scene):
    return [s for kind, _, s in scene.boxes if kind != "text"]


def words(scene):
    return [bytes.fromhex(s).decode("latin-1") for kind, _, s in scene.boxes if kind == "text"]


def test_a_start_taken_back_at_the_box_praises_nobody(told):
    scene = told("longest").scenes["not-started"]
    assert "Not started" in words(scene) and "Well done" not in words(scene)
    assert not scene.out


def test_numbers_beside_the_seconds(told):
    scenes = told("plain").scenes
    assert numbers(scenes["open"])[1:] == ["6", "8"]
    assert numbers(scenes["target"])[1:] == ["7", "4"]  # of 10, after 3 and 6 taps
    assert numbers(scenes["made"])[1:] == ["3"]
    assert "Made it" in words(scenes["made"])
    assert numbers(scenes["hold"])[1:] == ["23"]  # dropped 23.1 s after the start
    assert "Hold on" in words(scenes["hold"])
    assert numbers(scenes["back"])[1:] == ["7", "-1"]
    assert numbers(scenes["tally"])[1:] == ["4", "7"]
    assert numbers(scenes["rating"]) == ["7", "-", "4"]
    assert numbers(scenes["end"]) == ["186", "203", "158"]


def test_a_low_battery_is_told_where_a_class_is_started_by_hand(told):
    shown = set(words(told("longest").scenes["resting-24-1-0-0"]))
    assert {"Battery low", "No clock: start by hand"} <= shown


def test_a_clock_that_is_too_poor_to_start_in_step_says_by_how_much(told):
    """From a tenth of a second; the bound of 30 ppm is there after an hour without a host."""
    scenes = told("longest").scenes
    assert "Clock \xb112.3 s, hold to start" in words(scenes["resting-188-1-1-0"])
    assert "Clock good, hold to start" in words(scenes["resting-24-1-1-0"])


@pytest.mark.parametrize("name", ["again-owed-1-words", "gate-owed-1-words"])
def test_a_hold_that_was_made_and_not_yet_read_is_not_asked_for(told, name):
    """Nor is a tap: it takes nothing back any more."""
    assert words(told("longest").scenes[name]) == ["Wait"]


def test_words(told):
    scenes = told("plain").scenes
    assert {"Push-up", "Next: Plank", "to do", "7", "12"} <= set(words(scenes["target"]))
    assert {"Hold to", "go on", "11 s to 18:30:30", "Next: Squat"} <= set(words(scenes["gate"]))
    assert {"Goes on at 18:30:30", "Next: Squat"} <= set(words(scenes["leaving"]))
    assert {"Starts at 18:30:30", "Hold: other time", "Harbour loop"} <= set(
        words(scenes["starts"])
    )
    assert {"Choices?", "Hold: show them", "Tap: carry on"} <= set(words(scenes["door"]))
    assert {"Stop?", "Hold 5 s: stop", "Tap: carry on"} <= set(words(scenes["sure"]))
    assert "Stay at the gate" in words(scenes["stay"])
    assert {"Stopped", "Switch it off and on"} <= set(words(scenes["stopped"]))
    assert {"Starts at 18:30:30", "Harbour loop"} <= set(words(scenes["set"]))
    assert {"Break", "Next in", "Squat"} <= set(words(scenes["break"]))
    assert "Then this box waits" in words(scenes["waits"])
    assert "Other side" in words(scenes["each-side"])
    relay = {"Bib", "10 Sled push", "leg 3", "Then bib 7"}
    assert relay <= set(words(scenes["relay"])) and numbers(scenes["relay"])[1:] == ["31"]
    back = told("longest").scenes["relay-back-0-words-95"]
    assert "leg back" in words(back) and numbers(back)[1:] == ["888"]
    assert {"Bench", "Harbour loop", "Clock good, hold to start"} <= set(words(scenes["resting"]))
    assert {"No clock: start by hand", "Lost power in a class"} <= set(words(scenes["cut"]))
    assert {"Fault 37", "Send the plan again"} <= set(words(scenes["trouble"]))


def test_a_tally_that_was_confirmed_says_what_a_tap_does_to_it(told):
    """It goes on from what was kept: whoever counts anew enters the sum of both."""
    scenes = told("longest").scenes
    told_words = [w for name, s in scenes.items() if name.startswith("tallying") for w in words(s)]
    assert {w for w in told_words if w.startswith("Kept")} == {"Kept. A tap adds one"}


def test_who_leaves_it_out_is_told_to_rest(told):
    scenes = told("longest").scenes
    for bibs in (1, 2):
        shown = words(scenes[f"none-{bibs}-words-95-9000"])
        assert "Rest" in shown and "Go on" not in shown


# The display


def test_panel_is_set_up_as_its_data_sheet_says(told):
    """SSD1306: 8 pages of 128 bytes, command 0x20 sets the addressing mode (quoted)."""
    first = told("parts").scenes["first"].transfers
    setup = first[0]
    assert setup[:2] == b"\x00\xae" and setup[-1] == 0xAF  # off while it is set up
    assert b"\x20\x00" in setup and b"\xa8\x3f" in setup
    pixels = sum(len(piece) - 13 for piece in first if piece[-1:] and piece[0] == 0x80)
    assert pixels == 8 * 128  # the first time all of it, whatever the glass held


def test_every_transfer_is_short(told):
    """On an emulated chip at 400 kHz 33 bytes took 0.93 ms, 129 took 3.5 ms: 26.8 us a byte."""
    for scene in told("plain").scenes.values():
        for piece in scene.transfers:
            assert 0.93 + (len(piece) - 33) * 0.0268 <= 1.3


def test_only_what_changed_is_sent(told):
    parts = told("parts")
    assert parts.facts["again"] == ["False"]
    following = parts.scenes["next"].transfers
    assert 1 <= len(following) <= 14  # a digit of the seconds, not 32 tiles
    assert parts.scenes["contrast"].transfers == [b"\x00\x81\x28"]


def test_a_panel_that_goes_away_and_comes_back(told):
    parts = told("parts")
    assert parts.facts["gone"] == ["False", "False"]
    assert parts.facts["tries"] == ["0", "False"]
    mended = parts.scenes["mended"]
    assert mended.transfers[0] == parts.scenes["first"].transfers[0]
    assert len(mended.transfers) >= 34
    assert mended.pixels != parts.scenes["next"].pixels


def test_sending_takes_no_memory(told):
    pieces, taken = map(int, told("parts").facts["pieces"])
    assert pieces >= 1
    assert taken <= 64  # what telling it costs
    (drawing,) = map(int, told("parts").facts["drawing"])
    assert drawing <= 12_000  # on the desktop, where an object is twice as large as on the chip


# The characters


def test_every_latin_letter_has_a_shape_of_its_own(told):
    shapes = {}
    for _, code, _, rows in (line for line in told("faces").lines if line[0] == "letter"):
        shapes[int(code)] = rows
    drawn = [*range(33, 127), *range(0xA1, 0x100)]
    same = {rows: [c for c in drawn if shapes[c] == rows] for rows in (shapes[c] for c in drawn)}
    twins = sorted(codes for codes in same.values() if len(codes) > 1)
    assert twins == [[0x2D, 0xAD]]  # the soft hyphen is a hyphen
    assert shapes[0x20] == shapes[0xA0]
    assert not any(int(row, 16) for row in shapes[0x20].split(","))
    for code in [*range(32), *range(0x80, 0xA0)]:
        assert shapes[code] == shapes[ord("?")]


def test_an_accented_letter_is_its_letter_with_something_added(told):
    ink = {}
    for _, code, _, rows in (line for line in told("faces").lines if line[0] == "letter"):
        ink[int(code)] = [int(row, 16) for row in rows.split(",")]
    for code in range(0xC0, 0x100):
        parts = unicodedata.normalize("NFD", chr(code))
        if len(parts) == 1 or parts[0] in "iI":
            continue
        letter, whole = ink[ord(parts[0])], ink[code]
        assert all(a & b == a for a, b in zip(letter, whole, strict=True)), chr(code)
        more = [row for row, (a, b) in enumerate(zip(letter, whole, strict=True)) if a != b]
        below = parts[1] == "\u0327"  # a cedilla
        assert all((row > 10) == below for row in more) and more, chr(code)


def test_numerals_stay_in_their_box_and_apart_from_each_other(told):
    """The pairs a glance confuses differ by a fifth of their ink or more, at every height."""
    shapes = {}
    for _, height, numeral, out, rows in (x for x in told("faces").lines if x[0] == "numeral"):
        assert out == "0", (height, numeral)
        shapes[int(height), numeral] = [int(row, 16) for row in rows.split(",")]

    def ink(rows):
        return sum(row.bit_count() for row in rows)

    for height in sorted({height for height, _ in shapes}):
        for pair in itertools.combinations("0123456789", 2):
            one, other = (shapes[height, numeral] for numeral in pair)
            differ = ink([a ^ b for a, b in zip(one, other, strict=True)])
            assert differ >= 0.2 * max(ink(one), ink(other)), (height, pair)


def test_a_text_fits_the_room_it_was_cut_to(told):
    lines = [line for line in told("faces").lines if line[0] == "fit"]
    assert len(lines) > 500
    for _, room, wide, whole, full in lines:
        assert int(wide) <= int(room)
        assert (whole == "1") == (int(full) <= int(room))


# How far it can be read

ARCMIN_BEST, ARCMIN_LEAST = 0.00582, 0.00436  # of the distance, at 20 and 15 arcmin (NUREG-0700)
PANELS_MM = (("2.42 inch", 27.5), ("0.96 inch", 10.9))  # height of 64 rows (memory)
SIZES = (
    ("seconds, the last five", 64),
    ("seconds", 40),
    ("reps of one bib", 34),
    ("reps of two bibs", 26),
    ("reps of four bibs", 15),
    ("large words", 14),
    ("small words", 7),
)


def legibility_table():
    head = ["what", "rows"]
    for panel, _ in PANELS_MM:
        head += [f"{panel}: mm", "easily to", "just to"]
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    for what, rows in SIZES:
        cells = [what, str(rows)]
        for _, height_mm in PANELS_MM:
            mm = height_mm * rows / 64
            cells += [f"{mm:.1f}", f"{mm / ARCMIN_BEST / 1000:.1f} m"]
            cells.append(f"{mm / ARCMIN_LEAST / 1000:.1f} m")
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def test_manual_says_how_far_each_size_can_be_read():
    assert legibility_table() in DISPLAYS.read_text(encoding="utf-8")


def test_the_sizes_of_that_table_are_those_on_the_screens(told):
    drawn = {
        int(kind[6:])
        for which in ("plain", "longest")
        for scene in told(which).scenes.values()
        for kind, _, _ in scene.boxes
        if kind != "text"
    }
    assert {rows for what, rows in SIZES if "words" not in what} <= drawn
    assert max(drawn) == 64
