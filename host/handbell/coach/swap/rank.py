"""Which exercises may take another's place, how near they are, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from handbell.base.words import listed
from handbell.coach.library.entry import IMPACTS, SPACES, Entry, needs_words
from handbell.coach.library.following import shared_load
from handbell.coach.library.ladder import Steps
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import Library

from .sore import newly_loaded, strained

SPARING = ("sore", "too-hard")  # reasons for which nothing may be more than it was

# What makes a replacement less near, in ladder steps. Common practice, no source.
_FAR_STEPS = 3  # as far as a ladder is counted, and what no way along it counts as
_PER_LEVEL = 1.5
_LEVEL_SKIPPED = 3.0  # each one beyond the next, for what is too easy
_NOT_DOWN = 1.0  # for a sore part or what is too hard, whatever is no way down the ladder
_OTHER_TIRED = 2.0  # all other muscles; in proportion to what differs
_OTHER_KIND = 2.0  # a hold for reps, or reps for a hold
_ONLY_ALSO = 1.0  # another pattern, which may serve as this one
_NEW_KIT = 4.0  # kit that nothing says is there
_MORE_IMPACT = 1.0
_MORE_FLOOR = 0.5
_NEW_SKILL = 2.0
_OTHER_SIDES = 0.5
_IN_PLAN = 1.0
_IN_BLOCK = 3.0
_TIRED_BEFORE = 1.5
_RULED_OUT = 20.0  # by the coach's own never_after: behind all that isn't
_EASY_LEVEL = 2  # as far as another pattern is proposed, or balance on one leg is no matter


EVERYWHERE = frozenset({"wall"})  # taken to be there unless somebody says otherwise
_NO_WAY = Steps(_FAR_STEPS, "beside")


@dataclass(frozen=True)
class Wish:
    """Why something is swapped, and what there is: kit by its key, None where nobody said."""

    because: str | None = None
    sore: tuple[str, ...] = ()
    without: frozenset[str] = frozenset()
    kit: frozenset[str] | None = None


@dataclass(frozen=True)
class Surroundings:
    """What stands round a window in its plan: kit in use (keys), exercises by id.

    ``apart`` has the names (keys) that never_after rules out there, and what beside each.
    """

    kit: frozenset[str] = frozenset()
    in_plan: frozenset[str] = frozenset()
    in_block: frozenset[str] = frozenset()
    neighbours: tuple[Entry, ...] = ()
    apart: Mapping[str, str] = field(default_factory=dict)

    def beside(self, entry: Entry) -> str:
        """Return beside what never_after rules an exercise out by any of its names, or nothing."""
        keys = map(name_key, entry.names)
        return next((self.apart[key] for key in keys if key in self.apart), "")


@dataclass
class Choice:
    """A replacement: the lower the cost the nearer; ``why`` are parts of a sentence.

    ``new_kit``: it needs kit that nothing says is there.
    """

    entry: Entry
    cost: float = 0.0
    why: list[str] = field(default_factory=list)
    new_kit: bool = False

    def add(self, cost: float, why: str = "") -> None:
        """Take something more into account."""
        self.cost += cost
        if why:
            self.why.append(why)


def lacks(entry: Entry, wish: Wish, around: Surroundings) -> list[tuple[str, ...]]:
    """Return the needs of an exercise that are not met, each any one of its items.

    What may take the place of missing kit counts only where something says that it is there.
    """
    known = around.kit if wish.kit is None else wish.kit
    found = []
    for need in entry.kit:
        keys = {name_key(item) for item in need}
        if wish.kit is not None or keys & wish.without:
            met = bool(keys & (known - wish.without))
        else:
            met = True
        if not met:
            found.append(need)
    return found


def choices(library: Library, old: Entry, wish: Wish, around: Surroundings) -> list[Choice]:
    """Return what may take an exercise's place, nearest first."""
    entries = (e for e in library.entries.values() if old.pattern in e.patterns)
    return _ranked(entries, library, old, wish, around)


