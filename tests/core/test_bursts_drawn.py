"""Bursts of drawn telegrams, with drawn trouble: what is read is what was sent, or nothing."""

from air import SAMPLED_US, WORST_US, edges, read
from hypothesis import given, settings
from hypothesis import strategies as st
from soak_bursts import Soak

from handbell_core.bursts import SIZE, Reader

telegrams = st.binary(min_size=SIZE, max_size=SIZE)
junk = st.lists(st.tuples(st.booleans(), st.integers(-10, 10_000)), max_size=60)


@given(telegrams, st.randoms(use_true_random=False))
@settings(max_examples=50, deadline=None)
def test_a_drawn_telegram_is_read_with_every_edge_off(data, chance):
    seen = edges(data, off=lambda: chance.randint(-WORST_US, WORST_US + SAMPLED_US - 1))
    assert read(Reader(), seen) == [data]


@given(st.lists(st.tuples(junk, telegrams), max_size=4))
@settings(max_examples=50, deadline=None)
def test_telegrams_are_read_between_junk(pieces):
    reader = Reader()
    for between, data in pieces:
        read(reader, between)
        reader.edge(False, 1)  # a receiver that is at rest
        assert read(reader, edges(data)) == [data]


@given(telegrams, junk, st.integers(0, 131), st.integers(0, 131))
@settings(max_examples=50, deadline=None)
def test_what_is_cut_and_mended_with_junk_never_upsets_it(data, between, end, begin):
    whole = edges(data)
    reader = Reader()
    found = read(reader, whole[:end] + between + whole[begin:])
    assert len(found) <= 1
    reader.edge(False, 1)
    assert read(reader, whole) == [data]


def test_nothing_random_is_taken():
    soak = Soak(seed=3)
    soak.frames(300)
    assert soak.read == 300
    soak.noises(300)
    assert soak.read > 310  # some noises are frames
    assert soak.taken == 0
