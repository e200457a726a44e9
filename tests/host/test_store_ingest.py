"""Taking journals in: once, whole, counted again; torn, broken and strange ones too."""

import random
import struct
import threading

import classes
import pytest
from sqlalchemy import func, select
from worn import wear, worn_names

from handbell.base.errors import StoreError, UnreadJournalError, UsageError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.database import tables
from handbell.store.logs import journals, salvage
from handbell.store.people.forget import forget
from handbell.store.people.wearers import set_wearers
from handbell.store.results import settle
from handbell_core import faults
from handbell_core import journal as j
from handbell_core import timeline as t

pytest_plugins = ["store_fixtures"]

COLLECTED_US = (classes.START_UTC_MS + 3_600_000) * 1000
BOX = classes.BOX_IDS[0]
SIMPLE = ((classes.Piece("Ring rows", 30), classes.Piece("Sit-ups", 30)),)


def rows(store, table, *where):
    with store.reading() as conn:
        query = select(table).where(*where).order_by(*table.primary_key)
        return conn.execute(query).all()


def everything(store):
    return {name: rows(store, table) for name, table in tables.metadata.tables.items()}


def take(store, data, journal, box=BOX, at_us=COLLECTED_US):
    store.put_timeline(data)
    return store.ingest(journal, box, at_us)


def test_a_class_of_four_boxes_is_one_class_and_the_recount_agrees(store):
    made = classes.make_class()
    taken = [take(store, data, run.journal, box) for box, data, run in made]
    assert {i.class_id for i in taken} == {taken[0].class_id}
    assert all(i.new and not i.mismatches for i in taken)
    assert {r.standing for r in rows(store, tables.results)} == {"agreed"}
    assert len(rows(store, tables.results)) == 4 * 2 * 18
    assert {r.bib for r in rows(store, tables.ratings)} == set(range(1, 9))
    (one,) = rows(store, tables.classes)
    assert (one.start_utc_us, one.started_by) == (classes.START_UTC_MS * 1000, "host")
    tapped = [r for r in rows(store, tables.taps) if r.kind == "tap"]
    assert len(tapped) == sum(run.taps for _, _, run in made)


def test_the_same_journal_twice_changes_nothing(store):
    _, data, run = classes.make_class(boxes=1)[0]
    first = take(store, data, run.journal)
    before = everything(store)
    again = take(store, data, run.journal, at_us=COLLECTED_US + 9)
    assert (again.run_id, again.class_id, again.new) == (first.run_id, first.class_id, False)
    assert everything(store) == before


def records_of(journal):
    return [journal[at : at + j.RECORD_SIZE] for at in range(0, len(journal), j.RECORD_SIZE)]


@pytest.mark.parametrize("block", [False, True])
def test_a_press_that_a_log_tells_twice_counts_once(store, tmp_path, block):
    """One record doubled, or a whole stretch of them, as when one write is made twice."""
    box, data, run = classes.make_class(boxes=1)[0]
    records = records_of(run.journal)
    taps = [n for n, one in enumerate(records) if one[0] == j.TAP and not one[14] & j.TAP_OUTSIDE]
    first, last = (taps[4], taps[9] + 1) if block else (taps[4], taps[4] + 1)
    presses = sum(one[0] in (j.TAP, j.BACK, j.FORTH) for one in records[first:last])
    doubled = b"".join(records[:last] + records[first:last] + records[last:])
    taken = take(store, data, doubled, box)
    (said,) = taken.mismatches
    assert said == f"The log tells {presses} press{'es' * (presses > 1)} twice: counted once"
    with open_store(str(tmp_path / "once.sqlite")) as once:
        assert take(once, data, run.journal, box).mismatches == []
        for table in (tables.taps, tables.results, tables.sums):
            assert rows(store, table) == rows(once, table), table.name


