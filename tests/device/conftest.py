"""``--inlined`` plays these tests on the firmware as boards get it: constants in, names short."""

from pathlib import Path

import pytest
from inlined import inlined_tree

HERE = Path(__file__).parent


def pytest_addoption(parser):
    parser.addoption(
        "--inlined", action="store_true", help="virtual boxes run what prepare would compile"
    )


@pytest.fixture(autouse=True, scope="session")
def as_boards_get_it(pytestconfig, tmp_path_factory):
    if not pytestconfig.getoption("--inlined", default=False):
        yield
        return
    tree = inlined_tree(tmp_path_factory.mktemp("inlined"), HERE, HERE.parent / "core")
    with pytest.MonkeyPatch.context() as patch:
        for module in ("handbell.virtual.spec", "handbell.virtual.box", "troubled"):
            patch.setattr(f"{module}.firmware_root", lambda: tree)
        yield
