"""Who is where when: a class's windows by group and by station."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from handbell.compile import CompiledClass
from handbell.compile.timetable import Told, told
from handbell.plan.own_tasks import Own


@dataclass(frozen=True)
class Visit(Told):
    """A group's window: where it is and what it does there; ``station`` 0 when it waits.

    Without groups, ``group`` is the station's label.
    """

    class_ms: int
    duration_ms: int
    block: int
    round: int
    window: int
    group: str
    bibs: tuple[int, ...]
    station: int
    label: str
    what: str
    own: tuple[Own[str], ...] = ()


def visits(built: CompiledClass) -> list[Visit]:
    """Return every window of every group of a class, in the order of time, then of groups."""
    plan = built.plan
    labels = [timeline.label for timeline in built.timelines]
    numbers = {group.name: n for n, group in enumerate(plan.groups)}
    found: list[Visit] = []
    for s in built.schedule.windows():
        when = (s.start_ms, s.duration_ms, s.block, s.round, s.window)
        waiting = {group.name: group for group in plan.groups}
        for post in built.schedule.at(s):
            label = labels[post.station]
            there = [(plan.groups[g].name, plan.groups[g].bibs) for g in post.groups]
            for name, bibs in there if plan.groups else [(label, post.people)]:
                waiting.pop(name, None)
                tasks = told(post.exercise, s.round, bibs)
                where = (post.station + 1, label, tasks.most, tasks.own)
                found.append(Visit(*when, name, bibs, *where))
        found += [Visit(*when, g.name, g.bibs, 0, "", "") for g in waiting.values()]
    return sorted(found, key=lambda visit: (visit.window, numbers.get(visit.group, visit.station)))


def by_group(found: Iterable[Visit]) -> dict[str, list[Visit]]:
    """Return each group's visits, waits among them."""
    table: dict[str, list[Visit]] = {}
    for visit in found:
        table.setdefault(visit.group, []).append(visit)
    return table


def by_station(found: Iterable[Visit]) -> dict[str, list[Visit]]:
    """Return each station's visits, by its label; nobody waits at one."""
    table: dict[int, list[Visit]] = {}
    for visit in found:
        if visit.station:
            table.setdefault(visit.station, []).append(visit)
    return {rows[0].label: rows for _, rows in sorted(table.items())}
