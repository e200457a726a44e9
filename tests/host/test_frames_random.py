"""Frames under any cutting and any junk, and the clock model both ways."""

import crccheck.crc
from hypothesis import given
from hypothesis import strategies as st

from handbell_core.clock import ClockModel
from handbell_core.frames import LONGEST, FrameReader, decode, encode
from handbell_core.ticks import PERIOD, ticks_add, ticks_diff

words = st.text(st.characters(min_codepoint=32, max_codepoint=0x17F), max_size=40)
messages = st.dictionaries(
    words.filter(bool), words | st.integers(-(2**53), 2**53) | st.booleans(), min_size=1, max_size=4
)
junk = st.binary(max_size=2 * LONGEST)


@given(st.lists(st.tuples(junk, messages)), st.lists(st.integers(1, 300)), st.binary(max_size=50))
def test_every_message_comes_through_in_order(sent, cuts, tail):
    wire = b"".join(noise + b"\n" + encode(message) for noise, message in sent) + tail
    want = [message for _, message in sent if len(encode(message)) - 1 <= LONGEST]
    reader = FrameReader()
    got = []
    at = 0
    for cut in cuts:
        got += reader.feed(wire[at : at + cut])
        at += cut
    got += reader.feed(wire[at:])
    assert got == want


@given(messages)
def test_the_check_is_the_crc_of_a_general_library(message):
    text, crc = encode(message).rstrip(b"\n").rsplit(b" ", 1)
    assert int(crc, 16) == crccheck.crc.Crc32IsoHdlc.calc(text)


@given(messages, st.data())
def test_no_changed_frame_passes_for_another(message, data):
    line = encode(message)[:-1]
    at = data.draw(st.integers(0, len(line) - 1))
    bit = data.draw(st.integers(0, 7))
    bad = bytearray(line)
    bad[at] ^= 1 << bit
    assert decode(bytes(bad)) in (None, message)  # upper case hex digits say the same


@given(
    st.integers(0, 2**61),
    st.integers(0, 2**45),
    st.integers(-200_000, 200_000),
    st.integers(0, 2**41),
)
def test_the_clock_model_inverts(utc_us, box_us, rate_ppb, later_us):
    model = ClockModel(utc_us, box_us, rate_ppb)
    assert abs(model.box_of(model.utc_of(box_us + later_us)) - box_us - later_us) <= 1


@given(st.integers(0, PERIOD - 1), st.integers(-PERIOD // 2, PERIOD // 2 - 1))
def test_ticks_add_and_diff_are_inverse(tick, delta):
    assert ticks_diff(ticks_add(tick, delta), tick) == delta
