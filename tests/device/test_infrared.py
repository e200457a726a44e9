"""The PIO programs for infra-red, run cycle by cycle: they agree with what reads their bytes."""

import importlib
import random
import sys
import time
import types

import pio
import pytest
from air import WORST_US, edges, read

import box
from box.hearing import CYCLE_US, EDGE_US, RING, TURN_US, TURNS, WHOLE_US, Hearing
from handbell.virtual.process import standin_root
from handbell_core.bursts import CARRIER_HZ, SIZE, Reader
from handbell_core.bursts_out import lasts_us

PIO_WORDS = 32  # of one PIO, RP2040 datasheet


@pytest.fixture
def programs(monkeypatch):
    """The two modules, imported where there is PIO."""
    monkeypatch.setitem(sys.modules, "rp2", pio.rp2())
    monkeypatch.setattr(time, "ticks_us", lambda: 0, raising=False)
    modules = [importlib.import_module(f"box.{name}") for name in ("infrared", "emitter")]
    yield modules
    for name in ("infrared", "emitter"):
        sys.modules.pop(f"box.{name}", None)
        vars(box).pop(name, None)


def receiving(programs, sequence):
    """A receiver's state machine that sees edges, (lit, us after the one before)."""
    changes, at_us = [], 0
    for lit, us in sequence:
        at_us += us
        changes.append((at_us, lit))
    changes.append((1 << 60, False))
    place = 0

    def level(cycle):
        nonlocal place
        while changes[place][0] <= cycle * CYCLE_US:
            place += 1
        return 1 if place == 0 else int(not changes[place - 1][1])

    machine = pio.Machine(programs[0]._receive, level)
    machine.osr = TURNS
    return machine


def taken(byte):
    """How long a byte of the ring took."""
    turns = byte >> 1
    return WHOLE_US if turns == 127 else EDGE_US + (TURNS - turns) * TURN_US


def flicker(chance, count):
    """Edges of any length, from far too short to far too long."""
    lengths = (chance.choice((60, 300, 900, 3_000, 9_000)) for _ in range(count))
    return [(n % 2 == 0, chance.randint(20, most)) for n, most in enumerate(lengths)]


def test_both_programs_fit_into_one_pio(programs):
    infrared, emitter = programs
    assert len(infrared._receive[0]) + len(emitter._send[0]) <= PIO_WORDS
    assert infrared.WORDS + emitter.WORDS == PIO_WORDS


def test_every_byte_takes_what_it_says(programs):
    machine = receiving(programs, flicker(random.Random(1), 400))
    list(machine.run(120_000))
    assert len(machine.pushed) > 300
    at_us, dark = 0, 1
    for cycle, byte in machine.pushed:
        at_us += taken(byte)
        # What is left of it: the delay after an edge's, the jump back after another.
        left = 1 if byte >> 1 == 127 else 24
        assert (cycle + 1 + left) * CYCLE_US == at_us
        assert byte & 1 == (dark if byte >> 1 == 127 else 1 - dark)
        dark = byte & 1
    assert {byte >> 1 == 127 for _, byte in machine.pushed} == {True, False}


def test_two_channels_send_each_other_back_for_ever(programs):
    ring, dma, begin, _, (machine, back, word) = programs[0].start(18)
    assert len(ring) == dma.told["count"] == RING and dma.told["write"] is ring
    assert dma.told["ctrl"]["size"] == 0 and dma.told["ctrl"]["chain_to"] == back.channel
    assert (back.told["read"], list(word), begin) == (word, [dma.write], dma.write)
    # RP2040 datasheet, DMA registers: AL2_WRITE_ADDR_TRIG is 0x2c of a channel's 0x40.
    assert back.told["write"] == 0x50000000 + 0x40 * dma.channel + 0x2C
    assert (machine.number, machine.freq, machine.put_words) == (4, 125_000, [TURNS])
    assert "box.infrared" not in sys.modules and not hasattr(box, "infrared")


def test_telegrams_come_through_with_the_time_of_their_end(programs):
    chance = random.Random(2)
    off_us = []
    for _ in range(5):
        data = chance.randbytes(SIZE)
        before_us = chance.randint(3_000, 60_000)
        wild = lambda: chance.randint(-WORST_US, WORST_US)  # noqa: E731
        machine = receiving(programs, edges(data, before_us, wild))
        list(machine.run((before_us + 200_000) // CYCLE_US))
        ring = bytearray(RING)
        ring[: len(machine.pushed)] = bytes(byte for _, byte in machine.pushed)
        heard = []
        dma = types.SimpleNamespace(write=len(machine.pushed))
        hearing = Hearing((ring, dma, 0, 0, None), lambda *told, heard=heard: heard.append(told))
        for _ in range(RING):
            hearing.take(0)
        assert [told[0] for told in heard] == [data]
        off_us.append(heard[0][1] - before_us - lasts_us(data))
    assert max(map(abs, off_us)) < WORST_US + TURN_US


def test_virtual_boxes_see_the_same_bytes(programs, monkeypatch):
    clock = types.SimpleNamespace(us=0)
    irq = types.SimpleNamespace(levels=bytearray([1] * 30), edges=[], watches={})
    fakes = {
        "_clock": types.SimpleNamespace(now=lambda: clock.us, tick_of=lambda us: us),
        "_irq": irq,
        "_world": types.SimpleNamespace(horizon_us=lambda: 1 << 53, TICKS_MASK=(1 << 30) - 1),
    }
    for name, fake in fakes.items():
        monkeypatch.setitem(sys.modules, name, fake)
    spec = importlib.util.spec_from_file_location("_receiver", standin_root() / "_receiver.py")
    receiver = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(receiver)
    receiver.pin = 18
    sequence = [(lit, us // CYCLE_US * CYCLE_US) for lit, us in flicker(random.Random(5), 300)]
    machine = receiving(programs, sequence)
    list(machine.run((sum(us for _, us in sequence) + 30_000) // CYCLE_US))
    ring, watch, *_ = receiver.start()
    found, at = [], 0

    def look():
        nonlocal at
        end = watch.write
        while at != end:
            found.append(ring[at])
            at = (at + 1) % RING

    for lit, us in sequence:
        clock.us += us
        look()
        irq.watches[18].edge(int(not lit), clock.us)
    clock.us += 20_000
    look()
    assert found == [byte for _, byte in machine.pushed][: len(found)]
    assert len(found) > 250


def test_what_is_sent_is_read_and_ends_when_promised(programs):
    emitter = programs[1]
    data = random.Random(3).randbytes(SIZE)
    sender = emitter.Sender(19)
    assert sender.send(data) == lasts_us(data)
    machine = pio.Machine(emitter._send)
    machine.queue = list(sender._words)
    rises, falls = [], []
    for cycle, level in machine.run(1 << 30):
        (rises if level else falls).append(cycle)
    period = sender._machine.freq // CARRIER_HZ
    assert period == 6 and {b - a for a, b in zip(rises, falls, strict=True)} == {2}
    seen, begin, last = [], rises[0], rises[0] - 60_000
    for rise, after in zip(rises, [*rises[1:], 1 << 40], strict=True):
        assert after - rise == period or after - rise > 10 * period
        if after - rise > period:
            end = rise + period
            seen += [(True, begin - last), (False, end - begin)]
            begin, last = after, end
            ends = seen[:-1]
    us = [(lit, cycles * 1_000_000 // sender._machine.freq) for lit, cycles in seen]
    assert read(Reader(), us) == [data]
    whole = sum(cycles for _, cycles in ends[1:])  # from the first rise to the last burst's
    assert abs(whole * 1e6 / sender._machine.freq - lasts_us(data)) < 2
