"""What the library says of loads: the rules, over every exercise. Common practice, no source."""

import re
from pathlib import Path

import pytest

from handbell.base.choices import PATTERNS
from handbell.coach.library.loads import (
    FROM_DOING,
    FROM_IMPACT,
    FROM_TIRED,
    LOADS,
    MOVED_BY,
    follows,
)
from handbell.coach.library.shelf import load_library
from handbell.coach.swap.rank import Surroundings, Wish, choices, kit_in_use

LIBRARY = load_library()
ENTRIES = LIBRARY.entries
PAGE = Path(__file__).parents[2] / "docs" / "engineers" / "exercises.md"

# What contains what: each exercise on the left passes through the whole of those on the right.
CONTAINS = {
    "burpee-long-jump": ["burpee"],
    "burpee": ["squat-thrust", "squat-jump", "push-up"],
    "squat-thrust": ["walk-out-burpee", "mountain-climber"],
    "walk-out-burpee": ["slow-climber"],
    "mountain-climber": ["slow-climber", "plank"],
    "slow-climber": ["plank"],
    "squat-jump": ["squat-to-tiptoe", "squat"],
    "squat-to-tiptoe": ["squat"],
    "tuck-jump": ["high-knees", "squat"],
    "box-jump": ["squat-to-tiptoe"],
    "jumping-jack": ["half-jack"],
    "half-jack": ["march-in-place"],
    "jog-in-place": ["march-in-place"],
    "high-knees": ["jog-in-place"],
    "shuttle-run": ["jog-in-place"],
    "double-under": ["skipping"],
    "skater-jump": ["skater-step", "side-shuffle"],
    "bike-sprint": ["bike"],
    "squat": ["half-squat", "sit-to-stand", "wall-sit"],
    "goblet-squat": ["squat"],
    "dumbbell-front-squat": ["goblet-squat"],
    "back-squat": ["goblet-squat"],
    "wall-ball": ["goblet-squat"],
    "thruster": ["dumbbell-front-squat", "shoulder-press"],
    "one-leg-squat": ["one-leg-bench-squat", "squat"],
    "one-leg-bridge": ["bridge"],
    "hip-thrust": ["bridge"],
    "strap-leg-curl": ["bridge"],
    "one-leg-deadlift": ["one-leg-hinge", "romanian-deadlift"],
    "one-leg-hinge": ["hip-hinge"],
    "romanian-deadlift": ["hip-hinge"],
    "barbell-deadlift": ["kettlebell-deadlift"],
    "kettlebell-deadlift": ["hip-hinge"],
    "kettlebell-swing": ["kettlebell-deadlift"],
    "one-arm-swing": ["kettlebell-swing"],
    "clean": ["barbell-deadlift"],
    "dumbbell-lunge": ["reverse-lunge"],
    "loaded-walking-lunge": ["walking-lunge", "dumbbell-lunge"],
    "dumbbell-step-up": ["step-up"],
    "raised-split-squat": ["split-squat"],
    "strap-lunge": ["split-squat"],
    "cossack-squat": ["side-lunge"],
    "jumping-lunge": ["forward-lunge"],
    "split-squat": ["half-lunge", "held-split-squat"],
    "push-up": ["wall-push-up", "plank"],
    "knee-push-up": ["wall-push-up", "knee-plank"],
    "raised-push-up": ["wall-push-up", "plank"],
    "narrow-push-up": ["push-up"],
    "feet-raised-push-up": ["push-up"],
    "strap-push-up": ["push-up", "strap-press"],
    "handstand-push-up": ["wall-push-up"],
    "dumbbell-bench-press": ["floor-press"],
    "push-press": ["shoulder-press"],
    "shoulder-press": ["band-press"],
    "floor-dip": ["bridge"],
    "bench-dip": ["floor-dip"],
    "bar-dip": ["dead-hang"],
    "bent-over-row": ["bent-w-raise", "band-row", "reverse-fly"],
    "one-arm-row": ["band-row", "reverse-fly"],
    "plank-row": ["plank-tap", "band-row"],
    "reverse-angel": ["lying-w-raise"],
    "lying-pull-down": ["lying-w-raise"],
    "flat-row": ["strap-row", "bridge"],
    "one-arm-strap-row": ["strap-row"],
    "pull-up": ["band-pull-up", "lowering-pull-up"],
    "lowering-pull-up": ["dead-hang"],
    "band-pull-up": ["dead-hang"],
    "plank": ["wall-plank"],
    "knee-plank": ["wall-plank"],
    "plank-tap": ["plank"],
    "strap-plank": ["plank"],
    "strap-tuck": ["plank-tap"],
    "ball-roll-out": ["knee-plank"],
    "side-plank": ["wall-plank"],
    "star-side-plank": ["side-plank"],
    "hollow-hold": ["tucked-hollow"],
    "tucked-hollow": ["crunch", "heel-drop"],
    "dead-bug": ["heel-drop", "tall-march"],
    "sit-up": ["crunch"],
    "weighted-sit-up": ["sit-up"],
    "v-up": ["hollow-hold", "sit-up", "leg-raise"],
    "bicycle-crunch": ["crunch", "knee-to-elbow"],
    "weighted-twist": ["seated-twist"],
    "leg-raise": ["heel-drop"],
    "hanging-knee-raise": ["dead-hang", "reverse-crunch"],
    "hanging-leg-raise": ["hanging-knee-raise", "leg-raise"],
    "swimmer": ["back-raise"],
    "arch-hold": ["swimmer"],
    "tall-march": ["march-in-place"],
    "farmer-march": ["march-in-place"],
    "farmer-carry": ["farmer-march"],
    "suitcase-carry": ["farmer-march"],
    "front-carry": ["farmer-march"],
    "overhead-carry": ["front-carry", "tall-march"],
    "bear-crawl": ["bear-hold"],
    "bear-hold": ["plank"],
    "loaded-crawl": ["bear-crawl"],
    "crab-walk": ["floor-dip"],
}  # fmt: skip


