"""The report as data, in the terminal and from the command line."""

import json
import re

import classes
import pytest
from classes import Piece, Press
from sqlalchemy import update
from worn import wear

from handbell.base.errors import StoreError, UsageError
from handbell.cli.main import main
from handbell.cli.output import plain
from handbell.report import class_report
from handbell.report.advised import Change, Single, change_lines
from handbell.report.one_class.cells import cell_words
from handbell.report.page import page
from handbell.store import open_store
from handbell.store.database import tables
from handbell.store.people.wearers import clean_name, set_wearers
from handbell.store.results.queries import load_class
from handbell_core import faults
from handbell_core import journal as j
from handbell_core import timeline as t

TALLY = Piece("A", 30, t.ASK_TARGET, t.TAP_TALLY, 2, rest_s=10)
AT_US = (classes.START_UTC_MS + 900_000) * 1000


@pytest.fixture
def path(tmp_path, monkeypatch):
    where = tmp_path / "store.sqlite"
    monkeypatch.setenv("HANDBELL_STORE", str(where))
    return where


def fill(made, plan=True):
    with open_store() as store:
        if plan:
            store.put_plan(classes.PLAN_TEXT, "Two blocks")
        for box, data, run in made:
            store.put_timeline(data)
            store.ingest(run if isinstance(run, bytes) else run.journal, box, AT_US)


def report():
    with open_store() as store:
        return class_report(store)


def small(presses, pieces, rounds=1, bibs=(1,), rate=True, **how):
    data = classes.timeline((tuple(pieces),), bibs, rounds=rounds, rate=rate)
    return [(classes.BOX_IDS[0], data, classes.play(data, presses, **how))]


def test_the_numbers_are_those_that_were_pressed(path):
    made = classes.make_class()
    fill(made)
    found = report()
    for box, _, run in made:
        station = classes.BOX_IDS.index(box) + 1
        told = {}
        for record in run.records:
            kind, _, window, _, payload = j.parse_record(record)
            if kind == j.RESULT:
                told[int.from_bytes(payload[:2], "little"), window] = int.from_bytes(
                    payload[2:4], "little"
                )
        for bib in (2 * station - 1, 2 * station):
            person = next(p for p in found.people if p.bib == bib)
            assert person.reps == sum(n for (b, _), n in told.items() if b == bib)
            rows = [row for table in found.exercises for row in table.rows if row.bib == bib]
            cells = sorted(c.reps for row in rows for c in row.cells if c.reps is not None)
            holds = [c for row in rows for c in row.cells if c.held_ms is not None]
            assert len(cells) == 15 and len(holds) == 3
            assert sum(cells) == person.reps
    assert [e.name for e in found.exercises] == [
        "Rope skips",
        "Ring rows",
        "Front plank",
        "Shuttle run",
        "Box steps",
        "Sit-ups",
    ]
    assert found.odd == ()
    json.dumps(plain(found))


def test_a_report_says_who_missed_who_faded_and_how_hard_it_was(path):
    pieces = [Piece("Ring rows", 30, t.ASK_TARGET, goal=2), Piece("Rope skips", 30)]
    one = [11, 12, *range(41, 51), 71, 72, *range(101, 106), 131, 131.4, 131.8]
    two = [11, 12, 41, 42, 71, 101, 102]
    presses = [Press(round(s * 1000)) for s in one] + [Press(round(s * 1000), 1) for s in two]
    fill(small(presses, pieces, 2, (3, 9)))
    with open_store() as store:
        set_wearers(store, 1, {3: "Ada"})
    found = report()
    assert found.headline == (
        "Targets made: 3 of 4. Missed some: Bib 9 (1 of 2).",
        "Most rest earned: Ada, 0:56 in all.",
        "Faded most: Bib 9 in Ring rows, made in 2 s, 1 of 2 (fade 48.3 %); "
        "Ada in Rope skips, 10, 5 reps (fade 25.0 %).",  # Bib 9's 2, 1 skips are no fade
        "How hard it was: 3.0 of 10 on average. No answer from Bib 9.",
    )


