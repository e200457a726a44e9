"""What a remote plays: the same class at the same times, with nobody in it."""

import io

import pytest
from made_plans import EXAMPLES

from handbell.compile import build
from handbell.plan.files import load_plan, parse_plan
from handbell_core import timeline as t

FIELDS = ("kind", "start_ms", "duration_ms", "block", "round", "window")


def read(data):
    reader = t.Reader(io.BytesIO(data))
    return reader, [reader.span(n, t.Span()) for n in range(reader.head.spans)]


@pytest.mark.parametrize("name", EXAMPLES)
def test_it_is_where_the_boxes_are_at_every_time_and_asks_nobody(name):
    built = build(load_plan(EXAMPLES[name]))
    theirs, station = read(built.timelines[0].data)
    reader, spans = read(built.remote.data)
    t.verify(io.BytesIO(built.remote.data))
    assert [[getattr(s, f) for f in FIELDS] for s in spans] == [
        [getattr(s, f) for f in FIELDS] for s in station if s.kind != t.RATING
    ]
    for s in spans:
        assert (s.ask, s.tap, s.goal, s.owns) == (t.ASK_NONE, t.TAP_NONE, 0, 0)
        assert not any(s.bib) and not s.flags & (t.TAKES_TALLY | t.HAND_OVER)
    head = reader.head
    assert head.plan == theirs.head.plan and head.slot_ms == theirs.head.slot_ms
    assert (head.station, head.buttons, head.own_tasks) == (0, 4, 0)
    assert reader.text(t.STATION_LABEL) == b"Remote"
    assert reader.text(t.TITLE) == theirs.text(t.TITLE)


def test_it_names_a_window_where_all_do_the_same():
    plan = EXAMPLES["rotation"].read_bytes()
    reader, spans = read(build(parse_plan(plan)).remote.data)
    assert {s.name for s in spans if s.kind == t.WINDOW} == {t.NO_TEXT}
    text = b'title = "A"\nboxes = 2\n[[block]]\n[[block.exercise]]\nname = "Plank"\nwork_s = 30\n'
    reader, spans = read(build(parse_plan(text + b"both_sides = true\n")).remote.data)
    (window,) = [s for s in spans if s.kind == t.WINDOW]
    assert reader.text(window.name) == b"Plank"
    assert window.flags == t.BOTH_SIDES | t.LAST_WINDOW
