"""Blocks in a short form: spelt out exactly, written out to the byte elsewhere, edited in place."""

import json
import sys

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_plans import EXAMPLES, IN_MANUAL, plans, toml
from made_sessions import LIMITS, case, session

from handbell.base.errors import HandbellError, PlanError
from handbell.cli.main import main
from handbell.coach.advice.plan import advise_all, decide, next_plan
from handbell.coach.fit.fit import Misfit, fit
from handbell.coach.library.shelf import load_library
from handbell.coach.starters.floor import floor_of
from handbell.coach.starters.starter import NAMES, ROTATION, starter
from handbell.coach.swap.rank import Wish
from handbell.coach.swap.swap import find_swaps
from handbell.coach.swap.write import swapped
from handbell.coach.writing.edit import PlanText
from handbell.coach.writing.written_out import written_out
from handbell.compile import build
from handbell.compile.schedule import resolve
from handbell.plan import schema
from handbell.plan.files import parse_plan
from handbell.plan.shorthands import FORMATS
from handbell_core.timeline import HEADER_SIZE, REST, WINDOW

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

LIBRARY = load_library()
STAYING = [name for name in NAMES if name != ROTATION]
STARTER = starter("T", STAYING, floor_of([*range(1, 5)], 2, 1), LIBRARY, {}, "t.toml")
SQUAT = 'name = "Squat"'
PUSH = 'name = "Push-up"; reps = 8'
PLANK = 'name = "Plank"'


def plan(block, *exercises, head=""):
    """Return a plan's text with one block; an exercise is ``name = "A"; reps = 3``."""
    tables = [f"[[block.exercise]]\n{e.replace('; ', chr(10))}\n" for e in exercises or [SQUAT]]
    return f'title = "T"\n{head}\n[[block]]\n{block}\n{"".join(tables)}'


def parsed(*words, **more):
    return parse_plan(plan(*words, **more).encode())


def total_s(*words, **more):
    return build(parsed(*words, **more)).totals.total_ms / 1000


def faults(*words, **more):
    with pytest.raises(PlanError) as error:
        parsed(*words, **more)
    return error.value.faults


# Published protocols, as forms


@pytest.mark.parametrize(
    ("block", "seconds"),
    [
        # Tabata et al. 1996, Med Sci Sports Exerc 28(10):1327-1330: 20 s work, 10 s rest, 7 or 8
        # sets; sums computed.
        ("work_s = 20\nrest_s = 10\nrounds = 8", 230),
        ("work_s = 20\nrest_s = 10\nrounds = 8\nrest_after_last = true", 240),
        ("work_s = 20\nrest_s = 10\nrounds = 7", 200),
        # Helgerud et al. 2007, Med Sci Sports Exerc 39(4):665-671: 4 x 4 min, 3 min between.
        ("work_s = 240\nrest_s = 180\nrounds = 4", 1500),
        # Gibala, Sports Science Exchange 139: 10 x 60 s with 60 s recovery.
        ("work_s = 60\nrest_s = 60\nrounds = 10", 1140),
    ],
)
def test_intervals_last_what_the_protocol_lasts(block, seconds):
    assert total_s('format = "intervals"\n' + block) == seconds


def test_twelve_exercises_with_ten_seconds_between():
    # Klika & Jordan 2013, ACSM's Health & Fitness Journal 17(3):8-13 (quoted): 470 s, 480 s with
    # the last transition.
    names = [f'name = "E{n}"' for n in range(12)]
    block = 'format = "intervals"\nwork_s = 30\nrest_s = 10'
    assert total_s(block, *names) == 470
    assert total_s(block + "\nrest_after_last = true", *names) == 480


def test_each_minute_rests_what_the_task_leaves_of_it():
    # Done in 38 s, 22 s are left (computed).
    built = build(parsed('format = "every-minute"\nminutes = 10', 'name = "Squat"; work_s = 38'))
    kinds = [(s.kind, s.duration_ms) for s in built.schedule.stretches[1:]]
    assert kinds == [(WINDOW, 38_000), (REST, 22_000)] * 10
    assert built.totals.total_ms == 600_000


