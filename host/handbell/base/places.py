"""Where things are: the folders Handbell keeps things in, and what the environment may name."""

from __future__ import annotations

import os
from pathlib import Path

DATA = "HANDBELL_DATA"
STORE = "HANDBELL_STORE"
PORTS = "HANDBELL_PORTS"
COACH = "HANDBELL_COACH"
BROWSER = "HANDBELL_BROWSER"
CLOCK = "HANDBELL_CLOCK"

VARIABLES = {
    DATA: "the folder for the store, the map of stations and half-done transfers",
    STORE: "the store: a file, or the address of a PostgreSQL server",
    PORTS: "addresses of boxes, separated by blanks, quoted as in a shell",
    COACH: "who amends counts: a name that stands beside each",
    BROWSER: "the browser that prints cards and pages as PDF",
    CLOCK: "the clock file of virtual boxes, which handbell virtual names",
}
"""Every variable that is read, with what it names."""


def named(variable: str) -> str:
    """Return what the environment says for one of ``VARIABLES``, "" for nothing."""
    assert variable in VARIABLES
    return os.environ.get(variable, "")


def data_folder() -> Path:
    """Return the folder for what is kept; it need not be there yet."""
    if named(DATA):
        return Path(named(DATA))
    from platformdirs import user_data_path

    return user_data_path("handbell")
