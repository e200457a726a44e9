"""The time of virtual boxes: ticks, sleeps, idle, timers, jumps and the clock of the world."""

import time
from pathlib import Path

import pytest
from virtual_lab import START_UTC_US, Lab, needs_micropython, until

from handbell.base.errors import HandbellError
from handbell.virtual.clock import load_clock

pytestmark = needs_micropython
PERIOD = 1 << 30


@pytest.fixture
def lab(tmp_path):
    lab = Lab(tmp_path)
    with lab.world:
        yield lab


def test_ticks_have_the_chips_period(lab):
    # MicroPython's time reference: ticks_diff is valid to half a period, which is 2**30 on 32 bits.
    lab.box("""
        PERIOD = 1 << 30
        tell(time.ticks_diff(5, PERIOD - 5), time.ticks_diff(PERIOD - 5, 5))
        tell(time.ticks_add(PERIOD - 1, 2), time.ticks_add(0, -1))
        tell(time.ticks_diff((1 << 29) - 1, 0), time.ticks_diff(1 << 29, 0))
        rest()
        """)
    lab.world.run_for(1)
    assert lab.numbers() == [10, -10, 1, PERIOD - 1, (1 << 29) - 1, -(1 << 29)]


def test_ticks_wrap_where_the_spec_puts_the_wrap(lab):
    box = lab.box(
        """
        wait_us(2000000)
        before, before_ms = time.ticks_us(), time.ticks_ms()
        wait_us(6000000)
        after = time.ticks_us()
        tell(before > after, time.ticks_diff(after, before))
        tell(time.ticks_diff(time.ticks_ms(), before_ms))
        rest()
        """,
        tick_origin=PERIOD - 5_000_000,
    )
    lab.world.run_for(10_000_000)
    assert lab.notes() == ["True 6000000", "6000"]
    assert box.is_alive()


@pytest.mark.parametrize("ppm", [-30, 0, 30])
def test_crystals_are_off_by_their_ppm(lab, ppm):
    # 30 ppm is 36 ms in 20 minutes: check values, from the Pico data sheet's crystal.
    box = lab.box(
        """
        presses = []
        def edge(pin):
            presses.append(time.ticks_us())
        Pin(10, Pin.IN).irq(edge, Pin.IRQ_FALLING)
        while len(presses) < 3:
            board.idle(None)
        tell(time.ticks_diff(presses[1], presses[0]) + time.ticks_diff(presses[2], presses[1]))
        rest()
        """,
        ppm=ppm,
    )
    for minute in (1, 8, 16):
        box.press(0, minute * 60_000_000)
    lab.world.run_to(17 * 60_000_000)
    assert lab.numbers()[0] - 15 * 60_000_000 == pytest.approx(900 * ppm, abs=1)


def test_sleeps_take_no_more_and_no_less_than_asked(lab):
    lab.box("""
        sleeps = (time.sleep_us, 250), (time.sleep_ms, 7), (time.sleep, 0.5), (time.sleep_ms, -3)
        for sleep, n in sleeps:
            t = time.ticks_us()
            sleep(n)
            tell(time.ticks_diff(time.ticks_us(), t))
        s = time.time()
        time.sleep(10)
        tell(time.time() - s, time.gmtime(s)[0])
        rest()
        """)
    lab.world.run_for(60_000_000)
    assert lab.numbers() == [250, 7_000, 500_000, 0, 10, 2021]


def test_a_quarter_of_an_hour_costs_seconds(lab):
    box = lab.box("""
        deadline = time.ticks_us()
        while True:
            deadline = time.ticks_add(deadline, 100000)
            while time.ticks_diff(deadline, time.ticks_us()) > 0:
                board.idle(deadline)
            Pin(20, Pin.OUT).toggle()
        """)
    heard: list[int] = []
    began = time.monotonic()
    lab.world.run_to(900_000_000, heard.append)
    assert time.monotonic() - began < 2.0
    assert heard[-1] == 900_000_000
    moments = [change.world_us for change in box.outputs[20]]
    assert moments == list(range(100_000, 900_000_001, 100_000))


def test_boxes_meet_at_the_end_of_a_jump_and_go_on(lab):
    program = """
        while True:
            wait_us(1000000)
            Pin(20, Pin.OUT).toggle()
        """
    boxes = [lab.box(program, name) for name in ("a", "b", "c")]
    lab.world.run_to(30_000_000)
    assert all(box.reached_us == 30_000_000 for box in boxes)
    lab.world.run_to(20_000_000)
    assert lab.world.now_us() == 30_000_000
    with Path(boxes[0].url).open("rb"):
        assert until(lambda: len(boxes[0].outputs[20]) > 30), "with a host there time must flow"
    lab.world.run_to(100_000_000)
    for box in boxes:
        assert [change.world_us for change in box.outputs[20]][:30] == [
            1_000_000 * k for k in range(1, 31)
        ]


