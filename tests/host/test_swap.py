"""Swapping exercises: what is offered and why, and that nothing else in the plan's file moves."""

import json
import os
import re
import sys

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from made_plans import EXAMPLES, IN_MANUAL, plans, toml

from handbell.base.errors import HandbellError
from handbell.base.words import listed
from handbell.cli.main import main
from handbell.coach.library.entry import IMPACTS, SPACES
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import load_library
from handbell.coach.swap.keys import new_keys
from handbell.coach.swap.rank import Surroundings, Wish, beyond, choices
from handbell.coach.swap.sore import sore_parts, strained
from handbell.coach.swap.swap import find_swaps
from handbell.coach.swap.write import swapped
from handbell.coach.writing.edit import Change, PlanText, write_plan
from handbell.compile import build
from handbell.plan.files import load_plan, parse_plan
from handbell.plan.own_tasks import done_by

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

LIBRARY = load_library()
ENTRIES = list(LIBRARY.entries.values())
LIBRARY_BELOW = {}  # everything easier, step after step down the ladder
for _entry in sorted(ENTRIES, key=lambda e: e.level):
    LIBRARY_BELOW[_entry.id] = []
    _queue = [_entry]
    while _queue:
        _queue += [e for e in LIBRARY.easier(_queue.pop()) if e not in LIBRARY_BELOW[_entry.id]]
        LIBRARY_BELOW[_entry.id] += [e for e in _queue if e not in LIBRARY_BELOW[_entry.id]]
THREE = EXAMPLES["three-block"]
SORE = {
    "shoulders": {"shoulder", "shoulders"},
    "knee": {"knee"},
    "back": {"back", "lower back"},
    "lower back": {"back", "lower back"},
    "upper back": {"back", "upper back"},
    "wrist": {"wrist"},
    "elbow": {"elbow"},
    "neck": {"neck"},
    "hip": {"hip", "hip flexors"},
    "ankle": {"ankle"},
}


def run(capsys, *words):
    code = main(["swap", *map(str, words)])
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    return code, told.out, told.err


def facts(capsys, *words):
    code, out, err = run(capsys, *words, "--json")
    assert code == 0, err
    return json.loads(out)["data"]


def needed(entry):
    """The kit an entry can't do without, as keys: a set of alternatives for each need."""
    return [{name_key(item) for item in need} for need in entry.kit]


# What is offered


def test_the_three_block_plan_without_straps_and_without_a_bench(capsys):
    """What a coach would do: rows from the floor or with other kit, dips on the floor."""
    told = facts(capsys, THREE, "--without", "suspension straps", "--without", "bench")
    assert [(s["exercise"], s["places"]) for s in told["swaps"]] == [
        ("Row", [{"block": 2, "exercise": 2, "part": None}]),
        ("Dip", [{"block": 3, "exercise": 2, "part": None}]),
    ]
    rows, dips = ([c["name"] for c in s["choices"]] for s in told["swaps"])
    assert rows[0] == "Lying pull-down" and "Bent-over row" in rows and "Band row" in rows
    assert dips[0] == "Floor dip" and "Push-up" in dips
    gone = {name_key("suspension straps"), name_key("bench")}
    for swap in told["swaps"]:
        assert len(swap["choices"]) == 5
        for choice in swap["choices"]:
            entry = LIBRARY.entries[choice["id"]]
            assert not any(need <= gone for need in needed(entry))
            assert choice["why"]
    assert told["written"] is None
    assert [line for line in told["difference"] if line[0] in "+-"] == [
        '-  name = "Row"',
        '+  name = "Lying pull-down"',
        '-  name = "Dip"',
        '+  name = "Floor dip"',
        "-  reps = 10",
        "+  reps = 11",
    ]
    assert THREE.read_text(encoding="utf-8").count("Row") == 1


