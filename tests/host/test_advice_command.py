"""``advise`` and ``history`` over a store: from journals to next week's plan."""

import json
from dataclasses import replace

import classes
import pytest
from classes import Piece, Press

from handbell.analysis.cases import cases_of
from handbell.analysis.past.history import attendance, past_classes
from handbell.analysis.progress import find_person, progress_of
from handbell.base.errors import UsageError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.people.wearers import set_wearers
from handbell_core import timeline as t

WEEK_MS = 7 * 86_400_000
PIECES = ((Piece("Push-up", 30, t.ASK_TARGET, goal=5), Piece("Sit-up", 30, goal=4)),)
PLAN = b"""\
title = "Two blocks"  # every week

[[block]]
rounds = 2
  [[block.exercise]]
  name = "Push-up"
  work_s = 30
  reps = 5
  [[block.exercise]]
  name = "Sit-up"
  work_s = 30
  goal = 4
"""
RATING_MS = 160_000


def past_classes_of(path):
    with open_store(str(path)) as store:
        return past_classes(store)


def presses(data, slot, gap_ms, rating=6, skip=()):
    """Everybody's taps at one pace, and a rating."""
    found = []
    for window in classes.windows_of(data):
        if window.window in skip:
            continue
        most = window.goal if window.ask == t.ASK_TARGET else 7
        found += [
            Press(window.start_ms + gap_ms * (n + 1), slot)
            for n in range(most)
            if gap_ms * (n + 1) < window.duration_ms - 500
        ]
    return found + [Press(RATING_MS + 400 * n, slot) for n in range(rating)]


def put(path, weeks, gap_ms=3_000, bibs=(1, 2), start_ms=classes.START_UTC_MS, **how):
    """Put one class a week into a store; the second bib is slow."""
    with open_store(str(path)) as store:
        for week in weeks:
            data = classes.timeline(PIECES, bibs, rounds=2)
            taps = presses(data, 0, gap_ms, **how) + presses(data, 1, 8_000, 9)
            run = classes.play(data, taps, start_ms + week * WEEK_MS)
            store.put_timeline(data)
            at_us = (start_ms + week * WEEK_MS + 900_000) * 1000
            store.ingest(run.journal, classes.BOX_IDS[0], at_us)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "store.sqlite"


def run(*words, capsys):
    code = main([*map(str, words), "--json"])
    out = capsys.readouterr().out
    return code, json.loads(out)["data"] if out else None


def test_two_classes_give_advice_with_evidence(path, capsys):
    put(path, range(2))
    code, data = run("advise", "--store", path, capsys=capsys)
    assert code == 0
    said = {(p["bib"], p["exercise"]): p for p in data["people"]}
    assert said[1, "Push-up"]["verdict"] == "harder" and said[1, "Push-up"]["rule"] == "earned-rest"
    assert said[1, "Sit-up"]["rule"] == "two-for-two"
    assert said[2, "Push-up"]["verdict"] == "easier" and said[2, "Push-up"]["rule"] == "missed"
    assert all(p["evidence"] for p in data["people"])
    assert {(d["verdict"], d["judged"]) for d in data["everybody"]} == {("same", 2)}
    assert [d["others"] for d in data["everybody"]] == [[1, 2], [1]]


def doubled(path, weeks, bibs=(1, 2), presses_a_rep=2):
    """Bib 1 does three of five and its button tells every press twice or more; bib 2 is honest."""
    echo = [3_000 * (n + 1) + 240 * k for n in range(3) for k in range(presses_a_rep)]
    with open_store(str(path)) as store:
        for week in weeks:
            data = classes.timeline(PIECES, bibs, rounds=2)
            taps = presses(data, 1, 3_000) + [Press(RATING_MS + 400 * n) for n in range(6)]
            taps += [Press(w.start_ms + ms) for w in classes.windows_of(data) for ms in echo]
            start_ms = classes.START_UTC_MS + week * WEEK_MS
            store.put_timeline(data)
            journal = classes.play(data, taps, start_ms).journal
            store.ingest(journal, classes.BOX_IDS[0], (start_ms + 900_000) * 1000)


