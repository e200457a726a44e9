"""Boxes that part at a start, a gate or a wait: the report says who, where and by how much."""

import json
import struct

import classes
import pytest
from classes import Piece, Press
from test_clock_store import START_US, contact, with_clock

from handbell.base.times import span_of
from handbell.cli.main import main
from handbell.report import class_report
from handbell.report.page import page
from handbell.store import open_store
from handbell.store.logs.moments import moments_of
from handbell_core import journal as j

START_MS = classes.START_UTC_MS
BLOCKS = ((Piece("Rope skips", 40),), (Piece("Ring rows", 40),))
GATE_MS = 10_000 + 2 * 40_000 + 30_000  # lead-in, two rounds, break
STEP_MS = 30_000  # the grid
COLLECTED_US = START_US + 40 * 60_000_000
END_GONE_US = 40 * 60_000_000
GATE = "the gate after block 1"


@pytest.fixture
def store():
    with open_store() as opened:
        yield opened


def leave(at_ms):
    """A hold that goes on from a gate."""
    return Press(at_ms, 0, 1_600)


def wait(at_ms):
    """A long hold, a hold for the choices, then "wait" taken from them."""
    holds = ((0, 5_100), (5_500, 1_600), (8_500, 1_600))
    taps = ((7_500, 80), (7_800, 80))
    return [Press(at_ms + after_ms, 0, held_ms) for after_ms, held_ms in sorted(holds + taps)]


def put(store, boxes, gate=True, blocks=BLOCKS):
    """Put a class of boxes into the store: each its presses, and how it was started."""
    for n, how in enumerate(boxes):
        how = dict(how)
        data = classes.timeline(blocks, (n + 1,), n + 1, rounds=2, gate=gate)
        run = classes.play(data, how.pop("presses", ()), **how)
        store.put_timeline(data)
        journal = (
            run.journal if how.get("start_utc_ms", START_MS) is None else with_clock(run.journal)
        )
        store.ingest(journal, classes.BOX_IDS[n], COLLECTED_US)
        store.add_contact(contact(classes.BOX_IDS[n], 0))
        store.add_contact(contact(classes.BOX_IDS[n], END_GONE_US, 500 * n, what="collect"))


def left_at(*offsets_ms):
    return [{"presses": [leave(GATE_MS + 4_000 + ms)]} for ms in offsets_ms]


def said(store):
    return class_report(store).odd


def test_boxes_that_leave_a_gate_together_are_in_step(store):
    put(store, left_at(0, 2_000, 6_000))
    found = class_report(store)
    assert found.steps.in_step and found.odd == ()
    assert found.skew.sentences[0].startswith("The boxes rang within ")


def test_a_box_that_took_the_next_mark_at_a_gate_is_named(store):
    put(store, left_at(0, 2_000, 24_000, 6_000))
    found = class_report(store)
    assert found.odd == (f"Station 3 went on from {GATE}, 30 s after the others.",)
    assert "Not all boxes were in step: up to 30 s apart, see what is odd." in found.headline
    assert found.skew.sentences[0] == "Not all boxes were in step: see what is odd."
    assert not any("rang within" in words for words in found.skew.sentences)
    assert found.skew.sentences[1].startswith("By their clocks alone they were within ")


def test_several_marks_are_said_in_their_order(store):
    put(store, left_at(0, 24_000, 55_000, 25_000, 26_000))
    assert said(store)[0] == (
        f"The boxes went on from {GATE} at 3 different times: Station 1 first; Station 2, "
        "Station 4 and Station 5 30 s later; Station 3 60 s later."
    )


def test_starts_by_hand_at_other_marks(store):
    start = {"start_utc_ms": START_MS}
    late = {"start_utc_ms": START_MS + 2 * STEP_MS}
    put(store, [start, start, late, start], gate=False)
    assert said(store) == ("Station 3 started 60 s after the others.",)
    line = class_report(store).skew.lines[2]
    assert (line.behind_at_start_ms, line.behind_at_end_ms) == (60_000, 60_000)


def test_two_boxes_are_named_one_after_the_other(store):
    put(store, [{"start_utc_ms": START_MS + STEP_MS}, {"start_utc_ms": START_MS}], gate=False)
    assert said(store) == ("Station 1 started 30 s after Station 2.",)


def test_a_spare_and_the_box_it_replaced_are_told_apart(store):
    put(store, [{"stop_ms": 60_000}, {}, {}], gate=False)
    data = classes.timeline(BLOCKS, (1,), 1, rounds=2)
    run = classes.play(data, [Press(90_000)], START_MS + 2 * STEP_MS)
    store.ingest(with_clock(run.journal), classes.BOX_IDS[40], COLLECTED_US)
    spare = f"Station 1 (box {classes.BOX_IDS[40][-4:]})"
    stopped = f"Station 1 (box {classes.BOX_IDS[0][-4:]})"
    words = said(store)
    assert "Station 1 was played by 2 boxes, one after another." in words
    assert f"{spare} started 60 s after the others." in words
    assert f"{stopped} was stopped at 1:00." in words