def test_written_it_passes_the_check_with_the_same_total(capsys, tmp_path):
    """930,000 ms: the three-block circuit, common practice, computed by hand."""
    plan = tmp_path / "class.toml"
    words = (THREE, "--without", "suspension straps,bench", "--out", plan)
    assert facts(capsys, *words)["written"] == str(plan)
    assert main(["check", str(plan), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["data"]["totals"]["total_ms"] == 930_000
    before = THREE.read_text(encoding="utf-8").splitlines()
    after = plan.read_text(encoding="utf-8").splitlines()
    assert len(before) == len(after)
    changed = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    assert [b for _, b in changed] == [
        '  name = "Lying pull-down"',
        '  name = "Floor dip"',
        "  reps = 11",
    ]
    again = facts(capsys, plan, "--without", "suspension straps,bench", "--write")
    assert again["swaps"] == [] and again["written"] is None
    assert facts(capsys, *words)["written"] == str(plan)  # once more does no harm


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda e: e.id)
def test_every_choice_answers_its_reason(entry):
    around = Surroundings()
    for because in ("too-hard", "too-easy", "no-floor"):
        for choice in choices(LIBRARY, entry, Wish(because), around):
            other = choice.entry
            assert entry.pattern in other.patterns and other is not entry
            if because == "no-floor":
                assert SPACES.index(other.space) < SPACES.index(entry.space)
            else:
                assert (other.level - entry.level) * (1 if because == "too-easy" else -1) >= 0
    for wish in (Wish("too-hard"), *(Wish("sore", sore=(part,)) for part in SORE)):
        for other in (choice.entry for choice in choices(LIBRARY, entry, wish, around)):
            assert other.level <= entry.level
            assert IMPACTS.index(other.impact) <= IMPACTS.index(entry.impact)
            assert not other.skill or (entry.skill and other in LIBRARY_BELOW[entry.id])
            stand = other.level > 2 and "one leg" in other.does
            assert not stand or "one leg" in entry.does
    if LIBRARY.easier(entry):
        assert choices(LIBRARY, entry, Wish("too-hard"), around)
    if LIBRARY.harder(entry):
        assert choices(LIBRARY, entry, Wish("too-easy"), around)
    if entry.space != "spot":
        assert choices(LIBRARY, entry, Wish("no-floor"), around)
    gone = frozenset(key for need in needed(entry) for key in need)
    left = choices(LIBRARY, entry, Wish(without=gone), around)
    assert left and all(not (need & gone) for c in left for need in needed(c.entry))
    for part, avoided in SORE.items():
        for choice in choices(LIBRARY, entry, Wish("sore", sore=sore_parts([part])), around):
            assert not avoided & {*choice.entry.bears, *choice.entry.tires}


def test_the_nearest_comes_first():
    def first(name, **wish):
        return choices(LIBRARY, LIBRARY.find(name), Wish(**wish), Surroundings())[0].entry.name

    assert first("Push-up", because="too-hard") == "Knee push-up"
    assert first("Push-up", because="too-easy") in ("Narrow push-up", "Pike push-up")
    assert first("Squat jump", because="too-hard") == "Squat to tiptoe"
    assert first("Burpee", because="too-hard") == "Squat thrust"
    assert first("Walking lunge", because="no-floor") == "Lunge"
    assert first("Plank", because="too-hard") == "Knee plank"


def test_kit_that_is_there_comes_before_kit_that_may_be():
    row = LIBRARY.find("Row")
    straps = frozenset({name_key("suspension straps"), name_key("rings")})
    band = Surroundings(kit=frozenset({name_key("resistance band")}))
    assert choices(LIBRARY, row, Wish(without=straps), band)[0].entry.name == "Band row"
    only = Wish(kit=frozenset({name_key("barbell")}))
    for choice in choices(LIBRARY, row, only, Surroundings()):
        assert all(name_key("barbell") in need for need in needed(choice.entry))


def test_a_stand_in_for_missing_kit_counts_only_where_it_is_known(capsys, tmp_path):
    plan = tmp_path / "class.toml"
    text = 'title = "T"\n[[block]]\n[[block.exercise]]\nname = "Dip"\nwork_s = 30\n'
    plan.write_text(text, encoding="utf-8")
    assert len(facts(capsys, plan, "--without", "bench")["swaps"]) == 1
    assert facts(capsys, plan, "--without", "bench", "--kit", "box")["swaps"] == []
    plan.write_text(f'{text}[[block.exercise]]\nname = "Box jump"\nwork_s = 30\n', encoding="utf-8")
    assert facts(capsys, plan, "--without", "bench")["swaps"] == []


def test_the_coachs_own_kit_is_what_there_is(capsys, tmp_path):
    own = tmp_path / "mine.toml"
    own.write_text('kit = ["dumbbells"]\n', encoding="utf-8")
    told = facts(capsys, THREE, "--without", "bench", "--library", own)
    assert [s["exercise"] for s in told["swaps"]] == ["Row", "Dip"]
    assert told["swaps"][0]["choices"][0]["name"] == "Bent-over row"


def test_a_sore_part_takes_out_what_loads_it_and_says_whom_to_ask(capsys):
    code, out, _ = run(capsys, THREE, "--because", "sore", "--where", "wrists", "--json")
    told = json.loads(out)["data"]
    assert {s["exercise"] for s in told["swaps"] if s["choices"]} == {"Burpee", "Row"}
    assert {s["exercise"] for s in told["swaps"] if s["stuck"]} == {"Push-up", "Dip"}
    assert code == 1  # a push needs the hands
    _, out, _ = run(capsys, THREE, "burpees", "--because", "sore", "--where", "wrist")
    assert "qualified health professional" in out
    assert "leaves out what loads that part by the library's rules" in " ".join(out.split())


def offered(name, part, most=5):
    entry = LIBRARY.find(name)
    found = choices(LIBRARY, entry, Wish("sore", sore=sore_parts([part])), Surroundings())
    return [choice.entry.name for choice in found[:most]]


def test_what_a_careful_colleague_would_not_offer():
    """Common practice, no source: the parts that each of these loads, asked for one by one."""
    for name, part, never in (
        ("Burpee", "back", {"Squat jump", "Squat thrust", "Tuck jump", "High knees"}),
        ("Burpee", "wrist", {"Tuck jump", "Squat thrust", "Mountain climber"}),
        ("Mountain climber", "back", {"High knees", "Burpee"}),
        ("Push-up", "wrist", {"Palm press", "Shoulder press", "Wall push-up", "Floor dip"}),
        ("Push-up", "knee", {"Knee push-up"}),
        ("Plank", "knee", {"Knee plank"}),
        ("Plank", "wrist", {"Plank shoulder tap", "Knee tuck in straps"}),
        ("Squat jump", "ankle", {"Squat to tiptoe", "Box jump", "Skipping"}),
        ("Sit-up", "neck", {"Crunch", "V-up", "Hollow hold"}),
        ("Pull-up", "elbow", {"Band row", "Curl", "Towel row"}),
        ("Squat", "ankle", {"Slow squat", "Goblet squat", "Thruster"}),
        ("Push-up", "ankle", {"Raised push-up", "Narrow push-up", "Pike push-up"}),
        ("Burpee", "ankle", {"Slow climber", "Walk-out burpee", "Squat thrust"}),
        ("One-arm swing", "knee", {"One-leg deadlift", "One-leg hinge", "Kettlebell swing"}),
        ("High knees", "knee", {"Slow climber", "Squat to tiptoe"}),
        ("Hollow hold", "shoulder", {"V-up", "Dead bug", "Arch hold"}),
        ("Sit-up", "back", {"Knee to elbow", "Bicycle crunch", "Dead bug"}),
        ("Push-up", "back", {"Floor dip", "Bench dip", "Chest press in straps"}),
        ("Back squat", "neck", {"Dumbbell front squat", "Goblet squat"}),
        ("Overhead carry", "neck", {"Front carry", "Farmer carry", "Bear crawl"}),
        ("Hollow hold", "neck", {"Star side plank", "Tucked hollow hold"}),
        ("Hip hinge", "neck", {"Bridge", "Hip thrust"}),
        ("Curl", "wrist", {"Band row", "Band face pull", "Band pull-apart", "Band pull-down"}),
        ("Back squat", "back", {"One-leg squat", "One-leg bench squat"}),
        ("Double-under", "ankle", {"Thruster", "Wall ball", "Kettlebell swing"}),
    ):
        assert not never & set(offered(name, part, most=200)), (name, part)


def test_a_row_does_not_strain_a_sore_lower_back():
    assert offered("Bent-over row", "back")[:2] == ["Row in straps", "Band row"]
    assert not strained(LIBRARY.find("Row in straps"), ["back"])
    assert not strained(LIBRARY.find("Row in straps"), ["lower back"])
    assert strained(LIBRARY.find("Row in straps"), ["upper back"])


def plan_of(path, *names):
    pieces = "".join(f'[[block.exercise]]\nname = "{name}"\nwork_s = 30\n' for name in names)
    path.write_text(f'title = "T"\n[[block]]\n{pieces}', encoding="utf-8")
    return path


def test_one_that_nothing_replaces_hides_no_other(capsys, tmp_path):
    plan = plan_of(tmp_path / "class.toml", "Kettlebell swing", "Burpee", "Squat")
    code, out, err = run(capsys, plan, "--because", "sore", "--where", "back", "--write")
    assert code == 1 and err == ""
    assert "Nothing in the library can take the place of Kettlebell swing here" in out
    assert "hinge: leave it out, or name another for it, such as" in " ".join(out.split())
    assert "1. Shadow boxing" in " ".join(out.split())
    assert "Still in the plan: Kettlebell swing. Leave out what nothing can replace." in out
    names = re.findall('name = "(.*)"', plan.read_text(encoding="utf-8"))
    assert names == ["Kettlebell swing", "Shadow boxing", "Squat"]
    before = plan.read_bytes()
    code, out, _ = run(capsys, plan, "--because", "sore", "--where", "back", "--write")
    assert code == 1 and "Written" not in out and plan.read_bytes() == before


@pytest.mark.parametrize("part", SORE)
def test_what_another_pattern_offers_is_easy_and_spares_the_part(part):
    wish = Wish("sore", sore=sore_parts([part]))
    for entry in ENTRIES[::4]:
        for other in (choice.entry for choice in beyond(LIBRARY, entry, wish, Surroundings())):
            assert entry.pattern not in other.patterns and not strained(other, [part])
            assert other.level <= min(2, entry.level) and not other.skill
            assert IMPACTS.index(other.impact) <= IMPACTS.index(entry.impact)
            assert all(need & {name_key("wall")} for need in needed(other))


def test_every_list_for_a_sore_part_ends_with_the_caution(capsys, tmp_path):
    plan = plan_of(tmp_path / "class.toml", "Slow climber", "Burpee", "Log carry")
    code, out, _ = run(capsys, plan, "--because", "sore", "--where", "wrist")
    assert code == 0
    ends = "Pain stops the exercise, whichever it is; ask a qualified professional."
    assert out.count(ends) == 2
    assert "not in the library, so not looked at: Log carry" in out
    assert "look through warm-up, cool-down and own tasks" in out
    plan = plan_of(tmp_path / "class.toml", "Squat", "Log carry")
    _, out, _ = run(capsys, plan, "--because", "sore", "--where", "neck")
    assert "Every exercise that the library knows of the plan" in out and "Log carry" in out


def test_no_two_swaps_choose_the_same(capsys):
    words = (EXAMPLES["harbour"], "--because", "sore", "--where", "wrist", "--json")
    told = json.loads(run(capsys, *words)[1])["data"]
    chosen = [s["choices"][0]["id"] for s in told["swaps"] if s["choices"]]
    assert len(chosen) == len(set(chosen)) >= 3


def test_one_named_by_the_coach(capsys):
    told = facts(capsys, THREE, "row", "band rows")
    (swap,) = told["swaps"]
    assert [c["name"] for c in swap["choices"]] == ["Band row"]
    # The coach decides, and is told what speaks against it.
    told = facts(capsys, THREE, "row", "ring push-up", "--without", "suspension straps")
    (choice,) = told["swaps"][0]["choices"]
    assert choice["why"][:2] == [
        "needs suspension straps or rings, which is missing",
        "a push in place of a pull",
    ]


def test_what_people_read_of_a_swap(capsys, tmp_path):
    code, out, _ = run(capsys, THREE, "--without", "suspension straps,bench")
    assert code == 0
    words = " ".join(out.split())
    assert (
        "Reverse angel level 2, was 3" in words
        and "Push-up same level; no kit; already in" in words
    )
    assert out.endswith("Nothing written yet; add --write or --out FILE.\n")
    (tmp_path / "file").touch()
    code, _, err = run(capsys, THREE, "Push-up", "Dip", "--out", tmp_path / "file" / "x.toml")
    assert code == 1 and "can't be written" in err


def test_only_in_one_block(capsys, tmp_path):
    plan = tmp_path / "class.toml"
    one = '[[block]]\n[[block.exercise]]\nname = "Squat"\nwork_s = 30\n'
    plan.write_text('title = "T"\n' + one * 3, encoding="utf-8")
    (swap,) = facts(capsys, plan, "Squat", "--block", "2")["swaps"]
    assert swap["places"] == [{"block": 2, "exercise": 1, "part": None}]
    (swap,) = facts(capsys, plan, "Squat")["swaps"]
    assert len(swap["places"]) == 3


def test_an_exercise_that_the_library_does_not_know(capsys, tmp_path):
    plan = tmp_path / "class.toml"
    plan.write_text(
        'title = "T"\n[[block]]\n[[block.exercise]]\nname = "Tyre flip"\nwork_s = 30\nreps = 5\n',
        encoding="utf-8",
    )
    code, _, err = run(capsys, plan, "tyre flips")
    assert code == 1 and "not in the library" in err
    told = facts(capsys, plan, "tyre flips", "Clean", "--write")
    assert "reps stay as they are" in told["swaps"][0]["changes"]
    assert 'name = "Clean"' in plan.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((), 2, "what to swap"),
        (("Bike",), 1, 'has no exercise "Bike". It has Squat jump, Push-up'),
        (("Push-up", "--because", "no-kit"), 1, "Push-up needs no kit"),
        (("Push-up", "Press-ups"), 1, "Push-up is Push-up already"),
        (("Push-up", "Pres-up"), 1, "Did you mean Press-up"),
        (("Push-up", "--because", "sore"), 2, "--where knee"),
        (("Push-up", "--because", "sore", "--where", "aura"), 2, "Known parts: neck"),
        (("Push-up", "--because", "sore", "--where", ""), 2, "--where knee"),
        (("Push-up", "--because", "sore", "--where", ","), 2, "--where knee"),
        (("--because", "sore", "--where", " and "), 2, "Say what is sore"),
        (("Push-up", "--because", "sore", "--where", "upper"), 2, "Known parts: upper back"),
        (("Push-up", "--where", "knee"), 2, "--because sore"),
        (("Push-up", "Dip", "Row"), 2, "Row is one name too many"),
        (("--because", "too-hard"), 2, "handbell fit --easier changes a whole plan"),
        (("--because", "too-easy"), 2, "handbell fit --harder changes a whole plan"),
        (("--without", "bnech"), 1, "Known kit: bench"),
        (("--without", " , "), 2, "not said which kit is missing"),
        (("Push-up", "--without", ""), 2, "not said which kit is missing"),
        (("Push-up", "--block", "4"), 2, "from 1 to 3"),
        (
            ("Push-up", "--because", "sore", "--where", "shoulder"),
            1,
            "name another for it, such as",
        ),
    ],
)
def test_what_can_not_be_done_is_said(capsys, words, code, said):
    told = run(capsys, THREE, *words)
    assert told[0] == code and said in told[2], told
    assert told[2].count("\n") == 1


