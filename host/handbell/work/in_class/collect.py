"""Collecting: the logs of finished classes, from the boxes into the store."""

from __future__ import annotations

from dataclasses import dataclass

from handbell.base.progress import Progress, no_progress
from handbell.boxes.classes.collect import Collected
from handbell.boxes.classes.collect import collect as collect_boxes
from handbell.boxes.classes.session import Session
from handbell.boxes.link.fleet import Outcome
from handbell.store import open_store
from handbell.store.classes import joining
from handbell.store.logs import salvage
from handbell.work.upkeep.plugged_in import Stranger, host_clock, open_fleet, strangers

from . import host_time


@dataclass(frozen=True)
class BoxCollected:
    """What came from one box.

    ``new`` of ``runs`` were not in the store, ``open`` are of a class that is not over, and
    ``starts_utc_ms`` is when it is set to begin, None if it has begun. What was set and taken back
    is no run; ``led`` counts new logs of a remote, which are of nobody. Sentences: ``kept`` are why
    logs were left on the box, ``unread`` why logs could not be read, which are in the store all the
    same; ``broken`` names logs that the box can't read.
    """

    ok: bool
    box: str
    port: str
    runs: int
    new: int
    led: int
    open: int
    starts_utc_ms: int | None
    notes: tuple[str, ...]
    kept: tuple[str, ...]
    broken: tuple[str, ...]
    unread: tuple[str, ...]
    why: str

    @property
    def said_any(self) -> bool:
        """Whether it told of its logs at all."""
        return not self.why or bool(self.runs or self.kept or self.broken or self.unread)


@dataclass(frozen=True)
class ClassCollected:
    """What came from all boxes; ``doubts`` are sentences about which class a log is of, and when.

    ``awaited`` are stations of the last class whose logs are still to come.
    """

    ok: bool
    boxes: tuple[BoxCollected, ...]
    doubts: tuple[str, ...]
    awaited: tuple[int, ...]
    others: tuple[Stranger, ...]


def collect(
    keep: bool = False,
    ports: list[str] | None = None,
    store_url: str | None = None,
    progress: Progress = no_progress,
) -> ClassCollected:
    """Collect every finished run of every box; with ``keep`` nothing is erased on them."""
    with open_fleet(ports) as fleet, open_store(store_url) as store:
        outcomes = collect_boxes(fleet, store, progress, keep=keep)
        got = [run for o in outcomes if o.value is not None for run in o.value.runs]
        unread = [log for o in outcomes if o.value is not None for log in o.value.unread]
        if unread:  # what came in since may tell
            some = [log for log in salvage.unread(store) if log.digest in unread]
            got += [one.run_id for one in salvage.try_again(store, some)]
            unread = [log.digest for log in salvage.unread(store) if log.digest in unread]
        clock = host_time.doubts(store, (), host_clock().utc_us()) if got else []
        doubts = (
            *joining.doubts(store, got),
            *(f"{words[0].upper()}{words[1:]}." for words in clock),
        )
        others = strangers(fleet)
    rows = tuple(_row(o, unread) for o in outcomes)
    done = [o.who.id for o in outcomes if o.error is None and o.value and not o.value.open]
    awaited = tuple(Session(host_clock().utc_us() // 1000).collected(done))
    fine = bool(rows) and not others and all(row.ok for row in rows)
    return ClassCollected(fine, rows, doubts, awaited, others)


def _row(outcome: Outcome[Collected], unread: list[str]) -> BoxCollected:
    got = outcome.value or Collected()
    still = tuple(why for log, why in got.unread.items() if log in unread)
    return BoxCollected(
        outcome.error is None and not (got.kept or got.broken or still),
        outcome.label,
        outcome.url,
        len(got.runs),
        got.new,
        got.led,
        got.open,
        got.starts_utc_ms,
        tuple(got.notes),
        tuple(got.kept),
        tuple(got.broken),
        still,
        str(outcome.error or ""),
    )
