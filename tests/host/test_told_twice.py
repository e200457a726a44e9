"""A box that lost power and was started again: two logs tell of one window."""

import json

import classes
import pytest
from classes import Piece, Press
from older import BACK_TO_0009
from sqlalchemy import delete, select, text

from handbell.cli.main import main
from handbell.report import class_report
from handbell.report.page import page
from handbell.store import open_store
from handbell.store.classes.filing import join_classes, take_out
from handbell.store.database import tables
from handbell.store.results.checking import check_counts
from handbell.store.results.effort import Outcome
from handbell.store.results.efforts import efforts
from handbell.store.results.group import group_rows
from handbell.store.results.queries import list_classes, load_class
from handbell.store.results.settle import settle_all
from handbell_core import timeline as t

BOX = classes.BOX_IDS[1]
COLLECTED_US = (classes.START_UTC_MS + 60 * 60_000) * 1000
BLOCKS = ((Piece("Ring rows", 60), Piece("Sit-ups", 60)),)
PLANK = ((Piece("Front plank", 60, t.ASK_HOLD, t.TAP_DROP),),)
CUT_MS = 50_000


@pytest.fixture
def place(tmp_path):
    return str(tmp_path / "store.sqlite")


@pytest.fixture
def store(place):
    with open_store(place) as opened:
        yield opened


def restarted(store, first_s, second_s, blocks=BLOCKS, again=BOX, start_ms=None, **how):
    """A box cut off in its first window, and a log of a later start; seconds are of presses."""
    said, later_first, cut_ms = (how.get(k) for k in ("said", "later_first", "cut_ms"))
    data = classes.timeline(blocks, (2,), 2, rounds=2, rate=False)
    other = classes.timeline(blocks, (1,), 1, rounds=2, rate=False)
    for one in (data, other):
        store.put_timeline(one)
    store.ingest(classes.play(other, [Press(15_000)]).journal, classes.BOX_IDS[0], COLLECTED_US)
    run = classes.play(data, [Press(int(s * 1000)) for s in first_s])
    kept = sum(ms <= (cut_ms or CUT_MS) for ms in run.times_ms)
    more = classes.play(data, [Press(int(s * 1000)) for s in second_s], start_ms, boot=2)
    logs = [(b"".join(run.records[:kept]), BOX), (more.journal, again)]
    for log, box in reversed(logs) if later_first else logs:
        store.ingest(log, box, COLLECTED_US)
        if said is not None and box == BOX:
            said()
            said = None
    for row in list_classes(store):
        if row.id != 1:
            join_classes(store, row.id, 1)
    return load_class(store, 1)


def corrected(place, *what):
    return lambda: main(
        ["amend", "1", "--bib", "2", "--window", "1", *what, "--why", "seen", "--store", place]
    )


def first_of_bib_2(record):
    return next(e for e in efforts(record) if e.bib == 2)


def odd(store, record):
    return [s for s in class_report(store, record.row.id).odd if "two logs" in s or "boxes" in s]


def test_a_window_counted_before_the_cut_is_not_lost_to_one_that_nobody_touched(store):
    record = restarted(store, (15, 20, 25, 30), (75, 80))
    first = first_of_bib_2(record)
    assert (first.outcome, first.reps) == (Outcome.CUT, 4)
    second = [e for e in efforts(record) if e.bib == 2][1]
    assert (second.outcome, second.reps) == (Outcome.DONE, 2)


@pytest.mark.parametrize(("again_s", "reps"), [((15, 20, 25), 4), ((15, 20, 25, 30, 35), 5)])
def test_of_two_counts_the_greater_is_taken_never_the_sum(store, again_s, reps):
    assert first_of_bib_2(restarted(store, (15, 20, 25, 30), again_s)).reps == reps


def test_of_two_equal_counts_the_one_of_a_whole_window_is_taken(store):
    first = first_of_bib_2(restarted(store, (15, 20), (15, 20)))
    assert (first.outcome, first.reps) == (Outcome.DONE, 2)


