"""The library of exercises: its data, the coach's own file over it, and what it says of a plan."""

import itertools
import json
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_plans import EXAMPLES, toml

from handbell.base.choices import PATTERNS
from handbell.base.errors import HandbellError, PlanError
from handbell.cli.main import main
from handbell.coach.library.entry import IMPACTS, SPACES, TIRES, Entry
from handbell.coach.library.files import SHIPPED
from handbell.coach.library.loads import LOADS
from handbell.coach.library.names import name_key, nearest
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.compile.schedule import resolve
from handbell.plan.files import load_plan, parse_plan
from handbell.plan.texts import LINE_MOST, drawable

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

LIBRARY = load_library()
ENTRIES = list(LIBRARY.entries.values())
RAW = [
    table
    for path in sorted(SHIPPED.glob("*.toml"))
    for table in tomllib.loads(path.read_text(encoding="utf-8"))["exercise"]
]

# The data


def test_there_are_enough_in_a_file_for_each_pattern():
    assert len(ENTRIES) == len(RAW) >= 80
    assert {path.stem for path in SHIPPED.glob("*.toml")} == set(PATTERNS)
    for pattern in PATTERNS:
        assert len([e for e in ENTRIES if e.pattern == pattern]) >= 10


def test_every_link_is_written_at_both_its_ends_and_leads_somewhere():
    written = {table["id"]: table for table in RAW}
    for id_, table in written.items():
        for key, back in (("easier", "harder"), ("harder", "easier")):
            for other in table[key]:
                assert id_ in written[other][back], (id_, key, other)


@pytest.fixture(scope="module")
def graph():
    """The ladder as an outside library sees it: an edge from each exercise to a harder one."""
    networkx = pytest.importorskip("networkx", reason="networkx checks the ladder")
    made = networkx.DiGraph()
    made.add_nodes_from(table["id"] for table in RAW)
    made.add_edges_from((table["id"], other) for table in RAW for other in table["harder"])
    return made


def test_the_ladder_has_no_loops_and_no_dead_ends(graph):
    import networkx

    assert networkx.is_directed_acyclic_graph(graph)
    for entry in ENTRIES:
        # A true end is easy enough for anybody, or hard enough for the trained.
        if not list(graph.predecessors(entry.id)):
            assert entry.level <= 2, entry.id
        if not list(graph.successors(entry.id)):
            assert entry.level >= 4, entry.id
        for other in graph.successors(entry.id):
            assert LIBRARY.entries[other].level >= entry.level
    whole = list(networkx.weakly_connected_components(graph))
    assert len(whole) == len(PATTERNS)


def test_distances_are_those_of_an_outside_library(graph):
    import networkx

    undirected = graph.to_undirected()
    for entry in ENTRIES:
        steps = LIBRARY.steps(entry)
        up = networkx.single_source_shortest_path_length(graph, entry.id)
        down = networkx.single_source_shortest_path_length(graph.reverse(), entry.id)
        around = networkx.single_source_shortest_path_length(undirected, entry.id)
        assert set(steps) == set(around) - {entry.id}
        for id_, way in steps.items():
            far = {"harder": up, "easier": down, "beside": around}[way.way]
            assert way.far == far[id_]
            assert (way.way == "beside") == (id_ not in up and id_ not in down)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_every_pattern_has_a_choice_without_kit(pattern):
    bare = [e for e in ENTRIES if e.pattern == pattern and not e.kit]
    assert len(bare) >= 3
    assert any(e.level <= 2 for e in bare)
    assert any(e.space == "spot" and e.position == "standing" for e in bare)
    assert any(e.impact == "none" for e in bare)


def test_names_fit_a_line_of_the_box_and_are_no_two_exercises():
    keys = {}
    for entry in ENTRIES:
        assert len(entry.name) <= LINE_MOST and drawable(entry.name) == entry.name
        for name in {name_key(n) for n in entry.names}:
            assert keys.setdefault(name, entry.id) == entry.id


def test_entries_say_how_and_hold_together():
    for entry in ENTRIES:
        assert entry.how.endswith(".")
        assert entry.tires or entry.level <= 1, entry.id
        if entry.impact == "high" and entry.level >= 4:
            assert entry.cautions, entry.id
        if any(need[0] == "suspension straps" for need in entry.kit):
            assert "anchor" in entry.cautions, entry.id
        if entry.position == "floor":
            assert entry.space != "spot", entry.id


