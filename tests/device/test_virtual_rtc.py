"""The real-time clock of virtual boxes: its registers, its battery and its square wave.

Registers, flags, the countdown chain and +-2 ppm are the data sheet's (Maxim DS3231; the rate as
check values quote it); the calendar is checked against Python's datetime.
"""

import random
import time
from datetime import datetime, timedelta, timezone
from fractions import Fraction

import pytest
from virtual_lab import START_UTC_US, Lab, needs_micropython, until

from handbell.virtual.standin._rtc import date_of, day_number

pytestmark = needs_micropython
UTC = timezone.utc
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
Y2K = datetime(2000, 1, 1, tzinfo=UTC)
PERIOD = 1 << 30
HOUR_US = 3_600_000_000

CLOCK = """
from array import array
RTC = 0x68
bus = I2C(0, sda=Pin(4), scl=Pin(5), freq=400000)
def get(place, n=1):
    return bus.readfrom_mem(RTC, place, n)
def put(place, *data):
    bus.writeto_mem(RTC, place, bytes(data))
ticks, levels, at = array("i", [0] * 9000), bytearray(9000), array("i", [0])
sqw = Pin(6, Pin.IN, Pin.PULL_UP)
def edge(pin):
    ticks[at[0]] = time.ticks_us()
    levels[at[0]] = pin()
    at[0] += 1
def listen(trigger=Pin.IRQ_FALLING | Pin.IRQ_RISING, hard=True):
    sqw.irq(edge, trigger, hard=hard)
def recorded():
    for i in range(at[0]):
        tell(ticks[i], levels[i])
    at[0] = 0
"""


@pytest.fixture
def lab(tmp_path):
    lab = Lab(tmp_path)
    with lab.world:
        yield lab


def registers(moment: datetime) -> list[int]:
    fields = [
        moment.second, moment.minute, moment.hour, moment.isoweekday(),
        moment.day, moment.month, moment.year % 100,
    ]  # fmt: skip
    return [int(str(field), 16) for field in fields]


def moment_of(raw: list[int]) -> datetime:
    second, minute, hour, weekday, day, month, year = (int(f"{byte:x}") for byte in raw)
    moment = datetime(2000 + year, month, day, hour, minute, second, tzinfo=UTC)
    assert weekday == moment.isoweekday()
    return moment


def pairs(lab: Lab) -> list[tuple[int, int]]:
    numbers = lab.numbers()
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def test_day_numbers_are_those_of_datetime():
    for days in range(36_525):
        day = Y2K + timedelta(days)
        assert date_of(days) == (day.day, day.month, day.year - 2000)
        assert day_number(day.day, day.month, day.year - 2000) == days


def test_it_shows_utc_and_what_it_is_made_of(lab):
    lab.box(CLOCK + "wait_us(1500000)\ntell(*bus.scan())\ntell(*get(0, 19))\nrest()", rtc=True)
    lab.world.run_for(5_000_000)
    address, shown = lab.notes()
    assert address == "60 104"
    raw = [int(word) for word in shown.split()]
    start = EPOCH + timedelta(microseconds=START_UTC_US)
    assert moment_of(raw[:7]) == start + timedelta(seconds=1)
    # Data sheet: INTCN and both rate bits are set at first; EN32kHz is; 0x19 0x40 is 25.25 degrees.
    assert raw[14:] == [0x1C, 0x08, 0, 0x19, 0x40]


def test_a_box_without_one_has_nothing_there(lab):
    box = lab.box(CLOCK + "try:\n    get(0)\nexcept OSError as e:\n    tell(e.errno)\nrest()")
    lab.world.run_for(1_000_000)
    assert lab.numbers() == [19]
    assert box.rtc is None


