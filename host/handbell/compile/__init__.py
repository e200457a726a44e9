"""Compiling: a plan resolved into a schedule, then a timeline for each box, a timetable for people.

``build`` does all of it; what only needs to know who is where when resolves a plan (``schedule``).
"""

from handbell.compile.build import BoxTimeline, CompiledClass, Totals, build

__all__ = ["BoxTimeline", "CompiledClass", "Totals", "build"]
