"""Whatever is pressed, counting the journal again gives the box's own numbers."""

import io

import classes
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handbell.store.logs import journals, recount, timelines
from handbell_core import journal as j
from handbell_core import timeline as t
from handbell_core.runner import AT_GATE

WAYS = st.sampled_from(
    [
        (t.ASK_OPEN, t.TAP_EACH, 0, 1),
        (t.ASK_OPEN, t.TAP_EACH, 6, 1),
        (t.ASK_OPEN, t.TAP_EVERY, 0, 5),
        (t.ASK_TARGET, t.TAP_EACH, 4, 1),
        (t.ASK_TARGET, t.TAP_EVERY, 7, 3),
        (t.ASK_TARGET, t.TAP_FINISH, 8, 1),
        (t.ASK_HOLD, t.TAP_DROP, 0, 1),
        (t.ASK_OPEN, t.TAP_TALLY, 0, 1),
        (t.ASK_TARGET, t.TAP_TALLY, 5, 1),
        (t.ASK_OPEN, t.TAP_NONE, 0, 1),
    ]
)
PIECES = st.builds(
    lambda way, work_s, rest: classes.Piece(
        "Ring rows", work_s, way[0], way[1], way[2], way[3], 10 if way[1] == t.TAP_TALLY else rest
    ),
    WAYS,
    st.integers(5, 12),
    st.sampled_from([0, 0, 3, 8]),
)
# Gaps between presses and how long each is held: quick taps, take-backs, and holds long enough
# for the choices (with taps and holds that follow, so that some skip, wait or stop).
PRESSES = st.lists(
    st.tuples(
        st.integers(0, 1),
        st.integers(60, 3_000),
        st.sampled_from([40, 80, 300, 1_490, 1_520, 1_700, 2_500, 5_200]),
    ),
    min_size=30,
    max_size=110,
)


def placed(steps):
    free_ms = [0, 0]
    presses = []
    now_ms = 2_000
    for slot, gap_ms, held_ms in steps:
        at_ms = max(now_ms + gap_ms // 2, free_ms[slot] + 110)
        presses.append(classes.Press(at_ms, slot, held_ms))
        free_ms[slot] = at_ms + held_ms
        now_ms = at_ms
    return presses


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(PIECES, min_size=1, max_size=4), PRESSES, st.sampled_from([None, 21_000, 38_500]))
def test_recount_equals_the_box(pieces, steps, stop_ms):
    data = classes.timeline((tuple(pieces),), (4, 9), rounds=2)
    run = classes.play(data, placed(steps), stop_ms=stop_ms)
    found = journals.read(run.journal)
    counted = recount.recount(timelines.decode(data).windows, found.records)
    assert counted.mismatches == []
    assert found.repeated == 0
    told = {(r[2], r[1]) for r in found.records if r[0] == j.RESULT}
    for result in counted.results:
        if (result.window, result.slot) in told:
            assert result.standing == recount.AGREED
        else:  # a run that still waits at a gate has not told its last window
            assert result.standing == recount.RECOUNT and found.end_cause is None


def test_the_presses_above_reach_every_kind_of_record():
    """The property is worth nothing if take-backs and the like never happen in it."""
    kinds = set()

    @settings(max_examples=150, deadline=None, database=None, derandomize=True)
    @given(st.lists(PIECES, min_size=1, max_size=4), PRESSES)
    def gather(pieces, steps):
        data = classes.timeline((tuple(pieces),), (4, 9), rounds=2)
        for r in journals.read(classes.play(data, placed(steps)).journal).records:
            kinds.add((r[0], r[4][1] if r[0] == j.STATE else 0))

    gather()
    kinds_only = {kind for kind, _ in kinds}
    assert {j.TAP, j.BACK, j.FORTH, j.CONFIRM, j.RESULT, j.RATED} <= kinds_only
    assert (j.STATE, j.BY_SKIP) in kinds


def test_a_take_back_withdrawn_restores_a_drop_and_a_target():
    blocks = (
        (
            classes.Piece("Ring rows", 30, t.ASK_TARGET, goal=1),
            classes.Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP),
        ),
    )
    data = classes.timeline(blocks, (3,), rounds=1)
    presses = [
        classes.Press(12_000),
        classes.Press(14_000, held_ms=5_400),
        classes.Press(50_000),
        classes.Press(52_000, held_ms=5_400),
    ]
    found = journals.read(classes.play(data, presses).journal)
    counted = recount.recount(timelines.decode(data).windows, found.records)
    assert counted.mismatches == []
    assert [(c.used.reps, c.used.made_ms, c.used.held_ds) for c in counted.results] == [
        (1, 12_000, j.HELD_TO_END),
        (0, -1, 100),
    ]