def test_every_way_to_read_gives_the_same(lab):
    lab.box(
        CLOCK
        + """
        put(7, 1, 2, 3, 4)
        buf = bytearray(3)
        bus.readfrom_mem_into(RTC, 8, buf)
        tell(*buf)
        bus.writeto(RTC, b"\\x08")
        bus.readfrom_into(RTC, buf)
        tell(*buf)
        tell(*bus.readfrom(RTC, 1))
        tell(*bus.readfrom_mem(0x3C, 0, 2))
        put(0x12, 9)
        tell(*get(0x12, 2))
        rest()
        """.replace("\n        ", "\n"),
        rtc=True,
    )
    lab.world.run_for(500_000)
    # The pointer goes on from register to register and from the last to the first; 0x12 is fixed.
    assert lab.notes() == ["2 3 4", "2 3 4", "0", "0 0", "64 32"]


@pytest.mark.parametrize("ppb", [-2_000, 2_000])
def test_time_goes_on_without_the_boxs_power(lab, ppb):
    rng = random.Random(ppb)
    box = lab.box(
        CLOCK + "at_us = time.ticks_us()\ntell(at_us, *get(0, 7))\nrest()",
        rtc=True,
        rtc_ppb=ppb,
        tick_origin=PERIOD - 500,
    )
    for hours in (7, 31 * 24, 80 * 24):
        lab.world.run_for(1_000_000)
        box.cut_power()
        lab.world.run_for(hours * HOUR_US + rng.randrange(1_000_000))
        box.power_up()
        on_us = lab.world.now_us()
        lab.world.run_for(1_000)
        _, *raw = map(int, lab.notes()[-1].split())
        # Written and started again, the read is answered as of its second START: 52 us on.
        own_us = (on_us + 52) * Fraction(1_000_000_000 + ppb, 1_000_000_000)
        shown = EPOCH + timedelta(microseconds=START_UTC_US + int(own_us))
        assert moment_of(raw) == shown.replace(microsecond=0)
        error_us = box.rtc.utc_us(on_us) - START_UTC_US - on_us
        assert error_us == pytest.approx(on_us * ppb / 1e9, abs=1)


def test_a_write_of_seconds_begins_the_second(lab):
    box = lab.box(
        CLOCK
        + """
put(0x0E, 0)
listen()
for phase_us in (5010000, 7770000, 9200000):
    wait_us(time.ticks_diff(phase_us, time.ticks_us()))
    at[0] = 0
    before = time.ticks_us()
    put(0, 0x59, 0x59, 0x23, 0x07, 0x31, 0x12, 0x99)
    tell(before, time.ticks_us())
    wait_us(1300000)
    recorded()
tell(*get(0, 7))
rest()
""",
        rtc=True,
        rtc_lost=True,
    )
    lab.world.run_to(12_000_000)
    *notes, last = lab.notes()
    told = [tuple(map(int, line.split())) for line in notes]
    for n, falls_at_once in enumerate((False, True, False)):
        # The second phase is in the high half of a second, so the pin falls at the write.
        writes, edges = told[:1], told[1 : 4 if falls_at_once else 3]
        told = told[1 + len(edges) :]
        before, after = writes[0]
        # At 400 kHz and the chip's own slowness: 3 bytes of the 9 are through after 78 us.
        began = before + 78
        assert began < after <= before + 240
        wanted = [(began + 500_000, 1), (began + 1_000_000, 0)]
        assert edges == ([(began, 0), *wanted] if falls_at_once else wanted), n
    # The century bit is set as 99 rolls over, and Sunday (7) is followed by day 1.
    assert list(map(int, last.split())) == [0, 0, 0, 1, 1, 0x81, 0]
    assert box.is_alive()


@pytest.mark.parametrize("ppb", [-2_000, 0, 2_000])
def test_the_square_wave_falls_at_each_second_of_its_own(lab, ppb):
    box = lab.box(
        CLOCK + "put(0x0E, 0)\nlisten()\nfor _ in range(5): wait_us(300000000)\nrecorded()\nrest()",
        rtc=True,
        rtc_ppb=ppb,
    )
    lab.world.run_to(1_501_000_000)
    # Enabled in the first half of a second, when the pin is low: before anybody listened.
    own_us = Fraction(1_000_000_000, 1_000_000_000 + ppb)
    edges = pairs(lab)
    assert len(edges) in (2999, 3000)
    for n, (tick, level) in enumerate(edges, 1):
        assert level == n % 2
        exact_us = n * 500_000 * own_us
        late_us = (tick - exact_us) % PERIOD
        assert late_us < 1, (n, tick, float(exact_us))
    # check values: 2 ppm; over 25 minutes that is 3 ms.
    last_us = edges[-1][0] + PERIOD
    assert last_us - len(edges) * 500_000 == pytest.approx(-len(edges) * ppb * 5e-4, abs=1)
    assert box.rtc.utc_us(0) == START_UTC_US


