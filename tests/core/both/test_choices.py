"""What a long hold leads to: out of the reach of somebody who leans, taps and takes back."""

import struct

from handbell_core import cues
from handbell_core import journal as j
from handbell_core.agreement import RUNS, Act
from handbell_core.runner import DOOR, MENU_MS, OVER, PLAY, RETURN, SKIP, STOP, SURE, WAIT
from handbell_core.states import DOOR_MS
from made import (
    ASK_TARGET,
    RATING,
    TAKES_TALLY,
    TAP_TALLY,
    Box,
    LedBox,
    handed,
    lead_in,
    rest,
    span,
    window,
)


def in_window(seconds=60):
    box = Box([lead_in(), window(seconds * 1000), rest(10_000), window(10_000)])
    box.runner.arm(0)
    box.to(6_000)
    return box


def count(box, slot=0):
    return box.runner.counting.now[slot].taps


def test_after_a_lean_every_tap_counts():
    box = in_window()
    box.tap(0, 7_000, 6_000)
    assert box.runner.menu == DOOR
    for n in range(18):
        box.tap(0, 14_000 + n * 900)
    assert count(box) == 18 and box.runner.menu == -1


def test_the_door_closes_soon_after_the_button_is_let_go():
    for held_ms in (5_000, 5_100, 6_000, 12_900):
        box = in_window()
        box.tap(0, 7_000, held_ms)
        closes_ms = 7_000 + held_ms + DOOR_MS
        box.to(closes_ms - 1)
        assert box.runner.menu == DOOR, held_ms
        box.to(closes_ms)
        assert box.runner.menu == -1, held_ms


def test_the_door_closes_under_a_button_that_is_not_let_go():
    box = in_window()
    box.runner.press(0, 7_000)  # it opens at 12 s, when a release before then would be known
    box.to(12_030 + MENU_MS - 1)
    assert box.runner.menu == DOOR
    box.to(12_030 + MENU_MS)
    assert box.runner.menu == -1
    box.runner.release(0, 21_000)
    assert box.runner.menu == -1


def test_another_button_let_go_leaves_the_door_as_it_is():
    box = in_window()
    box.runner.press(1, 6_500)
    box.runner.press(0, 6_400)
    box.to(12_000)  # the door is button 0's
    box.runner.release(1, 12_000)
    box.to(17_000)
    assert (box.runner.menu, box.runner.menu_slot) == (DOOR, 0)


def test_the_second_hold_may_end_late_but_begins_in_time():
    for begins_ms, menu, taps in ((12_100 + DOOR_MS - 1, RETURN, 1), (12_100 + DOOR_MS, -1, 0)):
        box = in_window()
        box.tap(0, 6_500)
        box.tap(0, 7_000, 5_100)
        box.hold(0, begins_ms, 1_600)
        assert (box.runner.menu, count(box)) == (menu, taps), begins_ms


def test_taps_do_not_hold_the_choices_open():
    box = in_window()
    box.tap(0, 7_000, 5_100)
    box.hold(0, 13_000, 1_600)
    opened_ms = 14_530
    for n in range(30):
        box.tap(0, 15_000 + n * 700)
        at_ms = 15_120 + n * 700
        assert (box.runner.menu >= 0) == (at_ms < opened_ms + MENU_MS), at_ms
    assert count(box) == 30


def rhythms():
    """What people do at a button for a minute: lean, tap, take back, in every order of four."""
    kinds = ("lean", "lean less", "taps", "back")
    for a in kinds:
        for b in kinds:
            for c in kinds:
                for d in kinds:
                    yield (a, b, c, d)


def test_no_leaning_tapping_and_taking_back_stops_the_class():
    for rhythm in rhythms():
        box = in_window()
        at_ms = 7_000
        for what in rhythm:
            if what == "taps":
                for n in range(3):
                    box.tap(0, at_ms + n * 600)
                at_ms += 2_000
            else:
                held_ms = {"lean": 5_500, "lean less": 2_500, "back": 1_700}[what]
                box.tap(0, at_ms, held_ms)
                at_ms += held_ms + 300
        assert box.runner.state == PLAY and box.sink.ended is None, rhythm


