"""Sums by the database against the analysis's own way, and against pandas over the export."""

import random

import classes
import pytest

from handbell.analysis.efforts import Outcome, efforts
from handbell.analysis.pace import pace_of
from handbell.analysis.taps import counted, taps_of
from handbell.store import settle
from handbell.store.amend import Change, amend_efforts, places_of
from handbell.store.group import group_rows
from handbell.store.queries import load_class
from handbell.store.wearers import set_wearers
from handbell_core import timeline as t

pytest_plugins = ["store_fixtures"]

DAY_MS = 86_400_000
COLLECTED_US = (classes.START_UTC_MS + 60 * DAY_MS) * 1000
ODD = (
    (
        classes.Piece("Box steps", 40, t.ASK_TARGET, t.TAP_EVERY, goal=9, every=2),
        classes.Piece("Stretch", 20, tap=t.TAP_NONE),
        classes.Piece("Sit-ups", 20, t.ASK_OPEN, t.TAP_TALLY, rest_s=15),
        classes.Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP),
        classes.Piece("Rope skips", 30, goal=12),
    ),
)


@pytest.fixture
def filled(store):
    """Classes of every kind: whole, cut, stopped, skipped, taken over by a spare, amended."""
    for n, blocks in enumerate((classes.PIECES, ODD, ODD, classes.PIECES)):
        start_ms = classes.START_UTC_MS + n * DAY_MS
        made = classes.make_class(3, 2, n, start_ms, blocks, rounds=2)
        for at, (box, data, run) in enumerate(made):
            store.put_timeline(data)
            journal = run.journal
            if at == 1 and n < 3:
                journal = classes.cut(run, 90_000)
                spare = classes.presses_of(random.Random(n), data, 0)
                late = classes.play(data, spare, start_ms + 1_000, stop_ms=160_000)
                store.ingest(late.journal, classes.BOX_IDS[40], COLLECTED_US)
            store.ingest(journal, box, COLLECTED_US)
    set_wearers(store, 1, {1: "Mina", 2: "Otto"}, [4])
    for bib, what, value in ((1, settle.NOTHING, "yes"), (5, settle.BIB, "9")):
        record = load_class(store, 2)
        places = places_of(record, bib, round_=1)
        told = {(r.run, r.window, r.slot) for r in record.results}
        places = [p for p in places if (p.run, p.window, p.slot) in told]
        amend_efforts(store, record, places, Change(what, value, "C", "w", 5))
    return store


def by_hand(store, class_id):
    """The same sums from efforts, one by one."""
    record = load_class(store, class_id)
    times = counted(taps_of(store, class_id))
    sums = {}
    for e in efforts(record):
        sums.setdefault((e.bib, e.block, e.item, e.name, e.ask), []).append(e)
    found = {}
    for key, some in sums.items():
        done = [e for e in some if e.ask == t.ASK_TARGET and e.made is not None]
        reps = [e.reps for e in some if e.reps is not None]
        paces = [pace_of(e, times.get((e.run, e.window, e.bib), [])) for e in some]
        paces = [
            p for p, e in zip(paces, some, strict=True) if p and e.outcome is not Outcome.NO_RECORD
        ]
        found[key] = (
            len(some),
            len(reps),
            sum(reps),
            max(reps, default=None),
            len(done),
            sum(bool(e.made) for e in done),
            sum(e.finish_ms or 0 for e in done),
            sum(e.earned_rest_ms or 0 for e in done),
            sum(e.held_ms is not None for e in some),
            sum(e.held_ms is not None and e.drop_ms is None for e in some),
            pytest.approx(sum(p.median_gap_ms for p in paces) / len(paces)) if paces else None,
            min((p.best_gap_ms for p in paces), default=None),
            max((p.worst_gap_ms for p in paces), default=None),
        )
    return found, record.ratings


def test_the_database_adds_up_as_the_analysis_does(filled):
    rows = group_rows(filled)
    assert [c.class_id for c in rows] == [1, 2, 3, 4]
    for one in rows:
        found, ratings = by_hand(filled, one.class_id)
        mine = {
            (p.bib, e.block, e.item, e.name, e.ask): tuple(vars(e).values())[4:-1]
            for p in one.people
            for e in p.exercises
        }
        assert mine == found
        assert {p.bib: p.rating for p in one.people if p.rating is not None} == {
            bib: rating for bib, rating in ratings.items() if bib in {p.bib for p in one.people}
        }
    assert {p.name for p in rows[0].people} == {"Mina", "Otto", None}
    assert 4 not in {p.bib for p in rows[0].people}, "absent"


def test_a_time_leaves_the_classes_in_it(filled):
    rows = group_rows(filled)
    some = group_rows(filled, rows[1].at_utc_us, rows[2].at_utc_us)
    assert some == rows[1:3]
    assert group_rows(filled, rows[3].at_utc_us + 1) == []


def test_somebody_who_never_pressed_did_not_come(store):
    data = classes.timeline(classes.PIECES, (1, 2), rounds=1)
    store.put_timeline(data)
    store.ingest(classes.play(data, [classes.Press(11_000)]).journal, classes.BOX_IDS[0], 10**15)
    (one,) = group_rows(store)
    assert {p.bib: p.came for p in one.people} == {1: True, 2: False}


def test_pandas_over_the_export_says_the_same(filled, tmp_path):
    # Outside check: the same sums by pandas from the CSV files.
    pd = pytest.importorskip("pandas", reason="pip install pandas")
    from handbell.store.export import export_csv
    from handbell.store.schema import Wanted

    export_csv(filled, tmp_path, Wanted(classes=frozenset({4})))
    table = pd.read_csv(tmp_path / "results.csv")
    counts = table[~table.skipped & (table.standing != "invalid")]
    by_bib = counts.groupby(["bib", "exercise"]).agg(reps=("reps", "sum"), best=("reps", "max"))
    (one,) = [c for c in group_rows(filled) if c.class_id == 4]
    for person in one.people:
        for e in person.exercises:
            if e.ask != t.ASK_HOLD:
                told = by_bib.loc[(person.bib, e.name)]
                assert (told.reps, told.best) == (e.reps, e.best_reps)
    taps = pd.read_csv(tmp_path / "taps.csv")
    taps = taps[taps["stands"] & (taps["flags"] & 8 == 0)].sort_values(["log", "seq"])
    taps["gap"] = taps.groupby(["log", "window", "slot"]).class_ms.diff()
    gaps = taps.groupby(["bib", "window"]).gap.agg(["median", "min", "max", "count"])
    told = table.set_index(["bib", "window"])
    for key, row in gaps[gaps["count"] >= 2].iterrows():
        every = told.loc[key].every
        assert told.loc[key].median_gap_ms == pytest.approx(row["median"] / every)
        assert told.loc[key].worst_gap_ms == pytest.approx(row["max"] / every)
