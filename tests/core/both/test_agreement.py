from handbell_core.acts import LEAD_MS, SOON_MS, gate_after, go_on, next_block
from handbell_core.agreement import NOTHING, OVER, RUNS, STANDS, Act, Agreement
from handbell_core.states import NEVER
from handbell_core.telegram import KEY_SIZE, SIZE, SOON_MOST_MS, pack, unpack
from handbell_core.timeline import COOL_DOWN, RATING
from made import GATE, lead_in, reader, rest, span, window

KEY = bytes(range(KEY_SIZE))
GATE_MS = 100_000
PLAN = b"\x52\xf1\x41\x1c" + bytes(8)


def heard(*acts):
    agreement = Agreement()
    for act in acts:
        agreement.hear(act)
    return agreement


# Agreement


def test_nothing_heard_says_nothing():
    agreement = Agreement()
    assert agreement.now.what == NOTHING and agreement.due_ms == NEVER
    assert not agreement.step(10_000)


def test_an_act_comes_into_force_at_its_instant():
    agreement = heard(Act(1, STANDS, 42_000, 5_000))
    assert agreement.due_ms == 5_000 and not agreement.step(4_999)
    assert agreement.step(5_000) and agreement.now.what == STANDS
    assert agreement.class_ms(9_000, 100_000) == 42_000


def test_a_class_that_runs_stops_at_its_next_gate():
    agreement = heard(Act(1, RUNS, 42_000, 5_000))
    agreement.step(6_000)
    assert agreement.class_ms(6_000, 50_000) == 43_000
    assert agreement.class_ms(60_000, 50_000) == 50_000


def test_the_highest_number_wins_in_whatever_order():
    old, new = Act(1, RUNS, 0, 5_000), Act(2, STANDS, 42_000, 5_000)
    for order in ((old, new), (new, old), (new, new, old)):
        agreement = heard(*order)
        agreement.step(5_000)
        assert (agreement.now.number, agreement.now.what) == (2, STANDS)


def test_an_act_before_the_newest_one_still_comes():
    agreement = heard(Act(1, STANDS, 10_000, 3_000), Act(2, RUNS, 10_000, 8_000))
    agreement.step(5_000)
    assert agreement.now.what == STANDS
    agreement.step(8_000)
    assert agreement.now.what == RUNS


def test_a_later_act_that_was_overtaken_never_comes():
    agreement = heard(Act(1, RUNS, 10_000, 9_000), Act(2, STANDS, 10_000, 4_000))
    agreement.step(20_000)
    assert agreement.now.number == 2


def test_another_place_to_run_from_calls_off_the_one_still_to_come():
    for class_ms in (10_000, 75_000):  # put off, or elsewhere: nobody is to begin twice
        agreement = heard(Act(1, RUNS, 10_000, 7_000), Act(2, RUNS, class_ms, 10_000))
        assert not agreement.step(9_999) and agreement.next.class_ms == class_ms


def test_a_run_that_a_pause_cuts_short_still_comes_before_it():
    agreement = heard(Act(1, RUNS, 10_000, 7_000), Act(2, STANDS, 10_400, 7_400))
    agreement.step(7_000)
    assert agreement.now.what == RUNS and agreement.due_ms == 7_400


def test_after_the_end_nothing_steps_back():
    agreement = heard(Act(1, OVER, 10_000, 1_000))
    agreement.step(1_000)
    assert not agreement.hear(Act(2, RUNS, 0, 2_000))
    assert not agreement.step(3_000) and agreement.now.what == OVER


# Telegrams


def test_a_telegram_says_all_of_an_act_from_its_own_end():
    data = pack(KEY, PLAN, Act(7, RUNS, 90_000, 12_000), 10_500, GATE_MS)
    assert len(data) == SIZE
    act = unpack(KEY, PLAN, data, 500)  # another box, whose run time is 10 s behind
    assert (act.number, act.what, act.class_ms, act.at_ms) == (7, RUNS, 90_000, 2_000)


