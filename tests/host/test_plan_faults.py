"""Every way a plan can be wrong, and the sentence that says so."""

import pytest
from made_plans import DOCS

from handbell.base.errors import PlanError
from handbell.plan.files import parse_plan

EXERCISE = '[[block.exercise]]\nname = "Push-up"\nwork_s = 30\n'


def faults(text):
    with pytest.raises(PlanError) as caught:
        parse_plan(text.encode(), "class.toml")
    assert str(caught.value).startswith("class.toml: ")
    return caught.value.faults


def plan(top="", block="", exercise="", tail=""):
    return f'title = "T"\n{top}\n[[block]]\n{block}\n{EXERCISE}{exercise}\n{tail}'


def keyed(key, value):
    """A plan whose exercise has this line, in place of one that is there."""
    lines = {"name": '"Push-up"', "work_s": "30"}
    lines[key] = value
    body = "\n".join(f"{k} = {v}" for k, v in lines.items())
    return f'title = "T"\n[[block]]\n[[block.exercise]]\n{body}\n'


TIMES = {
    "4": "4 s is too short; a window is 5 s or more",
    "0": "0 s is too short; a window is 5 s or more",
    "-30": "-30 is negative; write seconds, such as 30",
    "-0.1": "-0.1 is negative; write seconds, such as 30",
    "30.25": "30.25 is finer than a tenth of a second; write it as 30.2",
    "30.0001": "30.0001 is finer than a tenth of a second; write it as 30.0",
    "1e-400": "1E-400 is finer than a tenth of a second; write it as 0.0",
    "21601": "21601 is over 6 hours; write seconds (not ms), at most 21600",
    "1e400": "1E+400 is over 6 hours; write seconds (not ms), at most 21600",
    "nan": "NaN is no time; write seconds, such as 30",
    "inf": "Infinity is no time; write seconds, such as 30",
    "-inf": "-Infinity is no time; write seconds, such as 30",
    "1e99999999999999999999": "Infinity is no time; write seconds, such as 30",
    "true": "true is no time; write seconds without quotes, such as 30",
    '"30"': '"30" is no time; write seconds without quotes, such as 30',
    "2026-01-01": "2026-01-01 is no time; write seconds without quotes, such as 30",
    "[]": "the list is empty; write one entry for each round",
    "[30, 4, nan]": "entry 2: 4 s is too short; a window is 5 s or more; "
    "entry 3: NaN is no time; write seconds, such as 30",
    "[[30]]": "entry 1: a list is no time; write seconds without quotes, such as 30",
}


@pytest.mark.parametrize(("value", "sentence"), TIMES.items())
def test_window_times(value, sentence):
    assert faults(keyed("work_s", value)) == [f"block 1, exercise 1, work_s: {sentence}"]


@pytest.mark.parametrize(("value", "ms"), [("5", 5000), ("7.5", 7500), ("30.0", 30_000)])
def test_tenths_are_exact(value, ms):
    plan = parse_plan(keyed("work_s", value).encode())
    assert plan.blocks[0].exercises[0].work.at(1) == ms


@pytest.mark.parametrize("tenths", range(50, 1000, 7))
def test_no_float_drift(tenths):
    text = f"{tenths // 10}.{tenths % 10}"
    plan = parse_plan(keyed("work_s", text).encode())
    assert plan.blocks[0].exercises[0].work.at(1) == tenths * 100


