"""The tests in ``both/`` again, under real MicroPython, and on the core as a board gets it."""

import subprocess
from pathlib import Path

import pytest
from inlined import inlined_tree
from runtimes import micropython_path

HERE = Path(__file__).parent
NEEDED = HERE / "both", HERE.parents[1] / "host/handbell/compile"  # what takes names from it
MODULES = sorted(path.stem for path in (HERE / "both").glob("test_*.py"))


def run(module, micropython, *first):
    done = subprocess.run(
        [*micropython, str(HERE / "run_on_micropython.py"), module],
        env={"MICROPYPATH": micropython_path(*first)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "passed 0" not in done.stdout


@pytest.mark.parametrize("module", MODULES)
def test_core_on_micropython(module, micropython):
    run(module, micropython)


@pytest.fixture(scope="session")
def tree(tmp_path_factory):
    return inlined_tree(tmp_path_factory.mktemp("inlined"), *NEEDED)


@pytest.mark.parametrize("module", MODULES)
def test_core_on_micropython_as_a_board_gets_it(module, micropython, tree):
    run(module, micropython, tree)