def test_presses_that_were_not_to_be_counted_may_be_told_alike(store):
    """At a gate the time of the class stands still: two taps there may look the same."""
    box, data, run = classes.make_class(boxes=1)[0]
    records = records_of(run.journal)
    end = next(n for n, one in enumerate(records) if one[0] == j.END)
    outside = j.tap_record(0, 1, 30_000, 0, 80, 0, j.TAP_OUTSIDE)
    journal = b"".join([*records[:end], outside, outside, *records[end:]])
    assert journals.read(journal).repeated == 0
    assert take(store, data, journal, box).mismatches == [
        f"The box counted {run.taps} taps in all, its log holds {run.taps + 2}"
    ]


def test_the_journal_is_kept_byte_for_byte(store):
    _, data, run = classes.make_class(boxes=1)[0]
    take(store, data, run.journal)
    assert rows(store, tables.runs)[0].journal == run.journal
    assert rows(store, tables.timelines)[0].data == data


def test_without_its_timeline_a_journal_is_refused_and_nothing_is_written(store):
    _, data, run = classes.make_class(boxes=1)[0]
    with pytest.raises(StoreError, match=rf"lacks the timeline {classes.digest_of(data)}"):
        store.ingest(run.journal, BOX, COLLECTED_US)
    assert not any(everything(store).values())
    assert take(store, data, run.journal).new


@pytest.mark.parametrize(
    ("journal", "why"),
    [
        (b"", "does not begin with a sound record"),
        (b"\0" * 240, "does not begin with a sound record"),
        (b"\xff" * 10, "does not begin with a sound record"),
        (j.record(j.TAP, 0, 1, 5), "does not begin with a sound record"),
        (j.record(j.RUN, 7, 1, 0, bytes(12)), "version 7.0 of the format"),
    ],
)
def test_an_unreadable_journal_is_named_and_its_bytes_are_kept(store, journal, why):
    for _ in range(2):
        with pytest.raises(UnreadJournalError, match=why) as told:
            store.ingest(journal, BOX, COLLECTED_US)
        assert classes.digest_of(journal) in str(told.value)
    (kept,) = rows(store, tables.unread)
    assert (kept.journal, kept.box_id) == (journal, BOX)
    assert not rows(store, tables.runs)


def damaged(journal):
    """A log whose first record lost a bit."""
    return bytes([journal[0] ^ 8]) + journal[1:]


def test_a_log_with_a_damaged_first_record_is_read_by_the_timeline_it_fits(store, tmp_path):
    made = classes.make_class(boxes=3)
    for _, data, _ in made:
        store.put_timeline(data)
    for n, (box, _, run) in enumerate(made):
        journal = damaged(run.journal) if n == 1 else run.journal
        taken = store.ingest(journal, box, COLLECTED_US)
        if n == 1:
            assert "By all others it is of Two blocks, station 2" in taken.mismatches[0]
    with open_store(str(tmp_path / "whole.sqlite")) as whole:
        for box, data, run in made:
            whole.put_timeline(data)
            whole.ingest(run.journal, box, COLLECTED_US)
        for table in (tables.taps, tables.results, tables.sums, tables.ratings):
            mine = [row[1:] for row in rows(store, table) if row.run == 2]
            theirs = [row[1:] for row in rows(whole, table) if row.run == 2]
            if table is tables.taps:  # numbered by place in the log
                mine, theirs = [r[1:] for r in mine], [r[1:] for r in theirs]
            assert mine == theirs, table.name
    assert len({row.class_id for row in rows(store, tables.runs)}) == 1
    assert rows(store, tables.unread) == []
    before = everything(store)
    with store.writing() as conn:
        settle.settle_all(conn)
    assert everything(store) == before


