"""What a remote makes of its buttons, without a box: only what it asks of its session and its desk."""

import importlib
import sys
from types import SimpleNamespace

import pytest

from box.desk import Desk
from box.loop import IDLE
from handbell_core.agreement import OVER
from handbell_core.lead import NEXT, PAUSE, STOP
from handbell_core.runner import HOLD_MS
from handbell_core.taps import PRESS, RELEASE
from made import LedBox, lead_in, rest, window

START_MS = 2_000


@pytest.fixture
def remote(monkeypatch):
    """A remote in a class of three blocks, each of 10 s; its ticks are run time in us."""
    box = LedBox([lead_in(), *(s for n in (1, 2, 3) for s in (window(block=n), rest()))])
    box.runner.heed()
    box.runner.arm(START_MS)
    # Nothing is drawn, for which this runtime lacks a module.
    monkeypatch.setitem(sys.modules, "box.lead_screens", SimpleNamespace(LeadScreens=None))
    module = importlib.import_module("box.remote")
    sys.modules.pop("box.remote")  # no other test may have it so
    desk = []
    monkeypatch.setattr(Desk, "_button", lambda *args: desk.append(args[1:]))
    made = module.Remote.__new__(module.Remote)
    made._session = SimpleNamespace(
        runner=box.runner,
        in_class=True,
        clock=SimpleNamespace(ms_of=lambda tick: tick // 1000),
    )
    made._view = SimpleNamespace(pressed=lambda: None, changed=lambda: None)
    made._test = made._lead = None
    made._down = [None] * 4
    made.box, made.desk = box, desk
    return made


def press(remote, slot, at_ms):
    remote.box.to(at_ms)
    remote._button(slot, PRESS, at_ms * 1000)


def hold(remote, slot, at_ms):
    press(remote, slot, at_ms)
    if remote.hold_due_us(at_ms * 1000) == IDLE:
        return
    remote.box.to(at_ms + HOLD_MS)
    remote.hold((at_ms + HOLD_MS) * 1000)
    remote._button(slot, RELEASE, (at_ms + HOLD_MS) * 1000)


def test_the_next_block_is_the_next_as_the_button_went_down(remote):
    hold(remote, NEXT, START_MS + 24_000)  # the second begins after 25 s
    assert remote.box.runner.agreement.number == 0
    hold(remote, NEXT, START_MS + 27_000)
    assert remote.box.runner.agreement.newest.class_ms == 45_000


@pytest.mark.parametrize("slot", range(4))
def test_after_a_stop_a_tap_does_not_end_the_telling_of_it(remote, slot):
    hold(remote, STOP, START_MS + 8_000)
    hold(remote, STOP, START_MS + 11_000)
    remote._session.in_class = False
    at_ms = START_MS + 16_000
    remote.box.to(at_ms)
    assert remote.box.sink.ended
    hold(remote, slot, at_ms)
    assert remote.desk == [] and remote.box.runner.agreement.newest.what == OVER


def test_an_end_screen_of_a_class_that_no_remote_leads_goes_by_a_tap(remote):
    remote.box.runner.heeds = False
    remote._session.in_class = False
    press(remote, PAUSE, START_MS + 8_000)
    assert len(remote.desk) == 1


def test_a_hold_that_nothing_came_of_leaves_the_question_open(remote):
    hold(remote, STOP, START_MS + 20_000)
    hold(remote, NEXT, START_MS + 24_000)
    assert remote.lead().asks(START_MS + 24_500)
