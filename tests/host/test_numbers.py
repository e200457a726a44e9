"""A plan's numbers: what one person does, what is likely to come of it, and what changed."""

import json
import re

import pytest
from hypothesis import HealthCheck, given, settings
from made_plans import EXAMPLES, THREE_AT_TWO, plans, toml

from handbell.base.errors import PlanError
from handbell.cli.main import main
from handbell.coach.library.files import read_entries
from handbell.coach.library.shelf import Library, load_library
from handbell.coach.numbers.against import against
from handbell.coach.numbers.efforts import ways
from handbell.coach.numbers.numbers import UNKNOWN, WAITING, Range, numbers_of
from handbell.coach.numbers.work_rest import compared
from handbell.compile import build
from handbell.plan.files import load_plan, parse_plan

LIBRARY = Library(*read_entries(None))


def built_of(text):
    return build(parse_plan(text.encode()))


def numbers(text):
    return numbers_of(built_of(text), LIBRARY)


def one(text):
    (share,) = numbers(text).shares
    return share


def plan(exercises, head="", block=""):
    tables = "".join(f"[[block.exercise]]\n{e}\n" for e in exercises)
    return f'title = "Made"\n{head}\n[[block]]\n{block}\n{tables}'


def test_the_three_blocks():
    found = numbers_of(build(load_plan(EXAMPLES["three-block"])), LIBRARY)
    (share,) = found.shares
    assert (share.work_ms, share.rest_ms) == (810_000, 120_000)
    assert share.work_by_pattern_ms == {
        "cardio": 270_000,
        "pull": 90_000,
        "push": 180_000,
        "trunk": 270_000,
    }
    assert {p: r for p, r in found.rest_by_pattern_ms.items() if r.most} == {
        "trunk": Range(120_000, 120_000)
    }
    assert share.asked_reps == 6 * 3 * 10
    # Nine windows in a row make a bout, a break of a minute follows.
    assert [(b.work_ms, b.rest_ms) for b in found.bouts] == [(270_000, 60_000)]


@given(plans())
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
def test_sums_agree_with_the_timetable(made):
    try:
        built = built_of(toml(made))
    except PlanError:
        return
    found = numbers_of(built, LIBRARY)
    people = [group.name for group in built.plan.groups] or [b.label for b in built.timelines]
    assert sorted(name for share in found.shares for name in share.who) == sorted(people)
    for share in found.shares:
        assert share.work_ms + share.rest_ms == built.totals.total_ms
        assert share.work_ms == sum(share.work_by_pattern_ms.values()) == built.totals.work_ms
        assert share.floor_ms <= share.work_ms
        assert share.high_impact_ms + share.low_impact_ms <= share.work_ms
        assert share.kcal_per_kg.least <= share.kcal_per_kg.most
        assert sum(e.work_ms for e in share.exercises) == share.work_ms
    rest_ms = {share.rest_ms for share in found.shares}
    ranges = found.rest_by_pattern_ms.values()
    assert sum(r.least for r in ranges) <= min(rest_ms)
    assert max(rest_ms) <= sum(r.most for r in ranges)


def test_a_target_is_expected_as_far_as_it_can_be_made():
    entry = LIBRARY.need("Push-up")
    least, most = entry.reps_30s
    share = one(plan([f'name = "Push-up"\nwork_s = 30\nreps = {most}']))
    assert share.exercises[0].likely == Range(least, most)
    assert share.exercises[0].too_many == 0
    share = one(plan([f'name = "Push-up"\nwork_s = 30\nreps = {least - 1}']))
    assert share.exercises[0].likely == Range(least - 1, least - 1)
    assert share.earned_rest_ms.least > 0
    share = one(plan([f'name = "Push-up"\nwork_s = 30\nreps = {most + 1}']))
    assert share.exercises[0].too_many == most + 1
    assert share.earned_rest_ms == Range(0, 0)


def test_an_open_window_stretches_with_its_length():
    least, most = LIBRARY.need("Burpee").reps_30s
    share = one(plan(['name = "burpees"\nwork_s = [30, 60]\ngoal = [5, 9]']))
    (expected,) = share.exercises
    assert expected.likely == Range(3 * least, 3 * most)
    assert (expected.asked, expected.windows, expected.work_ms) == (14, 2, 90_000)
    assert share.asked_reps == 0  # a goal is no target
    assert share.landings == expected.likely  # burpees land hard


