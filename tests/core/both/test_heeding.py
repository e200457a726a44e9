import struct

from handbell_core import journal as j
from handbell_core.acts import LEAD_MS, SOON_MS
from handbell_core.agreement import OVER, RUNS, STANDS, Act
from handbell_core.cues import AWAIT, CLOSE, EASE, GO, NEAR
from handbell_core.runner import ASKING, AT_GATE, LEAVING, NEVER, PLAY, READY, SET, TALLY
from handbell_core.runner import OVER as OVER_STATE
from made import GATE, TAP_NONE, LedBox, handed, lead_in, rest, whole_class, window

# whole_class(): lead-in to 5 s, target to 15, rest to 27, tally to 37, its rest to 57, gate, window
# to 67 s, rating. Run time is class time plus 2 s at first.
START_MS = 2_000


def led(spans=None, **head):
    box = LedBox(spans or whole_class(), **head)
    box.runner.heed()
    box.runner.arm(START_MS)
    return box


def act(box, number, what, class_ms, at_ms, heard_ms=None):
    """Hear an act, 500 ms ahead of its instant unless told otherwise, and live up to it."""
    heard_ms = at_ms - 500 if heard_ms is None else heard_ms
    box.to(heard_ms)
    assert box.runner.hear(Act(number, what, class_ms, at_ms), heard_ms)
    box.to(max(at_ms, heard_ms))


def records(box, kind):
    parsed = [j.parse_record(record) for record in box.sink.records]
    return [record for record in parsed if record[0] == kind]


def results(box, number):
    last = {}
    for _, slot, found, _, payload in records(box, j.RESULT):
        if found == number:
            last[slot] = struct.unpack("<HH", payload[:4])[1]
    return last


def test_without_a_remote_nothing_is_heard():
    box = LedBox(whole_class())
    box.runner.arm(START_MS)
    assert not box.runner.hear(Act(1, STANDS, 3_000, 5_000), 4_000)
    assert box.to(8_000).state == PLAY


def test_a_pause_stops_a_window_and_what_is_left_of_it_goes_on():
    box = led()
    box.tap(0, 8_000)
    act(box, 1, STANDS, 10_000, 12_000)
    runner = box.runner
    assert runner.state == AT_GATE and runner.class_ms(30_000) == 10_000
    assert box.sink.bells[-1] == (12_000, AWAIT)
    box.tap(0, 20_000)  # kept, and counts for nothing
    assert runner.counting.now[0].reps == 1
    act(box, 2, RUNS, 10_000, 60_000, 60_000 - LEAD_MS)
    assert runner.state == PLAY and runner.index == 1 and runner.left_ms(60_000) == 5_000
    assert (57_000, NEAR) in box.sink.bells and box.sink.bells[-1] == (60_000, GO)
    box.tap(0, 61_000)
    assert runner.counting.now[0].reps == 2
    box.to(65_000)
    assert box.sink.bells[-1] == (65_000, EASE) and runner.index == 2
    box.to(68_000)
    assert results(box, 1) == {0: 2, 1: 0}
    taps = [(at, payload[6] & j.TAP_OUTSIDE) for *_, at, payload in records(box, j.TAP)]
    assert taps == [(6_000, 0), (10_000, 1), (11_000, 0)]


def test_while_it_waits_to_go_on_it_says_when():
    box = led()
    act(box, 1, STANDS, 10_000, 12_000)
    box.to(50_000)
    assert box.runner.hear(Act(2, RUNS, 10_000, 60_000), 50_000)
    assert box.runner.state == LEAVING and box.runner.left_ms(51_000) == 9_000
    # The bell of its instant is at hand, and nothing is armed past an act.
    box.to(58_000)
    assert (box.runner.cue_ms(), box.runner.bell_cue()) == (60_000, GO)


def test_a_bell_due_at_an_act_or_after_it_is_not_rung():
    box = led()
    box.to(16_900)
    assert box.runner.cue_ms() == 17_000
    box.runner.hear(Act(1, STANDS, 14_950, 16_950), 16_900)
    assert (box.runner.cue_ms(), box.runner.bell_cue()) == (16_950, AWAIT)
    box.to(30_000)
    assert box.sink.bells[-1] == (16_950, AWAIT) and box.runner.index == 0


