"""A firmware on trial: one that runs and answers stays, any other brings back the one before."""

import contextlib
import shutil
import textwrap

import pytest
from troubled import two_windows

from handbell.base.errors import HandbellError
from handbell.boxes.link.connection import Connection
from handbell.virtual.spec import firmware_root
from rig import Rig, timeline

pytestmark = pytest.mark.usefixtures("micropython")

# A board as ``prepare`` leaves it: the old firmware active, the new one on trial. Both folders hold
# ``begin`` alone and take the rest from where the box finds it.
MAIN = """
import os
def made(name, text):
    with open(name, "w") as f:
        f.write(text)
if "fw_a" not in os.listdir():
    for folder, text in {folders!r}.items():
        os.mkdir(folder)
        made(folder + "/begin.py", text)
    made("active", "fw_a")
    made("trial", {trial!r})
execfile({main!r})
"""


def on_trial(folder, trouble="", first="", trial="fw_b2", old_first=""):
    """Return a firmware whose box has ``old`` active and ``new``, with its trouble, on trial."""
    copy = folder / "on-trial"
    shutil.copytree(firmware_root(), copy, ignore=shutil.ignore_patterns("__pycache__"))
    begin = (copy / "begin.py").read_text(encoding="utf-8")
    named = {name: f"import box\nbox.FIRMWARE = {name!r}\n" for name in ("old", "new")}
    folders = {
        "fw_a": old_first + named["old"] + begin,
        "fw_b": first + named["new"] + begin + textwrap.dedent(trouble),
    }
    main = str(firmware_root() / "main.py")
    text = MAIN.format(folders=folders, trial=trial, main=main)
    (copy / "main.py").write_text(text, encoding="utf-8")
    return copy


def runs_as(rig):
    """Ask once, in a session of its own: nobody learns that the answer was heard."""
    hello = rig.ask_once("hello")
    return hello["fw"], hello.get("trial", False), hello["folder"]


class TrialRig(Rig):
    def ask_once(self, do):
        with Connection(self.box.url, self.world.clock) as connection:
            return connection.request(do, tries=60)

    def hear(self):
        """Ask twice in one session, as whoever heard the first answer."""
        with self.connect() as connection:
            connection.request("status")


def power_cycle(rig, for_us=1_000_000):
    rig.box.cut_power()
    rig.box.power_up()
    rig.world.run_for(for_us)


def test_a_firmware_that_runs_and_is_heard_stays(tmp_path):
    with TrialRig(tmp_path, firmware=on_trial(tmp_path)) as rig:
        assert runs_as(rig) == ("new", True, "fw_b")
        rig.hear()
        rig.world.run_for(6_000_000)
        assert runs_as(rig) == ("new", False, "fw_b")
        rig.world.run_for(120_000_000)
        for _ in range(4):
            power_cycle(rig)
            assert runs_as(rig) == ("new", False, "fw_b")


def test_a_firmware_that_is_heard_and_at_once_cut_off_is_tried_again(tmp_path):
    with TrialRig(tmp_path, firmware=on_trial(tmp_path)) as rig:
        rig.world.run_for(1_000_000)
        power_cycle(rig)
        assert runs_as(rig) == ("new", True, "fw_b")
        rig.hear()
        rig.world.run_for(6_000_000)
        power_cycle(rig)
        assert runs_as(rig) == ("new", False, "fw_b")


def test_a_firmware_that_nobody_heard_is_left_after_its_starts(tmp_path):
    with TrialRig(tmp_path, firmware=on_trial(tmp_path)) as rig:
        rig.box.unplug()
        rig.world.run_for(100_000_000)
        rig.box.plug_in()
        assert runs_as(rig) == ("old", False, "fw_a")
        assert rig.ask_once("status")["fault"] == 0


@pytest.mark.parametrize(
    "trouble, said",
    [
        ("def main():\n    raise ValueError('of the new one')", "ValueError: of the new one"),
        ("import nowhere", "ImportError: no module named 'nowhere'"),
        ("raise MemoryError('none left')", "MemoryError: none left"),
        ("def App(board):\n    raise OSError(5)", "OSError: [Errno 5] EIO"),
    ],
)
def test_a_firmware_that_fails_as_it_starts_brings_the_old_one_back_at_once(
    trouble, said, tmp_path
):
    with TrialRig(tmp_path, firmware=on_trial(tmp_path, trouble)) as rig:
        rig.world.run_for(4_000_000)
        assert runs_as(rig) == ("old", False, "fw_a")
        assert rig.ask_once("status")["erred"] == f"fw_b on trial: {said}"
        rig.world.run_for(60_000_000)
        power_cycle(rig)
        assert runs_as(rig) == ("old", False, "fw_a")


HANGS = """
    def main():
        import time
        while True:
            time.sleep_ms(100)
"""
HANGS_IN_IMPORT = """
    import time
    while True:
        time.sleep_ms(100)
"""
DEAF = """
    from box.link import Link
    def waits(self):
        return False
    Link.waits = waits
"""
DUMB = """
    from box.link import Link
    def send(self, message):
        return False
    Link.send = send
"""
LATE = """
    from box.app import App
    def turn(self):
        import time
        return time.ticks_add(time.ticks_us(), 100_000)
    App.turn = turn
"""


@pytest.mark.parametrize("trouble", [HANGS, HANGS_IN_IMPORT, DEAF, DUMB, LATE])
def test_a_firmware_that_hangs_or_can_t_be_heard_brings_the_old_one_back(trouble, tmp_path):
    with TrialRig(tmp_path, firmware=on_trial(tmp_path, trouble)) as rig:
        with contextlib.suppress(HandbellError):
            rig.hear()
        rig.world.run_for(100_000_000)
        assert runs_as(rig) == ("old", False, "fw_a")


def test_a_class_begun_on_trial_is_not_cut_off(tmp_path):
    data = timeline(two_windows)
    with TrialRig(tmp_path, firmware=on_trial(tmp_path)) as rig:
        rig.send([data])
        rig.world.run_for(6_000_000)
        start = rig.arm([data])
        rig.world.run_to(start + 70_000_000)
        assert rig.ask("hello")["boot"] == 1
        assert rig.ask("status")["fault"] == 0


@pytest.mark.parametrize("trial", ["fw_b0", "fw_a2", "fw_c2", "fw_b", "fw_b9", "", "\x00\x01"])
def test_what_names_no_trial_starts_the_active_one(trial, tmp_path):
    with TrialRig(tmp_path, firmware=on_trial(tmp_path, trial=trial)) as rig:
        assert runs_as(rig) == ("old", False, "fw_a")


NOT_WHOLE = "import sys\nsys.modules['box.app'] = None\n"


def test_a_firmware_that_is_not_whole_is_passed_over_for_the_other(tmp_path):
    firmware = on_trial(tmp_path, trial="", old_first=NOT_WHOLE)
    with TrialRig(tmp_path, firmware=firmware) as rig:
        assert runs_as(rig) == ("new", False, "fw_b")
        assert rig.ask_once("status")["state"] == "empty"


def test_where_neither_is_whole_one_answers_all_the_same(tmp_path):
    firmware = on_trial(tmp_path, trial="fw_b2", first=NOT_WHOLE, old_first=NOT_WHOLE)
    with TrialRig(tmp_path, firmware=firmware) as rig:
        rig.world.run_for(10_000_000)
        assert runs_as(rig) == ("new", False, "fw_b")
        assert rig.ask_once("status")["state"] == "broken"
