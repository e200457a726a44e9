import struct

from handbell_core import journal as j
from handbell_core.clock import PPB, TEMPERATURE_PPB, TOLERANCE_PPB, ClockModel
from handbell_core.cues import EASE, GO, NEAR
from handbell_core.runner import ASKING, AT_GATE, LEAVING, PLAY, TALLY
from made import GATE, Box, whole_class


def look(box, run_ms):
    runner = box.runner
    return (runner.state, runner.kind, runner.index, runner.left_ms(run_ms), runner.cue_ms())


def test_wherever_it_joins_it_is_where_it_would_have_been():
    for class_ms in range(0, 55_000, 700):
        whole = Box(whole_class(10_000))
        whole.runner.arm(2_000)
        whole.to(2_000 + class_ms)
        joined = Box(whole_class(10_000))
        assert joined.runner.rejoin(2_000, 2_000 + class_ms, 0)
        joined.to(2_000 + class_ms)
        assert look(joined, 2_000 + class_ms) == look(whole, 2_000 + class_ms), class_ms
        assert joined.sink.bells == []
        bells = len(whole.sink.bells)
        for box in (whole, joined):
            box.to(56_000)
        assert joined.sink.bells == whole.sink.bells[bells:]


def test_it_waits_where_the_others_wait():
    box = Box(whole_class(10_000))
    assert box.runner.rejoin(0, 60_000, 12_000)
    assert box.runner.state == AT_GATE and box.runner.class_ms(60_000) == 55_000
    box.hold(0, 61_000)
    assert box.runner.state == LEAVING
    box.to(box.runner.starts_ms)
    assert (box.runner.state, box.runner.index) == (PLAY, 6)


def test_a_gate_that_was_passed_is_behind_it():
    box = Box(whole_class(10_000))
    # The gate took 40 s, so class_ms 0 lies 40 s later than it began.
    assert box.runner.rejoin(40_000, 97_000, 55_000)
    assert (box.runner.state, box.runner.index) == (PLAY, 6)
    assert box.runner.left_ms(97_000) == 8_000


def test_a_wait_that_somebody_chose_goes_on():
    box = Box(whole_class(10_000))
    box.runner.wait_again(15_000, 70_000)
    assert box.runner.state == AT_GATE and box.runner.kind == GATE
    assert box.runner.class_ms(90_000) == 15_000
    box.hold(0, 91_000)
    box.to(box.runner.starts_ms)
    assert (box.runner.state, box.runner.index) == (PLAY, 2)
    assert box.sink.bells[-1][1] == EASE


def test_after_the_end_there_is_nothing_to_join():
    box = Box(whole_class(10_000))
    assert not box.runner.rejoin(0, 200_000, 56_000)
    assert box.sink.records == []


def test_it_joins_while_the_ratings_are_asked():
    box = Box(whole_class(10_000))
    assert box.runner.rejoin(0, 70_000, 56_000)
    assert box.runner.state == ASKING


def test_what_was_counted_is_counted_on():
    box = Box(whole_class(10_000))
    assert box.runner.rejoin(0, 9_000, 5_000)
    for ms in (6_000, 6_500, 7_000):
        box.runner.counting.replay(j.TAP, 0, 1, ms)
    box.runner.counting.replay(j.BACK, 0, 1, 8_600)
    assert box.sink.records[1:] == []  # but for the state, nothing is told twice
    box.tap(0, 9_500)
    assert box.runner.counting.now[0].reps == 3
    _, slot, number, _, payload = j.parse_record(box.sink.records[-1])
    assert (slot, number, struct.unpack_from("<HHH", payload)[2]) == (0, 1, 3)


def test_a_tally_of_the_window_before_goes_on():
    box = Box(whole_class(10_000))
    assert box.runner.rejoin(0, 40_000, 35_000)
    assert box.runner.state == TALLY
    box.runner.counting.replay(j.TAP, 1, 2, 36_000)
    box.tap(1, 41_000)
    assert box.runner.counting.before[1].reps == 2


def test_joining_is_journalled_with_its_cause():
    box = Box(whole_class(10_000))
    box.runner.rejoin(0, 12_000, 5_000)
    kind, _, _, class_ms, payload = j.parse_record(box.sink.records[0])
    assert (kind, class_ms, payload[0], payload[1]) == (j.STATE, 12_000, PLAY, j.BY_CLOCK)


def test_a_heads_up_just_ahead_still_rings():
    box = Box(whole_class(10_000))
    box.runner.rejoin(0, 11_999, 5_000)
    box.to(15_000)
    assert box.sink.bells == [(12_000, NEAR), (15_000, EASE)]
    box.to(25_000)
    assert box.sink.bells[-1] == (25_000, GO)


def test_the_error_of_a_clock_grows_with_its_age():
    model = ClockModel(5_000_000, 1_000_000, 0, 300)
    assert model.error_us(1_000_000) == 300
    # 30 ppm of an hour is 108 ms (computed); the temperature's share comes on top.
    hour = model.error_us(1_000_000 + 3_600_000_000) - 300
    assert hour == 108_000 + 3_600_000_000 * TEMPERATURE_PPB // PPB
    assert TOLERANCE_PPB == 30_000


def test_another_rate_makes_no_jump():
    model = ClockModel(1_700_000_000_000_000, 5_000_000, 12_000, 300, 31_500)
    later = model.at_rate(905_000_000, -4_000, 2_000)
    assert later.utc_of(905_000_000) == model.utc_of(905_000_000)
    assert later.error_us(905_000_000) == model.error_us(905_000_000)
    assert later.utc_of(1_905_000_000) - later.utc_of(905_000_000) == 1_000_000_000 - 4_000


def test_a_gate_holds_a_class_that_would_be_over_without_it():
    """The others came to the gate while this box was off, and wait there still."""
    spans = whole_class(10_000)
    box = Box(spans)
    assert box.runner.place_at(300_000, 20_000) == 5  # the gate
    assert box.runner.rejoin(0, 300_000, 20_000)
    assert box.runner.state == AT_GATE
    assert Box(whole_class(10_000)).runner.place_at(300_000, 60_000) == -1
