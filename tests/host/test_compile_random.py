"""Random plans, compiled and read back: nothing overlaps, adds up wrong, or is asked too often."""

import functools
import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_plans import EXAMPLES, plans, toml

from handbell.compile import build
from handbell.plan.files import load_plan, parse_plan
from handbell_core import timeline as t

QUICK = settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)


def ms(seconds):
    return round(seconds * 1000)


def at_round(value, round_):
    return value[round_ - 1] if isinstance(value, list) else value


def read(box):
    file = io.BytesIO(box.data)
    head = t.verify(file)
    reader = t.Reader(file)
    return head, [reader.span(n, t.Span()) for n in range(head.spans)], reader


@QUICK
@given(plans())
def test_spans_are_contiguous_and_add_up(plan):
    built = build(parse_plan(toml(plan).encode()))
    totals = built.totals
    work_ms = 0
    for block in plan["block"]:
        for r in range(1, block["rounds"] + 1):
            times = [ms(at_round(e["work_s"], r)) for e in block["exercise"]]
            work_ms += sum(times)
    assert totals.work_ms == work_ms
    for box in built.timelines:
        head, spans, _ = read(box)
        played = [s for s in spans if s.kind != t.RATING]
        at = 0
        for s in played:
            assert s.start_ms == at
            assert s.duration_ms > 0 or s.kind == t.GATE
            at = s.end_ms()
        assert at == head.slot_ms == totals.slot_ms
        assert all(s.kind == t.RATING for s in spans[len(played) :])
        windows = [s for s in played if s.kind == t.WINDOW]
        assert [s.window for s in windows] == list(range(1, head.windows + 1))
        assert [bool(s.flags & t.LAST_WINDOW) for s in windows] == [False] * (len(windows) - 1) + [
            True
        ]
        inside = [s for s in played if s.start_ms >= windows[0].start_ms and s.kind != t.COOL_DOWN]
        assert sum(s.duration_ms for s in inside) == head.total_ms == totals.total_ms


@QUICK
@given(plans())
def test_every_bib_is_asked_as_often_as_the_rules_say(plan):
    built = build(parse_plan(toml(plan).encode()))
    asked = {}
    rated = []
    for box in built.timelines:
        _, spans, _ = read(box)
        for s in spans:
            present = [bib for bib in s.bib if bib]
            assert len(present) == len(set(present))
            assert all(bib == 0 for bib in s.bib[plan["buttons"] :])
            if s.kind == t.WINDOW:
                assert present
                for bib in present:
                    asked[bib] = asked.get(bib, 0) + 1
            elif s.kind == t.RATING:
                rated += present
            else:
                assert not present
    groups = plan.get("group", [])
    everyone = [bib for group in groups for bib in group["bibs"]]
    assert sorted(rated) == sorted(everyone if plan.get("rate", True) else [])
    if not groups:
        assert asked == {box.station: built.totals.windows for box in built.timelines}
        return
    assert set(asked) <= set(everyone)
    for group in groups:
        sets = [group["bibs"][n : n + plan["buttons"]] for n in range(0, 9, plan["buttons"])]
        sets = [some for some in sets if some]
        shares = [asked.get(some[0], 0) for some in sets]
        assert sum(shares) == built.totals.windows
        for some, share in zip(sets, shares, strict=True):
            assert {asked.get(bib, 0) for bib in some} == {share}
        if plan.get("turns", "window") == "window":
            longest = sum(b["rounds"] for b in plan["block"]) + sum(
                len(b["exercise"]) for b in plan["block"]
            )
            assert max(shares) - min(shares) <= longest


@functools.cache
def example():
    return build(load_plan(EXAMPLES["harbour"])).timelines[0].data


@QUICK
@given(st.data())
def test_a_flipped_bit_is_found(data):
    sound = example()
    at = data.draw(st.integers(0, len(sound) - 1))
    bit = 1 << data.draw(st.integers(0, 7))
    broken = bytearray(sound)
    broken[at] ^= bit
    with pytest.raises(t.FormatError):
        t.verify(io.BytesIO(bytes(broken)))


@QUICK
@given(st.data())
def test_a_cut_or_lengthened_timeline_is_found(data):
    sound = example()
    cut = sound[: data.draw(st.integers(0, len(sound) - 1))]
    for broken in (cut, sound + data.draw(st.binary(min_size=1, max_size=9))):
        with pytest.raises(t.FormatError):
            t.verify(io.BytesIO(broken))


@QUICK
@given(plans())
def test_the_same_plan_gives_the_same_bytes(plan):
    text = toml(plan).encode()
    first, again = build(parse_plan(text)), build(parse_plan(text))
    assert [box.data for box in first.timelines] == [box.data for box in again.timelines]
    assert len({box.digest for box in first.timelines}) == first.totals.boxes


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=60))
def test_no_text_breaks_the_reader(text):
    from handbell.base.errors import PlanError

    try:
        plan = parse_plan(("title = " + repr_toml(text) + EXERCISE).encode())
    except PlanError as error:
        assert all("\n" not in fault for fault in error.faults)
    else:
        for box in build(plan).timelines:
            t.verify(io.BytesIO(box.data))


EXERCISE = '\n[[block]]\n[[block.exercise]]\nname = "A"\nwork_s = 30\n'


def repr_toml(text):
    safe = "".join(f"\\U{ord(c):08x}" for c in text if not 0xD800 <= ord(c) < 0xE000)
    return f'"{safe}"'


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=200))
def test_no_bytes_break_the_reader(data):
    from handbell.base.errors import PlanError

    with pytest.raises(PlanError):
        parse_plan(data)