def test_said_again_later_it_says_how_things_stand_by_then():
    runs, stands = Act(7, RUNS, 90_000, 12_000), Act(8, STANDS, 95_000, 17_000)
    again = unpack(KEY, PLAN, pack(KEY, PLAN, runs, 15_000, GATE_MS), 15_000)
    assert (again.class_ms, again.at_ms) == (93_000, 15_000)
    again = unpack(KEY, PLAN, pack(KEY, PLAN, stands, 60_000, GATE_MS), 60_000)
    assert (again.class_ms, again.at_ms) == (95_000, 60_000)


def test_at_a_gate_it_says_that_the_class_stands_there():
    runs = Act(7, RUNS, 90_000, 12_000)
    act = unpack(KEY, PLAN, pack(KEY, PLAN, runs, 40_000, GATE_MS), 40_000)
    assert (act.number, act.what, act.class_ms) == (7, STANDS, GATE_MS)


def test_forged_damaged_foreign_or_of_another_class_it_is_none():
    data = pack(KEY, PLAN, Act(7, RUNS, 90_000, 12_000), 10_500, GATE_MS)
    assert unpack(bytes(KEY_SIZE), PLAN, data, 0) is None
    assert unpack(KEY, b"\x53\xf1" + bytes(10), data, 0) is None
    for length in range(SIZE):
        assert unpack(KEY, PLAN, data[:length], 0) is None
    assert unpack(KEY, PLAN, data + b"\x00", 0) is None
    for bit in range(8 * SIZE):
        torn = bytearray(data)
        torn[bit // 8] ^= 1 << bit % 8
        assert unpack(KEY, PLAN, bytes(torn), 0) is None, bit


def test_an_instant_too_far_away_is_not_told():
    pack(KEY, PLAN, Act(1, RUNS, 0, SOON_MOST_MS), 0, GATE_MS)
    try:
        pack(KEY, PLAN, Act(1, RUNS, 0, SOON_MOST_MS + 1), 0, GATE_MS)
    except ValueError:
        return
    raise AssertionError


# Where a class goes on


def spans():
    """0 lead-in, 10 window, 40 rest, 55 window, 85 gate, 85 window (block 2), 115 cool-down."""
    return [
        lead_in(10_000),
        window(30_000, block=1),
        rest(15_000, block=1),
        window(30_000, block=1),
        span(GATE, 0),
        window(30_000, block=2),
        span(COOL_DOWN, 60_000, name=2),
        span(RATING, 30_000, bib=[7, 0, 0, 0]),
    ]


def onward(found):
    return found and (found.class_ms, found.in_ms)


def test_where_it_goes_on_by_hand():
    timeline = reader(spans())
    for at_ms, then in (
        (0, (0, SOON_MS)),
        (9_999, (0, SOON_MS)),  # the whole lead-in again
        (10_000, (10_000, LEAD_MS)),
        (27_345, (27_345, LEAD_MS)),
        (35_000, (35_000, LEAD_MS)),
        (35_001, (40_000, SOON_MS)),  # under 5 s left: it is over
        (41_000, (41_000, SOON_MS)),
        (84_999, (84_999, SOON_MS)),  # up to the gate, where it stands again
        (85_000, (85_000, LEAD_MS)),  # at the gate: one go on leaves it
        (120_000, (120_000, SOON_MS)),
        (175_000, None),  # the rating is not stopped
    ):
        assert onward(go_on(timeline, at_ms)) == then, at_ms


def test_the_next_block():
    timeline = reader(spans())
    assert onward(next_block(timeline, 0)) == (10_000, LEAD_MS)
    assert onward(next_block(timeline, 10_000)) == (85_000, LEAD_MS)
    assert onward(next_block(timeline, 84_000)) == (85_000, LEAD_MS)
    assert next_block(timeline, 85_000) is None


def test_a_gate_that_is_passed_is_no_stop_any_more():
    timeline = reader(spans())
    assert [gate_after(timeline, ms) for ms in (0, 84_999, 85_000)] == [85_000, 85_000, 175_000]
