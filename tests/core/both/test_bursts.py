from air import SAMPLED_US, WORST_US, Chance, edges, foreign, noise, read

from handbell_core.agreement import OVER, RUNS, STANDS, Act, Agreement
from handbell_core.bursts import CARRIER_HZ, SIZE, Reader
from handbell_core.bursts_out import lasts_us, write
from handbell_core.telegram import KEY_SIZE, pack, unpack

KEY, OTHER_KEY = bytes(range(KEY_SIZE)), bytes(KEY_SIZE)
PLAN, NEXT_DOORS = b"\x52\xf1" + bytes(10), b"\x52\xf2" + bytes(10)
FAR_MS = 1 << 30


def odd(seed):
    return Chance(seed).bytes(SIZE)


def pairs(data):
    cycles = write(data)
    return [(cycles[n], cycles[n + 1]) for n in range(0, len(cycles), 2)]


# Written


def test_what_receivers_ask_of_bursts_is_kept():
    # Vishay, TSOP312.., TSOP314.. (82492): 10 to 35 cycles, then 10 dark;
    # TSOP348..LL1 (82264): 14 dark; no more than 800 short bursts a second.
    for data in (bytes(SIZE), b"\xff" * SIZE, odd(1)):
        for lit, dark in pairs(data):
            assert 10 <= lit <= 35 and dark >= 14
            assert lit + dark >= CARRIER_HZ // 800


def test_how_long_a_telegram_lasts():
    for data, ms in ((bytes(SIZE), 84), (b"\x1b" * SIZE, 134), (b"\xff" * SIZE, 185)):
        assert lasts_us(data) // 1000 == ms
        last = pairs(data)[-1]
        cycles = sum(write(data)) - sum(last)
        assert abs(cycles * 1_000_000 // CARRIER_HZ - lasts_us(data)) <= 1


# Read


def test_what_was_written_is_read():
    reader = Reader()
    for seed in range(30):
        assert read(reader, edges(odd(seed))) == [odd(seed)]


def test_it_ends_as_its_last_burst_begins():
    reader, us = Reader(), 0
    ended_us = []
    sequence = edges(odd(3), 0)
    for lit, after_us in sequence:
        us += after_us
        if reader.edge(lit, after_us):
            ended_us.append(us)
    assert len(ended_us) == 1 and abs(ended_us[0] - lasts_us(odd(3))) < 70  # whole us an edge


def test_edges_may_be_off_by_what_is_promised():
    chance = Chance(5)

    def off():
        return chance.below(2 * WORST_US + 1) - WORST_US + chance.below(SAMPLED_US)

    def extreme():
        return WORST_US + SAMPLED_US - 1 if chance.below(2) else -WORST_US

    reader = Reader()
    for seed in range(30):
        assert read(reader, edges(odd(seed), off=off)) == [odd(seed)]
        assert read(reader, edges(odd(seed), off=extreme)) == [odd(seed)]


def test_bursts_seen_too_long_or_too_short_are_read():
    # The same data sheets: a burst is seen up to 5 cycles shorter or 6 longer than it is.
    for off_us in (-131, 158):
        sequence = []
        for lit, us in edges(odd(7)):
            sequence.append((lit, us - off_us if lit else us + off_us))
        assert read(Reader(), sequence) == [odd(7)]


def test_what_is_broken_off_gives_nothing_and_the_next_one_is_read():
    whole = edges(odd(1))
    for length in range(len(whole) - 1):  # the last edge but one ends it
        reader = Reader()
        assert read(reader, whole[:length]) == []
        if length % 2:
            reader.edge(False, 500)  # the light always goes out
        assert read(reader, whole) == [odd(1)]


def test_begun_in_the_middle_it_gives_nothing():
    whole = edges(odd(1))
    for begin in range(2, len(whole)):
        assert read(Reader(), whole[begin:]) == []


def test_a_missing_edge_loses_one_telegram():
    whole = edges(odd(1))
    for gone in range(1, len(whole) - 1, 7):
        less = whole[:gone] + whole[gone + 1 :]
        reader = Reader()
        assert read(reader, less) == []
        assert read(reader, whole) == [odd(1)]


def test_a_burst_between_loses_one_telegram():
    whole = edges(odd(2))
    for at in range(2, len(whole) - 2, 6):
        lit, us = whole[at]
        third = us // 3
        split = [(lit, third), (not lit, third), (lit, us - 2 * third)]
        found = read(Reader(), whole[:at] + split + whole[at + 1 :])
        assert odd(2) not in found


def test_anything_may_come_between():
    chance, reader = Chance(11), Reader()
    for seed in range(20):
        between = noise(chance, 2 * chance.below(40)) + foreign(chance)
        assert read(reader, between) == []
        assert read(reader, edges(odd(seed))) == [odd(seed)]


def test_no_number_upsets_it():
    reader = Reader()
    for us in (-1, 0, 1 << 29, -(1 << 40), 1 << 62):
        for lit in (True, False, False, True, True):
            assert not reader.edge(lit, us)
    assert read(reader, [(False, 1)]) == []
    assert read(reader, edges(odd(4))) == [odd(4)]


def test_it_grows_by_nothing():
    reader, chance = Reader(), Chance(2)
    data = reader.data
    for _ in range(20):
        read(reader, noise(chance, 100) + edges(chance.bytes(SIZE)))
    assert reader.data is data and len(data) == SIZE


# Refused


def act(number=7, what=RUNS):
    return Act(number, what, 42_000, 60_000)


def told(key=KEY, plan=PLAN, **fields):
    """A telegram over the air, as (data, when it ended in run time)."""
    data = pack(key, plan, act(**fields), 50_000, FAR_MS)
    (heard,) = read(Reader(), edges(data))
    return heard


def test_a_telegram_comes_through():
    heard = unpack(KEY, PLAN, told(), 50_000)
    assert (heard.number, heard.what, heard.class_ms, heard.at_ms) == (7, RUNS, 42_000, 60_000)


def test_forged_and_next_doors_telegrams_are_refused():
    for data in (told(key=OTHER_KEY), told(plan=NEXT_DOORS), told(OTHER_KEY, NEXT_DOORS)):
        assert unpack(KEY, PLAN, data, 50_000) is None
    true = told()
    for bit in range(8 * SIZE):
        forged = bytearray(true)
        forged[bit >> 3] ^= 1 << (bit & 7)
        (heard,) = read(Reader(), edges(forged))
        assert unpack(KEY, PLAN, heard, 50_000) is None


def test_repeated_and_old_telegrams_change_nothing():
    agreement = Agreement()
    assert agreement.hear(unpack(KEY, PLAN, told(), 50_000))
    assert not agreement.hear(unpack(KEY, PLAN, told(), 50_000))
    assert not agreement.hear(unpack(KEY, PLAN, told(number=6, what=OVER), 50_000))
    assert agreement.hear(unpack(KEY, PLAN, told(number=8, what=STANDS), 50_000))


def test_a_recording_played_later_changes_nothing():
    agreement = Agreement()
    recorded = told(number=7)
    agreement.hear(unpack(KEY, PLAN, recorded, 50_000))
    agreement.hear(unpack(KEY, PLAN, told(number=8, what=STANDS), 55_000))
    assert not agreement.hear(unpack(KEY, PLAN, recorded, 200_000))