def test_minutes_are_whole_in_a_rotation_too():
    head = 'layout = "rotation"\n' + "".join(
        f'[[group]]\nname = "G{n}"\nbibs = [{n}]\n' for n in (1, 2)
    )
    built = build(
        parsed('format = "every-minute"\nminutes = 6', SQUAT + "; reps = 9", PUSH, head=head)
    )
    assert built.totals.total_ms == 360_000
    assert [s.start_ms for s in built.schedule.stretches if s.kind == WINDOW] == [
        10_000 + 60_000 * n for n in range(6)
    ]


@given(st.integers(1, 12), st.integers(1, 5), st.integers(1, 6), st.booleans())
def test_a_ladder_is_an_arithmetic_series(first, by, rungs, back):
    """The sum of n terms is n x (first + last) / 2 (any algebra book)."""
    last = first + by * (rungs - 1)
    words = f'format = "ladder"\nfrom = {first}\nto = {last}\nby = {by}\nback = {str(back).lower()}'
    (exercise,) = parsed(words + "\nrep_s = 3").blocks[0].exercises
    up = rungs * (first + last) // 2
    assert sum(exercise.reps.values) == (2 * up - last if back else up)
    assert exercise.work.values == tuple(max(n * 3_000, 5_000) for n in exercise.reps.values)
    down = parsed(f'format = "ladder"\nfrom = {last}\nto = {first}\nby = {by}\nrep_s = 3')
    assert down.blocks[0].exercises[0].reps.values == exercise.reps.values[:rungs][::-1]


def test_a_list_is_one_window_and_a_tap_is_a_round():
    many = parsed('format = "as-many-rounds"\nminutes = 7.5\ngoal = 4', PUSH, PLANK).blocks[0]
    (window,) = many.exercises
    assert (window.work.values, window.goal.values, window.reps) == ((450_000,), (4,), None)
    assert (window.name, window.tap.rule, many.rounds) == ("8 Push-up, Plank", "each", 1)
    assert [(p.name, p.reps) for p in window.parts] == [("Push-up", 8), ("Plank", None)]


@pytest.mark.parametrize(("rounds", "tap"), [("", "finish"), ("rounds = 3", "each")])
def test_under_a_cap_the_last_tap_is_the_finish(rounds, tap):
    (window,) = parsed(f'format = "under-a-cap"\nminutes = 8\n{rounds}', PUSH).blocks[0].exercises
    assert window.reps.values == (3 if rounds else 1,)
    assert (window.tap.rule, window.work.values) == (tap, (480_000,))


def test_kit_of_a_list_is_that_of_its_parts():
    words = ["name = 'Row'; kit = ['bench', 'band']", "name = 'Step'; kit = ['bench']"]
    (window,) = parsed('format = "as-many-rounds"\nminutes = 5', *words).blocks[0].exercises
    assert [need.kit for need in window.kit] == ["bench", "band"]


GROUPS = '[[group]]\nname = "Red"\nbibs = [1, 2]\n[[group]]\nname = "Blue"\nbibs = [3, 4, 5]\n'


@pytest.mark.parametrize("buttons", [1, 2, 4])
def test_in_a_relay_one_person_of_each_group_works(buttons):
    made = parsed(
        'format = "relay"\nleg_s = 30\nlegs = 6\nrest_s = 5', head=f"buttons = {buttons}\n" + GROUPS
    )
    posts = resolve(made).posts[0][0]
    seats = [[posts[box].bibs(turn) for turn in range(6)] for box in range(2)]
    assert [[sum(bibs) for bibs in box] for box in seats] == [[1, 2, 1, 2, 1, 2], [3, 4, 5] * 2]
    assert (
        seats[1][:3]
        == {  # everybody at the button that is theirs in other blocks
            1: [(3,), (4,), (5,)],
            2: [(3,), (0, 4), (5,)],
            4: [(3,), (0, 4), (0, 0, 5)],
        }[buttons]
    )
    assert build(made).totals.total_ms == 6 * 30_000 + 5 * 5_000


# Faults