def test_idle_ends_at_the_deadline_an_edge_or_a_second(lab):
    box = lab.box("""
        Pin(10, Pin.IN).irq(lambda pin: None, Pin.IRQ_FALLING, hard=True)
        for ahead in (123456, None, 500000, -5, None):
            t = time.ticks_us()
            board.idle(None if ahead is None else time.ticks_add(t, ahead))
            tell(time.ticks_diff(time.ticks_us(), t))
        rest()
        """)
    box.press(0, 1_200_000)
    lab.world.run_to(3_000_000)
    assert lab.numbers() == [123_456, 1_000_000, 76_544, 1, 119_999]


def test_timers_fire_at_their_own_time(lab):
    box = lab.box("""
        one, many = Pin(20, Pin.OUT), Pin(21, Pin.OUT)
        def bell(timer):
            one(1)
        wait_us(2000000)
        shot = Timer(mode=Timer.ONE_SHOT, period=1234567, tick_hz=1000000, callback=bell, hard=True)
        beat = Timer(mode=Timer.PERIODIC, period=250, callback=lambda t: many.toggle())
        wait_us(2100000)
        beat.deinit()
        rest()
        """)
    lab.world.run_to(10_000_000)
    assert [t for t, _ in box.outputs[20]] == [3_234_567]
    assert [t for t, _ in box.outputs[21]] == [2_000_000 + 250_000 * k for k in range(1, 9)]


def test_a_loop_that_only_reads_the_clock_comes_to_an_end(lab):
    lab.box("""
        end = time.ticks_add(time.ticks_us(), 3000000)
        while time.ticks_diff(end, time.ticks_us()) > 0:
            pass
        tell("done")
        rest()
        """)
    lab.world.run_for(5_000_000)
    assert lab.notes() == ["done"]


def test_the_watchdog_bites_a_box_that_stops_feeding_it(lab):
    box = lab.box("""
        tell(machine.reset_cause())
        if machine.reset_cause() == machine.WDT_RESET:
            rest()
        dog = WDT(timeout=8000)
        for i in range(30):
            dog.feed()
            board.idle(None)
        tell(time.ticks_us() // 1000000)
        time.sleep(60)
        tell("never")
        """)
    lab.world.run_to(900_000_000)
    # rp2's machine.PWRON_RESET and WDT_RESET are 1 and 3; idle comes round once a second.
    assert lab.numbers() == [1, 30, 3]
    assert box.is_alive()


def test_clocks_agree_within_and_across_processes(lab):
    box = lab.box("rest()")
    shared = load_clock(lab.world.clock_path)
    lab.world.run_to(3_600_000_000)
    assert lab.world.clock.mono_us() == shared.mono_us() == 3_600_000_000
    assert lab.world.utc_us() == shared.utc_us() == START_UTC_US + 3_600_000_000
    with Path(box.url).open("rb"):
        assert until(lambda: shared.mono_us() > 3_600_010_000), "time flows while a host listens"
        apart_us = [shared.mono_us() - lab.world.now_us() for _ in range(5)]
        assert min(map(abs, apart_us)) < 5_000


def test_a_clock_file_that_is_none_is_refused_in_words(tmp_path):
    with pytest.raises(HandbellError, match="gone"):
        load_clock(tmp_path / "clock.json")
    (tmp_path / "clock.json").write_text("{}", encoding="utf-8")
    with pytest.raises(HandbellError, match="not a world's clock"):
        load_clock(tmp_path / "clock.json")


def test_speed_quickens_time_while_no_host_listens(tmp_path):
    lab = Lab(tmp_path, speed=50)
    with lab.world as world:
        box = lab.box("""
            while True:
                wait_us(1000000)
                Pin(20, Pin.OUT).toggle()
            """)
        before_us = world.now_us()
        world.clock.sleep(10)
        assert world.now_us() - before_us >= 10_000_000
        assert until(lambda: len(box.outputs.get(20, ())) >= 10)
        with Path(box.url).open("rb"):
            assert until(lambda: box.host_open)
            assert until(lambda: world.clock.pace.speed == 1)
        assert until(lambda: world.clock.pace.speed == 50)


def test_a_box_that_no_longer_waits_is_told_apart(lab, monkeypatch):
    monkeypatch.setattr("handbell.virtual.world._STUCK_S", 0.5)
    box = lab.box("""
        wait_us(1000000)
        while True:
            pass
        """)
    other = lab.box("rest()", name="other")
    with pytest.raises(HandbellError, match="one: the virtual box got stuck"):
        lab.world.run_to(60_000_000)
    assert not box.is_alive()
    assert other.reached_us == 60_000_000
    assert lab.world.now_us() >= 60_000_000


def test_a_firmware_that_fails_is_quoted(lab):
    lab.box("""
        wait_us(1000000)
        raise ValueError("the strip is gone")
        """)
    with pytest.raises(HandbellError, match=r"one: .*ValueError: the strip is gone"):
        lab.world.run_to(60_000_000)
