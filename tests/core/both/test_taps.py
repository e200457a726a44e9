from handbell_core.taps import NOTHING, PRESS, RELEASE, Debouncer, SlotCount
from handbell_core.ticks import PERIOD, ticks_add
from handbell_core.timeline import (
    ASK_HOLD,
    ASK_OPEN,
    ASK_TARGET,
    TAP_DROP,
    TAP_EACH,
    TAP_EVERY,
    TAP_FINISH,
    TAP_TALLY,
)


def events(edges, until_us, start=1_000_000):
    """Run edges [(us, closed)] through a debouncer polled every 0.5 ms; return [(event, us)]."""
    bounce = Debouncer()
    out = []
    todo = list(edges)
    for now in range(0, until_us, 500):
        while todo and todo[0][0] <= now:
            us, closed = todo.pop(0)
            if bounce.feed(ticks_add(start, us), closed) != NOTHING:
                raise AssertionError("an edge settled nothing that a poll had not")
        event = bounce.poll(ticks_add(start, now))
        if event != NOTHING:
            out.append((event, ticks_add(bounce.at, -start)))
    return out


def burst(at_us, length_us, closed_after, gap_us=300):
    """A contact chattering from ``at_us`` on, ending closed or open."""
    edges = []
    level = not closed_after
    t = at_us
    while t < at_us + length_us:
        level = not level
        edges.append((t, level))
        t += gap_us
    if level != closed_after:
        edges.append((at_us + length_us, closed_after))
    return edges


def test_a_clean_press():
    assert events([(1_000, True), (121_000, False)], 300_000) == [
        (PRESS, 1_000),
        (RELEASE, 121_000),
    ]


def test_a_burst_of_6_2_ms_is_one_press():
    # Ganssle, A Guide to Debouncing: all but two of 18 switch types bounced 6.2 ms or less.
    edges = burst(1_000, 6_200, True) + burst(150_000, 6_200, False)
    assert events(edges, 300_000) == [(PRESS, 1_000), (RELEASE, 150_000)]


def test_a_release_that_bounces_157_ms_adds_no_press():
    # The same guide: one switch opened with 157 ms of bounce.
    for gap_us in (300, 1_000, 2_900, 7_000, 24_000):
        edges = [(1_000, True)] + burst(120_000, 157_000, False, gap_us)
        got = events(edges, 500_000)
        assert [e for e, _ in got] == [PRESS, RELEASE], gap_us
        assert got[0][1] == 1_000


def test_bounce_that_a_flash_write_hid_adds_no_press():
    bounce = Debouncer()
    bounce.feed(0, True)
    assert bounce.poll(5_000) == PRESS
    bounce.feed(100_000, False)  # the contact begins to open; then 120 ms without interrupts
    bounce.blind_until(220_000)
    assert bounce.feed(220_000, True) == NOTHING  # the chatter's end, as it is seen after them
    assert bounce.feed(226_000, False) == NOTHING
    assert bounce.poll(251_000) == RELEASE
    assert bounce.poll(400_000) == NOTHING


def test_a_press_that_a_flash_write_hid_is_known_from_its_latched_edges():
    bounce = Debouncer()
    assert bounce.unseen(50_000, False)  # pressed and let go unseen
    assert not bounce.unseen(90_000, False)  # too soon for another
    bounce.feed(400_000, True)
    assert bounce.poll(405_000) == PRESS
    assert bounce.unseen(650_000, True)  # let go and pressed again unseen
    bounce.feed(800_000, False)
    assert bounce.poll(830_000) == RELEASE
    bounce.feed(1_000_000, True)
    assert not bounce.unseen(1_001_000, False)  # bouncing: nothing new


def test_a_release_and_a_press_that_a_flash_write_hid():
    bounce = Debouncer()
    bounce.feed(0, True)
    assert bounce.poll(5_000) == PRESS
    bounce.feed(170_000, False)  # let go, and then 150 ms without interrupts
    bounce.blind_until(330_000)
    bounce.feed(330_000, True)  # it is closed after them, and stays so
    assert bounce.poll(356_000) == RELEASE and bounce.at == 170_000
    assert bounce.poll(356_500) == PRESS and bounce.at == 330_000
    bounce.feed(450_000, False)
    assert bounce.poll(480_000) == RELEASE


def test_spikes_are_no_presses():
    edges = []
    for n in range(20):
        edges += [(n * 50_000, True), (n * 50_000 + 400, False)]
    assert events(edges, 1_100_000) == []


def test_presses_closer_than_100_ms_are_bounce():
    # From memory, no source.
    edges = [(0, True), (40_000, False), (90_000, True), (130_000, False)]
    assert [e for e, _ in events(edges, 300_000)] == [PRESS, RELEASE]


def test_four_presses_a_second_with_bounce_over_the_wrap():
    edges = []
    for n in range(40):
        edges += burst(n * 250_000, 6_200, True) + burst(n * 250_000 + 120_000, 20_000, False)
    got = events(edges, 10_200_000, start=PERIOD - 5_000_000)
    assert [us for e, us in got if e == PRESS] == [n * 250_000 for n in range(40)]


def count(ask, tap, goal=0, every=1):
    c = SlotCount()
    c.begin(7, ask, tap, every, goal)
    return c


def test_each_tap_is_a_rep_and_an_open_window_goes_on_past_its_goal():
    c = count(ASK_OPEN, TAP_EACH, goal=3)
    assert [c.tap(n) for n in range(5)] == [True] * 5
    assert c.reps == 5 and c.made and c.made_ms == 2


def test_a_target_stops_at_its_goal():
    c = count(ASK_TARGET, TAP_EACH, goal=3)
    assert [c.tap(n) for n in range(5)] == [True, True, True, False, False]
    assert c.reps == 3 and c.made_ms == 2 and c.to_do() == 0


def test_every_n_and_a_goal_between():
    c = count(ASK_TARGET, TAP_EVERY, goal=10, every=4)
    assert [c.tap(n) for n in (1, 2, 3, 4)] == [True, True, True, False]
    assert c.reps == 10 and c.made_ms == 3
    c = count(ASK_OPEN, TAP_EVERY, every=4)
    for n in range(3):
        c.tap(n)
    assert c.reps == 12 and not c.made


def test_finish_is_one_tap():
    c = count(ASK_TARGET, TAP_FINISH, goal=16)
    assert c.reps == 0 and c.tap(900) and not c.tap(1_000)
    assert c.reps == 16 and c.made_ms == 900


def test_take_back_and_its_withdrawal():
    c = count(ASK_TARGET, TAP_EACH, goal=2)
    assert not c.back()
    c.tap(1), c.tap(2)
    assert c.back() and not c.made and c.made_ms == -1 and c.reps == 1
    c.forth()
    assert c.made and c.made_ms == 2
    c.back()
    c.tap(9)
    assert c.made_ms == 9


def test_drop_and_tally():
    c = count(ASK_HOLD, TAP_DROP)
    assert c.made
    assert c.tap(4_000) and not c.tap(5_000)
    assert not c.made and c.drop_ms == 4_000
    assert c.back() and c.made
    c = count(ASK_TARGET, TAP_TALLY, goal=3)
    for n in range(5):
        assert c.tap(n)
    assert c.reps == 3 and c.made and c.made_ms == -1
    c = count(ASK_OPEN, TAP_TALLY)
    for n in range(5):
        c.tap(n)
    c.confirm()
    assert c.reps == 5 and c.confirmed
    c.tap(9)
    assert c.reps == 6 and not c.confirmed
