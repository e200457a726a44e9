"""A plan to start from: a warm-up, a block of each form that was asked for, a cool-down."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import tomlkit

from handbell.base.errors import UsageError
from handbell.base.words import listed, quoted
from handbell.coach.library.entry import Entry
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import Library
from handbell.plan.shorthands import FORMATS

from .choose import KitThere, chosen
from .floor import Floor

PLAIN, CIRCUIT, ROTATION, RELAY = "plain", "circuit", "rotation", "relay"
HAND_OVER = "hand-over"
ONE_AT_A_TIME = frozenset((RELAY, HAND_OVER))
NAMES = (PLAIN, CIRCUIT, ROTATION, *FORMATS)
CIRCUIT_LONG = 4  # exercises of a circuit
LEGS_ABOUT = 8
# What makes a block of a form longer, and in what steps.
_SIZES = {
    PLAIN: ("rounds", 1),
    CIRCUIT: ("rounds", 1),
    ROTATION: ("rounds", 1),
    "every-minute": ("minutes", 3),
    "as-many-rounds": ("minutes", 1),
    "hand-over": ("minutes", 1),
    "intervals": ("rounds", 2),
}
WORK_S = 40  # of a window, in a circuit and in a rotation

_FOLDER = Path(__file__).parent
_BEFORE = """\
[[warm_up]]
name = "March, arm circles"
work_s = 120

[[warm_up]]
name = "Slow squats, lunges"
work_s = 120
"""
_AFTER = """\
[[cool_down]]
name = "Walk and stretch"
work_s = 180
"""
_OF_CHOSEN = {
    CIRCUIT: """\
# {count} in turn, round after round, each with a rest. Whoever has made the reps rests on.
[[block]]
name = "Circuit"
rounds = 3
rest_s = 20
""",
    ROTATION: """\
