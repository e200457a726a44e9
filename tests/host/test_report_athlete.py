"""One athlete's report: what was planted is found, thin data has no trend, nobody else is in it."""

import json
import math
import re
from dataclasses import replace

import classes
import pytest
import report_months as months
from classes import Piece
from scipy import stats
from sqlalchemy import update
from worn import wear

from handbell.base.errors import UsageError
from handbell.base.times import day_of
from handbell.cli.main import main
from handbell.cli.output import plain
from handbell.report.over_time.athlete import athlete_report
from handbell.report.over_time.group import group_report
from handbell.report.over_time.months import HELD, few, signed, trend_words
from handbell.report.page import page
from handbell.store import open_store
from handbell.store.database import tables
from handbell.store.results.effort import Effort, Outcome
from handbell_core import timeline as t


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    where = str(tmp_path_factory.mktemp("months") / "store.sqlite")
    with open_store(where) as store:
        months.fill(store)
    return where


def report(path, who, **how):
    with open_store(path) as store:
        return athlete_report(store, who, **how)


def exercise(found, name):
    return next(e for e in found.exercises if e.name == name)


def test_a_planted_improver_and_a_planted_fader_are_found(path):
    ada, bo = report(path, "Ada"), report(path, "Bo")
    assert [e.direction for e in ada.exercises] == [1, 1, 1]
    assert [e.direction for e in bo.exercises] == [-1, -1, -1]
    assert any(s.startswith("Going up: ") for s in ada.headline)
    down = next(s for s in bo.headline if s.startswith("Going down: "))
    assert down.endswith("Talk it over with your coach.")
    said = r"{} \d+ % over 24 classes, {} [\d.]+ to [\d.]+ reps a minute each week\."
    assert re.fullmatch(said.format("Up", "gaining"), trend_words(ada.exercises[0]))
    assert re.fullmatch(said.format("Down", "losing"), trend_words(bo.exercises[0]))


def test_somebody_who_stays_the_same_has_no_clear_change(path):
    cleo = report(path, "Cleo")
    assert exercise(cleo, "Push-up").direction == 0
    assert trend_words(exercise(cleo, "Push-up")).startswith("No clear change over 24 classes: ")
    assert not any("Going" in s for s in cleo.headline)


def test_the_trend_is_scipys(path):
    """Theil-Sen and its interval against scipy.stats.theilslopes."""
    found = exercise(report(path, "Ada"), "Push-up")
    days = [m.day.toordinal() for m in found.alike]
    slope, _, low, high = stats.theilslopes([m.score for m in found.alike], days, 0.95)
    weekly = found.trend.weekly
    assert weekly.slope == pytest.approx(7 * slope)
    assert (weekly.low, weekly.high) == pytest.approx((7 * low, 7 * high), rel=0.03)


def test_three_classes_have_no_trend_and_say_so(path):
    dario = report(path, "Dario")
    assert dario.attendance.came == 3 and dario.attendance.planned == 24
    assert dario.headline[0].startswith("You came to 3 of 24 classes, ")
    assert all(e.direction is None for e in dario.exercises)
    assert trend_words(dario.exercises[0]) == "No trend yet: 3 classes, a trend needs 5."
    assert "There is no trend yet" in " ".join(dario.headline)
    assert 'class="band"' not in page(dario) and 'class="band"' in page(report(path, "Ada"))
    assert [c.came for c in dario.planned] == [True] * 3 + [False] * 21


def test_a_column_of_nothing_but_dashes_is_left_out(tmp_path):
    """Nobody can make or keep what has neither target, goal nor hold."""
    heads = {}
    for n, piece in enumerate((Piece("Burpee", 30), Piece("Plank", 30, t.ASK_HOLD, t.TAP_DROP))):
        with open_store(str(tmp_path / f"{n}.sqlite")) as store:
            months.fill(store, weeks=2, a_week=2, boxes=1, pieces=((piece,),))
            text = page(athlete_report(store, "Ada"))
        heads[piece.name] = re.findall(r"<th scope=.col[^>]*>(.*?)</th>", text)
    rest = ["Day", "Class", "How hard, 0–10", "Load"]
    assert heads["Burpee"] == ["Day", "Middle", *rest]
    assert heads["Plank"] == ["Day", "Made", "Middle", *rest[:2], "Holds kept", *rest[2:]]


def test_a_changed_plan_is_not_taken_for_a_changed_person(tmp_path):
    """Ten weeks of a target of 10, then two of 6: only alike classes make a trend."""
    pieces = [((Piece("Push-up", 30, t.ASK_TARGET, goal=goal),),) for goal in (10, 6)]
    with open_store(str(tmp_path / "s.sqlite")) as store:
        months.fill(store, weeks=10, a_week=1, boxes=1, pieces=pieces[0])
        later_ms = months.FIRST_MS + 10 * 7 * months.DAY_MS
        months.fill(store, 2, a_week=1, boxes=1, pieces=pieces[1], first_ms=later_ms)
        found = exercise(athlete_report(store, "Ada"), "Push-up")
    assert len(found.marks) == 12 and len(found.alike) == 2 and found.direction is None
    assert trend_words(found) == "No trend yet: 2 classes, a trend needs 5."