def test_an_improvement_is_not_called_a_fade(path, capsys):
    presses = [Press(round(s * 1000)) for s in (11, 12, 41, 42, 43)]
    fill(small(presses, [Piece("Rope skips", 30)], 2))
    found = report()
    assert not any("aded" in words for words in found.headline)
    assert (found.people[0].fade_percent, found.people[0].fade_in) == (None, "")
    assert main(["report"]) == 0
    assert "no fade" in capsys.readouterr().out
    assert "<small>no fade</small>" in page(found)


def test_doubtful_data_is_ranked_nowhere(path):
    """Bib 1's button tells every press twice; it would be first in both rankings."""
    pieces = [Piece("Push-up", 30, t.ASK_TARGET, goal=6), Piece("Sit-up", 30)]
    slow = [s + n for s in (13, 43, 73, 103) for n in (0, 3, 6, 9, 12, 15)][:-3]
    echo = [s + n for s in (13, 13.25, 73, 73.25) for n in (0, 3, 6)]
    echo += [s + n for s in (43, 43.25) for n in (0, 3, 6, 9, 12)] + [103, 103.25, 106, 106.25]
    taps = [Press(round(s * 1000)) for s in echo] + [Press(round(s * 1000), 1) for s in slow]
    fill(small(sorted(taps, key=lambda p: p.at_ms), pieces, 2, (1, 2)))
    found = report()
    assert found.headline[:4] == (
        "Every target was made, leaving out 2 that are in doubt.",
        "The data of Bib 1 is in doubt and ranked nowhere: see below.",
        "Most rest earned: Bib 2, 0:24 in all.",
        "Faded most: Bib 2 in Sit-up, 6, 3 reps (fade 25.0 %).",
    )
    rows = {(e.name, row.bib): row for e in found.exercises for row in e.rows}
    assert rows["Sit-up", 1].fade_missing == "data in doubt"
    assert [p.fade_percent for p in found.people] == [None, 25.0]


def test_everyone_made_everything(path):
    piece = Piece("Ring rows", 30, t.ASK_TARGET, goal=1)
    fill(small([Press(20_000)], [piece]))
    assert report().headline[0] == "Everyone made every target."


def test_who_never_tapped_missed_nothing_and_is_asked_about(path):
    """A hold that nobody ends counts as kept, so whoever is not there keeps none."""
    pieces = [
        Piece("Ring rows", 30, t.ASK_TARGET, goal=2),
        Piece("Plank", 30, t.ASK_HOLD, t.TAP_DROP),
    ]
    presses = [Press(round(s * 1000)) for s in (11, 51)]
    fill(small(presses, pieces, 1, (3, 4, 5), rate=False))
    assert report().headline == (
        "Targets made: 0 of 1. Missed some: Bib 3 (0 of 1).",
        "Holds kept: 0 of 1.",
        "Bib 4 and Bib 5 never pressed: absent? handbell bibs 1 --absent 4 5.",
    )
    with open_store() as store:
        set_wearers(store, 1, {}, [4, 5])
    assert not any("never pressed" in words for words in report().headline)


def test_holds_let_go_and_goals_missed_stand_beside_the_targets(path):
    pieces = [
        Piece("Ring rows", 30, t.ASK_TARGET, goal=1),
        Piece("Squat", 30, goal=2),
        Piece("Plank", 30, t.ASK_HOLD, t.TAP_DROP),
    ]
    presses = [Press(round(s * 1000)) for s in (11, 41, 42, 80, 101, 131)]
    fill(small(presses, pieces, 2, (3,), rate=False))
    assert report().headline[:2] == (
        "Everyone made every target.",
        "Holds kept: 1 of 2. Missed goals: Bib 3 (1 of 2).",
    )


def test_a_change_says_what_it_is_for():
    def single(verdict, words):
        return Single(1, "Ada", "Push-up", verdict, words, "rule", "why", False)

    other = "Chest dip in place of Push-up"
    some = (single("harder", other), single("swap", other), single("same", ""))
    lines = change_lines(Change(1, "Push-up", "easier", "8 reps, not 10", 3, 4, some))
    assert [line.words for line in lines] == [
        "easier: 8 reps, not 10",
        f"harder: {other}",
        f"for a change: {other}",
        "as now",
    ]


