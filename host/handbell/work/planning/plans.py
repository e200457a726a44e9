"""What operations on a plan have in common: the class it becomes, and where a change is written."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import UsageError
from handbell.compile.build import CompiledClass, build
from handbell.plan.files import load_plan

if TYPE_CHECKING:
    from handbell.coach.library.shelf import Library
    from handbell.coach.writing.edit import PlanText
    from handbell.plan.model import Plan

CAUTION = (
    "Before hard exercise: a screening questionnaire for everybody, within the coach's own "
    "qualification and the local rules."
)


def compiled(plan: Path) -> CompiledClass:
    """Return a plan's class; raises PlanError."""
    return build(load_plan(plan))


def require_station(plan: Path, built: CompiledClass, station: int) -> None:
    """Raise UsageError when a class has no box of that station."""
    boxes = len(built.timelines)
    if not 1 <= station <= boxes:
        raise UsageError(
            f"{plan} has no box {station}",
            f"Name a station from 1 to {boxes}" if boxes > 1 else "It has one box, --box 1",
        )


def plan_text(plan: Path) -> tuple[PlanText, bytes]:
    """Return a plan whose text is to be changed, and its file's bytes; raises PlanError."""
    from handbell.coach.writing.edit import PlanText, read_plan

    data = read_plan(plan)
    return PlanText(data, str(plan)), data


def new_remarks(before: Plan, after: CompiledClass, library: Library) -> tuple[str, ...]:
    """Return what is worth knowing of a changed plan and was not of the plan as it was."""
    from handbell.coach.library.remarks import coach_remarks
    from handbell.compile.schedule import resolve
    from handbell.plan.remarks import remarks

    known = {*coach_remarks(resolve(before), library), *remarks(before)}
    told = (*remarks(after.plan), *coach_remarks(after.schedule, library))
    return tuple(words for words in told if words not in known)


def write_changed(
    plan: Path, before: bytes, after: bytes, write: bool, out: Path | None
) -> str | None:
    """Write a changed plan to ``out``, or with ``write`` to its own file; return where, if at all.

    Raises HandbellError when it can't be written, or the file has changed meanwhile.
    """
    from handbell.coach.writing.edit import write_plan

    path = out or (plan if write else None)
    if path is None:
        return None
    write_plan(path, after, None if out else before)
    return str(path)
