import gc
import struct

from handbell_core import journal as j
from handbell_core.clock import ClockModel
from handbell_core.cues import AWAIT, BACK, CLOSE, EASE, GO, MADE, NEAR, TURN
from handbell_core.runner import (
    ASKING,
    AT_GATE,
    KNOWN_MS,
    LEAVING,
    NEVER,
    OVER,
    PLAY,
    READY,
    RETURN,
    SKIP,
    STOP,
    TALLY,
    WAIT,
)
from handbell_core.timeline import TAP_TALLY
from made import (
    ASK_HOLD,
    ASK_TARGET,
    GATE,
    RATING,
    TAKES_TALLY,
    TAP_DROP,
    Box,
    lead_in,
    rest,
    span,
    window,
)


def records(box, kind):
    out = []
    for raw in box.sink.records:
        rec = j.parse_record(raw)
        if rec[0] == kind:
            out.append(rec)
    return out


def results(box):
    out = {}
    for _, _, number, _, payload in records(box, j.RESULT):
        bib, reps, made_ms, held_ds, flags = struct.unpack("<HHiHB", payload[:11])
        out[bib, number] = (reps, made_ms, held_ds, flags)
    return out


def test_bells_at_their_times():
    box = Box([lead_in(5_000), window(10_000), rest(10_000), window(6_000)])
    box.runner.arm(10_000)
    box.to(60_000)
    assert box.sink.bells == [
        (7_000, NEAR),
        (10_000, TURN),
        (15_000, GO),
        (22_000, NEAR),
        (25_000, EASE),
        (32_000, NEAR),
        (35_000, GO),
        (41_000, CLOSE),
    ]
    assert box.runner.state == OVER and box.sink.ended == (j.BY_TIME, 31_000)


def test_one_step_or_many_give_the_same():
    spans = [lead_in(), window(7_300), rest(3_000), window(11_000)]
    coarse, fine = Box(spans), Box(spans)
    coarse.runner.arm(0)
    fine.runner.arm(0)
    coarse.to(40_000)
    for ms in range(0, 40_000, 7):
        fine.to(ms)
    assert coarse.sink.bells == fine.sink.bells
    assert coarse.sink.records == fine.sink.records


def test_deadlines_lead_from_event_to_event():
    box = Box([lead_in(), window(10_000)])
    box.runner.arm(1_000)
    ms, seen = 0, []
    while box.runner.due_ms != NEVER:
        ms = box.runner.due_ms
        seen.append(ms)
        box.to(ms)
    # NEAR before the start is past already (-2 s) and comes first
    assert seen == [-2_000, 1_000, 6_000, 13_000, 16_000, 16_000 + KNOWN_MS]


def test_a_target_made_taken_back_and_made_again():
    box = Box([lead_in(), window(20_000, ask=ASK_TARGET, goal=3), rest(10_000)])
    box.runner.arm(0)
    for at in (6_000, 7_000, 8_000):
        box.tap(0, at)
    assert (NEVER, MADE) in box.sink.bells
    box.hold(0, 9_000)
    assert (NEVER, BACK) in box.sink.bells
    assert box.runner.counting.now[0].reps == 2 and box.runner.shown[0] == -1
    box.to(13_000)
    assert box.runner.shown[0] == 0
    box.tap(0, 15_000)
    box.tap(0, 16_000)
    box.to(40_000)
    assert results(box)[7, 1] == (3, 15_000, j.HELD_TO_END, j.RES_ASKED)
    assert results(box)[8, 1] == (0, -1, j.HELD_TO_END, j.RES_ASKED)
    flags = [rec[4][6] for rec in records(box, j.TAP)]
    assert flags == [0, 0, 0, 0, j.TAP_EXTRA]


def test_a_press_belongs_to_the_window_it_began_in():
    box = Box([lead_in(), window(10_000), window(10_000)])
    box.runner.arm(0)
    box.tap(0, 4_900, 200)
    box.tap(0, 14_900, 400)
    box.to(16_000)
    assert box.runner.counting.before[0].reps == 1
    assert box.runner.counting.now[0].reps == 0
    box.to(40_000)
    assert results(box)[7, 1][0] == 1 and results(box)[7, 2][0] == 0
    assert records(box, j.TAP)[0][4][6] == j.TAP_OUTSIDE


def test_a_hold_never_counts_and_the_boundary_is_1_5_s():
    box = Box([lead_in(), window(60_000)])
    box.runner.arm(0)
    box.tap(0, 6_000, 1_499)
    assert box.runner.counting.now[0].reps == 1
    box.tap(0, 10_000, 1_500)
    assert box.runner.counting.now[0].reps == 0
    box.tap(0, 15_000, 4_000)
    assert box.runner.counting.now[0].reps == 0
    assert len(records(box, j.BACK)) == 1