def test_as_many_of_a_whole_window_and_of_one_cut_off_is_no_difference(store):
    assert not [s for s in odd(store, restarted(store, (15, 20), (15, 20))) if "or more" in s]


def test_a_position_let_go_is_not_lost_to_one_that_nobody_touched(store):
    first = first_of_bib_2(restarted(store, (30,), (), PLANK))
    assert first.drop_ms == 30_000 and first.made is None


def test_months_count_what_the_class_counts(store):
    restarted(store, (15, 20, 25, 30), (75, 80))
    (one,) = group_rows(store)
    (mine,) = [p for p in one.people if p.bib == 2]
    assert {e.name: e.reps for e in mine.exercises} == {"Ring rows": 4, "Sit-ups": 2}


def test_the_report_says_which_of_two_counts_is_taken(store, place, capsys):
    record = restarted(store, (15, 20, 25, 30), (15, 20, 25, 75))
    (said,) = odd(store, record)
    assert said == (
        "Station 2: two logs of box 0002 tell of the same windows. The fuller count is taken, "
        "never the sum: Bib 2, Ring rows, round 1: 4 or more, not 3. If you know better: "
        "handbell amend 1 --bib 2"
    )
    assert "4 or more, not 3" in page(class_report(store, 1))
    assert main(["report", "1", "--json", "--store", place]) == 0
    assert said in json.loads(capsys.readouterr().out)["data"]["report"]["odd"]
    amend = ["amend", "1", "--bib", "2", "--window", "1", "--reps", "7", "--why", "both"]
    assert main([*amend, "--store", place]) == 0
    again = load_class(store, 1)
    assert first_of_bib_2(again).reps == 7 and odd(store, again) == []


def test_a_spare_s_count_that_is_not_taken_is_said_too(store):
    start_ms = classes.START_UTC_MS
    record = restarted(store, (15, 20, 25, 30), (52, 55, 58), BLOCKS, classes.BOX_IDS[6], start_ms)
    (said,) = [s for s in odd(store, record) if "tell of the same windows" in s]
    assert said.startswith("Station 2: boxes 0002 and 0007 tell of the same windows")
    assert "4 or more, not 3" in said


def test_a_spare_that_nobody_touched_in_a_window_is_not_spoken_of(store):
    start_ms = classes.START_UTC_MS
    record = restarted(store, (15, 20), (75, 80), BLOCKS, classes.BOX_IDS[6], start_ms)
    assert not [s for s in odd(store, record) if "tell of the same windows" in s]


def test_many_windows_are_told_in_one_sentence(store):
    names = "Ring rows", "Sit-ups", "Squat", "Lunge"
    blocks = (tuple(Piece(name, 6) for name in names),)
    many = tuple(11 + n * 2 for n in range(19))
    fewer = tuple(12 + n * 6 for n in range(6))
    record = restarted(store, many, fewer, blocks)
    (said,) = odd(store, record)
    assert said.count("not 1") == 3 and "; 4 more. If" in said


@pytest.mark.parametrize("later_s", [(), (15, 20, 25, 30, 35)])
def test_a_later_log_does_not_take_the_place_of_what_was_corrected(store, place, later_s):
    correct = corrected(place, "--reps", "2")
    record = restarted(store, (15, 20, 25, 30), later_s, said=correct)
    assert first_of_bib_2(record).reps == 2
    (one,) = group_rows(store)
    (mine,) = [p for p in one.people if p.bib == 2]
    assert {e.name: e.reps for e in mine.exercises}["Ring rows"] == 2
    (told,) = odd(store, record)
    other = len(later_s)
    assert f"round 1: 2 as it was corrected, not {other}." in told
    assert "What was corrected is taken, never the sum" in told and "fuller" not in told


