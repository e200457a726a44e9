"""Own tasks of single bibs on cards and on the timetable's page."""

import dataclasses

import pytest
from made_cards import with_own_tasks
from made_own_tasks import CLASS, GROUPS, PUSH_UP, SQUAT, class_of, exercise, rotation
from made_plans import toml

from handbell.coach.library.files import read_entries
from handbell.coach.library.shelf import Library
from handbell.compile import build
from handbell.paper.cards import Card, LaneCard, cards_of, kit_words
from handbell.paper.layout import FAR, MARGIN_MM, NEAR, PAPERS, SEE_BOX, pages_of
from handbell.paper.page import timetable_page
from handbell.paper.timetable import timetable
from handbell.plan.files import parse_plan
from handbell.plan.own_tasks import bibs_words

LIBRARY = Library(*read_entries(None))


def own_of(card):
    return [(bibs_words(o.bibs), o.what) for o in card.own]


def test_a_wall_card_says_what_differs_and_no_more():
    (wall, _) = [card for card in cards_of(class_of(), LIBRARY) if isinstance(card, Card)]
    assert (wall.name, wall.task) == ("Push-up", "14, 12 reps in 30 s")
    assert own_of(wall) == [
        ("bibs 1, 2", "Knee push-up, 8 reps"),
        ("bib 4", "20, 12 reps"),
        ("bib 5", "tap each rep"),
        ("bib 7", "Plank, hold, tap when you let go"),
    ]


def test_a_lane_has_the_tasks_of_its_own_people():
    new, red, blue = [c for c in cards_of(class_of(), LIBRARY) if isinstance(c, LaneCard)]
    (push_up, squat) = new.blocks[0].exercises
    assert (push_up.name, push_up.task, push_up.own) == ("Knee push-up", "8 in 30 s", ())
    assert squat.own == ()
    assert [bibs for line in red.blocks[0].exercises for bibs, _ in own_of(line)] == ["bib 4"]
    assert [bibs for line in blue.blocks[0].exercises for bibs, _ in own_of(line)] == [
        "bib 5",
        "bib 7",
        "bib 6",
    ]


def test_a_station_of_a_circuit_leaves_out_who_never_comes():
    groups = [dict(g, circuit="x" if g["name"] == "Blue" else "y") for g in GROUPS]
    exercises = [{**e, "circuit": c} for e, c in ((PUSH_UP, "y"), (SQUAT, "x"))]
    stations = [{"capacity": 9}, {"capacity": 9}]
    block = {"order": [[1], [1], [2]], "rounds": 2, "exercise": exercises}
    plan = {**CLASS, "layout": "rotation", "group": groups, "station": stations, "block": [block]}
    built = build(parse_plan(toml(plan).encode()))
    assert [bibs for bibs, _ in own_of(cards_of(built, LIBRARY)[0])] == ["bibs 1, 2", "bib 4"]
    assert [w for w in built.warnings if "never" in w] == [
        "block 1, exercise 1, scaled 3, bibs: bib 7 never does this exercise, which is of the "
        "other circuit",
        "block 1, exercise 1, scaled 4, bibs: bib 5 never does this exercise, which is of the "
        "other circuit",
    ]


def fits(pages, paper):
    return all(
        sum(p.high_mm(paper.room_mm) for p in page.pieces) <= paper.high_mm - 2 * MARGIN_MM
        for page in pages
    )


@pytest.mark.parametrize("size", PAPERS)
@pytest.mark.parametrize("layout", ["lanes", "rotation"])
@pytest.mark.parametrize("count", [1, 2, 3, 5, 40])
def test_own_tasks_can_be_read_from_afar_however_many_they_are(count, layout, size):
    paper = PAPERS[size]
    pages = list(pages_of(cards_of(with_own_tasks(count, layout), LIBRARY), paper))
    assert fits(pages, paper)
    assert all(p.size >= FAR for page in pages for p in page.pieces if p.kind != "notes")
    for page in pages:
        own = [p for p in page.pieces if p.kind == "own"]
        if page.kind == "card":
            assert 1 <= len(own) <= 3
            if count > 3:
                assert own[-1].text == SEE_BOX


def test_what_is_summed_up_names_its_bibs():
    cards = [c for c in cards_of(class_of(), LIBRARY) if isinstance(c, Card)]
    page = next(pages_of(cards[:1], PAPERS["a4"]))
    own = [(p.strong, p.text) for p in page.pieces if p.kind == "own"]
    assert own == [
        ("Bibs 1, 2:", "Knee push-up, 8 reps"),
        ("Bib 4:", "20, 12 reps"),
        ("Bibs 5, 7:", SEE_BOX),
    ]


def test_long_notes_leave_a_line_for_own_tasks():
    cards = [c for c in cards_of(class_of(), LIBRARY) if isinstance(c, Card)]
    words = "Überkopf weights are heavy " * 7
    full = dataclasses.replace(cards[0], caution=words, how=words, lever=words)
    for paper in PAPERS.values():
        pages = list(pages_of([full], paper))
        assert fits(pages, paper)
        (own,) = [p for p in pages[0].pieces if p.kind == "own"]
        assert own.text == SEE_BOX and own.size >= NEAR


def test_a_page_is_not_turned_between_an_exercise_and_its_own_task():
    made = [exercise(f"Row {n}", [{"bibs": [1], "name": "Band row"}]) for n in range(40)]
    built = class_of(made, group=[{"name": "All", "bibs": [1, 2]}])
    for paper in PAPERS.values():
        pages = [p for p in pages_of(cards_of(built, LIBRARY), paper) if p.kind == "lane"]
        assert len(pages) > 2 and fits(pages, paper)
        assert {page.pieces[-1].kind for page in pages} == {"own"}


@pytest.mark.parametrize("made", [class_of, rotation])
def test_the_timetable_on_paper_has_every_own_task(made):
    table = timetable(made(), LIBRARY, PAPERS["a4"], "")
    (part,) = [p for p in table.parts if p.notes]
    assert part.notes == (
        "At Push-up, bibs 1, 2: Knee push-up, 8 reps; bib 4: 20, 12 reps; bib 5: tap each rep; "
        "bib 7: Plank, hold, tap when you let go",
        "At Squat jump, bib 6: Squat, goal 15",
    )
    page, _ = timetable_page(made(), LIBRARY, PAPERS["a4"], "")
    assert page.count("At Squat jump, bib 6: Squat, goal 15") == 1


def test_own_tasks_count_for_the_size_of_the_timetable():
    crowded = timetable(with_own_tasks(200), LIBRARY, PAPERS["a4"], "")
    assert crowded.over
    assert timetable(with_own_tasks(20), LIBRARY, PAPERS["a4"], "").size_mm < 4.4


def test_kit_of_own_tasks_is_on_the_list():
    own = [{"bibs": [1], "name": "Dumbbell row"}, {"bibs": [2], "name": "Box jump"}]
    words = kit_words(class_of([exercise("Burpee", own)]).plan, LIBRARY)
    assert "dumbbells" in words and "box" in words
    # What stands there already is not said again in other words.
    step = exercise("Step-up", [{"bibs": [1], "name": "Incline push-up"}])
    assert kit_words(class_of([step]).plan, LIBRARY) == kit_words(
        class_of([exercise("Step-up")]).plan, LIBRARY
    )
