"""Plans for tests in which single bibs have tasks of their own."""

from made_plans import toml

from handbell.compile import build
from handbell.plan.files import parse_plan


def exercise(name, own=(), **keys):
    made = {"name": name, "work_s": 30, **keys}
    return made | ({"scaled": list(own)} if own else {})


PUSH_UP = exercise(
    "Push-up",
    [
        {"bibs": [1, 2], "name": "Knee push-up", "reps": 8},
        {"bibs": [4], "reps": [20, 12]},
        {"bibs": [7], "name": "Plank", "hold": True},
        {"bibs": [5], "tap": "each"},
    ],
    reps=[14, 12],
    tap="finish",
)
SQUAT = exercise("Squat jump", [{"bibs": [6], "name": "Squat"}], goal=15)
ROW = exercise("Row")
GROUPS = [
    {"name": "New", "bibs": [1, 2]},
    {"name": "Red", "bibs": [3, 4]},
    {"name": "Blue", "bibs": [5, 6, 7]},
]
CLASS = {"title": "Own", "buttons": 2, "turns": "window", "group": GROUPS}


def class_of(exercises=(PUSH_UP, SQUAT), **keys):
    block = {"rounds": 2, "exercise": list(exercises)}
    return build(parse_plan(toml({**CLASS, **keys, "block": [block]}).encode(), "own.toml"))


def rotation(exercises=(PUSH_UP, SQUAT, ROW), **keys):
    return class_of(exercises, layout="rotation", **keys)
