"""What collecting tells of boxes that hold no log of a class."""

import classes
import pytest
from class_floor import Floor
from lying_box import no_pause_at_closing

no_pause_at_closing = pytest.fixture(autouse=True)(no_pause_at_closing)


@pytest.fixture
def floor(tmp_path, capsys):
    made = Floor(tmp_path, capsys)
    yield made
    for box in made.boxes:
        box.__exit__()


def holds_an_open_log(message, honest):
    is_first = message["of"] == "runs" and message["i"] == 0
    return {"n": 1, "name": "00001.hbj", "open": True} if is_first else honest


def test_boxes_that_are_set_for_tomorrow_are_in_no_class(floor):
    assert floor.send()[0] == 0 and floor.do("arm", "--in", "20h")[0] == 0
    for box in floor.boxes:
        box.lies["list"] = holds_an_open_log
    code, said = floor.do("collect")
    assert code == 0 and said.count("it is set to start on") == 3 and "not over" not in said
    for box in floor.boxes:
        box.start_utc_ms = None
        box.lies["status"] = lambda _, honest: honest | {"state": "play"}
    code, said = floor.do("collect")
    assert code == 0 and said.count("one of a class that is not over") == 3


def test_a_start_that_was_taken_back_left_no_log_to_speak_of(floor):
    data = classes.timeline()
    box = floor.boxes[0]
    box.files["timelines"][classes.digest_of(data)] = data
    box.files["runs"]["00001.hbj"] = classes.play(data, never_starts=True).journal
    code, said = floor.do("collect")
    assert code == 0 and not box.files["runs"]
    assert "Box 1: 0 new of 0" in said and "handbell report" not in said
    box.files["runs"]["00002.hbj"] = classes.play(data).journal
    code, said = floor.do("collect")
    assert "Box 1: 1 new of 1" in said and "Now: handbell report" in said
