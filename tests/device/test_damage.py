"""A file of a box is damaged: the others are still to be had, and a damaged plan can be replaced."""

import pytest
from troubled import troubled

from handbell.base.errors import HandbellError
from handbell_core import faults, journal
from made import lead_in, window
from rig import Rig, digest, of_kind, timeline

pytestmark = pytest.mark.usefixtures("micropython")

FLIP_A_BIT_ONCE = """
    import os
    try:
        names = [n for n in os.listdir("timelines") if n.endswith(".tl")]
    except OSError:
        names = []
    if names and "flipped" not in os.listdir():
        open("flipped", "w").close()
        with open("timelines/" + names[0], "rb") as f:
            data = bytearray(f.read())
        data[70] ^= 1
        with open("timelines/" + names[0], "wb") as f:
            f.write(data)
"""


def short():
    return [lead_in(5_000), window(10_000)]


@pytest.mark.parametrize("broken", ["digest", "size"])
def test_a_log_that_can_t_be_read_hides_none_of_the_others(tmp_path, broken):
    trouble = f"""
        from box.storage import Storage
        whole = Storage.{broken}
        def fails(self, path):
            if path.endswith("00002.hbj"):
                raise OSError(5)
            return whole(self, path)
        Storage.{broken} = fails
    """
    data = timeline(short)
    with Rig(tmp_path, firmware=troubled(tmp_path, trouble)) as rig:
        rig.send([data])
        for _ in range(3):
            start = rig.arm([data])
            rig.box.press(0, start + 6_000_000)
            rig.world.run_to(start + 60_000_000)
        listed = [rig.ask("list", of="runs", i=i) for i in range(3)]
        assert [entry["name"] for entry in listed] == ["00001.hbj", "00002.hbj", "00003.hbj"]
        assert [entry.get("bad") for entry in listed] == [None, 1, None]
        assert "d" not in listed[1]
        with rig.connect() as connection:
            for entry in listed[::2]:
                run = connection.fetch("runs", entry["name"], entry["size"])
                assert len(of_kind(run, journal.TAP)) == 1


def test_a_damaged_timeline_is_replaced_by_sending_it_again(tmp_path):
    data = timeline(short)
    with Rig(tmp_path, firmware=troubled(tmp_path, FLIP_A_BIT_ONCE)) as rig:
        rig.send([data])
        rig.box.cut_power()
        rig.box.power_up()
        status = rig.ask("status")
        assert (status["sel"], status["fault"]) == ("", faults.TIMELINE_BROKEN)
        rig.send([data])
        status = rig.ask("status")
        assert (status["sel"], status["fault"]) == (digest(data), 0)
        assert rig.ask("list", of="timelines", i=0)["n"] == 1
        start = rig.arm([data])
        rig.world.run_to(start + 60_000_000)
        assert len(rig.runs()) == 1


def test_a_timeline_that_is_not_there_is_not_called_damaged(tmp_path):
    data = timeline(short)
    with Rig(tmp_path) as rig:
        rig.send([data])
        with rig.connect() as connection, pytest.raises(HandbellError):
            connection.request("select", d="00" * 12)
        assert rig.ask("status")["fault"] == 0
