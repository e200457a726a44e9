"""Putting a box into a class that no remote leads: what tells where it is, and what is said."""

import pytest
from class_floor import Floor
from lying_box import no_pause_at_closing

no_pause_at_closing = pytest.fixture(autouse=True)(no_pause_at_closing)
ZERO_MS = 1_700_000_000_000


@pytest.fixture
def floor(tmp_path, capsys):
    floor = Floor(tmp_path, capsys)
    assert floor.send(gate=True)[0] == 0
    assert floor.do("arm", "--in", "9m")[0] == 0
    return floor


def in_class(box, state, class_ms=95_000, zero_ms=ZERO_MS):
    box.lies["status"] = lambda _, honest: (
        honest | {"state": state, "class_ms": class_ms, "zero_ms": zero_ms}
    )


def comes(box):
    """Let a box be at rest until it is put in."""

    def status(_, honest):
        there = any(m["do"] == "join" for m in box.asked)
        return honest | ({"state": "play", "class_ms": 1} if there else {"state": "ready"})

    box.lies["status"] = status


def joins(box):
    return [(m["zero_ms"], m["gate_ms"]) for m in box.asked if m["do"] == "join"]


def test_where_the_class_is_counts_as_it_was_just_before_the_word(floor):
    """Its clock is measured for seconds: a gate may have come meanwhile."""
    late = floor.boxes[2]
    floor.boxes[0].lies["status"] = lambda _, honest: (
        honest
        | {"state": "play", "zero_ms": ZERO_MS, "waits": True}
        | {"class_ms": 1_000 + len([m for m in late.asked if m["do"] == "time"])}
    )
    comes(late)
    assert floor.do("join", "3")[0] == 0
    (told,) = [m for m in late.asked if m["do"] == "join"]
    measured = len([m for m in late.asked if m["do"] == "time"])
    assert told["from_ms"] == 1_000 + measured > 1_000 and told["waits"] is True


@pytest.mark.parametrize(
    "state, words, put_in",
    [
        ("play", "is in the class", [(ZERO_MS, -1)]),
        ("tally", "is in the class", [(ZERO_MS, -1)]),
        ("gate", "stands where the others do: hold it when you hold them", [(0, 95_000)]),
    ],
)
def test_it_goes_where_a_box_of_the_class_is(floor, state, words, put_in):
    in_class(floor.boxes[0], state)
    comes(floor.boxes[2])
    code, said = floor.do("join", "3")
    assert code == 0 and f"station 3, Station 3: {words}" in said
    assert "Evening is at 1:35, pauses not counted." in said
    assert joins(floor.boxes[2]) == put_in and not joins(floor.boxes[0])


def test_boxes_that_have_parted_are_named(floor):
    in_class(floor.boxes[0], "play")
    in_class(floor.boxes[1], "play", zero_ms=ZERO_MS + 30_000)
    comes(floor.boxes[2])
    code, said = floor.do("join", "3")
    assert code == 0 and joins(floor.boxes[2]) == [(ZERO_MS, -1)]
    assert "Station 2: elsewhere than Station 1, by which this went" in said


@pytest.mark.parametrize(
    "state, words",
    [
        ("leaving", "Evening is about to go on from its gate. Run the command again once it does."),
        ("ready", "Nothing tells where Evening is"),
        ("over", "Nothing tells where Evening is"),
    ],
)
def test_nothing_is_put_in_where_nothing_tells(floor, state, words):
    box = floor.boxes[0]
    if state == "leaving":
        in_class(box, state)
    else:
        box.lies["status"] = lambda _, honest: honest | {"state": state}
    comes(floor.boxes[2])
    code, said = floor.do("join", "3")
    assert code == 1 and words in said and not joins(floor.boxes[2])


def test_a_class_that_has_not_begun_is_armed_not_joined(floor):
    comes(floor.boxes[2])
    code, said = floor.do("join", "3", "--since-start")
    assert code == 1 and "begins later" in said and not joins(floor.boxes[2])


def test_a_box_that_is_in_a_class_stays_where_it_is(floor):
    in_class(floor.boxes[0], "play")
    in_class(floor.boxes[2], "play")
    code, said = floor.do("join", "3")
    assert code == 1 and "is in a class already" in said and not joins(floor.boxes[2])


def test_without_a_clock_nothing_but_the_place_is_known(floor):
    box = floor.boxes[0]
    box.lies["status"] = lambda _, honest: honest | {"state": "play", "class_ms": 9_000}
    comes(floor.boxes[2])
    code, said = floor.do("join", "3")
    assert code == 1 and "Nothing tells where Evening is: Station 1 has lost its clock" in said
    assert "another box" in said and "stands at a gate" in said


def test_at_a_gate_without_a_clock_it_says_how_to_go_on_together(floor):
    box = floor.boxes[0]
    box.lies["status"] = lambda _, honest: honest | {"state": "gate", "class_ms": 95_000}
    comes(floor.boxes[2])
    code, said = floor.do("join", "3")
    assert code == 0 and "Station 1 has lost its clock and goes on 5 s after its own hold" in said
    in_class(box, "gate")
    comes(floor.boxes[1])
    assert "lost its clock" not in floor.do("join", "2")[1]
