"""A part of a box can't be made: the box answers all the same, says why, and gives its logs out."""

import binascii

import pytest
from troubled import troubled, two_windows

from handbell.base.errors import BoxError
from handbell.boxes.classes.collect import collect
from handbell.cli.main import main
from handbell.store import open_store
from handbell_core import faults
from rig import Rig, timeline

pytestmark = pytest.mark.usefixtures("micropython")

PARTS = (
    *(
        "account.Account",
        "bus.Bus",
        "buttons.Buttons",
        "display.Display",
        "desk.Desk",
        "health.Health",
        "keeper.Keeper",
    ),
    *("log.Log", "loop.Loop", "power.Power", "requests.Requests", "screens.Facts"),
    *("session.Session", "sound.Sound", "storage.Storage", "trial.Trial", "trouble.Trouble"),
    "view.View",
)
BOARD = (
    "bus",
    "strip",
    "timer",
    "battery_mv",
    "sounders",
    "rtc_pin",
    "button",
    "captures",
    "display_reset",
)


def fails_in(part: str) -> str:
    module, name = part.split(".")
    return f"""
        from box.{module} import {name}
        def fails(self, *_):
            raise OSError(5)
        {name}.__init__ = fails
    """


def fails_on_board(name: str) -> str:
    return f"""
        def fails(*_):
            raise MemoryError("no room for it")
        BOARD.{name} = fails
    """


def assert_answers(rig, capsys):
    hello = rig.ask("hello")
    assert hello["id"] == rig.box.spec.unique_id.hex()
    status = rig.ask("status")
    assert (status["state"], status["fault"]) == ("broken", faults.FIRMWARE)
    assert "making the box: " in status["erred"]
    whole = b""
    while len(whole) < (said := rig.ask("erred", at=len(whole)))["n"]:
        whole += binascii.a2b_base64(said["b"])
    assert b"Error" in whole
    with pytest.raises(BoxError, match="met an error of its own"):
        rig.ask("ring")
    assert main(["boxes", "--port", rig.box.url]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "its firmware can't start" in said and "making the box" in said
    assert "handbell collect" in said and "Traceback" not in said


@pytest.mark.parametrize("part", PARTS)
def test_a_part_that_can_t_be_made_leaves_a_box_that_answers(part, tmp_path, capsys):
    with Rig(tmp_path, firmware=troubled(tmp_path, fails_in(part))) as rig:
        assert_answers(rig, capsys)


@pytest.mark.parametrize("name", BOARD)
def test_a_board_s_part_that_fails_leaves_a_box_that_answers(name, tmp_path, capsys):
    with Rig(tmp_path, firmware=troubled(tmp_path, fails_on_board(name))) as rig:
        assert_answers(rig, capsys)
        assert "no room for it" in rig.ask("status")["erred"]


def test_a_broken_board_file_leaves_a_box_that_answers(tmp_path, capsys):
    trouble = """
        App = BOARD = None
        broken = SyntaxError("invalid syntax")
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        assert_answers(rig, capsys)


def test_the_logs_of_a_box_that_can_t_start_come_home(tmp_path):
    trouble = """
        import os
        from box.view import View
        if "broken" in os.listdir():
            View.__init__ = None
        from box.requests import TABLE
        TABLE["break"] = lambda self, message: open("broken", "w").close()
    """
    data = timeline(two_windows)
    with (
        Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig,
        open_store(str(tmp_path / "store.db")) as store,
    ):
        rig.send([data])
        start = rig.arm([data])
        for at_s in (6, 7, 8):
            rig.box.press(0, start + at_s * 1_000_000)
        rig.world.run_to(start + 120_000_000)
        rig.ask("break")
        rig.box.cut_power()
        rig.box.power_up()
        assert rig.ask("status")["runs"] == 1
        with rig.fleet() as fleet:
            (outcome,) = collect(fleet, store)
        assert outcome.error is None and outcome.value.new == 1
        assert rig.ask("status")["runs"] == 0
        with pytest.raises(BoxError):
            rig.ask("arm", d="0" * 24, utc_ms=1)


def test_a_box_that_can_t_start_shows_it_and_leaves_for_nothing_but_the_prompt(tmp_path):
    trouble = """
        from box.sound import Sound
        def fails(self, *_):
            raise OSError(5)
        Sound.__init__ = fails
        whole = main
        def main():
            whole()
            while True:
                time.sleep_ms(1)
        import time
    """
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.world.run_for(120_000_000)
        dead = rig.box.screen.pixels()
        assert any(dead)
        lit = [any(colour) for colour in rig.box.light.colours]
        assert lit == [True, *[False] * 6, True]
        assert rig.ask("hello")["boot"] == 1, "it did not start again"
        rig.ask("yield")
        rig.world.run_for(2_000_000)
        assert rig.box.screen.pixels() not in (dead, bytes(len(dead)))


@pytest.mark.parametrize("module", ["app", "font", "session"])
def test_a_module_that_can_t_be_imported_leaves_a_box_that_answers(module, tmp_path, capsys):
    firmware = troubled(tmp_path, "")
    (firmware / "box" / f"{module}.py").unlink()
    with Rig(tmp_path, firmware=firmware) as rig:
        assert_answers(rig, capsys)
        assert f"no module named 'box.{module}'" in rig.ask("status")["erred"]