def test_a_press_begun_before_the_pause_counts():
    box = led()
    box.to(11_900)
    box.runner.press(0, 11_900)
    act(box, 1, STANDS, 10_000, 12_000, 11_950)
    box.runner.release(0, 12_300)
    assert box.runner.counting.now[0].reps == 1


def test_a_hold_begun_before_the_pause_takes_back():
    box = led()
    box.tap(0, 8_000)
    box.runner.press(0, 11_000)
    act(box, 1, STANDS, 10_000, 12_000, 11_950)
    box.to(14_000)
    box.runner.release(0, 14_000)
    assert box.runner.counting.now[0].reps == 0
    act(box, 2, RUNS, 10_000, 30_000)
    assert box.runner.counting.now[0].reps == 0


def test_a_hold_at_a_gate_or_in_a_pause_does_nothing():
    for at_ms, class_ms in ((12_000, 10_000), (59_000, 57_000)):
        box = led()
        if class_ms == 10_000:
            act(box, 1, STANDS, class_ms, at_ms)
        box.to(at_ms + 1_000)
        assert box.runner.state == AT_GATE
        box.hold(0, at_ms + 2_000)
        assert box.to(at_ms + 60_000).state == AT_GATE


def test_the_choices_let_it_go_on_alone():
    box = led()
    act(box, 1, STANDS, 10_000, 12_000)
    box.hold(0, 20_000, 5_100)
    box.hold(0, 25_500, 1_600)  # the door
    box.tap(0, 27_500)  # past "return" to the first thing that is offered
    box.hold(0, 28_000, 1_600)
    assert box.runner.state == LEAVING and box.runner.starts_ms == 34_530
    box.to(34_530)
    assert box.runner.state == PLAY and box.runner.left_ms(34_530) == 5_000
    assert box.sink.bells[-1] == (34_530, GO)


def test_one_go_on_leaves_a_gate():
    box = led()
    box.to(70_000)
    assert box.runner.state == AT_GATE
    act(box, 1, RUNS, 57_000, 100_000)
    assert (box.runner.state, box.runner.index) == (PLAY, 6)
    assert box.sink.bells[-1] == (100_000, GO)


def test_in_a_tally_entry_goes_on_and_counts():
    box = led()
    box.to(40_000)
    assert box.runner.state == TALLY
    box.tap(1, 40_500)
    act(box, 1, STANDS, 40_000, 42_000)
    box.tap(1, 50_000)
    box.hold(1, 52_000)  # closes it
    assert box.runner.counting.before[1].taps == 2 and box.runner.counting.before[1].confirmed
    act(box, 2, RUNS, 40_000, 60_000)
    assert box.runner.state == TALLY and box.runner.left_ms(60_000) == 17_000
    box.to(80_000)
    assert results(box, 2) == {0: 0, 1: 2}


def test_the_next_block_begins_with_its_first_window():
    spans = [lead_in(), window(), rest(), window(), rest(), window()]
    box = led(spans)
    box.tap(0, 8_000)
    act(box, 1, RUNS, 45_000, 20_000)
    assert (box.runner.state, box.runner.index) == (PLAY, 5)
    assert box.sink.bells[-1] == (20_000, GO)
    box.tap(0, 21_000)
    box.to(33_000)
    assert results(box, 1) == {0: 1, 1: 0} and results(box, 3) == {0: 1, 1: 0}
    assert results(box, 2) == {}


def test_a_press_that_began_before_the_next_block_counts_where_it_began():
    spans = [lead_in(), window(), rest(), window()]
    box = led(spans)
    box.to(9_900)
    box.runner.press(0, 9_900)
    act(box, 1, RUNS, 25_000, 10_000, 9_950)
    box.runner.release(0, 10_100)
    assert box.runner.counting.before[0].reps == 1 and box.runner.counting.now[0].reps == 0


