"""The group's report: planted people are found, and its numbers are worked out again with pandas."""

import json
from datetime import date

import odd_classes
import pandas as pd
import pytest
import report_months as months

from handbell.analysis.past.history import classes_of, everybody, past_classes
from handbell.base.errors import StoreError
from handbell.cli.main import main
from handbell.report.over_time.group import group_report
from handbell.report.over_time.months import HELD, months_of
from handbell.report.page import page
from handbell.report.words import asked_of
from handbell.store import open_store
from handbell.store.results.effort import Outcome
from handbell_core import timeline as t


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    where = str(tmp_path_factory.mktemp("months") / "store.sqlite")
    with open_store(where) as store:
        months.fill(store)
    return where


@pytest.fixture(scope="module")
def report(path):
    with open_store(path) as store:
        return group_report(store)


@pytest.fixture(scope="module")
def frame(path):
    """Every effort of somebody who came, as a table of its own."""
    rows = []
    with open_store(path) as store:
        for past in past_classes(store, weeks=12):
            for who in past.people:
                for e in who.efforts:
                    if who.there:
                        rows.append((past.day, past.row.id, who.person.name, who.rating,
                                     past.slot_ms / 60_000, e.made))  # fmt: skip
    columns = ["day", "class_id", "name", "rating", "minutes", "made"]
    table = pd.DataFrame(rows, columns=columns)
    table["monday"] = [d - pd.Timedelta(days=d.weekday()) for d in table.day]
    return table


def test_those_worth_a_word_are_found_with_the_reason(report):
    bo, dario = report.listed
    assert (bo.name, bo.sort) == ("Bo", "goes down")
    assert bo.why == "in Rope skips, Push-up and Front plank"
    assert bo.also == ("rates classes harder and harder: 5 at first, 9 lately",)
    assert (dario.name, dario.words) == ("Dario", "stays away: not seen since 6 Jul.")


def test_everybody_has_a_line_with_where_they_go(report):
    by_name = {p.name: p for p in report.people}
    assert list(by_name) == ["Ada", "Bo", "Cleo", "Dario"]
    assert len(by_name["Ada"].up) == 3 and not by_name["Ada"].down
    assert len(by_name["Bo"].down) == 3 and by_name["Cleo"].no_change == 3
    assert by_name["Dario"].unclear == 3 and by_name["Dario"].attendance.came == 3
    exercise = {e.name: e for e in report.exercises}["Push-up"]
    assert (exercise.up, exercise.down, exercise.no_change, exercise.unclear) == (1, 1, 1, 1)


def test_completion_and_ratings_are_what_pandas_makes_of_them(report, frame):
    judged = frame[frame.made.notna()]
    made = judged.made.astype(bool)
    for week in report.weeks:
        own = judged.monday == week.first
        assert (week.made, week.judged) == (made[own].sum(), own.sum())
        ratings = frame[frame.monday == week.first].groupby(["class_id", "name"]).rating.first()
        assert week.rating.median == ratings.median() and week.rating.count == len(ratings)
        assert week.came == len(ratings)
    for person in report.people:
        own = judged.name == person.name
        assert (person.made, person.judged) == (made[own].sum(), own.sum())


def test_load_monotony_and_strain_are_what_pandas_makes_of_them(report, frame):
    """Foster 1998: the mean daily load of seven days over its (sample) deviation; load x that."""
    sessions = frame.groupby(["monday", "name", "class_id"]).first()
    sessions["load"] = sessions.rating * sessions.minutes
    for week in report.weeks:
        totals, monotonies, strains = [], [], []
        for _, own in sessions.loc[week.first].groupby("name"):
            daily = (
                own.groupby("day")
                .load.sum()
                .reindex([week.first + pd.Timedelta(days=n) for n in range(7)], fill_value=0.0)
            )
            totals.append(daily.sum())
            if (daily > 0).sum() > 1:  # one day says nothing of monotony
                monotonies.append(daily.mean() / daily.std(ddof=1))
                strains.append(totals[-1] * monotonies[-1])
        assert week.load.median == pytest.approx(pd.Series(totals).median())
        assert week.monotony.median == pytest.approx(pd.Series(monotonies).median())
        assert week.strain.median == pytest.approx(pd.Series(strains).median())
    assert report.deviation == "sample"


