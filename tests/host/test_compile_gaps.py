"""The quiet that flash writes need: a plan whose cues leave none is refused."""

import random

import pytest

from handbell.base.errors import PlanError
from handbell.compile import build
from handbell.compile.expand import Stretch
from handbell.compile.gaps import Cues, crowded, crowded_after_a_pause
from handbell.plan.files import parse_plan
from handbell_core import cues as c
from handbell_core import timeline as t
from handbell_core.states import LEFT_LEAST_MS

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


def test_a_heads_up_and_a_count_of_three_leave_room():
    for work in (5, 7.9, 8, 12, 30):
        for count in (0, 1, 2, 3):
            assert faults(count, work, 10) == []


def test_a_longer_count_leaves_none():
    assert faults(4)[:2] == [
        f"lead-in: {QUIET}lower count_s to 3",
        f"block 1, round 1, exercise 1: {QUIET}lower count_s to 3",
    ]
    assert any("exercise 1, rest: " in fault for fault in faults(4, rest=20))


def test_the_remedy_is_the_longest_count_that_fits():
    # 4 s of rest between two counts of three ring all the time; two leave 1.6 s.
    assert faults(3, rest=4) == [f"block 1, round 1, exercise 1: {QUIET}lower count_s to 2"]
    assert faults(2, rest=4) == []
    # Sides change 3.5 s before the end: two or three counts after that leave no 1.5 s between.
    assert faults(3, 7, sides="true") == [
        f"block 1, round 1, exercise 1: {QUIET}lower count_s to 1"
    ]
    assert faults(1, 7, sides="true") == []


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


def test_the_limit_is_3_6_s_between_gaps_of_1_5_s():
    one, flags = [Stretch(t.WINDOW, 0, 20_000)], [0]
    assert not crowded(one, flags, Ringing((4000, 4500), (5500, 7600)))
    assert crowded(one, flags, Ringing((4000, 4500), (5500, 7601))) == one
    assert not crowded(one, flags, Ringing((4000, 4500), (6000, 9600)))
    assert crowded(one, flags, Ringing((4000, 4500), (5999, 9600))) == one
    assert crowded(one, flags, Ringing((16_900, 18_000), (19_000, 19_400))) == one  # then the end


def test_a_gate_after_a_count_of_one_leaves_room():
    text = "title = 'T'\ncount_s = 1\n" + 2 * (
        "[[block]]\ngate = true\n[[block.exercise]]\nname = 'A'\nwork_s = 6\nboth_sides = true\n"
    )
    assert build(parse_plan(text.encode())).totals.windows == 2


def ringing(stretches, flags, count_s):
    """Return for every 10 ms, from 5 s before the class to 5 s after it, whether a cue sounds."""
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
    return busy


def is_quiet_enough(stretches, flags, count_s):
    """The rule as it is written, tried at every 10 ms: 3.6 s on, at the latest, 1.5 s are quiet."""
    busy = ringing(stretches, flags, count_s)
    most = 150 + 360 + 150
    return all(busy.find(bytes(150), at, at + most) >= 0 for at in range(len(busy) - most))


def longest_wait_ms(busy, needs_ms, write_ms):
    """Return how long a tap may wait for the end of the write that stores it.

    A box gathers taps for 1.5 s, then begins a write where no cue sounds and the next one is
    ``needs_ms`` away (firmware/box/log.py); a tap made while it writes waits for the next write.
    """
    needs, write = needs_ms // 10, write_ms // 10
    room = bytes(needs)
    starts = [busy.find(room, at) for at in range(len(busy) - 500)]
    return 10 * max(starts[at + 150] + write - at for at in range(len(busy) - 660))


@pytest.mark.parametrize("count", [0, 1, 2, 3])
@pytest.mark.parametrize(("work", "rest"), [(5, 20), (20, 10), (30, 0), (12, 6), (7.9, 5)])
def test_a_tap_is_stored_within_5_s_whenever_it_is_made(count, work, rest):
    """Writes of up to 400 ms, a slow erase; the box then wants 0.6 s to the next cue."""
    text = PLAN.format(count=count, work=work, rest=rest, sides="false")
    built = build(parse_plan(text.encode()))
    stretches = built.schedule.stretches
    assert longest_wait_ms(ringing(stretches, [0] * len(stretches), count), 600, 400) <= 5000


def test_the_short_rule_equals_the_rule_tried_everywhere():
    chance = random.Random(7)
    outcomes = set()
    for _ in range(150):
        stretches, flags, at = [], [], 0
        count_s = chance.choice((0, 0, 1, 2, 3, 4))
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


def goes_on_quiet_enough(stretches, flags, gone_ms, count_s):
    """Whether 1.5 s are quiet 4 s after a window went on, at the latest, ``gone_ms`` of it gone."""
    busy = ringing(stretches, flags, count_s)[(5000 + gone_ms) // 10 :]
    bell = c.motif_ms(c.GO) // 10
    busy[:bell] = b"\1" * bell
    return busy.find(bytes(150)) <= 400


@pytest.mark.parametrize("sides", [0, t.BOTH_SIDES])
@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_a_window_that_goes_on_at_any_time_leaves_a_gap_if_the_rule_says_so(count, sides):
    refused = set()
    for work_ms in (5000, 5500, 6000, 6200, 6400, 6600, 8000, 9000, 10_000, 12_500, 20_000):
        for rest_ms in (4000, 10_000):
            one = [Stretch(t.WINDOW, 0, work_ms), Stretch(t.REST, work_ms, rest_ms)]
            flags = [sides, 0]
            if crowded(one, flags, Cues(count)):
                continue
            bad = list(crowded_after_a_pause(one, flags, Cues(count)))
            tried = [
                goes_on_quiet_enough(one, flags, gone_ms, count)
                for gone_ms in range(10, work_ms - LEFT_LEAST_MS + 1, 10)
            ]
            assert all(tried) == (not bad), (work_ms, rest_ms)
            refused |= {work_ms} if bad else set()
    assert refused == ({6200, 6400} if sides and count > 1 else set())