def test_who_heard_a_pause_late_goes_back_to_it():
    """Seven seconds late, and into the window that was over: its later taps count for nothing."""
    box = led()
    for at_ms in (8_000, 9_000, 13_000, 16_000):
        box.tap(0, at_ms)
    box.to(19_000)
    assert box.runner.index == 2
    act(box, 1, STANDS, 10_000, 19_000, 19_000)
    runner = box.runner
    assert runner.state == AT_GATE and runner.class_ms(40_000) == 10_000
    assert runner.counting.window == 1 and runner.counting.now[0].reps == 2
    act(box, 2, RUNS, 10_000, 60_000)
    box.tap(0, 61_000)
    box.to(68_000)
    assert results(box, 1) == {0: 3, 1: 0}


def test_a_tally_holds_unless_its_window_is_gone_back_into():
    for class_ms, kept in ((38_000, 2), (36_000, 0)):
        box = led()
        box.to(40_500)
        box.tap(1, 41_000)
        box.tap(1, 42_000)
        act(box, 1, STANDS, class_ms, 45_000, 45_000)
        act(box, 2, RUNS, class_ms, 60_000)
        box.to(60_000 + 57_000 - class_ms + 2_000)
        assert results(box, 2) == {0: 0, 1: kept}


def test_it_goes_back_from_the_ratings_and_not_from_the_end():
    box = led()
    act(box, 1, RUNS, 57_000, 70_000)
    box.to(81_000)
    assert box.runner.state == ASKING
    act(box, 2, STANDS, 60_000, 82_000, 82_000)
    assert box.runner.state == AT_GATE and box.runner.counting.window == 3
    box = led()
    act(box, 1, RUNS, 57_000, 70_000)
    box.to(200_000)
    box.runner.hear(Act(2, STANDS, 60_000, 200_000), 200_000)
    box.to(200_100)
    assert box.sink.ended and box.sink.ended[0] == j.BY_TIME


def test_a_rating_is_not_stopped():
    box = led()
    act(box, 1, RUNS, 57_000, 70_000)
    box.to(81_000)
    act(box, 2, STANDS, 67_000, 82_000)
    assert box.runner.state == ASKING


def test_the_word_ends_the_class():
    box = led()
    box.tap(0, 8_000)
    act(box, 1, OVER, 8_000, 10_000)
    assert box.sink.ended == (j.BY_WORD, 8_000) and results(box, 1) == {0: 1, 1: 0}
    assert box.runner.due_ms > 1_000_000


def test_a_start_is_put_off_and_set_anew():
    box = led()
    box.to(1_000)
    assert box.runner.state == SET
    assert box.runner.hear(Act(1, RUNS, 0, 30_000), 1_000)
    assert box.to(25_000).state == LEAVING
    box.to(30_000)
    assert box.runner.state == PLAY and box.runner.class_ms(31_000) == 1_000
    assert (27_000, NEAR) in box.sink.bells


def test_a_box_that_knows_nothing_goes_where_the_class_is():
    box = LedBox(whole_class())
    box.runner.heed()
    assert box.runner.state == READY
    box.to(500_000)
    assert box.runner.hear(Act(7, RUNS, 30_000, 500_000), 500_000)
    box.to(500_001)
    assert (box.runner.state, box.runner.index) == (PLAY, 3)
    box.to(508_000)
    assert [cue for _, cue in box.sink.bells] == [NEAR, EASE] and box.runner.state == TALLY


def test_the_end_of_the_class_is_told_as_a_stand_there():
    box = led()
    act(box, 1, STANDS, 67_000, 10_000, 10_000)
    assert box.runner.state == ASKING and box.sink.bells[-1][1] != CLOSE


def test_an_act_is_kept_with_where_it_led_and_from_where():
    box = led()
    act(box, 3, STANDS, 6_000, 12_000, 12_000)
    ((_, _, number, class_ms, payload),) = records(box, j.ACT)
    assert (number, class_ms) == (1, 6_000)
    assert struct.unpack("<HBBi", payload[:8]) == (3, STANDS, 0, 10_000)
    kinds = [record[0] for record in map(j.parse_record, box.sink.records)]
    assert kinds[kinds.index(j.ACT) + 1] == j.STATE