@pytest.mark.parametrize("asked", [True, False])
def test_no_answer_stands_only_where_one_was_asked_for(path, capsys, asked):
    fill(small([Press(11_000)], [Piece("Squat", 30)], 1, (1, 2), rate=asked))
    assert main(["report"]) == 0
    told, drawn = capsys.readouterr().out, page(report())
    assert ("no answer" in told) == ("how hard" in told) == asked
    assert ("no answer" in drawn) == ("How hard, 0–10" in drawn) == asked


def test_odd_things_are_each_a_sentence(path):
    made = classes.make_class(boxes=4)
    cut = classes.cut(made[1][2], 400_000)
    late = made[2][2]
    late.records.insert(
        -1, j.record(j.NOTE, 0, 0, 5, faults.EDGES_LOST.to_bytes(2, "little") + b"\0\0\4\0\0\0")
    )
    lost = classes.play(made[3][1], [Press(11_000, 0)], None)
    with open_store() as store:
        store.put_timeline(classes.timeline(bibs=(9,), station=5))
    fill([made[0], (made[1][0], made[1][1], cut), made[2], (made[3][0], made[3][1], lost)])
    with open_store() as store:
        set_wearers(store, 1, {2: "Femi"}, [1])
    said = report().odd
    assert re.fullmatch(
        r"Station 2: the log is cut: it has no end, its last record is torn; "
        r"after 6:3\d of the class nothing is known\.",
        said[2],
    )
    assert "Station 3: 4 button signals were missed." in said
    lost = "Station 4 had lost its clock: whether it was in step with the others can't be told."
    assert lost in said
    assert "Station 5 sent no log of this class." in said
    assert "Bib 1 is marked absent, yet the button was used." in said
    (never,) = (words for words in report().headline if "never pressed" in words)
    assert never.endswith("absent? handbell bibs 1 --absent 8.")
    assert "Bib 7 entered no count for Sit-ups, round 1." in said
    assert all(s.endswith(".") for s in said)


def test_a_late_start_and_a_stop_are_odd(path):
    data = classes.timeline(((Piece("Ring rows", 60),),), (1,), rounds=2)
    other = classes.timeline(((Piece("Ring rows", 60),),), (2,), station=2, rounds=2)
    start = classes.START_UTC_MS + 30_000
    fill(
        [
            (classes.BOX_IDS[0], data, classes.play(data)),
            (classes.BOX_IDS[1], other, classes.play(other, [], start, stop_ms=65_000)),
        ]
    )
    assert report().odd[:2] == (
        "Station 2 started 30 s after Station 1.",
        "Station 2 was stopped at 1:05.",
    )


@pytest.mark.parametrize(
    ("piece", "seconds", "words"),
    [
        (Piece("A", 30), [11, 12], ("2", "")),
        (Piece("A", 30, goal=2), [11, 12], ("2", "goal 2 at 2.0 s")),
        (Piece("A", 30, t.ASK_TARGET, goal=2), [11, 12], ("made 2.0 s", "28.0 s rest")),
        (Piece("A", 30, t.ASK_TARGET, goal=4), [11, 12], ("2 of 4", "not made")),
        (Piece("A", 30, t.ASK_TARGET, t.TAP_FINISH, 9), [], ("not finished", "")),
        (TALLY, [41, 42], ("2", "made, not confirmed")),
        (TALLY, [], ("no count", "")),
        (Piece("A", 30, t.ASK_HOLD, t.TAP_DROP), [22], ("12.0 s", "let go")),
        (Piece("A", 30, t.ASK_HOLD, t.TAP_DROP), [], ("30.0 s", "to the end")),
        (Piece("A", 30, t.ASK_OPEN, t.TAP_NONE), [11], ("–", "")),
    ],
)  # fmt: skip
def test_what_a_cell_says(path, piece, seconds, words):
    there = Piece("B", 30)  # a press in it tells that somebody was there at all
    fill(small([Press(s * 1000) for s in [*seconds, 60]], [piece, there]))
    table = report().exercises[0]
    assert cell_words(table, table.rows[0].cells[0]) == words