@pytest.mark.parametrize("presses_a_rep", [2, 3, 4, 5])
def test_a_struggler_whose_presses_are_all_doubled_is_not_made_to_do_more(
    path, presses_a_rep, capsys
):
    doubled(path, range(2), presses_a_rep=presses_a_rep)
    _, data = run("advise", "--store", path, capsys=capsys)
    said = {(p["bib"], p["exercise"]): (p["verdict"], p["rule"]) for p in data["people"]}
    assert said[1, "Push-up"] == said[1, "Sit-up"] == ("same", "doubtful")
    assert said[2, "Push-up"] == ("harder", "earned-rest")
    findings = {(f["name"], f["bibs"][0]) for f in data["findings"]}
    assert ("double-press", 1) in findings and {bib for _, bib in findings} == {1}


def test_a_doubt_counts_however_many_classes_without_the_exercise_came_since(path, capsys):
    doubled(path, [0])
    other = classes.timeline(((Piece("Row", 30),),), (1, 2))
    with open_store(str(path)) as store:
        store.put_timeline(other)
        for week in (1, 2):
            start_ms = classes.START_UTC_MS + week * WEEK_MS
            journal = classes.play(other, [Press(12_000)], start_ms).journal
            store.ingest(journal, classes.BOX_IDS[0], (start_ms + 900_000) * 1000)
    put(path, [3])
    _, data = run("advise", "--store", path, capsys=capsys)
    rules = {p["exercise"]: p["rule"] for p in data["people"] if p["bib"] == 1}
    assert rules == {"Push-up": "doubtful", "Sit-up": "doubtful"}


def test_one_class_gives_none(path, capsys):
    put(path, [0])
    _, data = run("advise", "--store", path, capsys=capsys)
    assert {p["rule"] for p in data["people"]} == {"one-class"}
    assert {p["verdict"] for p in data["people"]} == {"same"}


def test_next_weeks_plan_is_written_and_written_again(path, tmp_path, capsys):
    put(path, range(2), bibs=(1,))
    last, new = tmp_path / "last.toml", tmp_path / "next.toml"
    last.write_bytes(PLAN)
    words = ("advise", "--store", path, "--plan", last, "--out", new)
    code, data = run(*words, capsys=capsys)
    assert code == 0 and data["written"] == str(new)
    assert new.read_bytes() == PLAN.replace(b"reps = 5", b"reps = 6").replace(
        b"goal = 4", b"goal = 5"
    )
    assert run(*words, capsys=capsys)[0] == 0, "the same again does no harm"
    assert last.read_bytes() == PLAN
    new.write_text("mine", encoding="utf-8")
    assert main([*map(str, words)]) == 1
    assert "is there already" in capsys.readouterr().err
    assert new.read_text(encoding="utf-8") == "mine"


def test_the_text_says_who_what_and_why(path, capsys):
    put(path, range(2))
    with open_store(str(path)) as store:
        for class_id in (1, 2):
            set_wearers(store, class_id, {1: "Mina", 2: "Otto"})
    assert main(["advise", "--store", str(path), "--all"]) == 0
    out = capsys.readouterr().out
    assert "Mina" in out and "left, how hard: " in out and "For everybody" in out
    assert "[" not in out and "rated" not in out and "earned-rest" not in out
    assert "qualified health professional" in out


def test_out_without_a_plan_is_used_wrongly(path, tmp_path, capsys):
    assert main(["advise", "--store", str(path), "--out", str(tmp_path / "x.toml")]) == 2
    assert "--plan" in capsys.readouterr().err


def test_an_empty_store_is_told_in_a_sentence(path, capsys):
    assert main(["advise", "--store", str(path)]) == 1
    assert main(["history", "--store", str(path)]) == 1
    assert "There is no store" in capsys.readouterr().err


def test_absent_people_and_those_who_never_pressed_are_no_misses(path):
    put(path, range(2))
    with open_store(str(path)) as store:
        data = classes.timeline(PIECES, (1, 2), rounds=2)
        start = classes.START_UTC_MS + 2 * WEEK_MS
        store.ingest(
            classes.play(data, presses(data, 0, 3_000), start).journal,
            classes.BOX_IDS[0],
            (start + 900_000) * 1000,
        )
        set_wearers(store, 2, {}, [1])
        found = past_classes(store)
    assert {c.bib for c in cases_of(found)} == {1}
    (push_up, _) = cases_of(found)
    assert [s.class_id for s in push_up.sessions] == [1, 3]
    assert (attendance(found, "bib 1").came, attendance(found, "bib 2").came) == (2, 2)
    assert attendance(found, "bib 2").planned == 3


