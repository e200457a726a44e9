"""Telegrams that virtual boxes hear: the firmware's own reader, on what a receiver would see."""

import random
import time

import pytest
from infrared_air import Air, merged, telegram_light
from virtual_lab import Lab, needs_micropython

from box.hearing import EDGE_US, LOOK_US, PIECE, RING, TURN_US, TURNS, WHOLE_US, Hearing
from handbell.virtual.spec import firmware_root
from handbell_core.agreement import RUNS, Act
from handbell_core.bursts import SIZE
from handbell_core.bursts_out import lasts_us
from handbell_core.telegram import KEY_SIZE, pack, unpack

S = 1_000_000
KEY, PLAN = bytes(range(KEY_SIZE)), bytes(12)
LISTEN = """
sys.path.append({firmware!r})
from box.hearing import Hearing
hearing = Hearing(board.edges(), lambda data, tick: tell(data.hex(), tick, time.ticks_us()))
def listen():
    tick = time.ticks_us()
    due = hearing.due_us(tick)
    if due == 0:
        hearing.take(tick)
    board.idle(time.ticks_add(tick, max(due, 100)))
"""
FOREVER = """
while True:
    listen()
"""
WRITING = """
f = open("writes", "ab")
while True:
    for _ in range(40):
        listen()
    f.write(bytes(600))
    f.flush()
"""


def telegrams(count, seed=1):
    chance = random.Random(seed)
    return [chance.randbytes(SIZE) for _ in range(count)]


@pytest.fixture
def lab(tmp_path):
    lab = Lab(tmp_path)
    with lab.world:
        yield lab


def listener(lab, program=FOREVER, name="one", **spec):
    program = LISTEN.format(firmware=str(firmware_root())) + program
    return lab.box(program, name, receiver=True, **spec)


def heard(lab, name="one"):
    """What a box heard: (data, when it ended, when it was told), in its ticks."""
    lines = [line.split() for line in lab.notes(name)]
    return [(bytes.fromhex(a), int(b), int(c)) for a, b, c in lines]