def test_a_soft_handler_waits_for_the_end_of_a_transfer(lab):
    lab.box(
        CLOCK
        + """
put(0x0E, 0)
put(0, 0)
began = time.ticks_us()
listen(Pin.IRQ_FALLING, hard=False)
wait_us(990000)
bus.writeto(0x3C, bytes(1025))
tell(ticks[0] == time.ticks_us(), time.ticks_diff(ticks[0], began) // 1000)
rest()
""",
        rtc=True,
    )
    lab.world.run_for(5_000_000)
    # runtime facts: 1025 bytes take 27.1 ms at 400 kHz
    assert lab.notes() == ["True 1017"]


def test_edges_come_only_when_asked_for_and_only_of_that_kind(lab):
    lab.box(
        CLOCK
        + """
put(0x0E, 0)
def idles(n):
    out = []
    for _ in range(n):
        t = time.ticks_us()
        board.idle(None)
        out.append(time.ticks_diff(time.ticks_us(), t) // 1000)
    tell(*out, sqw(), sqw.value())
wait_us(time.ticks_diff(2200000, time.ticks_us()))
idles(3)
listen(Pin.IRQ_FALLING)
idles(2)
listen(Pin.IRQ_RISING)
idles(2)
sqw.irq(None)
idles(2)
listen()
idles(4)
tell(*levels[:at[0]])
rest()
""",
        rtc=True,
    )
    lab.world.run_to(20_000_000)
    # From x.2 s on: falls are 800 ms away and then a second, rises half a second later.
    assert lab.notes() == [
        "1000 1000 1000 0 0",
        "800 1000 0 0",
        "500 1000 1 1",
        "1000 1000 1 1",
        "500 500 500 500 1 1",
        "0 0 1 1 0 1 0 1",
    ]


def test_control_gates_the_square_wave(lab):
    lab.box(
        CLOCK
        + """
listen()
for control in (0x1C, 0x00, 0x04, 0x18, 0x08, 0x10, 0x00, 0x80, 0xE0):
    wait_us(200000)
    put(0x0E, control)
    tell(control, get(0x0E)[0], sqw())
    at[0] = 0
    wait_us(9800000)
    tell(at[0])
rest()
""",
        rtc=True,
    )
    lab.world.run_to(100_000_000)
    got = [tuple(map(int, line.split())) for line in lab.notes()]
    # INTCN is bit 2, the rate bits 4 and 3, 00 for 1 Hz; EOSC has no effect with supply, and
    # CONV (0x20) is back at 0 when the conversion is done.
    on, off = (19, 20, 21), (0,)
    wanted = [
        (0x1C, 0x1C, off), (0x00, 0x00, on), (0x04, 0x04, off), (0x18, 0x18, off),
        (0x08, 0x08, off), (0x10, 0x10, off), (0x00, 0x00, on), (0x80, 0x80, on),
        (0xE0, 0xC0, on),
    ]  # fmt: skip
    assert len(got) == 2 * len(wanted)
    for (control, kept, level), (edges,), (put, read, counts) in zip(
        got[::2], got[1::2], wanted, strict=True
    ):
        assert (control, kept) == (put, read)
        assert edges in counts, control
        assert level == (counts is off), control


