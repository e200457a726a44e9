"""Replies on a port like the chip's: a host that stops reading loses its reply, never the class.

MicroPython's shared/tinyusb/mp_usbd_cdc.c: a port can be written while more than 0 bytes are free,
and a write of more than are free waits for the rest, up to 500 ms for each 64 bytes.
"""

import os
import sys
import time
from types import SimpleNamespace

import pytest
from troubled import BELLS_S, troubled, two_windows

from handbell_core import frames, journal
from rig import Rig, of_kind, timeline

ROOM = 320  # bytes that a chip takes while its host does not read (its emulator)
PERIOD = 1 << 30
POLLIN, POLLOUT = 1, 4


class Port:
    """The chip's side of a USB port, in a time of its own."""

    def __init__(self):
        self.us = PERIOD - 700_000
        self.waiting = b""  # taken by the port, not yet by the host
        self.to_box = b""
        self.is_read = True
        self.longest_us = 0
        self.writes = []

    # What the firmware sees

    def tick(self):
        return self.us % PERIOD

    def readinto(self, buf):
        buf[0] = self.to_box[0]
        self.to_box = self.to_box[1:]
        return 1

    def write(self, data):
        begun_us, left = self.us, bytes(data)
        self.writes.append(len(left))
        while left:
            if self.is_read:
                self.drain()
            free = ROOM - len(self.waiting)
            piece = left[:64]
            if len(piece) > free:
                self.us += 500_000
            took = min(len(piece), free)
            if not took:
                break
            self.waiting += piece[:took]
            left = left[took:]
        self.longest_us = max(self.longest_us, self.us - begun_us)
        return len(data) - len(left)

    def events(self, asked):
        if asked == POLLIN:
            return [(self, POLLIN)] if self.to_box else []
        return [(self, POLLOUT)] if len(self.waiting) < ROOM else []

    # What the host does

    def drain(self):
        self.heard += self.waiting
        self.waiting = b""

    heard = b""

    def ask(self, q):
        self.to_box += frames.encode({"q": q, "s": "a", "do": "status"})

    def replies(self):
        self.drain()
        reader = frames.FrameReader()
        return [message["q"] for message in reader.feed(self.heard)]


class Poll:
    def __init__(self, port):
        self._port, self._asked = port, 0

    def register(self, stream, asked):
        self._asked = asked

    def ipoll(self, _):
        return self._port.events(self._asked)


@pytest.fixture
def port(monkeypatch):
    port = Port()
    monkeypatch.setitem(sys.modules, "micropython", SimpleNamespace(kbd_intr=lambda _: None))
    monkeypatch.setattr(time, "ticks_us", port.tick, raising=False)
    from box import link

    stream = SimpleNamespace(buffer=port)
    monkeypatch.setattr(link, "sys", SimpleNamespace(stdin=stream, stdout=stream))
    poll = SimpleNamespace(POLLIN=POLLIN, POLLOUT=POLLOUT, poll=lambda: Poll(port))
    monkeypatch.setattr(link, "select", poll)
    return port


class Box:
    """As little of the loop as answers requests: a pass a millisecond."""

    def __init__(self, port, at_rest=False, size=380):
        from box.link import Link

        self.port, self.at_rest, self.size = port, at_rest, size
        self.link = Link()

    def run(self, passes=1):
        for _ in range(passes):
            self.link.poll(96, self.at_rest)
            if self.link.waits():
                request = self.link.request()
                reply = {"q": request["q"], "s": "a", "x": ""}
                reply["x"] = "x" * (self.size - len(frames.encode(reply)))
                self.link.send(reply)
            self.port.us += 1_000


@pytest.mark.parametrize("at_rest", [False, True])
def test_a_host_that_reads_gets_every_reply_whole(port, at_rest):
    box = Box(port, at_rest)
    for q in range(20):
        port.ask(q)
        box.run(30)
        assert port.replies() == list(range(q + 1))
    assert port.longest_us == 0
    assert max(port.writes) <= 64


