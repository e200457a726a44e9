"""Whatever a fault tells a coach to write: written there, that fault is gone and no other one in it.

All tables and keys of a plan against what people write as values.
"""

import copy
import re

import pytest
from test_toml_slips import followed

from handbell.base import toml
from handbell.base.errors import PlanError
from handbell.plan.files import parse_plan
from handbell.plan.going_on import at_place, faults_in
from handbell.plan.slips.values import reads

PLAN = """title = "T"
@top
[kit]
bench = 9
@kit
[fit]
minutes = 45
@fit
[[group]]
name = "A"
bibs = [1, 2]
@group
[[group]]
name = "B"
bibs = [3, 4]
[[station]]
label = "Left"
@station
[[station]]
[[warm_up]]
name = "March"
work_s = 60
@warm_up
[[block]]
name = "Blocks"
rounds = 3
rest_s = 15
@block
[[block.exercise]]
name = "Lunge"
work_s = 40
@exercise
[[block.exercise.scaled]]
bibs = [2]
@scaled
[[block]]
name = "Mins"
format = "every-minute"
minutes = 6
@minutes
[[block.exercise]]
name = "Squat"
reps = 8
[[block]]
name = "List"
format = "as-many-rounds"
minutes = 6
@list
[[block.exercise]]
name = "Dip"
@part
[[block]]
name = "Up"
format = "ladder"
from = 2
to = 10
by = 2
@ladder
[[block.exercise]]
name = "Burpee"
work_s = 40
"""
TABLES = {  # of keys that are checked in the same way one or two
    "top": "lead_in_s grid_s count_s boxes silent layout",
    "kit": "bench",
    "fit": "minutes break_s work_s rounds keep",
    "group": "name bibs",
    "station": "at capacity",
    "warm_up": "work_s",
    "block": "rounds rest_s round_rest_s gate order format",
    "exercise": "work_s reps goal hold tap both_sides kit note",
    "scaled": "bibs reps goal tap out",
    "minutes": "minutes every_s",
    "list": "goal",
    "part": "reps hold_s both_sides",
    "ladder": "from to back rep_s",
}
ODD = [
    "10 per side",
    "10/10",
    "[10, 8, 6] each side",
    "[10 each side, 8 each side, 6 each side]",
    "10R/10L",
    "[30s, 20s, 10s]",
    "[0:30, 0:20, 0:10]",
    "0:30, 0:20, 0:10",
    "0,5 min",
    "0.5 min",
    "1:30",
    "42:30",
    "1:75",
    "90 sec",
    "1m30",
    "10/12",
    "1/2",
    "30-45",
    "30 to 45",
    "8..12",
    "two",
    "ten",
    "max",
    "10x2",
    "3 x 10",
    "10 + 10",
    "30 on 15 off",
    "30 30 30",
    "[30 20 10]",
    "10",
    "010",
    "10,",
    "1.",
    ".5",
    "1.000",
    "7,5",
    "yes",
    "No",
    "true each side",
    "each",
    "every 2",
    "finish",
    "A",
    '"10 each side"',
    '"30"',
    '"8-10"',
    '"yes"',
    "'x",
    "bench, mat",
    "2 m",
    "-5",
    "1e3",
    "½",
    "12 reps",
    "about 12",
    "[1, 2",
    "1 and 2",
    "1-4",
    "{1, 2}",
    "emom",
    "rotate",
    "3.14159 min",
    "ninety",
]
CASES = [(table, key) for table, keys in TABLES.items() for key in keys.split()]
ALL_VALUES = ["reps", "work_s", "minutes", "bench"]  # for these keys; for others every third


def plan_with(table):
    """The plan with no other block than that of a table."""
    head, *blocks = re.split(r"(?m)^(?=\[\[block\]\])", PLAN)
    return head + next((block for block in blocks if f"@{table}\n" in block), blocks[0])


