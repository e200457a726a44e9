"""Letting boxes show and sound their station."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from handbell.base.errors import HandbellError
from handbell.base.words import listed
from handbell.boxes.link.messages import Hello
from handbell.boxes.link.replies import RING

from .plugged_in import Stranger, open_fleet, strangers

END_OF_ID = 4  # letters that may stand for an id; fewer mean a station


@dataclass(frozen=True)
class Identified:
    """``rang`` are the labels of the boxes that do, ``failed`` sentences for those that don't."""

    ok: bool
    rang: tuple[str, ...]
    failed: tuple[str, ...]
    others: tuple[Stranger, ...]


def _meant(who: Hello, wanted: Collection[str]) -> bool:
    ends = [word.lower() for word in wanted if len(word) >= END_OF_ID]
    return str(who.station) in wanted or any(who.id.endswith(end) for end in ends)


def identify(wanted: Collection[str] = (), ports: list[str] | None = None) -> Identified:
    """Let boxes show and sound their station: all, or those that are meant.

    Meant are boxes by their station numbers and their ids, of which the end will do. Raises
    HandbellError when none of them answers.
    """
    with open_fleet(ports) as fleet:
        chosen = [c for c in fleet.connections if not wanted or _meant(c.who, wanted)]
        if not chosen and fleet.strangers:
            raise fleet.strangers[0].error or HandbellError("No box answers")
        if not chosen:
            raise HandbellError(f"No box answers to {listed(wanted)}", "See handbell boxes")
        outcomes = fleet.each(lambda c: c.ask(RING), chosen)
        others = strangers(fleet)
    rang = tuple(o.label for o in outcomes if o.error is None)
    failed = tuple(str(o.error) for o in outcomes if o.error is not None)
    return Identified(not failed and (bool(wanted) or not others), rang, failed, others)
