"""The USB cable of virtual boxes: bytes both ways, hosts that come and go, pulled cables."""

import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from faulty_cable import TO_BOX, mend, part_after, spoil
from virtual_lab import Lab, needs_micropython, until

from handbell.base.errors import HandbellError

serial = pytest.importorskip("serial", reason="pyserial is what hosts open ports with")
pytestmark = needs_micropython

ECHO = """
import micropython, select
micropython.kbd_intr(-1)
inp, out = sys.stdin.buffer, sys.stdout.buffer
poll = select.poll()
poll.register(sys.stdin, select.POLLIN)
one = bytearray(1)
while True:
    for _ in poll.ipoll(0):
        inp.readinto(one)
        out.write(one)
        break
    else:
        board.idle(None)
"""


@pytest.fixture(params=["pty", "tcp"])
def serve(request):
    return request.param


@pytest.fixture
def lab(tmp_path):
    lab = Lab(tmp_path)
    with lab.world:
        yield lab


def connect(box):
    return serial.serial_for_url(box.url, timeout=5, write_timeout=5)


def test_bytes_go_through_unchanged(lab, serve):
    box = lab.box(ECHO, serve=serve)
    every = (bytes(range(256)) * 20)[:5000]
    with connect(box) as port:
        for at in range(0, len(every), 200):
            port.write(every[at : at + 200])
            assert port.read(200) == every[at : at + 200]
        assert box.host_open
        with pytest.raises(HandbellError, match="port of one open"):
            lab.world.run_for(1_000_000)
    assert until(lambda: not box.host_open)
    lab.world.run_for(1_000_000)
    with connect(box) as port:
        port.write(b"again")
        assert port.read(5) == b"again"


def test_an_answer_comes_at_once(lab, serve):
    box = lab.box(ECHO, serve=serve)
    with connect(box) as port:
        took = []
        for _ in range(30):
            began = time.monotonic()
            port.write(b"?")
            assert port.read(1) == b"?"
            took.append(time.monotonic() - began)
    assert sorted(took)[15] < 0.005


def test_what_nobody_hears_is_gone_and_a_silent_host_stops_the_box(lab):
    box = lab.box("""
        n = 0
        while True:
            n += 1
            print("%06d" % n)
            board.idle(time.ticks_add(time.ticks_us(), 1000))
        """)
    lab.world.run_for(2_000_000)
    with connect(box) as port:
        first = int(port.readline())
        assert first >= 2000, "what was said before the port was open can't be read"
        time.sleep(0.3)
        port.reset_input_buffer()
        port.readline()
        later = [int(port.readline()) for _ in range(2000)]
    assert later == list(range(later[0], later[0] + 2000)), "a host that reads late loses nothing"


def test_bytes_sent_just_before_a_jump_are_there_in_it(lab, serve):
    box = lab.box(
        """
        import select
        while True:
            poll = select.poll()
            poll.register(sys.stdin, select.POLLIN)
            if poll.poll(0):
                tell(sys.stdin.readline().strip())
            board.idle(None)
        """,
        serve=serve,
    )
    with connect(box) as port:
        port.write(b"first\nsecond\n")
        port.flush()
    until(lambda: not box.host_open)
    lab.world.run_for(10_000_000)
    assert lab.notes() == ["first", "second"]


def test_pulling_the_cable_ends_the_hosts_port_and_not_the_box(lab, serve):
    box = lab.box(ECHO, serve=serve)
    url = box.url
    with connect(box) as port:
        port.write(b"a")
        assert port.read(1) == b"a"
        box.unplug()
        with pytest.raises(serial.SerialException):
            for _ in range(100):
                port.write(b"b")
                port.read(1)
    assert box.is_alive() and not box.host_open
    with pytest.raises(serial.SerialException):
        connect(box)
    box.plug_in()
    assert box.url == url
    with connect(box) as port:
        port.write(b"c")
        assert port.read(1) == b"c"


