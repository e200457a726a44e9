"""A part that stops in the middle of a byte holds the bus; and displays of other kinds.

NXP, UM10204, section "Bus clear": up to nine clock pulses until the data line is free, then a stop
condition. The modelled part takes nothing before it saw both.
"""

import struct

import pytest
from test_keeper import set_clock
from troubled import BELLS_S, assert_rang, troubled, two_windows
from virtual_lab import Lab

from handbell_core import journal
from made import lead_in, rest, window
from rig import Rig, of_kind, reps, timeline

pytestmark = pytest.mark.usefixtures("micropython")

CLEAR = """
import _bus
from boards_pico import bus, clear_bus
from box_bus import Bus
line = Bus(sys.modules["boards_pico"])
tell(line.freed)
for pulses in {pulses}:
    _bus.hold(pulses)
    t = time.ticks_us()
    try:
        line.writeto(0x3C, b"\\x00")
        tell("taken")
    except OSError as e:
        tell(e.errno, time.ticks_diff(time.ticks_us(), t))
    t = time.ticks_us()
    line.free()
    tell(time.ticks_diff(time.ticks_us(), t))
    try:
        line.writeto(0x3C, b"\\x00")
        tell("taken", line.freed)
    except OSError as e:
        tell(e.errno, line.freed)
rest()
"""


@pytest.fixture
def lab(tmp_path):
    from handbell.virtual.spec import firmware_root

    lab = Lab(tmp_path)
    folder = tmp_path / "one-firmware"
    folder.mkdir()
    for name in ("boards/pico.py", "box/bus.py"):
        text = (firmware_root() / name).read_text(encoding="utf-8")
        (folder / name.replace("/", "_")).write_text(text, encoding="utf-8")
    with lab.world:
        yield lab


def test_a_bus_is_free_after_as_many_pulses_as_the_part_wants(lab):
    lab.box(CLEAR.format(pulses=list(range(1, 10))))
    lab.world.run_for(5_000_000)
    freed, *notes = lab.notes()
    assert freed == "0", "a bus that nobody holds is left alone"
    for n in range(9):
        held, cleared_us, taken = notes[3 * n : 3 * n + 3]
        assert held.split()[0] == "110" and int(held.split()[1]) <= 10_000
        assert int(cleared_us) < 1_000
        assert taken == f"taken {n + 1}"


def test_a_bus_that_stays_held_costs_no_more_than_a_transfer(lab):
    lab.box(CLEAR.format(pulses=[100]))
    lab.world.run_for(5_000_000)
    _, held, cleared_us, taken = lab.notes()
    assert held.split()[0] == "110" and int(cleared_us) < 1_000
    assert taken.split()[0] == "110"


HANGS = """
    import time
    from box.bus import Bus
    import _bus
    whole = Bus.writeto
    began, held = [], []
    from box.session import Session
    begin = Session.begin_log
    def begins(self):
        begin(self)
        began.append(self)
    Session.begin_log = begins
    def writeto(self, address, data):
        of = began[0] if began else None
        if of and not held and of.runner.class_ms(of.run_ms()) > {at_ms}:
            held.append(1)
            _bus.hold({pulses})
        return whole(self, address, data)
    Bus.writeto = writeto
"""


def shown(rig):
    return sum(rig.box.screen.pixels())


@pytest.mark.parametrize("pulses", [1, 9])
def test_a_display_that_stops_in_the_middle_of_a_byte_comes_back_in_class(tmp_path, pulses):
    data = timeline(two_windows)
    trouble = HANGS.format(at_ms=12_000, pulses=pulses)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(8_000_000)
        start = rig.arm([data])
        for at_s in (6, 7, 13, 14):
            rig.box.press(0, start + at_s * 1_000_000)
        rig.world.run_to(start + 16_000_000)
        seen = len(rig.box.screen.history)
        rig.world.run_to(start + 20_000_000)
        assert len(rig.box.screen.history) > seen, "it shows the seconds again"
        rig.world.run_to(start + 120_000_000)
        assert_rang(rig, start)
        (run,) = rig.runs()
        # The clock part works again too: a host's clock is set in it.
        set_clock(rig, off_us=5_000_000)
        rig.world.run_for(10_000_000)
        now_us = rig.world.now_us()
        wanted_us = rig.world.clock.start_utc_us + now_us + 5_000_000
        assert abs(rig.box.rtc.utc_us(now_us) - wanted_us) < 1_150_000  # it counts whole seconds
    assert reps(run)[7, 1] == 4
    assert struct.unpack("<BBHII", of_kind(run, journal.END)[0][4])[2] == 0, "late cues"


