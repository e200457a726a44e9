"""A class that a remote leads, by the commands a coach types: from sending to collecting."""

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


def test_it_begins_on_the_remotes_word_and_takes_in_a_box_that_comes_late(
    tmp_path, monkeypatch, capsys
):
    hall = Hall(tmp_path, 2)
    world = hall.world
    one, late = hall.boxes
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
        return out

    with hall.rig:
        ids = (f"{n}={box.spec.unique_id.hex()}" for n, box in enumerate(hall.boxes, 1))
        do("stations", *ids)
        assert "Remote: " in do("send", str(plan))
        assert "remote" in do("boxes")
        said = do("arm", "--by-remote", "--without", "2")
        assert "Evening starts when the remote's second button is held." in said
        began_us = world.now_us() + 5 * S
        hall.holds(GO_ON, began_us)
        one.press(0, began_us + 15 * S)
        hall.run_to(began_us + 20 * S)
        said = do("join", "2", boxes=[late, one])
        assert "station 2, Station 2: waits for the remote" in said and "Evening is at 0:" in said
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