def test_what_was_corrected_is_told_beside_what_was_counted(path, capsys):
    fill(small([Press(11_000), Press(12_000)], [Piece("Ring rows", 30)]))
    why = ["--by", "Kim", "--why", "lost count"]
    assert main(["amend", "1", "--bib", "1", "--reps", "7", *why]) == 0
    found = report()
    assert found.corrected == ("Bib 1, Ring rows, round 1: 7 reps, not 2 reps (Kim: lost count).",)
    assert found.people[0].reps == 7
    capsys.readouterr()
    assert main(["report"]) == 0
    said = capsys.readouterr().out
    assert "What you corrected" in said and "7, was 2 reps" in said
    assert main(["report", "--json"]) == 0
    (cell,) = json.loads(capsys.readouterr().out)["data"]["report"]["exercises"][0]["rows"][0][
        "cells"
    ]
    assert (cell["reps"], cell["amended"]) == (7, "was 2 reps")


HOLD = Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP)
MADE = Piece("Ring rows", 30, t.ASK_TARGET, goal=1)


@pytest.mark.parametrize(
    ("piece", "said", "words"),
    [
        (HOLD, ["--held", "24.5"], ("24.5 s", "let go, was held 1.0 s")),
        (HOLD, ["--invalid"], ("set aside", "was held 1.0 s")),
        (Piece("Ring rows"), ["--invalid"], ("set aside", "was 1 rep")),
        (Piece("Ring rows"), ["--to-bib", "9"], ("1", "was bib 1's")),
        (MADE, ["--reps", "33"], ("33", "made, was 1 rep")),
        (MADE, ["--reps", "0"], ("0 of 1", "not made, was 1 rep")),
        (MADE, ["--to-bib", "9"], ("made 1.0 s", "29.0 s rest, was bib 1's")),
    ],
)
def test_a_cell_says_what_stood_there_before(path, piece, said, words):
    fill(small([Press(11_000)], [piece]))
    assert main(["amend", "1", "--bib", "1", *said, "--why", "saw it"]) == 0
    (table,) = report().exercises
    assert cell_words(table, table.rows[0].cells[0]) == words


def test_a_cell_without_a_record_says_that_it_had_none(path):
    data = classes.timeline(((Piece("Ring rows"),),), (1,), rounds=2)
    fill([(classes.BOX_IDS[0], data, classes.cut(classes.play(data, [Press(11_000)]), 30_000))])
    command = ["amend", "1", "--bib", "1", "--round", "2", "--reps", "7", "--why", "saw it"]
    assert main(command) == 0
    (table,) = report().exercises
    assert cell_words(table, table.rows[0].cells[1]) == ("7", "had no record")


# The command line


def test_report_prints_the_newest_class(path, capsys):
    fill(classes.make_class(boxes=2))
    assert main(["report"]) == 0
    out = capsys.readouterr().out
    assert "Two blocks, class 1" in out
    assert re.search(r"Bib 4\s+Lane B", out)
    assert "Block 2: Shuttle run (target 6 reps)" in out
    assert "Nothing: every log is whole" in out


@pytest.mark.parametrize(
    ("source", "called"),
    [
        ('[[block]]\nname = "Ropes & rows"\n[[block]]\nname = ""\n', "Block 1, Ropes & rows"),
        ("[[block]]\n", "Block 1"),
        ("block = 3\n", "Block 1"),
        ("block = [1]\n", "Block 1"),
        ("[[block]\n", "Block 1"),
    ],
)
def test_a_block_is_called_what_the_plan_calls_it(path, capsys, source, called):
    fill(classes.make_class(boxes=2))
    with open_store() as store, store.writing() as conn:
        conn.execute(update(tables.plans).values(source=source))
    assert main(["report"]) == 0
    out = capsys.readouterr().out
    assert f"\n{called}: " in out
    assert "\nBlock 2: " in out
    assert f"<bdi>{called.replace('&', '&amp;')}</bdi></h2>" in page(report())