def test_a_later_log_does_not_bring_back_what_was_set_aside(store, place):
    record = restarted(store, (15, 20), (15, 20, 25), said=corrected(place, "--invalid"))
    assert first_of_bib_2(record).outcome is Outcome.SET_ASIDE
    (told,) = odd(store, record)
    assert "round 1: set aside as it was corrected, not 3." in told


def test_of_two_corrections_the_last_one_holds(store, place):
    restarted(store, (15, 20), (15, 20, 25), said=corrected(place, "--reps", "2"))
    runs = {run.digest: run.id for run in load_class(store, 1).runs if run.station == 2}
    corrected(place, "--reps", "9")()
    corrected(place, "--reps", "1")()
    record = load_class(store, 1)
    assert len(runs) == 2 and first_of_bib_2(record).reps == 1
    last = record.amendments[-1]
    assert main(["amend", "1", "--undo", last.digest, "--store", place]) == 0
    assert first_of_bib_2(load_class(store, 1)).reps == 9  # it was one word, of both logs


def test_a_window_that_another_bib_had_is_that_one_s_in_the_other_log_too(store, place):
    correct = corrected(place, "--to-bib", "7")
    record = restarted(store, (15, 20, 25, 30), (15, 20, 25, 35, 40), said=correct)
    first = [e for e in efforts(record) if e.name == "Ring rows" and e.round == 1]
    assert [(e.bib, e.reps) for e in first if e.station == 2] == [(7, 5)]
    (told,) = odd(store, record)
    assert "Bib 7, Ring rows, round 1: 5, not 4." in told
    assert "--bib 7" in told
    (one,) = group_rows(store)
    reps = {p.bib: sum(e.reps for e in p.exercises) for p in one.people}
    assert (reps[2], reps[7]) == (0, 5)


def stored_bibs(store):
    """The bibs of window 1 at station 2, by table and log, as they stand in the store."""
    assert list(check_counts(store)) == []
    found = []
    with store.reading() as conn:
        for table in (tables.results, tables.taps):
            of = table.c.window == 1, tables.runs.c.station == 2
            bibs = select(tables.runs.c.id, table.c.bib).distinct().where(*of)
            found.append(
                sorted(conn.execute(bibs.join(tables.runs, table.c.run == tables.runs.c.id)))
            )
    assert found[0] == found[1]
    return [bib for _, bib in found[0]]


@pytest.mark.parametrize("later_first", [False, True])
def test_what_stands_in_the_store_of_the_other_log_is_that_bib_s_too(store, place, later_first):
    """Exports and one person's data are made of the rows as they stand."""
    times = (15, 20, 25, 30), (15, 20, 25, 35, 40)
    restarted(store, *times, later_first=later_first)
    assert stored_bibs(store) == [2, 2]
    corrected(place, "--to-bib", "7")()
    assert stored_bibs(store) == [7, 7]
    with store.writing() as conn:  # as after an import of what was said of one of them
        a = tables.amendments
        first = conn.scalar(select(a.c.digest).order_by(a.c.run))
        conn.execute(delete(a).where(a.c.digest != first))
        settle_all(conn)
    assert stored_bibs(store) == [7, 7]
    with store.reading() as conn:
        other = conn.scalar(select(tables.runs.c.digest).where(tables.runs.c.id == 3))
    assert main(["class", "1", "--apart", other[:8], "--store", place]) == 0
    assert sorted(stored_bibs(store)) == [2, 7]
    assert main(["class", "2", "--join", "1", "--store", place]) == 0
    assert stored_bibs(store) == [7, 7]
    assert main(["amend", "1", "--undo", first[:8], "--store", place]) == 0
    assert stored_bibs(store) == [2, 2]


def test_a_bib_that_was_borrowed_goes_with_the_log_it_was_said_of(store, place):
    correct = corrected(place, "--to-bib", "7")
    restarted(store, (15, 20, 25, 30), (15, 20, 25, 35, 40), said=correct)
    assert stored_bibs(store) == [7, 7]
    with store.writing() as conn:
        take_out(conn, 2)
    assert stored_bibs(store) == [2]