def test_the_flag_tells_a_clock_that_had_stopped(lab):
    box = lab.box(
        CLOCK
        + """
tell(*get(0, 16))
put(0x0F, 0x88)
tell(*get(0x0F))
put(0x0F, 0x08)
tell(*get(0x0F))
put(0x0F, 0xFF)
tell(*get(0x0F))
rest()
""",
        rtc=True,
        rtc_lost=True,
    )
    assert box.rtc.is_lost
    lab.world.run_for(1_000_000)
    first, *flags = lab.notes()
    # Data sheet: 1 January of year 00, day 1, midnight, when power first comes.
    assert list(map(int, first.split()))[:7] == [0, 0, 0, 1, 1, 1, 0]
    assert int(first.split()[-1]) == 0x88
    assert flags == ["136", "8", "8"], "a 1 doesn't clear the flag and doesn't set it"
    assert not box.rtc.is_lost
    box.cut_power()
    lab.world.run_for(1_000_000)
    box.power_up()
    lab.world.run_for(1_000_000)
    assert int(lab.notes()[4].split()[-1]) == 0x08, "cleared for good"


def test_an_oscillator_told_to_stop_stops_on_the_cell_only(lab):
    box = lab.box(
        CLOCK
        + """
tell(*get(0, 16))
if machine.reset_cause() == machine.PWRON_RESET and get(0x0E)[0] != 0x80:
    put(0x0E, 0x80)
    wait_us(2000000)
    machine.reset()
rest()
""",
        rtc=True,
    )
    lab.world.run_to(10_300_000)
    box.cut_power()
    lab.world.run_for(HOUR_US)
    box.power_up()
    lab.world.run_for(1_000)
    first, after_reset, after_cut = (list(map(int, line.split())) for line in lab.notes())
    began = moment_of(first[:7])
    assert moment_of(after_reset[:7]) == began + timedelta(seconds=2)
    assert after_reset[-1] == 0x08, "a reset is no loss of supply"
    assert moment_of(after_cut[:7]) == began + timedelta(seconds=10)
    assert after_cut[-1] == 0x88
    assert box.rtc.is_lost


def test_it_counts_as_datetime_does(lab):
    rng = random.Random(20)
    starts = [
        datetime(2028, 2, 28, 23, 59, 59, tzinfo=UTC),
        datetime(2100, 1, 1, tzinfo=UTC) - timedelta(seconds=1_000_000),
        datetime(2027, 2, 28, 23, 59, 50, tzinfo=UTC),
        datetime(2026, 12, 31, 23, 59, 59, tzinfo=UTC),
        datetime(2000, 2, 29, 12, tzinfo=UTC),
    ]
    for _ in range(60):
        starts.append(Y2K + timedelta(seconds=rng.randrange(36_500 * 86_400)))
    steps = [rng.choice((1, 59, 3_600, 86_399, 86_400, 86_400 * 40)) for _ in starts]
    steps[1] = 999_999
    program = f"""
for raw, step_s in {[(bytes(registers(s)), n) for s, n in zip(starts, steps, strict=True)]}:
    bus.writeto_mem(RTC, 0, raw)
    time.sleep(step_s)
    tell(*get(0, 7))
rest()
"""
    lab.box(CLOCK + program, rtc=True)
    lab.world.run_for((sum(steps) + 1) * 1_000_000)
    assert len(lab.notes()) == len(starts)
    for start, step_s, note in zip(starts, steps, lab.notes(), strict=True):
        shown = moment_of(list(map(int, note.split())))
        assert shown == start + timedelta(seconds=step_s), start


def test_registers_written_one_by_one_keep_the_second(lab):
    lab.box(
        CLOCK
        + """
put(0x0E, 0)
put(0, 0x30, 0x10, 0x08, 3, 0x28, 0x02, 0x24)
listen(Pin.IRQ_FALLING)
wait_us(600000)
put(4, 0x31)
put(5, 0x01)
put(1, 0x59)
tell(*get(0, 7))
wait_us(30000000)
tell(*get(0, 7))
tell(*[time.ticks_diff(ticks[i + 1], ticks[i]) for i in range(3)])
rest()
""",
        rtc=True,
    )
    lab.world.run_for(40_000_000)
    assert lab.notes() == [
        "48 89 8 3 49 1 36",
        "0 0 9 3 49 1 36",
        "1000000 1000000 1000000",
    ]


