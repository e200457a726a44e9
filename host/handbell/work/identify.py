"""Letting boxes show and sound their station."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from handbell.base.errors import HandbellError
from handbell.base.words import listed
from handbell.work.plugged_in import Stranger, open_fleet, strangers


@dataclass(frozen=True)
class Identified:
    """``rang`` are the labels of the boxes that do, ``failed`` sentences for those that don't."""

    ok: bool
    rang: tuple[str, ...]
    failed: tuple[str, ...]
    others: tuple[Stranger, ...]


def identify(wanted: Collection[str] = (), ports: list[str] | None = None) -> Identified:
    """Let boxes show and sound their station: those with these station numbers or ids, or all.

    Raises HandbellError when none of them answers.
    """
    with open_fleet(ports) as fleet:
        chosen = [
            c
            for c in fleet.connections
            if not wanted or str(c.facts["station"]) in wanted or c.facts["id"] in wanted
        ]
        if not chosen and fleet.strangers:
            raise fleet.strangers[0].error or HandbellError("No box answers")
        if not chosen:
            raise HandbellError(f"No box answers to {listed(wanted)}", "See handbell boxes")
        outcomes = fleet.each(lambda c: c.request("ring"), chosen)
        others = strangers(fleet)
    rang = tuple(o.label for o in outcomes if o.error is None)
    failed = tuple(str(o.error) for o in outcomes if o.error is not None)
    return Identified(not failed and (bool(wanted) or not others), rang, failed, others)
