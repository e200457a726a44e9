"""Button edges of virtual boxes: each at its own time, latched where the chip would latch."""

import random

import pytest
from virtual_lab import Lab, needs_micropython, until

from handbell.virtual.edges import EdgeFeed
from handbell.virtual.standin._frames import FOREVER_US

RECORD = """
from array import array
N = 4096
ticks, levels, at = array("q", [0] * N), bytearray(N), array("i", [0])
def edge(pin):
    ticks[at[0]] = time.ticks_us()
    levels[at[0]] = pin()
    at[0] += 1
def listen(slot, hard=True):
    pin = Pin(10 + slot, Pin.IN, Pin.PULL_UP)
    pin.irq(edge, Pin.IRQ_FALLING | Pin.IRQ_RISING, hard=hard)
def recorded():
    for start in range(0, at[0], 100):
        end = min(start + 100, at[0])
        tell(*["%d %d" % (ticks[i], levels[i]) for i in range(start, end)])
"""


@pytest.fixture
def lab(tmp_path):
    lab = Lab(tmp_path)
    with lab.world:
        yield lab


def pairs(lab: Lab) -> list[tuple[int, int]]:
    numbers = lab.numbers()
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def test_the_feed_hands_out_pages_in_order_whatever_order_they_come_in():
    feed = EdgeFeed({10: 1})
    edges = [(1000 + n * 10, 10, n % 2) for n in range(1000)]
    random.Random(1).shuffle(edges)
    assert feed.add(edges) is False, "nobody knows of any edge yet, so nothing is urgent"
    got, horizon_us = [], 0
    while horizon_us < FOREVER_US:
        last_us = horizon_us
        horizon_us, page = feed.next_page(last_us)
        times = [int.from_bytes(page[i : i + 8], "little") >> 8 for i in range(0, len(page), 8)]
        assert all(last_us <= t < horizon_us for t in times)
        got += times
    assert got == sorted(t for t, _, _ in edges)
    assert feed.add([(5, 10, 0)]), "before the horizon: the box must hear of it"


