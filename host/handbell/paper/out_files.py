"""Where the files of one command go."""

from __future__ import annotations

from pathlib import Path

from handbell.base.errors import UsageError


def require_apart(plan: Path, *outputs: Path | None) -> None:
    """Raise UsageError when files to write would take the place of the plan or of one another."""
    taken = {plan.resolve()}
    for path in filter(None, outputs):
        if path.resolve() in taken:
            raise UsageError(
                f"{path} would be written over",
                "Give every file a name of its own, and not the plan's",
            )
        taken.add(path.resolve())