@pytest.mark.parametrize(("whole", "parts"), CONTAINS.items())
def test_what_contains_another_loads_at_least_the_same(whole, parts):
    for part in parts:
        missing = set(ENTRIES[part].bears) - set(ENTRIES[whole].bears)
        if whole in ("dead-bug", "bicycle-crunch"):
            missing -= {"ankle"}  # lying, no foot bears weight
        assert not missing, (whole, part, missing)


def test_what_is_described_by_another_loads_at_least_the_same():
    """ "A push-up from the knees", "A reverse lunge with a weight in each hand", and so on."""
    seen = 0
    for entry in ENTRIES.values():
        said = re.match(r"(?:An?|The) ([\w -]+?) (?:with|on|from|against|in|whose)\b", entry.how)
        other = LIBRARY.find(said[1]) if said else None
        if other is None or other is entry:
            continue
        seen += 1
        # From the knees no toes bear; at a wall the heels are down, nothing hangs through, and the
        # head is nearly upright.
        upright = {"wall-push-up": {"neck", "back", "ankle"}, "knee-push-up": {"ankle"}}.get(
            entry.id, set()
        )
        missing = set(other.bears) - set(entry.bears) - upright
        assert not missing, (entry.id, other.id, missing)
    assert seen >= 12


RULES = [
    # What is done, by words of its description or kit: what it loads at least.
    (
        r"push-up|burpee|squat thrust|climber|crawl|bear hold|crab|plank (row|shoulder)|dip$",
        {"wrist"},
    ),
    (r"palm press|shoulder press|push press|overhead carry|thruster|clean|back squat", {"wrist"}),
    (r"push-up|plank|climber|burpee|bear|crawl", {"shoulder"}),
    (r"sit-up|crunch|v-up|twist|chop|slam|row(ing|er) machine|deadlift|swing", {"back"}),
    (r"squat|lunge|step-up|bike", {"knee", "hip"}),
    (r"knee (push-up|plank|side plank)|bird dog|roll-out", {"knee"}),
    (r"lunge|split squat|cossack|jump|skipping|double-under", {"ankle"}),
    (
        r"^((?!knee|wall|ball|handstand).)*(plank|climber|burpee|push-up|bear|crawl|squat thrust)",
        {"ankle"},
    ),
    (r"one-leg (squat|bench squat|hinge|deadlift)|step-up|skater", {"knee", "hip", "ankle"}),
    (r"(floor|bench) dip|crab|bridge|hip thrust|flat row|leg curl", {"neck"}),
    (
        r"carry|deadlift|clean|swing|thruster|(front|back) squat|goblet|dumbbell (lunge|st)",
        {"neck"},
    ),
    (r"^band (?!good|pull-up)|face pull|anti-rotation|^curl", {"wrist", "elbow"}),
    (
        r"dead bug|v-up|^hollow hold|arch hold|swimmer|pull-down|half jack|march.*overhead",
        {"shoulder"},
    ),
    (r"to elbow|bicycle|twist|chop", {"back"}),
    (r"hang|pull-up$|dip$|row$|press", {"shoulder", "elbow"}),
    (r"sit-up|crunch$|v-up|hollow|back raise|swimmer|arch hold", {"neck"}),
    (r"handstand|pike|overhead carry|back squat|good morning", {"neck"}),
]


