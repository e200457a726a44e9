import io
import struct

from handbell_core import journal as j
from handbell_core.cues import BACK, MADE
from handbell_core.runner import NEVER
from handbell_core.timeline import Reader, Span, verify
from made import Box, handed, lead_in, rest, timeline_bytes, window

STRINGS = (b"Title", b"Station 1", b"10 Sled push", b"8 Burpee")


def spans(people=(3, 4, 5), names=(2,), window_ms=60_000):
    return [
        lead_in(5_000),
        handed(window(window_ms), people, names),
        rest(10_000),
        window(10_000),
    ]


def started(*args, **more):
    box = Box(spans(*args, **more), strings=STRINGS)
    box.runner.arm(0)
    return box


def records(box, *kinds):
    found = []
    for raw in box.sink.records:
        kind, slot, number, class_ms, payload = j.parse_record(raw)
        if kind in kinds:
            found.append((kind, slot, number, class_ms, payload))
    return found


def results(box):
    """Return (place, bib, legs, flags) of the first window's results, the last of each."""
    found = {}
    for _, slot, number, _, payload in records(box, j.RESULT):
        bib, legs, _, _, flags = struct.unpack("<HHiHB", payload[:11])
        if number == 1:
            found[slot] = (bib, legs, flags)
    return [(slot,) + found[slot] for slot in sorted(found)]


def test_a_timeline_with_legs_is_a_newer_minor_of_the_same_version():
    data = timeline_bytes(spans(), strings=STRINGS)
    assert data[4] == 0x12
    head = verify(io.BytesIO(data))
    assert head.own_tasks == 3 and head.size() == len(data)


def test_who_comes_in_turn_and_everybody_gets_to_everything():
    reader = Reader(io.BytesIO(timeline_bytes(spans((3, 4), (2, 3)), strings=STRINGS)))
    span = Span()
    reader.span(1, span)
    assert span.people == (3, 4) and span.legs == 4 and span.bib == [0] * 4
    assert [reader.leg(span, n) for n in range(5)] == [(3, 2), (4, 3), (3, 3), (4, 2), (3, 2)]
    assert reader.span(3, span).people == ()  # nothing stays from the span before


def test_each_tap_of_any_button_hands_over():
    box = started()
    for n, at_ms in enumerate((15_000, 25_000, 30_000, 41_000)):
        box.tap(n % 2, at_ms)
    legs = box.runner.counting.legs
    assert legs.done == 4 and [legs.of(place) for place in range(3)] == [2, 1, 1]
    assert box.sink.bells.count((NEVER, MADE)) == 4
    taps = [
        (slot, class_ms) + struct.unpack("<HHHB", payload[:7])
        for _, slot, _, class_ms, payload in records(box, j.TAP)
    ]
    assert taps == [
        (0, 15_000, 3, 120, 1, 0),
        (1, 25_000, 4, 120, 1, 0),
        (2, 30_000, 5, 120, 1, 0),
        (0, 41_000, 3, 120, 2, 0),
    ]
    box.to(80_000)
    flags = j.RES_ASKED | j.RES_LEGS
    assert results(box) == [(0, 3, 2, flags), (1, 4, 1, flags), (2, 5, 1, flags)]


def test_the_end_of_the_window_stays_where_it_is():
    quiet, busy = started(), started()
    for at_ms in range(10_000, 64_000, 4_000):
        busy.tap(0, at_ms)
    for box in (quiet, busy):
        box.to(90_000)
    heard = [[bell for bell in box.sink.bells if bell[1] != MADE] for box in (quiet, busy)]
    assert heard[0] == heard[1]


def test_a_tap_within_three_seconds_of_the_last_counts_for_nothing():
    box = started()
    box.tap(0, 5_000 + 2_900)  # of the window's begin, too
    box.tap(0, 20_000)
    box.tap(0, 22_990)
    box.tap(1, 20_500)
    box.tap(0, 23_000)
    assert box.runner.counting.legs.done == 2
    assert [payload[6] & j.TAP_OUTSIDE for *_, payload in records(box, j.TAP)] == [1, 0, 1, 1, 0]


def test_a_hold_takes_the_last_one_back_and_the_leg_goes_on():
    box = started()
    box.tap(0, 15_000)
    box.tap(0, 20_000)
    box.hold(1, 22_000)
    legs = box.runner.counting.legs
    assert legs.done == 1 and box.sink.bells[-1][1] == BACK
    ((_, slot, _, _, payload),) = records(box, j.BACK)
    assert (slot,) + struct.unpack("<HHH", payload[:6]) == (1, 4, 2_000, 0)
    box.tap(0, 24_500)  # long after the first: the leg taken back is done again
    assert legs.done == 2
    box.hold(0, 26_000)
    box.hold(0, 30_000)
    box.hold(0, 33_000)  # nothing left
    assert legs.done == 0 and len(records(box, j.BACK)) == 3
    box.to(80_000)
    assert [legs for _, _, legs, _ in results(box)] == [0, 0, 0]


