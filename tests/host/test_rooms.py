"""The rooms of the house: no circle among files, no import upwards, a picture that is current."""

import networkx as nx
import pytest
from house import CORE, FIRMWARE, HOST, PICTURE, ROOMS, drawn, folder_circles, imports, room_of


@pytest.mark.parametrize("parts", [HOST, FIRMWARE, CORE], ids=["host", "box", "core"])
def test_no_circle_among_files(parts):
    files = nx.DiGraph((a, b) for a, others in imports(*parts).items() for b in others)
    circles = [sorted(some) for some in nx.strongly_connected_components(files) if len(some) > 1]
    assert circles == []


def test_folders_in_a_room_stand_in_no_circle():
    """Beside those that are known: a log's class, its people and its results are settled as one."""
    circles = folder_circles(*HOST)
    assert sorted(map(sorted, circles)) == [
        ["handbell.plan", "handbell.plan.model", "handbell.plan.shorthands"],
        ["handbell.report", "handbell.report.one_class", "handbell.report.over_time"],
        [f"handbell.store.{name}" for name in ("classes", "logs", "people", "results")],
    ]


def test_rooms_stand_on_those_below():
    place = {room: n for n, row in enumerate(ROOMS) for room in row}
    for name, others in imports(*HOST).items():
        for other in others:
            above, below = room_of(name), room_of(other)
            if above != below:
                assert place[above] < place[below], f"{name} imports {other}"


def test_the_picture_of_the_rooms_is_current():
    assert PICTURE.read_text(encoding="utf-8") == drawn(), "run: python tests/house.py"


def test_folders_have_room():
    for row in ROOMS:
        for room in row:
            for folder in {p.parent for p in (HOST[0] / "handbell" / room).rglob("*.py")}:
                if "migrations" not in folder.as_posix():
                    assert len(list(folder.glob("*.py"))) <= MOST.get(folder.name, 17), folder


MOST = {"standin": 20}  # one file for each module of the other runtime it stands in for