def test_decoded_windows_are_those_that_were_written():
    data = classes.timeline(bibs=(3, 4), station=2, who="Lane B")
    found = timelines.decode(data)
    assert (found.title, found.label, found.station) == ("Two blocks", "Station 2", 2)
    assert found.digest == classes.digest_of(data)
    assert found.rated == (3, 4)
    spans = classes.windows_of(data)
    assert [w.number for w in found.windows.values()] == [s.window for s in spans]
    head = t.Reader(io.BytesIO(data)).head
    assert (found.slot_ms, found.total_ms) == (head.slot_ms, head.total_ms)
    first = found.windows[1]
    assert (first.name, first.who, first.bibs, first.start_ms) == (
        "Rope skips",
        "Lane B",
        (3, 4, 0, 0),
        10_000,
    )


def test_a_press_across_the_start_from_a_wait_leaves_the_window_before_alone():
    data = classes.timeline(((classes.Piece("Ring rows", 8),),), (4, 9), rounds=2)
    wait = [
        classes.Press(4_400, 1, 5_200),  # asks whether choices are wanted
        classes.Press(9_800, 1, 1_600),
        classes.Press(11_700, 1),
        classes.Press(12_000, 1),  # the second of them: wait when this window is over
        classes.Press(12_400, 1, 1_700),
    ]
    go_on = classes.Press(20_000, 0, 1_600)  # takes effect on the grid, at 30 s
    across = classes.Press(29_000, 0, 1_200)
    found = journals.read(classes.play(data, [*wait, go_on, across]).journal)
    states = [(rec[3], rec[4][0]) for rec in found.records if rec[0] == j.STATE]
    assert (18_000, AT_GATE) in states
    counted = recount.recount(timelines.decode(data).windows, found.records)
    assert counted.mismatches == []
    assert [c.used.reps for c in counted.results if c.window == 1] == [0, 0]


def stepped(*after, piece=None, first_ms=21_000):
    """Rep, lean, hold, three taps at 11, 11.5 and 12 s from ``first_ms`` on, then ``after``."""
    piece = piece or classes.Piece("Ring rows", 60)
    data = classes.timeline(((piece,),), (4, 9), rounds=2)
    at = [first_ms + ms for ms in (0, 1_500, 7_200, 11_000, 11_500, 12_000)]
    held = (80, 5_200, 1_600, 80, 80, 80)
    presses = [classes.Press(ms, 0, lasts) for ms, lasts in zip(at, held, strict=True)]
    found = journals.read(classes.play(data, presses + list(after)).journal)
    counted = recount.recount(timelines.decode(data).windows, found.records)
    assert counted.mismatches == [] and found.repeated == 0
    taps = [r[3] for seq, r in enumerate(found.records) if seq in counted.stands]
    result = next(c for c in counted.results if (c.window, c.slot) == (1, 0))
    assert result.standing == recount.AGREED
    return result.used, taps


def test_taps_that_stepped_through_the_choices_count_when_nothing_is_chosen():
    used, taps = stepped()
    assert (used.reps, taps) == (4, [21_000, 32_000, 32_500, 33_000])


def test_taps_that_led_to_a_choice_count_for_nothing():
    back_at_the_first = classes.Press(33_500), classes.Press(34_000, 0, 1_600)
    used, taps = stepped(*back_at_the_first)
    assert (used.reps, taps) == (1, [21_000])


def test_a_confirmed_tally_is_so_after_a_choice():
    tally = classes.Piece("Ring rows", 8, t.ASK_OPEN, t.TAP_TALLY, rest_s=60)
    for chosen in (False, True):
        then = (classes.Press(51_300, 0, 1_600),) if chosen else ()
        used, _ = stepped(*then, piece=tally, first_ms=39_000)
        wanted = (1, 0) if chosen else (4, j.RES_UNCONFIRMED)
        assert (used.reps, used.flags & j.RES_UNCONFIRMED) == wanted