def test_take_back_in_the_rest_that_follows_corrects_the_result():
    box = Box([lead_in(), window(10_000), rest(20_000), window(10_000)])
    box.runner.arm(0)
    box.tap(0, 6_000)
    box.tap(0, 7_000)
    box.to(17_000)
    assert results(box)[7, 1][0] == 2
    box.hold(0, 18_000)
    box.to(60_000)
    assert results(box)[7, 1][0] == 1


def test_a_drop_ends_a_hold():
    box = Box([lead_in(), window(30_000, ask=ASK_HOLD, tap=TAP_DROP), rest()])
    box.runner.arm(0)
    box.tap(0, 5_000 + 12_340)
    box.to(60_000)
    assert results(box)[7, 1][2] == 123
    assert results(box)[8, 1][2] == j.HELD_TO_END


def test_a_tally_is_entered_in_the_rest_and_confirmed_by_a_hold():
    spans = [
        lead_in(),
        window(10_000, tap=TAP_TALLY),
        rest(15_000, flags=TAKES_TALLY),
        window(10_000),
    ]
    box = Box(spans)
    box.runner.arm(0)
    box.tap(0, 8_000)
    box.to(15_000)
    assert box.runner.state == TALLY
    for n in range(6):
        box.tap(0, 15_500 + 300 * n)
    box.tap(1, 16_000)
    box.hold(0, 18_000)
    box.to(30_000)
    assert box.runner.state == PLAY
    box.to(60_000)
    assert results(box)[7, 1] == (6, -1, j.HELD_TO_END, j.RES_ASKED)
    assert results(box)[8, 1][3] == j.RES_ASKED | j.RES_UNCONFIRMED
    assert records(box, j.TAP)[0][4][6] == j.TAP_OUTSIDE


def test_a_gate_waits_and_goes_on_on_the_grid_for_every_box():
    # Four boxes with different clocks, pressed at different moments of one grid step.
    spans = [lead_in(), window(10_000), span(GATE, 0), window(10_000)]
    goes_on = set()
    for n, pressed in enumerate((24_000, 30_000, 38_000, 53_000)):
        model = ClockModel(1_700_000_010_000_000 + n * 123_457, n * 1000 + 7)
        box = Box(spans, model=model)
        utc0 = 1_700_000_010_000
        box.runner.arm(box.clock.run_ms_of_utc(utc0))
        at = box.clock.run_ms_of_utc(utc0 + pressed)
        box.to(at - 100)
        assert box.runner.state == AT_GATE
        box.hold(0, at)
        assert box.runner.state == LEAVING
        goes_on.add(box.clock.utc_ms(box.runner.starts_ms))
        box.to(at + 90_000)
        assert box.runner.state == OVER and box.sink.ended[1] == 25_000
    assert goes_on == {1_700_000_010_000 + 60_000}


def test_a_box_without_a_clock_starts_by_hand_in_five_seconds():
    lost = Box([lead_in(), window(10_000)])
    lost.start(0, 1_000)
    assert lost.runner.starts_ms == 1_000 + 1_530 + 5_000


def test_the_host_s_start_is_not_moved_by_a_tap():
    box = Box([lead_in(), window(10_000)])
    box.runner.arm(20_000)
    box.tap(0, 5_000)
    box.hold(0, 7_000)
    assert box.runner.starts_ms == 20_000


def choose(box, at_ms, choice):
    """Hold 5 s, hold for the choices, tap to one, hold to take it; to stop, hold 5 s more."""
    box.tap(0, at_ms, 5_200)
    box.hold(0, at_ms + 5_300, 1_600)
    assert box.runner.menu == RETURN
    for n in range(choice):
        box.tap(0, at_ms + 7_000 + n * 300)
    assert box.runner.menu == choice
    box.hold(0, at_ms + 8_000)
    if choice == STOP:
        box.hold(0, at_ms + 10_100, 5_100)
    assert box.runner.menu == -1


def test_skip_leaves_the_window_out_and_keeps_step():
    box = Box([lead_in(), window(30_000), window(10_000)])
    box.runner.arm(0)
    box.tap(0, 6_000)
    choose(box, 7_000, SKIP)
    box.tap(1, 20_000)
    box.to(36_000)
    assert box.runner.span.window == 2
    box.to(90_000)
    assert results(box)[7, 1] == (1, -1, j.HELD_TO_END, j.RES_ASKED | j.RES_SKIPPED)
    assert results(box)[8, 1][0] == 0