VALUES = {
    ("reps", "0"): "0 is out of range; write a number from 1 to 9999",
    ("reps", "-3"): "-3 is out of range; write a number from 1 to 9999",
    ("reps", "10.5"): "10.5 is no whole number; write one from 1 to 9999, without quotes",
    ("reps", '"ten"'): '"ten" is no whole number; write one from 1 to 9999, without quotes',
    ("reps", "9" * 60): "so large a number is out of range; write a number from 1 to 9999",
    ("goal", "true"): "true is no whole number; write one from 1 to 9999, without quotes",
    ("hold", "1"): "1 is neither; write true or false, without quotes",
    ("both_sides", '"yes"'): '"yes" is neither; write true or false, without quotes',
    ("rest_s", "2"): "2 s is too short to be noticed; write 0 for none, or 3 or more",
    ("tap", '"twice"'): '"twice" is no way to tap; write "each", "finish", "tally", "drop" or '
    '"none", or { every = 2 }',
    ("tap", "{ every = 1 }"): "every: 1 is out of range; write a number from 2 to 255",
    ("tap", "{ every = 2, from = 3 }"): 'a table is no way to tap; write "each", "finish", '
    '"tally", "drop" or "none", or { every = 2 }',
    ("tap", '"finish"'): '"finish" needs a target; write reps = 10, or another way to tap',
    ("tap", '"drop"'): '"drop" is only for a hold; write hold = true, or another way to tap',
    ("name", "7"): '7 is no text; write it in quotes, such as "Push-up"',
    ("name", '""'): '"" has nothing a box can draw; write a name with Latin letters',
    ("name", '"\\u202e\\u200b"'): '"\\u202e\\u200b" has nothing a box can draw; '
    "write a name with Latin letters",
    ("name", '"' + "x" * 33 + '"'): '"' + "x" * 33 + '" is 33 characters long; shorten it to 32',
    ("note", "1"): '1 is no text; write it in quotes, such as "knees down"',
    ("note", '"' + "x" * 201 + '"'): "the note is 201 characters long; shorten it to 200",
    ("resp", "4"): "no such key here; did you mean reps?",
    ("work", "4"): "no such key here; did you mean work_s?",
    ("rounds", "4"): "no such key here; it belongs in [[block]]",
    ("lead_in_s", "4"): "no such key here; it belongs at the top of the file, before any [[table]]",
    ("bibs", "[1]"): "no such key here; it belongs in [[group]]",
    ("zzz", "4"): "no such key here; known are name, work_s, reps, goal, hold, tap, rest_s, "
    "both_sides, kit, circuit, note, part, scaled",
}


@pytest.mark.parametrize(("line", "sentence"), VALUES.items())
def test_exercise_values(line, sentence):
    assert faults(keyed(*line)) == [f"block 1, exercise 1, {line[0]}: {sentence}"]


TOP = {
    "lead_in_s = 2": "lead_in_s: 2 s is too short to be noticed; write 0 for none, or 3 or more",
    "grid_s = 4": "grid_s: 4 is out of range; write a number from 5 to 300",
    "count_s = 11": "count_s: 11 is out of range; write a number from 0 to 10",
    "buttons = 5": "buttons: 5 is out of range; write a number from 1 to 4",
    "boxes = 0": "boxes: 0 is out of range; write a number from 1 to 99",
    'layout = "circle"': 'layout: "circle" isn\'t allowed here; write "lanes" or "rotation"',
    'turns = "person"': 'turns: "person" isn\'t allowed here; write "window" or "round"',
    "titel = 3": "titel: no such key here; did you mean title?",
    "reps = 3": "reps: no such key here; it belongs in [[block.exercise]]",
    '"a\\nb" = 3': '"a\\u000ab": no such key here; known are ',
    "warm_up = 60": "warm_up: this is a table; write [[warm_up]] on a line of its own, "
    "its keys below",
    "[station]": "station: this may be there several times; write [[station]], with two brackets",
    "[[group]]\nname = 'A'": "group 1: bibs is missing; write bibs = [1, 2]",
    "[[group]]\nname = 'A'\nbibs = []": "group 1, bibs: the list is empty; write the group's "
    "bibs as [1, 2]",
    "[[group]]\nname = 'A'\nbibs = 3": "group 1, bibs: 3 is no list; write the bibs as [1, 2]",
    "[[group]]\nname = 'A'\nbibs = [1000]": "group 1, bibs: 1000 is out of range; "
    "write a number from 1 to 999",
    "[[group]]\nname = 'A'\nbibs = [7, 7]": 'group 1, bibs: bib 7 is in "A" already; '
    "use each bib once",
    "[[group]]\nname = 'A'\nbibs = [7]\n[[group]]\nname = 'A'\nbibs = [8]": "group 2, name: "
    '"A" is group 1 already; give each group a name of its own',
    "[[group]]\nname = 'A'\nbibs = [7]\n[[group]]\nname = 'B'\nbibs = [8, 7]": "group 2, bibs: "
    'bib 7 is in "A" already; use each bib once',
    "boxes = 2\n[[group]]\nname = 'A'\nbibs = [7]": "boxes: each group has a box of its "
    "own; take out boxes, or the groups",
    "[[station]]\nlabel = 'A'\n[[station]]\nlabel = 'A'": 'station 2, label: "A" is station 1 '
    "already; give each station a label of its own",
    "boxes = 3\n[[station]]\nlabel = 'A'": "3 boxes but 1 station; take out boxes, or write as "
    "many stations",
    "[[station]]\n[[group]]\nname = 'A'\nbibs = [1]\n[[group]]\nname = 'B'\nbibs = [2]": "2 groups "
    "but 1 station; each group needs one: add stations, or take them all out to have them numbered",
    "[[warm_up]]\nname = 'Jog'\nwork_s = 2": "warm-up 1, work_s: 2 s is too short; write 3 or "
    "more, or take this part out",
    "[[cool_down]]\nwork_s = 60": 'cool-down 1: name is missing; write name = "Push-up"',
    "[[warm_up]]\nname = 'Jog'\nwork_s = 60\nreps = 3": "warm-up 1, reps: no such key here; it "
    "belongs in [[block.exercise]]",
}