def test_the_cable_can_part_after_so_many_bytes(lab, serve):
    box = lab.box(
        """
        while True:
            tell(sys.stdin.buffer.read(1)[0])
        """,
        serve=serve,
    )
    part_after(box, 5)
    with connect(box) as port:
        for n in range(1, 20):
            try:
                port.write(bytes((n,)))
            except serial.SerialException:
                break
            time.sleep(0.002)
    assert until(lambda: lab.numbers() == [1, 2, 3, 4, 5])
    box.plug_in()
    with connect(box) as port:
        port.write(b"\x63")
        assert until(lambda: lab.numbers() == [1, 2, 3, 4, 5, 0x63])


def test_bytes_can_be_spoilt_on_the_way(lab, serve):
    box = lab.box(ECHO, serve=serve)
    spoilt = []

    def shout(direction: str, data: bytes) -> bytes:
        spoilt.append(direction)
        return data.upper() if direction == TO_BOX else data + b"!"

    with connect(box) as port:
        spoil(box, shout)
        port.write(b"q")
        assert port.read(2) == b"Q!"
        mend(box)
        port.write(b"q")
        assert port.read(1) == b"q"
    assert set(spoilt) == {"to_box", "to_host"}


def test_a_second_client_is_turned_away(lab):
    box = lab.box(ECHO, serve="tcp")
    with connect(box) as port:
        port.write(b"a")
        assert port.read(1) == b"a"
        host, number = box.url.removeprefix("socket://").split(":")
        with socket.create_connection((host, int(number)), timeout=5) as second:
            assert second.recv(1) == b""
        port.write(b"b")
        assert port.read(1) == b"b"


def test_a_reset_drops_the_port_and_brings_it_back(lab, serve):
    box = lab.box(
        """
        while True:
            c = sys.stdin.buffer.read(1)
            tell(machine.reset_cause(), c[0])
            if c == b"r":
                machine.reset()
        """,
        serve=serve,
    )
    with connect(box) as port:
        port.write(b"ar")
        with pytest.raises(serial.SerialException):
            for _ in range(200):
                port.write(b"")
                port.read(1)
                port.in_waiting  # noqa: B018 - asking is what finds the hang-up
                time.sleep(0.01)
    assert until(lambda: len(lab.notes()) == 2 and box.wire.is_plugged)
    with connect(box) as port:
        port.write(b"b")
        assert until(lambda: len(lab.notes()) == 3)
    assert lab.notes() == ["1 97", "1 114", "3 98"]


def test_power_takes_the_port_with_it(lab, serve):
    box = lab.box(ECHO, serve=serve)
    box.cut_power()
    with pytest.raises(serial.SerialException):
        connect(box)
    box.power_up()
    with connect(box) as port:
        port.write(b"a")
        assert port.read(1) == b"a"


def test_another_process_finds_the_port(lab):
    box = lab.box(ECHO)
    assert Path(box.url).resolve().exists()
    program = (
        f"import serial; p = serial.Serial({box.url!r}, timeout=5); p.write(b'hello');"
        "print(p.read(5))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert done.stdout == "b'hello'\n", done.stderr


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux signals a closed pipe")
def test_boxes_end_even_when_their_world_is_killed(tmp_path):
    program = f"""
import os, signal, sys, time
from pathlib import Path
sys.path.insert(0, {str(Path(__file__).parent)!r})
from virtual_lab import Lab
lab = Lab(Path({str(tmp_path)!r}))
boxes = [lab.box("while True: pass", "spins"), lab.box("rest()", "rests")]
print(*[box.process.pid for box in boxes], flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    pids = done.stdout.split()
    assert len(pids) == 2, done.stderr

    def runs(pid: str) -> bool:
        stat = Path("/proc", pid, "stat")
        return stat.exists() and stat.read_text(encoding="utf-8").split(")")[1].split()[0] != "Z"

    assert until(lambda: not any(map(runs, pids)))


def test_boxes_end_with_their_world(tmp_path):
    lab = Lab(tmp_path)
    with lab.world:
        box = lab.box("rest()")
        process = box.process
        assert process and process.is_alive
    assert not process.is_alive
    assert not box.is_alive()
    assert not os.path.lexists(box.url)
    assert not lab.world.clock_path.exists()
