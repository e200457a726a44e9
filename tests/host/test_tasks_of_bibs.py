"""Own tasks of single bibs wherever a plan is shown: timetable, numbers, remarks, fit."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_own_tasks import CLASS, PUSH_UP, SQUAT, class_of, exercise, rotation
from made_plans import plans, toml

from handbell.base.errors import PlanError
from handbell.cli.main import main
from handbell.coach.fit.fit import Fitted, Misfit, fit
from handbell.coach.library.files import read_entries
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import Library
from handbell.coach.numbers.numbers import Range, numbers_of
from handbell.coach.order.table import visits
from handbell.compile import build
from handbell.compile.timetable import box_rows
from handbell.paper.calendar import calendar
from handbell.paper.sheet import box_sheet, class_sheet
from handbell.plan.files import parse_plan
from handbell.plan.own_tasks import Own, bibs_words, parted, tasks_of
from handbell.plan.texts import drawable

LIBRARY = Library(*read_entries(None))


# Who does what


def test_most_do_what_is_written_as_soon_as_anybody_does():
    assert parted("as", {1: "as", 2: "own", 3: "own"}) == parted(
        "as", {3: "own", 2: "own", 1: "as"}
    )
    assert parted("as", {1: "as", 2: "own", 3: "own"}).own == (Own((2, 3), "own"),)
    nobody = parted("as", {1: "a", 2: "b", 3: "b"})
    assert nobody.most == "b" and nobody.own == (Own((1,), "a"),)
    assert parted("as", {}).most == "as"


def test_tables_that_ask_for_the_same_are_one_and_those_that_change_nothing_are_none():
    own = [{"bibs": [6], "name": "Squat"}, {"bibs": [3], "name": "Squat"}]
    own += [{"bibs": [1], "name": "Lunge"}, {"bibs": [2], "name": "Squat jump"}]
    made = class_of([exercise("Squat jump", own)]).plan.blocks[0].exercises[0]
    tasks = tasks_of(made, range(1, 8))
    assert [(o.bibs, o.what.name) for o in tasks.own] == [((1,), "Lunge"), ((3, 6), "Squat")]
    assert tasks_of(made, [3, 6]).most.name == "Squat" and not tasks_of(made, [3, 6]).own


@pytest.mark.parametrize(
    ("bibs", "words"),
    [
        ([8], "bib 8"),
        ([7, 4], "bibs 4, 7"),
        ([4, 5], "bibs 4, 5"),
        ([9, 1, 2, 3, 11, 12], "bibs 1 to 3, 9, 11, 12"),
    ],
)
def test_bibs_in_words(bibs, words):
    assert bibs_words(bibs) == words


# The timetable


def windows(rows):
    return [row for row in rows if row.kind == "window"]


def test_a_line_of_the_class_says_who_does_something_else_in_that_round():
    first, _, second, _ = windows(class_of().timetable)
    assert first.words == (
        "Push-up, 14 reps, tap finish (bibs 1, 2: Knee push-up, 8 reps, tap finish; "
        "bib 4: Push-up, 20 reps, tap finish; bib 5: Push-up, 14 reps; bib 7: Plank, hold)"
    )
    # In the second round bib 4's target is everybody's.
    assert [o.bibs for o in second.own] == [(1, 2), (5,), (7,)]


def test_a_station_has_its_own_people_on_turn_or_not():
    new, red, blue = windows(class_of().timetable)[0].stations
    assert (new.what, new.own) == ("Knee push-up, 8 reps, tap finish", ())
    assert red.own == (Own((4,), "Push-up, 20 reps, tap finish"),)
    assert blue.bibs == (5, 6) and [o.bibs for o in blue.own] == [(5,), (7,)]


def test_stations_of_a_rotation_say_it_for_whoever_is_there():
    rows = windows(rotation().timetable)
    assert all(row.own == () and row.what == "block 1" for row in rows)
    push_up = [row.stations[0] for row in rows if row.round == 1]
    assert {cell.who: cell.what.split(",")[0] for cell in push_up} == {
        "New": "Knee push-up",
        "Red": "Push-up",
        "Blue": "Push-up",
    }
    assert [o.bibs for cell in push_up for o in cell.own if cell.who == "Blue"] == [(5,), (7,)]


def test_a_box_shows_the_tasks_that_its_timeline_has():
    built = class_of()
    new, red, blue = (windows(box_rows(timeline.data)) for timeline in built.timelines)
    assert new[0].words == "Knee push-up, 8 reps, tap finish"
    assert red[0].own == (Own((4,), "Push-up, 20 reps, tap finish"),)
    assert [o.bibs for o in blue[0].own] == [(5,)]  # bib 7 is not on turn
    assert windows(box_rows(class_of([exercise("Row")]).timelines[0].data))[0].own == ()


def test_a_lane_without_groups_shows_its_one_persons_task():
    built = class_of([PUSH_UP], group=[], boxes=7)
    row = windows(built.timetable)[0]
    assert [cell.what.split(",")[0] for cell in row.stations[:3]] == [
        "Knee push-up",
        "Knee push-up",
        "Push-up",
    ]
    assert not any(cell.own for cell in row.stations)
    assert [o.bibs for o in row.own] == [(1, 2), (4,), (5,), (7,)]


def with_own(draw, made):
    """Give some bibs of a plan's exercises other tasks."""
    bibs = [bib for group in made.get("group", ()) for bib in group["bibs"]]
    bibs = bibs or list(range(1, made.get("boxes", 1) + 1))
    asks = ({"reps": 9}, {"hold": True}, {"goal": 5}, {})
    for block in made["block"]:
        for made_exercise in block["exercise"]:
            mixed = draw(st.permutations(bibs))
            cut = draw(st.integers(0, len(bibs)))
            parts = [part for part in (mixed[: cut // 2], mixed[cut // 2 : cut]) if part]
            own = [
                {"bibs": part, "name": name, **draw(st.sampled_from(asks))}
                for part, name in zip(parts, ("Dip", "Squat"), strict=False)
            ]
            if own:
                made_exercise["scaled"] = own
    return made


def of_bib(told, bib):
    return next((own.what for own in told.own if bib in own.bibs), told.what)


@given(st.data())
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
def test_everybody_is_told_the_same_everywhere(data):
    """By the class's table, and by the timeline of the box that the bib taps on."""
    text = toml(with_own(data.draw, data.draw(plans())))
    try:
        built = build(parse_plan(text.encode()))
    except PlanError:
        return
    rows = {row.window: row for row in windows(built.timetable)}
    for timeline in built.timelines:
        for row in windows(box_rows(timeline.data)):
            of_class = rows[row.window]
            cell = of_class.stations[timeline.station - 1]
            assert row.bibs == cell.bibs
            for bib in row.bibs:
                assert of_bib(row, bib) == drawable(of_bib(cell, bib))
                if not built.plan.is_rotation:
                    assert of_bib(of_class, bib) == of_bib(cell, bib)


def test_sheets_and_the_calendar_say_it():
    built = class_of()
    text = class_sheet(built).decode("utf-8-sig")
    assert "Push-up, 14 reps, tap finish (bib 4: Push-up, 20 reps, tap finish)" in text
    box = box_sheet(box_rows(built.timelines[1].data)).decode("utf-8-sig")
    assert "(bib 4: Push-up, 20 reps, tap finish)" in box
    event = calendar(built, 0, 0, "").decode().replace("\r\n ", "").replace("\\", "")
    assert "Push-up (bibs 1, 2: Knee push-up, 8 reps; bib 4: 20, 12 reps; bib 5: tap each" in event
    assert "Squat jump (bib 6: Squat, goal 15)" in event


def test_who_is_where_says_it(tmp_path, capsys):
    shown = [visit for visit in visits(class_of()) if visit.window == 1]
    assert [visit.what.split(",")[0] for visit in shown] == ["Knee push-up", "Push-up", "Push-up"]
    assert [o.bibs for o in shown[2].own] == [(5,), (7,)]
    assert "(bib 4:" in shown[1].words
    path = tmp_path / "own.toml"
    path.write_text(
        toml({**CLASS, "block": [{"rounds": 2, "exercise": [PUSH_UP, SQUAT]}]}), encoding="utf-8"
    )
    main(["show", str(path), "--json"])
    row = json.loads(capsys.readouterr().out)["data"]["rows"][1]
    assert row["own"][0] == {"bibs": [1, 2], "what": "Knee push-up, 8 reps, tap finish"}
    assert row["stations"][1]["own"][0]["bibs"] == [4]


# Numbers


def test_everybody_with_own_tasks_has_numbers_of_their_own():
    found = numbers_of(class_of(), LIBRARY)
    # Bib 5 taps in another way and does the same.
    who = [", ".join(share.who) for share in found.shares]
    assert who[:2] == ["Red (bib 3), Blue (bib 5)", "New"]
    assert who[2:] == ["Red (bib 4)", "Blue (bib 6)", "Blue (bib 7)"]
    most, new, more, squats, plank = found.shares
    assert {share.work_ms for share in found.shares} == {120_000}
    assert (most.asked_reps, new.asked_reps, more.asked_reps, plank.asked_reps) == (26, 16, 32, 0)
    assert plank.work_by_pattern_ms == {"cardio": 60_000, "trunk": 60_000}
    assert most.landings.most > 0 and squats.landings == Range() and squats.high_impact_ms == 0
    assert [e.too_many for e in more.exercises if e.name == "Push-up"] == [20]
    assert new.floor_ms == plank.floor_ms == 60_000


def test_groups_of_a_rotation_are_told_apart_by_own_tasks_only():
    shares = numbers_of(rotation(), LIBRARY).shares
    assert shares[0].who == ("New",)
    assert ("Red (bib 3)", "Blue (bib 5)") in [share.who for share in shares]
    plain = rotation([exercise("Push-up"), exercise("Row"), exercise("Squat")])
    assert [share.who for share in numbers_of(plain, LIBRARY).shares] == [("New", "Red", "Blue")]


def test_more_sorts_of_people_are_summed_up(tmp_path, capsys):
    path = tmp_path / "own.toml"
    block = {"rounds": 2, "exercise": [PUSH_UP, SQUAT]}
    path.write_text(toml({**CLASS, "block": [block]}), encoding="utf-8")
    assert main(["check", str(path), "--numbers"]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "For Red (bib 3), Blue (bib 5):" in words and "For New:" in words
    assert "least to the most for one of Red (bib 4), Blue (bib 6), Blue (bib 7):" in words
    assert "push 0:00 to 1:00" in words and "With hard landings 0:00 to 1:00" in words
    main(["check", str(path), "--numbers", "--json"])
    assert len(json.loads(capsys.readouterr().out)["data"]["numbers"]["shares"]) == 5


# Remarks, and what moves a plan


def remarks(exercises, **keys):
    built = class_of(exercises, warm_up=[{"name": "W", "work_s": 30}], **keys)
    return [*built.warnings, *coach_remarks(built.schedule, LIBRARY)]


def having(words, found):
    return [remark for remark in found if words in remark]


def test_names_of_own_tasks_are_read_like_others():
    own = [{"bibs": [1], "name": "Żuraw of the very long name"}]
    found = remarks([exercise("Burpee", own)])
    where = "block 1, exercise 1, scaled 1, name: "
    assert having("is shown as", found)[0].startswith(where)
    assert having("will be cut", found)[0].startswith(where)
    (unknown,) = having("not in the library", found)
    assert "Żuraw of the very long name" in unknown and "Burpee" not in unknown


def test_steps_of_own_tasks_that_do_not_come_out():
    own = [{"bibs": [1], "reps": 12}, {"bibs": [2], "reps": 9}, {"bibs": [3], "name": "Squat"}]
    found = having("not a multiple", remarks([exercise("Burpee", own, reps=10, tap={"every": 4})]))
    assert [remark.split(":")[0] for remark in found] == [
        "block 1, exercise 1, tap",
        "block 1, exercise 1, scaled 2, tap",
    ]


def test_what_single_bibs_do_in_turn():
    first = exercise("Push-up")
    second = exercise("Squat", [{"bibs": [3, 4], "name": "Dip"}])
    (remark,) = having("straight after", remarks([first, second]))
    assert remark.startswith('block 1, exercise 2: for bibs 3, 4, "Dip" comes straight after "Push')
    assert not having("straight after", remarks([first, exercise("Squat")]))


def test_own_tasks_that_need_skill():
    skilled = next(entry for entry in LIBRARY.entries.values() if entry.skill)
    own = [{"bibs": [3], "name": skilled.name}]
    (remark,) = having("needs skill", remarks([exercise("Squat", own)]))
    assert remark.startswith("block 1, exercise 1, scaled 1: ")


def test_kit_of_own_tasks_that_is_counted_nowhere():
    own = [{"bibs": [3, 4], "name": "Box jump"}]
    kit = {"kit": {"box": 1}}
    (remark,) = having("[kit] counts", remarks([exercise("Burpee", own)], **kit))
    assert '"Box jump" needs box' in remark and "bibs 3, 4" in remark
    assert not having("[kit] counts", remarks([exercise("Burpee", own, kit=["box"])], **kit))
    assert not having("[kit] counts", remarks([exercise("Burpee", own)]))
    straps = [{"bibs": [3, 4], "name": "Row in straps"}]  # or rings, of which nothing is known
    few = {"kit": {'"Suspension straps"': 1}}
    (remark,) = having("[kit] counts", remarks([exercise("Row", straps)], **few))
    assert remark.startswith("block 1, exercise 1, scaled 1:") and "bibs 3, 4" in remark
    assert '"Row in straps" needs Suspension straps, which' in remark
    rings = [exercise("Row", straps), exercise("Dip", kit=["rings"])]
    assert not having("scaled 1", having("[kit] counts", remarks(rings, **few)))
    same = [{"bibs": [3], "reps": 5}]
    assert not having(
        "scaled", having("[kit] counts", remarks([exercise("Box jump", same)], **kit))
    )


def test_fit_leaves_rounds_alone_that_an_own_task_lists():
    listed = exercise("Row", [{"bibs": [1], "reps": [9, 8]}], reps=10)
    for rounds, own in ((Misfit, listed), (Fitted, exercise("Row", reps=10))):
        plan = class_of([own], break_s=0).plan
        slot_ms = 10_000 + 3 * 30_000
        assert isinstance(fit(plan, slot_ms, keep=["windows", "rests", "breaks"]), rounds)
