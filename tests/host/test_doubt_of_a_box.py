"""One box that missed signals in a rotation: only what it counted is in doubt, and it is said why."""

import json
import struct

import classes
import pytest
from classes import Press

from handbell.cli.main import main
from handbell.compile import build
from handbell.plan.files import parse_plan
from handbell.report import class_report
from handbell.report.page import page
from handbell.store import open_store
from handbell_core import faults
from handbell_core import journal as j

DAY_MS = 86_400_000
PLAN = """\
title = "Three places"
layout = "rotation"
buttons = 2
[[group]]
name = "A"
bibs = [1, 2]
[[group]]
name = "B"
bibs = [3, 4]
[[group]]
name = "C"
bibs = [5, 6]
[[block]]
rounds = 2
[[block.exercise]]
name = "Ring row"
work_s = 30
reps = 10
[[block.exercise]]
name = "Push-up"
work_s = 30
reps = 10
[[block.exercise]]
name = "Squat"
work_s = 30
reps = 10
"""


@pytest.fixture
def store(tmp_path, monkeypatch):
    monkeypatch.setenv("HANDBELL_STORE", str(tmp_path / "store.sqlite"))
    with open_store() as opened:
        yield opened


def put(store, days=(0, 3), noted=3, at=None, missed=2, pieces=PLAN, rep_ms=1_000):
    """Two classes; in the one of day ``noted`` the second box missed signals.

    ``at`` says in which of its windows it told so; without one it did at the end.
    """
    for day in days:
        for made in build(parse_plan(pieces.encode(), "three.toml")).timelines:
            windows = classes.windows_of(made.data)
            presses = []
            for window in windows:
                for slot, bib in enumerate(window.bib[:2]):
                    gap_ms = rep_ms + 170 * bib + 100 * window.round
                    starts = [window.start_ms + gap_ms * (n + 1) for n in range(10)]
                    presses += [Press(ms, slot) for ms in starts if bib and window.tap]
            start_ms = classes.START_UTC_MS + day * DAY_MS
            run = classes.play(made.data, presses, start_ms)
            if day == noted and made.station == 2:
                end_ms = windows[-1].end_ms() + 40_000
                told_ms = end_ms if at is None else windows[at].start_ms + 5_000
                told = struct.pack("<HHi", faults.EDGES_LOST, 0, missed)
                run.records.insert(-1, j.record(j.NOTE, 0, 0, told_ms, told))
            store.put_timeline(made.data)
            store.ingest(run.journal, classes.BOX_IDS[made.station], (start_ms + 3_600_000) * 1000)


def fades(found, name):
    (table,) = [table for table in found.exercises if table.name == name]
    return {row.bib: row.fade_missing for row in table.rows}


def test_what_other_boxes_counted_is_in_no_doubt(store):
    put(store)
    found = class_report(store)
    assert set(fades(found, "Push-up").values()) == {"data in doubt"}
    others = {*fades(found, "Ring row").values(), *fades(found, "Squat").values()}
    assert others <= {"", "no fade"} and "" in others


def test_the_headline_says_in_what_and_what_is_odd_says_why(store):
    put(store)
    found = class_report(store)
    who = "Bib 1, Bib 2, Bib 3 and 3 more"
    assert found.headline[:3] == (
        "Every target was made, leaving out 12 that are in doubt.",
        f"The data of {who} in Push-up is in doubt and ranked nowhere: see below.",
        "Most rest earned, Push-up left out: Bib 1, 1:07 in all.",
    )
    why = f"2 button signals were missed; what it counted of {who} may be short and is in doubt."
    (said,) = [words for words in found.odd if "button signals" in words]
    assert said.endswith(why)
    assert why in page(found).replace("\u00a0", " ")


def test_advice_goes_by_what_each_box_counted(store, capsys):
    put(store)
    assert main(["advise", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)["data"]
    rules = {}
    for one in data["people"]:
        rules.setdefault(one["exercise"], set()).add(one["rule"])
    assert rules["Push-up"] == {"doubtful"}
    assert rules["Ring row"] == rules["Squat"] == {"earned-rest", "steady"}


def test_a_note_tells_of_what_was_before_it(store):
    """Told in the second box's first window: whoever came to it later is in no doubt."""
    put(store, at=0)
    doubt = fades(class_report(store), "Push-up")
    assert list(doubt.values()).count("data in doubt") == 2


def test_where_all_is_in_doubt_the_note_says_why_there_is_no_advice(store):
    text = PLAN
    for name in ("Ring row", "Squat"):
        text = text.replace(f'name = "{name}"', f'name = "{name}"\ntap = "none"')
        text = text.replace('tap = "none"\nwork_s = 30\nreps = 10', 'tap = "none"\nwork_s = 30')
    put(store, pieces=text)
    found = class_report(store)
    assert found.advised.note == (
        "No advice: the data that it would rest on is in doubt: the box of station 2 missed 2 "
        "button signals; its counts may be short."
    )


def test_a_plan_that_stays_as_it_is_says_whose_data_had_no_say(store):
    """Reps come so slowly that nobody is ready for more: whoever is judged is steady."""
    put(store, at=0, rep_ms=1_600)
    doubtful = "Data of Bib 3 and Bib 4 is in doubt and had no say."
    assert class_report(store).advised.note == (
        f"Nothing needs changing: leave the plan as it is. {doubtful}"
    )


def test_where_nobody_was_to_tap_no_second_class_would_help(store):
    put(store, pieces=PLAN.replace("reps = 10", 'tap = "none"'))
    said = "No advice: nothing was counted that it could rest on."
    assert class_report(store).advised.note == said


def test_a_first_class_needs_a_second(store):
    put(store, days=(0,))
    assert class_report(store).advised.note == (
        "No advice yet: it needs two classes in which the same was asked."
    )


def test_in_a_first_class_doubt_of_some_is_not_why_there_is_no_advice_for_all(store):
    put(store, days=(0,), noted=0, at=0)
    assert class_report(store).advised.note == (
        "No advice yet: it needs two classes in which the same was asked. Data of Bib 3 and Bib 4 "
        "is in doubt."
    )


def test_a_changed_plan_with_doubt_of_some_needs_a_second_class_too(store):
    """Nobody was asked the same before; only two of the six are in doubt."""
    put(store, days=(0,))
    put(store, days=(3,), at=0, pieces=PLAN.replace("reps = 10", "reps = 8"))
    said = class_report(store).advised.note
    assert said.startswith("No advice yet: it needs two classes in which the same was asked.")
    assert said.endswith(" Data of Bib 3 and Bib 4 is in doubt.")