def test_reps_agree_with_the_trades_usual_targets():
    """10 in 30 s for a push, pull or trunk piece, 16 for an alternating one, both sides counted.

    Source: the three-block circuit's rules, common practice.
    """
    for name in ("Push-up", "Row", "Dip", "Sit-up", "Leg raise", "Bent-over row"):
        least, most = LIBRARY.find(name).reps_30s
        assert least <= 10 <= most, name
    for name in ("Side lunge", "Reverse lunge", "Lunge", "Step-up", "Seated twist"):
        least, most = LIBRARY.find(name).reps_30s
        assert least <= 16 <= most, name


def test_the_examples_are_all_in_the_library():
    for path in EXAMPLES.values():
        for block in load_plan(path).blocks:
            for exercise in block.exercises:
                assert LIBRARY.find(exercise.name), exercise.name


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_examples_ask_for_taps_that_suit(name):
    found = coach_remarks(resolve(load_plan(EXAMPLES[name])), LIBRARY)
    assert [one for one in found if "hard to tap" in one] == []


@pytest.mark.parametrize(
    ("said", "id_"),
    [
        ("push-up", "push-up"),
        ("PUSH UPS", "push-up"),
        ("Pushups", "push-up"),
        ("Press-ups", "push-up"),
        ("burpees", "burpee"),
        ("Walking lunges", "walking-lunge"),
        ("Farmer’s walk", "farmer-carry"),
        ("Ring rows", "strap-row"),
        ("overhead presses", "shoulder-press"),
        ("Bench dips", "bench-dip"),
        ("Crunches", "crunch"),
        ("Biceps curls", "curl"),
        ("Bürpee", "burpee"),
        ("push", None),
        ("", None),
    ],
)
def test_names_match_whatever_their_writing(said, id_):
    found = LIBRARY.find(said)
    assert (found.id if found else None) == id_


def test_an_unknown_name_is_told_its_neighbours():
    assert "Burpee" in LIBRARY.near("Burpy")
    assert "Kettlebell swing" in LIBRARY.near("ketlebell swings")


# The coach's own file


NEW = {
    "id": "tyre-flip",
    "name": "Tyre flip",
    "pattern": "hinge",
    "level": 5,
    "kit": ["tyre"],
    "space": "lane",
    "impact": "low",
    "sides": "both",
    "position": "standing",
    "reps_30s": [3, 6],
    "taps": ["each", "finish"],
}


def own(tmp_path, *tables, head=None):
    path = tmp_path / "mine.toml"
    path.write_text(toml({**(head or {}), "exercise": list(tables)}), encoding="utf-8")
    return path


def test_own_exercises_extend_and_change(tmp_path):
    path = own(
        tmp_path,
        {**NEW, "easier": ["barbell-deadlift"]},
        {"id": "push-up", "reps_30s": [5, 9], "aliases": ["Floor push"]},
        {"id": "wall-sit", "reps_30s": [4, 6], "taps": ["none"]},
        head={"format": ["cardio", "push or pull", "any"], "kit": ["tyre", "bench"]},
    )
    library = load_library(path)
    assert len(library.entries) == len(ENTRIES) + 1
    deadlift = library.find("Deadlift")
    assert library.find("tyre flips") in library.harder(deadlift)  # said at one end only
    assert library.find("Floor pushes").reps_30s == (5, 9)
    assert library.find("Push-up").pattern == "push"
    assert not library.find("Wall sit").is_hold
    assert library.format == (("cardio",), ("push", "pull"), ("any",))
    assert library.kit == ("tyre", "bench")
    assert LIBRARY.find("Push-up").reps_30s != (5, 9)


def test_the_usual_place_is_the_data_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path))
    assert load_library().find("Tyre flip") is None
    own(tmp_path, NEW).rename(tmp_path / "exercises.toml")
    assert load_library().find("Tyre flip")


def faults_of(path):
    with pytest.raises(PlanError) as told:
        load_library(path)
    assert told.value.path == str(path)
    return told.value.faults


