"""What is known of a class, as it is read back: its rows, its runs and what came of them."""

from __future__ import annotations

from dataclasses import dataclass, field

from handbell.store.logs.timelines import Timeline


@dataclass(frozen=True)
class ClassRow:
    """One class in a list; ``start_utc_us`` is None when no box of it had a clock.

    Then it was over by ``at_utc_us``, else it began at it: classes stand in the order of that.
    ``hall`` says how its hall is called where the store has classes of more than one, else "".
    ``group`` is the group of the roster that it was given to, "" where nobody said.
    """

    id: int
    plan: str
    title: str
    start_utc_us: int | None
    started_by: str
    collected_utc_us: int
    boxes: int
    at_utc_us: int
    hall: str = ""
    group: str = ""


@dataclass(frozen=True)
class RunRow:
    """One box's part in a class; ``bound_us`` is the clock's largest error, None without one.

    ``dated_by`` is who says when it began where its log does not: "box", its own clock, or "hand".

    ``timeline`` has the bibs that were there as the coach said, ``planned`` those of the plan.
    """

    id: int
    digest: str
    box_id: str
    station: int
    timeline: Timeline
    planned: Timeline
    state: str
    reason: str
    clock: str
    start_utc_us: int | None
    started_by: str
    stopped: bool
    end_class_ms: int
    late_cues: int
    worst_late_us: int
    battery_mv: int | None
    bound_us: int | None
    dated_by: str | None = None


@dataclass(frozen=True)
class Amendment:
    """What a coach corrected. ``value`` and ``was`` are words of what is meant by ``what``.

    ``what`` is "reps", "held" (tenths of a second, or "end"), "bib", "name" or "invalid"; for a
    name ``window`` is 0. ``bib`` was taken to be there. ``undone_utc_us`` None: it is in force.
    Those of one saying have the same ``batch``, the least digest of them.
    """

    digest: str
    run: int
    window: int
    slot: int
    bib: int
    what: str
    value: str
    was: str
    who: str
    why: str
    at_utc_us: int
    undone_utc_us: int | None
    undone_by: str | None
    batch: str


Moved = dict[tuple[int, int], Amendment]  # by window and slot


@dataclass(slots=True)  # not frozen: that takes three times as long, and a class has thousands
class ResultRow:
    """One bib's result in one window of one run, in the journal's terms, with the flags of acts.

    With ``amended`` the numbers are what the coach said, and ``amended.was`` what was counted.
    ``median_gap_ms`` is from rep to rep, None where too few taps tell or nobody asked.
    """

    run: int
    window: int
    slot: int
    bib: int
    reps: int
    made_ms: int
    held_ds: int
    flags: int
    box_reps: int | None
    standing: str
    median_gap_ms: float | None = None
    amended: Amendment | None = None


@dataclass(frozen=True)
class NoteRow:
    """Something odd in a run; ``fault`` 0 was found by the host and is said in ``words``."""

    run: int
    class_ms: int
    fault: int
    value: int
    words: str


@dataclass(frozen=True)
class Wearer:
    """Who wore a bib; ``name`` None when nobody said."""

    bib: int
    name: str | None
    absent: bool


@dataclass(frozen=True)
class ClassRecord:
    """All that the store knows of one class; ``ratings`` and ``wearers`` are by bib.

    Where two logs have other answers of a bib, ``rated_too`` is the one that is not taken.

    ``stations`` are those the plan was sent for, with their labels; ``amendments`` are all there
    were, undone ones too. Where a bib was amended, the run's windows name the one who was there,
    and so do those of a station's other logs, since they tell of the same button.
    """

    row: ClassRow
    stations: dict[int, str]
    runs: list[RunRow]
    results: list[ResultRow]
    ratings: dict[int, int]
    notes: list[NoteRow]
    wearers: dict[int, Wearer]
    amendments: list[Amendment] = field(default_factory=list)
    rated_too: dict[int, int] = field(default_factory=dict)

    @property
    def amended_names(self) -> dict[int, Amendment]:
        """The amendment in force for a bib's name, by bib; its ``was`` is what was said before."""
        return {a.bib: a for a in self.amendments if a.what == "name" and a.undone_utc_us is None}

    @property
    def bibs(self) -> list[int]:
        """Every bib that the class was planned for."""
        found: set[int] = set()
        for run in self.runs:
            found.update(run.timeline.rated)
            for window in run.timeline.windows.values():
                found.update(window.bibs)
        return sorted(found - {0})