def test_a_position_kept_to_the_end_has_no_trend(tmp_path):
    pieces = ((Piece("Front plank", 10, t.ASK_HOLD, t.TAP_DROP), Piece("Squat", 20)),)
    with open_store(str(tmp_path / "s.sqlite")) as store:
        months.fill(store, weeks=6, a_week=1, boxes=1, pieces=pieces)
        found = exercise(athlete_report(store, "Ada"), "Front plank")
    assert found.unit == HELD and all(m.bound == "at least" for m in found.marks)
    assert found.direction is None and "kept to the end" in trend_words(found)


def effort(**fields) -> Effort:
    usual = {"bib": 1, "who": "", "station": 1, "block": 1, "item": 1, "round": 1, "name": "A",
             "ask": t.ASK_OPEN, "tap": t.TAP_EACH, "goal": 0, "start_ms": 10_000,
             "end_ms": 40_000, "outcome": Outcome.DONE, "reps": 12}  # fmt: skip
    return Effort(**{**usual, **fields})


@pytest.mark.parametrize(
    ("fields", "rate"),
    [
        ({}, 24.0),  # 12 reps in 30 s
        ({"ask": t.ASK_TARGET, "goal": 10, "reps": 10, "made_ms": 30_000}, 30.0),  # 10 in 20 s
        ({"ask": t.ASK_TARGET, "goal": 10, "reps": 5}, 10.0),
        ({"ask": t.ASK_TARGET, "tap": t.TAP_FINISH, "goal": 10, "reps": 0}, None),
        ({"ask": t.ASK_TARGET, "tap": t.TAP_FINISH, "goal": 9, "reps": 9, "made_ms": 28_000}, 30.0),
        ({"ask": t.ASK_HOLD, "drop_ms": 28_500}, 18.5),
        ({"ask": t.ASK_HOLD}, 30.0),
        ({"outcome": Outcome.CUT}, None),
        ({"outcome": Outcome.STOPPED}, None),
        ({"tap": t.TAP_TALLY, "confirmed": False}, None),
        ({"reps": None}, None),
    ],
)  # fmt: skip
def test_what_counts_as_a_rate(fields, rate):
    found = effort(**fields).rate
    assert found == rate if rate is None else math.isclose(found, rate)


def test_numbers_are_as_long_as_they_are_sure():
    assert [few(v) for v in (0.123, 4.56, 23.4)] == ["0.12", "4.6", "23"]
    assert signed(-0.5) == "−0.50" and signed(0.5) == "+0.50"


def test_load_is_rating_times_minutes(path):
    """Foster et al. 2001: rating x session minutes."""
    ada = report(path, "Ada")
    for line in ada.classes:
        assert line.load == line.rating * line.minutes
    by_week = {w.first: w.total for w in ada.weeks}
    assert sum(by_week.values()) == pytest.approx(sum(c.load for c in ada.classes))


def test_nobody_else_is_on_the_page_nor_what_a_coach_should_ask_first(path):
    for who in ("Ada", "Bo", "Dario"):
        found = report(path, who)
        text = page(found) + json.dumps(plain(found))
        for other in set(months.NAMES.values()) - {who}:
            assert not re.search(rf"\b{other}\b", text)
        assert not re.search(r"[Bb]ib \d|Lane [A-Z]", text)
        assert "Ask " not in text


def test_next_steps_are_those_of_their_last_class(path):
    ada, dario = report(path, "Ada"), report(path, "Dario")
    push = next(s for s in ada.next if s.exercise == "Push-up")
    assert (push.verdict, push.rule, push.words) == ("harder", "earned-rest", "11 reps, not 10")
    assert "Push-up</b>, harder: 11 reps, not 10" in page(ada)
    assert dario.classes[-1].class_id == 3
    assert all(step.exercise for step in dario.next)


def test_of_several_steps_up_one_is_to_be_chosen(path):
    found = report(path, "Ada")
    (step,) = (one for one in found.next if one.exercise == "Push-up")
    said = "One at a time: choose one with your coach."
    other = replace(step, exercise="Squat")
    assert said not in page(replace(found, next=(step, step)))
    assert said not in page(replace(found, next=(step, replace(other, verdict="easier"))))
    assert said in page(replace(found, next=(step, other)))


def test_months_or_days_make_the_rows(path):
    long, short = page(report(path, "Ada")), page(report(path, "Dario"))
    assert '<th scope="col">Month</th>' in long and '<th scope="row">Jul</th>' in long
    assert '<th scope="col">Month</th>' not in short and '<th scope="row">29 Jun</th>' in short


def test_fewer_weeks_and_an_older_class_can_be_asked_for(path):
    assert len(report(path, "Ada", weeks=3).classes) == 7
    assert report(path, "Ada", until=4).classes[-1].class_id == 4


