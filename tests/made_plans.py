"""Plans for tests: those of the documentation, and random ones."""

import json
import re
from pathlib import Path

from hypothesis import strategies as st

DOCS = Path(__file__).parents[1] / "docs"
EXAMPLES = {path.stem: path for path in sorted((DOCS / "examples").glob("*.toml"))}
PAGES = [DOCS / "engineers" / name for name in ("plan-file.md", "forms.md")]
MANUAL = "".join(page.read_text(encoding="utf-8") for page in PAGES)
COACHES = "".join(p.read_text(encoding="utf-8") for p in sorted((DOCS / "coaches").glob("*.md")))
IN_MANUAL = re.findall(r"```toml\n(.*?)```", MANUAL + COACHES, re.S)


# Three groups at two stations, so that one of them waits.
THREE_AT_TWO = """
title = "Three at two"
layout = "rotation"
[[group]]
name = "A"
bibs = [1]
[[group]]
name = "B"
bibs = [2]
[[group]]
name = "C"
bibs = [3]
[[block]]
order = [[1, 2, 0], [0, 1, 2], [2, 0, 1]]
[[block.exercise]]
name = "Squat"
work_s = 30
[[block.exercise]]
name = "Push-up"
work_s = 30
"""


def toml(table, heading=""):
    """Write nested dicts as TOML: plain values first, then lists of tables."""
    lines, below = [], []
    for key, value in table.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            path = f"{heading}.{key}" if heading else key
            below += [f"[[{path}]]\n{toml(item, path)}" for item in value]
        elif isinstance(value, dict):
            inner = ", ".join(f"{k} = {_value(v)}" for k, v in value.items())
            lines.append(f"{key} = {{ {inner} }}")
        else:
            lines.append(f"{key} = {_value(value)}")
    return "\n".join([*lines, *below]) + "\n"


def _value(value):
    return f"{value:.1f}" if isinstance(value, float) else json.dumps(value)


