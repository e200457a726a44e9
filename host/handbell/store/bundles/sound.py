"""Whether the parts of a bundle are what its list says, and can be what boxes and coaches made."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from handbell.base.digest import short_hex
from handbell.store.logs import journals, timelines
from handbell.store.results.settle import NAME
from handbell_core import timeline as t

from . import limits
from .packed import Parts

Told = Mapping[str, Any]
_ASKS, _TAPS = len(t.ASKS), len(t.TAPS)


def check_parts(told: Told, parts: Parts) -> None:
    """See that each part can be read and fits the list; raises ValueError, StoreError,
    UnreadableError.
    """
    _check_names(told, parts)
    growth = sum(_check_plan(one, parts) for one in told["plans"])
    growth += sum(_check_timeline(one, parts) for one in told["timelines"])
    growth += sum(_check_log(one, parts) for one in told["runs"])
    if growth > limits.GROWTH_FREE + limits.GROWTH_RATIO * parts.size:
        raise ValueError(f"of its {parts.size:,} bytes {growth:,} would come")
    _check_said(told, parts)


def _check_names(told: Told, parts: Parts) -> None:
    """See that the list and the file have the same parts, each once, and refer to no others."""
    if parts.names() != told["parts"].keys():
        raise ValueError("its parts are not those of its list")
    named = {f"logs/{one['digest']}" for one in told["runs"]}
    named |= {f"timelines/{one['digest']}" for one in told["timelines"]}
    plans = {f"plans/{one['digest']}.toml": bool(one["text"]) for one in told["plans"]}
    lacking = (named | {name for name, is_in in plans.items() if is_in}) - parts.names()
    if lacking:
        raise ValueError(f"{min(lacking)} is not in it")
    if not parts.names() <= named | plans.keys():
        raise ValueError("its list does not tell of all its parts")
    for table in ("plans", "timelines", "runs", "amendments"):
        if len({one["digest"] for one in told[table]}) != len(told[table]):
            raise ValueError(f"one of its {table} is in it twice")
    if not {one["plan"] for one in told["timelines"]} <= {one["digest"] for one in told["plans"]}:
        raise ValueError("a plan of its timelines is not in it")
    logs = {one["digest"] for one in told["runs"]}
    if not {one["class"] for one in told["runs"]} <= {*logs, None}:
        raise ValueError("the class of one of its logs is not in it")
    sent = {one["digest"] for one in told["timelines"]}
    if not {one["timeline"] for one in told["runs"]} <= sent:
        raise ValueError("the timeline of one of its logs is not in it")


def _check_plan(one: Told, parts: Parts) -> int:
    """See that a plan's text is one; return the bytes that it takes in a store."""
    name = f"plans/{one['digest']}.toml"
    if name not in parts.names():
        return 0
    words = parts[name]
    if short_hex(words) != one["digest"] and not one["altered"]:
        raise ValueError(f"plan {one['digest']} is another one")
    if b"\0" in words:
        raise ValueError(f"plan {one['digest']} is no text")
    return len(words)


def _check_timeline(one: Told, parts: Parts) -> int:
    """See that a timeline is one that a plan can come to; return the bytes it takes in a store."""
    data = parts[f"timelines/{one['digest']}"]
    found = timelines.decode(data)
    if found.digest != one["digest"] and not one["altered"]:
        raise ValueError(f"timeline {one['digest']} is another one")
    if found.plan != one["plan"]:
        raise ValueError(f"timeline {one['digest']} is of another plan than its list says")
    why = _odd_texts(data) or _odd_windows(found)
    if why:
        raise ValueError(f"timeline {one['digest']} has {why}")
    rows = timelines.task_rows(found, one["digest"])
    if len(rows) > limits.TASKS_MOST:
        raise ValueError(f"timeline {one['digest']} asks for too much")
    words = sum(len(str(row[-1])) + len(str(row[-2])) for row in rows)
    return len(data) + limits.ROW_BYTES * len(rows) + words


def _odd_texts(data: bytes) -> str:
    strings = t.Head.unpack(data[: t.HEADER_SIZE]).strings
    at = struct.unpack_from(f"<{strings + 1}I", data, t.HEADER_SIZE)
    if any(not 0 <= end - begin <= limits.TEXT_MOST for begin, end in pairwise(at)):
        return "texts that can't be"
    return ""


def _odd_windows(found: timelines.Timeline) -> str:
    """Say what is wrong with windows that no plan comes to: they would break what reads them."""
    before_ms = 0
    for number, window in sorted(found.windows.items()):
        tasks = [(window.ask, window.tap, window.every)]
        tasks += [(own.ask, own.tap, own.every) for own in window.own if own is not None]
        if any(ask >= _ASKS or tap >= _TAPS or every < 1 for ask, tap, every in tasks):
            return f"a window {number} that asks for what can't be"
        if window.start_ms < before_ms or window.end_ms > limits.TIMELINE_MS_MOST:
            return f"a window {number} at a time that can't be"
        before_ms = window.start_ms
    if max(found.slot_ms, found.total_ms) > limits.TIMELINE_MS_MOST:
        return "a length that can't be"
    return ""


def _check_log(one: Told, parts: Parts) -> int:
    """See that a log is what its row says; return about how many bytes it takes in a store."""
    data = parts[f"logs/{one['digest']}"]
    if short_hex(data) != one["digest"]:
        raise ValueError(f"log {one['digest']} is another one")
    played = journals.Played(one["timeline"], 0)
    if journals.read(data, played).timeline != one["timeline"]:
        raise ValueError(f"log {one['digest']} is of another timeline than its list says")
    return limits.LOG_GROWTH * len(data)


def _check_said(told: Told, parts: Parts) -> None:
    """See that amendments and names are of logs and windows that are there."""
    timeline_of = {one["digest"]: one["timeline"] for one in told["runs"]}
    for table in ("amendments", "wearers"):
        if not {one["log"] for one in told[table]} <= timeline_of.keys():
            raise ValueError(f"its {table} are of logs that are not in it")
    if any(set((one["logs"] or "").split()) - timeline_of.keys() for one in told["wearers"]):
        raise ValueError("its wearers are of logs that are not in it")
    of_timeline: dict[str, list[Told]] = {}
    for one in told["amendments"]:
        of_timeline.setdefault(timeline_of[one["log"]], []).append(one)
    for digest, some in of_timeline.items():
        windows = timelines.decode(parts[f"timelines/{digest}"]).windows
        if not all(_has_place(windows, one) for one in some):
            raise ValueError("its amendments are of windows that no log of it has")


def _has_place(windows: Mapping[int, timelines.Window], one: Told) -> bool:
    """Whether a log has the place that an amendment is of; a name's is the whole class."""
    if one["what"] == NAME:
        return bool(one["window"] == 0)
    window = windows.get(one["window"])
    return window is not None and any(window.bibs[one["slot"] :][:1])