def test_a_hold_that_leads_on_to_the_choices_takes_nothing_back():
    box = started()
    box.tap(0, 15_000)
    box.hold(0, 20_000, 6_000)
    assert box.runner.counting.legs.done == 1
    assert records(box, j.BACK, j.FORTH) == []


def both_down(box, *edges):
    """Press and release buttons at their times: ``(slot, from_ms, to_ms)``."""
    todo = []
    for slot, from_ms, to_ms in edges:
        todo += [(from_ms, slot, True), (to_ms, slot, False)]
    for at_ms, slot, down in sorted(todo):
        box.runner.step(at_ms)
        (box.runner.press if down else box.runner.release)(slot, at_ms)
    return box.runner.counting.legs


def test_who_leans_on_a_button_undoes_nothing_that_another_does():
    """Two leans; a lean and a tap; a lean, a hold and a tap: by hand, what each leaves."""
    box = started()
    box.tap(0, 15_000)
    box.tap(1, 25_000)
    assert both_down(box, (0, 30_000, 36_000), (1, 30_010, 36_010)).done == 2
    box = started()
    box.tap(0, 15_000)
    assert both_down(box, (0, 30_000, 36_000), (1, 33_500, 33_600)).done == 2
    box = started()
    box.tap(0, 15_000)
    box.tap(0, 25_000)
    legs = both_down(box, (0, 30_000, 36_000), (1, 31_600, 33_400), (2, 34_700, 34_800))
    assert legs.done == 2 and [legs.of(place) for place in range(3)] == [1, 1, 0]
    box.to(80_000)
    assert [done for _, _, done, _ in results(box)] == [1, 1, 0]


def test_a_hold_takes_back_as_it_is_let_go():
    box = started()
    box.tap(0, 15_000)
    box.runner.press(0, 20_000)
    assert box.to(24_900).counting.legs.done == 1
    box.runner.release(0, 24_900)
    assert box.runner.counting.legs.done == 0


def test_a_press_begun_in_the_window_counts_after_it():
    box = started()
    box.tap(0, 64_950, 1_000)
    box.hold(0, 64_950 + 1_200, 2_000)  # and can be taken back in the rest
    box.to(80_000)
    assert [legs for _, _, legs, _ in results(box)] == [0, 0, 0]
    taken = records(box, j.TAP, j.BACK)
    assert [(kind, number) for kind, _, number, *_ in taken] == [(j.TAP, 1), (j.BACK, 1)]


def test_a_correction_after_the_results_tells_them_anew():
    box = started()
    box.tap(0, 20_000)
    box.tap(0, 30_000)
    box.to(68_000)
    assert [legs for _, _, legs, _ in results(box)] == [1, 1, 0]
    box.hold(0, 69_000)
    assert [legs for _, _, legs, _ in results(box)] == [1, 0, 0]


def test_a_class_stopped_in_the_window_tells_what_was_done():
    box = started()
    box.tap(0, 20_000)
    box.to(40_000)
    box.runner.stop(40_000, j.BY_STOP)
    flags = j.RES_ASKED | j.RES_LEGS | j.RES_STOPPED
    assert results(box)[0] == (0, 3, 1, flags)


def test_a_window_left_out_counts_nothing_more():
    box = started()
    box.tap(0, 20_000)
    box.runner.counting.skip()
    box.tap(0, 30_000)
    box.to(80_000)
    skipped = j.RES_ASKED | j.RES_LEGS | j.RES_SKIPPED
    assert results(box)[0] == (0, 3, 1, skipped)


def test_what_the_journal_tells_leads_to_the_same_count():
    whole = started()
    for at_ms in (15_000, 21_000, 22_000, 30_000):
        whole.tap(0, at_ms)
    whole.hold(0, 34_000)
    again = started()
    again.to(40_000)
    for kind, slot, number, class_ms, payload in records(whole, j.TAP, j.BACK, j.FORTH):
        if kind != j.TAP or not payload[6] & j.TAP_OUTSIDE:
            again.runner.counting.replay(kind, slot, number, class_ms)
    assert again.runner.counting.legs.done == whole.runner.counting.legs.done == 2
    for box in (whole, again):
        box.tap(0, 41_000)
        box.to(80_000)
    assert results(again) == results(whole)


def test_one_person_alone_ends_each_leg():
    box = started((9,), (2, 3))
    for at_ms in (20_000, 30_000, 40_000):
        box.tap(0, at_ms)
    box.to(80_000)
    assert results(box)[0][1:3] == (9, 3)
