"""Long searches: how long they take is told while they run, and they can be stopped at any time."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable
from typing import TypeVar

from handbell.base.progress import Progress
from handbell.coach.solver import Stop

T = TypeVar("T")

SILENT_S = 1.0  # a search that is shorter needs no sign
TICK_S = 0.1
STOP_S = 10.0  # a search ends within some seconds; nobody is kept waiting for ever


def patiently(job: Callable[[], T], progress: Progress, of: str, doing: str, seconds: float) -> T:
    """Return what a job of searches returns, or raise what it raises; ``seconds`` it may need.

    What ``progress`` raises, and Ctrl-C, end the search at once.
    """
    found: list[T] = []
    failed: list[BaseException] = []
    stop = Stop()
    done = threading.Event()  # a join that Ctrl-C breaks takes the thread for ended

    def search() -> None:
        try:
            found.append(stop.within(job))
        except BaseException as error:
            failed.append(error)
        finally:
            done.set()

    began = time.monotonic()
    threading.Thread(target=search, daemon=True).start()
    try:
        while not done.wait(TICK_S):
            passed_s = time.monotonic() - began
            if passed_s >= SILENT_S:
                progress(of, doing, int(passed_s), max(int(seconds), int(passed_s)))
    except BaseException:
        end = time.monotonic() + STOP_S
        while not done.is_set() and time.monotonic() < end:
            with contextlib.suppress(KeyboardInterrupt):  # said once is enough
                stop()
                done.wait(TICK_S)
        raise
    if failed:
        raise failed[0]
    return found[0]