# What changes in the exercise


@pytest.mark.parametrize(
    ("old", "new", "values", "keys"),
    [
        # In proportion to the middles of the ranges: 10 * (6 + 12) / (8 + 14) = 8.2.
        ("push-up", "narrow-push-up", {"reps": 10}, {"reps": 8}),
        ("push-up", "narrow-push-up", {"reps": [12, 10, 8]}, {"reps": [10, 8, 7]}),
        ("push-up", "narrow-push-up", {"goal": 1}, {}),
        ("push-up", "bench-dip", {"reps": 10}, {"kit": ["bench"]}),
        # Sides taking turns are counted together, so the number is even.
        ("squat", "reverse-lunge", {"reps": 15}, {"reps": 12}),
        ("squat", "split-squat", {"reps": 15}, {"reps": 12, "both_sides": True}),
        ("split-squat", "squat", {"reps": 12, "both_sides": True}, {"reps": 15, "both_sides": False}),
        ("side-lunge", "reverse-lunge", {"reps": 16, "both_sides": True}, {}),
        ("crunch", "plank", {"reps": 10, "tap": "finish"}, {"hold": True, "reps": None, "tap": None}),
        ("crunch", "plank", {"goal": 10, "tap": "none"}, {"hold": True, "goal": None}),
        ("plank", "crunch", {"hold": True, "tap": "drop"}, {"hold": False, "tap": "each"}),
        ("plank", "crunch", {"hold": True}, {"hold": False}),
        ("plank", "wall-plank", {"hold": True, "tap": "drop"}, {}),
        ("bench-dip", "floor-dip", {"kit": ["Bench"]}, {"kit": None}),
        ("bench-dip", "floor-press", {"kit": ["mat", "bench"]}, {"kit": ["mat", "dumbbell"]}),
        ("bench-dip", "floor-press", {"kit": {"bench": 1}}, {"kit": {"dumbbell": 1}}),
        ("push-up", "floor-press", {}, {"kit": ["dumbbell"]}),
    ],
)  # fmt: skip
def test_keys_that_change(old, new, values, keys):
    entries = LIBRARY.entries
    got, said = new_keys(values, entries[old], entries[new], ["bench", "dumbbell"])
    assert got.pop("name") == entries[new].name
    assert got == keys
    assert said or not keys


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(ENTRIES), st.sampled_from(ENTRIES), st.integers(1, 9_999))
def test_reps_keep_their_proportion(old, new, reps):
    assume(old.reps_30s and new.reps_30s)
    keys, said = new_keys({"reps": reps}, old, new)
    became = keys.get("reps", reps)
    exact = reps * sum(new.reps_30s) / sum(old.reps_30s)
    step = 1 if new.sides == "both" else 2
    assert became % step == 0 and 1 <= became <= 9_999
    assert abs(became - exact) <= step / 2 or exact > 9_998 or became == step
    if became != reps:
        assert any(str(became) in words and "in 30 s" in words for words in said)


