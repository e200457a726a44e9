"""Whether this computer's clock may be wrong: by the store's newest class, and by the boxes.

A class starts in step whatever the time of day is, but it starts when that clock says and gets its
date from it.
"""

from __future__ import annotations

from collections.abc import Iterable

from handbell.base.errors import StoreError
from handbell.base.times import date_of, span_words
from handbell.base.words import listed
from handbell.boxes.link.connection import Connection
from handbell.store import Store
from handbell.store.classes.newest import latest_start

HOUR_US = 3_600_000_000
LONG_US = 60 * 24 * HOUR_US  # a summer without classes is shorter


def doubts(store: Store | None, told: Iterable[Connection], now_us: int) -> list[str]:
    """Return why the clock that says ``now_us`` may be wrong, as sentences; none as a rule.

    ``told`` are boxes that were told the time just now.
    """
    return [words for words in (_by_store(store, now_us), _by_boxes(told, now_us)) if words]


def _by_store(store: Store | None, now_us: int) -> str:
    try:
        found = latest_start(store) if store is not None else None
    except StoreError:  # who needs the store says so
        return ""
    if found is None:
        return ""
    number, start_us = found
    now = f"this computer's clock says {date_of(now_us)}"
    if start_us - now_us > HOUR_US:
        return (
            f"{now}, but class {number} is dated {date_of(start_us)}. If the clock is wrong, set "
            "it and run the command again; if the class is, give it its date: handbell class "
            f"{number} --date"
        )
    if now_us - start_us > LONG_US:
        return (
            f"{now}, and the newest class in the store was on {date_of(start_us)}. If that was not "
            "so long ago, set the clock and run the command again"
        )
    return ""


def _by_boxes(told: Iterable[Connection], now_us: int) -> str:
    """Return by how much it differs from clocks that boxes had kept, "" where none does."""
    moved = {c.label: c.clock_moved_s for c in told if c.clock_moved_s}
    if not moved:
        return ""
    most_s = max(moved.values(), key=abs)
    return (
        f"this computer's clock says {date_of(now_us)}: {span_words(abs(most_s))} "
        f"{'later' if most_s > 0 else 'earlier'} than the clock of {listed(moved)} said. If the "
        "computer's is wrong, set it and run the command again"
    )