@pytest.mark.parametrize(("line", "sentence"), TOP.items())
def test_top_level(line, sentence):
    found = faults(plan(top=line))
    assert len(found) == 1
    assert sentence in found[0]


BLOCKS = {
    ("rounds = 0", ""): "block 1, rounds: 0 is out of range; write a number from 1 to 16000",
    ("rest = 5", ""): "block 1, rest: no such key here; did you mean rest_s?",
    ("rest_after_last = true", ""): "block 1, rest_after_last: there is no rest to keep; "
    "write rest_s, or take it out",
    ("rounds = 3", "reps = [10, 8]"): "block 1, exercise 1, reps: 2 entries for 3 rounds; "
    "write one entry for each round, or a single number",
    ("rounds = 3", "reps = [10]"): "block 1, exercise 1, reps: 1 entry for 3 rounds; "
    "write one entry for each round, or a single number",
    ("", "goal = [1, 2]\n[[block.exercise]]\nname = 'B'\nwork_s = [9, 9, 9]"): "block 1, "
    "exercise 2, work_s: 3 entries for 2 rounds; write one entry for each round, or a single number",
    ("", "reps = 10\ngoal = 12"): "block 1, exercise 1, goal: a window has a target or a goal, "
    "not both; keep reps for a target, or goal for an open window",
    ("", "hold = true\nreps = 3"): "block 1, exercise 1, reps: a hold counts no reps; "
    "take out reps, or hold = true",
    ("", 'hold = true\ntap = "each"'): 'block 1, exercise 1, tap: "each" is not for a hold; '
    'write "drop" or "none", or take the line out',
    ("", 'hold = true\ntap = "tally"'): 'block 1, exercise 1, tap: "tally" is not for a hold; '
    'write "drop" or "none", or take the line out',
    ("rest_s = 15", 'tap = "tally"'): 'block 1, exercise 1, tap: "tally" needs 10 s of rest right '
    "after each window, and the block's last window has none; write rest_after_last = true, or "
    "another way to tap",
    ("rounds = 3\nrest_s = 5", 'tap = "tally"'): 'block 1, exercise 1, tap: "tally" needs 10 s of '
    "rest right after each window, and round 1 has less; write rest_s = 15 and "
    "rest_after_last = true, or another way to tap",
    ("rounds = 2\nrest_s = 15\nround_rest_s = 5\nrest_after_last = true", 'tap = "tally"'): (
        'block 1, exercise 1, tap: "tally" needs 10 s of rest right after each window, and round 1 '
        "has less; write round_rest_s = 15, or another way to tap"
    ),
}


@pytest.mark.parametrize(("lines", "sentence"), BLOCKS.items())
def test_blocks(lines, sentence):
    block, exercise = lines
    assert faults(plan(block=block, exercise=exercise)) == [sentence]


NO_WINDOWS = "block: the plan has no windows; add a [[block]] with at least one [[block.exercise]]"


def test_no_windows():
    assert faults('title = "T"\n') == [NO_WINDOWS]
    assert faults("") == ['title is missing; write title = "Monday class"', NO_WINDOWS]
    assert faults('title = "T"\n[[block]]\nrounds = 2\n') == [
        "block 1: it has no exercise; add a [[block.exercise]] with name and work_s"
    ]