def test_report_as_json_holds_every_bib(path, capsys):
    fill(classes.make_class(boxes=2))
    assert main(["report", "1", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)["data"]["report"]
    assert data["start_utc_us"] == classes.START_UTC_MS * 1000
    assert [p["bib"] for p in data["people"]] == [1, 2, 3, 4]


def test_classes_are_listed_the_newest_first(path, capsys):
    assert main(["report", "--list"]) == 0
    assert "No class yet" in capsys.readouterr().out
    fill(classes.make_class(boxes=2))
    fill(classes.make_class(boxes=1, start_utc_ms=classes.START_UTC_MS + 86_400_000))
    assert main(["report", "--list", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)["data"]["classes"]
    assert [(c["id"], c["boxes"]) for c in data] == [(2, 1), (1, 2)]
    assert main(["report", "--list"]) == 0
    assert capsys.readouterr().out.splitlines()[1].endswith("Two blocks, 2 boxes")


def test_no_class_and_an_unknown_class_are_sentences(path, capsys):
    assert main(["report"]) == 1
    assert "There is no store" in capsys.readouterr().err
    fill(classes.make_class(boxes=1))
    assert main(["report", "7"]) == 1
    assert "holds no class 7. handbell report --list shows" in capsys.readouterr().err
    assert main(["report", "monday"]) == 2
    assert '"monday" is no class. Give its number' in capsys.readouterr().err


def test_a_name_behind_the_absent_bibs_is_a_name(path, capsys):
    fill(classes.make_class(boxes=2))
    assert main(["bibs", "1", "--absent", "1", "2=Femi", "3"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Class 1: ")
    assert lines[1:] == ["Bib 1: absent", "Bib 2: Femi", "Bib 3: absent"]


def test_who_wore_what_is_said_replaced_and_forgotten(path, capsys):
    fill(classes.make_class(boxes=2))
    assert main(["bibs", "1", "1=Ada", "2=Femi Brindlemoor", "--absent", "4"]) == 0
    assert capsys.readouterr().out.splitlines()[1:] == [
        "Bib 1: Ada",
        "Bib 2: Femi Brindlemoor",
        "Bib 4: absent",
    ]
    assert main(["bibs", "newest", "1=Cleo", "2=", "4=Dario", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["data"]["wearers"] == [
        {"bib": 1, "name": "Cleo", "absent": False},
        {"bib": 4, "name": "Dario", "absent": False},
    ]
    assert main(["bibs", "1", "--absent", "4"]) == 0
    found = report()
    assert [p.name for p in found.people] == ["Cleo", "Bib 2", "Bib 3"]
    assert found.absent == ("Dario",)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["17=Ada"], "Bib 17 was not in class 1. The bibs of that class are 1, 2, 3, 4."),
        (["1=Ada", "--absent", "17"], "Bib 17 was not in class 1"),
        (["Ada"], '"Ada" does not say who wore a bib. Write the bib and the name'),
        (["x=Ada"], '"x=Ada" does not say who wore a bib'),
        (["1=Ada", "1=Bo"], "Two names are said of bib 1"),
        (["--absent", "2", "x"], '"x" does not say who wore a bib'),
        (["1=Ada", "--absent", "1"], "Bib 1 can't be both worn and absent"),
        (["1=" + "a" * 10_000], "The name for bib 1 has 10000 characters, the most is 80"),
    ],
)
def test_what_wear_refuses(path, capsys, words, said):
    fill(classes.make_class(boxes=2))
    assert main(["bibs", "1", *words]) == 2
    assert said in capsys.readouterr().err
    with open_store() as store:
        assert set_wearers(store, 1, {}) == []


TWO_OR_ONE = (
    'Two people? handbell bibs 1 1="Anna B" 3="Anna K". One person who changed bibs? '
    'handbell amend 1 --bib 3 --to-bib 1 --why "changed bibs".'
)


@pytest.mark.parametrize(
    ("before", "words"),
    [
        ([], ["bibs", "1", "1=Anna", "3=Anna"]),
        (["1=Anna"], ["bibs", "1", "3=anna"]),
        (["3=Anna"], ["bibs", "1", "1= Anna", "2=Bo"]),
        (["1=Anna"], ["amend", "1", "--bib", "3", "--name", "ANNA", "--why", "saw it"]),
    ],
)
def test_one_name_for_two_bibs_is_refused_and_nothing_changes(path, capsys, before, words):
    fill(classes.make_class(boxes=2))
    assert main(["bibs", "1", *before]) == 0
    with open_store() as store:
        was = set_wearers(store, 1, {})
    capsys.readouterr()
    assert main(words) == 2
    told = " ".join(capsys.readouterr().err.split())
    assert '"anna" would be bib 1 and bib 3 of class 1. ' in told.replace('"Anna" w', '"anna" w')
    assert TWO_OR_ONE in told.replace('"anna B"', '"Anna B"')
    with open_store() as store:
        assert set_wearers(store, 1, {}) == was


def test_names_may_change_places_and_move_on_in_one_command(path):
    fill(classes.make_class(boxes=2))
    assert main(["bibs", "1", "1=Anna", "2=Bo"]) == 0
    assert main(["bibs", "1", "1=Bo", "2=Anna"]) == 0
    assert main(["bibs", "1", "2=", "4=Anna"]) == 0
    assert main(["bibs", "1", "4=Cy", "3=Anna", "--absent", "1"]) == 0
    with open_store() as store:
        assert {w.bib: w.name for w in set_wearers(store, 1, {})} == {1: "Bo", 3: "Anna", 4: "Cy"}


def test_an_amendment_is_not_undone_into_a_second_bib_of_one_name(path, capsys):
    fill(classes.make_class(boxes=2))
    assert main(["bibs", "1", "1=Anna"]) == 0
    assert main(["amend", "1", "--bib", "1", "--name", "Bo", "--why", "saw it", "--json"]) == 0
    assert main(["bibs", "1", "3=Anna"]) == 0
    with open_store() as store:
        (made,) = load_class(store, 1).amendments
    capsys.readouterr()
    assert main(["amend", "1", "--undo", made.digest[:8]]) == 2
    assert '"Anna" would be bib 1 and bib 3' in capsys.readouterr().err
    with open_store() as store:
        assert load_class(store, 1).wearers[1].name == "Bo"


def test_two_bibs_of_one_name_in_an_old_store_are_told(path):
    fill(classes.make_class(boxes=2))
    twice(1, {1: "Anna", 3: "Anna"})
    (said,) = report().odd
    assert said == (
        '"Anna" is bib 1 and bib 3, so this class counts for neither in months and advice. '
        + TWO_OR_ONE
    )


@pytest.mark.parametrize("words", [["report", "--group"], ["advise"], ["history"]])
def test_the_group_page_advice_and_history_say_who_was_left_out_for_a_name_that_two_have(
    path, capsys, words
):
    fill(classes.make_class(boxes=2))
    twice(1, {1: "Anna", 3: "Anna", 2: "Bo"})
    capsys.readouterr()
    assert main(words) == 0
    assert (
        '"Anna" is more than one bib in class 1, which counts for none of them. '
        "What to do: handbell report 1.\n"
    ) in capsys.readouterr().out


def test_somebodys_history_says_which_classes_do_not_count_for_that_name_alone(path, capsys):
    fill(classes.make_class(boxes=2))
    twice(1, {1: "Anna", 3: "Anna", 2: "Bo", 4: "Bo"})
    fill(classes.make_class(boxes=2, start_utc_ms=classes.START_UTC_MS + 86_400_000))
    with open_store() as store:
        set_wearers(store, 2, {1: "Anna"})
    capsys.readouterr()
    assert main(["history", "anna", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)["data"]
    assert data["left_out"] == [
        '"Anna" is more than one bib in class 1, which counts for none of them. '
        "What to do: handbell report 1"
    ]
    assert (data["until"], data["passed_over"], data["came"]) == (2, [], 1)


def twice(class_id, names):
    """Put names into a store past the check, as earlier versions took them."""
    with open_store() as store, store.engine.begin() as conn:
        for bib, name in names.items():
            wear(conn, class_id, bib, name)


def test_names_lose_what_cannot_be_seen():
    assert clean_name(1, "A\u202ed\u200ba\x07 \n\t B\udc80") == "Ada B"
    assert clean_name(1, "נועה") == "נועה"
    assert clean_name(1, " \u202e ") == ""
    with pytest.raises(UsageError):
        clean_name(1, "x" * 81)


def test_hostile_names_do_no_harm_in_the_terminal(path, capsys):
    fill(classes.make_class(boxes=1))
    assert main(["bibs", "1", "1=[red]Ada[/] \x1b[31m", "2=</td>"]) == 0
    capsys.readouterr()
    assert main(["report"]) == 0
    out = capsys.readouterr().out
    assert "[red]Ada[/]" in out and "\x1b" not in out


def test_a_class_that_is_not_there_cannot_be_worn(path):
    with open_store() as store, pytest.raises(StoreError, match="holds no class 5"):
        set_wearers(store, 5, {1: "Ada"})