def test_every_fault_of_an_own_file_is_told_at_once(tmp_path):
    wrong = {**NEW, "level": 9, "kit": "bench", "spce": "spot", "hold_s": [30, 20]}
    del wrong["space"], wrong["reps_30s"]
    assert faults_of(own(tmp_path, wrong, {"id": "push-up", "patern": "x"}, {"id": 3})) == [
        "exercise 1 (tyre-flip), level: 9 is out of range; write a number from 1 to 5",
        'exercise 1 (tyre-flip), kit: "bench" is no list; write ["bench"]',
        'exercise 1 (tyre-flip): space is missing; write space = "spot"',
        "exercise 1 (tyre-flip), hold_s: 30 is more than 20; write the least first",
        "exercise 1 (tyre-flip), spce: no such key here; did you mean space?",
        "exercise 2 (push-up), patern: no such key here; did you mean pattern?",
        'exercise 3, id: 3 is no id; write small letters and hyphens, "towel-row"',
        *[
            f"exercise 3: {key} is missing; write {example}"
            for key, example in {
                "name": 'name = "Towel row"',
                "pattern": 'pattern = "pull"',
                "level": "level = 2",
                "kit": "kit = [] for none",
                "space": 'space = "spot"',
                "impact": 'impact = "none"',
                "sides": 'sides = "both"',
                "position": 'position = "standing"',
                "taps": 'taps = ["each", "finish"]',
            }.items()
        ],
    ]


@pytest.mark.parametrize(
    ("tables", "fault"),
    [
        (
            [{"id": "wall-push-up", "harder": ["palm-press"]}],
            "the ladder goes in a loop, each harder than the last: ",
        ),
        (
            [{**NEW, "easier": ["barbell-dedlift"]}],
            'exercise tyre-flip, easier: there is no exercise "barbell-dedlift"; did you mean '
            "barbell-deadlift?",
        ),
        (
            [{**NEW, "easier": ["push-up"]}],
            "exercise tyre-flip, easier: push-up is a push, this is a hinge; link exercises of "
            "one pattern",
        ),
        (
            [{**NEW, "harder": ["hip-hinge"]}],
            "exercise tyre-flip, harder: tyre-flip has level 5 and hip-hinge level 1; the harder "
            "one can't have the lower level",
        ),
        (
            [{**NEW, "harder": ["tyre-flip"]}],
            "exercise tyre-flip, harder: an exercise can't be its own neighbour; take it out",
        ),
        (
            [{**NEW, "name": "Press ups"}],
            'exercise tyre-flip: "Press ups" is a name of push-up already; give it another',
        ),
        ([NEW, NEW], "exercise 2 (tyre-flip): this id is there already; write each exercise once"),
        (
            [{**NEW, "taps": ["drop"]}],
            'exercise 1 (tyre-flip): taps: drop can\'t be; only a hold taps as "drop"',
        ),
    ],
)
def test_faults_between_exercises(tmp_path, tables, fault):
    found = faults_of(own(tmp_path, *tables))
    assert any(one.startswith(fault) for one in found), found


def test_a_loop_is_named_in_order(tmp_path):
    path = own(
        tmp_path,
        {**NEW, "id": "one", "name": "One", "harder": ["two"]},
        {**NEW, "id": "two", "name": "Two", "harder": ["three"]},
        {**NEW, "id": "three", "name": "Three", "harder": ["one"]},
    )
    (fault,) = faults_of(path)
    loop = fault.split(": ")[1].split(";")[0].split(" > ")
    following = {"one": "two", "two": "three", "three": "one"}
    assert len(loop) == 4 and all(following[a] == b for a, b in itertools.pairwise(loop))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"exercise = 3", "write [[exercise]], with two brackets"),
        (b"[[exercise]\n", "texts in quotes"),
        (b'format = ["legs"]', '"legs" is no place of a format'),
        (b'kit = ["bench", 3]', "3 is no text"),
        (b"\xff", "UTF-8"),
        (b"a = " + b"[" * 5000, "nested too deep"),
    ],
)
def test_a_broken_file_is_told_in_a_sentence(tmp_path, data, words):
    path = tmp_path / "mine.toml"
    path.write_bytes(data)
    assert words in " ".join(faults_of(path))


def test_a_file_that_is_not_there(tmp_path):
    assert "no such file" in faults_of(tmp_path / "none.toml")[0]
    assert "can't be read" in faults_of(tmp_path)[0]


@settings(max_examples=60, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from([*Entry.model_fields, "junk", ""]),
        st.one_of(
            st.integers(-5, 50),
            st.text(max_size=8),
            st.booleans(),
            st.lists(st.one_of(st.integers(-5, 50), st.text(max_size=8)), max_size=3),
        ),
        max_size=6,
    )
)
def test_whatever_is_written_nothing_but_sentences_come(tmp_path_factory, table):
    path = tmp_path_factory.mktemp("own") / "mine.toml"
    keyed = "\n".join(f"{json.dumps(k)} = {json.dumps(v)}" for k, v in table.items())
    path.write_text(f"[[exercise]]\n{keyed}\n", encoding="utf-8", errors="replace")
    try:
        load_library(path)
    except PlanError as error:
        assert error.faults and all(fault.strip() for fault in error.faults)


