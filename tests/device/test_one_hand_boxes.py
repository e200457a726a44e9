"""Boxes of a class that a remote leads, by what it sends through the air."""

import struct

import pytest
from infrared_air import Air

from handbell_core import journal as j
from handbell_core.acts import gate_after
from handbell_core.agreement import OVER, RUNS, STANDS, Act
from handbell_core.telegram import KEY_SIZE, pack
from made import GATE, lead_in, reader, rest, span, window
from rig import Rig, digest, of_kind, timeline

S = 1_000_000
KEY = bytes(range(KEY_SIZE))


def spans():
    return [lead_in(5_000), window(20_000), rest(10_000), window(10_000), span(GATE, 0), window()]


class Class:
    """A class on some boxes, armed with a remote that is not there: its telegrams are made here."""

    def __init__(self, rig, in_s=10):
        self.rig, self.world = rig, rig.world
        boxes = rig.world.boxes
        self.data = [timeline(spans, n) for n in range(1, len(boxes) + 1)]
        rig.send(self.data)
        self.start_us = rig.arm(self.data, in_s)
        utc_ms = (self.start_us + rig.world.clock.start_utc_us) // 1000
        for box, data in zip(boxes, self.data, strict=True):
            rig.ask("arm", box, d=digest(data), utc_ms=utc_ms, key=KEY.hex())
            box.unplug()
        self.air = Air(boxes)
        self.reader = reader(spans())
        self.plan = self.reader.head.plan

    def tell(self, act, ends_us, key=KEY):
        """Say an act, whose ``at_ms`` is world time in ms, in a telegram that ends then."""
        gate_ms = gate_after(self.reader, act.class_ms)
        self.air.send(pack(key, self.plan, act, ends_us // 1000, gate_ms), ends_us)
        self.air.carry()

    def at(self, class_ms):
        return self.start_us + class_ms * 1000


def logs(rig, box):
    box.plug_in()
    return rig.runs(box)[-1]  # the first one is of the start without a remote


@pytest.fixture
def rig(tmp_path):
    with Rig(tmp_path, boxes=3, receiver=True) as rig:
        yield rig


def test_boxes_are_paused_and_go_on_together(rig):
    led = Class(rig)
    one, _, late = rig.world.boxes
    one.press(0, led.at(8_000))
    one.press(0, led.at(20_000))  # while it stands
    rig.world.run_to(led.at(11_000))
    led.air._boxes = [box for box in rig.world.boxes if box is not late]
    led.tell(Act(1, STANDS, 12_000, led.at(12_000) // 1000), led.at(11_700))
    rig.world.run_to(led.at(13_000))
    led.air._boxes = rig.world.boxes
    led.tell(Act(1, STANDS, 12_000, led.at(12_000) // 1000), led.at(14_000))
    rig.world.run_to(led.at(40_000))
    goes_us = led.at(55_000)
    led.tell(Act(2, RUNS, 12_000, goes_us // 1000), led.at(45_000))
    rig.world.run_to(goes_us + 14_000_000)
    bells = [[b for b in box.sound.bells() if b > led.at(30_000)] for box in rig.world.boxes]
    assert len({len(rung) for rung in bells}) == 1 and len(bells[0]) > 4
    for rung in zip(*bells, strict=True):
        assert max(rung) - min(rung) < 5_000
    assert any(abs(b - goes_us) < 5_000 for b in bells[0])
    led.tell(Act(3, OVER, 30_000, goes_us // 1000 + 20_000), goes_us + 19_700_000)
    rig.world.run_to(goes_us + 30_000_000)
    run = logs(rig, one)
    taps = [(round(r[3], -3) // 1000, r[4][6] & j.TAP_OUTSIDE) for r in of_kind(run, j.TAP)]
    assert taps == [(8, 0), (12, 1)]
    acts = [struct.unpack("<HB", r[4][:3]) for r in of_kind(run, j.ACT)]
    assert acts == [(1, STANDS), (2, RUNS), (3, OVER)]
    came_from = struct.unpack("<i", of_kind(logs(rig, late), j.ACT)[0][4][4:8])[0]
    assert 13_900 < came_from < 14_200


def test_who_has_another_key_an_old_number_or_another_plan_is_not_heeded(rig):
    led = Class(rig)
    rig.world.run_to(led.at(8_000))
    now_ms = led.at(9_000) // 1000
    led.tell(Act(5, RUNS, 4_000, now_ms - 10_000), led.at(9_000), key=bytes(KEY_SIZE))
    led.tell(Act(3, RUNS, 9_000, now_ms), led.at(9_400))
    led.tell(Act(2, STANDS, 2_000, now_ms), led.at(9_800))
    led.plan = b"\xff" * 12
    led.tell(Act(9, STANDS, 2_000, now_ms), led.at(10_200))
    rig.world.run_to(led.at(12_000))
    for box in rig.world.boxes:
        box.plug_in()
        assert rig.ask("status", box)["state"] == "play"


def test_a_box_that_lost_its_power_is_brought_back_by_a_telegram(tmp_path):
    """It has no clock part, so only what the remote says can tell it where the class is."""
    with Rig(tmp_path, boxes=2, receiver=True) as rig:
        led = Class(rig)
        one, other = rig.world.boxes
        other.press(0, led.at(7_000))
        rig.world.run_to(led.at(10_000))
        led.tell(Act(1, STANDS, 11_000, led.at(11_000) // 1000), led.at(10_700))
        rig.world.run_to(led.at(15_000))
        other.cut_power()
        rig.world.run_to(led.at(20_000))
        other.power_up()
        rig.world.run_to(led.at(25_000))
        led.tell(Act(2, RUNS, 11_000, led.at(40_000) // 1000), led.at(30_000))
        rig.world.run_to(led.at(45_000))
        other.press(0, led.at(45_000))
        rig.world.run_to(led.at(60_000))
        bells = [[b for b in box.sound.bells() if b > led.at(39_000)] for box in (one, other)]
        assert len(bells[0]) == len(bells[1]) > 1
        assert all(abs(a - b) < 5_000 for a, b in zip(*bells, strict=True))
        led.tell(Act(3, OVER, 30_000, led.at(70_000) // 1000), led.at(69_700))
        rig.world.run_to(led.at(80_000))
        run = logs(rig, other)
        results = {r[1]: r[4][2] for r in of_kind(run, j.RESULT) if r[2] == 1}
        assert results[0] == 2
