"""What a report says of a box whose power failed in class: real firmware, its own journal."""

import pytest
from test_keeper import rejoined

from handbell.boxes.classes.collect import collect
from handbell.report import class_report
from handbell.store import open_store

pytestmark = pytest.mark.usefixtures("micropython")


def test_a_window_with_a_power_failure_is_or_more_and_no_fade(tmp_path):
    rig, start = rejoined(tmp_path, cut_s=14, off_s=2, taps=[6, 7, 8, 22, 23])
    with rig:
        rig.world.run_to(start + 200_000_000)
        for box in rig.world.boxes:
            box.plug_in()
        rig.world.run_for(1_000_000)
        with rig.fleet() as fleet, open_store(str(tmp_path / "s.sqlite")) as store:
            collect(fleet, store)
            found = class_report(store)
    first = next(row for row in found.exercises[0].rows if row.bib == 7)
    assert (first.cells[0].outcome, first.cells[0].reps) == ("partly", 5)
    assert first.fade_percent is None
    assert {box.log for box in found.boxes} == {"whole", "gaps"}
    assert any("without power from about" in words for words in found.odd)
    assert found.steps.in_step
