from handbell_core.agreement import OVER, RUNS, STANDS, Act
from handbell_core.bursts_out import lasts_us
from handbell_core.clock import ClockModel
from handbell_core.lead import PAUSE, SAY_MS, Lead
from handbell_core.slots import (
    AGAIN_MS,
    END_MS,
    REMOTE,
    SLOT_MS,
    TIMES,
    TOLD_MS,
    TURN,
    Telling,
    next_slot,
)
from handbell_core.states import NEVER
from handbell_core.telegram import KEY_SIZE, SOON_MOST_MS, unpack
from made import LedBox, lead_in, window

KEY = bytes(range(KEY_SIZE))
UTC_US = 1_700_000_010_000_000
CLOCK_MS = 20  # off by so much at most, either way
DARK_MS = 2


def led(offset_us=0):
    """A box that heeds a remote; its run time begins at the whole second before."""
    box = LedBox([lead_in(), window()], ClockModel(UTC_US + offset_us, 0))
    box.runner.heed()
    return box


def hear(box, number, what=RUNS, at_ms=100_000, run_ms=0):
    assert box.runner.hear(Act(number, what, 0, at_ms), run_ms)


def utc_ms(box, run_ms):
    return box.runner.clock.base_utc_ms + run_ms


def told(box, station, stations, from_ms, until_ms):
    """Run times of the slots in which it tells."""
    telling = Telling(box.runner, station, stations)
    found, now_ms = [], from_ms
    while True:
        slot_ms = telling.slot_ms(now_ms)
        if slot_ms >= until_ms:
            return found
        assert slot_ms >= now_ms and telling.slot_ms(slot_ms) == slot_ms
        found.append(slot_ms)
        telling.told(slot_ms)
        now_ms = slot_ms + END_MS


# Whose slot it is


def test_each_slot_is_one_senders_and_all_have_as_many():
    for stations in range(1, 25):
        whose = []
        for slot in range(1000, 1000 + TURN * stations):
            ours = [n for n in range(1, stations + 1) if is_its(slot, n, stations)]
            remotes = is_its(slot, REMOTE, 1)
            assert remotes == (slot % TURN == 0)
            assert len(ours) == (0 if remotes else 1)
            whose += ours
        assert [whose.count(n) for n in range(1, stations + 1)] == [2] * stations


def is_its(slot, station, stations):
    return next_slot(slot, station, stations) == slot


def test_nothing_lies_between_a_slot_and_the_next_one():
    for stations in (1, 2, 3, 7, 24):
        for station in range(REMOTE, stations + 1):
            for slot in range(80):
                found = next_slot(slot, station, stations)
                between = [s for s in range(slot, found) if is_its(s, station, stations)]
                assert found >= slot and is_its(found, station, stations) and not between


def test_24_stations_take_36_slots():
    for begin in range(TURN):  # whatever the slot
        slots = [next_slot(begin, station, 24) for station in range(1, 25)]
        assert max(slots) - begin < 36 and len(set(slots)) == 24
    assert 36 * SLOT_MS == 8_280


def test_each_station_waits_as_long_as_any_and_none_is_always_last():
    for stations in (1, 4, 23, 24):
        last, waits = set(), [0] * stations
        for begin in range(TURN * stations):  # whenever an act is said
            slots = [next_slot(begin, n, stations) for n in range(1, stations + 1)]
            last.add(slots.index(max(slots)))
            for n in range(stations):
                waits[n] += slots[n] - begin
        assert len(last) == stations
        assert max(waits) - min(waits) <= TURN * stations  # a slot in the mean