def test_a_week_without_a_class_has_no_figures_and_a_sign(tmp_path):
    with open_store(str(tmp_path / "s.sqlite")) as store:
        months.fill(store, weeks=1, boxes=1)
        later_ms = months.FIRST_MS + 14 * months.DAY_MS
        months.fill(store, weeks=1, boxes=1, first_ms=later_ms)
        found = group_report(store)
    assert [w.classes for w in found.weeks] == [2, 0, 2]
    empty = found.weeks[1]
    assert (empty.rating, empty.load, empty.monotony, empty.strain) == (None,) * 4
    assert ">–</text>" in page(found)


def test_fewer_weeks_and_an_older_class_can_be_asked_for(path):
    with open_store(path) as store:
        few = group_report(store, weeks=3)
        assert few.classes == 7 and [p.name for p in few.people] == ["Ada", "Bo", "Cleo"]
        assert group_report(store, until=6).last == date(2026, 7, 16)


@pytest.fixture(scope="module")
def odd_path(tmp_path_factory):
    where = str(tmp_path_factory.mktemp("odd") / "store.sqlite")
    with open_store(where) as store:
        odd_classes.fill(store, count=24)
    return where


def test_sums_give_what_every_effort_gives(odd_path):
    """On classes that were cut, amended, swapped, over-counted: as worked out window by window."""
    with open_store(odd_path) as store:
        history = past_classes(store, weeks=52)
        found = group_report(store, weeks=52)
        for person in everybody(history):
            marks, judged = {}, []
            for past, who in classes_of(history, person.key):
                rounds = {}
                for e in who.efforts:
                    if e.outcome is not Outcome.NOT_ASKED:
                        rounds.setdefault((e.name, e.ask), []).append(e)
                        judged += [] if e.made is None else [e.made]
                for key, some in rounds.items():
                    marks.setdefault(key, []).append((past.row.id, *by_hand(some)))
            told = {}
            for one in months_of(classes_of(history, person.key)):
                ask = (
                    t.ASK_HOLD
                    if one.unit == HELD
                    else next(k[1] for k in marks if k[0] == one.name)
                )
                told[one.name, ask] = [
                    (m.class_id, m.asked, m.judged, m.made, m.score) for m in one.marks
                ]
            assert told == marks
            line = next(p for p in found.people if p.name == person.name)
            assert (line.made, line.judged) == (sum(judged), len(judged))
    assert sum(w.judged for w in found.weeks) == sum(p.judged for p in found.people)


def by_hand(rounds):
    goals, seconds = [e.goal for e in rounds], [(e.end_ms - e.start_ms) // 1000 for e in rounds]
    assert len(set(goals)) == len(set(seconds)) == 1
    made = [e.made for e in rounds if e.made is not None]
    rates = [e.rate for e in rounds if e.rate is not None]
    words = asked_of(rounds[0].ask, rounds[0].tap, goals[:1])
    score = pytest.approx(sum(rates) / len(rates)) if rates else None
    return f"{words} in {seconds[0]} s", len(made), sum(made), score


def test_the_command_prints_and_writes(path, tmp_path, capsys):
    out = tmp_path / "group.html"
    assert main(["report", "--group", "--store", path, "--html", str(out)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("The group, 29 June to 17 September 2026, 24 classes")
    assert "- Dario stays away: not seen since 6 Jul. Ask after them." in said
    assert "- Bo goes down: in Rope skips" in said
    assert "14 Sep" in said and out.exists()
    assert main(["report", "--group", "--weeks", "3", "--store", path, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)["data"]["report"]
    assert data["weeks"][0]["first"] == "2026-08-24" and data["classes"] == 7


def test_an_empty_store_is_a_sentence(tmp_path):
    with open_store(str(tmp_path / "s.sqlite")) as store:
        with pytest.raises(StoreError, match="holds no class yet"):
            group_report(store)
