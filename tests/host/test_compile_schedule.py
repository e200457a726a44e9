"""The schedule itself: who walks where, what rows say, and that both tell the same class."""

import pytest
from hypothesis import HealthCheck, given, settings
from made_own_tasks import class_of, rotation
from made_plans import EXAMPLES, THREE_AT_TWO, plans, toml

from handbell.base.errors import PlanError
from handbell.compile.schedule import resolve
from handbell.plan.files import load_plan, parse_plan
from handbell_core.timeline import KINDS, RATING, WINDOW

QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def of(text):
    return resolve(parse_plan(text.encode()))


def tells_one_class(schedule):
    """Posts, walks and rows agree; every group is at one station or waits."""
    rows = [list(schedule.rows(station)) for station in range(schedule.boxes)]
    for n, s in enumerate(schedule.stretches):
        assert all(row[n].stretch is s for row in rows)
        if s.kind != WINDOW:
            continue
        posts = schedule.at(s)
        assert [post.station for post in posts] == list(range(schedule.boxes))
        groups = [g for post in posts for g in post.groups]
        assert len(groups) == len(set(groups))
        for post, row in zip(posts, (row[n] for row in rows), strict=True):
            assert row.exercise is post.exercise and row.item == post.number + 1
            assert row.who == post.who and row.bibs == post.bibs(s.turn)
            assert set(row.bibs) - {0} <= set(post.people)
    for walker in range(len(schedule.alike)):
        for s, post in schedule.walk(walker):
            there = [p for p in schedule.at(s) if walker in p.groups]
            if schedule.plan.groups:
                assert there == ([] if post is None else [post])
            else:
                assert post is schedule.at(s)[walker]


@pytest.mark.parametrize("path", EXAMPLES.values(), ids=EXAMPLES)
def test_examples_tell_one_class(path):
    tells_one_class(resolve(load_plan(path)))


@QUICK
@given(plans())
def test_random_plans_tell_one_class(plan):
    tells_one_class(of(toml(plan)))


def test_groups_wait_where_their_order_says():
    schedule = of(THREE_AT_TWO)
    walks = [[post and post.station for _, post in schedule.walk(g)] for g in range(3)]
    assert walks == [[0, 1, None], [None, 0, 1], [1, None, 0]]
    assert [[post.who for post in step] for step in schedule.posts[0]] == [
        ["A", "C"],
        ["B", "A"],
        ["C", "B"],
    ]


def test_a_row_says_what_comes_next_and_who():
    """In the change the next group is shown already; the last window has nothing after it."""
    rows = list(of(THREE_AT_TWO).rows(0))
    told = [(KINDS[row.stretch.kind], row.who, row.bibs, row.coming) for row in rows]
    assert told == [
        ("lead-in", "A", (), "Squat"),
        ("window", "A", (1,), "Squat"),
        ("change", "B", (), "Squat"),
        ("window", "B", (2,), "Squat"),
        ("change", "C", (), "Squat"),
        ("window", "C", (3,), ""),
        ("rating", "C", (3,), ""),
    ]


def test_own_tasks_are_at_the_buttons_of_those_on_turn():
    schedule = class_of().schedule
    first = next(row for row in schedule.rows(2) if row.task)
    assert (first.who, first.bibs, first.task.name) == ("Blue", (5, 6), "Push-up")
    assert [(button, task.name, task.goal) for button, task in first.own] == [(0, "Push-up", 14)]
    assert {o.bibs for o in schedule.asked(0, 0).own} == {(1, 2), (4,), (5,), (7,)}


def test_lanes_in_the_same_order_are_alike_and_groups_of_a_rotation_are_not():
    order = "order = [[1, 2], [2, 1], [1, 2]]"
    two = (
        '[[block.exercise]]\nname = "A"\nwork_s = 30\n[[block.exercise]]\nname = "B"\nwork_s = 30\n'
    )
    assert of(f'title = "T"\nboxes = 3\n[[block]]\n{order}\n{two}').alike == [0, 1, 0]
    assert rotation().schedule.alike == [0, 1, 2]


def test_a_block_without_the_order_it_needs_is_not_resolved():
    text = THREE_AT_TWO.replace("order = [[1, 2, 0], [0, 1, 2], [2, 0, 1]]", "")
    with pytest.raises(PlanError, match="needs an order"):
        of(text)


def test_ratings_are_asked_where_the_last_window_was():
    schedule = of(THREE_AT_TWO)
    rated = [
        [row.bibs for row in schedule.rows(box) if row.stretch.kind == RATING] for box in (0, 1)
    ]
    assert rated == [[(3,)], [(2,), (1,)]]
