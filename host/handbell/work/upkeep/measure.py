"""Measuring: a real box on a table, and the sheet of it."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from handbell.base.errors import HandbellError, UsageError
from handbell.base.extras import install
from handbell.base.progress import Progress, no_progress
from handbell.measure import measure as measuring
from handbell.measure.sheet import advice, default_path, measured, write_sheet

from .plugged_in import host_clock

MOST_MINUTES = 240


@dataclass(frozen=True)
class Figure:
    """One figure: ``value`` is None where there is none; ``shown`` and ``verdict`` are words."""

    key: str
    what: str
    unit: str
    value: float | None
    bound: float
    low: float | None
    high: float | None
    shown: str
    verdict: str


@dataclass(frozen=True)
class Measured:
    """A box's figures; ``advice`` has a sentence for each that differs or is missing."""

    ok: bool
    port: str
    id: str | None
    sheet: str
    machine: str
    micropython: str
    differs: tuple[str, ...]
    not_measured: tuple[str, ...]
    advice: tuple[str, ...]
    remarks: tuple[str, ...]
    figures: tuple[Figure, ...]


def measure(
    port: str, minutes: float = 5, out: Path | None = None, progress: Progress = no_progress
) -> Measured:
    """Measure the box at a port and write the sheet, of what there is when it is broken off.

    Raises HandbellError before the box is touched when something can't be.
    """
    _check(minutes, out)
    bench = measuring.Bench(port, minutes, host_clock(), progress)
    try:
        bench.run()
    finally:
        path = out or default_path(bench)
        if bench.board:
            write_sheet(bench, path)
    return _measured(bench, path)


def _check(minutes: float, out: Path | None) -> None:
    if not 0 < minutes <= MOST_MINUTES:
        raise UsageError(f"--minutes {minutes:g} is not above 0 and up to {MOST_MINUTES}")
    if find_spec("mpremote") is None:  # told before the box leaves its firmware
        raise HandbellError(
            "mpremote is not here, which speaks to boards",
            install("boards"),
        )
    if out is None:
        return
    if out.exists():
        raise UsageError(
            f"{out} is there already, perhaps with notes by hand", "Name another with --out"
        )
    if not out.parent.is_dir():
        raise UsageError(f"There is no folder {out.parent}", "Make it, or name another sheet")


def _measured(bench: measuring.Bench, path: Path) -> Measured:
    readings = list(bench.readings.values())
    return Measured(
        bench.good,
        bench.url,
        bench.who.id if bench.who else None,
        str(path),
        str(bench.board.get("machine", "")),
        str(bench.board.get("version", "")),
        tuple(r.item.key for r in readings if r.differs),
        tuple(r.item.key for r in readings if r.failed),
        tuple(advice(r) for r in readings if r.differs or r.failed),
        tuple(bench.remarks),
        tuple(
            Figure(
                r.item.key,
                r.item.what,
                r.item.unit,
                r.value,
                r.bound,
                r.item.low,
                r.item.high,
                measured(r),
                r.verdict,
            )
            for r in readings
        ),
    )