# What does not change in the file


ODD = """\ufeff# top # "of" [file]
title = 'Odd'   # the title
'count_s' = 0

[[ block ]]  # first
rounds = 3
    # before the exercise
    [[block . "exercise"]]   # heading
    # above the name
    name = 'Push-up'  # the name
    # [[block]] is only a comment
    work_s = [ # a list
      30, # one
      25,
      # [[block.exercise]]
      20 ]
    reps = [ 10, # ten
       8,   # eight

       6 ] # the end
    tap = { every = 2 } # by twos
    note = '''
[[block.exercise]]
name = "Not this one" # nor this'''

# between blocks

[[warm_up]]
name = "Push-up"
work_s = 30
\t
[[block]]
exercise = [ {name="Push-up",work_s=30,reps=10}, { name = "Plank", work_s = 20, hold = true } ] # inline
[[cool_down]]
name = "Push-up"
work_s = 30 # no line end"""


def odd(tmp_path, ends="\n"):
    plan = tmp_path / "odd.toml"
    plan.write_bytes(ODD.replace("\n", ends).encode("utf-8"))
    return plan


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_an_oddly_written_plan_keeps_all_else(capsys, tmp_path, ends):
    plan = odd(tmp_path, ends)
    facts(capsys, plan, "Push-up", "Narrow push-up", "--write")
    expected = (
        ODD.replace("name = 'Push-up'  # the name", "name = 'Narrow push-up'  # the name")
        .replace("10, # ten\n       8,   # eight\n\n       6 ]", "8, # ten\n       6,   # eight\n\n       4 ]")
        .replace('{name="Push-up",work_s=30,reps=10}', '{name="Narrow push-up",work_s=30,reps=8}')
    )  # fmt: skip
    assert plan.read_bytes().decode("utf-8") == expected.replace("\n", ends)
    assert not list(tmp_path.glob("*.tmp"))


