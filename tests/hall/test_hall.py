"""A short part of the simulated classes, with fixed seeds; ``run.py`` plays as many as you like."""

from dataclasses import replace
from types import SimpleNamespace

import floor
import lives
import pytest
import rejoin
from floor_check import LOST_MS, _Box
from hall import play
from oracle_state import Wanted, WantedTap
from script import make
from shrink import shrink
from trouble import Trouble

CLASSES, SHARE = 900, 100
# With cuts, with and without a clock part, a clock set in class, failing methods, several boxes.
ON_BOXES = ("a2", "a3", "a6", "b31", "b46", "b48", "b52")
# With every request in the first seconds after the power is back, of starts and of classes.
LIVES = ("1", "2", "3")


@pytest.mark.parametrize("first", range(0, CLASSES, SHARE))
def test_classes_on_the_runner_are_as_the_manual_says(first):
    for number in range(first, first + SHARE):
        out = play(make(f"quick.{number}", 4))
        assert not out.wrong, (f"run.py --replay core:quick.{number}", out.wrong[:3])
        assert out.checks


def test_a_class_that_the_power_cut_off_goes_on_as_if_it_had_not():
    went_on = 0
    for number in range(400):
        verdict = rejoin.play(f"cut.{number}")
        if verdict is not None:
            assert not verdict.wrong, (number, verdict.wrong[:3])
            went_on += 1
    assert went_on > 50


def test_a_share_of_what_is_simulated_is_held_against_the_manual():
    hours = checks = unclear = runs = 0
    for number in range(60):
        out = play(make(f"quick.{number}", 4))
        hours, checks = hours + out.hours, checks + out.checks
        unclear, runs = unclear + len(out.unclear), runs + 1
    assert hours > 5 and checks > 100 * runs and unclear < 2 * runs


@pytest.mark.parametrize("name", ON_BOXES)
def test_classes_on_virtual_boxes_keep_what_they_promise(name, micropython):
    out = floor.play(floor.make(name))
    assert not out.wrong, (f"run.py --replay floor:{name}", out.wrong[:3])
    assert out.checks


@pytest.mark.parametrize("name", LIVES)
def test_a_box_keeps_its_word_through_a_life_of_power_failures(name, micropython):
    life = lives.play(name)
    assert not life.wrong, (f"run.py --replay life:{name}", life.wrong[:3])
    assert life.checks > 40


def test_a_box_joins_every_class_of_its_life(micropython, monkeypatch):
    monkeypatch.setattr(lives, "REQUESTS", ("nothing",))
    life = lives.play("joins", 10)
    assert not life.wrong, life.wrong[:3]
    assert life.joins > 4


def test_a_screen_that_fails_for_good_keeps_no_tap_from_the_flash(micropython):
    trouble = Trouble("view", "View", "draw", "", "MemoryError", "n > 60", "for good after call 60")
    out = floor.play(replace(floor.make("b31"), trouble=trouble))
    assert not out.wrong, out.wrong[:3]
    assert out.faults["failures of a method"] > 20  # it is tried every second


@pytest.mark.parametrize(("before_cut_ms", "lost"), ((578, []), (LOST_MS + 200, ["box 0: lost"])))
def test_how_old_a_tap_was_at_a_cut_is_told_by_when_it_was_made(before_cut_ms, lost, monkeypatch):
    """After a wait of half a minute the class's own time is far behind."""
    tap_ms = 68_666
    wanted = Wanted(taps=[WantedTap(1, 2, 22_955, 69, 7, False, True, False, True, tap_ms)])
    oracle = SimpleNamespace(wanted=wanted, state="play")
    monkeypatch.setattr(_Box, "_oracle", lambda *_: oracle)
    out = floor.FloorOutcome()
    room = SimpleNamespace(
        script=floor.make("a2"), out=out, cuts=[[(tap_ms + before_cut_ms) * 1000]], armed=[True],
        rig=SimpleNamespace(world=SimpleNamespace(boxes=[None])), zero_us=0,
        utc_ms=lambda _: 1_700_000_000_000, start_utc_ms=lambda: 1_700_000_014_000,
    )  # fmt: skip
    room.script = replace(room.script, trouble=None, by_hand=False)
    box = _Box(room, 0)
    box.runs = [b""]
    box._taps_kept()
    assert [text[:11] for text in out.wrong] == lost


def test_a_class_that_goes_wrong_is_made_smaller():
    def wrong(script):
        holds = [s for box in script.boxes for s in box.steps if s.what == "press" and s.b > 5_000]
        return [f"box 0: {len(holds)} leans"] if holds else []

    script = next(s for s in (make(f"lean.{n}", 4) for n in range(50)) if wrong(s))
    smaller, said = shrink(script, wrong)
    assert said and len(smaller.boxes) == 1 and len(smaller.boxes[0].steps) == 1
    assert "held for" in smaller.lines()[-1]