def test_a_gate_of_the_plan_is_left_by_the_word_alone_after_a_step_back():
    spans = [lead_in(), window(), GATE_SPAN(), window()]
    box = led(spans)
    box.to(20_000)
    assert box.runner.state == AT_GATE
    act(box, 1, RUNS, 15_000, 30_000)
    act(box, 2, STANDS, 15_000, 33_000, 33_000)
    assert box.runner.state == AT_GATE and box.runner.index == 2
    act(box, 3, RUNS, 15_000, 40_000)
    assert (box.runner.state, box.runner.index) == (PLAY, 3)


def GATE_SPAN():
    from made import span

    return span(GATE, 0)


def test_it_pauses_before_the_start_and_begins_anew():
    box = led()
    act(box, 1, STANDS, 0, 1_000)
    assert box.to(5_000).state == AT_GATE
    act(box, 2, RUNS, 0, 20_000, 20_000 - SOON_MS)
    assert (box.runner.state, box.runner.index) == (PLAY, 0)
    assert box.runner.class_ms(20_500) == 500


def test_with_little_left_of_a_rest_it_goes_on_without_a_bell():
    for class_ms, rings in ((21_000, True), (23_500, False)):  # a rest from 15 to 27 s
        box = led()
        act(box, 1, STANDS, class_ms, START_MS + class_ms)
        act(box, 2, RUNS, class_ms, 60_000)
        assert ((60_000, EASE) in box.sink.bells) == rings
        box.to(60_000 + 27_000 - class_ms)
        assert box.sink.bells[-1] == (87_000 - class_ms, GO)


def test_nothing_heard_after_the_end_leaves_anything_due():
    for end in ("stopped", "closing"):
        box = led()
        act(box, 1, RUNS, 57_000, 70_000)
        if end == "stopped":
            box.to(75_000)
            box.runner.stop(75_000, j.BY_STOP)
        else:  # one that was heard before, for an instant in the last moment of a class
            box = led([lead_in(), window()])
            box.to(START_MS + 14_900)
            box.runner.hear(Act(1, STANDS, 15_000, START_MS + 15_030), START_MS + 14_900)
            box.to(START_MS + 15_020)
        now = 200_000
        box.runner.hear(Act(9, STANDS, 3_000, now), now)
        box.to(now)
        assert box.runner.state == OVER_STATE and box.sink.ended, end
        assert box.runner.due_ms == NEVER and box.runner.cue_ms() == NEVER


def test_legs_of_many_people_are_counted_again():
    relay = handed(window(60_000, tap=TAP_NONE, bibs=(0, 0, 0, 0)), (4, 5, 6, 7, 8, 9))
    box = led([lead_in(), relay])
    for n in range(8):
        box.tap(0, START_MS + 9_000 + n * 4_000)
    act(box, 1, STANDS, 35_500, START_MS + 42_000, START_MS + 42_000)
    assert box.runner.counting.legs.done == 7


def test_an_act_that_can_t_be_read_comes_though_a_span_has_ended_meanwhile():
    box = led()
    box.to(START_MS + 14_900)
    box.runner.hear(Act(1, STANDS, 14_980, START_MS + 14_980), START_MS + 14_900)
    box.runner._look(2)  # the span that follows is at hand
    whole, box.runner.timeline.span = box.runner.timeline.span, broken
    for ms in range(START_MS + 14_980, START_MS + 15_500, 10):
        try:  # noqa: SIM105 - MicroPython has no contextlib
            box.to(ms)
        except OSError:
            pass
    assert box.runner.index == 2
    box.runner.timeline.span = whole
    box.to(START_MS + 15_600)
    assert box.runner.state == AT_GATE and box.runner.class_ms(30_000) == 14_980


def broken(index, into):
    raise OSError(5)


