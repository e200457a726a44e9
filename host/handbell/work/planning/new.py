"""Writing a plan to start from."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from handbell.base.errors import UsageError
from handbell.base.words import quoted
from handbell.coach.starters.starter import NAMES, PLAIN, starter
from handbell.coach.writing.edit import write_plan
from handbell.compile import build
from handbell.plan.files import parse_plan

BOXES_MOST = 99
IN_SHORT = {"emom": "every-minute", "amrap": "as-many-rounds"}  # what the trade often writes


@dataclass(frozen=True)
class Started:
    """A plan that was written: its file, title, forms, and length."""

    written: str
    title: str
    formats: tuple[str, ...]
    slot_ms: int


def new(plan: Path, formats: Sequence[str] = (), boxes: int = 4, title: str = "") -> Started:
    """Write a plan with a block of each form, plain ones without; a file that is there stays.

    The title is made from the file's name unless told. Raises UsageError for a form or a number of
    boxes that can't be, PlanError for a title, HandbellError when the file can't be written.
    """
    formats = tuple(formats) or (PLAIN,)
    for name in formats:
        if name not in NAMES:
            raise UsageError(f"There is no form {quoted(name)}", _nearest(name))
    if not 1 <= boxes <= BOXES_MOST:
        raise UsageError(f"{boxes} boxes are too few or too many", f"Say 1 to {BOXES_MOST}")
    title = title or _title(plan)
    data = starter(title, formats, boxes, plan.name).encode()
    built = build(parse_plan(data, str(plan)))
    write_plan(plan, data, None)
    return Started(str(plan), title, formats, built.totals.slot_ms)


def _nearest(name: str) -> str:
    said = name.casefold()
    near = [IN_SHORT[said]] if said in IN_SHORT else difflib.get_close_matches(said, NAMES, 1)
    return f"The nearest is {near[0]}" if near else f"Name one of {', '.join(NAMES)}"


def _title(path: Path) -> str:
    seen = "".join(c for c in path.stem if c.isprintable())
    words = seen.replace("-", " ").replace("_", " ").strip()
    return words[:1].upper() + words[1:] or "Class"