def test_a_bib_that_nobody_named_is_reported_by_its_number(tmp_path):
    with open_store(str(tmp_path / "s.sqlite")) as store:
        months.fill(store, weeks=2, a_week=1, boxes=1, names={})
        assert athlete_report(store, "2").name == "Bib 2"
        with pytest.raises(UsageError, match="Nobody called"):
            athlete_report(store, "Ada")


def test_a_class_in_which_two_bibs_have_a_name_counts_for_neither_and_is_told(tmp_path):
    """Earlier versions took such names: put in past the check."""
    with open_store(str(tmp_path / "s.sqlite")) as store:
        months.fill(store, weeks=3, a_week=1, names={1: "Anna", 2: "Bo"})
        whole = athlete_report(store, "Anna")
        w = tables.wearers
        with store.engine.begin() as conn:
            wear(conn, 3, 3, "anna")
        found = athlete_report(store, "Anna")
        assert [c.class_id for c in found.classes] == [1, 2]
        assert (found.attendance.came, found.attendance.planned) == (2, 2)
        assert found.exercises[0].marks == whole.exercises[0].marks[:2]
        assert [s for s in found.headline if s.startswith("Left out")] == [
            f"Left out: the class of {day_of(whole.last)}. Two bibs there have your name."
        ]
        people = {p.name: p.attendance.came for p in group_report(store).people}
        assert people == {"Anna": 2, "Bo": 3, "Bib 3": 2, "Bib 4": 3}
        with store.engine.begin() as conn:  # who was not there is not taken for who was
            conn.execute(update(w).where(w.c.bib == 3).values(absent=True))
        found = athlete_report(store, "Anna")
        assert found.classes == whole.classes
        assert found.attendance == whole.attendance


def test_a_class_that_did_not_ask_how_hard_it_was_has_no_answer_missing(tmp_path):
    def line_of(store, n, rate):
        data = classes.timeline(months.PIECES, (1, 2), rate=rate, plan=b"%d" % rate)
        store.put_timeline(data)
        run = classes.play(data, [classes.Press(11_000)], classes.START_UTC_MS + n * months.DAY_MS)
        store.ingest(run.journal, classes.BOX_IDS[0], run.now_ms + n)

    with open_store(str(tmp_path / "s.sqlite")) as store:
        line_of(store, 0, False)
        assert "How hard, 0–10</th>" not in page(athlete_report(store, "1"))
        line_of(store, 1, True)
        drawn = page(athlete_report(store, "1"))
    assert drawn.count("not asked") == drawn.count("no answer</bdi>") == 1


def test_who_has_no_class_but_such_ones_is_told_what_to_do(tmp_path):
    with open_store(str(tmp_path / "s.sqlite")) as store:
        months.fill(store, weeks=1, a_week=1, names={1: "Anna"})
        with store.engine.begin() as conn:
            wear(conn, 1, 3, "Anna")
        with pytest.raises(UsageError, match=r"is bib 1 and bib 3 of class 1\. Two people"):
            athlete_report(store, "anna")


def test_no_thresholds_no_next_step(path, tmp_path, monkeypatch):
    """A fault in the coach's own file is told to the coach, and not to the athlete."""
    data = tmp_path / "data"
    data.mkdir(exist_ok=True)
    (data / "advice.toml").write_text("[two_for_two]\nclasses = 0\n", encoding="utf-8")
    monkeypatch.setenv("HANDBELL_DATA", str(data))
    assert report(path, "Ada").next == ()


# The command line


def test_the_command_prints_writes_and_refuses(path, tmp_path, capsys):
    out = tmp_path / "ada.html"
    assert main(["report", "--athlete", "ada", "--store", path, "--html", str(out)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Ada, 29 June to 17 September 2026")
    assert "- Push-up: 2 of 2 made, " in said and out.exists()
    assert main(["report", "--athlete", "Ada", "--weeks", "3", "--store", path, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)["data"]["report"]
    assert data["name"] == "Ada" and len(data["classes"]) == 7
    assert main(["report", "--athlete", "Zoe", "--store", path]) == 2
    assert 'Nobody called "Zoe" came to a class' in capsys.readouterr().err
    assert main(["report", "--weeks", "3", "--store", path]) == 2
    assert "Add --athlete NAME or --group" in capsys.readouterr().err
    for words in (["--weeks", "0"], ["--weeks", "x"], ["--list", "--group"]):
        assert main(["report", "--athlete", "Ada", *words]) == 2
        assert "Traceback" not in capsys.readouterr().err


def test_somebody_who_was_never_asked_to_tap_has_a_page(tmp_path):
    with open_store(str(tmp_path / "s.sqlite")) as store:
        pieces = ((Piece("March", 20, tap=t.TAP_NONE),),)
        months.fill(store, weeks=1, a_week=1, boxes=1, pieces=pieces)
        found = athlete_report(store, "Ada")
    assert found.exercises == () and "You rated it 6 of 10." in found.headline[-1]
    assert "Ada" in page(found)
