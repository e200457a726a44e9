"""What is spared where a part is sore: over the whole library, each joint and each muscle."""

import pytest

from handbell.base.errors import UsageError
from handbell.cli.main import main
from handbell.coach.library.entry import IMPACTS, TIRES
from handbell.coach.library.files import SHIPPED
from handbell.coach.library.loads import FROM_TIRED, LOADS, MOVED_BY
from handbell.coach.library.shelf import load_library
from handbell.coach.swap.rank import Surroundings, Wish, beyond, choices
from handbell.coach.swap.sore import moved_by, sore_parts, stands_for, strained

LIBRARY = load_library()
ENTRIES = list(LIBRARY.entries.values())
PARTS = (*LOADS, *TIRES)
# A landing jolts all but the arms, as the readers of blind_marks.toml marked it. Common practice,
# no source.
ARMS = {"shoulder", "elbow", "wrist", "chest", "shoulders", "triceps", "biceps", "grip"}
# Which joints each muscle moves, said anew. Common practice, no source.
JOINTS = {
    "quads": "hip knee",
    "glutes": "hip",
    "hamstrings": "hip knee",
    "calves": "knee ankle",
    "hip flexors": "hip back",
    "chest": "shoulder",
    "shoulders": "shoulder",
    "triceps": "shoulder elbow",
    "upper back": "shoulder back neck",
    "biceps": "shoulder elbow",
    "grip": "wrist elbow",
    "abs": "back",
    "obliques": "back",
    "lower back": "back",
}


def spared(part):
    """The part and its joints."""
    return {part, *JOINTS.get(part, "").split()}


@pytest.mark.parametrize("part", PARTS)
def test_whatever_loads_a_sore_part_or_its_joints_is_proposed_away(part):
    assert sore_parts([part]) == (part,)
    for entry in ENTRIES:
        if spared(part) & {*entry.bears, *entry.tires} or (
            entry.impact == "high" and part not in ARMS
        ):
            assert strained(entry, [part]), entry.name
            assert strained(entry, [f"left {part}"]), entry.name


@pytest.mark.parametrize("part", PARTS)
def test_nothing_proposed_loads_a_sore_part_or_its_joints_or_is_more(part):
    wish = Wish("sore", (part,))
    proposed = 0
    for old in ENTRIES:
        if not strained(old, [part]):
            continue
        found = choices(LIBRARY, old, wish, Surroundings())
        for new in (c.entry for c in found or beyond(LIBRARY, old, wish, Surroundings())):
            proposed += 1
            assert not spared(part) & {*new.bears, *new.tires}, (old.name, new.name)
            assert new.level <= old.level, (old.name, new.name)
            assert IMPACTS.index(new.impact) <= IMPACTS.index(old.impact), (old.name, new.name)
    assert proposed > 20


def test_every_muscle_says_what_it_moves():
    assert set(MOVED_BY) == set(TIRES) == set(JOINTS)
    for muscle, joints in MOVED_BY.items():
        assert set(joints) == spared(muscle) - {muscle}
        assert set(FROM_TIRED.get(muscle, ())) <= set(joints), muscle
        assert spared(muscle) <= set(stands_for(muscle))


def test_a_joint_stands_for_itself_alone():
    for part in LOADS:
        assert set(stands_for(part)) & set(LOADS) == {part}
        assert moved_by([part]) == ()
    assert moved_by(["right calves"]) == ("knee", "ankle")
    assert moved_by(["hamstrings", "knee"]) == ("hip",)


def known_parts(word):
    with pytest.raises(UsageError) as caught:
        sore_parts([word])
    return caught.value.remedy.removeprefix("Known parts: ").split(", ")


def test_no_other_part_of_the_body_is_suggested_for_one_that_is_not_known():
    """Only a slip of the letters is put right; else all parts are listed."""
    assert known_parts("sholder") == ["shoulders"] and known_parts("anckle") == ["ankle"]
    for word in ("groin", "heart", "foot", "thigh"):
        assert known_parts(word) == list(PARTS), word


PLAN = 'title = "Speed"\n[[warm_up]]\nname = "W"\nwork_s = 60\n[[block]]\nrest_s = 30\n' + "".join(
    f'  [[block.exercise]]\n  name = "{name}"\n  work_s = 30\n'
    for name in ("Shuttle run", "Burpee")
)


def swap(capsys, path, text, *words):
    path.write_text(text, encoding="utf-8")
    main(["swap", str(path), *words])
    told = capsys.readouterr()
    return " ".join(told.out.split()) + told.err


def test_a_sore_muscle_takes_out_what_bends_its_joints_and_says_which(capsys, tmp_path):
    said = ("--because", "sore", "--where", "hamstring", "--write")
    out = swap(capsys, tmp_path / "p.toml", PLAN, *said)
    assert "Shuttle run (block 1, exercise 1): strains the hamstring" in out
    assert "Shadow boxing" in out
    assert "spared too, as what these muscles move: hip, knee" in out


OWN = """\
[[exercise]]
id = "brick-press-up"
name = "Brick press-up"
pattern = "push"
level = 3
kit = []
space = "mat"
impact = "none"
sides = "both"
position = "floor"
reps_30s = [8, 14]
taps = ["finish", "tally"]
tires = ["chest"]
easier = ["knee-push-up"]
"""