# A station for each exercise; groups move on after each window. Whoever has made the reps rests.
[[block]]
name = "Stations"
rounds = 2
round_rest_s = 60
""",
}


def starter(
    title: str,
    formats: Sequence[str],
    floor: Floor,
    library: Library,
    kit: Mapping[str, int | None],
    file: str,
    longer: int = 0,
) -> str:
    """Return the text of a plan with a block of each form, for those people and boxes.

    Blocks are as long as they usually begin, or so many steps ``longer`` in all, one block after
    the other, as far as they can.

    ``formats`` are of ``NAMES``; ``kit`` (counts by key, None where that isn't said) is what
    circuit and rotation may use; ``file`` is the name that it says to check. Raises UsageError when
    a rotation has more boxes than there are exercises.
    """
    check = f"handbell check {shlex.quote(file)}" if file.isprintable() else "handbell check"
    head = [f"# Change anything, then: {check}", f"title = {tomlkit.item(title).as_string()}"]
    people = []
    if floor.alone and ROTATION not in formats and not ONE_AT_A_TIME.intersection(formats):
        head.append(f"boxes = {len(floor.crews)}")
    else:
        head += [f"buttons = {floor.buttons}"] * (floor.buttons > 1)
        if floor.shares_buttons and not ONE_AT_A_TIME.issuperset(formats):
            head.append('turns = "window"')
        people = [
            f'[[group]]\nname = "{crew.name}"\nbibs = [{", ".join(map(str, crew.bibs))}]\n'
            for crew in floor.crews
        ]
    if ROTATION in formats:
        head.append('layout = "rotation"\nchange_s = 20')
    if len(formats) > 1:
        head.append("break_s = 60")
    blocks = [
        _sized(name, _block(name, floor, library, kit), floor, steps)
        for name, steps in zip(formats, _spread(longer, len(formats)), strict=True)
    ]
    table = _counted(floor, library, kit, "".join(blocks))
    tables = [table] if table else []
    return "\n".join(["\n".join(head) + "\n", *tables, *people, _BEFORE, *blocks, _AFTER])


def _block(name: str, floor: Floor, library: Library, kit: Mapping[str, int | None]) -> str:
    if name not in _OF_CHOSEN:
        return _FOLDER.joinpath(f"{name}.toml").read_text(encoding="utf-8")
    there = kit_at(name, floor, kit)
    count = len(floor.crews) if name == ROTATION else CIRCUIT_LONG
    entries = chosen(library, there, count)
    if name == ROTATION and len(entries) < count:
        raise UsageError(
            f"A rotation has an exercise for each box, and the library has {len(entries)} that go "
            "with this kit and with everybody",
            f"Say --boxes {len(entries)}, or write the plan yourself",
        )
    head = _OF_CHOSEN[name].format(count=len(entries))
    return head + "".join(_exercise(entry, there) for entry in entries)


def kit_at(name: str, floor: Floor, kit: Mapping[str, int | None]) -> KitThere:
    """Return the kit as a form uses it: all at once, or a station each."""
    largest = max(len(crew.bibs) for crew in floor.crews)
    is_rotation = name == ROTATION
    return KitThere(kit, largest if is_rotation else floor.people, is_rotation)


def _counted(floor: Floor, library: Library, kit: Mapping[str, int | None], text: str) -> str:
    """Return the table of kit that is counted and taken in a plan."""
    names = {library.kit_names[key]: count for key, count in kit.items() if count is not None}
    taken = {name: count for name, count in names.items() if f'"{name}"' in text}
    lines = [f'"{name}" = {count}' for name, count in taken.items()]
    return "\n".join(["[kit]", *lines]) + "\n" if lines else ""


def _spread(steps: int, over: int) -> Iterator[int]:
    """Yield steps as evenly as they go, the first with one more."""
    return ((steps + over - 1 - n) // over for n in range(over))


def _sized(name: str, block: str, floor: Floor, longer: int) -> str:
    """Return a block some steps longer or shorter; a relay with as many legs for everybody."""
    if name == RELAY:  # by the first group, which is the largest
        size = len(floor.crews[0].bibs)
        legs = max(1, round(LEGS_ABOUT / size) + longer) * size
        return re.sub(r"(?m)^legs = \d+$", f"legs = {legs}", block)
    key, step = _SIZES.get(name, ("", 0))
    if not step:
        return block
    return re.sub(
        rf"(?m)^{key} = (\d+)$",
        lambda found: f"{key} = {max(step, int(found[1]) + step * longer)}",
        block,
        count=1,
    )


def _exercise(entry: Entry, kit: KitThere) -> str:
    """Return an exercise's lines: few reps of those that are usual, tapped in a way that suits.

    Where people take turns with kit nobody is asked for reps: who waits can't make them.
    """
    lines = ["[[block.exercise]]", f'name = "{entry.name}"', f"work_s = {WORK_S}"]
    scarce = {item: n for item, n in _counts(entry, kit).items() if n < kit.people}
    if scarce:
        there = listed(f"{item}: {n} for {kit.people}" for item, n in scarce.items())
        lines.insert(0, f"# {there} people, who take turns; so there is no target.")
    if entry.reps_30s is None:
        lines.append("hold = true")
    elif not scarce:
        lines.append(f"reps = {max(1, entry.reps_30s[0] * WORK_S // 30 // 2 * 2)}")
        lines += ['tap = "finish"'] * ("each" not in entry.taps)
    elif "each" not in entry.taps:
        lines.append('tap = "none"')
    return "".join(f"  {line}\n" for line in [*lines, *_kit_lines(entry, kit)])


def _counts(entry: Entry, kit: KitThere) -> dict[str, int]:
    """Return what an exercise takes of counted kit, and how many of each are there."""
    counts = {item: kit.counts[name_key(item)] for item in kit.items_of(entry) or ()}
    return {item: count for item, count in counts.items() if count is not None}


def _kit_lines(entry: Entry, kit: KitThere) -> list[str]:
    """Return what an exercise takes of counted kit: one a person, or what a group shares."""
    counted = _counts(entry, kit)
    if not counted:
        return []
    if all(count >= kit.people for count in counted.values()):
        return [f"kit = [{', '.join(quoted(item) for item in counted)}]"]
    shared = (f"{quoted(item)} = {min(n, kit.people)}" for item, n in counted.items())
    return [f"kit = {{ {', '.join(shared)} }}"]
