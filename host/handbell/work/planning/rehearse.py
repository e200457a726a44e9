"""Writing the bells of a class as a sound file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handbell.base.errors import HandbellError, UsageError
from handbell.base.files import whole_file
from handbell.base.times import clock
from handbell.paper.out_files import require_apart
from handbell.paper.rehearsal import GATE_MS, bells, part, write_wav
from handbell_core.cues import AWAIT

from .plans import compiled, require_station

SUFFIX = ".wav"


@dataclass(frozen=True)
class Rehearsal:
    """A sound file that was written; each of ``gates`` waits lasts ``gate_ms`` in it."""

    title: str
    bells: int
    length_ms: int
    written: str
    gates: int
    gate_ms: int


def rehearse(
    plan: Path,
    out: Path | None = None,
    station: int = 1,
    start_ms: int = 0,
    end_ms: int | None = None,
    speed: int = 1,
) -> Rehearsal:
    """Write the bells of a box between two times of the class, the time between them ``speed`` up.

    The file is named after the plan unless told. Raises PlanError, UsageError for a station or a
    part without bells, HandbellError for a class that is silent.
    """
    path = out or Path(f"{plan.stem}.wav")
    require_apart(plan, path)
    if path.suffix.casefold() != SUFFIX and not path.is_dir():
        raise UsageError(f"{path} is no name for a WAV file", f"Call it {path.stem}{SUFFIX}")
    built = compiled(plan)
    require_station(plan, built, station)
    ringing = bells(built.timelines[station - 1].data)
    if not ringing:
        raise HandbellError(f"{plan} is silent, so there is nothing to hear")
    heard = part(ringing, start_ms, end_ms)
    if not heard:
        raise UsageError(
            "No bell rings in that part",
            f"The bells ring from {clock(ringing[0].class_ms)} to {clock(ringing[-1].class_ms)}",
        )
    with whole_file(path, own_sort=True) as file:
        length_ms = write_wav(file, heard, speed)
    gates = sum(bell.cue == AWAIT for bell in heard)
    return Rehearsal(built.plan.title, len(heard), length_ms, str(path), gates, GATE_MS)
