"""What is odd about a class, each thing in one sentence that names the station or the bib."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from handbell.analysis.doubt.finding import (
    CLASS_WIDE,
    CLOCK_LOST,
    GROUP_DAY,
    OF_BOX,
    SIGNALS_MISSED,
    Finding,
)
from handbell.analysis.summary import Person
from handbell.base.times import seconds_of, whole_clock
from handbell.base.words import few, listed, quoted, several
from handbell.report.words import note_of
from handbell.store.people.names import key_of
from handbell.store.people.wearers import two_or_one
from handbell.store.results.effort import BROKEN, OR_MORE, Effort, Outcome
from handbell.store.results.efforts import told_twice
from handbell.store.results.records import ClassRecord, RunRow
from handbell_core import faults

Named = Callable[[int], str]

MOST_NAMED = 3  # so that a sentence stays a sentence
FINDINGS_SHOWN = 2  # of a sort and a person


def oddities(
    record: ClassRecord,
    efforts: Sequence[Effort],
    people: Sequence[Person],
    named: Named,
    steps: Sequence[str],
    findings: Sequence[Finding] = (),
    ended: Collection[int] = (),
) -> list[str]:
    """Return a sentence for each thing that a coach should know before trusting the numbers.

    ``steps`` are those on boxes that were out of step, ``findings`` what puts numbers in doubt. The
    runs ``ended`` were ended by a remote, which is said elsewhere.
    """
    labels = labels_of(record)
    return [
        *_stations(record),
        *steps,
        *(
            sentence
            for run in record.runs
            for sentence in _run(
                run, labels[run.id], record, _short(run, findings, named), run.id in ended
            )
        ),
        *_twice(record, named),
        *_names(record, people),
        *_bibs(record, named),
        *_tallies(efforts, named),
        *_found(record, findings, named),
    ]


def _found(record: ClassRecord, findings: Sequence[Finding], named: Named) -> list[str]:
    """Say whose taps look odd and how; what is odd about a box is said with the box."""
    labels = {run.station: label_of(run) for run in record.runs}
    found: dict[tuple[str, str], list[str]] = {}
    for f in findings:
        if f.name == GROUP_DAY:
            found.setdefault((f.name, ""), []).append(f.evidence)
        elif f.name not in (*OF_BOX, CLOCK_LOST):
            who = listed(map(named, f.bibs)) or labels.get(f.station, f"Station {f.station}")
            join = ": " if f.exercise == CLASS_WIDE else ", "
            found.setdefault((f.name, who), []).append(f"{who}{join}{f.evidence}")
    return [f"{'; '.join(few(some, FINDINGS_SHOWN))}." for some in found.values()]


def _stations(record: ClassRecord) -> list[str]:
    found = []
    there = [station for station, _ in {(run.station, run.box_id) for run in record.runs}]
    for station, label in record.stations.items():
        if station not in there:
            found.append(f"{label or f'Station {station}'} sent no log of this class.")
        elif there.count(station) > 1:
            found.append(f"{label} was played by {there.count(station)} boxes, one after another.")
    return found


def _run(run: RunRow, where: str, record: ClassRecord, short: str, ended: bool) -> list[str]:
    found = []
    if run.reason:
        since = _since(run, record) if "it has no end" in run.reason else ""
        what = "is cut" if run.state == "cut" else "has gaps"
        found.append(f"{where}: the log {what}: {run.reason}{since}.")
    if run.stopped and not ended:
        found.append(f"{where} was stopped at {whole_clock(run.end_class_ms)}.")
    if run.late_cues:
        worst_ms = run.worst_late_us / 1000
        bells = several(run.late_cues, "bell")
        found.append(f"{where}: {bells} came late, the worst by {worst_ms:.0f} ms.")
    noted = [note for note in record.notes if note.run == run.id]
    worst_us = max((note.value for note in noted if note.fault == faults.LATE_CUE), default=0)
    for note in noted:
        # A log with an end has told of all late bells already.
        if note.fault != faults.LATE_CUE or (note.value == worst_us and not run.late_cues):
            doubt = short if note.fault == faults.EDGES_LOST else ""
            found.append(f"{where}: {note.words or note_of(note.fault, note.value)}{doubt}.")
    return found


def _since(run: RunRow, record: ClassRecord) -> str:
    """Say what is known of the time after a log broke off: another log of the station may tell."""
    at = whole_clock(run.end_class_ms)
    for other in record.runs:
        if other.station == run.station and other.end_class_ms > run.end_class_ms:
            which = "its other log" if other.box_id == run.box_id else f"box {other.box_id[-4:]}"
            return f"; after {at} of the class {which} tells what is known"
    return f"; after {at} of the class nothing is known"


def _short(run: RunRow, findings: Sequence[Finding], named: Named) -> str:
    """Return whose counts a box may have told too low, "" if nobody's."""
    for finding in findings:
        if finding.name == SIGNALS_MISSED and run.id in finding.runs:
            who = listed(few([named(bib) for bib in finding.bibs], MOST_NAMED))
            return f"; what it counted of {who} may be short and is in doubt"
    return ""


def label_of(run: RunRow) -> str:
    """Return what a run's station is called."""
    return run.timeline.label or f"Station {run.station}"


def labels_of(record: ClassRecord) -> dict[int, str]:
    """Return what each run's box is called: its station, and where there are two, which box."""
    names = [label_of(run) for run in record.runs]
    return {
        run.id: f"{name} (box {run.box_id[-4:]})" if names.count(name) > 1 else name
        for run, name in zip(record.runs, names, strict=True)
    }


