"""The light strip: what it shows, how often it changes, what it can draw."""

import itertools

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from box import lights
from box.lights import DARK, LAMPS, MADE, OVER, RESTING, TO_START, TROUBLE
from handbell_core.cues import BLINK_MS, LIGHTS
from handbell_core.timeline import BREAK, GATE, LEAD_IN, RATING, REST, WINDOW

KINDS = sorted(LIGHTS)
LOOKS = [0, MADE, TO_START, RESTING, TROUBLE, OVER, DARK]
CAP = 64
MA_A_COLOUR = 20  # WS2812B at full: about 60 mA white, 20 mA a colour (quoted)


class Strip:
    def __init__(self):
        self.lamps = [(0, 0, 0)] * LAMPS
        self.written = []

    def __setitem__(self, at, colour):
        self.lamps[at] = colour

    def write(self):
        self.written.append(tuple(self.lamps))


class Lights(lights.Lights):
    def show(self, *look):
        wait_ms = self.set(*look)
        self.write()
        return wait_ms


@pytest.fixture
def strip():
    return Strip()


def lit(strip):
    return [at for at, colour in enumerate(strip.lamps) if any(colour)]


def brightest(strip):
    return max(max(colour) for colour in strip.lamps)


@pytest.mark.parametrize(
    ("left_ms", "lamps"), [(30_000, 8), (26_251, 8), (26_250, 7), (15_000, 4), (1, 1), (0, 0)]
)
def test_the_strip_tells_time_left(strip, left_ms, lamps):
    Lights(strip, CAP).show(WINDOW, left_ms, 30_000, 0)
    assert lit(strip) == list(range(lamps))


def test_the_wait_it_gives_is_when_it_changes(strip):
    box = Lights(strip, CAP)
    left_ms, seen = 30_000, []
    while left_ms > 0:
        wait_ms = box.show(WINDOW, left_ms, 30_000, 30_000 - left_ms)
        seen.append((30_000 - left_ms, len(lit(strip))))
        left_ms -= wait_ms
    box.show(WINDOW, 0, 30_000, 30_000)
    assert seen == [(3_750 * i, 8 - i) for i in range(8)]
    assert len(strip.written) == 9  # eight steps and the dark, nothing in between