def test_a_log_that_fits_several_plans_waits_until_a_class_tells_which(store, place, capsys):
    made = classes.make_class(boxes=2)
    other = classes.timeline(bibs=(3, 4), station=2, who="Lane B", plan=b"another")
    store.put_timeline(other)
    for _, data, _ in made:
        store.put_timeline(data)
    journal = damaged(made[1][2].journal)
    with pytest.raises(UnreadJournalError, match="handbell unread tries it again"):
        store.ingest(journal, made[1][0], COLLECTED_US)
    where = ["--store", place]
    assert main(["unread", "--again", *where]) == 0
    assert "box 0002, " in capsys.readouterr().out
    digest = classes.digest_of(journal)
    assert main(["unread", digest[:6], "--of", "9", *where]) == 1
    store.ingest(made[0][2].journal, made[0][0], COLLECTED_US)
    capsys.readouterr()
    assert main(["unread", "--again", *where]) == 0
    assert "Read after all: a log of class 1." in capsys.readouterr().out
    assert main(["unread", *where]) == 0
    assert capsys.readouterr().out == "Every log could be read.\n"


def test_the_coach_says_of_which_class_an_unread_log_is_or_gets_its_bytes(
    store, place, tmp_path, capsys
):
    (_, _, _), (box, data, run) = classes.make_class(boxes=2)
    store.put_timeline(data)
    store.put_timeline(classes.timeline(bibs=(3, 4), station=2, plan=b"another"))
    day_later = classes.play(data, (), classes.START_UTC_MS + 86_400_000)
    store.ingest(day_later.journal, box, COLLECTED_US)
    journal = damaged(run.journal)
    with pytest.raises(UnreadJournalError):
        store.ingest(journal, box, COLLECTED_US)
    where = ["--store", place]
    digest = classes.digest_of(journal)
    assert main(["unread", digest[:6], "--out", str(tmp_path / "log"), *where]) == 0
    assert (tmp_path / "log").read_bytes() == journal
    assert main(["unread", digest[:6], "--out", str(tmp_path / "log"), *where]) == 1
    assert main(["unread", "ffffff", "--of", "1", *where]) == 2
    capsys.readouterr()
    assert main(["unread", digest[:6], "--of", "1", *where]) == 2
    assert "has a log of box 0002, station 2" in capsys.readouterr().err
    assert main(["unread", digest[:6], "--plan-of", "1", *where]) == 0
    assert "Read after all: a log of class 2." in capsys.readouterr().out
    assert len(rows(store, tables.taps)) == sum(r[0] in (6, 7, 8, 12) for r in run.records)


SQUATS = ((classes.Piece("Squats", 20, goal=8), classes.Piece("Burpees", 25)),)


def put_aside(store, journal, box=BOX):
    with pytest.raises(UnreadJournalError):
        store.ingest(journal, box, COLLECTED_US)
    return classes.digest_of(journal)[:8]


def test_a_damaged_log_is_not_read_by_a_timeline_that_contradicts_it(store, place, capsys):
    _, data, _ = classes.make_class(boxes=1)[0]
    take(store, data, classes.play(data, (), classes.START_UTC_MS - 86_400_000).journal)
    other = classes.timeline(SQUATS, rounds=4, plan=b"of another coach")
    presses = classes.presses_of(random.Random(1), other, 0)
    log = put_aside(store, damaged(classes.play(other, presses).journal), classes.BOX_IDS[5])
    before = everything(store)
    for word in ("--of", "--plan-of"):
        assert main(["unread", log, word, "1", "--store", place]) == 2
        assert "fits no box's part in the plan of class 1" in capsys.readouterr().err
    assert everything(store) == before


def test_a_press_out_of_its_window_is_of_another_plan(store):
    data = classes.timeline(SIMPLE, (1,))
    shifted = ((classes.Piece("Ring rows", 20), classes.Piece("Sit-ups", 40)),)
    store.put_timeline(classes.timeline(shifted, (1,)))
    run = classes.play(data, map(classes.Press, (12_000, 35_000, 45_000)), stop_ms=48_000)
    kept = b"".join(r for r in run.records if r[0] != j.RESULT)  # as if the power failed
    put_aside(store, damaged(kept))
    assert not rows(store, tables.runs)


