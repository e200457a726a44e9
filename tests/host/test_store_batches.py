"""Several windows amended by one saying: bibs exchanged, listed as one, taken back as one.

What holds after any sayings and undoings, in any order, is worked out here from what was said alone.
"""

import json
import sqlite3
from contextlib import closing

import classes
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from older import BACK_TO_0013
from sqlalchemy import delete

from handbell.base.errors import UsageError
from handbell.cli.main import main
from handbell.report import class_report
from handbell.report.one_class.cells import cell_words
from handbell.store import open_store
from handbell.store.database import tables
from handbell.store.results import settle
from handbell.store.results.amend import Change, amend_efforts, exchange, undo
from handbell.store.results.places import Among, both_places, one_window, places_of
from handbell.store.results.queries import load_class
from handbell_core import timeline as t

AT_US = (classes.START_UTC_MS + 3_600_000) * 1000
ROUND = (
    classes.Piece("Ring rows", 20, t.ASK_TARGET, goal=3),
    classes.Piece("Front plank", 20, t.ASK_HOLD, t.TAP_DROP),
)
BLOCKS = (ROUND, (classes.Piece("Sit-ups", 20),))


@pytest.fixture
def path(tmp_path, monkeypatch):
    monkeypatch.setenv("HANDBELL_COACH", "Uma")
    where = tmp_path / "store.sqlite"
    monkeypatch.setenv("HANDBELL_STORE", str(where))
    return where


@pytest.fixture
def filled(path):
    """Bibs 1 and 2 at one box: two rounds of rows and plank, then two of sit-ups."""
    with open_store(str(path)) as store:
        store.put_plan(PLAN, "Two blocks")
        ((box, data, run),) = classes.make_class(boxes=1, blocks=BLOCKS, rounds=2)
        store.put_timeline(data)
        store.ingest(run.journal, box, AT_US)
    return path


PLAN = classes.PLAN_TEXT


def loaded():
    with open_store() as store:
        return load_class(store, 1)


def bibs_there():
    """The bibs at the box's two buttons, by window."""
    (run,) = loaded().runs
    return {n: w.bibs[:2] for n, w in run.timeline.windows.items()}


def told(record):
    rows = [(r.window, r.slot, r.bib, r.reps, r.made_ms, r.held_ds) for r in record.results]
    return rows, record.ratings


def swap(*more, why="changed bibs"):
    return main(["amend", "newest", "--swap", "1", "2", "--why", why, *more])


AS_PLANNED = dict.fromkeys(range(1, 7), (1, 2))


@pytest.mark.parametrize(
    ("among", "windows"),
    [
        (["--round", "2", "--block", "1"], {3, 4}),
        (["--block", "2"], {5, 6}),
        (["--from-window", "4"], {4, 5, 6}),
        (["--exercise", "front plank"], {2, 4}),
        (["--window", "3"], {3}),
        ([], {1, 2, 3, 4, 5, 6}),
    ],
)
def test_two_bibs_are_exchanged_by_one_command_and_taken_back_by_one(
    filled, capsys, among, windows
):
    before = told(loaded())
    assert swap(*among) == 0
    assert "rows in" not in capsys.readouterr().out
    assert bibs_there() == AS_PLANNED | dict.fromkeys(windows, (2, 1))
    rows, ratings = told(loaded())
    other = {1: 2, 2: 1}
    moved = [
        (w, slot, other[bib] if w in windows else bib, *rest) for w, slot, bib, *rest in before[0]
    ]
    assert rows == moved
    whole = len(windows) == 6
    assert ratings == ({other[b]: r for b, r in before[1].items()} if whole else before[1])
    after = told(loaded())
    assert swap(*among) == 0 and told(loaded()) == after, "twice does no harm"
    capsys.readouterr()
    assert main(["amend", "newest"]) == 0
    (line,) = capsys.readouterr().out.splitlines()[1:]
    assert "bib 1 and bib 2 exchanged" in line and "changed bibs" in line and "Uma" in line
    assert main(["amend", "newest", "--undo", line.split()[0]]) == 0
    assert capsys.readouterr().out.count("(undone") == 1
    assert told(loaded()) == before


