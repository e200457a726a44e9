"""What a report says of how far apart the boxes rang, from classes whose clocks are known."""

import json

import classes
import pytest
from test_clock_store import AHEAD_US, MINUTE_US, MODEL_US, START_US, contact, found_end, take_in

from handbell.boxes.clocks.skew import HEARD_US
from handbell.cli.main import main
from handbell.report import class_report
from handbell.report.one_class.skew import early_words, skew_report
from handbell.report.one_class.steps import StepReport
from handbell.report.page import page
from handbell.store import open_store
from handbell.store.results.skews import ClassSkew, RunSkew, skew_of_class

LABELS = {1: "Mat", 2: "Rope"}
IN_STEP = StepReport(0, (), (), {}, {})
GONE_US = 40 * MINUTE_US


@pytest.fixture
def store():
    with open_store() as opened:
        yield opened


def measured(store, off_us, **fields) -> int:
    """A class whose boxes were so far ahead when they were measured again."""
    class_id, ids = take_in(store, boxes=len(off_us))
    for box_id, off in zip(ids, off_us, strict=True):
        store.add_contact(contact(box_id, 0))
        if off is not None:
            store.add_contact(contact(box_id, GONE_US, off, what="collect")._replace(**fields))
    return class_id


def test_all_is_well_in_one_short_line(store):
    measured(store, (3_000, 0, -2_000))
    said = class_report(store).skew
    assert len(said.sentences) == 1 and not said.heard
    worst_ms = (said.end_us + said.end_bound_us) / 1000
    assert said.sentences[0] == f"The boxes rang within {worst_ms:.1f} ms of each other."


def test_one_box_alone_has_nothing_to_be_apart_from(store):
    measured(store, (3_000,))
    assert class_report(store).skew.sentences == ()


def test_what_people_heard_is_said_in_ms_and_metres_with_who_was_first(store):
    class_id = measured(store, (150_000, 0, -30_000))
    said = class_report(store).skew
    end_us = 180_000 * (found_end(store, class_id) - MODEL_US) / GONE_US
    assert said.heard and said.end_us == pytest.approx(end_us, abs=5)
    first, *rest = said.sentences
    # 1 m of floor is 2.9 ms: 343.2 m/s at 20 degrees (computed)
    assert f"{end_us / 1000:.0f} ms apart" in first
    assert f"{end_us / 1e6 * 343.2:.1f} m of floor) at the end" in first
    assert "at the start" in first and "give or take" in first
    assert "At the end Station 1 rang first and Station 3 last." in rest
    assert "handbell boxes --calibrate 30" in said.sentences[-1]
    lines = {line.station: line for line in said.lines}
    assert early_words(lines[1].end_us, lines[1].end_bound_us)[0].endswith("early")
    assert early_words(lines[2].end_us, lines[2].end_bound_us)[0] == "on time"
    assert early_words(lines[3].end_us, lines[3].end_bound_us)[0].endswith("late")
    worst = f"{end_us / 1000:.0f} ms"
    assert class_report(store).headline[-1] == (
        f"Boxes rang up to {worst} apart: people heard which was first."
    )


def test_a_box_without_an_error_says_why_and_how_to_know_next_time(store):
    measured(store, (1_000, 0, None))
    said = class_report(store).skew
    assert said.sentences[1] == "Station 3: its clock was not measured after the class."
    assert said.sentences[2].startswith("To know it next time, run handbell collect before")
    assert said.lines[2].end_us is None and said.lines[2].why


def test_when_nothing_is_known_it_is_said_once_for_all(store):
    take_in(store)
    said = class_report(store).skew
    assert said.sentences[:2] == (
        "How far apart the boxes rang is not known.",
        "Every box: its clock was not measured after the class.",
    )


def test_lost_clocks_have_no_error(store):
    for box, data, _ in classes.make_class(boxes=2):
        store.put_timeline(data)
        store.ingest(classes.play(data, start_utc_ms=None).journal, box, START_US)
    said = class_report(store).skew
    assert said.sentences[1] == "Every box: it had lost its clock."


def test_a_computer_whose_clock_was_moved_is_said_where_it_matters(store):
    class_id, ids = take_in(store)
    for box_id, off in zip(ids, (150_000, 0, -30_000), strict=True):
        store.add_contact(contact(box_id, 0))
        late = contact(box_id, GONE_US, off)
        moved = {"utc_us": late.utc_us + 3_600_000_000, "ahead_us": AHEAD_US + 3_600_000_000}
        store.add_contact(late._replace(**moved))
    assert skew_of_class(store, class_id).relative
    assert any("against the middle one" in s for s in class_report(store).skew.sentences)


def test_a_box_that_went_on_by_its_clock_part_is_named():
    runs = [
        RunSkew(1, "a", 1, "", 0, 900, 100, 200),
        RunSkew(2, "b", 2, "", None, -700, 0, 600),
    ]
    said = skew_report(ClassSkew(runs, None, 1_600, 0, 800, False), LABELS, IN_STEP)
    assert said.sentences == (
        "The boxes rang within 2.4 ms of each other.",
        "Rope: it lost power in class and went on by its clock part.",
    )
    assert [line.by_clock_part for line in said.lines] == [False, True]


def test_a_small_skew_with_a_large_doubt_is_not_called_fine():
    runs = [
        RunSkew(1, "a", 1, "", 0, 0, 9_000, 9_000),
        RunSkew(2, "b", 2, "", 0, 5_000, 9_000, 9_000),
    ]
    said = skew_report(ClassSkew(runs, 0, 5_000, 18_000, 18_000, False), LABELS, IN_STEP)
    assert HEARD_US < 5_000 + 18_000 and not said.heard
    assert said.sentences[-1] == "With that doubt they may have been heard apart."


def test_page_terminal_and_json_say_the_same(store, capsys):
    measured(store, (150_000, 0, None))
    found = class_report(store)
    text = page(found)
    assert "Rang at the start" in text and "not known" in text
    assert main(["report"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert main(["report", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)["data"]["report"]["skew"]
    assert data["heard"] is True and data["lines"][2]["end_us"] is None
    for sentence in data["sentences"]:
        assert sentence in out
        assert sentence.replace("'", "&#39;")[:20] in text.replace("\u00a0", " ")
    assert "How far apart the boxes rang" in out and "early ±" in out


def test_the_page_has_no_skew_columns_where_nothing_is_known(store):
    take_in(store)
    assert "Rang at the start" not in page(class_report(store))
