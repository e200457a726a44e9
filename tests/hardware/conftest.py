"""Puts the repository's root on the path, where the package ``hardware`` is."""

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
if str(ROOT) not in sys.path:
    sys.path.insert(0, str(ROOT))


@pytest.fixture(scope="session")
def data():
    from hardware.load import read

    return read()


@pytest.fixture(scope="session")
def box(data):
    from hardware.load import box_of

    return box_of(data)