TEN = ((Piece("Rows", 60, t.ASK_TARGET, goal=3),),)


@pytest.mark.parametrize("later_first", [False, True])
def test_of_equal_counts_the_one_reached_first_is_taken_however_collected(store, later_first):
    how = {"cut_ms": 100_000, "later_first": later_first, "start_ms": classes.START_UTC_MS}
    record = restarted(store, (20, 30, 40), (15, 20, 25), TEN, classes.BOX_IDS[6], **how)
    assert first_of_bib_2(record).finish_ms == 15_000
    (told,) = [s for s in odd(store, record) if "tell of the same" in s]
    assert "round 1: 3, reached after 15.0 s, not 3, reached after 30.0 s." in told
    assert "Of equal counts the one reached first is taken, never the sum" in told


@pytest.mark.parametrize("later_first", [False, True])
@pytest.mark.parametrize(("first_s", "second_s"), [(30, 55), (55, 30)])
def test_of_two_holds_the_longer_is_taken_however_collected(store, later_first, first_s, second_s):
    how = {"cut_ms": 75_000, "later_first": later_first, "start_ms": classes.START_UTC_MS}
    record = restarted(store, (first_s,), (second_s,), PLANK, classes.BOX_IDS[6], **how)
    assert first_of_bib_2(record).drop_ms == 55_000
    (told,) = [s for s in odd(store, record) if "tell of the same" in s]
    assert "let go after 45.0 s, not let go after 20.0 s" in told
    assert "Of two holds the longer is taken, never the sum" in told


def test_of_two_logs_that_tell_the_same_the_digest_decides(store):
    how = {"start_ms": classes.START_UTC_MS, "cut_ms": 130_000}
    record = restarted(store, (15, 20), (15.1, 20.2), BLOCKS, classes.BOX_IDS[6], **how)
    digests = {run.id: run.digest for run in record.runs if run.station == 2}
    assert first_of_bib_2(record).run == max(digests, key=lambda run: digests[run])


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_of_two_answers_of_one_bib_the_digest_decides_and_it_is_said(store, order):
    pieces = ((Piece("Ring rows", 30), Piece("Sit-ups", 30)),)
    data = classes.timeline(pieces, (2, 3), 2, rounds=2, rate=True)
    store.put_timeline(data)
    logs = []
    for seconds, answer, box in (((12, 15, 18), 5, BOX), ((72, 75), 8, classes.BOX_IDS[6])):
        presses = [Press(s * 1000) for s in seconds]
        presses += [Press(131_000 + n * 400) for n in range(answer)]
        logs.append((classes.play(data, presses).journal, box, answer))
    for n in order:
        store.ingest(*logs[n][:2], COLLECTED_US)
    digests = {classes.digest_of(log): answer for log, _, answer in logs}
    taken, other = digests[max(digests)], digests[min(digests)]
    record = load_class(store, 1)
    assert record.ratings[2] == taken
    (one,) = group_rows(store)
    assert [p.rating for p in one.people if p.bib == 2] == [taken]
    said = [s for s in class_report(store, 1).odd if "how hard" in s]
    assert said == [
        f"Bib 2: two logs have an answer to how hard it was, {taken} and {other}. "
        f"{taken} is taken; ask, if it matters."
    ]


def test_a_store_of_before_is_added_up_again(store, place):
    restarted(store, (15, 20, 25, 30), (75, 80))
    with store.reading() as conn:
        sums = conn.execute(select(tables.sums)).all()
    with store.writing() as conn:
        conn.execute(text("UPDATE sums SET reps = 0"))
        for words in BACK_TO_0009:
            conn.execute(text(words))
        conn.execute(text("UPDATE alembic_version SET version_num = '0006'"))
    with open_store(place) as again, again.reading() as conn:
        assert conn.execute(select(tables.sums)).all() == sums
