"""How far apart the boxes of a class rang, in words for a coach."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handbell.base.times import ms_of, span_of
from handbell.base.words import listed
from handbell.boxes.clocks.skew import HEARD_US, floor_m, heard
from handbell.store.results.skews import ClassSkew, RunSkew

from .steps import StepReport

BY_PART = "it lost power in class and went on by its clock part"
PUT_IN = "it was put into the class while that was on"
CURE = "Before the next class, calibrate: handbell boxes --calibrate 30."
NOT_MEASURED = "measured"  # what the reasons say that collecting in time would have spared
RELATIVE = (
    "The computer's clock was changed, or another computer collected: each box is held against "
    "the middle one."
)
COLLECT = (
    "To know it next time, run handbell collect before the boxes are switched off, on the computer "
    "that armed them."
)


@dataclass(frozen=True)
class SkewLine:
    """One box: by how much it rang early, in us (below 0: late), each with what it may be off by.

    None where it is not known; then, or where ``by_clock_part``, ``why`` says the reason. Beside
    its clock it was ``behind`` most others by so many ms: it took a later mark, or waited.
    """

    station: int
    label: str
    box_id: str
    start_us: int | None
    end_us: int | None
    start_bound_us: int
    end_bound_us: int
    by_clock_part: bool
    why: str
    behind_at_start_ms: int = 0
    behind_at_end_ms: int = 0


@dataclass(frozen=True)
class SkewReport:
    """The set and each box, by their clocks alone; ``relative`` as in ClassSkew.

    ``sentences`` are all that needs saying, ``heard`` is whether people heard which box was first.
    """

    start_us: int | None
    end_us: int | None
    start_bound_us: int
    end_bound_us: int
    relative: bool
    heard: bool
    sentences: tuple[str, ...]
    lines: tuple[SkewLine, ...]
    in_step: bool = True

    @property
    def headline(self) -> str:
        """What of it belongs at the top of the report, "" if nothing does."""
        worst_us = max(self.start_us or 0, self.end_us or 0)
        said = f"Boxes rang up to {ms_of(worst_us)} apart: people heard which was first."
        return said if self.heard else ""


def skew_report(found: ClassSkew, labels: Mapping[int, str], steps: StepReport) -> SkewReport:
    """Put a class's skew into words; ``labels`` are what runs' stations are called, by run.

    ``steps`` are what boxes were apart by beside their clocks.
    """
    lines = tuple(_line(run, labels[run.run], steps) for run in found.runs)
    return SkewReport(
        start_us=found.start_us,
        end_us=found.end_us,
        start_bound_us=found.start_bound_us,
        end_bound_us=found.end_bound_us,
        relative=found.relative,
        heard=_worst_us(found) > HEARD_US and not steps.led,  # else bells ring by its word
        sentences=tuple(_sentences(found, lines, steps)),
        lines=lines,
        in_step=steps.in_step,
    )


def rang_words(line: SkewLine) -> tuple[tuple[str, str], tuple[str, str]]:
    """Return when a box rang at the start and at the end, as ``early_words`` does each.

    One that was out of step rang so much later or earlier, whatever its clock was off by.
    """
    return (
        _step_words(line.behind_at_start_ms) or early_words(line.start_us, line.start_bound_us),
        _step_words(line.behind_at_end_ms) or early_words(line.end_us, line.end_bound_us),
    )


def _step_words(behind_ms: int) -> tuple[str, str] | None:
    if not behind_ms:
        return None
    return f"{span_of(abs(behind_ms))} {'late' if behind_ms > 0 else 'early'}", "out of step"


def early_words(us: int | None, bound_us: int) -> tuple[str, str]:
    """Return when a box rang and what that may be off by, ("", "") where it is not known."""
    if us is None:
        return "", ""
    side = "early" if us > 0 else "late"
    main = "on time" if abs(us) <= bound_us else f"{ms_of(abs(us))} {side}"
    return main, f"± {ms_of(bound_us)}"


def _line(run: RunSkew, label: str, steps: StepReport) -> SkewLine:
    by_part = run.end_us is not None and run.start_us is None
    return SkewLine(
        station=run.station,
        label=label,
        box_id=run.box_id,
        start_us=run.start_us,
        end_us=run.end_us,
        start_bound_us=run.start_bound_us,
        end_bound_us=run.end_bound_us,
        by_clock_part=by_part,
        why=(PUT_IN if run.late else BY_PART) if by_part else run.why,
        behind_at_start_ms=steps.at_start_ms.get(run.run, 0),
        behind_at_end_ms=steps.at_end_ms.get(run.run, 0),
    )


def _worst_us(found: ClassSkew) -> int:
    return max(found.start_us or 0, found.end_us or 0)


def _sentences(found: ClassSkew, lines: Sequence[SkewLine], steps: StepReport) -> list[str]:
    """Return nothing for one box, one sentence where all is well."""
    if len(lines) < 2:
        return []
    reasons: dict[str, list[str]] = {}
    for line in lines:
        if line.why:
            reasons.setdefault(line.why, []).append(line.label)
    said = [] if steps.in_step else ["Not all boxes were in step: see what is odd."]
    if steps.led:
        said.append("The remote led this class: its bells go by the remote, not by the clocks.")
    said += _set(found, lines, steps.in_step and not steps.led)
    for why, labels in reasons.items():
        said.append(f"{'Every box' if len(labels) == len(lines) else listed(labels)}: {why}.")
    if any(NOT_MEASURED in why for why in reasons):
        said.append(COLLECT)
    return said


def _set(found: ClassSkew, lines: Sequence[SkewLine], by_clocks: bool) -> list[str]:
    """Say how far apart the boxes rang; of their clocks alone unless they rang ``by_clocks``."""
    if found.end_us is None:
        return ["How far apart the boxes rang is not known."] if by_clocks else []
    some = any(line.end_us is None for line in lines)
    if by_clocks:
        rang = "The boxes that can be compared rang" if some else "The boxes rang"
    else:
        rang = f"By their clocks alone {'those that can be compared' if some else 'they'} were"
    worst_us = _worst_us(found)
    doubt_us = max(found.start_bound_us, found.end_bound_us)
    if worst_us + doubt_us <= HEARD_US:
        return [f"{rang} within {ms_of(worst_us + doubt_us)} of each other."]
    parts = [f"{_give_or_take(found.end_us, found.end_bound_us)} at the end"]
    if found.start_us is not None:
        parts.insert(0, f"{_give_or_take(found.start_us, found.start_bound_us)} at the start")
    said = [f"{rang} {listed(parts)} of the class."]
    if worst_us > HEARD_US:
        said += [f"{heard(worst_us)}.", _who_was_first(lines), CURE]
    else:
        said.append("With that doubt they may have been heard apart.")
    if found.relative:
        said.append(RELATIVE)
    return said


def _give_or_take(us: int, bound_us: int) -> str:
    return f"{ms_of(us)} apart (give or take {ms_of(bound_us)}; {floor_m(us):.1f} m of floor)"


def _who_was_first(lines: Sequence[SkewLine]) -> str:
    known = sorted((line.end_us, line.label) for line in lines if line.end_us is not None)
    return f"At the end {known[-1][1]} rang first and {known[0][1]} last."