def test_wait_stops_at_the_end_of_the_span():
    box = Box([lead_in(), window(30_000), window(10_000)])
    box.runner.arm(0)
    choose(box, 7_000, WAIT)
    assert box.runner.state == PLAY and box.runner.waiting
    box.to(35_000)
    assert box.runner.state == AT_GATE
    assert (35_000, AWAIT) in box.sink.bells
    box.to(50_000)
    box.hold(0, 50_000)
    box.to(56_530)
    assert box.runner.state == PLAY and box.runner.span.window == 2
    box.to(66_530 + KNOWN_MS)
    assert box.sink.ended == (j.BY_TIME, 45_000)


def offered(box):
    return [choice for choice in range(4) if box.runner.offers(choice)]


def test_only_what_does_something_is_offered():
    box = Box([lead_in(), window(30_000), rest(20_000), window(30_000)])
    box.runner.arm(5_000)
    assert offered(box) == [RETURN, STOP]  # set: nothing to skip, and nothing to wait behind
    box.to(12_000)
    assert offered(box) == [RETURN, SKIP, WAIT, STOP]
    box.to(45_000)
    assert offered(box) == [RETURN, WAIT, STOP]  # a rest
    box.to(65_000)
    assert offered(box) == [RETURN, SKIP, STOP]  # the last span
    box.tap(0, 66_000, 5_200)
    box.hold(0, 71_300, 1_600)
    box.tap(0, 73_000)
    box.tap(0, 73_300)
    assert box.runner.menu == STOP  # past what isn't offered


def test_stop_ends_the_run_and_tells_what_was_done():
    box = Box([lead_in(), window(30_000), window(10_000)])
    box.runner.arm(0)
    box.tap(0, 6_000)
    choose(box, 7_000, STOP)
    assert box.runner.state == OVER and box.sink.ended[0] == j.BY_STOP
    assert results(box)[7, 1][3] & j.RES_STOPPED


def test_a_long_lean_erases_nothing_and_the_choices_close_by_themselves():
    box = Box([lead_in(), window(60_000)])
    box.runner.arm(0)
    box.tap(0, 6_000)
    box.tap(0, 7_000, 20_000)
    assert box.runner.counting.now[0].reps == 1
    box.to(40_000)
    assert box.runner.menu == -1
    kinds = [j.parse_record(r)[0] for r in box.sink.records]
    assert kinds.count(j.BACK) == kinds.count(j.FORTH) == 1


def test_ratings_by_taps_with_take_back_and_no_answer():
    spans = [lead_in(), window(10_000), span(RATING, 30_000, bib=[7, 8, 9, 0])]
    box = Box(spans)
    box.runner.arm(0)
    box.to(16_000)
    assert box.runner.state == ASKING
    for n in range(8):
        box.tap(0, 16_000 + n * 300)
    box.hold(0, 19_000)
    for n in range(11):
        box.tap(2, 22_000 + n * 300)
    box.to(100_000)
    assert box.runner.state == OVER
    rated = dict(struct.unpack("<HB", r[4][:3]) for r in records(box, j.RATED))
    assert rated == {7: 7, 9: 0}  # bib 8 gave no answer, which is not 0


def test_an_answer_is_kept_at_once_and_can_be_taken_back():
    box = Box([lead_in(), window(10_000), span(RATING, 30_000, bib=[7, 0, 0, 0])])
    box.runner.arm(0)
    box.tap(0, 16_000)
    assert struct.unpack("<HB", records(box, j.RATED)[-1][4][:3]) == (7, 1)
    box.hold(0, 17_000)
    assert struct.unpack("<HB", records(box, j.RATED)[-1][4][:3]) == (7, 255)


def test_a_press_over_the_last_bell_is_a_rep_and_no_rating():
    box = Box([lead_in(), window(20_000), span(RATING, 30_000, bib=[7, 8, 0, 0])])
    box.runner.arm(0)
    box.tap(0, 10_000)
    box.tap(0, 24_900, 200)
    assert box.runner.state == ASKING and box.runner.rating[0] == -1
    box.to(100_000)
    assert results(box)[7, 1][0] == 2 and records(box, j.RATED) == []


def tallied(box, taps):
    box.runner.arm(0)
    box.to(15_000)
    for n in range(taps):
        box.tap(0, 15_500 + 300 * n)


TALLY_CLASS = [
    lambda: lead_in(),
    lambda: window(10_000, tap=TAP_TALLY),
    lambda: rest(10_000, flags=TAKES_TALLY),
    lambda: window(20_000),
    lambda: rest(10_000),
]


