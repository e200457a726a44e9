"""Sums as they are kept against those of every effort, and against pandas over the export."""

import classes
import odd_classes
import pytest

from handbell.analysis.past.history import past_classes
from handbell.store.results import settle
from handbell.store.results.amend import Change, amend_efforts, undo
from handbell.store.results.effort import Outcome
from handbell.store.results.efforts import efforts
from handbell.store.results.group import group_rows
from handbell.store.results.places import Among, one_window, places_of
from handbell.store.results.queries import load_class
from handbell.store.results.sums import SUMMED
from handbell_core import timeline as t

pytest_plugins = ["store_fixtures"]


@pytest.fixture
def filled(store):
    odd_classes.fill(store)
    return store


def by_hand(store, class_id):
    """The same sums from efforts, one by one."""
    found = {}
    for e in efforts(load_class(store, class_id)):
        key = e.bib, e.block, e.item, e.name, e.ask, e.tap, e.both_sides
        found.setdefault(key, []).append(e)
    return {key: sums_of(some) for key, some in found.items()}


def sums_of(some):
    made = [e.made for e in some if e.made is not None]
    targets = [e for e in some if e.ask == t.ASK_TARGET and e.outcome is Outcome.DONE]
    rests = [e.earned_rest_ms for e in targets if e.earned_rest_ms is not None]
    rates = [e.rate for e in some if e.rate is not None]
    return {
        "asked": tuple((e.start_ms, e.round, e.end_ms - e.start_ms, e.goal) for e in some),
        "read": sum(e.outcome is Outcome.DONE and e.confirmed for e in some),
        "pressed": sum(
            bool(e.reps or e.touched or e.said_utc_us) or e.drop_ms is not None for e in some
        ),
        "judged": len(made),
        "made": sum(made),
        "reps": sum(e.reps or 0 for e in some),
        "timed": len(rests),
        "earned_rest_ms": sum(rests),
        "held_ms": sum(e.held_ms or 0 for e in some),
        "rates": len(rates),
        "rate_sum": pytest.approx(sum(rates)),
    }


def test_what_is_kept_is_what_comes_of_every_effort(filled):
    rows = group_rows(filled)
    assert [c.row.id for c in rows] == [1, 2, 3, 4]
    for one in rows:
        record = load_class(filled, one.row.id)
        told = {
            (p.bib, *e.exercise): dict(zip(e._fields[SUMMED - 1 :], e[SUMMED - 1 :], strict=True))
            for p in one.people
            for e in p.exercises
        }
        assert told == by_hand(filled, one.row.id)
        assert [p.bib for p in one.people] == record.bibs
        assert {p.bib: p.rating for p in one.people if p.rating is not None} == record.ratings
        assert one.slot_ms == max(run.timeline.slot_ms for run in record.runs)
    assert [(p.bib, p.name, p.absent) for p in rows[0].people[:4]] == [
        (1, "Mina", False),
        (2, "Otto", False),
        (3, None, False),
        (4, None, True),
    ]
    assert rows[0].people[3].exercises == ()


def test_sums_follow_what_a_coach_corrects_and_takes_back(filled):
    def of(class_id):
        (one,) = (c for c in group_rows(filled) if c.row.id == class_id)
        return {p.bib: p.exercises for p in one.people}

    record, before = load_class(filled, 4), of(4)
    (place,) = one_window(record, places_of(record, 1, Among("Rope skips", 2)))
    (amended,) = amend_efforts(
        filled, record, [place], Change(settle.REPS, "40", "Coach", "miscounted", 9)
    )
    skips, was = of(4)[1][0], before[1][0]
    old = next(
        r.reps
        for r in record.results
        if (r.run, r.window, r.slot) == (place.run, place.window, place.slot)
    )
    assert skips.reps == was.reps - old + 40
    assert skips.rate_sum == pytest.approx(was.rate_sum + 2 * (40 - old)), "windows of 30 s"
    undo(filled, load_class(filled, 4), amended.digest, "Coach", 10)
    assert of(4) == before


def test_one_who_gave_everything_away_was_planned_for(store):
    data = classes.timeline(classes.PIECES[:1], (1, 2), rounds=1, rate=False)
    store.put_timeline(data)
    run = classes.play(data, [classes.Press(11_000), classes.Press(41_000)])
    store.ingest(run.journal, classes.BOX_IDS[0], 10**15)
    record = load_class(store, 1)
    amend_efforts(store, record, places_of(record, 1), Change(settle.BIB, "7", "Coach", "swap", 9))
    (one,) = group_rows(store)
    assert {p.bib: bool(p.exercises) for p in one.people} == {1: False, 2: True, 7: True}


def test_a_time_leaves_the_classes_in_it(filled):
    rows = group_rows(filled)
    at = [c.row.start_utc_us for c in rows]
    assert group_rows(filled, at[1], at[2]) == rows[1:3]
    assert group_rows(filled, at[3] + 1) == []


def test_somebody_who_never_pressed_did_not_come(store):
    data = classes.timeline(classes.PIECES, (1, 2), rounds=1)
    store.put_timeline(data)
    store.ingest(classes.play(data, [classes.Press(11_000)]).journal, classes.BOX_IDS[0], 10**15)
    (one,) = past_classes(store)
    assert {p.bib: p.there for p in one.people} == {1: True, 2: False}


def test_pandas_over_the_export_says_the_same(filled, tmp_path):
    # Outside check: the same sums by pandas from the CSV files.
    pd = pytest.importorskip("pandas", reason="pip install pandas")
    from handbell.store.exports.export import export_csv
    from handbell.store.exports.schema import Wanted

    export_csv(filled, tmp_path, Wanted(classes=frozenset({4})))
    table = pd.read_csv(tmp_path / "results.csv")
    counts = table[~table.skipped & (table.standing != "invalid")]
    by_bib = counts.groupby(["bib", "exercise"]).agg(reps=("reps", "sum"))
    (one,) = [c for c in group_rows(filled) if c.row.id == 4]
    for person in one.people:
        for e in person.exercises:
            if e.ask != t.ASK_HOLD:
                told = by_bib.loc[(person.bib, e.name)]
                assert told.reps == e.reps
    taps = pd.read_csv(tmp_path / "taps.csv")
    taps = taps[taps["stands"] & (taps["flags"] & 8 == 0)].sort_values(["log", "seq"])
    taps["gap"] = taps.groupby(["log", "window", "slot"]).class_ms.diff()
    gaps = taps.groupby(["bib", "window"]).gap.agg(["median", "min", "max", "count"])
    told = table.set_index(["bib", "window"])
    for key, row in gaps[gaps["count"] >= 2].iterrows():
        every = told.loc[key].every
        assert told.loc[key].median_gap_ms == pytest.approx(row["median"] / every)
        assert told.loc[key].worst_gap_ms == pytest.approx(row["max"] / every)