@pytest.mark.parametrize(("pattern", "parts"), RULES)
def test_names_tell_what_is_loaded(pattern, parts):
    head_down = {"reverse-crunch"}
    matched = [e for e in ENTRIES.values() if re.search(pattern, e.name, re.I)]
    assert len(matched) >= 4
    for entry in matched:
        missing = parts - set(entry.bears)
        if entry.id in head_down:
            missing -= {"neck"}
        assert not missing, (entry.id, missing)


SHALLOW = {"half-squat", "sit-to-stand", "strap-squat", "wall-sit"}  # the shins stay upright


def test_words_of_the_description_imply_loads():
    """Positions imply loads, over the whole library. Common practice, no source."""
    rules = [
        # Arms or hands long or overhead, off the floor.
        (r"arms (and legs )?(long|overhead)|lower an arm|hands and feet meet", {"shoulder"}),
        # Knees over the toes, or all the weight on one foot.
        (r"\bsquat\b(?!.*above)|lunge|on one leg|step up (?!to the top)", {"knee", "hip"}),
        (r"one leg\b(?!.*lift)|from one foot to the other", {"ankle"}),
        (r"turn the shoulders|turning on the feet|other (elbow|knee)|curl the|sit-up", {"back"}),
        (r"^on the back.*(hips up|lift the hips)|hips just off the floor", {"back", "hip", "neck"}),
    ]
    for pattern, parts in rules:
        matched = [e for e in ENTRIES.values() if re.search(pattern, e.how, re.I)]
        assert len(matched) >= 3, pattern
        for entry in matched:
            missing = parts - set(entry.bears)
            assert not missing, (entry.id, missing, pattern)


def test_deep_squats_load_the_ankle_and_shallow_ones_leave_a_way_out():
    for entry in ENTRIES.values():
        if "squat" in entry.patterns:
            assert ("ankle" in entry.bears) is (entry.id not in SHALLOW), entry.id


def test_what_puts_all_the_weight_on_one_foot_by_turns_loads_the_ankle():
    """Marching and walking do, and turning on the feet; a seat or planted feet don't."""
    by_turns = [e for e in ENTRIES.values() if {"step", "loaded steps", "one leg"} & set(e.does)]
    assert {"march-in-place", "half-jack", "tall-march", "knee-to-elbow"} <= {
        e.id for e in by_turns
    }
    for entry in (*by_turns, ENTRIES["wood-chop"]):
        assert "ankle" in entry.bears, entry.id
    for name in ("bike", "shadow-boxing"):
        assert "ankle" not in ENTRIES[name].bears, name
    assert "planted" in ENTRIES["shadow-boxing"].how
    assert {"knee", "hip"} <= set(ENTRIES["bike"].bears)


def test_a_head_held_up_face_down_or_sideways_loads_the_neck():
    """In planks, push-ups, crawls and bows alike; not near upright, or with the head down."""
    holds = r"face down|straight-arm plank|hands and (toes|knees)|forearms? and|long back|\bbow\b"
    held = [e for e in ENTRIES.values() if re.search(holds, e.how, re.I)]
    held += [ENTRIES[name] for name in ("push-up", "knee-push-up", "raised-push-up", "burpee")]
    held += [ENTRIES[name] for name in ("hip-hinge", "strap-press", "ball-roll-out")]
    assert len(held) >= 25
    for entry in held:
        assert "neck" in entry.bears, entry.id
    for name in ("wall-push-up", "floor-press", "strap-row", "leg-raise", "wall-plank"):
        assert "neck" not in ENTRIES[name].bears, name