def test_a_rep_may_land_more_than_once():
    """A way of a shuttle run is counted as eight steps; a list's parts too. Common practice."""
    ways = LIBRARY.need("Shuttle run").reps_30s
    share = one(plan(['name = "Shuttle run"\nwork_s = 30\ntap = "none"']))
    assert (share.landings.least, share.landings.most) == (8 * ways[0], 8 * ways[1])
    share = one(plan(['name = "Jumping jack"\nwork_s = 30\nreps = 10\ntap = "finish"']))
    assert share.landings == Range(20, 20)
    parts = '[[block.exercise.part]]\nname = "Shuttle run"\nreps = 4\n'
    share = one(plan([f'name = "Through"\nwork_s = 60\nreps = 1\n{parts}']))
    assert share.landings.most == 32


def test_floor_and_holds():
    share = one(plan(['name = "Plank"\nwork_s = 40\nhold = true', 'name = "Squat"\nwork_s = 20']))
    assert share.floor_ms == 40_000
    assert share.high_impact_ms == 0
    assert [e.likely for e in share.exercises if e.ask == "hold"] == [None]


def test_what_the_library_lacks_is_time_only():
    share = one(plan(['name = "Zugabe"\nwork_s = 60\nreps = 9']))
    assert share.work_by_pattern_ms == {UNKNOWN: 60_000}
    assert share.exercises[0].likely is None
    assert share.asked_reps == 9
    assert (share.landings, share.earned_rest_ms) == (Range(), Range())


def test_waiting_is_rest_and_people_who_do_the_same_are_together():
    built = built_of(THREE_AT_TWO)
    found = numbers_of(built, LIBRARY)
    (share,) = found.shares
    assert share.who == ("A", "B", "C")
    assert share.work_ms == 60_000
    assert share.rest_ms == 3 * 30_000 + 2 * 15_000 - 60_000
    assert WAITING in found.rest_by_pattern_ms  # B begins by waiting
    assert {(b.work_ms, b.rest_ms) for b in found.bouts} == {(30_000, 15_000), (30_000, 60_000)}
    assert [[e.exercise is None for e in efforts] for _, efforts in ways(built)] == [
        [False, False, True],
        [True, False, False],
        [False, True, False],
    ]


def test_circuits_have_numbers_of_their_own():
    text = THREE_AT_TWO.replace(
        "order = [[1, 2, 0], [0, 1, 2], [2, 0, 1]]", "order = [[1], [2], [2]]"
    )
    text = text.replace("bibs = [1]", 'bibs = [1]\ncircuit = "x"')
    text = text.replace("bibs = [2]", 'bibs = [2]\ncircuit = "y"')
    text = text.replace("bibs = [3]", 'bibs = [3]\ncircuit = "y"')
    text = text.replace('name = "Squat"', 'name = "Squat"\ncircuit = "x"')
    text = text.replace('name = "Push-up"', 'name = "Push-up"\ncircuit = "y"')
    text = text.replace("[[block]]", "[[station]]\n[[station]]\ncapacity = 2\n[[block]]")
    shares = numbers(text).shares
    assert [share.who for share in shares] == [("A",), ("B", "C")]
    assert [list(share.work_by_pattern_ms) for share in shares] == [["squat"], ["push"]]


def test_a_gate_ends_a_bout_whose_rest_nobody_knows():
    text = plan(['name = "Squat"\nwork_s = 30'], block="rounds = 2\nrest_s = 10")
    again = '[[block]]\ngate = true\n[[block.exercise]]\nname = "Squat"\nwork_s = 30\n'
    assert [(b.work_ms, b.rest_ms) for b in numbers(text + again).bouts] == [(30_000, 10_000)]


@pytest.mark.parametrize(
    ("work_s", "rest_s", "verdict"),
    [
        (10, 119, "less"),
        (10, 120, "as"),
        (10, 200, "as"),
        (10, 201, "more"),
        (12, 60, "none"),
        (30, 89, "less"),
        (30, 90, "as"),
        (180, 540, "as"),
        (180.1, 180.1, "as"),
        (180.1, 180, "less"),
        (45, 45, "none"),
        (4, 90, "none"),
    ],
)
def test_the_table_is_read_to_its_edges(work_s, rest_s, verdict):
    assert compared(round(work_s * 1000), round(rest_s * 1000)).verdict == verdict