def test_stopping_asks_once_more_and_a_tap_says_no():
    for answer, state in (("tap", PLAY), ("hold", OVER)):
        box = in_window()
        box.tap(0, 7_000, 5_100)
        box.hold(0, 12_300, 1_600)
        for n in range(STOP):
            box.tap(0, 14_000 + n * 300)
        box.hold(0, 15_200, 1_600)
        assert (box.runner.menu, box.runner.state) == (SURE, PLAY)
        taps = count(box)
        box.hold(0, 17_000, 3_000)  # no stop yet, and the question stands
        assert (box.runner.menu, box.runner.state) == (SURE, PLAY)
        box.tap(0, 20_200, 120 if answer == "tap" else 5_100)
        assert (box.runner.menu, box.runner.state) == (-1, state), answer
        if answer == "tap":
            assert count(box) == taps + 1
        else:
            assert box.sink.ended[0] == j.BY_STOP


def test_a_hold_for_the_choices_takes_no_rep_back_when_they_close_first():
    box = in_window()
    box.tap(0, 7_000, 5_100)  # the door opens at 12 s
    box.hold(0, 12_300, 1_600)  # the choices at 13.83
    box.tap(0, 20_500)
    box.tap(1, 20_800)
    box.hold(0, 21_500)  # they would close at 21.83
    assert box.runner.menu == -1 and box.runner.counting.now[0].skipped


def test_a_second_lean_takes_the_choices_from_nobody():
    box = in_window()
    box.tap(1, 6_100)
    box.tap(0, 7_000, 5_100)
    box.runner.press(1, 12_200)
    box.hold(0, 12_400, 1_600)
    assert (box.runner.menu, box.runner.menu_slot) == (RETURN, 0)
    box.to(17_300)
    box.runner.release(1, 17_300)
    assert (box.runner.menu, box.runner.menu_slot) == (RETURN, 0)
    assert count(box, 1) == 1  # and that lean took nothing back either


def test_the_choices_close_when_the_ratings_are_asked():
    box = Box([lead_in(), window(10_000), span(RATING, 30_000, bib=[7, 8, 0, 0])])
    box.runner.arm(0)
    box.to(9_000)
    box.tap(0, 9_000, 5_100)
    box.tap(0, 16_000)
    assert box.runner.menu == -1 and box.runner.rating[0] == 1


def test_another_button_taps_on_while_one_is_asked():
    box = in_window()
    box.tap(0, 7_000, 5_100)
    box.tap(1, 12_500)
    assert (count(box, 1), box.runner.menu) == (1, DOOR)


def test_the_choices_end_with_the_class():
    box = Box([lead_in(), window(10_000)])
    box.runner.arm(0)
    box.to(6_000)
    box.tap(0, 8_000, 5_100)
    box.to(20_000)
    assert (box.runner.state, box.runner.menu) == (OVER, -1)


def chosen(box, choice):
    box.tap(0, 7_000, 5_100)
    box.hold(0, 12_300, 1_600)
    assert box.runner.menu == RETURN
    for n in range(choice):
        box.tap(0, 14_000 + n * 300)
    assert box.runner.menu == choice
    box.hold(0, 15_200, 1_600)
    assert box.runner.menu == -1


def test_the_choices_do_what_they_say():
    for choice in (RETURN, SKIP, WAIT):
        box = in_window()
        chosen(box, choice)
        assert box.runner.counting.now[0].skipped == (choice == SKIP)
        assert box.runner.waiting == (choice == WAIT)


def test_what_would_do_nothing_is_not_offered():
    for choice in (SKIP, WAIT):
        box = in_window()
        assert box.runner.offers(choice)
        chosen(box, choice)
        assert not box.runner.offers(choice) and box.runner.offers(STOP)


def test_a_choice_held_over_the_end_of_its_window_leaves_the_next_alone():
    for choice in (SKIP, WAIT):
        box = Box([lead_in(), window(30_000), window(20_000), window(10_000)])
        box.runner.arm(0)
        box.tap(0, 25_000, 5_100)
        box.hold(0, 30_500, 1_600)
        for n in range(choice):
            box.tap(0, 33_000 + n * 300)
        box.hold(0, 34_000, 1_600)  # the window ends at 35 s
        assert box.runner.span.window == 2 and box.runner.menu == -1
        assert not box.runner.counting.now[0].skipped and not box.runner.waiting