def test_a_whole_bib_is_one_line_in_the_list_and_on_the_page(filled, capsys):
    for what in (["--bib", "1", "--to-bib", "9"], ["--bib", "2", "--invalid"]):
        assert main(["amend", "newest", *what, "--why", "mixed up"]) == 0
    capsys.readouterr()
    main(["amend", "newest"])
    first, second = capsys.readouterr().out.splitlines()[1:]
    assert "bib 1, 6 windows (1 to 6): of bib 9: mixed up" in first
    assert "bib 2, 6 windows (1 to 6): left out: mixed up" in second
    with open_store() as store:
        assert class_report(store).corrected == (
            "6 windows (1 to 6): bib 9 was there, not bib 1 (Uma: mixed up).",
            "Bib 2, 6 windows (1 to 6): set aside, it tells nothing (Uma: mixed up).",
        )


def test_one_of_a_batch_stands_for_all_of_it(filled, capsys):
    swap("--round", "1")
    capsys.readouterr()
    main(["amend", "newest", "--json"])
    some = json.loads(capsys.readouterr().out)["data"]["amendments"]
    assert [a["window"] for a in some] == sorted(a["window"] for a in some)
    assert {a["batch"] for a in some} == {min(a["digest"] for a in some)}
    assert main(["amend", "newest", "--undo", max(a["digest"] for a in some)]) == 0
    assert bibs_there() == AS_PLANNED


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (["--swap", "1", "1"], "Bib 1 can't change with itself"),
        (["--swap", "1", "9"], "Bib 9 has no window"),
        (["--swap", "1", "2", "--block", "3"], "Neither bib has such a window"),
        (["--swap", "1", "2", "--block", "Warm-up"], "not the name of one block"),
        (["--swap", "1", "2", "--bib", "1"], "can't go together"),
    ],
)
def test_a_swap_that_can_not_be_is_refused_in_a_sentence(filled, capsys, said, words):
    before = told(loaded())
    assert main(["amend", "newest", *said, "--why", "x"]) == 2
    assert words in capsys.readouterr().err
    assert told(loaded()) == before and not loaded().amendments


def test_a_count_put_down_and_up_again_keeps_its_finish_time(filled):
    with open_store() as store:
        made = next(r for r in load_class(store, 1).results if r.made_ms >= 0 and r.reps == 3)
        places = places_of(load_class(store, 1), made.bib, Among(window=made.window))
        for at, reps in enumerate(("2", "3"), 5):
            record = load_class(store, 1)
            amend_efforts(store, record, places, Change(settle.REPS, reps, "Uma", "saw", at))
            now = {(r.window, r.slot): r for r in load_class(store, 1).results}
            assert now[made.window, made.slot].made_ms == (made.made_ms if reps == "3" else -1)


def test_what_is_said_later_holds_though_the_clock_went_back(filled):
    with open_store() as store:
        for at, reps in ((900, "2"), (5, "1")):
            record = load_class(store, 1)
            places = one_window(record, places_of(record, 1, Among(window=5)))
            amend_efforts(store, record, places, Change(settle.REPS, reps, "Uma", "saw", at))
        now = next(r for r in load_class(store, 1).results if (r.window, r.slot) == (5, 0))
        assert now.reps == 1


def test_reps_entered_where_one_tap_ends_a_target_are_shown(path):
    piece = classes.Piece("Swings", 30, t.ASK_TARGET, t.TAP_FINISH, goal=10)
    data = classes.timeline(((piece,),), (1,), rounds=1)
    with open_store() as store:
        store.put_timeline(data)
        store.ingest(classes.play(data, []).journal, classes.BOX_IDS[0], AT_US)
    assert main(["amend", "newest", "--bib", "1", "--reps", "7", "--why", "saw seven"]) == 0
    with open_store() as store:
        (table,) = class_report(store).exercises
    main_words, remark = cell_words(table, table.rows[0].cells[0])
    assert main_words == "7 of 10" and remark.startswith("not finished")


