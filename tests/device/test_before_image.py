"""Before an image is put on a box its logs come home, from the firmware itself into a store."""

import pytest

from handbell.base.errors import BoxError
from handbell.boxes.firmware.flashing import bring_home
from handbell.store import open_store
from made import lead_in, window
from rig import Rig, timeline

pytestmark = pytest.mark.usefixtures("micropython")


def test_logs_come_home_and_a_class_under_way_is_not_touched(tmp_path):
    data = timeline(lambda: [lead_in(5_000), window(20_000)])
    store_path = str(tmp_path / "store.sqlite")
    with Rig(tmp_path) as rig, open_store(store_path) as store:
        rig.send([data])
        start = rig.arm([data])
        rig.box.press(0, start + 7_000_000)
        rig.world.run_to(start + 10_000_000)
        with pytest.raises(BoxError, match=r"class"):
            bring_home(rig.box.url, rig.world.clock, store)
        rig.world.run_to(start + 120_000_000)
        assert bring_home(rig.box.url, rig.world.clock, store) == 1
        assert rig.ask("status")["runs"] == 0
        assert bring_home(rig.box.url, rig.world.clock, store) == 0
