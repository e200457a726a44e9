"""The firmware on the chip it is for: a real runtime on an emulated RP2040 plays a class."""

import pytest

ROUNDS = 1
END_US = 16_000_000  # of the class
LAMP_CAP = 64  # of 255, as the reference board limits its lamps


def test_it_is_ready_soon_after_power(played):
    assert played.ready_us < 3_000_000


def test_the_cue_sheet_is_heard_on_time(played):
    from emulated_class import dues, motif

    tones = played.sounder.tones()
    want = [tone for due in dues(ROUNDS) for tone in motif(due.cue)]
    heard = [t for t in tones if -100_000 < t.onset_us - played.start_us < END_US - 100_000]
    assert [t.freq_hz for t in heard] == pytest.approx(want, abs=2)
    onsets = [t.onset_us - played.start_us for t in tones]
    for due in dues(ROUNDS):
        nearest = min(onsets, key=lambda at: abs(at - due.class_ms * 1000))
        assert abs(nearest - due.class_ms * 1000) < 1_000 + played.bound_us, due


def test_the_closing_motif_is_whole_beside_the_last_write(played):
    from emulated_class import motif

    from handbell_core.cues import CLOSE

    tones = [t for t in played.sounder.tones() if t.onset_us - played.start_us > END_US - 100_000]
    assert [t.freq_hz for t in tones] == pytest.approx(motif(CLOSE), abs=2)


def test_the_line_output_sounds_with_the_sounder(played):
    sounder = [round(t.freq_hz) for t in played.sounder.tones()]
    assert [round(t.freq_hz) for t in played.line.tones()] == sounder


def test_every_press_is_counted_through_a_slow_erase(played):
    from emulated_class import counted, taps
    from emulated_parts import SLOWEST_ERASE_US

    (begin,) = played.flash.stalls()
    pressed = played.buttons[0].pressed_us
    assert any(begin <= at < begin + SLOWEST_ERASE_US for at in pressed)
    assert len(taps(played.run)) == len(pressed) == counted(played.run)


def test_taps_carry_the_time_of_their_press(played):
    from emulated_class import taps

    writes = [(at - 60_000, at + busy + 60_000) for at, *_, busy in played.flash.ops]
    at_ms = [ms for ms, _ in taps(played.run)]
    for press in played.buttons[0].pressed_us:
        if not any(a <= press <= b for a, b in writes):
            true_ms = (press - played.start_us) / 1000
            assert min(abs(ms - true_ms) for ms in at_ms) <= 2 + played.bound_us / 1000


def test_the_strip_shows_each_span_in_its_colour(played):
    from handbell_core.cues import LIGHTS
    from handbell_core.timeline import LEAD_IN, REST, WINDOW

    for kind, at_s in ((LEAD_IN, 1), (WINDOW, 6), (REST, 12)):
        at_us = played.start_us + at_s * 1e6 + 100_000
        until_us = at_us + 1e6
        shown = [c.colours for c in played.strip.light.history if c.world_us < until_us]
        capped = tuple(-(-c * LAMP_CAP // 255) for c in LIGHTS[kind][0])
        assert any(capped in colours for colours in shown[-3:]), kind


def test_the_screen_says_something_else_in_a_rest(played):
    assert sum(played.window_pixels) > 300
    assert played.window_pixels != played.rest_pixels
    assert sum(played.rest_pixels) > 300


def test_the_journal_is_whole(played):
    from handbell_core import journal

    records, broken = journal.parse(played.run)
    kinds = [r[0] for r in records]
    assert not broken and kinds[0] == journal.RUN and kinds[-1] == journal.END
