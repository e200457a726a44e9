"""Times and sides that are rarely meant are told, and what is usual is not."""

import pytest

from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.compile import build
from handbell.compile.schedule import resolve
from handbell.plan.files import parse_plan
from handbell.plan.remarks import remarks

LIBRARY = load_library()


def told(exercise: str, block: str = "", more: str = "") -> list[str]:
    text = f'title = "A"\n[[block]]\n{block}\n[[block.exercise]]\n{exercise}\n{more}\n'
    plan = parse_plan(text.encode())
    return [*remarks(plan), *coach_remarks(resolve(plan), LIBRARY)]


@pytest.mark.parametrize(("work_s", "is_told"), [(600, False), (601, True), (1800, True)])
def test_a_window_of_minutes_is_told(work_s, is_told):
    said = told(f'name = "Squat"\nwork_s = {work_s}')
    assert any("in one window; times are in seconds" in line for line in said) is is_told


def test_a_form_that_goes_on_for_long_is_not():
    said = told('name = "Squat"\nreps = 5', 'format = "as-many-rounds"\nminutes = 20')
    assert not any("in one window" in line for line in said)


@pytest.mark.parametrize(("work_s", "is_told"), [(5, True), (59, True), (60, False)])
@pytest.mark.parametrize(("key", "word"), [("warm_up", "warm-up"), ("cool_down", "cool-down")])
def test_a_warm_up_of_seconds_is_told(key, word, work_s, is_told):
    said = told('name = "Squat"\nwork_s = 30', "", f'[[{key}]]\nname = "M"\nwork_s = {work_s}')
    assert (f"{key}: the {word} is 0:{work_s % 60:02} in all; is that meant?" in said) is is_told


@pytest.mark.parametrize(
    ("block", "exercise", "is_told"),
    [
        ("", "", True),
        ("rounds = 2", "", False),
        ("rounds = 3", "", True),
        ("rounds = 3", "both_sides = true", False),
    ],
)
def test_what_one_side_does_alone_is_told_where_one_gets_more(block, exercise, is_told):
    said = told(f'name = "Side plank"\nwork_s = 30\nhold = true\n{exercise}', block)
    assert any("is for one side at a time" in line for line in said) is is_told


PEOPLE = '[[group]]\nname = "Red"\nbibs = [1, 2, 3]\n'


def test_who_is_never_asked_in_a_block_is_named():
    """Two buttons, three people and one long window: the third made rounds nobody counted."""
    block = '[[block]]\nformat = "as-many-rounds"\nminutes = 5\n[[block.exercise]]\nname = "Squat"\nreps = 9\n'
    head = 'title = "X"\nbuttons = 2\nturns = "window"\n'
    notes = build(parse_plan(f"{head}{PEOPLE}{block}".encode())).warnings
    assert len(notes) == 1 and notes[0].startswith("block 1: bib 3 is never asked to tap in it")
    enough = f'title = "X"\nbuttons = 3\n{PEOPLE}{block}'
    assert build(parse_plan(enough.encode())).warnings == []
    twice = (
        f'{head}{PEOPLE}[[block]]\nrounds = 2\n[[block.exercise]]\nname = "Squat"\nwork_s = 30\n'
    )
    assert build(parse_plan(twice.encode())).warnings == []
    none = (
        f'{head}{PEOPLE}[[block]]\n[[block.exercise]]\nname = "Squat"\nwork_s = 30\ntap = "none"\n'
    )
    assert build(parse_plan(none.encode())).warnings == []


def relay(exercises, people, block, exercise="", more=""):
    text = f'title = "X"\n{more}\n[[group]]\nname = "Red"\nbibs = {[*range(1, people + 1)]}\n'
    return f"{text}[[block]]\n{block}\n" + "".join(
        f'[[block.exercise]]\nname = "E{n}"\n{exercise.format(n=n)}\n' for n in range(exercises)
    )


def told_of_legs(text):
    return [n for n in build(parse_plan(text.encode())).warnings if "every exercise" in n]


@pytest.mark.parametrize(
    ("exercises", "people", "legs", "told"),
    [
        (2, 2, 4, ""),
        (2, 2, 2, "bibs 1, 2 of"),
        (2, 3, 6, ""),
        (3, 2, 6, ""),
        (3, 3, 9, ""),
        (3, 3, 6, "write legs = 9"),
        (4, 2, 8, ""),
        (4, 2, 4, "write legs = 8"),
        (2, 3, 4, "bibs 2, 3 of"),
    ],
)
def test_a_relay_with_too_few_legs_for_everybody_says_how_many_do(exercises, people, legs, told):
    said = told_of_legs(relay(exercises, people, f'format = "relay"\nleg_s = 30\nlegs = {legs}'))
    assert [told in note for note in said] == [True] * bool(told)


def test_a_relay_written_in_rounds_is_told_in_rounds():
    (note,) = told_of_legs(relay(3, 2, "relay = true\nrounds = 1", "work_s = 30"))
    assert note.endswith("write rounds = 2")
    assert not told_of_legs(relay(3, 2, "relay = true\nrounds = 2", "work_s = 30"))