CASES = [
    ("format = 7", "", 'format: 7 isn\'t allowed here; write "every-minute", '),
    ('format = "every-minute"', PUSH, "minutes is missing; write minutes = 12"),
    (
        'format = "every-minute"\nminutes = 5',
        f"{PUSH} | {PUSH}",
        "minutes: 5 min is no whole number",
    ),
    ('format = "every-minute"\nminutes = 0', PUSH, "minutes: 0 is out of range"),
    ('format = "every-minute"\nminutes = 0.001', PUSH, "minutes: 0.001 minutes are no whole sec"),
    ('format = "every-minute"\nminutes = 5', "name = 'A'", "exercise 1: nothing says when its"),
    (
        'format = "every-minute"\nminutes = 5',
        "name = 'A'; work_s = 58",
        "exercise 1, work_s: it leaves 2 s of rest, too short",
    ),
    (
        'format = "every-minute"\nminutes = 5',
        "name = 'A'; work_s = 61",
        "exercise 1, work_s: it is longer than the 60 s",
    ),
    (
        'format = "every-minute"\nminutes = 5\nrounds = 5',
        PUSH,
        "rounds: minutes says how many; take it out",
    ),
    ('format = "as-many-rounds"\nminutes = 5\nrounds = 5', PUSH, "rounds: people make as many"),
    ('format = "as-many-rounds"\nminutes = 5', PUSH + "; tap = 'each'", "exercise 1, tap: no suc"),
    (
        'format = "as-many-rounds"\nminutes = 5',
        "name = 'A long name'; reps = 10 | name = 'A longer one'",
        "name: it is missing, and the list is longer than the 21",
    ),
    ('format = "under-a-cap"\nminutes = 5\nrounds = 0', PUSH, "rounds: 0 is out of range"),
    ('format = "ladder"\nfrom = 2', "name = 'A'", "to is missing; write to = 10"),
    (
        'format = "ladder"\nfrom = 2\nto = 9\nby = 3',
        PUSH,
        "to: steps of 3 from 2 miss it; write 8 ",
    ),
    ('format = "ladder"\nfrom = 9\nto = 2\nby = 3', PUSH, "to: steps of 3 from 9 miss it; write 3"),
    ('format = "ladder"\nfrom = 2\nto = 4', PUSH, "exercise 1, reps: they are the ladder's"),
    ('format = "ladder"\nfrom = 2\nto = 4', "name = 'A'", "exercise 1: nothing says how long"),
    (
        'format = "ladder"\nfrom = 2\nto = 4\nrep_s = 3',
        "name = 'A'; hold = true",
        "exercise 1, hold: a ladder counts reps",
    ),
    (
        'format = "intervals"\nwork_s = 20',
        "name = 'A'; work_s = 9",
        "exercise 1, work_s: the block says it for all",
    ),
    ('format = "intervals"\nwork_s = 20', "name = 'A'; repps = 9", "exercise 1, repps: no such ke"),
    ('format = "relay"\nleg_s = 30\nlegs = 4', "name = 'A'", "format: a relay is run by groups"),
    (
        'format = "relay"\nleg_s = 30\nlegs = 5',
        "name = 'A' | name = 'B'",
        "legs: 5 would end midway through 2 exercises; write 4 or 6",
    ),
    ("minutes = 5", "name = 'A'; work_s = 9", "minutes: no such key here; it goes with format"),
    ("rounds = 1", "name = 'A'; work_s = 9; rep_s = 3", "exercise 1, rep_s: no such key here; "),
]


@pytest.mark.parametrize(("block", "exercises", "begins"), CASES)
def test_a_fault_names_its_place_in_the_short_block(block, exercises, begins):
    found = faults(block, *filter(None, exercises.split(" | ")))
    assert any(fault.startswith(f"block 1, {begins}") for fault in found) or any(
        fault.startswith(f"block 1: {begins}") for fault in found
    ), found