def test_a_bus_that_stays_held_makes_no_bell_late_and_loses_no_press(tmp_path):
    data = timeline(two_windows)
    trouble = HANGS.format(at_ms=3_000, pulses=1 << 20)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        start = rig.arm([data])
        for at_s in (6, 7, 13, 14):
            rig.box.press(0, start + at_s * 1_000_000)
        rig.world.run_to(start + 120_000_000)
        bells = [bell - start for bell in rig.box.sound.bells() if bell > start]
        for due_s in BELLS_S:
            assert min(abs(bell - due_s * 1_000_000) for bell in bells) < 1_000, due_s
        (run,) = rig.runs()
    assert reps(run)[7, 1] == 4


HELD = """
    import _bus
    from box.bus import Bus
    made = Bus.__init__
    def held(self, board):
        board.bus()
        _bus.hold({pulses})  # a reset came in the middle of a read
        made(self, board)
    Bus.__init__ = held
"""


def test_a_part_that_lets_go_of_the_bus_late_is_found_then(tmp_path):
    firmware = troubled(tmp_path, HELD.format(pulses=25))
    with Rig(tmp_path, rtc=True, firmware=firmware) as rig:
        rig.world.run_for(10_000_000)
        assert rig.ask("status")["rtc"] is True
        assert shown(rig) > 0


def test_a_clock_part_that_held_the_bus_at_the_start_joins_the_class_again(tmp_path):
    trouble = HELD.format(pulses=5)

    def spans():
        return [lead_in(5_000), window(20_000), rest(10_000), window(20_000)]

    data = timeline(spans)
    with Rig(tmp_path, rtc=True, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        rig.world.run_for(8_000_000)
        start = rig.arm([data])
        rig.box.unplug()
        rig.world.run_to(start + 12_000_000)
        rig.box.cut_power()
        rig.world.run_to(start + 15_000_000)
        rig.box.power_up()
        rig.world.run_to(start + 20_000_000)
        rig.box.plug_in()
        status = rig.ask("status")
        assert status["rtc"] is True and status["state"] == "play"
        assert shown(rig) > 0


# Displays of other kinds


def test_a_display_with_a_reset_pin_gets_its_pulse_before_anything_else(tmp_path):
    trouble = """
        BOARD.DISPLAY_RESET_PIN = 7
        from machine import Pin
        BOARD.display_reset = lambda: Pin(BOARD.DISPLAY_RESET_PIN, Pin.OUT, value=1)
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.world.run_for(1_000_000)
        high, low, back = list(rig.box.outputs[7])
        assert (high.level, low.level, back.level) == (1, 0, 1)
        # SSD1306 data sheet, power-on sequence: low for 3 us at least, and as long before a command.
        assert back.world_us - low.world_us >= 3
        assert rig.box.screen.history[0] - back.world_us >= 3
        assert shown(rig) > 0


def test_a_display_without_one_drives_no_pin(tmp_path):
    with Rig(tmp_path) as rig:
        rig.world.run_for(1_000_000)
        assert 7 not in rig.box.outputs


def test_a_paged_display_shows_what_another_shows(tmp_path):
    data = timeline(two_windows)
    seen = []
    for kind in ("ranges", "pages"):
        trouble = f"BOARD.DISPLAY_PAGED = {kind == 'pages'}"
        folder = tmp_path / kind
        folder.mkdir()
        with Rig(folder, firmware=troubled(folder, trouble), screen_kind=kind) as rig:
            rig.send([data])
            start = rig.arm([data])
            pictures = []
            for at_s in (3, 12, 30, 50):
                rig.world.run_to(start + at_s * 1_000_000 + 500_000)
                pictures.append(rig.box.screen.pixels())
            assert all(sum(picture) > 50 for picture in pictures)
            seen.append(pictures)
    assert seen[0] == seen[1]


def test_a_paged_panel_shows_nothing_right_when_it_is_told_ranges(tmp_path):
    with Rig(tmp_path, screen_kind="pages") as rig:
        rig.world.run_for(2_000_000)
        wrong = rig.box.screen.pixels()
    folder = tmp_path / "right"
    folder.mkdir()
    with Rig(folder) as rig:
        rig.world.run_for(2_000_000)
        assert rig.box.screen.pixels() != wrong