def test_a_hold_over_the_end_of_a_tally_confirms_it():
    box = Box([make() for make in TALLY_CLASS])
    tallied(box, 6)
    box.hold(0, 24_000, 1_800)
    box.to(60_000)
    assert results(box)[7, 1] == (6, -1, j.HELD_TO_END, j.RES_ASKED)
    assert records(box, j.BACK) == []


def test_a_tap_over_the_end_of_a_tally_is_counted_there():
    box = Box([make() for make in TALLY_CLASS])
    tallied(box, 6)
    box.tap(0, 24_900, 300)
    box.to(60_000)
    assert results(box)[7, 1][0] == 7 and results(box)[7, 2][0] == 0


def test_a_lean_in_a_tally_erases_nothing_and_a_second_hold_takes_one_back():
    box = Box([make() for make in TALLY_CLASS])
    tallied(box, 6)
    box.hold(0, 18_000, 1_700)
    box.tap(0, 20_000)
    box.hold(0, 20_500, 1_600)
    box.hold(0, 22_400, 1_600)
    box.to(60_000)
    assert results(box)[7, 1] == (6, -1, j.HELD_TO_END, j.RES_ASKED)


def test_a_hold_begun_before_a_gate_does_not_open_it():
    box = Box([lead_in(), window(20_000), span(GATE, 0), window(10_000)])
    box.runner.arm(0)
    box.tap(0, 20_000)
    box.hold(0, 24_500, 1_900)
    assert box.runner.state == AT_GATE
    assert len(records(box, j.BACK)) == 1


def test_a_wait_before_a_gate_is_that_gate():
    box = Box([lead_in(), window(30_000), span(GATE, 0), window(10_000)])
    box.runner.arm(0)
    box.to(7_000)
    assert offered(box) == [RETURN, SKIP, STOP]  # the box will wait anyway


def test_a_box_left_on_for_weeks_stays_at_rest():
    box = Box([lead_in(), window(10_000)])
    for ms in (NEVER - 1, NEVER, NEVER + 5):
        box.to(ms)
    assert box.runner.state == READY and box.sink.bells == []


def test_ratings_end_soon_when_all_have_answered():
    box = Box([lead_in(), window(10_000), span(RATING, 30_000, bib=[7, 0, 0, 0])])
    box.runner.arm(0)
    box.tap(0, 16_000)
    box.to(16_000 + 6_000 + KNOWN_MS)
    assert box.runner.state == OVER


def test_every_bell_is_known_before_it_rings():
    spans = [
        lead_in(),
        window(20_000, flags=1),  # both sides: a cue at half time
        rest(10_000),
        window(10_000),
        span(GATE, 0),
        window(9_000),
        rest(5_000),
    ]
    for waits in (False, True):
        box = Box(spans)
        box.runner.arm(10_000)
        foretold = []
        holds = (50_000, 80_000) if waits else (70_000,)
        for ms in range(5_000, 130_000, 50):
            if waits and ms == 30_000:
                box.runner.waiting = True
            if ms in holds:
                box.hold(0, ms)
            due, cue = box.runner.cue_ms(), box.runner.bell_cue()
            if ms < due <= ms + 50 and cue:
                foretold.append((due, cue))
            box.to(ms + 49 if ms + 50 == due else ms)
        rung = [bell for bell in box.sink.bells if bell[0] != NEVER]
        assert [bell for bell in rung if bell not in foretold] == []
        assert box.runner.state == OVER


def test_a_class_stopped_at_a_wait_after_a_tally_window_still_tells_its_results():
    spans = [
        lead_in(5_000),
        window(20_000, tap=TAP_TALLY, goal=9),
        rest(12_000, flags=TAKES_TALLY),
    ]
    box = Box(spans)
    box.runner.arm(0)
    choose(box, 6_000, WAIT)
    box.to(27_000)
    assert box.runner.state == AT_GATE
    box.runner.stop(28_000, j.BY_HOST)
    assert box.runner.state == OVER and box.sink.ended == (j.BY_HOST, 25_000)
    assert set(results(box)) == {(7, 1), (8, 1)}


def test_a_step_with_nothing_due_costs_no_memory():
    if not hasattr(gc, "mem_alloc"):
        return  # CPython counts no bytes; this file also runs under MicroPython
    box = Box([lead_in(), window(60_000), rest(20_000)])
    box.runner.arm(0)
    step = box.to(6_000).step
    step(6_001)
    gc.collect()
    before = gc.mem_alloc()
    for ms in range(6_002, 9_000):
        step(ms)
    assert gc.mem_alloc() == before