def _twice(record: ClassRecord, named: Named) -> list[str]:
    """Say where two logs of a station have other counts of one window, and which one is taken."""
    runs = {run.id: run for run in record.runs}
    absent = {w.bib for w in record.wearers.values() if w.absent}
    found: dict[tuple[str, str], dict[int, list[tuple[str, str]]]] = {}
    for taken, *others in told_twice(record):
        mine = runs[taken.run]
        for other in others:
            yours = runs[other.run]
            ends = sorted({mine.box_id[-4:], yours.box_id[-4:]})
            untouched = mine.box_id != yours.box_id and not other.pressed  # a spare that hung there
            why, said = _taken(taken, other)
            if taken.bib in absent or untouched or not said:
                continue
            whose = f"two logs of box {ends[0]}" if len(ends) == 1 else f"boxes {listed(ends)}"
            where = f"{named(taken.bib)}, {taken.name}, round {taken.round}"
            of_two = found.setdefault((label_of(mine), whose), {})
            of_two.setdefault(taken.bib, []).append((why, f"{where}: {said}"))
    sentences = []
    for (label, whose), by_bib in found.items():
        all_ = [one for some in by_bib.values() for one in some]
        why = ". ".join(
            dict.fromkeys(why for why, _ in sorted(all_, key=lambda a: _WHY.index(a[0])))
        )
        some = [said for _, said in all_]
        bibs = f"{min(by_bib)}" if len(by_bib) == 1 else "BIB"
        sentences.append(
            f"{label}: {whose} tell of the same windows. {why}, never the sum: "
            f"{'; '.join(few(some, MOST_NAMED))}. If you know better: handbell"
            f" amend {record.row.id} --bib {bibs}"
        )
    return sentences


_WHY = (
    "What was corrected is taken",
    "The fuller count is taken",
    "Of two holds the longer is taken",
    "Of equal counts the one reached first is taken",
)


def _taken(taken: Effort, other: Effort) -> tuple[str, str]:
    """Return why one of two is taken and how they differ, "" where they tell the same."""
    mine, yours = _told(taken), _told(other)
    if taken.reps is not None and yours == f"{mine} or more":
        return _WHY[1], ""  # a log that was cut off tells nothing else
    if taken.said_utc_us > other.said_utc_us:
        return _WHY[0], f"{mine} as it was corrected, not {yours}" if mine != yours else ""
    if mine == yours and taken.made_ms != other.made_ms:
        mine, yours = _reached(taken), _reached(other)
        return _WHY[3 if taken.outcome is other.outcome else 1], f"{mine}, not {yours}"
    holds = taken.drop_ms is not None and other.drop_ms is not None
    return _WHY[2 if holds else 1], f"{mine}, not {yours}" if mine != yours else ""


def _reached(effort: Effort) -> str:
    if effort.finish_ms is None:
        return f"{_told(effort)}, nobody knows when"
    return f"{_told(effort)}, reached after {seconds_of(effort.finish_ms)}"


def _told(effort: Effort) -> str:
    if effort.outcome is Outcome.SET_ASIDE:
        return "set aside"
    if effort.reps is not None:
        return f"{effort.reps} or more" if effort.outcome in OR_MORE else str(effort.reps)
    if effort.drop_ms is not None:
        return f"let go after {seconds_of(effort.drop_ms - effort.start_ms)}"
    if effort.outcome in BROKEN:
        return str(effort.outcome.value)
    return "cut off" if effort.outcome in OR_MORE else "kept to the end"


def _names(record: ClassRecord, people: Sequence[Person]) -> list[str]:
    """Say which names two bibs have that both were there, as old stores and imports hold them."""
    there = {p.bib for p in people if p.pressed}
    by_name: dict[str, list[int]] = {}
    for bib, worn in sorted(record.wearers.items()):
        if worn.name and not worn.absent and bib in there:
            by_name.setdefault(key_of(worn.name), []).append(bib)
    return [
        f"{quoted(name)} is bib {bibs[0]} and bib {bibs[1]}, so this class counts for neither in "
        f"months and advice. {two_or_one(record.row.id, name, bibs)}."
        for bibs in by_name.values()
        if len(bibs) > 1 and (name := record.wearers[bibs[0]].name)
    ]


def _bibs(record: ClassRecord, named: Named) -> list[str]:
    found = []
    absent = {w.bib for w in record.wearers.values() if w.absent}
    tapped = {r.bib for r in record.results if r.reps} | set(record.ratings)
    for bib in sorted(absent & tapped):
        found.append(f"{named(bib)} is marked absent, yet the button was used.")
    for bib, rating in sorted(record.rated_too.items()):
        if bib not in absent:
            taken = record.ratings[bib]
            found.append(
                f"{named(bib)}: two logs have an answer to how hard it was, {taken} and {rating}. "
                f"{taken} is taken; ask, if it matters."
            )
    return found


def _tallies(efforts: Sequence[Effort], named: Named) -> list[str]:
    found = []
    for e in efforts:
        where = f"{e.name}, round {e.round}"
        if e.outcome is Outcome.NO_COUNT:
            found.append(f"{named(e.bib)} entered no count for {where}.")
        elif e.outcome is Outcome.DONE and not e.confirmed:
            found.append(f"{named(e.bib)} did not confirm the {e.reps} entered for {where}.")
    return found
