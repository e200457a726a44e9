"""What a long hold leads to: out of the reach of somebody who leans, taps and takes back."""

from handbell_core import journal as j
from handbell_core.runner import DOOR, MENU_MS, OVER, PLAY, RETURN, SKIP, STOP, SURE, WAIT
from made import RATING, Box, lead_in, rest, span, window


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


def test_the_door_closes_by_itself_and_nothing_holds_it_open():
    box = in_window()
    box.tap(0, 7_000, 6_000)  # it opens at 12 s, when a release before then would be known
    box.to(12_030 + MENU_MS - 1)
    assert box.runner.menu == DOOR
    box.to(12_030 + MENU_MS)
    assert box.runner.menu == -1


def test_taps_do_not_hold_the_choices_open():
    box = in_window()
    box.tap(0, 7_000, 5_100)
    box.hold(0, 13_000, 1_600)
    opened_ms = 14_530
    for n in range(30):
        box.tap(0, 15_000 + n * 700)
        at_ms = 15_120 + n * 700
        assert (box.runner.menu >= 0) == (at_ms < opened_ms + MENU_MS), at_ms
    assert count(box) == 30 - 11  # but for those that stepped through the choices, all count


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
