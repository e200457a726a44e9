"""What came of a class, an athlete's months, the group's weeks; and which classes there are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from handbell.report import class_report
from handbell.report.one_class.model import ClassReport
from handbell.report.over_time.athlete import WEEKS as ATHLETE_WEEKS
from handbell.report.over_time.athlete import AthleteReport, athlete_report
from handbell.report.over_time.group import WEEKS as GROUP_WEEKS
from handbell.report.over_time.group import group_report
from handbell.report.over_time.group_model import GroupReport
from handbell.report.page import Report, write_page
from handbell.store import Store, open_store
from handbell.store.classes import joining
from handbell.store.classes.newest import PassedOver, newest
from handbell.store.results.queries import list_classes
from handbell.store.results.records import ClassRow

from .stored import store_if_there


@dataclass(frozen=True)
class Classes:
    """The classes that a store has."""

    classes: tuple[ClassRow, ...]


@dataclass(frozen=True)
class Reported:
    """A report, and the page it was written to, None without one.

    ``until`` is the last class that is shown, ``passed_over`` are newer ones without a clock that
    may be of another. ``doubts`` are sentences on what is not known of the logs of a class that was
    asked for.
    """

    report: ClassReport | AthleteReport | GroupReport
    page: str | None
    until: int
    passed_over: tuple[PassedOver, ...] = ()
    doubts: tuple[str, ...] = ()


def classes(store_at: str | None = None) -> Classes:
    """Return the classes in the store, none where the usual one is not there yet."""
    store = store_if_there(store_at)
    if store is None:
        return Classes(())
    with store:
        return Classes(tuple(list_classes(store)))


def report_class(
    class_id: int | None = None,
    page: Path | None = None,
    store_at: str | None = None,
    *,
    with_list: bool = False,
) -> Reported:
    """Report on a class, without an id the newest; raises StoreError when there is none.

    A log without a clock, alone, does not hide the class that it may be of.
    """
    with open_store(store_at, make=False) as store:
        number, passed_over = _shown(store, class_id)
        report = class_report(store, number)
        doubts = () if class_id is None else tuple(joining.doubts_of(store, number))
    return replace(_reported(report, page, number, passed_over, with_list), doubts=doubts)


def report_athlete(
    who: str,
    until: int | None = None,
    weeks: int | None = None,
    page: Path | None = None,
    store_at: str | None = None,
) -> Reported:
    """Report on one person's months up to a class, by name or by the bib worn last."""
    with open_store(store_at, make=False) as store:
        number, passed_over = _shown(store, until)
        report = athlete_report(store, who, number, weeks or ATHLETE_WEEKS)
    return _reported(report, page, number, passed_over)


def report_group(
    until: int | None = None,
    weeks: int | None = None,
    page: Path | None = None,
    store_at: str | None = None,
    *,
    with_list: bool = False,
) -> Reported:
    """Report on everybody's weeks up to a class, the newest without an id."""
    with open_store(store_at, make=False) as store:
        number, passed_over = _shown(store, until)
        report = group_report(store, number, weeks or GROUP_WEEKS)
    return _reported(report, page, number, passed_over, with_list)


def _shown(store: Store, class_id: int | None) -> tuple[int, tuple[PassedOver, ...]]:
    return newest(store) if class_id is None else (class_id, ())


def _reported(
    report: Report,
    page: Path | None,
    until: int,
    passed_over: tuple[PassedOver, ...],
    with_list: bool = False,
) -> Reported:
    if page is not None:
        write_page(report, page, with_list=with_list)
    return Reported(report, None if page is None else str(page), until, passed_over)