@pytest.mark.parametrize(
    ("block", "exercises", "begin"),
    [
        (
            'format = "every-minute"\nrounds = 3\nminute = 10',
            ["name = 'A'; rest_s = 5; rep = 8", PUSH],
            [
                "minutes is missing",
                "rounds: minutes says",
                "exercise 1, rest_s: rest is",
                "minute: no such key here; did you mean minutes?",
                "exercise 1, rep: no such key here; did you mean reps?",
            ],
        ),
        (
            'format = "ladder"\nfrom = 2\ntoo = 10\nbak = true',
            ["nam = 'A'; reps = 4", "name = 'B'; rep = 3"],
            [
                "to is missing",
                "too: no such key here; did you mean to?",
                "bak: no such key here; did you mean back?",
                "exercise 1, reps: they are",
                "exercise 1: name is missing",
                "exercise 1, nam: no such",
                "exercise 2, rep: no such key here; did you mean rep_s?",
            ],
        ),
        (
            'format = "as-many-rounds"\nminutes = "10"\ngaol = 4',
            ["name = 'A'; reps = '10'", "name = 'B'; reps_s = 4"],
            [
                'minutes: "10" is no time',
                "gaol: no such key here; did you mean goal?",
                "exercise 1, reps: ",
                "exercise 2, reps_s: no such key in this form of block; did you mean reps?",
            ],
        ),
    ],
)
def test_all_faults_of_a_short_block_are_told_at_once(block, exercises, begin):
    found = [fault.replace("block 1: ", "block 1, ") for fault in faults(block, *exercises)]
    for words in begin:
        assert any(fault.startswith(f"block 1, {words}") for fault in found), (words, found)
    assert len(found) == len(begin), found


def test_a_fault_in_a_list_is_where_the_coach_wrote_it():
    long = "A name of more than thirty-two characters"
    (fault,) = faults(f'format = "as-many-rounds"\nminutes = 5\nname = "{long}"', PUSH)
    assert fault.startswith("block 1, name: ")
    (fault,) = faults(
        'format = "as-many-rounds"\nminutes = 5', PUSH, "name = 'B'; reps = 3; hold_s = 5"
    )
    assert fault.startswith("block 1, exercise 2: it has reps or sides, and hold_s")
    (fault,) = faults(
        'format = "as-many-rounds"\nminutes = 5',
        PUSH + "; kit = ['bench']",
        "name = 'B'; kit = { bench = 1 }",
    )
    assert fault.startswith("block 1, exercise 2, kit: exercise 1 says its kit in the other way")


def test_a_ladder_has_a_bound():
    (fault,) = faults('format = "ladder"\nfrom = 1\nto = 9999\nwork_s = 30', "name = 'A'")[:1]
    assert len(fault) < 200
    found = faults('format = "ladder"\nfrom = 1\nto = 9999\nrep_s = 60', "name = 'A'")
    assert [f[: f.index(":")] for f in found] == ["block 1, by", "block 1, rep_s"]


def test_remedies_can_be_written():
    (fault,) = faults('format = "every-minute"\nminutes = 10\nevery_s = 70', PUSH)
    remedy = fault.rsplit("write ", 1)[1]
    for minutes in remedy.split(" or "):
        parsed(f'format = "every-minute"\nminutes = {minutes}\nevery_s = 70', PUSH)


@pytest.mark.parametrize("exercise", ["exercise = 3", "exercise = [3]", "exercise = []", ""])
@pytest.mark.parametrize("form", FORMATS)
def test_what_is_no_block_is_refused_in_words(form, exercise):
    with pytest.raises(PlanError) as error:
        parse_plan(f'title = "T"\n[[block]]\nformat = "{form}"\n{exercise}\n'.encode())
    assert all(fault.startswith("block 1") for fault in error.value.faults)


def test_no_relay_in_a_rotation():
    head = 'layout = "rotation"\n[[group]]\nname = "Red"\nbibs = [1]\n'
    (fault,) = faults('format = "relay"\nleg_s = 30\nlegs = 4', head=head)
    assert fault == "block 1, format: a relay is for lanes; take it out, or write lanes"


# Written out


SHORT = [text for text in IN_MANUAL if "format = " in text]


def in_full(text):
    return written_out(text.encode(), "plan").decode()