def _tenths(least, most):
    numbers = st.integers(least * 10, most * 10)
    return numbers.map(lambda n: n // 10 if n % 10 == 0 else n / 10)


WINDOWS = _tenths(5, 60)
PAUSES = st.one_of(st.just(0), _tenths(3, 60))
NAMES = st.sampled_from(["Burpee", "Push-up", "Row", "Élan", "Plank", "Żuraw", "Sit-up"])


@st.composite
def _exercise(draw, rounds, work_s):
    made = {"name": draw(NAMES), "work_s": work_s}
    ask = draw(st.sampled_from(["open", "goal", "target", "hold"]))
    if ask == "hold":
        made["hold"] = True
        ways = ["drop", "none"]
    else:
        ways = ["each", "none", {"every": draw(st.integers(2, 255))}]
    if ask in ("goal", "target"):
        counts = st.integers(1, 99)
        number = st.one_of(counts, st.lists(counts, min_size=rounds, max_size=rounds))
        made["goal" if ask == "goal" else "reps"] = draw(number)
    if ask == "target":
        ways.append("finish")
    tap = draw(st.sampled_from([None, *ways]))
    if tap is not None:
        made["tap"] = tap
    if draw(st.booleans()):
        made["both_sides"] = True
    return made


@st.composite
def _block(draw, exercises, rotates):
    rounds = draw(st.integers(1, 4))
    work = st.one_of(WINDOWS, st.lists(WINDOWS, min_size=rounds, max_size=rounds))
    made = {"rounds": rounds}
    for key in ("rest_s", "round_rest_s", "change_s", "break_s"):
        if draw(st.booleans()):
            made[key] = draw(PAUSES)
    if made.get("rest_s") and made.get("round_rest_s") != 0 and draw(st.booleans()):
        made["rest_after_last"] = True
    if draw(st.booleans()):
        made["gate"] = draw(st.booleans())
    work_s = draw(work)
    made["exercise"] = [
        draw(_exercise(rounds, work_s if rotates else draw(work))) for _ in range(exercises)
    ]
    if not rotates and draw(st.booleans()):
        made["exercise"][0]["rest_s"] = draw(PAUSES)
        if len(made["exercise"]) == 1:
            made.pop("rest_after_last", None)
    return made


@st.composite
def plans(draw):
    """Return a sound plan as nested dicts."""
    made = {"title": draw(NAMES), "buttons": draw(st.integers(1, 4))}
    rotates = draw(st.booleans())
    groups = draw(st.integers(1 if rotates else 0, 4))
    if rotates:
        made |= {"layout": "rotation", "move": draw(st.sampled_from(["window", "round"]))}
    for key in ("lead_in_s", "change_s", "break_s"):
        if draw(st.booleans()):
            made[key] = draw(PAUSES)
    if draw(st.booleans()):
        made["turns"] = draw(st.sampled_from(["window", "round"]))
    if draw(st.booleans()):
        made["rate"] = draw(st.booleans())
    bibs = iter(draw(st.lists(st.integers(1, 999), min_size=24, max_size=24, unique=True)))
    if groups:
        made["group"] = [
            {"name": f"G{n}", "bibs": [next(bibs) for _ in range(draw(st.integers(1, 6)))]}
            for n in range(groups)
        ]
    elif draw(st.booleans()):
        made["boxes"] = draw(st.integers(1, 3))
    for key in ("warm_up", "practice", "cool_down"):
        parts = draw(st.integers(0, 2))
        if parts:
            made[key] = [
                {"name": draw(NAMES), "work_s": draw(_tenths(3, 60))} for _ in range(parts)
            ]
    sizes = st.just(groups) if rotates else st.integers(1, 4)
    made["block"] = [draw(_block(draw(sizes), rotates)) for _ in range(draw(st.integers(1, 3)))]
    return made


_SECONDS = st.integers(3, 60)


def _bounds(least, most):
    return st.lists(st.integers(least, most), min_size=2, max_size=2).map(sorted)


@st.composite
def _first_class_exercise(draw, rounds, work_s, bibs, tallied):
    made = {"name": draw(NAMES), "work_s": work_s}
    counts = st.integers(1, 30)
    number = st.one_of(counts, st.lists(counts, min_size=rounds, max_size=rounds))
    every = st.fixed_dictionaries({"every": st.sampled_from([2, 3, 5, 10])})
    key = draw(st.sampled_from(["reps", "reps", "goal", ""]))
    if key:
        made[key] = draw(number)
    ways = [st.just("each"), every] + [st.just("finish")] * (key == "reps")
    made["tap"] = "tally" if tallied else draw(st.one_of(ways))
    made["both_sides"] = draw(st.booleans())
    if draw(st.booleans()):
        own = {"bibs": [draw(st.sampled_from(bibs))]}
        if key and draw(st.booleans()):
            own["tap"] = "tally" if tallied else draw(every)
        else:
            own |= {"name": "Push-up", draw(st.sampled_from(["reps", "goal"])): draw(number)}
            own["tap"] = "tally" if tallied else draw(st.one_of(st.just("each"), every))
        made["scaled"] = [own]
    return made


@st.composite
def first_class_plans(draw):
    """Return a sound plan for a first class, as nested dicts: often with bounds of its own."""
    made = {"title": "First", "lead_in_s": draw(st.sampled_from([0, 10]))}
    rotates = draw(st.integers(0, 3)) == 0
    groups = draw(st.integers(1, 3)) if rotates else 1
    if rotates:
        made |= {"layout": "rotation", "move": draw(st.sampled_from(["window", "round"]))}
    if draw(st.booleans()):
        made["break_s"] = draw(st.sampled_from([0, 30, 45, 60, 120]))
    said = draw(
        st.fixed_dictionaries(
            {},
            optional={
                "break_s": _bounds(10, 90),
                "rest_s": _bounds(3, 60),
                "work_s": _bounds(15, 60),
                "rounds": _bounds(1, 6),
            },
        )
    )
    if said and draw(st.booleans()):
        made["fit"] = said
    made["group"] = [{"name": f"G{n}", "bibs": [2 * n + 1, 2 * n + 2]} for n in range(groups)]
    made["buttons"] = 2
    bibs = [bib for group in made["group"] for bib in group["bibs"]]
    made["block"] = []
    for _ in range(draw(st.integers(1, 3))):
        rounds = draw(st.integers(1, 5))
        block = {"rounds": rounds}
        rests = draw(st.sampled_from(["none", "rest", "round", "both"]))
        tallied = rests == "both" and draw(st.booleans())
        if rests in ("rest", "both"):
            block["rest_s"] = draw(st.integers(10, 60) if tallied else _SECONDS)
        if rests in ("round", "both"):
            block["round_rest_s"] = draw(st.integers(10, 100) if tallied else st.integers(3, 100))
        if tallied:
            block["rest_after_last"] = True
        count = groups if rotates else draw(st.integers(1, 3))
        windows = st.one_of(
            st.sampled_from([20, 30, 40, 45, 60]),
            st.lists(st.sampled_from([20, 30, 45]), min_size=rounds, max_size=rounds),
        )
        alike = draw(windows)
        block["exercise"] = [
            draw(_first_class_exercise(rounds, alike if rotates else draw(windows), bibs, tallied))
            for _ in range(count)
        ]
        if not rotates and not tallied and draw(st.booleans()):
            block["exercise"][0]["rest_s"] = draw(st.sampled_from([0, 5, 25, 60]))
        made["block"].append(block)
    return made
