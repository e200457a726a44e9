"""Counts of boxes that were elsewhere than the class: people may have done what the others did."""

from __future__ import annotations

from collections.abc import Mapping

from handbell.base.times import whole_clock
from handbell.store.logs.courses import Course
from handbell_core import timeline as t

from ..past.history import PastClass
from ..past.steps import WORD_MS, Astray, strays
from .finding import CLASS_WIDE, OFF_REMOTE, Finding

TO_END_MS = 1 << 31


def off_remote(past: PastClass, courses: Mapping[int, Course]) -> list[Finding]:
    """Return what boxes counted while they did not follow the remote, ``courses`` by run.

    What an act took back since is none of it.
    """
    if not any(course.acts for course in courses.values()):
        return []
    runs = {run.id: run for run in past.record.runs}
    slot_ms = max((run.timeline.slot_ms for run in runs.values()), default=0)
    found = []
    for stray in strays(courses, slot_ms):
        since_ms, until_ms = _counted(stray, courses[stray.run])
        run = runs[stray.run]
        bibs = {
            bib
            for window in run.timeline.windows.values()
            if window.tap != t.TAP_NONE and since_ms < window.end_ms and window.start_ms < until_ms
            for bib in window.bibs
        } - {0}
        if bibs and since_ms < until_ms:
            words = (
                f"the box of station {run.station} did not follow the remote from "
                f"{whole_clock(since_ms)} of the class on"
            )
            bibs_told = tuple(sorted(bibs))
            found.append(
                Finding(
                    OFF_REMOTE,
                    bibs_told,
                    run.station,
                    CLASS_WIDE,
                    words,
                    (run.id,),
                    until_ms,
                    since_ms,
                )
            )
    return found


def _counted(stray: Astray, course: Course) -> tuple[int, int]:
    """Return from and to which ``class_ms`` a box counted elsewhere, as far as it still holds."""
    at = course.at(stray.since_ms)
    since_ms = 0 if at is None else at.class_ms_at(stray.since_ms)
    # By clocks that differ a little it may take the act that ends it before the others do.
    back = [
        act
        for act in course.acts
        if act.utc_ms is not None and act.utc_ms >= stray.until_ms - WORD_MS
    ]
    if not back:  # it never came back to them
        return since_ms, TO_END_MS
    last = course.at(min(stray.until_ms, back[0].utc_ms or 0) - 1)
    until_ms = 0 if last is None else last.class_ms_at(stray.until_ms)
    return since_ms, min([until_ms, *(act.class_ms for act in back)])
