"""Compiling: a plan into one timeline for each box, and a timetable for people."""

from handbell.compile.build import BoxTimeline, CompiledClass, Totals, build

__all__ = ["BoxTimeline", "CompiledClass", "Totals", "build"]
