import time

from handbell_core.clock import ClockModel, RunTime, next_on_grid
from handbell_core.ticks import HALF, PERIOD, Extender, ticks_add, ticks_diff


def test_difference_over_the_wrap():
    # The worked case of MicroPython's library reference, time.ticks_diff, at a period of 2**30.
    assert ticks_diff(5, PERIOD - 5) == 10
    assert ticks_diff(PERIOD - 5, 5) == -10
    assert ticks_add(PERIOD - 1, 2) == 1
    assert ticks_add(0, -1) == PERIOD - 1
    assert ticks_diff(HALF - 1, 0) == HALF - 1
    assert ticks_diff(HALF, 0) == -HALF


def test_against_the_runtime_s_own_ticks_diff():
    # The desktop runtime counts modulo 2**62 = 2**30 * 2**32: scaled by 2**32 its wrap is ours.
    if not hasattr(time, "ticks_diff"):
        return  # CPython has none; this file also runs under MicroPython
    up = 1 << 32
    for start in (0, 1, 5, HALF - 1, HALF, PERIOD - 7, PERIOD - 1):
        for delta in (-HALF, -HALF + 1, -1000, -1, 0, 1, 999, HALF - 1):
            end = ticks_add(start, delta)
            assert ticks_diff(end, start) * up == time.ticks_diff(end * up, start * up)


def test_extender_counts_through_many_wraps():
    tick = PERIOD - 1_000_000
    ext = Extender(tick)
    for n in range(1, 400):
        tick = ticks_add(tick, 400_000_000)
        assert ext.extend(tick) == n * 400_000_000
    assert ext.at(ticks_add(tick, -5)) == 399 * 400_000_000 - 5
    assert ext.at(ticks_add(tick, 5)) == 399 * 400_000_000 + 5


def test_clock_model_both_ways():
    # 30 ppm is 36 ms in 20 min and 108 ms in an hour (computed, as for the Pico's crystal).
    fast = ClockModel(1_700_000_000_000_000, 5_000_000, rate_ppb=30_000)
    assert fast.utc_of(5_000_000 + 1_200_000_000) == 1_700_000_000_000_000 + 1_200_036_000
    assert fast.utc_of(5_000_000 + 3_600_000_000) - 1_700_000_000_000_000 == 3_600_108_000
    for ppb in (-100_000, -30_000, 0, 1, 30_000, 100_000):
        model = ClockModel(1_700_000_000_000_000, 123, ppb)
        for box_us in (123, 1_000_000, 7_200_000_000, 86_400_000_000):
            assert abs(model.box_of(model.utc_of(box_us)) - box_us) <= 1


def test_two_crystals_part_by_20_ms_in_333_s():
    a, b = ClockModel(0, 0, 30_000), ClockModel(0, 0, -30_000)
    assert abs(a.utc_of(333_333_333) - b.utc_of(333_333_333) - 20_000) <= 1


def test_grid():
    assert next_on_grid(0, 30_000) == 30_000
    assert next_on_grid(25_000, 30_000) == 30_000
    assert next_on_grid(25_001, 30_000) == 60_000
    assert next_on_grid(54_999, 30_000) == 60_000


def test_run_time_follows_utc_through_the_wrap():
    tick = PERIOD - 3_000_000
    ext = Extender(tick)
    model = ClockModel(1_700_000_000_250_000, 0, 50_000)
    run = RunTime(0, tick, model)
    assert run.base_utc_ms == 1_700_000_000_000
    assert run.ms_of(tick) == 250
    for _ in range(500):  # over an hour in steps of 8 s
        tick = ticks_add(tick, 8_000_000)
        run.anchor(ext.extend(tick), tick)
    assert run.ms_of(tick) == (250_000 + 4_000_000_000 + 200_000) // 1000
    for ms in (0, 1, 777, 5_000):
        due = run.tick_of(run.ms + ms)
        assert run.ms_of(due) == run.ms + ms
        assert run.ms_of(ticks_add(due, -1)) == run.ms + ms - 1


def test_waiting_for_a_start_hours_away():
    run = RunTime(0, PERIOD - 1_000)
    for ms in (0, 3, 999, 1_000, 1_001, 600_000, 36_000_000, 1 << 29):
        want = min(ms * 1_000, 1_000_000)
        assert run.wait_us(ms, PERIOD - 1_000, 1_000_000) == want
    assert run.wait_us(5, ticks_add(PERIOD - 1_000, 9_000), 1_000_000) == -4_000


def test_hand_start_on_the_grid_or_five_seconds_on():
    model = ClockModel(1_700_000_010_000_000, 0)  # 18:53:30 UTC in whole multiples of 30 s + 0
    run = RunTime(0, 0, model)
    start = run.start_after(0, 30)
    assert run.utc_ms(start) % 30_000 == 0 and 5_000 <= start < 35_000
    assert run.step(30) == 30_000
    lost = RunTime(0, 0)
    assert lost.start_after(100, 30) == 5_100 and lost.utc_ms(5) == -1


def test_a_run_without_a_clock_is_stamped_by_how_long_the_box_is_on():
    lost = RunTime(7_000_900, 0)
    assert lost.utc_ms(500) == -1 and lost.stamp_ms(500) == -2 - 7_500
    model = ClockModel(1_700_000_000_000_000, 0)
    assert RunTime(7_000_900, 0, model).stamp_ms(500) == RunTime(7_000_900, 0, model).utc_ms(500)
