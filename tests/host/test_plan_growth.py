"""Twice the plan is twice the work: lines of Python that run are counted, not time."""

import sys

import pytest

from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.coach.numbers.numbers import numbers_of
from handbell.coach.order.kit import faults
from handbell.coach.order.table import visits
from handbell.compile import build
from handbell.paper.calendar import calendar
from handbell.paper.cards import cards_of
from handbell.plan.files import parse_plan

LIBRARY = load_library()
SIZES = (20, 40, 80)
MORE_MOST = 2.8  # what is added by doubling again: 2 when linear, 4 when quadratic


def exercise(n=0):
    return f'[[block.exercise]]\nname = "Exercise {n}"\nwork_s = 30\nreps = {n % 20 + 1}\n'


def exercises(count):
    return "".join(map(exercise, range(count)))


def groups(count):
    return "".join(f'[[group]]\nname = "G{n}"\nbibs = [{n + 1}]\n' for n in range(count))


def own_tasks(count):
    own = (f"[[block.exercise.scaled]]\nbibs = [{n + 1}]\nreps = {n + 21}\n" for n in range(count))
    bibs = ", ".join(str(n + 1) for n in range(count))
    return f'[[group]]\nname = "G"\nbibs = [{bibs}]\n[[block]]\n{exercise()}{"".join(own)}'


def ordered(count):
    rows = [[(n + lane) % count + 1 for n in range(count)] for lane in range(3)]
    return f"boxes = 3\n[[block]]\norder = {rows}\n{exercises(count)}"


SHAPES = {
    "exercises of a block": lambda n: f"[[block]]\nrest_s = 10\n{exercises(n)}",
    "exercises in other orders": ordered,
    "blocks behind gates": lambda n: f"[[block]]\ngate = true\n{exercise()}" * n,
    "rounds": lambda n: f"[[block]]\nrounds = {n}\nrest_s = 10\n{exercises(3)}",
    "groups": lambda n: f"{groups(n)}[[block]]\nrest_s = 10\n{exercises(3)}",
    "own tasks": own_tasks,
    "legs of a relay": lambda n: (
        f"{groups(2)}[[block]]\nformat = 'relay'\nlegs = {n}\nleg_s = 30\n"
        "[[block.exercise]]\nname = 'Row'\n"
    ),
    "legs that move on, each lane by itself": lambda n: (
        "[[group]]\nname = 'G0'\nbibs = [1, 2]\n[[group]]\nname = 'G1'\nbibs = [3, 4, 5, 6]\n"
        f"[[block]]\nformat = 'relay'\nlegs = {4 * n}\nleg_s = 30\n"
        + "".join(f"[[block.exercise]]\nname = 'E{e}'\n" for e in range(4))
    ),
}


def everything(text):
    """What check, show and cards work out."""
    built = build(parse_plan(f'title = "T"\n{text}'.encode()))
    coach_remarks(built.schedule, LIBRARY)
    faults(built.schedule)
    numbers_of(built, LIBRARY)
    visits(built)
    cards_of(built, LIBRARY)
    calendar(built, 0, 0, "")
    return built.timetable


def lines_run(text):
    count = 0

    def trace(frame, event, arg):
        nonlocal count
        count += event == "line"
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        everything(text)
    finally:
        sys.settrace(before)
    return count


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_work_grows_with_the_plan(shape):
    small, middle, large = (lines_run(shape(size)) for size in SIZES)
    assert large - middle < MORE_MOST * (middle - small)