def test_one_that_had_begun_awaits_no_start_when_it_is_brought_back_by_a_word_to_come():
    box = LedBox(whole_class())
    box.runner.heed(3)
    box.runner.resume(60_000, 1_000)
    assert box.runner.hear(Act(4, RUNS, 58_000, 8_000), 1_000)
    runner = box.to(7_000)
    assert runner.state == LEAVING and runner.begun and not runner.awaits_start
    assert runner.class_ms(7_000) == 60_000
    assert box.to(9_000).state == PLAY and runner.class_ms(9_000) == 59_000
    ((_, _, _, class_ms, payload),) = records(box, j.ACT)
    assert class_ms == 58_000
    assert struct.unpack("<i", payload[4:8])[0] == -1, "nobody knows where it came from"


def test_a_start_that_is_put_off_rings_only_once():
    box = LedBox(whole_class())
    box.runner.heed()
    box.runner.arm(20_000)
    box.runner.hear(Act(1, RUNS, 0, 20_000), 1_000)
    box.runner.hear(Act(2, RUNS, 0, 50_000), 5_000)
    assert box.runner.starts_ms == 50_000 and box.runner.awaits_start
    box.to(60_000)
    assert box.sink.bells[0] == (47_000, NEAR) and box.runner.class_ms(60_000) == 10_000


def test_a_stop_that_was_heard_late_leaves_out_what_came_after_it():
    box = led()
    for at_ms in (8_000, 9_000, 12_000):
        box.tap(0, at_ms)
    act(box, 1, OVER, 9_000, 14_000, 14_000)
    assert results(box, 1) == {0: 2, 1: 0} and box.sink.ended == (j.BY_WORD, 9_000)


def test_a_stop_in_a_pause_tells_what_was_done():
    box = led()
    box.tap(0, 8_000)
    act(box, 1, STANDS, 10_000, 12_000)
    act(box, 2, OVER, 10_000, 20_000)
    assert results(box, 1) == {0: 1, 1: 0} and box.sink.ended == (j.BY_WORD, 10_000)
    states = [record[4][0] for record in records(box, j.STATE)]
    assert states[-1] == OVER_STATE


def test_a_stop_rings_the_end_and_no_gate():
    for stands in (False, True):
        box = led()
        if stands:
            act(box, 1, STANDS, 10_000, 12_000)
        act(box, 2, OVER, 10_000, 15_000)
        assert [bell for bell in box.sink.bells if bell[0] > 14_500] == [(15_000, CLOSE)]


def test_what_was_counted_between_an_act_and_its_reading_is_taken_back():
    for behind_ms in (0, 1):  # by how much the box's clock parts from the remote's
        box = led()
        box.tap(0, 10_000)
        box.tap(0, 12_075, 100)
        act(box, 1, STANDS, 10_000 - behind_ms, 12_000, 12_250)
        act(box, 2, RUNS, 10_000 - behind_ms, 30_000)
        box.to(50_000)
        assert results(box, 1)[0] == 1


def test_an_act_read_after_a_window_s_end_leaves_its_counts_whole():
    for parted_ms in (1, -1):
        box = led()
        for at_ms in (8_000, 9_000, 10_000):
            box.tap(0, at_ms)
        box.to(17_005)  # the window ended at 17 s
        act(box, 1, RUNS, 14_980 + parted_ms, 16_980, 17_005)
        box.to(60_000)
        assert results(box, 1)[0] == 3


def test_a_window_left_by_the_next_block_is_told_though_that_is_gone_back_into():
    for late_ms in (60, 400):
        spans = [
            lead_in(), window(30_000, block=1), rest(), window(8_000, block=1), rest(5_000),
            window(15_000, block=2),
        ]  # fmt: skip
        box = led(spans)
        for at_ms in range(10_000, 20_000, 1_000):
            box.tap(0, at_ms)
        act(box, 1, RUNS, 58_000, 31_000, 21_000)
        act(box, 2, STANDS, 59_450, 32_450, 32_450 + late_ms)
        assert results(box, 1)[0] == 10
        act(box, 3, RUNS, 59_450, 50_000)
        box.to(90_000)
        assert results(box, 1)[0] == 10 and len(records(box, j.RESULT)) == 6