def test_a_key_that_goes_leaves_its_comments(capsys, tmp_path):
    plan = odd(tmp_path)
    facts(capsys, plan, "Push-up", "Palm press", "--write")
    text = plan.read_text(encoding="utf-8")
    assert re.findall("#.*", text) == re.findall("#.*", ODD)
    assert tomllib.loads(text.removeprefix("\ufeff"))["block"][0]["exercise"][0] == {
        "name": "Palm press",
        "work_s": [30, 25, 20],
        "note": '[[block.exercise]]\nname = "Not this one" # nor this',
        "hold": True,
    }
    # What is new stands with the exercise's keys, not behind the comment before the next table.
    assert text.index("hold = true") < text.index("# between blocks")


def test_what_the_toml_library_can_not_do_is_refused(capsys, tmp_path):
    plan = tmp_path / "class.toml"
    text = (
        'title = "T"\n[[block]]\n[[block.exercise]]\nname = "Crunch"\nwork_s = 30\nreps = 10\n'
        "[block.exercise.tap]\nevery = 2\n"
    )
    plan.write_text(text, encoding="utf-8")
    code, _, err = run(capsys, plan, "Crunch", "Plank", "--write")
    assert code == 1 and "block 1, exercise 1" in err and "take out tap" in err
    assert plan.read_text(encoding="utf-8") == text
    facts(capsys, plan, "Crunch", "Sit-up", "--write")
    assert "every = 2" in plan.read_text(encoding="utf-8")


class Lines:
    """A plan's text with a comment of its own on every line and between, in odd places."""

    def __init__(self, draw, table):
        self.draw = draw
        self.lines = []  # text, and the (block, exercise, key) that it belongs to
        block = exercise = -1
        for line in toml(table).splitlines():
            if line.startswith("[[block.exercise"):
                exercise += 1
            elif line.startswith("[[block"):
                block, exercise = block + 1, -1
            heading = line.startswith("[")
            key = None if heading or exercise < 0 or block < 0 else line.split(" = ")[0]
            if line.startswith(("[[warm", "[[cool", "[[group")):
                exercise = -1
            for _ in range(self.draw(st.integers(0, 2))):
                self.add(draw(st.sampled_from(["", "  ", "\t", f"# {self.tag} [[block]]"])), None)
            self.add(self.spread(line) if key else line, (block, exercise, key) if key else None)
        self.add(draw(st.sampled_from(["", "# the end", f"  # {self.tag} end\n\n"])), None)

    @property
    def tag(self):
        return f"c{len(self.lines)}"

    def spread(self, line):
        """Write a value in another way: a list over lines, other spaces, a comment behind."""
        key, value = line.split(" = ", 1)
        if value.startswith("[") and self.draw(st.booleans()):
            inner = f",  # {self.tag} in\n    ".join(value[1:-1].split(", "))
            value = f"[ # {self.tag} open\n  {inner} ]"
        space = self.draw(st.sampled_from(["", " ", "\t "]))
        behind = self.draw(st.sampled_from(["", f"  # {self.tag} behind", f"#{self.tag} 'near\""]))
        quote = self.draw(st.booleans())
        if key == "name" and quote and "'" not in value and "\\" not in value:
            value = f"'{value[1:-1]}'"
        return f"{space}{key}{space}={space}{value}{behind}"

    def add(self, text, owner):
        self.lines += [(line, owner) for line in (text.split("\n"))]


@st.composite
def odd_plans(draw):
    table = draw(plans())
    made = Lines(draw, table)
    return "\n".join(line for line, _ in made.lines), made.lines


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(odd_plans(), st.data())
def test_comments_order_and_layout_survive_to_the_byte(made, data):
    source, owned = made
    ends = data.draw(st.sampled_from(["\n", "\r\n"]), label="ends")
    text = PlanText(source.replace("\n", ends).encode("utf-8"), "plan")
    place = data.draw(st.sampled_from(text.exercises), label="place")
    known = {w.values["name"] for w in text.exercises if LIBRARY.find(w.values["name"])}
    assume(place.values["name"] in known)
    to = data.draw(st.sampled_from(ENTRIES), label="to")
    assume(LIBRARY.find(place.values["name"]) is not to)
    swaps = find_swaps(text, LIBRARY, Wish(), place.values["name"], to.name, place.block + 1)
    before = tomllib.loads(source)
    after, _ = swapped(text, swaps)
    if not swaps[0].choices:  # sides that change in so short a window
        assert "would not pass the check" in str(swaps[0].stuck)
        assert after == source.replace("\n", ends).encode("utf-8")
        return
    written = after.decode("utf-8")
    assert written.count("\n") == written.count(ends)
    written = written.replace(ends, "\n")
    # The meaning: just these keys of just these exercises.
    changed = {}
    for swap in swaps:
        for at in swap.places:
            keys, _ = new_keys(at.values, swap.old, swap.new)
            changed[at.at] = keys
            exercise = before["block"][at.block]["exercise"][at.at[1]]
            exercise |= keys
            for key in [key for key, value in keys.items() if value is None]:
                del exercise[key]
    assert tomllib.loads(written) == before
    # The letters: every other line is there, as it was and where it was.
    keep = [line for line, owner in owned if not (owner and owner[2] in changed.get(owner[:2], ()))]
    new = written.split("\n")
    extra = list(new)
    at = 0
    for line in keep:
        assert line in new[at:], line
        at = new.index(line, at) + 1
        extra.remove(line)
    assert re.findall("#.*", written) == re.findall("#.*", source)
    # And what is new is only what was to change: its keys, its lists, comments it leaves behind.
    keys = {key for new_keys_ in changed.values() for key in new_keys_}
    for line in extra:
        key = line.split("=")[0].strip()
        assert key in keys or re.fullmatch(r"[\s\d,\]]*(#.*)?", line), line


