"""Taking a class start back: asked for, and seen to be gone."""

from __future__ import annotations

from handbell.base.errors import BoxError, HandbellError
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet, Outcome
from handbell.boxes.link.replies import DISARM, STATUS, strange
from handbell_core import faults

from .session import Session


def take_back(
    fleet: Fleet, session: Session, boxes: list[Connection] | None = None
) -> list[Outcome[None]]:
    """Take a start back on these boxes, or on all; a class that runs goes on."""
    outcomes = fleet.each(_one, boxes)
    session.taken_back([o.who.id for o in outcomes if o.error is None])
    return outcomes


def undo(fleet: Fleet, boxes: list[Connection], why: str, session: Session | None) -> None:
    """Take a start back on all these boxes; raises HandbellError naming any that may still start.

    A box that refused to start may have done so when it was asked again, so all are asked.
    """
    outcomes = take_back(fleet, session, boxes) if session else fleet.each(_one, boxes)
    left = [o.label for o in outcomes if o.error is not None]
    if left:
        raise HandbellError(
            f"{why} But {', '.join(left)} may still start by itself",
            "Plug it in and run handbell arm --cancel",
        )


def _one(connection: Connection) -> None:
    try:
        connection.ask(DISARM)
    except BoxError as error:
        if error.code != faults.BUSY:
            raise
        raise BoxError(
            connection.label,
            "is in a class, which goes on",
            "Wait until it is over, or stop it at the box",
            faults.BUSY,
        ) from error
    if connection.ask(STATUS).state in ("set", "awaits"):
        raise strange(connection.label)