def test_too_many_windows():
    found = faults(plan(block="rounds = 9000", exercise=EXERCISE))
    assert found == ["block: 18000 windows; a class has at most 16000: take rounds out"]


ROTATION = """
title = "T"
layout = "rotation"
{top}
[[group]]
name = "A"
bibs = [1]
[[group]]
name = "B"
bibs = [2]
[[block]]
{block}
[[block.exercise]]
name = "One"
work_s = 30
[[block.exercise]]
name = "Two"
work_s = {work}
{two}
{more}
"""


def rotation(top="", block="", work="30", two="", more=""):
    return ROTATION.format(top=top, block=block, work=work, two=two, more=more)


def test_rotation_is_sound_as_it_stands():
    assert parse_plan(rotation().encode()).boxes == 2


ONE = '\n[[block.exercise]]\nname = "Three"\nwork_s = 30'
ROTATIONS = [
    (
        {"more": "[[block]]" + ONE},
        "block 2: 1 exercise for 2 stations; "
        "a rotation needs an exercise for each station in each block",
    ),
    (
        {"work": "40"},
        "block 1, exercise 2, work_s: differs from exercise 1; in a rotation everybody changes "
        "together, so write the same work_s for all",
    ),
    (
        {"work": "[30, 20]"},
        "block 1, exercise 2, work_s: differs from exercise 1; in a rotation everybody changes "
        "together, so write the same work_s for all",
    ),
    (
        {"two": "rest_s = 5"},
        "block 1, exercise 2, rest_s: differs from exercise 1; in a rotation everybody rests "
        "together, so write the same rest_s for all",
    ),
    (
        {"two": 'tap = "tally"', "block": "rounds = 2"},
        'block 1, exercise 2, tap: "tally" needs 10 s of rest right after each window, and round 1 '
        "has less; write rest_s = 15 and rest_after_last = true, or another way to tap",
    ),
]


@pytest.mark.parametrize(("parts", "sentence"), ROTATIONS)
def test_rotation(parts, sentence):
    assert faults(rotation(**parts)) == [sentence]


def test_rotation_needs_groups():
    assert faults(plan(top='layout = "rotation"')) == [
        "group: a rotation moves groups; add a [[group]] for each exercise"
    ]


def test_all_at_once_and_each_with_its_place():
    text = """
lead_in_s = 1
resst_s = 4
[[group]]
name = "A"
bibs = [1, 1]
[[warm_up]]
name = "Jog"
work_s = -1
[[block]]
rounds = 0
[[block.exercise]]
work_s = 1
[[block]]
[[block.exercise]]
name = "Plank"
work_s = 30
hold = true
reps = 3
tap = "each"
"""
    places = [fault.split(":")[0] for fault in faults(text)]
    assert sorted(places) == sorted(
        [
            'title is missing; write title = "Monday class"',
            "lead_in_s",
            "resst_s",
            "group 1, bibs",
            "warm-up 1, work_s",
            "block 1, rounds",
            "block 1, exercise 1",
            "block 1, exercise 1, work_s",
            "block 2, exercise 1, reps",
            "block 2, exercise 1, tap",
        ]
    )


def test_the_manuals_faults():
    found = faults(
        '[[block]]\n[[block.exercise]]\nname="A"\nwork_s=9\n'
        '[[block.exercise]]\nname="B"\nwork_s=9\nreps=0\n'
        '[[block]]\nrest=3\n[[block.exercise]]\nname="A"\nwork_s=9\n'
    )
    page = (DOCS / "engineers" / "plan-file.md").read_text(encoding="utf-8")
    assert all(f"  - {fault}\n" in page for fault in found)
    assert len(found) == 3


SYNTAX = {
    'title = "T\n': "line 1: a text ends with the quote that it began with",
    'title = "T"\n[[block\n': "line 2: a table begins with [[block]]",
    'title = "T"\ntitle = "U"\n': "line 2: this stands there already; keep one of the two",
    "title = ": "line 1: nothing stands after the =",
    "a = [[[": "line 1: this is not understood",
}