def test_a_damaged_log_of_another_day_is_not_read_as_the_plan_before_it_was_edited(store):
    rng = random.Random(3)
    old = classes.timeline(SQUATS, (1,))
    new = classes.timeline(((classes.Piece("Lunges", 20, goal=8), SQUATS[0][1]),), (1,), plan=b"b")
    take(store, old, classes.play(old, classes.presses_of(rng, old, 0)).journal)
    week_later_ms = classes.START_UTC_MS + 7 * 86_400_000
    run = classes.play(new, classes.presses_of(rng, new, 0), week_later_ms)
    put_aside(store, damaged(run.journal))
    same_day = classes.play(old, classes.presses_of(rng, old, 0))
    assert store.ingest(damaged(same_day.journal), classes.BOX_IDS[5], COLLECTED_US).new
    assert len(rows(store, tables.runs)) == 2


@pytest.mark.parametrize("before_ms", [classes.START_UTC_MS, None])
@pytest.mark.parametrize("start_ms", [classes.START_UTC_MS, None])
def test_without_a_clock_a_damaged_log_is_read_by_a_plan_that_was_collected_with_it(
    store, before_ms, start_ms
):
    rng = random.Random(3)
    old = classes.timeline(SQUATS, (1,))
    new = classes.timeline(((classes.Piece("Lunges", 20, goal=8), SQUATS[0][1]),), (1,), plan=b"b")
    take(store, old, classes.play(old, classes.presses_of(rng, old, 0), before_ms).journal)
    week_ms = 7 * 86_400_000
    later_ms = None if start_ms is None else start_ms + week_ms
    edited = damaged(classes.play(new, classes.presses_of(rng, new, 0), later_ms).journal)
    with pytest.raises(UnreadJournalError):
        store.ingest(edited, classes.BOX_IDS[5], COLLECTED_US + week_ms * 1000)
    of_old = damaged(classes.play(old, classes.presses_of(rng, old, 0), start_ms).journal)
    assert store.ingest(of_old, classes.BOX_IDS[6], COLLECTED_US + 60_000_000).new
    assert salvage.try_again(store, salvage.unread(store)) == []


def test_with_more_damage_the_coachs_word_is_needed(store, place, capsys):
    made = classes.make_class(boxes=2)
    for _, data, _ in made:
        store.put_timeline(data)
    store.ingest(made[0][2].journal, made[0][0], COLLECTED_US)
    records = list(made[1][2].records)
    taps = [n for n, record in enumerate(records) if record[0] == j.TAP]
    records[taps[1]] = b"\xff" * j.RECORD_SIZE
    log = put_aside(store, damaged(b"".join(records)), made[1][0])
    assert main(["unread", log, "--of", "1", "--store", place]) == 0
    assert "a log of class 1" in capsys.readouterr().out