def test_the_feed_never_parts_edges_of_one_moment():
    feed = EdgeFeed({})
    feed.add([(n // 100, 10, n % 2) for n in range(1000)])
    horizon_us, page = feed.next_page(0)
    assert (horizon_us, len(page)) == (3, 300 * 8)


def test_the_feed_gives_a_box_no_more_than_it_can_hold():
    feed = EdgeFeed({})
    feed.next_page(0)
    sent = 0
    for n in range(2000):
        if feed.add([(1000 + n, 10, n % 2)]):
            sent += len(feed.next_page(0)[1]) // 8
    assert sent <= 512
    horizon_us = 1000
    for _ in range(20):
        horizon_us, page = feed.next_page(horizon_us)
        sent += len(page) // 8
    assert (sent, horizon_us) == (2000, FOREVER_US)


def test_the_feed_begins_again_after_a_power_cut():
    feed = EdgeFeed({10: 1, 11: 1})
    feed.add([(100, 10, 0), (200, 11, 0), (300, 10, 1), (400, 11, 1)])
    feed.next_page(0)
    assert feed.restart(200) == {10: 0, 11: 0}
    horizon_us, page = feed.next_page(200)
    assert [int.from_bytes(page[i : i + 8], "little") >> 8 for i in (0, 8)] == [300, 400]
    assert horizon_us == FOREVER_US


@needs_micropython
def test_a_press_with_bounce_reaches_the_handler_edge_by_edge(lab):
    # A 6.2 ms burst on press, 157 ms on release: Ganssle's worst switches, as check values quote.
    box = lab.box(RECORD + "listen(1)\nwhile at[0] < 12: board.idle(None)\nrecorded()\nrest()")
    box.press(
        1, 5_000_000, hold_ms=200, bounce=(300, 900, 6000, 6200), release_bounce=(90_000, 157_000)
    )
    box.press(1, 6_000_000, hold_ms=50)
    box.press(1, 7_000_000, hold_ms=50)
    lab.world.run_to(10_000_000)
    down, up = 5_000_000, 5_200_000
    assert pairs(lab) == [
        (down, 0), (down + 300, 1), (down + 900, 0), (down + 6000, 1), (down + 6200, 0),
        (up, 1), (up + 90_000, 0), (up + 157_000, 1),
        (6_000_000, 0), (6_050_000, 1), (7_000_000, 0), (7_050_000, 1),
    ]  # fmt: skip


@needs_micropython
def test_thousands_of_edges_all_arrive(lab):
    box = lab.box(RECORD + "listen(0)\nlisten(3)\nwhile at[0] < 4000: board.idle(None)\nrecorded()")
    wanted = []
    for n in range(1000):
        at_us = 1_000_000 + n * 500_000
        wanted += [(at_us, 0), (at_us + 70_000, 1), (at_us + 70_001, 0), (at_us + 200_000, 1)]
        box.edges([(at_us, 0, 0), (at_us + 70_000, 0, 1)])
        box.edges([(at_us + 70_001, 3, 0), (at_us + 200_000, 3, 1)])
    with pytest.raises(Exception, match="stopped by itself"):
        lab.world.run_to(600_000_000)
    got = pairs(lab)
    assert [level for _, level in got] == [level for _, level in wanted]
    period = 1 << 30
    assert [t for t, _ in got] == [t % period for t, _ in wanted]


@needs_micropython
def test_hundreds_of_edges_of_one_moment_pass(lab):
    box = lab.box(RECORD + "listen(0)\nwait_us(2000000)\ntell(at[0])\nrest()")
    box.edges([(1_000_000, 0, n % 2) for n in range(600)])
    for n in range(600):
        box.edges([(1_500_000, 0, n % 2)])
    lab.world.run_to(3_000_000)
    # Those of one moment come sorted by level: a press that is a release at once.
    assert lab.numbers() == [4]


@needs_micropython
def test_edges_come_through_a_bus_transfer_at_their_time(lab):
    box = lab.box(
        RECORD
        + """
listen(0, True)
soft = []
Pin(11, Pin.IN).irq(lambda pin: soft.append(time.ticks_us()), Pin.IRQ_FALLING)
bus = I2C(0, sda=Pin(4), scl=Pin(5), freq=400000)
wait_us(2000000)
bus.writeto(0x3C, bytes(1025))
recorded()
tell(soft[0], time.ticks_us())
rest()
"""
    )
    box.press(0, 2_001_000, hold_ms=20)
    box.press(1, 2_004_000)
    lab.world.run_to(3_000_000)
    (pressed, released, (soft, end)) = pairs(lab)
    assert pressed == (2_001_000, 0)
    assert released == (2_021_000, 1)
    assert soft == end > 2_027_000, "a soft handler waits for the end of the transfer"


@needs_micropython
def test_edges_during_a_flash_stall_are_latched_one_call_a_pin(lab):
    box = lab.box(
        RECORD
        + """
listen(0)
listen(1)
listen(2)
log = open("log", "wb")
wait_us(2000000)
before = time.ticks_us()
log.write(bytes(600))
log.close()
recorded()
tell(before, time.ticks_us())
rest()
""",
        erase_us=400_000,
    )
    box.press(0, 2_100_000, hold_ms=100)
    box.edges([(2_150_000, 1, 0)])
    box.press(2, 3_600_000, hold_ms=100)
    lab.world.run_to(2_000_001)
    ops_before = box.flash.erases
    lab.world.run_to(5_000_000)
    assert box.flash.erases > ops_before
    *calls, (before, after) = pairs(lab)
    assert 2_000_000 <= before < 2_010_000
    assert after > 2_400_000, "an erase of this chip takes 400 ms"
    # Press and release inside one stall are one call that finds the button up; the other is down.
    assert [level for _, level in calls] == [1, 0]
    assert len({t for t, _ in calls}) == 1
    assert 2_200_000 < calls[0][0] <= after


@needs_micropython
def test_interrupts_can_be_held_off(lab):
    box = lab.box(
        RECORD
        + """
listen(0)
wait_us(1000000)
state = machine.disable_irq()
time.sleep_ms(500)
tell(at[0], Pin(10).value())
machine.enable_irq(state)
tell(at[0], Pin(10).value())
recorded()
rest()
"""
    )
    box.press(0, 1_100_000, hold_ms=10_000)
    lab.world.run_to(3_000_000)
    assert pairs(lab) == [(0, 0), (1, 0), (1_500_000, 0)]


@needs_micropython
def test_a_hard_handler_may_not_allocate(lab):
    # runtime facts: in a hard interrupt no list and no tuple, and a bound method may be too much
    box = lab.box(
        RECORD
        + """
kept = []
Pin(10, Pin.IN).irq(lambda pin: kept.append(bytearray(50)), Pin.IRQ_FALLING, hard=True)
listen(1)
strip, bell = neopixel.NeoPixel(Pin(16), 8), PWM(Pin(15))
out = Pin(20, Pin.OUT)
timer = Timer()
def fine(pin):
    out(1)
    bell.freq(700)
    bell.duty_u16(100)
    timer.init(mode=Timer.ONE_SHOT, period=100, callback=late, hard=True)
def late(timer):
    bell.duty_u16(0)
    out.off()
Pin(12, Pin.IN).irq(fine, Pin.IRQ_FALLING, hard=True)
wait_us(9000000)
tell(len(kept), at[0])
rest()
"""
    )
    for slot in (0, 1, 2):
        box.press(slot, 2_000_000)
        box.press(slot, 4_000_000)
    lab.world.run_to(10_000_000)
    assert pairs(lab) == [(0, 4)]
    assert box.stderr_text().count("MemoryError") == 1, "called no more once it failed"
    assert box.sound.bells() == [2_000_000, 4_000_000]
    assert [t for t, _ in box.outputs[20]] == [2_000_000, 2_100_000, 4_000_000, 4_100_000]


@needs_micropython
def test_while_time_flows_a_hard_handler_reads_its_edges_time(tmp_path):
    lab = Lab(tmp_path, speed=1)
    with lab.world as world:
        box = lab.box("""
            from array import array
            told = array("i", [0] * 5)
            def mark(pin):
                told[4] = time.ticks_us()
            def slow(pin):
                told[0] = time.ticks_us()
                time.sleep_ms(300)
                told[1] = time.ticks_us()
            def after(pin):
                told[2] = time.ticks_us()
            Pin(12, Pin.IN).irq(mark, Pin.IRQ_FALLING, hard=True)
            Pin(10, Pin.IN).irq(slow, Pin.IRQ_FALLING, hard=True)
            Pin(11, Pin.IN).irq(after, Pin.IRQ_FALLING, hard=True)
            while not told[2]:
                board.idle(None)
            told[3] = time.ticks_us()
            tell(*told)
            rest()
            """)
        mark_us = world.now_us() + 300_000
        box.press(2, mark_us)
        box.press(0, mark_us + 100_000)
        box.press(1, mark_us + 100_040)
        assert until(lambda: len(lab.notes()) == 1)
        start, end, after, last, mark = lab.numbers()
        assert (start, end) == (mark + 100_000, mark + 400_000)
        assert after == end, "the second edge came while the first one's handler was busy"
        assert last >= after, "time never goes back"


@needs_micropython
def test_the_scheduler_drops_what_it_cannot_hold(lab):
    # runtime facts: the scheduler holds 8 entries and drops interrupts silently when full
    box = lab.box("""
        calls = []
        Pin(10, Pin.IN).irq(lambda pin: calls.append(1), Pin.IRQ_FALLING)
        bus = I2C(0, sda=Pin(4), scl=Pin(5), freq=400000)
        wait_us(1000000)
        bus.writeto(0x3C, bytes(1025))
        tell(len(calls))
        rest()
        """)
    for n in range(12):
        box.press(0, 1_000_100 + n * 1000, hold_ms=0, bounce=(200, 300, 400, 500))
    lab.world.run_to(2_000_000)
    assert lab.numbers() == [8]
