"""The report of one class as plain data: what the terminal, the page and JSON all show."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timezone

from handbell.analysis.advising import WEEKS as ADVICE_WEEKS
from handbell.analysis.past.history import past_classes
from handbell.analysis.summary import (
    Doubtful,
    Exercise,
    Person,
    Series,
    exercises_of,
    never_tapped,
    people_of,
)
from handbell.report.advised import Advised
from handbell.report.after_class import after_class
from handbell.report.one_list import Listed
from handbell.report.words import asked_of
from handbell.store import Store
from handbell.store.logs.blocks import block_names
from handbell.store.logs.moments import records_of_class
from handbell.store.people.roster import athletes
from handbell.store.results.effort import BROKEN, Effort, Outcome
from handbell.store.results.efforts import efforts
from handbell.store.results.records import ClassRecord, RunRow
from handbell.store.results.skews import skew_of_class
from handbell_core import timeline as t

from .attendance import AttendanceReport, attendance_report
from .corrected import Key, corrections, was_there
from .headline import headline
from .odd import Named, label_of, labels_of, oddities
from .skew import SkewReport, skew_report
from .steps import StepReport, step_report

NO_PRESS = "no press"
CAUTION = (
    "A fade worked out from a small drop-off is unreliable: read it beside the mean and the best. "
    "None of this is medical advice; the coach's qualification and local rules come first."
)


@dataclass(frozen=True)
class BoxLine:
    """One box's part; ``start_utc`` is ISO 8601."""

    station: int
    label: str
    box_id: str
    log: str
    clock: str
    start_utc: str | None
    stopped: bool
    late_cues: int
    worst_late_us: int
    battery_mv: int | None


@dataclass(frozen=True)
class PersonLine:
    """One bib over the class; ``fade_*`` tell the exercise in which it faded most.

    Of who ``never_pressed`` nothing counts as kept or missed. ``doubtful_in`` are the exercises
    whose numbers are in doubt; they stand in all else here.
    """

    bib: int
    name: str
    group: str
    targets: int
    targets_made: int
    earned_rest_ms: int
    reps: int
    holds: int
    holds_kept: int
    rating: int | None
    fade_percent: float | None
    fade_at_least: bool
    fade_in: str
    never_pressed: bool
    doubtful_in: tuple[str, ...]


@dataclass(frozen=True)
class Cell:
    """One bib's one window. Lengths in ms; None where there is nothing to say.

    ``amended`` says what stood there before the coach amended it, "" as it was counted. ``outcome``
    is "no press" where nothing tells that anybody was there. ``doubtful``: its numbers are so.
    """

    round: int
    outcome: str
    reps: int | None
    held_ms: int | None
    made: bool | None
    finish_ms: int | None
    earned_rest_ms: int | None
    window_ms: int
    goal: int
    agreed: bool
    confirmed: bool
    amended: str
    doubtful: bool


@dataclass(frozen=True)
class Row:
    """One bib's rounds of an exercise. ``mean`` and ``best`` are in the unit that ``form`` names.

    ``fade_at_least``: of a round only a bound is known, so the fade may be more.
    """

    bib: int
    name: str
    cells: tuple[Cell, ...]
    form: str
    mean: float | None
    best: float | None
    fade_percent: float | None
    fade_at_least: bool
    fade_missing: str


@dataclass(frozen=True)
class ExerciseTable:
    """One exercise with everybody's rounds; ``ask`` and ``tap`` as in the plan file.

    ``block_name`` is "" where the plan has none or its text is not known.
    """

    block: int
    block_name: str
    name: str
    ask: str
    tap: str
    asked: str
    goals: tuple[int, ...]
    rounds: int
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class ClassReport:
    """All of a class's report. ``headline``, ``odd`` and ``corrected`` are sentences.

    ``listed`` is who to talk to, ``advised`` what to change.

    ``rated``: the plan asks how hard it was. ``hall`` is named where the store has several.
    """

    class_id: int
    title: str
    plan: str
    start_utc_us: int | None
    collected_utc_us: int
    started_by: str
    slot_ms: int
    rated: bool
    headline: tuple[str, ...]
    boxes: tuple[BoxLine, ...]
    people: tuple[PersonLine, ...]
    absent: tuple[str, ...]
    attendance: AttendanceReport
    exercises: tuple[ExerciseTable, ...]
    odd: tuple[str, ...]
    corrected: tuple[str, ...]
    skew: SkewReport
    steps: StepReport
    listed: tuple[Listed, ...]
    advised: Advised
    hall: str = ""
    caution: str = CAUTION

    @property
    def box_count(self) -> int:
        """How many boxes there were; one that was started again has a line for each log."""
        return len({box.box_id for box in self.boxes})


