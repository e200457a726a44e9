"""A box put into a class that no remote leads, by the command a coach types."""

import pytest

from handbell.base.errors import BoxError
from handbell.cli.main import main
from handbell_core import faults, journal
from made import GATE, lead_in, rest, span, window
from rig import Rig, digest, of_kind, start_by_hand, timeline

S = 1_000_000
PLAN = """
title = "Evening"
boxes = 2
lead_in_s = 10
[[block]]
rounds = 3
rest_s = 20
  [[block.exercise]]
  name = "Squat"
  work_s = 30
  tap = "each"
"""
GATED = """
[[block]]
gate = true
rounds = 2
rest_s = 10
  [[block.exercise]]
  name = "Lunge"
  work_s = 20
  tap = "each"
"""


def spans():
    return [lead_in(5_000), window(20_000), rest(10_000), span(GATE, 0), window(), rest(), window()]


@pytest.fixture(params=[False])
def floor(request, tmp_path, monkeypatch, capsys):
    with Rig(tmp_path, boxes=2) as rig:
        monkeypatch.setenv("HANDBELL_CLOCK", str(rig.world.clock_path))
        plan = tmp_path / "evening.toml"
        plan.write_text(PLAN + GATED * request.param, encoding="utf-8")

        def do(*words, boxes=tuple(rig.world.boxes), fails=False):
            for box in boxes:
                box.plug_in()
            code = main([*words, *(word for box in boxes for word in ("--port", box.url))])
            for box in boxes:
                box.unplug()
            out, err = capsys.readouterr()
            assert code == (1 if fails else 0), (words, out, err)
            return " ".join((out + err).split())

        ids = (f"{n}={box.spec.unique_id.hex()}" for n, box in enumerate(rig.world.boxes, 1))
        do("stations", *ids)
        do("send", str(plan))
        rig.world.run_for(2 * S)
        do("arm", "--in", "30s")
        rig.do = do
        yield rig


def test_a_box_that_lost_its_power_rings_with_the_others_again(floor):
    one, late = floor.world.boxes
    began_us = floor.world.now_us() + 60 * S
    for before_us in (9 * S, 8 * S, 7 * S):
        late.press(0, began_us - before_us)
    floor.world.run_to(began_us)
    late.cut_power()
    floor.world.run_for(2 * S)
    late.power_up()
    floor.world.run_for(3 * S)
    said = floor.do("join", "2", boxes=[late], fails=True)
    assert "Nothing tells where Evening is" in said and "--since-start" in said
    said = floor.do("join", "2")
    assert "station 2, Station 2: is in the class" in said and "Evening is at 0:" in said
    rejoined_us = floor.world.now_us()
    late.press(0, rejoined_us + S)
    floor.world.run_for(200 * S)
    rung = [[b for b in box.sound.bells() if b > rejoined_us + S] for box in (one, late)]
    assert len(rung[0]) == len(rung[1]) > 6
    assert max(abs(a - b) for a, b in zip(*rung, strict=True)) < 5_000
    assert floor.do("collect").count("2 new of 2") == 1
    said = floor.do("report", boxes=())
    assert "class 1" in said and "2 boxes" in said and "3, or more" in said
    assert "Station 2 (box 0002): it was put into the class while that was on." in said
    assert "ms apart: people heard" not in said


def test_without_another_box_the_coach_s_word_counts(floor):
    one, late = floor.world.boxes
    floor.world.run_for(50 * S)
    late.cut_power()
    late.power_up()
    floor.world.run_for(3 * S)
    assert "is in the class" in floor.do("join", "2", "--since-start", boxes=[late])
    now_us = floor.world.now_us()
    floor.world.run_for(60 * S)
    rung = [[b for b in box.sound.bells() if b > now_us] for box in (one, late)]
    assert max(abs(a - b) for a, b in zip(*rung, strict=True)) < 5_000