def own_library(tmp_path, more=""):
    path = tmp_path / "lib.toml"
    path.write_text(OWN + more, encoding="utf-8")
    return path, load_library(path)


def test_the_library_says_what_everything_loads():
    assert all(entry.loads_known for entry in ENTRIES)
    assert SHIPPED.is_dir()


@pytest.mark.parametrize("part", PARTS)
def test_what_nobody_says_the_loads_of_is_never_proposed_for_a_sore_part(tmp_path, part):
    _, library = own_library(tmp_path)
    for old in (library.find("Push-up"), library.find("Bench dip")):
        found = choices(library, old, Wish("sore", (part,)), Surroundings())
        assert "Brick press-up" not in [choice.entry.name for choice in found]


def test_loads_of_none_are_said_on_purpose(tmp_path):
    for more in ("loads = []\n", "does = []\n", 'does = ["press"]\n'):
        _, library = own_library(tmp_path, more)
        assert library.find("Brick press-up").loads_known
        found = choices(library, library.find("Push-up"), Wish("sore", ("wrist",)), Surroundings())
        assert "Brick press-up" in [choice.entry.name for choice in found]


def test_what_changes_a_known_exercise_keeps_what_is_known_of_its_loads(tmp_path):
    own = tmp_path / "lib.toml"
    own.write_text('[[exercise]]\nid = "push-up"\nreps_30s = [6, 10]\n', encoding="utf-8")
    assert load_library(own).find("Push-up").loads_known


def test_in_a_plan_it_is_named_as_not_looked_at(capsys, tmp_path):
    path, _ = own_library(tmp_path)
    said = ("--because", "sore", "--library", str(path), "--where")
    plan = PLAN.replace("Burpee", "Brick press-up")
    out = swap(capsys, tmp_path / "p.toml", plan, *said, "wrist")
    assert "Every exercise that the library knows of the plan can be done as things stand" in out
    assert "not known what it loads, so not looked at: Brick press-up" in out
    # What is known of it counts: it tires the chest, so it loads the shoulder.
    out = swap(capsys, tmp_path / "p.toml", plan, *said, "shoulder")
    assert "Brick press-up (block 1, exercise 2): strains the shoulder" in out
    assert "not looked at: Brick" not in out and "which Brick press-up does not" not in out


def test_who_names_it_all_the_same_is_told(capsys, tmp_path):
    path, _ = own_library(tmp_path)
    plan = PLAN.replace("Burpee", "Push-up")
    said = ("Push-up", "Brick press-up", "--because", "sore", "--where", "wrist")
    out = swap(capsys, tmp_path / "p.toml", plan, *said, "--library", str(path))
    assert "1. Brick press-up not known what it loads" in out


def test_what_nobody_says_the_loads_of_is_no_easier_step(tmp_path):
    from handbell.coach.fit.one_step import one_step
    from handbell.coach.writing.edit import PlanText

    text = PLAN.replace("Shuttle run", "Brick press")
    harder = OWN.replace("-up", "").replace("level = 3", "level = 4")
    harder = harder.replace('"knee-push"', '"brick-press-up"') + 'does = ["hands down"]\n'
    for more, taken in (("", False), ("does = []\n", True)):
        path = tmp_path / "lib.toml"
        path.write_text(harder + OWN + more, encoding="utf-8")
        found = one_step(PlanText(text.encode(), "p.toml"), load_library(path), "easier").data
        assert (b"Brick press-up" in found) is taken, more


def test_the_page_of_an_exercise_says_what_is_not_known(capsys, tmp_path):
    path, _ = own_library(tmp_path)
    assert main(["exercises", "Brick press-up", "--library", str(path)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "loads shoulder; what else isn't known, so write does or loads" in out


@pytest.mark.parametrize("wish", [Wish("sore", sore=("wrist",)), Wish("too-hard")])
def test_where_there_are_landings_there_are_no_more_of_them(wish):
    """An open window has no target to be kept down: what comes must not go by faster."""
    found = 0
    for old in ENTRIES:
        if old.impact != "high" or old.reps_30s is None:
            continue
        for choice in choices(LIBRARY, old, wish, Surroundings()):
            found += 1
            if choice.entry.impact == "high" and choice.entry.reps_30s:
                assert jumps(choice.entry) <= jumps(old), (old.name, choice.entry.name)
                assert choice.entry.reps_30s[1] <= old.reps_30s[1], (old.name, choice.entry.name)
    assert found > 20


def jumps(entry):
    """Most landings in 30 s: a way of a run is many steps, a jack lands apart and together."""
    each = {"shuttle-run": 8, "jumping-jack": 2}.get(entry.id, 1)
    return each * entry.reps_30s[1]


@pytest.mark.parametrize("part", ["wrist", "elbow", "shoulder", "chest"])
def test_a_run_takes_no_burpees_place(part):
    """Both are counted by 4 to 8 in 30 s, and tapped alike; but a rep of a run is many steps."""
    wish = Wish("sore", sore=(part,))
    found = choices(LIBRARY, LIBRARY.need("Burpee long jump"), wish, Surroundings())
    assert "shuttle-run" not in [choice.entry.id for choice in found]