def test_a_name_follows_its_person_from_bib_to_bib(path):
    put(path, range(2))
    with open_store(str(path)) as store:
        set_wearers(store, 1, {1: "Mina", 2: "Otto"})
        set_wearers(store, 2, {1: "otto", 2: "Mina"})
        cases = cases_of(past_classes(store))
    mina = next(c for c in cases if c.who == "Mina" and c.last.name == "Push-up")
    assert find_person(past_classes_of(path), "2").name == "Mina", "who wore it last"
    assert find_person(past_classes_of(path), "OTTO").key == "name otto"
    assert mina.bib == 2 and len(mina.sessions) == 2
    assert [e.made for e in mina.sessions[0].tries] == [True, True]
    assert [e.made for e in mina.sessions[1].tries] == [False, False]


def test_classes_after_the_one_that_is_asked_about_are_left_out(path, capsys):
    put(path, range(3))
    _, data = run("advise", 1, "--store", path, capsys=capsys)
    assert data["class_id"] == 1
    assert {p["rule"] for p in data["people"]} == {"one-class"}


def test_history_of_everybody_and_of_one(path, capsys):
    put(path, range(6))
    code, data = run("history", "--store", path, capsys=capsys)
    assert code == 0
    assert [(p["name"], p["came"], p["planned"]) for p in data["people"]] == [
        ("Bib 1", 6, 6),
        ("Bib 2", 6, 6),
    ]
    _, one = run("history", 1, "--store", path, capsys=capsys)
    push_up = one["exercises"][0]
    assert push_up["name"] == "Push-up" and push_up["what"] == "reps a minute"
    assert push_up["scores"] == [20.0] * 6  # 5 in 15 s
    assert push_up["trend"]["weekly"]["slope"] == 0
    assert len(one["weeks"]) == 6 and one["weeks"][0]["classes"] == 1
    assert main(["history", "1", "--store", str(path)]) == 0
    assert "may be none" in capsys.readouterr().out


def test_people_stand_in_order_of_their_names_and_bibs_of_their_numbers(path, capsys):
    with open_store(str(path)) as store:
        data = classes.timeline(bibs=(2, 10, 1, 3))
        store.put_timeline(data)
        run_of_it = classes.play(data, [classes.Press(11_000, slot) for slot in range(4)])
        store.ingest(run_of_it.journal, classes.BOX_IDS[0], 10**15)
        set_wearers(store, 1, {1: "Zoë", 3: "Bartholomew"})
    _, data = run("history", "--store", path, capsys=capsys)
    assert [p["name"] for p in data["people"]] == ["Bartholomew", "Zoë", "Bib 2", "Bib 10"]


def test_advice_that_is_the_same_for_many_is_said_once(path, capsys):
    put(path, [0])
    assert main(["advise", "--all", "--store", str(path)]) == 0
    said = capsys.readouterr().out
    assert "stays; nobody has enough data yet" in said
    assert said.count("only one class so far") == 1 and "  Bib 1, Bib 2\n    Push-up" in said


def test_history_of_two_classes_has_no_trend(path, capsys):
    put(path, range(2))
    _, one = run("history", 2, "--store", path, capsys=capsys)
    assert all(e["trend"]["weekly"] is None for e in one["exercises"])
    assert main(["history", "2", "--store", str(path)]) == 0
    assert "2 classes, a trend needs 5" in capsys.readouterr().out


def test_nobody_of_that_name_is_told_who_there_is(path):
    put(path, [0])
    with open_store(str(path)) as store, pytest.raises(UsageError, match="Bib 1, Bib 2"):
        find_person(past_classes(store), "Nobody")


@pytest.mark.parametrize("weeks", ["0", "-3", "521"])
def test_weeks_out_of_range_are_used_wrongly(path, weeks, capsys):
    assert main(["history", "--store", str(path), f"--weeks={weeks}"]) == 2
    assert "1 to 520" in capsys.readouterr().err


def harder(sums):
    """The same done where one rep more was asked for."""
    return sums._replace(asked=tuple(a._replace(goal=a.goal + 1) for a in sums.asked))


def test_scores_of_different_tasks_are_kept_apart(path):
    put(path, range(2))
    with open_store(str(path)) as store:
        found = past_classes(store)
        longer = [
            replace(
                one,
                people=tuple(
                    replace(w, exercises=tuple(harder(e) for e in w.exercises)) for w in one.people
                ),
            )
            for one in found[1:]
        ]
        progress = progress_of([found[0], *longer], find_person(found, "1"))
    assert sorted(len(e.scores) for e in progress.exercises) == [1, 1, 1, 1]