def test_a_slot_holds_the_longest_telegram_between_clocks_that_are_off():
    longest_ms = -(-lasts_us(b"\xff" * 16) // 1000)
    assert longest_ms <= END_MS and END_MS + DARK_MS + 2 * CLOCK_MS <= SLOT_MS


def test_slots_begin_at_the_same_instant_for_all():
    for stations in (1, 5, 24):
        boxes = [led(us) for us in (0, 999_000, 1_000, 4_000_000, -77_000_000)]
        for box in boxes:
            hear(box, 7)
        found = [
            [utc_ms(box, ms) for ms in told(box, 1, stations, until - 60_000, until)]
            for box in boxes
            for until in (90_000 + UTC_US // 1000 - box.runner.clock.base_utc_ms,)
        ]
        assert len(found[0]) == TIMES and all(one == found[0] for one in found)


# Who tells when


def test_a_remote_tells_at_once_then_in_its_turn_then_every_5_s():
    for begin_ms in range(5_000, 5_690, 46):
        box = led()
        hear(box, 3)
        slots_ms = told(box, REMOTE, 1, begin_ms, begin_ms + 40_000)
        assert 0 <= slots_ms[0] - begin_ms < SLOT_MS
        numbers = [utc_ms(box, ms) // SLOT_MS for ms in slots_ms]
        assert all(n % TURN == 0 for n in numbers[1:])
        assert all(utc_ms(box, ms) % SLOT_MS == 0 for ms in slots_ms)
        many = len(TOLD_MS)
        assert [numbers[n + 1] - numbers[n] for n in range(1, many - 1)] == [TURN] * (many - 2)
        for n in range(many):
            assert slots_ms[n] - slots_ms[0] <= TOLD_MS[n]
        rests = [slots_ms[n + 1] - slots_ms[n] for n in range(many - 1, len(slots_ms) - 1)]
        assert len(rests) > 4 and all(0 <= AGAIN_MS - ms < TURN * SLOT_MS for ms in rests)


def test_a_word_is_told_before_its_instant():
    making_ms = 15
    box = LedBox([lead_in(), window(60_000)], ClockModel(UTC_US, 0))
    box.runner.heed()
    box.runner.arm(2_000)
    lead = Lead(box.runner)
    lead.begin(0)
    telling = Telling(box.runner, REMOTE, 1)
    box.to(10_007)
    assert lead.press(PAUSE, 10_007)
    for now_ms in range(10_007, 10_007 + SLOT_MS):  # whenever somebody presses
        waits_ms = telling.slot_ms(now_ms) + END_MS - now_ms
        assert END_MS <= waits_ms < SLOT_MS + END_MS < SAY_MS - making_ms


def test_a_newer_act_is_told_at_once_and_the_old_one_no_more():
    box = led()
    hear(box, 1)
    telling = Telling(box.runner, REMOTE, 1)
    for _ in range(3):
        telling.told(telling.slot_ms(1_000))
    hear(box, 2, STANDS)
    assert telling.slot_ms(10_000) < 10_000 + SLOT_MS and telling.number == 2
    end_ms = telling.slot_ms(10_000) + END_MS
    act = unpack(KEY, box.runner.head.plan, telling.telegram(KEY, end_ms), end_ms)
    assert (act.number, act.what, act.at_ms) == (2, STANDS, 100_000)


def test_a_box_repeats_twice_what_it_heard_and_a_newer_act_twice_again():
    for station in (1, 7, 24):
        box = led()
        telling = Telling(box.runner, station, 24)
        assert telling.slot_ms(1_000) == NEVER  # it heard nothing
        hear(box, 4)
        first_ms = telling.slot_ms(1_000)
        telling.told(first_ms)
        assert telling.slot_ms(first_ms) - first_ms in range(SLOT_MS, 37 * SLOT_MS)
        hear(box, 5, STANDS)
        second_ms = telling.slot_ms(first_ms + END_MS)
        telling.told(second_ms)
        third_ms = telling.slot_ms(second_ms)
        telling.told(third_ms)
        assert telling.number == 5 and telling.slot_ms(third_ms) == NEVER
        assert not box.runner.hear(Act(5, STANDS, 0, 100_000), third_ms)  # the same again
        assert telling.slot_ms(third_ms) == NEVER


def test_a_slot_that_has_begun_is_left_out_and_counts_for_nothing():
    box = led()
    hear(box, 1)
    telling = Telling(box.runner, 2, 5)
    slot_ms = telling.slot_ms(1_000)
    later_ms = telling.slot_ms(slot_ms + 1)
    assert later_ms > slot_ms and telling.slot_ms(later_ms) == later_ms
    telling.told(later_ms)
    assert telling.slot_ms(later_ms) < NEVER


def test_who_is_told_no_number_of_stations_has_no_slots():
    box = led()
    hear(box, 1)
    assert Telling(box.runner, 0, 0).slot_ms(1_000) == NEVER


def test_nothing_is_told_that_is_not_the_newest_that_was_heard():
    box = led()
    box.runner.heed(9)  # of before a power failure
    telling = Telling(box.runner, 1, 2)
    assert telling.slot_ms(1_000) == NEVER
    hear(box, 10)
    assert telling.slot_ms(1_000) < NEVER
    agreement = box.runner.agreement
    agreement.step(200_000)
    agreement.hear(Act(11, OVER, 0, 300_000))
    agreement.forget()  # the class was over before
    assert agreement.newest.number == 10 and telling.slot_ms(200_000) == NEVER


def test_a_start_that_is_far_off_is_told_as_soon_as_a_telegram_can():
    box = led()
    hear(box, 1, at_ms=SOON_MOST_MS + 60_000)
    telling = Telling(box.runner, REMOTE, 1)
    end_ms = telling.slot_ms(1_000) + END_MS
    assert 60_000 <= end_ms < 60_000 + SLOT_MS
    assert unpack(KEY, box.runner.head.plan, telling.telegram(KEY, end_ms), end_ms)


def test_another_clock_moves_the_slots_of_an_act_that_is_told():
    box = led()
    hear(box, 1)
    telling = Telling(box.runner, 3, 24)
    telling.slot_ms(1_000)
    other = led(333_000_000)
    box.runner.live_on(other.runner.clock, 0)
    fresh = Telling(box.runner, 3, 24)
    assert telling.slot_ms(1_000) == fresh.slot_ms(1_000)


def test_a_telegram_takes_the_first_8_bytes_of_the_key():
    box = led()
    hear(box, 1)
    data = Telling(box.runner, 1, 2).telegram(KEY + b"\x18", 5_000)
    assert unpack(KEY, box.runner.head.plan, data, 5_000) is not None
