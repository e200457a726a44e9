"""The tests in ``both/`` again, under real MicroPython."""

import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware"
MODULES = sorted(path.stem for path in (HERE / "both").glob("test_*.py"))


@pytest.mark.parametrize("module", MODULES)
def test_core_on_micropython(module, micropython):
    done = subprocess.run(
        [*micropython, str(HERE / "run_on_micropython.py"), module],
        env={"MICROPYPATH": f"{HERE / 'both'}:{FIRMWARE}"},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "passed 0" not in done.stdout