DOCUMENTED = [*[p.read_bytes() for p in EXAMPLES.values()], *[m.encode() for m in IN_MANUAL]]


@pytest.mark.parametrize("source", DOCUMENTED)
def test_every_swap_of_the_documented_plans_passes_the_check(source):
    text = PlanText(source, "plan")
    for name in {w.values["name"] for w in text.exercises}:
        (swap,) = find_swaps(text, LIBRARY, Wish(), name)
        for choice in swap.choices[:3]:
            swap.choices = [choice]
            swap.said = []
            data, built = swapped(text, [swap])
            assert choice.entry.name in data.decode("utf-8")
            assert built.totals == build(parse_plan(source)).totals


# Writing


def test_a_plan_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    plan = tmp_path / "class.toml"
    plan.write_bytes(b"old")
    plan.chmod(0o640)
    with pytest.raises(HandbellError, match="has changed meanwhile"):
        write_plan(plan, b"new", b"older")
    write_plan(plan, b"new", b"old")
    assert plan.read_bytes() == b"new"
    if os.name == "posix":
        assert plan.stat().st_mode & 0o777 == 0o640
    with pytest.raises(HandbellError, match="is there already"):
        write_plan(plan, b"other", None)
    monkeypatch.setattr("os.fsync", lambda _: (_ for _ in ()).throw(OSError(28, "No space left")))
    with pytest.raises(HandbellError, match="No space left"):
        write_plan(plan, b"newer", b"new")
    assert plan.read_bytes() == b"new" and not list(tmp_path.glob("*.tmp"))


@pytest.mark.skipif(os.name != "posix", reason="symbolic links need rights on Windows")
def test_a_link_stays_a_link(tmp_path):
    real = tmp_path / "real.toml"
    real.write_bytes(b"old")
    link = tmp_path / "link.toml"
    link.symlink_to(real)
    write_plan(link, b"new", b"old")
    assert link.is_symlink() and real.read_bytes() == b"new"


def test_a_change_of_two_at_once_in_one_line():
    text = PlanText(ODD.encode("utf-8"), "plan")
    data = text.changed(
        [
            Change(("block", 1, "exercise", 0), {"name": "Row"}),
            Change(("block", 1, "exercise", 1), {"hold": False}),
        ]
    )
    assert b'{name="Row",work_s=30,reps=10}, { name = "Plank", work_s = 20, hold = false }' in data


def every_plan(path, name, reps, every, more=""):
    path.write_text(
        f'title = "T"\n[[block]]\n[[block.exercise]]\nname = "{name}"\nwork_s = 30\n'
        f"reps = {reps}\ntap = {{ every = {every} }}\n{more}",
        encoding="utf-8",
    )
    return path


def test_what_is_tapped_by_several_stays_whole_taps(capsys, tmp_path):
    """The box counts whole taps: of 11 by tens, 20 would be owed."""
    plan = every_plan(tmp_path / "class.toml", "Push-up", 10, 10)
    facts(capsys, plan, "Push-up", "--because", "too-hard", "Knee push-up", "--write")
    assert "reps = 10\n" in plan.read_text(encoding="utf-8")
    plan = every_plan(tmp_path / "class.toml", "Goblet squat", 10, 5)
    words = (
        "Goblet squat",
        "--because",
        "sore",
        "--where",
        "wrist",
        "Slow squat",
        "--write",
    )
    facts(capsys, plan, *words)
    assert "reps = 5\n" in plan.read_text(encoding="utf-8")


OWN_TAPS = """
title = "Own"
[[group]]
name = "G"
bibs = [1, 2, 3, 4]
[[block]]
  [[block.exercise]]
  name = "Push-up"
  work_s = 40
  reps = {reps}
  {tap}
    [[block.exercise.scaled]]
    bibs = [4]
    tap = {{ every = {every} }}
    [[block.exercise.scaled]]
    bibs = [3]
    name = "Narrow push-up"
    [[block.exercise.scaled]]
    bibs = [2]
    reps = 7
    tap = {{ every = 7 }}
"""


@pytest.mark.parametrize(
    ("reps", "tap", "every", "became"),
    [
        (10, "", 5, 10),  # the library's ranges make 11 of it
        (24, "tap = { every = 4 }", 6, 24),  # 26
        (24, "tap = { every = 2 }", 5, 20),
        (12, "tap = { every = 4 }", 5, 10),  # 13: no 20, so each is tapped, but by bib 4
    ],
)
def test_who_inherits_reps_and_taps_otherwise_owes_no_more(
    capsys, tmp_path, reps, tap, every, became
):
    """Those with reps of their own don't count: bib 2's are by sevens."""
    plan = tmp_path / "own.toml"
    plan.write_text(OWN_TAPS.format(reps=reps, tap=tap, every=every), encoding="utf-8")
    before = parse_plan(plan.read_bytes()).blocks[0].exercises[0]
    words = ("Push-up", "--because", "too-hard", "Knee push-up", "--write")
    told = facts(capsys, plan, *words)
    after = parse_plan(plan.read_bytes()).blocks[0].exercises[0]
    assert after.reps.values == (became,)
    for bib in (1, 4):
        was, now = done_by(before, bib), done_by(after, bib)
        assert now.tap.owed(now.reps.at(1)) == became <= was.tap.owed(was.reps.at(1))
    assert done_by(after, 3).reps == done_by(before, 3).reps  # of an exercise that stays
    assert done_by(after, 2).reps.values == (7,)
    assert [line for line in told["warnings"] if "hard to tap" not in line] == []


