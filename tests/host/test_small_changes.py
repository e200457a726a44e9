"""The small changes of the firmware that tests must find; kept out of the suites that they run."""

import runpy
from pathlib import Path

ROOT = Path(__file__).parents[2]
FIRMWARE = ROOT / "firmware"
MUTANTS = runpy.run_path(str(ROOT / "tests" / "hall" / "mutants.py"))["MUTANTS"]


def test_every_small_change_can_be_made():
    assert len(MUTANTS) >= 40
    for one in MUTANTS:
        assert (FIRMWARE / one.file).read_text(encoding="utf-8").count(one.old) == 1, one.name