def beyond(library: Library, old: Entry, wish: Wish, around: Surroundings) -> list[Choice]:
    """Return what answers the wish with another pattern, no new kit, and easily.

    What tires the same comes first, then what is nearest; for a sore part, what newly loads
    another comes behind all that doesn't.
    """
    kit = around.kit | EVERYWHERE if wish.kit is None else wish.kit
    here = replace(wish, kit=kit - wish.without)
    easy = (e for e in library.entries.values() if e.level <= _EASY_LEVEL)
    others = (e for e in easy if old.pattern not in e.patterns)
    found = _ranked(others, library, old, here, around)
    return sorted(
        found, key=lambda c: (_undoes(old, c.entry, wish), -len(shared_load(old, c.entry)))
    )


def _ranked(
    entries: Iterable[Entry], library: Library, old: Entry, wish: Wish, around: Surroundings
) -> list[Choice]:
    ways = library.steps(old)
    found = [
        _weighed(entry, old, ways.get(entry.id, _NO_WAY), wish, around)
        for entry in entries
        if entry is not old
        and _fits(entry, old, ways.get(entry.id, _NO_WAY), wish, around)
        and not lacks(entry, wish, around)
    ]
    return sorted(
        found,
        key=lambda c: (
            _undoes(old, c.entry, wish) or (wish.because == "sore" and c.new_kit),
            c.cost,
            abs(c.entry.level - old.level),
            c.entry.id,
        ),
    )


def _undoes(old: Entry, new: Entry, wish: Wish) -> bool:
    """Return whether a part is loaded for the first time, which may be sore, too."""
    return wish.because == "sore" and bool(newly_loaded(old, new))


def named_choice(
    library: Library, old: Entry, entry: Entry, wish: Wish, around: Surroundings
) -> Choice:
    """Return the exercise that the coach chose, saying first where it goes against the wish."""
    choice = _weighed(entry, old, library.steps(old).get(entry.id, _NO_WAY), wish, around)
    gone = lacks(entry, wish, around)
    against = [f"needs {needs_words(gone)}, which is missing"] if gone else []
    against += [f"strains the {part}" for part in strained(entry, wish.sore)]
    if wish.sore and not entry.loads_known:
        against.append("not known what it loads")
    if entry.pattern != old.pattern and old.pattern not in entry.also:
        against.append(f"a {entry.pattern} in place of a {old.pattern}")
    choice.why[:0] = against
    return choice


def _fits(entry: Entry, old: Entry, way: Steps, wish: Wish, around: Surroundings) -> bool:
    """Return whether an exercise answers the reason for the swap."""
    if wish.because == "too-hard":
        easier = way.way == "easier" or (entry.level < old.level and way.way != "harder")
        return easier and _asks_no_more(entry, old, way, around)
    if wish.because == "too-easy":
        return way.way == "harder" or (entry.level > old.level and way.way != "easier")
    if wish.because == "no-floor":
        return _floor(entry) < _floor(old)
    if wish.because == "sore":
        spares = entry.loads_known and not strained(entry, wish.sore)
        return spares and _asks_no_more(entry, old, way, around)
    return True


def _asks_no_more(entry: Entry, old: Entry, way: Steps, around: Surroundings) -> bool:
    """Return whether level, landings, skill and balance stay what they were, or less.

    Who has one skill need not have another: it counts as known down the same ladder, or where the
    plan has it already. Where nothing says what an exercise does it may be a stand on one leg.
    """
    lands_softer = IMPACTS.index(entry.impact) <= IMPACTS.index(old.impact)
    lands_softer = lands_softer and not _jumps_more(entry, old)
    known = (old.skill and way.way == "easier") or entry.id in around.in_plan
    stands = "one leg" in entry.does or not (entry.loads_known or way.way == "easier")
    steady = entry.level <= _EASY_LEVEL or not stands or "one leg" in old.does
    return entry.level <= old.level and lands_softer and steady and (known or not entry.skill)


def _jumps_more(entry: Entry, old: Entry) -> bool:
    """Return whether more jumps or landings are likely in the same time, as in an open window.

    A run has many landings and no jump, so both are looked at.
    """
    if entry.impact != "high" or entry.reps_30s is None or old.reps_30s is None:
        return False
    return entry.landings_most > old.landings_most or entry.reps_30s[1] > old.reps_30s[1]


def _floor(entry: Entry) -> int:
    return SPACES.index(entry.space)


