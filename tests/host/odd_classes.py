"""Classes of every kind in one store: whole, cut, stopped, taken over, over-counted, amended."""

import random

import classes

from handbell.store.people.wearers import set_wearers
from handbell.store.results import settle
from handbell.store.results.amend import Change, amend_efforts
from handbell.store.results.places import Among, places_of
from handbell.store.results.queries import load_class
from handbell_core import timeline as t

DAY_MS = 86_400_000
COLLECTED_US = (classes.START_UTC_MS + 90 * DAY_MS) * 1000
PIECES = (
    (
        classes.Piece("Box steps", 40, t.ASK_TARGET, t.TAP_EVERY, goal=9, every=2),
        classes.Piece("Stretch", 20, tap=t.TAP_NONE),
        classes.Piece("Sit-ups", 20, t.ASK_OPEN, t.TAP_TALLY, rest_s=15),
        classes.Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP),
        classes.Piece("Rope skips", 30, goal=12),
    ),
)


def fill(store, count=4):
    """Put classes of three boxes and six bibs into a store, one every third day."""
    for n in range(count):
        start_ms = classes.START_UTC_MS + 3 * n * DAY_MS
        blocks = (classes.PIECES, PIECES)[n % 4 in (1, 2)]
        made = classes.make_class(3, 2, n, start_ms, blocks, rounds=2)
        for at, (box, data, run) in enumerate(made):
            store.put_timeline(data)
            journal = run.journal
            if at == 0 and n % 4 == 3:
                journal = _pressed_twice(data, n, start_ms).journal
            if at == 1 and n % 4 < 3:
                journal = classes.cut(run, 90_000)
                store.ingest(_spare(data, n, start_ms), classes.BOX_IDS[40], COLLECTED_US)
            store.ingest(journal, box, COLLECTED_US)
    set_wearers(store, 1, {1: "Mina", 2: "Otto"}, [4])
    for class_id in range(2, count + 1, 4):
        _correct(store, class_id)


def _spare(data, n, start_ms):
    """A box that took over after 90 s, and was stopped before the end."""
    presses = [p for p in classes.presses_of(random.Random(n), data, 0) if p.at_ms > 90_000]
    return classes.play(data, presses, start_ms + 1_000, stop_ms=160_000).journal


def _pressed_twice(data, n, start_ms):
    """Every press of bib 1 comes twice, close together."""
    some = classes.presses_of(random.Random(n), data, 0)
    return classes.play(data, some + classes.shifted(some, 150), start_ms)


def _correct(store, class_id):
    """Amend each kind of thing; bibs 3 and 4 wore each other's in the last round."""
    amend(store, class_id, 1, settle.NOTHING, "yes", round=1)
    amend(store, class_id, 5, settle.BIB, "9", round=1)
    amend(store, class_id, 2, settle.REPS, "15", exercise="Rope skips")
    amend(store, class_id, 2, settle.HELD, "105", exercise="Front plank")
    record = load_class(store, class_id)
    for bib, other in ((3, "4"), (4, "3")):
        amend(store, class_id, bib, settle.BIB, other, record, round=2)


def amend(store, class_id, bib, what, value, record=None, **where):
    """Amend a bib's places that a log tells of."""
    record = record or load_class(store, class_id)
    told = {(r.run, r.window, r.slot) for r in record.results}
    places = [
        p for p in places_of(record, bib, Among(**where)) if (p.run, p.window, p.slot) in told
    ]
    return amend_efforts(store, record, places, Change(what, value, "C", "w", 5))