def test_a_read_shows_the_moment_of_its_start(lab):
    lab.box(
        CLOCK
        + """
for early_us in (40, 60, 200):
    put(0, 0x10)
    began = time.ticks_us()
    wait_us(1000000 - 160 // 3)
    while time.ticks_diff(time.ticks_us(), began) < 1000000 - early_us:
        time.sleep_us(1)
    second = get(0, 7)[0]
    tell(second, get(0)[0])
rest()
""",
        rtc=True,
    )
    lab.world.run_for(10_000_000)
    assert pairs(lab) == [(0x11, 0x11), (0x10, 0x11), (0x10, 0x11)]


def test_edges_during_a_flash_stall_come_as_one_call(lab):
    lab.box(
        CLOCK
        + """
put(0x0E, 0)
put(0, 0)
log = open("log", "wb")
began = time.ticks_us()
listen(Pin.IRQ_FALLING)
wait_us(900000)
log.write(bytes(600))
log.close()
end = time.ticks_us()
wait_us(time.ticks_diff(time.ticks_add(began, 3200000), end))
tell(*[time.ticks_diff(ticks[i], began) // 1000 for i in range(at[0])])
tell(time.ticks_diff(end, began) // 1000)
tell(*levels[:at[0]])
rest()
""",
        rtc=True,
        erase_us=400_000,
    )
    lab.world.run_for(5_000_000)
    calls, end, levels = lab.notes()
    late, *later = map(int, calls.split())
    assert 1_300 <= late <= int(end), "told when the erase is over"
    assert later[-1] == 2_999
    assert levels.split()[-1] == "0"


def test_what_it_was_told_before_a_cut_is_kept(tmp_path):
    # Time flows here, so the cut comes anywhere: what the firmware knows as written is written.
    lab = Lab(tmp_path, speed=1)
    with lab.world as world:
        box = lab.box(
            CLOCK
            + """
kept = get(7, 2)
n = kept[0] | kept[1] << 8
tell(n)
while True:
    n += 1
    put(7, n & 0xFF, n >> 8)
    tell(n)
""",
            rtc=True,
        )
        for _ in range(4):
            seen = len(lab.notes())
            assert until(lambda seen=seen: len(lab.notes()) > seen + 3)
            # The world is behind with what the box tells it, as on a machine with much to do.
            world.relay.call(lambda: (time.sleep(0.03), box.cut_power()))
            told = lab.numbers()[-1]
            lines = len(lab.notes())
            box.power_up()
            assert until(lambda lines=lines: len(lab.notes()) > lines)
            assert lab.numbers()[lines] in (told, told + 1)


def test_edges_keep_their_time_while_time_flows(tmp_path):
    # However late the machine comes round to it, a hard handler reads its edge's own time.
    lab = Lab(tmp_path, speed=5)
    with lab.world:
        lab.box(
            CLOCK
            + """
put(0x0E, 0)
put(0, 0)
began = time.ticks_us()
listen(Pin.IRQ_FALLING)
while at[0] < 6:
    board.idle(None)
tell(*[time.ticks_diff(ticks[i], ticks[0]) for i in range(6)])
rest()
""",
            rtc=True,
        )
        assert until(lambda: len(lab.notes()) == 1)
        assert lab.numbers() == [1_000_000 * n for n in range(6)]


def test_ageing_slows_it(lab):
    # Data sheet: about 0.1 ppm a step at 25 degrees, positive values slow it.
    box = lab.box(CLOCK + "put(0x10, 0x0A)\nrest()", rtc=True)
    lab.world.run_for(1_000_000)
    before_us, now_us = box.rtc.utc_us(lab.world.now_us()), lab.world.now_us()
    hour_us = box.rtc.utc_us(now_us + HOUR_US) - before_us
    assert hour_us == pytest.approx(HOUR_US - 3_600, abs=1)