@given(
    kind=st.sampled_from(KINDS),
    extra=st.sampled_from(LOOKS),
    duration_ms=st.integers(0, 7_200_000),
    part=st.integers(0, 1000),
    now_ms=st.integers(0, 1 << 29),
)
def test_nothing_changes_before_the_wait_is_over(kind, extra, duration_ms, part, now_ms):
    strip = Strip()
    box = Lights(strip, CAP)
    left_ms = duration_ms * part // 1000
    wait_ms = box.show(kind, left_ms, duration_ms, now_ms, extra)
    assert wait_ms >= 1
    before = tuple(strip.lamps)
    for later_ms in (wait_ms // 2, wait_ms - 1):
        box.show(kind, left_ms - later_ms, duration_ms, now_ms + later_ms, extra)
        assert tuple(strip.lamps) == before
    assert len(strip.written) == 1


def test_kinds_have_patterns_of_their_own_beside_colours(strip):
    box = Lights(strip, 255)
    box.show(WINDOW, 30_000, 30_000, 0)
    whole = set(strip.lamps)
    assert len(whole) == 1
    box.show(REST, 30_000, 30_000, 0)
    bright = [max(colour) for colour in strip.lamps]
    assert all(bright[at] >= 6 * bright[at + 1] for at in range(0, LAMPS, 2))
    box.show(GATE, 0, 0, 0)
    assert len(lit(strip)) == LAMPS
    box.show(GATE, 0, 0, BLINK_MS // 2)
    assert lit(strip) == []
    box.show(0, 12_000, 30_000, 0, TO_START)
    assert len(lit(strip)) == 1


def test_a_window_made_looks_like_the_rest_it_earned(strip):
    box = Lights(strip, CAP)
    box.show(WINDOW, 20_000, 30_000, 0)
    work = tuple(strip.lamps)
    box.show(WINDOW, 20_000, 30_000, 0, MADE)
    made = tuple(strip.lamps)
    box.show(REST, 20_000, 30_000, 0)
    assert made == tuple(strip.lamps) != work


def test_quiet_states(strip):
    box = Lights(strip, CAP)
    assert box.show(0, 0, 0, 0, RESTING) >= 10_000
    assert lit(strip) == [0] and brightest(strip) <= 4
    box.show(0, 0, 0, 0, TROUBLE)
    assert lit(strip) == [0, 7]
    box.show(0, 0, 0, 0, OVER)
    assert lit(strip) == [3, 4]
    box.show(RATING, 60_000, 60_000, 0)
    assert len(lit(strip)) == LAMPS
    box.show(0, 0, 0, 0)
    assert lit(strip) == []


def flashes_a_second(changes, lamp):
    """Return the most flashes of a lamp in any one second: pairs of opposing changes of light."""
    turns, last, rising = [], 0, None
    for at_ms, lamps in changes:
        light = sum(lamps[lamp])
        if light != last:
            if rising is not (light > last):
                turns.append(at_ms)
            rising = light > last
            last = light
    most = 0
    for first, at_ms in enumerate(turns):
        inside = [t for t in turns[first:] if t - at_ms < 1000]
        most = max(most, len(inside) // 2)
    return most


SPANS = st.lists(
    st.tuples(st.sampled_from(KINDS), st.integers(5_000, 20_000)), min_size=1, max_size=5
)


@settings(max_examples=60, deadline=None)
@given(spans=SPANS, made_at=st.integers(0, 20_000), cap=st.integers(1, 255))
def test_nothing_flashes_more_than_twice_a_second(spans, made_at, cap):
    """WCAG 2.3.1 allows three flashes in any second; the box keeps to two."""
    strip = Strip()
    box = Lights(strip, cap)
    now_ms, changes = 0, []
    for kind, duration_ms in spans:
        end_ms = now_ms + duration_ms
        while now_ms < end_ms:
            passed_ms = duration_ms - (end_ms - now_ms)
            extra = MADE if kind == WINDOW and passed_ms >= made_at else 0
            written = len(strip.written)
            wait_ms = box.show(kind, end_ms - now_ms, duration_ms, now_ms, extra)
            if len(strip.written) != written:
                changes.append((now_ms, strip.written[-1]))
            if kind == WINDOW and passed_ms < made_at:
                wait_ms = min(wait_ms, made_at - passed_ms)
            now_ms += min(wait_ms, end_ms - now_ms)
    assert max(flashes_a_second(changes, lamp) for lamp in range(LAMPS)) <= 2


@given(
    cap=st.integers(0, 255),
    kind=st.sampled_from(KINDS),
    extra=st.sampled_from(LOOKS),
    now_ms=st.integers(0, 2_000),
)
def test_current_stays_under_the_cap(cap, kind, extra, now_ms):
    strip = Strip()
    Lights(strip, cap).show(kind, 10_000, 10_000, now_ms, extra)
    drawn_ma = sum(part * MA_A_COLOUR / 255 for colour in strip.lamps for part in colour)
    assert drawn_ma <= LAMPS * 3 * MA_A_COLOUR * cap / 255
    assert max(part for colour in strip.lamps for part in colour) <= cap


def test_a_write_only_when_a_lamp_changes(strip):
    box = Lights(strip, CAP)
    for now_ms in range(0, 1_000, 10):
        box.show(WINDOW, 30_000 - now_ms, 30_000, now_ms)
    assert len(strip.written) == 1


def test_blink_is_the_cue_sheets(strip):
    box = Lights(strip, CAP)
    seen = []
    for now_ms in range(0, 4_000, 50):
        box.show(LEAD_IN, 10_000, 10_000, now_ms)
        seen.append(bool(lit(strip)))
    assert sum(a != b for a, b in itertools.pairwise(seen)) == 7
    assert lights.STEADY_MS > BLINK_MS
    assert BREAK in LIGHTS
