"""The box's loop: what may begin when, how long it sleeps, and what a job that fails costs."""

from __future__ import annotations

import importlib.util
import sys
import types
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

FIRMWARE = Path(__file__).parents[2] / "firmware"


class Clock:
    def __init__(self):
        self.tick = (1 << 30) - 5_000  # so that the ticks wrap on the way

    def ticks_us(self):
        return self.tick & ((1 << 30) - 1)


def load(patch):
    """Return (the module loop, its clock)."""
    clock = Clock()
    time = types.ModuleType("time")
    time.ticks_us = clock.ticks_us
    patch.setitem(sys.modules, "time", time)
    spec = importlib.util.spec_from_file_location("loop_of_box", FIRMWARE / "box/loop.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module, clock


@pytest.fixture(name="made")
def _made(monkeypatch):
    return load(monkeypatch)


class Work:
    """A job that is due every so often and takes so long."""

    def __init__(self, clock, every_us, cost_us, fails=()):
        self.clock, self.every_us, self.cost_us = clock, every_us, cost_us
        self.fails = set(fails)
        self.at = clock.tick
        self.runs = []
        self.tries = 0

    def due(self, tick):
        return max(0, self.at - self.clock.tick)

    def run(self, tick):
        self.tries += 1
        if self.tries in self.fails:
            raise ValueError(self.tries)
        self.runs.append(self.clock.tick)
        self.at = self.clock.tick + self.every_us
        self.clock.tick += self.cost_us


def spin(loop, clock, for_us, most_us=1_000_000):
    end = clock.tick + for_us
    turns = 0
    while clock.tick < end:
        until = loop.turn(most_us)
        wait_us = ((until - clock.tick + (1 << 29)) & ((1 << 30) - 1)) - (1 << 29)
        assert wait_us <= most_us
        clock.tick += max(0, wait_us)
        turns += 1
        assert turns < 200_000
    return turns


@given(
    every=st.lists(st.integers(500, 300_000), min_size=1, max_size=5),
    costs=st.lists(st.integers(1, 40_000), min_size=5, max_size=5),
    cue_every_us=st.integers(60_000, 2_000_000),
)
@settings(max_examples=60, deadline=None)
def test_no_job_is_under_way_when_a_cue_is_due_and_each_that_fits_gets_its_turn(
    every, costs, cue_every_us
):
    with pytest.MonkeyPatch.context() as patch:
        module, clock = load(patch)
        began = clock.tick
        cues = Work(clock, cue_every_us, 0)

        def room_us(tick):
            return cues.at - clock.tick

        works = [Work(clock, e, c) for e, c in zip(every, costs, strict=False)]
        jobs = [module.Job("cue", 0, cues.due, cues.run)]
        jobs += [module.Job("w", w.cost_us, w.due, w.run) for w in works]
        loop = module.Loop(tuple(jobs), room_us, lambda *_: None)
        spin(loop, clock, 5_000_000)
        for n, at in enumerate(cues.runs):
            assert at == began + n * cue_every_us  # to the microsecond
        for work in works:
            if work.cost_us * len(works) < cue_every_us // 2:
                assert work.runs


@pytest.mark.parametrize(
    "cost_us,least,most",
    [(1_000, 15, 40), (0, 1_000, 1_400)],  # a second apart in the end; what can't wait 16 ms
)
def test_a_job_that_fails_for_ever_is_told_and_slowed_and_the_others_go_on(
    made, cost_us, least, most
):
    module, clock = made
    told = []
    bad = Work(clock, 1_000, 0, fails=range(1, 10**6))
    good = Work(clock, 1_000, 0)
    jobs = (module.Job("bad", cost_us, bad.due, bad.run), module.Job("good", 0, good.due, good.run))
    loop = module.Loop(jobs, lambda tick: 10**6, lambda name, error: told.append((name, error)))
    spin(loop, clock, 20_000_000)
    assert len(good.runs) >= 15_000
    assert {name for name, _ in told} == {"bad"} and all(isinstance(e, ValueError) for _, e in told)
    assert least <= bad.tries <= most
    assert loop.failing() == "bad"


def test_a_job_that_failed_is_well_again_when_it_has_gone_through(made):
    module, clock = made
    work = Work(clock, 1_000, 0, fails=(1, 2, 3))
    loop = module.Loop((module.Job("w", 0, work.due, work.run),), lambda tick: 0, lambda *_: None)
    spin(loop, clock, 100_000)
    assert loop.failing() == "" and len(work.runs) > 50


def test_a_due_that_fails_is_as_good_as_a_run_that_fails(made):
    module, clock = made
    good = Work(clock, 1_000, 0)

    def due(tick):
        raise MemoryError

    jobs = (module.Job("bad", 0, due, good.run), module.Job("good", 0, good.due, good.run))
    loop = module.Loop(jobs, lambda tick: 0, lambda *_: None)
    spin(loop, clock, 1_000_000)
    assert len(good.runs) > 900 and loop.failing() == "bad"


def test_what_is_due_and_does_not_fit_keeps_the_box_from_no_sleep(made):
    module, clock = made
    big = Work(clock, 0, 50_000)
    cue = Work(clock, 1_000_000, 0)
    cue.at += 10_000
    jobs = (module.Job("cue", 0, cue.due, cue.run), module.Job("big", 50_000, big.due, big.run))
    loop = module.Loop(jobs, lambda tick: cue.at - clock.tick, lambda *_: None)
    until = loop.turn(1_000_000)
    assert not big.runs and (until - clock.tick) & ((1 << 30) - 1) == 10_000


@pytest.mark.parametrize("later_s", [5, 500, 537, 700, 1_000, 1_100])
def test_a_job_that_failed_once_and_had_nothing_to_do_is_not_put_off_later(made, later_s):
    """Ticks wrap after 1,074 s, and a tick of long ago looks like one to come."""
    module, clock = made
    once = Work(clock, 1 << 40, 0, fails=(1,))
    told = []
    due = once.due

    def nothing_after_the_first_try(tick):
        return due(tick) if once.tries == 0 or clock.tick >= later else -1

    later = clock.tick + later_s * 1_000_000
    jobs = (module.Job("once", 1_000, nothing_after_the_first_try, once.run),)
    loop = module.Loop(jobs, lambda tick: 10**6, lambda name, error: told.append(name))
    spin(loop, clock, later_s * 1_000_000)
    assert loop.failing() == "" and told == ["once"]
    loop.turn(1_000_000)
    assert len(once.runs) == 1
