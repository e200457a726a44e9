"""A box without power in class: what it missed is "or more", never somebody's fade."""

import json
import re

import classes
import pytest
from classes import Piece, Press
from sqlalchemy import update

from handbell.analysis.cases import cases_of
from handbell.analysis.past.history import past_classes
from handbell.analysis.sums import score_of
from handbell.cli.main import main
from handbell.report import class_report
from handbell.report.one_class.cells import cell_words
from handbell.report.page import page
from handbell.store import open_store
from handbell.store.database import tables
from handbell.store.results import settle
from handbell.store.results.effort import Outcome
from handbell.store.results.efforts import efforts
from handbell.store.results.queries import load_class
from handbell_core import faults
from handbell_core import journal as j
from handbell_core import timeline as t

AT_US = (classes.START_UTC_MS + 900_000) * 1000
OPEN = Piece("Rope skips", 40)


@pytest.fixture
def store(tmp_path):
    with open_store() as opened:
        yield opened


def every_2_s(rounds=4, count=20):
    """Twenty presses in each 40 s window."""
    return [Press(10_200 + 40_000 * r + 2_000 * n) for r in range(rounds) for n in range(count)]


def put(store, data, run, box=0):
    store.put_timeline(data)
    journal = run if isinstance(run, bytes) else run.journal
    store.ingest(journal, classes.BOX_IDS[box], AT_US)


def off(store, pieces=(OPEN,), presses=None, rounds=4, **how):
    data = classes.timeline((tuple(pieces),), (1,), rounds=rounds)
    put(store, data, classes.play_off(data, every_2_s() if presses is None else presses, **how))
    return efforts(load_class(store, 1))


def test_reps_done_without_power_are_no_fade(store):
    """25 s of the third window: 20 done in each, 8 kept."""
    got = off(store, off_ms=99_000, on_ms=124_000)
    assert [e.reps for e in got] == [20, 20, 7, 20]
    assert [e.outcome.value for e in got] == ["done", "done", "partly", "done"]
    found = class_report(store)
    (table,) = found.exercises
    assert cell_words(table, table.rows[0].cells[2]) == ("7", "or more: no power")
    assert table.rows[0].fade_percent is None and found.people[0].fade_percent is None
    assert not any("aded" in words for words in found.headline)


def test_such_a_round_is_not_trended_nor_advised_on(store):
    off(store, off_ms=99_000, on_ms=124_000)
    (past,) = past_classes(store)
    (sums,) = past.people[0].exercises
    assert score_of(sums) is None and (sums.read, sums.rates) == (3, 3)
    (case,) = cases_of([past])
    assert [e.read for e in case.last.tries] == [True, True, False, True]


def test_its_log_is_not_called_whole(store, capsys):
    off(store, off_ms=99_000, on_ms=124_000)
    found = class_report(store)
    assert found.boxes[0].log == "gaps"
    assert re.fullmatch(
        r"Station 1: the log has gaps: the box was without power from about 1:3\d to 2:04\.",
        found.odd[0],
    )
    assert "every log is whole" not in page(found)
    assert main(["report", "--json"]) == 0
    (cell,) = json.loads(capsys.readouterr().out)["data"]["report"]["exercises"][0]["rows"][0][
        "cells"
    ][2:3]
    assert (cell["outcome"], cell["reps"], cell["made"]) == ("partly", 7, None)
    assert main(["report"]) == 0
    assert "7, or more: no power" in capsys.readouterr().out


def test_windows_missed_as_a_whole_have_no_record(store):
    got = off(store, off_ms=62_000, on_ms=139_000)
    assert [e.outcome for e in got] == [
        Outcome.DONE, Outcome.PARTLY, Outcome.NO_RECORD, Outcome.PARTLY,
    ]  # fmt: skip
    assert class_report(store).exercises[0].rows[0].fade_percent is None


def test_a_power_failure_between_windows_takes_nothing_from_them(store):
    pieces = (Piece("Rope skips", 20, rest_s=20),)
    presses = [Press(10_200 + 40_000 * r + 2_000 * n) for r in range(4) for n in range(9)]
    got = off(store, pieces, presses, off_ms=76_000, on_ms=86_000, lost_ms=1_000)
    assert [e.outcome for e in got] == [Outcome.DONE] * 4
    assert class_report(store).boxes[0].log == "gaps"


@pytest.mark.parametrize(
    ("piece", "presses", "outcome"),
    [
        (Piece("A", 40, t.ASK_TARGET, goal=2), (51, 52), Outcome.DONE),  # made before
        (Piece("A", 40, t.ASK_TARGET, goal=3), (51, 52, 85), Outcome.PARTLY),  # after, or in it
        (Piece("A", 40, t.ASK_TARGET, t.TAP_FINISH, 9), (52,), Outcome.DONE),
        (Piece("A", 40, t.ASK_TARGET, t.TAP_FINISH, 9), (), Outcome.PARTLY),
        (Piece("A", 40, t.ASK_HOLD, t.TAP_DROP), (52,), Outcome.DONE),  # let go before
        (Piece("A", 40, t.ASK_HOLD, t.TAP_DROP), (), Outcome.PARTLY),
        (Piece("A", 40, t.ASK_OPEN, t.TAP_NONE), (), Outcome.NOT_ASKED),
    ],
)
def test_what_stood_before_the_power_failed_stands(store, piece, presses, outcome):
    taps = [Press(s * 1000) for s in (12, *presses)]
    _, second = off(store, (piece,), taps, rounds=2, off_ms=60_000, on_ms=80_000)
    assert second.outcome is outcome
    if outcome is Outcome.PARTLY:
        assert (second.made, second.held_ms, second.earned_rest_ms) == (None, None, None)


