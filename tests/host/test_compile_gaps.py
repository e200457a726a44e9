"""The quiet that flash writes need: a plan whose cues leave none is refused."""

import random

import pytest

from handbell.compile import build
from handbell.compile.expand import Stretch
from handbell.compile.gaps import Cues, crowded
from handbell.errors import PlanError
from handbell.plan.files import parse_plan
from handbell_core import cues as c
from handbell_core import timeline as t

PLAN = """
title = "T"
count_s = {count}
[[block]]
rounds = 2
rest_s = {rest}
[[block.exercise]]
name = "A"
work_s = {work}
both_sides = {sides}
"""


def faults(count, work=30, rest=0, sides="false"):
    text = PLAN.format(count=count, work=work, rest=rest, sides=sides)
    try:
        build(parse_plan(text.encode()))
    except PlanError as error:
        return error.faults
    return []


QUIET = "cues leave no quiet 1.5 s in every 5 s, which a box needs to store taps; "


def test_a_heads_up_and_a_single_count_leave_room():
    for work in (5, 7.9, 8, 12, 30):
        assert faults(0, work, 3) == []
        assert faults(1, work, 3) == []


def test_a_long_count_leaves_none():
    assert faults(3)[:2] == [
        f"lead-in: {QUIET}lower count_s to 1",
        f"block 1, round 1, exercise 1: {QUIET}lower count_s to 1",
    ]
    assert any("exercise 1, rest: " in fault for fault in faults(3, rest=20))


def test_a_short_window_that_changes_sides_leaves_none():
    assert faults(1, 5, sides="true") == [
        f"block 1, round 1, exercise 1: {QUIET}lower count_s to 0, or lengthen the window"
    ]
    assert faults(1, 6, sides="true") == []
    assert faults(0, 5, sides="true") == []


def test_a_hundred_faults_are_not_printed_one_by_one():
    text = "title = 'T'\ncount_s = 5\n[[block]]\n" + "".join(
        f"[[block.exercise]]\nname = 'E{n}'\nwork_s = 30\n" for n in range(50)
    )
    with pytest.raises(PlanError) as caught:
        build(parse_plan(text.encode()))
    assert len(caught.value.faults) == 9
    assert caught.value.faults[-1] == "and 43 more places like these"


class Ringing:
    """Cues at offsets of our choice, in place of the sheet's."""

    def __init__(self, *sounds):
        self.sounds = sounds

    def of(self, kind, duration_ms, flags):
        return self.sounds


def test_the_limit_is_2_s_between_gaps_of_1_5_s():
    one, flags = [Stretch(t.WINDOW, 0, 20_000)], [0]
    assert not crowded(one, flags, Ringing((4000, 4500), (5500, 6000)))
    assert crowded(one, flags, Ringing((4000, 4500), (5500, 6001))) == one
    assert not crowded(one, flags, Ringing((4000, 4500), (6000, 7000)))
    assert crowded(one, flags, Ringing((4000, 4500), (5999, 7000))) == one
    assert crowded(one, flags, Ringing((17_900, 18_000), (19_000, 19_400))) == one  # then the end


def test_a_gate_after_a_count_of_one_leaves_room():
    text = "title = 'T'\ncount_s = 1\n" + 2 * (
        "[[block]]\ngate = true\n[[block.exercise]]\nname = 'A'\nwork_s = 6\nboth_sides = true\n"
    )
    assert build(parse_plan(text.encode())).totals.windows == 2


def is_quiet_enough(stretches, flags, count_s):
    """The rule as it is written, tried at every 10 ms: each 5 s holds 1.5 s without a cue."""
    before_ms = 5000
    end = before_ms + stretches[-1].end_ms
    busy = bytearray((end + 10_000) // 10)
    for s, bits in zip(stretches, flags, strict=True):
        after = 0
        while True:
            at, cue = c.next_cue(s.kind, s.duration_ms, bits, count_s, after)
            if at < 0:
                break
            first = before_ms + s.start_ms + at
            last = first + c.motif_ms(cue)
            busy[first // 10 : last // 10] = b"\1" * (last // 10 - first // 10)
            after = at + 1
    closing = c.motif_ms(c.CLOSE) // 10
    busy[end // 10 : end // 10 + closing] = b"\1" * closing
    gap = bytes(150)
    return all(busy.find(gap, at, at + 500) >= 0 for at in range(len(busy) - 500))


def test_the_short_rule_equals_the_rule_tried_everywhere():
    chance = random.Random(7)
    outcomes = set()
    for _ in range(150):
        stretches, flags, at = [], [], 0
        count_s = chance.choice((0, 0, 1, 1, 2))
        for _ in range(chance.randint(1, 6)):
            kind = chance.choice((t.WINDOW, t.WINDOW, t.REST, t.CHANGE, t.BREAK))
            ms = chance.choice((3000, 4000, 5000, 5500, 6000, 7000, 8000, 8500, 9000, 10_000))
            stretches.append(Stretch(kind, at, ms))
            flags.append(t.BOTH_SIDES if kind == t.WINDOW and chance.random() < 0.5 else 0)
            at += ms
        quiet = not crowded(stretches, flags, Cues(count_s))
        assert quiet == is_quiet_enough(stretches, flags, count_s)
        outcomes.add(quiet)
    assert outcomes == {True, False}