def test_a_press_just_before_a_second_stand_belongs_to_where_the_class_stood():
    box = led()
    act(box, 1, STANDS, 10_000, 12_000)
    box.to(70_000)
    assert box.runner.hear(Act(2, RUNS, 10_000, 80_000), 70_000)
    act(box, 3, STANDS, 10_000, 75_450)
    box.to(75_470)
    box.runner.press(0, 75_420)
    box.runner.release(0, 75_560)
    assert [record[3] for record in records(box, j.TAP)] == [10_000]


def test_a_stop_that_says_no_place_voids_nothing_and_is_kept_with_the_box_s_own():
    box = led()
    for at_ms in (8_000, 9_000, 12_000):
        box.tap(0, at_ms)
    act(box, 1, OVER, box.runner.head.slot_ms, 14_000)
    assert results(box, 1) == {0: 3, 1: 0} and box.sink.ended == (j.BY_WORD, 12_000)
    assert [record[3] for record in records(box, j.ACT)] == [12_000]


def alone(at_class_ms=10_000):
    """A box that was let go on alone after a pause, has counted since, and plays its second rest."""
    box = led()
    act(box, 1, STANDS, at_class_ms, 12_000)
    box.hold(0, 20_000, 5_100)
    box.hold(0, 25_500, 1_600)
    box.tap(0, 27_500)
    box.hold(0, 28_000, 1_600)  # it goes on at 34.53 s
    for at_ms in (35_000, 36_000, 37_000):
        box.tap(0, at_ms)
    box.to(50_000)
    assert box.runner.alone and box.runner.state == PLAY
    return box


def test_no_word_takes_a_box_back_that_went_on_alone():
    box = alone()
    act(box, 18, RUNS, 10_000, 60_000, 50_000)  # of a remote that stood still
    own_ms = box.runner.class_ms(60_000)
    assert box.runner.state == PLAY and own_ms == 10_000 + 60_000 - 34_530
    act(box, 19, STANDS, 15_000, 65_000)  # but it is stopped where it is
    assert box.runner.state == AT_GATE and box.runner.class_ms(70_000) == own_ms + 5_000
    act(box, 20, RUNS, 15_000, 80_000, 70_000)
    assert box.runner.state == TALLY and box.runner.class_ms(80_000) == own_ms + 5_000
    act(box, 21, OVER, 16_000, 82_000)
    assert results(box, 1) == {0: 3, 1: 0} and box.sink.ended == (j.BY_WORD, own_ms + 7_000)
    assert [r[3] >= own_ms for r in records(box, j.ACT)[1:]] == [True] * 4


def test_a_word_that_leads_on_from_there_has_it_back_with_the_others():
    box = alone()
    act(box, 18, RUNS, 57_000, 65_000, 55_000)
    assert not box.runner.alone and box.runner.class_ms(66_000) == 58_000
    act(box, 19, STANDS, 20_000, 70_000, 70_000)
    assert box.runner.class_ms(70_000) == 20_000


def test_one_that_stands_alone_goes_on_with_the_notice_of_its_own_place():
    box = alone(10_000)
    act(box, 18, STANDS, 12_000, 55_000)
    box = led([lead_in(), window(60_000), rest()])
    act(box, 1, STANDS, 10_000, 12_000)
    box.hold(0, 20_000, 5_100)
    box.hold(0, 25_500, 1_600)
    box.tap(0, 27_500)
    box.hold(0, 28_000, 1_600)
    act(box, 18, STANDS, 10_000, 50_000)  # in the midst of a window
    stands_ms = box.runner.class_ms(51_000)
    assert box.runner.alone and box.runner.hear(Act(19, RUNS, 10_000, 62_000), 60_000)
    box.to(69_900)
    assert box.runner.state == LEAVING and box.runner.starts_ms == 60_000 + LEAD_MS
    box.to(70_100)
    assert box.runner.state == PLAY and box.runner.class_ms(70_000) == stands_ms


def test_a_word_read_late_by_one_that_plays_on_alone_voids_nothing():
    box = alone()
    box.tap(0, 50_100, 60)
    act(box, 18, RUNS, 10_000, 50_090, 50_300)
    (told,) = [r[3] for r in records(box, j.ACT)][-1:]
    taps = [r[3] for r in records(box, j.TAP)]
    assert told >= max(taps)