@pytest.mark.parametrize(
    ("block", "exercise"),
    [
        ("order = [[2, 1]]", "work_s = 30"),
        ("", "work_s = 3{n}"),
        ("", "work_s = 30\nrest_s = 1{n}"),
    ],
)
def test_a_relay_in_which_somebody_always_does_the_same_is_told(block, exercise):
    """Two people and two exercises that keep their order: one pushes and the other carries."""
    text = relay(2, 2, f"relay = true\nrounds = 4\n{block}", exercise)
    (note,) = told_of_legs(text)
    assert note.endswith("write another number of exercises than 2")


@pytest.mark.parametrize(("legs", "bibs"), [(2, "bibs 1 to 3"), (4, "bibs 1, 3")])
def test_who_misses_an_exercise_is_named_by_who_runs_first(legs, bibs):
    """After four legs bib 2 of three begins: of four legs, of two exercises, it has two."""
    before = 'format = "relay"\nleg_s = 30\nlegs = 4\n[[block.exercise]]\nname = "Row"\n'
    text = relay(2, 3, f'{before}[[block]]\nformat = "relay"\nleg_s = 30\nlegs = {legs}')
    (note,) = told_of_legs(text)
    assert note.startswith(f'block 2: {bibs} of "Red" do not get')


def test_a_relays_groups_are_told_in_one_sentence():
    groups = "".join(
        f'[[group]]\nname = "{name}"\nbibs = {bibs}\n'
        for name, bibs in (("Red", [1, 2, 3]), ("Blue", [4, 5, 6]), ("Grey", [7, 8]))
    )
    relay = '[[block]]\nformat = "relay"\nleg_s = 30\nlegs = 4\n'
    relay += "".join(f'[[block.exercise]]\nname = "E{n}"\n' for n in range(2))
    notes = build(parse_plan(f'title = "X"\n{groups}{relay}'.encode())).warnings
    assert [n for n in notes if "legs for" in n] == [
        'block 1: 4 legs for the 3 of "Red" and "Blue": 1 of each does one more than the others'
    ]
    assert [n for n in notes if "every exercise" in n] == [
        'block 1: bibs 2, 3 of "Red" and bibs 5, 6 of "Blue" do not get to every exercise; '
        "write legs = 6",
    ]


def test_practice_is_led_before_the_blocks_and_counts_in_no_sum():
    """A block to practise in counted in work, density, energy and landings."""
    text = (
        'title = "X"\nlead_in_s = 0\nchange_s = 5\n[[practice]]\nname = "Clean, light"\nwork_s = 90\n'
        '[[warm_up]]\nname = "March"\nwork_s = 60\n[[block]]\n[[block.exercise]]\nname = "Clean"\n'
        'work_s = 30\ntap = "finish"\nreps = 5\n'
    )
    built = build(parse_plan(text.encode()))
    assert [(row.class_ms, row.kind, row.what) for row in built.timetable[:4]] == [
        (0, "warm-up", "March"),
        (60_000, "practice", "Clean, light"),
        (150_000, "change", ""),
        (155_000, "window", "Clean, 5 reps, tap finish"),
    ]
    assert (built.totals.work_ms, built.totals.windows) == (30_000, 1)
    notes = [*built.warnings, *coach_remarks(built.schedule, LIBRARY)]
    assert not any("practised" in note for note in notes)
    unpractised = build(parse_plan(text.replace("Clean, light", "Skips").encode()))
    assert any(
        "name it in a [[practice]]" in n for n in coach_remarks(unpractised.schedule, LIBRARY)
    )


def test_every_exercise_may_be_written_as_a_hold():
    """One that the library has no hold for is the coach's own way of doing it: nothing on taps."""
    for entry in LIBRARY.entries.values():
        said = told(f'name = "{entry.name}"\nwork_s = 30\nhold = true')
        assert not any("hard to tap" in line for line in said), entry.name


def test_kit_that_no_exercise_takes_is_told():
    kit = "[kit]\nbox = 1"
    jumps = 'name = "Box jump"\nwork_s = 30'
    assert (
        '[kit] counts box, and no exercise takes it; by the library "Box jump" needs it: '
        'write kit = ["box"] at it'
    ) in told(jumps, "", kit)
    assert (
        '[kit] counts box, and no exercise takes it; write kit = ["box"] at each that does'
    ) in told('name = "Squat"\nwork_s = 30', "", kit)
    assert not any("[kit]" in line for line in told(f'{jumps}\nkit = ["box"]', "", kit))


PRACTICE = '[[practice]]\nname = "Clean"\nwork_s = 60\n'
LEGS = '[[block]]\n[[block.exercise]]\nname = "Squat"\nwork_s = 30\n'


@pytest.mark.parametrize(
    ("parts", "behind"),
    [
        ((PRACTICE, LEGS, LEGS), None),
        ((LEGS, PRACTICE, LEGS), 1),
        ((PRACTICE, LEGS, PRACTICE, LEGS, PRACTICE), 2),
    ],
)
def test_practice_behind_a_block_is_told_once_to_come_before_it(parts, behind):
    said = remarks(parse_plan(f'title = "A"\n{"".join(parts)}'.encode()))
    assert [line.split(":")[0] for line in said if "led before the first one" in line] == (
        [f"practice {behind}"] if behind else []
    )
