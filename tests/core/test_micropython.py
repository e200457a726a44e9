"""The tests in ``both/`` again, under real MicroPython."""

import subprocess
from pathlib import Path

import pytest
from runtimes import micropython_path

HERE = Path(__file__).parent
MODULES = sorted(path.stem for path in (HERE / "both").glob("test_*.py"))


@pytest.mark.parametrize("module", MODULES)
def test_core_on_micropython(module, micropython):
    done = subprocess.run(
        [*micropython, str(HERE / "run_on_micropython.py"), module],
        env={"MICROPYPATH": micropython_path()},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "passed 0" not in done.stdout
