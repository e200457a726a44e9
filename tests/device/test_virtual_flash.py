"""The flash of virtual boxes: what was flushed is there after power was cut, whenever it was."""

import pytest
from virtual_lab import Lab, needs_micropython

from handbell.virtual.spec import FLASH_BLOCK_SIZE, FLASH_BLOCKS

pytestmark = needs_micropython

LOGGER = """
def rec(i):
    return b"%06d:a record of the log!\\n" % i
LENGTH = len(rec(0))
try:
    data = open("log", "rb").read()
except OSError:
    data = b""
whole = len(data) // LENGTH
good = all(data[i * LENGTH : (i + 1) * LENGTH] == rec(i) for i in range(whole))
tell(whole, int(good))
log = open("log", "ab")
for i in range(whole, whole + 40):
    log.write(rec(i))
    log.flush()
    Pin(20, Pin.OUT).toggle()
    wait_us(100000)
rest()
"""


@pytest.fixture
def lab(tmp_path):
    lab = Lab(tmp_path)
    with lab.world:
        yield lab


def test_a_new_flash_is_formatted_and_has_the_picos_size(lab):
    box = lab.box("""
        import os
        stat = os.statvfs("/flash")
        tell(os.getcwd(), stat[0], stat[2], os.listdir())
        rest()
        """)
    lab.world.run_for(1_000_000)
    assert lab.notes() == ["/flash 4096 352 []"]
    assert box.spec.flash.stat().st_size == FLASH_BLOCKS * FLASH_BLOCK_SIZE
    assert box.flash.busy_us == 0, "formatting happened in the workshop"


def test_what_was_flushed_survives_a_power_cut(lab):
    box = lab.box(LOGGER)
    lab.world.run_to(2_050_000)
    flushed = len(box.outputs[20])
    assert flushed > 10
    box.cut_power()
    assert not box.is_alive()
    box.power_up()
    lab.world.run_for(1)
    first, second = lab.notes()
    assert first == "0 1"
    whole, good = map(int, second.split())
    assert good and flushed <= whole <= flushed + 1
    assert box.is_alive()


@pytest.mark.parametrize("tear", ["none", "half", "garbage"])
def test_power_can_fail_at_any_flash_operation(lab, tear):
    box = lab.box(LOGGER)
    lab.world.run_to(5_000_000)
    box.cut_power()
    total = len(box.outputs[20])
    survivals = []
    for k in (1, 2, 3, 5, 8, 13, 21):
        box.spec.cut_at_flash_op, box.spec.tear = k, tear
        box.power_up()
        lab.world.run_for(20_000_000)
        assert not box.is_alive(), f"power should have failed at operation {k}"
        assert box.failure is None, "a power cut is no fault of the firmware's"
        whole, good = map(int, lab.notes()[-1].split())
        survivals.append((k, whole, good, total))
        total = max(total, len(box.outputs[20]))
    assert all(good and whole >= before for _, whole, good, before in survivals), survivals


def test_operations_take_their_time_and_are_counted(lab):
    box = lab.box(
        """
        import vfs
        wait_us(1000000)
        before = time.ticks_us()
        with open("big", "wb") as f:
            for _ in range(8):
                f.write(bytes(1024))
        tell(time.ticks_diff(time.ticks_us(), before))
        rest()
        """,
        erase_us=45_000,
        program_us=400,
    )
    lab.world.run_to(900_000)
    erases, programs = box.flash.erases, box.flash.programs
    lab.world.run_to(10_000_000)
    erases, programs = box.flash.erases - erases, box.flash.programs - programs
    assert erases >= 2
    assert programs >= 8
    # data sheet's typical times: 45 ms an erase, 0.4 ms a page; 8 KiB are 32 pages
    assert lab.numbers()[0] == box.flash.busy_us >= erases * 45_000 + 32 * 400
    assert sum(box.flash.block_erases.values()) == box.flash.erases


def test_programming_only_clears_bits(lab):
    lab.box(f"""
        from _flash import Flash
        config = dict(flash_blocks=352, erase_us=0, program_us=0, cut_at_flash_op=None, tear="none")
        flash, buf = Flash(dict(flash={str(lab.folder / "one.flash")!r}, **config)), bytearray(4)
        for step in (b"\\xf0" * 4, b"\\x3c" * 4):
            flash.writeblocks(300, step, 256)
            flash.readblocks(300, buf, 256)
            tell(buf[0])
        flash.ioctl(6, 300)
        flash.readblocks(300, buf, 256)
        tell(buf[0], flash.ioctl(4, 0), flash.ioctl(5, 0))
        for whole_block in (b"\\x01" * 4096, b"\\x02" * 4096):
            flash.writeblocks(300, whole_block)
        flash.readblocks(300, buf)
        tell(buf[3])
        rest()
        """)
    lab.world.run_for(1_000_000)
    assert lab.numbers() == [0xF0, 0x30, 0xFF, 352, 4096, 2]


def test_a_cut_box_is_dark_and_keeps_its_button_levels(lab):
    box = lab.box("""
        tell(Pin(10, Pin.IN, Pin.PULL_UP).value(), time.ticks_us() < 1000)
        strip = neopixel.NeoPixel(Pin(16), 8)
        strip.fill((1, 2, 3))
        strip.write()
        PWM(Pin(15), freq=500, duty_u16=9)
        rest()
        """)
    box.press(0, 4_000_000, hold_ms=10_000)
    lab.world.run_to(5_000_000)
    assert box.light.colours == ((1, 2, 3),) * 8
    box.cut_power()
    assert box.light.colours == ((0, 0, 0),) * 8
    assert box.sound.duty == 0
    box.power_up()
    lab.world.run_for(1_000_000)
    assert lab.notes() == ["1 True", "0 True"], "ticks begin anew, and the button is held down"