@pytest.mark.parametrize(
    ("reps", "more", "became"),
    [
        ("7", "", "6"),
        ("8", "", "8"),
        ("[8, 4, 1]", "", "[8, 4, 1]"),  # one rep can't be halved
        ("9", "tap = { every = 3 }", "6"),
        ("7", "[[block.exercise.scaled]]\nbibs = [1]\ntap = { every = 5 }\n", "6"),
    ],
)
def test_reps_of_one_the_library_does_not_know_are_whole_on_both_sides(
    capsys, tmp_path, reps, more, became
):
    """Seven would be three and a half on each side."""
    plan = tmp_path / "class.toml"
    plan.write_text(
        'title = "T"\n[[block]]\nrounds = 3\n[[block.exercise]]\nname = "Sledge of ours"\n'
        f"work_s = 30\nreps = {reps}\n{more}\n",
        encoding="utf-8",
    )
    told = facts(capsys, plan, "Sledge of ours", "One-leg deadlift", "--write")
    assert f"reps = {became}\n" in plan.read_text(encoding="utf-8")
    assert "both_sides = true" in plan.read_text(encoding="utf-8")
    said = told["swaps"][0]["changes"]
    why = f"reps {reps.strip('[]')} become {became} (whole on both sides)"
    assert (why if reps != became else "reps stay as they are") in said


def test_whose_own_reps_stay_is_said(capsys, tmp_path):
    """They were fewer than everybody's, and are more now."""
    plan = tmp_path / "own.toml"
    plan.write_text(OWN_TAPS.format(reps=10, tap="", every=5), encoding="utf-8")
    told = facts(capsys, plan, "Push-up", "Knee push-up")
    said = "bib 2: reps of their own stay 7, so look whether they fit"
    assert [words for words in told["swaps"][0]["changes"] if "their own" in words] == [said]


def test_why_each_is_tapped_is_true_where_sides_double_a_tap(capsys, tmp_path):
    plan = every_plan(tmp_path / "class.toml", "Squat", 10, 5)
    told = facts(capsys, plan, "Squat", "Reverse lunge", "--write")
    after = parse_plan(plan.read_bytes()).blocks[0].exercises[0]
    assert 5 < after.reps.values[0] < 10 and after.tap.every == 1
    said = "a tap for each rep now: in whole taps and both sides alike it would be 10 or more"
    assert said in told["swaps"][0]["changes"]


def test_where_a_tap_would_be_more_than_all_each_is_tapped(capsys, tmp_path):
    plan = every_plan(tmp_path / "class.toml", "Squat", 10, 10)
    told = facts(capsys, plan, "Squat", "Slow squat", "--write")
    after = parse_plan(plan.read_bytes()).blocks[0].exercises[0]
    assert after.tap.owed(after.reps.values[0]) == after.reps.values[0] < 10
    assert any("a tap for each rep now" in said for said in told["swaps"][0]["changes"])


def test_the_plans_own_remarks_are_told_too(capsys, tmp_path):
    own = "[[block.exercise.scaled]]\nbibs = [1]\ntap = { every = 7 }\n"
    plan = every_plan(tmp_path / "class.toml", "Push-up", 7, 7, own)
    own_only = plan.read_text(encoding="utf-8").replace("tap = { every = 7 }\n[[", "[[", 1)
    plan.write_text(own_only, encoding="utf-8")
    told = facts(capsys, plan, "Push-up", "Narrow push-up")
    assert any("are not a multiple of 7" in warning for warning in told["warnings"])


def test_to_spare_somebody_jumps_never_get_more(capsys, tmp_path):
    plan = tmp_path / "class.toml"
    plan.write_text(
        'title = "T"\n[[block]]\n[[block.exercise]]\nname = "Burpee"\nwork_s = 30\nreps = 8\n',
        encoding="utf-8",
    )
    spared, usual = tmp_path / "spared.toml", tmp_path / "usual.toml"
    words = (plan, "Burpee", "Squat jump", "--out")
    facts(capsys, *words, spared, "--because", "sore", "--where", "wrist")
    facts(capsys, *words, usual)
    assert "reps = 8\n" in spared.read_text(encoding="utf-8")
    assert "reps = 8\n" not in usual.read_text(encoding="utf-8")


def test_a_skill_counts_as_known_down_its_ladder_or_where_the_plan_has_it():
    def offers(name, **around):
        wish = Wish("sore", sore=("ankle",))
        found = choices(LIBRARY, LIBRARY.find(name), wish, Surroundings(**around))
        return [choice.entry.name for choice in found]

    assert "Kettlebell swing" in offers("One-arm swing")  # a step down
    assert "Kettlebell swing" not in offers("Burpee")
    assert "Kettlebell swing" not in offers("Double-under")  # another skill
    known = frozenset({"kettlebell-swing"})
    assert "Kettlebell swing" in offers("Double-under", in_plan=known)


def test_every_sore_part_is_known_by_itself(capsys):
    assert sore_parts(["knee, wrists"]) == ("knee", "wrists")
    assert sore_parts(["left knee and lower back"]) == ("left knee", "lower back")
    assert sore_parts(["right hip flexor, Upper back"]) == ("right hip flexor", "Upper back")
    for words in (
        "knee, spine",
        "knee spine",
        "spine",
        "lower",
        "left",
        "flexors",
        "back lower hip",
    ):
        with pytest.raises(HandbellError, match="is no body part here"):
            sore_parts([words])
    code, _, err = run(capsys, THREE, "--because", "sore", "--where", "knee, spine")
    assert code == 2 and '"spine" is no body part here' in err


def test_a_push_press_for_a_sore_knee_becomes_a_press():
    around = Surroundings(kit=frozenset({name_key("dumbbells")}))
    wish = Wish("sore", sore=("knee",))
    first = choices(LIBRARY, LIBRARY.find("Push press"), wish, around)[0].entry
    assert first.name == "Shoulder press"
    for name in ("Pike push-up", "Bar dip", "Wood chop", "Bent-over row"):
        assert LIBRARY.find(name).cautions, name