def test_a_lean_known_only_when_it_ends_erases_nothing():
    # As after a flash write: the press and its end are told in one pass.
    for held_ms in (5_000, 5_010, 5_040, 7_000):
        box = in_window()
        box.tap(0, 6_500)
        box.runner.step(7_000)
        box.runner.press(0, 7_000)
        box.runner.release(0, 7_000 + held_ms)
        assert (count(box), box.runner.menu) == (1, DOOR), held_ms


def test_the_choices_close_when_the_class_closes():
    box = Box([lead_in(), window(20_000)])
    box.runner.arm(0)
    box.tap(0, 17_000, 5_100)
    box.runner.step(24_900)
    box.runner.press(0, 24_900)
    box.to(25_050)
    assert box.runner.menu == -1
    box.runner.release(0, 25_300)
    assert box.sink.ended[0] == j.BY_TIME


# Taps that stepped through the choices


STEPS_MS = (14_000, 14_400, 14_900)


def stepped(spans, box=Box, choose=False):
    """A box at which somebody leaned, held and tapped on, in the window from 5 s on."""
    box = box([lead_in()] + spans)
    box.runner.arm(0)
    box.tap(0, 6_000)
    box.tap(0, 7_000, 5_100)
    box.hold(0, 12_200, 1_600)
    for at_ms in STEPS_MS:
        box.tap(0, at_ms, 100)
    assert box.runner.menu != -1
    if choose:
        at_ms = 15_300
        while box.runner.menu != RETURN:
            box.tap(0, at_ms)
            at_ms += 300
        box.hold(0, at_ms, 1_600)
        assert box.runner.menu == -1
    return box


def told(box, kind, window=1):
    """(class_ms, what its payload begins with) of the records of a window."""
    records = [j.parse_record(record) for record in box.sink.records]
    return [
        (rec[3],) + struct.unpack("<HHH", rec[4][:6])
        for rec in records
        if rec[0] == kind and rec[2] == window
    ]


def result(box, window=1, slot=0):
    """The last (reps, made_ms) of a window."""
    found = None
    for kind, at, number, _, payload in map(j.parse_record, box.sink.records):
        if (kind, at, number) == (j.RESULT, slot, window):
            found = struct.unpack("<HHi", payload[:8])[1:]
    return found


def test_steps_count_at_their_own_times_when_nothing_is_chosen():
    box = stepped([window(60_000)])
    box.to(25_000)
    assert (box.runner.menu, count(box)) == (-1, 4)
    assert [tap[0] for tap in told(box, j.TAP)] == [6_000] + list(STEPS_MS)
    assert [tap[2] for tap in told(box, j.TAP)] == [120, 100, 100, 100]
    assert len(told(box, j.BACK)) == 1  # by the lean, which gave it back


def test_steps_count_for_nothing_when_something_is_chosen():
    for choice in (RETURN, SKIP, WAIT, STOP):
        box = in_window()
        box.tap(0, 6_500)
        box.tap(0, 7_000, 5_100)
        box.hold(0, 12_300, 1_600)
        for n in range(choice):
            box.tap(0, 14_000 + n * 300)
        box.hold(0, 15_200, 1_600)
        assert (count(box), len(told(box, j.BACK))) == (1, 1 + choice), choice
        box.to(26_000)
        box.tap(0, 26_000)
        assert count(box) == (1 if choice == SKIP else 2)


def test_a_step_belongs_to_the_window_it_began_in():
    box = stepped([window(9_500), window(30_000), window(10_000)])  # the first ends at 14.5 s
    box.to(46_000)
    assert (result(box)[0], box.runner.counting.before[0].taps) == (3, 1)


def test_a_choice_takes_steps_back_out_of_a_window_that_was_told():
    box = stepped([window(9_500), rest(30_000)])
    box.to(16_300)
    assert result(box)[0] == 3
    box.hold(0, 20_000, 1_600)
    assert result(box)[0] == 1
    box.to(30_000)
    assert result(box)[0] == 1


def test_a_target_reached_by_steps_makes_no_sound_and_is_made_then():
    for choose, made in ((False, (3, 14_400)), (True, (1, -1))):
        box = stepped([window(30_000, ask=ASK_TARGET, goal=3), rest(10_000)], choose=choose)
        box.to(40_000)
        assert result(box) == made
        assert cues.MADE not in [cue for _, cue in box.sink.bells]


