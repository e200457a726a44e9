"""Fixtures of tests that run on every kind of store: a plugin, named by those tests."""

import pytest
from store_places import KINDS, new_place

from handbell.store import open_store


@pytest.fixture(params=KINDS)
def place(request, tmp_path) -> str:
    """The address of an empty store; a file, then on a server."""
    return new_place(request.param, tmp_path)


@pytest.fixture
def store(place):
    with open_store(place) as opened:
        yield opened