# What the library makes worth saying


HEAD = 'title = "T"\n'
WARM = '[[warm_up]]\nname = "March"\nwork_s = 60\n'
COOL = '[[cool_down]]\nname = "Walk"\nwork_s = 60\n'


def block(*names, head="rounds = 2"):
    rows = "".join(f'[[block.exercise]]\nname = "{name}"\nwork_s = 30\n' for name in names)
    return f"[[block]]\n{head}\n{rows}"


def said(*parts, library=LIBRARY, taps=False):
    found = coach_remarks(resolve(parse_plan("".join((HEAD, *parts)).encode())), library)
    return [line for line in found if ("hard to tap" in line) is taps]


def test_ways_to_tap_that_do_not_suit_are_told():
    assert said(block("Squat", "Plank"), taps=True) == []
    each = said(block("High knees", "Push-up", "Dip", "Push-up"), taps=True)
    assert each == [
        '"High knees": hard to tap each rep; tap = { every = 5 } or "tally" suits it better',
        '"Push-up" and "Dip": hard to tap each rep; tap = "tally" suits them better',
    ]
    target = '[[block]]\n[[block.exercise]]\nname = "Push-up"\nwork_s = 30\nreps = 9\n'
    assert said(target, taps=True) == [
        '"Push-up": hard to tap each rep; tap = "finish" or "tally" suits it better'
    ]
    for rule in ("finish", "none"):
        assert said(f'{target}tap = "{rule}"\n', taps=True) == []


def test_a_good_plan_gets_no_remarks():
    assert said(WARM, block("High knees", "Push-up", "Plank"), COOL) == []


def test_a_missing_warm_up_or_cool_down():
    both = said(block("High knees"))
    assert [line.split(":")[0] for line in both] == ["warm_up", "cool_down"]
    assert [line.split(":")[0] for line in said(block("High knees"), COOL)] == ["warm_up"]


def test_the_coachs_own_format(tmp_path):
    head = {"format": ["cardio", "push or pull", "trunk"]}
    library = load_library(own(tmp_path, NEW, head=head))
    fits = (block("Squat jump", "Push-up", "Crunch"), block("Burpee", "Row", "Plank"))
    assert said(WARM, *fits, COOL, library=library) == []
    # May serve as cardio or trunk besides its own pattern; and shorter and longer blocks.
    fits = (block("Kettlebell swing", "Dip", "Mountain climber", "Bike"), block("Ball slam"))
    swing = '[[warm_up]]\nname = "Kettlebell swings, light"\nwork_s = 30\n'
    assert said(swing, *fits, COOL, library=library) == []
    (line,) = said(WARM, block("Burpee", "Plank"), COOL, library=library)
    assert line == (
        'block 1, exercise 2: "Plank" has the pattern trunk, and your format has push or pull here'
    )


@pytest.mark.parametrize(
    ("parts", "practised"),
    [
        ((WARM, block("Clean", "Plank")), False),
        (('[[warm_up]]\nname = "Slow cleans"\nwork_s = 60\n', block("Clean", "Plank")), True),
        ((WARM, block("Clean", head='name = "Practice"'), block("Clean", "Plank")), True),
        ((WARM, block("Clean", head='name = "First"'), block("Clean", "Plank")), False),
    ],
)
def test_skill_without_practice(parts, practised):
    lines = [line for line in said(*parts, COOL) if "needs skill" in line]
    assert len(lines) == (0 if practised else 1)


def test_pieces_that_tire_the_same_one_after_the_other():
    (line,) = said(WARM, block("Bent-over row", "Pull-ups"), COOL)
    assert line == (
        'block 1, exercise 2: "Pull-ups" comes straight after "Bent-over row", and both tire the '
        "upper back, biceps and grip"
    )
    # Over the end of a round, in a block of one, across a break, and behind a gate.
    rounds = block("Push-up", "Squat", "Floor dip")
    (line,) = said(WARM, rounds, COOL)
    assert line.startswith('block 1, exercise 1: "Push-up" comes straight after "Floor dip"')
    assert said(WARM, block("Push-up"), COOL) == []
    assert said(WARM, block("Push-up", "Squat", "Floor dip", head="rounds = 1"), COOL) == []
    near, far = (block("Push-up", head=f"break_s = {n}") for n in (30, 60))
    assert len(said(WARM, near, block("Floor dip"), COOL)) == 1
    assert said(WARM, far, block("Floor dip"), COOL) == []
    assert said(WARM, block("Push-up"), block("Floor dip", head="gate = true"), COOL) == []