@pytest.mark.parametrize(
    ("name", "part", "first"),
    [
        ("Bike sprint", "ankle", "Bike"),
        ("Fast feet", "ankle", "Shadow boxing"),
        ("Clean", "ankle", "Deadlift"),
        ("Curl", "neck", "Towel row"),
        ("Star side plank", "neck", "Leg raise"),
        ("Plank", "neck", "Wall plank"),
        ("Bear crawl", "neck", "Tall march"),
        ("Push-up", "neck", "Wall push-up"),
    ],
)
def test_first_choices_spare_the_part(name, part, first):
    old = LIBRARY.find(name)
    around = Surroundings(kit=kit_in_use([old]))
    assert choices(LIBRARY, old, Wish("sore", sore=(part,)), around)[0].entry.name == first


def test_what_the_hands_hold_loads_the_wrist():
    """A band, straps, a bar, a ball: but where the feet are in it or it lies elsewhere."""
    held = {"resistance band", "suspension straps", "pull-up bar", "dip bars", "medicine ball"}
    elsewhere = {"band-good-morning", "strap-plank", "strap-leg-curl", "strap-lunge"}
    for entry in ENTRIES.values():
        if any(set(need) & held for need in entry.kit) and entry.id not in elsewhere:
            assert "wrist" in entry.bears, entry.id


def test_landings_load_legs_and_jumps_the_back():
    for entry in ENTRIES.values():
        if entry.impact != "none":
            assert {"knee", "ankle"} <= set(entry.bears), entry.id
        if entry.impact == "high":
            assert {"hip", "back"} <= set(entry.bears), entry.id


def test_positions_say_what_is_done():
    for entry in ENTRIES.values():
        if entry.position == "hanging":
            assert "hanging" in entry.does
        if entry.position == "seated":
            assert "hip" in entry.bears
        assert entry.bears, entry.id


def test_weights_in_hands_load_wrist_elbow_and_shoulder_and_the_back_of_who_stands():
    weights = {"dumbbells", "kettlebells", "kettlebell", "barbell", "sandbag"}
    for entry in ENTRIES.values():
        if any(set(need) & weights for need in entry.kit):
            assert {"wrist", "elbow", "shoulder"} <= set(entry.bears), entry.id
            assert entry.position != "standing" or {"back", "neck"} <= set(entry.bears), entry.id


def test_what_a_key_says_again_is_not_written_twice():
    """``loads`` holds only what does not follow from the rest."""
    from handbell.coach.library.loads import follows

    for entry in ENTRIES.values():
        assert not set(entry.loads) & set(follows(entry.does, entry.impact, entry.tires)), entry.id


def test_the_page_tells_every_rule():
    rows = dict(re.findall(r"^\| `(.+?)` \| .* \| (.+?) \|$", PAGE.read_text("utf-8"), re.M))
    for word, parts in FROM_DOING.items():
        assert rows[word] == ", ".join(parts), word
    assert {
        part for parts in (FROM_DOING | FROM_IMPACT | FROM_TIRED).values() for part in parts
    } == (set(LOADS))


def test_the_page_tells_which_joints_a_muscle_moves():
    rows = dict(re.findall(r"^\| ([a-z ]+) \| ([a-z, ]+) \|$", PAGE.read_text("utf-8"), re.M))
    assert {muscle: rows[muscle] for muscle in MOVED_BY} == {
        muscle: ", ".join(parts) for muscle, parts in MOVED_BY.items()
    }


def test_the_page_names_every_pattern_that_spares_nothing():
    rows = dict(re.findall(r"^\| (\w+) \| ([a-z, ]+) \|$", PAGE.read_text("utf-8"), re.M))
    for part in LOADS:
        spared = {p for e in ENTRIES.values() if part not in e.bears for p in e.patterns}
        assert rows[part] == ", ".join(sorted(set(PATTERNS) - spared)), part


def test_a_landing_loads_a_neck():
    """Common practice, no source: what jolts the whole body jolts the head."""
    assert "neck" in follows((), "high", ())
    assert "neck" not in follows((), "low", ())