@pytest.mark.parametrize("part", SORE)
def test_what_newly_loads_another_part_comes_last(part):
    wish = Wish("sore", sore=sore_parts([part]))
    for entry in ENTRIES:
        if strained(entry, wish.sore):
            found = choices(LIBRARY, entry, wish, Surroundings())
            # What needs kit that may not be there is no choice to be put before the others.
            found = [c for c in found if not c.new_kit]
            fresh = [bool(set(c.entry.bears) - set(entry.bears)) for c in found]
            assert fresh == sorted(fresh), entry.name


def test_a_part_that_is_newly_loaded_is_said(capsys, tmp_path):
    plan = plan_of(tmp_path / "class.toml", "Burpee", "Band row")
    _, out, _ = run(capsys, plan, "Band row", "--because", "sore", "--where", "wrist")
    told = facts(capsys, plan, "Band row", "--because", "sore", "--where", "wrist")["swaps"][0]
    old, new = (LIBRARY.find(name).bears for name in ("Band row", told["choices"][0]["name"]))
    assert told["newly_loads"] == [p for p in new if p not in old] != []
    assert f"loads the {listed(told['newly_loads'])}, which Band row does not" in " ".join(
        out.split()
    )
    plain = facts(capsys, plan, "Burpee", "--because", "too-hard")["swaps"][0]
    assert plain["newly_loads"] == []


def with_own(tmp_path, main, own):
    plan = tmp_path / "own.toml"
    plan.write_text(
        f'title = "T"\nboxes = 3\n[[block]]\n[[block.exercise]]\nname = "Crunch"\nwork_s = 30\n{main}\n'
        f"[[block.exercise.scaled]]\nbibs = [3]\n{own}\n",
        encoding="utf-8",
    )
    return plan


@pytest.mark.parametrize(
    ("main", "own", "words"),
    [
        ("reps = 12", 'name = "Lying heel drop"', "bib 3: Lying heel drop keeps reps 12"),
        ('reps = 12\ntap = "finish"', 'name = "Lying heel drop"', "keeps reps 12"),
        ("goal = [12]", 'name = "Lying heel drop"', "keeps goal 12"),
        ("", 'name = "Lying heel drop"', "else it would be a hold"),
        ("", 'name = "Log roll"', "bib 3: Log roll is a hold now, too"),
    ],
)
def test_an_own_exercise_stays_what_it_was_when_everybodys_becomes_a_hold(
    capsys, tmp_path, main, own, words
):
    plan = with_own(tmp_path, main, own)
    was = done_by(load_plan(plan).blocks[0].exercises[0], 3)
    _, out, _ = run(capsys, plan, "Crunch", "Knee plank", "--write")
    assert words in " ".join(out.split())
    now = done_by(load_plan(plan).blocks[0].exercises[0], 3)
    if LIBRARY.find(now.name) is None:
        return  # told, since nobody can say what it is
    assert not now.hold and now.name == was.name
    assert (now.reps, now.tap) == (was.reps, was.tap)
    if was.goal or was.reps:
        assert now.goal == was.goal


def test_an_own_exercise_keeps_its_hold_or_its_reps(capsys, tmp_path):
    plan = with_own(tmp_path, "hold = true", 'name = "Plank"')
    text = plan.read_text(encoding="utf-8").replace("Crunch", "Knee plank")
    plan.write_text(text, encoding="utf-8")
    run(capsys, plan, "Knee plank", "Crunch", "--write")
    assert done_by(load_plan(plan).blocks[0].exercises[0], 3).hold
    plan = with_own(tmp_path, "reps = 8", 'name = "Lying heel drop"')
    run(capsys, plan, "Crunch", "Bicycle crunch", "--write")
    both = load_plan(plan).blocks[0].exercises[0]
    assert both.reps.at(1) != 8 and done_by(both, 3).reps.at(1) == 8


SHORT_LIST = """
title = "L"
[[block]]
format = "as-many-rounds"
minutes = 8
[[block.exercise]]
name = "Squat"
reps = 9
[[block.exercise]]
name = "Row"
reps = 9
"""


def test_a_list_that_grows_past_a_boxs_line_gets_a_name(capsys, tmp_path):
    plan = tmp_path / "class.toml"
    plan.write_text(SHORT_LIST, encoding="utf-8")
    code, out, _ = run(capsys, plan, "Row", "Bent-over row", "--write")
    assert code == 0 and 'the list gets a name, "List of 2"' in " ".join(out.split())
    block = load_plan(plan).blocks[0]
    assert block.name == "List of 2" and block.exercises[0].names == ("Squat", "Bent-over row")
    plan.write_text(SHORT_LIST, encoding="utf-8")
    run(capsys, plan, "Row", "Dip", "--write")
    assert load_plan(plan).blocks[0].name is None


def test_for_what_is_too_easy_the_next_level_comes_first():
    """From one level to the one after the next nobody is led where the next will do."""
    for entry in ENTRIES:
        found = choices(
            LIBRARY, entry, Wish("too-easy"), Surroundings(kit=frozenset({"pull-up bar"}))
        )
        levels = [choice.entry.level - entry.level for choice in found]
        assert not found or levels[0] <= 1 or min(levels) > 1, entry.name


def test_what_can_not_be_tapped_rep_by_rep_is_tapped_at_the_end(capsys, tmp_path):
    plan = tmp_path / "class.toml"
    head = 'title = "T"\n[[block]]\n[[block.exercise]]\nname = "Burpee"\nwork_s = 30\n'
    plan.write_text(f"{head}reps = 8\n", encoding="utf-8")
    told = facts(capsys, plan, "Burpee", "Squat thrust", "--write")
    assert load_plan(plan).blocks[0].exercises[0].tap.rule == "finish"
    assert "one tap now, when all reps are made" in told["swaps"][0]["changes"]
    assert not [w for w in told["warnings"] if "hard to tap" in w]
    plan.write_text(f"{head}goal = 8\n", encoding="utf-8")  # nothing to be made at the end
    facts(capsys, plan, "Burpee", "Squat thrust", "--write")
    assert load_plan(plan).blocks[0].exercises[0].tap.rule == "each"