def test_a_tally_entered_and_confirmed_after_the_failure_stands(store):
    tally = Piece("Sit-ups", 20, t.ASK_OPEN, t.TAP_TALLY, rest_s=30)
    entered = [Press(32_000 + 400 * n) for n in range(6)]
    confirmed = [*entered, Press(35_500, 0, 1_800)]
    (one,) = off(store, (tally,), confirmed, rounds=1, off_ms=15_000, on_ms=22_000)
    assert (one.outcome, one.reps, one.confirmed) == (Outcome.DONE, 6, True)


def test_a_tally_cut_off_in_its_rest_is_at_least_what_was_entered(store):
    tally = Piece("Sit-ups", 20, t.ASK_OPEN, t.TAP_TALLY, rest_s=30)
    entered = [Press(31_000 + 500 * n) for n in range(20)]
    (one, _) = off(store, (tally,), entered, rounds=2, off_ms=36_000, on_ms=50_000)
    assert one.outcome is Outcome.PARTLY and one.reps < 20


def test_a_box_that_waits_again_at_a_gate_missed_what_was_before_it(store):
    data = classes.timeline(((OPEN,), (OPEN,)), (1,), rounds=1, gate=True)
    gate_ms = 10_000 + 40_000 + 30_000
    presses = [Press(10_200 + 2_000 * n) for n in range(20)]
    presses += [Press(gate_ms + 5_000, 0, 1_700)]
    run = classes.play_off(data, presses, off_ms=30_000, on_ms=gate_ms + 2_000)
    put(store, data, run)
    first, second = efforts(load_class(store, 1))
    assert first.outcome is Outcome.PARTLY and first.reps < 20
    assert second.outcome is Outcome.DONE
    assert "without power from about" in class_report(store).odd[0]


def test_a_tap_taken_back_late_does_not_make_a_round_whole_again(store):
    pieces = (Piece("Rope skips", 20, rest_s=20),)
    presses = [Press(10_200 + 2_000 * n) for n in range(9)] + [Press(36_000, 0, 1_700)]
    (one, _) = off(store, pieces, presses, rounds=2, off_ms=25_000, on_ms=33_000)
    assert one.outcome is Outcome.PARTLY


def test_power_that_fails_twice_makes_two_gaps(store):
    data = classes.timeline(((OPEN,),), (1,), rounds=4)
    one = classes.play_off(data, every_2_s(), off_ms=25_000, on_ms=30_000)
    two = classes.play_off(data, every_2_s(), off_ms=105_000, on_ms=110_000)
    at = next(n for n, ms in enumerate(one.times_ms) if ms > 60_000)
    later = next(n for n, ms in enumerate(two.times_ms) if ms > 60_000)
    put(store, data, b"".join(one.records[:at] + two.records[later:]))
    got = efforts(load_class(store, 1))
    assert [e.outcome.value for e in got] == ["partly", "done", "partly", "done"]
    assert class_report(store).odd[0].count("without power") == 1
    assert " and from about " in class_report(store).odd[0]


def test_not_everyone_made_every_target_where_some_are_not_known(store):
    target = Piece("Ring rows", 40, t.ASK_TARGET, goal=20)
    off(store, (target,), off_ms=99_000, on_ms=124_000)
    assert class_report(store).headline[0] == (
        "Every target on record was made; of 1 it is not known."
    )


def test_what_an_older_program_took_in_is_told_of_when_it_is_made_again(store):
    off(store, off_ms=99_000, on_ms=124_000)
    runs, results = tables.runs, tables.results

    def forget(conn):
        conn.execute(update(runs).values(state="whole", reason=""))
        conn.execute(update(results).values(standing="agreed"))

    store.doing(forget)
    assert class_report(store).boxes[0].log == "whole"
    store.doing(settle.settle_all)
    found = class_report(store)
    assert found.boxes[0].log == "gaps" and "without power" in found.odd[0]
    assert found.exercises[0].rows[0].cells[2].outcome == "partly"


# Records lost without a power failure


def note(fault, value):
    return j.record(
        j.NOTE, 0, 0, 170_000, fault.to_bytes(2, "little") + b"\0\0" + bytes([value, 0, 0, 0])
    )


def noted(store, fault, value):
    data = classes.timeline(((OPEN,),), (1,), rounds=4)
    presses = [p for p in every_2_s() if p.at_ms < 150_000]
    run = classes.play(data, presses)
    run.records.insert(-1, note(fault, value))
    put(store, data, run)
    return class_report(store)


@pytest.mark.parametrize("fault", [faults.STORAGE_FULL, faults.FLASH_ERROR])
def test_a_log_that_lost_records_is_not_called_whole(store, fault):
    found = noted(store, fault, 4)
    assert found.boxes[0].log == "gaps" and found.odd


def test_button_signals_missed_are_no_fade_and_no_ground_for_advice(store):
    found = noted(store, faults.EDGES_LOST, 4)
    (row,) = found.exercises[0].rows
    assert [c.reps for c in row.cells] == [20, 20, 20, 10]
    assert (row.fade_percent, row.fade_missing) == (None, "data in doubt")
    assert not any("aded" in words for words in found.headline)
    assert not found.listed, "the box is odd, not the person"


def test_whoever_stood_at_a_box_whose_log_breaks_off_is_not_said_to_have_stayed_away(store):
    data = classes.timeline(((OPEN,),), (1, 2), rounds=4)
    presses = [p for p in every_2_s() if p.at_ms < 20_000]
    put(store, data, classes.cut(classes.play(data, presses), 22_000))
    assert not any("never pressed" in words for words in class_report(store).headline)