def test_a_late_start_is_made_up_for_at_a_gate(store):
    late = {"start_utc_ms": START_MS + STEP_MS, "presses": [leave(GATE_MS + 10_000)]}
    early = [{"presses": [leave(GATE_MS + 45_000)]} for _ in range(2)]
    put(store, [*early, late])
    first, second = said(store)
    assert first == "Station 3 started 30 s after the others."
    assert second == f"From {GATE} on all boxes were in step again."
    line = class_report(store).skew.lines[2]
    assert (line.behind_at_start_ms, line.behind_at_end_ms) == (30_000, 0)


def test_a_wait_on_one_box_is_told_with_what_came_of_it(store):
    waits = {"presses": [*wait(15_000), leave(110_000)]}
    put(store, [{}, waits, {}], gate=False)
    (words,) = said(store)
    assert words == (
        "Station 2 waited alone for 70 s at 0:50 of the class. "
        "From there on Station 2 ran 70 s behind the others."
    )


def test_a_wait_of_some_boxes_is_told_for_all_of_them(store):
    waits = {"presses": [*wait(15_000), leave(110_000)]}
    put(store, [{}, waits, {}, waits, {}], gate=False)
    assert said(store) == (
        "Station 2 and Station 4 waited for 70 s at 0:50 of the class. "
        "From there on Station 2 and Station 4 ran 70 s behind the others.",
    )


def test_a_wait_of_all_boxes_that_go_on_together_is_not_odd(store):
    put(store, [{"presses": [*wait(15_000 + n), leave(110_000 + n)]} for n in range(3)], gate=False)
    assert said(store) == ()


def test_a_box_that_nobody_let_go_on_is_named(store):
    put(store, [*left_at(0, 2_000), {"stop_ms": GATE_MS + 60_000}])
    assert f"Station 3 did not go on from {GATE}, as others did." in said(store)


def test_a_box_whose_log_breaks_off_before_the_gate_is_not_said_to_stand_there(store):
    put(store, left_at(0, 2_000))
    data = classes.timeline(BLOCKS, (3,), 3, rounds=2, gate=True)
    store.put_timeline(data)
    store.ingest(
        classes.cut(classes.play(data, [Press(30_000)]), 60_000), classes.BOX_IDS[2], COLLECTED_US
    )
    assert not any("go on from" in words for words in said(store))


def test_a_lost_clock_cannot_be_compared(store):
    put(store, [*left_at(0, 24_000), {"start_utc_ms": None, "presses": [leave(GATE_MS + 4_000)]}])
    found = said(store)
    assert f"Station 2 went on from {GATE}, 30 s after Station 1." in found
    assert (
        "Station 3 had lost its clock: whether it was in step with the others can't be told."
        in found
    )


def test_boxes_that_can_be_compared_are_not_all_boxes(store):
    put(store, [*left_at(0, 1_000), {"start_utc_ms": None, "presses": [leave(GATE_MS + 4_000)]}])
    (words, *_) = class_report(store).skew.sentences
    assert words.startswith("The boxes that can be compared rang within ")


def test_page_terminal_and_json_say_so(store, capsys):
    put(store, left_at(0, 2_000, 24_000))
    text = page(class_report(store)).replace("\u00a0", " ")
    words = f"Station 3 went on from {GATE}, 30 s after the others."
    assert words in text and "30 s late" in text
    assert main(["report"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert words in out and "rang within" not in out
    assert main(["report", "--json"]) == 0
    (step,) = json.loads(capsys.readouterr().out)["data"]["report"]["steps"]["steps"]
    assert (step["kind"], step["class_ms"], step["apart_ms"]) == ("gate", GATE_MS, STEP_MS)
    assert step["boxes"] == [{"station": 3, "label": "Station 3", "ms": STEP_MS}]


def test_a_box_that_joined_again_by_its_clock_stayed_in_step(store):
    for n in range(2):
        data = classes.timeline(BLOCKS, (n + 1,), n + 1, rounds=2)
        store.put_timeline(data)
        run = classes.play_off(data, off_ms=30_000, on_ms=60_000) if n else classes.play(data)
        store.ingest(run.journal, classes.BOX_IDS[n], COLLECTED_US)
    assert class_report(store).steps.in_step


def test_a_gate_stood_at_again_after_a_power_failure_is_one_gate():
    def state(number, cause, class_ms, utc_ms):
        payload = struct.pack("<BBHq", number, cause, 0, utc_ms)
        return j.parse_record(j.record(j.STATE, 0, 0, class_ms, payload))

    records = [
        state(3, j.BY_HOST, 0, START_MS),
        state(5, j.BY_TIME, 60_000, START_MS + 60_000),
        state(5, j.BY_CLOCK, 60_000, START_MS + 75_000),
        state(3, j.BY_HAND, 60_000, START_MS + 90_000),
    ]
    start, gate = moments_of(records)
    assert (gate.kind, gate.stood_ms, gate.zero_utc_ms) == ("gate", 30_000, START_MS + 30_000)
    assert start.zero_utc_ms == START_MS


@pytest.mark.parametrize(
    ("ms", "words"), [(400, "0.4 s"), (5_000, "5 s"), (30_000, "30 s"), (300_000, "5:00 min")]
)
def test_lengths_as_people_say_them(ms, words):
    assert span_of(ms) == words
