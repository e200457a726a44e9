from handbell_core.ahead import Ahead
from handbell_core.runner import ASKING, AT_GATE, NEVER, PLAY, TALLY
from handbell_core.timeline import WINDOW
from made import Box, span_bytes, whole_class


def look(seen, run_ms):
    counts = seen.counting.before if seen.state == TALLY else seen.counting.now
    counted = [(c.bib, c.ask, c.tap_rule, c.goal, c.reps) for c in counts]
    if seen.state != TALLY and seen.kind != WINDOW:
        counted = []
    return (seen.state, seen.kind, span_bytes(seen.span), seen.left_ms(run_ms), seen.menu, counted)


def test_the_look_ahead_is_what_comes():
    box = Box(whole_class())
    runner = box.runner
    runner.arm(10_000)
    ahead = Ahead()
    states = []
    while runner.due_ms < NEVER:
        due_ms = runner.due_ms
        if due_ms == runner.cue_ms() and ahead.look(runner):
            assert ahead.at_ms == due_ms
            looked = look(ahead, due_ms)
            runner.step(due_ms)
            assert look(runner, due_ms) == looked
            states.append(runner.state)
        else:
            runner.step(due_ms)
        if runner.state == AT_GATE:
            box.hold(0, due_ms + 1_000)
    assert states == [PLAY, PLAY, PLAY, PLAY, TALLY, AT_GATE, PLAY, ASKING]


def test_counts_so_far_are_in_the_look_at_a_tally():
    box = Box(whole_class())
    box.runner.arm(0)
    box.to(27_000)
    box.tap(0, 28_000)
    ahead = Ahead()
    box.to(36_500)
    assert ahead.look(box.runner) and ahead.state == TALLY
    assert ahead.counting.before[0].bib == 7


def test_nothing_is_looked_at_before_a_heads_up_or_a_wait():
    box = Box(whole_class())
    box.runner.arm(0)
    ahead = Ahead()
    box.to(5_000)
    assert not ahead.look(box.runner)  # the heads-up at 12 s begins no span
    assert ahead.at_ms == NEVER
    box.to(12_500)
    assert ahead.look(box.runner) and ahead.at_ms == 15_000
    box.to(19_000)
    runner = box.runner
    runner.waiting = True
    box.to(24_500)
    assert not ahead.look(runner)


def test_looking_changes_nothing():
    plain, looked = Box(whole_class()), Box(whole_class())
    ahead = Ahead()
    for box in (plain, looked):
        box.runner.arm(10_000)
    for run_ms in range(0, 90_000, 500):
        ahead.look(looked.runner)
        for box in (plain, looked):
            box.to(run_ms)
            if run_ms % 3_000 == 0:
                box.tap(0, run_ms)
    assert looked.sink.bells == plain.sink.bells
    assert looked.sink.records == plain.sink.records
