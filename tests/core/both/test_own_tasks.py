import io
import struct

from handbell_core import journal as j
from handbell_core.cues import MADE
from handbell_core.runner import NEVER
from handbell_core.timeline import (
    OWN_SIZE,
    SPAN_SIZE,
    TAP_EVERY,
    FormatError,
    Reader,
    Span,
    verify,
)
from made import ASK_HOLD, ASK_TARGET, TAP_DROP, Box, lead_in, own, rest, timeline_bytes, window

STRINGS = (b"Title", b"Station 1", b"Push-up", b"Knee push-up")


def spans():
    return [
        lead_in(5_000),
        own(window(20_000, ask=ASK_TARGET, goal=10), 1, goal=4, name=3),
        rest(10_000),
        own(own(window(20_000), 0, ASK_HOLD, TAP_DROP), 1, ASK_TARGET, TAP_EVERY, 3, 9, 3),
        rest(10_000),
        window(10_000),
    ]


def test_a_timeline_without_own_tasks_is_written_as_before():
    data = timeline_bytes([lead_in(5_000), window(10_000)])
    assert data[4] == 1
    assert timeline_bytes(spans())[4] == 2


def test_own_tasks_are_read_with_their_span():
    data = timeline_bytes(spans(), strings=STRINGS)
    head = verify(io.BytesIO(data))
    assert head.own_tasks == 3 and head.size() == len(data)
    reader = Reader(io.BytesIO(data))
    span = Span()
    assert reader.span(1, span).task(0) == (ASK_TARGET, 1, 1, 10, 2)
    assert span.task(1) == (ASK_TARGET, 1, 1, 4, 3)
    assert reader.span(3, span).task(1) == (ASK_TARGET, TAP_EVERY, 3, 9, 3)
    assert reader.span(5, span).own == [None] * 4  # nothing stays from the span before


def test_each_bib_is_counted_by_its_own_task():
    box = Box(spans(), strings=STRINGS)
    box.runner.arm(0)
    for at_ms in range(6_000, 12_000, 1_000):
        box.tap(0, at_ms)
        box.tap(1, at_ms + 400)
    assert [box.runner.counting.now[slot].to_do() for slot in (0, 1)] == [4, 0]
    assert box.sink.bells.count((NEVER, MADE)) == 1
    box.to(36_000)
    for at_ms in (37_000, 38_000, 39_000):
        box.tap(1, at_ms)
    box.tap(0, 45_000)
    box.to(70_000)
    told = {}
    for raw in box.sink.records:
        kind, slot, number, _, payload = j.parse_record(raw)
        if kind == j.RESULT:
            told[slot, number] = struct.unpack("<HHiH", payload[:10])[1:]
    assert told[0, 1][0] == 6 and told[1, 1][0] == 4
    assert told[1, 2][0] == 9 and told[0, 2][2] == 100  # held for 10.0 s


def test_a_torn_or_odd_table_is_refused():
    data = timeline_bytes(spans(), strings=STRINGS)
    for cut in range(len(data) - 4 - 3 * OWN_SIZE, len(data)):
        try:
            verify(io.BytesIO(data[:cut]))
        except FormatError:
            continue
        raise AssertionError(cut)
    at = len(data) - 4 - 3 * OWN_SIZE
    odd = data[:at] + b"\x09" + data[at + 1 :]
    try:
        Reader(io.BytesIO(odd)).span(1, Span())
    except FormatError:
        pass
    else:
        raise AssertionError("a slot that no box has")
    assert SPAN_SIZE == 40