def test_steps_open_a_tally_again_unless_they_chose():
    tallies = rest(60_000, flags=TAKES_TALLY, bib=[7, 8, 0, 0])
    for choose in (False, True):
        box = Box([lead_in(), window(5_000, tap=TAP_TALLY), tallies])
        box.runner.arm(0)
        for n in range(5):
            box.tap(0, 10_500 + n * 200)
        box.hold(0, 12_000, 1_600)
        assert box.runner.counting.before[0].confirmed
        box.tap(0, 14_000, 5_100)  # takes one back, and gives it back
        box.hold(0, 19_500, 1_600)
        box.tap(0, 22_000)
        if choose:
            box.hold(0, 23_000, 1_600)
        box.to(35_000)
        tally = box.runner.counting.before[0]
        assert (tally.taps, tally.confirmed) == ((5, True) if choose else (6, False))


def test_steps_hand_over_unless_they_chose():
    for choose, legs in ((False, (2, 1)), (True, (1, 0))):
        box = Box([lead_in(), handed(window(60_000), (7, 8))])
        box.runner.arm(0)
        box.tap(1, 8_500)
        box.tap(0, 9_000, 5_100)
        box.hold(0, 14_500, 1_600)
        for at_ms in (16_500, 18_000, 19_600):  # one is too soon
            box.tap(0, at_ms)
        if choose:
            box.hold(0, 20_000, 1_600)
        box.to(30_000)
        counted = box.runner.counting.legs
        assert (counted.of(0), counted.of(1)) == legs
        assert sum(cue == cues.MADE for _, cue in box.sink.bells) == 1


def test_steps_count_when_the_class_ends_or_is_led_elsewhere_meanwhile():
    box = stepped([window(11_000)])
    box.to(17_000)
    assert box.sink.ended and result(box)[0] == 4
    box = stepped([window(30_000), window(30_000)], LedBox)
    box.runner.heed()
    box.runner.hear(Act(1, RUNS, 14_700, 16_000), 15_500)
    box.to(20_000)
    assert (box.runner.menu, count(box)) == (-1, 3)  # all but the one at 14.9 s


def test_the_tap_that_says_no_to_stopping_is_no_step():
    box = stepped([window(60_000), window(10_000), rest(10_000)])
    box.hold(0, 15_600, 1_600)
    assert (box.runner.menu, count(box)) == (SURE, 1)
    box.tap(0, 18_000)
    box.to(30_000)
    assert count(box) == 2


def test_a_choice_in_a_window_leaves_the_tally_before_it_alone():
    tallies = rest(20_000, flags=TAKES_TALLY, bib=[7, 8, 0, 0])
    box = Box([lead_in(), window(5_000, tap=TAP_TALLY), tallies, window(60_000), rest(5_000)])
    box.runner.arm(0)
    box.tap(0, 10_500)
    box.hold(0, 12_000, 1_600)
    box.tap(0, 31_000, 5_100)
    box.hold(0, 36_500, 1_600)
    box.tap(0, 38_500)
    box.hold(0, 39_000, 1_600)
    assert len(told(box, j.CONFIRM)) == 1


def test_a_step_keeps_nobody_else_from_handing_over():
    for choose, legs in ((False, 1), (True, 1)):
        box = Box([lead_in(), handed(window(60_000), (7, 8))])
        box.runner.arm(0)
        box.tap(0, 9_000, 5_100)
        box.hold(0, 14_500, 1_600)
        box.tap(0, 16_500)
        box.tap(1, 18_000)  # too soon, if that was a hand-over
        if choose:
            box.hold(0, 19_000, 1_600)
        box.to(30_000)
        assert box.runner.counting.legs.done == legs


def test_no_more_than_sixteen_steps_are_taken_back():
    box = stepped([window(60_000), window(10_000)])
    for n in range(20):
        box.tap(0, 15_200 + n * 200, 80)
    box.hold(0, 19_500, 1_600)
    assert count(box) == 1 + 3 + 20 - 16


def test_a_first_hold_that_a_host_overtakes_closes_its_door_as_any_other():
    box = Box([lead_in(), window(60_000)])
    box.runner.press(0, 1_000)
    box.to(3_000)
    box.runner.arm(40_000)
    box.to(7_000)
    box.runner.release(0, 7_000)
    assert box.runner.menu == DOOR
    box.to(7_000 + DOOR_MS)
    assert box.runner.menu == -1
