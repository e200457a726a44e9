"""A class that a remote leads, by the commands a coach types: from sending to collecting."""

import pytest
from remote_hall import Hall, S, assert_together

from handbell.cli.main import main
from handbell_core.lead import GO_ON, PAUSE

PLAN = """
title = "Evening"
boxes = 2
lead_in_s = 10
[[block]]
rounds = 2
rest_s = 20
  [[block.exercise]]
  name = "Squat"
  work_s = 30
  tap = "each"
"""


@pytest.fixture
def evening(tmp_path, monkeypatch, capsys):
    """A hall with two boxes at their stations and a remote that have the plan."""
    hall = Hall(tmp_path, 2)
    world = hall.world
    monkeypatch.setenv("HANDBELL_CLOCK", str(world.clock_path))
    plan = tmp_path / "evening.toml"
    plan.write_text(PLAN, encoding="utf-8")

    def do(*words, boxes=world.boxes):
        """Plug these in, type a command, and hang them up again."""
        for box in boxes:
            box.plug_in()
        code = main([*words, *(word for box in boxes for word in ("--port", box.url))])
        for box in boxes:
            box.unplug()
        out, err = capsys.readouterr()
        assert code == 0, (words, out, err)
        return " ".join(out.split())

    hall.do = do

    with hall.rig:
        ids = (f"{n}={box.spec.unique_id.hex()}" for n, box in enumerate(hall.boxes, 1))
        do("stations", *ids)
        assert "Remote: " in do("send", str(plan))
        assert "remote" in do("boxes")
        yield hall


def test_it_begins_on_the_remotes_word_and_takes_in_a_box_that_comes_late(evening, tmp_path):
    hall, world, do = evening, evening.world, evening.do
    one, late = hall.boxes
    said = do("arm", "--by-remote", "--without", "2")
    assert "Evening starts when the remote's second button is held." in said
    began_us = world.now_us() + 5 * S
    hall.holds(GO_ON, began_us)
    one.press(0, began_us + 15 * S)
    hall.run_to(began_us + 20 * S)
    said = do("join", "2", boxes=[late, one])  # the remote lies elsewhere
    assert "station 2, Station 2: is in the class" in said and "Evening is at 0:" in said
    assert "It follows the remote as it hears it" in said
    hall.run_to(began_us + 35 * S)
    late.press(0, began_us + 35 * S)
    hall.works(PAUSE, began_us + 50 * S)
    hall.run_to(began_us + 53 * S)
    assert hall.states() == ["gate", "gate"]
    hall.holds(GO_ON, began_us + 60 * S)
    hall.run_to(began_us + 120 * S)
    assert hall.states() == ["over", "over"]
    assert_together(hall.bells_after(began_us + 45 * S), 3)
    said = do("collect")
    assert said.count("1 new of 1") == 2
    assert "Remote: 0 new of 0, 1 log of a remote, kept for nobody" in said
    assert len(list((tmp_path / "data" / "remotes").iterdir())) == 1
    said = do("collect")
    assert said.count("0 new of 0") == 3


@pytest.mark.parametrize("alone", [False, True])
def test_a_box_comes_into_the_class_after_the_remote_broke(evening, alone):
    hall, world, do = evening, evening.world, evening.do
    one, late = hall.boxes
    do("arm", "--in", "20s", "--without", "2")
    world.run_for(45 * S)
    hall.remote.cut_power()
    said = do("join", "2", boxes=[late])  # as if the remote still led
    assert "waits for the remote" in said and "run this again" in said
    if alone:
        said = do("join", "2", "--since-start", boxes=[late])
    else:
        said = do("join", "2", boxes=[one, late])
    assert "station 2, Station 2: is in the class" in said and "waits" not in said
    assert "follows the remote" in said
    now_us = world.now_us()
    world.run_for(60 * S)
    assert_together(hall.bells_after(now_us), 3)