def test_in_class_no_write_waits_for_a_host_that_does_not_read(port):
    box = Box(port)
    port.is_read = False
    for q in range(12):
        box.size = 90 + 17 * q  # so that the port is full in the middle of a piece
        port.ask(q)
        box.run(400)
    assert port.longest_us == 0


def test_at_rest_a_host_that_does_not_read_holds_the_box_up_once_in_a_while_only(port):
    box = Box(port, at_rest=True)
    port.is_read = False
    begun_us = port.us
    for q in range(12):
        port.ask(q)
        box.run(400)
    # 4,800 passes of a millisecond; a reply that is half out is tried no more than it takes.
    assert port.us - begun_us < 4_800_000 + 4 * 1_000_000


@pytest.mark.parametrize("at_rest", [False, True])
def test_a_reply_half_sent_goes_on_when_the_host_reads_again(port, at_rest):
    box = Box(port, at_rest)
    port.is_read = False
    port.ask(1)
    box.run(500)
    assert box.link.reply_due_us(0) >= 0
    port.is_read = True
    port.drain()
    box.run(30)
    assert box.link.reply_due_us(0) < 0
    assert port.replies() == [1]


@pytest.mark.parametrize("at_rest", [False, True])
def test_a_reply_given_up_spoils_none_that_follows(port, at_rest):
    box = Box(port, at_rest)
    port.is_read = False
    port.ask(1)
    box.run(4_000)
    assert box.link.reply_due_us(0) < 0, "given up"
    port.is_read = True
    port.drain()
    for q in (2, 3):
        port.ask(q)
        box.run(30)
    assert port.replies() == [2, 3]


def test_requests_of_a_host_that_never_reads_take_no_memory_without_end(port):
    box = Box(port)
    port.is_read = False
    for q in range(200):
        port.ask(q)
        box.run(8)
    assert len(box.link._waiting) <= 4
    port.is_read = True
    port.drain()
    box.run(200)
    assert port.replies()[-1] == 199, "the newest is answered"


CHIP_PORT = """
    import select, time
    from box import link
    whole = link.Link.__init__
    class Port:
        room = 320
        def __init__(self, out):
            self.out = out
        def ipoll(self, _):
            return [(self, select.POLLOUT)] if self.room else []
        def write(self, data):
            if len(data) > self.room:
                time.sleep_ms(500)
            took = min(len(data), self.room)
            self.room -= took
            return took
    def begin(self):
        whole(self)
        self.port = Port(self._out)
    link.Link.__init__ = begin
    asked = link.Link.request
    def request(self):
        message = asked(self)
        if message and message["s"] == "deaf":
            self._out = self._can_write = self.port
        return message
    link.Link.request = request
"""


@pytest.mark.usefixtures("micropython")
def test_a_host_that_asks_in_class_and_reads_nothing_makes_no_bell_late(tmp_path):
    data = timeline(two_windows)
    with Rig(tmp_path, firmware=troubled(tmp_path, CHIP_PORT)) as rig:
        rig.send([data])
        start = rig.arm([data])
        for n, bell_s in enumerate(BELLS_S):
            for k in range(6):
                rig.world.run_to(start + bell_s * 1_000_000 - 400_000 + k * 60_000)
                handle = os.open(rig.box.url, os.O_RDWR | os.O_NOCTTY)
                os.write(handle, frames.encode({"q": 10 * n + k, "s": "deaf", "do": "status"}))
                os.close(handle)
        rig.world.run_to(start + 120_000_000)
        bells = [bell - start for bell in rig.box.sound.bells() if bell > start]
        for due_s in BELLS_S:
            assert min(abs(bell - due_s * 1_000_000) for bell in bells) < 3_000, due_s
        rig.box.cut_power()
        rig.box.power_up()
        (run,) = rig.runs()
    end = of_kind(run, journal.END)[0][4]
    assert int.from_bytes(end[2:4], "little") == 0, "late cues"