def test_a_log_goes_into_the_class_that_was_said_or_not_at_all(store, place, capsys):
    made = classes.make_class(boxes=3)
    for _, data, _ in made:
        store.put_timeline(data)
    twin = classes.timeline(bibs=(3, 4), station=2, who="Lane B", plan=b"another")
    store.put_timeline(twin)
    for days, (box, data, _) in ((0, made[0]), (2, made[2])):
        run = classes.play(data, (), classes.START_UTC_MS + days * 86_400_000)
        store.ingest(run.journal, box, COLLECTED_US + days * 86_400_000_000)
    box, data, _ = made[1]
    presses = classes.presses_of(random.Random(2), data, 0)
    lost = put_aside(store, damaged(classes.play(data, presses, None).journal), box)
    assert main(["unread", lost, "--of", "2", "--store", place]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Class 2: Two blocks, ") and " 20" in out, "which class, and its date"
    assert "a log of class 2." in out
    late_ms = classes.START_UTC_MS + 3_600_000 * 24 * 30
    put = put_aside(store, damaged(classes.play(data, presses, late_ms).journal), box)
    assert main(["unread", put, "--of", "1", "--store", place]) == 2
    assert "began 43200 min away from class 1, so it is of another" in capsys.readouterr().err
    by_class = {}
    for row in rows(store, tables.runs):
        by_class.setdefault(row.class_id, []).append(row.station)
    assert {n: sorted(some) for n, some in by_class.items()} == {1: [1], 2: [2, 3]}


def test_a_log_that_was_read_as_what_it_is_not_is_put_back_and_stays_there(store, place, capsys):
    made = classes.make_class(boxes=2)
    for box, data, run in made:
        store.put_timeline(data)
        journal = damaged(run.journal) if box == made[1][0] else run.journal
        store.ingest(journal, box, COLLECTED_US)
    log, where = classes.digest_of(journal), ["--store", place]
    assert main(["unread", classes.digest_of(made[0][2].journal), "--back", *where]) == 2
    assert "says itself what it is of" in capsys.readouterr().err
    amend = ["amend", "1", "--bib", "3", "--invalid", "--why", "test", *where]
    assert main(amend) == 0
    capsys.readouterr()
    assert main(["unread", log[:8], "--back", *where]) == 2
    assert "has amendments, which would be lost" in capsys.readouterr().err
    for one in rows(store, tables.amendments):
        assert main(["amend", "1", "--undo", one.digest, *where]) == 0
    capsys.readouterr()
    assert main(["unread", log[:8], "--back", *where]) == 0
    count = len(rows(store, tables.amendments))
    assert count == 0, "they are of a reading that is no more"
    out = capsys.readouterr().out
    assert "amendments were of that reading and taken back" in out
    assert f"{log[:8]}  box 0002" in out
    (aside,) = rows(store, tables.unread)
    assert aside.journal == journal
    for table in (tables.runs, tables.results, tables.sums, tables.ratings):
        assert {
            getattr(row, "id" if table is tables.runs else "run") for row in rows(store, table)
        } == {1}
    assert main(["unread", "--again", *where]) == 0
    put_aside(store, journal, made[1][0])
    assert len(rows(store, tables.unread)) == 1
    assert main(["unread", log[:8], "--of", "1", *where]) == 0
    assert len(rows(store, tables.runs)) == 2 and not rows(store, tables.unread)


def test_a_log_is_not_put_back_while_a_name_or_an_absence_would_go_with_it(store, place, capsys):
    made = classes.make_class(boxes=2)
    for box, data, run in made:
        store.put_timeline(data)
        journal = damaged(run.journal) if box == made[1][0] else run.journal
        store.ingest(journal, box, COLLECTED_US)
    set_wearers(store, 1, {1: "Uma", 3: "Zed"}, [4])
    log, where = classes.digest_of(journal), ["--store", place]
    assert main(["unread", log[:8], "--back", *where]) == 2
    said = capsys.readouterr().err
    assert "What is said of bib 3, 4 in class 1 would be lost" in said
    assert "handbell bibs 1 3= 4=" in said
    assert main(["bibs", "1", "3=", "4=", *where]) == 0
    assert main(["unread", log[:8], "--back", *where]) == 0
    assert [name for _, _, name in worn_names(store)] == ["Uma"]


def test_a_log_that_goes_elsewhere_when_another_is_put_back_is_said(store, place, capsys):
    (first, one, its), (box, data, run) = classes.make_class(boxes=2)
    lost = classes.play(data, [classes.Press(31_000)], None).journal
    for told in (one, data):
        store.put_timeline(told)
    for whose, journal in ((first, its.journal), (box, damaged(run.journal)), (box, lost)):
        store.ingest(journal, whose, COLLECTED_US)
    assert [row.class_id for row in rows(store, tables.runs)] == [1, 1, 2]
    set_wearers(store, 2, {3: "Cy"})
    capsys.readouterr()
    log = classes.digest_of(damaged(run.journal))
    assert main(["unread", log[:8], "--back", "--store", place]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Note: A log of box" in said
    assert "that was in class 2 is in class 1 now, by the rules. If that is wrong:" in said
    assert worn_names(store) == [(1, 3, "Cy")]
    assert "handbell class 1 --apart" in said and "--join 2" not in said, "class 2 is gone"


def test_a_name_of_a_bib_that_is_no_longer_there_can_be_taken_back(store):
    box, data, run = classes.make_class(boxes=1)[0]
    store.put_timeline(data)
    store.ingest(run.journal, box, COLLECTED_US)
    store.doing(lambda conn: wear(conn, 1, 9, "Zed"))
    with pytest.raises(UsageError, match="Bib 9 was not in class 1"):
        set_wearers(store, 1, {9: "Uma"})
    assert set_wearers(store, 1, {9: ""}) == []
    assert not rows(store, tables.wearers)


WILD = (-(2**63), -(2**40), 2**52, 10**18, 2**63 - 1)


@pytest.mark.parametrize("kind", [j.UTC, j.OWN, j.STATE])
@pytest.mark.parametrize("value", WILD)
def test_a_time_that_can_not_be_is_left_out_and_the_taps_count(store, kind, value):
    _, data, run = classes.make_class(boxes=1, rounds=1)[0]
    if kind == j.OWN:
        run.records.insert(3, j.record(j.OWN, 0, 0, 0, struct.pack("<qi", value, -(10**9))))
    for n, record in enumerate(run.records):
        _, slot, window, class_ms, payload = j.parse_record(record)
        if record[0] == kind != j.OWN:
            wild = struct.pack("<q", value)
            payload = wild + payload[8:] if kind == j.UTC else payload[:4] + wild
            run.records[n] = j.record(kind, slot, window, class_ms, payload)
    taken = take(store, data, run.journal)
    (kept,) = rows(store, tables.runs)
    pressed = sum(r[0] in (6, 7, 8, 12) for r in run.records)
    assert len(rows(store, tables.taps)) == pressed > 20
    if kind == j.STATE:
        assert (kept.clock, kept.start_utc_us) == ("lost", None)
    if (kind, value) != (j.STATE, -(2**63)) and value >= 0:
        assert any("tell a time that can't be" in words for words in taken.mismatches)


def test_a_journal_cut_by_power_gives_what_it_holds(store):
    data = classes.timeline(SIMPLE, (1,), rounds=2)
    presses = [classes.Press(10_500 + 1_000 * n) for n in range(80)]
    whole = classes.play(data, presses)
    torn = classes.cut(whole, 75_000)
    assert len(torn) % j.RECORD_SIZE
    taken = take(store, data, torn)
    (run,) = rows(store, tables.runs)
    assert (run.state, run.reason) == ("cut", "it has no end, its last record is torn")
    got = {r.window: r for r in rows(store, tables.results)}
    assert [got[w].reps for w in (1, 2)] == [30, 30]
    assert [got[w].standing for w in (1, 2, 3)] == ["agreed", "agreed", "recount"]
    assert (got[3].reps, got[3].box_reps) == (5, None)
    assert 4 not in got
    assert taken.mismatches == []


def test_a_journal_that_was_cut_and_given_up_is_not_called_whole_or_stopped(store):
    data = classes.timeline(SIMPLE, (1,), rounds=2)
    whole = classes.play(data, [classes.Press(11_000), classes.Press(12_000)])
    end = j.record(j.END, 0, 0, 0, bytes((j.BY_CUT,)))
    taken = take(store, data, classes.cut(whole, 40_000)[:-11] + end)
    (run,) = rows(store, tables.runs)
    assert (run.state, run.stopped) == ("cut", False)
    assert run.reason == "the box lost its power and was given something else to do"
    assert taken.mismatches == []


def test_every_cut_of_a_journal_is_taken_in(tmp_path):
    data = classes.timeline(SIMPLE, (1,), rounds=1)
    journal = classes.play(data, [classes.Press(11_000), classes.Press(12_000)]).journal
    with open_store(str(tmp_path / "cuts.sqlite")) as store:
        store.put_timeline(data)
        for length in range(j.RECORD_SIZE, len(journal), 7):
            assert store.ingest(journal[:length], BOX, COLLECTED_US).new
        states = {r.state for r in rows(store, tables.runs)}
    assert states == {"cut"}


def test_a_broken_record_in_the_middle_is_passed_over_and_the_box_is_believed(store):
    data = classes.timeline(SIMPLE, (1,), rounds=1)
    run = classes.play(data, [classes.Press(11_000 + 900 * n) for n in range(5)])
    at = next(n for n, r in enumerate(run.records) if r[0] == j.TAP)
    run.records[at] = b"\x55" + run.records[at][1:]
    taken = take(store, data, run.journal)
    (kept,) = rows(store, tables.runs)
    assert (kept.state, kept.broken) == ("cut", 1)
    assert kept.reason == "1 of its records is damaged"
    first = rows(store, tables.results)[0]
    assert (first.reps, first.box_reps, first.standing) == (5, 5, "box")
    said = " / ".join(taken.mismatches)
    assert "Bib 1, window 1 (Ring rows): the box says 5 reps, the recount 4" in said
    assert "The box counted 5 taps in all, its log holds 4" in said
    assert [n.words for n in rows(store, tables.notes)] == taken.mismatches
    assert take(store, data, run.journal).mismatches == taken.mismatches


def test_a_wrong_count_in_a_whole_journal_is_a_note_and_the_recount_stands(store):
    data = classes.timeline(SIMPLE, (1,), rounds=1)
    run = classes.play(data, [classes.Press(11_000), classes.Press(12_000)])
    at = next(n for n, r in enumerate(run.records) if r[0] == j.RESULT)
    kind, slot, window, class_ms, payload = j.parse_record(run.records[at])
    payload = payload[:2] + struct.pack("<H", 9) + payload[4:]
    run.records[at] = j.record(kind, slot, window, class_ms, payload)
    taken = take(store, data, run.journal)
    assert taken.mismatches == ["Bib 1, window 1 (Ring rows): the box says 9 reps, the recount 2"]
    first = rows(store, tables.results)[0]
    assert (first.reps, first.box_reps, first.standing) == (2, 9, "differs")


def test_records_for_windows_that_the_timeline_lacks_are_told(store):
    data = classes.timeline(SIMPLE, (1,), rounds=1)
    run = classes.play(data)
    run.records[-1:-1] = [
        j.tap_record(0, 77, 70_000, 1, 80, 1, 0),
        j.record(j.RESULT, 3, 88, 0, struct.pack("<HHiHB", 5, 5, -1, 0, 1)),
    ]
    said = " / ".join(take(store, data, run.journal).mismatches)
    assert "Window 77, button 1: a press of bib 1 belongs to no one there" in said
    assert "Window 88, button 4: the box tells a result that the timeline has no place for" in said


def test_taps_outside_and_after_the_target_are_kept_but_not_counted(store):
    blocks = ((classes.Piece("Ring rows", 30, t.ASK_TARGET, goal=2, rest_s=10),),)
    data = classes.timeline(blocks, (1,), rounds=1)
    at = [5_000, 11_000, 12_000, 13_000, 42_000]  # lead-in, two that count, extra, rest
    taken = take(store, data, classes.play(data, map(classes.Press, at)).journal)
    assert not taken.mismatches
    (result,) = rows(store, tables.results)
    assert (result.reps, result.made_ms) == (2, 12_000)
    flags = {r.class_ms: r.flags for r in rows(store, tables.taps)}
    assert flags == {
        5_000: j.TAP_OUTSIDE,
        11_000: 0,
        12_000: 0,
        13_000: j.TAP_EXTRA,
        42_000: j.TAP_OUTSIDE,
    }


def test_notes_of_the_box_are_kept(store):
    data = classes.timeline(SIMPLE, (1,), rounds=1)
    run = classes.play(data)
    run.records.insert(
        -1, j.record(j.NOTE, 0, 0, 60_000, struct.pack("<HHi", faults.LATE_CUE, 0, 7))
    )
    take(store, data, run.journal)
    (note,) = rows(store, tables.notes)
    assert (note.fault, note.value, note.class_ms, note.words) == (faults.LATE_CUE, 7, 60_000, "")


def test_a_stopped_run_says_so_and_later_windows_have_no_result(store):
    data = classes.timeline(SIMPLE, (1, 2), rounds=2)
    run = classes.play(data, [classes.Press(11_000), classes.Press(45_000)], stop_ms=55_000)
    take(store, data, run.journal)
    (kept,) = rows(store, tables.runs)
    assert (kept.stopped, kept.state) == (True, "whole")
    got = {(r.window, r.bib): r for r in rows(store, tables.results)}
    assert sorted(got) == [(1, 1), (1, 2), (2, 1), (2, 2)]
    assert got[2, 1].flags & j.RES_STOPPED and not got[1, 1].flags & j.RES_STOPPED
    assert {r.standing for r in got.values()} == {"agreed"}


def test_threads_taking_in_the_same_journals_store_each_once(tmp_path):
    made = classes.make_class(boxes=3)
    path = str(tmp_path / "shared.sqlite")
    taken, errors = [], []

    def collect() -> None:
        try:
            with open_store(path) as mine:
                for box, data, run in made:
                    mine.put_timeline(data)
                    taken.append(mine.ingest(run.journal, box, COLLECTED_US))
        except Exception as error:
            errors.append(error)

    threads = [threading.Thread(target=collect) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    assert sum(i.new for i in taken) == 3
    with open_store(path) as store, store.reading() as conn:
        assert conn.scalar(select(func.count()).select_from(tables.classes)) == 1
        assert conn.scalar(select(func.count()).select_from(tables.runs)) == 3
        for derived in (tables.taps, tables.results, tables.sums):
            assert set(conn.scalars(select(derived.c.run))) == {1, 2, 3}


def test_a_log_with_which_another_program_was_quicker_leaves_nothing_twice(
    store, place, monkeypatch
):
    ((box, data, run),) = classes.make_class(boxes=1)
    store.put_timeline(data)
    do = store.doing

    def late(work):
        with open_store(place) as other:
            assert other.ingest(run.journal, box, COLLECTED_US).new
        return do(work)

    monkeypatch.setattr(store, "doing", late)
    taken = store.ingest(run.journal, box, COLLECTED_US)
    assert (taken.new, taken.class_id) == (False, 1)
    (kept,) = rows(store, tables.runs)
    for derived in (tables.taps, tables.results, tables.sums, tables.ratings):
        assert {row.run for row in rows(store, derived)} == {kept.id}


def test_a_name_taken_out_meanwhile_is_in_no_sentence(store, place):
    data = classes.timeline(((classes.Piece("Zoe Quill squats"),),), (1,), rounds=1)
    store.put_timeline(data)
    day_ms = 86_400_000
    first = classes.play(data, [classes.Press(11_000)])
    store.ingest(first.journal, classes.BOX_IDS[0], COLLECTED_US)
    with open_store(place) as other:
        forget(other, "Zoe Quill")
    later = classes.play(data, [classes.Press(11_000)], classes.START_UTC_MS + day_ms)
    told = [r for r in later.records if r[0] == j.RESULT]
    more = bytearray(told[0])
    more[10] += 1
    wrong = j.record(j.RESULT, more[1], 1, int.from_bytes(more[4:8], "little"), bytes(more[8:20]))
    journal = later.journal.replace(told[0], wrong)
    (said,) = store.ingest(journal, classes.BOX_IDS[0], COLLECTED_US + day_ms * 1000).mismatches
    assert "the box says 2 reps, the recount 1" in said and "Quill" not in said