@pytest.mark.parametrize(("text", "begins"), SYNTAX.items())
def test_syntax_errors_name_the_line_and_show_it(text, begins):
    first, *_ = faults(text)
    head, said, mark, *remedy = first.split("\n")
    assert head == begins
    assert said.strip() == text.split("\n")[int(head.split()[1].rstrip(":")) - 1].strip()
    assert mark.strip("^ ") == "" and remedy


def test_a_fault_of_a_field_hides_no_fault_of_the_plan():
    said = faults(
        """title = "A"
[[group]]
name = "X"
bibs = [1]
circuit = "none"
[[block]]
  [[block.exercise]]
  name = "Squat"
  work_s = 3
  reps = 5
  goal = 6
[[block]]
format = "every-minuet"
minutes = 6
rest = 3
  [[block.exercise]]
  name = "Squat"
  reps = 12
"""
    )
    assert [fault.partition(": ")[0] for fault in said] == [
        "group 1, circuit",
        "block 1, exercise 1, work_s",
        "block 1, exercise 1, goal",
        "block 2, format",
        "block 2, rest",
    ]
    assert said[3].endswith('there is no form "every-minuet"; did you mean "every-minute"?')


@pytest.mark.parametrize(
    "block",
    ["block = [3]", "block = 3", "[block.exercise]", "block = [[]]", "block = [{format = 3}, 4]"],
)
def test_what_is_no_table_is_told_and_nothing_breaks(block):
    said = faults(f'title = "A"\nlead_in_s = -1\n{block}\n')
    assert any(fault.startswith("lead_in_s") for fault in said)
    assert any(fault.startswith("block") for fault in said)


def test_a_slip_in_a_text_that_is_nested_too_deep_or_has_a_number_too_long():
    assert faults("x = 30s\na = " + "[" * 100_000)
    assert faults("x = 30s\na = " + "9" * 5000)


def test_faults_of_fields_are_told_beside_slips():
    said = faults('title = Monday\n[[block]]\n[[block.exercise]]\nname = "A"\nwork_s = 3\n')
    assert [fault.split(":")[0] for fault in said] == ["line 1", "block 1, exercise 1, work_s"]


def test_no_depth_and_no_length_breaks_the_reader():
    (deep,) = faults("a = " + "[" * 100_000)
    assert deep == "lists or tables are nested too deep; a plan needs two levels"
    (long,) = faults("a = " + "9" * 5000)
    assert "a number can't be read" in long


@pytest.mark.parametrize(
    "line",
    ["a." * 400_000 + "a = 1", "[" + "a . " * 70 + "b]", "a = {" + '"a".' * 70 + "'b' = 1}"],
)
def test_a_key_of_very_many_parts_is_refused_before_it_is_read(line, monkeypatch):
    """The reader takes the square of a key's parts in time: half an hour for the first."""
    from handbell.base import toml

    monkeypatch.setattr(toml.tomllib, "loads", None)
    (fault,) = faults("\n" + line)
    assert fault == "a key has more than 64 parts (at line 2, column 1); write key = value"


@pytest.mark.parametrize("line", ["# ", "title = 'x' # "])
def test_dots_that_join_no_key_are_no_matter(line):
    assert faults(line + "a." * 100) == faults(line)
    assert "parts" not in faults('title = "' + "a." * 100 + '"')[0]


SAID = {
    "[fit]\nbreak_s = 30": "fit, break_s: 30 is no range; write least and most, such as [30, 60]",
    "[fit]\nbreak_s = [60, 30]": "fit, break_s: the least is above the most; write them as [30, 60]",
    "[fit]\nguided_s = [30]": "fit, guided_s: a range has two entries, least and most, such as "
    "[30, 120]",
    "[fit]\nwork_s = [3, 30]": "fit, work_s: entry 1: 3 s is too short; a window is 5 s or more",
    "[fit]\nrounds = [0, 3]": "fit, rounds: entry 1: 0 is out of range; write a number from 1 to 16000",
    '[fit]\nkeep = ["all"]': 'fit, keep: "all" isn\'t allowed here; write a list of "breaks", "rests", '
    '"warm-up", "windows", "rounds"',
    '[fit]\nkeep = "rests"': 'fit, keep: "rests" is no list; write ["rests"]',
    "[fit]\nkeep = 3": 'fit, keep: 3 isn\'t allowed here; write a list of "breaks", "rests", '
    '"warm-up", "windows", "rounds"',
    "[fit]\nminutes = 0": "fit, minutes: 0 is out of range; write a number from 1 to 360",
    "[fit]\nbrake_s = [30, 60]": "fit, brake_s: no such key here; did you mean break_s?",
    "[[fit]]\nminutes = 3": "fit: this is a table, and there is one; write [fit], its keys below",
    "[kit]\nbench = -1": 'kit: "bench": -1 is out of range; write a number from 0 to 999',
    "[[kit]]\nbench = 1": 'kit: a list is no table; write [kit], then "bench" = 2',
    "[[station]]\ncapacity = 0": "station 1, capacity: 0 is out of range; write a number from 1 to "
    "999",
}