def test_what_an_older_version_said_of_a_whole_bib_is_one_batch(filled, capsys):
    main(["amend", "newest", "--bib", "1", "--to-bib", "9", "--why", "mixed up"])
    main(["amend", "newest", "--bib", "2", "--window", "1", "--invalid", "--why", "late"])
    digests = [(a.digest, a.batch) for a in loaded().amendments]
    with closing(sqlite3.connect(filled)) as db, db:
        for statement in (*BACK_TO_0013, "UPDATE alembic_version SET version_num = '0013'"):
            db.execute(statement)
    assert [(a.digest, a.batch) for a in loaded().amendments] == digests


def test_a_bundle_takes_a_batch_along_and_its_undoing(filled, tmp_path, monkeypatch, capsys):
    swap("--block", "1")
    main(["amend", "newest", "--bib", "1", "--to-bib", "9", "--block", "2", "--why", "x"])
    bundle, other = tmp_path / "all.zip", tmp_path / "other.sqlite"
    assert main(["export", str(bundle)]) == 0
    mine = [(a.digest, a.batch) for a in loaded().amendments]
    monkeypatch.setenv("HANDBELL_STORE", str(other))
    assert main(["import", str(bundle)]) == 0
    assert [(a.digest, a.batch) for a in loaded().amendments] == mine
    capsys.readouterr()
    main(["amend", "newest"])
    first = capsys.readouterr().out.splitlines()[1]
    assert "exchanged" in first
    main(["amend", "newest", "--undo", first[:8]])
    assert bibs_there() == AS_PLANNED | dict.fromkeys((5, 6), (9, 2))


# What may be said, against what it must come to.

SAYINGS = st.one_of(
    st.tuples(
        st.just("swap"),
        st.sampled_from(
            [Among(round=1), Among(block=2), Among(since=3), Among(), Among("Sit-ups", 2)]
        ),
    ),
    st.tuples(st.just("give"), st.sampled_from([(1, 9), (2, 9), (1, 2), (2, 1), (1, 1)])),
    st.tuples(st.just("reps"), st.sampled_from([1, 3, 5]), st.sampled_from([0, 2, 3, 4])),
    st.tuples(st.just("nothing"), st.sampled_from([1, 2])),
    st.tuples(st.just("undo"), st.integers(0, 7)),
)
EXERCISES = {1: "Ring rows", 2: "Front plank", 3: "Ring rows", 4: "Front plank", 5: "Sit-ups"}
EXERCISES[6] = "Sit-ups"
ROUNDS = {1: 1, 2: 1, 3: 2, 4: 2, 5: 1, 6: 2}
GOALS = {1: 3, 3: 3}


def is_among(window, among):
    return (
        (not among.exercise or EXERCISES[window] == among.exercise)
        and among.round in (0, ROUNDS[window])
        and (not among.block or (window > 4) == (among.block == 2))
        and window >= among.since
    )


class Oracle:
    """What was said of each button in each window, as (saying, kind, value); nothing is counted."""

    def __init__(self, counted):
        self.counted = counted  # by window and slot
        self.said = []  # each a dict of place and kind to value, None once taken back

    def word(self, place, kind):
        words = [one[place, kind] for one in self.said if one and (place, kind) in one]
        return words[-1] if words else None

    def bib(self, place):
        return self.word(place, "bib") or place[1] + 1

    def say(self, values):
        new = {key: value for key, value in values.items() if self.word(*key) != value}
        if new:
            self.said.append(new)

    def row(self, place):
        """Return (bib, reps, made_ms, set aside) as it must stand."""
        reps, made_ms = self.counted[place]
        word = self.word(place, "count")
        if isinstance(word, int):
            made_ms = made_ms if word >= GOALS.get(place[0], 0) else -1
            reps = word
        return self.bib(place), reps, made_ms, word == "nothing"


