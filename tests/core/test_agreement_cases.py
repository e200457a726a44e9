"""Agreement, case by case: all that boxes may hear of a few acts, in every order, lost or late.

A box's state is followed tick by tick through everything it could hear, equal states once; so for
any number of boxes, three among them, each combination of what each heard is looked at.
"""

import itertools
from collections import Counter

from handbell_core.agreement import OVER, RUNS, STANDS, Act, Agreement
from handbell_core.telegram import KEY_SIZE, pack, unpack

TICK_MS = 1_000
TICKS = 8
GATE_MS = 14_000  # the only gate, between the acts' times
END_MS = 60_000
LATE = 2  # ticks from a telegram's end to when a busy box has read it
KEY, PLAN = bytes(KEY_SIZE), bytes(12)
COUNTS: Counter = Counter()


def gate_after(class_ms):
    return GATE_MS if class_ms < GATE_MS else END_MS


def scripts():
    """What a remote may do: one to three acts, when each is made, and how far off its instant is."""
    for count in (1, 2, 3):
        for gaps in itertools.product((1, 2), repeat=count - 1):
            made = [0, *itertools.accumulate(gaps)]
            for leads in itertools.product((0, 2), repeat=count):
                for whats in itertools.product((STANDS, RUNS), repeat=count - 1):
                    for last in (STANDS, RUNS, OVER):
                        yield (
                            [
                                Act(
                                    n + 1,
                                    what,
                                    (10_000, 13_000, 11_000)[n],
                                    (tick + lead) * TICK_MS,
                                )
                                for n, (tick, lead, what) in enumerate(
                                    zip(made, leads, (*whats, last), strict=True)
                                )
                            ],
                            made,
                        )


def telegram(act, end):
    """What is heard of an act in a telegram that ends at a tick, said by anybody who knows it."""
    end_ms = end * TICK_MS
    return unpack(KEY, PLAN, pack(KEY, PLAN, act, end_ms, gate_after(act.class_ms)), end_ms)


def copy_of(agreement):
    other = Agreement()
    other.number, other.now, other._coming = agreement.number, agreement.now, agreement._coming
    return other


def key_of(agreement):
    acts = (agreement.now, *agreement._coming)
    return agreement.number, tuple((a.number, a.what, a.class_ms, a.at_ms) for a in acts)


def shown(agreement, tick):
    now = agreement.now
    return now.what, agreement.class_ms(tick * TICK_MS, gate_after(now.class_ms))


def stands(seen):
    """As people see it: a class that waits at a gate stands, whichever way it is said."""
    what, class_ms = seen
    return (STANDS, class_ms) if what == RUNS and class_ms == GATE_MS else seen


def follow(acts, made):
    """Follow a box through all that it may hear; yield its states at each tick."""
    last = acts[-1]
    states = {(*key_of(Agreement()), False): (Agreement(), False)}
    said = {
        (n, end): telegram(act, end) for n, act in enumerate(acts) for end in range(made[n], TICKS)
    }
    for tick in range(TICKS):
        heard = [
            said[n, end]
            for n in range(len(acts))
            for end in {max(made[n], tick - LATE), tick}
            if (n, end) in said and end >= made[n] and end <= tick
        ]
        after = {}
        for agreement, in_time in states.values():
            for size in range(min(2, len(heard)) + 1):
                for some in itertools.permutations(heard, size):
                    box = copy_of(agreement)
                    known = in_time
                    for act in some:
                        box.hear(act)
                        known |= act.number == last.number and tick * TICK_MS <= last.at_ms
                    box.step(tick * TICK_MS)
                    COUNTS["steps"] += 1
                    after[(*key_of(box), known)] = (box, known)
        states = after
        yield tick, [*states.values()]


def test_who_heard_the_last_act_before_its_instant_agrees_from_then_on():
    for acts, made in scripts():
        COUNTS["scripts"] += 1
        last = acts[-1]
        truth = heard_all(last)
        for tick, states in follow(acts, made):
            COUNTS["states"] += len(states)
            for box, in_time in states:
                if tick * TICK_MS < last.at_ms:
                    continue
                if in_time:
                    COUNTS["in time"] += 1
                    assert box.now.number == last.number
                if box.now.number == last.number:  # later, too: as soon as it was heard
                    assert stands(shown(box, tick)) == truth(tick), (acts, tick)
    assert COUNTS["scripts"] == 438 and COUNTS["in time"] > 1_500


def heard_all(last):
    box = Agreement()
    box.hear(last)
    box.step(last.at_ms)
    return lambda tick: stands(shown(box, tick))