def _weighed(entry: Entry, old: Entry, way: Steps, wish: Wish, around: Surroundings) -> Choice:
    """Return an exercise with its cost and its reasons."""
    choice = Choice(entry)
    choice.add(min(way.far, _FAR_STEPS), _way_words(entry, old, way))
    choice.add(_PER_LEVEL * abs(entry.level - old.level))
    if wish.because == "too-easy":
        choice.add(_LEVEL_SKIPPED * max(entry.level - old.level - 1, 0))
    if wish.because in SPARING and way.way != "easier":
        choice.add(_NOT_DOWN)
    _weigh_kit(choice, old, wish, around)
    either = set(old.tires) | set(entry.tires)
    other = either - (set(old.tires) & set(entry.tires))
    choice.add(_OTHER_TIRED * len(other) / len(either) if either else 0.0)
    if entry.is_hold is not old.is_hold:
        choice.add(_OTHER_KIND, "a hold" if entry.is_hold else "reps in place of a hold")
    if old.pattern in entry.also:
        choice.add(_ONLY_ALSO, f"a {entry.pattern} that serves as {old.pattern}")
    _weigh_room(choice, old)
    if entry.skill and not old.skill:
        choice.add(_NEW_SKILL, "needs practice")
    if (entry.sides == "one") is not (old.sides == "one"):
        choice.add(_OTHER_SIDES, "one side, then the other" if entry.sides == "one" else "")
    if entry.id in around.in_block:
        choice.add(_IN_BLOCK, "already in this block")
    elif entry.id in around.in_plan:
        choice.add(_IN_PLAN, "already in the plan")
    if beside := around.beside(entry):
        choice.add(_RULED_OUT, f"never_after rules it out beside {beside}")
    for neighbour in around.neighbours:
        fresh = [part for part in shared_load(entry, neighbour) if part not in old.tires]
        if fresh:
            choice.add(_TIRED_BEFORE, f"tires the {listed(fresh)}, as {neighbour.name}")
    return choice


def _way_words(entry: Entry, old: Entry, way: Steps) -> str:
    steps = "1 step" if way.far == 1 else f"{way.far} steps"
    levels = f"level {entry.level}, was {old.level}" if entry.level != old.level else "same level"
    if way.way in ("easier", "harder"):
        return f"{steps} {way.way} ({levels})"
    return levels


def given_up(old: Entry, new: Entry) -> str:
    """Return what is lost with another exercise, or nothing."""
    lost = [part for part in old.tires if part not in new.tires]
    words = [f"work for the {listed(lost)}"] if lost else []
    if new.level < old.level:
        words.append(f"level {new.level} in place of {old.level}")
    return "; ".join(words)


def _weigh_kit(choice: Choice, old: Entry, wish: Wish, around: Surroundings) -> None:
    entry = choice.entry
    new = []
    if wish.kit is None:
        known = (around.kit | EVERYWHERE) - wish.without
        new = [need for need in entry.kit if not {name_key(item) for item in need} & known]
    choice.new_kit = bool(new)
    if new:
        choice.add(_NEW_KIT * len(new), f"needs {needs_words(new)} (new to this plan)")
    elif entry.kit:
        choice.add(0.0, f"with {entry.kit_words}")
    elif old.kit:
        choice.add(0.0, "no kit")


def _weigh_room(choice: Choice, old: Entry) -> None:
    entry = choice.entry
    more = IMPACTS.index(entry.impact) - IMPACTS.index(old.impact)
    if more:
        choice.add(_MORE_IMPACT * max(more, 0), f"impact {entry.impact}, not {old.impact}")
    more = _floor(entry) - _floor(old)
    if more > 0:
        choice.add(_MORE_FLOOR * more, f"needs more floor ({entry.space})")
    elif more < 0:
        choice.add(0.0, f"less floor ({entry.space})")
    if entry.position != old.position:
        choice.add(0.0, entry.position if entry.position != "floor" else "on the floor")


def kit_in_use(entries: Iterable[Entry]) -> frozenset[str]:
    """Return the kit (keys) that some exercises are usually done with."""
    return frozenset(name_key(need[0]) for entry in entries for need in entry.kit)
