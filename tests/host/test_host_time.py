"""A computer whose clock may be wrong: told before the class, by the store and by the boxes."""

from datetime import datetime, timedelta

import classes
import pytest
from class_floor import Floor
from lying_box import no_pause_at_closing

from handbell.store import open_store

no_pause_at_closing = pytest.fixture(autouse=True)(no_pause_at_closing)


@pytest.fixture
def floor(tmp_path, capsys):
    made = Floor(tmp_path, capsys)
    yield made
    for box in made.boxes:
        box.__exit__()


def class_of(ago: timedelta) -> None:
    """Put a class into the store that began so long ago."""
    start_ms = round((datetime.now() - ago).timestamp()) * 1000
    data = classes.timeline()
    with open_store() as store:
        store.put_timeline(data)
        store.ingest(classes.play(data, start_utc_ms=start_ms).journal, "b1", start_ms * 1000)


@pytest.mark.parametrize(
    "days, said",
    [
        (-368, "but class 1 is dated"),
        (-1, "handbell class 1 --date"),
        (8, ""),
        (55, ""),
        (365, "the newest class in the store was on"),
    ],
)
def test_a_clock_far_from_the_newest_class_is_doubted(floor, days, said):
    class_of(timedelta(days=days))
    for told in (floor.send()[1], floor.do("arm", "--in", "9m")[1]):
        assert ("this computer's clock says" in told) is bool(said) and said in told


def test_a_store_without_a_class_says_nothing_of_the_clock(floor):
    assert "this computer's clock" not in floor.send()[1] + floor.do("arm", "--in", "9m")[1]


def test_a_clock_that_boxes_had_otherwise_is_doubted(floor):
    floor.boxes[1].lies["clock"] = lambda _, honest: honest | {"moved_s": 365 * 86_400}
    said = floor.send()[1]
    assert "365 days later than the clock of Station 2 said" in said
    floor.boxes[2].lies["clock"] = lambda _, honest: honest | {"moved_s": -3_600}
    floor.boxes[1].lies.clear()
    code, said = floor.do("arm", "--in", "9m")
    assert code == 0 and "1 h 0 min earlier than the clock of Station 3 said" in said


def test_a_class_of_a_year_ahead_is_told_as_it_comes_home(floor):
    data = classes.timeline()
    start_ms = round((datetime.now() + timedelta(days=365)).timestamp()) * 1000
    box = floor.boxes[0]
    box.files["timelines"][classes.digest_of(data)] = data
    box.files["runs"]["00001.hbj"] = classes.play(data, start_utc_ms=start_ms).journal
    assert "but class 1 is dated" in floor.do("collect")[1]