@needs_micropython
def test_boxes_hear_telegrams_each_at_its_end(lab):
    boxes = [listener(lab), listener(lab, name="two", ppm=40, tick_origin=(1 << 30) - 900_000)]
    air = Air(boxes)
    air.jitter_us = 100
    sent = telegrams(10)
    ends_us = [S // 2 + n * 250_000 for n in range(10)]
    for data, at_us in zip(sent, ends_us, strict=True):
        air.send(data, at_us)
    air.carry()
    lab.world.run_to(4 * S)
    for box in boxes:
        got = heard(lab, box.name)
        assert [data for data, *_ in got] == sent
        for (_, ended, told), at_us in zip(got, ends_us, strict=True):
            ticks = box.spec.tick_origin + at_us * (S + box.spec.ppm) // S
            assert abs((ended - ticks + (1 << 29)) % (1 << 30) - (1 << 29)) < 150
            assert (told - ended) % (1 << 30) < 2 * LOOK_US + 5_000


@needs_micropython
def test_slow_flash_writes_lose_nothing_and_hold_nothing_up_for_long(lab):
    box = listener(lab, WRITING, erase_us=400_000)
    air = Air([box])
    sent = telegrams(20)
    for n, data in enumerate(sent):
        air.send(data, S + n * 210_000)
    air.carry()
    lab.world.run_to(8 * S)
    got = heard(lab)
    assert [data for data, *_ in got] == sent
    for n, (_, ended, told) in enumerate(got):
        assert abs(ended - (S + n * 210_000)) < 150
        assert told - ended < 400_000 * 2 + 300_000  # a write erases twice here
    assert max(told - ended for _, ended, told in got) > 300_000  # some ended in an erase
    assert len({told - ended > 50_000 for _, ended, told in got}) == 2  # and some did not


@needs_micropython
def test_the_air_may_lose_delay_and_disturb(lab):
    boxes = [listener(lab), listener(lab, name="two")]
    air = Air(boxes, seed=4)
    air.loss, air.delay_us = 0.3, 40_000
    acts = [Act(n + 1, RUNS, n * 1000, 0) for n in range(20)]
    sent = [pack(KEY, PLAN, act, 0, 1 << 30) for act in acts]
    for n, data in enumerate(sent):
        air.send(data, S + n * 250_000)
    air.noise(0, 7 * S, 3.0)
    air.carry()
    lab.world.run_to(8 * S)
    for box in boxes:
        whole = [one for one in heard(lab, box.name) if unpack(KEY, PLAN, one[0], 0)]
        assert 5 <= len(whole) < 17
        for data, ended, _ in whole:
            assert abs(ended - (S + sent.index(data) * 250_000) - 40_000) < 150
    assert [d for d, *_ in heard(lab)] != [d for d, *_ in heard(lab, "two")]


@needs_micropython
def test_a_board_without_a_receiver_uses_nothing(lab):
    lab.box("tell(board.edges() is None)\nrest()")
    lab.world.run_for(S // 10)
    assert lab.notes() == ["True"]


# Without a box


class Ring:
    """A ring filled by hand; its time is ours."""

    def __init__(self, monkeypatch, since=0):
        self.ring, self.write, self.us, self.closed = bytearray(RING), 7, 0, False
        monkeypatch.setattr(time, "ticks_us", lambda: (since + self.us) % (1 << 30), raising=False)
        self.heard = []
        edges = self.ring, self, 7, since, None
        self.hearing = Hearing(edges, lambda data, tick: self.heard.append((data, tick)))
        self.ended_us = 0

    def put(self, byte, took_us):
        self.ring[(self.write - 7) % RING] = byte
        self.write = (self.write - 7 + 1) % RING + 7
        self.ended_us += took_us

    def edge(self, dark, turns):
        self.put((TURNS - turns) << 1 | dark, EDGE_US + turns * TURN_US)

    def quiet(self, dark=1):
        self.put(127 << 1 | dark, WHOLE_US)

    def take(self, passes=1000):
        self.us = self.ended_us + 100
        for n in range(passes):
            self.hearing.take(time.ticks_us())
            if self.hearing.due_us(time.ticks_us()):
                return n + 1
        return passes

    def close(self):
        self.closed = True

    def telegram(self, data):
        """As PIO would see it, each edge at the next turn."""
        at_us, last_us = 6_000, 0
        for begin, end in telegram_light(data, lasts_us(data)):
            for edge_us, dark in ((begin, 0), (end, 1)):
                wait_us = at_us + edge_us - last_us
                while wait_us > WHOLE_US:
                    self.quiet()
                    last_us += WHOLE_US
                    wait_us -= WHOLE_US
                turns = max(0, -(-(wait_us - EDGE_US) // TURN_US))
                self.edge(dark, turns)
                last_us += EDGE_US + turns * TURN_US


def test_a_pass_reads_a_piece_and_asks_for_the_next_one(monkeypatch):
    ring = Ring(monkeypatch)
    (data,) = telegrams(1)
    ring.telegram(data)
    waits = ring.write - 7
    assert ring.take() == -(-waits // PIECE)
    assert [d for d, _ in ring.heard] == [data]
    assert ring.hearing.due_us(ring.us) > 0 and ring.hearing.lost == 0


def test_it_may_look_after_each_byte_or_seldom(monkeypatch):
    for seldom in (1, 5, PIECE, 90):
        ring, count = Ring(monkeypatch), 0
        sent = telegrams(3)
        put = ring.put

        def puts(byte, took_us, ring=ring, put=put, seldom=seldom):
            nonlocal count
            put(byte, took_us)
            count += 1
            if count % seldom == 0:
                ring.take()

        ring.put = puts
        for data in sent:
            ring.telegram(data)
        ring.take()
        assert [data for data, _ in ring.heard] == sent and ring.hearing.lost == 0


def test_a_whole_ring_is_read_after_a_stall(monkeypatch):
    ring = Ring(monkeypatch, since=(1 << 30) - 300_000)
    for _ in range(RING // 2 - 200):  # noise as close as it can be
        ring.edge(0, 0)
        ring.edge(1, 0)
    assert ring.ended_us > 380_000
    ring.telegram(telegrams(1)[0])
    ring.take()
    assert len(ring.heard) == 1 and ring.hearing.lost == 0


def test_a_ring_that_ran_over_is_noticed_and_the_clock_put_right(monkeypatch):
    ring = Ring(monkeypatch)
    for _ in range(RING + 100):
        ring.edge(0, 0)
        ring.edge(1, 0)
    ring.take()
    assert ring.hearing.lost == 1
    ring.telegram(telegrams(1)[0])
    end_us = ring.ended_us
    ring.take()
    ((_, tick),) = ring.heard
    assert ring.hearing.lost == 1 and abs(tick - end_us) < 5_000


def test_long_quiet_and_stuck_light_are_nothing(monkeypatch):
    ring = Ring(monkeypatch)
    for dark in (1, 0):
        for _ in range(20_000):
            ring.quiet(dark)
            ring.take()
    ring.edge(1, 3)
    ring.telegram(telegrams(1)[0])
    ring.take()
    assert len(ring.heard) == 1 and ring.hearing.lost == 0


def test_it_lets_go_of_the_ring(monkeypatch):
    ring = Ring(monkeypatch)
    ring.hearing.close()
    assert ring.closed


def test_the_ring_holds_what_can_come_in_the_longest_write():
    assert 400_000 // EDGE_US + PIECE < RING


def test_light_that_touches_is_one():
    assert merged([(5, 9), (0, 3), (3, 4), (8, 12)]) == [(0, 4), (5, 12)]
