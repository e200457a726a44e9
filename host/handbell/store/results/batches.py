"""Batches: all the amendments of one saying, which are listed as one and taken back as one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from handbell.base.words import several

from .records import Amendment

T = TypeVar("T")


def batched(some: Iterable[T], batch: Callable[[T], str]) -> list[list[T]]:
    """Return things by their batch, in the order of the first of each."""
    found: dict[str, list[T]] = {}
    for one in some:
        found.setdefault(batch(one), []).append(one)
    return list(found.values())


def sayings_of(some: Iterable[Amendment]) -> list[list[Amendment]]:
    """Return amendments by the saying that they came of."""
    return batched(some, lambda a: a.batch)


def as_before(rows: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    """Return the batch of each amendment, by digest, where none was kept of it.

    Before there were batches one saying gave one value to one bib's windows, all at one
    microsecond; it is called by its least digest.
    """
    names = ("at_utc_us", "what", "bib", "value")
    found: dict[tuple[Any, ...], list[str]] = {}
    for row in rows:
        found.setdefault(tuple(row[name] for name in names), []).append(row["digest"])
    return {digest: min(same) for same in found.values() for digest in same}


def windows_words(places: Iterable[tuple[str, int, int]]) -> str:
    """Say which windows some are, by (exercise, round, window): what they have in common."""
    some = list(places)
    names = {exercise for exercise, _, _ in some}
    rounds = {number for _, number, _ in some}
    windows = {window for _, _, window in some}
    count = several(len(windows), "window")
    common = [next(iter(names))] if len(names) == 1 else []
    common += [f"round {min(rounds)}"] if len(rounds) == 1 else []
    span = f"{min(windows)} to {max(windows)}" if len(windows) > 1 else f"{min(windows)}"
    return ", ".join([*common, f"{count} ({span})"])


def exchanged(pairs: Iterable[tuple[int, int]]) -> tuple[int, int] | None:
    """Return the two bibs that a saying exchanged, of (planned, there) at each of its buttons."""
    found = set(pairs)
    if len(found) == 2 and {(b, a) for a, b in found} == found:
        one, other = sorted(found)[0]
        return one, other
    return None
