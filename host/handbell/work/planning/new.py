"""Writing a plan to start from."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from handbell.base.errors import HandbellError, UsageError
from handbell.base.progress import Progress, no_progress
from handbell.base.words import quoted, several
from handbell.coach.library.shelf import Library, load_library
from handbell.coach.starters.choose import chosen
from handbell.coach.starters.floor import Crew, Floor, floor_of
from handbell.coach.starters.starter import (
    CIRCUIT,
    CIRCUIT_LONG,
    HAND_OVER,
    NAMES,
    ONE_AT_A_TIME,
    PLAIN,
    RELAY,
    ROTATION,
    kit_at,
    starter,
)
from handbell.coach.writing.edit import write_plan
from handbell.compile import build
from handbell.plan.files import parse_plan
from handbell.plan.shorthands import IN_SHORT, nearest_form
from handbell_core.timeline import PEOPLE_MOST as LEGS_PEOPLE_MOST

BOXES, BOXES_MOST, BUTTONS_MOST, PEOPLE_MOST = 4, 99, 4, 999
STEPS_MOST = 100
NO_KIT = "none"
_COUNTED = re.compile(r"(?:(\d{1,3})\s+)?(.*?)(?:\s*=\s*(\d{1,3}))?")


@dataclass(frozen=True)
class Wishes:
    """What is known of a class that is begun; what is None is chosen, and told.

    ``roster`` is a group of the roster whose bibs come, ``slot_ms`` what the class may last, and
    ``kit`` what is there for circuit and rotation.
    """

    people: int | None = None
    boxes: int | None = None
    buttons: int = 1
    roster: str | None = None
    slot_ms: int | None = None
    kit: tuple[str, ...] = ()


@dataclass(frozen=True)
class Started:
    """A plan that was written: its file, title, forms, length and people.

    ``crews`` are the people of each box; ``without_bib`` those of the roster who have no number.
    ``asked_ms`` is the slot that was asked for, and ``why_not`` says why the plan isn't that long;
    ``kit_unused`` is kit with which nothing was chosen, ``noted`` are bibs of the roster of whose
    wearers something is noted.
    """

    written: str
    title: str
    formats: tuple[str, ...]
    slot_ms: int
    crews: tuple[Crew, ...]
    buttons: int
    in_turns: bool
    without_bib: tuple[str, ...]
    asked_ms: int | None
    why_not: str
    kit_unused: tuple[str, ...]
    noted: tuple[int, ...] = ()


def new(
    plan: Path,
    formats: Sequence[str] = (),
    title: str = "",
    wishes: Wishes = Wishes(),
    store_at: str | None = None,
    progress: Progress = no_progress,
) -> Started:
    """Write a plan with a block of each form, plain ones without; a file that is there stays.

    The title is made from the file's name unless told. Raises UsageError for a form or numbers that
    can't be, PlanError for a title, HandbellError when the file can't be written.
    """
    formats = tuple(formats) or (PLAIN,)
    require_file(plan)
    require_forms(formats)
    bibs, without = _bibs(wishes, formats, store_at)
    floor = _floor(wishes, formats, bibs)
    library = load_library()
    kit = kit_there(library, wishes.kit)
    title = title or _title(plan)

    def begun(longer: int) -> tuple[bytes, int]:
        data = starter(title, formats, floor, library, kit, plan.name, longer).encode()
        return data, build(parse_plan(data, str(plan))).totals.slot_ms

    data, slot_ms = _near(begun, wishes.slot_ms)
    write_plan(plan, data, None)
    slot_ms, why_not = _fitted(plan, slot_ms, wishes.slot_ms, progress)
    return Started(
        str(plan),
        title,
        formats,
        slot_ms,
        floor.crews,
        floor.buttons,
        floor.shares_buttons and not ONE_AT_A_TIME.issuperset(formats),
        without,
        wishes.slot_ms,
        why_not,
        _unused(library, formats, floor, kit),
        _noted(wishes, bibs, store_at),
    )


def _noted(wishes: Wishes, bibs: Sequence[int], store_at: str | None) -> tuple[int, ...]:
    """Return the bibs for which ``swap --noted`` proposes own tasks."""
    from .noted import noted_bibs

    if wishes.roster is None:
        return ()
    today = datetime.now().astimezone().date()
    return tuple(noted_bibs(bibs, wishes.roster, today, store_at))


def kit_there(library: Library, said: Iterable[str]) -> dict[str, int | None]:
    """Return kit by its keys, with how many there are where that is said: "2 boxes", "box=2".

    "none" is none. Raises HandbellError for kit nobody knows.
    """
    found: dict[str, int | None] = {}
    for item in (word.strip() for words in said for word in words.split(",")):
        counted = _COUNTED.fullmatch(item)
        before, name, after = counted.groups() if counted else (None, item, None)
        if name and name.casefold() != NO_KIT:
            number = before or after
            found[library.kit_key(name)] = int(number) if number else None
    return found


def _unused(
    library: Library, formats: Sequence[str], floor: Floor, kit: Mapping[str, int | None]
) -> tuple[str, ...]:
    """Return the kit that none of the chosen exercises takes, by name."""
    used: set[str] = set()
    for name in formats if takes_kit(formats) else ():
        there = kit_at(name, floor, kit)
        count = len(floor.crews) if name == ROTATION else CIRCUIT_LONG
        for entry in chosen(library, there, count) if takes_kit([name]) else ():
            used |= there.keys_of(entry)
    return tuple(library.kit_names[key] for key in kit if key not in used)


def roster_groups(store_at: str | None = None) -> tuple[str, ...]:
    """Return the groups of the roster that have somebody with a bib."""
    from handbell.work.after.roster import roster

    people = roster(store_at).athletes
    return tuple(dict.fromkeys(one.group for one in people if one.group and one.bib))


def people_at_each(formats: Sequence[str]) -> int:
    """Return how many people a box must have at least."""
    return 2 if ONE_AT_A_TIME.intersection(formats) else 1


def boxes_least(formats: Sequence[str], people: int) -> int:
    """Return how many boxes the forms need at least.

    To rotate there must be two stations, and a relay by taps has so many people at a box at most.
    """
    for_legs = -(-people // LEGS_PEOPLE_MOST) if HAND_OVER in formats else 1
    return max(for_legs, 2 if ROTATION in formats else 1)


def takes_kit(formats: Sequence[str]) -> bool:
    """Return whether a form chooses exercises by the kit there is."""
    return bool({CIRCUIT, ROTATION} & set(formats))


def require_file(plan: Path) -> None:
    """Raise UsageError for a form's name where the file's should stand."""
    if plan.name.casefold() in (*NAMES, *IN_SHORT):
        raise UsageError(
            f"{plan} is a form, and the name of the file is missing",
            f"handbell new monday.toml {plan}",
        )


def require_forms(formats: Sequence[str]) -> None:
    """Raise UsageError for a form that isn't there, or can't go with the others."""
    for name in formats:
        if name not in NAMES:
            raise UsageError(f"There is no form {quoted(name)}", _nearest(name))
    if ROTATION in formats and len(formats) > 1:
        raise UsageError(
            "In a rotation groups move from station to station, in the other forms they stay",
            "Write two plans, or name rotation alone",
        )


def _bibs(
    wishes: Wishes, formats: Sequence[str], store_at: str | None
) -> tuple[list[int], tuple[str, ...]]:
    """Return the bibs that come, and the names of those who have none."""
    if wishes.roster is not None:
        return bibs_of_roster(wishes.roster, store_at)
    at_each = 2 if {ROTATION, *ONE_AT_A_TIME} & set(formats) else 1
    usual = (wishes.boxes or BOXES) * at_each
    people = usual if wishes.people is None else wishes.people
    if not 1 <= people <= PEOPLE_MOST:
        raise UsageError(f"{people} people are too few or too many", f"Say 1 to {PEOPLE_MOST}")
    return [*range(1, people + 1)], ()


def bibs_of_roster(group: str, store_at: str | None = None) -> tuple[list[int], tuple[str, ...]]:
    """Return the bibs of a group, and the names of those in it who have none.

    Raises UsageError when nobody has one.
    """
    from handbell.work.after.roster import roster

    everybody = roster(store_at).athletes
    people = [one for one in everybody if (one.group or "").casefold() == group.casefold()]
    bibs = sorted(one.bib for one in people if one.bib)
    if not bibs:
        groups = roster_groups(store_at)
        raise UsageError(
            f"Nobody on the roster has a bib in group {quoted(group)}",
            f"Groups are {', '.join(groups)}" if groups else "Take a file in: handbell roster",
        )
    return bibs, tuple(one.name for one in people if not one.bib)


def _floor(wishes: Wishes, formats: Sequence[str], bibs: list[int]) -> Floor:
    boxes = wishes.boxes if wishes.boxes is not None else min(BOXES, len(bibs))
    if not 1 <= boxes <= BOXES_MOST:
        raise UsageError(f"{boxes} boxes are too few or too many", f"Say 1 to {BOXES_MOST}")
    least = 2 if ROTATION in formats else 1
    if boxes < least:
        boxed = least <= len(bibs)
        raise UsageError(
            "A rotation goes from station to station, and one box is one station",
            f"Say --boxes {least}, or name {CIRCUIT}" if boxed else f"Name {CIRCUIT}",
        )
    if not 1 <= wishes.buttons <= BUTTONS_MOST:
        raise UsageError(
            f"{wishes.buttons} buttons are too few or too many", f"Say 1 to {BUTTONS_MOST}"
        )
    if HAND_OVER in formats and len(bibs) > LEGS_PEOPLE_MOST * boxes:
        raise UsageError(
            f"A relay by taps has {LEGS_PEOPLE_MOST} people at a box at most",
            f"Say --boxes {-(-len(bibs) // LEGS_PEOPLE_MOST)}, or name {RELAY}",
        )
    if ONE_AT_A_TIME.intersection(formats) and len(bibs) < people_at_each(formats) * boxes:
        raise UsageError(
            f"A relay needs two people at each box, and {several(len(bibs), 'person', 'people')} "
            f"at {several(boxes, 'box', 'boxes')} are fewer",
            f"Say --people {2 * boxes}, or fewer boxes",
        )
    if len(bibs) < boxes:
        raise UsageError(
            f"{several(len(bibs), 'person', 'people')} can't be at {boxes} boxes",
            f"Say --boxes {len(bibs)}",
        )
    return floor_of(bibs, boxes, min(wishes.buttons, -(-len(bibs) // boxes)))


def _near(begun: Callable[[int], tuple[bytes, int]], wished_ms: int | None) -> tuple[bytes, int]:
    """Return the longest plan within what was wished for, or the shortest there is."""
    found = begun(0)
    if wished_ms is None:
        return found
    way = 1 if found[1] < wished_ms else -1
    for steps in range(1, STEPS_MOST):
        more = begun(way * steps)
        if more[1] > wished_ms and way > 0:
            break  # up to the slot: what is missing goes to rests and the warm-up
        found = more
        if found[1] <= wished_ms and way < 0:
            break
    return found


def _fitted(plan: Path, slot_ms: int, wished_ms: int | None, progress: Progress) -> tuple[int, str]:
    """Make a plan that was written last its slot; return what it lasts, and why not that."""
    from handbell.work.planning.fit import FitsNot, fit_plan

    if wished_ms in (None, slot_ms):
        return slot_ms, ""
    try:  # windows keep their length, and so the reps that go with it
        found = fit_plan(plan, wished_ms, ["windows"], write=True, progress=progress)
    except HandbellError as error:
        return slot_ms, str(error).rstrip(".")
    if isinstance(found, FitsNot):
        return slot_ms, "These forms can't be made that long or that short"
    return found.after.slot_ms, ""


def _nearest(name: str) -> str:
    near = nearest_form(name, NAMES)
    return f"The nearest is {near}" if near else f"Name one of {', '.join(NAMES)}"


def _title(path: Path) -> str:
    seen = "".join(c for c in path.stem if c.isprintable())
    words = seen.replace("-", " ").replace("_", " ").strip()
    return words[:1].upper() + words[1:] or "Class"