def test_a_rotation_goes_round():
    groups = "".join(f'[[group]]\nname = "G{n}"\nbibs = [{n}]\n' for n in (1, 2, 3))
    plan = f'layout = "rotation"\nchange_s = 10\n{groups}'
    lines = said(plan, WARM, block("Push-up", "Squat", "Floor dip", head="rounds = 1"), COOL)
    assert len(lines) == 1 and '"Push-up" comes straight after "Floor dip"' in lines[0]


def test_what_is_not_in_the_library_is_told_once_and_gently():
    lines = said(WARM, block("Tyre flip", "Tyre flip", *"ABCDEFG"), COOL)
    assert lines == [
        '"Tyre flip", "A", "B", "C", "D" and 3 more: not in the library, so nothing is said '
        "about them"
    ]
    assert said(WARM, block("Tyre flip"), COOL) == [
        '"Tyre flip": not in the library, so nothing is said about it'
    ]


# The command


def run(capsys, *words):
    code = main(["exercises", *map(str, words)])
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    return code, told.out, told.err


def found(capsys, *words):
    code, out, _ = run(capsys, *words, "--json")
    assert code == 0
    return json.loads(out)["data"]["exercises"]


def test_the_whole_list_and_parts_of_it(capsys):
    assert len(found(capsys)) == len(ENTRIES)
    assert {e["pattern"] for e in found(capsys, "--pattern", "carry") if not e["also"]} == {"carry"}
    bare = found(capsys, "--pattern", "pull", "--without", "Suspension Strap, rings")
    ids = {e["id"] for e in bare}
    assert "strap-row" not in ids and "band-row" in ids
    assert "flat-row" in ids  # a low bar does as well
    assert {e["id"] for e in found(capsys, "grip", "hanging")} >= {"pull-up", "dead-hang"}
    assert "narrow-push-up" not in {e["id"] for e in found(capsys, "row")}


def test_one_exercise_in_full(capsys):
    (facts,) = found(capsys, "press-ups")
    assert facts["id"] == "push-up" and "knee-push-up" in {e["id"] for e in facts["easier"]}
    _, out, _ = run(capsys, "row", "in", "straps")
    assert "upright body makes it easier" in out and "8-14" in out and "anchor" in out


def test_nothing_found_and_unknown_kit(capsys):
    code, out, _ = run(capsys, "burpy")
    assert code == 0 and "None found" in out and "Burpee" in out
    code, _, err = run(capsys, "--without", "suspensoin straps")
    assert code == 1 and "suspension straps" in err


def test_choices_of_values_are_ordered_as_the_code_counts_on():
    assert SPACES[0] == "spot" and SPACES[-1] == "lane"
    assert IMPACTS == ("none", "low", "high")


def test_everything_about_one_says_what_it_asks_of_the_body(capsys):
    """The words from which its loads follow, so that a coach can check them."""
    assert main(["exercises", "Floor dip"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "does hands down, press, hips up" in out
    assert "loads neck, shoulder, elbow, wrist, back, hip" in out


@pytest.mark.parametrize("said", ["rower", "Rower", "indoor rowing", "rowing machines"])
def test_a_machine_is_kit_by_any_of_its_names(said):
    assert load_library().kit_key(said) == name_key("rowing machine")


@pytest.mark.parametrize("said", ["barbell row", "rowers' club", "lat pull"])
def test_other_exercises_are_no_kit(said):
    with pytest.raises(HandbellError):
        load_library().kit_key(said)


@pytest.mark.parametrize("said", ["groin", "heart", "head"])
def test_a_short_word_is_like_no_part_by_half_of_its_letters(said):
    assert nearest(said, (*LOADS, *TIRES)) == []


@pytest.mark.parametrize(
    ("said", "part"),
    [("sholder", "shoulders"), ("rist", "wrist"), ("kneee", "knee"), ("hp", "hip")],
)
def test_a_part_misspelt_is_still_found(said, part):
    assert part in nearest(said, (*LOADS, *TIRES))


def test_one_calf_is_of_the_calves():
    assert name_key("calf") == name_key("calves")