@pytest.mark.parametrize("gate_ms, state", [(-1, "play"), (35_000, "gate")])
def test_a_box_goes_where_it_is_told_and_its_log_says_so(tmp_path, gate_ms, state):
    data = timeline(spans)
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.arm([data], in_s=60)
        rig.ask("disarm")
        zero_ms = rig.world.clock.utc_us() // 1_000 - 12_000
        rig.ask("join", d=digest(data), zero_ms=zero_ms, gate_ms=gate_ms)
        status = rig.ask("status")
        assert status["state"] == state
        assert gate_ms in (-1, status["class_ms"])
        rig.box.cut_power()
        rig.box.power_up()
        rig.world.run_for(3 * S)
        run = rig.runs()[-1]
    assert [record[4][1] for record in of_kind(run, journal.STATE)] == [journal.BY_CLOCK]


@pytest.mark.parametrize("waits, stands_ms", [(False, 35_000), (True, 25_000)])
def test_a_gate_or_a_wait_since_the_class_was_seen_is_where_the_box_stands(
    tmp_path, waits, stands_ms
):
    data = timeline(spans)
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.arm([data], in_s=60)
        rig.ask("disarm")
        ago_ms = stands_ms + 1_000
        told = {"zero_ms": rig.world.clock.utc_us() // 1_000 - ago_ms, "gate_ms": -1}
        rig.ask("join", d=digest(data), from_ms=stands_ms - 500, waits=waits, **told)
        status = rig.ask("status")
        assert (status["state"], status["class_ms"]) == ("gate", stands_ms)


def test_a_wait_that_is_still_to_come_is_told_and_taken_over(tmp_path):
    data = timeline(spans)
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.arm([data], in_s=60)
        rig.ask("disarm")
        zero_ms = rig.world.clock.utc_us() // 1_000 - 12_000
        told = {"zero_ms": zero_ms, "gate_ms": -1, "from_ms": 11_000, "waits": True}
        rig.ask("join", d=digest(data), **told)
        status = rig.ask("status")
        assert (status["state"], status["waits"], status["led"]) == ("play", True, False)
        rig.world.run_for(20 * S)
        status = rig.ask("status")
        assert (status["state"], status["class_ms"]) == ("gate", 25_000)


def test_a_class_that_is_over_takes_nobody_in(tmp_path):
    data = timeline(spans)
    with Rig(tmp_path) as rig:
        rig.send([data])
        rig.arm([data], in_s=60)
        rig.ask("disarm")
        for ago_ms in (900_000, -5_000):
            zero_ms = rig.world.clock.utc_us() // 1_000 - ago_ms
            with pytest.raises(BoxError) as caught:
                rig.ask("join", d=digest(data), zero_ms=zero_ms, gate_ms=-1)
            assert caught.value.code == faults.TOO_LATE
        assert rig.ask("status")["state"] == "ready"
        assert len(rig.runs()) == 1  # of the start that was taken back


@pytest.mark.parametrize("floor", [True], indirect=True)
def test_a_box_put_in_after_a_long_wait_at_a_gate_is_in_that_class(floor):
    """What its log knows of the start is later by all that the class stood."""
    one, late = floor.world.boxes
    floor.world.run_for(200 * S)  # to the gate
    late.cut_power()
    floor.world.run_for(30 * 60 * S)  # much longer than the plan
    late.power_up()
    floor.world.run_for(5 * S)
    assert "stands where the others do" in floor.do("join", "2")
    held_us = floor.world.now_us() + 3 * S
    one.press(0, held_us, hold_ms=1_800)
    late.press(0, held_us + 200_000, hold_ms=1_800)
    floor.world.run_for(200 * S)
    floor.do("collect")
    listed = floor.do("report", "--list", boxes=())
    assert "Evening, 2 boxes" in listed and listed.count("Evening") == 1
    assert "out of step" not in floor.do("report", boxes=())


def test_what_a_box_played_alone_before_is_no_part_of_the_class_it_is_put_into(floor):
    one, late = floor.world.boxes
    floor.do("arm", "--cancel")
    start_by_hand(late, floor.world.now_us() + 5 * S)
    floor.world.run_for(60 * S)
    floor.do("arm", "--in", "20s", "--without", "2", boxes=(one,))
    late.cut_power()
    late.power_up()
    floor.world.run_for(40 * S)
    assert "is in the class" in floor.do("join", "2")
    floor.world.run_for(200 * S)
    floor.do("collect")
    listed = floor.do("report", "--list", boxes=())
    assert "Evening, 2 boxes" in listed and "Evening, 1 box" in listed