def test_against_last_week():
    last = built_of(plan(['name = "Squat"\nwork_s = 30\nreps = 10', 'name = "Row"\nwork_s = 30']))
    now = built_of(plan(['name = "Squat"\nwork_s = 40\nreps = 12', 'name = "Dip"\nwork_s = 30']))
    found = against(now, numbers_of(now, LIBRARY), last, numbers_of(last, LIBRARY))
    by_name = {m.what: m for m in found.measures}
    assert by_name["work"].last == Range(60_000, 60_000)
    assert by_name["work"].now == Range(70_000, 70_000)
    assert by_name["reps of targets"].now == Range(12, 12)
    assert by_name["work: pull"].now == Range(0, 0)
    assert by_name["work: push"].last == Range(0, 0)
    assert by_name["energy"].estimate and not by_name["density"].estimate
    assert (found.new, found.gone) == (("Dip",), ("Row",))
    assert found.changed == (
        "Squat: 30 s in 1 window, 10 reps in all, now 40 s in 1 window, 12 reps in all",
    )
    same = against(now, numbers_of(now, LIBRARY), now, numbers_of(now, LIBRARY))
    assert not (same.new or same.gone or same.changed)
    assert all(m.last == m.now for m in same.measures)


def run(capsys, *words):
    code = main([str(word) for word in words])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return code, said.out, said.err


def test_estimates_say_that_they_are(capsys):
    assert "Likely reps" not in run(capsys, "check", EXAMPLES["three-block"])[1]
    out = run(capsys, "check", EXAMPLES["three-block"], "--numbers")[1]
    assert "Compendium" not in out and "--sources says from what" in out
    out = run(capsys, "check", EXAMPLES["three-block"], "--sources")[1]
    for line in out.splitlines():
        if any(word in line for word in ("Likely reps", "Earned rest", "Energy  ", "hard landing")):
            assert "*" in line, line
    words = " ".join(out.split())
    for needed in (
        "estimated for a group of adults, never measured",
        "Compendium",
        "(rule of thumb)",
        "kcal per kg",
        "information, no rule",
        "screening questionnaire",
        "Density 87 %",
        "1 : 0.22",
    ):
        assert needed in words


def test_no_rest_at_all_is_said_in_words(capsys, tmp_path):
    plan = tmp_path / "x.toml"
    piece = '[[block.exercise]]\nname = "Squat"\nwork_s = 60\n'
    plan.write_text(f'title = "x"\n[[block]]\nrounds = 2\n{piece}', encoding="utf-8")
    out = " ".join(run(capsys, "check", plan, "--numbers")[1].split())
    assert "Density 100 %, no rest" in out and "1 : 0.00" not in out


def test_what_is_left_of_a_minute_is_rest(capsys, tmp_path):
    """Every minute 15 squats: at 12 to 20 in 30 s they take 22.5 to 37.5 s, the rest is rest."""
    own = tmp_path / "mine.toml"
    own.write_text('[[exercise]]\nid = "squat"\nreps_30s = [12, 20]\n', encoding="utf-8")
    plan = tmp_path / "x.toml"
    plan.write_text(
        'title = "x"\n[[block]]\nformat = "every-minute"\nminutes = 5\n[[block.exercise]]\n'
        'name = "Squat"\nreps = 15\n',
        encoding="utf-8",
    )
    words = ("check", plan, "--library", own, "--numbers")
    facts = json.loads(run(capsys, *words, "--json")[1])["data"]["numbers"]
    (bout,) = facts["bouts"]
    assert (bout["work_ms"], bout["rest_ms"], bout["estimated"]) == (30_000, 30_000, True)
    assert (bout["verdict"], bout["row"]["least"]) == ("less", 3)
    assert re.search(
        r"Work to rest \* +0:30 then 0:30 \(1 : 1\), less rest", run(capsys, *words)[1]
    )
    plain = plan.read_text(encoding="utf-8").replace(
        'format = "every-minute"\nminutes = 5\n', "rounds = 5\n"
    )
    plan.write_text(plain.replace("reps = 15", "work_s = 60\nreps = 15"), encoding="utf-8")
    assert json.loads(run(capsys, *words, "--json")[1])["data"]["numbers"]["bouts"] == []


def test_check_against_another_plan(capsys, tmp_path):
    code, out, _ = run(capsys, "check", EXAMPLES["three-block"], "--against", EXAMPLES["harbour"])
    words = " ".join(out.split())
    assert code == 0
    assert "work 9:50 13:30 +3:40" in words
    assert "density 75.6 % 87.1 % +11.5 points" in words
    assert "Gone: Bent-over row" in words
    said = run(capsys, "check", EXAMPLES["harbour"], "--against", EXAMPLES["harbour"], "--json")
    facts = json.loads(said[1])["data"]
    assert facts["against"]["title"] == "Harbour loop"
    assert facts["against"]["changed"] == []
    code, _, err = run(capsys, "check", EXAMPLES["harbour"], "--against", tmp_path / "none.toml")
    assert code == 1 and "none.toml" in err


