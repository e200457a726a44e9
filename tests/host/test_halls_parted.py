"""Two halls that play one plan at the same second are never one class, and one hall is never two.

The oracle is the world that was drawn: which hall each log was made in, and which playing it is of.
"""

import random
from dataclasses import replace
from itertools import pairwise

import pytest

from handbell.store.classes.parted import parted, touch
from handbell.store.classes.together import Log

S_US = 1_000_000
MINUTE_US = 60 * S_US
SLOT_US = 40 * MINUTE_US
START_US = 1_790_000_000 * S_US
NORTH, SOUTH = "00000000000000aa", "00000000000000bb"


class World:
    """Logs as they are made, each with the playing that it is of."""

    def __init__(self, seed):
        self.rng = random.Random(seed)
        self.logs, self.playing = [], {}

    def log(self, playing, hall, box, station, start_us, **facts):
        digest = f"{len(self.logs):04}{self.rng.getrandbits(80):020x}"
        taps = sorted(self.rng.sample(range(20_000, 2_000_000), self.rng.randint(0, 60)))
        made = Log(
            run=len(self.logs) + 1,
            digest=digest,
            box_id=box,
            station=station,
            start_utc_us=start_us,
            slot_us=SLOT_US,
            collected_utc_us=START_US + 60 * MINUTE_US + self.rng.randrange(90 * MINUTE_US),
            pressed_ms=tuple(taps),
            hall=hall,
            **{"boot": 1, **facts},
        )
        self.logs.append(made)
        self.playing[digest] = playing
        return made

    def shuffled(self, some=None):
        some = list(self.logs if some is None else some)
        self.rng.shuffle(some)
        return some


def start(world, name, hall, boxes, at_us):
    """All boxes of a hall begin a class, by hand some marks apart or at once."""
    spread = world.rng.choice((0, 0, 90 * S_US))
    return [
        world.log(name, hall, box, n, at_us + world.rng.randrange(spread + 1))
        for n, box in enumerate(boxes, 1)
    ]


def classes_of(logs):
    return sorted(sorted(log.digest for log in group) for group in parted(logs).classes)


def evening(seed):
    """Both halls at the same second: false starts, spares, clocks lost, a box put in, boxes lent.

    Returned are the world and the logs of each hall.
    """
    world = World(seed)
    rng = world.rng
    boxes = {hall: [f"{name}{n}" for n in range(4)] for hall, name in ((NORTH, "n"), (SOUTH, "s"))}
    if rng.random() < 0.5:  # lent before class: the box plays what it was sent there
        boxes[NORTH][0], boxes[SOUTH][0] = boxes[SOUTH][0], boxes[NORTH][0]
    for hall, mine in boxes.items():
        at_us = START_US
        if rng.random() < 0.5:
            start(world, f"{hall} false", hall, mine, at_us)
            at_us += rng.randint(4, 9) * MINUTE_US
        made = start(world, f"{hall} class", hall, mine, at_us)
        if rng.random() < 0.5:
            world.log(f"{hall} class", hall, f"{hall} spare", rng.randint(1, 4), at_us)
        if rng.random() < 0.5:
            world.log(None, hall, f"{hall} lost", 5, None, boot=rng.randint(1, 3))
        if rng.random() < 0.5:
            met = tuple((log.digest, rng.randrange(900)) for log in made[:2])
            late = world.log(f"{hall} class", hall, f"{hall} late", 6, at_us + 600 * S_US)
            world.logs[-1] = replace(late, meets=met, put_in=True)
    return world, {hall: [log for log in world.logs if log.hall == hall] for hall in boxes}


@pytest.mark.parametrize("seeds", range(0, 60, 30))
def test_two_halls_at_one_second_are_never_one_class_and_neither_moves_the_other(seeds):
    for seed in range(seeds, seeds + 30):
        world, of = evening(seed)
        both = classes_of(world.shuffled())
        assert both == classes_of(world.shuffled()), "the order of logs changes nothing"
        alone = [group for some in of.values() for group in classes_of(some)]
        assert both == sorted(alone), f"seed {seed}: as if the other hall were not there"


@pytest.mark.parametrize("seeds", range(0, 60, 30))
def test_one_hall_is_split_by_no_guess_and_a_false_start_is_another_class(seeds):
    for seed in range(seeds, seeds + 30):
        world, of = evening(seed)
        for logs in of.values():
            timed = [log for log in logs if log.start_utc_us is not None]
            drawn = {}
            for log in timed:
                drawn.setdefault(world.playing[log.digest], []).append(log.digest)
            assert classes_of(timed) == sorted(map(sorted, drawn.values())), f"seed {seed}"


def test_presses_that_mix_tell_two_halls_only_where_no_log_tells_one():
    world = World(1)
    taps = [tuple(range(20_000 + off, 900_000, 4_000)) for off in (0, 1_700)]
    for hall, classes in ((None, 2), (NORTH, 1)):
        two = [
            replace(world.log("", hall, box, 1, START_US), pressed_ms=mine)
            for box, mine in zip("ab", taps, strict=True)
        ]
        assert len(parted(two).classes) == classes
        assert parted(two).shared == ([(0, 1)] if hall else [])
        assert len(parted(two).halls) == (hall is None)


def test_a_log_without_a_hall_joins_one_by_a_coach_s_word_alone():
    world = World(2)
    north = [world.log("", NORTH, box, n, START_US) for n, box in enumerate("ab", 1)]
    plain = world.log("", None, "c", 3, START_US)
    assert len(parted([*north, plain]).classes) == 2
    said = [replace(log, filed="word") for log in (north[0], plain)]
    (group,) = parted([*said, north[1]]).classes
    assert len(group) == 3, "and the others of that hall stay with them"
    south = world.log("", SOUTH, "d", 4, START_US)
    assert len(parted([*said, north[1], south]).classes) == 2


def test_one_key_or_one_word_for_two_halls_joins_them_not():
    world = World(3)
    for facts in ({"key": "k"}, {"filed": "word"}):
        two = [world.log("", hall, hall, 1, START_US, **facts) for hall in (NORTH, SOUTH)]
        assert len(parted(two).classes) == 2


def test_what_depends_on_each_other_is_of_one_hall():
    world = World(4)
    logs = [world.log("", hall, f"{hall}", 1, START_US) for hall in (NORTH, SOUTH, NORTH, None)]
    for one, other in pairwise(logs):
        assert not touch(one, other)
    assert touch(logs[0], logs[2])


def test_what_two_computers_of_a_hall_brought_is_one_class_though_imports_filed_it():
    world = World(5)
    halves = [
        world.log("", NORTH, box, n, START_US, filed=box, kept=True)
        for n, box in enumerate("ab", 1)
    ]
    assert len(parted(halves).classes) == 1
    said = replace(halves[0], kept=False)
    assert len(parted([said, halves[1]]).classes) == 2, "but what a coach parted stays so"
