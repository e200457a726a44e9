"""A line of progress for each box, on standard error."""

from __future__ import annotations

import sys
import threading
from types import TracebackType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import TaskID


def lines() -> Lines:
    """Return progress lines on standard error."""
    from handbell.cli.output import Out

    return Lines(Out(sys.stderr).console)


class Lines:
    """Progress lines, one a box: live on a terminal, silent elsewhere. A context manager."""

    def __init__(self, out: Console) -> None:
        from rich.progress import BarColumn, Progress, TextColumn

        self._live = out.is_terminal
        self._lock = threading.Lock()
        self._tasks: dict[str, TaskID] = {}
        self._progress = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(),
            TextColumn("{task.completed}/{task.total}"),
            console=out,
            disable=not self._live,
        )

    def __enter__(self) -> Lines:
        self._progress.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._progress.stop()

    def __call__(self, of: str, doing: str, done: int, total: int) -> None:
        """``of``, a box, has ``done`` of ``total`` steps of ``doing``."""
        with self._lock:
            key = f"{of} {doing}"
            if key not in self._tasks:
                self._tasks[key] = self._progress.add_task(f"{of}: {doing}", total=total)
            self._progress.update(self._tasks[key], completed=done, total=total)