@pytest.mark.parametrize("lines", SAID)
def test_what_fit_and_share_are_told(lines):
    assert faults(plan(top=lines)) == [SAID[lines]]


ORDER = "write a list for each group, such as [[1, 2, 3], [2, 3, 1]]"
KIT = 'write ["bench"] for one a person, or { bench = 1 } for one that a group shares'
LINES = {
    'kit = "bench"': f'exercise 1, kit: "bench" is no kit; {KIT}',
    "kit = [3]": 'exercise 1, kit: 3 is no name; write it in quotes, such as "bench"',
    "kit = { bench = 0 }": "exercise 1, kit: 0 is out of range; write a number from 1 to 999",
}
ORDERS = {
    "order = 3": f"order: 3 is no list; {ORDER}",
    "order = []": f"order: a list of it is empty; {ORDER}",
    "order = [[]]": f"order: a list of it is empty; {ORDER}",
    "order = [1, 2]": f"order: entry 1: 1 is no list; {ORDER}",
    "order = [[-1]]": "order: entry 1: -1 is out of range; write a number from 0 to 200",
}


@pytest.mark.parametrize("line", LINES)
def test_kit_of_an_exercise(line):
    assert faults(plan(exercise=line)) == [f"block 1, {LINES[line]}"]


@pytest.mark.parametrize("line", ORDERS)
def test_orders(line):
    assert faults(plan(block=line)) == [f"block 1, {ORDERS[line]}"]


@pytest.mark.parametrize(
    ("keys", "writes"),
    [
        ("rest_s = 18", "rest_after_last = true"),
        ("rest_s = 5", "rest_s = 15 and rest_after_last = true"),
        ("rest_s = 18\nround_rest_s = 20", "rest_after_last = true"),
        (
            "rest_s = 18\nround_rest_s = 5\nrounds = 2",
            "round_rest_s = 15 and rest_after_last = true",
        ),
        ("rest_s = 5\nrounds = 2\nrest_after_last = true", "rest_s = 15"),
    ],
)
def test_a_tally_asks_for_as_much_rest_as_does_and_never_for_less(keys, writes):
    def plan_of(said):
        lines = "\n".join(" = ".join(pair) for pair in said.items())
        task = '[[block.exercise]]\nname = "Squat"\nwork_s = 30\ntap = "tally"\n'
        return parse_plan(f'title = "T"\n[[block]]\n{lines}\n{task}'.encode())

    said = dict(line.split(" = ") for line in keys.split("\n"))
    with pytest.raises(PlanError, match=f"; write {writes}, or another way to tap"):
        plan_of(said)
    assert plan_of(said | dict(line.split(" = ") for line in writes.split(" and ")))


FORMLESS = '[[block]]\nformat = "@"\nminutes = 4\n[[block.exercise]]\nname = "Squat"\nreps = 5\n'


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("EMOM", 'there is no form "EMOM"; did you mean "every-minute"?'),
        ("Amrap", 'there is no form "Amrap"; did you mean "as-many-rounds"?'),
        ("Every Minute", 'there is no form "Every Minute"; did you mean "every-minute"?'),
        (
            "sprints",
            'there is no form "sprints"; write "every-minute", "as-many-rounds", "under-a-cap", '
            '"ladder", "intervals", "relay" or "hand-over"',
        ),
    ],
)
def test_a_form_that_is_none_is_all_that_is_told_of_it(said, told):
    assert faults('title = "T"\n' + FORMLESS.replace("@", said)) == [f"block 1, format: {told}"]