def test_json_has_the_numbers_and_names_what_is_estimated(capsys):
    facts = json.loads(run(capsys, "check", EXAMPLES["three-block"], "--numbers", "--json")[1])[
        "data"
    ]
    share = facts["numbers"]["shares"][0]
    assert facts["numbers"]["density_percent"] == [87.097]
    assert set(facts["numbers"]["estimated"]) < set(share) | {"likely"}
    assert facts["numbers"]["bouts"][0]["row"]["system"] == "oxidative"
    assert facts["numbers"]["sources"] == []
    said = run(capsys, "check", EXAMPLES["three-block"], "--sources", "--json")[1]
    assert len(json.loads(said)["data"]["numbers"]["sources"]) == 3


def test_the_coachs_own_library_counts(capsys, tmp_path):
    own = tmp_path / "mine.toml"
    own.write_text('[[exercise]]\nid = "burpee"\nreps_30s = [1, 2]\n', encoding="utf-8")
    facts = json.loads(
        run(capsys, "check", EXAMPLES["three-block"], "--library", own, "--numbers", "--json")[1]
    )["data"]
    burpee = next(e for e in facts["numbers"]["shares"][0]["exercises"] if e["name"] == "Burpee")
    assert burpee["likely"] == {"least": 3, "most": 6}
    assert load_library(own).need("Burpee").reps_30s == (1, 2)


def test_earned_rest_is_not_called_none(capsys, tmp_path):
    path = tmp_path / "minutes.toml"
    form = 'title = "E"\n[[block]]\nformat = "every-minute"\nminutes = 6\n[[block.exercise]]\n'
    path.write_text(f'{form}name = "Squat"\nreps = 10\n', encoding="utf-8")
    words = " ".join(run(capsys, "check", path, "--numbers")[1].split())
    assert "Density 100 %, no rest but what is earned" in words
    assert "Pauses after it none but what is earned" in words and "Earned rest *" in words


EVERY_MINUTE = """title = "E"
{head}[[block]]
format = "every-minute"
minutes = 4
[[block.exercise]]
name = "Squat"
work_s = 60
{own}[[block.exercise]]
name = "Plank"
work_s = 60
hold = true
"""
TWO_LANES = """[[group]]
name = "Pier"
bibs = [1, 2]
[[group]]
name = "Mast"
bibs = [3]
"""
OWN_TARGET = "[[block.exercise.scaled]]\nbibs = [2]\nreps = 10\n"


def rest_told(capsys, path):
    """What check and show say of rest, show also of the box of either lane."""
    checked = run(capsys, "check", path)[1].splitlines()
    (rest,) = [line.split("  ")[-1].strip() for line in checked if "Rest and changes" in line]
    shown = [run(capsys, "show", path, *more)[1] for more in ([], ["--box", 1], ["--box", 2])]
    return rest, ["Rest is also" in out and out.split("Rest is also ")[1] for out in shown]


def test_rest_that_only_one_bib_of_a_box_earns_is_told(capsys, tmp_path):
    """The whole block counted as work, and check said 0:00 of rest without a word."""
    path = tmp_path / "minutes.toml"
    path.write_text(EVERY_MINUTE.format(head=TWO_LANES, own=OWN_TARGET), encoding="utf-8")
    rest, (whole, pier, mast) = rest_told(capsys, path)
    assert rest == "0:00, and what targets leave of their windows, for Pier (bib 2)"
    assert whole.startswith("what targets leave of their windows, for Pier (bib 2).\n")
    assert pier.startswith("what targets leave of their windows, for Pier (bib 2).\n")
    assert not mast, "nobody there has a target"
    numbers = " ".join(run(capsys, "check", path, "--numbers")[1].split())
    assert "Pauses after each none but what some earn" in numbers


@pytest.mark.parametrize(
    ("head", "asked", "words"),
    [
        ("boxes = 2\n", "reps = 10\n", "0:00, and what targets leave of their windows"),
        (TWO_LANES, "reps = 10\n", "0:00, and what targets leave of their windows"),
        (
            TWO_LANES,
            f"reps = 9\n{OWN_TARGET}".replace("reps = 10", "out = true"),
            "0:00, and what targets leave of their windows, for Pier (bib 1), Mast",
        ),
        ("boxes = 2\n", "goal = 10\n", "0:00"),
    ],
)
def test_rest_that_is_earned_is_told_of_whoever_has_a_target(capsys, tmp_path, head, asked, words):
    path = tmp_path / "minutes.toml"
    path.write_text(EVERY_MINUTE.format(head=head, own=asked), encoding="utf-8")
    rest, (whole, *_) = rest_told(capsys, path)
    assert rest == words
    assert bool(whole) == (words != "0:00")
