"""Plans for the tests of cards: every exercise of the library, and the longest of everything."""

from made_plans import toml

from handbell.coach.library.entry import Entry
from handbell.coach.library.shelf import Library
from handbell.compile import build
from handbell.plan.files import parse_plan

LONG = "Żółw Overhead squat-lunge-walk x"  # 32 characters, the most there may be
WIDE = "W" * 32  # no place to break


def of_library(library):
    """A plan with every exercise of the library, each with a task as long as they come."""
    exercises = []
    for n, entry in enumerate(library.entries.values()):
        made = {"name": entry.name, "work_s": [40, 30, 20]}
        if entry.is_hold:
            made["hold"] = True
        elif n % 2:
            made |= {"goal": [16, 12, 8], "tap": "each"}
        else:
            made |= {"reps": [16, 12, 8], "tap": "finish"}
        if entry.sides == "one":
            made["both_sides"] = True
        exercises.append(made)
    blocks = [{"name": "Everything there is", "rounds": 3, "exercise": exercises}]
    return build(parse_plan(toml({"title": "All of it", "block": blocks}).encode()))


def longest(layout):
    """A plan whose every text has the most characters."""
    names = [LONG, WIDE, "Długość Überkopf-Kniebeugen ñandú", "Straight-arm pull-down"]
    exercises = [
        {"name": name[:32], "work_s": 40, "reps": 9999, "tap": "finish", "both_sides": True}
        for name in names
    ]
    groups = [
        {"name": f"{n} {LONG}"[:32], "bibs": [100 * n + k for k in range(1, 9)]}
        for n in range(1, 5)
    ]
    stations = [{"label": f"{n}{WIDE}"[:32]} for n in range(4)]
    blocks = [{"name": WIDE, "rounds": 4, "exercise": exercises}] * 2
    made = {"title": WIDE, "layout": layout, "turns": "round", "group": groups}
    return build(parse_plan(toml({**made, "station": stations, "block": blocks}).encode()))


def of_long_notes(name, shipped):
    """A plan with one exercise about which a coach's own library says all that may be said."""
    entries, head = shipped
    words = ("Überkopf weights are heavy " * 8)[:199] + "."
    ends = {"easier": ["push-up", "pike-push-up"], "harder": []}
    own = Entry.model_validate(
        {
            **{"id": "own", "name": name, "pattern": "push", "level": 5, "kit": []},
            **{"space": "mat", "impact": "none", "sides": "one", "position": "floor"},
            **{"reps_30s": [1, 2], "taps": ["finish"], **ends},
            **{"how": words, "lever": words, "cautions": words},
        }
    )
    exercise = {"name": name, "work_s": [40, 30, 20, 10, 9, 8], "reps": [9999, 999, 99, 9, 8, 7]}
    block = {"name": "W" * 32, "exercise": [exercise | {"tap": "finish", "both_sides": True}]}
    plan = parse_plan(toml({"title": "Long notes", "block": [block]}).encode())
    return build(plan), Library([*entries, own], head)


def with_own_tasks(count, layout="lanes"):
    """A plan with so many people, each with another task, as long as they come."""
    own = [
        {"bibs": [2 * n + 1], "name": f"{n} {LONG}"[:32], "reps": [9999, n + 1], "tap": "each"}
        for n in range(count)
    ]
    asks = {"work_s": 30, "reps": [9999, 1], "tap": "finish", "scaled": own}
    exercises = [{"name": f"{n} {LONG}"[:32], **asks} for n in range(4)]
    bibs = range(1, 2 * count + 5)
    groups = [{"name": f"G{n}", "bibs": list(bibs[n::4])} for n in range(4)]
    blocks = [{"rounds": 2, "exercise": exercises}]
    made = {"title": "Own", "layout": layout, "turns": "round", "group": groups, "block": blocks}
    return build(parse_plan(toml(made).encode()))
