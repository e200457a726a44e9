"""Boxes with wrong crystals on the real path: what arm said of the skew, and what they then rang.

The commands are the real ones, the firmware too; only time is the world's. Bells are taken from
each box's own sound record, in the world's time.
"""

import json

import pytest
from virtual_lab import needs_micropython

from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.results.skews import skew_of_class
from handbell.virtual.box import BoxSpec
from rig import Rig

pytestmark = needs_micropython

PPM = (-28, 12, 30, -5)
PLAN = """
title = "Four corners"
boxes = 4
lead_in_s = 10

[[block]]
rounds = 10
  [[block.exercise]]
  name = "Squat"
  work_s = 50
  tap = "none"
  rest_s = 10
"""
CLASS_S = 610
MINUTE_US = 60_000_000
# A bell's onset is no sooner than its time and up to 1 ms late (docs/engineers/timing.md)
RING_US = 1_000


class Floor:
    """Four virtual boxes, the commands that a coach types, and what the boxes rang."""

    def __init__(self, folder, monkeypatch, capsys) -> None:
        self.rig = Rig(folder, boxes=0)
        self.world = self.rig.world
        self.capsys = capsys
        for n, ppm in enumerate(PPM, 1):
            spec = BoxSpec(
                name=f"box{n}",
                unique_id=bytes([0xAB, 0, 0, 0, 0, 0, 0, n]),
                flash=folder / f"box{n}.flash",
                ppm=ppm,
                tick_origin=(1 << 30) - 200_000_000 * n,  # each wraps at another time
            )
            self.world.add_box(spec)
        self.plan = folder / "plan.toml"
        self.plan.write_text(PLAN, encoding="utf-8")
        monkeypatch.setenv("HANDBELL_CLOCK", str(self.world.clock_path))

    def __enter__(self):
        self.rig.__enter__()
        return self

    def __exit__(self, *error):
        self.rig.__exit__(*error)

    def do(self, *words) -> dict:
        ports = [w for box in self.world.boxes for w in ("--port", box.url)]
        code = main([*words, "--json", *ports])
        out, err = self.capsys.readouterr()
        assert code == 0, out + err
        return json.loads(out)["data"]

    def send(self) -> None:
        self.do("stations", "--number")
        self.do("send", str(self.plan))

    def start(self) -> dict:
        """Arm for a minute on; return what arm told."""
        told = self.do("arm", "--in", "60s")
        self.start_us = told["start_utc_ms"] * 1000 - self.world.clock.start_utc_us
        return told

    def ring(self) -> tuple[list[int], list[int]]:
        """Play the class; return each box's first and last bell, in world time."""
        for box in self.world.boxes:
            box.unplug()
        self.world.run_to(self.start_us + (CLASS_S + 40) * 1_000_000)
        bells = [
            [b for b in box.sound.bells() if b > self.start_us - 500_000]
            for box in self.world.boxes
        ]
        for box in self.world.boxes:
            box.plug_in()
        assert len({len(b) for b in bells}) == 1, "every box rang as often"
        return [b[0] for b in bells], [b[-1] for b in bells]

    def collect(self):
        self.do("collect")
        with open_store() as store:
            return skew_of_class(store, 1)


@pytest.fixture
def floor(tmp_path, monkeypatch, capsys):
    with Floor(tmp_path, monkeypatch, capsys) as made:
        yield made


def spread(values: list[int]) -> int:
    return max(values) - min(values)


def against_what_was_said(told, first, last) -> None:
    """Each box's error and the skew of the set lie within what arm printed."""
    assert spread(first) <= told["skew"]["start_us"] + RING_US
    assert spread(last) <= told["skew"]["end_us"] + RING_US
    assert all(row["ready"] for row in told["boxes"])


def against_what_was_measured(skew, last) -> None:
    """What collect found of each box at the end is what its bells did."""
    middle = sum(last) / len(last)
    known = [run.end_us for run in skew.runs]
    centre = sum(known) / len(known)
    for bell, run in zip(last, skew.runs, strict=True):
        assert run.why == ""
        rang_early_us, was_ahead_us = middle - bell, run.end_us - centre
        assert abs(rang_early_us - was_ahead_us) <= 2 * run.end_bound_us + RING_US
    assert abs(spread(last) - skew.end_us) <= skew.end_bound_us + RING_US
    assert not skew.relative


def test_crystals_that_nobody_measured_part_as_far_as_they_must(floor):
    floor.send()
    told = floor.start()
    assert all(row["rate"] is None and "5 min apart" in row["no_rate"] for row in told["boxes"])
    assert told["skew"]["heard"] and "--calibrate" in " ".join(told["skew"]["cures"])
    first, last = floor.ring()
    against_what_was_said(told, first, last)
    # 58 ppm between the fastest and the slowest, from the sync to the last bell
    assert spread(last) == pytest.approx(58e-6 * (CLASS_S + 60) * 1e6, rel=0.1, abs=RING_US)
    skew = floor.collect()
    against_what_was_measured(skew, last)
    assert skew.end_us > 30_000


def test_a_quarter_of_an_hour_between_send_and_arm_is_enough_to_ring_as_one(floor):
    floor.send()
    floor.world.run_for(15 * MINUTE_US)
    told = floor.start()
    for row, ppm in zip(told["boxes"], PPM, strict=True):
        assert row["rate"]["contacts"] == 2 and row["rate"]["span_s"] >= 900
        assert abs(row["rate"]["ppb"] + ppm * 1000) <= row["rate"]["bound_ppb"] + 1
    assert not told["skew"]["heard"] and told["skew"]["cures"] == []
    first, last = floor.ring()
    against_what_was_said(told, first, last)
    # 58 ppm would be 39 ms; what is left is the rate's error and the 8 s between two anchors
    assert spread(last) < 4_000
    skew = floor.collect()
    against_what_was_measured(skew, last)
    with open_store() as store:
        whats = [row[6] for row in store.contacts_of("ab00000000000001", 0)]
    assert whats == ["send", "arm", "collect"]


def test_a_rate_learnt_before_a_restart_serves_after_it(floor):
    floor.send()
    floor.world.run_for(15 * MINUTE_US)
    floor.start()
    floor.do("arm", "--cancel")
    for box in floor.world.boxes:
        box.cut_power()
        box.power_up()
    floor.world.run_for(5_000_000)
    told = floor.start()
    assert all(row["rate"]["contacts"] == 2 for row in told["boxes"])
    first, last = floor.ring()
    against_what_was_said(told, first, last)
    assert spread(last) < 4_000


def test_a_box_switched_off_between_class_and_collect_says_so(floor):
    floor.send()
    floor.start()
    floor.ring()
    floor.world.boxes[1].cut_power()
    floor.world.boxes[1].power_up()
    floor.world.run_for(5_000_000)
    skew = floor.collect()
    assert [bool(run.why) for run in skew.runs] == [False, True, False, False]
    assert "switched off after the class" in skew.runs[1].why
    assert skew.end_us is not None and skew.end_us > 30_000