def written(table, key, value):
    """The plan with a line in a table, in place of the one that is there, and the line's number."""
    lines = plan_with(table).split("\n")
    at = lines.index(f"@{table}")
    begin = max((n for n in range(at) if lines[n].startswith("[")), default=0)
    there = [n for n in range(begin, at) if re.match(rf"{key} =", lines[n])]
    if there:
        lines[there[0]] = ""
    lines[at] = f"{key} = {value}"
    return "\n".join("" if line.startswith("@") else line for line in lines), at


def place_of(text, at):
    """The place in the document of the key of a line."""
    lines = text.split("\n")
    lines[at] = re.sub(r"=.*", '= "\ue000"', lines[at].split("\n")[0])

    def walk(value, place):
        pairs = value.items() if isinstance(value, dict) else ()
        pairs = enumerate(value) if isinstance(value, list) else pairs
        for step, one in pairs:
            yield from walk(one, (*place, step))
        if value == "\ue000":
            yield place

    (place,) = walk(toml.loads("\n".join(lines)), ())
    return place


def faults_at(text, place):
    found = faults_in(toml.loads(text))
    return [words for where, words in found if where[: len(place)] == place]


@pytest.mark.parametrize(("table", "key"), CASES)
def test_a_line_that_is_proposed_is_taken(table, key):
    refused = []
    for value in ODD if key in ALL_VALUES else ODD[CASES.index((table, key)) % 3 :: 3]:
        text, at = written(table, key, value)
        if reads(value):
            continue
        with pytest.raises(PlanError) as told:
            parse_plan(text.encode())
        slips = [fault for fault in told.value.faults if re.match(r"line \d+: ", fault)]
        for slip in slips:
            if "\n    write:\n" in slip:
                right = followed(text, [slip])
                lines = [line[6:] for line in slip.split("    write:\n")[1].split("\n")]
                for n, line in enumerate(lines):
                    if not line.startswith("#"):
                        place = place_of("\n".join(right.split("\n")), at + n)
                        refused += [(value, line, fault) for fault in faults_at(right, place)]
    assert not refused


RIGHT_TOML = [
    "0",
    "-1",
    "3.5",
    '"x"',
    "true",
    "[]",
    "{}",
    "[1]",
    "99999",
    "[30, 60, 90]",
    "5",
    "1",
    "2",
    "7",
    "58",
    "61",
    "30.25",
    '["bench"]',
    "{ bench = 1 }",
    '"EMOM"',
    '"rests"',
    '"rotation"',
    '"round"',
    '"tally"',
    '"finish"',
    '"drop"',
    "{ every = 1 }",
    '"every 5"',
    '"8-10"',
    '"10 each side"',
]
VALUE = r"(?:\w+ = )?(?:\"[^\"]*\"|[\d.]+|true|false|\{[^}]*\}|\[[^;]*?\])"
OFFER = re.compile(rf"\bwrite (?:it as )?({VALUE})(?= |$|,|;)(?: or ({VALUE})(?= |$|,|;))?")


@pytest.mark.parametrize("table", TABLES)
def test_a_value_that_a_sentence_proposes_is_taken(table):
    refused = []
    for key in TABLES[table].split():
        for value in RIGHT_TOML:
            document = toml.loads(written(table, key, value)[0])
            for place, words in faults_in(document):
                found = None if "entry " in words else OFFER.search(words)
                for offer in filter(None, found.groups() if found else ()):
                    is_line = re.match(r"\w+ = ", offer)
                    ((name, right),) = toml.loads(offer if is_line else f"x = {offer}").items()
                    trial = copy.deepcopy(document)
                    within = place if isinstance(at_place(trial, place), dict) else place[:-1]
                    where = within if is_line else place[:-1]
                    at_place(trial, where)[name if is_line else place[-1]] = right
                    there = (*where, name if is_line else place[-1])
                    after = faults_in(trial)
                    left = [w for p, w in after if (p, w) == (place, words) or p == there]
                    refused += [(key, value, words, offer, left)] if left else []
    assert not refused