@pytest.fixture(scope="module")
def one_store(tmp_path_factory):
    where = str(tmp_path_factory.mktemp("said") / "store.sqlite")
    with open_store(where) as store:
        ((box, data, run),) = classes.make_class(boxes=1, blocks=BLOCKS, rounds=2)
        store.put_timeline(data)
        store.ingest(run.journal, box, AT_US)
        yield store


@settings(max_examples=10, deadline=None)
@given(st.lists(SAYINGS, min_size=2, max_size=6))
def test_any_sayings_and_undoings_come_to_what_was_said_last(one_store, sayings):
    with one_store.writing() as conn:
        conn.execute(delete(tables.amendments))
        settle.settle(conn, 1)
    counted = {(r.window, r.slot): (r.reps, r.made_ms) for r in load_class(one_store, 1).results}
    rated = load_class(one_store, 1).ratings
    oracle, batches = Oracle(counted), []
    record = load_class(one_store, 1)
    for n, (kind, *how) in enumerate(sayings):
        said = say(one_store, record, kind, how, n, oracle, batches)
        record = load_class(one_store, 1)
        if said:
            oracle.say(said)
            batches += {a.batch for a in record.amendments} - {*batches}
        check(record, oracle, batches)
    for batch, stands in zip(batches, oracle.said, strict=True):
        if stands:
            undo(one_store, record, batch, "Uma", 99)
    record = load_class(one_store, 1)
    assert {(r.window, r.slot): (r.reps, r.made_ms) for r in record.results} == counted
    assert record.ratings == rated and all(r.standing != "amended" for r in record.results)


def say(store, record, kind, how, n, oracle, batches):
    """Say it to the store, and return what it says in the oracle's terms; None for nothing."""

    def change(what, value):
        return Change(what, str(value), "Uma", f"why {n}", 7)

    every = [(window, slot) for window in range(1, 7) for slot in (0, 1)]
    if kind == "swap":
        exchange(store, record, both_places(record, (1, 2), how[0]), change(settle.BIB, 2))
        return {(p, "bib"): 2 - p[1] for p in every if is_among(p[0], how[0])}
    if kind == "give":
        bib, to = how[0]
        places = places_of(record, bib, as_planned=True)
        amend_efforts(store, record, places, change(settle.BIB, to))
        return {(p, "bib"): to for p in every if p[1] + 1 == bib}
    if kind == "undo":
        if how[0] < len(batches):
            undo(store, record, batches[how[0]], "Uma", 90 + n)
            oracle.said[how[0]] = None
        return None
    window, bib = (how[0], 1) if kind == "reps" else (None, how[0])
    meant = [p for p in every if oracle.bib(p) == bib and window in (None, p[0])]
    try:
        places = places_of(record, bib, Among(window=window or 0))
        if kind == "reps":
            places = one_window(record, places)
    except UsageError:
        assert len(meant) != 1 or (window is None and not meant)
        return None
    if kind == "reps":
        amend_efforts(store, record, places, change(settle.REPS, how[1]))
        return {(p, "count"): how[1] for p in meant}
    amend_efforts(store, record, places, change(settle.NOTHING, "yes"))
    return {(p, "count"): "nothing" for p in meant}


def check(record, oracle, batches):
    assert len(batches) == len(oracle.said)
    rows = {(r.window, r.slot): r for r in record.results}
    for place, row in rows.items():
        bib, reps, made_ms, aside = oracle.row(place)
        assert (row.bib, row.reps, row.made_ms) == (bib, reps, made_ms), place
        assert (row.standing == "invalid") == aside, place
    standing = {a.batch for a in record.amendments if a.undone_utc_us is None}
    assert standing == {b for b, said in zip(batches, oracle.said, strict=True) if said}
    (run,) = record.runs
    there = {(n, s): w.bibs[s] for n, w in run.timeline.windows.items() for s in (0, 1)}
    assert there == {place: oracle.bib(place) for place in there}
