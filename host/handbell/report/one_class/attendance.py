"""Who should have come to a class and who came: by presses, a coach's word and the roster."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handbell.analysis.summary import Person
from handbell.base.words import listed
from handbell.store.people.names import key_of
from handbell.store.people.roster import Athlete
from handbell.store.results.records import ClassRecord

from .odd import Named


@dataclass(frozen=True)
class AttendanceReport:
    """Everybody who should have come, each in one of the lists or among the ``came``.

    ``group`` is the roster's that the class was given to, "" where nobody said; ``missing`` are
    its people of whom the class has no bib. ``left_early`` came, too. A bib that nobody is named
    for and nobody pressed for is nobody's. ``sentence`` says it but who was absent, "" where no bib
    is named.
    """

    group: str
    expected: int
    came: int
    left_early: tuple[str, ...]
    never_pressed: tuple[str, ...]
    absent: tuple[str, ...]
    missing: tuple[str, ...]
    sentence: str


def attendance_report(
    record: ClassRecord, people: Sequence[Person], roster: Sequence[Athlete], named: Named
) -> AttendanceReport:
    """Work out a class's attendance."""
    wearers = record.wearers
    known = {bib for bib, worn in wearers.items() if worn.name}
    came = [p for p in people if not p.never_pressed]
    never = [p.bib for p in people if p.never_pressed and p.bib in known]
    absent = sorted(bib for bib, worn in wearers.items() if worn.absent and bib in known)
    here = {key_of(worn.name) for worn in wearers.values() if worn.name}
    group = record.row.group
    called = [a.called or a.name for a in roster if group and a.group == group]
    missing = [name for name in called if key_of(name) not in here]
    lists = {
        "left_early": tuple(named(p.bib) for p in came if p.left_after_ms is not None),
        "never_pressed": tuple(map(named, never)),
        "absent": tuple(map(named, absent)),
        "missing": tuple(missing),
    }
    expected = len(came) + len(never) + len(absent) + len(missing)
    return AttendanceReport(
        group=group,
        expected=expected,
        came=len(came),
        sentence=_sentence(group, expected, len(came), lists) if known or group else "",
        **lists,
    )


_WORDS = {
    "left_early": "maybe left early",
    "never_pressed": "never pressed",
    "missing": "without a bib in it",
}


def _sentence(group: str, expected: int, came: int, lists: dict[str, tuple[str, ...]]) -> str:
    who = f" of {group}" if group else ""
    others = [f"{words}: {listed(lists[kind])}" for kind, words in _WORDS.items() if lists[kind]]
    return f"{'; '.join([f'{came} of {expected}{who} came', *others])}."