@pytest.mark.parametrize("text", SHORT)
def test_written_out_it_compiles_to_the_same_class(text):
    full = in_full(text)
    short, long = build(parse_plan(text.encode())), build(parse_plan(full.encode()))
    assert "format =" not in full.replace("# format =", "")
    assert short.schedule == long.schedule
    # The header holds the plan's digest, and a sum of all ends the file; the rest is the same.
    bodies = [[box.data[HEADER_SIZE:-4] for box in built.timelines] for built in (short, long)]
    assert bodies[0] == bodies[1]
    assert in_full(full) == full


MIXED = """\
# Monday
title = 'Mixed'   # quotes stay

[[block]]   # the first
rounds = 2
  [[block.exercise]]
  name = "Squat"
  work_s = 30

# Up we go
[[block]]
format = "ladder"   # up only
from = 1
# ten would be too many
to = 5
rep_s = 3
  [[block.exercise]]
  name = "Push-up # not a comment"

# And then
[[block]]
  [[block.exercise]]
  name = "Plank"   # long
  hold = true
  work_s = 45
"""


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_what_is_not_short_stays_to_the_byte(end):
    before, after = MIXED.split("[[block]]\nformat")[0], "\n# And" + MIXED.split("\n# And")[1]
    full = written_out(MIXED.replace("\n", end).encode(), "plan").decode()
    assert full.startswith(before.replace("\n", end)) and full.endswith(after.replace("\n", end))
    middle = full[len(before.replace("\n", end)) : -len(after.replace("\n", end))]
    assert "# up only" in middle and "# ten would be too many" in middle
    assert '"Push-up # not a comment"' in middle and "# not a comment\n" not in middle
    assert end == "\n" or "\n" not in full.replace("\r\n", "")


def test_a_table_of_blocks_in_one_line_is_refused_in_words():
    text = 'title="x"\nblock=[{format="intervals",work_s=20,exercise=[{name="A"}]}]\n'
    with pytest.raises(HandbellError, match="can't be taken apart"):
        in_full(text)


@settings(max_examples=40, deadline=None)
@given(plans(), st.data())
def test_any_plan_with_short_blocks_comes_out_the_same(made, data):
    forms = [tomllib.loads(text)["block"][0] for text in SHORT]
    lanes = [f for f in forms if f["format"] not in ("relay", "hand-over")]  # these need groups
    if made.get("layout") != "rotation":
        made["block"].insert(
            data.draw(st.integers(0, len(made["block"]))), data.draw(st.sampled_from(lanes))
        )
    full = in_full(toml(made))
    assert tomllib.loads(full)["title"] == made["title"]
    assert in_full(full) == full


# The commands that edit


LIST = plan(
    'name = "Through"\nformat = "as-many-rounds"\nminutes = 6',
    "name = 'Push-up'  # full; reps = 8",
    "name = 'Plank'; hold_s = 20",
)


def test_swap_changes_a_list_where_it_stands():
    text = PlanText(LIST.encode(), "plan")
    (swap,) = find_swaps(text, LIBRARY, Wish(), "Push-up")
    assert not any(choice.entry.is_hold for choice in swap.choices)
    data, built = swapped(text, [swap])
    assert swap.new.name in data.decode() and "# full" in data.decode()
    assert built.plan.blocks[0].exercises[0].parts[0].name == swap.new.name
    (swap,) = find_swaps(text, LIBRARY, Wish(), "Plank")
    assert all(choice.entry.is_hold for choice in swap.choices)
    data, _ = swapped(text, [swap])
    assert "hold_s = 20" in data.decode()
    with pytest.raises(HandbellError, match="where a list or a ladder says reps or seconds"):
        find_swaps(text, LIBRARY, Wish(), "Push-up", "Plank")