def class_report(store: Store, class_id: int | None = None) -> ClassReport:
    """Work out the report of a class, the newest without an id; raises StoreError."""
    classes = past_classes(store, class_id, ADVICE_WEEKS)
    record = classes[-1].record
    done = efforts(record)
    after = after_class(store, classes)
    findings = after.findings

    def doubtful(effort: Effort) -> bool:
        return any(f.spoils(effort) for f in findings)

    exercises = exercises_of(done, doubtful)
    people = people_of(done, exercises, record.ratings, doubtful)
    nobody = {p.bib for p in people if p.never_pressed}

    def named(bib: int) -> str:
        wearer = record.wearers.get(bib)
        return wearer.name if wearer and wearer.name else f"Bib {bib}"

    labels = labels_of(record)
    steps = step_report(record, records_of_class(store, record.row.id))
    skew = skew_report(skew_of_class(store, record.row.id), labels, steps)
    was = was_there(record)
    blocks = block_names(store, record.row.plan)
    odd = oddities(record, done, people, named, steps.sentences, findings, steps.ended)
    return ClassReport(
        class_id=record.row.id,
        title=record.row.title,
        hall=record.row.hall,
        plan=record.row.plan,
        start_utc_us=record.row.start_utc_us,
        collected_utc_us=record.row.collected_utc_us,
        started_by=record.row.started_by,
        slot_ms=max((r.timeline.slot_ms for r in record.runs), default=0),
        rated=classes[-1].rated,
        headline=(
            *headline(
                record.row.id,
                people,
                never_tapped(done, people),
                record.ratings,
                named,
                len(odd),
            ),
            *filter(None, (steps.headline, skew.headline)),
        ),
        boxes=tuple(_box_line(run) for run in record.runs),
        people=tuple(_person_line(p, named(p.bib)) for p in people),
        absent=tuple(named(b) for b in _absent(record)),
        attendance=attendance_report(record, people, athletes(store), named),
        exercises=tuple(
            _exercise_table(e, blocks, named, was, nobody, doubtful) for e in exercises
        ),
        odd=tuple(odd),
        corrected=tuple(corrections(record, named)),
        skew=skew,
        steps=steps,
        listed=after.listed,
        advised=after.advised,
    )


def _absent(record: ClassRecord) -> list[int]:
    return sorted(w.bib for w in record.wearers.values() if w.absent)


def _iso(utc_us: int | None) -> str | None:
    if utc_us is None:
        return None
    return datetime.fromtimestamp(utc_us / 1e6, timezone.utc).isoformat(timespec="milliseconds")


def _box_line(run: RunRow) -> BoxLine:
    return BoxLine(
        station=run.station,
        label=label_of(run),
        box_id=run.box_id,
        log=run.state,
        clock=run.clock,
        start_utc=_iso(run.start_utc_us),
        stopped=run.stopped,
        late_cues=run.late_cues,
        worst_late_us=run.worst_late_us,
        battery_mv=run.battery_mv,
    )


def _person_line(person: Person, name: str) -> PersonLine:
    worst = person.most_faded
    return PersonLine(
        bib=person.bib,
        name=name,
        group=person.who,
        targets=person.targets,
        targets_made=person.targets_made,
        earned_rest_ms=person.earned_rest_ms,
        reps=person.reps,
        holds=person.holds,
        holds_kept=person.holds_kept,
        rating=person.rating,
        fade_percent=worst.fade.percent if worst else None,
        fade_at_least=worst is not None and worst.fade.at_least,
        fade_in=worst.name if worst else "",
        never_pressed=person.never_pressed,
        doubtful_in=person.doubtful_in,
    )


def _exercise_table(
    exercise: Exercise,
    blocks: Mapping[int, str],
    named: Named,
    was: Mapping[Key, str],
    nobody: Collection[int],
    doubtful: Doubtful,
) -> ExerciseTable:
    sides = any(e.both_sides for s in exercise.series for e in s.efforts)
    return ExerciseTable(
        block=exercise.block,
        block_name=blocks.get(exercise.block, ""),
        name=exercise.name,
        ask=t.ASKS[exercise.ask],
        tap=t.TAPS[exercise.tap],
        asked=asked_of(exercise.ask, exercise.tap, exercise.goals, sides),
        goals=exercise.goals,
        rounds=max(len(s.efforts) for s in exercise.series),
        rows=tuple(
            _nobodys_row(s, named(s.bib))
            if s.bib in nobody
            else _row(s, named(s.bib), was, doubtful)
            for s in exercise.series
        ),
    )


def _row(series: Series, name: str, was: Mapping[Key, str], doubtful: Doubtful) -> Row:
    fade = series.fade
    return Row(
        bib=series.bib,
        name=name,
        cells=tuple(
            _cell(e, was.get((e.run, e.window, e.slot), ""), doubtful(e)) for e in series.efforts
        ),
        form=fade.form.value if fade.form else "",
        mean=fade.mean,
        best=fade.best,
        fade_percent=fade.percent,
        fade_at_least=fade.at_least,
        fade_missing=fade.reason,
    )


def _nobodys_row(series: Series, name: str) -> Row:
    """Return the rounds of somebody of whom nothing tells that they were there."""
    cells = []
    for e in series.efforts:
        cell = _cell(e, "", False)
        if e.outcome in (Outcome.DONE, *BROKEN):
            cell = replace(cell, outcome=NO_PRESS, reps=None, held_ms=None, made=None)
        cells.append(cell)
    return Row(series.bib, name, tuple(cells), "", None, None, None, False, "never pressed")


def _cell(e: Effort, amended: str, doubtful: bool) -> Cell:
    return Cell(
        round=e.round,
        outcome=e.outcome.value,
        reps=e.reps,
        held_ms=e.held_ms,
        made=e.made,
        finish_ms=e.finish_ms,
        earned_rest_ms=e.earned_rest_ms,
        window_ms=e.end_ms - e.start_ms,
        goal=e.goal,
        agreed=e.agreed,
        confirmed=e.confirmed,
        amended=amended,
        doubtful=doubtful,
    )
