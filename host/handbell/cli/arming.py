"""What ``arm`` tells of each box: ready or not, and how far its clock may be wrong in class."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timezone
from typing import TYPE_CHECKING, Any

from handbell.base.errors import StoreError
from handbell.cli.starts import Start, ahead_words

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.boxes.classes.arm import Forecast, Readiness
    from handbell.boxes.clocks.clock import Clocks
    from handbell.boxes.clocks.rate import Rate


@contextmanager
def known_clocks(url: str | None) -> Iterator[Clocks]:
    """Give clocks that keep their contacts in the store; without a store they forget them."""
    from handbell.boxes.clocks.clock import Clocks
    from handbell.store import open_store

    try:
        store = open_store(url)
    except StoreError as error:
        clocks = Clocks()
        clocks.trouble = str(error)
        yield clocks
        return
    with store:
        yield Clocks(store)


def rate_data(rate: Rate | None) -> dict[str, Any] | None:
    """Return a rate for machines."""
    if rate is None:
        return None
    return {
        "ppb": rate.ppb,
        "bound_ppb": rate.bound_ppb,
        "contacts": rate.contacts,
        "span_s": rate.span_s,
        "measured_utc_us": rate.utc_us,
    }


def arm_rows(table: list[Readiness], seen: Forecast) -> list[dict[str, Any]]:
    """Return a row a station."""
    return [
        {
            "station": row.station,
            "box": row.label,
            "ready": row.ready,
            "why": row.why,
            "bound_us": row.sync.bound_us if row.sync else None,
            "rate": rate_data(row.rate),
            "no_rate": row.found.why if row.rate is None else "",
            "odd": row.found.odd,
            "start_error_us": seen.start_us.get(row.station),
            "end_error_us": seen.end_us.get(row.station),
        }
        for row in table
    ]


def skew_data(seen: Forecast) -> dict[str, Any]:
    """Return the worst skew of the set, with what it means and what helps."""
    from handbell.boxes.clocks.skew import HEARD_US, floor_m, heard

    return {
        "start_us": seen.start_skew_us,
        "end_us": seen.end_skew_us,
        "end_floor_m": round(floor_m(seen.end_skew_us), 1),
        "heard": seen.end_skew_us > HEARD_US,
        "remark": heard(seen.end_skew_us),
        "cures": seen.cures,
    }


def print_rows(rows: list[dict[str, Any]], out: Console) -> None:
    """Print a line a station, and beneath it what is odd about its clock."""
    for row in rows:
        words = "ready" if row["ready"] else "not ready: " + "; ".join(row["why"])
        if row["end_error_us"] is not None:
            words += (
                f", clock within {row['start_error_us'] / 1000:.1f} ms at the start, "
                f"{row['end_error_us'] / 1000:.1f} ms at the end"
            )
            if row["rate"] is None:
                words += " (rate not known)"
        elif row["bound_us"]:
            words += f", clock within {row['bound_us'] / 1000:.1f} ms"
        out.print(f"station {row['station']}, {row['box']}: {words}", markup=False)
        for odd in row["odd"]:
            out.print(f"  note: {odd}", markup=False)


def print_skew(skew: dict[str, Any], boxes: int, out: Console) -> None:
    """Print the worst skew of the set."""
    if boxes < 2:
        return
    out.print(
        f"Boxes are at most {skew['start_us'] / 1000:.1f} ms apart at the start, "
        f"{skew['end_us'] / 1000:.1f} ms at the end."
    )
    if skew["heard"]:
        out.print(skew["remark"] + ".", markup=False)
        for cure in skew["cures"]:
            out.print(f"  {cure}.", markup=False)


def print_start(title: str, start: Start, now_us: int, out: Console) -> None:
    """Say when the class starts, and how far ahead that is: a wrong clock shows by it."""
    at = datetime.fromtimestamp(start.utc_ms / 1000, timezone.utc).astimezone()
    now = datetime.fromtimestamp(now_us / 1e6, timezone.utc).astimezone()
    day = "" if at.date() == now.date() else f" on {at:%A %d %B}"
    if start.words:
        out.print(start.words + ".", markup=False)
    ahead = ahead_words(max(0, start.utc_ms / 1000 - now_us / 1e6))
    out.print(
        f"{title} starts at {at:%H:%M:%S}{day}, {ahead}. You may unplug the boxes.", markup=False
    )
