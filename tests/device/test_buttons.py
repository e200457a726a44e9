"""Edges that come around a flash write, on a board whose PIO captures what interrupts miss."""

import time

import pytest

from box.buttons import Buttons
from handbell_core.taps import PRESS, RELEASE

PERIOD = 1 << 30


class Irq:
    def __init__(self, pin):
        self._pin = pin

    def flags(self):
        return self._pin.flag


class Pin:
    IRQ_FALLING, IRQ_RISING = 4, 8

    def __init__(self):
        self.level, self.flag, self.handler = 1, 0, None

    def __call__(self):
        return self.level

    def irq(self, handler, trigger, hard):
        self.handler = handler
        return Irq(self)


class Capture:
    """As ``box.capture.Capture``: what came since ``clear``, with times of its own."""

    def __init__(self, pin, before_clear):
        self._pin, self._before_clear = pin, before_clear
        self.was_closed, self.is_on, self.seen = False, False, []

    def clear(self):
        self._before_clear()
        self.was_closed, self.is_on, self.seen = not self._pin(), True, []

    def ticks(self):
        self.is_on = False
        return self.seen


class Bench:
    """Buttons whose time and contacts are ours; ``events`` is what was told, as (slot, what, us)."""

    def __init__(self, monkeypatch, buttons=2, origin=0):
        self._origin, self.us = origin, 0
        monkeypatch.setattr(time, "ticks_us", lambda: self.tick(self.us), raising=False)
        self.pins = [Pin() for _ in range(buttons)]
        self.captures = [Capture(pin, self._clearing) for pin in self.pins]
        self.while_clearing = []  # (us later, slot, level): an edge before the next clear
        self.interrupts = True
        self.events = []
        self.buttons = Buttons(self.pins, self.captures)

    def tick(self, us):
        return (self._origin + us) % PERIOD

    def button(self, slot, event, tick):
        self.events.append((slot, event, (tick - self._origin) % PERIOD))

    def edge(self, us, slot, level):
        self.us = us
        pin, capture = self.pins[slot], self.captures[slot]
        pin.level, pin.flag = level, 8 if level else 4
        if capture.is_on:
            capture.seen.append(self.tick(us))
        if self.interrupts:
            pin.handler(pin)

    def _clearing(self):
        if self.while_clearing:
            self.edge(*self.while_clearing.pop(0))

    def write(self, start_us, end_us, edges=(), while_clearing=()):
        """A flash write between these times, with edges in it that no interrupt sees."""
        self.us = start_us
        self.while_clearing = list(while_clearing)
        self.buttons.before_blind(self.tick(start_us), self)
        self.interrupts = False
        for edge in edges:
            self.edge(*edge)
        self.interrupts = True
        self.us = end_us
        self.buttons.blind(self.tick(start_us), self.tick(end_us), self)

    def settle(self, us):
        self.us = us
        self.buttons.take(self.tick(us), self)


@pytest.fixture(params=[0, PERIOD - 1_030_000])
def bench(monkeypatch, request):
    return Bench(monkeypatch, origin=request.param)


def test_a_press_just_before_a_write_is_told_with_its_own_time(bench):
    bench.write(1_000_000, 1_060_000, while_clearing=[(1_000_200, 0, 0)])
    bench.edge(1_120_000, 0, 1)
    bench.settle(1_200_000)
    assert [(slot, event) for slot, event, _ in bench.events] == [(0, PRESS), (0, RELEASE)]
    assert abs(bench.events[0][2] - 1_000_200) < 1_000
    assert bench.events[1][2] == 1_120_000


def test_a_press_just_before_a_write_that_ends_in_it_is_told(bench):
    edges = [(1_090_000, 0, 1)]
    bench.write(1_000_000, 1_150_000, edges, while_clearing=[(1_000_200, 0, 0)])
    bench.settle(1_300_000)
    assert [(slot, event) for slot, event, _ in bench.events] == [(0, PRESS), (0, RELEASE)]
    assert abs(bench.events[0][2] - 1_000_200) < 1_000
    assert bench.events[1][2] == 1_090_000


def test_a_release_just_before_a_write_is_told_with_its_own_time(bench):
    bench.edge(900_000, 1, 0)
    bench.settle(910_000)
    bench.write(1_000_000, 1_060_000, while_clearing=[(1_000_050, 0, 1), (1_000_200, 1, 1)])
    bench.settle(1_200_000)
    assert bench.events[0] == (1, PRESS, 900_000)
    ((slot, event, us),) = bench.events[1:]
    assert (slot, event) == (1, RELEASE) and abs(us - 1_000_200) < 1_000


def test_presses_at_four_buttons_in_turn_around_a_write_are_each_told_once(monkeypatch):
    bench = Bench(monkeypatch, buttons=4)
    before = [(1_000_010 + 90 * slot, slot, 0) for slot in range(4)]
    ends = [(1_200_000 + slot * 10, slot, 1) for slot in range(4)]
    bench.write(1_000_000, 1_400_000, ends, while_clearing=before)
    bench.settle(1_600_000)
    assert sorted((slot, event) for slot, event, _ in bench.events) == [
        (slot, event) for slot in range(4) for event in (PRESS, RELEASE)
    ]


def test_a_press_in_a_write_and_one_before_it_are_told_as_before(bench):
    bench.edge(800_000, 0, 0)
    bench.edge(900_000, 0, 1)
    bench.write(1_000_000, 1_300_000, [(1_100_000, 0, 0), (1_200_000, 0, 1)])
    bench.settle(1_500_000)
    assert bench.events == [
        (0, PRESS, 800_000), (0, RELEASE, 900_000), (0, PRESS, 1_100_000), (0, RELEASE, 1_200_000),
    ]  # fmt: skip