def test_fit_keeps_what_a_form_says():
    head = "lead_in_s = 10\nbreak_s = 30\n"
    text = plan('format = "intervals"\nwork_s = 20\nrest_s = 10\nrounds = 8', head=head)
    text += plan("rounds = 4", 'name = "Lunge"; work_s = 30').split("\n", 2)[2]
    made = parse_plan(text.encode())
    fitted = fit(made, 10 * 60_000)
    assert not isinstance(fitted, Misfit)
    assert fitted.plan.blocks[0].exercises == made.blocks[0].exercises
    assert fitted.plan.blocks[0].rounds == 8
    assert fitted.after.slot_ms == 600_000


def test_share_orders_a_short_block(tmp_path, capsys):
    text = plan(
        'format = "every-minute"\nminutes = 6',
        "name = 'Row'; reps = 8; kit = ['straps']",
        PUSH,
        head="boxes = 2\n[kit]\nstraps = 1\n",
    )
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    assert main(["order", str(path), "--write"]) == 0
    capsys.readouterr()
    (block,) = parse_plan(path.read_bytes()).blocks
    assert sorted(block.order) == [(1, 2), (2, 1)] and block.format == "every-minute"


def test_advice_reaches_a_minutes_task_but_no_rung():
    ready = session(rest_s=12)
    for form, reached in (
        ('format = "every-minute"\nminutes = 3', True),
        ('format = "ladder"\nfrom = 10\nto = 10\nwork_s = 30', False),
    ):
        words = "name = 'Push-up'; reps = 10" if reached else "name = 'Push-up'; work_s = 30"
        text = PlanText(plan(form.replace("\nwork_s = 30", ""), words).encode(), "plan")
        (decision,) = decide(
            advise_all([case(ready, ready)], LIBRARY, LIMITS, text), LIMITS.everybody
        )
        assert (decision.place_in(text) is not None) is reached
        assert (b"reps = 11" in next_plan([decision], text)) is reached


# show, the schema


def test_show_expanded(tmp_path, capsys):
    path, out = tmp_path / "plan.toml", tmp_path / "full.toml"
    path.write_text(MIXED, encoding="utf-8")
    assert main(["show", str(path), "--expanded"]) == 0
    assert capsys.readouterr().out == in_full(MIXED)
    assert main(["show", str(path), "--expanded", "--out", str(out)]) == 0
    assert out.read_text(encoding="utf-8") == in_full(MIXED)
    assert main(["show", str(path), "--expanded", "--out", str(out)]) == 0  # twice does no harm
    assert main(["show", str(path), "--expanded", "--box", "1"]) == 2
    assert main(["show", str(path), "--out", str(out)]) == 2


VALIDATOR = jsonschema.Draft202012Validator(json.loads(schema.schema_text()))
PLANS = [path.read_text(encoding="utf-8") for path in EXAMPLES.values()] + IN_MANUAL


@pytest.mark.parametrize("text", [*PLANS, STARTER])
def test_the_schema_takes_every_plan_of_the_manual(text):
    """Read by a validator of JSON Schema (jsonschema, draft 2020-12)."""
    assert not list(VALIDATOR.iter_errors(tomllib.loads(text)))


@pytest.mark.parametrize("text", SHORT)
def test_the_schema_refuses_a_key_that_the_form_does_not_have(text):
    document = tomllib.loads(text)
    document["block"][0]["nonsense"] = 3
    assert list(VALIDATOR.iter_errors(document))
    document = tomllib.loads(text)
    document["block"][0]["format"] = "other"
    assert list(VALIDATOR.iter_errors(document))


@pytest.mark.parametrize(("every_s", "work_s"), [(60, 45), (30, 15), (15, None)])
def test_a_tally_in_every_minute_is_told_what_that_form_takes(every_s, work_s):
    form = f'title = "A"\n[[block]]\nformat = "every-minute"\nminutes = 3\nevery_s = {every_s}\n'
    task = f'{form}[[block.exercise]]\nname = "Squat"\nreps = 5\ntap = "tally"\n'
    with pytest.raises(PlanError) as told:
        parse_plan(task.encode())
    assert "rest_s" not in str(told.value)
    remedy = f"write work_s = {work_s}, or another way to tap" if work_s else "write another way"
    assert remedy in str(told.value)
    if work_s:
        parse_plan(f"{task}work_s = {work_s}\n".encode())
